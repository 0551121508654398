"""How each kind of entry changes the traps, entry by entry in the log's order.

The skipper's pins and bars are folded along with them, since the call rests on both.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from types import MappingProxyType

from soakbell.clock import CLOCK_SLACK
from soakbell.gear.log import (
    OF_CALL,
    OF_TRAPS,
    Barred,
    EntryKind,
    FoundDamaged,
    LogEntry,
    Moved,
    Pinned,
    Pulled,
    Recovered,
    Renumbered,
    Repaired,
    Replaced,
    Tagged,
    TrapsSet,
)
from soakbell.gear.strings import CountSince, Mark, TrapString
from soakbell.gear.trap_states import (
    GearState,
    Oddity,
    StringState,
    TrapItem,
    TrapState,
    Whereabouts,
    odd,
    point_of_line,
    told_places,
)
from soakbell.gear.wishes import WishBook, Wishes
from soakbell.gear.worked import Worked


class TrapBook:
    """The traps of a boat while the log is told to it, entry by entry in the log's order.

    ``state`` is what it goes on from; strings that it lacks were never set. Entries must count (see
    ``fold.opened``) and follow (see ``fold.follows``); the book doesn't look back. ``counts``, in order, are of
    strings whose whole was not always all of their traps.
    """

    def __init__(
        self,
        strings: Iterable[TrapString],
        state: GearState | None = None,
        counts: Mapping[str, Sequence[CountSince]] | None = None,
    ) -> None:
        self._counts = counts or {}
        self._strings = {string.name: _untouched(string) for string in strings}
        self._strings.update({} if state is None else state.strings)
        self._decks: dict[str, _Deck] = {}
        self._changed: set[str] = set()
        self._oddities: list[Oddity] = [] if state is None else list(state.oddities)
        self._newest_at = None if state is None else state.newest_at
        self._last = None if state is None else state.last
        self._awaited: frozenset[str] = frozenset() if state is None else state.awaited
        self._wishes = WishBook(Wishes() if state is None else state.wishes)
        self._fishing = sum(
            trap.where is Whereabouts.FISHING for string in self._strings.values() for trap in string.traps
        )
        self._bearers: dict[str, str] | None = None

    def take(self, entry: LogEntry) -> tuple[Worked, list[Oddity]]:
        """Work one entry in. Traps it can't be about are left alone and told. A correction only moves the time."""
        newest = _newest(entry)
        if self._newest_at is None or newest > self._newest_at:
            self._newest_at = newest
        kind = entry.kind
        if kind is not EntryKind.CORRECTION:
            self._last = entry.order
        before = len(self._oddities)
        worked = self._step(entry) if kind in OF_TRAPS else self._aside(entry)
        return worked, self._oddities[before:]

    def freeze(self) -> GearState:
        for name in self._changed:
            self._strings[name] = self._decks[name].frozen()
        self._changed.clear()
        return GearState(
            strings=MappingProxyType(dict(self._strings)),
            oddities=tuple(sorted(self._oddities, key=lambda oddity: oddity.order)),
            newest_at=self._newest_at,
            last=self._last,
            awaited=self._awaited,
            wishes=self._wishes.freeze(),
        )

    def odd(self, entry: LogEntry, key: str, found: str, write: str) -> None:
        self._oddities.append(odd(entry, key, found, write))

    def may_have(self, trap: _Trap, tag: str, entry: LogEntry) -> bool:
        """False, and told, when another trap in use carries that tag."""
        bearer = self._tags().get(tag.casefold(), trap.origin)
        if bearer != trap.origin:
            self.odd(entry, "tag", f"{tag}, the tag of the trap known as {bearer}", "the tag on this trap")
        return bearer == trap.origin

    def give_tag(self, trap: _Trap, tag: str) -> None:
        self.free_tag(trap)
        trap.tag = tag
        self._tags()[tag.casefold()] = trap.origin

    def free_tag(self, trap: _Trap) -> None:
        """The trap's tag may go on another trap."""
        bearers = self._tags()
        if bearers.get(trap.tag.casefold()) == trap.origin:
            del bearers[trap.tag.casefold()]

    def _tags(self) -> dict[str, str]:
        """Origins of the traps in use, missing ones among them, by their tags."""
        if self._bearers is None:
            states = {**self._strings, **{name: deck.frozen() for name, deck in self._decks.items()}}
            self._bearers = {
                trap.tag.casefold(): trap.origin
                for string in states.values()
                for trap in (*string.traps, *string.gone)
                if trap.tag and trap.where is not Whereabouts.RETIRED
            }
        return self._bearers

    def _aside(self, entry: LogEntry) -> Worked:
        """An entry that is of no traps."""
        match entry.detail:
            case Pinned(string=string) | Barred(string=string) if string and string not in self._strings:
                self.odd(entry, "string", f"{string!r}, not a string of this boat", "the name of a string")
            case Pinned() | Barred():
                self._wishes.take(entry)
        return Worked(fishing=self._fishing)

    def _step(self, entry: LogEntry) -> Worked:
        deck = self._deck(entry.string or "")
        if deck is None:
            self.odd(entry, "string", f"{entry.string!r}, not a string of this boat", "the name of a string")
            return Worked(fishing=self._fishing)
        step = STEPS[entry.kind]
        meant = self._meant(deck, step, entry)
        able = [trap for trap in meant if trap.where in step.possible]
        if len(able) < len(meant):
            self._unable(deck, step, entry, meant)
        if not able:
            return Worked(fishing=self._fishing)
        places = tuple([trap.place for trap in able])
        soak_h = _soaks_h(able, entry.happened_at)
        fished = _count_fishing(able)
        baited = step.act(self, deck, able, entry)
        self._fishing += _count_fishing(able) - fished
        self._changed.add(deck.name)
        return Worked(places, soak_h, baited, self._fishing)

    def _deck(self, name: str) -> _Deck | None:
        deck = self._decks.get(name)
        if deck is None and name in self._strings:
            deck = self._decks[name] = _Deck.of(self._strings[name])
        return deck

    def _meant(self, deck: _Deck, step: _Step, entry: LogEntry) -> list[_Trap]:
        match entry.detail:
            case Renumbered():
                return self._renumbered(deck, entry, entry.detail)
            case Tagged():
                return self._tagged(deck, entry, entry.detail)
            case Repaired() if not entry.traps:
                whole = self._all(deck, entry)
                return [trap for trap in whole if trap.where in step.whole and trap.mended_by(entry.detail)]
            case TrapsSet(count=int(count)) if not entry.traps:
                return self._counted(deck, entry, count)
        return self._named(deck, entry) if entry.traps else self._whole(deck, step, entry)

    def _named(self, deck: _Deck, entry: LogEntry) -> list[_Trap]:
        known = len(deck.traps)
        if entry.traps[0] >= 1 and entry.traps[-1] <= known:
            return [deck.traps[place - 1] for place in entry.traps]
        outside = [place for place in entry.traps if not 1 <= place <= known]
        self.odd(entry, "traps", f"{told_places(outside)} in {deck.name}", f"places from 1 to {known}")
        return [deck.traps[place - 1] for place in entry.traps if 1 <= place <= known]

    def _counted(self, deck: _Deck, entry: LogEntry, count: int) -> list[_Trap]:
        ready = [trap for trap in self._all(deck, entry) if trap.where in _OUT]
        if count > len(ready):
            found = f"{count}, but only {len(ready)} could be set"
            self.odd(entry, "count", found, f"{len(ready)} or fewer")
        return ready[:count]

    def _all(self, deck: _Deck, entry: LogEntry) -> list[_Trap]:
        """The whole string. Where it changed between happening and telling, traps are set by the larger count and
        come home by the smaller."""
        counts = self._counts.get(deck.name)
        if not counts:
            return deck.traps
        moments = (entry.happened_at, entry.told_at)
        found = [next((c.traps for c in reversed(counts) if c.since <= at), len(deck.traps)) for at in moments]
        return deck.traps[: max(found) if entry.kind is EntryKind.SET else min(found)]

    def _tagged(self, deck: _Deck, entry: LogEntry, detail: Tagged) -> list[_Trap]:
        if len(entry.traps) != 1:
            found = f"{told_places(entry.traps) or 'the whole'} of {deck.name}"
            self.odd(entry, "traps", found, "the place of the one trap with this tag")
            return []
        return [trap for trap in self._named(deck, entry) if self.may_have(trap, detail.tag, entry)]

    def _renumbered(self, deck: _Deck, entry: LogEntry, detail: Renumbered) -> list[_Trap]:
        before = [place for place, _ in detail.places]
        after = [place for _, place in detail.places]
        outside = {place for place in (*before, *after) if not 1 <= place <= len(deck.traps)}
        if outside:
            found = f"{told_places(outside)} in {deck.name}"
            self.odd(entry, "places", found, f"places from 1 to {len(deck.traps)}")
        elif len(set(before)) < len(before) or sorted(before) != sorted(after):
            found = f"{told_places(before)} that become {told_places(after)}"
            self.odd(entry, "places", found, "each place once, the same before and after")
        else:
            return [deck.traps[place - 1] for place in before]
        return []

    def _whole(self, deck: _Deck, step: _Step, entry: LogEntry) -> list[_Trap]:
        traps = self._all(deck, entry)
        meant = [trap for trap in traps if trap.where in step.whole]
        if not meant:
            if len(step.whole) <= len(_ALL) // 2:
                found = f"no trap was {_told_where(step.whole)}"
            else:
                found = f"every trap was {_told_where({trap.where for trap in traps})}"
            self.odd(entry, "traps", f"the whole of {deck.name}, where {found} at that time", step.instead)
        return meant

    def _unable(self, deck: _Deck, step: _Step, entry: LogEntry, meant: list[_Trap]) -> None:
        by_where: dict[Whereabouts, list[int]] = {}
        for trap in meant:
            if trap.where not in step.possible:
                by_where.setdefault(trap.where, []).append(trap.place)
        for where, places in by_where.items():
            found = f"{told_places(places)} in {deck.name}, {_told_where({where})} at that time"
            self.odd(entry, "traps", found, step.instead)


