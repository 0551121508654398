"""The log in the database: entries are added and read, never changed or removed."""

from __future__ import annotations

import json
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, tzinfo
from typing import Any

from pydantic import TypeAdapter, ValidationError
from sqlalchemy import Text, func, insert, literal, or_, select, tuple_, type_coerce
from sqlalchemy.orm import Session, aliased

from soakbell.errors import Fault, LogRefused, StoreError
from soakbell.gear.fold import settle_corrections
from soakbell.gear.log import DETAILS, OF_CALL, Correction, Detail, EntryKind, LogEntry
from soakbell.gear.log_check import check_entries, strings_at_stake
from soakbell.gear.outfit import Outfit
from soakbell.gear.strings import TrapString
from soakbell.gear.trap_states import Order
from soakbell.store.engine import Store
from soakbell.store.schema import LogRow

_AT_ONCE = 500  # variables in one statement; SQLite before 3.32 takes 999
_PAGE = 5000  # entries
_LATELY = 3000  # entries
_DAWN = datetime.min.replace(tzinfo=UTC)
_COLUMNS = tuple(  # the detail as text: its JSON is parsed where a fault in it names its row
    type_coerce(column, Text).label(column.name) if column.name == "detail" else column
    for column in LogRow.__table__.columns
)
_ORDER = (LogRow.happened_at, LogRow.told_at, LogRow.id)  # as LogEntry.order
_DETAIL: dict[EntryKind, TypeAdapter[Any]] = {kind: TypeAdapter(detail) for kind, detail in DETAILS.items()}

_OF_BOOKS = frozenset(kind.value for kind in set(EntryKind) - OF_CALL)


@dataclass(frozen=True)
class Unread:
    """An entry that can't be read and that no call rests on (see ``OF_CALL``). ``fault`` says why."""

    id: str
    order: Order
    fault: str


@dataclass(frozen=True)
class Appended:
    """``written`` entries are new in the log, ``known`` ones were there already."""

    written: tuple[LogEntry, ...]
    known: tuple[LogEntry, ...]


def take_entries(
    store: Store,
    entries: Sequence[LogEntry],
    strings: Collection[TrapString],
    now: datetime,
    *,
    zone: tzinfo = UTC,
    outfit: Outfit | None = None,
    labels: Mapping[str, str] | None = None,
) -> Appended:
    """Check entries against the log and append them, in one unit of work: all or nothing.

    They are weighed before the database is held, and once more while it is where something was stored meanwhile.

    Args:
        zone: whose clock the faults tell moments by.
        outfit: names in the entries must be in it; None: they aren't checked.
        labels: what the faults call an entry, by id; by default its kind and moment.

    Raises:
        LogRefused: with every fault found.
        StoreError: the database can't be written.
    """

    def weigh(log: Collection[LogEntry]) -> None:
        faults = check_entries(entries, log, strings, now, labels=labels, zone=zone, outfit=outfit)
        if faults:
            raise LogRefused(faults)

    with store.turn:
        with store.reading() as session:
            read_to = newest_seq(session)
            log = _bearing(session, entries, strings)
        weigh(log)
        with store.writing() as session:
            if newest_seq(session) != read_to:
                weigh(_bearing(session, entries, strings))
            return append_entries(session, entries)


def _bearing(
    session: Session, entries: Sequence[LogEntry], strings: Collection[TrapString]
) -> Collection[LogEntry]:
    """What ``check_entries`` needs of the log: the strings at stake, all corrections, and what shares a name."""
    at_stake = strings_at_stake(entries, strings)
    _, by_id = _known(session, entries)
    found = {
        entry.id: entry for entry in _read(session, or_(LogRow.string.in_(at_stake), LogRow.voids.is_not(None)))
    }
    return (found | by_id).values()


