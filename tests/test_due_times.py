"""Due times over the nights on which the clocks move (S3)."""

from __future__ import annotations

import zoneinfo
from datetime import UTC, date, datetime, time, timedelta
from importlib.metadata import version
from itertools import pairwise
from pathlib import Path
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import pytest

from soakbell.due_times import due_at, local_day, zone_data_version

ZONES = (
    "America/New_York",
    "America/Los_Angeles",
    "America/Anchorage",
    "America/Halifax",
    "America/St_Johns",
    "Europe/London",
    "America/Havana",
    "Asia/Beirut",
    "Australia/Lord_Howe",
    "Pacific/Honolulu",
)
HALF_HOURS = tuple(time(hour, minute) for hour in range(24) for minute in (0, 30))
MINUTE = timedelta(minutes=1)


def _nights(zone: ZoneInfo) -> list[date]:
    """Local days of 2026 whose length isn't 24 h; where the clocks never move, New York's two."""
    days = []
    for n in range(364):
        day = date(2026, 1, 1) + timedelta(days=n)
        here = datetime(day.year, day.month, day.day, tzinfo=zone).utcoffset()
        ahead = day + timedelta(days=1)
        if here != datetime(ahead.year, ahead.month, ahead.day, tzinfo=zone).utcoffset():
            days.append(day)
    return days or [date(2026, 3, 8), date(2026, 11, 1)]


def _walls(zone: ZoneInfo, day: date) -> list[tuple[datetime, datetime]]:
    """Each minute around ``day``: what the clock on the wall shows, and the moment."""
    start = datetime(day.year, day.month, day.day, tzinfo=UTC) - timedelta(hours=20)
    moments = (start + n * MINUTE for n in range(60 * 66))
    return [(at.astimezone(zone).replace(tzinfo=None), at) for at in moments]


@pytest.mark.parametrize("zone_name", ZONES)
def test_each_half_hour_is_due_once_on_each_day_around_both_nights(zone_name: str) -> None:
    """S3. The truth is found by walking the wall clock: the first minute at or past the due time."""
    zone = ZoneInfo(zone_name)
    nights = _nights(zone)
    assert len(nights) == 2
    for night in nights:
        for day in (night - timedelta(days=1), night, night + timedelta(days=1)):
            walls = _walls(zone, day)
            for local_time in HALF_HOURS:
                target = datetime.combine(day, local_time)
                expected = next(at for wall, at in walls if wall >= target)
                assert due_at(day, local_time, zone_name) == expected, (zone_name, day, local_time)


@pytest.mark.parametrize("zone_name", ZONES)
def test_every_local_date_of_the_year_gets_exactly_one_due_moment(zone_name: str) -> None:
    """S3."""
    zone = ZoneInfo(zone_name)
    days = [date(2026, 1, 1) + timedelta(days=n) for n in range(365)]
    for local_time in (time(0, 0), time(0, 30), time(1, 30), time(2, 30), time(4, 30), time(18, 0)):
        moments = [due_at(day, local_time, zone_name) for day in days]
        assert [at.astimezone(zone).date() for at in moments] == days
        assert all(later > earlier for earlier, later in pairwise(moments))


def test_a_skipped_time_is_due_at_the_first_moment_after_the_gap() -> None:
    """S3. New York, 8 March 2026: 01:59:59 EST is followed by 03:00:00 EDT, which is 07:00 UTC."""
    assert due_at(date(2026, 3, 8), time(2, 30), "America/New_York") == datetime(2026, 3, 8, 7, 0, tzinfo=UTC)


def test_a_repeated_time_is_due_at_its_first_pass() -> None:
    """S3. New York, 1 November 2026: the first 01:30 is EDT (05:30 UTC), the second EST (06:30 UTC)."""
    assert due_at(date(2026, 11, 1), time(1, 30), "America/New_York") == datetime(2026, 11, 1, 5, 30, tzinfo=UTC)


def test_the_morning_letter_keeps_its_wall_time_through_the_year() -> None:
    assert due_at(date(2026, 1, 10), time(4, 30), "America/New_York").hour == 9
    assert due_at(date(2026, 7, 10), time(4, 30), "America/New_York").hour == 8


def test_a_name_that_is_no_zone_is_refused() -> None:
    """S9."""
    with pytest.raises(ZoneInfoNotFoundError):
        due_at(date(2026, 1, 10), time(4, 30), "Notch/Creek")


def test_the_local_day_is_the_harbors_and_not_greenwichs() -> None:
    assert local_day(datetime(2026, 12, 8, 3, 0, tzinfo=UTC), "America/New_York") == date(2026, 12, 7)


def test_the_zone_data_names_its_version(tmp_path: Path) -> None:
    """S9. The computer's own data come first, as for all zone look-ups; without any it is the package's."""
    before = zoneinfo.TZPATH
    try:
        zoneinfo.reset_tzpath([])
        assert zone_data_version() == version("tzdata")
        (tmp_path / "America").mkdir()
        (tmp_path / "America" / "New_York").write_bytes(b"")
        zoneinfo.reset_tzpath([str(tmp_path)])
        assert zone_data_version() == "not told by this system"
        (tmp_path / "tzdata.zi").write_text("# version 2031c\n# redo posix\n")
        assert zone_data_version() == "2031c"
    finally:
        zoneinfo.reset_tzpath(before)
