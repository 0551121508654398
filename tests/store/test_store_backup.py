"""Backups and the way back."""

from __future__ import annotations

import errno
import os
import signal
import sqlite3
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import closing
from datetime import timedelta
from pathlib import Path
from types import FrameType

import pytest
from sqlalchemy import text

from law.world import NOW
from logbook import told
from soakbell.errors import StoreError
from soakbell.gear.log import LogEntry, Pulled, TrapsSet
from soakbell.store.backup import back_up, check_copy, rehearse_restore, restore
from soakbell.store.engine import Store, open_current, open_store
from soakbell.store.in_use import restoring, serving
from soakbell.store.letters import note_names, put_note
from soakbell.store.log import all_entries, append_entries
from soakbell.store.page_doors import KeptSession, begin_session, session_of
from soakbell.store.upgrade import migrate

SET, PULL = told(TrapsSet()), told(Pulled(), 100)


@pytest.fixture(params=[False, True], ids=["rollback journal", "WAL"])
def store(tmp_path: Path, request: pytest.FixtureRequest) -> Iterator[Store]:
    opened = open_store(f"sqlite:///{tmp_path}/soakbell.db", system_sqlite_patched=request.param)
    migrate(opened)
    append(opened, SET)
    yield opened
    opened.close()


def append(store: Store, *entries: LogEntry) -> None:
    with store.writing() as session:
        append_entries(session, entries)


def stored(store: Store) -> list[LogEntry]:
    with store.reading() as session:
        return all_entries(session)


def file_of(store: Store) -> Path:
    assert store.file is not None
    return store.file


def damage(file: Path) -> None:
    """Write over the file's second page and on."""
    with file.open("r+b") as handle:
        handle.seek(4096)
        handle.write(b"\xff" * 8192)


def test_a_backup_of_a_database_in_use_holds_what_was_kept(store: Store, tmp_path: Path) -> None:
    """D7: what another unit of work has not kept yet is not in it."""
    copied = back_up(file_of(store), tmp_path / "copy.db")
    append(store, PULL)
    assert dict(copied.rows)["log_entry"] == 1
    assert copied.revision == store.revision()
    assert check_copy(tmp_path / "copy.db") == copied


def test_a_backup_is_one_file(store: Store, tmp_path: Path) -> None:
    """D7: a backup that needs a journal beside it is lost when moved."""
    folder = tmp_path / "backups"
    folder.mkdir()
    back_up(file_of(store), folder / "copy.db")
    assert [path.name for path in folder.iterdir()] == ["copy.db"]
    assert (folder / "copy.db").read_bytes()[18:20] == b"\x01\x01"  # rollback journal (sqlite.org/fileformat.html)


def test_backups_made_while_others_write_are_sound(store: Store, tmp_path: Path) -> None:
    """D7."""
    stop = threading.Event()

    def write() -> None:
        number = 0
        while not stop.is_set():
            append(store, told(TrapsSet(), number))
            number += 1

    writer = threading.Thread(target=write)
    writer.start()
    try:
        counts = [dict(back_up(file_of(store), tmp_path / "copy.db").rows)["log_entry"] for _ in range(5)]
    finally:
        stop.set()
        writer.join()
    assert counts == sorted(counts)


def test_a_backup_that_fails_leaves_the_former_one(store: Store, tmp_path: Path) -> None:
    target = tmp_path / "copy.db"
    back_up(file_of(store), target)
    former = target.read_bytes()
    store.close()
    damage(file_of(store))
    with pytest.raises(StoreError):
        back_up(file_of(store), target)
    assert target.read_bytes() == former
    assert not list(tmp_path.glob(".copy.db*"))


def test_a_backup_needs_a_source_and_a_place(store: Store, tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="nothing to back up"):
        back_up(tmp_path / "none.db", tmp_path / "copy.db")
    for target in (tmp_path, file_of(store)):
        with pytest.raises(StoreError, match="file of its own"):
            back_up(file_of(store), target)
    with pytest.raises(StoreError, match="check the path"):
        back_up(file_of(store), tmp_path / "nowhere" / "copy.db")
    assert stored(store) == [SET]


def test_a_restore_brings_back_the_log_and_keeps_the_former_database(store: Store, tmp_path: Path) -> None:
    back_up(file_of(store), tmp_path / "copy.db")
    append(store, PULL)
    kept = restore(tmp_path / "copy.db", file_of(store), now=NOW)
    assert stored(store) == [SET]  # also through a connection that was open all the while
    assert kept == tmp_path / "soakbell.db.before-restore"
    assert dict(check_copy(kept).rows)["log_entry"] == 2
    restore(kept, file_of(store), now=NOW)
    assert stored(store) == [SET, PULL]
    assert (tmp_path / "soakbell.db.before-restore-2").is_file()


