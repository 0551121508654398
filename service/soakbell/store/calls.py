"""Calls made, read back."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from sqlalchemy import Select, select
from sqlalchemy.orm import Session

from soakbell.store.schema import CallRow


@dataclass(frozen=True)
class KeptCall:
    """A call on record. ``detail`` and ``inputs`` are the plain JSON values that were written with it."""

    id: int
    boat: str
    day: date
    made_at: datetime
    word: str
    code_version: str
    tz_version: str
    detail: Mapping[str, Any] = field(repr=False)
    inputs: Sequence[Mapping[str, Any]] = field(repr=False)


def last_call(session: Session, boat: str, day: date) -> Mapping[str, Any] | None:
    """The record of the newest call told for a boat's local day; None where none was."""
    found = newest_call(session, boat, day)
    return None if found is None else found.detail


def newest_call(session: Session, boat: str, day: date) -> KeptCall | None:
    """The newest call told for a boat's local day; None where none was."""
    return _newest(session, select(CallRow).where(CallRow.boat == boat, CallRow.day == day))


def call_before(session: Session, call: KeptCall) -> KeptCall | None:
    """The one told before ``call`` for the same boat and day; None where it was the first."""
    same = select(CallRow).where(CallRow.boat == call.boat, CallRow.day == call.day)
    return _newest(session, same.where(CallRow.id < call.id))


def call_named(session: Session, boat: str, call_id: int) -> KeptCall | None:
    """A boat's call by its id; None where there is none."""
    return _newest(session, select(CallRow).where(CallRow.boat == boat, CallRow.id == call_id))


def calls_between(session: Session, boat: str, first: date, last: date) -> list[KeptCall]:
    """A boat's calls for the local days from ``first`` to ``last``, in the order they were told."""
    rows = select(CallRow).where(CallRow.boat == boat, CallRow.day >= first, CallRow.day <= last)
    return [_kept(row) for row in session.scalars(rows.order_by(CallRow.id))]


def _newest(session: Session, which: Select[CallRow]) -> KeptCall | None:
    row = session.scalar(which.order_by(CallRow.id.desc()).limit(1))
    return None if row is None else _kept(row)


def _kept(row: CallRow) -> KeptCall:
    return KeptCall(
        id=row.id,
        boat=row.boat,
        day=row.day,
        made_at=row.made_at,
        word=row.word,
        code_version=row.code_version,
        tz_version=row.tz_version,
        detail=row.detail,
        inputs=row.inputs,
    )
