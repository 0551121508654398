"""Raw replies as they came, and the warnings once seen."""

from __future__ import annotations

import gzip
import hashlib
import zlib
from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import date, datetime
from typing import Any

from pydantic import TypeAdapter, ValidationError
from sqlalchemy import delete, func, select
from sqlalchemy.orm import InstrumentedAttribute, Session

from soakbell.clock import as_utc
from soakbell.errors import StoreError
from soakbell.sea.sources import RawReply, SourceKind
from soakbell.sea.warnings import OfficialWarning
from soakbell.store.schema import Base, CallRow, ReplyRow, SeenWarningRow

_MESSAGE = TypeAdapter(OfficialWarning)
_AT_ONCE = 500  # ids in one statement; databases bound their number


def keep_reply(session: Session, reply: RawReply) -> None:
    """Keep ``reply``. The same one told again (a cache's copy) is kept once."""
    sha256 = reply.sha256
    told_before = select(ReplyRow.id).where(
        ReplyRow.kind == reply.kind.value,
        ReplyRow.key == reply.key,
        ReplyRow.fetched_at == reply.fetched_at,
        ReplyRow.url == reply.url,
        ReplyRow.status == reply.status,
        ReplyRow.sha256 == sha256,
    )
    if session.scalar(told_before.limit(1)) is not None:
        return
    session.add(
        ReplyRow(
            kind=reply.kind.value,
            key=reply.key,
            url=reply.url,
            status=reply.status,
            content_type=reply.content_type,
            fetched_at=reply.fetched_at,
            sha256=sha256,
            body_gz=gzip.compress(reply.body, mtime=0),  # no time inside: equal bodies pack to equal bytes
        )
    )
    session.flush()


def newest_good(
    session: Session, kind: SourceKind, key: str, *, by: datetime | None = None, after_id: int = 0
) -> RawReply | None:
    """The reply of status 200 fetched last, or last until ``by``; None where there is none.

    Good means that it came whole, not that it is fresh: its age is inside it. ``after_id``: only of the rows with
    a higher number.

    Raises:
        StoreError: the kept bytes are not the ones that came.
    """
    good = select(ReplyRow).where(ReplyRow.kind == kind.value, ReplyRow.key == key, ReplyRow.status == 200)
    good = good.where(ReplyRow.id > after_id)
    if by is not None:
        good = good.where(ReplyRow.fetched_at <= by)
    row = session.scalar(good.order_by(ReplyRow.fetched_at.desc(), ReplyRow.id.desc()).limit(1))
    return None if row is None else _reply(row)


def reply_named(session: Session, sha256: str, *, after_id: int = 0) -> RawReply | None:
    """The reply with these bytes, for replaying a call; the earliest of several. ``after_id`` as there.

    Raises:
        StoreError: the kept bytes are not the ones that came.
    """
    named = select(ReplyRow).where(ReplyRow.sha256 == sha256, ReplyRow.id > after_id)
    row = session.scalar(named.order_by(ReplyRow.id).limit(1))
    return None if row is None else _reply(row)


def prune_replies(session: Session, older_than: datetime, *, calls_since: datetime) -> int:
    """Drop replies fetched before ``older_than``; gives their count.

    Never dropped: the newest good one of each kind and key, and any whose ``sha256`` stands in the inputs of a
    call made at ``calls_since`` or later (the audit age).
    """
    kept_for_calls = _named_in_calls(session, calls_since)
    by_age = (ReplyRow.fetched_at.desc(), ReplyRow.id.desc())
    place = func.row_number().over(partition_by=(ReplyRow.kind, ReplyRow.key), order_by=by_age)
    good = select(ReplyRow.id, place.label("place")).where(ReplyRow.status == 200).subquery()
    newest = select(good.c.id).where(good.c.place == 1)
    old = select(ReplyRow.id, ReplyRow.sha256).where(ReplyRow.fetched_at < older_than, ReplyRow.id.not_in(newest))
    doomed = [row_id for row_id, sha256 in session.execute(old) if sha256 not in kept_for_calls]
    _drop(session, ReplyRow, ReplyRow.id, doomed)
    return len(doomed)


def thin_station_files(session: Session, older_than: datetime, *, calls_since: datetime) -> int:
    """Drop station files fetched before ``older_than``, but for the last good one of a UTC day; gives their count.

    Each holds weeks of measurements, so the last tells all that the others of its day told; they would cost the
    most room of all. Never dropped: one whose ``sha256`` stands in the inputs of a call made at ``calls_since`` or
    later, and what came with another status than 200.
    """
    kept_for_calls = _named_in_calls(session, calls_since)
    files = select(ReplyRow.id, ReplyRow.sha256, ReplyRow.key, ReplyRow.fetched_at).where(
        ReplyRow.kind == SourceKind.OBSERVATIONS.value, ReplyRow.status == 200, ReplyRow.fetched_at < older_than
    )
    days: set[tuple[str, date]] = set()
    doomed = []
    for row_id, sha256, key, fetched_at in session.execute(
        files.order_by(ReplyRow.fetched_at.desc(), ReplyRow.id.desc())
    ):
        day = key, as_utc(fetched_at).date()
        if day in days and sha256 not in kept_for_calls:
            doomed.append(row_id)
        days.add(day)
    _drop(session, ReplyRow, ReplyRow.id, doomed)
    return len(doomed)


