"""Who works with a database: any number of services, or one restore.

SQLite's own locks end with each transaction, but a service holds in memory what it read before. The lock is on a
file of its own, as closing one of the database itself would drop SQLite's locks
(https://sqlite.org/howtocorrupt.html), and is the kernel's, so it ends with the process however that ends.
"""

from __future__ import annotations

import fcntl
import logging
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from soakbell.errors import StoreError

log = logging.getLogger(__name__)


@contextmanager
def serving(database: Path) -> Iterator[None]:
    """Keep a restore out. Where the file system has no such locks the service goes on without.

    Raises:
        StoreError: a restore is under way.
    """
    with _held(database, fcntl.LOCK_SH, f"{database} is being restored; start again when that is done"):
        yield


@contextmanager
def restoring(database: Path) -> Iterator[None]:
    """Keep services out.

    Raises:
        StoreError: one is running.
    """
    with _held(database, fcntl.LOCK_EX, f"a service is running on {database}; stop it first"):
        yield


@contextmanager
def _held(database: Path, kind: int, refusal: str) -> Iterator[None]:
    descriptor = None
    try:
        try:
            database.parent.mkdir(parents=True, exist_ok=True)
            path = database.with_name(f"{database.name}.lock")
            descriptor = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
            fcntl.flock(descriptor, kind | fcntl.LOCK_NB)
        except BlockingIOError as held:
            raise StoreError(refusal) from held
        except OSError as fault:
            log.warning("%s can't be locked: %s", database, fault)
        yield
    finally:
        if descriptor is not None:
            os.close(descriptor)
