"""The strings that settings had before, so that no trap in the log is forgotten because settings drop it.

A whole string in the log is as many traps as the settings say, so nothing else could tell how many were set. The
note ``strings`` holds every string at its largest for good, and since when it was fewer traps: an entry that comes
late or is voided may bring back what was home when it was dropped. No call reads it.
"""

from __future__ import annotations

import logging
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

from pydantic import TypeAdapter
from sqlalchemy.orm import Session

from soakbell.gear.fold import GearState, Whereabouts
from soakbell.gear.strings import CountSince, TrapString
from soakbell.settings import Settings
from soakbell.store.engine import Store
from soakbell.store.letters import drop_note, get_note, note_names, put_note, rename_note
from soakbell.store.log_keeper import LogKeeper

log = logging.getLogger(__name__)

NOTE = "strings"
_OF_BOAT = f"{NOTE}:"
"""Older notes are called so, with the boat's name after it. They are read too, whatever the boat is called now."""

TORN = (
    "the note of the strings that settings had before can't be read, so traps that were taken out of the settings "
    "may be out and not told. Put each string into the settings with as many traps as it ever had, then run "
    "soakbell check --strings-anew"
)

_NOT_HOME = (Whereabouts.FISHING, Whereabouts.ABOARD, Whereabouts.MISSING)


@dataclass(frozen=True)
class Dropped:
    """What is in the log, not home, and not in the settings.

    Attributes:
        gear: the boat's traps, those that settings dropped among them.
        traps: how many, by string.
        unknown: strings that no settings are remembered of: how many traps they have isn't known.
        fault: why there may be more, as a sentence without its stop.
    """

    gear: GearState
    traps: tuple[tuple[str, int], ...] = ()
    unknown: tuple[str, ...] = ()
    fault: str = ""


@dataclass(frozen=True)
class _Note:
    """``strings`` at their largest; ``counts`` of those whose whole was fewer at some time, in order."""

    strings: tuple[TrapString, ...]
    counts: Mapping[str, tuple[CountSince, ...]] = field(default_factory=dict)


_RECORD = TypeAdapter(_Note)


class KnownStrings:
    """The strings of one boat, with those of its former settings."""

    def __init__(self, settings: Settings, store: Store) -> None:
        self._settings = settings
        self._store = store
        self._wider: tuple[_Note, LogKeeper] | None = None

    def dropped(self, gear: GearState) -> Dropped:
        """What is not home besides ``gear``, the traps of the settings.

        Raises:
            StoreError: the database or the log can't be read.
        """
        with self._store.reading() as session:
            notes, torn = _read(session)
        known = self._known(notes)
        if known.counts or known.strings != self._settings.trap_strings:
            gear = self._folded(known)
        traps = tuple((string.name, len(out)) for string in known.strings if (out := self._out(gear, string)))
        return Dropped(gear, traps, _unknown(gear), TORN if torn else "")

    def remember(self, now: datetime) -> None:
        """Keep the strings of the settings beside those of former ones. Does nothing where these can't be read.

        To be called before an entry is told by these settings, since a whole string is of theirs from then on.

        Raises:
            StoreError: the database or the log can't be read, or the note not written.
        """
        with self._store.reading() as session:
            notes, torn = _read(session)
        wanted = self._known(notes)
        changed = self._changed(wanted, notes)
        if changed:
            newest_at = self._folded(wanted).newest_at
            since = now if newest_at is None else max(now, newest_at + timedelta(microseconds=1))
            counts = {name: (*wanted.counts.get(name, ()), CountSince(since, n)) for name, n in changed.items()}
            wanted = replace(wanted, counts={**wanted.counts, **counts})
        if torn:
            log.warning(TORN, extra={"action": "strings", "notes": torn})
        elif notes != {NOTE: wanted}:
            self._put(wanted, list(notes), now)

    def begin_anew(self, now: datetime) -> tuple[str, ...]:
        """Set aside the notes that can't be read, under the names given, and go on with what the settings have.

        Raises:
            StoreError: the database can't be read or written.
        """
        with self._store.writing() as session:
            _, torn = _read(session)
            aside = {name: f"torn {now:%Y-%m-%d %H:%M:%S} {name}"[:200] for name in torn}
            for name, to in aside.items():
                rename_note(session, name, to)
        self.remember(now)
        return tuple(aside.values())

    def _put(self, wanted: _Note, former: list[str], now: datetime) -> None:
        with self._store.writing() as session:
            for name in former:
                drop_note(session, name)
            put_note(session, NOTE, _RECORD.dump_python(wanted, mode="json"), now)

    def _known(self, notes: Mapping[str, _Note]) -> _Note:
        """Those of the settings first, each with as many traps as it ever had."""
        former: dict[str, TrapString] = {}
        for string in (string for note in notes.values() for string in note.strings):
            former[string.name] = _larger(string, former.get(string.name))
        own = tuple(_larger(string, former.pop(string.name, None)) for string in self._settings.trap_strings)
        return _Note((*own, *former.values()), dict(notes[NOTE].counts) if NOTE in notes else {})

    def _changed(self, known: _Note, notes: Mapping[str, _Note]) -> dict[str, int]:
        """Strings of the settings whose whole is other than it last was, and how many traps it is now."""
        most = {string.name: string.traps for string in known.strings}
        last = {name: counts[-1].traps for name, counts in known.counts.items()}
        named = {string.name for note in notes.values() for string in note.strings}
        return {
            own.name: own.traps
            for own in self._settings.trap_strings
            if own.name in named and own.traps != last.get(own.name, most[own.name])
        }

    def _folded(self, known: _Note) -> GearState:
        if self._wider is None or self._wider[0] != known:
            self._wider = known, LogKeeper(self._store, known.strings, known.counts)
        return self._wider[1].now().gear

    def _out(self, gear: GearState, string: TrapString) -> list[int]:
        """Places of a string that are not home and not in the settings."""
        own = next((one.traps for one in self._settings.trap_strings if one.name == string.name), 0)
        state = gear.strings[string.name]
        former = [trap for trap in state.gone if trap.where is Whereabouts.MISSING]
        return [trap.place for trap in (*state.traps, *former) if trap.place > own and trap.where in _NOT_HOME]


def remember_strings(settings: Settings, store: Store, now: datetime) -> None:
    """``KnownStrings.remember``, where what fails is logged and stops nothing."""
    try:
        KnownStrings(settings, store).remember(now)
    except Exception:
        log.exception("the strings could not be kept", extra={"action": "strings"})


def _read(session: Session) -> tuple[dict[str, _Note], list[str]]:
    """The notes by their names, and the names of those that can't be read."""
    notes, torn = {}, []
    for name in note_names(session, NOTE):
        if name != NOTE and not name.startswith(_OF_BOAT):
            continue
        try:
            found = get_note(session, name)
            notes[name] = _RECORD.validate_python(None if found is None else found[0])
        except ValueError as fault:
            log.warning("former strings can't be read", extra={"action": "strings", "fault": str(fault)})
            torn.append(name)
    return notes, torn


def _larger(string: TrapString, other: TrapString | None) -> TrapString:
    return string if other is None else replace(string, traps=max(string.traps, other.traps))


def _unknown(gear: GearState) -> tuple[str, ...]:
    named = {oddity.string for oddity in gear.oddities if oddity.key == "string" and oddity.string}
    return tuple(sorted(named - gear.strings.keys()))
