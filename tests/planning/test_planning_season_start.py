"""The start of a season: what to see to before, and the trips that set the traps. INVENTED DATA."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from boats import GREBE, LEDGE, NINE_FOOT, NOTCH_CREEK, OUTER_BAR
from soakbell.fishery.rules import Rule
from soakbell.fishery.season import TrapLimit
from soakbell.gear.fold import GearState, StringState, TrapState, Whereabouts
from soakbell.planning.bench_plan import TrapsOf
from soakbell.planning.season_start import (
    SetPlan,
    mends_ahead,
    opening_in_sight,
    ready_to_set,
    set_plan,
    traps_waiting,
    untagged,
)
from soakbell.settings import load_fishery
from start_scenes import GEAR, OUTFIT, STOCK

FISHERIES = Path(__file__).parents[2] / "config" / "fisheries"
STONE = load_fishery(FISHERIES / "florida-stone-crab.toml")
"""R4: placed from 5 October (second-hand)."""
BLUE = load_fishery(FISHERIES / "florida-blue-crab.toml")

THREE = (NINE_FOOT, OUTER_BAR, LEDGE)
"""24, 30 and 40 traps."""
SET_FROM = date(2027, 10, 5)
ASHORE, FISHING, MISSING = Whereabouts.ASHORE, Whereabouts.FISHING, Whereabouts.MISSING


def boat(where: Whereabouts = ASHORE, **other: Whereabouts) -> GearState:
    """Every trap ``where``, but those named as ``Ledge_3``."""
    return GearState(
        {
            string.name: StringState(
                string.name,
                string.start,
                string.end,
                tuple(
                    TrapState(place, other.get(f"{string.name}_{place}", where))
                    for place in range(1, string.traps + 1)
                ),
            )
            for string in THREE
        }
    )


def plan(gear: GearState, *, deck: int = 47, limit: int | None = None) -> SetPlan:
    law = Rule(name="traps", value=5, source="invented", checked=SET_FROM, sure="read")
    return set_plan(
        gear, ready_to_set(gear, OUTFIT), THREE, GREBE, NOTCH_CREEK,
        deck_traps=deck, stack_min_per_trap=0.5, not_before=SET_FROM,
        limit=None if limit is None else TrapLimit(limit, law),
    )  # fmt: skip


def carried(found: SetPlan) -> set[tuple[str, int]]:
    return {(name, place) for trip in found.trips.trips for name, places in trip.strings for place in places}


def places_of(some: Iterable[TrapsOf]) -> set[tuple[str, int]]:
    return {(traps.string, place) for traps in some for place in traps.places}


# ---- when it is told


@pytest.mark.parametrize(
    ("today", "told"),
    [
        (date(2027, 9, 20), None),
        (date(2027, 9, 21), SET_FROM),
        (SET_FROM, SET_FROM),
        (date(2027, 10, 19), SET_FROM),
        (date(2027, 10, 20), None),
        (date(2027, 5, 4), None),
    ],
)
def test_the_start_is_in_sight_a_fortnight_before_and_past_the_first_day_to_set_on(
    today: date, told: date | None
) -> None:
    found = opening_in_sight(STONE, today, sector="commercial", region="elsewhere")
    assert (found and found.set_from) == told


@pytest.mark.parametrize(
    ("today", "told"),
    [
        (date(2027, 7, 9), None),
        (date(2027, 7, 10), date(2027, 7, 20)),
        (date(2027, 8, 3), date(2027, 7, 20)),
        (date(2027, 8, 4), None),
    ],
)
def test_while_traps_may_be_set_the_end_of_a_closure_to_come_is_not_in_sight(
    today: date, told: date | None
) -> None:
    """R22: closed from 10 to 19 July in odd years (second-hand)."""
    found = opening_in_sight(BLUE, today, sector="commercial", region="southwest")
    assert (found and found.set_from) == told


# ---- what to see to


def test_traps_with_what_bars_them_are_not_ready_and_without_an_outfit_any_item_bars() -> None:
    """In the scene Nine Foot 3 and 4 lack an escape ring, and Ledge 30 has a bad latch to mend at a pull."""
    ready = places_of(ready_to_set(GEAR, OUTFIT))
    assert {("Nine Foot", 3), ("Nine Foot", 4)}.isdisjoint(ready)
    assert ("Ledge", 30) in ready
    assert places_of(ready_to_set(GEAR, None)) == ready - {("Ledge", 30)}


def test_traps_on_the_bench_in_the_water_missing_or_written_off_are_not_ready() -> None:
    others = [Whereabouts.BENCH, FISHING, MISSING, Whereabouts.RETIRED]
    gear = boat(**{f"Ledge_{place}": where for place, where in enumerate(others, 1)})
    assert ("Ledge", 5) in places_of(ready_to_set(gear, OUTFIT))
    assert places_of(ready_to_set(gear, OUTFIT)).isdisjoint({("Ledge", place) for place in range(1, 5)})
    assert traps_waiting(gear) == 94 - 3, "the one on the bench waits too"


def test_all_mends_are_told_whatever_the_bench_has_time_for_and_what_parts_they_lack() -> None:
    """Two escape rings of 10 minutes with one ring on hand, and a latch of 5; the bench has 20 minutes a day."""
    mends = mends_ahead(GEAR, OUTFIT, STOCK)
    assert OUTFIT.bench_minutes == 20
    assert mends.minutes == 25
    assert dict(mends.parts) == {"ring": 2, "latch": 1}
    assert dict(mends.lacking) == {"ring": 1}
    assert {(job.string, place) for job in mends.jobs for place in job.places} == {
        ("Nine Foot", 3), ("Nine Foot", 4), ("Ledge", 30),
    }  # fmt: skip


def test_traps_without_a_tag_are_told_by_string_while_they_are_at_hand() -> None:
    assert [(some.string, len(some.places)) for some in untagged(GEAR)] == [("The Hump", 40), ("Ledge", 32)]
    assert untagged(boat(FISHING)) == ()


# ---- trips


def test_two_deck_loads_of_47_set_94_traps_each_once() -> None:
    found = plan(boat())
    assert [trip.traps for trip in found.trips.trips] == [47, 47]
    assert carried(found) == places_of(ready_to_set(boat(), OUTFIT))
    assert found.left == ()


def test_no_trip_goes_before_the_first_day_to_set_on() -> None:
    assert plan(boat()).not_before == SET_FROM


def test_the_laws_limit_leaves_the_last_traps_ashore() -> None:
    found = plan(boat(), limit=60)
    assert found.trips.traps == 60
    assert [(some.string, some.places[0], some.places[-1]) for some in found.left] == [("Ledge", 7, 40)]
    assert carried(found) | places_of(found.left) == places_of(ready_to_set(boat(), OUTFIT))


def test_traps_that_fish_or_are_missing_count_against_the_limit() -> None:
    found = plan(boat(Ledge_1=FISHING, Ledge_2=MISSING), limit=60)
    assert (found.out, found.trips.traps) == (2, 58)
    gone = boat()
    ledge = replace(gone.strings["Ledge"], gone=(TrapState(1, MISSING),))
    assert plan(replace(gone, strings={**gone.strings, "Ledge": ledge}), limit=60).trips.traps == 59


def test_with_the_limit_reached_no_trip_sets_any() -> None:
    found = plan(boat(FISHING, Ledge_1=ASHORE), limit=60)
    assert (found.trips.trips, found.left) == ((), (TrapsOf("Ledge", (1,)),))


@given(st.integers(1, 120), st.integers(0, 120))
def test_no_trip_holds_more_than_the_deck_and_all_trips_no_more_than_the_limit(deck: int, limit: int) -> None:
    found = plan(boat(), deck=deck, limit=limit)
    assert all(trip.traps <= deck for trip in found.trips.trips)
    assert found.trips.traps == len(carried(found)) == min(limit, 94)


def test_an_opening_stays_the_same_from_its_first_day_in_sight_to_its_last() -> None:
    days = [SET_FROM + timedelta(days=n) for n in range(-14, 15)]
    found = {opening_in_sight(STONE, day, sector="commercial", region="elsewhere") for day in days}
    assert len(found) == 1
