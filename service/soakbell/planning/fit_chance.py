"""How likely a later day has a window: the forecast with errors laid over it, many times.

What is asked of an hour is what a call asks (``sea.fitness``), with wind, gusts and sea moved by an error that
goes on from hour to hour. An hour that isn't known, isn't understood, is contradicted or barred is unfit in every
path, so what is lacking can only take chance away. The chance ranks days and permits none: today's word is the
call's alone.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from soakbell.planning.trips import DEPARTURE_STEP_MIN, DayBounds
from soakbell.sea.fitness import Fitness, fitness
from soakbell.sea.trust import ErrorModel, Numbers
from soakbell.sea.waves import wavelength_m

Flags = npt.NDArray[np.bool_]
Kind = TypeVar("Kind", np.bool_, np.float64)

ERRING = ("wind_kt", "gust_kt", "sea_m")
"""Quantities that get an error. Thunder and visibility are held against their limits as forecast; the period stays
as forecast, so that a higher sea is a steeper one."""

LOW_SHARE = 0.2
"""``low_window_min``: the window is shorter than that in this share of the paths that have one."""

_DAY = timedelta(days=1)
_DAY_MIN = 1440.0
_NO_LIMIT = 1e9  # past any wind, sea or steepness; infinity would make a headroom that is no number


@dataclass(frozen=True)
class PlaceAhead:
    """One place's hours, for laying errors over them.

    Attributes:
        first_at: begin of the first hour, UTC.
        room: by ERRING quantity, what is left to its limit hour by hour, negative past it; NaN where unknown.
        sure: hours that are fit as far as no error can change it: known, understood, not contradicted, not barred,
            thunder and visibility inside their limits.
    """

    first_at: datetime
    room: Mapping[str, Numbers] = field(repr=False)
    sure: Flags = field(repr=False)


def place_ahead(place: Fitness, *, depth_m: float) -> PlaceAhead:
    """What of a place's fitness an error can change, and what not. ``depth_m`` as it was made with."""
    limits, worst = place.limits, place.conditions.worst
    eased = replace(
        limits,
        wind_kt=_NO_LIMIT,
        gust_kt=None if limits.gust_kt is None else _NO_LIMIT,
        sea_m=_NO_LIMIT,
        steepness=None if limits.steepness is None else _NO_LIMIT,
    )
    most_wind_kt, most_sea_m = limits.wind_kt, np.full(len(worst), limits.sea_m)
    room = {}
    if limits.gust_kt is not None:
        most_wind_kt = min(most_wind_kt, limits.gust_kt)  # no gust is below the wind of its path
        room["gust_kt"] = limits.gust_kt - worst["gust_kt"].to_numpy(dtype=float)
    if limits.steepness is not None:
        length_m = wavelength_m(worst["period_s"].to_numpy(dtype=float), depth_m)
        most_sea_m = np.minimum(most_sea_m, limits.steepness * length_m)
    room["wind_kt"] = most_wind_kt - worst["wind_kt"].to_numpy(dtype=float)
    room["sea_m"] = most_sea_m - worst["sea_m"].to_numpy(dtype=float)
    return PlaceAhead(
        first_at=worst.index[0].to_pydatetime(),
        room=room,
        sure=fitness(place.conditions, eased, depth_m=depth_m).fit.to_numpy(dtype=bool),
    )


# ---- errors


@dataclass(frozen=True)
class ErrorShape:
    """How errors hang together: the hours in which their memory falls to 1/e, and how far wind's goes with others.

    That of gusts with the sea follows: it is the product of the two.
    """

    correlation_h: float
    wind_gust: float
    wind_sea: float

    def __post_init__(self) -> None:
        if not (self.correlation_h > 0 and abs(self.wind_gust) <= 1 and abs(self.wind_sea) <= 1):
            raise ValueError(f"{self}; write hours above 0 and correlations from -1 to 1")


@dataclass(frozen=True)
class ErrorPaths:
    """Sampled errors, to be shared by all places and days of one plan.

    Attributes:
        first_at: begin of the hour of lead 0, UTC.
        errors: by quantity, paths x hours from ``first_at``, in its unit.
        luck: paths x days, even between 0 and 1, each for itself: what days beyond the forecast are drawn by.
    """

    first_at: datetime
    errors: Mapping[str, Numbers] = field(repr=False)
    luck: Numbers = field(repr=False)


