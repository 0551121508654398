"""Who is signed in at the phone page, and which links of letters were used.

Revision 0003.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "page_session",
        sa.Column("token_sha256", sa.String(length=64), nullable=False),
        sa.Column("boat", sa.String(length=100), nullable=False),
        sa.Column("role", sa.String(length=20), nullable=False),
        sa.Column("secret_sha256", sa.String(length=64), nullable=False),
        sa.Column("begun_at", sa.DateTime(), nullable=False),
        sa.Column("ends_at", sa.DateTime(), nullable=False),
        sa.PrimaryKeyConstraint("token_sha256", name=op.f("pk_page_session")),
    )
    op.create_index(op.f("ix_page_session_ends_at"), "page_session", ["ends_at"])
    op.create_table(
        "page_link_use",
        sa.Column("link_sha256", sa.String(length=64), nullable=False),
        sa.Column("used_at", sa.DateTime(), nullable=False),
        sa.PrimaryKeyConstraint("link_sha256", name=op.f("pk_page_link_use")),
    )
    op.create_index(op.f("ix_page_link_use_used_at"), "page_link_use", ["used_at"])


def downgrade() -> None:
    op.drop_index(op.f("ix_page_link_use_used_at"), "page_link_use")
    op.drop_table("page_link_use")
    op.drop_index(op.f("ix_page_session_ends_at"), "page_session")
    op.drop_table("page_session")
