"""Season's end: the dates that the law sets, and the odds of having every trap home by the deadline.

The odds are counted over drawn weather: from each start day on, every day whose window carries the next trips
takes them, and any other day is waited out. They rank start days and permit nothing: each day's word is the call's
alone.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta

import numpy as np

from soakbell.fishery.rules import Fishery
from soakbell.fishery.season import SeasonReason, season_day, take_up
from soakbell.sea.trust import Numbers

LEVELS = (0.80, 0.95, 0.99)
"""Chances for which a day to start by is told."""

PATHS = 10_000
_MINUTES_A_DAY = 1440
_HOURS_A_DAY = 24
_ONE_DAY = timedelta(days=1)
_ROUNDING = 1e-9


@dataclass(frozen=True)
class TakeUpTrip:
    """One load of traps brought home.

    Attributes:
        strings: name and places (from the start mark, rising) of what is hauled, in the order in which it is.
        traps: how many are stacked on deck, over all strings.
        minutes: from leaving the harbor until home, with hauling, stacking and the boat's margin.
    """

    strings: tuple[tuple[str, tuple[int, ...]], ...]
    traps: int
    minutes: float


@dataclass(frozen=True)
class TakeUpPlan:
    """Trips in the order in which they should go, the fullest first. None where no trap is out."""

    trips: tuple[TakeUpTrip, ...]

    @property
    def traps(self) -> int:
        return sum(trip.traps for trip in self.trips)


# ---- dates


@dataclass(frozen=True)
class SeasonEnd:
    """The end of the stretch of days with traps allowed that a day lies in, or else of the last one before it.

    Attributes:
        deadline: the last day on which a trap may be in the water; ``reason`` as of ``TakeUp``.
        last_harvest, last_set: the last days, from the day asked on, on which traps may be pulled for their catch
            and may be set; None where there is none left.
        next_set, next_harvest: the first days past the deadline on which that is allowed again; None where none is
            known. After a regional closure they come within days.
    """

    deadline: date
    reason: SeasonReason
    last_harvest: date | None
    last_set: date | None
    next_set: date | None
    next_harvest: date | None

    def last_rebait(self, soak_floor_h: float, home_on: date | None = None) -> date | None:
        """The last day on which fresh bait is of use: a trap that goes in later comes up before its soak floor.

        Bait goes in after the first lawful hour of its day, and a call asks the floor at that hour of the last: of
        a floor of whole days one day more is needed. None where nothing is harvested any more. The day may be
        past.

        Args:
            home_on: when the trap is taken up, if that is settled; else it is pulled on the last harvest day.
        """
        if self.last_harvest is None or self.last_set is None:
            return None
        pulled = self.last_harvest if home_on is None else min(self.last_harvest, home_on)
        return min(self.last_set, pulled - (int(soak_floor_h // _HOURS_A_DAY) + 1) * _ONE_DAY)

    def takes_bait(self, soak_floor_h: float, day: date) -> bool:
        """Whether a trap that is pulled on a day of this stretch goes in again with fresh bait."""
        last = self.last_rebait(soak_floor_h)
        return last is not None and day <= last


def season_end(fishery: Fishery, day: date, *, sector: str, region: str | None) -> SeasonEnd | None:
    """Orders, extensions and regional closures are counted in; where the region isn't told, the strictest.

    None where no end is known within five years.

    Raises:
        ValueError: ``sector`` or ``region`` isn't one of the fishery's.
    """
    due = take_up(fishery, day, sector=sector, region=region)
    if due is None:
        return None
    last_harvest = last_set = None
    at: date | None = day
    while at is not None and at <= due.deadline:
        law = season_day(fishery, at, sector=sector, region=region)
        last = due.deadline if law.next_change is None else min(due.deadline, law.next_change - _ONE_DAY)
        last_harvest = last if law.may_harvest else last_harvest
        last_set = last if law.may_set else last_set
        at = law.next_change
    next_set = next_harvest = None
    at = due.deadline + _ONE_DAY
    while at is not None and (next_set is None or next_harvest is None):
        law = season_day(fishery, at, sector=sector, region=region)
        next_set = at if next_set is None and law.may_set else next_set
        next_harvest = at if next_harvest is None and law.may_harvest else next_harvest
        at = law.next_change
    return SeasonEnd(due.deadline, due.reason, last_harvest, last_set, next_set, next_harvest)


# ---- weather


def weather_ahead(
    chances: Sequence[float],
    *,
    window_min: float,
    correlation: float,
    forecast: Numbers | None = None,
    paths: int = PATHS,
    seed: int = 1,
) -> Numbers:
    """Draw the longest window of each day in minutes, 0 for none: paths x days. The same arguments give the same.

    Past the forecast a day is fit or not, with its chance; fit days follow fit days as ``correlation`` says, and
    over all paths each day keeps its chance (a two-state Markov chain).

    Args:
        chances: of every day, from 0 to 1; those of days that the forecast covers aren't used.
        window_min: what a fit day past the forecast carries.
        correlation: of one such day's fitness with the next one's, from 0 to below 1.
        forecast: the windows of the first days, its own paths x days, as ``FitChances.window_min``. Its paths are
            gone through in turn.

    Raises:
        ValueError: a chance, ``correlation`` or the forecast's shape is none.
    """
    if not (all(0 <= chance <= 1 for chance in chances) and 0 <= correlation < 1):
        raise ValueError(f"chances {tuple(chances)} and correlation {correlation}; write chances from 0 to 1")
    windows = np.zeros((paths, len(chances)))
    known = 0
    if forecast is not None and forecast.shape[1]:
        known = min(forecast.shape[1], len(chances))
        if not len(forecast):
            raise ValueError("a forecast without paths; give at least one")
        windows[:, :known] = forecast[np.arange(paths) % len(forecast), :known]
    luck = np.random.default_rng([seed, 2]).random((len(chances), paths))
    fit = windows[:, known - 1] >= window_min if known else None
    before = None if fit is None else float(fit.mean())
    for day in range(known, len(chances)):
        chance = chances[day]
        if fit is None or before is None:
            fit = luck[day] < chance
        else:
            after_fit, after_unfit = _turns(before, chance, correlation)
            fit = luck[day] < np.where(fit, after_fit, after_unfit)
        windows[:, day] = np.where(fit, window_min, 0.0)
        before = chance
    return windows


def _turns(before: float, chance: float, correlation: float) -> tuple[float, float]:
    """The chance of a fit day after a fit one, and after one that isn't, so that over both it is ``chance``.

    Where no pair of chances has that correlation, the nearest that keeps ``chance``.
    """
    spread = before * (1 - before)
    if spread <= 0 or not correlation:
        return chance, chance
    tie = correlation * math.sqrt(chance * (1 - chance) / spread)
    tie = min(tie, (1 - chance) / (1 - before), chance / before)
    return chance + tie * (1 - before), chance - tie * before


# ---- odds


@dataclass(frozen=True)
class StartDay:
    """What comes of starting on ``day``.

    ``chance``: that every trap is home by the deadline. ``half_by``, ``most_by``: the day on whose evening it is
    so in half and in nine of ten paths; None where that is past the days drawn.
    """

    day: date
    chance: float
    half_by: date | None
    most_by: date | None


@dataclass(frozen=True)
class TakeUpOdds:
    """The start days in order.

    Attributes:
        trips: needed, whenever it starts.
        start_by: for each of LEVELS the last day to start on for that chance; None: not even the first has it.
        done: share of paths with every trap home by the evening of each day, start days x days from the first.
    """

    deadline: date
    trips: int
    starts: tuple[StartDay, ...]
    start_by: tuple[tuple[float, date | None], ...]
    done: Numbers = field(repr=False)


def take_up_odds(
    plan: TakeUpPlan,
    windows: Numbers,
    first_day: date,
    deadline: date,
    *,
    starts: int = 40,
    trips_a_day: int = 1,
    unload_min_per_trap: float = 0.0,
) -> TakeUpOdds:
    """Count, for each possible start day, how it ends.

    Trips go in the plan's order: a window too short for the next one is waited out, though another might fit it.

    Args:
        windows: as from ``weather_ahead``, the first day ``first_day``. A day on which nobody may or will go out
            has windows of 0.
        starts: start days looked at, from ``first_day``, at most as many as there are windows.
        trips_a_day: the most that one day takes, where they fit its window one after the other.
        unload_min_per_trap: at the dock, between two trips of one day.

    Raises:
        ValueError: the windows end before the deadline, or there is no path.
    """
    paths, days = windows.shape
    last = (deadline - first_day).days
    if not paths or last >= days:
        raise ValueError(f"{paths} paths of {days} days from {first_day}; draw them past the deadline, {deadline}")
    trips = len(plan.trips)
    starts = min(starts, days)
    steps = _steps(plan, trips_a_day, unload_min_per_trap)
    minutes = np.clip(windows, 0, _MINUTES_A_DAY).astype(np.int32).T
    made = np.zeros((starts, paths), dtype=np.int32)
    done = np.zeros((starts, days))
    for day in range(days):
        begun = made[: day + 1]
        begun[:] = steps.take(begun * (_MINUTES_A_DAY + 1) + minutes[day])
        done[: day + 1, day] = (begun == trips).mean(axis=1)
    told = tuple(
        StartDay(
            day=first_day + start * _ONE_DAY,
            chance=_chance(done[start], start, last, trips),
            half_by=_reached(done[start], start, first_day, 0.5),
            most_by=_reached(done[start], start, first_day, 0.9),
        )
        for start in range(starts)
    )
    start_by = tuple(
        (level, max((start.day for start in told if start.chance >= level), default=None)) for level in LEVELS
    )
    return TakeUpOdds(deadline, trips, told, start_by, done)


def likely_days(
    plan: TakeUpPlan,
    windows: Numbers,
    first_day: date,
    start: date,
    *,
    trips_a_day: int = 1,
    unload_min_per_trap: float = 0.0,
) -> tuple[date | None, ...]:
    """For each trip the first day on whose evening it is made in half of the paths, if they start on ``start``.

    None past the days drawn. The other arguments are those of ``take_up_odds``.
    """
    paths, days = windows.shape
    steps = _steps(plan, trips_a_day, unload_min_per_trap)
    minutes = np.clip(windows, 0, _MINUTES_A_DAY).astype(np.int32).T
    made = np.zeros(paths, dtype=np.int32)
    found: list[date] = []
    for day in range((start - first_day).days, days):
        made = steps.take(made * (_MINUTES_A_DAY + 1) + minutes[day])
        while len(found) < len(plan.trips) and (made > len(found)).mean() >= 0.5:
            found.append(first_day + day * _ONE_DAY)
    return (*found, *[None] * (len(plan.trips) - len(found)))


def _steps(plan: TakeUpPlan, trips_a_day: int, unload_min_per_trap: float) -> np.ndarray:
    """Trips made by the evening, by trips made by the morning and whole minutes of the day's window, flattened."""
    trips = len(plan.trips)
    table = np.zeros((trips + 1, _MINUTES_A_DAY + 1), dtype=np.int32)
    for made in range(trips + 1):
        table[made] = made
        needed_min = 0.0
        for ahead, trip in enumerate(plan.trips[made : made + trips_a_day], start=1):
            needed_min += trip.minutes
            if needed_min > _MINUTES_A_DAY:
                break
            table[made, math.ceil(needed_min - _ROUNDING) :] = made + ahead
            needed_min += unload_min_per_trap * trip.traps
    return table.ravel()


def _chance(done: Numbers, start: int, last: int, trips: int) -> float:
    if not trips:
        return 1.0
    return float(done[last]) if start <= last else 0.0


def _reached(done: Numbers, start: int, first_day: date, share: float) -> date | None:
    found = np.flatnonzero(done[start:] >= share)
    return first_day + (start + int(found[0])) * _ONE_DAY if len(found) else None
