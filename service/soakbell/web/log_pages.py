"""Telling the log by phone: what can be told, a form for each kind, and what was told, to be undone."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise
from uuid import uuid4

from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.responses import Response

from soakbell.clock import CLOCK_SLACK
from soakbell.errors import Fault, LogRefused
from soakbell.gear.fold import Whereabouts
from soakbell.gear.log import Correction, EntryKind, LogEntry, Repaired, new_entry
from soakbell.letters.times import HarborTimes
from soakbell.store.log import (
    Unread,
    entries_keyed,
    entries_named,
    take_entries,
    told_before,
    voided_among,
)
from soakbell.store.log_keeper import Kept
from soakbell.web.house import PageHouse
from soakbell.web.log_forms import (
    CREW_TOLD_BY,
    KINDS,
    NO_KEY,
    OFTEN,
    SKIPPERS,
    TOLD_BY,
    Asked,
    Form,
    Told,
    as_told_before,
    entries_of,
    fault_words,
    form_of,
    not_ahead,
    told_words,
)
from soakbell.web.visit import SignedIn, Visit, Way

_LAST = 10
_A_PAGE = 50
_CREW_MAY_UNDO_FOR = timedelta(hours=24)
AHEAD = timedelta(minutes=10)
"""A moment so little ahead of our clock is taken for now: phones have clocks of their own."""
_TOLD_BY = {TOLD_BY: "by phone", CREW_TOLD_BY: "by the crew's phone", "cli": "by command", "marks": "by import"}
_IDS = re.compile(r"[0-9a-f-]{36}(\.[0-9a-f-]{36}){0,5}")


@dataclass(frozen=True)
class Outcome:
    """What came of telling. ``known``: it was in the log already, and nothing was doubled."""

    entries: tuple[LogEntry, ...] = ()
    known: bool = False
    faults: tuple[Fault, ...] = ()


@dataclass(frozen=True)
class Telling:
    """What one form tells. ``apart``: so near to the moment of an entry with its key it is that entry."""

    told: Told
    apart: timedelta


def telling_of(
    visit: Visit,
    kind: EntryKind,
    cells: Mapping[str, str],
    at: datetime | None,
    *,
    told_at: datetime | None = None,
) -> Telling:
    """The cells read, with their own faults; ``at`` is when it happened unless they say, ``told_at`` else now."""
    now = visit.now
    if not _may_tell(visit, kind):
        return Telling(
            Told(
                faults=(
                    Fault(
                        "",
                        "kind",
                        "what only the skipper tells",
                        "nothing here; with the skipper signed in, send it again",
                    ),
                )
            ),
            CLOCK_SLACK,
        )
    told = entries_of(kind, cells, visit.house.zone, told_at or now, at=at, told_by=_told_by(visit))
    apart = AHEAD + CLOCK_SLACK if cells.get("happened_at", "").strip() else timedelta.max
    return Telling(not_ahead(told, now, AHEAD), apart)


def tell(house: PageHouse, telling: Telling, now: datetime) -> Outcome:
    """Take what one form tells into the log, all or nothing.

    Raises:
        StoreError: the database can't be read or written.
    """
    if telling.told.faults:
        return Outcome(faults=telling.told.faults)
    for first_try in (True, False):
        try:
            (outcome,) = _taken(house, [_as_known(house, telling)], now)
        except LogRefused as refused:
            if first_try and any(fault.key == "key" for fault in refused.faults):
                continue  # it came twice at once, and is known by now
            return Outcome(faults=refused.faults)
        return outcome
    raise AssertionError("the second try ends one way or the other")


def tell_each(house: PageHouse, tellings: Sequence[Telling], now: datetime) -> list[Outcome]:
    """As ``tell`` for one after the other, in less time where all are taken: they are weighed together once.

    What is weighed together is weighed beside what came after it too. That changes nothing where each happened
    after those told before it; else, and where any is refused, each is weighed by itself.

    Raises:
        StoreError: the database can't be read or written. What was taken before stays so.
    """
    sound = [telling for telling in tellings if not telling.told.faults]
    outcomes = _taken_together(house, sound, now) if len(sound) > 1 else None
    if outcomes is None:
        return [tell(house, telling, now) for telling in tellings]
    taken = iter(outcomes)
    return [tell(house, one, now) if one.told.faults else next(taken) for one in tellings]


def _taken_together(house: PageHouse, tellings: Sequence[Telling], now: datetime) -> list[Outcome] | None:
    """None where that can't be, and nothing was taken."""
    same = [_as_known(house, telling) for telling in tellings]
    if not all(_ends(before) < _begins(after) for before, after in pairwise(same)):
        return None
    try:
        return _taken(house, same, now)
    except LogRefused:
        return None


