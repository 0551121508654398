"""What a power cut leaves of an SQLite database in the midst of a commit, made from copies of before and after.

With the rollback journal a commit goes: old pages into the journal, journal to the disk, new pages into the
database, database to the disk, journal removed (https://www.sqlite.org/atomiccommit.html). What was not yet forced
to the disk may be there in any part: before the first force any part of the journal, and between the two any of
the new pages, whole or torn, beside a whole journal. Where the journal's removal was not forced, it comes back.
"""

from __future__ import annotations

import random
import struct
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

_MAGIC = bytes.fromhex("d9d505f920a163d7")
_SECTOR_BYTES = 512
_NONCE = 20261208


@dataclass(frozen=True)
class Wreck:
    """The two files as they are found, and what of the commit is to be left of them: all, none, or either."""

    name: str
    database: bytes
    journal: bytes | None

    def lay(self, database: Path) -> None:
        database.write_bytes(self.database)
        if self.journal is not None:
            database.with_name(f"{database.name}-journal").write_bytes(self.journal)


def wrecks(before: bytes, after: bytes, dice: random.Random) -> Iterator[Wreck]:
    """One wreck of each stage of the commit that led from ``before`` to ``after``."""
    size = page_bytes(before)
    old, new = _pages(before, size), _pages(after, size)
    changed = [n for n, page in enumerate(old) if n >= len(new) or page != new[n]]
    journal = _journal(old, changed, size)
    yield Wreck("journal begun", before, journal[: dice.randrange(len(journal))])
    yield Wreck("journal not forced", before, _torn(bytes(len(journal)), journal, dice))
    yield Wreck("pages in part", _in_part(before, old, new, size, dice), journal)
    yield Wreck("all pages", after, journal)
    yield Wreck("done", after, None)


def page_bytes(database: bytes) -> int:
    """Offset 16 of the header; 1 means 65536 (https://www.sqlite.org/fileformat2.html)."""
    (size,) = struct.unpack(">H", database[16:18])
    return 65_536 if size == 1 else int(size)


def _pages(database: bytes, size: int) -> list[bytes]:
    return [database[at : at + size] for at in range(0, len(database), size)]


def _journal(old: Sequence[bytes], changed: Sequence[int], size: int) -> bytes:
    """A whole rollback journal (https://www.sqlite.org/fileformat2.html#the_rollback_journal)."""
    head = struct.pack(">8sIIIII", _MAGIC, len(changed), _NONCE, len(old), _SECTOR_BYTES, size)
    records = [struct.pack(">I", n + 1) + old[n] + struct.pack(">I", _checksum(old[n])) for n in changed]
    return head.ljust(_SECTOR_BYTES, b"\0") + b"".join(records)


def _checksum(page: bytes) -> int:
    """The nonce and every 200th byte from the end, the first of the page left out."""
    return (_NONCE + sum(page[at] for at in range(len(page) - 200, 0, -200))) % 2**32


def _in_part(before: bytes, old: Sequence[bytes], new: Sequence[bytes], size: int, dice: random.Random) -> bytes:
    """Each new page is there, or not, or torn; the file is as long as before or after."""
    found = []
    for n, page in enumerate(new):
        was = old[n] if n < len(old) else bytes(size)
        found.append(dice.choice((page, was, _torn(was, page, dice))))
    return b"".join(found) + b"".join(old[len(new) :])


def _torn(was: bytes, page: bytes, dice: random.Random) -> bytes:
    """Of each sector, the old or the new."""
    sectors = range(0, len(page), _SECTOR_BYTES)
    return b"".join(dice.choice((was, page))[at : at + _SECTOR_BYTES] for at in sectors)
