"""What a letter and the command tell of a season's start: from when, what to see to before, and in which trips.

Whatever goes wrong here is told in the letter; it never costs the letter.
"""

from __future__ import annotations

import logging
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date

from soakbell.fishery.rules import Rule
from soakbell.letters.commands import Command, command
from soakbell.letters.gear_section import UPKEEP_TITLE, Block, barred_blocks, job_words, upkeep_blocks
from soakbell.letters.gear_words import count_of, due_words, places_words, shares_words, traps_count, traps_words
from soakbell.letters.recovery_words import STACKED, reason_words, rule_source_words
from soakbell.letters.times import full_day_words, minutes_words
from soakbell.letters.words import capital, ended, listed, one_line
from soakbell.planning.ashore import TrapsOf
from soakbell.planning.season_end import TakeUpTrip
from soakbell.planning.season_start import MendsAhead, SeasonStart, SetPlan

log = logging.getLogger(__name__)

TITLE = "Start of season"
NO_CALL = (
    "No call is made for a trip that only sets traps. Look at the official forecast and warnings, and decide for "
    "yourself."
)
AS_HAULED = (
    "Minutes are reckoned as if as many traps were hauled and stacked; setting may take less. Planning aid, not "
    "for navigation."
)
MOST_JOBS = 12
"""Mends that a letter tells one by one; the command tells all."""


@dataclass(frozen=True)
class StartSection:
    """``lines`` are sentences above the blocks."""

    title: str
    fault: str
    lines: tuple[str, ...]
    blocks: tuple[Block, ...]


def start_section(start: SeasonStart | None, program: str, *, whole: bool = False) -> StartSection | None:
    """The section of a letter; None where no start is in sight. It never raises.

    Args:
        program: how commands begin.
        whole: for the command: with what a letter tells in its section on gear, and every mend.
    """
    if start is None:
        return None
    try:
        lines, blocks = (from_words(start), rule_words(start)), tuple(_blocks(start, program, whole=whole))
    except Exception as failed:
        log.exception("the start of season of a letter failed")
        return StartSection(TITLE, _untold(f"{type(failed).__name__}: {failed}"), (), ())
    return StartSection(TITLE, _untold(start.fault) if start.fault else "", lines, blocks)


def start_line(start: SeasonStart | None) -> str:
    """One sentence for an eve letter, up to the day before. Empty once traps may be set; it never raises."""
    if start is None or start.days_left < 1:
        return ""
    try:
        return f"{TITLE}: {from_words(start)}"
    except Exception as failed:
        log.exception("the start of season of a letter failed")
        return _untold(f"{type(failed).__name__}: {failed}")


def _untold(fault: str) -> str:
    return f"Not all of the start of season could be told: {ended(fault)}"


# ---- words that the letter, the sheet and the command share


def from_words(start: SeasonStart) -> str:
    """From when traps may be set and pulled, and how many wait."""
    left, first = start.days_left, full_day_words(start.opening.set_from)
    when = {0: f"from today, {first}", 1: f"from tomorrow, {first}"}.get(left, f"from {first}")
    if left > 1:
        when += f", in {left} days"
    elif left < 0:
        when = f"since {first}"
    harvest, pulled = start.opening.harvest_from, ""
    if harvest is not None and harvest > max(start.today, start.opening.set_from):
        pulled = f" No trap may be pulled for its catch before {_day(harvest, start)}."
    return f"Traps may be set {when}.{pulled} Out of the water: {traps_count(start.waiting)}."


def rule_words(start: SeasonStart) -> str:
    """Which rule says so, and how sure it is."""
    return reason_words(start.opening.reason)


def gear_rule_words(rule: Rule[str]) -> str:
    """One gear rule with its source, and how sure it is."""
    told = ended(f"{capital(one_line(rule.name))}: {one_line(rule.value)}")
    return f"{told} {rule_source_words(rule.source, rule.sure)}"


