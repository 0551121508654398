"""``soakbell log`` for the gear: damage and mends, bait, parts, upkeep, bells that are to keep silent, and days
that the skipper pins or bars.
"""

from __future__ import annotations

from collections.abc import Iterable
from enum import StrEnum
from typing import TYPE_CHECKING, Annotated

import typer

from soakbell.cli_telling import (
    NamedPlaces,
    Note,
    Places,
    String,
    When,
    database,
    day,
    local_date,
    moment,
    named,
    places,
    settings_of,
    shares,
    string_at,
    tell,
    usable_outfit,
    warn,
)

if TYPE_CHECKING:
    from soakbell.gear.hushed import RungBell
    from soakbell.gear.log import Shares
    from soakbell.gear.outfit import Outfit
    from soakbell.settings import Settings

gear_commands = typer.Typer()
"""Commands of ``soakbell log``, beside those of the traps' ways in and out of the water."""


class BaitPlace(StrEnum):
    FREEZER = "freezer"
    THAW = "thaw"
    ABOARD = "aboard"


Bait = Annotated[str, typer.Argument(help="The bait, as in the gear file.", metavar="BAIT")]
Boxes = Annotated[float, typer.Argument(help="How many boxes; a quarter is 0.25.", metavar="BOXES")]
Part = Annotated[str, typer.Argument(help="The part, as in the gear file.", metavar="PART")]
Pieces = Annotated[float, typer.Argument(help="How many.", metavar="COUNT")]
Cost = Annotated[float | None, typer.Option("--cost", help="What all of it cost, dollars.")]
Bell = Annotated[str, typer.Argument(help='Its name as in the letter, as "soak:Nine Foot".', metavar="BELL")]
Day = Annotated[str, typer.Argument(help='The day, as "2026-12-12".', metavar="DAY")]
OnePlace = Annotated[str | None, typer.Option("--traps", help="The place of the one trap, as 7. To be told.")]
AnyString = Annotated[str, typer.Argument(help="The string's name. Default: all.", metavar="STRING")]


# ---- Traps


@gear_commands.command()
def damage(
    ctx: typer.Context,
    string: String,
    item: Annotated[str, typer.Option("--item", help="What is wrong: a condition, as in the gear file.")],
    at: When = None,
    traps: NamedPlaces = None,
    note: Note = "",
) -> None:
    """Something is wrong with traps.

    Example: soakbell log damage "Nine Foot" --traps 4 --item latch
    """
    from soakbell.gear.log import FoundDamaged

    tell(ctx, FoundDamaged(item), string, at, named(traps), note)


@gear_commands.command()
def repaired(
    ctx: typer.Context,
    string: String,
    item: Annotated[str, typer.Option("--item", help="What was mended. Default: all that was wrong.")] = "",
    parts: Annotated[
        str | None,
        typer.Option(
            "--parts", help='Parts used in all, as "hook latch 1; screw 4". Default: as in the gear file.'
        ),
    ] = None,
    no_parts: Annotated[bool, typer.Option("--no-parts", help="No parts were used.")] = False,
    at: When = None,
    traps: Places = None,
    note: Note = "",
) -> None:
    """Traps mended. The parts that the gear file has for it leave the stock, unless you tell others or none.

    Example: soakbell log repaired "Nine Foot" --traps 4 --item latch

    Example: soakbell log repaired "Ledge" --traps "1..12 15" --parts "hook latch 2; screw 9"
    """
    from soakbell.errors import Fault, LogRefused
    from soakbell.gear.log import Repaired

    if parts is not None and no_parts:
        raise LogRefused([Fault("log", "--no-parts", "--parts too", "one of the two")])
    used = shares("--parts", parts)
    reckoned = parts is None and not no_parts
    if reckoned:
        used = _parts_of_mend(settings_of(ctx), string, places(traps), item, at)
    tell(ctx, Repaired(item, used), string, at, traps, note)
    if reckoned and used:
        told = "; ".join(f"{part} {count:g}" for part, count in used)
        typer.echo(f"parts taken from stock, by the gear file: {told}")


@gear_commands.command()
def bench(ctx: typer.Context, string: String, at: When = None, traps: Places = None, note: Note = "") -> None:
    """Traps taken to the bench, to be mended ashore.

    Example: soakbell log bench "Ledge" --traps "1..12 15"
    """
    from soakbell.gear.log import PutOnBench

    tell(ctx, PutOnBench(), string, at, traps, note)


