"""The fold of the log: what is in the water."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logbook import FIRST, NINE_FOOT, STRINGS, correction_of, hours, logs, one_on, told
from soakbell.gear.fold import GearState, Whereabouts, fold, follows, in_force, told_places
from soakbell.gear.log import (
    DETAILS,
    OF_TRAPS,
    BroughtAshore,
    Correction,
    EntryKind,
    FoundMissing,
    LogEntry,
    Moved,
    Pulled,
    Recovered,
    TrapsSet,
)
from soakbell.gear.strings import Mark
from soakbell.gear.trap_book import STEPS


def where(state: GearState, string: str = "Nine Foot") -> list[str]:
    return [trap.where.value for trap in state.strings[string].traps]


def soak_starts_h(state: GearState, string: str = "Nine Foot") -> list[float | None]:
    """Hours after FIRST at which each trap last went in with fresh bait."""
    starts = [trap.soak_start for trap in state.strings[string].traps]
    return [None if start is None else (start - FIRST) / hours(1) for start in starts]


def test_an_empty_log_knows_of_no_trap_in_the_water() -> None:
    state = fold([], STRINGS)
    assert where(state) == ["never set"] * 4
    assert (state.newest_at, state.last, state.oddities) == (None, None, ())


def test_a_string_that_is_set_fishes_between_its_marks() -> None:
    state = fold([told(TrapsSet())], STRINGS)
    assert where(state) == ["fishing"] * 4
    assert where(state, "Ledge") == ["never set"] * 3
    assert (state.strings["Nine Foot"].start, state.strings["Nine Foot"].end) == (NINE_FOOT.start, NINE_FOOT.end)


def test_a_count_sets_the_lowest_places_that_are_out_of_the_water() -> None:
    state = fold([told(TrapsSet(), traps=(2,)), told(TrapsSet(count=2), 1)], STRINGS)
    assert soak_starts_h(state) == [1.0, 0.0, 1.0, None]


def test_a_pull_with_fresh_bait_starts_the_soak_anew() -> None:
    state = fold([told(TrapsSet()), told(Pulled(), 100, traps=(1, 2))], STRINGS)
    assert soak_starts_h(state) == [100.0, 100.0, 0.0, 0.0]


def test_a_pull_without_fresh_bait_leaves_the_soak_running() -> None:
    state = fold([told(TrapsSet()), told(Pulled(rebaited=False), 100)], STRINGS)
    assert soak_starts_h(state) == [0.0] * 4
    assert state.strings["Nine Foot"].traps[0].since == FIRST + hours(100)


def test_traps_not_reset_are_aboard_then_ashore_and_may_be_set_again() -> None:
    log = [told(TrapsSet()), told(Pulled(reset=False), 100), told(BroughtAshore(), 103, traps=(1, 2, 3))]
    assert where(fold(log, STRINGS)) == ["ashore"] * 3 + ["aboard"]
    assert where(fold([*log, told(TrapsSet(), 200)], STRINGS)) == ["fishing"] * 4


def test_a_pull_of_the_whole_string_leaves_missing_traps_missing() -> None:
    log = [told(TrapsSet()), told(FoundMissing(), 50, traps=(3,)), told(Pulled(), 100)]
    state = fold(log, STRINGS)
    assert where(state) == ["fishing", "fishing", "missing", "fishing"]
    assert state.oddities == ()


def test_a_missing_trap_stays_missing_when_it_is_said_to_be_set_or_brought_home() -> None:
    log = [told(TrapsSet()), told(FoundMissing(), 50, traps=(3,))]
    for detail in (TrapsSet(), BroughtAshore(), Pulled()):
        state = fold([*log, told(detail, 60, traps=(3,))], STRINGS)
        assert where(state)[2] == "missing"
        assert [odd.key for odd in state.oddities] == ["traps"]


@pytest.mark.parametrize(
    ("back", "rebaited", "whereabouts", "soak_start_h"),
    [("fishing", True, "fishing", 60.0), ("fishing", False, "fishing", 0.0), ("aboard", True, "aboard", 0.0)],
)
def test_a_recovered_trap_fishes_or_is_aboard(
    back: str, rebaited: bool, whereabouts: str, soak_start_h: float
) -> None:
    found = Recovered(back, rebaited)  # type: ignore[arg-type]
    state = fold([told(TrapsSet()), told(FoundMissing(), 50, traps=(3,)), told(found, 60)], STRINGS)
    assert where(state)[2] == whereabouts
    assert soak_starts_h(state)[2] == soak_start_h


def test_a_move_changes_the_marks_and_not_the_soak() -> None:
    here, there = Mark(30.01, -84.16), Mark(30.02, -84.16)
    state = fold([told(TrapsSet()), told(Moved(here, there), 10)], STRINGS)
    assert (state.strings["Nine Foot"].start, state.strings["Nine Foot"].end) == (here, there)
    assert soak_starts_h(state) == [0.0] * 4


def test_marks_told_with_a_set_are_in_force() -> None:
    here = Mark(30.01, -84.16)
    state = fold([told(TrapsSet(start=here))], STRINGS)
    assert (state.strings["Nine Foot"].start, state.strings["Nine Foot"].end) == (here, NINE_FOOT.end)


def test_a_correction_voids_and_a_correction_of_it_restores() -> None:
    put_in, pull = told(TrapsSet()), told(Pulled(), 100)
    wrong = correction_of(pull, 101)
    back = correction_of(wrong, 102)
    again = correction_of(back, 103)
    assert soak_starts_h(fold([put_in, pull, wrong], STRINGS)) == [0.0] * 4
    assert soak_starts_h(fold([put_in, pull, wrong, back], STRINGS)) == [100.0] * 4
    assert soak_starts_h(fold([put_in, pull, wrong, back, again], STRINGS)) == [0.0] * 4


def test_corrections_that_void_each_other_are_told_and_void_nothing() -> None:
    put_in = told(TrapsSet())
    one = told(Correction(voids="", reason="round"), 1)
    other = correction_of(one, 2)
    one = replace(one, detail=Correction(other.id, "round"))
    alone = told(Correction("", "round"), 3)
    alone = replace(alone, detail=Correction(alone.id, "round"))
    state = fold([put_in, one, other, alone], STRINGS)
    assert where(state) == ["fishing"] * 4
    assert {odd.entry_id for odd in state.oddities} == {one.id, other.id, alone.id}


def test_a_long_chain_of_corrections_is_followed_to_its_end() -> None:
    chain = [told(TrapsSet())]
    for turn in range(1, 5001):
        chain.append(correction_of(chain[-1], turn / 10))
    assert where(fold(chain, STRINGS)) == ["fishing"] * 4
    assert where(fold(chain[:-1], STRINGS)) == ["never set"] * 4


def test_a_correction_may_arrive_before_what_it_voids() -> None:
    pull = told(Pulled(), 100)
    wrong = correction_of(pull, 101)
    waiting = fold([told(TrapsSet()), wrong], STRINGS)
    assert waiting.awaited == {pull.id}
    assert [odd.key for odd in waiting.oddities] == ["voids"]
    assert not follows(waiting, replace(pull, happened_at=FIRST + hours(200)))


def test_one_key_counts_once_and_another_story_under_it_is_told() -> None:
    put_in = told(TrapsSet(), key="phone-1")
    twice = replace(put_in, id="other", told_at=FIRST + hours(5), told_by="phone")
    assert fold([put_in, twice], STRINGS) == fold([put_in], STRINGS)
    contrary = replace(told(Pulled(), 100, key="phone-1"), id="third")
    state = fold([put_in, contrary], STRINGS)
    assert soak_starts_h(state) == [0.0] * 4
    assert [(odd.entry_id, odd.key) for odd in state.oddities] == [("third", "key")]


def test_a_late_entry_takes_its_place_in_time() -> None:
    put_in, pull = told(TrapsSet()), told(Pulled(reset=False), 100)
    late = told(Pulled(), 50, traps=(1,), told_after_h=120)
    state = fold([put_in, pull, late], STRINGS)
    assert where(state) == ["aboard"] * 4
    assert soak_starts_h(state) == [50.0, 0.0, 0.0, 0.0]
    assert not follows(fold([put_in, pull], STRINGS), late)


@pytest.mark.parametrize(
    ("entry", "key"),
    [
        (told(Pulled(), string="Lost String"), "string"),
        (told(Pulled()), "traps"),
        (told(Pulled(), traps=(2,)), "traps"),
        (told(TrapsSet(), traps=(4, 5)), "traps"),
        (told(TrapsSet(count=5)), "count"),
        (told(Recovered()), "traps"),
        (told(FoundMissing(), traps=(1,)), "traps"),
        (told(Moved(Mark(30, -84), Mark(30, -84))), "traps"),
        (told(BroughtAshore()), "traps"),
    ],
    ids=lambda found: found.kind.value if isinstance(found, LogEntry) else found,
)
def test_what_makes_no_sense_is_told_and_never_raises(entry: LogEntry, key: str) -> None:
    state = fold([entry], STRINGS)
    assert [(odd.entry_id, odd.key) for odd in state.oddities] == [(entry.id, key)]
    assert state.oddities[0].found
    assert state.oddities[0].write


def test_setting_a_string_that_fishes_in_part_leaves_the_older_soak_and_says_so() -> None:
    state = fold([told(TrapsSet(), traps=(1, 2)), told(TrapsSet(), 50)], STRINGS)
    assert soak_starts_h(state) == [0.0, 0.0, 50.0, 50.0]
    assert "1..2" in state.oddities[0].found


def test_every_kind_of_traps_has_its_step() -> None:
    assert set(STEPS) == OF_TRAPS
    assert set(DETAILS) == set(EntryKind)


@pytest.mark.parametrize(
    ("places", "written"), [((), ""), ((3,), "3"), ((1, 2, 3, 7), "1..3 7"), ((9, 8), "8..9")]
)
def test_places_are_written_in_runs(places: tuple[int, ...], written: str) -> None:
    assert told_places(places) == written


@given(logs(), st.randoms(use_true_random=False))
def test_the_order_of_arrival_changes_nothing(entries: list[LogEntry], chance: random.Random) -> None:
    shuffled = [*entries, *entries[: len(entries) // 2]]
    chance.shuffle(shuffled)
    assert fold(shuffled, STRINGS) == fold(entries, STRINGS)


@given(logs(max_size=6), st.data())
def test_the_order_of_arrival_changes_nothing_with_corrections_either(
    entries: list[LogEntry], data: st.DataObject
) -> None:
    for turn in range(data.draw(st.integers(0, 5)) if entries else 0):
        entries.append(correction_of(data.draw(st.sampled_from(entries)), 10 + turn))
    assert fold(data.draw(st.permutations(entries)), STRINGS) == fold(entries, STRINGS)


@given(logs())
@settings(max_examples=200)
def test_applying_one_by_one_in_time_order_is_the_fold(entries: list[LogEntry]) -> None:
    in_time = sorted(entries, key=lambda entry: entry.order)
    state = fold([], STRINGS)
    for entry in in_time:
        state = one_on(state, entry)
    assert state == fold(in_time, STRINGS)


def test_a_correction_or_late_entry_does_not_follow() -> None:
    put_in, pull = told(TrapsSet()), told(Pulled(), 100)
    state = fold([put_in, pull], STRINGS)
    assert follows(state, told(Pulled(), 200))
    for entry in (put_in, correction_of(pull, 200), told(Pulled(), 50)):
        assert not follows(state, entry)


@given(logs())
def test_a_trap_that_fishes_always_has_a_soak(entries: list[LogEntry]) -> None:
    for string in fold(entries, STRINGS).strings.values():
        for trap in string.traps:
            assert (trap.where is Whereabouts.NEVER_SET) == (trap.since is None)
            if trap.where is Whereabouts.FISHING:
                assert trap.soak_start is not None
                assert trap.since is not None
                assert trap.soak_start <= trap.since


def test_in_force_leaves_out_the_voided_and_the_repeated() -> None:
    put_in, pull = told(TrapsSet()), told(Pulled(), 100)
    wrong = correction_of(pull, 101)
    assert {entry.id for entry in in_force([put_in, put_in, pull, wrong])} == {put_in.id, wrong.id}
