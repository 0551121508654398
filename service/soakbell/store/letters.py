"""Letters that are due, letters that wait to go out, and the calls they tell.

A letter passes through here so: ``ensure_due`` makes the one row of its boat, kind, day and turn; ``claim_due``
gives it to one writer for a while; ``write_letter`` stores text, addresses and call in one transaction;
``claim_recipients`` gives it to one sender for a while; a ``mark_`` function records the server's answer for each
address. A claim that runs out gives its row back, so a process may die anywhere. Each function works inside the
caller's transaction.
"""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from email.parser import BytesHeaderParser
from email.policy import default as header_policy
from typing import Any

from sqlalchemy import ColumnElement, CursorResult, Select, Update, and_, delete, func, or_, select, update
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import InstrumentedAttribute, Session

from soakbell.clock import CLOCK_SLACK
from soakbell.errors import LogRefused, StoreError
from soakbell.gear.hushed import RungBell
from soakbell.gear.log import Correction, LogEntry, new_entry
from soakbell.store.log import append_entries, entries_named
from soakbell.store.schema import (
    CallRow,
    DueRow,
    LetterEntryRow,
    LogRow,
    NoteRow,
    OutboxRow,
    RecipientRow,
    ReplyRow,
    RungBellRow,
)

# No claim and no pause between tries is longer than this. A moment further ahead was written by a clock that was
# wrong, and must not hold a letter back once the clock is right.
FURTHEST_AHEAD = timedelta(hours=1)

TROUBLE_AFTER_TRIES = 3


class ClaimLost(StoreError):
    """The claim ran out and another process has the letter. Nothing was written."""


@dataclass(frozen=True)
class DueClaim:
    """A due letter held by one writer. ``tries`` counts this one. ``died``: the try before left no word."""

    due_id: int
    token: str
    boat: str
    kind: str
    day: date
    turn: int
    zone_name: str
    due_at: datetime
    useless_at: datetime
    tries: int
    died: bool = False


@dataclass(frozen=True)
class CallRecord:
    """The call a letter tells, with what it rested on, as plain JSON values."""

    word: str
    made_at: datetime
    detail: Mapping[str, Any]
    inputs: Sequence[Mapping[str, Any]]
    code_version: str
    tz_version: str


@dataclass(frozen=True)
class WrittenLetter:
    """A letter ready to be stored.

    Attributes:
        message: the whole message in bytes, with its final Message-ID and Date.
        recipients: addresses, checked on entry.
        call: the call it tells; None for a letter that tells none.
        watch_until: landing, or the end of the window: until then the call is watched. None: nothing to watch.
        rung: the bells it tells. They ring again if nobody accepts the letter while it is of use.
        entries: log entries that hold if the letter goes out, as the order in it; voided if it surely didn't.
    """

    subject: str
    message: bytes
    recipients: tuple[str, ...]
    call: CallRecord | None
    watch_until: datetime | None = None
    rung: tuple[RungBell, ...] = ()
    entries: tuple[LogEntry, ...] = ()


@dataclass(frozen=True)
class UnaskedLetter:
    """A letter without an hour, ready to be stored as one of its kind, of use up to ``useless_at``."""

    kind: str
    useless_at: datetime
    letter: WrittenLetter


@dataclass(frozen=True)
class Asked:
    """The letters that something asked for, and what the first one that could not be written failed of."""

    letters: tuple[UnaskedLetter, ...] = ()
    failed: Exception | None = None


@dataclass(frozen=True)
class SentLetter:
    """A letter on record. ``states`` counts its addresses by how far it got to them; ``message`` is its bytes."""

    id: int
    kind: str
    subject: str
    written_at: datetime
    states: Mapping[str, int]
    message: bytes = field(default=b"", repr=False)


@dataclass(frozen=True)
class ExpiredLetter:
    """A letter that went past its use, with the reason. ``address`` is None when it was never written."""

    boat: str
    kind: str
    day: date
    turn: int
    due_at: datetime
    address: str | None
    reason: str
    at: datetime


