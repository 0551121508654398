"""Words for the recovery list that letters, sheets and commands share."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, timedelta

from soakbell.fishery.season import SeasonReason
from soakbell.gear.missing import SearchBox
from soakbell.gear.strings import Mark
from soakbell.letters.commands import command
from soakbell.letters.gear_words import due_words, places_words, traps_count, traps_words
from soakbell.letters.times import HarborTimes, full_day_words, minutes_words
from soakbell.letters.words import capital, ended, listed, one_line
from soakbell.planning.recovery import RecoveryList, StringOut, TrapOut, TripOut

REPORT = "Lost gear: tell the authority, as local rules ask."
ASK_FIRST = "Ask the authority before you go for them: by that rule none may be in the water any more."
STAYS = "A trap stays on this list until the log is told that it was recovered, or written off with a reason."
EVENLY = (
    "Where a single trap lies is reckoned, as if they lay evenly from mark to mark; a missing one may have "
    "drifted. Planning aid, not for navigation."
)
STACKED = "Traps stacked on deck make a boat less steady: carry no more than she carries well in that sea."
"""Common practice, no source."""


def mark_words(mark: Mark) -> str:
    """Degrees and decimal minutes, as plotters show them: ``30°01.260'N 84°10.260'W``."""
    return f"{_degrees(mark.lat_deg, 'NS')} {_degrees(mark.lon_deg, 'EW')}"


def _degrees(angle_deg: float, sides: str) -> str:
    degrees, thousandths = divmod(round(abs(angle_deg) * 60_000), 60_000)
    side = sides[0] if angle_deg >= 0 else sides[1]
    return f"{degrees}°{thousandths / 1000:06.3f}'{side}"


def box_words(box: SearchBox) -> str:
    """From the south-west corner to the north-east one."""
    south_west, north_east = Mark(box.south_deg, box.west_deg), Mark(box.north_deg, box.east_deg)
    return f"{mark_words(south_west)} (SW) to {mark_words(north_east)} (NE)"


def lead_words(recovery: RecoveryList) -> str:
    """How many traps are where, and by when they must be out."""
    besides = dropped_words(recovery.dropped, recovery.unknown)
    if not recovery.not_home:
        return besides or "Every trap is home or written off."
    parts = (
        (recovery.fishing, "fishing"),
        (len(recovery.aboard), "aboard"),
        (len(recovery.missing), "missing"),
    )
    several = "are" if recovery.not_home > 1 else "is"
    told = (
        f"{traps_count(recovery.not_home)} {several} not home: {listed(f'{n} {what}' for n, what in parts if n)}."
    )
    if recovery.of_before:
        told += f" Since an earlier season: {recovery.of_before}."
    return " ".join(part for part in (told, deadline_words(recovery), besides) if part)


def dropped_words(dropped: Iterable[tuple[str, int]], unknown: Iterable[str]) -> str:
    """Traps in the log that the settings don't know, and strings of nobody knows how many. Empty without any."""
    told = [
        f"{traps_count(count)} of {one_line(name)} {'are' if count > 1 else 'is'} not home by the log and not in "
        "the settings."
        for name, count in dropped
    ]
    told += [
        f"{one_line(name)} is in the log and not in the settings: how many of its traps are out isn't known."
        for name in unknown
    ]
    if told:
        told.append("Put them back in the settings until the log is told what became of them.")
    return " ".join(told)


def deadline_words(recovery: RecoveryList) -> str:
    """By when all traps must be out, and how long that is away. Empty where no day is known."""
    if recovery.take_up is None or recovery.days_left is None:
        return ""
    day, left = full_day_words(recovery.take_up.deadline), recovery.days_left
    if left < 0:
        return f"The last day for traps in the water, {day}, is past by {days_count(-left)}."
    return f"All must be out by {day}, {f'{days_count(left)} left' if left else 'today'}."


def rule_words(recovery: RecoveryList) -> str:
    """Which rule says so and how sure it is. Empty where no day is known."""
    return "" if recovery.take_up is None else reason_words(recovery.take_up.reason)


