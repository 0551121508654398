"""Trips, their legs and the departures that fit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta
from itertools import combinations, pairwise, permutations, product

import numpy as np
import pytest

from boats import (
    GREBE,
    LEDGE,
    NINE_FOOT,
    NOTCH_CREEK,
    OUTER_BAR,
    SUNRISE,
    SUNSET,
    fit_but_at,
    light,
    situation,
    soaked,
)
from law.world import settings_from
from plan_scenes import FIVE_TOML
from soakbell.gear.strings import Mark, TrapString
from soakbell.planning.distances import distance_nmi
from soakbell.planning.trips import (
    HARBOR,
    fit_departures,
    mark_of,
    part_of,
    plan_trip,
    possible_departures,
    stretches,
    visited,
)
from soakbell.planning.visit_order import Runs, run_of_way, visit_order
from weather import HOURS, conditions, grid, zone_text

TRAPS = {"Nine Foot": 24, "Outer Bar": 30, "Ledge": 40}


@pytest.mark.parametrize(
    ("a", "b", "length_m", "tolerance_m"),
    [
        # G1, G3, G4: the test data of GeographicLib's own Python suite, test_geodesic.py.
        ((40.6, -73.8), (49.01666667, 2.55), 5853226, 0.5),
        ((35.60777, -139.44815), (-11.17491, -69.95921), 8935244.5604818305, 1),
        ((0, 179), (0, -179), 222639, 0.5),
    ],
)
def test_distances_agree_with_published_geodesics(
    a: tuple[float, float], b: tuple[float, float], length_m: float, tolerance_m: float
) -> None:
    assert distance_nmi(Mark(*a), Mark(*b)) * 1852 == pytest.approx(length_m, abs=tolerance_m)


def test_a_trip_is_a_run_a_haul_and_a_run_home_with_the_margin() -> None:
    trip = plan_trip(GREBE, NOTCH_CREEK, [NINE_FOOT], TRAPS)
    out, haul, home = trip.legs
    # 3.0 nmi at 15 kt is 12 min; 24 traps at 2.5 min is 60 min; 3.6 nmi home is 14.4 min, then 30 min margin.
    assert out.ends_min == pytest.approx(12, abs=0.1)
    assert haul.ends_min - haul.starts_min == 60
    assert trip.distance_nmi == pytest.approx(3.0 + 0.6 + 3.6, abs=0.02)
    assert home.ends_min - home.starts_min == pytest.approx(14.4 + 30, abs=0.1)
    assert (out.places, haul.places, home.places) == ((HARBOR, "Nine Foot"), ("Nine Foot",), ("Nine Foot", HARBOR))


def test_places_lie_evenly_between_the_marks_of_a_string() -> None:
    assert mark_of(NINE_FOOT, 1) == NINE_FOOT.start
    assert mark_of(NINE_FOOT, 24) == NINE_FOOT.end
    assert mark_of(NINE_FOOT, 7).lat_deg == pytest.approx(30.00 - 0.01 * 6 / 23, abs=1e-12)
    alone = replace(NINE_FOOT, traps=1)
    assert mark_of(alone, 1) == alone.start
    part = part_of(NINE_FOOT, (9, 7, 8))
    assert (part.start, part.end) == (mark_of(NINE_FOOT, 7), mark_of(NINE_FOOT, 9))


def test_a_string_with_few_traps_takes_at_least_the_run_along_it() -> None:
    slow = replace(GREBE, cruise_kt=3)
    haul = plan_trip(slow, NOTCH_CREEK, [NINE_FOOT], {"Nine Foot": 1}).hauls[0]
    along_min = 60 * distance_nmi(NINE_FOOT.start, NINE_FOOT.end) / 3
    assert along_min > slow.haul_min_per_trap
    assert haul.ends_min - haul.starts_min == pytest.approx(along_min)


def test_legs_follow_each_other_without_a_gap() -> None:
    trip = plan_trip(GREBE, NOTCH_CREEK, [NINE_FOOT, OUTER_BAR, LEDGE], TRAPS)
    assert trip.legs[0].starts_min == 0
    assert all(a.ends_min == b.starts_min for a, b in pairwise(trip.legs))


def test_a_string_is_hauled_from_whichever_mark_makes_the_trip_shorter() -> None:
    far_first = plan_trip(GREBE, NOTCH_CREEK, [LEDGE], TRAPS)
    turned = plan_trip(
        GREBE, NOTCH_CREEK, [type(LEDGE)(**{**LEDGE.__dict__, "start": LEDGE.end, "end": LEDGE.start})], TRAPS
    )
    assert far_first.distance_nmi == pytest.approx(turned.distance_nmi)


def test_the_order_in_which_strings_are_named_does_not_matter() -> None:
    there = plan_trip(GREBE, NOTCH_CREEK, [NINE_FOOT, OUTER_BAR, LEDGE], TRAPS)
    back = plan_trip(GREBE, NOTCH_CREEK, [LEDGE, OUTER_BAR, NINE_FOOT], TRAPS)
    assert there == back


def test_strings_are_named_in_the_order_in_which_their_trip_hauls_them() -> None:
    trip = plan_trip(GREBE, NOTCH_CREEK, [LEDGE, NINE_FOOT, OUTER_BAR], TRAPS)
    assert visited(NOTCH_CREEK, [LEDGE, NINE_FOOT, OUTER_BAR]) == tuple(leg.string for leg in trip.hauls)


def test_a_plan_visits_every_load_in_the_order_and_direction_of_the_call() -> None:
    """However the plan numbers its strings: a way and its reverse are equally long, but not their legal hours."""
    strings, harbor = settings_from(FIVE_TOML).trap_strings, NOTCH_CREEK
    for numbered in (strings, strings[::-1], (*strings[2:], *strings[:2])):
        runs = Runs(harbor, numbered)
        for load in (load for size in range(1, 6) for load in combinations(range(5), size)):
            trip = plan_trip(GREBE, harbor, [numbered[n] for n in load], dict.fromkeys(runs.names, 1))
            order = visit_order(runs, load)
            assert [visit.string for visit in order.visits] == [haul.string for haul in trip.hauls]
            run_out_nmi = distance_nmi(harbor, order.visits[0].first)
            assert trip.legs[0].ends_min == pytest.approx(60 * run_out_nmi / GREBE.cruise_kt)


def scattered(seed: int, strings: int) -> list[TrapString]:
    """Anywhere within some 9 nmi of Notch Creek, up to 9 nmi long."""
    marks = NOTCH_CREEK.lat_deg, NOTCH_CREEK.lon_deg
    ends = np.random.default_rng(seed).uniform(-0.15, 0.15, (strings, 2, 2)) + marks
    return [
        replace(LEDGE, name=f"String {n:02}", start=Mark(*of[0]), end=Mark(*of[1])) for n, of in enumerate(ends)
    ]


def hours_of(strings: Sequence[TrapString]) -> float:
    """Of a trip for them, but for the hauling."""
    trip = plan_trip(GREBE, NOTCH_CREEK, strings, {s.name: 0 for s in strings})
    return (trip.duration_min - sum(haul.ends_min - haul.starts_min for haul in trip.hauls)) / 60


def run_h(nmi: float) -> float:
    return nmi / GREBE.cruise_kt + GREBE.trip_margin_min / 60


@pytest.mark.parametrize("seed", range(3))
def test_no_order_of_six_strings_makes_a_shorter_trip(seed: int) -> None:
    strings = scattered(seed, 6)
    runs = Runs(NOTCH_CREEK, strings)
    ends = [((2 * n + 1, 2 * n + 2), (2 * n + 2, 2 * n + 1)) for n in range(6)]
    ways = (way for order in permutations(ends) for way in product(*order))
    assert hours_of(strings) == pytest.approx(run_h(min(run_of_way(runs, way) for way in ways)))


@pytest.mark.parametrize(("strings", "seed"), [(7, 0), (8, 1), (10, 2), *((12, seed) for seed in range(20, 30))])
def test_a_trip_is_never_longer_than_one_that_always_goes_on_to_the_nearest_string(
    strings: int, seed: int
) -> None:
    left, at, nmi = scattered(seed, strings), NOTCH_CREEK, 0.0
    found = hours_of(left)
    while left:
        ways = [(distance_nmi(at, a), s, b) for s in left for a, b in ((s.start, s.end), (s.end, s.start))]
        reach_nmi, nearest, at = min(ways, key=lambda way: way[0])
        left.remove(nearest)
        nmi += reach_nmi
    assert found <= run_h(nmi + distance_nmi(at, NOTCH_CREEK)) + 1e-9


def test_departures_keep_the_hauling_within_the_legal_hours() -> None:
    trip = plan_trip(GREBE, NOTCH_CREEK, [NINE_FOOT], TRAPS)
    departures = possible_departures(trip, light().bounds)
    assert departures[0] == SUNRISE.replace(minute=15)  # 12:15 reaches the string at 12:27, after sunrise at 12:18
    first, last = departures[0], departures[-1]
    assert first + timedelta(minutes=trip.hauls[0].starts_min) >= SUNRISE
    assert last + timedelta(minutes=trip.hauls[-1].ends_min) <= SUNSET
    assert all(b - a == timedelta(minutes=15) for a, b in pairwise(departures))


def test_no_departure_lies_past_the_hour_at_which_the_data_grow_stale() -> None:
    """A1: the age counts when the boat leaves."""
    trip = plan_trip(GREBE, NOTCH_CREEK, [NINE_FOOT], TRAPS)
    rules = light(fresh_h=5)
    assert possible_departures(trip, rules.bounds)[-1] <= rules.bounds.fresh_until
    assert possible_departures(trip, light(fresh_h=1).bounds) == ()


@pytest.mark.parametrize("tight", ["none", "out_from", "home_by", "haul_from", "haul_to", "fresh_until"])
def test_departures_are_all_quarter_hours_that_light_law_and_age_leave_and_no_other(tight: str) -> None:
    """Each bound in turn lies so that 15:15 UTC just keeps it, or just doesn't: at its age data are stale."""
    trip = plan_trip(GREBE, NOTCH_CREEK, [NINE_FOOT, OUTER_BAR], TRAPS)
    first_min, last_min, home_min = (
        timedelta(minutes=at) for at in (trip.hauls[0].starts_min, trip.hauls[-1].ends_min, trip.duration_min)
    )
    at = HOURS[10].to_pydatetime() + timedelta(minutes=15)
    bounds = {"out_from": at, "home_by": at + home_min, "haul_from": at + first_min, "haul_to": at + last_min}
    bounds = {tight: (bounds | {"fresh_until": at})[tight]} if tight != "none" else {}
    day = replace(light(fresh_h=20).bounds, **bounds)
    quarters = [HOURS[0].to_pydatetime() + n * timedelta(minutes=15) for n in range(4 * len(HOURS))]
    assert possible_departures(trip, day) == tuple(
        leaves
        for leaves in quarters
        if day.out_from <= leaves < day.fresh_until
        and leaves + home_min <= day.home_by
        and day.haul_from <= leaves + first_min
        and leaves + last_min <= day.haul_to
    )


