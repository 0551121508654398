"""The grid forecast, from bytes to hours."""

from __future__ import annotations

import copy
import json
import math
import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import product
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from captured_times import with_real_times
from soakbell.errors import NotUnderstood
from soakbell.feeds.grid import parse_grid
from soakbell.sea.grid_forecast import holds
from soakbell.sea.grid_hours import LAYER_OF, hours_of_grid
from soakbell.sea.sources import QUANTITIES, SourceKind

START = datetime(2026, 12, 8, 6, tzinfo=UTC)
ALL = frozenset(QUANTITIES)
WITHOUT_THUNDER = ALL - {"thunder_pct"}
QUANTITY = {layer: quantity for quantity, layer in LAYER_OF.items()}

CELL: dict[str, object] = {  # invented cell in the public format
    "id": "https://api.weather.gov/gridpoints/TAE/70,60",
    "type": "Feature",
    "geometry": {
        "type": "Polygon",
        "coordinates": [[[-84.16, 30.06], [-84.16, 30.03], [-84.13, 30.03], [-84.13, 30.06], [-84.16, 30.06]]],
    },
    "properties": {
        "updateTime": "2026-12-08T05:40:00+00:00",
        "validTimes": "2026-12-08T06:00:00+00:00/P1D",
        "gridId": "TAE",
        "gridX": 70,
        "gridY": 60,
        "windSpeed": {"uom": "wmoUnit:km_h-1", "values": [["2026-12-08T06:00:00+00:00/P1D", 18.52]]},
        "windGust": {"uom": "wmoUnit:km_h-1", "values": [["2026-12-08T06:00:00+00:00/P1D", 27.78]]},
        "windDirection": {"uom": "wmoUnit:degree_(angle)", "values": [["2026-12-08T06:00:00+00:00/P1D", 45]]},
        "waveHeight": {"uom": "wmoUnit:m", "values": [["2026-12-08T06:00:00+00:00/P1D", 0.6]]},
        "windWaveHeight": {"uom": "wmoUnit:m", "values": [["2026-12-08T06:00:00+00:00/P1D", 0.4]]},
        "primarySwellHeight": {"uom": "wmoUnit:m", "values": [["2026-12-08T06:00:00+00:00/P1D", 0.3]]},
        "wavePeriod": {"uom": "nwsUnit:s", "values": [["2026-12-08T06:00:00+00:00/P1D", 4]]},
        "probabilityOfThunder": {"values": [["2026-12-08T06:00:00+00:00/P1D", 5]]},
        "visibility": {"uom": "wmoUnit:m", "values": [["2026-12-08T06:00:00+00:00/P1D", 16093.44]]},
        "weather": {"values": [["2026-12-08T06:00:00+00:00/P1D", [{"coverage": None, "weather": None}]]]},
        "hazards": {"values": []},
    },
}


def cell(**layers: object) -> bytes:
    """The invented cell; a layer given as a list of (validTime, value) keeps its unit, None takes it away."""
    reply = copy.deepcopy(CELL)
    properties: dict = reply["properties"]  # type: ignore[assignment]
    for name, given_ in layers.items():
        if given_ is None:
            properties.pop(name, None)
        elif isinstance(given_, list):
            properties[name] = {**properties.get(name, {}), "values": given_}
        else:
            properties[name] = given_
    for layer in properties.values():
        if isinstance(layer, dict) and isinstance(layer.get("values"), list):
            layer["values"] = [
                {"validTime": v[0], "value": v[1]} if isinstance(v, list | tuple) else v for v in layer["values"]
            ]
    return json.dumps(reply).encode()


def hours(body: bytes, gives: frozenset[str] = ALL):
    return hours_of_grid(parse_grid(body), gives=gives)


def at(day: int, hour: int) -> pd.Timestamp:
    return pd.Timestamp(datetime(2022, 2, day, hour, tzinfo=UTC))


# the captured cell of the Big Bend


@pytest.fixture(scope="module")
def big_bend(shared: Path) -> bytes:
    return (shared / "data/weather/gridpoints/gridpoints_TAE_58,65.json").read_bytes()


