"""The log in the database, folded once and kept: a look at it reads only what was stored since the last one."""

from __future__ import annotations

import threading
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace

from soakbell.gear.books import Books, Ledger
from soakbell.gear.fold import GearState, Settled, TrapBook, follows, settle_corrections
from soakbell.gear.log import LogEntry
from soakbell.gear.strings import CountSince, TrapString
from soakbell.gear.trap_states import Order
from soakbell.store.engine import Store
from soakbell.store.log import (
    Unread,
    corrections_up_to,
    entry_count,
    newest_seq,
    orders_of,
    pages_up_to,
    stored_from,
)

MOST_NEWS = 10_000
"""More entries than this are not held all at once: the log is folded again, page by page."""

TAIL = 1000
"""So many of the latest entries are folded again when one comes late or is voided, which happens most evenings."""


@dataclass(frozen=True)
class Kept:
    """What the log comes to.

    Attributes:
        books: None when one of them failed or an entry of theirs can't be read; ``fault`` says why. The traps
            stand all the same.
        entries: how many the log holds, those that corrections void among them.
        seq: the number of the entry stored last; the log up to it is all that this rests on.
    """

    gear: GearState
    books: Books | None
    fault: str | None
    entries: int
    seq: int


@dataclass(frozen=True)
class _Base:
    """The log up to ``upto`` in the order things happened, which is nearly all of it. None: nothing yet."""

    gear: GearState
    books: Books | None = field(default_factory=Books)
    fault: str | None = None
    entries: int = 0
    upto: Order | None = None


@dataclass(frozen=True)
class _Folded:
    """``last_id`` is the id of the entry stored last: another one under its number is another log."""

    ledger: Ledger
    kept: Kept
    last_id: str | None
    base: _Base
    settled: Settled


class LogKeeper:
    """Holds one boat's traps and books in step with the log in the database. Threads may share it.

    ``counts`` is as in ``TrapBook``.
    """

    def __init__(
        self,
        store: Store,
        strings: Collection[TrapString],
        counts: Mapping[str, Sequence[CountSince]] | None = None,
    ) -> None:
        self._counts = counts
        self._store = store
        self._strings = tuple(strings)
        self._lock = threading.Lock()
        self._folded: _Folded | None = None

    def now(self) -> Kept:
        """What the log comes to, with all that is stored by now.

        Raises:
            StoreError: the database, or a row of the log that a call needs, can't be read.
        """
        with self._lock:
            folded, self._folded = self._folded, None  # what fails half way is not kept
            news = None if folded is None else self._news(folded)
            if folded is None or news is None:
                folded = self._again(None)
            elif news:
                entries = [entry for _, entry in news if isinstance(entry, LogEntry)]
                long_tail = folded.kept.entries + len(news) - folded.base.entries > 2 * TAIL
                if (
                    long_tail
                    or len(entries) < len(news)
                    or not all(follows(folded.kept.gear, entry) for entry in entries)
                ):
                    folded = self._again(folded)
                else:
                    folded = _gone_on(folded, entries, seq=news[-1][0])
            self._folded = folded
            return folded.kept

    def _news(self, folded: _Folded) -> list[tuple[int, LogEntry | Unread]] | None:
        """Entries stored since, in order of storing; None when they are too many or the log is another."""
        with self._store.reading() as session:
            found = stored_from(session, folded.kept.seq, MOST_NEWS + 1)
        if folded.last_id is not None:
            if not found or (found[0][0], found[0][1].id) != (folded.kept.seq, folded.last_id):
                return None
            found = found[1:]
        return found if len(found) < MOST_NEWS else None

    def _again(self, former: _Folded | None) -> _Folded:
        """The log folded from the former base on where that still holds, else from its beginning."""
        with self._store.reading() as session:
            seq = newest_seq(session)
            entries = entry_count(session, seq)
        settled = _settled(self._store, seq)
        base = _Base(_nothing_done(settled))
        if former is not None and self._holds(former, settled):
            base = former.base
        ledger = Ledger(self._strings, base.gear, base.books, base.fault, self._counts)
        taken, last_id = base.entries, None
        for page in pages_up_to(self._store, seq, base.upto):
            for number, entry in page:
                taken += 1
                if number == seq:
                    last_id = entry.id
                if entry.id not in settled.voided:
                    _work_in(ledger, entry)
                if taken == entries - TAIL:
                    base = _Base(*ledger.freeze(), ledger.fault, taken, entry.order)
        if former is not None and taken != entries:
            return self._again(None)
        return _Folded(ledger, _kept(ledger, taken, seq), last_id, base, settled)

    def _holds(self, former: _Folded, settled: Settled) -> bool:
        """True when nothing that came or was voided since, or counts again, lies in the base.

        What came is read after ``settled``, so that nothing that another process stores meanwhile is passed over.
        """
        news = self._news(former)
        if news is None:
            return False
        if (former.settled.awaited, former.settled.oddities) != (settled.awaited, settled.oddities):
            return False
        changed = former.settled.voided ^ settled.voided
        if len(changed) > TAIL // 2:
            return False
        with self._store.reading() as session:
            touched = [*(entry.order for _, entry in news), *orders_of(session, list(changed))]
        upto = former.base.upto
        return upto is not None and all(order > upto for order in touched)


def fold_up_to(store: Store, strings: Collection[TrapString], seq: int) -> tuple[GearState, int]:
    """The traps after the log up to the entry stored as ``seq``, and how many entries that are.

    Raises:
        StoreError: the database, or a row of the log that a call needs, can't be read.
    """
    settled = _settled(store, seq)
    book, entries = TrapBook(strings, _nothing_done(settled)), 0
    for page in pages_up_to(store, seq):
        entries += len(page)
        for _, entry in page:
            if entry.id not in settled.voided and isinstance(entry, LogEntry):
                book.take(entry)
    return book.freeze(), entries


def _settled(store: Store, seq: int) -> Settled:
    with store.reading() as session:
        corrections, known = corrections_up_to(session, seq)
    return settle_corrections(corrections, known)


def _nothing_done(settled: Settled) -> GearState:
    return GearState({}, settled.oddities, awaited=settled.awaited)


def _work_in(ledger: Ledger, entry: LogEntry | Unread) -> None:
    if isinstance(entry, Unread):
        ledger.close_books(entry.fault)
    else:
        ledger.take(entry)


def _gone_on(folded: _Folded, news: list[LogEntry], seq: int) -> _Folded:
    for entry in sorted(news, key=lambda entry: entry.order):
        folded.ledger.take(entry)
    kept = _kept(folded.ledger, folded.kept.entries + len(news), seq)
    return replace(folded, kept=kept, last_id=news[-1].id)


def _kept(ledger: Ledger, entries: int, seq: int) -> Kept:
    gear, books = ledger.freeze()
    return Kept(gear, books, ledger.fault, entries, seq)
