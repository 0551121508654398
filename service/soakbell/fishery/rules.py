"""The rules of one fishery as dated data: each with its source, when it was checked and how sure it is.

Law changes and notices are second-hand more often than not, so no rule stands here without saying where it
comes from. The types are plain; ``settings`` fills them from ``config/fisheries/*.toml``.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, fields
from datetime import date
from functools import cached_property
from itertools import pairwise
from typing import Any, Generic, Literal, TypeVar

T = TypeVar("T")

Sure = Literal["read", "second-hand", "derived", "memory", "conflicting"]
"""read: in the rule's own text or a copy of it. second-hand: on a page that reports it. derived: reckoned from
those. memory: not looked up. conflicting: sources differ. For the last two the value is the stricter one."""

Bars = Literal["harvest", "set", "water"]
Effect = Literal["lifts closure", "extends take-up", "bars harvest", "bars traps"]

_STRICT = {"extra": "forbid", "strict": True, "allow_inf_nan": False}
"""How pydantic reads these types: a misspelled key is refused, for a rule that is dropped would loosen the law."""


@dataclass(frozen=True, order=True)
class MonthDay:
    """A day of every year. 29 February is refused."""

    __pydantic_config__ = _STRICT

    month: int
    day: int

    def __post_init__(self) -> None:
        try:
            date(2001, self.month, self.day)
        except OverflowError as error:
            raise ValueError(f"{self.month}/{self.day} is no day of a year") from error

    def in_year(self, year: int) -> date:
        return date(year, self.month, self.day)


@dataclass(frozen=True)
class YearlySpan:
    """First to last day, both within, in one calendar year."""

    __pydantic_config__ = _STRICT

    first: MonthDay
    last: MonthDay

    def __post_init__(self) -> None:
        if self.last < self.first:
            raise ValueError("the last day lies before the first")


@dataclass(frozen=True)
class DateSpan:
    """First to last date, both within."""

    __pydantic_config__ = _STRICT

    first: date
    last: date

    def __post_init__(self) -> None:
        if self.last < self.first:
            raise ValueError("the last date lies before the first")


@dataclass(frozen=True)
class SunOffsets:
    """Work may begin ``after_sunrise_min`` after sunrise and must stop ``before_sunset_min`` before sunset.

    Negative values lie outside the daylight: -60 is one hour before sunrise, or one hour after sunset.
    """

    __pydantic_config__ = _STRICT

    after_sunrise_min: int
    before_sunset_min: int


@dataclass(frozen=True)
class Bag:
    """A day's limit in US gallons, for each person and, where the law sets one, for the vessel."""

    __pydantic_config__ = _STRICT

    per_person_gal: float
    per_vessel_gal: float | None = None


@dataclass(frozen=True)
class Rule(Generic[T]):
    """One rule.

    Attributes:
        name: what people call it.
        value: the rule itself.
        source: rule number, notice or page it was taken from.
        checked: when somebody last held it against its source.
        note: doubts, and which of several readings was taken.
        since, until: first and last date it holds; None is open.
        sectors, regions: whom and where it binds; empty is everybody, everywhere.
    """

    __pydantic_config__ = _STRICT

    name: str
    value: T
    source: str
    checked: date
    sure: Sure
    note: str = ""
    since: date | None = None
    until: date | None = None
    sectors: tuple[str, ...] = ()
    regions: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if not self.name.strip() or not self.source.strip():
            raise ValueError("a rule needs a name and a source")
        if self.since and self.until and self.until < self.since:
            raise ValueError("it ends before it begins")

    def binds(self, sector: str, region: str | None) -> bool:
        """Whether it binds this sector here. With no region told, a rule of any region binds."""
        return (not self.sectors or sector in self.sectors) and (
            not self.regions or region is None or region in self.regions
        )

    def in_force(self, day: date) -> bool:
        return (self.since is None or self.since <= day) and (self.until is None or day <= self.until)


@dataclass(frozen=True)
class Season:
    """The yearly season, for the years of opening ``from_year`` to ``to_year``; it may run past the year's end.

    ``first_set`` is the first day traps may be placed, ``opens`` and ``last_pull`` the first and last day of
    harvest, ``traps_out_by`` the last day a trap may be in the water.
    """

    __pydantic_config__ = _STRICT

    from_year: int
    opens: Rule[MonthDay]
    first_set: Rule[MonthDay]
    last_pull: Rule[MonthDay]
    traps_out_by: Rule[MonthDay]
    to_year: int | None = None

    def __post_init__(self) -> None:
        if self.to_year is not None and self.to_year < self.from_year:
            raise ValueError("to_year lies before from_year")


@dataclass(frozen=True)
class Closure:
    """Days in the season on which no trap may be in the water, in odd, even or all years from ``from_year`` on."""

    __pydantic_config__ = _STRICT

    years: Literal["odd", "even", "every"]
    from_year: int
    rule: Rule[YearlySpan]

    def falls_in(self, year: int) -> bool:
        parity = self.years == "every" or (year % 2 == 1) == (self.years == "odd")
        return parity and year >= self.from_year