@dataclass(frozen=True)
class ClaimedRecipient:
    """One address held by one sender. ``tries`` counts this one."""

    recipient_id: int
    address: str
    tries: int


@dataclass(frozen=True)
class ClaimedLetter:
    """One letter of the outbox and its waiting addresses, held by one sender under one token."""

    outbox_id: int
    token: str
    message: bytes
    useless_at: datetime
    recipients: tuple[ClaimedRecipient, ...]


@dataclass(frozen=True)
class Trouble:
    """An address whose newest letter was not accepted. ``state`` is refused, expired or waiting."""

    address: str
    state: str
    tries: int
    reply: str
    since: datetime


def _changed(session: Session, statement: Update) -> int:
    result = session.execute(statement)
    assert isinstance(result, CursorResult)  # an UPDATE gives no other
    return result.rowcount


def _ran_out(until: InstrumentedAttribute[datetime | None], now: datetime) -> ColumnElement[bool]:
    return or_(until <= now, until > now + FURTHEST_AHEAD)


# ---- due letters


def _unheld(now: datetime) -> ColumnElement[bool]:
    return or_(DueRow.state == "due", and_(DueRow.state == "claimed", _ran_out(DueRow.claimed_until, now)))


def ensure_due(
    session: Session,
    boat: str,
    kind: str,
    day: date,
    turn: int,
    zone_name: str,
    due_at: datetime,
    useless_at: datetime,
) -> bool:
    """Make the row of one letter if there is none; True if it was made.

    A row that nobody has begun takes new times, as when the hour in the settings or the zone data changed.
    """
    known = session.scalar(select(DueRow).filter_by(boat=boat, kind=kind, day=day, turn=turn))
    if known is None:
        return _add_due(
            session,
            DueRow(
                boat=boat,
                kind=kind,
                day=day,
                turn=turn,
                zone_name=zone_name,
                due_at=due_at,
                useless_at=useless_at,
                state="due",
                tries=0,
            ),
        )
    session.execute(
        update(DueRow)
        .where(DueRow.id == known.id, DueRow.state == "due")
        .where(or_(DueRow.due_at != due_at, DueRow.useless_at != useless_at, DueRow.zone_name != zone_name))
        .values(due_at=due_at, useless_at=useless_at, zone_name=zone_name)
    )
    return False


def _add_due(session: Session, row: DueRow) -> bool:
    try:
        with session.begin_nested():
            session.add(row)
    except IntegrityError:
        return False
    return True


def newest_day(session: Session, boat: str, kind: str, *, before: date = date.max) -> date | None:
    """The latest local day for which a letter of the kind has a row."""
    of_kind = (DueRow.boat == boat, DueRow.kind == kind, DueRow.day < before)
    return session.scalar(select(func.max(DueRow.day)).where(*of_kind))


def newest_told_day(session: Session, boat: str, kind: str, now: datetime) -> date | None:
    """Likewise for which one was accepted by any address, or is still of use."""
    accepted = select(OutboxRow.due_id).join(RecipientRow, RecipientRow.outbox_id == OutboxRow.id)
    told = or_(DueRow.useless_at > now, DueRow.id.in_(accepted.where(RecipientRow.state == "accepted")))
    return session.scalar(select(func.max(DueRow.day)).where(DueRow.boat == boat, DueRow.kind == kind, told))


def newest_message(session: Session, boat: str, kind: str) -> bytes | None:
    """The newest letter of the kind that went out to any address, or may have or still may; as it goes out."""
    hope = or_(RecipientRow.state.in_(("accepted", "waiting", "trying")), RecipientRow.unsure > 0)
    return session.scalar(
        select(OutboxRow.message)
        .join(DueRow, OutboxRow.due_id == DueRow.id)
        .where(DueRow.boat == boat, DueRow.kind == kind)
        .where(OutboxRow.id.in_(select(RecipientRow.outbox_id).where(hope)))
        .order_by(DueRow.day.desc(), DueRow.turn.desc())
        .limit(1)
    )


