"""Backups, restores and upgrades that end in the midst, each in a process of its own; run by test_faults_copies.

Reads from its input, as JSON, a list of points: [folder, act, how, number]. ``act`` is one of ``ACTS``; ``how``
says how it ends:

count  not at all; prints how many steps it took
step   killed at that step: a step is each call of a function, Python's or the library's; of an upgrade, only once
       its backup is made
size   killed by the kernel as soon as a file would grow beyond so many bytes
late   likewise, but only once a restore has set the former database aside and writes over it
full   refused by the kernel, as by a full disk, as soon as a file would grow beyond so many bytes

Prints a JSON list with the exit status of each point as os.waitstatus_to_exitcode gives it, or the count.
"""

from __future__ import annotations

import json
import os
import resource
import signal
import sys
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, date, datetime
from pathlib import Path
from types import ModuleType

import alembic.command

from soakbell.errors import StoreError
from soakbell.store import backup
from soakbell.store.backup import restore
from soakbell.store.engine import open_store
from soakbell.store.nightly import nightly_backup
from soakbell.store.upgrade import migrate

NOW = datetime(2026, 12, 8, 9, 30, tzinfo=UTC)


def upgrade(folder: Path) -> None:
    with closing(open_store(f"sqlite:///{folder}/soakbell.db")) as store:
        migrate(store)


ACTS: dict[str, Callable[[Path], object]] = {
    "back up": lambda folder: nightly_backup(folder / "soakbell.db", date(2026, 12, 8)),
    "restore": lambda folder: restore(
        folder / "copy.db", folder / "soakbell.db", now=datetime(2026, 12, 8, 9, 30, tzinfo=UTC)
    ),
    "upgrade": upgrade,
}


class Steps:
    def __init__(self, last: int) -> None:
        self.count = 0
        self._last = last

    def begin(self) -> None:
        sys.setprofile(self.take)

    def begin_with(self, module: ModuleType, name: str) -> None:
        """Count from the call of that function on."""
        real = getattr(module, name)

        def counted(*arguments: object) -> None:
            self.begin()
            real(*arguments)

        setattr(module, name, counted)

    def take(self, _frame: object, event: str, _argument: object) -> None:
        if event in ("call", "c_call"):
            self.count += 1
            if self.count == self._last:
                os.kill(os.getpid(), signal.SIGKILL)


def limit_files(most_bytes: int, *, killed: bool) -> None:
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    signal.signal(signal.SIGXFSZ, signal.SIG_DFL if killed else signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (most_bytes, resource.RLIM_INFINITY))


def limit_once_aside(most_bytes: int) -> None:
    set_aside = backup._set_aside

    def then_limit(database: Path) -> tuple[Path | None, bool]:
        kept = set_aside(database)
        limit_files(most_bytes, killed=True)
        return kept

    backup._set_aside = then_limit


def end_at(how: str, number: int, folder: Path, act: str) -> int:
    steps = Steps(number if how == "step" else 0)
    if how == "late":
        limit_once_aside(number)
    elif how in ("size", "full"):
        limit_files(number, killed=how == "size")
    elif act == "upgrade":
        steps.begin_with(alembic.command, "upgrade")
    else:
        steps.begin()
    try:
        ACTS[act](folder)
    except StoreError:
        return 1
    sys.setprofile(None)
    if how == "count":
        (folder / "steps").write_text(str(steps.count))
    return 0


def point(folder: Path, act: str, how: str, number: int) -> int:
    child = os.fork()
    if child == 0:
        os._exit(end_at(how, number, folder, act))
    ended = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
    return int((folder / "steps").read_text()) if how == "count" else ended


def load_all() -> None:
    """Else most steps of an upgrade would be imports."""
    with closing(open_store("sqlite://")) as store:
        migrate(store)


if __name__ == "__main__":
    load_all()
    print(json.dumps([point(Path(folder), *plan) for folder, *plan in json.load(sys.stdin)]))
