"""How far forecasts can be trusted. INVENTED DATA but for the published table and archive that are named."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pandas as pd
import pytest

from soakbell.plan_settings import Trust
from soakbell.sea.limits import Limits
from soakbell.sea.sources import QUANTITIES
from soakbell.sea.trust import (
    WORST_OF_ALL,
    BinError,
    CalledDay,
    CallTally,
    Contingency,
    ErrorModel,
    PlaceSeen,
    PriorError,
    brier,
    call_record,
    error_model,
    errors_by_lead,
    hourly_measured,
    matched,
    pairs_together,
    seen_fit,
    worse_of,
)

ISSUED = datetime(2026, 12, 1, 9, 0, tzinfo=UTC)
EDGES_H = (0.0, 24.0, 48.0, 72.0)
PRIOR = PriorError(lead_h=(0, 48), sd=(3.0, 5.0), least_sd=2.0, bias=0.5)
LEADS_H = np.arange(0.0, 200.0, 3.0)
LIMITS = Limits(wind_kt=15, gust_kt=20, sea_m=0.9, thunder_pct=20)


def table(hours: pd.DatetimeIndex, **numbers: object) -> pd.DataFrame:
    return pd.DataFrame({q: numbers.get(q, float("nan")) for q in QUANTITIES}, index=hours, dtype=float)


def hours_from(at: datetime, count: int) -> pd.DatetimeIndex:
    return pd.date_range(at, periods=count, freq="h")


def record(days: int, *, wind_error_kt: float, spread_kt: float, seed: int = 1) -> pd.DataFrame:
    """Pairs of ``days`` morning forecasts of 72 hours; it blew ``wind_error_kt`` harder on average."""
    draw = np.random.default_rng(seed)
    issued_at = np.repeat(hours_from(ISSUED, 96 * days)[::96], 72)
    lead_h = np.tile(np.arange(72.0), days)
    forecast = draw.uniform(8, 20, 72 * days)
    return pd.DataFrame(
        {
            "issued_at": issued_at,
            "valid_at": issued_at + pd.to_timedelta(lead_h, unit="h"),
            "lead_h": lead_h,
            "quantity": "wind_kt",
            "source": WORST_OF_ALL,
            "forecast": forecast,
            "observed": forecast + wind_error_kt + draw.normal(0, spread_kt, 72 * days),
        }
    )


def model_of(pairs: pd.DataFrame, *, enough_days: int = 30, prior: PriorError = PRIOR) -> ErrorModel:
    errors = errors_by_lead(pairs, EDGES_H)
    return error_model("wind_kt", errors, prior, source=WORST_OF_ALL, edges_h=EDGES_H, enough_days=enough_days)


# ---- forecast and measurement side by side


def test_the_worst_measured_within_an_hour_stands_for_the_hour() -> None:
    at = pd.DatetimeIndex(["2026-12-01T10:00Z", "2026-12-01T10:50Z", "2026-12-01T11:10Z", "2026-12-01T12:10Z"])
    rows = pd.DataFrame({"wind_kt": [9.0, 12.0, 7.0, np.nan], "period_s": 5.0}, index=at)
    hourly = hourly_measured(rows)
    assert list(hourly.columns) == ["wind_kt"]
    assert hourly["wind_kt"].iloc[:2].tolist() == [12.0, 7.0]
    assert np.isnan(hourly["wind_kt"].iloc[2])


def test_a_pair_is_a_whole_number_and_a_measurement_of_the_same_hour() -> None:
    """Hours before the issue, holes on either side and parts of the sea are left out."""
    hours = hours_from(ISSUED - timedelta(hours=1), 6)
    forecast = table(hours, wind_kt=[10, 11, 12, np.nan, 14, 15], sea_m=0.5)
    whole = forecast.notna().assign(sea_m=False)
    came = table(hours, wind_kt=[9, 9, np.nan, 9, 9, 9], sea_m=0.7)
    pairs = matched("grid", ISSUED, forecast, whole, came)
    assert pairs["lead_h"].tolist() == [0.0, 3.0, 4.0]
    assert pairs["forecast"].tolist() == [11.0, 14.0, 15.0]
    assert set(pairs["quantity"]) == {"wind_kt"}
    assert set(pairs["source"]) == {"grid"}


def test_a_forecast_without_any_measurement_gives_no_pair() -> None:
    hours = hours_from(ISSUED, 3)
    forecast = table(hours, wind_kt=10)
    nothing = matched("grid", ISSUED, forecast, forecast.notna(), pd.DataFrame(index=hours))
    assert len(nothing) == 0
    assert len(pairs_together([nothing])) == 0
    assert errors_by_lead(nothing, EDGES_H) == ()


def test_a_forecast_read_twice_counts_once() -> None:
    hours = hours_from(ISSUED, 5)
    forecast = table(hours, wind_kt=10, gust_kt=13)
    once = matched("grid", ISSUED, forecast, forecast.notna(), forecast)
    assert len(pairs_together([once, once])) == len(once) == 10


def test_errors_are_told_by_lead_as_measured_less_forecast() -> None:
    hours = hours_from(ISSUED, 26)
    forecast = table(hours, wind_kt=10)
    came = table(hours, wind_kt=[12.0, 14.0] * 12 + [9.0, 9.0])
    first, second = errors_by_lead(matched("grid", ISSUED, forecast, forecast.notna(), came), EDGES_H)
    assert (first.from_h, first.to_h, first.pairs, first.days) == (0, 24, 24, 1)
    assert (first.bias, first.median, first.robust_sd) == (3.0, 3.0, pytest.approx(1.4826))
    assert first.sd == pytest.approx(np.std([2, 4] * 12, ddof=1))
    assert (second.pairs, second.bias, second.sd) == (2, -1.0, 0.0)


def test_one_wild_measurement_moves_mean_and_spread_but_not_the_robust_ones() -> None:
    hours = hours_from(ISSUED, 24)
    forecast = table(hours, wind_kt=10)
    came = table(hours, wind_kt=[11.0] * 22 + [9.0, 80.0])
    (found,) = errors_by_lead(matched("grid", ISSUED, forecast, forecast.notna(), came), EDGES_H)
    assert found.sd is not None
    assert found.robust_sd is not None
    assert found.bias > 2.5
    assert found.sd > 10
    assert (found.median, found.robust_sd) == (1.0, 0.0)


def test_spread_of_a_single_pair_is_not_known() -> None:
    hours = hours_from(ISSUED, 1)
    forecast = table(hours, wind_kt=10)
    (found,) = errors_by_lead(
        matched("grid", ISSUED, forecast, forecast.notna(), table(hours, wind_kt=13)), EDGES_H
    )
    assert (found.bias, found.sd, found.robust_sd) == (3.0, None, None)
    only = error_model("wind_kt", (found,), PRIOR, source="grid", edges_h=EDGES_H, enough_days=30)
    assert only.rougher_sd_at(3.0) == PRIOR.sd_at(3.0)


# ---- the error to reckon with


def test_without_a_record_the_prior_holds_at_every_lead() -> None:
    for model in (ErrorModel("wind_kt", PRIOR, 30), model_of(record(1, wind_error_kt=0, spread_kt=1).iloc[:0])):
        assert model.on_prior
        assert model.bias_at(LEADS_H) == pytest.approx(0.5)
        assert model.rougher_sd_at([0, 24, 48, 300]) == pytest.approx([3, 4, 5, 5])
        assert model.calmer_sd_at([0, 24, 48, 300]) == pytest.approx([3, 4, 5, 5])
    assert ErrorModel("wind_kt", PRIOR, 1).on_prior, "though one day were enough"


def test_a_forecast_that_is_4_kt_low_is_found_and_made_rougher() -> None:
    pairs = record(365, wind_error_kt=4.0, spread_kt=3.0)
    assert [b.bias for b in errors_by_lead(pairs, EDGES_H)] == pytest.approx([4, 4, 4], abs=0.15)
    model = model_of(pairs)
    assert not model.on_prior
    assert model.bias_at([3, 30, 60]) == pytest.approx([4, 4, 4], abs=0.5)
    assert (model.bias_at([3, 30, 60]) > 3.5).all()


def test_a_forecast_that_is_4_kt_high_is_told_but_never_made_calmer() -> None:
    pairs = record(365, wind_error_kt=-4.0, spread_kt=3.0)
    assert [b.bias for b in errors_by_lead(pairs, EDGES_H)] == pytest.approx([-4, -4, -4], abs=0.15)
    assert (model_of(pairs).bias_at(LEADS_H[LEADS_H < 72]) == 0).all()


def test_a_few_far_too_rough_forecasts_do_not_hide_that_most_are_low() -> None:
    """Four hours in five it blew 4 kt harder, in the fifth 26 kt less: -2 kt in the mean, near 4 in the median."""
    pairs = record(365, wind_error_kt=4.0, spread_kt=0.5)
    pairs.loc[pairs.index % 5 == 0, "observed"] -= 30.0
    assert [b.bias for b in errors_by_lead(pairs, EDGES_H)] == pytest.approx([-2, -2, -2], abs=0.2)
    assert (model_of(pairs).bias_at([3, 30, 60]) > 3.0).all()


@pytest.mark.parametrize("days", [1, 2, 5, 15, 29])
def test_a_sparse_record_never_loosens_anything_below_the_prior(days: int) -> None:
    """Calm and sure or rough and wild, as long as its days are not past enough."""
    for wind_error_kt in (-6.0, -1.0, 0.0, 3.0):
        for spread_kt in (0.1, 2.0, 9.0):
            pairs = record(days, wind_error_kt=wind_error_kt, spread_kt=spread_kt, seed=days)
            model = model_of(pairs, enough_days=30)
            assert (model.bias_at(LEADS_H) >= PRIOR.bias).all()
            assert (model.rougher_sd_at(LEADS_H) >= PRIOR.sd_at(LEADS_H)).all()
            assert (model.calmer_sd_at(LEADS_H) <= PRIOR.sd_at(LEADS_H)).all()
            assert model.on_prior


def test_a_sparse_record_of_rougher_seas_tightens_from_the_first_day() -> None:
    slight = BinError(WORST_OF_ALL, "wind_kt", 0, 24, 240, 10, 1.0, 1.0, 3.0, 3.0)
    drawn = error_model("wind_kt", [slight], PRIOR, source=WORST_OF_ALL, edges_h=EDGES_H, enough_days=30)
    assert drawn.bias_at(12.0) == pytest.approx(PRIOR.bias + 0.5 * 10 / 40)
    model = model_of(record(5, wind_error_kt=6.0, spread_kt=9.0))
    assert (model.bias_at([3, 30, 60]) > PRIOR.bias + 0.5).all()
    assert (model.rougher_sd_at([3, 30, 60]) > PRIOR.sd_at([3, 30, 60])).all()


def test_a_long_good_record_narrows_the_spread_but_not_below_the_least() -> None:
    model = model_of(record(900, wind_error_kt=0.0, spread_kt=2.5))
    assert model.rougher_sd_at([12, 60]) == pytest.approx([2.5, 2.5], abs=0.2)
    assert model.calmer_sd_at([12, 60]) == pytest.approx([2.5, 2.5], abs=0.2)
    sure = model_of(record(900, wind_error_kt=0.0, spread_kt=0.1))
    assert (sure.rougher_sd_at(LEADS_H) >= 2.0).all()


def test_a_lead_without_a_record_keeps_its_prior_beside_one_with_a_long_record() -> None:
    pairs = record(400, wind_error_kt=-2.0, spread_kt=1.0)
    near = model_of(pairs[pairs["lead_h"] < 24])
    assert near.on_prior
    assert near.rougher_sd_at(3.0) < PRIOR.sd_at(3.0)
    past = LEADS_H[LEADS_H >= 24]
    assert near.bias_at(past) == pytest.approx(PRIOR.bias)
    assert near.rougher_sd_at(past) == pytest.approx(PRIOR.sd_at(past))


def test_past_the_last_lead_on_record_only_what_makes_for_rougher_goes_on() -> None:
    low, sure = (
        model_of(record(400, wind_error_kt=error_kt, spread_kt=1.0)).bias_at([60.0, 150.0])
        for error_kt in (4.0, -4.0)
    )
    assert low[1] == low[0] > 3.5
    assert (sure[0], sure[1]) == (0.0, PRIOR.bias)
    odd = {"bias_change": (0.0, 2.0, 0.0), "rougher_factor": (1.0, 2.0, 1.0), "calmer_factor": (1.0, 0.5, 1.0)}
    model = ErrorModel("wind_kt", PRIOR, 30, edges_h=EDGES_H, days=(9, 9, 9), **odd)
    past = [model.bias_at(150.0), model.rougher_sd_at(150.0), model.calmer_sd_at(150.0)]
    assert past == [PRIOR.bias, 5.0, 5.0], "the last bin speaks for what lies past it, and no other"
    surer, wilder = (replace(model, rougher_factor=(1.0, 1.0, last)) for last in (0.5, 2.0))
    assert (surer.rougher_sd_at(150.0), wilder.rougher_sd_at(150.0)) == (5.0, 10.0)


def test_of_both_spreads_and_of_mean_and_median_the_safer_counts() -> None:
    odd = BinError(WORST_OF_ALL, "wind_kt", 0, 24, 9000, 10_000, 1.0, 3.0, 2.0, 6.0)
    swapped = replace(odd, bias=3.0, median=1.0, sd=6.0, robust_sd=2.0)
    for found in (odd, swapped):
        model = error_model("wind_kt", [found], PRIOR, source=WORST_OF_ALL, edges_h=EDGES_H, enough_days=1)
        assert model.bias_at(12.0) == pytest.approx(3.0, abs=0.01)
        spreads = model.rougher_sd_at(12.0), model.calmer_sd_at(12.0)
        assert spreads == pytest.approx((6.0, 2.0), abs=0.01)


def test_another_source_or_quantity_does_not_speak_for_this_one() -> None:
    wild = BinError("grid", "wind_kt", 0, 24, 9000, 400, 9.0, 9.0, 20.0, 20.0)
    gusts = BinError(WORST_OF_ALL, "gust_kt", 0, 24, 9000, 400, 9.0, 9.0, 20.0, 20.0)
    model = error_model("wind_kt", (wild, gusts), PRIOR, source=WORST_OF_ALL, edges_h=EDGES_H, enough_days=30)
    assert model.bias_at(LEADS_H) == pytest.approx(PRIOR.bias)


def test_a_prior_without_spread_is_refused() -> None:
    for broken in (
        {"sd": (0.0, 1.0)},
        {"lead_h": (48, 0)},
        {"lead_h": (48, 48)},
        {"sd": (1.0,)},
        {"least_sd": 0.0},
        {"bias": -1.0},
    ):
        with pytest.raises(ValueError, match="write"):
            PriorError(**({"lead_h": (0, 48), "sd": (3.0, 5.0), "least_sd": 2.0} | broken))  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="from 1"):
        error_model("wind_kt", (), PRIOR, source="grid", edges_h=EDGES_H, enough_days=0)


def test_of_several_areas_the_rougher_counts_at_each_lead_and_the_fewest_days() -> None:
    """One area errs low for fifty days, the other is too rough but wild for forty."""
    low = model_of(record(50, wind_error_kt=4, spread_kt=1))
    wild = model_of(record(40, wind_error_kt=-3, spread_kt=9, seed=2))
    worse = worse_of([low, wild])
    assert worse_of([wild, low]) == worse
    for one in (low, wild):
        assert (worse.bias_at(LEADS_H) >= one.bias_at(LEADS_H)).all()
        assert (worse.rougher_sd_at(LEADS_H) >= one.rougher_sd_at(LEADS_H)).all()
        assert (worse.calmer_sd_at(LEADS_H) <= one.calmer_sd_at(LEADS_H)).all()
    assert worse.days == wild.days
    assert worse.bias_at(6) == low.bias_at(6)
    assert worse.rougher_sd_at(6) == wild.rougher_sd_at(6)
    assert worse_of([wild]) == wild


def test_an_area_without_a_record_counts_as_the_prior_however_good_the_record_of_another() -> None:
    """One station in the bay and strings outside of it: 110 good days inside say nothing of the water outside."""
    terms = Trust().as_terms()
    errors = tuple(
        replace(found, area="Inner Bay")
        for found in errors_by_lead(record(110, wind_error_kt=0, spread_kt=1), terms.edges_h)
    )
    alone = terms.models(errors, ("Inner Bay",))["wind_kt"]
    both = terms.models(errors, ("Inner Bay", "Outer Bay"))["wind_kt"]
    prior = terms.models()["wind_kt"]
    assert (alone.rougher_sd_at([12, 60]) < prior.rougher_sd_at([12, 60])).all(), "it is a good record"
    assert (both.bias_at(LEADS_H) >= prior.bias_at(LEADS_H)).all()
    assert (both.rougher_sd_at(LEADS_H) >= prior.rougher_sd_at(LEADS_H)).all()
    assert (both.calmer_sd_at(LEADS_H) <= prior.calmer_sd_at(LEADS_H)).all()
    assert (alone.unseen, both.unseen, prior.unseen) == ((), ("Outer Bay",), ())
    assert both.on_prior


def test_errors_without_the_areas_that_they_count_for_are_refused() -> None:
    wild = BinError(WORST_OF_ALL, "wind_kt", 0, 24, 9000, 400, 9.0, 9.0, 20.0, 20.0)
    with pytest.raises(ValueError, match="name all areas"):
        Trust().as_terms().models((wild,))


# ---- what the sea did on a day


def seen(
    *, needed_min: float = 120, asked: Sequence[str] = ("wind_kt", "gust_kt", "sea_m"), **numbers: object
) -> bool | None:
    """Four hours from 12:00, the trip possible from 12:30 to 15:30."""
    measured = table(hours_from(datetime(2026, 12, 8, 12, tzinfo=UTC), 4), **numbers)
    begins, ends = datetime(2026, 12, 8, 12, 30, tzinfo=UTC), datetime(2026, 12, 8, 15, 30, tzinfo=UTC)
    place = PlaceSeen("Inner Bay", measured[list(asked)], LIMITS)
    return seen_fit([place], begins, ends, needed_min=needed_min)


CALM = {"wind_kt": 10, "gust_kt": 14, "sea_m": 0.5}


def test_a_day_inside_the_limits_was_fit_and_one_outside_was_not() -> None:
    assert seen(**CALM) is True
    assert seen(wind_kt=15, gust_kt=20, sea_m=0.9) is True
    assert seen(**CALM | {"wind_kt": 16}) is False


def test_a_run_counts_only_within_the_time_the_boat_may_be_out() -> None:
    """Of the hours 12 and 15 only a half each can be used."""
    assert seen(**CALM, needed_min=180) is True
    assert seen(**CALM, needed_min=181) is False
    rough_late = [0.5, 0.5, 1.2, 0.5]
    assert seen(**CALM | {"sea_m": rough_late}, needed_min=90) is True
    assert seen(**CALM | {"sea_m": rough_late}, needed_min=91) is False


def test_a_day_that_the_measurements_cannot_tell_stays_open() -> None:
    hole = [10, np.nan, 10, 10]
    assert seen(**CALM | {"wind_kt": hole}, needed_min=150) is None
    assert seen(**CALM | {"wind_kt": hole}, needed_min=90) is True, "the hours after the hole are enough"
    assert seen(**CALM | {"wind_kt": hole, "sea_m": [0.5, 1.2, 0.5, 0.5]}, needed_min=150) is False
    assert seen() is None
    assert seen(**CALM | {"wind_kt": 15, "sea_m": np.nan}) is None, "a number at its limit is inside it"


def test_a_station_that_measures_no_sea_tells_as_far_as_it_measures() -> None:
    """A sea that was lost leaves the day open; one that is never measured isn't asked, and the place says so."""
    assert seen(**CALM | {"sea_m": np.nan}) is None
    assert seen(**CALM, asked=("wind_kt", "gust_kt")) is True
    columns = table(hours_from(ISSUED, 1), **CALM)[["wind_kt", "gust_kt"]]
    place = PlaceSeen("Inner Bay", columns, LIMITS)
    assert (place.asked, place.lacking) == (("wind_kt", "gust_kt"), ("sea_m",)), "thunder no station measures"


