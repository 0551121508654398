"""Which upkeep is due: each rule of the skipper's beside what the log tells of its task."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from typing import Literal

from soakbell.gear.outfit import Outfit, UpkeepRule
from soakbell.gear.upkeep import SAME_TIME, Step, TaskDone, UpkeepRecord

UpkeepState = Literal["overdue", "never told", "due soon", "fine"]
UpkeepUnit = Literal["", "engine h", "pulls", "days in water"]

_DAY = timedelta(days=1)
_GRAVEST_FIRST: tuple[UpkeepState, ...] = ("overdue", "never told", "due soon", "fine")
_LEVELS: dict[UpkeepState, int] = {"overdue": 2, "never told": 1, "due soon": 1, "fine": 0}


@dataclass(frozen=True)
class UpkeepDue:
    """How one task stands by the interval that binds, the one that comes first.

    Attributes:
        due_on: the last good local day, where the calendar or a date of expiry binds.
        left: else what is left until it is due, in ``unit``; 0 or less is overdue.
        since: when ``state`` began. Where it began by use, that is the reading or the haul by which it was known.
            Never told: the log's first moment, None while the log is empty.
        done_at: its last doing that the log tells, None where it tells none.
        source: who says that and when it is due.
        not_known: counters that an interval of the rule counts and the log doesn't tell, or not from the doing on.
            "Never told" with a ``done_at`` means that no interval could be counted for lack of them, or of a date
            of expiry ("date").
    """

    task: str
    state: UpkeepState
    safety: bool
    expires: bool
    before_leaving: bool
    due_on: date | None
    left: float | None
    unit: UpkeepUnit
    since: datetime | None
    done_at: datetime | None
    source: str
    not_known: tuple[str, ...] = ()

    @property
    def level(self) -> int:
        """0 fine, 1 due soon or never told, 2 overdue."""
        return _LEVELS[self.state]


@dataclass(frozen=True)
class _Interval:
    """How one interval stands. ``in_days`` is when it comes, at the pace since the last doing; inf: not by now."""

    state: UpkeepState
    since: datetime
    in_days: float
    due_on: date | None = None
    left: float | None = None
    unit: UpkeepUnit = ""

    @property
    def urgency(self) -> tuple[int, float]:
        return _GRAVEST_FIRST.index(self.state), self.in_days


def upkeep_due(outfit: Outfit, record: UpkeepRecord, now: datetime, zone: tzinfo) -> tuple[UpkeepDue, ...]:
    """Every task of the outfit: what asks for the skipper first.

    Of that, safety gear first; then overdue, never told, due soon; then by when it comes. ``now`` is aware; the
    days that count are those of ``zone``, the harbor's.
    """
    done = {told.task: told for told in record.done}
    found = [_of_rule(rule, done.get(rule.name), record, now, zone) for rule in outfit.upkeep]
    found.sort(key=lambda pair: (pair[0].state == "fine", not pair[0].safety, *pair[1], pair[0].task))
    return tuple(due for due, _ in found)


def _of_rule(
    rule: UpkeepRule, done: TaskDone | None, record: UpkeepRecord, now: datetime, zone: tzinfo
) -> tuple[UpkeepDue, tuple[int, float]]:
    intervals: list[_Interval] = []
    not_known: list[str] = []
    if done is not None:
        for counter, interval in _intervals(rule, done, record, now, zone):
            if interval is None:
                not_known.append(counter)
            else:
                intervals.append(interval)
    binding = min(intervals, key=lambda interval: interval.urgency, default=None)
    state: UpkeepState = "never told" if binding is None else binding.state
    due = UpkeepDue(
        task=rule.name,
        state=state,
        safety=rule.safety,
        expires=rule.expires,
        before_leaving=rule.before_leaving,
        due_on=None if binding is None else binding.due_on,
        left=None if binding is None else binding.left,
        unit="" if binding is None else binding.unit,
        since=record.first_at if binding is None else binding.since,
        done_at=None if done is None else done.done_at,
        source=rule.source,
        not_known=tuple(not_known),
    )
    return due, (_GRAVEST_FIRST.index(state), math.inf) if binding is None else binding.urgency


def _intervals(
    rule: UpkeepRule, done: TaskDone, record: UpkeepRecord, now: datetime, zone: tzinfo
) -> Iterator[tuple[str, _Interval | None]]:
    """The intervals of a rule by what they count, None for one that the log tells too little of.

    Engine hours that were first read some time after the doing count from then on, and are told as too little too.
    """
    at = done.done_at
    if rule.expires:
        told = done.expires_on
        yield "date", None if told is None else _by_day(told, rule.soon_days, at, now, zone)
    if rule.every_days is not None:
        due_on = at.astimezone(zone).date() + timedelta(days=rule.every_days)
        # Else what comes round every week would be due soon as soon as it is done.
        yield "days", _by_day(due_on, min(rule.soon_days, rule.every_days / 2), at, now, zone)
    if rule.every_engine_h is not None:
        base_h, based_at = done.engine_h, done.engine_read_at or at
        if record.engine_h is None or base_h is None or based_at > at + SAME_TIME:
            yield "engine h", None
        if record.engine_h is not None and base_h is not None:
            hours = _Use(at, record.engine_h - base_h, _known_by(record.readings, base_h, record.read_at or at))
            yield "engine h", _by_use(rule, rule.every_engine_h, hours, now, "engine h")
    if rule.every_pulls is not None:
        pulls = _Use(at, record.pulls - done.pulls, _known_by(record.hauls, done.pulls, record.pulled_at or at))
        yield "pulls", _by_use(rule, rule.every_pulls, pulls, now, "pulls")
    if rule.every_days_in_water is not None:
        to = Step(record.counted_to or at, record.days_in_water)
        running = max(0.0, (now - to.at) / _DAY) if record.fishing else 0.0
        used = record.days_in_water - done.days_in_water + running
        days = _Use(at, used, _run_to((*record.in_water, to), done.days_in_water))
        yield "days in water", _by_use(rule, rule.every_days_in_water, days, now, "days in water")


def _by_day(due_on: date, soon_days: float, done_at: datetime, now: datetime, zone: tzinfo) -> _Interval:
    today = now.astimezone(zone).date()
    in_days = (due_on - today).days
    soon_on = due_on - timedelta(days=soon_days)
    if today > due_on:
        return _Interval("overdue", _first_moment(due_on + _DAY, zone), in_days, due_on=due_on)
    if today >= soon_on:
        return _Interval("due soon", max(done_at, _first_moment(soon_on, zone)), in_days, due_on=due_on)
    return _Interval("fine", done_at, in_days, due_on=due_on)


def _first_moment(day: date, zone: tzinfo) -> datetime:
    return datetime.combine(day, time(), zone).astimezone(UTC)


def _known_by(steps: Iterable[Step], base: float, latest_at: datetime) -> Callable[[float], datetime]:
    """Gives the first of the steps by which the counter stood so far above ``base``, else ``latest_at``."""
    return lambda amount: next((step.at for step in steps if step.count - base >= amount), latest_at)


def _run_to(steps: tuple[Step, ...], base: float) -> Callable[[float], datetime]:
    """Gives when days that run evenly between the steps, and on from the last, came so far above ``base``."""

    def reached_at(amount: float) -> datetime:
        step = next((step for step in steps if step.count - base >= amount), steps[-1])
        return step.at + (amount - (step.count - base)) * _DAY

    return reached_at


@dataclass(frozen=True)
class _Use:
    """Use since ``done_at`` up to now, and when it came to an amount."""

    done_at: datetime
    total: float
    reached_at: Callable[[float], datetime]

    def since(self, amount: float) -> datetime:
        return max(self.done_at, self.reached_at(amount))


def _by_use(rule: UpkeepRule, every: float, use: _Use, now: datetime, unit: UpkeepUnit) -> _Interval:
    left = every - use.total
    in_days = left * ((now - use.done_at) / _DAY) / use.total if use.total > 0 else math.inf
    if left <= 0:
        return _Interval("overdue", use.since(every), in_days, left=left, unit=unit)
    soon_from = every * (1 - rule.soon_share)
    if use.total >= soon_from:
        return _Interval("due soon", use.since(soon_from), in_days, left=left, unit=unit)
    return _Interval("fine", use.done_at, in_days, left=left, unit=unit)
