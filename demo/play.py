"""Plays invented days through the real service, offline. INVENTED DATA: weather, boat, log and letters.

Run by ``bash demo/run``. A forecast server and a mail catcher listen on the loopback interface, the clock is set
and stepped, and between them the service does what it does on any night: it polls, calls, writes, sends and
watches. The letters it sent come to the terminal and to files: each as it came over SMTP (``.eml``), its text and
page (``.txt``, ``.html``), its picture, calendar and track (``.png``, ``.ics``, ``.gpx``). The same scenario gives
the same letters.
"""

from __future__ import annotations

import argparse
import asyncio
import logging
import sys
import tempfile
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from pathlib import Path

from demo.demo_boat import demo_settings
from demo.forecast_server import Asked, ForecastServer, serving
from demo.mail_catcher import Caught, MailCatcher, catching
from demo.season import season_log, told_after_the_trip
from demo.show import Terminal, write_letter
from demo.weather import FORTNIGHT, Scenario, Weather
from soakbell.call_record import from_record
from soakbell.clock import SetClock
from soakbell.due_times import due_at
from soakbell.feeds.requests_list import PublicServices
from soakbell.feeds.transport import Transport
from soakbell.planning.call import Call
from soakbell.settings import Settings
from soakbell.store.calls import last_call
from soakbell.store.log import take_entries
from soakbell.wiring import House, build

OUT = Path(__file__).resolve().parent / "out"

NIGHT_POLLS = (time(0, 25), time(3, 25), time(3, 55), time(4, 25))
MAIL_TRIES_MIN = (0, 2, 8)  # minutes after the letter's hour: a letter put off goes out at the next
POLL_BEFORE = timedelta(minutes=5)  # each look; fetching and judging at once would share the set clock by chance
TOLD_AFTER = timedelta(minutes=30)


@dataclass(frozen=True)
class PlayedDay:
    """What a day came to: each call told, in order, the letters that came over SMTP, and when one was put off."""

    day: date
    calls: tuple[Call, ...]
    letters: tuple[Caught, ...]
    put_off: tuple[datetime, ...]
    asked: tuple[Asked, ...] = field(repr=False)


class FaultsHeard(logging.Handler):
    """Keeps what the service logged as an error: in a demo that went well there is none."""

    def __init__(self) -> None:
        super().__init__(logging.ERROR)
        self.told: list[str] = []

    def emit(self, record: logging.LogRecord) -> None:
        self.told.append(f"{record.getMessage()}: {getattr(record, 'fault', '')}")


class Player:
    """Steps the clock through the days of a scenario and lets the service sweep."""

    def __init__(
        self, scenario: Scenario, house: House, clock: SetClock, server: ForecastServer, catcher: MailCatcher
    ) -> None:
        self._scenario = scenario
        self._house = house
        self._settings = house.settings
        self._clock = clock
        self._server = server
        self._catcher = catcher

    async def play_day(self, day: date) -> PlayedDay:
        """From midnight until the boat is home or its call is WAIT or NO CALL."""
        letters, put_off, asked = len(self._catcher.caught), len(self._catcher.put_off), len(self._server.asked)
        calls: list[Call] = []
        for moment in self._night(day):
            await self._sweep(moment, day, calls)
        at, look_every = self._letter_due(day), timedelta(minutes=self._settings.letters.watch_every_min)
        while calls and calls[-1].window is not None and at < calls[-1].valid_until:
            at += look_every
            await self._sweep(at - POLL_BEFORE, day, calls)
            await self._sweep(at, day, calls)
        if calls and calls[-1].window is not None:
            self._tell_log(calls[-1], at)
        return PlayedDay(
            day,
            tuple(calls),
            tuple(self._catcher.caught[letters:]),
            tuple(self._catcher.put_off[put_off:]),
            tuple(self._server.asked[asked:]),
        )

    def _night(self, day: date) -> Iterator[datetime]:
        zone = self._settings.harbor.time_zone
        yield from (due_at(day, at, zone) for at in NIGHT_POLLS)
        yield from (self._letter_due(day) + timedelta(minutes=after) for after in MAIL_TRIES_MIN)

    def _letter_due(self, day: date) -> datetime:
        return due_at(day, self._settings.letters.morning, self._settings.harbor.time_zone)

    async def _sweep(self, moment: datetime, day: date, calls: list[Call]) -> None:
        self._clock.put(max(self._clock.now(), moment))
        await self._house.sweep.sweep()
        await self._house.sweep.settle()
        with self._house.store.reading() as session:
            record = last_call(session, self._settings.boat.name, day)
        if record is not None:
            call = from_record(record)[0]
            if not calls or call.made_at != calls[-1].made_at:
                calls.append(call)

    def _tell_log(self, call: Call, at: datetime) -> None:
        """The skipper did as the call said, and tells the log so."""
        assert call.window is not None
        self._clock.put(max(self._clock.now(), at, call.window.lands_at + TOLD_AFTER))
        now = self._clock.now()
        take_entries(
            self._house.store, told_after_the_trip(call.window.pulls, now), self._settings.trap_strings, now
        )


