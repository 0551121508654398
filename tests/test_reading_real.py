"""What is told of the captured public payloads. Expected numbers were read from the files by eye or counted."""

from __future__ import annotations

import json
import re
from collections import Counter
from pathlib import Path

import pytest

from captured_times import with_real_times
from soakbell.feeds.detect import PayloadKind as Kind
from soakbell.reading import NOT_USED, WIDTH, Understood, as_json, as_text, understand

pytestmark = pytest.mark.shared

REFUSED_AS_THEY_ARE = {"README.md", "problem_500_16c91526.json", "problem_500_6b72acc.json"}
A_LINK_WAS_EDITED = "points_37.805,-122.273.json"


def files(shared: Path) -> list[Path]:
    return [file for file in sorted((shared / "data/weather").rglob("*")) if file.is_file()]


def read(shared: Path, name: str, *, times: bool = False) -> Understood:
    """One file; ``times``: with tokens turned into times."""
    body = (shared / "data/weather" / name).read_bytes()
    return understand(with_real_times(body, whole_hours=True) if times else body, name)


def test_every_captured_file_is_told_as_what_it_is(shared: Path) -> None:
    found = [understand(with_real_times(f.read_bytes(), whole_hours=True), f.name) for f in files(shared)]
    assert {u.name for u in found if u.refused} == REFUSED_AS_THEY_ARE | {A_LINK_WAS_EDITED}
    for understood in found:
        told = json.loads(as_json(understood))
        assert told["kind"] == understood.kind.name.lower()
        assert max(map(len, as_text(understood).splitlines())) <= WIDTH
    assert Counter(u.kind for u in found) == {
        Kind.ALERTS: 7,
        Kind.ZONE_TEXT: 9,
        Kind.GRID: 8,
        Kind.WARNING_TEXT: 17,
        Kind.POINT: 3,
        Kind.PROBLEM: 2,
        Kind.POINT_FORECAST: 2,
        Kind.UNKNOWN: 1,
        **dict.fromkeys((Kind.NDBC_REALTIME, Kind.NDBC_SPEC, Kind.NDBC_CWIND, Kind.NDBC_LATEST), 1),
        **dict.fromkeys((Kind.NDBC_STDMET, Kind.NDBC_OCEAN, Kind.TIDE_PREDICTIONS, Kind.WATER_LEVELS), 1),
        **dict.fromkeys((Kind.STATION_METADATA, Kind.SECOND_OPINION), 1),
    }


def test_times_that_are_tokens_are_refused_by_what_was_found(shared: Path) -> None:
    tokens = [f for f in files(shared) if f.suffix == ".json" and b"date:now" in f.read_bytes()]
    found = {
        f.parent.name + f.name: understand(f.read_bytes(), f.name)
        for f in tokens
        if f.parent.name != "points_zones"
    }
    assert len(found) == 10
    for understood in found.values():
        assert understood.refused is not None
        assert re.search(r"expected a (time|start).*found the text 'date:now", understood.refused)
        assert "REFUSED: " in as_text(understood)


def test_the_zone_text_of_apalachee_bay(shared: Path) -> None:
    found = read(shared, "cwf/cwf_TAE-20230615T195923Z.json")
    synopsis, offshore, bay = found.facts["segments"]
    assert (found.facts["issued_at"], found.not_understood) == ("2023-06-15T14:45:00Z", ())
    assert (synopsis["zones"], synopsis["periods"]) == (["GMZ700"], [])
    assert "Unsettled weather is likely" in synopsis["synopsis"]
    assert (len(offshore["periods"]), len(bay["periods"])) == (10, 10)
    assert bay["zones"] == ["GMZ730", "GMZ750", "GMZ752", "GMZ755", "GMZ765"]
    assert bay["expires_at"] == "2023-06-15T22:45:00Z"
    assert bay["headlines"][0]["meaning"] == "caution"
    (area,) = bay["periods"][0]["areas"]
    assert (area["wind_kt"], area["wind_from_deg"]) == ({"low": 15.0, "high": 20.0}, 225.0)
    assert (area["sea_ft"], area["sea_whole"]) == ({"low": 2.0, "high": 4.0}, True)
    line = next(line for line in as_text(found).splitlines() if "THIS AFTERNOON" in line and "2-4" in line)
    assert line.split()[7:] == ["SW", "15-20", "-", "2-4", "(0.6-1.2)", "5", "74", "%"]


