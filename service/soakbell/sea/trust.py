"""How far forecasts can be trusted: each hour of a kept forecast held against what a station measured later.

An error is measured minus forecast: above zero the sea was rougher than forecast. Stations often measure wind low
(``feeds/buoys.py``), so a forecast that seems too rough is told, but never used to make a later one calmer.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from itertools import pairwise

import numpy as np
import numpy.typing as npt
import pandas as pd

from soakbell.sea.limits import Limits

Numbers = npt.NDArray[np.float64]

MEASURED = ("wind_kt", "gust_kt", "sea_m")
"""Quantities of the limits that stations measure. The others can't be looked at afterwards."""

WORST_OF_ALL = "worst of all"
"""What stands as ``source`` for the table that calls are made from."""

_PAIR_COLUMNS = ("issued_at", "valid_at", "lead_h", "quantity", "source", "forecast", "observed")
_MAD_TO_SD = 1.4826  # of a normal distribution: 1 / its 75 % point
_Z80 = 1.2816  # two-sided 80 % of a normal distribution


# ---- forecast and measurement side by side


def hourly_measured(rows: pd.DataFrame) -> pd.DataFrame:
    """The highest measured in each hour of the columns in MEASURED; NaN where none was.

    Args:
        rows: as in ``StationReport``.
    """
    quantities = [quantity for quantity in MEASURED if quantity in rows.columns]
    hours = rows[quantities].groupby(pd.DatetimeIndex(rows.index).floor("h"))
    return pd.DataFrame(hours.max(), columns=quantities)


def matched(
    source: str, issued_at: datetime, numbers: pd.DataFrame, whole: pd.DataFrame, measured: pd.DataFrame
) -> pd.DataFrame:
    """Pairs of one forecast with what came, a row for each hour and quantity that both give.

    Args:
        source: a ``SourceKind`` by its value, or WORST_OF_ALL.
        numbers, whole: as in ``SourceHours``, or ``worst`` and ``known`` of ``Conditions``. A number that isn't
            whole forecasts only a part of the sea, and is left out.
        measured: as from ``hourly_measured``.

    Returns:
        issued_at and valid_at (UTC), lead_h, quantity, source, forecast, observed. Hours that began before
        the forecast was issued are left out.
    """
    ahead = numbers.index[numbers.index >= pd.Timestamp(issued_at)].intersection(measured.index)
    parts = []
    for quantity in (q for q in MEASURED if q in numbers.columns and q in measured.columns):
        forecast = numbers.loc[ahead, quantity].where(whole.loc[ahead, quantity].astype(bool))
        pairs = pd.DataFrame({"forecast": forecast, "observed": measured.loc[ahead, quantity]}).astype(float)
        pairs = pairs.loc[pairs.index[np.isfinite(pairs.to_numpy()).all(axis=1)]]
        parts.append(pairs.assign(quantity=quantity, valid_at=pairs.index))
    if not parts:
        return pd.DataFrame(columns=list(_PAIR_COLUMNS))
    table = pd.concat(parts, ignore_index=True)
    issued = pd.Timestamp(issued_at).tz_convert("UTC")
    table = table.assign(
        source=source, issued_at=issued, lead_h=(table["valid_at"] - issued) / pd.Timedelta(hours=1)
    )
    return pd.DataFrame(table, columns=list(_PAIR_COLUMNS))


@dataclass(frozen=True)
class BinError:
    """Errors of one quantity and source at leads from ``from_h`` to before ``to_h``, in the quantity's unit.

    ``days`` counts the days (UTC) that pairs are of, or on which forecasts were issued where that is fewer: hours
    of one day err together, so days, not hours, say how much is known. ``bias`` and ``sd`` are mean and standard
    deviation, ``median`` and ``robust_sd`` (from the median absolute deviation) the same without the pull of
    outliers. Spreads of fewer than two pairs are None. ``area``: the one whose forecasts erred so.
    """

    source: str
    quantity: str
    from_h: float
    to_h: float
    pairs: int
    days: int
    bias: float
    median: float
    sd: float | None
    robust_sd: float | None
    area: str = ""


