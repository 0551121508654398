"""The chance that a later day has a window. INVENTED DATA."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta
from itertools import pairwise

import numpy as np
import pandas as pd
import pytest

from boats import GREBE, NINE_FOOT, NOTCH_CREEK, SUNSET, light
from soakbell.planning.fit_chance import (
    ERRING,
    Beyond,
    DaySpan,
    ErrorPaths,
    ErrorShape,
    FitChances,
    PlaceAhead,
    day_span,
    error_paths,
    fit_chances,
    place_ahead,
)
from soakbell.planning.trips import HARBOR, fit_departures, plan_trip, possible_departures
from soakbell.sea.conditions import Bar, worst_of
from soakbell.sea.fitness import Fitness, fitness
from soakbell.sea.limits import Limits
from soakbell.sea.sources import SourceKind
from soakbell.sea.trust import BinError, ErrorModel, PriorError, brier, error_model
from weather import MORNING, NEEDED, said

DAYS = 8
WEEK = pd.date_range("2026-12-08T05:00Z", periods=24 * DAYS, freq="h")
LIMITS = Limits(wind_kt=15, gust_kt=20, sea_m=0.9)
PRIORS = {
    "wind_kt": PriorError((0, 168), (2.5, 6.0), least_sd=1.5),
    "gust_kt": PriorError((0, 168), (3.5, 8.0), least_sd=2.0),
    "sea_m": PriorError((0, 168), (0.15, 0.5), least_sd=0.1),
}
SHAPE = ErrorShape(correlation_h=12, wind_gust=0.9, wind_sea=0.7)
NEVER = Beyond(MORNING + timedelta(days=60), 0.0, 0.0)
FIFTH = MORNING + timedelta(days=5)
SPANS = tuple(day_span(light(day).day, light(day).bounds) for day in range(DAYS))


def models(**changed: ErrorModel) -> dict[str, ErrorModel]:
    return {quantity: ErrorModel(quantity, PRIORS[quantity], 30) for quantity in ERRING} | changed


def drawn(
    by: dict[str, ErrorModel] | None = None, shape: ErrorShape = SHAPE, *, paths: int = 200, seed: int = 1
) -> ErrorPaths:
    return error_paths(by or models(), shape, now=MORNING, hours=len(WEEK), days=DAYS, paths=paths, seed=seed)


ERRORS = drawn()


def sure(sd: float = 1e-6) -> ErrorPaths:
    """Hardly any error."""
    exact = PriorError((0.0,), (sd,), least_sd=sd)
    return drawn({quantity: ErrorModel(quantity, exact, 30) for quantity in ERRING}, paths=3)


def held(
    *,
    wind_kt: object = 13.0,
    gust_kt: object = 16.0,
    sea_m: object = 0.7,
    limits: Limits = LIMITS,
    bars: Sequence[Bar] = (),
    **more: object,
) -> Fitness:
    """A week said alike by zone text and grid."""
    hourly = {"wind_kt": wind_kt, "gust_kt": gust_kt, "sea_m": sea_m} | more
    sources = [said(kind, WEEK, **hourly) for kind in (SourceKind.ZONE_TEXT, SourceKind.GRID)]
    found = worst_of("bay", WEEK, sources, required=NEEDED, large_gap={"wind_kt": 10}, bars=bars, bars_known=True)
    return fitness(found, limits, depth_m=4)


def ahead(**numbers: object) -> PlaceAhead:
    return place_ahead(held(**numbers), depth_m=4)  # type: ignore[arg-type]


def windy(wind_kt: object) -> PlaceAhead:
    """Only the wind is near its limit."""
    return ahead(wind_kt=wind_kt, gust_kt=wind_kt, sea_m=0.1, limits=replace(LIMITS, gust_kt=None))


def chances(
    *places: PlaceAhead,
    errors: ErrorPaths = ERRORS,
    spans: Sequence[DaySpan] = SPANS,
    needed_min: float = 240,
    break_margin_h: float = 1,
    beyond: Beyond = NEVER,
) -> FitChances:
    return fit_chances(places, spans, errors, needed_min=needed_min, break_margin_h=break_margin_h, beyond=beyond)


def random_week(draw: np.random.Generator) -> dict[str, np.ndarray]:
    """Weather that wanders about the limits."""
    slow = np.repeat(draw.normal(0, 1, len(WEEK) // 6), 6)
    wind_kt = np.clip(14 + 4 * slow + draw.normal(0, 1, len(WEEK)), 0, None)
    return {"wind_kt": wind_kt, "gust_kt": wind_kt * 1.3, "sea_m": np.clip(0.05 * wind_kt, 0, None)}


def each(found: FitChances) -> list[float]:
    return [day.chance for day in found.days]


def assert_no_path_gains(after: FitChances, before: FitChances) -> None:
    """Path by path and day by day, which is more than the chance asks."""
    assert (after.window_min <= before.window_min + 1e-6).all()
    assert not (after.fit & ~before.fit).any()


# ---- what a chance is


def test_a_calm_week_is_likely_and_a_gale_is_not() -> None:
    assert min(each(chances(ahead(wind_kt=3, gust_kt=4, sea_m=0.1)))) > 0.75
    assert max(each(chances(ahead(wind_kt=40, gust_kt=50, sea_m=3)))) == 0


def test_the_chance_of_one_hour_is_that_of_the_normal_curve() -> None:
    """P(error <= limit - forecast), by the error function."""
    late = DaySpan(SPANS[5].day, WEEK[130].to_pydatetime(), WEEK[131].to_pydatetime())
    lead_h = 130 - 4
    for wind_kt in (8.0, 13.0, 15.0, 22.0):
        (day,) = chances(
            windy(wind_kt), errors=drawn(paths=4000), spans=[late], needed_min=60, break_margin_h=0
        ).days
        sd_kt = float(PRIORS["wind_kt"].sd_at(lead_h))
        expected = 0.5 * (1 + math.erf((15 - wind_kt) / sd_kt / math.sqrt(2)))
        assert day.chance == pytest.approx(expected, abs=0.03)


def test_errors_go_on_from_hour_to_hour_and_wind_gusts_and_sea_err_together() -> None:
    errors = drawn(paths=3000).errors
    lead_h = np.arange(len(WEEK), dtype=float)
    score = {q: errors[q] / PRIORS[q].sd_at(lead_h) for q in ERRING}
    assert [float(score[q].std()) for q in ERRING] == pytest.approx([1, 1, 1], abs=0.03)
    for hours in (1, 12, 24):
        one, later = score["wind_kt"][:, 60], score["wind_kt"][:, 60 + hours]
        assert np.corrcoef(one, later)[0, 1] == pytest.approx(math.exp(-hours / 12), abs=0.06)
    for pair, expected in (
        (("wind_kt", "gust_kt"), 0.9),
        (("wind_kt", "sea_m"), 0.7),
        (("gust_kt", "sea_m"), 0.63),
    ):
        one, other = (score[q][:, 90] for q in pair)
        assert np.corrcoef(one, other)[0, 1] == pytest.approx(expected, abs=0.05), pair


def test_a_window_is_likelier_than_if_its_hours_were_independent() -> None:
    """Five fit hours on end: errors that go on leave most of one hour's chance, independent ones hardly any."""
    place = windy(14)
    going_on = chances(place).days[5].chance
    independent = chances(place, errors=drawn(shape=replace(SHAPE, correlation_h=0.05))).days[5].chance
    assert going_on > independent + 0.2


