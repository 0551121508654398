"""A real browser before a served page: Chromium through Playwright, its profile kept in a folder."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext, Page, expect, sync_playwright

from page_scenes import SKIPPER, Scene
from soakbell.web.app import page_app
from soakbell.web.server import PageServer

CHROMIUM = Path("/usr/bin/chromium")
expect.set_options(timeout=20_000)  # of a busy machine


def need_chromium() -> None:
    """Skip where there is no browser, and fail where there must be one."""
    if CHROMIUM.exists():
        return
    if os.environ.get("SOAKBELL_NEEDS_SHARED") == "1":
        pytest.fail(f"there is no {CHROMIUM}, and this run must have it")
    pytest.skip(f"there is no {CHROMIUM}")


@contextmanager
def served(scene: Scene, port: int = 0) -> Iterator[PageServer]:
    """The scene's page on loopback."""
    server = PageServer(page_app(scene.house), port)
    server.start()
    try:
        yield server
    finally:
        server.stop()


@contextmanager
def browser(
    profile: Path, scene: Scene | None = None, *, width: int = 390, height: int = 800, scheme: str = "light"
) -> Iterator[BrowserContext]:
    """A browser that is opened, and closed at the end; what it keeps stays in ``profile``.

    With a ``scene``, its pages show that clock's time; its service worker has the computer's until ``phone_at``.
    """
    with sync_playwright() as playwright:
        context = playwright.chromium.launch_persistent_context(
            str(profile),
            executable_path=str(CHROMIUM),
            args=["--no-sandbox"],
            viewport={"width": width, "height": height},
            color_scheme=scheme,  # type: ignore[arg-type]
            timezone_id="America/New_York",
        )
        try:
            if scene is not None:
                context.clock.set_fixed_time(scene.clock.now())
            yield context
        finally:
            context.close()


def phone_at(context: BrowserContext, at: datetime) -> None:
    """Pages and the service worker, which must have begun, show this time from now on."""
    context.clock.set_fixed_time(at)
    (worker,) = context.service_workers
    worker.evaluate("(now) => { Date.now = () => now; }", at.timestamp() * 1000)


@contextmanager
def browser_page(
    scene: Scene, profile: Path, *, passphrase: str = SKIPPER, width: int = 390, scheme: str = "light"
) -> Iterator[tuple[Page, str]]:
    """A page of a browser that has signed in, and the address of the boat's page, served while it lasts."""
    need_chromium()
    with served(scene) as server, browser(profile, scene, width=width, scheme=scheme) as context:
        address = f"http://127.0.0.1:{server.port}"
        page = context.new_page()
        sign_in(page, address, passphrase)
        yield page, address


def sign_in(page: Page, address: str, passphrase: str = SKIPPER) -> None:
    page.goto(f"{address}/in")
    page.get_by_label("Passphrase").fill(passphrase)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url(f"{address}/")


def ready_for_sea(page: Page, address: str) -> None:
    """The phone keeps what the log needs: the pages, and how far its clock is off."""
    page.goto(f"{address}/log")
    page.wait_for_function("() => Boolean(navigator.serviceWorker.controller)")
    for path in ("/", "/log", "/log/pull"):
        until_kept(page, path)
    until(page, "() => localStorage.getItem('soakbell clock behind ms') !== null")


def until_kept(page: Page, path: str, *, kept: bool = True) -> None:
    until(page, "async ([path, kept]) => Boolean(await caches.match(path)) === kept", [path, kept])


def until(page: Page, expression: str, given: object = None) -> None:
    """Until this is true: ``wait_for_function`` takes the promise of any async function for a truth."""
    for _ in range(400):
        if page.evaluate(expression, given):
            return
        page.wait_for_timeout(50)
    raise AssertionError(f"not within twenty seconds: {expression}, {given}")


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


def by_the_worker(page: Page, path: str = "/") -> str:
    """A page as the service worker gives it, before any script of the page has run."""
    text: str = page.evaluate("async (path) => (await fetch(path, {headers: {Accept: 'text/html'}})).text()", path)
    return text
