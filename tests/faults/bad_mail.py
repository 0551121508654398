"""A mail server on the loopback interface that misbehaves as it is told, connection by connection."""

from __future__ import annotations

import asyncio
import contextlib
import re
import ssl
from collections import Counter
from collections.abc import AsyncIterator, Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from enum import StrEnum

from faults.bad_luck import Chooser, Meeting
from scripted_smtp import HANG, KEEP_AND_DROP, ScriptedSmtp

BANNER_AFTER_S = 0.3
GREYLISTED_FOR = timedelta(minutes=4)
LARGEST_LETTER_BYTES = 16_000_000  # letters with a picture and a track pass the 64 kB of a usual stream
MAIL = "mail"


class MailFault(StrEnum):
    """What may become of one connection. The names stand in ``deploy/FAULTS.md``."""

    STRIPPED = "STARTTLS stripped"
    RCPT_4YZ = "4xx at RCPT"
    RCPT_5YZ = "5xx at RCPT"
    DATA_5YZ = "5xx at DATA"
    CLOSING = "421 at the greeting"
    HANGS = "accepts, then hangs"
    GREYLISTS = "greylisting"
    KEPT_UNSAID = "drop after DATA before the 250"
    SLOW_BANNER = "slow banner"


_MANY = 20
_SCRIPTS: Mapping[MailFault, Mapping[str, Sequence[str]]] = {
    MailFault.RCPT_4YZ: {"RCPT": ["452 4.3.1 insufficient storage"] * _MANY},
    MailFault.RCPT_5YZ: {"RCPT": ["550 5.1.1 no such mailbox"] * _MANY},
    MailFault.DATA_5YZ: {"END": ["554 5.7.1 content refused"] * _MANY},
    MailFault.CLOSING: {"GREETING": ["421 4.3.2 not now"]},
    MailFault.HANGS: {"EHLO": [HANG]},
    MailFault.GREYLISTS: {"RCPT": ["451 4.7.1 greylisted"] * _MANY},
    MailFault.KEPT_UNSAID: {"END": [KEEP_AND_DROP]},
}
_MESSAGE_ID = re.compile(rb"^Message-ID: (<[^>]+>)", re.MULTILINE)


@dataclass(frozen=True)
class Taken:
    """A letter that the server has, whether or not it said so."""

    at: datetime
    addresses: tuple[str, ...]
    message: bytes

    @property
    def message_id(self) -> str:
        found = _MESSAGE_ID.search(self.message)
        assert found is not None
        return found[1].decode()


@dataclass
class BadMail:
    """``choose`` may be changed at any time. ``lines`` are the commands of all connections that ended.

    ``before_answer`` is called when a letter's last byte is in and its answer isn't out.
    """

    now: Callable[[], datetime]
    choose: Chooser[MailFault]
    tls: ssl.SSLContext | None = None
    port: int = 0
    taken: list[Taken] = field(default_factory=list)
    met: list[tuple[datetime, MailFault | None]] = field(default_factory=list)
    lines: list[str] = field(default_factory=list)
    before_answer: Callable[[], None] = lambda: None
    _greylisted_at: datetime | None = None

    @contextlib.asynccontextmanager
    async def serving(self) -> AsyncIterator[BadMail]:
        """Take mail on a free port of 127.0.0.1 until the block ends."""
        talks: set[asyncio.Task[None]] = set()

        async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
            task = asyncio.current_task()
            assert task is not None
            talks.add(task)
            try:
                await self._talk(reader, writer)
            finally:
                writer.transport.abort()
                talks.discard(task)

        server = await asyncio.start_server(serve, "127.0.0.1", 0, limit=LARGEST_LETTER_BYTES)
        self.port = server.sockets[0].getsockname()[1]
        try:
            yield self
        finally:
            server.close()
            for task in list(talks):
                task.cancel()
            await asyncio.gather(*talks, return_exceptions=True)
            await asyncio.sleep(0)  # lets the aborted transports close

    async def _talk(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        fault = self.choose(Meeting(self.now(), MAIL, len(self.met) + 1))
        self.met.append((self.now(), fault))
        if fault is MailFault.SLOW_BANNER:
            await asyncio.sleep(BANNER_AFTER_S)
        if fault is MailFault.GREYLISTS:
            self._greylisted_at = self._greylisted_at or self.now()
            if self.now() - self._greylisted_at >= GREYLISTED_FOR:
                fault = None
        offers_tls = self.tls is not None and fault is not MailFault.STRIPPED
        extensions = ("8BITMIME", "AUTH PLAIN", *(("STARTTLS",) if offers_tls else ()))
        talk = ScriptedSmtp({} if fault is None else _SCRIPTS.get(fault, {}), extensions=extensions, tls=self.tls)
        talk.before_end = self.before_answer
        try:
            await talk.talk(reader, writer)
        finally:
            self.lines += talk.lines
            self.taken += [Taken(self.now(), *letter) for letter in zip(talk.envelopes, talk.letters, strict=True)]

    def copies(self) -> Counter[tuple[str, str]]:
        """(Message-ID, address) -> how often it was taken."""
        return Counter((one.message_id, address) for one in self.taken for address in one.addresses)
