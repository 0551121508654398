"""A grid cell's layers laid out hour by hour."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import numpy as np
import pandas as pd

from soakbell.clock import as_utc
from soakbell.sea.conditions import LOWER_IS_WORSE
from soakbell.sea.grid_forecast import GridForecast, GridSpan
from soakbell.sea.sources import QUANTITIES, SourceHours, SourceKind

_HOUR = timedelta(hours=1)
_MINUTES = 60

LAYER_OF: Mapping[str, str] = {
    "wind_kt": "windSpeed",
    "gust_kt": "windGust",
    "wind_from_deg": "windDirection",
    "sea_m": "waveHeight",
    "period_s": "wavePeriod",
    "thunder_pct": "probabilityOfThunder",
    "visibility_nm": "visibility",
}
"""The layer that stands for the whole quantity. Wind waves and swells given apart are parts and aren't read."""

_ALWAYS_ZERO = frozenset({"wind_kt", "gust_kt", "sea_m", "period_s"})
"""Zero over a whole week is a layer that nobody filled, not a calm (captured shore cells)."""

_ALWAYS_LIMITED = frozenset({"wind_kt", "gust_kt", "sea_m"})
"""Every boat has limits for these: what isn't understood of them counts, declared or not."""


@dataclass(frozen=True)
class _Column:
    number: np.ndarray
    covered: np.ndarray
    unclear: dict[int, str]
    partly: dict[int, str]


