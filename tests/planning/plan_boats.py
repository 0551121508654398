"""Invented boats for the pull plan, what a plan breaks, and the best plan by trying every one."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date, timedelta
from itertools import pairwise, permutations, product

import numpy as np

from soakbell.gear.strings import Mark
from soakbell.planning.distances import distance_nmi
from soakbell.planning.pull_plan import PullPlan
from soakbell.planning.pull_problem import PlanBait, PlanDay, PlanProblem, PlanString, Wish

HARBOR = Mark(30.05, -84.15)
TODAY = date(2026, 12, 8)
FLOOR_DAYS = 3
SLACK = 1e-6


def random_problem(seed: int, strings: int, days: int, *, limits: bool = True) -> PlanProblem:
    """Strings within about 10 nautical miles of the harbor, soaks by a two-rate catch curve.

    Args:
        limits: with bait, traps, bag, days off, bars and pins, each in some of the seeds; else hours only.
    """
    random = np.random.default_rng(seed)
    traps = random.integers(20, 41, strings)
    middles = np.column_stack([random.uniform(29.89, 30.03, strings), random.uniform(-84.25, -84.05, strings)])
    halves = random.uniform(-0.004, 0.004, (strings, 2))
    chance = random.uniform(0.2, 1.0, days)
    age = random.integers(0, 10, strings)
    rate = random.uniform(0.1, 0.25, strings)

    def soaked(s: int, i: int, day: int) -> float:
        return float(age[s] + day if i == 0 else day - i + 1)

    def claws(s: int, soak: float) -> float:
        return float(traps[s] * rate[s] * (np.exp(-0.05 * soak) - np.exp(-0.2 * soak)) / 0.15)

    gain = np.full((strings, days + 1, days), np.nan)
    pounds = np.full((strings, days + 1, days), np.nan)
    end = np.zeros((strings, days + 1))
    for s, i in product(range(strings), range(days + 1)):
        end[s, i] = 1.6 * claws(s, soaked(s, i, days))
        for day in range(i, days):
            if (soak := soaked(s, i, day)) >= FLOOR_DAYS:
                pounds[s, i, day] = claws(s, soak) / 4
                gain[s, i, day] = chance[day] * (3 * claws(s, soak) - 0.2 * traps[s])
    problem = PlanProblem(
        harbor=HARBOR,
        cruise_kt=14.0,
        strings=tuple(
            PlanString(f"String {s}", int(traps[s]), 1.5 * traps[s], Mark(*(mid - half)), Mark(*(mid + half)))
            for s, (mid, half) in enumerate(zip(middles, halves, strict=True))
        ),
        days=tuple(
            PlanDay(TODAY + timedelta(day), float(chance[day]), float(random.uniform(120, 420)), True, 60.0)
            for day in range(days)
        ),
        gain_usd=gain,
        expected_lb=pounds,
        end_usd=end,
    )
    return with_limits(problem, random) if limits else problem


def with_limits(problem: PlanProblem, random: np.random.Generator) -> PlanProblem:
    names, days = [string.name for string in problem.strings], [day.day for day in problem.days]

    def wish(any_share: float) -> Wish:
        return Wish(None if random.random() < any_share else str(random.choice(names)), random.choice(days))

    if random.random() < 0.5:
        boxes = [{"mullet heads" if random.random() < 0.7 else "cowhide": 0.05 * s.traps} for s in problem.strings]
        need = sum(sum(of.values()) for of in boxes)
        baits = (
            PlanBait("mullet heads", need * 0.2, need * 0.2, 1, tuple(random.choice([0.0, need / 3], len(days)))),
            PlanBait("cowhide", need * 0.3, 0.0, 0, (0.0,) * len(days)),
        )
        last = [None if random.random() < 0.6 else int(random.integers(-1, len(days))) for _ in names]
        strings = tuple(
            replace(s, bait_boxes=of, baited_to=to) for s, of, to in zip(problem.strings, boxes, last, strict=True)
        )
        problem = replace(problem, strings=strings, baits=baits)
    if random.random() < 0.3:
        problem = replace(problem, deck_traps=int(random.integers(40, 160)))
    if random.random() < 0.3:
        problem = replace(problem, most_traps=int(random.integers(40, 160)))
    if random.random() < 0.3:
        problem = replace(problem, bag_lb=float(random.uniform(4, 40)))
    if random.random() < 0.5:
        off = int(random.integers(len(days)))
        problem = replace(
            problem, days=tuple(replace(day, allowed=n != off) for n, day in enumerate(problem.days))
        )
    bars = tuple(wish(0.2) for _ in range(random.integers(0, 3)))
    pins = tuple(wish(0.3) for _ in range(random.integers(0, 4)))
    return replace(problem, bars=bars, pins=pins)


def pulls_of(plan: PullPlan) -> dict[tuple[str, date], date | None]:
    """String and day of every pull, with the pull before it."""
    return {(pull.string, pull.day): pull.before for string in plan.strings for pull in string.pulls}


def obeys(pin: Wish, pulls: Mapping[tuple[str, date], object]) -> bool:
    return any(day == pin.day and pin.string in (None, string) for string, day in pulls)


def takes_bait(string: PlanString, day: int) -> bool:
    return string.baited_to is None or day <= string.baited_to


def broken(problem: PlanProblem, plan: PullPlan) -> list[str]:
    """All that a plan breaks or tells wrongly, reckoned from the problem and the plan's own visits."""
    out: list[str] = []
    pulls = pulls_of(plan)
    names = {string.name: n for n, string in enumerate(problem.strings)}
    at = {day.day: n for n, day in enumerate(problem.days)}
    value = 0.0
    for string in plan.strings:
        s, before = names[string.string], 0
        for pull in string.pulls:
            day = at[pull.day]
            if (pull.before is None) != (before == 0) or (before and pull.before != problem.days[before - 1].day):
                out.append(f"{pull} doesn't follow the pull before")
            if not np.isfinite(problem.gain_usd[s, before, day]):
                out.append(f"{pull} can't be")
            value += problem.gain_usd[s, before, day]
            before = day + 1
        value += problem.end_usd[s, before]
    for bar in problem.bars:
        out += [f"{pull} is barred" for pull in pulls if pull[1] == bar.day and bar.string in (None, pull[0])]
    told = [unmet.pin for unmet in plan.unmet_pins]
    out += [f"{pin} is neither obeyed nor told" for pin in problem.pins if obeys(pin, pulls) == (pin in told)]
    used = dict.fromkeys({bait for string in problem.strings for bait in string.bait_boxes}, 0.0)
    for planned, day in zip(plan.days, problem.days, strict=True):
        of_day = [string for string, on in pulls if on == day.day]
        if sorted(visit.string for visit in planned.visits) != sorted(of_day):
            out.append(f"the visits of {day.day} are not its pulls")
        if not of_day:
            continue
        value -= day.trip_cost_usd
        strings = [problem.strings[names[name]] for name in of_day]
        minutes = sum(string.haul_min for string in strings)
        here = problem.harbor
        for visit in planned.visits:
            string = problem.strings[names[visit.string]]
            if {visit.first, visit.last} != {string.start, string.end}:
                out.append(f"{visit} isn't from mark to mark")
            minutes += 60 * distance_nmi(here, visit.first) / problem.cruise_kt
            here = visit.last
        minutes += 60 * distance_nmi(here, problem.harbor) / problem.cruise_kt
        if minutes > day.minutes + SLACK:
            out.append(f"the trip of {day.day} takes {minutes} of {day.minutes}")
        if abs(minutes - planned.minutes) > SLACK:
            out.append(f"the trip of {day.day} takes {minutes}, told are {planned.minutes}")
        if not day.allowed or day.chance <= 0:
            out.append(f"{day.day} isn't open")
        traps = sum(string.traps for string in strings)
        if any(limit is not None and traps > limit for limit in (problem.deck_traps, problem.most_traps)):
            out.append(f"{traps} traps on {day.day}")
        if problem.bag_lb is not None and planned.expected_lb > problem.bag_lb + SLACK:
            out.append(f"{planned.expected_lb} lb on {day.day}")
        for string in strings:
            for bait, boxes in string.bait_boxes.items():
                used[bait] += boxes * takes_bait(string, at[day.day])
        on_hand = {bait.bait: bait.usable_by(at[day.day]) for bait in problem.baits}
        out += [f"{b} lacks on {day.day}" for b, boxes in used.items() if boxes > on_hand.get(b, 0.0) + SLACK]
    if abs(value - plan.value_usd) > SLACK:
        out.append(f"it is worth {value}, told is {plan.value_usd}")
    if plan.bound_usd < plan.value_usd:
        out.append(f"{plan.value_usd} is above the bound {plan.bound_usd}")
    return out


