"""How the catch of a trap grows and falls with its soak, learned from the log.

Legal claws of a trap after t days: C(t) = A (exp(-b t) - exp(-r t)) / (r - b), with A claws that enter a day, b
the decay of the bait a day, r the loss out of the trap a day. b = 0 is the form of Munro (1974), r = b is
A t exp(-b t); the peak is at ln(r/b) / (r - b). A pull of n traps lands a negative binomial count of mean
n C(t) exp(-d day), where ``day`` counts from the opening of the season, and of size n k: it is the sum of n counts
of size k. A share of the hauls, STRAY, follows no curve: a soak or count told wrong, or traps that others pulled.
Such a count is y with the chance 1 / ((y + 1) (y + 2)), which needs no scale, so a haul far from all others moves
the curve no further. Of the one soak that is under half of all others, or over twice them, the share is FAR_STRAY:
hardly anything in the log could tell that it is wrong. Several soaks told wrong alike are believed.

A of the strings is pooled: log A is normal around a level that all share. b, r, d and k are shared, and A is the
same in every season. The fit is the posterior's mode and a normal approximation around it (Laplace), for some
spreads between strings, weighed by how well they explain the log. With no log at all it is the prior, which is
common practice: about a week to ripeness, most in the trap after 10 to 14 days.

Hauls are taken for independent. Where whole days are good or bad for the boat the interval is a little too narrow:
it held the truth in 77 % of simulated boats where a day's log catch spread by 0.3, in 74 % where by 0.5.

Pure, and the same log gives the same numbers: draws are made from a fixed seed.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

DRAWS = 1000
SEED = 20261015
LOW, HIGH = 0.1, 0.9  # the 80 % interval
SPREADS = (0.2, 0.4, 0.8)  # of log A between strings; which of them it is, the log decides
MOST_DAYS = 366.0  # of soak or season; more is a slip in the log
LEAST_SOAK_DAYS = 0.5  # a trap pulled sooner was pulled for another reason than its catch: a choice of ours
MOST_COUNT = 1e6  # traps, claws or pounds of a haul; more is a slip in the log
STRAY = 0.02  # share of hauls that follow no curve: a choice of ours
FAR_STRAY = 0.98  # of the one soak far from all others: a choice of ours
FAR_TIMES = 2.0
FEWEST_FOR_FAR = 10  # hauls; of fewer no soak is called far
_NOTHING = 1e-12
_SMALL = 0.05  # below which series are exact to 1e-13


@dataclass(frozen=True)
class LogNormal:
    """``median``, and the standard deviation of its natural logarithm."""

    median: float
    spread: float


@dataclass(frozen=True)
class CurvePrior:
    """What is held before the log says otherwise. Common practice, no source; the spreads are wide on purpose.

    Attributes:
        claws_a_day: A, legal claws that enter a trap a day at the opening of the season, of strings as a whole.
        bait_decay: b a day. With ``loss``: most in the trap after 12 days, 7 to 20 in four of five cases.
        loss: r a day.
        decline: d, by which the catch falls a day of the season.
        evenness: k of one trap; the smaller, the more traps differ.
        lb_a_claw: pounds of a legal claw, worth ``lb_a_claw_weighs`` claws of the log.
        pull_costs_claws: what hauling and baiting a trap once costs, in claws: the age of ripeness rests on it.
    """

    claws_a_day: LogNormal = LogNormal(0.25, 0.7)
    bait_decay: LogNormal = LogNormal(0.04, 0.5)
    loss: LogNormal = LogNormal(0.15, 0.5)
    decline: LogNormal = LogNormal(0.004, 0.7)
    evenness: LogNormal = LogNormal(0.7, 0.8)
    lb_a_claw: LogNormal = LogNormal(0.25, 0.25)
    lb_a_claw_weighs: float = 100.0
    pull_costs_claws: float = 0.55


@dataclass(frozen=True)
class Haul:
    """One pull of ``traps`` traps of a string. ``season_day`` counts from the opening of the pull's own season."""

    string: str
    traps: int
    soak_days: float
    season_day: float
    legal_claws: int | None
    lb: float | None = None


@dataclass(frozen=True)
class Expected:
    """Catch of one trap: the mean over what A, b, r and d may be, and the 80 % interval of it.

    It is the catch to expect, as on the average of many pulls; a single pull strays further.
    """

    claws: float
    low: float
    high: float
    lb: float
    lb_low: float
    lb_high: float