def test_a_text_without_seas_is_told_without_seas(shared: Path) -> None:
    found = read(shared, "cwf/cwf_BRO_20260925.txt")
    (segment,) = found.facts["segments"]
    assert len(segment["periods"]) == 5
    assert all(area["sea_m"] is None for period in segment["periods"] for area in period["areas"])


def test_whatever_is_listed_as_not_understood_stands_in_the_text(shared: Path) -> None:
    count = 0
    for file in files(shared):
        if file.parent.name != "cwf":
            continue
        found = understand(file.read_bytes(), file.name)
        printed = " ".join(file.read_text().replace("\\n", " ").split())
        for phrase in found.not_understood:
            where, _, words = phrase.partition(": ")
            assert re.fullmatch(r"[A-Z]{2}Z\d{3}( and \d+ more)?( [A-Z ]+)?", where)
            assert words in printed
            assert words in as_text(found)
            count += 1
    assert count < 10


def test_the_grid_cell_of_the_big_bend(shared: Path) -> None:
    found = read(shared, "gridpoints/gridpoints_TAE_58,65.json")
    first = found.facts["hours"][0]
    assert (found.facts["cell"], len(found.facts["hours"])) == ("TAE/58,65", 182)
    assert (first["at"], first["wind_kt"], first["gust_kt"]) == ("2022-02-03T21:00:00Z", 11.0, 16.0)
    assert (first["sea_m"], first["sea_ft"]) == (None, None)
    assert "no forecast" in found.facts["no_opinion"]["sea_m"]
    assert found.facts["hours_known"]["visibility_nm"] == 37
    lines = as_text(found).splitlines()
    assert any("Not given: seas (" in line for line in lines)
    row = next(line for line in lines if line.startswith("  21:00"))
    assert row.split() == ["21:00", "11", "16", "SSE", "160", "-", "-", "-", "0?", "8.7"]


def test_captured_grids_are_understood_once_they_have_times(shared: Path) -> None:
    """What is left over is one office's chances of thunder, fractions without a unit."""
    grids = [f for f in files(shared) if f.name.count("__")]
    assert len(grids) == 7
    for file in grids:
        found = understand(with_real_times(file.read_bytes(), whole_hours=True), file.name)
        assert all(phrase.startswith("probabilityOfThunder: ") for phrase in found.not_understood), file.name
        # one capture kept its validTimes of 2024, so none of its layers falls within them
        known = found.facts["hours_known"]["wind_kt"]
        assert known == 0 if "_BMX_" in file.name else known > 140
        assert "sea_m" in found.facts["no_opinion"], "no captured cell has waves"


def test_a_national_list_of_warnings(shared: Path) -> None:
    found = read(shared, "alerts/alerts_active_guam-7day.json", times=True)
    assert found.facts["count"] == len(found.facts["warnings"]) == 246
    assert found.facts["events"]["Small Craft Advisory"] == 76
    assert found.facts["events"]["Gale Warning"] == 57
    assert sum(found.facts["states"].values()) == 246
    assert found.facts["warnings"][0]["state"] == "in force"
    text = as_text(found)
    assert text.count("Small Craft Advisory: ") == 76
    assert all(warning["vtec"] for warning in found.facts["warnings"] if warning["event"] == "Gale Warning")


def test_an_empty_list_of_warnings_says_when_it_was_made(shared: Path) -> None:
    found = read(shared, "alerts/alerts_empty_linecast.json")
    assert (found.facts["count"], found.facts["updated_at"]) == (0, "2026-02-28T14:00:00Z")
    assert "None is active where it was asked for, at that time." in as_text(found)


