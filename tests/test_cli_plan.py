"""``soakbell plan`` as a skipper types it. INVENTED DATA."""

from __future__ import annotations

import shutil
from dataclasses import dataclass, replace
from pathlib import Path

import pytest
from click.testing import Result
from PIL import Image
from typer.testing import CliRunner

from law.world import NOW
from plan_scenes import CONFIG, FIVE_TOML, sea_of
from soakbell.cli import app
from soakbell.clock import SystemClock
from soakbell.planning.season_told import SURE_START, SeasonAhead
from soakbell.season_desk import SeasonDesk
from soakbell.settings import load_settings
from soakbell.store import log, replies
from soakbell.wiring import open_database
from take_up_scenes import ODDS


@dataclass(frozen=True)
class Terminal:
    """A folder with settings, five strings in the water, and the sources of a fit morning on hand."""

    folder: Path

    def type(self, *words: str, columns: int = 120) -> Result:
        options = ["--settings", str(self.folder / "boat.toml")]
        return CliRunner(env={"COLUMNS": str(columns)}).invoke(app, [*options, *words])

    def told(self, *words: str) -> str:
        result = self.type("plan", *words)
        assert result.exit_code == 0, result.output
        return result.output

    def keep(self, *, fetched: bool = True) -> None:
        settings = load_settings(self.folder / "boat.toml", {}, with_secrets=False)
        store, sea = open_database(settings), sea_of()
        with store.writing() as session:
            log.append_entries(session, sea.entries)
            for pages in sea.on_hand().replies.values() if fetched else ():
                replies.keep_reply(session, pages[0])
        store.close()


@pytest.fixture
def bare(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Terminal:
    """Nothing was fetched or logged yet."""
    monkeypatch.setattr(SystemClock, "now", lambda _: NOW)
    more = '\n[gear]\nfile = "gear.toml"\n[plan]\nfile = "plan.toml"\n[store]\ndatabase = "soakbell.sqlite3"\n'
    (tmp_path / "boat.toml").write_text(FIVE_TOML + more, "utf-8")
    shutil.copytree(CONFIG / "fisheries", tmp_path / "fisheries")
    for name in ("gear.toml", "plan.toml"):
        shutil.copy(CONFIG / name, tmp_path / name)
    return Terminal(tmp_path)


@pytest.fixture
def terminal(bare: Terminal) -> Terminal:
    bare.keep()
    return bare


def test_the_plan_is_told_as_in_the_letter(terminal: Terminal) -> None:
    told = " ".join(terminal.told().split())
    assert "Little Grebe, Tuesday 8 December 2026: PULL by what is on hand" in told
    assert "Going today" in told
    assert "Tue 8 Dec │ called" in told
    assert "String by string - Nine Foot: today" in told
    assert "The plan makes no call and changes none: you decide." in told
    assert "Official warnings and local rules come before this plan." in told


def test_the_last_day_to_start_the_take_up_is_told_as_in_the_letter(
    terminal: Terminal, monkeypatch: pytest.MonkeyPatch
) -> None:
    """95% (``SURE_START``): with no day left for it, taking up goes before pulling."""
    odds = replace(ODDS, start_by=((SURE_START, None),))
    monkeypatch.setattr(SeasonDesk, "ahead", lambda *_, **__: SeasonAhead(ODDS.day, odds=odds))
    told = " ".join(terminal.told().split())
    assert "No day to start on has a chance of 95% any more of all traps home by" in told


def test_what_the_two_numbers_of_a_catch_mean_is_told_as_in_the_letter(terminal: Terminal) -> None:
    """The interval of the catch to expect is one of 80 % (``catch_curve.LOW``, ``HIGH``)."""
    told = " ".join(terminal.told().split())
    assert "The average lies between the two numbers in 4 cases of 5; a single haul strays further." in told


def test_curves_are_drawn_one_a_string_and_said_in_words(terminal: Terminal, tmp_path: Path) -> None:
    told = terminal.told("--curves", str(tmp_path / "curves"))
    drawn = sorted(path.name for path in (tmp_path / "curves").iterdir())
    assert drawn == ["1-nine-foot.png", "2-outer-bar.png", "3-grassy-edge.png", "4-the-hump.png", "5-ledge.png"]
    with Image.open(tmp_path / "curves" / "5-ledge.png") as picture:
        assert picture.width == 780
    assert "Ledge: ripe after about" in told


def test_a_folder_that_cannot_be_written_to_is_told(terminal: Terminal, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("", "utf-8")
    result = terminal.type("plan", "--curves", str(tmp_path / "file" / "curves"))
    assert result.exit_code == 2
    assert "a folder that can be written to" in result.output


def test_a_narrow_terminal_loses_no_word(terminal: Terminal) -> None:
    told = terminal.type("plan", columns=50).output
    assert "called" in told
    assert "Outer" in told


def test_without_a_call_there_is_no_plan_and_the_curves_are_drawn_all_the_same(
    bare: Terminal, tmp_path: Path
) -> None:
    bare.keep(fetched=False)
    told = bare.told("--curves", str(tmp_path / "curves"))
    assert "NO CALL by what is on hand" in told
    assert "no days are planned beside NO CALL" in told
    assert len(list((tmp_path / "curves").iterdir())) == 5


def test_a_broken_plan_file_is_told_and_ends_with_1(terminal: Terminal) -> None:
    (terminal.folder / "plan.toml").write_text("[plan]\nhorizon = 3\n", "utf-8")
    result = terminal.type("plan")
    assert result.exit_code == 1
    assert "horizon_days?" in result.output


def test_where_no_plan_is_set_up_it_says_how(terminal: Terminal) -> None:
    text = (terminal.folder / "boat.toml").read_text("utf-8").replace('[plan]\nfile = "plan.toml"\n', "")
    (terminal.folder / "boat.toml").write_text(text, "utf-8")
    assert "name its file in [plan] of" in terminal.told()
