"""Season's end and start, the recovery list, its files and its sheets. INVENTED DATA."""

from __future__ import annotations

import csv
import io
import re
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from html import unescape
from pathlib import Path
from typing import Any

import pytest
from icalendar import Calendar

from page_scenes import CREW, Scene, page_scene
from season_scenes import DAY, HOUR, MORNING, TERMS, sea_at, told
from soakbell import season_desk
from soakbell.gear.log import BroughtAshore, FoundMissing, Pulled
from soakbell.store.log import append_entries
from soakbell.web.season_pages import NO_ODDS

FILES = {
    "/season/recovery.csv": ("recovery.csv", "text/csv"),
    "/season/recovery.gpx": ("recovery.gpx", "application/gpx+xml"),
    "/season/recovery.ics": ("take-up.ics", "text/calendar"),
}
SUMMER = datetime(2026, 10, 1, 12, tzinfo=UTC)


@pytest.fixture
def scene(tmp_path: Path) -> Iterator[Scene]:
    """A fortnight before all must be out."""
    with page_scene(tmp_path, at=MORNING, morning=sea_at(), plan=TERMS) as built:
        built.sign_in(CREW)
        yield built


def tell(scene: Scene, *entries: Any) -> None:
    with scene.store.writing() as session:
        append_entries(session, entries)


def all_home(scene: Scene, at: datetime = MORNING - HOUR) -> None:
    tell(scene, *(told(BroughtAshore(), string, at) for string in ("Nine Foot", "Outer Bar")))


def shown(scene: Scene, path: str = "/season") -> str:
    answer = scene.visitor.get(path)
    assert answer.status_code == 200, answer.text
    return " ".join(unescape(answer.text).split())


@pytest.fixture
def no_draws(monkeypatch: pytest.MonkeyPatch) -> None:
    def drawn(*_: object, **__: object) -> None:
        raise AssertionError("weather was drawn for a page")

    monkeypatch.setattr(season_desk, "take_up_odds", drawn)


# ---- the page


@pytest.mark.usefixtures("no_draws")
def test_without_kept_odds_the_page_tells_trips_and_draws_no_weather(scene: Scene) -> None:
    page = shown(scene)
    assert "60 traps are not home: 60 fishing. All must be out by Thursday 6 May 2027, 14 days left." in page
    assert page.count("All must be out by") == 1
    assert "Trips to take them up" in page
    assert NO_ODDS in page
    assert "AssertionError" not in page


def test_the_odds_of_the_morning_letter_are_told(scene: Scene, monkeypatch: pytest.MonkeyPatch) -> None:
    scene.tell_call()

    def drawn(*_: object, **__: object) -> None:
        raise AssertionError("weather was drawn for a page")

    monkeypatch.setattr(season_desk, "take_up_odds", drawn)
    page = shown(scene)
    assert "Days to start by" in page
    assert "These odds rank days and permit none" in page
    assert NO_ODDS not in page


def test_odds_of_other_traps_than_are_out_now_are_not_told(scene: Scene) -> None:
    scene.tell_call()
    tell(scene, told(BroughtAshore(), "Nine Foot", MORNING + HOUR / 2))
    scene.clock.put(MORNING + HOUR)
    page = shown(scene)
    assert NO_ODDS in page
    assert "Days to start by" not in page


CALLED = MORNING + 11 * DAY
"""Monday past the last harvest day: a PULL is to take traps up."""
DATED = re.compile(r"<(section|p)[^>]*? data-of-call [^>]*>.*?</\1>", re.DOTALL)


@pytest.fixture
def called(tmp_path: Path) -> Iterator[Scene]:
    with page_scene(tmp_path, at=CALLED, morning=sea_at(CALLED), plan=TERMS) as built:
        built.sign_in(CREW)
        built.tell_call()
        yield built


def test_odds_that_count_today_as_called_say_for_how_long_they_may_be_shown(called: Scene) -> None:
    page = called.visitor.get("/season").text
    left = DATED.sub("", page)
    for by_odds in ("If you start today, as called,", "start by", ", Tue 4 May."):
        assert by_odds in page
        assert by_odds not in left
    assert "Trip 1: Nine Foot" in left


def test_odds_beside_a_call_are_not_told_by_a_clock_that_was_set_back(called: Scene) -> None:
    called.clock.put(CALLED + DAY)
    called.swept()
    called.clock.put(CALLED)
    page = shown(called)
    assert "as called" not in page
    assert NO_ODDS in page
    assert "Trips to take them up" in page


def test_the_list_names_every_trap_that_is_not_home(scene: Scene) -> None:
    tell(
        scene,
        told(FoundMissing(), "Nine Foot", MORNING - DAY, 8),
        told(Pulled(reset=False), "Outer Bar", MORNING - 5 * HOUR, 3),
        told(Pulled(reset=False), "Outer Bar", MORNING - 4 * HOUR, 4),
        told(BroughtAshore(), "Outer Bar", MORNING - 3 * HOUR, 4),
    )
    page = shown(scene)
    assert "59 traps are not home: 57 fishing, 1 aboard and 1 missing" in page
    assert "Nine Foot, trap 8: missing since Wed 21 Apr" in page
    assert "Outer Bar, trap 3: last seen Wed 21 Apr" in page
    assert "Lost gear: tell the authority, as local rules ask." in page


