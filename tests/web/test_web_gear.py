"""Strings, bench and bait on the phone page. INVENTED DATA."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from html import unescape
from pathlib import Path
from xml.etree import ElementTree

import pytest
from sqlalchemy import text, update

from law.world import NOW, SETTINGS_TOML, settings_from, world
from page_scenes import CREW, NobodyAnswers, Scene, page_scene, visitor_of
from soakbell.desk import Desk
from soakbell.gear.log import (
    BaitBought,
    BaitMoved,
    BaitOrdered,
    Barred,
    Correction,
    Detail,
    FoundDamaged,
    FoundMissing,
    LogEntry,
    Moved,
    PartCounted,
    Pinned,
    Pulled,
    PutOnBench,
    UpkeepDone,
    new_entry,
)
from soakbell.gear.strings import Mark
from soakbell.store.log import append_entries
from soakbell.store.schema import LogRow

DAY, HOUR = timedelta(days=1), timedelta(hours=1)
LATCH = "latch"


@pytest.fixture
def scene(tmp_path: Path) -> Iterator[Scene]:
    with page_scene(tmp_path) as built:
        built.sign_in(CREW)
        yield built


def tell(scene: Scene, detail: Detail, string: str | None = None, *traps: int, ago: timedelta = HOUR) -> LogEntry:
    at = NOW - ago
    entry = new_entry(detail, happened_at=at, told_at=at, told_by="cli", string=string, traps=traps)
    with scene.store.writing() as session:
        append_entries(session, [entry])
    return entry


def bench(scene: Scene, string: str, place: int) -> None:
    """A trap is put on the bench from aboard."""
    tell(scene, Pulled(reset=False), string, place, ago=2 * HOUR)
    tell(scene, PutOnBench(), string, place)


def tear(scene: Scene, *kinds: str) -> None:
    """Entries of these kinds, or all, can't be read any more."""
    torn = update(LogRow).values(detail={"torn": True})
    with scene.store.writing() as session:
        session.execute(text("DROP TRIGGER log_entry_no_update"))
        session.execute(torn.where(LogRow.kind.in_(kinds)) if kinds else torn)


def shown(scene: Scene, path: str) -> str:
    """The page's own words, one space between each."""
    answer = scene.visitor.get(path)
    assert answer.status_code == 200, answer.text
    main = answer.text.partition('<main id="main">')[2].partition("</main>")[0]
    return " ".join(unescape(main).split())


def fact(page: str, what: str) -> str:
    return page.partition(f"<dt>{what}</dt><dd>")[2].partition("</dd>")[0]


# ---- strings


def test_a_string_tells_where_its_traps_are_and_how_long_they_soaked(scene: Scene) -> None:
    tell(scene, FoundMissing(), "Nine Foot", 7)
    bench(scene, "Nine Foot", 3)
    page = shown(scene, "/strings/Nine%20Foot")
    assert fact(page, "Traps") == "24: 22 fishing, 1 on the bench and 1 missing"
    assert fact(page, "Oldest soak") == "8 days: ripe, past your floor of 5 days"
    assert fact(page, "Last pulled") == "Tue 8 Dec 02:30"
    assert "Trap 7: missing since Tue 8 Dec" in page


@pytest.mark.parametrize(
    ("floor_days", "ceiling_days", "told"),
    [(9, 14, "8 days: not ripe, your floor is 9 days"), (5, 7, "8 days: past your ceiling of 7 days")],
)
def test_a_soak_stands_beside_the_skippers_floor_and_ceiling(
    tmp_path: Path, floor_days: int, ceiling_days: int, told: str
) -> None:
    toml = SETTINGS_TOML.replace("soak_floor_days = 5", f"soak_floor_days = {floor_days}")
    toml = toml.replace("soak_ceiling_days = 14", f"soak_ceiling_days = {ceiling_days}")
    with page_scene(tmp_path, morning=world(settings=settings_from(toml))) as scene:
        scene.sign_in()
        assert fact(shown(scene, "/strings/Nine%20Foot"), "Oldest soak") == told


def test_by_a_clock_behind_the_log_no_soak_is_told(scene: Scene) -> None:
    scene.clock.put(NOW - 30 * DAY)
    assert fact(shown(scene, "/strings/Nine%20Foot"), "Oldest soak") == "none, the clock is behind the log"


def test_days_that_the_skipper_pinned_or_barred_are_shown_until_they_are_past(scene: Scene) -> None:
    today = NOW.date()
    tell(scene, Pinned(today + DAY, "Nine Foot"), ago=2 * HOUR)
    tell(scene, Barred(today + 2 * DAY, "Nine Foot"), ago=2 * HOUR)
    tell(scene, Pinned(today - DAY, "Nine Foot"), ago=2 * DAY)
    tell(scene, Barred(today + 3 * DAY))
    page = shown(scene, "/strings")
    assert fact(page, "Your days") == "pinned Wed 9 Dec; barred Thu 10 Dec"
    assert "Barred Fri 11 Dec: no string" in page
    assert "Mon 7 Dec" not in page


