"""What the plan is worth: simulated seasons with recorded weather, against simple ways to choose the day.

    python tests/bench/bench_seasons.py [--seasons 200] [--days 84] [--paths 100] [--every-draw 8] [--known]

INVENTED DATA but for the weather (``tests/planning/seasons.py``): a year of a shore tower, NDBC history of 2020,
whose weeks are drawn anew. It measures no sea, so only wind and gusts are held against the limits. Each season
begins on the opening day without any log; its last soak is lost to all alike, and only the plan knows when that
is. All strategies meet the same weather, forecasts and crabs, so differences from the plan are told by pairs. On
poor grounds the plan stays ashore, so they are told as well for the seasons in which some simple way earned.
``--known`` adds a plan that knows the true catch curve. Paths and draws are fewer than a letter's plan has (500
and 1000), for time.
"""

from __future__ import annotations

import argparse
import sys
import time
from datetime import datetime
from pathlib import Path

TOP = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(TOP / "service"), str(TOP / "tests" / "planning")]

import numpy as np  # noqa: E402
import pandas as pd  # noqa: E402
from rich.console import Console  # noqa: E402
from rich.table import Table  # noqa: E402
from seasons import (  # noqa: E402
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
    true_curve,
)

from soakbell.feeds.ndbc_history import parse_history  # noqa: E402
from soakbell.sea.trust import hourly_measured  # noqa: E402

RECORD = TOP.parent / "shared" / "data" / "weather" / "ndbc" / "ndbcapi_stdmet_0.txt"
PLAN = "the plan"
MEASURES = ("pounds", "dollars", "days at sea", "pulls", "mean soak, d", "days outside", "hours outside")
DIFFERENCES = ("pounds", "dollars", "days at sea", "days outside", "hours outside")


def strategies(of: Season, given: argparse.Namespace) -> dict[str, Strategy]:
    found: dict[str, Strategy] = {
        "(a) every seventh day if fit, else the next week's": every_seventh_day,
        "(a') seventh day, or the first fit one after": seventh_day_or_next_fit,
        "(b) first fit day past the floor, string by string": first_fit_past_floor,
        "(b') first fit day past all floors": first_fit_past_all_floors,
        PLAN: ThePlan(paths=given.paths, every_draw=given.every_draw),
    }
    if given.known:
        found["the plan, true curve known"] = ThePlan(paths=given.paths, curve=true_curve(of))
    return found


def told(spent: Spent) -> list[float]:
    outings = spent.outings
    soaks = [pull.soak_days for outing in outings for pull in outing.pulls]
    outside = [outing.outside_h for outing in outings]
    mean_soak = float(np.mean(soaks)) if soaks else np.nan
    return [spent.lb, spent.usd, len(outings), len(soaks), mean_soak, sum(h > 0 for h in outside), sum(outside)]


def told_season(seed: int, weather: pd.DataFrame, given: argparse.Namespace) -> dict[str, list[float]]:
    of = season(seed, weather, given.days)
    return {name: told(spend(of, strategy)) for name, strategy in strategies(of, given).items()}


def mean_and_error(values: np.ndarray) -> str:
    values = values[np.isfinite(values)]
    return f"{values.mean():,.2f} ± {values.std(ddof=1) / np.sqrt(len(values)):,.2f}"


def record() -> pd.DataFrame:
    if not RECORD.is_file():
        sys.exit(f"no record of weather at {RECORD}: this bench needs the captured payloads beside the project")
    return hourly_measured(parse_history(RECORD.read_bytes(), RECORD.name).rows)


def differences(found: dict[str, np.ndarray], kept: np.ndarray, which: str) -> Table:
    table = Table("the plan less", *DIFFERENCES, "more dollars in", title=which)
    for name, values in found.items():
        if name != PLAN:
            by_pair = (found[PLAN] - values)[kept]
            wins = (by_pair[:, MEASURES.index("dollars")] > 0).mean()
            columns = (mean_and_error(by_pair[:, MEASURES.index(measure)]) for measure in DIFFERENCES)
            table.add_row(name, *columns, f"{wins:.0%}")
    return table


def show(console: Console, found: dict[str, np.ndarray]) -> None:
    """``found``: by strategy, seasons x MEASURES."""
    dollars = MEASURES.index("dollars")
    simple = np.max([values[:, dollars] for name, values in found.items() if "plan" not in name], axis=0)
    table, hours = (
        Table("strategy", *MEASURES),
        Table("strategy", "hours outside a day at sea", "dollars a day at sea"),
    )
    for name, values in found.items():
        sums = dict(zip(MEASURES, values.sum(axis=0), strict=True))
        at_sea = sums["days at sea"]
        table.add_row(name, *(mean_and_error(values[:, n]) for n in range(len(MEASURES))))
        hours.add_row(name, f"{sums['hours outside'] / at_sea:.3f}", f"{sums['dollars'] / at_sea:,.0f}")
    console.print(table)
    console.print(differences(found, np.ones(len(simple), dtype=bool), "all seasons"))
    console.print(differences(found, simple > 0, f"the {(simple > 0).sum()} seasons in which a simple way earned"))
    console.print(hours)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seasons", type=int, default=200)
    parser.add_argument("--days", type=int, default=84)
    parser.add_argument("--paths", type=int, default=100)
    parser.add_argument("--every-draw", type=int, default=8)
    parser.add_argument("--known", action="store_true")
    given = parser.parse_args()
    weather, began = record(), time.process_time()
    rows = [told_season(seed, weather, given) for seed in range(given.seasons)]
    seconds = time.process_time() - began
    console = Console(width=170)
    console.print(
        f"Measured {datetime.now().astimezone():%Y-%m-%d %H:%M}: {given.seasons} seasons of {given.days} days, "
        f"{seconds:.0f} s of CPU. Mean of a season ± standard error."
    )
    show(console, {name: np.array([row[name] for row in rows]) for name in rows[0]})


if __name__ == "__main__":
    main()
