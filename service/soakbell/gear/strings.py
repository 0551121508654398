"""Strings of traps and the marks they lie between."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from soakbell.clock import as_utc


@dataclass(frozen=True)
class Mark:
    """A place at sea, WGS84: ``lat_deg`` north positive, ``lon_deg`` east positive."""

    lat_deg: float
    lon_deg: float


@dataclass(frozen=True)
class TrapString:
    """Traps set in one line between a start mark and an end mark.

    ``area`` names the forecast area it lies in. ``soak_floor_h`` is the soak before which pulling isn't worth
    it, ``soak_ceiling_h`` the soak past which the skipper wants to be reminded.
    """

    name: str
    start: Mark
    end: Mark
    traps: int
    area: str
    depth_m: float
    soak_floor_h: float
    soak_ceiling_h: float


@dataclass(frozen=True)
class CountSince:
    """Told from ``since`` on, the whole of a string is its first so many traps."""

    since: datetime
    traps: int

    def __post_init__(self) -> None:
        as_utc(self.since)
