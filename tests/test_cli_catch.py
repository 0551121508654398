"""``soakbell catch`` as a skipper types it. INVENTED DATA."""

from __future__ import annotations

import io
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from click.testing import Result
from demo.demo_boat import demo_settings
from demo.weather import FORTNIGHT
from PIL import Image
from typer.testing import CliRunner

from soakbell.cli import app
from soakbell.gear import books
from soakbell.gear.log import Detail, LogEntry, Pulled, TrapsSet, new_entry
from soakbell.store.log import append_entries
from soakbell.wiring import open_database

OCTOBER = datetime(2026, 10, 20, 13, tzinfo=UTC)


@dataclass(frozen=True)
class Terminal:
    folder: Path

    def type(self, *words: str, columns: int = 100) -> Result:
        options = ["--settings", str(self.folder / "boat.toml"), "catch"]
        return CliRunner(env={"COLUMNS": str(columns)}).invoke(app, [*options, *words])

    def told(self, *words: str, columns: int = 100) -> str:
        result = self.type(*words, columns=columns)
        assert result.exit_code == 0, result.output
        return result.output

    def refused(self, *words: str) -> str:
        result = self.type(*words)
        assert result.exit_code == 2, result.output
        return result.output

    def log(self, *entries: LogEntry) -> None:
        settings = demo_settings(
            self.folder, services="http://127.0.0.1:9", mail_port=9, station=FORTNIGHT.station
        )
        store = open_database(settings)
        with store.writing() as session:
            append_entries(session, entries)
        store.close()


def on(days: float, string: str, detail: Detail, traps: tuple[int, ...] = ()) -> LogEntry:
    at = OCTOBER + timedelta(days=days)
    return new_entry(detail, happened_at=at, told_at=at, told_by="cli", string=string, traps=traps)


AUTUMN = (
    on(0, "Nine Foot", TrapsSet()),
    on(0, "Ledge", TrapsSet()),
    on(7.1, "Nine Foot", Pulled(legal_claws=48, short_claws=16, lb=12.0, bait="cowhide")),
    on(9.1, "Ledge", Pulled(lb_by_grade=(("jumbo", 4.0), ("large", 6.0)), bait="mullet heads")),
    on(19.2, "Nine Foot", Pulled(legal_claws=84, bait="cowhide")),
    on(20.2, "Ledge", Pulled()),
)
"""Nine Foot has 24 traps and Ledge 40. The first pull is in October, the others later."""


@pytest.fixture
def terminal(tmp_path: Path) -> Terminal:
    terminal = Terminal(tmp_path)
    terminal.log(*AUTUMN)
    return terminal


def row(output: str, *begins: str) -> list[str]:
    """The cells after the names that a row begins with."""
    name = " ".join(begins)
    (line,) = [line for line in output.splitlines() if " ".join(line.split()).startswith(f"{name} ")]
    return " ".join(line.split()).replace("not told", "not-told").removeprefix(f"{name} ").split()


def test_catch_is_told_for_each_trap_by_string_and_soak(terminal: Terminal) -> None:
    """Hand-reckoned: 48 claws and 12 lb of 24 traps are 2.0 and 0.50 a trap, 4.0 oz a claw, 16 of 64 short."""
    output = terminal.told()
    assert row(output, "Nine Foot", "7") == ["2.0", "0.50", "4.0", "25%", "24", "1"]
    assert row(output, "Nine Foot", "12") == ["3.5", "not-told", "not-told", "not-told", "24", "1"]
    assert row(output, "Ledge", "9") == ["not-told", "0.25", "not-told", "not-told", "40", "1"]
    assert output.index("Nine Foot") < output.index("Ledge"), "strings stand as in the settings"


def test_what_was_not_told_is_never_a_zero(terminal: Terminal) -> None:
    output = terminal.told()
    assert row(output, "Ledge", "11")[:4] == ["not-told"] * 4
    assert row(output, "all")[0] == "2.8", "132 claws over the 48 traps of which they were told"
    assert "Not told in any of these pulls: float claws." in output


@pytest.mark.parametrize(
    ("by", "rows"),
    [
        ("bait", [("cowhide", "24"), ("mullet heads", "40"), ("not named", "64")]),
        ("month", [("2026-10", "64"), ("2026-11", "64")]),
        ("string", [("Nine Foot", "48"), ("Ledge", "80")]),
        ("soak", [("7", "24"), ("9", "40"), ("11", "40"), ("12", "24")]),
    ],
)
def test_rows_stand_for_what_is_asked(terminal: Terminal, by: str, rows: list[tuple[str, str]]) -> None:
    output = terminal.told("--by", by)
    assert [(name, row(output, name)[-2]) for name, _ in rows] == rows


