"""Invented weather for the demo: what happened, and what was forecast of it and when. INVENTED DATA throughout.

A ``Scenario`` is a table: turns of the weather, between which it changes evenly, what the forecasters believed at
first, the advisories they issued, and what went wrong with the public services. Nothing here knows of a wire
format; ``zone_bulletin`` and ``payloads`` write those. The same scenario and seed give the same weather.

The shape of a December front in Apalachee Bay (light easterlies, a southerly blow with thunder ahead of it, one to
two days of northerlies behind) is common knowledge of that coast; every number is made up.
"""

from __future__ import annotations

import math
import random
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, time, timedelta
from functools import cache
from zoneinfo import ZoneInfo

HOUR = timedelta(hours=1)
FORECAST_DAYS = 8

LEAD_ERROR_KT = 4.5  # amplitude of the error of a wind forecast of LEAD_ERROR_AT_H, invented
LEAD_ERROR_FT = 1.0
LEAD_ERROR_AT_H = 96.0
WOBBLE_KT = 0.4  # land and sea breeze


@dataclass(frozen=True)
class Turn:
    """The weather over the outer bay at a moment, local time. Wind comes FROM ``from_deg``."""

    at: datetime
    wind_kt: float
    from_deg: float
    gust_kt: float
    sea_ft: float
    period_s: float = 4.0
    thunder_pct: float = 0.0
    visibility_nm: float = 8.0


@dataclass(frozen=True)
class Belief:
    """What the forecasters held for true until ``known_at``, for the time between its first and last turn."""

    known_at: datetime
    turns: tuple[Turn, ...]


@dataclass(frozen=True)
class AdvisoryMessage:
    """One message about an advisory. ``action`` is the VTEC action: NEW, CON, EXT or CAN."""

    sent_at: datetime
    action: str
    begins_at: datetime
    ends_at: datetime


@dataclass(frozen=True)
class Advisory:
    """A Small Craft Advisory through its life, under one event number."""

    number: int
    what: str
    messages: tuple[AdvisoryMessage, ...]

    def as_of(self, at: datetime) -> AdvisoryMessage | None:
        """The newest message sent by ``at``."""
        return next((m for m in reversed(self.messages) if m.sent_at <= at), None)

    def holds(self, at: datetime) -> AdvisoryMessage | None:
        """The newest message sent by ``at``, if the advisory is still ahead or in force by it."""
        newest = self.as_of(at)
        return newest if newest is not None and newest.action != "CAN" and at < newest.ends_at else None


@dataclass(frozen=True)
class Outage:
    """Addresses beginning with ``path`` answer ``status`` from ``starts_at`` to ``ends_at``."""

    path: str
    starts_at: datetime
    ends_at: datetime
    status: int
    title: str
    detail: str


@dataclass(frozen=True)
class Silence:
    """No new zone text shows in the service's list from ``starts_at`` to ``ends_at``; the old ones stay there."""

    starts_at: datetime
    ends_at: datetime


@dataclass(frozen=True)
class Cell:
    """A cell of the forecast grid and the share of the outer bay's wind and sea that reaches it."""

    x: int
    y: int
    lat_deg: float
    lon_deg: float
    wind_share: float
    gust_share: float
    sea_share: float
    half_deg: float = 0.0125

    def holds(self, lat_deg: float, lon_deg: float) -> bool:
        return abs(lat_deg - self.lat_deg) <= self.half_deg and abs(lon_deg - self.lon_deg) <= self.half_deg


@dataclass(frozen=True)
class Scenario:
    """All that is scripted, turns in order. Times are local to ``zone_name``; ``station`` is invented."""

    zone_name: str
    first_evening: date
    days: int
    turns: tuple[Turn, ...]
    cells: tuple[Cell, ...]
    zone: str = "GMZ730"
    office: str = "TAE"
    station: str = "NCKF1"
    station_mark: tuple[float, float] = (30.071, -84.176)
    beliefs: tuple[Belief, ...] = ()
    advisories: tuple[Advisory, ...] = ()
    outages: tuple[Outage, ...] = ()
    silences: tuple[Silence, ...] = ()
    amended: tuple[datetime, ...] = ()
    issue_times: tuple[time, ...] = (time(3, 30), time(9, 30), time(15, 30), time(21, 30))
    greylisted: int = 1  # how many of the first letters the mail server puts off once
    seed: int = 730

    @property
    def tz(self) -> ZoneInfo:
        return ZoneInfo(self.zone_name)

    def local(self, at: datetime) -> datetime:
        return at.astimezone(self.tz)