def claim_due(session: Session, boat: str, now: datetime, lease_s: float) -> DueClaim | None:
    """Take the boat's longest-due letter that is still of use and that nobody holds, for ``lease_s`` seconds."""
    free = and_(_unheld(now), DueRow.due_at <= now, DueRow.useless_at > now)
    row = session.scalar(
        select(DueRow).where(DueRow.boat == boat, free).order_by(DueRow.due_at, DueRow.id).limit(1)
    )
    if row is None:
        return None
    token, died = str(uuid.uuid4()), row.claim is not None
    taken = _changed(
        session,
        update(DueRow)
        .where(DueRow.id == row.id, free)
        .values(
            state="claimed",
            claim=token,
            claimed_until=now + timedelta(seconds=lease_s),
            tries=DueRow.tries + 1,
        ),
    )
    return replace(_claim_of(session, row, token), died=died) if taken == 1 else None


def next_turn(session: Session, boat: str, kind: str, day: date) -> int:
    """The turn after the last one of the boat, kind and day; the first is 1, as 0 is the letter of the hour."""
    last = session.scalar(
        select(func.max(DueRow.turn)).where(DueRow.boat == boat, DueRow.kind == kind, DueRow.day == day)
    )
    return 1 if last is None else last + 1


def open_turn(
    session: Session,
    boat: str,
    kind: str,
    day: date,
    turn: int,
    zone_name: str,
    now: datetime,
    useless_at: datetime,
    lease_s: float,
) -> DueClaim:
    """Make a letter that is due at once, already held by the caller.

    Raises:
        ClaimLost: another process has made that turn.
    """
    token = str(uuid.uuid4())
    row = DueRow(
        boat=boat,
        kind=kind,
        day=day,
        turn=turn,
        zone_name=zone_name,
        due_at=now,
        useless_at=useless_at,
        state="claimed",
        claim=token,
        claimed_until=now + timedelta(seconds=lease_s),
        tries=1,
    )
    if not _add_due(session, row):
        raise ClaimLost(f"turn {turn} of the {kind} letter of {day} is with another process; nothing was written")
    return _claim_of(session, row, token)


def _claim_of(session: Session, row: DueRow, token: str) -> DueClaim:
    session.refresh(row)
    return DueClaim(
        due_id=row.id,
        token=token,
        boat=row.boat,
        kind=row.kind,
        day=row.day,
        turn=row.turn,
        zone_name=row.zone_name,
        due_at=row.due_at,
        useless_at=row.useless_at,
        tries=row.tries,
    )


def _held(claim: DueClaim) -> Update:
    return update(DueRow).where(DueRow.id == claim.due_id, DueRow.claim == claim.token, DueRow.state == "claimed")


def extend_due(session: Session, claim: DueClaim, until: datetime) -> bool:
    """Hold the letter longer; False if the claim is lost."""
    return _changed(session, _held(claim).values(claimed_until=until)) == 1


def fail_due(session: Session, claim: DueClaim, fault: str, next_try_at: datetime) -> None:
    """Record why the letter couldn't be written; it is free again at ``next_try_at``."""
    _changed(session, _held(claim).values(claim=None, claimed_until=next_try_at, last_fault=fault))


def write_letter(session: Session, claim: DueClaim, letter: WrittenLetter, now: datetime) -> int:
    """Store the letter with all that goes with it, and close the due row: all or nothing. Gives the outbox id.

    Raises:
        ClaimLost: another process has the letter, or has told one of its bells or entries.
        StoreError: the letter can't be sent as it is: no address, or not exactly one Message-ID and Date.
    """
    message_id = _sealed_id(letter)
    if _changed(session, _held(claim).values(state="written", claim=None, claimed_until=None, done_at=now)) != 1:
        raise ClaimLost(f"the {claim.kind} letter of {claim.day} is with another process; nothing was written")
    outbox = OutboxRow(
        due_id=claim.due_id,
        kind=claim.kind,
        subject=letter.subject,
        message_id=message_id,
        message=letter.message,
        written_at=now,
        useless_at=claim.useless_at,
    )
    session.add(outbox)
    session.flush()
    for address in dict.fromkeys(letter.recipients):
        session.add(
            RecipientRow(outbox_id=outbox.id, address=address, state="waiting", next_try_at=now, tries=0, unsure=0)
        )
    if letter.call is not None:
        session.add(_call_row(claim, letter.call))
    session.flush()
    _add_rung(session, claim, letter.rung, now)
    _add_entries(session, claim, letter.entries)
    return outbox.id


