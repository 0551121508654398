"""``soakbell log``: tell the log what was done, correct it, list it, and carry it in and out as CSV."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from soakbell.gear.log import Detail
    from soakbell.gear.strings import Mark
    from soakbell.settings import Settings
    from soakbell.store.engine import Store

log_commands = typer.Typer(
    no_args_is_help=True, help="Tell the log what was done to which traps. Nothing in it is ever changed."
)

String = Annotated[str, typer.Argument(help="The string's name.", metavar="STRING")]
When = Annotated[
    str | None,
    typer.Option("--at", help='When it happened, in the harbor\'s time, as "2026-12-08 09:40". Default: now.'),
]
Places = Annotated[
    str | None, typer.Option("--traps", help='Places in the string, as "1..12 15". Default: the whole string.')
]
Note = Annotated[str, typer.Option("--note", help="A few words.")]
StartMark = Annotated[str | None, typer.Option("--start", help='The start mark, as "30.030,-84.160".')]
EndMark = Annotated[str | None, typer.Option("--end", help="The end mark, likewise.")]


_HERE = Path("-")

_AS_TYPED = {
    "string": "STRING",
    "happened_at": "--at",
    "traps": "--traps",
    "note": "--note",
    "count": "--count",
    "start": "--start",
    "end": "--end",
    "legal_claws": "--legal",
    "short_claws": "--short",
    "float_claws": "--float",
    "egg_bearing_released": "--egg-bearing",
    "lb": "--lb",
    "bait": "--bait",
    "voids": "ENTRY",
    "reason": "--reason",
}
"""Fields of an entry as the commands take them."""


@log_commands.command("set")
def set_(
    ctx: typer.Context,
    string: String,
    count: Annotated[int | None, typer.Option("--count", help="How many traps, from the first place on.")] = None,
    start: StartMark = None,
    end: EndMark = None,
    at: When = None,
    traps: Places = None,
    note: Note = "",
) -> None:
    """Traps put in the water with fresh bait.

    Example: soakbell log set "Nine Foot" --at "2026-10-15 08:30"
    """
    from soakbell.gear.log import TrapsSet

    first = None if start is None else _mark("--start", start)
    last = None if end is None else _mark("--end", end)
    detail = TrapsSet(start=first, end=last, count=count)
    _tell(ctx, detail, string, at, traps, note)


@log_commands.command()
def pull(
    ctx: typer.Context,
    string: String,
    legal: Annotated[int | None, typer.Option(min=0, help="Legal claws landed.")] = None,
    short: Annotated[int | None, typer.Option(min=0, help="Claws too short, left on the crab.")] = None,
    float_: Annotated[int | None, typer.Option("--float", min=0, help="Float claws, left on the crab.")] = None,
    egg_bearing: Annotated[int | None, typer.Option(min=0, help="Egg-bearing crabs, released.")] = None,
    lb: Annotated[float | None, typer.Option(help="Pounds of legal claws.")] = None,
    bait: Annotated[str, typer.Option(help="Bait put in.")] = "",
    not_rebaited: Annotated[bool, typer.Option("--not-rebaited", help="Set back with the old bait.")] = False,
    not_reset: Annotated[bool, typer.Option("--not-reset", help="Kept aboard.")] = False,
    at: When = None,
    traps: Places = None,
    note: Note = "",
) -> None:
    """Traps hauled; rebaited and set back unless you say otherwise.

    Example: soakbell log pull "Outer Bar" --legal 118 --short 64 --lb 31.5 --bait "mullet heads"
    """
    from soakbell.gear.log import Pulled

    detail = Pulled(
        rebaited=not not_rebaited,
        reset=not not_reset,
        legal_claws=legal,
        short_claws=short,
        float_claws=float_,
        egg_bearing_released=egg_bearing,
        lb=lb,
        bait=bait,
    )
    _tell(ctx, detail, string, at, traps, note)


@log_commands.command()
def move(
    ctx: typer.Context,
    string: String,
    start: Annotated[str, typer.Option("--start", help='The new start mark, as "30.030,-84.160".')],
    end: Annotated[str, typer.Option("--end", help="The new end mark, likewise.")],
    at: When = None,
    note: Note = "",
) -> None:
    """A whole string laid between new marks; bait and soak stay as they were.

    Example: soakbell log move "Ledge" --start 29.905,-84.172 --end 29.908,-84.147
    """
    from soakbell.gear.log import Moved

    _tell(ctx, Moved(_mark("--start", start), _mark("--end", end)), string, at, None, note)


@log_commands.command()
def missing(ctx: typer.Context, string: String, at: When = None, traps: Places = None, note: Note = "") -> None:
    """Traps that aren't where they should be.

    Example: soakbell log missing "The Hump" --traps 17
    """
    from soakbell.gear.log import FoundMissing

    _tell(ctx, FoundMissing(), string, at, traps, note)


@log_commands.command()
def recovered(
    ctx: typer.Context,
    string: String,
    fishing: Annotated[bool, typer.Option("--fishing", help="Put back to fish; else it is aboard.")] = False,
    not_rebaited: Annotated[bool, typer.Option("--not-rebaited", help="Put back with the old bait.")] = False,
    at: When = None,
    traps: Places = None,
    note: Note = "",
) -> None:
    """Missing traps found again.

    Example: soakbell log recovered "The Hump" --traps 17 --fishing
    """
    from soakbell.gear.log import Recovered

    detail = Recovered(back="fishing" if fishing else "aboard", rebaited=not not_rebaited)
    _tell(ctx, detail, string, at, traps, note)


@log_commands.command()
def ashore(ctx: typer.Context, string: String, at: When = None, traps: Places = None, note: Note = "") -> None:
    """Traps brought ashore.

    Example: soakbell log ashore "Ledge" --traps 1..20
    """
    from soakbell.gear.log import BroughtAshore

    _tell(ctx, BroughtAshore(), string, at, traps, note)


@log_commands.command()
def correct(
    ctx: typer.Context,
    entry: Annotated[str, typer.Argument(help="The entry's id, as listed; its first letters will do.")],
    reason: Annotated[str, typer.Option("--reason", help="Why.")],
    at: When = None,
) -> None:
    """Void an entry. It stays in the log; voiding the correction brings it back.

    Example: soakbell log correct 3f2a --reason "that was Ledge, not Outer Bar"
    """
    from soakbell.errors import Fault, LogRefused
    from soakbell.gear.log import Correction
    from soakbell.store.log import all_entries

    with _database(_settings(ctx)) as store, store.reading() as session:
        found = [known.id for known in all_entries(session) if known.id.startswith(entry)]
    if len(found) != 1:
        fits = "no entry" if not found else f"{len(found)} entries"
        raise LogRefused([Fault("log", "entry", f"{entry!r}, which fits {fits}", "an id from: soakbell log list")])
    _tell(ctx, Correction(voids=found[0], reason=reason), None, at, None, "")


@log_commands.command("list")
def list_(
    ctx: typer.Context,
    last: Annotated[int, typer.Option("--last", min=1, help="How many of the newest entries.")] = 20,
) -> None:
    """The newest entries, and the soak of every string."""
    from zoneinfo import ZoneInfo

    from rich.console import Console
    from rich.table import Table

    from soakbell.clock import SystemClock
    from soakbell.gear.fold import fold, told_places
    from soakbell.gear.soak import soak_of
    from soakbell.letters.times import soak_words
    from soakbell.store.log import all_entries

    settings = _settings(ctx)
    zone = ZoneInfo(settings.harbor.time_zone)
    with _database(settings) as store, store.reading() as session:
        entries = all_entries(session)
    table = Table("id", "happened", "kind", "string", "traps", "note", title=f"The log of {settings.boat.name}")
    for entry in sorted(entries, key=lambda e: e.order)[-last:]:
        places = told_places(entry.traps) or "all"
        happened = f"{entry.happened_at.astimezone(zone):%Y-%m-%d %H:%M}"
        table.add_row(entry.id[:8], happened, entry.kind.value, entry.string or "", places, entry.note)
    now = SystemClock().now()
    state = fold(entries, settings.trap_strings)
    soaks = Table("string", "fishing", "oldest soak", "median", title="Soak now")
    for string in settings.trap_strings:
        soak = soak_of(state, string.name, now)
        if soak.oldest_h is None or soak.median_h is None:
            soaks.add_row(string.name, str(soak.fishing), soak.none_because or "", "")
        else:
            soaks.add_row(string.name, str(soak.fishing), soak_words(soak.oldest_h), soak_words(soak.median_h))
    console = Console()
    console.print(table)
    console.print(soaks)
    for oddity in state.oddities:
        console.print(f"odd: {oddity.entry_id[:8]} {oddity.key}: found {oddity.found}; write {oddity.write}")


@log_commands.command("import")
def import_(
    ctx: typer.Context,
    file: Annotated[
        Path, typer.Argument(help="A CSV file as `soakbell log export` writes it; - is the input.", metavar="FILE")
    ],
    skip_bad: Annotated[bool, typer.Option("--skip-bad", help="Take the good rows, leave the bad ones.")] = False,
) -> None:
    """Import entries from CSV: all rows or none, and a second time nothing.

    Example: soakbell log import season.csv
    """
    from zoneinfo import ZoneInfo

    from soakbell.clock import SystemClock
    from soakbell.errors import LogRefused
    from soakbell.gear.log_csv import plan_import
    from soakbell.store.log import all_entries, append_entries

    settings = _settings(ctx)
    content = _content_of(file)
    with _database(settings) as store, store.writing() as session:
        planned = plan_import(
            content,
            all_entries(session),
            settings.trap_strings,
            ZoneInfo(settings.harbor.time_zone),
            SystemClock().now(),
            skip_bad=skip_bad,
            name=file.name,
        )
        if planned.faults and not skip_bad:
            raise LogRefused(planned.faults)
        append_entries(session, planned.entries)
    for fault in planned.faults:
        typer.echo(str(fault), err=True)
    typer.echo(f"{len(planned.entries)} entries new, {planned.known} known before, {len(planned.faults)} faults")


@log_commands.command("export")
def export(
    ctx: typer.Context,
    file: Annotated[Path, typer.Argument(help="The file to write; - is the output.", metavar="FILE")],
) -> None:
    """Write the whole log as CSV.

    Example: soakbell log export season.csv
    """
    from zoneinfo import ZoneInfo

    from soakbell.errors import Fault, LogRefused
    from soakbell.gear.log_csv import write_log_csv
    from soakbell.store.log import all_entries

    settings = _settings(ctx)
    with _database(settings) as store, store.reading() as session:
        entries = all_entries(session)
    content = write_log_csv(entries, ZoneInfo(settings.harbor.time_zone))
    if file == _HERE:
        typer.echo(content, nl=False)
        return
    try:
        file.write_bytes(content)
    except OSError as fault:
        raise LogRefused([Fault(str(file), "file", str(fault.strerror), "a file that can be written")]) from fault
    typer.echo(f"{len(entries)} entries written to {file}")


def _tell(
    ctx: typer.Context, detail: Detail, string: str | None, at: str | None, traps: str | None, note: str
) -> None:
    from zoneinfo import ZoneInfo

    from soakbell.clock import SystemClock
    from soakbell.errors import LogRefused
    from soakbell.gear.log import new_entry
    from soakbell.store.log import take_entries

    settings = _settings(ctx)
    now = SystemClock().now()
    entry = new_entry(
        detail,
        happened_at=_moment(settings, at, now),
        told_at=now,
        told_by="cli",
        string=string,
        traps=_places(traps),
        note=note,
    )
    zone = ZoneInfo(settings.harbor.time_zone)
    try:
        with _database(settings) as store:
            take_entries(store, [entry], settings.trap_strings, now, zone=zone)
    except LogRefused as refused:
        raise LogRefused(
            [replace(fault, key=_AS_TYPED.get(fault.key, fault.key)) for fault in refused.faults]
        ) from None
    typer.echo(f"told: {entry.kind.value} {string or ''} ({entry.id[:8]})")


def _settings(ctx: typer.Context) -> Settings:
    from soakbell.settings import load_settings

    return load_settings(ctx.obj, os.environ, with_secrets=False)


@contextmanager
def _database(settings: Settings) -> Iterator[Store]:
    from soakbell.wiring import open_database

    store = open_database(settings)
    try:
        yield store
    finally:
        store.close()


def _content_of(file: Path) -> bytes:
    from soakbell.errors import Fault, LogRefused

    if file == _HERE:
        return sys.stdin.buffer.read()
    try:
        return file.read_bytes()
    except OSError as fault:
        raise LogRefused([Fault(str(file), "file", str(fault.strerror), "a CSV file that can be read")]) from fault


def _moment(settings: Settings, at: str | None, now: datetime) -> datetime:
    from zoneinfo import ZoneInfo

    from soakbell.errors import Fault, LogRefused
    from soakbell.gear.log_csv import Unread, moment_of

    if at is None:
        return now
    try:
        return moment_of(at, ZoneInfo(settings.harbor.time_zone))
    except Unread as fault:
        raise LogRefused([Fault("log", "--at", repr(at), fault.write)]) from fault


def _places(traps: str | None) -> tuple[int, ...]:
    from soakbell.errors import Fault, LogRefused
    from soakbell.gear.log_csv import Unread, places_of

    if traps is None:
        return ()
    try:
        return places_of(traps)
    except Unread as fault:
        raise LogRefused([Fault("log", "--traps", repr(traps), fault.write)]) from fault


def _mark(option: str, text: str) -> Mark:
    from soakbell.errors import Fault, LogRefused
    from soakbell.gear.strings import Mark

    try:
        lat_deg, lon_deg = (float(part) for part in text.split(","))
    except ValueError as fault:
        write = "latitude and longitude in decimal degrees, as 30.030,-84.160"
        raise LogRefused([Fault("log", option, repr(text), write)]) from fault
    return Mark(lat_deg, lon_deg)
