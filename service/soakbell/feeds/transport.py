"""The one fetcher of public data: polite to the services, suspicious of what comes back.

Each try is a connection of its own. That costs a handshake a few times an hour, and buys two checks that a
pool of open connections would escape: the address really reached is looked at before a byte is sent (so a name
that turns to another address between look-up and connection gains nothing), and one timer can hang up the
whole try, however slowly the handshake, the headers or the body drip.

Proxies and ``.netrc`` of the surroundings are not used: behind a proxy the address reached can't be checked.

HTTP: RFC 9110 (Retry-After, conditional requests), RFC 9111 (max-age, no-cache), RFC 9457 (problem reports).
"""

from __future__ import annotations

import ipaddress
import json
import math
import re
import socket
import threading
import zlib
from collections import OrderedDict
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from contextlib import closing, suppress
from contextvars import ContextVar
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from email.utils import parsedate_to_datetime
from types import TracebackType
from typing import Any
from urllib.parse import urljoin

import requests
import urllib3
from requests.adapters import HTTPAdapter
from urllib3.connection import HTTPConnection, HTTPSConnection
from urllib3.connectionpool import HTTPConnectionPool, HTTPSConnectionPool
from urllib3.util import Url, parse_url

from soakbell.clock import Clock
from soakbell.errors import FetchFailed, HostNotFound
from soakbell.sea.sources import RawReply, SourceKind

JSON_TYPES = ("application/geo+json", "application/ld+json", "application/json")

BACK_OFF_S = (3.0, 9.0, 27.0, 81.0)
"""Pauses between five tries, 120 s in all. Jitter only lengthens them, up to half as long again."""

RETRY_AFTER_WAITED_S = 120.0
"""A host that asks for a longer rest ends the fetch at once."""

RETRY_AFTER_BELIEVED_S = 900.0
MAX_AGE_BELIEVED_S = 3600.0
MOST_REDIRECTS = 3
MOST_KEPT = 64

_ETAG = re.compile(r'(W/)?"[\x21\x23-\x7e]*"')
_CHUNK_BYTES = 16_384
_SHOWN = 300  # characters of a service's own words that are quoted in a message
_REDIRECTS = frozenset({301, 302, 303, 307, 308})
_PASSING = frozenset({408, 429})  # client faults that pass by themselves
_DEFAULT_PORTS = {"https": 443, "http": 80}


@dataclass(frozen=True)
class Ask:
    """What to fetch.

    Attributes:
        key: as in RawReply.
        accept: the Accept header. The weather service keeps its cache by it, and without it gives old replies.
        expects: media types that may be read, without parameters.
        fresh: past every cache on the way (``Cache-Control: no-cache``), and the whole reply, never a 304.
        once: one try, however patient the transport is.
        within_s: seconds that all tries may take together; None: as long as the transport's patience lasts.
    """

    kind: SourceKind
    key: str
    url: str
    accept: str
    expects: tuple[str, ...]
    fresh: bool = False
    once: bool = False
    within_s: float | None = None


class UnusableReply(FetchFailed):
    """A reply came that can't be used. ``reply`` holds it for the audit trail."""

    def __init__(self, message: str, *, retry: bool, reply: RawReply) -> None:
        super().__init__(message, retry=retry, status=reply.status)
        self.reply = reply


@dataclass(frozen=True)
class Timeouts:
    """Seconds. ``total_s`` bounds one try from connection to last byte; a look-up of a name comes on top."""

    connect_s: float = 10.0
    read_s: float = 20.0
    total_s: float = 60.0


@dataclass(frozen=True)
class _Kept:
    """A good reply with what allows it to be given again."""

    reply: RawReply
    etag: str | None
    kept_at: datetime
    good_until: datetime

    def stands(self, now: datetime) -> bool:
        return self.kept_at <= now < self.good_until


@dataclass(frozen=True)
class _Answer:
    """One exchange: a status, its headers (names in lower case) and the whole body, unpacked."""

    url: str
    status: int
    headers: Mapping[str, str]
    body: bytes = field(repr=False)

    @property
    def content_type(self) -> str:
        return _plain(self.headers.get("content-type", ""))[:200]


