"""An invented outfit for tests of bait: mullet heads first, cowhide second, from Bayside Bait."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from tests.logbook import told

from soakbell.gear.bait_lots import BaitBook, BaitStock
from soakbell.gear.log import Detail, Pulled, TrapsSet
from soakbell.gear.outfit import BaitKind, Outfit, Supplier
from soakbell.gear.worked import Worked

HEADS = BaitKind("mullet heads", boxes_a_trap=0.05, prior_traps=100, thaw_h=14, spoil_h=72)
HIDE = BaitKind("cowhide", boxes_a_trap=0.02, prior_traps=100, thaw_h=6, spoil_h=200)
TUESDAYS_AND_FRIDAYS = (1, 4)
BAYSIDE = Supplier(
    "Bayside Bait",
    order_weekdays=TUESDAYS_AND_FRIDAYS,
    order_by=time(12),
    lead_days=2,
    lead_sd_days=0.5,
    address="orders@bait.example",
)
TODAY = date(2026, 12, 8)
"""A Tuesday."""
NOW = datetime(2026, 12, 8, 12, tzinfo=UTC)
MORNING = time(7)
HARBOR = ZoneInfo("America/New_York")


def outfit_of(*baits: BaitKind, supplier: Supplier | None = BAYSIDE, **more: Any) -> Outfit:
    plain = Outfit(
        conditions=(),
        parts=(),
        upkeep=(),
        baits=baits or (HEADS,),
        supplier=supplier,
        grades=(),
        service_level=0.95,
        bench_minutes=120,
    )
    return replace(plain, **more)


def supplier_of(**more: Any) -> Supplier:
    return replace(BAYSIDE, **more)


def stock_of(*said: tuple[Detail, datetime] | tuple[Detail, datetime, int], told_by: str = "cli") -> BaitStock:
    """The stock after what was told: a detail, when, and for how many traps baited."""
    book = BaitBook()
    for detail, at, *baited in said:
        of_traps = isinstance(detail, Pulled | TrapsSet)
        entry = replace(
            told(detail, string="Nine Foot" if of_traps else None), happened_at=at, told_at=at, told_by=told_by
        )
        book.take(entry, Worked(baited=baited[0] if baited else 0))
    return book.freeze()


def ago(days: float = 0, hours: float = 0) -> datetime:
    return NOW - timedelta(days=days, hours=hours)


def pulls(traps_by_day: Mapping[int, float]) -> dict[date, float]:
    """Traps to be pulled, by days from today."""
    return {TODAY + timedelta(days=ahead): traps for ahead, traps in traps_by_day.items()}
