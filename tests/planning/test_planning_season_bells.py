"""Bells of the season, against the published dates of the fisheries. Boats are invented."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path

import pytest

from boats import NINE_FOOT, OUTER_BAR
from soakbell.fishery.rules import DateSpan, Effect, Fishery, Order, Rule
from soakbell.fishery.season import opening, season_day, take_up
from soakbell.gear.fold import GearState, StringState, TrapState, Whereabouts
from soakbell.gear.hushed import Hush, Hushed, RungBell
from soakbell.planning.bells import Bell, to_ring
from soakbell.planning.season_bells import harvest_bells, season_bells, setting_bells, start_bells
from soakbell.planning.season_end import season_end
from soakbell.settings import load_fishery

FISHERIES = Path(__file__).parents[2] / "config" / "fisheries"
STONE = load_fishery(FISHERIES / "florida-stone-crab.toml")
"""R1, R4, R5: placed from 5 October, harvest 15 October to 1 May, traps out by 6 May (second-hand)."""
BLUE = load_fishery(FISHERIES / "florida-blue-crab.toml")
"""R22: no closed season but for ten days in a region, in odd years on the west coast (second-hand)."""

DAY = timedelta(days=1)
FISHING, ABOARD, ASHORE = Whereabouts.FISHING, Whereabouts.ABOARD, Whereabouts.ASHORE
MISSING, RETIRED, NEVER_SET = Whereabouts.MISSING, Whereabouts.RETIRED, Whereabouts.NEVER_SET
DEADLINE = date(2027, 5, 6)


def boat(*where: Whereabouts, gone: Iterable[Whereabouts] = ()) -> GearState:
    traps = tuple(TrapState(place, each) for place, each in enumerate(where, 1))
    former = tuple(TrapState(1, each) for each in gone)
    return GearState({"Nine Foot": StringState("Nine Foot", NINE_FOOT.start, NINE_FOOT.end, traps, former)})


def begins(day: date) -> datetime:
    return datetime.combine(day, time(4), UTC)


def order(effect: Effect, first: date, last: date) -> Order:
    by = Rule(name="an order", value=DateSpan(first, last), source="invented", checked=first, sure="read")
    return Order(effect, by)


def countdown(
    gear: GearState, today: date, fishery: Fishery = STONE, region: str | None = None
) -> tuple[Bell, ...]:
    due = take_up(fishery, today, sector="commercial", region=region)
    return season_bells(gear, due, today, begins)


def harvest(gear: GearState, today: date, fishery: Fishery = STONE, region: str | None = None) -> tuple[Bell, ...]:
    end = season_end(fishery, today, sector="commercial", region=region)
    return harvest_bells(gear, (NINE_FOOT,), end, today, begins)


def setting(gear: GearState, today: date, fishery: Fishery = STONE, region: str | None = None) -> tuple[Bell, ...]:
    first = opening(fishery, today, sector="commercial", region=region)
    may_set = season_day(fishery, today, sector="commercial", region=region).may_set
    return setting_bells(gear, first, today, begins, may_set=may_set)


def days_rung(told: Iterable[tuple[date, tuple[Bell, ...]]], hushed: Hushed = Hushed()) -> list[date]:  # noqa: B008
    """The days on which a letter tells, where each day at noon one may, and marks what it told."""
    rung: set[RungBell] = set()
    rang = []
    for day, bells in told:
        ring = to_ring(bells, rung, hushed, begins(day) + timedelta(hours=8))
        rung |= {replace(bell.rung, rung_at=begins(day)) for bell in ring}
        rang += [day] if ring else []
    return rang


def every_day(first: date, days: int) -> list[date]:
    return [first + n * DAY for n in range(days)]


# ---- the take-up deadline


def test_the_deadline_rings_at_30_14_7_3_and_1_days_on_the_last_and_then_every_day() -> None:
    days = every_day(date(2027, 3, 20), 50)
    left = [(DEADLINE - day).days for day in days_rung((day, countdown(boat(FISHING), day)) for day in days)]
    assert left == [30, 14, 7, 3, 1, 0, -1, -2]


@pytest.mark.parametrize(
    ("days_left", "since"), [(30, 30), (20, 30), (14, 14), (1, 1), (0, 0), (-1, -1), (-9, -9)]
)
def test_what_stands_of_the_deadline_began_with_its_last_step(days_left: int, since: int) -> None:
    (told,) = countdown(boat(FISHING), DEADLINE - days_left * DAY)
    assert told.values["days_left"] == days_left
    assert told.since == begins(DEADLINE - since * DAY)


def test_more_than_30_days_ahead_the_deadline_is_silent() -> None:
    assert countdown(boat(FISHING), DEADLINE - 31 * DAY) == ()


def test_with_every_trap_home_or_written_off_the_deadline_is_silent_before_it_and_past_it() -> None:
    for day in (DEADLINE - DAY, DEADLINE, DEADLINE + DAY):
        assert countdown(boat(ASHORE, RETIRED, NEVER_SET, gone=[RETIRED]), day) == ()


def test_a_missing_trap_may_be_in_the_water_and_keeps_the_deadline_ringing() -> None:
    for gear in (boat(ASHORE, MISSING), boat(ASHORE, gone=[MISSING])):
        for day in (DEADLINE, DEADLINE + 90 * DAY):
            (told,) = countdown(gear, day)
            assert (told.values["fishing"], told.values["missing"]) == (0, 1)


def test_a_trap_aboard_is_out_of_the_water_but_not_home_yet() -> None:
    assert countdown(boat(ABOARD), DEADLINE) == ()
    (told,) = countdown(boat(ABOARD), DEADLINE + DAY)
    assert told.values["aboard"] == 1


def test_settled_past_the_deadline_it_rings_again_the_next_day_and_snoozed_it_waits() -> None:
    days = every_day(DEADLINE + DAY, 6)
    told = [(day, countdown(boat(MISSING), day)) for day in days]
    (first,) = told[0][1]
    settled = Hush(first.name, settled_at=first.since, settled_causes=(first.cause,), settled_level=first.level)
    assert days_rung(told, Hushed((settled,))) == days[1:]
    snoozed = Hush(first.name, snoozed_until=begins(days[3]))
    assert days_rung(told, Hushed((snoozed,))) == days[3:]


def test_an_extension_granted_on_the_last_day_silences_the_deadline_and_counts_down_to_its_own() -> None:
    longer = replace(STONE, orders=(order("extends take-up", DEADLINE + DAY, DEADLINE + 10 * DAY),))
    days = every_day(DEADLINE - 2 * DAY, 14)
    told = [(day, countdown(boat(FISHING), day, STONE if day < DEADLINE else longer)) for day in days]
    assert [(day - DEADLINE).days for day in days_rung(told)] == [-2, -1, 0, 3, 7, 9, 10, 11]
    assert {bell.subject for day, bells in told if day >= DEADLINE for bell in bells} == {"2027-05-16"}


def test_what_was_settled_of_the_old_deadline_holds_nothing_against_the_extended_one() -> None:
    (old,) = countdown(boat(FISHING), DEADLINE)
    settled = Hushed((Hush(old.name, settled_at=begins(DEADLINE), settled_causes=(old.cause,), settled_level=9),))
    longer = replace(STONE, orders=(order("extends take-up", DEADLINE + DAY, DEADLINE + 3 * DAY),))
    extended = countdown(boat(FISHING), DEADLINE, longer)
    assert to_ring(extended, (old.rung,), settled, begins(DEADLINE)) == extended


@pytest.mark.parametrize(("region", "closes"), [("southwest", date(2027, 7, 10)), ("big bend", date(2027, 7, 20))])
def test_a_regional_closure_amid_the_season_counts_down_like_its_end(region: str, closes: date) -> None:
    """R22. Once traps are allowed again, the next deadline is that of 2029."""
    days = every_day(closes - 40 * DAY, 55)
    rang = days_rung((day, countdown(boat(FISHING), day, BLUE, region)) for day in days)
    assert [(day - closes).days for day in rang] == [-31, -15, -8, -4, -2, -1, *range(10)]


def test_a_closure_that_an_order_ends_early_stops_ringing_with_it() -> None:
    """Commission notice of July 2025: Big Bend's closure ended with the 25th (second-hand)."""
    days = every_day(date(2025, 7, 19), 14)
    rang = days_rung((day, countdown(boat(FISHING), day, BLUE, "big bend")) for day in days)
    assert rang == every_day(date(2025, 7, 19), 7)


