"""What a letter is told of gear: the right traps, parts and tasks for a trip or a day ashore. INVENTED DATA."""

from __future__ import annotations

from datetime import UTC, datetime

from boats import LEDGE, NINE_FOOT, OUTER_BAR
from soakbell.gear.fold import GearState, StringState, TrapItem, TrapState, Whereabouts
from soakbell.gear.outfit import ConditionKind, Outfit, Standing
from soakbell.gear.parts import PartLine, PartStock
from soakbell.gear.strings import TrapString
from soakbell.planning.ashore import PartToCarry, TrapsOf
from soakbell.planning.loading import barred_rows, mends_at_pull, parts_to_carry, traps_ready, upkeep_lines
from soakbell.planning.upkeep_due import UpkeepDue, UpkeepState

AT = datetime(2026, 12, 1, 12, 0, tzinfo=UTC)
OUTFIT = Outfit(
    conditions=(
        ConditionKind(
            "escape ring", Standing.MAY_NOT_BE_SET, 6, (("ring", 1), ("screw", 2)), "the ring the law asks"
        ),
        ConditionKind("throat", Standing.BENCH, 12, (("throat", 1),)),
        ConditionKind("line", Standing.NEXT_PULL, 6, (("screw", 1),)),
    ),
    parts=(),
    upkeep=(),
    baits=(),
    supplier=None,
    grades=(),
    service_level=0.95,
    bench_minutes=120,
)
FISHING, ASHORE, BENCH = Whereabouts.FISHING, Whereabouts.ASHORE, Whereabouts.BENCH


def traps(*told: tuple[Whereabouts, tuple[str, ...]]) -> tuple[TrapState, ...]:
    return tuple(
        TrapState(place, where, AT, AT, f"trap {place}", items=tuple(TrapItem(item, AT) for item in items))
        for place, (where, items) in enumerate(told, start=1)
    )


def boat(*strings: tuple[TrapString, tuple[TrapState, ...]]) -> GearState:
    return GearState({s.name: StringState(s.name, s.start, s.end, held) for s, held in strings})


GEAR = boat(
    (
        NINE_FOOT,
        traps((FISHING, ("line",)), (FISHING, ("escape ring",)), (ASHORE, ()), (ASHORE, ("escape ring",))),
    ),
    (OUTER_BAR, traps((FISHING, ("line", "throat")), (FISHING, ("line",)), (BENCH, ()), (ASHORE, ("throat",)))),
    (LEDGE, traps((FISHING, ("line",)), (ASHORE, ()))),
)
CALLED = ("Outer Bar", "Nine Foot")


def test_traps_that_may_not_be_set_are_never_among_those_to_take_along() -> None:
    """Nor one on the bench, nor one that belongs there, nor one of a string that isn't called."""
    assert traps_ready(GEAR, OUTFIT, CALLED) == (TrapsOf("Nine Foot", (3,)),)


def test_an_item_that_the_settings_do_not_know_keeps_its_trap_at_home() -> None:
    odd = boat((NINE_FOOT, traps((ASHORE, ("rope thing",)), (ASHORE, ()))))
    assert traps_ready(odd, OUTFIT, ("Nine Foot",)) == (TrapsOf("Nine Foot", (2,)),)
    (row,) = barred_rows(odd, OUTFIT)
    assert (row.item, row.places, row.unknown) == ("rope thing", (1,), True)


def test_parts_are_carried_for_every_mend_of_the_called_strings() -> None:
    """Two lines on Outer Bar, a line and a ring on Nine Foot: five screws and a ring. Bench work stays ashore."""
    mends = mends_at_pull(GEAR, OUTFIT, CALLED)
    assert {(mend.string, mend.item, mend.places) for mend in mends} == {
        ("Outer Bar", "line", (1, 2)),
        ("Nine Foot", "escape ring", (2,)),
        ("Nine Foot", "line", (1,)),
    }
    stock = PartStock((PartLine("screw", 40, 0, AT, AT),))
    assert parts_to_carry(mends, stock) == (PartToCarry("ring", 1, 0), PartToCarry("screw", 5, 40))


def test_traps_that_may_not_be_set_are_told_by_string_and_item_those_in_the_water_first() -> None:
    rows = barred_rows(GEAR, OUTFIT)
    assert [(row.string, row.places, row.item, row.in_water) for row in rows] == [
        ("Nine Foot", (2,), "escape ring", True),
        ("Nine Foot", (4,), "escape ring", False),
    ]
    assert rows[0].rule == "the ring the law asks"


def task(name: str, state: UpkeepState, *, safety: bool = False, before: bool = False) -> UpkeepDue:
    return UpkeepDue(name, state, safety, False, before, None, None, "", AT, AT, "invented")


TASKS = (
    task("flares", "overdue", safety=True),
    task("inflators", "due soon", safety=True),
    task("bilge pump", "due soon", before=True),
    task("engine oil", "overdue"),
    task("zincs", "fine", before=True),
)


def test_before_a_trip_only_what_matters_to_it_is_told() -> None:
    assert [line.task for line in upkeep_lines(TASKS, before_leaving=True)] == ["flares", "bilge pump"]


def test_on_a_day_ashore_all_that_is_due_is_told() -> None:
    told = [line.task for line in upkeep_lines(TASKS, before_leaving=False)]
    assert told == ["flares", "inflators", "bilge pump", "engine oil"]
