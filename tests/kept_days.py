"""Mornings kept in a database, with forecasts that are off by a known amount, and what a station then measured.

INVENTED DATA: the weather goes up and down by a fixed rule, so that every expectation can be reckoned by hand.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta

from law.world import (
    INNER,
    INNER_GRID,
    MEDIA,
    OUTER,
    OUTER_GRID,
    STATION_REPORT,
    TEXT,
    WARNINGS,
    WITH_STATION,
    alerts,
    grid,
    labels_for,
    said,
    set_days_ago,
    settings_with,
    station,
    zone_text,
)
from soakbell.clock import SetClock
from soakbell.desk import Desk
from soakbell.due_times import due_at
from soakbell.errors import FetchFailed
from soakbell.feeds.transport import Ask
from soakbell.sea.sources import RawReply
from soakbell.settings import Settings
from soakbell.store import letters, replies
from soakbell.store.engine import Store
from soakbell.store.log import append_entries

NEW_YORK = "America/New_York"
MS_PER_KT = 0.514444
HOUR = timedelta(hours=1)
FILE_DAYS = 5

WITH_WIND_STATION = (WITH_STATION[0], WITH_STATION[1].replace('["wind_kt", "gust_kt", "sea_m"]', '["wind_kt"]'))


class NobodyAnswers:
    def fetch(self, ask: Ask) -> RawReply:
        raise FetchFailed("nobody answers", retry=True)


def windy_every_third_day(at: datetime) -> float:
    """Knots: 8, but 18 by daylight of every third day: at night no station tells of it."""
    return 18.0 if blows_on(at) and 12 <= at.hour < 23 else 8.0


def blows_on(day: date) -> bool:
    return day.toordinal() % 3 == 0


def always(kt: float) -> Callable[[datetime], float]:
    return lambda _: kt


@dataclass
class KeptDays:
    """A boat's service as it stood on each of many mornings.

    ``wind_kt`` is the truth by the hour. Forecasts say ``low_by_kt`` less, or what ``forecast_kt`` gives.
    """

    store: Store
    wind_kt: Callable[[datetime], float] = windy_every_third_day
    low_by_kt: float = 0.0
    forecast_kt: Callable[[datetime], float] | None = None
    settings: Settings = field(default_factory=lambda: settings_with(WITH_STATION))

    def morning_of(self, day: date) -> datetime:
        return due_at(day, time(4, 30), NEW_YORK)

    def told_kt(self, at: datetime) -> float:
        return self.forecast_kt(at) if self.forecast_kt is not None else self.wind_kt(at) - self.low_by_kt

    def keep_forecasts(self, day: date) -> None:
        """What is fetched five minutes before the letter of ``day``; gusts 4 kt over the wind, 0.4 m of sea."""
        now = self.morning_of(day) - timedelta(minutes=5)
        issued_at = now - HOUR
        first = now.replace(minute=0) - HOUR

        def wind(hour: int) -> float:
            return self.told_kt(first + hour * HOUR)

        def gust(hour: int) -> float:
            return wind(hour) + 4

        calm = [(label, said(5, 1)) for label in labels_for(issued_at)]
        bodies = {
            TEXT: zone_text(calm, issued_at),
            INNER_GRID: grid(INNER, now - timedelta(minutes=20), first, wind_kt=wind, gust_kt=gust, sea_m=0.4),
            OUTER_GRID: grid(OUTER, now - timedelta(minutes=20), first, wind_kt=wind, gust_kt=gust, sea_m=0.4),
            WARNINGS: alerts(now - timedelta(minutes=5)),
        }
        with self.store.writing() as session:
            for (kind, key), body in bodies.items():
                replies.keep_reply(session, RawReply(kind, key, "", 200, MEDIA[kind], body, now))

    def keep_measured(self, now: datetime) -> None:
        """A station's file of the last days, a row at half past each hour."""
        newest = now.replace(minute=30, second=0, microsecond=0) - HOUR
        rows = []
        for n in range(24 * FILE_DAYS):
            at = newest - n * HOUR
            wind = self.wind_kt(at)
            rows.append((at, wind * MS_PER_KT, (wind + 4) * MS_PER_KT, 0.4))
        kind, key = STATION_REPORT
        with self.store.writing() as session:
            replies.keep_reply(session, RawReply(kind, key, "", 200, MEDIA[kind], station(rows), now))

    def keep(self, first: date, days: int, *, calling: bool = False) -> list[str]:
        """Keep what was fetched on so many mornings; gives the words of their calls, where they are made."""
        words = []
        for day in (first + timedelta(days=n) for n in range(days)):
            self.keep_forecasts(day)
            self.keep_measured(self.morning_of(day) - timedelta(minutes=5))
            if calling:
                words.append(self.call(day))
        return words

    def fish_since(self, day: date) -> None:
        """Every string set ten days before, so that all is ripe from then on."""
        with self.store.writing() as session:
            append_entries(session, set_days_ago(self.settings, 10, self.morning_of(day)))

    def call(self, day: date, desk: Desk | None = None) -> str:
        """Write and keep the morning letter of ``day``; gives its word."""
        now = self.morning_of(day)
        desk = desk or self.desk(now)
        letter = desk.write("morning", day, 0, late=False, clock_suspect=False)
        boat = self.settings.boat.name
        with self.store.writing() as session:
            letters.ensure_due(session, boat, "morning", day, 0, NEW_YORK, now, now + timedelta(hours=6))
            claim = letters.claim_due(session, boat, now, lease_s=120)
            assert claim is not None
            letters.write_letter(session, claim, letter, now)
        assert letter.call is not None
        return letter.call.word

    def desk(self, now: datetime) -> Desk:
        return Desk(self.settings, self.store, SetClock(now), NobodyAnswers())
