"""When bait has to be ordered, and how much of it: a reorder point for each bait, and one order a day at most.

The stock is looked at on each order day of the supplier, so it has to last over the lead time and the days until the
next order day; see ``planning.stock`` for the formulas and their sources.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, time

from soakbell.gear.bait_lots import OpenOrder


@dataclass(frozen=True)
class BaitLevel:
    """How one bait stands against its reorder point. Amounts in boxes.

    Attributes:
        level: 0 enough; 1 below the reorder point; 2 it would run out before the next delivery could come.
        cause: tells one time that it is low from the next: when it last came, and which order is late.
        since: when the log last told anything of the bait.
        told: that the log was ever told what is on hand. Where it wasn't, the bait is in no order.
        on_hand: what can be used, after what was used without boxes told; what is spoilt isn't in it.
        on_order: what is on its way and not late.
        need: expected over ``protection_days``, the days to the next order day and the lead time.
        safety: what is held beyond ``need``; both together are ``reorder_point``.
        plan_need: expected over the days that bait is held for.
        runs_out_on: the first day whose need can't be met, with what is on its way; None within those days.
        next_order_on: the next day on which the supplier takes orders, ``delivery_on`` when that comes; None
            without a supplier, or where he takes none.
        late: open orders of this bait that should have come.
    """

    bait: str
    level: int
    cause: str
    since: datetime
    told: bool
    on_hand: float
    on_order: float
    need: float
    safety: float
    reorder_point: float
    protection_days: int
    plan_need: float
    runs_out_on: date | None
    next_order_on: date | None
    delivery_on: date | None
    late: tuple[OpenOrder, ...] = ()


@dataclass(frozen=True)
class OrderLine:
    """One bait of an order: ``boxes`` of it, and why, as in ``BaitLevel``.

    ``topped_up`` of the boxes are there only to reach the supplier's minimum; ``wanted`` is what would have been
    ordered had the freezer room for it.
    """

    bait: str
    boxes: float
    wanted: float
    topped_up: float
    on_hand: float
    on_order: float
    need: float
    safety: float
    reorder_point: float
    plan_need: float
    runs_out_on: date | None


@dataclass(frozen=True)
class BaitOrder:
    """One order to the supplier, to be placed on ``day`` (local) by ``order_by``; it would come on ``due_on``.

    Attributes:
        lines: what to order, the bait with the least cover first; never of 0 boxes.
        no_room: baits that are low, but for which the freezer has no room.
        freezer_boxes: what the freezer holds, where it makes the order smaller than wanted, else None.
        minimum_boxes: the supplier's minimum, where the order can't reach it for lack of room, else None. Such an
            order can't be placed.
        late: open orders that should have come, of all baits.
        straight: it goes to ``address`` without the skipper's yes.
    """

    supplier: str
    address: str | None
    day: date
    order_by: time
    due_on: date
    lines: tuple[OrderLine, ...]
    no_room: tuple[str, ...] = ()
    freezer_boxes: float | None = None
    minimum_boxes: float | None = None
    late: tuple[OpenOrder, ...] = ()
    straight: bool = False

    @property
    def boxes(self) -> float:
        return sum(line.boxes for line in self.lines)

    @property
    def can_be_placed(self) -> bool:
        return bool(self.lines) and self.minimum_boxes is None