def _add_rung(session: Session, claim: DueClaim, rung: Sequence[RungBell], now: datetime) -> None:
    """Note the bells of a letter. One that rang before rings anew only if nothing rang it since it was read."""
    row = RungBellRow
    try:
        with session.begin_nested():
            for bell in dict.fromkeys(rung):
                matter = {"boat": claim.boat, "code": bell.code, "subject": bell.subject, "cause": bell.cause}
                if bell.rung_at is None:
                    session.add(row(**matter, level=bell.level, rung_at=now, due_id=claim.due_id))
                    continue
                again = update(row).filter_by(**matter, level=bell.level, rung_at=bell.rung_at)
                if _changed(session, again.values(rung_at=now, due_id=claim.due_id)) != 1:
                    raise ClaimLost(_RUNG_BY_ANOTHER)
    except IntegrityError as error:
        raise ClaimLost(_RUNG_BY_ANOTHER) from error


_RUNG_BY_ANOTHER = "a bell of this letter was rung by another process; nothing was written"


def _add_entries(session: Session, claim: DueClaim, entries: Sequence[LogEntry]) -> None:
    try:
        done = append_entries(session, entries)
    except LogRefused as error:
        raise ClaimLost(f"an entry of this letter can't be told ({error}); nothing was written") from error
    if done.known:
        raise ClaimLost("an entry of this letter was told by another process; nothing was written")
    session.add_all(LetterEntryRow(entry_id=entry.id, due_id=claim.due_id) for entry in done.written)
    session.flush()


def _sealed_id(letter: WrittenLetter) -> str:
    headers = BytesHeaderParser(policy=header_policy).parsebytes(letter.message)
    ids, dates = headers.get_all("Message-ID", []), headers.get_all("Date", [])
    if len(ids) != 1 or len(dates) != 1:
        raise StoreError(f"a letter needs one Message-ID and one Date; found {len(ids)} and {len(dates)}")
    if not letter.recipients:
        raise StoreError("a letter needs an address; add one under recipients in the settings")
    return str(ids[0]).strip()


def _call_row(claim: DueClaim, call: CallRecord) -> CallRow:
    return CallRow(
        boat=claim.boat,
        day=claim.day,
        made_at=call.made_at,
        word=call.word,
        detail=dict(call.detail),
        inputs=[dict(each) for each in call.inputs],
        code_version=call.code_version,
        tz_version=call.tz_version,
    )


def expire_due(session: Session, now: datetime) -> tuple[ExpiredLetter, ...]:
    """Close the letters that were not written in time to be of use, with the reason on record."""
    late = and_(_unheld(now), DueRow.useless_at <= now)
    expired = []
    for row in session.scalars(select(DueRow).where(late).order_by(DueRow.due_at)).all():
        reason = _why_not_written(row)
        closed = _changed(
            session,
            update(DueRow)
            .where(DueRow.id == row.id, late)
            .values(state="expired", claim=None, claimed_until=None, last_fault=reason, done_at=now),
        )
        if closed == 1:
            expired.append(ExpiredLetter(row.boat, row.kind, row.day, row.turn, row.due_at, None, reason, now))
    return tuple(expired)


def reopen_due(session: Session, boat: str, now: datetime) -> int:
    """Letters that a clock ahead of ``now`` gave up, and that are of use still, are owed again."""
    too_early = (DueRow.state == "expired", DueRow.done_at > now, DueRow.useless_at > now)
    again = update(DueRow).where(DueRow.boat == boat, *too_early)
    return _changed(session, again.values(state="due", done_at=None))


def _why_not_written(row: DueRow) -> str:
    fault = row.last_fault or ("the service was not running" if row.tries == 0 else "the service was stopped")
    return (
        f"due {row.due_at:%Y-%m-%d %H:%M} UTC, of no use after {row.useless_at:%Y-%m-%d %H:%M} UTC, "
        f"tried {row.tries} times: {fault}"
    )


