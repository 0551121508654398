"""The pull plan: which strings on which of the days ahead, in which order, what that is worth, and why."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from enum import StrEnum

import numpy as np

from soakbell.planning.pull_problem import ROUNDING, PlanProblem, Reckoned, Wish, pounds, used_boxes
from soakbell.planning.pull_search import Found, Search
from soakbell.planning.visit_order import Visit, visit_order

ALL_ASKED_UP_TO = 6
"""Strings for each of which the next best plan is looked for; with more, only for those of the first trip."""


class WhyCode(StrEnum):
    """Why a string has its day or has none, and what stands against a pin."""

    BEST_DAY = "best day"
    PINNED = "pinned"
    UNKNOWN = "unknown"
    BARRED = "barred"
    NOT_ALLOWED = "not allowed"
    NO_CHANCE = "no chance"
    NOT_RIPE = "not ripe"
    NOT_WORTH = "not worth it"
    HOURS = "hours"
    TRAPS = "traps"
    BAG = "bag"
    BAIT = "bait"
    TRIP_COST = "trip cost"
    OTHER_PULLS = "other pulls"


@dataclass(frozen=True)
class Why:
    """``day`` is the day that the string would have by itself, or the pin's; the code says what came of it.

    Codes and their values:
        best day     nothing stood in the way
        pinned       the skipper's choice
        unknown      no such string, or day, in the plan
        barred       the skipper's choice
        not allowed  the crew is off or the fishery closed
        no chance    there is no chance of a fit window
        not ripe     no pull there can be
        not worth it the soak is worth more left standing
        hours        needs_min, has_min, strings: the trip with these others would take too long
        traps        needs, most, strings
        bag          needs_lb, most_lb, strings
        bait         bait, needs_boxes, has_boxes: on hand and thawed by the day that lacks it
        trip cost    no trip pays that day
        other pulls  it would be in the way of pulls worth more, or of pins
    """

    code: WhyCode
    day: date | None
    values: Mapping[str, object] = field(default_factory=dict)


@dataclass(frozen=True)
class PlannedPull:
    """``before``: the pull before, if it lies in the plan. Money and catch as expected by the caller."""

    string: str
    day: date
    before: date | None
    expected_lb: float
    gain_usd: float


Pulls = tuple[tuple[PlannedPull, ...], ...]
"""Of each string in the problem's order, by day."""


@dataclass(frozen=True)
class NextBest:
    """What is lost if ``without`` may not be, or if not ``proven`` at most, and its first day ``instead``.

    ``pulls`` are those of the plan that is the best then.
    """

    without: Wish
    loses_usd: float
    instead: date | None
    proven: bool
    pulls: Pulls = field(repr=False)


@dataclass(frozen=True)
class PlannedDay:
    """A day with its trip, if it has ``visits``: it takes ``minutes`` of the ``has_min`` that the day carries.

    ``value_usd``: what going out costs is taken off.
    """

    day: date
    chance: float
    visits: tuple[Visit, ...]
    minutes: float
    has_min: float
    run_nmi: float
    expected_lb: float
    value_usd: float


@dataclass(frozen=True)
class PlannedString:
    """``why`` speaks of the first of ``pulls``, or of there being none."""

    string: str
    pulls: tuple[PlannedPull, ...]
    why: Why
    next_best: NextBest | None


@dataclass(frozen=True)
class UnmetPin:
    pin: Wish
    against: Why


@dataclass(frozen=True)
class PullPlan:
    """The plan, its days and strings in the problem's order.

    Attributes:
        value_usd: of all pulls, less what going out costs, and with the worth of the soak left standing.
        bound_usd: no plan is worth more that obeys the same pins. gap: the part of it that may be missing.
        proven: whether this is the best plan, up to a few cents.
    """

    days: tuple[PlannedDay, ...]
    strings: tuple[PlannedString, ...]
    value_usd: float
    expected_lb: float
    bound_usd: float
    proven: bool
    unmet_pins: tuple[UnmetPin, ...]

    @property
    def gap(self) -> float:
        return (self.bound_usd - self.value_usd) / abs(self.bound_usd) if self.bound_usd else 0.0


def solve_plan(problem: PlanProblem, *, next_best: bool = True) -> PullPlan:
    """The best plan up to ``pull_search.EXACT_UP_TO`` strings, past that a good one. Every limit is kept.

    Pins that can't be obeyed are told with what stands against them; the rest are obeyed.

    Args:
        next_best: whether to look for what the next best plans lose, which takes about as long again.
    """
    solved = Solved(problem)
    if not next_best:
        return solved.plan
    asked = tuple(replace(string, next_best=solved.next_best_of(string)) for string in solved.plan.strings)
    return replace(solved.plan, strings=asked)


