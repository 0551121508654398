"""What is in the water, as a pure fold of the log.

The order in which entries arrive doesn't matter: they are put in the order in which things happened.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from enum import StrEnum
from types import MappingProxyType

from soakbell.gear.log import Correction, EntryKind, LogEntry, Moved, Pulled, Recovered, TrapsSet
from soakbell.gear.strings import Mark, TrapString

Order = tuple[datetime, datetime, str]


class Whereabouts(StrEnum):
    NEVER_SET = "never set"
    FISHING = "fishing"
    ABOARD = "aboard"
    ASHORE = "ashore"
    BENCH = "bench"
    MISSING = "missing"
    RETIRED = "retired"


@dataclass(frozen=True)
class TrapItem:
    """One thing wrong with a trap: a condition by name, told when."""

    item: str
    since: datetime


@dataclass(frozen=True)
class TrapState:
    """One trap: where it is, since when, and when it last went in with fresh bait. None: never.

    ``origin`` is its identity, kept through new tags and new places: the string and place it was first known at,
    with "/2" and so on for later traps of one place. ``seen_at`` is when it was last seen, whatever its state.
    """

    place: int
    where: Whereabouts = Whereabouts.NEVER_SET
    since: datetime | None = None
    soak_start: datetime | None = None
    origin: str = ""
    tag: str = ""
    items: tuple[TrapItem, ...] = ()
    seen_at: datetime | None = None


@dataclass(frozen=True)
class StringState:
    """One string: the marks in force and its traps in order of place (trap n is ``traps[n - 1]``).

    ``gone`` are traps that another took the place of, as they were last: missing or retired.
    """

    name: str
    start: Mark
    end: Mark
    traps: tuple[TrapState, ...]
    gone: tuple[TrapState, ...] = ()

    def places(self, where: Whereabouts) -> tuple[int, ...]:
        return tuple(trap.place for trap in self.traps if trap.where is where)


@dataclass(frozen=True)
class Oddity:
    """An entry, or a part of one, that makes no sense where it stands, and so changed nothing.

    ``found`` says what is odd about the field ``key``, ``write`` what would make sense.
    """

    entry_id: str
    string: str | None
    order: Order
    key: str
    found: str
    write: str


@dataclass(frozen=True)
class GearState:
    """Where all gear is after the log so far.

    ``newest_at`` is the latest moment that any entry in force names: a clock that shows less is wrong. ``last`` is
    the place in time of the last thing done. ``awaited`` holds ids that corrections void and the log lacks.
    """

    strings: Mapping[str, StringState]
    oddities: tuple[Oddity, ...] = ()
    newest_at: datetime | None = None
    last: Order | None = None
    awaited: frozenset[str] = frozenset()


def fold(entries: Iterable[LogEntry], strings: Iterable[TrapString]) -> GearState:
    """The state after ``entries``, given in any order.

    Entries with one key count once (the first told). Corrections void entries and each other; an entry that
    arrives late takes its place in time. What makes no sense is listed in ``oddities`` and never raises.
    """
    once, oddities = _each_once(entries)
    live, awaited, more = _in_force(once)
    oddities += more
    decks = {string.name: _Deck.of(_untouched(string)) for string in strings}
    last: Order | None = None
    for entry in sorted(live, key=lambda entry: entry.order):
        if entry.kind is not EntryKind.CORRECTION:
            oddities += _step(decks, entry)
            last = entry.order
    return GearState(
        strings=MappingProxyType({name: deck.frozen() for name, deck in decks.items()}),
        oddities=tuple(sorted(oddities, key=lambda oddity: oddity.order)),
        newest_at=max((_newest(entry) for entry in live), default=None),
        last=last,
        awaited=awaited,
    )


def in_force(entries: Iterable[LogEntry]) -> list[LogEntry]:
    """The entries that count: each once, without those that a correction voids."""
    return _in_force(_each_once(entries)[0])[0]


def follows(state: GearState, entry: LogEntry) -> bool:
    """True when ``apply`` can take the entry: later than all before it, not a correction, not voided ahead."""
    late = state.last is not None and entry.order <= state.last
    return not late and entry.kind is not EntryKind.CORRECTION and entry.id not in state.awaited


def apply(state: GearState, entry: LogEntry) -> GearState:
    """The state one entry on: equal to ``fold`` of all entries with this one. Its key must be new to the log.

    Raises:
        ValueError: the entry doesn't follow (see ``follows``); the log has to be folded again.
    """
    if not follows(state, entry):
        raise ValueError(f"log entry {entry.id} doesn't follow the state; fold the log again")
    touched = state.strings.get(entry.string or "")
    decks = {} if touched is None else {touched.name: _Deck.of(touched)}
    oddities = _step(decks, entry)
    return replace(
        state,
        strings=MappingProxyType({**state.strings, **{name: deck.frozen() for name, deck in decks.items()}}),
        oddities=state.oddities + tuple(oddities),
        newest_at=max(_newest(entry), state.newest_at or _newest(entry)),
        last=entry.order,
    )


def _newest(entry: LogEntry) -> datetime:
    return max(entry.happened_at, entry.told_at)


def _each_once(entries: Iterable[LogEntry]) -> tuple[list[LogEntry], list[Oddity]]:
    """Entries with one key or one id count once; one that says something else under a used key or id is odd."""
    by_key: dict[str, LogEntry] = {}
    by_id: dict[str, LogEntry] = {}
    once: list[LogEntry] = []
    oddities: list[Oddity] = []
    for entry in sorted(entries, key=lambda entry: (entry.told_at, entry.id, entry.key)):
        first = by_key.get(entry.key) or by_id.get(entry.id)
        if first is None:
            by_key[entry.key] = entry
            by_id[entry.id] = entry
            once.append(entry)
        elif not entry.says_the_same_as(first):
            oddities.append(_odd(entry, "key", f"one that entry {first.id} has already", "a key of its own"))
    return once, oddities


def _in_force(once: list[LogEntry]) -> tuple[list[LogEntry], frozenset[str], list[Oddity]]:
    """Entries not voided, ids that are voided but unknown, and corrections that void nothing.

    Corrections are decided from the ones nobody voids inwards. A ring of corrections that void each other is
    never decided; none of them holds.
    """
    by_id = {entry.id: entry for entry in once}
    targets = {entry.id: entry.detail.voids for entry in once if isinstance(entry.detail, Correction)}
    undecided = dict.fromkeys(targets, 0)
    for target in targets.values():
        if target in undecided:
            undecided[target] += 1
    ready = [entry_id for entry_id, waiting_for in undecided.items() if waiting_for == 0]
    voided: set[str] = set()
    awaited: set[str] = set()
    oddities: list[Oddity] = []
    while ready:
        correction = ready.pop()
        undecided.pop(correction)
        target = targets[correction]
        if correction not in voided:
            voided.add(target)
            if target not in by_id:
                awaited.add(target)
                oddities.append(
                    _odd(by_id[correction], "voids", f"{target}, not in the log", "the id of an entry")
                )
        if target in undecided:
            undecided[target] -= 1
            if undecided[target] == 0:
                ready.append(target)
    for ring in undecided:
        oddities.append(_odd(by_id[ring], "voids", "corrections that void each other", "the id of another entry"))
    kept = [entry for entry in once if entry.id not in voided and entry.id not in undecided]
    return kept, frozenset(awaited), oddities


def _odd(entry: LogEntry, key: str, found: str, write: str) -> Oddity:
    return Oddity(entry.id, entry.string, entry.order, key, found, write)


def _untouched(string: TrapString) -> StringState:
    traps = tuple(TrapState(place) for place in range(1, string.traps + 1))
    return StringState(string.name, string.start, string.end, traps)


@dataclass(slots=True)
class _Trap:
    place: int
    where: Whereabouts
    since: datetime | None
    soak_start: datetime | None

    def put_in(self, at: datetime, *, fresh_bait: bool) -> None:
        self.where = Whereabouts.FISHING
        self.since = at
        if fresh_bait:
            self.soak_start = at

    def take(self, where: Whereabouts, at: datetime) -> None:
        self.where = where
        self.since = at


@dataclass(slots=True)
class _Deck:
    """A string while it is being worked on."""

    name: str
    start: Mark
    end: Mark
    traps: list[_Trap] = field(default_factory=list)

    @classmethod
    def of(cls, state: StringState) -> _Deck:
        traps = [_Trap(trap.place, trap.where, trap.since, trap.soak_start) for trap in state.traps]
        return cls(state.name, state.start, state.end, traps)

    def frozen(self) -> StringState:
        traps = tuple(TrapState(trap.place, trap.where, trap.since, trap.soak_start) for trap in self.traps)
        return StringState(self.name, self.start, self.end, traps)


@dataclass(frozen=True)
class _Step:
    """How one kind works: traps it can be about, those meant by "the whole string", and what it does to them."""

    possible: frozenset[Whereabouts]
    whole: frozenset[Whereabouts]
    act: Callable[[_Deck, list[_Trap], LogEntry], None]
    instead: str


def _set(deck: _Deck, traps: list[_Trap], entry: LogEntry) -> None:
    assert isinstance(entry.detail, TrapsSet)
    deck.start = entry.detail.start or deck.start
    deck.end = entry.detail.end or deck.end
    for trap in traps:
        trap.put_in(entry.happened_at, fresh_bait=True)


def _pull(_deck: _Deck, traps: list[_Trap], entry: LogEntry) -> None:
    assert isinstance(entry.detail, Pulled)
    at, detail = entry.happened_at, entry.detail
    if not detail.reset:
        for trap in traps:
            trap.take(Whereabouts.ABOARD, at)
        return
    for trap in traps:
        trap.put_in(at, fresh_bait=detail.rebaited)


def _move(deck: _Deck, _traps: list[_Trap], entry: LogEntry) -> None:
    assert isinstance(entry.detail, Moved)
    deck.start, deck.end = entry.detail.start, entry.detail.end


def _missing(_deck: _Deck, traps: list[_Trap], entry: LogEntry) -> None:
    for trap in traps:
        trap.take(Whereabouts.MISSING, entry.happened_at)


def _recovered(_deck: _Deck, traps: list[_Trap], entry: LogEntry) -> None:
    assert isinstance(entry.detail, Recovered)
    for trap in traps:
        if entry.detail.back == "fishing":
            trap.put_in(entry.happened_at, fresh_bait=entry.detail.rebaited)
        else:
            trap.take(Whereabouts.ABOARD, entry.happened_at)


def _ashore(_deck: _Deck, traps: list[_Trap], entry: LogEntry) -> None:
    for trap in traps:
        trap.take(Whereabouts.ASHORE, entry.happened_at)


_OUT = frozenset({Whereabouts.NEVER_SET, Whereabouts.ABOARD, Whereabouts.ASHORE})
_FISHING = frozenset({Whereabouts.FISHING})
_NOT_HOME = frozenset({Whereabouts.FISHING, Whereabouts.ABOARD})
_LOST = frozenset({Whereabouts.MISSING})

STEPS: dict[EntryKind, _Step] = {
    EntryKind.SET: _Step(_OUT, _OUT | _FISHING, _set, "a pull first, or only the traps that were set"),
    EntryKind.PULL: _Step(_FISHING, _FISHING, _pull, "the set first, or only the traps that were fishing"),
    EntryKind.MOVE: _Step(
        _FISHING, _FISHING, _move, "the marks with the set, since only what is in the water can be moved"
    ),
    EntryKind.MISSING: _Step(_NOT_HOME, _FISHING, _missing, "the traps that were fishing or aboard"),
    EntryKind.RECOVERED: _Step(_LOST, _LOST, _recovered, "the traps that were missing"),
    EntryKind.ASHORE: _Step(_NOT_HOME, _NOT_HOME, _ashore, "the traps that were fishing or aboard"),
}


def _step(decks: dict[str, _Deck], entry: LogEntry) -> list[Oddity]:
    """Work one entry into its string. Traps it can't be about are left alone and told."""
    deck = decks.get(entry.string or "")
    if deck is None:
        return [_odd(entry, "string", f"{entry.string!r}, not a string of this boat", "the name of a string")]
    step = STEPS[entry.kind]
    if not entry.traps:
        meant, oddities = _whole(deck, step, entry)
    else:
        meant = [deck.traps[place - 1] for place in entry.traps if 1 <= place <= len(deck.traps)]
        oddities = _out_of_range(deck, entry)
    able = [trap for trap in meant if trap.where in step.possible]
    if len(able) < len(meant):
        oddities += _unable(deck, step, entry, [trap for trap in meant if trap.where not in step.possible])
    if able:
        step.act(deck, able, entry)
    return oddities


