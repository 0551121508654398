"""The formulas of inventory against published examples.

Where a page prints another answer than its own figures give, the answer here is what the figures give.
"""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from soakbell.planning.stock import (
    order_quantity,
    reorder_point,
    safety_stock,
    standard_quantile,
)


def critical_ratio(under_cost: float, over_cost: float) -> float:
    """The newsvendor's chance of sufficing: costs of one too few and one too many."""
    return under_cost / (under_cost + over_cost)


def newsvendor_quantity(mean: float, sd: float, under_cost: float, over_cost: float) -> float:
    """Q = F^-1(Cu / (Cu + Co)) for one demand, spread normally: a stock at the quantile of its own problem."""
    return mean + safety_stock(standard_quantile(critical_ratio(under_cost, over_cost)), lead=1, demand_sd=sd)


@given(st.floats(0.001, 0.999))
def test_a_stock_at_the_quantile_suffices_with_that_chance(level: float) -> None:
    """The chance by the error function, which the quantile isn't made from."""
    assert (1 + math.erf(standard_quantile(level) / math.sqrt(2))) / 2 == pytest.approx(level, abs=1e-9)


@pytest.mark.parametrize("level", [0.0, 1.0, -0.5, math.nan])
def test_a_chance_that_is_none_is_refused(level: float) -> None:
    with pytest.raises(ValueError, match="service level"):
        standard_quantile(level)


def test_the_carpet_store_with_the_rounded_z_of_the_book() -> None:
    """Russell and Taylor, Operations Management, ch. 16: 30 a day, sd 5, lead 10 days, 95 %, z 1.65."""
    safety = safety_stock(1.65, lead=10, demand_sd=5)
    assert safety == pytest.approx(26.1, abs=0.05)
    assert reorder_point(30, 10, safety) == pytest.approx(326.1, abs=0.05)


def test_the_carpet_store_with_the_exact_z() -> None:
    """As above; the exact quantile is 1.645."""
    assert safety_stock(standard_quantile(0.95), lead=10, demand_sd=5) == pytest.approx(26.01, abs=0.01)


def test_monitors_at_ninety_per_cent() -> None:
    """Exercise 1 of a course's collection (scribd 140112485): 2.5 a day, sd 1.2, lead 25 days."""
    safety = safety_stock(standard_quantile(0.90), lead=25, demand_sd=1.2)
    assert safety == pytest.approx(7.69, abs=0.02)
    assert reorder_point(2.5, 25, safety) == pytest.approx(70.2, abs=0.02)


def test_a_lead_time_that_varies() -> None:
    """Exercise 3 of the same collection: 100 a week, lead 8 weeks, sd 2 weeks, 95 %."""
    safety = safety_stock(standard_quantile(0.95), lead=8, demand_sd=0, demand=100, lead_sd=2)
    assert safety == pytest.approx(329, abs=1)
    assert reorder_point(100, 8, safety) == pytest.approx(1129, abs=1)


@pytest.mark.parametrize(("level", "held"), [(0.80, 105.2), (0.90, 160.2), (0.95, 205.6), (0.99, 290.8)])
def test_more_certainty_costs_more_stock(level: float, held: float) -> None:
    """A batch maker (brainmass 316523): 400 a week, sd 125, lead one week."""
    assert safety_stock(standard_quantile(level), lead=1, demand_sd=125) == pytest.approx(held, abs=0.1)


def test_where_both_vary_the_variances_add() -> None:
    """SS = z sqrt(L sd^2 + d^2 sL^2) (brainmass 316523): by hand, 4 * 3^2 + 2^2 * 4^2 = 100."""
    assert safety_stock(2.0, lead=4, demand_sd=3, demand=2, lead_sd=4) == pytest.approx(20.0)


@given(st.floats(0.1, 3), st.floats(0, 30), st.floats(0, 50), st.floats(0, 50), st.floats(0, 10))
def test_where_only_one_varies_the_other_rule_is_left(
    z: float, lead: float, demand_sd: float, demand: float, lead_sd: float
) -> None:
    both = safety_stock(z, lead, demand_sd, demand, lead_sd)
    only_demand, only_lead = z * math.sqrt(lead) * demand_sd, z * demand * lead_sd
    assert safety_stock(z, lead, demand_sd, demand, 0) == pytest.approx(only_demand)
    assert safety_stock(z, lead, 0, demand, lead_sd) == pytest.approx(only_lead)
    assert both == pytest.approx(math.hypot(only_demand, only_lead))


def test_the_newsvendor() -> None:
    """tutorsglobe 52554787: demand 1000, sd 200, one too few costs 40, one too many 10."""
    assert critical_ratio(40, 10) == pytest.approx(0.8)
    ordered = newsvendor_quantity(1000, 200, 40, 10)
    assert ordered == pytest.approx(1168.3, abs=0.1)
    assert order_quantity(ordered, 1) == 1169


def test_the_newsvendor_orders_below_the_mean_where_too_many_cost_more() -> None:
    """qammunity.org/6843903: demand 80, sd 30, too few 60, too many 110. The page prints 92.6."""
    ratio = critical_ratio(60, 110)
    assert ratio == pytest.approx(0.353, abs=0.001)
    assert standard_quantile(ratio) < 0
    ordered = newsvendor_quantity(80, 30, 60, 110)
    assert ordered == pytest.approx(68.7, abs=0.1)
    assert abs(ordered - 92.6) > 20


def test_ninety_five_per_cent_is_not_ninety() -> None:
    """Demand over the lead time 70, sd 8, 95 %: 83.2. The page that sets it works with z 1.28, which is 90 %."""
    point = reorder_point(70, 1, safety_stock(standard_quantile(0.95), lead=1, demand_sd=8))
    assert point == pytest.approx(83.2, abs=0.1)
    with_its_z = reorder_point(70, 1, safety_stock(1.28, lead=1, demand_sd=8))
    assert with_its_z == pytest.approx(80.24, abs=0.01)
    assert point - with_its_z > 2


@pytest.mark.parametrize(
    ("wanted", "step", "most", "ordered"),
    [(2.1, 1, math.inf, 3), (0.3, 0.1, math.inf, 0.3), (2.1, 1, 2.9, 2), (-1, 1, math.inf, 0), (2, 1, -3, 0)],
)
def test_an_order_is_of_whole_steps(wanted: float, step: float, most: float, ordered: float) -> None:
    assert order_quantity(wanted, step, most) == pytest.approx(ordered)
