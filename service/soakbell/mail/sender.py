"""Letters to the mail server, by SMTP (RFC 5321), with the server's answer for each address kept apart.

A 250 means "accepted by the mail server", not "read". Nothing here keeps state: what was tried and what is to be
tried again lives in the database.
"""

from __future__ import annotations

import contextlib
import ipaddress
import os
import re
from collections.abc import AsyncGenerator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from pathlib import Path

from aiosmtplib import (
    SMTP,
    SMTPConnectError,
    SMTPDataError,
    SMTPException,
    SMTPRecipientRefused,
    SMTPResponseException,
    SMTPSenderRefused,
)
from pydantic import SecretStr

from soakbell.clock import Clock
from soakbell.errors import Fault, MailRefused, SettingsError

# RFC 5321 section 4.5.3.2 asks for minutes per command and ten after the final dot, where a hasty timeout makes
# copies. Connecting and commands are held shorter, as a try that breaks there costs nothing.
CONNECT_TIMEOUT_S = 20.0
COMMAND_TIMEOUT_S = 60.0
AFTER_DATA_TIMEOUT_S = 600.0

QUICK_TRIES_MIN = (1, 5, 15)  # a first 4yz is often greylisting, which lifts within minutes
LATER_TRIES_MIN = 30  # RFC 5321 section 4.5.4.1

_SERVICE_CLOSING = 421
_ADDRESS = re.compile(r"[^\s<>@]+@[^\s<>@]+")


class Security(StrEnum):
    STARTTLS = "starttls"
    TLS = "tls"
    NONE = "none"


@dataclass(frozen=True)
class SmtpSettings:
    """Where letters go out. ``from_address`` is the envelope sender; bounces arrive there: a real mailbox.

    Raises:
        SettingsError: no TLS to a server that isn't this computer, or a password that would travel without TLS.
    """

    host: str
    port: int
    security: Security
    from_address: str
    ehlo_hostname: str
    username: str | None = None
    password: SecretStr | None = None
    ca_file: Path | None = None

    def __post_init__(self) -> None:
        faults = tuple(self._faults())
        if faults:
            raise SettingsError(faults)

    def _faults(self) -> list[Fault]:
        faults = []
        if self.security is Security.NONE and not _is_loopback(self.host):
            faults.append(Fault("mail", "security", "none", "starttls or tls; none is for this computer alone"))
        if self.security is Security.NONE and self.username is not None:
            faults.append(Fault("mail", "username", "a login without TLS", "starttls or tls, or no username"))
        if (self.username is None) != (self.password is None):
            faults.append(Fault("mail", "username", "only one of username and password", "both, or neither"))
        if _ADDRESS.fullmatch(self.from_address) is None or not self.from_address.isascii():
            faults.append(Fault("mail", "from_address", repr(self.from_address), "one address, name@example.org"))
        return faults


def _is_loopback(host: str) -> bool:
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


@dataclass(frozen=True)
class Outgoing:
    """One letter and the addresses that still wait for it. ``letter`` is the caller's name for it."""

    letter: int
    message: bytes
    addresses: tuple[str, ...]


class Result(StrEnum):
    ACCEPTED = "accepted"
    REFUSED = "refused"
    RETRY = "retry"
    UNSURE = "unsure"
    """Broken between DATA and its reply: sent or not, unknown."""
    UNTRIED = "untried"
    """The connection broke at an earlier letter of the batch, before this one's turn."""


@dataclass(frozen=True)
class Outcome:
    """What became of one letter at one address. ``reply`` is the server's, or what broke."""

    letter: int
    address: str
    result: Result
    reply: str
    at: datetime


def next_try(tries: int, now: datetime, useless_at: datetime) -> datetime | None:
    """When to try again after ``tries`` tries, the last at ``now``; None when that is too late to be of use.

    Quick tries after 1, 5 and 15 minutes, then every 30 minutes (RFC 5321 section 4.5.4.1).
    """
    wait_min = QUICK_TRIES_MIN[tries - 1] if 1 <= tries <= len(QUICK_TRIES_MIN) else LATER_TRIES_MIN
    at = now + timedelta(minutes=wait_min)
    return at if at < useless_at else None


async def send_batch(
    settings: SmtpSettings, letters: Sequence[Outgoing], *, clock: Clock
) -> AsyncGenerator[tuple[Outcome, ...], None]:
    """Send letters over one connection; gives the outcomes of each letter as soon as they are known.

    Each letter has one envelope for all its addresses. After any fault the connection is closed and the letters
    not begun come back untried. Every address of every letter gets exactly one outcome; nothing is raised for
    what a server or network does.
    """
    if not letters:
        return
    client = _client(settings)
    left = list(letters)
    try:
        try:
            await client.connect(timeout=CONNECT_TIMEOUT_S)
            if client.is_ehlo_or_helo_needed:
                await client.ehlo()
        except (SMTPException, OSError, ValueError) as fault:
            for letter in letters:
                yield _rest(letter, {}, Result.RETRY, _told(fault), clock)
            return
        usable = True
        while left and usable:
            outcomes, usable = await _send_one(client, settings, left.pop(0), clock)
            yield outcomes
        if usable:
            with contextlib.suppress(SMTPException, OSError):
                await client.quit()
    finally:
        client.close()
    for letter in left:
        yield _rest(letter, {}, Result.UNTRIED, "the connection was closed before this letter's turn", clock)


