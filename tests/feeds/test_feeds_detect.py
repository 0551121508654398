"""Every payload is named for what it is."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from soakbell.feeds.detect import PayloadKind as Kind
from soakbell.feeds.detect import kind_of

FOLDERS = {
    "alerts": Kind.ALERTS,
    "cwf": Kind.ZONE_TEXT,
    "errors": Kind.PROBLEM,
    "gridpoints": Kind.GRID,
    "open_meteo": Kind.SECOND_OPINION,
    "points_zones": Kind.POINT,
    "warnings_text": Kind.WARNING_TEXT,
}
FILES = {
    "README.md": Kind.UNKNOWN,
    "gridpoints_forecast_us.json": Kind.POINT_FORECAST,
    "gridpoints_forecast_empty_us.json": Kind.POINT_FORECAST,
    "41002.txt": Kind.NDBC_REALTIME,
    "41002.spec": Kind.NDBC_SPEC,
    "41008.cwind": Kind.NDBC_CWIND,
    "latest_obs.txt": Kind.NDBC_LATEST,
    "ndbcapi_ocean_0.txt": Kind.NDBC_OCEAN,
    "ndbcapi_stdmet_0.txt": Kind.NDBC_STDMET,
    "predictions_hilo.json": Kind.TIDE_PREDICTIONS,
    "water_level_9447130_201501.json": Kind.WATER_LEVELS,
    "station_metadata_linecast.json": Kind.STATION_METADATA,
}


@pytest.mark.shared
def test_every_captured_file_gets_its_kind(shared: Path) -> None:
    files = [f for f in sorted((shared / "data/weather").rglob("*")) if f.is_file()]
    assert len(files) == 59
    wrong = {
        str(file): found
        for file in files
        if (found := kind_of(file.read_bytes())) is not FILES.get(file.name, FOLDERS.get(file.parent.name))
    }
    assert wrong == {}


@pytest.mark.parametrize(
    ("body", "kind"),
    [
        (b"", Kind.UNKNOWN),
        (b"   ", Kind.UNKNOWN),
        (b"\xff\xfe\x00", Kind.UNKNOWN),
        (b"<!DOCTYPE html>", Kind.HTML),
        (b"{}", Kind.UNKNOWN),
        (b"[]", Kind.UNKNOWN),
        (b"[1]", Kind.UNKNOWN),
        (b'{"type": "FeatureCollection"', Kind.UNKNOWN),
        (b'{"type": "FeatureCollection", "features": []}', Kind.UNKNOWN),
        (b'{"type": "FeatureCollection", "features": [{"properties": {"station": "x"}}]}', Kind.UNKNOWN),
        (b'{"@graph": []}', Kind.PRODUCT_LIST),
        (b'{"productText": "\\n000\\nFXUS62 KTAE 151445\\nAFDTAE\\n\\nText"}', Kind.OTHER_TEXT),
        (b'{"error": {"message": "No data"}}', Kind.PROBLEM),
        (b'{"properties": {"@type": "wx:Zone", "id": "GMZ730"}}', Kind.ZONE),
        (b"# a comment\n1 2 3\n", Kind.UNKNOWN),
        (b"#", Kind.UNKNOWN),
        (b"000\r\r\nFZUS52 KTAE 151445\r\r\nCWFTAE\r\r\n", Kind.ZONE_TEXT),
    ],
)
def test_small_payloads_get_their_kind(body: bytes, kind: Kind) -> None:
    assert kind_of(body) is kind


@given(st.binary(max_size=300))
def test_no_payload_breaks_it(body: bytes) -> None:
    assert kind_of(body) in Kind
    assert kind_of(b"#" + body) in Kind
    assert kind_of(b"{" + body) in Kind
