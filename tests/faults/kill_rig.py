"""Kills a service again and again in the midst of one morning, and counts the letters that came through.

The service is any command. It finds in its environment:

RIG_FOLDER  a folder of its own, made ready by ``prepare``, which is told the catcher's port too; ``is_done``
            tells from it whether the letter is marked accepted at both addresses. A service that counts its steps
            leaves the count in a file ``steps`` there.
RIG_PORT    the port of the mail catcher on 127.0.0.1, which may be down
RIG_DUE     local ISO time at which the one letter is due, a minute ago
RIG_ZONE    the zone of that time, in which it is about noon
RIG_BEGAN   the moment at which the point's first life was begun, in seconds as time.time() gives them
RIG_LIFE    0 in the first life, 1 in those after it
RIG_STEP    in some lives: the step at which it is to kill itself

NOTIFY_SOCKET where it says READY=1 once it answers signals (sd_notify)

Each point is one database. Its first life is killed; then it is started anew, with the catcher up, until the
letter is marked and the service is ready; then it gets SIGTERM and must end with 0.
"""

from __future__ import annotations

import asyncio
import contextlib
import os
import random
import re
import shutil
import signal
import socket
import subprocess
import tempfile
import threading
import time
import uuid
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, Envelope
from aiosmtpd.smtp import Session as SmtpSession

PATIENCE_S = 180.0
GLANCE_S = 0.05
BEFORE_250_S = 0.05  # widens the moment in which a letter is taken but its 250 isn't out


@dataclass(frozen=True)
class Plan:
    """One point: how its first life ends, and how it goes on."""

    number: int
    step: int | None
    delay_s: float
    catcher_up_at_first: bool
    rivals: int
    once_taken: bool = False
    """It is killed when the mail server has the letter and hasn't answered."""


@dataclass(frozen=True)
class Point:
    plan: Plan
    killed: bool
    ended: tuple[int, ...]
    letters: Counter[tuple[str, str]]
    """(Message-ID, address) -> how often it arrived."""

    @property
    def lost(self) -> bool:
        return len({address for _, address in self.letters}) < 2

    @property
    def ended_in_order(self) -> bool:
        """SIGTERM was answered with 0."""
        return set(self.ended) == {0}

    @property
    def repeats(self) -> int:
        """Copies of a letter under its Message-ID."""
        return sum(self.letters.values()) - len(self.letters)

    @property
    def strangers(self) -> int:
        """Letters beyond the first Message-ID: a letter written twice."""
        return len({name for name, _ in self.letters}) - 1 if self.letters else 0


class Catcher:
    """A mail server that keeps what it is given. It can be down at first."""

    def __init__(self) -> None:
        self._held = socket.socket()  # bound and not listening: nobody else is given the port meanwhile
        self._held.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        self._held.bind(("127.0.0.1", 0))
        self.port: int = self._held.getsockname()[1]
        self.letters: Counter[tuple[str, str]] = Counter()
        self.taken, self.may_answer = threading.Event(), threading.Event()
        self.may_answer.set()
        self._controller: Controller | None = None

    def up(self) -> None:
        if self._controller is None:
            self._controller = Controller(self, hostname="127.0.0.1", port=self.port)
            self._controller.start()

    def down(self) -> None:
        if self._controller is not None:
            self._controller.stop()
            self._controller = None
        self._held.close()

    async def handle_DATA(self, _server: SMTP, _session: SmtpSession, envelope: Envelope) -> str:
        assert isinstance(envelope.content, bytes)
        found = re.search(rb"^Message-ID: (<[^>]+>)", envelope.content, re.MULTILINE)
        assert found is not None
        for address in envelope.rcpt_tos:
            self.letters[found[1].decode(), str(address)] += 1
        self.taken.set()
        await asyncio.sleep(BEFORE_250_S)
        await asyncio.to_thread(self.may_answer.wait, PATIENCE_S)
        return "250 kept"


@dataclass(frozen=True)
class Life:
    process: subprocess.Popen[bytes]
    line: socket.socket

    def end(self) -> int:
        """Wait until the service says it is ready, tell it to stop, and give how it ended."""
        while self.line.recv(100) != b"READY=1":
            pass
        self.process.send_signal(signal.SIGTERM)
        return self.process.wait(PATIENCE_S)


