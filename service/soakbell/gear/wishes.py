"""Days and strings that the skipper pinned or barred, as a pure fold of the log.

They stand beside the traps, not among the books: the call obeys them, so no fault of a book may lose one.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from soakbell.gear.log import Barred, LogEntry, Pinned


@dataclass(frozen=True)
class Wish:
    """The skipper's own choice, of a ``string`` on a local day. As a pin None means any string, as a bar all."""

    string: str | None
    day: date


@dataclass(frozen=True)
class DayWishes:
    """What was chosen for one day. ``day_pinned``: some string, whichever; ``day_barred``: none."""

    pinned: frozenset[str] = frozenset()
    barred: frozenset[str] = frozenset()
    day_pinned: bool = False
    day_barred: bool = False


@dataclass(frozen=True)
class Wishes:
    """Each once, in order of day; within a day that of the whole day first, then by the string's name.

    Where a pin and a bar meet, both stand here, and the bar is obeyed.
    """

    pins: tuple[Wish, ...] = ()
    bars: tuple[Wish, ...] = ()

    def on(self, day: date) -> DayWishes:
        pins = [wish.string for wish in self.pins if wish.day == day]
        bars = [wish.string for wish in self.bars if wish.day == day]
        return DayWishes(
            pinned=frozenset(string for string in pins if string is not None),
            barred=frozenset(string for string in bars if string is not None),
            day_pinned=None in pins,
            day_barred=None in bars,
        )


class WishBook:
    """The wishes while the log is gone through. Taking one back is a correction of its entry."""

    def __init__(self, wishes: Wishes) -> None:
        self._pins, self._bars = set(wishes.pins), set(wishes.bars)

    def take(self, entry: LogEntry) -> None:
        match entry.detail:
            case Pinned(day, string):
                self._pins.add(Wish(string or None, day))
            case Barred(day, string):
                self._bars.add(Wish(string or None, day))

    def freeze(self) -> Wishes:
        return Wishes(_in_order(self._pins), _in_order(self._bars))


def _in_order(wishes: Iterable[Wish]) -> tuple[Wish, ...]:
    return tuple(sorted(wishes, key=lambda wish: (wish.day, wish.string or "")))
