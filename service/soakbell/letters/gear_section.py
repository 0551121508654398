"""What a letter tells of gear: what to load for a trip, what to mend without one.

Whatever goes wrong here is told in the letter; it never costs the letter.
"""

from __future__ import annotations

import logging
import math
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from soakbell.gear.bait_lots import WHERE
from soakbell.gear.log import BaitPlace
from soakbell.letters.commands import Command, bait_counted_command, command, repaired_line
from soakbell.letters.figures import amount
from soakbell.letters.gear_words import (
    barred_ask,
    barred_words,
    boxes_words,
    count_of,
    places_words,
    shares_words,
    traps_count,
    traps_words,
    untold_upkeep,
    upkeep_words,
)
from soakbell.letters.times import minutes_words, soak_words
from soakbell.letters.words import capital, ended, listed, one_line
from soakbell.planning.ashore import (
    Ashore,
    BaitToLoad,
    BarredTraps,
    Bench,
    BenchJob,
    Load,
    MendAtPull,
    PartToBuy,
    PartToCarry,
    TrapsOf,
    UpkeepDue,
)

log = logging.getLogger(__name__)

LOAD_TITLE = "Bait and gear to load"
TAKE_UP_TITLE = "Gear"
BENCH_TITLE = "Bench and upkeep"
UPKEEP_TITLE = "Upkeep before leaving"


@dataclass(frozen=True)
class Block:
    """A heading, points or sentences under it, and commands."""

    title: str
    lines: tuple[str, ...]
    commands: tuple[Command, ...] = ()
    numbered: bool = False


@dataclass(frozen=True)
class GearSection:
    title: str
    fault: str
    blocks: tuple[Block, ...]


def gear_section(
    ashore: Ashore | None, day: date, program: str, *, trip: bool, take_up: bool = False
) -> GearSection | None:
    """The section of a letter about ``day``; None where there is nothing to tell. It never raises.

    ``trip``: the letter has one, to load for unless it is to ``take_up`` traps. ``program`` is how commands begin.
    """
    if ashore is None:
        return None
    title = (TAKE_UP_TITLE if take_up else LOAD_TITLE) if trip else BENCH_TITLE
    try:
        blocks = _with_trip(ashore, day, program) if trip else _without_trip(ashore, day, program)
        fault = untold(ashore.fault, some=bool(blocks)) if ashore.fault else ""
    except Exception as failed:
        log.exception("the gear section of a letter failed")
        return GearSection(title, untold(f"{type(failed).__name__}: {failed}"), ())
    return GearSection(title, fault, blocks) if blocks or fault else None


def untold(fault: str, *, some: bool = False) -> str:
    """That gear could not be told, and why. ``some``: a part of it could."""
    if some:
        return f"Not all of gear, bait and bench could be told: {ended(fault)}"
    return f"Gear, bait and bench could not be told: {ended(fault)}"


def _with_trip(ashore: Ashore, day: date, program: str) -> tuple[Block, ...]:
    load = () if ashore.load is None else load_blocks(ashore.load, program)
    return (*load, *barred_blocks(ashore.barred), *upkeep_blocks(UPKEEP_TITLE, ashore.upkeep, day, program))


def _without_trip(ashore: Ashore, day: date, program: str) -> tuple[Block, ...]:
    bench = () if ashore.bench is None else bench_blocks(ashore.bench, program)
    return (
        *bench,
        *barred_blocks(ashore.barred),
        *some_block("Parts to buy", (buy_words(part) for part in ashore.parts_to_buy)),
        *upkeep_blocks("Upkeep", ashore.upkeep, day, program),
    )


def some_block(title: str, lines: Iterable[str]) -> tuple[Block, ...]:
    """The block, or none without lines."""
    told = tuple(lines)
    return (Block(title, told),) if told else ()


# ---- a trip


