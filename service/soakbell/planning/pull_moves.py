"""A pull plan bettered by moves: a few strings are taken out of all their trips and put back where it pays most.

Simulated annealing (Kirkpatrick, Gelatt and Vecchi 1983) over ruin and recreate (Schrimpf and others 2000).
Putting one string back is a longest path through the days while the other strings stay, the best there is unless
bait is scarce; prices of the linear program keep it off days that others need more. Plain lists, since most moves
touch a few numbers.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import inf, log
from random import Random
from typing import NamedTuple

import numpy as np

from soakbell.planning.pull_problem import ROUNDING, Pin, Reckoned
from soakbell.planning.visit_order import put_in

_WITHIN = ROUNDING / 2
"""Within limits by less than ``holds`` asks, for sums in another order."""
_SEED = 20261126
_CLOSED, _OPENED, _PRICED = 0.05, 0.2, 0.8
"""How often a day's trip is given up, a trip made on a day without one that came up, and prices asked."""
_FREE, _BESIDE, _TRIP, _LOWEST_SHARE = 4, 2, 10, 0.5
"""Most strings taken out of two days' trips, and of any beside them; least share of a price that is asked.
Tried out by ``tests/bench/bench_plan.py``."""


class _Plan(NamedTuple):
    """By day unless said otherwise. What is replaced is never changed in place, so that a copy may be shallow.

    pulls: by string. left_boxes: by bait, then day: usable up to it, less what is used up to it.
    """

    ways: list[list[tuple[int, int]]]
    pulls: list[tuple[int, ...]]
    left_min: list[float]
    left_traps: list[float]
    left_lb: list[float]
    left_boxes: list[list[float]]

    def copy(self) -> _Plan:
        ways, pulls, left_min, left_traps, left_lb, left_boxes = self
        return _Plan(ways[:], pulls[:], left_min[:], left_traps[:], left_lb[:], left_boxes[:])


_Place = tuple[int, int, tuple[int, int], float]
"""A pull's day, its place in that day's trip, its first and last end, and the minutes that it adds."""


