"""Distances over the sea."""

from __future__ import annotations

from functools import lru_cache

from geographiclib.geodesic import Geodesic

from soakbell.gear.strings import Mark
from soakbell.units import nmi_from_m


@lru_cache(maxsize=1 << 15)
def distance_nmi(a: Mark, b: Mark) -> float:
    """Length of the geodesic on WGS84 (Karney 2013, as in GeographicLib)."""
    inverse = Geodesic.WGS84.Inverse(a.lat_deg, a.lon_deg, b.lat_deg, b.lon_deg, Geodesic.DISTANCE)
    return nmi_from_m(float(inverse["s12"]))
