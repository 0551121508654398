"""Mixed-integer programs of a pull plan, solved by HiGHS (Huangfu and Hall 2018) through scipy.

Each string goes a path through the days: an arc for every pull, from the pull before, and one to the end. What
a trip carries is told in one of two ways. ``Loads``: a column for each of the largest loads that a day carries,
with the true time of its trip; exact, but only for few strings. ``Sums``: a day's minutes as a sum over its
strings, too few rather than too many.

The work of a program is limited by its nodes, so that the same program has the same answer; SAFETY_S
only keeps it from running on where the computer is far too slow, and an answer that met it may differ.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, linprog, milp
from scipy.sparse import coo_array, csr_array, hstack, vstack

from soakbell.planning.pull_problem import ROUNDING, Pin, Reckoned
from soakbell.planning.visit_order import runs_of_all_loads

SAFETY_S = 20.0
MOST_NODES = 100_000
_PINS_AT_ONCE = 8
"""Weights of more pins than that in one program would be too far apart for its tolerances."""
TIE_USD = 1e-3
"""The most that a pull is held worth less for lying later, above all of a string that stands early in a list."""


@dataclass(frozen=True)
class Rows:
    """``equal @ x == equal_to``, ``most @ x <= at_most``. Columns: the arcs, then others."""

    equal: csr_array
    equal_to: np.ndarray
    most: csr_array
    at_most: np.ndarray

    def and_most(self, most: csr_array, at_most: np.ndarray) -> Rows:
        both = vstack([self.most, most], format="csr")
        return Rows(self.equal, self.equal_to, both, np.concatenate([self.at_most, at_most]))

    def widened(self, more: int) -> Rows:
        """With ``more`` columns that touch none of the rows."""
        equal, most = (
            hstack([part, csr_array((part.shape[0], more))], format="csr") for part in (self.equal, self.most)
        )
        return Rows(equal, self.equal_to, most, self.at_most)


class Arcs:
    """Arcs as columns, and ``more`` columns behind them.

    Attributes:
        s, i, j: of each arc its string, the pull before, and the day; past the last day is the end.
        pull: False for those to the end.
        usd: what each is worth. tie_usd: what is taken off for order among equals.
    """

    def __init__(self, r: Reckoned, more: int) -> None:
        self.r, self.more = r, more
        pulls, ends = np.nonzero(r.possible), np.nonzero(np.ones((r.s, r.d + 1)))
        self.s, self.i = np.concatenate([pulls[0], ends[0]]), np.concatenate([pulls[1], ends[1]])
        self.j = np.concatenate([pulls[2], np.full(len(ends[0]), r.d)])
        self.count, self.pull = len(self.s), self.j < r.d
        to = np.minimum(self.j, r.d - 1)
        self.usd = np.where(self.pull, r.gain[self.s, self.i, to], r.end[self.s, self.i])
        late, low = (self.j + 1) / (r.d + 1), self.s / r.s
        self.tie_usd = np.where(self.pull, TIE_USD * (late * (3 - low) + low) / 3, 0.0)

    def parts_of(self, taken: np.ndarray) -> np.ndarray:
        """(strings, days), how much of each pull is in the arcs taken."""
        parts = np.zeros((self.r.s, self.r.d))
        np.add.at(parts, (self.s[self.pull], self.j[self.pull]), taken[: self.count][self.pull])
        return parts

    def plan_of(self, taken: np.ndarray) -> np.ndarray:
        """Pulls (strings, days) of arcs taken whole."""
        plan: np.ndarray = self.parts_of(taken) > 0.5
        return plan

    def matrix(self, rows: np.ndarray, columns: np.ndarray, values: np.ndarray, height: int) -> csr_array:
        return coo_array((values, (rows, columns)), shape=(height, self.count + self.more)).tocsr()

    def rows(self) -> Rows:
        """Every string goes one path; bag and bait suffice."""
        r, every, on = self.r, np.arange(self.count), np.flatnonzero(self.pull)
        nodes = r.s * (r.d + 1)
        out = self.matrix(self.s * (r.d + 1) + self.i, every, np.ones(self.count), nodes)
        into = self.matrix(self.s[on] * (r.d + 1) + self.j[on] + 1, on, np.ones(len(on)), nodes)
        rows = Rows((out - into).tocsr(), np.tile(np.eye(1, r.d + 1)[0], r.s), out[:0], np.zeros(0))
        if np.isfinite(r.bag_lb):
            in_bag = self.matrix(self.j[on], on, r.lb[self.s[on], self.i[on], self.j[on]], r.d)
            rows = rows.and_most(in_bag, np.full(r.d, r.bag_lb))
        for b in range(len(r.baits)):
            day, arc = np.nonzero(self.j[on] <= np.arange(r.d)[:, None])
            s, j = self.s[on[arc]], self.j[on[arc]]
            baited = self.matrix(day, on[arc], r.boxes[s, b] * r.baited[s, j], r.d)
            rows = rows.and_most(baited, r.usable_boxes[b])
        return rows

    def pulls(self) -> csr_array:
        """(strings * days) rows that count the pulls of a string on a day."""
        on = np.flatnonzero(self.pull)
        return self.matrix(self.s[on] * self.r.d + self.j[on], on, np.ones(len(on)), self.r.s * self.r.d)

    def pins(self, pins: Sequence[Pin]) -> csr_array:
        """A row for each pin: how many of its pulls there are."""
        rows = np.zeros((len(pins), self.count + self.more))
        for row, pin in zip(rows, pins, strict=True):
            row[: self.count] = self.pull & (self.j == pin.day)
            if pin.string is not None:
                row[: self.count] *= self.s == pin.string
        return csr_array(rows)


@dataclass(frozen=True)
class Answer:
    """``taken``: 0 or 1 for each column. No answer costs less than ``least``."""

    taken: np.ndarray
    least: float
    proven: bool


def solve(cost: np.ndarray, rows: Rows, *, nodes: int) -> Answer | None:
    """The least cost over 0 and 1; None if there is none, or none was found within the limits."""
    constraints = [LinearConstraint(rows.equal, rows.equal_to, rows.equal_to)]
    if rows.most.shape[0]:
        constraints.append(LinearConstraint(rows.most, -np.inf, rows.at_most))
    result = milp(
        cost,
        constraints=constraints,
        integrality=np.ones(len(cost)),
        bounds=Bounds(0, 1),
        options={"mip_rel_gap": 0.0, "node_limit": nodes, "time_limit": SAFETY_S},
    )
    if result.x is None:
        return None
    return Answer(np.round(result.x), float(result.mip_dual_bound), result.status == 0)


@dataclass(frozen=True)
class Program:
    """``day_usd``: what each of the columns behind the arcs costs."""

    arcs: Arcs
    rows: Rows
    day_usd: np.ndarray

    def obeying(self, pins: Sequence[Pin]) -> Rows:
        return self.rows.and_most(-self.arcs.pins(pins), -np.ones(len(pins)))

    def best(self, pins: Sequence[Pin], *, nodes: int) -> tuple[np.ndarray, Answer] | None:
        """The plan and the program's answer."""
        cost = np.concatenate([self.arcs.tie_usd - self.arcs.usd, self.day_usd])
        answer = solve(cost, self.obeying(pins), nodes=nodes)
        return None if answer is None else (self.arcs.plan_of(answer.taken), answer)

    def relaxed(self, pins: Sequence[Pin]) -> Relaxed | None:
        """Pulls, trips and bait may be parted; None if the solver has no answer."""
        rows, arcs = self.obeying(pins), self.arcs
        result = linprog(
            np.concatenate([-arcs.usd, self.day_usd]),
            A_ub=rows.most,
            b_ub=rows.at_most,
            A_eq=rows.equal,
            b_eq=rows.equal_to,
            bounds=(0, 1),
            method="highs",
        )
        if result.x is None:
            return None
        price_usd = np.zeros(arcs.r.possible.shape)
        arc_usd = -(rows.most.T @ result.ineqlin.marginals)[: arcs.count]
        price_usd[arcs.s[arcs.pull], arcs.i[arcs.pull], arcs.j[arcs.pull]] = arc_usd[arcs.pull]
        return Relaxed(-float(result.fun), arcs.parts_of(result.x), result.x[arcs.count :], price_usd)


