"""What is known of the traps after the log so far: plain data."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum

from soakbell.gear.log import LogEntry
from soakbell.gear.strings import Mark
from soakbell.gear.wishes import Wishes

Order = tuple[datetime, datetime, str]


class Whereabouts(StrEnum):
    NEVER_SET = "never set"
    FISHING = "fishing"
    ABOARD = "aboard"
    ASHORE = "ashore"
    BENCH = "bench"
    MISSING = "missing"
    RETIRED = "retired"


@dataclass(frozen=True)
class TrapItem:
    """One thing wrong with a trap: a condition by name, told when."""

    item: str
    since: datetime


@dataclass(frozen=True)
class TrapState:
    """One trap: where it is, since when, and when it last went in with fresh bait. None: never.

    ``origin`` is its identity, kept through new tags and new places: the string and place it was first known at,
    with "/2" and so on for later traps of one place. ``seen_at`` is when it was last seen, whatever its state.
    ``lost_near`` is its point of the line, by the marks and its place then, while it is missing.
    """

    place: int
    where: Whereabouts = Whereabouts.NEVER_SET
    since: datetime | None = None
    soak_start: datetime | None = None
    origin: str = ""
    tag: str = ""
    items: tuple[TrapItem, ...] = ()
    seen_at: datetime | None = None
    lost_near: Mark | None = None


@dataclass(frozen=True)
class StringState:
    """One string: the marks in force and its traps in order of place (trap n is ``traps[n - 1]``).

    ``gone`` are traps that another took the place of, as they were last: missing or retired.
    """

    name: str
    start: Mark
    end: Mark
    traps: tuple[TrapState, ...]
    gone: tuple[TrapState, ...] = ()

    def places(self, where: Whereabouts) -> tuple[int, ...]:
        return tuple(trap.place for trap in self.traps if trap.where is where)


@dataclass(frozen=True)
class Oddity:
    """An entry, or a part of one, that makes no sense where it stands, and so changed nothing.

    ``found`` says what is odd about the field ``key``, ``write`` what would make sense.
    """

    entry_id: str
    string: str | None
    order: Order
    key: str
    found: str
    write: str


@dataclass(frozen=True)
class GearState:
    """Where all gear is after the log so far.

    ``newest_at`` is the latest moment that any entry in force names, less CLOCK_SLACK for one that no call rests
    on: a clock that shows less is wrong. ``last`` is the place in time of the last thing done.
    ``awaited`` holds ids that corrections void and the log lacks.
    ``wishes`` are the skipper's for days to come, and those of days gone by.
    """

    strings: Mapping[str, StringState]
    oddities: tuple[Oddity, ...] = ()
    newest_at: datetime | None = None
    last: Order | None = None
    awaited: frozenset[str] = frozenset()
    wishes: Wishes = field(default_factory=Wishes)


def odd(entry: LogEntry, key: str, found: str, write: str) -> Oddity:
    return Oddity(entry.id, entry.string, entry.order, key, found, write)


def point_of_line(start: Mark, end: Mark, place: int, traps: int) -> Mark:
    """Where trap ``place`` lies if ``traps`` lie evenly from mark to mark. For lines of a few miles."""
    share = (place - 1) / (traps - 1) if traps > 1 else 0.5
    east_deg = (end.lon_deg - start.lon_deg + 180.0) % 360.0 - 180.0  # the short way round
    lon_deg = (start.lon_deg + share * east_deg + 180.0) % 360.0 - 180.0
    return Mark(start.lat_deg + share * (end.lat_deg - start.lat_deg), lon_deg)


def told_places(places: Iterable[int]) -> str:
    """Trap places as they are written: "1..4 7". A spreadsheet would make a date of 1-4."""
    runs: list[list[int]] = []
    for place in sorted(places):
        if runs and place == runs[-1][1] + 1:
            runs[-1][1] = place
        else:
            runs.append([place, place])
    return " ".join(str(first) if first == last else f"{first}..{last}" for first, last in runs)
