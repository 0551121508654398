"""A trip: harbor, strings in order, harbor; and the departures for which every leg lies in fit hours."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import numpy as np

from soakbell.gear.strings import Mark, TrapString
from soakbell.planning.distances import distance_nmi
from soakbell.planning.visit_order import Runs, way_of
from soakbell.sea.fitness import Fitness

DEPARTURE_STEP_MIN = 15

STACK_MIN_PER_TRAP = 0.5
"""To stack and lash a trap on deck, besides hauling it, where none is told (common practice, no source)."""

HARBOR = ""
"""The key under which the harbor's own fitness stands beside those of the strings."""


@dataclass(frozen=True)
class Boat:
    """What a trip's times depend on. ``trip_margin_min`` is added to every trip, at its end.

    ``deck_traps`` are the most that one trip brings home stacked; None: not told.
    """

    name: str
    cruise_kt: float
    haul_min_per_trap: float
    trip_margin_min: float
    stack_min_per_trap: float = STACK_MIN_PER_TRAP
    deck_traps: int | None = None


@dataclass(frozen=True)
class Leg:
    """A stretch of a trip, minutes counted from leaving the harbor.

    ``places``: keys of the fitness that must hold throughout: string names, or HARBOR. A run between two
    places asks for both. ``string`` is the string being hauled, None on a run.
    """

    places: tuple[str, ...]
    starts_min: float
    ends_min: float
    string: str | None


@dataclass(frozen=True)
class Trip:
    """Legs in order, run from one to the next; the last brings the boat home with the margin spent."""

    legs: tuple[Leg, ...]
    distance_nmi: float

    @property
    def duration_min(self) -> float:
        return self.legs[-1].ends_min

    @property
    def hauls(self) -> tuple[Leg, ...]:
        return tuple(leg for leg in self.legs if leg.string is not None)


def mark_of(string: TrapString, place: int) -> Mark:
    """Where a place of a string lies: between its marks, as far along as its number says."""
    if place >= string.traps > 1:
        return string.end
    along = (place - 1) / max(1, string.traps - 1)
    a, b = string.start, string.end
    return Mark(a.lat_deg + along * (b.lat_deg - a.lat_deg), a.lon_deg + along * (b.lon_deg - a.lon_deg))


def part_of(string: TrapString, places: Sequence[int]) -> TrapString:
    """The string between the outermost of some of its ``places``, of which there is one at least."""
    return replace(string, start=mark_of(string, min(places)), end=mark_of(string, max(places)))


