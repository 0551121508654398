"""What letters and the sheet tell of a season's start. All data here is invented."""

from __future__ import annotations

import re
import subprocess
from dataclasses import fields, replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from pages import Page

from browser import CHROMIUM, need_chromium
from scenes import DAY, FACTS, MADE_AT
from soakbell.letters.setting_sheet import setting_sheet
from soakbell.letters.start_section import NO_CALL, start_section
from soakbell.planning.season_start import SeasonStart
from start_scenes import GEAR, OPENING, letter_with, start_letter, start_of


def told(start: SeasonStart | None) -> str:
    return " ".join(letter_with(start).text.split())


def test_the_letter_says_from_when_by_which_rule_and_how_many_wait() -> None:
    words = " ".join(start_letter("start-of-season").text.split())
    assert (
        "Traps may be set from Tuesday 22 December 2026, in 14 days. No trap may be pulled for its catch before "
        "Fri 1 Jan 2027. Out of the water: 162 traps." in words
    )
    assert (
        "Rule: earliest placing. Source: an invented rule. Not read in the rule's own text (second-hand). Check "
        "with the authority." in words
    )


def test_the_trips_are_told_with_their_first_day_what_the_law_leaves_ashore_and_that_they_are_no_call() -> None:
    words = told(start_of())
    assert "Setting in 2 trips, none before Tue 22 Dec:" in words
    assert "The law allows 150 traps: Ledge traps 23 to 32 stay ashore." in words
    assert NO_CALL in words
    assert "soakbell setting --sheet setting.html" in words


def test_what_to_see_to_is_told_with_minutes_parts_tags_and_gear_rules() -> None:
    words = told(start_of())
    assert "160 traps may be set as they are" in words
    assert "2 traps may not be set" in words
    assert "To mend before that, 25 min in all" in words
    assert "Parts to buy for all of it: 1 x ring." in words
    assert "72 traps: The Hump traps 1 to 40 and Ledge traps 1 to 32." in words
    assert "Gear rules in force on Tue 22 Dec" in words
    assert (
        "Buoy: At least 6 inches, with the number of the boat. Source: an invented rule book. Not read in the "
        "rule's own text (second-hand)." in words
    )


@pytest.mark.parametrize(
    ("days", "sentence"),
    [
        (-1, "Traps may be set from tomorrow, Tuesday 22 December 2026."),
        (0, "Traps may be set from today, Tuesday 22 December 2026."),
        (3, "Traps may be set since Tuesday 22 December 2026."),
    ],
)
def test_the_day_is_told_as_seen_from_today(days: int, sentence: str) -> None:
    today = OPENING.set_from + timedelta(days=days)
    section = start_section(replace(start_of(), today=today), "soakbell")
    assert section is not None
    assert section.lines[0].startswith(sentence)


def test_past_the_first_harvest_day_or_where_it_is_the_same_nothing_is_said_of_it() -> None:
    same = replace(OPENING, harvest_from=OPENING.set_from)
    assert "No trap may be pulled" not in told(replace(start_of(), opening=same))
    past = replace(start_of(), today=date(2027, 1, 1))
    assert "No trap may be pulled" not in told(past)


def test_without_a_deck_load_the_letter_says_what_to_write_where() -> None:
    lacking = "no deck load is known; write deck_traps in [boat] of the settings"
    bare = replace(start_of(), plan=None, lacking=lacking)
    assert f"Trips can't be told: {lacking}." in told(bare)


def test_a_step_that_failed_is_told_beside_the_rest() -> None:
    words = told(replace(start_of(), plan=None, fault="trips: ZeroDivisionError: a torn page"))
    assert "Not all of the start of season could be told: trips: ZeroDivisionError: a torn page." in words
    assert "Out of the water: 162 traps." in words


def test_a_start_that_can_not_be_read_costs_its_section_and_nothing_else() -> None:
    broken: Any = replace(start_of(), rules=(None,))
    words, bare = letter_with(broken), letter_with(None)
    assert "Not all of the start of season could be told: AttributeError" in " ".join(words.text.split())
    assert words.subject == bare.subject
    lines = iter(words.text.splitlines())
    assert all(line in lines for line in bare.text.splitlines())


def test_the_scene_shows_every_field_of_a_start() -> None:
    """A field that it doesn't fill could be left out of the letters unseen."""
    start = start_of()
    assert {field.name for field in fields(start) if not getattr(start, field.name)} == {"lacking", "fault"}


def test_without_a_start_in_sight_there_is_no_section() -> None:
    assert "Start of season" not in letter_with(None).text + letter_with(None).html


def test_the_letter_is_small_enough_to_be_shown_whole_and_its_page_is_well_formed() -> None:
    html = start_letter("start-of-season").html
    assert len(html.encode()) < 80_000
    Page(html)


# ---- the sheet


def test_the_sheet_has_a_check_list_and_a_page_a_trip_with_a_box_for_each_trap() -> None:
    start = start_of()
    html = setting_sheet(start, GEAR, FACTS, now=MADE_AT)
    assert start.plan is not None
    assert html.count("<h1>") == 1 + len(start.plan.trips.trips)
    rows = html.count('<ul class="rows">')
    assert rows == 1
    boxes = html.count("<li>")
    assert boxes == start.plan.trips.traps + html.split("</ul>")[0].count("<li>")
    assert '<span class="tag">N 101</span>' in html
    assert "Setting list, Little Grebe" in html
    assert "Recovery" not in html


def test_the_sheet_says_when_what_stays_ashore_and_that_it_is_no_call() -> None:
    words = " ".join(Page(setting_sheet(start_of(), GEAR, FACTS, now=MADE_AT)).text.split())
    assert words.count("Traps may be set from Tuesday 22 December 2026.") == 3, "on each sheet"
    assert "Ledge traps 23 to 32 stay ashore" in words
    assert NO_CALL in words
    assert "Set by: ______" in words


@pytest.mark.slow
def test_a_browser_prints_one_sheet_of_paper_for_each_deck_load(tmp_path: Path) -> None:
    """Where chromium is at hand. The check list takes two, and each of two trips one."""
    need_chromium()
    page, printed = tmp_path / "sheet.html", tmp_path / "sheet.pdf"
    page.write_text(setting_sheet(start_of(), GEAR, FACTS, now=MADE_AT), encoding="utf-8")
    options = ["--headless", "--no-sandbox", "--disable-gpu", f"--user-data-dir={tmp_path / 'profile'}"]
    subprocess.run(
        [str(CHROMIUM), *options, f"--print-to-pdf={printed}", page.as_uri()], check=True, capture_output=True
    )
    assert len(re.findall(rb"/Type\s*/Page\b", printed.read_bytes())) == 4


def test_with_nothing_that_waits_the_sheet_says_so() -> None:
    html = setting_sheet(SeasonStart(OPENING, DAY, 0), GEAR, FACTS, now=MADE_AT)
    assert "No trap waits to be set." in html
