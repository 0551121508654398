"""The look back: kept forecasts held against what stations measured, and days called against the sea of the day.

Each morning is read once more as its letter read it: the newest replies of that moment, by the same readers
(``survey``). They are what an audit needs, so they are kept the longest. One reading a day is enough, for the
hours of a day err together and days are what counts (``sea.trust``). A station is read from as few of its files as
cover the time: those of the public service hold 45 days each.

Nothing here touches a call: what comes of it ranks the days ahead and tells the skipper how it went.
"""

from __future__ import annotations

import json
import logging
import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from datetime import date, datetime, time, timedelta

import pandas as pd
from pydantic import TypeAdapter, ValidationError

from soakbell.call_record import from_record
from soakbell.due_times import due_at, local_day
from soakbell.errors import NotUnderstood, StoreError
from soakbell.feeds.buoys import parse_realtime
from soakbell.morning import day_rules, table_hours
from soakbell.plan_settings import Trust, terms_of
from soakbell.planning.call import Call, CallWord
from soakbell.planning.fit_chance import (
    Beyond,
    DaySpan,
    ErrorPaths,
    PlaceAhead,
    day_span,
    error_paths,
    fit_chances,
    place_ahead,
)
from soakbell.planning.plan_terms import PlanTerms, TrustTerms
from soakbell.planning.trips import plan_trip
from soakbell.sea.areas import ForecastArea
from soakbell.sea.conditions import Conditions
from soakbell.sea.fitness import fitness
from soakbell.sea.limits import Limits
from soakbell.sea.sources import RawReply, SourceKind
from soakbell.sea.trust import (
    MEASURED,
    WORST_OF_ALL,
    BinError,
    BrierParts,
    ErrorModel,
    PlaceSeen,
    brier,
    errors_by_lead,
    hourly_measured,
    matched,
    pairs_together,
    seen_fit,
)
from soakbell.sea.trust_record import AreaAsked, PastLimit, SeenDay, StationSeen, TrustRecord
from soakbell.settings import Settings
from soakbell.store.calls import KeptCall, calls_between
from soakbell.store.engine import Store
from soakbell.store.letters import get_note, put_note
from soakbell.store.replies import newest_good
from soakbell.survey import OnHand, ReplyKey, survey

log = logging.getLogger(__name__)

LOOK_BACK_DAYS = 120
MOST_FILES = 400
"""Files of one station that a look back reads at most. The public service's hold 45 days, so three will do."""

FILES_OVERLAP = timedelta(hours=27)
"""How far the file before is looked for inside one: older files are kept one a day, and end some time before their
fetch, in an hour that may have gone on."""

AHEAD_DAYS = 4
"""The chances of this many days after a morning are looked at: as far as a zone text reaches."""

LEARN_ANEW_DAYS = 10
"""A chance is reckoned by what was known beforehand, learned anew so often."""

IDLE = frozenset(
    {"nothing_ripe", "nothing_set", "barred_by_skipper", "take_up_barred", "out_of_season", "no_sunrise"}
)
"""Reasons for a WAIT that say nothing of the sea."""

USED_FOR = timedelta(days=7)
"""A record older than this isn't used: it is made once a day, so something has failed since."""

_NOTE_VERSION = 3
_CLOCKS_DIFFER = timedelta(hours=1)
_NO_LIMIT = 1e9  # past any wind and sea
_RECORD: TypeAdapter[TrustRecord] = TypeAdapter(TrustRecord)


# ---- what stations measured


