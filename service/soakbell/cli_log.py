"""``soakbell log``: tell the log what was done, correct it, list it, and carry it in and out as CSV."""

from __future__ import annotations

import sys
from collections.abc import Collection
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from soakbell.cli_telling import (
    ALL,
    NamedPlaces,
    Note,
    Places,
    String,
    When,
    command_of,
    database,
    local,
    local_date,
    mark,
    may_not_be_set_words,
    moment,
    named,
    odd_words,
    outfit_or_warning,
    places,
    settings_of,
    shares,
    short_id,
    string_at,
    tell,
    told_of,
    traps_words,
    usable_outfit,
    warn,
    words_of,
)
from soakbell.cli_words import PlainWords

if TYPE_CHECKING:
    from soakbell.gear.fold import StringState
    from soakbell.gear.log import LogEntry
    from soakbell.settings import Settings

log_commands = typer.Typer(
    cls=PlainWords,
    no_args_is_help=True,
    help="Tell the log what was done to which traps. Nothing in it is ever changed.",
)

StartMark = Annotated[str | None, typer.Option("--start", help='The start mark, as "30.030,-84.160".')]
EndMark = Annotated[str | None, typer.Option("--end", help="The end mark, likewise.")]


_HERE = Path("-")
_NARROW_LOG = 110
"""Columns of a terminal below which entries are written as lines."""


@log_commands.command("set")
def set_(
    ctx: typer.Context,
    string: String,
    count: Annotated[
        int | None,
        typer.Option("--count", help="How many traps, from the first place that isn't in the water."),
    ] = None,
    start: StartMark = None,
    end: EndMark = None,
    at: When = None,
    traps: Places = None,
    note: Note = "",
) -> None:
    """Traps put in the water with fresh bait. Those on the bench or that may not be set are left out unless named.

    Example: soakbell log set "Nine Foot" --at "2026-10-15 08:30"
    """
    from soakbell.clock import SystemClock
    from soakbell.gear.log import TrapsSet

    first = None if start is None else mark("--start", start)
    last = None if end is None else mark("--end", end)
    meant = places(traps)
    left_out: list[str] = []
    if not meant:
        settings = settings_of(ctx)
        state = string_at(settings, string, moment(settings, at, SystemClock().now()))
        if state is not None:
            meant, left_out = _to_be_set(settings, state, count)
    tell(ctx, TrapsSet(start=first, end=last, count=count), string, at, meant, note)
    for text in left_out:
        typer.echo(f"left out: {text}")


def _to_be_set(settings: Settings, state: StringState, count: int | None) -> tuple[tuple[int, ...], list[str]]:
    """The places meant by a whole string where some of its traps may not be set, and which are left out and why.

    No places where there are none such: the log then knows which are meant.
    """
    from soakbell.errors import Fault, LogRefused
    from soakbell.gear.conditions import may_not_be_set
    from soakbell.gear.fold import Whereabouts

    out = (Whereabouts.NEVER_SET, Whereabouts.ABOARD, Whereabouts.ASHORE)
    outfit = usable_outfit(settings)
    benched = [] if count is not None else list(state.places(Whereabouts.BENCH))
    left_out = [f"{traps_words(benched)}, on the bench"] if benched else []
    can = [trap for trap in state.traps if trap.where in out]
    barred = [trap.place for trap in can if may_not_be_set(trap, outfit)]
    if not barred:
        return (), left_out
    may = [trap.place for trap in can if trap.place not in barred]
    if count is not None and count > len(may):
        write = f"{len(may)} or fewer, or tell those repaired that were"
        raise LogRefused([Fault("log", "--count", f"{count}, but only {len(may)} may be set", write)])
    if count is not None:
        may = may[:count]
        barred = [place for place in barred if place < max(may, default=0)]
    why = may_not_be_set_words(state, barred, outfit)
    if not may:
        found, write = f"a string with no trap that may be set ({'; '.join(why)})", "first what was repaired"
        raise LogRefused([Fault("log", "--traps", found, write)])
    fishing = state.places(Whereabouts.FISHING) if count is None else ()
    return tuple(sorted((*may, *fishing))), [*left_out, *why]


