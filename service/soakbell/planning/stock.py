"""When to order and how much, where demand and lead time vary. Pure formulas of inventory; any unit, one a call.

Sources: R. S. Russell and B. W. Taylor, Operations Management, ch. 16 (reorder point with variable demand); with a
lead time that varies too, the variance of demand over it is L sd^2 + d^2 sL^2 (demands of the days independent of
each other and of the lead time).
"""

from __future__ import annotations

import math
from statistics import NormalDist

_STANDARD = NormalDist()
_ROUNDING = 1e-9


def standard_quantile(service_level: float) -> float:
    """How many standard deviations above the mean a stock must be to suffice with this chance; below 0.5 negative.

    Raises:
        ValueError: ``service_level`` isn't between 0 and 1.
    """
    if not 0 < service_level < 1:
        raise ValueError(f"a service level of {service_level:g}; write one above 0 and below 1")
    return _STANDARD.inv_cdf(service_level)


def safety_stock(z: float, lead: float, demand_sd: float, demand: float = 0.0, lead_sd: float = 0.0) -> float:
    """What is held beyond the expected demand over the lead time: ``z`` standard deviations of that demand.

    ``demand`` and ``demand_sd`` are of one unit of time.
    """
    return z * math.sqrt(lead * demand_sd**2 + demand**2 * lead_sd**2)


def reorder_point(demand: float, lead: float, safety: float) -> float:
    """The stock, on hand and on order, at which to order."""
    return demand * lead + safety


def order_quantity(wanted: float, step: float, most: float = math.inf) -> float:
    """``wanted`` rounded up to whole steps, but not above ``most`` rounded down to whole steps. Never negative."""
    if wanted <= 0 or most <= 0:
        return 0.0
    steps = math.ceil(wanted / step - _ROUNDING)
    if math.isfinite(most):
        steps = min(steps, math.floor(most / step + _ROUNDING))
    return round(steps * step, 6)
