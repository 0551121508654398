"""What waiting costs."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from plan_boats import TODAY, EveryPlan, broken, random_problem

from soakbell.planning.pull_problem import Wish
from soakbell.planning.waiting import chance_of_none, what_waiting_costs

DAYS = tuple(TODAY + timedelta(days=n) for n in range(4))
FAR_OFF = TODAY + timedelta(days=30)


@pytest.mark.parametrize("seed", range(12))
def test_waiting_costs_the_best_plan_with_today_less_the_best_without(seed: int) -> None:
    problem = replace(random_problem(seed, 3, 5), pins=())
    waiting = what_waiting_costs(problem)
    every = EveryPlan(problem)
    with_today = every.best_usd([Wish(None, TODAY)])
    without = float(every.worth_usd[~every.meant(Wish(None, TODAY))].max())
    assert waiting.later.value_usd == pytest.approx(without, abs=0.03)
    assert waiting.later.days[0].visits == ()
    if np.isinf(with_today):
        assert (waiting.today, waiting.costs_usd, waiting.costs_lb) == (None, None, None)
    else:
        assert waiting.today is not None
        assert waiting.costs_usd == pytest.approx(with_today - without, abs=0.03)
        assert waiting.costs_lb == pytest.approx(waiting.today.expected_lb - waiting.later.expected_lb)
        assert broken(problem, waiting.today) == []


def test_a_pin_of_today_is_put_aside_for_the_plan_that_waits() -> None:
    problem = replace(random_problem(2, 3, 5, limits=False), pins=(Wish("String 1", TODAY),))
    assert what_waiting_costs(problem).later.unmet_pins == ()


def test_today_closed_leaves_nothing_to_compare() -> None:
    problem = random_problem(2, 3, 5, limits=False)
    problem = replace(problem, days=(replace(problem.days[0], allowed=False), *problem.days[1:]))
    assert what_waiting_costs(problem).costs_usd is None


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
