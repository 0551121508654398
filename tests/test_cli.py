"""The command ``soakbell`` as a skipper types it: what it says, what it keeps, how it ends. INVENTED DATA."""

from __future__ import annotations

import asyncio
import json
import re
import shlex
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
import time_machine
import typer
from click.testing import Result
from demo.demo_boat import demo_settings
from demo.forecast_server import Services, serving
from demo.mail_catcher import catching
from demo.weather import FORTNIGHT, Weather
from typer.testing import CliRunner

from soakbell.cli import app
from soakbell.clock import SystemClock
from soakbell.store import letters
from soakbell.store.engine import open_store
from soakbell.store.in_use import restoring
from soakbell.web.keys import keys_beside
from terminals import Terminal, home

NOW = datetime(2026, 12, 8, 20, 0, tzinfo=UTC)  # 15:00 on the coast
COMMANDS = {
    "check", "run", "morning", "confirm-station", "read", "backup", "rehearse", "restore", "log",
    "undo", "status", "recovery", "setting", "catch", "plan", "climatology", "trust", "replay", "passphrase",
    "carry",
}  # fmt: skip
LOG_COMMANDS = {
    "set", "pull", "move", "missing", "recovered", "ashore", "damage", "repaired", "bench", "retired", "tagged",
    "replaced", "renumbered", "bait-bought", "bait-moved", "bait-spoiled", "bait-counted", "bait-ordered",
    "part-bought", "part-used", "part-counted", "upkeep", "hours", "snooze", "settle", "pin", "bar",
    "correct", "list", "import", "export",
}  # fmt: skip
CARRY_COMMANDS = {"in", "out"}
SECRET = "tern-plover-77"


@pytest.fixture
def terminal(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Terminal]:
    """An invented afternoon, and nothing in the log."""
    monkeypatch.chdir(tmp_path)
    with time_machine.travel(NOW):
        yield home(tmp_path)