def seen_warnings(session: Session) -> tuple[OfficialWarning, ...]:
    """Every message kept, in the order they were sent.

    Raises:
        StoreError: a kept message can't be read. It may hold a warning in force, so it isn't left out.
    """
    rows = session.scalars(select(SeenWarningRow).order_by(SeenWarningRow.sent_at, SeenWarningRow.id))
    return tuple(warning_from_json(row.message) for row in rows)


def keep_warnings(session: Session, warnings: Iterable[OfficialWarning], now: datetime) -> None:
    """Remember messages that stand in a reply at ``now``.

    A message never changes under its id (CAP 1.2, ``identifier``). Should one, the text that holds longer stays.
    """
    for warning in warnings:
        over_at = _over_at(warning)
        row = session.get(SeenWarningRow, warning.id)
        if row is None:
            row = SeenWarningRow(id=warning.id, first_seen_at=now, last_seen_at=now, over_at=over_at)
        row.last_seen_at = now
        if _ends_sooner(over_at, row.over_at):
            continue
        row.sent_at = warning.sent_at
        row.over_at = over_at
        row.message = warning_as_json(warning)
        session.add(row)
        session.flush()


def forget_warnings(session: Session, needed: Iterable[OfficialWarning], *, last_seen_before: datetime) -> int:
    """Drop messages that are not among ``needed`` and were last seen before then; gives their count.

    ``needed`` is what ``sea.warnings.remember`` says must be gone on with: it keeps a cancel as long as what it
    ends.
    """
    ids = {warning.id for warning in needed}
    old = session.scalars(select(SeenWarningRow.id).where(SeenWarningRow.last_seen_at < last_seen_before))
    doomed = [row_id for row_id in old if row_id not in ids]
    _drop(session, SeenWarningRow, SeenWarningRow.id, doomed)
    return len(doomed)


def warning_as_json(warning: OfficialWarning) -> dict[str, Any]:
    """As plain JSON values, moments in UTC.

    Raises:
        ValueError: a moment has no zone.
    """
    found: dict[str, Any] = _MESSAGE.dump_python(_in_utc(warning), mode="json")
    return found


def warning_from_json(message: dict[str, Any]) -> OfficialWarning:
    """Back from ``warning_as_json``.

    Raises:
        StoreError: not what was stored.
    """
    try:
        return _in_utc(_MESSAGE.validate_python(message))
    except (ValidationError, ValueError) as error:
        raise StoreError(
            f"the kept warning {message.get('id', 'without an id')!r} can't be read ({error}); "
            "restore the database from its last backup"
        ) from error


def _reply(row: ReplyRow) -> RawReply:
    try:
        body = gzip.decompress(row.body_gz)
    except (OSError, EOFError, zlib.error) as error:
        raise _damaged(row) from error
    if hashlib.sha256(body).hexdigest() != row.sha256:
        raise _damaged(row)
    return RawReply(
        kind=SourceKind(row.kind),
        key=row.key,
        url=row.url,
        status=row.status,
        content_type=row.content_type,
        body=body,
        fetched_at=row.fetched_at,
    )


def _damaged(row: ReplyRow) -> StoreError:
    return StoreError(
        f"the {row.kind} reply for {row.key} fetched {row.fetched_at:%Y-%m-%d %H:%M} UTC is damaged in the "
        "database; restore the database from its last backup"
    )


def _named_in_calls(session: Session, since: datetime) -> frozenset[str]:
    inputs = session.scalars(select(CallRow.inputs).where(CallRow.made_at >= since))
    return frozenset(str(source["sha256"]) for sources in inputs for source in sources if "sha256" in source)


def _drop(session: Session, table: type[Base], column: InstrumentedAttribute[Any], ids: Sequence[Any]) -> None:
    for start in range(0, len(ids), _AT_ONCE):
        session.execute(delete(table).where(column.in_(ids[start : start + _AT_ONCE])))


def _over_at(warning: OfficialWarning) -> datetime | None:
    """When nothing in the message holds any longer; None for "until further notice"."""
    if warning.ends_at is None and any(vtec.ends_at is None for vtec in warning.vtec):
        return None
    ends = (warning.ends_at, warning.expires_at, *(vtec.ends_at for vtec in warning.vtec))
    return max((end for end in ends if end is not None), default=None)


def _ends_sooner(new: datetime | None, old: datetime | None) -> bool:
    return new is not None and (old is None or new < old)


def _in_utc(warning: OfficialWarning) -> OfficialWarning:
    return replace(
        warning,
        sent_at=as_utc(warning.sent_at),
        effective_at=_utc_or_none(warning.effective_at),
        onset_at=_utc_or_none(warning.onset_at),
        expires_at=_utc_or_none(warning.expires_at),
        ends_at=_utc_or_none(warning.ends_at),
        vtec=tuple(
            replace(vtec, begins_at=_utc_or_none(vtec.begins_at), ends_at=_utc_or_none(vtec.ends_at))
            for vtec in warning.vtec
        ),
    )


def _utc_or_none(at: datetime | None) -> datetime | None:
    return None if at is None else as_utc(at)