@log_commands.command()
def pull(
    ctx: typer.Context,
    string: String,
    legal: Annotated[int | None, typer.Option(help="Legal claws landed.")] = None,
    short: Annotated[int | None, typer.Option(help="Claws too short, left on the crab.")] = None,
    float_: Annotated[int | None, typer.Option("--float", help="Float claws, left on the crab.")] = None,
    egg_bearing: Annotated[int | None, typer.Option(help="Egg-bearing crabs, released.")] = None,
    lb: Annotated[float | None, typer.Option(help="Pounds of legal claws.")] = None,
    grade: Annotated[
        str | None, typer.Option(help='The same by grade, as "jumbo 3.5; large 2", named as in the gear file.')
    ] = None,
    smallest: Annotated[
        float | None, typer.Option(help="Length of the smallest claw kept, inches, as 2.9.", metavar="INCHES")
    ] = None,
    bait: Annotated[str, typer.Option(help="Bait put in.")] = "",
    bait_boxes: Annotated[
        float | None, typer.Option("--bait-boxes", help="How many boxes of it, in all, as 0.75.")
    ] = None,
    not_rebaited: Annotated[bool, typer.Option("--not-rebaited", help="Set back with the old bait.")] = False,
    not_reset: Annotated[bool, typer.Option("--not-reset", help="Kept aboard.")] = False,
    at: When = None,
    traps: Places = None,
    note: Note = "",
) -> None:
    """Traps hauled; rebaited and set back unless you say otherwise.

    Example: soakbell log pull "Outer Bar" --legal 118 --short 64 --lb 31.5 --bait "mullet heads" --bait-boxes 0.9

    Example: soakbell log pull "Ledge" --traps "1..12 15" --legal 40 --grade "jumbo 3.5; large 6" --smallest 2.9
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
        lb_by_grade=shares("--grade", grade),
        smallest_claw_in=smallest,
        bait=bait,
        bait_boxes=bait_boxes,
    )
    entry = tell(ctx, detail, string, at, traps, note)
    if smallest is not None:
        settings = settings_of(ctx)
        _warn_below_minimum(settings, smallest, local_date(settings, entry.happened_at))


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

    tell(ctx, Moved(mark("--start", start), mark("--end", end)), string, at, None, note)


@log_commands.command()
def missing(
    ctx: typer.Context, string: String, at: When = None, traps: NamedPlaces = None, note: Note = ""
) -> None:
    """Traps that aren't where they should be.

    Example: soakbell log missing "The Hump" --traps 17
    """
    from soakbell.gear.log import FoundMissing

    tell(ctx, FoundMissing(), string, at, named(traps), note)


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
    tell(ctx, detail, string, at, traps, note)


@log_commands.command()
def ashore(ctx: typer.Context, string: String, at: When = None, traps: Places = None, note: Note = "") -> None:
    """Traps brought ashore.

    Example: soakbell log ashore "Ledge" --traps 1..20
    """
    from soakbell.gear.log import BroughtAshore

    tell(ctx, BroughtAshore(), string, at, traps, note)


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
    void(ctx, entry, reason, at)


def undo(
    ctx: typer.Context,
    entry: Annotated[
        str | None,
        typer.Argument(
            help="The entry's id, as listed; its first letters will do. Default: the newest.", metavar="ENTRY"
        ),
    ] = None,
    reason: Annotated[str, typer.Option("--reason", help="Why.")] = "undone",
) -> None:
    """Void what was told last by command or phone; again, and the one before it is voided too.

    Nothing is removed: it stays in the log beside its correction. Undoing the correction brings it back.

    Example: soakbell undo

    Example: soakbell undo 3f2a --reason "that was Ledge, not Outer Bar"
    """
    void(ctx, entry, reason, None)


def void(ctx: typer.Context, entry: str | None, reason: str, at: str | None) -> None:
    """Tell the correction of an entry, by its first letters or the one told last, and say which it was."""
    from soakbell.gear.log import Correction
    from soakbell.store.log import all_entries

    settings = settings_of(ctx)
    with database(settings) as store, store.reading() as session:
        log = all_entries(session)
    wrong = _told_last(log) if entry is None else _entry_named(log, entry)
    tell(ctx, Correction(voids=wrong.id, reason=reason), None, at, None, "")
    typer.echo(f"voided: {words_of(wrong, settings)}, id {short_id(wrong.id)}")


_BY_HAND = ("cli", "phone", "crew phone")
"""Ways of telling that a bare undo reaches. An import is undone by its rows, what the service told by its id."""


def _told_last(log: Collection[LogEntry]) -> LogEntry:
    from soakbell.errors import Fault, LogRefused
    from soakbell.gear.fold import in_force
    from soakbell.gear.log import EntryKind

    by_hand = [
        entry for entry in in_force(log) if entry.told_by in _BY_HAND and entry.kind is not EntryKind.CORRECTION
    ]
    if not by_hand:
        found = "nothing told by command or phone that isn't voided"
        raise LogRefused([Fault("log", "ENTRY", found, _an_id(log))])
    return max(by_hand, key=lambda entry: (entry.told_at, entry.order))


def _entry_named(log: Collection[LogEntry], entry: str) -> LogEntry:
    from soakbell.errors import Fault, LogRefused

    found = [known for known in log if known.id.startswith(entry)]
    if len(found) != 1:
        fits = "no entry" if not found else f"{len(found)} entries"
        raise LogRefused([Fault("log", "ENTRY", f"{entry!r}, which fits {fits}", _an_id(log))])
    return found[0]


def _an_id(log: Collection[LogEntry]) -> str:
    return "an id from: soakbell log list" if log else "nothing: the log is empty"


@log_commands.command("list")
def list_(
    ctx: typer.Context,
    last: Annotated[int, typer.Option("--last", min=1, help="How many of the newest entries.")] = 20,
) -> None:
    """The newest entries, what is odd in the log, and the soak of every string."""
    from rich.console import Console

    from soakbell.cli_page import Page
    from soakbell.clock import SystemClock
    from soakbell.gear.books import fold_books
    from soakbell.gear.fold import in_force, told_places
    from soakbell.gear.log import OF_TRAPS
    from soakbell.gear.soak import soak_of
    from soakbell.letters.times import soak_words
    from soakbell.store.log import all_entries

    settings = settings_of(ctx)
    with database(settings) as store, store.reading() as session:
        entries = all_entries(session)
    counting = {entry.id for entry in in_force(entries)}
    page = Page(Console())
    rows = []
    for entry in sorted(entries, key=lambda e: e.order)[-last:]:
        kind = command_of(entry) + ("" if entry.id in counting else " (voided)")
        traps = (told_places(entry.traps) or ALL) if entry.kind in OF_TRAPS else ""
        at, told = local(settings, entry.happened_at), told_of(entry, settings)
        rows.append((short_id(entry.id), at, kind, entry.string or "", traps, told, entry.note))
    heads = ("id", "happened", "kind", "string", "traps", "told", "note")
    page.table(f"The log of {settings.boat.name}", heads, rows, narrow=_NARROW_LOG)
    now = SystemClock().now()
    gear, books = fold_books(entries, settings.trap_strings)
    soaks = []
    for string in settings.trap_strings:
        soak = soak_of(gear, string.name, now)
        oldest, median = soak.none_because or "", ""
        if soak.oldest_h is not None and soak.median_h is not None:
            oldest, median = soak_words(soak.oldest_h), soak_words(soak.median_h)
        soaks.append((string.name, str(soak.fishing), oldest, median))
    page.table("Soak now", ("string", "fishing", "oldest soak", "median"), soaks)
    by_id = {entry.id: entry for entry in entries}
    for oddity in sorted((*gear.oddities, *(() if books is None else books.oddities)), key=lambda odd: odd.order):
        page.say(f"odd: {odd_words(oddity, by_id.get(oddity.entry_id))}")


@log_commands.command("import")
def import_(
    ctx: typer.Context,
    file: Annotated[
        Path, typer.Argument(help="A CSV file as `soakbell log export` writes it; - is the input.", metavar="FILE")
    ],
    skip_bad: Annotated[bool, typer.Option("--skip-bad", help="Take the good rows, leave the bad ones.")] = False,
) -> None:
    """Import entries from CSV: all rows or none, and a second time nothing.

    In a spreadsheet, set the columns with dates to text first, or it writes them in a way of its own.

    Example: soakbell log import season.csv
    """
    from zoneinfo import ZoneInfo

    from soakbell.clock import SystemClock
    from soakbell.errors import LogRefused
    from soakbell.gear.log_csv import plan_import
    from soakbell.known_strings import remember_strings
    from soakbell.store.log import all_entries, append_entries

    settings = settings_of(ctx)
    outfit = outfit_or_warning(settings)
    content = _content_of(file)
    now = SystemClock().now()
    with database(settings) as store:
        remember_strings(settings, store, now)
        with store.writing() as session:
            planned = plan_import(
                content,
                all_entries(session),
                settings.trap_strings,
                ZoneInfo(settings.harbor.time_zone),
                now,
                outfit=outfit,
                skip_bad=skip_bad,
                name="" if file == _HERE else file.name,
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

    In a spreadsheet, open the columns with dates as text, or it writes them back in a way of its own.

    Example: soakbell log export season.csv
    """
    from zoneinfo import ZoneInfo

    from soakbell.errors import Fault, LogRefused
    from soakbell.gear.log_csv import write_log_csv
    from soakbell.store.log import all_entries

    settings = settings_of(ctx)
    with database(settings) as store, store.reading() as session:
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


