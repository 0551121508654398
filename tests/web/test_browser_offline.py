"""A phone at sea: what is logged without a signal comes into the log once, and in order. INVENTED DATA."""

from __future__ import annotations

import asyncio
import json
import re
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from uuid import uuid4

import pytest
from playwright.sync_api import BrowserContext, Page, expect
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from browser import (
    browser,
    by_the_worker,
    need_chromium,
    phone_at,
    pull,
    ready_for_sea,
    served,
    sign_in,
    until,
    until_kept,
)
from page_scenes import CREW, Scene, form_token, page_scene, post
from soakbell.gear.log import LogEntry, Pulled
from soakbell.store.log import all_entries
from soakbell.web.app import page_app
from soakbell.web.server import PageServer

pytestmark = pytest.mark.slow

SEA = ["1..4", "5..8", "9..12", "13..16", "17..20"]


@pytest.fixture
def scene(tmp_path: Path) -> Iterator[Scene]:
    need_chromium()
    with page_scene(tmp_path, at=datetime(2026, 12, 8, 15, tzinfo=UTC)) as built:
        yield built


@contextmanager
def line_served(line: ASGIApp) -> Iterator[str]:
    """The address of a page with this line before it."""
    server = PageServer(line, 0)
    server.start()
    try:
        yield f"http://127.0.0.1:{server.port}"
    finally:
        server.stop()


def log_of(scene: Scene) -> list[LogEntry]:
    with scene.store.reading() as session:
        return all_entries(session)


def by_phone(scene: Scene) -> list[LogEntry]:
    with scene.store.reading() as session:
        return [entry for entry in all_entries(session) if entry.told_by in ("phone", "crew phone")]


def waiting(page: Page) -> str:
    return page.locator("#waiting").inner_text()


def test_a_pull_with_a_signal_is_told_at_once(scene: Scene, tmp_path: Path) -> None:
    with served(scene) as server, browser(tmp_path / "phone", scene) as phone:
        address, page = f"http://127.0.0.1:{server.port}", phone.new_page()
        sign_in(page, address)
        pull(page, address, legal_claws="118")
        page.wait_for_url(re.compile(r"/log\?told="))
        expect(page.get_by_text("Told:")).to_be_visible()
    (entry,) = by_phone(scene)
    assert entry.detail == Pulled(legal_claws=118)


HAND = """
    const count = (what) => { localStorage[what] = Number(localStorage[what] || 0) + 1; };
    addEventListener("pointerdown", () => count("taps"), true);
    addEventListener("keydown", () => count("keys"), true);
"""


def test_at_sea_a_whole_string_is_told_with_few_taps_and_no_typing(scene: Scene, tmp_path: Path) -> None:
    with served(scene) as server, browser(tmp_path / "phone", scene) as phone:
        address, page = f"http://127.0.0.1:{server.port}", phone.new_page()
        phone.grant_permissions(["geolocation"], origin=address)
        phone.set_geolocation({"latitude": 29.963, "longitude": -84.2, "accuracy": 8})
        sign_in(page, address)
        ready_for_sea(page, address)
        phone.set_offline(True)
        page.add_init_script(HAND)
        page.goto(f"{address}/")
        for role, name in (
            ("link", "Log"),
            ("link", "Pull"),
            ("button", "Nearest string, by where I am"),
            ("button", "Tell the log"),
        ):
            if name == "Tell the log":
                expect(page.get_by_label(re.compile("^Outer Bar"))).to_be_checked()
            page.get_by_role(role, name=name, exact=True).click()  # type: ignore[arg-type]
        expect(page.locator("#waiting")).to_contain_text("1 entry waiting")
        hand = page.evaluate("() => [Number(localStorage.taps), localStorage.keys ?? null]")
        phone.set_offline(False)
        expect(page.locator("#waiting")).to_be_hidden()
    assert hand[0] <= 5
    assert hand[1] is None
    (entry,) = by_phone(scene)
    assert (entry.string, entry.traps, entry.detail) == ("Outer Bar", (), Pulled())


