"""A morning of the invented demo world whose replies are all on hand: nothing is fetched."""

from __future__ import annotations

from datetime import datetime, time
from pathlib import Path

from demo.demo_boat import demo_settings
from demo.forecast_server import serving
from demo.season import season_log
from demo.weather import FORTNIGHT, Weather

from soakbell.clock import SetClock
from soakbell.due_times import due_at, local_day
from soakbell.feeds.requests_list import PublicServices
from soakbell.feeds.transport import Ask, Transport
from soakbell.morning import Morning
from soakbell.sea.sources import RawReply
from soakbell.settings import load_settings
from soakbell.store.letters import WrittenLetter
from soakbell.store.log import take_entries
from soakbell.wiring import build


class NoFetch:
    """Stands where the transport does and must never be asked."""

    def fetch(self, ask: Ask) -> RawReply:
        raise AssertionError(f"{ask.url} was asked, though everything is kept")


def fetch_once(folder: Path) -> None:
    """Settings, log and one poll of the invented services into ``folder``."""
    weather = Weather(FORTNIGHT)
    clock = SetClock(due_at(FORTNIGHT.first_evening, time(4, 30), FORTNIGHT.zone_name))
    with serving(weather, clock.now) as server:
        settings = demo_settings(folder, services=server.base, mail_port=1, station=FORTNIGHT.station)
        services = PublicServices(server.base, server.base)
        fetcher = Transport(
            contact=settings.sources.contact,
            allowed_hosts=services.hosts,
            clock=clock,
            jitter=lambda: 0.5,
            allow_loopback=True,
        )
        house = build(settings, clock=clock, fetcher=fetcher, invented=True)
        log = season_log(settings.trap_strings, FORTNIGHT.zone_name)
        take_entries(house.store, log, settings.trap_strings, clock.now())
        house.desk.sources.poll()
        (folder / "at").write_text(clock.now().isoformat())
        house.close()


class KeptMorning:
    """The service's own parts over a folder that ``fetch_once`` filled."""

    def __init__(self, folder: Path) -> None:
        self.clock = SetClock(datetime.fromisoformat((folder / "at").read_text()))
        self.settings = load_settings(folder / "boat.toml", env={})
        self.house = build(self.settings, clock=self.clock, fetcher=NoFetch(), invented=True)
        self.day = local_day(self.clock.now(), self.settings.harbor.time_zone)

    def __enter__(self) -> KeptMorning:
        return self

    def __exit__(self, *_fault: object) -> None:
        self.house.close()

    def call(self) -> Morning:
        return self.house.desk.decide(self.day, clock_suspect=False)

    def letter(self) -> WrittenLetter:
        return self.house.desk.write("morning", self.day, 0, late=False, clock_suspect=False)
