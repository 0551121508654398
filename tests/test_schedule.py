"""The sweep over good days and bad: every letter once, late or told, whatever stops, fails or hangs."""

from __future__ import annotations

import asyncio
import contextlib
import json
import logging
import os
import re
import signal
import socket
import sqlite3
import subprocess
import sys
import threading
from collections.abc import AsyncGenerator, Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from pathlib import Path
from typing import Any

import pytest
from apscheduler.jobstores.memory import MemoryJobStore
from apscheduler.triggers.interval import IntervalTrigger
from sqlalchemy import select

from scripted_smtp import ScriptedSmtp
from soakbell.clock import SetClock
from soakbell.logs import JsonLines
from soakbell.mail.sender import Outcome, Outgoing, Result, Security, SmtpSettings, send_batch
from soakbell.schedule import (
    Duty,
    LetterHour,
    Pace,
    Parts,
    Sweep,
    in_thread,
    make_scheduler,
    run_service,
    tell_host,
)
from soakbell.store import letters
from soakbell.store.engine import Store, open_store
from soakbell.store.letters import Asked, CallRecord, UnaskedLetter, WrittenLetter
from soakbell.store.schema import DueRow, NoteRow, OutboxRow, RecipientRow
from soakbell.store.upgrade import migrate

BOAT = "Little Grebe"
DAY = date(2026, 12, 8)
LETTER_HOUR = datetime(2026, 12, 8, 9, 30, tzinfo=UTC)  # 04:30 in New York
NOON = datetime(2026, 12, 8, 17, 0, tzinfo=UTC)
MINUTE = timedelta(minutes=1)
SKIPPER = "skipper@example.org"
MORNING = LetterHour("morning", time(4, 30), time(12, 0))
PACKAGE = Path(__file__).resolve().parents[1] / "service" / "soakbell"


def letter(name: str, word: str = "WAIT", watch_until: datetime | None = None) -> WrittenLetter:
    text = f"Message-ID: <{name}@example.org>\r\nDate: Tue, 08 Dec 2026 09:30:00 +0000\r\n\r\n{word}\r\n"
    call = CallRecord(word, LETTER_HOUR, {}, [], "0.1.0", "2026b")
    return WrittenLetter(word, text.encode(), (SKIPPER,), call, watch_until)


@dataclass
class Shore:
    """What stands around the sweep here: a writer, a mail server, the sources. It keeps what was asked."""

    asked: list[tuple[object, ...]] = field(default_factory=list)
    posted: list[str] = field(default_factory=list)
    polled: int = 0
    kept: int = 0
    beats: int = 0
    warmed: int = 0
    backed_up: int = 0
    alone: list[bool] = field(default_factory=list)
    word: str = "WAIT"
    watch_until: datetime | None = None
    changed: bool = False
    rings: tuple[str, ...] = ()
    result: Result = Result.ACCEPTED
    fails: dict[str, Exception] = field(default_factory=dict)
    holds: dict[str, threading.Event] = field(default_factory=dict)

    def _meet(self, name: str) -> None:
        if name in self.holds:
            self.holds[name].wait(20)
        if name in self.fails:
            raise self.fails[name]

    def write(
        self, kind: str, day: date, turn: int, *, late: bool, clock_suspect: bool, alone: bool
    ) -> WrittenLetter:
        self.asked.append((kind, day, turn, late, clock_suspect))
        self.alone.append(alone)
        self._meet("write")
        return letter(f"{kind}.{day}.{turn}", self.word, self.watch_until)

    def write_failed(self, kind: str, day: date, turn: int, error: str) -> WrittenLetter:
        self.asked.append(("failed", kind, day, turn, error))
        self._meet("write_failed")
        return letter(f"{kind}.{day}.{turn}", "NO CALL")

    def recheck(self, day: date, turn: int, *, clock_suspect: bool) -> WrittenLetter | None:
        self.asked.append(("recheck", day, turn, clock_suspect))
        self._meet("recheck")
        return letter(f"changed.{day}.{turn}", "NO CALL") if self.changed else None

    def ring(self, day: date, turns: Mapping[str, int]) -> Asked:
        self.asked.append(("ring", day, dict(turns)))
        self._meet("ring")
        useless_at = self.now() + timedelta(hours=20)
        written = tuple(
            UnaskedLetter(kind, useless_at, replace(letter(f"{kind[:4]}.{turns[kind]}"), call=None))
            for kind in self.rings
        )
        return Asked(written, self.fails.get("one of the letters"))

    async def send(self, batch: Sequence[Outgoing]) -> AsyncGenerator[tuple[Outcome, ...], None]:
        for one in batch:
            await asyncio.sleep(0)
            self._meet("send")
            self.posted.append(one.message.decode().partition(">")[0].partition("<")[2])
            yield tuple(Outcome(one.letter, to, self.result, "said so", self.now()) for to in one.addresses)

    now: Callable[[], datetime] = lambda: LETTER_HOUR

    def poll(self) -> None:
        self.polled += 1
        self._meet("poll")

    def housekeep(self) -> None:
        self.kept += 1
        self._meet("housekeep")

    def heartbeat(self) -> None:
        self.beats += 1
        self._meet("heartbeat")

    def parts(self) -> Parts:
        return Parts(
            self.write, self.write_failed, self.recheck, self.send, self.poll, self.housekeep, self.heartbeat
        )

    def warm(self) -> None:
        self.warmed += 1
        self._meet("warm")

    def back_up(self) -> None:
        self.backed_up += 1
        self._meet("backup")

    def with_bells(self) -> Parts:
        return replace(self.parts(), ring=self.ring)


