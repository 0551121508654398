"""The desk of one boat: fetches what is public, reads what is kept, and writes letters for the sweep to send."""

from __future__ import annotations

import hashlib
import logging
import threading
from collections.abc import Callable, Sequence
from datetime import date, datetime, timedelta
from functools import partial
from typing import Any

from soakbell import __version__
from soakbell.call_record import as_record, from_record
from soakbell.clock import Clock
from soakbell.due_times import due_at, zone_data_version
from soakbell.errors import FetchFailed, NotUnderstood, SoakbellError
from soakbell.feeds.alerts import parse_alerts
from soakbell.feeds.points import parse_point
from soakbell.feeds.requests_list import (
    Fetcher,
    PublicServices,
    fetch_newest_product,
    fetch_warnings,
    grid_ask,
    observations_ask,
    point_ask,
)
from soakbell.feeds.transport import Ask, UnusableReply
from soakbell.fishery.season import caution
from soakbell.letters.facts import FisheryFacts, LetterFacts, Link
from soakbell.letters.letter import LetterKind, morning_letter
from soakbell.letters.message import to_message
from soakbell.morning import Morning, failed_call, look_again, make_call
from soakbell.planning.call import Call
from soakbell.planning.trips import Trip
from soakbell.sea.areas import ForecastArea
from soakbell.sea.sources import RawReply, SourceKind
from soakbell.sea.warnings import AlertsReply, joined, remember
from soakbell.settings import Settings
from soakbell.store import letters, replies
from soakbell.store.calls import last_call
from soakbell.store.engine import Store
from soakbell.store.letters import CallRecord, WrittenLetter
from soakbell.store.log import all_entries
from soakbell.survey import OnHand, ReplyKey

log = logging.getLogger(__name__)

RESOLVE_CELL_EVERY = timedelta(days=1)
NEWS_IS_OLD_AFTER = timedelta(minutes=10)
TELL_CELL_CHANGE_FOR = timedelta(days=3)
AUDIT_AGE = timedelta(days=400)
NO_LETTER_BY = timedelta(minutes=60)
"""A skipper without a letter this long after its hour should look at the official forecast himself."""


