"""Run by Alembic with an open connection whose transaction belongs to the caller."""

from __future__ import annotations

from alembic import context

from soakbell.store.schema import Base

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=Base.metadata,
    render_as_batch=True,
    compare_type=True,
)
with context.begin_transaction():
    context.run_migrations()
