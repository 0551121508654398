"""A loopback web server that answers as the public weather services would, with invented weather.

It takes the time from the caller's clock, so that every payload fits the moment that is played.
"""

from __future__ import annotations

import hashlib
import json
import re
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from urllib.parse import parse_qs, urlsplit

from demo import payloads
from demo.weather import Outage, Weather

GEO = "application/geo+json"
LINKED = "application/ld+json"
PROBLEM = "application/problem+json"
PLAIN = "text/plain"


@dataclass(frozen=True)
class Answer:
    """``max_age_s`` None: no word on how long it is good for."""

    status: int
    media_type: str
    body: bytes
    max_age_s: int | None = None


@dataclass(frozen=True)
class Asked:
    """One request that was answered."""

    at: datetime
    path: str
    status: int
    what: str = ""


class Services:
    """The public services of a scenario: a path at a moment gives an answer."""

    def __init__(self, weather: Weather) -> None:
        self._weather = weather
        self._scenario = weather.scenario
        self._routes: tuple[tuple[re.Pattern[str], Callable[..., Answer]], ...] = (
            (re.compile(r"/points/(-?[0-9.]+),(-?[0-9.]+)"), self._point),
            (re.compile(rf"/gridpoints/{self._scenario.office}/([0-9]+),([0-9]+)"), self._grid),
            (re.compile(rf"/products/types/CWF/locations/{self._scenario.office}"), self._list),
            (re.compile(r"/products/([0-9a-f-]{36})"), self._product),
            (re.compile(r"/alerts/active"), self._alerts),
            (re.compile(rf"/zones/(?:coastal|forecast)/{self._scenario.zone}"), self._zone),
            (re.compile(rf"/data/realtime2/{self._scenario.station}\.txt"), self._station),
            (re.compile(r"/data/latest_obs/latest_obs\.txt"), self._latest_observations),
        )

    def answer(self, target: str, now: datetime) -> Answer:
        """What the service says to a GET of ``target`` (path and query) at ``now``."""
        parts = urlsplit(target)
        outage = self._outage(parts.path, now)
        if outage is not None:
            return _problem(outage.status, outage.title, outage.detail)
        for form, route in self._routes:
            found = form.fullmatch(parts.path)
            if found is not None:
                if route == self._alerts and parse_qs(parts.query).get("zone") != [self._scenario.zone]:
                    break
                return route(now, *found.groups())
        return _not_found(parts.path)

    def _outage(self, path: str, now: datetime) -> Outage | None:
        return next(
            (o for o in self._scenario.outages if path.startswith(o.path) and o.starts_at <= now < o.ends_at), None
        )

    def _point(self, _now: datetime, lat: str, lon: str) -> Answer:
        lat_deg, lon_deg = float(lat), float(lon)
        for cell in self._scenario.cells:
            if cell.holds(lat_deg, lon_deg):
                return _json(GEO, payloads.point(self._scenario, cell, lat_deg, lon_deg), 3600)
        return _problem(404, "Data Unavailable For Requested Point", f"Unable to provide data for {lat},{lon}")

    def _grid(self, now: datetime, x: str, y: str) -> Answer:
        for cell in self._scenario.cells:
            if (str(cell.x), str(cell.y)) == (x, y):
                return _json(GEO, payloads.grid(self._weather, cell, now), 60)
        return _not_found(f"/gridpoints/{self._scenario.office}/{x},{y}")

    def _list(self, now: datetime) -> Answer:
        return _json(LINKED, payloads.product_list(self._weather, now), 60)

    def _product(self, now: datetime, found: str) -> Answer:
        for issued_at in payloads.listed_issues(self._weather, now):
            if payloads.product_id(self._scenario, issued_at) == found:
                return _json(LINKED, payloads.product(self._weather, issued_at), 3600)
        return _not_found(f"/products/{found}")

    def _alerts(self, now: datetime) -> Answer:
        return _json(GEO, payloads.alerts(self._weather, now), 30)

    def _zone(self, _now: datetime) -> Answer:
        return _json(GEO, payloads.zone(self._scenario), 3600)

    def _station(self, now: datetime) -> Answer:
        return Answer(200, PLAIN, payloads.realtime(self._weather, now).encode("ascii"))

    def _latest_observations(self, now: datetime) -> Answer:
        return Answer(200, PLAIN, payloads.latest_observations(self._weather, now).encode("ascii"))


class ForecastServer:
    """The running server. ``base`` is its address; ``asked`` holds what was asked of it so far."""

    def __init__(self, base: str, asked: list[Asked]) -> None:
        self.base = base
        self.asked = asked


@contextmanager
def serving(weather: Weather, now: Callable[[], datetime]) -> Iterator[ForecastServer]:
    """Answer on a free port of 127.0.0.1 until the block ends."""
    services = Services(weather)
    asked: list[Asked] = []

    class Handler(BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"

        def do_GET(self) -> None:
            at = now()
            answer = services.answer(self.path, at)
            etag = f'"{hashlib.sha256(answer.body).hexdigest()[:20]}"'
            same = answer.status == 200 and self.headers.get("If-None-Match") == etag
            asked.append(Asked(at, self.path, 304 if same else answer.status, _title(answer)))
            self.send_response_only(304 if same else answer.status)
            self.send_header("Content-Type", answer.media_type)
            self.send_header("Content-Length", "0" if same else str(len(answer.body)))
            self.send_header("ETag", etag)
            if answer.max_age_s is not None:
                self.send_header("Cache-Control", f"public, max-age={answer.max_age_s}")
            self.end_headers()
            if not same:
                self.wfile.write(answer.body)

        def log_message(self, format: str, *args: Any) -> None:
            """Nothing on the terminal: ``asked`` is the record."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    server.daemon_threads = True
    runner = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.05}, daemon=True)
    runner.start()
    try:
        yield ForecastServer(f"http://127.0.0.1:{server.server_address[1]}", asked)
    finally:
        server.shutdown()
        runner.join()
        server.server_close()


def _json(media_type: str, said: payloads.Json, max_age_s: int) -> Answer:
    return Answer(200, media_type, json.dumps(said).encode(), max_age_s)


def _problem(status: int, title: str, detail: str) -> Answer:
    kind = title.replace(" ", "")
    said = {
        "type": f"https://api.weather.gov/problems/{kind}",
        "title": title,
        "status": status,
        "detail": detail,
        "correlationId": "invented",
    }
    return Answer(status, PROBLEM, json.dumps(said).encode())


def _not_found(path: str) -> Answer:
    return _problem(404, "Not Found", f"'{path}' is not a valid resource path (invented data)")


def _title(answer: Answer) -> str:
    return str(json.loads(answer.body)["title"]) if answer.media_type == PROBLEM else ""
