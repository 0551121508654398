"""Buoys and shore stations of the National Data Buoy Center: text tables of measurements.

Files under ``/data/realtime2`` (``.txt``, ``.cwind``, ``.spec``), yearly history (``stdmet``) and
``latest_obs.txt``. Manual: https://www.ndbc.noaa.gov/measdes.shtml

Wind is the mean over eight minutes (buoys), two (shore stations) or ten (``.cwind``), at the height of the
station's own anemometer: 3 to 5 m on most buoys, more on towers. It is not brought to 10 m here, so it reads
low beside a forecast. Sea is the significant height over twenty minutes.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np
import pandas as pd

from soakbell import units
from soakbell.errors import NotUnderstood
from soakbell.feeds.strict_json import shown
from soakbell.sea.conditions import LOWER_IS_WORSE
from soakbell.sea.observations import Observed, StationReport


@dataclass(frozen=True)
class _Measured:
    """A column that is read: the house's name for it, its unit in the file, and the range that is believed."""

    quantity: str
    unit: str
    into_house: Callable[[float], float]
    most: float


_COLUMNS: Mapping[str, _Measured] = {
    "WSPD": _Measured("wind_kt", "m/s", units.kt_from_ms, 250.0),
    "GST": _Measured("gust_kt", "m/s", units.kt_from_ms, 250.0),
    "WDIR": _Measured("wind_from_deg", "degT", float, 360.0),
    "WVHT": _Measured("sea_m", "m", float, 40.0),
    "DPD": _Measured("period_s", "sec", float, 40.0),
    "VIS": _Measured("visibility_nm", "nmi", float, 200.0),
}

_NOT_READ = frozenset({("VIS", "mi")})
"""History heads visibility with ``mi`` where the manual says nautical miles, so it is left out."""

_TIME_NAMES = ("MM", "DD", "hh", "mm")
_TIME_UNITS = (("yr",), ("mo",), ("dy", "day"), ("hr",), ("mn",))
_NUMBER = re.compile(r"[+-]?[0-9]{1,5}(\.[0-9]{1,4})?")
_NINES = re.compile(r"9{2,4}(\.0+)?")


@dataclass(frozen=True)
class _Table:
    """A file split into fields. ``lines`` are the line numbers of ``rows`` in the file, from 1."""

    names: tuple[str, ...]
    units: tuple[str, ...]
    rows: Sequence[Sequence[str]]
    lines: Sequence[int]

    def column(self, at: int) -> list[str]:
        return [row[at] for row in self.rows]


def parse_realtime(body: bytes, station: str) -> StationReport:
    """Read one station's file: realtime ``.txt``, ``.cwind`` or ``.spec``, or a year of ``stdmet`` history.

    ``MM`` and all nines are holes in either kind of file. Two rows of one minute give the worse of each.

    Returns:
        All rows, oldest first, and for each quantity its own newest value.

    Raises:
        NotUnderstood: another form, other units, a row that doesn't fit (by its line number), or a file with
            neither wind nor sea.
    """
    table = _table(body, station)
    if table.names[0].upper() not in ("YY", "YYYY") or table.names[1:5] != _TIME_NAMES:
        raise NotUnderstood(
            f"station {station}: expected a table that begins with the time, found {table.names[:5]}"
        )
    _check_time_units(table, 0)
    measured = _measured(table, station)
    if not {"wind_kt", "sea_m"} & set(measured):
        raise NotUnderstood(
            f"station {station}: the file has neither wind nor sea, but {', '.join(table.names[5:])}"
        )
    rows = pd.DataFrame(measured, index=pd.DatetimeIndex(_times(table, 0, station), name="at"))
    rows = _one_row_a_minute(rows.sort_index(kind="stable"))
    return StationReport(station=station, rows=rows, newest=_newest(rows))


def parse_latest(body: bytes) -> pd.DataFrame:
    """Read ``latest_obs.txt``: the newest row of every station.

    Returns:
        Index: station id. Columns: ``at`` (UTC), ``lat``, ``lon`` (degrees), and the measured quantities.

    Raises:
        NotUnderstood: as ``parse_realtime``; also a station that is listed twice.
    """
    table = _table(body, "latest observations")
    if table.names[:4] != ("STN", "LAT", "LON", "YYYY") or table.names[4:8] != _TIME_NAMES:
        raise NotUnderstood(f"latest observations: expected STN LAT LON YYYY, found {table.names[:8]}")
    _check_time_units(table, 3)
    stations = table.column(0)
    if len(set(stations)) != len(stations):
        twice = next(name for name in stations if stations.count(name) > 1)
        raise NotUnderstood(f"latest observations: {twice} is listed twice")
    where = "latest observations"
    columns: dict[str, object] = {
        "at": pd.DatetimeIndex(_times(table, 3, where)),
        "lat": _numbers(table, 1, where, "LAT", 90.0, least=-90.0),
        "lon": _numbers(table, 2, where, "LON", 180.0, least=-180.0),
    }
    return pd.DataFrame({**columns, **_measured(table, where)}, index=pd.Index(stations, name="station"))


