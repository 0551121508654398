"""The entries of the log: what was done to which traps, when, and who told it.

The log is append-only. A wrong entry stays and is voided by a correction; a correction can be voided too.
A kind of entry is one class in this module; what it does stands in ``soakbell.gear.trap_book`` for traps, and in
``soakbell.gear.books`` for bait, parts, upkeep, catch and bells; days that the skipper pins or bars go with the
traps, by ``soakbell.gear.wishes``.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, datetime
from enum import StrEnum
from typing import ClassVar, Literal, get_args
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
    DAMAGE = "damage"
    REPAIRED = "repaired"
    BENCH = "bench"
    RETIRED = "retired"
    TAGGED = "tagged"
    REPLACED = "replaced"
    RENUMBERED = "renumbered"
    BAIT_BOUGHT = "bait-bought"
    BAIT_MOVED = "bait-moved"
    BAIT_SPOILED = "bait-spoiled"
    BAIT_COUNTED = "bait-counted"
    BAIT_ORDERED = "bait-ordered"
    PART_BOUGHT = "part-bought"
    PART_USED = "part-used"
    PART_COUNTED = "part-counted"
    UPKEEP = "upkeep"
    HOURS = "hours"
    SNOOZED = "snoozed"
    SETTLED = "settled"
    PINNED = "pinned"
    BARRED = "barred"
    CORRECTION = "correction"


BaitPlace = Literal["freezer", "thaw", "aboard"]
Shares = tuple[tuple[str, float], ...]
"""Amounts by name, each name once, in order of name."""
CAUSES_APART = "; "
"""Between the causes of a settled bell."""


@dataclass(frozen=True)
class TrapsSet:
    """Traps put in with fresh bait. A mark that is given holds from then on.

    ``count`` with no places named means the lowest places that can be set. Traps on the bench are set only by
    their places.
    """

    kind: ClassVar[EntryKind] = EntryKind.SET
    start: Mark | None = None
    end: Mark | None = None
    count: int | None = None


@dataclass(frozen=True)
class Pulled:
    """Traps hauled. A count that wasn't told is None, which is not 0.

    ``lb`` is the weight of all legal claws landed, ``lb_by_grade`` the same by grade. ``smallest_claw_in`` is the
    length of the smallest claw kept, inches. ``bait`` is what was put in, ``bait_boxes`` how much of it in all.
    """

    kind: ClassVar[EntryKind] = EntryKind.PULL
    rebaited: bool = True
    reset: bool = True
    legal_claws: int | None = None
    short_claws: int | None = None
    float_claws: int | None = None
    egg_bearing_released: int | None = None
    lb: float | None = None
    lb_by_grade: Shares = ()
    smallest_claw_in: float | None = None
    bait: str = ""
    bait_boxes: float | None = None

    def __post_init__(self) -> None:
        object.__setattr__(self, "lb_by_grade", tuple(sorted(self.lb_by_grade)))

    @property
    def landed_lb(self) -> float | None:
        """Weight landed, None when it wasn't told."""
        if self.lb is not None or not self.lb_by_grade:
            return self.lb
        return sum(lb for _, lb in self.lb_by_grade)

    @property
    def tells_catch(self) -> bool:
        counts = (
            self.legal_claws,
            self.short_claws,
            self.float_claws,
            self.egg_bearing_released,
            self.landed_lb,
            self.smallest_claw_in,
        )
        return any(count is not None for count in counts)


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
class FoundDamaged:
    """Something is wrong with a trap; ``item`` is a condition by its name in the settings ("latch")."""

    kind: ClassVar[EntryKind] = EntryKind.DAMAGE
    item: str


@dataclass(frozen=True)
class Repaired:
    """Mended. Without an ``item``, all that was wrong. ``parts`` are those used in all; they leave the stock."""

    kind: ClassVar[EntryKind] = EntryKind.REPAIRED
    item: str = ""
    parts: Shares = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "parts", tuple(sorted(self.parts)))


@dataclass(frozen=True)
class PutOnBench:
    """Traps taken to the bench. A mended one with nothing else wrong is ashore again, ready to be set."""

    kind: ClassVar[EntryKind] = EntryKind.BENCH


@dataclass(frozen=True)
class Retired:
    """Traps given up, whether worn out or lost for good. None may be in the water but a missing one."""

    kind: ClassVar[EntryKind] = EntryKind.RETIRED
    reason: str


@dataclass(frozen=True)
class Tagged:
    """One trap carries this tag from now on."""

    kind: ClassVar[EntryKind] = EntryKind.TAGGED
    tag: str


@dataclass(frozen=True)
class Replaced:
    """Another trap, ashore so far, takes the place of each. The former ones, if not missing, are retired.

    None may be in the water. Without places, those that are missing or retired are replaced. ``tag`` is the new
    trap's, for one place only.
    """

    kind: ClassVar[EntryKind] = EntryKind.REPLACED
    tag: str = ""


@dataclass(frozen=True)
class Renumbered:
    """Traps change places in their string: each ``(from, to)`` once, the places the same before and after."""

    kind: ClassVar[EntryKind] = EntryKind.RENUMBERED
    places: tuple[tuple[int, int], ...]

    def __post_init__(self) -> None:
        object.__setattr__(self, "places", tuple(sorted(self.places)))


@dataclass(frozen=True)
class BaitBought:
    """Boxes of bait that came. They fulfil the oldest open order of that bait first."""

    kind: ClassVar[EntryKind] = EntryKind.BAIT_BOUGHT
    bait: str
    boxes: float
    place: BaitPlace = "freezer"
    cost_usd: float | None = None