def _content_of(file: Path) -> bytes:
    from soakbell.errors import Fault, LogRefused

    if file == _HERE:
        return sys.stdin.buffer.read()
    try:
        return file.read_bytes()
    except OSError as fault:
        raise LogRefused([Fault(str(file), "file", str(fault.strerror), "a CSV file that can be read")]) from fault


def _warn_below_minimum(settings: Settings, smallest_in: float, day: date) -> None:
    from soakbell.fishery.season import min_size
    from soakbell.gear.grades import short_of_law

    fishery = settings.fishery
    rule = min_size(fishery, day, sector=settings.sector, region=settings.region)
    if rule is not None and short_of_law(smallest_in, rule.value) is not None:
        warn(
            f"the smallest claw was told as {_inches(smallest_in)} in; the minimum is {_inches(rule.value)} in, "
            f"measured {fishery.measured}. A shorter one may not be kept; check with {fishery.authority.name}"
        )


def _inches(length_in: float) -> str:
    """Inches with a fraction, as rules have them (2 7/8), where it is one of sixteenths; else with a point."""
    from fractions import Fraction

    whole, rest = divmod(Fraction(length_in), 1)
    if rest == 0 or rest.denominator > 16:
        return f"{length_in:g}"
    return f"{whole} {rest}" if whole else f"{rest}"
