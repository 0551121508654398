"""One boat's morning: from what is on hand to the call, and whether a call told before still stands. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, time, timedelta

import numpy as np
import pandas as pd

from soakbell.due_times import due_at, local_day
from soakbell.fishery.season import season_day, working_hours
from soakbell.gear.fold import GearState, Whereabouts, fold
from soakbell.gear.log import LogEntry
from soakbell.gear.soak import NoSoak, soak_of
from soakbell.gear.strings import Mark, TrapString
from soakbell.planning.call import Call, CallWord, Reason, SourceLine
from soakbell.planning.decide import (
    DayRules,
    Situation,
    StringAhead,
    Verdict,
    barred_since,
    decide,
    for_take_up,
    still_good,
    string_states,
)
from soakbell.planning.distances import distance_nmi
from soakbell.planning.season_end import season_end
from soakbell.planning.take_up_day import take_up_day
from soakbell.planning.trips import HARBOR, DayBounds, Trip
from soakbell.sea.conditions import Conditions
from soakbell.sea.daylight import sunlight
from soakbell.sea.fitness import fitness
from soakbell.sea.sources import QUANTITIES, SourceKind
from soakbell.sea.warnings import OfficialWarning
from soakbell.settings import Settings
from soakbell.survey import OnHand, SourceTold, Survey, survey

OUTLOOK_DAYS = 7

AREA_REACH_NMI = 15.0
"""Ground moved to that lies farther from the point of its forecast area is not forecast there (common practice,
no source)."""

WORST_BY_MINIMUM = ("period_s", "visibility_nm")


@dataclass(frozen=True)
class Morning:
    """A call and what it was made from."""

    call: Call
    trip: Trip | None
    situation: Situation = field(repr=False)
    survey: Survey = field(repr=False)

    @property
    def strings(self) -> tuple[TrapString, ...]:
        """Every string between the marks it lies at now."""
        return tuple(ahead.string for ahead in self.situation.strings)


def make_call(
    settings: Settings,
    on_hand: OnHand,
    log: Iterable[LogEntry] | GearState,
    now: datetime,
    *,
    day: date | None = None,
    clock_suspect: bool = False,
    ahead: bool = False,
) -> Morning:
    """Read all that is on hand and decide for the local ``day`` (None: today).

    Args:
        log: its entries in any order, or what they fold to.
        now: aware UTC; ages are counted to it, and no departure lies before it.
        clock_suspect: the clock shows less than the newest moment on record; then the word is NO CALL.
        ahead: for a day to come, as the days of the outlook are judged: that what is on hand will be too old by
            then doesn't stand against it. What comes of it is what is likely, and no call.
    """
    today = local_day(now, settings.harbor.time_zone) if day is None else day
    hours = table_hours(settings, today)
    surveyed = survey(settings, on_hand, hours, now)
    gear = log if isinstance(log, GearState) else fold(log, settings.trap_strings)
    situation = _situation(settings, surveyed, gear, today, now, clock_suspect=clock_suspect, ahead=ahead)
    verdict = decide(situation)
    call = _call(settings, surveyed, situation, verdict, today, now)
    return Morning(call, verdict.trip, situation, surveyed)


def look_again(previous: Call, trip: Trip, morning: Morning, now: datetime) -> Call | None:
    """The call that replaces a PULL, or None while it stands.

    A PULL falls where any hour still ahead of its trip is no longer fit, where the skipper has barred what it is
    for, or where the rules as they stand no longer allow it. Before the boat leaves, the fresh decision takes its
    place; afterwards it is never another PULL. A PULL to take up stands also where the harvest has been allowed
    since, and never gives way to one of harvest that day. A PULL that stands is told again where a warning has
    come that wasn't in the letter, since the skipper must read it.
    """
    if previous.window is None:
        return None
    fresh = morning.call
    rules = morning.situation.days[0]
    lawful = rules.bounds is not None and (previous.take_up or rules.take_up is None)
    barred = barred_since(trip, previous.window, morning.situation, now)
    standing = lawful and not barred and not morning.situation.faults
    if standing and still_good(trip, previous.window, morning.situation, now):
        if not _news(previous.warnings, fresh.warnings):
            return None
        return replace(
            fresh,
            word=CallWord.PULL,
            window=previous.window,
            reasons=previous.reasons,
            take_up=previous.take_up,
        )
    harvest_instead = previous.take_up and not fresh.take_up
    if fresh.word is CallWord.PULL and now < previous.window.leaves_at and not harvest_instead:
        return fresh
    if fresh.word is not CallWord.PULL:
        return fresh
    why: dict[str, object] = {"leaves_at": previous.window.leaves_at} if now >= previous.window.leaves_at else {}
    if barred:
        wishes = rules.wishes
        why["barred"] = tuple(dict.fromkeys(leg.string for leg in trip.hauls if leg.string in wishes.barred))
    reasons = (Reason("trip_no_longer_fits", why), *fresh.reasons)
    return replace(fresh, word=CallWord.WAIT, window=None, reasons=reasons)


def _news(told: Sequence[OfficialWarning], now: Iterable[OfficialWarning]) -> list[OfficialWarning]:
    """Warnings that were not told: neither the same messages nor later ones about the same events."""
    ids = {warning.id for warning in told}
    events = {vtec.event for warning in told for vtec in warning.vtec}
    return [
        warning
        for warning in now
        if warning.id not in ids
        and ids.isdisjoint(warning.references)
        and not any(vtec.event in events for vtec in warning.vtec)
    ]


def failed_call(settings: Settings, day: date, now: datetime, error: str) -> Call:
    """NO CALL because the service itself could not make one. Rests on nothing but the settings."""
    return Call(
        word=CallWord.NO_CALL,
        boat=settings.boat.name,
        day=day,
        made_at=now,
        window=None,
        reasons=(Reason("failed", {"detail": error}),),
        strings=(),
        warnings=(),
        cautions_told=(),
        disagreements=(),
        outlook=(),
        sources=(),
        hours=pd.DataFrame(columns=list(QUANTITIES), dtype=float, index=pd.DatetimeIndex([], tz="UTC")),
        limits=settings.limits_for(None).given(),
        valid_until=_end_of(settings, day),
    )


def table_hours(settings: Settings, today: date) -> pd.DatetimeIndex:
    """Hourly UTC index from local midnight of ``today`` to the end of the outlook and a day more."""
    zone = settings.harbor.time_zone
    begins = pd.Timestamp(due_at(today, time(0), zone)).floor("h")
    ends = pd.Timestamp(due_at(today + timedelta(days=OUTLOOK_DAYS + 1), time(0), zone))
    return pd.date_range(begins, ends, freq="h", inclusive="left")


# ---- from settings, survey and gear to a situation


def _situation(
    settings: Settings,
    surveyed: Survey,
    gear: GearState,
    today: date,
    now: datetime,
    *,
    clock_suspect: bool,
    ahead: bool,
) -> Situation:
    strings = as_they_lie(settings.trap_strings, gear)
    shallowest_m = min(string.depth_m for string in strings)
    places = {
        HARBOR: fitness(surveyed.conditions[settings.harbor.area], settings.limits_for(None), depth_m=shallowest_m)
    }
    for string in strings:
        conditions, limits = surveyed.conditions[string.area], settings.limits_for(string.name)
        places[string.name] = fitness(conditions, limits, depth_m=string.depth_m)
    fresh_until = min(surveyed.fresh_until.values())
    stalest = next((f"{t.kind.value} {t.key}" for t in surveyed.sources if t.fresh_until == fresh_until), "")
    soaking, faults = [], list(_moved_out(settings, strings, gear))
    for string in strings:
        soak = soak_of(gear, string.name, now)
        out = gear.strings[string.name].places(Whereabouts.FISHING)
        soaking.append(StringAhead(string, soak.fishing, soak.oldest_h, soak.median_h, now, out))
        if soak.none_because is NoSoak.CLOCK_BEHIND_LOG:
            faults.append(Reason("clock", {"detail": "it shows an earlier time than the newest log entry"}))
    if clock_suspect:
        faults.append(Reason("clock", {"detail": "it shows an earlier time than the newest record"}))
    clock = [fault for fault in faults if fault.code == "clock"][:1]
    fishing = any(string.fishing for string in soaking)
    days = (
        replace(_today(settings, today, now, None if ahead else fresh_until, fishing=fishing), stalest=stalest),
        *(day_rules(settings, today + timedelta(days=n), now, None) for n in range(1, OUTLOOK_DAYS)),
    )
    return Situation(
        boat=settings.boat.as_boat(),
        harbor=settings.harbor.mark,
        strings=tuple(soaking),
        places=places,
        days=tuple(replace(rules, wishes=gear.wishes.on(rules.day)) for rules in days),
        break_margin_h=settings.letters.forecast_break_h,
        faults=(*clock, *(fault for fault in faults if fault.code != "clock")),
    )


def as_they_lie(strings: Iterable[TrapString], gear: GearState) -> tuple[TrapString, ...]:
    """The strings between the marks that the log gave them last."""
    return tuple(
        replace(string, start=gear.strings[string.name].start, end=gear.strings[string.name].end)
        for string in strings
    )


def _moved_out(settings: Settings, strings: Iterable[TrapString], gear: GearState) -> Iterator[Reason]:
    """A reason for each string fishing on ground that its area's forecast does not speak of."""
    for told, string in zip(settings.trap_strings, strings, strict=True):
        if (told.start, told.end) == (string.start, string.end):
            continue
        if not gear.strings[string.name].places(Whereabouts.FISHING):
            continue
        area = settings.area(string.area)
        point = Mark(area.lat_deg, area.lon_deg)
        away_nmi = max(distance_nmi(point, string.start), distance_nmi(point, string.end))
        if not away_nmi <= AREA_REACH_NMI:
            values = {"string": string.name, "area": area.name, "away_nmi": away_nmi, "most_nmi": AREA_REACH_NMI}
            yield Reason("moved_out_of_area", values)