@pytest.mark.long
def test_a_slip_of_the_hand_is_shown_beside_its_field_and_what_was_typed_stays(
    scene: Scene, tmp_path: Path
) -> None:
    with served(scene) as server, browser(tmp_path / "phone", scene) as phone:
        address, page = f"http://127.0.0.1:{server.port}", phone.new_page()
        sign_in(page, address)
        pull(page, address, legal_claws="many", short_claws="7")
        expect(page.locator("#fault-legal_claws")).to_contain_text("a whole number")
        assert page.locator("[name='short_claws']").input_value() == "7"
        page.locator("[name='legal_claws']").fill("11")
        page.get_by_role("button", name="Tell the log").click()
        page.wait_for_url(re.compile(r"/log\?told="))
    assert [entry.detail for entry in by_phone(scene)] == [Pulled(legal_claws=11, short_claws=7)]


def test_five_logged_at_sea_survive_the_browsers_end_and_come_once_each_in_order(
    scene: Scene, tmp_path: Path
) -> None:
    with served(scene) as server, browser(tmp_path / "phone", scene) as phone:
        port = server.port
        address, page = f"http://127.0.0.1:{port}", phone.new_page()
        sign_in(page, address)
        pull(page, address, "Outer Bar", legal_claws="118")
        page.wait_for_url(re.compile(r"/log\?told="))
        ready_for_sea(page, address)
        phone.set_offline(True)
        for turn, traps in enumerate(SEA, 1):
            scene.clock.put(scene.clock.now() + timedelta(minutes=6))
            phone.clock.set_fixed_time(scene.clock.now())
            pull(page, address, traps=traps, legal_claws=str(turn))
            expect(page.locator("#waiting")).to_contain_text(
                "1 entry waiting" if turn == 1 else f"{turn} entries waiting"
            )
            expect(page.locator("#signal")).to_contain_text("No signal, or no answer. This page is as of")
    assert len(by_phone(scene)) == 1
    with browser(tmp_path / "phone", scene) as phone:
        page = phone.new_page()
        page.goto(f"{address}/log")
        expect(page.locator("#waiting")).to_contain_text("5 entries waiting")
        with served(scene, port):
            phone.set_offline(True)
            phone.set_offline(False)
            expect(page.locator("#waiting")).to_be_hidden()
    at_sea = by_phone(scene)[1:]
    assert [entry.detail for entry in at_sea] == [Pulled(legal_claws=turn) for turn in range(1, 6)]
    assert [len(entry.traps) for entry in at_sea] == [4] * 5
    assert len({entry.happened_at for entry in at_sea}) == 5