def test_a_week_that_is_missed_or_hit_hangs_together_the_longer_errors_go_on() -> None:
    place = windy(15)

    def alike(correlation_h: float) -> float:
        fit = chances(place, errors=drawn(shape=replace(SHAPE, correlation_h=correlation_h), paths=1000)).fit
        return float(np.corrcoef(fit[:, 4], fit[:, 5])[0, 1])

    assert alike(3) < 0.1 < 0.5 < alike(72)


def test_a_day_further_ahead_is_less_sure() -> None:
    """The same weather every day: a fit one loses chance with the lead, one past the limits gains some."""
    good, bad = each(chances(windy(10))), each(chances(windy(20)))
    assert good[1] > good[4] > good[7]
    assert bad[1] < bad[7]


def test_the_same_seed_gives_the_same_chances_and_another_seed_nearly_so() -> None:
    place = ahead(**random_week(np.random.default_rng(4)))
    assert chances(place, errors=drawn()).days == chances(place, errors=drawn()).days
    one, two = (each(chances(place, errors=drawn(paths=2000, seed=seed))) for seed in (1, 2))
    assert one != two
    assert one == pytest.approx(two, abs=0.07)


def test_fewer_hours_do_not_change_the_days_before() -> None:
    """Else a shorter table could be luckier than a longer one."""
    short = error_paths(models(), SHAPE, now=MORNING, hours=72, days=3, paths=200)
    for quantity in ERRING:
        assert (short.errors[quantity] == ERRORS.errors[quantity][:, :72]).all()
    assert (short.luck == ERRORS.luck[:, :3]).all()


