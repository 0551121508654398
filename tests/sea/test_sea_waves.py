"""Wavelength and steepness against the manual and the two limits of the theory."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from soakbell.sea.waves import GRAVITY_MS2, steepness, wavelength_m

PERIODS = st.floats(0.2, 60)
DEPTHS = st.floats(0.01, 10_000)


def test_the_manual_s_worked_example_comes_out() -> None:
    """V1: Coastal Engineering Manual EM 1110-2-1100, Example II-1-1: T 10 s, d 3 m, L 53.2 m, C 5.32 m/s."""
    length = float(wavelength_m(10, 3))
    assert length == pytest.approx(53.2, abs=0.2)
    assert length / 10 == pytest.approx(5.32, abs=0.02)
    assert 3 / length == pytest.approx(0.05641, abs=0.0002)


def test_the_manual_s_approximation_lies_about_one_and_a_half_percent_over_ours() -> None:
    """V2: equation II-1-11, L0 sqrt(tanh(4 pi^2 d / (T^2 g))), 54.1 m for V1."""
    rough = GRAVITY_MS2 * 10**2 / (2 * math.pi) * math.sqrt(math.tanh(4 * math.pi**2 * 3 / (10**2 * GRAVITY_MS2)))
    assert rough == pytest.approx(54.1, abs=0.2)
    assert rough / float(wavelength_m(10, 3)) == pytest.approx(1.015, abs=0.005)


@given(PERIODS, DEPTHS)
def test_every_length_solves_the_dispersion_relation(period: float, depth: float) -> None:
    k = 2 * math.pi / float(wavelength_m(period, depth))
    assert GRAVITY_MS2 * k * math.tanh(k * depth) == pytest.approx((2 * math.pi / period) ** 2, rel=1e-9)


def test_of_many_at_once_each_length_is_its_own() -> None:
    periods, depths = np.meshgrid([0.2, 2.0, 6.0, 10.0, 25.0, 60.0], [0.01, 1.0, 4.0, 30.0, 10_000.0])
    each = np.vectorize(lambda period, depth: float(wavelength_m(period, depth)))(periods, depths)
    assert wavelength_m(periods, depths) == pytest.approx(each, rel=1e-9)


def test_deep_water_gives_the_period_squared() -> None:
    """Deep water: L = g T^2 / 2 pi, 156 m at 10 s (V1)."""
    assert float(wavelength_m(10, 5000)) == pytest.approx(GRAVITY_MS2 * 100 / (2 * math.pi), rel=1e-12)
    assert float(wavelength_m(10, 5000)) == pytest.approx(156, abs=0.2)


def test_shallow_water_gives_the_root_of_the_depth() -> None:
    """Shallow water: L = T sqrt(g d)."""
    assert float(wavelength_m(60, 0.1)) == pytest.approx(60 * math.sqrt(GRAVITY_MS2 * 0.1), rel=1e-4)


@given(PERIODS, DEPTHS)
def test_less_water_never_makes_waves_less_steep(period: float, depth: float) -> None:
    assert float(steepness(1.0, period, depth)) >= float(steepness(1.0, period, 2 * depth)) * (1 - 1e-12)


@pytest.mark.parametrize("bad", [0.0, -1.0, math.nan, math.inf, -math.inf])
def test_an_unknown_or_impossible_period_or_depth_gives_no_length(bad: float) -> None:
    assert np.isnan(wavelength_m(bad, 3))
    assert np.isnan(wavelength_m(10, bad))
    assert np.isnan(steepness(1.0, bad, 3))
    assert np.isnan(steepness(1.0, 10, bad))


@pytest.mark.parametrize("bad", [-0.1, math.nan, math.inf])
def test_an_unknown_or_impossible_height_gives_no_steepness(bad: float) -> None:
    assert np.isnan(steepness(bad, 6, 3))


def test_holes_stay_holes_among_good_hours() -> None:
    found = steepness(np.array([1.0, np.nan, 1.0, 0.0]), np.array([5.0, 5.0, np.nan, 5.0]), 4.0)
    assert np.isnan(found).tolist() == [False, True, True, False]
    assert found[0] == pytest.approx(1.0 / float(wavelength_m(5, 4)))
    assert found[3] == 0.0