class SlowSync:
    """A slow line, which hears what the service said of each entry that was sent."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app
        self.states: list[str] = []

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        async def heard(message: Message) -> None:
            if message["type"] == "http.response.body" and message.get("body"):
                self.states += [one["state"] for one in json.loads(message["body"])["told"]]
            await send(message)

        of_sync = scope["type"] == "http" and scope["path"] == "/sync"
        if of_sync:
            await asyncio.sleep(0.3)
        await self.app(scope, receive, heard if of_sync else send)


def test_two_tabs_with_one_queue_send_each_entry_once_and_in_order(scene: Scene, tmp_path: Path) -> None:
    line = SlowSync(page_app(scene.house))
    with line_served(line) as address, browser(tmp_path / "phone", scene) as phone:
        page, other = phone.new_page(), phone.new_page()
        sign_in(page, address)
        ready_for_sea(page, address)
        other.goto(f"{address}/log")
        phone.set_offline(True)
        for turn, traps in enumerate(SEA[:3], 1):
            scene.clock.put(scene.clock.now() + timedelta(minutes=6))
            phone.clock.set_fixed_time(scene.clock.now())
            pull((page, other)[turn % 2], address, traps=traps, legal_claws=str(turn))
            expect((page, other)[turn % 2].locator("#waiting")).to_contain_text(re.compile(rf"^{turn} entr"))
        phone.set_offline(False)
        for tab in (page, other):
            expect(tab.locator("#waiting")).to_be_hidden()
    assert line.states == ["taken"] * 3
    assert [entry.detail for entry in by_phone(scene)] == [Pulled(legal_claws=turn) for turn in (1, 2, 3)]


def test_two_phones_log_one_string_and_the_second_is_told_why_it_was_not_taken(
    scene: Scene, tmp_path: Path
) -> None:
    with served(scene) as server:
        address = f"http://127.0.0.1:{server.port}"
        with browser(tmp_path / "first", scene) as phone:
            page = phone.new_page()
            sign_in(page, address)
            ready_for_sea(page, address)
            phone.set_offline(True)
            pull(page, address, legal_claws="40", note="twice told")
            expect(page.locator("#waiting")).to_contain_text("1 entry waiting")
        with browser(tmp_path / "second", scene) as phone:
            page = phone.new_page()
            sign_in(page, address, CREW)
            pull(page, address, legal_claws="41")
            page.wait_for_url(re.compile(r"/log\?told="))
        with browser(tmp_path / "first", scene) as phone:
            page = phone.new_page()
            page.goto(f"{address}/log")
            refused = page.locator("#refused")
            expect(refused).to_contain_text("a pull of the same traps")
            expect(refused).to_contain_text("twice told")
            expect(page.locator("#waiting")).to_be_hidden()
            page.reload()
            refused.get_by_role("button", name="Take out").click()
            expect(refused).to_have_count(0)
            page.reload()
            expect(page.locator("#refused")).to_have_count(0)
    assert [entry.detail for entry in by_phone(scene)] == [Pulled(legal_claws=41)]


@contextmanager
def phone_with_one_waiting(scene: Scene, tmp_path: Path) -> Iterator[tuple[BrowserContext, Page, str]]:
    """A phone without a signal that keeps one pull."""
    with served(scene) as server, browser(tmp_path / "phone", scene) as phone:
        address, page = f"http://127.0.0.1:{server.port}", phone.new_page()
        sign_in(page, address)
        ready_for_sea(page, address)
        phone.set_offline(True)
        pull(page, address, legal_claws="40")
        expect(page.locator("#waiting")).to_contain_text("1 entry waiting")
        yield phone, page, address


def test_signed_out_the_phone_keeps_what_waits_and_forgets_the_pages(scene: Scene, tmp_path: Path) -> None:
    with phone_with_one_waiting(scene, tmp_path) as (phone, page, address):
        cookies = phone.cookies()
        phone.clear_cookies()
        phone.set_offline(False)
        expect(page.locator("#waiting")).to_contain_text("sign in again")
        assert by_phone(scene) == []
        phone.add_cookies(cookies)  # type: ignore[arg-type]
        phone.set_offline(True)
        page.goto(f"{address}/log")
        expect(page.locator("#waiting")).to_contain_text("1 entry waiting")
        phone.set_offline(False)
        expect(page.locator("#waiting")).to_be_hidden()
        phone.set_offline(True)
        page.goto(f"{address}/log")
        page.get_by_role("button", name="Sign out").click()
        expect(page.get_by_text("You are still signed in")).to_be_visible()
        page.get_by_role("link", name="To the log").click()
        expect(page.get_by_role("heading", name="Log", exact=True)).to_be_visible()
        phone.set_offline(False)
        page.goto(f"{address}/log")
        page.get_by_role("button", name="Sign out").click()
        page.wait_for_url(f"{address}/in")
        for path in ("/", "/log", "/log/pull"):
            until_kept(page, path, kept=False)
    assert len(by_phone(scene)) == 1


SLOW_TO_FAIL = """() => {
    const signal = self.fetch;
    self.fetch = (...asked) => new Promise((_, fails) => {
        self.fail = () => { self.fetch = signal; fails(new TypeError("no signal")); };
    });
    self.dispatchEvent(new Event("online"));
}"""
FAILS_AT_FIRST = """() => {
    const signal = self.fetch;
    self.fetch = async () => { self.fetch = signal; self.fail = () => {}; throw new TypeError("no signal"); };
}"""


@pytest.mark.parametrize("signal", [SLOW_TO_FAIL, FAILS_AT_FIRST], ids=["slow to fail", "fails at first"])
def test_a_signal_is_used_once_it_carries(scene: Scene, tmp_path: Path, signal: str) -> None:
    """It may come while a sending still fails, and a phone tells of it before the network can be used."""
    with phone_with_one_waiting(scene, tmp_path) as (phone, page, _):
        page.evaluate(signal)
        phone.set_offline(False)
        page.wait_for_function("() => navigator.onLine && self.fail")
        page.evaluate("() => self.fail()")
        expect(page.locator("#waiting")).to_be_hidden()
    assert len(by_phone(scene)) == 1


class Gate:
    """Holds one page's answer back while it is shut."""

    def __init__(self, app: ASGIApp, path: str) -> None:
        self.app, self.path, self.open = app, path, True
        self.held = threading.Event()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        async def late(message: Message) -> None:
            if message["type"] == "http.response.start":
                self.held.set()
                async with asyncio.timeout(60):
                    while not self.open:
                        await asyncio.sleep(0.01)
            await send(message)

        held = scope["type"] == "http" and scope["path"] == self.path and not self.open
        await self.app(scope, receive, late if held else send)


