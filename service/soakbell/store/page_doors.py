"""Sessions of the phone page and used links in the database. Tokens are stored as their hash alone."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import delete, insert, select, update
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from soakbell.store.schema import PageLinkUseRow, PageSessionRow


@dataclass(frozen=True)
class KeptSession:
    """``secret_sha256`` is that of the passphrase by which it was begun: a new passphrase ends it."""

    boat: str
    role: str
    secret_sha256: str
    ends_at: datetime


def begin_session(session: Session, token: str, begun: KeptSession, now: datetime) -> None:
    """Keep a session under its token, and forget those that have ended."""
    session.execute(delete(PageSessionRow).where(PageSessionRow.ends_at <= now))
    session.add(
        PageSessionRow(
            token_sha256=_sha256(token),
            boat=begun.boat,
            role=begun.role,
            secret_sha256=begun.secret_sha256,
            begun_at=now,
            ends_at=begun.ends_at,
        )
    )


def session_of(session: Session, token: str, now: datetime) -> KeptSession | None:
    """The session of a token; None where there is none or it has ended."""
    row = session.scalar(
        select(PageSessionRow).where(PageSessionRow.token_sha256 == _sha256(token), PageSessionRow.ends_at > now)
    )
    return None if row is None else KeptSession(row.boat, row.role, row.secret_sha256, row.ends_at)


def renew_session(session: Session, token: str, ends_at: datetime, now: datetime) -> bool:
    """Let a session last until ``ends_at``; False where there is none any more."""
    lasts = PageSessionRow.token_sha256 == _sha256(token), PageSessionRow.ends_at > now
    renewed = update(PageSessionRow).where(*lasts).values(ends_at=ends_at).returning(PageSessionRow.boat)
    return session.scalar(renewed) is not None


def end_session(session: Session, token: str) -> None:
    session.execute(delete(PageSessionRow).where(PageSessionRow.token_sha256 == _sha256(token)))


def use_link(session: Session, link: str, now: datetime, *, forget_before: datetime) -> bool:
    """Mark a link as used; False where it was before. Uses older than ``forget_before`` are forgotten."""
    session.execute(delete(PageLinkUseRow).where(PageLinkUseRow.used_at < forget_before))
    try:
        with session.begin_nested():
            session.execute(insert(PageLinkUseRow).values(link_sha256=_sha256(link), used_at=now))
    except IntegrityError:
        return False
    return True


def _sha256(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()
