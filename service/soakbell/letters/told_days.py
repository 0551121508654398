"""What the calendar of an earlier letter told, so that a newer one can take back what holds no more."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from email import message_from_bytes, policy

from icalendar import Calendar, Component

TAKE_UP_FILE = "take-up.ics"


@dataclass(frozen=True)
class ToldDay:
    """A whole day in a calendar that was sent. ``sequence`` is that of RFC 5545, section 3.8.7.4."""

    uid: str
    day: date
    title: str
    sequence: int


def told_days(message: bytes) -> tuple[ToldDay, ...]:
    """Those of the take-up calendar in a letter as it went out, cancelled ones too; none where it has none.

    Raises:
        ValueError, KeyError: the calendar can't be read.
    """
    files = [
        part.get_payload(decode=True)
        for part in message_from_bytes(message, policy=policy.default).walk()
        if part.get_filename() == TAKE_UP_FILE
    ]
    return tuple(_told(event) for file in files for event in Calendar.from_ical(_bytes(file)).walk("VEVENT"))


def _bytes(content: object) -> bytes:
    if not isinstance(content, bytes):
        raise ValueError(f"a calendar of {type(content).__name__}")
    return content


def _told(event: Component) -> ToldDay:
    day: object = event.decoded("DTSTART")
    if isinstance(day, datetime) or not isinstance(day, date):
        raise ValueError(f"{day!r} is no whole day")
    return ToldDay(str(event["UID"]), day, str(event["SUMMARY"]), int(str(event["SEQUENCE"])))
