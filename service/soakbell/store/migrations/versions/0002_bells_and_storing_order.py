"""Log entries are numbered in the order of storing; bells that rang, and entries told by a letter, are kept.

Revision 0002.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table("log_entry", recreate="never") as table:
        table.add_column(sa.Column("seq", sa.Integer(), nullable=True))
    _let_the_log_be_copied()
    op.execute(
        "UPDATE log_entry SET seq = numbered.seq "
        "FROM (SELECT id, row_number() OVER (ORDER BY told_at, id) AS seq FROM log_entry) AS numbered "
        "WHERE numbered.id = log_entry.id"
    )
    with op.batch_alter_table("log_entry", recreate="always") as table:
        table.alter_column("seq", existing_type=sa.Integer(), nullable=False)
        table.create_unique_constraint(op.f("uq_log_entry_seq"), ["seq"])
    op.create_index(op.f("ix_log_entry_string"), "log_entry", ["string"])
    op.create_index(op.f("ix_log_entry_voids"), "log_entry", ["voids"])
    _keep_the_log_as_told()
    op.create_table(
        "rung_bell",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("boat", sa.String(length=100), nullable=False),
        sa.Column("code", sa.String(length=20), nullable=False),
        sa.Column("subject", sa.String(length=200), nullable=False),
        sa.Column("cause", sa.String(length=200), nullable=False),
        sa.Column("level", sa.Integer(), nullable=False),
        sa.Column("rung_at", sa.DateTime(), nullable=False),
        sa.Column("due_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["due_id"], ["due_letter.id"], name=op.f("fk_rung_bell_due_id_due_letter")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_rung_bell")),
        sa.UniqueConstraint("boat", "code", "subject", "cause", "level", name="uq_rung_bell_once"),
    )
    op.create_index(op.f("ix_rung_bell_due_id"), "rung_bell", ["due_id"])
    op.create_table(
        "letter_entry",
        sa.Column("entry_id", sa.String(length=36), nullable=False),
        sa.Column("due_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(["due_id"], ["due_letter.id"], name=op.f("fk_letter_entry_due_id_due_letter")),
        sa.ForeignKeyConstraint(["entry_id"], ["log_entry.id"], name=op.f("fk_letter_entry_entry_id_log_entry")),
        sa.PrimaryKeyConstraint("entry_id", name=op.f("pk_letter_entry")),
    )
    op.create_index(op.f("ix_letter_entry_due_id"), "letter_entry", ["due_id"])


def downgrade() -> None:
    op.drop_table("letter_entry")
    op.drop_table("rung_bell")
    op.drop_index(op.f("ix_log_entry_voids"), "log_entry")
    op.drop_index(op.f("ix_log_entry_string"), "log_entry")
    _let_the_log_be_copied()
    with op.batch_alter_table("log_entry", recreate="always") as table:
        table.drop_constraint(op.f("uq_log_entry_seq"), type_="unique")
        table.drop_column("seq")
    _keep_the_log_as_told()


def _let_the_log_be_copied() -> None:
    if op.get_bind().dialect.name == "sqlite":
        for act in ("update", "delete"):
            op.execute(f"DROP TRIGGER log_entry_no_{act}")


def _keep_the_log_as_told() -> None:
    """The triggers of revision 0001, which a copy of the table doesn't take along."""
    if op.get_bind().dialect.name != "sqlite":
        return
    for act in ("UPDATE", "DELETE"):
        op.execute(
            f"CREATE TRIGGER log_entry_no_{act.lower()} BEFORE {act} ON log_entry "
            "BEGIN SELECT RAISE(ABORT, 'the log is append-only; void an entry with a correction'); END"
        )
