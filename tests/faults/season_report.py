"""Tells what a season came to."""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Console
from rich.table import Table

from faults.season_checks import Kept, Promise

MOST_TOLD = 12


def tell(seed: int, kept: Kept, made: Sequence[Promise], took_s: float) -> None:
    """A table of the promises, and a line for each thing that broke one."""
    console = Console(width=150)
    title = f"Seed {seed}: {kept.days[0]} to {kept.days[-1]}, {len(kept.days)} mornings in {took_s / 60:.1f} min"
    table = Table(title=f"INVENTED DATA. {title}", title_justify="left")
    for column in ("promise", "seen", "kept"):
        table.add_column(column)
    for promise in made:
        table.add_row(promise.what, promise.figures, "yes" if promise.kept else f"NO, {len(promise.broken)}")
    console.print(table)
    console.print(f"first words: {dict(kept.words)}; troubles: {dict(kept.troubles)}")
    for promise in made:
        for line in promise.broken[:MOST_TOLD]:
            console.print(f"{promise.what}: {line}", style="bold")
    for day, reason in kept.reasons.items():
        console.print(f"no letter on {day}: {reason}", markup=False)
