"""The gear file: what is taken, what is refused, what is said about it, and that no fault in it stops a call."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date, time
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from soakbell.errors import Fault, SettingsError
from soakbell.gear.outfit import Outfit, Standing
from soakbell.gear_settings import load_outfit, outfit_of
from soakbell.settings import load_settings

EXAMPLE = Path(__file__).parents[1] / "config"
GEAR = (EXAMPLE / "gear.toml").read_text("utf-8")

Edited = Callable[..., Path]


@pytest.fixture
def edited(tmp_path: Path) -> Edited:
    """Writes the example with some of its text replaced, and gives its path."""

    def write(*changes: tuple[str, str]) -> Path:
        text = GEAR
        for old, new in changes:
            assert old in text, f"the example has no {old!r} to replace"
            text = text.replace(old, new, 1)
        path = tmp_path / "gear.toml"
        path.write_text(text, "utf-8")
        return path

    return write


def faults_of(path: Path) -> dict[str, Fault]:
    """The faults by key."""
    with pytest.raises(SettingsError) as caught:
        load_outfit(path)
    return {fault.key: fault for fault in caught.value.faults}


# ---- The example ------------------------------------------------------------------------------------------


def test_the_example_boat_names_the_example_gear_file_and_it_is_taken_as_it_ships() -> None:
    outfit = outfit_of(load_settings(EXAMPLE / "boat.toml", {"HOME": "/home/skipper"}, with_secrets=False))
    assert isinstance(outfit, Outfit)
    assert [bait.name for bait in outfit.baits] == ["mullet heads", "cowhide"]
    assert outfit.supplier is not None
    assert (outfit.supplier.order_weekdays, outfit.supplier.order_by) == ((0, 3), time(10))
    assert date(2026, 12, 25) in outfit.supplier.closed_on
    assert not outfit.supplier.send_straight


def test_the_example_says_that_it_is_invented_and_marks_what_was_looked_up_nowhere() -> None:
    outfit = load_outfit(EXAMPLE / "gear.toml")
    assert "INVENTED DATA" in GEAR
    assert "common practice, no source" in GEAR
    assert all("no source" in grade.source for grade in outfit.grades)
    governed = ("common practice", "maker's manual", "date ")
    assert all(any(word in rule.source for word in governed) for rule in outfit.upkeep)


def test_what_the_law_asks_of_a_stone_crab_trap_bars_it_from_being_set() -> None:
    """config/fisheries/florida-stone-crab.toml, gear: escape ring, degradable panel, buoy, number on each trap."""
    outfit = load_outfit(EXAMPLE / "gear.toml")
    for name in ("escape ring", "slat", "buoy", "tag"):
        condition = outfit.condition(name)
        assert condition is not None
        assert condition.standing is Standing.MAY_NOT_BE_SET
        assert condition.rule


def test_safety_gear_that_carries_a_date_is_told_by_its_date() -> None:
    rules = {rule.name: rule for rule in load_outfit(EXAMPLE / "gear.toml").upkeep}
    for name in ("flares", "fire extinguisher", "life-jacket inflators", "distress beacon battery"):
        assert rules[name].expires
        assert rules[name].safety


def test_grades_come_out_lightest_first_however_they_are_written(edited: Edited) -> None:
    outfit = load_outfit(edited(("from_oz = 0", "from_oz = 9")))
    assert [grade.name for grade in outfit.grades] == ["large", "jumbo", "colossal", "medium"]


def test_a_file_that_sets_up_nothing_is_an_empty_outfit(tmp_path: Path) -> None:
    """What isn't settled isn't guessed: every condition then bars."""
    (tmp_path / "gear.toml").write_text("")
    outfit = load_outfit(tmp_path / "gear.toml")
    assert (outfit.baits, outfit.parts, outfit.upkeep, outfit.supplier) == ((), (), (), None)
    assert outfit.condition("latch") is None


# ---- Faults ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("old", "new", "key", "said"),
    [
        ("service_level = 0.95", "service_level = 1.0", "stock.service_level", "0.5 to below 1"),
        ("service_level = 0.95", "service_lvl = 0.95", "stock.service_lvl", "service_level?"),
        ("[bench]\nminutes = 120", "[bench]\nminutes = '2 h'", "bench.minutes", "minutes, 0 to 1440"),
        ("[[baits]]", "[[bait]]", "bait", "baits?"),
        ("boxes_a_trap = 0.025", "boxes_a_trap = 0", "baits[mullet heads].boxes_a_trap", "more than 0"),
        ("spoil_h = 48", "spoil_h = 12", "baits[mullet heads].spoil_h", "more than thaw_h, 12"),
        ('name = "cowhide"', 'name = "Mullet Heads"', "baits[Mullet Heads].name", "a name of its own"),
        ('["Mon", "Thu"]', '["Mon", "Thursday"]', "supplier.order_weekdays[1]", '["Mon", "Thu"]'),
        ('["Mon", "Thu"]', '["Mon", "Mon"]', "supplier.order_weekdays", "each one once"),
        ('["Mon", "Thu"]', "[]", "supplier.order_weekdays", "days of the week"),
        ('order_by = "10:00"', "order_by = 10:00:00", "supplier.order_by", "in quotes as HH:MM"),
        ("closed_on = [2026-12-25,", 'closed_on = ["Christmas",', "supplier.closed_on[0]", "2026-12-25"),
        ("minimum_boxes = 3", "minimum_boxes = 40", "supplier.minimum_boxes", "12 boxes that the freezer holds"),
        ("orders@bait.example", "orders at bait", "supplier.address", "one plain mail address"),
        ("from_oz = 5\n", "from_oz = 3\n", "grades[jumbo].from_oz", "another weight than that of large"),
        ('standing = "bench"', 'standing = "benched"', "conditions[throat].standing", '"may not be set"'),
        ('"hook latch" = 1,', '"hook lach" = 1,', "conditions[latch].parts", "hook latch?"),
        ('"hook latch" = 1,', '"hook latch" = 0,', "conditions[latch].parts.hook latch", '"screw" = 4'),
        ('name = "escape ring"\nuse', 'name = "ring; small"\nuse', "parts[ring; small].name", "semicolon"),
        ("every_days = 90\n", "", "upkeep[life jackets, look over]", "every_engine_h"),
        ('source = "date stamped on each flare"', "", "upkeep[flares].source", "who says so"),
    ],
)
def test_a_fault_names_its_key_what_was_found_and_what_to_write(
    edited: Edited, old: str, new: str, key: str, said: str
) -> None:
    faults = faults_of(edited((old, new)))
    assert key in faults
    assert said in faults[key].write
    assert faults[key].found
    assert faults[key].where.endswith("gear.toml")


def test_a_supplier_without_an_address_gets_no_order_straight(edited: Edited) -> None:
    straight = ("send_straight = false", "send_straight = true")
    without = ('address = "orders@bait.example"\n', "")
    assert load_outfit(edited(straight)).supplier is not None
    assert load_outfit(edited(without)).supplier is not None
    assert list(faults_of(edited(straight, without))) == ["supplier.address"]


def test_all_faults_are_told_at_once(edited: Edited) -> None:
    path = edited(
        ("service_level = 0.95", "service_level = 2"),
        ('standing = "bench"', 'standing = "benched"'),
        ("spoil_h = 48", "spoil_h = 1"),
        ("every_days = 90\n", ""),
    )
    assert len(faults_of(path)) == 4


# ---- No fault stops a call --------------------------------------------------------------------------------


def boat(folder: Path, gear: str) -> Path:
    """The example boat in ``folder``, with ``gear`` for its table of gear."""
    text = (EXAMPLE / "boat.toml").read_text("utf-8")
    text, changed = re.subn(r"(?m)^\[gear\]\nfile = .*\n", gear, text)
    assert changed == 1
    (folder / "fisheries").mkdir()
    for file in (EXAMPLE / "fisheries").iterdir():
        (folder / "fisheries" / file.name).write_bytes(file.read_bytes())
    (folder / "boat.toml").write_text(text, "utf-8")
    return folder / "boat.toml"


def test_a_boat_without_a_gear_table_has_no_outfit(tmp_path: Path) -> None:
    settled = load_settings(boat(tmp_path, ""), {"HOME": "/home/skipper"}, with_secrets=False)
    assert settled.gear_file is None
    assert outfit_of(settled) is None


HUGE = b"[stock]\nplan_days = 0x" + 4000 * b"f" + b"\n"
"""A number that the parser takes and that no decimal may be written of."""


@pytest.mark.parametrize("content", [None, b"\xff", b"[stock]\nservice_level = 7\n", b"[[", HUGE])
def test_the_settings_load_whatever_is_wrong_with_the_gear_file(tmp_path: Path, content: bytes | None) -> None:
    path = boat(tmp_path, '[gear]\nfile = "gear.toml"\n')
    if content is not None:
        (tmp_path / "gear.toml").write_bytes(content)
    settled = load_settings(path, {"HOME": "/home/skipper"}, with_secrets=False)
    told = outfit_of(settled)
    assert isinstance(told, str)
    assert "gear.toml" in told
    assert "write" in told


def outfit_or_faults(path: Path) -> tuple[Outfit | None, tuple[Fault, ...]]:
    try:
        return load_outfit(path), ()
    except SettingsError as told:
        return None, told.faults


@given(raw=st.binary(max_size=300) | st.text(max_size=300).map(lambda text: text.encode("utf-8", "replace")))
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_a_file_of_any_bytes_ends_in_an_outfit_or_in_told_faults(tmp_path: Path, raw: bytes) -> None:
    (tmp_path / "gear.toml").write_bytes(raw)
    outfit, faults = outfit_or_faults(tmp_path / "gear.toml")
    assert isinstance(outfit, Outfit) is not bool(faults)


LINES = [line for line in GEAR.splitlines() if "=" in line and not line.startswith("#")]


@given(
    line=st.sampled_from(LINES),
    value=st.sampled_from(["[]", "{}", "true", "-1", "nan", "inf", '""', '"x"', "1e308", "2026-01-01", "[[[1]]]"]),
)
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_slip_ends_in_an_outfit_or_in_told_faults(tmp_path: Path, line: str, value: str) -> None:
    key = line.partition("=")[0]
    (tmp_path / "gear.toml").write_text(GEAR.replace(line, f"{key}= {value}", 1), "utf-8")
    outfit, faults = outfit_or_faults(tmp_path / "gear.toml")
    assert isinstance(outfit, Outfit) is not bool(faults)
    assert all(fault.found and fault.write for fault in faults)
