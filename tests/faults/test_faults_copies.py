"""D6, D7: backups, restores and upgrades killed at many points, and met by a full disk. INVENTED DATA.

The database is whole afterwards, as it was or as it was to be. SOAKBELL_COPY_POINTS=100 for more points.
"""

from __future__ import annotations

import json
import os
import shutil
import signal
import sqlite3
import subprocess
import sys
from collections.abc import Sequence
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

import pytest

from first_schema import fill_as_today, leave_as_first
from law.world import NOW
from page_scenes import page_scene
from soakbell.store.backup import back_up, check_copy, restore
from soakbell.store.engine import NEWEST_REVISION, open_store
from soakbell.store.nightly import backups_of
from soakbell.store.upgrade import migrate

POINTS = int(os.environ.get("SOAKBELL_COPY_POINTS", "3"))
ENDED = {"step": -signal.SIGKILL, "late": -signal.SIGXFSZ, "size": -signal.SIGXFSZ, "full": 1}


class Point(NamedTuple):
    folder: str
    act: str
    how: str
    number: int


@dataclass(frozen=True)
class Boats:
    """Databases to begin from: of the first schema, of now, and of now with a little less told."""

    first: Path
    now: Path
    before: Path


@pytest.fixture(scope="module")
def boats(tmp_path_factory: pytest.TempPathFactory) -> Boats:
    folder = tmp_path_factory.mktemp("boats")
    with page_scene(folder) as scene:
        back_up(folder / "soakbell.db", folder / "before.db")
        fill_as_today(scene)
    leave_as_first(folder / "soakbell.db", folder / "first.db")
    return Boats(folder / "first.db", folder / "soakbell.db", folder / "before.db")


def run(points: list[Point]) -> list[int]:
    script = Path(__file__).with_name("one_copy.py")
    service = script.parents[2] / "service"
    ran = subprocess.run(
        [sys.executable, str(script)],
        input=json.dumps(points),
        env={**os.environ, "PYTHONPATH": str(service)},
        capture_output=True,
        check=True,
        text=True,
    )
    found: list[int] = json.loads(ran.stdout)
    return found


def ended_early(
    folder: Path, act: str, ways: Sequence[str] = ("step", "size", "full"), **files: Path
) -> list[tuple[Point, Path]]:
    """Points spread over all steps of ``act``, and over all sizes that its files may reach."""

    def place(name: str) -> str:
        made = folder / name
        made.mkdir()
        for stem, source in files.items():
            shutil.copyfile(source, made / f"{stem}.db")
        if (folder / "backups").exists():
            shutil.copytree(folder / "backups", made / "backups")
        return str(made)

    (steps,) = run([Point(place("count"), act, "count", 0)])
    largest = max(source.stat().st_size for source in files.values())
    points = [
        Point(place(f"{how}-{n}"), act, how, (2 * n + 1) * most // (2 * POINTS))
        for how in ways
        for n, most in enumerate([steps if how == "step" else largest] * POINTS)
    ]
    ended = run(points)
    assert [point for point, how in zip(points, ended, strict=True) if how != ENDED[point.how]] == []
    return [(point, Path(point.folder)) for point in points]


def backups_in(place: Path) -> list[Path]:
    return list(backups_of(place / "soakbell.db").glob("soakbell-*.db"))


def contents(database: Path) -> list[str]:
    """All that it holds, read as the service would, so that what a kill left half done is put right first."""
    with closing(sqlite3.connect(database)) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        return list(connection.iterdump())


def test_a_backup_that_ends_early_leaves_the_boat_and_the_former_ones(boats: Boats, tmp_path: Path) -> None:
    """The next look makes it."""
    now, before = contents(boats.now), contents(boats.before)
    folder = tmp_path / "backups"
    folder.mkdir()
    shutil.copyfile(boats.before, folder / "soakbell-2026-12-07.db")
    broken_off = ended_early(tmp_path, "back up", soakbell=boats.now)
    left = [
        (contents(place / "soakbell.db"), {path.name: contents(path) for path in backups_in(place)})
        for _, place in broken_off
    ]
    again = run([Point(str(place), "back up", "step", 0) for _, place in broken_off])
    assert set(again) == {0}
    for (point, place), (live, backups) in zip(broken_off, left, strict=True):
        assert live == now, point
        assert backups.pop("soakbell-2026-12-07.db") == before, point
        assert list(backups.values()) in ([], [now]), point
        assert sorted(path.name for path in backups_of(place / "soakbell.db").iterdir()) == [
            "soakbell-2026-12-07.db",
            "soakbell-2026-12-08.db",
        ]


def test_a_restore_that_ends_early_leaves_the_boat_or_the_backup(boats: Boats, tmp_path: Path) -> None:
    """Restored again, it is the backup; what was there is kept."""
    restore(boats.now, tmp_path / "whole.db", now=NOW)
    now, before = contents(tmp_path / "whole.db"), contents(boats.before)
    ways = ("step", "size", "late", "full")
    for point, folder in ended_early(tmp_path, "restore", ways, soakbell=boats.before, copy=boats.now):
        left = contents(folder / "soakbell.db")
        assert left in (before, now), point
        assert (point.how == "step") or left == before
        restore(folder / "copy.db", folder / "soakbell.db", now=NOW)
        assert contents(folder / "soakbell.db") == now, point
        assert before in [contents(path) for path in folder.glob("soakbell.db.before-restore*")], point


def test_an_upgrade_that_ends_early_leaves_a_boat_that_the_next_start_brings_up(
    boats: Boats, tmp_path: Path
) -> None:
    first = contents(boats.first)
    done = tmp_path / "done.db"
    shutil.copyfile(boats.first, done)
    bring_up(done)
    for point, folder in ended_early(tmp_path, "upgrade", soakbell=boats.first):
        database = folder / "soakbell.db"
        assert rows(contents(database)) in (rows(first), rows(contents(done))), point
        bring_up(database)
        assert rows(contents(database)) == rows(contents(done)), point
        assert check_copy(database).revision == NEWEST_REVISION
        assert first in [contents(path) for path in folder.glob("soakbell.db.before-*")], point


def rows(dump: list[str]) -> list[str]:
    """Without the schema: a table that an upgrade copied has its constraints in any order."""
    return [line for line in dump if line.startswith("INSERT")]


def bring_up(database: Path) -> None:
    with closing(open_store(f"sqlite:///{database}")) as store:
        migrate(store)
