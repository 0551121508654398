"""The strings that settings had before, so that no trap in the log is forgotten because settings drop it.

The note ``strings:<boat>`` holds them: those of the settings, with what these dropped while it was not home. A
whole string in the log is as many traps as the settings say, so nothing else could tell how many were set. No call
reads it.
"""

from __future__ import annotations

import logging
from dataclasses import dataclass, replace
from datetime import datetime

from pydantic import TypeAdapter, ValidationError

from soakbell.gear.fold import GearState, Whereabouts
from soakbell.gear.strings import TrapString
from soakbell.settings import Settings
from soakbell.store.engine import Store
from soakbell.store.letters import get_note, put_note
from soakbell.store.log_keeper import LogKeeper

log = logging.getLogger(__name__)

_NOT_HOME = (Whereabouts.FISHING, Whereabouts.ABOARD, Whereabouts.MISSING)


@dataclass(frozen=True)
class Dropped:
    """What is in the log, not home, and not in the settings.

    Attributes:
        gear: the boat's traps, those that settings dropped among them.
        traps: how many, by string.
        unknown: strings that no settings are remembered of: how many traps they have isn't known.
    """

    gear: GearState
    traps: tuple[tuple[str, int], ...] = ()
    unknown: tuple[str, ...] = ()


@dataclass(frozen=True)
class _Note:
    """``home``: names of strings that were dropped when no trap of theirs was out."""

    strings: tuple[TrapString, ...] = ()
    home: tuple[str, ...] = ()


_RECORD = TypeAdapter(_Note)


class KnownStrings:
    """The strings of one boat, with those of its former settings."""

    def __init__(self, settings: Settings, store: Store) -> None:
        self._settings = settings
        self._store = store
        self._wider: tuple[tuple[TrapString, ...], LogKeeper] | None = None

    def dropped(self, gear: GearState) -> Dropped:
        """What is not home besides ``gear``, the traps of the settings.

        Raises:
            StoreError: the database or the log can't be read.
        """
        note = self._note()
        known = self._known(note)
        if known != self._settings.trap_strings:
            gear = self._folded(known)
        traps = tuple((string.name, len(out)) for string in known if (out := self._out(gear, string)))
        return Dropped(gear, traps, self._unknown(gear, note))

    def remember(self, now: datetime) -> None:
        """Keep the strings of the settings, with those dropped that are not home.

        Raises:
            StoreError: the database or the log can't be read, or the note not written.
        """
        note = self._note()
        known = self._known(note)
        kept = self._settings.trap_strings
        if known != kept:
            gear = self._folded(known)
            own = {string.name: string for string in kept}
            kept = tuple(
                string if self._out(gear, string) else own[string.name]
                for string in known
                if string.name in own or self._out(gear, string)
            )
        gone = {string.name for string in known} - {string.name for string in kept}
        wanted = _Note(kept, tuple(sorted({*note.home, *gone} - {string.name for string in kept})))
        if wanted != note:
            with self._store.writing() as session:
                put_note(session, self._name, _RECORD.dump_python(wanted, mode="json"), now)

    @property
    def _name(self) -> str:
        return f"strings:{self._settings.boat.name}"

    def _note(self) -> _Note:
        """What can't be read is none: then strings that only the log knows are unknown, and told so."""
        with self._store.reading() as session:
            note = get_note(session, self._name)
        if note is None:
            return _Note()
        try:
            return _RECORD.validate_python(note[0])
        except ValidationError as fault:
            log.warning("the former strings can't be read", extra={"action": "strings", "fault": str(fault)})
            return _Note()

    def _known(self, note: _Note) -> tuple[TrapString, ...]:
        """Those of the settings first, each with as many traps as it had."""
        former = {string.name: string for string in note.strings}
        own = tuple(
            replace(string, traps=max(string.traps, former.pop(string.name, string).traps))
            for string in self._settings.trap_strings
        )
        return (*own, *former.values())

    def _folded(self, known: tuple[TrapString, ...]) -> GearState:
        if self._wider is None or self._wider[0] != known:
            self._wider = known, LogKeeper(self._store, known)
        return self._wider[1].now().gear

    def _out(self, gear: GearState, string: TrapString) -> list[int]:
        """Places of a string that are not home and not in the settings."""
        own = next((one.traps for one in self._settings.trap_strings if one.name == string.name), 0)
        state = gear.strings[string.name]
        former = [trap for trap in state.gone if trap.where is Whereabouts.MISSING]
        return [trap.place for trap in (*state.traps, *former) if trap.place > own and trap.where in _NOT_HOME]

    def _unknown(self, gear: GearState, note: _Note) -> tuple[str, ...]:
        named = {oddity.string for oddity in gear.oddities if oddity.key == "string" and oddity.string}
        return tuple(sorted(named - gear.strings.keys() - {*note.home}))