@dataclass
class _Gate:
    """The turn of a host: one request at a time, none before ``opens_at``."""

    lock: threading.Lock = field(default_factory=threading.Lock)
    opens_at: datetime | None = None


class Transport:
    """Fetches what is asked for, or says why not.

    Safe to share among threads; all boats of a process share one, so that a host sees one request at a time.

    Args:
        contact: who runs this copy, an address or a page; stands in the User-Agent.
        allowed_hosts: names without port. Nothing else is ever asked, also not after a redirect.
        jitter: numbers from 0 up to 1 (``random.random``).
        max_body_bytes: of one reply, as sent and as unpacked.
        allow_loopback: plain http, any port and loopback addresses are right too. For the demo and tests.
        spacing_s: least seconds between two requests to one host.
        back_off_s: pauses before each further try of what failed for the moment; none is one try.
    """

    def __init__(
        self,
        *,
        contact: str,
        allowed_hosts: Collection[str],
        clock: Clock,
        jitter: Callable[[], float],
        max_body_bytes: int = 8_000_000,
        allow_loopback: bool = False,
        timeouts: Timeouts | None = None,
        spacing_s: float = 1.0,
        back_off_s: Sequence[float] | None = None,
    ) -> None:
        if not contact.strip() or not contact.isprintable():
            raise ValueError("the services require a contact in every request; give an address or a page")
        self._user_agent = f"soakbell ({contact.strip()})"
        self._hosts = frozenset(host.lower() for host in allowed_hosts)
        self._clock = clock
        self._jitter = jitter
        self._max_body_bytes = max_body_bytes
        self._allow_loopback = allow_loopback
        self._timeouts = timeouts or Timeouts()
        self._back_off_s = BACK_OFF_S if back_off_s is None else tuple(back_off_s)
        self._spacing = timedelta(seconds=spacing_s)
        self._lock = threading.Lock()
        self._gates: dict[str, _Gate] = {}
        self._kept: OrderedDict[tuple[str, ...], _Kept] = OrderedDict()

    def fetch(self, ask: Ask) -> RawReply:
        """The reply to ``ask``: status 200, a media type that was expected, whole.

        A reply the service called good for a while (max-age), or confirms by a 304, is given again as it first
        came, with its first ``fetched_at``: neither makes old data younger.

        Raises:
            UnusableReply: an answer came and can't be used.
            FetchFailed: none came, or it may not be asked for.
        """
        kept = self._kept_for(ask)
        if kept is not None and kept.stands(self._clock.now()):
            return kept.reply
        over_s = math.inf if ask.within_s is None else self._clock.passed_s() + ask.within_s
        pauses = iter(() if ask.once else self._back_off_s)
        while True:
            try:
                return self._try(ask, kept, over_s)
            except FetchFailed as fault:
                pause_s = next(pauses, None) if fault.retry else None
                if pause_s is None:
                    raise
                pause_s *= 1.0 + self._jitter() / 2.0
                rest_s = self._wait_s(self._gate(parse_url(ask.url).netloc or ""))
                if rest_s > RETRY_AFTER_WAITED_S or max(rest_s, pause_s) >= self._left_s(over_s):
                    raise
            self._clock.sleep(pause_s)

    def _left_s(self, over_s: float) -> float:
        return over_s - self._clock.passed_s()

    def _try(self, ask: Ask, kept: _Kept | None, over_s: float) -> RawReply:
        headers = self._headers(ask, kept)
        first = self._checked(ask.url)
        url = first.url
        for _ in range(MOST_REDIRECTS + 1):
            answer = self._in_turn(url, headers, over_s)
            if answer.status not in _REDIRECTS:
                return self._judged(ask, kept, answer, moved=url != first.url)
            url = self._redirected(first, answer)
            headers.pop("If-None-Match", None)  # an ETag belongs to the address that gave it
        raise FetchFailed(f"{_name(first)}: redirected more than {MOST_REDIRECTS} times", retry=False)

    def _headers(self, ask: Ask, kept: _Kept | None) -> dict[str, str]:
        headers = {"User-Agent": self._user_agent, "Accept": ask.accept, "Accept-Encoding": "gzip"}
        if ask.fresh:
            headers["Cache-Control"] = "no-cache"
        elif kept is not None and kept.etag is not None:
            headers["If-None-Match"] = kept.etag
        return headers

    # Where a request may go

    def _checked(self, address: str) -> Url:
        if not address.isascii() or not address.isprintable() or "\\" in address or " " in address:
            raise FetchFailed(f"{_quoted(address)} is no address of a public service", retry=False)
        try:
            url = parse_url(address)
        except urllib3.exceptions.LocationParseError as error:
            raise FetchFailed(f"{_quoted(address)} is no address of a public service", retry=False) from error
        loopback = self._allow_loopback and _is_loopback_name(url.host)
        if url.scheme != "https" and not (url.scheme == "http" and loopback):
            raise FetchFailed(f"{_quoted(address)}: only https is asked", retry=False)
        if url.host not in self._hosts or url.auth is not None:
            raise FetchFailed(f"{_quoted(address)}: not among the hosts in the settings", retry=False)
        if _port(url) != _DEFAULT_PORTS[url.scheme] and not loopback:
            raise FetchFailed(f"{_quoted(address)}: only the usual port is asked", retry=False)
        return url

    def _redirected(self, first: Url, answer: _Answer) -> str:
        target = answer.headers.get("location", "")
        if not target:
            message = f"{_name(first)}: {answer.status} without a Location"
            raise FetchFailed(message, retry=True, status=answer.status)
        try:
            goal = self._checked(urljoin(answer.url, target))
        except (FetchFailed, ValueError) as error:
            message = f"{_name(first)}: redirected to {_quoted(target)}, which is not followed"
            raise FetchFailed(message, retry=False, status=answer.status) from error
        if (goal.scheme, goal.host, _port(goal)) != (first.scheme, first.host, _port(first)):
            message = f"{_name(first)}: redirected to another host, {_quoted(goal.url)}, which is not followed"
            raise FetchFailed(message, retry=False, status=answer.status)
        return goal.url

    # One exchange

    def _in_turn(self, url: str, headers: Mapping[str, str], over_s: float) -> _Answer:
        gate = self._gate(parse_url(url).netloc or "")
        with gate.lock:
            self._wait_turn(gate, url, over_s)
            try:
                answer = self._exchange(url, headers, over_s)
            finally:
                gate.opens_at = self._clock.now() + self._spacing
            rest_s = self._asked_rest_s(answer)
            if rest_s is not None:
                gate.opens_at = max(gate.opens_at, self._clock.now() + timedelta(seconds=rest_s))
            return answer

    def _gate(self, host: str) -> _Gate:
        with self._lock:
            return self._gates.setdefault(host, _Gate())

    def _wait_s(self, gate: _Gate) -> float:
        if gate.opens_at is None:
            return 0.0
        wait_s = (gate.opens_at - self._clock.now()).total_seconds()
        if wait_s > RETRY_AFTER_BELIEVED_S + self._spacing.total_seconds():
            return 0.0  # the clock was set back; no host was promised so long a rest
        return max(wait_s, 0.0)

    def _wait_turn(self, gate: _Gate, url: str, over_s: float) -> None:
        wait_s = self._wait_s(gate)
        if wait_s > max(min(RETRY_AFTER_WAITED_S, self._left_s(over_s)), self._spacing.total_seconds()):
            message = f"{_name(parse_url(url))}: the host asked to be left alone for {wait_s:.0f} s more"
            raise FetchFailed(message, retry=True)
        if wait_s > 0:
            self._clock.sleep(wait_s)

    def _asked_rest_s(self, answer: _Answer) -> float | None:
        """Seconds from Retry-After: a number of them, or a date. None where it isn't given or can't be read."""
        said = answer.headers.get("retry-after", "").strip()
        if answer.status < 300 or not said:
            return None
        if said.isascii() and said.isdigit():
            rest_s = float(said[:9])
        else:
            try:
                until = parsedate_to_datetime(said)
            except ValueError:
                return None
            rest_s = (_utc(until) - self._clock.now()).total_seconds()
        return min(max(rest_s, 0.0), RETRY_AFTER_BELIEVED_S)

    def _exchange(self, url: str, headers: Mapping[str, str], over_s: float) -> _Answer:
        limits = self._timeouts
        where = _name(parse_url(url))
        total_s = min(limits.total_s, self._left_s(over_s))
        if total_s <= 0:
            raise FetchFailed(f"{where}: no time was left to ask it", retry=True)
        too_long = f"{where}: not done after {round(total_s, 1):g} s"
        patience = (min(limits.connect_s, total_s), min(limits.read_s, total_s))
        watch = _Watch(total_s, allow_loopback=self._allow_loopback, where=where)
        try:
            # The adapter without a requests.Session, which would read the body of a redirect whole, however large.
            request = requests.Request("GET", url, headers=dict(headers)).prepare()
            with (
                watch,
                closing(_Adapter()) as adapter,
                adapter.send(request, stream=True, timeout=patience) as response,
            ):
                body = self._read(response, where)
        except (requests.RequestException, urllib3.exceptions.HTTPError, OSError, zlib.error) as error:
            if watch.hung_up:
                raise FetchFailed(too_long, retry=True) from error
            failed = HostNotFound if _is_name_unknown(error) else FetchFailed
            raise failed(f"{where}: {_fault_words(error)}", retry=True) from error
        if watch.hung_up:
            raise FetchFailed(too_long, retry=True)
        told = {name.lower(): value for name, value in response.headers.items()}
        return _Answer(url=url, status=response.status_code, headers=told, body=body)

    def _read(self, response: requests.Response, where: str) -> bytes:
        """The body, counted while it comes, before and after unpacking."""
        coding = response.headers.get("Content-Encoding", "identity").strip().lower()
        if coding not in ("identity", "gzip", "x-gzip"):
            raise FetchFailed(f"{where}: packed as {_quoted(coding)}, which was not asked for", retry=True)
        unpack = None if coding == "identity" else zlib.decompressobj(wbits=31)
        body = bytearray()
        came = 0
        for chunk in response.raw.stream(_CHUNK_BYTES, decode_content=False):
            came += len(chunk)
            room = self._max_body_bytes - len(body) + 1
            body += chunk if unpack is None else unpack.decompress(chunk, room)
            if max(came, len(body)) > self._max_body_bytes:
                raise FetchFailed(f"{where}: larger than {self._max_body_bytes} bytes", retry=False)
        if unpack is not None and came and (not unpack.eof or unpack.unused_data):
            raise FetchFailed(f"{where}: the packed body is cut off or followed by something else", retry=True)
        return bytes(body)

    # What came

    def _judged(self, ask: Ask, kept: _Kept | None, answer: _Answer, *, moved: bool) -> RawReply:
        now = self._clock.now()
        if answer.status == 304 and kept is not None and kept.etag is not None and not (ask.fresh or moved):
            self._keep(ask, replace(kept, kept_at=now, good_until=_good_until(answer, now)))
            return kept.reply
        reply = RawReply(
            kind=ask.kind,
            key=ask.key,
            url=answer.url,
            status=answer.status,
            content_type=answer.content_type,
            body=answer.body,
            fetched_at=now,
        )
        where = _name(parse_url(ask.url))
        if answer.status != 200:
            retry = answer.status >= 500 or answer.status in _PASSING
            message = f"{where}: {answer.status} {_own_words(answer)}".rstrip()
            raise UnusableReply(message, retry=retry, reply=reply)
        if _media_type(answer) not in ask.expects:
            came = _media_type(answer) or "no content type"
            message = f"{where}: expected {' or '.join(ask.expects)}, came {came}: {_start_of(answer.body)}"
            raise UnusableReply(message, retry=True, reply=reply)
        if not answer.body.strip():
            raise UnusableReply(f"{where}: 200 with an empty body", retry=True, reply=reply)
        if not _tells_its_end(answer):
            message = f"{where}: sent without a length, so that a cut can't be told from the end"
            raise UnusableReply(message, retry=True, reply=reply)
        if not moved:
            etag = answer.headers.get("etag", "")
            self._keep(
                ask,
                _Kept(
                    reply=reply,
                    etag=etag if _ETAG.fullmatch(etag) else None,
                    kept_at=now,
                    good_until=_good_until(answer, now),
                ),
            )
        return reply

    def _kept_for(self, ask: Ask) -> _Kept | None:
        with self._lock:
            return None if ask.fresh else self._kept.get(_slot(ask))

    def _keep(self, ask: Ask, kept: _Kept) -> None:
        with self._lock:
            self._kept.pop(_slot(ask), None)
            if kept.etag is not None or kept.good_until > kept.kept_at:
                self._kept[_slot(ask)] = kept
            while len(self._kept) > MOST_KEPT:
                self._kept.popitem(last=False)