_DAWN = datetime.min.replace(tzinfo=UTC) + CLOCK_SLACK


def _newest(entry: LogEntry) -> datetime:
    """What a clock must show at least. No call rests on bait and parts, so these bar none by some seconds."""
    at = max(entry.happened_at, entry.told_at, _DAWN)
    return at if entry.kind in OF_CALL else at - CLOCK_SLACK


def _untouched(string: TrapString) -> StringState:
    traps = tuple(TrapState(place, origin=f"{string.name} {place}") for place in range(1, string.traps + 1))
    return StringState(string.name, string.start, string.end, traps)


@dataclass(slots=True)
class _Trap:
    place: int
    where: Whereabouts
    since: datetime | None
    soak_start: datetime | None
    origin: str
    tag: str
    items: tuple[TrapItem, ...]
    seen_at: datetime | None
    lost_near: Mark | None

    @classmethod
    def of(cls, state: TrapState) -> _Trap:
        return cls(
            state.place,
            state.where,
            state.since,
            state.soak_start,
            state.origin,
            state.tag,
            state.items,
            state.seen_at,
            state.lost_near,
        )

    def frozen(self) -> TrapState:
        return TrapState(
            self.place,
            self.where,
            self.since,
            self.soak_start,
            self.origin,
            self.tag,
            self.items,
            self.seen_at,
            self.lost_near,
        )

    def put(self, where: Whereabouts, at: datetime) -> None:
        """Somebody had the trap in his hands and put it there."""
        self.where = where
        self.since = self.seen_at = at
        self.lost_near = None

    def give_up(self, where: Whereabouts, at: datetime) -> None:
        """Nobody had it in his hands."""
        self.where = where
        self.since = at

    def has(self, item: str) -> bool:
        return any(known.item.casefold() == item.casefold() for known in self.items)

    def mended_by(self, detail: Repaired) -> bool:
        return self.has(detail.item) if detail.item else bool(self.items)


