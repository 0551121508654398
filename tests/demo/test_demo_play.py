"""The play as a whole: real service, real SMTP, set clock."""

from __future__ import annotations

import asyncio
import io
import re
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path

import pytest
from demo.play import main, play
from demo.show import kind_of, text_of
from demo.story import WINTER
from demo.weather import FORTNIGHT

from soakbell.planning.call import CallWord


def _played(out: Path, days: int) -> dict[str, bytes]:
    assert main(["--days", str(days), "--out", str(out)]) == 0
    return {path.name: path.read_bytes() for path in sorted(out.iterdir())}


@pytest.fixture(scope="module")
def first_play(tmp_path_factory):
    """The files of two days, and what came to the terminal."""
    out, err = io.StringIO(), io.StringIO()
    with redirect_stdout(out), redirect_stderr(err):
        files = _played(tmp_path_factory.mktemp("first"), 2)
    return files, out.getvalue(), err.getvalue()


@pytest.fixture(scope="module")
def two_days(first_play):
    return first_play[0]


def test_the_same_input_gives_the_same_letters_to_the_byte(two_days, tmp_path):
    again = _played(tmp_path, 1)
    assert [name for name in again if name.endswith("-08-morning.eml")] != []
    assert {name: two_days[name] for name in again} == again


def test_two_days_bring_a_pull_and_a_changed_call(two_days):
    subjects = {name: text.decode().partition("\n")[0] for name, text in two_days.items() if name.endswith(".txt")}
    assert subjects["invented-data-2026-12-08-morning.txt"].startswith("Subject: PULL 07:00")
    assert subjects["invented-data-2026-12-09-morning.txt"].startswith("Subject: PULL 07:15")
    assert subjects["invented-data-2026-12-09-changed.txt"].startswith(
        "Subject: CHANGED CALL: WAIT, Small Craft Advisory"
    )
    assert [name for name in subjects if "-eve" in name] == [
        f"invented-data-2026-12-0{day}-eve.txt" for day in (7, 8, 9)
    ]


def test_each_letter_is_written_with_all_its_parts(two_days):
    parts = {
        "invented-data-2026-12-08-morning": "eml gpx html ics png txt",
        "invented-data-2026-12-09-changed": "eml html ics png txt",
    }
    for stem, suffixes in parts.items():
        assert [name.rpartition(".")[2] for name in two_days if name.startswith(stem)] == suffixes.split()


def test_every_file_says_that_its_data_is_invented(two_days):
    for name, content in two_days.items():
        assert name.startswith("invented-data-")
        if not name.endswith((".png", ".eml")):
            assert b"invented data" in content.lower(), name


def test_the_page_shows_the_picture_that_lies_beside_it(two_days):
    assert b'src="invented-data-2026-12-08-morning.png"' in two_days["invented-data-2026-12-08-morning.html"]
    assert two_days["invented-data-2026-12-08-morning.png"].startswith(b"\x89PNG")
    assert b"cid:" in two_days["invented-data-2026-12-08-morning.eml"]


def test_the_terminal_shows_the_night_the_letter_and_the_table(first_play):
    _, out, err = first_play
    assert err == ""
    for line in ("INVENTED DATA", "503 Forecast Grid Expired", "451", "Subject: PULL", "Tue 8 Dec"):
        assert line in out


def test_more_days_than_are_scripted_are_refused(capsys):
    with pytest.raises(SystemExit):
        main(["--days", "15"])
    assert "invalid choice: 15" in capsys.readouterr().err


@pytest.fixture(scope="module")
def fortnight(tmp_path_factory):
    return asyncio.run(play(WINTER, FORTNIGHT.days, tmp_path_factory.mktemp("fortnight")))


def _texts(days, kind: str) -> dict[int, str]:
    """Texts of one kind of letter, by the day of December that they came on."""
    return {
        FORTNIGHT.local(caught.at).day: text_of(caught.message)
        for day in days
        for caught in day.letters
        if kind_of(caught.message) == kind
    }


@pytest.mark.slow
def test_the_fortnight_holds_every_kind_of_call(fortnight):
    """The blow that came early, the two fronts, and the text that stayed silent for more than a day."""
    days = fortnight
    words = {day.day.day: [call.word for call in day.calls] for day in days}
    assert len(words) == 14
    assert words[8] == [CallWord.PULL]
    assert words[9] == [CallWord.PULL, CallWord.WAIT]
    assert words[10] == words[11] == words[18] == [CallWord.WAIT]
    assert words[15] == [CallWord.NO_CALL]
    assert words[16] == words[20] == [CallWord.PULL]
    for day in days:
        told = [caught for caught in day.letters if kind_of(caught.message) in ("morning", "changed")]
        assert len(told) == len(day.calls)


@pytest.mark.slow
def test_the_fortnight_brings_each_letter_about_gear(fortnight):
    eves, orders = _texts(fortnight, "eve"), _texts(fortnight, "bait-order")
    assert sorted(eves) == list(range(7, 22)), "one each evening"
    assert re.search(r"Take [0-9.]+ box(es)? of mullet heads out of the freezer", eves[8])
    assert "Take" not in eves[10], "nothing is thawed for a day that is likely to be no pull"
    assert re.search(r"[0-9.]+ boxes of mullet heads", orders[10]), "on the order day after two pulls"
    bells = "\n".join(
        text_of(caught.message)
        for day in fortnight
        for caught in day.letters
        if kind_of(caught.message) == "bells"
    )
    assert "Nine Foot" in bells
    assert 'soakbell log settle "soak:Nine Foot"' in bells
    assert 'soakbell log settle "upkeep:bilge pump test"' in bells
    assert 'soakbell log settle "unset:The Hump"' in bells


@pytest.mark.slow
def test_days_without_a_pull_have_a_bench_list_while_traps_wait(fortnight):
    mornings = _texts(fortnight, "morning")
    assert "Bench and upkeep" in mornings[10]
    assert "Bait and gear to load" in mornings[16]