@dataclass
class Harbor:
    """A database, a clock and a shore, with as many services on them as a test wants."""

    url: str
    clock: SetClock
    shore: Shore
    stores: list[Store] = field(default_factory=list)

    def sweep(self, hours: tuple[LetterHour, ...] = (MORNING,), pace: Pace | None = None) -> Counted:
        store = open_store(self.url)
        self.stores.append(store)
        duty = Duty(BOAT, "America/New_York", hours, watch_every_min=15, poll_every_min=30)
        return Counted(store, self.clock, duty, self.shore.parts(), pace)

    def warming(self) -> Sweep:
        store = open_store(self.url)
        self.stores.append(store)
        parts = replace(self.shore.parts(), warm=self.shore.warm)
        return Sweep(store, self.clock, Duty(BOAT, "America/New_York", (MORNING,), 30, 30), parts)

    def backing_up(self) -> Sweep:
        store = open_store(self.url)
        self.stores.append(store)
        parts = replace(self.shore.parts(), back_up=self.shore.back_up)
        return Sweep(store, self.clock, Duty(BOAT, "America/New_York", (MORNING,), 30, 30), parts)

    def ringing(self) -> Counted:
        """A sweep that looks for bells every quarter hour, and writes two kinds of letters about them."""
        store = open_store(self.url)
        self.stores.append(store)
        duty = Duty(
            BOAT,
            "America/New_York",
            (MORNING,),
            watch_every_min=15,
            poll_every_min=30,
            unasked=("bells", "bait order"),
            bells_every_min=15,
        )
        return Counted(store, self.clock, duty, self.shore.with_bells())

    def passes(self, sweep: Sweep, *moments: datetime) -> None:
        """One sweep at each moment, each to its end."""

        async def run() -> None:
            for at in moments:
                self.clock.put(at)
                await sweep.sweep()
                await sweep.settle()

        asyncio.run(run())

    def due(self, kind: str = "morning") -> list[tuple[date, int, str]]:
        with self.stores[0].reading() as session:
            rows = session.scalars(select(DueRow).where(DueRow.kind == kind).order_by(DueRow.day, DueRow.turn))
            return [(row.day, row.turn, row.state) for row in rows]

    def outbox(self) -> list[bytes]:
        with self.stores[0].reading() as session:
            return list(session.scalars(select(OutboxRow.message).order_by(OutboxRow.id)))

    def faults(self) -> dict[str, int]:
        with self.stores[0].reading() as session:
            notes = letters.notes_under(session, f"fault:{BOAT}:")
        return {name: value["count"] for name, (value, _) in notes.items()}


class Counted(Sweep):
    """A sweep that knows how often it was woken."""

    woken = 0

    async def sweep(self) -> None:
        self.woken += 1
        await super().sweep()


async def until(condition: Callable[[], object], limit_s: float = 30.0) -> None:
    """Wait for something that another task or thread is to bring about."""
    async with asyncio.timeout(limit_s):
        while not condition():
            await asyncio.sleep(0.01)


@pytest.fixture
def harbor(tmp_path: Path) -> Iterator[Harbor]:
    url = f"sqlite:///{tmp_path / 'soakbell.db'}"
    first = open_store(url)
    migrate(first)
    shore = Shore()
    clock = SetClock(LETTER_HOUR)
    shore.now = clock.now
    made = Harbor(url, clock, shore, [first])
    yield made
    for held in shore.holds.values():
        held.set()
    for store in made.stores:
        store.close()


# ---- a plain day


def test_the_letter_is_written_and_sent_at_its_hour_and_once(harbor: Harbor) -> None:
    """S12."""
    sweep = harbor.sweep()
    before = [LETTER_HOUR - n * MINUTE for n in (90, 30, 1)]
    harbor.passes(sweep, *before)
    assert harbor.shore.asked == []
    harbor.passes(sweep, *(LETTER_HOUR + n * MINUTE for n in range(5)))
    assert harbor.shore.asked == [("morning", DAY, 0, False, False)]
    assert harbor.shore.posted == ["morning.2026-12-08.0@example.org"]
    assert harbor.due() == [(DAY, 0, "written"), (DAY + timedelta(days=1), 0, "due")]


def test_two_services_on_one_database_send_one_letter(harbor: Harbor) -> None:
    """S5. Both sweep at once, twenty times over, each with its own connections."""
    one, other = harbor.sweep(), harbor.sweep()

    async def run() -> None:
        for n in range(20):
            harbor.clock.put(LETTER_HOUR + n * MINUTE)
            await asyncio.gather(one.sweep(), other.sweep())
            await asyncio.gather(one.settle(), other.settle())

    asyncio.run(run())
    assert harbor.shore.posted == ["morning.2026-12-08.0@example.org"]
    assert len(harbor.shore.asked) == 1


def test_sources_are_polled_and_the_house_is_kept_at_their_pace(harbor: Harbor) -> None:
    sweep = harbor.sweep()
    harbor.passes(sweep, *(LETTER_HOUR - timedelta(hours=4) + n * 10 * MINUTE for n in range(7)))
    assert harbor.shore.polled == 3
    assert harbor.shore.kept == 1


def test_the_heartbeat_follows_a_250_and_nothing_else(harbor: Harbor) -> None:
    """S13."""
    sweep = harbor.sweep()
    harbor.shore.result = Result.RETRY
    harbor.passes(sweep, LETTER_HOUR)
    assert (len(harbor.shore.posted), harbor.shore.beats) == (1, 0)
    harbor.shore.result = Result.ACCEPTED
    harbor.passes(sweep, LETTER_HOUR + MINUTE, LETTER_HOUR + 2 * MINUTE)
    assert (len(harbor.shore.posted), harbor.shore.beats) == (2, 1)


def test_a_heartbeat_that_fails_costs_no_letter(harbor: Harbor) -> None:
    harbor.shore.fails["heartbeat"] = OSError("no way out")
    harbor.passes(harbor.sweep(), LETTER_HOUR, LETTER_HOUR + MINUTE)
    assert len(harbor.shore.posted) == 1
    assert harbor.faults()["heartbeat"] == 1


def test_the_letters_of_both_clock_nights_come_once_a_day(harbor: Harbor) -> None:
    """S3. Sweeps every hour over the four days around each night."""
    hours = (
        LetterHour("half-past-two", time(2, 30), time(5, 30)),
        LetterHour("half-past-one", time(1, 30), time(4, 30)),
    )
    for first in (datetime(2026, 3, 6, 12, tzinfo=UTC), datetime(2026, 10, 30, 12, tzinfo=UTC)):
        harbor.passes(harbor.sweep(hours), *(first + n * 60 * MINUTE for n in range(24 * 4)))
    written = [(kind, day) for kind, day, *_ in harbor.shore.asked]
    assert len(written) == len(set(written)) == 16


# ---- the start


def test_what_a_letter_needs_is_made_ready_once_at_the_start(harbor: Harbor) -> None:
    """A long log is folded then, and not at 04:30."""
    sweep = harbor.warming()
    harbor.passes(sweep, NOON, NOON + MINUTE, NOON + 5 * MINUTE)
    assert harbor.shore.warmed == 1


def test_making_ready_that_fails_or_hangs_costs_no_letter(harbor: Harbor) -> None:
    harbor.shore.fails["warm"] = RuntimeError("broken")
    harbor.shore.holds["warm"] = threading.Event()
    sweep = harbor.warming()

    async def run() -> None:
        harbor.clock.put(LETTER_HOUR)
        await sweep.sweep()
        await until(lambda: harbor.shore.posted)
        harbor.shore.holds["warm"].set()
        await sweep.settle()

    asyncio.run(run())
    assert harbor.shore.posted == ["morning.2026-12-08.0@example.org"]
    assert harbor.faults() == {}


