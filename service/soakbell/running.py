"""Runs a boat's service until it is told to stop, or makes one letter to look at."""

from __future__ import annotations

import asyncio
import sys

from soakbell.clock import SystemClock
from soakbell.due_times import local_day, zone_data_version
from soakbell.logs import log_to_stderr
from soakbell.schedule import run_service
from soakbell.settings import Settings
from soakbell.web.health import PageServer, health_app, read_health
from soakbell.wiring import build


def run_boat(settings: Settings) -> bool:
    """Serve until SIGTERM or SIGINT; True if nothing had to be cut off."""
    log_to_stderr()
    house = build(settings)
    clock = SystemClock()
    page = health_app(lambda: read_health(house.store, clock.now(), zone_data_version()))
    server = PageServer(page, settings.service.health_port)
    server.start()
    try:
        return asyncio.run(run_service([house.sweep]))
    finally:
        server.stop()
        house.close()


def letter_now(settings: Settings, *, fetch: bool) -> str:
    """Today's letter as text, on what is on hand or, with ``fetch``, on the newest there is. Nothing is kept
    of it and nothing is sent."""
    house = build(settings)
    try:
        if fetch:
            print("asking the sources; one that doesn't answer takes minutes", file=sys.stderr)
            house.desk.poll()
        return house.desk.letter_text(local_day(SystemClock().now(), settings.harbor.time_zone))
    finally:
        house.close()
