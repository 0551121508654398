"""Calendar and track files, read back by the libraries that others read them with."""

from __future__ import annotations

from dataclasses import replace

import gpxpy
import pytest
from icalendar import Calendar, Event

from scenes import FACTS, changed_call, est, failed_service, letter_of, no_call_stale, pull_morning, wait_by_wind
from soakbell.letters.letter import Letter, morning_letter
from soakbell.letters.pull_day import pull_day_ics
from soakbell.letters.track import strings_gpx


def event_of(letter: Letter) -> Event:
    (file,) = [a.content for a in letter.attachments if a.filename == "pull-day.ics"]
    calendar = Calendar.from_ical(file)
    assert isinstance(calendar, Calendar)
    assert "METHOD" not in calendar
    assert str(calendar["VERSION"]) == "2.0"
    (event,) = calendar.walk("VEVENT")
    assert isinstance(event, Event)
    return event


def test_a_pull_is_one_event_from_leaving_to_off_the_water() -> None:
    event = event_of(letter_of(pull_morning))
    assert event["DTSTART"].dt == est(7, 10)
    assert event["DTEND"].dt == est(12, 40)
    assert event["DTSTAMP"].dt == est(4, 30)
    assert str(event["STATUS"]) == "CONFIRMED"
    assert int(event["SEQUENCE"]) == 0
    assert str(event["SUMMARY"]) == "PULL: Nine Foot, Outer Bar and The Hump | Little Grebe"


def test_a_withdrawn_pull_takes_its_event_back() -> None:
    first, second = event_of(letter_of(pull_morning)), event_of(letter_of(changed_call))
    assert second["UID"] == first["UID"]
    assert int(second["SEQUENCE"]) > int(first["SEQUENCE"])
    assert str(second["STATUS"]) == "CANCELLED"
    assert (second["DTSTART"].dt, second["DTEND"].dt) == (first["DTSTART"].dt, first["DTEND"].dt)
    assert str(second["SUMMARY"]).startswith("Called off, now WAIT")


def test_a_moved_window_replaces_its_event() -> None:
    scene = pull_morning()
    window = scene.call.window
    assert window is not None
    call = replace(scene.call, window=replace(window, leaves_at=est(7, 25)), made_at=est(6))
    letter = morning_letter(call, replace(FACTS, turn=2), kind="changed", previous=scene.call)
    event = event_of(letter)
    assert event["UID"] == event_of(scene.letter())["UID"]
    assert int(event["SEQUENCE"]) == 2
    assert event["DTSTART"].dt == est(7, 25)


def test_the_uid_is_of_boat_and_day() -> None:
    scene = pull_morning()
    uid = event_of(scene.letter())["UID"]
    for call in (replace(scene.call, boat="other"), replace(scene.call, day=scene.call.outlook[1].day)):
        assert event_of(replace(scene, call=call).letter())["UID"] != uid


def test_a_change_without_a_higher_turn_is_refused() -> None:
    with pytest.raises(ValueError, match="turn above 0"):
        pull_day_ics(wait_by_wind().call, FACTS, pull_morning().call)


@pytest.mark.parametrize("scene", [wait_by_wind, no_call_stale, failed_service])
def test_no_files_go_out_without_a_pull(scene) -> None:  # type: ignore[no-untyped-def]
    assert not [a for a in letter_of(scene).attachments if a.filename != "chart.png"]


def test_lines_of_the_calendar_end_and_fold_as_the_rule_says() -> None:
    """RFC 5545 section 3.1: CRLF, lines of at most 75 octets."""
    file = pull_day_ics(pull_morning().call, FACTS, None)
    assert file is not None
    assert file.endswith(b"\r\n")
    assert max(len(line) for line in file.split(b"\r\n")) <= 75


def test_the_track_holds_the_strings_in_order_and_the_harbor() -> None:
    scene = pull_morning()
    assert scene.call.window is not None
    text = strings_gpx(scene.call, scene.call.window, FACTS).decode()
    gpx = gpxpy.parse(text)
    assert 'xmlns="http://www.topografix.com/GPX/1/1"' in text
    assert gpx.version == "1.1"
    assert [r.name for r in gpx.routes] == ["1 Nine Foot", "2 Outer Bar", "3 The Hump"]
    assert [(p.latitude, p.longitude, p.name) for p in gpx.routes[0].points] == [
        (30.021, -84.171, "Nine Foot start"),
        (30.027, -84.159, "Nine Foot end"),
    ]
    (harbor,) = gpx.waypoints
    assert (harbor.latitude, harbor.longitude, harbor.name) == (30.060, -84.165, "Notch Creek")


def test_the_track_says_that_it_is_no_chart() -> None:
    scene = pull_morning()
    assert scene.call.window is not None
    gpx = gpxpy.parse(strings_gpx(scene.call, scene.call.window, FACTS).decode())
    assert gpx.description == "Invented data. Planning aid, not for navigation."
    assert all(route.description == gpx.description for route in gpx.routes)


def test_hostile_names_stay_names_in_both_files() -> None:
    """W4, W5."""
    name = '<b>Jo&Co</b>;\nBEGIN:VEVENT, "x"'
    scene = pull_morning()
    window = scene.call.window
    assert window is not None
    strings = tuple(replace(s, name=name if s.name == "Nine Foot" else s.name) for s in FACTS.strings)
    call = replace(scene.call, window=replace(window, pulls=(replace(window.pulls[0], string=name),)))
    facts = replace(FACTS, strings=strings, boat=name)
    file = pull_day_ics(call, facts, None)
    assert file is not None
    calendar = Calendar.from_ical(file)
    (event,) = calendar.walk("VEVENT")
    assert str(event["SUMMARY"]) == f"PULL: {name} | {name}"
    assert call.window is not None
    gpx = gpxpy.parse(strings_gpx(call, call.window, facts).decode())
    assert gpx.routes[0].name == f"1 {name}"


def test_a_string_without_marks_is_an_error() -> None:
    scene = pull_morning()
    assert scene.call.window is not None
    with pytest.raises(ValueError, match="no marks for the string 'Nine Foot'"):
        strings_gpx(scene.call, scene.call.window, replace(FACTS, strings=()))
