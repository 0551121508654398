"""S12, M6, S7: the service as it ships, killed with SIGKILL at random moments of a morning. INVENTED DATA.

It asks a loopback forecast server and sends to a loopback mail catcher. SOAKBELL_REAL_KILL_POINTS=200 for the full
count, SOAKBELL_KILL_SEED for other moments.
"""

from __future__ import annotations

import os
import re
import shutil
import sqlite3
import sys
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path

import pytest
from demo.demo_boat import demo_settings
from demo.forecast_server import serving
from demo.season import season_log
from demo.weather import FORTNIGHT, Weather
from kill_rig import Rig, tally
from real_service import LETTER_HOUR
from sqlalchemy import func, select

from soakbell.store.backup import check_copy
from soakbell.store.engine import open_store
from soakbell.store.log import take_entries
from soakbell.store.schema import CallRow, DueRow, LogRow, OutboxRow, RecipientRow
from soakbell.wiring import open_database

POINTS = int(os.environ.get("SOAKBELL_REAL_KILL_POINTS", "6"))
SEED = int(os.environ.get("SOAKBELL_KILL_SEED", "20261208"))
DATABASE = "soakbell.sqlite3"
COMMAND = (sys.executable, str(Path(__file__).with_name("real_service.py")))

pytestmark = [pytest.mark.slow, pytest.mark.filterwarnings("ignore::DeprecationWarning:aiosmtpd")]


@pytest.fixture(scope="module")
def services() -> Iterator[str]:
    """The address of the public services at the letter's hour."""
    with serving(Weather(FORTNIGHT), lambda: LETTER_HOUR) as server:
        yield server.base


@pytest.fixture
def prepare(services: str, tmp_path: Path) -> Callable[[Path, int], None]:
    """Settings with two addresses, and the log of a season; every fourth point is a very first start, without."""
    folder = tmp_path / "season"
    folder.mkdir()
    example = demo_settings(folder, services=services, mail_port=25, station=FORTNIGHT.station)
    store = open_database(example)
    log = season_log(example.trap_strings, example.harbor.time_zone)
    take_entries(store, log, example.trap_strings, LETTER_HOUR)
    store.close()

    def prepare(folder: Path, port: int) -> None:
        demo_settings(folder, services=services, mail_port=port, station=FORTNIGHT.station)
        settings = folder / "boat.toml"
        text = settings.read_text("utf-8")
        for line, instead in (
            (r"to = .*", 'to = ["skipper@boat.example", "mate@boat.example"]'),
            (r"health_port = .*", "health_port = 0"),
        ):
            text, changed = re.subn(rf"^{line}", instead, text, count=1, flags=re.MULTILINE)
            assert changed, line
        settings.write_text(text, "utf-8")
        if int(folder.name.rpartition("-")[2]) % 4 != 3:
            shutil.copyfile(example.database, folder / DATABASE)

    return prepare


def test_the_service_killed_at_any_moment_of_a_morning_loses_no_letter(
    prepare: Callable[[Path, int], None], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """S12, M6, S7. From the start of the process, and of its database, to the mark after the 250."""
    rig = Rig(COMMAND, prepare, is_accepted, tmp_path / "points", has_steps=False, spread=(0.0, 1.1))
    points = rig.run(POINTS, SEED)
    with capsys.disabled():
        print(f"\n{tally(points)}")
    assert sum(point.killed for point in points) >= POINTS // 4  # fewer if the computer was busy while it measured
    assert [point.plan for point in points if point.lost] == []
    assert [point.plan for point in points if point.strangers] == []
    assert [point.plan for point in points if not point.ended_in_order] == []
    for point in points:
        assert_whole(tmp_path / "points" / f"point-{point.plan.number:03d}" / DATABASE)


def is_accepted(folder: Path) -> bool:
    database = folder / DATABASE
    if not database.exists():
        return False
    with closing(sqlite3.connect(f"{database.as_uri()}?mode=rw", uri=True, timeout=15)) as connection:
        made = connection.execute("SELECT count(*) FROM sqlite_master WHERE name = 'outbox_recipient'").fetchone()
        if made == (0,):
            return False
        states = [state for (state,) in connection.execute("SELECT state FROM outbox_recipient")]
    return states == ["accepted", "accepted"]


def assert_whole(database: Path) -> None:
    """Sound; the letter was written once, is marked accepted at both addresses, and says what it was to say."""
    check_copy(database)
    store = open_store(f"sqlite:///{database}")
    with store.reading() as session:
        word = "PULL" if session.scalar(select(func.count(LogRow.id))) else "WAIT"
        of_mornings = select(DueRow.state).where(DueRow.kind == "morning").order_by(DueRow.due_at)
        assert session.scalars(of_mornings).all() == ["written", "due"]
        assert len(session.scalars(select(OutboxRow.id)).all()) == 1
        assert session.scalars(select(CallRow.word)).all() == [word]
        assert session.scalars(select(RecipientRow.state)).all() == ["accepted", "accepted"]
    store.close()