def test_the_catch_is_listed_and_plotted_pull_by_pull(scene: Scene) -> None:
    tell(scene, Pulled(legal_claws=48, lb=12.0), "Nine Foot", ago=2 * DAY)
    tell(scene, Pulled(legal_claws=24), "Nine Foot", ago=DAY)
    page = shown(scene, "/strings/Nine%20Foot")
    assert "48 legal claws, 2.0 a trap; 12 lb, 0.50 a trap" in page
    assert "Mon 7 Dec: 24 traps after 1 day; 24 legal claws, 1.0 a trap" in page
    assert page.count("<rect ") == 2
    assert page.index("Mon 7 Dec: 24 traps") < page.index("Sun 6 Dec: 24 traps"), "the newest pull stands first"
    assert fact(page, "Last pulled") == "Mon 7 Dec 04:30"


def test_a_pull_without_its_catch_is_no_bar_of_nothing(scene: Scene) -> None:
    tell(scene, Pulled(), "Nine Foot")
    page = shown(scene, "/strings/Nine%20Foot")
    assert "<rect " not in page
    assert "No pull of this string with its catch is in the log" in page


def test_what_was_told_lately_is_shown_and_what_was_undone_says_so(scene: Scene) -> None:
    wrong = tell(scene, FoundMissing(), "Nine Foot", 7, ago=2 * HOUR)
    tell(scene, Correction(wrong.id, "it was there"))
    page = shown(scene, "/strings/Nine%20Foot")
    assert "<strong>Undone:</strong> Missing, Nine Foot, trap 7" in page
    assert fact(page, "Traps") == "24: 24 fishing"


def test_entries_of_other_strings_are_not_shown(scene: Scene) -> None:
    tell(scene, FoundMissing(), "Outer Bar", 7)
    assert "Outer Bar" not in shown(scene, "/strings/Nine%20Foot")


def test_the_plan_follows_a_move(scene: Scene) -> None:
    before = shown(scene, "/strings/Nine%20Foot")
    tell(scene, Moved(Mark(30.05, -84.15), Mark(30.06, -84.15)), "Nine Foot")
    after = shown(scene, "/strings/Nine%20Foot")
    assert "Its marks are those of the settings" in before
    assert "Its marks are those that the log was told" in after
    assert fact(after, "Start mark") == "30°03.000'N 84°09.000'W"


@pytest.mark.parametrize("path", ["/strings", "/strings/Nine%20Foot"])
def test_drawings_are_well_formed_named_and_without_style(scene: Scene, path: str) -> None:
    tell(scene, Pulled(legal_claws=24), "Nine Foot")
    page = scene.visitor.get(path).text
    drawings = [part.partition("</svg>")[0] for part in page.split("<svg ")[1:]]
    assert drawings
    for part in drawings:
        drawing = ElementTree.fromstring(f"<svg {part}</svg>")
        ids = {one.get("id") for one in drawing if one.tag in ("title", "desc")}
        assert set(str(drawing.get("aria-labelledby")).split()) == ids
        assert all(one.text for one in drawing if one.tag in ("title", "desc", "text"))
        assert not any(one.get("style") or one.tag == "style" for one in drawing.iter())


@pytest.mark.parametrize("name", ["Ten Foot", "", "nine foot", "Nine%20Foot/", "..%2F..", "%3Cb%3E", "%00"])
def test_a_string_that_the_boat_does_not_have_is_not_found(scene: Scene, name: str) -> None:
    assert scene.visitor.get(f"/strings/{name}").status_code == 404


def test_any_name_of_a_string_has_its_page_and_stays_text(tmp_path: Path) -> None:
    name = "A/B <b>&? 100% ö"
    toml = SETTINGS_TOML.replace('name = "Nine Foot"', f'name = "{name}"')
    with page_scene(tmp_path, morning=world(settings=settings_from(toml))) as scene:
        scene.sign_in()
        path = scene.visitor.get("/strings").text.partition('href="/strings/')[2].partition('"')[0]
        answer = scene.visitor.get(f"/strings/{path}")
        assert answer.status_code == 200
        assert "<h1>A/B &lt;b&gt;&amp;? 100% ö</h1>" in answer.text
        assert "<b>&" not in answer.text


def test_without_the_books_the_strings_are_still_told(scene: Scene) -> None:
    tell(scene, BaitBought("mullet heads", 6.0))
    tear(scene, "bait-bought")
    page = shown(scene, "/strings")
    assert fact(page, "Traps") == "24: 24 fishing"
    assert "can't be read" in page
    assert "not known" in fact(page, "Last pulled")


# ---- bench


def test_the_bench_tells_what_lies_there_what_to_mend_and_what_to_buy(scene: Scene) -> None:
    for place, where in ((3, "Nine Foot"), (5, "Outer Bar")):
        tell(scene, FoundDamaged(LATCH), where, place, ago=3 * HOUR)
    bench(scene, "Outer Bar", 5)
    tell(scene, PartCounted("hook latch", 0.0))
    page = shown(scene, "/bench")
    assert f"Outer Bar, trap 5: {LATCH}" in page
    assert "To mend when they come up" in page
    assert "Nine Foot, trap 3" in page
    assert "Upkeep not in the log yet" in page