@dataclass(frozen=True)
class Order:
    """A dated order of the authority that departs from the standing rules.

    ``closure`` names the closure that is lifted. An order that gives leave must have been read or reported;
    one from memory, or on which sources differ, is refused.
    """

    __pydantic_config__ = _STRICT

    effect: Effect
    rule: Rule[DateSpan]
    closure: str | None = None

    def __post_init__(self) -> None:
        if self.gives_leave and self.rule.sure not in ("read", "second-hand"):
            raise ValueError(f"an order that gives leave must be read or second-hand, not {self.rule.sure}")
        if (self.effect == "lifts closure") != (self.closure is not None):
            raise ValueError("closure goes with the effect 'lifts closure', and only with it")

    @property
    def gives_leave(self) -> bool:
        return self.effect in ("lifts closure", "extends take-up")


@dataclass(frozen=True)
class Authority:
    """Who makes the rules and where they are published."""

    __pydantic_config__ = _STRICT

    name: str
    url: str


@dataclass(frozen=True)
class Region:
    """A part of the fishery with dates or gear rules of its own. ``covers`` says in words which waters."""

    __pydantic_config__ = _STRICT

    name: str
    covers: str


@dataclass(frozen=True)
class Fishery:
    """All rules of one fishery.

    Attributes:
        kept: what is kept, in the trade's words ("claws").
        measured: how the minimum size is measured.
        seasons: none where ``open_all_year`` is given, else at least one; a day in none of them is closed.
        working_hours: at least one for each sector; where several bind, the stricter end of each counts.
        max_soak_h: empty where the law sets none.

    Raises:
        ValueError: the rules contradict each other or leave a sector without season or hours.
    """

    __pydantic_config__ = _STRICT

    name: str
    authority: Authority
    kept: str
    measured: str
    sectors: tuple[str, ...]
    working_hours: tuple[Rule[SunOffsets], ...]
    regions: tuple[Region, ...] = ()
    open_all_year: Rule[bool] | None = None
    seasons: tuple[Season, ...] = ()
    closures: tuple[Closure, ...] = ()
    orders: tuple[Order, ...] = ()
    min_size_in: tuple[Rule[float], ...] = ()
    traps_per_person: tuple[Rule[int], ...] = ()
    bag: tuple[Rule[Bag], ...] = ()
    gear: tuple[Rule[str], ...] = ()
    max_soak_h: tuple[Rule[float], ...] = ()

    def __post_init__(self) -> None:
        faults = list(_faults(self))
        if faults:
            raise ValueError("; ".join(faults))

    @property
    def region_names(self) -> tuple[str, ...]:
        return tuple(region.name for region in self.regions)

    @cached_property
    def rules(self) -> tuple[Rule[Any], ...]:
        """Every rule of the fishery, whatever its kind."""
        return tuple(_rules_within(self))

    @cached_property
    def boundaries(self) -> dict[int, tuple[date, ...]]:
        """For ``season`` to keep the dates in by year on which what is allowed may change."""
        return {}


def _rules_within(part: object) -> Iterator[Rule[Any]]:
    if isinstance(part, Rule):
        yield part
    elif isinstance(part, tuple):
        for item in part:
            yield from _rules_within(item)
    elif isinstance(part, (Fishery, Season, Closure, Order)):
        for f in fields(part):
            yield from _rules_within(getattr(part, f.name))


def _faults(fishery: Fishery) -> Iterator[str]:
    if not fishery.sectors:
        yield "no sector is named"
    if fishery.open_all_year is not None and not fishery.open_all_year.value:
        yield "open_all_year is either true or left out"
    if (fishery.open_all_year is None) == (not fishery.seasons):
        yield "give either seasons or open_all_year"
    yield from _doubled("sector", fishery.sectors)
    yield from _doubled("region", fishery.region_names)
    yield from _doubled("closure", [closure.rule.name for closure in fishery.closures])
    for rule in fishery.rules:
        for kind, named, known in (
            ("sector", rule.sectors, fishery.sectors),
            ("region", rule.regions, fishery.region_names),
        ):
            yield from (f"rule {rule.name!r} names the unknown {kind} {n!r}" for n in named if n not in known)
    known_closures = {closure.rule.name for closure in fishery.closures}
    for order in fishery.orders:
        if order.closure is not None and order.closure not in known_closures:
            yield f"order {order.rule.name!r} lifts the unknown closure {order.closure!r}"
    for sector in fishery.sectors:
        if not any(r.binds(sector, None) and not r.regions for r in fishery.working_hours):
            yield f"no working hours for the sector {sector!r}"
    whole_year = [fishery.open_all_year] if fishery.open_all_year else []
    for rule in (*_rules_within(fishery.seasons), *whole_year):
        if rule.sectors or rule.regions or rule.since or rule.until:
            yield f"rule {rule.name!r}: a season holds for everybody, everywhere; use closures and orders"
    for rule in fishery.working_hours:
        if rule.since or rule.until:
            yield f"rule {rule.name!r}: working hours hold at all dates"
    yield from _overlapping(fishery.seasons)


def _doubled(kind: str, names: Iterable[str]) -> Iterator[str]:
    seen: set[str] = set()
    for name in names:
        if name in seen:
            yield f"{kind} {name!r} is there twice"
        seen.add(name)


def _overlapping(seasons: tuple[Season, ...]) -> Iterator[str]:
    ordered = sorted(seasons, key=lambda season: season.from_year)
    for earlier, later in pairwise(ordered):
        if earlier.to_year is None or earlier.to_year >= later.from_year:
            yield f"the seasons from {earlier.from_year} and from {later.from_year} overlap"
