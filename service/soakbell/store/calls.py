"""Calls made, read back."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from soakbell.store.schema import CallRow


def last_call(session: Session, boat: str, day: date) -> Mapping[str, Any] | None:
    """The record of the newest call told for a boat's local day; None where none was."""
    newest = (
        select(CallRow.detail).where(CallRow.boat == boat, CallRow.day == day).order_by(CallRow.id.desc()).limit(1)
    )
    found: Mapping[str, Any] | None = session.scalar(newest)
    return found
