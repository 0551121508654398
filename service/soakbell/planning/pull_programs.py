"""Mixed-integer programs of a pull plan, solved by HiGHS (Huangfu and Hall 2018) through scipy.

Each string goes a path through the days: an arc for every pull, from the pull before, and one to the end. What
a trip carries is told in one of two ways. ``Loads``: a column for each of the largest loads that a day carries,
with the true time of its trip; strong, but only for few strings at once. ``Sums``: a day's minutes as a sum
over its strings.

The work of a program is limited by its gap and nodes, so that the same program has the same answer; SAFETY_S
only keeps it from running on where the computer is far too slow, and an answer that met it may differ.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import coo_array, csr_array, hstack, vstack

from soakbell.planning.pull_problem import ROUNDING, Pin, Reckoned, pounds
from soakbell.planning.visit_order import put_in, runs_of_all_loads

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
    """Arcs of some ``strings`` as columns, and ``more`` columns behind them.

    Attributes:
        n, s, i, j: of each arc its string among ``strings`` and among all, the pull before, and the day; past
            the last
            day is the end.
        pull: False for those to the end.
        usd: what each is worth. tie_usd: what is taken off for order among equals.
    """

    def __init__(self, r: Reckoned, strings: np.ndarray, possible: np.ndarray, more: int) -> None:
        self.r, self.strings, self.more = r, strings, more
        pulls, ends = np.nonzero(possible[strings]), np.nonzero(np.ones((len(strings), r.d + 1)))
        self.n, self.i = np.concatenate([pulls[0], ends[0]]), np.concatenate([pulls[1], ends[1]])
        self.j = np.concatenate([pulls[2], np.full(len(ends[0]), r.d)])
        self.s, self.count, self.pull = strings[self.n], len(self.n), self.j < r.d
        to = np.minimum(self.j, r.d - 1)
        self.usd = np.where(self.pull, r.gain[self.s, self.i, to], r.end[self.s, self.i])
        late, low = (self.j + 1) / (r.d + 1), self.s / r.s
        self.tie_usd = np.where(self.pull, TIE_USD * (late * (3 - low) + low) / 3, 0.0)

    def plan_of(self, taken: np.ndarray, others: np.ndarray) -> np.ndarray:
        """Pulls (all strings, days): of ``strings`` by the arcs taken, of the rest as in ``others``."""
        pulled = others.copy()
        pulled[self.strings] = False
        on = (taken[: self.count] > 0.5) & self.pull
        pulled[self.s[on], self.j[on]] = True
        return pulled

    def matrix(self, rows: np.ndarray, columns: np.ndarray, values: np.ndarray, height: int) -> csr_array:
        return coo_array((values, (rows, columns)), shape=(height, self.count + self.more)).tocsr()

    def rows(self, others: np.ndarray) -> Rows:
        """Every string goes one path; bag and bait suffice, less what the pulls of the ``others`` take."""
        r, every, on = self.r, np.arange(self.count), np.flatnonzero(self.pull)
        nodes = len(self.strings) * (r.d + 1)
        out = self.matrix(self.n * (r.d + 1) + self.i, every, np.ones(self.count), nodes)
        into = self.matrix(self.n[on] * (r.d + 1) + self.j[on] + 1, on, np.ones(len(on)), nodes)
        rows = Rows((out - into).tocsr(), np.tile(np.eye(1, r.d + 1)[0], len(self.strings)), out[:0], np.zeros(0))
        if np.isfinite(r.bag_lb):
            in_bag = self.matrix(self.j[on], on, r.lb[self.s[on], self.i[on], self.j[on]], r.d)
            rows = rows.and_most(in_bag, r.bag_lb - pounds(r, others).sum(axis=0))
        used = np.cumsum(others.T.astype(float) @ r.boxes, axis=0)
        for b in range(len(r.baits)):
            day, arc = np.nonzero(self.j[on] <= np.arange(r.d)[:, None])
            baited = self.matrix(day, on[arc], r.boxes[self.s[on[arc]], b], r.d)
            rows = rows.and_most(baited, r.usable_boxes[b] - used[:, b])
        return rows

    def pulls(self) -> csr_array:
        """(strings * days) rows that count the pulls of a string on a day."""
        on = np.flatnonzero(self.pull)
        return self.matrix(self.n[on] * self.r.d + self.j[on], on, np.ones(len(on)), len(self.strings) * self.r.d)

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


def solve(cost: np.ndarray, rows: Rows, *, gap: float, nodes: int) -> Answer | None:
    """The least cost over 0 and 1; None if there is none, or none was found within the limits."""
    constraints = [LinearConstraint(rows.equal, rows.equal_to, rows.equal_to)]
    if rows.most.shape[0]:
        constraints.append(LinearConstraint(rows.most, -np.inf, rows.at_most))
    result = milp(
        cost,
        constraints=constraints,
        integrality=np.ones(len(cost)),
        bounds=Bounds(0, 1),
        options={"mip_rel_gap": gap, "node_limit": nodes, "time_limit": SAFETY_S},
    )
    if result.x is None:
        return None
    return Answer(np.round(result.x), float(result.mip_dual_bound), result.status == 0)


class Program:
    """For some strings, ``free``, while the pulls of the ``others`` stay. Arcs only where ``possible``."""

    def __init__(self, r: Reckoned, free: np.ndarray, pulled: np.ndarray, possible: np.ndarray) -> None:
        self.r, self.free, self.possible = r, free, possible
        self.others = pulled.copy()
        self.others[free] = False
        self.goes_anyway = self.others.any(axis=0)
        self.arcs: Arcs
        self.rows: Rows
        self.day_usd: np.ndarray

    def best(self, pins: Sequence[Pin], *, gap: float, nodes: int) -> tuple[np.ndarray, Answer] | None:
        """The plan and the program's answer."""
        pinned = self.arcs.pins(pins)
        met = [pin.of(self.others).any() for pin in pins]
        rows = self.rows.and_most(-pinned, np.array(met, dtype=float) - 1)
        cost = np.concatenate([self.arcs.tie_usd - self.arcs.usd, self.day_usd])
        answer = solve(cost, rows, gap=gap, nodes=nodes)
        return None if answer is None else (self.arcs.plan_of(answer.taken, self.others), answer)