def append_entries(session: Session, entries: Iterable[LogEntry]) -> Appended:
    """Append entries in the caller's unit of work. Telling an entry again under its key changes nothing.

    Sense isn't checked here; ``take_entries`` does that.

    Raises:
        LogRefused: a key or id is in the log with other content, or a correction voids an entry that isn't there.
            Nothing was written.
    """
    told = list(entries)
    by_key, by_id = _known(session, told)
    written: list[LogEntry] = []
    known: list[LogEntry] = []
    faults: list[Fault] = []
    for entry in told:
        former = by_key.get(entry.key) or by_id.get(entry.id)
        if former is None:
            by_key[entry.key] = by_id[entry.id] = entry
            written.append(entry)
        elif entry.says_the_same_as(former):
            known.append(former)
        else:
            found = f"{entry.key}, in the log with other content"
            faults.append(Fault(f"{entry.kind} {entry.id}", "key", found, "a correction that voids the other one"))
    for entry in written:
        if isinstance(entry.detail, Correction) and entry.detail.voids not in by_id:
            found = f"{entry.detail.voids}, not in the log"
            faults.append(Fault(f"{entry.kind} {entry.id}", "voids", found, "the id of an entry"))
    if faults:
        raise LogRefused(faults)
    if written:
        first = newest_seq(session) + 1
        rows = [{**_row_of(entry), "seq": seq} for seq, entry in enumerate(written, first)]
        session.execute(insert(LogRow), rows)
    return Appended(tuple(written), tuple(known))


def newest_seq(session: Session) -> int:
    """The number of the entry stored last; 0 in an empty log."""
    return session.scalar(select(func.max(LogRow.seq))) or 0


def all_entries(session: Session) -> list[LogEntry]:
    """The whole log, in the order things happened.

    Raises:
        StoreError: a row can't be read.
    """
    return _read(session)


def stored_from(session: Session, seq: int, most: int) -> list[tuple[int, LogEntry | Unread]]:
    """Up to ``most`` entries with the number ``seq`` or a higher one, with their numbers, in order of storing.

    Raises:
        StoreError: a row that a call needs can't be read.
    """
    rows = session.execute(select(*_COLUMNS).where(LogRow.seq >= seq).order_by(LogRow.seq).limit(most))
    return [(row.seq, _entry_or_unread(row)) for row in rows]


def corrections_up_to(session: Session, seq: int) -> tuple[list[LogEntry], frozenset[str]]:
    """The corrections stored up to ``seq``, and the ids of the entries there that they void.

    Raises:
        StoreError: a row can't be read.
    """
    corrections = _read(session, LogRow.voids.is_not(None), LogRow.seq <= seq)
    target = aliased(LogRow)
    known = session.scalars(
        select(target.id).join(LogRow, LogRow.voids == target.id).where(LogRow.seq <= seq, target.seq <= seq)
    )
    return corrections, frozenset(known)


def entry_count(session: Session, seq: int) -> int:
    """How many entries are stored up to ``seq``."""
    return session.scalar(select(func.count()).where(LogRow.seq <= seq)) or 0


def pages_up_to(
    store: Store, seq: int, after: Order | None = None
) -> Iterator[list[tuple[int, LogEntry | Unread]]]:
    """The log up to the entry stored as ``seq``, with the numbers, in the order things happened.

    ``after`` leaves out what comes up to that place in time. Each page is a reading of its own: one long reading
    would keep writers out where the journal isn't a WAL.

    Raises:
        StoreError: a row that a call needs can't be read.
    """
    upto = select(*_COLUMNS).where(LogRow.seq <= seq).order_by(*_ORDER).limit(_PAGE)
    after = after or (_DAWN, _DAWN, "")  # a bound on the first page too has SQLite read by the moment, and not all
    while True:
        place = (literal(at, column.type) for at, column in zip(after, _ORDER, strict=True))
        asked = upto.where(LogRow.happened_at >= after[0], tuple_(*_ORDER) > tuple_(*place))
        with store.reading() as session:
            page = [(row.seq, _entry_or_unread(row)) for row in session.execute(asked)]
        if page:
            yield page
        if len(page) < _PAGE:
            return
        after = page[-1][1].order


def entries_named(session: Session, ids: Sequence[str]) -> list[LogEntry]:
    """The entries with these ids, few enough for one statement, in the order things happened."""
    return _read(session, LogRow.id.in_(ids))


def entries_keyed(session: Session, keys: Collection[str]) -> list[LogEntry]:
    """The entries with these keys, few enough for one statement, in the order things happened."""
    return _read(session, LogRow.key.in_(keys))


def told_before(session: Session, most: int, before: int | None = None) -> list[tuple[int, LogEntry | Unread]]:
    """Up to ``most`` entries with their numbers, the last stored first; ``before`` a number, or of all.

    Raises:
        StoreError: a row that a call needs can't be read.
    """
    asked = select(*_COLUMNS).order_by(LogRow.seq.desc()).limit(most)
    if before is not None:
        asked = asked.where(LogRow.seq < before)
    return [(row.seq, _entry_or_unread(row)) for row in session.execute(asked)]


