"""The odds of a take-up as the morning letter reckoned them, kept for the letters and bells until the next one.

They are kept with the day, the deadline, the traps in the water and the settings they are of: where any of these
changed, they aren't used. No call reads them.
"""

from __future__ import annotations

import hashlib
import json
import logging
from datetime import date, datetime
from typing import Any

from pydantic import TypeAdapter, ValidationError

from soakbell.gear.fold import GearState, Whereabouts
from soakbell.planning.plan_terms import PlanTerms
from soakbell.planning.season_told import OddsTold
from soakbell.settings import Settings
from soakbell.store.engine import Store
from soakbell.store.letters import get_note, put_note

log = logging.getLogger(__name__)

MOST_AGE_DAYS = 2

_NOTE_VERSION = 1
_RECORD = TypeAdapter(OddsTold)


def fishing_traps(gear: GearState) -> int:
    return sum(len(state.places(Whereabouts.FISHING)) for state in gear.strings.values())


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
    settings: Settings, terms: PlanTerms, store: Store, gear: GearState, today: date, deadline: date
) -> OddsTold | None:
    """What was kept, while it is of this deadline, these traps and these settings, and at most MOST_AGE_DAYS old.

    What can't be read is none.

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
    if (odds.deadline, odds.traps) != (deadline, fishing_traps(gear)):
        return None
    return odds if 0 <= (today - odds.day).days <= MOST_AGE_DAYS else None


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
