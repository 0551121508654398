"""What to mend, in what order, in the minutes there are: at the bench on a day ashore, and at the next pull."""

from __future__ import annotations

from dataclasses import dataclass

from soakbell.gear.log import Shares


@dataclass(frozen=True)
class BenchJob:
    """One step at the bench: all that is wrong with each of some traps of one string, which have the same wrong.

    ``minutes`` and ``parts`` are for all of them. ``back``: they may not be set as they are, or lie on the bench,
    and can go back when this is done. ``lacking`` are the pieces that the jobs before it leave too few of.
    """

    string: str
    places: tuple[int, ...]
    items: tuple[str, ...]
    minutes: float
    parts: Shares
    back: bool
    lacking: Shares = ()


@dataclass(frozen=True)
class TrapsOf:
    """Traps of one string, by place."""

    string: str
    places: tuple[int, ...]


@dataclass(frozen=True)
class BenchPlan:
    """The bench on a day without a pull.

    ``jobs`` fit into ``has_min`` minutes, in the order to do them, and take ``takes_min``. ``short`` can't be done
    for lack of parts, ``left`` for lack of time. ``back`` are the traps that can go back once ``jobs`` are done.
    """

    has_min: float
    takes_min: float
    jobs: tuple[BenchJob, ...]
    short: tuple[BenchJob, ...]
    left: tuple[BenchJob, ...]
    back: tuple[TrapsOf, ...]


@dataclass(frozen=True)
class MendAtPull:
    """Traps of one string to mend when they come up, for one item. ``minutes`` and ``parts`` are for all."""

    string: str
    places: tuple[int, ...]
    item: str
    minutes: float
    parts: Shares