@gear_commands.command()
def retired(
    ctx: typer.Context,
    string: String,
    reason: Annotated[str, typer.Option("--reason", help="Why.")],
    at: When = None,
    traps: NamedPlaces = None,
    note: Note = "",
) -> None:
    """Traps given up, worn out or lost for good. Of all, missing ones stay missing: they may turn up.

    Example: soakbell log retired "The Hump" --traps 17 --reason "crushed by a keel"
    """
    from soakbell.gear.log import Retired

    tell(ctx, Retired(reason), string, at, named(traps), note)


@gear_commands.command()
def tagged(
    ctx: typer.Context,
    string: String,
    tag: Annotated[str, typer.Option("--tag", help="What stands on the tag.")],
    at: When = None,
    traps: OnePlace = None,
    note: Note = "",
) -> None:
    """One trap carries this tag from now on.

    Example: soakbell log tagged "Nine Foot" --traps 7 --tag X1207
    """
    from soakbell.gear.log import Tagged

    tell(ctx, Tagged(tag), string, at, traps, note)


@gear_commands.command()
def replaced(
    ctx: typer.Context,
    string: String,
    tag: Annotated[str, typer.Option("--tag", help="The new trap's tag, for one trap only.")] = "",
    at: When = None,
    traps: NamedPlaces = None,
    note: Note = "",
) -> None:
    """Another trap takes the place of each; it is ashore, ready to be set. All means those missing or retired.

    Example: soakbell log replaced "The Hump" --traps 17 --tag X1240
    """
    from soakbell.gear.log import Replaced

    tell(ctx, Replaced(tag), string, at, named(traps), note)


@gear_commands.command()
def renumbered(
    ctx: typer.Context,
    string: String,
    changes: Annotated[str, typer.Argument(help='From which place to which, as "3>4 4>3".', metavar="CHANGES")],
    at: When = None,
    note: Note = "",
) -> None:
    """Traps changed places in their string.

    Example: soakbell log renumbered "Ledge" "3>4 4>3"
    """
    from soakbell.errors import Fault, LogRefused
    from soakbell.gear.log import Renumbered
    from soakbell.gear.log_csv import UnreadCell, changes_of

    try:
        pairs = changes_of(changes)
    except UnreadCell as fault:
        raise LogRefused([Fault("log", "CHANGES", repr(changes), fault.write)]) from fault
    tell(ctx, Renumbered(pairs), string, at, None, note)


# ---- Bait


@gear_commands.command("bait-bought")
def bait_bought(
    ctx: typer.Context,
    bait: Bait,
    boxes: Boxes,
    to: Annotated[BaitPlace, typer.Option("--to", help="Where it was put.")] = BaitPlace.FREEZER,
    cost: Cost = None,
    at: When = None,
    note: Note = "",
) -> None:
    """Bait that came. It fulfils the oldest open order of that bait.

    Example: soakbell log bait-bought "mullet heads" 6 --cost 210
    """
    from soakbell.gear.log import BaitBought

    detail = BaitBought(bait, boxes, to.value, cost)
    tell(ctx, detail, None, at, None, note)


@gear_commands.command("bait-moved")
def bait_moved(
    ctx: typer.Context,
    bait: Bait,
    boxes: Boxes,
    to: Annotated[BaitPlace, typer.Option("--to", help="Where it lies now.")] = BaitPlace.THAW,
    out_of: Annotated[
        BaitPlace | None, typer.Option("--from", help="Where it lay. Default: the place before.")
    ] = None,
    at: When = None,
    note: Note = "",
) -> None:
    """Bait taken out to thaw, aboard, or back into the freezer; the oldest first.

    Example: soakbell log bait-moved "mullet heads" 2 --to thaw
    """
    from soakbell.gear.log import BaitMoved

    detail = BaitMoved(bait, boxes, to.value, None if out_of is None else out_of.value)
    tell(ctx, detail, None, at, None, note)


@gear_commands.command("bait-spoiled")
def bait_spoiled(
    ctx: typer.Context,
    bait: Bait,
    boxes: Boxes,
    place: Annotated[BaitPlace, typer.Option("--from", help="Where it lay.")] = BaitPlace.THAW,
    at: When = None,
    note: Note = "",
) -> None:
    """Bait thrown away.

    Example: soakbell log bait-spoiled "mullet heads" 0.5 --from thaw
    """
    from soakbell.gear.log import BaitSpoiled

    tell(ctx, BaitSpoiled(bait, boxes, place.value), None, at, None, note)


