"""The service of a season, one process a life: all as it is wired, but for a clock that is set and short patience.

The clock is shared: what the service waits for passes for all. ``Life`` is the other end of the line to it.
"""

from __future__ import annotations

import asyncio
import contextlib
import ctypes
import logging
import multiprocessing
import os
import signal
import sys
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from multiprocessing.connection import Connection, wait
from multiprocessing.forkserver import ensure_running
from multiprocessing.sharedctypes import Synchronized
from pathlib import Path
from typing import Any

import psutil

from faults.bad_disk import DiskFault, bad_disk
from faults.season_luck import SET_BACK_BY, LookFault
from faults.steps import Steps
from soakbell.clock import as_utc
from soakbell.desk import Desk
from soakbell.errors import FetchFailed, SoakbellError
from soakbell.feeds.requests_list import PublicServices
from soakbell.feeds.transport import Timeouts, Transport
from soakbell.fetching import Fetching
from soakbell.mail import sender
from soakbell.schedule import Pace
from soakbell.settings import Settings, load_settings
from soakbell.store import engine
from soakbell.wiring import House, build

EPOCH = datetime(2026, 1, 1, tzinfo=UTC)
BUSY_MS = 250
MAIL_PATIENCE_S = 3.0
PATIENCE = Timeouts(connect_s=2.0, read_s=0.6, total_s=0.9)
SWEEP_LIMIT_S = 300.0

_CONTEXT = multiprocessing.get_context("forkserver")


