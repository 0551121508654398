"""The recovery list as a letter, as files and on paper."""

from __future__ import annotations

import io
import re
import subprocess
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from email.message import EmailMessage
from pathlib import Path
from typing import Any

import gpxpy
import pandas as pd
import pytest
import vobject
from hypothesis import given
from hypothesis import strategies as st
from icalendar import Calendar
from pages import Page

from browser import CHROMIUM, need_chromium
from gpx_1_1 import faults_of
from logbook import LEDGE, NINE_FOOT, logs
from logbook import NOW as LOG_NOW
from recovery_scenes import DEADLINE, NOW, SEASON_FACTS, TAKE_UP, TODAY, season_end
from scenes import STRINGS
from soakbell.gear.fold import fold
from soakbell.gear.strings import Mark
from soakbell.letters.letter import Letter
from soakbell.letters.message import to_message
from soakbell.letters.recovery import recovery_letter
from soakbell.letters.recovery_files import recovery_csv, recovery_gpx, take_up_ics
from soakbell.letters.recovery_sheet import recovery_sheet
from soakbell.letters.recovery_words import ASK_FIRST, mark_words, starts_words
from soakbell.letters.told_days import ToldDay, told_days
from soakbell.planning.recovery import RecoveryList, recovery_list


def letter(out: RecoveryList | None = None) -> Letter:
    return recovery_letter(out or season_end(), SEASON_FACTS, now=NOW)


def words(text: str) -> str:
    return " ".join(text.split())


def past(days: int) -> RecoveryList:
    out = season_end()
    return replace(out, today=DEADLINE + timedelta(days=days), made_at=NOW + timedelta(days=7 + days))


NOTHING_OUT = recovery_list(fold((), STRINGS), NOW, TODAY, take_up=TAKE_UP)


# ---- the letter


def test_the_subject_tells_how_many_and_by_when() -> None:
    assert letter().subject == "Recovery list: 162 traps not home, all out by Thu 6 May | Little Grebe, Thu 29 Apr"
    assert "162 traps not home, 3 days past the last day" in letter(past(3)).subject
    assert "every trap home or written off" in letter(NOTHING_OUT).subject


def test_past_the_last_day_it_says_to_ask_the_authority_first() -> None:
    assert ASK_FIRST in words(letter(past(3)).text)
    assert ASK_FIRST not in words(letter().text)
    assert ASK_FIRST not in words(letter(replace(NOTHING_OUT, today=past(3).today)).text)


def test_the_first_words_say_that_it_is_no_call() -> None:
    told = letter()
    assert told.text.startswith("Recovery list, no call. 162 traps are not home: 156 fishing, 2 aboard")
    assert Page(told.html).text.startswith("Recovery list, no call. 162 traps are not home")
    assert "PULL" not in told.subject


def test_the_text_says_all_that_the_page_says() -> None:
    told = letter()
    text, page = words(told.text), Page(told.html).text
    for word in re.findall(r"\d[\d°.'A-Z:]*", page):
        assert word in text


def test_no_line_of_the_text_is_wider_than_a_terminal_but_a_command() -> None:
    wide = [line for line in letter().text.splitlines() if len(line) > 72 and not line.startswith("    soakbell")]
    assert not wide


def test_trips_stand_in_their_order_with_marks_and_day() -> None:
    text = words(letter().text)
    first, second, rest = (
        text.index(head) for head in ("Trip 1: The Hump", "Trip 2: Outer Bar", "In no trip yet")
    )
    assert first < second < rest < text.index("Lost gear: tell the authority, as local rules ask.")
    assert "69 traps, about 7 h 5 min, Sat 1 May." in text
    assert "Start mark 29°55.860'N 84°08.520'W, end mark 29°56.220'N 84°07.800'W." in text


def test_each_missing_trap_says_when_and_where_it_was_last() -> None:
    text = words(letter().text)
    assert (
        "Grassy Edge, trap 17 (tag =A1): missing since Tue 20 Apr, last seen Sun 11 Apr near 30°00.079'N" in text
    )
    assert "Nine Foot, trap 9: missing since Mon 26 Apr, last seen Sat 10 Apr" in text
    assert "Another trap has its place since." in text