def test_one_statement_cancels_for_some_zones_and_continues_for_another(shared: Path) -> None:
    found = read(shared, "warnings_text/MWSKEY.txt")
    cancelled, continued = found.facts["segments"]
    assert (cancelled["zones"], cancelled["state"]) == (["GMZ032", "GMZ043"], "cancelled")
    assert (continued["zones"], continued["state"]) == (["GMZ053"], "in force")
    assert (cancelled["vtec"][0]["action"], continued["vtec"][0]["action"]) == ("CAN", "CON")
    assert continued["vtec"][0]["ends_at"] == "2016-06-19T22:30:00Z"
    assert continued["vtec"][0]["event"] == "Special Marine Warning"


def test_a_gale_warning_replaces_an_advisory_in_one_segment(shared: Path) -> None:
    found = read(shared, "warnings_text/MWWLWX_05.txt")
    segment = found.facts["segments"][0]
    assert [(v["action"], v["event"], v["state"]) for v in segment["vtec"]] == [
        ("NEW", "Gale Warning", "to come"),
        ("UPG", "Small Craft Advisory", "replaced"),
    ]
    assert segment["state"] == "to come"


def test_a_buoy_gives_its_newest_sea_from_an_older_row(shared: Path) -> None:
    """F10: the newest row has wind only."""
    found = read(shared, "ndbc/41002.txt")
    measured = found.facts["measured"]
    assert (found.facts["station"], found.facts["rows"]) == ("41002", 6560)
    assert measured["wind_kt"]["newest_at"] == "2018-08-01T15:10:00Z"
    assert measured["sea_m"] == {"newest": 1.2, "newest_at": "2018-08-01T14:50:00Z", "holes": 5186}
    assert "3.9 ft (1.2 m)" in as_text(found)


def test_a_year_without_waves_never_tells_ninety_nine_metres(shared: Path) -> None:
    found = read(shared, "ndbc/ndbcapi_stdmet_0.txt")
    assert found.facts["measured"]["sea_m"] == {"newest": None, "newest_at": None, "holes": 8770}


def test_the_latest_of_all_stations(shared: Path) -> None:
    found = read(shared, "ndbc/latest_obs.txt")
    station = next(row for row in found.facts["stations"] if row["station"] == "41002")
    assert (found.facts["count"], station["at"], station["sea_m"]) == (840, "2018-07-30T21:10:00Z", None)


def test_positions_tell_their_cell_and_zone(shared: Path) -> None:
    guam = read(shared, "points_zones/points_13.444,144.778.json")
    assert (guam.facts["cell"], guam.facts["forecast_zone"]) == ("GUM/47,48", "GUZ001")
    edited = read(shared, f"points_zones/{A_LINK_WAS_EDITED}")
    assert edited.refused is not None
    assert "every-alert" in edited.refused


@pytest.mark.parametrize(
    ("name", "kind", "count", "key", "last"),
    [
        ("coops/predictions_hilo.json", Kind.TIDE_PREDICTIONS, 3, "last_as_printed", "2026-03-05 18:10"),
        ("coops/water_level_9447130_201501.json", Kind.WATER_LEVELS, 7201, "last_as_printed", "2015-01-31 00:00"),
        ("gridpoints/gridpoints_forecast_us.json", Kind.POINT_FORECAST, 2, "last_at", "2019-10-14T10:00:00Z"),
        ("gridpoints/gridpoints_forecast_empty_us.json", Kind.POINT_FORECAST, 1, "last_at", None),
        ("open_meteo/marine_python-open-meteo.json", Kind.SECOND_OPINION, 3, "last_at", "2026-10-03T00:00:00Z"),
        ("ndbc/ndbcapi_ocean_0.txt", Kind.NDBC_OCEAN, 1073, "last_at", "2022-08-13T17:30:00Z"),
    ],
)
def test_kinds_without_a_say_are_told_as_not_used(
    shared: Path, name: str, kind: Kind, count: int, key: str, last: str | None
) -> None:
    found = read(shared, name)
    assert found.kind is kind
    assert kind in NOT_USED
    assert not found.used
    assert (found.facts["count"], found.facts[key]) == (count, last)
    assert "Not used: no call rests on it." in as_text(found)


def test_a_tide_station_is_named(shared: Path) -> None:
    (station,) = read(shared, "coops/station_metadata_linecast.json").facts["stations"]
    assert (station["id"], station["name"]) == ("8413320", "Bar Harbor")
