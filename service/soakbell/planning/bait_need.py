"""Bait that is needed: how much a trap takes, what is on hand, and how long it lasts. Amounts in boxes."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from soakbell.gear.bait_lots import BaitLot


@dataclass(frozen=True)
class TrapUse:
    """Bait a trap takes: the mean, its standard deviation from trap to trap, and the traps the mean rests on.

    ``traps`` counts those of the log and what the prior is worth.
    """

    boxes: float
    sd: float
    traps: float


@dataclass(frozen=True)
class OnHand:
    """One bait as it lies, after what was used without boxes told.

    ``spoilt`` is out of the freezer for too long and in none of the others. ``reckoned`` is what was taken off for
    traps baited without boxes told. ``lots`` are those that can be used, in the order in which they are.
    """

    bait: str
    aboard: float
    thaw: float
    freezer: float
    spoilt: float
    reckoned: float
    lots: tuple[BaitLot, ...]

    @property
    def boxes(self) -> float:
        """All that can be used."""
        return self.aboard + self.thaw + self.freezer


@dataclass(frozen=True)
class BaitDay:
    """One local day ahead. ``traps`` of this bait are expected to be pulled, ``left`` is there at its end."""

    day: date
    traps: float
    need: float
    arriving: float
    left: float


@dataclass(frozen=True)
class BaitNeed:
    """One bait, day by day. ``runs_out_on`` is the first day whose need can't be met, None within the days.

    ``share`` of all traps are baited with it.
    """

    bait: str
    share: float
    use: TrapUse
    on_hand: OnHand
    days: tuple[BaitDay, ...]
    runs_out_on: date | None
