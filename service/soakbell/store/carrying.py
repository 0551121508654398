"""A boat's database carried out of one place and into another, row by row the same but for who is signed in."""

from __future__ import annotations

import fcntl
import os
import re
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from glob import escape
from pathlib import Path
from tempfile import TemporaryDirectory

from sqlalchemy import Connection, Table, func, select
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from soakbell.errors import NotUnderstood, StoreError
from soakbell.store.backup import back_up, check_copy, plainly
from soakbell.store.engine import NEWEST_REVISION, VERSION_TABLE, Store, known_revisions, open_store
from soakbell.store.log import stored_from
from soakbell.store.nightly import refuse_scant_room
from soakbell.store.schema import (
    Base,
    CallRow,
    LetterEntryRow,
    LogRow,
    OutboxRow,
    PageLinkUseRow,
    PageSessionRow,
    RungBellRow,
)

_STAYS = frozenset({PageSessionRow.__tablename__, PageLinkUseRow.__tablename__})
"""Who is signed in, and which links were used: of one place and its keys alone."""
_TABLES: tuple[Table, ...] = tuple(table for table in Base.metadata.sorted_tables if table.name not in _STAYS)
_DONE = (LogRow, CallRow, OutboxRow, LetterEntryRow, RungBellRow)
"""What only a boat has for which something was told or written."""
_AT_ONCE = 1000


@dataclass(frozen=True)
class CarriedOut:
    """A checked copy without sessions. ``seq``: the number of its last log entry; ``rows`` by table."""

    revision: str
    seq: int
    rows: tuple[tuple[str, int], ...]


@contextmanager
def carrying_folder(database: Path) -> Iterator[Path]:
    """A folder beside the database while something is carried: the system's own may lie in memory, and be small.

    It is held by a lock of the kernel. What a process that was killed left is removed by the next.

    Raises:
        StoreError: it can't be made.
    """
    begins = f".{database.name}.carry-"
    with plainly(database):
        for left in database.parent.glob(f"{escape(begins)}*"):
            with _opened_folder(left) as descriptor:
                if _locked(descriptor):
                    shutil.rmtree(left)
        made = TemporaryDirectory(prefix=begins, dir=database.parent)
    with made as name, _opened_folder(name) as descriptor:
        _locked(descriptor)
        yield Path(name)


@contextmanager
def _opened_folder(folder: str | Path) -> Iterator[int]:
    descriptor = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        yield descriptor
    finally:
        os.close(descriptor)


def _locked(descriptor: int) -> bool:
    """False where another holds it, or the file system has no such locks."""
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


_OF_A_COPY = 3
"""What a copy takes of its size: the draft, what is left of it, and a zip that doesn't pack."""


def carry_out(database: Path, to: Path) -> CarriedOut:
    """Copy a database in use to the file ``to``, without what stays, and without the links in letters.

    Raises:
        StoreError: the disk lacks the room, or as ``back_up``.
    """
    refuse_scant_room(to.parent, _OF_A_COPY * database.stat().st_size)
    draft = to.with_name(f"{to.name}.draft")
    back_up(database, draft)
    with plainly(to), closing(sqlite3.connect(draft, isolation_level=None)) as copy:
        for name in sorted(_STAYS):
            copy.execute(f'DELETE FROM "{name}"')  # noqa: S608
        copy.create_function("without_links", 1, without_links, deterministic=True)
        copy.execute("UPDATE outbox SET message = without_links(message)")
        # deleted rows would still lie in the file; without INTO it works in the system's temporary folder
        copy.execute("VACUUM INTO ?", (str(to),))
        seq = copy.execute(f'SELECT coalesce(max(seq), 0) FROM "{LogRow.__tablename__}"').fetchone()[0]  # noqa: S608
        draft.unlink()
    found = check_copy(to)
    if found.revision is None:
        raise StoreError(f"{database} holds no schema yet; start the service once")
    return CarriedOut(found.revision, int(seq), found.rows)


_SOFT = rb"(?:=\r?\n)?"  # RFC 2045, 6.7 (5): a line of quoted-printable goes on in the next
_LINK = re.compile(
    b"(" + _SOFT.join(re.escape(sign) for sign in (*(b"%c" % one for one in b"/open?t"), b"=3D")) + _SOFT + b")"
    rb"(?:[\w.-]|=\r?\n)+"
)


def without_links(message: bytes) -> bytes:
    """A letter as it was written, but for the links in it that sign in: one not used yet is a key to the door."""
    return _LINK.sub(rb"\1(link removed)", message)


def nothing_done(session: Session) -> bool:
    """True for a boat of which the log holds nothing and for which no call was made and no letter written."""
    return not any(session.scalar(select(func.count()).select_from(row)) for row in _DONE)