def test_a_restore_over_a_damaged_database_moves_it_aside(store: Store, tmp_path: Path) -> None:
    back_up(file_of(store), tmp_path / "copy.db")
    store.close()
    damage(file_of(store))
    kept = restore(tmp_path / "copy.db", file_of(store), now=NOW)
    assert kept == tmp_path / "soakbell.db.broken"
    assert stored(store) == [SET]


def test_a_journal_goes_aside_with_its_damaged_database(store: Store, tmp_path: Path) -> None:
    """D7: a journal left behind would be played into the restored database."""
    back_up(file_of(store), tmp_path / "copy.db")
    store.close()
    file_of(store).write_bytes(b"not a database at all " * 400)
    for ending in ("-journal", "-wal", "-shm"):
        (tmp_path / f"soakbell.db{ending}").write_bytes(b"left over")
    restore(tmp_path / "copy.db", file_of(store), now=NOW)
    assert {path.name for path in tmp_path.glob("soakbell.db.broken*")} == {
        f"soakbell.db.broken{ending}" for ending in ("", "-journal", "-wal", "-shm")
    }
    assert not (tmp_path / "soakbell.db-journal").exists()
    assert stored(store) == [SET]


def test_a_damaged_database_stays_in_its_place_until_the_restored_one_is_whole(
    store: Store, tmp_path: Path
) -> None:
    """D7: a service that starts where there is none, or an empty one, makes an empty boat."""
    back_up(file_of(store), tmp_path / "copy.db")
    store.close()
    damaged = b"not a database at all " * 400
    file_of(store).write_bytes(damaged)
    seen: list[bytes | None] = []

    def look(_frame: FrameType, event: str, _argument: object) -> None:
        now = file_of(store).read_bytes() if event == "c_call" and file_of(store).exists() else None
        if event == "c_call" and now not in seen:
            seen.append(now)

    sys.setprofile(look)
    try:
        restore(tmp_path / "copy.db", file_of(store), now=NOW)
    finally:
        sys.setprofile(None)
    assert seen == [damaged, file_of(store).read_bytes()]


def test_what_a_kill_in_a_commit_left_is_backed_up_and_replaced_as_the_sound_database_it_is(
    store: Store, tmp_path: Path
) -> None:
    """D7: a journal is left that must be played back first (https://sqlite.org/atomiccommit.html#_hot_rollback_journals)."""
    back_up(file_of(store), tmp_path / "copy.db")
    store.close()
    for again in range(2):
        kill_in_a_commit(file_of(store))
        if again:
            assert (
                restore(tmp_path / "copy.db", file_of(store), now=NOW) == tmp_path / "soakbell.db.before-restore"
            )
        else:
            back_up(file_of(store), tmp_path / "other.db")
    assert not list(tmp_path.glob("*.broken*"))
    for file in (tmp_path / "other.db", tmp_path / "soakbell.db.before-restore"):
        assert check_copy(file).rows == check_copy(tmp_path / "copy.db").rows


def kill_in_a_commit(file: Path) -> None:
    """With half of its pages written."""
    killed = subprocess.run([sys.executable, "-c", KILLED_IN_A_COMMIT, file], check=False)
    assert killed.returncode == -signal.SIGKILL


KILLED_IN_A_COMMIT = """
import os, signal, sqlite3, sys
connection = sqlite3.connect(sys.argv[1], isolation_level=None)
connection.execute("PRAGMA cache_size=1")
connection.execute("BEGIN IMMEDIATE")
for number in range(100):
    told = (f"note {number}", '"' + "x" * 2000 + '"', "2026-12-08 09:30:00.000000")
    connection.execute("INSERT INTO note (name, value, written_at) VALUES (?, ?, ?)", told)
os.kill(os.getpid(), signal.SIGKILL)
"""


def test_a_restore_to_an_empty_place_keeps_nothing(store: Store, tmp_path: Path) -> None:
    back_up(file_of(store), tmp_path / "copy.db")
    assert restore(tmp_path / "copy.db", tmp_path / "new.db", now=NOW) is None
    assert dict(check_copy(tmp_path / "new.db").rows)["log_entry"] == 1