def test_an_answer_that_was_on_its_way_when_the_skipper_signed_out_is_not_kept(
    scene: Scene, tmp_path: Path
) -> None:
    gate = Gate(page_app(scene.house), "/bench")
    with browser(tmp_path / "phone") as phone, line_served(gate) as address:
        page, other = phone.new_page(), phone.new_page()
        sign_in(page, address)
        ready_for_sea(page, address)
        until_kept(page, "/why")  # the last: nothing more is asked for
        ready_for_sea(other, address)
        gate.open = False
        other.evaluate(
            """async () => {
                await (await caches.open("soakbell pages")).delete("/bench");
                const asked = fetch("/bench", {headers: {Accept: "text/html"}});
                self.came = asked.then((answer) => answer.text());
            }"""
        )
        assert gate.held.wait(20)
        page.get_by_role("button", name="Sign out").click()
        page.wait_for_url(f"{address}/in")
        gate.open = True
        assert "Bench" in other.evaluate("() => self.came")
        until_kept(page, "/bench", kept=False)


def test_what_was_not_kept_before_the_next_page_was_opened_is_kept_from_there(
    scene: Scene, tmp_path: Path
) -> None:
    need_chromium()
    with served(scene) as server, browser(tmp_path / "phone") as phone:
        address, page = f"http://127.0.0.1:{server.port}", phone.new_page()
        sign_in(page, address)
        ready_for_sea(page, address)
        until_kept(page, "/why")
        page.evaluate("async () => (await caches.open('soakbell pages')).delete('/log/recovered')")
        page.goto(f"{address}/log")
        until_kept(page, "/log/recovered")


def test_refused_out_of_turn_it_is_sent_again_and_tells_what_was_typed(scene: Scene, tmp_path: Path) -> None:
    with served(scene) as server, browser(tmp_path / "phone", scene) as phone:
        address, page = f"http://127.0.0.1:{server.port}", phone.new_page()
        sign_in(page, address)
        ready_for_sea(page, address)
        until_kept(page, "/log/recovered")
        phone.set_offline(True)
        page.goto(f"{address}/log/recovered")
        page.get_by_label(re.compile("^Nine Foot")).check()
        page.get_by_label("Which traps").fill("7")
        page.get_by_label("Where they are now").select_option("fishing")
        page.get_by_label("When").fill("2026-12-08T09:40")
        page.get_by_role("button", name="Tell the log").click()
        expect(page.locator("#waiting")).to_contain_text("1 entry waiting")
        phone.set_offline(False)
        refused = page.locator("#refused")
        expect(refused).to_contain_text("Found again, Nine Foot, 2026-12-08 09:40.")
        expect(refused).to_contain_text("String: Nine Foot; Which traps: 7; Where they are now: fishing")
        missing = {"string": "Nine Foot", "traps": "7", "happened_at": "2026-12-08T08:00", "key": str(uuid4())}
        another = scene.another(CREW)
        token = form_token(another.get("/log/missing"))
        assert post(another, "/log/missing", form_token=token, **missing).status_code == 303
        refused.get_by_role("button", name="Send again").click()
        expect(refused).to_have_count(0)
    assert [entry.kind.value for entry in log_of(scene)[-2:]] == ["missing", "recovered"]