def expired_since(session: Session, boat: str, since: datetime) -> tuple[ExpiredLetter, ...]:
    """Letters of the boat that went past their use after ``since``, unwritten or unaccepted, oldest first.

    The next letter tells them.
    """
    unwritten = session.scalars(
        select(DueRow).where(DueRow.boat == boat, DueRow.state == "expired", DueRow.done_at > since)
    )
    unaccepted = session.execute(
        select(DueRow, RecipientRow)
        .join(OutboxRow, OutboxRow.due_id == DueRow.id)
        .join(RecipientRow, RecipientRow.outbox_id == OutboxRow.id)
        .where(DueRow.boat == boat, RecipientRow.state == "expired", RecipientRow.done_at > since)
    )
    found = [
        ExpiredLetter(row.boat, row.kind, row.day, row.turn, row.due_at, None, row.last_fault or "", row.done_at)
        for row in unwritten
        if row.done_at is not None
    ]
    found += [
        ExpiredLetter(
            due.boat, due.kind, due.day, due.turn, due.due_at, to.address, to.last_reply or "", to.done_at
        )
        for due, to in unaccepted
        if to.done_at is not None
    ]
    return tuple(sorted(found, key=lambda each: each.at))


def late_due_count(session: Session, now: datetime, after: timedelta) -> int:
    """How many letters are past due by more than ``after`` and neither written nor expired."""
    open_rows = select(func.count()).where(DueRow.state.in_(("due", "claimed")), DueRow.due_at < now - after)
    return session.scalar(open_rows) or 0


# ---- outbox


def claim_recipients(session: Session, now: datetime, limit: int, lease_s: float) -> tuple[ClaimedLetter, ...]:
    """Take up to ``limit`` letters with the addresses whose next try is due, oldest first, for ``lease_s``.

    An address whose earlier try was never marked (its process died) may have been sent to: it counts as unsure.
    """
    died = and_(RecipientRow.state == "trying", _ran_out(RecipientRow.claimed_until, now))
    waits = and_(
        RecipientRow.state == "waiting",
        or_(RecipientRow.next_try_at <= now, RecipientRow.next_try_at > now + FURTHEST_AHEAD),
    )
    free = or_(waits, died)
    outboxes = session.scalars(
        select(OutboxRow)
        .where(OutboxRow.useless_at > now)
        .where(OutboxRow.id.in_(select(RecipientRow.outbox_id).where(free)))
        .order_by(OutboxRow.written_at, OutboxRow.id)
        .limit(limit)
    ).all()
    until = now + timedelta(seconds=lease_s)
    letters = []
    for outbox in outboxes:
        token = str(uuid.uuid4())
        mine = update(RecipientRow).where(RecipientRow.outbox_id == outbox.id)
        taken = {"state": "trying", "claim": token, "claimed_until": until, "tries": RecipientRow.tries + 1}
        _changed(session, mine.where(died).values(unsure=RecipientRow.unsure + 1, **taken))
        _changed(session, mine.where(waits).values(**taken))
        rows = session.execute(
            select(RecipientRow.id, RecipientRow.address, RecipientRow.tries)
            .where(RecipientRow.outbox_id == outbox.id, RecipientRow.claim == token)
            .order_by(RecipientRow.id)
        )
        held = tuple(ClaimedRecipient(*row) for row in rows)
        if held:
            letters.append(ClaimedLetter(outbox.id, token, outbox.message, outbox.useless_at, held))
    return tuple(letters)


def extend_recipients(session: Session, tokens: Sequence[str], until: datetime) -> int:
    """Hold the addresses under the tokens longer; gives how many are still held."""
    return _changed(session, _trying(tokens).values(claimed_until=until))


def _trying(tokens: Sequence[str]) -> Update:
    return update(RecipientRow).where(RecipientRow.claim.in_(tokens), RecipientRow.state == "trying")


