"""Measurements of buoys and shore stations."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from soakbell.errors import NotUnderstood
from soakbell.feeds.buoys import latest_of, parse_latest, parse_realtime
from soakbell.sea.observations import Observed, StationReport, has_moved

KT = 3600 / 1852  # knots in a metre a second


def at(*parts: int) -> datetime:
    return datetime(*parts, tzinfo=UTC)  # type: ignore[arg-type]


HEAD = """\
#YY  MM DD hh mm WDIR WSPD GST  WVHT   DPD   APD MWD   PRES  ATMP  WTMP  DEWP  VIS PTDY  TIDE
#yr  mo dy hr mn degT m/s  m/s     m   sec   sec degT   hPa  degC  degC  degC  nmi  hPa    ft
"""
ROWS = """\
2026 12 08 09 10 320  8.0 10.0    MM    MM    MM  MM 1020.1    MM  17.0    MM   MM   MM    MM
2026 12 08 09 00 320  7.0   MM    MM    MM    MM  MM 1020.0    MM  17.0    MM   MM +0.6    MM
2026 12 08 08 50 310  7.0  9.0   0.9    MM   3.1 300 1020.0    MM  17.0    MM  5.0   MM    MM
2026 12 08 08 40 310  6.0  8.0   0.8     4   3.1 300 1020.0    MM  17.0    MM   MM   MM    MM
"""  # invented rows in the public format


def text(rows: str = ROWS, head: str = HEAD) -> bytes:
    return (head + rows).encode()


@pytest.fixture(scope="module")
def ndbc(shared: Path) -> Path:
    return shared / "data/weather/ndbc"


# captured files


@pytest.mark.shared
def test_each_quantity_of_a_captured_buoy_takes_its_own_newest_row(ndbc: Path) -> None:
    """F10: the newest row has MM waves."""
    report = parse_realtime((ndbc / "41002.txt").read_bytes(), "41002")
    assert len(report.rows) == 6560
    assert report.rows.index.is_monotonic_increasing
    assert report.newest["wind_kt"] == Observed(pytest.approx(6.0 * KT), at(2018, 8, 1, 15, 10))
    assert report.newest["gust_kt"] == Observed(pytest.approx(7.0 * KT), at(2018, 8, 1, 15, 10))
    assert report.newest["wind_from_deg"] == Observed(160.0, at(2018, 8, 1, 15, 10))
    assert report.newest["sea_m"] == Observed(1.2, at(2018, 8, 1, 14, 50))
    assert report.newest["period_s"] == Observed(6.0, at(2018, 8, 1, 14, 50))
    assert "visibility_nm" not in report.newest
    assert report.rows["sea_m"].isna().sum() == 5186  # counted in the captured file
    row = report.rows.loc[pd.Timestamp("2018-08-01T14:40Z")]
    assert row["sea_m"] == 1.2
    assert np.isnan(row["period_s"])  # WVHT without DPD
    oldest = report.rows.iloc[0]
    assert report.rows.index[0] == pd.Timestamp("2018-06-17T00:00Z")
    assert (oldest["wind_kt"], oldest["wind_from_deg"]) == (pytest.approx(5.0 * KT), 80.0)


@pytest.mark.shared
def test_a_captured_file_of_continuous_wind_has_holes_of_nines(ndbc: Path) -> None:
    """F10: 999, 99.0 and 9999 are holes."""
    report = parse_realtime((ndbc / "41008.cwind").read_bytes(), "41008")
    assert len(report.rows) == 6432
    assert report.newest["wind_kt"] == Observed(pytest.approx(6.0 * KT), at(2018, 8, 1, 14, 50))
    assert report.newest["gust_kt"] == Observed(pytest.approx(9.0 * KT), at(2018, 8, 1, 14, 50))
    row = report.rows.loc[pd.Timestamp("2018-08-01T14:40Z")]
    assert row["wind_kt"] == pytest.approx(5.9 * KT)
    assert row["wind_from_deg"] == 147.0
    assert np.isnan(row["gust_kt"])
    assert report.rows["wind_kt"].max() < 60.0  # no 99 m/s
    assert "sea_m" not in report.rows


@pytest.mark.shared
def test_a_captured_wave_summary_gives_the_whole_sea(ndbc: Path) -> None:
    report = parse_realtime((ndbc / "41002.spec").read_bytes(), "41002")
    assert len(report.rows) == 1090
    assert report.newest["sea_m"] == Observed(1.2, at(2018, 8, 1, 14, 40))
    assert (report.rows["sea_m"].iloc[0], report.rows["sea_m"].iloc[-2]) == (0.9, 1.2)


@pytest.mark.shared
def test_a_captured_year_of_history_has_no_seas_of_99_m(ndbc: Path) -> None:
    """F10."""
    report = parse_realtime((ndbc / "ndbcapi_stdmet_0.txt").read_bytes(), "tower")
    assert len(report.rows) == 8770
    assert report.rows.index[0] == pd.Timestamp("2020-01-01T00:00Z")
    assert report.rows["wind_kt"].iloc[0] == pytest.approx(6.1 * KT)
    assert report.rows["gust_kt"].iloc[0] == pytest.approx(6.2 * KT)
    assert report.rows["sea_m"].isna().all()
    assert "visibility_nm" not in report.rows  # headed mi, where the manual says nautical miles
    assert report.newest["wind_kt"] == Observed(pytest.approx(6.7 * KT), at(2020, 12, 31, 23, 0))


@pytest.mark.shared
def test_a_captured_ocean_file_has_neither_wind_nor_sea(ndbc: Path) -> None:
    with pytest.raises(NotUnderstood, match="neither wind nor sea, but DEPTH"):
        parse_realtime((ndbc / "ndbcapi_ocean_0.txt").read_bytes(), "x")


@pytest.mark.shared
def test_the_captured_list_of_latest_observations_is_read_by_its_own_columns(ndbc: Path) -> None:
    table = parse_latest((ndbc / "latest_obs.txt").read_bytes())
    assert len(table) == 840
    report = latest_of(table, "41008")
    assert (report.lat_deg, report.lon_deg) == (31.4, -80.868)
    assert report.newest["wind_kt"] == Observed(pytest.approx(6.0 * KT), at(2018, 7, 30, 20, 50))
    assert report.newest["sea_m"] == Observed(0.8, at(2018, 7, 30, 20, 50))
    assert report.newest["period_s"] == Observed(8.0, at(2018, 7, 30, 20, 50))
    keaton = latest_of(table, "KTNF1")
    assert keaton.newest["gust_kt"].value == pytest.approx(5.1 * KT)
    assert "sea_m" not in keaton.newest
    with pytest.raises(NotUnderstood, match="no station 'ZZZZ9'"):
        latest_of(table, "ZZZZ9")


# rows of our own


def test_rows_come_oldest_first_with_holes_kept() -> None:
    report = parse_realtime(text(), "42999")
    assert report.rows.index.tolist() == [
        pd.Timestamp(2026, 12, 8, h, m, tz="UTC") for h, m in ((8, 40), (8, 50), (9, 0), (9, 10))
    ]
    assert np.isnan(report.rows["sea_m"].iloc[3])
    assert np.isnan(report.rows["gust_kt"].iloc[2])
    assert report.newest["gust_kt"].at == at(2026, 12, 8, 9, 10)
    assert report.newest["sea_m"] == Observed(0.9, at(2026, 12, 8, 8, 50))
    assert report.newest["period_s"] == Observed(4.0, at(2026, 12, 8, 8, 40))
    assert report.newest["visibility_nm"] == Observed(5.0, at(2026, 12, 8, 8, 50))


@pytest.mark.parametrize("nines", ["99", "99.0", "99.00", "999", "999.0", "9999", "MM"])
def test_nines_and_mm_are_holes_in_any_file(nines: str) -> None:
    """F10: both are holes."""
    row = f"2026 12 08 09 10 999 {nines} {nines} {nines} {nines} MM MM MM MM MM MM {nines} MM MM\n"
    report = parse_realtime(text(row), "42999")
    assert report.newest == {}
    assert report.rows.isna().to_numpy().all()


def test_a_wind_from_99_degrees_is_a_direction() -> None:
    assert parse_realtime(text(ROWS.replace(" 320  8.0", "  99  8.0")), "x").newest["wind_from_deg"].value == 99.0


def test_comments_between_rows_and_other_line_ends_are_taken() -> None:
    """F10: lines with # are comments."""
    plain = parse_realtime(text(), "x")
    for body in (
        text().replace(b"\n2026 12 08 09 00", b"\n# moved\n2026 12 08 09 00"),
        text().replace(b"\n", b"\r\n"),
    ):
        pd.testing.assert_frame_equal(parse_realtime(body, "x").rows, plain.rows)