@pytest.mark.long
def test_more_than_one_sending_may_bring_goes_in_several(scene: Scene, tmp_path: Path) -> None:
    with served(scene) as server, browser(tmp_path / "phone", scene) as phone:
        address, page = f"http://127.0.0.1:{server.port}", phone.new_page()
        sign_in(page, address)
        page.goto(f"{address}/log")
        page.evaluate(
            """async () => {
                for (const turn of [1, 2, 3, 4, 5]) {
                    const cells = { engine_h: `40${turn}`, note: "x".repeat(60_000) };
                    const [key, at] = [crypto.randomUUID(), `2026-12-08T14:0${turn}:00Z`];
                    const entry = { key, kind: "hours", title: "Engine hours", when: "", happened_at: at, cells };
                    await soakbell.queue.add(entry);
                }
                dispatchEvent(new Event("online"));
            }"""
        )
        refused = "async () => (await soakbell.queue.all()).every((entry) => entry.refused?.[0].label === 'Note')"
        until(page, refused)
        expect(page.locator("#refused li")).to_have_count(5)


NO_ROOM = "() => { indexedDB.open = () => { throw new Error('no room'); }; }"


def test_a_phone_that_cannot_keep_it_says_so_and_the_form_stays_filled(scene: Scene, tmp_path: Path) -> None:
    with served(scene) as server, browser(tmp_path / "phone", scene) as phone:
        address, page = f"http://127.0.0.1:{server.port}", phone.new_page()
        sign_in(page, address)
        ready_for_sea(page, address)
        phone.set_offline(True)
        page.goto(f"{address}/log/pull")
        page.evaluate(NO_ROOM)
        page.get_by_label(re.compile("^Nine Foot")).check()
        page.locator("[name='legal_claws']").fill("118")
        page.get_by_role("button", name="Tell the log").click()
        expect(page.locator("#not-kept")).to_contain_text("NOT told, and this phone could not keep it.")
        assert page.locator("[name='legal_claws']").input_value() == "118"
        expect(page.locator("#waiting")).to_be_hidden()
        phone.set_offline(False)
        page.add_init_script(f"({NO_ROOM})()")
        page.goto(f"{address}/log/pull")
        expect(page.get_by_role("alert")).to_contain_text("This phone can't keep what is told without a signal")


@pytest.mark.parametrize("off_min", [pytest.param(-90, id="behind"), pytest.param(25, id="ahead")])
def test_a_phones_clock_that_is_wrong_is_said_and_makes_no_soak_longer(
    scene: Scene, tmp_path: Path, off_min: int
) -> None:
    now = scene.clock.now()
    with served(scene) as server, browser(tmp_path / "phone", scene) as phone:
        phone.clock.set_fixed_time(now + timedelta(minutes=off_min))
        address, page = f"http://127.0.0.1:{server.port}", phone.new_page()
        sign_in(page, address)
        ready_for_sea(page, address)
        page.goto(f"{address}/log/pull")
        words = "90 min behind" if off_min < 0 else "25 min ahead of"
        expect(page.locator("#clock")).to_contain_text(f"This phone's clock is {words}")
        phone.set_offline(True)
        pull(page, address, legal_claws="40")
        expect(page.locator("#waiting")).to_contain_text("1 entry waiting")
        phone.set_offline(False)
        if off_min > 0:
            expect(page.locator("#refused")).to_contain_text("It waits, and is sent again")
            assert by_phone(scene) == []
            scene.clock.put(now + timedelta(minutes=off_min))
            page.reload()
        expect(page.locator("#waiting")).to_be_hidden()
    (entry,) = by_phone(scene)
    assert abs(entry.happened_at - scene.clock.now()) < timedelta(seconds=30)


