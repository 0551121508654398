"""The fold of the log: each trap's identity, tag, damage, bench, replacement and place."""

from __future__ import annotations

from collections import Counter
from datetime import timedelta

import pytest
from hypothesis import given

from logbook import FIRST, STRINGS, correction_of, details_of_stores, details_of_traps, hours, logs, one_on, told
from soakbell.gear.fold import GearState, TrapBook, TrapState, Whereabouts, fold
from soakbell.gear.log import (
    BaitBought,
    BellSnoozed,
    BroughtAshore,
    Detail,
    EngineHours,
    FoundDamaged,
    FoundMissing,
    LogEntry,
    Moved,
    Pulled,
    PutOnBench,
    Recovered,
    Renumbered,
    Repaired,
    Replaced,
    Retired,
    Tagged,
    TrapsSet,
)
from soakbell.gear.soak import NoSoak, soak_of
from soakbell.gear.strings import Mark
from soakbell.gear.worked import Worked

SET = told(TrapsSet())
HOME = told(Pulled(reset=False), 100)
PULL_OF_LEDGE = told(Pulled(), 90, string="Ledge")


def trap(place: int, *entries: LogEntry) -> TrapState:
    return fold(entries, STRINGS).strings["Nine Foot"].traps[place - 1]


def items(trap: TrapState) -> list[str]:
    return [item.item for item in trap.items]


def odd_keys(state: GearState) -> list[str]:
    return [odd.key for odd in state.oddities]


def works(*entries: LogEntry) -> list[Worked]:
    book = TrapBook(STRINGS)
    return [book.take(entry)[0] for entry in entries]


def test_what_is_wrong_with_a_trap_stays_until_it_is_mended() -> None:
    latch, lid = told(FoundDamaged("latch"), 10, traps=(2,)), told(FoundDamaged("lid"), 20, traps=(2,))
    assert items(trap(2, SET, latch, lid, told(Pulled(), 30))) == ["latch", "lid"]
    assert items(trap(2, SET, latch, lid, told(Repaired("latch"), 30, traps=(2,)))) == ["lid"]
    assert items(trap(2, SET, latch, lid, told(Repaired(), 30, traps=(2,)))) == []


def test_damage_told_twice_is_told_once_and_keeps_its_first_moment() -> None:
    log = (SET, told(FoundDamaged("latch"), 10, traps=(2,)), told(FoundDamaged("Latch"), 20, traps=(2,)))
    assert items(trap(2, *log)) == ["latch"]
    assert trap(2, *log).items[0].since == FIRST + hours(10)
    assert fold(log, STRINGS).oddities == ()


def test_mending_the_whole_string_mends_the_traps_that_had_it() -> None:
    log = (
        SET,
        told(FoundDamaged("latch"), 10, traps=(1, 2)),
        told(FoundDamaged("lid"), 10, traps=(2,)),
        told(Repaired("latch"), 20),
    )
    state = fold(log, STRINGS)
    assert [items(trap) for trap in state.strings["Nine Foot"].traps] == [[], ["lid"], [], []]
    assert works(*log)[-1].places == (1, 2)


def test_mending_what_was_never_told_is_taken_and_changes_nothing() -> None:
    state = fold([SET, told(Repaired("latch"), 10, traps=(1,)), told(Repaired("lid"), 20)], STRINGS)
    assert state.oddities == ()
    assert state.strings["Nine Foot"].traps[0].where is Whereabouts.FISHING


def test_a_trap_on_the_bench_is_ashore_when_the_last_thing_is_mended() -> None:
    log = [
        SET,
        HOME,
        told(FoundDamaged("latch"), 101, traps=(2,)),
        told(FoundDamaged("lid"), 101, traps=(2,)),
        told(PutOnBench(), 102, traps=(2,)),
        told(Repaired("latch"), 103, traps=(2,)),
    ]
    assert trap(2, *log).where is Whereabouts.BENCH
    log.append(told(Repaired("lid"), 104, traps=(2,)))
    assert (trap(2, *log).where, trap(2, *log).since) == (Whereabouts.ASHORE, FIRST + hours(104))


def test_a_trap_that_fishes_is_not_put_on_the_bench() -> None:
    state = fold([SET, told(PutOnBench(), 1, traps=(2,))], STRINGS)
    assert state.strings["Nine Foot"].traps[1].where is Whereabouts.FISHING
    assert odd_keys(state) == ["traps"]


