"""The start of a season as a page to print: a check list, and one sheet for each trip that sets traps."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from soakbell.gear.fold import GearState
from soakbell.letters.facts import LetterFacts
from soakbell.letters.gear_section import job_words
from soakbell.letters.gear_words import barred_words, shares_words, traps_count, upkeep_words
from soakbell.letters.letter import page_html
from soakbell.letters.recovery_sheet import Sheet, SheetPage, SheetString, Tick, rules_line
from soakbell.letters.recovery_words import STACKED, mark_words
from soakbell.letters.start_section import (
    NO_CALL,
    from_words,
    gear_rule_words,
    limit_words,
    untagged_words,
)
from soakbell.letters.times import HarborTimes, full_day_words, minutes_words
from soakbell.letters.words import one_line, skipper_decides
from soakbell.planning.season_end import TakeUpTrip
from soakbell.planning.season_start import SeasonStart


def setting_sheet(start: SeasonStart, gear: GearState, facts: LetterFacts, *, now: datetime) -> str:
    """The page, by itself in one file, black on white. Traps are ticked by their places, with their tags."""
    times = HarborTimes.at(facts.zone_name, now)
    page = SheetPage(
        what="Setting list",
        boat=facts.boat,
        by_when=f"Traps may be set from {full_day_words(start.opening.set_from)}.",
        written=f"{full_day_words(times.day)}, {times.zoned(now)}",
        sheets=tuple(_sheets(start, gear)),
        cautions=(skipper_decides("this list"), NO_CALL, STACKED, rules_line(facts)),
        invented=facts.invented,
        blanks=("Loaded: ______", "Left ashore: ________________", "Set by: ______"),
        nothing="No trap waits to be set.",
    )
    return page_html("recovery_sheet", {"page": page, "style_url": ""})


def _sheets(start: SeasonStart, gear: GearState) -> Iterator[Sheet]:
    rows = tuple(_to_see_to(start))
    if start.waiting and rows:
        yield Sheet("Before setting", from_words(start), rows=rows)
    for number, trip in enumerate(() if start.plan is None else start.plan.trips.trips, start=1):
        strings = tuple(_string(gear, name, places) for name, places in trip.strings)
        about = f"{traps_count(trip.traps)}, about {minutes_words(trip.minutes)}."
        yield Sheet(f"Trip {number}", about, strings, notes=_notes(trip, start))


def _notes(trip: TakeUpTrip, start: SeasonStart) -> tuple[str, ...]:
    """What holds for the whole plan stands on its last sheet."""
    if start.plan is None or trip is not start.plan.trips.trips[-1]:
        return ()
    limit = limit_words(start.plan)
    return (limit,) if limit else ()


def _to_see_to(start: SeasonStart) -> Iterator[str]:
    yield from (f"May not be set: {barred_words(row)}" for row in start.barred)
    if start.mends is not None:
        yield from (f"Mend {job_words(job)}" for job in start.mends.jobs)
        if start.mends.lacking:
            yield f"Parts to buy: {shares_words(start.mends.lacking)}."
    if start.untagged:
        yield f"Without a tag in the log: {untagged_words(start)}"
    yield from (upkeep_words(due, start.today) for due in start.upkeep)
    yield from (gear_rule_words(rule) for rule in start.rules)


def _string(gear: GearState, name: str, places: tuple[int, ...]) -> SheetString:
    state = gear.strings[name]
    return SheetString(
        one_line(name),
        traps_count(len(places)),
        mark_words(state.start),
        mark_words(state.end),
        tuple(Tick(str(place), one_line(state.traps[place - 1].tag)) for place in places),
    )