def test_two_rows_of_one_minute_give_the_worse_of_each() -> None:
    again = "2026 12 08 09 10 300  6.0 12.0   1.4     5    MM  MM 1020.1    MM  17.0    MM  2.0   MM    MM\n"
    report = parse_realtime(text(again + ROWS), "x")
    assert report.rows.index.is_unique
    last = report.rows.iloc[-1]
    assert (last["wind_kt"], last["gust_kt"]) == (pytest.approx(8 * KT), pytest.approx(12 * KT))
    assert (last["sea_m"], last["period_s"], last["visibility_nm"]) == (1.4, 5.0, 2.0)
    assert np.isnan(last["wind_from_deg"])


@pytest.mark.parametrize(
    ("was", "becomes", "says"),
    [
        ("m/s  m/s ", "kt   m/s ", "WSPD is in kt"),
        ("m/s  m/s ", "m/s  mph ", "GST is in mph"),
        ("   m   sec", "  ft   sec", "WVHT is in ft"),
        ("sec   sec", "min   sec", "DPD is in min"),
        ("nmi", "km ", "VIS is in km"),
        ("degT m/s", "degM m/s", "WDIR is in degM"),
        ("#yr  mo", "#mo  yr", "units of a time"),
        ("#yr", "yr", "line of units"),
        ("#YY", "YY", "line of names"),
        ("WDIR WSPD", "WSPD WSPD", "named twice"),
        ("MM DD hh", "DD MM hh", "begins with the time"),
        (" TIDE", "", "line of units"),
    ],
)
def test_a_head_of_another_form_is_refused(was: str, becomes: str, says: str) -> None:
    """F10: units are read from the second header line and must match."""
    assert was in HEAD
    with pytest.raises(NotUnderstood, match=says):
        parse_realtime(text(head=HEAD.replace(was, becomes, 1)), "42999")


