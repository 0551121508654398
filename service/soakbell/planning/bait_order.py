"""When bait has to be ordered, and how much of it: a reorder point for each bait, and one order a day at most.

The stock is looked at on each order day of the supplier, so it has to last over the lead time and the days until
the next order day; see ``planning.stock`` for the formulas and their sources.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from functools import cache
from statistics import NormalDist

from soakbell.gear.bait_lots import BaitStock, OpenOrder, same_bait
from soakbell.gear.outfit import Outfit, Supplier
from soakbell.planning.bait_need import BaitNeed, bait_needs, due_of, is_late
from soakbell.planning.stock import order_quantity, reorder_point, safety_stock, standard_quantile

_PULL_DAY_SD = 2.0
"""Standard deviation, in days, by which the weather moves a pull from its expected day: from memory, no source."""
_NO_SUPPLIER_LEAD_DAYS = 1.0
"""Where no supplier is settled, bait is bought within a day: a choice of ours."""
_ORDER_DAYS_AHEAD = 120
_MOST_DAYS_BACK = 30
_ROUNDING = 1e-6
_ONE_DAY = timedelta(days=1)
_MOMENT = timedelta(microseconds=1)
_STANDARD = NormalDist()


@dataclass(frozen=True)
class BaitLevel:
    """How one bait stands against its reorder point. Amounts in boxes.

    Attributes:
        level: 0 enough; 1 below the reorder point; 2 it would run out before the next delivery could come.
        cause: tells one time that it is low from the next: when it last came, and which order is late where it
            would stand better had that come.
        since: when the log last told anything of the bait, or when the days made it so low since.
        told: that the log was ever told what is on hand. Where it wasn't, the bait is in no order.
        on_hand: what can be used, after what was used without boxes told; what is spoilt isn't in it.
        on_order: what is on its way and not late.
        need: expected over ``protection_days``, the days to the next order day and the lead time.
        safety: what is held beyond ``need``; both together are ``reorder_point``.
        plan_need: expected over the days that bait is held for.
        runs_out_on: the first day whose need can't be met, with what is on its way; None within those days.
        delivery_on: when what is ordered on the supplier's next order day comes; None without a supplier, or where
            he takes none.
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
    delivery_on: date | None
    late: tuple[OpenOrder, ...] = ()


