"""Today's call as it was told, why it was made, and the letters that went out. No call is made here."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from email import policy
from email.parser import BytesParser

from sqlalchemy.orm import Session
from starlette.exceptions import HTTPException
from starlette.responses import Response

from soakbell.due_times import due_at
from soakbell.errors import SoakbellError
from soakbell.letters.chart import value_at
from soakbell.letters.facts import LetterFacts
from soakbell.letters.figures import QUANTITY, limit_words, short_figure
from soakbell.letters.page import Page, page_of
from soakbell.letters.times import HarborTimes, age_words
from soakbell.letters.words import capital, listed
from soakbell.planning.call import Call
from soakbell.store.letters import clock_behind_by, get_note, letter_named, letters_before, states_of_call
from soakbell.store.restored import unseen_since_restore
from soakbell.web.health import LONGEST_SILENCE, last_sweep
from soakbell.web.visit import Role, Visit, Way

_LETTERS_A_PAGE = 30
_HIGHEST_ID = 2**62


@dataclass(frozen=True)
class Standing:
    """How a call stands ``at`` a moment. ``counts`` is False once it ran out; ``old`` says so in words, or that
    nobody has watched it. ``unsent``: whom its letter didn't reach, in words."""

    page: Page
    counts: bool
    old: str
    unsent: str
    made_ago: str
    ends_at: datetime
    at: datetime


def standing(visit: Visit) -> Standing | None:
    """Today's call as it stands now; None where none was told."""
    told = visit.house.desk.told(visit.today)
    return None if told is None else _standing(visit, *told)


def _standing(visit: Visit, call: Call, facts: LetterFacts) -> Standing:
    return Standing(
        page_of(call, facts),
        _counts(visit, call),
        _old(visit, call, HarborTimes(facts.zone_name, call.day)),
        _unsent(visit, call),
        age_words((visit.now - call.made_at) / timedelta(hours=1)),
        ends_at=call.valid_until,
        at=visit.now,
    )


def counting_call(visit: Visit) -> Call | None:
    """Today's call that counts, for whatever else rests on it; None where there is none, or none can be read."""
    try:
        told = visit.house.desk.told(visit.today)
    except SoakbellError:
        return None  # the page of the call tells it
    return told[0] if told is not None and _counts(visit, told[0]) else None


@dataclass(frozen=True)
class OfCall:
    """For how long what rests on a call may be shown: as that call itself, wherever it was kept."""

    ends_at: datetime
    at: datetime


def of_call(visit: Visit, call: Call | None) -> OfCall | None:
    return None if call is None else OfCall(call.valid_until, visit.now)


def _counts(visit: Visit, call: Call) -> bool:
    return visit.now <= call.valid_until and not _no_call_because(visit)


def _old(visit: Visit, call: Call, times: HarborTimes) -> str:
    if visit.now > call.valid_until:
        return f"This call ran out at {times.zoned(call.valid_until)} and counts for nothing now."
    house = visit.house
    with house.store.reading() as session:
        swept_at = last_sweep(session, house.boat)
        unwatched = _unwatched(session, house.boat, call, visit.now)
    if swept_at is not None and visit.now - swept_at <= LONGEST_SILENCE:
        return unwatched
    since = "not known when" if swept_at is None else times.dated(swept_at)
    return f"The service last looked at {since}: later warnings and forecasts are not in this. Look them up first."


def _unwatched(session: Session, boat: str, call: Call, now: datetime) -> str:
    """Why nobody looks for what would change a PULL, though the sweep runs; "" where somebody does."""
    if call.word != "PULL":
        return ""
    looks = get_note(session, f"looks:{boat}")
    ended = looks is not None and looks[0]["day"] == call.day.isoformat() and looks[0]["looks"] > 1
    if ended or get_note(session, f"fault:{boat}:recheck") is not None:
        return "The last look for new warnings and forecasts failed: they may not be in this. Look them up first."
    watch = get_note(session, f"watch:{boat}")
    until = None if watch is None or watch[0]["day"] != call.day.isoformat() else watch[0]["until"]
    if until is None or datetime.fromisoformat(until) <= now:
        return "No watch is kept: later warnings and forecasts are not in this. Look them up first."
    return ""


def _unsent(visit: Visit, call: Call) -> str:
    with visit.house.store.reading() as session:
        states = states_of_call(session, visit.house.boat, call.day)
    lacking = sum(states.values()) - states.get("accepted", 0)
    if not lacking:
        return ""
    addresses = f"{lacking} of {sum(states.values())} addresses"
    return f"The mail server has not taken the letter of this call for {addresses}: tell those who wait for it."