def load_blocks(load: Load, program: str, thawing: frozenset[str] = frozenset()) -> tuple[Block, ...]:
    """What goes aboard. ``thawing`` are baits that a thaw call speaks of: what they lack is told there."""
    baits = tuple(_bait(bait, thaw_told=bait.bait in thawing) for bait in load.bait)
    counts = tuple(
        bait_counted_command(
            program, bait.bait, f"Count the {one_line(bait.bait)} in the freezer, and tell the log"
        )
        for bait in load.bait
        if not bait.told
    )
    spoilt = tuple(
        told for bait in load.bait if bait.bait not in thawing for told in _spoilt_commands(bait, program)
    )
    return (
        *((Block("Bait", baits, (*counts, *spoilt)),) if baits else ()),
        *some_block("Traps ready to set", _ready(load.ready)),
        *some_block("To mend when they come up", (mend_words(mend) for mend in load.mends)),
        *some_block("Parts to take along", (carry_words(part) for part in load.parts)),
    )


def barred_blocks(barred: tuple[BarredTraps, ...]) -> tuple[Block, ...]:
    if not barred:
        return ()
    lines = (*(barred_words(row) for row in barred), *barred_ask(barred))
    what = "told damaged" if any(row.unread for row in barred) else "may not be set"
    return (Block(f"{traps_count(count_of(barred))} {what}", lines),)


def upkeep_blocks(title: str, upkeep: tuple[UpkeepDue, ...], today: date, program: str) -> tuple[Block, ...]:
    """Tasks a line each; several that the log was never told of share one, since at the start that is most."""
    untold = tuple(due for due in upkeep if due.state == "never told")
    if len(untold) < 2:
        return some_block(title, (upkeep_words(due, today) for due in upkeep))
    told = (upkeep_words(due, today) for due in upkeep if due not in untold)
    status = Command("To see which", command(program, "status"))
    return (Block(title, (*told, f"{untold_upkeep(untold)}."), (status,)),)


def _bait(bait: BaitToLoad, *, thaw_told: bool) -> str:
    name, need = capital(one_line(bait.bait)), f"{traps_count(bait.traps)} need{'s' if bait.traps == 1 else ''}"
    if not bait.told:
        return f"{name}: {need} {boxes_words(bait.needed_boxes)}; on hand: not in the log yet."
    lie = [(bait.aboard_boxes, "aboard"), (bait.thawed_boxes, "thawed")]
    lie += [(bait.thawing_boxes, "not thawed by then"), (bait.frozen_boxes, "frozen")]
    where = listed(f"{amount(boxes)} {state}" for boxes, state in lie if boxes > 0) or "none"
    if bait.frozen_boxes > 0 and not bait.thawed_boxes + bait.thawing_boxes:
        where += ", none thawed"
    told = f"{name}: "
    if bait.take_boxes > 0:
        told += f"take {boxes_words(bait.take_boxes)} aboard. "
    elif bait.short_boxes <= 0 and bait.aboard_boxes > 0:
        told += "enough is aboard. "
    told += f"{capital(need) if told.endswith('. ') else need} {boxes_words(bait.needed_boxes)}; on hand: {where}."
    return told if thaw_told else told + _lacking(bait)


def _lacking(bait: BaitToLoad) -> str:
    """What to do about bait that isn't thawed, in sentences; "short" is only what lies nowhere."""
    frozen = max(0.0, bait.short_boxes - bait.thawing_boxes)
    take_out = min(frozen, bait.frozen_boxes)
    told = ""
    if take_out > 0:
        through = "" if bait.thaws_in_time else "; it won't be thawed through when you leave"
        told += f" Take {boxes_words(take_out)} out of the freezer at once{through}."
    if frozen > take_out:
        told += f" Short by {boxes_words(frozen - take_out)}."
    return told + _spoilt(bait)


def _spoilt(bait: BaitToLoad) -> str:
    """What counts as spoilt, where more is needed."""
    if not bait.spoilt or bait.short_boxes <= 0:
        return ""
    places = listed(
        f"{boxes_words(some.boxes)} {WHERE[some.place]} ({soak_words(some.out_h)})" for some in bait.spoilt
    )
    return (
        f" Not counted, by the time out of the freezer when you leave: {places}; after "
        f"{bait.spoilt[0].keeps_h:.0f} h it counts as spoilt. Judge for yourself."
    )


