"""Fit days of past years, counted. Measurements are invented."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import binomtest

from soakbell.planning.fit_chance import DaySpan
from soakbell.planning.fit_climate import fit_climate, fit_days, prior_climate

DAY = date(2020, 6, 1)
BEGIN = datetime(2020, 6, 1, tzinfo=UTC)
USUAL = tuple(month / 100 for month in range(40, 52))
WIND = {"wind_kt": 15.0}


def hourly(wind_kt: Sequence[float], first_h: int = 0, **others: Sequence[float]) -> pd.DataFrame:
    at = pd.date_range(BEGIN + timedelta(hours=first_h), periods=len(wind_kt), freq="h")
    return pd.DataFrame({"wind_kt": wind_kt, **others}, index=at, dtype=float)


def span(begin_h: float, end_h: float, day: int = 0) -> DaySpan:
    at = BEGIN + timedelta(days=day)
    return DaySpan(DAY + timedelta(days=day), at + timedelta(hours=begin_h), at + timedelta(hours=end_h))


def fit(measured: pd.DataFrame, *, needed_h: float = 4, after_h: float = 0, **limits: float) -> bool | None:
    """Whether 1 June is, with light from 06:00 to 18:00."""
    (found,) = fit_days(
        measured, [span(6, 18)], limits or WIND, needed_h=needed_h, break_margin_h=after_h
    ).values()
    return found


def calm(*hours: int, other: float = 30.0) -> list[float]:
    return [10.0 if hour in hours else other for hour in range(24)]


# ---- one day


def test_a_day_is_fit_by_a_run_of_hours_inside_the_limit() -> None:
    assert fit(hourly(calm(8, 9, 10, 11))) is True
    assert fit(hourly(calm(8, 9, 10))) is False
    assert fit(hourly(calm(8, 9, 11, 12))) is False, "hours that hang together are needed"


def test_the_limit_itself_is_inside() -> None:
    assert fit(hourly([15.0] * 24)) is True
    assert fit(hourly([15.01] * 24)) is False


def test_only_hours_wholly_within_light_count() -> None:
    assert fit(hourly(calm(4, 5, 6, 7))) is False
    assert fit(hourly(calm(14, 15, 16, 17))) is True
    assert fit(hourly(calm(15, 16, 17, 18))) is False
    half = [span(6.5, 10.5)]
    assert fit_days(hourly(calm(*range(24))), half, WIND, needed_h=4, break_margin_h=0)[DAY] is False


def test_hours_after_landing_must_be_fit_too_and_may_lie_in_the_dark() -> None:
    assert fit(hourly(calm(8, 9, 10, 11)), after_h=2) is False
    assert fit(hourly(calm(14, 15, 16, 17, 18, 19)), after_h=2) is True


def test_a_part_of_an_hour_takes_a_whole_one() -> None:
    assert fit(hourly(calm(8, 9, 10, 11)), needed_h=4.1) is False


def test_every_quantity_that_is_limited_is_asked() -> None:
    seas = [0.5] * 24
    seas[9] = 2.0
    both = hourly(calm(8, 9, 10, 11), sea_m=seas)
    assert fit(both, wind_kt=15.0) is True
    assert fit(both, wind_kt=15.0, sea_m=1.0) is False


def test_an_hour_that_is_not_known_is_not_fit() -> None:
    holed = calm(8, 9, 10, 11)
    holed[9] = float("nan")
    assert fit(hourly(holed)) is False
    assert fit(hourly(calm(8, 9, 10, 11)), wind_kt=15.0, sea_m=1.0) is None, "no sea was measured at all"


def test_a_day_with_too_few_hours_known_is_not_told() -> None:
    """Of 12 hours of light 10 are known, then 9: less than the 80 % that are asked."""
    holed = calm(*range(24))
    holed[6] = holed[7] = float("nan")
    assert fit(hourly(holed)) is True
    holed[8] = float("nan")
    assert fit(hourly(holed)) is None


def test_hours_past_the_ends_of_the_record_are_not_known() -> None:
    assert fit(hourly([10.0] * 6, first_h=8)) is None
    assert fit(hourly([10.0] * 12, first_h=6), after_h=1) is True
    assert fit(hourly([10.0] * 12, first_h=6), needed_h=12, after_h=1) is False
    assert fit(hourly([])) is None
    around = [span(6, 18, -5), span(6, 18, 9)]
    told = fit_days(hourly(calm(*range(24))), around, WIND, needed_h=4, break_margin_h=0)
    assert told == {date(2020, 5, 27): None, date(2020, 6, 10): None}


def test_a_row_that_is_missing_is_a_hole() -> None:
    measured = hourly(calm(8, 9, 10, 11))
    assert fit(measured.drop(measured.index[9])) is False


def test_a_day_without_light_is_not_fit() -> None:
    assert fit_days(hourly(calm(1)), [DaySpan(DAY, None, None)], WIND, needed_h=4, break_margin_h=0)[DAY] is False


@given(
    st.lists(st.one_of(st.floats(0, 40), st.just(float("nan"))), min_size=24, max_size=24),
    st.integers(0, 23),
    st.floats(0, 20),
)
@settings(max_examples=100)
def test_more_wind_or_a_hole_or_a_longer_trip_never_makes_a_day_fit(
    wind: list[float], at: int, more: float
) -> None:
    rank = {True: 2, False: 1, None: 1}
    was = rank[fit(hourly(wind), needed_h=3)]
    for changed in (wind[at] + more, float("nan")):
        assert rank[fit(hourly([*wind[:at], changed, *wind[at + 1 :]]), needed_h=3)] <= was
    assert rank[fit(hourly(wind), needed_h=4)] <= was
    assert rank[fit(hourly(wind), needed_h=3, after_h=1)] <= was
    assert rank[fit(hourly(wind), needed_h=3, wind_kt=14.0)] <= was


def test_a_limit_that_no_station_measures_is_refused() -> None:
    with pytest.raises(ValueError, match="limits of steepness; name some of wind_kt"):
        fit(hourly([1.0]), steepness=0.05)


# ---- years


def years(chances: Sequence[float], *, count: int = 1, seed: int = 1) -> dict[date, bool | None]:
    """Days from 2001 on, drawn with the chance of their month."""
    rng = np.random.default_rng(seed)
    days = [date(2001, 1, 1) + timedelta(days=n) for n in range(365 * count + count // 4)]
    return {day: bool(rng.random() < chances[day.month - 1]) for day in days}


def test_months_are_counted_and_bounded_as_by_wilson() -> None:
    """Wilson 1927 at 80 %, against another implementation (scipy.stats.binomtest)."""
    days = years([0.3] * 12)
    days[date(2001, 3, 4)] = None
    march = fit_climate(days, USUAL).months[2]
    told = [is_fit for day, is_fit in days.items() if day.month == 3 and is_fit is not None]
    assert (march.month, march.days, march.known, march.fit) == (3, 31, 30, sum(told))
    expected = binomtest(march.fit, 30).proportion_ci(0.80, method="wilson")
    assert march.bounds == pytest.approx((expected.low, expected.high), abs=1e-4)


def test_the_chance_of_a_day_is_smoothed_over_the_month_around_it() -> None:
    """Half of the weight of a season's first day lies on either side."""
    seasons = [0.0] * 6 + [1.0] * 6
    climate = fit_climate(years(seasons, count=8), USUAL)
    assert climate.chance_on(date(2027, 4, 1)) == pytest.approx(0, abs=0.01)
    assert climate.chance_on(date(2027, 7, 1)) == pytest.approx(0.5, abs=0.02)
    assert climate.chance_on(date(2027, 10, 1)) == pytest.approx(1, abs=0.01)
    assert climate.chance_on(date(2028, 1, 1)) == pytest.approx(0.5, abs=0.02), "around the turn of the year too"


