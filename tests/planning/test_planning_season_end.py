"""The dates of a season's end, and the odds of having every trap home by the deadline. Boats are invented."""

from __future__ import annotations

import dataclasses
import math
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import nbinom

from soakbell.fishery.rules import DateSpan, Order, Rule
from soakbell.gear.strings import Mark, TrapString
from soakbell.planning.season_end import (
    SeasonEnd,
    TakeUpOdds,
    TakeUpPlan,
    TakeUpTrip,
    TakeUpWay,
    likely_days,
    season_end,
    take_up_odds,
    weather_ahead,
)
from soakbell.planning.take_up_trips import TrapsOut, plan_trips
from soakbell.planning.trips import Boat
from soakbell.settings import load_fishery

FISHERIES = Path(__file__).parents[2] / "config" / "fisheries"
STONE = load_fishery(FISHERIES / "florida-stone-crab.toml")
BLUE = load_fishery(FISHERIES / "florida-blue-crab.toml")

FIRST = date(2027, 4, 1)
PATHS = 10_000


def trips(count: int, minutes: float = 240.0) -> TakeUpPlan:
    """Each with the one trap that the deck carries, so that it goes wholly or not at all."""
    way = TakeUpWay(np.zeros(count), np.zeros(count), a_trap_min=minutes, margin_min=0.0, deck_traps=1)
    return TakeUpPlan(tuple(TakeUpTrip((("Ledge", (n,)),), 1, minutes) for n in range(count)), way)


def odds(plan: TakeUpPlan, windows: np.ndarray, last: int, **options: float) -> TakeUpOdds:
    """With the deadline on the day of that number, the first being 0."""
    return take_up_odds(plan, windows, FIRST, FIRST + timedelta(days=last), **options)  # type: ignore[arg-type]


def even(chance: float, days: int = 45, *, seed: int = 1, correlation: float = 0.0) -> np.ndarray:
    return weather_ahead([chance] * days, window_min=360, correlation=correlation, paths=PATHS, seed=seed)


# ---- odds against closed forms


@pytest.mark.parametrize("chance", [0.2, 0.35, 0.5, 0.65, 0.9])
@pytest.mark.parametrize(("count", "days"), [(1, 2), (2, 5), (4, 8), (6, 15)])
def test_days_fit_by_themselves_give_the_negative_binomial(chance: float, count: int, days: int) -> None:
    """The days until the n-th success (Feller, Probability Theory, vol. 1, VI.8), within 3 standard errors."""
    found = odds(trips(count), even(chance, days, seed=20), last=days - 1).starts[0].chance
    expected = nbinom.cdf(days - count, count, chance)
    assert abs(found - expected) <= 3 * math.sqrt(expected * (1 - expected) / PATHS)


def test_the_day_by_which_half_are_done_is_that_of_the_negative_binomial() -> None:
    told = odds(trips(3), even(0.5), last=30).starts[0]
    half, most = (int(nbinom.ppf(share, 3, 0.5)) + 3 for share in (0.5, 0.9))
    assert told.half_by == FIRST + timedelta(days=half - 1)
    assert told.most_by == FIRST + timedelta(days=most - 1)


def test_the_days_to_start_by_are_those_of_the_negative_binomial() -> None:
    """With chances of 0.5 and 2 trips, 80, 95 and 99 % need so many days."""
    start_by = dict(odds(trips(2), even(0.5), last=39).start_by)
    for level in (0.80, 0.95, 0.99):
        needed = int(nbinom.ppf(level, 2, 0.5)) + 2
        assert start_by[level] == FIRST + timedelta(days=39 - needed + 1)


def test_the_day_by_which_each_trip_is_made_in_half_of_the_cases_is_that_of_the_negative_binomial() -> None:
    start = FIRST + timedelta(days=3)
    told = likely_days(trips(4), even(0.35), FIRST, start)
    needed = [int(nbinom.ppf(0.5, count, 0.35)) + count for count in (1, 2, 3, 4)]
    assert told == tuple(start + timedelta(days=days - 1) for days in needed)