def mark_accepted(session: Session, recipient_id: int, reply: str, now: datetime) -> None:
    """The mail server answered 250. That is so even if the claim was lost meanwhile."""
    session.execute(
        update(RecipientRow)
        .where(RecipientRow.id == recipient_id, RecipientRow.state != "accepted")
        .values(state="accepted", claim=None, claimed_until=None, last_reply=reply, done_at=now)
    )


def mark_refused(session: Session, recipient_id: int, token: str, reply: str, now: datetime) -> None:
    """The mail server refused the address for good."""
    session.execute(_mine(recipient_id, token).values(state="refused", last_reply=reply, done_at=now, **_LET_GO))


def mark_retry(
    session: Session, recipient_id: int, token: str, reply: str, now: datetime, next_try_at: datetime | None
) -> None:
    """Not accepted this time. Without a next try the address has expired, with the last reply on record."""
    session.execute(_mine(recipient_id, token).values(last_reply=reply, **_next(now, next_try_at)))


def mark_unsure(
    session: Session, recipient_id: int, token: str, reply: str, now: datetime, next_try_at: datetime | None
) -> None:
    """Sent or not, unknown. It is tried again: the repeat carries the same Message-ID."""
    session.execute(
        _mine(recipient_id, token).values(
            unsure=RecipientRow.unsure + 1, last_reply=reply, **_next(now, next_try_at)
        )
    )


def give_back(session: Session, recipient_id: int, token: str, next_try_at: datetime) -> None:
    """The address's turn never came; the try doesn't count."""
    session.execute(
        _mine(recipient_id, token).values(
            state="waiting", tries=RecipientRow.tries - 1, next_try_at=next_try_at, **_LET_GO
        )
    )


_LET_GO: Mapping[str, None] = {"claim": None, "claimed_until": None}


def _mine(recipient_id: int, token: str) -> Update:
    return update(RecipientRow).where(
        RecipientRow.id == recipient_id, RecipientRow.claim == token, RecipientRow.state == "trying"
    )


def _next(now: datetime, next_try_at: datetime | None) -> dict[str, Any]:
    if next_try_at is None:
        return {"state": "expired", "done_at": now, **_LET_GO}
    return {"state": "waiting", "next_try_at": next_try_at, **_LET_GO}


def expire_recipients(session: Session, now: datetime) -> int:
    """Close the addresses whose letter is past its use and that nobody is sending to; gives how many.

    The bells of a letter that nobody accepted are forgotten once it is past its use, so that they ring again. Its
    log entries are voided as soon as nobody can accept it any more, unless a try broke where it may have gone out.
    """
    late = select(OutboxRow.id).where(OutboxRow.useless_at <= now)
    open_now = update(RecipientRow).where(RecipientRow.outbox_id.in_(late))
    open_now = open_now.execution_options(synchronize_session=False)
    waited = open_now.where(RecipientRow.state == "waiting").values(
        last_reply=func.coalesce(RecipientRow.last_reply, "the mail server was not reached in time")
    )
    died = open_now.where(RecipientRow.state == "trying", _ran_out(RecipientRow.claimed_until, now)).values(
        last_reply="the service was stopped while sending: sent or not, unknown", unsure=RecipientRow.unsure + 1
    )
    closed = sum(
        _changed(session, each.values(state="expired", done_at=now, **_LET_GO)) for each in (waited, died)
    )
    _ring_again(session, now)
    _void_unsent(session, now)
    return closed


def _unsent() -> Select[int | None]:
    """Due ids of letters that no address accepted or may still accept."""
    hope = select(RecipientRow.outbox_id).where(RecipientRow.state.in_(("accepted", "waiting", "trying")))
    return select(OutboxRow.due_id).where(OutboxRow.id.not_in(hope))


def _ring_again(session: Session, now: datetime) -> None:
    """Not before the letter's use is over: an address that refuses all would be written to at every look."""
    over = _unsent().where(OutboxRow.useless_at <= now)
    session.execute(
        delete(RungBellRow).where(RungBellRow.due_id.in_(over)).execution_options(synchronize_session=False)
    )