@dataclass(frozen=True, eq=False)
class ExpectedMany:
    """``Expected`` for many soaks at once; all arrays have the shape that was asked for."""

    claws: Floats
    low: Floats
    high: Floats
    lb: Floats
    lb_low: Floats
    lb_high: Floats


@dataclass(frozen=True)
class CurveTold:
    """How much of a string's curve is the log, for words.

    Attributes:
        hauls: of this string that were used. ``all_hauls``: of all strings.
        left_out: hauls of all strings without a soak, traps or catch that make sense.
        stray: hauls of this string that are likelier to follow no curve than this one.
        level_share: 1 less the variance of log A over its prior variance, 0 to 1: how much the level rests on the
            log, that of other strings included.
        shape_share: the same of the logarithm of ``past_best_days``.
        ripe_days, past_best_days: as the curve's methods give them.
        pays: that some soak brings in more than a pull costs is likelier than not.
    """

    string: str
    hauls: int
    all_hauls: int
    left_out: int
    level_share: float
    shape_share: float
    ripe_days: float
    past_best_days: float
    pays: bool = True
    stray: int = 0


@dataclass(frozen=True, eq=False)
class CatchCurve:
    """Draws of the posterior; one row or entry a draw.

    Attributes:
        strings: in the order of the columns of ``log_claws_a_day``, which has one more: a string that isn't known.
        log_claws_a_day: log A, draws x strings + 1.
        bait_decay, loss, decline, lb_a_claw: one entry a draw.
        hauls: used, by string.
        stray: those of them that are likelier to follow no curve than this one.
        left_out: hauls that made no sense.
        spread: the chance of each of ``SPREADS``.
    """

    strings: tuple[str, ...]
    prior: CurvePrior
    log_claws_a_day: Floats
    bait_decay: Floats
    loss: Floats
    decline: Floats
    lb_a_claw: Floats
    hauls: tuple[int, ...]
    stray: tuple[int, ...]
    left_out: int
    spread: tuple[float, ...]

    def expected(self, string: str, soak_days: float, season_day: float) -> Expected:
        """Catch of a trap of a string; of a name that isn't known, that of a string never hauled."""
        many = self.expected_many(string, [soak_days], [season_day])
        return Expected(
            float(many.claws[0]),
            float(many.low[0]),
            float(many.high[0]),
            float(many.lb[0]),
            float(many.lb_low[0]),
            float(many.lb_high[0]),
        )

    def expected_many(self, string: str, soak_days: ArrayLike, season_day: ArrayLike) -> ExpectedMany:
        """``expected`` for every pair of soak and day, which are broadcast against each other."""
        claws = self.draws(string, soak_days, season_day)
        lb = claws * self.lb_a_claw.reshape((-1,) + (1,) * (claws.ndim - 1))
        low, high = np.quantile(claws, (LOW, HIGH), axis=0)
        lb_low, lb_high = np.quantile(lb, (LOW, HIGH), axis=0)
        return ExpectedMany(claws.mean(axis=0), low, high, lb.mean(axis=0), lb_low, lb_high)

    def draws(self, string: str, soak_days: ArrayLike, season_day: ArrayLike) -> Floats:
        """Claws of a trap, draws x the shape of soaks and days; a soak or day below 0 counts as 0."""
        soak, day = np.broadcast_arrays(np.asarray(soak_days, float), np.asarray(season_day, float))
        over = (-1,) + (1,) * soak.ndim
        level = np.exp(self._log_level(string)).reshape(over)
        season = np.exp(-self.decline.reshape(over) * np.maximum(day, 0.0))
        b, r = self.bait_decay.reshape(over), self.loss.reshape(over)
        return np.asarray(season * catch_a_trap(np.maximum(soak, 0.0), level, b, r))

    def ripe_days(self, string: str, season_day: float = 0.0) -> float:
        """The soak from which waiting on no longer pays, by the marginal-value rule.

        The soak at which the catch that one more day brings falls below the average catch a day so far, net of
        ``pull_costs_claws``: the soak that maximises (C(t) - cost) / t (Charnov 1976). Without a cost of pulling
        it would be 0, as the curve is steepest at first. Never past the peak. A rich string is ripe sooner. Of a
        string that never pays (``pays``) it is the peak.
        """
        level, b, r = self._rates(string, season_day)
        early, late = np.zeros_like(b), peak_days(b, r)
        for _ in range(40):
            middle = (early + late) / 2
            grows = catch_a_trap(middle, level, b, r, slope=True) * middle
            waits = grows > catch_a_trap(middle, level, b, r) - self.prior.pull_costs_claws
            early, late = np.where(waits, middle, early), np.where(waits, late, middle)
        return float(np.median(late))

    def pays(self, string: str, season_day: float = 0.0) -> bool:
        """Whether the catch at the peak is likelier than not more than a pull costs."""
        level, b, r = self._rates(string, season_day)
        return bool(np.median(catch_a_trap(peak_days(b, r), level, b, r)) > self.prior.pull_costs_claws)

    def past_best_days(self) -> float:
        """The soak after which a trap loses more than it gains: one for all strings, as b and r are shared."""
        return float(np.median(peak_days(self.bait_decay, self.loss)))

    def _rates(self, string: str, season_day: float) -> tuple[Floats, Floats, Floats]:
        """A on that day, b and r."""
        level = np.exp(self._log_level(string) - self.decline * max(season_day, 0.0))
        return level, self.bait_decay, self.loss

    def _log_level(self, string: str) -> Floats:
        column = self.strings.index(string) if string in self.strings else len(self.strings)
        return self.log_claws_a_day[:, column]


