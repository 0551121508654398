"""How the commands write words and rows to the terminal. Nothing that was told is read as markup."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, TypeAlias

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table

NARROW = 76
"""Columns of a terminal below which rows are written as lines."""

_MOST_CHARS = 1000

Rows: TypeAlias = Sequence[Sequence[str]]


def figures_table(*heads: str) -> Table:
    from rich import box
    from rich.table import Table

    table = Table(box=box.SIMPLE_HEAD, padding=0)
    for head in heads:
        table.add_column(head, no_wrap=True)
    return table


def print_figures(table: Table, *, aside: bool = False) -> None:
    """To the terminal, or ``aside`` of what goes to the output.

    On a narrow screen the rows run on: a number cut short would be another number.
    """
    from rich.console import Console
    from rich.measure import Measurement

    console = Console(stderr=aside)
    needed = Measurement.get(console, console.options.update(max_width=_MOST_CHARS), table).maximum
    Console(width=max(console.width, needed), highlight=False, markup=False, stderr=aside).print(table)


class Page:
    """Writes to the terminal."""

    def __init__(self, console: Console) -> None:
        self._console = console

    def say(self, text: str) -> None:
        self._console.print(text, markup=False, highlight=False)

    def table(self, title: str, heads: Sequence[str], rows: Rows, *, narrow: int = NARROW) -> None:
        """Rows under heads, columns without any cell left out; below ``narrow`` columns a line for each row.

        An id is never broken, since it is to be typed.
        """
        from rich.table import Table
        from rich.text import Text

        kept = [i for i in range(len(heads)) if i == 0 or any(row[i] for row in rows)]
        if self._console.width < narrow:
            self.say(f"\n{title}")
            for row in rows:
                cells = [f"{heads[i]} {row[i]}" for i in kept[1:] if row[i]]
                self.say(f"- {row[0]}: {'; '.join(cells)}" if cells else f"- {row[0]}")
            return
        table = Table(title=Text(title), title_justify="left")
        for i in kept:
            table.add_column(heads[i], no_wrap=heads[i] == "id")
        for row in rows:
            table.add_row(*(Text(row[i]) for i in kept))
        self._console.print(table)
