"""Length and steepness of waves over a given depth. Linear (Airy) theory."""

from __future__ import annotations

import math
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

GRAVITY_MS2 = 9.80665  # standard gravity (CGPM 1901)

Numbers: TypeAlias = npt.NDArray[np.float64]

_STEPS = 20


def wavelength_m(period_s: npt.ArrayLike, depth_m: npt.ArrayLike) -> Numbers:
    """Wavelength from the dispersion relation ``(2 pi / T)^2 = g k tanh(k d)``.

    Period in seconds and still-water depth in metres broadcast against each other. NaN where either is NaN, not
    finite or not above zero. Relative error under 1e-9.

    Source: Coastal Engineering Manual EM 1110-2-1100, eq. II-1-8 to II-1-10.
    """
    period, depth = np.broadcast_arrays(np.asarray(period_s, dtype=float), np.asarray(depth_m, dtype=float))
    known = np.isfinite(period) & np.isfinite(depth) & (period > 0) & (depth > 0)
    length = np.full(period.shape, np.nan)
    omega = 2 * math.pi / period[known]
    # x = k d solves x tanh x = a; Newton from a start within 10 % of the root (Eckart 1951).
    a = omega**2 * depth[known] / GRAVITY_MS2
    x = a / np.sqrt(np.tanh(a))
    for _ in range(_STEPS):
        t = np.tanh(x)
        step = (x * t - a) / (t + x * (1 - t**2))
        x = x - step
        if np.all(np.abs(step) <= 1e-12 * x):
            break
    length[known] = 2 * math.pi * depth[known] / x
    return length


def steepness(sea_m: npt.ArrayLike, period_s: npt.ArrayLike, depth_m: npt.ArrayLike) -> Numbers:
    """Height over wavelength, without a unit. NaN where height, period or depth is unknown or not above zero.

    A height of 0 has steepness 0 where period and depth are known; a negative height is NaN.
    """
    sea = np.asarray(sea_m, dtype=float)
    length = wavelength_m(period_s, depth_m)
    known = np.isfinite(sea) & (sea >= 0)
    return np.asarray(np.where(known, sea, np.nan) / length, dtype=float)
