"""The invented log of *Little Grebe* ashore up to 6 December 2026: bait, parts, upkeep. INVENTED DATA."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from demo.season import BAIT, invented
from soakbell.gear.log import (
    BaitBought,
    BaitCounted,
    Detail,
    EngineHours,
    FoundDamaged,
    LogEntry,
    PartCounted,
    UpkeepDone,
)

_NOON = time(12, 0)
_EVENING = time(17, 0)
_FIRST_BAIT = date(2026, 10, 4)
_BAIT_EVERY = timedelta(days=7)
_LAST_BAIT = date(2026, 11, 29)
_BOXES = 5.0

_COUNTED = date(2026, 12, 6)
_IN_FREEZER = {BAIT: 4.5, "cowhide": 2.0}
_IN_STOCK = {
    "hook latch": 2.0,
    "screw": 60.0,
    "lid slat": 4.0,
    "cypress slat": 3.0,
    "escape ring": 1.0,
    "throat": 2.0,
    "line, fathom": 60.0,
    "buoy": 3.0,
    "trap tag": 4.0,
    "concrete, bag": 1.0,
}

_DONE = {
    "flares": (date(2026, 9, 20), date(2029, 6, 30)),
    "fire extinguisher": (date(2026, 9, 20), date(2031, 3, 31)),
    "life-jacket inflators": (date(2025, 1, 12), date(2027, 1, 31)),
    "distress beacon battery": (date(2024, 5, 2), date(2029, 5, 31)),
    "fire extinguisher gauge": (date(2026, 11, 28), None),
    "life jackets, look over": (date(2026, 10, 3), None),
    "first-aid kit": (date(2026, 9, 20), None),
    "bilge pump test": (date(2026, 11, 27), None),
    "navigation lights": (date(2026, 11, 28), None),
    "radio check": (date(2026, 11, 28), None),
    "knives at hand and sharp": (date(2026, 11, 30), None),
    "engine oil and filter": (date(2026, 9, 12), None),
    "gear oil": (date(2026, 9, 12), None),
    "water pump impeller": (date(2026, 3, 8), None),
    "fuel filter": (date(2026, 9, 12), None),
    "spark plugs": (date(2026, 3, 8), None),
    "anodes, boat and engine": (date(2026, 9, 12), None),
    "trap anodes": (date(2026, 10, 4), None),
    "hauler or gaff": (date(2026, 10, 4), None),
    "lines and knots": (date(2026, 11, 7), None),
    "battery and terminals": (date(2026, 10, 25), None),
}
"""Each task's last doing, and the date of what expires. The inflators' comes near, and the bilge pump is due."""

_METER = ((date(2026, 9, 12), 612.0), (date(2026, 11, 7), 655.5), (date(2026, 12, 2), 684.0))

_FOUND = (
    ("Nine Foot", 9, "line", date(2026, 12, 2)),
    ("Ledge", 21, "fouling", date(2026, 12, 1)),
    ("Ledge", 22, "fouling", date(2026, 12, 1)),
)
"""To be mended at the next pull: string, place, item, day."""


def shore_log(zone_name: str, *, later_days: int = 0) -> list[LogEntry]:
    """What was told of gear ashore up to 6 December 2026, oldest first; or all of it so many days later."""
    zone, later = ZoneInfo(zone_name), timedelta(days=later_days)

    def told(detail: Detail, day: date, at: time = _EVENING) -> LogEntry:
        return invented(detail, None, datetime.combine(day + later, at, zone))

    entries = [
        told(BaitBought(BAIT, _BOXES, cost_usd=90.0), _FIRST_BAIT + number * _BAIT_EVERY, _NOON)
        for number in range((_LAST_BAIT - _FIRST_BAIT) // _BAIT_EVERY + 1)
    ]
    entries += [told(BaitCounted(bait, boxes), _COUNTED) for bait, boxes in _IN_FREEZER.items()]
    entries += [told(BaitCounted(BAIT, 0.0, place), _COUNTED) for place in ("thaw", "aboard")]
    entries += [told(PartCounted(part, count), _COUNTED) for part, count in _IN_STOCK.items()]
    entries += [told(EngineHours(engine_h), day, _NOON) for day, engine_h in _METER]
    entries += [
        told(UpkeepDone(task, None if expires is None else expires + later), day)
        for task, (day, expires) in _DONE.items()
    ]
    entries += [
        invented(FoundDamaged(item), string, datetime.combine(day + later, _NOON, zone), traps=(place,))
        for string, place, item, day in _FOUND
    ]
    return sorted(entries, key=lambda entry: entry.order)