def test_upkeep_that_is_overdue_is_told_by_its_day(scene: Scene) -> None:
    tell(scene, UpkeepDone("first-aid kit"), ago=900 * DAY)
    page = shown(scene, "/bench")
    assert "First-aid kit (safety gear): " in page.partition("Upkeep due")[2].partition("Upkeep not in the log")[0]


# ---- bait


def test_bait_is_told_by_place_with_what_is_thawing_and_on_order(scene: Scene) -> None:
    tell(scene, BaitBought("mullet heads", 6.0), ago=3 * DAY)
    tell(scene, BaitMoved("mullet heads", 1.5), ago=10 * HOUR)
    tell(scene, BaitOrdered("mullet heads", 8.0))
    page = shown(scene, "/bait")
    assert fact(page, "On hand") == "4.5 boxes in the freezer and 1.5 boxes set to thaw"
    assert "1.5 boxes of mullet heads, set to thaw, out since Mon 7 Dec 18:30" in page
    assert "8 boxes of mullet heads, ordered Tue 8 Dec 03:30" in page
    assert "Expected to be baited with it" in page


def test_bait_that_was_never_counted_is_not_told_as_none(scene: Scene) -> None:
    page = shown(scene, "/bait")
    assert fact(page, "On hand") == "not in the log yet: count it"
    assert "Reorder below" not in page


def test_the_load_of_todays_trip_is_shown_while_the_call_counts(scene: Scene) -> None:
    tell(scene, BaitBought("mullet heads", 6.0), ago=3 * DAY)
    scene.tell_call()
    assert "For the trip of today's call" in shown(scene, "/bait")
    scene.clock.put(NOW + 18 * HOUR)
    assert "For the trip of today's call" not in shown(scene, "/bait")


def test_no_load_is_shown_by_a_clock_that_was_set_back(scene: Scene) -> None:
    tell(scene, BaitBought("mullet heads", 6.0), ago=3 * DAY)
    scene.tell_call()
    scene.clock.put(NOW + DAY)
    scene.swept()
    scene.clock.put(NOW)
    assert "For the trip of today's call" not in shown(scene, "/bait")


def test_the_load_of_todays_trip_says_for_how_long_it_may_be_shown(scene: Scene) -> None:
    tell(scene, BaitBought("mullet heads", 6.0), ago=3 * DAY)
    scene.tell_call()
    call = re.search(r'data-ends-at="[^"]+" data-served-at="[^"]+"', scene.visitor.get("/").text)
    assert call is not None
    assert f"<section data-of-call {call[0]}>" in scene.visitor.get("/bait").text


# ---- without a gear file, or with a fault in it


@pytest.mark.parametrize("path", ["/bench", "/bait"])
def test_a_fault_in_the_gear_file_is_told_and_the_log_by_itself(tmp_path: Path, path: str) -> None:
    with page_scene(tmp_path, outfit="gear.toml can't be read: a key is wrong") as scene:
        scene.sign_in()
        tell(scene, BaitBought("mullet heads", 6.0))
        bench(scene, "Nine Foot", 3)
        page = shown(scene, path)
        assert "gear.toml can't be read: a key is wrong" in page
        known = "Mullet heads: 6 boxes in the freezer" if path == "/bait" else "Nine Foot, trap 3"
        assert known in page


def test_without_a_gear_file_the_pages_say_so(tmp_path: Path) -> None:
    with page_scene(tmp_path) as whole:
        house = whole.house
        desk = Desk(house.settings, whole.store, whole.clock, NobodyAnswers(), outfit=None)
        house = replace(house, desk=desk, outfit=None)
        bare = replace(whole, house=house, visitor=visitor_of(house))
        bare.sign_in()
        for path, known in (("/bench", "No trap lies there"), ("/bait", "No bait is in the log")):
            page = shown(bare, path)
            assert "No gear file is set up" in page
            assert known in page
            assert "could not be told" not in page


def test_a_log_that_cannot_be_read_is_told_and_is_no_empty_boat(scene: Scene) -> None:
    tear(scene)
    for path in ("/strings", "/strings/Nine%20Foot", "/bench", "/bait"):
        answer = scene.visitor.get(path)
        assert answer.status_code == 503 or "could not be told" in answer.text, path
        assert "24 fishing" not in answer.text


def test_looking_changes_nothing(scene: Scene) -> None:
    tell(scene, Pulled(legal_claws=48, lb=12.0), "Nine Foot", ago=2 * DAY)

    def everything() -> list[tuple[object, ...]]:
        with scene.store.reading() as session:
            connection = session.connection()
            names = [
                name for (name,) in connection.exec_driver_sql("SELECT name FROM sqlite_master WHERE type='table'")
            ]
            return [row for name in sorted(names) for row in connection.exec_driver_sql(f"SELECT * FROM {name}")]

    before = everything()
    for path in ("/strings", "/strings/Nine%20Foot", "/bench", "/bait", "/season", "/season/sheet"):
        assert scene.visitor.get(path).status_code == 200
    assert everything() == before