class SharedClock:
    """A clock of all processes that stands until somebody waits or puts it. A service's may be wrong."""

    def __init__(self) -> None:
        self._passed_us: Synchronized[int] = _CONTEXT.Value(ctypes.c_int64, 0)
        self._wrong_us: Synchronized[int] = _CONTEXT.Value(ctypes.c_int64, 0)

    def true_now(self) -> datetime:
        return EPOCH + timedelta(microseconds=self._passed_us.value)

    def now(self) -> datetime:
        """What the service's clock shows."""
        return self.true_now() + self.wrong_by

    def sleep(self, seconds: float) -> None:
        with self._passed_us.get_lock():
            self._passed_us.value += round(seconds * 1e6)

    def passed_s(self) -> float:
        return self._passed_us.value / 1e6

    def put(self, at: datetime) -> None:
        """Not back: what the service waited for has passed."""
        with self._passed_us.get_lock():
            self._passed_us.value = max(self._passed_us.value, (as_utc(at) - EPOCH) // timedelta(microseconds=1))

    @property
    def wrong_by(self) -> timedelta:
        return timedelta(microseconds=self._wrong_us.value)

    @wrong_by.setter
    def wrong_by(self, wrong_by: timedelta) -> None:
        self._wrong_us.value = wrong_by // timedelta(microseconds=1)


@dataclass(frozen=True)
class Hurt:
    """What befalls the service in one sweep.

    Attributes:
        dies_at: after how many of its steps it is killed; 0: never.
        looks: how a look fails.
        full_disk: nothing can be written.
        set_back: the clock is set back by ``SET_BACK_BY`` once the news for a letter is in.
    """

    dies_at: int = 0
    looks: LookFault | None = None
    full_disk: bool = False
    set_back: bool = False


@dataclass
class Swept:
    """What came of one sweep: how many looks failed as told, and of each address that was asked, in order, whether
    its answer came whole."""

    looks_failed: int = 0
    asked: dict[str, list[bool]] = field(default_factory=dict)


@dataclass(frozen=True)
class Held:
    """What a service holds of the log, as text, and its resident memory."""

    gear: str
    books: str
    entries: int
    rss_bytes: int


class Life:
    """One life of the service, from its start to its end or death."""

    def __init__(
        self, settings: Path, clock: SharedClock, log: Path, plant: Callable[[], None] | None = None
    ) -> None:
        """``plant`` is called in the new process before anything is built."""
        _start_fork_server()
        self._line, other = _CONTEXT.Pipe()
        self._process = _CONTEXT.Process(target=_live, args=(other, settings, clock, log, plant), daemon=True)
        self._process.start()
        other.close()

    def sweep(self, hurt: Hurt | None = None) -> Swept | None:
        """One sweep and all that it begins; None if the service died of it."""
        swept = self._asked(hurt or Hurt())
        assert swept is None or isinstance(swept, Swept)
        return swept

    def held(self) -> Held:
        held = self._asked("held")
        assert isinstance(held, Held), "the service died when it was asked what it holds"
        return held

    def end(self) -> bool:
        """Stop in order; True if the process ended with 0."""
        self._asked("stop")
        self._process.join(SWEEP_LIMIT_S)
        return self._process.exitcode == 0

    def kill(self) -> None:
        self._process.kill()
        self._process.join()

    def _asked(self, order: Hurt | str) -> object:
        """What the service answers; None if it died."""
        with contextlib.suppress(EOFError, ConnectionError):
            self._line.send(order)
            ready = wait([self._line, self._process.sentinel], SWEEP_LIMIT_S)
            if self._line in ready:
                return self._line.recv()
            if not ready:
                self.kill()
                raise TimeoutError(f"the service did not end {order} in {SWEEP_LIMIT_S:g} s")
        self._process.join()
        return None


def _start_fork_server() -> None:
    """It imports all that a life needs, so that a life begins at once. It is told this process's path by the
    environment alone."""
    _CONTEXT.set_forkserver_preload(["faults.season_life", "matplotlib.backends.backend_agg"])
    before = os.environ.get("PYTHONPATH")
    os.environ["PYTHONPATH"] = os.pathsep.join(sys.path)
    try:
        ensure_running()
    finally:
        if before is None:
            del os.environ["PYTHONPATH"]
        else:
            os.environ["PYTHONPATH"] = before


def _live(line: Connection, file: Path, clock: SharedClock, log: Path, plant: Callable[[], None] | None) -> None:
    _log_errors_to(log)
    engine.BUSY_MS = BUSY_MS
    sender.CONNECT_TIMEOUT_S = sender.COMMAND_TIMEOUT_S = sender.AFTER_DATA_TIMEOUT_S = MAIL_PATIENCE_S
    if plant is not None:
        plant()
    steps = Steps()
    steps.watch()
    rig = _Rig(clock)
    rig.lay_hands_on()
    settings = load_settings(file, env={})
    house = build(settings, clock=clock, fetcher=_fetcher(settings, clock, rig), invented=True)
    with asyncio.Runner() as runner, bad_disk(house.store) as disk:
        while True:
            order = line.recv()
            if isinstance(order, Hurt):
                rig.hurt, rig.swept = order, Swept()
                steps.last = steps.count + order.dies_at if order.dies_at else 0
                disk.fault = DiskFault.FULL if order.full_disk else None
                runner.run(_sweep(house))
                steps.last = 0
                line.send(rig.swept)
            elif order == "held":
                line.send(_held(house))
            else:
                runner.run(house.sweep.stop(10.0))
                house.close()
                line.send(True)
                return


class _Rig:
    """Makes the work of the desk fail as told, and end where by the clock it would have been given up."""

    def __init__(self, clock: SharedClock) -> None:
        self.hurt, self.swept = Hurt(), Swept()
        self._clock = clock

    def lay_hands_on(self) -> None:
        recheck, poll_if_old = Desk.recheck, Fetching.poll_if_old

        def looked_again(desk: Desk, *args: Any, **named: Any) -> Any:
            if self.hurt.looks is LookFault.DIES:
                os.kill(os.getpid(), signal.SIGKILL)
            if self.hurt.looks is LookFault.FAILS:
                self.swept.looks_failed += 1
                raise SoakbellError("this look fails, as it was told to")
            return recheck(desk, *args, **named)

        def polled(fetching: Fetching, *args: Any, **named: Any) -> None:
            poll_if_old(fetching, *args, **named)
            if self.hurt.set_back and not self._clock.wrong_by:
                self._clock.wrong_by = SET_BACK_BY

        Fetching.poll_if_old = polled  # type: ignore[method-assign]
        Desk.recheck = self._limited(looked_again)  # type: ignore[method-assign]
        Desk.write = self._limited(Desk.write)  # type: ignore[method-assign]

    def _limited(self, work: Callable[..., Any]) -> Callable[..., Any]:
        """As the sweep's own limit, which goes by the computer's clock, where waiting costs nothing."""

        def limited(*args: Any, **named: Any) -> Any:
            began = self._clock.true_now()
            done = work(*args, **named)
            if self._clock.true_now() - began > timedelta(seconds=Pace().work_limit_s):
                raise TimeoutError("it took longer than the sweep allows")
            return done

        return limited

    def note(self, url: str, *, whole: bool) -> None:
        self.swept.asked.setdefault(url, []).append(whole)


class _Noting(Transport):
    """Tells the rig of each exchange whether an answer came."""

    rig: _Rig

    def _exchange(self, url: str, headers: Mapping[str, str], over_s: float) -> Any:
        try:
            answer = super()._exchange(url, headers, over_s)
        except FetchFailed as fault:
            if "no time was left" not in str(fault):
                self.rig.note(url, whole=False)
            raise
        self.rig.note(url, whole=True)
        return answer


def _log_errors_to(file: Path) -> None:
    handler = logging.FileHandler(file)
    handler.setFormatter(logging.Formatter("%(message)s: %(fault)s", defaults={"fault": ""}))
    logging.basicConfig(handlers=[handler], level=logging.ERROR)


async def _sweep(house: House) -> None:
    await house.sweep.sweep()
    await house.sweep.settle()


def _held(house: House) -> Held:
    kept = house.desk.log.now()
    rss_bytes = psutil.Process(os.getpid()).memory_info().rss
    return Held(repr(kept.gear), repr(kept.books), kept.entries, rss_bytes)


def _fetcher(settings: Settings, clock: SharedClock, rig: _Rig) -> Transport:
    services = PublicServices(settings.sources.weather_api, settings.sources.buoys)
    noting = _Noting(
        contact=settings.sources.contact,
        allowed_hosts=services.hosts,
        clock=clock,
        jitter=lambda: 0.5,
        allow_loopback=True,
        timeouts=PATIENCE,
    )
    noting.rig = rig
    return noting