def test_setting_the_whole_string_leaves_the_bench_alone_and_naming_a_trap_takes_it() -> None:
    bench = told(PutOnBench(), 101, traps=(2,))
    assert trap(2, SET, HOME, bench, told(TrapsSet(), 110)).where is Whereabouts.BENCH
    assert trap(2, SET, HOME, bench, told(TrapsSet(count=3), 110)).where is Whereabouts.BENCH
    assert trap(2, SET, HOME, bench, told(TrapsSet(), 110, traps=(2,))).where is Whereabouts.FISHING


def test_a_trap_in_the_water_is_not_written_off_until_it_is_hauled_or_missing() -> None:
    """A trap forgotten in the water fishes on and breaks the law when the season ends."""
    for detail in (Retired("worn"), Replaced()):
        state = fold([SET, told(detail, 1, traps=(2,))], STRINGS)
        assert state.strings["Nine Foot"].traps[1].where is Whereabouts.FISHING
        assert odd_keys(state) == ["traps"]
        for before in (HOME, told(FoundMissing(), 50)):
            assert fold([SET, before, told(detail, 110, traps=(2,))], STRINGS).oddities == ()


def test_a_retired_trap_is_not_set_again_until_another_takes_its_place() -> None:
    log = [SET, HOME, told(Retired("worn"), 101, traps=(2,))]
    state = fold([*log, told(TrapsSet(), 110, traps=(2,))], STRINGS)
    assert state.strings["Nine Foot"].traps[1].where is Whereabouts.RETIRED
    assert odd_keys(state) == ["traps"]
    replaced = [*log, told(Replaced(), 105, traps=(2,)), told(TrapsSet(), 110, traps=(2,))]
    assert trap(2, *replaced).where is Whereabouts.FISHING


def test_another_trap_takes_the_place_and_the_former_is_kept_as_it_was_last() -> None:
    log = (
        SET,
        told(Tagged("A1"), 1, traps=(2,)),
        told(FoundDamaged("latch"), 2, traps=(2,)),
        told(FoundMissing(), 50, traps=(2,)),
        told(Replaced("A2"), 60, traps=(2,)),
    )
    string = fold(log, STRINGS).strings["Nine Foot"]
    new, [former] = string.traps[1], string.gone
    assert (new.origin, new.tag, new.where, new.items) == ("Nine Foot 2/2", "A2", Whereabouts.ASHORE, ())
    assert (former.origin, former.tag, former.where) == ("Nine Foot 2", "A1", Whereabouts.MISSING)
    assert items(former) == ["latch"]


def test_a_missing_trap_is_given_up_only_by_its_place() -> None:
    """It may turn up."""
    entries = (
        told(TrapsSet(), 1),
        told(FoundMissing(), 2, traps=(2,)),
        told(BroughtAshore(), 3),
        told(Retired("worn out"), 4),
    )
    where = [trap.where for trap in fold(entries, STRINGS).strings["Nine Foot"].traps]
    assert where == [Whereabouts.RETIRED, Whereabouts.MISSING, Whereabouts.RETIRED, Whereabouts.RETIRED]
    given_up = fold([*entries, told(Retired("lost"), 5, traps=(2,))], STRINGS)
    assert given_up.strings["Nine Foot"].traps[1].where is Whereabouts.RETIRED


def test_a_former_trap_that_is_not_missing_is_retired() -> None:
    log = [SET, HOME]
    for turn in range(3):
        log.append(told(Replaced(), 110 + turn, traps=(2,)))
    string = fold(log, STRINGS).strings["Nine Foot"]
    assert [trap.origin for trap in string.gone] == ["Nine Foot 2", "Nine Foot 2/2", "Nine Foot 2/3"]
    assert {trap.where for trap in string.gone} == {Whereabouts.RETIRED}
    assert string.traps[1].origin == "Nine Foot 2/4"


def test_replacing_in_the_whole_string_fills_the_places_of_what_is_lost_or_given_up() -> None:
    log = (
        SET,
        told(FoundMissing(), 50, traps=(1,)),
        HOME,
        told(Retired("worn"), 101, traps=(2,)),
        told(Replaced(), 110),
    )
    assert [trap.origin for trap in fold(log, STRINGS).strings["Nine Foot"].traps] == [
        "Nine Foot 1/2",
        "Nine Foot 2/2",
        "Nine Foot 3",
        "Nine Foot 4",
    ]


def test_a_tag_stays_with_its_trap_and_may_be_changed() -> None:
    log = (SET, told(Tagged("A1"), 1, traps=(2,)), told(Pulled(), 50))
    assert trap(2, *log).tag == "A1"
    assert trap(2, *log, told(Tagged("A9"), 60, traps=(2,))).tag == "A9"


