"""How often a day of the year was fit in other years: what days past the forecast are taken for.

Counted from hours that a station measured. Nothing is filled: a day of which too little is known is not counted,
and an hour that is not known is not fit. The chance ranks days and permits none.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta

import numpy as np
import pandas as pd

from soakbell.planning.fit_chance import DaySpan
from soakbell.sea.trust import MEASURED, wilson_80

LEAST_KNOWN = 0.8
"""Share of a day's hours that must be known for the day to be counted: a choice of ours."""

LEAST_DAYS = 10
"""A month with fewer days counted, over all years, has the chance held beforehand: a choice of ours."""

USUAL_CORRELATION = 0.3
"""Of a day's fitness with the next one's, before it is counted; from memory."""

_SMOOTH_DAYS = 15.0  # standard deviation of the weights by day of year: about a month, a choice of ours
_LEAST_PAIRS = 60
_MOST_CORRELATION = 0.95
_MONTHS = 12
_LEAP_YEAR = 2024
_DAYS_OF_YEAR = 366
_HOUR = timedelta(hours=1)
_ONE_DAY = timedelta(days=1)
_ROUNDING = 1e-9


@dataclass(frozen=True)
class MonthFit:
    """One month of the year over all years: days in them, those known well enough, and of these the fit ones."""

    month: int
    days: int
    known: int
    fit: int

    @property
    def chance(self) -> float | None:
        return self.fit / self.known if self.known else None

    @property
    def bounds(self) -> tuple[float, float] | None:
        """Of the true chance, at 80 %, were days independent. Fit days come in spells, so it is less sure."""
        return wilson_80(self.fit / self.known, self.known) if self.known else None


@dataclass(frozen=True)
class FitClimate:
    """The chance of a fit day by day of the year.

    Attributes:
        chances: by day of a leap year, 366 of them, January first.
        correlation: of one day's fitness with the next one's, given their chances, rather too high; at least 0.
        prior_months: whose chance is the one held beforehand, by number; all twelve where nothing was counted.
        months: what was counted, January first; empty where nothing was.
        years: with a day counted, rising.
    """

    chances: tuple[float, ...] = field(repr=False)
    correlation: float = USUAL_CORRELATION
    prior_months: tuple[int, ...] = tuple(range(1, _MONTHS + 1))
    months: tuple[MonthFit, ...] = ()
    years: tuple[int, ...] = ()

    def chance_on(self, day: date) -> float:
        return self.chances[_day_of_year(day)]


def prior_climate(usual_by_month: Sequence[float]) -> FitClimate:
    """Nothing counted. ``usual_by_month``: twelve chances, January first."""
    days = [date(_LEAP_YEAR, 1, 1) + n * _ONE_DAY for n in range(_DAYS_OF_YEAR)]
    return FitClimate(tuple(usual_by_month[day.month - 1] for day in days))


def fit_days(
    measured: pd.DataFrame,
    spans: Sequence[DaySpan],
    limits: Mapping[str, float],
    *,
    needed_h: float,
    break_margin_h: float,
) -> dict[date, bool | None]:
    """Whether each day had a window for a trip; None where too few of its hours are known.

    A window is a run of whole hours inside the span, each known and inside every limit, and so for
    ``break_margin_h`` after it. Rounding makes it longer, never shorter.

    Args:
        measured: as from ``hourly_measured``.
        limits: highest values by quantity, of those in ``MEASURED``; at least one.

    Raises:
        ValueError: ``limits`` names nothing, or what stations don't measure.
    """
    if not limits or not set(limits) <= set(MEASURED):
        raise ValueError(f"limits of {', '.join(limits) or 'nothing'}; name some of {', '.join(MEASURED)}")
    if measured.empty:
        return dict.fromkeys((span.day for span in spans), None)
    first_at = measured.index[0].to_pydatetime()
    hours = pd.date_range(first_at, measured.index[-1], freq="h")
    table = measured.reindex(index=hours, columns=list(limits)).to_numpy(dtype=float)
    known = np.isfinite(table).all(axis=1)
    bad = ~(known & (table <= np.array(list(limits.values()))).all(axis=1))
    needed, after = math.ceil(needed_h - _ROUNDING), math.ceil(break_margin_h - _ROUNDING)
    known_to = np.concatenate(([0], np.cumsum(known)))
    bad_to = np.concatenate(([0], np.cumsum(bad)))

    def fit_on(span: DaySpan) -> bool | None:
        if span.begins is None or span.ends is None:
            return False
        first, stop = math.ceil(_hours(first_at, span.begins)), math.floor(_hours(first_at, span.ends))
        inside = np.clip([first, max(first, stop)], 0, len(hours))
        if known_to[inside[1]] - known_to[inside[0]] < LEAST_KNOWN * max(1, stop - first):
            return None
        leaves = np.arange(max(first, 0), min(stop - needed, len(hours) - needed - after) + 1)
        return bool((bad_to[leaves + needed + after] == bad_to[leaves]).any())

    return {span.day: fit_on(span) for span in spans}


