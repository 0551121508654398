"""Bait by lots, as the log tells it: where it lies, since when, what is on order, and how much a trap takes."""

from __future__ import annotations

import math
from bisect import insort
from collections import deque
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import Any, get_args

from soakbell.gear.log import (
    BaitBought,
    BaitCounted,
    BaitMoved,
    BaitOrdered,
    BaitPlace,
    BaitSpoiled,
    EntryKind,
    LogEntry,
    Pulled,
)
from soakbell.gear.trap_states import Oddity, odd
from soakbell.gear.worked import Worked

ORDER_LETTER = "order letter"
"""``told_by`` of an order that the service placed itself."""

PLACES: tuple[BaitPlace, ...] = ("aboard", "thaw", "freezer")
"""In the order in which bait is used."""
WHERE: dict[BaitPlace, str] = {"aboard": "aboard", "thaw": "set to thaw", "freezer": "in the freezer"}

_KEPT_DAYS = timedelta(days=120)
_MOST_LOTS = 50
_MOST_ORDERS = 50
_NONE = 1e-9
"""Boxes below this are the rounding of sums, not bait."""
_LACKING = 1e-6


@dataclass(frozen=True)
class BaitLot:
    """Boxes of one bait that came together and lie together. ``placed_at``: since when they lie there.

    Attributes:
        out_since: since when they are out of the freezer, None in it.
        named, unnamed: of the ``Unmeasured`` traps of this bait, and of those without a bait named, how many were
            baited before this lot came or was counted, and so not out of it.
        named_to, unnamed_to: of boxes aboard that a count didn't find (``BaitStock.counted_away``), how many had
            been baited at that count: those before took these boxes. None of boxes that lie there.
    """

    bait: str
    place: BaitPlace
    boxes: float
    bought_at: datetime
    placed_at: datetime
    out_since: datetime | None = None
    named: int = 0
    unnamed: int = 0
    named_to: int | None = None
    unnamed_to: int | None = None


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
    """Use of one bait over the pulls that told boxes: sums of boxes, of traps, and of boxes squared over traps.

    ``bait`` is "" where it wasn't named and nothing on hand told which.
    """

    bait: str
    pulls: int = 0
    traps: int = 0
    boxes: float = 0.0
    boxes2_a_trap: float = 0.0


@dataclass(frozen=True)
class Unmeasured:
    """Traps baited without boxes told, while a lot lies there that they may have taken of; ``bait`` is "" where
    not named."""

    bait: str
    traps: int


@dataclass(frozen=True)
class BaitedDay:
    """Traps baited with one bait ("" where not named) on one UTC day."""

    day: date
    bait: str
    traps: int


@dataclass(frozen=True)
class BaitDates:
    """When the log last told anything of a bait, its use too, and when more of it last came."""

    bait: str
    last_at: datetime
    came_at: datetime | None = None


@dataclass(frozen=True)
class BaitStock:
    """``lots`` oldest first, ``orders`` oldest first, ``baited_with`` of the last 120 days, oldest first.

    ``counted_away`` are boxes that lay aboard until a count didn't find them: used by traps ``unmeasured``.
    Baits are told apart by name without regard to case, and spelt as they first were.
    """

    lots: tuple[BaitLot, ...] = ()
    orders: tuple[OpenOrder, ...] = ()
    used: tuple[BaitUse, ...] = ()
    unmeasured: tuple[Unmeasured, ...] = ()
    baited_with: tuple[BaitedDay, ...] = ()
    dates: tuple[BaitDates, ...] = ()
    counted_away: tuple[BaitLot, ...] = ()

    @property
    def baited(self) -> tuple[tuple[date, int], ...]:
        """Traps baited by UTC day, oldest first, of the last 120 days."""
        days: dict[date, int] = {}
        for told in self.baited_with:
            days[told.day] = days.get(told.day, 0) + told.traps
        return tuple(days.items())

    def last_at(self, bait: str) -> datetime | None:
        """When the log last told anything of a bait, its use too; None where it never did."""
        return next((dates.last_at for dates in self.dates if same_bait(dates.bait, bait)), None)

    def came_at(self, bait: str) -> datetime | None:
        """When more of a bait last came, or it was first counted; None where neither was told."""
        return next((dates.came_at for dates in self.dates if same_bait(dates.bait, bait)), None)


def same_bait(one: str, other: str) -> bool:
    return one.casefold() == other.casefold()


def told_boxes(boxes: float) -> str:
    """ "1 box", "2.5 boxes"."""
    told = f"{boxes:.2f}".rstrip("0").rstrip(".")
    return f"{told} box" if told == "1" else f"{told} boxes"


