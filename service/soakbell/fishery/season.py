"""What the law of a fishery allows on a day, by when traps must be home, and between which hours work may go on.

Where rules differ, or the region isn't told, the stricter holds.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any, TypeVar

from soakbell.fishery.rules import (
    Bag,
    Bars,
    DateSpan,
    Effect,
    Fishery,
    MonthDay,
    Rule,
    Season,
    SunOffsets,
    Sure,
)

T = TypeVar("T")

_ALL: tuple[Bars, ...] = ("harvest", "set", "water")
_ONE_DAY = timedelta(days=1)
_YEARS_AROUND = 5
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


@dataclass(frozen=True)
class SeasonReason:
    """A rule that speaks on the day. ``bars`` is empty where it allows."""

    rule: str
    text: str
    source: str
    sure: Sure
    bars: tuple[Bars, ...] = ()


@dataclass(frozen=True)
class SeasonDay:
    """One day under the law.

    Attributes:
        may_harvest: traps may be pulled and the catch kept.
        may_set: traps may be put in the water.
        traps_may_be_in_water: a trap found in the water is lawful.
        next_change: the next day on which one of the three differs; None where none is known within five years.
    """

    day: date
    may_harvest: bool
    may_set: bool
    traps_may_be_in_water: bool
    reasons: tuple[SeasonReason, ...]
    next_change: date | None


@dataclass(frozen=True)
class TakeUp:
    """The last day on which traps may be in the water, and the rule that says so: the order that extended it to
    that day, or else what bars the next one."""

    deadline: date
    reason: SeasonReason


@dataclass(frozen=True)
class Opening:
    """The first of a stretch of days on which traps may be set, and the rule that says so.

    ``harvest_from``: the first day from then on on which they may be pulled for their catch; None: none is known.
    """

    set_from: date
    harvest_from: date | None
    reason: SeasonReason


@dataclass(frozen=True)
class WorkingHours:
    """Minutes after sunrise at which work may begin, and before sunset at which it stops; negative is outside."""

    after_sunrise_min: int
    before_sunset_min: int
    rule: Rule[SunOffsets]


@dataclass(frozen=True)
class TrapLimit:
    traps: int
    rule: Rule[int]


@dataclass(frozen=True)
class BagLimit:
    gallons: float
    rule: Rule[Bag]


@dataclass(frozen=True)
class Caution:
    """The word of caution under every call.

    ``checked`` is the oldest date on which any rule was checked; ``not_read`` of the ``rules`` were not read in
    the rule's own text.
    """

    text: str
    authority: str
    url: str
    checked: date
    not_read: int
    rules: int


@dataclass(frozen=True)
class _SeasonDates:
    """One season of one year, in dates."""

    season: Season
    opens: date
    first_set: date
    last_pull: date
    traps_out_by: date


def season_day(fishery: Fishery, day: date, *, sector: str, region: str | None) -> SeasonDay:
    """What the law allows on ``day``.

    With ``region`` None in a fishery that has regions, only what is allowed in all of them is allowed.

    Raises:
        ValueError: ``sector`` or ``region`` isn't one of the fishery's.
    """
    _check(fishery, sector, region)
    reasons = _reasons(fishery, day, sector, region)
    allowed = _allowed(reasons)
    later = (b for b in _boundaries(fishery, day) if b > day)
    return SeasonDay(
        day=day,
        may_harvest="harvest" in allowed,
        may_set="set" in allowed,
        traps_may_be_in_water="water" in allowed,
        reasons=reasons,
        next_change=next((b for b in later if _allowed(_reasons(fishery, b, sector, region)) != allowed), None),
    )


def opened_on(fishery: Fishery, day: date) -> date | None:
    """The opening of the harvest that ``day`` lies in or after; None where none is known or nothing closes."""
    known = [dates.opens for year in (day.year - 1, day.year) for dates in _dates_of(fishery, year)]
    return max((opens for opens in known if opens <= day), default=None)


def take_up(fishery: Fishery, day: date, *, sector: str, region: str | None) -> TakeUp | None:
    """By when all traps must be out, seen from ``day``: the end of the stretch of days with traps allowed that
    ``day`` lies in, or else of the last one before it (then the deadline has passed). Orders are counted in.

    None where no end is known within five years.
    """
    _check(fishery, sector, region)

    def barred(at: date) -> SeasonReason | None:
        return next((r for r in _reasons(fishery, at, sector, region) if "water" in r.bars), None)

    boundaries = _boundaries(fishery, day)
    if barred(day) is None:
        turns: Iterable[date] = [b for b in boundaries if b > day]
    else:
        turns = [b for b in reversed(boundaries) if b <= day]
    for turn in turns:
        reason, last = barred(turn), turn - _ONE_DAY
        if reason is not None and barred(last) is None:
            return TakeUp(last, _extended(fishery, last, sector, region) or reason)
    return None


def opening(fishery: Fishery, day: date, *, sector: str, region: str | None) -> Opening | None:
    """The first opening on ``day`` or after it. Closures end with one too, and orders are counted in.

    None where none is known within five years.

    Raises:
        ValueError: ``sector`` or ``region`` isn't one of the fishery's.
    """
    _check(fishery, sector, region)

    def reasons(at: date) -> tuple[SeasonReason, ...]:
        return _reasons(fishery, at, sector, region)

    boundaries = _boundaries(fishery, day)
    may_set = {at: "set" in _allowed(reasons(at)) for b in boundaries if b >= day for at in (b - _ONE_DAY, b)}
    set_from = next((b for b in boundaries if b >= day and may_set[b] and not may_set[b - _ONE_DAY]), None)
    if set_from is None:
        return None
    harvests = (b for b in boundaries if b >= set_from and "harvest" in _allowed(reasons(b)))
    harvest_from = next(harvests, None)
    seasons = [dates for year in (set_from.year, set_from.year + 1) for dates in _dates_of(fishery, year)]
    first = next((dates.season.first_set for dates in seasons if dates.first_set == set_from), None)
    if first is not None:
        return Opening(set_from, harvest_from, _said_by(first, f"traps may be set from {_said(set_from)}"))
    before = reasons(set_from - _ONE_DAY)
    eased = [reason for reason in reasons(set_from) if reason not in before and not reason.bars]
    return Opening(set_from, harvest_from, (eased or [r for r in before if "set" in r.bars])[0])


def working_hours(fishery: Fishery, sector: str, region: str | None = None) -> WorkingHours:
    """Between which hours traps may be worked: the stricter end of every rule that binds.

    ``rule`` is the one that sets the later start.
    """
    _check(fishery, sector, region)
    binding = [r for r in fishery.working_hours if r.binds(sector, region)]
    latest = max(binding, key=lambda r: r.value.after_sunrise_min)
    return WorkingHours(
        after_sunrise_min=latest.value.after_sunrise_min,
        before_sunset_min=max(r.value.before_sunset_min for r in binding),
        rule=latest,
    )


def min_size(fishery: Fishery, day: date, *, sector: str, region: str | None) -> Rule[float] | None:
    """The smallest size that may be kept on ``day``, inches; measured as ``fishery.measured`` says."""
    return max(
        in_force(fishery.min_size_in, day, sector, region),
        key=lambda rule: rule.value,
        default=None,
    )


def trap_limit(fishery: Fishery, day: date, *, sector: str, region: str | None, persons: int) -> TrapLimit | None:
    """How many traps ``persons`` may fish together. None where the law sets no number a person."""
    binding = in_force(fishery.traps_per_person, day, sector, region)
    limits = [TrapLimit(rule.value * persons, rule) for rule in binding]
    return min(limits, key=lambda limit: limit.traps, default=None)


def bag_limit(fishery: Fishery, day: date, *, sector: str, region: str | None, persons: int) -> BagLimit | None:
    """What ``persons`` on one vessel may keep in a day, US gallons: the less of person and vessel limits."""
    limits = [
        BagLimit(_vessel_bag_gal(rule.value, persons), rule) for rule in in_force(fishery.bag, day, sector, region)
    ]
    return min(limits, key=lambda limit: limit.gallons, default=None)


def gear_rules(fishery: Fishery, day: date, *, sector: str, region: str | None) -> tuple[Rule[str], ...]:
    """Every gear rule that binds, in the file's order."""
    return in_force(fishery.gear, day, sector, region)


