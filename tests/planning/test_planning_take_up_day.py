"""On which days traps may only be taken up, against the published dates (R1, R4, R5, R22) and invented orders."""

from __future__ import annotations

import dataclasses
from datetime import date
from pathlib import Path

import pytest

from soakbell.fishery.rules import DateSpan, Effect, Fishery, Order, Rule
from soakbell.planning.take_up_day import take_up_day
from soakbell.settings import load_fishery

FISHERIES = Path(__file__).parents[2] / "config" / "fisheries"
STONE = load_fishery(FISHERIES / "florida-stone-crab.toml")
BLUE = load_fishery(FISHERIES / "florida-blue-crab.toml")


def ordered(fishery: Fishery, *orders: tuple[Effect, date, date]) -> Fishery:
    def order(effect: Effect, first: date, last: date) -> Order:
        rule = Rule(effect, DateSpan(first, last), "invented", date(2026, 11, 25), "read")
        return Order(effect, rule)

    return dataclasses.replace(fishery, orders=tuple(order(*each) for each in orders))


def dates(day: date, fishery: Fishery = STONE, region: str | None = "elsewhere") -> tuple[date, date] | None:
    found = take_up_day(fishery, day, sector="commercial", region=region)
    if found is None:
        return None
    assert "harvest" in found.reason.bars
    return found.last_harvest, found.deadline


@pytest.mark.parametrize("region", ["elsewhere", "south", None])
@pytest.mark.parametrize("day", [2, 3, 4, 5, 6])
def test_after_the_last_harvest_day_traps_are_taken_up_until_the_last_day_in_the_water(
    day: int, region: str | None
) -> None:
    """R1, R5: harvest to 1 May, traps out by 6 May."""
    assert dates(date(2027, 5, day), region=region) == (date(2027, 5, 1), date(2027, 5, 6))


@pytest.mark.parametrize(
    "day",
    [
        date(2027, 5, 1),  # the last harvest day
        date(2027, 5, 7),  # traps were due out
        date(2027, 8, 1),
        date(2027, 10, 5),  # R4: traps may be set, none pulled before 15 Oct
        date(2027, 10, 14),
        date(2027, 1, 15),
    ],
)
def test_no_other_day_is_one_to_take_traps_up(day: date) -> None:
    assert dates(day) is None


def test_before_the_opening_nothing_says_that_traps_must_come_home_though_the_harvest_never_opens() -> None:
    never = ordered(STONE, ("bars harvest", date(2026, 10, 15), date(2027, 5, 1)))
    assert dates(date(2026, 10, 10), never) is None
    assert dates(date(2027, 2, 1), never) is None


def test_an_order_that_stops_the_harvest_for_some_days_leaves_traps_where_they_are() -> None:
    stopped = ordered(STONE, ("bars harvest", date(2027, 1, 10), date(2027, 1, 20)))
    assert dates(date(2027, 1, 15), stopped) is None


def test_an_order_that_stops_it_until_the_season_ends_leaves_only_the_taking_up() -> None:
    stopped = ordered(STONE, ("bars harvest", date(2027, 4, 10), date(2027, 5, 1)))
    assert dates(date(2027, 4, 9), stopped) is None
    assert dates(date(2027, 4, 10), stopped) == (date(2027, 4, 9), date(2027, 5, 6))


def test_an_extension_gives_days_and_an_order_against_traps_takes_them() -> None:
    longer = ordered(STONE, ("extends take-up", date(2027, 5, 7), date(2027, 5, 13)))
    assert dates(date(2027, 5, 13), longer) == (date(2027, 5, 1), date(2027, 5, 13))
    assert dates(date(2027, 5, 14), longer) is None
    after_a_gap = ordered(STONE, ("extends take-up", date(2027, 5, 8), date(2027, 5, 13)))
    assert dates(date(2027, 5, 7), after_a_gap) is None
    assert dates(date(2027, 5, 9), after_a_gap) == (date(2027, 5, 1), date(2027, 5, 13))
    assert dates(date(2027, 10, 5), after_a_gap) is None
    shorter = ordered(STONE, ("bars traps", date(2027, 5, 4), date(2027, 5, 6)))
    assert dates(date(2027, 5, 3), shorter) == (date(2027, 5, 1), date(2027, 5, 3))
    assert dates(date(2027, 5, 4), shorter) is None


def test_a_closure_that_is_fished_up_to_its_eve_has_no_day_to_take_up() -> None:
    """R22: 2027 is odd, so Broward to Pasco is closed from 10 to 19 July."""
    region = BLUE.region_names[0]
    days = [date(2027, month, day) for month in range(1, 13) for day in (5, 9, 10, 15, 19, 20)]
    assert not any(dates(day, BLUE, region) for day in days)
