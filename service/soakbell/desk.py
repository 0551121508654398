"""The desk of one boat: decides on what is on hand, and writes letters for the sweep to send."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from soakbell import __version__
from soakbell.call_record import as_record, from_record
from soakbell.clock import Clock
from soakbell.due_times import due_at, zone_data_version
from soakbell.errors import SoakbellError
from soakbell.feeds.requests_list import Fetcher
from soakbell.fetching import Fetching, still_needed
from soakbell.fishery.season import caution
from soakbell.letters.facts import FisheryFacts, LetterFacts, Link
from soakbell.letters.letter import LetterKind, morning_letter
from soakbell.letters.message import to_message
from soakbell.morning import Morning, failed_call, look_again, make_call
from soakbell.planning.call import Call
from soakbell.planning.trips import Trip
from soakbell.replaying import Basis, inputs_of, made_from
from soakbell.settings import Settings
from soakbell.store import letters, replies
from soakbell.store.calls import last_call
from soakbell.store.engine import Store
from soakbell.store.letters import CallRecord, WrittenLetter
from soakbell.store.log_keeper import LogKeeper

AUDIT_AGE = timedelta(days=400)
NO_LETTER_BY = timedelta(minutes=60)
"""A skipper without a letter this long after its hour should look at the official forecast himself."""


@dataclass(frozen=True)
class _Made:
    """A morning, and all that it was made from."""

    morning: Morning
    basis: Basis


class Desk:
    """Everything the sweep asks for on behalf of one boat. All methods block; none fetches inside a transaction.

    Attributes:
        sources: what fetches for it.
        log: what the log comes to.
    """

    def __init__(
        self, settings: Settings, store: Store, clock: Clock, fetcher: Fetcher, *, invented: bool = False
    ) -> None:
        """``invented`` marks every letter as a demonstration on invented data."""
        self._settings = settings
        self._store = store
        self._clock = clock
        self.sources = Fetching(settings, store, clock, fetcher)
        self.log = LogKeeper(store, settings.trap_strings)
        self._invented = invented

    # ---- letters

    def write(self, kind: str, day: date, turn: int, *, late: bool, clock_suspect: bool) -> WrittenLetter:
        """The letter of ``day``, on news a few minutes old where the sources answer."""
        if kind != "morning":
            raise ValueError(f"this desk writes no {kind} letter")
        self.sources.poll_if_old()
        now = self._clock.now()
        made = self._decide(day, now, clock_suspect)
        return self._compose(made.morning.call, made.morning.trip, "morning", turn, now, None, made, late=late)

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
        self.sources.poll_if_old()
        now = self._clock.now()
        made = self._decide(day, now, clock_suspect)
        call = look_again(previous, trip, made.morning, now)
        if call is None:
            return None
        new_trip = trip if call.window == previous.window else made.morning.trip
        return self._compose(
            call, new_trip if call.window else None, "changed", turn, now, previous, made, late=False
        )

    def letter_text(self, day: date, *, clock_suspect: bool) -> str:
        """Today's letter as text, on what is on hand; nothing is stored or sent."""
        now = self._clock.now()
        morning = self._decide(day, now, clock_suspect).morning
        call = morning.call
        facts = self._facts(call, 0, now, None, morning, late=False)
        letter = morning_letter(call, facts, kind="morning", previous=None)
        return f"{letter.subject}\n\n{letter.text}"

    def housekeep(self) -> None:
        """Forget old letters and replies, and warnings that no longer matter."""
        now = self._clock.now()
        with self._store.writing() as session:
            needed = still_needed(replies.seen_warnings(session), now)
            replies.forget_warnings(session, needed, last_seen_before=now - timedelta(days=30))
            kept = timedelta(days=self._settings.keep_replies_days)
            replies.prune_replies(session, now - kept, calls_since=now - AUDIT_AGE)
            letters.forget_letters(session, written_before=now - AUDIT_AGE)

    def decide(self, day: date, *, clock_suspect: bool) -> Morning:
        """The call on what is on hand; nothing is stored or sent."""
        return self._decide(day, self._clock.now(), clock_suspect).morning

    def _decide(self, day: date, now: datetime, clock_suspect: bool) -> _Made:
        log = self.log.now()
        basis = Basis(self.sources.on_hand(now), log, now, clock_suspect)
        morning = make_call(self._settings, basis.on_hand, log.gear, now, day=day, clock_suspect=clock_suspect)
        return _Made(morning, basis)

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
        made: _Made | None,
        *,
        late: bool,
    ) -> WrittenLetter:
        watch_until = None
        if call.window is not None:
            watch_until = call.window.last_departure_at + (call.window.lands_at - call.window.leaves_at)
        facts = self._facts(call, turn, now, watch_until, None if made is None else made.morning, late=late)
        letter = morning_letter(call, facts, kind=kind, previous=previous)
        mail = self._settings.mail
        message = to_message(
            letter,
            sender=mail.from_address,
            to=mail.to,
            message_id=self._message_id(call, kind, turn),
            date=now,
        )
        detail = as_record(call, trip)
        inputs: list[dict[str, Any]] = []
        if made is not None:
            detail["made_from"] = made_from(self._settings, made.basis, looked_again=previous is not None)
            inputs = inputs_of(made.basis.on_hand, made.morning.survey)
        return WrittenLetter(
            subject=letter.subject,
            message=message.as_bytes(),
            recipients=mail.to,
            call=CallRecord(
                word=call.word.value,
                made_at=now,
                detail=detail,
                inputs=inputs,
                code_version=__version__,
                tz_version=zone_data_version(),
            ),
            watch_until=watch_until,
        )

    def _facts(
        self,
        call: Call,
        turn: int,
        now: datetime,
        watch_until: datetime | None,
        morning: Morning | None,
        *,
        late: bool,
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
            strings=settings.trap_strings if morning is None else morning.strings,
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


def _official_pages(settings: Settings) -> tuple[Link, ...]:
    pages = [Link("Marine forecasts of the National Weather Service", "https://www.weather.gov/marine/")]
    for zone in dict.fromkeys(area.zone for area in settings.areas):
        url = f"https://forecast.weather.gov/shmrn.php?mz={zone.lower()}"
        pages.insert(0, Link(f"Official forecast and warnings for {zone}", url))
    return tuple(pages)