class Desk:
    """Everything the sweep asks for on behalf of one boat. All methods block; none fetches inside a transaction.

    ``invented`` marks every letter as a demonstration on invented data.
    """

    def __init__(
        self, settings: Settings, store: Store, clock: Clock, fetcher: Fetcher, *, invented: bool = False
    ) -> None:
        self._settings = settings
        self._store = store
        self._clock = clock
        self._fetcher = _KeepsAll(fetcher, store)
        self._services = PublicServices(settings.sources.weather_api, settings.sources.buoys)
        self._invented = invented
        self._fetching = threading.Lock()

    # ---- fetching

    def poll(self) -> None:
        """Fetch every source once. One that fails is noted and does not stop the others."""
        with self._fetching:
            self._poll()

    def _poll(self) -> None:
        areas, services = self._settings.areas, self._services
        for area in areas:
            self._resolve_cell(area)
        cells = self._cells()
        jobs: dict[ReplyKey, Callable[[], object]] = {}
        for area in areas:
            text = partial(fetch_newest_product, self._fetcher, area.office, services=services)
            jobs[SourceKind.ZONE_TEXT, area.office] = text
            jobs[SourceKind.WARNINGS, area.zone] = partial(self._fetch_warnings, area.zone)
            cell = area.grid or cells.get(area.name)
            if cell is not None:
                jobs[SourceKind.GRID, cell] = partial(self._fetcher.fetch, grid_ask(cell, services))
            if area.station is not None:
                ask = observations_ask(area.station, services)
                jobs[SourceKind.OBSERVATIONS, area.station] = partial(self._fetcher.fetch, ask)
        for key, job in jobs.items():
            self._try(key, job)
        self._put_note("polled", {})

    def _try(self, key: ReplyKey, job: Callable[[], object]) -> None:
        kind, name = key
        try:
            job()
        except (FetchFailed, NotUnderstood) as fault:
            told = {
                "action": "fetch",
                "boat": self._settings.boat.name,
                "provider": kind.value,
                "fault": str(fault),
            }
            log.warning("source failed", extra=told)
            self._put_note(f"trouble:{kind.value}:{name}", {"text": str(fault)})
        else:
            self._drop_note(f"trouble:{kind.value}:{name}")

    def _fetch_warnings(self, zone: str) -> None:
        pages = fetch_warnings(self._fetcher, zone, self._services)
        listed = joined([parse_alerts(page.body) for page in pages])
        with self._store.writing() as session:
            replies.keep_warnings(session, listed.warnings, self._clock.now())

    def _resolve_cell(self, area: ForecastArea) -> None:
        """Ask which grid cell the area's point lies in, daily and after a fault: offices re-cut their grids."""
        if area.grid is not None:
            return
        name, now = f"cell:{area.name}", self._clock.now()
        known = self._get_note(name)
        if known is not None:
            cell, asked_at = known[0]["cell"], known[1]
            trouble = self._get_note(f"trouble:{SourceKind.GRID.value}:{cell}")
            if now - asked_at < RESOLVE_CELL_EVERY and trouble is None:
                return
        key = (SourceKind.POINT, area.name)
        self._try(key, partial(self._ask_cell, area, name, None if known is None else known[0], now))

    def _ask_cell(self, area: ForecastArea, name: str, known: dict[str, Any] | None, now: datetime) -> None:
        point = parse_point(self._fetcher.fetch(point_ask(area.lat_deg, area.lon_deg, self._services)).body)
        value = {"cell": point.cell}
        if known is not None and known["cell"] != point.cell:
            value |= {"before": known["cell"], "changed_at": now.isoformat()}
            log.warning("grid cell changed", extra={"action": "resolve", "cell": point.cell})
        elif known is not None:
            value = known
        self._put_note(name, value)

    def _cells(self) -> dict[str, str]:
        found = {area.name: self._get_note(f"cell:{area.name}") for area in self._settings.areas}
        return {name: note[0]["cell"] for name, note in found.items() if note is not None}

    # ---- what is on hand

    def on_hand(self) -> OnHand:
        """The newest good reply of every source, read back from the store."""
        cells = self._cells()
        kept: dict[ReplyKey, Sequence[RawReply]] = {}
        troubles: dict[ReplyKey, str] = {}
        with self._store.reading() as session:
            for area in self._settings.areas:
                keys = [(SourceKind.ZONE_TEXT, area.office), (SourceKind.WARNINGS, area.zone)]
                if (cell := area.grid or cells.get(area.name)) is not None:
                    keys.append((SourceKind.GRID, cell))
                if area.station is not None:
                    keys.append((SourceKind.OBSERVATIONS, area.station))
                for kind, key in keys:
                    pages = _kept_pages(session, kind, key)
                    if pages:
                        kept[kind, key] = pages
                    note = letters.get_note(session, self._name(f"trouble:{kind.value}:{key}"))
                    if note is not None:
                        troubles[kind, key] = f"last asked {note[1]:%H:%M} UTC: {note[0]['text']}"
            seen = replies.seen_warnings(session)
        return OnHand(kept, troubles, seen, cells)

    # ---- letters

    def write(self, kind: str, day: date, turn: int, *, late: bool, clock_suspect: bool) -> WrittenLetter:
        """The letter of ``day``, on news not older than NEWS_IS_OLD_AFTER where the sources answer."""
        if kind != "morning":
            raise ValueError(f"this desk writes no {kind} letter")
        self._freshen()
        now = self._clock.now()
        morning = self._decide(day, now, clock_suspect)
        return self._compose(morning.call, morning.trip, "morning", turn, now, None, morning, late=late)

    def write_failed(self, kind: str, day: date, turn: int, error: str) -> WrittenLetter:
        """The plain NO CALL. Leans on nothing but the settings, and on the day's last call for a changed one."""
        now = self._clock.now()
        call = failed_call(self._settings, day, now, error)
        try:
            previous = self._last_call(day) if kind == "changed" else None
        except SoakbellError:
            previous = None
        changed: LetterKind = "changed" if previous is not None else "morning"
        before = previous[0] if previous is not None else None
        return self._compose(call, None, changed, turn, now, before, None, late=False)

    def recheck(self, day: date, turn: int, *, clock_suspect: bool) -> WrittenLetter | None:
        """A CHANGED CALL, where the newest data no longer carry the day's last call; else None."""
        last = self._last_call(day)
        if last is None or last[1] is None:
            return None
        previous, trip = last[0], last[1]
        self._freshen()
        now = self._clock.now()
        morning = self._decide(day, now, clock_suspect)
        call = look_again(previous, trip, morning, now)
        if call is None:
            return None
        new_trip = trip if call.window == previous.window else morning.trip
        return self._compose(
            call, new_trip if call.window else None, "changed", turn, now, previous, morning, late=False
        )

    def letter_text(self, day: date) -> str:
        """Today's letter as text, on what is on hand; nothing is stored or sent."""
        now = self._clock.now()
        call = self.decide(day).call
        facts = self._facts(call, 0, now, None, late=False)
        letter = morning_letter(call, facts, kind="morning", previous=None)
        return f"{letter.subject}\n\n{letter.text}"

    def housekeep(self) -> None:
        """Forget old letters and replies, and warnings that no longer matter."""
        now = self._clock.now()
        with self._store.writing() as session:
            seen = replies.seen_warnings(session)
            nothing_new = AlertsReply(updated_at=None, warnings=(), next_url="unknown", faults=())
            needed = remember(seen, nothing_new, now)
            replies.forget_warnings(session, needed, last_seen_before=now - timedelta(days=30))
            kept = timedelta(days=self._settings.keep_replies_days)
            replies.prune_replies(session, now - kept, calls_since=now - AUDIT_AGE)
            letters.forget_letters(session, written_before=now - AUDIT_AGE)

    def _freshen(self) -> None:
        with self._fetching:
            polled = self._get_note("polled")
            if polled is None or self._clock.now() - polled[1] > NEWS_IS_OLD_AFTER:
                self._poll()

    def decide(self, day: date) -> Morning:
        """The call on what is on hand; nothing is stored or sent."""
        return self._decide(day, self._clock.now(), clock_suspect=False)

    def _decide(self, day: date, now: datetime, clock_suspect: bool) -> Morning:
        with self._store.reading() as session:
            entries = all_entries(session)
        return make_call(self._settings, self.on_hand(), entries, now, day=day, clock_suspect=clock_suspect)

    def _last_call(self, day: date) -> tuple[Call, Trip | None] | None:
        with self._store.reading() as session:
            record = last_call(session, self._settings.boat.name, day)
        return None if record is None else from_record(record)

    def _compose(
        self,
        call: Call,
        trip: Trip | None,
        kind: LetterKind,
        turn: int,
        now: datetime,
        previous: Call | None,
        morning: Morning | None,
        *,
        late: bool,
    ) -> WrittenLetter:
        watch_until = None
        if call.window is not None:
            watch_until = call.window.last_departure_at + (call.window.lands_at - call.window.leaves_at)
        facts = self._facts(call, turn, now, watch_until, late=late)
        letter = morning_letter(call, facts, kind=kind, previous=previous)
        mail = self._settings.mail
        message = to_message(
            letter,
            sender=mail.from_address,
            to=mail.to,
            message_id=self._message_id(call, kind, turn),
            date=now,
        )
        inputs = [] if morning is None else _inputs(morning)
        return WrittenLetter(
            subject=letter.subject,
            message=message.as_bytes(),
            recipients=mail.to,
            call=CallRecord(
                word=call.word.value,
                made_at=now,
                detail=as_record(call, trip),
                inputs=inputs,
                code_version=__version__,
                tz_version=zone_data_version(),
            ),
            watch_until=watch_until,
        )

    def _facts(
        self, call: Call, turn: int, now: datetime, watch_until: datetime | None, *, late: bool
    ) -> LetterFacts:
        settings = self._settings
        zone, hour = settings.harbor.time_zone, settings.letters.morning
        law = caution(settings.fishery)
        due = due_at(call.day, hour, zone) if turn == 0 else now
        return LetterFacts(
            boat=settings.boat.name,
            harbor=settings.harbor.name,
            harbor_mark=settings.harbor.mark,
            zone_name=zone,
            strings=settings.trap_strings,
            fishery=FisheryFacts(settings.fishery.name, law.authority, law.url, law.checked),
            links=_official_pages(settings),
            due_at=due,
            no_letter_by=(datetime.combine(call.day, hour) + NO_LETTER_BY).time(),
            next_letter_at=due_at(call.day + timedelta(days=1), hour, zone),
            watch_until=watch_until,
            late=late,
            turn=turn,
            refused=self._refused(),
            expired=self._expired(now),
            invented=self._invented,
        )

    def _refused(self) -> tuple[str, ...]:
        with self._store.reading() as session:
            troubled = letters.addresses_in_trouble(session)
        return tuple(trouble.address for trouble in troubled if trouble.state == "refused")

    def _expired(self, now: datetime) -> tuple[datetime, ...]:
        """When letters were due that have been given up since the last one that was accepted."""
        with self._store.reading() as session:
            since = letters.last_accepted_at(session) or now - timedelta(days=7)
            gone = letters.expired_since(session, self._settings.boat.name, since)
        return tuple(dict.fromkeys(letter.due_at for letter in gone))

    def _message_id(self, call: Call, kind: str, turn: int) -> str:
        """New for every letter written; kept with it, so that every try of sending carries the same."""
        made = hashlib.sha256(f"{call.boat} {call.made_at.isoformat()}".encode()).hexdigest()[:16]
        domain = self._settings.mail.from_address.rpartition("@")[2]
        return f"<{kind}.{call.day.isoformat()}.{turn}.{made}@{domain}>"

    # ---- notes

    def _name(self, name: str) -> str:
        return f"{name}:{self._settings.boat.name}"

    def _get_note(self, name: str) -> tuple[Any, datetime] | None:
        with self._store.reading() as session:
            return letters.get_note(session, self._name(name))

    def _put_note(self, name: str, value: dict[str, Any]) -> None:
        with self._store.writing() as session:
            letters.put_note(session, self._name(name), value, self._clock.now())

    def _drop_note(self, name: str) -> None:
        if self._get_note(name) is not None:
            with self._store.writing() as session:
                letters.drop_note(session, self._name(name))


