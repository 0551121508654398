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
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, time, timedelta
from pathlib import Path

from demo.demo_boat import demo_settings
from demo.forecast_server import Asked, ForecastServer, serving
from demo.mail_catcher import Caught, MailCatcher, catching
from demo.season import season_log
from demo.shore import shore_log
from demo.show import Terminal, kind_of, text_of, write_letter
from demo.skipper import Skipper
from demo.weather import FORTNIGHT, Scenario, Weather
from soakbell.call_record import from_record
from soakbell.clock import SetClock
from soakbell.due_times import due_at
from soakbell.feeds.requests_list import PublicServices
from soakbell.feeds.transport import Transport
from soakbell.gear.log import LogEntry
from soakbell.gear.outfit import Outfit
from soakbell.gear_settings import outfit_of
from soakbell.planning.call import Call
from soakbell.settings import Settings
from soakbell.store.calls import last_call
from soakbell.store.log import take_entries
from soakbell.wiring import House, build

OUT = Path(__file__).resolve().parent / "out"

NIGHT_POLLS = (time(0, 25), time(3, 25), time(3, 55), time(4, 25))
MAIL_TRIES_MIN = (0, 2, 8)  # minutes after the letter's hour: a letter put off goes out at the next
BELLS_AT = (time(6, 5), time(9, 5))  # after the quiet hours, and before the supplier's last hour for orders
EVENING_POLLS = (time(17, 25), time(17, 55))
TOLD_AT_NIGHT = time(18, 20)
POLL_BEFORE = timedelta(minutes=5)  # each look; fetching and judging at once would share the set clock by chance
TOLD_AFTER = timedelta(minutes=30)


@dataclass(frozen=True)
class PlayedDay:
    """What a day came to: each call told, in order, the letters that came over SMTP, and when one was put off.

    The letters are those from midnight to the eve letter of its evening; with the first day's, that of the evening
    before too.
    """

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
        outfit = outfit_of(house.settings)
        assert isinstance(outfit, Outfit), outfit
        self._skipper = Skipper(house.desk, outfit, clock)
        self._server = server
        self._catcher = catcher

    async def play_day(self, day: date) -> PlayedDay:
        """From midnight until the eve letter of the evening."""
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
            self._clock.put(max(self._clock.now(), at, calls[-1].window.lands_at + TOLD_AFTER))
            self._tell_log(self._skipper.home(calls[-1]))
        else:
            for clock_time in BELLS_AT:
                await self._sweep(self._moment(day, clock_time), day, calls)
            if calls:
                self._tell_log(self._skipper.ashore(calls[-1]))
        await self._evening(day, calls, self._catcher.caught[letters:])
        return PlayedDay(
            day,
            tuple(calls),
            tuple(self._catcher.caught[letters:]),
            tuple(self._catcher.put_off[put_off:]),
            tuple(self._server.asked[asked:]),
        )

    async def play_eve(self, day: date) -> tuple[Caught, ...]:
        """The evening of ``day`` alone, before the first day."""
        letters = len(self._catcher.caught)
        await self._evening(day, [], ())
        return tuple(self._catcher.caught[letters:])

    async def _evening(self, day: date, calls: list[Call], came: Iterable[Caught]) -> None:
        drafts = [text_of(caught.message) for caught in came if kind_of(caught.message) == "bait-order"]
        self._tell_log(self._skipper.supply(day, drafts))
        due = self._moment(day, self._settings.letters.eve)
        tries = [due + timedelta(minutes=after) for after in MAIL_TRIES_MIN]
        for moment in (*(self._moment(day, at) for at in EVENING_POLLS), *tries):
            await self._sweep(moment, day, calls)
        self._clock.put(max(self._clock.now(), self._moment(day, TOLD_AT_NIGHT)))
        self._tell_log(self._skipper.evening(day))

    def _night(self, day: date) -> Iterator[datetime]:
        yield from (self._moment(day, at) for at in NIGHT_POLLS)
        yield from (self._letter_due(day) + timedelta(minutes=after) for after in MAIL_TRIES_MIN)

    def _letter_due(self, day: date) -> datetime:
        return self._moment(day, self._settings.letters.morning)

    def _moment(self, day: date, at: time) -> datetime:
        return due_at(day, at, self._settings.harbor.time_zone)

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

    def _tell_log(self, entries: Sequence[LogEntry]) -> None:
        if entries:
            take_entries(self._house.store, entries, self._settings.trap_strings, self._clock.now())


async def play(
    scenario: Scenario, days: int, folder: Path, *, after_day: Callable[[PlayedDay], None] = lambda _: None
) -> list[PlayedDay]:
    """Play ``days`` mornings of ``scenario``; database and settings go into ``folder``."""
    weather = Weather(scenario)
    clock = SetClock(due_at(scenario.first_evening, time(17), scenario.zone_name))
    played = []
    with serving(weather, clock.now) as server:
        async with catching(clock.now) as catcher:
            settings = demo_settings(
                folder, services=server.base, mail_port=catcher.port, station=scenario.station
            )
            house = build(settings, clock=clock, fetcher=_fetcher(settings, clock), invented=True)
            try:
                log = [*season_log(settings.trap_strings, scenario.zone_name), *shore_log(scenario.zone_name)]
                take_entries(house.store, log, settings.trap_strings, clock.now())
                player = Player(scenario, house, clock, server, catcher)
                before = await player.play_eve(scenario.first_evening)
                catcher.puts_off = scenario.greylisted
                for number in range(1, days + 1):
                    day = await player.play_day(scenario.first_evening + timedelta(days=number))
                    played.append(replace(day, letters=(*before, *day.letters)))
                    before = ()
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
            written.extend(write_letter(caught.message, asked.out))
        terminal.advance(played)

    with tempfile.TemporaryDirectory(prefix="soakbell-demo-") as folder, terminal.progress():
        played = asyncio.run(play(FORTNIGHT, asked.days, Path(folder), after_day=after_day))
    terminal.tell(played, asked.out, written)
    for fault in faults.told:
        print(f"the service met a fault: {fault}", file=sys.stderr)
    return 1 if faults.told else 0


if __name__ == "__main__":
    sys.exit(main())
