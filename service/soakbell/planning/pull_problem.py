"""What a pull plan is made from: strings, days ahead, what a pull is worth, and what holds the boat in.

Arrays speak of pulls by string ``s``, the pull before ``i`` and this pull ``j``: ``j`` is a day, counted from 0
for today; ``i`` is 0 where the traps were last baited before today, and ``day + 1`` where they were on a day
ahead.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from functools import lru_cache

import numpy as np

from soakbell.gear.strings import Mark
from soakbell.planning.visit_order import Runs, run_of_way, way_of

ROUNDING = 1e-9
_TYPICAL_LOAD = 5
"""Strings of a trip for which the least time is made as high as can be; it holds for any number."""


@dataclass(frozen=True)
class PlanString:
    """``haul_min``: to haul, rebait and set all that is pulled. ``bait_boxes``: boxes of each bait that takes, up
    to the day of number ``baited_to``, past which a pull takes none; None: on any day."""

    name: str
    traps: int
    haul_min: float
    start: Mark
    end: Mark
    bait_boxes: Mapping[str, float] = field(default_factory=dict)
    baited_to: int | None = None


@dataclass(frozen=True)
class PlanDay:
    """A local day. ``minutes`` is the longest trip it carries if it is fit, margins already taken off.

    ``chance`` is that of a fit window; a day without any chance is never planned for, and its chance weighs
    nothing else here. ``allowed`` is False when the crew is off or the fishery closed. ``trip_cost_usd`` is
    what going out costs, once. ``any_traps``: its trip is settled, however many traps it handles.
    """

    day: date
    chance: float
    minutes: float
    allowed: bool
    trip_cost_usd: float
    any_traps: bool = False


@dataclass(frozen=True)
class PlanBait:
    """Boxes ``usable`` today, ``frozen`` today, and ``arriving`` on each day; frozen and arriving ones need
    ``thaw_days``."""

    bait: str
    usable_boxes: float
    frozen_boxes: float
    thaw_days: int
    arriving_boxes: tuple[float, ...]

    def usable_by(self, day: int) -> float:
        """Boxes that are or were usable up to a day, were none used."""
        frozen = self.frozen_boxes if day >= self.thaw_days else 0.0
        return self.usable_boxes + frozen + sum(self.arriving_boxes[: max(0, day - self.thaw_days + 1)])


@dataclass(frozen=True)
class Wish:
    """The skipper's own choice, of a ``string`` on a day. As a pin None means any string, as a bar all of them."""

    string: str | None
    day: date


@dataclass(frozen=True, eq=False)
class PlanProblem:
    """All a pull plan needs. Money and catch are as expected: the caller has weighed what it should by chance.

    Attributes:
        gain_usd: (strings, days + 1, days), worth of a pull less bait and wear; NaN where there can be none, as
            below the soak floor. A pull past the soak ceiling is only worth more or less.
        expected_lb: the same shape, finite wherever the gain is. A caller with a bag limit gives no more than
            that.
        end_usd: (strings, days + 1), worth of the soak that stands after the last day.
        baits: what isn't among them isn't on hand.
        deck_traps: most traps that one trip may handle; None: no matter.
        most_traps: most traps that the fishery lets the boat pull in one trip.
        bag_lb: most pounds that the fishery lets the boat land from one trip.
        pins: obeyed in this order as far as possible; a pin can't get round ``bars``, days not allowed or a NaN.

    Raises:
        ValueError: shapes don't agree, or a number is missing where it can't be.
    """

    harbor: Mark
    cruise_kt: float
    strings: tuple[PlanString, ...]
    days: tuple[PlanDay, ...]
    gain_usd: np.ndarray
    expected_lb: np.ndarray
    end_usd: np.ndarray
    baits: tuple[PlanBait, ...] = ()
    deck_traps: int | None = None
    most_traps: int | None = None
    bag_lb: float | None = None
    pins: tuple[Wish, ...] = ()
    bars: tuple[Wish, ...] = ()

    def __post_init__(self) -> None:
        s, d = len(self.strings), len(self.days)
        for name, shape in (("gain_usd", (s, d + 1, d)), ("expected_lb", (s, d + 1, d)), ("end_usd", (s, d + 1))):
            if getattr(self, name).shape != shape:
                raise ValueError(f"{name}: found shape {getattr(self, name).shape}; write {shape}")
        if not d or self.cruise_kt <= 0:
            raise ValueError("a plan needs days, and a boat that moves")
        if not np.isfinite(self.end_usd).all() or np.isinf(self.gain_usd).any():
            raise ValueError("end_usd must be finite, gain_usd finite or NaN")
        if not np.isfinite(self.expected_lb[np.isfinite(self.gain_usd)]).all():
            raise ValueError("expected_lb must be finite wherever gain_usd is")
        if len({string.name for string in self.strings}) < s:
            raise ValueError("two strings have one name")
        for bait in self.baits:
            if len(bait.arriving_boxes) != d:
                raise ValueError(
                    f"arriving_boxes of {bait.bait}: found {len(bait.arriving_boxes)} days; write {d}"
                )


