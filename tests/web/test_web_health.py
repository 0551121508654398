"""The health page over HTTP, read by a client of its own."""

from __future__ import annotations

import json
import logging
import socket
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any
from urllib.error import HTTPError
from urllib.request import Request, urlopen

import pytest

from soakbell.clock import SetClock
from soakbell.errors import StoreError
from soakbell.store import letters
from soakbell.store.engine import Store, open_store
from soakbell.store.letters import WrittenLetter
from soakbell.store.upgrade import migrate
from soakbell.web.health import Health, health_app, masked, read_health
from soakbell.web.server import PageServer

NOW = datetime(2026, 12, 8, 9, 30, tzinfo=UTC)
NOON = datetime(2026, 12, 8, 17, 0, tzinfo=UTC)
MINUTE = timedelta(minutes=1)
DAY = date(2026, 12, 8)
BOAT = "Little Grebe"


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    opened = open_store(f"sqlite:///{tmp_path / 'soakbell.db'}")
    migrate(opened)
    yield opened
    opened.close()


@pytest.fixture
def clock() -> SetClock:
    return SetClock(NOW)


@pytest.fixture
def server(store: Store, clock: SetClock) -> Iterator[PageServer]:
    page = PageServer(health_app(lambda: read_health(store, clock.now(), "2026b")), port=0)
    page.start()
    yield page
    page.stop()


def ask(server: PageServer, method: str = "GET", path: str = "/healthz") -> tuple[int, Any]:
    try:
        with urlopen(Request(f"http://127.0.0.1:{server.port}{path}", method=method), timeout=10) as reply:
            return reply.status, json.load(reply)
    except HTTPError as fault:
        with fault:
            body = fault.read()
            return fault.code, json.loads(body) if body.startswith(b"{") else body


def swept(store: Store, at: datetime = NOW) -> None:
    with store.writing() as session:
        letters.put_note(session, f"sweep:{BOAT}", {}, at)


def posted(store: Store, turn: int = 0) -> letters.ClaimedLetter:
    name = f"Message-ID: <{turn}@example.org>\r\nDate: Tue, 08 Dec 2026 09:30:00 +0000\r\n\r\nWAIT\r\n"
    with store.writing() as session:
        letters.ensure_due(session, BOAT, "morning", DAY, turn, "America/New_York", NOW, NOON)
        claim = letters.claim_due(session, BOAT, NOW, 60)
        assert claim is not None
        letter = WrittenLetter("WAIT", name.encode(), ("skipper@example.org",), None)
        letters.write_letter(session, claim, letter, NOW)
        (held,) = letters.claim_recipients(session, NOW, 10, 60)
    return held


def test_all_well_is_told_with_what_it_rests_on(store: Store, server: PageServer) -> None:
    """D1, S9: the database's version and journal, the zone data's version."""
    swept(store)
    held = posted(store)
    with store.writing() as session:
        letters.mark_accepted(session, held.recipients[0].recipient_id, "250 kept", NOW)
    status, told = ask(server)
    assert (status, told["ok"], told["reasons"]) == (200, True, [])
    assert told["last_accepted_at"] == "2026-12-08T09:30:00+00:00"
    assert told["last_sweeps"] == {BOAT: "2026-12-08T09:30:00+00:00"}
    assert (told["zone_data"], told["journal_mode"]) == ("2026b", store.journal_mode)
    assert told["database"].startswith("SQLite 3.")


def test_a_service_that_never_swept_is_not_well(server: PageServer) -> None:
    status, told = ask(server)
    assert (status, told["reasons"]) == (503, ["no sweep has run yet"])


@pytest.mark.parametrize(("age_s", "status"), [(180, 200), (181, 503)])
def test_a_sweep_that_stopped_is_told_after_three_minutes(
    store: Store, server: PageServer, age_s: int, status: int
) -> None:
    swept(store, NOW - timedelta(seconds=age_s))
    assert ask(server)[0] == status


def test_a_late_letter_is_told(store: Store, server: PageServer, clock: SetClock) -> None:
    with store.writing() as session:
        letters.ensure_due(session, BOAT, "morning", DAY, 0, "America/New_York", NOW, NOON)
    clock.put(NOW + 16 * MINUTE)
    swept(store, clock.now())
    status, told = ask(server)
    assert (status, told["letters_late"], told["reasons"]) == (503, 1, ["letters late: 1"])


def test_a_refused_address_is_told_masked(store: Store, server: PageServer) -> None:
    """M4."""
    swept(store)
    held = posted(store)
    with store.writing() as session:
        letters.mark_refused(
            session, held.recipients[0].recipient_id, held.token, "550 skipper@example.org unknown", NOW
        )
    status, told = ask(server)
    assert status == 503
    assert told["refused"] == [
        {"address": "s...@example.org", "state": "refused", "reply": "550 (address) unknown"}
    ]
    assert told["reasons"] == ["an address is refused: s...@example.org"]


