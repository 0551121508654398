"""The invented log must be one that the real log takes."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from demo.demo_boat import demo_settings
from demo.season import season_log, told_after_the_trip
from demo.weather import FORTNIGHT

from soakbell.gear.fold import Whereabouts, fold
from soakbell.gear.log_check import check_entries
from soakbell.gear.soak import soak_of
from soakbell.planning.call import StringPull

EVENING = datetime(2026, 12, 7, 23, tzinfo=UTC)


@pytest.fixture(scope="module")
def settings(tmp_path_factory):
    folder: Path = tmp_path_factory.mktemp("boat")
    return demo_settings(folder, services="http://127.0.0.1:1", mail_port=1025, station=FORTNIGHT.station)


@pytest.fixture(scope="module")
def log(settings):
    return season_log(settings.trap_strings, FORTNIGHT.zone_name)


def test_the_log_takes_every_entry(settings, log):
    assert check_entries(log, [], settings.trap_strings, EVENING) == ()


def test_the_log_is_the_same_each_time_and_marked_as_invented(settings, log):
    assert season_log(settings.trap_strings, FORTNIGHT.zone_name) == log
    assert all(entry.note == "invented" for entry in log)


def test_one_trap_is_lost_and_the_rest_soaks_about_a_week(settings, log):
    gear = fold(log, settings.trap_strings)
    assert gear.strings["Outer Bar"].places(Whereabouts.MISSING) == (17,)
    soaks_d = [soak_of(gear, string.name, EVENING).oldest_h / 24 for string in settings.trap_strings]
    assert all(5 <= soak <= 8 for soak in soaks_d)


def test_nothing_is_pulled_before_the_season_opens_or_set_before_it_may_be(log):
    """Opening day 15 October, first setting 5 October: config/fisheries/florida-stone-crab.toml."""
    days = {kind: [e.happened_at.date() for e in log if e.kind == kind] for kind in ("set", "pull")}
    assert f"{min(days['set']):%m-%d}" >= "10-05"
    assert f"{min(days['pull']):%m-%d}" >= "10-15"


def test_a_trip_is_told_as_it_was_called(settings, log):
    arrives = datetime(2026, 12, 8, 12, 28, tzinfo=UTC)
    trip = [StringPull("Ledge", arrives, arrives + timedelta(hours=1), 40, 168.0, 168.0)]
    told = told_after_the_trip(trip, arrives + timedelta(hours=5))
    assert check_entries(told, log, settings.trap_strings, arrives + timedelta(hours=5)) == ()
    gear = fold([*log, *told], settings.trap_strings)
    assert soak_of(gear, "Ledge", arrives + timedelta(hours=24)).oldest_h == pytest.approx(24.0)
    assert told[0].detail.legal_claws > 0


def test_the_settings_are_the_example_boat_on_the_loopback_interface(settings):
    assert settings.boat.name == "Little Grebe"
    assert settings.mail.host == "127.0.0.1"
    assert settings.sources.weather_api == "http://127.0.0.1:1"
    assert settings.database.parent == settings.path.parent
    assert settings.areas[0].station == FORTNIGHT.station