def test_a_trip_that_half_of_the_cases_never_see_has_no_day() -> None:
    windows = np.array([[240.0, 240.0], [240.0, 0.0], [240.0, 0.0]])
    assert likely_days(trips(2), windows, FIRST, FIRST) == (FIRST, None)
    assert likely_days(trips(2), np.full((3, 2), 480.0), FIRST, FIRST, trips_a_day=2) == (FIRST, FIRST)


# ---- odds by hand


def test_two_trips_go_on_one_day_only_where_both_fit_its_window() -> None:
    windows = np.array([[500.0, 0.0], [499.0, 0.0], [480.0, 480.0]])
    done = odds(trips(2), windows, last=1, trips_a_day=2, unload_min_per_trap=20).done
    assert done[0].tolist() == pytest.approx([1 / 3, 2 / 3]), "240 + 20 + 240 min are 500"


def test_a_window_too_short_for_the_next_trip_is_waited_out() -> None:
    plan = trips(2)
    far = dataclasses.replace(plan.way, home_min=np.array([150.0, 0.0]), a_trap_min=0.0, margin_min=100.0)
    windows = np.array([[200.0, 400.0, 100.0, 0.0]])
    found = odds(dataclasses.replace(plan, way=far), windows, last=3)
    assert found.starts[0].half_by == date(2027, 4, 3)


def test_a_window_just_as_long_as_the_trip_carries_it_and_a_minute_less_does_not() -> None:
    assert odds(trips(1, 239.5), np.array([[240.0]]), last=0).starts[0].chance == 1
    assert odds(trips(1, 240.5), np.array([[240.0]]), last=0).starts[0].chance == 0


def test_unloading_takes_its_minutes_for_each_trap_of_a_load() -> None:
    """Loads of 2 traps: 2 x 100, then 2 x 15 at the dock, then 2 x 100 min."""
    way = dataclasses.replace(trips(4).way, a_trap_min=100.0, deck_traps=2)
    plan = TakeUpPlan((TakeUpTrip((("Ledge", (1, 2)),), 2, 200), TakeUpTrip((("Ledge", (3, 4)),), 2, 200)), way)
    done = odds(plan, np.array([[430.0], [429.0]]), last=0, trips_a_day=2, unload_min_per_trap=15).done
    assert done[0].tolist() == [0.5]


def called(minutes: float, traps: int = 2) -> TakeUpPlan:
    """Five traps at 60 min each by the way, the first ones on a trip that a call counts otherwise."""
    way = dataclasses.replace(trips(5).way, a_trap_min=60.0, deck_traps=5)
    first, rest = tuple(range(1, traps + 1)), tuple(range(traps + 1, 6))
    loads = (TakeUpTrip((("Ledge", first),), traps, minutes), TakeUpTrip((("Ledge", rest),), len(rest), 60.0))
    return TakeUpPlan(loads, way, called=True)


@pytest.mark.parametrize("minutes", [90.0, 150.0])
def test_a_called_trip_goes_by_its_own_minutes_shorter_or_longer_than_the_way_says(minutes: float) -> None:
    windows = np.array([[minutes, 180.0], [minutes - 1, 180.0]])
    told = likely_days(called(minutes), windows[:1], FIRST, FIRST)
    assert told == (FIRST, FIRST + timedelta(days=1))
    assert odds(called(minutes), windows, last=1).done[0].tolist() == [0.0, 0.5]


def test_a_called_trip_takes_no_more_than_its_own_however_long_the_day() -> None:
    assert odds(called(120.0), np.full((1, 2), 480.0), last=1).done[0].tolist() == [0.0, 1.0]
    assert likely_days(called(120.0), np.full((1, 1), 480.0), FIRST, FIRST) == (FIRST, None)