def _ends(told: Told) -> datetime:
    return max(entry.happened_at for entry in told.entries)


def _begins(told: Told) -> datetime:
    return min(entry.happened_at for entry in told.entries)


def _as_known(house: PageHouse, telling: Telling) -> Told:
    with house.store.reading() as session:
        known = entries_keyed(session, [entry.key for entry in telling.told.entries])
    return as_told_before(telling.told, known, telling.apart)


def _taken(house: PageHouse, told: Sequence[Told], now: datetime) -> list[Outcome]:
    """All of it, or none.

    Raises:
        LogRefused, StoreError: as ``take_entries``.
    """
    taken = take_entries(
        house.store,
        [entry for one in told for entry in one.entries],
        house.settings.trap_strings,
        now,
        zone=house.zone,
        outfit=house.usable_outfit,
        labels={id: label for one in told for id, label in one.labels.items()},
    )
    written = {entry.id for entry in taken.written}
    by_key = {entry.key: entry for entry in (*taken.written, *taken.known)}
    return [
        Outcome(
            tuple(by_key[entry.key] for entry in one.entries),
            known=not any(entry.id in written for entry in one.entries),
        )
        for one in told
    ]


# ---- Forms ---------------------------------------------------------------------------------------------------


def _form(visit: Visit) -> Response:
    return _form_page(visit, form_of(_kind_of(visit), _asked(visit)), str(uuid4()))


def _take(visit: Visit, form: FormData) -> Response:
    kind = _kind_of(visit)
    cells = {name: cell for name, cell in form.items() if isinstance(cell, str) and name != "form_token"}
    outcome = tell(visit.house, telling_of(visit, kind, cells, visit.now), visit.now)
    if not outcome.faults:
        ids = ".".join(entry.id for entry in outcome.entries)
        return visit.go(f"/log?told={ids}{'&before=1' if outcome.known else ''}")
    filled = form_of(kind, _asked(visit), cells, outcome.faults)
    key = cells.get("key", "")
    lost = any(fault.found == NO_KEY for fault in outcome.faults)
    return _form_page(visit, filled, str(uuid4()) if lost else key, status=422)


def _form_page(visit: Visit, form: Form, key: str, *, status: int = 200) -> Response:
    return visit.page("log_form.html", status=status, form=form, key=key)


def _kind_of(visit: Visit) -> EntryKind:
    name = visit.request.path_params["kind"]
    found = next((kind for kind in KINDS if kind.value == name), None)
    if found is None:
        raise HTTPException(404, "There is no such form.")
    if not _may_tell(visit, found):
        raise HTTPException(403, "Only the skipper may tell this.")
    return found


def _may_tell(visit: Visit, kind: EntryKind) -> bool:
    return kind not in SKIPPERS or (visit.who is not None and visit.who.is_skipper)


def _told_by(visit: Visit) -> str:
    return TOLD_BY if visit.who is not None and visit.who.is_skipper else CREW_TOLD_BY


def _asked(visit: Visit) -> Asked:
    house = visit.house
    gear = house.desk.log.now().gear
    marks, counts = {}, {}
    for string in house.settings.trap_strings:
        state = gear.strings.get(string.name)
        start, end = (string.start, string.end) if state is None else (state.start, state.end)
        places = {
            "start-lat": start.lat_deg,
            "start-lon": start.lon_deg,
            "end-lat": end.lat_deg,
            "end-lon": end.lon_deg,
        }
        marks[string.name] = {name: repr(degrees) for name, degrees in places.items()}
        fishing = 0 if state is None else len(state.places(Whereabouts.FISHING))
        counts[string.name] = f"{fishing} of {string.traps} fishing" if fishing else "none in the water"
    return Asked(house.settings.trap_strings, house.usable_outfit, marks, counts)


# ---- What was told -------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class ToldRow:
    """One entry of the log as it is listed. ``undo`` is what its button says; "" where there is none."""

    id: str
    words: str
    told: str
    voided: bool
    undo: str


def _log(visit: Visit) -> Response:
    kept = visit.house.desk.log.now()
    return visit.page(
        "log.html",
        often=[(kind.value, KINDS[kind]) for kind in OFTEN],
        others=[
            (kind.value, name) for kind, name in KINDS.items() if kind not in OFTEN and _may_tell(visit, kind)
        ],
        told=_just_told(visit),
        mended_none=_mended_none(visit, kept),
        before=visit.query.get("before") == "1",
        odd=_odd(visit, kept),
        undone=visit.query.get("undone") == "1",
        rows=_rows(visit, _LAST, None)[0],
    )


