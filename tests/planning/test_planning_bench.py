"""The bench on a day without a pull, and what is mended at sea."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import replace
from itertools import combinations
from types import MappingProxyType

from hypothesis import given
from hypothesis import strategies as st

from logbook import END, FIRST, START
from soakbell.gear.fold import GearState, StringState, TrapItem, TrapState, Whereabouts
from soakbell.gear.outfit import ConditionKind, Outfit, Standing
from soakbell.gear.parts import PartLine, PartStock
from soakbell.planning.bench_plan import (
    EXACT_UP_TO,
    BenchJob,
    BenchPlan,
    MendAtPull,
    TrapsOf,
    bench_plan,
    mend_at_next_pull,
)

OUTFIT = Outfit(
    conditions=(
        ConditionKind("fouling", Standing.NEXT_PULL, 4),
        ConditionKind("line", Standing.NEXT_PULL, 6, (("line", 5),)),
        ConditionKind("throat", Standing.BENCH, 12, (("throat", 1), ("screw", 4))),
        ConditionKind("latch", Standing.MAY_NOT_BE_SET, 5, (("latch", 1), ("screw", 2))),
        ConditionKind("lid", Standing.MAY_NOT_BE_SET, 15, (("slat", 1), ("screw", 4))),
    ),
    parts=(),
    upkeep=(),
    baits=(),
    supplier=None,
    grades=(),
    service_level=0.95,
    bench_minutes=60,
)
PLENTY = {"latch": 99.0, "slat": 99.0, "throat": 99.0, "screw": 999.0, "line": 999.0}
MINUTES = {kind.name: kind.minutes for kind in OUTFIT.conditions}
PARTS = {kind.name: dict(kind.parts) for kind in OUTFIT.conditions}
GRAVE = {"throat", "latch", "lid"}


def trap(place: int, *items: str, where: Whereabouts = Whereabouts.ASHORE) -> TrapState:
    return TrapState(place, where, FIRST, items=tuple(TrapItem(item, FIRST) for item in items))


def string(name: str, *traps: TrapState) -> StringState:
    return StringState(name, START, END, traps)


def plan_of(*strings: StringState, minutes: float = 60, parts: Mapping[str, float] = PLENTY) -> BenchPlan:
    stock = PartStock(tuple(PartLine(part, parts[part], 0, FIRST, FIRST) for part in sorted(parts)))
    gear = GearState(MappingProxyType({string.name: string for string in strings}))
    return bench_plan(gear, replace(OUTFIT, bench_minutes=minutes), stock)


def told(jobs: tuple[BenchJob, ...]) -> list[tuple[str, tuple[int, ...], tuple[str, ...]]]:
    return [(job.string, job.places, job.items) for job in jobs]


def test_the_quickest_way_to_traps_in_the_water_comes_first() -> None:
    plan = plan_of(
        string("Nine Foot", trap(1, "lid"), trap(2, "latch"), trap(3, "fouling")),
        string("Ledge", trap(1, "throat"), trap(2, "latch")),
    )
    assert told(plan.jobs) == [
        ("Nine Foot", (2,), ("latch",)),
        ("Ledge", (2,), ("latch",)),
        ("Ledge", (1,), ("throat",)),
        ("Nine Foot", (1,), ("lid",)),
        ("Nine Foot", (3,), ("fouling",)),
    ]
    assert (plan.has_min, plan.takes_min) == (60, 5 + 5 + 12 + 15 + 4)
    assert plan.back == (TrapsOf("Nine Foot", (1, 2)), TrapsOf("Ledge", (1, 2)))


def test_all_that_is_wrong_with_a_trap_is_mended_together() -> None:
    plan = plan_of(string("Ledge", trap(1, "fouling", "latch"), trap(2, "fouling", "latch")))
    (job,) = plan.jobs
    assert job == BenchJob("Ledge", (1, 2), ("latch", "fouling"), 18, (("latch", 2.0), ("screw", 4.0)), back=True)


def test_a_trap_that_might_be_set_as_it_is_waits_for_those_that_may_not() -> None:
    """Fouling takes 4 minutes and a latch 5, but only the latch keeps its trap out of the water."""
    plan = plan_of(string("Ledge", trap(1, "fouling"), trap(2, "latch")), minutes=8)
    assert told(plan.jobs) == [("Ledge", (2,), ("latch",))]
    assert told(plan.left) == [("Ledge", (1,), ("fouling",))]
    assert plan.back == (TrapsOf("Ledge", (2,)),)


def test_a_trap_on_the_bench_goes_back_whatever_put_it_there() -> None:
    plan = plan_of(string("Ledge", trap(1, "fouling", where=Whereabouts.BENCH), trap(2, "fouling")))
    assert plan.back == (TrapsOf("Ledge", (1,)),)


def test_what_does_not_fit_is_left_with_its_minutes() -> None:
    plan = plan_of(string("Ledge", trap(1, "lid"), trap(2, "latch")), minutes=19.5)
    assert told(plan.jobs) == [("Ledge", (2,), ("latch",))]
    assert [(job.places, job.minutes) for job in plan.left] == [((1,), 15)]


def test_a_day_without_minutes_still_says_what_waits() -> None:
    plan = plan_of(string("Ledge", trap(1, "lid")), minutes=0)
    assert (plan.jobs, plan.takes_min, told(plan.left)) == ((), 0, [("Ledge", (1,), ("lid",))])


def test_parts_are_used_up_along_the_list_and_what_lacks_them_is_told() -> None:
    plan = plan_of(
        string("Nine Foot", trap(1, "latch"), trap(2, "latch"), trap(3, "latch"), trap(4, "lid")),
        parts={"latch": 1, "screw": 8, "slat": 1},
    )
    assert told(plan.jobs) == [("Nine Foot", (1,), ("latch",)), ("Nine Foot", (4,), ("lid",))]
    (short,) = plan.short
    assert (short.places, short.lacking) == ((2, 3), (("latch", 2.0), ("screw", 2.0)))  # 8 - 2 - 4 = 2 of 4


def test_what_is_lacking_is_what_there_is_to_get() -> None:
    """Two traps that lack slats share the one latch there is: with two slats and one latch more both could go."""
    plan = plan_of(
        string("Ledge", trap(1, "latch", "lid"), trap(2, "latch", "lid")), parts={"latch": 1, "screw": 99}
    )
    (short,) = plan.short
    assert short.lacking == (("latch", 1.0), ("slat", 2.0))


def test_parts_never_told_are_not_there() -> None:
    plan = plan_of(string("Ledge", trap(1, "latch")), parts={})
    assert plan.jobs == ()
    assert [job.lacking for job in plan.short] == [(("latch", 1.0), ("screw", 2.0))]


def test_scarce_parts_go_where_they_bring_back_the_most_traps() -> None:
    """Of 4 screws the throat, 8 minutes, takes all; the latches, 10 minutes each, take 2 each.

    The quickest first would spend the screws on the throat, and bring back one trap instead of two.
    """
    outfit = replace(
        OUTFIT,
        conditions=(
            ConditionKind("throat", Standing.BENCH, 8, (("screw", 4),)),
            ConditionKind("latch", Standing.MAY_NOT_BE_SET, 10, (("screw", 2),)),
        ),
    )
    gear = GearState(
        MappingProxyType({"Ledge": string("Ledge", trap(1, "throat"), trap(2, "latch"), trap(3, "latch"))})
    )
    plan = bench_plan(gear, outfit, PartStock((PartLine("screw", 4, 0, FIRST, FIRST),)))
    assert plan.back == (TrapsOf("Ledge", (2, 3)),)
    assert told(plan.short) == [("Ledge", (1,), ("throat",))]


def test_traps_at_sea_or_lost_and_items_unknown_are_not_for_the_bench() -> None:
    plan = plan_of(
        string(
            "Ledge",
            trap(1, "latch", where=Whereabouts.FISHING),
            trap(2, "latch", where=Whereabouts.MISSING),
            trap(3, "latch", where=Whereabouts.RETIRED),
            trap(4, "latch", "hinge"),
            trap(5),
        )
    )
    assert (plan.jobs, plan.short, plan.left, plan.back) == ((), (), (), ())


wrong = st.sets(st.sampled_from(sorted(MINUTES)), min_size=1, max_size=3)
minutes_had = st.integers(0, 120)


def boat(found: list[set[str]]) -> tuple[StringState, StringState]:
    traps = [trap(place, *sorted(items)) for place, items in enumerate(found, 1)]
    return string("Nine Foot", *traps[::2]), string("Ledge", *traps[1::2])


def can_go_back(found: list[set[str]], minutes: float, parts: Mapping[str, float] | None) -> int:
    """The most traps that can't go as they are and could be mended, by trying every choice."""
    held = [items for items in found if items & GRAVE]
    for count in range(len(held), 0, -1):
        for some in combinations(held, count):
            needed: Counter[str] = Counter()
            for items in some:
                for item in items:
                    needed.update(PARTS[item])  # type: ignore[arg-type]
            enough = parts is None or all(pieces <= parts.get(part, 0) for part, pieces in needed.items())
            if enough and sum(MINUTES[item] for items in some for item in items) <= minutes:
                return count
    return 0


