"""Sunrise and sunset against printed tables."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from soakbell.sea.daylight import sunlight

MINUTE = timedelta(minutes=1)
EDT = ZoneInfo("America/New_York")
LONDON = (51.5, -0.12)


def near(found: datetime | None, printed: datetime) -> bool:
    """Within a minute of a time that is printed to the minute."""
    return found is not None and abs(found - printed) <= MINUTE


def test_key_west_in_june_agrees_with_the_naval_observatory() -> None:
    """A1: U.S. Naval Observatory, quoted on a third-party page: 6:13, 6:39, 20:18, 20:44 EDT, 24.6 N 81.8 W."""
    light = sunlight(date(2003, 6, 20), 24.6, -81.8, "America/New_York")
    assert near(light.rises_at, datetime(2003, 6, 20, 6, 39, tzinfo=EDT))
    assert near(light.sets_at, datetime(2003, 6, 20, 20, 18, tzinfo=EDT))
    assert near(light.dawn_at, datetime(2003, 6, 20, 6, 13, tzinfo=EDT))
    assert near(light.dusk_at, datetime(2003, 6, 20, 20, 44, tzinfo=EDT))
    assert light.state == "rises and sets"


def test_civil_twilight_in_london_agrees_with_the_almanac() -> None:
    """A2: public test data of the library astral, test_sun_utc.py: 7:04 and 16:34 UTC."""
    light = sunlight(date(2015, 12, 1), *LONDON, "UTC")
    assert near(light.dawn_at, datetime(2015, 12, 1, 7, 4, tzinfo=UTC))
    assert near(light.dusk_at, datetime(2015, 12, 1, 16, 34, tzinfo=UTC))


@pytest.mark.parametrize(
    ("day", "rise", "set_"),
    [(date(2015, 12, 1), (7, 43), (15, 55)), (date(2015, 1, 1), (8, 6), (16, 1))],
)
def test_london_in_winter_agrees_with_the_almanac(day: date, rise: tuple[int, int], set_: tuple[int, int]) -> None:
    """A2, A3: public test data of the library astral, test_sun_utc.py."""
    light = sunlight(day, *LONDON, "UTC")
    assert near(light.rises_at, datetime(day.year, day.month, day.day, *rise, tzinfo=UTC))
    assert near(light.sets_at, datetime(day.year, day.month, day.day, *set_, tzinfo=UTC))


@pytest.mark.parametrize(
    ("lat", "lon", "zone"),
    [
        (13.4, 144.8, "Pacific/Guam"),
        (21.3, -157.9, "Pacific/Honolulu"),
        (-43.9, -176.5, "Pacific/Chatham"),
        (1.9, -157.4, "Pacific/Kiritimati"),
        (30.05, -84.15, "America/New_York"),
    ],
)
def test_the_day_is_the_local_one_wherever_the_boat_is(lat: float, lon: float, zone: str) -> None:
    for month in range(1, 13):
        day = date(2026, month, 15)
        light = sunlight(day, lat, lon, zone)
        assert light.rises_at is not None
        assert light.sets_at is not None
        assert light.rises_at.astimezone(ZoneInfo(zone)).date() == day
        assert light.rises_at.utcoffset() == timedelta(0)
        assert timedelta(hours=8) < light.sets_at - light.rises_at < timedelta(hours=16)


@pytest.mark.parametrize("day", [date(2026, 3, 8), date(2026, 11, 1)])
def test_the_nights_of_the_clock_change_move_no_sunrise(day: date) -> None:
    """F9: 23 and 25 hour days. Sunrise moves by about a minute a day in UTC, whatever the clocks do."""
    before = sunlight(day - timedelta(1), 30.05, -84.15, "America/New_York").rises_at
    on = sunlight(day, 30.05, -84.15, "America/New_York").rises_at
    assert before is not None
    assert on is not None
    assert abs(on - before - timedelta(days=1)) < 2 * MINUTE


def test_endless_day_and_endless_night_are_told_apart() -> None:
    utqiagvik = (71.3, -156.8, "America/Anchorage")
    summer = sunlight(date(2026, 6, 21), *utqiagvik)
    assert (summer.rises_at, summer.sets_at, summer.state) == (None, None, "always up")
    winter = sunlight(date(2026, 12, 21), *utqiagvik)
    assert (winter.rises_at, winter.sets_at, winter.state) == (None, None, "always down")


def test_on_the_edge_of_the_endless_day_one_end_is_unknown() -> None:
    light = sunlight(date(2026, 5, 10), 71.3, -156.8, "America/Anchorage")
    assert light.state == "edge of endless day"
    assert light.rises_at is not None
    assert light.sets_at is None


def test_a_sunset_after_midnight_belongs_to_the_day_the_sun_rose() -> None:
    """Nome at midsummer: the local day begins with the sunset of the day before."""
    nome = ZoneInfo("America/Nome")
    light = sunlight(date(2026, 6, 21), 64.5, -165.4, "America/Nome")
    assert light.rises_at is not None
    assert light.sets_at is not None
    assert light.rises_at.astimezone(nome).date() == date(2026, 6, 21)
    assert light.sets_at.astimezone(nome).date() == date(2026, 6, 22)


def test_a_dusk_after_midnight_belongs_to_the_day_whose_sun_has_set() -> None:
    """Kenai at midsummer: the sun sets before midnight, and twilight ends after it."""
    kenai = ZoneInfo("America/Anchorage")
    light = sunlight(date(2026, 6, 21), 60.5, -149.9, "America/Anchorage")
    assert light.sets_at is not None
    assert light.dusk_at is not None
    assert light.sets_at.astimezone(kenai).date() == date(2026, 6, 21)
    assert light.dusk_at.astimezone(kenai).date() == date(2026, 6, 22)
    assert timedelta(hours=2) < light.dusk_at - light.sets_at < timedelta(hours=3)
