"""A database of the first schema with something in every table, as a boat of that time left it. INVENTED DATA."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from datetime import date, timedelta
from pathlib import Path

from law.world import NOW
from logbook import correction_of, told
from page_scenes import Scene
from scenes import advisory
from soakbell.gear.log import (
    BaitBought,
    BaitCounted,
    BaitMoved,
    BaitOrdered,
    BaitSpoiled,
    Barred,
    BellSettled,
    BellSnoozed,
    BroughtAshore,
    Detail,
    EngineHours,
    EntryKind,
    FoundDamaged,
    FoundMissing,
    LogEntry,
    Moved,
    PartBought,
    PartCounted,
    PartUsed,
    Pinned,
    Pulled,
    PutOnBench,
    Recovered,
    Renumbered,
    Repaired,
    Replaced,
    Retired,
    Tagged,
    TrapsSet,
    UpkeepDone,
)
from soakbell.gear.strings import Mark
from soakbell.store import letters
from soakbell.store.engine import open_store
from soakbell.store.log import append_entries
from soakbell.store.replies import keep_warnings
from soakbell.store.upgrade import migrate

BOAT = "Little Grebe"
WAITING = "two-days-ago@example.org"
_DAY = date(2026, 11, 20)
_TOLD: tuple[tuple[Detail, tuple[int, ...]], ...] = (
    (BaitBought("mullet heads", 8, "freezer", 160.0), ()),
    (BaitMoved("mullet heads", 2, "freezer", "thaw"), ()),
    (BaitSpoiled("mullet heads", 0.5, "thaw"), ()),
    (BaitCounted("mullet heads", 5.5, "freezer"), ()),
    (BaitOrdered("mullet heads", 4, _DAY), ()),
    (PartBought("latch", 20, 18.0), ()),
    (PartUsed("latch", 2), ()),
    (PartCounted("latch", 17), ()),
    (UpkeepDone("engine oil", None), ()),
    (EngineHours(812.5, False), ()),
    (BellSnoozed("bait:mullet heads", NOW - timedelta(days=5)), ()),
    (BellSettled("upkeep:flares", "", 1), ()),
    (Pinned(_DAY, "Nine Foot"), ()),
    (Barred(_DAY + timedelta(days=1), ""), ()),
    (Pulled(legal_claws=14, short_claws=5, lb=3.1, bait="mullet heads"), (1, 2, 3)),
    (FoundDamaged("latch"), (2,)),
    (PutOnBench(), (2,)),
    (Repaired("latch", (("latch", 1.0),)), (2,)),
    (TrapsSet(), (2,)),
    (FoundMissing(), (3,)),
    (Recovered("aboard", False), (3,)),
    (Retired("crushed"), (3,)),
    (Replaced("A9"), (3,)),
    (Tagged("A1"), (1,)),
    (Renumbered(((1, 2), (2, 1))), ()),
    (Moved(Mark(29.975, -84.250), Mark(29.979, -84.228)), ()),
    (BroughtAshore(), (4,)),
)


def log_of_every_kind() -> list[LogEntry]:
    """Told over the week before ``NOW``; the last entry voids the one before."""
    first_h = 500.0
    entries = [told(detail, first_h + n, traps=traps) for n, (detail, traps) in enumerate(_TOLD)]
    entries.append(correction_of(entries[-1], first_h + len(entries)))
    assert {entry.detail.kind for entry in entries} == set(EntryKind)
    return entries


def fill_as_today(scene: Scene) -> None:
    """A letter accepted, one waiting for another try, notes, a warning and a log of every kind."""
    yesterday = (NOW - timedelta(days=1)).date()
    with scene.store.writing() as session:
        append_entries(session, log_of_every_kind())
        keep_warnings(session, [advisory(NOW)], NOW)
    scene.tell_call()
    message = f"Message-ID: <{WAITING}>\r\nDate: Mon, 07 Dec 2026 09:30:00 +0000\r\n\r\nWAIT\r\n".encode()
    with scene.store.writing() as session:
        useless_at = NOW + timedelta(days=1)
        letters.ensure_due(session, BOAT, "eve", yesterday, 0, "America/New_York", NOW, useless_at)
        claim = letters.claim_due(session, BOAT, NOW, 120)
        assert claim is not None
        letter = letters.WrittenLetter("WAIT", message, ("skipper@example.org",), None)
        letters.write_letter(session, claim, letter, NOW)


def leave_as_first(present: Path, first: Path) -> None:
    """Put the rows of ``present`` that the first schema has a place for into the new database ``first``."""
    with closing(open_store(f"sqlite:///{first}")) as store:
        migrate(store, "0001")
    with closing(sqlite3.connect(first)) as old:
        old.execute("ATTACH ? AS present", (str(present),))
        for table, columns in first_columns(old).items():
            old.execute(f"INSERT INTO main.{table} ({columns}) SELECT {columns} FROM present.{table}")
        old.commit()


def first_columns(old: sqlite3.Connection) -> dict[str, str]:
    """The first schema's tables with their columns, written for a statement."""
    tables = old.execute(
        "SELECT name FROM main.sqlite_master WHERE type = 'table' AND name <> 'alembic_version' ORDER BY name"
    )
    return {
        table: ", ".join(row[1] for row in old.execute(f"PRAGMA main.table_info({table})"))
        for (table,) in tables.fetchall()
    }


def rows_of(database: Path, columns: dict[str, str]) -> dict[str, list[tuple[object, ...]]]:
    with closing(sqlite3.connect(database)) as connection:
        return {
            table: sorted(connection.execute(f"SELECT {names} FROM {table}").fetchall(), key=repr)
            for table, names in columns.items()
        }
