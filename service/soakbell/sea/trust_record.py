"""What a look back found: how far forecasts were off, what came of the days called, how the chances turned out."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime

from soakbell.sea.trust import BinError, BrierParts, CalledDay, CallTally, call_record


@dataclass(frozen=True)
class StationSeen:
    """A station that forecasts of an area were held against.

    ``waters``: the zone and the point of that area. ``hours``: those that the station measured anything in.
    """

    area: str
    station: str
    waters: str
    gives: tuple[str, ...]
    hours: int


@dataclass(frozen=True)
class PastLimit:
    """The most that was measured of a quantity while a called trip was out, past its limit."""

    quantity: str
    most: float
    limit: float


@dataclass(frozen=True)
class AreaAsked:
    """Of an area that a trip was in: which of the limited quantities were measured, and which lacked a station."""

    area: str
    measured: tuple[str, ...]
    lacking: tuple[str, ...]


@dataclass(frozen=True)
class SeenDay:
    """A day that was called, and what the sea then was.

    Attributes:
        fit: None: no measurement can tell. True is as far as was measured; see ``whole``.
        asked: the areas of the trip that was looked at.
        had_trip: False where nothing was to be hauled, whatever the sea: such a WAIT says nothing of it.
        past: of a day called PULL that was outside the limits.
    """

    day: date
    word: str
    fit: bool | None
    asked: tuple[AreaAsked, ...] = ()
    had_trip: bool = True
    past: tuple[PastLimit, ...] = ()

    @property
    def whole(self) -> bool:
        """Whether every limit that stations can measure was measured, everywhere on the trip."""
        return bool(self.asked) and not any(area.lacking for area in self.asked)

    @property
    def as_far(self) -> bool:
        """Fit as far as was measured, which wasn't everything."""
        return self.fit is True and not self.whole


@dataclass(frozen=True)
class TrustRecord:
    """A look back over the mornings from ``first_day``, the first that anything is kept of, to ``last_day``.

    Attributes:
        mornings: of how many of them a forecast was kept.
        stations: what the forecasts were held against; empty: nothing could be.
        edges_h: of the bins of ``errors``.
        errors: by area, of all sources, and of WORST_OF_ALL, which calls are made from.
        days: oldest first, none later than ``last_day``.
        chances: those of later days, as they would have been told, against what came. A day has one by each
            morning and station that tells of it; areas that share a station count as one, fit where all are.
        ahead_days: how far ahead of its day the furthest of these chances was reckoned.
        problems: what could not be used, in words.
    """

    made_at: datetime
    first_day: date
    last_day: date
    mornings: int
    stations: tuple[StationSeen, ...]
    edges_h: tuple[float, ...]
    errors: tuple[BinError, ...] = field(repr=False)
    days: tuple[SeenDay, ...] = field(repr=False)
    chances: BrierParts | None = field(repr=False)
    ahead_days: int
    problems: tuple[str, ...] = ()

    @property
    def areas(self) -> tuple[str, ...]:
        """Those that ``errors`` are of."""
        return tuple(dict.fromkeys(found.area for found in self.errors))

    def days_between(self, first: date, last: date) -> tuple[SeenDay, ...]:
        return tuple(seen for seen in self.days if first <= seen.day <= last)


def record_of(days: tuple[SeenDay, ...]) -> CallTally:
    """Counts of the days on which something was to be hauled."""
    return call_record([CalledDay(seen.day, seen.word, seen.fit, seen.whole) for seen in days if seen.had_trip])
