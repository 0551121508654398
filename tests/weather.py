"""Invented weather for tests: hourly tables as a source would give them."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pandas as pd

from soakbell.sea.conditions import Conditions, Requirement, worst_of
from soakbell.sea.limits import Limits
from soakbell.sea.sources import QUANTITIES, SourceHours, SourceKind

MORNING = datetime(2026, 12, 8, 9, 30, tzinfo=UTC)  # 04:30 in Notch Creek, invented
HOURS = pd.date_range("2026-12-08T05:00Z", periods=48, freq="h")
"""Two local days from midnight, Eastern Standard Time."""

LIMITS = Limits(wind_kt=15, gust_kt=20, sea_m=0.9)
NEEDED = frozenset(
    {
        Requirement(SourceKind.ZONE_TEXT, "wind_kt"),
        Requirement(SourceKind.ZONE_TEXT, "sea_m"),
        Requirement(SourceKind.GRID, "wind_kt"),
        Requirement(SourceKind.GRID, "gust_kt"),
        Requirement(SourceKind.GRID, "sea_m"),
    }
)


def said(kind: SourceKind, hours: pd.DatetimeIndex = HOURS, **numbers: object) -> SourceHours:
    """A source that says ``numbers`` (one for all hours, or one an hour); the rest is holes."""
    table = pd.DataFrame({q: numbers.get(q, float("nan")) for q in QUANTITIES}, index=hours, dtype=float)
    return SourceHours(
        kind=kind,
        key="invented",
        issued_at=MORNING - timedelta(hours=1),
        expires_at=None,
        numbers=table,
        whole=table.notna(),
        unclear=pd.Series("", index=hours, dtype=object),
    )


def zone_text(**numbers: object) -> SourceHours:
    return said(SourceKind.ZONE_TEXT, **({"wind_kt": 10, "sea_m": 0.6} | numbers))


def grid(**numbers: object) -> SourceHours:
    return said(SourceKind.GRID, **({"wind_kt": 9, "gust_kt": 12, "sea_m": 0.5} | numbers))


def conditions(*sources: SourceHours, **options: object) -> Conditions:
    settings = {"required": NEEDED, "large_gap": {"wind_kt": 10, "sea_m": 1.0}, "bars": (), "bars_known": True}
    return worst_of("Apalachee Bay", HOURS, sources, **(settings | options))  # type: ignore[arg-type]