def _void_unsent(session: Session, now: datetime) -> None:
    unsure = select(RecipientRow.outbox_id).where(RecipientRow.unsure > 0)
    surely = _unsent().where(OutboxRow.id.not_in(unsure), OutboxRow.due_id.in_(select(LetterEntryRow.due_id)))
    ids = session.scalars(select(LetterEntryRow.entry_id).where(LetterEntryRow.due_id.in_(surely))).all()
    if not ids:
        return
    session.execute(delete(LetterEntryRow).where(LetterEntryRow.entry_id.in_(ids)))
    append_entries(session, [_taken_back(entry, now) for entry in entries_named(session, ids)])


def _taken_back(entry: LogEntry, now: datetime) -> LogEntry:
    return new_entry(
        Correction(entry.id, "the letter was not sent"),
        happened_at=max(now, entry.happened_at),
        told_at=now,
        told_by=entry.told_by,
        key=f"{_TAKEN_BACK}{entry.id}",
    )


_TAKEN_BACK = "unsent "


def taken_back(session: Session, since: datetime) -> tuple[tuple[LogEntry, datetime], ...]:
    """Log entries of letters that were never sent, each with the moment it was voided, ``since`` or later."""
    row = LogRow
    found = session.execute(
        select(row.voids, row.told_at).where(
            row.key >= _TAKEN_BACK, row.key < _TAKEN_BACK + chr(0x10FFFF), row.told_at >= since
        )
    )
    at = {str(entry_id): told_at for entry_id, told_at in found}
    return tuple((entry, at[entry.id]) for entry in entries_named(session, list(at)))


def addresses_in_trouble(session: Session) -> tuple[Trouble, ...]:
    """Addresses whose newest tried letter was refused, expired, or has failed TROUBLE_AFTER_TRIES times."""
    newest = select(func.max(RecipientRow.id)).where(RecipientRow.tries > 0).group_by(RecipientRow.address)
    rows = session.scalars(
        select(RecipientRow).where(RecipientRow.id.in_(newest), RecipientRow.state != "accepted")
    ).all()
    return tuple(
        Trouble(row.address, row.state, row.tries, row.last_reply or "", row.done_at or row.next_try_at)
        for row in rows
        if row.state in ("refused", "expired") or row.tries - (row.state == "trying") >= TROUBLE_AFTER_TRIES
    )


def letters_before(session: Session, most: int, before: int | None = None) -> list[SentLetter]:
    """The newest ``most`` letters on record, of those older than the letter ``before``; without their bytes."""
    rows = select(OutboxRow.id, OutboxRow.kind, OutboxRow.subject, OutboxRow.written_at)
    if before is not None:
        rows = rows.where(OutboxRow.id < before)
    found = session.execute(rows.order_by(OutboxRow.id.desc()).limit(most)).all()
    states = _states_of(session, [row.id for row in found])
    return [SentLetter(row.id, row.kind, row.subject, row.written_at, states.get(row.id, {})) for row in found]


def letter_named(session: Session, letter_id: int) -> SentLetter | None:
    """A letter by its id, bytes and all; None where there is none."""
    row = session.get(OutboxRow, letter_id)
    if row is None:
        return None
    states = _states_of(session, [row.id]).get(row.id, {})
    return SentLetter(row.id, row.kind, row.subject, row.written_at, states, row.message)


def states_of_call(session: Session, boat: str, day: date) -> Mapping[str, int]:
    """How far the letter with the day's newest call got: its addresses counted by state."""
    letters_of_day = select(OutboxRow.id).join(DueRow, OutboxRow.due_id == DueRow.id).where(DueRow.boat == boat)
    of_calls = letters_of_day.where(DueRow.day == day, DueRow.kind.in_(("morning", "changed")))
    newest = session.scalar(of_calls.order_by(OutboxRow.id.desc()).limit(1))
    return {} if newest is None else _states_of(session, [newest]).get(newest, {})


def _states_of(session: Session, ids: Sequence[int]) -> dict[int, dict[str, int]]:
    counted = (
        select(RecipientRow.outbox_id, RecipientRow.state, func.count())
        .where(RecipientRow.outbox_id.in_(ids))
        .group_by(RecipientRow.outbox_id, RecipientRow.state)
    )
    states: dict[int, dict[str, int]] = {}
    for letter_id, state, count in session.execute(counted):
        states.setdefault(letter_id, {})[state] = count
    return states


