"""Season's end: the dates that the law sets, and the odds of having every trap home by the deadline.

The odds are counted over drawn weather: from each start day on, every day brings home what its window and the deck
carry of the traps that are next. They rank start days and permit nothing: each day's word is the call's alone.
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
_NEVER = 10**6
"""Minutes past any day."""


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
class TakeUpWay:
    """All traps that are to come home, in the order in which they are hauled over all trips.

    Attributes:
        home_min: the run between each trap and the harbor.
        along_min: the run from the first trap to each, besides the hauling.
        a_trap_min: for hauling and stacking one.
        margin_min: of the boat, on every trip.
        deck_traps: the most that one trip brings home.
    """

    home_min: Numbers
    along_min: Numbers
    a_trap_min: float
    margin_min: float
    deck_traps: int

    @property
    def traps(self) -> int:
        return len(self.home_min)

    def minutes(self, first: int | np.ndarray, last: int | np.ndarray) -> Numbers:
        """What a trip takes that hauls all from ``first`` to ``last``, counted from 0."""
        run_min = self.home_min[first] + self.home_min[last] + self.along_min[last] - self.along_min[first]
        return np.asarray(run_min + self.a_trap_min * (np.asarray(last) - first + 1) + self.margin_min)


@dataclass(frozen=True)
class TakeUpPlan:
    """Trips in the order in which they should go; they cut ``way`` into loads. None where no trap is out.

    ``called``: the first is that of a call, and has its minutes.
    """

    trips: tuple[TakeUpTrip, ...]
    way: TakeUpWay = field(repr=False, compare=False)
    called: bool = False

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
        next_set: the first day past the deadline on which traps may be set again; None where none is known. After
            a regional closure it comes within days.
    """

    deadline: date
    reason: SeasonReason
    last_harvest: date | None
    last_set: date | None
    next_set: date | None

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
    next_set: date | None = due.deadline + _ONE_DAY
    while next_set is not None:
        law = season_day(fishery, next_set, sector=sector, region=region)
        if law.may_set:
            break
        next_set = law.next_change
    return SeasonEnd(due.deadline, due.reason, last_harvest, last_set, next_set)


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

    Traps come home in the order of the plan's way, each day as many as its window and the deck carry: a short
    window takes a smaller load than the plan's trip, and a long one may take some of the next. Who is ahead on the
    way stays ahead in the same weather, so a larger deck never makes the end less likely. A called trip takes its
    own minutes and no traps besides its own; a shorter window takes a part of it.

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
    starts = min(starts, days)
    minutes = _whole_minutes(windows)
    steps = _steps(plan, int(minutes.max()), trips_a_day, unload_min_per_trap)
    home = np.zeros((starts, paths), dtype=np.int32)
    done = np.zeros((starts, days))
    for day in range(days):
        begun = home[: day + 1]
        begun[:] = steps.take(begun * steps.shape[1] + minutes[day])
        done[: day + 1, day] = (begun == plan.way.traps).mean(axis=1)
    told = tuple(
        StartDay(
            day=first_day + start * _ONE_DAY,
            chance=_chance(done[start], start, last, plan.way.traps),
            half_by=_reached(done[start], start, first_day, 0.5),
            most_by=_reached(done[start], start, first_day, 0.9),
        )
        for start in range(starts)
    )
    start_by = tuple(
        (level, max((start.day for start in told if start.chance >= level), default=None)) for level in LEVELS
    )
    return TakeUpOdds(deadline, len(plan.trips), told, start_by, done)


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
    minutes = _whole_minutes(windows)
    steps = _steps(plan, int(minutes.max()), trips_a_day, unload_min_per_trap)
    last_of = np.cumsum([trip.traps for trip in plan.trips])
    home = np.zeros(paths, dtype=np.int32)
    found: list[date] = []
    for day in range((start - first_day).days, days):
        home = steps.take(home * steps.shape[1] + minutes[day])
        while len(found) < len(plan.trips) and (home >= last_of[len(found)]).mean() >= 0.5:
            found.append(first_day + day * _ONE_DAY)
    return (*found, *[None] * (len(plan.trips) - len(found)))


def _whole_minutes(windows: Numbers) -> np.ndarray:
    """Days x paths."""
    return np.clip(windows, 0, _MINUTES_A_DAY).astype(np.int32).T


def _steps(plan: TakeUpPlan, longest_min: int, trips_a_day: int, unload_min_per_trap: float) -> np.ndarray:
    """Traps home by the evening, by traps home in the morning and whole minutes of the day's window."""
    traps = plan.way.traps
    needed_min = _needed_min(plan, trips_a_day, unload_min_per_trap)
    at, more = np.nonzero(needed_min <= longest_min)
    steps = np.zeros((traps + 1, longest_min + 1), dtype=np.int32)
    np.maximum.at(steps, (at, needed_min[at, more]), (more + 1).astype(np.int32))
    return np.maximum.accumulate(steps, axis=1) + np.arange(traps + 1, dtype=np.int32)[:, None]


def _needed_min(plan: TakeUpPlan, trips_a_day: int, unload_min_per_trap: float) -> np.ndarray:
    """Whole minutes of a day that bring home 1, 2, ... more, by traps home in the morning; _NEVER for none.

    Each trip is rounded up. A trip takes no load before all smaller ones fit as well. Of several trips a day the
    loads are those that need the least together: unloading a fuller deck may leave too little time for the next.
    """
    a_trip_min, traps = np.ceil(_a_trip_min(plan) - _ROUNDING), plan.way.traps
    deck = a_trip_min.shape[1]
    unloaded_min = np.ceil(a_trip_min + unload_min_per_trap * np.arange(1, deck + 1) - _ROUNDING)
    best_min = np.full((traps + 1, deck * trips_a_day), np.inf)
    best_min[:, :deck] = np.maximum.accumulate(a_trip_min, axis=1)
    for trips in range(1, trips_a_day):
        one_less_min = best_min[:, : deck * trips].copy()
        for load in range(1, min(deck, traps) + 1):
            after_min = unloaded_min[: traps + 1 - load, load - 1 : load] + one_less_min[load:]
            part = best_min[: traps + 1 - load, load : load + deck * trips]
            np.minimum(part, after_min, out=part)
    return np.minimum(best_min, _NEVER).astype(np.int32)


def _a_trip_min(plan: TakeUpPlan) -> Numbers:
    """What one trip of 1, 2, ... traps takes, by traps home before; inf past the way and the deck."""
    way = plan.way
    a_trip_min = np.full((way.traps + 1, min(way.deck_traps, max(way.traps, 1))), np.inf)
    for at in range(way.traps):
        loads = np.arange(at, min(at + way.deck_traps, way.traps))
        a_trip_min[at, : len(loads)] = way.minutes(at, loads)
    if plan.called:
        first = plan.trips[0]
        whole = min(first.traps, a_trip_min.shape[1])
        a_trip_min[0, whole:] = np.inf
        a_trip_min[0, :whole] = np.minimum(a_trip_min[0, :whole], first.minutes)
        a_trip_min[0, whole - 1] = first.minutes
    return a_trip_min


def _chance(done: Numbers, start: int, last: int, traps: int) -> float:
    if not traps:
        return 1.0
    return float(done[last]) if start <= last else 0.0


def _reached(done: Numbers, start: int, first_day: date, share: float) -> date | None:
    found = np.flatnonzero(done[start:] >= share)
    return first_day + (start + int(found[0])) * _ONE_DAY if len(found) else None
