"""Records of trust that letters tell, each with one role. All data here is invented.

trust-of-a-month    a month with PULL days inside and outside the limits, and a record of six weeks; no sea
                    is measured
trust-unseen        no area has a station: nothing can be told of how days came out
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from functools import cache

from scenes import FACTS
from soakbell.letters.letter import Letter
from soakbell.letters.trust import trust_letter
from soakbell.plan_settings import Trust
from soakbell.sea.trust import WORST_OF_ALL, BinError, brier
from soakbell.sea.trust_record import AreaAsked, PastLimit, SeenDay, StationSeen, TrustRecord

MONTH = date(2026, 11, 1)
FIRST_OF_DECEMBER = datetime(2026, 12, 1, 23, 0, tzinfo=UTC)
"""18:00 at the harbor."""

TERMS = Trust().as_terms()
INNER = "Inner Bay"
TRUST_FACTS = replace(FACTS, watch_until=None, next_letter_at=datetime(2026, 12, 2, 9, 30, tzinfo=UTC))

NO_SEA = AreaAsked(INNER, ("wind_kt", "gust_kt"), ("sea_m",))
ALL_MEASURED = AreaAsked(INNER, ("wind_kt", "gust_kt", "sea_m"), ())


def seen_on(month: int, day: int, word: str, fit: bool | None, *past: PastLimit, had_trip: bool = True) -> SeenDay:
    """By a station that measures no sea."""
    return SeenDay(date(2026, month, day), word, fit, (NO_SEA,), had_trip, past)


BLOWN_OUT = seen_on(11, 14, "PULL", False, PastLimit("wind_kt", 16.5, 15.0), PastLimit("gust_kt", 20.4, 20.0))
DAYS = (
    seen_on(10, 30, "PULL", True),
    seen_on(11, 3, "PULL", True),
    seen_on(11, 4, "WAIT", False),
    seen_on(11, 5, "WAIT", True, had_trip=False),
    seen_on(11, 10, "PULL", True),
    seen_on(11, 11, "WAIT", True),
    BLOWN_OUT,
    seen_on(11, 17, "NO CALL", True),
    seen_on(11, 18, "PULL", None),
    seen_on(11, 24, "PULL", True),
)


def error(quantity: str, day: int, bias: float, sd: float, days: int, source: str = WORST_OF_ALL) -> BinError:
    return BinError(source, quantity, 24.0 * (day - 1), 24.0 * day, 24 * days, days, bias, bias, sd, sd, INNER)


RECORD = TrustRecord(
    made_at=FIRST_OF_DECEMBER - timedelta(hours=14),
    first_day=date(2026, 10, 20),
    last_day=date(2026, 11, 30),
    mornings=42,
    stations=(StationSeen(INNER, "NCKF1", "GMZ730, 29.9000, -84.5000", ("wind_kt", "gust_kt"), 1008),),
    edges_h=TERMS.edges_h,
    errors=(
        *(error("wind_kt", day, 1.1, 1.6 + 0.2 * day, 43 - day) for day in range(1, 8)),
        *(error("gust_kt", day, 1.5, 2.4 + 0.3 * day, 43 - day) for day in range(1, 8)),
        error("wind_kt", 1, 1.6, 2.0, 42, "grid"),
    ),
    days=DAYS,
    chances=brier(
        [0.05] * 14 + [0.35] * 9 + [0.55] * 11 + [0.75] * 18 + [0.95] * 30,
        [False] * 13
        + [True]
        + [False] * 5
        + [True] * 4
        + [False] * 4
        + [True] * 7
        + [True] * 15
        + [False] * 3
        + [True] * 29
        + [False],
        days=[MONTH + timedelta(days=n % 28) for n in range(82)],
    ),
    ahead_days=4,
)

UNSEEN = replace(
    RECORD,
    mornings=0,
    stations=(),
    errors=(),
    days=tuple(replace(seen, fit=None, asked=(), past=()) for seen in DAYS),
    chances=None,
)

TRUST_LETTERS = {"trust-of-a-month": RECORD, "trust-unseen": UNSEEN}


def letter_about(record: TrustRecord, *areas: str) -> Letter:
    """``areas``: of the boat, besides those on record."""
    models = TERMS.models(record.errors, (INNER, *record.areas, *areas))
    return trust_letter(record, models, TRUST_FACTS, month=MONTH, now=FIRST_OF_DECEMBER)


@cache
def trust_scene(name: str) -> Letter:
    return letter_about(TRUST_LETTERS[name])
