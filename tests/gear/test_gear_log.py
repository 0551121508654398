"""Log entries and whether they can be taken."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone

import pytest

from logbook import END, NOW, START, STRINGS, correction_of, told
from soakbell.errors import Fault
from soakbell.gear.entry_check import MAX_CHARS
from soakbell.gear.fold import fold
from soakbell.gear.log import (
    BroughtAshore,
    Correction,
    Detail,
    FoundMissing,
    LogEntry,
    Moved,
    Pulled,
    Recovered,
    TrapsSet,
    new_entry,
)
from soakbell.gear.log_check import check_entries
from soakbell.gear.strings import Mark


def faults(*new: LogEntry, log: tuple[LogEntry, ...] = (), now: datetime = NOW) -> list[tuple[str, str, str]]:
    return [(fault.key, fault.found, fault.write) for fault in check_entries(new, log, STRINGS, now)]


SET = told(TrapsSet())
PULL = told(Pulled(legal_claws=31, lb=9.5), 100)


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
    ],
)
def test_bad_input_is_refused_by_its_field(entry: LogEntry, key: str) -> None:
    found = check_entries((entry,), (SET,), STRINGS, NOW)
    assert [fault.key for fault in found] == [key]
    assert found[0].found
    assert found[0].write


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