# Connections that are looked at before use


class _Watch:
    """Looks at the address that was really reached, and hangs up at the end of the try or of its time.

    The socket is held as a duplicate: shutting down any copy ends the connection, also below TLS.
    """

    def __init__(self, total_s: float, *, allow_loopback: bool, where: str) -> None:
        self._allow_loopback = allow_loopback
        self._where = where
        self._lock = threading.Lock()
        self._socket: socket.socket | None = None
        self._timer = threading.Timer(total_s, self._hang_up)
        self._timer.daemon = True
        self.hung_up = False

    def __enter__(self) -> None:
        self._token = _WATCH.set(self)
        self._timer.start()

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._timer.cancel()
        _WATCH.reset(self._token)
        with self._lock:
            self._end_connection()

    def reached(self, connection: socket.socket) -> None:
        """Called with each new connection before anything is sent."""
        address = connection.getpeername()[0]
        if not _may_be_asked(address, allow_loopback=self._allow_loopback):
            message = f"{self._where}: its name leads to {address}, which is no public address"
            raise FetchFailed(message, retry=True)
        with self._lock:
            if self.hung_up:
                raise TimeoutError("connected too late")
            self._socket = connection.dup()

    def _hang_up(self) -> None:
        with self._lock:
            self.hung_up = True
            self._end_connection()

    def _end_connection(self) -> None:
        if self._socket is not None:
            with self._socket, suppress(OSError):  # the other side may have been quicker
                self._socket.shutdown(socket.SHUT_RDWR)
            self._socket = None


