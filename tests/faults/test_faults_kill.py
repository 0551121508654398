"""S12, M6: killed at any point of the morning, no letter is lost, and a repeat carries the same Message-ID."""

from __future__ import annotations

import os
import shutil
import sqlite3
import sys
from contextlib import closing
from pathlib import Path

import pytest
from kill_rig import Rig, tally
from sqlalchemy import select

from soakbell.store.engine import open_store
from soakbell.store.schema import CallRow, DueRow, OutboxRow, RecipientRow
from soakbell.store.upgrade import migrate

POINTS = int(os.environ.get("SOAKBELL_KILL_POINTS", "12"))


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore::DeprecationWarning:aiosmtpd")
def test_a_service_killed_anywhere_loses_no_letter_and_writes_none_twice(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """S12, M6, S7. SOAKBELL_KILL_POINTS=200 for the full count."""
    empty = tmp_path / "empty.db"
    store = open_store(f"sqlite:///{empty}")
    migrate(store)
    store.close()

    def prepare(folder: Path, _port: int) -> None:
        shutil.copyfile(empty, folder / "soakbell.db")

    command = [sys.executable, str(Path(__file__).with_name("one_morning.py"))]
    rig = Rig(command, prepare, is_accepted, tmp_path / "points")
    points = rig.run(POINTS, seed=20261208)
    with capsys.disabled():
        print(f"\n{tally(points)}")
    early = max(point.plan.step or 0 for point in points) / 2  # a quick morning takes fewer steps
    surely = [p for p in points if p.plan.once_taken or (p.plan.step is not None and p.plan.step < early)]
    assert [point.plan for point in surely if not point.killed] == []
    assert len(surely) > POINTS // 5
    assert [point.repeats for point in points if point.plan.once_taken] == [2], "once more to each address"
    assert [point.plan for point in points if point.lost] == []
    assert [point.plan for point in points if point.strangers] == []
    assert [point.plan for point in points if not point.ended_in_order] == []
    for point in points:
        assert_whole(tmp_path / "points" / f"point-{point.plan.number:03d}" / "soakbell.db")


def is_accepted(folder: Path) -> bool:
    with closing(sqlite3.connect(folder / "soakbell.db", timeout=15)) as database:
        states = [state for (state,) in database.execute("SELECT state FROM outbox_recipient")]
    return states == ["accepted", "accepted"]


def assert_whole(database: Path) -> None:
    """The day's letter was written once and is marked accepted at both addresses."""
    store = open_store(f"sqlite:///{database}")
    with store.reading() as session:
        assert session.scalars(select(DueRow.state).order_by(DueRow.due_at)).all() == ["written", "due"]
        assert len(session.scalars(select(OutboxRow.id)).all()) == 1
        assert len(session.scalars(select(CallRow.id)).all()) == 1
        assert session.scalars(select(RecipientRow.state)).all() == ["accepted", "accepted"]
    store.close()
