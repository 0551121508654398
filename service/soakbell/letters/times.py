"""Moments as the skipper reads them: the harbor's own clock."""

from __future__ import annotations

import math
from collections.abc import Iterator
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
FULL_DAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
FULL_MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)


def day_words(day: date) -> str:
    """``Tue 8 Dec``."""
    return f"{DAYS[day.weekday()]} {day.day} {MONTHS[day.month - 1]}"


def full_day_words(day: date) -> str:
    """``Tuesday 8 December 2026``."""
    return f"{FULL_DAYS[day.weekday()]} {day.day} {FULL_MONTHS[day.month - 1]} {day.year}"


class HarborTimes:
    """Writes moments in the harbor's time, for a page about ``day``.

    The page says its zone once, at ``page_zone``. A moment whose offset differs from it (the night the clock
    changes) carries its own abbreviation, and one of another local day carries that day, so no time on the page
    can be taken for another.
    """

    def __init__(self, zone_name: str, day: date) -> None:
        self.zone = ZoneInfo(zone_name)
        self.day = day
        self._noon = datetime.combine(day, time(12), self.zone)

    @classmethod
    def at(cls, zone_name: str, now: datetime) -> HarborTimes:
        """For a page about the local day of ``now``."""
        return cls(zone_name, now.astimezone(ZoneInfo(zone_name)).date())

    @property
    def abbreviation(self) -> str:
        return self._noon.tzname() or "UTC"

    @property
    def page_zone(self) -> str:
        """``EST (UTC-5)``."""
        offset_min = round((self._noon.utcoffset() or timedelta()).total_seconds() / 60)
        hours, minutes = divmod(abs(offset_min), 60)
        sign = "-" if offset_min < 0 else "+"
        return f"{self.abbreviation} (UTC{sign}{hours}{f':{minutes:02d}' if minutes else ''})"

    def local(self, at: datetime) -> datetime:
        if at.tzinfo is None:
            raise ValueError(f"{at.isoformat()} has no zone and can't be put on a page")
        return at.astimezone(self.zone)

    def hour(self, at: datetime) -> str:
        """``07:10``; ``Wed 9 Dec 00:40`` on another day; ``01:30 EDT`` at another offset than the page's.

        The end of the page's day is ``midnight``.
        """
        local = self.local(at)
        if at == self.midnights()[1]:
            return "midnight"
        words = f"{local:%H:%M}"
        if local.date() != self.day:
            words = f"{day_words(local.date())} {words}"
        if local.utcoffset() != self._noon.utcoffset():
            words = f"{words} {local.tzname()}"
        return words

    def zoned(self, at: datetime, *, dated: bool = False) -> str:
        """``hour``, or ``dated``, with the abbreviation in any case."""
        words = self.dated(at) if dated else self.hour(at)
        abbreviation = self.local(at).tzname() or "UTC"
        return words if words.endswith(abbreviation) else f"{words} {abbreviation}"

    def dated(self, at: datetime) -> str:
        """``Tue 8 Dec 04:21``, the day named in any case; the end of the page's day is ``Tue 8 Dec 24:00``."""
        if at == self.midnights()[1]:
            return f"{day_words(self.day)} 24:00"
        words = self.hour(at)
        return words if self.local(at).date() != self.day else f"{day_words(self.day)} {words}"

    def span(self, first: datetime, last: datetime) -> str:
        """``07:10 to 12:40``; ``Mon 7 Dec 15:25 to Tue 8 Dec 22:00``."""
        return f"{self.hour(first)} to {self.end(first, last)}"

    def end(self, first: datetime, last: datetime) -> str:
        """``last`` as it reads after ``first``: with its day where that names one, or it could mislead."""
        return self.dated(last) if self.local(first).date() != self.day else self.hour(last)

    def span_of_day(self, first: datetime, last: datetime) -> str:
        """Like ``span``, without the day where both ends lie in the same one: for a row that names its day."""
        begin, end = self.local(first), self.local(last)
        if begin.date() != end.date():
            return self.span(first, last)
        return HarborTimes(self.zone.key, begin.date()).span(first, last)

    def midnights(self) -> tuple[datetime, datetime]:
        """Begin and end of the local day, UTC."""
        return (self._midnight(self.day), self._midnight(self.day + timedelta(days=1)))

    def _midnight(self, day: date) -> datetime:
        return datetime.combine(day, time(), self.zone).astimezone(UTC)

    def hours_of_day(self) -> Iterator[datetime]:
        """The begin of each hour of the local day, UTC: 23, 24 or 25 of them."""
        at, end = self.midnights()
        while at < end:
            yield at
            at += timedelta(hours=1)


def soak_words(hours: float) -> str:
    """``5 days 3 h``, ``1 day 12 h``, ``19 h``: whole hours, rounded down."""
    return days_words(math.floor(hours))


def days_words(hours: int) -> str:
    """``5 days 3 h``, ``1 day``, ``19 h``."""
    days, rest = divmod(hours, 24)
    if not days:
        return f"{rest} h"
    told = "1 day" if days == 1 else f"{days} days"
    return f"{told} {rest} h" if rest else told


def age_words(hours: float) -> str:
    """``2 h 35 min``, ``30 h``, ``4 days 3 h``: rounded up, so that nothing looks fresher than it is."""
    minutes = math.ceil(hours * 60 - 1e-6)
    if minutes < 24 * 60:
        return minutes_words(minutes)
    whole = math.ceil(minutes / 60)
    return f"{whole} h" if whole < 96 else days_words(whole)


def minutes_words(minutes: float) -> str:
    """``5 h 30 min``."""
    hours, rest = divmod(round(minutes), 60)
    if not hours:
        return f"{rest} min"
    return f"{hours} h {rest} min" if rest else f"{hours} h"
