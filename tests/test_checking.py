"""What a check says of settings that load but could never carry a call. INVENTED DATA."""

from __future__ import annotations

from contextlib import closing
from dataclasses import replace
from datetime import UTC, datetime, time
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from demo.demo_boat import demo_settings
from demo.forecast_server import Services
from demo.weather import FORTNIGHT, Weather

from soakbell.checking import check_all, check_files
from soakbell.errors import FetchFailed, HostNotFound
from soakbell.feeds.transport import Ask
from soakbell.known_strings import NOTE, TORN
from soakbell.sea.sources import RawReply
from soakbell.settings import load_settings
from soakbell.store.engine import open_store
from soakbell.store.letters import drop_note, put_note
from terminals import home

NOW = datetime(2026, 12, 8, 9, 45, tzinfo=UTC)


class DemoServices:
    """The demo's services without a server."""

    def __init__(self) -> None:
        self._services = Services(Weather(FORTNIGHT))

    def fetch(self, ask: Ask) -> RawReply:
        parts = urlsplit(ask.url)
        answer = self._services.answer(f"{parts.path}?{parts.query}", NOW)
        if answer.status != 200:
            raise FetchFailed(f"{ask.key}: {answer.status}", retry=False, status=answer.status)
        return RawReply(ask.kind, ask.key, ask.url, 200, answer.media_type, answer.body, NOW)


def findings(folder: Path, *changes: tuple[str, str]) -> dict[str, str]:
    """What is not well, by what was tried; the mail server, which nobody runs here, left out."""
    demo_settings(folder, services="http://127.0.0.1:9", mail_port=9, station=FORTNIGHT.station)
    path = folder / "boat.toml"
    text = path.read_text("utf-8")
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    path.write_text(text, "utf-8")
    found = check_all(load_settings(path, {}), DemoServices())
    return {f.tried: f.found for f in found if not f.well and not f.tried.startswith("mail server")}


def test_the_example_is_well(tmp_path: Path) -> None:
    assert findings(tmp_path) == {}


def test_a_zone_that_the_office_does_not_write_for_is_told(tmp_path: Path) -> None:
    bad = findings(tmp_path, ('zone = "GMZ730"', 'zone = "PZZ450"'))
    assert (
        bad["Inner Bay: zone forecast of TAE"] == "the zone forecast of TAE has none for PZZ450; correct the zone"
    )
    assert bad["Outer Bay: zone PZZ450"] == "PZZ450: 404"


@pytest.mark.parametrize(
    ("limit", "quantity"),
    [("# visibility_nm = 2", "visibility_nm"), ("# thunder_pct = 30", None), ("# steepness = 0.03 ", None)],
)
def test_a_limit_that_no_source_has_a_number_for_is_told(tmp_path: Path, limit: str, quantity: str | None) -> None:
    """Every period tells of thunder, and this office's of the waves' period too; none names clear sight."""
    bad = findings(tmp_path, (limit, limit.removeprefix("# ")))
    areas = {"Inner Bay: limits", "Outer Bay: limits"} if quantity else set()
    assert set(bad) == areas
    for found in bad.values():
        assert found.startswith(
            f"{quantity}: limited here, but not in grid_gives, and the zone forecast of TAE doesn't"
        )


def test_a_limit_is_well_where_the_cell_gives_its_number(tmp_path: Path) -> None:
    given = ('grid_gives = ["wind_kt", "gust_kt"', 'grid_gives = ["visibility_nm", "wind_kt", "gust_kt"')
    assert findings(tmp_path, ("# visibility_nm = 2", "visibility_nm = 2"), given) == {}


def test_a_cell_without_gusts_is_told_since_gusts_are_always_limited(tmp_path: Path) -> None:
    bad = findings(tmp_path, ('grid_gives = ["wind_kt", "gust_kt", "sea_m"]', 'grid_gives = ["wind_kt", "sea_m"]'))
    assert list(bad) == ["Outer Bay: limits"]
    assert bad["Outer Bay: limits"].startswith("gust_kt: limited here")


