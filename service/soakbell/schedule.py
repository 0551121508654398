"""The sweep: what is due and unclaimed is done, one item at a time, by whichever process comes first.

All state is in the database. The scheduler only wakes the sweep; a late, missed or doubled wake-up changes nothing
but the moment. Each step fails by itself: the fault is logged and noted, the other steps go on.
"""

from __future__ import annotations

import asyncio
import contextlib
import logging
import os
import signal
import socket
import threading
from collections.abc import AsyncGenerator, Awaitable, Callable, Coroutine, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Any, Protocol, TypeVar

from apscheduler.jobstores.memory import MemoryJobStore
from apscheduler.schedulers.asyncio import AsyncIOScheduler
from apscheduler.triggers.interval import IntervalTrigger
from sqlalchemy.orm import Session

from soakbell.clock import Clock
from soakbell.due_times import due_at, local_day
from soakbell.errors import SoakbellError
from soakbell.logs import fault_text
from soakbell.mail.sender import Outcome, Outgoing, Result, next_try
from soakbell.store import letters
from soakbell.store.engine import Store
from soakbell.store.letters import (
    Asked,
    ClaimedLetter,
    ClaimedRecipient,
    ClaimLost,
    DueClaim,
    UnaskedLetter,
    WrittenLetter,
)

log = logging.getLogger(__name__)

T = TypeVar("T")

LONGEST_PAUSE_S = 30.0
MOST_DAYS_BACK = 366

_ALIVE_EVERY = timedelta(seconds=50)  # not at each sweep, to spare the card of a small board
_BACKUP_LOOK_EVERY = timedelta(hours=1)
_JOB = "sweep"
_HOUSEKEEP = "housekeep tick"
_MAY_BE_CUT_OFF = {"warm", "poll tick", _HOUSEKEEP, "bells tick"}


@dataclass(frozen=True)
class LetterHour:
    """One letter a day: its kind, its local time, and the local time from which on it is of no use.

    ``useless_from`` not later than ``at`` is of the next day.
    """

    kind: str
    at: time
    useless_from: time

    def due_at(self, day: date, zone_name: str) -> datetime:
        return due_at(day, self.at, zone_name)

    def useless_at(self, day: date, zone_name: str) -> datetime:
        last_day = day if self.useless_from > self.at else day + timedelta(days=1)
        return due_at(last_day, self.useless_from, zone_name)


@dataclass(frozen=True)
class Duty:
    """What is owed to one boat.

    Attributes:
        zone_name: IANA name of the harbor's zone.
        watched: the kind of letter whose call is watched until landing.
        changed: the kind of letter that tells a changed call.
        unasked: the kinds of letters that have no hour and are written when something asks for them.
    """

    boat: str
    zone_name: str
    hours: tuple[LetterHour, ...]
    watch_every_min: float
    poll_every_min: float
    watched: str = "morning"
    changed: str = "changed"
    unasked: tuple[str, ...] = ()
    bells_every_min: float = 15.0


@dataclass(frozen=True)
class Pace:
    """How patient the sweep is.

    Attributes:
        lease_s: how long a claim holds; it is renewed while the work goes on, so a dead process delays a letter
            by this much.
        work_limit_s: a writer, poll or recheck that takes longer is given up.
        late_after_min: a letter written later than this past its hour says that it is late.
        tries_before_no_call, no_call_after_min: whichever comes first, then the plain NO CALL is written.
    """

    lease_s: float = 120.0
    work_limit_s: float = 480.0
    late_after_min: float = 15.0
    tries_before_no_call: int = 4
    no_call_after_min: float = 10.0
    write_again_s: float = 120.0
    letters_a_batch: int = 10
    untried_again_s: float = 60.0


class Write(Protocol):
    def __call__(
        self, kind: str, day: date, turn: int, *, late: bool, clock_suspect: bool, alone: bool
    ) -> WrittenLetter:
        """Read, decide and compose. With ``clock_suspect`` the call may not be PULL.

        ``alone``: an earlier try failed or died; leave out what no call rests on.
        """


class WriteFailed(Protocol):
    def __call__(self, kind: str, day: date, turn: int, error: str) -> WrittenLetter:
        """The plain NO CALL: the service itself could not make a call."""


class Recheck(Protocol):
    def __call__(self, day: date, turn: int, *, clock_suspect: bool) -> WrittenLetter | None:
        """Decide again with the newest data; a letter if the call changed for the worse, else None."""


