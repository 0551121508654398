"""Captured replies moved to another day: their times change, no number of the weather does."""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

GRID_DAY = date(2022, 2, 4)
"""The day of the captured grid TAE 58,65, updated at 03:15:41 UTC."""

_TEXT_CLOCKS = (ZoneInfo("America/New_York"), ZoneInfo("America/Chicago"))
_TEXT_ISSUE = "1045 AM EDT Thu Jun 15 2023"
_TEXT_LABELS = [
    "THIS AFTERNOON",
    "TONIGHT",
    *(day + part for day in ("FRIDAY", "SATURDAY", "SUNDAY", "MONDAY") for part in ("", " NIGHT")),
]


def grid_on(body: bytes, day: date) -> bytes:
    """The captured grid brought forward by whole days."""
    forward = day - GRID_DAY

    def later(found: re.Match[str]) -> str:
        return (datetime.fromisoformat(found[0]) + forward).isoformat()

    return re.sub(r"2022-0[1-9]-\d\dT\d\d:\d\d:\d\d\+00:00", later, body.decode()).encode()


def text_on(body: bytes, issued_at: datetime, labels: Sequence[str], *, good_for_h: float = 8) -> bytes:
    """The captured zone text as if issued then, its ten periods named anew.

    Its header, issue lines (on both clocks), expiry and labels are written consistently. The captured one was good
    for eight hours.
    """
    said = json.loads(body)
    eastern, central = (_issue(issued_at.astimezone(clock)) for clock in _TEXT_CLOCKS)
    text = said["productText"]
    for old, new in (
        ("FZUS52 KTAE 151445", f"FZUS52 KTAE {issued_at:%d%H%M}"),
        (f"{_TEXT_ISSUE} /945 AM CDT Thu Jun 15 2023/", f"{eastern} /{central}/"),
        (_TEXT_ISSUE, eastern),
        ("-152245-", f"-{issued_at + timedelta(hours=good_for_h):%d%H%M}-"),
    ):
        assert old in text
        text = text.replace(old, new)
    names = dict(zip(_TEXT_LABELS, labels, strict=True))
    text, count = re.subn(r"\.([A-Z ]+)\.{3}(?=\w)", lambda found: f".{names[found[1]]}...", text)
    assert count == 2 * len(labels)
    return json.dumps(said | {"productText": text, "issuanceTime": issued_at.isoformat()}).encode()


def labels_after(day: date, first: Sequence[str], count: int = 10) -> list[str]:
    """``first``, then the days after ``day`` with their nights."""
    names = [f"{day + timedelta(days=n):%A}".upper() for n in range(1, 6)]
    return [*first, *(name + part for name in names for part in ("", " NIGHT"))][:count]


def _issue(local: datetime) -> str:
    return f"{local.hour % 12 or 12}{local:%M %p %Z %a %b} {local.day} {local.year}"