def test_nothing_measured_tells_nothing() -> None:
    begins = datetime(2026, 12, 8, 12, tzinfo=UTC)
    assert seen_fit([], begins, begins + timedelta(hours=3), needed_min=60) is None
    empty = PlaceSeen("Inner Bay", pd.DataFrame(), LIMITS)
    assert seen_fit([empty], begins, begins + timedelta(hours=3), needed_min=60) is None


def test_several_places_have_to_be_fit_at_the_same_time() -> None:
    """One is fit before noon and the other after: no hour is fit at both."""
    hours = hours_from(datetime(2026, 12, 8, 12, tzinfo=UTC), 4)
    early, late = (
        PlaceSeen(area, table(hours, **CALM | {"wind_kt": wind}), LIMITS)
        for area, wind in (("Inner Bay", [10, 10, 16, 16]), ("Outer Bay", [16, 16, 10, 10]))
    )
    begins, ends = hours[0].to_pydatetime(), hours[-1].to_pydatetime() + timedelta(hours=1)
    assert [seen_fit([place], begins, ends, needed_min=120) for place in (early, late)] == [True, True]
    assert seen_fit([early, late], begins, ends, needed_min=60) is False


def test_days_called_pull_are_counted_by_how_they_turned_out() -> None:
    words = [
        ("PULL", True), ("PULL", True), ("PULL", True), ("PULL", False), ("PULL", None),
        ("WAIT", True), ("WAIT", False), ("WAIT", False), ("WAIT", None),
        ("NO CALL", True), ("NO CALL", False), ("NO CALL", None),
    ]  # fmt: skip
    found = call_record([CalledDay(date(2026, 12, n + 1), word, fit, True) for n, (word, fit) in enumerate(words)])
    assert (found.hits, found.false_calls, found.misses, found.right_waits) == (3, 1, 1, 2)
    assert (found.no_call_fit, found.no_call_not_fit, found.not_seen) == (1, 1, 3)
    assert found.pulls == 4
    assert found.contingency.n == 7
    assert found.contingency.false_alarm_ratio == 0.25