@pytest.mark.shared
def test_the_captured_cell_gives_the_numbers_read_by_eye(big_bend: bytes) -> None:
    source = hours(big_bend)
    assert (source.kind, source.key) == (SourceKind.GRID, "TAE/58,65")
    assert source.issued_at == datetime(2022, 2, 4, 3, 15, 41, tzinfo=UTC)
    assert source.expires_at == datetime(2022, 2, 11, 11, tzinfo=UTC)
    assert (source.numbers.index[0], source.numbers.index[-1]) == (at(3, 21), at(11, 10))
    n = source.numbers
    # 20.372 km/h is 11 kt, 29.632 is 16 kt, 18.52 is 10 kt, 1.852 is 1 kt
    assert n.loc[at(3, 21), "wind_kt"] == pytest.approx(11.0)
    assert n.loc[at(3, 22), "wind_kt"] == pytest.approx(11.0)  # PT2H
    assert n.loc[at(3, 23), "wind_kt"] == pytest.approx(9.0)  # 16.668
    assert n.loc[at(5, 14), "wind_kt"] == pytest.approx(10.0)
    assert n.loc[at(5, 16), "wind_kt"] == pytest.approx(10.0)
    assert n.loc[at(5, 17), "wind_kt"] == pytest.approx(9.0)
    assert n.loc[at(5, 14), "gust_kt"] == pytest.approx(15.0)  # 27.78
    assert n.loc[at(3, 21), "gust_kt"] == pytest.approx(16.0)
    assert n.loc[at(11, 9), "wind_kt"] == pytest.approx(1.0)
    assert math.isnan(n.loc[at(11, 10), "wind_kt"])  # its layer ends an hour before validTimes does
    assert n.loc[at(3, 21), "wind_from_deg"] == 160.0
    assert n.loc[at(5, 11), "wind_from_deg"] == 0.0
    assert n.loc[at(3, 21), "visibility_nm"] == pytest.approx(16093.44 / 1852)
    assert n.loc[at(4, 14), "visibility_nm"] == pytest.approx(5552.2368 / 1852)
    assert math.isnan(n.loc[at(5, 10), "visibility_nm"])  # its layer ends on the second day


@pytest.mark.shared
def test_a_sea_of_one_nought_over_the_whole_week_is_no_forecast(big_bend: bytes) -> None:
    """F6: a constant 0 is no opinion."""
    source = hours(big_bend)
    assert source.numbers["sea_m"].isna().all()
    assert source.numbers["period_s"].isna().all()
    assert not source.whole[["sea_m", "period_s"]].to_numpy().any()
    assert "0 from end to end" in source.notes["sea_m"]


@pytest.mark.shared
def test_an_empty_thunder_layer_is_a_hole_where_it_is_declared_and_words_tighten_where_it_is_not(
    big_bend: bytes,
) -> None:
    """Words milder than the layer that was lost must not stand in for it."""
    assert hours(big_bend).numbers["thunder_pct"].isna().all()
    undeclared = hours(big_bend, WITHOUT_THUNDER)
    assert not undeclared.whole["thunder_pct"].any()
    thunder = undeclared.numbers["thunder_pct"]
    assert thunder[at(3, 21)] == 0.0
    assert thunder[at(4, 6)] == 24.0  # isolated thunderstorms
    assert thunder[at(4, 23)] == 24.0
    assert thunder[at(5, 0)] == 0.0  # rain showers alone
    assert thunder[at(11, 10)] == 0.0


@pytest.mark.shared
def test_the_captured_cell_holds_its_own_middle_and_not_the_bay(big_bend: bytes) -> None:
    """F5: a cell is refused for a point it doesn't hold."""
    grid = parse_grid(big_bend)
    assert holds(grid, 30.0195, -84.9803)
    assert not holds(grid, 30.05, -84.15)
    assert not holds(grid, 29.995, -84.956)  # the next cell's middle


@pytest.mark.parametrize(("beyond_m", "held"), [(-1500, True), (50, True), (60, False), (2000, False)])
def test_a_cell_holds_what_lies_half_a_hundred_metres_past_its_edges_and_no_more(
    beyond_m: float, held: bool
) -> None:
    """A degree of latitude is 60 nautical miles of 1852 m."""
    grid, beyond_deg = parse_grid(cell()), beyond_m / (60 * 1852)
    for lat, lon in ((30.06 + beyond_deg, -84.145), (30.045, -84.16 - beyond_deg), (30.045, -84.13 + beyond_deg)):
        assert holds(grid, lat, lon) == held


def test_slanting_edges_of_a_cell_part_what_it_holds_from_what_lies_beside_it() -> None:
    """A diamond around 30 N 84 W: its edges lie where the distances in degrees add up to a tenth."""
    diamond = ((-84.0, 30.1), (-83.9, 30.0), (-84.0, 29.9), (-84.1, 30.0))
    grid = replace(parse_grid(cell()), geometry=(diamond,))
    for east, north in product(range(-11, 12, 2), range(-10, 11, 4)):
        assert holds(grid, 30 + north / 100, -84 + east / 100) == (abs(east) + abs(north) < 10), (east, north)


def test_a_cell_of_no_ground_holds_no_place_and_none_holds_an_unknown_one() -> None:
    grid = parse_grid(cell())
    assert not holds(replace(grid, geometry=()), 30.045, -84.145)
    for lat, lon in ((math.nan, -84.145), (30.045, math.nan)):
        assert not holds(grid, lat, lon)