def max_soak_h(fishery: Fishery, day: date, *, sector: str, region: str | None) -> Rule[float] | None:
    """The longest soak the law allows, hours. None where it sets none."""
    binding = in_force(fishery.max_soak_h, day, sector, region)
    return min(binding, key=lambda rule: rule.value, default=None)


def in_force(rules: tuple[Rule[T], ...], day: date, sector: str, region: str | None) -> tuple[Rule[T], ...]:
    return tuple(rule for rule in rules if rule.in_force(day) and rule.binds(sector, region))


def caution(fishery: Fishery) -> Caution:
    rules = fishery.rules
    not_read = sum(rule.sure != "read" for rule in rules)
    checked = min(rule.checked for rule in rules)
    return Caution(
        text=(
            f"Rules change and may be changed by order at any time. These were last checked on "
            f"{_said(checked)}; {not_read} of {len(rules)} were not read in the rule's own text. "
            f"Check with the authority before you go: {fishery.authority.name}, {fishery.authority.url}."
        ),
        authority=fishery.authority.name,
        url=fishery.authority.url,
        checked=checked,
        not_read=not_read,
        rules=len(rules),
    )


def _vessel_bag_gal(bag: Bag, persons: int) -> float:
    together = bag.per_person_gal * persons
    return together if bag.per_vessel_gal is None else min(together, bag.per_vessel_gal)


