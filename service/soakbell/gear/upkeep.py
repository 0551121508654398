"""Upkeep as the log tells it, and what comes due by it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime


@dataclass(frozen=True)
class TaskDone:
    """A task's last doing, with the state of the counters at that time (see ``UpkeepRecord``)."""

    task: str
    done_at: datetime
    expires_on: date | None
    engine_h: float | None
    pulls: int
    days_in_water: float


@dataclass(frozen=True)
class UpkeepRecord:
    """Counters since the log began, and each task's last doing in order of name.

    ``engine_h`` adds up over meters; None before the first reading. ``pulls`` counts hauls of a string.
    ``days_in_water`` counts days on which some trap fished, up to ``counted_to``; ``fishing`` says whether some
    trap fishes since then. ``meter_h`` is the meter's own last reading.
    """

    done: tuple[TaskDone, ...] = ()
    engine_h: float | None = None
    meter_h: float | None = None
    pulls: int = 0
    days_in_water: float = 0.0
    counted_to: datetime | None = None
    fishing: bool = False
    first_at: datetime | None = None
