"""What is wrong with which traps, and what it means for them: the log's items beside the skipper's settings."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from soakbell.gear.fold import GearState, StringState, TrapItem, TrapState, Whereabouts
from soakbell.gear.outfit import Outfit, Standing

AT_HAND = frozenset({Whereabouts.NEVER_SET, Whereabouts.ABOARD, Whereabouts.ASHORE, Whereabouts.BENCH})
"""Where a trap can be worked on without going to sea."""


@dataclass(frozen=True)
class BarredTraps:
    """Traps of one string that may not be set, for one ``item`` and since one moment.

    A trap with two such items stands in two of these. ``rule`` says which rule it breaks; "" where none.
    ``unknown``: the settings don't know the item, so it counts as one with which no trap may be set. ``unread``:
    there are no settings to know it, or they can't be read.
    ``since`` is when the item was told; of traps that were set although they may not be (``where`` is fishing),
    the later of that and of when they went in.
    """

    string: str
    places: tuple[int, ...]
    item: str
    rule: str
    where: Whereabouts
    since: datetime
    unknown: bool = False
    unread: bool = False

    @property
    def in_water(self) -> bool:
        return self.where is Whereabouts.FISHING


def standing_of(item: str, outfit: Outfit | None) -> Standing:
    """What an item means for a trap. One that the settings don't know bars it; without settings all do."""
    kind = None if outfit is None else outfit.condition(item)
    return Standing.MAY_NOT_BE_SET if kind is None else kind.standing


def items_by_standing(trap: TrapState, outfit: Outfit | None) -> tuple[TrapItem, ...]:
    """What is wrong with a trap, gravest first, then as it was told."""
    ranks = list(Standing)
    return tuple(sorted(trap.items, key=lambda told: (ranks.index(standing_of(told.item, outfit)), told.since)))


def may_not_be_set(trap: TrapState, outfit: Outfit | None) -> bool:
    """True for a retired trap, and for one with an item that bars it or that the settings don't know."""
    barred = any(standing_of(told.item, outfit) is Standing.MAY_NOT_BE_SET for told in trap.items)
    return barred or trap.where is Whereabouts.RETIRED


def ready_places(string: StringState, outfit: Outfit | None) -> tuple[int, ...]:
    """Traps that can be set as they are: at hand, not on the bench, with nothing that bars them or asks for it."""
    return tuple(
        trap.place
        for trap in string.traps
        if trap.where in AT_HAND - {Whereabouts.BENCH}
        and all(standing_of(told.item, outfit) is Standing.NEXT_PULL for told in trap.items)
    )


def barred_traps(gear: GearState, outfit: Outfit | None) -> tuple[BarredTraps, ...]:
    """Traps of the boat that may not be set: those in the water first, then those at hand.

    Missing and retired traps are left out: there is nothing to do about their items.
    """
    found: dict[tuple[str, str, Whereabouts, datetime], list[int]] = {}
    for string in gear.strings.values():
        for trap in string.traps:
            fishing = trap.where is Whereabouts.FISHING
            if not fishing and trap.where not in AT_HAND:
                continue
            for told in items_by_standing(trap, outfit):
                if standing_of(told.item, outfit) is Standing.MAY_NOT_BE_SET:
                    since = max(told.since, trap.since or told.since) if fishing else told.since
                    found.setdefault((string.name, told.item, trap.where, since), []).append(trap.place)
    barred = []
    for (name, item, where, since), places in found.items():
        kind, unread = None if outfit is None else outfit.condition(item), outfit is None
        rule = "" if kind is None else kind.rule
        barred.append(BarredTraps(name, tuple(places), item, rule, where, since, kind is None, unread))
    return tuple(sorted(barred, key=lambda traps: not traps.in_water))
