"""The pull plan: the best there is, within every limit, and why."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from plain_model import plain_plan
from plan_boats import HARBOR, TODAY, EveryPlan, broken, obeys, pulls_of, random_problem

from soakbell.gear.strings import Mark
from soakbell.planning.pull_plan import PullPlan, WhyCode, solve_plan
from soakbell.planning.pull_problem import (
    PlanBait,
    PlanDay,
    PlanProblem,
    PlanString,
    Reckoned,
    Wish,
    holds,
    worth_usd,
)
from soakbell.planning.pull_search import Search

CENTS = 0.03
"""A plan may be worth less than the best by what ties are broken with."""
DAYS = [TODAY + timedelta(days=n) for n in range(14)]


def problem_of(
    usd_a_day: Mapping[str, Sequence[float]],
    *,
    minutes: float = 300,
    haul_min: float = 60,
    trip_cost_usd: float = 10,
    boxes: Mapping[str, float] | None = None,
) -> PlanProblem:
    """Strings a mile off the harbor; each day's pull is worth so much, and a string is pulled once."""
    count, days = len(usd_a_day), len(next(iter(usd_a_day.values())))
    gain = np.full((count, days + 1, days), np.nan)
    for s, usd in enumerate(usd_a_day.values()):
        gain[s, 0] = usd
    marks = [Mark(30.03, -84.15 - n / 1000) for n in range(count)]
    return PlanProblem(
        harbor=HARBOR,
        cruise_kt=12.0,
        strings=tuple(
            PlanString(name, 30, haul_min, mark, mark, boxes or {})
            for name, mark in zip(usd_a_day, marks, strict=True)
        ),
        days=tuple(PlanDay(day, 0.9, minutes, True, trip_cost_usd) for day in DAYS[:days]),
        gain_usd=gain,
        expected_lb=np.where(np.isfinite(gain), 5.0, np.nan),
        end_usd=np.zeros((count, days + 1)),
    )


def days_of(plan: PullPlan) -> dict[str, list[int]]:
    return {string.string: [DAYS.index(pull.day) for pull in string.pulls] for string in plan.strings}


def whys(plan: PullPlan) -> dict[str, WhyCode]:
    return {string.string: string.why.code for string in plan.strings}


@pytest.mark.parametrize("first", range(0, 500, 50))
def test_no_plan_of_three_strings_and_five_days_is_worth_more(first: int) -> None:
    """500 boats with bait, traps, bag, bars, pins and days off, against all 32,768 plans of each."""
    for seed in range(first, first + 50):
        problem = random_problem(seed, 3, 5)
        plan = solve_plan(problem, next_best=False)
        every = EveryPlan(problem)
        obeyed = [pin for pin in problem.pins if obeys(pin, pulls_of(plan))]
        assert broken(problem, plan) == [], seed
        assert plan.value_usd == pytest.approx(every.best_usd(obeyed), abs=CENTS), seed
        assert obeyed == every.obeyed(), seed
        assert plan.proven


@pytest.mark.parametrize("first", range(0, 100, 20))
def test_plans_of_many_strings_keep_every_limit(first: int) -> None:
    for seed in range(first, first + 20):
        problem = random_problem(seed, 4 + seed % 6, 5 + seed % 4)
        assert broken(problem, solve_plan(problem, next_best=False)) == [], seed


@pytest.mark.parametrize("seed", range(10))
def test_plans_too_large_to_be_proven_keep_every_limit(seed: int) -> None:
    problem = random_problem(seed, 11 + seed % 3, 5)
    assert broken(problem, solve_plan(problem, next_best=seed % 5 == 0)) == []