class Ring(Protocol):
    def __call__(self, day: date, turns: Mapping[str, int]) -> Asked:
        """The letters that something asks for now, at most one of each kind of ``Duty.unasked``.

        ``turns`` are their turns by kind. One that fails keeps no other back.
        """


class Send(Protocol):
    def __call__(self, batch: Sequence[Outgoing], /) -> AsyncGenerator[tuple[Outcome, ...], None]:
        """Send over one connection; one outcome for each address of each letter."""


@dataclass(frozen=True)
class Parts:
    """The work the sweep calls for. All but ``send`` are plain functions, run in a thread.

    ``warm`` is called once, at the first sweep, for what would else hold up the first letter. ``back_up`` is asked
    for tonight's backup again and again.
    """

    write: Write
    write_failed: WriteFailed
    recheck: Recheck
    send: Send
    poll: Callable[[], None]
    housekeep: Callable[[], None]
    heartbeat: Callable[[], None] | None = None
    ring: Ring | None = None
    warm: Callable[[], object] | None = None
    back_up: Callable[[], None] | None = None


class Sweep:
    """Keeps one boat's duty. Several may run on one database; each letter is still sent once."""

    def __init__(self, store: Store, clock: Clock, duty: Duty, parts: Parts, pace: Pace | None = None) -> None:
        self._store = store
        self._clock = clock
        self._duty = duty
        self._parts = parts
        self._pace = pace or Pace()
        self._tasks: dict[str, asyncio.Task[None]] = {}
        self._failing: set[str] | None = None
        self._stopping = False
        self._answered: list[tuple[ClaimedLetter, ClaimedRecipient, Outcome]] = []
        self._to_warm = parts.warm
        self._faults = f"fault:{duty.boat}:"
        self._looks_note = f"looks:{duty.boat}"
        self._watch_notes = (f"watch:{duty.boat}", f"watch before:{duty.boat}")

    async def sweep(self) -> None:
        """One pass. Quick steps are done on return; long ones are begun, unless they still run from before."""
        if self._stopping:
            return
        for name, quick in (("ensure", self._ensure), ("expire", self._expire), ("alive", self._note_alive)):
            await self._guarded(name, quick)
        if self._to_warm is not None:
            warm, self._to_warm = self._to_warm, None
            self._begin("warm", lambda: self._warm(warm))
        for name, long in (
            ("poll tick", self._poll),
            ("write", self._write_due),
            ("send", self._send_waiting),
            ("watch", self._watch),
            ("bells tick", self._bells),
            (_HOUSEKEEP, self._housekeep),
        ):
            self._begin(name, long)

    async def settle(self) -> None:
        """Wait until nothing that was begun still runs."""
        while running := [task for task in self._tasks.values() if not task.done()]:
            await asyncio.wait(running)

    async def stop(self, limit_s: float) -> bool:
        """Claim nothing more and wait for letters in flight, up to ``limit_s``; True if all of them ended.

        What didn't end is cut off, and the next process takes it up. Polling, bells, housekeeping and warming
        lose nothing by being cut off at once.
        """
        self._stopping = True
        for name in _MAY_BE_CUT_OFF & self._tasks.keys():
            self._tasks.pop(name).cancel()
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(limit_s):
                await self.settle()
        cut = [task for task in self._tasks.values() if not task.done()]
        for task in cut:
            task.cancel()
        await asyncio.gather(*cut, return_exceptions=True)
        return not cut

    # ---- steps

    async def _ensure(self) -> None:
        now = self._clock.now()
        today = local_day(now, self._duty.zone_name)
        with self._store.writing() as session:
            letters.reopen_due(session, self._duty.boat, now)
            for hour in self._duty.hours:
                for day in self._days_owed(session, hour, today, now):
                    zone = self._duty.zone_name
                    due, useless = hour.due_at(day, zone), hour.useless_at(day, zone)
                    letters.ensure_due(session, self._duty.boat, hour.kind, day, 0, zone, due, useless)

    def _days_owed(self, session: Session, hour: LetterHour, today: date, now: datetime) -> list[date]:
        """Today, tomorrow, and the days that passed while the service was off: none is lost silently.

        At the very first start nothing is owed for an hour that is already past its use.
        """
        newest = letters.newest_day(session, self._duty.boat, hour.kind)
        if newest is None:
            over = hour.useless_at(today, self._duty.zone_name) <= now
            return [today + timedelta(days=1)] if over else [today, today + timedelta(days=1)]
        past = letters.newest_day(session, self._duty.boat, hour.kind, before=today) or today
        back = min(max((today - past).days - 1, 0), MOST_DAYS_BACK)
        return [today + timedelta(days=n) for n in range(-back, 2)]

    async def _expire(self) -> None:
        now = self._clock.now()
        with self._store.writing() as session:
            unwritten = letters.expire_due(session, now)
            unaccepted = letters.expire_recipients(session, now)
        for gone in unwritten:
            self._say("letter expired before it was written", "expired", gone.kind, gone.day, fault=gone.reason)
        if unaccepted:
            self._say("letters expired before they were accepted", "expired", count=unaccepted)

    async def _note_alive(self) -> None:
        """Put down the moment, for the health page and for telling a clock that was set back."""
        now = self._clock.now()
        name = f"sweep:{self._duty.boat}"
        with self._store.writing() as session:
            known = letters.get_note(session, name)
            if known is None or now - known[1] >= _ALIVE_EVERY:
                letters.put_note(session, name, {}, now)

    async def _warm(self, warm: Callable[[], object]) -> None:
        """A fault is only logged: the letter that needs it meets it again, and it is never tried again here."""
        try:
            await self._limited(warm)
        except Exception as fault:
            log.warning("could not be made ready ahead", extra={"action": "warm", "fault": fault_text(fault)})

    async def _poll(self) -> None:
        if self._my_tick("poll", timedelta(minutes=self._duty.poll_every_min)):
            await self._guarded("poll", lambda: self._limited(self._parts.poll))

    async def _housekeep(self) -> None:
        """After all else that is under way: it reads much, and no letter is to wait for it."""
        await self._ended(name for name in self._tasks if name != _HOUSEKEEP)
        if self._my_tick("housekeep", timedelta(days=1)):
            await self._guarded("housekeep", lambda: self._limited(self._parts.housekeep))
        back_up = self._parts.back_up
        if back_up is None or not self._my_tick("backup", _BACKUP_LOOK_EVERY):
            return
        if not self.clock_is_suspect():  # by a clock set back the copy would bear an old day's name
            await self._guarded("backup", lambda: self._limited(back_up))

    async def _ended(self, names: Iterable[str]) -> None:
        """Wait for what was begun under these names."""
        begun = [self._tasks[name] for name in names if name in self._tasks and not self._tasks[name].done()]
        if begun:
            await asyncio.wait(begun)

    def _my_tick(self, name: str, every: timedelta) -> bool:
        with self._store.writing() as session:
            return letters.claim_tick(session, f"tick:{name}:{self._duty.boat}", self._clock.now(), every)

    # ---- writing

    async def _write_due(self) -> None:
        while not self._stopping:
            with self._store.writing() as session:
                claim = letters.claim_due(session, self._duty.boat, self._clock.now(), self._pace.lease_s)
            if claim is None:
                return
            await self._write_one(claim)
            self._begin("send", self._send_waiting)

    async def _write_one(self, claim: DueClaim) -> None:
        suspect = self.clock_is_suspect()
        late = self._clock.now() > claim.due_at + timedelta(minutes=self._pace.late_after_min)

        def compose() -> WrittenLetter:
            return self._parts.write(
                claim.kind, claim.day, claim.turn, late=late, clock_suspect=suspect, alone=claim.tries > 1
            )

        if claim.died and claim.tries > self._pace.tries_before_no_call:
            await self._not_written(claim, SoakbellError("the service ended in each try to write this letter"))
            return
        try:
            letter = await self._holding(claim, compose)
            self._refuse_pull(letter, suspect)
            self._keep(claim, letter)
        except asyncio.CancelledError:
            self._let_go(claim, "the service was stopped while writing", self._clock.now())
            raise
        except ClaimLost as lost:
            self._say(str(lost), "claim lost", claim.kind, claim.day)
        except Exception as fault:
            await self._not_written(claim, fault)
        else:
            self._clear("compose")
            self._say("letter written", "written", claim.kind, claim.day, turn=claim.turn, late=late)

    async def _not_written(self, claim: DueClaim, fault: Exception) -> None:
        self._record("compose", fault)
        told = fault_text(fault)
        if self._is_hopeless(claim):
            try:
                plain = await self._holding(
                    claim, lambda: self._parts.write_failed(claim.kind, claim.day, claim.turn, told)
                )
                self._refuse_pull(plain, True)
                self._keep(claim, plain)
            except Exception as second:
                self._record("compose plain", second)
            else:
                self._clear("compose plain")
                self._say("plain NO CALL written", "written", claim.kind, claim.day, outcome="failed")
                return
        self._let_go(claim, told, self._clock.now() + timedelta(seconds=self._pace.write_again_s))

    def _let_go(self, claim: DueClaim, told: str, again: datetime) -> None:
        with self._store.writing() as session:
            letters.fail_due(session, claim, told, again)

    def _is_hopeless(self, claim: DueClaim) -> bool:
        """Not before one try without all that stands beside the call: that may be what failed."""
        overdue = self._clock.now() >= claim.due_at + timedelta(minutes=self._pace.no_call_after_min)
        return (overdue and claim.tries > 1) or claim.tries >= self._pace.tries_before_no_call

    def _keep(self, claim: DueClaim, letter: WrittenLetter) -> None:
        now = self._clock.now()
        with self._store.writing() as session:
            letters.write_letter(session, claim, letter, now)
            if claim.kind in (self._duty.watched, self._duty.changed):
                self._note_watch(session, claim.day, letter.watch_until, now)

    async def _holding(self, claim: DueClaim, work: Callable[[], T]) -> T:
        def extend(session: Session, until: datetime) -> None:
            letters.extend_due(session, claim, until)

        return await self._renewing(extend, self._limited(work))

    def clock_is_suspect(self) -> bool:
        """True if the clock shows less than the newest moment in the database: it was set back, or never set."""
        with self._store.reading() as session:
            return letters.clock_behind_by(session, self._clock.now()) is not None

    def _refuse_pull(self, letter: WrittenLetter, barred: bool) -> None:
        """The clock is asked once more: it may have been set back while the letter was written."""
        if letter.call is not None and letter.call.word == "PULL" and (barred or self.clock_is_suspect()):
            raise SoakbellError("a PULL was written although the clock or the service itself can't be trusted")

    # ---- watching

    def _note_watch(self, session: Session, day: date, until: datetime | None, now: datetime) -> None:
        """That of another day is kept: a clock that shows tomorrow for a while must not end today's watch."""
        watch, before = self._watch_notes
        known = letters.get_note(session, watch)
        if known is not None and known[0]["day"] != day.isoformat():
            letters.put_note(session, before, known[0], now)
        value = {"day": day.isoformat(), "until": None if until is None else until.isoformat()}
        letters.put_note(session, watch, value, now)
        letters.put_note(session, f"tick:watch:{self._duty.boat}", {}, now)

    def _watched(self) -> tuple[date, datetime] | None:
        """The day and the end of the watch that is on."""
        now = self._clock.now()
        with self._store.reading() as session:
            notes = [letters.get_note(session, name) for name in self._watch_notes]
        for note in notes:
            if note is not None and note[0]["until"] is not None:
                until = datetime.fromisoformat(note[0]["until"])
                if now < until:
                    return date.fromisoformat(note[0]["day"]), until
        return None

    async def _watch(self) -> None:
        watched = self._watched()
        if watched is None or not self._my_tick("watch", timedelta(minutes=self._duty.watch_every_min)):
            return
        day, until = watched
        with self._store.reading() as session:
            turn = letters.next_turn(session, self._duty.boat, self._duty.changed, day)
        look, suspect = self._count_look(day, turn), self.clock_is_suspect()
        try:
            if look > self._pace.tries_before_no_call:
                raise SoakbellError("the service ended in each look at the call")
            letter = await self._limited(lambda: self._parts.recheck(day, turn, clock_suspect=suspect))
        except Exception as fault:
            self._record("recheck", fault)
            self._look_again_soon()
            if look < self._pace.tries_before_no_call:
                return
            told = fault_text(fault)
            letter = await self._limited(lambda: self._parts.write_failed(self._duty.changed, day, turn, told))
            suspect = True
        else:
            self._clear("recheck")
        if letter is not None:
            self._refuse_pull(letter, suspect)
            self._keep_changed(day, turn, until, letter)
            self._begin("send", self._send_waiting)
        else:
            with self._store.writing() as session:
                letters.drop_note(session, self._looks_note)

    def _count_look(self, day: date, turn: int) -> int:
        """How many looks at this call ended without an answer, this one counted: before it, as it may be the end
        of the process."""
        with self._store.writing() as session:
            known = letters.get_note(session, self._looks_note)
            of_call = {"day": day.isoformat(), "turn": turn}
            looks = 1 + (known[0]["looks"] if known is not None and of_call.items() <= known[0].items() else 0)
            letters.put_note(session, self._looks_note, {**of_call, "looks": looks}, self._clock.now())
        return looks

    def _look_again_soon(self) -> None:
        """A PULL that could not be looked at must not stand for as long as one that was."""
        every = timedelta(minutes=self._duty.watch_every_min)
        at = self._clock.now() - every + timedelta(seconds=self._pace.write_again_s)
        with self._store.writing() as session:
            letters.put_note(session, f"tick:watch:{self._duty.boat}", {}, at)

    def _keep_changed(self, day: date, turn: int, until: datetime, letter: WrittenLetter) -> None:
        now = self._clock.now()
        duty = self._duty
        with self._store.writing() as session:
            claim = letters.open_turn(
                session, duty.boat, duty.changed, day, turn, duty.zone_name, now, until, self._pace.lease_s
            )
            letters.write_letter(session, claim, letter, now)
            self._note_watch(session, day, letter.watch_until, now)
        self._say("changed call written", "written", duty.changed, day, turn=turn)

    # ---- bells

    async def _bells(self) -> None:
        """After the letters that have an hour: what they tell needs no bell."""
        await self._ended(("poll tick", "write", "watch"))
        ring = self._parts.ring
        if ring is not None and self._my_tick("bells", timedelta(minutes=self._duty.bells_every_min)):
            await self._guarded("bells", lambda: self._ring(ring))

    async def _ring(self, ring: Ring) -> None:
        """Keep what was written of what is asked for, all of it or nothing; then the step fails if one could not
        be written. A clock that can't be trusted rings no bell.
        """
        if self.clock_is_suspect():
            return
        duty, day = self._duty, local_day(self._clock.now(), self._duty.zone_name)
        with self._store.reading() as session:
            turns = {kind: letters.next_turn(session, duty.boat, kind, day) for kind in duty.unasked}
        asked = await self._limited(lambda: ring(day, turns))
        if asked.letters:
            self._keep_asked(asked.letters, day, turns)
        if asked.failed is not None:
            raise asked.failed

    def _keep_asked(self, written: Sequence[UnaskedLetter], day: date, turns: Mapping[str, int]) -> None:
        duty = self._duty
        now = self._clock.now()
        try:
            with self._store.writing() as session:
                for one in written:
                    claim = letters.open_turn(
                        session,
                        duty.boat,
                        one.kind,
                        day,
                        turns[one.kind],
                        duty.zone_name,
                        now,
                        one.useless_at,
                        self._pace.lease_s,
                    )
                    letters.write_letter(session, claim, one.letter, now)
        except ClaimLost as lost:
            self._say(str(lost), "claim lost", day=day)
            return
        for one in written:
            self._say("letter written", "written", one.kind, day, turn=turns[one.kind])
        self._begin("send", self._send_waiting)

    # ---- sending

    async def _send_waiting(self) -> None:
        while not self._stopping:
            self._mark_answered()
            with self._store.writing() as session:
                batch = letters.claim_recipients(
                    session, self._clock.now(), self._pace.letters_a_batch, self._pace.lease_s
                )
            if not batch:
                return
            await self._send(batch)

    async def _send(self, batch: Sequence[ClaimedLetter]) -> None:
        tokens = [letter.token for letter in batch]
        open_now = {(one.outbox_id, to.address): (one, to) for one in batch for to in one.recipients}
        accepted = 0

        def extend(session: Session, until: datetime) -> None:
            letters.extend_recipients(session, tokens, until)

        async def deliver() -> None:
            nonlocal accepted
            async with contextlib.aclosing(self._parts.send([_outgoing(one) for one in batch])) as answers:
                async for outcomes in answers:
                    for outcome in outcomes:
                        self._answered.append((*open_now.pop((outcome.letter, outcome.address)), outcome))
                    self._mark_answered()
                    accepted += sum(outcome.result is Result.ACCEPTED for outcome in outcomes)

        try:
            await self._renewing(extend, deliver())
        finally:
            self._say("batch sent", "sent", count=len(batch), accepted=accepted)
            if open_now:
                self._leave_unsure(list(open_now.values()))
        heartbeat = self._parts.heartbeat
        if accepted and heartbeat is not None:
            await self._guarded("heartbeat", lambda: self._limited(heartbeat))

    def _mark_answered(self) -> None:
        """Put down what mail servers answered. Where the database can't be written, it is put down before anything
        else is sent: a letter whose 250 is known must not go out again."""
        if self._answered:
            with self._store.writing() as session:
                for letter, to, outcome in self._answered:
                    self._mark(session, letter, to, outcome)
            self._answered.clear()

    def _mark(self, session: Session, letter: ClaimedLetter, to: ClaimedRecipient, outcome: Outcome) -> None:
        held = (session, to.recipient_id, letter.token)
        again = next_try(to.tries, outcome.at, letter.useless_at)
        match outcome.result:
            case Result.ACCEPTED:
                letters.mark_accepted(session, to.recipient_id, outcome.reply, outcome.at)
            case Result.REFUSED:
                letters.mark_refused(*held, outcome.reply, outcome.at)
            case Result.RETRY:
                letters.mark_retry(*held, outcome.reply, outcome.at, again)
            case Result.UNSURE:
                letters.mark_unsure(*held, outcome.reply, outcome.at, again)
            case Result.UNTRIED:
                letters.give_back(*held, outcome.at + timedelta(seconds=self._pace.untried_again_s))

    def _leave_unsure(self, left: Sequence[tuple[ClaimedLetter, ClaimedRecipient]]) -> None:
        """The sender broke off without a word about these."""
        now = self._clock.now()
        with self._store.writing() as session:
            for letter, to in left:
                again = next_try(to.tries, now, letter.useless_at)
                letters.mark_unsure(session, to.recipient_id, letter.token, "the try was broken off", now, again)

    # ---- the frame around each step

    def _begin(self, name: str, step: Callable[[], Coroutine[Any, Any, None]]) -> None:
        running = self._tasks.get(name)
        if running is None or running.done():
            self._tasks[name] = asyncio.create_task(self._guarded(name, step), name=name)

    async def _guarded(self, name: str, step: Callable[[], Awaitable[None]]) -> None:
        try:
            await step()
        except Exception as fault:
            self._record(name, fault)
        else:
            self._clear(name)

    async def _limited(self, work: Callable[[], T]) -> T:
        async with asyncio.timeout(self._pace.work_limit_s):
            return await in_thread(work)

    async def _renewing(self, extend: Callable[[Session, datetime], None], work: Awaitable[T]) -> T:
        async def renew() -> None:
            while True:
                await asyncio.sleep(self._pace.lease_s / 3)
                with contextlib.suppress(SoakbellError), self._store.writing() as session:
                    extend(session, self._clock.now() + timedelta(seconds=self._pace.lease_s))

        renewer = asyncio.create_task(renew())
        try:
            return await work
        finally:
            renewer.cancel()

    def _record(self, step: str, fault: Exception) -> int:
        """Log the fault and note it for the health page; gives how often in a row the step has failed."""
        log.error(
            "step failed",
            exc_info=fault,
            extra={"action": step, "boat": self._duty.boat, "fault": fault_text(fault)},
        )
        name = f"{self._faults}{step}"
        if self._failing is not None:
            self._failing.add(step)
        try:
            with self._store.writing() as session:
                known = letters.get_note(session, name)
                count = 1 + (0 if known is None else int(known[0]["count"]))
                letters.put_note(session, name, {"text": fault_text(fault), "count": count}, self._clock.now())
        except SoakbellError:
            log.exception("fault could not be noted", extra={"action": step, "boat": self._duty.boat})
            return 1
        return count

    def _clear(self, step: str) -> None:
        with contextlib.suppress(SoakbellError):
            if self._failing is None:  # what an earlier process left
                with self._store.reading() as session:
                    self._failing = set(letters.notes_under(session, self._faults))
            if step in self._failing:
                with self._store.writing() as session:
                    letters.drop_note(session, f"{self._faults}{step}")
                self._failing.discard(step)

    def _say(
        self, text: str, action: str, kind: str | None = None, day: date | None = None, **more: object
    ) -> None:
        log.info(text, extra={"action": action, "boat": self._duty.boat, "kind": kind, "day": day, **more})


