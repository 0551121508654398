"""The books beside the traps: bait, parts, upkeep, catch, and bells that were hushed. A pure fold of the log.

The call needs none of them: a fault here must never cost one.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Protocol

from soakbell.gear.bait_lots import BaitBook, BaitStock
from soakbell.gear.catch import CatchBook, CatchRecord
from soakbell.gear.fold import GearState, Oddity, TrapBook, opened
from soakbell.gear.hushed import HushBook, Hushed
from soakbell.gear.log import EntryKind, LogEntry
from soakbell.gear.parts import PartBook, PartStock
from soakbell.gear.strings import CountSince, TrapString
from soakbell.gear.upkeep import UpkeepBook, UpkeepRecord
from soakbell.gear.worked import Worked


@dataclass(frozen=True)
class Books:
    """``oddities`` are those that the books told, in the log's order; ``GearState`` has those of the traps."""

    bait: BaitStock = field(default_factory=BaitStock)
    parts: PartStock = field(default_factory=PartStock)
    upkeep: UpkeepRecord = field(default_factory=UpkeepRecord)
    catch: CatchRecord = field(default_factory=CatchRecord)
    hushed: Hushed = field(default_factory=Hushed)
    oddities: tuple[Oddity, ...] = ()


_EMPTY = Books()


class Ledger:
    """The traps and all books of one log, which take its entries in the order things happened.

    The entries must be those that count (see ``fold.opened``) and follow (see ``fold.follows``). A book that
    raises closes all books, as does ``close_books``: from then on there are none, ``fault`` says why, and the
    traps go on.
    """

    def __init__(
        self,
        strings: Iterable[TrapString],
        gear: GearState | None = None,
        books: Books | None = _EMPTY,
        fault: str | None = None,
        counts: Mapping[str, Sequence[CountSince]] | None = None,
    ) -> None:
        self._traps = TrapBook(strings, gear, counts)
        self._books = None if books is None else _OpenBooks(books)
        self.fault = fault

    @classmethod
    def of(cls, gear: GearState, books: Books | None, fault: str | None = None) -> Ledger:
        """The ledger that goes on from what was frozen; books that were closed stay closed."""
        return cls((), gear, books, fault)

    @classmethod
    def folding(cls, entries: Iterable[LogEntry], strings: Iterable[TrapString]) -> Ledger:
        """The ledger of a whole log, given in any order: each entry once, corrections heeded."""
        traps, in_time = opened(entries, strings)
        ledger = cls((), traps.freeze())
        for entry in in_time:
            ledger.take(entry)
        return ledger

    def take(self, entry: LogEntry) -> None:
        """Work one entry in. To the books a correction is nothing that was done."""
        worked, _ = self._traps.take(entry)
        if self._books is None or entry.kind is EntryKind.CORRECTION:
            return
        try:
            self._books.take(entry, worked)
        except Exception as fault:
            self.close_books(f"{entry.kind} {entry.id} can't be booked ({type(fault).__name__}: {fault})")

    def freeze(self) -> tuple[GearState, Books | None]:
        """The traps, and the books if they are open."""
        books = None
        if self._books is not None:
            try:
                books = self._books.freeze()
            except Exception as fault:
                self.close_books(f"the books can't be summed up ({type(fault).__name__}: {fault})")
        return self._traps.freeze(), books

    def close_books(self, why: str) -> None:
        """For an entry that the books would be wrong without. The first reason is the one told."""
        self._books = None
        self.fault = self.fault or why


def fold_books(entries: Iterable[LogEntry], strings: Iterable[TrapString]) -> tuple[GearState, Books | None]:
    """The traps and the books after ``entries``, given in any order. No books: one of them raised."""
    return Ledger.folding(entries, strings).freeze()


class _Book(Protocol):
    def take(self, entry: LogEntry, worked: Worked) -> list[Oddity]: ...


class _OpenBooks:
    def __init__(self, books: Books) -> None:
        self._bait = BaitBook(books.bait)
        self._parts = PartBook(books.parts)
        self._upkeep = UpkeepBook(books.upkeep)
        self._catch = CatchBook(books.catch)
        self._hushed = HushBook(books.hushed)
        self._all: tuple[_Book, ...] = (self._bait, self._parts, self._upkeep, self._catch, self._hushed)
        self._oddities = list(books.oddities)

    def take(self, entry: LogEntry, worked: Worked) -> None:
        for book in self._all:
            self._oddities += book.take(entry, worked)

    def freeze(self) -> Books:
        return Books(
            self._bait.freeze(),
            self._parts.freeze(),
            self._upkeep.freeze(),
            self._catch.freeze(),
            self._hushed.freeze(),
            tuple(self._oddities),
        )
