"""From the periods of a zone forecast to an hourly table. Pure."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
import pandas as pd

from soakbell.sea.sources import QUANTITIES, SourceHours, SourceKind
from soakbell.sea.zone_forecast import AreaState, ForecastPeriod, ZoneForecast

_HOUR = timedelta(hours=1)


@dataclass(frozen=True)
class _Said:
    """What one period says of a place. A None was not said; ``sea_whole`` as in ``AreaState``."""

    wind_kt: float | None
    gust_kt: float | None
    wind_from_deg: float | None
    sea_m: float | None
    sea_whole: bool
    period_s: float | None
    thunder_pct: float | None
    visibility_nm: float | None
    unclear: str


def hours_of_zone_forecast(
    forecast: ZoneForecast, *, area: str | None, chop_m: Mapping[str, float]
) -> SourceHours:
    """The hourly numbers of one zone's forecast, upper ends, the worst where periods overlap.

    Args:
        forecast: a segment with periods; ``key`` of the result joins its zones by hyphens.
        area: the part of the zone the place is told to lie in, as the forecast names it ("northern portion",
            case and points don't matter); None, or a part that a period doesn't name: the worst of all parts.
        chop_m: height in metres for each chop word ("choppy", "a moderate chop") where the place is told to lie
            in protected waters; empty elsewhere, then chop words are passed over in favour of seas, but "rough"
            and "a heavy chop" leave the period unclear: they may be said of the open waters.

    Returns:
        Hours from the first period's start to the last one's end. An hour is unclear where its period, or its
        segment, has something not understood, where a period whose name isn't understood may cover it, or where
        no period covers it. ``whole`` is False for a sea given in part only.
    """
    timed = [period for period in forecast.periods if period.starts_at is not None and period.ends_at is not None]
    index = _index(timed)
    gathered: list[list[_Said]] = [[] for _ in index]
    unclear: list[list[str]] = [[] for _ in index]
    for period in timed:
        said = _said(period, area, chop_m)
        for at in _hours_between(index, period.starts_at, period.ends_at):
            gathered[at].append(said)
            if said.unclear:
                unclear[at].append(said.unclear)
    _mark_nameless(forecast.periods, index, unclear)
    for at, said_at in enumerate(gathered):
        if not said_at:
            _mark_gap(at, unclear)
    if forecast.not_understood:
        everywhere = f"segment: {'; '.join(forecast.not_understood)}"
        for reasons in unclear:
            reasons.insert(0, everywhere)
    rows = [_worst(said_at) for said_at in gathered]
    numbers = pd.DataFrame([row[0] for row in rows], index=index, columns=list(QUANTITIES), dtype=float)
    whole = pd.DataFrame([row[1] for row in rows], index=index, columns=list(QUANTITIES), dtype=bool)
    return SourceHours(
        kind=SourceKind.ZONE_TEXT,
        key="-".join(forecast.zones),
        issued_at=forecast.issued_at,
        expires_at=forecast.expires_at,
        numbers=numbers,
        whole=whole,
        unclear=pd.Series(["; ".join(dict.fromkeys(reasons)) for reasons in unclear], index=index, dtype=object),
    )


def _index(periods: Sequence[ForecastPeriod]) -> pd.DatetimeIndex:
    starts = [period.starts_at for period in periods if period.starts_at is not None]
    ends = [period.ends_at for period in periods if period.ends_at is not None]
    if not starts or not ends:
        return pd.DatetimeIndex([], tz="UTC")
    first = pd.Timestamp(min(starts)).floor("h")
    return pd.date_range(first, pd.Timestamp(max(ends)), freq="h", inclusive="left")


def _hours_between(index: pd.DatetimeIndex, starts_at: datetime | None, ends_at: datetime | None) -> range:
    """Places of the hours that the time touches; an open end reaches to the end of the index."""
    if starts_at is None:
        first = 0
    else:
        first = int(index.searchsorted(pd.Timestamp(starts_at - _HOUR), side="right"))
    last = len(index) if ends_at is None else int(index.searchsorted(pd.Timestamp(ends_at), side="left"))
    return range(first, last)


def _mark_nameless(
    periods: Sequence[ForecastPeriod], index: pd.DatetimeIndex, unclear: Sequence[list[str]]
) -> None:
    """A period without a known time may be anywhere from the one before it to the one after it.

    Where the periods don't stand in order that can't be told either, so it may be anywhere.
    """
    starts = [period.starts_at for period in periods if period.starts_at is not None]
    in_order = starts == sorted(starts)
    for at, period in enumerate(periods):
        if period.starts_at is not None:
            continue
        before = [other.starts_at for other in periods[:at] if other.starts_at is not None]
        after = [other.ends_at for other in periods[at + 1 :] if other.ends_at is not None]
        first = before[-1] if before and in_order else None
        last = after[0] if after and in_order else None
        for hour in _hours_between(index, first, last):
            unclear[hour].append(f"a period of unknown time: {period.label}")


def _mark_gap(at: int, unclear: Sequence[list[str]]) -> None:
    """The hours beside a gap are unclear too: where a zone has two clocks they belong to both periods."""
    for hour in range(max(at - 1, 0), min(at + 2, len(unclear))):
        unclear[hour].append("no period of the forecast covers this hour" if hour == at else "beside a gap")


def _said(period: ForecastPeriod, area: str | None, chop_m: Mapping[str, float]) -> _Said:
    states = _states_for(period.states, area)
    unclear = "; ".join(period.not_understood)
    strongest = max((s for s in states if s.wind_kt is not None), key=lambda s: _high(s) or 0.0, default=None)
    seas = [state for state in states if state.sea_m is not None]
    sea_m = _max(state.sea_m.high for state in seas if state.sea_m is not None)
    sea_whole = bool(seas) and all(state.sea_whole for state in seas)
    if chop_m and period.chop:
        sea_m, sea_whole, missing = _chop(period.chop, chop_m)
        unclear = "; ".join(part for part in (unclear, missing) if part)
    elif any(word in period.chop for word in ("rough", "heavy")):
        unclear = "; ".join(part for part in (unclear, period.chop) if part)
    return _Said(
        wind_kt=_max(_high(state) for state in states),
        gust_kt=_max(state.gust_kt for state in states),
        wind_from_deg=None if strongest is None else strongest.wind_from_deg,
        sea_m=sea_m,
        sea_whole=sea_whole,
        period_s=_min(state.period_s for state in states),
        thunder_pct=period.thunder_pct,
        visibility_nm=period.visibility_nm,
        unclear=unclear,
    )


def _states_for(states: Sequence[AreaState], area: str | None) -> list[AreaState]:
    """The states that count for a place in ``area``, each cut down to the quantities it is asked for.

    The part's own state and that of the zone as a whole both count, for the zone's words may mean the part too;
    other named parts are dropped. What neither says is the worst of all parts.
    """
    wanted = _plain(area or "")
    if not wanted or not any(_plain(state.area) == wanted for state in states):
        return list(states)
    near = [state for state in states if _plain(state.area) in (wanted, "")]
    chosen: list[AreaState] = []
    for cut in _CUTS:
        said = [state for state in map(cut, near) if _says_something(state)]
        chosen.extend(said or [state for state in map(cut, states) if _says_something(state)])
    return chosen


def _only_wind(state: AreaState) -> AreaState:
    return AreaState(state.area, state.wind_kt, None, state.wind_from_deg, None, False, None)


def _only_gust(state: AreaState) -> AreaState:
    return AreaState(state.area, None, state.gust_kt, None, None, False, None)


def _only_sea(state: AreaState) -> AreaState:
    return AreaState(state.area, None, None, None, state.sea_m, state.sea_whole, None)


def _only_period(state: AreaState) -> AreaState:
    return AreaState(state.area, None, None, None, None, False, state.period_s)


_CUTS: tuple[Callable[[AreaState], AreaState], ...] = (_only_wind, _only_gust, _only_sea, _only_period)


def _says_something(state: AreaState) -> bool:
    return any(said is not None for said in (state.wind_kt, state.gust_kt, state.sea_m, state.period_s))


def _plain(area: str) -> str:
    return " ".join(area.casefold().replace(".", " ").replace(",", " ").split())


def _high(state: AreaState) -> float | None:
    return None if state.wind_kt is None else state.wind_kt.high


def _chop(chop: str, chop_m: Mapping[str, float]) -> tuple[float | None, bool, str]:
    """Highest height that the chop words stand for, whether it is known, and what has no height."""
    phrases = [phrase.strip() for phrase in chop.split(";")]
    unknown = [phrase for phrase in phrases if phrase not in chop_m]
    if unknown:
        return None, False, f"no height is set for {', '.join(unknown)}"
    return max(chop_m[phrase] for phrase in phrases), True, ""


def _worst(said: Sequence[_Said]) -> tuple[list[float], list[bool]]:
    """One hour's numbers in the order of QUANTITIES, and which of them stand for the whole quantity."""
    strongest = max((s for s in said if s.wind_kt is not None), key=lambda s: s.wind_kt or 0.0, default=None)
    numbers = {
        "wind_kt": _max(s.wind_kt for s in said),
        "gust_kt": _max(s.gust_kt for s in said),
        "wind_from_deg": None if strongest is None else strongest.wind_from_deg,
        "sea_m": _max(s.sea_m for s in said),
        "period_s": _min(s.period_s for s in said),
        "thunder_pct": _max(s.thunder_pct for s in said),
        "visibility_nm": _min(s.visibility_nm for s in said),
    }
    complete = {
        "wind_kt": all(s.wind_kt is not None for s in said),
        "sea_m": all(s.sea_m is not None and s.sea_whole for s in said),
        "thunder_pct": all(s.thunder_pct is not None for s in said),
    }
    values = [np.nan if numbers[name] is None else float(numbers[name] or 0.0) for name in QUANTITIES]
    return values, [numbers[name] is not None and complete.get(name, True) for name in QUANTITIES]


def _max(values: Iterable[float | None]) -> float | None:
    return max((value for value in values if value is not None), default=None)


def _min(values: Iterable[float | None]) -> float | None:
    return min((value for value in values if value is not None), default=None)