def test_days_to_start_by_are_told_past_ones_too() -> None:
    text = words(letter().text)
    assert "For a chance of 80% of being done in time, start by Sat 1 May." in text
    assert "start by Wed 28 Apr, a day that is past." in text
    assert "No day to start on is left for a chance of 99% or more of being done in time." in text


def test_a_rule_that_was_not_read_says_so() -> None:
    assert "Not read in the rule's own text (derived). Check with the authority." in words(letter().text)


def test_many_missing_traps_are_cut_short_in_the_letter_and_whole_in_its_file() -> None:
    out = season_end()
    many = replace(out, missing=out.missing * 100)
    told = letter(many)
    assert "And 360 more, in the file recovery.csv." in words(told.text)
    assert len(told.html.encode()) < 100_000
    table = next(file.content for file in told.attachments if file.filename == "recovery.csv")
    assert (pd.read_csv(io.BytesIO(table))["state"] == "missing").sum() == 400


def test_the_files_go_with_the_letter_and_none_that_holds_nothing() -> None:
    assert [file.filename for file in letter().attachments] == ["recovery.csv", "recovery.gpx", "take-up.ics"]
    assert [file.filename for file in letter(NOTHING_OUT).attachments] == ["take-up.ics"]
    assert not letter(replace(NOTHING_OUT, take_up=None)).attachments


@pytest.mark.parametrize(
    ("mark", "told"),
    [
        (Mark(30.021, -84.171), "30°01.260'N 84°10.260'W"),
        (Mark(29.9999999, 0.0), "30°00.000'N 0°00.000'E"),
        (Mark(-33.5, 151.25), "33°30.000'S 151°15.000'E"),
    ],
)
def test_marks_are_degrees_and_minutes_that_never_reach_sixty(mark: Mark, told: str) -> None:
    assert mark_words(mark) == told


# ---- the table


def table() -> pd.DataFrame:
    return pd.read_csv(io.BytesIO(recovery_csv(season_end(), SEASON_FACTS)), encoding="utf-8-sig")


def test_pandas_opens_the_table_with_a_row_for_each_trap() -> None:
    rows = table()
    assert rows.groupby("state").size().to_dict() == {"aboard": 2, "fishing": 156, "missing": 4}
    assert rows["trip"].dropna().astype(int).tolist() == [1] * 69 + [2] * 35
    assert pd.to_datetime(rows["last_seen"], utc=True).max() == datetime(2027, 4, 26, 13, tzinfo=UTC)


def test_every_trap_in_the_water_has_a_place_and_only_missing_ones_a_box() -> None:
    rows = table().set_index("state")
    boxes = [name for name in rows.columns if name.startswith("search_")]
    assert rows.loc[["fishing", "missing"], ["lat_deg", "lon_deg"]].notna().all(axis=None)
    assert rows.loc["aboard", ["lat_deg", "lon_deg"]].isna().all(axis=None)
    assert rows.loc["missing", boxes].notna().all(axis=None)
    assert rows.loc[["fishing", "aboard"], boxes].isna().all(axis=None)


def test_no_cell_begins_as_a_formula() -> None:
    """W6; the tag =A1 of the Grassy Edge is guarded by an apostrophe. A number may be below zero."""
    cells = [cell for row in table().astype(object).to_numpy() for cell in row if isinstance(cell, str)]
    assert not [cell for cell in cells if cell.startswith(("=", "+", "-", "@", "\t", "\r"))]
    assert "'=A1" in cells


# ---- the track file


def test_the_track_file_keeps_to_the_schema() -> None:
    assert faults_of(recovery_gpx(season_end(), SEASON_FACTS)) == []


def test_the_check_of_the_schema_sees_what_is_wrong() -> None:
    """Else the test above would mean little."""
    file = recovery_gpx(season_end(), SEASON_FACTS).decode()
    for right, wrong in (
        ('lat="30.06"', 'lat="90.06"'),
        ('lon="-84.165"', 'lon="180"'),
        ('lon="-84.165"', 'lon="-8e1"'),
        (' lat="30.06"', ""),
        ('version="1.1"', 'version="1.0"'),
        ("<number>1</number>", "<number>one</number>"),
        ("<name>Notch Creek</name>", "<name>Notch Creek</name><ele>0</ele>"),
        ("<name>Notch Creek</name>", "<name>Notch Creek</name><name>again</name>"),
        ("</metadata>", "</metadata><trk/><wpt lat='1' lon='1'/>"),
    ):
        assert right in file
        assert faults_of(file.replace(right, wrong).encode()), wrong