def _no_call_because(visit: Visit) -> str:
    """Why no call that was told counts, by this clock or since a restore, as the service itself judges; "" where
    it may."""
    house = visit.house
    with house.store.reading() as session:
        behind = clock_behind_by(session, visit.now)
        restored = unseen_since_restore(session, house.boat, visit.today)
    if restored is not None:
        return (
            f"The database was restored {visit.times.dated(restored.at)}, and today's call is from before. "
            "It counts for nothing until the service has held it against forecasts and warnings that came since."
        )
    if behind is None:
        return ""
    by = age_words(behind / timedelta(hours=1))
    return f"The clock of the computer that serves this page is wrong: it is {by} behind what was written here."


def _today(visit: Visit) -> Response:
    because = _no_call_because(visit)
    if because:
        return visit.page("no_letter.html", why=because, links=visit.house.desk.official_pages)
    found = standing(visit)
    if found is not None:
        return visit.page("today.html", standing=found, page=found.page)
    house = visit.house
    zone, hour = house.settings.harbor.time_zone, house.settings.letters.morning
    due, times = due_at(visit.today, hour, zone), HarborTimes(zone, visit.today)
    if visit.now < due:
        why = f"The morning letter is due {times.dated(due)}."
    else:
        why = f"The morning letter was due {times.dated(due)}, and none was written."
    return visit.page("no_letter.html", why=why, links=house.desk.official_pages)


@dataclass(frozen=True)
class HourRow:
    hour: str
    cells: tuple[str, ...]
    held: str


def hour_rows(call: Call, times: HarborTimes) -> tuple[tuple[str, ...], tuple[HourRow, ...]]:
    """Heads, and a row an hour of the day: the worst of all places and sources, each held against its limit."""
    asked = tuple(name for name in QUANTITY if name in call.limits)
    heads = tuple(limit_words(name, call.limits[name]) for name in asked)
    return heads, tuple(_hour_row(call, at, asked, times) for at in times.hours_of_day())


def _hour_row(call: Call, at: datetime, asked: tuple[str, ...], times: HarborTimes) -> HourRow:
    values = {name: value_at(call.hours, name, at) for name in asked}
    lacking = [QUANTITY[name].short for name, value in values.items() if value is None]
    past = list(_past(values, call.limits))
    if past:
        held = f"past the limit: {listed(past)}"
    elif lacking:
        held = f"not known: {listed(lacking)}"
    else:
        held = "inside the limits"
    cells = tuple(
        "not known" if value is None else short_figure(name, value, call.limits[name])
        for name, value in values.items()
    )
    return HourRow(times.hour(at), cells, held)


def _past(values: Mapping[str, float | None], limits: Mapping[str, float]) -> Iterator[str]:
    for quantity, limit in limits.items():
        value, kind = values.get(quantity), QUANTITY[quantity]
        if value is not None and (value < limit if kind.past == "under" else value > limit):
            yield kind.short


def _why(visit: Visit) -> Response:
    told = visit.house.desk.told(visit.today)
    if told is None or _no_call_because(visit):
        return _today(visit)
    call, facts = told
    found = _standing(visit, call, facts)
    heads, rows = hour_rows(call, HarborTimes(facts.zone_name, call.day))
    return visit.page("why.html", standing=found, page=found.page, heads=heads, rows=rows)


def _letters(visit: Visit) -> Response:
    before = visit.query.get("before", "")
    with visit.house.store.reading() as session:
        found = letters_before(session, _LETTERS_A_PAGE, _id_of(before) if before else None)
    times = visit.times
    rows = [(one.id, times.dated(one.written_at), one.subject, _reached(one.states)) for one in found]
    older = found[-1].id if len(found) == _LETTERS_A_PAGE else None
    return visit.page("letters.html", rows=rows, older=older)


def _letter(visit: Visit) -> Response:
    with visit.house.store.reading() as session:
        found = letter_named(session, _id_of(visit.request.path_params["letter"]))
    if found is None:
        raise HTTPException(404, "There is no such letter on record.")
    message = BytesParser(policy=policy.default).parsebytes(found.message)
    part = message.get_body(("plain",))
    times = visit.times
    return visit.page(
        "letter.html",
        subject=found.subject,
        written=times.dated(found.written_at),
        reached=_reached(found.states),
        text="" if part is None else part.get_content(),
    )


def _id_of(text: str) -> int:
    if not text.isascii() or not text.isdecimal() or not 0 < int(text[:20]) < _HIGHEST_ID:
        raise HTTPException(404)
    return int(text)


_STATES = {
    "accepted": "accepted by the mail server for",
    "waiting": "waiting for",
    "trying": "being sent to",
    "refused": "refused for",
    "expired": "given up for",
}


def _reached(states: Mapping[str, int]) -> str:
    told = [f"{_STATES.get(state, state)} {count}" for state, count in states.items()]
    return capital("; ".join(told)) if told else "No address"


WAYS = (
    Way("/", get=_today),
    Way("/why", get=_why),
    Way("/letters", get=_letters, role=Role.SKIPPER),
    Way("/letters/{letter}", get=_letter, role=Role.SKIPPER),
)
