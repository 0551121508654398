"""``soakbell plan``: the days ahead beside today's call, and the catch curves that the plan rests on."""

from __future__ import annotations

import re
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from soakbell.cli_telling import settings_of

if TYPE_CHECKING:
    from datetime import datetime

    from soakbell.letters.plan_section import PlanSection, WeekRow
    from soakbell.plan_desk import PlanDesk
    from soakbell.planning.call import Call
    from soakbell.settings import Settings

_COLUMNS = ("Day", "Fit", "Strings", "If fit")


def plan(
    ctx: typer.Context,
    curves: Annotated[
        Path | None,
        typer.Option("--curves", help="Also draw how each string catches, into this folder.", metavar="DIR"),
    ] = None,
) -> None:
    """The plan of the days ahead, on the forecasts and the log as they are on hand. It makes no call.

    Example: soakbell plan --curves curves
    """
    from soakbell.clock import SystemClock
    from soakbell.due_times import local_day
    from soakbell.letters.plan_section import plan_section
    from soakbell.letters.times import full_day_words
    from soakbell.letters.words import called, skipper_decides
    from soakbell.wiring import build

    settings = settings_of(ctx)
    now = SystemClock().now()
    today = local_day(now, settings.harbor.time_zone)
    house = build(settings)
    try:
        call, week, season = house.desk.week_now(today, clock_suspect=house.sweep.clock_is_suspect())
        trip = call.window is not None
        section = plan_section(week, today, trip=trip, take_up=call.take_up, season=season)
        typer.echo(f"{settings.boat.name}, {full_day_words(today)}: {called(call)} by what is on hand\n")
        if section is None:
            typer.echo(_why_none(settings, call))
        else:
            _tell(section)
        typer.echo(f"\n{skipper_decides('this plan')}")
        if curves is not None:
            _draw(house.desk.plan, settings, now, curves)
    finally:
        house.close()
    raise typer.Exit(1 if section is not None and section.fault else 0)


def _why_none(settings: Settings, call: Call) -> str:
    from soakbell.planning.call import CallWord

    if settings.plan_file is None:
        return f"no plan is set up; name its file in [plan] of {settings.path}"
    if call.word is CallWord.NO_CALL:
        return "no days are planned beside NO CALL"
    return "nothing to plan: no trap is in the water, or the season is closed"


def _tell(section: PlanSection) -> None:
    for text in (section.fault, *section.reasons):
        if text:
            typer.echo(text)
    if section.rows:
        typer.echo()
        _print(section.rows)
    for block in section.blocks:
        typer.echo(f"\n{block.title}")
        for line in block.lines:
            typer.echo(f"- {line}")


def _print(rows: Iterable[WeekRow]) -> None:
    from rich.console import Console
    from rich.table import Table

    table = Table(*_COLUMNS)
    for row in rows:
        table.add_row(row.day, row.fit, row.strings, row.catch)
    Console(highlight=False, markup=False).print(table)


def _draw(desk: PlanDesk, settings: Settings, now: datetime, folder: Path) -> None:
    """A picture for each string, and in words what it shows."""
    from soakbell.errors import Fault, LogRefused
    from soakbell.letters.curve_plot import curve_png, curve_words, left_out_words
    from soakbell.planning.catch_curve import told

    on_file = desk.curves(now)
    if on_file is None:
        return
    typer.echo("\nHow each string catches")
    for number, string in enumerate(settings.strings, 1):
        typer.echo(f"- {curve_words(told(on_file.curve, string.name, on_file.season_day))}")
        png = curve_png(on_file.curve, on_file.hauls, [string.name], on_file.season_day, settings.boat.name)
        plain = re.sub(r"[^a-z0-9]+", "-", string.name.casefold()).strip("-")
        file = folder / f"{number}-{plain or 'string'}.png"
        try:
            folder.mkdir(parents=True, exist_ok=True)
            file.write_bytes(png or b"")
        except OSError as fault:
            found = fault.strerror or "a fault"
            raise LogRefused([Fault(str(folder), "--curves", found, "a folder that can be written to")]) from fault
        typer.echo(f"  {file}")
    if on_file.curve.left_out:
        typer.echo(left_out_words(on_file.curve.left_out))