def _outgoing(letter: ClaimedLetter) -> Outgoing:
    return Outgoing(letter.outbox_id, letter.message, tuple(to.address for to in letter.recipients))


async def in_thread(work: Callable[[], T]) -> T:
    """Run ``work`` in a daemon thread: work that hangs holds up neither the loop nor the end of the process."""
    loop = asyncio.get_running_loop()
    ended: asyncio.Future[T] = loop.create_future()

    def hand_over(set_end: Callable[[Any], None], value: object) -> None:
        if not ended.done():
            set_end(value)

    def run() -> None:
        try:
            outcome: tuple[Callable[[Any], None], object] = (ended.set_result, work())
        except Exception as fault:
            outcome = (ended.set_exception, fault)
        with contextlib.suppress(RuntimeError):  # the loop has ended; nobody waits any more
            loop.call_soon_threadsafe(hand_over, *outcome)

    threading.Thread(target=run, daemon=True).start()
    return await ended


# ---- the service


def make_scheduler(wake: Callable[[], Awaitable[None]], every_s: float) -> AsyncIOScheduler:
    """A scheduler with the one job it ever has: wake the sweep. It keeps no state and no time of day.

    Raises:
        ValueError: ``every_s`` is more than LONGEST_PAUSE_S.
    """
    if not 0 < every_s <= LONGEST_PAUSE_S:
        raise ValueError(f"the sweep must wake at least every {LONGEST_PAUSE_S:g} s, found {every_s:g}")
    scheduler = AsyncIOScheduler(
        timezone=UTC,
        jobstores={"default": MemoryJobStore()},
        job_defaults={"coalesce": True, "max_instances": 1, "misfire_grace_time": None},
    )
    scheduler.add_job(wake, IntervalTrigger(seconds=every_s, timezone=UTC), id=_JOB)
    return scheduler