@pytest.mark.parametrize(
    "set_by_h", [pytest.param(-1, id="an hour back"), pytest.param(24, id="a day ahead", marks=pytest.mark.long)]
)
def test_a_phones_clock_that_is_set_before_the_sending_lengthens_no_soak_of_what_was_kept(
    scene: Scene, tmp_path: Path, set_by_h: int
) -> None:
    with served(scene) as server, browser(tmp_path / "phone", scene) as phone:
        address, page = f"http://127.0.0.1:{server.port}", phone.new_page()
        sign_in(page, address)
        ready_for_sea(page, address)
        phone.set_offline(True)
        tapped = []
        for turn, traps in enumerate(SEA[:2], 1):
            scene.clock.put(scene.clock.now() + timedelta(minutes=6))
            tapped.append(scene.clock.now())
            phone_at(phone, scene.clock.now())
            pull(page, address, traps=traps, legal_claws=str(turn))
            expect(page.locator("#waiting")).to_contain_text(re.compile(rf"^{turn} entr"))
        scene.clock.put(scene.clock.now() + timedelta(minutes=6))
        phone_at(phone, scene.clock.now() + timedelta(hours=set_by_h))
        phone.set_offline(False)
        expect(page.locator("#waiting")).to_be_hidden()
        page.goto(f"{address}/log")
        expect(page.locator("#waiting")).to_be_hidden()
    told = by_phone(scene)
    assert [entry.detail for entry in told] == [Pulled(legal_claws=turn) for turn in (1, 2)]
    for entry, at in zip(told, tapped, strict=True):
        assert at - timedelta(seconds=30) < entry.happened_at < scene.clock.now() + timedelta(seconds=30)
        assert "phone's clock was set" in entry.note


@pytest.mark.parametrize(
    ("measured_off_min", "tapped_off_min", "noted_min"),
    [
        pytest.param(0, -24 * 60, 24 * 60, id="fell a day behind at sea"),
        pytest.param(-90, 0, 90, id="was put right at sea"),
    ],
)
def test_a_phones_clock_that_was_set_at_sea_makes_no_soak_longer_and_is_noted(
    scene: Scene, tmp_path: Path, measured_off_min: int, tapped_off_min: int, noted_min: int
) -> None:
    now = scene.clock.now()
    with served(scene) as server, browser(tmp_path / "phone", scene) as phone:
        phone.clock.set_fixed_time(now + timedelta(minutes=measured_off_min))
        address, page = f"http://127.0.0.1:{server.port}", phone.new_page()
        sign_in(page, address)
        ready_for_sea(page, address)
        phone.set_offline(True)
        phone.clock.set_fixed_time(now + timedelta(minutes=tapped_off_min))
        pull(page, address, legal_claws="40")
        expect(page.locator("#waiting")).to_contain_text("1 entry waiting")
        phone.set_offline(False)
        expect(page.locator("#waiting")).to_be_hidden()
    (entry,) = by_phone(scene)
    assert abs(entry.happened_at - now) < timedelta(seconds=30)
    assert entry.note.startswith(f"The phone's clock was set {noted_min} min otherwise")


def test_with_a_signal_the_moment_is_the_services_though_the_phones_clock_was_never_measured(
    scene: Scene, tmp_path: Path
) -> None:
    now = scene.clock.now()
    with served(scene) as server, browser(tmp_path / "phone", scene) as phone:
        phone.clock.set_fixed_time(now - timedelta(days=1))
        phone.route("**/sync/ready", lambda route: route.fulfill(status=502))
        address, page = f"http://127.0.0.1:{server.port}", phone.new_page()
        sign_in(page, address)
        page.goto(f"{address}/log/pull")
        page.get_by_label(re.compile("^Nine Foot")).check()
        page.get_by_role("button", name="Tell the log").click()
        expect(page.get_by_text("Told:")).to_be_visible()
    (entry,) = by_phone(scene)
    assert entry.happened_at == now


