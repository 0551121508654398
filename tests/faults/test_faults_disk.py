"""Whole mornings on a disk that is full or read-only, and on a database that is held. INVENTED DATA."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from sqlalchemy import func, select

from faults.bad_disk import DiskFault, bad_disk
from faults.bad_forecasts import ForecastFault
from faults.bad_luck import Bout, scripted
from faults.bad_mail import MailFault
from faults.bad_mornings import (
    LETTER_HOUR,
    MINUTE,
    SKIPPER,
    Shore,
    addresses,
    mornings,
    play,
    subject_of,
    text_of,
)
from soakbell.store import engine
from soakbell.store.backup import check_copy
from soakbell.store.schema import LogRow, RecipientRow
from soakbell.web.health import read_health
from soakbell.wiring import House

HOLD = """
import sqlite3, sys
held = sqlite3.connect(sys.argv[1])
held.execute("BEGIN EXCLUSIVE")
print("held", flush=True)
sys.stdin.read()
"""


@contextmanager
def held_by_another_process(database: Path) -> Iterator[None]:
    holder = subprocess.Popen(
        [sys.executable, "-c", HOLD, database], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    )
    assert holder.stdin is not None
    assert holder.stdout is not None
    with holder:
        assert holder.stdout.readline() == b"held\n"
        yield
        holder.stdin.close()


def entries_told(house: House) -> int:
    with house.store.reading() as session:
        return session.scalar(select(func.count(LogRow.id))) or 0


def assert_one_letter(shore: Shore, house: House) -> None:
    """It came once, is marked so, and the database is sound."""
    assert list(shore.mail.copies().values()) == [1]
    assert addresses(house) == [(SKIPPER, "accepted")]
    assert [state for _, state in mornings(house)] == ["written", "due"]
    assert house.store.file is not None
    check_copy(house.store.file)


@pytest.mark.parametrize("fault", DiskFault)
def test_a_disk_that_takes_nothing_holds_the_letter_up_and_loses_nothing(
    fault: DiskFault, season: Path, tmp_path: Path
) -> None:
    """Nothing can be kept, so nothing is sent. Half an hour on there is room; the letter says it is late."""

    async def story(shore: Shore) -> None:
        with shore.open() as house, bad_disk(house.store) as disk:
            await shore.sweeps(house, LETTER_HOUR - 5 * MINUTE)
            told = entries_told(house)
            disk.fault = fault
            await shore.sweeps(house, *(LETTER_HOUR + n * MINUTE for n in (0, 3, 12)))
            assert (shore.mail.taken, addresses(house)) == ([], [])
            disk.fault = None
            await shore.sweeps(house, LETTER_HOUR + 30 * MINUTE, LETTER_HOUR + 33 * MINUTE)
            assert_one_letter(shore, house)
            assert entries_told(house) == told
        assert "This letter was due Tue 8 Dec 04:30 and is late." in text_of(shore.mail.taken[0])

    play(tmp_path, story, database=season)


def test_a_pull_is_not_looked_at_while_nothing_can_be_written_and_is_at_once_after(
    written: Path, tmp_path: Path
) -> None:
    """Sources fail soon after it. The health page says that the sweep stands still."""

    async def story(shore: Shore) -> None:
        with shore.open() as house, bad_disk(house.store) as disk:
            await shore.sweeps(house, LETTER_HOUR + 2 * MINUTE)
            shore.forecasts.choose = scripted(Bout(ForecastFault.FAILS))
            disk.fault = DiskFault.READ_ONLY
            await shore.sweeps(house, *(LETTER_HOUR + n * MINUTE for n in (40, 80, 120)))
            assert [subject[:4] for subject in shore.subjects()] == ["PULL"]
            (stands,) = read_health(house.store, shore.clock.now(), "").reasons
            assert stands.startswith("the sweep for Little Grebe last ran")
            disk.fault = None
            await shore.sweeps(house, LETTER_HOUR + 125 * MINUTE)
        assert shore.subjects()[1].startswith("CHANGED CALL: NO CALL")

    play(tmp_path, story, database=written)


def test_a_database_damaged_under_a_running_service_ends_in_no_letter_and_a_log_that_says_to_restore(
    season: Path, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    """D7."""

    async def story(shore: Shore) -> None:
        with shore.open() as house:
            await shore.sweeps(house, LETTER_HOUR - 5 * MINUTE)
            image = shore.settings.database.read_bytes()
            shore.settings.database.write_bytes(image[:100] + b"\x55" * (len(image) - 100))
            house.store.engine.dispose()
            await shore.sweeps(house, LETTER_HOUR)
        assert shore.mail.met == []
        assert any("restore the newest backup" in getattr(record, "fault", "") for record in caplog.records)

    play(tmp_path, story, database=season)


@pytest.mark.parametrize("refuses", [False, True])
def test_what_a_mail_server_answered_is_put_down_later_and_not_asked_again(
    refuses: bool, written: Path, tmp_path: Path
) -> None:
    """M6, S12. The disk fails between the server's answer and its mark, for longer than a claim holds."""

    async def story(shore: Shore) -> None:
        shore.mail.choose = scripted(Bout(MailFault.DATA_5YZ)) if refuses else scripted()
        with shore.open() as house, bad_disk(house.store) as disk:

            def fail() -> None:
                disk.fault = DiskFault.READ_ONLY

            shore.mail.before_answer = fail
            await shore.sweeps(house, LETTER_HOUR + 2 * MINUTE, LETTER_HOUR + 6 * MINUTE)
            assert addresses(house) == [(SKIPPER, "trying")]
            disk.fault = None
            await shore.sweeps(house, LETTER_HOUR + 9 * MINUTE, LETTER_HOUR + 12 * MINUTE)
            assert addresses(house) == [(SKIPPER, "refused" if refuses else "accepted")]
            with house.store.reading() as session:
                assert session.scalars(select(RecipientRow.unsure)).all() == [0]
        assert len(shore.mail.met) == 1
        assert list(shore.mail.copies().values()) == ([] if refuses else [1])

    play(tmp_path, story, database=written)


def test_a_database_held_by_another_process_holds_the_letter_up_and_no_longer_than_that(
    season: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """D4. The holder, as a shell that was left open, lets go after the hour; then there is one letter."""
    monkeypatch.setattr(engine, "BUSY_MS", 20)

    async def story(shore: Shore) -> None:
        with shore.open() as house:
            await shore.sweeps(house, LETTER_HOUR - 5 * MINUTE)
            with held_by_another_process(shore.settings.database):
                await shore.sweeps(house, LETTER_HOUR, LETTER_HOUR + 3 * MINUTE)
                assert shore.mail.met == []
            await shore.sweeps(house, LETTER_HOUR + 6 * MINUTE)
            assert_one_letter(shore, house)
        assert subject_of(shore.mail.taken[0]).startswith("PULL")

    play(tmp_path, story, database=season)