@pytest.mark.shared
def test_times_given_as_tokens_are_refused(shared: Path) -> None:
    files = sorted((shared / "data/weather/gridpoints").glob("gridpoints_*__*.json"))
    assert len(files) == 7
    for file in files:
        with pytest.raises(NotUnderstood):
            parse_grid(file.read_bytes())


@pytest.mark.shared
def test_every_captured_cell_is_read_once_its_times_are_real(shared: Path) -> None:
    """F6: none of the captured shore cells gives a sea."""
    for file in sorted((shared / "data/weather/gridpoints").glob("gridpoints_*__*.json")):
        source = hours(
            with_real_times(file.read_bytes(), whole_hours=True), frozenset(QUANTITIES) - {"visibility_nm"}
        )
        assert source.numbers["sea_m"].isna().all(), file.name
        # one capture kept its real validTimes beside replaced layer times, so all of it lies outside
        assert source.numbers["wind_kt"].notna().any() != ("BMX" in file.name), file.name


@pytest.mark.shared
def test_the_hazard_layer_is_handed_on_as_data(shared: Path) -> None:
    file = shared / "data/weather/gridpoints/gridpoints_AFG_492,119__testing.json"
    reply = json.loads(with_real_times(file.read_bytes(), whole_hours=True))
    sent = [v for v in reply["properties"]["hazards"]["values"] if v["value"]]
    grid = parse_grid(json.dumps(reply).encode())
    assert len(grid.hazards) == sum(len(v["value"]) for v in sent)


@pytest.mark.shared
def test_the_worded_forecast_of_a_cell_is_not_taken_for_its_grid(shared: Path) -> None:
    """F6: never /forecast."""
    for name in ("gridpoints_forecast_us.json", "gridpoints_forecast_empty_us.json"):
        with pytest.raises(NotUnderstood, match="raw grid forecast"):
            parse_grid((shared / "data/weather/gridpoints" / name).read_bytes())


# units


def test_the_invented_cell_gives_a_number_for_every_quantity() -> None:
    source = hours(cell())
    assert source.numbers.shape == (24, len(QUANTITIES))
    first = source.numbers.iloc[0]
    assert first["wind_kt"] == pytest.approx(10.0)
    assert first["gust_kt"] == pytest.approx(15.0)
    assert first["wind_from_deg"] == 45.0
    assert first["sea_m"] == 0.6  # the whole sea, not its wind waves or swell
    assert first["period_s"] == 4.0
    assert first["thunder_pct"] == 5.0
    assert first["visibility_nm"] == pytest.approx(8.6898, abs=1e-4)  # 10 statute miles
    assert source.whole.to_numpy().all()
    assert (source.unclear == "").all()


@pytest.mark.parametrize(
    ("layer", "uom", "value", "quantity", "expected"),
    [
        ("windSpeed", "wmoUnit:km_h-1", 20.372, "wind_kt", 11.0),
        ("windSpeed", "wmoUnit:m_s-1", 5.144444, "wind_kt", 10.0),
        ("windSpeed", "wmoUnit:kt", 10, "wind_kt", 10.0),
        ("waveHeight", "wmoUnit:m", 1.2, "sea_m", 1.2),
        ("waveHeight", "wmoUnit:ft", 4, "sea_m", 1.2192),
        ("wavePeriod", "nwsUnit:s", 5, "period_s", 5.0),
        ("wavePeriod", "wmoUnit:s", 5, "period_s", 5.0),
        ("visibility", "wmoUnit:m", 1852, "visibility_nm", 1.0),
        ("visibility", "wmoUnit:km", 1.852, "visibility_nm", 1.0),
        ("probabilityOfThunder", "wmoUnit:percent", 31, "thunder_pct", 31.0),
        ("windDirection", "wmoUnit:degree_(angle)", 350, "wind_from_deg", 350.0),
    ],
)
def test_units_are_read_from_the_layer(layer: str, uom: str, value: float, quantity: str, expected: float) -> None:
    body = cell(**{layer: {"uom": uom, "values": [["2026-12-08T06:00:00+00:00/P1D", value]]}})
    assert hours(body).numbers[quantity].iloc[5] == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize("uom", ["wmoUnit:furlong", "km/h", "", None, 5, ["wmoUnit:km_h-1"]])
@pytest.mark.parametrize("layer", ["windSpeed", "windGust", "waveHeight", "wavePeriod", "visibility"])
def test_a_unit_that_is_not_known_is_never_assumed(layer: str, uom: object) -> None:
    body = cell(**{layer: {"uom": uom, "values": [["2026-12-08T06:00:00+00:00/P1D", 3.0]]}})
    source = hours(body)
    quantity = QUANTITY[layer]
    assert source.numbers[quantity].isna().all()
    assert not source.whole[quantity].any()
    assert source.unclear.str.contains("unit").all()
    assert layer in parse_grid(body).faults[0]