@pytest.fixture(scope="module")
def october(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A database in which four strings were set."""
    terminal = home(tmp_path_factory.mktemp("october"))
    with time_machine.travel(NOW - timedelta(hours=1)):
        for string in ("Nine Foot", "Outer Bar", "The Hump", "Ledge"):
            said = terminal.log("set", string, "--at", "2026-10-08 08:30")
            assert said.startswith(f"told: set {string}, traps 1..")
    return terminal.database


@pytest.fixture
def fishing(terminal: Terminal, october: Path) -> Terminal:
    """The same afternoon with four strings out since October."""
    shutil.copyfile(october, terminal.database)
    return terminal


# ---- help


def every_command() -> Iterator[tuple[str, ...]]:
    group = typer.main.get_command(app)
    for name, command in group.commands.items():  # type: ignore[attr-defined]
        yield (name,)
        for below in getattr(command, "commands", {}):
            yield (name, below)


def test_the_commands_are_these() -> None:
    below = {("log", name) for name in LOG_COMMANDS} | {("carry", name) for name in CARRY_COMMANDS}
    assert set(every_command()) == {(name,) for name in COMMANDS} | below


@pytest.mark.parametrize("words", list(every_command()), ids=" ".join)
def test_every_command_and_option_has_help(words: tuple[str, ...]) -> None:
    command = typer.main.get_command(app)
    for word in words:
        command = command.commands[word]  # type: ignore[attr-defined]
    result = CliRunner().invoke(app, [*words, "--help"])
    assert result.exit_code == 0
    assert command.help
    assert command.help.split()[0] in result.output
    unexplained = [param.name for param in command.params if not getattr(param, "help", None)]
    assert unexplained == []


def examples_of(name: str) -> list[list[str]]:
    """The commands that the help of ``soakbell log NAME`` shows."""
    command = typer.main.get_command(app).commands["log"].commands[name]  # type: ignore[attr-defined]
    return [shlex.split(found) for found in re.findall(r"Example: soakbell (.+)", command.help)]


def test_each_example_in_the_help_of_the_log_works(fishing: Terminal) -> None:
    """In an order that makes sense of them; a trap is damaged before it is mended."""
    assert {name for name in LOG_COMMANDS if not examples_of(name)} == {"list"}
    fishing.log("correct", fishing.entries()[0].id, "--reason", "its help sets it")
    first = ("set", "pull", "move", "damage", "repaired", "missing", "recovered", "ashore", "bench")
    last = ("missing", "retired", "replaced", "export", "import")
    between = sorted(LOG_COMMANDS.difference(first, last, ("correct", "list")))
    for name in (*first, *between, *last):
        for words in examples_of(name):
            result = fishing.type(*words)
            assert result.exit_code == 0, result.output
    assert examples_of("correct") == [
        ["log", "correct", "3f2a", "--reason", "that was Ledge, not Outer Bar"]
    ]  # fmt: skip
    fishing.log("correct", fishing.entries()[-1].id[:8], "--reason", "that was Ledge, not Outer Bar")


# ---- the log


def test_a_pull_is_kept_with_what_was_told(fishing: Terminal) -> None:
    said = fishing.log(
        "pull", "Outer Bar", "--legal", "118", "--short", "64", "--float", "9", "--egg-bearing", "2",
        "--lb", "31.5", "--bait", "mullet heads", "--at", "2026-12-08 09:40", "--traps", "1..12 15",
        "--note", "swell from the south",
    )  # fmt: skip
    entry = fishing.entries()[-1]
    assert said == f"told: pull Outer Bar, traps 1..12 15 (13 traps), id {entry.id[:8]}\n"
    assert entry.happened_at == datetime(2026, 12, 8, 14, 40, tzinfo=UTC)
    assert (entry.told_by, entry.note) == ("cli", "swell from the south")
    assert NOW <= entry.told_at < NOW + timedelta(minutes=5)
    assert entry.traps == (*range(1, 13), 15)
    detail = vars(entry.detail)
    assert (detail["legal_claws"], detail["short_claws"], detail["float_claws"]) == (118, 64, 9)
    assert (detail["egg_bearing_released"], detail["lb"], detail["bait"]) == (2, 31.5, "mullet heads")


def test_a_count_that_was_not_told_stays_unknown(fishing: Terminal) -> None:
    fishing.log("pull", "Outer Bar")
    detail = vars(fishing.entries()[-1].detail)
    assert [detail[key] for key in ("legal_claws", "short_claws", "float_claws", "lb")] == [None] * 4


def test_the_list_shows_entries_and_soaks(fishing: Terminal) -> None:
    fishing.log("pull", "Outer Bar", "--at", "2026-12-02 15:00")
    fishing.log("missing", "The Hump", "--traps", "17")
    fishing.log("ashore", "Ledge")
    shown = fishing.log("list")
    assert re.search(r"2026-12-02 15:00 +│ +pull +│ +Outer Bar", shown)
    assert re.search(r"Outer Bar +│ +36 +│ +6 days", shown)
    assert re.search(r"The Hump +│ +27 ", shown)  # 28 less the missing one
    assert re.search(r"Ledge +│ +0 ", shown)
    assert len(re.findall(r"2026-1\d-\d\d \d\d:\d\d", fishing.log("list", "--last", "2"))) == 2


def test_a_string_with_brackets_in_its_name_is_listed(terminal: Terminal) -> None:
    """Such words mean bold print to the library that draws the table."""
    settings = terminal.folder / "boat.toml"
    settings.write_text(settings.read_text("utf-8").replace('name = "Ledge"', 'name = "Ledge [/b]"'), "utf-8")
    terminal.log("set", "Ledge [/b]", "--note", "[red]by the marker[/red]")
    for columns in (60, 160):
        shown = terminal.type("log", "list", columns=columns)
        assert (shown.exit_code, shown.output.count("Ledge [/b]")) == (0, 2), shown.output
        assert "[red]by the" in shown.output


@pytest.mark.parametrize("columns", [40, 76, 109, 110, 130])
def test_no_id_is_cut_however_narrow_the_terminal(fishing: Terminal, columns: int) -> None:
    fishing.log("pull", "Ledge", "--legal", "40", "--bait", "mullet heads", "--note", "a long note on the swell")
    shown = fishing.type("log", "list", columns=columns).output
    assert max(map(len, shown.splitlines())) <= columns
    assert [entry.id for entry in fishing.entries() if not re.search(rf"\b{entry.id[:8]}\b", shown)] == []


def test_the_list_tells_what_is_odd_in_all_books(fishing: Terminal) -> None:
    fishing.log("bait-spoiled", "cowhide", "9", "--from", "freezer")
    odd = fishing.entries()[-1].id[:8]
    assert re.search(rf"odd: {odd} bait-spoiled: BOXES: found .*; write ", fishing.log("list"))


def test_traps_kept_aboard_are_told_after_the_whole_string(fishing: Terminal) -> None:
    fishing.log("pull", "Outer Bar", "--legal", "60")
    said = fishing.log("pull", "Outer Bar", "--traps", "4", "--not-reset")
    assert said.startswith("told: pull Outer Bar, trap 4 (1 trap), id ")
    assert "a pull of the same traps" in fishing.refused(
        "log", "pull", "Outer Bar", "--traps", "5", "--legal", "2"
    )
    shown = " ".join(fishing.type("catch", "--by", "string").output.split())
    assert "Outer Bar 1.7 36 1" in shown


def test_a_missing_trap_can_be_found_and_a_string_moved(fishing: Terminal) -> None:
    fishing.log("missing", "The Hump", "--traps", "17", "--at", "2026-12-01 09:00")
    fishing.log("recovered", "The Hump", "--traps", "17", "--fishing", "--at", "2026-12-02 09:00")
    fishing.log("move", "Ledge", "--start", "29.905,-84.172", "--end", "29.908,-84.147")
    assert [entry.kind for entry in fishing.entries()[-3:]] == ["missing", "recovered", "move"]
    assert re.search(r"The Hump +│ +28 ", fishing.log("list"))


def test_a_correction_voids_and_a_second_one_of_the_same_is_refused(fishing: Terminal) -> None:
    fishing.log("pull", "Outer Bar", "--at", "2026-12-02 15:00")
    wrong = fishing.entries()[-1].id
    fishing.log("correct", wrong[:8], "--reason", "that was Ledge")
    assert re.search(r"Outer Bar +│ +36 +│ +61 days", fishing.log("list"))
    assert "voided already" in fishing.refused("log", "correct", wrong[:8], "--reason", "again")


def test_the_log_goes_out_as_csv_and_into_another_boat_once(fishing: Terminal, tmp_path: Path) -> None:
    file = tmp_path / "season.csv"
    assert fishing.log("export", str(file)) == f"4 entries written to {file}\n"
    told = fishing.entries()
    fishing.database.unlink()
    assert fishing.log("import", str(file)) == "4 entries new, 0 known before, 0 faults\n"
    assert fishing.entries() == told
    assert fishing.log("import", str(file)) == "0 entries new, 4 known before, 0 faults\n"
    assert fishing.entries() == told


def test_the_log_goes_through_a_pipe(fishing: Terminal) -> None:
    """As with the command that runs as the service's user, who may not see the skipper's folders."""
    out = fishing.type("log", "export", "-").stdout_bytes
    told = fishing.entries()
    fishing.database.unlink()
    options = ["--settings", str(fishing.folder / "boat.toml")]
    said = CliRunner().invoke(app, [*options, "log", "import", "-"], input=out)
    assert said.output == "4 entries new, 0 known before, 0 faults\n"
    assert fishing.entries() == told


def test_faults_of_rows_are_told_in_their_order_and_by_the_row_alone_of_a_pipe(fishing: Terminal) -> None:
    """Row 2 is bad beside the log, row 3 by itself."""
    rows = (
        "happened_at,kind,string,traps,legal_claws\n"
        "2026-12-02 15:00,recovered,Outer Bar,3,\n"
        "2026-12-02 16:00,pull,Outer Bar,,many\n"
        "2026-12-02 17:00,recovered,Ledge,3,\n"
    )
    options = ["--settings", str(fishing.folder / "boat.toml")]
    said = CliRunner().invoke(app, [*options, "log", "import", "-", "--skip-bad"], input=rows).output
    assert re.findall(r"(?m)^row (\d)", said) == ["2", "3", "4"]


def test_the_help_warns_of_what_spreadsheets_do_to_dates(terminal: Terminal) -> None:
    for name in ("import", "export"):
        assert "spreadsheet" in terminal.type("log", name, "--help").output


def test_one_bad_row_holds_back_the_file_unless_it_is_to_be_skipped(fishing: Terminal, tmp_path: Path) -> None:
    file = tmp_path / "season.csv"
    file.write_text(
        "happened_at,kind,string,legal_claws\n"
        "2026-12-02 15:00,pull,Outer Bar,118\n"
        "2026-12-02 16:00,pull,Outer Bra,many\n"
    )
    said = fishing.refused("log", "import", str(file))
    assert "season.csv row 3: legal_claws: found 'many'; write a whole number" in said
    assert fishing.log("import", str(file), "--skip-bad").endswith("1 entries new, 0 known before, 1 faults\n")


@pytest.mark.parametrize(
    ("typed", "field", "found", "write"),
    [
        ('set "Nine Feet"', "STRING", "'Nine Feet'", "Nine Foot"),
        ("set Ledge --count 0", "--count", "0", "how many were set"),
        ("set Ledge --start 30.03", "--start", "'30.03'", "latitude and longitude"),
        ("set Ledge --start 30.03,-184.16 --end 30.03,-84.15", "--start", "30.03 -184.16", "degrees"),
        ("set Ledge --start nan,nan --end 30.03,-84.15", "--start", "nan nan", "degrees"),
        ('pull Ledge --at "2026-12-08 9.40"', "--at", "'2026-12-08 9.40'", "2026-12-08 07:10"),
        (
            'pull Ledge --at "2026-12-09 09:40"',
            "--at",
            "2026-12-09 09:40 EST, in the future",
            "2026-12-08 15:00 EST or earlier",
        ),
        ("pull Ledge --traps 1-2-3", "--traps", "'1-2-3'", "places of traps"),
        ("pull Ledge --traps 99", "--traps", "99", "40"),
        ("pull Ledge --legal 1000000", "--legal", "1000000", "a number from 0"),
        ("pull Ledge --legal=-1", "--legal", "-1", "a number from 0"),
        ("missing Ledge", "--traps", "nothing", 'the places of the traps, as 4 or "1..12 15", or all'),
        (
            "recovered Ledge --traps 3",
            "--traps",
            "3 in Ledge, fishing at that time",
            "the traps that were missing",
        ),
        ("pull Ledge --traps 5..3", "--traps", "'5..3'", "as in 1..4 7"),
        (
            'move "Grassy Edge" --start 30.03,-84.16 --end 30.03,-84.15',
            "--traps",
            "the whole of Grassy Edge, where no trap was fishing at that time",
            "since only what is in the water can be moved",
        ),
        ("move Ledge --start here --end there", "--start", "'here'", "latitude and longitude"),
        ("correct zz --reason wrong", "ENTRY", "'zz', which fits no entry", "soakbell log list"),
        ("import nowhere.csv", "file", "No such file", "a CSV file that can be read"),
        ("export nowhere/season.csv", "file", "No such file", "a file that can be written"),
    ],
)
def test_what_cannot_be_taken_is_told_by_field_and_ends_with_2(
    fishing: Terminal, typed: str, field: str, found: str, write: str
) -> None:
    said = fishing.refused("log", *shlex.split(typed))
    fault = re.search(rf"(?m): {re.escape(field)}: found (.*); write (.+)$", said)
    assert fault is not None, said
    assert found in fault[1]
    assert write in fault[2]


@pytest.mark.parametrize("typed", ["nan", "inf", "-1"])
def test_a_weight_that_is_none_is_refused_with_what_was_found_and_what_to_write(
    fishing: Terminal, typed: str
) -> None:
    said = fishing.refused("log", "pull", "Ledge", f"--lb={typed}")
    assert re.search(rf"lb: found {typed}(\.0)?; write a number from 0 to 100000", said)


@pytest.mark.parametrize(
    ("typed", "fault"),
    [
        ("pull", "log pull: STRING: found nothing; write the string's name"),
        ("pull Ledge --legal some", "log pull: --legal: found 'some'; write a whole number, as 12"),
        ("list --last 0", "log list: --last: found '0'; write 1 or more"),
        ("bait-bought cowhide two", "log bait-bought: BOXES: found 'two'; write a number, as 2.5"),
        ("bait-bought cowhide 2 --to sea", "--to: found 'sea'; write freezer or thaw or aboard"),
        ("bait-bought cowhide -2", "BOXES: found -2; write a number from 0 to 100000\n"),
        ("part-used screw -.5", "COUNT: found -0.5; write a number from 0 to 100000\n"),
        ("bait-bought cowhide 2 --cost -5", "--cost: found -5; write a number from 0 to 100000, or nothing"),
        ("damage Ledge", "log damage: --item: found nothing; write what is wrong"),
    ],
)
def test_what_can_not_be_read_is_told_in_the_same_form(fishing: Terminal, typed: str, fault: str) -> None:
    said = fishing.refused("log", *shlex.split(typed))
    assert fault in said
    assert "Input should" not in said


@pytest.mark.parametrize(
    "typed",
    ["pull", "pull Ledge --legal some", "list --last 0", "sink Ledge", "correct 1"],
)
def test_what_is_no_command_ends_with_2(fishing: Terminal, typed: str) -> None:
    assert "Usage" in fishing.refused("log", *shlex.split(typed))


# ---- settings


def test_bad_settings_end_every_command_with_2_and_name_each_fault(terminal: Terminal) -> None:
    settings = terminal.folder / "boat.toml"
    text = settings.read_text("utf-8")
    settings.write_text(
        text.replace("cruise_kt = 14.0", "cruise_kt = 99").replace('zone = "GMZ730"', "zone = 7", 1)
    )
    for words in (["check"], ["run"], ["morning", "--kept"], ["log", "list"], ["log", "set", "Ledge"]):
        said = terminal.refused(*words)
        assert "cruise_kt: found 99; write cruising speed" in said
        assert "zone: found 7; write" in said
    assert not terminal.database.exists()


def test_only_what_sends_asks_for_the_mail_password(terminal: Terminal) -> None:
    settings = terminal.folder / "boat.toml"
    text = settings.read_text("utf-8").replace('security = "none"', 'security = "starttls"\nusername = "grebe"')
    settings.write_text(text)
    for words in (["morning", "--kept"], ["log", "set", "Ledge"], ["log", "list"], ["backup", "copy.sqlite3"]):
        result = terminal.type(*words)
        assert result.exit_code == 0, result.output
    for words in (["run"], ["check"]):
        assert "mail_password: found nothing" in terminal.refused(*words)


def test_a_check_tells_faults_of_gear_and_plan_although_the_mail_password_is_missing(terminal: Terminal) -> None:
    settings = terminal.folder / "boat.toml"
    text = settings.read_text("utf-8").replace('security = "none"', 'security = "starttls"\nusername = "grebe"')
    settings.write_text(text)
    (terminal.folder / "gear.toml").write_text("[stock]\nservice_level = 7\nplan_days = 0\n")
    (terminal.folder / "plan.toml").write_text("[plan]\nhorizon_days = 99\n")
    said = terminal.refused("check")
    for fault in (
        "service_level: found 7",
        "plan_days: found 0",
        "horizon_days: found 99",
        "mail_password: found",
    ):
        assert fault in said
    assert "trying" not in said


def test_settings_that_are_not_there_are_told(terminal: Terminal) -> None:
    (terminal.folder / "boat.toml").unlink()
    assert "boat.toml" in terminal.refused("check")


# ---- the letter, readers, copies


def test_the_morning_on_nothing_kept_is_a_no_call(fishing: Terminal) -> None:
    result = fishing.type("morning", "--kept")
    assert result.exit_code == 0, result.output
    assert result.output.startswith("NO CALL")


def test_a_morning_on_a_clock_that_is_behind_says_so(terminal: Terminal) -> None:
    """W11: the command trusts the clock no more than the service does."""
    terminal.log("list")
    store = open_store(f"sqlite:///{terminal.database}")
    with store.writing() as session:
        letters.put_note(session, "polled:Little Grebe", {}, NOW + timedelta(hours=3))
    store.close()
    result = terminal.type("morning", "--kept")
    assert result.output.startswith("NO CALL")
    assert "clock" in result.output.partition("\n")[0]


def test_a_station_that_moved_is_confirmed_by_command(terminal: Terminal) -> None:
    """F10."""
    assert "found '41008'; write NCKF1" in terminal.refused("confirm-station", "41008")
    assert "it isn't known yet where NCKF1 lies" in terminal.refused("confirm-station", "NCKF1")
    store = open_store(f"sqlite:///{terminal.database}")
    moved = {"confirmed": [30.071, -84.176], "seen": [30.2, -84.176], "moved": True}
    with store.writing() as session:
        letters.put_note(session, "station:NCKF1:Little Grebe", moved, NOW)
    result = terminal.type("confirm-station", "NCKF1")
    assert (result.exit_code, result.output) == (0, "NCKF1 is taken to lie at 30.200 -84.176 from now on\n")
    with store.reading() as session:
        note = letters.get_note(session, "station:NCKF1:Little Grebe")
    store.close()
    assert note is not None
    assert note[0] == {"confirmed": [30.2, -84.176], "seen": [30.2, -84.176], "moved": False}


def test_a_saved_reply_is_read_and_what_is_not_one_is_told(terminal: Terminal, tmp_path: Path) -> None:
    services = Services(Weather(FORTNIGHT))
    grid, junk = tmp_path / "grid.json", tmp_path / "junk.txt"
    grid.write_bytes(services.answer("/gridpoints/TAE/77,71", NOW).body)
    junk.write_text("no forecast at all")
    well = terminal.type("read", str(grid))
    assert (well.exit_code, "TAE/77,71" in well.output) == (0, True)
    as_json = terminal.type("read", "--json", str(grid))
    assert json.loads(as_json.output)["kind"] == "grid"
    assert terminal.type("read", str(grid), str(junk)).exit_code == 1
    absent = terminal.type("read", str(tmp_path / "absent"))
    assert absent.exit_code == 1
    assert "absent: No such file or directory; name a file that can be read" in absent.output


def test_a_backup_is_made_rehearsed_and_restored(fishing: Terminal, tmp_path: Path) -> None:
    """D7."""
    copy = tmp_path / "copy.sqlite3"
    counted = r"\d+ rows in \d+ tables, schema \d{4}"
    made = fishing.type("backup", str(copy))
    assert re.fullmatch(rf"{copy}: checked, {counted}\n", made.output)
    told = fishing.entries()
    fishing.log("ashore", "Ledge")
    present = fishing.database.read_bytes()
    before = sorted(tmp_path.iterdir())
    rehearsed = fishing.type("rehearse", str(copy))
    assert re.fullmatch(rf"{copy}: would serve, {counted}\n", rehearsed.output)
    assert (sorted(tmp_path.iterdir()), fishing.database.read_bytes()) == (before, present)
    keys_beside(fishing.database)
    keys = fishing.database.with_name(f"{fishing.database.name}.keys")
    assert keys.exists()
    restored = fishing.type("restore", str(copy))
    assert restored.exit_code == 0
    assert ".before-restore" in restored.output
    assert "links in letters written before are void" in restored.output
    assert not keys.exists()
    assert fishing.entries() == told


def test_a_restore_tells_what_the_backup_lacks_of_the_log_and_how_to_bring_it_back(
    fishing: Terminal, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without its pull a string would count as soaking on."""
    copy = tmp_path / "copy.sqlite3"
    fishing.type("backup", str(copy))
    fishing.log("pull", "Ledge")
    fishing.log("missing", "Ledge", "--traps", "3")
    present = fishing.entries()
    monkeypatch.setenv("SOAKBELL_COMMAND", "sudo soakbell-as-service")
    restored = fishing.type("restore", str(copy)).output
    file = fishing.database.with_name(f"{fishing.database.name}.before-restore.log.csv")
    assert "the backup lacks 2 entries of the log:\n  pull Ledge, all traps, 2026-12-08 15:00\n" in restored
    assert restored.endswith(f"  sudo soakbell-as-service log import {file}\n")
    assert oct(file.stat().st_mode & 0o777) == "0o600"
    assert fishing.log("import", str(file)) == "2 entries new, 0 known before, 0 faults\n"
    assert fishing.entries() == present
    assert (
        "lacks no entry"
        in fishing.type("restore", str(fishing.database.with_suffix(".sqlite3.before-restore"))).output
    )


def test_a_restore_over_what_can_not_be_read_says_that_the_log_must_be_told_again(
    fishing: Terminal, tmp_path: Path
) -> None:
    copy = tmp_path / "copy.sqlite3"
    fishing.type("backup", str(copy))
    fishing.database.write_bytes(b"not a database at all " * 400)
    restored = fishing.type("restore", str(copy))
    assert restored.exit_code == 0
    assert "what was told to the log since the backup can't be read from" in restored.output


@pytest.mark.parametrize(
    "command", [("log", "ashore", "Ledge"), ("status",), ("plan",), ("confirm-station", "42036")]
)
def test_no_command_works_with_a_database_that_is_being_restored(
    fishing: Terminal, command: tuple[str, ...]
) -> None:
    told = fishing.entries()
    with restoring(fishing.database):
        assert "is being restored; try again when that is done" in fishing.refused(*command)
    assert fishing.entries() == told


def test_a_backup_that_would_not_serve_is_found_out_by_a_rehearsal(fishing: Terminal, tmp_path: Path) -> None:
    """D7."""
    copy = tmp_path / "copy.sqlite3"
    fishing.type("backup", str(copy))
    with copy.open("r+b") as file:
        file.seek(4096)
        file.write(b"\xff" * 8192)
    assert str(copy) in fishing.refused("rehearse", str(copy))
    assert "is not there" in fishing.refused("rehearse", str(tmp_path / "none.sqlite3"))
    with closing(sqlite3.connect(tmp_path / "other.sqlite3")) as other:
        other.execute("CREATE TABLE recipes (id INTEGER)")
    assert "not a database of Soakbell" in fishing.refused("rehearse", str(tmp_path / "other.sqlite3"))


# ---- check


@pytest.mark.filterwarnings("ignore::DeprecationWarning:aiosmtpd")
def test_a_check_tries_every_source_and_the_mail_server_and_sends_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The forecast server and the mail catcher of the demo."""
    monkeypatch.setattr(SystemClock, "sleep", lambda *_: None)  # the second between two requests

    async def checked() -> tuple[Result, Result, int]:
        async with catching(lambda: NOW) as catcher:
            with serving(Weather(FORTNIGHT), lambda: NOW) as server:
                demo_settings(tmp_path, services=server.base, mail_port=catcher.port, station=FORTNIGHT.station)
                well = await asyncio.to_thread(Terminal(tmp_path).type, "check")
                settings = tmp_path / "boat.toml"
                text = settings.read_text("utf-8")
                settings.write_text(
                    text.replace(f"port = {catcher.port}", "port = 9").replace(
                        'zone = "GMZ730"', 'zone = "GMZ775"'
                    )
                )
                unwell = await asyncio.to_thread(Terminal(tmp_path).type, "check")
            return well, unwell, len(catcher.caught)

    well, unwell, sent = asyncio.run(checked())
    assert (well.exit_code, unwell.exit_code, sent) == (0, 1, 0), well.output + unwell.output
    tried = (
        "point",
        "zone",
        "zone forecast",
        "official warnings",
        "grid forecast",
        "station",
        "mail server",
        "settings",
    )
    for what in tried:
        assert re.search(rf"(?m)^ok +([^:]+ Bay: )?{what} ", well.output), what
    assert "NOT OK" not in well.output
    bad = [line for line in unwell.output.splitlines() if line.startswith("NOT OK")]
    for what in (
        "the zone forecast of TAE has none for GMZ775; correct the zone",
        "mail server 127.0.0.1:9 (none)",
    ):
        assert any(what in line for line in bad), what
    assert re.search(r"(?m)^ok +Inner Bay: grid forecast TAE/77,71", unwell.output)