def _check(fishery: Fishery, sector: str, region: str | None) -> None:
    if sector not in fishery.sectors:
        raise ValueError(f"{fishery.name} has no sector {sector!r}; it has {', '.join(fishery.sectors)}")
    if region is not None and region not in fishery.region_names:
        known = ", ".join(fishery.region_names) or "none"
        raise ValueError(f"{fishery.name} has no region {region!r}; it has {known}")


def _allowed(reasons: tuple[SeasonReason, ...]) -> frozenset[Bars]:
    return frozenset(_ALL) - {bar for reason in reasons for bar in reason.bars}


def _reasons(fishery: Fishery, day: date, sector: str, region: str | None) -> tuple[SeasonReason, ...]:
    regions = [region] if region is not None or not fishery.regions else list(fishery.region_names)
    found = [reason for place in regions for reason in _in_region(fishery, day, sector, place)]
    return tuple(dict.fromkeys(found))


def _in_region(fishery: Fishery, day: date, sector: str, region: str | None) -> Iterator[SeasonReason]:
    yield _season_reason(fishery, day, sector, region)
    for closure in fishery.closures:
        span = closure.rule.value
        if not (closure.rule.in_force(day) and closure.rule.binds(sector, region) and closure.falls_in(day.year)):
            continue
        if not span.first.in_year(day.year) <= day <= span.last.in_year(day.year):
            continue
        lifting = _order_on(fishery, day, sector, region, "lifts closure", closure.rule.name)
        if lifting is not None:
            yield _said_by(lifting, f"the closure {closure.rule.name!r} is lifted")
        else:
            text = f"closed from {_said(span.first.in_year(day.year))} to {_said(span.last.in_year(day.year))}"
            yield _said_by(closure.rule, f"{text}: no trap in the water", _ALL)
    no_harvest = _order_on(fishery, day, sector, region, "bars harvest")
    if no_harvest is not None:
        until = _said(no_harvest.value.last)
        yield _said_by(no_harvest, f"harvest is barred by order until {until}", ("harvest", "set"))
    no_traps = _order_on(fishery, day, sector, region, "bars traps")
    if no_traps is not None:
        yield _said_by(no_traps, f"traps are barred by order until {_said(no_traps.value.last)}", _ALL)


def _season_reason(fishery: Fishery, day: date, sector: str, region: str | None) -> SeasonReason:
    if fishery.open_all_year is not None:
        return _said_by(fishery.open_all_year, "no closed season")
    known = [dates for year in range(day.year - 1, day.year + 2) for dates in _dates_of(fishery, year)]
    begun = [dates for dates in known if dates.first_set <= day]
    if begun:
        return _within_or_after(fishery, day, sector, region, begun[-1])
    if known:
        text = f"traps may be set from {_said(known[0].first_set)}, and harvest opens {_said(known[0].opens)}"
        return _said_by(known[0].season.first_set, text, _ALL)
    return SeasonReason("season", f"no season is known for {_said(day)}", fishery.name, "memory", _ALL)


