"""What the commands that tell the log share: the options they take alike, and the telling itself."""

from __future__ import annotations

import os
import re
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import fields, replace
from datetime import date, datetime
from typing import TYPE_CHECKING, Annotated, Any, overload

import typer

if TYPE_CHECKING:
    from soakbell.gear.effect import Effect
    from soakbell.gear.fold import GearState, Oddity, StringState
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
    str | None,
    typer.Option("--traps", help='Places in the string, as "1..12 15", or all. Default: the whole string.'),
]
NamedPlaces = Annotated[
    str | None, typer.Option("--traps", help='Places in the string, as 4 or "1..12 15", or all. To be told.')
]
Note = Annotated[str, typer.Option("--note", help="A few words.")]

ALL = "all"
"""What ``--traps`` says for the whole string."""

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
    "rebaited": "--not-rebaited",
    "reset": "--not-reset",
    "back": "--fishing",
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
    "new_meter": "--new-meter",
    "bell": "BELL",
    "until": "--until",
    "day": "DAY",
}
"""Fields of an entry as the commands take them: arguments in capitals, options with their dashes."""

_AS_TYPED_IN = {
    "bait-bought": {"bait": "BAIT", "place": "--to"},
    "bait-moved": {"bait": "BAIT", "to": "--to", "out_of": "--from"},
    "bait-spoiled": {"bait": "BAIT", "place": "--from"},
    "bait-counted": {"bait": "BAIT", "place": "--in"},
    "bait-ordered": {"bait": "BAIT"},
    "part-bought": {"count": "COUNT"},
    "part-used": {"count": "COUNT"},
    "part-counted": {"count": "COUNT"},
}
"""What one kind of entry has otherwise."""

_COMMANDS = {"snoozed": "snooze", "settled": "settle", "pinned": "pin", "barred": "bar", "correction": "correct"}
"""Commands that aren't called as the kind of entry that they tell."""

_ID = re.compile(r"\b([0-9a-f]{8})-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}\b")


def typed_as(kind: str, field: str) -> str:
    """What the command of a kind of entry calls a field of it."""
    return _AS_TYPED_IN.get(kind, {}).get(field) or _AS_TYPED.get(field, field)


def command_of(entry: LogEntry) -> str:
    return _COMMANDS.get(entry.kind.value, entry.kind.value)


def short_id(entry_id: str) -> str:
    return entry_id[:8]


def short_ids(text: str) -> str:
    """A text with the ids in it shortened."""
    return _ID.sub(r"\1", text)


def tell(
    ctx: typer.Context,
    detail: Detail,
    string: str | None,
    at: str | None,
    traps: str | tuple[int, ...] | None,
    note: str,
) -> LogEntry:
    """Take one entry into the log and say so, and what it makes odd.

    Args:
        traps: as they were typed, or the places.

    Raises:
        LogRefused: with every fault, in the words of the command.
    """
    from zoneinfo import ZoneInfo

    from soakbell.clock import SystemClock
    from soakbell.errors import LogRefused, SoakbellError
    from soakbell.gear.effect import effect_of
    from soakbell.gear.log import new_entry
    from soakbell.known_strings import remember_strings
    from soakbell.store.log import all_entries, take_entries

    settings = settings_of(ctx)
    outfit = outfit_or_warning(settings)
    now = SystemClock().now()
    entry = new_entry(
        detail,
        happened_at=moment(settings, at, now),
        told_at=now,
        told_by="cli",
        string=string,
        traps=traps if isinstance(traps, tuple) else places(traps),
        note=note,
    )
    zone = ZoneInfo(settings.harbor.time_zone)
    with database(settings) as store:
        remember_strings(settings, store, now)
        try:
            take_entries(store, [entry], settings.trap_strings, now, zone=zone, outfit=outfit)
        except LogRefused as refused:
            kind = entry.kind.value
            raise LogRefused(
                [
                    replace(fault, key=typed_as(kind, fault.key), found=short_ids(fault.found))
                    for fault in refused.faults
                ]
            ) from None
        try:
            with store.reading() as session:
                log = all_entries(session)
            effect = effect_of(entry, log, settings.trap_strings)
        except SoakbellError as fault:
            typer.echo(_told(entry, None))
            warn(f"it is in the log, but what it does there can't be told: {fault}")
            return entry
    typer.echo(_told(entry, effect))
    by_id = {known.id: known for known in log}
    for oddity in effect.oddities:
        warn(odd_words(oddity, by_id.get(oddity.entry_id), own=oddity.entry_id == entry.id))
    for text in _barred_words(entry, effect, usable_outfit(settings)):
        warn(text)
    return entry


