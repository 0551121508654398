"""Telling the log of damage, bait, parts, upkeep and bells as a skipper types it, and undoing. INVENTED DATA."""

from __future__ import annotations

import re
import shlex
import shutil
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
import time_machine

from soakbell.gear.log import (
    BaitBought,
    BaitMoved,
    BaitOrdered,
    Barred,
    BellSettled,
    BellSnoozed,
    Correction,
    EngineHours,
    PartUsed,
    Pinned,
    Pulled,
    Renumbered,
    Repaired,
    UpkeepDone,
    new_entry,
)
from soakbell.store.engine import open_store
from soakbell.store.log import append_entries
from terminals import Terminal, home

NOW = datetime(2026, 12, 8, 20, 0, tzinfo=UTC)  # 15:00 on the coast


@pytest.fixture(scope="module")
def october(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A database in which two strings were set."""
    terminal = home(tmp_path_factory.mktemp("october"))
    with time_machine.travel(NOW - timedelta(hours=1)):
        for string in ("Nine Foot", "Ledge"):
            terminal.log("set", string, "--at", "2026-10-08 08:30")
    return terminal.database


@pytest.fixture
def terminal(tmp_path: Path, october: Path) -> Iterator[Terminal]:
    """An invented afternoon with two strings out since October."""
    with time_machine.travel(NOW):
        typed = home(tmp_path)
        shutil.copyfile(october, typed.database)
        yield typed


def told(terminal: Terminal, typed: str) -> object:
    """What the log holds after a command that goes well."""
    terminal.log(*shlex.split(typed))
    return max(terminal.entries(), key=lambda entry: entry.told_at).detail


@pytest.mark.parametrize(
    ("typed", "detail"),
    [
        ('bait-bought "mullet heads" 6 --to thaw --cost 210', BaitBought("mullet heads", 6, "thaw", 210)),
        ("bait-moved cowhide 0.5 --to aboard --from thaw", BaitMoved("cowhide", 0.5, "aboard", "thaw")),
        ("bait-moved cowhide 1", BaitMoved("cowhide", 1, "thaw", None)),
        ("bait-ordered cowhide 3 --due 2026-12-12", BaitOrdered("cowhide", 3, date(2026, 12, 12))),
        ('part-used "line, fathom" 12', PartUsed("line, fathom", 12)),
        ("upkeep flares --expires 2029-06-30", UpkeepDone("flares", date(2029, 6, 30))),
        ("hours 3.5 --new-meter", EngineHours(3.5, new_meter=True)),
        (
            'snooze "soak:Nine Foot" --until "2026-12-12 06:00"',
            BellSnoozed("soak:Nine Foot", datetime(2026, 12, 12, 11, tzinfo=UTC)),
        ),
        ('settle "upkeep:flares"', BellSettled("upkeep:flares", "never told", 1)),
        ('renumbered Ledge "3>4 4>3"', Renumbered(((3, 4), (4, 3)))),
        ('pin 2026-12-12 "Nine Foot"', Pinned(date(2026, 12, 12), "Nine Foot")),
        ("pin 2026-12-12", Pinned(date(2026, 12, 12))),
        ("bar 2026-12-13", Barred(date(2026, 12, 13))),
        ("bar 2026-12-08 Ledge", Barred(date(2026, 12, 8), "Ledge")),
    ],
)
def test_what_is_typed_is_what_is_told(terminal: Terminal, typed: str, detail: object) -> None:
    assert told(terminal, typed) == detail
    assert terminal.entries()[-1].told_by == "cli"


def test_a_pull_tells_grades_bait_and_the_smallest_claw(terminal: Terminal) -> None:
    detail = told(
        terminal, 'pull Ledge --grade "large 6; jumbo 3.5" --smallest 2.9 --bait "mullet heads" --bait-boxes 0.75'
    )
    assert isinstance(detail, Pulled)
    assert detail.lb_by_grade == (("jumbo", 3.5), ("large", 6.0))
    assert (detail.smallest_claw_in, detail.bait, detail.bait_boxes) == (2.9, "mullet heads", 0.75)


def test_a_claw_below_the_law_s_minimum_is_taken_and_warned_of_at_once(terminal: Terminal) -> None:
    """68B-13.007: 2 7/8 inches since October 2020, 2 3/4 before."""
    assert "check:" not in terminal.log("pull", "Nine Foot", "--smallest", "2.875")
    said = terminal.log("pull", "Ledge", "--smallest", "2.75")
    assert "check: the smallest claw was told as 2 3/4 in; the minimum is 2 7/8 in" in said
    assert "measured propodus" in said
    assert "check with Florida Fish and Wildlife" in said
    assert len(terminal.entries()) == 4


def test_the_minimum_is_that_of_the_day_of_the_pull(terminal: Terminal) -> None:
    terminal.log("set", "Outer Bar", "--at", "2019-10-16 08:30")
    assert "check:" not in terminal.log("pull", "Outer Bar", "--smallest", "2.75", "--at", "2020-02-01 09:00")


# ---- What is told back


def test_traps_that_may_not_be_set_are_told_at_once_when_they_are_named(terminal: Terminal) -> None:
    """config/gear.toml: a latch and a slat bar the trap, each by a rule of its own; a throat doesn't."""
    terminal.log("pull", "Ledge", "--not-reset")
    for places, item in (("4 5", "latch"), ("5", "slat"), ("6", "throat")):
        terminal.log("damage", "Ledge", "--traps", places, "--item", item)
    said = terminal.log("set", "Ledge", "--traps", "1..10")
    rule = "the lid opens on the bottom: catch and trap are lost"
    assert f"check: traps 4 and 5 may not be set: latch ({rule}); leave them out by --traps" in said
    assert "check: trap 5 may not be set: slat (" in said
    assert said.count("check:") == 2


def test_a_whole_string_is_set_without_the_traps_that_may_not_be(terminal: Terminal) -> None:
    terminal.log("pull", "Ledge", "--not-reset", "--at", "2026-12-01 09:00")
    terminal.log("damage", "Ledge", "--traps", "4 5", "--item", "latch", "--at", "2026-12-01 10:00")
    terminal.log("bench", "Ledge", "--traps", "9", "--at", "2026-12-01 10:00")
    said = terminal.log("set", "Ledge", "--at", "2026-12-02 09:00")
    assert terminal.entries()[-1].traps == (1, 2, 3, 6, 7, 8, *range(10, 41))
    assert "(37 traps)" in said
    assert "left out: trap 9, on the bench\n" in said
    assert "left out: traps 4 and 5 may not be set: latch (" in said
    assert "check:" not in said


def test_a_count_passes_over_traps_that_may_not_be_set(terminal: Terminal) -> None:
    terminal.log("pull", "Ledge", "--not-reset", "--at", "2026-12-01 09:00")
    terminal.log("damage", "Ledge", "--traps", "2 30", "--item", "latch", "--at", "2026-12-01 10:00")
    said = terminal.log("set", "Ledge", "--count", "3", "--at", "2026-12-02 09:00")
    assert terminal.entries()[-1].traps == (1, 3, 4)
    assert "left out: trap 2 may not be set: latch (" in said
    refused = terminal.refused("log", "set", "Ledge", "--count", "36")
    assert "--count: found 36, but only 35 may be set" in refused


def test_a_string_of_which_no_trap_may_be_set_is_not_set(terminal: Terminal) -> None:
    terminal.log("pull", "Ledge", "--not-reset")
    terminal.log("damage", "Ledge", "--traps", "all", "--item", "latch")
    assert "--traps: found a string with no trap that may be set" in terminal.refused("log", "set", "Ledge")


def test_what_was_mended_by_the_time_of_the_set_is_not_held_back(terminal: Terminal) -> None:
    terminal.log("pull", "Ledge", "--not-reset", "--at", "2026-12-01 09:00")
    terminal.log("damage", "Ledge", "--traps", "4", "--item", "latch", "--at", "2026-12-01 10:00")
    terminal.log("repaired", "Ledge", "--traps", "4", "--at", "2026-12-01 11:00")
    assert "left out" not in terminal.log("set", "Ledge", "--at", "2026-12-02 09:00")


def test_traps_set_while_the_gear_file_is_broken_are_checked_by_what_was_told(terminal: Terminal) -> None:
    terminal.log("pull", "Ledge", "--not-reset")
    terminal.log("damage", "Ledge", "--traps", "4", "--item", "buoy")
    (terminal.folder / "gear.toml").write_text("[stock]\nservice_level = 7\n")
    said = terminal.log("set", "Ledge", "--traps", "4")
    assert "check: trap 4 may not be set: buoy (unknown to the settings: may not be set)" in said


def test_a_trap_hauled_and_set_back_unmended_is_told_at_once(terminal: Terminal) -> None:
    terminal.log("damage", "Ledge", "--traps", "4", "--item", "latch", "--at", "2026-12-01 10:00")
    assert "check: trap 4 may not be set: latch" in terminal.log("pull", "Ledge")


def test_every_command_of_traps_says_how_many_were_meant(terminal: Terminal) -> None:
    said = terminal.log("damage", "Nine Foot", "--traps", "4", "--item", "latch")
    assert said.startswith("told: damage Nine Foot, trap 4 (1 trap), id ")
    terminal.log("missing", "Nine Foot", "--traps", "7")
    said = terminal.log("ashore", "Nine Foot")
    assert said.startswith("told: ashore Nine Foot, traps 1..6 8..24 (23 traps), id ")
    said = terminal.log("retired", "Nine Foot", "--traps", "all", "--reason", "worn out")
    assert "traps 1..6 8..24 (23 traps)" in said


@pytest.mark.parametrize(
    ("first", "typed", "key", "found"),
    [
        ("bait-bought cowhide 4.3", "bait-moved cowhide 200", "BOXES", "200 boxes"),
        ("hours 684", "hours 600", "HOURS", "600, less than the 684 read before"),
        ("part-counted screw 0", "part-used screw 2", "COUNT", "2 of 'screw' used, with 0 on hand"),
    ],
)
def test_what_an_entry_makes_odd_is_told_at_once(
    terminal: Terminal, first: str, typed: str, key: str, found: str
) -> None:
    assert "check:" not in terminal.log(*shlex.split(first))
    said = terminal.log(*shlex.split(typed))
    assert re.search(rf"check: {key}: found .*{re.escape(found)}.*; write ", said), said


def test_an_order_that_was_due_before_today_is_warned_of(terminal: Terminal) -> None:
    said = terminal.log("bait-ordered", "cowhide", "3", "--due", "2026-12-07")
    assert "check: it was due on 2026-12-07 and counts as late" in said
    assert "check:" not in terminal.log("bait-ordered", "cowhide", "3", "--due", "2026-12-08")


def test_a_bell_is_settled_with_what_stands_of_it_now(terminal: Terminal) -> None:
    """Both strings soak since October: 61 days, past one and a half times the skipper's ceiling."""
    said = terminal.log("settle", "soak:nine foot")
    settled = terminal.entries()[-1].detail
    assert isinstance(settled, BellSettled)
    assert (settled.cause, settled.level) == ("2026-10-08T12:30:00Z", 2)
    assert "check:" not in said


def test_a_bell_that_does_not_stand_is_taken_and_told(terminal: Terminal) -> None:
    for typed in ('settle "soak:Outer Bar"', 'snooze "soak:Outer Bar" --until "2026-12-12 06:00"'):
        assert "check: that bell doesn't stand now" in terminal.log(*shlex.split(typed))
    assert len(terminal.entries()) == 4


def test_all_traps_of_a_string_that_may_not_be_set_are_settled_together(terminal: Terminal) -> None:
    terminal.log("damage", "Ledge", "--traps", "4", "--item", "latch", "--at", "2026-12-01 10:00")
    terminal.log("damage", "Ledge", "--traps", "5", "--item", "slat", "--at", "2026-12-01 10:00")
    terminal.log("settle", "unset:Ledge")
    assert "unset:Ledge" in terminal.type("status").output
    terminal.log("damage", "Ledge", "--traps", "6", "--item", "slat", "--at", "2026-12-01 11:00")
    bells = terminal.type("status").output.partition("Bells")[2]
    states = re.findall(r"unset:Ledge .*(settled|not told yet)", bells)
    assert sorted(states) == ["not told yet", "settled"]


# ---- Parts of a mend


def test_a_mend_takes_the_parts_that_the_gear_file_has_for_it(terminal: Terminal) -> None:
    """config/gear.toml: a latch takes 1 hook latch and 2 screws."""
    terminal.log("damage", "Nine Foot", "--traps", "4 6", "--item", "latch")
    said = terminal.log("repaired", "Nine Foot", "--traps", "4 6", "--item", "latch")
    assert "parts taken from stock, by the gear file: hook latch 2; screw 4" in said
    assert terminal.entries()[-1].detail == Repaired("latch", (("hook latch", 2.0), ("screw", 4.0)))


def test_a_mend_of_all_that_was_wrong_takes_the_parts_of_each_thing_told(terminal: Terminal) -> None:
    """config/gear.toml: a slat takes 1 cypress slat and 2 screws, a buoy itself."""
    terminal.log("damage", "Ledge", "--traps", "1..2", "--item", "slat")
    terminal.log("damage", "Ledge", "--traps", "2", "--item", "buoy")
    detail = told(terminal, "repaired Ledge")
    assert detail == Repaired("", (("buoy", 1.0), ("cypress slat", 2.0), ("screw", 4.0)))


def test_a_mend_in_the_whole_string_counts_only_traps_that_had_it(terminal: Terminal) -> None:
    terminal.log("damage", "Ledge", "--traps", "7", "--item", "buoy")
    assert told(terminal, "repaired Ledge --item buoy") == Repaired("buoy", (("buoy", 1.0),))


def test_a_mend_never_told_as_damage_takes_parts_for_each_trap_named(terminal: Terminal) -> None:
    assert told(terminal, "repaired Ledge --traps 1..3 --item buoy") == Repaired("buoy", (("buoy", 3.0),))


def test_parts_that_are_told_or_none_count_instead(terminal: Terminal) -> None:
    terminal.log("damage", "Ledge", "--traps", "1 2", "--item", "latch")
    by_hand = 'repaired Ledge --traps 1 --parts "screw 1"'
    assert told(terminal, by_hand) == Repaired("", (("screw", 1.0),))
    assert told(terminal, "repaired Ledge --traps 2 --no-parts") == Repaired("", ())
    assert "--no-parts: found --parts too" in terminal.refused("log", *shlex.split(f"{by_hand} --no-parts"))


def test_a_mend_of_some_time_ago_takes_parts_for_what_was_wrong_then(terminal: Terminal) -> None:
    terminal.log("damage", "Ledge", "--traps", "1", "--item", "buoy", "--at", "2026-12-01 09:00")
    terminal.log("damage", "Ledge", "--traps", "1", "--item", "latch", "--at", "2026-12-05 09:00")
    assert told(terminal, 'repaired Ledge --at "2026-12-03 09:00"') == Repaired("", (("buoy", 1.0),))


# ---- Faults in the words of the command


@pytest.mark.parametrize(
    ("typed", "field", "found", "write"),
    [
        ("damage Ledge --traps 4 --item latsh", "--item", "'latsh'", "latch"),
        ("damage Ledge --traps 99 --item latch", "--traps", "99", "40"),
        ("damage Lege --traps 4 --item latch", "STRING", "'Lege'", "Ledge"),
        ('repaired Ledge --parts "latch"', "--parts", "'latch'", "as in jumbo 3.5; large 2"),
        ('repaired Ledge --parts "hook lach 2"', "--parts", "'hook lach'", "hook latch"),
        ("tagged Ledge --tag X1", "--traps", "nothing", "one trap"),
        ("replaced Ledge --traps 1..2 --tag X1", "--tag", "1..2", "one trap"),
        ("retired Ledge --traps 1 --reason ' '", "--reason", "nothing", "why"),
        ('renumbered Ledge "3-4"', "CHANGES", "'3-4'", "3>4; 4>3"),
        ('renumbered Ledge "3>4"', "CHANGES", "3>4", "the same before and after"),
        ('bait-bought "mulet heads" 2', "BAIT", "'mulet heads'", "mullet heads"),
        ("bait-bought cowhide 0", "BOXES", "0", "more than 0"),
        ("bait-bought cowhide nan", "BOXES", "nan", "a number"),
        ("bait-bought cowhide 2 --cost=-5", "--cost", "-5", "a number from 0"),
        ("bait-moved cowhide 2 --to thaw --from thaw", "--from", "thaw", "another place"),
        ("bait-ordered cowhide 2 --due 12/12/2026", "--due", "'12/12/2026'", "a date, as in"),
        ("part-bought hook-latch 10", "PART", "'hook-latch'", "hook latch"),
        ("part-bought screw 0", "COUNT", "0", "more than 0"),
        ("upkeep flare --expires 2029-06-30", "TASK", "'flare'", "flares"),
        ('upkeep "gear oil" --expires 2029-06-30', "--expires", "doesn't expire", "nothing"),
        ("upkeep flares", "--expires", "nothing", "the date that stands on it, as 2029-06-30"),
        ("damage Ledge --item latch", "--traps", "nothing", "the places of the traps"),
        ("retired Ledge --reason worn", "--traps", "nothing", "or all"),
        ("replaced Ledge", "--traps", "nothing", "or all"),
        ("part-bought screw 1.5", "COUNT", "1.5", "a whole number"),
        ('settle "soak:Nine Foo"', "BELL", "'soak:Nine Foo'", "soak:Nine Foot"),
        (
            'snooze "bait:mulet heads" --until "2026-12-12 06:00"',
            "BELL",
            "'bait:mulet heads'",
            "bait:mullet heads",
        ),
        ('upkeep flares --expires "June 2029"', "--expires", "'June 2029'", "a date"),
        ("hours 1e9", "HOURS", "1000000000", "a number from 0"),
        ('snooze "soak:Ledge" --until soon', "--until", "'soon'", "date and time"),
        ('snooze "soak:Ledge" --until "2026-12-01 06:00"', "--until", "2026-12-01 06:00 EST", "later than"),
        ("settle Ledge", "BELL", "'Ledge'", "soak:Nine Foot"),
        ("pull Ledge --grade jumbo", "--grade", "'jumbo'", "as in jumbo 3.5; large 2"),
        ('pull Ledge --grade "jmbo 3"', "--grade", "'jmbo'", "jumbo"),
        ("pull Ledge --smallest 29", "--smallest", "29", "less than 12"),
        ("pull Ledge --bait-boxes 1 --not-rebaited", "--bait-boxes", "no fresh bait", "nothing"),
        ('pull Ledge --bait "mulet heads"', "--bait", "'mulet heads'", "mullet heads"),
        ("pin Saturday Ledge", "DAY", "'Saturday'", "2027-06-30"),
        ("pin 2026-12-07 Ledge", "DAY", "gone by", "a day from 2026-12-08 to 2027-02-06"),
        ("bar 2027-02-07", "DAY", "61 days ahead", "a day from 2026-12-08 to 2027-02-06"),
        ("bar 2026-12-12 Lege", "STRING", "'Lege'", "Ledge"),
    ],
)
def test_what_cannot_be_taken_is_told_by_the_words_of_the_command(
    terminal: Terminal, typed: str, field: str, found: str, write: str
) -> None:
    said = terminal.refused("log", *shlex.split(typed))
    fault = re.search(rf"(?m): {re.escape(field)}: found (.*); write (.+)$", said)
    assert fault is not None, said
    assert found in fault[1]
    assert write in fault[2]


@pytest.mark.parametrize("typed", ["bait-bought cowhide 2 --to fridge", "damage Ledge", "snooze soak:Ledge"])
def test_what_is_no_command_ends_with_2(terminal: Terminal, typed: str) -> None:
    assert "Usage" in terminal.refused("log", *shlex.split(typed))


def test_a_date_that_is_past_is_taken_and_warned_of(terminal: Terminal) -> None:
    assert "check: flares expired on 2026-12-07" in terminal.log("upkeep", "flares", "--expires", "2026-12-07")
    assert "check:" not in terminal.log("upkeep", "flares", "--expires", "2026-12-08")
    assert len(terminal.entries()) == 4


def test_a_gear_file_that_is_broken_or_absent_keeps_nothing_out_of_the_log(terminal: Terminal) -> None:
    gear = terminal.folder / "gear.toml"
    gear.write_text("[stock]\nservice_level = 7\n")
    said = terminal.log("bait-bought", "herring", "2")
    assert "check: gear.toml has faults, so no name was held against it: see soakbell check" in said
    assert "service_level" not in said
    settings = terminal.folder / "boat.toml"
    settings.write_text(re.sub(r"(?m)^\[gear\]\nfile = .*\n", "", settings.read_text("utf-8")), "utf-8")
    assert "check:" not in terminal.log("bait-bought", "herring", "2")
    assert len(terminal.entries()) == 4


def test_names_in_a_file_are_held_against_the_gear_file_too(terminal: Terminal) -> None:
    file = terminal.folder / "season.csv"
    file.write_text(
        "happened_at,kind,string,traps,bait,boxes,item,task,expires_on\n"
        "2026-12-01 09:00,bait-bought,,,mulet heads,2,,,\n"
        "2026-12-01 09:00,bait-bought,,,mullet heads,2,,,\n"
        "2026-12-01 09:00,damage,Ledge,4,,,latsh,,\n"
        "2026-12-01 09:00,upkeep,,,,,,flares,2029-06-30\n"
    )
    said = terminal.refused("log", "import", str(file))
    assert "season.csv row 2: bait: found 'mulet heads', not in the settings; write mullet heads" in said
    assert "season.csv row 4: item: found 'latsh', not in the settings; write latch" in said
    assert terminal.log("import", str(file), "--skip-bad").endswith("2 entries new, 0 known before, 2 faults\n")
    assert terminal.log("import", str(file), "--skip-bad").endswith("0 entries new, 2 known before, 2 faults\n")


# ---- Undo


def undone(terminal: Terminal, *words: str) -> str:
    result = terminal.type("undo", *words)
    assert result.exit_code == 0, result.output
    return result.output


def voided(terminal: Terminal) -> list[str]:
    return [entry.detail.voids for entry in terminal.entries() if isinstance(entry.detail, Correction)]


def test_undo_voids_what_was_told_last_and_says_what_it_was(terminal: Terminal) -> None:
    terminal.log("pull", "Ledge", "--traps", "1..12 15", "--legal", "40", "--at", "2026-12-01 09:00")
    wrong = terminal.entries()[-1]
    said = undone(terminal)
    assert f"voided: pull Ledge, traps 1..12 15, 2026-12-01 09:00: --legal 40, id {wrong.id[:8]}\n" in said
    assert voided(terminal) == [wrong.id]
    assert vars(terminal.entries()[-1].detail)["reason"] == "undone"


def test_a_bar_says_what_it_does_and_undo_takes_it_back(terminal: Terminal) -> None:
    assert "no call of 2026-12-13 says to pull\n" in terminal.log("bar", "2026-12-13")
    assert "no call of 2026-12-13 says to pull Ledge" in terminal.log("bar", "2026-12-13", "Ledge")
    assert "takes Ledge in before others" in terminal.log("pin", "2026-12-12", "Ledge")
    assert "planned for as a day with a pull" in terminal.log("pin", "2026-12-12")
    undone(terminal)
    assert "voided: pin, 2026-12-08 15:00: 2026-12-12 Ledge" in undone(terminal)


def test_undo_twice_voids_the_two_told_last_newest_first(terminal: Terminal) -> None:
    terminal.log("bait-bought", "cowhide", "2")
    terminal.log("missing", "Ledge", "--traps", "3", "--at", "2026-11-01 09:00")
    bought, lost = terminal.entries()[-1], terminal.entries()[-2]
    assert (bought.kind, lost.kind) == ("bait-bought", "missing")
    undone(terminal)
    undone(terminal)
    assert sorted(voided(terminal)) == sorted([lost.id, bought.id])


def test_undo_leaves_alone_what_the_service_told_and_what_was_imported(terminal: Terminal) -> None:
    terminal.log("bait-bought", "cowhide", "2")
    bought = terminal.entries()[-1]
    store = open_store(f"sqlite:///{terminal.database}")
    with store.writing() as session:
        for told_by in ("order letter", "csv"):
            order = BaitOrdered("mullet heads", 3)
            append_entries(session, [new_entry(order, happened_at=NOW, told_at=NOW, told_by=told_by)])
    store.close()
    undone(terminal)
    assert voided(terminal) == [bought.id]


def test_undo_of_one_that_is_named_takes_any_and_a_correction_undone_brings_it_back(terminal: Terminal) -> None:
    first = terminal.entries()[0]
    undone(terminal, first.id[:8], "--reason", "that was another boat's")
    correction = next(entry for entry in terminal.entries() if isinstance(entry.detail, Correction))
    assert re.search(r"set \(voided\)", terminal.log("list"))
    undone(terminal, correction.id[:8])
    assert not re.search(r"set \(voided\)", terminal.log("list"))


def test_undo_says_what_it_upsets(terminal: Terminal) -> None:
    terminal.log("pull", "Ledge", "--at", "2026-12-01 09:00")
    pull, first = terminal.entries()[-1], next(e for e in terminal.entries() if e.string == "Ledge")
    said = undone(terminal, first.id[:8])
    assert said.startswith(f"told: correct {first.id[:8]}, id ")
    assert re.search(rf"check: {pull.id[:8]} pull Ledge: --traps: found the whole of Ledge, where no trap", said)
    assert first.id not in said
    assert first.id not in terminal.refused("undo", first.id[:8])


def test_an_empty_log_has_no_id_to_write(tmp_path: Path) -> None:
    with time_machine.travel(NOW):
        empty = home(tmp_path)
        for words in (("undo",), ("undo", "3f2a")):
            assert "write nothing: the log is empty" in empty.refused(*words)


def test_undo_of_nothing_is_told(terminal: Terminal) -> None:
    undone(terminal)
    undone(terminal)
    assert "found nothing told by command or phone" in terminal.refused("undo")
    assert "which fits no entry" in terminal.refused("undo", "zz")


def test_the_list_tells_what_was_told_of_bait_and_damage(terminal: Terminal) -> None:
    terminal.log("bait-bought", "cowhide", "2", "--to", "thaw")
    terminal.log("damage", "Ledge", "--traps", "4", "--item", "latch")
    shown = terminal.log("list")
    assert re.search(r"bait-bought │ +│ +│ cowhide 2 --to thaw", shown)
    assert re.search(r"damage +│ Ledge +│ 4 +│ --item latch", shown)