def test_strings_are_routes_traps_waypoints_and_boxes_closed_tracks() -> None:
    gpx = gpxpy.parse(recovery_gpx(season_end(), SEASON_FACTS).decode())
    assert gpx.description is not None
    assert gpx.description.startswith("Invented data. Planning aid, not for navigation.")
    assert [route.name for route in gpx.routes] == [
        "Trip 1: The Hump",
        "Trip 1: Outer Bar",
        "Trip 2: Outer Bar",
        "Trip 2: Grassy Edge",
        "Nine Foot",
        "Ledge",
    ]
    assert [route.number for route in gpx.routes] == [1, 2, 3, 4, 5, 6]
    assert len(gpx.waypoints) == 1 + 156 + 4
    assert {"The Hump 40", "MISSING The Hump 31", "MISSING Nine Foot 9"} <= {w.name for w in gpx.waypoints}
    assert [track.name for track in gpx.tracks] == [
        "Search: Grassy Edge 17",
        "Search: Nine Foot 8",
        "Search: Nine Foot 9",
        "Search: The Hump 31",
    ]
    for track, trap in zip(gpx.tracks, season_end().missing, strict=True):
        ring = [(point.latitude, point.longitude) for point in track.segments[0].points]
        assert len(ring) == 5
        assert ring[0] == ring[-1]
        assert trap.near is not None
        assert min(lat for lat, _ in ring) < trap.near.lat_deg < max(lat for lat, _ in ring)


@given(logs())
def test_any_log_makes_files_that_can_be_read(log) -> None:  # type: ignore[no-untyped-def]
    """Marks at the poles and on the 180th meridian among them."""
    out = recovery_list(fold(log, (NINE_FOOT, LEDGE)), LOG_NOW, LOG_NOW.date(), take_up=TAKE_UP)
    assert faults_of(recovery_gpx(out, SEASON_FACTS)) == []
    assert len(pd.read_csv(io.BytesIO(recovery_csv(out, SEASON_FACTS)))) == out.not_home
    assert letter(out).subject.startswith("Recovery list: ")
    assert Page(recovery_sheet(out, SEASON_FACTS)).text


@given(st.text(max_size=40))
def test_hostile_names_stay_names_in_all_files(name: str) -> None:
    """W4, W5: the boat's name and a tag may hold anything that can be typed."""
    facts = replace(SEASON_FACTS, boat=f"B{name}")
    out = season_end()
    out = replace(out, missing=(replace(out.missing[0], tag=f"T{name}"),))
    assert faults_of(recovery_gpx(out, facts)) == []
    rows = pd.read_csv(io.BytesIO(recovery_csv(out, facts)))
    assert len(rows) == out.not_home
    file = take_up_ics(out, facts)
    assert file is not None
    assert len(Calendar.from_ical(file).walk("VEVENT")) == 4


# ---- the calendar


def calendar(out: RecoveryList | None = None) -> bytes:
    file = take_up_ics(out or season_end(), SEASON_FACTS)
    assert file is not None
    return file


def test_another_library_reads_the_days_of_the_calendar() -> None:
    """Written with icalendar, read with vobject. A whole day ends on the next (RFC 5545 section 3.6.1)."""
    read = vobject.readOne(calendar().decode())
    found = [(event.summary.value, event.dtstart.value, event.dtend.value) for event in read.vevent_list]
    assert found == [
        ("Last day for traps in the water | Little Grebe", date(2027, 5, 6), date(2027, 5, 7)),
        ("Start the take-up by today for 80% | Little Grebe", date(2027, 5, 1), date(2027, 5, 2)),
        ("Start the take-up by today for 95% | Little Grebe", date(2027, 4, 28), date(2027, 4, 29)),
        ("Take-up trip 1: The Hump and Outer Bar | Little Grebe", date(2027, 5, 1), date(2027, 5, 2)),
    ]
    assert all("check with the authority" in event.description.value for event in read.vevent_list)


