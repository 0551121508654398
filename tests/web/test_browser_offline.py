"""A phone at sea: what is logged without a signal comes into the log once, and in order. INVENTED DATA."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from browser import browser, need_chromium, served, sign_in
from page_scenes import CREW, Scene, page_scene
from soakbell.gear.log import LogEntry, Pulled
from soakbell.store.log import all_entries

pytestmark = pytest.mark.slow

SEA = ["1..4", "5..8", "9..12", "13..16", "17..20"]


@pytest.fixture
def scene(tmp_path: Path) -> Iterator[Scene]:
    need_chromium()
    with page_scene(tmp_path, at=datetime(2026, 12, 8, 15, tzinfo=UTC)) as built:
        yield built


def by_phone(scene: Scene) -> list[LogEntry]:
    with scene.store.reading() as session:
        return [entry for entry in all_entries(session) if entry.told_by == "phone"]


def ready_for_sea(page: Page, address: str) -> None:
    """The pages that the log needs are kept on the phone."""
    page.goto(f"{address}/log")
    page.wait_for_function("() => Boolean(navigator.serviceWorker.controller)")
    for path in ("/", "/log", "/log/pull"):
        until_kept(page, path)


def until_kept(page: Page, path: str, *, kept: bool = True) -> None:
    page.evaluate(
        """async ([path, kept]) => {
            while (Boolean(await caches.match(path)) !== kept) await new Promise((done) => setTimeout(done, 50));
        }""",
        [path, kept],
    )


def pull(page: Page, address: str, string: str = "Nine Foot", **cells: str) -> None:
    """A pull told as a hand does it."""
    page.goto(f"{address}/log/pull")
    page.get_by_label(re.compile(f"^{string}")).check()
    for label, value in cells.items():
        field = page.locator(f"[name='{label}']")
        if not field.is_visible():
            page.locator("details", has=field).locator("summary").click()
        field.fill(value)
    page.get_by_role("button", name="Tell the log").click()


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
            expect(page.locator("#signal")).to_contain_text("No signal. This page is as of")
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


def test_signed_out_the_phone_keeps_what_waits_and_forgets_the_pages(scene: Scene, tmp_path: Path) -> None:
    with served(scene) as server, browser(tmp_path / "phone", scene) as phone:
        address, page = f"http://127.0.0.1:{server.port}", phone.new_page()
        sign_in(page, address)
        ready_for_sea(page, address)
        phone.set_offline(True)
        pull(page, address, legal_claws="40")
        expect(page.locator("#waiting")).to_contain_text("1 entry waiting")
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
        page.goto(f"{address}/log")
        page.get_by_role("button", name="Sign out").click()
        page.wait_for_url(f"{address}/in")
        for path in ("/", "/log", "/log/pull"):
            until_kept(page, path, kept=False)
    assert len(by_phone(scene)) == 1


def test_a_call_that_ran_out_on_the_phone_is_no_call(tmp_path: Path) -> None:
    need_chromium()
    with (
        page_scene(tmp_path) as scene,
        served(scene) as server,
        browser(tmp_path / "phone", scene) as phone,
    ):
        scene.tell_call()
        address, page = f"http://127.0.0.1:{server.port}", phone.new_page()
        sign_in(page, address)
        expect(page.locator(".word")).to_have_text("PULL")
        ready_for_sea(page, address)
        phone.set_offline(True)
        phone.clock.set_fixed_time(scene.clock.now() + timedelta(days=1))
        page.goto(f"{address}/")
        expect(page.locator("#signal")).to_contain_text("No signal. This page is as of")
        expect(page.locator(".word")).to_have_text("NO CALL")
        expect(page.locator("#window")).to_be_hidden()


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
