"""How often days were fit in other years, counted for a forecast area from a station's yearly files and kept.

It is kept with the limits it was counted by: once the skipper's limits change, it isn't used until it is counted
anew, since a tightened limit must not leave a loose chance behind.
"""

from __future__ import annotations

import hashlib
import json
import logging
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

import pandas as pd
from pydantic import TypeAdapter, ValidationError

from soakbell.due_times import due_at, local_day
from soakbell.errors import Fault, SettingsError
from soakbell.feeds.ndbc_history import joined, parse_history, station_of
from soakbell.letters.words import listed
from soakbell.morning import working_day
from soakbell.plan_settings import Weather, terms_of
from soakbell.planning.fit_chance import DaySpan, day_span
from soakbell.planning.fit_climate import FitClimate, fit_climate, fit_days, prior_climate
from soakbell.planning.plan_terms import PlanTerms
from soakbell.planning.season_told import YearsCounted
from soakbell.sea.limits import Limits
from soakbell.sea.trust import MEASURED, hourly_measured
from soakbell.settings import Settings
from soakbell.store.engine import Store
from soakbell.store.letters import get_note, put_note

log = logging.getLogger(__name__)

_NOTE_VERSION = 1
_MINUTES_AN_HOUR = 60
_ONE_DAY = timedelta(days=1)


@dataclass(frozen=True)
class AreaClimate:
    """What was counted for one forecast area, and by what.

    Attributes:
        station: its id.
        files: names of the files that were read.
        limits: what hours were held against, by quantity of ``MEASURED``.
        not_held: limits of the skipper that weren't, as stations don't measure them or this one doesn't. The
            chance comes out too high by them.
        needed_h: whole trip, from harbor to harbor, ``break_margin_h`` after it must be fit as well.
    """

    area: str
    station: str
    files: tuple[str, ...]
    limits: Mapping[str, float]
    not_held: tuple[str, ...]
    needed_h: float
    break_margin_h: float
    climate: FitClimate


_RECORD = TypeAdapter(AreaClimate)


def usual_by_month(settings: Settings) -> tuple[float, ...]:
    """The chances held beforehand, January first: of the plan file, or Soakbell's own where it can't be used."""
    terms = terms_of(settings)
    return terms.usual_fit_chance if isinstance(terms, PlanTerms) else Weather().usual_fit_chance


def usual_trip_h(settings: Settings) -> float:
    """The longest trip that a usual day carries."""
    terms = terms_of(settings)
    if isinstance(terms, PlanTerms):
        return terms.usual_window_min / _MINUTES_AN_HOUR
    return Weather().usual_window_h


def area_limits(settings: Settings, area: str) -> Limits:
    """The boat's limits, tightened by every string that lies in the area."""
    limits = settings.limits_for(None)
    for string in settings.trap_strings:
        if string.area == area:
            limits = limits.tightened_by(settings.limits_for(string.name))
    return limits


def count_climate(
    settings: Settings,
    area: str,
    files: Sequence[tuple[str, bytes]],
    *,
    station: str | None = None,
    needed_h: float | None = None,
    without: Iterable[str] = (),
) -> AreaClimate:
    """Count the days of the files, within light and the law's working hours at the harbor.

    Args:
        files: names, without folders, and contents of yearly files, at least one, all of one station.
        station: its id; None: as the names of the files tell, else the area's own.
        needed_h: None: as long as a usual day's trip.
        without: quantities of ``MEASURED`` that the station doesn't measure and that may be left out.

    Raises:
        NotUnderstood: a file can't be read.
        SettingsError: files of several stations or none, or no number in them of a quantity that is limited.
    """
    station = _station(settings, area, [name for name, _ in files], station)
    rows = joined([parse_history(body, name) for name, body in files])
    measured = hourly_measured(rows)
    limits = area_limits(settings, area).given()
    held = {name: limits[name] for name in MEASURED if name in limits and name not in set(without)}
    _all_measured(area, station, held, measured)
    needed = usual_trip_h(settings) if needed_h is None else needed_h
    margin_h = settings.letters.forecast_break_h
    days = fit_days(measured, _spans(settings, measured), held, needed_h=needed, break_margin_h=margin_h)
    return AreaClimate(
        area=area,
        station=station,
        files=tuple(sorted(name for name, _ in files)),
        limits=held,
        not_held=tuple(name for name in limits if name not in held),
        needed_h=needed,
        break_margin_h=margin_h,
        climate=fit_climate(days, usual_by_month(settings)),
    )


def keep_climate(store: Store, boat: str, counted: AreaClimate, now: datetime) -> None:
    """In the place of what was kept for the area."""
    value = {"version": _NOTE_VERSION, "record": _RECORD.dump_python(counted, mode="json")}
    json.dumps(value, allow_nan=False)
    with store.writing() as session:
        put_note(session, _note_name(boat, counted.area), value, now)