@dataclass(frozen=True)
class BaitMoved:
    """Boxes moved, the oldest first: out of the freezer to thaw, aboard, or back.

    Without ``out_of`` they come from the place before: to thaw from the freezer, aboard from the thaw and then
    the freezer, to the freezer from aboard.
    """

    kind: ClassVar[EntryKind] = EntryKind.BAIT_MOVED
    bait: str
    boxes: float
    to: BaitPlace = "thaw"
    out_of: BaitPlace | None = None


@dataclass(frozen=True)
class BaitSpoiled:
    """Boxes thrown away, the oldest of ``place`` first."""

    kind: ClassVar[EntryKind] = EntryKind.BAIT_SPOILED
    bait: str
    boxes: float
    place: BaitPlace = "thaw"


@dataclass(frozen=True)
class BaitCounted:
    """Boxes counted in a place; what was reckoned there before no longer matters."""

    kind: ClassVar[EntryKind] = EntryKind.BAIT_COUNTED
    bait: str
    boxes: float
    place: BaitPlace = "freezer"


@dataclass(frozen=True)
class BaitOrdered:
    """Boxes ordered and not here yet. ``due_on`` is the local day the supplier promised."""

    kind: ClassVar[EntryKind] = EntryKind.BAIT_ORDERED
    bait: str
    boxes: float
    due_on: date | None = None


@dataclass(frozen=True)
class PartBought:
    kind: ClassVar[EntryKind] = EntryKind.PART_BOUGHT
    part: str
    count: float
    cost_usd: float | None = None


@dataclass(frozen=True)
class PartUsed:
    """Parts used otherwise than in a mend that was told with its parts."""

    kind: ClassVar[EntryKind] = EntryKind.PART_USED
    part: str
    count: float


@dataclass(frozen=True)
class PartCounted:
    """Parts counted; what was reckoned before no longer matters."""

    kind: ClassVar[EntryKind] = EntryKind.PART_COUNTED
    part: str
    count: float


@dataclass(frozen=True)
class UpkeepDone:
    """``task`` is an upkeep rule by its name in the settings. ``expires_on``: of what expires, its new date."""

    kind: ClassVar[EntryKind] = EntryKind.UPKEEP
    task: str
    expires_on: date | None = None


@dataclass(frozen=True)
class EngineHours:
    """The reading of the engine's hour meter. ``new_meter``: it counts anew, from this reading."""

    kind: ClassVar[EntryKind] = EntryKind.HOURS
    engine_h: float
    new_meter: bool = False


@dataclass(frozen=True)
class BellSnoozed:
    """A bell, by its name in the letter, that keeps silent until a moment."""

    kind: ClassVar[EntryKind] = EntryKind.SNOOZED
    bell: str
    until: datetime

    def __post_init__(self) -> None:
        object.__setattr__(self, "until", as_utc(self.until))


@dataclass(frozen=True)
class BellSettled:
    """A bell, by its name in the letter, that keeps silent unless its matter worsens or comes anew.

    ``cause`` and ``level`` are those that stood when it was told, several causes joined by ``CAUSES_APART``.
    Without a cause, what began before that moment is settled.
    """

    kind: ClassVar[EntryKind] = EntryKind.SETTLED
    bell: str
    cause: str = ""
    level: int = 0


@dataclass(frozen=True)
class Pinned:
    """The skipper wants this ``string`` pulled on a local day, or without one any of them."""

    kind: ClassVar[EntryKind] = EntryKind.PINNED
    day: date
    string: str = ""


@dataclass(frozen=True)
class Barred:
    """The skipper won't have this ``string`` pulled on a local day, or without one none of them."""

    kind: ClassVar[EntryKind] = EntryKind.BARRED
    day: date
    string: str = ""


@dataclass(frozen=True)
class Correction:
    """Voids the entry whose id is ``voids``. Voiding a correction brings its entry back."""

    kind: ClassVar[EntryKind] = EntryKind.CORRECTION
    voids: str
    reason: str


Detail = (
    TrapsSet
    | Pulled
    | Moved
    | FoundMissing
    | Recovered
    | BroughtAshore
    | FoundDamaged
    | Repaired
    | PutOnBench
    | Retired
    | Tagged
    | Replaced
    | Renumbered
    | BaitBought
    | BaitMoved
    | BaitSpoiled
    | BaitCounted
    | BaitOrdered
    | PartBought
    | PartUsed
    | PartCounted
    | UpkeepDone
    | EngineHours
    | BellSnoozed
    | BellSettled
    | Pinned
    | Barred
    | Correction
)
DETAILS: dict[EntryKind, type[Detail]] = {detail.kind: detail for detail in get_args(Detail)}

OF_TRAPS = frozenset(
    {
        EntryKind.SET,
        EntryKind.PULL,
        EntryKind.MOVE,
        EntryKind.MISSING,
        EntryKind.RECOVERED,
        EntryKind.ASHORE,
        EntryKind.DAMAGE,
        EntryKind.REPAIRED,
        EntryKind.BENCH,
        EntryKind.RETIRED,
        EntryKind.TAGGED,
        EntryKind.REPLACED,
        EntryKind.RENUMBERED,
    }
)
"""Kinds that are about the traps of a string. The others have neither a string nor traps of their own."""

OF_CALL = OF_TRAPS | {EntryKind.PINNED, EntryKind.BARRED, EntryKind.CORRECTION}
"""Kinds that a call rests on: passing over one that can't be read could loosen it."""


@dataclass(frozen=True)
class LogEntry:
    """One thing told to the log.

    ``key`` makes telling it twice harmless: entries with one key are one entry. ``happened_at`` and ``told_at``
    are aware and held in UTC. ``told_by`` is the way it came ("cli", "csv", "phone"). ``string`` is None for kinds
    that aren't of traps (see ``OF_TRAPS``). ``traps`` are places 1 to n counted from the start mark; empty means
    the whole string, that is all traps the entry can be about (a pull: those fishing).

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
