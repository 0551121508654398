"""The letter of the recovery list: every trap that is not home, where it was last, and by when it must be out."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from soakbell.gear.fold import told_places
from soakbell.gear.missing import SearchBox
from soakbell.gear.strings import Mark
from soakbell.letters.around import SKIPPER_DECIDES, Around, around, no_call
from soakbell.letters.commands import Command, command
from soakbell.letters.facts import LetterFacts
from soakbell.letters.gear_section import Block
from soakbell.letters.gear_words import due_words, places_words, traps_count, traps_words
from soakbell.letters.letter import Attachment, Letter, written
from soakbell.letters.recovery_files import recovery_csv, recovery_gpx, take_up_ics
from soakbell.letters.times import HarborTimes, day_words, full_day_words, minutes_words
from soakbell.letters.words import STANDING, ended, listed, one_line
from soakbell.planning.recovery import RecoveryList, StringOut, TrapOut, TripOut

MOST_MISSING = 40
"""Missing traps that a letter tells one by one; the rest stand in its files, so that no mail cuts it short."""

REPORT = "Lost gear: tell the authority, as local rules ask."
STAYS = "A trap stays on this list until the log is told that it was recovered, or written off with a reason."
EVENLY = (
    "Where a single trap lies is reckoned, as if they lay evenly from mark to mark; a missing one may have "
    "drifted. Planning aid, not for navigation."
)
STACKED = "Traps stacked on deck make a boat less steady: carry no more than she carries well in that sea."
"""Common practice, no source."""


@dataclass(frozen=True)
class RecoverySection:
    title: str
    lines: tuple[str, ...]
    blocks: tuple[Block, ...] = ()


@dataclass(frozen=True)
class RecoveryPage(Around):
    """What the templates print. ``brief`` is for the subject."""

    brief: str
    lead: str
    sections: tuple[RecoverySection, ...]


def recovery_letter(recovery: RecoveryList, facts: LetterFacts, *, now: datetime) -> Letter:
    """The list as a letter, with its files. It stands also where no trap is on the list any more."""
    times = HarborTimes.at(facts.zone_name, now)
    standing = (STACKED, EVENLY, SKIPPER_DECIDES, STANDING[3], no_call(facts, times))
    page = RecoveryPage(
        **vars(around(facts, times, now=now, day=times.day, standing=standing)),
        brief=_brief(recovery),
        lead=lead_words(recovery),
        sections=tuple(_sections(recovery, times, facts.command)),
    )
    return written("recovery", {"page": page}, recovery_files(recovery, facts))


def recovery_files(recovery: RecoveryList, facts: LetterFacts) -> tuple[Attachment, ...]:
    """The files of the list. No page to print is among them: mail servers often refuse a page as a file."""
    files = []
    if recovery.not_home:
        files.append(Attachment("recovery.csv", "text", "csv", recovery_csv(recovery, facts)))
        files.append(Attachment("recovery.gpx", "application", "gpx+xml", recovery_gpx(recovery, facts)))
    calendar = take_up_ics(recovery, facts)
    if calendar is not None:
        files.append(Attachment("take-up.ics", "text", "calendar", calendar))
    return tuple(files)


# ---- words that the letter, the sheet and the command share


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
    return f"{mark_words(south_west)} to {mark_words(north_east)}"


def lead_words(recovery: RecoveryList) -> str:
    """How many traps are where, and by when they must be out."""
    if not recovery.not_home:
        return "Every trap is home or written off."
    parts = (
        (recovery.fishing, "fishing"),
        (len(recovery.aboard), "aboard"),
        (len(recovery.missing), "missing"),
    )
    several = "are" if recovery.not_home > 1 else "is"
    told = (
        f"{traps_count(recovery.not_home)} {several} not home: {listed(f'{n} {what}' for n, what in parts if n)}."
    )
    return f"{told} {deadline_words(recovery)}" if recovery.take_up else told


def deadline_words(recovery: RecoveryList) -> str:
    """By when all traps must be out, and how long that is away. Empty where no day is known."""
    if recovery.take_up is None or recovery.days_left is None:
        return ""
    day, left = full_day_words(recovery.take_up.deadline), recovery.days_left
    if left < 0:
        return f"The last day for traps in the water, {day}, is past by {_days(-left)}."
    return f"All must be out by {day}, {f'{_days(left)} left' if left else 'today'}."


def rule_words(recovery: RecoveryList) -> str:
    """Which rule says so and how sure it is. Empty where no day is known."""
    if recovery.take_up is None:
        return ""
    reason = recovery.take_up.reason
    sure = "" if reason.sure == "read" else f" Not read in the rule's own text ({reason.sure})."
    return f"Rule: {ended(reason.rule)} Source: {ended(reason.source)}{sure} Check with the authority."


def start_words(chance: float, day: date | None, today: date) -> str:
    """By when to start for one chance of being done in time."""
    chance_words = f"a chance of {chance:.0%} of being done in time"
    if day is None:
        return f"No day to start on gives {chance_words} any more."
    return f"For {chance_words}, start by {due_words(day, today)}{', a day that is past' if day < today else ''}."


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
        *(f"{line[:1].upper()}{line[1:]}" for line in seen),
        f"Start mark {mark_words(string.start)}, end mark {mark_words(string.end)}.",
        *((f"Tags by place: {tags}.",) if tags else ()),
    )


def _brief(recovery: RecoveryList) -> str:
    if not recovery.not_home:
        return "every trap home or written off"
    told = f"{traps_count(recovery.not_home)} not home"
    if recovery.take_up is None or recovery.days_left is None:
        return told
    if recovery.days_left < 0:
        return f"{told}, {_days(-recovery.days_left)} past the last day"
    return f"{told}, all out by {day_words(recovery.take_up.deadline)}"


def _days(count: int) -> str:
    return "1 day" if count == 1 else f"{count} days"


# ---- sections of the letter


def _sections(recovery: RecoveryList, times: HarborTimes, program: str) -> Iterator[RecoverySection]:
    if recovery.take_up is not None:
        starts = [start_words(*start, recovery.today) for start in recovery.starts if recovery.fishing]
        yield RecoverySection("By when", (deadline_words(recovery), rule_words(recovery), *starts))
    for trip in recovery.trips:
        title = f"Trip {trip.number}: {listed(one_line(string.name) for string in trip.strings)}"
        yield RecoverySection(
            title, (f"{trip_words(trip, recovery.today)}.",), tuple(_blocks(trip.strings, times, program))
        )
    if recovery.unplanned:
        several = traps_count(sum(len(string.traps) for string in recovery.unplanned))
        title = "In no trip yet" if recovery.trips else "Fishing, by string"
        yield RecoverySection(title, (f"{several}.",), tuple(_blocks(recovery.unplanned, times, program)))
    if recovery.aboard:
        yield _aboard(recovery.aboard, times, program)
    if recovery.missing:
        yield _missing(recovery.missing, times, program)


def _blocks(strings: Iterable[StringOut], times: HarborTimes, program: str) -> Iterator[Block]:
    for string in strings:
        home = command(program, "log", "ashore", string.name, "--traps", _typed(string.traps))
        title = f"{one_line(string.name)}, {traps_count(len(string.traps))}"
        yield Block(title, string_lines(string, times), (Command("When they are home", home),))


def _aboard(traps: Sequence[TrapOut], times: HarborTimes, program: str) -> RecoverySection:
    lines, commands = [], []
    for name, some in _by_string(traps).items():
        by_day: dict[str, list[int]] = {}
        for trap in some:
            by_day.setdefault(seen_words(trap, times), []).append(trap.place)
        lines += [f"{traps_words(name, places)}: {words}." for words, places in by_day.items()]
        line = command(program, "log", "ashore", name, "--traps", _typed(some))
        commands.append(Command(f"When those of {one_line(name)} are ashore", line))
    return RecoverySection("Aboard", (), (Block("Pulled, and not brought ashore", tuple(lines), tuple(commands)),))


def _missing(traps: Sequence[TrapOut], times: HarborTimes, program: str) -> RecoverySection:
    told = [missing_words(trap, times) for trap in traps[:MOST_MISSING]]
    if len(traps) > MOST_MISSING:
        told.append(f"And {len(traps) - MOST_MISSING} more, in the file recovery.csv.")
    commands = []
    for name, some in _by_string(trap for trap in traps if not trap.replaced).items():
        one, places = one_line(name), _typed(some)
        commands += [
            Command(
                f"When those of {one} are found", command(program, "log", "recovered", name, "--traps", places)
            ),
            Command(f"To write those of {one} off", f"{retired_line(program, name, places)}"),
        ]
    commands += [
        Command(
            f"When the former {traps_words(trap.string, [trap.place])}, is found or written off",
            retired_line(program, trap.string, str(trap.place), before_follower(trap, times)),
        )
        for trap in traps
        if trap.replaced
    ][:MOST_MISSING]
    return RecoverySection("Missing", (REPORT, STAYS), (Block("Last seen", tuple(told), tuple(commands)),))


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


def _by_string(traps: Iterable[TrapOut]) -> dict[str, list[TrapOut]]:
    found: dict[str, list[TrapOut]] = {}
    for trap in traps:
        found.setdefault(trap.string, []).append(trap)
    return found


def _typed(traps: Iterable[TrapOut]) -> str:
    return told_places(trap.place for trap in traps)
