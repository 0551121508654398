"""Tables. SQL lives in this room only."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Any

from sqlalchemy import (
    JSON,
    Date,
    DateTime,
    Dialect,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Text,
    TypeDecorator,
    UniqueConstraint,
)
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column


class UtcMoment(TypeDecorator[datetime]):
    """An aware moment, kept as naive UTC text by SQLite, given back aware. Refuses moments without a zone."""

    impl = DateTime
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:  # noqa: ARG002
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError(f"{value.isoformat()} has no zone and can't be stored")
        return value.astimezone(UTC).replace(tzinfo=None)

    def process_result_value(self, value: Any | None, dialect: Dialect) -> datetime | None:  # noqa: ARG002
        return None if value is None else value.replace(tzinfo=UTC)


class Base(DeclarativeBase):
    metadata = MetaData(
        naming_convention={
            "ix": "ix_%(column_0_label)s",
            "uq": "uq_%(table_name)s_%(column_0_name)s",
            "ck": "ck_%(table_name)s_%(constraint_name)s",
            "fk": "fk_%(table_name)s_%(column_0_name)s_%(referred_table_name)s",
            "pk": "pk_%(table_name)s",
        }
    )
    type_annotation_map = {datetime: UtcMoment}  # noqa: RUF012


class LogRow(Base):
    """One entry of the append-only log. ``detail`` holds the fields of its kind, ``seq`` counts up as stored."""

    __tablename__ = "log_entry"

    id: Mapped[str] = mapped_column(String(36), primary_key=True)
    key: Mapped[str] = mapped_column(String(200), unique=True)
    kind: Mapped[str] = mapped_column(String(40))
    happened_at: Mapped[datetime] = mapped_column(index=True)
    told_at: Mapped[datetime]
    told_by: Mapped[str] = mapped_column(String(40))
    string: Mapped[str | None] = mapped_column(String(100), index=True)
    voids: Mapped[str | None] = mapped_column(
        ForeignKey("log_entry.id", deferrable=True, initially="DEFERRED"), index=True
    )
    detail: Mapped[dict[str, Any]] = mapped_column(JSON)
    seq: Mapped[int] = mapped_column(unique=True)


class ReplyRow(Base):
    """A raw reply as it came, gzip'd, for the audit trail."""

    __tablename__ = "raw_reply"
    __table_args__ = (Index("ix_raw_reply_newest", "kind", "key", "fetched_at"),)

    id: Mapped[int] = mapped_column(Integer, primary_key=True)
    kind: Mapped[str] = mapped_column(String(40))
    key: Mapped[str] = mapped_column(String(100))
    url: Mapped[str] = mapped_column(Text)
    status: Mapped[int]
    content_type: Mapped[str] = mapped_column(String(200))
    fetched_at: Mapped[datetime]
    sha256: Mapped[str] = mapped_column(String(64))
    body_gz: Mapped[bytes] = mapped_column(LargeBinary)


class SeenWarningRow(Base):
    """A warning message that was once in a reply; kept so that one that vanishes is held to its end."""

    __tablename__ = "seen_warning"

    id: Mapped[str] = mapped_column(String(300), primary_key=True)
    sent_at: Mapped[datetime]
    first_seen_at: Mapped[datetime]
    last_seen_at: Mapped[datetime]
    over_at: Mapped[datetime | None]
    message: Mapped[dict[str, Any]] = mapped_column(JSON)


class CallRow(Base):
    """Every call that was made, with what it rested on. Append-only."""

    __tablename__ = "call_made"

    id: Mapped[int] = mapped_column(Integer, primary_key=True)
    boat: Mapped[str] = mapped_column(String(100), index=True)
    day: Mapped[date] = mapped_column(Date)
    made_at: Mapped[datetime]
    word: Mapped[str] = mapped_column(String(10))
    detail: Mapped[dict[str, Any]] = mapped_column(JSON)
    inputs: Mapped[list[dict[str, Any]]] = mapped_column(JSON)
    code_version: Mapped[str] = mapped_column(String(40))
    tz_version: Mapped[str] = mapped_column(String(40))