def _spoilt_commands(bait: BaitToLoad, program: str) -> tuple[Command, ...]:
    """A count of a place keeps what came there last, so that the spoilt goes; what is counted aboard is new."""
    if not _spoilt(bait):
        return ()

    def told(what: str, boxes: float, option: str, place: BaitPlace) -> str:
        return command(program, "log", what, bait.bait, amount(boxes), option, place)

    left: dict[BaitPlace, float] = {"aboard": bait.aboard_boxes, "thaw": bait.thawed_boxes + bait.thawing_boxes}
    gone = [told("bait-spoiled", some.boxes, "--from", some.place) for some in bait.spoilt]
    good = [told("bait-counted", left[some.place], "--in", some.place) for some in bait.spoilt]
    aboard = bait.aboard_boxes + math.fsum(some.boxes for some in bait.spoilt)
    good.append(told("bait-counted", aboard, "--in", "aboard"))
    name = one_line(bait.bait)
    return (
        *_in_turn(f"If those {name} went bad, tell the log", gone),
        *_in_turn(f"If those {name} are still good, count them out of there and then aboard", good),
    )


def _in_turn(what_for: str, lines: Iterable[str]) -> Iterable[Command]:
    for line in lines:
        yield Command(what_for, line)
        what_for = "and"


def _ready(ready: tuple[TrapsOf, ...]) -> Iterable[str]:
    return (f"{traps_words(traps.string, traps.places)}." for traps in ready)


def mend_words(mend: MendAtPull) -> str:
    """What to mend on which traps when they come up."""
    return f"{traps_words(mend.string, mend.places)}: {one_line(mend.item)}, {minutes_words(mend.minutes)}."


def carry_words(part: PartToCarry) -> str:
    """Pieces to take along, and how many there are."""
    told = f"{amount(part.pieces)} x {one_line(part.part)}"
    if part.on_hand < part.pieces:
        return f"{told}: only {amount(part.on_hand)} on hand." if part.on_hand > 0 else f"{told}: none on hand."
    return f"{told} ({amount(part.on_hand)} on hand)."


# ---- a day without one


def bench_blocks(bench: Bench, program: str) -> tuple[Block, ...]:
    """What to mend in the time there is, what goes back then, and what waits for parts or time."""
    back = listed(f"{one_line(b.string)} {places_words(b.places)}" for b in bench.back)
    told_back = (f"{traps_count(count_of(bench.back))}: {back}.",) if back else ()
    return (
        *_jobs(bench, program),
        *some_block("Ready to set when that is done", told_back),
        *some_block("Short of parts", (_short(job) for job in bench.short)),
        *some_block("Left for another day", map(job_words, bench.left)),
    )


def _jobs(bench: Bench, program: str) -> tuple[Block, ...]:
    if not bench.jobs:
        return ()
    takes, has = minutes_words(bench.takes_min), minutes_words(bench.has_min)
    first = bench.jobs[0]
    line = repaired_line(program, first.string, first.places)
    done = Command("When a job is done, tell the log, as of the first", line)
    lines = tuple(map(job_words, bench.jobs))
    return (Block(f"To mend, in this order: {takes} of the {has} you have", lines, (done,), numbered=True),)


def job_words(job: BenchJob) -> str:
    """One mend with its minutes and parts, and the parts that lack."""
    items = listed(one_line(item) for item in job.items)
    parts = f"; parts: {shares_words(job.parts)}" if job.parts else ""
    lacking = f"; lacking {shares_words(job.lacking)}" if job.lacking else ""
    return f"{traps_words(job.string, job.places)}: {items}, {minutes_words(job.minutes)}{parts}{lacking}."


def _short(job: BenchJob) -> str:
    items = listed(one_line(item) for item in job.items)
    return f"{traps_words(job.string, job.places)}: {items}; lacking {shares_words(job.lacking)}."


def buy_words(part: PartToBuy) -> str:
    """Pieces to buy and why."""
    on_hand = f"{amount(part.on_hand)} on hand" if part.told else "none in the log yet"
    told = f"Buy {amount(part.buy)} x {one_line(part.part)}: {on_hand}"
    needed = f", open mends need {amount(part.needed_now)}" if part.needed_now > 0 else ""
    return f"{told}, reorder at {amount(part.reorder_point)}{needed}."
