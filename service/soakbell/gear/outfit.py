"""What the skipper settled about his gear: conditions, parts, upkeep, bait, grades. Plain data, checked before."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, time
from enum import StrEnum

from soakbell.gear.log import Shares


class Standing(StrEnum):
    """What a condition means for a trap, gravest first."""

    MAY_NOT_BE_SET = "may not be set"
    BENCH = "bench"
    NEXT_PULL = "mend at next pull"


@dataclass(frozen=True)
class ConditionKind:
    """Something that can be wrong with a trap.

    ``parts`` and ``minutes`` are those of one mend of one trap. ``rule`` says which rule of law or sense a trap
    with this breaks; empty where none.
    """

    name: str
    standing: Standing
    minutes: float
    parts: Shares = ()
    rule: str = ""


@dataclass(frozen=True)
class PartKind:
    """A part kept in stock. ``use_a_week`` is the prior for its use, ``lead_days`` from buying to having it.

    It is bought by ``pack`` pieces at a time.
    """

    name: str
    use_a_week: float
    lead_days: float
    lead_sd_days: float = 0.0
    pack: float = 1.0
    cost_usd: float | None = None


@dataclass(frozen=True)
class UpkeepRule:
    """A task that comes due by any of its intervals, whichever is first; one that ``expires`` by its date.

    ``soon_days`` and ``soon_share`` say how far ahead it is due soon: days of calendar, and the last share of an
    interval of use. ``safety`` gear is told first. ``before_leaving``: looked at before each trip once due.
    """

    name: str
    source: str
    safety: bool = False
    expires: bool = False
    before_leaving: bool = False
    every_days: float | None = None
    every_engine_h: float | None = None
    every_pulls: int | None = None
    every_days_in_water: float | None = None
    soon_days: float = 14.0
    soon_share: float = 0.1


@dataclass(frozen=True)
class BaitKind:
    """A bait. ``boxes_a_trap`` is the prior for its use, worth ``prior_traps`` traps of the log.

    It is thawed in ``thaw_h`` hours and spoilt ``spoil_h`` hours after it was moved out of the freezer.
    """

    name: str
    boxes_a_trap: float
    prior_traps: float
    thaw_h: float
    spoil_h: float


@dataclass(frozen=True)
class Supplier:
    """Who sells the bait. Weekdays count from Monday 0.

    An order is placed by ``order_by`` (local) on one of ``order_weekdays`` that isn't in ``closed_on``, and comes
    after ``lead_days``, give or take ``lead_sd_days`` (standard deviation). It is of at least ``minimum_boxes``
    in all, each bait by ``box_step``. ``send_straight``: orders go to ``address`` without the skipper's yes.
    """

    name: str
    order_weekdays: tuple[int, ...]
    order_by: time
    lead_days: float
    lead_sd_days: float
    minimum_boxes: float = 0.0
    box_step: float = 1.0
    address: str | None = None
    send_straight: bool = False
    closed_on: tuple[date, ...] = ()


@dataclass(frozen=True)
class Grade:
    """A grade of claws by weight: from ``from_oz`` ounces up to the next grade. ``source``: who says so."""

    name: str
    from_oz: float
    source: str
    price_usd_lb: float | None = None


@dataclass(frozen=True)
class Outfit:
    """All of it. ``service_level`` is the chance of not running out that stocks are kept for, 0.5 to below 1.

    Attributes:
        bench_minutes: what the skipper has for the bench on a day without a pull.
        freezer_boxes: the most that the freezer holds, None where it doesn't matter.
        plan_days: days ahead for which bait is held.
    """

    conditions: tuple[ConditionKind, ...]
    parts: tuple[PartKind, ...]
    upkeep: tuple[UpkeepRule, ...]
    baits: tuple[BaitKind, ...]
    supplier: Supplier | None
    grades: tuple[Grade, ...]
    service_level: float
    bench_minutes: float
    freezer_boxes: float | None = None
    plan_days: int = 14

    def condition(self, name: str) -> ConditionKind | None:
        """The condition of that name. None: unknown, and then to be held for one with which no trap may be set."""
        return next((kind for kind in self.conditions if kind.name == name), None)

    def bait(self, name: str) -> BaitKind | None:
        """The bait of that name; the first one where the log doesn't name it."""
        if not name:
            return self.baits[0] if self.baits else None
        return next((kind for kind in self.baits if kind.name.casefold() == name.casefold()), None)
