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
import sys
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from multiprocessing.connection import Connection, wait
from multiprocessing.forkserver import ensure_running
from multiprocessing.sharedctypes import Synchronized
from pathlib import Path

import psutil

from faults.steps import Steps
from soakbell.clock import as_utc
from soakbell.feeds.requests_list import PublicServices
from soakbell.feeds.transport import Timeouts, Transport
from soakbell.mail import sender
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

    def sweep(self, *, dies_at: int = 0) -> bool:
        """One sweep and all that it begins; False if the service died of it, as asked by ``dies_at``, in steps."""
        return self._asked(("sweep", dies_at)) is not None

    def held(self) -> Held:
        held = self._asked(("held", 0))
        assert isinstance(held, Held), "the service died when it was asked what it holds"
        return held

    def end(self) -> bool:
        """Stop in order; True if the process ended with 0."""
        self._asked(("stop", 0))
        self._process.join(SWEEP_LIMIT_S)
        return self._process.exitcode == 0

    def kill(self) -> None:
        self._process.kill()
        self._process.join()

    def _asked(self, order: tuple[str, int]) -> object:
        """What the service answers; None if it died."""
        with contextlib.suppress(EOFError, ConnectionError):
            self._line.send(order)
            ready = wait([self._line, self._process.sentinel], SWEEP_LIMIT_S)
            if self._line in ready:
                return self._line.recv()
            if not ready:
                self.kill()
                raise TimeoutError(f"the service did not end a {order[0]} in {SWEEP_LIMIT_S:g} s")
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
    settings = load_settings(file, env={})
    house = build(settings, clock=clock, fetcher=_fetcher(settings, clock), invented=True)
    with asyncio.Runner() as runner:
        while True:
            what, dies_at = line.recv()
            if what == "sweep":
                steps.last = steps.count + dies_at if dies_at else 0
                runner.run(_sweep(house))
                steps.last = 0
                line.send(True)
            elif what == "held":
                line.send(_held(house))
            else:
                runner.run(house.sweep.stop(10.0))
                house.close()
                line.send(True)
                return


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


def _fetcher(settings: Settings, clock: SharedClock) -> Transport:
    services = PublicServices(settings.sources.weather_api, settings.sources.buoys)
    return Transport(
        contact=settings.sources.contact,
        allowed_hosts=services.hosts,
        clock=clock,
        jitter=lambda: 0.5,
        allow_loopback=True,
        timeouts=PATIENCE,
    )
