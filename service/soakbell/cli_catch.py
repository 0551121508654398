"""``soakbell catch``: what the traps caught by string, soak, bait and month, as a table and a picture."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from soakbell.cli_files import write_file
from soakbell.cli_page import print_figures
from soakbell.cli_telling import database, settings_of

if TYPE_CHECKING:
    from rich.table import Table

    from soakbell.gear.catch import CatchCell, CatchTotal
    from soakbell.gear.log import LogEntry
    from soakbell.gear.outfit import Outfit
    from soakbell.settings import Settings

    Month = tuple[int, int]


class By(StrEnum):
    STRING = "string"
    SOAK = "soak"
    BAIT = "bait"
    MONTH = "month"


NOT_TOLD = "not told"
_OUTPUT = Path("-")
_NAME_CHARS = 20
MONTH_WRITTEN = 'a month, as "2026-11"'


def catch(
    ctx: typer.Context,
    string: Annotated[
        list[str] | None, typer.Option("--string", help="Only this string; may be given more than once.")
    ] = None,
    since: Annotated[str | None, typer.Option("--since", help="From this month on, as 2026-11.")] = None,
    until: Annotated[str | None, typer.Option("--until", help="Up to this month and with it, as 2026-11.")] = None,
    by: Annotated[
        list[By] | None,
        typer.Option("--by", help="What a row stands for; may be given more than once. Default: string and soak."),
    ] = None,
    png: Annotated[
        Path | None,
        typer.Option(
            "--png",
            help="Also draw catch against soak, into this file; - is the output, without the table.",
            metavar="FILE",
        ),
    ] = None,
) -> None:
    """What the traps caught, for each trap hauled. What wasn't told is left out, never counted as nothing.

    Example: soakbell catch --by bait --since 2026-11

    Example: soakbell catch --string "Nine Foot" --by soak --png catch.png
    """
    from rich.console import Console

    from soakbell.gear_settings import outfit_of
    from soakbell.store.log import all_entries

    settings = settings_of(ctx)
    names = _names(string or [], settings)
    first, last = _month("--since", since), _month("--until", until)
    _in_order(first, last)
    with database(settings) as store, store.reading() as session:
        entries = all_entries(session)
    try:
        told = _cells(entries, settings)
    except Exception as fault:
        typer.echo(f"the catch can't be told: {type(fault).__name__}: {fault}", err=True)
        raise typer.Exit(1) from fault
    cells = [cell for cell in told if _asked(cell, names, first, last)]
    aside = png == _OUTPUT  # words would spoil a picture
    if not cells:
        typer.echo("no pull of these strings and months is in the log", err=aside)
        return
    order = [trap_string.name for trap_string in settings.trap_strings]
    console = Console(stderr=aside)
    print_figures(
        _table(cells, by or [By.STRING, By.SOAK], order, _span(settings.boat.name, first, last)), aside=aside
    )
    outfit = outfit_of(settings)
    for line in (*_graded(cells, outfit), *_FOOT):
        console.print(line, markup=False, highlight=False)
    if isinstance(outfit, str):
        typer.echo(outfit, err=True)
    if png is not None:
        _draw(png, cells, order, _span(settings.boat.name, first, last))


def _cells(entries: Iterable[LogEntry], settings: Settings) -> tuple[CatchCell, ...]:
    """The catch with its months by the harbor's clock."""
    from zoneinfo import ZoneInfo

    from soakbell.gear.catch import CatchBook
    from soakbell.gear.fold import opened

    book = CatchBook(zone=ZoneInfo(settings.harbor.time_zone))
    traps, in_time = opened(entries, settings.trap_strings)
    for entry in in_time:
        worked, _ = traps.take(entry)
        book.take(entry, worked)
    return book.freeze().cells


_FOOT = (
    "Soak: full days of the median trap. Bait: the one that fished, as it was last named for the string.",
    "Months are those of the harbor's clock. Short: of legal and short claws; float: of legal and float claws.",
)


def _table(cells: Sequence[CatchCell], by: Sequence[By], order: Sequence[str], title: str) -> Table:
    """A figure that no pull told has no column but a line below."""
    from rich import box
    from rich.table import Table
    from rich.text import Text

    from soakbell.gear.catch import total_of

    total = total_of(cells)
    told = [figure for figure in _FIGURES if figure.of(total) is not None]
    never = ", ".join(figure.name for figure in _FIGURES if figure not in told)
    table = Table(
        title=Text(title),
        title_justify="left",
        caption=f"Not told in any of these pulls: {never}." if never else None,
        caption_justify="left",
        box=box.SIMPLE_HEAD,
        padding=0,
    )
    columns = list(dict.fromkeys(by))
    for column in columns:
        justify: Literal["left", "right"] = "right" if column is By.SOAK else "left"
        table.add_column(_HEADS[column], justify=justify, overflow="fold", max_width=_NAME_CHARS)
    for head in (*(figure.head for figure in told), "traps", "pulls"):
        table.add_column(head, justify="right", no_wrap=True)
    rows: dict[tuple[tuple[int, str], ...], list[CatchCell]] = {}
    for cell in cells:
        rows.setdefault(tuple(_place(cell, column, order) for column in columns), []).append(cell)
    for place in sorted(rows):
        table.add_row(*(Text(name) for _, name in place), *_row(total_of(rows[place]), told))
    table.add_section()
    table.add_row("all", *[""] * (len(columns) - 1), *_row(total, told))
    return table


