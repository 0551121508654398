"""One hourly table a place: the worst of all that the sources say, and whether that is enough to go by."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

import numpy as np
import pandas as pd

from soakbell.sea.sources import QUANTITIES, SourceHours, SourceKind

OFFICIAL = frozenset({SourceKind.ZONE_TEXT, SourceKind.GRID})
"""Only these carry a call. Others may make it stricter."""

GUST_ROUNDING_KT = 0.5
SEA_ROUNDING_M = 0.05
"""How far numbers that are rounded on their way may seem to contradict each other."""

LEAST_OF_A_PART = 0.5
"""Share of a part's upper end below which a whole sea isn't believed (house rule)."""

LOWER_IS_WORSE = frozenset({"period_s", "visibility_nm"})
"""Short waves are steeper; the rest is worse when higher. Direction has no worse side and isn't compared."""


@dataclass(frozen=True)
class Requirement:
    """What must be there before an hour counts as known.

    ``quantity`` must be given by ``kind`` in every hour from ``from_at`` to ``to_at`` (None: open ended).
    """

    kind: SourceKind
    quantity: str
    from_at: datetime | None = None
    to_at: datetime | None = None


@dataclass(frozen=True)
class Bar:
    """Something official that forbids an hour: a warning, a headline, a hazard of the grid."""

    code: str
    starts_at: datetime
    ends_at: datetime | None
    values: Mapping[str, object] = field(default_factory=dict)

    def holds_between(self, from_at: datetime, to_at: datetime) -> bool:
        return self.starts_at < to_at and (self.ends_at is None or self.ends_at > from_at)


@dataclass(frozen=True)
class Gap:
    """An hour in which two sources differ by more than ``most``, in the unit of ``quantity``.

    ``most`` 0: the lower one is a whole sea, the higher one only a part of it.
    """

    at: datetime
    quantity: str
    low: float
    low_source: str
    high: float
    high_source: str
    most: float


@dataclass(frozen=True)
class Conditions:
    """What is said of one place.

    Attributes:
        place: the forecast area's name.
        worst: hourly UTC index, QUANTITIES; the worst of all sources, NaN where none gives a number.
        source_of: same shape, text; which source gave the worst number.
        known: same shape, bool; every required source gave the quantity, and an official one gave it whole.
        lacking: same index; the first Requirement that isn't met, None where all are.
        lacked_by: same shape as known, text; the first kind of source that should have given the quantity and
            didn't, "" where none is to blame.
        unclear: same index, text; what a source said that wasn't understood, or that contradicts itself.
        gaps: hours in which sources contradict each other.
        bars: what forbids hours here.
        bars_known: False where it isn't known whether a warning is in force: then no hour is known.
    """

    place: str
    worst: pd.DataFrame = field(repr=False)
    source_of: pd.DataFrame = field(repr=False)
    known: pd.DataFrame = field(repr=False)
    lacking: pd.Series[Any] = field(repr=False)
    lacked_by: pd.DataFrame = field(repr=False)
    unclear: pd.Series[str] = field(repr=False)
    gaps: tuple[Gap, ...] = field(repr=False)
    bars: tuple[Bar, ...]
    bars_known: bool


def worst_of(
    place: str,
    hours: pd.DatetimeIndex,
    sources: Sequence[SourceHours],
    *,
    required: Collection[Requirement],
    large_gap: Mapping[str, float],
    bars: Sequence[Bar],
    bars_known: bool,
) -> Conditions:
    """Lay the sources of one place over each other.

    Args:
        hours: hourly UTC index of the table to make.
        sources: fresh ones only; a stale or broken source is left out by the caller, and so lacks.
        required: see Requirement. Wind and sea are always asked of an official source.
        large_gap: quantity -> difference past which two sources contradict each other.
    """
    shape = (len(sources), len(hours), len(QUANTITIES))
    numbers = np.full(shape, np.nan)
    whole = np.zeros(shape, dtype=bool)
    unclear = pd.Series("", index=hours, dtype=object)
    for i, source in enumerate(sources):
        numbers[i] = source.numbers.reindex(index=hours, columns=list(QUANTITIES)).to_numpy(dtype=float)
        said_whole = source.whole.reindex(index=hours, columns=list(QUANTITIES), fill_value=False)
        whole[i] = said_whole.to_numpy(dtype=bool) & ~np.isnan(numbers[i])
        said = source.unclear.reindex(hours, fill_value="")
        said = said.where(said != "", _gust_below_wind(numbers[i], hours))
        fresh_trouble = (unclear == "") & (said != "")
        unclear[fresh_trouble] = f"{source.kind.value}: " + said[fresh_trouble]

    worst, source_of = _worst(numbers, sources, hours)
    official = np.array([s.kind in OFFICIAL for s in sources], dtype=bool)
    whole_official = (whole & official[:, None, None]).any(axis=0) if len(sources) else np.zeros(shape[1:], bool)
    known = pd.DataFrame(whole_official, index=hours, columns=list(QUANTITIES))
    lacking = np.full(len(hours), None, dtype=object)
    lacked_by = np.full(shape[1:], "", dtype=object)
    for need in sorted(required, key=lambda r: (r.kind.value, r.quantity)):
        q = QUANTITIES.index(need.quantity)
        given = np.zeros(len(hours), dtype=bool)
        for i, source in enumerate(sources):
            if source.kind is need.kind:
                given |= ~np.isnan(numbers[i, :, q])
        asked = np.ones(len(hours), dtype=bool)
        if need.from_at is not None:
            asked &= hours >= pd.Timestamp(need.from_at).floor("h")
        if need.to_at is not None:
            asked &= hours < pd.Timestamp(need.to_at)
        missing = asked & ~given
        known.loc[missing, need.quantity] = False
        lacking[missing & pd.isna(lacking)] = need
        lacked_by[missing & (lacked_by[:, q] == ""), q] = need.kind.value

    return Conditions(
        place=place,
        worst=worst,
        source_of=source_of,
        known=known,
        lacking=pd.Series(lacking, index=hours, dtype=object),
        lacked_by=pd.DataFrame(lacked_by, index=hours, columns=list(QUANTITIES)),
        unclear=unclear,
        gaps=(
            *_gaps(numbers, whole, sources, hours, large_gap),
            *_less_than_a_part(numbers, whole, sources, hours),
        ),
        bars=tuple(bars),
        bars_known=bars_known,
    )


