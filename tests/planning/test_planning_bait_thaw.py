"""Traps to thaw bait for when a likely WAIT might turn out PULL. INVENTED DATA."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from boats import LEDGE, NINE_FOOT, OUTER_BAR
from soakbell.gear.bait_lots import BaitedDay, BaitStock
from soakbell.gear.fold import GearState, StringState, TrapState, Whereabouts
from soakbell.gear.strings import TrapString
from soakbell.gear.wishes import DayWishes
from soakbell.planning.bait_thaw import traps_pulled_first

AT = datetime(2026, 12, 9, 12, tzinfo=UTC)
STRINGS = (LEDGE, NINE_FOOT, OUTER_BAR)
NO_WISH = DayWishes()


def fishing(string: TrapString, traps: int, soaked_h: float) -> StringState:
    since = AT - timedelta(hours=soaked_h)
    places = range(1, traps + 1)
    return StringState(
        string.name,
        string.start,
        string.end,
        tuple(TrapState(place, Whereabouts.FISHING, since, since, f"trap {place}") for place in places),
    )


def boat(*states: StringState) -> GearState:
    return GearState({state.name: state for state in states})


GEAR = boat(fishing(NINE_FOOT, 24, 200), fishing(OUTER_BAR, 36, 250), fishing(LEDGE, 15, 210))


def usual(*traps: int) -> BaitStock:
    return BaitStock(
        baited_with=tuple(
            BaitedDay(AT.date() - timedelta(days=7 * n), "", count) for n, count in enumerate(traps, 1)
        )
    )


def test_the_longest_soak_comes_first_up_to_a_usual_trip() -> None:
    """Soaks of 250, 210 and 200 h: Outer Bar's 36 traps, then Ledge's 15, then Nine Foot's 24."""
    assert traps_pulled_first(GEAR, STRINGS, usual(30, 36, 75), AT, NO_WISH) == 36
    assert traps_pulled_first(GEAR, STRINGS, usual(40, 40, 200), AT, NO_WISH) == 36 + 15
    assert traps_pulled_first(GEAR, STRINGS, usual(200), AT, NO_WISH) == 75
    assert traps_pulled_first(GEAR, STRINGS, BaitStock(), AT, NO_WISH) == 75


def test_no_bait_is_thawed_for_strings_that_are_not_ripe() -> None:
    """Floors of days; 20 h are below each of them."""
    young = boat(fishing(NINE_FOOT, 24, 20), fishing(OUTER_BAR, 36, 20))
    assert traps_pulled_first(young, STRINGS, usual(30), AT, NO_WISH) == 0
    assert traps_pulled_first(young, STRINGS, usual(30), AT, DayWishes(pinned=frozenset({"Nine Foot"}))) == 24


def test_what_the_skipper_barred_is_left_out() -> None:
    assert traps_pulled_first(GEAR, STRINGS, usual(30), AT, DayWishes(barred=frozenset({"Outer Bar"}))) == 15 + 24
    assert traps_pulled_first(GEAR, STRINGS, usual(30), AT, DayWishes(day_barred=True)) == 0
