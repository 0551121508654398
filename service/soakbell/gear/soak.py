"""How long the traps of a string have soaked."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from statistics import median

from soakbell.clock import as_utc
from soakbell.gear.fold import GearState, Whereabouts

_HOUR = timedelta(hours=1)
_HOURS_A_DAY = 24


class NoSoak(StrEnum):
    """Why a string has no soak."""

    NOTHING_FISHING = "no trap is fishing"
    CLOCK_BEHIND_LOG = "the clock is behind the log"


@dataclass(frozen=True)
class StringSoak:
    """Soak of the traps that fish: hours since each last went in with fresh bait.

    ``by_days`` counts traps by full days of soak, shortest first. Where there is no soak, the numbers are None,
    never 0, and ``none_because`` says why.
    """

    string: str
    fishing: int
    oldest_h: float | None
    median_h: float | None
    by_days: tuple[tuple[int, int], ...]
    none_because: NoSoak | None


def soak_of(state: GearState, string: str, now: datetime) -> StringSoak:
    """Soak of ``string`` at ``now``.

    Raises:
        ValueError: the boat has no such string, or ``now`` has no zone.
    """
    if string not in state.strings:
        raise ValueError(f"{string!r} is not a string of this boat; it has {', '.join(state.strings) or 'none'}")
    now = as_utc(now)
    fishing = [trap for trap in state.strings[string].traps if trap.where is Whereabouts.FISHING]
    if state.newest_at is not None and now < state.newest_at:
        return StringSoak(string, len(fishing), None, None, (), NoSoak.CLOCK_BEHIND_LOG)
    hours = sorted((now - trap.soak_start) / _HOUR for trap in fishing if trap.soak_start is not None)
    if not hours:
        return StringSoak(string, len(fishing), None, None, (), NoSoak.NOTHING_FISHING)
    by_days = Counter(int(soak_h // _HOURS_A_DAY) for soak_h in hours)
    return StringSoak(string, len(fishing), hours[-1], median(hours), tuple(sorted(by_days.items())), None)