def test_a_layer_that_lost_its_unit_with_its_values_is_only_empty() -> None:
    source = hours(cell(visibility={"values": []}))
    assert source.numbers["visibility_nm"].isna().all()
    assert (source.unclear == "").all()
    assert "empty" in source.notes["visibility_nm"]


def test_thunder_without_a_unit_is_taken_in_whole_percents_only() -> None:
    """Captured thunder layers carry no unit; a fraction of one would read as next to nothing."""
    body = cell(
        probabilityOfThunder=[["2026-12-08T06:00:00+00:00/PT12H", 60], ["2026-12-08T18:00:00+00:00/PT12H", 0.6]]
    )
    source = hours(body)
    assert source.numbers["thunder_pct"].iloc[0] == 60.0
    assert math.isnan(source.numbers["thunder_pct"].iloc[12])
    assert "probabilityOfThunder" in source.unclear.iloc[12]


# holes, ends and overlaps


def test_a_null_stays_a_hole() -> None:
    body = cell(
        windSpeed=[
            ["2026-12-08T06:00:00+00:00/PT3H", 18.52],
            ["2026-12-08T09:00:00+00:00/PT2H", None],
            ["2026-12-08T11:00:00+00:00/PT19H", 18.52],
        ]
    )
    source = hours(body)
    assert np.flatnonzero(source.numbers["wind_kt"].isna()).tolist() == [3, 4]
    assert np.flatnonzero(~source.whole["wind_kt"]).tolist() == [3, 4]


def test_a_layer_may_end_before_the_others_and_before_its_validity() -> None:
    source = hours(cell(waveHeight=[["2026-12-08T06:00:00+00:00/PT10H", 0.6]]))
    assert source.numbers["sea_m"].notna().sum() == 10
    assert source.numbers["sea_m"].iloc[10:].isna().all()
    assert source.numbers["wind_kt"].notna().all()


def test_a_gap_between_intervals_stays_a_hole() -> None:
    body = cell(waveHeight=[["2026-12-08T06:00:00+00:00/PT2H", 0.6], ["2026-12-08T10:00:00+00:00/PT2H", 0.6]])
    assert hours(body).numbers["sea_m"].iloc[2:4].isna().all()


def test_what_lies_outside_the_validity_is_not_used() -> None:
    body = cell(waveHeight=[["2026-12-08T03:00:00+00:00/PT6H", 0.6], ["2026-12-09T05:00:00+00:00/P3D", 0.9]])
    sea = hours(body).numbers["sea_m"]
    assert sea.notna().sum() == 4
    assert (len(sea), sea.iloc[-1]) == (24, 0.9)


def test_overlapping_intervals_give_the_worst() -> None:
    body = cell(
        windSpeed=[["2026-12-08T06:00:00+00:00/P1D", 18.52], ["2026-12-08T08:00:00+00:00/PT2H", 37.04]],
        visibility=[["2026-12-08T06:00:00+00:00/P1D", 18520], ["2026-12-08T08:00:00+00:00/PT2H", 1852]],
        wavePeriod=[["2026-12-08T06:00:00+00:00/P1D", 6], ["2026-12-08T08:00:00+00:00/PT2H", 3]],
    )
    numbers = hours(body).numbers
    assert numbers["wind_kt"].iloc[1:5].tolist() == pytest.approx([10, 20, 20, 10])
    assert numbers["visibility_nm"].iloc[1:5].tolist() == pytest.approx([10, 1, 1, 10])
    assert numbers["period_s"].iloc[1:5].tolist() == [6, 3, 3, 6]


def test_an_hour_that_two_intervals_share_takes_the_worst() -> None:
    body = cell(
        windSpeed=[["2026-12-08T06:00:00+00:00/PT2H30M", 18.52], ["2026-12-08T08:30:00+00:00/PT21H30M", 37.04]]
    )
    source = hours(body)
    assert source.numbers["wind_kt"].iloc[1:4].tolist() == pytest.approx([10, 20, 20])
    assert source.whole["wind_kt"].iloc[:23].all()


def test_half_an_hour_given_is_no_hour_known() -> None:
    source = hours(cell(windSpeed=[["2026-12-08T06:30:00+00:00/PT23H30M", 18.52]]))
    assert source.numbers["wind_kt"].iloc[0] == pytest.approx(10.0)
    assert not source.whole["wind_kt"].iloc[0]
    assert "part of the hour" in source.unclear.loc[source.numbers.index[0]]
    assert (source.unclear.iloc[1:] == "").all()