def test_a_word_that_was_not_called_counts_none() -> None:
    assert call_record([]) == CallTally(0, 0, 0, 0, 0, 0, 0, 0)


def test_a_word_that_is_no_call_is_refused() -> None:
    with pytest.raises(ValueError, match="MAYBE"):
        call_record([CalledDay(date(2026, 12, 1), "MAYBE", None, False)])


def test_days_that_were_fit_only_as_far_as_was_measured_are_counted_beside() -> None:
    words = [("PULL", True), ("PULL", False), ("WAIT", True), ("WAIT", False), ("NO CALL", True), ("PULL", None)]
    partly = [CalledDay(date(2026, 12, n + 1), word, fit, False) for n, (word, fit) in enumerate(words)]
    found = call_record([*partly, CalledDay(date(2026, 12, 9), "PULL", True, True)])
    assert (found.hits, found.misses, found.as_far) == (2, 1, 2), "a day that came out unfit is known to be"


# ---- verification

FINLEY = Contingency(hits=28, false_alarms=72, misses=23, correct_negatives=2680)


def test_scores_are_those_published_for_finleys_tornado_forecasts() -> None:
    """Finley 1884 as on cawcr.gov.au/projects/verification/Finley/Finley_Tornados.html and in Murphy 1996."""
    assert FINLEY.n == 2803
    published = {
        "proportion_correct": 0.966,
        "frequency_bias": 1.96,
        "detected": 0.549,
        "false_alarm_ratio": 0.720,
        "critical_success": 0.228,
        "equitable_threat": 0.216,
        "peirce": 0.523,
        "heidke": 0.355,
    }
    for score, value in published.items():
        places = 2 if score == "frequency_bias" else 3
        assert round(getattr(FINLEY, score), places) == value, score
    assert FINLEY.false_detected == pytest.approx(0.0262, abs=0.00005)
    assert FINLEY.odds_ratio == pytest.approx(45.3, abs=0.05)


