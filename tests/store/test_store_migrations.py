"""The schema's history."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from sqlalchemy import JSON, Connection, Date, Engine, Integer, LargeBinary, create_engine, inspect, text
from sqlalchemy.exc import IntegrityError

from soakbell.errors import StoreError
from soakbell.store import engine as engine_module
from soakbell.store.backup import check_copy
from soakbell.store.engine import NEWEST_REVISION, Store, known_revisions, migration_scripts, open_store
from soakbell.store.schema import Base, UtcMoment
from soakbell.store.upgrade import migrate, step_back

NOW = datetime(2026, 12, 8, 9, 30, tzinfo=UTC)
NEXT = '''
"""A step invented for tests."""
import sqlalchemy as sa
from alembic import op

revision, down_revision, branch_labels, depends_on = "9998", "{head}", None, None


def upgrade() -> None:
    with op.batch_alter_table("due_letter", recreate="always") as table:
        table.add_column(sa.Column("invented", sa.Integer()))
    {more}


def downgrade() -> None:
    with op.batch_alter_table("due_letter", recreate="always") as table:
        table.drop_column("invented")
'''


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    opened = open_store(f"sqlite:///{tmp_path}/soakbell.db")
    yield opened
    opened.close()


def next_step(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, more: str = "") -> None:
    """Pretend that the program has grown one step beyond its newest schema."""
    head = migration_scripts().get_current_head()
    folder = tmp_path / "migrations"
    shutil.copytree(engine_module.MIGRATIONS, folder, ignore=shutil.ignore_patterns("__pycache__"))
    (folder / "versions" / "9998_next.py").write_text(NEXT.format(head=head, more=more))
    monkeypatch.setattr(engine_module, "MIGRATIONS", folder)


def fill(connection: Connection) -> None:
    """One row in each table, columns set by their types, foreign keys pointing at row 1."""
    made: dict[type, Any] = {
        UtcMoment: NOW,
        JSON: {"a": 1},
        Date: date(2026, 12, 8),
        LargeBinary: b"x",
        Integer: 1,
    }
    for table in Base.metadata.sorted_tables:
        row = {
            column.name: made.get(type(column.type), "x")
            for column in table.columns
            if not (column.nullable and column.foreign_keys and column.name == "voids")
        }
        connection.execute(table.insert(), row)


def rows(store: Store) -> dict[str, list[Any]]:
    with store.reading() as session:
        return {
            name: [tuple(row) for row in session.execute(table.select())]
            for name, table in Base.metadata.tables.items()
        }


def shape(engine: Engine) -> dict[str, Any]:
    """All that the inspector tells of the tables, names of constraints included."""
    found = inspect(engine)
    return {
        table: {
            "columns": [{**column, "type": str(column["type"])} for column in found.get_columns(table)],
            "primary": found.get_pk_constraint(table),
            "foreign": sorted(found.get_foreign_keys(table), key=str),
            "unique": sorted(found.get_unique_constraints(table), key=str),
            "indexes": sorted(found.get_indexes(table), key=str),
        }
        for table in found.get_table_names()
        if table != "alembic_version"
    }


def test_a_fresh_database_is_brought_up_without_a_backup(store: Store, tmp_path: Path) -> None:
    done = migrate(store)
    assert (done.before, done.after, done.backup) == (None, migration_scripts().get_current_head(), None)
    assert store.revision() == done.after
    assert [path.name for path in tmp_path.iterdir()] == ["soakbell.db"]


def test_an_upgrade_of_what_is_up_to_date_does_nothing(store: Store, tmp_path: Path) -> None:
    head = migrate(store).after
    done = migrate(store)
    assert (done.before, done.after, done.backup) == (head, head, None)
    assert [path.name for path in tmp_path.iterdir()] == ["soakbell.db"]


def test_the_upgraded_schema_is_the_one_the_tables_declare(store: Store) -> None:
    """D6."""
    migrate(store)
    with store.engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, Base.metadata) == []
    fresh = create_engine("sqlite://")
    Base.metadata.create_all(fresh)
    assert shape(store.engine) == shape(fresh)
    fresh.dispose()


def test_every_constraint_has_a_name() -> None:
    """D6: one without a name can't be changed later."""
    for table in Base.metadata.tables.values():
        assert [constraint for constraint in table.constraints if not constraint.name] == []


def test_each_step_goes_down_and_up_again_on_a_filled_copy(store: Store) -> None:
    """D6."""
    migrate(store)
    with store.engine.begin() as connection:
        fill(connection)
    before = rows(store)
    assert all(before.values())
    steps = [script.revision for script in migration_scripts().walk_revisions()]
    for lower in [*steps[1:], "base"]:
        step_back(store, lower)
        assert store.revision() == (None if lower == "base" else lower)
    assert set(inspect(store.engine).get_table_names()) <= {"alembic_version"}
    migrate(store)
    assert all(found == [] for found in rows(store).values())