@dataclass(frozen=True)
class MeasuredSea:
    """What the stations of a boat's areas measured, by area name. Columns are the quantities that count there."""

    settings: Settings
    hourly: Mapping[str, pd.DataFrame] = field(repr=False)
    problems: tuple[str, ...] = ()

    @property
    def stations(self) -> tuple[StationSeen, ...]:
        told = []
        for name, table in self.hourly.items():
            area = self.settings.area(name)
            hours = int(table.notna().any(axis=1).sum())
            gives = tuple(str(column) for column in table.columns)
            told.append(StationSeen(name, str(area.station), _waters(area), gives, hours))
        return tuple(told)

    def of_call(self, call: Call) -> SeenDay:
        """What the sea was on the day of a call, by the limits of the call.

        A PULL is judged by the time and the places of its own trip, any other word by whether a trip to a single
        string would have fit at any time of the day; of several strings the one that came out best. Only what a
        station measures is asked; the rest is told as lacking.
        """
        if call.window is not None:
            return self._of_pull(call)
        settings = self.settings
        span, margin = span_of(settings, call.day), timedelta(hours=settings.letters.forecast_break_h)
        seen = SeenDay(call.day, call.word.value, None)
        if span.begins is not None and span.ends is not None:
            begins, ends = span.begins, span.ends + margin
            trips = [
                self._seen(call, (string,), begins, ends, trip_min + margin / timedelta(minutes=1))
                for string, trip_min in single_trips_min(settings).items()
            ]
            seen = min(trips, key=_how_unfit)
        had_trip = call.word is not CallWord.WAIT or not any(reason.code in IDLE for reason in call.reasons)
        return replace(seen, had_trip=had_trip)

    def _of_pull(self, call: Call) -> SeenDay:
        assert call.window is not None
        begins, ends = call.window.leaves_at, call.window.lands_at
        strings = tuple(pull.string for pull in call.window.pulls)
        past: dict[str, PastLimit] = {}
        for place in self._places(call, strings):
            for found in _past_limits(place, begins, ends):
                if found.quantity not in past or found.most > past[found.quantity].most:
                    past[found.quantity] = found
        seen = self._seen(call, strings, begins, ends, (ends - begins) / timedelta(minutes=1))
        return replace(seen, past=tuple(past.values()))

    def _seen(
        self, call: Call, strings: Sequence[str], begins: datetime, ends: datetime, needed_min: float
    ) -> SeenDay:
        """A trip from the harbor to ``strings``, by the limits of the call."""
        places = self._places(call, strings)
        fit = seen_fit(places, begins, ends, needed_min=needed_min)
        return SeenDay(call.day, call.word.value, fit, _areas_asked(places))

    def _places(self, call: Call, strings: Sequence[str]) -> list[PlaceSeen]:
        """The harbor and ``strings``. One that the settings no longer name is its own area, and not measured."""
        area_of = {string.name: string.area for string in self.settings.strings}
        places: list[tuple[str | None, str]] = [(None, self.settings.harbor.area)]
        places += [(string, area_of.get(string, string)) for string in strings]
        return [
            PlaceSeen(area, self.hourly.get(area, pd.DataFrame()), _limits_of(call, string))
            for string, area in places
        ]


def measured_sea(
    settings: Settings, store: Store, since: datetime, now: datetime, *, moved: Iterable[str] = ()
) -> MeasuredSea:
    """Read what the stations measured from ``since`` on. One that is said to have ``moved`` is left out."""
    hourly, problems = {}, []
    gone = set(moved)
    for area in settings.areas:
        if area.station is None:
            continue
        if area.station in gone:
            problems.append(f"station {area.station} no longer lies where it was confirmed, and is left out")
            continue
        table, unread = _hourly(store, area, since, now)
        if unread:
            problems.append(f"{unread} kept files of station {area.station} could not be read")
        if len(table):
            hourly[area.name] = table
        else:
            problems.append(f"station {area.station} measured nothing that was kept")
    return MeasuredSea(settings, hourly, tuple(problems))