def test_a_damaged_or_foreign_backup_is_refused_and_changes_nothing(store: Store, tmp_path: Path) -> None:
    copy = tmp_path / "copy.db"
    back_up(file_of(store), copy)
    damage(copy)
    other = sqlite3.connect(tmp_path / "other.db")
    other.execute("CREATE TABLE recipes (id INTEGER)")
    other.close()
    (tmp_path / "empty.db").touch()
    for bad in (copy, tmp_path / "other.db", tmp_path / "empty.db", tmp_path / "none.db", file_of(store)):
        with pytest.raises(StoreError):
            restore(bad, file_of(store), now=NOW)
    assert stored(store) == [SET]
    assert not list(tmp_path.glob("*.before-restore*"))


def test_a_backup_of_a_newer_schema_is_refused(store: Store, tmp_path: Path) -> None:
    copy = tmp_path / "copy.db"
    back_up(file_of(store), copy)
    newer = sqlite3.connect(copy)
    newer.execute("UPDATE alembic_version SET version_num = '9999'")
    newer.commit()
    newer.close()
    with pytest.raises(StoreError, match="newer Soakbell"):
        restore(copy, file_of(store), now=NOW)


def test_a_restore_while_the_database_is_held_is_refused(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    copy = tmp_path / "copy.db"
    back_up(file_of(store), copy)
    append(store, PULL)
    monkeypatch.setattr("soakbell.store.backup.BUSY_MS", 50)
    with store.writing() as session:
        session.execute(text("SELECT 1"))
        with pytest.raises(StoreError, match="locked"):
            restore(copy, file_of(store), now=NOW)
    assert stored(store) == [SET, PULL]


def test_a_sound_database_that_another_program_writes_to_is_not_taken_for_a_broken_one(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    back_up(file_of(store), tmp_path / "copy.db")
    append(store, PULL)
    store.close()
    monkeypatch.setattr("soakbell.store.backup.BUSY_MS", 50)
    with closing(sqlite3.connect(file_of(store), isolation_level=None)) as other:
        other.execute("PRAGMA locking_mode=EXCLUSIVE")
        other.execute("BEGIN EXCLUSIVE")
        with pytest.raises(StoreError, match="locked"):
            restore(tmp_path / "copy.db", file_of(store), now=NOW)
    assert not list(tmp_path.glob("*.broken*"))
    assert stored(store) == [SET, PULL]


def test_a_restore_while_a_service_runs_is_refused(store: Store, tmp_path: Path) -> None:
    """It would go on with what it had read of the former log."""
    back_up(file_of(store), tmp_path / "copy.db")
    append(store, PULL)
    with serving(file_of(store)), serving(file_of(store)), pytest.raises(StoreError, match="stop it first"):
        restore(tmp_path / "copy.db", file_of(store), now=NOW)
    assert stored(store) == [SET, PULL]
    assert not list(tmp_path.glob("*before-restore*"))
    with restoring(file_of(store)), pytest.raises(StoreError, match="being restored"), serving(file_of(store)):
        pass


def test_nothing_is_told_while_a_restore_is_under_way(store: Store, tmp_path: Path) -> None:
    """An entry told after the former database was copied would be in neither."""
    back_up(file_of(store), tmp_path / "copy.db")
    store.close()
    with restoring(file_of(store)), pytest.raises(StoreError, match="being restored; try again"):
        open_current(file_of(store))
    telling = open_current(file_of(store))
    with pytest.raises(StoreError, match="stop it first"):
        restore(tmp_path / "copy.db", file_of(store), now=NOW)
    telling.close()
    restore(tmp_path / "copy.db", file_of(store), now=NOW)


def test_a_database_that_can_not_be_opened_keeps_no_restore_out(store: Store, tmp_path: Path) -> None:
    back_up(file_of(store), tmp_path / "copy.db")
    store.close()
    file_of(store).write_bytes(b"not a database at all " * 400)
    with pytest.raises(StoreError, match="not a database"):
        open_current(file_of(store))
    restore(tmp_path / "copy.db", file_of(store), now=NOW)


def test_a_service_that_was_killed_keeps_no_restore_out(store: Store, tmp_path: Path) -> None:
    (tmp_path / "soakbell.db.lock").write_text("left over")
    back_up(file_of(store), tmp_path / "copy.db")
    assert restore(tmp_path / "copy.db", file_of(store), now=NOW) is not None


@pytest.mark.parametrize("fault", [errno.EACCES, errno.EROFS, errno.ENOLCK])
def test_a_restore_goes_on_without_the_lock_only_where_there_are_none(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, fault: int
) -> None:
    """Where the lock can't be used, as by another user, a service may be running."""
    back_up(file_of(store), tmp_path / "copy.db")
    append(store, PULL)

    def refuse(*_: object) -> None:
        raise OSError(fault, os.strerror(fault))

    monkeypatch.setattr("soakbell.store.in_use.fcntl.flock", refuse)
    if fault == errno.ENOLCK:
        assert restore(tmp_path / "copy.db", file_of(store), now=NOW) is not None
        return
    with pytest.raises(StoreError, match="a service may be running"):
        restore(tmp_path / "copy.db", file_of(store), now=NOW)
    assert stored(store) == [SET, PULL]


def test_a_service_goes_on_where_the_file_system_has_no_locks(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    def none_here(*_: object) -> None:
        raise OSError(95, "Operation not supported")

    monkeypatch.setattr("soakbell.store.in_use.fcntl.flock", none_here)
    with serving(file_of(store)):
        assert stored(store) == [SET]


def test_nobody_is_signed_in_after_a_restore(store: Store, tmp_path: Path) -> None:
    """A session that was ended since the backup would be open again."""
    now = SET.told_at
    with store.writing() as session:
        begin_session(session, "token", KeptSession("Little Grebe", "skipper", "x", now + timedelta(days=9)), now)
    back_up(file_of(store), tmp_path / "copy.db")
    restore(tmp_path / "copy.db", file_of(store), now=NOW)
    with store.reading() as session:
        assert session_of(session, "token", now) is None
    assert dict(check_copy(tmp_path / "copy.db").rows)["page_session"] == 1


def test_a_database_that_is_not_soakbells_is_not_replaced(store: Store, tmp_path: Path) -> None:
    back_up(file_of(store), tmp_path / "copy.db")
    other = sqlite3.connect(tmp_path / "other.db")
    other.execute("CREATE TABLE recipes (id INTEGER)")
    other.close()
    before = (tmp_path / "other.db").read_bytes()
    with pytest.raises(StoreError, match="not Soakbell's"):
        restore(tmp_path / "copy.db", tmp_path / "other.db", now=NOW)
    assert (tmp_path / "other.db").read_bytes() == before


def test_a_restore_is_the_way_back_from_a_newer_soakbell(store: Store, tmp_path: Path) -> None:
    """D6: the copy made before an upgrade goes over the database after it, which is kept."""
    back_up(file_of(store), tmp_path / "copy.db")
    with store.writing() as session:
        session.execute(text("UPDATE alembic_version SET version_num = '9999'"))
    kept = restore(tmp_path / "copy.db", file_of(store), now=NOW)
    assert kept is not None
    assert check_copy(kept).revision == "9999"
    assert stored(store) == [SET]


def test_copies_and_what_is_restored_are_the_owners_alone(store: Store, tmp_path: Path) -> None:
    back_up(file_of(store), tmp_path / "copy.db")
    kept = restore(tmp_path / "copy.db", file_of(store), now=NOW)
    restore(tmp_path / "copy.db", tmp_path / "new.db", now=NOW)
    assert kept is not None
    for file in (tmp_path / "copy.db", kept, tmp_path / "new.db"):
        assert oct(file.stat().st_mode & 0o777) == "0o600"


def test_a_rehearsal_says_that_a_backup_would_serve(store: Store, tmp_path: Path) -> None:
    """D7: a restore is tried by the program itself, in a place of its own."""
    back_up(file_of(store), tmp_path / "copy.db")
    before = sorted(path.name for path in tmp_path.iterdir())
    tried = rehearse_restore(tmp_path / "copy.db")
    assert (tried.file, dict(tried.rows)["log_entry"]) == (tmp_path / "copy.db", 1)
    assert sorted(path.name for path in tmp_path.iterdir()) == before
    damage(tmp_path / "copy.db")
    with pytest.raises(StoreError):
        rehearse_restore(tmp_path / "copy.db")


def test_after_a_restore_all_that_has_a_pace_is_due_at_once(store: Store, tmp_path: Path) -> None:
    """What the last look found is lost, as that a station had moved."""
    with store.writing() as session:
        for name in ("polled:Little Grebe", "tick:place stations:Little Grebe", "station:42036:Little Grebe"):
            put_note(session, name, {}, NOW)
    back_up(file_of(store), tmp_path / "copy.db")
    restore(tmp_path / "copy.db", file_of(store), now=NOW)
    with store.reading() as session:
        assert note_names(session, "") == ("restored", "station:42036:Little Grebe")
