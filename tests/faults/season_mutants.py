"""Faults planted in the service of a season, each to break one promise: called at the start of its process."""

from __future__ import annotations

import os
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

import numpy as np

from soakbell import survey
from soakbell.desk import Desk
from soakbell.feeds.alerts import parse_alerts
from soakbell.fetching import Fetching
from soakbell.sea import fitness
from soakbell.sea.sources import SourceKind
from soakbell.sea.warnings import joined
from soakbell.store import letters
from soakbell.store.log_keeper import LogKeeper

LEAK_MB = 25


def take_stale_news() -> None:
    """Nothing is fetched once there is something, and all that is kept counts as fresh."""
    poll = Fetching._poll

    def poll_once(self: Any) -> None:
        if self._get_note("polled") is None:
            poll(self)

    def is_fresh(self: Any, kind: Any, key: str, issued_at: Any, _expires_at: Any) -> bool:
        self._tell(kind, key, issued_at, self.now + timedelta(days=1), None)
        return True

    def list_of_warnings(self: Any, zone: str) -> Any:
        kind = SourceKind.WARNINGS
        reply = self._parse(kind, zone, lambda pages: joined([parse_alerts(page.body) for page in pages]))
        if reply is not None:
            self._is_fresh(kind, zone, reply.updated_at, None)
        return reply, reply is not None

    Fetching._poll = poll_once  # type: ignore[method-assign]
    survey._Reader._is_fresh = is_fresh  # type: ignore[method-assign]
    survey._Reader._list_of_warnings = list_of_warnings  # type: ignore[method-assign]


def bar_by_nothing_official() -> None:
    fitness._barred = lambda _conditions, hours: np.zeros(len(hours), dtype=bool)


def never_look_again() -> None:
    Desk.recheck = lambda *_, **__: None  # type: ignore[method-assign]


def send_again() -> None:
    letters.mark_accepted = lambda *_: None  # type: ignore[assignment]


def forget_a_morning() -> None:
    make = letters.ensure_due

    def ensure_due(session: Any, boat: str, kind: str, day: Any, *rest: Any) -> bool:
        return False if kind == "morning" and day.day % 2 else make(session, boat, kind, day, *rest)

    letters.ensure_due = ensure_due


def read_the_log_once() -> None:
    LogKeeper._news = lambda *_: []  # type: ignore[method-assign]


def leave_files() -> None:
    _besides(Desk, "ring", lambda self: _file_of(self).write_bytes(b"left"))


def leak_memory() -> None:
    hoard: list[bytes] = []
    _besides(Desk, "ring", lambda _: hoard.append(os.urandom(LEAK_MB * 1_000_000)))


def die() -> None:
    _besides(Desk, "housekeep", lambda _: os._exit(1))


def _besides(owner: Any, name: str, deed: Callable[[Any], object]) -> None:
    """Do ``deed`` before each call of a method."""
    method = getattr(owner, name)

    def both(self: Any, *args: Any, **named: Any) -> Any:
        deed(self)
        return method(self, *args, **named)

    setattr(owner, name, both)


def _file_of(desk: Any) -> Path:
    folder: Path = desk._settings.database.parent
    return folder / f"left-{len(list(folder.iterdir()))}"
