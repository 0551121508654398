"""Copies of the database that can be trusted, and the way back.

A copy of a live file is not a backup (https://sqlite.org/howtocorrupt.html): the copy is made through the
database library, checked, and only then given its name.
"""

from __future__ import annotations

import os
import re
import shutil
import sqlite3
import tempfile
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from datetime import datetime
from itertools import count
from pathlib import Path

from soakbell.errors import StoreError
from soakbell.gear.log import LogEntry
from soakbell.store.engine import (
    BUSY_MS,
    NEWEST_REVISION,
    VERSION_TABLE,
    known_revisions,
    open_store,
    remedy_for,
)
from soakbell.store.in_use import restoring
from soakbell.store.log import all_entries
from soakbell.store.restored import note_restore
from soakbell.store.schema import LogRow

REHEARSAL = "soakbell-rehearsal-"
"""How folders begin in which a restore is rehearsed."""

_RETRY_S = 0.25
_SIDE_FILES = ("-journal", "-wal", "-shm")
_JOURNAL_BEGINS = bytes.fromhex("d9d505f920a163d7")  # https://sqlite.org/fileformat2.html#the_rollback_journal
_NOT_BROKEN = frozenset({sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM})
"""What a sound database may be met with: another program holds it, or its rights are wrong."""


@dataclass(frozen=True)
class CheckedCopy:
    """A copy that was read through: its schema's revision and the rows of each table."""

    file: Path
    revision: str | None
    rows: tuple[tuple[str, int], ...]


def back_up(database: Path, to: Path) -> CheckedCopy:
    """Copy a database in use to the file ``to``, which is replaced only once the copy has passed its checks.

    Raises:
        StoreError: there is no such database, the copy can't be written, or it doesn't pass.
    """
    if not database.is_file():
        raise StoreError(f"{database} is not there, so there is nothing to back up")
    if to.is_dir() or database.resolve() == to.resolve():
        raise StoreError(f"{to} can't take the backup; name a file of its own")
    with plainly(to):
        draft = _draft_beside(to)
        try:
            _copy(database, draft)
            _make_one_file(draft)
            found = check_copy(draft)
            _flush(draft)
            draft.replace(to)
            _flush(to.parent)
        finally:
            _remove(draft)
    return CheckedCopy(to, found.revision, found.rows)


def check_copy(file: Path) -> CheckedCopy:
    """Read a database through: integrity, foreign keys, revision and rows.

    Raises:
        StoreError: it isn't a database or is damaged.
    """
    if not file.is_file():
        raise StoreError(f"{file} is not there")
    with plainly(file), closing(_connect(file, read_only=True)) as connection:
        verdict = [row[0] for row in connection.execute("PRAGMA integrity_check(5)")]
        if verdict != ["ok"]:
            raise StoreError(f"{file} is damaged ({verdict[0]}); use another backup")
        loose = connection.execute("PRAGMA foreign_key_check").fetchall()
        if loose:
            raise StoreError(f"{file} has {len(loose)} rows that point at nothing; use another backup")
        tables = [
            name
            for (name,) in connection.execute(
                "SELECT name FROM sqlite_master WHERE type='table' AND name NOT LIKE 'sqlite_%' ORDER BY name"
            )
        ]
        rows = tuple((name, _count(connection, name)) for name in tables)
        revision = None
        if VERSION_TABLE in tables:
            found = connection.execute(f"SELECT version_num FROM {VERSION_TABLE}").fetchone()  # noqa: S608
            revision = None if found is None else str(found[0])
    return CheckedCopy(file, revision, rows)


