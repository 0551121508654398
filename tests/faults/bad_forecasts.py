"""The demo's forecast server, misbehaving as it is told. Loopback only; all weather is invented."""

from __future__ import annotations

import contextlib
import gzip
import json
import socket
import ssl
import struct
import threading
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from enum import StrEnum
from functools import cache
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

from demo.forecast_server import GEO, Answer, Services
from demo.weather import Weather

from faults.bad_luck import Chooser, Meeting
from soakbell.feeds.transport import Timeouts

OLD_BY = timedelta(hours=20)  # the least of the ages on record, https://github.com/weather-gov/api/issues/71
REST_S = 40
DRIP_EVERY_S = 0.02
BOMB_BYTES = 16_000_000  # twice what the transport takes


class ForecastFault(StrEnum):
    """What may become of one request. The names stand in ``deploy/FAULTS.md``."""

    DRIP = "slow drip"
    SILENCE = "no answer"
    RESET = "reset in the body"
    WRONG_LENGTH = "wrong length"
    BOMB = "gzip bomb"
    ODD_SCHEME = "redirect to an odd scheme"
    ELSEWHERE = "redirect to another host"
    RING = "ring of redirects"
    BUSY = "429 with Retry-After"
    FAILS = "500"
    UNAVAILABLE = "503"
    OLD = "old reply with status 200"
    CUT_TEXT = "cut text of the right length"
    NOTHING_TOLD = "list that is no list"
    HTML = "HTML with status 200"


WAITED_S = {ForecastFault.SILENCE: Timeouts().read_s, ForecastFault.DRIP: Timeouts().total_s}
"""For what the service waits at its real pace."""

EXPIRED_TLS = "expired certificate"
"""Of the whole server, by ``serving(..., tls=...)``."""

_PAGE = b"<!doctype html><title>Down for repair</title><p>Back soon.</p>"
_NO_LIST = json.dumps({"type": "FeatureCollection", "features": {}}).encode()
_OTHER_NAME = "localhost"
_EMPTY = Answer(302, "text/plain", b"")
F = ForecastFault


@dataclass(frozen=True)
class Asked:
    """One request, and what went wrong with it."""

    at: datetime
    host: str
    path: str
    fault: ForecastFault | None


@dataclass
class BadForecasts:
    """The running server. ``base`` is its address. ``choose`` may be changed at any time.

    ``let_go`` ends what drips and hangs.
    """

    base: str
    choose: Chooser[ForecastFault]
    asked: list[Asked] = field(default_factory=list)
    let_go: threading.Event = field(default_factory=threading.Event)
    _nth: Counter[str] = field(default_factory=Counter)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def meet(self, at: datetime, host: str, path: str) -> ForecastFault | None:
        with self._lock:
            self._nth[path] += 1
            elsewhere = host.startswith(_OTHER_NAME)
            fault = None if elsewhere else self.choose(Meeting(at, path, self._nth[path]))
            self.asked.append(Asked(at, host, path, fault))
        return fault


@contextmanager
def serving(
    weather: Weather,
    now: Callable[[], datetime],
    choose: Chooser[ForecastFault],
    *,
    tls: ssl.SSLContext | None = None,
    passes: Callable[[float], None] = lambda _seconds: None,
) -> Iterator[BadForecasts]:
    """Answer on a free port of 127.0.0.1 until the block ends. ``passes`` is told what a request without an end
    takes at the real pace, in seconds."""
    services = Services(weather)

    class Handler(BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"

        def do_GET(self) -> None:
            at = now()
            fault = bad.meet(at, self.headers["Host"], self.path)
            if fault in WAITED_S:
                passes(WAITED_S[fault])
            with contextlib.suppress(OSError):  # a client that hangs up is the point of several faults
                _misbehave(self, fault, _answer(services, self.path, at, fault), bad.let_go)
            self.close_connection = True

        def log_message(self, format: str, *args: Any) -> None:
            """Nothing on the terminal: ``asked`` is the record."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    server.daemon_threads = True
    server.handle_error = lambda request, address: None  # type: ignore[method-assign]
    if tls is not None:
        server.socket = tls.wrap_socket(server.socket, server_side=True, do_handshake_on_connect=False)
    scheme = "http" if tls is None else "https"
    bad = BadForecasts(f"{scheme}://127.0.0.1:{server.server_address[1]}", choose)
    runner = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True)
    runner.start()
    try:
        yield bad
    finally:
        bad.let_go.set()
        server.shutdown()
        runner.join()
        server.server_close()


def _answer(services: Services, path: str, at: datetime, fault: ForecastFault | None) -> Answer:
    match fault:
        case F.OLD:
            return services.answer(path, at - OLD_BY)
        case F.FAILS:
            return Answer(500, "text/plain", b"Internal Server Error")
        case F.UNAVAILABLE:
            told = {"title": "Forecast Grid Expired", "status": 503, "detail": "Nothing newer (invented)."}
            return Answer(503, "application/problem+json", json.dumps(told).encode())
        case F.BUSY:
            return Answer(429, "text/plain", b"Too Many Requests")
        case F.NOTHING_TOLD:
            return Answer(200, GEO, _NO_LIST)
        case F.HTML:
            return Answer(200, "text/html", _PAGE)
        case F.BOMB:
            return replace(services.answer(path, at), body=_bomb())
        case F.CUT_TEXT:
            whole = services.answer(path, at)
            return replace(whole, body=whole.body[: len(whole.body) // 2])
        case F.ODD_SCHEME | F.ELSEWHERE | F.RING:
            return _EMPTY
        case _:
            return services.answer(path, at)


def _misbehave(
    handler: BaseHTTPRequestHandler, fault: ForecastFault | None, answer: Answer, let_go: threading.Event
) -> None:
    if fault is F.SILENCE:
        let_go.wait()
        return
    said = {"Content-Type": answer.media_type, "Content-Length": str(len(answer.body))}
    if fault is F.WRONG_LENGTH:
        said["Content-Length"] = str(len(answer.body) + 100)
    if fault is F.BOMB:
        said["Content-Encoding"] = "gzip"
    if fault is F.BUSY:
        said["Retry-After"] = str(REST_S)
    goal = _goal(handler, fault)
    if goal is not None:
        said["Location"] = goal
    handler.send_response_only(answer.status)
    for name, value in said.items():
        handler.send_header(name, value)
    handler.end_headers()
    if fault is F.DRIP:
        _drip(handler, answer.body, let_go)
    elif fault is F.RESET:
        handler.wfile.write(answer.body[: len(answer.body) // 2])
        handler.connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
        handler.connection.close()
    else:
        handler.wfile.write(answer.body)


def _goal(handler: BaseHTTPRequestHandler, fault: ForecastFault | None) -> str | None:
    """Where a redirect leads. The other host is this server by another name, and would answer well."""
    port = handler.server.server_address[1]
    match fault:
        case F.ODD_SCHEME:
            return "file:///etc/hostname"
        case F.ELSEWHERE:
            return f"http://{_OTHER_NAME}:{port}{handler.path}"
        case F.RING:
            return handler.path
        case _:
            return None


def _drip(handler: BaseHTTPRequestHandler, body: bytes, let_go: threading.Event) -> None:
    for sign in body:
        handler.wfile.write(bytes((sign,)))
        if let_go.wait(DRIP_EVERY_S):
            return


@cache
def _bomb() -> bytes:
    return gzip.compress(bytes(BOMB_BYTES))
