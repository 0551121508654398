"""The catch curve against boats whose curve is known, and what it takes. INVENTED DATA, drawn at random.

    python tests/bench/bench_catch_curve.py [boats]

Prints how often the 80 % interval of the catch to expect of a trap holds the truth, for a random string and day of
200 boats at 5, 7, 10 and 14 days of soak; the same where the boats are unlike what is held beforehand; and times.
"""

from __future__ import annotations

import sys
import time
from dataclasses import replace
from pathlib import Path

TOP = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(TOP / "service"), str(TOP / "tests" / "planning")]

import numpy as np  # noqa: E402
from curve_boats import SOAKS_DAYS, boat, covered, fitted  # noqa: E402
from rich.console import Console  # noqa: E402
from rich.table import Table  # noqa: E402

from soakbell.planning.catch_curve import CurvePrior, Haul, LogNormal, fit_curve  # noqa: E402

SEED = 20261015
USUAL = CurvePrior()
BOATS = {
    "as held beforehand": USUAL,
    "twice the bait decay and loss": replace(USUAL, bait_decay=LogNormal(0.08, 0.3), loss=LogNormal(0.3, 0.3)),
    "half the bait decay and loss": replace(USUAL, bait_decay=LogNormal(0.02, 0.3), loss=LogNormal(0.075, 0.3)),
    "a third of the claws": replace(USUAL, claws_a_day=LogNormal(0.08, 0.4)),
}


def recovery(boats: int) -> Table:
    table = Table("boats", *(f"{soak:g} d" for soak in SOAKS_DAYS), "together", "high / low", "hauls", "s a fit")
    for name, prior in BOATS.items():
        rng = np.random.default_rng(SEED)
        inside, widths, hauls, seconds = [], [], [], 0.0
        for _ in range(boats):
            known = boat(rng, prior)
            began = time.perf_counter()
            curve = fitted(known)
            seconds += time.perf_counter() - began
            held, wide = covered(known, curve, rng)
            inside.append(held)
            widths.append(wide)
            hauls.append(len(known.hauls))
        held_at = [f"{share:.1%}" for share in np.mean(inside, axis=0)]
        table.add_row(
            f"{boats} {name}", *held_at, f"{np.mean(inside):.1%}", f"{np.median(widths):.2f}",
            f"{min(hauls)} to {max(hauls)}", f"{seconds / boats:.3f}",
        )  # fmt: skip
    return table


def times() -> Table:
    table = Table("strings", "pulls together", "fit, s", "30 soaks of each string, s")
    rng = np.random.default_rng(SEED)
    for strings, pulls in ((5, 200), (5, 1000), (60, 1000), (60, 6000)):
        names = [f"String {number}" for number in range(strings)]
        hauls = [
            Haul(
                names[n % strings], 30, float(rng.uniform(3, 15)), float(rng.uniform(0, 200)), int(rng.poisson(25))
            )
            for n in range(pulls)
        ]
        fit_curve(hauls[:5], names)
        began = time.perf_counter()
        curve = fit_curve(hauls, names)
        fit_s = time.perf_counter() - began
        began = time.perf_counter()
        for name in names:
            curve.expected_many(name, np.arange(1.0, 31.0), 60.0)
        table.add_row(str(strings), str(pulls), f"{fit_s:.3f}", f"{time.perf_counter() - began:.3f}")
    return table


if __name__ == "__main__":
    console = Console(width=120)
    console.print(recovery(int(sys.argv[1]) if len(sys.argv) > 1 else 200))
    console.print(times())