def _told(entry: LogEntry, effect: Effect | None) -> str:
    from soakbell.gear.fold import told_places

    about = entry.string or _subject_of(entry.detail)
    if entry.string is not None and effect is not None:
        count = len(effect.places)
        traps = f"trap{'' if count == 1 else 's'}"
        about += f", {traps} {told_places(effect.places)} ({count} {traps})"
    return f"told: {command_of(entry)} {about}, id {short_id(entry.id)}"


def _subject_of(detail: Detail) -> str:
    """What an entry that is of no string is about: the first of its own fields."""
    told = [getattr(detail, part.name) for part in fields(detail)]
    return short_ids(_shown(told[0])) if told else ""


def _barred_words(entry: LogEntry, effect: Effect, outfit: Outfit | None) -> Iterator[str]:
    """For each thing wrong with traps that went into the water and may not."""
    from soakbell.gear.fold import Whereabouts
    from soakbell.gear.log import Pulled, Recovered, TrapsSet

    if entry.string is None or not isinstance(entry.detail, TrapsSet | Pulled | Recovered):
        return
    state = effect.then.strings[entry.string]
    fishing = [place for place in effect.places if state.traps[place - 1].where is Whereabouts.FISHING]
    instead = "leave them out by --traps, or tell them repaired"
    if not isinstance(entry.detail, TrapsSet):
        instead = "tell them repaired, or keep them out"
    for text in may_not_be_set_words(state, fishing, outfit):
        yield f"{text}; {instead}"


def may_not_be_set_words(state: StringState, of_places: Iterable[int], outfit: Outfit | None) -> list[str]:
    """A clause for each item for which some of these traps may not be set."""
    from soakbell.gear.conditions import standing_of
    from soakbell.gear.outfit import Standing

    barred: dict[str, list[int]] = {}
    for place in of_places:
        for told in state.traps[place - 1].items:
            if standing_of(told.item, outfit) is Standing.MAY_NOT_BE_SET:
                barred.setdefault(told.item, []).append(place)
    words = []
    for item, traps in barred.items():
        kind = None if outfit is None else outfit.condition(item)
        why = UNKNOWN_ITEM if kind is None else kind.rule
        words.append(f"{traps_words(traps)} may not be set: {item}{f' ({why})' if why else ''}")
    return words


UNKNOWN_ITEM = "unknown to the settings: may not be set"


def traps_words(of_places: Iterable[int]) -> str:
    """ "trap 4", "traps 4 and 5", "traps 1..3 7"."""
    from soakbell.gear.fold import told_places

    numbers = sorted(of_places)
    if len(numbers) == 2:
        return f"traps {numbers[0]} and {numbers[1]}"
    return f"trap{'' if len(numbers) == 1 else 's'} {told_places(numbers)}"


def odd_words(oddity: Oddity, entry: LogEntry | None, *, own: bool = False) -> str:
    """An oddity in the words of the command that told ``entry``, which it is about."""
    key = oddity.key if entry is None else typed_as(entry.kind.value, oddity.key)
    words = f"{key}: found {short_ids(oddity.found)}; write {oddity.write}"
    if own:
        return words
    about = "" if entry is None else f" {command_of(entry)}{f' {entry.string}' if entry.string else ''}"
    return f"{short_id(oddity.entry_id)}{about}: {words}"


def words_of(entry: LogEntry, settings: Settings) -> str:
    """An entry in one line: what, where, when, and what was told with it."""
    from soakbell.gear.fold import told_places

    of = ""
    if entry.string is not None:
        traps = told_places(entry.traps)
        of = f" {entry.string}, " + (f"traps {traps}" if traps else "all traps")
    told = told_of(entry, settings)
    return f"{command_of(entry)}{of}, {local(settings, entry.happened_at)}" + (f": {told}" if told else "")


def told_of(entry: LogEntry, settings: Settings) -> str:
    """What was told beyond the kind, string and traps, as it is typed."""
    arguments, options = [], []
    for part in fields(entry.detail):
        value, name = getattr(entry.detail, part.name), typed_as(entry.kind.value, part.name)
        if value == part.default or name not in _TYPED:
            continue
        if isinstance(value, datetime):
            value = local(settings, value)
        if name.isupper():
            arguments.append(short_ids(_shown(value)))
        else:
            options.append(name if isinstance(value, bool) or name == "--fishing" else f"{name} {_quoted(value)}")
    return " ".join((*arguments, *options))