def _gust_below_wind(numbers: np.ndarray, hours: pd.DatetimeIndex) -> pd.Series[str]:
    """What to say of hours in which one source gives a gust below its own sustained wind; else empty."""
    wind_kt, gust_kt = (numbers[:, QUANTITIES.index(quantity)] for quantity in ("wind_kt", "gust_kt"))
    said = pd.Series("", index=hours, dtype=object)
    for h in np.flatnonzero(gust_kt < wind_kt - GUST_ROUNDING_KT).tolist():
        said.iloc[h] = f"a gust of {gust_kt[h]:.1f} kt below a wind of {wind_kt[h]:.1f} kt"
    return said


def _worst(
    numbers: np.ndarray, sources: Sequence[SourceHours], hours: pd.DatetimeIndex
) -> tuple[pd.DataFrame, pd.DataFrame]:
    worst = np.full(numbers.shape[1:], np.nan)
    source_of = np.full(numbers.shape[1:], "", dtype=object)
    for i, source in enumerate(sources):
        for q, quantity in enumerate(QUANTITIES):
            said = numbers[i, :, q]
            sofar = worst[:, q]
            worse = said < sofar if quantity in LOWER_IS_WORSE else said > sofar
            takes = ~np.isnan(said) & (np.isnan(sofar) | worse)
            worst[takes, q] = said[takes]
            source_of[takes, q] = source.kind.value
    columns = list(QUANTITIES)
    return pd.DataFrame(worst, hours, columns), pd.DataFrame(source_of, hours, columns)


def _gaps(
    numbers: np.ndarray,
    whole: np.ndarray,
    sources: Sequence[SourceHours],
    hours: pd.DatetimeIndex,
    large_gap: Mapping[str, float],
) -> tuple[Gap, ...]:
    gaps: list[Gap] = []
    if len(sources) > 1:
        for quantity, most in large_gap.items():
            q = QUANTITIES.index(quantity)
            noughts = numbers[:, :, q] == 0  # a nought may not carry, yet what others say can contradict it
            said = np.where(whole[:, :, q] | noughts, numbers[:, :, q], np.nan)
            known = ~np.isnan(said)
            lowest = np.where(known, said, np.inf).argmin(axis=0)
            highest = np.where(known, said, -np.inf).argmax(axis=0)
            at_hour = np.arange(len(hours))
            apart = said[highest, at_hour] - said[lowest, at_hour]
            for h in np.flatnonzero((known.sum(axis=0) > 1) & (apart > most)).tolist():
                low_i, high_i = int(lowest[h]), int(highest[h])
                low, high = float(said[low_i, h]), float(said[high_i, h])
                low_source, high_source = sources[low_i].kind.value, sources[high_i].kind.value
                gaps.append(Gap(hours[h].to_pydatetime(), quantity, low, low_source, high, high_source, most))
    return tuple(gaps)


def _less_than_a_part(
    numbers: np.ndarray, whole: np.ndarray, sources: Sequence[SourceHours], hours: pd.DatetimeIndex
) -> Iterator[Gap]:
    """Hours in which an official source's whole sea is far below what a text gives for a part of it.

    The text gives a part by its upper end ("2 feet or less"), which the part itself may lie well below.
    """
    q = QUANTITIES.index("sea_m")
    part_m, part_of = np.full(len(hours), -np.inf), [""] * len(hours)
    whole_m, whole_of = np.full(len(hours), np.inf), [""] * len(hours)
    for i, source in enumerate(sources):
        kind, sea_m = source.kind, numbers[i, :, q]
        for h in np.flatnonzero(~np.isnan(sea_m)).tolist():
            if whole[i, h, q] and kind in OFFICIAL and sea_m[h] < whole_m[h]:
                whole_m[h], whole_of[h] = sea_m[h], kind.value
            elif not whole[i, h, q] and kind is SourceKind.ZONE_TEXT and sea_m[h] > part_m[h]:
                part_m[h], part_of[h] = sea_m[h], kind.value
    for h in np.flatnonzero(whole_m < LEAST_OF_A_PART * part_m - SEA_ROUNDING_M).tolist():
        at = hours[h].to_pydatetime()
        yield Gap(at, "sea_m", float(whole_m[h]), whole_of[h], float(part_m[h]), part_of[h], 0.0)
