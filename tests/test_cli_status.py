"""``soakbell status`` as a skipper sees it. INVENTED DATA."""

from __future__ import annotations

import re
import shlex
import shutil
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
import time_machine

from soakbell import season_desk
from soakbell.gear_desk import GearDesk
from terminals import Terminal, home

NOW = datetime(2026, 12, 8, 20, 0, tzinfo=UTC)  # 15:00 on the coast

LOG = """
set "Nine Foot" --at "2026-10-15 08:30"
set "Outer Bar" --at "2026-10-16 08:30"
set Ledge --count 30 --at "2026-11-16 08:30"
set "Grassy Edge" --at "2026-11-30 08:30"
pull "Outer Bar" --at "2026-12-02 08:30" --bait "mullet heads" --bait-boxes 1 --legal 40
bait-counted "mullet heads" 2 --at "2026-11-20 09:00"
bait-bought cowhide 2.5 --at "2026-11-20 09:00"
bait-ordered "mullet heads" 3 --due 2026-12-05 --at "2026-12-03 09:00"
missing "Grassy Edge" --traps 17 --at "2026-12-03 10:00"
damage "Outer Bar" --traps 4 --item latch --at "2026-12-02 09:00"
damage Ledge --traps "31..33" --item slat --at "2026-12-02 09:00"
bench Ledge --traps 31 --at "2026-12-04 09:00"
part-counted "cypress slat" 1 --at "2026-12-04 09:00"
part-counted screw 40 --at "2026-12-04 09:00"
upkeep flares --expires 2026-12-20 --at "2026-10-01 09:00"
upkeep "bilge pump test" --at "2026-11-20 09:00"
upkeep "navigation lights" --at "2026-12-01 09:00"
snooze "soak:Nine Foot" --until "2026-12-12 06:00"
settle "upkeep:flares"
"""


