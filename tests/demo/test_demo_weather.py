"""The invented weather: a story that is the same each time, forecast well for the day and worse further on."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from demo.weather import FORTNIGHT, HOUR, Weather

WEATHER = Weather(FORTNIGHT)
LIGHT_DAY = datetime(2026, 12, 20, 8, 30, tzinfo=UTC)
BEFORE_THE_BLOW = datetime(2026, 12, 9, 8, 30, tzinfo=UTC)
IN_THE_BLOW = datetime(2026, 12, 9, 15, tzinfo=UTC)


def test_the_same_scenario_gives_the_same_forecast():
    again = Weather(FORTNIGHT)
    at = LIGHT_DAY + 60 * HOUR
    assert again.forecast(LIGHT_DAY, at) == WEATHER.forecast(LIGHT_DAY, at)


def test_another_seed_gives_another_forecast_of_the_same_weather():
    other = Weather(replace(FORTNIGHT, seed=731))
    at = LIGHT_DAY + 60 * HOUR
    assert other.truth(at) == WEATHER.truth(at)
    assert other.forecast(LIGHT_DAY, at).wind_kt != WEATHER.forecast(LIGHT_DAY, at).wind_kt


def test_the_forecast_error_grows_with_the_lead_time():
    def mean_error_kt(lead_h: int) -> float:
        issues = [LIGHT_DAY - timedelta(days=8) + n * 6 * HOUR for n in range(40)]
        errors = []
        for issued_at in issues:
            at = issued_at + lead_h * HOUR
            errors.append(abs(WEATHER.forecast(issued_at, at).wind_kt - WEATHER.truth(at).wind_kt))
        return sum(errors) / len(errors)

    assert mean_error_kt(3) < 0.2  # apart from the one belief that held for a few hours
    assert mean_error_kt(12) < mean_error_kt(48) < mean_error_kt(96)


def test_the_forecasters_learn_of_the_early_blow_only_after_the_morning_letter():
    late = BEFORE_THE_BLOW + 4 * HOUR
    assert WEATHER.truth(IN_THE_BLOW).wind_kt > 19
    assert WEATHER.forecast(BEFORE_THE_BLOW, IN_THE_BLOW).wind_kt < 15
    assert WEATHER.forecast(late, IN_THE_BLOW).wind_kt == pytest.approx(
        WEATHER.truth(IN_THE_BLOW).wind_kt, abs=0.2
    )


def test_wind_turns_the_short_way_round_through_north():
    at = datetime(2026, 12, 12, 3, tzinfo=UTC)  # between 355 and 0 degrees
    assert WEATHER.truth(at).from_deg > 355


def test_zone_texts_are_issued_at_their_hours_and_once_amended():
    issues = [FORTNIGHT.local(at) for at in WEATHER.issues(datetime(2026, 12, 9, 17, tzinfo=UTC), days_back=0)]
    assert [f"{at:%H:%M}" for at in issues] == ["03:30", "06:42", "09:30"]


def test_the_inner_bay_is_calmer_than_the_outer():
    hour = WEATHER.truth(IN_THE_BLOW)
    inner, outer = (WEATHER.in_cell(hour, cell) for cell in FORTNIGHT.cells)
    assert inner.wind_kt < outer.wind_kt
    assert inner.sea_ft < outer.sea_ft
