"""The schema's history, one module a step, run by Alembic. Never import ``env``: Alembic runs it."""