@pytest.mark.parametrize(
    ("was", "becomes"),
    [
        ("2026 12 08 09 00 320  7.0", "2026 12 08 09 00  7.0"),
        ("2026 12 08 09 00 320  7.0", "2026 12 08 09 00 320  7.0 1 "),
        ("2026 12 08 09 00", "2026 13 08 09 00"),
        ("2026 12 08 09 00", "2026 12 32 09 00"),
        ("2026 12 08 09 00", "2026 12 08 24 00"),
        ("2026 12 08 09 00", "2026 2147483648 08 09 00"),
        ("2026 12 08 09 00", "  26 12 08 09 00"),
        ("2026 12 08 09 00", "2026 12 08 09 MM"),
        ("09 00 320  7.0", "09 00 320  7,0"),
        ("09 00 320  7.0", "09 00 320  -1.0"),
        ("09 00 320  7.0", "09 00 320  nan"),
        ("09 00 320  7.0", "09 00 320  inf"),
        ("09 00 320  7.0", "09 00 320  1e3"),
        ("09 00 320  7.0", "09 00 320  7_0"),
        ("09 00 320  7.0", "09 00 320  150"),
        ("09 00 320  7.0", "09 00 361  7.0"),
        ("09 00 320  7.0", "09 00 320  M"),
    ],
)
def test_a_row_of_another_form_is_refused_by_its_line(was: str, becomes: str) -> None:
    assert was in ROWS
    with pytest.raises(NotUnderstood, match="line 4"):
        parse_realtime(text(ROWS.replace(was, becomes, 1)), "42999")