class Loads(Program):
    """With a column for each of the largest loads of the free strings that a day carries. Of a load any part
    may be pulled.

    Args:
        exact: every trip as short as it can be, for which no others may be pulled; else each string is put in
            where it
            adds least.
    """

    def __init__(
        self, r: Reckoned, free: np.ndarray, pulled: np.ndarray, possible: np.ndarray, *, exact: bool = False
    ) -> None:
        super().__init__(r, free, pulled, possible)
        loads = self._every() if exact else [self._added(day, pulled) for day in range(r.d)]
        largest = [_largest(of_day, len(free)) for of_day in loads]
        days = np.repeat(np.arange(r.d), [len(of_day) for of_day in largest])
        bits = np.array([load for of_day in largest for load in of_day], dtype=int)
        self.arcs = arcs = Arcs(r, free, possible, len(days))
        load, n = np.nonzero((bits[:, None] >> np.arange(len(free))) & 1)
        pulls = arcs.pulls()
        carried = arcs.matrix(n * r.d + days[load], arcs.count + load, np.ones(len(load)), pulls.shape[0])
        one = arcs.matrix(days, arcs.count + np.arange(len(days)), np.ones(len(days)), r.d)
        rows = arcs.rows(self.others).and_most(pulls - carried, np.zeros(pulls.shape[0]))
        self.rows = rows.and_most(one, np.ones(r.d))
        self.day_usd = np.where(self.goes_anyway, 0.0, r.trip_usd)[days]

    def _every(self) -> list[set[int]]:
        """Of each day the loads that fit, as bits."""
        r, loads = self.r, np.arange(1, 1 << len(self.free))
        members = (loads[:, None] >> np.arange(len(self.free))) & 1
        minutes = r.min_a_nmi * runs_of_all_loads(r.runs, self.free.tolist())[1:] + members @ r.haul_min[self.free]
        may = self.possible[self.free].any(axis=1)
        fits = (minutes[:, None] <= r.minutes + ROUNDING) & (members @ ~may == 0)
        fits &= (members @ r.traps[self.free])[:, None] <= r.traps_a_trip
        return [set(loads[of_day].tolist()) for of_day in fits.T]

    def _added(self, day: int, pulled: np.ndarray) -> set[int]:
        """Loads that fit in with the others' trip, and those of the plan so far, as bits."""
        r, carried, others = self.r, set(), np.flatnonzero(self.others[:, day])
        may = np.flatnonzero(self.possible[self.free, :, day].any(axis=1))
        strings = [
            (1 << n, s, r.haul_min[s], r.traps[s])
            for n, s in zip(may.tolist(), self.free[may].tolist(), strict=True)
        ]
        left_min = r.minutes[day] + ROUNDING - r.trip_min(others)
        stack = [(0, 0, r.way(others), left_min, r.traps_a_trip[day] - r.traps[others].sum())]
        while stack:
            first, bits, way, left_min, left_traps = stack.pop()
            for n in range(first, len(strings)):
                bit, s, haul_min, traps = strings[n]
                if haul_min > left_min or traps > left_traps:
                    continue
                adds_nmi, place, visit = put_in(r.nmi, way, s)
                then_min = left_min - haul_min - r.min_a_nmi * adds_nmi
                if then_min >= 0:
                    carried.add(bits | bit)
                    stack.append(
                        (n + 1, bits | bit, [*way[:place], visit, *way[place:]], then_min, left_traps - traps)
                    )
        part = now = sum(1 << n for n in np.flatnonzero(pulled[self.free, day]).tolist())
        while part:  # every part of the load of the plan so far: a shorter trip fits as well
            carried.add(part)
            part = (part - 1) & now
        return carried