def errors_by_lead(pairs: pd.DataFrame, edges_h: Sequence[float]) -> tuple[BinError, ...]:
    """Bias and spread by source, quantity and lead, in that order; bins without a pair are absent.

    Args:
        pairs: as from ``matched``; several put together by ``pandas.concat``.
        edges_h: rising edges of the bins of lead time; leads outside of them are left out.
    """
    found = []
    for (source, quantity), group in pairs.groupby(["source", "quantity"], sort=True):
        lead_h = group["lead_h"].to_numpy(dtype=float)
        error = group["observed"].to_numpy(dtype=float) - group["forecast"].to_numpy(dtype=float)
        valid, issued = (pd.DatetimeIndex(group[at]).normalize() for at in ("valid_at", "issued_at"))
        for from_h, to_h in pairwise(edges_h):
            inside = (lead_h >= from_h) & (lead_h < to_h) & np.isfinite(error)
            if not inside.any():
                continue
            e = error[inside]
            median = float(np.median(e))
            several = len(e) > 1
            found.append(
                BinError(
                    source=str(source),
                    quantity=str(quantity),
                    from_h=from_h,
                    to_h=to_h,
                    pairs=len(e),
                    days=min(valid[inside].nunique(), issued[inside].nunique()),
                    bias=float(e.mean()),
                    median=median,
                    sd=float(e.std(ddof=1)) if several else None,
                    robust_sd=_MAD_TO_SD * float(np.median(np.abs(e - median))) if several else None,
                )
            )
    return tuple(found)


# ---- the error to reckon with


@dataclass(frozen=True)
class PriorError:
    """What is believed of a quantity's error before there is a record, in the quantity's unit.

    ``sd`` stands at ``lead_h`` (rising), straight lines between, level outside. ``bias`` holds at every lead.
    ``least_sd``: no record, however good, makes the spread toward rougher less than this.
    """

    lead_h: tuple[float, ...]
    sd: tuple[float, ...]
    least_sd: float
    bias: float = 0.0

    def __post_init__(self) -> None:
        rising = all(a < b for a, b in pairwise(self.lead_h))
        if not self.lead_h or len(self.lead_h) != len(self.sd) or not rising:
            raise ValueError(f"leads {self.lead_h} with spreads {self.sd}; write as many of both, leads rising")
        if not (min(self.sd) > 0 and self.least_sd > 0 and self.bias >= 0):
            raise ValueError(
                f"spreads {self.sd}, least {self.least_sd}, bias {self.bias}; write spreads above 0, no bias below"
            )

    def sd_at(self, lead_h: npt.ArrayLike) -> Numbers:
        return np.asarray(np.interp(np.asarray(lead_h, dtype=float), self.lead_h, self.sd), dtype=float)


@dataclass(frozen=True)
class ErrorModel:
    """A quantity's error by lead time: the prior, changed by the record as far as there is one.

    The spread toward rougher and the one toward calmer are kept apart, for only then can the record be held
    to the safe side: until it counts ``enough_days`` it may raise the bias and the rougher spread and lower the
    calmer one, never the other way. So no forecast looks calmer by a sparse record than by the prior alone.

    Attributes:
        edges_h: of the record's bins of lead time; the changes below are level within a bin. A bin without a day
            changes nothing, and past the last edge the last bin counts only as far as it makes for rougher.
        bias_change: added to the prior's bias. The sum is never below 0.
        rougher_factor, calmer_factor: the prior's spread is multiplied by these.
        days: days on record, by bin; of several areas those of the one that has fewest.
        unseen: areas that nothing is on record of, where something is of another.
    """

    quantity: str
    prior: PriorError
    enough_days: int
    edges_h: tuple[float, ...] = ()
    bias_change: tuple[float, ...] = ()
    rougher_factor: tuple[float, ...] = ()
    calmer_factor: tuple[float, ...] = ()
    days: tuple[int, ...] = ()
    unseen: tuple[str, ...] = ()

    @property
    def on_prior(self) -> bool:
        """Whether the prior still holds at some lead, which a letter must say."""
        return min(self.days, default=0) < self.enough_days

    def bias_at(self, lead_h: npt.ArrayLike) -> Numbers:
        change = self.bias_change
        return np.maximum(0.0, self.prior.bias + self._at(lead_h, change, max((0.0, *change[-1:]))))

    def rougher_sd_at(self, lead_h: npt.ArrayLike) -> Numbers:
        factor = self._at(lead_h, self.rougher_factor, max((1.0, *self.rougher_factor[-1:])))
        return np.maximum(self.prior.least_sd, self.prior.sd_at(lead_h) * factor)

    def calmer_sd_at(self, lead_h: npt.ArrayLike) -> Numbers:
        factor = self._at(lead_h, self.calmer_factor, min((1.0, *self.calmer_factor[-1:])))
        return self.prior.sd_at(lead_h) * factor

    def _at(self, lead_h: npt.ArrayLike, by_bin: tuple[float, ...], past: float) -> Numbers:
        """The value of each lead's bin, ``past`` from the last edge on."""
        bin_of = np.searchsorted(self.edges_h[1:], np.asarray(lead_h, dtype=float), side="right")
        return np.array([*by_bin, past])[bin_of]