@dataclass(frozen=True)
class Relaxed:
    """An answer of the linear program: no plan is worth more than ``bound_usd``.

    Attributes:
        pulled: (strings, days), the part of each pull. gone: of each column behind the arcs.
        price_usd: (strings, days + 1, days), what a pull costs the others.
    """

    bound_usd: float
    pulled: np.ndarray
    gone: np.ndarray
    price_usd: np.ndarray


class Loads(Program):
    """With a column for each of the largest loads that a day carries. Of a load any part may be pulled."""

    def __init__(self, r: Reckoned) -> None:
        largest = [_largest(of_day, r.s) for of_day in _every_load(r)]
        days = np.repeat(np.arange(r.d), [len(of_day) for of_day in largest])
        bits = np.array([load for of_day in largest for load in of_day], dtype=int)
        arcs = Arcs(r, len(days))
        load, s = np.nonzero((bits[:, None] >> np.arange(r.s)) & 1)
        pulls = arcs.pulls()
        carried = arcs.matrix(s * r.d + days[load], arcs.count + load, np.ones(len(load)), pulls.shape[0])
        one = arcs.matrix(days, arcs.count + np.arange(len(days)), np.ones(len(days)), r.d)
        rows = arcs.rows().and_most(pulls - carried, np.zeros(pulls.shape[0])).and_most(one, np.ones(r.d))
        super().__init__(arcs, rows, r.trip_usd[days])


