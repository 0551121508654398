"""The desk of one boat: decides on what is on hand, and writes letters for the sweep to send."""

from __future__ import annotations

import hashlib
import logging
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from functools import partial
from typing import Any, TypeAlias

from soakbell import __version__
from soakbell.beside import Beside
from soakbell.call_record import as_record, from_record
from soakbell.clock import Clock
from soakbell.due_times import due_at, local_day, zone_data_version
from soakbell.errors import SoakbellError
from soakbell.feeds.requests_list import Fetcher
from soakbell.fetching import Fetching, still_needed
from soakbell.gear.bait_lots import ORDER_LETTER
from soakbell.gear.hushed import RungBell
from soakbell.gear.log import BaitOrdered, LogEntry, new_entry
from soakbell.gear.outfit import Outfit
from soakbell.gear_desk import GearDesk
from soakbell.known_strings import remember_strings
from soakbell.letters.bait_order import order_copy, order_draft, order_to_supplier
from soakbell.letters.bells import bells_letter
from soakbell.letters.eve import eve_letter
from soakbell.letters.facts import FisheryFacts, LetterFacts, Link, PageAct
from soakbell.letters.letter import Letter, LetterKind, morning_letter
from soakbell.letters.message import to_message
from soakbell.letters.recovery import recovery_letter
from soakbell.letters.recovery_files import to_take_back
from soakbell.letters.trust import trust_letter
from soakbell.morning import Morning, failed_call, look_again, make_call
from soakbell.plan_desk import PlanDesk
from soakbell.planning.ashore import Ashore, Eve
from soakbell.planning.bait_order import BaitOrder
from soakbell.planning.bells import Bell, together
from soakbell.planning.call import Call, CallWord
from soakbell.planning.plan_terms import PlanTerms
from soakbell.planning.season_end import season_end
from soakbell.planning.season_told import TOLD_FROM_DAYS, SeasonAhead
from soakbell.planning.take_up_trips import called_trip
from soakbell.planning.trips import Trip
from soakbell.planning.week import Week
from soakbell.replaying import Basis, inputs_of, made_from
from soakbell.sea.trust_record import TrustRecord
from soakbell.season_desk import RECOVERY, SeasonDesk
from soakbell.settings import Settings
from soakbell.store import bells, letters, replies
from soakbell.store.calls import last_call
from soakbell.store.engine import Store
from soakbell.store.letters import Asked, CallRecord, UnaskedLetter, WrittenLetter
from soakbell.store.log_keeper import Kept, LogKeeper
from soakbell.store.nightly import nightly_backup, rehearse_nightly
from soakbell.store.restored import newest_restore, note_seen, unseen_since_restore
from soakbell.trusting import error_models, keep_record, kept_record, look_back, trust_terms

log = logging.getLogger(__name__)

BELLS, BAIT_ORDER, ORDER_COPY, TRUST = "bells", "bait order", "bait order copy", "trust"
UNASKED = (BELLS, BAIT_ORDER, ORDER_COPY, TRUST, RECOVERY)
"""Kinds of letters without an hour."""

PageLinks: TypeAlias = Callable[[PageAct, date, datetime], Link]
"""Makes a link to the boat's own page, in a letter of a day, at a moment."""

AUDIT_AGE = timedelta(days=400)
ALL_STATION_FILES_FOR = timedelta(days=3)
"""Older ones are kept one a day: 45 days of a station pack to some 55 kB, and come with every poll."""

REHEARSED_EVERY = timedelta(days=30)
TRUST_WITHIN_DAYS = 7
"""A trust letter is written in the first evening of a month that the service runs, but not after these days."""

NO_ORDER_AFTER_RESTORE = timedelta(days=7)
"""So long no order goes straight to the supplier: one from after the backup would be ordered again. By then it has
come or was asked for."""

