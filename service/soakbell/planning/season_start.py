"""The start of a season: from when traps may be set, what to see to before, and the trips that set them.

None of it is a call: it permits no hour, and judges no weather.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

from soakbell.fishery.rules import Fishery, Rule
from soakbell.fishery.season import Opening, TrapLimit, opening, season_day
from soakbell.gear.conditions import AT_HAND, BarredTraps, ready_places
from soakbell.gear.fold import GearState, Whereabouts
from soakbell.gear.log import Shares
from soakbell.gear.outfit import Outfit
from soakbell.gear.parts import PartStock
from soakbell.gear.strings import Mark, TrapString
from soakbell.planning.bench_plan import BenchJob, TrapsOf, bench_plan, summed
from soakbell.planning.season_end import TakeUpPlan
from soakbell.planning.take_up_trips import TrapsOut, plan_trips
from soakbell.planning.trips import Boat
from soakbell.planning.upkeep_due import UpkeepDue

TOLD_DAYS = 14
"""Letters tell of the start from so many days before the first day to set on to so many past it (common practice,
no source)."""


@dataclass(frozen=True)
class MendsAhead:
    """All mends of traps at hand.

    ``minutes`` and ``parts`` are for all ``jobs``; ``lacking`` are pieces beyond what is on hand.
    """

    jobs: tuple[BenchJob, ...]
    minutes: float
    parts: Shares
    lacking: Shares


@dataclass(frozen=True)
class SetPlan:
    """Trips that set the traps, in the order in which they should go, the fullest first.

    Attributes:
        trips: the places of each string in its visiting order; minutes as for hauling and stacking as many.
        not_before: no trip goes earlier.
        limit: the law's, for all hands; ``out`` traps of it fish or are missing.
        left: traps ready to set that the limit leaves ashore.
    """

    trips: TakeUpPlan
    not_before: date
    limit: TrapLimit | None
    out: int
    left: tuple[TrapsOf, ...]


@dataclass(frozen=True)
class SeasonStart:
    """What to see to before the traps are set, as of ``today``.

    Attributes:
        waiting: traps out of the water that aren't written off: at hand.
        ready: those that may be set as they are, by string.
        barred: those that may not be set, by item.
        untagged: those that the log knows no tag of.
        mends: None where nothing is known of mends.
        rules: gear rules in force on the first day to set on.
        plan: None where ``lacking`` says why, as a sentence without its stop.
        fault: likewise what failed.
    """

    opening: Opening
    today: date
    waiting: int
    ready: tuple[TrapsOf, ...] = ()
    barred: tuple[BarredTraps, ...] = ()
    untagged: tuple[TrapsOf, ...] = ()
    mends: MendsAhead | None = None
    upkeep: tuple[UpkeepDue, ...] = ()
    rules: tuple[Rule[str], ...] = ()
    plan: SetPlan | None = None
    lacking: str = ""
    fault: str = ""

    @property
    def days_left(self) -> int:
        """Days to the first one to set on; below 0 where it is past."""
        return (self.opening.set_from - self.today).days


def opening_in_sight(fishery: Fishery, today: date, *, sector: str, region: str | None) -> Opening | None:
    """The opening that letters tell of ``today``: one that comes within TOLD_DAYS while no trap may be set, or one
    that came within them and still lasts.

    Raises:
        ValueError: ``sector`` or ``region`` isn't one of the fishery's.
    """
    if season_day(fishery, today, sector=sector, region=region).may_set:
        came = opening(fishery, today - timedelta(days=TOLD_DAYS), sector=sector, region=region)
        return came if came is not None and came.set_from <= today else None
    comes = opening(fishery, today, sector=sector, region=region)
    return comes if comes is not None and (comes.set_from - today).days <= TOLD_DAYS else None


def traps_waiting(gear: GearState) -> int:
    return sum(trap.where in AT_HAND for state in gear.strings.values() for trap in state.traps)


def ready_to_set(gear: GearState, outfit: Outfit | None) -> tuple[TrapsOf, ...]:
    """Traps at hand that may be set as they are, by string. Without an outfit any item bars its trap."""
    return _by_string((state.name, ready_places(state, outfit)) for state in gear.strings.values())


def untagged(gear: GearState) -> tuple[TrapsOf, ...]:
    """Traps at hand of which the log knows no tag."""
    return _by_string(
        (state.name, [trap.place for trap in state.traps if trap.where in AT_HAND and not trap.tag])
        for state in gear.strings.values()
    )


def mends_ahead(gear: GearState, outfit: Outfit, stock: PartStock) -> MendsAhead:
    """Every mend of traps at hand, whatever the time it takes, in the order of the bench."""
    plan = bench_plan(gear, replace(outfit, bench_minutes=math.inf), stock)
    jobs = (*plan.jobs, *plan.short)
    return MendsAhead(
        jobs,
        math.fsum(job.minutes for job in jobs),
        tuple(sorted(summed(job.parts for job in jobs).items())),
        tuple(sorted(summed(job.lacking for job in jobs).items())),
    )


def set_plan(
    gear: GearState,
    ready: Sequence[TrapsOf],
    strings: Sequence[TrapString],
    boat: Boat,
    harbor: Mark,
    *,
    deck_traps: int,
    stack_min_per_trap: float,
    not_before: date,
    limit: TrapLimit | None,
) -> SetPlan:
    """Cut the traps into deck loads.

    What the law's limit leaves ashore are the last of the last strings. A missing trap may be in the water, and
    counts against the limit.

    Args:
        strings: between the marks that are in force.

    Raises:
        ValueError: ``deck_traps`` is below 1.
    """
    out = sum(
        trap.where in (Whereabouts.FISHING, Whereabouts.MISSING)
        for state in gear.strings.values()
        for trap in (*state.traps, *state.gone)
    )
    room = math.inf if limit is None else max(0, limit.traps - out)
    going: dict[str, tuple[int, ...]] = {}
    left: list[TrapsOf] = []
    for some in ready:
        fits = some.places if len(some.places) <= room else some.places[: int(room)]
        room -= len(fits)
        going[some.string] = fits
        left += [TrapsOf(some.string, some.places[len(fits) :])] if len(fits) < len(some.places) else []
    trips = plan_trips(
        boat,
        harbor,
        [TrapsOut(string, going[string.name]) for string in strings if going.get(string.name)],
        deck_traps=deck_traps,
        stack_min_per_trap=stack_min_per_trap,
    )
    fullest_first = sorted(trips.trips, key=lambda trip: (-trip.traps, -trip.minutes, trip.strings))
    return SetPlan(replace(trips, trips=tuple(fullest_first)), not_before, limit, out, tuple(left))


def _by_string(found: Iterable[tuple[str, Sequence[int]]]) -> tuple[TrapsOf, ...]:
    return tuple(TrapsOf(name, tuple(places)) for name, places in found if places)
