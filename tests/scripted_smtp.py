"""A mail server for tests: answers as told, and keeps every line it got."""

from __future__ import annotations

import asyncio
import contextlib
import ssl
from collections.abc import AsyncIterator, Callable, Mapping, Sequence

HANG = "hang"
DROP = "drop"
KEEP_AND_DROP = "keep and drop"

_WELL = {
    "GREETING": "220 mail.example.org ready",
    "EHLO": "250 mail.example.org",
    "AUTH": "235 welcome",
    "STARTTLS": "220 go ahead",
    "MAIL": "250 sender fine",
    "RCPT": "250 recipient fine",
    "DATA": "354 go on",
    "END": "250 kept",
    "QUIT": "221 bye",
    "NOOP": "250 still here",
}


class ScriptedSmtp:
    """``script`` maps a verb (or GREETING, END for the final dot) to its replies in turn; then all goes well.

    HANG never answers, DROP closes the connection, KEEP_AND_DROP (of END) takes the letter first. ``lines`` holds
    the commands, ``letters`` the bodies that were taken, ``envelopes`` the addresses that each was taken for.
    ``before_end`` is called when a letter's last byte is in.
    """

    def __init__(
        self,
        script: Mapping[str, Sequence[str]] | None = None,
        *,
        extensions: Sequence[str] = ("8BITMIME",),
        tls: ssl.SSLContext | None = None,
        tls_at_once: bool = False,
    ) -> None:
        self._script = {verb: list(replies) for verb, replies in (script or {}).items()}
        self._extensions = extensions
        self._tls = tls
        self._tls_at_once = tls_at_once
        self.lines: list[str] = []
        self.letters: list[bytes] = []
        self.envelopes: list[tuple[str, ...]] = []
        self.before_end: Callable[[], None] = lambda: None
        self.connections = 0
        self.port = 0

    @contextlib.asynccontextmanager
    async def serving(self) -> AsyncIterator[ScriptedSmtp]:
        clients: set[asyncio.Task[None]] = set()

        async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
            task = asyncio.current_task()
            assert task is not None
            clients.add(task)
            try:
                await self.talk(reader, writer)
            finally:
                writer.transport.abort()
                clients.discard(task)

        server = await asyncio.start_server(serve, "127.0.0.1", 0, ssl=self._tls if self._tls_at_once else None)
        self.port = server.sockets[0].getsockname()[1]
        try:
            yield self
        finally:
            server.close()
            for task in list(clients):
                task.cancel()
            await asyncio.gather(*clients, return_exceptions=True)
            await asyncio.sleep(0)  # lets the aborted transports close

    async def talk(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """One connection, until either side has had enough."""
        self.connections += 1
        with contextlib.suppress(ConnectionError, asyncio.IncompleteReadError, ssl.SSLError):
            await self._talk(reader, writer)

    async def _talk(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        taken: list[str] = []
        if not await self._answer(writer, "GREETING"):
            return
        while line := await reader.readline():
            text = line.decode().rstrip("\r\n")
            self.lines.append(text)
            verb = text.split(" ")[0].upper()
            if not await self._answer(writer, verb):
                return
            if verb == "STARTTLS":
                assert self._tls is not None
                await writer.start_tls(self._tls)
            if verb == "MAIL":
                taken.clear()
            if verb == "RCPT" and self._went_well:
                taken.append(text.partition("<")[2].partition(">")[0])
            if verb == "DATA" and self._went_well:
                body = await reader.readuntil(b"\r\n.\r\n")
                self.before_end()
                goes_on = await self._answer(writer, "END")
                if self._went_well:
                    self.letters.append(body)
                    self.envelopes.append(tuple(taken))
                if not goes_on:
                    return
            if verb == "QUIT":
                return

    async def _answer(self, writer: asyncio.StreamWriter, verb: str) -> bool:
        left = self._script.get(verb)
        reply = left.pop(0) if left else _WELL[verb]
        if reply == HANG:
            await asyncio.sleep(3600)
        if reply in (DROP, KEEP_AND_DROP):
            self._went_well = reply == KEEP_AND_DROP
            return False
        self._went_well = reply[0] in "23"
        if verb == "EHLO" and self._went_well:
            told = [reply, *(f"250 {name}" for name in self._extensions)]
            reply = "\r\n".join([*(one.replace("250 ", "250-", 1) for one in told[:-1]), told[-1]])
        writer.write(reply.encode() + b"\r\n")
        await writer.drain()
        return True
