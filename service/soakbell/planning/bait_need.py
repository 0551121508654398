"""Bait that is needed: how much a trap takes, what is on hand, and how long it lasts. Amounts in boxes."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta, tzinfo
from itertools import pairwise

from soakbell.gear.bait_lots import PLACES, BaitLot, BaitStock, BaitUse, OpenOrder, same_bait
from soakbell.gear.log import BaitPlace
from soakbell.gear.outfit import BaitKind, Outfit, Supplier
from soakbell.planning.ashore import BaitToLoad, SpoiltBait, Thaw

_PRIOR_CV = 0.5
"""How much the use of one trap varies around the prior, as a share of it: from memory, no source."""
_PRIOR_PULLS = 4
"""Pulls of the log that this spread is worth: a choice of ours."""
_LEAD_UNKNOWN_DAYS = 7.0
"""When an order without a day is taken to come, where no supplier is settled: a choice of ours."""
_ROUNDING = 1e-9
_ONE_DAY = timedelta(days=1)


@dataclass(frozen=True)
class TrapUse:
    """Bait a trap takes: the mean, its standard deviation from trap to trap, and the traps the mean rests on.

    ``traps`` counts those of the log and what the prior is worth.
    """

    boxes: float
    sd: float
    traps: float

    def sum_sd(self, traps: float) -> float:
        """Standard deviation of what so many traps take, the doubt about the mean included."""
        return self.sd * math.sqrt(traps + traps**2 / max(self.traps, 1.0))


@dataclass(frozen=True)
class OnHand:
    """One bait as it lies, after what was used without boxes told.

    ``spoilt`` is out of the freezer for too long and in none of the others. ``reckoned`` is what was taken off for
    traps baited without boxes told. ``lots`` are those that can be used, in the order in which they are.
    """

    bait: str
    aboard: float
    thaw: float
    freezer: float
    spoilt: float
    reckoned: float
    lots: tuple[BaitLot, ...]

    @property
    def boxes(self) -> float:
        """All that can be used."""
        return self.aboard + self.thaw + self.freezer

    def thawing_since(self, at: datetime) -> float:
        """Boxes that lie thawing since then or before, or since nobody knows when."""
        return _boxes(
            lot for lot in self.lots if lot.place == "thaw" and (lot.out_since is None or lot.out_since <= at)
        )


@dataclass(frozen=True)
class BaitDay:
    """One local day ahead. ``traps`` of this bait are expected to be pulled, ``left`` is there at its end."""

    day: date
    traps: float
    need: float
    arriving: float
    left: float


@dataclass(frozen=True)
class BaitNeed:
    """One bait, day by day. ``runs_out_on`` is the first day whose need can't be met, None within the days.

    ``share`` of all traps are baited with it.
    """

    bait: str
    share: float
    use: TrapUse
    on_hand: OnHand
    days: tuple[BaitDay, ...]
    runs_out_on: date | None


def use_a_trap(kind: BaitKind, used: BaitUse) -> TrapUse:
    """Use learned from the pulls that told boxes, held to the prior by what that is worth.

    The spread is that of whole pulls about their mean, each reckoned to one trap, and held to a prior likewise.
    """
    traps = kind.prior_traps + used.traps
    boxes = kind.boxes_a_trap
    if traps > 0:
        boxes = (kind.prior_traps * kind.boxes_a_trap + used.boxes) / traps
    squares = 0.0
    if used.pulls > 1:
        squares = max(0.0, used.boxes2_a_trap - used.boxes**2 / used.traps)
    prior = _PRIOR_PULLS * (_PRIOR_CV * kind.boxes_a_trap) ** 2
    variance = (prior + squares) / (_PRIOR_PULLS + max(0, used.pulls - 1))
    return TrapUse(boxes, math.sqrt(variance), traps)


def use_of(outfit: Outfit, stock: BaitStock, kind: BaitKind) -> TrapUse:
    """``use_a_trap`` from the log's record of this bait."""
    told = [use for use in stock.used if _is_of(outfit, kind, use.bait)]
    return use_a_trap(
        kind,
        BaitUse(
            kind.name,
            pulls=sum(use.pulls for use in told),
            traps=sum(use.traps for use in told),
            boxes=math.fsum(use.boxes for use in told),
            boxes2_a_trap=math.fsum(use.boxes2_a_trap for use in told),
        ),
    )