class _Waking:
    """Sweeps when the scheduler says so, and by itself when the scheduler has fallen silent.

    The scheduler waits by the wall clock; one that is set back by an hour would let it wait an hour.
    """

    def __init__(self, sweeps: Sequence[Sweep], every_s: float) -> None:
        self._sweeps = sweeps
        self._every_s = every_s
        self._loop = asyncio.get_running_loop()
        self._ended_at_s = self._loop.time()
        self._awake = False

    async def wake(self) -> None:
        if self._awake:
            return
        self._awake = True
        try:
            for sweep in self._sweeps:
                await sweep.sweep()
            tell_host("WATCHDOG=1")
        finally:
            self._awake = False
            self._ended_at_s = self._loop.time()

    async def mind(self, scheduler: AsyncIOScheduler) -> None:
        while True:
            await asyncio.sleep(self._every_s / 4)
            if self._loop.time() - self._ended_at_s > 1.25 * self._every_s:
                scheduler.reschedule_job(_JOB, trigger=IntervalTrigger(seconds=self._every_s, timezone=UTC))
                await self.wake()


async def run_service(sweeps: Sequence[Sweep], *, every_s: float = 20.0, stop_limit_s: float = 60.0) -> bool:
    """Sweep until SIGTERM or SIGINT, then end in order; True if nothing had to be cut off.

    The watchdog of the host is fed by the sweep itself, so a loop that hangs is restarted.
    """
    loop = asyncio.get_running_loop()
    asked_to_stop = asyncio.Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        loop.add_signal_handler(number, asked_to_stop.set)

    waking = _Waking(sweeps, every_s)
    scheduler = make_scheduler(waking.wake, every_s)
    scheduler.start()
    minder = asyncio.create_task(waking.mind(scheduler))
    try:
        await waking.wake()
        tell_host("READY=1")
        await asked_to_stop.wait()
        tell_host("STOPPING=1")
        log.info("stopping", extra={"action": "stop"})
        ended = await asyncio.gather(*(sweep.stop(stop_limit_s) for sweep in sweeps))
    finally:
        minder.cancel()
        scheduler.shutdown(wait=False)
        for number in (signal.SIGTERM, signal.SIGINT):
            loop.remove_signal_handler(number)
    return all(ended)


def tell_host(state: str) -> None:
    """Send one state line to systemd (sd_notify(3)); nothing where it doesn't listen. Never waits for it."""
    address = os.environ.get("NOTIFY_SOCKET")
    if not address:
        return
    if address.startswith("@"):
        address = "\0" + address[1:]
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as line, contextlib.suppress(OSError):
        line.setblocking(False)
        line.connect(address)
        line.send(state.encode())
