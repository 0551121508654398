"""The keys that sign links of letters and tokens of forms: a file beside the database, its owner's alone."""

from __future__ import annotations

import hashlib
import os
import secrets
import stat
from datetime import datetime
from pathlib import Path
from typing import NewType

from itsdangerous import TimestampSigner, URLSafeTimedSerializer

from soakbell.errors import StoreError

Keys = NewType("Keys", tuple[str, ...])
"""Newest last, as ``itsdangerous`` takes them: it signs with the last and knows all."""

_BYTES = 32
_MOST = 5


def keys_beside(database: Path) -> Keys:
    """The keys of a boat's database; the first is made where there is none.

    Raises:
        StoreError: the file can't be made or read, or others than its owner may read it.
    """
    path = _path(database)
    try:
        _make_once(path)
        if stat.S_IMODE(path.stat().st_mode) & 0o077:
            raise StoreError(f"{path} may be read by others; write chmod 600 {path}")
        keys = tuple(path.read_text(encoding="ascii").split())
    except (OSError, ValueError) as fault:
        raise StoreError(f"{path} can't be used ({fault}); remove it, and links of letters begin anew") from fault
    if not 0 < len(keys) <= _MOST or any(len(key) < 2 * _BYTES for key in keys):
        raise StoreError(f"{path} holds no usable keys; remove it, and links of letters begin anew")
    return Keys(keys)


def timed_signer(keys: Keys, salt: str, now: datetime) -> URLSafeTimedSerializer:
    """Signs, and knows again, by ``now`` and no other clock. ``salt``: for what, so that none opens another."""

    class Signer(TimestampSigner):
        def get_timestamp(self) -> int:
            return int(now.timestamp())

    return URLSafeTimedSerializer(
        list(keys), salt=salt, signer=Signer, signer_kwargs={"digest_method": hashlib.sha256}
    )


def drop_keys(database: Path) -> None:
    """All links of letters are void from the next start on.

    Raises:
        StoreError: the file can't be removed.
    """
    path = _path(database)
    try:
        path.unlink(missing_ok=True)
    except OSError as fault:
        raise StoreError(
            f"{path} can't be removed ({fault.strerror}); do so, as links open again that were used"
        ) from fault


def _path(database: Path) -> Path:
    return database.with_name(f"{database.name}.keys")


def _make_once(path: Path) -> None:
    """Whole or not at all, even where two processes begin at once."""
    if path.exists():
        return
    draft = path.with_name(f"{path.name}.{os.getpid()}")
    descriptor = os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    try:
        with os.fdopen(descriptor, "w", encoding="ascii") as file:
            file.write(f"{secrets.token_hex(_BYTES)}\n")
            file.flush()
            os.fsync(file.fileno())
        try:
            os.link(draft, path)
        except FileExistsError:
            return
    finally:
        draft.unlink(missing_ok=True)
