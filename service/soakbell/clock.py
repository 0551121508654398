"""The one place where the time is read."""

from __future__ import annotations

import time
from datetime import UTC, datetime, timedelta
from typing import Protocol

CLOCK_SLACK = timedelta(minutes=2)
"""So far behind the newest moment on record a clock may be where nothing that a call needs says so."""


class Clock(Protocol):
    def now(self) -> datetime:
        """The present moment, aware, UTC."""

    def sleep(self, seconds: float) -> None:
        """Let time pass."""

    def passed_s(self) -> float:
        """Seconds since some moment; setting the clock doesn't move them."""


class SystemClock:
    """The computer's own clock."""

    def now(self) -> datetime:
        return datetime.now(UTC)

    def sleep(self, seconds: float) -> None:
        time.sleep(seconds)

    def passed_s(self) -> float:
        return time.monotonic()


class SetClock:
    """A clock that stands where it was put: for the demo and tests."""

    def __init__(self, at: datetime) -> None:
        self._slept_s = 0.0
        self.put(at)

    def put(self, at: datetime) -> None:
        self._now = as_utc(at)

    def now(self) -> datetime:
        return self._now

    def sleep(self, seconds: float) -> None:
        self._now += timedelta(seconds=seconds)
        self._slept_s += seconds

    def passed_s(self) -> float:
        return self._slept_s


def as_utc(at: datetime) -> datetime:
    """``at`` in UTC.

    Raises:
        ValueError: ``at`` has no zone, so its moment can't be known.
    """
    if at.tzinfo is None or at.utcoffset() is None:
        raise ValueError(f"{at.isoformat()} has no zone; write it with an offset, as in 2026-12-08T07:10-05:00")
    return at.astimezone(UTC)