def test_making_ready_that_hangs_holds_up_no_stop(harbor: Harbor) -> None:
    harbor.shore.holds["warm"] = threading.Event()
    sweep = harbor.warming()

    async def run() -> bool:
        harbor.clock.put(NOON)
        await sweep.sweep()
        return await sweep.stop(5.0)

    assert asyncio.run(run())
    harbor.shore.holds["warm"].set()


# ---- bells


def test_what_rings_is_written_and_sent_in_one_go_at_its_own_pace(harbor: Harbor) -> None:
    """Looked for every 15 min; the second time it is the second turn of the day."""
    harbor.shore.rings = ("bells", "bait order")
    harbor.passes(harbor.ringing(), *(NOON + n * 5 * MINUTE for n in range(5)))
    asked = [turns for name, _, turns in harbor.shore.asked if name == "ring"]
    assert asked == [{"bells": 1, "bait order": 1}, {"bells": 2, "bait order": 2}]
    assert harbor.due("bells") == harbor.due("bait order") == [(DAY, 1, "written"), (DAY, 2, "written")]
    assert len(harbor.shore.posted) == 4


def test_two_services_on_one_database_ring_once(harbor: Harbor) -> None:
    harbor.shore.rings = ("bells",)
    one, other = harbor.ringing(), harbor.ringing()

    async def run() -> None:
        harbor.clock.put(NOON)
        await asyncio.gather(one.sweep(), other.sweep())
        await asyncio.gather(one.settle(), other.settle())

    asyncio.run(run())
    assert harbor.due("bells") == [(DAY, 1, "written")]
    assert len(harbor.shore.posted) == 1


def test_where_one_of_the_letters_can_not_be_kept_none_is(harbor: Harbor) -> None:
    """The second has no recipient; the first would tell half of it."""
    harbor.shore.rings = ("bells", "bait order")
    whole = harbor.shore.ring

    def lame(day: date, turns: Mapping[str, int]) -> Asked:
        first, second = whole(day, turns).letters
        return Asked((first, replace(second, letter=replace(second.letter, recipients=()))))

    harbor.shore.ring = lame  # type: ignore[method-assign]
    harbor.passes(harbor.ringing(), NOON)
    assert harbor.due("bells") == harbor.due("bait order") == []
    assert harbor.faults() == {"bells": 1}
    assert harbor.shore.posted == []


def test_a_letter_that_could_not_be_written_is_a_fault_and_the_others_go_out(harbor: Harbor) -> None:
    harbor.shore.rings = ("bells",)
    harbor.shore.fails["one of the letters"] = RuntimeError("broken")
    harbor.passes(harbor.ringing(), NOON)
    assert harbor.faults() == {"bells": 1}
    assert len(harbor.shore.posted) == 1
    del harbor.shore.fails["one of the letters"]
    harbor.passes(harbor.ringing(), NOON + 16 * MINUTE)
    assert harbor.faults() == {}


def test_bells_that_fail_cost_no_morning_letter(harbor: Harbor) -> None:
    harbor.shore.fails["ring"] = RuntimeError("broken")
    harbor.passes(harbor.ringing(), LETTER_HOUR, LETTER_HOUR + 16 * MINUTE)
    assert harbor.shore.posted == ["morning.2026-12-08.0@example.org"]
    assert harbor.faults() == {"bells": 2}


def test_bells_that_hang_hold_up_no_morning_letter(harbor: Harbor) -> None:
    harbor.shore.holds["ring"] = threading.Event()
    sweep = harbor.ringing()

    async def run() -> None:
        harbor.clock.put(LETTER_HOUR)
        await sweep.sweep()
        await until(lambda: harbor.shore.posted)
        harbor.shore.holds["ring"].set()
        await sweep.settle()

    asyncio.run(run())
    assert harbor.shore.posted == ["morning.2026-12-08.0@example.org"]


def test_no_bell_rings_by_a_clock_that_was_set_back(harbor: Harbor) -> None:
    harbor.shore.rings = ("bells",)
    harbor.passes(harbor.ringing(), NOON)
    harbor.passes(harbor.ringing(), NOON - timedelta(hours=3))
    assert [name for name, *_ in harbor.shore.asked].count("ring") == 1


# ---- late, off, asleep


def test_a_letter_is_of_use_until_its_local_time_of_the_same_or_the_next_day() -> None:
    """S3. 8 March 2026 in New York is an hour short, so 18:00 to 04:00 is 9 h and not 10."""
    eve = LetterHour("eve", time(18, 0), time(4, 0))
    day, zone = date(2026, 3, 8), "America/New_York"
    assert MORNING.useless_at(day, zone) - MORNING.due_at(day, zone) == timedelta(hours=7.5)
    eve_before = day - timedelta(days=1)
    assert eve.useless_at(eve_before, zone) - eve.due_at(eve_before, zone) == timedelta(hours=9)


def test_a_clock_that_steps_over_the_hour_sends_at_the_next_sweep(harbor: Harbor) -> None:
    """S2: a machine that slept from 03:00 to 06:00. The letter says that it is late."""
    harbor.passes(harbor.sweep(), LETTER_HOUR - 90 * MINUTE, LETTER_HOUR + 90 * MINUTE)
    assert harbor.shore.asked == [("morning", DAY, 0, True, False)]
    assert len(harbor.shore.posted) == 1


def test_a_letter_no_longer_of_use_is_on_record_and_not_sent(harbor: Harbor) -> None:
    """S8."""
    harbor.passes(harbor.sweep(), LETTER_HOUR - 90 * MINUTE, NOON)
    assert harbor.shore.posted == []
    assert harbor.due()[0] == (DAY, 0, "expired")


def test_each_day_the_service_was_off_is_on_record_and_today_gets_one_letter(harbor: Harbor) -> None:
    """S8: off for a week. One letter for today, the others expired with a reason."""
    harbor.passes(harbor.sweep(), LETTER_HOUR)
    harbor.passes(harbor.sweep(), LETTER_HOUR + timedelta(days=7))
    states = [state for _, _, state in harbor.due()]
    assert states == ["written", *["expired"] * 6, "written", "due"]
    assert len(harbor.shore.posted) == 2
    with harbor.stores[0].reading() as session:
        gone = letters.expired_since(session, BOAT, LETTER_HOUR)
    assert all("the service was not running" in one.reason for one in gone)