def test_two_wind_directions_in_one_hour_give_neither() -> None:
    body = cell(
        windDirection=[["2026-12-08T06:00:00+00:00/PT90M", 350], ["2026-12-08T07:30:00+00:00/PT22H30M", 10]]
    )
    source = hours(body)
    assert math.isnan(source.numbers["wind_from_deg"].iloc[1])
    assert source.numbers["wind_from_deg"].iloc[[0, 2]].tolist() == [350, 10]
    assert (source.unclear == "").all()


def test_hours_follow_utc_through_both_nights_of_the_clock_change() -> None:
    """F9: 23 and 25 hour days are 24 rows of UTC like any other."""
    for day, offset in (("2026-03-08", "-05:00"), ("2026-11-01", "-04:00")):
        body = json.loads(cell(windSpeed=[[f"{day}T00:00:00{offset}/P1D", 18.52]]))
        body["properties"]["validTimes"] = f"{day}T00:00:00{offset}/P1D"
        wind = hours(json.dumps(body).encode()).numbers["wind_kt"]
        assert wind.notna().sum() == 24
        assert (wind.index[1:] - wind.index[:-1] == pd.Timedelta(hours=1)).all()


@pytest.mark.shared
@pytest.mark.parametrize("first", ["2026-03-06T21:00:00+00:00", "2026-10-30T21:00:00+00:00"])
def test_the_captured_cell_gives_the_same_hours_over_both_nights_of_the_clock_change(
    big_bend: bytes, first: str
) -> None:
    """F9: moved to another week, each time written with the offset that the harbor's clock has then."""
    move = datetime.fromisoformat(first) - datetime(2022, 2, 3, 21, tzinfo=UTC)

    def moved(found: re.Match[str]) -> str:
        return (datetime.fromisoformat(found[0]) + move).astimezone(ZoneInfo("America/New_York")).isoformat()

    body = re.sub(r"2022-\d\d-\d\dT\d\d:\d\d:\d\d\+00:00", moved, big_bend.decode())
    assert "-05:00" in body
    assert "-04:00" in body
    there, here = hours(body.encode()).numbers, hours(big_bend).numbers
    assert there.index.tolist() == (here.index + move).tolist()
    np.testing.assert_array_equal(there.to_numpy(), here.to_numpy())


@pytest.mark.parametrize("layer", ["windSpeed", "windGust", "waveHeight", "wavePeriod"])
def test_nought_from_end_to_end_is_no_forecast(layer: str) -> None:
    """F6, in any number of intervals."""
    quantity = QUANTITY[layer]
    body = cell(
        **{
            layer: [
                ["2026-12-08T06:00:00+00:00/PT6H", 0],
                ["2026-12-08T12:00:00+00:00/PT6H", None],
                ["2026-12-08T18:00:00+00:00/PT12H", 0.0],
            ]
        }
    )
    source = hours(body)
    assert source.numbers[quantity].isna().all()
    assert "no forecast" in source.notes[quantity]


def test_no_thunder_from_end_to_end_is_a_forecast() -> None:
    source = hours(cell(probabilityOfThunder=[["2026-12-08T06:00:00+00:00/P1D", 0]], weather=None))
    assert (source.numbers["thunder_pct"] == 0).all()
    assert source.whole["thunder_pct"].all()


def test_a_calm_hour_among_others_stays_a_calm_hour() -> None:
    body = cell(windSpeed=[["2026-12-08T06:00:00+00:00/PT6H", 0], ["2026-12-08T12:00:00+00:00/PT18H", 18.52]])
    assert hours(body).numbers["wind_kt"].iloc[0] == 0.0


def test_a_missing_layer_is_never_read_as_calm() -> None:
    for quantity, layer in (
        ("wind_kt", "windSpeed"),
        ("sea_m", "waveHeight"),
        ("thunder_pct", "probabilityOfThunder"),
    ):
        source = hours(cell(**{layer: None}))
        assert source.numbers[quantity].isna().all()
        assert not source.whole[quantity].any()
        assert "no" in source.notes[quantity]


def test_wind_waves_and_swell_alone_are_no_sea() -> None:
    source = hours(cell(waveHeight=None))
    assert source.numbers["sea_m"].isna().all()