@gear_commands.command("bait-counted")
def bait_counted(
    ctx: typer.Context,
    bait: Bait,
    boxes: Boxes,
    place: Annotated[BaitPlace, typer.Option("--in", help="Where it was counted.")] = BaitPlace.FREEZER,
    at: When = None,
    note: Note = "",
) -> None:
    """Bait counted in one place; what was reckoned there before no longer matters.

    Example: soakbell log bait-counted "mullet heads" 3.5 --in freezer
    """
    from soakbell.gear.log import BaitCounted

    tell(ctx, BaitCounted(bait, boxes, place.value), None, at, None, note)


@gear_commands.command("bait-ordered")
def bait_ordered(
    ctx: typer.Context,
    bait: Bait,
    boxes: Boxes,
    due: Annotated[str | None, typer.Option("--due", help='The day it was promised for, as "2026-12-12".')] = None,
    at: When = None,
    note: Note = "",
) -> None:
    """Bait ordered that isn't here yet.

    Example: soakbell log bait-ordered "mullet heads" 3 --due 2026-12-12
    """
    from soakbell.gear.log import BaitOrdered

    due_on = day("--due", due)
    entry = tell(ctx, BaitOrdered(bait, boxes, due_on), None, at, None, note)
    if due_on is not None and due_on < local_date(settings_of(ctx), entry.told_at):
        warn(f"it was due on {due_on} and counts as late; if it came, tell it bait-bought")


# ---- Parts


@gear_commands.command("part-bought")
def part_bought(
    ctx: typer.Context, part: Part, count: Pieces, cost: Cost = None, at: When = None, note: Note = ""
) -> None:
    """Parts bought.

    Example: soakbell log part-bought "hook latch" 10 --cost 12
    """
    from soakbell.gear.log import PartBought

    tell(ctx, PartBought(part, count, cost), None, at, None, note)


@gear_commands.command("part-used")
def part_used(ctx: typer.Context, part: Part, count: Pieces, at: When = None, note: Note = "") -> None:
    """Parts used otherwise than in a mend that was told.

    Example: soakbell log part-used "line, fathom" 12
    """
    from soakbell.gear.log import PartUsed

    tell(ctx, PartUsed(part, count), None, at, None, note)


@gear_commands.command("part-counted")
def part_counted(ctx: typer.Context, part: Part, count: Pieces, at: When = None, note: Note = "") -> None:
    """Parts counted; what was reckoned before no longer matters.

    Example: soakbell log part-counted screw 140
    """
    from soakbell.gear.log import PartCounted

    tell(ctx, PartCounted(part, count), None, at, None, note)


# ---- Upkeep


@gear_commands.command()
def upkeep(
    ctx: typer.Context,
    task: Annotated[str, typer.Argument(help="The task, as in the gear file.", metavar="TASK")],
    expires: Annotated[
        str | None,
        typer.Option(
            "--expires", help='The date that stands on it now, as "2029-06-30"; of what expires, to be told.'
        ),
    ] = None,
    at: When = None,
    note: Note = "",
) -> None:
    """A task of upkeep done.

    Example: soakbell log upkeep "bilge pump test"

    Example: soakbell log upkeep flares --expires 2029-06-30
    """
    from soakbell.gear.log import UpkeepDone

    expires_on = day("--expires", expires)
    entry = tell(ctx, UpkeepDone(task, expires_on), None, at, None, note)
    settings = settings_of(ctx)
    if expires_on is not None and expires_on < local_date(settings, entry.told_at):
        warn(f"{task} expired on {expires_on}; don't rely on it")


@gear_commands.command()
def hours(
    ctx: typer.Context,
    engine_h: Annotated[float, typer.Argument(help="What the engine's hour meter reads.", metavar="HOURS")],
    new_meter: Annotated[bool, typer.Option("--new-meter", help="It counts anew, from this reading.")] = False,
    at: When = None,
    note: Note = "",
) -> None:
    """The reading of the engine's hour meter.

    Example: soakbell log hours 412.3
    """
    from soakbell.gear.log import EngineHours

    tell(ctx, EngineHours(engine_h, new_meter), None, at, None, note)


# ---- Bells


@gear_commands.command()
def snooze(
    ctx: typer.Context,
    bell: Bell,
    until: Annotated[
        str, typer.Option("--until", help='Until when, in the harbor\'s time, as "2026-12-12 06:00".')
    ],
    note: Note = "",
) -> None:
    """A bell keeps silent until then.

    Example: soakbell log snooze "soak:Nine Foot" --until "2026-12-12 06:00"
    """
    from soakbell.clock import SystemClock
    from soakbell.gear.log import BellSnoozed

    settings = settings_of(ctx)
    silent_until = moment(settings, until, SystemClock().now(), "--until")
    standing = _standing(settings, bell)
    tell(ctx, BellSnoozed(bell, silent_until), None, None, None, note)
    _warn_unless_standing(standing)


