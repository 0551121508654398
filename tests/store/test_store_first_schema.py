"""D6: a boat that began with the first schema, brought up to now with all it had. INVENTED DATA."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass, replace
from datetime import timedelta
from pathlib import Path

import pytest

from first_schema import BOAT, WAITING, fill_as_today, first_columns, leave_as_first, rows_of
from law.world import NEW_YORK, NOW
from page_scenes import SKIPPER, NobodyAnswers, Scene, page_scene, post, visitor_of
from soakbell.clock import SetClock
from soakbell.desk import Desk
from soakbell.store import letters
from soakbell.store.backup import back_up, check_copy, restore
from soakbell.store.engine import NEWEST_REVISION, Store, open_store
from soakbell.store.log_keeper import Kept, LogKeeper
from soakbell.store.upgrade import Upgrade, migrate, step_back

TOMORROW = NOW + timedelta(days=1)


@dataclass(frozen=True)
class BroughtUp:
    """``first`` holds the rows of before; ``scene`` is the boat as it would be had it never been upgraded."""

    file: Path
    store: Store
    done: Upgrade
    columns: dict[str, str]
    first: dict[str, list[tuple[object, ...]]]
    scene: Scene


@pytest.fixture(scope="module")
def brought_up(tmp_path_factory: pytest.TempPathFactory) -> Iterator[BroughtUp]:
    present, folder = tmp_path_factory.mktemp("present"), tmp_path_factory.mktemp("first")
    file = folder / "soakbell.db"
    with page_scene(present) as scene:
        fill_as_today(scene)
        leave_as_first(present / "soakbell.db", file)
        with closing(sqlite3.connect(file)) as old:
            columns = first_columns(old)
        first = rows_of(file, columns)
        with closing(open_store(f"sqlite:///{file}")) as store:
            yield BroughtUp(file, store, migrate(store), columns, first, scene)


@pytest.fixture
def store(brought_up: BroughtUp, tmp_path: Path) -> Iterator[Store]:
    """A copy to write in."""
    back_up(brought_up.file, tmp_path / "soakbell.db")
    with closing(open_store(f"sqlite:///{tmp_path}/soakbell.db")) as opened:
        yield opened


def test_every_table_of_the_first_schema_had_rows_and_all_came_up(brought_up: BroughtUp) -> None:
    assert all(brought_up.first.values())
    assert len(brought_up.first) == 8
    assert rows_of(brought_up.file, brought_up.columns) == brought_up.first
    assert check_copy(brought_up.file).revision == NEWEST_REVISION


def test_the_boat_as_it_was_is_kept_beside_it(brought_up: BroughtUp) -> None:
    backup = brought_up.done.backup
    assert backup == brought_up.file.with_name(f"soakbell.db.before-{NEWEST_REVISION}")
    assert check_copy(backup).revision == "0001"
    assert rows_of(backup, brought_up.columns) == brought_up.first


def test_the_log_comes_to_the_same(brought_up: BroughtUp) -> None:
    def kept(store: Store) -> Kept:
        return LogKeeper(store, brought_up.scene.house.settings.trap_strings).now()

    before, after = kept(brought_up.scene.store), kept(brought_up.store)
    assert after.books is not None
    assert (after.gear, after.books, after.fault) == (before.gear, before.books, None)
    assert after.gear.oddities == before.gear.oddities


def test_the_waiting_letter_goes_out_and_a_new_one_is_written(brought_up: BroughtUp, store: Store) -> None:
    """S12."""
    house, day = brought_up.scene.house, TOMORROW.astimezone(NEW_YORK).date()
    desk = Desk(house.settings, store, SetClock(TOMORROW), NobodyAnswers(), outfit=house.outfit)
    letter = desk.write("morning", day, 0, late=False, clock_suspect=False)
    times = (TOMORROW, TOMORROW + timedelta(hours=6))
    with store.writing() as session:
        (waiting,) = letters.claim_recipients(session, NOW + timedelta(hours=1), 10, 120)
        letters.ensure_due(session, BOAT, "morning", day, 0, "America/New_York", *times)
        claim = letters.claim_due(session, BOAT, TOMORROW, 120)
        assert claim is not None
        letters.write_letter(session, claim, letter, TOMORROW)
    assert f"<{WAITING}>".encode() in waiting.message
    assert letter.call is not None
    assert (letter.call.word, b"Nine Foot" in letter.message) == ("NO CALL", True)


def test_the_page_opens_with_the_call_of_before(brought_up: BroughtUp, store: Store) -> None:
    house, clock = brought_up.scene.house, brought_up.scene.clock
    desk = Desk(house.settings, store, clock, NobodyAnswers(), outfit=house.outfit)
    visitor = visitor_of(replace(house, store=store, desk=desk))
    assert post(visitor, "/in", passphrase=SKIPPER).status_code == 303
    day = NOW.astimezone(NEW_YORK).date()
    told = desk.told(day)
    assert told == house.desk.told(day)
    assert told is not None
    assert told[0].word.value in visitor.get("/").text
    assert [visitor.get(path).status_code for path in ("/told", "/bait", "/strings", "/bench")] == [200] * 4


def test_the_way_back_is_the_copy_or_each_step_down(brought_up: BroughtUp, tmp_path: Path) -> None:
    backup = brought_up.done.backup
    assert backup is not None
    place = tmp_path / "soakbell.db"
    restore(brought_up.file, place, now=NOW)
    restore(backup, place, now=NOW)
    own = brought_up.columns.keys() - {"note"}  # a restore writes one of its own, and drops those of the pace
    assert {table: rows_of(place, brought_up.columns)[table] for table in own} == {
        table: brought_up.first[table] for table in own
    }
    restore(brought_up.file, place, now=NOW)
    with closing(open_store(f"sqlite:///{place}")) as store:
        step_back(store, "0001")
    back, kept = (rows_of(file, brought_up.columns) for file in (place, brought_up.file))
    assert {table: back[table] for table in own} == {table: kept[table] for table in own}
