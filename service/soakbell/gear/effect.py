"""What one entry does to the log that it goes into."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from soakbell.gear.books import Books, Ledger
from soakbell.gear.fold import GearState, Oddity, TrapBook, fold, follows, in_force
from soakbell.gear.log import OF_TRAPS, LogEntry
from soakbell.gear.strings import TrapString


@dataclass(frozen=True)
class Effect:
    """``places`` are the traps that it worked on, ``then`` is what they came to at that time.

    ``oddities`` are those that the log has with the entry and hadn't without it, its own and those of others, in
    the log's order.
    """

    places: tuple[int, ...]
    then: GearState
    oddities: tuple[Oddity, ...]


def effect_of(entry: LogEntry, log: Collection[LogEntry], strings: Collection[TrapString]) -> Effect:
    """What ``entry`` does beside the others of ``log``, which may hold it already."""
    others = [known for known in log if known.id != entry.id]
    ledger = Ledger.folding(others, strings)
    before = then = ledger.freeze()
    if follows(before[0], entry):
        ledger.take(entry)
    else:
        ledger = Ledger.folding([*others, entry], strings)
        then = (fold([known for known in in_force(others) if known.order < entry.order], strings), None)
    traps = TrapBook(strings, then[0])
    worked, _ = traps.take(entry)
    known = {(odd.entry_id, odd.key) for odd in _oddities(*before)}
    new = [odd for odd in _oddities(*ledger.freeze()) if (odd.entry_id, odd.key) not in known]
    return Effect(
        worked.places if entry.kind in OF_TRAPS else (),
        traps.freeze(),
        tuple(sorted(new, key=lambda odd: odd.order)),
    )


def _oddities(gear: GearState, books: Books | None) -> tuple[Oddity, ...]:
    return (*gear.oddities, *(() if books is None else books.oddities))
