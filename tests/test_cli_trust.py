"""``soakbell trust`` and ``soakbell replay`` as a skipper types them. INVENTED DATA."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

import pytest
from click.testing import Result
from PIL import Image
from sqlalchemy import delete, func, select
from typer.testing import CliRunner

from kept_days import KeptDays
from law.world import FISHERIES, SETTINGS_TOML, WITH_STATION
from soakbell.cli import app
from soakbell.clock import SystemClock
from soakbell.settings import load_settings
from soakbell.store.schema import CallRow, NoteRow, OutboxRow, ReplyRow
from soakbell.wiring import open_database

FIRST = date(2026, 11, 2)
DAY = timedelta(days=1)
DAYS = 4


@dataclass(frozen=True)
class Terminal:
    """A folder with settings and four mornings kept, all called PULL. Forecasts were 4 kt low; one day blew."""

    folder: Path
    kept: KeptDays

    def type(self, *words: str, columns: int = 160) -> Result:
        options = ["--settings", str(self.folder / "boat.toml")]
        return CliRunner(env={"COLUMNS": str(columns)}).invoke(app, [*options, *words])

    def told(self, *words: str) -> str:
        result = self.type(*words)
        assert result.exit_code == 0, result.output
        return result.output

    def replay(self) -> str:
        return self.told("replay", "--from", f"{FIRST}", "--to", f"{FIRST + (DAYS - 1) * DAY}")

    def change(self, old: str, new: str) -> None:
        path = self.folder / "boat.toml"
        text = path.read_text("utf-8")
        assert old in text
        path.write_text(text.replace(old, new), "utf-8")

    def counts(self) -> list[int | None]:
        with self.kept.store.reading() as session:
            return [session.scalar(select(func.count()).select_from(t)) for t in (CallRow, OutboxRow, ReplyRow)]


@pytest.fixture(scope="module")
def played(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("kept")
    (folder / "fisheries").symlink_to(FISHERIES)
    text = SETTINGS_TOML.replace(*WITH_STATION) + '[store]\ndatabase = "soakbell.sqlite3"\n'
    (folder / "boat.toml").write_text(text, "utf-8")
    settings = load_settings(folder / "boat.toml", {})
    store = open_database(settings)
    kept = KeptDays(store, low_by_kt=4, settings=settings)
    kept.fish_since(FIRST)
    assert kept.keep(FIRST, DAYS, calling=True) == ["PULL"] * DAYS
    after = kept.morning_of(FIRST + DAYS * DAY)
    kept.keep_measured(after)
    kept.desk(after).look_back()
    store.close()
    return folder


@pytest.fixture
def terminal(played: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Terminal]:
    """A copy of that folder, in the morning after."""
    (tmp_path / "fisheries").symlink_to(FISHERIES)
    for name in ("boat.toml", "soakbell.sqlite3"):
        (tmp_path / name).write_bytes((played / name).read_bytes())
    settings = load_settings(tmp_path / "boat.toml", {})
    store = open_database(settings)
    kept = KeptDays(store, low_by_kt=4, settings=settings)
    monkeypatch.setattr(SystemClock, "now", lambda _: kept.morning_of(FIRST + DAYS * DAY))
    yield Terminal(tmp_path, kept)
    store.close()


def cells(output: str, *begins: str) -> list[str]:
    name = " ".join(begins)
    (line,) = [line for line in output.splitlines() if " ".join(line.split()).startswith(f"{name} ")]
    return " ".join(line.split()).removeprefix(f"{name} ").split()


# ---- trust


def test_trust_tells_what_came_of_the_days_called_and_how_far_forecasts_were_off(terminal: Terminal) -> None:
    output = terminal.told("trust")
    assert cells(output, "PULL") == ["4", "0", "3", "1", "0"]
    assert "against fit as far as measured and not: 3 hits, 0 misses, 1 false call, 0 right waits" in output
    assert "Not measured: wind, gusts and seas in Outer Bay." in " ".join(output.split())
    assert "was called PULL and came out outside your limits: wind 18" in output
    assert cells(output, "Gusts, kt day 1")[0] == "+4.0"
    assert "grid forecast +4.0 give or take" in " ".join(output.split())
    assert "Wind, gusts and seas: nothing on record of Outer Bay." in " ".join(output.split())
    assert "wind, gusts and seas" in output


def test_the_prior_stands_beside_what_the_plan_reckons_with(terminal: Terminal) -> None:
    """4 of 34 days' weight on a bias of 4 kt move the range by about 0.5 kt toward rougher; the prior is even."""
    row = cells(terminal.told("trust"), "Gusts, kt day 1")
    reckoned, prior = row[3:6], row[6:9]
    assert prior[0] == f"-{prior[2].removeprefix('+')}"
    assert float(reckoned[2]) == pytest.approx(float(prior[2]) + 4 * 4 / 34, abs=0.11)


