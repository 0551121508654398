"""A backup of each night in a folder beside the database, and its rehearsal. The newest are kept."""

from __future__ import annotations

import re
import shutil
from datetime import date
from pathlib import Path

from soakbell.errors import StoreError
from soakbell.store.backup import back_up, rehearse_restore, remove_drafts

KEPT_NIGHTS = 7
_SPARE_BYTES = 50_000_000
_OF_REHEARSAL = 3  # copies: a restore works on one of its own


def backups_of(database: Path) -> Path:
    """The folder of a database's nightly backups."""
    return database.with_name("backups")


def nightly_backup(database: Path, day: date) -> Path:
    """The backup of ``day``, made now where there is none; of those up to ``day``, ``KEPT_NIGHTS`` are kept.

    Backups named for later days stay: by a clock set back all good ones are.

    Raises:
        StoreError: the disk lacks the room, which letters need more, or as ``back_up``. All former backups stay.
    """
    folder = backups_of(database)
    made = folder / _name(database, day)
    if made.is_file():
        return made
    try:
        folder.mkdir(mode=0o700, exist_ok=True)
        remove_drafts(folder, _named(database))
        remove_drafts(database.parent, re.compile(rf"{re.escape(database.name)}\.before-[\w-]+"))
        refuse_scant_room(folder, _OF_REHEARSAL * database.stat().st_size)
        back_up(database, made)
        for old in _up_to(day, folder, database)[:-KEPT_NIGHTS]:
            old.unlink(missing_ok=True)
    except OSError as fault:
        raise StoreError(f"{folder}: {fault}; check its rights and the disk") from fault
    return made


def rehearse_nightly(backup: Path) -> None:
    """As ``rehearse_restore``, on the disk of the backup: a temporary folder may lie in memory.

    Raises:
        StoreError: it would not serve, or the disk lacks the room.
    """
    refuse_scant_room(backup.parent, _OF_REHEARSAL * backup.stat().st_size)
    rehearse_restore(backup, within=backup.parent)


def refuse_scant_room(folder: Path, wanted_bytes: int) -> None:
    """Copies of the database are made only where the disk of ``folder`` has room for letters besides.

    Raises:
        StoreError: it has not.
    """
    needed_bytes = wanted_bytes + _SPARE_BYTES
    free_bytes = shutil.disk_usage(folder).free
    if free_bytes < needed_bytes:
        raise StoreError(
            f"{folder} has {free_bytes / 1e6:.0f} MB free, and {needed_bytes / 1e6:.0f} are wanted for a copy; "
            "free some room on the disk"
        )


def _name(database: Path, day: date) -> str:
    return f"{database.stem}-{day.isoformat()}{database.suffix}"


def _up_to(day: date, folder: Path, database: Path) -> list[Path]:
    """Oldest first."""
    named, newest = _named(database), _name(database, day)
    return sorted(path for path in folder.iterdir() if named.fullmatch(path.name) and path.name <= newest)


def _named(database: Path) -> re.Pattern[str]:
    return re.compile(rf"{re.escape(database.stem)}-\d{{4}}-\d\d-\d\d{re.escape(database.suffix)}")