def _hourly(store: Store, area: ForecastArea, since: datetime, now: datetime) -> tuple[pd.DataFrame, int]:
    """Measurements by the hour, and how many files could not be read.

    The hour that a file ends in may have gone on, so its rows are left to a later file. Where two files tell of
    one minute the later one counts: rows are checked and mended for some time.
    """
    quantities = [quantity for quantity in MEASURED if quantity in area.station_gives]
    parts: list[pd.DataFrame] = []
    by, unread = now, 0
    for _ in range(MOST_FILES):
        with store.reading() as session:
            reply = newest_good(session, SourceKind.OBSERVATIONS, str(area.station), by=by)
        if reply is None:
            break
        by = reply.fetched_at - timedelta(microseconds=1)
        try:
            rows = parse_realtime(reply.body, str(area.station)).rows
        except NotUnderstood:
            unread += 1
            continue
        if len(rows) == 0:
            continue
        first_at = rows.index[0].to_pydatetime()
        parts.append(rows.loc[rows.index < rows.index[-1].floor("h"), rows.columns.intersection(quantities)])
        if first_at <= since:
            break
        by = min(by, first_at + FILES_OVERLAP)
    if not parts:
        return pd.DataFrame(columns=quantities), unread
    together = pd.concat(parts)
    together = together[~together.index.duplicated()].sort_index()
    return hourly_measured(together.loc[together.index >= pd.Timestamp(since).floor("h")]), unread


def _past_limits(place: PlaceSeen, begins: datetime, ends: datetime) -> list[PastLimit]:
    last = pd.Timestamp(ends) - pd.Timedelta(microseconds=1)
    limits, found = place.limits.given(), []
    for quantity in place.asked:
        hours = place.measured[quantity].loc[pd.Timestamp(begins).floor("h") : last]
        if (hours > limits[quantity]).any():
            found.append(PastLimit(quantity, float(hours.max()), limits[quantity]))
    return found


def _areas_asked(places: Sequence[PlaceSeen]) -> tuple[AreaAsked, ...]:
    """By area, for a string may be limited in what the boat isn't."""
    measured: dict[str, dict[str, None]] = {}
    lacking: dict[str, dict[str, None]] = {}
    for place in places:
        measured.setdefault(place.area, {}).update(dict.fromkeys(place.asked))
        lacking.setdefault(place.area, {}).update(dict.fromkeys(place.lacking))
    return tuple(AreaAsked(area, tuple(measured[area]), tuple(lacking[area])) for area in measured)


def _how_unfit(seen: SeenDay) -> tuple[int, int]:
    """From fit over not told to not fit; of days that are alike the one of which least is lacking."""
    lacking = sum(len(area.lacking) for area in seen.asked)
    return (1 if seen.fit is None else 2 * (not seen.fit)), lacking


def _limits_of(call: Call, string: str | None) -> Limits:
    own = call.tighter_limits.get(string, {}) if string is not None else {}
    return Limits(**{limit.name: None for limit in fields(Limits)} | {**call.limits, **own})  # type: ignore[arg-type]


# ---- days and trips


def span_of(settings: Settings, day: date) -> DaySpan:
    """When a boat may be out on a day: from the first legal haul to the last, inside the twilight."""
    begins = due_at(day, time(), settings.harbor.time_zone)
    return day_span(day, day_rules(settings, day, begins, None).bounds)


def single_trips_min(settings: Settings) -> dict[str, float]:
    """Minutes from harbor to harbor for each string by itself, all its traps hauled."""
    boat = settings.boat.as_boat()
    return {
        string.name: plan_trip(boat, settings.harbor.mark, [string], {string.name: string.traps}).duration_min
        for string in settings.trap_strings
    }


def shortest_trip_min(settings: Settings) -> float:
    """Minutes for the one string that takes least."""
    return min(single_trips_min(settings).values())


# ---- the look back


def look_back(
    settings: Settings, store: Store, terms: TrustTerms, now: datetime, *, on_hand: OnHand
) -> TrustRecord:
    """Hold what was forecast and called against what was measured, as far as either was kept.

    Args:
        on_hand: for the grid cells of the areas, and the stations that have moved.

    Raises:
        StoreError: the database can't be read.
    """
    return _LookBack(settings, store, terms, now, on_hand).record()