def catch_a_trap(
    soak_days: ArrayLike, claws_a_day: ArrayLike, bait_decay: ArrayLike, loss: ArrayLike, *, slope: bool = False
) -> Floats:
    """C(t), or its slope in claws a day; exact at b = 0, at r = b and near them.

    C(t) = A t exp(-(b + r) t / 2) sinh(x) / x with x = (r - b) t / 2.
    """
    t, b, r = np.asarray(soak_days, float), np.asarray(bait_decay, float), np.asarray(loss, float)
    x = (r - b) * t / 2
    decay = np.exp(-(b + r) * t / 2 + _log_sinhc(x))
    if slope:
        return np.asarray(claws_a_day * decay * (1 - (b + r) * t / 2 + x * _log_sinhc_slope(x)))
    return np.asarray(claws_a_day * t * decay)


def peak_days(bait_decay: ArrayLike, loss: ArrayLike) -> Floats:
    """ln(r/b) / (r - b), for b and r above 0; 1/b where they are equal."""
    b, r = np.asarray(bait_decay, float), np.asarray(loss, float)
    return np.asarray(np.exp(-_log_sinhc(np.log(r / b) / 2)) / np.sqrt(b * r))


def told(curve: CatchCurve, string: str, season_day: float = 0.0) -> CurveTold:
    """What to say of a string's curve on a day of the season."""
    prior = curve.prior
    column = curve.strings.index(string) if string in curve.strings else len(curve.strings)
    level_before = prior.claws_a_day.spread**2 + float(np.mean(np.square(SPREADS)))
    peak = np.log(peak_days(curve.bait_decay, curve.loss))
    return CurveTold(
        string,
        _of_column(curve.hauls, column),
        sum(curve.hauls),
        curve.left_out,
        _share(curve.log_claws_a_day[:, column], level_before),
        _share(peak, _peak_variance(prior)),
        curve.ripe_days(string, season_day),
        curve.past_best_days(),
        curve.pays(string, season_day),
        _of_column(curve.stray, column),
    )


def _of_column(counts: Sequence[int], column: int) -> int:
    return counts[column] if column < len(counts) else 0


def _share(draws: Floats, variance_before: float) -> float:
    return min(1.0, max(0.0, 1.0 - float(np.var(draws)) / variance_before))


def _peak_variance(prior: CurvePrior) -> float:
    normal = np.random.default_rng(SEED).standard_normal((2, 4000))
    b = prior.bait_decay.median * np.exp(prior.bait_decay.spread * normal[0])
    r = prior.loss.median * np.exp(prior.loss.spread * normal[1])
    return float(np.var(np.log(peak_days(b, r))))