@dataclass(frozen=True)
class Hour:
    """Weather of one hour at one place, from ``at`` (UTC) on. ``sea_ft`` is the significant height."""

    at: datetime
    wind_kt: float
    from_deg: float
    gust_kt: float
    sea_ft: float
    period_s: float
    thunder_pct: float
    visibility_nm: float


@dataclass(frozen=True)
class Weather:
    """The truth of a scenario, and the forecasts of it. ``station_rows`` keeps what ``payloads`` wrote of it."""

    scenario: Scenario
    station_rows: dict[datetime, str] = field(default_factory=dict, repr=False, compare=False)
    _believed: dict[int, tuple[Turn, ...]] = field(default_factory=dict, repr=False, compare=False)

    def truth(self, at: datetime) -> Hour:
        """What the outer bay has at ``at``."""
        return self._hour(self.scenario.turns, at)

    def forecast(self, issued_at: datetime, at: datetime) -> Hour:
        """What was forecast at ``issued_at`` for the outer bay at ``at``; the error grows with the lead time."""
        expected = self._hour(self._turns_believed(issued_at), at)
        share = max(0.0, (at - issued_at) / HOUR / LEAD_ERROR_AT_H) ** 1.2
        swing = self._swing(issued_at, at) * min(share, 1.2)
        wind_kt = max(2.0, expected.wind_kt + LEAD_ERROR_KT * swing)
        return replace(
            expected,
            wind_kt=wind_kt,
            gust_kt=wind_kt + (expected.gust_kt - expected.wind_kt),
            sea_ft=max(0.5, expected.sea_ft + LEAD_ERROR_FT * swing),
        )

    def in_cell(self, hour: Hour, cell: Cell) -> Hour:
        wind_kt = hour.wind_kt * cell.wind_share
        return replace(
            hour,
            wind_kt=wind_kt,
            gust_kt=max(wind_kt, hour.gust_kt * cell.gust_share),
            sea_ft=hour.sea_ft * cell.sea_share,
        )

    def issues(self, until: datetime, days_back: int = 7) -> list[datetime]:
        """Moments (UTC) at which zone texts were issued by ``until``, oldest first.

        From the local midnight ``days_back`` days before that of ``until``.
        """
        scenario = self.scenario
        today = scenario.local(until).date()
        routine = [
            datetime.combine(today - timedelta(days=back), at, scenario.tz).astimezone(UTC)
            for back in range(days_back, -1, -1)
            for at in scenario.issue_times
        ]
        first = today - timedelta(days=days_back)
        amended = [at.astimezone(UTC) for at in scenario.amended if at.date() >= first]
        return sorted(at for at in (*routine, *amended) if at <= until)

    def _hour(self, turns: Sequence[Turn], at: datetime) -> Hour:
        later = bisect_right(turns, at, key=lambda turn: turn.at)
        before = turns[max(later - 1, 0)]
        after = turns[later] if later < len(turns) else before
        span = after.at - before.at
        share = (at - before.at) / span if span else 0.0

        def between(one: float, other: float) -> float:
            return one + share * (other - one)

        turned = (after.from_deg - before.from_deg + 180.0) % 360.0 - 180.0
        local = self.scenario.local(at)
        wobble = WOBBLE_KT * math.sin(2 * math.pi * (local.hour + local.minute / 60 - 9) / 24)
        return Hour(
            at=at.astimezone(UTC),
            wind_kt=between(before.wind_kt, after.wind_kt) + wobble,
            from_deg=(before.from_deg + share * turned) % 360.0,
            gust_kt=between(before.gust_kt, after.gust_kt) + wobble,
            sea_ft=between(before.sea_ft, after.sea_ft),
            period_s=between(before.period_s, after.period_s),
            thunder_pct=between(before.thunder_pct, after.thunder_pct),
            visibility_nm=between(before.visibility_nm, after.visibility_nm),
        )

    def _turns_believed(self, issued_at: datetime) -> tuple[Turn, ...]:
        """The turns with those put in that were still believed at ``issued_at``."""
        held = [i for i, belief in enumerate(self.scenario.beliefs) if issued_at < belief.known_at]
        key = sum(1 << i for i in held)
        if key not in self._believed:
            turns = list(self.scenario.turns)
            for i in held:
                told = self.scenario.beliefs[i].turns
                turns = [turn for turn in turns if not told[0].at <= turn.at <= told[-1].at] + list(told)
            self._believed[key] = tuple(sorted(turns, key=lambda turn: turn.at))
        return self._believed[key]

    def _swing(self, issued_at: datetime, at: datetime) -> float:
        """From -1 to 1, smooth over the hours ahead, another curve for each quarter day of issue."""
        phases = _phases(self.scenario.seed, int(issued_at.timestamp() // (6 * 3600)))
        hours = at.timestamp() / 3600
        return 0.6 * math.sin(2 * math.pi * hours / 41 + phases[0]) + 0.4 * math.sin(
            2 * math.pi * hours / 19 + phases[1]
        )


@cache
def _phases(seed: int, quarter: int) -> tuple[float, float]:
    dice = random.Random(f"{seed} {quarter}")
    return dice.uniform(0, 2 * math.pi), dice.uniform(0, 2 * math.pi)


def hours_from(first: datetime, count: int) -> list[datetime]:
    """``count`` full hours (UTC), from the one that holds ``first``."""
    begin = first.astimezone(UTC).replace(minute=0, second=0, microsecond=0)
    return [begin + n * HOUR for n in range(count)]


# ---- The invented fortnight -------------------------------------------------------------------------------

_TZ = ZoneInfo("America/New_York")


def _dec(day: int, hour: int, minute: int = 0) -> datetime:
    return datetime(2026, 12, day, hour, minute, tzinfo=_TZ)


_TURNS = (
    Turn(_dec(5, 0), 9, 50, 13, 1.6),
    Turn(_dec(7, 12), 7, 90, 10, 1.1),
    # light southeasterlies, gusty with the afternoon's mixing
    Turn(_dec(8, 6), 7, 140, 11, 1.4),
    Turn(_dec(8, 12), 9, 150, 17, 1.7),
    Turn(_dec(8, 14), 12, 155, 22, 1.9),
    Turn(_dec(8, 18), 11, 165, 19, 2.0),
    # the blow ahead of the first front comes six hours sooner than thought
    Turn(_dec(9, 4), 10, 175, 15, 2.1, 4),
    Turn(_dec(9, 7), 14, 180, 20, 2.6, 4, 5),
    Turn(_dec(9, 10), 20, 185, 27, 3.6, 5, 10),
    Turn(_dec(9, 18), 21, 190, 29, 4.4, 5, 20),
    Turn(_dec(10, 6), 21, 205, 29, 4.8, 6, 45, 6),
    Turn(_dec(10, 12), 22, 230, 31, 5.0, 6, 65, 4),
    Turn(_dec(10, 15), 22, 310, 32, 5.0, 5, 15, 7),
    Turn(_dec(10, 21), 24, 325, 33, 5.4, 5),
    Turn(_dec(11, 6), 22, 335, 30, 5.0, 5),
    Turn(_dec(11, 15), 18, 350, 25, 4.0, 5),
    Turn(_dec(11, 21), 15, 355, 20, 3.1),
    # two days of easing
    Turn(_dec(12, 4), 12, 0, 17, 2.6),
    Turn(_dec(12, 12), 11, 15, 15, 2.2),
    Turn(_dec(12, 18), 8, 40, 11, 1.6),
    Turn(_dec(13, 12), 6, 60, 9, 1.0),
    Turn(_dec(14, 12), 6, 90, 8, 0.9),
    Turn(_dec(15, 12), 7, 130, 10, 1.0),
    Turn(_dec(16, 6), 7, 160, 10, 1.3),
    Turn(_dec(16, 12), 9, 170, 13, 1.7),
    Turn(_dec(16, 18), 12, 180, 17, 2.1),
    # the second front
    Turn(_dec(17, 0), 16, 185, 22, 3.0, 5, 5),
    Turn(_dec(17, 6), 19, 190, 26, 4.0, 5, 30),
    Turn(_dec(17, 15), 22, 205, 30, 5.0, 6, 65, 4),
    Turn(_dec(18, 0), 26, 310, 34, 5.6, 6, 30, 6),
    Turn(_dec(18, 6), 26, 325, 34, 6.0, 6),
    Turn(_dec(18, 15), 22, 340, 29, 5.0, 5),
    Turn(_dec(19, 0), 19, 350, 25, 4.3, 5),
    Turn(_dec(19, 9), 17, 355, 22, 3.8, 5),
    Turn(_dec(19, 18), 12, 5, 16, 2.8),
    Turn(_dec(20, 6), 8, 40, 11, 1.8),
    Turn(_dec(20, 15), 7, 60, 10, 1.4),
    Turn(_dec(21, 12), 6, 90, 9, 1.0),
    Turn(_dec(23, 0), 8, 130, 11, 1.2),
)

FORTNIGHT = Scenario(
    zone_name="America/New_York",
    first_evening=date(2026, 12, 7),
    days=14,
    turns=_TURNS,
    cells=(
        Cell(77, 71, 30.05, -84.15, wind_share=0.94, gust_share=0.96, sea_share=0.7),
        Cell(76, 65, 29.92, -84.18, wind_share=1.0, gust_share=1.0, sea_share=1.0),
    ),
    beliefs=(
        Belief(
            _dec(9, 6, 35),
            (
                Turn(_dec(9, 4), 10, 175, 15, 2.1, 4),
                Turn(_dec(9, 9), 11, 180, 16, 2.3, 4),
                Turn(_dec(9, 14), 13, 185, 18, 2.6, 4, 5),
                Turn(_dec(9, 18), 14, 190, 19, 2.8, 4, 10),
                Turn(_dec(9, 23), 19, 195, 27, 4.0, 5, 20),
            ),
        ),
    ),
    advisories=(
        Advisory(
            61,
            "winds 20 to 25 knots with gusts up to 30 knots and seas 3 to 5 feet",
            (
                AdvisoryMessage(_dec(9, 6, 40), "NEW", _dec(9, 9), _dec(11, 18)),
                AdvisoryMessage(_dec(9, 15, 25), "CON", _dec(9, 9), _dec(11, 18)),
                AdvisoryMessage(_dec(10, 3, 20), "CON", _dec(9, 9), _dec(11, 18)),
                AdvisoryMessage(_dec(10, 15, 25), "EXT", _dec(9, 9), _dec(11, 22)),
                AdvisoryMessage(_dec(11, 3, 20), "CON", _dec(9, 9), _dec(11, 22)),
                AdvisoryMessage(_dec(11, 18, 50), "CAN", _dec(9, 9), _dec(11, 22)),
            ),
        ),
        Advisory(
            62,
            "winds 20 to 30 knots with gusts up to 35 knots and seas 4 to 6 feet",
            (
                AdvisoryMessage(_dec(16, 15, 25), "NEW", _dec(17, 4), _dec(19, 1)),
                AdvisoryMessage(_dec(17, 3, 20), "CON", _dec(17, 4), _dec(19, 1)),
                AdvisoryMessage(_dec(17, 15, 25), "CON", _dec(17, 4), _dec(19, 1)),
                AdvisoryMessage(_dec(18, 3, 20), "CON", _dec(17, 4), _dec(19, 1)),
            ),
        ),
    ),
    outages=(
        Outage(
            "/gridpoints",
            _dec(8, 3, 25),
            _dec(8, 3, 26),
            503,
            "Forecast Grid Expired",
            "The requested forecast grid was issued too long ago. It will be updated shortly.",
        ),
        Outage(
            "/gridpoints",
            _dec(11, 3, 20),
            _dec(11, 3, 50),
            503,
            "Forecast Grid Expired",
            "The requested forecast grid was issued too long ago. It will be updated shortly.",
        ),
    ),
    silences=(Silence(_dec(14, 2), _dec(15, 8)),),
    amended=(_dec(9, 6, 42),),
)
