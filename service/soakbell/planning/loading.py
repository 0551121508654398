"""What goes into a letter about gear, from the outfit, the log's books and the trip that is called."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from soakbell.gear import conditions
from soakbell.gear.fold import GearState
from soakbell.gear.outfit import Outfit
from soakbell.gear.parts import PartStock
from soakbell.planning import part_need
from soakbell.planning.ashore import BarredTraps, PartToBuy, PartToCarry, TrapsOf, UpkeepLine
from soakbell.planning.bench_plan import MendAtPull, mend_at_next_pull
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
    pieces: dict[str, float] = {}
    for mend in mends:
        for part, count in mend.parts:
            pieces[part] = pieces.get(part, 0.0) + count
    lines = {part: stock.line(part) for part in pieces}
    return tuple(
        PartToCarry(part, pieces[part], 0.0 if line is None else line.on_hand)
        for part, line in sorted(lines.items())
    )


def barred_rows(gear: GearState, outfit: Outfit) -> tuple[BarredTraps, ...]:
    """Traps that may not be set, those in the water first; traps of one string with one item in one row."""
    places: dict[tuple[str, str, bool], list[int]] = {}
    told: dict[tuple[str, str, bool], conditions.BarredTraps] = {}
    for barred in conditions.barred_traps(gear, outfit):
        key = (barred.string, barred.item, barred.in_water)
        told.setdefault(key, barred)
        places.setdefault(key, []).extend(barred.places)
    return tuple(
        BarredTraps(
            string=barred.string,
            places=tuple(sorted(places[key])),
            item=barred.item,
            rule=barred.rule,
            in_water=barred.in_water,
            unknown=barred.unknown,
        )
        for key, barred in told.items()
    )


def upkeep_lines(tasks: Iterable[UpkeepDue], *, before_leaving: bool) -> tuple[UpkeepLine, ...]:
    """Tasks that ask for the skipper, in the order given.

    Args:
        before_leaving: only what is looked at before each trip, and overdue safety gear.
    """
    return tuple(
        UpkeepLine(
            task=due.task,
            state=due.state,
            safety=due.safety,
            expires=due.expires,
            due_on=due.due_on,
            left=due.left,
            unit=due.unit,
        )
        for due in tasks
        if due.state != "fine"
        and (not before_leaving or due.before_leaving or (due.safety and due.state == "overdue"))
    )


def buying_rows(parts: Sequence[part_need.PartToBuy]) -> tuple[PartToBuy, ...]:
    """Parts to buy, in the order given."""
    return tuple(
        PartToBuy(part.part, part.on_hand, part.reorder_point, part.needed_now, part.buy) for part in parts
    )