def test_lines_of_the_calendar_end_and_fold_as_the_rule_says() -> None:
    """RFC 5545: CRLF and 75 octets (section 3.1), UID and DTSTAMP in UTC in each event (section 3.6.1)."""
    file = calendar()
    assert file.endswith(b"\r\n")
    assert b"\n" not in file.replace(b"\r\n", b"")
    assert max(len(line) for line in file.split(b"\r\n")) <= 75
    for event in file.replace(b"\r\n ", b"").split(b"BEGIN:VEVENT")[1:]:
        lines = event.split(b"\r\n")
        assert sum(line.startswith(b"UID:") for line in lines) == 1
        assert lines.count(b"DTSTAMP:20270429T220000Z") == 1


def test_an_extension_replaces_the_day_in_the_calendar() -> None:
    """RFC 5545 section 3.8.7.4: the same UID with a higher SEQUENCE."""
    longer = replace(TAKE_UP, deadline=DEADLINE + timedelta(days=5))
    later = replace(season_end(), take_up=longer, made_at=NOW + timedelta(days=1))
    (first, *_), (second, *_) = (Calendar.from_ical(calendar(out)).walk("VEVENT") for out in (None, later))
    assert first["UID"] == second["UID"]
    assert int(second["SEQUENCE"]) > int(first["SEQUENCE"])
    assert second["DTSTART"].dt == date(2027, 5, 11)


def test_another_season_has_days_of_its_own() -> None:
    def uids(out: RecoveryList) -> set[str]:
        return {str(event["UID"]) for event in Calendar.from_ical(calendar(out)).walk("VEVENT")}

    assert len(uids(season_end())) == 4
    assert not uids(season_end()) & uids(replace(season_end(), season=date(2027, 10, 15)))


def written(out: RecoveryList, told: RecoveryList, then: Sequence[ToldDay] = ()) -> list[Any]:
    """The calendar of ``out``, written after the letter that told ``told``; read by vobject."""
    sent = recovery_letter(told, SEASON_FACTS, now=told.made_at, told=then)
    mail = to_message(
        sent,
        sender="soakbell@example.org",
        to=("skipper@example.org",),
        message_id="<1@example.org>",
        date=told.made_at,
    )
    file = take_up_ics(out, SEASON_FACTS, told_days(mail.as_bytes()))
    return [] if file is None else list(vobject.readOne(file.decode()).vevent_list)


def next_day(out: RecoveryList, days: int = 1) -> RecoveryList:
    return replace(out, today=out.today + timedelta(days=days), made_at=out.made_at + timedelta(days=days))


def test_a_trip_and_a_day_to_start_by_that_hold_no_more_are_cancelled() -> None:
    """RFC 5545 sections 3.8.1.11 (STATUS) and 3.8.7.4 (SEQUENCE): the same UID, a higher SEQUENCE."""
    before = {event.uid.value: event for event in written(season_end(), NOTHING_OUT)}
    later = next_day(replace(season_end(), trips=(), starts=((0.8, None), (0.95, None))))
    after = {event.uid.value: event for event in written(later, season_end())}
    told = {event.summary.value: event.status.value for event in after.values()}
    assert told == {
        "Last day for traps in the water | Little Grebe": "CONFIRMED",
        "No longer holds: Start the take-up by today for 80% | Little Grebe": "CANCELLED",
        "No longer holds: Take-up trip 1: The Hump and Outer Bar | Little Grebe": "CANCELLED",
    }, "the day to start by of 28 April was past"
    for uid, event in after.items():
        assert event.dtstart.value == before[uid].dtstart.value
        assert int(event.sequence.value) > int(before[uid].sequence.value)
        assert event.description.value.startswith("Invented data.")


def test_what_was_cancelled_stays_so_until_its_day_is_past_and_may_hold_again() -> None:
    """Trip 1 was to go on 1 May. A letter may be missed, so each later one tells it again."""
    gone = replace(season_end(), trips=(), starts=())
    second = next_day(gone)
    told = told_days_of(second, told_days_of(season_end()))
    again = {event.summary.value: event.status.value for event in written(next_day(gone, 2), second, told)}
    assert again["No longer holds: Take-up trip 1: The Hump and Outer Bar | Little Grebe"] == "CANCELLED"
    assert [event.summary.value for event in written(next_day(gone, 3), second, told)] == [
        "Last day for traps in the water | Little Grebe"
    ]
    back = {event.summary.value: event.status.value for event in written(next_day(season_end(), 2), second, told)}
    assert back["Take-up trip 1: The Hump and Outer Bar | Little Grebe"] == "CONFIRMED"


