"""``soakbell climatology`` as a skipper types it, and what it comes to. INVENTED DATA but one captured year."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pandas as pd
import pytest
from click.testing import Result
from demo.demo_boat import demo_settings
from demo.weather import FORTNIGHT
from typer.testing import CliRunner

from soakbell.cli import app
from soakbell.climatology import kept_climate, usual_weather
from soakbell.sea.daylight import sunlight
from soakbell.settings import Settings, load_settings
from soakbell.store.engine import Store
from soakbell.store.letters import get_note, put_note
from soakbell.wiring import open_database

MS = 1852 / 3600  # a knot in metres a second
HEAD = """\
#YY  MM DD hh mm WDIR WSPD GST  WVHT   DPD   APD MWD   PRES  ATMP  WTMP  DEWP  VIS  TIDE
#yr  mo dy hr mn degT m/s  m/s     m   sec   sec degT   hPa  degC  degC  degC   mi    ft
"""


@dataclass(frozen=True)
class Terminal:
    folder: Path
    settings: Settings

    def type(self, *words: str) -> Result:
        options = ["--settings", str(self.folder / "boat.toml"), "climatology"]
        return CliRunner(env={"COLUMNS": "200"}).invoke(app, [*options, *words])

    def told(self, *words: str, area: str = "Outer Bay") -> str:
        result = self.type(*words, "--area", area)
        assert result.exit_code == 0, result.output
        return result.output

    def refused(self, *words: str, area: str = "Outer Bay", code: int = 2) -> str:
        result = self.type(*words, "--area", area)
        assert result.exit_code == code, result.output
        return result.output

    def store(self) -> Store:
        return open_database(self.settings)


@pytest.fixture
def terminal(tmp_path: Path) -> Terminal:
    settings = demo_settings(tmp_path, services="http://127.0.0.1:9", mail_port=9, station=FORTNIGHT.station)
    return Terminal(tmp_path, settings)


def year(folder: Path, name: str, sea_m: str = "0.30", *, first: date = date(2020, 1, 1), days: int = 366) -> str:
    """Wind of 10 kt on even days of the month and of 30 kt on odd ones, of UTC."""
    rows = []
    for hour in range(24 * days):
        at = datetime(first.year, first.month, first.day, tzinfo=UTC) + timedelta(hours=hour)
        ms = f"{(10 if at.day % 2 == 0 else 30) * MS:.1f}"
        rows.append(f"{at:%Y %m %d %H} 50 188 {ms} {ms} {sea_m} 4.00 3.50 999 1006.1 9.5 6.6 -0.3 99.0 99.00\n")
    path = folder / name
    path.write_text(HEAD + "".join(rows))
    return str(path)


def row(output: str, month: str) -> list[str]:
    (line,) = [line for line in output.splitlines() if line.split() and line.split()[0] == month]
    return line.split()[1:]


def test_fit_days_of_a_year_are_counted_told_and_kept(terminal: Terminal) -> None:
    """Of 31 days of March 15 are even. At the harbor the day ends as the UTC day does, light lies within it."""
    file = year(terminal.folder, "42036h2020.txt")
    output = terminal.told(file)
    assert "Outer Bay by station 42036, 2020" in output
    assert "Days with 6 h on end inside wind 15 kt, gusts 20 kt, seas" in output
    assert row(output, "Mar")[:4] == ["31", "31", "15", "48%"]
    assert terminal.told(area="outer bay") == output, "it is kept"


def test_other_years_take_the_place_of_those_kept(terminal: Terminal) -> None:
    year(terminal.folder, "42036h2020.txt")
    terminal.told(str(terminal.folder / "42036h2020.txt"))
    later = year(terminal.folder, "42036h2021.txt", first=date(2021, 1, 1), days=365)
    assert "2020 to 2021, 2 years" in terminal.told(str(terminal.folder / "42036h2020.txt"), later)
    assert "Outer Bay by station 42036, 2021" in terminal.told(later)


def test_without_a_file_the_chance_held_beforehand_is_told_and_said_to_be_that(terminal: Terminal) -> None:
    output = terminal.told()
    assert "no past years were counted for Outer Bay. What is held beforehand" in output
    assert row(output, "Jun") == ["65%"], "as in config/plan.toml"


def test_a_longer_trip_is_counted_by_its_own_hours(terminal: Terminal) -> None:
    output = terminal.told(year(terminal.folder, "42036h2020.txt"), "--hours", "13")
    assert row(output, "Jan")[3] == "0%", "no day of January has light for it"


@pytest.mark.parametrize(
    ("name", "words", "told"),
    [
        ("42036h2020.txt", ("--station", "41002"), "found 41002 and 42036; write files of one station"),
        ("year.txt", (), "station: found no id; write --station ID, or the names that the files came with"),
        ("42036h2020.txt", ("--without", "steepness"), "found 'steepness'; write one of wind_kt, gust_kt, sea_m"),
        (
            "42036h2020.txt",
            ("--without", "wind_kt", "--without", "gust_kt", "--without", "sea_m"),
            "write at most all but one",
        ),
    ],
)
def test_what_can_not_be_counted_is_refused(
    terminal: Terminal, name: str, words: tuple[str, ...], told: str
) -> None:
    assert told in terminal.refused(year(terminal.folder, name, days=40), *words)


def test_an_area_and_a_file_that_are_not_there_are_refused(terminal: Terminal) -> None:
    assert "write one of Inner Bay, Outer Bay" in terminal.refused(area="Bay")
    assert "found No such file or directory; write a file that can be read" in terminal.refused("none.txt")


def test_a_station_without_the_sea_counts_only_where_that_is_said(terminal: Terminal) -> None:
    file = year(terminal.folder, "42036h2020.txt", sea_m="99.00")
    refused = terminal.refused(file)
    assert "no number of sea_m in the files of 42036" in refused
    assert "--without sea_m" in refused
    output = terminal.told(file, "--without", "sea_m")
    assert "Not held against your limits, as it isn't measured: seas" in output


def test_days_not_known_well_enough_keep_nothing(terminal: Terminal) -> None:
    file = year(terminal.folder, "42036h2020.txt", days=1)
    lines = Path(file).read_text().splitlines(keepends=True)
    Path(file).write_text("".join(lines[:5] + lines[-2:]))
    assert "nothing is kept" in terminal.refused(file, code=1)
    assert "no past years were counted" in terminal.told()


def test_a_tightened_limit_leaves_no_loose_chance_behind(terminal: Terminal) -> None:
    terminal.told(year(terminal.folder, "42036h2020.txt"))
    boat = terminal.folder / "boat.toml"
    text, changed = re.subn(r"^wind_kt = 15\b", "wind_kt = 13", boat.read_text(), count=1, flags=re.MULTILINE)
    assert changed
    boat.write_text(text)
    assert "counted by other limits than yours of today; count them again" in terminal.told()


@pytest.mark.parametrize("note", [{}, {"version": 1}, {"version": 1, "record": {"area": 3}}, {"version": 0}])
def test_a_kept_record_that_can_not_be_read_is_not_used(terminal: Terminal, note: dict[str, object]) -> None:
    store = terminal.store()
    with store.writing() as session:
        put_note(session, "climate:Little Grebe:Outer Bay", note, datetime(2026, 12, 1, tzinfo=UTC))
    told = kept_climate(terminal.settings, store, "Outer Bay")
    store.close()
    assert isinstance(told, str)
    assert "count" in told


def test_days_ahead_take_the_least_chance_of_all_areas(terminal: Terminal) -> None:
    """Outer Bay is counted, Inner Bay is not: there what is held beforehand stands."""
    terminal.told(year(terminal.folder, "42036h2020.txt"))
    store = terminal.store()
    usual = usual_weather(
        terminal.settings, store, ["Outer Bay", "Inner Bay"], [date(2027, 1, 15), date(2027, 7, 15)]
    )
    outer = usual_weather(terminal.settings, store, ["Outer Bay"], [date(2027, 7, 15)])
    with store.reading() as session:
        assert get_note(session, "climate:Little Grebe:Outer Bay") is not None
    store.close()
    assert usual.chances == pytest.approx((0.40, 0.5), abs=0.02), "0.40 and 0.65 are held beforehand"
    assert usual.lacking == ("no past years were counted for Inner Bay",)
    assert (usual.window_min, [each.area for each in usual.counted]) == (360, ["Outer Bay"])
    assert outer.chances == pytest.approx((0.5,), abs=0.02)
    assert outer.lacking == ()


# ---- the captured year


def by_plain_pandas(file: Path, settings: Settings, wind_kt: float, gust_kt: float) -> pd.Series[float]:
    """Share of fit days by month: 6 h on end inside the limits between sunrise and sunset, and 2 h after."""
    table = pd.read_csv(file, sep=r"\s+", skiprows=[1], na_values=["99.0", "99.00"])
    at = pd.to_datetime(
        {"year": table["#YY"], "month": table["MM"], "day": table["DD"], "hour": table["hh"]}, utc=True
    )
    fit = (table["WSPD"] / MS <= wind_kt) & (table["GST"] / MS <= gust_kt)
    hours = fit.groupby(at).min().reindex(pd.date_range(at.min(), at.max(), freq="h"), fill_value=False)
    window = hours[::-1].rolling(8, min_periods=8).min()[::-1] == 1
    local = window.index.tz_convert(settings.harbor.time_zone)
    told = {}
    for day in pd.date_range("2020-01-01", "2020-12-31"):
        sun = sunlight(day.date(), settings.harbor.lat_deg, settings.harbor.lon_deg, settings.harbor.time_zone)
        begins = pd.Timestamp(sun.rises_at).ceil("h")
        last = pd.Timestamp(sun.sets_at).floor("h") - pd.Timedelta(hours=6)
        told[day] = bool(
            window[(local.date == day.date()) & (window.index >= begins) & (window.index <= last)].any()
        )
    days = pd.Series(told)
    return days.groupby(days.index.month).mean()


@pytest.mark.shared
def test_the_months_of_a_captured_year_are_those_of_a_plain_count(terminal: Terminal, shared: Path) -> None:
    """NDBC standard meteorological history of 2020, of a tower that measures no sea; limits of boat.toml."""
    file = shared / "data" / "weather" / "ndbc" / "ndbcapi_stdmet_0.txt"
    output = terminal.told(str(file), "--station", "TOWER", "--without", "sea_m")
    limits = load_settings(terminal.folder / "boat.toml", {}).limits_for(None)
    assert limits.gust_kt is not None
    expected = by_plain_pandas(file, terminal.settings, limits.wind_kt, limits.gust_kt)
    months = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
    assert [row(output, month)[3] for month in months] == [f"{share:.0%}" for share in expected]
    assert 0.3 < expected.min() < expected.max() < 1.0
