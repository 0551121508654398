"""Cells and zones of positions."""

from __future__ import annotations

import copy
import json
from pathlib import Path

import pytest

from soakbell.errors import NotUnderstood
from soakbell.feeds.points import GridPoint, Zone, parse_point, parse_zone

POINT: dict[str, object] = {  # invented position in the public format
    "type": "Feature",
    "geometry": {"type": "Point", "coordinates": [-84.15, 30.05]},
    "properties": {
        "@type": "wx:Point",
        "type": "marine",
        "gridId": "TAE",
        "gridX": 70,
        "gridY": 60,
        "forecastGridData": "https://api.weather.gov/gridpoints/TAE/70,60",
        "forecastZone": "https://api.weather.gov/zones/forecast/GMZ730",
        "county": None,
        "timeZone": "America/New_York",
    },
}
ZONE: dict[str, object] = {  # by the published schema
    "type": "Feature",
    "geometry": None,
    "properties": {
        "@type": "wx:Zone",
        "id": "GMZ730",
        "type": "coastal",
        "name": "Apalachee Bay",
        "state": None,
        "cwa": ["TAE"],
        "timeZone": ["America/New_York"],
    },
}


def changed(reply: dict[str, object], **changes: object) -> bytes:
    reply = copy.deepcopy(reply)
    reply["properties"].update(changes)  # type: ignore[attr-defined]
    return json.dumps(reply).encode()


@pytest.mark.shared
@pytest.mark.parametrize(
    ("file", "expected"),
    [
        (
            "points_13.444,144.778.json",
            GridPoint(13.444, 144.778, "GUM", 47, 48, True, "GUZ001", ("GUZ001", "GUC010"), "Pacific/Guam"),
        ),
        (
            "points_21.305,-157.858.json",
            GridPoint(
                21.305,
                -157.858,
                "HFO",
                154,
                145,
                None,
                "HIZ033",
                ("HIZ033", "HIC003", "HIZ308"),
                "Pacific/Honolulu",
            ),
        ),
    ],
)
def test_captured_positions_are_read_as_read_by_eye(shared: Path, file: str, expected: GridPoint) -> None:
    assert parse_point((shared / "data/weather/points_zones" / file).read_bytes()) == expected


@pytest.mark.shared
def test_a_captured_position_whose_zone_was_edited_away_is_refused(shared: Path) -> None:
    with pytest.raises(NotUnderstood, match="every-alert"):
        parse_point((shared / "data/weather/points_zones/points_37.805,-122.273.json").read_bytes())


def test_a_position_at_sea_has_its_marine_zone_and_no_county() -> None:
    found = parse_point(json.dumps(POINT).encode())
    assert (found.cell, found.forecast_zone, found.zone_ids) == ("TAE/70,60", "GMZ730", ("GMZ730",))
    assert found.on_land is False


@pytest.mark.parametrize(
    "change",
    [
        {"gridId": None},
        {"gridId": "tae"},
        {"gridX": None},
        {"gridX": 7.5},
        {"gridX": 71},
        {"forecastGridData": "https://api.weather.gov/gridpoints/TAE/71,60"},
        {"forecastGridData": None},
        {"forecastZone": "https://api.weather.gov/zones/forecast/"},
        {"forecastZone": 730},
        {"timeZone": None},
        {"timeZone": "EST"},
        {"timeZone": "America/Notch_Creek"},
        {"timeZone": "../../etc/passwd"},
        {"timeZone": "-05:00"},
    ],
)
def test_a_position_that_contradicts_itself_or_lacks_its_cell_is_refused(change: dict[str, object]) -> None:
    """F5: a cell that isn't certain is not used. S9: only IANA names."""
    with pytest.raises(NotUnderstood):
        parse_point(changed(POINT, **change))


@pytest.mark.parametrize(
    "geometry",
    [
        None,
        {"type": "Point"},
        {"type": "Point", "coordinates": [-84.15]},
        {"type": "Point", "coordinates": ["a", 1]},
    ],
)
def test_a_position_without_its_place_is_refused(geometry: object) -> None:
    with pytest.raises(NotUnderstood):
        parse_point(json.dumps(POINT | {"geometry": geometry}).encode())


def test_a_zone_is_read_by_the_published_form() -> None:
    assert parse_zone(json.dumps(ZONE).encode()) == Zone(
        "GMZ730", "coastal", "Apalachee Bay", ("TAE",), ("America/New_York",)
    )


@pytest.mark.parametrize(
    "change",
    [
        {"id": "730"},
        {"id": None},
        {"type": None},
        {"name": ""},
        {"timeZone": "America/New_York"},
        {"timeZone": ["EST"]},
    ],
)
def test_a_zone_of_another_form_is_refused(change: dict[str, object]) -> None:
    with pytest.raises(NotUnderstood):
        parse_zone(changed(ZONE, **change))


def test_a_zone_the_service_does_not_know_is_an_error() -> None:
    """F7: a zone the API doesn't know is an error at set-up."""
    body = {
        "type": "https://api.weather.gov/problems/NotFound",
        "title": "Not Found",
        "status": 404,
        "detail": "No.",
    }
    with pytest.raises(NotUnderstood, match=r"Not Found \(404\)"):
        parse_zone(json.dumps(body).encode())
