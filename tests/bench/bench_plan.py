"""The pull plan: time, gap and worth, against a long run of the plain model; and whether every limit is kept.

    python tests/bench/bench_plan.py [--boats 2] [--first SEED] [--plain SECONDS] [--explained] [--limits BOATS]

Boats are invented: 20 to 40 traps a string, windows of 3 to 9 hours. "At the harbor" all strings lie together, so
that sums of minutes are true trips and the plain model is right; "spread" they lie within about 10 nautical miles,
where the bound, which knows only the least runs, is loose. Up to ``pull_search.EXACT_UP_TO`` strings the plan is
proven. ``pull_search`` and ``pull_moves`` were tuned on boats 100 to 105: measure on others. CPU time reads
too high while the computer is busy.
"""

from __future__ import annotations

import argparse
import sys
import time
from dataclasses import replace
from datetime import datetime
from pathlib import Path

TOP = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(TOP / "tests" / "planning"))

import numpy as np  # noqa: E402
from plain_model import plain_plan  # noqa: E402
from plan_boats import HARBOR, broken, random_problem  # noqa: E402
from rich.console import Console  # noqa: E402
from rich.table import Table  # noqa: E402

from soakbell.planning.pull_plan import solve_plan  # noqa: E402
from soakbell.planning.pull_problem import PlanProblem  # noqa: E402

SIZES = [(strings, days) for strings in (5, 20, 60) for days in (7, 10, 14)]
AGAINST_PLAIN = {(20, 10), (60, 14)}
RUN_MIN = 15.0
"""Put on each string's hauling where all lie together, in place of runs."""


def bench_boat(seed: int, strings: int, days: int, *, together: bool) -> PlanProblem:
    problem = random_problem(seed, strings, days, limits=False)
    windows = np.random.default_rng(seed).uniform(180, 540, days)
    problem = replace(
        problem, days=tuple(replace(day, minutes=float(m)) for day, m in zip(problem.days, windows, strict=True))
    )
    if together:
        moved = (replace(s, start=HARBOR, end=HARBOR, haul_min=s.haul_min + RUN_MIN) for s in problem.strings)
        problem = replace(problem, strings=tuple(moved))
    return problem


def against_plain(problem: PlanProblem, value_usd: float, seconds: float) -> str:
    takes = np.array([string.haul_min for string in problem.strings])
    has = np.array([day.minutes for day in problem.days])
    plain = plain_plan(problem, takes, has, seconds=seconds)
    bound = (plain.bound_usd - plain.value_usd) / plain.bound_usd
    return f"{value_usd / plain.value_usd - 1:+.2%} (its own gap {bound:.2%})"


def limits_kept(boats: int) -> None:
    """Boats of 11 to 30 strings with every kind of limit, wish and day off."""
    broke = []
    for seed in range(boats):
        problem = random_problem(10_000 + seed, 11 + seed % 20, 5 + seed % 6)
        told = broken(problem, solve_plan(problem, next_best=False))
        if told:
            broke.append((seed, told[0]))
    Console().print(f"{boats} boats of 11 to 30 strings: {len(broke)} plans break a limit {broke or ''}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--boats", type=int, default=2)
    parser.add_argument("--first", type=int, default=0, help="seed of the first boat")
    parser.add_argument("--plain", type=float, default=0.0)
    parser.add_argument("--explained", action="store_true", help="look for the next best plans as well")
    parser.add_argument("--limits", type=int, default=0)
    given = parser.parse_args()
    title = f"Measured {datetime.now().astimezone():%Y-%m-%d %H:%M}"
    table = Table("strings x days", "boats lie", "wall s", "CPU s", "gap", "against the plain model", title=title)
    for strings, days in SIZES:
        for together in (True, False):
            walls, cpus, gaps, against = [], [], [], []
            for seed in range(given.first, given.first + given.boats):
                problem = bench_boat(seed, strings, days, together=together)
                wall, cpu = time.perf_counter(), time.process_time()
                plan = solve_plan(problem, next_best=given.explained)
                walls.append(time.perf_counter() - wall)
                cpus.append(time.process_time() - cpu)
                gaps.append(plan.gap)
                if given.plain and together and (strings, days) in AGAINST_PLAIN:
                    against.append(against_plain(problem, plan.value_usd, given.plain))
            table.add_row(
                f"{strings} x {days}",
                "at the harbor" if together else "spread",
                f"{np.median(walls):.2f}",
                f"{np.median(cpus):.2f}",
                f"{np.mean(gaps):.2%}",
                "\n".join(against),
            )
    Console().print(table)
    if given.limits:
        limits_kept(given.limits)


if __name__ == "__main__":
    main()
