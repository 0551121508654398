"""How many traps are likely to be baited anew on which of the days ahead, from soak and season alone."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import date, datetime, timedelta, tzinfo

from soakbell.gear.fold import GearState
from soakbell.gear.soak import soak_of
from soakbell.gear.strings import TrapString
from soakbell.planning.season_end import SeasonEnd

_NOON = 12


def expected_traps(
    gear: GearState,
    strings: Iterable[TrapString],
    now: datetime,
    zone: tzinfo,
    *,
    days: int,
    may_pull: Callable[[date], bool],
    end_of: Callable[[date], SeasonEnd | None],
) -> dict[date, float]:
    """Traps expected to take bait on each local day from today's, for ``days`` days; the days with none too.

    A string is taken to be pulled, all that fishes, on the first day that ``may_pull`` allows once its median soak
    is halfway between its floor and its ceiling, and then again after as long. What comes ripe past noon is for
    the next day. A pull past the last useful rebait takes no bait: its traps come home, and are set again on the
    first day that the law allows. Traps that don't fish are in none.

    Args:
        end_of: the end of the stretch of days with traps in the water that a day lies in; None: none is known.

    Raises:
        ValueError: ``now`` has no zone.
    """
    today = now.astimezone(zone).date()
    ahead = {today + timedelta(days=day): 0.0 for day in range(days)}
    for string in strings:
        if string.name not in gear.strings:
            continue
        soak = soak_of(gear, string.name, now)
        if soak.median_h is None:
            continue
        interval_h = (string.soak_floor_h + string.soak_ceiling_h) / 2
        ripe_at = now + timedelta(hours=max(0.0, interval_h - soak.median_h))
        while (pulled := _pull_day(ripe_at, zone, ahead, may_pull)) is not None:
            end = end_of(pulled)
            day = pulled if end is None or end.takes_bait(string.soak_floor_h, pulled) else end.next_set
            if day is None or day not in ahead:
                break
            ahead[day] += soak.fishing
            noon = datetime(day.year, day.month, day.day, _NOON, tzinfo=zone)
            ripe_at = noon + timedelta(hours=max(interval_h, 24.0))
    return ahead


def _pull_day(
    ripe_at: datetime, zone: tzinfo, ahead: Iterable[date], may_pull: Callable[[date], bool]
) -> date | None:
    local = ripe_at.astimezone(zone)
    noon = local.replace(hour=_NOON, minute=0, second=0, microsecond=0)
    first = local.date() if local <= noon else local.date() + timedelta(days=1)
    return next((day for day in ahead if day >= first and may_pull(day)), None)
