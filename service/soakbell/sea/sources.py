"""What a source is, what it sent, and what it said, before anything is decided."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum

import pandas as pd

QUANTITIES = ("wind_kt", "gust_kt", "wind_from_deg", "sea_m", "period_s", "thunder_pct", "visibility_nm")
"""Columns of every hourly table. Wind: 10 m, sustained; gust: its highest; direction: where it comes FROM,
degrees true; sea: significant height of wind sea and swell together; period: of the dominant waves."""


class SourceKind(StrEnum):
    ZONE_TEXT = "zone text"
    GRID = "grid"
    WARNINGS = "warnings"
    OBSERVATIONS = "observations"
    POINT = "point"


@dataclass(frozen=True)
class RawReply:
    """One reply as it came, before anything was understood.

    ``key`` is what was asked for: a zone id (``GMZ730``), a forecast office (``TAE``) for zone text, a grid
    cell (``TAE/58,65``), a station id. ``fetched_at`` is aware UTC.
    """

    kind: SourceKind
    key: str
    url: str
    status: int
    content_type: str
    body: bytes = field(repr=False)
    fetched_at: datetime

    @property
    def sha256(self) -> str:
        return hashlib.sha256(self.body).hexdigest()


class FaultCode(StrEnum):
    """Why a source has nothing to say."""

    MISSING = "missing"  # never fetched, or nothing kept
    UNREACHABLE = "unreachable"  # network fault or HTTP status
    NOT_UNDERSTOOD = "not understood"
    STALE = "stale"
    WRONG_PLACE = "wrong place"
    FROM_THE_FUTURE = "from the future"
    NO_OPINION = "no opinion"  # well formed, but without the number asked for


@dataclass(frozen=True)
class SourceFault:
    """A source that can't carry a call, and why. ``detail`` is for people and may quote the source."""

    kind: SourceKind
    key: str
    code: FaultCode
    detail: str
    issued_at: datetime | None = None


@dataclass(frozen=True)
class SourceHours:
    """What one source says of one place, hour by hour.

    Attributes:
        numbers: hourly UTC DatetimeIndex, the columns of QUANTITIES, float. NaN: the source gives no number.
        whole: same shape, bool. True where the number stands for the whole quantity and may carry a call.
            False where there is none, or where it is only a lower bound (wind waves given without the swell).
        unclear: same index, str. Not empty where the source said something that wasn't understood; such an
            hour is never fit, whatever the numbers beside it.
        issued_at: the time inside the payload, never that of the fetch.
        expires_at: end of validity as the payload states it, or None.
        notes: by quantity, why the source gives none of it though it should.
    """

    kind: SourceKind
    key: str
    issued_at: datetime
    expires_at: datetime | None
    numbers: pd.DataFrame = field(repr=False)
    whole: pd.DataFrame = field(repr=False)
    unclear: pd.Series[str] = field(repr=False)
    notes: Mapping[str, str] = field(default_factory=dict)