def test_a_plan_too_large_to_be_proven_lies_close_to_the_best(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of 12 boats, half with limits: each within 5 %, all together within 1 %."""
    problems = [random_problem(seed, 9, 6, limits=seed % 2 == 0) for seed in range(12)]
    best = [solve_plan(problem, next_best=False).value_usd for problem in problems]
    monkeypatch.setattr("soakbell.planning.pull_search.EXACT_UP_TO", 5)
    plans = [solve_plan(problem, next_best=False) for problem in problems]
    for problem, plan, usd in zip(problems, plans, best, strict=True):
        assert broken(problem, plan) == []
        assert 0.95 * usd <= plan.value_usd <= usd + CENTS
        assert plan.bound_usd >= usd - CENTS
        assert not plan.proven
    assert sum(plan.value_usd for plan in plans) >= 0.99 * sum(best)


@pytest.mark.parametrize("seed", [20, 28, 31])
def test_the_next_best_of_many_strings_leaves_out_what_is_barred_and_keeps_every_limit(seed: int) -> None:
    problem = random_problem(seed, 14, 7)
    search = Search(problem)
    bars = [Wish(None, DAYS[day]) for day in np.flatnonzero(search.found.pulled.any(axis=0))]
    bars += [Wish(f"String {s}", DAYS[day]) for s, day in np.argwhere(search.found.pulled)]
    asked = [(bar, found) for bar in bars if (found := search.without(bar)) is not None]
    assert len(asked) > 10
    for bar, found in asked:
        r = Reckoned(replace(problem, bars=(*problem.bars, bar)))
        assert holds(r, found.pulled)
        assert not (found.pulled & ~r.day_open).any()
        assert set(found.obeyed) == set(search.found.obeyed)
        assert found.worth_usd == pytest.approx(worth_usd(r, found.pulled))


@pytest.mark.parametrize("seed", range(6))
def test_the_plain_model_finds_the_same_worth(seed: int) -> None:
    """All strings lie at the harbor, so that sums of minutes are true trips."""
    problem = random_problem(seed, 7 if seed < 4 else 12, 6)
    strings = tuple(replace(string, start=HARBOR, end=HARBOR) for string in problem.strings)
    problem = replace(problem, strings=strings, pins=(), bars=())
    minutes = np.array([day.minutes for day in problem.days])
    plain = plain_plan(problem, np.array([string.haul_min for string in strings]), minutes, seconds=20)
    plan = solve_plan(problem, next_best=False)
    assert broken(problem, plan) == []
    assert plan.value_usd <= plain.bound_usd + CENTS
    assert plan.bound_usd >= plain.value_usd - CENTS
    assert plan.proven == (seed < 4)
    if seed < 4:
        assert plan.value_usd == pytest.approx(plain.value_usd, abs=CENTS)
    assert plan.value_usd >= 0.99 * plain.value_usd - CENTS


@pytest.mark.parametrize("seed", range(12))
def test_one_limit_more_never_makes_a_plan_worth_more(seed: int) -> None:
    problem = replace(random_problem(seed, 4, 5), pins=())
    days = list(problem.days)
    days[2] = replace(days[2], minutes=0.7 * days[2].minutes)
    hungry = tuple(replace(string, bait_boxes={"mullet heads": 2.0}) for string in problem.strings)
    limited = [
        replace(problem, bars=(*problem.bars, Wish(None, DAYS[1]))),
        replace(problem, bars=(*problem.bars, Wish("String 2", DAYS[seed % 5]))),
        replace(problem, pins=(Wish("String 1", DAYS[4]),)),
        replace(problem, days=tuple(days)),
        replace(problem, days=tuple(replace(day, allowed=day.allowed and n != 3) for n, day in enumerate(days))),
        replace(problem, deck_traps=min(60, problem.deck_traps or 60)),
        replace(problem, most_traps=min(60, problem.most_traps or 60)),
        replace(problem, bag_lb=min(8.0, problem.bag_lb or 8.0)),
        replace(problem, strings=hungry, baits=(PlanBait("mullet heads", 2, 2, 1, (0.0, 0.0, 0.0, 2.0, 0.0)),))
        if not problem.baits
        else replace(problem, baits=()),
    ]
    free = solve_plan(problem, next_best=False)
    for tighter in limited:
        plan = solve_plan(tighter, next_best=False)
        assert broken(tighter, plan) == []
        assert plan.value_usd <= free.value_usd + CENTS


def test_the_same_problem_has_the_same_plan() -> None:
    for strings in (5, 12):
        problem = random_problem(21, strings, 6)
        assert solve_plan(problem) == solve_plan(problem)


def test_of_days_and_strings_worth_the_same_the_earlier_come_first() -> None:
    plan = solve_plan(problem_of({"Ledge": [50, 50, 50], "Nine Foot": [50, 50, 50]}, minutes=80))
    assert days_of(plan) == {"Ledge": [0], "Nine Foot": [1]}


def test_strings_share_a_trip_where_that_saves_a_trip() -> None:
    plan = solve_plan(problem_of({"Ledge": [50, 45], "Nine Foot": [40, 45]}, trip_cost_usd=30))
    assert days_of(plan) == {"Ledge": [0], "Nine Foot": [0]}
    assert (plan.value_usd, plan.days[0].value_usd, plan.days[1].visits) == (pytest.approx(60), 60, ())
    assert (plan.days[0].expected_lb, plan.expected_lb) == (10, 10)


def test_a_trip_that_does_not_pay_is_not_made() -> None:
    plan = solve_plan(problem_of({"Ledge": [50, 40]}, trip_cost_usd=60))
    assert days_of(plan) == {"Ledge": []}
    assert whys(plan) == {"Ledge": WhyCode.TRIP_COST}


def test_bait_that_is_still_frozen_waits_for_the_thaw() -> None:
    problem = problem_of({"Ledge": [50, 45, 40], "Nine Foot": [50, 45, 40]}, boxes={"mullet heads": 1.0})
    plan = solve_plan(replace(problem, baits=(PlanBait("mullet heads", 1, 1, 2, (0, 0, 0)),)))
    assert days_of(plan) == {"Ledge": [0], "Nine Foot": [2]}
    why = plan.strings[1].why
    assert (why.code, why.day) == (WhyCode.BAIT, DAYS[0])
    assert why.values == {"bait": "mullet heads", "needs_boxes": 2, "has_boxes": 1}
    nothing = solve_plan(replace(problem, baits=()))
    assert days_of(nothing) == {"Ledge": [], "Nine Foot": []}


def test_bait_kept_for_a_better_day_is_not_spent_before() -> None:
    problem = problem_of({"Ledge": [50, 10], "Nine Foot": [10, 90]}, boxes={"cowhide": 1.0})
    plan = solve_plan(replace(problem, baits=(PlanBait("cowhide", 1, 0, 0, (0, 0)),)))
    assert days_of(plan) == {"Ledge": [], "Nine Foot": [1]}


def test_bait_arriving_is_used_from_its_day() -> None:
    bait = PlanBait("cowhide", 1.0, 2.0, 1, (0.0, 4.0, 0.0, 0.0))
    assert [bait.usable_by(day) for day in range(4)] == [1, 3, 7, 7]


def test_a_pin_is_obeyed_at_its_price() -> None:
    problem = problem_of({"Ledge": [50, 45, 20], "Nine Foot": [50, 45, 20]})
    pinned = solve_plan(replace(problem, pins=(Wish("Ledge", DAYS[2]),)))
    assert days_of(pinned)["Ledge"] == [2]
    assert whys(pinned) == {"Ledge": WhyCode.PINNED, "Nine Foot": WhyCode.BEST_DAY}
    assert solve_plan(replace(problem, pins=(Wish(None, DAYS[1]),))).days[1].visits != ()


@pytest.mark.parametrize(
    ("change", "pin", "code"),
    [
        ({"bars": (Wish("Ledge", DAYS[1]),)}, Wish("Ledge", DAYS[1]), WhyCode.BARRED),
        ({"bars": (Wish(None, DAYS[1]),)}, Wish(None, DAYS[1]), WhyCode.BARRED),
        ({}, Wish("Ledge", DAYS[9]), WhyCode.UNKNOWN),
        ({}, Wish("Outer Bar", DAYS[0]), WhyCode.UNKNOWN),
        ({"most_traps": 20}, Wish("Ledge", DAYS[1]), WhyCode.TRAPS),
        ({"bag_lb": 4.0}, Wish("Ledge", DAYS[1]), WhyCode.BAG),
        ({"cruise_kt": 0.4}, Wish("Ledge", DAYS[1]), WhyCode.HOURS),
    ],
)
def test_a_pin_that_can_not_be_obeyed_is_told_with_what_stands_against_it(
    change: dict[str, object], pin: Wish, code: WhyCode
) -> None:
    problem = replace(problem_of({"Ledge": [50, 45], "Nine Foot": [50, 45]}), pins=(pin,), **change)  # type: ignore[arg-type]
    plan = solve_plan(problem)
    assert [(unmet.pin, unmet.against.code) for unmet in plan.unmet_pins] == [(pin, code)]
    assert broken(problem, plan) == []


def test_a_pin_on_a_day_off_or_without_chance_is_told() -> None:
    problem = problem_of({"Ledge": [50, 45, 40]})
    days = (replace(problem.days[0], allowed=False), replace(problem.days[1], chance=0.0), problem.days[2])
    plan = solve_plan(replace(problem, days=days, pins=(Wish(None, DAYS[0]), Wish("Ledge", DAYS[1]))))
    assert [unmet.against.code for unmet in plan.unmet_pins] == [WhyCode.NOT_ALLOWED, WhyCode.NO_CHANCE]
    assert days_of(plan) == {"Ledge": [2]}


def test_of_pins_that_stand_in_each_others_way_the_first_holds() -> None:
    problem = problem_of({"Ledge": [50, 45], "Nine Foot": [50, 45]}, minutes=80)
    pins = (Wish("Nine Foot", DAYS[0]), Wish("Ledge", DAYS[0]))
    plan = solve_plan(replace(problem, pins=pins))
    assert days_of(plan) == {"Ledge": [1], "Nine Foot": [0]}
    (unmet,) = plan.unmet_pins
    assert (unmet.pin, unmet.against.code) == (pins[1], WhyCode.HOURS)
    assert unmet.against.values["strings"] == ("Nine Foot",)


def test_pins_that_come_first_are_never_given_up_for_more_that_come_later() -> None:
    """One pin against nine; bait for one string is all there is."""
    names = [f"String {n}" for n in range(10)]
    problem = problem_of({name: [50, 45] for name in names}, minutes=2000, boxes={"mullet heads": 1.0})
    baits = (PlanBait("mullet heads", 1.0, 0.0, 0, (0.0, 0.0)),)
    pins = (Wish(names[0], DAYS[1]), *(Wish(name, DAYS[0]) for name in names[1:]))
    plan = solve_plan(replace(problem, baits=baits, pins=pins))
    assert [unmet.pin for unmet in plan.unmet_pins] == list(pins[1:])
    assert days_of(plan)[names[0]] == [1]


@pytest.mark.parametrize("seed", [1, 5, 13, 21])
def test_many_pins_on_short_days_never_cost_the_plan(seed: int) -> None:
    """Longer runs may leave the pins no time in the linear program."""
    problem, random = random_problem(seed, 11 + seed % 8, 5 + seed % 4), np.random.default_rng(seed + 999)
    some = [(int(random.integers(11 + seed % 8)), int(random.integers(5 + seed % 4))) for _ in range(8)]
    pins = (*problem.pins, *(Wish(f"String {s}", DAYS[day]) for s, day in some))
    days = tuple(replace(day, minutes=0.6 * day.minutes) for day in problem.days)
    problem = replace(problem, pins=pins, days=days)
    assert not broken(problem, solve_plan(problem, next_best=False))


def test_a_settled_trip_handles_more_traps_than_the_deck_holds_and_no_other_does() -> None:
    problem = problem_of({"Ledge": [50, 40], "Nine Foot": [50, 40]})
    settled = (replace(problem.days[0], any_traps=True), problem.days[1])
    assert days_of(solve_plan(replace(problem, days=settled, deck_traps=30))) == {"Ledge": [0], "Nine Foot": [0]}
    assert sorted(days_of(solve_plan(replace(problem, deck_traps=30))).values()) == [[0], [1]]


def test_a_soak_that_is_never_ripe_and_one_better_left_are_told_apart() -> None:
    problem = problem_of({"Ledge": [np.nan, np.nan], "Nine Foot": [-5, -5], "The Hump": [40, 50]})
    plan = solve_plan(problem)
    assert whys(plan) == {
        "Ledge": WhyCode.NOT_RIPE,
        "Nine Foot": WhyCode.NOT_WORTH,
        "The Hump": WhyCode.BEST_DAY,
    }


def test_what_binds_is_told_with_its_numbers() -> None:
    plan = solve_plan(problem_of({"Ledge": [90, 40], "Nine Foot": [50, 45]}, minutes=100))
    why = plan.strings[1].why
    assert (why.code, why.day, why.values["strings"]) == (WhyCode.HOURS, DAYS[0], ("Ledge",))
    needs_min = why.values["needs_min"]
    assert isinstance(needs_min, float)
    assert needs_min > 2 * 60
    assert why.values["has_min"] == 100


def test_what_the_next_best_plan_loses_is_what_barring_the_pull_costs() -> None:
    problem = random_problem(3, 4, 5, limits=False)
    plan = solve_plan(problem)
    asked = [string.next_best for string in plan.strings if string.next_best]
    assert len(asked) > 1
    for next_best in asked:
        assert next_best is not None
        barred = solve_plan(replace(problem, bars=(next_best.without,)), next_best=False)
        assert next_best.loses_usd == pytest.approx(plan.value_usd - barred.value_usd, abs=CENTS)
        first = [day for (name, day) in pulls_of(barred) if name == next_best.without.string]
        assert next_best.instead == min(first, default=None)
        assert next_best.proven


def test_of_many_strings_those_of_the_first_trip_are_asked_for() -> None:
    problem = random_problem(4, 12, 5, limits=False)
    plan = solve_plan(problem)
    first = next(day for day in plan.days if day.visits)
    asked = {string.string for string in plan.strings if string.next_best is not None}
    assert asked == {visit.string for visit in first.visits}
    assert all(s.next_best.loses_usd >= 0 and not s.next_best.proven for s in plan.strings if s.next_best)


@pytest.mark.parametrize("seed", range(5))
def test_the_least_minutes_never_exceed_a_true_trip(seed: int) -> None:
    r = Reckoned(random_problem(seed, 9, 3, limits=False))
    random = np.random.default_rng(seed)
    for _ in range(60):
        load = np.flatnonzero(random.random(9) < 0.5)
        if len(load):
            assert r.harbor_min + r.share_min[load].sum() <= r.trip_min(load) + 1e-9


def test_without_strings_or_anything_possible_the_plan_is_empty() -> None:
    problem = problem_of({"Ledge": [np.nan, np.nan]})
    empty = replace(
        problem,
        strings=(),
        gain_usd=np.zeros((0, 3, 2)),
        expected_lb=np.zeros((0, 3, 2)),
        end_usd=np.zeros((0, 3)),
        pins=(Wish(None, DAYS[0]),),
    )
    plan = solve_plan(empty)
    assert (plan.value_usd, plan.gap, [day.visits for day in plan.days]) == (0, 0, [(), ()])
    assert len(plan.unmet_pins) == 1
    assert solve_plan(problem).value_usd == 0


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"end_usd": np.full((1, 3), np.nan)}, "end_usd"),
        ({"gain_usd": np.zeros((1, 2, 2))}, "gain_usd"),
        ({"expected_lb": np.full((1, 3, 2), np.nan)}, "expected_lb"),
        ({"cruise_kt": 0.0}, "moves"),
        ({"baits": (PlanBait("cowhide", 1, 0, 0, (0.0,)),)}, "arriving_boxes of cowhide: found 1 days; write 2"),
    ],
)
def test_a_problem_that_makes_no_sense_is_refused(change: dict[str, object], told: str) -> None:
    with pytest.raises(ValueError, match=told):
        replace(problem_of({"Ledge": [50, 45]}), **change)  # type: ignore[arg-type]