def kept_climate(settings: Settings, store: Store, area: str) -> AreaClimate | str:
    """What was counted for the area, or in words why there is none that can be used.

    Raises:
        StoreError: the database can't be read.
    """
    with store.reading() as session:
        note = get_note(session, _note_name(settings.boat.name, area))
    if note is None:
        return _uncounted([area])
    try:
        if note[0]["version"] != _NOTE_VERSION:
            return f"past years of {area} were counted by another version; count them again"
        json.dumps(note[0]["record"], allow_nan=False)
        counted = _RECORD.validate_python(note[0]["record"])
    except (KeyError, TypeError, ValueError, ValidationError) as fault:
        log.warning("the counted years can't be read", extra={"action": "climatology", "fault": str(fault)})
        return f"what was counted for {area} can't be read; count it again"
    limits = area_limits(settings, area).given()
    now_held = {name: limits.get(name) for name in counted.limits}
    if now_held != dict(counted.limits) or set(limits) != set(counted.limits) | set(counted.not_held):
        return f"past years of {area} were counted by other limits than yours of today; count them again"
    if counted.break_margin_h != settings.letters.forecast_break_h:
        return f"past years of {area} were counted with another margin after landing; count them again"
    return counted


@dataclass(frozen=True)
class UsualWeather:
    """What days past the forecast are taken for.

    ``window_min``: what a fit day carries. ``counted`` by area; ``lacking`` says, in sentences without their
    stops, for which areas the chance held beforehand stands, and why.
    """

    chances: tuple[float, ...]
    correlation: float
    window_min: float
    counted: tuple[AreaClimate, ...]
    lacking: tuple[str, ...]


def usual_weather(
    settings: Settings, store: Store, areas: Iterable[str], days: Sequence[date], terms: PlanTerms | None = None
) -> UsualWeather:
    """For trips through all of ``areas``: each day the least of their chances, for spells the longest.

    Args:
        terms: what is held beforehand; None: as the plan file has it.

    Raises:
        StoreError: the database can't be read.
    """
    found = {area: kept_climate(settings, store, area) for area in areas}
    counted = tuple(each for each in found.values() if isinstance(each, AreaClimate))
    uncounted = [area for area, each in found.items() if each == _uncounted([area])]
    unusable = (each for area, each in found.items() if isinstance(each, str) and area not in uncounted)
    lacking = (*((_uncounted(uncounted),) if uncounted else ()), *unusable)
    climates = [each.climate for each in counted]
    if lacking or not climates:
        climates.append(prior_climate(usual_by_month(settings) if terms is None else terms.usual_fit_chance))
    usual_h = usual_trip_h(settings) if terms is None else terms.usual_window_min / _MINUTES_AN_HOUR
    hours = [each.needed_h for each in counted] or [usual_h]
    return UsualWeather(
        chances=tuple(min(climate.chance_on(day) for climate in climates) for day in days),
        correlation=max(climate.correlation for climate in climates),
        window_min=_MINUTES_AN_HOUR * min([*hours, usual_h] if lacking else hours),
        counted=counted,
        lacking=lacking,
    )


def years_counted(usual: UsualWeather) -> tuple[YearsCounted, ...]:
    """Its areas as letters tell them."""
    return tuple(
        YearsCounted(each.area, each.station, each.climate.years, each.not_held, each.climate.prior_months)
        for each in usual.counted
    )


def years_sha256(usual: UsualWeather) -> str:
    """Another where anything else was counted of any of its areas."""
    counted = [_RECORD.dump_python(each, mode="json") for each in usual.counted]
    return hashlib.sha256(json.dumps([counted, usual.lacking]).encode()).hexdigest()


def _uncounted(areas: Sequence[str]) -> str:
    return f"no past years were counted for {listed(areas)}"


def _note_name(boat: str, area: str) -> str:
    return f"climate:{boat}:{area}"


def _station(settings: Settings, area: str, names: Sequence[str], given: str | None) -> str:
    named = sorted({found for name in names if (found := station_of(name)) is not None})
    if given is not None:
        named = sorted({*named, given.upper()})
    if len(named) > 1:
        raise SettingsError([Fault("climatology", "files", " and ".join(named), "files of one station")])
    station = named[0] if named else settings.area(area).station
    if station is None:
        write = "--station ID, or the names that the files came with, as in 42036h2020.txt.gz"
        raise SettingsError([Fault("climatology", "station", "no id", write)])
    return station


def _all_measured(area: str, station: str, held: Mapping[str, float], measured: pd.DataFrame) -> None:
    if not held:
        raise SettingsError([Fault("climatology", "--without", "every limit", "at most all but one")])
    lacking = [name for name in held if name not in measured.columns or measured[name].isna().all()]
    if lacking:
        found = f"no number of {', '.join(lacking)} in the files of {station}, which {area} is held against"
        write = "files of a station that measures it, or " + " ".join(f"--without {name}" for name in lacking)
        raise SettingsError([Fault("climatology", "files", found, f"{write}; chances then come out too high")])


def _spans(settings: Settings, measured: pd.DataFrame) -> list[DaySpan]:
    """Every local day whose light the hours hold wholly."""
    zone_name = settings.harbor.time_zone
    first_at, last_at = measured.index[0], measured.index[-1] + pd.Timedelta(hours=1)
    first_day, last_day = local_day(first_at, zone_name), local_day(last_at, zone_name)
    spans = []
    for n in range((last_day - first_day).days + 1):
        day = first_day + n * _ONE_DAY
        span = day_span(day, working_day(settings, day, due_at(day, time(), zone_name), None))
        if span.begins is None or span.ends is None or (first_at <= span.begins and span.ends <= last_at):
            spans.append(span)
    return spans
