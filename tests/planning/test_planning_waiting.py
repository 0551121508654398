"""The plan that stays in today, and the chance of no fit day in time."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from plan_boats import TODAY, EveryPlan, broken, random_problem

from soakbell.planning.pull_plan import solve_plan
from soakbell.planning.pull_problem import PlanBait, Wish
from soakbell.planning.waiting import chance_of_none, staying_in

DAYS = tuple(TODAY + timedelta(days=n) for n in range(4))
FAR_OFF = TODAY + timedelta(days=30)


@pytest.mark.parametrize("seed", range(12))
def test_the_plan_that_stays_in_is_the_best_without_today(seed: int) -> None:
    problem = replace(random_problem(seed, 3, 5), pins=())
    later = solve_plan(staying_in(problem, problem.baits), next_best=False)
    every = EveryPlan(problem)
    without = float(every.worth_usd[~every.meant(Wish(None, TODAY))].max())
    assert later.value_usd == pytest.approx(without, abs=0.03)
    assert later.days[0].visits == ()
    assert broken(problem, later) == []


def test_a_pin_of_today_is_put_aside_for_the_plan_that_waits() -> None:
    problem = replace(random_problem(2, 3, 5, limits=False), pins=(Wish("String 1", TODAY),))
    assert solve_plan(staying_in(problem, ())).unmet_pins == ()


def test_the_plan_that_waits_has_the_bait_that_there_is() -> None:
    problem = random_problem(2, 3, 5, limits=False)
    takes = tuple(replace(string, bait_boxes={"mullet heads": 1.0}) for string in problem.strings)
    made_up, there = (PlanBait("mullet heads", boxes, 0.0, 0, (0.0,) * 5) for boxes in (9.0, 0.0))
    problem = replace(problem, strings=takes, baits=(made_up,), gain_usd=problem.gain_usd + 200)
    assert solve_plan(staying_in(problem, (made_up,)), next_best=False).expected_lb > 0
    assert solve_plan(staying_in(problem, (there,)), next_best=False).expected_lb == 0


def test_the_chance_of_no_fit_day_counts_the_days_after_today_up_to_the_ceiling() -> None:
    fits = np.array([[1, 0, 0, 0], [1, 1, 0, 0], [0, 0, 1, 0], [0, 0, 0, 1]], dtype=bool)
    ceiling = dict(zip(["Ledge", "Nine Foot", "The Hump", "Outer Bar"], [*DAYS[:3], FAR_OFF], strict=True))
    assert chance_of_none(fits, DAYS, ceiling) == {
        "Ledge": 1.0,
        "Nine Foot": 0.75,
        "The Hump": 0.5,
        "Outer Bar": 0.25,
    }


def test_a_later_ceiling_never_raises_the_chance_of_none() -> None:
    fits = np.random.default_rng(5).random((200, 4)) < 0.3
    chances = [chance_of_none(fits, DAYS, {"Ledge": day})["Ledge"] for day in DAYS]
    assert chances == sorted(chances, reverse=True)


@pytest.mark.parametrize("shape", [(0, 4), (5, 3), (4,)])
def test_paths_that_do_not_match_the_days_are_refused(shape: tuple[int, ...]) -> None:
    with pytest.raises(ValueError, match="at least one path of 4 days"):
        chance_of_none(np.zeros(shape, dtype=bool), DAYS, {"Ledge": DAYS[1]})