_TYPED = frozenset({*_AS_TYPED.values(), *(name for own in _AS_TYPED_IN.values() for name in own.values())})


def _shown(value: Any) -> str:
    """A value as it is typed."""
    from soakbell.gear.strings import Mark

    if isinstance(value, float):
        return f"{value:.10g}"
    if isinstance(value, Mark):
        return f"{value.lat_deg:.10g},{value.lon_deg:.10g}"
    if isinstance(value, tuple):
        if value and isinstance(value[0][0], int):
            return " ".join(f"{before}>{after}" for before, after in value)
        return "; ".join(f"{name} {amount:g}" for name, amount in value)
    return str(value)


def _quoted(value: Any) -> str:
    text = _shown(value)
    return f'"{text}"' if " " in text else text


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
    outfit = _outfit_or_fault(settings)
    if isinstance(outfit, str):
        file = "the gear file" if settings.gear_file is None else settings.gear_file.name
        warn(f"{file} has faults, so no name was held against it: see soakbell check")
        return None
    return outfit


def usable_outfit(settings: Settings) -> Outfit | None:
    """The outfit; None where there is none to use: every item then bars its trap."""
    outfit = _outfit_or_fault(settings)
    return None if isinstance(outfit, str) else outfit


def _outfit_or_fault(settings: Settings) -> Outfit | str | None:
    from soakbell.gear_settings import outfit_of

    return outfit_of(settings)


def string_at(settings: Settings, string: str, at: datetime) -> StringState | None:
    """A string as the log has it up to a moment; None where it isn't there."""
    from soakbell.gear.fold import fold, in_force
    from soakbell.store.log import all_entries

    with database(settings) as store, store.reading() as session:
        log = all_entries(session)
    state = fold([entry for entry in in_force(log) if entry.happened_at <= at], settings.trap_strings)
    return state.strings.get(string)


def warn(text: str) -> None:
    """What the skipper should look at. The entry is taken all the same."""
    typer.echo(f"check: {text}", err=True)


@contextmanager
def database(settings: Settings) -> Iterator[Store]:
    from soakbell.store.engine import open_current

    store = open_current(settings.database)
    try:
        yield store
    finally:
        store.close()


def clock_behind(gear: GearState, now: datetime) -> str:
    """That the clock can't be right; empty where nothing in the log says so."""
    if gear.newest_at is None or now >= gear.newest_at:
        return ""
    return "The clock shows an earlier time than the newest entry: set it."


def moment(settings: Settings, at: str | None, now: datetime, option: str = "--at") -> datetime:
    """The moment typed for ``option``, on the harbor's clock; ``now`` where none was."""
    from zoneinfo import ZoneInfo

    from soakbell.errors import Fault, LogRefused
    from soakbell.gear.log_csv import UnreadCell, moment_of

    if at is None:
        return now
    try:
        return moment_of(at, ZoneInfo(settings.harbor.time_zone))
    except UnreadCell as fault:
        raise LogRefused([Fault("log", option, repr(at), fault.write)]) from fault


@overload
def day(option: str, text: str) -> date: ...
@overload
def day(option: str, text: str | None) -> date | None: ...
def day(option: str, text: str | None) -> date | None:
    from soakbell.errors import Fault, LogRefused
    from soakbell.gear.log_csv import UnreadCell, day_of

    if text is None:
        return None
    try:
        return day_of(text)
    except UnreadCell as fault:
        raise LogRefused([Fault("log", option, repr(text), fault.write)]) from fault


def places(traps: str | None) -> tuple[int, ...]:
    from soakbell.errors import Fault, LogRefused
    from soakbell.gear.log_csv import UnreadCell, places_of

    if traps is None or traps.strip().casefold() == ALL:
        return ()
    try:
        return places_of(traps)
    except UnreadCell as fault:
        raise LogRefused([Fault("log", "--traps", repr(traps), fault.write)]) from fault


def named(traps: str | None) -> tuple[int, ...]:
    """The places, of a command that must be told which: what can't be taken back is of no whole string by default.

    Raises:
        LogRefused: nothing was typed.
    """
    from soakbell.errors import Fault, LogRefused

    if traps is None:
        write = f'the places of the traps, as 4 or "1..12 15", or {ALL}'
        raise LogRefused([Fault("log", "--traps", "nothing", write)])
    return places(traps)


def shares(option: str, text: str | None) -> Shares:
    from soakbell.errors import Fault, LogRefused
    from soakbell.gear.log_csv import UnreadCell, shares_of

    if text is None:
        return ()
    try:
        return shares_of(text)
    except UnreadCell as fault:
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