RESTORE_TOLD = timedelta(days=3)
"""So long letters say that the log may lack what was told after the backup."""

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
        gear: what letters tell of gear, bait and bells.
        plan: what letters tell of the week.
        season: what letters tell of its end.
    """

    def __init__(
        self,
        settings: Settings,
        store: Store,
        clock: Clock,
        fetcher: Fetcher,
        *,
        outfit: Outfit | str | None = None,
        terms: PlanTerms | str | None = None,
        invented: bool = False,
        command: str = "soakbell",
        page_links: PageLinks | None = None,
    ) -> None:
        """``outfit`` is that of ``GearDesk``, ``terms`` those of ``PlanDesk`` and ``SeasonDesk``.

        ``invented`` marks letters as a demonstration on invented data; ``command`` is how commands in them begin.
        ``page_links``: None where phones can't reach the page.
        """
        self._settings = settings
        self._store = store
        self._clock = clock
        self.sources = Fetching(settings, store, clock, fetcher)
        self.log = LogKeeper(store, settings.trap_strings)
        self.gear = GearDesk(settings, outfit, store, self.log, terms)
        self.plan = PlanDesk(settings, terms, outfit, store, self.log)
        self.season = SeasonDesk(settings, terms, store, self.log)
        self._beside = Beside()
        self._tells_gear, self._tells_week = outfit is not None, terms is not None
        self._invented = invented
        self._command = command
        self._page_links = page_links

    # ---- letters

    def write(
        self, kind: str, day: date, turn: int, *, late: bool, clock_suspect: bool, alone: bool = False
    ) -> WrittenLetter:
        """The letter of ``day``, on news a few minutes old where the sources answer.

        ``alone``: nothing is reckoned beside the call, since that may be what an earlier try died of.
        """
        if kind not in ("morning", "eve"):
            raise ValueError(f"this desk writes no {kind} letter")
        self.sources.poll_if_old()
        if kind == "eve":
            likely = self._decide(day + timedelta(days=1), clock_suspect, ahead=True)
            eve, season = self._eve(likely, day, alone)
            left_out = self._left_out(day, week=False) if alone else ()
            return self._compose_eve(eve, day, turn, likely.basis.now, season, late=late, left_out=left_out)
        made = self._decide(day, clock_suspect)
        return self._compose(
            made.morning.call,
            made.morning.trip,
            "morning",
            turn,
            made.basis.now,
            None,
            made,
            late=late,
            alone=alone,
        )

    def write_failed(self, kind: str, day: date, turn: int, error: str) -> WrittenLetter:
        """The plain NO CALL, or an eve letter that says nothing yet. Leans on nothing but the settings, and on the
        day's last call for a changed one.
        """
        now = self._clock.now()
        if kind == "eve":
            undecided = Eve(day + timedelta(days=1), None, fault=error)
            return self._compose_eve(undecided, day, turn, now, None, late=False)
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
        made = self._decide(day, clock_suspect)
        now = made.basis.now
        call = look_again(previous, trip, made.morning, now)
        if call is None:
            self._note_seen_since_restore(day, now)
            return None
        new_trip = trip if call.window == previous.window else made.morning.trip
        return self._compose(
            call, new_trip if call.window else None, "changed", turn, now, previous, made, late=False
        )

    def letter_text(self, day: date, *, clock_suspect: bool) -> str:
        """Today's letter as text, on what is on hand; nothing is stored or sent."""
        made = self._decide(day, clock_suspect)
        call, now = made.morning.call, made.basis.now
        facts = self._facts(call, 0, now, None, made.morning, late=False)
        letter = morning_letter(
            call,
            facts,
            kind="morning",
            previous=None,
            ashore=self._ashore(call, made),
            week=self._week(call, made),
            season=self._season(call, made),
        )
        return f"{letter.subject}\n\n{letter.text}"

    def week_now(self, day: date, *, clock_suspect: bool) -> tuple[Call, Week | None, SeasonAhead | None]:
        """Today's call, the plan and season's end beside it, on what is on hand; nothing is stored or sent."""
        made = self._decide(day, clock_suspect)
        call = made.morning.call
        week = self._week(call, made)
        return call, week, None if week is None else self._season(call, made)

    @property
    def official_pages(self) -> tuple[Link, ...]:
        """Where the skipper looks when there is no call."""
        return _official_pages(self._settings)

    def told(self, day: date) -> tuple[Call, LetterFacts] | None:
        """The day's last call as its letter told it, and what was said around it; None where none was told.

        Raises:
            StoreError: the record can't be read.
        """
        last = self._last_call(day)
        if last is None:
            return None
        call = last[0]
        return call, self._facts(call, 0, call.made_at, _watch_until(call), None, late=False)

    def facts(self, day: date, now: datetime) -> LetterFacts:
        """What stands around lists and files that are asked for on ``day``."""
        return self._facts_beside(day, now, due=now)

    def ring(self, day: date, turns: Mapping[str, int]) -> Asked:
        """The letters that bells, bait, a new month and season's end ask for now. One that fails stops no other.

        At most one order and one recovery list a day, and one letter of trust a month.

        Raises:
            StoreError: the database or the log can't be read.
        """
        kept = self.log.now()
        now = self._clock.now()
        try:
            last = self._last_call(day)
        except SoakbellError:
            last = None
        ringing = self.gear.ringing(
            now,
            None if last is None else last[0],
            may_order=turns[BAIT_ORDER] == 1 and turns[ORDER_COPY] == 1,
            kept=kept,
        )
        bells = ringing.bells
        written: list[UnaskedLetter] = []
        failed: list[Exception] = []
        if ringing.order is not None:
            try:
                written += self._order(ringing.order, ringing.marks_of(ringing.in_order), turns, now)
            except Exception as fault:
                failed.append(fault)
                bells = (*bells, *ringing.in_order)  # no letter tells these in their place
        if bells:
            try:
                written.append(self._bells(bells, ringing.marks_of(bells), day, turns, now))
            except Exception as fault:
                failed.append(fault)
        for evening in (partial(self._trust, day, turns, now), partial(self._recovery, day, turns, now, kept)):
            try:
                written += evening()
            except Exception as fault:
                failed.append(fault)
        remember_strings(self._settings, self._store, now)
        for other in failed[1:]:
            told = {"action": "bells", "boat": self._settings.boat.name}
            log.error("a letter that was asked for failed", exc_info=other, extra=told)
        return Asked(tuple(written), failed[0] if failed else None)

    def housekeep(self) -> None:
        """Forget old letters, bells and replies, and warnings that no longer matter; then look back."""
        now = self._clock.now()
        with self._store.writing() as session:
            needed = still_needed(replies.seen_warnings(session), now)
            replies.forget_warnings(session, needed, last_seen_before=now - timedelta(days=30))
            kept = timedelta(days=self._settings.keep_replies_days)
            replies.prune_replies(session, now - kept, calls_since=now - AUDIT_AGE)
            replies.thin_station_files(session, now - ALL_STATION_FILES_FOR, calls_since=now - AUDIT_AGE)
            letters.forget_letters(session, written_before=now - AUDIT_AGE)
            bells.forget_rung(session, rung_before=now - AUDIT_AGE)
        self.look_back()

    def back_up(self) -> None:
        """Make tonight's backup where there is none yet, and now and then rehearse a restore of it.

        Raises:
            StoreError: it can't be made, or would not serve.
        """
        database, boat, now = self._store.file, self._settings.boat.name, self._clock.now()
        if database is None:
            return
        made = nightly_backup(database, local_day(now, self._settings.harbor.time_zone))
        with self._store.writing() as session:
            letters.put_note(session, f"backup:{boat}", {"file": made.name}, now)
            rehearsed = letters.get_note(session, f"rehearsed:{boat}")
        if rehearsed is None or not timedelta() <= now - rehearsed[1] < REHEARSED_EVERY:
            rehearse_nightly(made)
            with self._store.writing() as session:
                letters.put_note(session, f"rehearsed:{boat}", {"file": made.name}, now)

    def look_back(self) -> TrustRecord:
        """Hold what was forecast and called against what was measured, and keep what comes of it."""
        now = self._clock.now()
        on_hand = self.sources.on_hand(now)
        record = look_back(self._settings, self._store, trust_terms(self._settings), now, on_hand=on_hand)
        keep_record(self._store, self._settings.boat.name, record, now)
        return record

    def decide(self, day: date, *, clock_suspect: bool) -> Morning:
        """The call on what is on hand; nothing is stored or sent."""
        return self._decide(day, clock_suspect).morning

    def likely(self, day: date, *, clock_suspect: bool) -> Morning:
        """The likely call of a day ahead on what is on hand, as the eve letter tells it. It is no call."""
        return self._decide(day, clock_suspect, ahead=True).morning

    def _decide(self, day: date, clock_suspect: bool, *, ahead: bool = False) -> _Made:
        """The log comes first: by a moment before that, what is told meanwhile looks like a clock at fault."""
        log = self.log.now()
        now = self._clock.now()
        on_hand = self.sources.on_hand(now)
        morning = make_call(
            self._settings, on_hand, log.gear, now, day=day, clock_suspect=clock_suspect, ahead=ahead
        )
        return _Made(morning, Basis(on_hand, log, now, clock_suspect))

    def _last_call(self, day: date) -> tuple[Call, Trip | None] | None:
        with self._store.reading() as session:
            record = last_call(session, self._settings.boat.name, day)
        return None if record is None else from_record(record)

    def _note_seen_since_restore(self, day: date, now: datetime) -> None:
        """What was on hand for this look came after the restore, or it would have been missing."""
        boat = self._settings.boat.name
        with self._store.reading() as session:
            restored = unseen_since_restore(session, boat, day)
        if restored is not None:
            with self._store.writing() as session:
                note_seen(session, boat, restored, now)

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
        alone: bool = False,
    ) -> WrittenLetter:
        watch_until = _watch_until(call)
        left_out = self._left_out(call.day, week=kind == "morning" and call.word is not CallWord.NO_CALL)
        morning = None if made is None else made.morning
        facts = self._facts(call, turn, now, watch_until, morning, late=late, left_out=left_out if alone else ())
        facts = self._linked(facts, "today", call.day, now)
        ashore, week, season = None, None, None
        if made is not None and not alone:
            ashore = self._ashore(call, made)
            if kind == "morning":
                week, season = self._week(call, made), self._season(call, made)
                self.season.keep(season, now)
            else:
                week = self._no_week(call, Week(put_off=True))
        letter = morning_letter(call, facts, kind=kind, previous=previous, ashore=ashore, week=week, season=season)
        detail = as_record(call, trip)
        inputs: list[dict[str, Any]] = []
        if made is not None:
            detail["made_from"] = made_from(self._settings, made.basis, looked_again=previous is not None)
            inputs = inputs_of(made.basis.on_hand, made.morning.survey)
        return WrittenLetter(
            subject=letter.subject,
            message=self._sealed(letter, kind, call.day, turn, now),
            recipients=self._settings.mail.to,
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

    # ---- beside a call: none of it raises or takes long, and no word or window of a call rests on it

    def _left_out(self, day: date, *, week: bool) -> tuple[str, ...]:
        """What a letter of that day would tell beside its call."""
        settings = self._settings
        try:
            end = season_end(settings.fishery, day, sector=settings.sector, region=settings.region)
            ends = end is not None and (end.deadline - day).days <= TOLD_FROM_DAYS
        except Exception:
            ends = True
        all_told = {"gear": self._tells_gear, "the week's plan": week and self._tells_week, "season's end": ends}
        return tuple(name for name, tells in all_told.items() if tells)

    def _ashore(self, call: Call, made: _Made) -> Ashore | None:
        basis = made.basis
        tell = partial(self.gear.ashore, call, basis.now, clock_suspect=basis.clock_suspect, kept=basis.log)
        return self._beside.told("gear", tell, lambda why: Ashore(fault=why))

    def _week(self, call: Call, made: _Made) -> Week | None:
        basis, situation = made.basis, made.morning.situation
        tell = partial(
            self.plan.week, call, situation, basis.now, clock_suspect=basis.clock_suspect, kept=basis.log
        )
        return self._beside.told("week", tell, lambda why: self._no_week(call, Week(fault=why)))

    def _no_week(self, call: Call, instead: Week) -> Week | None:
        return instead if self._tells_week and call.word is not CallWord.NO_CALL else None

    def _season(self, call: Call, made: _Made) -> SeasonAhead | None:
        basis, situation = made.basis, made.morning.situation
        tell = partial(
            self.season.ahead, call, situation, basis.now, clock_suspect=basis.clock_suspect, kept=basis.log
        )
        return self._beside.told("season", tell, lambda why: SeasonAhead(call.day, fault=why))

    def _eve(self, likely: _Made, today: date, alone: bool) -> tuple[Eve, SeasonAhead | None]:
        basis, call = likely.basis, likely.morning.call
        if alone:
            return Eve(call.day, call), None
        tell = partial(self.gear.eve, call, basis.now, clock_suspect=basis.clock_suspect, kept=basis.log)
        eve = self._beside.told("gear", tell, lambda why: Eve(call.day, call, fault=why))
        if basis.clock_suspect:
            return eve, None
        tell_season = partial(self.season.eve, call, likely.morning.situation, basis.now, kept=basis.log)
        season = self._beside.told("season", tell_season, lambda why: SeasonAhead(today, fault=why))
        if called_trip(call) is not None:
            self.season.keep(season, basis.now)
        return eve, season

    def _compose_eve(
        self,
        eve: Eve,
        day: date,
        turn: int,
        now: datetime,
        season: SeasonAhead | None,
        *,
        late: bool,
        left_out: tuple[str, ...] = (),
    ) -> WrittenLetter:
        due = due_at(day, self._settings.letters.eve, self._settings.harbor.time_zone)
        facts = replace(self._facts_beside(day, now, due=due, late=late), left_out=left_out)
        facts = self._linked(facts, "log", day, now)
        letter = eve_letter(eve, facts, now=now, season=season)
        return self._without_call(letter, "eve", day, turn, now)

    def _bells(
        self,
        told: tuple[Bell, ...],
        rung: tuple[RungBell, ...],
        day: date,
        turns: Mapping[str, int],
        now: datetime,
    ) -> UnaskedLetter:
        """Of use until the quiet hours end next morning: then what still stands rings again, in new numbers."""
        settings = self._settings
        facts = self._linked(self._facts_beside(day, now, due=now), "log", day, now)
        letter = bells_letter(together(told), facts, now=now)
        useless = due_at(day + timedelta(days=1), settings.letters.quiet_to, settings.harbor.time_zone)
        return UnaskedLetter(BELLS, useless, self._without_call(letter, BELLS, day, turns[BELLS], now, rung=rung))

    def _order(
        self, order: BaitOrder, rung: tuple[RungBell, ...], turns: Mapping[str, int], now: datetime
    ) -> list[UnaskedLetter]:
        """The draft, or the order itself and the skipper's copy. All are of use until the supplier's hour."""
        settings, day = self._settings, order.day
        restored_at = self._restored_at(now, NO_ORDER_AFTER_RESTORE)
        if order.straight and restored_at is not None:
            restored_on = local_day(restored_at, settings.harbor.time_zone)
            order = replace(order, straight=False, restored_on=restored_on)
        useless = due_at(day, order.order_by, settings.harbor.time_zone)
        facts = self._facts_beside(day, now, due=now)

        def to_skipper(letter: Letter, kind: str) -> UnaskedLetter:
            return UnaskedLetter(kind, useless, self._without_call(letter, kind, day, turns[kind], now, rung=rung))

        if not order.straight or order.address is None:
            return [to_skipper(order_draft(order, facts, now=now), BAIT_ORDER)]
        straight = order_to_supplier(order, facts)
        itself = WrittenLetter(
            subject=straight.subject,
            message=self._sealed(
                straight,
                BAIT_ORDER,
                day,
                turns[BAIT_ORDER],
                now,
                to=(order.address,),
                reply_to=settings.mail.to[0],
            ),
            recipients=(order.address,),
            call=None,
            entries=tuple(_ordered(order, line.bait, line.boxes, now) for line in order.lines),
        )
        copy = to_skipper(order_copy(order, facts, now=now), ORDER_COPY)
        return [UnaskedLetter(BAIT_ORDER, useless, itself), copy]

    def _restored_at(self, now: datetime, within: timedelta) -> datetime | None:
        with self._store.reading() as session:
            restored = newest_restore(session)
        return None if restored is None or now - restored.at > within else restored.at

    def _trust(self, day: date, turns: Mapping[str, int], now: datetime) -> list[UnaskedLetter]:
        """The letter about the month before, if it is due and a call was made in that month."""
        settings, first = self._settings, day.replace(day=1)
        zone, last_day = settings.harbor.time_zone, first - timedelta(days=1)
        if day.day > TRUST_WITHIN_DAYS or not self._is_evening(day, now) or self._written_since(TRUST, first):
            return []
        terms = trust_terms(settings)
        record = kept_record(settings, self._store, terms, now)
        if isinstance(record, str) or record.last_day < last_day:
            record = self.look_back()
        if not record.days_between(last_day.replace(day=1), last_day):
            return []
        if record.made_at < now:
            record = self.look_back()  # what was measured of the month's last day may have come since
        facts = self._facts_beside(day, now, due=due_at(day, settings.letters.eve, zone))
        models = error_models(settings, record, terms)
        letter = trust_letter(record, models, facts, month=last_day, now=now)
        useless = due_at(day + timedelta(days=TRUST_WITHIN_DAYS), settings.letters.eve, zone)
        return [UnaskedLetter(TRUST, useless, self._without_call(letter, TRUST, day, turns[TRUST], now))]

    def _recovery(self, day: date, turns: Mapping[str, int], now: datetime, kept: Kept) -> list[UnaskedLetter]:
        """The recovery list, on its days; with every trap home one that takes back the days of its calendar.

        Of use until the next evening's could come.

        Raises:
            SoakbellError: what is not home can't be told.
        """
        told_on = self._newest_told_day(RECOVERY, now)
        if not self._is_evening(day, now) or (told_on is not None and told_on >= day):
            return []
        ahead = self.season.between(now, kept=kept)
        if ahead.recovery is None:
            raise SoakbellError(f"the recovery list can't be told: {ahead.fault}")
        asked = ahead.asks_for_letter(told_on)
        if not (asked or ahead.recovery.all_home):
            return []
        eve, zone = self._settings.letters.eve, self._settings.harbor.time_zone
        facts = self._linked(self._facts_beside(day, now, due=due_at(day, eve, zone)), "season", day, now)
        told = self.season.days_told()
        if not (asked or to_take_back(ahead.recovery, facts, told)):
            return []
        letter = recovery_letter(ahead.recovery, facts, now=now, season=ahead, told=told)
        useless = due_at(day + timedelta(days=1), eve, zone)
        return [UnaskedLetter(RECOVERY, useless, self._without_call(letter, RECOVERY, day, turns[RECOVERY], now))]

    def _is_evening(self, day: date, now: datetime) -> bool:
        """The hours in which an eve letter of the day is of use."""
        hours, zone = self._settings.letters, self._settings.harbor.time_zone
        return due_at(day, hours.eve, zone) <= now < due_at(day, hours.eve_useless_after, zone)

    def _written_since(self, kind: str, day: date) -> bool:
        with self._store.reading() as session:
            newest = letters.newest_day(session, self._settings.boat.name, kind)
        return newest is not None and newest >= day

    def _newest_told_day(self, kind: str, now: datetime) -> date | None:
        """Of a letter that nobody got, only while it is of use: an address that refuses all gets no second."""
        with self._store.reading() as session:
            return letters.newest_told_day(session, self._settings.boat.name, kind, now)

    def _without_call(
        self,
        letter: Letter,
        kind: str,
        day: date,
        turn: int,
        now: datetime,
        *,
        rung: tuple[RungBell, ...] = (),
    ) -> WrittenLetter:
        return WrittenLetter(
            subject=letter.subject,
            message=self._sealed(letter, kind, day, turn, now),
            recipients=self._settings.mail.to,
            call=None,
            rung=rung,
        )

    def _sealed(
        self,
        letter: Letter,
        kind: str,
        day: date,
        turn: int,
        now: datetime,
        *,
        to: tuple[str, ...] = (),
        reply_to: str | None = None,
    ) -> bytes:
        """The message as it goes out; to the skipper where ``to`` is empty."""
        mail = self._settings.mail
        message = to_message(
            letter,
            sender=mail.from_address,
            to=to or mail.to,
            message_id=self._message_id(kind, day, turn, now),
            date=now,
            reply_to=reply_to,
        )
        return message.as_bytes()

    def _facts_beside(self, day: date, now: datetime, *, due: datetime, late: bool = False) -> LetterFacts:
        """What the letters that are no call say around their matter."""
        zone, hour = self._settings.harbor.time_zone, self._settings.letters.morning
        today = due_at(day, hour, zone)
        return LetterFacts(
            **self._common_facts(day, now),
            strings=self._settings.trap_strings,
            due_at=due,
            next_letter_at=today if now < today else due_at(day + timedelta(days=1), hour, zone),
            late=late,
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
        left_out: tuple[str, ...] = (),
    ) -> LetterFacts:
        settings = self._settings
        zone, hour = settings.harbor.time_zone, settings.letters.morning
        return LetterFacts(
            **self._common_facts(call.day, now),
            strings=settings.trap_strings if morning is None else morning.strings,
            due_at=due_at(call.day, hour, zone) if turn == 0 else now,
            next_letter_at=due_at(call.day + timedelta(days=1), hour, zone),
            watch_until=watch_until,
            late=late,
            left_out=left_out,
            turn=turn,
        )

    def _linked(self, facts: LetterFacts, act: PageAct, day: date, now: datetime) -> LetterFacts:
        """With a link to the page. One that can't be made costs no letter. None goes to a supplier."""
        if self._page_links is None:
            return facts
        try:
            return replace(facts, page_link=self._page_links(act, day, now))
        except Exception:
            log.exception("the link of a letter could not be made", extra={"action": "page link"})
            return facts

    def _common_facts(self, day: date, now: datetime) -> dict[str, Any]:
        settings = self._settings
        return {
            "boat": settings.boat.name,
            "harbor": settings.harbor.name,
            "harbor_mark": settings.harbor.mark,
            "zone_name": settings.harbor.time_zone,
            "fishery": FisheryFacts.of(settings.fishery),
            "links": _official_pages(settings),
            "no_letter_by": (datetime.combine(day, settings.letters.morning) + NO_LETTER_BY).time(),
            "refused": self._refused(),
            "expired": self._expired(now),
            "restored_at": self._restored_at(now, RESTORE_TOLD),
            "invented": self._invented,
            "command": self._command,
        }

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

    def _message_id(self, kind: str, day: date, turn: int, made_at: datetime) -> str:
        """New for every letter written; kept with it, so that every try of sending carries the same."""
        made = hashlib.sha256(f"{self._settings.boat.name} {made_at.isoformat()}".encode()).hexdigest()[:16]
        domain = self._settings.mail.from_address.rpartition("@")[2]
        return f"<{kind.replace(' ', '-')}.{day.isoformat()}.{turn}.{made}@{domain}>"


def _ordered(order: BaitOrder, bait: str, boxes: float, now: datetime) -> LogEntry:
    """Holds only if the order goes out; the key lets no second process order the same day's bait again."""
    return new_entry(
        BaitOrdered(bait, boxes, order.due_on),
        happened_at=now,
        told_at=now,
        told_by=ORDER_LETTER,
        key=f"{ORDER_LETTER} {order.day.isoformat()} {bait}",
    )


def _watch_until(call: Call) -> datetime | None:
    """Landing after the last departure: until then a trip is watched."""
    window = call.window
    return None if window is None else window.last_departure_at + (window.lands_at - window.leaves_at)


def _official_pages(settings: Settings) -> tuple[Link, ...]:
    pages = [Link("Marine forecasts of the National Weather Service", "https://www.weather.gov/marine/")]
    for zone in dict.fromkeys(area.zone for area in settings.areas):
        url = f"https://forecast.weather.gov/shmrn.php?mz={zone.lower()}"
        pages.insert(0, Link(f"Official forecast and warnings for {zone}", url))
    return tuple(pages)