# ---- the same question as the call's


def test_without_error_a_day_has_a_window_just_where_a_trip_of_the_call_fits() -> None:
    """Held against ``fit_departures``, which calls are made by."""
    draw = np.random.default_rng(7)
    trip = plan_trip(GREBE, NOTCH_CREEK, [NINE_FOOT], {"Nine Foot": 40})
    out_min, home_min = trip.hauls[0].starts_min, trip.duration_min - trip.hauls[-1].ends_min
    rules = [light(day, fresh_h=24) for day in range(DAYS)]
    spans = [day_span(r.day, r.bounds, run_out_min=out_min, run_home_min=home_min) for r in rules]
    seen = set()
    for _ in range(40):
        fit = held(**random_week(draw))  # type: ignore[arg-type]
        found = chances(
            place_ahead(fit, depth_m=4), errors=sure(), spans=spans, needed_min=trip.duration_min, break_margin_h=2
        )
        for rule, day in zip(rules, found.days, strict=True):
            assert rule.bounds is not None
            departures = fit_departures(
                trip, possible_departures(trip, rule.bounds), {HARBOR: fit, "Nine Foot": fit}, break_margin_h=2
            )
            assert day.chance == (1.0 if departures else 0.0)
            seen.add(day.chance)
    assert seen == {0.0, 1.0}


def test_a_window_is_measured_within_the_span_and_ends_before_the_weather_does() -> None:
    """Fit from 14:00 to 20:00 UTC; an hour is kept after landing. The light ends at 23:04."""
    wind_kt = np.where((WEEK.hour >= 14) & (WEEK.hour < 20), 8.0, 30.0)
    day = chances(windy(wind_kt), errors=sure()).days[1]
    assert (day.window_min, day.low_window_min) == (300, 300)
    calm = chances(windy(8), errors=sure()).days[1]
    span = SPANS[1]
    assert span.begins is not None
    assert span.ends is not None
    assert span.ends == SUNSET + timedelta(days=1)
    assert span.begins.minute == 18
    assert calm.window_min == (span.ends - span.begins) / timedelta(minutes=1) - 12, "leaves on a quarter hour"


def test_a_day_on_which_nothing_may_be_hauled_has_no_chance() -> None:
    closed = day_span(SPANS[0].day, None)
    (day,) = chances(ahead(wind_kt=3), spans=[closed]).days
    assert (day.chance, day.window_min) == (0, 0)


def test_hours_already_past_are_in_no_window() -> None:
    at_night = DaySpan(SPANS[0].day, WEEK[0].to_pydatetime(), WEEK[10].to_pydatetime())
    (day,) = chances(ahead(wind_kt=3, gust_kt=4, sea_m=0.1), errors=sure(), spans=[at_night]).days
    assert WEEK[10] - MORNING == timedelta(hours=5, minutes=30)
    assert day.window_min == 6 * 60, "from the hour that runs"


def test_several_places_must_be_fit_at_once() -> None:
    """One is fit in the morning only, the other in the afternoon only."""
    early, late = windy(np.where(WEEK.hour < 17, 5.0, 30.0)), windy(np.where(WEEK.hour >= 17, 5.0, 30.0))
    for alone in (early, late):
        assert chances(alone, errors=sure(), needed_min=180).days[1].chance == 1
    assert chances(early, late, errors=sure(), needed_min=180).days[1].chance == 0


