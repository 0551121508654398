"""Waiting: the plan that stays in today, and the chance of no fit day in time."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date

import numpy as np

from soakbell.planning.pull_problem import PlanBait, PlanProblem, Wish


def staying_in(problem: PlanProblem, baits: Sequence[PlanBait]) -> PlanProblem:
    """The same without a trip today, the problem's first day, and with the bait that there is then.

    Pins of today are put aside.
    """
    today = problem.days[0].day
    return replace(
        problem,
        baits=tuple(baits),
        pins=tuple(pin for pin in problem.pins if pin.day != today),
        bars=(*problem.bars, Wish(None, today)),
    )


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