def error_model(
    quantity: str,
    errors: Sequence[BinError],
    prior: PriorError,
    *,
    source: str,
    edges_h: Sequence[float],
    enough_days: int,
) -> ErrorModel:
    """The prior drawn toward the record of one source and quantity.

    The prior counts as ``enough_days`` days beside those of a bin. What makes for rougher counts from the first
    day, what makes for calmer only by the days past ``enough_days``. Of mean and median, and of both spreads, the
    one toward safety is taken.

    Args:
        errors: as from ``errors_by_lead`` with the same ``edges_h``, the first of which is 0; those of other
            sources and quantities are passed over.

    Raises:
        ValueError: ``enough_days`` is below 1.
    """
    if enough_days < 1:
        raise ValueError(f"enough_days is {enough_days}; write a number of days from 1")
    record = {b.from_h: b for b in errors if (b.quantity, b.source) == (quantity, source)}
    bias_change, rougher, calmer, days = [], [], [], []
    for from_h, to_h in pairwise(edges_h):
        bin_ = record.get(from_h)
        if bin_ is None:
            bias_change.append(0.0)
            rougher.append(1.0)
            calmer.append(1.0)
            days.append(0)
            continue
        prior_sd = float(prior.sd_at((from_h + to_h) / 2))
        early = bin_.days / (bin_.days + enough_days)
        past = max(0, bin_.days - enough_days)
        late = past / (past + enough_days)
        change = max(bin_.bias, bin_.median) - prior.bias
        spreads = [sd for sd in (bin_.sd, bin_.robust_sd) if sd is not None] or [prior_sd]
        bias_change.append(change * (early if change > 0 else late))
        rougher.append(_factor(max(spreads) / prior_sd, early, late, safer_above=True))
        calmer.append(_factor(min(spreads) / prior_sd, early, late, safer_above=False))
        days.append(bin_.days)
    return ErrorModel(
        quantity=quantity,
        prior=prior,
        enough_days=enough_days,
        edges_h=tuple(edges_h),
        bias_change=tuple(bias_change),
        rougher_factor=tuple(rougher),
        calmer_factor=tuple(calmer),
        days=tuple(days),
    )


def worse_of(models: Sequence[ErrorModel]) -> ErrorModel:
    """At each lead what is rougher of several areas' models, and the fewest days of them.

    Their errors are not pooled: forecasts too rough for one area would make up for those too calm for another.

    Args:
        models: at least one, all of one quantity, prior and ``edges_h``.
    """
    return replace(
        models[0],
        bias_change=tuple(map(max, zip(*(model.bias_change for model in models), strict=True))),
        rougher_factor=tuple(map(max, zip(*(model.rougher_factor for model in models), strict=True))),
        calmer_factor=tuple(map(min, zip(*(model.calmer_factor for model in models), strict=True))),
        days=tuple(map(min, zip(*(model.days for model in models), strict=True))),
    )


