"""What a letter tells of season's end: by when every trap must be home, the odds of that, and what they rest on.

Whatever goes wrong here is told in the letter; it never costs the letter.
"""

from __future__ import annotations

import logging
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from soakbell.letters.commands import Command, command
from soakbell.letters.figures import named
from soakbell.letters.gear_section import Block
from soakbell.letters.gear_words import due_words, traps_count, traps_words
from soakbell.letters.recovery_words import (
    ASK_FIRST,
    REPORT,
    STACKED,
    STAYS,
    chance_told,
    days_count,
    lead_words,
    rule_words,
    starts_words,
)
from soakbell.letters.times import FULL_MONTHS, minutes_words
from soakbell.letters.words import capital, ended, listed, one_line
from soakbell.planning.recovery import RecoveryList, TripOut
from soakbell.planning.season_end import SeasonEnd, StartDay
from soakbell.planning.season_told import (
    SURE_START,
    OddsFrom,
    OddsTold,
    Rebait,
    SeasonAhead,
    TodayCounts,
    YearsCounted,
)

log = logging.getLogger(__name__)

TITLE = "Season's end"
NO_CALL_OF_ITS_OWN = (
    "These odds rank days and permit none: they make no call and change none. You decide; official warnings and "
    "local rules come first."
)
MOST_TRIPS = 12
"""Trips that a letter tells one by one."""

_ONE_DAY = timedelta(days=1)


@dataclass(frozen=True)
class SeasonSection:
    """``lines`` are paragraphs before the blocks."""

    title: str
    fault: str
    lines: tuple[str, ...] = ()
    blocks: tuple[Block, ...] = ()


def season_section(ahead: SeasonAhead | None, program: str) -> SeasonSection | None:
    """The section; None where there is nothing to tell. It never raises. ``program`` is how commands begin."""
    if ahead is None or not (ahead.in_sight or ahead.fault):
        return None
    try:
        fault = _untold(ahead.fault, some=ahead.in_sight) if ahead.fault else ""
        if not ahead.in_sight or ahead.recovery is None or ahead.end is None:
            return SeasonSection(TITLE, fault)
        lines = tuple(_lines(ahead, ahead.recovery, ahead.end))
        return SeasonSection(TITLE, fault, lines, tuple(_blocks(ahead, ahead.recovery, ahead.end, program)))
    except Exception as failed:
        log.exception("the season's section of a letter failed")
        return SeasonSection(TITLE, _untold(f"{type(failed).__name__}: {failed}", some=False))


def season_line(ahead: SeasonAhead | None) -> str:
    """Season's end in one sentence; empty where there is nothing to tell. It never raises."""
    if ahead is None or not (ahead.in_sight or ahead.fault):
        return ""
    try:
        if not ahead.in_sight or ahead.recovery is None or ahead.days_left is None or ahead.end is None:
            return _untold(ahead.fault, some=False)
        if not ahead.recovery.not_home:
            return f"Season's end: {lead_words(ahead.recovery)}"
        told = f"Season's end: {traps_count(ahead.recovery.not_home)} not home"
        if ahead.days_left < 0:
            return f"{told}, {days_count(-ahead.days_left)} past the last day for traps in the water."
        last = due_words(ahead.end.deadline, ahead.today)
        told += f", all out by {last}, {days_count(ahead.days_left) + ' left' if ahead.days_left else 'today'}"
        start = None if ahead.odds is None else dict(ahead.odds.start_by).get(SURE_START)
        if ahead.odds is None or start is None:
            return f"{told}."
        usual = "" if ahead.odds.reckoned_from.forecast_days else ", by the usual weather and no forecast"
        return f"{told}; for a chance of {SURE_START:.0%} start by {due_words(start, ahead.today)}{usual}."
    except Exception as failed:
        log.exception("the season's line of a letter failed")
        return _untold(f"{type(failed).__name__}: {failed}", some=False)


