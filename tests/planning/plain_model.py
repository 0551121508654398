"""The plain arc model of a pull plan, as a reference: all arcs and days in one program, minutes as a sum."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import lil_array

from soakbell.planning.pull_problem import PlanProblem


@dataclass(frozen=True)
class PlainAnswer:
    value_usd: float
    bound_usd: float


def plain_plan(
    problem: PlanProblem, takes_min: np.ndarray, has_min: np.ndarray, *, seconds: float, gap: float = 1e-6
) -> PlainAnswer:
    """Hours, bait, traps and bag; no pins.

    Args:
        takes_min: minutes of each string, ``has_min`` of each day: sums of them stand for trips.
    """
    count, days = len(problem.strings), len(problem.days)
    arcs, usd = {}, []
    for s, i in product(range(count), range(days + 1)):
        for day in range(i, days):
            if np.isfinite(problem.gain_usd[s, i, day]):
                arcs[s, i, day] = len(usd)
                usd.append(problem.gain_usd[s, i, day])
        arcs[s, i, days] = len(usd)
        usd.append(problem.end_usd[s, i])
    trips = len(usd)
    usd += [-day.trip_cost_usd for day in problem.days]
    rows: list[tuple[dict[int, float], float, float]] = []
    for s in range(count):
        rows.append(({arcs[s, 0, day]: 1.0 for day in range(days + 1) if (s, 0, day) in arcs}, 1.0, 1.0))
        for i in range(1, days + 1):
            row = {arcs[s, i, day]: 1.0 for day in range(i, days + 1) if (s, i, day) in arcs}
            row |= {arcs[s, b, i - 1]: -1.0 for b in range(i) if (s, b, i - 1) in arcs}
            rows.append((row, 0.0, 0.0))
    limits = [limit for limit in (problem.deck_traps, problem.most_traps) if limit is not None]
    for day in range(days):
        pulls = {key: n for key, n in arcs.items() if key[2] == day}
        rows.append(
            ({n: takes_min[s] for (s, _, _), n in pulls.items()} | {trips + day: -has_min[day]}, -np.inf, 0)
        )
        for s in range(count):
            rows.append(({n: 1.0 for k, n in pulls.items() if k[0] == s} | {trips + day: -1.0}, -np.inf, 0.0))
        for limit in limits:
            rows.append(({n: problem.strings[s].traps for (s, _, _), n in pulls.items()}, -np.inf, limit))
        if problem.bag_lb is not None:
            rows.append(({n: problem.expected_lb[key] for key, n in pulls.items()}, -np.inf, problem.bag_lb))
        for bait in problem.baits:
            so_far = {
                n: string.bait_boxes.get(bait.bait, 0.0)
                for (s, _, on), n in arcs.items()
                if on <= day and ((string := problem.strings[s]).baited_to is None or on <= string.baited_to)
            }
            rows.append((so_far, -np.inf, bait.usable_by(day)))
    matrix = lil_array((len(rows), len(usd)))
    for n, (row, _, _) in enumerate(rows):
        for column, value in row.items():
            matrix[n, column] = value
    closed = [not day.allowed or day.chance <= 0 for day in problem.days]
    result = milp(
        -np.array(usd),
        constraints=LinearConstraint(matrix.tocsr(), [row[1] for row in rows], [row[2] for row in rows]),
        integrality=np.ones(len(usd)),
        bounds=Bounds(0, np.concatenate([np.ones(trips), 1.0 - np.array(closed)])),
        options={"time_limit": seconds, "mip_rel_gap": gap},
    )
    return PlainAnswer(-float(result.fun), -float(result.mip_dual_bound))