def told_days_of(out: RecoveryList, told: Sequence[ToldDay] = ()) -> tuple[ToldDay, ...]:
    file = take_up_ics(out, SEASON_FACTS, told)
    assert file is not None
    mail = EmailMessage()
    mail.add_attachment(file, maintype="text", subtype="calendar", filename="take-up.ics")
    return told_days(mail.as_bytes())


def test_a_calendar_goes_past_what_was_told_though_the_clock_was_set_back() -> None:
    first = {day.uid: day.sequence for day in told_days_of(season_end())}
    second = told_days_of(next_day(season_end(), -3), told_days_of(season_end()))
    assert second
    assert all(day.sequence > first[day.uid] for day in second)


def test_where_no_last_day_is_known_any_more_the_calendar_only_cancels() -> None:
    bare = replace(season_end(), take_up=None, trips=(), starts=())
    assert take_up_ics(bare, SEASON_FACTS) is None
    assert {event.status.value for event in written(next_day(bare), season_end())} == {"CANCELLED"}


def test_a_letter_without_a_calendar_told_no_day() -> None:
    assert told_days(b"Subject: nothing\n\nnothing\n") == ()


# ---- the sheet


def test_each_trip_has_a_sheet_and_each_trap_a_box() -> None:
    page = recovery_sheet(season_end(), SEASON_FACTS)
    sheets = page.split('<section class="sheet')[1:]
    assert [re.search("<h1>(.*)</h1>", sheet)[1] for sheet in sheets] == [  # type: ignore[index]
        "Trip 1",
        "Trip 2",
        "Nine Foot",
        "Ledge",
        "Missing and aboard",
    ]
    assert [sheet.count("<li>") for sheet in sheets] == [69, 35, 20, 32, 6]


def test_each_sheet_says_by_when_and_that_rules_change() -> None:
    for sheet in recovery_sheet(season_end(), SEASON_FACTS).split('<section class="sheet')[1:]:
        assert "All must be out by Thursday 6 May 2027, 7 days left." in sheet
        assert "14 November 2026, 18 of 25 not in the rule&#39;s own text: check with" in sheet
        assert "The skipper decides." in sheet
        assert "Invented data." in sheet


def test_an_empty_list_prints_a_sheet_that_says_so() -> None:
    page = Page(recovery_sheet(NOTHING_OUT, SEASON_FACTS))
    assert "Every trap is home or written off." in page.text


def test_names_on_the_sheet_can_hold_no_markup() -> None:
    out = season_end()
    hostile = replace(out, missing=(replace(out.missing[0], tag="<script>"),))
    page = recovery_sheet(hostile, replace(SEASON_FACTS, boat="<b>&"))
    assert "<script>" not in page
    assert "<b>&lt;b&gt;&amp;</b>" in page


@pytest.mark.slow
def test_a_browser_prints_one_sheet_of_paper_for_each_trip(tmp_path: Path) -> None:
    """Where chromium is at hand. Five sheets: two trips, two strings in none, and what is missing or aboard."""
    need_chromium()
    page, printed = tmp_path / "sheet.html", tmp_path / "sheet.pdf"
    page.write_text(recovery_sheet(season_end(), SEASON_FACTS), encoding="utf-8")
    options = ["--headless", "--no-sandbox", "--disable-gpu", f"--user-data-dir={tmp_path / 'profile'}"]
    subprocess.run(
        [str(CHROMIUM), *options, f"--print-to-pdf={printed}", page.as_uri()], check=True, capture_output=True
    )
    assert len(re.findall(rb"/Type\s*/Page\b", printed.read_bytes())) == 5


def test_of_chances_that_no_day_gives_any_more_only_the_least_is_told() -> None:
    lines = starts_words(((0.8, date(2027, 5, 1)), (0.95, None), (0.99, None)), date(2027, 4, 29))
    assert lines == (
        "For a chance of 80% of being done in time, start by Sat 1 May.",
        "No day to start on is left for a chance of 95% or more of being done in time.",
    )
    assert len(starts_words(((0.8, None), (0.95, None), (0.99, None)), date(2027, 4, 29))) == 1