class _KeepsAll:
    """Passes fetches on and keeps every reply that comes, the unusable ones too: the audit trail."""

    def __init__(self, fetcher: Fetcher, store: Store) -> None:
        self._fetcher = fetcher
        self._store = store

    def fetch(self, ask: Ask) -> RawReply:
        try:
            reply = self._fetcher.fetch(ask)
        except UnusableReply as fault:
            self._keep(fault.reply)
            raise
        self._keep(reply)
        return reply

    def _keep(self, reply: RawReply) -> None:
        with self._store.writing() as session:
            replies.keep_reply(session, reply)


def _kept_pages(session: Any, kind: SourceKind, key: str) -> tuple[RawReply, ...]:
    """A source's newest good reply; of a list of warnings all its pages, as far as they came together."""
    first = replies.newest_good(session, kind, key)
    if first is None:
        return ()
    pages = [first]
    if kind is SourceKind.WARNINGS:
        try:
            while parse_alerts(pages[-1].body).next_url is not None:
                page = replies.newest_good(session, kind, f"{key} page {len(pages) + 1}")
                if page is None or page.fetched_at < first.fetched_at:
                    break
                pages.append(page)
        except NotUnderstood:
            return tuple(pages)
    return tuple(pages)


def _official_pages(settings: Settings) -> tuple[Link, ...]:
    pages = [Link("Marine forecasts of the National Weather Service", "https://www.weather.gov/marine/")]
    for zone in dict.fromkeys(area.zone for area in settings.areas):
        url = f"https://forecast.weather.gov/shmrn.php?mz={zone.lower()}"
        pages.insert(0, Link(f"Official forecast and warnings for {zone}", url))
    return tuple(pages)


def _inputs(morning: Morning) -> list[dict[str, Any]]:
    """What the call rested on: each source by the hash of its bytes, with its times."""
    return [
        {
            "kind": told.kind.value,
            "key": told.key,
            "sha256": sha256,
            "issued_at": None if told.issued_at is None else told.issued_at.isoformat(),
            "fault": None if told.fault is None else told.fault.code.value,
        }
        for told in morning.survey.sources
        for sha256 in told.sha256
    ]