@dataclass(frozen=True)
class Pin:
    """A pin by numbers: ``string`` None for any."""

    string: int | None
    day: int

    def of(self, pulled: np.ndarray) -> np.ndarray:
        """The pulls (strings, days) that it speaks of, of that day."""
        meant: np.ndarray = pulled[slice(None) if self.string is None else self.string, self.day]
        return meant


class Reckoned:
    """The problem as arrays. Wishes that name no string or day of it are left out.

    Attributes:
        haul_min: no less than running along the string takes, so that a string more never makes a trip shorter.
        day_open: (strings, days), False where the day isn't allowed, without chance, or barred.
        possible: (strings, days + 1, days), pulls that there can be as far as each goes by itself.
        boxes: (strings, baits), taken by a pull on a day that is ``baited`` (strings, days). usable_boxes: (baits,
            days), usable up to a day, were none used.
        share_min, harbor_min: no trip takes less than ``harbor_min`` and the ``share_min`` of each string in it.
        traps_a_trip: by day, inf for no limit, as bag_lb.
    """

    def __init__(self, problem: PlanProblem) -> None:
        self.problem = problem
        self.s, self.d = len(problem.strings), len(problem.days)
        self.gain, self.lb, self.end = problem.gain_usd, problem.expected_lb, problem.end_usd
        self.runs = runs_between(problem.harbor, tuple((s.name, s.start, s.end) for s in problem.strings))
        self.min_a_nmi = 60 / problem.cruise_kt
        along_nmi = np.array([self.runs.nmi[1 + 2 * n, 2 + 2 * n] for n in range(self.s)])
        self.haul_min = np.maximum([string.haul_min for string in problem.strings], self.min_a_nmi * along_nmi)
        self.traps = np.array([string.traps for string in problem.strings], dtype=float)
        self.minutes = np.array([day.minutes for day in problem.days])
        self.trip_usd = np.array([day.trip_cost_usd for day in problem.days])
        most = min(np.inf if n is None else n for n in (problem.deck_traps, problem.most_traps))
        settled = max(most, float(self.traps.sum()))
        self.traps_a_trip = np.array([settled if day.any_traps else most for day in problem.days])
        self.bag_lb = np.inf if problem.bag_lb is None else problem.bag_lb
        self.pins = tuple(pin for wish in problem.pins if (pin := self.numbered(wish)) is not None)
        self.nmi: list[list[float]] = self.runs.nmi.tolist()
        self._trips: dict[tuple[int, ...], tuple[list[tuple[int, int]], float]] = {}
        self._count_bait()
        self._open_days()
        self._least_times()
        self._possible()

    def numbered(self, wish: Wish) -> Pin | None:
        """None if the problem doesn't have its string or day."""
        days = [day.day for day in self.problem.days]
        if wish.day not in days or wish.string not in (None, *self.runs.names):
            return None
        return Pin(None if wish.string is None else self.runs.names.index(wish.string), days.index(wish.day))

    def way(self, strings: Iterable[int]) -> list[tuple[int, int]]:
        """The trip that hauls them: first and last end of each, numbered as in ``runs``."""
        return self._trip(strings)[0]

    def trip_min(self, strings: Iterable[int]) -> float:
        """Minutes of that trip."""
        return self._trip(strings)[1]

    def _trip(self, strings: Iterable[int]) -> tuple[list[tuple[int, int]], float]:
        load = tuple(sorted(int(n) for n in strings))
        if load not in self._trips:
            way = way_of(self.runs, load)
            run_min = self.min_a_nmi * run_of_way(self.runs, way)
            self._trips[load] = way, run_min + float(self.haul_min[list(load)].sum())
        return self._trips[load]

    def trip_fits(self, strings: Iterable[int], day: int) -> bool:
        return bool(self.trip_min(strings) <= self.minutes[day] + ROUNDING)

    def _count_bait(self) -> None:
        strings, on_hand = self.problem.strings, {bait.bait: bait for bait in self.problem.baits}
        self.baits = sorted({bait for string in strings for bait in string.bait_boxes})
        self.boxes = np.array([[string.bait_boxes.get(bait, 0.0) for bait in self.baits] for string in strings])
        self.boxes = self.boxes.reshape(self.s, len(self.baits))
        last = [self.d - 1 if string.baited_to is None else string.baited_to for string in strings]
        self.baited = np.arange(self.d) <= np.array(last).reshape(self.s, 1)
        self.usable_boxes = np.zeros((len(self.baits), self.d))
        for b, bait in enumerate(self.baits):
            if bait in on_hand:
                self.usable_boxes[b] = [on_hand[bait].usable_by(day) for day in range(self.d)]

    def _open_days(self) -> None:
        self.day_open = np.tile([day.allowed and day.chance > 0 for day in self.problem.days], (self.s, 1))
        for bar in map(self.numbered, self.problem.bars):
            if bar is not None:
                self.day_open[slice(None) if bar.string is None else bar.string, bar.day] = False

    def _least_times(self) -> None:
        """Each run counts half at either end, the least run of each end; runs from the harbor count more there.

        A price is taken off every run from the harbor and added twice for the harbor itself, since every trip has
        two of them: the bound holds for any price, and the best for a trip of a few strings is taken.
        """
        between, home = self.runs.nmi[1:, 1:] * self.min_a_nmi, self.runs.nmi[0, 1:] * self.min_a_nmi
        for n in range(self.s):
            between[2 * n : 2 * n + 2, 2 * n : 2 * n + 2] = np.inf
        nearest = between.min(axis=1, initial=np.inf)
        best = -np.inf
        self.harbor_min, self.share_min = 0.0, self.haul_min
        for price in np.unique(home):
            share = np.minimum(nearest, home - price).reshape(self.s, 2).sum(axis=1) / 2
            harbor = 2 * price + np.sort(home - price)[:2].sum() / 2
            if (bound := harbor + _TYPICAL_LOAD * share.mean()) > best:
                best, self.harbor_min, self.share_min = bound, float(harbor), share + self.haul_min

    def _possible(self) -> None:
        i, j = np.indices((self.d + 1, self.d))
        alone = np.array([self.trip_min([n]) for n in range(self.s)])[:, None] <= self.minutes + ROUNDING
        alone &= self.traps[:, None] <= self.traps_a_trip
        alone &= ~self.baited | (self.boxes[:, :, None] <= self.usable_boxes[None] + ROUNDING).all(axis=1)
        self.possible = np.isfinite(self.gain) & (i <= j) & (self.day_open & alone)[:, None, :]
        self.possible &= np.where(self.possible, self.lb, np.inf) <= self.bag_lb + ROUNDING


