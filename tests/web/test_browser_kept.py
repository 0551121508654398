"""Pages that a phone keeps: how old they are, and what they leave out without a call. INVENTED DATA."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta
from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext, Page, expect

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
from page_scenes import Scene, page_scene
from season_scenes import DAY, MORNING, TERMS, sea_at
from soakbell.gear.log import BaitBought, Pulled, new_entry
from soakbell.store.log import all_entries, append_entries

pytestmark = pytest.mark.slow

CALLED = MORNING + 11 * DAY
"""Past the last harvest day: a PULL is to take traps up."""


@contextmanager
def phone_that_keeps(scene: Scene, folder: Path, *paths: str) -> Iterator[tuple[BrowserContext, Page, str]]:
    """A phone without a signal that keeps the pages of now, ``paths`` among them."""
    with served(scene) as server, browser(folder / "phone", scene) as phone:
        address, page = f"http://127.0.0.1:{server.port}", phone.new_page()
        sign_in(page, address)
        ready_for_sea(page, address)
        for path in paths:
            until_kept(page, path)
        phone.set_offline(True)
        yield phone, page, address


def look_again(phone: BrowserContext, page: Page, scene: Scene, later: timedelta) -> None:
    """At a page that stayed open."""
    phone.clock.set_fixed_time(scene.clock.now() + later)
    page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")


def test_a_kept_page_ages_from_when_it_was_served_and_not_from_when_it_was_opened(tmp_path: Path) -> None:
    need_chromium()
    with page_scene(tmp_path) as scene:
        bought_at = scene.clock.now() - 3 * DAY
        bought = BaitBought("mullet heads", 6.0)
        with scene.store.writing() as session:
            append_entries(session, [new_entry(bought, happened_at=bought_at, told_at=bought_at, told_by="cli")])
        scene.tell_call()
        with phone_that_keeps(scene, tmp_path, "/bait") as (phone, page, address):
            for path, words in (("/", "PULL"), ("/bait", "For the trip of today's call")):
                phone_at(phone, scene.clock.now() + timedelta(minutes=20))
                page.goto(f"{address}{path}")
                of_call = page.get_by_text(words, exact=True)
                expect(of_call).to_be_visible()
                expect(page.locator("#kept-call")).to_contain_text("Look for a CHANGED CALL.")
                look_again(phone, page, scene, timedelta(minutes=35))
                expect(of_call).to_have_count(0)
                expect(page.get_by_role("alert")).to_contain_text("too old for its call to count")
            phone_at(phone, scene.clock.now() + timedelta(minutes=31))
            assert "For the trip of" not in by_the_worker(page, "/bait")


@pytest.mark.long
def test_a_kept_page_of_the_season_leaves_out_what_counts_today_as_called(tmp_path: Path) -> None:
    need_chromium()
    with page_scene(tmp_path, at=CALLED, morning=sea_at(CALLED), plan=TERMS) as scene:
        scene.tell_call()
        with phone_that_keeps(scene, tmp_path, "/season") as (phone, page, address):
            phone_at(phone, scene.clock.now() + timedelta(minutes=20))
            page.goto(f"{address}/season")
            expect(page.get_by_text("If you start today, as called,")).to_be_visible()
            expect(page.locator("#kept-call")).to_contain_text("Look for a CHANGED CALL.")
            phone_at(phone, scene.clock.now() + timedelta(minutes=31))
            for text in (by_the_worker(page, "/season"), page.goto(f"{address}/season") and page.content()):
                for by_odds in ("as called", "start by", ", Tue 4 May."):
                    assert by_odds not in text
                assert "too old for its call to count" in text
                assert "Trip 1: Nine Foot" in text


def test_a_session_that_ends_at_sea_leaves_forms_without_marks_and_entries(tmp_path: Path) -> None:
    need_chromium()
    with page_scene(tmp_path) as scene, phone_that_keeps(scene, tmp_path, "/strings") as (phone, page, address):
        page.goto(f"{address}/log/pull")
        assert page.locator("[data-start-lat]").count() == 2
        scene.clock.put(scene.clock.now() + 31 * DAY)
        phone_at(phone, scene.clock.now())
        phone.set_offline(False)
        page.goto(f"{address}/log")
        page.wait_for_url(f"{address}/in")
        for path in ("/", "/strings"):
            until_kept(page, path, kept=False)
        phone.set_offline(True)
        page.goto(f"{address}/log")
        expect(page.get_by_text("Told last")).to_be_visible()
        expect(page.locator(".rows")).to_have_count(0)
        pull(page, address, legal_claws="40")
        expect(page.locator("#waiting")).to_contain_text("1 entry waiting")
        assert page.locator("[data-start-lat]").count() == 0
        phone.set_offline(False)
        page.goto(f"{address}/in")
        expect(
            page.get_by_text("1 entry waits on this phone. It goes to the log once you sign in.")
        ).to_be_visible()
        sign_in(page, address)
        expect(page.locator("#waiting")).to_be_hidden()
        until(page, "async () => !(await soakbell.queue.all()).length")
        with scene.store.reading() as session:
            assert all_entries(session)[-1].detail == Pulled(legal_claws=40)
