"""What the skipper settled for the week's plan: ``config/plan.toml``, read apart from the rest.

No call needs it. A fault here is told in the letters and by the check, and stops nothing.
"""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from itertools import pairwise
from pathlib import Path
from typing import Annotated, Any

from pydantic import AfterValidator, BeforeValidator, Field

from soakbell.errors import Fault, SettingsError
from soakbell.planning.catch_curve import CurvePrior, LogNormal
from soakbell.planning.fit_chance import ErrorShape
from soakbell.planning.plan_terms import PlanTerms, TakeUpTerms, TrustTerms
from soakbell.sea.trust import PriorError
from soakbell.settings import Settings
from soakbell.settings_reading import WEEKDAYS, Reader, Table, Weekday, load_beside, no_doubles, shown, usable

MOST_DAYS = 14
"""No day's weather is worth planning for beyond: a choice of ours."""

_MONTHS = 12
_EDGE_H = 24
_USD = "US dollars, 0 to 100000"
_CHANCES = "a chance from 0 to 1, or a list of twelve, January first"
_SPREADS = "spreads above 0, one for each of trust.lead_h"

Chance = Annotated[float, Field(ge=0, le=1)]


def _rising(hours: tuple[float, ...]) -> tuple[float, ...]:
    if hours[0] < 0 or any(b <= a for a, b in pairwise(hours)):
        raise ValueError("hours from 0 on, each later than the one before")
    return hours


def _each_month(chances: object) -> object:
    return tuple(chances) if isinstance(chances, list) else (chances,) * _MONTHS


class Plan(Table):
    horizon_days: int = Field(default=8, ge=2, le=MOST_DAYS, description=f"days, 2 to {MOST_DAYS}")
    price_usd_lb: float | None = Field(
        default=None, gt=0, le=1000, description="dollars a pound, more than 0 and at most 1000, or leave it out"
    )
    trip_cost_usd: float = Field(default=120, ge=0, le=100_000, description=_USD)
    wear_usd_a_trap: float = Field(default=0.5, ge=0, le=1000, description="dollars a haul of a trap, 0 to 1000")
    bait_usd_a_box: float = Field(default=30, ge=0, le=1000, description="dollars a box, 0 to 1000")
    crew_days_off: Annotated[tuple[Weekday, ...], AfterValidator(no_doubles)] = Field(
        default=(), max_length=6, description='at most six days of the week, as in ["Sun"]'
    )
    lb_a_gallon: float = Field(default=5, gt=0, le=20, description="pounds, more than 0 and at most 20")
    seed: int = Field(default=1, ge=0, le=2**31, description="a whole number from 0")


class Weather(Table):
    forecast_days: int = Field(default=5, ge=1, le=7, description="days, 1 to 7")
    usual_fit_chance: Annotated[tuple[Chance, ...], BeforeValidator(_each_month)] = Field(
        default=(0.5,) * _MONTHS, min_length=_MONTHS, max_length=_MONTHS, description=_CHANCES
    )
    usual_window_h: float = Field(default=6, gt=0, le=14, description="hours, more than 0 and at most 14")


class Around(Table):
    """A log-normal belief."""

    median: float = Field(gt=0, le=1000, description="the middle value, more than 0 and at most 1000")
    spread: float = Field(gt=0, le=3, description="the spread of its logarithm, more than 0 and at most 3")

    def as_prior(self) -> LogNormal:
        return LogNormal(self.median, self.spread)


_TAKE_UP = TakeUpTerms()
_A_TRAP_MIN = "minutes a trap, 0 to 60"


class TakeUp(Table):
    unload_min_per_trap: float = Field(default=_TAKE_UP.unload_min_per_trap, ge=0, le=60, description=_A_TRAP_MIN)
    trips_a_day: int = Field(default=_TAKE_UP.trips_a_day, ge=1, le=4, description="trips, 1 to 4")

    def as_terms(self) -> TakeUpTerms:
        return TakeUpTerms(unload_min_per_trap=self.unload_min_per_trap, trips_a_day=self.trips_a_day)


_USUAL = CurvePrior()


def _usual(prior: LogNormal) -> Around:
    return Around(median=prior.median, spread=prior.spread)


_AROUND = "a table as in { median = 0.25, spread = 0.7 }"


class Curve(Table):
    claws_a_day: Around = Field(default=_usual(_USUAL.claws_a_day), description=_AROUND)
    bait_decay: Around = Field(default=_usual(_USUAL.bait_decay), description=_AROUND)
    loss: Around = Field(default=_usual(_USUAL.loss), description=_AROUND)
    decline: Around = Field(default=_usual(_USUAL.decline), description=_AROUND)
    evenness: Around = Field(default=_usual(_USUAL.evenness), description=_AROUND)
    lb_a_claw: Around = Field(default=_usual(_USUAL.lb_a_claw), description=_AROUND)
    lb_a_claw_weighs: float = Field(
        default=_USUAL.lb_a_claw_weighs, gt=0, le=1e6, description="claws, more than 0 and at most 1000000"
    )

    def as_prior(self) -> CurvePrior:
        """What a pull costs is not settled here: it follows from the plan's own costs."""
        return CurvePrior(
            claws_a_day=self.claws_a_day.as_prior(),
            bait_decay=self.bait_decay.as_prior(),
            loss=self.loss.as_prior(),
            decline=self.decline.as_prior(),
            evenness=self.evenness.as_prior(),
            lb_a_claw=self.lb_a_claw.as_prior(),
            lb_a_claw_weighs=self.lb_a_claw_weighs,
        )