def worth_usd(r: Reckoned, pulled: np.ndarray) -> float:
    """NaN if a pull isn't possible after the one before."""
    total = -float(r.trip_usd[pulled.any(axis=0)].sum())
    for s, days in enumerate(pulled):
        before = 0
        for day in np.flatnonzero(days):
            total += float(r.gain[s, before, day]) if r.possible[s, before, day] else np.nan
            before = int(day) + 1
        total += float(r.end[s, before])
    return total


def holds(r: Reckoned, pulled: np.ndarray) -> bool:
    """Whether a plan keeps every limit, with the true times of its trips."""
    if np.isnan(worth_usd(r, pulled)):
        return False
    used = used_boxes(r, pulled)
    return (
        bool((used <= r.usable_boxes + ROUNDING).all())
        and bool((r.traps @ pulled <= r.traps_a_trip).all())
        and bool((pounds(r, pulled).sum(axis=0) <= r.bag_lb + ROUNDING).all())
        and all(r.trip_fits(np.flatnonzero(pulled[:, day]), day) for day in range(r.d))
    )


def used_boxes(r: Reckoned, pulled: np.ndarray) -> np.ndarray:
    """Boxes (baits, days) used up to a day."""
    used: np.ndarray = np.cumsum((pulled & r.baited).T.astype(float) @ r.boxes, axis=0).T
    return used


def pounds(r: Reckoned, pulled: np.ndarray) -> np.ndarray:
    """Expected pounds (strings, days)."""
    out = np.zeros(pulled.shape)
    for s, days in enumerate(pulled):
        before = 0
        for day in np.flatnonzero(days):
            out[s, day] = r.lb[s, before, day]
            before = int(day) + 1
    return out


@lru_cache(maxsize=8)
def runs_between(harbor: Mark, strings: tuple[tuple[str, Mark, Mark], ...]) -> Runs:
    """Kept, since a plan is made several times over the same strings."""
    return Runs(harbor, [_Between(*string) for string in strings])


@dataclass(frozen=True)
class _Between:
    name: str
    start: Mark
    end: Mark
