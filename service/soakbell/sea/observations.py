"""What a buoy or shore station measured."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime

import pandas as pd
from geographiclib.geodesic import Geodesic

from soakbell.units import nmi_from_m

MOVED_NMI = 1.0
"""A station further than this from where the skipper confirmed it may be another one under the same id."""


@dataclass(frozen=True)
class Observed:
    """The newest known value of one quantity and when it was measured (aware UTC)."""

    value: float
    at: datetime


@dataclass(frozen=True)
class StationReport:
    """A station's recent measurements.

    Attributes:
        station: its id.
        rows: UTC DatetimeIndex, oldest first, float columns among ``wind_kt, gust_kt, wind_from_deg, sea_m,
            period_s, visibility_nm``; NaN is a hole.
        newest: for each quantity its own newest value; a quantity with none is absent.
        lat_deg, lon_deg: where given, else None.
    """

    station: str
    rows: pd.DataFrame = field(repr=False)
    newest: Mapping[str, Observed]
    lat_deg: float | None = None
    lon_deg: float | None = None


def has_moved(report: StationReport, lat_deg: float, lon_deg: float) -> bool:
    """Whether a station lies elsewhere than at the confirmed place. A report without one can't tell."""
    if report.lat_deg is None or report.lon_deg is None:
        return False
    moved = Geodesic.WGS84.Inverse(report.lat_deg, report.lon_deg, lat_deg, lon_deg)
    return nmi_from_m(moved["s12"]) > MOVED_NMI
