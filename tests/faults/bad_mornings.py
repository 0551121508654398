"""The whole service of one boat, real from sweep to sender, between a forecast and a mail server that misbehave.

INVENTED DATA: the demo's fortnight, in which 8 December is a day to pull, and the demo's log of a season. Gear and
plan are left out of the settings: they are beside the call, and take most of a letter's time.
"""

from __future__ import annotations

import asyncio
import shutil
import ssl
from collections.abc import AsyncIterator, Awaitable, Callable, Iterator, Mapping
from contextlib import asynccontextmanager, contextmanager
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from email import message_from_bytes, policy
from pathlib import Path
from typing import TypeVar

from demo.demo_boat import demo_settings
from demo.season import season_log
from demo.weather import FORTNIGHT, Weather
from sqlalchemy import select

from faults.bad_forecasts import BadForecasts, serving
from faults.bad_luck import scripted
from faults.bad_mail import BadMail, Taken
from soakbell.clock import SetClock
from soakbell.due_times import due_at
from soakbell.errors import FetchFailed
from soakbell.feeds.transport import Timeouts, Transport, _Answer
from soakbell.settings import Settings
from soakbell.store.letters import WrittenLetter
from soakbell.store.log import take_entries
from soakbell.store.schema import DueRow, RecipientRow
from soakbell.wiring import House, build, open_database

T = TypeVar("T")

PULL_DAY = date(2026, 12, 8)
SKIPPER = "skipper@boat.example"
MINUTE = timedelta(minutes=1)


def local(hour: int, minute: int = 0, day: date = PULL_DAY) -> datetime:
    """A moment by the harbor's clock."""
    return due_at(day, time(hour, minute), FORTNIGHT.zone_name)


LETTER_HOUR = local(4, 30)


class AtRealPace(Transport):
    """As patient as where it is installed. A try that hangs takes its whole time, on the clock alone."""

    def _exchange(self, url: str, headers: Mapping[str, str], over_s: float) -> _Answer:
        try:
            return super()._exchange(url, headers, over_s)
        except FetchFailed as fault:
            real = Timeouts()
            hung_s = {"no word": real.read_s, "not done": real.total_s}
            takes_s = sum(s for words, s in hung_s.items() if words in str(fault))
            self._clock.sleep(max(min(takes_s, self._left_s(over_s)), 0.0))
            raise


@dataclass
class Shore:
    """What stands around one boat's service. ``clock`` is the service's own; each ``open`` is a new start.

    ``patience_s``: how long one try of a forecast may take, in real time. ``at_real_pace``: tries and pauses take
    as long on the clock as where it is installed.
    """

    settings: Settings
    clock: SetClock
    forecasts: BadForecasts
    mail: BadMail
    patience_s: float = 20.0
    at_real_pace: bool = False

    @contextmanager
    def open(self) -> Iterator[House]:
        house = build(self.settings, clock=self.clock, fetcher=self._fetcher(), invented=True)
        try:
            yield house
        finally:
            house.close()

    def _fetcher(self) -> Transport:
        """The polite transport, which waits on the set clock."""
        kind = AtRealPace if self.at_real_pace else Transport
        return kind(
            contact=SKIPPER,
            allowed_hosts={"127.0.0.1"},
            clock=self.clock,
            jitter=lambda: 0.5 if self.at_real_pace else 0.0,
            allow_loopback=True,
            timeouts=Timeouts(read_s=self.patience_s / 2, total_s=self.patience_s),
            back_off_s=None if self.at_real_pace else (60.0,),
        )

    async def sweeps(self, house: House, *moments: datetime) -> None:
        """One sweep at each moment, each to its end."""
        for at in moments:
            self.clock.put(at)
            await house.sweep.sweep()
            await house.sweep.settle()

    def subjects(self) -> list[str]:
        return [subject_of(one) for one in self.mail.taken]


@asynccontextmanager
async def a_shore(folder: Path, *, tls: ssl.SSLContext | None = None) -> AsyncIterator[Shore]:
    """Good servers, the letter's hour, settings in ``folder``, and no database yet unless one lies there."""
    clock = SetClock(LETTER_HOUR)
    mail = BadMail(clock.now, scripted())
    with serving(Weather(FORTNIGHT), clock.now, scripted(), tls=tls) as forecasts:
        async with mail.serving():
            settings = demo_settings(
                folder, services=forecasts.base, mail_port=mail.port, station=FORTNIGHT.station
            )
            yield Shore(replace(settings, gear_file=None, plan_file=None), clock, forecasts, mail)


def play(
    folder: Path, story: Callable[[Shore], Awaitable[T]], *, database: Path, tls: ssl.SSLContext | None = None
) -> T:
    """Runs a story on a shore whose boat begins with a copy of ``database``."""

    async def run() -> T:
        async with a_shore(folder, tls=tls) as shore:
            shutil.copy(database, shore.settings.database)
            return await story(shore)

    return asyncio.run(run())


def write_season(folder: Path) -> Path:
    """A database with the demo's log of a season and no letter."""

    async def run() -> Path:
        async with a_shore(folder) as shore:
            store = open_database(shore.settings)
            strings = shore.settings.trap_strings
            take_entries(store, season_log(strings, FORTNIGHT.zone_name), strings, LETTER_HOUR)
            store.close()
            return shore.settings.database

    return asyncio.run(run())


def subject_of(letter: Taken) -> str:
    return str(message_from_bytes(letter.message, policy=policy.default)["Subject"])


def text_of(letter: Taken | WrittenLetter) -> str:
    body = message_from_bytes(letter.message, policy=policy.default).get_body(("plain",))
    assert body is not None
    return " ".join(body.get_content().split())


def addresses(house: House) -> list[tuple[str, str]]:
    """(address, state) of each letter in the outbox, in order."""
    with house.store.reading() as session:
        rows = session.scalars(select(RecipientRow).order_by(RecipientRow.id))
        return [(row.address, row.state) for row in rows]


def mornings(house: House) -> list[tuple[date, str]]:
    """(day, state) of each morning letter that was owed so far."""
    with house.store.reading() as session:
        rows = session.scalars(select(DueRow).where(DueRow.kind == "morning").order_by(DueRow.day))
        return [(row.day, row.state) for row in rows]
