"""The log in the database, folded once and kept: a look at it reads only what was stored since the last one."""

from __future__ import annotations

import threading
from collections.abc import Collection
from dataclasses import dataclass

from soakbell.gear.books import Books, Ledger
from soakbell.gear.fold import GearState, follows, settle_corrections
from soakbell.gear.log import LogEntry
from soakbell.gear.strings import TrapString
from soakbell.store.engine import Store
from soakbell.store.log import corrections_up_to, newest_seq, pages_up_to, stored_from

MOST_NEWS = 10_000
"""More entries than this are folded anew, page by page, and not held all at once."""


@dataclass(frozen=True)
class Kept:
    """What the log comes to.

    Attributes:
        books: None when one of them failed; ``fault`` says why. The traps stand all the same.
        entries: how many the log holds, those that corrections void among them.
        seq: the number of the entry stored last; the log up to it is all that this rests on.
    """

    gear: GearState
    books: Books | None
    fault: str | None
    entries: int
    seq: int


@dataclass
class _Folded:
    """``last_id`` is the id of the entry stored last: another one under its number is another log."""

    ledger: Ledger
    kept: Kept
    last_id: str | None


class LogKeeper:
    """Holds one boat's traps and books in step with the log in the database. Threads may share it."""

    def __init__(self, store: Store, strings: Collection[TrapString]) -> None:
        self._store = store
        self._strings = tuple(strings)
        self._lock = threading.Lock()
        self._folded: _Folded | None = None

    def now(self) -> Kept:
        """What the log comes to, with all that is stored by now.

        Entries that came late, and corrections, have it folded anew.

        Raises:
            StoreError: the database or a row of the log can't be read.
        """
        with self._lock:
            folded, self._folded = self._folded, None  # what fails half way is not kept
            news = None if folded is None else self._news(folded)
            if folded is None or news is None:
                folded = self._anew()
            elif news:
                folded = _gone_on(folded, news)
            self._folded = folded
            return folded.kept

    def _news(self, folded: _Folded) -> list[tuple[int, LogEntry]] | None:
        """Entries stored since, in order of storing; None when they can't be taken as they come."""
        with self._store.reading() as session:
            found = stored_from(session, folded.kept.seq, MOST_NEWS + 1)
        if folded.last_id is not None:
            if not found or (found[0][0], found[0][1].id) != (folded.kept.seq, folded.last_id):
                return None
            found = found[1:]
        if len(found) >= MOST_NEWS or not all(follows(folded.kept.gear, entry) for _, entry in found):
            return None
        return found

    def _anew(self) -> _Folded:
        with self._store.reading() as session:
            seq = newest_seq(session)
        ledger, entries, last_id = fold_up_to(self._store, self._strings, seq)
        return _Folded(ledger, _kept(ledger, entries, seq), last_id)


def fold_up_to(store: Store, strings: Collection[TrapString], seq: int) -> tuple[Ledger, int, str | None]:
    """The log up to the entry stored as ``seq``, how many entries that are, and the id of that one.

    It is read page by page, so that neither memory nor a lock grows with it: the log is only added to, and what is
    stored meanwhile has a higher number.

    Raises:
        StoreError: the database or a row of the log can't be read.
    """
    with store.reading() as session:
        corrections, known = corrections_up_to(session, seq)
    settled = settle_corrections(corrections, known)
    ledger = Ledger(strings, GearState({}, settled.oddities, awaited=settled.awaited))
    entries, last_id = 0, None
    for page in pages_up_to(store, seq):
        for number, entry in page:
            entries += 1
            if number == seq:
                last_id = entry.id
            if entry.id not in settled.voided:
                ledger.take(entry)
    return ledger, entries, last_id


def _gone_on(folded: _Folded, news: list[tuple[int, LogEntry]]) -> _Folded:
    for _, entry in sorted(news, key=lambda stored: stored[1].order):
        folded.ledger.take(entry)
    seq, newest = news[-1]
    return _Folded(folded.ledger, _kept(folded.ledger, folded.kept.entries + len(news), seq), newest.id)


def _kept(ledger: Ledger, entries: int, seq: int) -> Kept:
    gear, books = ledger.freeze()
    return Kept(gear, books, ledger.fault, entries, seq)