def test_random_hits_of_finleys_table_are_about_two_and_never_yes_scores_better() -> None:
    """The same source: about 2 random hits (1.82), and 98.2 % correct for whoever always says no."""
    assert FINLEY.random_hits == pytest.approx(1.82, abs=0.005)
    never = Contingency(hits=0, false_alarms=0, misses=51, correct_negatives=2752)
    assert never.proportion_correct == pytest.approx(0.982, abs=0.0005)
    assert never.equitable_threat == 0
    assert never.peirce == 0
    assert never.heidke == 0


def test_scores_without_a_denominator_are_not_given() -> None:
    empty = Contingency(0, 0, 0, 0)
    for score in (
        "proportion_correct", "frequency_bias", "detected", "false_alarm_ratio", "false_detected",
        "critical_success", "random_hits", "equitable_threat", "peirce", "heidke", "odds_ratio",
    ):  # fmt: skip
        assert getattr(empty, score) is None, score
    assert Contingency(5, 0, 0, 5).odds_ratio is None
    assert Contingency(5, 0, 0, 5).heidke == 1


def test_always_saying_a_half_scores_a_quarter() -> None:
    """F3; by the definition of the score."""
    parts = brier([0.5] * 10, [True, False] * 5)
    assert parts is not None
    assert parts.score == 0.25
    assert (parts.reliability, parts.resolution, parts.uncertainty, parts.skill) == (0, 0, 0.25, 0)


