"""Which traps may not be set."""

from __future__ import annotations

from datetime import datetime
from types import MappingProxyType

import pytest

from logbook import END, FIRST, NOW, START, hours
from soakbell.gear.conditions import (
    BarredTraps,
    barred_traps,
    items_by_standing,
    may_not_be_set,
    ready_places,
    standing_of,
)
from soakbell.gear.fold import GearState, StringState, TrapItem, TrapState, Whereabouts
from soakbell.gear.outfit import ConditionKind, Outfit, Standing

OUTFIT = Outfit(
    conditions=(
        ConditionKind("fouling", Standing.NEXT_PULL, 4),
        ConditionKind("throat", Standing.BENCH, 10, (("throat", 1),)),
        ConditionKind("escape ring", Standing.MAY_NOT_BE_SET, 5, (("escape ring", 1),), "rings in each trap"),
    ),
    parts=(),
    upkeep=(),
    baits=(),
    supplier=None,
    grades=(),
    service_level=0.95,
    bench_minutes=60,
)


def trap(
    place: int, where: Whereabouts, *items: str, told: datetime = FIRST, since: datetime = FIRST
) -> TrapState:
    return TrapState(place, where, since, items=tuple(TrapItem(item, told) for item in items))


def boat(**strings: tuple[TrapState, ...]) -> GearState:
    named = {name.replace("_", " "): traps for name, traps in strings.items()}
    return GearState(
        MappingProxyType({name: StringState(name, START, END, traps) for name, traps in named.items()})
    )


def test_an_item_that_the_settings_do_not_know_bars_the_trap() -> None:
    assert standing_of("escape rnig", OUTFIT) is Standing.MAY_NOT_BE_SET
    assert may_not_be_set(trap(1, Whereabouts.ASHORE, "escape rnig"), OUTFIT)


@pytest.mark.parametrize(
    ("items", "barred"),
    [((), False), (("fouling",), False), (("throat",), False), (("fouling", "escape ring"), True)],
)
def test_a_trap_is_barred_by_its_gravest_item(items: tuple[str, ...], barred: bool) -> None:
    assert may_not_be_set(trap(1, Whereabouts.ASHORE, *items), OUTFIT) is barred


def test_a_retired_trap_may_not_be_set_whatever_is_wrong_with_it() -> None:
    assert may_not_be_set(trap(1, Whereabouts.RETIRED), OUTFIT)


def test_the_gravest_item_is_told_first() -> None:
    found = items_by_standing(trap(1, Whereabouts.BENCH, "fouling", "throat", "escape ring"), OUTFIT)
    assert [told.item for told in found] == ["escape ring", "throat", "fouling"]


def test_traps_that_wait_for_the_same_are_told_together() -> None:
    gear = boat(
        Nine_Foot=(
            trap(1, Whereabouts.ASHORE, "escape ring"),
            trap(2, Whereabouts.ASHORE, "fouling"),
            trap(3, Whereabouts.ASHORE, "escape ring"),
            trap(4, Whereabouts.ABOARD, "escape ring"),
        )
    )
    assert barred_traps(gear, OUTFIT) == (
        BarredTraps("Nine Foot", (1, 3), "escape ring", "rings in each trap", Whereabouts.ASHORE, FIRST),
        BarredTraps("Nine Foot", (4,), "escape ring", "rings in each trap", Whereabouts.ABOARD, FIRST),
    )


def test_traps_set_although_they_may_not_be_are_told_first() -> None:
    gear = boat(
        Nine_Foot=(trap(1, Whereabouts.NEVER_SET, "escape ring"),),
        Ledge=(trap(1, Whereabouts.FISHING, "escape ring"), trap(2, Whereabouts.FISHING, "throat")),
    )
    first, second = barred_traps(gear, OUTFIT)
    assert (first.string, first.places, first.in_water) == ("Ledge", (1,), True)
    assert (second.string, second.places, second.in_water) == ("Nine Foot", (1,), False)


def test_a_barred_trap_in_the_water_is_so_since_it_was_both_told_and_set() -> None:
    set_after = trap(1, Whereabouts.FISHING, "escape ring", told=FIRST, since=FIRST + hours(5))
    told_after = trap(2, Whereabouts.FISHING, "escape ring", told=FIRST + hours(9), since=FIRST)
    found = barred_traps(boat(Ledge=(set_after, told_after)), OUTFIT)
    assert [(traps.places, traps.since) for traps in found] == [
        ((1,), FIRST + hours(5)),
        ((2,), FIRST + hours(9)),
    ]


def test_a_barred_trap_ashore_is_so_since_it_was_told_wherever_it_was_carried_since() -> None:
    (found,) = barred_traps(boat(Ledge=(trap(1, Whereabouts.BENCH, "escape ring", since=NOW),)), OUTFIT)
    assert found.since == FIRST


def test_missing_and_retired_traps_are_left_out() -> None:
    gear = boat(Ledge=(trap(1, Whereabouts.MISSING, "escape ring"), trap(2, Whereabouts.RETIRED, "escape ring")))
    assert barred_traps(gear, OUTFIT) == ()


def test_an_unknown_item_is_told_as_such() -> None:
    (found,) = barred_traps(boat(Ledge=(trap(1, Whereabouts.ASHORE, "hinge"),)), OUTFIT)
    assert (found.item, found.unknown, found.rule) == ("hinge", True, "")


def test_without_settings_every_item_bars_its_trap() -> None:
    gear = boat(Ledge=(trap(1, Whereabouts.ASHORE, "fouling"), trap(2, Whereabouts.FISHING, "throat")))
    assert [(row.places, row.unread, row.in_water) for row in barred_traps(gear, None)] == [
        ((2,), True, True),
        ((1,), True, False),
    ]
    assert not any(row.unread for row in barred_traps(boat(Ledge=(trap(1, Whereabouts.ASHORE, "hinge"),)), OUTFIT))


def test_only_traps_with_nothing_grave_are_ready_to_set() -> None:
    (string,) = boat(
        Ledge=(
            trap(1, Whereabouts.ASHORE),
            trap(2, Whereabouts.ABOARD, "fouling"),
            trap(3, Whereabouts.ASHORE, "throat"),
            trap(4, Whereabouts.ASHORE, "escape ring"),
            trap(5, Whereabouts.BENCH),
            trap(6, Whereabouts.FISHING),
            trap(7, Whereabouts.NEVER_SET),
            trap(8, Whereabouts.RETIRED),
            trap(9, Whereabouts.ASHORE, "hinge"),
        )
    ).strings.values()
    assert ready_places(string, OUTFIT) == (1, 2, 7)
