"""The week's plan beside a call: it follows the call and the skipper, and holds every limit. INVENTED DATA."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import timedelta
from itertools import pairwise
from pathlib import Path

import pytest

from law.world import World
from plan_scenes import SOAKED_DAYS, TERMS, TODAY, Planned, day, planned, sea_of
from soakbell.gear.log import BaitBought, Barred, Pinned
from soakbell.planning.call import CallWord
from soakbell.planning.week import DayKind, HeldBy
from soakbell.planning.week_plan import LEAST_CHANCE
from soakbell.store.engine import Store, open_store
from soakbell.store.upgrade import migrate

Make = Callable[..., Planned]


@pytest.fixture
def make(tmp_path: Path) -> Iterator[Make]:
    stores: list[Store] = []

    def made(sea: World | None = None, **terms: object) -> Planned:
        store = open_store(f"sqlite:///{tmp_path / f'{len(stores)}.db'}")
        migrate(store)
        stores.append(store)
        return planned(store, sea or sea_of(), replace(TERMS, **terms))  # type: ignore[arg-type]

    yield made
    for store in stores:
        store.close()


# ---- today is the call's


def test_on_pull_today_holds_the_called_strings_and_no_others(make: Make) -> None:
    told = make()
    assert told.call.word is CallWord.PULL
    assert told.call.window is not None
    assert told.strings[TODAY] == tuple(pull.string for pull in told.call.window.pulls)


def test_on_wait_nothing_is_planned_for_today(make: Make) -> None:
    for sea in (sea_of(wind_kt=17), sea_of(dict.fromkeys(SOAKED_DAYS, 4))):
        told = make(sea)
        assert told.call.word is CallWord.WAIT
        assert TODAY not in told.strings
        assert told.week.waiting is None


def test_a_call_that_the_plan_would_not_make_is_followed_all_the_same(make: Make) -> None:
    """By a trip that costs more than all that lies in the traps."""
    told = make(trip_cost_usd=5000.0)
    assert set(told.strings) == {TODAY}
    assert told.week.waiting is not None
    assert told.week.waiting.usd < 0


def test_a_free_choice_is_told_where_it_is_worth_more(make: Make) -> None:
    free = make(trip_cost_usd=5000.0).week.free
    assert free is not None
    assert free.strings == ()
    assert free.more_usd > 1000


def test_a_free_choice_never_names_a_string_that_may_not_be_pulled_today(make: Make) -> None:
    """The Hump isn't ripe; what is barred is the skipper's."""
    for sea in (sea_of(), sea_of(SOAKED_DAYS, (Barred(TODAY, "Ledge"), 0.5))):
        free = make(sea, price_usd_lb=200.0).week.free
        assert free is None or not {"The Hump"} & set(free.strings)
        assert free is None or "Ledge" not in free.strings or sea == sea_of()


def test_a_bag_limit_and_a_full_deck_leave_the_call_as_it_is(make: Make) -> None:
    told = make(deck_traps=40)
    assert told.call.window is not None
    assert len(told.strings[TODAY]) == len(told.call.window.pulls) > 1
    traps = {"Nine Foot": 24, "Grassy Edge": 30, "Outer Bar": 36, "The Hump": 28, "Ledge": 40}
    later = [strings for at, strings in told.strings.items() if at != TODAY]
    assert all(sum(traps[name] for name in strings) <= 40 for strings in later)


# ---- the skipper's own choice


def test_a_barred_day_and_a_day_off_hold_no_trip(make: Make) -> None:
    young = dict.fromkeys(SOAKED_DAYS, 4)
    free = make(sea_of(young))
    first = min(free.strings)
    barred = make(sea_of(young, (Barred(first), 0.5)))
    assert first not in barred.strings
    assert {plan.day: plan.kind for plan in barred.week.days}[first] is DayKind.BARRED
    off = make(sea_of(young), crew_days_off=frozenset({first.weekday()}))
    assert first not in off.strings
    assert {plan.day: plan.kind for plan in off.week.days}[first] is DayKind.CREW_OFF


def test_a_pinned_string_is_planned_for_its_day(make: Make) -> None:
    told = make(sea_of(SOAKED_DAYS, (Pinned(day(2), "The Hump"), 0.5)))
    assert "The Hump" in told.strings[day(2)]
    assert told.of("The Hump").pinned
    assert not told.week.pins_not_met


def test_a_pin_that_cannot_be_met_is_told(make: Make) -> None:
    told = make(sea_of(SOAKED_DAYS, (Pinned(day(5), "The Hump"), 0.5)))
    assert day(5).weekday() in TERMS.crew_days_off
    (unmet,) = told.week.pins_not_met
    assert (unmet.pin.string, unmet.pin.day) == ("The Hump", day(5))
    assert unmet.held.by is HeldBy.NO_TRIPS


# ---- weather


def test_a_day_that_no_forecast_can_make_fit_holds_no_trip(make: Make) -> None:
    told = make(sea_of(wind_kt=17))
    for plan in told.week.days[1 : TERMS.forecast_days]:
        assert plan.chance < 0.05
        assert not plan.strings


def test_where_no_fit_day_comes_before_the_ceiling_the_risk_is_told(make: Make) -> None:
    risks = {risk.string: risk for risk in make(sea_of(wind_kt=17)).week.risks}
    assert risks["Outer Bar"].chance == 1
    assert risks["Outer Bar"].ceiling_on <= day(6)
    calm = {risk.string: risk for risk in make().week.risks}
    assert calm["Outer Bar"].chance < 0.05


def test_more_wind_never_makes_a_forecast_day_likelier(make: Make) -> None:
    weeks = [make(sea_of(dict.fromkeys(SOAKED_DAYS, 4), wind_kt=wind)).week for wind in (5, 9, 12, 14)]
    for calmer, windier in pairwise(weeks):
        for one, other in zip(calmer.days, windier.days, strict=True):
            assert other.chance <= one.chance or one.strings != other.strings


def test_days_past_the_forecast_are_as_likely_as_usual(make: Make) -> None:
    told = make(usual_fit_chance=(0.0,) * 12)
    assert all(not plan.strings for plan in told.week.days[TERMS.forecast_days :])
    assert {plan.kind for plan in told.week.days[TERMS.forecast_days :]} <= {DayKind.USUAL, DayKind.CREW_OFF}


def test_the_same_morning_gives_the_same_week(make: Make) -> None:
    assert make().week.days == make().week.days


def test_the_chance_of_a_trip_is_that_of_all_its_places_for_as_long_as_it_takes(make: Make) -> None:
    """No trip is told that fits less often than a skipper gets ready for, nor one longer than its windows."""
    for wind in (6, 9, 11, 12):
        told = make(sea_of(dict.fromkeys(SOAKED_DAYS, 4), wind_kt=wind), price_usd_lb=40.0)
        idle = {
            plan.day: plan.chance for plan in make(sea_of(dict.fromkeys(SOAKED_DAYS, 1), wind_kt=wind)).week.days
        }
        for plan in told.week.days[1:]:
            if plan.strings:
                assert plan.chance >= LEAST_CHANCE
                assert plan.chance <= idle[plan.day] + 0.25


def test_strings_far_past_their_ceiling_are_planned_for_the_first_likely_day(make: Make) -> None:
    for soaked_days in (20, 34, 45):
        told = make(sea_of(dict.fromkeys(SOAKED_DAYS, soaked_days)))
        assert told.call.window is not None
        assert {past.string for past in told.week.past} == set(SOAKED_DAYS)
        assert told.week.waiting is not None
        assert told.week.waiting.usd > 0


def test_a_string_that_the_call_leaves_out_is_told_so(make: Make) -> None:
    told = make(sea_of(dict.fromkeys(SOAKED_DAYS, 12)))
    called = told.strings[TODAY]
    for plan in told.week.strings:
        if plan.string not in called and plan.held is not None:
            assert plan.held.by is not HeldBy.WEATHER


def test_a_pin_of_today_that_the_call_leaves_out_is_not_called_the_skippers_bar(make: Make) -> None:
    told = make(sea_of(SOAKED_DAYS, (Pinned(TODAY, "The Hump"), 0.5)))
    for unmet in told.week.pins_not_met:
        assert unmet.held.by is HeldBy.NOT_CALLED


# ---- bait, season, soak


def test_without_bait_left_nothing_more_is_planned(make: Make) -> None:
    told = make(sea_of(SOAKED_DAYS, (BaitBought("mullet heads", 2.0), 1)))
    assert set(told.strings) == {TODAY}
    assert told.of("The Hump").held.by is HeldBy.BAIT
    assert told.week.bait_holds


def test_bait_that_the_log_never_told_of_holds_nothing_back(make: Make) -> None:
    assert not make().week.bait_holds


def test_no_string_is_planned_below_its_floor(make: Make) -> None:
    told = make(sea_of(dict.fromkeys(SOAKED_DAYS, 2)), price_usd_lb=40.0)
    floors = {"Nine Foot": 5, "Grassy Edge": 5, "Outer Bar": 6, "The Hump": 6, "Ledge": 6}
    pulls = [(name, at) for at, strings in told.strings.items() for name in strings]
    assert pulls
    assert all((at - TODAY).days + 2.2 >= floors[name] for name, at in pulls)


def test_a_string_that_is_not_ripe_in_these_days_is_held_by_its_soak(make: Make) -> None:
    told = make(sea_of(dict.fromkeys(SOAKED_DAYS, 1)), horizon_days=4)
    assert not told.strings
    assert {plan.held.by for plan in told.week.strings if plan.held} == {HeldBy.SOAK}


def test_what_is_told_of_a_day_adds_up(make: Make) -> None:
    told = make(price_usd_lb=20.0)
    today = told.week.days[0]
    traps = {"Nine Foot": 24, "Grassy Edge": 30, "Outer Bar": 36, "The Hump": 28, "Ledge": 40}
    called = sum(traps[name] for name in today.strings)
    bait_and_wear = called * (0.025 * TERMS.bait_usd_a_box + TERMS.wear_usd_a_trap)
    assert today.worth_usd == pytest.approx(20.0 * today.lb - bait_and_wear - TERMS.trip_cost_usd)
    assert today.lb_low < today.lb < today.lb_high


def test_the_next_best_plan_is_never_worth_more(make: Make) -> None:
    told = make()
    assert all(plan.loses_usd >= 0 for plan in told.week.strings if plan.loses_usd is not None)
    assert told.week.short_share == 0
    assert all(plan.next_day != plan.day for plan in told.week.strings if plan.day is not None)


def test_the_plan_looks_as_far_ahead_as_was_settled(make: Make) -> None:
    told = make(horizon_days=12)
    assert [plan.day for plan in told.week.days] == [TODAY + timedelta(days=n) for n in range(12)]