def bait_shares(outfit: Outfit, stock: BaitStock) -> dict[str, float]:
    """What share of the traps of the last months was baited with each bait of the settings; all of it the first
    where the log doesn't tell.
    """
    traps = {
        kind.name: sum(told.traps for told in stock.baited_with if _is_of(outfit, kind, told.bait))
        for kind in outfit.baits
    }
    in_all = sum(traps.values())
    if not in_all:
        return {kind.name: float(kind == outfit.baits[0]) for kind in outfit.baits}
    return {name: count / in_all for name, count in traps.items()}


def on_hand(outfit: Outfit, stock: BaitStock, kind: BaitKind, at: datetime) -> OnHand:
    """What of a bait lies where, as known now, and can be used at ``at`` (aware)."""
    lots, reckoned = _after_unmeasured(outfit, stock, kind)
    usable = tuple(lot for lot in lots if not _is_spoilt(kind, lot, at))
    return OnHand(
        kind.name,
        aboard=_boxes(lot for lot in usable if lot.place == "aboard"),
        thaw=_boxes(lot for lot in usable if lot.place == "thaw"),
        freezer=_boxes(lot for lot in usable if lot.place == "freezer"),
        spoilt=_boxes(lots) - _boxes(usable),
        reckoned=reckoned,
        lots=usable,
    )


def due_of(order: OpenOrder, supplier: Supplier | None, zone: tzinfo) -> date:
    """The day an order should come: as promised, else by the supplier's lead time and its spread.

    ``zone`` is the harbor's: an order of the evening is one of that day, though in UTC it is the next.
    """
    if order.due_on is not None:
        return order.due_on
    lead_days = _LEAD_UNKNOWN_DAYS if supplier is None else supplier.lead_days + supplier.lead_sd_days
    return order.ordered_at.astimezone(zone).date() + timedelta(days=math.ceil(lead_days))


def is_late(order: OpenOrder, supplier: Supplier | None, today: date, zone: tzinfo) -> bool:
    return due_of(order, supplier, zone) < today


def bait_needs(
    outfit: Outfit,
    stock: BaitStock,
    expected_traps: Mapping[date, float],
    *,
    now: datetime,
    today: date,
    zone: tzinfo,
) -> tuple[BaitNeed, ...]:
    """Each bait of the settings over ``plan_days`` from ``today``, in their order. Days are those of ``zone``.

    ``expected_traps`` are the traps to be pulled by local day. An order comes after the day's trip, and one that
    is late not at all. What is out of the freezer is used first, and is lost when it spoils.
    """
    shares = bait_shares(outfit, stock)
    return tuple(
        _need(outfit, stock, kind, shares[kind.name], expected_traps, now=now, today=today, zone=zone)
        for kind in outfit.baits
    )


def boxes_to_thaw(
    outfit: Outfit, stock: BaitStock, traps: int, *, leaves_at: datetime, now: datetime
) -> tuple[Thaw, ...]:
    """Boxes to take out of the freezer so that a trip of so many traps has its bait thawed at ``leaves_at``.

    What the traps take and one standard deviation more, less what is out already and not spoilt by then; in
    quarters of a box, rounded up. Baits of which nothing is to be taken out and nothing is lacking are left out,
    and those of which the log was never told what is on hand.
    """
    thaws = []
    for kind, _, needed in _needed_for(outfit, stock, traps):
        if stock.came_at(kind.name) is None:
            continue
        there = on_hand(outfit, stock, kind, leaves_at)
        lacking = needed - there.aboard - there.thaw
        if lacking <= _ROUNDING:
            continue
        out_by = leaves_at - timedelta(hours=kind.thaw_h)
        thaws.append(
            Thaw(
                kind.name,
                boxes=min(_quarters(lacking), there.freezer),
                out_by=out_by,
                past=out_by < now,
                short_boxes=max(0.0, lacking - there.freezer),
            )
        )
    return tuple(thaws)


