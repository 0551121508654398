"""Simulated seasons of one boat: the same weather, forecasts and crabs for every way to choose the day.

INVENTED DATA but for the weather: a record's whole weeks are drawn anew, each from about its own time of year. A
morning's forecast is what will come less an error that grows with lead, as the trust priors of config/plan.toml
say. The boat, its strings and limits are those of config/boat.toml. Its crabs are drawn from ranges of their own,
not from what the plan holds beforehand.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from datetime import UTC, date, datetime, timedelta
from functools import cache
from itertools import combinations
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.stats import poisson

from soakbell.gear.strings import Mark, TrapString
from soakbell.plan_settings import load_terms
from soakbell.planning.catch_curve import CatchCurve, ExpectedMany, Haul, fit_curve
from soakbell.planning.fit_chance import Beyond, DaySpan, ErrorPaths, PlaceAhead, error_paths, fit_chances
from soakbell.planning.fit_climate import USUAL_CORRELATION
from soakbell.planning.haul_worth import StandingString, haul_worth
from soakbell.planning.plan_terms import PlanTerms
from soakbell.planning.pull_plan import solve_plan
from soakbell.planning.pull_problem import PlanDay, PlanProblem, PlanString, Wish
from soakbell.planning.trips import Boat, DayBounds, Trip, plan_trip, possible_departures
from soakbell.planning.week_plan import LEAST_CHANCE, traps_a_trip
from soakbell.sea.daylight import sunlight

Numbers = npt.NDArray[np.float64]

CONFIG = Path(__file__).resolve().parents[2] / "config"
OPENS = date(2026, 10, 15)
"""Of the season, whose days are reckoned by the harbor's winter time."""
FIRST_HOUR = datetime(2026, 10, 15, 5, tzinfo=UTC)
CALLED_AT_H = 4
"""Local hour of the morning's forecast and choice."""
PRICE_USD_LB = 18.0
BOXES_A_TRAP = 0.035
"""Both baits of config/gear.toml."""
SET_BEFORE_DAYS = 5
NEAR_DAYS = 21
"""How far from its own time of year a week of the record may be put."""
WEEK = 7
DAY_H = 24
_HOUR = timedelta(hours=1)


@dataclass(frozen=True, eq=False)
class Crabs:
    """What is true of a season: A by string, b, r, d, k and the weight, as in ``planning.catch_curve``."""

    claws_a_day: Mapping[str, float]
    bait_decay: float
    loss: float
    decline: float
    evenness: float
    lb_a_claw: float

    def claws(self, string: str, soak_days: float, season_day: float) -> float:
        """Expected of one trap, in the plain form of the reference."""
        b, r = self.bait_decay, self.loss
        shape = (np.exp(-b * soak_days) - np.exp(-r * soak_days)) / (r - b)
        return float(self.claws_a_day[string] * shape * np.exp(-self.decline * season_day))


@dataclass(frozen=True, eq=False)
class World:
    """The boat and its water. ``bounds``: by day of the season. ``most_kt``: by quantity."""

    boat: Boat
    harbor: Mark
    strings: tuple[TrapString, ...]
    most_kt: Mapping[str, float]
    break_margin_h: float
    terms: PlanTerms
    bounds: tuple[DayBounds, ...]
    trips: dict[frozenset[str], Trip] = field(default_factory=dict)

    def trip(self, names: Sequence[str]) -> Trip:
        key = frozenset(names)
        if key not in self.trips:
            strings = [string for string in self.strings if string.name in key]
            self.trips[key] = plan_trip(self.boat, self.harbor, strings, {s.name: s.traps for s in strings})
        return self.trips[key]