@dataclass(frozen=True)
class _Figure:
    name: str
    head: str
    form: str
    of: Callable[[CatchTotal], float | None]


_FIGURES = (
    _Figure("claws", "claws\na trap", ".1f", lambda total: total.claws_a_trap),
    _Figure("pounds", "lb\na trap", ".2f", lambda total: total.lb_a_trap),
    _Figure("pounds and claws of one pull", "oz\na claw", ".1f", lambda total: total.oz_a_claw),
    _Figure("short claws", "short", ".0%", lambda total: total.short_share),
    _Figure("float claws", "float", ".0%", lambda total: total.float_share),
)
_HEADS = {By.STRING: "string", By.SOAK: "soak,\ndays", By.BAIT: "bait", By.MONTH: "month"}


def _row(total: CatchTotal, figures: Sequence[_Figure]) -> list[str]:
    values = [(figure, figure.of(total)) for figure in figures]
    told = [NOT_TOLD if value is None else format(value, figure.form) for figure, value in values]
    return [*told, str(total.traps), str(total.pulls)]


def _place(cell: CatchCell, column: By, order: Sequence[str]) -> tuple[int, str]:
    """Where a row stands among others, and its name."""
    if column is By.STRING:
        return (order.index(cell.string), cell.string) if cell.string in order else (len(order), cell.string)
    if column is By.SOAK:
        return (cell.soak_days, str(cell.soak_days))
    if column is By.MONTH:
        return (0, f"{cell.year}-{cell.month:02d}")
    return (0, cell.bait) if cell.bait else (1, "not named")


def _graded(cells: Iterable[CatchCell], outfit: Outfit | str | None) -> list[str]:
    """Pounds by grade and their worth, and the grade of the average claw, where they were told."""
    from soakbell.gear.catch import total_of
    from soakbell.gear.grades import grade_of, value_usd
    from soakbell.gear.outfit import Outfit

    total = total_of(cells)
    grades = outfit.grades if isinstance(outfit, Outfit) else ()
    lines = []
    if total.lb_by_grade:
        pounds = "; ".join(f"{grade} {lb:.1f} lb" for grade, lb in total.lb_by_grade)
        worth = value_usd(total.lb_by_grade, grades)
        told = (
            "no worth, since a grade has no price"
            if worth is None
            else f"worth {worth:,.0f} dollars at your prices"
        )
        lines.append(f"By grade: {pounds}; {told}.")
    grade = None if total.oz_a_claw is None else grade_of(total.oz_a_claw, grades)
    if grade is not None:
        lines.append(f"By its weight the average claw is {grade.name} ({grade.source}).")
    return lines


def _draw(file: Path, cells: Sequence[CatchCell], order: Sequence[str], footer: str) -> None:
    from soakbell.letters.catch_plot import catch_png

    picture = catch_png(cells, order, footer)
    if picture is None:
        typer.echo("no picture: none of these pulls told its claws or pounds", err=file == _OUTPUT)
        return
    if file == _OUTPUT:
        sys.stdout.buffer.write(picture)
        return
    write_file("catch", "--png", file, picture, done="drawn")


def _span(boat: str, first: Month | None, last: Month | None) -> str:
    since = "" if first is None else f" since {first[0]}-{first[1]:02d}"
    until = "" if last is None else f" until {last[0]}-{last[1]:02d}"
    return f"The catch of {boat}{since}{until}"


def _asked(cell: CatchCell, names: Sequence[str], first: Month | None, last: Month | None) -> bool:
    month = (cell.year, cell.month)
    return (
        (not names or cell.string in names)
        and (first is None or first <= month)
        and (last is None or month <= last)
    )


def _names(given: Sequence[str], settings: Settings) -> list[str]:
    from difflib import get_close_matches

    from soakbell.errors import Fault, LogRefused

    known = {string.name.casefold(): string.name for string in settings.trap_strings}
    faults = []
    for name in given:
        if name.casefold() not in known:
            near = get_close_matches(name.casefold(), known, n=1)
            write = repr(known[near[0]]) if near else f"one of {', '.join(known.values())}"
            faults.append(Fault("catch", "--string", repr(name), write))
    if faults:
        raise LogRefused(faults)
    return [known[name.casefold()] for name in given]


def _month(option: str, text: str | None) -> Month | None:
    import re

    from soakbell.errors import Fault, LogRefused

    if text is None:
        return None
    written = re.fullmatch(r"(\d{4})-(0[1-9]|1[0-2])", text.strip(), re.ASCII)
    if written is None:
        raise LogRefused([Fault("catch", option, repr(text), MONTH_WRITTEN)])
    return int(written[1]), int(written[2])


def _in_order(first: Month | None, last: Month | None) -> None:
    from soakbell.errors import Fault, LogRefused

    if first is not None and last is not None and last < first:
        found = f"{last[0]}-{last[1]:02d}, before --since"
        raise LogRefused([Fault("catch", "--until", found, "the same month as --since or a later one")])