# ---- A kept call ---------------------------------------------------------------------------------------------


class Line:
    """What lies between the phone and the service: it may be slow, or answer the call's pages itself."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app
        self.status = 0
        self.delay_s = 0.0

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "http" and scope["path"] in ("/", "/why"):
            await asyncio.sleep(self.delay_s)
            if self.status:
                await PlainTextResponse("a fault", self.status)(scope, receive, send)
                return
        await self.app(scope, receive, send)


@contextmanager
def phone_with_a_call(tmp_path: Path) -> Iterator[tuple[Scene, Line, BrowserContext, Page, str]]:
    """A phone that keeps today's PULL, and shows it."""
    need_chromium()
    with page_scene(tmp_path) as scene, browser(tmp_path / "phone", scene) as phone:
        scene.tell_call()
        line = Line(page_app(scene.house))
        with line_served(line) as address:
            page = phone.new_page()
            sign_in(page, address)
            expect(page.locator(".word")).to_have_text("PULL")
            ready_for_sea(page, address)
            until_kept(page, "/why")
            phone_at(phone, scene.clock.now())
            yield scene, line, phone, page, address


def test_a_kept_call_says_so_above_its_word_and_is_none_once_it_is_old(tmp_path: Path) -> None:
    with phone_with_a_call(tmp_path) as (scene, _, phone, page, address):
        served_at = scene.clock.now()
        phone.set_offline(True)
        page.goto(f"{address}/")
        expect(page.locator("#signal")).to_contain_text("No signal, or no answer. This page is as of")
        expect(page.locator("#call > :first-child")).to_have_text(
            "Kept page as of Tue 8 Dec 04:30. Look for a CHANGED CALL."
        )
        expect(page.locator(".word")).to_have_text("PULL")
        for later, why in (
            (-timedelta(minutes=3), "This phone's clock is behind"),
            (timedelta(minutes=31), "too old for its call to count"),
            (timedelta(days=1), "This call ran out at"),
        ):
            phone_at(phone, served_at + later)
            for path in ("/", "/why"):
                text = by_the_worker(page, path)
                assert '<p class="word">NO CALL</p>' in text
                assert "<dt>Leave</dt>" not in text
                assert why in text
                page.goto(f"{address}{path}")
                expect(page.locator(".word")).to_have_text("NO CALL")
                expect(page.locator("#call .fault")).to_contain_text([why])
                expect(page.locator("#call .lead, #window")).to_have_count(0)
        phone_at(phone, served_at)
        phone.set_offline(False)
        page.goto(f"{address}/")
        phone.set_offline(True)
        page.goto(f"{address}/")
        expect(page.locator("#kept-call")).to_contain_text("Look for a CHANGED CALL")
        expect(page.locator(".word")).to_have_text("PULL")
        phone.clock.set_fixed_time(served_at + timedelta(minutes=31))
        page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
        expect(page.locator(".word")).to_have_text("NO CALL")
        expect(page.locator("#window")).to_have_count(0)


def test_a_kept_call_grows_no_younger_when_the_phones_clock_is_set_back(tmp_path: Path) -> None:
    with phone_with_a_call(tmp_path) as (scene, _, phone, page, address):
        served_at = scene.clock.now()
        phone.set_offline(True)
        phone_at(phone, served_at + timedelta(minutes=20))
        page.goto(f"{address}/")
        expect(page.locator(".word")).to_have_text("PULL")
        phone.clock.set_fixed_time(served_at + timedelta(minutes=5))
        page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
        expect(page.locator("#call .fault")).to_contain_text(["This phone's clock is behind"])
        expect(page.locator(".word")).to_have_text("NO CALL")
        for path in ("/", "/why"):
            phone_at(phone, served_at + timedelta(minutes=65))
            assert "too old for its call to count" in by_the_worker(page, path)
            phone_at(phone, served_at + timedelta(minutes=5))
            text = by_the_worker(page, path)
            assert '<p class="word">NO CALL</p>' in text
            assert "This phone's clock is behind" in text