def test_a_mail_server_that_is_away_all_morning_ends_in_a_record(harbor: Harbor) -> None:
    """M5."""
    harbor.shore.result = Result.RETRY
    minutes = [*range(21), *range(21, 452, 5)]
    harbor.passes(harbor.sweep(), *(LETTER_HOUR + n * MINUTE for n in minutes))
    with harbor.stores[0].reading() as session:
        row = session.scalars(select(RecipientRow)).one()
        (gone,) = letters.expired_since(session, BOAT, LETTER_HOUR)
    assert (row.state, gone.address) == ("expired", SKIPPER)
    assert row.tries == len(harbor.shore.posted) == 18  # at 0, 1, 6, 21 min, then every 30 min up to 441
    assert len(set(harbor.shore.posted)) == 1


# ---- faults


@pytest.mark.parametrize("step", ["poll", "housekeep", "heartbeat"])
def test_a_failing_step_stops_no_other(harbor: Harbor, step: str) -> None:
    """S11."""
    harbor.shore.fails[step] = RuntimeError("broken")
    sweep = harbor.sweep()
    harbor.passes(sweep, LETTER_HOUR, LETTER_HOUR + MINUTE)
    assert len(harbor.shore.posted) == 1
    assert harbor.faults() == {step: 1}


def test_a_fault_note_goes_when_the_step_works_again(harbor: Harbor) -> None:
    harbor.shore.fails["poll"] = RuntimeError("broken")
    harbor.passes(harbor.sweep(), LETTER_HOUR)
    assert harbor.faults() == {"poll": 1}
    harbor.shore.fails.clear()
    harbor.passes(harbor.sweep(), LETTER_HOUR + 31 * MINUTE)
    assert harbor.faults() == {}


def test_a_step_that_hangs_holds_up_no_letter(harbor: Harbor) -> None:
    """S11."""
    harbor.shore.holds["poll"] = threading.Event()

    async def run() -> None:
        sweep = harbor.sweep()
        await sweep.sweep()
        await until(lambda: harbor.shore.posted)
        harbor.shore.holds["poll"].set()
        await sweep.settle()

    asyncio.run(run())
    assert len(harbor.shore.posted) == 1


def test_no_step_is_taken_while_the_database_is_held(harbor: Harbor, monkeypatch: pytest.MonkeyPatch) -> None:
    """D4: neither a mail server nor a source may hold up what others write."""
    met: set[str] = set()

    def look(_: Shore, step: str) -> None:
        with contextlib.closing(sqlite3.connect(harbor.url.removeprefix("sqlite:///"), timeout=5)) as other:
            other.execute("BEGIN IMMEDIATE")
        met.add(step)

    monkeypatch.setattr(Shore, "_meet", look)
    harbor.shore.watch_until = LETTER_HOUR + timedelta(hours=6)
    harbor.passes(harbor.sweep(), LETTER_HOUR, LETTER_HOUR + 16 * MINUTE)
    harbor.passes(harbor.ringing(), LETTER_HOUR + 17 * MINUTE)
    assert met == {"poll", "write", "send", "heartbeat", "housekeep", "recheck", "ring"}


def test_housekeeping_waits_until_all_else_of_the_sweep_is_done(harbor: Harbor) -> None:
    """It reads for long, and no letter, poll or bell is to be slowed by it."""
    harbor.shore.holds["poll"] = threading.Event()

    async def run() -> None:
        sweep = harbor.sweep()
        await sweep.sweep()
        await until(lambda: harbor.shore.posted)
        assert (harbor.shore.polled, harbor.shore.kept) == (1, 0)
        harbor.shore.holds["poll"].set()
        await sweep.settle()

    asyncio.run(run())
    assert harbor.shore.kept == 1


def test_a_backup_is_asked_for_each_hour_and_again_when_it_failed(harbor: Harbor) -> None:
    """D7."""
    harbor.shore.fails["backup"] = RuntimeError("no room")
    sweep = harbor.backing_up()
    harbor.passes(sweep, LETTER_HOUR, LETTER_HOUR + MINUTE, LETTER_HOUR + 61 * MINUTE)
    assert (harbor.shore.backed_up, harbor.shore.kept, len(harbor.shore.posted)) == (2, 1, 1)
    assert harbor.faults() == {"backup": 2}
    harbor.shore.fails.clear()
    harbor.passes(sweep, LETTER_HOUR + 122 * MINUTE)
    assert (harbor.shore.backed_up, harbor.faults()) == (3, {})


def test_no_backup_is_made_by_a_clock_that_was_set_back(harbor: Harbor) -> None:
    sweep = harbor.backing_up()
    harbor.passes(sweep, LETTER_HOUR)
    harbor.passes(sweep, LETTER_HOUR - timedelta(days=2))
    assert harbor.shore.backed_up == 1


def test_a_writer_that_keeps_failing_ends_in_a_plain_no_call(harbor: Harbor) -> None:
    harbor.shore.fails["write"] = RuntimeError("the plan broke; told skipper@example.org")
    sweep = harbor.sweep()
    harbor.passes(sweep, *(LETTER_HOUR + n * MINUTE for n in range(0, 9)))
    assert [ask[0] for ask in harbor.shore.asked] == ["morning"] * 4 + ["failed"]
    assert harbor.clock.now() - LETTER_HOUR <= 10 * MINUTE
    assert b"NO CALL" in harbor.outbox()[0]
    told = harbor.shore.asked[-1][-1]
    assert told == "RuntimeError: the plan broke; told (address)"


def test_only_the_first_try_of_a_letter_tells_what_stands_beside_the_call(harbor: Harbor) -> None:
    harbor.shore.fails["write"] = RuntimeError("broken")
    sweep = harbor.sweep()
    harbor.passes(sweep, LETTER_HOUR)
    harbor.shore.fails.clear()
    harbor.passes(sweep, LETTER_HOUR + 3 * MINUTE)
    assert harbor.shore.alone == [False, True]
    assert len(harbor.shore.posted) == 1


def die_writing(harbor: Harbor, *moments: datetime) -> None:
    """A process takes the letter and is never heard of again."""
    for at in moments:
        with harbor.stores[0].writing() as session:
            assert letters.claim_due(session, BOAT, at, lease_s=120) is not None


def test_the_try_after_a_process_died_leaves_out_what_it_may_have_died_of(harbor: Harbor) -> None:
    harbor.shore.word = "PULL"
    sweep = harbor.sweep()
    harbor.passes(sweep, LETTER_HOUR - MINUTE)
    die_writing(harbor, LETTER_HOUR)
    harbor.passes(sweep, LETTER_HOUR + 3 * MINUTE)
    assert harbor.shore.alone == [True]
    assert b"PULL" in harbor.outbox()[0]