async def greet(settings: SmtpSettings) -> str:
    """Connect, log in where a login is set, and leave: what the server says to that. Sends no letter.

    Raises:
        MailRefused: the server can't be reached or doesn't take us.
    """
    client = _client(settings)
    try:
        await client.connect(timeout=CONNECT_TIMEOUT_S)
        reply = await client.noop()
        await client.quit()
    except (SMTPException, OSError) as fault:
        permanent = isinstance(fault, SMTPResponseException) and _result_of(fault.code) is Result.REFUSED
        raise MailRefused(_told(fault), permanent=permanent) from fault
    finally:
        client.close()
    return f"{reply.code} {reply.message}"


def _client(settings: SmtpSettings) -> SMTP:
    return SMTP(
        hostname=settings.host,
        port=settings.port,
        username=settings.username,
        password=None if settings.password is None else settings.password.get_secret_value(),
        local_hostname=settings.ehlo_hostname,
        timeout=COMMAND_TIMEOUT_S,
        use_tls=settings.security is Security.TLS,
        start_tls=settings.security is Security.STARTTLS,
        cert_bundle=None if settings.ca_file is None else str(settings.ca_file),
    )


async def _send_one(
    client: SMTP, settings: SmtpSettings, letter: Outgoing, clock: Clock
) -> tuple[tuple[Outcome, ...], bool]:
    """The outcomes of one letter, and whether the connection may carry another."""
    known: dict[str, Outcome] = {}
    try:
        await client.mail(settings.from_address, options=_mail_options(client, letter.message))
        for address in letter.addresses:
            refusal = await _offer(client, address)
            if refusal is not None:
                known[address] = Outcome(letter.letter, address, *refusal, clock.now())
    except SMTPSenderRefused as fault:
        return _rest(letter, {}, _result_of(fault.code), _told(fault), clock), False
    except (SMTPException, OSError) as fault:
        return _rest(letter, known, Result.RETRY, _told(fault), clock), False
    if len(known) == len(letter.addresses):
        return _rest(letter, known, Result.RETRY, "", clock), False
    result, reply = await _data(client, letter.message)
    return _rest(letter, known, result, reply, clock), result is Result.ACCEPTED


def _mail_options(client: SMTP, message: bytes) -> list[str]:
    return ["BODY=8BITMIME"] if not message.isascii() and client.supports_extension("8bitmime") else []


async def _offer(client: SMTP, address: str) -> tuple[Result, str] | None:
    """None if the server takes the address, else why not."""
    if _ADDRESS.fullmatch(address) is None:
        return Result.REFUSED, "not an address that can be sent to"
    try:
        await client.rcpt(address)
    except SMTPRecipientRefused as fault:
        if fault.code == _SERVICE_CLOSING:
            raise
        return _result_of(fault.code), _told(fault)
    except ValueError:
        return Result.REFUSED, "not an address that can be sent to"
    return None


async def _data(client: SMTP, message: bytes) -> tuple[Result, str]:
    try:
        reply = await client.data(message, timeout=AFTER_DATA_TIMEOUT_S)
    except SMTPDataError as fault:
        return _result_of(fault.code), _told(fault)
    except (SMTPException, OSError) as fault:
        return Result.UNSURE, _told(fault)
    return Result.ACCEPTED, f"{reply.code} {reply.message}"


def _result_of(code: int) -> Result:
    """RFC 5321 section 4.2.1: 5yz is permanent, all other refusals may be tried again."""
    return Result.REFUSED if 500 <= code <= 599 else Result.RETRY


def _told(fault: Exception) -> str:
    if isinstance(fault, SMTPResponseException):
        return f"{fault.code} {fault.message}"
    reached = fault.__cause__ if isinstance(fault, SMTPConnectError) else None
    if isinstance(reached, OSError) and reached.strerror:
        number = reached.errno or 0  # negative for the look-up of a name, whose text is good as it is
        return f"can't be reached: {os.strerror(number) if number > 0 else reached.strerror}"
    return f"{type(fault).__name__}: {fault}"


def _rest(
    letter: Outgoing, known: dict[str, Outcome], result: Result, reply: str, clock: Clock
) -> tuple[Outcome, ...]:
    now = clock.now()
    return tuple(
        known.get(address) or Outcome(letter.letter, address, result, reply, now) for address in letter.addresses
    )