@pytest.mark.parametrize(
    "value",
    [-1, -0.1, 500, 1e9, "12", "NaN", "", True, False, [3], {"value": 3}],
)
@pytest.mark.parametrize("layer", ["windSpeed", "windGust", "waveHeight"])
def test_a_number_that_cannot_be_right_makes_its_own_hours_unclear(layer: str, value: object) -> None:
    body = cell(
        **{layer: [["2026-12-08T06:00:00+00:00/PT2H", value], ["2026-12-08T08:00:00+00:00/PT22H", 1.852]]},
    )
    source = hours(body)
    quantity = QUANTITY[layer]
    assert source.numbers[quantity].iloc[:2].isna().all()
    assert source.unclear.iloc[:2].str.contains(layer).all()
    assert (source.unclear.iloc[2:] == "").all()
    assert source.numbers[quantity].iloc[2:].notna().all()


def test_the_highest_believed_wind_is_250_kt_and_sea_40_m() -> None:
    """The brief's own bounds; the highest gust on record is 220 kt (WMO, Barrow Island 1996)."""
    kept = hours(cell(windSpeed=[["2026-12-08T06:00:00+00:00/P1D", 250 * 1.852]]))
    assert kept.numbers["wind_kt"].iloc[0] == pytest.approx(250)
    refused = hours(cell(windSpeed=[["2026-12-08T06:00:00+00:00/P1D", 251 * 1.852]]))
    assert (refused.unclear != "").all()
    assert (hours(cell(waveHeight=[["2026-12-08T06:00:00+00:00/P1D", 40.1]])).unclear != "").all()


# what the settings ask of the cell


def test_only_what_the_cell_is_said_to_give_may_carry_and_the_rest_is_read_all_the_same() -> None:
    source = hours(cell(), frozenset({"wind_kt", "gust_kt"}))
    assert source.whole[["wind_kt", "gust_kt"]].to_numpy().all()
    rest = ["sea_m", "period_s", "thunder_pct", "visibility_nm"]
    assert source.numbers[rest].notna().to_numpy().all()
    assert not source.whole[rest].to_numpy().any()
    assert source.numbers["wind_from_deg"].isna().all()  # it can't tighten


def test_what_is_not_understood_in_a_layer_not_declared_counts_only_where_every_boat_has_a_limit() -> None:
    """Else a unit that is new in a layer of no concern would leave a boat without a call for good."""
    told = {"uom": "wmoUnit:furlong", "values": [["2026-12-08T06:00:00+00:00/P1D", 3.0]]}
    assert (hours(cell(visibility=told), frozenset({"wind_kt"})).unclear == "").all()
    assert (hours(cell(waveHeight=told), frozenset({"wind_kt"})).unclear != "").all()


@pytest.mark.parametrize("gives", [ALL, frozenset({"thunder_pct"})], ids=["declared", "not declared"])
@pytest.mark.parametrize("layer", ["windSpeed", "windGust", "waveHeight"])
def test_what_is_not_understood_amid_noughts_still_makes_its_hours_unclear(
    layer: str, gives: frozenset[str]
) -> None:
    values = [["2026-12-08T06:00:00+00:00/PT2H", "12"], ["2026-12-08T08:00:00+00:00/PT22H", 0]]
    assert hours(cell(**{layer: values}), gives).unclear.iloc[:2].str.contains(layer).all()


def test_a_layer_not_declared_that_is_lost_is_not_told() -> None:
    for waves in ([], [["2026-12-08T06:20:00+00:00/PT30M", 0.5]], [["2026-12-08T06:00:00+00:00/P1D", None]]):
        source = hours(cell(waveHeight=waves), frozenset({"wind_kt"}))
        assert (source.unclear == "").all()
        assert source.notes == {}


def test_a_sea_of_nought_in_some_hours_carries_nothing() -> None:
    """F6: hours that nobody filled, beside others that somebody did."""
    waves = [["2026-12-08T06:00:00+00:00/PT6H", 0], ["2026-12-08T12:00:00+00:00/PT18H", 0.4]]
    source = hours(cell(waveHeight=waves))
    assert source.whole["sea_m"].tolist() == [False] * 6 + [True] * 18
    assert source.numbers["sea_m"].tolist() == [0.0] * 6 + [0.4] * 18


def test_waves_of_no_period_are_no_waves_in_the_hours_that_say_so() -> None:
    periods = [["2026-12-08T06:00:00+00:00/PT6H", 0], ["2026-12-08T12:00:00+00:00/PT18H", 4]]
    source = hours(cell(wavePeriod=periods))
    assert source.whole["period_s"].tolist() == [False] * 6 + [True] * 18
    assert source.numbers["period_s"].isna().tolist() == [True] * 6 + [False] * 18


def test_a_quantity_that_does_not_exist_is_a_fault_of_the_caller() -> None:
    with pytest.raises(ValueError, match="tide_m"):
        hours(cell(), frozenset({"tide_m"}))


# weather words and hazards