def test_a_letter_that_kills_every_process_ends_in_a_plain_no_call(harbor: Harbor) -> None:
    sweep = harbor.sweep()
    harbor.passes(sweep, LETTER_HOUR - MINUTE)
    die_writing(harbor, *(LETTER_HOUR + 2 * n * MINUTE for n in range(Pace().tries_before_no_call)))
    harbor.passes(sweep, LETTER_HOUR + 9 * MINUTE)
    assert [ask[0] for ask in harbor.shore.asked] == ["failed"]
    assert "ended in each try" in str(harbor.shore.asked[0][-1])
    assert b"NO CALL" in harbor.outbox()[0]


def test_a_plain_letter_that_failed_is_no_reason_not_to_try_the_call_again(harbor: Harbor) -> None:
    """The disk was full, and has room again."""
    harbor.shore.fails.update(write=RuntimeError("full"), write_failed=RuntimeError("full"))
    sweep = harbor.sweep()
    harbor.passes(sweep, *(LETTER_HOUR + 3 * n * MINUTE for n in range(5)))
    harbor.shore.fails.clear()
    harbor.passes(sweep, LETTER_HOUR + 20 * MINUTE)
    assert b"WAIT" in harbor.outbox()[0]


def test_a_writer_that_fails_when_already_late_is_tried_once_more_alone(harbor: Harbor) -> None:
    harbor.shore.fails["write"] = RuntimeError("broken")
    sweep = harbor.sweep()
    harbor.passes(sweep, LETTER_HOUR + 11 * MINUTE)
    assert harbor.outbox() == []
    harbor.passes(sweep, LETTER_HOUR + 14 * MINUTE)
    assert harbor.shore.alone == [False, True]
    assert [ask[0] for ask in harbor.shore.asked] == ["morning", "morning", "failed"]
    assert len(harbor.shore.posted) == 1


def test_what_fails_late_beside_the_call_costs_no_call(harbor: Harbor) -> None:
    harbor.shore.word = "PULL"
    harbor.shore.fails["write"] = RuntimeError("broken")
    sweep = harbor.sweep()
    harbor.passes(sweep, LETTER_HOUR + 11 * MINUTE)
    harbor.shore.fails.clear()
    harbor.passes(sweep, LETTER_HOUR + 14 * MINUTE)
    assert [b"PULL" in message for message in harbor.outbox()] == [True]


def test_a_writer_that_hangs_is_given_up(harbor: Harbor) -> None:
    harbor.shore.holds["write"] = threading.Event()
    harbor.passes(harbor.sweep(pace=Pace(work_limit_s=0.1, tries_before_no_call=1)), LETTER_HOUR)
    assert [ask[0] for ask in harbor.shore.asked] == ["morning", "failed"]
    assert len(harbor.shore.posted) == 1


def test_a_letter_that_cannot_be_stored_counts_as_failed(harbor: Harbor, monkeypatch: pytest.MonkeyPatch) -> None:
    """M6: a letter without a Message-ID is never sent; the plain NO CALL goes in its place."""
    nameless = WrittenLetter("PULL", b"Subject: PULL\r\n\r\nPULL\r\n", (SKIPPER,), None)
    monkeypatch.setattr(harbor.shore, "write", lambda *_, **__: nameless)
    harbor.passes(harbor.sweep(pace=Pace(tries_before_no_call=1)), LETTER_HOUR)
    assert [b"NO CALL" in message for message in harbor.outbox()] == [True]


def test_when_even_the_plain_letter_fails_it_is_tried_again_and_then_on_record(harbor: Harbor) -> None:
    harbor.shore.fails.update(write=RuntimeError("broken"), write_failed=RuntimeError("also broken"))
    sweep = harbor.sweep()
    harbor.passes(sweep, *(LETTER_HOUR + n * 30 * MINUTE for n in range(0, 17)))
    assert harbor.due()[0] == (DAY, 0, "expired")
    with harbor.stores[0].reading() as session:
        (gone,) = letters.expired_since(session, BOAT, LETTER_HOUR)
    assert "broken" in gone.reason
    assert harbor.faults()["compose plain"] > 1


def test_a_sender_that_breaks_off_leaves_the_letter_to_be_tried_again(harbor: Harbor) -> None:
    """M6."""
    harbor.shore.fails["send"] = RuntimeError("a fault of our own")
    sweep = harbor.sweep()
    harbor.passes(sweep, LETTER_HOUR)
    harbor.shore.fails.clear()
    harbor.passes(sweep, LETTER_HOUR + MINUTE)
    assert len(harbor.shore.posted) == 1
    with harbor.stores[0].reading() as session:
        row = session.scalars(select(RecipientRow)).one()
    assert (row.state, row.tries, row.unsure) == ("accepted", 2, 1)


# ---- the first start


def test_at_the_very_first_start_nothing_is_owed_for_an_hour_past_its_use(harbor: Harbor) -> None:
    """A service set up in the evening has not missed that morning's letter."""
    harbor.passes(harbor.sweep(), LETTER_HOUR + timedelta(hours=18))
    with harbor.stores[0].reading() as session:
        rows = session.scalars(select(DueRow)).all()
    assert [(row.day, row.state) for row in rows] == [(DAY + timedelta(days=1), "due")]


# ---- the clock


def test_a_clock_behind_the_newest_row_gets_no_pull(harbor: Harbor) -> None:
    """W11: the machine woke three hours in the past. The writer is told; a PULL it writes anyway is not sent."""
    with harbor.stores[0].writing() as session:
        session.add(NoteRow(name="sweep:Little Grebe", value={}, written_at=LETTER_HOUR + timedelta(hours=3)))
    harbor.shore.word = "PULL"
    sweep = harbor.sweep(pace=Pace(tries_before_no_call=1))
    harbor.passes(sweep, LETTER_HOUR)
    assert harbor.shore.asked[0] == ("morning", DAY, 0, False, True)
    assert b"NO CALL" in harbor.outbox()[0]
    assert all(b"PULL" not in message for message in harbor.outbox())


def test_a_clock_within_two_minutes_of_the_newest_row_is_trusted(harbor: Harbor) -> None:
    """W11."""
    with harbor.stores[0].writing() as session:
        session.add(NoteRow(name="sweep:Little Grebe", value={}, written_at=LETTER_HOUR + 2 * MINUTE))
    harbor.shore.word = "PULL"
    harbor.passes(harbor.sweep(), LETTER_HOUR)
    assert b"PULL" in harbor.outbox()[0]


def test_the_alive_note_never_goes_back(harbor: Harbor) -> None:
    """W11: else a clock set back would soon be trusted again."""
    sweep = harbor.sweep()
    harbor.passes(sweep, LETTER_HOUR - 5 * MINUTE, LETTER_HOUR - 60 * MINUTE)
    assert sweep.clock_is_suspect()


