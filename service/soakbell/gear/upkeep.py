"""Upkeep as the log tells it: what was done when, and the counters that it comes due by."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from soakbell.gear.log import OF_TRAPS, EngineHours, LogEntry, Pulled, UpkeepDone
from soakbell.gear.trap_states import Oddity, odd
from soakbell.gear.worked import Worked

_DAY = timedelta(days=1)
SAME_TRIP = timedelta(hours=12)
"""Pulls of one string within so long are one haul, told in parts (a choice of ours: a day's trip is shorter)."""
SAME_TIME = timedelta(hours=12)
"""A reading of the engine this long after a task at most is that of the task (a choice of ours)."""
_MOST_STEPS = 1000
"""So many of the latest steps of a counter are kept."""


@dataclass(frozen=True)
class Step:
    """A moment at which a counter was told or began or ceased to run, and where it stood."""

    at: datetime
    count: float


@dataclass(frozen=True)
class TaskDone:
    """A task's last doing, with the state of the counters at that time (see ``UpkeepRecord``).

    ``expires_on`` is the last date told for the task: looking at a flare doesn't make it expire later.
    ``engine_h`` is that of the first reading after it where that came within ``SAME_TIME``, or where none was told
    before; else of the last one before. ``engine_read_at`` is the moment of that reading.
    """

    task: str
    done_at: datetime
    expires_on: date | None
    engine_h: float | None
    pulls: int
    days_in_water: float
    engine_read_at: datetime | None = None


@dataclass(frozen=True)
class UpkeepRecord:
    """Counters since the log began, and each task's last doing in order of name.

    ``engine_h`` adds up over meters; None before the first reading, which it starts from. ``meter_h`` is the
    meter's own last reading, of ``read_at``. ``pulls`` counts hauls of a string, the last at ``pulled_at``; pulls
    of one string within ``SAME_TRIP`` are one. ``hauled`` says when the last haul of each string began.
    ``days_in_water`` is the time with some trap fishing, in days of 24 hours, up to ``counted_to``; ``fishing``
    says whether some trap fishes since then. ``readings``, ``hauls`` and ``in_water`` are the latest steps of the
    three counters, oldest first; the days in water run evenly from each step to the next.
    """

    done: tuple[TaskDone, ...] = ()
    engine_h: float | None = None
    meter_h: float | None = None
    pulls: int = 0
    days_in_water: float = 0.0
    counted_to: datetime | None = None
    fishing: bool = False
    first_at: datetime | None = None
    read_at: datetime | None = None
    pulled_at: datetime | None = None
    readings: tuple[Step, ...] = ()
    hauls: tuple[Step, ...] = ()
    in_water: tuple[Step, ...] = ()
    hauled: tuple[tuple[str, datetime], ...] = ()


class UpkeepBook:
    """Upkeep while the log is read."""

    def __init__(self, record: UpkeepRecord | None = None) -> None:
        start = record or UpkeepRecord()
        self._done = {done.task: done for done in start.done}
        self._engine_h = start.engine_h
        self._meter_h = start.meter_h
        self._read_at = start.read_at
        self._pulls = start.pulls
        self._pulled_at = start.pulled_at
        self._days_in_water = start.days_in_water
        self._counted_to = start.counted_to
        self._fishing = start.fishing
        self._first_at = start.first_at
        self._readings = _latest(start.readings)
        self._hauls = _latest(start.hauls)
        self._in_water = _latest(start.in_water)
        self._hauled = dict(start.hauled)

    def take(self, entry: LogEntry, worked: Worked) -> list[Oddity]:
        """Work one entry in; none before was later."""
        at, detail = entry.happened_at, entry.detail
        if self._first_at is None:
            self._first_at = at
        if entry.kind in OF_TRAPS:
            self._count_to(at)
            if self._fishing != (worked.fishing > 0):
                self._fishing = worked.fishing > 0
                self._in_water.append(Step(at, self._days_in_water))
        if isinstance(detail, Pulled) and worked.places:
            self._haul(entry.string or "", at)
        elif isinstance(detail, EngineHours):
            return self._read(entry, detail)
        elif isinstance(detail, UpkeepDone):
            self._count_to(at)
            self._do(detail, at)
        return []

    def freeze(self) -> UpkeepRecord:
        return UpkeepRecord(
            done=tuple(self._done[task] for task in sorted(self._done)),
            engine_h=self._engine_h,
            meter_h=self._meter_h,
            pulls=self._pulls,
            days_in_water=self._days_in_water,
            counted_to=self._counted_to,
            fishing=self._fishing,
            first_at=self._first_at,
            read_at=self._read_at,
            pulled_at=self._pulled_at,
            readings=tuple(self._readings),
            hauls=tuple(self._hauls),
            in_water=tuple(self._in_water),
            hauled=tuple(sorted(self._hauled.items())),
        )

    def _haul(self, string: str, at: datetime) -> None:
        began_at = self._hauled.get(string)
        if began_at is not None and at - began_at < SAME_TRIP:
            return
        self._hauled[string] = self._pulled_at = at
        self._pulls += 1
        self._hauls.append(Step(at, self._pulls))

    def _count_to(self, at: datetime) -> None:
        if self._fishing and self._counted_to is not None:
            self._days_in_water += (at - self._counted_to) / _DAY
        self._counted_to = at

    def _do(self, told: UpkeepDone, at: datetime) -> None:
        before = self._done.get(told.task)
        expires_on = told.expires_on or (before.expires_on if before is not None else None)
        self._done[told.task] = TaskDone(
            told.task, at, expires_on, self._engine_h, self._pulls, self._days_in_water, self._read_at
        )

    def _read(self, entry: LogEntry, told: EngineHours) -> list[Oddity]:
        """The first reading starts the count. What ran from a meter's last reading to the next meter is lost."""
        if self._engine_h is None or self._meter_h is None:
            self._engine_h = told.engine_h
        elif not told.new_meter:
            if told.engine_h < self._meter_h:
                found = f"{told.engine_h:g}, less than the {self._meter_h:g} read before"
                write = "the reading of the meter, or that the meter is new"
                return [odd(entry, "engine_h", found, write)]
            self._engine_h += told.engine_h - self._meter_h
        self._meter_h = told.engine_h
        self._read_at = at = entry.happened_at
        self._readings.append(Step(at, self._engine_h))
        for task, done in self._done.items():
            if done.engine_read_at is None or done.engine_read_at < done.done_at >= at - SAME_TIME:
                self._done[task] = replace(done, engine_h=self._engine_h, engine_read_at=at)
        return []


def _latest(steps: Iterable[Step]) -> deque[Step]:
    return deque(steps, maxlen=_MOST_STEPS)
