"""The entries of the log: what was done to which traps, when, and who told it.

The log is append-only. A wrong entry stays and is voided by a correction; a correction can be voided too.
A kind of entry is one class in this module and one row in ``soakbell.gear.fold.STEPS``.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime
from enum import StrEnum
from typing import ClassVar, Literal
from uuid import uuid4

from soakbell.clock import as_utc
from soakbell.gear.strings import Mark


class EntryKind(StrEnum):
    SET = "set"
    PULL = "pull"
    MOVE = "move"
    MISSING = "missing"
    RECOVERED = "recovered"
    ASHORE = "ashore"
    CORRECTION = "correction"


@dataclass(frozen=True)
class TrapsSet:
    """Traps put in with fresh bait. A mark that is given holds from then on.

    ``count`` with no places named means the lowest places that can be set.
    """

    kind: ClassVar[EntryKind] = EntryKind.SET
    start: Mark | None = None
    end: Mark | None = None
    count: int | None = None


@dataclass(frozen=True)
class Pulled:
    """Traps hauled. A count that wasn't told is None, which is not 0.

    ``lb`` is the weight of all legal claws landed, ``lb_by_grade`` the same by grade.
    """

    kind: ClassVar[EntryKind] = EntryKind.PULL
    rebaited: bool = True
    reset: bool = True
    legal_claws: int | None = None
    short_claws: int | None = None
    float_claws: int | None = None
    egg_bearing_released: int | None = None
    lb: float | None = None
    lb_by_grade: tuple[tuple[str, float], ...] = ()
    bait: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "lb_by_grade", tuple(sorted(self.lb_by_grade)))

    @property
    def landed_lb(self) -> float | None:
        """Weight landed, None when it wasn't told."""
        if self.lb is not None or not self.lb_by_grade:
            return self.lb
        return sum(lb for _, lb in self.lb_by_grade)


@dataclass(frozen=True)
class Moved:
    """The whole string lies between new marks. Bait and soak stay as they were."""

    kind: ClassVar[EntryKind] = EntryKind.MOVE
    start: Mark
    end: Mark


@dataclass(frozen=True)
class FoundMissing:
    """Traps that aren't where they should be."""

    kind: ClassVar[EntryKind] = EntryKind.MISSING


@dataclass(frozen=True)
class Recovered:
    """Missing traps found: put back to fish, or taken aboard. ``rebaited`` counts only for those that fish."""

    kind: ClassVar[EntryKind] = EntryKind.RECOVERED
    back: Literal["fishing", "aboard"] = "aboard"
    rebaited: bool = True


@dataclass(frozen=True)
class BroughtAshore:
    """Traps landed."""

    kind: ClassVar[EntryKind] = EntryKind.ASHORE


@dataclass(frozen=True)
class Correction:
    """Voids the entry whose id is ``voids``. Voiding a correction brings its entry back."""

    kind: ClassVar[EntryKind] = EntryKind.CORRECTION
    voids: str
    reason: str


Detail = TrapsSet | Pulled | Moved | FoundMissing | Recovered | BroughtAshore | Correction
DETAILS: dict[EntryKind, type[Detail]] = {
    detail.kind: detail for detail in (TrapsSet, Pulled, Moved, FoundMissing, Recovered, BroughtAshore, Correction)
}


@dataclass(frozen=True)
class LogEntry:
    """One thing told to the log.

    ``key`` makes telling it twice harmless: entries with one key are one entry. ``happened_at`` and ``told_at``
    are aware and held in UTC. ``told_by`` is the way it came ("cli", "csv", "phone"). ``string`` is None only for
    a correction. ``traps`` are places 1 to n counted from the start mark; empty means the whole string, that is
    all traps the entry can be about (a pull: those fishing).

    Raises:
        ValueError: a moment without a zone.
    """

    id: str
    key: str
    happened_at: datetime
    told_at: datetime
    told_by: str
    detail: Detail
    string: str | None = None
    traps: tuple[int, ...] = ()
    note: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "happened_at", as_utc(self.happened_at))
        object.__setattr__(self, "told_at", as_utc(self.told_at))
        object.__setattr__(self, "traps", tuple(sorted(set(self.traps))))

    @property
    def kind(self) -> EntryKind:
        return self.detail.kind

    @property
    def order(self) -> tuple[datetime, datetime, str]:
        """Place in the log's time: when it happened, then when it was told, then its id."""
        return (self.happened_at, self.told_at, self.id)

    def says_the_same_as(self, other: LogEntry) -> bool:
        """True when the two tell one thing under one key, whenever and by whichever way they were told."""
        return replace(self, id=other.id, told_at=other.told_at, told_by=other.told_by) == other


def new_entry(
    detail: Detail,
    *,
    happened_at: datetime,
    told_at: datetime,
    told_by: str,
    string: str | None = None,
    traps: Iterable[int] = (),
    note: str = "",
    key: str | None = None,
) -> LogEntry:
    """An entry with a new id. Without a ``key`` of the sender's, the id serves as the key."""
    entry_id = str(uuid4())
    return LogEntry(
        id=entry_id,
        key=key or entry_id,
        happened_at=happened_at,
        told_at=told_at,
        told_by=told_by,
        detail=detail,
        string=string,
        traps=tuple(traps),
        note=note,
    )