@dataclass(frozen=True)
class Rig:
    command: Sequence[str]
    prepare: Callable[[Path, int], None]
    is_done: Callable[[Path], bool]
    folder: Path
    has_steps: bool = True
    spread: tuple[float, float] = (0.3, 1.1)
    """Least and longest delay before the kill, in parts of an undisturbed morning."""

    def run(self, points: int, seed: int, workers: int = 2) -> list[Point]:
        """Kill the service at ``points`` points: the second once the letter is taken; where it has steps, every
        other one at a step spread evenly over the morning, the rest after a random delay."""
        steps, took_s = self._undisturbed(workers)
        dice = random.Random(seed)
        plans = [
            Plan(
                number=n,
                step=1 + (n // 2) * steps // max(points // 2, 1) if self.has_steps and n % 2 == 0 else None,
                delay_s=dice.uniform(*self.spread) * took_s,
                catcher_up_at_first=dice.random() < 0.7,
                rivals=2 if dice.random() < 0.2 else 1,
            )
            for n in range(points)
        ]
        plans[1] = replace(plans[1], catcher_up_at_first=True, once_taken=True)
        with ThreadPoolExecutor(workers) as pool:
            return list(pool.map(self._point, plans))

    def _undisturbed(self, workers: int) -> tuple[int, float]:
        """Steps and seconds of a morning that nobody kills, where as many run at once as will be."""
        with ThreadPoolExecutor(workers) as pool:
            mornings = list(pool.map(self._undisturbed_one, [f"undisturbed-{n}" for n in range(workers)]))
        return min(steps for steps, _ in mornings), sum(took_s for _, took_s in mornings) / workers

    def _undisturbed_one(self, name: str) -> tuple[int, float]:
        catcher = Catcher()
        catcher.up()
        began = time.monotonic()
        with self._life(name, catcher.port, time.time()) as life:
            self._await_done(name, life)
            took_s = time.monotonic() - began
            assert life.end() == 0, f"an undisturbed morning must end with 0\n{self._log(name)}"
        catcher.down()
        return int((self.folder / name / "steps").read_text()) if self.has_steps else 0, took_s

    def _point(self, plan: Plan) -> Point:
        name = f"point-{plan.number:03d}"
        catcher = Catcher()
        began = time.time()
        if plan.catcher_up_at_first:
            catcher.up()
        try:
            killed = self._first_life(name, plan, catcher, began)
            catcher.up()
            with contextlib.ExitStack() as lives:
                running = [
                    lives.enter_context(self._life(name, catcher.port, began, first=False))
                    for _ in range(plan.rivals)
                ]
                self._await_done(name, *running)
                ended = tuple(life.end() for life in running)
        finally:
            catcher.may_answer.set()
            catcher.down()
        return Point(plan, killed, ended, catcher.letters)

    def _first_life(self, name: str, plan: Plan, catcher: Catcher, began: float) -> bool:
        """True if it was killed in the midst, False if its morning was done before."""
        if plan.once_taken:
            catcher.may_answer.clear()
        with self._life(name, catcher.port, began, step=plan.step) as living:
            life = living.process
            if plan.once_taken:
                assert catcher.taken.wait(PATIENCE_S), f"{name}: no letter was taken\n{self._log(name)}"
            elif plan.step is None:
                with contextlib.suppress(subprocess.TimeoutExpired):
                    life.wait(plan.delay_s)
            else:
                deadline = time.monotonic() + PATIENCE_S
                while life.poll() is None and not self.is_done(self.folder / name):
                    assert time.monotonic() < deadline, f"{name}: neither killed nor done"
                    time.sleep(GLANCE_S)
            if life.poll() is None:
                life.kill()
                life.wait()
            catcher.may_answer.set()
            assert life.returncode == -signal.SIGKILL, f"{name}: ended by itself with {life.returncode}"
            return not self._is_done_at_rest(name)

    def _is_done_at_rest(self, name: str) -> bool:
        """Read from a copy, so that what a kill left half done is left for the next life to put right."""
        with tempfile.TemporaryDirectory() as folder:
            copy = Path(folder) / name
            shutil.copytree(self.folder / name, copy)
            return self.is_done(copy)

    def _await_done(self, name: str, *lives: Life) -> None:
        deadline = time.monotonic() + PATIENCE_S
        while not self.is_done(self.folder / name):
            assert time.monotonic() < deadline, f"{name}: not done after {PATIENCE_S:.0f} s\n{self._log(name)}"
            alive = any(life.process.poll() is None for life in lives)
            assert alive, f"{name}: ended by itself\n{self._log(name)}"
            time.sleep(GLANCE_S)

    def _log(self, name: str) -> str:
        return (self.folder / name / "log").read_text()[-3000:]

    @contextlib.contextmanager
    def _life(
        self, name: str, port: int, began: float, *, first: bool = True, step: int | None = None
    ) -> Iterator[Life]:
        folder = self.folder / name
        if not folder.exists():
            folder.mkdir(parents=True)
            self.prepare(folder, port)
        zone, due = _noon_somewhere()
        environment = {
            **os.environ,
            "RIG_FOLDER": str(folder),
            "RIG_PORT": str(port),
            "RIG_DUE": due.isoformat(),
            "RIG_ZONE": zone,
            "RIG_BEGAN": str(began),
            "RIG_LIFE": "0" if first else "1",
        }
        if step is not None:
            environment["RIG_STEP"] = str(step)
        with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as line, (folder / "log").open("ab") as log:
            line.bind(f"\0soakbell-rig-{uuid.uuid4()}")
            line.settimeout(PATIENCE_S)
            environment["NOTIFY_SOCKET"] = "@" + line.getsockname()[1:].decode()
            process = subprocess.Popen(self.command, env=environment, stdout=log, stderr=log)
            try:
                yield Life(process, line)
            finally:
                if process.poll() is None:
                    process.kill()
                    process.wait()


_due_lock = threading.Lock()
_due: tuple[str, datetime] | None = None


def _noon_somewhere() -> tuple[str, datetime]:
    """A zone in which it was noon a moment ago, and that local time; the same for the whole run."""
    global _due
    with _due_lock:
        if _due is None:
            now = datetime.now(UTC)
            west = (now.hour - 12) % 24
            zone = f"Etc/GMT+{west}" if west <= 12 else f"Etc/GMT-{24 - west}"
            due = (now - timedelta(minutes=1)).astimezone(ZoneInfo(zone)).replace(tzinfo=None, second=0)
            _due = (zone, due.replace(microsecond=0))
        return _due


def tally(points: Sequence[Point]) -> str:
    """The counts of a run in one line."""
    return (
        f"{len(points)} points: {sum(p.killed for p in points)} killed before the letter was marked, "
        f"{sum(not p.plan.catcher_up_at_first for p in points)} with the mail server down at first, "
        f"{sum(p.plan.rivals > 1 for p in points)} with two services after; "
        f"lost {sum(p.lost for p in points)}, "
        f"repeated under the same Message-ID {sum(p.repeats for p in points)}, "
        f"under another {sum(p.strangers for p in points)}"
    )