def set_trip_words(trip: TakeUpTrip) -> str:
    """``Nine Foot, traps 1 to 24, and Ledge, trap 3: 25 traps, about 4 h``."""
    strings = "; ".join(traps_words(name, places) for name, places in trip.strings)
    return f"{strings}: {traps_count(trip.traps)}, about {minutes_words(trip.minutes)}"


def limit_words(plan: SetPlan) -> str:
    """What the law's limit leaves ashore. Empty where it leaves none."""
    if plan.limit is None or not plan.left:
        return ""
    out = f", and {plan.out} are in the water or missing" if plan.out else ""
    return (
        f"The law allows {traps_count(plan.limit.traps)}{out}: {_by_string(plan.left)} stay ashore. "
        f"{rule_source_words(plan.limit.rule.source, plan.limit.rule.sure)}"
    )


def mends_title(mends: MendsAhead) -> str:
    return f"To mend before that, {minutes_words(mends.minutes)} in all"


def untagged_words(start: SeasonStart) -> str:
    """Traps without a tag in the log."""
    several = count_of(start.untagged)
    if several == start.waiting:
        return f"The log knows no tag of any of the {traps_count(several)}."
    return f"{traps_count(several)}: {_by_string(start.untagged)}."


def plan_title(plan: SetPlan, today: date) -> str:
    trips = "1 trip" if len(plan.trips.trips) == 1 else f"{len(plan.trips.trips)} trips"
    before = f", none before {due_words(plan.not_before, today)}" if plan.not_before > today else ""
    return f"Setting in {trips}{before}"


def _day(day: date, start: SeasonStart) -> str:
    return due_words(day, start.today)


def _by_string(traps: Iterable[TrapsOf]) -> str:
    return listed(f"{one_line(some.string)} {places_words(some.places)}" for some in traps)


# ---- blocks


def _blocks(start: SeasonStart, program: str, *, whole: bool) -> Iterator[Block]:
    if start.plan is not None:
        yield from _plan(start.plan, start, program)
    elif start.lacking:
        yield Block("Setting", (f"Trips can't be told: {ended(start.lacking)}",))
    if start.ready:
        ready = tuple(f"{traps_words(some.string, some.places)}." for some in start.ready)
        yield Block(f"{traps_count(count_of(start.ready))} may be set as they are", ready)
    if whole:
        yield from barred_blocks(start.barred)
    elif start.barred:
        several = count_of(start.barred)
        yield Block(
            f"{traps_count(several)} may not be set",
            (f"{'It is' if several == 1 else 'They are'} named where this letter tells of the bench.",),
        )
    if start.mends is not None and start.mends.jobs:
        yield _mends(start.mends, whole=whole)
    if start.untagged:
        yield Block("Without a tag in the log", (untagged_words(start),))
    if whole:
        yield from upkeep_blocks(UPKEEP_TITLE, start.upkeep, start.today, program)
    if start.rules:
        title = f"Gear rules in force on {_day(start.opening.set_from, start)}"
        yield Block(title, (*(gear_rule_words(rule) for rule in start.rules), "Check with the authority."))


def _plan(plan: SetPlan, start: SeasonStart, program: str) -> Iterator[Block]:
    limit = limit_words(plan)
    if not plan.trips.trips:
        if limit:
            yield Block("Setting", (limit,))
        return
    sheet = Command("To print a sheet a trip", command(program, "setting", "--sheet", "setting.html"))
    lines = tuple(f"{set_trip_words(trip)}." for trip in plan.trips.trips)
    yield Block(plan_title(plan, start.today), lines, (sheet,), numbered=True)
    yield Block("Mind", tuple(line for line in (limit, NO_CALL, STACKED, AS_HAULED) if line))


def _mends(mends: MendsAhead, *, whole: bool) -> Block:
    jobs = mends.jobs if whole else mends.jobs[:MOST_JOBS]
    lines = [job_words(job) for job in jobs]
    if len(jobs) < len(mends.jobs):
        lines.append(f"And {len(mends.jobs) - len(jobs)} more.")
    if mends.lacking:
        lines.append(f"Parts to buy for all of it: {shares_words(mends.lacking)}.")
    return Block(mends_title(mends), tuple(lines))