def restore(backup: Path, database: Path, *, now: datetime | None) -> Path | None:
    """Put a backup in the place of the database, but for who was signed in at the page: sessions that were ended
    since the backup would be open again. It is noted in it (``store.restored``), unless ``now`` is None: then it
    is only a rehearsal.

    What was there is kept beside it: as a checked copy ending in ``.before-restore``, or, when it can't be read
    any more, as it is, with its journal, under names that begin with its own and ``.broken``. One of a newer
    Soakbell is replaced too: that is the way back from an upgrade.

    A process that dies in this leaves the database as it was or restored; a broken one may be kept aside already.

    Returns:
        Where the former database is kept, None when there was none.

    Raises:
        StoreError: the backup doesn't pass its checks or was written by a newer Soakbell, or the database isn't
            Soakbell's or is in use. The database is then as it was.
    """
    wanted = check_copy(backup)
    if wanted.revision is None:
        raise StoreError(f"{backup} is not a database of Soakbell; choose another file")
    if wanted.revision != NEWEST_REVISION and wanted.revision not in known_revisions():
        raise StoreError(
            f"{backup} has schema {wanted.revision}, from a newer Soakbell; install that version first"
        )
    if database.exists() and backup.samefile(database):
        raise StoreError(f"{backup} is the database itself; choose a backup")
    with restoring(database), plainly(database):
        remove_drafts(database.parent, re.compile(re.escape(database.name)))
        draft = _draft_beside(database)
        try:
            _copy(backup, draft)
            _make_ready(draft, now)
            wanted = check_copy(draft)
            kept, is_sound = _set_aside(database)
            if is_sound:
                _copy(draft, database)  # by the library, in one transaction: other programs may have it open
            else:
                _take_place(draft, database)
        finally:
            _remove(draft)
    if check_copy(database).rows != wanted.rows:
        raise StoreError(f"{database} doesn't hold what {backup} holds; the former database is in {kept}")
    return kept


def entries_lost(former: Path, database: Path) -> list[LogEntry]:
    """Entries of the log that was there which the restored database lacks, in the order things happened.

    Raises:
        StoreError: the former one can't be read by this program.
    """
    with plainly(database), closing(_connect(database, read_only=True)) as here:
        kept = {entry_id for (entry_id,) in here.execute(f"SELECT id FROM {LogRow.__tablename__}")}  # noqa: S608
    with closing(open_store(f"sqlite:///{former}")) as there, there.reading() as session:
        return [entry for entry in all_entries(session) if entry.id not in kept]


def rehearse_restore(backup: Path, *, within: Path | None = None) -> CheckedCopy:
    """Restore a backup into a temporary folder and read it through, to know that it would serve.

    Args:
        within: where that folder is made; the system's place for such where None.

    Raises:
        StoreError: it would not.
    """
    with tempfile.TemporaryDirectory(prefix=f"{REHEARSAL}{backup.name}-", dir=within) as folder:
        place = Path(folder) / "soakbell.db"
        restore(backup, place, now=None)
        found = check_copy(place)
    return CheckedCopy(backup, found.revision, found.rows)


def _set_aside(database: Path) -> tuple[Path | None, bool]:
    """Where what was there is kept, and whether it is sound. It stays in its place until another takes that: a
    service that starts where there is no database makes an empty boat.
    """
    try:
        found = check_copy(database)
    except StoreError as fault:
        if getattr(fault.__cause__, "sqlite_errorcode", None) in _NOT_BROKEN:
            raise
        return _linked_aside(database), False
    if found.revision is None and found.rows:
        raise StoreError(f"{database} holds tables that are not Soakbell's; put another path in the settings")
    return back_up(database, free_name_beside(database, "before-restore")).file, found.revision is not None


def _linked_aside(database: Path) -> Path | None:
    broken = free_name_beside(database, "broken")
    parts = [ending for ending in ("", *_SIDE_FILES) if database.with_name(database.name + ending).exists()]
    for ending in parts:
        part, aside = (path.with_name(path.name + ending) for path in (database, broken))
        try:
            os.link(part, aside)
        except OSError:  # as on a card without links
            shutil.copy2(part, aside)
    return broken if "" in parts else None


def _take_place(draft: Path, database: Path) -> None:
    """Whole, in one step. A journal left from before would be played into it."""
    _flush(draft)
    for ending in _SIDE_FILES:
        database.with_name(database.name + ending).unlink(missing_ok=True)
    draft.replace(database)
    _flush(database.parent)


def free_name_beside(database: Path, ending: str) -> Path:
    """A name that no file has yet: ``soakbell.db.before-0002``, then with -2, -3 and so on."""
    name = database.with_name(f"{database.name}.{ending}")
    turn = 2
    while name.exists():
        name = database.with_name(f"{database.name}.{ending}-{turn}")
        turn += 1
    return name