@dataclass(frozen=True)
class OrderLine:
    """One bait of an order: ``boxes`` of it, and why, as in ``BaitLevel``.

    ``topped_up`` of the boxes are there only to reach the supplier's minimum; ``wanted`` is what would have been
    ordered had the freezer room for it: ``target_need``, expected over ``target_days``, and ``safety``, less what
    is on hand and on order, in whole steps.
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
    target_need: float
    target_days: int
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
        straight: it goes to ``address`` without the skipper's yes. Never while any order is late, whoever placed
            it: the supplier may still bring that one.
        held_by_late: it would go straight if nothing were late.
        restored_on: it would go straight if the log had not been restored on that day: it may lack an order.
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
    held_by_late: bool = False
    restored_on: date | None = None

    @property
    def boxes(self) -> float:
        return sum(line.boxes for line in self.lines)

    @property
    def can_be_placed(self) -> bool:
        return bool(self.lines) and self.minimum_boxes is None


def next_order_day(supplier: Supplier, day: date, at: time) -> date | None:
    """The first day that the supplier takes orders, from ``day`` at local time ``at`` on; None within months."""
    for ahead in range(_ORDER_DAYS_AHEAD):
        candidate = day + ahead * _ONE_DAY
        past = not ahead and at > supplier.order_by
        if candidate.weekday() in supplier.order_weekdays and candidate not in supplier.closed_on and not past:
            return candidate
    return None


def late_orders(outfit: Outfit, stock: BaitStock, today: date, zone: tzinfo) -> tuple[OpenOrder, ...]:
    """Open orders that should have come before ``today``, oldest first."""
    return tuple(order for order in stock.orders if is_late(order, outfit.supplier, today, zone))


def bait_levels(
    outfit: Outfit,
    stock: BaitStock,
    expected_traps: Mapping[date, float],
    *,
    now: datetime,
    today: date,
    at: time,
    zone: tzinfo,
) -> tuple[BaitLevel, ...]:
    """Each bait of the settings against its reorder point. ``today``, ``at``: day and time of ``now`` in ``zone``.

    ``expected_traps`` are the traps to be pulled by local day (``planning.season_ahead``), some days beyond
    ``plan_days``, since a pull can come sooner than expected.
    """
    levels = _levels(outfit, stock, expected_traps, now=now, today=today, at=at, zone=zone)

    @cache
    def before(moment: datetime) -> tuple[BaitLevel, ...]:
        local = moment.astimezone(zone)
        day, hour = local.date(), local.time()
        return _levels(outfit, stock, expected_traps, now=moment, today=day, at=hour, zone=zone)

    def began(at: int, level: BaitLevel) -> datetime:
        """Only the days go by between what the log tells: orders become late, bait spoils, an order day passes."""
        for moment in _turns(outfit, stock, level, now, zone):
            was = before(moment - _MOMENT)[at]
            if was.level < level.level or was.cause != level.cause:
                return moment
        return level.since

    return tuple(
        replace(level, since=began(at, level)) if level.level else level for at, level in enumerate(levels)
    )


def bait_order_of(
    outfit: Outfit,
    stock: BaitStock,
    expected_traps: Mapping[date, float],
    *,
    now: datetime,
    today: date,
    at: time,
    zone: tzinfo,
    ringing: Collection[str],
) -> BaitOrder | None:
    """The order to place today, for those baits of ``ringing`` (names) that are below their reorder point.

    None where there is nothing to order, no supplier, or today isn't a day for it or too late for it. Each bait
    is brought up to what is expected over the days it is held for and the safety stock, by whole steps.
    """
    supplier = outfit.supplier
    if supplier is None or next_order_day(supplier, today, at) != today:
        return None
    levels = bait_levels(outfit, stock, expected_traps, now=now, today=today, at=at, zone=zone)
    low = [
        level
        for level in levels
        if level.told
        and level.on_hand + level.on_order < level.reorder_point
        and any(same_bait(level.bait, name) for name in ringing)
    ]
    if not low:
        return None
    low.sort(
        key=lambda level: (level.runs_out_on or date.max, (level.on_hand + level.on_order) / level.reorder_point)
    )
    wanted = [_line(level, supplier, outfit.plan_days) for level in low]
    lines, room = _within(wanted, supplier, _room(outfit, stock))
    cut = [line.boxes for line in lines] != [line.boxes for line in wanted]
    minimum = None
    lacking = supplier.minimum_boxes - sum(line.boxes for line in lines)
    if lines and lacking > _ROUNDING:
        more = order_quantity(lacking, supplier.box_step, room)
        if more < lacking - _ROUNDING:
            minimum = supplier.minimum_boxes
        else:
            lines[0] = replace(lines[0], boxes=lines[0].boxes + more, topped_up=more)
    late = late_orders(outfit, stock, today, zone)
    may_go = supplier.send_straight and bool(supplier.address) and bool(lines) and minimum is None
    return BaitOrder(
        supplier=supplier.name,
        address=supplier.address,
        day=today,
        order_by=supplier.order_by,
        due_on=today + math.ceil(supplier.lead_days) * _ONE_DAY,
        lines=tuple(lines),
        no_room=tuple(line.bait for line in wanted if line.bait not in {kept.bait for kept in lines}),
        freezer_boxes=outfit.freezer_boxes if cut or minimum is not None else None,
        minimum_boxes=minimum,
        late=late,
        straight=may_go and not late,
        held_by_late=may_go and bool(late),
    )


def _levels(
    outfit: Outfit,
    stock: BaitStock,
    expected_traps: Mapping[date, float],
    *,
    now: datetime,
    today: date,
    at: time,
    zone: tzinfo,
) -> tuple[BaitLevel, ...]:
    """Levels ``since`` the last word of each bait. A late order is a cause only where it makes a level worse."""

    def of(stock: BaitStock) -> tuple[BaitLevel, ...]:
        needs = bait_needs(outfit, stock, expected_traps, now=now, today=today, zone=zone)
        return tuple(
            _level(outfit, stock, need, expected_traps, now=now, today=today, at=at, zone=zone) for need in needs
        )

    levels = of(stock)
    late = late_orders(outfit, stock, today, zone)
    if not late:
        return levels
    orders = tuple(replace(order, due_on=today) if order in late else order for order in stock.orders)
    return tuple(
        _for_late(level, outfit, zone) if level.late and level.level > had_it_come.level else level
        for level, had_it_come in zip(levels, of(replace(stock, orders=orders)), strict=True)
    )


def _for_late(level: BaitLevel, outfit: Outfit, zone: tzinfo) -> BaitLevel:
    due_on = max(due_of(order, outfit.supplier, zone) for order in level.late)
    return replace(level, cause=f"{level.cause} late {due_on.isoformat()}")


def _level(
    outfit: Outfit,
    stock: BaitStock,
    need: BaitNeed,
    expected_traps: Mapping[date, float],
    *,
    now: datetime,
    today: date,
    at: time,
    zone: tzinfo,
) -> BaitLevel:
    supplier = outfit.supplier
    orders = [order for order in stock.orders if same_bait(order.bait, need.bait)]
    late = tuple(order for order in orders if is_late(order, supplier, today, zone))
    delivery_on, protection_days = _delivery(outfit, today, at)
    expected, safety = _over(outfit, need, expected_traps, today, protection_days)
    point = reorder_point(expected / protection_days, protection_days, safety)
    on_order = math.fsum(order.boxes for order in orders if order not in late)
    came_at = stock.came_at(need.bait)
    level = 0
    if need.runs_out_on is not None and need.runs_out_on <= (delivery_on or date.max):
        level = 2
    elif need.on_hand.boxes + on_order < point:
        level = 1
    if came_at is None:
        level = min(level, 1)
    return BaitLevel(
        bait=need.bait,
        level=level,
        cause="never" if came_at is None else came_at.isoformat(timespec="minutes"),
        since=_last_at(outfit, stock, need.bait) or now,
        told=came_at is not None,
        on_hand=need.on_hand.boxes,
        on_order=on_order,
        need=expected,
        safety=safety,
        reorder_point=point,
        protection_days=protection_days,
        plan_need=math.fsum(day.need for day in need.days),
        runs_out_on=need.runs_out_on,
        delivery_on=delivery_on,
        late=late,
    )


def _turns(outfit: Outfit, stock: BaitStock, level: BaitLevel, now: datetime, zone: tzinfo) -> list[datetime]:
    """Moments since the log last told of a bait at which its level may have changed, the latest first."""
    supplier = outfit.supplier
    today = now.astimezone(zone).date()
    found: set[datetime] = set()
    for back in range(_MOST_DAYS_BACK):
        day = today - back * _ONE_DAY
        found.add(datetime.combine(day, time(), zone).astimezone(UTC))
        if supplier is not None:
            found.add(datetime.combine(day, supplier.order_by, zone).astimezone(UTC) + _MOMENT)
    spoil_h = next(kind.spoil_h for kind in outfit.baits if kind.name == level.bait)
    found |= {
        lot.out_since + timedelta(hours=spoil_h)
        for lot in stock.lots
        if lot.out_since is not None and same_bait(lot.bait, level.bait)
    }
    return sorted((moment for moment in found if level.since < moment <= now), reverse=True)


def _delivery(outfit: Outfit, today: date, at: time) -> tuple[date | None, int]:
    """When the next order would come, and the days that the stock must last if today isn't used for one."""
    supplier = outfit.supplier
    if supplier is None:
        lead_days = math.ceil(_NO_SUPPLIER_LEAD_DAYS)
        return today + lead_days * _ONE_DAY, lead_days + 1
    lead_days = math.ceil(supplier.lead_days)
    order_on = next_order_day(supplier, today, at)
    after = next_order_day(supplier, today + _ONE_DAY, time.min)
    return (
        None if order_on is None else order_on + lead_days * _ONE_DAY,
        outfit.plan_days if after is None else (after - today).days + lead_days,
    )