def latest_of(table: pd.DataFrame, station: str) -> StationReport:
    """One station's row of ``parse_latest`` as a report.

    Raises:
        NotUnderstood: the station isn't listed.
    """
    if station not in table.index:
        raise NotUnderstood(f"latest observations: no station {shown(station)} among {len(table)}")
    row = table.loc[[station]]
    at = row["at"].iloc[0]
    rows = row.drop(columns=["at", "lat", "lon"]).set_axis(pd.DatetimeIndex([at], name="at"), axis="index")
    lat_deg, lon_deg = (None if row[name].isna().any() else float(row[name].iloc[0]) for name in ("lat", "lon"))
    return StationReport(station=station, rows=rows, newest=_newest(rows), lat_deg=lat_deg, lon_deg=lon_deg)


def _table(body: bytes, where: str) -> _Table:
    if not body.strip():
        raise NotUnderstood(f"{where}: expected a table, found an empty reply")
    if body.lstrip().startswith(b"<"):
        raise NotUnderstood(f"{where}: expected a table, found a page of HTML or XML")
    try:
        lines = body.decode("ascii").splitlines()
    except UnicodeDecodeError as error:
        raise NotUnderstood(f"{where}: expected plain ASCII, found another byte at {error.start}") from error
    head = [line[1:].split() for line in lines[:2] if line.startswith("#")]
    if len(head) != 2 or len(head[0]) < 6 or len(head[0]) != len(head[1]):
        raise NotUnderstood(f"{where}: expected a line of names and a line of units, found {shown(lines[0])}")
    if len(set(head[0])) != len(head[0]):
        raise NotUnderstood(f"{where}: a column is named twice: {shown(lines[0])}")
    rows, numbers = [], []
    for number, line in enumerate(lines[2:], start=3):
        is_comment = line.startswith("#") and len(line[1:].split()) != len(head[0])  # else it hides a row
        if line and not is_comment:
            fields = line.split()
            if len(fields) != len(head[0]):
                raise NotUnderstood(
                    f"{where}: line {number}: expected {len(head[0])} fields, found {len(fields)}: {shown(line)}"
                )
            rows.append(fields)
            numbers.append(number)
    if not rows:
        raise NotUnderstood(f"{where}: the table has no rows")
    return _Table(tuple(head[0]), tuple(head[1]), rows, numbers)


def _check_time_units(table: _Table, first: int) -> None:
    found = table.units[first : first + 5]
    if not all(unit in known for unit, known in zip(found, _TIME_UNITS, strict=True)):
        raise NotUnderstood(f"expected the units of a time, yr mo dy hr mn, found {' '.join(found)}")


def _times(table: _Table, first: int, where: str) -> list[datetime]:
    times = []
    for fields, line in zip(table.rows, table.lines, strict=True):
        parts = fields[first : first + 5]
        try:
            if not (all(part.isdigit() for part in parts) and len(parts[0]) == 4):
                raise ValueError("not all parts are digits")
            year, month, day, hour, minute = (int(part) for part in parts)
            times.append(datetime(year, month, day, hour, minute, tzinfo=UTC))
        except (ValueError, OverflowError) as error:
            raise NotUnderstood(f"{where}: line {line}: {' '.join(parts)} is no time: {error}") from error
    return times


def _measured(table: _Table, where: str) -> dict[str, np.ndarray]:
    found = {}
    for at, (name, unit) in enumerate(zip(table.names, table.units, strict=True)):
        column = _COLUMNS.get(name)
        if column is None or (name, unit) in _NOT_READ:
            continue
        if unit != column.unit:
            raise NotUnderstood(f"{where}: {name} is in {unit}, expected {column.unit}")
        values = _numbers(table, at, where, name, column.most, convert=column.into_house)
        found[column.quantity] = values
    return found


def _numbers(
    table: _Table,
    at: int,
    where: str,
    name: str,
    most: float,
    *,
    least: float = 0.0,
    convert: Callable[[float], float] = float,
) -> np.ndarray:
    """A column as numbers, holes as NaN. Each distinct text is read once: a column has few."""
    texts = table.column(at)
    read: dict[str, float] = {}
    for text in set(texts):
        value = _number(text, name, convert)
        if value is None or not (np.isnan(value) or least <= value <= most):
            line = table.lines[texts.index(text)]
            raise NotUnderstood(f"{where}: line {line}: {name} can't be {shown(text)}")
        read[text] = value
    return np.array([read[text] for text in texts], dtype=float)


def _number(text: str, name: str, convert: Callable[[float], float]) -> float | None:
    """The number, NaN for a hole, None for anything else."""
    holes = text == "999" if name == "WDIR" else name not in ("LAT", "LON") and _NINES.fullmatch(text)
    if text == "MM" or holes:
        return float("nan")
    return convert(float(text)) if _NUMBER.fullmatch(text) else None


def _one_row_a_minute(rows: pd.DataFrame) -> pd.DataFrame:
    if rows.index.is_unique:
        return rows
    groups = rows.groupby(level=0)
    worst = {
        name: groups[name].min() if name in LOWER_IS_WORSE else groups[name].max()
        for name in rows.columns
        if name != "wind_from_deg"
    }
    if "wind_from_deg" in rows:
        direction = groups["wind_from_deg"]
        worst["wind_from_deg"] = direction.first().where(direction.nunique() == 1)
    return pd.DataFrame(worst)[list(rows.columns)]


def _newest(rows: pd.DataFrame) -> dict[str, Observed]:
    found = {}
    for name in rows.columns:
        known = rows[name].dropna()
        if len(known):
            found[str(name)] = Observed(value=float(known.iloc[-1]), at=known.index[-1].to_pydatetime())
    return found
