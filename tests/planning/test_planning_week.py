"""The week's plan beside a call: it follows the call and the skipper, and holds every limit. INVENTED DATA."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import timedelta
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from law.world import World
from plan_scenes import FIVE_TOML, SOAKED_DAYS, TERMS, TODAY, Planned, day, planned, sea_of
from soakbell.fishery.rules import Rule
from soakbell.gear.log import BaitBought, BaitCounted, Barred, Pinned
from soakbell.planning import week_plan
from soakbell.planning.call import CallWord
from soakbell.planning.week import DayKind, HeldBy
from soakbell.planning.week_plan import LEAST_CHANCE
from soakbell.store.engine import Store, open_store
from soakbell.store.upgrade import migrate

Make = Callable[..., Planned]
SLOW_TOML = FIVE_TOML.replace("haul_min_per_trap = 1.5", "haul_min_per_trap = 6.0")
"""No day carries all five strings, so the call leaves some out."""


def fewer_windows(monkeypatch: pytest.MonkeyPatch, *, spared_share: float) -> None:
    """Trips for several strings of later days have their windows in this share of the drawn weather only."""
    whole = week_plan.fit_chances

    def fewer(places: list[object], *given: object, **asked: float) -> object:
        told = whole(places, *given, **asked)  # type: ignore[arg-type]
        if len(places) < 3:  # the harbor and one string
            return told
        lost = np.arange(len(told.window_min)) >= spared_share * len(told.window_min)
        window_min = np.where(lost[:, None], 0.0, told.window_min)
        fit = window_min >= asked["needed_min"]
        days = tuple(replace(day, chance=float(fit[:, n].mean())) for n, day in enumerate(told.days))
        return replace(told, days=days, window_min=window_min, fit=fit)

    monkeypatch.setattr(week_plan, "fit_chances", fewer)


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
    """The wind rises by ten, so it takes near strings for far ones, but none that is barred or unripe."""

    def free(soaked_days: dict[str, float], *told: tuple[Barred, float]) -> set[str]:
        made = make(sea_of(soaked_days, *told, wind_kt=lambda hour: 7 if hour < 10 else 22), price_usd_lb=200.0)
        return set() if made.week.free is None else set(made.week.free.strings)

    assert free(SOAKED_DAYS) == {"Nine Foot", "Grassy Edge", "Outer Bar"}
    assert "Nine Foot" not in free(SOAKED_DAYS, (Barred(TODAY, "Nine Foot"), 0.5))
    assert "Nine Foot" not in free(SOAKED_DAYS | {"Nine Foot": 4})


def test_a_free_choice_is_never_worth_less_than_staying_in(make: Make) -> None:
    for cost_usd in (2000.0, 5000.0):
        week = make(trip_cost_usd=cost_usd).week
        assert week.waiting is not None
        assert week.free is not None
        assert week.free.more_usd >= -week.waiting.usd > 5


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
    """Of strings that aren't ripe in these days, so that each chance is that of the likeliest string."""
    fresh = dict.fromkeys(SOAKED_DAYS, 0.5)
    weeks = [make(sea_of(fresh, wind_kt=wind), horizon_days=4).week for wind in (5, 9, 12, 14)]
    for calmer, windier in pairwise(weeks):
        assert not any(plan.strings for plan in (*calmer.days, *windier.days))
        assert all(other.chance <= one.chance for one, other in zip(calmer.days, windier.days, strict=True))
    assert weeks[-1].days[1].chance < weeks[0].days[1].chance


def test_days_past_the_forecast_are_as_likely_as_usual(make: Make) -> None:
    told = make(usual_fit_chance=(0.0,) * 12)
    assert all(not plan.strings for plan in told.week.days[TERMS.forecast_days :])
    assert {plan.kind for plan in told.week.days[TERMS.forecast_days :]} <= {DayKind.USUAL, DayKind.CREW_OFF}


def test_the_same_morning_gives_the_same_week(make: Make) -> None:
    assert make().week.days == make().week.days


def test_the_chance_of_a_trip_is_that_of_all_its_places_for_as_long_as_it_takes(make: Make) -> None:
    """No trip is told that fits less often than a skipper gets ready for, nor one longer than its windows."""
    trips = 0
    for wind in (6, 9, 11, 12):
        told = make(sea_of(dict.fromkeys(SOAKED_DAYS, 4), wind_kt=wind), price_usd_lb=40.0)
        idle = {
            plan.day: plan.chance for plan in make(sea_of(dict.fromkeys(SOAKED_DAYS, 1), wind_kt=wind)).week.days
        }
        for plan in told.week.days[1:]:
            if plan.strings:
                trips += 1
                assert plan.chance >= LEAST_CHANCE
                assert plan.chance <= idle[plan.day] + 0.25
    assert trips > 2


def test_strings_far_past_their_ceiling_are_planned_for_the_first_likely_day(make: Make) -> None:
    for soaked_days in (20, 34, 45):
        told = make(sea_of(dict.fromkeys(SOAKED_DAYS, soaked_days)))
        assert told.call.window is not None
        assert {past.string for past in told.week.past} == set(SOAKED_DAYS)
        assert told.week.waiting is not None
        assert told.week.waiting.usd > 0