def test_a_clock_set_back_while_the_letter_is_written_gets_no_pull(
    harbor: Harbor, monkeypatch: pytest.MonkeyPatch
) -> None:
    """W11."""
    write = harbor.shore.write

    def set_back(*what: Any, **how: Any) -> WrittenLetter:
        harbor.clock.put(LETTER_HOUR - 10 * MINUTE)
        return write(*what, **how)

    monkeypatch.setattr(harbor.shore, "write", set_back)
    harbor.shore.word = "PULL"
    harbor.passes(harbor.sweep(pace=Pace(tries_before_no_call=1)), LETTER_HOUR)
    assert [b"NO CALL" in message for message in harbor.outbox()] == [True]


def test_each_day_of_a_month_without_the_service_has_a_record(harbor: Harbor) -> None:
    harbor.passes(harbor.sweep(), LETTER_HOUR)
    harbor.passes(harbor.sweep(), LETTER_HOUR + timedelta(days=31))
    assert [state for _, _, state in harbor.due()] == ["written"] + ["expired"] * 30 + ["written", "due"]


def test_a_day_that_a_clock_far_ahead_gave_up_gets_its_letter_still(harbor: Harbor) -> None:
    sweep = harbor.sweep()
    harbor.passes(sweep, LETTER_HOUR, LETTER_HOUR + timedelta(days=40))
    assert harbor.due()[1][2] == "expired"
    harbor.passes(
        sweep, LETTER_HOUR + 60 * MINUTE, LETTER_HOUR + timedelta(days=1), LETTER_HOUR + timedelta(days=3)
    )
    assert [state for _, _, state in harbor.due()[:5]] == ["written", "written", "expired", "written", "due"]


# ---- the watch


def test_the_call_is_watched_from_the_letter_to_landing(harbor: Harbor) -> None:
    harbor.shore.word, harbor.shore.watch_until = "PULL", LETTER_HOUR + 60 * MINUTE
    harbor.passes(harbor.sweep(), *(LETTER_HOUR + n * 5 * MINUTE for n in range(0, 20)))
    checks = [ask for ask in harbor.shore.asked if ask[0] == "recheck"]
    assert checks == [("recheck", DAY, 1, False)] * 3  # at 15, 30 and 45 min; at 60 the boat has landed


def test_a_clock_that_shows_tomorrow_for_a_while_ends_no_watch(harbor: Harbor) -> None:
    """S2: tomorrow's letter is written meanwhile, and has nothing to watch."""
    harbor.shore.word, harbor.shore.watch_until = "PULL", LETTER_HOUR + 300 * MINUTE
    sweep = harbor.sweep()
    harbor.passes(sweep, LETTER_HOUR)
    harbor.shore.word, harbor.shore.watch_until = "NO CALL", None
    harbor.passes(sweep, LETTER_HOUR + timedelta(hours=25))
    harbor.shore.changed = True
    harbor.passes(sweep, LETTER_HOUR + 60 * MINUTE, LETTER_HOUR + 75 * MINUTE, LETTER_HOUR + 90 * MINUTE)
    assert [ask for ask in harbor.shore.asked if ask[0] == "recheck"] == [("recheck", DAY, 1, True)]
    assert harbor.due("changed") == [(DAY, 1, "written")]


def test_a_changed_call_goes_out_at_once_and_once(harbor: Harbor) -> None:
    """A8."""
    harbor.shore.word, harbor.shore.watch_until = "PULL", LETTER_HOUR + 180 * MINUTE
    sweep, other = harbor.sweep(), harbor.sweep()
    harbor.passes(sweep, LETTER_HOUR)
    harbor.shore.changed = True

    async def both() -> None:
        harbor.clock.put(LETTER_HOUR + 15 * MINUTE)
        await asyncio.gather(sweep.sweep(), other.sweep())
        await asyncio.gather(sweep.settle(), other.settle())

    asyncio.run(both())
    assert harbor.shore.posted == ["morning.2026-12-08.0@example.org", "changed.2026-12-08.1@example.org"]
    assert harbor.due("changed") == [(DAY, 1, "written")]


def test_a_call_with_nothing_to_watch_is_not_watched(harbor: Harbor) -> None:
    harbor.passes(harbor.sweep(), *(LETTER_HOUR + n * 15 * MINUTE for n in range(0, 6)))
    assert all(ask[0] != "recheck" for ask in harbor.shore.asked)


def test_a_watch_that_cannot_look_takes_the_call_back(harbor: Harbor) -> None:
    """A standing PULL that nobody can check any more must not stand in silence."""
    harbor.shore.word, harbor.shore.watch_until = "PULL", LETTER_HOUR + 300 * MINUTE
    harbor.shore.fails["recheck"] = RuntimeError("no data")
    harbor.passes(harbor.sweep(), *(LETTER_HOUR + n * 15 * MINUTE for n in range(0, 12)))
    assert [ask[:4] for ask in harbor.shore.asked if ask[0] == "failed"] == [("failed", "changed", DAY, 1)]
    assert b"NO CALL" in harbor.outbox()[1]