def _within_or_after(
    fishery: Fishery, day: date, sector: str, region: str | None, dates: _SeasonDates
) -> SeasonReason:
    season = dates.season
    ended = f"harvest ended {_said(dates.last_pull)}"
    if day < dates.opens:
        return _said_by(
            season.opens, f"traps may be set, but none pulled before {_said(dates.opens)}", ("harvest",)
        )
    if day <= dates.last_pull:
        return _said_by(season.last_pull, f"open from {_said(dates.opens)} to {_said(dates.last_pull)}")
    if day <= dates.traps_out_by:
        text = f"{ended}; traps out of the water by {_said(dates.traps_out_by)}"
        return _said_by(season.traps_out_by, text, ("harvest", "set"))
    extension = _order_on(fishery, day, sector, region, "extends take-up")
    if extension is not None:
        text = f"{ended}; take-up extended by order to {_said(extension.value.last)}"
        return _said_by(extension, text, ("harvest", "set"))
    return _said_by(season.traps_out_by, f"{ended}; all traps were due out by {_said(dates.traps_out_by)}", _ALL)


def _order_on(
    fishery: Fishery, day: date, sector: str, region: str | None, effect: Effect, closure: str | None = None
) -> Rule[DateSpan] | None:
    for order in fishery.orders:
        rule = order.rule
        if order.effect != effect or order.closure != closure:
            continue
        if rule.in_force(day) and rule.binds(sector, region) and rule.value.first <= day <= rule.value.last:
            return rule
    return None


def _dates_of(fishery: Fishery, year: int) -> Iterator[_SeasonDates]:
    """The season that opens in ``year``, if the file knows it."""
    for season in fishery.seasons:
        if season.from_year <= year and (season.to_year is None or year <= season.to_year):
            opens = season.opens.value.in_year(year)
            last_pull = _on_or_after(opens, season.last_pull.value)
            yield _SeasonDates(
                season=season,
                opens=opens,
                first_set=_on_or_before(opens, season.first_set.value),
                last_pull=last_pull,
                traps_out_by=_on_or_after(last_pull, season.traps_out_by.value),
            )


def _extended(fishery: Fishery, last: date, sector: str, region: str | None) -> SeasonReason | None:
    """What the order says by which ``last`` is the last day, if it is one."""
    names = {
        order.rule.name
        for order in fishery.orders
        if order.effect == "extends take-up" and order.rule.value.last == last
    }
    return next((r for r in _reasons(fishery, last, sector, region) if r.rule in names), None)


def _on_or_after(start: date, day: MonthDay) -> date:
    same_year = day.in_year(start.year)
    return same_year if same_year >= start else day.in_year(start.year + 1)


def _on_or_before(end: date, day: MonthDay) -> date:
    same_year = day.in_year(end.year)
    return same_year if same_year <= end else day.in_year(end.year - 1)


def _boundaries(fishery: Fishery, around: date) -> tuple[date, ...]:
    """Dates on which what is allowed may differ from the day before, years enough for a closure to come twice."""
    kept = fishery.boundaries.get(around.year)
    if kept is None:
        kept = fishery.boundaries[around.year] = tuple(sorted(_turns(fishery, around.year)))
    return kept


def _turns(fishery: Fishery, around: int) -> set[date]:
    turns: set[date] = set()
    for year in range(around - _YEARS_AROUND, around + _YEARS_AROUND + 1):
        for dates in _dates_of(fishery, year):
            turns |= {dates.first_set, dates.opens, dates.last_pull + _ONE_DAY, dates.traps_out_by + _ONE_DAY}
        for closed in (closure.rule.value for closure in fishery.closures):
            turns |= {closed.first.in_year(year), closed.last.in_year(year) + _ONE_DAY}
    for ordered in (order.rule.value for order in fishery.orders):
        turns |= {ordered.first, ordered.last + _ONE_DAY}
    for rule in fishery.rules:
        turns |= {rule.since} if rule.since else set()
        turns |= {rule.until + _ONE_DAY} if rule.until else set()
    return turns


def _said_by(rule: Rule[Any], text: str, bars: tuple[Bars, ...] = ()) -> SeasonReason:
    return SeasonReason(rule.name, text, rule.source, rule.sure, bars)


def _said(day: date) -> str:
    return f"{day.day} {_MONTHS[day.month - 1]} {day.year}"