def _every_load(r: Reckoned) -> list[set[int]]:
    """Of each day the loads that fit, as bits."""
    loads = np.arange(1, 1 << r.s)
    members = (loads[:, None] >> np.arange(r.s)) & 1
    minutes = r.min_a_nmi * runs_of_all_loads(r.runs, range(r.s))[1:] + members @ r.haul_min
    fits = (minutes[:, None] <= r.minutes + ROUNDING) & (members @ ~r.possible.any(axis=1) == 0)
    fits &= (members @ r.traps)[:, None] <= r.traps_a_trip
    return [set(loads[of_day].tolist()) for of_day in fits.T]


def _largest(loads: set[int], count: int) -> list[int]:
    """Those that no string can be added to."""
    bits = [1 << n for n in range(count)]
    return sorted(load for load in loads if not any(load | bit in loads for bit in bits if not load & bit))


class Sums(Program):
    """With a column for each day that there is a trip, and its minutes as a sum that no true trip undercuts."""

    def __init__(self, r: Reckoned) -> None:
        arcs, every = Arcs(r, r.d), np.arange(r.s * r.d)
        goes = arcs.matrix(every, arcs.count + every % r.d, np.ones(len(every)), len(every))
        rows = arcs.rows().and_most(arcs.pulls() - goes, np.zeros(len(every)))
        rows = rows.and_most(_within(arcs, r.share_min, r.minutes - r.harbor_min), np.zeros(r.d))
        if np.isfinite(r.traps_a_trip).all():
            rows = rows.and_most(_within(arcs, r.traps, r.traps_a_trip), np.zeros(r.d))
        super().__init__(arcs, rows, r.trip_usd)


def _within(arcs: Arcs, takes: np.ndarray, has: np.ndarray) -> csr_array:
    """The pulls of a day take no more than its trip has."""
    on, days = np.flatnonzero(arcs.pull), np.arange(arcs.r.d)
    columns = np.concatenate([on, arcs.count + days])
    values = np.concatenate([takes[arcs.s[on]], -has])
    return arcs.matrix(np.concatenate([arcs.j[on], days]), columns, values, arcs.r.d)


def pins_obeyed(program: Program) -> tuple[tuple[Pin, ...], np.ndarray]:
    """Each pin that can be obeyed beside all earlier ones that are, and a plan with no more pulls than they need.

    Sums of minutes may let a trip through that doesn't fit: such a trip is then forbidden, and it is tried again.
    """
    arcs, r = program.arcs, program.arcs.r
    wide, most_pulls = arcs.count + arcs.more, r.s * r.d
    obeyed: tuple[Pin, ...] = ()
    pulled, limits = np.zeros((r.s, r.d), dtype=bool), program.rows
    for begin in range(0, len(r.pins), _PINS_AT_ONCE):
        some = r.pins[begin : begin + _PINS_AT_ONCE]
        cost = np.zeros(wide + len(some))
        cost[: arcs.count][arcs.pull] = 1 / (most_pulls + 1)  # all pulls together weigh less than the last pin
        cost[wide:] = 2.0 ** np.arange(len(some) - 1, -1, -1)  # each more than all after it
        while True:
            slack = hstack([-arcs.pins(some), -csr_array(np.eye(len(some)))], format="csr")
            rows = limits.and_most(-arcs.pins(obeyed), -np.ones(len(obeyed))).widened(len(some))
            answer = solve(cost, rows.and_most(slack, -np.ones(len(some))), nodes=MOST_NODES)
            if answer is None:
                return obeyed, pulled
            tried = arcs.plan_of(answer.taken)
            too_long = [day for day in range(r.d) if not r.trip_fits(np.flatnonzero(tried[:, day]), day)]
            if not too_long:
                break
            for day in too_long:
                trip = np.flatnonzero(tried[:, day])
                row = np.zeros((1, wide))
                row[0, : arcs.count] = (arcs.j == day) & np.isin(arcs.s, trip)
                limits = limits.and_most(csr_array(row), np.array([len(trip) - 1.0]))
        pulled = tried
        obeyed += tuple(pin for pin, unmet in zip(some, answer.taken[wide:], strict=True) if unmet < 0.5)
    return obeyed, pulled
