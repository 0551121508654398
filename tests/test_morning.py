"""From all that is on hand to the call of one morning. All weather is invented, save where captured."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest

from law.world import (
    INNER_GRID,
    NOW,
    OUTER_GRID,
    TEXT,
    WARNINGS,
    alerts,
    labels_for,
    settings_with,
    world,
)
from soakbell.planning.call import CallWord
from soakbell.survey import ReplyKey

HOUR = timedelta(hours=1)


def utc(hour: int, minute: int = 0) -> datetime:
    return datetime(2026, 12, 8, hour, minute, tzinfo=NOW.tzinfo)


# ---- NO CALL is a third state


@pytest.mark.parametrize("key", [TEXT, INNER_GRID, OUTER_GRID, WARNINGS], ids=str)
def test_a_source_that_is_gone_at_the_letter_hour_is_no_call_that_names_it_first(key: ReplyKey) -> None:
    """A2: never a mild WAIT. At 04:30 nobody may leave yet, and the day isn't ruled out."""
    call = world().with_reply(key).call().call
    assert (call.word, call.window) == (CallWord.NO_CALL, None)
    first = call.reasons[0]
    assert (first.code, first.values["kind"], first.values["key"]) == ("source_fault", *key)


def test_known_wind_over_the_limit_all_day_is_a_wait_even_where_a_source_is_gone() -> None:
    call = world(text_wind_kt=30).with_reply(INNER_GRID).call().call
    assert call.word is CallWord.WAIT
    assert call.reasons[0].code == "over_limit"
    assert "source_fault" in [reason.code for reason in call.reasons]


def test_data_that_will_be_too_old_before_first_light_are_no_call_that_says_so() -> None:
    """A1: the list of warnings is fresh at 04:30 but six hours old at 07:15, first light."""
    call = world().with_reply(WARNINGS, alerts(NOW - 4 * HOUR)).call().call
    assert call.word is CallWord.NO_CALL
    assert [reason.code for reason in call.reasons] == ["stale_by_then"]
    assert call.reasons[0].values["fresh_until"] == NOW + 2 * HOUR


def test_a_departure_lies_before_the_moment_at_which_a_source_goes_stale() -> None:
    """A1: at 15:15 a list of 09:15 is six hours old, which is too old; 15:00 is the last quarter hour before."""
    window = world().with_reply(WARNINGS, alerts(utc(9, 15))).call().call.window
    assert window is not None
    assert window.last_departure_at == utc(15)


def test_a_steepness_limit_without_wave_periods_is_no_call_for_want_of_periods() -> None:
    steep = settings_with(("# more limits", "steepness = 0.05"))
    periods = [(label, "Southeast winds 5 to 10 knots. Seas 1 to 2 feet.") for label in labels_for(NOW - HOUR)]
    call = world(settings=steep, periods=periods).call().call
    assert call.word is CallWord.NO_CALL
    assert [(r.code, r.values["quantity"], r.values["place"]) for r in call.reasons] == [
        ("not_known", "period_s", "Inner Bay")
    ]
