"""What is built from the settings: the watcher's ping keeps its address to itself."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from dataclasses import replace
from http.server import BaseHTTPRequestHandler, HTTPServer

import pytest
from pydantic import SecretStr

from law.world import settings_from
from soakbell.errors import FetchFailed
from soakbell.wiring import command_of, duty_of, heartbeat_of

SECRET = "sanderling-knot-81"


class Watcher(HTTPServer):
    """Answers every ping with ``status``."""

    status = 200
    pinged: tuple[str, ...] = ()


class Answering(BaseHTTPRequestHandler):
    server: Watcher

    def do_GET(self) -> None:
        self.server.pinged += (self.path,)
        self.send_response_only(self.server.status)
        self.send_header("Content-Length", "0")
        self.end_headers()

    def log_message(self, format: str, *args: object) -> None:
        pass


@pytest.fixture
def watcher() -> Iterator[Watcher]:
    with Watcher(("127.0.0.1", 0), Answering) as server:
        runner = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02})
        runner.start()
        yield server
        server.shutdown()
        runner.join(20)
        assert not runner.is_alive()


def ping(port: int) -> None:
    settings = replace(settings_from(), heartbeat_url=SecretStr(f"http://127.0.0.1:{port}/{SECRET}?key={SECRET}"))
    beat = heartbeat_of(settings)
    assert beat is not None
    beat()


def test_the_watcher_is_told(watcher: Watcher) -> None:
    """S13."""
    ping(watcher.server_port)
    assert watcher.pinged == (f"/{SECRET}?key={SECRET}",)
    assert heartbeat_of(settings_from()) is None


@pytest.mark.parametrize(
    ("told", "word"),
    [(None, "soakbell"), ("  ", "soakbell"), (" sudo  soakbell-as-service\n", "sudo soakbell-as-service")],
)
def test_letters_begin_commands_as_the_install_says(told: str | None, word: str) -> None:
    assert command_of({} if told is None else {"SOAKBELL_COMMAND": told}) == word


def test_the_day_has_a_morning_letter_and_an_eve_letter_and_bells_between() -> None:
    duty = duty_of(settings_from())
    assert [(hour.kind, f"{hour.at:%H:%M}") for hour in duty.hours] == [("morning", "04:30"), ("eve", "18:00")]
    assert duty.unasked == ("bells", "bait order", "bait order copy", "trust", "recovery")
    assert duty.bells_every_min == settings_from().letters.bells_every_min


def test_a_ping_that_fails_is_told_without_its_secret_address(watcher: Watcher) -> None:
    """W9: the fault goes into the log and onto the health page."""
    watcher.status = 404
    with pytest.raises(FetchFailed, match="answered 404") as refused:
        ping(watcher.server_port)
    with pytest.raises(FetchFailed, match="can't be reached: ConnectionError") as unreached:
        ping(1)
    for caught in (refused, unreached):
        assert SECRET not in str(caught.value)
        assert caught.value.__cause__ is None