def _today(
    settings: Settings, day: date, now: datetime, fresh_until: datetime | None, *, fishing: bool
) -> DayRules:
    """Where traps fish that the rules allow no more, going for them is not ours to judge."""
    rules = day_rules(settings, day, now, fresh_until)
    law = season_day(settings.fishery, day, sector=settings.sector, region=settings.region)
    if law.traps_may_be_in_water or not fishing:
        return rules
    ask = Reason("ask_authority", {"authority": settings.fishery.authority.name})
    return replace(rules, reasons=(*rules.reasons, ask))


def day_rules(settings: Settings, day: date, now: datetime, fresh_until: datetime | None) -> DayRules:
    """What light and law leave of a day. ``fresh_until`` None: a later day, for which fresher data will come."""
    season = season_day(settings.fishery, day, sector=settings.sector, region=settings.region)
    take_up = None if season.may_harvest else _take_up_only(settings, day)
    closed = tuple(
        Reason("out_of_season", {"rule": r.text, "source": r.source})
        for r in season.reasons
        if "harvest" in r.bars
    )
    if not season.may_harvest and take_up is None:
        return DayRules(day, None, closed)
    bounds = working_day(settings, day, now, fresh_until)
    if bounds is None:
        harbor = settings.harbor
        sun = sunlight(day, harbor.lat_deg, harbor.lon_deg, harbor.time_zone)
        return DayRules(day, None, (Reason("no_sunrise", {"state": sun.state}),))
    brings_home = _brings_home(settings, day) if season.may_harvest else frozenset()
    return DayRules(day, bounds, closed, take_up=take_up, brings_home=brings_home)


