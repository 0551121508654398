"""When season's end is told and when the recovery list is a letter. INVENTED DATA."""

from __future__ import annotations

from collections.abc import Container
from dataclasses import replace
from datetime import date, timedelta

import pytest

from recovery_scenes import DEADLINE, TAKE_UP, season_end
from soakbell.letters.recovery_words import lead_words
from soakbell.planning.season_end import SeasonEnd
from soakbell.planning.season_told import LETTER_DAYS, TOLD_FROM_DAYS, SeasonAhead

END = SeasonEnd(DEADLINE, TAKE_UP.reason, date(2027, 5, 1), date(2027, 5, 1), date(2027, 10, 5))


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


def told_on(days_left: int) -> date:
    return DEADLINE - timedelta(days=days_left)


def letters(days_left: range, asleep: Container[int] = (), **listed: object) -> list[int]:
    """Days on which the list is a letter, while the service sleeps on some of them."""
    asked: list[int] = []
    for days in days_left:
        one = ahead(days)
        one = replace(one, recovery=replace(one.recovery, **listed))  # type: ignore[type-var, arg-type]
        if days not in asleep and one.asks_for_letter(told_on(asked[-1]) if asked else None):
            asked.append(days)
    return asked


def test_the_list_is_a_letter_on_its_days_and_past_the_deadline_daily() -> None:
    assert letters(range(60, -10, -1)) == [*LETTER_DAYS, *range(-1, -10, -1)]


def test_a_list_that_an_evening_missed_comes_on_the_next_one() -> None:
    assert letters(range(60, 5, -1), asleep=(30, 14, 13)) == [29, 12, 7]


def test_the_list_is_a_letter_on_the_eve_of_each_day_to_start_by() -> None:
    today = told_on(20)
    eve = ((0.8, None), (0.95, today + timedelta(days=1)))
    assert ahead(20, eve).asks_for_letter(told_on(30))
    assert not ahead(19, eve).asks_for_letter(told_on(20))
    assert not ahead(21, eve).asks_for_letter(told_on(30))


def test_a_start_that_moves_over_its_eve_is_told_the_same_evening() -> None:
    assert ahead(20, ((0.95, told_on(20)),)).asks_for_letter(told_on(30))


@pytest.mark.parametrize(
    "left", [{"of_before": 1}, {"dropped": (("Outer Bar", 16),)}, {"unknown": ("Outer Bar",)}], ids=str
)
def test_traps_of_before_ask_for_a_weekly_list_when_the_next_end_is_far(left: dict[str, object]) -> None:
    assert letters(range(214, 190, -1), **left) == [214, 207, 200, 193]
    assert letters(range(214, 190, -1)) == []


def test_with_nothing_on_the_list_there_is_never_a_letter() -> None:
    for days in (*LETTER_DAYS, -1):
        assert not replace(ahead(days), recovery=HOME).asks_for_letter(None)


def test_a_string_that_nobody_can_count_keeps_the_end_in_sight() -> None:
    listed = replace(HOME, unknown=("Outer Bar",))
    assert not listed.all_home
    assert replace(ahead(-1), recovery=listed).asks_for_letter(None)
    assert lead_words(listed) == (
        "Outer Bar is in the log and not in the settings: how many of its traps are out isn't known. Put them "
        "back in the settings until the log is told what became of them."
    )