class DueRow(Base):
    """One letter that is due: one for each boat, kind, local day and turn.

    ``state``: due, claimed, written, expired. A claim holds until ``claimed_until``; a claim that ran out is
    due again. ``turn`` is 0 for the letter of its hour; others of a kind and day count up from 1.
    """

    __tablename__ = "due_letter"
    __table_args__ = (UniqueConstraint("boat", "kind", "day", "turn", name="uq_due_letter_once"),)

    id: Mapped[int] = mapped_column(Integer, primary_key=True)
    boat: Mapped[str] = mapped_column(String(100))
    kind: Mapped[str] = mapped_column(String(40))
    day: Mapped[date] = mapped_column(Date)
    turn: Mapped[int] = mapped_column(default=0)
    zone_name: Mapped[str] = mapped_column(String(60))
    due_at: Mapped[datetime] = mapped_column(index=True)
    useless_at: Mapped[datetime]
    state: Mapped[str] = mapped_column(String(20), default="due")
    claim: Mapped[str | None] = mapped_column(String(36))
    claimed_until: Mapped[datetime | None]
    tries: Mapped[int] = mapped_column(default=0)
    last_fault: Mapped[str | None] = mapped_column(Text)
    done_at: Mapped[datetime | None]


class OutboxRow(Base):
    """A letter ready to go: bytes, Message-ID and Date fixed once, equal on every try."""

    __tablename__ = "outbox"

    id: Mapped[int] = mapped_column(Integer, primary_key=True)
    due_id: Mapped[int | None] = mapped_column(ForeignKey("due_letter.id"), unique=True)
    kind: Mapped[str] = mapped_column(String(40))
    subject: Mapped[str] = mapped_column(Text)
    message_id: Mapped[str] = mapped_column(String(200), unique=True)
    message: Mapped[bytes] = mapped_column(LargeBinary)
    written_at: Mapped[datetime]
    useless_at: Mapped[datetime]


class RecipientRow(Base):
    """One address of one letter. ``state``: waiting, trying, accepted, refused, expired.

    ``unsure`` counts tries that broke between DATA and its reply: sent or not, unknown.
    """

    __tablename__ = "outbox_recipient"
    __table_args__ = (UniqueConstraint("outbox_id", "address", name="uq_outbox_recipient_once"),)

    id: Mapped[int] = mapped_column(Integer, primary_key=True)
    outbox_id: Mapped[int] = mapped_column(ForeignKey("outbox.id"), index=True)
    address: Mapped[str] = mapped_column(String(320))
    state: Mapped[str] = mapped_column(String(20), default="waiting")
    next_try_at: Mapped[datetime] = mapped_column(index=True)
    claim: Mapped[str | None] = mapped_column(String(36))
    claimed_until: Mapped[datetime | None]
    tries: Mapped[int] = mapped_column(default=0)
    unsure: Mapped[int] = mapped_column(default=0)
    last_reply: Mapped[str | None] = mapped_column(Text)
    done_at: Mapped[datetime | None]


class RungBellRow(Base):
    """A bell that a letter told. It goes when nobody accepted the letter, so that the bell rings again."""

    __tablename__ = "rung_bell"
    __table_args__ = (UniqueConstraint("boat", "code", "subject", "cause", "level", name="uq_rung_bell_once"),)

    id: Mapped[int] = mapped_column(Integer, primary_key=True)
    boat: Mapped[str] = mapped_column(String(100))
    code: Mapped[str] = mapped_column(String(20))
    subject: Mapped[str] = mapped_column(String(200))
    cause: Mapped[str] = mapped_column(String(200))
    level: Mapped[int]
    rung_at: Mapped[datetime]
    due_id: Mapped[int] = mapped_column(ForeignKey("due_letter.id"), index=True)


class LetterEntryRow(Base):
    """A log entry that holds only if its letter goes out, as an order does."""

    __tablename__ = "letter_entry"

    entry_id: Mapped[str] = mapped_column(ForeignKey("log_entry.id"), primary_key=True)
    due_id: Mapped[int] = mapped_column(ForeignKey("due_letter.id"), index=True)


class NoteRow(Base):
    """What is kept between runs, by name: resolved cells, ticks, faults, odds, records."""

    __tablename__ = "note"

    name: Mapped[str] = mapped_column(String(200), primary_key=True)
    value: Mapped[dict[str, Any]] = mapped_column(JSON)
    written_at: Mapped[datetime]


class PageSessionRow(Base):
    """Somebody who is signed in at the page. ``token_sha256`` stands for the token, which is kept nowhere."""

    __tablename__ = "page_session"

    token_sha256: Mapped[str] = mapped_column(String(64), primary_key=True)
    boat: Mapped[str] = mapped_column(String(100))
    role: Mapped[str] = mapped_column(String(20))
    secret_sha256: Mapped[str] = mapped_column(String(64))
    begun_at: Mapped[datetime]
    ends_at: Mapped[datetime] = mapped_column(index=True)


class PageLinkUseRow(Base):
    """A letter's link that was used. It opens nothing again."""

    __tablename__ = "page_link_use"

    link_sha256: Mapped[str] = mapped_column(String(64), primary_key=True)
    used_at: Mapped[datetime] = mapped_column(index=True)