class Moves:
    """A plan that changes, from ``pulled`` (strings, days), which must hold.

    Args:
        price_usd: (strings, days + 1, days), what others would pay for a pull's hours, bait and bag.
        obeyed: pins that stay obeyed.
    """

    def __init__(self, r: Reckoned, price_usd: np.ndarray, obeyed: Sequence[Pin], pulled: np.ndarray) -> None:
        self.r, self.random = r, Random(_SEED)  # noqa: S311
        self.alone = {(pin.string, pin.day) for pin in obeyed if pin.string is not None}
        self.any = {pin.day for pin in obeyed if pin.string is None}
        self.gain = np.where(r.possible, r.gain, -np.inf).transpose(0, 2, 1).tolist()
        self.price, self.lb = price_usd.transpose(0, 2, 1).tolist(), r.lb.transpose(0, 2, 1).tolist()
        self.may = [np.flatnonzero(days).tolist() for days in r.possible.any(axis=1)]
        self.end, self.trip_usd = r.end.tolist(), r.trip_usd.tolist()
        self.haul_min, self.traps, self.boxes = r.haul_min.tolist(), r.traps.tolist(), r.boxes.tolist()
        self.baited = [bool(boxes.any()) for boxes in r.boxes]
        self.takes_bait = r.baited.tolist()
        self.full_usd = 2 * float(np.abs(np.where(r.possible, r.gain, 0.0)).sum() + np.abs(r.trip_usd).sum()) + 1
        self.usd = float(r.end[:, 0].sum())
        self.now = self._told(pulled)
        for s, days in enumerate(self.now.pulls):
            self._count(s, days, 1)

    def _told(self, pulled: np.ndarray) -> _Plan:
        """Its trips; traps, bag and bait as if there were none."""
        r, trips = self.r, [np.flatnonzero(trip).tolist() for trip in pulled.T]
        self.usd -= sum(usd for usd, trip in zip(self.trip_usd, trips, strict=True) if trip)
        return _Plan(
            ways=[r.way(trip) for trip in trips],
            pulls=[tuple(np.flatnonzero(days).tolist()) for days in pulled],
            left_min=[float(r.minutes[day]) - r.trip_min(trip) for day, trip in enumerate(trips)],
            left_traps=r.traps_a_trip.tolist(),
            left_lb=[r.bag_lb] * r.d,
            left_boxes=r.usable_boxes.tolist(),
        )

    @property
    def pulled(self) -> np.ndarray:
        pulled = np.zeros((self.r.s, self.r.d), dtype=bool)
        for s, days in enumerate(self.now.pulls):
            pulled[s, list(days)] = True
        return pulled

    def anew(self, strings: Sequence[int], days: np.ndarray) -> None:
        """One after the other put in anew on these days, at full prices and trips paid; then on any, without."""
        may = self.may
        self.may = [[day for day in of_string if days[day]] for of_string in may]
        for s in strings:
            self._one_anew(s, [1.0] * self.r.d, opening=True)
        self.may = may
        for s in strings:
            self._one_anew(s, None, opening=False)

    def _one_anew(self, s: int, shares: Sequence[float] | None, *, opening: bool) -> None:
        before, usd = self.now.copy(), self.usd
        self._take_out(s)
        self._put_back(s, shares, None, opening=opening)
        if not self._settled(before):
            self.now, self.usd = before, usd

    def bettered(self, turns: int, hot_usd: float, cool_usd: float, *, times: int = 1) -> None:
        """Leaves the best plan met, of so many ``times`` from here. At first moves that lose about ``hot_usd`` are
        taken, at last ``cool_usd``."""
        start, best = (self.now.copy(), self.usd), (self.now.copy(), self.usd)
        for _ in range(times):
            self.now, self.usd = start[0].copy(), start[1]
            for turn in range(turns):
                self._moved(hot_usd * (cool_usd / hot_usd) ** (turn / turns))
                if self.usd > best[1] + ROUNDING:
                    best = self.now.copy(), self.usd
        self.now, self.usd = best

    def _moved(self, heat_usd: float) -> None:
        before, usd = self.now.copy(), self.usd
        free, closed, opening = self._chosen()
        for s in free:
            self._take_out(s)
        shares = [self.random.uniform(_LOWEST_SHARE, 1.0) for _ in range(self.r.d)]
        asked = shares if self.random.random() < _PRICED else None
        for s in free:
            self._put_back(s, asked, closed, opening=opening)
        if self.usd <= usd + heat_usd * log(1 - self.random.random()) or not self._settled(before):
            self.now, self.usd = before, usd

    def _chosen(self) -> tuple[list[int], int | None, bool]:
        """Strings in the order of putting back, a day closed to them, and whether a new trip is free."""
        random, ways, every = self.random, self.now.ways, range(self.r.s)
        day, other = random.randrange(self.r.d), random.randrange(self.r.d)
        closing, opening = random.random() < _CLOSED, False
        of_day = sorted((a - 1) // 2 for a, _ in ways[day])
        closing = closing and bool(of_day)
        if closing:
            free = set(of_day) | set(random.sample(every, random.randint(0, min(_FREE, self.r.s))))
        elif not of_day and random.random() < _OPENED:
            opening = True
            free = set(random.sample(every, random.randint(2, min(_TRIP, self.r.s))))
        else:
            of_two = sorted({*of_day, *((a - 1) // 2 for a, _ in ways[other])})
            free = set(random.sample(of_two, min(random.randint(1, _FREE), len(of_two))))
        free |= set(random.sample(every, random.randint(0 if free else 1, _BESIDE)))
        chosen = sorted(free)
        random.shuffle(chosen)
        return chosen, day if closing else None, opening

    def _take_out(self, s: int) -> None:
        now, nmi, days = self.now, self.r.nmi, self.now.pulls[s]
        for day in days:
            way = now.ways[day]
            at, (first, last) = next((n, ends) for n, ends in enumerate(way) if ends[0] in (1 + 2 * s, 2 + 2 * s))
            before, after = way[at - 1][1] if at else 0, way[at + 1][0] if at + 1 < len(way) else 0
            now.ways[day] = rest = way[:at] + way[at + 1 :]
            saves_nmi = nmi[before][first] + nmi[last][after] - nmi[before][after]
            now.left_min[day] += self.haul_min[s] + self.r.min_a_nmi * saves_nmi
            if not rest:
                now.left_min[day] = float(self.r.minutes[day])
                self.usd += self.trip_usd[day]
        self._count(s, days, -1)
        now.pulls[s] = ()

    def _count(self, s: int, days: tuple[int, ...], sign: int) -> None:
        """A string's pulls in what the plan is worth, in traps, bag and bait."""
        now, before = self.now, 0
        for day in days:
            self.usd += sign * self.gain[s][day][before]
            now.left_traps[day] -= sign * self.traps[s]
            now.left_lb[day] -= sign * self.lb[s][day][before]
            before = day + 1
        self.usd += sign * (self.end[s][before] - self.end[s][0])
        if not self.baited[s]:
            return
        days = tuple(day for day in days if self.takes_bait[s][day])
        for b, boxes in enumerate(self.boxes[s]):
            if boxes:
                now.left_boxes[b] = left = list(now.left_boxes[b])
                for begin, day in enumerate(days):
                    until = days[begin + 1] if begin + 1 < len(days) else self.r.d
                    for on in range(day, until):
                        left[on] -= sign * boxes * (begin + 1)

    def _most(self, s: int) -> list[float]:
        """By day, how many pulls there may be up to it for bait."""
        most, least = [inf] * self.r.d, inf
        for day in range(self.r.d - 1, -1, -1):
            for b, boxes in enumerate(self.boxes[s]):
                if boxes:
                    least = min(least, (self.now.left_boxes[b][day] + _WITHIN) // boxes)
            most[day] = least
        return most

    def _put_back(self, s: int, shares: Sequence[float] | None, closed: int | None, *, opening: bool) -> None:
        """At the pulls worth most less ``shares`` of their prices, while the other strings stay; the pulls before
        them leave them enough bait."""
        now, min_a_nmi, haul_min, traps = self.now, self.r.min_a_nmi, self.haul_min[s], self.traps[s]
        most = self._most(s) if self.baited[s] else None
        bag = self.lb[s] if self.r.bag_lb < inf else None
        steps: list[tuple[int, float, int, int, _Place | None]] = [(0, 0.0, 0, 0, None)]
        for day in self.may[s]:
            left_min = now.left_min[day] - haul_min + _WITHIN
            if left_min < 0 or now.left_traps[day] < traps or day == closed:
                continue
            way = now.ways[day]
            adds_nmi, at, visit = put_in(self.r.nmi, way, s)
            adds_min = min_a_nmi * adds_nmi
            if adds_min > left_min:
                continue
            gain, price, share = self.gain[s][day], self.price[s][day], shares[day] if shares else 0.0
            best_usd, last, left_lb = -inf, -1, now.left_lb[day] + _WITHIN
            takes_bait = self.takes_bait[s][day]
            for n, (before, usd, count, _, _) in enumerate(steps):
                usd += gain[before] - share * price[before]
                if (
                    usd > best_usd
                    and (most is None or not takes_bait or count < most[day])
                    and (bag is None or bag[day][before] <= left_lb)
                ):
                    best_usd, last = usd, n
            if last < 0:
                continue
            if not way and not opening:
                best_usd -= self.trip_usd[day]
            if (s, day) in self.alone or (not way and day in self.any):
                best_usd += self.full_usd
            steps.append(
                (day + 1, best_usd, steps[last][2] + takes_bait, last, (day, at, visit, haul_min + adds_min))
            )
        end = self.end[s]
        n = max(range(len(steps)), key=lambda n: steps[n][1] + end[steps[n][0]])
        days = []
        while (place := steps[n][4]) is not None:
            day, at, visit, takes_min = place
            way = now.ways[day]
            if not way:
                self.usd -= self.trip_usd[day]
            now.ways[day] = [*way[:at], visit, *way[at:]]
            now.left_min[day] -= takes_min
            days.append(day)
            n = steps[n][3]
        now.pulls[s] = tuple(reversed(days))
        self._count(s, now.pulls[s], 1)

    def _settled(self, before: _Plan) -> bool:
        """Trips that changed take their best way; whether all fit, and the pins are obeyed."""
        now, r = self.now, self.r
        if not all(now.ways[day] for day in self.any) or not all(day in now.pulls[s] for s, day in self.alone):
            return False
        for day, (way, was) in enumerate(zip(now.ways, before.ways, strict=True)):
            if way and way != was:
                trip = [(a - 1) // 2 for a, _ in way]
                now.ways[day], now.left_min[day] = r.way(trip), float(r.minutes[day]) - r.trip_min(trip)
                if now.left_min[day] < -ROUNDING:
                    return False
        return True