def test_steep_seas_and_thunder_stand_against_a_day_as_in_the_call() -> None:
    """Half a metre at 3 s over 4 m is steeper than 1 in 28 (linear dispersion); the errors reach thunder not."""
    steep = replace(LIMITS, steepness=1 / 28)
    assert max(each(chances(ahead(sea_m=0.5, period_s=3, limits=steep), errors=sure()))) == 0
    assert min(each(chances(ahead(sea_m=0.5, period_s=6, limits=steep), errors=sure()))) == 1
    assert max(each(chances(ahead(wind_kt=3, thunder_pct=30, limits=replace(LIMITS, thunder_pct=20))))) == 0


# ---- days past the forecast


def test_a_day_past_the_forecast_has_the_chance_of_other_years() -> None:
    usual = Beyond(FIFTH, 0.4, 400)
    found = chances(windy(40), errors=drawn(paths=3000), beyond=usual)
    assert [day.forecast for day in found.days] == [True] * 5 + [False] * 3
    assert each(found)[:5] == [0] * 5
    assert each(found)[5:] == pytest.approx([0.4] * 3, abs=0.03)
    assert found.days[6].window_min == 400
    too_long = chances(windy(40), needed_min=401, beyond=usual)
    assert each(too_long)[5:] == [0] * 3


def test_usual_days_hang_on_each_other_and_on_the_last_day_of_the_forecast() -> None:
    """By hand: after an unfit day the next is unfit with 0.6 + 0.45 * 0.4, so all three are with its cube."""
    usual, errors = Beyond(FIFTH, 0.4, 400, 0.45), drawn(paths=20_000)
    gale, calm = (chances(windy(wind_kt), errors=errors, beyond=usual) for wind_kt in (40, 1))
    lower, higher = each(gale), each(calm)
    for day, tie in enumerate((0.45, 0.45**2, 0.45**3), 5):
        assert lower[day] == pytest.approx(0.4 - tie * 0.4, abs=0.015)
        assert higher[day] == pytest.approx(0.4 + tie * 0.6, abs=0.015)
    after_gale, stays = ~gale.fit[:, 5:], 0.6 + 0.45 * 0.4
    assert after_gale.all(axis=1).mean() == pytest.approx(stays**3, abs=0.015)
    assert np.corrcoef(gale.fit[:, 6], gale.fit[:, 7])[0, 1] == pytest.approx(0.45, abs=0.04)


def test_a_day_without_trips_at_the_end_of_the_forecast_says_nothing_of_the_weather() -> None:
    """Closed on its last day, as on any; and a usual day asked by itself is as likely as among the others."""
    usual, nowhere = Beyond(FIFTH, 0.4, 400, 0.45), [DaySpan(span.day, None, None) for span in SPANS]
    whole = chances(windy(12), beyond=usual)
    closed = chances(windy(12), beyond=usual, spans=[*SPANS[:4], nowhere[4], *SPANS[5:]])
    alone = chances(windy(12), beyond=usual, spans=[*nowhere[:6], SPANS[6], nowhere[7]])
    assert (closed.fit[:, 5:] == whole.fit[:, 5:]).all()
    assert (alone.fit[:, 6] == whole.fit[:, 6]).all()


def test_where_no_day_was_ever_fit_none_is_after_a_fit_one() -> None:
    assert each(chances(windy(0), beyond=Beyond(FIFTH, 0.0, 400, 0.45)))[5:] == [0, 0, 0]


def test_more_wind_at_the_end_of_the_forecast_never_makes_a_usual_day_likelier() -> None:
    usual = Beyond(FIFTH, 0.4, 400, 0.3)
    told = [chances(windy(wind_kt), beyond=usual) for wind_kt in (8, 11, 13, 16, 30)]
    for calmer, windier in pairwise(told):
        assert_no_path_gains(windier, calmer)


