"""How many traps of which strings one trip brings home: the most for which it fits.

What is tried hangs on nothing that the weather or the boat's settings change, and a trip that fits goes on fitting
in more hours. So more hours or a larger deck never bring home less, and where a trip of some traps fits, the word
doesn't hang on how many there are.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Hashable, Iterable, Iterator, Mapping, Sequence
from itertools import chain, combinations
from typing import TypeVar

_MOST_GROUPS = 5

Trying = TypeVar("Trying")


def orders_of(orders: Sequence[Sequence[str]], group: Mapping[str, Hashable]) -> list[tuple[str, ...]]:
    """Orders in which strings are added: those given, of all and without some groups of them, so that one in foul
    water or out of reach doesn't keep the others out.

    Args:
        orders: of the same names, the first before others.
        group: of every name; strings of one group are fit in the same hours.
    """
    groups = list(dict.fromkeys(group[name] for name in orders[0]))
    many = len(groups)
    sizes = range(many, 0, -1) if many <= _MOST_GROUPS else (many, many - 1, 1)
    some = chain.from_iterable(combinations(groups, size) for size in sizes)
    return list(
        dict.fromkeys(tuple(name for name in order if group[name] in taken) for taken in some for order in orders)
    )


def most_home(
    orders: Iterable[Sequence[str]],
    traps: Mapping[str, int],
    fits: Callable[[Mapping[str, int]], Trying | None],
    *,
    most: float,
    before_others: Collection[str] = (),
) -> tuple[dict[str, int], Trying] | None:
    """The load, traps by string, and what ``fits`` gave for it; of equal ones that of the first order. None where
    no trap can come home.

    Along an order whole strings go while they fit, then as many traps of the next one as do.

    Args:
        fits: None where a trip with such a load doesn't.
        most: traps of one trip.
        before_others: strings of which more traps outweigh any number of other ones.
    """
    best: tuple[dict[str, int], Trying] | None = None
    best_rank = (0, 0)
    known: dict[frozenset[tuple[str, int]], Trying | None] = {}

    def asked(load: Mapping[str, int]) -> Trying | None:
        key = frozenset(load.items())
        if key not in known:
            known[key] = fits(load)
        return known[key]

    def rank(load: Mapping[str, int]) -> tuple[int, int]:
        return sum(n for name, n in load.items() if name in before_others), sum(load.values())

    for order in orders:
        wanted = {name: traps[name] for name in order}
        pinned, every = rank(wanted)
        if (min(pinned, most), min(every, most)) <= best_rank:
            continue
        for load in _loads(order, traps, most, asked):
            if rank(load) > best_rank and (found := asked(load)) is not None:
                best, best_rank = (load, found), rank(load)
    return best


def _loads(
    order: Sequence[str], traps: Mapping[str, int], most: float, fits: Callable[[Mapping[str, int]], object | None]
) -> Iterator[dict[str, int]]:
    """Loads along an order that fit, the largest last."""
    whole: dict[str, int] = {}
    for count in range(len(order), 0, -1):
        load = {name: traps[name] for name in order[:count]}
        if sum(load.values()) <= most and fits(load) is not None:
            whole = load
            yield whole
            break
    if len(whole) < len(order):
        name = order[len(whole)]
        for part in range(1, int(min(traps[name] - 1, most - sum(whole.values()))) + 1):
            load = whole | {name: part}
            if fits(load) is None:
                break
            yield load