def _whole(deck: _Deck, step: _Step, entry: LogEntry) -> tuple[list[_Trap], list[Oddity]]:
    count = entry.detail.count if isinstance(entry.detail, TrapsSet) else None
    if count is not None:
        free = [trap for trap in deck.traps if trap.where in step.possible]
        if count > len(free):
            return free, [
                _odd(entry, "count", f"{count}, but only {len(free)} could be set", f"{len(free)} or fewer")
            ]
        return free[:count], []
    meant = [trap for trap in deck.traps if trap.where in step.whole]
    if meant:
        return meant, []
    wanted = " or ".join(where for where in Whereabouts if where in step.whole)
    return [], [
        _odd(entry, "traps", f"the whole of {deck.name}, where no trap was {wanted} at that time", step.instead)
    ]


def _out_of_range(deck: _Deck, entry: LogEntry) -> list[Oddity]:
    outside = [place for place in entry.traps if not 1 <= place <= len(deck.traps)]
    if not outside:
        return []
    return [_odd(entry, "traps", f"{told_places(outside)} in {deck.name}", f"places from 1 to {len(deck.traps)}")]


def _unable(deck: _Deck, step: _Step, entry: LogEntry, traps: list[_Trap]) -> list[Oddity]:
    by_where: dict[Whereabouts, list[int]] = {}
    for trap in traps:
        by_where.setdefault(trap.where, []).append(trap.place)
    return [
        _odd(entry, "traps", f"{told_places(places)} in {deck.name}, {where} at that time", step.instead)
        for where, places in by_where.items()
    ]


def told_places(places: Iterable[int]) -> str:
    """Trap places as they are written: "1..4 7". A spreadsheet would make a date of 1-4."""
    runs: list[list[int]] = []
    for place in sorted(places):
        if runs and place == runs[-1][1] + 1:
            runs[-1][1] = place
        else:
            runs.append([place, place])
    return " ".join(str(first) if first == last else f"{first}..{last}" for first, last in runs)