def hours_of_grid(grid: GridForecast, *, gives: Collection[str]) -> SourceHours:
    """Lay a cell's layers out in hourly rows over the span it is valid for.

    The row of 15:00 stands for 15:00 to 16:00. An hour touched by several intervals takes the worst of them;
    one that its intervals cover only in part keeps that number as a lower bound and is unclear. Holes stay NaN.
    Thunder comes from its own layer; what the words of the weather layer stand for only raises it, since a layer
    that was lost must not be stood in for by something milder. Undeclared, the words tighten by themselves.

    Args:
        gives: the quantities (names in QUANTITIES) that the skipper's settings say this cell gives, and so may
            carry a call. What else the cell gives is read too, but is never ``whole``: it may only tighten, and
            where it is lost or lasts for a part of an hour nothing is told. A direction can't tighten.

    Returns:
        A table from ``valid_from`` (its hour) to ``valid_to``.

    Raises:
        ValueError: ``gives`` names something that is no quantity.
    """
    strange = set(gives) - set(QUANTITIES)
    if strange:
        raise ValueError(f"a grid can't give {sorted(strange)}; it gives any of {', '.join(QUANTITIES)}")
    first = as_utc(grid.valid_from).replace(minute=0, second=0, microsecond=0)
    count = -((first - grid.valid_to) // _HOUR)
    hours = pd.date_range(first, periods=count, freq="h", tz="UTC")
    numbers = pd.DataFrame(np.nan, index=hours, columns=list(QUANTITIES))
    whole = pd.DataFrame(False, index=hours, columns=list(QUANTITIES))
    unclear: dict[int, str] = {}
    notes: dict[str, str] = {}
    for quantity in QUANTITIES:
        declared = quantity in gives
        if not declared and quantity == "wind_from_deg":
            continue
        intervals, note = _intervals_for(grid, quantity)
        column = _column(quantity, intervals, first, count)
        if quantity == "thunder_pct":
            worded = _column(quantity, grid.layers.get("thunderstorms", ()), first, count)
            column = _with_words(column, worded, declared=declared)
        numbers[quantity] = column.number
        whole[quantity] = column.covered & ~np.isnan(column.number) & declared
        if quantity == "sea_m":  # some hours of it may be unfilled too, so a nought carries nothing
            whole[quantity] &= column.number > 0
        if declared or quantity in _ALWAYS_LIMITED:
            unclear = column.unclear | unclear
        if declared:
            unclear = column.partly | unclear
            notes |= {quantity: note} if note else {}
    said = np.full(count, "", dtype=object)
    for hour, why in unclear.items():
        said[hour] = why
    return SourceHours(
        kind=SourceKind.GRID,
        key=grid.key,
        issued_at=grid.updated_at,
        expires_at=grid.valid_to,
        numbers=numbers,
        whole=whole,
        unclear=pd.Series(said, index=hours, dtype=object),
        notes=notes,
    )


def _intervals_for(grid: GridForecast, quantity: str) -> tuple[tuple[GridSpan, ...], str]:
    """The intervals that give a quantity, and a note where they are not what one would expect."""
    name = LAYER_OF[quantity]
    if name not in grid.layers:
        return (), f"the reply has no {name} layer"
    intervals = grid.layers[name]
    if not intervals:
        return (), f"the {name} layer is empty"
    if quantity in _ALWAYS_ZERO and not any(i.value for i in intervals) and not any(i.unclear for i in intervals):
        if all(i.value is None for i in intervals):
            return (), f"the {name} layer has no values"
        return (), f"the {name} layer is 0 from end to end, which is no forecast"
    if quantity == "period_s":  # waves of no period are no waves: a hole
        return tuple(replace(i, value=i.value or None) for i in intervals), ""
    return intervals, ""


def _with_words(layer: _Column, worded: _Column, *, declared: bool) -> _Column:
    number = np.fmax(layer.number, worded.number)
    if declared:
        number = np.where(np.isnan(layer.number), np.nan, number)
    return replace(layer, number=number, unclear=worded.unclear | layer.unclear)


def _column(quantity: str, intervals: Sequence[GridSpan], first: datetime, count: int) -> _Column:
    number = np.full(count, np.nan)
    covered = np.zeros(count * _MINUTES, dtype=bool)
    unclear: dict[int, str] = {}
    for interval in intervals:
        touched = _touched(interval, first, count)
        if interval.unclear:
            unclear.update(dict.fromkeys(touched, interval.unclear))
        elif interval.value is not None:
            for hour in touched:
                number[hour] = _worse(quantity, number[hour], interval.value)
            covered[_full_minutes(interval, first, count)] = True
    for interval in intervals:
        if interval.value is None:
            covered[_touched_minutes(interval, first, count)] = False
    whole_hours = np.asarray(covered.reshape(count, _MINUTES).all(axis=1), dtype=bool)
    if quantity == "wind_from_deg":
        number[~whole_hours | _turning(intervals, first, count)] = np.nan
    partly = np.flatnonzero(~np.isnan(number) & ~whole_hours).tolist()
    why = f"{LAYER_OF[quantity]}: given for a part of the hour only"
    return _Column(number, whole_hours, unclear, dict.fromkeys(partly, why))


def _worse(quantity: str, there: float, value: float) -> float:
    if np.isnan(there):
        return value
    return min(there, value) if quantity in LOWER_IS_WORSE else max(there, value)


def _turning(intervals: Sequence[GridSpan], first: datetime, count: int) -> np.ndarray:
    """Hours that hold two wind directions: neither is worse, so neither is given."""
    seen: dict[int, set[float]] = {}
    for interval in intervals:
        if interval.value is not None:
            for hour in _touched(interval, first, count):
                seen.setdefault(hour, set()).add(interval.value)
    return np.array([len(seen.get(hour, ())) > 1 for hour in range(count)], dtype=bool)


def _touched(interval: GridSpan, first: datetime, count: int) -> range:
    begin = (interval.starts_at - first) // _HOUR
    end = -((first - interval.ends_at) // _HOUR)
    return range(min(max(begin, 0), count), min(max(end, 0), count))


def _full_minutes(interval: GridSpan, first: datetime, count: int) -> slice:
    minute = timedelta(minutes=1)
    begin = -((first - interval.starts_at) // minute)
    end = (interval.ends_at - first) // minute
    return slice(max(begin, 0), min(max(end, 0), count * _MINUTES))


def _touched_minutes(interval: GridSpan, first: datetime, count: int) -> slice:
    minute = timedelta(minutes=1)
    begin = (interval.starts_at - first) // minute
    end = -((first - interval.ends_at) // minute)
    return slice(max(begin, 0), min(max(end, 0), count * _MINUTES))