@dataclass(frozen=True)
class _Ahead:
    """What one morning's forecast said of the areas of one station: whatever they were told, the same day came."""

    day: date
    now: datetime
    places: Mapping[str, PlaceAhead]


class _LookBack:
    def __init__(
        self, settings: Settings, store: Store, terms: TrustTerms, now: datetime, on_hand: OnHand
    ) -> None:
        self._settings, self._store, self._terms, self._now = settings, store, terms, now
        self._cells = on_hand.cells
        self._today = local_day(now, settings.harbor.time_zone)
        self._first_day = self._today - timedelta(days=LOOK_BACK_DAYS)
        since = due_at(self._first_day, time(), settings.harbor.time_zone)
        self._sea = measured_sea(settings, store, since, now, moved=on_hand.moved)
        self._problems = list(self._sea.problems)
        self._pairs: dict[str, list[pd.DataFrame]] = {}
        self._ahead: list[_Ahead] = []

    def record(self) -> TrustRecord:
        settings, edges_h = self._settings, self._terms.edges_h
        with self._store.reading() as session:
            told = calls_between(session, settings.boat.name, self._first_day, self._today - timedelta(days=1))
        calls: dict[date, list[KeptCall]] = {}
        for kept in told:
            calls.setdefault(kept.day, []).append(kept)
        mornings = []
        if self._sea.hourly:
            for day in (self._first_day + timedelta(days=n) for n in range(LOOK_BACK_DAYS)):
                due = due_at(day, settings.letters.morning, settings.harbor.time_zone)
                if self._read_morning(day, calls[day][0].made_at if day in calls else due):
                    mornings.append(day)
        pairs = {area: pairs_together(tables) for area, tables in self._pairs.items()}
        days, unread = self._called(calls)
        if unread:
            self._problems.append(f"{unread} days called could not be read back")
        return TrustRecord(
            made_at=self._now,
            first_day=min((*mornings, *calls), default=self._first_day),
            last_day=self._today - timedelta(days=1),
            mornings=len(mornings),
            stations=self._sea.stations,
            edges_h=edges_h,
            errors=_errors(pairs, edges_h),
            days=days,
            chances=self._chances(pairs),
            ahead_days=AHEAD_DAYS,
            problems=tuple(self._problems),
        )

    def _read_morning(self, day: date, moment: datetime) -> bool:
        """Read what was on hand at ``moment``; False where no forecast was."""
        areas = tuple(
            replace(area, station=None, station_gives=())  # a measurement would be held against itself
            for area in self._settings.areas
            if area.name in self._sea.hourly
        )
        replies: dict[ReplyKey, list[RawReply]] = {}
        keys = [(SourceKind.ZONE_TEXT, area.office) for area in areas]
        keys += [(SourceKind.GRID, cell) for area in areas if (cell := area.grid or self._cells.get(area.name))]
        with self._store.reading() as session:
            for kind, key in dict.fromkeys(keys):
                reply = newest_good(session, kind, key, by=moment)
                if reply is not None:
                    replies[kind, key] = [reply]
        if not replies:
            return False
        hours = table_hours(self._settings, day)
        read = survey(replace(self._settings, areas=areas), OnHand(replies, cells=self._cells), hours, moment)
        found = False
        places: dict[str | None, dict[str, PlaceAhead]] = {}
        for area in areas:
            conditions, measured = read.conditions[area.name], self._sea.hourly[area.name]
            tables = [matched(WORST_OF_ALL, moment, conditions.worst, conditions.known, measured)]
            for source in read.said[area.name]:
                tables.append(matched(source.kind.value, source.issued_at, source.numbers, source.whole, measured))
                found = True
            self._pairs.setdefault(area.name, []).extend(tables)
            station = self._settings.area(area.name).station
            places.setdefault(station, {})[area.name] = self._place(conditions, area.name)
        self._ahead.extend(_Ahead(day, moment, of_station) for of_station in places.values())
        return found

    def _place(self, conditions: Conditions, area: str) -> PlaceAhead:
        """By the limits of what is measured alone, and without warnings: no station can tell of anything else."""
        depth_m = min(string.depth_m for string in self._settings.trap_strings)
        seen = replace(conditions, bars=(), bars_known=True)
        return place_ahead(fitness(seen, self._measured_limits(area), depth_m=depth_m), depth_m=depth_m)

    def _measured_limits(self, area: str) -> Limits:
        limits, table = self._settings.limits_for(None), self._sea.hourly[area]
        return Limits(
            wind_kt=limits.wind_kt if "wind_kt" in table else _NO_LIMIT,
            gust_kt=limits.gust_kt if "gust_kt" in table else None,
            sea_m=limits.sea_m if "sea_m" in table else _NO_LIMIT,
        )

    # ---- chances

    def _chances(self, pairs: Mapping[str, pd.DataFrame]) -> BrierParts | None:
        """Each morning's chances of the days after it, by the errors that were on record by then."""
        worst = {area: table[table["source"] == WORST_OF_ALL] for area, table in pairs.items() if len(table)}
        chances: list[float] = []
        came: list[bool | None] = []
        days: list[date] = []
        drawn: ErrorPaths | None = None
        drawn_on: date | None = None
        for ahead in self._ahead:
            if drawn is None or drawn_on is None or (ahead.day - drawn_on).days >= LEARN_ANEW_DAYS:
                over_by = pd.Timestamp(ahead.now).floor("h")
                known = {area: table[table["valid_at"] < over_by] for area, table in worst.items()}
                models = self._terms.models(_errors(known, self._terms.edges_h), _area_names(self._settings))
                drawn = error_paths(
                    models, self._terms.shape, now=ahead.now, hours=24 * (AHEAD_DAYS + 2), days=AHEAD_DAYS
                )
                drawn_on = ahead.day
            for span, chance in self._chances_after(ahead, drawn):
                assert span.begins is not None
                assert span.ends is not None
                margin = timedelta(hours=self._settings.letters.forecast_break_h)
                needed_min = shortest_trip_min(self._settings) + margin / timedelta(minutes=1)
                ends = span.ends + margin
                places = [
                    PlaceSeen(area, self._sea.hourly[area], self._measured_limits(area)) for area in ahead.places
                ]
                chances.append(chance)
                came.append(seen_fit(places, span.begins, ends, needed_min=needed_min))
                days.append(span.day)
        return brier(chances, came, days=days)

    def _chances_after(self, ahead: _Ahead, drawn: ErrorPaths) -> list[tuple[DaySpan, float]]:
        """A day of which no hour was forecast whole, or on which nothing may be hauled, was given no chance."""
        spans, places = [], list(ahead.places.values())
        for n in range(1, AHEAD_DAYS + 1):
            span = span_of(self._settings, ahead.day + timedelta(days=n))
            if span.begins is not None and span.ends is not None and span.day < self._today:
                first = int((span.begins - places[0].first_at) / timedelta(hours=1))
                if all(place.sure[first : first + 24].any() for place in places):
                    spans.append(span)
        found = fit_chances(
            places,
            spans,
            replace(drawn, first_at=ahead.now.replace(minute=0, second=0, microsecond=0)),
            needed_min=shortest_trip_min(self._settings),
            break_margin_h=self._settings.letters.forecast_break_h,
            beyond=Beyond(ahead.now + timedelta(days=365), 0.0, 0.0),
        )
        return [(span, day.chance) for span, day in zip(spans, found.days, strict=True)]

    # ---- days called

    def _called(self, calls: Mapping[date, Sequence[KeptCall]]) -> tuple[tuple[SeenDay, ...], int]:
        days, unread = [], 0
        for _, told in sorted(calls.items()):
            try:
                days.append(self._sea.of_call(standing([from_record(kept.detail)[0] for kept in told])))
            except StoreError:
                unread += 1
        return tuple(days), unread


