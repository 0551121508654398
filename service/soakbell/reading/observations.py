"""What stations measured."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from pathlib import PurePath

from soakbell import units
from soakbell.errors import NotUnderstood
from soakbell.feeds.buoys import parse_latest, parse_realtime
from soakbell.feeds.strict_json import moment
from soakbell.reading.printing import (
    COLUMN_HEADS,
    Facts,
    column_cell,
    count_facts,
    many,
    number_fact,
    plain_name,
    shown_number,
    time_fact,
    time_words,
    wrapped,
)


def read_station(body: bytes, name: str, _: list[str]) -> Facts:
    report = parse_realtime(body, PurePath(name).name.partition(".")[0] or "not named")
    rows = report.rows
    measured = {}
    for quantity in rows.columns:
        newest = report.newest.get(str(quantity))
        measured[str(quantity)] = {
            "newest": None if newest is None else number_fact(newest.value),
            "newest_at": None if newest is None else time_fact(newest.at),
            "holes": int(rows[quantity].isna().sum()),
        }
    return {
        "station": report.station,
        "rows": len(rows),
        "first_at": time_fact(rows.index[0]),
        "last_at": time_fact(rows.index[-1]),
        "measured": measured,
    }


_HOUSE_UNITS: Mapping[str, str] = {
    "wind_kt": "kt",
    "gust_kt": "kt",
    "wind_from_deg": "deg true",
    "sea_m": "m",
    "period_s": "s",
    "visibility_nm": "nmi",
}
_STATION_ROW = "  {:<12} {:>18}  {:<22} {:>16}"


def tell_station(facts: Facts) -> list[str]:
    lines = [
        f"  Station {facts['station']}: {many(facts['rows'], 'row')}, "
        f"{time_words(facts['first_at'])} to {time_words(facts['last_at'])}.",
        "  Wind is at the height of the station's own anemometer, mostly lower than the forecast's 10 m.",
        _STATION_ROW.format("quantity", "newest", "measured at", "holes"),
    ]
    for quantity, measured in facts["measured"].items():
        value = measured["newest"]
        shown = f"{shown_number(value)} {_HOUSE_UNITS[quantity]}" if value is not None else "never"
        if quantity == "sea_m" and value is not None:
            shown = f"{shown_number(units.ft_from_m(value))} ft ({shown_number(value)} m)"
        at = time_words(measured["newest_at"]) if measured["newest_at"] else "-"
        lines.append(
            _STATION_ROW.format(plain_name(quantity), shown, at, f"{measured['holes']} of {facts['rows']}")
        )
    return lines


def read_latest(body: bytes, _: str, __: list[str]) -> Facts:
    table = parse_latest(body)
    measured = [str(name) for name in table.columns if name not in ("at", "lat", "lon")]
    stations = []
    for station, row in table.iterrows():
        place = {"lat": number_fact(float(row["lat"])), "lon": number_fact(float(row["lon"]))}
        numbers = {name: number_fact(float(row[name])) for name in measured}
        if "sea_m" in measured:
            numbers["sea_ft"] = number_fact(units.ft_from_m(float(row["sea_m"])))
        stations.append({"station": str(station), "at": time_fact(row["at"]), **place, **numbers})
    return {
        "count": len(stations),
        "first_at": time_fact(table["at"].min()),
        "last_at": time_fact(table["at"].max()),
        "holes": {name: int(table[name].isna().sum()) for name in measured},
        "stations": stations,
    }


_LATEST_HEADS: Mapping[str, str] = {**COLUMN_HEADS, "visibility_nm": "vis nmi"}
_LATEST_COLUMNS = tuple(column for column in _LATEST_HEADS if column != "thunder_pct")
_LATEST_ROW = "  {:<7} {:<12} {:>7} {:>9} {:>8} {:>8} {:>8} {:>7} {:>6} {:>8} {:>8}"


def tell_latest(facts: Facts) -> list[str]:
    lines = [
        f"  {many(facts['count'], 'station')}, {time_words(facts['first_at'])} to {time_words(facts['last_at'])}.",
        "  Times are UTC; - is a hole. Wind is at the height of the station's own anemometer.",
    ]
    holes = "; ".join(f"{plain_name(name)} {count}" for name, count in facts["holes"].items())
    lines += wrapped(f"Stations without: {holes}.", "  ")
    heads = [_LATEST_HEADS[column] for column in _LATEST_COLUMNS]
    lines.append(_LATEST_ROW.format("station", "at", "lat", "lon", *heads))
    for row in facts["stations"]:
        cells = [column_cell({column: row.get(column), "in_part": ()}, column) for column in _LATEST_COLUMNS]
        at = f"{datetime.fromisoformat(row['at']):%d %b %H:%M}"
        lines.append(_LATEST_ROW.format(row["station"][:7], at, row["lat"] or "-", row["lon"] or "-", *cells))
    return lines


def read_other_table(body: bytes, name: str, _: list[str]) -> Facts:
    """Rows of a station's table that holds neither wind nor sea: how many, and from when to when."""
    lines = [line.split() for line in body.decode("utf-8", errors="replace").splitlines()]
    rows = [line for line in lines[2:] if len(line) > 5]
    times = []
    for row in rows:
        date, clock = "-".join(row[:3]), ":".join(row[3:5])
        times.append(moment(f"{date}T{clock}Z", "a row of the table"))
    if not times:
        raise NotUnderstood("expected a table of measurements, found no rows")
    return {
        "station": PurePath(name).name.partition(".")[0] or "not named",
        "columns": lines[0][5:],
        **count_facts(len(rows), time_fact(min(times)), time_fact(max(times))),
    }
