"""Faults planted in the service of a season, each to break one promise: called at the start of its process."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import numpy as np

from soakbell import desk as soakbell_desk
from soakbell import fetching, survey
from soakbell.desk import Desk
from soakbell.feeds.alerts import parse_alerts
from soakbell.fetching import Fetching
from soakbell.logs import fault_text
from soakbell.planning import decide, trips
from soakbell.schedule import Pace, Sweep
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


def say_pull() -> None:
    """In each morning letter, whatever the call on record."""
    write = soakbell_desk.morning_letter

    def told(*args: Any, **named: Any) -> Any:
        letter = write(*args, **named)
        return replace(letter, subject="PULL 07:00-11:00, string Ledge | Little Grebe")

    soakbell_desk.morning_letter = told


def ask_the_harbor_alone() -> None:
    """No string's own place is held against the limits."""
    _with_legs(lambda leg: replace(leg, places=(trips.HARBOR,)))


def reckon_short_trips() -> None:
    _with_legs(lambda leg: replace(leg, starts_min=leg.starts_min / 4, ends_min=leg.ends_min / 4))


def _with_legs(changed: Callable[[trips.Leg], trips.Leg]) -> None:
    plan = decide.plan_trip

    def planned(*args: Any, **named: Any) -> trips.Trip:
        trip = plan(*args, **named)
        return replace(trip, legs=tuple(changed(leg) for leg in trip.legs))

    decide.plan_trip = planned


def trust_any_clock() -> None:
    letters.clock_behind_by = lambda *_: None  # type: ignore[assignment]


def look_in_vain_for_ever() -> None:
    begin = Sweep.__init__

    def begun(self: Any, *args: Any, **named: Any) -> None:
        begin(self, *args, **named)
        self._pace = Pace(tries_before_no_call=1_000_000)

    Sweep.__init__ = begun  # type: ignore[method-assign]


def ring_again() -> None:
    """No bell counts as rung."""
    letters._add_rung = lambda *_: None


def change_twice() -> None:
    """Each changed call is told again, in a letter of its own."""
    keep = Sweep._keep_changed

    def twice(self: Any, day: Any, turn: int, until: Any, letter: Any, *rest: Any) -> None:
        keep(self, day, turn, until, letter, *rest)
        message = letter.message.replace(f".{turn}.".encode(), f".{turn + 1}.".encode(), 1)
        keep(self, day, turn + 1, until, replace(letter, message=message), *rest)

    Sweep._keep_changed = twice  # type: ignore[method-assign]


def die_of_a_full_disk() -> None:
    def record(_self: Any, _step: str, fault: Exception) -> None:
        if "full" in fault_text(fault):
            os._exit(1)

    _besides(Sweep, "_record", record)


def ask_all_patiently() -> None:
    """A round of the sources goes on until each had all its tries."""
    fetching.ROUND_LIMIT_S = 1e6  # type: ignore[misc]
    _besides(fetching._Round, "fetch", lambda sources, _ask: sources._failed.clear())


def believe_what_a_restore_brings() -> None:
    fetching.newest_restore = lambda _session: None  # type: ignore[assignment]


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
    _besides(Desk, "ring", lambda self, *_: _file_of(self).write_bytes(b"left"))


def leak_memory() -> None:
    hoard: list[bytes] = []
    _besides(Desk, "ring", lambda *_: hoard.append(os.urandom(LEAK_MB * 1_000_000)))


def die() -> None:
    _besides(Desk, "housekeep", lambda *_: os._exit(1))


def _besides(owner: Any, name: str, deed: Callable[..., object]) -> None:
    """Do ``deed`` before each call of a method."""
    method = getattr(owner, name)

    def both(self: Any, *args: Any, **named: Any) -> Any:
        deed(self, *args, **named)
        return method(self, *args, **named)

    setattr(owner, name, both)


def _file_of(desk: Any) -> Path:
    folder: Path = desk._settings.database.parent
    return folder / f"left-{len(list(folder.iterdir()))}"