def _brings_home(settings: Settings, day: date) -> frozenset[str]:
    """Strings that a pull of a harvest day takes up, by the law and their floors alone."""
    end = season_end(settings.fishery, day, sector=settings.sector, region=settings.region)
    if end is None:
        return frozenset()
    strings = settings.trap_strings
    return frozenset(s.name for s in strings if not end.takes_bait(s.soak_floor_h, day))


def _take_up_only(settings: Settings, day: date) -> Reason | None:
    law = take_up_day(settings.fishery, day, sector=settings.sector, region=settings.region)
    if law is None:
        return None
    dates = {"last_harvest": law.last_harvest, "deadline": law.deadline}
    rule = {"rule": law.reason.text, "source": law.reason.source}
    return Reason("take_up_only", {**dates, **rule, "deck_traps": settings.boat.deck_traps})


def working_day(settings: Settings, day: date, now: datetime, fresh_until: datetime | None) -> DayBounds | None:
    """Light and the law's working hours, whatever the season; None where the sun doesn't rise and set.

    ``fresh_until`` as that of ``day_rules``.
    """
    harbor = settings.harbor
    sun = sunlight(day, harbor.lat_deg, harbor.lon_deg, harbor.time_zone)
    if sun.rises_at is None or sun.sets_at is None or sun.dawn_at is None or sun.dusk_at is None:
        return None
    law = working_hours(settings.fishery, settings.sector, settings.region)
    return DayBounds(
        out_from=max(sun.dawn_at, now),
        home_by=sun.dusk_at,
        haul_from=sun.rises_at + timedelta(minutes=law.after_sunrise_min),
        haul_to=sun.sets_at - timedelta(minutes=law.before_sunset_min),
        fresh_until=sun.dusk_at if fresh_until is None else fresh_until,
    )