@pytest.fixture(scope="module")
def december(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A database of an invented autumn."""
    terminal = home(tmp_path_factory.mktemp("december"))
    with time_machine.travel(NOW - timedelta(hours=1)):
        for line in LOG.strip().splitlines():
            terminal.log(*shlex.split(line))
    return terminal.database


@pytest.fixture
def terminal(tmp_path: Path, december: Path) -> Iterator[Terminal]:
    with time_machine.travel(NOW):
        typed = home(tmp_path)
        shutil.copyfile(december, typed.database)
        yield typed


def shown(terminal: Terminal, columns: int = 160, ends_with: int = 0) -> str:
    result = terminal.type("status", columns=columns)
    assert result.exit_code == ends_with, result.output
    return result.output


def row(text: str, *cells: str) -> bool:
    """Whether some row holds these cells, in this order."""
    return re.search(r" *│ +(.*│ +)*?".join(map(re.escape, cells)), text) is not None


def test_every_trap_of_the_settings_is_counted_once(terminal: Terminal) -> None:
    """24, 30, 36, 28 and 40 traps in config/boat.toml: 158."""
    assert "Little Grebe, 2026-12-08 15:00: 158 traps: 37 never set, 119 fishing, 1 bench, 1 missing" in shown(
        terminal
    )


def test_each_string_shows_its_soak_and_what_is_wrong(terminal: Terminal) -> None:
    text = shown(terminal)
    assert row(text, "Outer Bar", "36", "6 days 6 h")
    assert row(text, "The Hump", "0", "no trap is fishing", "28")
    rule = "degradable panel: a lost trap must open by itself"
    assert row(text, "Ledge", "31", "slat", "on the bench", rule)
    assert row(text, "Ledge", "32..33", "slat", "ashore", rule)
    assert row(text, "Outer Bar", "4", "latch", "in the water")


def test_a_missing_trap_shows_when_it_was_seen_and_where_to_look(terminal: Terminal) -> None:
    assert row(shown(terminal), "Grassy Edge", "17", "2026-11-30 08:30", "29.991 -84.202 to 30.029 -84.158")


def test_bait_shows_where_it_lies_and_when_it_runs_out(terminal: Terminal) -> None:
    """Of 2 boxes one went out on the Outer Bar; what 30 traps of the Grassy Edge took nobody measured.

    config/gear.toml: 0.025 boxes a trap, worth 200 traps; with 1 box for 36 traps (200 x 0.025 + 1) / 236 a trap.
    """
    text = shown(terminal)
    unmeasured = 30 * (200 * 0.025 + 1) / 236
    assert row(text, "mullet heads", f"{1 - unmeasured:.2f}", "0", "0", f"{unmeasured:.2f}")
    assert row(text, "cowhide", "2.5")
    assert "on order: 3 boxes of mullet heads, ordered 2026-12-03 09:00, due 2026-12-05 (late)" in text


def test_parts_to_buy_and_those_never_counted_are_told_apart(terminal: Terminal) -> None:
    """config/gear.toml: a slat takes one cypress slat, which comes by 20 at 0.80 dollars."""
    text = shown(terminal)
    assert row(text, "cypress slat", "1", "3", "20", "16.00")
    assert row(text, "screw", "40")
    assert re.search(r"parts not counted yet: .*escape ring", text)


def test_the_bench_tells_what_can_be_done_and_what_lacks_parts(terminal: Terminal) -> None:
    text = shown(terminal)
    assert "Bench: 8 of 120 minutes" in text
    assert row(text, "Ledge", "31", "slat", "8", "to do")
    assert row(text, "Ledge", "32..33", "slat", "16", "lacks parts", "cypress slat 2")
    assert "can go back when that is done: Ledge 31" in text


def test_upkeep_shows_what_is_due_and_names_what_was_never_told(terminal: Terminal) -> None:
    text = shown(terminal)
    assert row(text, "bilge pump test", "overdue", "was due Fri 4 Dec", "yes")
    assert row(text, "flares", "due soon", "good until Sun 20 Dec", "yes")
    assert re.search(r"safety gear not in the log yet: .*first-aid kit", text)
    assert not row(text, "navigation lights", "due soon")


def test_bells_show_whether_they_were_told_snoozed_or_settled(terminal: Terminal) -> None:
    text = shown(terminal)
    assert row(text, "soak:Nine Foot", "snoozed until 2026-12-12 06:00")
    assert row(text, "upkeep:flares", "settled")
    assert row(text, "soak:Ledge", "not told yet")


def test_the_day_by_which_all_must_be_out_is_told(terminal: Terminal) -> None:
    """Florida's stone crab season: traps out by 6 May."""
    assert "All must be out by Thursday 6 May 2027, 149 days left." in shown(terminal)


def test_near_the_end_it_counts_what_is_not_home(terminal: Terminal) -> None:
    with time_machine.travel(datetime(2027, 4, 29, 22, 0, tzinfo=UTC)):
        assert "Season's end: 120 traps not home, all out by Thu 6 May, 7 days left." in shown(terminal)


def test_a_season_that_fails_is_told_beside_the_rest(terminal: Terminal, monkeypatch: pytest.MonkeyPatch) -> None:
    def fails(*_: object, **__: object) -> None:
        raise RuntimeError("a worm in the season")

    monkeypatch.setattr(season_desk, "season_end", fails)
    text = shown(terminal, ends_with=1)
    assert "Season's end: could not be told: the recovery list: RuntimeError: a worm in the season" in text
    assert "158 traps" in text


def test_the_foot_says_when_the_rules_were_checked_and_who_decides(terminal: Terminal) -> None:
    text = " ".join(shown(terminal).split())
    assert "The skipper decides." in text
    assert "last checked on 25 Nov 2026" in text
    assert "Check with the authority before you go" in text


@pytest.mark.parametrize("columns", [40, 60, 80])
def test_a_narrow_terminal_loses_no_row_and_no_line_is_wider(terminal: Terminal, columns: int) -> None:
    text = shown(terminal, columns)
    assert max(map(len, text.splitlines())) <= columns
    words = " ".join(re.sub(r"[│┃]", " ", text).split())
    for told in ("Grassy", "degradable", "cypress", "soak:Ledge", "bilge"):  # cells may be broken between words
        assert told in words


def test_an_odd_entry_is_told(terminal: Terminal) -> None:
    """More bait thrown away than there was."""
    terminal.log("bait-spoiled", "cowhide", "9", "--from", "freezer")
    assert re.search(r"odd: [0-9a-f]{8} bait-spoiled: BOXES: found .*; write ", shown(terminal))


@pytest.mark.parametrize(
    ("slip", "count", "of_another"),
    [
        ("bait-spoiled cowhide 9 --from freezer", "bait-counted Cowhide 2", 'bait-counted "mullet heads" 2'),
        ("part-used screw 90", "part-counted screw 12", 'part-counted "cypress slat" 2'),
        (
            'repaired Ledge --traps 32 --parts "screw 90"',
            "part-counted screw 12",
            'part-counted "cypress slat" 2',
        ),
    ],
)
def test_what_a_later_count_set_right_is_odd_no_more(
    terminal: Terminal, slip: str, count: str, of_another: str
) -> None:
    terminal.log(*shlex.split(slip))
    terminal.log(*shlex.split(of_another))
    assert "odd:" in shown(terminal)
    terminal.log(*shlex.split(count))
    assert "odd:" not in shown(terminal)


def test_pins_and_bars_to_come_are_shown(terminal: Terminal) -> None:
    for typed in ("pin 2026-12-12 Ledge", "bar 2026-12-13", "pin 2026-12-08"):
        terminal.log(*shlex.split(typed))
    text = shown(terminal)
    assert row(text, "2026-12-12", "pin", "Ledge")
    assert row(text, "2026-12-13", "bar", "all strings")
    assert row(text, "2026-12-08", "pin", "any string")
    with time_machine.travel(NOW + timedelta(days=5)):
        later = terminal.type("status", columns=160).output
    assert not row(later, "2026-12-12", "pin")
    assert row(later, "2026-12-13", "bar")


def test_a_part_that_was_never_counted_is_not_told_as_none(terminal: Terminal) -> None:
    """config/gear.toml: a latch takes a hook latch, of which the log never told."""
    assert row(shown(terminal), "hook latch", "not counted", "1")


@pytest.mark.parametrize("gear", ["[stock]\nservice_level = 7\n", None])
def test_a_gear_file_that_cannot_be_used_leaves_the_traps_told_and_ends_with_1(
    terminal: Terminal, gear: str | None
) -> None:
    file = terminal.folder / "gear.toml"
    file.unlink()
    if gear is not None:
        file.write_text(gear)
    text = shown(terminal, ends_with=1)
    assert row(text, "Outer Bar", "36", "6 days 6 h")
    assert row(text, "Grassy Edge", "17")
    assert "Bait: could not be told" in text
    assert row(text, "Outer Bar", "4", "latch", "in the water", "unknown to the settings: may not be set")
    assert text.count("gear.toml: ") == 1
    assert "Traceback" not in text


def test_a_boat_without_gear_set_up_sees_its_traps_and_soak_bells(terminal: Terminal) -> None:
    settings = terminal.folder / "boat.toml"
    settings.write_text(re.sub(r"(?m)^\[gear\]\nfile = .*\n", "", settings.read_text("utf-8")), "utf-8")
    text = shown(terminal)
    assert row(text, "Outer Bar", "36", "6 days 6 h")
    assert row(text, "soak:Ledge", "not told yet")
    assert "Bait" not in text


def test_a_fault_in_one_section_costs_no_other(terminal: Terminal, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object) -> None:
        raise ZeroDivisionError("by an invented fault")

    monkeypatch.setattr(GearDesk, "standing", broken)
    text = shown(terminal, ends_with=1)
    assert "Bells: could not be told: ZeroDivisionError: by an invented fault" in text
    assert row(text, "bilge pump test", "overdue")
    assert "last checked on" in text


def test_an_empty_log_is_told_without_a_word_too_many(tmp_path: Path) -> None:
    with time_machine.travel(NOW):
        text = shown(home(tmp_path))
    assert "158 traps: 158 never set" in text
    assert row(text, "mullet heads", "not known: none was told")
    assert "odd:" not in text


def test_a_clock_behind_the_log_is_told_and_no_soak_is_reckoned(terminal: Terminal) -> None:
    with time_machine.travel(datetime(2026, 12, 1, 12, tzinfo=UTC)):
        result = terminal.type("status", columns=160)
    assert "The clock shows an earlier time than the newest entry" in result.output
    assert row(result.output, "Outer Bar", "the clock is behind the log")
