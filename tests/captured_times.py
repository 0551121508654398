"""Test only: captured replies in which times were replaced by tokens get real times back.

The product must refuse the tokens; the values beside them are real, so tests want both.
"""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta

CAPTURED_AT = datetime(2026, 5, 14, 12, tzinfo=UTC)

_AGO = re.compile(r"date:now(?::hour)? ?([+-]?\d+) (seconds|hours|minutes|days)")
_ON_A_DAY = re.compile(r"date:today \d\d:\d\d:[+-]\d\d ([+-]\d+) days")


def with_real_times(body: bytes, *, whole_hours: bool = False) -> bytes:
    """``body`` with each token counted from CAPTURED_AT; ``whole_hours`` rounds them down."""

    def moment(found: re.Match[str]) -> str:
        at = CAPTURED_AT + timedelta(**{found[2]: int(found[1])})
        return (at.replace(minute=0, second=0) if whole_hours else at).isoformat()

    def day(found: re.Match[str]) -> str:
        return (CAPTURED_AT + timedelta(days=int(found[1]))).isoformat()

    text = _ON_A_DAY.sub(day, _AGO.sub(moment, body.decode()))
    return text.replace(" / P", "/P").encode()
