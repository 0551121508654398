"""The invented payloads must be as good as the public ones: the service's own readers are the judges."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from itertools import pairwise

import pytest
from demo.weather import FORTNIGHT, HOUR, Weather
from demo.zone_bulletin import COLUMNS, zone_bulletin

from demo import payloads
from soakbell.feeds.alerts import parse_alerts
from soakbell.feeds.buoys import latest_of, parse_latest, parse_realtime
from soakbell.feeds.grid import parse_grid
from soakbell.feeds.points import parse_point, parse_zone
from soakbell.feeds.zone_text import parse_zone_text
from soakbell.sea.grid_forecast import holds
from soakbell.sea.grid_hours import hours_of_grid
from soakbell.sea.warnings import in_force
from soakbell.sea.zone_forecast import HeadlineMeaning
from soakbell.sea.zone_hours import hours_of_zone_forecast

WEATHER = Weather(FORTNIGHT)
BEGIN = datetime(2026, 12, 7, 23, tzinfo=UTC)
END = datetime(2026, 12, 22, tzinfo=UTC)
MOMENTS = [BEGIN + n * timedelta(hours=9, minutes=17) for n in range(36)]
ISSUES = WEATHER.issues(END, days_back=14)


def _body(said: payloads.Json) -> bytes:
    return json.dumps(said).encode()


def _bulletin(issued_at: datetime):
    return parse_zone_text(_body(payloads.product(WEATHER, issued_at)))


@pytest.mark.parametrize("issued_at", ISSUES, ids=lambda at: f"{at:%d%H%M}")
def test_every_zone_text_is_understood_to_the_last_word(issued_at):
    bulletin = _bulletin(issued_at)
    assert bulletin.issued_at == issued_at
    (forecast,) = bulletin.for_zone("GMZ730")
    assert [segment.not_understood for segment in bulletin.segments] == [(), ()]
    assert all(headline.meaning is not HeadlineMeaning.NOT_UNDERSTOOD for headline in forecast.headlines)
    assert [(period.label, period.not_understood) for period in forecast.periods if period.not_understood] == []
    assert forecast.periods[0].starts_at <= issued_at
    assert all(one.ends_at == other.starts_at for one, other in pairwise(forecast.periods))


def test_lines_of_the_zone_text_are_as_narrow_as_the_public_ones():
    assert max(len(line) for at in ISSUES for line in zone_bulletin(WEATHER, at).splitlines()) <= COLUMNS


def test_every_zone_text_says_that_it_is_invented():
    assert all("INVENTED DATA" in zone_bulletin(WEATHER, at) for at in ISSUES)


@pytest.mark.parametrize("cell", FORTNIGHT.cells, ids=lambda cell: f"{cell.x},{cell.y}")
def test_every_grid_is_understood_and_lies_where_it_was_asked_for(cell):
    for now in MOMENTS:
        grid = parse_grid(_body(payloads.grid(WEATHER, cell, now)))
        assert grid.faults == ()
        assert holds(grid, cell.lat_deg, cell.lon_deg)
        assert timedelta() <= now - grid.updated_at < HOUR
        hours = hours_of_grid(grid, gives=("wind_kt", "gust_kt", "sea_m"))
        assert (hours.unclear == "").all()
        assert hours.numbers[["wind_kt", "gust_kt", "sea_m"]].notna().all(axis=None)
        assert (hours.numbers["gust_kt"] >= hours.numbers["wind_kt"]).all()


def test_text_and_grid_of_one_issue_tell_of_the_same_weather():
    """Text gives upper ends of half days, so it lies above the grid, but on quiet days never by a large gap."""
    issued_at = datetime(2026, 12, 20, 8, 30, tzinfo=UTC)
    (forecast,) = _bulletin(issued_at).for_zone("GMZ730")
    text = hours_of_zone_forecast(forecast, area=None, chop_m={}).numbers
    grid = parse_grid(_body(payloads.grid(WEATHER, FORTNIGHT.cells[1], issued_at + HOUR)))
    cell = hours_of_grid(grid, gives=("wind_kt", "sea_m")).numbers
    day = text.index[1:10]
    assert (text["wind_kt"][day] >= cell["wind_kt"][day] - 0.6).all()
    assert (text["wind_kt"][day] - cell["wind_kt"][day]).max() <= 10
    assert (text["sea_m"][day] - cell["sea_m"][day]).max() <= 1.0


def test_every_list_of_warnings_is_understood():
    for now in MOMENTS:
        reply = parse_alerts(_body(payloads.alerts(WEATHER, now)))
        assert reply.faults == ()
        assert timedelta() <= now - reply.updated_at < timedelta(minutes=5)
        assert all("INVENTED DATA" in warning.text for warning in reply.warnings)


def test_the_advisory_holds_from_its_message_on_is_extended_and_then_cancelled():
    advisory = FORTNIGHT.advisories[0]

    def held(at: datetime):
        reply = parse_alerts(_body(payloads.alerts(WEATHER, at)))
        return in_force(reply.warnings, ["GMZ730"], at, at + 48 * HOUR)

    issued, extended, cancelled = (advisory.messages[n] for n in (0, 3, -1))
    assert held(issued.sent_at - timedelta(minutes=6)) == ()
    (new,) = held(issued.sent_at + timedelta(minutes=6))
    assert (new.starts_at, new.ends_at) == (issued.begins_at, issued.ends_at)
    (longer,) = held(extended.sent_at + timedelta(minutes=6))
    assert longer.ends_at == extended.ends_at > issued.ends_at
    assert longer.message.message_type == "Update"
    assert new.message.id in longer.message.references
    assert held(cancelled.sent_at + timedelta(minutes=6)) == ()


def test_the_station_measures_the_truth_and_not_the_forecast():
    now = datetime(2026, 12, 9, 15, 20, tzinfo=UTC)
    report = parse_realtime(payloads.realtime(WEATHER, now).encode(), FORTNIGHT.station)
    truth = WEATHER.in_cell(WEATHER.truth(now), FORTNIGHT.cells[0])
    assert report.newest["wind_kt"].value == pytest.approx(truth.wind_kt, abs=2.5)
    assert timedelta(minutes=15) <= now - report.newest["wind_kt"].at < timedelta(minutes=26)
    assert report.newest["sea_m"].at.minute == 0


def test_the_list_of_latest_observations_has_the_station_at_its_place_and_what_it_last_measured():
    now = datetime(2026, 12, 9, 15, 20, tzinfo=UTC)
    listed = latest_of(parse_latest(payloads.latest_observations(WEATHER, now).encode()), FORTNIGHT.station)
    report = parse_realtime(payloads.realtime(WEATHER, now).encode(), FORTNIGHT.station)
    assert (listed.lat_deg, listed.lon_deg) == FORTNIGHT.station_mark
    assert [listed.newest[q] for q in ("wind_kt", "gust_kt")] == [report.newest[q] for q in ("wind_kt", "gust_kt")]


def test_points_and_zone_lead_to_the_cells_of_the_boat():
    for cell in FORTNIGHT.cells:
        point = parse_point(_body(payloads.point(FORTNIGHT, cell, cell.lat_deg, cell.lon_deg)))
        assert point.cell == f"TAE/{cell.x},{cell.y}"
        assert point.forecast_zone == "GMZ730"
        assert point.on_land is False
    assert parse_zone(_body(payloads.zone(FORTNIGHT))).id == "GMZ730"
