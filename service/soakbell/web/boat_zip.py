"""Everything of a boat in one zip, and the way back into an empty boat.

The database in the zip is what comes back. The other files are for people: the log as a table, the marks as a
track file, the settings as they lie on the disk. Passphrases, keys and secrets are in none of them.
"""

from __future__ import annotations

import hashlib
import json
import struct
import tomllib
import zlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager, nullcontext
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import IO
from zipfile import ZIP_DEFLATED, ZIP_STORED, BadZipFile, ZipFile, ZipInfo
from zoneinfo import ZoneInfo

from soakbell import __version__
from soakbell.errors import NotUnderstood, SoakbellError, StoreError
from soakbell.gear.log import LogEntry
from soakbell.gear.log_csv import write_log_csv
from soakbell.letters.track import marks_gpx
from soakbell.page_settings import PageTerms, page_terms_of
from soakbell.settings import Settings
from soakbell.store.carrying import CarriedOut, carry_out, carrying_folder
from soakbell.store.engine import Store
from soakbell.store.log import pages_up_to
from soakbell.store.log_keeper import fold_up_to
from soakbell.store.nightly import refuse_scant_room

DATABASE, MANIFEST = "soakbell.db", "manifest.json"
_SETTINGS = ("boat", "gear", "plan", "page", "fishery")
MEMBERS = frozenset({MANIFEST, DATABASE, "log.csv", "marks.gpx", *(f"settings/{name}.toml" for name in _SETTINGS)})
_FORMAT = 1
_MOST_MANIFEST_BYTES = 20_000
_AT_ONCE = 1 << 20
_OF_UNPACKED = 3
"""What carrying in takes of the size: unpacked, brought up to the newest schema, and in the boat's database."""
_END = struct.Struct("<4s4H2LH")
"""End of the central directory (APPNOTE.TXT 4.3.16): a zip that says it has more files is not opened."""
_END_64_BYTES = 20


@dataclass(frozen=True)
class Carried:
    """What a zip brought, and when it was made. ``database`` lies in the folder that it was unpacked to."""

    made_at: datetime
    database: Path


def write_boat_zip(to: IO[bytes], settings: Settings, store: Store, now: datetime, *, invented: bool) -> None:
    """Write the zip while the service runs. A file for people that can't be made is left out, and said to be.

    Raises:
        StoreError: the database can't be copied.
    """
    files: dict[str, str] = {}
    left_out: dict[str, str] = {}
    if store.file is None:
        raise StoreError("the database is no file, so it can't be carried")
    with carrying_folder(store.file) as folder, ZipFile(to, "w", ZIP_DEFLATED) as packed:
        copy = folder / DATABASE
        carried = carry_out(store.file, copy)
        files[DATABASE] = _sha256(copy)
        packed.write(copy, DATABASE)
        for name, make in _for_people(settings, store, carried, now, invented=invented).items():
            try:
                content = make()
            except (SoakbellError, OSError, ValueError) as fault:
                left_out[name] = f"{type(fault).__name__}: {fault}"
            else:
                files[name] = hashlib.sha256(content).hexdigest()
                packed.writestr(name, content)
        manifest = {
            "soakbell_boat": _FORMAT,
            "boat": settings.boat.name,
            "made_at": now.astimezone(UTC).isoformat(),
            "program": __version__,
            "schema": carried.revision,
            "rows": dict(carried.rows),
            "sha256": files,
            "left_out": left_out,
        }
        packed.writestr(MANIFEST, json.dumps(manifest, indent=1, ensure_ascii=False))


def _for_people(
    settings: Settings, store: Store, carried: CarriedOut, now: datetime, *, invented: bool
) -> dict[str, Callable[[], bytes]]:
    def log() -> bytes:
        return write_log_csv(entries_in_order(store, carried.seq), ZoneInfo(settings.harbor.time_zone))

    def marks() -> bytes:
        gear, _ = fold_up_to(store, settings.trap_strings, carried.seq)
        lie = gear.strings
        strings = [replace(one, start=lie[one.name].start, end=lie[one.name].end) for one in settings.trap_strings]
        return marks_gpx(strings, settings.boat.name, now, invented=invented)

    making: dict[str, Callable[[], bytes]] = {"log.csv": log, "marks.gpx": marks}
    kept = {"boat": settings.path, "gear": settings.gear_file, "plan": settings.plan_file}
    making |= {f"settings/{name}.toml": path.read_bytes for name, path in kept.items() if path is not None}
    making["settings/fishery.toml"] = lambda: _fishery_file(settings.path).read_bytes()
    if settings.page_file is not None:
        making["settings/page.toml"] = lambda: _page_toml(page_terms_of(settings))
    return making


def entries_in_order(store: Store, seq: int) -> Iterator[LogEntry]:
    """The log up to the entry stored as ``seq``, in the order things happened, never whole in memory.

    Raises:
        StoreError: an entry can't be read.
    """
    for page in pages_up_to(store, seq):
        for _, entry in page:
            if not isinstance(entry, LogEntry):
                raise StoreError(f"an entry can't be read: {entry.fault}")
            yield entry


def _fishery_file(settings_file: Path) -> Path:
    named = tomllib.loads(settings_file.read_text("utf-8"))["fishery"]["file"]
    return settings_file.parent / "fisheries" / str(named)