def visited(harbor: Mark, strings: Sequence[TrapString]) -> tuple[str, ...]:
    """Names, in the order in which a trip visits them."""
    runs = _runs(harbor, strings)
    return tuple(runs.names[(a - 1) // 2] for a, _ in way_of(runs, range(len(strings))))


def _runs(harbor: Mark, strings: Sequence[TrapString]) -> Runs:
    return Runs(harbor, sorted(strings, key=lambda string: string.name))


def plan_trip(
    boat: Boat,
    harbor: Mark,
    strings: Sequence[TrapString],
    traps: Mapping[str, int],
    *,
    stacks: Collection[str] = (),
) -> Trip:
    """A trip that hauls all ``strings``, each in either direction: the shortest up to ``visit_order.EXACT_UP_TO``
    strings, past that a good one.

    A string takes the minutes of its traps, or of the run along it where few traps lie far apart; and besides
    those for stacking them where they come home.

    Args:
        traps: how many traps are hauled on each string.
        stacks: names of the strings whose traps come home.
    """
    runs = _runs(harbor, strings)
    legs: list[Leg] = []
    at, at_place, clock_min, run_nmi = harbor, HARBOR, 0.0, 0.0
    for a, b in way_of(runs, range(len(strings))):
        name, first, last = runs.names[(a - 1) // 2], runs.ends[a], runs.ends[b]
        reach_nmi = distance_nmi(at, first)
        reached_min = clock_min + 60 * reach_nmi / boat.cruise_kt
        legs.append(Leg((at_place, name), clock_min, reached_min, None))
        along_nmi = distance_nmi(first, last)
        haul_min = max(boat.haul_min_per_trap * traps[name], 60 * along_nmi / boat.cruise_kt)
        clock_min = reached_min + haul_min + (boat.stack_min_per_trap * traps[name] if name in stacks else 0.0)
        legs.append(Leg((name,), reached_min, clock_min, name))
        run_nmi += reach_nmi + along_nmi
        at, at_place = last, name
    home_nmi = distance_nmi(at, harbor)
    home_min = clock_min + 60 * home_nmi / boat.cruise_kt + boat.trip_margin_min
    legs.append(Leg((at_place, HARBOR), clock_min, home_min, None))
    return Trip(tuple(legs), run_nmi + home_nmi)


@dataclass(frozen=True)
class DayBounds:
    """What holds a trip in on one day, all aware UTC.

    The trip lies between ``out_from`` and ``home_by`` (civil twilight, not before now), hauling between
    ``haul_from`` and ``haul_to`` (the law's hours), and leaves before ``fresh_until`` (from then on the data are
    stale).
    """

    out_from: datetime
    home_by: datetime
    haul_from: datetime
    haul_to: datetime
    fresh_until: datetime


def possible_departures(trip: Trip, bounds: DayBounds) -> tuple[datetime, ...]:
    """Quarter hours at which the trip may leave as far as light, law and the age of the data go."""
    hauls = trip.hauls
    earliest = bounds.out_from
    latest = bounds.home_by - timedelta(minutes=trip.duration_min)
    if hauls:
        earliest = max(earliest, bounds.haul_from - timedelta(minutes=hauls[0].starts_min))
        latest = min(latest, bounds.haul_to - timedelta(minutes=hauls[-1].ends_min))
    step = timedelta(minutes=DEPARTURE_STEP_MIN)
    day = earliest.replace(hour=0, minute=0, second=0, microsecond=0)
    leaves = day + step * -((day - earliest) // step)
    found = []
    while leaves <= latest and leaves < bounds.fresh_until:
        found.append(leaves)
        leaves += step
    return tuple(found)


def fit_departures(
    trip: Trip,
    departures: Sequence[datetime],
    places: Mapping[str, Fitness],
    *,
    break_margin_h: float,
    hopeful: bool = False,
) -> tuple[datetime, ...]:
    """Those departures for which every leg's hours are fit at that leg's places.

    Args:
        break_margin_h: the hours after landing must be fit as well at every place of the trip, so that a
            forecast that breaks soon after narrows the window.
        hopeful: count hours that aren't known as fit. Never for a call: it tells "not known" from "not fit".
    """
    if not departures:
        return ()
    bad = _bad_hours(places, {place for leg in trip.legs for place in leg.places}, hopeful=hopeful)
    left_min = _minutes_into_table(trip, departures, places)
    good = np.ones(len(departures), dtype=bool)
    for place, from_min, to_min in stretches(trip, break_margin_h):
        sums = bad[place]
        begins, ends = _hours_touched(left_min, from_min, to_min)
        inside = (begins >= 0) & (ends < len(sums))
        begins, ends = np.clip(begins, 0, len(sums) - 1), np.clip(ends, 0, len(sums) - 1)
        good &= (inside | hopeful) & (sums[ends] - sums[begins] == 0)
    return tuple(leaves for leaves, ok in zip(departures, good, strict=True) if ok)


def least_headroom(trip: Trip, departures: Sequence[datetime], places: Mapping[str, Fitness]) -> np.ndarray:
    """For each departure the smallest share of any limit left while the trip is out; inf where none is known."""
    least = np.full(len(departures), np.inf)
    left_min = _minutes_into_table(trip, departures, places)
    for place, from_min, to_min in stretches(trip):
        table = places[place].headroom.to_numpy()
        hourly = np.where(np.isnan(table), np.inf, table).min(axis=1, initial=np.inf)
        begins, ends = _hours_touched(left_min, from_min, to_min)
        for ahead in range(int((ends - begins).max(initial=0))):
            hour = begins + ahead
            inside = (hour >= 0) & (hour < np.minimum(ends, len(hourly)))
            least[inside] = np.minimum(least[inside], hourly[hour[inside]])
    return least


def stretches(trip: Trip, break_margin_h: float = 0.0) -> list[tuple[str, float, float]]:
    """Place, from and to in minutes from leaving: what must be fit. The margin after landing asks every place."""
    out = [(place, leg.starts_min, leg.ends_min) for leg in trip.legs for place in leg.places]
    home_min, names = trip.duration_min, sorted({place for place, _, _ in out})
    return out + [(place, home_min, home_min + 60 * break_margin_h) for place in names if break_margin_h]


def _minutes_into_table(trip: Trip, departures: Sequence[datetime], places: Mapping[str, Fitness]) -> np.ndarray:
    first = places[trip.legs[0].places[0]].fit.index[0].to_pydatetime()
    return np.array([(leaves - first).total_seconds() / 60 for leaves in departures])


def _hours_touched(left_min: np.ndarray, from_min: float, to_min: float) -> tuple[np.ndarray, np.ndarray]:
    """Rows of the table from the first hour touched to one past the last; they may lie outside of it."""
    begins = np.floor((left_min + from_min) / 60).astype(int)
    return begins, np.ceil((left_min + to_min) / 60 - 1e-9).astype(int)


def _bad_hours(places: Mapping[str, Fitness], names: set[str], *, hopeful: bool) -> dict[str, np.ndarray]:
    sums = {}
    for name in sorted(names):
        fitness = places[name]
        bad = fitness.over.to_numpy() if hopeful else ~fitness.fit.to_numpy()
        sums[name] = np.concatenate(([0], np.cumsum(bad)))
    return sums
