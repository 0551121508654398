"""Bringing the schema up to the program's own, with a way back."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from alembic import command
from sqlalchemy import Connection

from soakbell.errors import StoreError
from soakbell.store.backup import back_up, free_name_beside
from soakbell.store.engine import Store, migration_config, migration_scripts, told_plainly


@dataclass(frozen=True)
class Upgrade:
    """What an upgrade did. ``backup`` is the copy made before it, None where there was nothing to keep."""

    before: str | None
    after: str
    backup: Path | None


def migrate(store: Store, revision: str = "head") -> Upgrade:
    """Bring the schema up to ``revision``, all steps in one transaction.

    A database that already holds a schema is first backed up beside itself, as ``<file>.before-<revision>``.

    Raises:
        StoreError: the backup or a step failed; the database is as it was.
    """
    target = _resolved(revision)
    before = store.revision()
    if before == target:
        return Upgrade(before, target, None)
    backup = None
    if before is not None and store.file is not None:
        backup = back_up(store.file, free_name_beside(store.file, f"before-{target}")).file
    with _schema_change(store) as connection:
        config = migration_config()
        config.attributes["connection"] = connection
        command.upgrade(config, revision)
    return Upgrade(before, target, backup)


def step_back(store: Store, revision: str) -> None:
    """Take the schema down to ``revision`` ("base" for none). Rows the older schema has no place for are lost.

    Raises:
        StoreError: a step failed; the database is as it was.
    """
    with _schema_change(store) as connection:
        config = migration_config()
        config.attributes["connection"] = connection
        command.downgrade(config, revision)


def _resolved(revision: str) -> str:
    script = migration_scripts().get_revision(revision)
    if script is None:
        raise StoreError(f"there is no schema {revision}; choose one of the program's own")
    return script.revision


@contextmanager
def _schema_change(store: Store) -> Iterator[Connection]:
    """A connection in one transaction, with foreign keys checked at its end.

    SQLite changes a table by copying and dropping it, which foreign keys in force would take for a deletion.
    The switch has no effect inside a transaction, so it is thrown before.
    """
    with told_plainly(store.engine), store.engine.connect() as connection:
        sqlite = connection.dialect.name == "sqlite"
        driver = connection.connection.cursor()
        if sqlite:
            driver.execute("PRAGMA foreign_keys=OFF")
        try:
            with connection.begin():
                yield connection
                if sqlite and (loose := connection.exec_driver_sql("PRAGMA foreign_key_check").fetchall()):
                    raise StoreError(f"the upgrade would leave {len(loose)} rows that point at nothing")
        finally:
            if sqlite:
                driver.execute("PRAGMA foreign_keys=ON")
            driver.close()