def test_a_fault_of_the_service_is_shown_and_no_kept_call_comes_back(tmp_path: Path) -> None:
    with phone_with_a_call(tmp_path) as (_, line, phone, page, address):
        line.status = 502  # a proxy's, before a service that is down
        page.goto(f"{address}/")
        expect(page.locator("#kept-call")).to_contain_text("Look for a CHANGED CALL")
        line.status = 503
        page.goto(f"{address}/")
        expect(page.locator("body")).to_have_text("a fault")
        phone.set_offline(True)
        for path in ("/", "/why"):
            page.goto(f"{address}{path}")
            expect(page.locator("h1")).to_have_text("No signal, or no answer")
            assert "PULL" not in page.content()


@pytest.mark.long
def test_an_answer_that_comes_late_takes_the_place_of_the_kept_call(tmp_path: Path) -> None:
    with phone_with_a_call(tmp_path) as (scene, line, _, page, address):
        page.goto(f"{address}/")
        ends = page.locator("#call").get_attribute("data-ends-at")
        assert ends is not None
        scene.clock.put(datetime.fromisoformat(ends) + timedelta(minutes=1))
        line.delay_s = 4.5
        page.goto(f"{address}/")
        expect(page.locator("#signal")).to_contain_text("No answer yet.")
        expect(page.locator("#kept-call")).to_contain_text("Look for a CHANGED CALL")
        expect(page.locator(".word")).to_have_text("NO CALL", timeout=20_000)
        expect(page.locator("#signal")).to_be_hidden()
        line.status = 503
        page.goto(f"{address}/")
        expect(page.locator("body")).to_have_text("a fault", timeout=20_000)


@pytest.mark.long
def test_pages_that_are_not_kept_are_not_shown_without_a_signal(scene: Scene, tmp_path: Path) -> None:
    with served(scene) as server, browser(tmp_path / "phone", scene) as phone:
        address, page = f"http://127.0.0.1:{server.port}", phone.new_page()
        sign_in(page, address)
        ready_for_sea(page, address)
        page.goto(f"{address}/told")
        page.goto(f"{address}/letters")
        page.goto(f"{address}/log?told={'0' * 36}")
        kept = page.evaluate(
            """async () => {
                const pages = await caches.open("soakbell pages");
                return (await pages.keys()).map((one) => new URL(one.url).pathname);
            }"""
        )
        assert "/log" in kept
        assert {"/told", "/letters", "/in", "/sync/ready"}.isdisjoint(kept)


@pytest.mark.long
def test_the_phones_place_proposes_the_nearest_string_and_goes_into_the_note(scene: Scene, tmp_path: Path) -> None:
    with served(scene) as server, browser(tmp_path / "phone", scene) as phone:
        address, page = f"http://127.0.0.1:{server.port}", phone.new_page()
        phone.grant_permissions(["geolocation"], origin=address)
        phone.set_geolocation({"latitude": 29.963, "longitude": -84.2, "accuracy": 8})
        sign_in(page, address)
        page.goto(f"{address}/log/pull")
        page.get_by_role("button", name="Nearest string, by where I am").click()
        expect(page.get_by_label(re.compile("^Outer Bar"))).to_be_checked()
        assert page.locator("[name='note']").input_value() == "at 29.963000,-84.200000"
        page.goto(f"{address}/log/move")
        page.get_by_role("button", name="The start mark is here").click()
        expect(page.locator("[name='start_lat_deg']")).to_have_value("29.963000")
        expect(page.locator("[name='start_lon_deg']")).to_have_value("-84.200000")
