"""Catch per trap by string, soak, bait and month, as the log tells it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class CatchCell:
    """Sums over pulls of one string, whole days of soak, bait and month.

    Traps are counted apart for what told claws and what told pounds, so that a count that wasn't told is no 0.
    """

    string: str
    soak_days: int
    bait: str
    year: int
    month: int
    pulls: int = 0
    traps: int = 0
    traps_with_claws: int = 0
    legal_claws: int = 0
    traps_with_lb: int = 0
    lb: float = 0.0
    short_claws: int = 0
    float_claws: int = 0
    egg_bearing_released: int = 0
    lb_by_grade: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True)
class CatchRecord:
    """``cells`` in order of string, year, month, soak and bait."""

    cells: tuple[CatchCell, ...] = ()
