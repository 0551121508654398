"""Who works with a database: any number of services and commands, or one restore.

SQLite's own locks end with each transaction, but a service holds in memory what it read before, and what a command
tells between a restore's copy of the former database and its end would be in neither. The lock is on a
file of its own, as closing one of the database itself would drop SQLite's locks
(https://sqlite.org/howtocorrupt.html), and is the kernel's, so it ends with the process however that ends.
"""

from __future__ import annotations

import errno
import fcntl
import logging
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from soakbell.errors import StoreError

log = logging.getLogger(__name__)

_HAS_NO_LOCKS = frozenset({errno.ENOTSUP, errno.EOPNOTSUPP, errno.ENOLCK})


@contextmanager
def serving(database: Path) -> Iterator[None]:
    """Keep a restore out. Where the lock can't be had the service goes on without.

    Raises:
        StoreError: a restore is under way.
    """
    with _held(database, fcntl.LOCK_SH, f"{database} is being restored; try again when that is done"):
        yield


@contextmanager
def restoring(database: Path) -> Iterator[None]:
    """Keep services and commands out. Where the file system has no such locks a restore goes on without.

    Raises:
        StoreError: one is running, or it can't be known, as the lock can't be used.
    """
    refusal = f"a service or a command is at work on {database}; stop it first"
    with _held(database, fcntl.LOCK_EX, refusal, goes_on=_HAS_NO_LOCKS):
        yield


@contextmanager
def _held(database: Path, kind: int, refusal: str, *, goes_on: frozenset[int] | None = None) -> Iterator[None]:
    """``goes_on``: the faults with which it goes on without the lock; None: all, since letters may be due."""
    descriptor, path = None, database.with_name(f"{database.name}.lock")
    try:
        try:
            database.parent.mkdir(parents=True, exist_ok=True)
            descriptor = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
            fcntl.flock(descriptor, kind | fcntl.LOCK_NB)
        except BlockingIOError as held:
            raise StoreError(refusal) from held
        except OSError as fault:
            if goes_on is not None and fault.errno not in goes_on:
                told = f"{path} can't be locked ({fault}), so a service may be running on {database}"
                raise StoreError(f"{told}; type it as the service's user") from fault
            log.warning("%s can't be locked: %s", database, fault)
        yield
    finally:
        if descriptor is not None:
            os.close(descriptor)