def test_a_perfect_forecast_scores_nought() -> None:
    parts = brier([1.0, 0.0, 1.0, 0.0], [True, False, True, False])
    assert parts is not None
    assert (parts.score, parts.skill) == (0, 1)


def test_the_parts_add_up_to_the_score_exactly() -> None:
    """With the two within-bin terms of Stephenson et al. 2008; without them they do not."""
    draw = np.random.default_rng(3)
    for bins in (2, 5, 10):
        edges = np.linspace(0, 1, bins + 1).tolist()
        for _ in range(50):
            days = int(draw.integers(1, 60))
            chances = draw.random(days)
            parts = brier(chances.tolist(), (draw.random(days) < chances).tolist(), edges)
            assert parts is not None
            murphy = parts.reliability - parts.resolution + parts.uncertainty
            assert murphy + parts.within_variance - parts.within_covariance == pytest.approx(
                parts.score, abs=1e-12
            )
            if bins == 2 and days > 20:
                assert abs(murphy - parts.score) > 1e-4


def test_chances_that_take_one_value_a_bin_need_no_terms_within() -> None:
    """Murphy 1973, whose parts are of such forecasts."""
    parts = brier([0.15, 0.15, 0.65, 0.65, 0.65], [False, True, True, True, False])
    assert parts is not None
    assert (parts.within_variance, parts.within_covariance) == pytest.approx((0, 0), abs=1e-15)
    assert parts.reliability - parts.resolution + parts.uncertainty == pytest.approx(parts.score)


