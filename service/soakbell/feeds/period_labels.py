"""The names of forecast periods (``REST OF TODAY``, ``FRI NIGHT AND SAT``, ``LABOR DAY``) as times.

Convention, NWS Instruction 10-310 and common use (memory): a day runs 06-18 local, a night 18-06. In the
long range a weekday that has no night of its own runs to the next 06.
"""

from __future__ import annotations

from collections.abc import Sequence, Set
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta, tzinfo

DAY_BEGINS_H = 6
DAY_ENDS_H = 18
NIGHT_ENDS_H = 30  # hours after the midnight that began the date

_WEEKDAY = {
    name: number
    for number, names in enumerate(
        (
            ("MON", "MONDAY"),
            ("TUE", "TUES", "TUESDAY"),
            ("WED", "WEDNESDAY"),
            ("THU", "THUR", "THURS", "THURSDAY"),
            ("FRI", "FRIDAY"),
            ("SAT", "SATURDAY"),
            ("SUN", "SUNDAY"),
        )
    )
    for name in names
}
_PARTS_H = {
    "MORNING": (DAY_BEGINS_H, 12),
    "EARLY MORNING": (DAY_BEGINS_H, 9),
    "LATE MORNING": (9, 12),
    "AFTERNOON": (12, DAY_ENDS_H),
    "EARLY AFTERNOON": (12, 15),
    "LATE AFTERNOON": (15, DAY_ENDS_H),
    "EVENING": (DAY_ENDS_H, 24),
    "EARLY EVENING": (DAY_ENDS_H, 21),
    "LATE EVENING": (21, 24),
    "NIGHT": (DAY_ENDS_H, NIGHT_ENDS_H),
    "LATE NIGHT": (24, NIGHT_ENDS_H),
    "OVERNIGHT": (24, NIGHT_ENDS_H),
}
_FIXED_HOLIDAYS = {
    "NEW YEARS DAY": (1, 1),
    "NEW YEARS": (1, 1),
    "JUNETEENTH": (6, 19),
    "INDEPENDENCE DAY": (7, 4),
    "FOURTH OF JULY": (7, 4),
    "VETERANS DAY": (11, 11),
    "CHRISTMAS EVE": (12, 24),
    "CHRISTMAS DAY": (12, 25),
    "CHRISTMAS": (12, 25),
    "NEW YEARS EVE": (12, 31),
}
_WEEKDAY_HOLIDAYS = {
    "MARTIN LUTHER KING JR DAY": (1, 0, 3),
    "MARTIN LUTHER KING DAY": (1, 0, 3),
    "MLK DAY": (1, 0, 3),
    "PRESIDENTS DAY": (2, 0, 3),
    "WASHINGTONS BIRTHDAY": (2, 0, 3),
    "MEMORIAL DAY": (5, 0, -1),
    "LABOR DAY": (9, 0, 1),
    "COLUMBUS DAY": (10, 0, 2),
    "INDIGENOUS PEOPLES DAY": (10, 0, 2),
    "THANKSGIVING DAY": (11, 3, 4),
    "THANKSGIVING": (11, 3, 4),
}
"""Month, weekday (Monday 0), which one (last: -1). 5 U.S.C. 6103."""

_HOLIDAYS = sorted([*_FIXED_HOLIDAYS, *_WEEKDAY_HOLIDAYS], key=len, reverse=True)
_LONGEST_FORECAST_DAYS = 9
_EARLY_ISSUE_H = 3
"""A bulletin whose first period is "this afternoon" speaks from its issue when that is this near to noon."""


@dataclass(frozen=True)
class Span:
    """Hours counted from the local midnight of ``day``. ``open_day``: a bare weekday ends it."""

    day: date
    begins_h: int
    ends_day: date
    ends_h: int
    open_day: bool = False


@dataclass(frozen=True)
class Interval:
    """From ``starts_at`` to just before ``ends_at``, aware UTC."""

    starts_at: datetime
    ends_at: datetime


def period_spans(labels: Sequence[str], issued_at: datetime, clocks: Sequence[tzinfo]) -> list[Interval | None]:
    """The time each label of one segment stands for, None where the label isn't understood.

    Args:
        labels: as printed, in order.
        issued_at: aware.
        clocks: the local clocks of the zones; with two of them a period covers both readings of its label.
    """
    local = issued_at.astimezone(clocks[0])
    spans: list[Span | None] = []
    for at, label in enumerate(labels):
        spans.append(_Reader(label, at, labels, local, _last_day(spans)).span())
    spans = _extended(spans)
    return [None if span is None else _interval(span, issued_at, clocks) for span in spans]


