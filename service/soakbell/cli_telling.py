"""What the commands that tell the log share: the options they take alike, and the telling itself."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import fields, replace
from datetime import date, datetime
from typing import TYPE_CHECKING, Annotated, overload

import typer

if TYPE_CHECKING:
    from soakbell.gear.log import Detail, LogEntry, Shares
    from soakbell.gear.outfit import Outfit
    from soakbell.gear.strings import Mark
    from soakbell.settings import Settings
    from soakbell.store.engine import Store

String = Annotated[str, typer.Argument(help="The string's name.", metavar="STRING")]
When = Annotated[
    str | None,
    typer.Option("--at", help='When it happened, in the harbor\'s time, as "2026-12-08 09:40". Default: now.'),
]
Places = Annotated[
    str | None, typer.Option("--traps", help='Places in the string, as "1..12 15". Default: the whole string.')
]
Note = Annotated[str, typer.Option("--note", help="A few words.")]

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
    "lb_by_grade": "--grade",
    "smallest_claw_in": "--smallest",
    "bait": "--bait",
    "bait_boxes": "--bait-boxes",
    "voids": "ENTRY",
    "reason": "--reason",
    "item": "--item",
    "parts": "--parts",
    "tag": "--tag",
    "places": "CHANGES",
    "boxes": "BOXES",
    "cost_usd": "--cost",
    "due_on": "--due",
    "part": "PART",
    "task": "TASK",
    "expires_on": "--expires",
    "engine_h": "HOURS",
    "bell": "BELL",
    "until": "--until",
    "day": "DAY",
}
"""Fields of an entry as the commands take them, where a command has no name of its own for one."""


def tell(
    ctx: typer.Context,
    detail: Detail,
    string: str | None,
    at: str | None,
    traps: str | None,
    note: str,
    *,
    typed: Mapping[str, str] | None = None,
) -> LogEntry:
    """Take one entry into the log and say so.

    Args:
        typed: what this command calls a field, where others call it otherwise.

    Raises:
        LogRefused: with every fault, in the words of the command.
    """
    from zoneinfo import ZoneInfo

    from soakbell.clock import SystemClock
    from soakbell.errors import LogRefused
    from soakbell.gear.log import new_entry
    from soakbell.store.log import take_entries

    settings = settings_of(ctx)
    outfit = outfit_or_warning(settings)
    now = SystemClock().now()
    entry = new_entry(
        detail,
        happened_at=moment(settings, at, now),
        told_at=now,
        told_by="cli",
        string=string,
        traps=places(traps),
        note=note,
    )
    zone = ZoneInfo(settings.harbor.time_zone)
    try:
        with database(settings) as store:
            take_entries(store, [entry], settings.trap_strings, now, zone=zone, outfit=outfit)
    except LogRefused as refused:
        words = {**_AS_TYPED, **(typed or {})}
        raise LogRefused(
            [replace(fault, key=words.get(fault.key, fault.key)) for fault in refused.faults]
        ) from None
    typer.echo(f"told: {entry.kind.value} {string or subject_of(detail)} ({entry.id[:8]})")
    return entry


def subject_of(detail: Detail) -> str:
    """What an entry that is of no string is about: the first of its own fields."""
    told = [getattr(detail, part.name) for part in fields(detail)]
    if not told:
        return ""
    return f"{told[0]:g}" if isinstance(told[0], float) else str(told[0])


def words_of(entry: LogEntry, settings: Settings) -> str:
    """An entry in one line: what, where, when, and what was told with it."""
    from soakbell.gear.fold import told_places

    of = ""
    if entry.string is not None:
        traps = told_places(entry.traps)
        of = f" {entry.string}, " + (f"traps {traps}" if traps else "all traps")
    told = told_of(entry, settings)
    return f"{entry.kind.value}{of}, {local(settings, entry.happened_at)}" + (f": {told}" if told else "")


def told_of(entry: LogEntry, settings: Settings) -> str:
    """What was told beyond the kind, string and traps, with the names that the CSV has for it."""
    from zoneinfo import ZoneInfo

    from soakbell.gear.log_csv import told_cells

    cells = told_cells(entry.detail, ZoneInfo(settings.harbor.time_zone))
    return ", ".join(f"{name} {cell}" for name, cell in cells.items())


def local(settings: Settings, at: datetime) -> str:
    from zoneinfo import ZoneInfo

    return f"{at.astimezone(ZoneInfo(settings.harbor.time_zone)):%Y-%m-%d %H:%M}"


def local_date(settings: Settings, at: datetime) -> date:
    from zoneinfo import ZoneInfo

    return at.astimezone(ZoneInfo(settings.harbor.time_zone)).date()


def settings_of(ctx: typer.Context) -> Settings:
    from soakbell.settings import load_settings

    return load_settings(ctx.obj, os.environ, with_secrets=False)


def outfit_or_warning(settings: Settings) -> Outfit | None:
    """The outfit; None, with a warning where there should be one, when names can't be held against it."""
    from soakbell.gear_settings import outfit_of

    outfit = outfit_of(settings)
    if isinstance(outfit, str):
        warn(f"the gear file can't be used, so no name was held against it: {outfit}")
        return None
    return outfit


def warn(text: str) -> None:
    """What the skipper should look at. The entry is taken all the same."""
    typer.echo(f"check: {text}", err=True)


@contextmanager
def database(settings: Settings) -> Iterator[Store]:
    from soakbell.wiring import open_database

    store = open_database(settings)
    try:
        yield store
    finally:
        store.close()


def moment(settings: Settings, at: str | None, now: datetime, option: str = "--at") -> datetime:
    """The moment typed for ``option``, on the harbor's clock; ``now`` where none was."""
    from zoneinfo import ZoneInfo

    from soakbell.errors import Fault, LogRefused
    from soakbell.gear.log_csv import Unread, moment_of

    if at is None:
        return now
    try:
        return moment_of(at, ZoneInfo(settings.harbor.time_zone))
    except Unread as fault:
        raise LogRefused([Fault("log", option, repr(at), fault.write)]) from fault


@overload
def day(option: str, text: str) -> date: ...
@overload
def day(option: str, text: str | None) -> date | None: ...
def day(option: str, text: str | None) -> date | None:
    from soakbell.errors import Fault, LogRefused
    from soakbell.gear.log_csv import Unread, day_of

    if text is None:
        return None
    try:
        return day_of(text)
    except Unread as fault:
        raise LogRefused([Fault("log", option, repr(text), fault.write)]) from fault


def places(traps: str | None) -> tuple[int, ...]:
    from soakbell.errors import Fault, LogRefused
    from soakbell.gear.log_csv import Unread, places_of

    if traps is None:
        return ()
    try:
        return places_of(traps)
    except Unread as fault:
        raise LogRefused([Fault("log", "--traps", repr(traps), fault.write)]) from fault


def shares(option: str, text: str | None) -> Shares:
    from soakbell.errors import Fault, LogRefused
    from soakbell.gear.log_csv import Unread, shares_of

    if text is None:
        return ()
    try:
        return shares_of(text)
    except Unread as fault:
        raise LogRefused([Fault("log", option, repr(text), fault.write)]) from fault


def mark(option: str, text: str) -> Mark:
    from soakbell.errors import Fault, LogRefused
    from soakbell.gear.strings import Mark

    try:
        lat_deg, lon_deg = (float(part) for part in text.split(","))
    except ValueError as fault:
        write = "latitude and longitude in decimal degrees, as 30.030,-84.160"
        raise LogRefused([Fault("log", option, repr(text), write)]) from fault
    return Mark(lat_deg, lon_deg)