class Spread(Table):
    """``sd`` stands at the hours of ``trust.lead_h``."""

    sd: tuple[Annotated[float, Field(gt=0, le=50)], ...] = Field(min_length=1, max_length=20, description=_SPREADS)
    least_sd: float = Field(gt=0, le=50, description="a spread, more than 0 and at most 50")
    bias: float = Field(default=0, ge=0, le=50, description="how much the sea is rougher than forecast, 0 to 50")


_WIND = Spread(sd=(2.5, 3.5, 5, 6.5), least_sd=1.5)
_GUST = Spread(sd=(3.5, 4.5, 6.5, 8.5), least_sd=2)
_SEA = Spread(sd=(0.2, 0.25, 0.4, 0.6), least_sd=0.2)


class Trust(Table):
    enough_days: int = Field(default=30, ge=1, le=1000, description="days, 1 to 1000")
    lead_h: Annotated[tuple[float, ...], AfterValidator(_rising)] = Field(
        default=(0, 24, 72, 168), min_length=1, max_length=20, description="rising hours, as in [0, 24, 72, 168]"
    )
    correlation_h: float = Field(default=12, gt=0, le=240, description="hours, more than 0 and at most 240")
    wind_gust: float = Field(default=0.9, ge=0, le=1, description="a share, 0 to 1")
    wind_sea: float = Field(default=0.7, ge=0, le=1, description="a share, 0 to 1")
    wind_kt: Spread = Field(default=_WIND, description="a table [trust.wind_kt]")
    gust_kt: Spread = Field(default=_GUST, description="a table [trust.gust_kt]")
    sea_m: Spread = Field(default=_SEA, description="a table [trust.sea_m]")

    @property
    def spreads(self) -> dict[str, Spread]:
        return {"wind_kt": self.wind_kt, "gust_kt": self.gust_kt, "sea_m": self.sea_m}

    def as_terms(self) -> TrustTerms:
        return TrustTerms(
            priors={
                quantity: PriorError(self.lead_h, spread.sd, spread.least_sd, spread.bias)
                for quantity, spread in self.spreads.items()
            },
            shape=ErrorShape(self.correlation_h, self.wind_gust, self.wind_sea),
            enough_days=self.enough_days,
            edges_h=tuple(float(_EDGE_H * day) for day in range(MOST_DAYS + 1)),
        )


def terms_of(settings: Settings) -> PlanTerms | str | None:
    """What the plan is made by, with the boat's deck load and stacking; where it can't be used, why; None where
    the settings name no plan file."""
    terms = usable(settings.plan_file, load_terms)
    if not isinstance(terms, PlanTerms):
        return terms
    boat = settings.boat
    take_up = replace(terms.take_up, stack_min_per_trap=boat.stack_min_per_trap)
    return replace(terms, deck_traps=boat.deck_traps, take_up=take_up)


def load_terms(path: Path) -> PlanTerms:
    """Read and check the plan file. The boat's deck load and stacking don't stand in it.

    Raises:
        SettingsError: carries every fault found; whatever else goes wrong in reading is one too.
    """
    return load_beside(path, partial(_read, path))


def _moved_to_boat(path: Path, data: dict[str, Any], faults: list[Fault]) -> None:
    """Calls to take traps up rest on these, so they are settings of the boat."""
    for table, key in (("plan", "deck_traps"), ("take_up", "stack_min_per_trap")):
        found = data.get(table)
        if isinstance(found, dict) and key in found:
            write = f"it in [boat] of boat.toml, and nothing here: {key} is now in boat.toml"
            faults.append(Fault(str(path), f"{table}.{key}", shown(found[key]), write))
            data[table] = {name: value for name, value in found.items() if name != key}


def _read(path: Path, data: dict[str, Any], faults: list[Fault]) -> PlanTerms:
    _moved_to_boat(path, data, faults)
    reader = Reader(str(path), data, faults)
    plan = reader.table("plan", Plan, may_lack=True)
    weather = reader.table("weather", Weather, may_lack=True)
    take_up = reader.table("take_up", TakeUp, may_lack=True)
    curve = reader.table("curve", Curve, may_lack=True)
    trust = reader.table("trust", Trust, may_lack=True)
    reader.unknown_tables()
    if trust is not None:
        for quantity, spread in trust.spreads.items():
            if len(spread.sd) != len(trust.lead_h):
                found = f"{len(spread.sd)} spreads for {len(trust.lead_h)} hours"
                faults.append(Fault(str(path), f"trust.{quantity}.sd", found, _SPREADS))
    if faults or plan is None or weather is None or take_up is None or curve is None or trust is None:
        raise SettingsError(faults)
    return PlanTerms(
        trust=trust.as_terms(),
        horizon_days=plan.horizon_days,
        price_usd_lb=plan.price_usd_lb,
        trip_cost_usd=plan.trip_cost_usd,
        wear_usd_a_trap=plan.wear_usd_a_trap,
        bait_usd_a_box=plan.bait_usd_a_box,
        crew_days_off=frozenset(WEEKDAYS.index(day) for day in plan.crew_days_off),
        lb_a_gallon=plan.lb_a_gallon,
        forecast_days=weather.forecast_days,
        usual_fit_chance=weather.usual_fit_chance,
        usual_window_min=60 * weather.usual_window_h,
        curve=curve.as_prior(),
        take_up=take_up.as_terms(),
        seed=plan.seed,
    )