def test_a_trip_longer_than_the_day_has_no_departure() -> None:
    trip = plan_trip(GREBE, NOTCH_CREEK, [LEDGE], {"Ledge": 400})
    assert possible_departures(trip, light().bounds) == ()


def departures_in(seas: object, *, break_margin_h: float = 0, hopeful: bool = False) -> list[int]:
    """UTC hours at which some trip to Nine Foot may leave."""
    at_sea = situation(soaked(NINE_FOOT, 7), seas=seas)  # type: ignore[arg-type]
    trip = plan_trip(GREBE, NOTCH_CREEK, [NINE_FOOT], TRAPS)
    found = fit_departures(
        trip,
        possible_departures(trip, light(fresh_h=20).bounds),
        at_sea.places,
        break_margin_h=break_margin_h,
        hopeful=hopeful,
    )
    return sorted({at.hour for at in found})


def test_a_windy_hour_forbids_every_departure_whose_trip_touches_it() -> None:
    wind = [10.0] * 48
    wind[11] = 16.0  # 16:00 to 17:00 UTC
    # The trip takes 116.5 min: leaving at 14:03 or before is back by 16:00; 17:00 or after starts clear of it.
    assert departures_in(conditions(zone_text(wind_kt=wind), grid())) == [12, 13, 14, 17, 18, 19, 20, 21]
    wind[11] = 15.0
    assert 15 in departures_in(conditions(zone_text(wind_kt=wind), grid()))


