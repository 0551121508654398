"""Bait by lots, as the log tells it: where it lies, since when, what is on order, and how much a trap takes."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from soakbell.gear.log import BaitPlace


@dataclass(frozen=True)
class BaitLot:
    """Boxes of one bait that came together and lie together. ``placed_at``: since when they lie there."""

    bait: str
    place: BaitPlace
    boxes: float
    bought_at: datetime
    placed_at: datetime


@dataclass(frozen=True)
class OpenOrder:
    """Boxes ordered that haven't come. ``by_service``: the service ordered them itself."""

    bait: str
    boxes: float
    ordered_at: datetime
    due_on: date | None
    entry_id: str
    by_service: bool


@dataclass(frozen=True)
class BaitUse:
    """Use of one bait over the pulls that told boxes: sums of boxes, of traps, and of boxes squared over traps."""

    bait: str
    pulls: int = 0
    traps: int = 0
    boxes: float = 0.0
    boxes2_a_trap: float = 0.0


@dataclass(frozen=True)
class Unmeasured:
    """Traps baited without boxes told since the bait aboard was last counted; ``bait`` is "" where not named."""

    bait: str
    traps: int


@dataclass(frozen=True)
class BaitStock:
    """``lots`` oldest first; ``baited`` counts traps baited by UTC day, oldest first, of the last 120 days."""

    lots: tuple[BaitLot, ...] = ()
    orders: tuple[OpenOrder, ...] = ()
    used: tuple[BaitUse, ...] = ()
    unmeasured: tuple[Unmeasured, ...] = ()
    baited: tuple[tuple[date, int], ...] = ()