def every_two_minutes(since: datetime, minutes: int) -> list[datetime]:
    return [since + n * 2 * MINUTE for n in range(minutes // 2)]


def test_a_look_that_failed_is_made_again_soon(harbor: Harbor) -> None:
    """Four of them a quarter of an hour apart would leave a PULL alone for an hour."""
    harbor.shore.word, harbor.shore.watch_until = "PULL", LETTER_HOUR + 300 * MINUTE
    harbor.shore.fails["recheck"] = RuntimeError("no data")
    harbor.passes(harbor.sweep(), LETTER_HOUR, *every_two_minutes(LETTER_HOUR + 15 * MINUTE, 10))
    assert b"NO CALL" in harbor.outbox()[1]


def test_a_watch_that_cannot_look_takes_each_days_call_back(harbor: Harbor) -> None:
    """What failed yesterday, and was never seen to mend, is not counted as told."""
    harbor.shore.word = "PULL"
    harbor.shore.fails["recheck"] = RuntimeError("no data")
    for day in range(3):
        at = LETTER_HOUR + timedelta(days=day)
        harbor.shore.watch_until = at + 300 * MINUTE
        harbor.passes(harbor.sweep(), at, *every_two_minutes(at + 15 * MINUTE, 10))
    assert harbor.due("changed") == [(DAY + timedelta(days=n), 1, "written") for n in range(3)]


def test_a_call_whose_taking_back_failed_is_taken_back_at_the_next_look(harbor: Harbor) -> None:
    harbor.shore.word, harbor.shore.watch_until = "PULL", LETTER_HOUR + 300 * MINUTE
    harbor.shore.fails.update(recheck=RuntimeError("no data"), write_failed=RuntimeError("full"))
    sweep = harbor.sweep()
    harbor.passes(sweep, LETTER_HOUR, *every_two_minutes(LETTER_HOUR + 15 * MINUTE, 20))
    assert harbor.due("changed") == []
    del harbor.shore.fails["write_failed"]
    harbor.passes(sweep, LETTER_HOUR + 36 * MINUTE)
    assert harbor.due("changed") == [(DAY, 1, "written")]


def die_looking(harbor: Harbor, *moments: datetime) -> None:
    """At each, a process begins to look and is never heard of again."""
    harbor.shore.holds["recheck"] = threading.Event()

    async def dies(at: datetime) -> None:
        harbor.clock.put(at)
        sweep, before = harbor.sweep(), len(harbor.shore.asked)
        await sweep.sweep()
        await until(lambda: len(harbor.shore.asked) > before)
        assert not await sweep.stop(0)

    for at in moments:
        asyncio.run(dies(at))
    harbor.shore.holds.pop("recheck").set()


def test_a_look_that_kills_every_process_takes_the_call_back(harbor: Harbor) -> None:
    harbor.shore.word, harbor.shore.watch_until = "PULL", LETTER_HOUR + 300 * MINUTE
    harbor.passes(harbor.sweep(), LETTER_HOUR)
    tries = Pace().tries_before_no_call
    die_looking(harbor, *(LETTER_HOUR + n * 15 * MINUTE for n in range(1, tries + 1)))
    assert harbor.due("changed") == []
    harbor.passes(harbor.sweep(), LETTER_HOUR + (tries + 1) * 15 * MINUTE)
    assert [ask[0] for ask in harbor.shore.asked[1:]] == ["recheck"] * tries + ["failed"]
    assert "ended in each look" in str(harbor.shore.asked[-1][-1])
    assert b"NO CALL" in harbor.outbox()[1]


def test_looks_that_found_the_call_to_stand_are_not_counted(harbor: Harbor) -> None:
    """Nor is one failure between them."""
    harbor.shore.word, harbor.shore.watch_until = "PULL", LETTER_HOUR + 300 * MINUTE
    sweep = harbor.sweep()
    harbor.passes(sweep, LETTER_HOUR)
    for n in range(1, 12):
        if n % 2:
            harbor.shore.fails["recheck"] = RuntimeError("no data")
        else:
            del harbor.shore.fails["recheck"]
        harbor.passes(sweep, LETTER_HOUR + n * 15 * MINUTE)
    assert len(harbor.outbox()) == 1


# ---- waking and stopping


def test_the_live_job_runs_late_rather_than_never() -> None:
    """S1, S4, S6: read from the scheduler as it runs."""

    async def run() -> None:
        async def wake() -> None:
            return

        scheduler = make_scheduler(wake, 20.0)
        scheduler.start()
        try:
            (job,) = scheduler.get_jobs()
            assert (job.coalesce, job.max_instances, job.misfire_grace_time) == (True, 1, None)
            assert isinstance(job.trigger, IntervalTrigger)
            assert job.trigger.interval == timedelta(seconds=20)
            assert job.trigger.jitter is None
            assert job.trigger.timezone == UTC
            assert isinstance(scheduler._jobstores["default"], MemoryJobStore)
        finally:
            scheduler.shutdown(wait=False)

    asyncio.run(run())


def test_a_clock_set_back_does_not_put_the_scheduler_to_sleep(
    harbor: Harbor, monkeypatch: pytest.MonkeyPatch
) -> None:
    """S2, W11: the scheduler's wall clock goes back three hours; the sweeps go on."""
    back = timedelta()

    class Wall(datetime):
        @classmethod
        def now(cls, tz: tzinfo | None = None) -> datetime:  # type: ignore[override]
            return datetime.now(tz) - back

    monkeypatch.setattr("apscheduler.schedulers.base.datetime", Wall)
    monkeypatch.setattr("apscheduler.triggers.interval.datetime", Wall)

    async def run() -> None:
        nonlocal back
        sweep = harbor.sweep()
        service = asyncio.create_task(run_service([sweep], every_s=0.2, stop_limit_s=10))
        await until(lambda: sweep.woken >= 3)
        back = timedelta(hours=3)
        stepped_at = sweep.woken
        with contextlib.suppress(TimeoutError):
            await until(lambda: sweep.woken >= stepped_at + 4)
        os.kill(os.getpid(), signal.SIGTERM)
        await service
        assert sweep.woken >= stepped_at + 4

    asyncio.run(run())


@pytest.mark.parametrize("every_s", [0.0, -1.0, 30.1, 3600.0])
def test_a_pause_longer_than_half_a_minute_is_refused(every_s: float) -> None:
    """S2."""
    with pytest.raises(ValueError, match="at least every 30 s"):
        make_scheduler(lambda: asyncio.sleep(0), every_s)


def test_no_time_of_day_and_no_jitter_is_left_to_the_scheduler() -> None:
    """S3, S4."""
    users = 0
    for path in PACKAGE.rglob("*.py"):
        text = path.read_text()
        assert re.search(r"CronTrigger|apscheduler\.triggers\.(?!interval)", text) is None, path
        if "from apscheduler" in text:
            users += 1
            assert re.search(r"jitter|add_job\([^)]*['\"]cron|Calendar", text) is None, path
    assert users == 1


def test_stopping_waits_for_the_letter_in_flight_and_claims_no_more(harbor: Harbor) -> None:
    """S7."""

    async def run() -> bool:
        begun, let_go = asyncio.Event(), asyncio.Event()

        async def slow(batch: Sequence[Outgoing]) -> AsyncGenerator[tuple[Outcome, ...], None]:
            begun.set()
            await let_go.wait()
            async with contextlib.aclosing(harbor.shore.send(batch)) as answers:
                async for outcomes in answers:
                    yield outcomes

        sweep = harbor.sweep()
        sweep._parts = replace(sweep._parts, send=slow)
        await sweep.sweep()
        await begun.wait()
        stopping = asyncio.create_task(sweep.stop(10))
        await asyncio.sleep(0.05)
        assert not stopping.done()
        let_go.set()
        ended = await stopping
        harbor.clock.put(LETTER_HOUR + timedelta(days=1))
        await sweep.sweep()
        await sweep.settle()
        return ended

    assert asyncio.run(run())
    assert len(harbor.shore.posted) == 1
    with harbor.stores[0].reading() as session:
        assert session.scalars(select(RecipientRow.state)).all() == ["accepted"]


def test_a_send_that_outlasts_the_stop_is_cut_off_and_taken_up_later(harbor: Harbor) -> None:
    """S7, M6."""

    begun = False

    async def hang(batch: Sequence[Outgoing]) -> AsyncGenerator[tuple[Outcome, ...], None]:
        nonlocal begun
        begun = True
        await asyncio.sleep(60)
        yield ()

    async def run() -> bool:
        sweep = harbor.sweep()
        sweep._parts = replace(sweep._parts, send=hang)
        await sweep.sweep()
        await until(lambda: begun)
        return await sweep.stop(0.05)

    assert not asyncio.run(run())
    harbor.passes(harbor.sweep(), LETTER_HOUR + MINUTE)
    assert len(harbor.shore.posted) == 1


def test_stopping_does_not_wait_for_a_poll(harbor: Harbor) -> None:
    """S7: only letters are worth waiting for."""
    harbor.shore.holds["poll"] = threading.Event()

    async def run() -> bool:
        sweep = harbor.sweep()
        await sweep.sweep()
        await until(lambda: harbor.shore.polled and harbor.shore.posted)
        async with asyncio.timeout(15):
            return await sweep.stop(30)

    assert asyncio.run(run())


def test_a_letter_being_written_at_the_stop_is_free_for_the_next_process_at_once(harbor: Harbor) -> None:
    """S7: without waiting for the lease of the one that was stopped."""
    harbor.shore.holds["write"] = threading.Event()

    async def run() -> bool:
        sweep = harbor.sweep()
        await sweep.sweep()
        await until(lambda: harbor.shore.asked)
        return await sweep.stop(0.05)

    assert not asyncio.run(run())
    harbor.shore.holds.pop("write").set()
    harbor.passes(harbor.sweep(), LETTER_HOUR + timedelta(seconds=1))
    assert len(harbor.shore.posted) == 1


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_the_service_ends_in_order_on_a_signal(harbor: Harbor, number: signal.Signals, tmp_path: Path) -> None:
    """S7, W10: ready after the first sweep, the watchdog fed by the sweep, stopping told."""
    path = tmp_path / "notify"
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as line, pytest.MonkeyPatch.context() as patch:
        line.bind(str(path))
        line.setblocking(False)
        patch.setenv("NOTIFY_SOCKET", str(path))

        async def run() -> bool:
            sweep = harbor.sweep()
            service = asyncio.create_task(run_service([sweep], every_s=0.1, stop_limit_s=10))
            await until(lambda: sweep.woken >= 4 and harbor.shore.posted)
            os.kill(os.getpid(), number)
            return await service

        assert asyncio.run(run())
        told = []
        with contextlib.suppress(BlockingIOError):
            while True:
                told.append(line.recv(100).decode())
    assert told[:2] == ["WATCHDOG=1", "READY=1"]
    assert told.count("STOPPING=1") == 1
    assert told.count("WATCHDOG=1") >= 3
    assert len(harbor.shore.posted) == 1


def test_a_host_that_does_not_read_holds_up_nothing(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """The queue of a datagram socket is short; a blocking send would stop the sweep for good."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as line:
        line.bind(str(tmp_path / "notify"))
        monkeypatch.setenv("NOTIFY_SOCKET", str(tmp_path / "notify"))
        told = threading.Thread(target=lambda: [tell_host("WATCHDOG=1") for _ in range(2000)], daemon=True)
        told.start()
        told.join(20)
        assert not told.is_alive()


def test_telling_a_host_that_does_not_listen_is_no_fault(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.delenv("NOTIFY_SOCKET", raising=False)
    assert tell_host("READY=1") is None
    monkeypatch.setenv("NOTIFY_SOCKET", str(tmp_path / "gone"))
    assert tell_host("READY=1") is None


def test_work_that_hangs_does_not_keep_the_process_alive() -> None:
    """S7."""
    code = (
        "import asyncio, time\n"
        "from soakbell.schedule import in_thread\n"
        "async def run():\n"
        "    try:\n"
        "        async with asyncio.timeout(0.1):\n"
        "            await in_thread(lambda: time.sleep(60))\n"
        "    except TimeoutError:\n"
        "        print('given up')\n"
        "asyncio.run(run())\n"
    )
    ended = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=20, check=False)
    assert (ended.returncode, ended.stdout) == (0, "given up\n")


def test_a_fault_in_a_thread_comes_back_to_the_caller() -> None:
    def broken() -> None:
        raise KeyError("gone")

    with pytest.raises(KeyError):
        asyncio.run(in_thread(broken))


# ---- with a mail server, and the log


def test_a_refused_address_is_told_apart_from_the_one_that_took_the_letter(
    harbor: Harbor, monkeypatch: pytest.MonkeyPatch
) -> None:
    """M4, over SMTP."""
    both = replace(letter("two"), recipients=(SKIPPER, "mate@example.org"))
    monkeypatch.setattr(harbor.shore, "write", lambda *_, **__: both)

    async def run() -> ScriptedSmtp:
        server = ScriptedSmtp({"RCPT": ["250 fine", "550 no such mailbox"]})
        async with server.serving():
            to = SmtpSettings("127.0.0.1", server.port, Security.NONE, "soakbell@example.org", "boat.example.org")
            sweep = harbor.sweep()
            sweep._parts = replace(sweep._parts, send=lambda batch: send_batch(to, batch, clock=harbor.clock))
            await sweep.sweep()
            await sweep.settle()
        return server

    server = asyncio.run(run())
    assert len(server.letters) == 1
    with harbor.stores[0].reading() as session:
        (trouble,) = letters.addresses_in_trouble(session)
    assert (trouble.address, trouble.state) == ("mate@example.org", "refused")


def test_log_lines_are_json_without_addresses_positions_or_secrets(
    harbor: Harbor, caplog: pytest.LogCaptureFixture
) -> None:
    """W9."""
    harbor.shore.fails["poll"] = RuntimeError("GET /points/30.0512,-84.1534 for skipper@example.org failed")
    caplog.set_level(logging.INFO)
    harbor.passes(harbor.sweep(), LETTER_HOUR)
    lines = [JsonLines().format(record) for record in caplog.records if record.name.startswith("soakbell")]
    text = "\n".join(lines)
    assert {json.loads(line)["action"] for line in lines} >= {"written", "sent", "poll"}
    assert all(json.loads(line)["boat"] == BOAT for line in lines)
    for secret in ("skipper", "30.05", "84.15"):
        assert secret not in text
    failed = next(json.loads(line) for line in lines if json.loads(line)["action"] == "poll")
    assert failed["fault"] == "RuntimeError: GET /points/(position) for (address) failed"
    assert any("schedule.py" in frame for frame in failed["trace"])
