"""When season's end is told and when the recovery list is a letter. INVENTED DATA."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from recovery_scenes import DEADLINE, TAKE_UP, season_end
from soakbell.planning.season_end import SeasonEnd
from soakbell.planning.season_told import LETTER_DAYS, TOLD_FROM_DAYS, SeasonAhead

END = SeasonEnd(DEADLINE, TAKE_UP.reason, date(2027, 5, 1), date(2027, 5, 1), date(2027, 10, 5), None)


def ahead(days_left: int, starts: tuple[tuple[float, date | None], ...] = ()) -> SeasonAhead:
    return SeasonAhead(DEADLINE - timedelta(days=days_left), END, replace(season_end(), starts=starts))


HOME = replace(season_end(), trips=(), unplanned=(), aboard=(), missing=())


@pytest.mark.parametrize(
    ("days_left", "near"), [(TOLD_FROM_DAYS + 1, False), (TOLD_FROM_DAYS, True), (-200, True)]
)
def test_the_end_is_in_sight_from_its_day_on_until_all_is_home(days_left: int, near: bool) -> None:
    assert ahead(days_left).in_sight is near
    assert not replace(ahead(days_left), recovery=HOME).in_sight
    assert not replace(ahead(days_left), recovery=None).in_sight
    assert not replace(ahead(days_left), end=None).in_sight


def test_the_list_is_a_letter_on_its_days_and_past_the_deadline_daily() -> None:
    asked = [days for days in range(60, -10, -1) if ahead(days).asks_for_letter]
    assert asked == [*LETTER_DAYS, *range(-1, -10, -1)]


def test_the_list_is_a_letter_on_the_eve_of_each_day_to_start_by() -> None:
    today = DEADLINE - timedelta(days=20)
    eve = ((0.8, None), (0.95, today + timedelta(days=1)))
    assert ahead(20, eve).asks_for_letter
    assert not ahead(19, eve).asks_for_letter
    assert not ahead(21, eve).asks_for_letter


def test_with_nothing_on_the_list_there_is_never_a_letter() -> None:
    for days in (*LETTER_DAYS, -1):
        assert not replace(ahead(days), recovery=HOME).asks_for_letter
