"""``soakbell recovery`` as a skipper sees it. INVENTED DATA."""

from __future__ import annotations

import re
import shlex
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from email.message import EmailMessage
from pathlib import Path

import gpxpy
import pandas as pd
import pytest
import time_machine
import vobject

from soakbell import season_desk
from soakbell.season_desk import RECOVERY
from soakbell.store.engine import open_store
from soakbell.store.letters import WrittenLetter, open_turn, write_letter
from terminals import Terminal, home

NOW = datetime(2027, 4, 29, 22, 0, tzinfo=UTC)  # 18:00 on the coast

LOG = """
set "Nine Foot" --at "2027-04-10 08:30"
set "Outer Bar" --at "2027-04-10 09:30"
tagged "Nine Foot" --traps 8 --tag "B 117" --at "2027-04-10 12:00"
pull "Nine Foot" --traps "1..2" --not-reset --at "2027-04-26 09:00"
missing "Nine Foot" --traps "8 9" --at "2027-04-26 09:30"
replaced "Nine Foot" --traps 9 --at "2027-04-27 09:30"
"""


@pytest.fixture
def terminal(tmp_path: Path) -> Iterator[Terminal]:
    with time_machine.travel(NOW - timedelta(hours=1)):
        typed = home(tmp_path)
        for line in LOG.strip().splitlines():
            typed.log(*shlex.split(line))
    with time_machine.travel(NOW):
        yield typed


def shown(terminal: Terminal, *words: str, columns: int = 200) -> str:
    result = terminal.type("recovery", *words, columns=columns)
    assert result.exit_code == 0, result.output
    return " ".join(result.output.split())


def test_the_list_counts_what_is_not_home_and_tells_by_when(terminal: Terminal) -> None:
    """24 and 36 traps in config/boat.toml; Florida's stone crab season: traps out by 6 May."""
    text = shown(terminal)
    assert "60 traps are not home: 56 fishing, 2 aboard and 2 missing." in text
    assert "All must be out by Thursday 6 May 2027, 7 days left." in text
    assert "Check with the authority." in text
    assert "These were last checked on 25 Nov 2026; 18 of 25 were not read in the rule's own text." in text


def test_a_clock_behind_the_log_is_told(terminal: Terminal) -> None:
    with time_machine.travel(NOW - timedelta(days=10)):
        result = terminal.type("recovery", columns=200)
    assert result.exit_code == 1
    said = " ".join(result.output.split())
    assert "The clock shows an earlier time than the newest entry: set it. Days told here may be wrong" in said


def test_without_a_deck_load_strings_stand_in_no_trip(terminal: Terminal) -> None:
    assert "trip" not in shown(terminal).split("Missing")[0]


def test_with_a_deck_load_the_list_comes_by_trips(terminal: Terminal) -> None:
    text = shown(terminal, "--deck", "36")
    assert re.search(r"│ 2 │ Outer Bar │ 1\.\.36 │", text)
    assert re.search(r"│ 1 │ Nine Foot │ 3\.\.7 10\.\.24 │", text)
    assert re.search(r"trip 2: 36 traps, about \d+ h", text)


def test_without_a_deck_load_it_says_what_to_write(terminal: Terminal) -> None:
    assert (
        "No trips and no odds are told: no deck load is known; write deck_traps in [boat] of the settings."
        in shown(terminal)
    )


def test_days_to_start_by_are_told_with_what_they_rest_on(terminal: Terminal) -> None:
    text = shown(terminal, "--deck", "36")
    assert re.search(r"For a chance of 80% of being done in time, start by \w+ \d+ \w+\.", text)
    assert "No forecast is in these odds: each day is taken for a usual one, and today for none." in text
    assert "No past years were counted for Inner Bay" in text
    assert "they make no call and change none" in text


def test_the_deck_load_of_the_settings_is_the_one_without_another(terminal: Terminal) -> None:
    boat = terminal.folder / "boat.toml"
    text = boat.read_text("utf-8")
    assert "# deck_traps = 80" in text
    boat.write_text(text.replace("# deck_traps = 80", "deck_traps = 36"), "utf-8")
    assert "trip 2: 36 traps" in shown(terminal)
    assert "trip 1: 56 traps" in shown(terminal, "--deck", "60")
    assert "trip 3:" in shown(terminal, "--stack", "10")


def test_a_broken_plan_file_costs_the_odds_but_not_a_deck_load_that_is_typed(terminal: Terminal) -> None:
    (terminal.folder / "plan.toml").write_text("[plan", "utf-8")
    assert "No trips and no odds are told: the plan file can't be used: " in shown(terminal)
    assert "trip 2: 36 traps" in shown(terminal, "--deck", "36")