def reckoned_lines(ahead: SeasonAhead) -> Iterator[str]:
    """What the trips and the days to start by rest on, or why there are none."""
    if ahead.fault:
        yield _untold(ahead.fault, some=True)
    if ahead.lacking:
        yield _lacking(ahead.lacking)
    if ahead.odds is not None:
        begin = due_words(ahead.odds.trips_from, ahead.today)
        yield f"The day of a trip is that by which it is made in half of the cases, from {begin} on."
        yield from _rests(ahead.odds.reckoned_from, ahead.odds.day, ahead.today)
        yield NO_CALL_OF_ITS_OWN


def _untold(fault: str, *, some: bool) -> str:
    what = "Not all of season's end could be told" if some else "Season's end could not be told"
    return f"{what}: {ended(fault)}"


# ---- what comes first


def _lines(ahead: SeasonAhead, recovery: RecoveryList, end: SeasonEnd) -> Iterator[str]:
    yield lead_words(recovery)
    past = ahead.today > end.deadline
    if past:
        yield ASK_FIRST
    if recovery.missing:
        yield REPORT
    if past or not recovery.fishing:
        return
    if ahead.odds is not None:
        yield from _starting(ahead.odds, ahead.today)
    if end.last_harvest is None:
        yield "The harvest is closed: traps may only be taken up. Where a letter says PULL it means that alone."
    if ahead.lacking:
        yield _lacking(ahead.lacking)


def _lacking(why: str) -> str:
    return f"No trips and no odds are told: {ended(why)}"


def _starting(odds: OddsTold, today: date) -> Iterator[str]:
    """Tomorrow, and today where it counts for a trip."""
    if odds.reckoned_from.today is TodayCounts.CALLED and odds.day == today:
        yield from _start("today, as called,", odds.start_on(today), today)
    yield from _start("tomorrow,", odds.start_on(today + _ONE_DAY), today)


def _start(when: str, start: StartDay | None, today: date) -> Iterator[str]:
    if start is None:
        return
    told = f"If you start {when} all that fish are home in time with a chance of {chance_told(start.chance)}"
    half, most = (None if day is None else due_words(day, today) for day in (start.half_by, start.most_by))
    if half is None:
        yield f"{told}."
    elif most is None:
        yield f"{told}: done by {half} in half of the cases, but in nine of ten by no day up to the last one."
    else:
        yield f"{told}: done by {half} in half of the cases, and by {most} in nine of ten."


# ---- blocks


def _blocks(ahead: SeasonAhead, recovery: RecoveryList, end: SeasonEnd, program: str) -> Iterator[Block]:
    whole = Command("Every trap that is not home, and files for plotter and printer", command(program, "recovery"))
    if ahead.today > end.deadline or not recovery.fishing:
        yield Block("The recovery list", (STAYS,), (whole,))
        return
    odds = ahead.odds
    if odds is not None:
        yield Block("Days to start by", starts_words(odds.start_by, ahead.today))
    if recovery.trips:
        yield Block(_trips_title(odds, ahead.today), tuple(_trips(recovery.trips, odds, ahead.today)), (whole,))
    yield Block("Harvest and bait", tuple(_harvest(end, ahead.rebaits, ahead.today)))
    rests = [rule_words(recovery), STACKED]
    if odds is not None:
        rests = [*_rests(odds.reckoned_from, odds.day, ahead.today), *rests, NO_CALL_OF_ITS_OWN]
    yield Block("What this rests on", tuple(rests))


def _trips_title(odds: OddsTold | None, today: date) -> str:
    if odds is None:
        return "Trips to take them up"
    begin = due_words(odds.trips_from, today)
    return f"Trips to take them up, each with the day by which it is made in half of the cases, from {begin} on"


def _trips(trips: Sequence[TripOut], odds: OddsTold | None, today: date) -> Iterator[str]:
    for trip in trips[:MOST_TRIPS]:
        strings = "; ".join(traps_words(string.name, string.places) for string in trip.strings)
        day = f", by {due_words(trip.day, today)}" if trip.day is not None else ""
        long = odds is not None and trip.minutes > odds.reckoned_from.window_min
        more = ". That is longer than a usual fit day carries" if long else ""
        yield (
            f"Trip {trip.number}, {traps_count(trip.traps)}, about {minutes_words(trip.minutes)}{day}: "
            f"{strings}{more}."
        )
    if len(trips) > MOST_TRIPS:
        yield f"And {len(trips) - MOST_TRIPS} more."