def bait_to_load(
    outfit: Outfit, stock: BaitStock, traps: int, *, leaves_at: datetime, now: datetime
) -> tuple[BaitToLoad, ...]:
    """The bait of a trip of so many traps that leaves at ``leaves_at``, by kind."""
    loads = []
    for kind, of_kind, needed in _needed_for(outfit, stock, traps):
        there = on_hand(outfit, stock, kind, leaves_at)
        ready_by = leaves_at - timedelta(hours=kind.thaw_h)
        thawed = there.thawing_since(ready_by)
        lacking = max(0.0, needed - there.aboard)
        loads.append(
            BaitToLoad(
                kind.name,
                traps=of_kind,
                needed_boxes=needed,
                aboard_boxes=there.aboard,
                thawed_boxes=thawed,
                thawing_boxes=there.thaw - thawed,
                frozen_boxes=there.freezer,
                take_boxes=min(lacking, thawed),
                short_boxes=max(0.0, lacking - thawed),
                told=stock.came_at(kind.name) is not None,
                thaws_in_time=now <= ready_by,
                spoilt=_spoilt(outfit, stock, kind, leaves_at),
            )
        )
    return tuple(loads)


def _is_of(outfit: Outfit, kind: BaitKind, bait: str) -> bool:
    """True for the name of the bait, and, of the first one, where none was named."""
    return same_bait(kind.name, bait) or (not bait and kind == outfit.baits[0])


def _boxes(lots: Iterable[BaitLot]) -> float:
    return math.fsum(lot.boxes for lot in lots)


def _quarters(boxes: float) -> float:
    return math.ceil(boxes * 4 - _ROUNDING) / 4


def _is_spoilt(kind: BaitKind, lot: BaitLot, at: datetime) -> bool:
    return lot.out_since is not None and at >= lot.out_since + timedelta(hours=kind.spoil_h)


def _spoilt(outfit: Outfit, stock: BaitStock, kind: BaitKind, at: datetime) -> tuple[SpoiltBait, ...]:
    lots, _ = _after_unmeasured(outfit, stock, kind)
    found = []
    for place in PLACES:
        there = [lot for lot in lots if lot.place == place and _is_spoilt(kind, lot, at)]
        out_since = min((lot.out_since for lot in there if lot.out_since is not None), default=None)
        if out_since is not None:
            found.append(SpoiltBait(place, _boxes(there), (at - out_since) / timedelta(hours=1), kind.spoil_h))
    return tuple(found)


def _in_order_of_use(lots: Iterable[BaitLot]) -> list[BaitLot]:
    return sorted(lots, key=lambda lot: (PLACES.index(lot.place), lot.bought_at, lot.placed_at))


def _after_unmeasured(outfit: Outfit, stock: BaitStock, kind: BaitKind) -> tuple[list[BaitLot], float]:
    """The lots less what the traps baited without boxes told took of them, and how much that is.

    Such traps only took of lots that were there before; what they took beyond these is past.
    """
    use = use_of(outfit, stock, kind)
    with_unnamed = kind == outfit.baits[0]

    def mark(named: int, unnamed: int) -> int:
        return named + (unnamed if with_unnamed else 0)

    came: dict[int, list[BaitLot]] = {}
    for lot in (*stock.lots, *stock.counted_away):
        if same_bait(lot.bait, kind.name):
            came.setdefault(mark(lot.named, lot.unnamed), []).append(lot)
    counts = {
        mark(lot.named_to, lot.unnamed_to or 0)
        for lot in stock.counted_away
        if lot.named_to is not None and same_bait(lot.bait, kind.name)
    }
    traps = sum(told.traps for told in stock.unmeasured if _is_of(outfit, kind, told.bait))
    marks = sorted(came.keys() | counts | {traps})
    there: list[BaitLot] = []
    taken = 0.0
    for at, following in pairwise([*marks, max([*marks, traps])]):
        found = [lot for lot in there if lot.named_to is None or mark(lot.named_to, lot.unnamed_to or 0) > at]
        there = _in_order_of_use([*found, *came.get(at, ())])
        before = _boxes(_lying(there))
        there = _less(there, use.boxes * (following - at))
        taken += before - _boxes(_lying(there))
    return _lying(there), taken


