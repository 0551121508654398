"""Runs a boat's service until it is told to stop, or makes one letter to look at."""

from __future__ import annotations

import asyncio
import sys

from starlette.applications import Starlette

from soakbell.clock import Clock, SystemClock
from soakbell.due_times import local_day, zone_data_version
from soakbell.errors import Fault, SettingsError
from soakbell.logs import log_to_stderr
from soakbell.schedule import run_service
from soakbell.settings import Settings
from soakbell.web.health import PageServer, health_app, read_health
from soakbell.wiring import build


def run_boat(settings: Settings, *, clock: Clock | None = None) -> bool:
    """Serve until SIGTERM or SIGINT; True if nothing had to be cut off.

    Args:
        clock: the computer's own where None.

    Raises:
        SettingsError: the health page's port is taken.
        StoreError: the database can't be used.
    """
    log_to_stderr()
    clock = clock or SystemClock()
    house = build(settings, clock=clock)
    try:
        page = health_app(lambda: read_health(house.store, clock.now(), zone_data_version()))
        server = _page_server(page, settings)
        server.start()
        try:
            return asyncio.run(run_service([house.sweep]))
        finally:
            server.stop()
    finally:
        house.close()


def _page_server(page: Starlette, settings: Settings) -> PageServer:
    port = settings.service.health_port
    try:
        return PageServer(page, port)
    except OSError as fault:
        found = f"{port}, which can't be had ({fault.strerror})"
        write = "a port that no other program uses, or 0 for any free one"
        raise SettingsError([Fault(str(settings.path), "service.health_port", found, write)]) from fault


def letter_now(settings: Settings, *, fetch: bool) -> str:
    """Today's letter as text, on what is on hand or, with ``fetch``, on the newest there is. Nothing is kept
    of it and nothing is sent."""
    house = build(settings)
    try:
        if fetch:
            print("asking the sources; one that doesn't answer takes minutes", file=sys.stderr)
            house.desk.sources.poll()
        today = local_day(SystemClock().now(), settings.harbor.time_zone)
        return house.desk.letter_text(today, clock_suspect=house.sweep.clock_is_suspect())
    finally:
        house.close()


def confirm(settings: Settings, station: str) -> tuple[float, float]:
    """Take a station's newest place for its own from now on; gives that place, degrees.

    Raises:
        SettingsError, StoreError: as ``Fetching.confirm_station``.
    """
    house = build(settings)
    try:
        return house.desk.sources.confirm_station(station)
    finally:
        house.close()