def test_a_forecast_that_is_lost_does_not_make_its_day_a_usual_one() -> None:
    """The law: what is missing never makes anything more permissive."""
    usual = Beyond(FIFTH, 0.9, 600, 0.3)
    lost = np.where(np.arange(len(WEEK)) < 72, 40.0, np.nan)
    before, after = (chances(windy(wind_kt), beyond=usual) for wind_kt in (40.0, lost))
    assert_no_path_gains(after, before)
    assert each(after)[3:5] == [0, 0]


# ---- the law: nothing that gets worse raises a chance (same errors)

WEEKS = [random_week(np.random.default_rng(seed)) for seed in range(6)]


def test_raising_the_forecast_never_raises_a_chance() -> None:
    draw = np.random.default_rng(11)
    for week in WEEKS:
        before = chances(ahead(**week))
        for quantity, most in (("wind_kt", 6.0), ("gust_kt", 8.0), ("sea_m", 0.6)):
            more = draw.uniform(0, most, len(WEEK)) * (draw.random(len(WEEK)) < 0.5)
            gust_kt = week["gust_kt"] + (more if quantity == "wind_kt" else 0)  # a gust is never below its wind
            assert_no_path_gains(
                chances(ahead(**week | {"gust_kt": gust_kt} | {quantity: week[quantity] + more})), before
            )


def test_lowering_a_limit_never_raises_a_chance() -> None:
    for week in WEEKS:
        eased = replace(LIMITS, steepness=0.05, thunder_pct=30)
        hourly = week | {"period_s": np.full(len(WEEK), 5.0), "thunder_pct": 20 * (week["wind_kt"] > 15)}
        before = chances(ahead(**hourly, limits=eased))
        for tighter in (
            {"wind_kt": 13.0},
            {"gust_kt": 15.0},
            {"gust_kt": 9.0},
            {"sea_m": 0.6},
            {"steepness": 0.02},
            {"thunder_pct": 10.0},
        ):
            assert_no_path_gains(chances(ahead(**hourly, limits=replace(eased, **tighter))), before)  # type: ignore[arg-type]
        assert_no_path_gains(before, chances(ahead(**hourly, limits=replace(eased, gust_kt=None, steepness=None))))


def test_adding_a_bar_never_raises_a_chance_and_leaves_none_under_it() -> None:
    draw = np.random.default_rng(12)
    for week in WEEKS:
        first = int(draw.integers(0, 150))
        bar = Bar("warning", WEEK[first].to_pydatetime(), WEEK[first + 40].to_pydatetime())
        before, after = chances(ahead(**week)), chances(ahead(**week, bars=[bar]))
        assert_no_path_gains(after, before)
        for span, day in zip(SPANS, after.days, strict=True):
            assert span.begins is not None
            assert span.ends is not None
            if bar.starts_at <= span.begins and bar.ends_at is not None and bar.ends_at >= span.ends:
                assert day.chance == 0
    calm = {"wind_kt": 2.0, "gust_kt": 3.0, "sea_m": 0.1}
    assert max(each(chances(ahead(**calm, bars=[Bar("warning", MORNING - timedelta(days=1), None)])))) == 0


def test_hours_that_are_not_known_never_raise_a_chance() -> None:
    draw = np.random.default_rng(13)
    for week in WEEKS:
        before = chances(ahead(**week))
        for quantity in ERRING:
            holed = np.where(draw.random(len(WEEK)) < 0.15, np.nan, week[quantity])
            assert_no_path_gains(chances(ahead(**week | {quantity: holed})), before)
    assert max(each(chances(ahead(wind_kt=float("nan"))))) == 0


def test_asking_for_more_never_raises_a_chance() -> None:
    for week in WEEKS:
        place, other = ahead(**week), ahead(**WEEKS[0])
        before = chances(place)
        assert not (chances(place, needed_min=300).fit & ~before.fit).any()
        assert_no_path_gains(chances(place, break_margin_h=3), before)
        assert_no_path_gains(chances(place, other), before)
        shorter = [replace(span, ends=span.ends - timedelta(hours=2)) for span in SPANS if span.ends is not None]
        assert_no_path_gains(chances(place, spans=shorter), before)