def _factor(ratio: float, early: float, late: float, *, safer_above: bool) -> float:
    """Root of the variances' mean, as factor of the prior's spread; ``ratio`` is the record's spread over it."""
    weight = early if (ratio > 1) == safer_above else late
    return float(np.sqrt(1 + weight * (ratio**2 - 1)))


# ---- what the sea did on a day


@dataclass(frozen=True)
class PlaceSeen:
    """A place of a trip, its limits, and what was measured in its area, as from ``hourly_measured``.

    A quantity that the area's station doesn't measure has no column; without a station there is none at all.
    """

    area: str
    measured: pd.DataFrame = field(repr=False)
    limits: Limits

    @property
    def asked(self) -> tuple[str, ...]:
        """What is limited and measured."""
        return tuple(quantity for quantity in self._limited if quantity in self.measured.columns)

    @property
    def lacking(self) -> tuple[str, ...]:
        """What is limited and could be measured, but isn't."""
        return tuple(quantity for quantity in self._limited if quantity not in self.measured.columns)

    @property
    def _limited(self) -> tuple[str, ...]:
        return tuple(quantity for quantity in self.limits.given() if quantity in MEASURED)


def seen_fit(places: Sequence[PlaceSeen], begins: datetime, ends: datetime, *, needed_min: float) -> bool | None:
    """Whether measurements show ``needed_min`` on end inside the limits of all ``places`` at once.

    None: they can't tell, for what is lacking decides, or nothing of the limits is measured anywhere. True is as
    far as was measured: each place tells what is ``lacking``. For a trip that was called give its own span and the
    whole of it as ``needed_min``.
    """
    if not any(place.asked for place in places):
        return None
    hours = pd.date_range(pd.Timestamp(begins).floor("h"), pd.Timestamp(ends), freq="h", inclusive="left")
    inside, outside = np.ones(len(hours), dtype=bool), np.zeros(len(hours), dtype=bool)
    for place in places:
        limits = place.limits.given()
        for quantity in place.asked:
            value = place.measured[quantity].reindex(hours).to_numpy(dtype=float)
            inside &= value <= limits[quantity]
            outside |= value > limits[quantity]
    if _longest_min(inside, hours, begins, ends) >= needed_min:
        return True
    return None if _longest_min(~outside, hours, begins, ends) >= needed_min else False


def _longest_min(ok: npt.NDArray[np.bool_], hours: pd.DatetimeIndex, begins: datetime, ends: datetime) -> float:
    longest = timedelta(0)
    since: datetime | None = None
    for hour, good in zip(hours.to_pydatetime(), ok, strict=True):
        since = (since or max(hour, begins)) if good else None
        if since is not None:
            longest = max(longest, min(hour + timedelta(hours=1), ends) - since)
    return longest / timedelta(minutes=1)


@dataclass(frozen=True)
class CalledDay:
    """What was called for a day, by its word, and whether the sea was fit (``seen_fit``).

    ``whole``: all of the limits that stations can measure was measured, at every place.
    """

    day: date
    word: str
    fit: bool | None
    whole: bool


@dataclass(frozen=True)
class CallTally:
    """What came of the days that were called.

    hits: PULL, and inside the limits. false_calls: PULL, and outside. misses: WAIT, and it was fit. right_waits:
    WAIT, and it was not. Days of NO CALL forecast nothing and are counted by themselves; ``not_seen`` are the
    days of any word that measurements can't tell, which count nowhere else. ``as_far``: of hits and misses, those
    that were fit as far as was measured, which wasn't everything.
    """

    hits: int = 0
    false_calls: int = 0
    misses: int = 0
    right_waits: int = 0
    no_call_fit: int = 0
    no_call_not_fit: int = 0
    not_seen: int = 0
    as_far: int = 0

    @property
    def pulls(self) -> int:
        """Days called PULL of which it is known how they turned out."""
        return self.hits + self.false_calls

    @property
    def contingency(self) -> Contingency:
        return Contingency(self.hits, self.false_calls, self.misses, self.right_waits)


_COUNTED: Mapping[tuple[str, bool], str] = {
    ("PULL", True): "hits",
    ("PULL", False): "false_calls",
    ("WAIT", True): "misses",
    ("WAIT", False): "right_waits",
    ("NO CALL", True): "no_call_fit",
    ("NO CALL", False): "no_call_not_fit",
}