def error_paths(
    models: Mapping[str, ErrorModel],
    shape: ErrorShape,
    *,
    now: datetime,
    hours: int,
    days: int,
    paths: int = 500,
    seed: int = 1,
) -> ErrorPaths:
    """Draw errors; the same arguments give the same paths, and fewer hours the beginning of them.

    Each of ERRING is a first-order autoregressive process in hours, scaled by its model's spread at each lead and
    moved by its bias.

    Args:
        models: by ERRING quantity, all of them.
    """
    steady = np.random.default_rng([seed, 0]).standard_normal((hours, paths, 3))
    fade = math.exp(-1 / shape.correlation_h)
    for hour in range(1, hours):
        steady[hour] = fade * steady[hour - 1] + math.sqrt(1 - fade**2) * steady[hour]
    wind, gust_apart, sea_apart = np.moveaxis(steady, 2, 0)
    score = {
        "wind_kt": wind,
        "gust_kt": shape.wind_gust * wind + math.sqrt(1 - shape.wind_gust**2) * gust_apart,
        "sea_m": shape.wind_sea * wind + math.sqrt(1 - shape.wind_sea**2) * sea_apart,
    }
    lead_h = np.arange(hours, dtype=float)
    errors = {}
    for quantity in ERRING:
        model, z = models[quantity], score[quantity].T
        spread = np.where(z > 0, model.rougher_sd_at(lead_h), model.calmer_sd_at(lead_h))
        errors[quantity] = model.bias_at(lead_h) + spread * z
    luck = np.random.default_rng([seed, 1]).random((days, paths)).T
    first_at = now.astimezone(UTC).replace(minute=0, second=0, microsecond=0)
    return ErrorPaths(first_at, errors, luck)


# ---- days


@dataclass(frozen=True)
class DaySpan:
    """The time in which a boat may be out on one local day, aware UTC; None where nothing may be hauled."""

    day: date
    begins: datetime | None
    ends: datetime | None


def day_span(
    day: date, bounds: DayBounds | None, *, run_out_min: float = 0.0, run_home_min: float = 0.0
) -> DaySpan:
    """Twilight, cut to the law's hours with the run to the first trap before and the run home after them."""
    if bounds is None:
        return DaySpan(day, None, None)
    begins = max(bounds.out_from, bounds.haul_from - timedelta(minutes=run_out_min))
    ends = min(bounds.home_by, bounds.haul_to + timedelta(minutes=run_home_min))
    return DaySpan(day, begins, ends)


@dataclass(frozen=True)
class Beyond:
    """What days past the forecast are taken for, by the record of other years.

    ``window_min`` is cut to the day's span; where the span is shorter than what is needed the chance is 0.
    ``tie``: the correlation of a day's fitness with the next one's.
    """

    from_at: datetime
    chance: float
    window_min: float
    tie: float = 0.0

    def __post_init__(self) -> None:
        if not (0 <= self.chance <= 1 and 0 <= self.tie < 1):
            raise ValueError(f"{self}; write a chance from 0 to 1 and a tie from 0 to below 1")


@dataclass(frozen=True)
class DayChance:
    """What is to be expected of a day.

    ``window_min`` is the mean and ``low_window_min`` the LOW_SHARE quantile of the longest window in those paths
    that have one; both 0 where none has. ``forecast`` is False for a day beyond it.
    """

    day: date
    chance: float
    window_min: float
    low_window_min: float
    forecast: bool


@dataclass(frozen=True)
class FitChances:
    """The days in the order asked, and what they were counted from.

    ``window_min`` is the longest window of each path, paths x days; ``fit`` where it is long enough.
    """

    days: tuple[DayChance, ...]
    window_min: Numbers = field(repr=False)
    fit: Flags = field(repr=False)