@pytest.mark.parametrize("where", [HARBOR, "Nine Foot", "Outer Bar"])
@pytest.mark.parametrize("break_margin_h", [0, 1.5])
def test_a_bad_hour_at_one_place_forbids_the_departures_that_meet_it_there_and_no_other(
    where: str, break_margin_h: float
) -> None:
    """Each hour in turn, against the legs of every departure one by one."""
    trip = plan_trip(GREBE, NOTCH_CREEK, [NINE_FOOT, OUTER_BAR], TRAPS)
    departures = possible_departures(trip, light(fresh_h=20).bounds)
    calm = situation(soaked(NINE_FOOT, 7), soaked(OUTER_BAR, 7)).places
    asked = [(leg.starts_min, leg.ends_min) for leg in trip.legs if where in leg.places]
    if break_margin_h:
        asked.append((trip.duration_min, trip.duration_min + 60 * break_margin_h))
    for row, bad in enumerate(HOURS):
        places = calm | {where: fit_but_at(row)}
        assert fit_departures(trip, departures, places, break_margin_h=break_margin_h) == tuple(
            leaves
            for leaves in departures
            if not any(
                leaves + timedelta(minutes=begins) < bad + timedelta(hours=1)
                and leaves + timedelta(minutes=ends) > bad
                for begins, ends in asked
            )
        )