async def play(
    scenario: Scenario, days: int, folder: Path, *, after_day: Callable[[PlayedDay], None] = lambda _: None
) -> list[PlayedDay]:
    """Play ``days`` mornings of ``scenario``; database and settings go into ``folder``."""
    weather = Weather(scenario)
    clock = SetClock(due_at(scenario.first_evening, time(18), scenario.zone_name))
    played = []
    with serving(weather, clock.now) as server:
        async with catching(clock.now, puts_off=scenario.greylisted) as catcher:
            settings = demo_settings(
                folder, services=server.base, mail_port=catcher.port, station=scenario.station
            )
            house = build(settings, clock=clock, fetcher=_fetcher(settings, clock), invented=True)
            try:
                log = season_log(settings.trap_strings, scenario.zone_name)
                take_entries(house.store, log, settings.trap_strings, clock.now())
                player = Player(scenario, house, clock, server, catcher)
                for number in range(1, days + 1):
                    played.append(await player.play_day(scenario.first_evening + timedelta(days=number)))
                    after_day(played[-1])
                await house.sweep.stop(limit_s=10.0)
            finally:
                house.close()
    return played


def _fetcher(settings: Settings, clock: SetClock) -> Transport:
    """The polite transport; its waits pass on the set clock, and none of them is left to chance."""
    services = PublicServices(settings.sources.weather_api, settings.sources.buoys)
    return Transport(
        contact=settings.sources.contact,
        allowed_hosts=services.hosts,
        clock=clock,
        jitter=lambda: 0.5,
        allow_loopback=True,
    )


def main(arguments: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(prog="demo/run", description="Plays the service on invented data, offline.")
    parser.add_argument(
        "--days",
        type=int,
        choices=range(1, FORTNIGHT.days + 1),
        metavar="N",
        default=FORTNIGHT.days,
        help=f"mornings to play, 1 to {FORTNIGHT.days}; all of them where it isn't given",
    )
    parser.add_argument("--out", type=Path, default=OUT, metavar="DIR", help="where the letters go")
    asked = parser.parse_args(arguments)
    faults = FaultsHeard()
    logger = logging.getLogger("soakbell")
    logger.addHandler(faults)
    logger.propagate = False
    asked.out.mkdir(parents=True, exist_ok=True)
    terminal = Terminal(FORTNIGHT, asked.days)
    written: list[Path] = []

    def after_day(played: PlayedDay) -> None:
        for caught in played.letters:
            written.extend(write_letter(caught.message, played.day, asked.out))
        terminal.advance(played)

    with tempfile.TemporaryDirectory(prefix="soakbell-demo-") as folder, terminal.progress():
        played = asyncio.run(play(FORTNIGHT, asked.days, Path(folder), after_day=after_day))
    terminal.tell(played, asked.out, written)
    for fault in faults.told:
        print(f"the service met a fault: {fault}", file=sys.stderr)
    return 1 if faults.told else 0


if __name__ == "__main__":
    sys.exit(main())
