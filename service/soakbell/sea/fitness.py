"""Which hours are fit at a place, for given limits, and what stands in the way of the others."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from datetime import datetime, timedelta

import numpy as np
import pandas as pd

from soakbell.sea.conditions import Conditions
from soakbell.sea.limits import Limits
from soakbell.sea.waves import steepness

CARRYING = ("wind_kt", "sea_m")
"""Quantities without which no hour is known, whatever the limits."""


@dataclass(frozen=True)
class Fitness:
    """Each hour of one place held against one set of limits.

    Attributes:
        fit: bool; all limits kept by known numbers, nothing bars, nothing is unclear or contradicted.
        over: bool; a number is outside its limit or something bars. Not fit even if the rest were known.
        values: hourly, the limited quantities with their worst numbers, ``steepness`` added where limited.
        headroom: same shape; share of the limit that is left, (limit - value) / limit, negative past it
            (for visibility (value - limit) / limit). NaN where not known.
        conditions, limits: what it was made from.
    """

    fit: pd.Series[bool] = field(repr=False)
    over: pd.Series[bool] = field(repr=False)
    values: pd.DataFrame = field(repr=False)
    headroom: pd.DataFrame = field(repr=False)
    conditions: Conditions = field(repr=False)
    limits: Limits

    def rows_of(self, begins: datetime, ends: datetime) -> tuple[int, int]:
        """First row, and one past the last, of the hours touched from ``begins`` to ``ends``; cut to the table."""
        first_at = self.fit.index[0]
        first = math.floor((begins - first_at) / timedelta(hours=1))
        stop = math.ceil((ends - first_at) / timedelta(hours=1))
        return max(first, 0), min(max(stop, 0), len(self.fit))


def fitness(conditions: Conditions, limits: Limits, *, depth_m: float) -> Fitness:
    """Hold every hour against the limits.

    A hole is never inside a limit: an hour is asked as ``known & (value <= limit)`` (comparisons with NaN are
    False in both directions, so neither alone would do).
    """
    hours = pd.DatetimeIndex(conditions.worst.index)
    bars = _barred(conditions, hours)
    known_all = np.full(len(hours), conditions.bars_known)
    for quantity in CARRYING:
        known_all &= conditions.known[quantity].to_numpy()
    kept_all = np.ones(len(hours), dtype=bool)
    over = bars.copy()
    values: dict[str, np.ndarray] = {}
    headroom: dict[str, np.ndarray] = {}
    for name, limit in limits.given().items():
        value, known = _held(conditions, name, depth_m)
        inside = value >= limit if name == "visibility_nm" else value <= limit
        outside = value < limit if name == "visibility_nm" else value > limit
        known_all &= known
        kept_all &= known & inside
        over |= outside
        values[name] = value
        left = (value - limit if name == "visibility_nm" else limit - value) / limit if limit else limit - value
        headroom[name] = np.where(known | outside, left, np.nan)
    clear = (conditions.unclear == "").to_numpy() & conditions.lacking.isna().to_numpy()
    contradicted = hours.isin([gap.at for gap in conditions.gaps])
    fit = known_all & kept_all & ~over & clear & ~contradicted
    return Fitness(
        fit=pd.Series(fit, hours),
        over=pd.Series(over, hours),
        values=pd.DataFrame(values, hours),
        headroom=pd.DataFrame(headroom, hours),
        conditions=conditions,
        limits=limits,
    )


def _held(conditions: Conditions, name: str, depth_m: float) -> tuple[np.ndarray, np.ndarray]:
    worst, known = conditions.worst, conditions.known
    if name != "steepness":
        return worst[name].to_numpy(dtype=float), known[name].to_numpy(dtype=bool)
    sea_m, period_s = worst["sea_m"].to_numpy(dtype=float), worst["period_s"].to_numpy(dtype=float)
    both = known["sea_m"].to_numpy(dtype=bool) & known["period_s"].to_numpy(dtype=bool)
    return np.asarray(steepness(sea_m, period_s, depth_m), dtype=float), both


def _barred(conditions: Conditions, hours: pd.DatetimeIndex) -> np.ndarray:
    barred = np.zeros(len(hours), dtype=bool)
    for bar in conditions.bars:
        starts = hours + pd.Timedelta(hours=1) > pd.Timestamp(bar.starts_at)
        goes_on = np.ones(len(hours), bool) if bar.ends_at is None else hours < pd.Timestamp(bar.ends_at)
        barred |= np.asarray(starts) & np.asarray(goes_on)
    return barred
