"""What a buoy or shore station measured."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime

import pandas as pd


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
        lat, lon: where given, else None.
    """

    station: str
    rows: pd.DataFrame = field(repr=False)
    newest: Mapping[str, Observed]
    lat: float | None = None
    lon: float | None = None