def test_a_closure_by_order_counts_down_too() -> None:
    """R23: Texas, no trap from 19 to 28 February 2027 (31 TAC 57, date derived)."""
    closed = replace(STONE, orders=(order("bars traps", date(2027, 2, 19), date(2027, 2, 28)),))
    (told,) = countdown(boat(FISHING), date(2027, 2, 15), closed)
    assert (told.values["deadline"], told.values["days_left"]) == (date(2027, 2, 18), 3)
    assert countdown(boat(FISHING), date(2027, 3, 1), closed) == ()


# ---- start-by dates

FIRST = date(2027, 4, 12)
STARTS = ((0.8, date(2027, 4, 26)), (0.95, date(2027, 4, 20)), (0.99, date(2027, 4, 14)))


def start(today: date, starts: tuple[tuple[float, date | None], ...] = STARTS) -> tuple[Bell, ...]:
    return start_bells(boat(FISHING), starts, DEADLINE, today, begins)


def test_each_day_to_start_by_rings_once_as_it_comes() -> None:
    rang = days_rung((day, start(day)) for day in every_day(FIRST, 25))
    assert rang == [date(2027, 4, 14), date(2027, 4, 20), date(2027, 4, 26)]


def test_a_day_to_start_by_is_told_with_those_that_are_still_ahead() -> None:
    (told,) = start(date(2027, 4, 21))
    assert (told.values["chance"], told.values["start_by"]) == (0.95, date(2027, 4, 20))
    assert told.values["later"] == ((0.8, date(2027, 4, 26)),)