def _strip(label: str) -> str:
    return " ".join(label.upper().replace("'", "").replace(".", "").split())


class _Reader:
    """Reads one label, knowing its neighbours and the local time of issue."""

    def __init__(self, label: str, at: int, labels: Sequence[str], local: datetime, before: date | None) -> None:
        self.words = _strip(label)
        self.later_labels = [_strip(other) for other in labels[at + 1 :]]
        self.earlier_labels = [_strip(other) for other in labels[:at]]
        self.first = all(other == self.words for other in self.earlier_labels)
        self.local = local
        self.before = before

    def span(self) -> Span | None:
        for joiner in (" THROUGH ", " THRU ", " AND "):
            head, found, tail = self.words.partition(joiner)
            if found and head:
                return self._joined(self._one(head), self._one(tail), joiner.strip())
        return self._one(self.words)

    def _joined(self, first: Span | None, last: Span | None, joiner: str) -> Span | None:
        if first is None or last is None:
            return None
        if (last.day, last.begins_h) < (first.day, first.begins_h):
            return None
        if joiner == "AND" and _hours_between(first, last) > NIGHT_ENDS_H - DAY_ENDS_H:
            return None
        return replace(first, ends_day=last.ends_day, ends_h=last.ends_h, open_day=last.open_day)

    def _one(self, words: str) -> Span | None:
        for lead in ("REST OF THE ", "REST OF "):
            if words.startswith(lead):
                return self._rest_of(words.removeprefix(lead))
        if words.startswith("THROUGH ") and self.first:
            return self._from_now(self._one(words.removeprefix("THROUGH ")))
        today = self.local.date()
        if words in ("TODAY", "THIS DAY"):
            return self._from_now(Span(today, DAY_BEGINS_H, today, DAY_ENDS_H))
        if words in ("TONIGHT", "LATE TONIGHT", "OVERNIGHT"):
            return self._tonight(words)
        words = words.replace("THIS ", "")
        if words in _PARTS_H and "NIGHT" not in words:
            begins_h, ends_h = _PARTS_H[words]
            span = Span(today, begins_h, today, ends_h)
            runs_from_now = self.first and begins_h - _EARLY_ISSUE_H <= self.local.hour and begins_h < DAY_ENDS_H
            return self._from_now(span) if runs_from_now else self._not_past(span)
        return self._named_day(words)

    def _tonight(self, words: str) -> Span | None:
        today = self.local.date()
        night_runs = self.local.hour < DAY_BEGINS_H and not any(
            label.startswith(("TODAY", "REST OF TODAY", "THIS ")) for label in self.earlier_labels
        )
        if night_runs and (words == "OVERNIGHT" or self._today_follows()):
            return Span(today, self.local.hour, today, DAY_BEGINS_H)
        if words == "OVERNIGHT" and self.first and self.local.hour >= DAY_ENDS_H:
            return Span(today, self.local.hour, today, NIGHT_ENDS_H)
        begins_h = 24 if words in ("OVERNIGHT", "LATE TONIGHT") else max(DAY_ENDS_H, self.local.hour)
        return Span(today, begins_h, today, NIGHT_ENDS_H)

    def _rest_of(self, words: str) -> Span | None:
        today = self.local.date()
        if words in ("TONIGHT", "NIGHT", "OVERNIGHT"):
            ends_h = DAY_BEGINS_H if self.local.hour < DAY_BEGINS_H else NIGHT_ENDS_H
            return Span(today, self.local.hour, today, ends_h)
        return self._from_now(self._one(words))

    def _today_follows(self) -> bool:
        """Whether the next label is today's own weekday, or today."""
        if not self.later_labels:
            return False
        first_word = self.later_labels[0].split()[0]
        return first_word in ("TODAY", "THIS") or _WEEKDAY.get(first_word) == self.local.weekday()

    def _from_now(self, span: Span | None) -> Span | None:
        today = self.local.date()
        if span is None or span.day != today:
            return None
        if (span.ends_day, span.ends_h) <= (today, self.local.hour):
            return None
        return replace(span, begins_h=self.local.hour)

    def _not_past(self, span: Span) -> Span | None:
        if (span.ends_day, span.ends_h) <= (self.local.date(), self.local.hour):
            return None
        return span

    def _named_day(self, words: str) -> Span | None:
        name = next((name for name in _names_of_days() if words == name or words.startswith(f"{name} ")), None)
        if name is None:
            return None
        part = words[len(name) :].strip()
        if part and part not in _PARTS_H:
            return None
        begins_h, ends_h = _PARTS_H[part] if part else (DAY_BEGINS_H, DAY_ENDS_H)
        day = self._date_of(name, ends_h)
        return None if day is None else Span(day, begins_h, day, ends_h, open_day=not part)

    def _date_of(self, name: str, ends_h: int) -> date | None:
        today = self.local.date()
        if name == "TOMORROW":
            return today + timedelta(days=1)
        if name not in _WEEKDAY:
            return _holiday(name, today)
        day = today + timedelta(days=(_WEEKDAY[name] - today.weekday()) % 7)
        is_past = day == today and ends_h <= self.local.hour
        comes_round = self.before is not None and (self.before - today).days >= 5 and day < self.before
        return day + timedelta(days=7) if is_past or comes_round else day


