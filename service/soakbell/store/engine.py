"""Opening the database and the two ways to work with it: writing and reading.

SQLite is opened the careful way: foreign keys on, ``synchronous=EXTRA``, the rollback journal where the
library has the WAL-reset bug (https://sqlite.org/wal.html#walresetbug), no memory mapping. A unit of work
that writes begins with ``BEGIN IMMEDIATE``, so it waits for its turn at the start and not in the middle.
"""

from __future__ import annotations

import os
import sqlite3
import threading
import weakref
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sqlalchemy import Connection, Engine, create_engine, event, inspect
from sqlalchemy.engine import make_url
from sqlalchemy.exc import ArgumentError, DatabaseError, IntegrityError, NoSuchModuleError
from sqlalchemy.orm import Session

from soakbell.errors import StoreError
from soakbell.store.in_use import serving

if TYPE_CHECKING:
    from alembic.config import Config
    from alembic.script import ScriptDirectory

WAL_SAFE_FROM = (3, 51, 3)
WITHDRAWN = (3, 52, 0)
BUSY_MS = 15_000
MIGRATIONS = Path(__file__).parent / "migrations"
VERSION_TABLE = "alembic_version"
_WRITES = "soakbell_writes"

NEWEST_REVISION = "0003"
"""The schema of this Soakbell. Known without Alembic, whose import takes an eighth of a second and 25 MB."""


class Store:
    """An open database. ``journal_mode`` and ``library`` are for the health page.

    ``engine`` begins transactions that write; ``reading`` uses the same pool with transactions that can't.
    """

    def __init__(self, engine: Engine, journal_mode: str, library: str) -> None:
        self.engine = engine.execution_options(**{_WRITES: True})
        self._read_engine = engine.execution_options(**{_WRITES: False})
        self.journal_mode = journal_mode
        self.library = library
        self.until_closed = ExitStack()
        self.turn = threading.Lock()
        """Held by threads of this process that tell the log: they queue here and not at the database, whose
        waiting is unfair and ends after ``BUSY_MS``."""

    @contextmanager
    def writing(self) -> Iterator[Session]:
        """One unit of work: all of it is kept when the block ends, nothing when it raises.

        The write lock is taken at the start. Keep network calls and long reckoning out of the block.

        Raises:
            StoreError: the database is locked, full, read-only or damaged.
            IntegrityError: from SQLAlchemy, a constraint said no.
        """
        with told_plainly(self.engine), Session(self.engine, expire_on_commit=False) as session, session.begin():
            session.connection()
            yield session

    @contextmanager
    def reading(self) -> Iterator[Session]:
        """A consistent view of the database. Writing in it is refused."""
        with told_plainly(self.engine), Session(self._read_engine, expire_on_commit=False) as session:
            session.connection()
            yield session

    @property
    def file(self) -> Path | None:
        """The database file, or None where the database isn't a file."""
        return _file_of(self.engine)

    def revision(self) -> str | None:
        """The schema's revision, None for an empty database."""
        with told_plainly(self.engine), self._read_engine.connect() as connection:
            return stored_revision(connection)

    def close(self) -> None:
        self.engine.dispose()
        self.until_closed.close()


def open_current(file: Path) -> Store:
    """Open the database in ``file``, upgraded as needed, or made so that only its owner reads it.

    It keeps a restore out until it is closed.

    Raises:
        StoreError: as ``open_store``, the upgrade failed, or a restore is under way.
    """
    file.parent.mkdir(parents=True, exist_ok=True)
    with ExitStack() as held:
        held.enter_context(serving(file))
        with suppress(OSError):  # there already, or what opens it says why not
            file.touch(0o600, exist_ok=False)
        store = open_store(f"sqlite:///{file}")
        held.callback(store.engine.dispose)
        if store.revision() != NEWEST_REVISION:
            from soakbell.store.upgrade import migrate  # a second of alembic that few starts need

            migrate(store)
        store.until_closed.push(held.pop_all())
    return store


def open_store(url: str, *, system_sqlite_patched: bool = False) -> Store:
    """Open the database at ``url`` ("sqlite:////var/lib/soakbell/soakbell.db").

    An empty or older database is opened as it is; ``migrate`` brings it up.

    Args:
        url: An SQLAlchemy URL.
        system_sqlite_patched: The user's word that the system's SQLite carries the fix of the WAL-reset bug
            although its version is below 3.51.3.

    Raises:
        StoreError: can't be opened, isn't ours, or was written by a newer Soakbell.
    """
    try:
        engine = create_engine(make_url(url), hide_parameters=True)  # they are log, letters and positions
    except (ArgumentError, NoSuchModuleError, ImportError) as error:
        raise StoreError(
            f"the database address can't be used ({error}); write it as sqlite:////folder/soakbell.db"
        ) from error
    library, journal_mode = engine.dialect.name, ""
    if engine.dialect.name == "sqlite":
        library = f"SQLite {sqlite3.sqlite_version}"
        journal_mode = journal_mode_for(sqlite3.sqlite_version_info, system_sqlite_patched)
        _set_up_sqlite(engine, journal_mode)
    _forget_connections_after_fork(engine)
    store = Store(engine, journal_mode, library)
    try:
        with told_plainly(engine), store._read_engine.connect() as connection:
            _refuse_foreign_schema(connection)
    except BaseException:
        store.close()
        raise
    return store


