"""The one place where units convert.

Inside the house: wind in knots, heights in metres, distance in nautical miles, visibility in nautical
miles, depth in metres, weight in pounds, time in hours or minutes as the name says.
"""

from __future__ import annotations

import math

METRES_PER_FOOT = 0.3048  # international foot, exact (1959 agreement)
METRES_PER_NMI = 1852.0  # international nautical mile, exact (1929)
KMH_PER_KT = 1.852  # follows from the nautical mile
MS_PER_KT = 1852.0 / 3600.0


def m_from_ft(height_ft: float) -> float:
    return height_ft * METRES_PER_FOOT


def ft_from_m(height_m: float) -> float:
    return height_m / METRES_PER_FOOT


def kt_from_kmh(speed_kmh: float) -> float:
    return speed_kmh / KMH_PER_KT


def kt_from_ms(speed_ms: float) -> float:
    return speed_ms / MS_PER_KT


def kt_from_mph(speed_mph: float) -> float:
    """Statute miles an hour (1609.344 m, exact)."""
    return speed_mph * 1609.344 / METRES_PER_NMI


def nmi_from_m(distance_m: float) -> float:
    return distance_m / METRES_PER_NMI


def is_number(value: object) -> bool:
    """True for a finite int or float. Booleans, NaN, infinities and text are not numbers."""
    return isinstance(value, (int, float)) and not isinstance(value, bool) and math.isfinite(value)