def test_entries_told_before_they_were_numbered_are_numbered_as_they_were_told(store: Store) -> None:
    """D6: a log of the first schema comes up whole, with its corrections and its guard."""
    migrate(store, "0001")
    told = [("c", "05", None), ("a", "03", "c"), ("b", "03", None), ("d", "01", "a")]
    with store.engine.begin() as connection:
        for name, day, voids in told:
            connection.execute(
                text(
                    "INSERT INTO log_entry (id, key, kind, happened_at, told_at, told_by, string, voids, detail) "
                    "VALUES (:id, :id, 'set', :at, :at, 'cli', 'Nine Foot', :voids, '{}')"
                ),
                {"id": name, "at": f"2026-11-{day} 12:00:00.000000", "voids": voids},
            )
        before = connection.execute(text("SELECT * FROM log_entry ORDER BY id")).mappings().all()
    migrate(store)
    with store.reading() as session:
        after = session.execute(text("SELECT * FROM log_entry ORDER BY id")).mappings().all()
    assert [row["seq"] for row in sorted(after, key=lambda row: row["id"])] == [2, 3, 4, 1]
    assert [{name: row[name] for name in row if name != "seq"} for row in after] == [dict(row) for row in before]
    step_back(store, "0001")
    with store.engine.connect() as connection:
        assert connection.execute(text("SELECT * FROM log_entry ORDER BY id")).mappings().all() == before
        with pytest.raises(IntegrityError, match="append-only"):
            connection.execute(text("DELETE FROM log_entry"))


def test_an_upgrade_keeps_the_rows_and_makes_a_backup_first(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """D6: a table is copied and dropped while foreign keys point at it; the rows of others stay."""
    head = migrate(store).after
    with store.engine.begin() as connection:
        fill(connection)
    before = rows(store)
    next_step(tmp_path, monkeypatch)
    done = migrate(store)
    assert (done.before, done.after) == (head, "9998")
    assert done.backup == tmp_path / "soakbell.db.before-9998"
    kept = check_copy(done.backup)
    assert kept.revision == head
    assert dict(kept.rows)["log_entry"] == 1
    assert rows(store) == before
    with store.reading() as session:
        assert session.execute(text("PRAGMA foreign_keys")).scalar() == 1
        assert session.execute(text("PRAGMA foreign_key_check")).fetchall() == []
    step_back(store, head)
    assert rows(store) == before


@pytest.mark.parametrize(
    "more",
    [
        'raise ValueError("half way")',
        'op.execute("DELETE FROM outbox")',
        'op.execute("CREATE TABLE note (id INTEGER)")',
    ],
    ids=["a slip", "rows that point at nothing", "a fault of the database"],
)
def test_an_upgrade_that_fails_leaves_all_as_it_was(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, more: str
) -> None:
    head = migrate(store).after
    with store.engine.begin() as connection:
        fill(connection)
    before, shape_before = rows(store), shape(store.engine)
    next_step(tmp_path, monkeypatch, more)
    for _ in range(2):
        with pytest.raises((ValueError, StoreError)):
            migrate(store)
    assert (store.revision(), rows(store), shape(store.engine)) == (head, before, shape_before)
    assert sorted(path.name for path in tmp_path.glob("*.before-*")) == [
        "soakbell.db.before-9998",
        "soakbell.db.before-9998-2",
    ]


def test_the_program_before_an_upgrade_refuses_the_database_after_it(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    migrate(store)
    with monkeypatch.context() as grown:
        next_step(tmp_path, grown)
        migrate(store)
    with pytest.raises(StoreError, match="newer"):
        open_store(f"sqlite:///{tmp_path}/soakbell.db")


def test_the_history_is_one_line() -> None:
    scripts = migration_scripts()
    assert len(scripts.get_heads()) == 1
    assert len(known_revisions()) == len(list(scripts.walk_revisions()))


def test_the_triggers_of_the_log_are_there_at_the_newest_schema(store: Store) -> None:
    migrate(store)
    with store.reading() as session:
        found = session.execute(
            text("SELECT name FROM sqlite_master WHERE type = 'trigger' ORDER BY name")
        ).scalars()
        assert list(found) == ["log_entry_no_delete", "log_entry_no_update"]


def test_the_newest_schema_that_the_program_names_is_the_newest_there_is() -> None:
    assert migration_scripts().get_current_head() == NEWEST_REVISION