def test_a_leap_day_has_a_chance_like_its_neighbours() -> None:
    climate = fit_climate(years([0.4] * 12, count=4), USUAL)
    assert climate.chance_on(date(2028, 2, 29)) == pytest.approx(climate.chance_on(date(2027, 2, 28)), abs=0.01)
    assert climate.chance_on(date(2027, 12, 31)) == climate.chance_on(date(2028, 12, 31))


def test_a_month_with_too_few_days_told_has_the_chance_held_beforehand() -> None:
    days = {
        day: None if day.month == 6 and day.day > 9 else fit for day, fit in years([0.9] * 12, count=1).items()
    }
    climate = fit_climate(days, USUAL)
    assert climate.prior_months == (6,)
    assert climate.chance_on(date(2027, 6, 15)) == USUAL[5]
    assert climate.chance_on(date(2027, 7, 15)) == pytest.approx(0.9, abs=0.1)


def test_without_a_day_told_all_is_held_beforehand() -> None:
    climate = fit_climate({DAY: None}, USUAL)
    assert climate == prior_climate(USUAL)
    assert climate.prior_months == tuple(range(1, 13))
    assert (climate.months, climate.years) == ((), ())
    assert [climate.chance_on(date(2027, month, 28)) for month in range(1, 13)] == list(USUAL)


def spells(tie: float, count: int, seed: int = 2) -> dict[date, bool | None]:
    """Each day is as the day before, or drawn anew: the correlation of neighbours is ``tie``."""
    rng = np.random.default_rng(seed)
    days, is_fit = {}, True
    for n in range(365 * count):
        is_fit = is_fit if rng.random() < tie else bool(rng.random() < 0.5)
        days[date(2001, 1, 1) + timedelta(days=n)] = is_fit
    return days


@pytest.mark.parametrize("tie", [0.0, 0.3, 0.6])
def test_the_correlation_of_neighbouring_days_is_found(tie: float) -> None:
    assert fit_climate(spells(tie, 20), USUAL).correlation == pytest.approx(tie, abs=0.04)


def test_the_seasons_are_not_taken_for_spells() -> None:
    days = years([0.5 - 0.4 * math.cos(2 * math.pi * month / 12) for month in range(12)], count=20)
    fit_or_not = np.array(list(days.values()), dtype=float)
    assert np.corrcoef(fit_or_not[:-1], fit_or_not[1:])[0, 1] > 0.25
    assert fit_climate(days, USUAL).correlation < 0.05


def test_the_years_told_are_named() -> None:
    days = years([0.5] * 12, count=3)
    days = {day: None if day.year == 2002 else fit for day, fit in days.items()}
    assert fit_climate(days, USUAL).years == (2001, 2003)