def fit_climate(days: Mapping[date, bool | None], usual_by_month: Sequence[float]) -> FitClimate:
    """Count the days of past years.

    Chances are smoothed over about a month, around the turn of the year too.

    Args:
        days: as from ``fit_days``, of whole years; days that are None aren't counted.
        usual_by_month: twelve chances, January first, for months of which too little is known.
    """
    told = {day: fit for day, fit in sorted(days.items()) if fit is not None}
    prior = prior_climate(usual_by_month)
    if not told:
        return prior
    months = tuple(_month_fit(month, days, told) for month in range(1, _MONTHS + 1))
    lacking = tuple(month.month for month in months if month.known < LEAST_DAYS)
    counted = _smooth(told)
    chances = tuple(
        prior.chances[n] if _month_of(n) in lacking else float(counted[n]) for n in range(_DAYS_OF_YEAR)
    )
    return FitClimate(
        chances=chances,
        correlation=_correlation(told, counted),
        prior_months=lacking,
        months=months,
        years=tuple(sorted({day.year for day in told})),
    )


def _hours(since: datetime, at: datetime) -> float:
    return (at - since) / _HOUR


def _month_fit(month: int, days: Mapping[date, bool | None], told: Mapping[date, bool]) -> MonthFit:
    fit = [is_fit for day, is_fit in told.items() if day.month == month]
    return MonthFit(month, sum(day.month == month for day in days), len(fit), sum(fit))


def _day_of_year(day: date) -> int:
    """From 0, as in a leap year, so that a date has the same number every year."""
    return day.replace(year=_LEAP_YEAR).timetuple().tm_yday - 1


def _month_of(day_of_year: int) -> int:
    return (date(_LEAP_YEAR, 1, 1) + day_of_year * _ONE_DAY).month


def _smooth(told: Mapping[date, bool]) -> np.ndarray:
    """Share of fit days around each day of the year, by weights that fall off as the normal density does."""
    at = np.array([_day_of_year(day) for day in told])
    fit = np.bincount(at, weights=np.array(list(told.values()), dtype=float), minlength=_DAYS_OF_YEAR)
    known = np.bincount(at, minlength=_DAYS_OF_YEAR)
    apart = np.abs(np.arange(_DAYS_OF_YEAR)[:, None] - np.arange(_DAYS_OF_YEAR)[None, :])
    apart = np.minimum(apart, _DAYS_OF_YEAR - apart)
    weights = np.exp(-0.5 * (apart / _SMOOTH_DAYS) ** 2)
    shares: np.ndarray = np.clip((weights @ fit) / (weights @ known), 0.0, 1.0)
    return shares


def _correlation(told: Mapping[date, bool], chances: np.ndarray) -> float:
    """Of neighbouring days, each less its chance, so that the seasons don't count as spells.

    One standard error (1 / sqrt(pairs), Bartlett 1946) is added: smoothing takes some away, and spells taken too
    short would make the end look too sure.
    """
    off = {day: float(fit) - float(chances[_day_of_year(day)]) for day, fit in told.items()}
    pairs = np.array([(off[day], off[day + _ONE_DAY]) for day in off if day + _ONE_DAY in off])
    if len(pairs) < _LEAST_PAIRS:
        return USUAL_CORRELATION
    spread = float(np.sqrt((pairs[:, 0] ** 2).mean() * (pairs[:, 1] ** 2).mean()))
    if spread <= 0:
        return USUAL_CORRELATION
    found = float((pairs[:, 0] * pairs[:, 1]).mean()) / spread + 1 / math.sqrt(len(pairs))
    return min(max(found, 0.0), _MOST_CORRELATION)