@cache
def world(days: int) -> World:
    """*Little Grebe* for a season of so many days."""
    told = tomllib.loads((CONFIG / "boat.toml").read_text())
    boat, harbor = told["boat"], told["harbor"]
    zone, bounds = ZoneInfo(harbor["time_zone"]), []
    for n in range(days):
        day = OPENS + timedelta(n)
        sun = sunlight(day, harbor["lat_deg"], harbor["lon_deg"], zone.key)
        assert sun.dawn_at is not None
        assert sun.dusk_at is not None
        assert sun.rises_at is not None
        assert sun.sets_at is not None
        stale_at = FIRST_HOUR + timedelta(days=n, hours=CALLED_AT_H + 12)
        bounds.append(DayBounds(sun.dawn_at, sun.dusk_at, sun.rises_at, sun.sets_at, stale_at))
    return World(
        boat=Boat(boat["name"], boat["cruise_kt"], boat["haul_min_per_trap"], boat["trip_margin_min"]),
        harbor=Mark(harbor["lat_deg"], harbor["lon_deg"]),
        strings=tuple(
            TrapString(
                s["name"],
                Mark(*s["start"]),
                Mark(*s["end"]),
                s["traps"],
                s["area"],
                s["depth_m"],
                DAY_H * s["soak_floor_days"],
                DAY_H * s["soak_ceiling_days"],
            )
            for s in told["strings"]
        ),
        most_kt={quantity: boat["limits"][quantity] for quantity in ("wind_kt", "gust_kt")},
        break_margin_h=told["letters"]["forecast_break_h"],
        terms=load_terms(CONFIG / "plan.toml"),
        bounds=tuple(bounds),
    )


# ---- a season's weather, forecasts and crabs


@dataclass(frozen=True, eq=False)
class Season:
    """What every strategy meets alike.

    Attributes:
        came: by quantity, hour by hour from ``FIRST_HOUR``; NaN where the record has a hole.
        forecast: by quantity, days x hours from the hour of that day's choice.
        luck, evenness: strings x days; what a pull of that day strays from its mean by.
    """

    world: World
    days: int
    crabs: Crabs
    came: Mapping[str, Numbers] = field(repr=False)
    forecast: Mapping[str, Numbers] = field(repr=False)
    luck: Numbers = field(repr=False)
    evenness: Numbers = field(repr=False)

    def inside(self, hours: Mapping[str, Numbers]) -> npt.NDArray[np.bool_]:
        """Known and inside every limit; a hole is not."""
        return np.logical_and.reduce([hours[q] <= most for q, most in self.world.most_kt.items()])

    def landed_claws(self, string: int, day: int, soak_days: int) -> int:
        of = self.world.strings[string]
        mean = of.traps * self.crabs.claws(of.name, soak_days, day)
        return int(poisson.ppf(self.luck[string, day], mean * self.evenness[string, day]))


def season(seed: int, record: pd.DataFrame, days: int) -> Season:
    """Draw one; the same seed gives the same season.

    Args:
        record: as from ``hourly_measured``, about a year; wind_kt and gust_kt are used.
    """
    of = world(days)
    rng = np.random.default_rng([seed, 1])
    came = _came(rng, record, days + WEEK)
    crabs = _crabs(rng, of)
    reach = DAY_H * of.terms.forecast_days
    errors = error_paths(
        of.terms.trust.models(), of.terms.trust.shape, now=FIRST_HOUR, hours=reach, days=1, paths=days, seed=seed
    )
    at = np.arange(days)[:, None] * DAY_H + CALLED_AT_H + np.arange(reach)
    wind = np.maximum(0.0, came["wind_kt"][at] - errors.errors["wind_kt"])
    gust = np.maximum(wind, came["gust_kt"][at] - errors.errors["gust_kt"])
    sizes = np.array([[string.traps * crabs.evenness] for string in of.strings])
    shape = (len(of.strings), days)
    return Season(
        world=of,
        days=days,
        crabs=crabs,
        came=came,
        forecast={"wind_kt": wind, "gust_kt": gust},
        luck=rng.random(shape),
        evenness=rng.gamma(np.broadcast_to(sizes, shape)) / sizes,
    )


