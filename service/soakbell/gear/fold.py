"""What is in the water, as a pure fold of the log.

The order in which entries arrive doesn't matter: they are put in the order in which things happened.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass

from soakbell.gear.log import Correction, EntryKind, LogEntry
from soakbell.gear.strings import TrapString
from soakbell.gear.trap_book import TrapBook
from soakbell.gear.trap_states import (
    GearState,
    Oddity,
    StringState,
    TrapItem,
    TrapState,
    Whereabouts,
    odd,
    told_places,
)

__all__ = [
    "GearState",
    "Oddity",
    "Settled",
    "StringState",
    "TrapBook",
    "TrapItem",
    "TrapState",
    "Whereabouts",
    "fold",
    "follows",
    "in_force",
    "opened",
    "settle_corrections",
    "told_places",
]


def fold(entries: Iterable[LogEntry], strings: Iterable[TrapString]) -> GearState:
    """The state after ``entries``, given in any order.

    Entries with one key count once (the first told). Corrections void entries and each other; an entry that
    arrives late takes its place in time. What makes no sense is listed in ``oddities`` and never raises.
    """
    book, in_time = opened(entries, strings)
    for entry in in_time:
        book.take(entry)
    return book.freeze()


def opened(entries: Iterable[LogEntry], strings: Iterable[TrapString]) -> tuple[TrapBook, list[LogEntry]]:
    """The book before anything was done, and the entries that count in the order in which it is to take them."""
    once, oddities = _each_once(entries)
    settled = settle_corrections(once, {entry.id for entry in once})
    nothing_done = GearState({}, (*oddities, *settled.oddities), awaited=settled.awaited)
    return TrapBook(strings, nothing_done), sorted(_kept(once, settled), key=lambda entry: entry.order)


def in_force(entries: Iterable[LogEntry]) -> list[LogEntry]:
    """The entries that count: each once, without those that a correction voids."""
    once, _ = _each_once(entries)
    return _kept(once, settle_corrections(once, {entry.id for entry in once}))


def follows(state: GearState, entry: LogEntry) -> bool:
    """True when a book of ``state`` can take the entry: later than all before it, no correction, not voided."""
    late = state.last is not None and entry.order <= state.last
    return not late and entry.kind is not EntryKind.CORRECTION and entry.id not in state.awaited


def _each_once(entries: Iterable[LogEntry]) -> tuple[list[LogEntry], list[Oddity]]:
    """Entries with one key or one id count once; one that says something else under a used key or id is odd."""
    by_key: dict[str, LogEntry] = {}
    by_id: dict[str, LogEntry] = {}
    once: list[LogEntry] = []
    oddities: list[Oddity] = []
    for entry in sorted(entries, key=lambda entry: (entry.told_at, entry.id, entry.key)):
        first = by_key.get(entry.key) or by_id.get(entry.id)
        if first is None:
            by_key[entry.key] = entry
            by_id[entry.id] = entry
            once.append(entry)
        elif not entry.says_the_same_as(first):
            oddities.append(odd(entry, "key", f"one that entry {first.id} has already", "a key of its own"))
    return once, oddities


@dataclass(frozen=True)
class Settled:
    """What the corrections of a log come to: ids of entries that don't count, and of those the log lacks."""

    voided: frozenset[str]
    awaited: frozenset[str]
    oddities: tuple[Oddity, ...]


def settle_corrections(entries: Iterable[LogEntry], known: Collection[str]) -> Settled:
    """Settle which entries are void. ``known`` holds the ids of the whole log; other kinds are passed over.

    Corrections are decided from the ones nobody voids inwards. A ring of corrections that void each other is
    never decided; none of them holds.
    """
    by_id = {entry.id: entry for entry in entries if isinstance(entry.detail, Correction)}
    targets = {entry.id: entry.detail.voids for entry in by_id.values() if isinstance(entry.detail, Correction)}
    undecided = dict.fromkeys(targets, 0)
    for target in targets.values():
        if target in undecided:
            undecided[target] += 1
    ready = [entry_id for entry_id, waiting_for in undecided.items() if waiting_for == 0]
    voided: set[str] = set()
    awaited: set[str] = set()
    oddities: list[Oddity] = []
    while ready:
        correction = ready.pop()
        undecided.pop(correction)
        target = targets[correction]
        if correction not in voided:
            voided.add(target)
            if target not in known:
                awaited.add(target)
                oddities.append(odd(by_id[correction], "voids", f"{target}, not in the log", "the id of an entry"))
        if target in undecided:
            undecided[target] -= 1
            if undecided[target] == 0:
                ready.append(target)
    for ring in undecided:
        oddities.append(odd(by_id[ring], "voids", "corrections that void each other", "the id of another entry"))
    return Settled(frozenset(voided | undecided.keys()), frozenset(awaited), tuple(oddities))


def _kept(once: Iterable[LogEntry], settled: Settled) -> list[LogEntry]:
    return [entry for entry in once if entry.id not in settled.voided]
