"""The odds of a take-up as the morning letter reckoned them, kept for the letters and bells until the next one.

They are kept with what they are of: the day, the deadline, the settings, the traps in the water and their marks,
the days and strings that the skipper barred, the past years counted, the call that the day counts as. Where any of
it changed, they aren't used. No call reads them.
"""

from __future__ import annotations

import hashlib
import json
import logging
from collections.abc import Collection, Iterable
from dataclasses import replace
from datetime import date, datetime
from typing import Any

from pydantic import TypeAdapter, ValidationError

from soakbell.call_record import from_record
from soakbell.climatology import UsualWeather, usual_weather, years_sha256
from soakbell.due_times import local_day
from soakbell.errors import StoreError
from soakbell.gear.fold import GearState, Whereabouts
from soakbell.gear.wishes import Wish
from soakbell.planning.plan_terms import PlanTerms
from soakbell.planning.season_told import OddsGround, OddsTold, TodayCounts
from soakbell.planning.take_up_trips import called_trip
from soakbell.settings import Settings
from soakbell.store.calls import last_call
from soakbell.store.engine import Store
from soakbell.store.letters import get_note, put_note

log = logging.getLogger(__name__)

MOST_AGE_DAYS = 2

_NOTE_VERSION = 3
_RECORD = TypeAdapter(OddsTold)


def fishing_strings(gear: GearState) -> dict[str, tuple[int, ...]]:
    """Their places, by name; strings without any left out."""
    return {state.name: out for state in gear.strings.values() if (out := state.places(Whereabouts.FISHING))}


def areas_of(settings: Settings, gear: GearState) -> list[str]:
    """The forecast areas that trips for the traps in the water go through."""
    fishing = fishing_strings(gear)
    return [settings.harbor.area, *(s.area for s in settings.trap_strings if s.name in fishing)]


def ground_of(gear: GearState, usual: UsualWeather, today: date, deadline: date) -> OddsGround:
    """What odds from ``today`` up to the deadline rest on."""
    fishing = fishing_strings(gear)
    return OddsGround(
        bars=_bars_ahead(gear.wishes.bars, fishing, today, deadline),
        marks=tuple(sorted((name, gear.strings[name].start, gear.strings[name].end) for name in fishing)),
        years_sha256=years_sha256(usual),
    )


def _bars_ahead(bars: Iterable[Wish], fishing: Collection[str], today: date, deadline: date) -> tuple[Wish, ...]:
    return tuple(
        bar for bar in bars if today <= bar.day <= deadline and (bar.string is None or bar.string in fishing)
    )


def keep_odds(settings: Settings, terms: PlanTerms, store: Store, odds: OddsTold, now: datetime) -> None:
    """In the place of what was kept before."""
    value = {
        "version": _NOTE_VERSION,
        "settings": _fingerprint(settings, terms),
        "record": _RECORD.dump_python(odds, mode="json"),
    }
    json.dumps(value, allow_nan=False)
    with store.writing() as session:
        put_note(session, _note_name(settings.boat.name), value, now)


def kept_odds(
    settings: Settings, terms: PlanTerms, store: Store, gear: GearState, now: datetime, deadline: date
) -> OddsTold | None:
    """What was kept, while all that it is of stands, and at most MOST_AGE_DAYS old. Days past count no more.

    With a day that counts as called they are of use up to the last departure and while that call stands, with a
    likely one until its day. What can't be read is none.

    Raises:
        StoreError: the database can't be read.
    """
    with store.reading() as session:
        note = get_note(session, _note_name(settings.boat.name))
    if note is None:
        return None
    try:
        if (note[0]["version"], note[0]["settings"]) != (_NOTE_VERSION, _fingerprint(settings, terms)):
            return None
        json.dumps(note[0]["record"], allow_nan=False)
        odds = _RECORD.validate_python(note[0]["record"])
        if not all(0 <= start.chance <= 1 for start in odds.starts):
            raise ValueError("a chance that is none")
    except (KeyError, TypeError, ValueError, ValidationError) as fault:
        log.warning("the odds of the season can't be read", extra={"action": "season", "fault": str(fault)})
        return None
    today = local_day(now, settings.harbor.time_zone)
    if odds.deadline != deadline or not 0 <= (today - odds.day).days <= MOST_AGE_DAYS:
        return None
    if not _today_stands(settings, store, odds, today, now):
        return None
    fishing = fishing_strings(gear)
    in_trips = [(name, place) for trip in odds.plan for name, places in trip.strings for place in places]
    if sorted(in_trips) != sorted((name, place) for name, places in fishing.items() for place in places):
        return None
    ground = ground_of(gear, usual_weather(settings, store, areas_of(settings, gear), ()), today, deadline)
    was = replace(odds.ground, bars=_bars_ahead(odds.ground.bars, fishing, today, deadline))
    return odds if ground == was else None


def _today_stands(settings: Settings, store: Store, odds: OddsTold, today: date, now: datetime) -> bool:
    """What the first day of the odds, or the next one, counts as still holds."""
    match odds.reckoned_from.today:
        case TodayCounts.NOT:
            return True
        case TodayCounts.LIKELY_NEXT:
            return today == odds.day
    last_at = odds.last_departure_at
    if last_at is None or now > last_at or not odds.plan:
        return False
    with store.reading() as session:
        record = last_call(session, settings.boat.name, odds.day)
    if record is None:
        return False
    try:
        call, _ = from_record(record)
    except StoreError:
        return False
    stands = call.window is not None and call.window.last_departure_at == last_at
    return stands and called_trip(call) == odds.plan[0]


def _fingerprint(settings: Settings, terms: PlanTerms) -> str:
    rests_on: list[Any] = [
        settings.sha256,
        settings.fishery_sha256,
        terms.deck_traps,
        vars(terms.take_up),
        sorted(terms.crew_days_off),
        terms.forecast_days,
        terms.usual_fit_chance,
        terms.usual_window_min,
    ]
    return hashlib.sha256(json.dumps(rests_on).encode()).hexdigest()


def _note_name(boat: str) -> str:
    return f"season:{boat}"