def _errors(pairs: Mapping[str, pd.DataFrame], edges_h: Sequence[float]) -> tuple[BinError, ...]:
    return tuple(
        replace(found, area=area) for area, table in pairs.items() for found in errors_by_lead(table, edges_h)
    )


def standing(calls: Sequence[Call]) -> Call:
    """Of a day's calls, in the order told, the one that a skipper went by.

    It is the last; but a PULL stands once its boat was to leave, for what is told at sea can't undo the trip.
    """
    stands = calls[0]
    for call in calls[1:]:
        if stands.window is None or call.made_at < stands.window.leaves_at:
            stands = call
    return stands


# ---- the record, kept


def trust_terms(settings: Settings) -> TrustTerms:
    """Those of the plan file; where there is none or it can't be used, Soakbell's own."""
    terms = terms_of(settings)
    return terms.trust if isinstance(terms, PlanTerms) else Trust().as_terms()


def keep_record(store: Store, boat: str, record: TrustRecord, now: datetime) -> None:
    value = {"version": _NOTE_VERSION, "record": _RECORD.dump_python(record, mode="json")}
    json.dumps(value, allow_nan=False)
    with store.writing() as session:
        put_note(session, _note_name(boat), value, now)


def kept_record(settings: Settings, store: Store, terms: TrustTerms, now: datetime) -> TrustRecord | str:
    """The last look back, or in words why there is none that can be used; then the priors hold.

    Raises:
        StoreError: the database can't be read.
    """
    with store.reading() as session:
        note = get_note(session, _note_name(settings.boat.name))
    if note is None:
        return "no forecasts were held against measurements yet; the service does it once a day while it runs"
    try:
        if note[0]["version"] != _NOTE_VERSION:
            return "the record of forecasts was written by another version; the service makes it anew within a day"
        json.dumps(note[0]["record"], allow_nan=False)
        record = _RECORD.validate_python(note[0]["record"])
    except (KeyError, TypeError, ValueError, ValidationError) as fault:
        log.warning("the record of forecasts can't be read", extra={"action": "trust", "fault": str(fault)})
        return "the record of forecasts can't be read; the service makes it anew within a day"
    if record.edges_h != terms.edges_h:
        return "the record of forecasts counts by other hours ahead; the service makes it anew within a day"
    measured = {(area.name, area.station, _waters(area)) for area in settings.areas}
    if any((seen.area, seen.station, seen.waters) not in measured for seen in record.stations):
        return "the record of forecasts is of other stations or waters; the service makes it anew within a day"
    if not now - USED_FOR <= record.made_at <= now + _CLOCKS_DIFFER:
        return (
            f"the record of forecasts was made on {record.made_at:%Y-%m-%d} (UTC), and only one of the last "
            f"{USED_FOR.days} days is used; the service makes it anew once a day while it runs"
        )
    if not all(_can_be(found) for found in record.errors):
        return "the record of forecasts holds numbers that can't be; the service makes it anew within a day"
    return record


def _can_be(found: BinError) -> bool:
    """Whether a look back could have counted and measured so."""
    spreads = [sd for sd in (found.sd, found.robust_sd) if sd is not None]
    numbers = (found.bias, found.median, *spreads)
    days_ok = 1 <= found.days <= min(found.pairs, LOOK_BACK_DAYS + 1)
    return days_ok and all(map(math.isfinite, numbers)) and all(sd >= 0 for sd in spreads)


def error_models(settings: Settings, record: TrustRecord | str, terms: TrustTerms) -> dict[str, ErrorModel]:
    """The error that the plan reckons with, by quantity: that on record, or the priors where there is none."""
    return terms.models() if isinstance(record, str) else terms.models(record.errors, _area_names(settings))


def _waters(area: ForecastArea) -> str:
    return f"{area.zone}, {area.lat_deg:.4f}, {area.lon_deg:.4f}"


def _area_names(settings: Settings) -> tuple[str, ...]:
    return tuple(area.name for area in settings.areas)


def _note_name(boat: str) -> str:
    return f"trust:{boat}"