# ---- trust


def by_record(*, bias_kt: float, sd_kt: float, days: int) -> ErrorModel:
    """Wind's error after ``days`` of every lead on record, by a prior that counts as 30."""
    edges_h = tuple(24.0 * n for n in range(9))
    record = [
        BinError("grid", "wind_kt", 24.0 * n, 24.0 * (n + 1), 24 * days, days, bias_kt, bias_kt, sd_kt, sd_kt)
        for n in range(8)
    ]
    return error_model("wind_kt", record, PRIORS["wind_kt"], source="grid", edges_h=edges_h, enough_days=30)


def test_a_forecast_found_4_kt_low_is_trusted_less() -> None:
    """As much as if the forecast itself had said 4 kt more."""
    learned = drawn(models(wind_kt=by_record(bias_kt=4.0, sd_kt=4.0, days=3000)))
    unbiased = drawn(models(wind_kt=by_record(bias_kt=0.0, sd_kt=4.0, days=3000)))
    for week in WEEKS:
        trusted = chances(windy(week["wind_kt"]), errors=learned)
        assert_no_path_gains(trusted, chances(windy(week["wind_kt"]), errors=unbiased))
        said_so = chances(windy(week["wind_kt"] + 4), errors=unbiased)
        assert each(trusted) == pytest.approx(each(said_so), abs=0.05)


@pytest.mark.parametrize("days", [1, 10, 30])
def test_a_sparse_record_never_raises_a_chance_above_the_priors(days: int) -> None:
    """However calm, sure, rough or wild what little there is; also on days past the limits, where spread helps."""
    for bias_kt in (-8.0, 0.0, 5.0):
        for sd_kt in (0.2, 3.0, 15.0):
            errors = drawn(models(wind_kt=by_record(bias_kt=bias_kt, sd_kt=sd_kt, days=days)))
            for week in WEEKS[:4]:
                assert_no_path_gains(chances(ahead(**week), errors=errors), chances(ahead(**week)))


def test_an_error_shape_that_is_none_is_refused() -> None:
    for broken in ({"correlation_h": 0.0}, {"wind_gust": 1.2}, {"wind_sea": float("nan")}):
        with pytest.raises(ValueError, match="write"):
            replace(SHAPE, **broken)


def test_a_wind_that_may_blow_above_the_limit_for_gusts_stands_against_the_hour() -> None:
    """Gusts come as forecast and the wind 4 kt above: a gust is at least the wind all the same."""
    exact = {q: ErrorModel(q, PriorError((0.0,), (1e-6,), least_sd=1e-6), 30) for q in ERRING}
    low = replace(exact["wind_kt"], prior=replace(exact["wind_kt"].prior, bias=4.0))
    place = ahead(wind_kt=8, gust_kt=8, sea_m=0.1, limits=replace(LIMITS, gust_kt=9))
    assert min(each(chances(place, errors=drawn(exact)))) == 1
    assert max(each(chances(place, errors=drawn(exact | {"wind_kt": low})))) == 0


def test_chances_come_true_as_often_as_they_say_once_a_low_forecast_is_found() -> None:
    """The sea is drawn from errors of its own, 4 kt above the forecast; only learned chances are borne out."""
    truth = by_record(bias_kt=4.0, sd_kt=4.0, days=3000)
    came = drawn(models(wind_kt=truth), seed=2)
    believed = {"prior": ERRORS, "learned": drawn(models(wind_kt=by_record(bias_kt=4.2, sd_kt=4.1, days=600)))}
    scored = {}
    for name, errors in believed.items():
        told: list[float] = []
        fit: list[bool] = []
        for week in WEEKS:
            outcome = chances(windy(week["wind_kt"]), errors=came).fit
            told += each(chances(windy(week["wind_kt"]), errors=errors)) * len(outcome)
            fit += outcome.reshape(-1).tolist()
        scored[name] = brier(told, fit)
    prior, learned = scored["prior"], scored["learned"]
    assert prior is not None
    assert learned is not None
    assert learned.reliability < 0.005 < 0.03 < prior.reliability
    assert learned.score < prior.score
