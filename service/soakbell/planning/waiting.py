"""What waiting costs: the plan with a trip today against that without, and the chance of no fit day in time."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from soakbell.planning.pull_plan import PullPlan, solve_plan
from soakbell.planning.pull_problem import PlanProblem, Wish


@dataclass(frozen=True)
class Waiting:
    """Today is the problem's first day.

    Attributes:
        today: the plan that goes out today; None if there can be no trip today.
        later: the plan that doesn't.
        costs_usd, costs_lb: what ``today`` is worth and catches more than ``later``; negative if waiting pays.
            None without a trip today.
    """

    today: PullPlan | None
    later: PullPlan
    costs_usd: float | None
    costs_lb: float | None


def what_waiting_costs(problem: PlanProblem) -> Waiting:
    """Pins of today are put aside for the plan without."""
    day = problem.days[0].day
    later = solve_plan(
        replace(
            problem,
            pins=tuple(pin for pin in problem.pins if pin.day != day),
            bars=(*problem.bars, Wish(None, day)),
        ),
        next_best=False,
    )
    today = solve_plan(replace(problem, pins=(Wish(None, day), *problem.pins)), next_best=False)
    if not today.days[0].visits:
        return Waiting(None, later, None, None)
    return Waiting(today, later, today.value_usd - later.value_usd, today.expected_lb - later.expected_lb)


def chance_of_none(fits: np.ndarray, days: tuple[date, ...], ceiling: Mapping[str, date]) -> dict[str, float]:
    """The chance that after today no fit day comes up to the day on which a string's soak reaches its ceiling.

    Of a ceiling past the last day it is the chance of none up to the last, which is no less; of one that is
    reached by today it is 1.

    Args:
        fits: (paths, days), whether a day is fit on each path of sampled weather, today first; days on which the
            boat can't go are not fit.
        ceiling: by string.

    Raises:
        ValueError: no paths, or not a column for each day.
    """
    if fits.ndim != 2 or not len(fits) or fits.shape[1] != len(days):
        raise ValueError(f"fits: found shape {fits.shape}; write at least one path of {len(days)} days")
    chances = {}
    for string, reached in ceiling.items():
        in_time = np.array([days[0] < day <= reached for day in days])
        chances[string] = float((~fits[:, in_time].astype(bool).any(axis=1)).mean())
    return chances
