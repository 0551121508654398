"""The order in which a trip visits its strings: harbor, strings end to end in either direction, harbor.

Hauling runs along a string from one mark to the other, so only the runs between marks count. Up to EXACT_UP_TO
strings the order is the shortest there is (dynamic programming over subsets, Held and Karp 1962); past that it
is a good one, with a length that no order can undercut beside it (one-tree bound, Held and Karp 1970).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from soakbell.gear.strings import Mark
from soakbell.planning.distances import distance_nmi

EXACT_UP_TO = 10
_ROUNDING_NMI = 1e-9
_BOUND_STEPS = 80
_LONGEST_MOVED = 3
"""Neighbours that are moved elsewhere together when a good order is looked for."""


class BetweenMarks(Protocol):
    """What is needed of a string."""

    @property
    def name(self) -> str: ...
    @property
    def start(self) -> Mark: ...
    @property
    def end(self) -> Mark: ...


class Runs:
    """Lengths of all runs of a boat's strings.

    ``nmi[a, b]``: nautical miles between ends, 0 the harbor, ``1 + 2 * n`` the start and ``2 + 2 * n`` the end
    mark of the n-th string.
    """

    def __init__(self, harbor: Mark, strings: Sequence[BetweenMarks]) -> None:
        self.names = tuple(string.name for string in strings)
        self.ends = (harbor, *(mark for string in strings for mark in (string.start, string.end)))
        self.nmi = np.zeros((len(self.ends), len(self.ends)))
        by_name = [0, *_ends(self.by_name(range(len(strings))))]
        for later, a in enumerate(by_name):
            for b in by_name[:later]:
                self.nmi[a, b] = self.nmi[b, a] = distance_nmi(self.ends[a], self.ends[b])

    def by_name(self, strings: Iterable[int]) -> list[int]:
        """What is equally long is decided in this order, so that no way hangs on how the strings are numbered."""
        return sorted(strings, key=lambda n: (self.names[n], n))


@dataclass(frozen=True)
class Visit:
    """One string of a trip, hauled from ``first`` to ``last``."""

    string: str
    first: Mark
    last: Mark


@dataclass(frozen=True)
class VisitOrder:
    """``run_nmi`` is run besides hauling; no order runs less than ``at_least_nmi``, which is equal where it is
    proven."""

    visits: tuple[Visit, ...]
    run_nmi: float
    at_least_nmi: float


def visit_order(runs: Runs, strings: Sequence[int]) -> VisitOrder:
    """Of the strings with these numbers."""
    way = way_of(runs, strings)
    run_nmi = run_of_way(runs, way)
    visits = tuple(Visit(runs.names[(a - 1) // 2], runs.ends[a], runs.ends[b]) for a, b in way)
    exact = len(way) <= EXACT_UP_TO
    return VisitOrder(visits, run_nmi, run_nmi if exact else min(run_nmi, _at_least(runs.nmi, sorted(strings))))


def way_of(runs: Runs, strings: Sequence[int]) -> list[tuple[int, int]]:
    """The order as pairs of first and last end. Of one and its reverse, equally long, that which starts with
    the string whose name comes first, or with a string's start."""
    strings = runs.by_name(strings)
    way = _shortest(runs.nmi, strings) if len(strings) <= EXACT_UP_TO else _good(runs, strings)
    reverse = [(last, first) for first, last in reversed(way)]
    return min(way, reverse, key=lambda way: [(runs.names[(first - 1) // 2], first) for first, _ in way[:1]])


def run_of_way(runs: Runs, way: Sequence[tuple[int, int]]) -> float:
    """Nautical miles run, hauling not counted."""
    stops = [0, *(end for pair in way for end in pair), 0]
    return sum(float(runs.nmi[stops[n], stops[n + 1]]) for n in range(0, len(stops), 2))


def put_in(
    table: list[list[float]], way: Sequence[tuple[int, int]], string: int
) -> tuple[float, int, tuple[int, int]]:
    """How much a string adds to the run where it adds least, and its place and direction. ``table``: the runs
    as lists."""
    a, b = 1 + 2 * string, 2 + 2 * string
    to_a, to_b = table[a], table[b]
    least, place, turned = np.inf, 0, False
    before = 0
    for at, (after, last) in enumerate([*way, (0, 0)]):
        now = table[before][after]
        ahead = to_a[before] + to_b[after] - now
        back = to_b[before] + to_a[after] - now
        if ahead < least:
            least, place, turned = ahead, at, False
        if back < least:
            least, place, turned = back, at, True
        before = last
    return least, place, (b, a) if turned else (a, b)


def runs_of_all_loads(runs: Runs, strings: Sequence[int]) -> np.ndarray:
    """Shortest run in nautical miles for every subset; bit n of the index stands for the n-th of ``strings``."""
    to = _reached(runs.nmi, strings)
    home = runs.nmi[0, _ends(strings)]
    lengths: np.ndarray = (to + home).min(axis=1, initial=np.inf)
    lengths[0] = 0.0
    return lengths


def _ends(strings: Sequence[int]) -> np.ndarray:
    return np.array([end for n in strings for end in (1 + 2 * n, 2 + 2 * n)], dtype=int)


def _reached(nmi: np.ndarray, strings: Sequence[int]) -> np.ndarray:
    """Shortest run that hauls a subset and stops at one of its marks, (subsets, 2 * strings); inf where it
    can't."""
    count, ends = len(strings), _ends(strings)
    between = nmi[np.ix_(ends, ends)]
    loads = np.arange(1 << count)
    sizes = np.array([load.bit_count() for load in range(1 << count)])
    to = np.full((1 << count, 2 * count), np.inf)
    for n in range(count):
        to[1 << n, 2 * n], to[1 << n, 2 * n + 1] = nmi[0, ends[2 * n + 1]], nmi[0, ends[2 * n]]
    for size in range(2, count + 1):
        for n in range(count):
            larger = loads[(sizes == size) & ((loads >> n) & 1 == 1)]
            before = to[larger ^ (1 << n)]
            to[larger, 2 * n] = (before + between[:, 2 * n + 1]).min(axis=1)
            to[larger, 2 * n + 1] = (before + between[:, 2 * n]).min(axis=1)
    return to


def _shortest(nmi: np.ndarray, strings: Sequence[int]) -> list[tuple[int, int]]:
    """Pairs of first and last end, in order."""
    to, ends = _reached(nmi, strings), _ends(strings)
    load, after, way = (1 << len(strings)) - 1, 0, []
    while load:
        lengths = to[load] + nmi[ends, after]
        last = int(np.flatnonzero(lengths <= lengths.min() + _ROUNDING_NMI)[0])
        way.append((int(ends[last ^ 1]), int(ends[last])))
        load, after = load ^ (1 << last // 2), int(ends[last ^ 1])
    return way[::-1]


def _good(runs: Runs, strings: Sequence[int]) -> list[tuple[int, int]]:
    """The better of two: each string put in where it adds least, the farthest first; and always on to the nearest
    that is left. Both turned round and moved while that shortens."""
    table: list[list[float]] = runs.nmi.tolist()
    ways = [_put_in_by_distance(table, strings), _nearest_next(table, strings)]
    for way in ways:
        while _turn_one(table, way) or _move_one(table, way):
            pass
    return min(ways, key=lambda way: run_of_way(runs, way))


def _put_in_by_distance(table: list[list[float]], strings: Sequence[int]) -> list[tuple[int, int]]:
    away = {n: max(table[0][1 + 2 * n], table[0][2 + 2 * n]) for n in strings}
    way: list[tuple[int, int]] = []
    for n in sorted(strings, key=lambda n: -away[n]):
        _put_in(table, way, [(1 + 2 * n, 2 + 2 * n)])
    return way


def _nearest_next(table: list[list[float]], strings: Sequence[int]) -> list[tuple[int, int]]:
    at, left, way = 0, list(strings), []
    while left:
        first = min((end for n in left for end in (1 + 2 * n, 2 + 2 * n)), key=lambda end: table[at][end])
        at = first + 1 if first % 2 else first - 1
        way.append((first, at))
        left.remove((first - 1) // 2)
    return way


def _before_and_after(way: Sequence[tuple[int, int]], begin: int, end: int) -> tuple[int, int]:
    return (way[begin - 1][1] if begin else 0), (way[end][0] if end < len(way) else 0)


def _put_in(table: list[list[float]], way: list[tuple[int, int]], part: list[tuple[int, int]]) -> float:
    """At the place and in the direction that adds least; says how much that is."""
    best = (np.inf, 0, False)
    for at in range(len(way) + 1):
        before, after = _before_and_after(way, at, at)
        for turned in (False, True):
            first, last = (part[-1][1], part[0][0]) if turned else (part[0][0], part[-1][1])
            adds = table[before][first] + table[last][after] - table[before][after]
            best = min(best, (adds, at, turned))
    adds, at, turned = best
    way[at:at] = [(b, a) for a, b in reversed(part)] if turned else part
    return adds


def _turn_one(table: list[list[float]], way: list[tuple[int, int]]) -> bool:
    for begin in range(len(way)):
        for end in range(begin + 1, len(way) + 1):
            before, after = _before_and_after(way, begin, end)
            first, last = way[begin][0], way[end - 1][1]
            turned = table[before][last] + table[first][after]
            if turned < table[before][first] + table[last][after] - _ROUNDING_NMI:
                way[begin:end] = [(b, a) for a, b in reversed(way[begin:end])]
                return True
    return False


def _move_one(table: list[list[float]], way: list[tuple[int, int]]) -> bool:
    for size in range(1, min(_LONGEST_MOVED, len(way) - 1) + 1):
        for begin in range(len(way) - size + 1):
            end = begin + size
            before, after = _before_and_after(way, begin, end)
            part, rest = way[begin:end], way[:begin] + way[end:]
            saves = table[before][part[0][0]] + table[part[-1][1]][after] - table[before][after]
            if _put_in(table, rest, part) < saves - _ROUNDING_NMI:
                way[:] = rest
                return True
    return False


def _at_least(nmi: np.ndarray, strings: Sequence[int]) -> float:
    """A length below that of every order, by one-trees.

    A trip is two runs from the harbor and a tree that joins all strings, in which each mark is used once.
    Without the last the shortest tree is easy to find; prices on the marks, moved toward those used too often,
    make up for it.
    """
    ends = _ends(strings)
    between, home = nmi[np.ix_(ends, ends)], nmi[0, ends]
    price, best = np.zeros(len(ends)), -np.inf
    step = between.mean() / 2
    for _ in range(_BOUND_STEPS):
        length, used = _one_tree(between + price[:, None] + price[None, :], home + price)
        best = max(best, length - float(price.sum()))
        price += step * (used - 1)
        step *= 0.95
    return best


def _one_tree(between: np.ndarray, home: np.ndarray) -> tuple[float, np.ndarray]:
    """Length, and how often each mark is used."""
    count = len(home) // 2
    used = np.zeros(2 * count)
    two = np.argsort(home, kind="stable")[:2]
    used[two] += 1
    length = float(home[two].sum())
    joined = np.zeros(count, dtype=bool)
    joined[0] = True
    blocks = between.reshape(count, 2, count, 2)
    for _ in range(count - 1):
        outward = np.where(joined[:, None, None, None] & ~joined[None, None, :, None], blocks, np.inf)
        a, way_a, b, way_b = np.unravel_index(int(outward.argmin()), outward.shape)
        length += float(blocks[a, way_a, b, way_b])
        used[2 * a + way_a] += 1
        used[2 * b + way_b] += 1
        joined[b] = True
    return length, used