@pytest.mark.parametrize(
    ("coverage", "pct"),
    [
        ("slight_chance", 24),
        ("isolated", 24),
        ("chance", 54),
        ("scattered", 54),
        ("likely", 74),
        ("numerous", 74),
        ("definite", 100),
        ("widespread", 100),
        ("areas", 100),
        ("patchy", 100),
        (None, 100),
        ("a new word", 100),
        (3, 100),
    ],
)
def test_thunder_words_stand_for_their_upper_end(coverage: object, pct: float) -> None:
    item = {"coverage": coverage, "weather": "thunderstorms"}
    body = cell(
        probabilityOfThunder=[],
        weather=[["2026-12-08T06:00:00+00:00/P1D", [{"coverage": "likely", "weather": "rain"}, item]]],
    )
    assert hours(body, WITHOUT_THUNDER).numbers["thunder_pct"].iloc[0] == pct


def test_words_raise_what_the_thunder_layer_says_and_never_lower_it() -> None:
    words = [["2026-12-08T06:00:00+00:00/P1D", [{"coverage": "scattered", "weather": "thunderstorms"}]]]
    for layer, pct in ((20, 54.0), (80, 80.0)):
        body = cell(probabilityOfThunder=[["2026-12-08T06:00:00+00:00/P1D", layer]], weather=words)
        assert hours(body).numbers["thunder_pct"].iloc[0] == pct


def test_a_waterspout_counts_as_thunder() -> None:
    body = cell(
        probabilityOfThunder=[],
        weather=[["2026-12-08T06:00:00+00:00/P1D", [{"coverage": "scattered", "weather": "water_spouts"}]]],
    )
    assert hours(body, WITHOUT_THUNDER).numbers["thunder_pct"].iloc[0] == 54.0


@pytest.mark.parametrize(
    "value",
    [
        [{"coverage": "likely", "weather": "meteors"}],
        [{"coverage": "likely", "weather": {"unitCode": "wmoUnit:km"}}],
        [{"coverage": "likely"}],
        ["thunderstorms"],
        "thunder",
        7,
        {},
    ],
)
def test_weather_that_is_not_understood_is_never_read_as_no_thunder(value: object) -> None:
    body = cell(probabilityOfThunder=[], weather=[["2026-12-08T06:00:00+00:00/P1D", value]])
    source = hours(body)
    assert source.numbers["thunder_pct"].isna().all()
    assert (source.unclear != "").all()


@pytest.mark.parametrize("value", [None, []])
def test_no_weather_said_is_not_good_weather(value: object) -> None:
    body = cell(probabilityOfThunder=[], weather=[["2026-12-08T06:00:00+00:00/P1D", value]])
    assert hours(body).numbers["thunder_pct"].isna().all()


def test_hazards_carry_their_code_and_times() -> None:
    body = cell(
        hazards=[
            ["2026-12-08T12:00:00+00:00/P1DT3H", [{"phenomenon": "SC", "significance": "Y", "event_number": 7}]],
            ["2026-12-09T15:00:00+00:00/PT3H", []],
        ]
    )
    (hazard,) = parse_grid(body).hazards
    assert (hazard.phenomenon, hazard.significance, hazard.number) == ("SC", "Y", 7)
    assert (hazard.starts_at, hazard.ends_at) == (
        datetime(2026, 12, 8, 12, tzinfo=UTC),
        datetime(2026, 12, 9, 15, tzinfo=UTC),
    )


@pytest.mark.parametrize(
    "value", ["SC.Y", [7], [{"phenomenon": "SC"}], [{"phenomenon": "", "significance": "Y"}], 3]
)
def test_a_hazard_that_cannot_be_read_is_never_dropped(value: object) -> None:
    with pytest.raises(NotUnderstood, match="hazards"):
        parse_grid(cell(hazards=[["2026-12-08T12:00:00+00:00/PT3H", value]]))


def test_a_grid_without_its_hazard_layer_is_not_whole() -> None:
    with pytest.raises(NotUnderstood, match="hazards"):
        parse_grid(cell(hazards=None))


# replies that are refused as a whole


@pytest.mark.parametrize(
    "change",
    [
        {"validTimes": None},
        {"validTimes": "NOW"},
        {"validTimes": "2026-12-08T06:00:00+00:00/P900D"},
        {"updateTime": None},
        {"updateTime": "date:now -4056 seconds"},
        {"updateTime": "2026-12-08T05:40:00"},
        {"gridId": ""},
        {"gridId": 5},
        {"gridX": "seventy"},
        {"gridX": True},
        {"windSpeed": "none"},
        {"windSpeed": {"uom": "wmoUnit:km_h-1"}},
        {"windSpeed": {"uom": "wmoUnit:km_h-1", "values": {}}},
        {"windSpeed": [["date:now -25680 seconds / PT1H", 3.0]]},
        {"windSpeed": [["2026-12-08T06:00:00/PT1H", 3.0]]},
        {"windSpeed": [{"validTime": "2026-12-08T06:00:00+00:00/PT1H"}]},
        {"windSpeed": [7]},
    ],
)
def test_a_reply_whose_frame_cannot_be_read_is_refused(change: dict[str, object]) -> None:
    with pytest.raises(NotUnderstood):
        parse_grid(cell(**change))


