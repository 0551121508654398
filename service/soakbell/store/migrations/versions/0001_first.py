"""The first tables.

Revision 0001.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

TABLES = (
    "outbox_recipient",
    "outbox",
    "seen_warning",
    "raw_reply",
    "note",
    "log_entry",
    "due_letter",
    "call_made",
)


def upgrade() -> None:
    op.create_table(
        "call_made",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("boat", sa.String(length=100), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("made_at", sa.DateTime(), nullable=False),
        sa.Column("word", sa.String(length=10), nullable=False),
        sa.Column("detail", sa.JSON(), nullable=False),
        sa.Column("inputs", sa.JSON(), nullable=False),
        sa.Column("code_version", sa.String(length=40), nullable=False),
        sa.Column("tz_version", sa.String(length=40), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_call_made")),
    )
    op.create_index(op.f("ix_call_made_boat"), "call_made", ["boat"])
    op.create_table(
        "due_letter",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("boat", sa.String(length=100), nullable=False),
        sa.Column("kind", sa.String(length=40), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("turn", sa.Integer(), nullable=False),
        sa.Column("zone_name", sa.String(length=60), nullable=False),
        sa.Column("due_at", sa.DateTime(), nullable=False),
        sa.Column("useless_at", sa.DateTime(), nullable=False),
        sa.Column("state", sa.String(length=20), nullable=False),
        sa.Column("claim", sa.String(length=36), nullable=True),
        sa.Column("claimed_until", sa.DateTime(), nullable=True),
        sa.Column("tries", sa.Integer(), nullable=False),
        sa.Column("last_fault", sa.Text(), nullable=True),
        sa.Column("done_at", sa.DateTime(), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_due_letter")),
        sa.UniqueConstraint("boat", "kind", "day", "turn", name="uq_due_letter_once"),
    )
    op.create_index(op.f("ix_due_letter_due_at"), "due_letter", ["due_at"])
    op.create_table(
        "log_entry",
        sa.Column("id", sa.String(length=36), nullable=False),
        sa.Column("key", sa.String(length=200), nullable=False),
        sa.Column("kind", sa.String(length=40), nullable=False),
        sa.Column("happened_at", sa.DateTime(), nullable=False),
        sa.Column("told_at", sa.DateTime(), nullable=False),
        sa.Column("told_by", sa.String(length=40), nullable=False),
        sa.Column("string", sa.String(length=100), nullable=True),
        sa.Column("voids", sa.String(length=36), nullable=True),
        sa.Column("detail", sa.JSON(), nullable=False),
        sa.ForeignKeyConstraint(
            ["voids"],
            ["log_entry.id"],
            name=op.f("fk_log_entry_voids_log_entry"),
            initially="DEFERRED",
            deferrable=True,
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_log_entry")),
        sa.UniqueConstraint("key", name=op.f("uq_log_entry_key")),
    )
    op.create_index(op.f("ix_log_entry_happened_at"), "log_entry", ["happened_at"])
    op.create_table(
        "note",
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("value", sa.JSON(), nullable=False),
        sa.Column("written_at", sa.DateTime(), nullable=False),
        sa.PrimaryKeyConstraint("name", name=op.f("pk_note")),
    )
    op.create_table(
        "raw_reply",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(length=40), nullable=False),
        sa.Column("key", sa.String(length=100), nullable=False),
        sa.Column("url", sa.Text(), nullable=False),
        sa.Column("status", sa.Integer(), nullable=False),
        sa.Column("content_type", sa.String(length=200), nullable=False),
        sa.Column("fetched_at", sa.DateTime(), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("body_gz", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_raw_reply")),
    )
    op.create_index(op.f("ix_raw_reply_newest"), "raw_reply", ["kind", "key", "fetched_at"])
    op.create_table(
        "seen_warning",
        sa.Column("id", sa.String(length=300), nullable=False),
        sa.Column("sent_at", sa.DateTime(), nullable=False),
        sa.Column("first_seen_at", sa.DateTime(), nullable=False),
        sa.Column("last_seen_at", sa.DateTime(), nullable=False),
        sa.Column("over_at", sa.DateTime(), nullable=True),
        sa.Column("message", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_seen_warning")),
    )
    op.create_table(
        "outbox",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("due_id", sa.Integer(), nullable=True),
        sa.Column("kind", sa.String(length=40), nullable=False),
        sa.Column("subject", sa.Text(), nullable=False),
        sa.Column("message_id", sa.String(length=200), nullable=False),
        sa.Column("message", sa.LargeBinary(), nullable=False),
        sa.Column("written_at", sa.DateTime(), nullable=False),
        sa.Column("useless_at", sa.DateTime(), nullable=False),
        sa.ForeignKeyConstraint(["due_id"], ["due_letter.id"], name=op.f("fk_outbox_due_id_due_letter")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_outbox")),
        sa.UniqueConstraint("due_id", name=op.f("uq_outbox_due_id")),
        sa.UniqueConstraint("message_id", name=op.f("uq_outbox_message_id")),
    )
    op.create_table(
        "outbox_recipient",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("outbox_id", sa.Integer(), nullable=False),
        sa.Column("address", sa.String(length=320), nullable=False),
        sa.Column("state", sa.String(length=20), nullable=False),
        sa.Column("next_try_at", sa.DateTime(), nullable=False),
        sa.Column("claim", sa.String(length=36), nullable=True),
        sa.Column("claimed_until", sa.DateTime(), nullable=True),
        sa.Column("tries", sa.Integer(), nullable=False),
        sa.Column("unsure", sa.Integer(), nullable=False),
        sa.Column("last_reply", sa.Text(), nullable=True),
        sa.Column("done_at", sa.DateTime(), nullable=True),
        sa.ForeignKeyConstraint(["outbox_id"], ["outbox.id"], name=op.f("fk_outbox_recipient_outbox_id_outbox")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_outbox_recipient")),
        sa.UniqueConstraint("outbox_id", "address", name="uq_outbox_recipient_once"),
    )
    op.create_index(op.f("ix_outbox_recipient_next_try_at"), "outbox_recipient", ["next_try_at"])
    op.create_index(op.f("ix_outbox_recipient_outbox_id"), "outbox_recipient", ["outbox_id"])
    _keep_the_log_as_told()


def downgrade() -> None:
    for table in TABLES:
        op.drop_table(table)


def _keep_the_log_as_told() -> None:
    """Triggers that refuse to change or remove a log entry. A step that copies the table makes them anew."""
    if op.get_bind().dialect.name != "sqlite":
        return
    for act in ("UPDATE", "DELETE"):
        op.execute(
            f"CREATE TRIGGER log_entry_no_{act.lower()} BEFORE {act} ON log_entry "
            "BEGIN SELECT RAISE(ABORT, 'the log is append-only; void an entry with a correction'); END"
        )
