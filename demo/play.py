"""Plays invented days through the real service, offline. INVENTED DATA: weather, boat, log and letters.

Run by ``bash demo/run``: a fortnight, or with ``--season-end`` the end of a season. A forecast server and a mail
catcher listen on the loopback interface, the clock is set and stepped, and between them the service does what it
does on any night: it polls, calls, writes, sends and watches. The letters it sent come to the terminal and to
files: each as it came over SMTP (``.eml``), its text and page (``.txt``, ``.html``), its picture, calendar, track
and table (``.png``, ``.ics``, ``.gpx``, ``.csv``). The same story gives the same letters.
"""

from __future__ import annotations

import argparse
import asyncio
import logging
import sys
import tempfile
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, time, timedelta
from pathlib import Path

from demo.demo_boat import demo_settings, take_order
from demo.forecast_server import Asked, ForecastServer, serving
from demo.mail_catcher import Caught, MailCatcher, catching
from demo.season_end import SEASON_END
from demo.show import Terminal, kind_of, text_of, write_letter
from demo.story import WINTER, Story
from demo.weather import Weather
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
AFTERNOON = time(14)
EVENING_POLLS = (time(17, 25), time(17, 55))
LISTS_AT = time(18, 15)  # lists and bells are looked for every quarter of an hour, so also past the eve letter
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
        self,
        story: Story,
        settings: Settings,
        clock: SetClock,
        server: ForecastServer,
        catcher: MailCatcher,
        *,
        at_letter: Callable[[Settings, datetime], None] = lambda *_: None,
    ) -> None:
        self._at_letter = at_letter
        self._story = story
        self._clock = clock
        self._server = server
        self._catcher = catcher
        self._open(settings)
        self._tell_log(story.log(settings))

    def _open(self, settings: Settings) -> None:
        self._settings = settings
        self._house: House = build(
            settings, clock=self._clock, fetcher=_fetcher(settings, self._clock), invented=True
        )
        outfit = outfit_of(settings)
        assert isinstance(outfit, Outfit), outfit
        self._skipper = self._story.skipper(self._house.desk, outfit, self._clock)

    async def stop(self) -> None:
        await self._house.sweep.stop(limit_s=10.0)

    def close(self) -> None:
        self._house.close()

    async def play_day(self, day: date) -> PlayedDay:
        """From midnight until the eve letter of the evening."""
        letters, put_off, asked = len(self._catcher.caught), len(self._catcher.put_off), len(self._server.asked)
        calls: list[Call] = []
        for moment in self._night(day):
            await self._sweep(moment, day, calls)
        self._at_letter(self._settings, self._clock.now())
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
        self._clock.put(max(self._clock.now(), self._moment(day, AFTERNOON)))
        self._tell_log(self._skipper.afternoon(day))
        if day in self._story.orders:
            await self._begin_anew(take_order(self._settings, self._story.orders[day]))
        due = self._moment(day, self._settings.letters.eve)
        tries = [due + timedelta(minutes=after) for after in MAIL_TRIES_MIN]
        for moment in (*(self._moment(day, at) for at in EVENING_POLLS), *tries, self._moment(day, LISTS_AT)):
            await self._sweep(moment, day, calls)
        self._clock.put(max(self._clock.now(), self._moment(day, TOLD_AT_NIGHT)))
        self._tell_log(self._skipper.evening(day))

    async def _begin_anew(self, settings: Settings) -> None:
        """The service stopped and started again, as after any change of its files."""
        await self.stop()
        self.close()
        self._open(settings)

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
    story: Story,
    days: int,
    folder: Path,
    *,
    after_day: Callable[[PlayedDay], None] = lambda _: None,
    at_letter: Callable[[Settings, datetime], None] = lambda *_: None,
    without: Collection[date] = (),
) -> list[PlayedDay]:
    """Play ``days`` mornings of ``story``; database and settings go into ``folder``.

    ``at_letter`` is called each morning once the letter is out, with the settings and the set clock's moment.
    The days ``without`` are passed over: the clock jumps, and the service looks again on the next that is played.
    """
    scenario = story.scenario
    weather = Weather(scenario)
    clock = SetClock(due_at(scenario.first_evening, time(17), scenario.zone_name))
    played = []
    with serving(weather, clock.now) as server:
        async with catching(clock.now) as catcher:
            settings = demo_settings(
                folder,
                services=server.base,
                mail_port=catcher.port,
                station=scenario.station,
                deck_traps=story.deck_traps,
            )
            player = Player(story, settings, clock, server, catcher, at_letter=at_letter)
            try:
                before = await player.play_eve(scenario.first_evening)
                catcher.puts_off = scenario.greylisted
                for number in range(1, days + 1):
                    on = scenario.first_evening + timedelta(days=number)
                    if on in without:
                        continue
                    day = await player.play_day(on)
                    played.append(replace(day, letters=(*before, *day.letters)))
                    before = ()
                    after_day(played[-1])
                await player.stop()
            finally:
                player.close()
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
    parser.add_argument("--season-end", action="store_true", help="play the end of a season")
    parser.add_argument("--days", type=int, metavar="N", help="mornings to play, from 1; left out, all of them")
    parser.add_argument("--out", type=Path, default=OUT, metavar="DIR", help="where the letters go")
    asked = parser.parse_args(arguments)
    story = SEASON_END if asked.season_end else WINTER
    most = story.scenario.days
    days = most if asked.days is None else asked.days
    if not 1 <= days <= most:
        parser.error(f"argument --days: invalid choice: {days} (write 1 to {most})")
    faults = FaultsHeard()
    logger = logging.getLogger("soakbell")
    logger.addHandler(faults)
    logger.propagate = False
    asked.out.mkdir(parents=True, exist_ok=True)
    terminal = Terminal(story, days)
    written: list[Path] = []

    def after_day(played: PlayedDay) -> None:
        for caught in played.letters:
            written.extend(write_letter(caught.message, asked.out))
        terminal.advance(played)

    with tempfile.TemporaryDirectory(prefix="soakbell-demo-") as folder, terminal.progress():
        played = asyncio.run(play(story, days, Path(folder), after_day=after_day))
    terminal.tell(played, asked.out, written)
    for fault in faults.told:
        print(f"the service met a fault: {fault}", file=sys.stderr)
    return 1 if faults.told else 0


if __name__ == "__main__":
    sys.exit(main())
