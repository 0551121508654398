"""Plans of large boats keep every limit: hours, bait, traps, bag, days off, bars and pins. INVENTED DATA.

    python tests/bench/bench_plan.py --limits 500

has 500 of 11 to 30 strings.
"""

from __future__ import annotations

import pytest
from plan_boats import broken, random_problem

from soakbell.planning.pull_plan import solve_plan


@pytest.mark.slow
@pytest.mark.parametrize(
    "first",
    [pytest.param(at, marks=pytest.mark.long if at >= 10_100 else ()) for at in range(10_000, 10_200, 20)],
)
def test_plans_of_large_boats_keep_every_limit(first: int) -> None:
    """200 boats, 160 of 7 to 10 strings and 40 of 11 to 20; half of them where long tests are asked for."""
    for seed in range(first, first + 20):
        strings = 11 + seed % 10 if seed % 5 == 0 else 7 + seed % 4
        problem = random_problem(seed, strings, 5 + seed % 3)
        assert broken(problem, solve_plan(problem, next_best=False)) == [], seed