def test_a_clock_set_back_is_told(store: Store, server: PageServer, clock: SetClock) -> None:
    """W11."""
    swept(store)
    clock.put(NOW - 10 * MINUTE)
    status, told = ask(server)
    assert status == 503
    assert told["reasons"] == ["the clock is 600 s behind the newest row of the database"]


def test_a_step_that_keeps_failing_is_told_and_a_single_fault_is_only_shown(
    store: Store, server: PageServer
) -> None:
    swept(store)
    with store.writing() as session:
        letters.put_note(session, f"fault:{BOAT}:poll", {"text": "FetchFailed: 503", "count": 2}, NOW)
    status, told = ask(server)
    assert (status, told["faults"][f"{BOAT}:poll"]["text"]) == (200, "FetchFailed: 503")
    with store.writing() as session:
        letters.put_note(session, f"fault:{BOAT}:poll", {"text": "FetchFailed: 503", "count": 3}, NOW)
    status, told = ask(server)
    assert (status, told["reasons"]) == (503, [f"{BOAT}:poll failed 3 times in a row"])


def test_tries_of_unknown_end_are_counted(store: Store, server: PageServer) -> None:
    """M6."""
    swept(store)
    held = posted(store)
    with store.writing() as session:
        letters.mark_unsure(session, held.recipients[0].recipient_id, held.token, "lost", NOW, NOW + MINUTE)
    assert ask(server)[1]["unsure_tries"] == 1


def test_a_database_that_cannot_be_read_is_told() -> None:
    def unreadable() -> Health:
        raise StoreError("the database is locked; stop the other program")

    page = PageServer(health_app(unreadable), port=0)
    page.start()
    try:
        assert ask(page) == (503, {"ok": False, "reasons": ["the database is locked; stop the other program"]})
    finally:
        page.stop()


def test_the_page_only_answers_questions(server: PageServer) -> None:
    """W1."""
    assert ask(server, "POST")[0] == 403
    assert ask(server, "PUT")[0] == 405
    assert ask(server, path="/")[0] == 404


@pytest.mark.parametrize("host", ["elsewhere.example", "127.0.0.1.elsewhere.example"])
def test_no_name_that_somebody_points_at_this_computer_is_answered(server: PageServer, host: str) -> None:
    """Or a page of his, open in a browser here, could read it."""
    asked = Request(f"http://127.0.0.1:{server.port}/healthz", headers={"Host": host})
    with pytest.raises(HTTPError) as refused:
        urlopen(asked, timeout=10)
    with refused.value as answer:
        assert answer.code == 421


def test_the_page_is_for_this_computer_unless_said_otherwise(server: PageServer) -> None:
    assert server._socket.getsockname()[0] == "127.0.0.1"


def test_the_port_is_free_again_after_stop(store: Store) -> None:
    page = PageServer(health_app(lambda: read_health(store, NOW, "2026b")), port=0)
    page.start()
    ask(page)
    page.stop()
    assert not page._thread.is_alive()
    socket.create_server(("127.0.0.1", page.port)).close()


def test_a_taken_port_is_refused_at_once(server: PageServer, store: Store) -> None:
    with pytest.raises(OSError, match="in use"):
        PageServer(health_app(lambda: read_health(store, NOW, "2026b")), port=server.port)


@pytest.mark.parametrize(
    ("address", "shown"), [("skipper@example.org", "s...@example.org"), ("@example.org", "...@example.org")]
)
def test_a_masked_address_keeps_its_first_letter_and_domain(address: str, shown: str) -> None:
    assert masked(address) == shown


def test_no_address_that_was_asked_for_is_logged(store: Store, caplog: pytest.LogCaptureFixture) -> None:
    """W2, W9: that of a letter's link is a key. Every page is served so."""
    caplog.set_level(logging.DEBUG)
    server = PageServer(health_app(lambda: read_health(store, NOW, "2026b")), port=0)
    server.start()
    try:
        assert ask(server, path="/open?t=heron-token-55")[0] == 404
    finally:
        server.stop()
    assert caplog.messages
    assert "heron-token-55" not in caplog.text


def test_a_backup_of_long_ago_is_told(store: Store, server: PageServer, clock: SetClock) -> None:
    """D7."""
    swept(store)
    with store.writing() as session:
        letters.put_note(session, f"backup:{BOAT}", {"file": "soakbell-2026-12-06.db"}, NOW)
    assert ask(server)[0] == 200
    clock.put(NOW + timedelta(days=2) + MINUTE)
    swept(store, clock.now())
    status, page = ask(server)
    assert (status, page["reasons"]) == (503, [f"the newest backup of {BOAT} is 2 days old"])
    assert page["last_backups"] == {BOAT: NOW.isoformat()}