def test_a_part_of_a_called_trip_comes_home_in_a_window_too_short_for_it() -> None:
    assert odds(called(180.0, 3), np.array([[120.0, 180.0]]), last=1).done[0].tolist() == [0.0, 1.0]
    assert odds(called(180.0, 3), np.array([[119.0, 180.0]]), last=1).done[0].tolist() == [0.0, 0.0]


@given(st.integers(1, 12), st.integers(1, 6), st.floats(1, 40), st.integers(60, 300))
@settings(max_examples=60)
def test_in_usual_windows_the_odds_need_no_fewer_days_than_there_are_trips(
    traps: int, deck: int, a_trap_min: float, window_min: int
) -> None:
    """The trips of ``plan_trips`` are as few as the deck and that window allow."""
    string = TrapString("Ledge", Mark(29.9, -84.2), Mark(29.9, -84.18), traps, "bay", 4, 120, 264)
    out = [TrapsOut(string, tuple(range(1, traps + 1)))]
    boat = Boat("Little Grebe", 15, a_trap_min, 10)
    plan = plan_trips(
        boat, Mark(29.95, -84.2), out, deck_traps=deck, stack_min_per_trap=1, most_min=float(window_min)
    )
    done = odds(plan, np.full((1, 15), float(window_min)), last=14).done[0]
    days = int(np.argmax(done)) + 1 if done.any() else 16
    assert days >= len(plan.trips)


def test_a_trip_longer_than_a_day_is_never_made() -> None:
    assert odds(trips(1, 2000), np.array([[1440.0, 5000.0]]), last=1).starts[0].chance == 0


def test_a_start_past_the_deadline_has_no_chance_and_no_trap_out_no_risk() -> None:
    late = odds(trips(1), np.full((4, 6), 480.0), last=2)
    assert [told.chance for told in late.starts] == [1, 1, 1, 0, 0, 0]
    assert late.start_by == tuple((level, date(2027, 4, 3)) for level in (0.80, 0.95, 0.99))
    passed = odds(trips(1), np.full((4, 6), 480.0), last=-3)
    assert {told.chance for told in passed.starts} == {0}
    assert all(day is None for _, day in passed.start_by)
    assert {told.chance for told in odds(trips(0), np.zeros((4, 6)), last=2).starts} == {1}


def test_weather_that_ends_before_the_deadline_is_refused() -> None:
    with pytest.raises(ValueError, match="draw them past the deadline, 2027-04-08"):
        odds(trips(1), np.zeros((4, 7)), last=7)


# ---- odds move the right way


@given(
    st.lists(st.floats(0, 1), min_size=25, max_size=25),
    st.lists(st.floats(0, 1), min_size=25, max_size=25),
    st.integers(1, 6),
)
@settings(max_examples=25)
def test_a_likelier_day_never_makes_the_end_less_likely(a: list[float], b: list[float], count: int) -> None:
    draw = {"window_min": 360.0, "correlation": 0.0, "paths": 300}
    rough = weather_ahead([min(pair) for pair in zip(a, b, strict=True)], **draw)  # type: ignore[arg-type]
    kind = weather_ahead([max(pair) for pair in zip(a, b, strict=True)], **draw)  # type: ignore[arg-type]
    assert (odds(trips(count), kind, last=20).done >= odds(trips(count), rough, last=20).done).all()


@given(st.floats(0, 0.95), st.floats(0, 1), st.floats(0, 1))
@settings(max_examples=25)
def test_a_likelier_season_with_spells_never_makes_the_end_less_likely(tie: float, a: float, b: float) -> None:
    rough, kind = (weather_ahead([p] * 25, window_min=360, correlation=tie, paths=300) for p in sorted((a, b)))
    assert (odds(trips(3), kind, last=20).done >= odds(trips(3), rough, last=20).done).all()


