"""What a pull is worth on which day: catch by its soak, weighed by the weather that may come.

A pull that the weather forbids is not lost: it is made on the next fit day, ``d`` days later. The traps then start
anew ``d`` days later too, and a day of soak is worth the most that a string earns a day in the long run (the
marginal-value rule, Charnov 1976). As much again is lost by each day that a string stands past its ceiling, be it
pulled in the end or not. The law's ceiling is no matter of money: each day begun past it costs more than a trip.

Near the season's end traps come home with their last pull: they take no bait then, and no soak follows. After the
last harvest day they are only fetched, and one that is still out past the last day allowed counts as lost worth,
so that taking up comes first.

What getting ready costs is the bait, fit or not, so by itself a pull is worth it where the chance of a fit day is
above cost over loss (the cost-loss model).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from soakbell.planning.catch_curve import CatchCurve
from soakbell.planning.fit_chance import Flags
from soakbell.sea.trust import Numbers

_LONGEST_WAIT_DAYS = 14
"""After the days planned for no fit day is waited for longer than this: a choice of ours."""
_LEAST_USUAL = 0.01
"""No month is taken for less likely fit than this: a choice of ours."""
_ROUNDING = 1e-9


@dataclass(frozen=True)
class StandingString:
    """A string as it stands. ``soak_days`` is the median soak of its traps when they could be hauled today, and
    ``oldest_days`` the longest. ``trip_usd`` is its share of a trip, ``pull_usd`` bait and wear of one pull. Each
    day begun past ``law_days``, the longest soak by law, counts ``overdue_usd``; those before today don't.
    """

    name: str
    traps: int
    soak_days: float
    oldest_days: float
    floor_days: float
    ceiling_days: float
    pull_usd: float
    bait_usd: float
    trip_usd: float
    law_days: float = math.inf
    overdue_usd: float = 0.0


@dataclass(frozen=True)
class LastDays:
    """The end of the days with traps in the water, by numbers of days from today, where it is near.

    Attributes:
        rebait: the last on which fresh bait is of use to the string; below 0 where it is past.
        home: the last on which its traps may be out; out past it they count ``late_usd``.
        room_today: whether today's pull may bring them home. If not they go back, and past ``rebait`` they are
            fetched later without a catch.
    """

    rebait: int
    home: int
    late_usd: float
    room_today: bool = True


@dataclass(frozen=True, eq=False)
class HaulWorth:
    """Arrays by the pull before and this one as in ``PlanProblem``, of one string.

    Attributes:
        gain_usd: (days + 1, days), expected over the weather.
        expected_lb: (days + 1, days), on a fit day.
        end_usd: (days + 1), worth of the soak that stands after the last day, when a fit day is waited for again;
            below 0 past the ceiling, so that it never pays to let a string stand for good.
        age_days: (days + 1, days), the soak that is pulled.
        day_usd: what a day of soak is worth.
        comes_home: (days + 1), whether the traps come home with the pull before, where no other follows.
    """

    gain_usd: Numbers
    expected_lb: Numbers
    end_usd: Numbers
    age_days: Numbers
    day_usd: float
    comes_home: Flags


def haul_worth(
    string: StandingString,
    curve: CatchCurve,
    fit: Flags,
    *,
    price_usd_lb: float,
    season_day: float,
    usual_chance: float,
    days_after: int,
    least_chance: float,
    most_lb: float = math.inf,
    may_pull: Sequence[int] = (),
    last: LastDays | None = None,
) -> HaulWorth:
    """The worth of every pull of a string over the days ahead.

    Args:
        fit: paths x days, whether the string can be hauled; days on which no trip is made are not fit.
        season_day: today's.
        usual_chance: that a day past those is fit.
        days_after: on which the string may still be pulled for its catch after them, before the season ends; below
            0 where it ends so many days before their last.
        least_chance: a day with less isn't planned for.
        most_lb: the most that one trip may land.
        may_pull: days on which the skipper wants it pulled, be it ripe or not.
        last: None: the end isn't near.
    """
    days = fit.shape[1]
    ahead = 2 * (days + _LONGEST_WAIT_DAYS) + 1
    lb_of = [
        string.traps * curve.expected_many(string.name, start + np.arange(ahead), season_day).lb
        for start in (0.0, string.soak_days)
    ]
    fade = np.exp(-float(np.median(curve.decline)) * np.arange(ahead))
    fresh_usd = price_usd_lb * np.minimum(lb_of[0], most_lb) - string.pull_usd
    each_day = np.arange(1, ahead)
    day_usd = max(0.0, float(((fresh_usd[1:] - string.trip_usd) / each_day).max()))

    rebait: float = math.inf if last is None else last.rebait
    harvest: float = math.inf if last is None else days - 1 + days_after
    out_after = days_after if last is None else last.home - days + 1
    late_usd = 0.0 if last is None else last.late_usd

    late = _delays(fit)
    share = np.stack([(late == d).mean(axis=0) for d in range(days)])  # delays x days
    chance, after = share[0], _first_fit_after(usual_chance, out_after)
    gain = np.full((days + 1, days), np.nan)
    lb, age = np.zeros((days + 1, days)), np.zeros((days + 1, days))
    end, comes_home = np.zeros(days + 1), np.zeros(days + 1, dtype=bool)

    def stood_usd(before: int, on: np.ndarray) -> np.ndarray:
        """What it costs to stand past the ceiling, and past that of the law, up to a day."""
        oldest, since = (string.oldest_days, 0) if before == 0 else (0.0, before - 1)
        overdue = np.ceil(oldest + on - since - max(string.law_days, oldest) - _ROUNDING).clip(0.0)
        past = np.maximum(0.0, oldest + on - since - string.ceiling_days)
        cost: np.ndarray = day_usd * past + string.overdue_usd * overdue
        return cost

    def hauled_usd(before: int, planned: int, later: np.ndarray) -> np.ndarray:
        """What a pull planned for a day comes to, made so many days later."""
        on, since = planned + later, max(0, before - 1)
        kept = (on <= harvest) & (before == 0 or since <= rebait)
        caught_lb = np.minimum(lb_of[before == 0][on - since] * fade[on], most_lb) * kept
        usd = price_usd_lb * caught_lb - string.pull_usd + string.bait_usd * (on > rebait) - stood_usd(before, on)
        waited: np.ndarray = usd - day_usd * later if planned <= rebait else usd
        return waited

    def ripe(before: int, soak_days: float) -> bool:
        """Rebaited in the course of a day, it has soaked for less at the hour at which a call asks the floor."""
        return soak_days > string.floor_days if before else soak_days >= string.floor_days

    for before in range(days + 1):
        start, oldest = (string.soak_days, string.oldest_days) if before == 0 else (0.0, 0.0)
        since = max(0, before - 1)
        may_come_home = before > 0 and last is not None and (since > 0 or last.room_today)
        if may_come_home and since > rebait:
            comes_home[before] = True
            continue
        never_usd = -float(stood_usd(before, np.array(days))) - late_usd
        for day in range(since + (before > 0), days):
            soak = day - since
            age[before, day] = start + soak
            kept = day <= harvest and (before == 0 or since <= rebait)
            lb[before, day] = min(lb_of[before == 0][soak] * fade[day], most_lb) * kept
            may = ripe(before, oldest + soak) or day > rebait or day in may_pull
            if chance[day] < least_chance or not may or (last is not None and day > last.home):
                continue
            usd = np.maximum(hauled_usd(before, day, np.arange(days - day + len(after))), never_usd)
            none = 1 - share[:, day].sum()
            weights = np.concatenate([share[: days - day, day], none * after])
            gain[before, day] = weights @ usd + (1 - weights.sum()) * never_usd
            if day <= rebait:
                gain[before, day] -= (1 - chance[day]) * string.bait_usd
        soak = days - since
        usd = hauled_usd(before, days, np.arange(2 * _LONGEST_WAIT_DAYS)) - string.trip_usd
        usd = np.maximum(usd, never_usd)
        short_days = string.floor_days - oldest - soak
        ripe_from = 0 if days > rebait else max(0, math.floor(short_days) + 1 if before else math.ceil(short_days))
        end[before] = never_usd
        for first in range(ripe_from, min(_LONGEST_WAIT_DAYS, out_after)):
            weights = _first_fit_after(usual_chance, out_after - first)
            worth = weights @ usd[first : first + len(weights)] + (1 - weights.sum()) * never_usd
            end[before] = max(end[before], float(worth))
        if may_come_home and end[before] < string.bait_usd:
            end[before], comes_home[before] = string.bait_usd, True  # the bait stays unspent
    return HaulWorth(gain, lb, end, age, day_usd, comes_home)


def _first_fit_after(chance: float, days: int) -> Numbers:
    """By day, the chance that the first fit one of ``days`` is it; those past the longest wait count as its end.

    Together they are the chance of any, so that no day fewer is ever worth more.
    """
    chance = max(chance, _LEAST_USUAL)
    days = max(0, days)
    first: Numbers = chance * np.power(1 - chance, np.arange(min(_LONGEST_WAIT_DAYS, days), dtype=np.float64))
    if len(first):
        first[-1] += (1 - chance) ** len(first) - (1 - chance) ** days
    return first


def _delays(fit: Flags) -> np.ndarray:
    """For each path and day the days until it is fit; past the last day a number that is none of them."""
    days = fit.shape[1]
    at = np.where(fit, np.arange(days), 2 * days)
    first: np.ndarray = np.minimum.accumulate(at[:, ::-1], axis=1)[:, ::-1]
    return first - np.arange(days)