def told_lately_of(session: Session, string: str, most: int) -> list[LogEntry | Unread]:
    """Up to ``most`` entries of a string among the last ``_LATELY`` stored of all, the newest first.

    Raises:
        StoreError: a row that a call needs can't be read.
    """
    of_string = LogRow.string + "" == string  # by an index on strings all entries of the string would be sorted
    lately = LogRow.seq > newest_seq(session) - _LATELY
    asked = select(*_COLUMNS).where(lately, of_string).order_by(LogRow.seq.desc()).limit(most)
    return [_entry_or_unread(row) for row in session.execute(asked)]


def voided_among(session: Session, ids: Collection[str]) -> frozenset[str]:
    """Which of these entries, few enough for one statement, don't count: read from their corrections alone.

    Raises:
        StoreError: a correction can't be read.
    """
    corrections: dict[str, LogEntry] = {}
    targets = set(ids)
    while targets:
        found = {entry.id: entry for entry in _read(session, LogRow.voids.in_(targets))}
        targets = found.keys() - corrections.keys()
        corrections |= found
    known = {*ids, *corrections}
    return settle_corrections(corrections.values(), known).voided & frozenset(ids)


def orders_of(session: Session, ids: Sequence[str]) -> list[Order]:
    """The places in time of the entries with these ids, few enough for one statement."""
    found = session.execute(select(*_ORDER).where(LogRow.id.in_(ids)))
    return [(happened_at, told_at, entry_id) for happened_at, told_at, entry_id in found]


def _read(session: Session, *where: Any) -> list[LogEntry]:
    return [_entry_of(row) for row in session.execute(select(*_COLUMNS).where(*where).order_by(*_ORDER))]


def _known(session: Session, entries: Sequence[LogEntry]) -> tuple[dict[str, LogEntry], dict[str, LogEntry]]:
    """Stored entries that share a key or an id with the new ones, or are voided by them."""
    by_key: dict[str, LogEntry] = {}
    by_id: dict[str, LogEntry] = {}
    for some in _batches(entries):
        ids = {entry.id for entry in some} | {e.detail.voids for e in some if isinstance(e.detail, Correction)}
        for stored in _read(session, or_(LogRow.key.in_({entry.key for entry in some}), LogRow.id.in_(ids))):
            by_key[stored.key] = by_id[stored.id] = stored
    return by_key, by_id


def _batches(entries: Sequence[LogEntry]) -> Iterator[Sequence[LogEntry]]:
    size = _AT_ONCE // 3  # key, id and voided id of each
    for start in range(0, len(entries), size):
        yield entries[start : start + size]


def _row_of(entry: LogEntry) -> dict[str, Any]:
    detail: dict[str, Any] = _DETAIL[entry.kind].dump_python(entry.detail, mode="json")
    return {
        "id": entry.id,
        "key": entry.key,
        "kind": entry.kind.value,
        "happened_at": entry.happened_at,
        "told_at": entry.told_at,
        "told_by": entry.told_by,
        "string": entry.string,
        "voids": detail.pop("voids", None),
        "detail": {"traps": list(entry.traps), "note": entry.note, "of_kind": detail},
    }


def _entry_or_unread(row: Any) -> LogEntry | Unread:
    try:
        return _entry_of(row)
    except StoreError as fault:
        if row.voids is not None or row.kind not in _OF_BOOKS:
            raise
        return Unread(row.id, (row.happened_at, row.told_at, row.id), str(fault))


def _entry_of(row: Any) -> LogEntry:
    try:
        told = json.loads(row.detail)
        of_kind = dict(told["of_kind"])
        if row.voids is not None:
            of_kind["voids"] = row.voids
        detail: Detail = _DETAIL[EntryKind(row.kind)].validate_python(of_kind)
        return LogEntry(
            id=row.id,
            key=row.key,
            happened_at=row.happened_at,
            told_at=row.told_at,
            told_by=row.told_by,
            detail=detail,
            string=row.string,
            traps=tuple(told["traps"]),
            note=told["note"],
        )
    except (ValidationError, ValueError, KeyError, TypeError) as error:
        raise StoreError(f"log entry {row.id} can't be read ({_why(error)}); restore the newest backup") from error


def _why(error: Exception) -> str:
    if not isinstance(error, ValidationError):
        return f"{type(error).__name__}: {error}"
    first = error.errors()[0]
    return f"{'.'.join(map(str, first['loc']))}: {first['msg']}"