def _page_toml(terms: PageTerms | str | None) -> bytes:
    """Written anew of what was read, so that no passphrase's hash is in it, however the file is written."""
    if not isinstance(terms, PageTerms):
        raise ValueError("it can't be used as it is")
    lines = [
        "# Passphrases are not carried. Make new ones with:  soakbell passphrase",
        "[page]",
        f"port = {terms.port}",
        f"host = {json.dumps(terms.host)}",
        *([] if terms.public_url is None else [f"public_url = {json.dumps(terms.public_url)}"]),
        f"session_days = {terms.session_days}",
        f"link_days = {terms.link_days}",
        f"proxies = {json.dumps(list(terms.proxies))}",
    ]
    return "".join(f"{line}\n" for line in lines).encode()


# ---- the way back


def unpack_boat_zip(packed: IO[bytes], folder: Path, *, boat: str, most_bytes: int) -> Carried:
    """Check a zip whole and unpack its database into ``folder``. No name out of the zip is used as a path.

    Args:
        boat: whose it must be.
        most_bytes: what all of it may come to unpacked.

    Raises:
        StoreError: the disk lacks the room for it.
        NotUnderstood: it is no zip of this boat, or damaged. What is wrong is told.
    """
    _refuse_many(packed)
    with _plainly(), ZipFile(packed) as opened:
        members = {member.filename: member for member in opened.infolist()}
        _refuse_strange(opened.infolist(), most_bytes)
        refuse_scant_room(folder, _OF_UNPACKED * sum(member.file_size for member in members.values()))
        manifest = _Manifest.read(_content(opened, members[MANIFEST], _MOST_MANIFEST_BYTES))
        if manifest.boat != boat:
            raise NotUnderstood(f"it is of the boat {manifest.boat[:60]!r}, and this is {boat!r}")
        if manifest.sha256.keys() != members.keys() - {MANIFEST}:
            raise NotUnderstood("the files are not those that its manifest names")
        room = most_bytes
        for name, member in members.items():
            if name != MANIFEST:
                size, sha256 = _unpack(opened, member, folder / DATABASE if name == DATABASE else None, room)
                room -= size
                if sha256 != manifest.sha256[name]:
                    raise NotUnderstood(f"{name} is not as it was packed")
    return Carried(manifest.made_at, folder / DATABASE)


def _refuse_many(packed: IO[bytes]) -> None:
    size = packed.seek(0, 2)
    packed.seek(max(0, size - _END.size - _END_64_BYTES))
    tail = packed.read()
    end = tail[-_END.size :]
    if len(end) < _END.size or not end.startswith(b"PK\x05\x06"):
        raise NotUnderstood("it is no zip that Soakbell wrote")
    entries = _END.unpack(end)[4]
    if entries > len(MEMBERS) or tail.startswith(b"PK\x06\x07"):
        raise NotUnderstood(f"it has {entries} files, more than Soakbell writes")
    packed.seek(0)


def _refuse_strange(members: list[ZipInfo], most_bytes: int) -> None:
    names = [member.filename for member in members]
    strange = sorted({*names} - MEMBERS)
    if strange:
        raise NotUnderstood(f"it has a file {strange[0][:60]!r} that Soakbell never writes")
    if len(names) != len({*names}):
        raise NotUnderstood("it has a file twice")
    lacking = sorted({MANIFEST, DATABASE} - {*names})
    if lacking:
        raise NotUnderstood(f"it has no {lacking[0]}")
    if any(member.flag_bits & 1 or member.compress_type not in (ZIP_STORED, ZIP_DEFLATED) for member in members):
        raise NotUnderstood("it is locked, or packed in a way that Soakbell doesn't use")
    if sum(member.file_size for member in members) > most_bytes:
        raise NotUnderstood(f"unpacked it is larger than {most_bytes // 1_000_000} MB")


def _unpack(opened: ZipFile, member: ZipInfo, place: Path | None, room: int) -> tuple[int, str]:
    """Size and hash of a file, which is written to ``place``, if any. ``room``: bytes that it may have."""
    digest, size = hashlib.sha256(), 0
    with opened.open(member) as file, nullcontext() if place is None else place.open("wb") as out:
        while part := file.read(_AT_ONCE):
            size += len(part)
            if size > room:
                raise NotUnderstood("unpacked it is larger than it says")
            digest.update(part)
            if out is not None:
                out.write(part)
    return size, digest.hexdigest()


def _content(opened: ZipFile, member: ZipInfo, most_bytes: int) -> bytes:
    with opened.open(member) as file:
        content = file.read(most_bytes + 1)
    if len(content) > most_bytes:
        raise NotUnderstood(f"its {member.filename} is larger than {most_bytes // 1000} kB")
    return content


@dataclass(frozen=True)
class _Manifest:
    boat: str
    made_at: datetime
    sha256: dict[str, str]

    @classmethod
    def read(cls, content: bytes) -> _Manifest:
        try:
            told = json.loads(content)
            if told["soakbell_boat"] != _FORMAT:
                raise ValueError("another format")
            made_at = datetime.fromisoformat(told["made_at"])
            sha256 = {str(name): str(digest) for name, digest in told["sha256"].items()}
            return cls(str(told["boat"]), made_at.astimezone(UTC), sha256)
        except (ValueError, KeyError, TypeError, AttributeError, RecursionError, OverflowError) as fault:
            raise NotUnderstood(f"its {MANIFEST} can't be read ({type(fault).__name__})") from fault


_DAMAGED = (BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, ValueError, struct.error)


@contextmanager
def _plainly() -> Iterator[None]:
    try:
        yield
    except _DAMAGED as fault:
        raise NotUnderstood(f"the zip is damaged: {fault}") from fault


def _sha256(file: Path) -> str:
    with file.open("rb") as content:
        return hashlib.file_digest(content, "sha256").hexdigest()
