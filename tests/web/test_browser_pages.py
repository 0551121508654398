"""Every page in a real browser: read by axe, small enough for a small phone, and used without a finger.

Contrast is held to 7:1, WCAG 2.2's enhanced level (1.4.6), for sunlight; controls to 48 px. INVENTED DATA.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from email import policy
from email.parser import BytesParser
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect, sync_playwright

from browser import CHROMIUM, need_chromium, served
from law.world import NOW
from page_scenes import NobodyAnswers, Scene, page_scene
from season_scenes import DAY, HOUR, MORNING, TERMS, sea_at, told
from soakbell.desk import Desk
from soakbell.gear.log import BaitBought, FoundDamaged, FoundMissing, Pulled, PutOnBench, new_entry
from soakbell.letters.facts import Link
from soakbell.store.log import append_entries
from soakbell.web.app import all_ways
from soakbell.web.door import LetterLinks
from soakbell.web.log_forms import KINDS

pytestmark = pytest.mark.slow

MOST_BYTES, LEAST_PX = 60_000, 48
STRICT = {
    "rules": {
        name: {"enabled": True} for name in ("color-contrast-enhanced", "target-size", "css-orientation-lock")
    }
}
SMALL_PX = 320
VIEWS = ((SMALL_PX, "light"), (1280, "dark"))
DECEMBER, APRIL = "December", "April"
OF_APRIL = ("/", "/season", "/season/sheet")
"""Ways that look otherwise near the end of the season."""
LIKE_OTHERS = frozenset(f"/log/{kind.value}" for kind in KINDS if kind.value not in ("pull", "set"))
"""Forms made by one template of the same shapes: each is looked at on the small screen."""


@dataclass(frozen=True)
class Port:
    """Two boats that are served, and the browser before them."""

    chromium: Browser
    boats: dict[str, tuple[Scene, str]]

    @contextmanager
    def page(self, season: str, width: int, scheme: str, *, signed_in: bool = True) -> Iterator[Page]:
        """A new phone with the boat's clock; its script runs, its service worker doesn't."""
        scene, address = self.boats[season]
        context = self.chromium.new_context(
            base_url=address,
            viewport={"width": width, "height": 800},
            color_scheme=scheme,  # type: ignore[arg-type]
            timezone_id="America/New_York",
            service_workers="block",
        )
        try:
            context.clock.set_fixed_time(scene.clock.now())
            if signed_in:
                token = scene.visitor.cookies["soakbell"]
                context.add_cookies([{"name": "soakbell", "value": token, "url": address}])
            yield context.new_page()
        finally:
            context.close()


@pytest.fixture(scope="module")
def port(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Port]:
    """*Little Grebe* on a December morning, and a fortnight before all traps must be out."""
    need_chromium()
    with ExitStack() as stack:
        boats = {}
        for season, at, morning in ((DECEMBER, NOW, None), (APRIL, MORNING, sea_at())):
            folder = tmp_path_factory.mktemp(season)
            scene = stack.enter_context(page_scene(folder, at=at, morning=morning, plan=TERMS))
            _live_a_while(scene)
            scene.tell_call()
            scene.sign_in()
            boats[season] = scene, f"http://127.0.0.1:{stack.enter_context(served(scene)).port}"
        playwright = stack.enter_context(sync_playwright())
        chromium = playwright.chromium.launch(executable_path=str(CHROMIUM), args=["--no-sandbox"])
        stack.callback(chromium.close)
        yield Port(chromium, boats)


def _live_a_while(scene: Scene) -> None:
    """A pull with its catch, a trap missing, one damaged, one on the bench, and bait."""
    at = scene.clock.now()
    entries = [
        told(FoundMissing(), "Outer Bar", at - 4 * HOUR, 4),
        told(Pulled(legal_claws=40, short_claws=4, bait="cowhide"), "Outer Bar", at - 3 * HOUR, *range(5, 31)),
        told(FoundDamaged("lid"), "Outer Bar", at - 2 * HOUR, 7),
        told(Pulled(reset=False), "Outer Bar", at - 2 * HOUR, 3),
        told(PutOnBench(), "Outer Bar", at - HOUR, 3),
        new_entry(BaitBought("cowhide", 6.0), happened_at=at - DAY, told_at=at - DAY, told_by="cli"),
    ]
    with scene.store.writing() as session:
        append_entries(session, entries)


def pages_of(scene: Scene) -> list[str]:
    """An address for each way that answers a GET with a page; of forms and strings, every one."""
    parts = {
        "kind": [kind.value for kind in KINDS],
        "name": [string.name for string in scene.house.settings.trap_strings],
        "letter": ["1"],
    }
    found = []
    for way in all_ways():
        before, apart, rest = way.path.partition("{")
        part, _, after = rest.partition("}")
        if way.get is not None:
            paths = [f"{before}{one}{after}" for one in parts[part.partition(":")[0]]] if apart else [way.path]
            found += [path for path in paths if _is_page(scene, path)]
    return found


def _is_page(scene: Scene, path: str) -> bool:
    answer = (scene.another() if path == "/in" else scene.visitor).get(path)
    assert answer.status_code in (200, 410), path  # a link of no letter has a page that says so
    return answer.headers["content-type"].startswith("text/html")


LOOKED_AT = """() => {
  const shows = (one) => one.checkVisibility({ visibilityProperty: true }) && one.getClientRects().length > 0;
  const touched = (one) => /^(checkbox|radio)$/.test(one.type) ? one.closest("label") : one;
  const low = [...document.querySelectorAll(
    "button, input:not([type=hidden]), select, textarea, summary, nav a, a.go, a.button"
  )].filter(shows).map((one) => [touched(one), one]).filter(([at]) => at.getBoundingClientRect().height < 47.99);
  const root = document.documentElement;
  const wide = root.scrollWidth <= root.clientWidth ? [] : [...document.querySelectorAll("body *")].filter(
    (one) => one.getBoundingClientRect().right > root.clientWidth + 0.5 && !one.closest(".wide")
  );
  const levels = [...document.querySelectorAll("h1, h2, h3, h4, h5, h6")].map((one) => +one.tagName[1]);
  return {
    low: low.map(([at, one]) => `${at.getBoundingClientRect().height}: ${one.outerHTML.slice(0, 120)}`),
    wide: [root.scrollWidth > root.clientWidth, ...wide.slice(0, 3).map((one) => one.outerHTML.slice(0, 120))],
    levels,
  };
}"""


def faults_of(page: Page) -> list[str]:
    """What is wrong with the page as it stands, with all that is folded opened."""
    page.evaluate("() => document.querySelectorAll('details').forEach((one) => { one.open = true; })")
    seen = page.evaluate(LOOKED_AT)
    found = [f"too low, {one}" for one in seen["low"]]
    if seen["wide"][0]:
        found.append(f"scrolls sideways: {seen['wide'][1:]}")
    return found + axe(page)


def axe(page: Page) -> list[str]:
    """Violations, and texts whose contrast axe could not tell, but for those of a drawing or scrolled aside."""
    response = Axe().run(page, options=STRICT).response
    unsure = [one for one in response["incomplete"] if one["id"].startswith("color-contrast")]
    return [
        f"{rule['id']}: {node['html'][:160]} {node['any'][0]['message'] if node['any'] else ''}"
        for rule in (*response["violations"], *unsure)
        for node in rule["nodes"]
        if rule not in unsure or not node["html"].startswith(("<text", "<th", "<td"))
    ]


@pytest.mark.parametrize(("width", "scheme"), VIEWS)
def test_every_page_is_read_by_axe_fits_and_has_controls_for_a_thumb(port: Port, width: int, scheme: str) -> None:
    wrong = []
    for season, only in ((DECEMBER, None), (APRIL, OF_APRIL)):
        scene, _ = port.boats[season]
        with (
            port.page(season, width, scheme) as page,
            port.page(season, width, scheme, signed_in=False) as strange,
        ):
            for path in only or pages_of(scene):
                if width > SMALL_PX and path in LIKE_OTHERS:
                    continue
                on = strange if path in ("/in", "/open") else page
                on.goto(path)
                wrong += [f"{season} {path}: {fault}" for fault in faults_of(on)]
    assert not wrong, "\n".join(wrong)


def test_a_form_with_faults_is_read_by_axe_too(port: Port) -> None:
    for width, scheme in VIEWS:
        with port.page(DECEMBER, width, scheme) as page:
            page.goto("/log/pull")
            _fill_in_badly(page)
            assert faults_of(page) == []


def _fill_in_badly(page: Page) -> None:
    """Faults in what is open and what is folded, and one of the whole."""
    page.get_by_label(re.compile("^Nine Foot")).check()
    page.evaluate("() => document.querySelectorAll('details').forEach((one) => { one.open = true; })")
    page.locator("[name=legal_claws]").fill("many")
    page.locator("[name=damage_traps]").fill("99")
    page.get_by_role("button", name="Tell the log").click()
    expect(page.locator("#fault-legal_claws")).to_be_visible()


CONTROLS = """() => [
  ...document.querySelectorAll("a, button, input:not([type=hidden]), select, textarea, summary")
]
  .filter((one) => one.checkVisibility() && !one.closest("details:not([open]) > :not(summary)"))
  .map((one) => one.type === "radio" ? `radio ${one.name}` : one.outerHTML.slice(0, 90))
  .filter((one, at, all) => one !== all[at - 1])"""

AT = """() => {
  const one = document.activeElement, box = one.getBoundingClientRect(), style = getComputedStyle(one);
  return {
    name: one.type === "radio" ? `radio ${one.name}` : one.outerHTML.slice(0, 90),
    seen: box.height > 0 && box.bottom > 0 && box.top < innerHeight,
    ring: `${style.outlineStyle} ${style.outlineWidth}`,
  };
}"""


def test_by_keyboard_alone_each_control_of_a_pull_is_reached_in_order_and_shows_where_one_is(port: Port) -> None:
    with port.page(DECEMBER, SMALL_PX, "light") as page:
        page.goto("/log/pull")
        controls, reached = page.evaluate(CONTROLS), []
        assert len(controls) > 20
        for _turn in range(3 * len(controls)):  # a moment's parts are a stop each
            page.keyboard.press("Tab")
            at = page.evaluate(AT)
            if at["name"].startswith("<body"):
                break
            assert at["seen"], at
            assert at["ring"] == "solid 4px", at
            if at["name"] not in reached[-1:]:
                reached.append(at["name"])
        assert reached == controls


def test_a_letters_link_shows_one_button_that_signs_in_once_and_leads_where_it_says(port: Port) -> None:
    scene, address = port.boats[APRIL]
    house = scene.house
    links = LetterLinks(address, house.keys, house.boat, house.terms.skipper)

    def link_of(*what: Any) -> Link:
        return Link("Open the page", links.link(*what))

    desk = Desk(house.settings, scene.store, scene.clock, NobodyAnswers(), terms=TERMS, page_links=link_of)
    letter = desk.write("morning", MORNING.date(), 0, late=False, clock_suspect=False)
    plain = BytesParser(policy=policy.default).parsebytes(letter.message).get_body(("plain",))
    assert plain is not None
    (link,) = re.findall(rf"{re.escape(address)}/open\?t=\S+", plain.get_content())
    for opened in ("first", "again"):
        with port.page(APRIL, SMALL_PX, "dark", signed_in=False) as page:
            page.goto(link)
            button = page.get_by_role("button")
            if opened == "again":
                button.click()
                expect(page.get_by_role("alert")).to_contain_text("was used before")
                continue
            assert faults_of(page) == []
            expect(button).to_have_count(1)
            button.click()
            page.wait_for_url(f"{address}/")
            expect(page.get_by_role("heading", level=1)).to_have_text("Today")
            expect(page.get_by_role("button", name="Sign out")).to_be_visible()


def test_each_sheet_prints_on_a_page_of_its_own(port: Port) -> None:
    with port.page(APRIL, 1280, "dark") as page:
        page.goto("/season/sheet")
        sheets = page.locator("section.sheet h1").all_inner_texts()
        printed = page.pdf(format="Letter", prefer_css_page_size=True)
    assert sheets == ["Trip 1", "Trip 2", "Missing and aboard"]
    assert len(re.findall(rb"/Type\s*/Page\b", printed)) == len(sheets)


def test_every_page_is_light(port: Port) -> None:
    for season, only in ((DECEMBER, None), (APRIL, OF_APRIL)):
        scene, _ = port.boats[season]
        for path in only or pages_of(scene):
            assert len(scene.visitor.get(path).content) < MOST_BYTES, path