_WATCH: ContextVar[_Watch] = ContextVar("watch")


def _looked_at(connection: socket.socket) -> socket.socket:
    try:
        _WATCH.get().reached(connection)
    except BaseException:
        connection.close()
        raise
    return connection


class _Plain(HTTPConnection):
    def _new_conn(self) -> socket.socket:
        return _looked_at(super()._new_conn())


class _Tls(HTTPSConnection):
    def _new_conn(self) -> socket.socket:
        return _looked_at(super()._new_conn())


class _PlainPool(HTTPConnectionPool):
    ConnectionCls = _Plain


class _TlsPool(HTTPSConnectionPool):
    ConnectionCls = _Tls


class _Adapter(HTTPAdapter):
    def init_poolmanager(self, connections: int, maxsize: int, block: bool = False, **settings: Any) -> None:
        super().init_poolmanager(connections, maxsize, block, **settings)
        self.poolmanager.pool_classes_by_scheme = {"http": _PlainPool, "https": _TlsPool}


def _may_be_asked(address: str, *, allow_loopback: bool) -> bool:
    ip = ipaddress.ip_address(address.partition("%")[0])
    if isinstance(ip, ipaddress.IPv6Address) and ip.ipv4_mapped is not None:
        ip = ip.ipv4_mapped
    if ip.is_loopback:
        return allow_loopback
    return ip.is_global and not ip.is_multicast


