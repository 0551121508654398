"""Log entries and whether they can be taken."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import pytest

from logbook import END, FIRST, NOW, START, STRINGS, correction_of, hours, told
from soakbell.errors import Fault
from soakbell.gear.entry_check import BELL_CODES, MAX_CHARS
from soakbell.gear.fold import fold
from soakbell.gear.log import (
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
    Detail,
    EngineHours,
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
    new_entry,
)
from soakbell.gear.log_check import check_alone, check_entries, strings_at_stake
from soakbell.gear.outfit import BaitKind, ConditionKind, Grade, Outfit, PartKind, Standing, UpkeepRule
from soakbell.gear.strings import Mark
from soakbell.planning.bells import BellCode


def faults(*new: LogEntry, log: tuple[LogEntry, ...] = (), now: datetime = NOW) -> list[tuple[str, str, str]]:
    return [(fault.key, fault.found, fault.write) for fault in check_entries(new, log, STRINGS, now)]


SET = told(TrapsSet())
PULL = told(Pulled(legal_claws=31, lb=9.5), 100)


# Invented, as all data of the tests.
OUTFIT = Outfit(
    conditions=(ConditionKind("latch", Standing.NEXT_PULL, 5.0), ConditionKind("slat", Standing.BENCH, 10.0)),
    parts=(PartKind("latch", 1.0, 7.0), PartKind("screw", 4.0, 7.0)),
    upkeep=(
        UpkeepRule("engine oil", "common practice, no source", every_engine_h=100.0),
        UpkeepRule("flares", "common practice, no source", safety=True, expires=True),
    ),
    baits=(BaitKind("mullet heads", 0.05, 200.0, 12.0, 48.0), BaitKind("cowhide", 0.02, 200.0, 12.0, 96.0)),
    supplier=None,
    grades=(Grade("jumbo", 5.0, "common practice, no source"),),
    service_level=0.95,
    bench_minutes=90.0,
)


def test_moments_are_kept_in_utc_and_must_have_a_zone() -> None:
    eastern = timezone(timedelta(hours=-5))
    entry = new_entry(TrapsSet(), happened_at=datetime(2026, 12, 8, 7, tzinfo=eastern), told_at=NOW, told_by="cli")
    assert entry.happened_at == datetime(2026, 12, 8, 12, tzinfo=UTC)
    assert entry.happened_at.tzinfo is UTC
    with pytest.raises(ValueError, match="no zone"):
        new_entry(TrapsSet(), happened_at=datetime(2026, 12, 8, 7), told_at=NOW, told_by="cli")  # noqa: DTZ001


def test_a_count_that_was_not_told_is_not_zero() -> None:
    assert (Pulled().legal_claws, Pulled().landed_lb) == (None, None)
    assert Pulled(lb=0.0).landed_lb == 0.0
    assert Pulled(lb_by_grade=(("large", 2.0), ("jumbo", 3.5))).landed_lb == 5.5


def test_a_season_as_it_should_be_has_no_faults() -> None:
    season = (
        SET,
        PULL,
        told(FoundMissing(), 101, traps=(2,)),
        told(Recovered("fishing"), 150, traps=(2,)),
        told(Moved(START, END), 160),
        told(Pulled(reset=False), 200),
        told(BroughtAshore(), 202),
        correction_of(PULL, 210),
    )
    assert faults(*season) == []


def test_an_unknown_string_is_answered_with_the_nearest_name() -> None:
    key, found, write = faults(told(TrapsSet(), string="nine foot"))[0]
    assert (key, found, write) == ("string", "'nine foot'", "Nine Foot")
    assert faults(told(TrapsSet(), string=None))[0][2] == "Nine Foot or Ledge"


@pytest.mark.parametrize(
    ("entry", "key"),
    [
        (told(Pulled(), -1), "traps"),
        (told(Pulled(), string="Ledge"), "traps"),
        (told(Pulled(), 1, traps=(4, 5)), "traps"),
        (told(TrapsSet(), 1), "traps"),
        (told(TrapsSet(), 1, traps=(1,)), "traps"),
        (told(TrapsSet(count=1), 1), "count"),
        (told(TrapsSet(count=0), 1, string="Ledge"), "count"),
        (told(TrapsSet(count=2), 1, string="Ledge", traps=(1,)), "count"),
        (told(Moved(START, END), 1, traps=(1,)), "traps"),
        (told(Moved(Mark(91.0, 0.0), END), 1), "start"),
        (told(Moved(START, Mark(30.0, float("nan"))), 1), "end"),
        (told(Recovered("sunk"), 1), "back"),  # type: ignore[arg-type]
        (told(Pulled(legal_claws=-1), 1), "legal_claws"),
        (told(Pulled(short_claws=10**9), 1), "short_claws"),
        (told(Pulled(float_claws=1.5), 1), "float_claws"),  # type: ignore[arg-type]
        (told(Pulled(lb=float("nan")), 1), "lb"),
        (told(Pulled(lb=float("inf")), 1), "lb"),
        (told(Pulled(lb=-0.5), 1), "lb"),
        (told(Pulled(lb_by_grade=(("jumbo", float("nan")),)), 1), "lb_by_grade"),
        (told(Pulled(lb_by_grade=(("jumbo", 1.0), ("jumbo", 2.0))), 1), "lb_by_grade"),
        (told(Pulled(lb_by_grade=((" ", 1.0),)), 1), "lb_by_grade"),
        (told(Pulled(lb=9.0, lb_by_grade=(("jumbo", 1.0),)), 1), "lb"),
        (told(Pulled(bait="cowhide\r\nBcc: x"), 1), "bait"),
        (told(Pulled(bait="m" * 101), 1), "bait"),
        (replace(told(Pulled(), 1), note="\x1b[31m"), "note"),
        (replace(told(Pulled(), 1), note="\u202etxt.exe"), "note"),
        (replace(told(Pulled(), 1), note="n" * (MAX_CHARS["note"] + 1)), "note"),
        (replace(told(Pulled(), 1), key=""), "key"),
        (replace(told(Pulled(), 1), key="k" * 201), "key"),
        (replace(told(Pulled(), 1), told_by="cli "), "told_by"),
        (replace(told(Pulled(), 1), told_at=NOW + timedelta(seconds=1)), "told_at"),
        (replace(told(Pulled(), 1), happened_at=NOW + timedelta(seconds=1)), "happened_at"),
        (replace(told(Pulled(), 1), happened_at=datetime(205, 12, 8, tzinfo=UTC)), "happened_at"),
        (told(Correction("nobody", "slip"), 1), "voids"),
        (told(Correction(SET.id, " "), 1), "reason"),
        (correction_of(SET, -1), "voids"),
        (replace(correction_of(SET, 1), string="Ledge"), "string"),
        (told(Pulled(smallest_claw_in=0.0), 1), "smallest_claw_in"),
        (told(Pulled(smallest_claw_in=12.0), 1), "smallest_claw_in"),
        (told(Pulled(smallest_claw_in=float("nan")), 1), "smallest_claw_in"),
        (told(Pulled(bait_boxes=0.0), 1), "bait_boxes"),
        (told(Pulled(bait_boxes=-1.0), 1), "bait_boxes"),
        (told(Pulled(rebaited=False, bait_boxes=1.5), 1), "bait_boxes"),
        (told(Pulled(reset=False, bait_boxes=1.5), 1), "bait_boxes"),
        (told(FoundDamaged(""), 1), "item"),
        (told(FoundDamaged(" latch"), 1), "item"),
        (told(FoundDamaged("la\ntch"), 1), "item"),
        (told(FoundDamaged("l" * 101), 1), "item"),
        (told(FoundDamaged("latch"), 1, traps=(5,)), "traps"),
        (told(FoundDamaged("latch"), 1, string="Lodge"), "string"),
        (told(Repaired(" "), 1), "item"),
        (told(Repaired("latch", (("latch", 0.0),)), 1), "parts"),
        (told(Repaired("latch", (("latch", float("nan")),)), 1), "parts"),
        (told(Repaired("latch", (("latch", 1.0), ("latch", 2.0))), 1), "parts"),
        (told(Repaired("latch", (("latch; screw", 1.0),)), 1), "parts"),
        (told(Repaired("latch", (("p" * 101, 1.0),)), 1), "parts"),
        (told(PutOnBench(), 1), "traps"),
        (told(Retired(" "), 1, string="Ledge"), "reason"),
        (told(Retired("worn"), 1), "traps"),
        (told(Tagged(""), 1, traps=(1,)), "tag"),
        (told(Tagged("A" * 41), 1, traps=(1,)), "tag"),
        (told(Tagged("A1"), 1), "traps"),
        (told(Tagged("A1"), 1, traps=(1, 2)), "traps"),
        (told(Replaced("A1"), 1, string="Ledge", traps=(1, 2)), "tag"),
        (told(Replaced("A1"), 1, string="Ledge"), "tag"),
        (told(Replaced(), 1, traps=(1,)), "traps"),
        (told(Renumbered(()), 1), "places"),
        (told(Renumbered(((1, 2),)), 1), "places"),
        (told(Renumbered(((1, 2), (1, 3))), 1), "places"),
        (told(Renumbered(((4, 5), (5, 4))), 1), "places"),
        (told(Renumbered(((1, 2), (2, 1))), 1, traps=(1,)), "traps"),
        (told(BaitBought("", 1.0), 1), "bait"),
        (told(BaitBought("cowhide", 0.0), 1), "boxes"),
        (told(BaitBought("cowhide", 1.0, "cellar"), 1), "place"),  # type: ignore[arg-type]
        (told(BaitBought("cowhide", 1.0, cost_usd=-1.0), 1), "cost_usd"),
        (told(BaitMoved("cowhide", -1.0), 1), "boxes"),
        (told(BaitMoved("cowhide", 1.0, "shelf"), 1), "to"),  # type: ignore[arg-type]
        (told(BaitMoved("cowhide", 1.0, "thaw", "thaw"), 1), "out_of"),
        (told(BaitSpoiled("cowhide", float("inf")), 1), "boxes"),
        (told(BaitCounted("cowhide", -0.5), 1), "boxes"),
        (told(BaitOrdered("cowhide", 2.0, date(1926, 12, 8)), 1), "due_on"),
        (told(BaitOrdered("cowhide", 0.0), 1), "boxes"),
        (told(PartBought("latch", 0.0), 1), "count"),
        (told(PartUsed(" latch", 1.0), 1), "part"),
        (told(PartCounted("latch", -1.0), 1), "count"),
        (told(UpkeepDone(""), 1), "task"),
        (told(UpkeepDone("flares", date(2101, 1, 1)), 1), "expires_on"),
        (told(UpkeepDone("flares", date(1999, 12, 31)), 1), "expires_on"),
        (told(EngineHours(-0.1), 1), "engine_h"),
        (told(EngineHours(100_001.0), 1), "engine_h"),
        (told(BellSnoozed("soak:Nine Foot", FIRST + hours(1)), 1), "until"),
        (told(BellSnoozed("soak:Nine Foot", datetime(2101, 1, 1, tzinfo=UTC)), 1), "until"),
        (told(BellSettled("Nine Foot"), 1), "bell"),
        (told(BellSettled("soak:"), 1), "bell"),
        (told(BellSettled("alarm:Nine Foot"), 1), "bell"),
        (told(Pinned(date(2026, 11, 2), "Lege"), 1), "string"),
        (told(Barred(date(2026, 11, 2), " Ledge"), 1), "string"),
        (told(Pinned(date(2026, 10, 31), "Ledge"), 1), "day"),
        (told(Barred(date(2027, 1, 1)), 1), "day"),
        (told(Barred(date(1, 1, 1)), 1), "day"),
        (replace(told(Pinned(date(2026, 11, 2)), 1), string="Nine Foot"), "string"),
        (replace(told(EngineHours(12.5), 1), string="Nine Foot"), "string"),
        (replace(told(BaitBought("cowhide", 1.0), 1), traps=(1,)), "string"),
    ],
)
def test_bad_input_is_refused_by_its_field(entry: LogEntry, key: str) -> None:
    found = check_entries((entry,), (SET,), STRINGS, NOW)
    assert [fault.key for fault in found] == [key]
    assert found[0].found
    assert found[0].write


def test_what_belongs_to_no_string_and_no_traps_is_taken_without_them() -> None:
    assert (
        faults(
            told(BaitOrdered("cowhide", 2.0, date(2026, 12, 9)), 1),
            told(BaitBought("cowhide", 2.0), 2),
            told(BaitMoved("cowhide", 1.5), 3),
            told(BaitSpoiled("cowhide", 0.25), 4),
            told(BaitCounted("cowhide", 0.0), 5),
            told(PartBought("latch", 10.0, 12.5), 6),
            told(PartUsed("latch", 1.0), 7),
            told(PartCounted("latch", 0.0), 8),
            told(UpkeepDone("flares", date(2030, 1, 1)), 9),
            told(EngineHours(0.0, new_meter=True), 10),
            told(BellSnoozed("soak:Nine Foot", FIRST + hours(100)), 11),
            told(BellSettled("bait:mullet heads"), 12),
        )
        == []
    )


def test_a_day_is_pinned_or_barred_from_the_day_of_telling_to_sixty_days_on() -> None:
    first, last = date(2026, 11, 1), date(2026, 12, 31)
    assert (
        faults(told(Pinned(first, "Ledge"), 1), told(Barred(first), 2), told(Barred(last, "Nine Foot"), 3)) == []
    )
    (fault,) = faults(told(Barred(last + timedelta(days=1)), 3))
    assert fault == ("day", "2027-01-01, 61 days ahead", "a day from 2026-11-01 to 2026-12-31")
    assert faults(told(Barred(first), 24))[0][1] == "2026-11-01, gone by on 2026-11-02"


def test_the_day_of_telling_is_that_of_the_harbor() -> None:
    """At 22:00 of the 1st in New York it is the 2nd in UTC."""
    late = told(Barred(date(2026, 11, 1)), 15)
    assert check_entries([late], [SET], STRINGS, NOW, zone=ZoneInfo("America/New_York")) == ()
    assert [fault.key for fault in check_entries([late], [SET], STRINGS, NOW)] == ["day"]


def test_a_pin_of_long_ago_comes_in_again_with_its_moment_of_telling() -> None:
    """An export that is read into another database: what counts is when the skipper told it."""
    assert faults(told(Pinned(date(2026, 11, 2), "Ledge"), 1), now=NOW + timedelta(days=400)) == []


def test_a_string_of_a_pin_that_isn_t_the_boats_is_answered_with_the_nearest() -> None:
    assert faults(told(Pinned(date(2026, 11, 2), "lege"), 1)) == [("string", "'lege'", "Ledge")]


def test_a_trap_that_may_not_be_set_was_set_all_the_same_and_the_log_takes_it() -> None:
    """The log tells what happened; the bell tells what to do about it."""
    broken = told(FoundDamaged("ring"), 1, traps=(1,))
    assert faults(told(TrapsSet(), 3), log=(SET, told(Pulled(reset=False), 1), broken)) == []


def test_a_tag_that_another_string_carries_is_refused() -> None:
    log = (SET, told(TrapsSet(), string="Ledge"), told(Tagged("A1"), 1, string="Ledge", traps=(2,)))
    [(key, found, _)] = faults(told(Tagged("A1"), 2, traps=(1,)), log=log)
    assert (key, found) == ("tag", "A1, the tag of the trap known as Ledge 2")
    assert faults(told(Tagged("A2"), 2, traps=(1,)), log=log) == []


def test_only_a_tag_needs_the_log_of_the_whole_boat() -> None:
    assert strings_at_stake([told(Pulled()), told(EngineHours(1.0))], STRINGS) == {"Nine Foot"}
    assert strings_at_stake([told(EngineHours(1.0))], STRINGS) == frozenset()
    assert strings_at_stake([told(Tagged("A1"), traps=(1,))], STRINGS) == {"Nine Foot", "Ledge"}


def test_a_bell_is_named_by_what_it_is_about() -> None:
    assert set(BELL_CODES) == set(BellCode)
    assert faults(told(BellSettled("Soak:Nine Foot")))[0][2] == "soak:Nine Foot"


@pytest.mark.parametrize(
    ("detail", "key", "write"),
    [
        (FoundDamaged("Latch"), "item", "latch"),
        (FoundDamaged("lach"), "item", "latch"),
        (FoundDamaged("rudder"), "item", "latch or slat"),
        (Repaired("slatt"), "item", "slat"),
        (Repaired("slat", (("screws", 2.0),)), "parts", "screw"),
        (PartCounted("Screw", 2.0), "part", "screw"),
        (BaitBought("mullet head", 2.0), "bait", "mullet heads"),
        (BaitOrdered("cow hide", 2.0), "bait", "cowhide"),
        (UpkeepDone("engine-oil"), "task", "engine oil"),
        (UpkeepDone("engine oil", date(2027, 1, 1)), "expires_on", "nothing"),
        (Pulled(bait="mullet"), "bait", "mullet heads"),
        (Pulled(lb_by_grade=(("Jumbos", 2.0),)), "lb_by_grade", "jumbo"),
    ],
    ids=lambda given: getattr(getattr(given, "kind", None), "value", ""),
)
def test_a_name_that_the_settings_lack_is_answered_with_the_nearest(detail: Detail, key: str, write: str) -> None:
    [fault] = check_entries([told(detail, 1)], [SET], STRINGS, NOW, outfit=OUTFIT)
    assert (fault.key, fault.write) == (key, write)
    assert check_entries([told(detail, 1)], [SET], STRINGS, NOW) == ()


def test_a_dated_task_is_asked_for_the_date_that_stands_on_it() -> None:
    [fault] = check_entries([told(UpkeepDone("flares"), 1)], [SET], STRINGS, NOW, outfit=OUTFIT)
    assert (fault.key, fault.found) == ("expires_on", "nothing")
    assert fault.write == "the date that stands on it, as 2029-06-30"


@pytest.mark.parametrize(
    ("bell", "write"),
    [
        ("soak:Nine Foo", "soak:Nine Foot"),
        ("unset:Ledgr", "unset:Ledge"),
        ("bait:mulet heads", "bait:mullet heads"),
        ("parts:screws", "parts:screw"),
        ("upkeep:flare", "upkeep:flares"),
        ("soak:xyz", "soak:Nine Foot or soak:Ledge"),
    ],
)
def test_a_bell_of_nothing_on_board_is_answered_with_the_nearest(bell: str, write: str) -> None:
    for detail in (BellSettled(bell), BellSnoozed(bell, FIRST + hours(99))):
        [fault] = check_entries([told(detail, 1)], (), STRINGS, NOW, outfit=OUTFIT)
        assert (fault.key, fault.found, fault.write) == ("bell", repr(bell), write)


def test_a_bell_is_known_in_any_capitals_and_by_its_code_alone_without_the_settings_of_gear() -> None:
    assert check_entries([told(BellSettled("soak:nine foot"), 1)], (), STRINGS, NOW, outfit=OUTFIT) == ()
    assert check_entries([told(BellSettled("season:2027-05-05"), 1)], (), STRINGS, NOW, outfit=OUTFIT) == ()
    assert check_entries([told(BellSettled("bait:herring"), 1)], (), STRINGS, NOW) == ()


def test_parts_that_come_by_whole_packs_are_bought_whole() -> None:
    [fault] = check_entries([told(PartBought("screw", 1.5), 1)], (), STRINGS, NOW, outfit=OUTFIT)
    assert (fault.key, fault.found) == ("count", "1.5")
    assert check_entries([told(PartBought("screw", 2.0), 1)], (), STRINGS, NOW, outfit=OUTFIT) == ()


def test_nothing_is_offered_only_where_it_may_be_left_out() -> None:
    [needed] = check_entries([told(BaitBought("cowhide", -2.0), 1)], (), STRINGS, NOW)
    assert (needed.found, needed.write) == ("-2", "a number from 0 to 100000")
    [choice] = check_entries([told(Pulled(lb=-2.0), 1)], (SET,), STRINGS, NOW)
    assert choice.write == "a number from 0 to 100000, or nothing"


def test_names_that_the_settings_have_are_taken_and_baits_in_any_capitals() -> None:
    new = [
        told(FoundDamaged("latch"), 1, traps=(1,)),
        told(Repaired("latch", (("latch", 1.0), ("screw", 2.0))), 2, traps=(1,)),
        told(Pulled(bait="Mullet Heads", lb_by_grade=(("jumbo", 2.0),)), 3),
        told(Pulled(bait="", lb=2.0), 50),
        told(UpkeepDone("flares", date(2030, 1, 1)), 9),
    ]
    assert check_entries(new, [SET], STRINGS, NOW, outfit=OUTFIT) == ()


def test_a_bad_name_is_told_once() -> None:
    found = check_entries([told(FoundDamaged(""), 1)], [SET], STRINGS, NOW, outfit=OUTFIT)
    assert [fault.key for fault in found] == ["item"]


def test_an_entry_by_itself_is_told_places_that_the_string_lacks() -> None:
    for entry, key in ((told(Pulled(), traps=(9,)), "traps"), (told(Renumbered(((1, 9), (9, 1)))), "places")):
        [fault] = check_alone([entry], STRINGS, NOW, labels={entry.id: "row 2"})
        assert (fault.where, fault.key, fault.write) == ("row 2", key, "places from 1 to 4")


def test_every_fault_of_every_entry_is_told_at_once() -> None:
    bad = told(Pulled(legal_claws=-1, lb=float("nan"), bait="a\nb"), 1, string="Lodge")
    assert [fault[0] for fault in faults(bad, told(Pulled(), 1))] == [
        "string",
        "bait",
        "legal_claws",
        "lb",
        "traps",
    ]


def test_a_fault_names_its_entry_as_asked() -> None:
    bad = told(Pulled(), 1)
    assert check_entries([bad], (), STRINGS, NOW, labels={bad.id: "row 7"})[0].where == "row 7"
    assert check_entries((bad,), (), STRINGS, NOW)[0].where == "pull at 2026-11-01 13:00 UTC"


def test_hostile_text_in_a_fault_is_short_and_escaped() -> None:
    found = faults(told(TrapsSet(), string="\x1b" + "x" * 5000))
    assert all(len(fault[1]) < 100 for fault in found)
    assert "\x1b" not in "".join(fault[1] for fault in found)


@pytest.mark.parametrize("minutes", [0, 1, 29.9, -29.9])
def test_a_second_pull_of_the_same_traps_at_once_is_probably_the_first_told_twice(minutes: float) -> None:
    again = told(Pulled(), 100 + minutes / 60)
    assert [fault[0] for fault in faults(again, log=(SET, PULL))] == ["happened_at"]


def test_a_second_pull_half_an_hour_later_or_of_other_traps_is_taken() -> None:
    assert faults(told(Pulled(), 100.5), log=(SET, PULL)) == []
    part = told(Pulled(), 100, traps=(1, 2))
    assert faults(told(Pulled(), 100.1, traps=(3, 4)), log=(SET, part)) == []
    assert faults(told(Pulled(), 100.1, traps=(2, 3)), log=(SET, part)) != []
    assert faults(told(Pulled(), 100.1), told(TrapsSet(), string="Ledge"), log=(SET, part)) != []


def test_traps_of_a_haul_can_be_told_to_have_stayed_aboard() -> None:
    """The natural way after a trip: the whole string, then the one that was kept."""
    assert faults(told(Pulled(reset=False), 100.1, traps=(2,)), log=(SET, PULL)) == []
    assert faults(told(Pulled(rebaited=False), 100.1, traps=(2,)), log=(SET, PULL)) == []


@pytest.mark.parametrize(
    ("again", "traps"),
    [
        (Pulled(reset=False), ()),
        (Pulled(), (2,)),
        (Pulled(reset=False, legal_claws=3), (2,)),
        (Pulled(rebaited=False, smallest_claw_in=2.9), (2,)),
    ],
)
def test_a_pull_told_twice_is_still_found_out(again: Pulled, traps: tuple[int, ...]) -> None:
    assert [fault[0] for fault in faults(told(again, 100.1, traps=traps), log=(SET, PULL))] == ["happened_at"]


def test_the_same_word_about_traps_kept_aboard_is_found_out_too() -> None:
    kept = told(Pulled(reset=False), 100.1, traps=(2,))
    assert [fault[0] for fault in faults(told(Pulled(reset=False), 100.2, traps=(2,)), log=(SET, PULL, kept))] == [
        "traps"
    ]
    old_bait = told(Pulled(rebaited=False), 100.1, traps=(2,))
    again = told(Pulled(rebaited=False), 100.2, traps=(2,))
    assert "happened_at" in [fault[0] for fault in faults(again, log=(SET, PULL, old_bait))]


def test_a_second_pull_is_taken_once_the_first_is_voided() -> None:
    assert faults(told(Pulled(), 100.1), log=(SET, PULL, correction_of(PULL, 101))) == []


def test_the_same_key_again_is_no_fault_and_with_another_story_it_is() -> None:
    again = replace(PULL, id="other", told_at=NOW, told_by="phone")
    assert faults(again, log=(SET, PULL)) == []
    changed = replace(again, detail=Pulled(legal_claws=32, lb=9.5))
    assert [fault[0] for fault in faults(changed, log=(SET, PULL))] == ["key"]


def test_two_stories_under_one_key_in_one_batch_are_refused() -> None:
    one = told(TrapsSet(), key="k")
    other = replace(told(TrapsSet(), string="Ledge", key="k"), id="other")
    assert [fault[0] for fault in faults(one, other)] == ["key"]


def test_a_late_entry_is_judged_where_it_stands_in_time() -> None:
    home = told(Pulled(reset=False), 200)
    assert faults(told(Pulled(), 150), log=(SET, PULL, home)) == []
    assert [fault[0] for fault in faults(told(Pulled(), 250), log=(SET, PULL, home))] == ["traps"]


def test_a_wrong_entry_can_be_voided_and_told_anew_although_later_ones_lean_on_it() -> None:
    wrong = correction_of(SET, 101)
    assert faults(wrong, log=(SET, PULL)) == []
    assert fold([SET, PULL, wrong], STRINGS).oddities != ()
    anew = told(TrapsSet(), 2)
    assert faults(anew, log=(SET, PULL, wrong)) == []
    assert fold([SET, PULL, wrong, anew], STRINGS).oddities == ()


def test_voiding_twice_is_refused_and_voiding_the_voiding_is_not() -> None:
    wrong = correction_of(PULL, 101)
    assert [fault[0] for fault in faults(correction_of(PULL, 102), log=(SET, PULL, wrong))] == ["voids"]
    assert faults(correction_of(wrong, 102), log=(SET, PULL, wrong)) == []


def test_nothing_new_is_nothing_wrong() -> None:
    assert check_entries([], (SET, PULL), STRINGS, NOW) == ()


@pytest.mark.parametrize("detail", [Pulled(), Recovered(), FoundMissing(), BroughtAshore(), Moved(START, END)])
def test_nothing_can_be_done_with_a_string_that_was_never_set(detail: Detail) -> None:
    found = check_entries((told(detail),), (), STRINGS, NOW)
    assert [fault.key for fault in found] == ["traps"]


def test_a_fault_reads_as_a_sentence() -> None:
    [fault] = check_entries((told(Pulled(), traps=(9,)),), (SET,), STRINGS, NOW)
    assert fault == Fault("pull at 2026-11-01 12:00 UTC", "traps", "9 in Nine Foot", "places from 1 to 4")


def test_entries_do_not_share_ids_and_default_keys() -> None:
    made = [told(TrapsSet()) for _ in range(50)]
    assert len({entry.id for entry in made}) == len({entry.key for entry in made}) == 50


@pytest.mark.parametrize(
    ("given", "lacking"), [(TrapsSet(start=START), "end"), (TrapsSet(end=END), "start")], ids=["start", "end"]
)
def test_a_set_with_one_new_mark_is_asked_for_the_other(given: TrapsSet, lacking: str) -> None:
    """A string can't lie between a new mark and one that may be miles away."""
    ((key, found, write),) = faults(told(given))
    assert key == lacking
    assert found.startswith("nothing beside")
    assert write == "both marks, or neither where the string lies as before"
    assert faults(told(TrapsSet(start=START, end=END))) == []
