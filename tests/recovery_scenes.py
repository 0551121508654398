"""Recovery lists at the end of an invented season, for the strings of ``scenes``. All data here is invented.

season_end   a week before the last day: two trips planned, Ledge in none, 2 traps aboard, 4 missing
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime
from functools import cache

from scenes import FACTS, STRINGS
from soakbell.fishery.season import SeasonReason, TakeUp
from soakbell.gear.fold import GearState, fold
from soakbell.gear.log import Detail, FoundMissing, LogEntry, Pulled, Replaced, Tagged, TrapsSet, new_entry
from soakbell.planning.recovery import RecoveryList, recovery_list
from soakbell.planning.season_end import TakeUpTrip

TODAY = date(2027, 4, 29)
NOW = datetime(2027, 4, 29, 22, tzinfo=UTC)  # 18:00 EDT
DEADLINE = date(2027, 5, 6)
TAKE_UP = TakeUp(
    DEADLINE, SeasonReason("traps out of the water", "an invented text", "an invented rule", "derived")
)
SEASON_FACTS = replace(FACTS, due_at=NOW, next_letter_at=datetime(2027, 4, 30, 8, 30, tzinfo=UTC))
TRIPS = (
    TakeUpTrip((("The Hump", tuple(range(1, 41))), ("Outer Bar", tuple(range(1, 31)))), 70, 425),
    TakeUpTrip((("Outer Bar", tuple(range(31, 37))), ("Grassy Edge", tuple(range(1, 31)))), 36, 280),
)
STARTS = ((0.8, date(2027, 5, 1)), (0.95, date(2027, 4, 28)), (0.99, None))


def edt(month: int, day: int, hour: int, minute: int = 0) -> datetime:
    """A moment of spring 2027 by the harbor's clock."""
    return datetime(2027, month, day, hour + 4, minute, tzinfo=UTC)


def told(detail: Detail, string: str, at: datetime, *traps: int) -> LogEntry:
    return new_entry(detail, happened_at=at, told_at=at, told_by="cli", string=string, traps=traps)


ENTRIES = (
    *(told(TrapsSet(), string.name, edt(4, 10, 8, minute)) for minute, string in enumerate(STRINGS)),
    *(told(Tagged(f"B {place:03d}"), "Ledge", edt(4, 11, 9, place), place) for place in range(1, 13)),
    told(Tagged("=A1"), "Grassy Edge", edt(4, 11, 10), 17),
    told(Pulled(), "Grassy Edge", edt(4, 20, 9), *range(1, 17), *range(18, 31)),
    told(FoundMissing(), "Grassy Edge", edt(4, 20, 10), 17),
    told(Pulled(), "The Hump", edt(4, 22, 9), *range(1, 31), *range(32, 41)),
    told(FoundMissing(), "The Hump", edt(4, 22, 11), 31),
    told(Pulled(reset=False), "Nine Foot", edt(4, 26, 9), 1, 2),
    told(FoundMissing(), "Nine Foot", edt(4, 26, 10), 8, 9),
    told(Replaced(), "Nine Foot", edt(4, 27, 10), 9),
)


@cache
def gear_at_the_end() -> GearState:
    return fold(ENTRIES, STRINGS)


def season_end() -> RecoveryList:
    return recovery_list(
        gear_at_the_end(),
        NOW,
        TODAY,
        take_up=TAKE_UP,
        trips=TRIPS,
        days={1: date(2027, 5, 1)},
        starts=STARTS,
        season=date(2026, 10, 15),
    )