def test_trust_draws_a_picture(terminal: Terminal) -> None:
    file = terminal.folder / "trust.png"
    assert f"drawn: {file}" in terminal.told("trust", "--png", str(file)).replace("\n", "")
    with Image.open(file) as image:
        assert image.size[0] == 2 * 390
    refused = terminal.type("trust", "--png", "/nowhere/trust.png")
    assert refused.exit_code == 2
    assert "--png: found /nowhere/trust.png (No such file or directory)" in refused.output


def test_without_a_record_trust_looks_back_by_itself(terminal: Terminal) -> None:
    with terminal.kept.store.writing() as session:
        session.execute(delete(NoteRow).where(NoteRow.name.startswith("trust:")))
    assert "looking back now" in terminal.told("trust")
    assert "looking back now" not in terminal.told("trust"), "what was found is kept"


# ---- replay


def test_a_past_call_is_made_again_to_the_last_number_and_the_sea_stands_beside_it(terminal: Terminal) -> None:
    before = terminal.counts()
    output = terminal.replay()
    assert "Of 4 days 4 the same to the last number, 0 not the same." in output
    assert output.count("inside the limits as far as measured") == 3
    assert output.count("(wind, gusts and seas in Inner Bay)") == 3
    assert output.count("OUTSIDE the limits") == 1
    assert "wind 18" in output
    assert terminal.counts() == before, "nothing is stored or sent"


def test_settings_that_changed_since_are_named_where_they_change_the_call(terminal: Terminal) -> None:
    terminal.change("wind_kt = 15", "wind_kt = 6")
    output = " ".join(terminal.replay().split())
    assert "Of 4 days 0 the same to the last number, 4 not the same." in output
    assert "WAIT today; the settings or the fishery file changed since." in output
    assert "OUTSIDE the limits" in output, "the sea is judged by the limits of the call"


def test_a_day_whose_replies_were_pruned_says_so(terminal: Terminal) -> None:
    with terminal.kept.store.writing() as session:
        call = session.scalars(select(CallRow).order_by(CallRow.id)).first()
        assert call is not None
        gone = next(said["sha256"] for said in call.inputs if said["kind"] == "zone text")
        session.execute(delete(ReplyRow).where(ReplyRow.sha256 == gone))
    output = " ".join(terminal.replay().split())
    assert "can't be told" in output
    assert "rests on a zone text reply for TAE that is no longer kept" in output
    assert "Of 4 days 3 the same to the last number, 0 not the same, 1 that cannot be made again." in output


def test_a_string_that_the_settings_no_longer_name_stops_no_replay(terminal: Terminal) -> None:
    terminal.change('name = "Outer Bar"', 'name = "Ledge"')
    assert "Of 4 days" in terminal.replay()


def test_without_measurements_the_sea_is_not_told(terminal: Terminal) -> None:
    with terminal.kept.store.writing() as session:
        session.execute(delete(ReplyRow).where(ReplyRow.kind == "observations"))
    output = " ".join(terminal.replay().split())
    assert "not told by any measurement" in output
    assert "no area has a station that measured anything in that time" in output


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--from", "November"), "--from: found 'November'; write a day, as \"2026-12-01\""),
        (("--from", "2026-12-02", "--to", "2026-12-01"), "--to: found 2026-12-01, before 2026-12-02"),
    ],
)
def test_days_that_make_no_sense_are_refused(terminal: Terminal, words: tuple[str, ...], said: str) -> None:
    result = terminal.type("replay", *words)
    assert result.exit_code == 2
    assert said in result.output


def test_days_without_a_call_are_no_fault(terminal: Terminal) -> None:
    assert "no call of Little Grebe is on record from 2026-10-01 to 2026-10-02" in terminal.told(
        "replay", "--from", "2026-10-01", "--to", "2026-10-02"
    )