def _harvest(end: SeasonEnd, rebaits: Sequence[Rebait], today: date) -> Iterator[str]:
    if end.last_harvest is not None:
        last = f"Last day to pull for the catch: {due_words(end.last_harvest, today)}."
        if end.last_harvest < end.deadline:
            last += " After it traps may only be taken up: where a letter says PULL it means that alone."
        yield last
    by_day: dict[date, list[Rebait]] = {}
    for rebait in rebaits:
        if rebait.last_on is not None:
            by_day.setdefault(max(rebait.last_on, today - _ONE_DAY), []).append(rebait)
    for day, some in sorted(by_day.items()):
        names = listed(one_line(rebait.string) for rebait in some)
        if day < today:
            yield f"{names}: fresh bait is of no use any more."
        else:
            after = due_words(day + _ONE_DAY, today)
            yield f"{names}: last day for fresh bait {due_words(day, today)}; from {after} on it is of no use."
    if any(day >= today for day in by_day):
        yield (
            "That is for a pull on the last harvest day, past the string's soak floor. For a string that is taken "
            "up sooner, the last useful bait is that much sooner."
        )
    elif rebaits and not by_day:
        yield "No fresh bait is of use: nothing is harvested any more."
    if end.next_set is not None:
        yield f"Traps may be set again from {due_words(end.next_set, today)}."


# ---- what it rests on


def _rests(source: OddsFrom, as_of: date, today: date) -> Iterator[str]:
    when = "evening" if source.today is TodayCounts.LIKELY_NEXT else "morning"
    old = "" if as_of == today else f", as of the {when} of {due_words(as_of, today)}"
    if source.forecast_days:
        first = "day is" if source.forecast_days == 1 else f"{source.forecast_days} days are"
        yield (
            f"The first {first} by the official forecasts and how far they err{old}; an hour that they fail to "
            f"tell counts as not fit.{_today(source.today, as_of, today)}"
        )
    else:
        yield "No forecast is in these odds: each day is taken for a usual one, and today for none."
    yield from usual_words(source.counted, source.lacking, "Later days" if source.forecast_days else "Days")
    yield (
        f"A usual fit day carries a trip of {minutes_words(source.window_min)}. A shorter window brings home less "
        "than the trips told, a longer one more, as far as the deck carries. Days off and days that you barred "
        "count for no trip."
    )


def _today(counts: TodayCounts, as_of: date, today: date) -> str:
    match counts:
        case TodayCounts.CALLED:
            return " Today counts as called."
        case TodayCounts.NOT if as_of < today:
            return ""
        case TodayCounts.NOT:
            return " Today counts for no trip: there is no call to take traps up, or it is a day off."
        case TodayCounts.LIKELY_NEXT:
            likely = due_words(as_of + _ONE_DAY, today)
            return (
                f" Trip 1 is that of the likely call for {likely}, which is no call; "
                "the morning letter may differ."
            )


def usual_words(counted: Sequence[YearsCounted], lacking: Sequence[str], days: str) -> Iterator[str]:
    """What days that no forecast tells are taken by, as in ``OddsFrom``. ``days`` is how they are called."""
    yield from (_counted(each, days) for each in counted)
    for why in lacking:
        yield f"{capital(one_line(why))}: there the usual chance of the plan file stands, which nobody counted."


def years_words(years: Sequence[int]) -> str:
    """``2019 to 2021, 3 years``."""
    return f"{years[0]}" if len(years) == 1 else f"{years[0]} to {years[-1]}, {len(years)} years"


def _counted(each: YearsCounted, days: str) -> str:
    by = f"as often fit as station {one_line(each.station)} measured in {years_words(each.years)}"
    told = f"{days} in {one_line(each.area)}: {by}."
    if each.not_held:
        told += (
            f" It doesn't tell {listed(named(name).short for name in each.not_held)}: too high a chance by that."
        )
    if each.prior_months:
        months = listed(FULL_MONTHS[month - 1] for month in each.prior_months)
        told += f" Too little is told of {months}: the chance of the plan file stands there."
    return told