@given(st.lists(wrong, max_size=8), minutes_had)
def test_no_other_choice_brings_back_more_traps(found: list[set[str]], minutes: int) -> None:
    plan = plan_of(*boat(found), minutes=minutes)
    assert sum(len(traps.places) for traps in plan.back) == can_go_back(found, minutes, None)


few_parts = st.fixed_dictionaries(
    {"latch": st.integers(0, 3), "slat": st.integers(0, 3), "screw": st.integers(0, 16), "line": st.just(10)}
)


@given(st.lists(wrong, max_size=7), minutes_had, few_parts)
def test_no_other_choice_brings_back_more_traps_with_scarce_parts(
    found: list[set[str]], minutes: int, parts: dict[str, int]
) -> None:
    plan = plan_of(*boat(found), minutes=minutes, parts=parts)
    assert sum(len(traps.places) for traps in plan.back) == can_go_back(found, minutes, parts)


@given(st.lists(wrong, max_size=EXACT_UP_TO + 8), minutes_had, few_parts)
def test_every_trap_is_on_one_list_and_neither_time_nor_parts_are_overdrawn(
    found: list[set[str]], minutes: int, parts: dict[str, int]
) -> None:
    strings = boat(found)
    plan = plan_of(*strings, minutes=minutes, parts=parts)
    listed = [(job.string, place) for job in (*plan.jobs, *plan.short, *plan.left) for place in job.places]
    assert sorted(listed) == sorted((held.name, trap.place) for held in strings for trap in held.traps)
    assert plan.takes_min == sum(job.minutes for job in plan.jobs) <= minutes
    used: Counter[str] = Counter()
    for job in (*plan.jobs, *plan.left):
        used.update(dict(job.parts))  # type: ignore[arg-type]
    assert all(pieces <= parts.get(part, 0) for part, pieces in used.items())
    assert all(job.lacking for job in plan.short)
    assert not any(job.lacking for job in (*plan.jobs, *plan.left))


def test_what_may_not_go_back_or_waits_for_the_pull_is_mended_at_sea() -> None:
    at_sea = Whereabouts.FISHING
    held = string(
        "Ledge",
        trap(1, "line", "latch", where=at_sea),
        trap(2, "line", where=at_sea),
        trap(3, "throat", where=at_sea),
        trap(4, "line"),
        trap(5, "hinge", where=at_sea),
    )
    assert mend_at_next_pull(held, OUTFIT) == (
        MendAtPull("Ledge", (1,), "latch", 5, (("latch", 1), ("screw", 2))),
        MendAtPull("Ledge", (1, 2), "line", 12, (("line", 10),)),
    )