def _soaks_h(traps: Iterable[_Trap], at: datetime) -> tuple[float | None, ...]:
    """Reckoned once for all that went in together: a long log is mostly pulls of whole strings."""
    soaks_h: list[float | None] = []
    start, soak_h = None, None
    for trap in traps:
        if trap.where is not Whereabouts.FISHING:
            soaks_h.append(None)
            continue
        if trap.soak_start is not start:
            start = trap.soak_start
            soak_h = None if start is None else (at - start) / _HOUR
        soaks_h.append(soak_h)
    return tuple(soaks_h)


def _put_in(traps: Iterable[_Trap], at: datetime, *, fresh_bait: bool) -> int:
    """How many went in with fresh bait."""
    baited = 0
    for trap in traps:
        trap.where = Whereabouts.FISHING
        trap.since = trap.seen_at = at
        trap.lost_near = None
        if fresh_bait:
            trap.soak_start = at
            baited += 1
    return baited


def _count_fishing(traps: Iterable[_Trap]) -> int:
    return [trap.where for trap in traps].count(Whereabouts.FISHING)


@dataclass(slots=True)
class _Deck:
    """A string while it is being worked on."""

    name: str
    start: Mark
    end: Mark
    traps: list[_Trap]
    gone: list[TrapState]
    born: dict[int, int] | None = None

    @classmethod
    def of(cls, state: StringState) -> _Deck:
        return cls(state.name, state.start, state.end, [_Trap.of(trap) for trap in state.traps], list(state.gone))

    def frozen(self) -> StringState:
        traps = tuple(trap.frozen() for trap in self.traps)
        return StringState(self.name, self.start, self.end, traps, tuple(self.gone))

    def next_origin(self, place: int) -> str:
        """Identity of one more trap first known at ``place``."""
        if self.born is None:
            origins = [trap.origin for trap in self.traps] + [trap.origin for trap in self.gone]
            numbers = (origin.removeprefix(f"{self.name} ").partition("/")[0] for origin in origins)
            self.born = dict(Counter(int(number) for number in numbers))
        self.born[place] += 1
        return f"{self.name} {place}/{self.born[place]}"