def _over(
    outfit: Outfit, need: BaitNeed, expected_traps: Mapping[date, float], today: date, protection_days: int
) -> tuple[float, float]:
    """Expected need and safety stock over the days to protect.

    Each day's traps are pulled within these days with a chance, since the weather moves them; so the need varies
    by this chance, by what a trap takes, and by the lead time.
    """
    lead_sd = 0.0 if outfit.supplier is None else outfit.supplier.lead_sd_days
    traps = traps_variance = 0.0
    for day, expected in expected_traps.items():
        ahead = (day - today).days
        if ahead < 0 or not expected:
            continue
        of_bait = need.share * expected
        within = _STANDARD.cdf((protection_days - 0.5 - ahead) / _PULL_DAY_SD)
        traps += within * of_bait
        traps_variance += within * (1 - within) * of_bait**2
    variance = traps_variance * need.use.boxes**2 + need.use.sum_sd(traps) ** 2
    a_day = math.fsum(day.need for day in need.days) / len(need.days) if need.days else 0.0
    safety = safety_stock(
        standard_quantile(outfit.service_level),
        lead=protection_days,
        demand_sd=math.sqrt(variance / protection_days),
        demand=a_day,
        lead_sd=lead_sd,
    )
    return traps * need.use.boxes, safety


def _last_at(outfit: Outfit, stock: BaitStock, bait: str) -> datetime | None:
    """Bait without a name counts as the first of the settings."""
    names = [bait, ""] if outfit.baits and same_bait(outfit.baits[0].name, bait) else [bait]
    return max((at for name in names if (at := stock.last_at(name)) is not None), default=None)


def _room(outfit: Outfit, stock: BaitStock) -> float:
    """Boxes that the freezer takes beside what lies there and all that is on its way, late or not."""
    if outfit.freezer_boxes is None:
        return math.inf
    taken = math.fsum(lot.boxes for lot in stock.lots if lot.place == "freezer")
    return max(0.0, outfit.freezer_boxes - taken - math.fsum(order.boxes for order in stock.orders))


def _line(level: BaitLevel, supplier: Supplier, plan_days: int) -> OrderLine:
    """A line without room thought of yet."""
    need, days = max((level.plan_need, plan_days), (level.need, level.protection_days))
    boxes = order_quantity(need + level.safety - level.on_hand - level.on_order, supplier.box_step)
    return OrderLine(
        bait=level.bait,
        boxes=boxes,
        wanted=boxes,
        topped_up=0.0,
        on_hand=level.on_hand,
        on_order=level.on_order,
        need=level.need,
        safety=level.safety,
        reorder_point=level.reorder_point,
        target_need=need,
        target_days=days,
        runs_out_on=level.runs_out_on,
    )


def _within(wanted: Sequence[OrderLine], supplier: Supplier, room: float) -> tuple[list[OrderLine], float]:
    """The lines that the freezer has room for, the first ones first, and the room left."""
    lines = []
    for line in wanted:
        boxes = order_quantity(line.boxes, supplier.box_step, room)
        if boxes > 0:
            lines.append(replace(line, boxes=boxes))
            room -= boxes
    return lines, room
