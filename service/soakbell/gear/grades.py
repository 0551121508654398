"""Claws by grade and by length: which grade a weight is, what a catch is worth, what is short of the law."""

from __future__ import annotations

from collections.abc import Collection

from soakbell.gear.log import Shares
from soakbell.gear.outfit import Grade


def grade_of(claw_oz: float, grades: Collection[Grade]) -> Grade | None:
    """The grade of a claw of that weight, ounces. None: it is lighter than the lightest grade."""
    reached = [grade for grade in grades if claw_oz >= grade.from_oz]
    return max(reached, key=lambda grade: grade.from_oz, default=None)


def value_usd(lb_by_grade: Shares, grades: Collection[Grade]) -> float | None:
    """What the pounds are worth at the prices of the settings, dollars.

    None where nothing was told by grade, or a grade has no price: a part would pass for the whole.
    """
    price_usd_lb = {grade.name: grade.price_usd_lb for grade in grades}
    worth = 0.0
    for name, lb in lb_by_grade:
        price = price_usd_lb.get(name)
        if price is None:
            return None
        worth += lb * price
    return worth if lb_by_grade else None


def short_of_law(smallest_claw_in: float, minimum_in: float) -> float | None:
    """By how many inches a claw is short of the fishery's minimum. None: it isn't."""
    return minimum_in - smallest_claw_in if smallest_claw_in < minimum_in else None