@given(st.integers(1, 2**20), st.integers(0, 8), st.integers(1, 3))
@settings(max_examples=25)
def test_a_later_start_or_more_trips_never_make_the_end_likelier(seed: int, count: int, trips_a_day: int) -> None:
    windows = np.random.default_rng(seed).uniform(-400, 900, (200, 30))
    few = odds(trips(count), windows, last=25, trips_a_day=trips_a_day)
    chances = [told.chance for told in few.starts]
    assert chances == sorted(chances, reverse=True)
    more = odds(trips(count + 1), windows, last=25, trips_a_day=trips_a_day)
    assert (more.done <= few.done).all()


# ---- weather


def test_spells_keep_each_days_chance_and_have_the_correlation_asked() -> None:
    chances = [0.3 + 0.01 * day for day in range(40)]
    fit = weather_ahead(chances, window_min=360, correlation=0.4, paths=40_000) > 0
    assert fit.mean(axis=0) == pytest.approx(np.array(chances), abs=0.01)
    ties = [np.corrcoef(fit[:, day], fit[:, day + 1])[0, 1] for day in range(39)]
    assert ties == pytest.approx([0.4] * 39, abs=0.03)


def test_spells_keep_each_days_chance_even_where_no_chain_has_that_correlation() -> None:
    chances = [0.9, 0.1, 1.0, 0.5, 0.0, 0.5, 0.05, 0.95]
    fit = weather_ahead(chances, window_min=360, correlation=0.9, paths=40_000) > 0
    assert fit.mean(axis=0) == pytest.approx(np.array(chances), abs=0.01)


def test_spells_widen_the_end_of_the_season() -> None:
    """Where fit days hang together there are more paths without any for long."""
    alone, spells = (odds(trips(2), even(0.5, correlation=tie), last=14).starts[0].chance for tie in (0.0, 0.6))
    assert spells < alone


def test_forecast_days_stand_as_given_and_the_next_day_hangs_on_them() -> None:
    forecast = np.array([[100.0, 480.0], [0.0, 0.0], [100.0, 300.0]])
    windows = weather_ahead([0.5] * 3, window_min=360, correlation=0.5, forecast=forecast, paths=30_000)
    assert (windows[:6, :2] == np.tile(forecast, (2, 1))).all()
    fit = windows[:, 2] > 0
    after_fit, after_unfit = fit[windows[:, 1] >= 360].mean(), fit[windows[:, 1] < 360].mean()
    assert after_fit - after_unfit == pytest.approx(0.5 * 0.5 / math.sqrt(2 / 9), abs=0.03), (
        "correlation x spreads"
    )


def test_the_same_seed_draws_the_same_and_another_does_not() -> None:
    assert (even(0.5, seed=3) == even(0.5, seed=3)).all()
    assert (even(0.5, seed=3) != even(0.5, seed=4)).any()


@pytest.mark.parametrize(("chance", "tie"), [(1.1, 0.0), (float("nan"), 0.0), (0.5, 1.0), (0.5, -0.1)])
def test_what_is_no_chance_is_refused(chance: float, tie: float) -> None:
    with pytest.raises(ValueError, match="write chances from 0 to 1"):
        weather_ahead([chance], window_min=360, correlation=tie)


# ---- dates


def end(day: date, fishery: object = STONE, region: str | None = None) -> SeasonEnd:
    found = season_end(fishery, day, sector="commercial", region=region)  # type: ignore[arg-type]
    assert found is not None
    return found


def order(effect: str, first: date, last: date) -> Order:
    by = Rule(name="an order", value=DateSpan(first, last), source="invented", checked=FIRST, sure="read")
    return Order(effect, by)  # type: ignore[arg-type]


def test_the_stone_crab_season_ends_on_its_published_days() -> None:
    """R1, R4, R5: harvest to 1 May, traps out by 6 May, placed again from 5 October (second-hand)."""
    told = end(date(2027, 3, 1))
    assert (told.last_harvest, told.last_set, told.deadline) == (
        date(2027, 5, 1),
        date(2027, 5, 1),
        date(2027, 5, 6),
    )
    assert told.next_set == date(2027, 10, 5)


