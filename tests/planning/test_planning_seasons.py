"""The simulated seasons that the bench tells the plan's worth by. INVENTED DATA, the weather too."""

from __future__ import annotations

import math
from collections.abc import Callable
from datetime import timedelta

import numpy as np
import pandas as pd
import pytest
from seasons import (
    BOXES_A_TRAP,
    CALLED_AT_H,
    FIRST_HOUR,
    NEAR_DAYS,
    PRICE_USD_LB,
    SET_BEFORE_DAYS,
    Season,
    Spent,
    Strategy,
    ThePlan,
    every_seventh_day,
    first_fit_past_all_floors,
    first_fit_past_floor,
    season,
    seventh_day_or_next_fit,
    spend,
)

DAYS = 24
SEEDS = (1, 2)
HOUR = timedelta(hours=1)


def record() -> pd.DataFrame:
    """A year of wind that wanders about the limits, with a day of holes each month."""
    hours = pd.date_range("2020-01-01", "2020-12-31T23:00", freq="h", tz="UTC")
    slow = np.repeat(np.random.default_rng(3).normal(0, 1, len(hours) // 12), 12)
    wind_kt = np.clip(11 + 4 * slow, 0, None)
    wind_kt[hours.day == 9] = np.nan
    return pd.DataFrame({"wind_kt": wind_kt, "gust_kt": 1.25 * wind_kt}, hours)


def strategies() -> list[Strategy]:
    simple = [every_seventh_day, seventh_day_or_next_fit, first_fit_past_floor, first_fit_past_all_floors]
    return [*simple, ThePlan(5, paths=20, every_draw=50)]


@pytest.fixture(scope="module")
def seasons() -> list[Season]:
    return [season(seed, record(), DAYS) for seed in SEEDS]


@pytest.fixture(scope="module")
def spent(seasons: list[Season]) -> list[Spent]:
    return [spend(of, strategy) for of in seasons for strategy in strategies()]


def test_every_strategy_goes_out_and_some_mornings_are_not_fit(spent: list[Spent]) -> None:
    """Else the rest would hold of nothing."""
    assert all(of.outings for of in spent)
    for of in {id(one.season): one.season for one in spent}.values():
        daylight = of.forecast["wind_kt"][:, 4:12]
        assert 0.1 < (np.nan_to_num(daylight, nan=99.0).max(axis=1) <= 15).mean() < 0.9


def test_no_strategy_leaves_on_a_day_whose_forecast_is_unfit(spent: list[Spent]) -> None:
    """Hour by hour from leaving to two hours past landing, by the limits as config/boat.toml has them."""
    for of in spent:
        for outing in of.outings:
            called_at = FIRST_HOUR + timedelta(days=outing.day, hours=CALLED_AT_H)
            hour = int((outing.leaves_at - called_at) / HOUR)
            assert hour >= 0
            while called_at + hour * HOUR < outing.lands_at + 2 * HOUR:
                assert of.season.forecast["wind_kt"][outing.day, hour] <= 15
                assert of.season.forecast["gust_kt"][outing.day, hour] <= 20
                hour += 1


def test_in_a_gale_nobody_leaves() -> None:
    gale = record() * 0 + [40.0, 50.0]
    of = season(1, gale.ffill(), DAYS)
    assert not any(spend(of, strategy).outings for strategy in strategies())


def test_all_soak_is_either_pulled_or_still_standing(spent: list[Spent]) -> None:
    for of in spent:
        for string in of.season.world.strings:
            pulled = [p.soak_days for o in of.outings for p in o.pulls if p.string == string.name]
            assert sum(pulled) + of.standing_days[string.name] == DAYS + SET_BEFORE_DAYS


def test_dollars_are_catch_less_trips_bait_and_wear(spent: list[Spent]) -> None:
    """Costs as config/plan.toml has them: 120 a trip, 30 a box, 0.5 a trap."""
    for of in spent:
        traps = {string.name: string.traps for string in of.season.world.strings}
        pulls = [pull for outing in of.outings for pull in outing.pulls]
        claws, hauled = sum(pull.claws for pull in pulls), sum(traps[pull.string] for pull in pulls)
        earned = PRICE_USD_LB * claws * of.season.crabs.lb_a_claw
        spent_usd = 120 * len(of.outings) + hauled * (0.5 + 30 * BOXES_A_TRAP)
        assert of.usd == pytest.approx(earned - spent_usd)
        assert of.lb == pytest.approx(claws * of.season.crabs.lb_a_claw)


def test_hours_outside_are_those_of_what_came_while_out(spent: list[Spent]) -> None:
    for of in spent:
        came = pd.DataFrame(dict(of.season.came))
        came.index = pd.date_range(FIRST_HOUR, periods=len(came), freq="h")
        for outing in of.outings:
            ended = came.index + pd.Timedelta(hours=1)
            out = came[(ended > outing.leaves_at) & (came.index < outing.lands_at)]
            assert outing.outside_h == ((out["wind_kt"] > 15) | (out["gust_kt"] > 20)).sum()


def test_the_plan_earns_more_than_simple_ways_and_is_outside_the_limits_no_longer() -> None:
    """24 seasons of the same weather and crabs for all; ``tests/bench/bench_seasons.py`` has recorded weather."""
    ways: tuple[Callable[[], Strategy], ...] = (
        lambda: every_seventh_day,
        lambda: first_fit_past_floor,
        lambda: ThePlan(5, paths=20, every_draw=50),
    )
    told = [[spend(season(seed, record(), DAYS), way()) for way in ways] for seed in range(24)]
    usd = np.array([[of.usd for of in spents] for spents in told])
    outside_h = np.array([[sum(outing.outside_h for outing in of.outings) for of in spents] for spents in told])
    for simple in (0, 1):
        more_usd = usd[:, 2] - usd[:, simple]
        assert more_usd.mean() > 2 * more_usd.std(ddof=1) / math.sqrt(len(more_usd))
        assert outside_h[:, 2].sum() <= outside_h[:, simple].sum()


def test_the_floor_strategies_wait_for_the_floors(seasons: list[Season]) -> None:
    floors = {string.name: string.soak_floor_h / 24 for string in seasons[0].world.strings}
    for of in seasons:
        for strategy in (first_fit_past_floor, first_fit_past_all_floors, ThePlan(5, paths=20, every_draw=50)):
            pulls = [pull for outing in spend(of, strategy).outings for pull in outing.pulls]
            assert all(pull.soak_days >= floors[pull.string] for pull in pulls)


def test_the_same_seed_gives_the_same_season_and_another_another(seasons: list[Season]) -> None:
    again = season(SEEDS[0], record(), DAYS)
    for quantity in ("wind_kt", "gust_kt"):
        np.testing.assert_array_equal(again.came[quantity], seasons[0].came[quantity])
        np.testing.assert_array_equal(again.forecast[quantity], seasons[0].forecast[quantity])
    one, two = (spend(of, ThePlan(5, paths=20, every_draw=50)) for of in (again, seasons[0]))
    assert one.outings == two.outings
    assert not np.array_equal(again.came["wind_kt"], seasons[1].came["wind_kt"], equal_nan=True)


def test_what_came_is_whole_weeks_of_the_record_from_about_the_time_of_year() -> None:
    """A record that tells its own hour by its number."""
    told = record()
    told["wind_kt"] = told["gust_kt"] = np.arange(len(told), dtype=float)
    came = season(5, told, DAYS).came["wind_kt"]
    weeks = came[: len(came) // 168 * 168].reshape(-1, 168)
    assert (np.diff(weeks, axis=1) == 1).all()
    for n, first in enumerate(weeks[:, 0]):
        at = told.index[int(first)]
        assert at.hour == FIRST_HOUR.hour
        wanted = pd.Timestamp("2020-10-15T05:00Z") + pd.Timedelta(days=7 * n)
        assert abs((at - wanted).days) <= NEAR_DAYS + 1


def test_a_forecast_errs_more_the_further_ahead_it_looks() -> None:
    """By the spreads of config/plan.toml: 2.5 kt at once, 3.5 kt a day ahead, 5 kt three days ahead."""
    steady = record() * 0 + [60.0, 75.0]
    of = season(3, steady.ffill(), 80)
    error = 60.0 - of.forecast["wind_kt"]
    for lead_h, sd_kt in ((0, 2.5), (24, 3.5), (72, 5.0)):
        assert error[:, lead_h].std() == pytest.approx(sd_kt, rel=0.3)
        assert abs(error[:, lead_h].mean()) < sd_kt / 2