def fit_curve(hauls: Iterable[Haul], strings: Sequence[str], prior: CurvePrior | None = None) -> CatchCurve:
    """Learns the curve from the log.

    Hauls whose traps, soak, day or catch are missing or make no sense are left out and counted. Where only pounds
    were told, claws are reckoned from them. Strings of the log that aren't in ``strings`` follow after those.
    Never raises on any haul; a log of nothing gives the prior.
    """
    prior = prior or CurvePrior()
    every = list(hauls)
    used = [haul for haul in every if _makes_sense(haul)]
    names = tuple(dict.fromkeys([*strings, *(haul.string for haul in used)]))
    lb_a_claw, lb_spread = _weight(used, prior)
    log = _log_of(used, names, lb_a_claw)
    rows, chances, stray = _posterior_draws(log, prior)
    shared = np.exp(rows[:, log.strings :])
    noise = np.random.default_rng(SEED + 1).standard_normal(len(rows))
    return CatchCurve(
        strings=names,
        prior=prior,
        log_claws_a_day=rows[:, : log.strings],
        bait_decay=shared[:, 0],
        loss=shared[:, 1],
        decline=shared[:, 2],
        lb_a_claw=lb_a_claw * np.exp(lb_spread * noise),
        hauls=tuple(int(n) for n in np.bincount(log.string, minlength=len(names))),
        stray=stray,
        left_out=len(every) - len(used),
        spread=chances,
    )


def _makes_sense(haul: Haul) -> bool:
    return (
        _within(haul.traps, 1, MOST_COUNT)
        and _within(haul.soak_days, LEAST_SOAK_DAYS, MOST_DAYS)
        and _within(haul.season_day, 0, MOST_DAYS)
        and (_told(haul.legal_claws) or (haul.legal_claws is None and _told(haul.lb)))
    )


def _told(catch: float | None) -> bool:
    return _within(catch, 0, MOST_COUNT)


def _within(value: float | None, least: float, most: float) -> bool:
    """Not of NaN, infinities or nothing."""
    return value is not None and least <= value <= most


def _weight(used: Sequence[Haul], prior: CurvePrior) -> tuple[float, float]:
    """Pounds a claw: the prior, worth some claws, and the hauls of which both were told; and its relative spread.

    Nothing beside claws is no weight: they weren't weighed. Hauls that were only weighed make the weight of a claw
    no better known, but the pounds to come: what they are divided by, the curve is multiplied with.
    """
    both = [haul for haul in used if haul.legal_claws and haul.lb and _told(haul.lb)]
    claws = prior.lb_a_claw_weighs + sum(haul.legal_claws or 0 for haul in both)
    lb = prior.lb_a_claw_weighs * prior.lb_a_claw.median + sum(haul.lb or 0.0 for haul in both)
    weighed_lb = sum(haul.lb or 0.0 for haul in used if haul.legal_claws is None)
    known = claws + weighed_lb * claws / lb
    return lb / claws, prior.lb_a_claw.spread * math.sqrt(prior.lb_a_claw_weighs / known)


def _claws(haul: Haul, lb_a_claw: float) -> float:
    if haul.legal_claws is not None:
        return haul.legal_claws
    return round((haul.lb or 0.0) / lb_a_claw)


@dataclass(frozen=True, eq=False)
class _Log:
    """One entry a haul; ``strings`` counts the columns of log A.

    ``kinds`` are the different pairs of traps and claws, and ``kind`` which of them a haul is: the gamma functions
    of a count don't rest on its mean, so they are needed once for each kind. ``log_stray`` is the logarithm of the
    chance to follow no curve and land what was landed, ``log_follows`` that of the chance to follow this one.
    """

    string: NDArray[np.intp]
    traps: Floats
    soak_days: Floats
    season_day: Floats
    claws: Floats
    strings: int
    kinds: Floats
    kind: NDArray[np.intp]
    log_stray: Floats
    log_follows: Floats


def _log_of(used: Sequence[Haul], names: Sequence[str], lb_a_claw: float) -> _Log:
    column = {name: number for number, name in enumerate(names)}
    traps = np.array([haul.traps for haul in used], dtype=float)
    claws = np.array([_claws(haul, lb_a_claw) for haul in used], dtype=float)
    soak_days = np.array([haul.soak_days for haul in used], dtype=float)
    share = np.where(_far_from_all_others(soak_days), FAR_STRAY, STRAY)
    kinds, kind = np.unique(np.stack([traps, claws]), axis=1, return_inverse=True)
    return _Log(
        string=np.array([column[haul.string] for haul in used], dtype=np.intp),
        traps=traps,
        soak_days=soak_days,
        season_day=np.array([haul.season_day for haul in used], dtype=float),
        claws=claws,
        strings=len(names) + 1,
        kinds=kinds,
        kind=kind.reshape(-1),  # numpy 2.0 gives it another shape
        log_stray=np.log(share) - np.log1p(claws) - np.log(claws + 2),
        log_follows=np.log1p(-share),
    )


