"""Bells of the season: days that the law or the weather's odds set, and that come whatever the log tells."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from datetime import date, datetime, timedelta

from soakbell.fishery.season import Opening, TakeUp
from soakbell.gear.conditions import AT_HAND
from soakbell.gear.fold import GearState, Whereabouts
from soakbell.gear.strings import TrapString
from soakbell.planning.bells import Bell, BellCode
from soakbell.planning.season_end import SeasonEnd

DayBegins = Callable[[date], datetime]
"""Gives the first moment of a local day."""

SEASON_DAYS = (30, 14, 7, 3, 1, 0)
HARVEST_DAYS = (7, 3, 1, 0)
SETTING_DAYS = (14, 7, 1, 0)
"""Days before the take-up deadline, the last harvest day and the first day to set on at which it is told again
(common practice, no source)."""


def season_bells(gear: GearState, take_up: TakeUp | None, today: date, day_begins: DayBegins) -> tuple[Bell, ...]:
    """The take-up deadline, while traps fish or are missing, which may be in the water too.

    Past it anew each day, until no trap is fishing, aboard or missing: all are ashore or written off.
    """
    fishing, aboard, missing = (
        _count(gear, where) for where in (Whereabouts.FISHING, Whereabouts.ABOARD, Whereabouts.MISSING)
    )
    if take_up is None:
        return ()
    deadline, days_left = take_up.deadline, (take_up.deadline - today).days
    remain = fishing + missing + (aboard if days_left < 0 else 0)
    level = _level(days_left, SEASON_DAYS)
    if not remain or not level:
        return ()
    cause, since = deadline.isoformat(), deadline - timedelta(days=SEASON_DAYS[level - 1])
    if days_left < 0:
        cause, since, level = f"{deadline.isoformat()} past {today.isoformat()}", today, level + 1
    values = {
        "deadline": deadline,
        "days_left": days_left,
        "fishing": fishing,
        "aboard": aboard,
        "missing": missing,
        "rule": take_up.reason.rule,
        "source": take_up.reason.source,
    }
    return (Bell(BellCode.SEASON, deadline.isoformat(), cause, level, day_begins(since), values),)


def start_bells(
    gear: GearState,
    starts: Sequence[tuple[float, date | None]],
    deadline: date | None,
    today: date,
    day_begins: DayBegins,
) -> tuple[Bell, ...]:
    """The last days to start the take-up on for a chance of being done, once they come, while traps fish.

    One bell for all: each lower chance whose day comes is its next level, so a day that the weather moves back and
    forth rings once.

    Args:
        starts: chances (0 to 1), each with its day for ``deadline``; None: no day has that chance any more.
    """
    fishing = _count(gear, Whereabouts.FISHING)
    if deadline is None or not fishing or today > deadline:
        return ()
    falling = sorted(starts, key=lambda start: start[0], reverse=True)
    come = [start for start in falling if start[1] is None or start[1] <= today]
    if not come:
        return ()
    chance, day = come[-1]
    values = {
        "deadline": deadline,
        "days_left": (deadline - today).days,
        "fishing": fishing,
        "chance": chance,
        "start_by": day,
        "later": tuple((lower, later) for lower, later in falling if lower < chance),
    }
    since = day_begins(today if day is None else day)
    subject = deadline.isoformat()
    return (Bell(BellCode.START, subject, subject, falling.index(come[-1]) + 1, since, values),)


def harvest_bells(
    gear: GearState,
    strings: Iterable[TrapString],
    end: SeasonEnd | None,
    today: date,
    day_begins: DayBegins,
) -> tuple[Bell, ...]:
    """The last day on which traps may be pulled for their catch, while any fishes, or is aboard to go back."""
    at_work = (Whereabouts.FISHING, Whereabouts.ABOARD)
    traps = sum(_count(gear, where) for where in at_work)
    if end is None or end.last_harvest is None or not traps:
        return ()
    days_left = (end.last_harvest - today).days
    level = _level(days_left, HARVEST_DAYS)
    if not level:
        return ()
    rebait = tuple(
        (string.name, end.last_rebait(string.soak_floor_h))
        for string in strings
        if any(gear.strings[string.name].places(where) for where in at_work)
    )
    values = {"last_harvest": end.last_harvest, "days_left": days_left, "traps": traps, "rebait": rebait}
    subject, since = end.last_harvest.isoformat(), end.last_harvest - timedelta(days=HARVEST_DAYS[level - 1])
    return (Bell(BellCode.HARVEST, subject, subject, level, day_begins(since), values),)


def setting_bells(
    gear: GearState, opening: Opening | None, today: date, day_begins: DayBegins, *, may_set: bool
) -> tuple[Bell, ...]:
    """The first day on which traps may be set, while some wait for it out of the water.

    Args:
        opening: the first one from ``today`` on.
        may_set: traps may be set today. Then a later opening is none to wait for yet.
    """
    waiting = sum(_count(gear, where) for where in AT_HAND)
    if opening is None or not waiting or (may_set and opening.set_from != today):
        return ()
    days_left = (opening.set_from - today).days
    level = _level(days_left, SETTING_DAYS)
    if not level:
        return ()
    values = {
        "set_from": opening.set_from,
        "days_left": days_left,
        "harvest_from": opening.harvest_from,
        "waiting": waiting,
        "rule": opening.reason.rule,
        "source": opening.reason.source,
    }
    subject, since = opening.set_from.isoformat(), opening.set_from - timedelta(days=SETTING_DAYS[level - 1])
    return (Bell(BellCode.SETTING, subject, subject, level, day_begins(since), values),)


def _level(days_left: int, at_days: Sequence[int]) -> int:
    return sum(days_left <= days for days in at_days)


def _count(gear: GearState, where: Whereabouts) -> int:
    """Those whose place another trap took count too: they can only be missing or retired."""
    return sum(trap.where is where for state in gear.strings.values() for trap in (*state.traps, *state.gone))