# ---- from verdict to call


def _call(
    settings: Settings, surveyed: Survey, situation: Situation, verdict: Verdict, today: date, now: datetime
) -> Call:
    begin, end = due_at(today, time(0), settings.harbor.time_zone), _end_of(settings, today)
    used_at = verdict.window.leaves_at if verdict.window else now
    faults = tuple(
        Reason("source_fault", {"kind": t.kind, "key": t.key, "code": t.fault.code, "detail": t.fault.detail})
        for t in surveyed.sources
        if t.fault is not None
    )
    reasons = verdict.reasons
    if faults and verdict.word is not CallWord.PULL:
        reasons = tuple(r for r in reasons if r.code != "stale_by_then")
        reasons = (*reasons, *faults) if verdict.word is CallWord.WAIT else (*faults, *reasons)
    held = [h for h in surveyed.held if h.starts_at < end]
    valid_until = end
    if verdict.window is not None:
        trip_h = verdict.window.lands_at - verdict.window.leaves_at
        valid_until = verdict.window.last_departure_at + trip_h
    return Call(
        word=verdict.word,
        boat=settings.boat.name,
        day=today,
        made_at=now,
        window=verdict.window,
        reasons=reasons,
        strings=string_states(situation, now),
        warnings=tuple(dict.fromkeys(h.message for h in held)),
        cautions_told=surveyed.cautions,
        notices=surveyed.notices,
        disagreements=_disagreements(surveyed, now, end),
        outlook=verdict.outlook,
        sources=tuple(
            _source_line(told, now if told.kind is SourceKind.OBSERVATIONS else used_at)
            for told in surveyed.sources
        ),
        hours=_worst_everywhere(surveyed.conditions.values(), begin, end),
        limits=settings.limits_for(None).given(),
        valid_until=valid_until,
        tighter_limits=_tighter_limits(settings),
        take_up=for_take_up(situation, situation.days[0]),
    )


def _tighter_limits(settings: Settings) -> dict[str, dict[str, float]]:
    everywhere = settings.limits_for(None).given()
    of_strings = {s.name: settings.limits_for(s.name).given() for s in settings.strings}
    tighter = {
        name: {quantity: limit for quantity, limit in limits.items() if limit != everywhere.get(quantity)}
        for name, limits in of_strings.items()
    }
    return {name: limits for name, limits in tighter.items() if limits}


def _source_line(told: SourceTold, used_at: datetime) -> SourceLine:
    age_h = None if told.issued_at is None else (used_at - told.issued_at) / timedelta(hours=1)
    return SourceLine(
        kind=told.kind,
        key=told.key,
        issued_at=told.issued_at,
        fetched_at=told.fetched_at,
        age_h=age_h,
        max_age_h=told.max_age_h,
        fault=told.fault.code if told.fault else None,
        detail=told.fault.detail if told.fault else told.note,
    )


def _disagreements(surveyed: Survey, now: datetime, end: datetime) -> tuple[Reason, ...]:
    """The widest gap of each place and quantity in what is left of the day."""
    widest: dict[tuple[str, str], Reason] = {}
    spread: dict[tuple[str, str], float] = {}
    for conditions in surveyed.conditions.values():
        for gap in conditions.gaps:
            key = (conditions.place, gap.quantity)
            if now - timedelta(hours=1) < gap.at < end and gap.high - gap.low > spread.get(key, 0.0):
                spread[key] = gap.high - gap.low
                widest[key] = Reason("contradicted", {**vars(gap), "place": conditions.place})
    return tuple(widest.values())


def _worst_everywhere(areas: Iterable[Conditions], begins: datetime, ends: datetime) -> pd.DataFrame:
    """Today's hours, the worst of all areas; a hole in one area is a hole in all."""
    tables = []
    for conditions in areas:
        known = conditions.known | (conditions.worst.columns == "wind_from_deg")
        table = conditions.worst.where(known).loc[begins : ends - timedelta(seconds=1)]
        tables.append(table.to_numpy(dtype=float))
        index = table.index
    stacked = np.stack(tables)
    worst = stacked.max(axis=0)
    for quantity in WORST_BY_MINIMUM:
        q = QUANTITIES.index(quantity)
        worst[:, q] = stacked[:, :, q].min(axis=0)
    return pd.DataFrame(worst, index=index, columns=list(QUANTITIES))


def _end_of(settings: Settings, day: date) -> datetime:
    return due_at(day + timedelta(days=1), time(0), settings.harbor.time_zone)
