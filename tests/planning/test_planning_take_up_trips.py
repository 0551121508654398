"""Loads that bring the traps home. The strings are invented."""

from __future__ import annotations

import math
from datetime import date, timedelta
from itertools import accumulate, combinations, pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from boats import GREBE, LEDGE, NINE_FOOT, NOTCH_CREEK, OUTER_BAR
from soakbell.gear.strings import Mark, TrapString
from soakbell.planning.season_end import TakeUpPlan, take_up_odds
from soakbell.planning.take_up_trips import TrapsOut, plan_trips
from soakbell.planning.trips import plan_trip

FIVE = (
    NINE_FOOT,
    TrapString("Grassy Edge", Mark(29.97, -84.16), Mark(29.97, -84.18), 30, "bay", 3, 120, 264),
    OUTER_BAR,
    TrapString("The Hump", Mark(29.90, -84.22), Mark(29.91, -84.22), 24, "bay", 6, 120, 264),
    LEDGE,
)
"""148 traps: 24, 30, 30, 24 and 40."""

APRIL = date(2027, 4, 1)


def whole(string: TrapString) -> TrapsOut:
    return TrapsOut(string, tuple(range(1, string.traps + 1)))


def plan(*out: TrapsOut, deck: int = 74, stack_min: float = 1.0, most_min: float | None = None) -> TakeUpPlan:
    return plan_trips(GREBE, NOTCH_CREEK, out, deck_traps=deck, stack_min_per_trap=stack_min, most_min=most_min)


def brought(found: TakeUpPlan) -> dict[str, list[int]]:
    home: dict[str, list[int]] = {}
    for trip in found.trips:
        for name, places in trip.strings:
            home.setdefault(name, []).extend(places)
    return {name: sorted(places) for name, places in home.items()}


def test_two_full_decks_take_148_traps_home_in_two_trips() -> None:
    found = plan(*map(whole, FIVE))
    assert [trip.traps for trip in found.trips] == [74, 74]
    assert found.traps == 148


def test_strings_are_kept_whole_where_no_trip_more_comes_of_it() -> None:
    found = plan(*map(whole, FIVE), deck=84)
    assert len(found.trips) == 2
    assert [(name, len(places)) for trip in found.trips for name, places in trip.strings if len(places) < 24] == []
    assert sum(len(trip.strings) for trip in found.trips) == 5


def test_a_string_larger_than_the_deck_is_cut() -> None:
    found = plan(whole(LEDGE), deck=15)
    assert [trip.traps for trip in found.trips] == [15, 15, 10]
    assert brought(found) == {"Ledge": list(range(1, 41))}


def test_a_trip_takes_as_long_as_the_same_pull_and_its_stacking() -> None:
    """Against the trip that a call is made for, of whole strings, and the stacking on top."""
    found = plan(whole(LEDGE), whole(OUTER_BAR), stack_min=1.5)
    (trip,) = found.trips
    pulled = plan_trip(GREBE, NOTCH_CREEK, [LEDGE, OUTER_BAR], {"Ledge": 40, "Outer Bar": 30})
    assert trip.minutes == pytest.approx(pulled.duration_min + 1.5 * 70, abs=0.01)


def test_two_traps_far_apart_take_no_less_than_the_run_between_them() -> None:
    """Against the trip that a call is made for, by a string of more than 5 nmi."""
    long = TrapString("Long Reach", Mark(29.95, -84.25), Mark(29.95, -84.15), 36, "bay", 4, 120, 264)
    (trip,) = plan(TrapsOut(long, (1, 36)), stack_min=0.0).trips
    assert trip.minutes >= plan_trip(GREBE, NOTCH_CREEK, [long], {long.name: 2}).duration_min


def test_no_trip_is_longer_than_the_window_where_that_can_be() -> None:
    free = plan(*map(whole, FIVE))
    held = plan(*map(whole, FIVE), most_min=200)
    assert max(trip.minutes for trip in free.trips) > 200 >= max(trip.minutes for trip in held.trips)
    assert brought(held) == brought(free)


def test_a_trip_that_must_be_too_long_is_told_with_its_length() -> None:
    found = plan(whole(LEDGE), most_min=30)
    assert [trip.traps for trip in found.trips] == [40]
    assert found.trips[0].minutes > 30