class Unplugged:
    """A computer whose names lead nowhere."""

    def __init__(self) -> None:
        self.asked = 0

    def fetch(self, ask: Ask) -> RawReply:
        self.asked += 1
        raise HostNotFound("api.weather.gov/x: can't be reached: its name has no address", retry=True)


def test_without_a_line_one_source_is_tried_and_then_the_mail_server(tmp_path: Path) -> None:
    settings = demo_settings(tmp_path, services="http://127.0.0.1:9", mail_port=9, station=FORTNIGHT.station)
    announced: list[str] = []
    unplugged = Unplugged()
    told = list(check_all(settings, unplugged, announce=announced.append))
    assert unplugged.asked == 1
    assert [what.partition(" 3")[0] for what in announced] == [
        "Inner Bay: point",
        "mail server 127.0.0.1:9 (none)",
    ]
    assert [finding.well for finding in told] == [True, True, True, True, False, False]
    assert told[4].found.endswith("; the sources after it were not tried")


def test_what_is_tried_is_announced_before(tmp_path: Path) -> None:
    settings = demo_settings(tmp_path, services="http://127.0.0.1:9", mail_port=9, station=FORTNIGHT.station)
    said: list[str] = []
    for finding in check_all(settings, DemoServices(), announce=said.append):
        assert said[-1:] == ([finding.tried] if not finding.tried.startswith("settings") else [])
    assert len(said) == len(set(said)) > 10


def test_the_gear_file_is_told_in_short(tmp_path: Path) -> None:
    settings = demo_settings(tmp_path, services="http://127.0.0.1:9", mail_port=9, station=FORTNIGHT.station)
    [gear] = [found for found in check_all(settings, Unplugged()) if found.tried.endswith("gear.toml")]
    assert gear.well
    assert "2 baits, Bayside Bait" in gear.found


@pytest.mark.parametrize(
    ("quiet_from", "quiet_to", "well"),
    [("20:00", "06:00", True), ("20:00", "10:30", False), ("00:00", "10:30", False), ("07:00", "07:00", True)],
)
def test_quiet_hours_that_outlast_the_supplier_s_hour_are_a_fault(
    tmp_path: Path, quiet_from: str, quiet_to: str, well: bool
) -> None:
    """Bayside Bait takes orders up to 10:00: in the quiet hours no order letter is written."""
    settings = demo_settings(tmp_path, services="http://127.0.0.1:9", mail_port=9, station=FORTNIGHT.station)
    hours = {"quiet_from": time.fromisoformat(quiet_from), "quiet_to": time.fromisoformat(quiet_to)}
    settings = replace(settings, letters=settings.letters.model_copy(update=hours))
    bad = [found.found for found in check_all(settings, Unplugged()) if found.tried == "settings of quiet hours"]
    assert not bad if well else "letters.quiet_to: found 10:30" in bad[0]


def test_each_fault_of_the_gear_file_is_told_and_the_sources_are_tried_all_the_same(tmp_path: Path) -> None:
    settings = demo_settings(tmp_path, services="http://127.0.0.1:9", mail_port=9, station=FORTNIGHT.station)
    (tmp_path / "gear.toml").write_text("[stock]\nservice_level = 7\n[bench]\nminuts = 5\n")
    told = [found for found in check_all(settings, DemoServices()) if not found.tried.startswith("mail server")]
    bad = [found.found for found in told if not found.well]
    assert bad == [
        "stock.service_level: found 7; write the chance of not running out, 0.5 to below 1",
        "bench.minuts: found a key that isn't known; write minutes?",
    ]
    assert any(found.tried.startswith("Outer Bay: zone forecast") and found.well for found in told)


def test_a_gear_file_that_is_named_but_not_there_is_told(tmp_path: Path) -> None:
    settings = demo_settings(tmp_path, services="http://127.0.0.1:9", mail_port=9, station=FORTNIGHT.station)
    (tmp_path / "gear.toml").unlink()
    [bad] = [found for found in check_all(settings, Unplugged()) if found.tried.endswith("gear.toml")]
    assert not bad.well
    assert bad.found.startswith("file: found No such file or directory")


