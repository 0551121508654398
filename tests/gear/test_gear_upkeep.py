"""Upkeep as the log tells it."""

from __future__ import annotations

from datetime import date

from hypothesis import given
from hypothesis import strategies as st

from logbook import FIRST, hours, told
from soakbell.gear.log import (
    BroughtAshore,
    Detail,
    EngineHours,
    LogEntry,
    PartBought,
    Pulled,
    TrapsSet,
    UpkeepDone,
)
from soakbell.gear.upkeep import UpkeepBook, UpkeepRecord
from soakbell.gear.worked import Worked

OF_STRINGS = (TrapsSet, Pulled, BroughtAshore)
Step = tuple[float, Detail, Worked]


def entry_of(detail: Detail, after_h: float) -> LogEntry:
    return told(detail, after_h, string="Nine Foot" if isinstance(detail, OF_STRINGS) else None)


def record_of(*steps: Step) -> tuple[UpkeepRecord, list[str]]:
    """The record after ``steps`` (hours after the first, what was told, what it came to), and what was odd."""
    book, found = UpkeepBook(), []
    for after_h, detail, worked in steps:
        found += [odd.found for odd in book.take(entry_of(detail, after_h), worked)]
    return book.freeze(), found


def all_four(fishing: int = 4) -> Worked:
    return Worked((1, 2, 3, 4), (None,) * 4, 4, fishing)


def test_a_task_is_done_at_the_counters_of_its_moment() -> None:
    record, odd = record_of(
        (0, EngineHours(412), Worked()),
        (1, TrapsSet(), all_four()),
        (49, Pulled(), all_four()),
        (73, UpkeepDone("engine oil"), Worked(fishing=4)),
        (97, Pulled(), all_four()),
        (98, EngineHours(420.5), Worked(fishing=4)),
    )
    (oil,) = record.done
    assert (oil.task, oil.done_at, oil.expires_on) == ("engine oil", FIRST + hours(73), None)
    assert (oil.engine_h, oil.pulls, oil.days_in_water) == (412.0, 1, 3.0)  # 1 h to 73 h are three days
    assert (record.engine_h, record.pulls, record.days_in_water, odd) == (420.5, 2, 4.0, [])


def test_days_in_the_water_pass_only_while_some_trap_fishes() -> None:
    record, _ = record_of(
        (0, TrapsSet(), all_four()),
        (36, Pulled(reset=False), all_four(fishing=2)),
        (48, Pulled(reset=False), all_four(fishing=0)),
        (148, TrapsSet(), all_four()),
        (160, BroughtAshore(), all_four(fishing=0)),
    )
    assert record.days_in_water == 2.5  # 48 h and 12 h
    assert not record.fishing


def test_what_is_told_of_parts_does_not_take_the_traps_out_of_the_water() -> None:
    record, _ = record_of((0, TrapsSet(), all_four()), (5, PartBought("latch", 1), Worked()))
    assert record.fishing


def test_a_pull_of_nothing_is_no_haul() -> None:
    record, _ = record_of((0, TrapsSet(), all_four()), (5, Pulled(), Worked(fishing=4)))
    assert record.pulls == 0


def test_pulls_of_one_string_within_one_trip_are_one_haul() -> None:
    """Traps that stay aboard are told by a pull of their own, and part of a string can be told apart."""
    some = Worked((1,), (None,), 0, 3)
    record, _ = record_of(
        (0, TrapsSet(), all_four()),
        (100, Pulled(), all_four()),
        (100.1, Pulled(reset=False), some),
        (103, Pulled(), some),
        (220, Pulled(), some),
    )
    assert (record.pulls, record.pulled_at) == (2, FIRST + hours(220))
    assert [step.count for step in record.hauls] == [1, 2]


def test_two_strings_in_one_trip_are_two_hauls() -> None:
    book = UpkeepBook()
    for string in ("Nine Foot", "Ledge"):
        book.take(told(Pulled(), 100, string=string), all_four())
    assert book.freeze().pulls == 2


def test_a_reading_below_the_last_is_odd_and_changes_nothing() -> None:
    record, odd = record_of((0, EngineHours(412), Worked()), (5, EngineHours(41.2), Worked()))
    assert (record.engine_h, record.meter_h, record.read_at) == (412.0, 412.0, FIRST)
    assert odd == ["41.2, less than the 412 read before"]