def _lying(lots: Iterable[BaitLot]) -> list[BaitLot]:
    return [lot for lot in lots if lot.named_to is None]


def _less(lots: list[BaitLot], boxes: float) -> list[BaitLot]:
    left = []
    for lot in lots:
        taken = min(lot.boxes, boxes)
        boxes -= taken
        if lot.boxes - taken > _ROUNDING:
            left.append(replace(lot, boxes=lot.boxes - taken) if taken else lot)
    return left


def _need(
    outfit: Outfit,
    stock: BaitStock,
    kind: BaitKind,
    share: float,
    expected_traps: Mapping[date, float],
    *,
    now: datetime,
    today: date,
    zone: tzinfo,
) -> BaitNeed:
    use = use_of(outfit, stock, kind)
    there = on_hand(outfit, stock, kind, now)
    orders = [
        order
        for order in stock.orders
        if same_bait(order.bait, kind.name) and not is_late(order, outfit.supplier, today, zone)
    ]
    lots = list(there.lots)
    days: list[BaitDay] = []
    runs_out_on = None
    for ahead in range(outfit.plan_days):
        day = today + ahead * _ONE_DAY
        lots = [lot for lot in lots if not _is_spoilt(kind, lot, now + ahead * _ONE_DAY)]
        traps = share * expected_traps.get(day, 0.0)
        need = traps * use.boxes
        if runs_out_on is None and need > _boxes(lots) + _ROUNDING:
            runs_out_on = day
        came = [order for order in orders if due_of(order, outfit.supplier, zone) == day]
        lots = _less(lots, need) + [_frozen(order, now) for order in came]
        days.append(BaitDay(day, traps, need, math.fsum(order.boxes for order in came), _boxes(lots)))
    return BaitNeed(kind.name, share, use, there, tuple(days), runs_out_on)


def _frozen(order: OpenOrder, at: datetime) -> BaitLot:
    place: BaitPlace = "freezer"
    return BaitLot(order.bait, place, order.boxes, bought_at=at, placed_at=at)


def _needed_for(outfit: Outfit, stock: BaitStock, traps: int) -> list[tuple[BaitKind, int, float]]:
    """By bait: how many of the traps take it, and boxes for them and a standard deviation more, in quarters."""
    shares = bait_shares(outfit, stock)
    counts = _split(traps, [shares[kind.name] for kind in outfit.baits])
    needed = []
    for kind, of_kind in zip(outfit.baits, counts, strict=True):
        if of_kind:
            use = use_of(outfit, stock, kind)
            needed.append((kind, of_kind, _quarters(of_kind * use.boxes + use.sum_sd(of_kind))))
    return needed


def _split(traps: int, shares: Sequence[float]) -> list[int]:
    """Whole traps by their shares, all of them: what is left over goes to the largest fractions (Hamilton)."""
    counts = [math.floor(share * traps + _ROUNDING) for share in shares]
    fractions = [share * traps - count for share, count in zip(shares, counts, strict=True)]
    first = sorted(range(len(shares)), key=lambda at: -fractions[at])
    for at in first[: traps - sum(counts)]:
        counts[at] += 1
    return counts
