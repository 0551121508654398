"""Runs a boat's service until it is told to stop, or makes one letter to look at."""

from __future__ import annotations

import asyncio
import logging
import sys
import tempfile
from collections.abc import Sequence
from contextlib import ExitStack

from starlette.types import ASGIApp

from soakbell.clock import Clock, SystemClock
from soakbell.due_times import local_day, zone_data_version
from soakbell.errors import Fault, SettingsError, SoakbellError, StoreError
from soakbell.logs import log_to_stderr
from soakbell.page_settings import page_terms_of
from soakbell.schedule import run_service
from soakbell.settings import Settings
from soakbell.web.app import page_app
from soakbell.web.health import health_app, read_health
from soakbell.web.server import PageServer
from soakbell.wiring import House, build, page_house

log = logging.getLogger(__name__)


def run_boat(settings: Settings, *, clock: Clock | None = None) -> bool:
    """Serve until SIGTERM or SIGINT; True if nothing had to be cut off.

    Args:
        clock: the computer's own where None.

    Raises:
        SettingsError: a page's port is taken.
        StoreError: the database can't be used or is being restored.
    """
    log_to_stderr()
    clock = clock or SystemClock()
    return _run(build(settings, clock=clock), clock)


def _run(house: House, clock: Clock) -> bool:
    settings = house.settings
    try:
        with ExitStack() as pages:
            health = health_app(lambda: read_health(house.store, clock.now(), zone_data_version()))
            _serve(pages, health, (str(settings.path), "service.health_port"), settings.service.health_port)
            _serve_page(pages, house, clock)
            return asyncio.run(run_service([house.sweep]))
    finally:
        house.close()


def _serve_page(pages: ExitStack, house: House, clock: Clock) -> None:
    """The phone page, where it is set up and can be served. No letter is lost to it where it can't."""
    terms = page_terms_of(house.settings)
    if terms is None:
        return
    try:
        if isinstance(terms, str):
            raise StoreError(terms)
        # Uploads that are no small ones are spooled there; the system's own folder may lie in memory.
        pages.callback(setattr, tempfile, "tempdir", tempfile.tempdir)
        tempfile.tempdir = str(house.settings.database.parent)
        app = page_app(page_house(house, terms, clock))
        _serve(pages, app, (str(house.settings.page_file), "page.port"), terms.port, terms.host, terms.proxies)
    except SoakbellError as fault:
        log.error("the phone page can't be served: %s", fault)


def _serve(
    pages: ExitStack,
    app: ASGIApp,
    setting: tuple[str, str],
    port: int,
    host: str = "127.0.0.1",
    proxies: Sequence[str] = (),
) -> None:
    try:
        server = PageServer(app, port, host, proxies)
    except OSError as fault:
        found = f"{port}, which can't be had at {host} ({fault.strerror})"
        write = "a port that no other program uses, or 0 for any free one"
        raise SettingsError([Fault(*setting, found, write)]) from fault
    server.start()
    pages.callback(server.stop)


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
