"""How the commands write words and rows to the terminal. Nothing that was told is read as markup."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, TypeAlias

if TYPE_CHECKING:
    from rich.console import Console

NARROW = 76
"""Columns of a terminal below which rows are written as lines."""

Rows: TypeAlias = Sequence[Sequence[str]]


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