def test_no_line_for_the_shell_is_on_a_phone(scene: Scene) -> None:
    page = shown(scene)
    assert "soakbell log" not in page
    assert "--traps" not in page


def test_when_every_trap_is_home_there_is_nothing_to_print(scene: Scene) -> None:
    all_home(scene)
    page = shown(scene)
    assert "Every trap is home or written off." in page
    assert "/season/sheet" not in page.partition("<main")[2].partition("</main>")[0]


def test_past_the_last_day_the_page_says_so(scene: Scene) -> None:
    scene.clock.put(MORNING + 20 * DAY)
    page = shown(scene)
    assert "is past by 6 days" in page
    assert "Ask the authority before you go for them" in page
    assert NO_ODDS not in page


def test_a_season_that_is_about_to_start_is_told_while_traps_wait(tmp_path: Path) -> None:
    with page_scene(tmp_path, at=SUMMER, morning=sea_at(SUMMER), plan=TERMS) as scene:
        scene.sign_in(CREW)
        all_home(scene, SUMMER - HOUR)
        page = shown(scene)
        assert "Start of season" in page
        assert "Out of the water: 60 traps" in page


def test_a_plan_file_that_cannot_be_used_is_told_and_the_list_stands(tmp_path: Path) -> None:
    with page_scene(tmp_path, at=MORNING, morning=sea_at(), plan="plan.toml is torn") as scene:
        scene.sign_in(CREW)
        page = shown(scene)
        assert "the plan file can't be used: plan.toml is torn" in page
        assert "Fishing, by string" in page


def test_what_fails_is_told_and_is_no_empty_list(scene: Scene, monkeypatch: pytest.MonkeyPatch) -> None:
    def torn(*_: object, **__: object) -> None:
        raise RuntimeError("torn")

    monkeypatch.setattr(season_desk, "recovery_list", torn)
    page = shown(scene)
    assert "The list can't be told" in page
    assert "RuntimeError: torn" in page
    assert "home or written off" not in page
    for path in ("/season/sheet", *FILES):
        assert scene.visitor.get(path).status_code == 503


# ---- files


@pytest.mark.parametrize("path", FILES)
def test_files_come_as_downloads_under_fixed_names(scene: Scene, path: str) -> None:
    name, media_type = FILES[path]
    answer = scene.visitor.get(path)
    assert answer.status_code == 200
    assert answer.headers["content-disposition"] == f'attachment; filename="{name}"'
    assert answer.headers["content-type"].partition(";")[0] == media_type
    assert answer.headers["cache-control"] == "no-store"


def test_the_files_hold_what_is_out(scene: Scene) -> None:
    rows = list(csv.DictReader(io.StringIO(scene.visitor.get("/season/recovery.csv").content.decode("utf-8-sig"))))
    assert len(rows) == 60
    gpx = ET.fromstring(scene.visitor.get("/season/recovery.gpx").content)
    assert len(gpx.findall("{http://www.topografix.com/GPX/1/1}wpt")) == 61  # with the harbor
    calendar = Calendar.from_ical(scene.visitor.get("/season/recovery.ics").content)
    assert any(event.decoded("dtstart").isoformat() == "2027-05-06" for event in calendar.walk("VEVENT"))


@pytest.mark.parametrize("path", ["/season", "/season/sheet", "/season/sheet.css", *FILES])
def test_nobody_sees_them_without_signing_in(scene: Scene, path: str) -> None:
    answer = scene.another().get(path)
    assert (answer.status_code, answer.headers.get("location")) == (303, "/in")


# ---- the sheets


def test_a_sheet_a_trip_is_printed_and_carries_no_style_of_its_own(scene: Scene) -> None:
    answer = scene.visitor.get("/season/sheet")
    assert answer.status_code == 200
    assert len(re.findall(r'<section class="sheet', answer.text)) == 2
    assert "Trip 1" in answer.text
    assert "Trip 2" in answer.text
    assert "style-src 'self'" in answer.headers["content-security-policy"]
    assert "<style" not in answer.text
    assert " style=" not in answer.text
    assert "<script" not in answer.text
    assert 'href="/season/sheet.css"' in answer.text


def test_the_style_of_the_sheets_begins_each_on_a_page_of_its_own(scene: Scene) -> None:
    answer = scene.visitor.get("/season/sheet.css")
    assert answer.headers["content-type"].startswith("text/css")
    assert "break-after: page" in answer.text


def test_the_pages_stay_small(scene: Scene) -> None:
    tell(
        scene, *(told(FoundMissing(), "Outer Bar", MORNING - DAY - timedelta(minutes=n), n) for n in range(1, 36))
    )
    for path in ("/season", "/season/sheet", "/strings", "/bench", "/bait"):
        assert len(scene.visitor.get(path).content) < 60_000, path