def _largest(loads: set[int], count: int) -> list[int]:
    """Those that no string can be added to."""
    bits = [1 << n for n in range(count)]
    return sorted(load for load in loads if not any(load | bit in loads for bit in bits if not load & bit))


class Sums(Program):
    """With a column for each day that there is a trip, and its minutes as a sum.

    With ``longer`` given, and no others, sums are the least minutes with runs that much longer: with 1.0 no
    true trip takes less. Without, they are right for the trips as they are ``pulled`` and for one string more
    or less; of a day without a trip the runs are taken as much longer than the least as in the rest.
    """

    def __init__(
        self,
        r: Reckoned,
        free: np.ndarray,
        pulled: np.ndarray,
        possible: np.ndarray,
        *,
        longer: float | None = None,
    ) -> None:
        super().__init__(r, free, pulled, possible)
        self.arcs = arcs = Arcs(r, free, possible, r.d)
        stretch = how_much_longer(r, pulled) if longer is None else longer
        takes = np.tile((r.haul_min + stretch * (r.share_min - r.haul_min))[free, None], r.d)
        has = r.minutes - stretch * r.harbor_min
        if longer is None:
            self._as_pulled(pulled, takes, has)
        every = np.arange(len(free) * r.d)
        goes = arcs.matrix(every, arcs.count + every % r.d, np.ones(len(every)), len(every))
        self.rows = arcs.rows(self.others).and_most(arcs.pulls() - goes, np.zeros(len(every)))
        self.rows = self._within(takes, has)
        if np.isfinite(r.traps_a_trip).all():
            self.rows = self._within(np.tile(r.traps[free, None], r.d), r.traps_a_trip - r.traps @ self.others)
        self.day_usd = np.where(self.goes_anyway, 0.0, r.trip_usd)

    def _as_pulled(self, pulled: np.ndarray, takes: np.ndarray, has: np.ndarray) -> None:
        r = self.r
        for day in np.flatnonzero(pulled.any(axis=0)):
            strings = np.flatnonzero(pulled[:, day])
            way, has[day] = r.way(strings), r.minutes[day] - r.trip_min(strings)
            for n, s in enumerate(self.free.tolist()):
                rest = [visit for visit in way if (visit[0] - 1) // 2 != s] if pulled[s, day] else way
                takes[n, day] = r.haul_min[s] + r.min_a_nmi * put_in(r.nmi, rest, s)[0]
                has[day] += takes[n, day] if pulled[s, day] else 0.0

    def _within(self, takes: np.ndarray, has: np.ndarray) -> Rows:
        """The pulls of a day take no more than its trip has."""
        arcs, days = self.arcs, np.arange(self.r.d)
        on = np.flatnonzero(arcs.pull)
        columns = np.concatenate([on, arcs.count + days])
        values = np.concatenate([takes[arcs.n[on], arcs.j[on]], -has])
        sums = arcs.matrix(np.concatenate([arcs.j[on], days]), columns, values, self.r.d)
        return self.rows.and_most(sums, np.zeros(self.r.d))


def how_much_longer(r: Reckoned, pulled: np.ndarray) -> float:
    """The runs of a plan's trips over the least that they could be; 1 without any."""
    run_min = least_min = 0.0
    for trip in pulled.T:
        if trip.any():
            run_min += r.trip_min(np.flatnonzero(trip)) - r.haul_min[trip].sum()
            least_min += r.harbor_min + (r.share_min - r.haul_min)[trip].sum()
    return run_min / least_min if least_min > ROUNDING else 1.0


def pins_obeyed(program: Program) -> tuple[tuple[Pin, ...], np.ndarray]:
    """Each pin that can be obeyed beside all earlier ones that are, and a plan with no more pulls than they need.

    Sums of minutes may let a trip through that doesn't fit: such a trip is then forbidden, and it is tried again.
    """
    r, arcs = program.r, program.arcs
    wide, most_pulls = arcs.count + arcs.more, len(program.free) * r.d
    obeyed: tuple[Pin, ...] = ()
    pulled, limits = program.others, program.rows
    for begin in range(0, len(r.pins), _PINS_AT_ONCE):
        some = r.pins[begin : begin + _PINS_AT_ONCE]
        cost = np.zeros(wide + len(some))
        cost[: arcs.count][arcs.pull] = 1 / (most_pulls + 1)  # all pulls together weigh less than the last pin
        cost[wide:] = 2.0 ** np.arange(len(some) - 1, -1, -1)  # each more than all after it
        while True:
            slack = hstack([-arcs.pins(some), -csr_array(np.eye(len(some)))], format="csr")
            rows = limits.and_most(-arcs.pins(obeyed), -np.ones(len(obeyed))).widened(len(some))
            answer = solve(cost, rows.and_most(slack, -np.ones(len(some))), gap=0.0, nodes=MOST_NODES)
            if answer is None:
                return obeyed, pulled
            tried = arcs.plan_of(answer.taken, program.others)
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