def test_a_day_to_start_by_that_moves_with_the_weather_rings_once_for_its_chance() -> None:
    """It comes, goes off again by two days, comes, and is then lost for good."""
    by_day = {0: 0, 1: 3, 2: 3, 3: 3, 4: 2, 5: None, 6: 8, 7: None}
    told = []
    for n, day in by_day.items():
        moved = ((0.95, None if day is None else FIRST + day * DAY),)
        told.append((FIRST + n * DAY, start(FIRST + n * DAY, moved)))
    assert days_rung(told) == [FIRST]
    assert len({bell.cause for _, bells in told for bell in bells}) == 1


def test_a_chance_that_no_day_has_any_more_counts_as_come() -> None:
    (told,) = start(FIRST, ((0.8, FIRST + DAY), (0.95, None), (0.99, None)))
    assert (told.level, told.values["chance"], told.values["start_by"]) == (2, 0.95, None)


def test_an_extension_makes_the_days_to_start_by_new_ones() -> None:
    (old,) = start(date(2027, 4, 28))
    later = tuple((chance, day + 10 * DAY) for chance, day in STARTS)
    (new,) = start_bells(boat(FISHING), later, DEADLINE + 10 * DAY, date(2027, 4, 28), begins)
    assert to_ring((new,), (old.rung,), Hushed(), begins(FIRST)) == (new,)


def test_no_day_to_start_by_is_told_without_a_trap_in_the_water_nor_past_the_deadline_nor_without_odds() -> None:
    assert start_bells(boat(ASHORE, MISSING), STARTS, DEADLINE, DEADLINE, begins) == ()
    assert start(DEADLINE + DAY) == ()
    assert start(DEADLINE, ()) == ()
    assert start_bells(boat(FISHING), STARTS, None, DEADLINE, begins) == ()


# ---- the last harvest day

LAST_HARVEST = date(2027, 5, 1)