def test_a_tag_in_use_anywhere_on_the_boat_is_not_given_again() -> None:
    log = (SET, told(Tagged("A1"), 1, traps=(2,)), told(Tagged("a1"), 2, string="Ledge", traps=(1,)))
    state = fold(log, STRINGS)
    assert state.strings["Ledge"].traps[0].tag == ""
    assert odd_keys(state) == ["tag"]
    assert "Nine Foot 2" in state.oddities[0].found


def test_the_tag_of_a_missing_trap_is_in_use_and_that_of_a_retired_one_is_free() -> None:
    tagged = (SET, told(Tagged("A1"), 1, traps=(2,)))
    lost = told(FoundMissing(), 50, traps=(2,))
    given_up = told(Retired("lost for good"), 60, traps=(2,))
    anew = told(Tagged("A1"), 70, traps=(3,))
    assert trap(3, *tagged, lost, anew).tag == ""
    assert trap(3, *tagged, lost, told(Replaced(), 60, traps=(2,)), anew).tag == ""
    assert trap(3, *tagged, lost, given_up, anew).tag == "A1"


def test_a_tag_changed_frees_the_former_one() -> None:
    log = (
        SET,
        told(Tagged("A1"), 1, traps=(2,)),
        told(Tagged("A9"), 2, traps=(2,)),
        told(Tagged("A1"), 3, traps=(3,)),
    )
    assert (trap(2, *log).tag, trap(3, *log).tag) == ("A9", "A1")


@pytest.mark.parametrize("traps", [(), (1, 2)])
def test_one_tag_is_for_one_trap(traps: tuple[int, ...]) -> None:
    assert odd_keys(fold([SET, told(Tagged("A1"), 1, traps=traps)], STRINGS)) == ["traps"]
    state = fold([SET, HOME, told(Retired("worn"), 101), told(Replaced("A1"), 110, traps=traps)], STRINGS)
    assert odd_keys(state) == ["tag"]
    assert {trap.tag for trap in state.strings["Nine Foot"].traps} == {""}


def test_renumbered_traps_take_all_that_is_known_of_them_along() -> None:
    before = (
        SET,
        told(Tagged("A1"), 1, traps=(2,)),
        told(FoundDamaged("latch"), 2, traps=(2,)),
        told(Pulled(), 50, traps=(2,)),
    )
    moved = trap(4, *before, told(Renumbered(((2, 4), (4, 3), (3, 2))), 60))
    was = trap(2, *before)
    assert (moved.place, moved.origin, moved.tag, moved.items) == (4, "Nine Foot 2", "A1", was.items)
    assert (moved.soak_start, moved.since, moved.seen_at) == (was.soak_start, was.since, was.seen_at)


def test_a_trap_set_at_a_place_after_renumbering_has_a_name_of_its_own() -> None:
    log = (SET, HOME, told(Renumbered(((1, 2), (2, 1))), 110), told(Replaced(), 120, traps=(2,)))
    string = fold(log, STRINGS).strings["Nine Foot"]
    assert [trap.origin for trap in (*string.traps[:2], *string.gone)] == [
        "Nine Foot 2",
        "Nine Foot 2/2",
        "Nine Foot 1",
    ]


@pytest.mark.parametrize(
    "places", [((1, 2),), ((1, 2), (2, 2)), ((1, 2), (1, 2)), ((4, 5), (5, 4)), ((0, 1), (1, 0))], ids=str
)
def test_places_that_do_not_come_out_even_change_nothing(places: tuple[tuple[int, int], ...]) -> None:
    state = fold([SET, told(Renumbered(places), 10)], STRINGS)
    assert odd_keys(state) == ["places"]
    assert state.strings == fold([SET], STRINGS).strings


@pytest.mark.parametrize(
    ("detail", "after_h"),
    [
        (Pulled(), 60),
        (Moved(Mark(30, -84), Mark(30, -84.1)), 60),
        (FoundDamaged("latch"), 60),
        (Repaired("latch"), 60),
        (BroughtAshore(), 60),
        (Tagged("A1"), 60),
        (FoundMissing(), 0),
        (Renumbered(((1, 2), (2, 1))), 0),
    ],
    ids=lambda given: getattr(getattr(given, "kind", None), "value", ""),
)
def test_a_trap_was_seen_when_somebody_had_it_in_his_hands(detail: Detail, after_h: float) -> None:
    traps = () if isinstance(detail, Moved | Renumbered) else (1,)
    string = fold([SET, told(detail, 60, traps=traps)], STRINGS).strings["Nine Foot"]
    [seen] = [trap for trap in string.traps if trap.origin == "Nine Foot 1"]
    assert seen.seen_at == FIRST + hours(after_h)