def reason_words(reason: SeasonReason) -> str:
    """Which rule says so, and how sure it is."""
    return f"Rule: {ended(reason.rule)} {rule_source_words(reason.source, reason.sure)} Check with the authority."


def rule_source_words(source: str, sure: str) -> str:
    """Where a rule was taken from, and that it wasn't read there in its own text where it wasn't."""
    told = f"Source: {ended(source)}"
    return told if sure == "read" else f"{told} Not read in the rule's own text ({sure})."


def starts_words(starts: Iterable[tuple[float, date | None]], today: date) -> tuple[str, ...]:
    """By when to start for each chance; of those that no day gives only the least, which bars the higher ones."""
    rising = sorted(starts, key=lambda start: start[0])
    last = next((at for at, (_, day) in enumerate(rising) if day is None), len(rising))
    return tuple(start_words(*start, today) for start in rising[: last + 1])


def start_words(chance: float, day: date | None, today: date) -> str:
    """By when to start for one chance of being done in time."""
    if day is None:
        return f"No day to start on is left for a chance of {chance:.0%} or more of being done in time."
    past = ", a day that is past" if day < today else ""
    return f"For a chance of {chance:.0%} of being done in time, start by {due_words(day, today)}{past}."


def chance_told(chance: float) -> str:
    """``82%``; ``over 99%`` and ``under 1%`` at the ends, which no drawn weather tells closer."""
    if chance < 0.01:
        return "under 1%"
    return "over 99%" if chance > 0.99 else f"{chance:.0%}"


def trip_words(trip: TripOut, today: date) -> str:
    """``58 traps, about 5 h 30 min, Sat 2 Jan 2027``."""
    day = f", {due_words(trip.day, today)}" if trip.day else ""
    return f"{traps_count(trip.traps)}, about {minutes_words(trip.minutes)}{day}"


def seen_words(trap: TrapOut, times: HarborTimes) -> str:
    """When the trap was last seen: a local day, with its year where that isn't this one."""
    if trap.last_seen is None:
        return "never seen"
    return f"last seen {due_words(times.local(trap.last_seen).date(), times.day)}"


def missing_words(trap: TrapOut, times: HarborTimes) -> str:
    """One missing trap, as a sentence or two."""
    name = f"{traps_words(trap.string, [trap.place])}{f' (tag {one_line(trap.tag)})' if trap.tag else ''}"
    since = "" if trap.since is None else f" since {due_words(times.local(trap.since).date(), times.day)}"
    near = "" if trap.near is None else f" near {mark_words(trap.near)}"
    box = "" if trap.box is None else f" Look from {box_words(trap.box)}."
    replaced = " Another trap has its place since." if trap.replaced else ""
    return f"{name}: missing{since}, {seen_words(trap, times)}{near}.{box}{replaced}"


def string_lines(string: StringOut, times: HarborTimes) -> tuple[str, ...]:
    """Traps by the day on which they were last seen, the marks, and the tags."""
    by_day: dict[str, list[int]] = {}
    for trap in string.traps:
        by_day.setdefault(seen_words(trap, times), []).append(trap.place)
    seen = [f"{places_words(places)}: fishing, {words}." for words, places in by_day.items()]
    tags = "; ".join(f"{trap.place} is {one_line(trap.tag)}" for trap in string.traps if trap.tag)
    return (
        *map(capital, seen),
        f"Start mark {mark_words(string.start)}, end mark {mark_words(string.end)}.",
        *((f"Tags by place: {tags}.",) if tags else ()),
    )


def days_count(count: int) -> str:
    return "1 day" if count == 1 else f"{count} days"


def retired_line(program: str, string: str, places: str, at: str = "") -> str:
    """Writes traps off; the reason is left for the skipper to fill in."""
    when = ("--at", at) if at else ()
    return f'{command(program, "log", "retired", string, "--traps", places, *when)} --reason "WHY"'


def before_follower(trap: TrapOut, times: HarborTimes) -> str:
    """A moment at which the place was still that of the missing trap: told for now, the word would be of the one
    that took its place."""
    if trap.since is None:
        return ""
    return (times.local(trap.since) + timedelta(seconds=1)).isoformat(timespec="seconds")
