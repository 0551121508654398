"""Which traps come home on which trip: the fewest trips, of those the fewest strings cut, then the least time.

All traps that are out are put in the order of one long visit (``visit_order``), which is then cut into loads as
well as can be: route first, cluster second (Beasley, Omega 11, 1983). Another order might be cut better still.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby, pairwise

import numpy as np

from soakbell.gear.strings import Mark, TrapString
from soakbell.planning.distances import distance_nmi
from soakbell.planning.season_end import TakeUpPlan, TakeUpTrip
from soakbell.planning.trips import Boat
from soakbell.planning.visit_order import Runs, way_of

_CUT = 1e6
_TRIP = 1e9
_TOO_LONG = 1e12
"""What a cut string, a trip, and a trip too long for the window cost in minutes: each outweighs all before it."""


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
) -> TakeUpPlan:
    """Cut what is out into trips.

    Args:
        out: at most once a string; between marks a place lies as far along as its number says.
        deck_traps: that can be stacked on deck.
        stack_min_per_trap: for stacking and lashing a trap, besides hauling it.
        most_min: no trip takes longer if it can be helped; one that must is longer all the same, as its
            ``minutes`` tell.

    Raises:
        ValueError: ``deck_traps`` is below 1.
    """
    if deck_traps < 1:
        raise ValueError(f"{deck_traps} traps on deck; write 1 or more")
    stops = _stops(harbor, [each for each in out if each.places])
    if not stops:
        return TakeUpPlan(())
    home_nmi = np.array([distance_nmi(harbor, stop.mark) for stop in stops])
    runs_min = [60 * distance_nmi(a.mark, b.mark) / boat.cruise_kt for a, b in pairwise(stops)]
    apart_min = [
        max(0.0, run_min - boat.haul_min_per_trap) if a.string == b.string else run_min
        for run_min, (a, b) in zip(runs_min, pairwise(stops), strict=True)
    ]  # hauling holds the run to the next trap of a string, but no longer one
    along_min = np.concatenate(([0.0], np.cumsum(apart_min)))
    cuts_string = np.array([*(a.string == b.string for a, b in pairwise(stops)), False])
    a_trap_min = boat.haul_min_per_trap + stack_min_per_trap

    def minutes(first: np.ndarray, last: int) -> np.ndarray:
        run_min = 60 * (home_nmi[first] + home_nmi[last]) / boat.cruise_kt + along_min[last] - along_min[first]
        taken: np.ndarray = run_min + a_trap_min * (last - first + 1) + boat.trip_margin_min
        return taken

    cost, load_from = np.zeros(len(stops) + 1), np.zeros(len(stops) + 1, dtype=int)
    for last in range(len(stops)):
        first = np.arange(max(0, last + 1 - deck_traps), last + 1)
        lasts_min = minutes(first, last)
        too_long = 0.0 if most_min is None else _TOO_LONG * (lasts_min > most_min)
        costs = cost[first] + lasts_min + too_long
        best = int(costs.argmin())
        cost[last + 1] = costs[best] + _TRIP + _CUT * cuts_string[last]
        load_from[last + 1] = first[best]
    trips, stop_at = [], len(stops)
    while stop_at:
        first_at = int(load_from[stop_at])
        taken_min = float(minutes(np.array([first_at]), stop_at - 1)[0])
        trips.append(_trip(stops[first_at:stop_at], taken_min))
        stop_at = first_at
    return TakeUpPlan(tuple(sorted(trips, key=lambda trip: (-trip.traps, -trip.minutes, trip.strings))))


def _stops(harbor: Mark, out: Sequence[TrapsOut]) -> list[_Stop]:
    """Every trap in the order of the one long visit."""
    runs = Runs(harbor, [each.string for each in out])
    stops = []
    for first, last in way_of(runs, range(len(out))):
        each = out[(first - 1) // 2]
        places = sorted(set(each.places), reverse=first > last)
        stops += [_Stop(each.string.name, place, _mark_of(each.string, place)) for place in places]
    return stops


def _mark_of(string: TrapString, place: int) -> Mark:
    along = min(1.0, (place - 1) / max(1, string.traps - 1))
    a, b = string.start, string.end
    return Mark(a.lat_deg + along * (b.lat_deg - a.lat_deg), a.lon_deg + along * (b.lon_deg - a.lon_deg))


def _trip(stops: Sequence[_Stop], minutes: float) -> TakeUpTrip:
    strings = tuple(
        (name, tuple(sorted(stop.place for stop in group))) for name, group in groupby(stops, lambda s: s.string)
    )
    return TakeUpTrip(strings, len(stops), minutes)