class EveryPlan:
    """All plans of a small problem: which hold, what they are worth, which pins they obey.

    Attributes:
        pulled: (plans, strings, days). worth_usd: -inf for plans that break a limit.
    """

    def __init__(self, problem: PlanProblem) -> None:
        self.problem = problem
        count, days = len(problem.strings), len(problem.days)
        patterns = np.array(list(product([False, True], repeat=days)))
        worth = np.zeros((count, len(patterns)))
        pounds = np.zeros((count, len(patterns), days))
        for s, (n, pattern) in product(range(count), enumerate(patterns)):
            before = 0
            for day in np.flatnonzero(pattern):
                worth[s, n] += np.nan_to_num(problem.gain_usd[s, before, day], nan=-np.inf)
                pounds[s, n, day] = problem.expected_lb[s, before, day]
                before = day + 1
            worth[s, n] += problem.end_usd[s, before]
        which = np.array(list(product(range(len(patterns)), repeat=count)))
        self.pulled = patterns[which]
        self.worth_usd = sum(worth[s, which[:, s]] for s in range(count))
        self.worth_usd -= self.pulled.any(axis=1) @ np.array([day.trip_cost_usd for day in problem.days])
        held = self._hours_and_traps() & self._bait() & self._wishes()
        if problem.bag_lb is not None:
            in_bag = sum(np.nan_to_num(pounds[s, which[:, s]], nan=np.inf) for s in range(count))
            held &= (in_bag <= problem.bag_lb + SLACK).all(axis=1)
        self.worth_usd[~held] = -np.inf

    def _hours_and_traps(self) -> np.ndarray:
        problem, held = self.problem, np.ones(len(self.pulled), dtype=bool)
        count = len(problem.strings)
        limits = [limit for limit in (problem.deck_traps, problem.most_traps) if limit is not None]
        for load in product([False, True], repeat=count):
            strings = [string for string, on in zip(problem.strings, load, strict=True) if on]
            minutes = shortest_min(problem, strings)
            for n, day in enumerate(problem.days):
                carried = minutes <= day.minutes + SLACK and day.allowed and day.chance > 0
                carried &= all(sum(string.traps for string in strings) <= limit for limit in limits)
                if strings and not carried:
                    held &= ~(self.pulled[:, :, n] == np.array(load)).all(axis=1)
        return held

    def _bait(self) -> np.ndarray:
        problem, held = self.problem, np.ones(len(self.pulled), dtype=bool)
        on_hand = {bait.bait: bait for bait in problem.baits}
        for name in {bait for string in problem.strings for bait in string.bait_boxes}:
            boxes = np.array([string.bait_boxes.get(name, 0.0) for string in problem.strings])
            takes = np.array([[takes_bait(s, n) for n in range(len(problem.days))] for s in problem.strings])
            used = np.cumsum((self.pulled * takes * boxes[None, :, None]).sum(axis=1), axis=1)
            has = [on_hand[name].usable_by(n) if name in on_hand else 0.0 for n in range(len(problem.days))]
            held &= (used <= np.array(has) + SLACK).all(axis=1)
        return held

    def _wishes(self) -> np.ndarray:
        held = np.ones(len(self.pulled), dtype=bool)
        for bar in self.problem.bars:
            held &= ~self.meant(bar)
        return held

    def meant(self, wish: Wish) -> np.ndarray:
        """Plans with such a pull."""
        days, names = [day.day for day in self.problem.days], [string.name for string in self.problem.strings]
        of_day = self.pulled[:, :, days.index(wish.day)]
        return of_day.any(axis=1) if wish.string is None else of_day[:, names.index(wish.string)]

    def best_usd(self, pins: list[Wish]) -> float:
        """Of the plans that obey these pins."""
        worth = self.worth_usd
        for pin in pins:
            worth = np.where(self.meant(pin), worth, -np.inf)
        return float(worth.max())

    def obeyed(self) -> list[Wish]:
        """The pins that plans which hold obey beside all earlier ones of them."""
        obeyed: list[Wish] = []
        for pin in self.problem.pins:
            if np.isfinite(self.best_usd([*obeyed, pin])):
                obeyed.append(pin)
        return obeyed


def shortest_min(problem: PlanProblem, strings: list[PlanString]) -> float:
    """Minutes of the shortest trip, by trying every order and direction."""
    if not strings:
        return 0.0
    run_nmi = min(
        distance_nmi(problem.harbor, order[0][0])
        + sum(distance_nmi(a[1], b[0]) for a, b in pairwise(order))
        + distance_nmi(order[-1][1], problem.harbor)
        for strung in permutations(strings)
        for order in product(*(((s.start, s.end), (s.end, s.start)) for s in strung))
    )
    return 60 * run_nmi / problem.cruise_kt + sum(string.haul_min for string in strings)