def test_a_task_told_before_the_first_reading_counts_its_hours_from_that_one() -> None:
    record, _ = record_of(
        (0, UpkeepDone("engine oil"), Worked()),
        (0.25, EngineHours(412), Worked()),
        (1200, EngineHours(700), Worked()),
    )
    (oil,) = record.done
    assert (oil.engine_h, oil.engine_read_at) == (412.0, FIRST + hours(0.25))


def test_hours_told_on_the_day_of_a_task_are_those_of_the_task_whichever_was_told_first() -> None:
    """Else the oil just changed would be overdue by what ran since the reading before."""
    said = [(720.0, UpkeepDone("engine oil"), Worked()), (720.5, EngineHours(412), Worked())]
    later, _ = record_of((0, EngineHours(310), Worked()), *said, (725, EngineHours(418), Worked()))
    sooner, _ = record_of((0, EngineHours(310), Worked()), (719.5, EngineHours(412), Worked()), said[0])
    assert [record.done[0].engine_h for record in (later, sooner)] == [412.0, 412.0]


def test_hours_read_days_after_a_task_are_not_those_of_the_task() -> None:
    """The last reading before it stands: the task comes due early rather than late."""
    record, _ = record_of(
        (0, EngineHours(310), Worked()),
        (720, UpkeepDone("engine oil"), Worked()),
        (792, EngineHours(350), Worked()),
    )
    assert record.done[0].engine_h == 310.0


def test_hours_add_up_over_a_new_meter() -> None:
    record, odd = record_of(
        (0, EngineHours(412), Worked()),
        (5, EngineHours(0, new_meter=True), Worked()),
        (9, EngineHours(8), Worked()),
    )
    assert (record.engine_h, record.meter_h, odd) == (420.0, 8.0, [])


def test_looking_at_what_expires_does_not_make_it_expire_later() -> None:
    record, _ = record_of(
        (0, UpkeepDone("flares", date(2027, 3, 31)), Worked()), (500, UpkeepDone("flares"), Worked())
    )
    (flares,) = record.done
    assert (flares.expires_on, flares.done_at) == (date(2027, 3, 31), FIRST + hours(500))


def test_the_log_begins_with_its_first_entry_of_any_kind() -> None:
    record, _ = record_of((3, PartBought("latch", 1), Worked()), (5, EngineHours(1), Worked()))
    assert record.first_at == FIRST + hours(3)
    assert UpkeepBook().freeze() == UpkeepRecord()


workings = st.builds(
    lambda fishing, hauled: all_four(fishing) if hauled else Worked(fishing=fishing),
    st.integers(0, 4),
    st.booleans(),
)
details = st.one_of(
    st.builds(EngineHours, st.integers(0, 500).map(float), st.booleans()),
    st.builds(UpkeepDone, st.sampled_from(["engine oil", "flares"]), st.none() | st.dates()),
    st.sampled_from([TrapsSet(), Pulled(), BroughtAshore(), PartBought("latch", 1)]),
)
steps = st.lists(st.tuples(st.integers(0, 100), details, workings), max_size=20).map(
    lambda found: sorted(found, key=lambda step: step[0])
)


@given(steps, st.integers(0, 20))
def test_going_on_from_what_was_kept_is_as_good_as_reading_on(found: list[Step], cut: int) -> None:
    entries = [(entry_of(detail, after_h), worked) for after_h, detail, worked in found]
    whole, first = UpkeepBook(), UpkeepBook()
    odd = [o for entry, worked in entries for o in whole.take(entry, worked)]
    odd_first = [o for entry, worked in entries[:cut] for o in first.take(entry, worked)]
    second = UpkeepBook(first.freeze())
    odd_second = [o for entry, worked in entries[cut:] for o in second.take(entry, worked)]
    assert second.freeze() == whole.freeze()
    assert odd_first + odd_second == odd


@given(steps)
def test_counters_never_run_back(found: list[Step]) -> None:
    book = UpkeepBook()
    before = book.freeze()
    for after_h, detail, worked in found:
        book.take(entry_of(detail, after_h), worked)
        after = book.freeze()
        assert after.pulls >= before.pulls
        assert after.days_in_water >= before.days_in_water
        assert before.engine_h is None or (after.engine_h is not None and after.engine_h >= before.engine_h)
        before = after
    assert before.days_in_water <= 100 / 24 + 1e-9