def test_after_the_last_harvest_only_the_take_up_is_left() -> None:
    told = end(date(2027, 5, 3))
    assert (told.last_harvest, told.last_set, told.deadline) == (None, None, date(2027, 5, 6))
    assert told.last_rebait(120) is None


def test_after_the_deadline_it_still_stands() -> None:
    told = end(date(2027, 6, 1))
    assert (told.deadline, told.last_harvest, told.next_set) == (date(2027, 5, 6), None, date(2027, 10, 5))


def test_an_extension_moves_the_deadline_and_not_the_last_harvest() -> None:
    longer = dataclasses.replace(STONE, orders=(order("extends take-up", date(2027, 5, 7), date(2027, 5, 13)),))
    told = end(date(2027, 5, 1), longer)
    assert (told.last_harvest, told.deadline) == (date(2027, 5, 1), date(2027, 5, 13))


def test_harvest_barred_by_order_in_between_does_not_end_it() -> None:
    barred = dataclasses.replace(STONE, orders=(order("bars harvest", date(2027, 4, 10), date(2027, 4, 20)),))
    assert end(date(2027, 4, 12), barred).last_harvest == date(2027, 5, 1)
    late = dataclasses.replace(STONE, orders=(order("bars harvest", date(2027, 4, 25), date(2027, 5, 1)),))
    told = end(date(2027, 4, 12), late)
    assert (told.last_harvest, told.deadline) == (date(2027, 4, 24), date(2027, 5, 6))


@pytest.mark.parametrize(
    ("region", "closes", "reopens"),
    [
        ("panhandle", date(2027, 1, 5), date(2027, 1, 15)),
        ("southwest", date(2027, 7, 10), date(2027, 7, 20)),
        ("big bend", date(2027, 7, 20), date(2027, 7, 30)),
    ],
)
def test_a_regional_closure_is_an_end_with_a_new_begin(region: str, closes: date, reopens: date) -> None:
    """R22: ten days in odd years on the west coast (commission notices 2017 to 2025, second-hand)."""
    told = end(date(2026, 12, 1), BLUE, region)
    assert told.deadline == told.last_harvest == told.last_set == closes - timedelta(days=1)
    assert told.next_set == reopens


def test_a_closure_ended_early_lets_traps_back_early() -> None:
    """Commission notice of July 2025: traps back from 26 July (second-hand)."""
    assert end(date(2025, 7, 1), BLUE, "big bend").next_set == date(2025, 7, 26)


def test_a_closure_by_the_third_friday_of_february_is_an_order() -> None:
    """R23: Texas, no trap for ten days from 19 February 2027 (31 TAC 57, date derived)."""
    closed = dataclasses.replace(STONE, orders=(order("bars traps", date(2027, 2, 19), date(2027, 2, 28)),))
    told = end(date(2027, 2, 1), closed)
    assert (told.deadline, told.last_harvest, told.next_set) == (
        date(2027, 2, 18), date(2027, 2, 18), date(2027, 3, 1),
    )  # fmt: skip


def test_fresh_bait_is_of_no_use_where_the_floor_reaches_past_the_last_pull() -> None:
    """Hand-reckoned: rebaited in the course of 26 April it is not 5 days old at the first hour of 1 May."""
    told = end(date(2027, 4, 1))
    assert told.last_rebait(120) == date(2027, 4, 25)
    assert told.last_rebait(119) == date(2027, 4, 26)
    assert told.last_rebait(120, home_on=date(2027, 4, 22)) == date(2027, 4, 16)
    assert told.last_rebait(120, home_on=date(2027, 5, 5)) == date(2027, 4, 25), "no catch comes of it after 1 May"
    assert told.last_rebait(0) == date(2027, 4, 30)