def _names_of_days() -> tuple[str, ...]:
    return (*_HOLIDAYS, *sorted(_WEEKDAY, key=len, reverse=True), "TOMORROW")


def _holiday(name: str, today: date) -> date | None:
    for year in (today.year, today.year + 1):
        day = _holiday_in(name, year)
        if today <= day <= today + timedelta(days=_LONGEST_FORECAST_DAYS):
            return day
    return None


def _holiday_in(name: str, year: int) -> date:
    if name in _FIXED_HOLIDAYS:
        month, day = _FIXED_HOLIDAYS[name]
        return date(year, month, day)
    month, weekday, which = _WEEKDAY_HOLIDAYS[name]
    if which < 0:
        last = date(year, month + 1, 1) - timedelta(days=1)
        return last - timedelta(days=(last.weekday() - weekday) % 7)
    first = date(year, month, 1)
    return first + timedelta(days=(weekday - first.weekday()) % 7 + 7 * (which - 1))


def _last_day(spans: Sequence[Span | None]) -> date | None:
    known = [span.ends_day for span in spans if span is not None]
    return known[-1] if known else None


def _hours_between(first: Span, last: Span) -> float:
    return (last.day - first.ends_day).days * 24 + last.begins_h - first.ends_h


def _extended(spans: Sequence[Span | None]) -> list[Span | None]:
    """Bare weekdays of the long range, run on through the night that has no label of its own.

    A bare weekday runs on if the next day has a label and the night none, or if it is the last of all and the
    day before it ran on too ("SUN THROUGH MON" holds such a day itself).
    """
    known = [span for span in spans if span is not None]
    nights = {span.ends_day for span in known if span.open_day and _next_day_follows(span, known)}
    nights |= {span.ends_day for span in known if _ends_long_range(span, known, nights)}
    return [
        replace(span, ends_h=NIGHT_ENDS_H)
        if span is not None and span.open_day and span.ends_day in nights
        else span
        for span in spans
    ]


def _next_day_follows(span: Span, known: Sequence[Span]) -> bool:
    tomorrow = span.ends_day + timedelta(days=1)
    follows = any(other.day == tomorrow and other.begins_h == DAY_BEGINS_H for other in known)
    return follows and not _has_night(span.ends_day, known)


def _ends_long_range(span: Span, known: Sequence[Span], nights: Set[date]) -> bool:
    is_last = span.open_day and span.ends_day == max(other.ends_day for other in known)
    holds_days = span.begins_h == DAY_BEGINS_H and span.day < span.ends_day
    is_long = holds_days or span.ends_day - timedelta(days=1) in nights
    return is_last and is_long and not _has_night(span.ends_day, known)


def _has_night(day: date, known: Sequence[Span]) -> bool:
    """Whether a label covers any of the night that follows ``day``."""
    return any(
        (other.day, other.begins_h) < (day, NIGHT_ENDS_H) and (other.ends_day, other.ends_h) > (day, DAY_ENDS_H)
        for other in known
    )


def _interval(span: Span, issued_at: datetime, clocks: Sequence[tzinfo]) -> Interval | None:
    issue_hour = issued_at.replace(minute=0, second=0, microsecond=0)
    starts = [max(_at(span.day, span.begins_h, clock), issue_hour) for clock in clocks]
    ends = [_at(span.ends_day, span.ends_h, clock) for clock in clocks]
    interval = Interval(min(starts), max(ends))
    return interval if interval.starts_at < interval.ends_at else None


def _at(day: date, hours: int, clock: tzinfo) -> datetime:
    wall = datetime.combine(day + timedelta(days=hours // 24), time(hours % 24), tzinfo=clock)
    return wall.astimezone(UTC)