def _told(visit: Visit) -> Response:
    before = visit.query.get("before", "")
    if before and not re.fullmatch(r"[1-9][0-9]{0,17}", before, re.ASCII):
        raise HTTPException(404)
    rows, last = _rows(visit, _A_PAGE, int(before) if before else None)
    return visit.page("told.html", rows=rows, older=last if len(rows) == _A_PAGE else None)


def _rows(visit: Visit, most: int, before: int | None) -> tuple[list[ToldRow], int | None]:
    with visit.house.store.reading() as session:
        found = told_before(session, most, before)
        voided = voided_among(session, [entry.id for _, entry in found])
    times = visit.times
    rows = [_row(visit, entry, entry.id in voided, times) for _, entry in found]
    return rows, found[-1][0] if found else None


def _row(visit: Visit, entry: LogEntry | Unread, voided: bool, times: HarborTimes) -> ToldRow:
    if isinstance(entry, Unread):
        return ToldRow(entry.id, f"This entry can't be read: {entry.fault}.", "", voided, "")
    told = f"Told {_TOLD_BY.get(entry.told_by, f'by {entry.told_by}')} {times.dated(entry.told_at)}"
    undo = ""
    if not voided and visit.who is not None and _may_undo(visit.who, entry, visit.now):
        undo = "Bring it back" if isinstance(entry.detail, Correction) else "Undo"
    return ToldRow(entry.id, told_words(entry, times), told, voided, undo)


def _may_undo(who: SignedIn, entry: LogEntry, now: datetime) -> bool:
    """The crew may undo what the crew told within the last day; the skipper all."""
    return who.is_skipper or (entry.told_by == CREW_TOLD_BY and now - entry.told_at <= _CREW_MAY_UNDO_FOR)


def _just_told(visit: Visit) -> list[str]:
    ids = _told_ids(visit)
    if not ids:
        return []
    with visit.house.store.reading() as session:
        found = entries_named(session, ids)
    times = visit.times
    return [told_words(entry, times) for entry in sorted(found, key=lambda entry: entry.order)]


def _mended_none(visit: Visit, kept: Kept) -> list[str]:
    """Strings of which a mend just told found nothing wrong with any trap: what it mends, it has seen."""
    with visit.house.store.reading() as session:
        told = entries_named(session, _told_ids(visit))
    mends = (entry for entry in told if isinstance(entry.detail, Repaired) and not entry.traps)
    return [
        state.name
        for entry in mends
        if (state := kept.gear.strings.get(entry.string or "")) is not None
        and all(trap.seen_at != entry.happened_at for trap in state.traps)
    ]


def _told_ids(visit: Visit) -> list[str]:
    told = visit.query.get("told", "")
    return told.split(".") if _IDS.fullmatch(told) else []


def _odd(visit: Visit, kept: Kept) -> list[str]:
    """What of the entries just told makes no sense where it stands."""
    ids = set(_told_ids(visit))
    oddities = (*kept.gear.oddities, *(() if kept.books is None else kept.books.oddities))
    return [f"Found {odd.found}; it should be {odd.write}." for odd in oddities if odd.entry_id in ids]


def _void(visit: Visit, form: FormData) -> Response:
    house, entry_id = visit.house, visit.request.path_params["entry"]
    with house.store.reading() as session:
        found = entries_named(session, [entry_id])
    if not found or visit.who is None:
        raise HTTPException(404, "There is no such entry in the log.")
    (entry,) = found
    if not _may_undo(visit.who, entry, visit.now):
        raise HTTPException(
            403, "The crew may undo what the crew told by phone in the last 24 hours; the rest, the skipper."
        )
    with house.store.reading() as session:
        voided = entry.id in voided_among(session, [entry.id])
    if not voided:
        _correct(visit, entry)
    return visit.go("/told?undone=1" if form.get("from") == "told" else "/log?undone=1")


def _correct(visit: Visit, entry: LogEntry) -> None:
    house = visit.house
    detail = Correction(entry.id, "undone on the phone page")
    correction = new_entry(detail, happened_at=visit.now, told_at=visit.now, told_by=_told_by(visit))
    strings, zone = house.settings.trap_strings, house.zone
    try:
        take_entries(house.store, [correction], strings, visit.now, zone=zone, outfit=house.usable_outfit)
    except LogRefused as refused:
        if not all("voided already" in fault.found for fault in refused.faults):  # a second tap came first
            said = " ".join(fault_words(fault) for fault in refused.faults)
            raise HTTPException(409, f"That can't be undone. {said}") from refused


WAYS = (
    Way("/log", get=_log),
    Way("/log/{kind}", get=_form, post=_take),
    Way("/told", get=_told),
    Way("/told/{entry}/void", post=_void),
)