@pytest.mark.parametrize(
    "body",
    [b"", b"\n\n", b"<html>", HEAD.encode(), b"\xff\xfe", b"MM MM MM", b"#\n#\n", "#YY µ\n".encode(), b'{"a": 1}'],
)
def test_what_is_no_table_is_refused(body: bytes) -> None:
    with pytest.raises(NotUnderstood):
        parse_realtime(body, "42999")
    with pytest.raises(NotUnderstood):
        parse_latest(body)


# invented stations in the public format
LATEST = """\
#STN     LAT      LON  YYYY MM DD hh mm WDIR WSPD   GST WVHT  DPD APD MWD   PRES  VIS   TIDE
#text    deg      deg   yr mo day hr mn degT  m/s   m/s   m   sec sec degT   hPa  nmi     ft
42999  29.90   -84.10  2026 12 08 09 10 320   8.0  10.0   MM  MM   MM  MM 1005.3   MM     MM
42998  29.50   -84.50  2026 12 08 09 00  50   2.0    MM  0.6   4   MM  MM 1004.3  2.0     MM
"""


def test_latest_observations_of_two_stations_stay_apart() -> None:
    table = parse_latest(LATEST.encode())
    first, second = latest_of(table, "42999"), latest_of(table, "42998")
    assert set(first.newest) == {"wind_kt", "gust_kt", "wind_from_deg"}
    assert set(second.newest) == {"wind_kt", "wind_from_deg", "sea_m", "period_s", "visibility_nm"}
    assert second.newest["sea_m"] == Observed(0.6, at(2026, 12, 8, 9, 0))


@pytest.mark.parametrize(
    ("was", "becomes", "says"),
    [
        ("42998", "42999", "listed twice"),
        ("  29.90", "  99.90", "line 3"),
        (" -84.10", "-284.10", "line 3"),
        ("m/s   m/s", "m/s    kt", "GST is in kt"),
        ("#STN     LAT      LON", "#STN     LON      LAT", "STN LAT LON"),
    ],
)
def test_latest_observations_of_another_form_are_refused(was: str, becomes: str, says: str) -> None:
    assert was in LATEST
    with pytest.raises(NotUnderstood, match=says):
        parse_latest(LATEST.replace(was, becomes, 1).encode())


def test_a_station_that_moved_more_than_a_mile_is_told() -> None:
    """F10: a station whose position moved more than 1 nmi is refused until confirmed. One minute of latitude is
    one nautical mile within half a percent."""
    report = latest_of(parse_latest(LATEST.encode()), "42999")
    assert not has_moved(report, 29.90, -84.10)
    assert not has_moved(report, 29.90 + 0.9 / 60, -84.10)
    assert has_moved(report, 29.90 + 1.1 / 60, -84.10)
    assert not has_moved(StationReport("x", report.rows, {}), 0.0, 0.0)


def test_a_station_without_a_position_has_none() -> None:
    report = latest_of(parse_latest(LATEST.replace("  29.90", "     MM").encode()), "42999")
    assert (report.lat_deg, report.lon_deg) == (None, -84.1)


@settings(max_examples=200, deadline=None)
@given(st.integers(0, len(text()) - 1), st.integers(0, 127))
def test_one_byte_changed_is_read_or_refused_and_never_breaks(where: int, byte: int) -> None:
    body = text()
    try:
        report = parse_realtime(body[:where] + bytes([byte]) + body[where + 1 :], "x")
    except NotUnderstood:
        return
    for name, most in (("wind_kt", 250.0), ("sea_m", 40.0)):
        known = report.rows[name].dropna() if name in report.rows else pd.Series(dtype=float)
        assert ((known >= 0) & (known <= most)).all()


def test_a_row_hidden_behind_a_comment_mark_is_not_passed_over() -> None:
    """It may be the newest one; an older reading must not count in its place."""
    hidden = text().replace(b"\n2026 12 08 09 00", b"\n#2026 12 08 09 00")
    assert hidden != text()
    with pytest.raises(NotUnderstood, match="line 4"):
        parse_realtime(hidden, "x")
