"""Bells that letters told, so that none rings twice."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import CursorResult, delete, select
from sqlalchemy.orm import Session

from soakbell.gear.hushed import RungBell
from soakbell.store.schema import RungBellRow


def rung_bells(session: Session, boat: str) -> frozenset[RungBell]:
    """The boat's bells that a letter told, one for each level that it told, with when that was."""
    row = RungBellRow
    found = session.execute(
        select(row.code, row.subject, row.cause, row.level, row.rung_at).where(row.boat == boat)
    )
    return frozenset(RungBell(*each) for each in found)


def forget_rung(session: Session, rung_before: datetime) -> int:
    """Forget bells that rang before; gives how many. A matter that old may ring again."""
    result = session.execute(delete(RungBellRow).where(RungBellRow.rung_at < rung_before))
    assert isinstance(result, CursorResult)  # a DELETE gives no other
    return result.rowcount