def _draft_beside(to: Path) -> Path:
    handle, name = tempfile.mkstemp(prefix=f".{to.name}.", suffix=".part", dir=to.parent)
    os.close(handle)
    return Path(name)


def _copy(source: Path, target: Path) -> None:
    with closing(_connect(source, read_only=True)) as here, closing(_connect(target)) as there:
        here.backup(there, progress=_give_up_in_time(), sleep=_RETRY_S)


def _make_ready(draft: Path, now: datetime | None) -> None:
    with closing(_connect(draft)) as connection:
        connection.execute("PRAGMA journal_mode=DELETE")
        if now is not None:
            note_restore(connection, now)
        if connection.execute("SELECT 1 FROM sqlite_master WHERE name = 'page_session'").fetchone():
            connection.execute("DELETE FROM page_session")


def _make_one_file(draft: Path) -> None:
    """A copy of a database in WAL mode would want side files of its own."""
    with closing(_connect(draft)) as connection:
        connection.execute("PRAGMA journal_mode=DELETE")


def _give_up_in_time() -> Callable[[int, int, int], None]:
    """The driver tries a locked database again for ever; this ends it after the usual wait."""
    waits = count(1)

    def look(status: int, _remaining: int, _total: int) -> None:
        if status in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED) and next(waits) * _RETRY_S * 1000 > BUSY_MS:
            raise sqlite3.OperationalError("database is locked")

    return look


def _connect(file: Path, *, read_only: bool = False) -> sqlite3.Connection:
    if read_only:
        _undo_what_was_cut_off(file)
    address = file.resolve().as_uri() + ("?mode=ro" if read_only else "")
    connection = sqlite3.connect(address, uri=True, timeout=BUSY_MS / 1000, isolation_level=None)
    connection.execute("PRAGMA synchronous=EXTRA")
    return connection


def _undo_what_was_cut_off(file: Path) -> None:
    """A process killed in a commit leaves a journal, which only a connection that may write can play back."""
    try:
        with file.with_name(f"{file.name}-journal").open("rb") as journal:
            if journal.read(len(_JOURNAL_BEGINS)) != _JOURNAL_BEGINS:
                return
    except OSError:
        return
    address, wait_s = f"{file.resolve().as_uri()}?mode=rw", BUSY_MS / 1000
    with suppress(sqlite3.Error), closing(sqlite3.connect(address, uri=True, timeout=wait_s)) as connection:
        connection.execute("SELECT 1 FROM sqlite_master").fetchone()


def _count(connection: sqlite3.Connection, table: str) -> int:
    quoted = table.replace('"', '""')
    return int(connection.execute(f'SELECT count(*) FROM "{quoted}"').fetchone()[0])  # noqa: S608


def _flush(path: Path) -> None:
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def remove_drafts(folder: Path, of: re.Pattern[str]) -> None:
    """Remove what copies and rehearsals that were broken off left of files whose names match ``of``.

    Raises:
        OSError: one can't be removed.
    """
    draft = re.compile(rf"\.{of.pattern}\.\w+\.part({'|'.join(_SIDE_FILES)})?")
    rehearsal = re.compile(rf"{REHEARSAL}{of.pattern}-\w+")
    for left in list(folder.iterdir()):
        if draft.fullmatch(left.name):
            left.unlink(missing_ok=True)
        elif rehearsal.fullmatch(left.name):
            shutil.rmtree(left)


def _remove(draft: Path) -> None:
    for ending in ("", *_SIDE_FILES):
        draft.with_name(draft.name + ending).unlink(missing_ok=True)


@contextmanager
def plainly(file: Path) -> Iterator[None]:
    """Turns the driver's and the system's faults with ``file`` into a StoreError that says what to do."""
    try:
        yield
    except sqlite3.Error as error:
        raise StoreError(f"{file}: {error}; {remedy_for(str(error))}") from error
    except OSError as error:
        raise StoreError(f"{file}: {error}; check the path, its rights and the room on the disk") from error