def test_nothing_out_is_no_trip() -> None:
    assert plan().trips == plan(TrapsOut(LEDGE, ())).trips == ()


def test_a_deck_for_no_trap_is_refused() -> None:
    with pytest.raises(ValueError, match="write 1 or more"):
        plan(whole(LEDGE), deck=0)


PLACES = st.lists(st.sets(st.integers(1, 24), max_size=24), min_size=5, max_size=5)


@given(PLACES, st.integers(1, 60))
@settings(max_examples=60)
def test_every_trap_comes_home_once_in_the_fewest_trips(places: list[set[int]], deck: int) -> None:
    out = [TrapsOut(string, tuple(sorted(some))) for string, some in zip(FIVE, places, strict=True)]
    found = plan(*out, deck=deck)
    assert brought(found) == {each.string.name: list(each.places) for each in out if each.places}
    assert all(trip.traps == sum(len(p) for _, p in trip.strings) <= deck for trip in found.trips)
    assert len(found.trips) == math.ceil(sum(map(len, places)) / deck)


@given(PLACES, st.integers(1, 60), st.integers(0, 20))
@settings(max_examples=30)
def test_a_larger_deck_never_takes_more_trips(places: list[set[int]], deck: int, more: int) -> None:
    out = [TrapsOut(string, tuple(sorted(some))) for string, some in zip(FIVE, places, strict=True)]
    assert len(plan(*out, deck=deck + more).trips) <= len(plan(*out, deck=deck).trips)


@given(st.integers(10, 100), st.integers(0, 40), st.integers(1, 2**20), st.integers(1, 2), st.sampled_from([0, 2]))
@settings(max_examples=25)
def test_a_larger_deck_never_makes_the_end_less_likely(
    deck: int, more: int, seed: int, trips_a_day: int, unload_min: int
) -> None:
    """In the same weather, of days that carry nothing, little and much."""
    windows = np.random.default_rng(seed).uniform(0, 240, (200, 20))
    small, large = (
        take_up_odds(
            plan(*map(whole, FIVE), deck=size, most_min=240),
            windows,
            APRIL,
            APRIL + timedelta(days=15),
            trips_a_day=trips_a_day,
            unload_min_per_trap=unload_min,
        )
        for size in (deck, min(100, deck + more))
    )
    assert (large.done >= small.done).all()


def test_a_window_too_short_for_a_full_deck_takes_a_smaller_load() -> None:
    found = plan(whole(LEDGE))
    half_min = math.ceil(max(found.way.minutes(0, 19), found.way.minutes(20, 39)))
    assert half_min < found.trips[0].minutes - 60
    done = take_up_odds(found, np.full((1, 3), float(half_min)), APRIL, APRIL + timedelta(days=2)).done
    assert done[0].tolist() == [0, 1, 1]


def test_the_deck_bounds_the_load_of_the_longest_day() -> None:
    done = take_up_odds(
        plan(whole(LEDGE), deck=15), np.full((1, 4), 1440.0), APRIL, APRIL + timedelta(days=3)
    ).done
    assert done[0].tolist() == [0, 0, 1, 1]


@given(st.integers(1, 5), st.integers(1, 5), st.integers(3, 9))
@settings(max_examples=20)
def test_the_cuts_are_the_best_of_all_of_that_visit(a: int, b: int, deck: int) -> None:
    """By trying every way to cut: fewest trips, then fewest strings on two trips, then full loads first."""
    out = [TrapsOut(LEDGE, tuple(range(1, a + 1))), TrapsOut(OUTER_BAR, tuple(range(1, b + 1)))]
    (one,) = plan(*out, deck=10).trips
    visit = [name for name, places in one.strings for _ in places]
    best = min(
        (len(cuts) + 1, sum(visit[cut - 1] == visit[cut] for cut in cuts), -sum(cuts))
        for count in range(len(visit))
        for cuts in combinations(range(1, len(visit)), count)
        if all(after - before <= deck for before, after in pairwise((0, *cuts, len(visit))))
    )
    found = plan(*out, deck=deck)
    split = sum(len(trip.strings) for trip in found.trips) - len(set(visit))
    cuts = accumulate(trip.traps for trip in found.trips[:-1])
    assert (len(found.trips), split, -sum(cuts)) == best