def test_days_that_cannot_be_told_count_nowhere() -> None:
    told = brier([0.2, 0.8], [False, True])
    assert told == brier([0.2, 0.5, 0.8, 0.9], [False, None, True, None])
    assert brier([0.2, 0.5], [None, None]) is None


def test_a_row_of_the_table_tells_its_days_and_how_sure_their_share_is() -> None:
    """Wilson's interval for 7 of 10 at 80 %: 0.496 to 0.846 (by the formula in Wilson 1927, worked by hand)."""
    parts = brier([0.7] * 10 + [1.0], [True] * 7 + [False] * 3 + [True])
    assert parts is not None
    row, sure = parts.rows
    assert (row.from_chance, row.to_chance, row.given, row.days, row.came) == (0.7, 0.8, 10, 10, 7)
    assert (row.mean_chance, row.share) == pytest.approx((0.7, 0.7))
    z = 1.2816
    for bound in (row.low, row.high):
        assert abs(bound - 0.7) == pytest.approx(z * np.sqrt(bound * (1 - bound) / 10), rel=1e-6)
    assert (sure.from_chance, sure.to_chance, sure.share, sure.high) == (0.9, 1.0, 1.0, 1.0)


def test_the_bar_of_a_share_is_as_wide_as_its_different_days_make_it() -> None:
    """A right forecast of 65 %: 60 days with a chance in each of four mornings, which come or fail together.

    By 240 chances the bar of 80 % would hold the truth for half of such records.
    """
    draw = np.random.default_rng(0)
    days = [date(2026, 11, 1) + timedelta(days=n) for n in range(60)]
    held = 0
    for _ in range(400):
        fit = draw.random(60) < 0.65
        parts = brier([0.65] * 240, np.repeat(fit, 4).tolist(), days=np.repeat(days, 4).tolist())
        assert parts is not None
        (row,) = parts.rows
        assert (row.given, row.days, parts.given, parts.days) == (240, 60, 240, 60)
        held += row.low <= 0.65 <= row.high
    assert 0.72 < held / 400 < 0.88


def test_a_chance_on_an_edge_belongs_to_the_bin_above_however_it_was_reckoned() -> None:
    parts = brier([0.1 + 0.2, 0.3, 1 - 0.7], [True, True, False])
    assert parts is not None
    assert [(row.from_chance, row.days) for row in parts.rows] == [(0.3, 3)]


def test_what_is_no_chance_is_refused() -> None:
    for wrong in (1.2, -0.1, float("nan")):
        with pytest.raises(ValueError, match="from 0 to 1"):
            brier([0.5, wrong], [True, False])
