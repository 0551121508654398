"""``soakbell setting`` as a skipper sees it. INVENTED DATA."""

from __future__ import annotations

import shlex
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
import time_machine

from terminals import Terminal, home

NOW = datetime(2027, 9, 28, 22, 0, tzinfo=UTC)  # 18:00 on the coast

LOG = """
set "Nine Foot" --at "2027-04-10 08:30"
pull "Nine Foot" --not-reset --at "2027-04-26 09:00"
ashore "Nine Foot" --at "2027-04-26 12:00"
tagged "Nine Foot" --traps 8 --tag "B 117" --at "2027-04-26 13:00"
damage "Nine Foot" --traps 3 --item "escape ring" --at "2027-06-01 09:00"
damage "Nine Foot" --traps 5 --item latch --at "2027-06-01 09:00"
"""


@pytest.fixture
def terminal(tmp_path: Path) -> Iterator[Terminal]:
    with time_machine.travel(NOW - timedelta(hours=1)):
        typed = home(tmp_path)
        for line in LOG.strip().splitlines():
            typed.log(*shlex.split(line))
    with time_machine.travel(NOW):
        yield typed


def shown(terminal: Terminal, *words: str) -> str:
    result = terminal.type("setting", *words, columns=200)
    assert result.exit_code == 0, result.output
    return " ".join(result.output.split())


def test_it_tells_from_when_what_to_see_to_and_the_gear_rules_of_that_day(terminal: Terminal) -> None:
    """R4, R10, R11: stone crab is placed from 5 October (second-hand)."""
    text = shown(terminal)
    assert "Traps may be set from Tuesday 5 October 2027, in 7 days." in text
    assert "No trap may be pulled for its catch before Fri 15 Oct." in text
    assert "Nine Foot, trap 3: escape ring." in text
    assert "Nine Foot, trap 5: latch" in text
    assert "Gear rules in force on Tue 5 Oct" in text
    assert "Escape rings, wire: Three or more unobstructed rings of 2 3/8 inches" in text
    assert "The skipper decides." in text
    assert "Check with the authority before you go: Florida Fish and Wildlife" in text


def test_a_clock_behind_the_log_is_told(terminal: Terminal) -> None:
    with time_machine.travel(NOW - timedelta(days=40)):
        result = terminal.type("setting", columns=200)
    assert result.exit_code == 1
    said = " ".join(result.output.split())
    assert "The clock shows an earlier time than the newest entry: set it. Days told here may be wrong" in said


def test_with_a_deck_load_it_tells_the_trips_and_prints_a_sheet_for_each(
    terminal: Terminal, tmp_path: Path
) -> None:
    """All traps but the one that may not be set; those of the other strings were never set."""
    file = tmp_path / "setting.html"
    text = shown(terminal, "--deck", "80", "--sheet", str(file))
    assert "none before Tue 5 Oct" in text
    assert "No call is made for a trip that only sets traps." in text
    assert f"written: {file}" in text
    html = file.read_text()
    trips = html.count("<h1>Trip ")
    assert trips >= 1
    assert f"Setting in {trips} trip" in text
    assert "B 117" in html


def test_a_shorter_time_to_stack_makes_shorter_trips(terminal: Terminal) -> None:
    quick, slow = (shown(terminal, "--deck", "500", "--stack", minutes) for minutes in ("0", "10"))
    assert quick != slow


def test_amid_the_season_it_tells_the_next_start(terminal: Terminal) -> None:
    with time_machine.travel(datetime(2027, 12, 1, 17, 0, tzinfo=UTC)):
        assert "Traps may be set from Thursday 5 October 2028" in shown(terminal)


def test_a_sheet_that_cannot_be_written_is_told(terminal: Terminal, tmp_path: Path) -> None:
    text = terminal.refused("setting", "--sheet", str(tmp_path / "nowhere" / "setting.html"))
    assert "setting: --sheet: found" in text
    assert "write a file that can be written" in text


def test_a_gear_file_with_faults_is_told_and_the_rest_stands(terminal: Terminal) -> None:
    (terminal.folder / "gear.toml").write_text("[stock]\nservice_level = 7\n", encoding="utf-8")
    result = terminal.type("setting", columns=200)
    assert result.exit_code == 1
    assert "The gear file can't be used" in result.output
    assert "Traps may be set from Tuesday 5 October 2027" in result.output