# Reading an answer's head


def _slot(ask: Ask) -> tuple[str, ...]:
    return (ask.kind, ask.key, ask.url, ask.accept)


def _good_until(answer: _Answer, now: datetime) -> datetime:
    said: dict[str, str] = {}
    for part in answer.headers.get("cache-control", "").lower().split(","):
        name, _, value = part.strip().partition("=")
        said[name] = value.strip('" ')
    max_age = said.get("max-age", "")
    if "no-store" in said or "no-cache" in said or not _is_count(max_age):
        return now
    age = answer.headers.get("age", "0")
    left_s = float(max_age) - (float(age) if _is_count(age) else 0.0)
    return now + timedelta(seconds=min(max(left_s, 0.0), MAX_AGE_BELIEVED_S))


def _is_count(text: str) -> bool:
    return text.isascii() and text.isdigit() and len(text) < 10


def _tells_its_end(answer: _Answer) -> bool:
    """Whether a cut would have been noticed: by the framing, the packing, or because JSON has an end."""
    framed = "content-length" in answer.headers or "transfer-encoding" in answer.headers
    packed = answer.headers.get("content-encoding", "identity").strip().lower() != "identity"
    return framed or packed or _media_type(answer) in JSON_TYPES


def _media_type(answer: _Answer) -> str:
    return answer.content_type.partition(";")[0].strip().lower()


