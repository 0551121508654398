"""What goes into a letter about gear, from the outfit, the log's books and the trip that is called."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from soakbell.gear import conditions
from soakbell.gear.conditions import BarredTraps
from soakbell.gear.fold import GearState
from soakbell.gear.outfit import Outfit
from soakbell.gear.parts import PartStock
from soakbell.planning.ashore import PartToCarry, TrapsOf
from soakbell.planning.bench_plan import MendAtPull, mend_at_next_pull, summed
from soakbell.planning.upkeep_due import UpkeepDue


def traps_ready(gear: GearState, outfit: Outfit, strings: Iterable[str]) -> tuple[TrapsOf, ...]:
    """Traps of the strings that may be set as they are, in the order given; strings without any are left out."""
    ready = (TrapsOf(name, conditions.ready_places(gear.strings[name], outfit)) for name in strings)
    return tuple(traps for traps in ready if traps.places)


def mends_at_pull(gear: GearState, outfit: Outfit, strings: Iterable[str]) -> tuple[MendAtPull, ...]:
    """What to mend when the traps of the strings come up, in the order given."""
    return tuple(mend for name in strings for mend in mend_at_next_pull(gear.strings[name], outfit))


def parts_to_carry(mends: Iterable[MendAtPull], stock: PartStock) -> tuple[PartToCarry, ...]:
    """The parts that the mends take, in order of name."""
    pieces = summed(mend.parts for mend in mends)
    lines = {part: stock.line(part) for part in pieces}
    return tuple(
        PartToCarry(part, pieces[part], 0.0 if line is None else line.on_hand)
        for part, line in sorted(lines.items())
    )


def barred_rows(gear: GearState, outfit: Outfit | None) -> tuple[BarredTraps, ...]:
    """Traps that may not be set, those in the water first; traps of one string with one item in one row."""
    rows: dict[tuple[str, str, bool], BarredTraps] = {}
    for barred in conditions.barred_traps(gear, outfit):
        key = (barred.string, barred.item, barred.in_water)
        first = rows.get(key)
        rows[key] = barred if first is None else replace(first, places=(*first.places, *barred.places))
    return tuple(replace(row, places=tuple(sorted(row.places))) for row in rows.values())


def upkeep_lines(tasks: Iterable[UpkeepDue], *, before_leaving: bool) -> tuple[UpkeepDue, ...]:
    """Tasks that ask for the skipper, in the order given.

    Args:
        before_leaving: only what is looked at before each trip, and overdue safety gear.
    """
    return tuple(
        due
        for due in tasks
        if due.state != "fine"
        and (not before_leaving or due.before_leaving or (due.safety and due.state == "overdue"))
    )
