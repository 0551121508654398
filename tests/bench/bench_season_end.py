"""The odds of a take-up: 40 start days over 10,000 paths of 60 days. It should take less than 2 s.

python tests/bench/bench_season_end.py
"""

from __future__ import annotations

import sys
import time
from datetime import date, timedelta
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "service"))

import numpy as np

from soakbell.gear.strings import Mark, TrapString
from soakbell.planning.season_end import TakeUpPlan, take_up_odds, weather_ahead
from soakbell.planning.take_up_trips import TrapsOut, plan_trips
from soakbell.planning.trips import Boat

PATHS, DAYS, STARTS = 10_000, 60, 40
FIRST_DAY = date(2027, 3, 28)
ROUNDS = 5


def odds_s(strings: int, trips_a_day: int) -> tuple[int, float, float]:
    """Trips, and seconds to draw the weather and to count the odds from it; the slowest of some rounds."""
    plan = loads(strings)
    forecast = np.random.default_rng(1).uniform(0, 480, (500, 5))
    drawn, counted = [], []
    for seed in range(ROUNDS):
        began = time.perf_counter()
        windows = weather_ahead(
            [0.5] * DAYS, window_min=360, correlation=0.3, forecast=forecast, paths=PATHS, seed=seed
        )
        drawn.append(time.perf_counter() - began)
        began = time.perf_counter()
        deadline = FIRST_DAY + timedelta(days=STARTS)
        take_up_odds(
            plan,
            windows,
            FIRST_DAY,
            deadline,
            starts=STARTS,
            trips_a_day=trips_a_day,
            unload_min_per_trap=0.5,
        )
        counted.append(time.perf_counter() - began)
    return len(plan.trips), max(drawn), max(counted)


def loads(strings: int) -> TakeUpPlan:
    out = [
        TrapsOut(
            TrapString(f"S{n}", Mark(29.9 - n / 200, -84.2), Mark(29.9 - n / 200, -84.18), 40, "bay", 4, 120, 264),
            tuple(range(1, 41)),
        )
        for n in range(strings)
    ]
    boat = Boat("Little Grebe", 15, 2.5, 30)
    return plan_trips(boat, Mark(30.05, -84.15), out, deck_traps=74, stack_min_per_trap=1)


def plan_s(strings: int) -> float:
    began = time.perf_counter()
    loads(strings)
    return time.perf_counter() - began


if __name__ == "__main__":
    for strings, trips_a_day in ((4, 1), (15, 1), (30, 1), (15, 3), (60, 3)):
        trips, drawn_s, counted_s = odds_s(strings, trips_a_day)
        print(f"{trips} trips, {trips_a_day} a day: weather {drawn_s:.2f} s, odds {counted_s:.2f} s")
    for strings in (5, 30, 60):
        print(f"trips for {40 * strings} traps on {strings} strings: {plan_s(strings):.2f} s")