@gear_commands.command()
def settle(ctx: typer.Context, bell: Bell, at: When = None, note: Note = "") -> None:
    """A bell keeps silent unless its matter worsens or comes anew.

    Example: soakbell log settle "upkeep:flares"
    """
    from soakbell.gear.entry_check import MAX_CAUSE_CHARS
    from soakbell.gear.log import CAUSES_APART, BellSettled

    standing = _standing(settings_of(ctx), bell)
    cause = CAUSES_APART.join(dict.fromkeys(each.cause for each in standing or ()))
    detail = BellSettled(bell)
    if standing and len(cause) <= MAX_CAUSE_CHARS:
        detail = BellSettled(bell, cause, max(each.level for each in standing))
    tell(ctx, detail, None, at, None, note)
    _warn_unless_standing(standing)


def _standing(settings: Settings, name: str) -> tuple[RungBell, ...] | None:
    """What stands of that bell now, one for each cause; None where that can't be told."""
    from soakbell.clock import SystemClock
    from soakbell.errors import StoreError
    from soakbell.gear_desk import GearDesk
    from soakbell.gear_settings import outfit_of
    from soakbell.plan_settings import terms_of
    from soakbell.store.log_keeper import LogKeeper

    with database(settings) as store:
        keeper = LogKeeper(store, settings.trap_strings)
        desk = GearDesk(settings, outfit_of(settings), store, keeper, terms_of(settings))
        try:
            standing = desk.standing(SystemClock().now())
        except StoreError as fault:
            warn(f"which bells stand can't be told: {fault}")
            return None
    found = tuple(bell.rung for bell in standing.apart if bell.name.casefold() == name.casefold())
    return None if standing.faults and not found else found


def _warn_unless_standing(standing: tuple[RungBell, ...] | None) -> None:
    if standing == ():
        warn("that bell doesn't stand now; which do: soakbell status")


# ---- Days


@gear_commands.command()
def pin(ctx: typer.Context, on: Day, string: AnyString = "", note: Note = "") -> None:
    """A string is to be pulled on a day; without one, any of them. Take it back with: soakbell undo

    The call takes a pinned string in before others, also below its soak floor, but only in fit hours.

    A day without a string is only planned for. Where a pin and a bar meet, the bar holds.

    Example: soakbell log pin 2026-12-12 "Ledge"
    """
    from soakbell.gear.log import Pinned

    tell(ctx, Pinned(day("DAY", on), string), None, None, None, note)
    if string:
        typer.echo(f"a call of {on} takes {string} in before others, if it fishes and the hours are fit")
    else:
        typer.echo(f"{on} is planned for as a day with a pull, if it can be one")


@gear_commands.command()
def bar(ctx: typer.Context, on: Day, string: AnyString = "", note: Note = "") -> None:
    """A string is not to be pulled on a day; without one, none of them. Take it back with: soakbell undo

    Example: soakbell log bar 2026-12-13

    Example: soakbell log bar 2026-12-13 "Ledge"
    """
    from soakbell.gear.log import Barred

    tell(ctx, Barred(day("DAY", on), string), None, None, None, note)
    typer.echo(f"no call of {on} says to pull{' ' if string else ''}{string}")


# ---- Parts of a mend


def _parts_of_mend(settings: Settings, string: str, named: tuple[int, ...], item: str, at: str | None) -> Shares:
    """The parts that the gear file has for what was mended, in all: by what was wrong with each trap at that time.

    For a trap that is named, an ``item`` that was never told is mended too.
    """
    from soakbell.clock import SystemClock

    outfit = usable_outfit(settings)
    state = string_at(settings, string, moment(settings, at, SystemClock().now()))
    if outfit is None or state is None:
        return ()
    mended: list[str] = []
    for trap in state.traps:
        if named and trap.place not in named:
            continue
        wrong = [told.item for told in trap.items]
        if not item:
            mended += wrong
        elif named or item.casefold() in (told.casefold() for told in wrong):
            mended.append(item)
    return _parts_of(mended, outfit)


def _parts_of(mended: Iterable[str], outfit: Outfit) -> Shares:
    used: dict[str, float] = {}
    for item in mended:
        kind = outfit.condition(item)
        for part, count in () if kind is None else kind.parts:
            used[part] = used.get(part, 0.0) + count
    return tuple(sorted(used.items()))