def call_record(days: Sequence[CalledDay]) -> CallTally:
    """Counts of days.

    Raises:
        ValueError: a day has another word than PULL, WAIT or NO CALL.
    """
    counts: dict[str, int] = {}
    for called in days:
        if (called.word, True) not in _COUNTED:
            raise ValueError(f"{called.day} was called {called.word!r}; write PULL, WAIT or NO CALL")
        counted = "not_seen" if called.fit is None else _COUNTED[called.word, called.fit]
        counts[counted] = counts.get(counted, 0) + 1
        if counted in ("hits", "misses") and not called.whole:
            counts["as_far"] = counts.get("as_far", 0) + 1
    return CallTally(**counts)


# ---- verification


def _share(part: float, whole: float) -> float | None:
    return part / whole if whole else None


@dataclass(frozen=True)
class Contingency:
    """Yes-or-no forecasts against what came. A score is None where its denominator is 0.

    Definitions: Wilks, Statistical Methods in the Atmospheric Sciences; WWRP/WGNE forecast verification pages
    (cawcr.gov.au/projects/verification).
    """

    hits: int
    false_alarms: int
    misses: int
    correct_negatives: int

    @property
    def n(self) -> int:
        return self.hits + self.false_alarms + self.misses + self.correct_negatives

    @property
    def proportion_correct(self) -> float | None:
        return _share(self.hits + self.correct_negatives, self.n)

    @property
    def frequency_bias(self) -> float | None:
        return _share(self.hits + self.false_alarms, self.hits + self.misses)

    @property
    def detected(self) -> float | None:
        """Probability of detection, POD: share of what came that was forecast."""
        return _share(self.hits, self.hits + self.misses)

    @property
    def false_alarm_ratio(self) -> float | None:
        """FAR: share of what was forecast that didn't come."""
        return _share(self.false_alarms, self.hits + self.false_alarms)

    @property
    def false_detected(self) -> float | None:
        """Probability of false detection, POFD: share of what didn't come that was forecast."""
        return _share(self.false_alarms, self.false_alarms + self.correct_negatives)

    @property
    def critical_success(self) -> float | None:
        """CSI, the threat score."""
        return _share(self.hits, self.hits + self.false_alarms + self.misses)

    @property
    def random_hits(self) -> float | None:
        """Hits that would be expected were forecasts and events independent."""
        return _share((self.hits + self.false_alarms) * (self.hits + self.misses), self.n)

    @property
    def equitable_threat(self) -> float | None:
        """ETS, Gilbert's skill score."""
        by_luck = self.random_hits
        if by_luck is None:
            return None
        return _share(self.hits - by_luck, self.hits + self.false_alarms + self.misses - by_luck)

    @property
    def peirce(self) -> float | None:
        """POD less POFD: Peirce, Hanssen and Kuipers, true skill statistic."""
        if self.detected is None or self.false_detected is None:
            return None
        return self.detected - self.false_detected

    @property
    def heidke(self) -> float | None:
        a, b, c, d = self.hits, self.false_alarms, self.misses, self.correct_negatives
        return _share(2.0 * (a * d - b * c), (a + c) * (c + d) + (a + b) * (b + d))

    @property
    def odds_ratio(self) -> float | None:
        return _share(self.hits * self.correct_negatives, self.false_alarms * self.misses)


TENTHS = tuple(n / 10 for n in range(11))


@dataclass(frozen=True)
class ReliabilityRow:
    """Chances that lay from ``from_chance`` to before ``to_chance`` (the last row includes its end).

    ``days`` counts the different days that the chances ``given`` were of. ``low`` and ``high`` bound ``share``,
    the part of the chances that came, at 80 % (Wilson 1927) for so many days: the chances of one day come or fail
    together.
    """

    from_chance: float
    to_chance: float
    given: int
    days: int
    mean_chance: float
    came: int
    share: float
    low: float
    high: float


