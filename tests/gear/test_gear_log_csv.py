"""The log as CSV, in and out."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logbook import NOW, STRINGS, correction_of, logs, told
from soakbell.gear.log import (
    DETAILS,
    BaitBought,
    BaitCounted,
    BaitMoved,
    BaitOrdered,
    BaitSpoiled,
    Barred,
    BellSettled,
    BellSnoozed,
    BroughtAshore,
    Correction,
    EngineHours,
    EntryKind,
    FoundDamaged,
    FoundMissing,
    LogEntry,
    Moved,
    PartBought,
    PartCounted,
    PartUsed,
    Pinned,
    Pulled,
    PutOnBench,
    Recovered,
    Renumbered,
    Repaired,
    Replaced,
    Retired,
    Tagged,
    TrapsSet,
    UpkeepDone,
)
from soakbell.gear.log_csv import COLUMNS, MAX_BYTES, MAX_ROWS, plan_import, read_log_csv, write_log_csv
from soakbell.gear.strings import Mark

EASTERN = ZoneInfo("America/New_York")

SEASON = """happened_at,kind,string,traps,legal_claws,lb,rebaited,note
2026-11-01 07:10,set,Nine Foot,,,,,
2026-11-08 07:40,pull,Nine Foot,1..3,31,9.5,yes,clear water
2026-11-08 08:10,pull,Nine Foot,4,,,no,
"""


def entries(text: str | bytes, now: datetime = NOW) -> list[LogEntry]:
    read = read_log_csv(text if isinstance(text, bytes) else text.encode(), EASTERN, now)
    assert read.faults == ()
    return [row.entry for row in read.rows]


def faults(text: str | bytes) -> list[tuple[str, str]]:
    read = read_log_csv(text if isinstance(text, bytes) else text.encode(), EASTERN, NOW)
    return [(fault.where, fault.key) for fault in read.faults]


def one_row(**cells: str) -> str:
    cells = {"happened_at": "2026-11-08 07:40", "kind": "pull", "string": "Nine Foot", **cells}
    out = io.StringIO()
    writer = csv.DictWriter(out, cells)
    writer.writeheader()
    writer.writerow(cells)
    return out.getvalue()


def test_rows_become_entries_in_the_zone_of_the_harbor() -> None:
    put_in, first, second = entries(SEASON)
    assert put_in.happened_at == datetime(2026, 11, 1, 12, 10, tzinfo=UTC)  # the clock went back that night: UTC-5
    assert (first.traps, first.detail, first.note) == ((1, 2, 3), Pulled(legal_claws=31, lb=9.5), "clear water")
    assert (second.traps, second.detail) == ((4,), Pulled(rebaited=False))
    assert {entry.told_by for entry in (put_in, first, second)} == {"csv"}


def test_rows_are_told_in_their_order_and_never_in_the_future() -> None:
    told_at = [entry.told_at for entry in entries(SEASON)]
    assert told_at == sorted(set(told_at))
    assert told_at[-1] <= NOW


@pytest.mark.parametrize(
    "content",
    [
        SEASON.encode("utf-8-sig"),
        SEASON.replace("\n", "\r\n").encode(),
        SEASON.replace("\n", "\r").encode(),
        (SEASON + "\n,,,,,,,\n\n").encode(),
        SEASON.replace("set", " Set ").replace("yes", "TRUE").replace("1..3", "1-3").encode(),
    ],
    ids=["byte order mark", "CRLF", "CR", "blank rows", "another hand"],
)
def test_the_ways_spreadsheets_save_are_all_read_alike(content: bytes) -> None:
    assert [e.key for e in entries(content)] == [e.key for e in entries(SEASON)]


def test_the_same_file_twice_changes_nothing() -> None:
    first = plan_import(SEASON.encode(), (), STRINGS, EASTERN, NOW)
    assert (len(first.entries), first.known, first.faults) == (3, 0, ())
    again = plan_import(SEASON.encode(), first.entries, STRINGS, EASTERN, NOW.replace(hour=12))
    assert (again.entries, again.known, again.faults) == ((), 3, ())


def test_a_longer_file_adds_only_its_new_rows() -> None:
    first = plan_import(SEASON.encode(), (), STRINGS, EASTERN, NOW)
    longer = SEASON + "2026-11-15 07:40,pull,Nine Foot,,12,4,yes,\n"
    grown = plan_import(longer.encode(), first.entries, STRINGS, EASTERN, NOW)
    assert ([e.happened_at.day for e in grown.entries], grown.known, grown.faults) == ([15], 3, ())


def test_rows_that_say_the_same_are_told_apart_by_how_often_they_were_said() -> None:
    row = "2026-11-01 07:10,set,Nine Foot\n"
    keys = [entry.key for entry in entries("happened_at,kind,string\n" + row + row)]
    assert keys[0].endswith("-1")
    assert keys[1] == keys[0].removesuffix("1") + "2"


def test_the_key_of_a_row_stays_as_it_is_from_version_to_version() -> None:
    """A changed key would double every entry when an old file is read again."""
    assert entries(SEASON)[1].key == "csv-031cc5aa95c5998e0e05757545107c8f-1"
    graded = one_row(
        traps="1..3", legal_claws="31", lb_by_grade="large 2; jumbo 3.50", rebaited="no",
        bait="mullet heads", note="clear water",
    )  # fmt: skip
    assert entries(graded)[0].key == "csv-36af014b221171371af279b4514746c4-1"


def test_one_bad_row_stops_the_file_and_can_be_skipped() -> None:
    content = (
        SEASON + "2026-11-15 07:40,pull,Nine Feet,,12,4,yes,\n2026-11-15,pull,Nine Foot,,12,4,yes,\n"
    ).encode()
    stopped = plan_import(content, (), STRINGS, EASTERN, NOW)
    assert stopped.entries == ()
    assert [(f.where, f.key) for f in stopped.faults] == [("row 5", "string"), ("row 6", "happened_at")]
    skipped = plan_import(content, (), STRINGS, EASTERN, NOW, skip_bad=True)
    assert len(skipped.entries) == 3
    assert skipped.faults == stopped.faults


def test_rows_that_can_be_read_are_told_beside_those_that_cannot_and_no_row_is_blamed_for_another() -> None:
    content = (
        "happened_at,kind,string,traps\n"
        "2026-11-31 07:10,set,Nine Foot,\n"
        "2026-11-08 07:40,pull,Nine Foot,1..3\n"
        "2026-11-08 07:40,pull,Nine Feet,\n"
        "2026-11-08 07:40,pull,Nine Foot,1-99\n"
        "2026-11-08 07:40,haul,Nine Foot,\n"
    )
    plan = plan_import(content.encode(), (), STRINGS, EASTERN, NOW, name="season.csv")
    assert [(fault.where, fault.key) for fault in plan.faults] == [
        ("season.csv row 2", "happened_at"),
        ("season.csv row 4", "string"),
        ("season.csv row 5", "traps"),
        ("season.csv row 6", "kind"),
    ]


@pytest.mark.parametrize("content", [SEASON.encode("utf-16"), SEASON.replace(",", ";").encode()])
def test_a_fault_of_the_whole_file_names_it(content: bytes) -> None:
    plan = plan_import(content, (), STRINGS, EASTERN, NOW, name="season.csv")
    assert {fault.where for fault in plan.faults} == {"season.csv"}


def test_skipping_a_set_skips_the_pulls_that_lean_on_it() -> None:
    content = SEASON.replace("2026-11-01 07:10", "2027-11-01 07:10").encode()
    skipped = plan_import(content, (), STRINGS, EASTERN, NOW, skip_bad=True)
    assert skipped.entries == ()
    assert sorted(f.where for f in skipped.faults) == ["row 2", "row 3", "row 4"]


def test_a_row_changed_after_the_export_is_refused() -> None:
    log = plan_import(SEASON.encode(), (), STRINGS, EASTERN, NOW).entries
    changed = write_log_csv(log, EASTERN).replace(b"9.5", b"8.5")
    plan = plan_import(changed, log, STRINGS, EASTERN, NOW)
    assert (plan.entries, [(f.where, f.key) for f in plan.faults]) == ((), [("row 3", "key")])


@pytest.mark.parametrize(
    ("written", "hour"),
    [
        ("2026-12-08T07:10-05:00", 12),
        ("2026-12-08T12:10Z", 12),
        ("2026-12-08 07:10:00", 12),
        ("2026-11-01 01:30-04:00", 5),
        ("2026-11-01 01:30-05:00", 6),
    ],
)
def test_moments_with_an_offset_or_on_the_harbor_clock(written: str, hour: int) -> None:
    assert entries(one_row(happened_at=written))[0].happened_at.hour == hour


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ("2026-11-01 01:30", "2026-11-01T01:30:00-04:00 or 2026-11-01T01:30:00-05:00"),
        ("2026-03-08 02:30", "leaves out 02:30"),
    ],
)
def test_hours_that_the_clock_repeats_or_leaves_out_are_refused(written: str, said: str) -> None:
    [fault] = read_log_csv(one_row(happened_at=written).encode(), EASTERN, NOW).faults
    assert (fault.where, fault.key) == ("row 2", "happened_at")
    assert said in fault.write


@pytest.mark.parametrize(
    ("column", "cell"),
    [
        ("happened_at", ""),
        ("happened_at", "2026-11-08"),
        ("happened_at", "11/8/2026 07:40"),
        ("happened_at", "2026-02-30 07:40"),
        ("happened_at", "0001-01-01T00:00+14:00"),
        ("happened_at", "2026-W45-7T07:40"),
        ("kind", "pulled out"),
        ("kind", ""),
        ("traps", "3..1"),
        ("traps", "1..99999"),
        ("traps", "all"),
        ("traps", "1..9999 " * 2000),
        ("legal_claws", "12.5"),
        ("legal_claws", "1,200"),
        ("legal_claws", "٣"),
        ("legal_claws", "9" * 400),
        ("lb", "nan"),
        ("lb", "inf"),
        ("lb", "3,5"),
        ("lb", "1e9999x"),
        ("lb_by_grade", "jumbo"),
        ("lb_by_grade", "3.5"),
        ("rebaited", "maybe"),
        ("back", "aboard"),
        ("start_lat_deg", "30.0"),
        ("told_at", "yesterday"),
    ],
)
def test_a_cell_that_cannot_be_read_is_told_by_row_and_column(column: str, cell: str) -> None:
    [fault] = read_log_csv(one_row(**{column: cell}).encode(), EASTERN, NOW).faults
    assert (fault.where, fault.key) == ("row 2", column)
    assert fault.write
    assert len(fault.found) < 100


def test_half_a_mark_and_a_move_without_marks_are_refused() -> None:
    assert faults(one_row(kind="set", start_lat_deg="30")) == [("row 2", "start_lon_deg")]
    assert faults(one_row(kind="move")) == [("row 2", "start_lat_deg")]
    marks = {"start_lat_deg": "30", "start_lon_deg": "-84.1", "end_lat_deg": "30.1", "end_lon_deg": "-84.2"}
    assert entries(one_row(kind="move", **marks))[0].detail == Moved(Mark(30, -84.1), Mark(30.1, -84.2))


def test_a_correction_needs_its_entry_and_reason() -> None:
    assert faults(one_row(kind="correction", string="", voids="x")) == [("row 2", "reason")]
    row = one_row(kind="correction", string="", voids="x", reason="slip")
    assert entries(row)[0].detail == Correction("x", "slip")


def test_a_row_longer_than_the_columns_is_refused() -> None:
    assert faults(SEASON + "2026-11-15 07:40,pull,Nine Foot,,12,4,yes,a note, with a comma\n") == [
        ("row 5", "columns")
    ]


@pytest.mark.parametrize(
    ("content", "key"),
    [
        (b"", "columns"),
        (b"\n\n", "columns"),
        (SEASON.replace(",", ";").encode(), "columns"),
        (SEASON.replace(",", "\t").encode(), "columns"),
        (b"kind,string\nset,Nine Foot\n", "columns"),
        (b"happened_at,kind,kind\n", "columns"),
        (SEASON.replace("legal_claws", "legal claw").encode(), "columns"),
        (SEASON.encode("utf-16"), "encoding"),
        (SEASON.replace("clear", "cle\xe4r").encode("latin-1"), "encoding"),
        (b'happened_at,kind\n"2026-11-08 07:40,set\n', "quotes"),
        (b"happened_at,kind\n" + b"x" * 140_000 + b",set\n", "quotes"),
        (b"x" * (MAX_BYTES + 1), "size"),
        (b"happened_at,kind\n" + b",\n" * (MAX_ROWS + 1), "rows"),
    ],
)
def test_a_file_that_is_not_ours_is_refused_as_a_whole(content: bytes, key: str) -> None:
    plan = plan_import(content, (), STRINGS, EASTERN, NOW, skip_bad=True)
    assert plan.entries == ()
    assert {(fault.where, fault.key) for fault in plan.faults} == {("file", key)}


def test_a_misspelt_column_is_answered_with_the_nearest() -> None:
    [fault] = read_log_csv(SEASON.replace("legal_claws", "legal claw").encode(), EASTERN, NOW).faults
    assert fault.write == "legal_claws"


def test_semicolons_are_answered_with_commas() -> None:
    [fault] = read_log_csv(SEASON.replace(",", ";").encode(), EASTERN, NOW).faults
    assert (fault.found, fault.write) == ("semicolons between cells", "commas")


@pytest.mark.parametrize("note", ["=1+1", "+1", "-1", "@SUM(A1)", "  =1", "＝1", "'=1", "'", "''x"])
def test_a_spreadsheet_runs_no_text_as_a_formula(note: str) -> None:
    """W6."""
    content = write_log_csv([replace(told(Pulled()), note=note)], EASTERN)
    [row] = csv.DictReader(io.StringIO(content.decode("utf-8-sig")))
    assert row["note"] == f"'{note}"
    assert entries(content)[0].note == note


def test_negative_numbers_stay_numbers_in_a_spreadsheet() -> None:
    """W6."""
    [row] = csv.DictReader(
        io.StringIO(write_log_csv([told(Moved(Mark(-30, -84.15), Mark(1, 2)))], EASTERN).decode("utf-8-sig"))
    )
    assert (row["start_lat_deg"], row["start_lon_deg"]) == ("-30", "-84.15")


def test_a_line_break_in_a_cell_is_refused_by_its_row() -> None:
    content = one_row(note="one\n=two").encode()
    plan = plan_import(content, (told(TrapsSet()),), STRINGS, EASTERN, NOW)
    assert [(fault.where, fault.key) for fault in plan.faults] == [("row 2", "note")]


def test_an_empty_log_is_a_file_with_its_columns() -> None:
    content = write_log_csv([], EASTERN)
    assert content.decode("utf-8-sig").strip().split(",") == list(COLUMNS)
    assert entries(content) == []


PUT_IN = told(TrapsSet(Mark(30.1, -84.1), None, 3))
OF_EVERY_KIND = [
    PUT_IN,
    told(
        Pulled(lb_by_grade=(("large claws", 2.25), ("jumbo", 3.5)), smallest_claw_in=2.875, bait_boxes=0.75),
        100,
    ),
    told(Moved(Mark(1.5, 2.5), Mark(3.5, -4.5)), 110),
    told(FoundMissing(), 115, traps=(4,)),
    told(Recovered("fishing", rebaited=False), 120, traps=(1, 3, 4)),
    told(BroughtAshore(), 130),
    told(FoundDamaged("escape ring"), 140, traps=(2,)),
    told(Repaired("latch", (("screw", 4.0), ("hook latch", 2.0))), 150, traps=(1, 2)),
    told(PutOnBench(), 160),
    told(Retired("crushed by a keel"), 170, traps=(4,)),
    told(Tagged("X1234"), 180, traps=(1,)),
    told(Replaced("X1240"), 190, traps=(4,)),
    told(Renumbered(((3, 4), (4, 3))), 200),
    told(BaitBought("mullet heads", 6.0, "freezer", 42.5), 210),
    told(BaitMoved("mullet heads", 1.5, "aboard", "thaw"), 220),
    told(BaitMoved("mullet heads", 2.0), 221),
    told(BaitSpoiled("mullet heads", 0.5, "aboard"), 230),
    told(BaitCounted("cowhide", 0.0, "thaw"), 240),
    told(BaitOrdered("mullet heads", 3.0, date(2026, 12, 12)), 250),
    told(PartBought("screw", 100.0, 15.0), 260),
    told(PartUsed("line, fathom", 5.5), 270),
    told(PartCounted("screw", 0.0), 280),
    told(UpkeepDone("flares", date(2029, 6, 30)), 290),
    told(EngineHours(412.3, new_meter=True), 300),
    told(BellSnoozed("soak:Nine Foot", datetime(2026, 12, 12, 11, tzinfo=UTC)), 310),
    told(BellSettled("upkeep:flares"), 320),
    told(Pinned(date(2026, 12, 12), "Ledge"), 325),
    told(Barred(date(2026, 12, 13)), 326),
    correction_of(PUT_IN, 330),
]


def test_a_log_of_every_kind_comes_back_as_it_went() -> None:
    assert {entry.kind for entry in OF_EVERY_KIND} == set(EntryKind)
    assert entries(write_log_csv(OF_EVERY_KIND, EASTERN)) == OF_EVERY_KIND


def test_a_row_typed_by_hand_is_read_for_every_kind() -> None:
    """Without id, key and the moments of telling, as a skipper keeps it."""
    out = list(csv.DictReader(io.StringIO(write_log_csv(OF_EVERY_KIND, EASTERN).decode("utf-8-sig"))))
    for row, entry in zip(out, OF_EVERY_KIND, strict=True):
        typed = {column: cell for column, cell in row.items() if column not in ("id", "key", "told_at", "told_by")}
        assert entries(one_row(**typed))[0].detail == entry.detail


@pytest.mark.parametrize(
    ("kind", "cells", "column"),
    [
        ("damage", {}, "item"),
        ("retired", {}, "reason"),
        ("tagged", {}, "tag"),
        ("renumbered", {}, "places"),
        ("renumbered", {"places": "3-4"}, "places"),
        ("renumbered", {"places": "3>4>5"}, "places"),
        ("repaired", {"parts": "latch"}, "parts"),
        ("bait-bought", {"bait": "mullet heads"}, "boxes"),
        ("bait-bought", {"bait": "mullet heads", "boxes": "2", "place": "fridge"}, "place"),
        ("bait-moved", {"bait": "mullet heads", "boxes": "two"}, "boxes"),
        ("bait-ordered", {"bait": "mullet heads", "boxes": "2", "due_on": "12/12/2026"}, "due_on"),
        ("bait-ordered", {"bait": "mullet heads", "boxes": "2", "due_on": "2026-02-30"}, "due_on"),
        ("upkeep", {"task": "flares", "expires_on": "June 2029"}, "expires_on"),
        ("hours", {"engine_h": "nan"}, "engine_h"),
        ("snooze", {}, "kind"),
        ("snoozed", {"bell": "soak:Ledge", "until": "tomorrow"}, "until"),
        ("snoozed", {"bell": "soak:Ledge", "until": "2026-11-01 01:30"}, "until"),
        ("settled", {"bell": "soak:Ledge", "boxes": "2"}, "boxes"),
        ("pinned", {"string": "Ledge"}, "day"),
        ("barred", {"day": "next Sunday"}, "day"),
        ("pull", {"string": "Ledge", "day": "2026-12-12"}, "day"),
    ],
)
def test_a_cell_of_the_gear_that_cannot_be_read_is_told_by_its_column(
    kind: str, cells: dict[str, str], column: str
) -> None:
    assert faults(one_row(kind=kind, **cells)) == [("row 2", column)]


def test_a_spreadsheet_runs_no_name_of_a_part_as_a_formula() -> None:
    """W6."""
    entry = told(Repaired("=latch", (("+screw", 2.0),)))
    [row] = csv.DictReader(io.StringIO(write_log_csv([entry], EASTERN).decode("utf-8-sig")))
    assert (row["item"], row["parts"]) == ("'=latch", "'+screw 2.0")
    assert entries(write_log_csv([entry], EASTERN)) == [entry]


def test_a_moment_to_come_is_written_with_its_offset_and_read_on_the_harbor_clock() -> None:
    snoozed = told(BellSnoozed("soak:Ledge", datetime(2027, 7, 1, 10, tzinfo=UTC)))
    [row] = csv.DictReader(io.StringIO(write_log_csv([snoozed], EASTERN).decode("utf-8-sig")))
    assert row["until"] == "2027-07-01T06:00:00-04:00"
    by_hand = one_row(kind="snoozed", bell="soak:Ledge", until="2027-07-01 06:00")
    assert entries(by_hand)[0].detail == snoozed.detail


def test_the_string_of_a_pin_stands_in_the_column_of_all_strings() -> None:
    pinned = told(Pinned(date(2026, 12, 12), "Ledge"))
    [row] = csv.DictReader(io.StringIO(write_log_csv([pinned], EASTERN).decode("utf-8-sig")))
    assert (row["string"], row["day"]) == ("Ledge", "2026-12-12")
    [typed] = entries(one_row(kind="pinned", string="Ledge", day="2026-12-12"))
    assert (typed.detail, typed.string) == (pinned.detail, None)
    assert COLUMNS.count("string") == 1


def test_every_kind_has_its_columns() -> None:
    assert {"item", "parts", "places", "boxes", "due_on", "expires_on", "until", "bell"} < set(COLUMNS)
    assert len(DETAILS) == len(EntryKind)


@given(logs(), st.sampled_from(["America/New_York", "UTC", "Asia/Kolkata"]))
def test_whatever_is_exported_comes_back_equal(log: list[LogEntry], zone: str) -> None:
    in_time = sorted(log, key=lambda entry: entry.order)
    read = read_log_csv(write_log_csv(log, ZoneInfo(zone)), EASTERN, NOW)
    assert read.faults == ()
    assert [row.entry for row in read.rows] == in_time


@given(st.binary(max_size=400) | st.text(max_size=200).map(lambda text: f"happened_at,kind\n{text}".encode()))
def test_no_bytes_whatever_raise(content: bytes) -> None:
    plan = plan_import(content, (), STRINGS, EASTERN, NOW)
    assert not (plan.entries and plan.faults)


# ---- A whole season


BAD_ROWS = (
    "2026-11-03 08:00,pul,Nine Foot,1,3,1.5,",
    "2026-11-03 08:00,,Nine Foot,1,3,1.5,",
    "11/3/2026 08:00,pull,Nine Foot,1,3,1.5,",
    ",pull,Nine Foot,1,3,1.5,",
    "2026-11-31 08:00,pull,Nine Foot,1,3,1.5,",
    "2027-11-03 08:00,pull,Nine Foot,1,3,1.5,",
    "1926-11-03 08:00,pull,Nine Foot,1,3,1.5,",
    "2026-11-03 08:00,pull,Nine Feet,1,3,1.5,",
    "2026-11-03 08:00,pull,,1,3,1.5,",
    "2026-11-03 08:00,pull,Nine Foot,9,3,1.5,",
    "2026-11-03 08:00,pull,Nine Foot,one,3,1.5,",
    "2026-11-03 08:00,pull,Nine Foot,1,three,1.5,",
    "2026-11-03 08:00,pull,Nine Foot,1,3.5,1.5,",
    "2026-11-03 08:00,pull,Nine Foot,1,-3,1.5,",
    '2026-11-03 08:00,pull,Nine Foot,1,3,"1,5",',
    "2026-11-03 08:00,pull,Nine Foot,1,3,-1.5,",
    "2026-11-03 08:00,pull,Nine Foot,1,1000000,1.5,",
    "2026-11-03 08:00,pull,Nine Foot,1,3,1.5,a note, with a comma",
    '2026-11-03 08:00,pull,Nine Foot,1,3,1.5,"two\nlines"',
    "2026-11-03 08:00,missing,Nine Foot,1,3,,",
)


def season_of_5000() -> tuple[bytes, list[int]]:
    """A file of 5,000 rows, and the numbers of those of them that are bad. INVENTED DATA."""
    rows = ["2026-11-02 06:00,set,Nine Foot,,,,", "2026-11-02 06:30,set,Ledge,,,,"]
    bad = []
    at = datetime(2026, 11, 2, 7, tzinfo=EASTERN)
    for turn in range(4998):
        if turn % 240 == 100 and len(bad) < len(BAD_ROWS):
            bad.append(len(rows) + 2)
            rows.append(BAD_ROWS[len(bad) - 1])
            continue
        string, place = ("Nine Foot", turn % 7 + 1) if turn % 7 < 4 else ("Ledge", turn % 7 - 3)
        rows.append(f"{at + timedelta(minutes=7 * turn):%Y-%m-%d %H:%M},pull,{string},{place},{turn % 9},1.5,")
    return "\n".join(["happened_at,kind,string,traps,legal_claws,lb,note", *rows, ""]).encode(), bad


def test_a_season_with_bad_rows_names_each_and_takes_nothing_or_the_good_ones_and_only_once() -> None:
    content, bad = season_of_5000()
    stopped = plan_import(content, (), STRINGS, EASTERN, NOW, name="season.csv")
    assert stopped.entries == ()
    assert [fault.where for fault in stopped.faults] == [f"season.csv row {number}" for number in bad]
    assert len(bad) == 20
    assert all(fault.key and fault.found and fault.write for fault in stopped.faults)

    skipped = plan_import(content, (), STRINGS, EASTERN, NOW, skip_bad=True, name="season.csv")
    assert len(skipped.entries) == 4980
    assert sorted(fault.where for fault in skipped.faults) == sorted(fault.where for fault in stopped.faults)

    again = plan_import(content, skipped.entries, STRINGS, EASTERN, NOW, skip_bad=True)
    assert (again.entries, again.known, len(again.faults)) == ((), 4980, 20)