def journal_mode_for(version: tuple[int, ...], system_sqlite_patched: bool) -> str:
    """WAL where the library is free of the WAL-reset bug, else the rollback journal."""
    fixed = version >= WAL_SAFE_FROM and version != WITHDRAWN
    return "wal" if fixed or system_sqlite_patched else "delete"


def _set_up_sqlite(engine: Engine, journal_mode: str) -> None:
    @event.listens_for(engine, "connect")
    def _prepare(connection: sqlite3.Connection, _record: object) -> None:
        connection.isolation_level = None  # the driver begins nothing by itself; _begin does
        connection.execute(f"PRAGMA busy_timeout={BUSY_MS}")
        connection.execute("PRAGMA foreign_keys=ON")
        found = connection.execute(f"PRAGMA journal_mode={journal_mode}").fetchone()[0]
        if found not in (journal_mode, "memory"):
            raise StoreError(
                f"the database keeps its journal as {found} and can't change to {journal_mode}; "
                "close every other program that uses it and start again"
            )
        # EXTRA, as with FULL a rollback journal that was removed may come back after a power cut and undo a commit
        connection.execute("PRAGMA synchronous=EXTRA")
        connection.execute("PRAGMA mmap_size=0")

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        writes = connection.get_execution_options().get(_WRITES, True)
        connection.exec_driver_sql(f"PRAGMA query_only={'OFF' if writes else 'ON'}")
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def _forget_connections_after_fork(engine: Engine) -> None:
    """A connection carried over a fork would share the parent's locks, so the child starts with none."""
    known = weakref.ref(engine)

    def forget() -> None:
        inherited = known()
        if inherited is not None:
            inherited.dispose(close=False)

    os.register_at_fork(after_in_child=forget)


@contextmanager
def told_plainly(engine: Engine) -> Iterator[None]:
    """Turns the driver's faults into a StoreError that says what to do."""
    try:
        yield
    except IntegrityError:
        raise
    except (DatabaseError, sqlite3.DatabaseError) as error:
        cause: Any = getattr(error, "orig", error)
        where = _file_of(engine) or engine.url.render_as_string(hide_password=True)
        raise StoreError(f"{where}: {cause}; {remedy_for(str(cause))}") from error


_REMEDIES = {
    "locked": "another program holds the database; stop it or wait, then try again",
    "readonly": "give the service's user the right to write the file and its folder",
    "full": "free some room on the disk; nothing of this step was kept",
    "not a database": "the file is not an SQLite database; put the right path in the settings or restore a backup",
    "malformed": "the database is damaged; restore the newest backup",
    "unable to open": "make the folder and give the service's user the right to write in it",
    "no such table": "the schema is not there yet; run the upgrade of the database",
    "no such column": "the schema is older than the program; run the upgrade of the database",
    "disk i/o": "the disk failed; check it, then restore the newest backup",
}


def remedy_for(fault: str) -> str:
    """What to do about a fault of the database, from the driver's words for it."""
    lowered = fault.lower()
    return next(
        (remedy for sign, remedy in _REMEDIES.items() if sign in lowered),
        "check the database and restore the newest backup if it stays so",
    )


def _file_of(engine: Engine) -> Path | None:
    name = engine.url.database
    if engine.dialect.name != "sqlite" or not name or name == ":memory:":
        return None
    return Path(name.removeprefix("file:").partition("?")[0])


def migration_scripts() -> ScriptDirectory:
    from alembic.script import ScriptDirectory

    return ScriptDirectory.from_config(migration_config())


def migration_config() -> Config:
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS).replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    return config


def stored_revision(connection: Connection) -> str | None:
    """The revision written in the database, None when it holds none."""
    if not inspect(connection).has_table(VERSION_TABLE):
        return None
    found = connection.exec_driver_sql(f"SELECT version_num FROM {VERSION_TABLE}").scalar()  # noqa: S608
    return None if found is None else str(found)


def known_revisions() -> frozenset[str]:
    return frozenset(script.revision for script in migration_scripts().walk_revisions())


def _refuse_foreign_schema(connection: Connection) -> None:
    revision = stored_revision(connection)
    if revision is None:
        tables = set(inspect(connection).get_table_names()) - {VERSION_TABLE}
        if tables:
            raise StoreError(
                f"the database holds tables that are not Soakbell's ({', '.join(sorted(tables)[:3])}); "
                "give Soakbell a database of its own"
            )
    elif revision != NEWEST_REVISION and revision not in known_revisions():
        raise StoreError(
            f"the database has schema {revision}, which this Soakbell doesn't know; it was written by a "
            "newer one. Install that version again, or restore the backup made before the upgrade"
        )