def last_accepted_at(session: Session) -> datetime | None:
    """When the mail server last accepted a letter."""
    return session.scalar(select(func.max(RecipientRow.done_at)).where(RecipientRow.state == "accepted"))


def unsure_count(session: Session) -> int:
    """How many tries broke where the letter may or may not have gone out."""
    return session.scalar(select(func.sum(RecipientRow.unsure))) or 0


def forget_letters(session: Session, written_before: datetime) -> int:
    """Drop the texts and addresses of letters past their use that were written before; gives how many.

    Calls and due rows stay: they are the record.
    """
    old = select(OutboxRow.id).where(OutboxRow.written_at < written_before, OutboxRow.useless_at < written_before)
    still_open = select(RecipientRow.outbox_id).where(RecipientRow.state.in_(("waiting", "trying")))
    ids = session.scalars(old.where(OutboxRow.id.not_in(still_open))).all()
    session.execute(delete(RecipientRow).where(RecipientRow.outbox_id.in_(ids)))
    session.execute(delete(OutboxRow).where(OutboxRow.id.in_(ids)))
    return len(ids)


# ---- notes


def claim_tick(session: Session, name: str, now: datetime, every: timedelta) -> bool:
    """True for one process once in ``every``: the next time is set before the work is begun."""
    again = or_(NoteRow.written_at <= now - every, NoteRow.written_at > now + FURTHEST_AHEAD)
    if _changed(session, update(NoteRow).where(NoteRow.name == name, again).values(written_at=now)) == 1:
        return True
    if session.get(NoteRow, name) is not None:
        return False
    try:
        with session.begin_nested():
            session.add(NoteRow(name=name, value={}, written_at=now))
    except IntegrityError:
        return False
    return True


def put_note(session: Session, name: str, value: Mapping[str, Any], now: datetime) -> None:
    """Write or overwrite one note."""
    session.merge(NoteRow(name=name, value=dict(value), written_at=now))


def get_note(session: Session, name: str) -> tuple[Mapping[str, Any], datetime] | None:
    """A note and when it was written."""
    row = session.get(NoteRow, name)
    return None if row is None else (row.value, row.written_at)


def notes_under(session: Session, prefix: str) -> Mapping[str, tuple[Mapping[str, Any], datetime]]:
    """Notes whose name begins with ``prefix``, by the rest of the name."""
    rows = session.scalars(select(NoteRow).where(NoteRow.name.startswith(prefix, autoescape=True)))
    return {row.name.removeprefix(prefix): (row.value, row.written_at) for row in rows}


def note_names(session: Session, prefix: str) -> tuple[str, ...]:
    """Names of notes that begin with ``prefix``, in their order. No note is read."""
    names = select(NoteRow.name).where(NoteRow.name.startswith(prefix, autoescape=True))
    return tuple(session.scalars(names.order_by(NoteRow.name)))


def rename_note(session: Session, name: str, to: str) -> None:
    """Keep a note under another name, as it is, though it can't be read."""
    session.execute(update(NoteRow).where(NoteRow.name == name).values(name=to))


def drop_note(session: Session, name: str) -> None:
    session.execute(delete(NoteRow).where(NoteRow.name == name))


def newest_moment(session: Session) -> datetime | None:
    """The latest moment at which anything in the database was written. A clock that is behind it is wrong."""
    columns = (OutboxRow.written_at, DueRow.done_at, CallRow.made_at, NoteRow.written_at, ReplyRow.fetched_at)
    moments = [session.scalar(select(func.max(column))) for column in columns]
    return max((at for at in moments if at is not None), default=None)


def clock_behind_by(session: Session, now: datetime) -> timedelta | None:
    """How far a clock that shows ``now`` is behind the newest moment, if by more than ``CLOCK_SLACK``: it was set
    back, or never set, and no call may rest on it."""
    newest = newest_moment(session)
    return newest - now if newest is not None and now < newest - CLOCK_SLACK else None