def test_a_missing_trap_given_up_was_not_seen_again() -> None:
    lost = (SET, told(FoundMissing(), 50, traps=(2,)))
    assert trap(2, *lost, told(Retired("lost for good"), 90, traps=(2,))).seen_at == FIRST


def test_missing_damaged_and_mended_do_not_go_together() -> None:
    lost = (SET, told(FoundMissing(), 50, traps=(2,)))
    for detail in (FoundDamaged("latch"), Repaired("latch")):
        assert odd_keys(fold([*lost, told(detail, 60, traps=(2,))], STRINGS)) == ["traps"]


def test_the_books_are_told_places_soaks_fresh_bait_and_how_many_fish() -> None:
    pull = told(Pulled(), 100, traps=(1, 2))
    assert works(
        SET,
        pull,
        told(Pulled(rebaited=False), 150),
        told(FoundMissing(), 160, traps=(4,)),
        told(EngineHours(12.5), 170),
        told(Recovered("fishing"), 180),
        told(Pulled(reset=False), 200, traps=(1,)),
        told(Pulled(), 210, string="Ledge"),
    ) == [
        Worked((1, 2, 3, 4), (None,) * 4, 4, 4),
        Worked((1, 2), (100.0, 100.0), 2, 4),
        Worked((1, 2, 3, 4), (50.0, 50.0, 150.0, 150.0), 0, 4),
        Worked((4,), (160.0,), 0, 3),
        Worked(fishing=3),
        Worked((4,), (None,), 1, 4),
        Worked((1,), (100.0,), 0, 3),
        Worked(fishing=3),
    ]


def test_what_is_not_of_traps_moves_only_the_time() -> None:
    hours_told = told(EngineHours(12.5), 170)
    state = fold([SET, hours_told], STRINGS)
    assert state.strings == fold([SET], STRINGS).strings
    assert (state.last, state.oddities) == (hours_told.order, ())
    assert state.newest_at == hours_told.happened_at - timedelta(minutes=2)


def test_a_trap_or_a_correction_told_ahead_of_the_clock_bars_it_and_bait_only_past_two_minutes() -> None:
    """No call rests on bait; one that the clock's own minute of error put ahead must not cost it."""
    ahead = told(BaitBought("mullet heads", 4), 170, string=None)
    for state in (fold([SET, ahead], STRINGS), one_on(fold([SET], STRINGS), ahead)):
        for minutes_behind, barred in ((1.9, False), (2.1, True)):
            soak = soak_of(state, "Nine Foot", ahead.told_at - timedelta(minutes=minutes_behind))
            assert (soak.none_because is NoSoak.CLOCK_BEHIND_LOG) is barred
    for entry in (told(Pulled(), 170), correction_of(PULL_OF_LEDGE, 170)):
        state = fold([SET, PULL_OF_LEDGE, entry], STRINGS)
        second_behind = entry.told_at - timedelta(seconds=1)
        assert soak_of(state, "Nine Foot", second_behind).none_because is NoSoak.CLOCK_BEHIND_LOG


def test_a_moment_to_come_does_not_make_the_clock_wrong() -> None:
    state = fold([told(BellSnoozed("soak:Nine Foot", FIRST + hours(1000)), 1)], STRINGS)
    assert state.newest_at is not None
    assert state.newest_at <= FIRST + hours(1)


@given(logs(max_size=20, of=details_of_stores))
def test_bait_parts_upkeep_and_bells_are_nothing_to_the_traps(entries: list[LogEntry]) -> None:
    state = fold(entries, STRINGS)
    assert (state.strings, state.oddities) == (fold([], STRINGS).strings, ())


@given(logs(max_size=20, of=details_of_traps))
def test_the_count_of_fishing_traps_is_kept_right(entries: list[LogEntry]) -> None:
    book = TrapBook(STRINGS)
    for entry in sorted(entries, key=lambda entry: entry.order):
        worked, _ = book.take(entry)
        fishing = sum(len(string.places(Whereabouts.FISHING)) for string in book.freeze().strings.values())
        assert worked.fishing == fishing
        assert len(worked.soak_h) == len(worked.places)


@given(logs(max_size=20, of=details_of_traps))
def test_no_two_traps_in_use_carry_one_tag_and_none_share_a_name(entries: list[LogEntry]) -> None:
    state = fold(entries, STRINGS)
    traps = [trap for string in state.strings.values() for trap in (*string.traps, *string.gone)]
    tags = Counter(trap.tag.casefold() for trap in traps if trap.tag and trap.where is not Whereabouts.RETIRED)
    assert max(tags.values(), default=1) == 1
    assert len({trap.origin for trap in traps}) == len(traps)
