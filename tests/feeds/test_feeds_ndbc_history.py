"""Yearly files of past measurements."""

from __future__ import annotations

import gzip
from pathlib import Path

import pytest

from soakbell.errors import NotUnderstood
from soakbell.feeds.ndbc_history import joined, parse_history, station_of

KT = 3600 / 1852  # knots in a metre a second

HEAD = """\
#YY  MM DD hh mm WDIR WSPD GST  WVHT   DPD   APD MWD   PRES  ATMP  WTMP  DEWP  VIS  TIDE
#yr  mo dy hr mn degT m/s  m/s     m   sec   sec degT   hPa  degC  degC  degC   mi    ft
"""
ROWS = """\
{year} 01 01 00 50 188  6.1  7.2  0.52  4.00  3.50 999 1006.1   9.5   6.6  -0.3 99.0 99.00
{year} 01 01 01 50 999 99.0 99.0 99.00 99.00 99.00 999 9999.0 999.0 999.0 999.0 99.0 99.00
"""  # invented rows in the public format


def year(number: int) -> bytes:
    return (HEAD + ROWS.format(year=number)).encode()


def test_all_nines_are_holes_and_wind_is_in_metres_a_second() -> None:
    """F10: 99, 999 and 99.0 in history files; https://www.ndbc.noaa.gov/measdes.shtml."""
    rows = parse_history(year(2020), "x").rows
    assert rows["wind_kt"].iloc[0] == pytest.approx(6.1 * KT)
    assert rows["sea_m"].iloc[0] == 0.52
    assert rows.iloc[1].isna().all()


def test_a_packed_file_says_the_same_as_the_plain_one() -> None:
    assert parse_history(gzip.compress(year(2020)), "x").rows.equals(parse_history(year(2020), "x").rows)


def test_years_are_joined_in_the_order_of_time() -> None:
    rows = joined([parse_history(year(2021), "b"), parse_history(year(2019), "a")])
    assert [at.year for at in rows.index] == [2019, 2019, 2021, 2021]


@pytest.mark.parametrize(
    ("body", "told"),
    [
        (gzip.compress(year(2020))[:-12], "a.txt: expected a gzip file of at most 64 MB unpacked, found one"),
        (b"\x1f\x8b nothing", "a.txt: expected a gzip file, found a broken one"),
        (b"YYYY MM DD hh mm  WD WSPD GST  WVHT\n2006 01 01 00 00 188  6.1  7.2  0.52\n", "of 2006 or before"),
        (b"YY MM DD hh WD   WSPD GST  WVHT\n98 01 01 00 188  6.1  7.2  0.52\n", "of 2006 or before"),
        (b"<html></html>", "found a page of HTML or XML; expected a year of standard meteorological history"),
        (b"", "found unknown; expected a year"),
        (year(2020).replace(b"m/s  m/s", b"kt   kt "), "WSPD is in kt, expected m/s"),
        (year(2020).replace(b" 6.1 ", b" six "), "a.txt: line 3: WSPD can't be 'six'"),
    ],
)  # fmt: skip
def test_another_file_is_refused_with_what_was_found(body: bytes, told: str) -> None:
    """Files have had two lines that begin with # since 2007: https://ndbc.noaa.gov/faq/mods.shtml."""
    with pytest.raises(NotUnderstood) as refused:
        parse_history(body, "a.txt")
    assert told in str(refused.value)


def test_a_packed_file_that_swells_is_given_up() -> None:
    with pytest.raises(NotUnderstood, match="found a longer one"):
        parse_history(gzip.compress(b"#" + bytes(65 * 2**20)), "a.txt")


@pytest.mark.shared
def test_last_weeks_of_a_station_are_no_year(shared: Path) -> None:
    with pytest.raises(NotUnderstood, match="found station, last 45 days"):
        parse_history((shared / "data" / "weather" / "ndbc" / "41002.txt").read_bytes(), "41002.txt")


@pytest.mark.parametrize(
    ("name", "station"),
    [("42036h2020.txt.gz", "42036"), ("apcf1h2019.txt", "APCF1"), ("history.txt", None), ("42036.txt", None)],
)
def test_the_name_of_a_file_tells_its_station(name: str, station: str | None) -> None:
    assert station_of(name) == station
