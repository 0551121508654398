"""What a letter tells of gear, as data: what to load for a pull, what to mend, what to thaw for tomorrow."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal

from soakbell.planning.bench_plan import BenchJob, MendAtPull, TrapsOf
from soakbell.planning.bench_plan import BenchPlan as Bench
from soakbell.planning.call import Call

__all__ = ["Bench", "BenchJob", "MendAtPull", "TrapsOf"]

UpkeepState = Literal["never told", "due soon", "overdue"]
UpkeepUnit = Literal["", "engine h", "pulls", "days in water"]


@dataclass(frozen=True)
class BaitToLoad:
    """One bait for the traps of a trip, in boxes.

    ``needed_boxes`` is for the traps of the trip, on the safe side. ``aboard_boxes`` lie aboard, ``thawed_boxes``
    are thawed by the time of leaving and unspoilt, ``thawing_boxes`` are not thawed by then, ``frozen_boxes``
    lie in the freezer. ``take_boxes`` of those thawed are to be taken aboard; ``short_boxes`` are lacking even so.
    """

    bait: str
    traps: int
    needed_boxes: float
    aboard_boxes: float
    thawed_boxes: float
    thawing_boxes: float
    frozen_boxes: float
    take_boxes: float
    short_boxes: float


@dataclass(frozen=True)
class BarredTraps:
    """Traps of one string that may not be set, for one item. ``rule`` says which rule it breaks; "" where none.

    ``in_water``: they were set although they may not be. ``unknown``: the settings don't know the item, and so
    it counts as one with which no trap may be set.
    """

    string: str
    places: tuple[int, ...]
    item: str
    rule: str
    in_water: bool
    unknown: bool = False


@dataclass(frozen=True)
class PartToCarry:
    """Pieces of a part for the mends of a trip, and how many lie on hand. More needed than on hand is short."""

    part: str
    pieces: float
    on_hand: float


@dataclass(frozen=True)
class UpkeepLine:
    """A task of upkeep that asks for the skipper.

    ``due_on`` is its day where the calendar or a date of expiry binds. Else ``left`` in ``unit`` is what is left
    until it is due, negative past it. Both None: it was never told.
    """

    task: str
    state: UpkeepState
    safety: bool
    expires: bool
    due_on: date | None
    left: float | None
    unit: UpkeepUnit


@dataclass(frozen=True)
class PartToBuy:
    """A part below its reorder point. ``needed_now`` are the pieces that the open mends ask for."""

    part: str
    on_hand: float
    reorder_point: float
    needed_now: float
    buy: float


@dataclass(frozen=True)
class Load:
    """What goes aboard for one trip.

    ``ready`` are the traps that may be set, by string; ``mends`` what is to be mended at the pull.
    """

    bait: tuple[BaitToLoad, ...]
    ready: tuple[TrapsOf, ...]
    mends: tuple[MendAtPull, ...]
    parts: tuple[PartToCarry, ...]


@dataclass(frozen=True)
class Ashore:
    """Gear beside a call: ``load`` on a day with a trip, ``bench`` on a day without one.

    Attributes:
        barred: traps that may not be set, those in the water first.
        upkeep: what is due, gravest first; on a day with a trip only what is looked at before leaving, and overdue
            safety gear.
        parts_to_buy: only on a day without a trip.
        fault: what could not be told and why, as a sentence without its stop; "" where all could. What stands
            beside a fault holds; what is lacking may be lacking because of it.
    """

    load: Load | None = None
    bench: Bench | None = None
    barred: tuple[BarredTraps, ...] = ()
    upkeep: tuple[UpkeepLine, ...] = ()
    parts_to_buy: tuple[PartToBuy, ...] = ()
    fault: str = ""


@dataclass(frozen=True)
class Thaw:
    """Boxes of a bait to take out of the freezer for tomorrow.

    Attributes:
        boxes: what to take out, never more than the freezer has.
        out_by: the moment by which it must lie out to be thawed at leaving.
        past: that moment is past: it won't be thawed through.
        short_boxes: what is lacking for tomorrow even with all that the freezer has.
    """

    bait: str
    boxes: float
    out_by: datetime
    past: bool
    short_boxes: float


@dataclass(frozen=True)
class Eve:
    """The evening before ``day``. It is no call.

    Attributes:
        call: what the call would be on what is on hand now; None where it couldn't be decided (see ``fault``).
        thaw: for the likely trip; where no trip is likely, empty.
        thaw_if: where no trip is likely, what one would need that is called all the same; empty where no string is
            ripe.
        load: for the likely trip.
        fault: as that of ``Ashore``; of the decision too.
    """

    day: date
    call: Call | None
    thaw: tuple[Thaw, ...] = ()
    load: Load | None = None
    barred: tuple[BarredTraps, ...] = ()
    upkeep: tuple[UpkeepLine, ...] = ()
    fault: str = ""
    thaw_if: tuple[Thaw, ...] = ()