def test_odds_that_fail_are_told_and_the_list_is_shown_all_the_same(
    terminal: Terminal, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(*_: object, **__: object) -> None:
        raise RuntimeError("a worm in the odds")

    monkeypatch.setattr(season_desk, "take_up_odds", fails)
    result = terminal.type("recovery", "--deck", "36", columns=200)
    assert result.exit_code == 1
    assert "60 traps are not home" in result.output
    assert "a worm in the odds" in result.output


def test_a_narrow_screen_gets_lines_instead_of_a_table(terminal: Terminal) -> None:
    text = shown(terminal, columns=60)
    assert "│ 8 │" not in text
    assert "- string Nine Foot; trap 8; tag B 117; missing since Mon 26 Apr" in text


def test_the_files_hold_the_same_traps(terminal: Terminal, tmp_path: Path) -> None:
    files = {name: tmp_path / f"list.{name}" for name in ("csv", "gpx", "ics", "html")}
    words = [f"--{'sheet' if name == 'html' else name}={file}" for name, file in files.items()]
    text = shown(terminal, "--deck", "36", *words)
    assert text.count("written: ") == 4
    assert len(pd.read_csv(files["csv"])) == 60
    assert len(gpxpy.parse(files["gpx"].read_text()).waypoints) == 1 + 56 + 2
    days = {
        event.summary.value: event.dtstart.value.isoformat()
        for event in vobject.readOne(files["ics"].read_text()).vevent_list
    }
    assert days["Last day for traps in the water | Little Grebe"] == "2027-05-06"
    assert any(title.startswith("Take-up trip 2: Outer Bar") for title in days)
    assert files["html"].read_text().count("<li>") == 60


def test_the_calendar_cancels_what_the_last_letter_told_and_holds_no_more(
    terminal: Terminal, tmp_path: Path
) -> None:
    """A third trip, of which the letter of that afternoon told."""
    event = "UID:third\nSEQUENCE:1\nDTSTART;VALUE=DATE:20270503\nSUMMARY:Take-up trip 3\n"
    mail = EmailMessage()
    mail["Message-ID"], mail["Date"] = "<1@example.org>", NOW
    mail.add_attachment(
        f"BEGIN:VCALENDAR\nBEGIN:VEVENT\n{event}END:VEVENT\nEND:VCALENDAR\n", "calendar", filename="take-up.ics"
    )
    store = open_store(f"sqlite:///{terminal.database}")
    with store.writing() as session:
        at, late = NOW - timedelta(minutes=5), NOW + timedelta(days=1)
        zone = "America/New_York"
        claim = open_turn(session, "Little Grebe", RECOVERY, at.date(), 1, zone, at, late, lease_s=120)
        sent = WrittenLetter("Recovery list", mail.as_bytes(), ("skipper@example.org",), None)
        write_letter(session, claim, sent, at)
    store.close()
    file = tmp_path / "take-up.ics"
    shown(terminal, "--deck", "36", f"--ics={file}")
    (third,) = [event for event in vobject.readOne(file.read_text()).vevent_list if event.uid.value == "third"]
    assert (third.status.value, third.dtstart.value.isoformat()) == ("CANCELLED", "2027-05-03")


def test_a_file_that_cannot_be_written_is_told(terminal: Terminal, tmp_path: Path) -> None:
    text = terminal.refused("recovery", "--csv", str(tmp_path / "nowhere" / "list.csv"))
    assert "recovery: --csv: found" in text
    assert "write a file that can be written" in text


def test_what_is_written_off_with_a_reason_leaves_the_list(terminal: Terminal) -> None:
    terminal.log("retired", "Nine Foot", "--traps", "8", "--reason", "lost in the gale")
    text = shown(terminal)
    assert "59 traps are not home: 56 fishing, 2 aboard and 1 missing." in text


def test_a_trap_that_was_replaced_is_written_off_by_the_command_that_the_list_prints(terminal: Terminal) -> None:
    """It names a moment before that: told for now, it would retire the trap that took the place."""
    (line,) = re.findall(r"soakbell log (retired .*)", terminal.type("recovery", columns=200).output)
    terminal.log(*shlex.split(line.replace("WHY", "lost in the gale")))
    text = shown(terminal)
    assert "59 traps are not home: 56 fishing, 2 aboard and 1 missing." in text
    assert "(replaced since)" not in text
