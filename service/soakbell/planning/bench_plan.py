"""What to mend, in what order, in the minutes there are: at the bench on a day ashore, and at the next pull."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations, groupby

from soakbell.gear.conditions import AT_HAND, items_by_standing
from soakbell.gear.fold import GearState, StringState, TrapState, Whereabouts
from soakbell.gear.log import Shares
from soakbell.gear.outfit import ConditionKind, Outfit, Standing
from soakbell.gear.parts import PartStock

EXACT_UP_TO = 12  # traps; so many choices (4096) are looked through in a moment
_ROUNDING = 1e-9


@dataclass(frozen=True)
class BenchJob:
    """One step at the bench: all that is wrong with each of some traps of one string, which have the same wrong.

    ``minutes`` and ``parts`` are for all of them. ``back``: they may not be set as they are, or lie on the bench,
    and can go back when this is done. ``lacking`` are the pieces that the jobs before it leave too few of.
    """

    string: str
    places: tuple[int, ...]
    items: tuple[str, ...]
    minutes: float
    parts: Shares
    back: bool
    lacking: Shares = ()


@dataclass(frozen=True)
class TrapsOf:
    """Traps of one string, by place."""

    string: str
    places: tuple[int, ...]


@dataclass(frozen=True)
class BenchPlan:
    """The bench on a day without a pull.

    ``jobs`` fit into ``has_min`` minutes, in the order to do them, and take ``takes_min``. ``short`` can't be done
    for lack of parts, ``left`` for lack of time. ``back`` are the traps that can go back once ``jobs`` are done.
    """

    has_min: float
    takes_min: float
    jobs: tuple[BenchJob, ...]
    short: tuple[BenchJob, ...]
    left: tuple[BenchJob, ...]
    back: tuple[TrapsOf, ...]


@dataclass(frozen=True)
class MendAtPull:
    """Traps of one string to mend when they come up, for one item. ``minutes`` and ``parts`` are for all."""

    string: str
    places: tuple[int, ...]
    item: str
    minutes: float
    parts: Shares


def bench_plan(gear: GearState, outfit: Outfit, stock: PartStock) -> BenchPlan:
    """The bench list for ``outfit.bench_minutes``.

    First the traps that can't go back as they are: as many of them as time and parts allow, the quickest first.
    That is the most where parts don't bind, since all traps are worth the same. Where they do, all choices among
    up to ``EXACT_UP_TO`` traps are tried; with more, the quickest for which there are parts are taken. The time
    left goes to the traps that might go back as they are. Traps of the first sort that wait for time keep their
    parts.

    Traps at sea are left out, and so are those with an item that the settings don't know: what that takes isn't
    known either (``barred_traps`` tells them).
    """
    mends = sorted(_mends(gear, outfit), key=lambda mend: mend.order)
    parts = _Parts({line.part: line.on_hand for line in stock.lines})
    held_back = [mend for mend in mends if mend.back]
    jobs = _most(held_back, outfit.bench_minutes, parts)
    short: list[_Mend] = []
    left: list[_Mend] = []
    for mend in jobs:
        parts.take(mend)
    chosen = set(jobs)
    for mend in held_back:
        if mend not in chosen:
            (left if parts.take(mend) else short).append(mend)
    takes_min = sum(mend.minutes for mend in jobs)
    for mend in mends[len(held_back) :]:
        if not parts.take(mend):
            short.append(mend)
        elif takes_min + mend.minutes > outfit.bench_minutes + _ROUNDING:
            left.append(mend)
        else:
            takes_min += mend.minutes
            jobs.append(mend)
    back = {
        name: sorted(mend.place for mend in jobs if mend.back and mend.string == name) for name in gear.strings
    }
    return BenchPlan(
        has_min=outfit.bench_minutes,
        takes_min=takes_min,
        jobs=_as_jobs(jobs, lambda _: ()),
        short=_as_jobs(short, parts.take_what_there_is),
        left=_as_jobs(left, lambda _: ()),
        back=tuple(TrapsOf(name, tuple(places)) for name, places in back.items() if places),
    )


def mend_at_next_pull(string: StringState, outfit: Outfit) -> tuple[MendAtPull, ...]:
    """What to mend aboard when the traps of a string come up, gravest first; parts and minutes are to be brought.

    Those are the items for the next pull, and those with which the trap may not go back. What has to come home for
    the bench isn't mended aboard.
    """
    found = []
    for kind in sorted(outfit.conditions, key=lambda kind: list(Standing).index(kind.standing)):
        places = tuple(
            trap.place
            for trap in string.traps
            if trap.where is Whereabouts.FISHING and any(told.item == kind.name for told in trap.items)
        )
        if places and kind.standing is not Standing.BENCH:
            parts = tuple((part, pieces * len(places)) for part, pieces in kind.parts)
            found.append(MendAtPull(string.name, places, kind.name, kind.minutes * len(places), parts))
    return tuple(found)


def summed(shares: Iterable[Shares]) -> dict[str, float]:
    """Pieces by part, of all together."""
    total: dict[str, float] = {}
    for each in shares:
        for part, pieces in each:
            total[part] = total.get(part, 0.0) + pieces
    return total


@dataclass(frozen=True)
class _Mend:
    """All that is wrong with one trap."""

    string: str
    place: int
    items: tuple[str, ...]
    minutes: float
    parts: Shares
    back: bool
    rank: int

    @property
    def order(self) -> tuple[bool, float, int, tuple[str, ...]]:
        """Traps of one string that have the same wrong stay together, by place."""
        return (not self.back, self.minutes, self.rank, self.items)


class _Parts:
    """Parts on hand while the list is made."""

    def __init__(self, on_hand: dict[str, float]) -> None:
        self._on_hand = on_hand

    def suffice(self, mends: Iterable[_Mend]) -> bool:
        needed = summed(mend.parts for mend in mends)
        return all(pieces <= self._on_hand.get(part, 0.0) + _ROUNDING for part, pieces in needed.items())

    def take(self, mend: _Mend) -> bool:
        """Take the parts of a mend, or none of them where one is lacking."""
        enough = self.suffice([mend])
        if enough:
            self.take_what_there_is(mend)
        return enough

    def take_what_there_is(self, mend: _Mend) -> Shares:
        """Take of each part what there is, and say what is lacking."""
        lacking = []
        for part, pieces in mend.parts:
            on_hand = self._on_hand.get(part, 0.0)
            self._on_hand[part] = max(0.0, on_hand - pieces)
            if pieces > on_hand + _ROUNDING:
                lacking.append((part, pieces - on_hand))
        return tuple(lacking)

    def copy(self) -> _Parts:
        return _Parts(dict(self._on_hand))


def _mends(gear: GearState, outfit: Outfit) -> Iterable[_Mend]:
    for string in gear.strings.values():
        for trap in string.traps:
            kinds = [outfit.condition(told.item) for told in items_by_standing(trap, outfit)]
            known = [kind for kind in kinds if kind is not None]
            if trap.where in AT_HAND and known and len(known) == len(kinds):
                yield _mend(string.name, trap, known)


def _mend(string: str, trap: TrapState, kinds: Sequence[ConditionKind]) -> _Mend:
    gravest = kinds[0].standing
    return _Mend(
        string=string,
        place=trap.place,
        items=tuple(kind.name for kind in kinds),
        minutes=sum(kind.minutes for kind in kinds),
        parts=tuple(sorted(summed(kind.parts for kind in kinds).items())),
        back=gravest is not Standing.NEXT_PULL or trap.where is Whereabouts.BENCH,
        rank=list(Standing).index(gravest),
    )


def _most(mends: list[_Mend], has_min: float, parts: _Parts) -> list[_Mend]:
    """The most of ``mends``, in their order (quickest first), that fit into time and parts; see ``bench_plan``."""
    in_time = _quickest(mends, has_min, None)
    chosen = _quickest(mends, has_min, parts.copy())
    if len(chosen) == len(in_time) or len(mends) > EXACT_UP_TO:
        return chosen
    for count in range(len(in_time), len(chosen), -1):
        fitting = [
            some
            for some in combinations(mends, count)
            if sum(mend.minutes for mend in some) <= has_min + _ROUNDING and parts.suffice(some)
        ]
        if fitting:
            return list(min(fitting, key=lambda some: sum(mend.minutes for mend in some)))
    return chosen


def _quickest(mends: Iterable[_Mend], has_min: float, parts: _Parts | None) -> list[_Mend]:
    chosen: list[_Mend] = []
    takes_min = 0.0
    for mend in mends:
        if takes_min + mend.minutes <= has_min + _ROUNDING and (parts is None or parts.take(mend)):
            chosen.append(mend)
            takes_min += mend.minutes
    return chosen


def _as_jobs(mends: Iterable[_Mend], lacking_of: Callable[[_Mend], Shares]) -> tuple[BenchJob, ...]:
    """Mends of one kind on one string that follow each other, as one job."""
    jobs = []
    for (string, items, back), same in groupby(mends, key=lambda mend: (mend.string, mend.items, mend.back)):
        some = list(same)
        jobs.append(
            BenchJob(
                string=string,
                places=tuple(mend.place for mend in some),
                items=items,
                minutes=sum(mend.minutes for mend in some),
                parts=tuple(sorted(summed(mend.parts for mend in some).items())),
                back=back,
                lacking=tuple(sorted(summed(map(lacking_of, some)).items())),
            )
        )
    return tuple(jobs)