def _came(rng: np.random.Generator, record: pd.DataFrame, days: int) -> dict[str, Numbers]:
    hours = pd.date_range(record.index[0].normalize(), record.index[-1], freq="h")
    table = record.reindex(index=hours, columns=["wind_kt", "gust_kt"])
    first_days = np.flatnonzero(hours.hour == FIRST_HOUR.hour)
    day_of_year = np.asarray(hours[first_days].day_of_year)
    rows = []
    for week in range(-(-days // WEEK)):
        own = (OPENS + timedelta(WEEK * week)).timetuple().tm_yday
        apart = np.abs(day_of_year - own)
        near = np.flatnonzero(np.minimum(apart, 365 - apart) <= NEAR_DAYS)
        near = near[near + WEEK < len(first_days)]
        begins = first_days[int(rng.choice(near))]
        rows.append(np.arange(begins, begins + WEEK * DAY_H))
    drawn = table.iloc[np.concatenate(rows)]
    return {quantity: drawn[quantity].to_numpy(dtype=float) for quantity in ("wind_kt", "gust_kt")}


def _crabs(rng: np.random.Generator, of: World) -> Crabs:
    def between(low: float, high: float) -> float:
        return float(np.exp(rng.uniform(np.log(low), np.log(high))))

    level = between(0.15, 0.6)
    return Crabs(
        claws_a_day={string.name: level * between(0.6, 1.7) for string in of.strings},
        bait_decay=between(0.015, 0.09),
        loss=between(0.1, 0.35),
        decline=between(0.001, 0.01),
        evenness=between(0.3, 1.5),
        lb_a_claw=between(0.2, 0.3),
    )


# ---- a season as one strategy spends it


@dataclass(frozen=True)
class Pull:
    string: str
    soak_days: int
    claws: int


@dataclass(frozen=True)
class Outing:
    """``outside_h``: hours begun while out in which wind or gusts were past a limit."""

    day: int
    leaves_at: datetime
    lands_at: datetime
    pulls: tuple[Pull, ...]
    outside_h: int


@dataclass(frozen=True, eq=False)
class Spent:
    season: Season
    outings: tuple[Outing, ...]
    standing_days: Mapping[str, int]

    @property
    def lb(self) -> float:
        return self.season.crabs.lb_a_claw * sum(pull.claws for outing in self.outings for pull in outing.pulls)

    @property
    def usd(self) -> float:
        terms, traps = self.season.world.terms, {s.name: s.traps for s in self.season.world.strings}
        hauled = sum(traps[pull.string] for outing in self.outings for pull in outing.pulls)
        costs = hauled * (terms.wear_usd_a_trap + terms.bait_usd_a_box * BOXES_A_TRAP)
        return PRICE_USD_LB * self.lb - terms.trip_cost_usd * len(self.outings) - costs


class Skipper:
    """The state of a season under way: what a strategy may look at. It sees forecasts, soaks and its own log."""

    def __init__(self, of: Season) -> None:
        self.season, self.world = of, of.world
        self.day = 0
        self.names = [string.name for string in of.world.strings]
        self.soak_days = dict.fromkeys(self.names, SET_BEFORE_DAYS)
        self.log: list[Haul] = []
        self.last_out: int | None = None

    def ripe(self) -> list[str]:
        return [s.name for s in self.world.strings if DAY_H * self.soak_days[s.name] >= s.soak_floor_h]

    def departure(self, names: Sequence[str]) -> datetime | None:
        """The first for which the forecast is inside the limits from leaving to the margin past landing."""
        trip = self.world.trip(names)
        called_at = FIRST_HOUR + timedelta(days=self.day, hours=CALLED_AT_H)
        inside = self.season.inside({q: f[self.day] for q, f in self.season.forecast.items()})
        bad = np.concatenate(([0], np.cumsum(~inside)))
        out_h = trip.duration_min / 60 + self.world.break_margin_h
        for leaves in possible_departures(trip, self.world.bounds[self.day]):
            left_h = (leaves - called_at) / _HOUR
            first, stop = int(left_h), int(np.ceil(left_h + out_h))
            if first >= 0 and bad[stop] == bad[first]:
                return leaves
        return None

    def most_that_fit(self, names: Sequence[str]) -> list[str]:
        """All of them, or without the least soaked until a trip fits."""
        left = sorted(names, key=lambda name: -self.soak_days[name])
        while left and self.departure(left) is None:
            left.pop()
        return left


Strategy = Callable[[Skipper], Sequence[str]]
"""The strings to pull today, of which those are pulled that a trip fits for by today's forecast."""


def spend(of: Season, strategy: Strategy) -> Spent:
    skipper, outings = Skipper(of), []
    for day in range(of.days):
        skipper.day = day
        names = skipper.most_that_fit(strategy(skipper))
        if names:
            outings.append(_go(skipper, names))
        for name in skipper.names:
            skipper.soak_days[name] += 1
    return Spent(of, tuple(outings), dict(skipper.soak_days))


def _go(skipper: Skipper, names: Sequence[str]) -> Outing:
    of, day = skipper.season, skipper.day
    leaves = skipper.departure(names)
    assert leaves is not None
    lands = leaves + timedelta(minutes=skipper.world.trip(names).duration_min)
    hours = slice(int((leaves - FIRST_HOUR) / _HOUR), int(np.ceil((lands - FIRST_HOUR) / _HOUR)))
    outside = ~of.inside({quantity: came[hours] for quantity, came in of.came.items()})
    pulls = []
    for n, string in enumerate(of.world.strings):
        if string.name in names:
            soak = skipper.soak_days[string.name]
            pulls.append(Pull(string.name, soak, of.landed_claws(n, day, soak)))
            lb = pulls[-1].claws * of.crabs.lb_a_claw
            skipper.log.append(Haul(string.name, string.traps, float(soak), float(day), pulls[-1].claws, lb))
            skipper.soak_days[string.name] = 0
    skipper.last_out = day
    return Outing(day, leaves, lands, tuple(pulls), int(outside.sum()))


# ---- strategies


def every_seventh_day(skipper: Skipper) -> Sequence[str]:
    """A fixed day of the week; if it isn't fit, the next week's. All strings."""
    return skipper.names if skipper.day % WEEK == WEEK - 1 else ()


def seventh_day_or_next_fit(skipper: Skipper) -> Sequence[str]:
    """All strings on the first fit day from the seventh after the last trip on."""
    since = skipper.day + 1 if skipper.last_out is None else skipper.day - skipper.last_out
    return skipper.names if since >= WEEK else ()


def first_fit_past_floor(skipper: Skipper) -> Sequence[str]:
    """Whatever is past its floor, on the first fit day."""
    return skipper.ripe()


def first_fit_past_all_floors(skipper: Skipper) -> Sequence[str]:
    """All strings on the first fit day on which all are past their floors."""
    ripe = skipper.ripe()
    return ripe if len(ripe) == len(skipper.names) else ()


def usual_on(terms: PlanTerms, day: date) -> float:
    return terms.usual_fit_chance[day.month - 1]


class ThePlan:
    """The plan made anew each morning; today's pulls of it. Of a new season a new one is needed.

    Days on which no string that is past its floor could go are not planned: nothing could come of it.

    Args:
        horizon_days: today the first.
        paths: of the weather.
        every_draw: of the curve's draws, each so many-th is used.
        curve: what to believe of the crabs; None: learned from the log.
    """

    def __init__(
        self, horizon_days: int = 8, *, paths: int = 500, every_draw: int = 1, curve: CatchCurve | None = None
    ) -> None:
        self.horizon_days, self.paths, self.every_draw = horizon_days, paths, every_draw
        self.given, self.curve, self.learned_from = curve, curve, -1
        self.errors: ErrorPaths | None = None

    def __call__(self, skipper: Skipper) -> Sequence[str]:
        may_go = [name for name in skipper.ripe() if skipper.departure([name]) is not None]
        if not may_go:
            return ()
        problem = self._problem(skipper, may_go)
        return [visit.string for visit in solve_plan(problem, next_best=False).days[0].visits]

    def _curve(self, skipper: Skipper) -> CatchCurve:
        if self.given is None and len(skipper.log) != self.learned_from:
            found = fit_curve(skipper.log, skipper.names, skipper.world.terms.curve)
            self.curve = means_only(found, self.every_draw)
            self.learned_from = len(skipper.log)
        assert self.curve is not None
        return self.curve

    def _windows(self, skipper: Skipper, days: int) -> Numbers:
        """Longest windows in minutes, paths x days. One for all strings: their hours differ by minutes."""
        of, terms = skipper.world, skipper.world.terms
        called_at = FIRST_HOUR + timedelta(days=skipper.day, hours=CALLED_AT_H)
        if self.errors is None:
            hours, most_days = DAY_H * terms.forecast_days, self.horizon_days
            self.errors = error_paths(
                terms.trust.models(),
                terms.trust.shape,
                now=called_at,
                hours=hours,
                days=most_days,
                paths=self.paths,
                seed=terms.seed,
            )
        forecast = {quantity: values[skipper.day] for quantity, values in skipper.season.forecast.items()}
        room = {
            "wind_kt": min(of.most_kt.values()) - forecast["wind_kt"],
            "gust_kt": of.most_kt["gust_kt"] - forecast["gust_kt"],
        }
        place = PlaceAhead(called_at, room, np.ones(len(forecast["wind_kt"]), dtype=bool))
        nearest = of.trip(min(([name] for name in skipper.names), key=lambda n: of.trip(n).hauls[0].starts_min))
        out_min = timedelta(minutes=nearest.hauls[0].starts_min)
        spans = []
        for n in range(days):
            bounds = of.bounds[skipper.day + n]
            begins, ends = max(bounds.out_from, bounds.haul_from - out_min), min(bounds.home_by, bounds.haul_to)
            spans.append(DaySpan(OPENS + timedelta(skipper.day + n), begins, ends))
        beyond_at = FIRST_HOUR + timedelta(days=skipper.day + terms.forecast_days)
        usual = usual_on(terms, OPENS + timedelta(skipper.day + terms.forecast_days))
        return fit_chances(
            [place],
            spans,
            replace(self.errors, first_at=called_at),
            needed_min=min(of.trip([name]).duration_min for name in skipper.names),
            break_margin_h=of.break_margin_h,
            beyond=Beyond(beyond_at, usual, terms.usual_window_min, USUAL_CORRELATION),
        ).window_min

    def _problem(self, skipper: Skipper, may_go: Sequence[str]) -> PlanProblem:
        of, terms, today = skipper.world, skipper.world.terms, skipper.day
        days = min(self.horizon_days, skipper.season.days - today)
        windows = self._windows(skipper, days)
        curve, last = self._curve(skipper), OPENS + timedelta(today + days - 1)
        a_trip = traps_a_trip(terms, of.boat.haul_min_per_trap, sum(s.traps for s in of.strings))
        worth, low_min = [], np.zeros((len(of.strings), days))
        chance = np.zeros((len(of.strings), days))
        for n, string in enumerate(of.strings):
            fit = windows >= of.trip([string.name]).duration_min
            for day in range(days):
                if fit[:, day].any():
                    low_min[n, day] = np.quantile(windows[fit[:, day], day], 0.2)
            fit[:, 0] = string.name in may_go
            chance[n] = fit.mean(axis=0)
            bait_usd = string.traps * terms.bait_usd_a_box * BOXES_A_TRAP
            soak = float(skipper.soak_days[string.name])
            standing = StandingString(
                name=string.name,
                traps=string.traps,
                soak_days=soak,
                oldest_days=soak,
                floor_days=string.soak_floor_h / DAY_H,
                ceiling_days=string.soak_ceiling_h / DAY_H,
                pull_usd=bait_usd + string.traps * terms.wear_usd_a_trap,
                bait_usd=bait_usd,
                trip_usd=terms.trip_cost_usd * string.traps / a_trip,
            )
            worth.append(
                haul_worth(
                    standing,
                    curve,
                    fit,
                    price_usd_lb=PRICE_USD_LB,
                    season_day=float(today),
                    usual_chance=usual_on(terms, last),
                    days_after=skipper.season.days - today - days,
                    least_chance=LEAST_CHANCE,
                )
            )
        low_min[chance < LEAST_CHANCE] = 0.0
        minutes = low_min.max(axis=0) - of.boat.trip_margin_min
        minutes[0] = self._longest_today(skipper, may_go) - of.boat.trip_margin_min
        return PlanProblem(
            harbor=of.harbor,
            cruise_kt=of.boat.cruise_kt,
            strings=tuple(
                PlanString(s.name, s.traps, s.traps * of.boat.haul_min_per_trap, s.start, s.end)
                for s in of.strings
            ),
            days=tuple(
                PlanDay(
                    OPENS + timedelta(today + n),
                    float(chance[:, n].max()),
                    max(0.0, float(minutes[n])),
                    True,
                    terms.trip_cost_usd,
                )
                for n in range(days)
            ),
            gain_usd=np.stack([w.gain_usd for w in worth]),
            expected_lb=np.stack([w.expected_lb for w in worth]),
            end_usd=np.stack([w.end_usd for w in worth]),
            bars=tuple(Wish(name, OPENS + timedelta(today)) for name in skipper.names if name not in may_go),
        )

    @staticmethod
    def _longest_today(skipper: Skipper, may_go: Sequence[str]) -> float:
        loads = (load for size in range(len(may_go), 0, -1) for load in combinations(may_go, size))
        by_time = sorted(loads, key=lambda load: -skipper.world.trip(load).duration_min)
        fitting = next(load for load in by_time if skipper.departure(load) is not None)
        return skipper.world.trip(fitting).duration_min


class MeansOnly(CatchCurve):
    """Without the intervals, which take half the time and which no plan asks for."""

    def expected_many(self, string: str, soak_days: npt.ArrayLike, season_day: npt.ArrayLike) -> ExpectedMany:
        claws = self.draws(string, soak_days, season_day)
        lb = claws * self.lb_a_claw.reshape((-1,) + (1,) * (claws.ndim - 1))
        of_claws, of_lb = claws.mean(axis=0), lb.mean(axis=0)
        return ExpectedMany(of_claws, of_claws, of_claws, of_lb, of_lb, of_lb)


def means_only(curve: CatchCurve, every_draw: int) -> CatchCurve:
    told = {of.name: getattr(curve, of.name) for of in fields(curve)}
    for name in ("log_claws_a_day", "bait_decay", "loss", "decline", "lb_a_claw"):
        told[name] = told[name][::every_draw]
    return MeansOnly(**told)


def true_curve(of: Season) -> CatchCurve:
    """The season's own curve, as if the plan knew it."""
    names, crabs = tuple(string.name for string in of.world.strings), of.crabs
    levels = np.log([*(crabs.claws_a_day[name] for name in names), 1.0])[None, :]

    def one(value: float) -> Numbers:
        return np.array([value])

    return MeansOnly(
        names,
        of.world.terms.curve,
        levels,
        one(crabs.bait_decay),
        one(crabs.loss),
        one(crabs.decline),
        one(crabs.lb_a_claw),
        (0,) * len(names),
        (0,) * len(names),
        0,
        (1.0, 0.0, 0.0),
    )