def _far_from_all_others(soak_days: Floats) -> NDArray[np.bool_]:
    far = np.zeros(len(soak_days), dtype=bool)
    if len(soak_days) >= FEWEST_FOR_FAR:
        in_order = np.argsort(soak_days)
        least, next_least, next_most, most = soak_days[in_order[[0, 1, -2, -1]]]
        far[in_order[0]] = least * FAR_TIMES < next_least
        far[in_order[-1]] = most > next_most * FAR_TIMES
    return far


class _Posterior:
    """Minus the log of the posterior of (log A of each string, log b, log r, log d, log k), up to a constant.

    The level that the strings share is integrated out: log A is normal with covariance ``spread``² on the diagonal
    plus that of the level everywhere.
    """

    def __init__(self, log: _Log, prior: CurvePrior, spread: float) -> None:
        self.log, self.prior, self.spread = log, prior, spread
        shared = (prior.bait_decay, prior.loss, prior.decline, prior.evenness)
        strings, level = log.strings, prior.claws_a_day
        self.mean = np.array([math.log(level.median)] * strings + [math.log(p.median) for p in shared])
        inner = level.spread**2 / (spread**2 + strings * level.spread**2)
        self.precision = np.zeros((strings + 4, strings + 4))
        self.precision[:strings, :strings] = (np.eye(strings) - inner) / spread**2
        self.precision[range(strings, strings + 4), range(strings, strings + 4)] = [
            1 / p.spread**2 for p in shared
        ]
        self.log_scale = (strings - 1) * math.log(spread) + 0.5 * math.log(spread**2 + strings * level.spread**2)

    def value(self, at: Floats) -> tuple[float, Floats]:
        """With its gradient."""
        log, strings = self.log, self.log.strings
        away = at - self.mean
        pull = self.precision @ away
        value = 0.5 * float(away @ pull) + self.log_scale
        if not len(log.claws):
            return value, pull
        mean, size, _, by_b, by_r = self._parts(at)
        log_chance, follows = self._chances(at, mean, size)
        by_mean, by_size = self._slopes(at, mean, size)
        by_mean *= follows
        by_d = -np.exp(at[strings + 2]) * log.season_day
        slope = np.concatenate(
            [
                np.bincount(log.string, by_mean, minlength=strings),
                [by_mean @ by_b, by_mean @ by_r, by_mean @ by_d, follows @ by_size],
            ]
        )
        return value - float(log_chance.sum()), pull - slope

    def curvature(self, at: Floats) -> Floats:
        """The Hessian."""
        from scipy.special import digamma, polygamma

        log, strings = self.log, self.log.strings
        if not len(log.claws):
            return self.precision
        b, r, decline, evenness = np.exp(at[strings:])
        mean, size, bend, by_b, by_r = self._parts(at)
        _, follows = self._chances(at, mean, size)
        by_mean, by_size = self._slopes(at, mean, size)
        doubt = follows * (1 - follows)
        y, both = log.claws, size + mean
        by_mean_2 = doubt * by_mean**2 - follows * (y + size) * size * mean / both**2
        by_both = doubt * by_mean * by_size + follows * by_mean * mean / both
        k, count = evenness * log.kinds[0], log.kinds[1]
        bends = k * (digamma(count + k) - digamma(k)) + k**2 * (polygamma(1, count + k) - polygamma(1, k))
        by_size_2 = size * np.log(size / both) - by_mean + size * (mean + by_mean) / both + bends[log.kind]
        by_mean = follows * by_mean
        by_d = -decline * log.season_day
        rows = np.stack([by_b, by_r, by_d])
        curve = np.zeros_like(self.precision)
        curve[range(strings), range(strings)] = np.bincount(log.string, by_mean_2, minlength=strings)
        for number, row in enumerate((*(by_mean_2 * rows), by_both)):
            curve[:strings, strings + number] = np.bincount(log.string, row, minlength=strings)
            curve[strings + number, :strings] = curve[:strings, strings + number]
        inner = (rows * by_mean_2) @ rows.T
        inner[0, 0] += by_mean @ (by_b + b**2 * bend)
        inner[1, 1] += by_mean @ (by_r + r**2 * bend)
        inner[0, 1] -= b * r * (by_mean @ bend)
        inner[1, 0] = inner[0, 1]
        inner[2, 2] += by_mean @ by_d
        curve[strings : strings + 3, strings : strings + 3] = inner
        curve[strings : strings + 3, -1] = curve[-1, strings : strings + 3] = rows @ by_both
        curve[-1, -1] = doubt @ by_size**2 + follows @ by_size_2
        return np.asarray(self.precision - curve)

    def stray(self, at: Floats) -> tuple[int, ...]:
        """By string, hauls that are likelier to follow no curve than this one."""
        mean, size, *_ = self._parts(at)
        stray = self._chances(at, mean, size)[1] < 0.5
        return tuple(int(n) for n in np.bincount(self.log.string[stray], minlength=self.log.strings - 1))

    def _chances(self, at: Floats, mean: Floats, size: Floats) -> tuple[Floats, Floats]:
        """The logarithm of the chance to land what was landed, and the share of it that follows the curve."""
        from scipy.special import gammaln

        log, both = self.log, size + mean
        k, count = np.exp(at[-1]) * log.kinds[0], log.kinds[1]
        log_own = (gammaln(count + k) - gammaln(k) - gammaln(count + 1))[log.kind] + log.log_follows
        log_own += size * np.log(size / both) + log.claws * np.log(mean / both)
        log_chance = np.logaddexp(log_own, log.log_stray)
        return log_chance, np.exp(log_own - log_chance)

    def _slopes(self, at: Floats, mean: Floats, size: Floats) -> tuple[Floats, Floats]:
        """Of the logarithm of each haul's chance on the curve, by its log mean and by log k."""
        from scipy.special import digamma

        log, both = self.log, size + mean
        by_mean = size * (log.claws - mean) / both
        k, count = np.exp(at[-1]) * log.kinds[0], log.kinds[1]
        return by_mean, size * np.log(size / both) - by_mean + (k * (digamma(count + k) - digamma(k)))[log.kind]

    def straightened(self, mode: Floats, rows: Floats) -> Floats:
        """Draws around ``mode`` with log A moved so that they keep to the ridge that the log leaves.

        The catch at the soaks that were hauled is known far better than A, b and r apart, so the posterior is a
        bent ridge, and normal draws of log A, log b and log r fall beside it. Here it is log C at each string's
        mean soak and day that is normal with log b, log r and log d. Mode and curvature stay as they are.
        """
        log, strings = self.log, self.log.strings
        if not len(log.claws):
            return rows
        mean, size, *_ = self._parts(mode)
        tells = np.maximum(self._chances(mode, mean, size)[1] * mean * size / (mean + size), _NOTHING)
        own = np.bincount(log.string, tells, minlength=strings)

        def usual(of_hauls: Floats) -> Floats:
            over_all = float(tells @ of_hauls / tells.sum())
            sums = np.bincount(log.string, tells * of_hauls, minlength=strings)
            return np.where(own > 0, sums / np.where(own > 0, own, 1.0), over_all)

        half, day = usual(log.soak_days) / 2, usual(log.season_day)

        def log_shape(shared: Floats) -> Floats:
            b, r, decline, _ = np.exp(shared).T[:, :, np.newaxis]
            return np.asarray(_log_sinhc((r - b) * half) - (b + r) * half - decline * day)

        b, r, decline, _ = np.exp(mode[strings:])
        tilt = _log_sinhc_slope((r - b) * half)
        slope = np.stack([-b * half * (1 + tilt), -r * half * (1 - tilt), -decline * day])
        straight = (rows[:, strings:-1] - mode[strings:-1]) @ slope
        moved = rows.copy()
        moved[:, :strings] += straight + log_shape(mode[np.newaxis, strings:]) - log_shape(rows[:, strings:])
        return moved

    def _parts(self, at: Floats) -> tuple[Floats, Floats, Floats, Floats, Floats]:
        """Mean and size of each haul, t²/4 times the bend, and the slopes of the log mean by log b and log r."""
        log, strings = self.log, self.log.strings
        b, r, decline, evenness = np.exp(at[strings:])
        half = log.soak_days / 2
        x = (r - b) * half
        log_mean = (
            np.log(log.traps * log.soak_days)
            + at[log.string]
            - (b + r) * half
            + _log_sinhc(x)
            - decline * log.season_day
        )
        tilt = _log_sinhc_slope(x)
        mean = np.exp(np.clip(log_mean, -300.0, 300.0))
        return (
            mean,
            evenness * log.traps,
            half**2 * _log_sinhc_bend(x),
            -b * half * (1 + tilt),
            -r * half * (1 - tilt),
        )


