"""The backup of each night: made once, kept for a while, never at the cost of a former one."""

from __future__ import annotations

from collections import namedtuple
from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path

import pytest

from logbook import told
from soakbell.errors import StoreError
from soakbell.gear.log import Pulled, TrapsSet
from soakbell.store import backup, nightly
from soakbell.store.backup import check_copy
from soakbell.store.engine import Store, open_store
from soakbell.store.log import append_entries
from soakbell.store.nightly import KEPT_NIGHTS, backups_of, nightly_backup, rehearse_nightly
from soakbell.store.upgrade import migrate

FIRST = date(2026, 11, 26)
NIGHT = timedelta(days=1)
Room = namedtuple("Room", "free")


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    opened = open_store(f"sqlite:///{tmp_path}/soakbell.db")
    migrate(opened)
    with opened.writing() as session:
        append_entries(session, [told(TrapsSet())])
    yield opened
    opened.close()


@pytest.fixture
def database(store: Store) -> Path:
    assert store.file is not None
    return store.file


def names(database: Path) -> list[str]:
    return sorted(path.name for path in backups_of(database).iterdir())


def test_a_night_has_one_backup_however_often_it_is_asked_for(store: Store, database: Path) -> None:
    """D7."""
    made = nightly_backup(database, FIRST)
    with store.writing() as session:
        append_entries(session, [told(Pulled(), 100)])
    assert nightly_backup(database, FIRST) == made
    assert (names(database), dict(check_copy(made).rows)["log_entry"]) == (["soakbell-2026-11-26.db"], 1)
    assert oct(made.parent.stat().st_mode & 0o777) == "0o700"
    assert oct(made.stat().st_mode & 0o777) == "0o600"


def test_the_newest_nights_are_kept_and_what_is_no_nightly_backup_stays(database: Path) -> None:
    nightly_backup(database, FIRST)
    (backups_of(database) / "soakbell-by-hand.db").touch()
    for night in range(1, 10):
        nightly_backup(database, FIRST + night * NIGHT)
    days = [FIRST + night * NIGHT for night in range(10 - KEPT_NIGHTS, 10)]
    assert names(database) == [*(f"soakbell-{day}.db" for day in days), "soakbell-by-hand.db"]


def test_a_clock_that_ran_ahead_for_a_while_costs_no_backup(database: Path) -> None:
    for night in range(KEPT_NIGHTS):
        nightly_backup(database, FIRST + (400 + night) * NIGHT)
    for night in range(KEPT_NIGHTS + 1):
        nightly_backup(database, FIRST + night * NIGHT)
    assert len(names(database)) == 2 * KEPT_NIGHTS
    assert names(database)[0] == f"soakbell-{FIRST + NIGHT}.db"


def test_a_backup_that_fails_costs_no_former_one(database: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for night in range(KEPT_NIGHTS):
        nightly_backup(database, FIRST + night * NIGHT)
    before = names(database)

    def full(_draft: Path) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(backup, "_flush", full)
    with pytest.raises(StoreError, match="the room on the disk"):
        nightly_backup(database, FIRST + 30 * NIGHT)
    assert names(database) == before


def test_no_backup_takes_the_room_that_letters_need(database: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(nightly.shutil, "disk_usage", lambda _: Room(free=50_000_000 + database.stat().st_size))
    with pytest.raises(StoreError, match="free some room"):
        nightly_backup(database, FIRST)
    assert names(database) == []


def test_what_a_killed_backup_left_goes_with_the_next(database: Path) -> None:
    nightly_backup(database, FIRST)
    folder = backups_of(database)
    rehearsal = folder / "soakbell-rehearsal-soakbell-2026-11-27.db-x"
    rehearsal.mkdir()
    for left in (
        folder / ".soakbell-2026-11-27.db.abc.part",
        folder / ".soakbell-2026-11-27.db.abc.part-journal",
        rehearsal / "soakbell.db",
        database.with_name(".soakbell.db.before-0003.abc.part"),
    ):
        left.touch()
    nightly_backup(database, FIRST + NIGHT)
    assert names(database) == ["soakbell-2026-11-26.db", "soakbell-2026-11-27.db"]
    assert not list(database.parent.glob(".*.part*"))


def test_what_another_boat_in_the_same_folder_is_at_is_left_alone(database: Path) -> None:
    folder = backups_of(database)
    folder.mkdir()
    of_other = [
        folder / ".soakbell-2-2026-11-27.db.abc.part",
        folder / "soakbell-rehearsal-soakbell-2-2026-11-27.db-x",
        database.with_name(".soakbell.db-2.before-0003.abc.part"),
    ]
    for left in of_other:
        left.touch()
    nightly_backup(database, FIRST)
    assert [left for left in of_other if not left.exists()] == []


def test_a_nightly_backup_is_rehearsed_beside_it_and_found_out(database: Path) -> None:
    """D7."""
    made = nightly_backup(database, FIRST)
    rehearse_nightly(made)
    assert names(database) == [made.name]
    made.write_bytes(made.read_bytes()[:8192] + b"\xff" * 8192)
    with pytest.raises(StoreError):
        rehearse_nightly(made)
    assert names(database) == [made.name]
