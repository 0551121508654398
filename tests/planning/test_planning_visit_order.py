"""The order in which strings are visited."""

from __future__ import annotations

from itertools import combinations, permutations, product

import numpy as np
import pytest
from plan_boats import HARBOR, random_problem

from soakbell.gear.strings import Mark
from soakbell.planning import visit_order as module
from soakbell.planning.distances import distance_nmi
from soakbell.planning.visit_order import (
    Runs,
    VisitOrder,
    put_in,
    run_of_way,
    runs_of_all_loads,
    visit_order,
    way_of,
)


def runs_of(seed: int, strings: int) -> Runs:
    return Runs(HARBOR, random_problem(seed, strings, 1, limits=False).strings)


def walked_nmi(order: VisitOrder) -> float:
    marks = [HARBOR, *(mark for visit in order.visits for mark in (visit.first, visit.last)), HARBOR]
    return sum(distance_nmi(marks[n], marks[n + 1]) for n in range(0, len(marks), 2))


def shortest_nmi(runs: Runs, strings: tuple[int, ...]) -> float:
    ways = (
        [
            (2 * n + 1, 2 * n + 2) if ahead else (2 * n + 2, 2 * n + 1)
            for n, ahead in zip(order, turns, strict=True)
        ]
        for order in permutations(strings)
        for turns in product([False, True], repeat=len(strings))
    )
    return min(run_of_way(runs, way) for way in ways)


@pytest.mark.parametrize("seed", range(6))
def test_no_order_of_five_strings_is_shorter(seed: int) -> None:
    runs = runs_of(seed, 5)
    order = visit_order(runs, range(5))
    assert order.run_nmi == pytest.approx(shortest_nmi(runs, (0, 1, 2, 3, 4)))
    assert order.run_nmi == order.at_least_nmi == pytest.approx(walked_nmi(order))


def test_every_load_of_four_strings_has_its_shortest_run() -> None:
    runs = runs_of(7, 4)
    lengths = runs_of_all_loads(runs, range(4))
    assert lengths[0] == 0
    for size in range(1, 5):
        for load in combinations(range(4), size):
            assert lengths[sum(1 << n for n in load)] == pytest.approx(shortest_nmi(runs, load))


def test_a_string_is_hauled_toward_where_the_trip_goes_next() -> None:
    out = Runs(HARBOR, [_String("Ledge", Mark(30.00, -84.15), Mark(29.95, -84.15)), _String("The Hump", *_FAR)])
    order = visit_order(out, [0, 1])
    assert [visit.string for visit in order.visits] == ["Ledge", "The Hump"]
    assert order.visits[0].first == Mark(30.00, -84.15)


_FAR = Mark(29.93, -84.15), Mark(29.93, -84.10)


class _String:
    def __init__(self, name: str, start: Mark, end: Mark) -> None:
        self.name, self.start, self.end = name, start, end


def test_one_string_and_none_have_their_order_too() -> None:
    runs = runs_of(3, 2)
    assert visit_order(runs, []).visits == ()
    one = visit_order(runs, [1])
    assert [visit.string for visit in one.visits] == ["String 1"]
    assert one.run_nmi == pytest.approx(runs.nmi[0, 3] + runs.nmi[0, 4])


@pytest.mark.parametrize("seed", range(5))
def test_past_the_exact_a_good_order_lies_close_above_its_bound(
    seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    runs = runs_of(seed, 10)
    exact = visit_order(runs, range(10))
    monkeypatch.setattr(module, "EXACT_UP_TO", 4)
    good = visit_order(runs, range(10))
    assert good.at_least_nmi <= exact.run_nmi + 1e-9 <= good.run_nmi + 2e-9
    assert good.run_nmi <= 1.02 * exact.run_nmi
    assert good.at_least_nmi >= 0.9 * exact.run_nmi


def test_sixteen_strings_are_all_visited_once() -> None:
    runs = runs_of(11, 16)
    order = visit_order(runs, range(16))
    assert sorted(visit.string for visit in order.visits) == sorted(runs.names)
    assert order.at_least_nmi <= order.run_nmi == pytest.approx(walked_nmi(order))


def test_the_order_does_not_depend_on_how_the_strings_are_given() -> None:
    runs = runs_of(5, 12)
    given = np.random.default_rng(1).permutation(12).tolist()
    assert visit_order(runs, given) == visit_order(runs, range(12))


@pytest.mark.parametrize("strings", [1, 2, 5, 12])
def test_the_order_does_not_depend_on_how_the_strings_are_numbered(strings: int) -> None:
    listed = random_problem(5, strings, 1, limits=False).strings
    orders = {visit_order(Runs(HARBOR, of), range(strings)).visits for of in (listed, listed[::-1])}
    assert len(orders) == 1


@pytest.mark.parametrize("seed", range(4))
def test_putting_a_string_in_never_beats_the_best_order_and_keeps_the_rest(seed: int) -> None:
    runs = runs_of(seed, 6)
    table = runs.nmi.tolist()
    way = way_of(runs, range(5))
    adds, place, visit = put_in(table, way, 5)
    longer = [*way[:place], visit, *way[place:]]
    assert run_of_way(runs, longer) == pytest.approx(run_of_way(runs, way) + adds)
    assert run_of_way(runs, longer) >= run_of_way(runs, way_of(runs, range(6))) - 1e-9