def _posterior_draws(log: _Log, prior: CurvePrior) -> tuple[Floats, tuple[float, ...], tuple[int, ...]]:
    """Draws x (log A of each string, log b, log r, log d, log k), the chance of each of ``SPREADS``, and by string
    the stray hauls."""
    normal = np.random.default_rng(SEED).standard_normal((DRAWS, log.strings + 4))
    rows, evidence, stray = [], [], []
    mode: Floats | None = None
    for spread in SPREADS:
        posterior = _Posterior(log, prior, spread)
        starts = _starts(posterior) if mode is None else [mode]
        mode, value = min((_mode(posterior, start) for start in starts), key=lambda found: found[1])
        stiff, axes = np.linalg.eigh(posterior.curvature(mode))
        # No direction is less sure than before the log; that holds at a mode, but for rounding and doubtful hauls.
        stiff = np.maximum(stiff, np.linalg.eigvalsh(posterior.precision)[0])
        rows.append(posterior.straightened(mode, mode + normal @ (axes / np.sqrt(stiff)).T))
        evidence.append(-value - 0.5 * float(np.log(stiff).sum()))
        stray.append(posterior.stray(mode))
    chances = np.exp(np.array(evidence) - max(evidence))
    chances /= chances.sum()
    ends = [0, *np.rint(np.cumsum(chances) * DRAWS).astype(int)]
    parts = [drawn[ends[n] : ends[n + 1]] for n, drawn in enumerate(rows)]
    return np.concatenate(parts), tuple(float(chance) for chance in chances), stray[int(chances.argmax())]