class Solved:
    """A problem solved. ``plan`` tells no next best; they are asked for here, without solving it anew."""

    def __init__(self, problem: PlanProblem) -> None:
        self._search = Search(problem)
        self.plan = _plan(self._search)

    def next_best_of(self, string: PlannedString) -> NextBest | None:
        """Without the first pull of a string of ``plan``; None where that isn't asked, as of a pin, or can't
        be."""
        first = next((day for day in self.plan.days if day.visits), None)
        if first is None or not string.pulls or string.why.code is WhyCode.PINNED:
            return None
        asked = len(self.plan.strings) <= ALL_ASKED_UP_TO or string.pulls[0].day == first.day
        return self.without(Wish(string.string, string.pulls[0].day)) if asked else None

    def without(self, wish: Wish) -> NextBest | None:
        """None if there is no plan without it that obeys the same pins."""
        search, r = self._search, self._search.r
        found = search.without(wish)
        if found is None:
            return None
        pulls = _pulls(r, found)
        return NextBest(
            without=wish,
            loses_usd=max(0.0, search.found.worth_usd - found.worth_usd),
            instead=min((pull.day for of in pulls for pull in of if pull.string == wish.string), default=None),
            proven=search.found.proven and found.proven,
            pulls=pulls,
        )


def _plan(search: Search) -> PullPlan:
    r, found = search.r, search.found
    weight_lb, pulls = pounds(r, found.pulled), _pulls(r, found)
    return PullPlan(
        days=tuple(_day(r, found.pulled, weight_lb, pulls, day) for day in range(r.d)),
        strings=tuple(
            PlannedString(name, of, _why(r, found.pulled, s), None)
            for s, (name, of) in enumerate(zip(r.runs.names, pulls, strict=True))
        ),
        value_usd=found.worth_usd,
        expected_lb=float(weight_lb.sum()),
        bound_usd=found.bound_usd,
        proven=found.proven,
        unmet_pins=_unmet(search),
    )


def _pulls(r: Reckoned, found: Found) -> Pulls:
    return tuple(_pulls_of(r, s, found.pulled[s]) for s in range(r.s))


def _pulls_of(r: Reckoned, s: int, pulled: np.ndarray) -> tuple[PlannedPull, ...]:
    days, before, pulls = [day.day for day in r.problem.days], 0, []
    for day in np.flatnonzero(pulled).tolist():
        lb, usd = float(r.lb[s, before, day]), float(r.gain[s, before, day])
        pulls.append(PlannedPull(r.runs.names[s], days[day], days[before - 1] if before else None, lb, usd))
        before = day + 1
    return tuple(pulls)


def _day(r: Reckoned, pulled: np.ndarray, weight_lb: np.ndarray, plans: Pulls, day: int) -> PlannedDay:
    of, strings = r.problem.days[day], np.flatnonzero(pulled[:, day]).tolist()
    order = visit_order(r.runs, strings)
    usd = sum(pull.gain_usd for pulls in plans for pull in pulls if pull.day == of.day)
    return PlannedDay(
        day=of.day,
        chance=of.chance,
        visits=order.visits,
        minutes=r.trip_min(strings),
        has_min=of.minutes,
        run_nmi=order.run_nmi,
        expected_lb=float(weight_lb[:, day].sum()),
        value_usd=usd - of.trip_cost_usd if strings else 0.0,
    )


def _why(r: Reckoned, pulled: np.ndarray, s: int) -> Why:
    days = [day.day for day in r.problem.days]
    has = np.flatnonzero(pulled[s]).tolist()
    if has and any(pin.day == has[0] and pin.string in (None, s) for pin in r.pins):
        return Why(WhyCode.PINNED, days[has[0]])
    if not _ripe(r, s).any():
        return Why(WhyCode.NOT_RIPE, None)
    alone = _first_alone(r, s)
    if alone is None:
        return Why(WhyCode.OTHER_PULLS if has else WhyCode.NOT_WORTH, None)
    if has and has[0] == alone:
        return Why(WhyCode.BEST_DAY, days[alone])
    against = _against(r, pulled, s, alone)
    if against is None:
        goes = pulled[:, alone].any()
        return Why(WhyCode.OTHER_PULLS if goes else WhyCode.TRIP_COST, days[alone])
    return against


