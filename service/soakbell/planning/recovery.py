"""The recovery list: every trap that is not home, by the trips that bring it there, the missing ones apart."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from soakbell.fishery.season import TakeUp
from soakbell.gear.fold import GearState, StringState, TrapState, Whereabouts
from soakbell.gear.missing import MissingTrap, SearchBox, missing_traps
from soakbell.gear.strings import Mark
from soakbell.gear.trap_states import point_of_line
from soakbell.planning.season_end import TakeUpTrip


@dataclass(frozen=True)
class TrapOut:
    """One trap that is not home: fishing, aboard or missing, ``since`` when.

    Attributes:
        last_seen: when somebody last had it in hand or in sight; None: never told.
        near: where it lies if the traps lie evenly from mark to mark, of a missing one where it lay; None aboard.
        box: where to look for it, missing ones only.
        replaced: missing, and another has its place in the string already.
    """

    string: str
    place: int
    origin: str
    tag: str
    where: Whereabouts
    since: datetime | None
    last_seen: datetime | None
    near: Mark | None
    box: SearchBox | None = None
    replaced: bool = False


@dataclass(frozen=True)
class StringOut:
    """Traps of one string that are to be hauled, in the order of their places, and the marks they lie between."""

    name: str
    start: Mark
    end: Mark
    traps: tuple[TrapOut, ...]

    @property
    def places(self) -> tuple[int, ...]:
        return tuple(trap.place for trap in self.traps)


@dataclass(frozen=True)
class TripOut:
    """What one trip brings home. ``number`` is its place in the take-up plan, from 1; ``day`` None: not set."""

    number: int
    strings: tuple[StringOut, ...]
    minutes: float
    day: date | None = None

    @property
    def traps(self) -> int:
        return sum(len(string.traps) for string in self.strings)


@dataclass(frozen=True)
class RecoveryList:
    """Every trap that is not home, each once.

    Attributes:
        trips: fishing traps by the trip that takes them up.
        unplanned: fishing traps that are in no trip, by string.
        aboard: pulled and not brought ashore.
        missing: by string and place. They stay until they are recovered or written off.
        dropped: how many of these traps are not in the settings any more, by string.
        unknown: strings of the log that are not in the settings, and of which nobody knows how many traps are out.
        of_before: how many of these traps are where they are since an earlier season.
        take_up: by when all must be out, by which rule; None where none is known.
        starts: chances (0 to 1) of being done in time, each with the last day to start on; None: no day has it.
        season: what tells this take-up from that of another year: the day its harvest opened.
        today: the local day that the list is of.
    """

    trips: tuple[TripOut, ...]
    unplanned: tuple[StringOut, ...]
    aboard: tuple[TrapOut, ...]
    missing: tuple[TrapOut, ...]
    take_up: TakeUp | None
    season: date | None
    starts: tuple[tuple[float, date | None], ...]
    made_at: datetime
    today: date
    dropped: tuple[tuple[str, int], ...] = ()
    unknown: tuple[str, ...] = ()
    of_before: int = 0

    @property
    def fishing(self) -> int:
        return sum(trip.traps for trip in self.trips) + sum(len(string.traps) for string in self.unplanned)

    @property
    def not_home(self) -> int:
        return self.fishing + len(self.aboard) + len(self.missing)

    @property
    def all_home(self) -> bool:
        """No trap is out, and none may be that nobody can count."""
        return not (self.not_home or self.unknown)

    @property
    def days_left(self) -> int | None:
        """Days until the last one with traps in the water; below 0 where it is past."""
        return None if self.take_up is None else (self.take_up.deadline - self.today).days

    def strings(self) -> Iterator[tuple[TripOut | None, StringOut]]:
        """Strings with fishing traps in the order of the list, with their trips."""
        for trip in self.trips:
            for string in trip.strings:
                yield trip, string
        for string in self.unplanned:
            yield None, string

    def traps(self) -> Iterator[tuple[TripOut | None, TrapOut]]:
        """All traps in the order of the list."""
        for trip, string in self.strings():
            for trap in string.traps:
                yield trip, trap
        for trap in (*self.aboard, *self.missing):
            yield None, trap


def recovery_list(
    gear: GearState,
    now: datetime,
    today: date,
    *,
    take_up: TakeUp | None,
    trips: Sequence[TakeUpTrip] = (),
    days: Mapping[int, date] | None = None,
    starts: Sequence[tuple[float, date | None]] = (),
    season: date | None = None,
) -> RecoveryList:
    """The list as of ``now``, whatever the season: it ends only when no trap is left on it.

    Args:
        trips: those of the take-up plan; what they name and no longer fishes is left out, a trip of none too.
        days: on which day a trip is to go, by its number.

    Raises:
        ValueError: ``now`` has no zone.
    """
    on_line = {
        (state.name, trap.place): _on_line(state, trap)
        for state in gear.strings.values()
        for trap in state.traps
        if trap.where is Whereabouts.FISHING
    }
    planned = []
    for number, trip in enumerate(trips, start=1):
        strings = tuple(
            _string_out(
                gear.strings[name], [on_line.pop(key) for place in places if (key := (name, place)) in on_line]
            )
            for name, places in trip.strings
            if any((name, place) in on_line for place in places)
        )
        if strings:
            planned.append(TripOut(number, strings, trip.minutes, (days or {}).get(number)))
    left = {name: [trap for trap in on_line.values() if trap.string == name] for name in gear.strings}
    return RecoveryList(
        trips=tuple(planned),
        unplanned=tuple(_string_out(gear.strings[name], traps) for name, traps in left.items() if traps),
        aboard=tuple(
            _trap_out(state.name, trap, None)
            for state in gear.strings.values()
            for trap in state.traps
            if trap.where is Whereabouts.ABOARD
        ),
        missing=tuple(_lost(trap) for trap in missing_traps(gear, now)),
        take_up=take_up,
        season=season,
        starts=tuple(starts),
        made_at=now,
        today=today,
    )


def _string_out(state: StringState, traps: Sequence[TrapOut]) -> StringOut:
    return StringOut(state.name, state.start, state.end, tuple(traps))


def _on_line(state: StringState, trap: TrapState) -> TrapOut:
    return _trap_out(state.name, trap, point_of_line(state.start, state.end, trap.place, len(state.traps)))


def _trap_out(string: str, trap: TrapState, near: Mark | None) -> TrapOut:
    return TrapOut(
        string, trap.place, trap.origin, trap.tag, trap.where, trap.since, trap.seen_at or trap.since, near
    )


def _lost(trap: MissingTrap) -> TrapOut:
    return TrapOut(
        trap.string,
        trap.place,
        trap.origin,
        trap.tag,
        Whereabouts.MISSING,
        trap.missing_since,
        trap.last_seen,
        trap.near,
        trap.box,
        trap.replaced,
    )