def test_the_last_harvest_day_rings_at_7_3_and_1_days_and_on_it() -> None:
    days = every_day(date(2027, 4, 1), 60)
    rang = days_rung((day, harvest(boat(FISHING), day)) for day in days)
    assert [(LAST_HARVEST - day).days for day in rang] == [7, 3, 1, 0]


def test_the_last_harvest_day_is_told_with_the_last_useful_rebait_of_each_string_at_work() -> None:
    """Nine Foot's floor of 5 days before 1 May, and a day for the hour of rebaiting, is 25 April."""
    assert NINE_FOOT.soak_floor_h == 120
    outer = StringState("Outer Bar", OUTER_BAR.start, OUTER_BAR.end, (TrapState(1, ASHORE),))
    both = GearState({**boat(ABOARD).strings, "Outer Bar": outer})
    end = season_end(STONE, date(2027, 4, 24), sector="commercial", region=None)
    (told,) = harvest_bells(both, (NINE_FOOT, OUTER_BAR), end, date(2027, 4, 24), begins)
    assert told.values["rebait"] == (("Nine Foot", date(2027, 4, 25)),)
    assert told.values["traps"] == 1


def test_with_no_trap_at_work_the_last_harvest_day_is_silent() -> None:
    assert harvest(boat(ASHORE, MISSING, NEVER_SET), LAST_HARVEST) == ()


def test_an_extension_of_the_take_up_gives_no_day_of_harvest_more() -> None:
    longer = replace(STONE, orders=(order("extends take-up", DEADLINE + DAY, DEADLINE + 10 * DAY),))
    assert harvest(boat(FISHING), LAST_HARVEST, longer) == harvest(boat(FISHING), LAST_HARVEST)
    assert harvest(boat(FISHING), LAST_HARVEST + DAY, longer) == ()


def test_harvest_barred_by_order_up_to_the_season_end_moves_its_last_day() -> None:
    barred = replace(STONE, orders=(order("bars harvest", date(2027, 4, 25), LAST_HARVEST),))
    (told,) = harvest(boat(FISHING), date(2027, 4, 23), barred)
    assert (told.values["last_harvest"], told.values["days_left"]) == (date(2027, 4, 24), 1)


# ---- the first day to set on

SET_FROM = date(2027, 10, 5)


def test_the_day_to_set_from_rings_at_14_7_and_1_days_and_on_it() -> None:
    days = every_day(date(2027, 6, 1), 200)
    rang = days_rung((day, setting(boat(ASHORE), day)) for day in days)
    assert [(SET_FROM - day).days for day in rang] == [14, 7, 1, 0]


def test_the_day_to_set_from_names_its_rule_and_the_first_harvest_day() -> None:
    (told,) = setting(boat(NEVER_SET, ASHORE, FISHING), SET_FROM - 3 * DAY)
    assert (told.values["waiting"], told.values["harvest_from"]) == (2, date(2027, 10, 15))
    assert told.values["rule"] == "earliest placing"


def test_with_no_trap_out_of_the_water_the_day_to_set_from_is_silent() -> None:
    assert setting(boat(FISHING, MISSING, RETIRED), SET_FROM) == ()


def test_while_traps_may_be_set_a_later_opening_is_not_waited_for() -> None:
    """R22: before the closure of 10 to 19 July traps may still go in; within it they wait for the 20th."""
    spare = boat(FISHING, ASHORE)
    days = every_day(date(2027, 7, 1), 30)
    rang = days_rung((day, setting(spare, day, BLUE, "southwest")) for day in days)
    assert rang == [date(2027, 7, day) for day in (10, 13, 19, 20)]


def test_a_closure_lifted_by_order_lets_traps_back_on_the_day_it_says() -> None:
    """Commission notice of July 2025: traps back from 26 July (second-hand)."""
    (told,) = setting(boat(ASHORE), date(2025, 7, 25), BLUE, "big bend")
    assert told.values["set_from"] == date(2025, 7, 26)
    assert told.values["rule"] == "Big Bend closure of 2025 ended early"