@dataclass(frozen=True)
class _Step:
    """How one kind works: traps it can be about, those meant by "the whole string", and what it does to them.

    ``act`` returns how many traps went in with fresh bait.
    """

    possible: frozenset[Whereabouts]
    whole: frozenset[Whereabouts]
    act: Callable[[TrapBook, _Deck, list[_Trap], LogEntry], int]
    instead: str


def _set(_book: TrapBook, deck: _Deck, traps: list[_Trap], entry: LogEntry) -> int:
    assert isinstance(entry.detail, TrapsSet)
    deck.start = entry.detail.start or deck.start
    deck.end = entry.detail.end or deck.end
    return _put_in(traps, entry.happened_at, fresh_bait=True)


def _pull(_book: TrapBook, _deck: _Deck, traps: list[_Trap], entry: LogEntry) -> int:
    assert isinstance(entry.detail, Pulled)
    at, detail = entry.happened_at, entry.detail
    if not detail.reset:
        for trap in traps:
            trap.put(Whereabouts.ABOARD, at)
        return 0
    return _put_in(traps, at, fresh_bait=detail.rebaited)


def _move(_book: TrapBook, deck: _Deck, traps: list[_Trap], entry: LogEntry) -> int:
    assert isinstance(entry.detail, Moved)
    deck.start, deck.end = entry.detail.start, entry.detail.end
    for trap in traps:
        trap.seen_at = entry.happened_at
    return 0


def _missing(_book: TrapBook, deck: _Deck, traps: list[_Trap], entry: LogEntry) -> int:
    for trap in traps:
        trap.give_up(Whereabouts.MISSING, entry.happened_at)
        trap.lost_near = point_of_line(deck.start, deck.end, trap.place, len(deck.traps))
    return 0


def _recovered(_book: TrapBook, _deck: _Deck, traps: list[_Trap], entry: LogEntry) -> int:
    assert isinstance(entry.detail, Recovered)
    if entry.detail.back != "fishing":
        for trap in traps:
            trap.put(Whereabouts.ABOARD, entry.happened_at)
        return 0
    return _put_in(traps, entry.happened_at, fresh_bait=entry.detail.rebaited)


def _ashore(_book: TrapBook, _deck: _Deck, traps: list[_Trap], entry: LogEntry) -> int:
    for trap in traps:
        trap.put(Whereabouts.ASHORE, entry.happened_at)
    return 0


def _damage(_book: TrapBook, _deck: _Deck, traps: list[_Trap], entry: LogEntry) -> int:
    assert isinstance(entry.detail, FoundDamaged)
    item = entry.detail.item
    for trap in traps:
        trap.seen_at = entry.happened_at
        if not trap.has(item):
            trap.items = (*trap.items, TrapItem(item, entry.happened_at))
    return 0


def _repaired(_book: TrapBook, _deck: _Deck, traps: list[_Trap], entry: LogEntry) -> int:
    assert isinstance(entry.detail, Repaired)
    item = entry.detail.item
    for trap in traps:
        trap.seen_at = entry.happened_at
        trap.items = tuple(known for known in trap.items if item and known.item.casefold() != item.casefold())
        if trap.where is Whereabouts.BENCH and not trap.items:
            trap.put(Whereabouts.ASHORE, entry.happened_at)
    return 0


def _bench(_book: TrapBook, _deck: _Deck, traps: list[_Trap], entry: LogEntry) -> int:
    for trap in traps:
        trap.put(Whereabouts.BENCH, entry.happened_at)
    return 0


def _retired(book: TrapBook, _deck: _Deck, traps: list[_Trap], entry: LogEntry) -> int:
    for trap in traps:
        if trap.where is not Whereabouts.MISSING:
            trap.seen_at = entry.happened_at
        trap.give_up(Whereabouts.RETIRED, entry.happened_at)
        trap.lost_near = None
        book.free_tag(trap)
    return 0


