"""Forecast areas: the waters one zone text and one grid cell speak for."""

from __future__ import annotations

import re
from dataclasses import dataclass

ZONE_ID = re.compile(r"[A-Z]{2}[CZ][0-9]{3}")
"""UGC id of a zone or county (NWS Instruction 10-1702)."""


@dataclass(frozen=True)
class ForecastArea:
    """Where the official numbers of a string or of the harbor come from.

    Attributes:
        zone: UGC id of the coastal waters zone (``GMZ730``).
        office: the forecast office that writes its text (``TAE``).
        lat_deg, lon_deg: the point whose grid cell is used.
        grid: that cell (``TAE/58,65``), or None: resolved from the point.
        grid_gives: quantities the cell gives. Each of them is required for a call; what else it gives may only
            tighten one.
        sub_area: the named part of the zone this area lies in, or None: the worst of all parts counts.
        protected_waters: the forecast's words for protected waters apply here.
        station: id of a buoy or shore station whose fresh reading is required, or None.
        station_gives: quantities it measures; each of them is required.
    """

    name: str
    zone: str
    office: str
    lat_deg: float
    lon_deg: float
    grid: str | None
    grid_gives: tuple[str, ...]
    sub_area: str | None
    protected_waters: bool
    station: str | None
    station_gives: tuple[str, ...]