@dataclass(frozen=True)
class BrierParts:
    """Brier score of the chances ``given``, which were of so many ``days``, and the parts it is the sum of.

    ``score = reliability - resolution + uncertainty + within_variance - within_covariance``, exactly. The first
    three are Murphy's (1973) on the bins' means; the other two are what binning leaves over (Stephenson, Coelho
    and Jolliffe 2008, Weather and Forecasting 23:752).
    """

    given: int
    days: int
    score: float
    reliability: float
    resolution: float
    uncertainty: float
    within_variance: float
    within_covariance: float
    rows: tuple[ReliabilityRow, ...] = field(repr=False)

    @property
    def skill(self) -> float | None:
        """1 perfect, 0 as good as always giving the share of the days on record, below 0 worse."""
        return None if self.uncertainty == 0 else 1 - self.score / self.uncertainty


def brier(
    chances: Sequence[float],
    came: Sequence[bool | None],
    edges: Sequence[float] = TENTHS,
    *,
    days: Sequence[date] | None = None,
) -> BrierParts | None:
    """Chances given beforehand against what came; None where none can be told.

    Args:
        came: by chance; None: it can't be told, and isn't counted.
        edges: rising, from 0 to 1.
        days: the day that each chance was of; None: all different.

    Raises:
        ValueError: a chance isn't a number from 0 to 1.
    """
    day_of = range(len(chances)) if days is None else [day.toordinal() for day in days]
    told = [found for found in zip(chances, came, day_of, strict=True) if found[1] is not None]
    if not told:
        return None
    p = np.array([chance for chance, _, _ in told], dtype=float)
    o = np.array([fit for _, fit, _ in told], dtype=float)
    d = np.array([day for _, _, day in told])
    if not ((p >= 0) & (p <= 1)).all():
        raise ValueError(f"a chance of {p[~((p >= 0) & (p <= 1))][0]}; write one from 0 to 1")
    # A chance like 0.1 + 0.2 lies a hair beside an edge it is meant to lie on.
    bin_of = np.clip(np.searchsorted(edges, np.round(p, 12), side="right") - 1, 0, len(edges) - 2)
    base = float(o.mean())
    rows = []
    parts = np.zeros(4)
    for k in np.unique(bin_of).tolist():
        inside = bin_of == k
        count, mean_p, share = int(inside.sum()), float(p[inside].mean()), float(o[inside].mean())
        off_p, off_o = p[inside] - mean_p, o[inside] - share
        parts += (
            count * (mean_p - share) ** 2,
            count * (share - base) ** 2,
            float((off_p**2).sum()),
            2 * float((off_p * off_o).sum()),
        )
        different = len(np.unique(d[inside]))
        low, high = wilson_80(share, different)
        came_true = int(o[inside].sum())
        rows.append(ReliabilityRow(edges[k], edges[k + 1], count, different, mean_p, came_true, share, low, high))
    reliability, resolution, variance, covariance = (parts / len(told)).tolist()
    return BrierParts(
        given=len(told),
        days=len(np.unique(d)),
        score=float(((p - o) ** 2).mean()),
        reliability=reliability,
        resolution=resolution,
        uncertainty=base * (1 - base),
        within_variance=variance,
        within_covariance=covariance,
        rows=tuple(rows),
    )


def wilson_80(share: float, count: int) -> tuple[float, float]:
    """Bounds of the true share at 80 % where ``share`` of ``count`` came (Wilson 1927)."""
    z2 = _Z80**2
    middle = (share + z2 / (2 * count)) / (1 + z2 / count)
    half = _Z80 / (1 + z2 / count) * float(np.sqrt(share * (1 - share) / count + z2 / (4 * count**2)))
    return max(0.0, middle - half), min(1.0, middle + half)


def pairs_together(tables: Sequence[pd.DataFrame]) -> pd.DataFrame:
    """Pairs of many forecasts in one table, each hour, quantity, source and issue once."""
    filled = [table for table in tables if len(table)]
    if not filled:
        return pd.DataFrame(columns=list(_PAIR_COLUMNS))
    keys = ["source", "issued_at", "valid_at", "quantity"]
    return pd.DataFrame(pd.concat(filled, ignore_index=True).drop_duplicates(keys, ignore_index=True))