def test_a_string_that_the_call_leaves_out_is_told_so(make: Make) -> None:
    blows_from_noon = sea_of(
        dict.fromkeys(SOAKED_DAYS, 12), settings_toml=SLOW_TOML, wind_kt=lambda hour: 7.0 if hour < 10 else 30.0
    )
    told = make(blows_from_noon, usual_fit_chance=(0.0,) * 12)
    left = [plan for plan in told.week.strings if plan.string not in told.strings[TODAY]]
    assert left
    assert all(plan.held is not None for plan in left)
    assert {plan.held.by for plan in left if plan.held} == {HeldBy.NOT_CALLED}


def test_a_pin_of_today_that_the_call_leaves_out_is_not_called_the_skippers_bar(make: Make) -> None:
    pins = tuple((Pinned(TODAY, name), 0.5) for name in SOAKED_DAYS)
    told = make(sea_of(SOAKED_DAYS, *pins, settings_toml=SLOW_TOML))
    unmet = {unmet.pin.string: unmet.held.by for unmet in told.week.pins_not_met}
    assert set(unmet) == set(SOAKED_DAYS) - set(told.strings[TODAY]) != set()
    assert set(unmet.values()) == {HeldBy.NOT_CALLED}


def test_a_day_that_the_skipper_barred_is_told_as_his_own_choice(make: Make) -> None:
    told = make(sea_of(SOAKED_DAYS, (Barred(day(2)), 0.5), (Pinned(day(2), "The Hump"), 0.4)))
    (unmet,) = told.week.pins_not_met
    assert unmet.held.by is HeldBy.BARRED


def test_worths_are_weighed_by_the_chance_of_the_whole_trip(make: Make, monkeypatch: pytest.MonkeyPatch) -> None:
    """Staying in is worth less the less often the trip after it is fit, be each string's own chance as it was."""
    before = make(price_usd_lb=40.0).week.waiting
    fewer_windows(monkeypatch, spared_share=0.6)
    after = make(price_usd_lb=40.0).week.waiting
    assert before is not None
    assert after is not None
    assert after.next_day == before.next_day, "it is the same plan, told by another chance"
    assert after.usd > before.usd + 10


def test_the_plan_that_stays_in_makes_no_trip_that_its_places_do_not_carry(
    make: Make, monkeypatch: pytest.MonkeyPatch
) -> None:
    """None for several strings is carried on any later day, and for one alone no trip pays."""
    before = make(trip_cost_usd=200.0).week
    assert before.waiting is not None
    assert before.waiting.next_day is not None
    fewer_windows(monkeypatch, spared_share=0.0)
    after = make(trip_cost_usd=200.0).week
    assert after.waiting is not None
    assert after.waiting.next_day is None
    assert not after.waiting.proven


def test_a_string_that_the_plan_leaves_past_its_ceiling_is_told(make: Make) -> None:
    told = make(sea_of(wind_kt=17), usual_fit_chance=(0.0,) * 12)
    assert not told.strings
    past = {past.string: past for past in told.week.past}
    assert set(past) == {"Grassy Edge", "Outer Bar", "Ledge"}, "the others have time until then"
    assert all(not one.already and one.day is None for one in past.values())
    assert past["Ledge"].then_days == pytest.approx(12 + 7, abs=0.3)


def test_a_plan_that_its_places_carry_is_solved_once(make: Make, monkeypatch: pytest.MonkeyPatch) -> None:
    solved = []
    whole = week_plan.Solved

    def counted(problem: object) -> object:
        solved.append(problem)
        return whole(problem)  # type: ignore[arg-type]

    monkeypatch.setattr(week_plan, "Solved", counted)
    waits = make(sea_of(wind_kt=17)).week
    assert waits.waiting is None
    assert len(solved) == 1, "nothing is too long for its places, so the plan is the first one"


# ---- bait, season, soak


def test_without_bait_left_nothing_more_is_planned(make: Make) -> None:
    told = make(sea_of(SOAKED_DAYS, (BaitBought("mullet heads", 2.0), 1)))
    assert set(told.strings) == {TODAY}
    assert told.of("The Hump").held.by is HeldBy.BAIT
    assert told.week.bait_holds


def test_the_plan_that_stays_in_has_no_bait_made_up_for_the_called_trip(make: Make) -> None:
    told = make(sea_of(SOAKED_DAYS, (BaitCounted("mullet heads", 0.0), 0.5)))
    assert TODAY in told.strings, "what the called trip lacks is told with the gear"
    assert told.week.waiting is not None
    assert told.week.waiting.next_day is None
    with_bait = make(sea_of(SOAKED_DAYS, (BaitCounted("mullet heads", 9.0), 0.5))).week.waiting
    assert with_bait is not None
    assert with_bait.next_day is not None


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


def test_traps_are_pulled_before_the_soak_that_the_law_allows_whatever_a_trip_costs(make: Make) -> None:
    """After 12 days of an invented 15, and no trip today. What the skipper settled for himself is only money."""
    sea = sea_of(dict.fromkeys(SOAKED_DAYS, 12), (Barred(TODAY), 0.5))
    assert not make(sea, trip_cost_usd=3000.0).strings
    longest = Rule("soak", 15.0 * 24, source="invented", checked=TODAY, sure="read")
    settings = replace(sea.settings, fishery=replace(sea.settings.fishery, max_soak_h=(longest,)))
    told = make(replace(sea, settings=settings), trip_cost_usd=3000.0)
    first = {name: (min(at for at, of in told.strings.items() if name in of) - TODAY).days for name in SOAKED_DAYS}
    assert max(first.values()) <= 2
    assert not told.week.past


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
