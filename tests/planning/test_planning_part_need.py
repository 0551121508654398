"""Which parts to buy."""

from __future__ import annotations

import math
from datetime import timedelta
from types import MappingProxyType

from hypothesis import given
from hypothesis import strategies as st

from logbook import END, FIRST, START, hours
from soakbell.gear.fold import GearState, StringState, TrapItem, TrapState, Whereabouts
from soakbell.gear.outfit import ConditionKind, Outfit, PartKind, Standing
from soakbell.gear.parts import PartLine, PartStock
from soakbell.planning.part_need import (
    PartToBuy,
    part_reorder_point,
    parts_needed,
    parts_to_buy,
    use_a_week,
)

LATCH = PartKind("latch", use_a_week=7, lead_days=4, pack=10, cost_usd=1.5)
SCREW = PartKind("screw", use_a_week=0, lead_days=1, pack=100)
OUTFIT = Outfit(
    conditions=(ConditionKind("latch", Standing.MAY_NOT_BE_SET, 5, (("latch", 1), ("screw", 2))),),
    parts=(SCREW, LATCH),
    upkeep=(),
    baits=(),
    supplier=None,
    grades=(),
    service_level=0.95,
    bench_minutes=60,
)


def weeks(count: float) -> timedelta:
    return timedelta(weeks=count)


def line(part: str, on_hand: float, used: float = 0.0) -> PartLine:
    return PartLine(part, on_hand, used, FIRST, FIRST)


def boat(*traps: TrapState) -> GearState:
    return GearState(MappingProxyType({"Ledge": StringState("Ledge", START, END, traps)}))


def broken(place: int, where: Whereabouts = Whereabouts.ASHORE, after_h: float = 0.0) -> TrapState:
    return TrapState(place, where, FIRST, items=(TrapItem("latch", FIRST + hours(after_h)),))


def to_buy(gear: GearState, *lines: PartLine) -> dict[str, PartToBuy]:
    stock = PartStock(tuple(sorted(lines, key=lambda line: line.part)))
    return {part.part: part for part in parts_to_buy(gear, OUTFIT, stock, FIRST)}


def test_the_skippers_guess_of_the_use_is_worth_four_weeks_of_the_log() -> None:
    """7 a week guessed and none used: after 4 weeks half of it, after 12 a quarter."""
    assert use_a_week(LATCH, None, FIRST) == 7
    assert use_a_week(LATCH, line("latch", 5), FIRST) == 7
    assert use_a_week(LATCH, line("latch", 5), FIRST + weeks(4)) == 3.5
    assert use_a_week(LATCH, line("latch", 5), FIRST + weeks(12)) == 1.75
    assert use_a_week(LATCH, line("latch", 5, used=60), FIRST + weeks(12)) == 5.5  # (4 * 7 + 60) / 16


def test_a_clock_behind_the_log_does_not_raise_the_use() -> None:
    assert use_a_week(LATCH, line("latch", 5), FIRST - weeks(3)) == 7


def test_the_reorder_point_covers_the_lead_time_and_chance() -> None:
    """1 a day over 4 days, Poisson: 4 and 1.645 deviations of 2 (z of 95 %, any normal table), so 7 suffice."""
    assert part_reorder_point(LATCH, 7, 0.95) == 8


def test_a_lead_time_that_varies_asks_for_more() -> None:
    """z sqrt(L sd^2 + d^2 sL^2): 4 and 1.645 sqrt(4 * 1 + 1 * 1.5^2), so 8 suffice."""
    varied = PartKind("latch", 7, lead_days=4, lead_sd_days=1.5)
    assert part_reorder_point(varied, 7, 0.95) == 9


def test_of_a_part_never_used_none_is_kept() -> None:
    assert part_reorder_point(SCREW, 0, 0.95) == 0


@given(st.floats(0.01, 30), st.floats(0.5, 10))
def test_what_is_left_when_buying_lasts_the_lead_time_with_about_the_chance(
    a_week: float, lead_days: float
) -> None:
    """Of use that is truly Poisson; the normal that stands in for it is off by 2 in 100 at most."""
    left = int(part_reorder_point(PartKind("latch", a_week, lead_days), a_week, 0.95)) - 1
    mean = a_week / 7 * lead_days
    chance = sum(math.exp(-mean) * mean**count / math.factorial(count) for count in range(left + 1))
    assert chance > 0.93


def test_a_part_below_its_reorder_point_is_bought_by_the_pack() -> None:
    found = to_buy(boat(), line("latch", 7), line("screw", 50))
    assert list(found) == ["latch"]
    latch = found["latch"]
    assert (latch.on_hand, latch.needed_now, latch.buy, latch.cost_usd, latch.level) == (7, 0, 10, 15.0, 1)
    assert latch.reorder_point == 8


def test_a_part_at_or_above_its_reorder_point_is_not_bought() -> None:
    assert to_buy(boat(), line("latch", 8)) == {}


def test_what_the_open_mends_ask_for_comes_on_top() -> None:
    """Three latches are spoken for: 9 on hand leave 6."""
    traps = (broken(1), broken(2, Whereabouts.FISHING), broken(3, Whereabouts.BENCH))
    found = to_buy(boat(*traps), line("latch", 9), line("screw", 5))
    assert (found["latch"].needed_now, found["latch"].buy, found["latch"].level) == (3, 10, 1)
    assert (found["screw"].needed_now, found["screw"].buy, found["screw"].level) == (6, 100, 2)
    assert list(found) == ["screw", "latch"]  # the one that mends wait for


def test_lost_and_retired_traps_ask_for_no_parts() -> None:
    gear = boat(broken(1, Whereabouts.MISSING), broken(2, Whereabouts.RETIRED))
    assert parts_needed(gear, OUTFIT) == {}


def test_of_a_part_never_told_only_what_the_mends_need_is_bought() -> None:
    assert to_buy(boat()) == {}
    found = to_buy(boat(broken(1)))
    assert {name: (part.told, part.on_hand, part.buy) for name, part in found.items()} == {
        "screw": (False, 0, 100),
        "latch": (False, 0, 10),
    }


def test_an_item_that_the_settings_do_not_know_asks_for_no_parts() -> None:
    trap = TrapState(1, Whereabouts.ASHORE, FIRST, items=(TrapItem("hinge", FIRST),))
    assert parts_needed(boat(trap), OUTFIT) == {}


def test_it_is_so_since_the_last_that_was_told_of_the_part_or_its_mends() -> None:
    assert to_buy(boat(), line("latch", 1))["latch"].since == FIRST
    assert to_buy(boat(broken(1, after_h=9)), line("latch", 1))["latch"].since == FIRST + hours(9)


@given(st.floats(0, 50), st.integers(0, 6))
def test_what_is_bought_lifts_the_stock_to_its_need_without_a_pack_too_many(on_hand: float, traps: int) -> None:
    gear = boat(*(broken(place) for place in range(1, traps + 1)))
    latch = to_buy(gear, line("latch", on_hand)).get("latch")
    need = traps + part_reorder_point(LATCH, 7, 0.95)
    if latch is None:
        assert on_hand >= need - 1e-6
    else:
        assert need - 1e-6 <= on_hand + latch.buy < need + LATCH.pack