def _tagged(book: TrapBook, _deck: _Deck, traps: list[_Trap], entry: LogEntry) -> int:
    assert isinstance(entry.detail, Tagged)
    for trap in traps:
        book.give_tag(trap, entry.detail.tag)
        if trap.where is not Whereabouts.MISSING:
            trap.seen_at = entry.happened_at
    return 0


def _replaced(book: TrapBook, deck: _Deck, traps: list[_Trap], entry: LogEntry) -> int:
    assert isinstance(entry.detail, Replaced)
    at, tag = entry.happened_at, entry.detail.tag
    if tag and len(entry.traps) != 1:
        found = f"{tag} for {told_places(entry.traps) or 'the whole'} of {deck.name}"
        book.odd(entry, "tag", found, "no tag, or the place of the one trap with this tag")
        tag = ""
    for former in traps:
        if former.where not in _LOST | _RETIRED:
            former.put(Whereabouts.RETIRED, at)
            book.free_tag(former)
        origin = deck.next_origin(former.place)
        deck.gone.append(former.frozen())
        new = _Trap(former.place, Whereabouts.ASHORE, at, None, origin, "", (), at, None)
        deck.traps[former.place - 1] = new
        if tag and book.may_have(new, tag, entry):
            book.give_tag(new, tag)
    return 0


def _renumbered(_book: TrapBook, deck: _Deck, traps: list[_Trap], entry: LogEntry) -> int:
    assert isinstance(entry.detail, Renumbered)
    for trap, (_, to) in zip(traps, entry.detail.places, strict=True):
        trap.place = to
        deck.traps[to - 1] = trap
    return 0


_HOUR = timedelta(hours=1)
_OUT = frozenset({Whereabouts.NEVER_SET, Whereabouts.ABOARD, Whereabouts.ASHORE})
_FISHING = frozenset({Whereabouts.FISHING})
_NOT_HOME = frozenset({Whereabouts.FISHING, Whereabouts.ABOARD})
_BENCH = frozenset({Whereabouts.BENCH})
_LOST = frozenset({Whereabouts.MISSING})
_RETIRED = frozenset({Whereabouts.RETIRED})
_ALL = frozenset(Whereabouts)
_IN_HAND = _ALL - _LOST - _RETIRED


def _told_where(where: Collection[Whereabouts]) -> str:
    told = {Whereabouts.BENCH: "on the bench"}
    return " or ".join(told.get(one, one.value) for one in Whereabouts if one in where)


STEPS: dict[EntryKind, _Step] = {
    # Of the whole string, traps on the bench stay there: one that may not be set is not set unless it is named.
    EntryKind.SET: _Step(
        _OUT | _BENCH, _OUT | _FISHING, _set, "a pull first, or only the traps that were set, by their places"
    ),
    EntryKind.PULL: _Step(_FISHING, _FISHING, _pull, "the set first, or only the traps that were fishing"),
    EntryKind.MOVE: _Step(
        _FISHING, _FISHING, _move, "the marks with the set, since only what is in the water can be moved"
    ),
    EntryKind.MISSING: _Step(_NOT_HOME, _FISHING, _missing, "the traps that were fishing or aboard"),
    EntryKind.RECOVERED: _Step(_LOST, _LOST, _recovered, "the traps that were missing"),
    EntryKind.ASHORE: _Step(_NOT_HOME, _NOT_HOME, _ashore, "the traps that were fishing or aboard"),
    EntryKind.DAMAGE: _Step(_IN_HAND, _IN_HAND, _damage, "the traps that were there to be looked at"),
    EntryKind.REPAIRED: _Step(_IN_HAND, _IN_HAND, _repaired, "the traps that were there to be mended"),
    EntryKind.BENCH: _Step(_OUT, _OUT, _bench, "a pull first, or only the traps that were out of the water"),
    # A trap in the water is never written off by a word: it must be hauled or be missing first.
    # Nor is a missing one by the whole string: it may turn up.
    EntryKind.RETIRED: _Step(
        _ALL - _FISHING - _RETIRED, _IN_HAND - _FISHING, _retired, "a pull first, or missing if it is lost"
    ),
    EntryKind.TAGGED: _Step(_ALL - _RETIRED, _ALL - _RETIRED, _tagged, "the one trap with this tag"),
    EntryKind.REPLACED: _Step(
        _ALL - _FISHING, _LOST | _RETIRED, _replaced, "a pull first, or missing if it is lost"
    ),
    EntryKind.RENUMBERED: _Step(_ALL, _ALL, _renumbered, "the traps of a string"),
}