def _starts(posterior: _Posterior) -> list[Floats]:
    """Where to look for the mode. There may be several: hauls far from a curve don't draw it towards them.

    One is where all hauls must follow the curve; the other has the usual shape, at each string's median catch.
    """
    log, mean = posterior.log, posterior.mean
    if not len(log.claws):
        return [mean]
    every = _Posterior(replace(log, log_stray=np.full(len(log.claws), -np.inf)), posterior.prior, posterior.spread)
    b, r, decline, _ = np.exp(mean[log.strings :])
    usual = log.traps * catch_a_trap(log.soak_days, np.exp(-decline * log.season_day), b, r)
    log_level = np.log((log.claws + 0.5) / usual)
    of_string = [log_level[log.string == n] for n in range(log.strings)]
    medians = [np.median(of if len(of) else log_level) for of in of_string]
    return [_mode(every, mean)[0], np.array([*medians, *mean[log.strings :]])]


def _mode(posterior: _Posterior, start: Floats) -> tuple[Floats, float]:
    from scipy.optimize import minimize

    found: Any = minimize(
        posterior.value, start, jac=True, hess=posterior.curvature, method="trust-exact",
        options={"maxiter": 200, "gtol": 1e-6},
    )  # fmt: skip
    return np.asarray(found.x, float), float(found.fun)


def _log_sinhc(x: Floats) -> Floats:
    """log(sinh(x) / x)."""
    size = np.abs(x)
    large = np.maximum(size, _SMALL)
    series = x**2 / 6 - x**4 / 180 + x**6 / 2835
    return np.where(size < _SMALL, series, large + np.log1p(-np.exp(-2 * large)) - np.log(2 * large))


def _log_sinhc_slope(x: Floats) -> Floats:
    """coth(x) - 1/x."""
    size = np.abs(x)
    large = np.maximum(size, _SMALL)
    series = x / 3 - x**3 / 45 + 2 * x**5 / 945
    return np.where(size < _SMALL, series, np.sign(x) * (1 / np.tanh(large) - 1 / large))


def _log_sinhc_bend(x: Floats) -> Floats:
    """1/x² - 1/sinh(x)²."""
    size = np.abs(x)
    large = np.maximum(size, _SMALL)
    fades = np.exp(-2 * large)
    series = 1 / 3 - x**2 / 15 + 2 * x**4 / 189
    return np.where(size < _SMALL, series, 1 / large**2 - 4 * fades / (1 - fades) ** 2)