def fit_chances(
    places: Sequence[PlaceAhead],
    spans: Sequence[DaySpan],
    errors: ErrorPaths,
    *,
    needed_min: float,
    break_margin_h: float,
    beyond: Beyond,
) -> FitChances:
    """For each day the share of paths with a window that ``needed_min`` from harbor to harbor fits in.

    A window counts where every one of ``places`` is fit at once, and for ``break_margin_h`` after landing, as for
    a call; it begins on a quarter hour. This asks more than a call does, which asks each place only while the boat
    is there. For the chance of a single string give the harbor and the string.

    Days past the forecast hang on each other: after a fit day the next is fit with the chance p + tie (1 - p),
    else with p (1 - tie), where p is the usual one. A path goes on from whether the last forecast day was fit in
    the same hours of the clock, so that a gale at its end makes the next day less likely than usual.

    Args:
        places: at least one, all with the same hours.
        spans: of days one after the other, not more than ``errors`` was drawn for.
        beyond: counts for spans that begin at or after its ``from_at``. Set that by how far the sources ought to
            reach, not by how far they did: else a bad forecast that is lost would make its day a usual one.
    """
    fit_hours = _fit_hours(places, errors)
    windows = np.zeros((len(errors.luck), len(spans)))
    days = []
    for d, span in enumerate(spans):
        is_forecast = span.begins is None or span.begins < beyond.from_at
        if span.begins is not None and span.ends is not None:
            begins_min = _minutes(errors.first_at, span.begins)
            ends_min = _minutes(errors.first_at, span.ends)
            if is_forecast:
                windows[:, d] = _longest_windows(fit_hours, begins_min, ends_min, 60 * break_margin_h)
            else:
                days_past = 1 + math.floor((span.begins - beyond.from_at) / _DAY)
                hours = begins_min - _DAY_MIN * days_past, ends_min - _DAY_MIN * days_past
                last_min = _longest_windows(fit_hours, *hours, 60 * break_margin_h)
                lucky = (last_min > 0) & (last_min >= needed_min)
                for luck in errors.luck.T[max(0, d + 1 - days_past) : d + 1]:
                    lucky = luck < beyond.chance * (1 - beyond.tie) + beyond.tie * lucky
                windows[:, d] = np.where(
                    lucky & (beyond.chance > 0), min(beyond.window_min, ends_min - begins_min), 0.0
                )
        good = windows[:, d][windows[:, d] >= needed_min]
        days.append(
            DayChance(
                day=span.day,
                chance=len(good) / len(windows),
                window_min=float(good.mean()) if len(good) else 0.0,
                low_window_min=float(np.quantile(good, LOW_SHARE)) if len(good) else 0.0,
                forecast=is_forecast,
            )
        )
    return FitChances(tuple(days), windows, windows >= needed_min)


def _minutes(since: datetime, at: datetime) -> float:
    return (at - since) / timedelta(minutes=1)


def _fit_hours(places: Sequence[PlaceAhead], errors: ErrorPaths) -> Flags:
    """Paths x hours from ``errors.first_at``: all places fit. Hours that a place doesn't tell are not.

    A limit is kept where the error is at most the room left to it. The error is not stopped where it would take a
    number below 0: that is inside any limit all the same.
    """
    paths, hours = errors.errors["wind_kt"].shape
    fit = np.ones((paths, hours), dtype=bool)
    for place in places:
        ahead = int((place.first_at - errors.first_at) / timedelta(hours=1))
        sure = _shifted(place.sure, ahead, hours, False)
        fit &= sure
        for quantity, room in place.room.items():
            fit &= errors.errors[quantity] <= _shifted(room, ahead, hours, np.nan)
    return fit


def _shifted(values: npt.NDArray[Kind], ahead: int, hours: int, outside: float) -> npt.NDArray[Kind]:
    """The values from hour ``-ahead`` of theirs on, ``hours`` of them, ``outside`` where they have none."""
    out = np.full(hours, outside, dtype=values.dtype)
    first, stop = max(0, ahead), min(hours, ahead + len(values))
    if first < stop:
        out[first:stop] = values[first - ahead : stop - ahead]
    return out


def _longest_windows(fit: Flags, begins_min: float, ends_min: float, margin_min: float) -> Numbers:
    """For each path the longest time between leaving and landing within ``begins_min`` to ``ends_min``.

    A run of fit hours ends ``margin_min`` before its last hour does.
    """
    hours = fit.shape[1]
    begins_min = DEPARTURE_STEP_MIN * math.ceil(begins_min / DEPARTURE_STEP_MIN)
    first, stop = max(0, math.floor(begins_min / 60)), min(hours, math.ceil(ends_min / 60))
    if first >= stop:
        return np.zeros(len(fit))
    at = np.arange(hours)
    run_from = np.maximum.accumulate(np.where(fit, -1, at), axis=1) + 1
    run_to = np.minimum.accumulate(np.where(fit, hours, at)[:, ::-1], axis=1)[:, ::-1]
    leaves = np.maximum(begins_min, 60 * run_from[:, first:stop])
    lands = np.minimum(ends_min, 60 * run_to[:, first:stop] - margin_min)
    return np.asarray(np.maximum(0.0, lands - leaves).max(axis=1, initial=0.0), dtype=float)
