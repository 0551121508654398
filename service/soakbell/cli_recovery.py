"""``soakbell recovery``: every trap that is not home, on the screen and as files."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from soakbell.cli_files import facts_of, write_file
from soakbell.cli_page import Page
from soakbell.cli_telling import clock_behind, database, settings_of

if TYPE_CHECKING:
    from datetime import datetime

    from rich.console import Console

    from soakbell.letters.times import HarborTimes
    from soakbell.planning.recovery import RecoveryList
    from soakbell.planning.season_told import SeasonAhead

_MOST_CHARS = 1000


def recovery(
    ctx: typer.Context,
    csv: Annotated[Path | None, typer.Option("--csv", help="Also write a table.", metavar="FILE")] = None,
    gpx: Annotated[
        Path | None, typer.Option("--gpx", help="Also write a track file for the plotter.", metavar="FILE")
    ] = None,
    ics: Annotated[
        Path | None,
        typer.Option(
            "--ics",
            help="Also write a calendar; it cancels the days of the last recovery letter that hold no more.",
            metavar="FILE",
        ),
    ] = None,
    sheet: Annotated[
        Path | None,
        typer.Option("--sheet", help="Also write a page to print, one sheet a trip.", metavar="FILE.html"),
    ] = None,
    deck: Annotated[
        int | None,
        typer.Option(
            "--deck",
            min=1,
            help="Traps that one trip stacks. Default: deck_traps of the settings; else no trips.",
        ),
    ] = None,
    stack_min: Annotated[
        float | None,
        typer.Option(
            "--stack",
            min=0,
            max=60,
            help="Minutes to stack and lash a trap, besides hauling it. Default: that of the settings.",
        ),
    ] = None,
) -> None:
    """Every trap that is not home, by the trips that bring it there; missing ones with where to look.

    From 45 days before all must be out also the days to start by, with their chances: those of the last morning
    letter, or by the usual weather alone.

    A trap stays on the list until the log is told that it is ashore, or written off with a reason.

    Example: soakbell recovery --deck 80 --sheet recovery.html
    """
    from rich.console import Console

    from soakbell.clock import SystemClock
    from soakbell.fishery.season import caution
    from soakbell.letters.recovery_files import recovery_csv, recovery_gpx, take_up_ics
    from soakbell.letters.recovery_sheet import recovery_sheet
    from soakbell.letters.times import HarborTimes
    from soakbell.plan_settings import terms_of
    from soakbell.season_desk import DeckLoad, SeasonDesk
    from soakbell.store.log_keeper import LogKeeper

    settings = settings_of(ctx)
    now = SystemClock().now()
    load = None if deck is None and stack_min is None else DeckLoad(deck, stack_min)
    with database(settings) as store:
        keeper = LogKeeper(store, settings.trap_strings)
        kept, desk = keeper.now(), SeasonDesk(settings, terms_of(settings), store, keeper)
        season = desk.between(now, kept=kept, deck=load, trips_always=True)
        told = desk.days_told() if ics else ()
    out = season.recovery
    if out is None:
        typer.echo(f"the list can't be told: {season.fault}", err=True)
        raise typer.Exit(1)
    facts = facts_of(settings, now)
    files: list[tuple[str, Path | None, bytes | None]] = [
        ("--csv", csv, recovery_csv(out, facts) if csv else None),
        ("--gpx", gpx, recovery_gpx(out, facts) if gpx else None),
        ("--ics", ics, take_up_ics(out, facts, told) if ics else None),
        ("--sheet", sheet, recovery_sheet(out, facts).encode() if sheet else None),
    ]
    behind = clock_behind(kept.gear, now)
    if behind:
        typer.echo(f"{behind} Days told here may be wrong until then.")
    times = HarborTimes.at(settings.harbor.time_zone, now)
    _tell(Console(), out, season, times, settings.boat.name, caution(settings.fishery).text)
    for option, file, content in files:
        if file is None:
            continue
        if content is None:
            typer.echo("no calendar: no day is known by which traps must be out", err=True)
            continue
        write_file("recovery", option, file, content)
    raise typer.Exit(1 if behind or season.fault else 0)


# ---- the screen


def _tell(
    console: Console, out: RecoveryList, season: SeasonAhead, times: HarborTimes, boat: str, law_words: str
) -> None:
    from soakbell.letters.recovery_words import (
        EVENLY,
        REPORT,
        STAYS,
        before_follower,
        lead_words,
        retired_line,
        rule_words,
        starts_words,
        trip_words,
    )
    from soakbell.letters.season_section import reckoned_lines
    from soakbell.letters.times import full_day_words
    from soakbell.letters.words import skipper_decides

    say = Page(console).say
    say(f"{boat}, {full_day_words(times.day)}: {lead_words(out)}")
    if out.take_up is not None:
        say(rule_words(out))
    for line in starts_words(out.starts, out.today):
        say(line)
    fishing = _fishing_rows(out, times)
    if fishing:
        _table(console, "Fishing", ("trip", "string", "traps", "last seen", "start mark", "end mark"), fishing)
        for trip in out.trips:
            say(f"trip {trip.number}: {trip_words(trip, out.today)}")
    if out.aboard:
        _table(console, "Aboard", ("string", "trap", "tag", "last seen"), _aboard_rows(out, times))
    if out.missing:
        heads = ("string", "trap", "tag", "missing since", "last seen", "near", "look from (south-west)", "to")
        _table(console, "Missing", heads, _missing_rows(out, times))
        for trap in out.missing:
            if trap.replaced:
                line = retired_line("soakbell", trap.string, str(trap.place), before_follower(trap, times))
                say(f"to write off the former {trap.string} {trap.place}, or when it is found: {line}")
        say(REPORT)
    say("")
    for text in reckoned_lines(season):
        say(text)
    for text in ((STAYS, EVENLY) if out.not_home else ()) + (skipper_decides("this list"), law_words):
        say(text)


def _fishing_rows(out: RecoveryList, times: HarborTimes) -> list[tuple[str, ...]]:
    from soakbell.gear.fold import told_places
    from soakbell.letters.recovery_words import mark_words

    rows: list[tuple[str, ...]] = []
    for trip, string in out.strings():
        by_day: dict[str, list[int]] = {}
        for trap in string.traps:
            by_day.setdefault(_day(trap.last_seen, times), []).append(trap.place)
        number = "" if trip is None else str(trip.number)
        marks = mark_words(string.start), mark_words(string.end)
        rows += [(number, string.name, told_places(places), day, *marks) for day, places in by_day.items()]
    return rows


def _aboard_rows(out: RecoveryList, times: HarborTimes) -> list[tuple[str, ...]]:
    return [(trap.string, str(trap.place), trap.tag, _day(trap.last_seen, times)) for trap in out.aboard]


def _missing_rows(out: RecoveryList, times: HarborTimes) -> list[tuple[str, ...]]:
    from soakbell.gear.strings import Mark
    from soakbell.letters.recovery_words import mark_words

    return [
        (
            trap.string,
            f"{trap.place}{' (replaced since)' if trap.replaced else ''}",
            trap.tag,
            _day(trap.since, times),
            _day(trap.last_seen, times),
            "" if trap.near is None else mark_words(trap.near),
            "" if trap.box is None else mark_words(Mark(trap.box.south_deg, trap.box.west_deg)),
            "" if trap.box is None else mark_words(Mark(trap.box.north_deg, trap.box.east_deg)),
        )
        for trap in out.missing
    ]


def _day(at: datetime | None, times: HarborTimes) -> str:
    from soakbell.letters.gear_words import due_words

    return "never" if at is None else due_words(times.local(at).date(), times.day)


def _table(console: Console, title: str, heads: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    """Rows under heads, columns without any cell left out; a line for each row where the screen is too narrow."""
    from rich.measure import Measurement
    from rich.table import Table
    from rich.text import Text

    kept = [i for i in range(len(heads)) if any(row[i] for row in rows)]
    table = Table(*(heads[i] for i in kept), title=Text(title), title_justify="left")
    for row in rows:
        table.add_row(*(Text(row[i]) for i in kept))
    needed = Measurement.get(console, console.options.update(max_width=_MOST_CHARS), table).maximum
    if needed <= console.width:
        console.print(table)
        return
    console.print(f"\n{title}", markup=False, highlight=False)
    for row in rows:
        line = "; ".join(f"{heads[i]} {row[i]}" for i in kept if row[i])
        console.print(f"- {line}", markup=False, highlight=False)