def carry_in(store: Store, copy: Path, boat: str) -> int:
    """Put a copy's rows in the place of those of a boat with nothing done, all or nothing. The service may run.

    The copy is brought to the newest schema first, so it may be changed.

    Args:
        boat: whose rows they must be.

    Returns:
        How many log entries came in.

    Raises:
        NotUnderstood: the copy is none of Soakbell's, of another boat, or can't be read.
        StoreError: the boat isn't empty, or the database can't be written. It is then as it was.
    """
    _bring_up(copy)
    with _refusing_strange(copy), closing(_opened(copy)) as source:
        with store.reading() as session:
            ours = session.connection().exec_driver_sql(_PROGRAMS).fetchall()
        _refuse_other_shape(source, {tuple(row) for row in ours})
        _refuse_other_boat(source, boat)
        entries = _read_through(copy)
        with store.turn, store.writing() as session:
            if not nothing_done(session):
                raise StoreError("this boat has a log or letters already; carry into one with a new database")
            connection = session.connection()
            for table in reversed(_TABLES):
                connection.execute(table.delete())
            for table in _TABLES:
                _put_rows(source, connection, table)
    return entries


def _bring_up(copy: Path) -> None:
    try:
        found = check_copy(copy)
        if found.revision is None or found.revision not in known_revisions():
            raise NotUnderstood(f"its schema is {found.revision}, which this Soakbell doesn't know")
        if found.revision == NEWEST_REVISION:
            return
        from soakbell.store.upgrade import migrate

        older = open_store(f"sqlite:///{copy}")
        try:
            migrate(older)
        finally:
            older.close()
    except StoreError as fault:
        raise NotUnderstood(f"its database can't be used: {fault}") from fault


def _opened(copy: Path) -> sqlite3.Connection:
    connection = sqlite3.connect(f"{copy.resolve().as_uri()}?mode=ro", uri=True, isolation_level=None)
    connection.execute("PRAGMA trusted_schema=OFF")
    return connection


_PROGRAMS = "SELECT type, name, sql FROM sqlite_master WHERE type NOT IN ('table', 'index')"


def _refuse_other_shape(source: sqlite3.Connection, programs: set[tuple[str, ...]]) -> None:
    """Only plain tables with our columns and our own triggers: what a stranger wrote would run in our name."""
    if {tuple(row) for row in source.execute(_PROGRAMS)} != programs:
        raise NotUnderstood("its database has other triggers or views than Soakbell's")
    ours = {table.name: [column.name for column in table.columns] for table in Base.metadata.sorted_tables}
    found = source.execute("SELECT name, sql FROM sqlite_master WHERE type = 'table'").fetchall()
    names = {name for name, _ in found}
    if any(sql.upper().startswith("CREATE VIRTUAL") for _, sql in found) or names != {*ours, VERSION_TABLE}:
        raise NotUnderstood("its database has other tables than Soakbell's")
    for name, columns in ours.items():
        told = source.execute(f'PRAGMA table_xinfo("{name}")').fetchall()
        if sorted(row[1] for row in told) != sorted(columns) or any(row[6] for row in told):
            raise NotUnderstood(f"its table {name} has other columns than Soakbell's")


def _refuse_other_boat(source: sqlite3.Connection, boat: str) -> None:
    for table in _TABLES:
        if "boat" in table.columns:
            strange = source.execute(
                f'SELECT boat FROM "{table.name}" WHERE boat IS NOT ? LIMIT 1',  # noqa: S608
                (boat,),
            ).fetchone()
            if strange is not None:
                raise NotUnderstood(f"it is of the boat {str(strange[0])[:60]!r}, and this is {boat!r}")


def _put_rows(source: sqlite3.Connection, connection: Connection, table: Table) -> None:
    """As they are stored, so that not a digit changes."""
    names = ", ".join(f'"{column.name}"' for column in table.columns)
    cursor = source.execute(f'SELECT {names} FROM "{table.name}"')  # noqa: S608
    marks = ", ".join("?" for _ in table.columns)
    while rows := cursor.fetchmany(_AT_ONCE):
        connection.exec_driver_sql(f'INSERT INTO "{table.name}" ({names}) VALUES ({marks})', rows)  # noqa: S608


def _read_through(copy: Path) -> int:
    """The copy's log is read once while no letter waits for the database; gives how many entries it has."""
    entries, seq = 0, 0
    with closing(open_store(f"sqlite:///{copy}")) as opened, opened.reading() as session:
        while page := stored_from(session, seq + 1, _AT_ONCE):
            entries, seq = entries + len(page), page[-1][0]
    return entries


@contextmanager
def _refusing_strange(copy: Path) -> Iterator[None]:
    """What is wrong with the copy is no fault of the database that it should go into."""
    try:
        yield
    except sqlite3.Error as fault:
        raise NotUnderstood(f"its database can't be read: {fault}") from fault
    except (IntegrityError, ValueError, TypeError, OverflowError) as fault:  # a moment or number that is none
        raise NotUnderstood(f"a row of {copy.name} can't be read: {fault}") from fault