def test_a_reply_that_draws_no_ground_holds_no_point() -> None:
    reply = json.loads(cell())
    reply["geometry"] = None
    assert not holds(parse_grid(json.dumps(reply).encode()), 30.05, -84.15)


@pytest.mark.parametrize(
    "geometry",
    [
        {"type": "Point", "coordinates": [-84.1, 30.0]},
        {"type": "Polygon", "coordinates": [[[-84.1, 30.0]]]},
        {"type": "Polygon", "coordinates": [[["a", 1], [1, 1], [1, 2], [0, 0]]]},
        {"type": "Polygon", "coordinates": [[[-84.1, 130.0], [1, 1], [1, 2], [0, 0]]]},
        {"type": "Polygon"},
        "here",
    ],
)
def test_ground_of_another_form_is_refused(geometry: object) -> None:
    reply = json.loads(cell())
    reply["geometry"] = geometry
    with pytest.raises(NotUnderstood, match="geometry"):
        parse_grid(json.dumps(reply).encode())


def test_a_point_on_the_edge_is_held_and_one_beyond_is_not() -> None:
    grid = parse_grid(cell())
    assert holds(grid, 30.045, -84.145)
    assert holds(grid, 30.06, -84.145)
    assert holds(grid, 30.0604, -84.145)  # 44 m
    assert not holds(grid, 30.061, -84.145)
    assert not holds(grid, math.nan, -84.145)


# properties

SPANS = st.tuples(
    st.integers(-120, 1500), st.integers(1, 900), st.one_of(st.none(), st.floats(0, 60, width=32))
)  # minutes from the start, length, km/h


def written(spans: list[tuple[int, int, float | None]]) -> list[list[object]]:
    return [[f"{(START + timedelta(minutes=b)).isoformat()}/PT{n}M", v] for b, n, v in spans]


@settings(max_examples=150, deadline=None)
@given(st.lists(SPANS, min_size=1, max_size=8))
def test_each_hour_is_the_worst_of_what_touches_it_or_a_hole(spans: list[tuple[int, int, float | None]]) -> None:
    source = hours(cell(windSpeed=written(spans)), frozenset({"wind_kt"}))
    wind = source.numbers["wind_kt"].to_numpy()
    if not any(v for _, _, v in spans):
        assert np.isnan(wind).all()
        return
    for hour in range(24):
        touching = [v for b, n, v in spans if v is not None and b < 60 * hour + 60 and b + n > 60 * hour]
        if touching:
            assert wind[hour] == pytest.approx(max(touching) / 1.852)
        else:
            assert np.isnan(wind[hour])
        minutes = range(60 * hour, 60 * hour + 60)
        known = all(
            any(v is not None and b <= m < b + n for b, n, v in spans)
            and not any(v is None and b <= m < b + n for b, n, v in spans)
            for m in minutes
        )
        assert source.whole["wind_kt"].iloc[hour] == known
        assert (source.unclear.iloc[hour] != "") == (bool(touching) and not known)


@settings(max_examples=60, deadline=None)
@given(st.lists(SPANS, min_size=2, max_size=8), st.data())
def test_taking_an_interval_away_never_makes_an_hour_more_known(
    spans: list[tuple[int, int, float | None]], data: st.DataObject
) -> None:
    """A6. A null laid over a number is left out: taking the null away does make the number known again."""
    spans = [(b, n, v) for b, n, v in spans if v is not None]
    if len(spans) < 2:
        return
    gone = data.draw(st.integers(0, len(spans) - 1))
    fuller = hours(cell(windSpeed=written(spans)), frozenset({"wind_kt"}))
    emptier = hours(cell(windSpeed=written(spans[:gone] + spans[gone + 1 :])), frozenset({"wind_kt"}))
    assert not (emptier.whole["wind_kt"] & ~fuller.whole["wind_kt"]).any()


@settings(max_examples=100, deadline=None)
@given(st.integers(0, 10_000), st.integers(0, 255))
def test_a_reply_with_one_byte_changed_is_read_or_refused_and_never_breaks(where: int, byte: int) -> None:
    body = bytearray(cell())
    body[where % len(body)] = byte
    try:
        source = hours(bytes(body))
    except NotUnderstood:
        return
    wind = source.numbers["wind_kt"].dropna()
    assert ((wind >= 0) & (wind <= 250)).all()