class BaitBook:
    """Takes entries in the order in which things happened, and keeps what they say of bait."""

    def __init__(self, stock: BaitStock | None = None) -> None:
        stock = stock or BaitStock()
        self._names: dict[str, str] = {}
        self._lots: dict[tuple[str, BaitPlace], list[BaitLot]] = {}
        self._orders: dict[str, deque[OpenOrder]] = {}
        self._used: dict[str, BaitUse] = {}
        self._unmeasured: dict[str, int] = {}
        self._baited: dict[date, dict[str, int]] = {}
        self._dates: dict[str, BaitDates] = {}
        self._counted_away = deque(stock.counted_away, maxlen=_MOST_LOTS)
        for dates in stock.dates:
            self._dates[self._key(dates.bait)] = dates
        for lot in stock.lots:
            self._lots.setdefault((self._key(lot.bait), lot.place), []).append(lot)
        for order in stock.orders:
            self._orders.setdefault(self._key(order.bait), deque()).append(order)
        for use in stock.used:
            self._used[self._key(use.bait)] = use
        for open_use in stock.unmeasured:
            self._unmeasured[self._key(open_use.bait)] = open_use.traps
        for told in stock.baited_with:
            self._baited.setdefault(told.day, {})[self._key(told.bait)] = told.traps

    def take(self, entry: LogEntry, worked: Worked) -> list[Oddity]:
        """Count one entry. What makes no sense is told and changes as little as possible; never raises."""
        detail = entry.detail
        if isinstance(detail, BaitBought | BaitMoved | BaitSpoiled | BaitCounted | BaitOrdered):
            if not _is_amount(detail.boxes, none=isinstance(detail, BaitCounted)):
                return [odd(entry, "boxes", f"{detail.boxes:g}", "the number of boxes")]
            return _STEPS[detail.kind](self, entry, detail)
        if isinstance(detail, Pulled):
            return self._pull(entry, detail, worked)
        if worked.baited:
            self._bait_traps("", worked.baited, entry, measured=False)
        return []

    def freeze(self) -> BaitStock:
        lots = [lot for kept in self._lots.values() for lot in kept]
        orders = [order for kept in self._orders.values() for order in kept]
        return BaitStock(
            lots=tuple(sorted(lots, key=lambda lot: (*_age(lot), lot.bait.casefold(), PLACES.index(lot.place)))),
            orders=tuple(sorted(orders, key=lambda order: order.ordered_at)),
            used=tuple(self._used.values()),
            unmeasured=tuple(
                Unmeasured(self._names[bait], traps) for bait, traps in self._unmeasured.items() if traps
            ),
            baited_with=tuple(
                BaitedDay(day, self._names[bait], traps)
                for day, baits in self._baited.items()
                for bait, traps in baits.items()
            ),
            dates=tuple(self._dates.values()),
            counted_away=tuple(self._counted_away),
        )

    def _key(self, bait: str) -> str:
        key = bait.casefold()
        self._names.setdefault(key, bait)
        return key

    def _touch(self, bait: str, at: datetime, *, came: bool = False) -> None:
        before = self._dates.get(bait)
        came_at = at if came else (before.came_at if before else None)
        self._dates[bait] = BaitDates(self._names[bait], at, came_at)

    def _never_came(self, bait: str) -> bool:
        dates = self._dates.get(bait)
        return dates is None or dates.came_at is None

    def _boxes_of(self, bait: str, place: BaitPlace) -> float:
        return math.fsum(lot.boxes for lot in self._lots.get((bait, place), ()))

    def _place(self, bait: str, lot: BaitLot) -> None:
        """Lay a lot with the others of its place. Too many become fewer: the two oldest go for the older."""
        lots = self._lots.setdefault((bait, lot.place), [])
        insort(lots, lot, key=_age)
        if len(lots) > _MOST_LOTS:
            older, newer = lots[:2]
            lots[:2] = [
                replace(
                    older,
                    boxes=older.boxes + newer.boxes,
                    placed_at=min(older.placed_at, newer.placed_at),
                    out_since=min((lot.out_since for lot in (older, newer) if lot.out_since), default=None),
                    named=min(older.named, newer.named),
                    unnamed=min(older.unnamed, newer.unnamed),
                )
            ]

    def _new_lot(self, bait: str, place: BaitPlace, boxes: float, at: datetime) -> None:
        self._place(
            bait,
            BaitLot(
                self._names[bait],
                place,
                boxes,
                bought_at=at,
                placed_at=at,
                out_since=None if place == "freezer" else at,
                named=self._unmeasured.get(bait, 0),
                unnamed=self._unmeasured.get("", 0),
            ),
        )

    def _draw(self, bait: str, boxes: float, places: Iterable[BaitPlace]) -> list[BaitLot]:
        """Take up to ``boxes`` away, the oldest of each place first; what was taken, as lots."""
        drawn: list[BaitLot] = []
        for place in places:
            lots = self._lots.get((bait, place), [])
            while lots and boxes > _NONE:
                oldest = lots[0]
                taken = min(oldest.boxes, boxes)
                boxes -= taken
                drawn.append(replace(oldest, boxes=taken))
                if oldest.boxes - taken > _NONE:
                    lots[0] = replace(oldest, boxes=oldest.boxes - taken)
                else:
                    lots.pop(0)
        return drawn

    def _draw_told(
        self, entry: LogEntry, key: str, bait: str, boxes: float, places: tuple[BaitPlace, ...]
    ) -> tuple[list[BaitLot], list[Oddity]]:
        """As ``_draw``; what is lacking is odd, since it must have come from somewhere."""
        drawn = self._draw(bait, boxes, places)
        had = math.fsum(lot.boxes for lot in drawn)
        if boxes - had <= _LACKING:
            return drawn, []
        where = "on hand" if places == PLACES else " or ".join(WHERE[place] for place in places)
        name = self._names[bait] or "bait"
        found = f"{told_boxes(boxes)} of {name}, but only {told_boxes(had)} known {where} at that time"
        return drawn, [odd(entry, key, found, "what was bought or moved before, or a count of what is there")]

    def _pull(self, entry: LogEntry, detail: Pulled, worked: Worked) -> list[Oddity]:
        boxes = detail.bait_boxes
        if boxes is None:
            if worked.baited:
                self._bait_traps(detail.bait, worked.baited, entry, measured=False)
            return []
        if not _is_amount(boxes, none=True):
            if worked.baited:
                self._bait_traps(detail.bait, worked.baited, entry, measured=False)
            return [odd(entry, "bait_boxes", f"{boxes:g}", "the number of boxes put in")]
        if not worked.baited:
            if boxes <= _NONE:
                return []
            return [odd(entry, "bait_boxes", f"{told_boxes(boxes)}, but no trap was baited", "no boxes")]
        bait = self._key(detail.bait or self._only_bait())
        if not bait and any(self._lots.values()):
            self._bait_traps("", worked.baited, entry, measured=False)
            found = f"{told_boxes(boxes)} without the name of the bait, and there is more than one"
            return [odd(entry, "bait", found, "the name of the bait")]
        self._bait_traps(bait, worked.baited, entry, measured=True)
        use = self._used.get(bait) or BaitUse(self._names[bait])
        self._used[bait] = replace(
            use,
            pulls=use.pulls + 1,
            traps=use.traps + worked.baited,
            boxes=use.boxes + boxes,
            boxes2_a_trap=use.boxes2_a_trap + boxes * boxes / worked.baited,
        )
        return self._draw_told(entry, "bait_boxes", bait, boxes, PLACES)[1]

    def _only_bait(self) -> str:
        """The one bait aboard, else the one on hand; "" where none or more than one is."""
        for places in (PLACES[:1], PLACES):
            held = {bait for (bait, place), lots in self._lots.items() if lots and place in places}
            if len(held) == 1:
                return held.pop()
            if held:
                return ""
        return ""

    def _bait_traps(self, name: str, traps: int, entry: LogEntry, *, measured: bool) -> None:
        bait = self._key(name)
        self._touch(bait, entry.happened_at)
        if not measured:
            self._unmeasured[bait] = self._unmeasured.get(bait, 0) + traps
        today = entry.happened_at.date()
        baits = self._baited.setdefault(today, {})
        baits[bait] = baits.get(bait, 0) + traps
        while (oldest := next(iter(self._baited))) <= today - _KEPT_DAYS:
            del self._baited[oldest]

    def _bought(self, entry: LogEntry, detail: BaitBought) -> list[Oddity]:
        bait = self._key(detail.bait)
        self._touch(bait, entry.happened_at, came=True)
        self._new_lot(bait, detail.place, detail.boxes, entry.happened_at)
        orders, left = self._orders.get(bait, deque()), detail.boxes
        while orders and left > _NONE:
            oldest = orders[0]
            if oldest.boxes - left > _NONE:
                orders[0] = replace(oldest, boxes=oldest.boxes - left)
            else:
                orders.popleft()
            left -= oldest.boxes
        return []

    def _moved(self, entry: LogEntry, detail: BaitMoved) -> list[Oddity]:
        if detail.out_of == detail.to:
            return [odd(entry, "out_of", f"{detail.out_of}, where it is moved to", "another place")]
        bait, at = self._key(detail.bait), entry.happened_at
        self._touch(bait, at)
        places = (detail.out_of,) if detail.out_of else _OUT_OF[detail.to]
        drawn, oddities = self._draw_told(entry, "boxes", bait, detail.boxes, places)
        for lot in drawn:
            out_since = None if detail.to == "freezer" else lot.out_since or at
            self._place(bait, replace(lot, place=detail.to, placed_at=at, out_since=out_since))
        return oddities

    def _spoiled(self, entry: LogEntry, detail: BaitSpoiled) -> list[Oddity]:
        bait = self._key(detail.bait)
        self._touch(bait, entry.happened_at)
        return self._draw_told(entry, "boxes", bait, detail.boxes, (detail.place,))[1]

    def _counted(self, entry: LogEntry, detail: BaitCounted) -> list[Oddity]:
        """A count stands for what lies in that place; what was used before is no longer taken off it.

        What a count aboard doesn't find was used by the traps baited before. What those took beyond it was out of
        the other places, and stays used.
        """
        bait = self._key(detail.bait)
        more = detail.boxes - self._boxes_of(bait, detail.place)
        self._touch(bait, entry.happened_at, came=more > _NONE or self._never_came(bait))
        gone = self._draw(bait, max(0.0, -more), (detail.place,))
        if detail.boxes <= _NONE:
            self._lots.pop((bait, detail.place), None)
        named, unnamed = self._unmeasured.get(bait, 0), self._unmeasured.get("", 0)
        if detail.place == "aboard":
            self._counted_away += [replace(lot, named_to=named, unnamed_to=unnamed) for lot in gone]
        self._lots[bait, detail.place] = [
            replace(lot, named=named, unnamed=unnamed) for lot in self._lots.get((bait, detail.place), ())
        ]
        if more > _NONE:
            self._new_lot(bait, detail.place, more, entry.happened_at)
        self._forget_past_use(bait)
        return []

    def _forget_past_use(self, bait: str) -> None:
        """Traps baited before all that lies there came or was counted no longer matter."""
        named, unnamed = self._unmeasured.get(bait, 0), self._unmeasured.get("", 0)
        lots = [lot for place in PLACES for lot in self._lots.get((bait, place), ())]
        if any((lot.named, lot.unnamed) != (named, unnamed) for lot in lots):
            return
        self._unmeasured.pop(bait, None)
        if self._names.keys() <= {bait, ""}:
            self._unmeasured.pop("", None)
            unnamed = 0
        kept = [lot for lot in self._counted_away if not same_bait(lot.bait, bait)]
        self._counted_away = deque(kept, maxlen=_MOST_LOTS)
        for place in PLACES:
            self._lots[bait, place] = [
                replace(lot, named=0, unnamed=unnamed) for lot in self._lots.get((bait, place), ())
            ]

    def _ordered(self, entry: LogEntry, detail: BaitOrdered) -> list[Oddity]:
        bait = self._key(detail.bait)
        self._touch(bait, entry.happened_at)
        orders = self._orders.setdefault(bait, deque())
        by_service = entry.told_by == ORDER_LETTER
        orders.append(
            OpenOrder(self._names[bait], detail.boxes, entry.happened_at, detail.due_on, entry.id, by_service)
        )
        if len(orders) <= _MOST_ORDERS:
            return []
        orders.popleft()
        found = f"more than {_MOST_ORDERS} orders of {detail.bait} that never came; the oldest counts no more"
        return [odd(entry, "boxes", found, "bait-bought for what came, and undo what never will")]


_STEPS: dict[EntryKind, Callable[[BaitBook, LogEntry, Any], list[Oddity]]] = {
    EntryKind.BAIT_BOUGHT: BaitBook._bought,
    EntryKind.BAIT_MOVED: BaitBook._moved,
    EntryKind.BAIT_SPOILED: BaitBook._spoiled,
    EntryKind.BAIT_COUNTED: BaitBook._counted,
    EntryKind.BAIT_ORDERED: BaitBook._ordered,
}
_OUT_OF: dict[BaitPlace, tuple[BaitPlace, ...]] = {
    "thaw": ("freezer",),
    "aboard": ("thaw", "freezer"),
    "freezer": ("aboard",),
}
assert set(_OUT_OF) == set(get_args(BaitPlace))


def _age(lot: BaitLot) -> tuple[datetime, datetime]:
    return (lot.bought_at, lot.placed_at)


def _is_amount(boxes: float, *, none: bool) -> bool:
    """True for a finite number of boxes above 0, or, where ``none`` may be, 0."""
    return math.isfinite(boxes) and (boxes > 0 or (none and boxes == 0))
