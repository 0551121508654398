"""Which traps are on the recovery list, and in which order."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest
from hypothesis import given

from logbook import LEDGE, NINE_FOOT, NOW, logs
from recovery_scenes import ENTRIES, TAKE_UP, TODAY, edt, gear_at_the_end, season_end, told
from recovery_scenes import NOW as EVENING
from scenes import STRINGS
from soakbell.gear.fold import Whereabouts, fold
from soakbell.gear.log import BroughtAshore, Pulled, Recovered, Retired
from soakbell.planning.recovery import RecoveryList, recovery_list
from soakbell.planning.season_end import TakeUpTrip


def after(*more: object) -> RecoveryList:
    """The list without a plan, after some more entries."""
    gear = fold((*ENTRIES, *more), STRINGS)  # type: ignore[arg-type]
    return recovery_list(gear, EVENING, TODAY, take_up=TAKE_UP)


def test_every_trap_that_is_not_home_is_listed_once() -> None:
    """162 traps were set and one was added ashore: 2 are aboard, 4 missing."""
    out = season_end()
    listed = [(trap.string, trap.origin) for _, trap in out.traps()]
    assert len(listed) == len(set(listed)) == out.not_home == 162
    assert (out.fishing, len(out.aboard), len(out.missing)) == (156, 2, 4)


def test_strings_come_in_the_order_of_the_trips_and_the_rest_after_them() -> None:
    assert [(trip and trip.number, string.name, len(string.traps)) for trip, string in season_end().strings()] == [
        (1, "The Hump", 39),
        (1, "Outer Bar", 30),
        (2, "Outer Bar", 6),
        (2, "Grassy Edge", 29),
        (None, "Nine Foot", 20),
        (None, "Ledge", 32),
    ]


def test_a_missing_trap_is_in_no_trip_but_apart_with_a_place_to_look() -> None:
    out = season_end()
    assert [(trap.string, trap.place, trap.replaced) for trap in out.missing] == [
        ("Grassy Edge", 17, False),
        ("Nine Foot", 8, False),
        ("Nine Foot", 9, True),
        ("The Hump", 31, False),
    ]
    for trap in out.missing:
        assert trap.box is not None
        assert trap.near is not None
        assert trap.box.south_deg < trap.near.lat_deg < trap.box.north_deg
        assert trap.box.west_deg < trap.near.lon_deg < trap.box.east_deg


def test_a_trap_lies_along_its_line_by_its_place() -> None:
    """Trap 1 at the start mark, the last at the end mark, 21 of 40 a bit past the middle."""
    hump = next(string for _, string in season_end().strings() if string.name == "The Hump")
    near = {trap.place: trap.near for trap in hump.traps}
    assert (near[1], near[40]) == (hump.start, hump.end)
    middle = near[21]
    assert middle is not None
    assert middle.lat_deg == pytest.approx(29.931 + 0.006 * 20 / 39, abs=1e-9)


def test_what_is_home_already_leaves_its_trip_and_an_empty_trip_the_list() -> None:
    out = recovery_list(
        fold((*ENTRIES, told(BroughtAshore(), "Grassy Edge", edt(4, 29, 9))), STRINGS),
        EVENING,
        TODAY,
        take_up=TAKE_UP,
        trips=(
            TakeUpTrip((("Grassy Edge", tuple(range(1, 31))),), 30, 200),
            TakeUpTrip((("Ledge", (1, 2, 99)), ("Ledge", (2,)), ("Former", (1,))), 3, 90),
        ),
    )
    assert [(trip.number, trip.strings[0].places) for trip in out.trips] == [(2, (1, 2))]
    assert sum(trip.traps for trip in out.trips) == 2


@pytest.mark.parametrize("days", [0, 1, 30, 200])
def test_the_list_stays_after_the_last_day_until_each_is_home_or_written_off(days: int) -> None:
    gear = gear_at_the_end()
    late = recovery_list(
        gear, EVENING + timedelta(days=7 + days), TAKE_UP.deadline + timedelta(days=days), take_up=TAKE_UP
    )
    assert late.not_home == 162
    assert late.days_left == -days


def test_a_missing_trap_leaves_the_list_when_it_is_written_off_or_brought_ashore() -> None:
    out = after(
        told(Retired("lost in the gale"), "Grassy Edge", edt(4, 29, 9), 17),
        told(Recovered(back="aboard"), "The Hump", edt(4, 29, 9), 31),
        told(BroughtAshore(), "The Hump", edt(4, 29, 10), 31),
    )
    assert [(trap.string, trap.place) for trap in out.missing] == [("Nine Foot", 8), ("Nine Foot", 9)]
    assert out.not_home == 160


def test_a_recovered_trap_stays_aboard_on_the_list_until_it_is_ashore() -> None:
    out = after(told(Recovered(back="aboard"), "The Hump", edt(4, 29, 9), 31))
    assert ("The Hump", 31) in [(trap.string, trap.place) for trap in out.aboard]
    assert out.not_home == 162


def test_a_missing_trap_that_was_replaced_is_written_off_by_a_word_from_before_that() -> None:
    """Told for now, it would be the word about the trap that took its place."""
    (former,) = [trap for trap in season_end().missing if trap.replaced]
    assert former.since is not None
    out = after(told(Retired("lost"), "Nine Foot", former.since + timedelta(seconds=1), 9))
    assert [trap.place for trap in out.missing if trap.string == "Nine Foot"] == [8]


def test_nothing_out_is_an_empty_list() -> None:
    out = recovery_list(fold((), STRINGS), EVENING, TODAY, take_up=None)
    assert (out.not_home, out.trips, out.unplanned, out.days_left) == (0, (), (), None)


@given(logs())
def test_the_list_holds_what_the_fold_says_is_out(log) -> None:  # type: ignore[no-untyped-def]
    """Counted anew, trap by trap, whatever the log tells and whatever the plan names."""
    gear = fold(log, (NINE_FOOT, LEDGE))
    trips = (
        TakeUpTrip((("Nine Foot", (1, 3, 3)), ("Ledge", (1, 2, 3))), 5, 60),
        TakeUpTrip((("Nine Foot", (1,)),), 1, 9),
    )
    out = recovery_list(gear, NOW, NOW.date(), take_up=None, trips=trips)
    away = {Whereabouts.FISHING, Whereabouts.ABOARD}
    kept = [
        trap.origin
        for state in gear.strings.values()
        for trap in (
            *(t for t in state.traps if t.where in away | {Whereabouts.MISSING}),
            *(t for t in state.gone if t.where is Whereabouts.MISSING),
        )
    ]
    assert sorted(trap.origin for _, trap in out.traps()) == sorted(kept)


def test_a_pull_that_resets_moves_the_day_it_was_seen() -> None:
    out = after(told(Pulled(), "Ledge", edt(4, 28, 9), 5))
    ledge = next(string for _, string in out.strings() if string.name == "Ledge")
    assert [trap.last_seen for trap in ledge.traps if trap.place in (4, 5)] == [edt(4, 11, 9, 4), edt(4, 28, 9)]


def test_an_extension_moves_the_days_left() -> None:
    longer = replace(TAKE_UP, deadline=TAKE_UP.deadline + timedelta(days=5))
    assert recovery_list(gear_at_the_end(), EVENING, TODAY, take_up=longer).days_left == 12
