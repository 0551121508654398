"""Season's end: bringing every trap home by the legal date."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class TakeUpTrip:
    """One load of traps brought home.

    Attributes:
        strings: name and places (from the start mark, rising) of what is hauled, in the order in which it is.
        traps: how many are stacked on deck, over all strings.
        minutes: from leaving the harbor until home, with hauling and stacking.
    """

    strings: tuple[tuple[str, tuple[int, ...]], ...]
    traps: int
    minutes: float


@dataclass(frozen=True)
class TakeUpPlan:
    """Trips in the order in which they should go, the fullest first. None where no trap is out."""

    trips: tuple[TakeUpTrip, ...]

    @property
    def traps(self) -> int:
        return sum(trip.traps for trip in self.trips)
