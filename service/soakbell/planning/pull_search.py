"""The search for the best pull plan.

Up to EXACT_UP_TO strings one program over all loads (``pull_programs.Loads``) finds the best there is. With
more, the linear program over sums of least minutes gives a bound, prices and a start, which moves then better
(``pull_moves``). Seeds and numbers of moves are fixed: the same problem gives the same plan.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from soakbell.planning.pull_moves import Moves
from soakbell.planning.pull_problem import Pin, PlanProblem, Reckoned, Wish, worth_usd
from soakbell.planning.pull_programs import MOST_NODES, TIE_USD, Loads, Sums, pins_obeyed

EXACT_UP_TO = 10

_WITHOUT_NODES = 200
_GONE = 0.3
"""The start goes out on days of which the linear program takes so much."""
_TURNS, _TURNS_GROW, _AGAIN = 54, 1.4, 40
_NEAR_TURNS = 15
"""Moves of a plan are so many times its strings to a power, and made again for each time that its strings go into
that many; those of a plan near it are so many a string."""
_HOT, _NEAR_HOT, _COOL = 0.05, 0.01, 0.002
"""What moves may lose at first and at last, as shares of what a string is worth. Tried out by
``tests/bench/bench_plan.py``."""


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
        self.many = _Many(self.r) if self.r.s > EXACT_UP_TO and self.r.possible.any() else None
        self.found = _exact(self.r, MOST_NODES) if self.many is None else self.many.found

    def without(self, bar: Wish) -> Found | None:
        """The best found with one bar more, obeying the same pins; None if that can't be. From many strings,
        only near this plan."""
        problem = self.r.problem
        pins = tuple(wish for wish in problem.pins if self.r.numbered(wish) in self.found.obeyed)
        r = Reckoned(replace(problem, bars=(*problem.bars, bar), pins=pins))
        found = _exact(r, _WITHOUT_NODES) if self.many is None else self.many.near(r)
        return found if found is not None and len(found.obeyed) == len(pins) else None


def _nothing(r: Reckoned) -> Found:
    pulled = np.zeros((r.s, r.d), dtype=bool)
    worth = worth_usd(r, pulled)
    return Found(pulled, worth, worth, True, ())


def _exact(r: Reckoned, nodes: int) -> Found:
    if not r.possible.any():
        return _nothing(r)
    program = Loads(r)
    obeyed = pins_obeyed(program)[0] if r.pins else ()
    best = program.best(obeyed, nodes=nodes)
    if best is None:
        nothing = np.zeros((r.s, r.d), dtype=bool)
        return Found(nothing, worth_usd(r, nothing), np.inf, False, ())
    pulled, answer = best
    worth = worth_usd(r, pulled)
    return Found(pulled, worth, max(worth, TIE_USD * r.s * r.d - answer.least), answer.proven, obeyed)


class _Many:
    """A good plan of many strings: a start by the linear program's prices, then moves."""

    def __init__(self, r: Reckoned) -> None:
        self.r, program = r, Sums(r)
        self.obeyed, least = pins_obeyed(program) if r.pins else ((), np.zeros((r.s, r.d), dtype=bool))
        relaxed = program.relaxed(self.obeyed)
        self.price_usd = np.zeros(r.possible.shape) if relaxed is None else relaxed.price_usd
        moves = Moves(r, self.price_usd, self.obeyed, least)
        if relaxed is not None:
            surest = np.argsort(-relaxed.pulled.max(axis=1), kind="stable")
            moves.anew(surest.tolist(), relaxed.gone >= _GONE)
        self.heat_usd = abs(moves.usd) / r.s
        self._bettered(moves, round(_TURNS * r.s**_TURNS_GROW), _HOT, times=1 + _AGAIN // r.s)
        worth = worth_usd(r, moves.pulled)
        bound = np.inf if relaxed is None else max(worth, relaxed.bound_usd)
        self.found = Found(moves.pulled, worth, bound, False, self.obeyed)

    def near(self, r: Reckoned) -> Found | None:
        """From the plan found, for a problem with one bar more: what it bars is put in anew."""
        pulled = self.found.pulled.copy()
        barred = np.flatnonzero((pulled & ~r.day_open).any(axis=1))
        pulled[barred] = False
        moves = Moves(r, self.price_usd, self.obeyed, pulled)
        moves.anew(barred.tolist(), np.ones(r.d, dtype=bool))
        self._bettered(moves, _NEAR_TURNS * r.s, _NEAR_HOT)
        pulled = moves.pulled
        if not all(pin.of(pulled).any() for pin in self.obeyed):
            return None
        return Found(pulled, worth_usd(r, pulled), self.found.bound_usd, False, self.obeyed)

    def _bettered(self, moves: Moves, turns: int, hot: float, *, times: int = 1) -> None:
        if self.heat_usd > 0:
            moves.bettered(turns, hot * self.heat_usd, _COOL * self.heat_usd, times=times)
