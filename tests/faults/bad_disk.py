"""A disk below a running service's database that is full or read-only while it is told to be.

By SQLite's own means, so that no right of the one who runs the tests matters: ``max_page_count`` lets the file not
grow, and SQLite tells it as a full disk; ``query_only`` refuses each write as a read-only file does.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from enum import StrEnum

from sqlalchemy import Connection, event
from sqlalchemy.orm import Session, SessionTransaction

from soakbell.store.engine import Store

_NO_LIMIT = 1_073_741_823  # pages, https://www.sqlite.org/limits.html


class DiskFault(StrEnum):
    """The names stand in ``deploy/FAULTS.md``."""

    FULL = "disk full"
    READ_ONLY = "database read-only"


@dataclass
class BadDisk:
    """``fault`` may be changed at any time; None: all goes well."""

    fault: DiskFault | None = None


@contextmanager
def bad_disk(store: Store) -> Iterator[BadDisk]:
    """Until the block ends, each unit of work that writes meets the disk as it is told to be."""
    disk = BadDisk()

    def begun(_session: Session, _transaction: SessionTransaction, connection: Connection) -> None:
        if connection.engine is not store.engine:
            return
        pages = connection.exec_driver_sql("PRAGMA page_count").scalar_one()
        most = pages if disk.fault is DiskFault.FULL else _NO_LIMIT
        connection.exec_driver_sql(f"PRAGMA max_page_count={most}")
        if disk.fault is DiskFault.READ_ONLY:
            connection.exec_driver_sql("PRAGMA query_only=ON")

    event.listen(Session, "after_begin", begun)
    try:
        yield disk
    finally:
        event.remove(Session, "after_begin", begun)
