"""What a letter tells of gear, as data: what to load for a pull, what to mend, what to thaw for tomorrow."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from soakbell.gear.conditions import BarredTraps
from soakbell.gear.log import BaitPlace
from soakbell.planning.bench_plan import BenchJob, MendAtPull, TrapsOf
from soakbell.planning.bench_plan import BenchPlan as Bench
from soakbell.planning.call import Call
from soakbell.planning.part_need import PartToBuy
from soakbell.planning.season_start import SeasonStart
from soakbell.planning.upkeep_due import UpkeepDue

__all__ = ["BarredTraps", "Bench", "BenchJob", "MendAtPull", "PartToBuy", "TrapsOf", "UpkeepDue"]


@dataclass(frozen=True)
class SpoiltBait:
    """Boxes that count as spoilt, since they will be out of the freezer for ``out_h`` at the time of leaving and
    that bait keeps for ``keeps_h``; of several lots the oldest."""

    place: BaitPlace
    boxes: float
    out_h: float
    keeps_h: float


@dataclass(frozen=True)
class BaitToLoad:
    """One bait for the traps of a trip, in boxes.

    ``needed_boxes`` is for the traps of the trip, on the safe side. ``aboard_boxes`` lie aboard, ``thawed_boxes``
    are thawed by the time of leaving and unspoilt, ``thawing_boxes`` are not thawed by then, ``frozen_boxes``
    lie in the freezer. ``take_boxes`` of those thawed are to be taken aboard; ``short_boxes`` are lacking even so.
    ``told``: the log was told what is on hand; else no amount but ``needed_boxes`` means anything.
    ``thaws_in_time``: what is taken out of the freezer now is thawed by the time of leaving. No other amount
    counts the ``spoilt``.
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
    told: bool = True
    thaws_in_time: bool = False
    spoilt: tuple[SpoiltBait, ...] = ()


@dataclass(frozen=True)
class PartToCarry:
    """Pieces of a part for the mends of a trip, and how many lie on hand. More needed than on hand is short."""

    part: str
    pieces: float
    on_hand: float


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
        upkeep: what asks for the skipper, gravest first; on a day with a trip only what is looked at before
            leaving, and overdue safety gear.
        parts_to_buy: only on a day without a trip.
        start: of a season, where it is in sight while traps wait for it.
        fault: what could not be told and why, as a sentence without its stop; "" where all could. What stands
            beside a fault holds; what is lacking may be lacking because of it.
    """

    load: Load | None = None
    bench: Bench | None = None
    barred: tuple[BarredTraps, ...] = ()
    upkeep: tuple[UpkeepDue, ...] = ()
    parts_to_buy: tuple[PartToBuy, ...] = ()
    start: SeasonStart | None = None
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
        start: as that of ``Ashore``.
    """

    day: date
    call: Call | None
    thaw: tuple[Thaw, ...] = ()
    load: Load | None = None
    barred: tuple[BarredTraps, ...] = ()
    upkeep: tuple[UpkeepDue, ...] = ()
    fault: str = ""
    thaw_if: tuple[Thaw, ...] = ()
    start: SeasonStart | None = None