def test_a_boat_without_gear_set_up_is_well(tmp_path: Path) -> None:
    settings = demo_settings(tmp_path, services="http://127.0.0.1:9", mail_port=9, station=FORTNIGHT.station)
    told = list(check_all(replace(settings, gear_file=None), Unplugged()))
    assert [found.well for found in told if found.tried == "settings of gear"] == [True]


def strings_of(folder: Path) -> tuple[bool, str]:
    """Whether the settings have every string of the log, and what is said of it."""
    settings = load_settings(folder / "boat.toml", {})
    [found] = [found for found in check_files(settings) if found.tried == "strings of the log"]
    return found.well, found.found


def test_traps_out_that_the_settings_dropped_are_told(tmp_path: Path) -> None:
    """24 traps of Nine Foot are in the water; the settings are made to know 20, then none of them."""
    terminal = home(tmp_path)
    terminal.log("set", "Nine Foot")
    assert strings_of(tmp_path) == (True, "all in the settings")
    file = tmp_path / "boat.toml"
    text = file.read_text("utf-8")
    file.write_text(text.replace("traps = 24", "traps = 20", 1), "utf-8")
    well, said = strings_of(tmp_path)
    assert not well
    assert said.startswith("4 traps of Nine Foot are not home by the log and not in the settings. Put them back")
    file.write_text(text.replace('name = "Nine Foot"', 'name = "Ten Foot"'), "utf-8")
    assert strings_of(tmp_path)[1].startswith("24 traps of Nine Foot are not home")
    assert terminal.type("check").exit_code == 1


def test_a_string_that_no_settings_are_remembered_of_is_told(tmp_path: Path) -> None:
    terminal = home(tmp_path)
    terminal.log("set", "Nine Foot")
    with closing(open_store(f"sqlite:///{terminal.database}")) as store, store.writing() as session:
        drop_note(session, NOTE)
    file = tmp_path / "boat.toml"
    file.write_text(file.read_text("utf-8").replace('name = "Nine Foot"', 'name = "Ten Foot"'), "utf-8")
    well, said = strings_of(tmp_path)
    assert not well
    assert said.startswith("Nine Foot is in the log and not in the settings")


def test_a_whole_string_is_of_the_settings_that_it_was_told_by(tmp_path: Path) -> None:
    """No service runs: what is told by the smaller settings brings only their 20 traps home."""
    terminal = home(tmp_path)
    terminal.log("set", "Nine Foot")
    file = tmp_path / "boat.toml"
    file.write_text(file.read_text("utf-8").replace("traps = 24", "traps = 20", 1), "utf-8")
    terminal.log("ashore", "Nine Foot")
    assert strings_of(tmp_path)[1].startswith("4 traps of Nine Foot are not home by the log")


def test_strings_that_can_not_be_read_are_told_until_they_are_begun_anew(tmp_path: Path) -> None:
    terminal = home(tmp_path)
    terminal.log("set", "Nine Foot")
    with closing(open_store(f"sqlite:///{terminal.database}")) as store, store.writing() as session:
        put_note(session, NOTE, {"strings": 7}, NOW)
    terminal.log("pull", "Nine Foot")
    assert strings_of(tmp_path) == (False, f"T{TORN[1:]}.")
    told = " ".join(terminal.type("status").output.split())
    assert "run soakbell check --strings-anew" in told
    said = terminal.type("check", "--strings-anew").output
    assert (
        "strings of former settings: begun anew with those of the settings; kept in the database: torn 20" in said
    )
    assert strings_of(tmp_path) == (True, "all in the settings")
    assert "can be read; nothing was changed" in terminal.type("check", "--strings-anew").output


def test_a_check_makes_no_database(tmp_path: Path) -> None:
    terminal = home(tmp_path)
    assert "strings of the log" not in {
        found.tried for found in check_files(load_settings(tmp_path / "boat.toml", {}))
    }
    assert not terminal.database.exists()
