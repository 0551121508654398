"""Which traps come home on which trip: the fewest trips, of those the fewest strings cut, then full loads first.

All traps that are out are put in the order of one long visit (``visit_order``), which is then cut into loads as
well as can be: route first, cluster second (Beasley, Omega 11, 1983). Another order might be cut better still. The
order is the same for any deck, so that a larger one never makes the end less likely.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import timedelta
from itertools import groupby, pairwise

import numpy as np

from soakbell.gear.strings import Mark, TrapString
from soakbell.planning.call import Call, CallWord
from soakbell.planning.distances import distance_nmi
from soakbell.planning.season_end import TakeUpPlan, TakeUpTrip, TakeUpWay
from soakbell.planning.trips import Boat, mark_of
from soakbell.planning.visit_order import Runs, way_of

_LATER = 10.0
_CUT = 1e6
_TRIP = 1e9
_TOO_LONG = 1e12
"""What a trap left for the next trip, a cut string, a trip, and one too long for the window cost in minutes: the
last three each outweigh all before them."""


@dataclass(frozen=True)
class TrapsOut:
    """Traps of one string that are to come home, by their places from the start mark."""

    string: TrapString
    places: tuple[int, ...]


@dataclass(frozen=True)
class _Stop:
    string: str
    place: int
    mark: Mark


def plan_trips(
    boat: Boat,
    harbor: Mark,
    out: Sequence[TrapsOut],
    *,
    deck_traps: int,
    stack_min_per_trap: float,
    most_min: float | None = None,
    first: TakeUpTrip | None = None,
) -> TakeUpPlan:
    """Cut what is out into trips.

    Args:
        out: at most once a string; between marks a place lies as far along as its number says.
        deck_traps: that can be stacked on deck.
        stack_min_per_trap: for stacking and lashing a trap, besides hauling it.
        most_min: no trip takes longer if it can be helped; one that must is longer all the same, as its
            ``minutes`` tell.
        first: a trip that goes before all others as it is, with what it names of ``out``; the rest is cut.

    Raises:
        ValueError: ``deck_traps`` is below 1.
    """
    if deck_traps < 1:
        raise ValueError(f"{deck_traps} traps on deck; write 1 or more")
    called = {} if first is None else dict(first.strings)
    ahead = [TrapsOut(each.string, _in(each.places, called.get(each.string.name, ()))) for each in out]
    rest = [TrapsOut(each.string, _out_of(each.places, called.get(each.string.name, ()))) for each in out]
    begins, rest_of = _stops(harbor, ahead), _stops(harbor, rest)
    stops = [*begins, *rest_of]
    way = _way(boat, harbor, stops, deck_traps, stack_min_per_trap)
    cuts = _cuts(way, stops, len(begins), most_min)
    trips = [_trip(stops[a:b], float(way.minutes(a, b - 1))) for a, b in pairwise(cuts)]
    if first is not None and begins:
        trips.insert(0, replace(_trip(begins, first.minutes), strings=_left_of(first, ahead)))
    return TakeUpPlan(tuple(trips), way, called=first is not None and bool(begins))


def called_trip(call: Call) -> TakeUpTrip | None:
    """The trip of a call to take traps up; None where it calls none."""
    window = call.window
    if call.word is not CallWord.PULL or not call.take_up or window is None:
        return None
    strings = tuple((pull.string, pull.places) for pull in window.pulls)
    minutes = (window.lands_at - window.leaves_at) / timedelta(minutes=1)
    return TakeUpTrip(strings, sum(len(places) for _, places in strings), minutes)


def _left_of(trip: TakeUpTrip, ahead: Sequence[TrapsOut]) -> tuple[tuple[str, tuple[int, ...]], ...]:
    """Its strings in its own order, with the traps that are still out."""
    out = {each.string.name: each.places for each in ahead}
    return tuple((name, out[name]) for name, _ in trip.strings if out.get(name))


def _way(
    boat: Boat, harbor: Mark, stops: Sequence[_Stop], deck_traps: int, stack_min_per_trap: float
) -> TakeUpWay:
    runs_min = [60 * distance_nmi(a.mark, b.mark) / boat.cruise_kt for a, b in pairwise(stops)]
    apart_min = [
        max(0.0, run_min - boat.haul_min_per_trap) if a.string == b.string else run_min
        for run_min, (a, b) in zip(runs_min, pairwise(stops), strict=True)
    ]  # hauling holds the run to the next trap of a string, but no longer one
    return TakeUpWay(
        home_min=np.array([60 * distance_nmi(harbor, stop.mark) / boat.cruise_kt for stop in stops]),
        along_min=np.cumsum([0.0, *apart_min])[: len(stops)],
        a_trap_min=boat.haul_min_per_trap + stack_min_per_trap,
        margin_min=boat.trip_margin_min,
        deck_traps=deck_traps,
    )


def _cuts(way: TakeUpWay, stops: Sequence[_Stop], begin: int, most_min: float | None) -> list[int]:
    """Where the stops from ``begin`` on are cut into loads, with both ends."""
    cuts_string = np.array([*(a.string == b.string for a, b in pairwise(stops)), False])
    cost, load_from = np.zeros(len(stops) + 1), np.zeros(len(stops) + 1, dtype=int)
    for last in range(begin, len(stops)):
        first = np.arange(max(begin, last + 1 - way.deck_traps), last + 1)
        lasts_min = way.minutes(first, np.full(len(first), last))
        too_long = 0.0 if most_min is None else _TOO_LONG * (lasts_min > most_min)
        costs = cost[first] + lasts_min + too_long
        best = int(costs.argmin())
        left = len(stops) - last - 1
        cost[last + 1] = costs[best] + _TRIP + _CUT * cuts_string[last] + _LATER * left
        load_from[last + 1] = first[best]
    cuts = [len(stops)]
    while cuts[-1] > begin:
        cuts.append(int(load_from[cuts[-1]]))
    return cuts[::-1]


def _in(places: Sequence[int], some: Sequence[int]) -> tuple[int, ...]:
    return tuple(sorted(set(places) & set(some)))


def _out_of(places: Sequence[int], some: Sequence[int]) -> tuple[int, ...]:
    return tuple(sorted(set(places) - set(some)))


def _stops(harbor: Mark, traps: Sequence[TrapsOut]) -> list[_Stop]:
    """Every trap in the order of the one long visit."""
    out = [each for each in traps if each.places]
    runs = Runs(harbor, [each.string for each in out])
    stops = []
    for first, last in way_of(runs, range(len(out))):
        each = out[(first - 1) // 2]
        places = sorted(set(each.places), reverse=first > last)
        stops += [_Stop(each.string.name, place, mark_of(each.string, place)) for place in places]
    return stops


def _trip(stops: Sequence[_Stop], minutes: float) -> TakeUpTrip:
    strings = tuple(
        (name, tuple(sorted(stop.place for stop in group))) for name, group in groupby(stops, lambda s: s.string)
    )
    return TakeUpTrip(strings, len(stops), minutes)