def _ripe(r: Reckoned, s: int) -> np.ndarray:
    """Days on which there can be a pull, after those before on which there can."""
    ripe, reached = np.zeros(r.d, dtype=bool), np.eye(1, r.d + 1, dtype=bool)[0]
    for day in range(r.d):
        ripe[day] = reached[day + 1] = (np.isfinite(r.gain[s, : day + 1, day]) & reached[: day + 1]).any()
    return ripe


def _first_alone(r: Reckoned, s: int) -> int | None:
    """Its first day if it had the boat, all days and all bait to itself; None if it is best left standing."""
    worth, first = np.full(r.d + 1, -np.inf), [-1] * (r.d + 1)
    worth[0] = 0.0
    for day in range(r.d):
        gains = np.where(np.isfinite(r.gain[s, : day + 1, day]), r.gain[s, : day + 1, day], -np.inf)
        before = int((worth[: day + 1] + gains).argmax())
        worth[day + 1] = worth[before] + gains[before]
        first[day + 1] = first[before] if before else day
    last = int((worth + r.end[s]).argmax())
    return first[last] if last else None


def _against(r: Reckoned, pulled: np.ndarray, s: int, day: int) -> Why | None:
    """What keeps a string from joining the plan on a day, its other pulls put aside; None if nothing does."""
    of, rest = r.problem.days[day], pulled.copy()
    rest[s] = False
    others = np.flatnonzero(rest[:, day]).tolist()
    names = tuple(r.runs.names[n] for n in others)
    gains, most_lb = r.gain[s, : day + 1, day], r.bag_lb - float(pounds(r, rest)[:, day].sum())
    least_lb = r.lb[s, : day + 1, day][np.isfinite(gains)].min(initial=np.inf)
    found: tuple[WhyCode, dict[str, object]] | None = None
    if not of.allowed:
        found = WhyCode.NOT_ALLOWED, {}
    elif of.chance <= 0:
        found = WhyCode.NO_CHANCE, {}
    elif not r.day_open[s, day]:
        found = WhyCode.BARRED, {}
    elif not _ripe(r, s)[day]:
        found = WhyCode.NOT_RIPE, {}
    elif (needs := r.traps[[*others, s]].sum()) > r.traps_a_trip[day]:
        found = WhyCode.TRAPS, {"needs": int(needs), "most": int(r.traps_a_trip[day]), "strings": names}
    elif not r.trip_fits([*others, s], day):
        found = WhyCode.HOURS, {"needs_min": r.trip_min([*others, s]), "has_min": of.minutes, "strings": names}
    elif least_lb > most_lb + ROUNDING:
        needs_lb = r.bag_lb - most_lb + least_lb
        found = WhyCode.BAG, {"needs_lb": float(needs_lb), "most_lb": float(r.bag_lb), "strings": names}
    else:
        found = _lacking_bait(r, rest, s, day)
    return None if found is None else Why(found[0], of.day, found[1])


def _lacking_bait(r: Reckoned, rest: np.ndarray, s: int, day: int) -> tuple[WhyCode, dict[str, object]] | None:
    joined = rest.copy()
    joined[s, day] = True
    used = used_boxes(r, joined)
    lacks = (used > r.usable_boxes + ROUNDING) & (r.boxes[s] > 0)[:, None] & r.baited[s, day]
    lacks[:, :day] = False
    if not lacks.any():
        return None
    b, on = (int(n) for n in np.argwhere(lacks)[0])
    values: dict[str, object] = {
        "bait": r.baits[b],
        "needs_boxes": used[b, on],
        "has_boxes": r.usable_boxes[b, on],
    }
    return WhyCode.BAIT, values


def _unmet(search: Search) -> tuple[UnmetPin, ...]:
    r, pulled = search.r, search.found.pulled
    unmet = []
    for wish in r.problem.pins:
        pin = r.numbered(wish)
        if pin is None:
            unmet.append(UnmetPin(wish, Why(WhyCode.UNKNOWN, wish.day)))
        elif pin not in search.found.obeyed:
            strings = range(r.s) if pin.string is None else [pin.string]
            found = [against for s in strings if (against := _against(r, pulled, s, pin.day)) is not None]
            unmet.append(UnmetPin(wish, found[0] if found else Why(WhyCode.OTHER_PULLS, wish.day)))
    return tuple(unmet)
