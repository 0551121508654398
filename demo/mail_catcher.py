"""A mail server on the loopback interface that keeps what it is sent and delivers nothing."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from datetime import datetime

from aiosmtpd.smtp import SMTP, Envelope, Session


@dataclass(frozen=True)
class Caught:
    """One letter as it came over SMTP. ``message`` is every byte between DATA and the final dot."""

    at: datetime
    sender: str
    addresses: tuple[str, ...]
    message: bytes


@dataclass
class MailCatcher:
    """What came in so far. The first ``puts_off`` offers are put off with 451, as greylisting servers do."""

    now: Callable[[], datetime]
    puts_off: int = 0
    caught: list[Caught] = field(default_factory=list)
    put_off: list[datetime] = field(default_factory=list)
    port: int = 0

    async def handle_RCPT(  # noqa: N802 - the name aiosmtpd calls
        self, _server: SMTP, _session: Session, envelope: Envelope, address: str, _options: list[str]
    ) -> str:
        if len(self.put_off) < self.puts_off:
            self.put_off.append(self.now())
            return "451 4.7.1 Greylisted, try again in a minute (invented)"
        envelope.rcpt_tos.append(address)
        return "250 2.1.5 taken"

    async def handle_DATA(self, _server: SMTP, _session: Session, envelope: Envelope) -> str:  # noqa: N802
        body = envelope.content if isinstance(envelope.content, bytes) else (envelope.content or "").encode()
        self.caught.append(Caught(self.now(), envelope.mail_from or "", tuple(envelope.rcpt_tos), body))
        return "250 2.0.0 kept"


@asynccontextmanager
async def catching(now: Callable[[], datetime], *, puts_off: int = 0) -> AsyncIterator[MailCatcher]:
    """Take mail on a free port of 127.0.0.1 until the block ends."""
    loop = asyncio.get_running_loop()
    catcher = MailCatcher(now, puts_off)
    server = await loop.create_server(
        lambda: SMTP(catcher, hostname="catcher.invalid", ident="Soakbell demo", loop=loop), "127.0.0.1", 0
    )
    catcher.port = server.sockets[0].getsockname()[1]
    try:
        yield catcher
    finally:
        server.close()
        await server.wait_closed()
