"""The search for the best pull plan.

Up to EXACT_UP_TO strings one program over all loads (``pull_programs.Loads``) finds the best there is. With
more, the linear program over sums of least minutes gives a bound and most of a start; the strings that it
splits, and then a few strings at a time, the others as they are, are put in by smaller programs. Seeds are
fixed: the same problem gives the same plan.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import linprog

from soakbell.planning.pull_problem import ROUNDING, Pin, PlanProblem, Reckoned, Wish, holds, worth_usd
from soakbell.planning.pull_programs import (
    MOST_NODES,
    TIE_USD,
    Loads,
    Sums,
    how_much_longer,
    pins_obeyed,
)

EXACT_UP_TO = 10

_SEED = 20261126
_WITHOUT_NODES = 200
_SPLIT = 1e-6
_LEAST_ROUNDS, _ROUNDS_A_STRING = 40, 1.6
_NEAR_ENOUGH = 1e-3
"""Share of the bound that may be missing when the rounds end early."""
_STRETCHED = 1.05
"""True runs so much longer than the least have the start made anew with that in mind."""
_SUMMED, _SUM_GAP, _SUM_NODES, _SUM_NEAR = 14, 1e-2, 1, 0.02
_LOADED, _LOAD_GAP, _LOAD_NODES, _LOAD_NEAR = 8, 2e-4, 60, 0.2
"""Strings put in anew at once, gap and nodes of their program, and the most that a pull may cost the linear
program, as a share of what a string is worth. Tried out by ``tests/bench/bench_plan.py``."""


@dataclass(frozen=True)
class Found:
    """``pulled`` (strings, days); no plan is worth more than ``bound_usd``; ``proven`` if this one is the best.

    Proven is true to a few cents: pulls are held worth a little less the later they are (``TIE_USD``).
    """

    pulled: np.ndarray
    worth_usd: float
    bound_usd: float
    proven: bool
    obeyed: tuple[Pin, ...]


class Search:
    """The best plan, or with more than EXACT_UP_TO strings a good one. Pins are obeyed in their order as far as
    possible."""

    def __init__(self, problem: PlanProblem) -> None:
        self.r = Reckoned(problem)
        self.rounds = _Rounds(self.r) if self.r.s > EXACT_UP_TO else None
        self.found = _exact(self.r, MOST_NODES) if self.rounds is None else self.rounds.search()

    def without(self, bar: Wish) -> Found | None:
        """The best found with one bar more, obeying the same pins; None if that can't be. From many strings,
        only near this plan."""
        problem = self.r.problem
        pins = tuple(wish for wish in problem.pins if self.r.numbered(wish) in self.found.obeyed)
        r = Reckoned(replace(problem, bars=(*problem.bars, bar), pins=pins))
        found = _exact(r, _WITHOUT_NODES) if self.rounds is None else self.rounds.near(r, self.found)
        return found if found is not None and len(found.obeyed) == len(pins) else None


def _nothing(r: Reckoned) -> Found:
    pulled = np.zeros((r.s, r.d), dtype=bool)
    worth = worth_usd(r, pulled)
    return Found(pulled, worth, worth, True, ())


def _exact(r: Reckoned, nodes: int) -> Found:
    if not r.possible.any():
        return _nothing(r)
    program = Loads(r, np.arange(r.s), np.zeros((r.s, r.d), dtype=bool), r.possible, exact=True)
    obeyed = pins_obeyed(program)[0] if r.pins else ()
    best = program.best(obeyed, gap=0.0, nodes=nodes)
    if best is None:
        return Found(program.others, worth_usd(r, program.others), np.inf, False, ())
    pulled, answer = best
    worth = worth_usd(r, pulled)
    return Found(pulled, worth, max(worth, TIE_USD * r.s * r.d - answer.least), answer.proven, obeyed)


class _Rounds:
    """A search in rounds.

    Attributes:
        reduced: (strings, days + 1, days), what each pull costs the linear program (its reduced cost); inf if
            not possible.
        whole_usd: what that program's arcs are worth.
    """

    def __init__(self, r: Reckoned) -> None:
        self.r = r
        self.obeyed: tuple[Pin, ...] = ()
        self.random = np.random.default_rng(_SEED)
        self.reduced, self.whole_usd = np.full(r.possible.shape, np.inf), 0.0

    def search(self) -> Found:
        r = self.r
        if not r.possible.any():
            return _nothing(r)
        every, least = np.arange(r.s), np.zeros((r.s, r.d), dtype=bool)
        program = Sums(r, every, least, r.possible, longer=1.0)
        if r.pins:
            self.obeyed, least = pins_obeyed(program)
        relaxed, bound = self._relaxed(program) or (np.zeros(program.arcs.count), np.inf)
        pulled = self._started(program, relaxed, least)
        if (longer := how_much_longer(r, pulled)) > _STRETCHED:
            program = Sums(r, every, np.zeros_like(least), r.possible, longer=longer)
            if (stretched := self._relaxed(program)) is not None:
                again = self._started(program, stretched[0], least)
                pulled = again if worth_usd(r, again) > worth_usd(r, pulled) else pulled
        pulled = self._improved(pulled, bound)
        worth = worth_usd(r, pulled)
        return Found(pulled, worth, max(worth, bound), False, self.obeyed)

    def near(self, r: Reckoned, found: Found) -> Found | None:
        """From a plan found for a problem with fewer bars: its strings of the days barred now are put in anew."""
        rounds = _Rounds(r)
        rounds.obeyed, rounds.reduced, rounds.whole_usd = found.obeyed, self.reduced, self.whole_usd
        barred = found.pulled & ~r.day_open
        strings = np.flatnonzero(barred.any(axis=1))
        pulled = rounds._fitting(found.pulled & r.day_open)
        if pulled is None or not len(strings):
            return None
        beside = np.flatnonzero(found.pulled[:, barred.any(axis=0)].any(axis=1) & ~barred.any(axis=1))
        for begin in range(0, len(strings), _LOADED):
            free = strings[begin : begin + _LOADED]
            pulled = rounds._loaded(pulled, np.sort(np.append(free, beside[: _LOADED - len(free)])))
        return Found(pulled, worth_usd(r, pulled), found.bound_usd, False, found.obeyed)

    def _relaxed(self, program: Sums) -> tuple[np.ndarray, float] | None:
        """How much of each arc the linear program takes, and what it is worth. Sets what each pull costs it.

        None if it has no answer, as where longer runs leave the pins no time.
        """
        r, arcs = self.r, program.arcs
        rows = program.rows.and_most(-arcs.pins(self.obeyed), -np.ones(len(self.obeyed)))
        cost = np.concatenate([-arcs.usd, program.day_usd])
        result = linprog(
            cost,
            A_ub=rows.most,
            b_ub=rows.at_most,
            A_eq=rows.equal,
            b_eq=rows.equal_to,
            bounds=(0, 1),
            method="highs",
        )
        if result.x is None:
            return None
        taken = result.x[: arcs.count]
        costs = np.where(taken > ROUNDING, 0.0, np.abs(result.lower.marginals[: arcs.count]))
        self.reduced = np.full(r.possible.shape, np.inf)
        self.reduced[arcs.s[arcs.pull], arcs.i[arcs.pull], arcs.j[arcs.pull]] = costs[arcs.pull]
        self.whole_usd = float(np.abs(arcs.usd) @ taken)
        return taken, -float(result.fun)

    def _started(self, program: Sums, relaxed: np.ndarray, least: np.ndarray) -> np.ndarray:
        """What the linear program does with whole strings; those that it splits are put in after them."""
        arcs = program.arcs
        split = np.unique(arcs.s[(relaxed > _SPLIT) & (relaxed < 1 - _SPLIT)])
        pulled = arcs.plan_of(relaxed, least)
        pulled[split] = least[split]
        fitting = self._fitting(pulled)
        pulled = least if fitting is None else fitting
        for begin in range(0, len(split), _SUMMED):
            pulled = self._summed(pulled, split[begin : begin + _SUMMED])
        return pulled

    def _improved(self, pulled: np.ndarray, bound_usd: float) -> np.ndarray:
        for turn in range(max(_LEAST_ROUNDS, round(_ROUNDS_A_STRING * self.r.s))):
            if bound_usd - worth_usd(self.r, pulled) <= _NEAR_ENOUGH * abs(bound_usd):
                break
            free = self._near_each_other() if turn % 3 == 2 else self._of_two_days(pulled)
            pulled = self._loaded(pulled, free)
        return pulled

    def _of_two_days(self, pulled: np.ndarray) -> np.ndarray:
        days = self.random.choice(self.r.d, min(2, self.r.d), replace=False)
        of_days = self.random.permutation(np.flatnonzero(pulled[:, days].any(axis=1)))[:_LOADED]
        others = self.random.permutation(np.setdiff1d(np.arange(self.r.s), of_days))
        chosen: np.ndarray = np.sort(np.concatenate([of_days, others[: _LOADED - len(of_days)]]))
        return chosen

    def _near_each_other(self) -> np.ndarray:
        strings = self.random.permutation(self.r.s)
        away_nmi = self.r.runs.nmi[1 + 2 * strings[0], 1 + 2 * strings]
        nearest: np.ndarray = np.sort(strings[np.argsort(away_nmi, kind="stable")[:_LOADED]])
        return nearest

    def _summed(self, pulled: np.ndarray, free: np.ndarray) -> np.ndarray:
        """Better for the ``free`` strings by sums, or as it was."""
        best = Sums(self.r, free, pulled, self._matters(pulled, _SUM_NEAR)).best(
            self.obeyed, gap=_SUM_GAP, nodes=_SUM_NODES
        )
        return pulled if best is None else self._better(pulled, best[0])

    def _loaded(self, pulled: np.ndarray, free: np.ndarray) -> np.ndarray:
        """Better for the ``free`` strings by their loads, or as it was."""
        best = Loads(self.r, free, pulled, self._matters(pulled, _LOAD_NEAR)).best(
            self.obeyed, gap=_LOAD_GAP, nodes=_LOAD_NODES
        )
        return pulled if best is None else self._better(pulled, best[0])

    def _matters(self, pulled: np.ndarray, near: float) -> np.ndarray:
        """Pulls that cost at most a share of what a string is worth, and those of the plan."""
        matters: np.ndarray = self.r.possible & (self.reduced <= near * self.whole_usd / self.r.s)
        for s, days in enumerate(pulled):
            before = 0
            for day in np.flatnonzero(days):
                matters[s, before, day] = True
                before = int(day) + 1
        return matters

    def _better(self, pulled: np.ndarray, tried: np.ndarray) -> np.ndarray:
        fitting = self._fitting(tried)
        if fitting is None or worth_usd(self.r, fitting) <= worth_usd(self.r, pulled) + ROUNDING:
            return pulled
        return fitting

    def _fitting(self, pulled: np.ndarray) -> np.ndarray | None:
        """Strings taken out of trips that are too long, those that are worth least a minute; None if that can't
        be."""
        r, pulled = self.r, pulled.copy()
        for day in range(r.d):
            while not r.trip_fits(trip := np.flatnonzero(pulled[:, day]), day):
                whole_usd, whole_min, best = worth_usd(r, pulled), r.trip_min(trip), (np.inf, -1)
                for s in trip.tolist():
                    pulled[s, day] = False
                    loses = (whole_usd - worth_usd(r, pulled)) / max(whole_min - r.trip_min(trip[trip != s]), 1.0)
                    if not np.isnan(loses) and self._obeys(pulled):
                        best = min(best, (loses, s))
                    pulled[s, day] = True
                if best[1] < 0:
                    return None
                pulled[best[1], day] = False
        return pulled if holds(r, pulled) and self._obeys(pulled) else None

    def _obeys(self, pulled: np.ndarray) -> bool:
        return all(bool(pin.of(pulled).any()) for pin in self.obeyed)