def test_a_forecast_that_breaks_soon_after_landing_narrows_the_window() -> None:
    wind = [10.0 if h < 13 else 18.0 for h in range(48)]  # from 18:00 UTC
    seas = conditions(zone_text(wind_kt=wind), grid())
    assert max(departures_in(seas)) == 16
    assert max(departures_in(seas, break_margin_h=2)) == 14


def test_after_landing_every_place_of_the_trip_is_asked_for_the_whole_margin() -> None:
    trip = plan_trip(GREBE, NOTCH_CREEK, [NINE_FOOT], TRAPS)
    home_min = trip.duration_min
    after = [(place, home_min, home_min + 90) for place in (HARBOR, "Nine Foot")]
    assert stretches(trip, 1.5)[-2:] == after
    assert len(stretches(trip, 1.5)) == len(stretches(trip)) + 2


def test_hours_beyond_the_table_are_never_fit() -> None:
    at_sea = situation(soaked(NINE_FOOT, 7))
    trip = plan_trip(GREBE, NOTCH_CREEK, [NINE_FOOT], TRAPS)
    late = (HOURS[-1].to_pydatetime() + timedelta(minutes=30),)
    assert fit_departures(trip, late, at_sea.places, break_margin_h=0) == ()
    first = (HOURS[0].to_pydatetime(),)
    assert fit_departures(trip, first, at_sea.places, break_margin_h=0) == first
    rough_at_first = dict.fromkeys(at_sea.places, fit_but_at(0))
    assert fit_departures(trip, first, rough_at_first, break_margin_h=0) == ()
    for early_min in (15, 120):
        early = (HOURS[0].to_pydatetime() - timedelta(minutes=early_min),)
        assert fit_departures(trip, early, at_sea.places, break_margin_h=0) == ()
    home_at_its_end = HOURS[-1].to_pydatetime() + timedelta(hours=1, minutes=-trip.duration_min)
    assert fit_departures(trip, (home_at_its_end,), at_sea.places, break_margin_h=0) == (home_at_its_end,)
    rough_at_last = dict.fromkeys(at_sea.places, fit_but_at(len(HOURS) - 1))
    assert fit_departures(trip, (home_at_its_end,), rough_at_last, break_margin_h=0) == ()
    home_past_it = home_at_its_end + timedelta(minutes=15)
    assert fit_departures(trip, (home_past_it,), at_sea.places, break_margin_h=0) == ()


def test_hoping_takes_the_unknown_for_fit_but_never_what_is_over_a_limit() -> None:
    blank = conditions(bars_known=False)
    assert departures_in(blank) == []
    assert departures_in(blank, hopeful=True)
    stormy = conditions(zone_text(wind_kt=40), bars_known=False)
    assert departures_in(stormy, hopeful=True) == []