def _own_words(answer: _Answer) -> str:
    """Title and detail of a problem report, else the start of what came."""
    try:
        problem = json.loads(answer.body)
    except (ValueError, RecursionError):
        return _start_of(answer.body)
    words = [problem.get(part) for part in ("title", "detail")] if isinstance(problem, dict) else []
    told = ": ".join(word for word in words if isinstance(word, str) and word)
    return _quoted(told) if told else _start_of(answer.body)


def _start_of(body: bytes) -> str:
    return _quoted(body[:_SHOWN].decode("utf-8", "replace")) if body.strip() else ""


def _quoted(text: str) -> str:
    plain = _plain(text)
    return f'"{plain if len(plain) <= _SHOWN else plain[:_SHOWN] + "..."}"'


def _plain(text: str) -> str:
    """On one line, without characters that can't be printed: it goes into letters and logs."""
    return "".join(sign for sign in " ".join(text.split()) if sign.isprintable())


def _name(url: Url) -> str:
    return f"{url.netloc}{url.request_uri}"


def _fault_words(error: Exception) -> str:
    if isinstance(error, requests.exceptions.SSLError):
        return "its certificate can't be trusted, or this computer's clock is wrong"
    if isinstance(error, (requests.exceptions.Timeout, urllib3.exceptions.TimeoutError, TimeoutError)):
        return "no word within the time allowed"
    if isinstance(error, urllib3.exceptions.ProtocolError):
        return f"the reply was cut off: {_quoted(str(error))}"
    if isinstance(error, requests.ConnectionError) and isinstance(error.args[0], urllib3.exceptions.MaxRetryError):
        if _is_name_unknown(error):
            return "can't be reached: its name has no address; is this computer online?"
        return f"can't be reached: {_system_words(error)}"
    return f"no good answer: {_quoted(str(error))}"


def _is_name_unknown(error: Exception) -> bool:
    return any(isinstance(cause, socket.gaierror) for cause in _causes(error))


def _system_words(error: Exception) -> str:
    """What the system said of it, without the library's own names."""
    said = [cause.strerror for cause in _causes(error) if isinstance(cause, OSError) and cause.strerror]
    return said[-1] if said else type(error).__name__


def _causes(error: BaseException | None) -> Iterator[BaseException]:
    while error is not None:
        yield error
        error = error.__cause__ or error.__context__


def _port(url: Url) -> int:
    return url.port or _DEFAULT_PORTS.get(url.scheme or "", 0)


def _is_loopback_name(host: str | None) -> bool:
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address((host or "").strip("[]")).is_loopback
    except ValueError:
        return False


def _utc(moment: datetime) -> datetime:
    return moment.replace(tzinfo=UTC) if moment.tzinfo is None else moment.astimezone(UTC)