def test_only_the_asked_strings_and_months_count(terminal: Terminal) -> None:
    assert row(terminal.told("--string", "nine foot", "--by", "string"), "all")[-2:] == ["48", "2"]
    assert row(terminal.told("--since", "2026-11", "--by", "string"), "all")[-2:] == ["64", "2"]
    assert row(terminal.told("--until", "2026-10", "--by", "string"), "all")[-2:] == ["64", "2"]
    assert "no pull of these strings and months" in terminal.told("--since", "2027-01")


def test_pounds_by_grade_are_told_with_their_worth(terminal: Terminal) -> None:
    """4 lb at 27 dollars and 6 lb at 21 of the example's invented prices."""
    output = " ".join(terminal.told().split())
    assert "By grade: jumbo 4.0 lb; large 6.0 lb; worth 234 dollars at your prices." in output
    assert "By its weight the average claw is large (common practice, no source; from memory)." in output


def test_no_number_is_cut_short_on_a_narrow_screen(terminal: Terminal) -> None:
    assert row(terminal.told(columns=30), "Nine Foot", "7") == ["2.0", "0.50", "4.0", "25%", "24", "1"]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--string", "Nine Fot"), "--string: found 'Nine Fot'; write 'Nine Foot'"),
        (("--since", "November"), "--since: found 'November'; write a month, as \"2026-11\""),
        (("--since", "2026-11", "--until", "2026-10"), "--until: found 2026-10, before --since"),
        (("--png", "/nowhere/catch.png"), "--png: found /nowhere/catch.png (No such file or directory)"),
    ],
)
def test_what_can_not_be_asked_is_told_with_what_to_write(
    terminal: Terminal, words: tuple[str, ...], said: str
) -> None:
    assert said in terminal.refused(*words)


def test_the_picture_is_written_beside_the_table(terminal: Terminal, tmp_path: Path) -> None:
    file = tmp_path / "catch.png"
    assert f"drawn: {file}" in terminal.told("--png", str(file)).replace("\n", "")
    assert Image.open(io.BytesIO(file.read_bytes())).width == 2 * 390


def test_the_picture_goes_through_a_pipe_with_no_word_in_it(terminal: Terminal) -> None:
    """The service may not write into the skipper's folder."""
    result = terminal.type("--string", "Nine Foot", "--png", "-")
    assert result.exit_code == 0
    assert Image.open(io.BytesIO(result.stdout_bytes)).width == 2 * 390
    assert row(result.stderr, "Nine Foot", "7")[0] == "2.0"
    nothing = terminal.type("--string", "Ledge", "--since", "2026-11", "--png", "-")
    assert (nothing.stdout_bytes, "no picture" in nothing.stderr) == (b"", True)


def test_a_pull_in_the_last_evening_of_a_month_counts_in_that_month(tmp_path: Path) -> None:
    """20 October 13:00 UTC and 11.5 days: 21:00 on 31 October by the harbor's clock, in November by UTC."""
    terminal = Terminal(tmp_path)
    terminal.log(on(0, "Nine Foot", TrapsSet()), on(11.5, "Nine Foot", Pulled()))
    assert row(terminal.told("--by", "month"), "2026-10")[-1] == "1"


def test_there_is_no_picture_of_pulls_that_told_no_catch(terminal: Terminal, tmp_path: Path) -> None:
    file = tmp_path / "catch.png"
    output = terminal.told("--string", "Ledge", "--since", "2026-11", "--png", str(file))
    assert "no picture: none of these pulls told its claws or pounds" in output
    assert not file.exists()


def test_a_broken_gear_file_costs_the_worth_and_no_number(terminal: Terminal) -> None:
    (terminal.folder / "gear.toml").write_text("grades = 3")
    result = terminal.type()
    assert result.exit_code == 0
    assert "gear.toml" in result.output
    assert row(result.output, "Nine Foot", "7")[0] == "2.0"
    assert "dollars" not in result.output


def test_books_that_can_not_be_kept_are_told_and_end_in_a_fault(
    terminal: Terminal, monkeypatch: pytest.MonkeyPatch
) -> None:
    def torn(*_: object) -> None:
        raise KeyError("a torn page")

    monkeypatch.setattr(books.CatchBook, "take", torn)
    result = terminal.type()
    assert result.exit_code == 1
    assert "the catch can't be told" in result.output
    assert "a torn page" in result.output


def test_help_shows_how_it_is_typed(terminal: Terminal) -> None:
    output = terminal.told("--help")
    assert 'Example: soakbell catch --string "Nine Foot" --by soak --png catch.png' in output
