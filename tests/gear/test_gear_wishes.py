"""Days and strings that the skipper pinned or barred."""

from __future__ import annotations

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from logbook import FIRST, STRINGS, correction_of, details, hours, logs, told, wishes
from soakbell.gear import books as books_module
from soakbell.gear.books import Ledger
from soakbell.gear.catch import CatchBook
from soakbell.gear.fold import TrapBook, fold, opened
from soakbell.gear.log import Barred, LogEntry, Pinned, Pulled, TrapsSet
from soakbell.gear.wishes import DayWishes, Wish, Wishes

SATURDAY, SUNDAY = date(2026, 12, 12), date(2026, 12, 13)


def test_pins_and_bars_are_kept_by_day_each_once() -> None:
    log = [
        told(Pinned(SUNDAY), 1),
        told(Pinned(SATURDAY, "Nine Foot"), 2),
        told(Pinned(SATURDAY, "Ledge"), 3),
        told(Pinned(SATURDAY, "Ledge"), 4),
        told(Barred(SUNDAY, "Ledge"), 5),
    ]
    assert fold(log, STRINGS).wishes == Wishes(
        pins=(Wish("Ledge", SATURDAY), Wish("Nine Foot", SATURDAY), Wish(None, SUNDAY)),
        bars=(Wish("Ledge", SUNDAY),),
    )


def test_a_day_has_its_own_wishes_and_no_others() -> None:
    log = [
        told(Pinned(SATURDAY, "Ledge"), 1),
        told(Pinned(SATURDAY), 2),
        told(Barred(SATURDAY, "Nine Foot"), 3),
        told(Barred(SUNDAY), 4),
    ]
    kept = fold(log, STRINGS).wishes
    assert kept.on(SATURDAY) == DayWishes(frozenset({"Ledge"}), frozenset({"Nine Foot"}), day_pinned=True)
    assert kept.on(SUNDAY) == DayWishes(day_barred=True)
    assert kept.on(date(2026, 12, 14)) == DayWishes()


def test_a_wish_is_taken_back_by_a_correction_of_its_entry_only() -> None:
    first, again = told(Barred(SUNDAY), 1), told(Barred(SUNDAY), 2)
    assert fold([first, again, correction_of(again, 3)], STRINGS).wishes.on(SUNDAY).day_barred
    both = [first, again, correction_of(again, 3), correction_of(first, 4)]
    assert fold(both, STRINGS).wishes == Wishes()
    undone = correction_of(both[2], 5)
    assert fold([*both, undone], STRINGS).wishes.on(SUNDAY).day_barred


def test_a_wish_about_a_string_that_the_boat_has_no_more_is_odd_and_changes_nothing() -> None:
    """Nothing fishes under a name that the settings lack, so none of it is pulled either."""
    state = fold([told(Barred(SUNDAY, "The Hump"), 1)], STRINGS)
    assert state.wishes == Wishes()
    assert [(odd.key, odd.found) for odd in state.oddities] == [
        ("string", "'The Hump', not a string of this boat")
    ]


def test_wishes_move_no_trap_and_no_clock() -> None:
    put_in = told(TrapsSet())
    state = fold([put_in, told(Pinned(SUNDAY, "Ledge"), 1)], STRINGS)
    assert state.strings == fold([put_in], STRINGS).strings
    assert state.newest_at == FIRST + hours(1)


@given(logs(max_size=12, of=wishes, corrections=3), st.randoms(use_true_random=False))
def test_the_order_in_which_wishes_arrive_does_not_matter(log: list[LogEntry], dice: object) -> None:
    shuffled = list(log)
    dice.shuffle(shuffled)  # type: ignore[attr-defined]
    assert fold(shuffled, STRINGS) == fold(log, STRINGS)


@given(logs(max_size=16, of=details | wishes), st.integers(0, 16))
def test_a_fold_that_was_resumed_has_the_same_wishes(log: list[LogEntry], at: int) -> None:
    _, in_time = opened(log, STRINGS)
    book = TrapBook(STRINGS)
    for number, entry in enumerate(in_time):
        if number == at:
            book = TrapBook(STRINGS, book.freeze())
        book.take(entry)
    assert book.freeze().wishes == fold(log, STRINGS).wishes


def test_no_fault_of_a_book_loses_a_bar(monkeypatch: pytest.MonkeyPatch) -> None:
    """A bar that was lost would loosen the call."""

    def torn(*_: object) -> None:
        raise KeyError("a torn page")

    monkeypatch.setattr(CatchBook, "take", torn)
    assert books_module.CatchBook is CatchBook
    log = [told(TrapsSet()), told(Barred(SUNDAY), 1), told(Pulled(), 100), told(Barred(SATURDAY, "Ledge"), 101)]
    gear, books = Ledger.folding(log, STRINGS).freeze()
    assert books is None
    assert gear.wishes.bars == (Wish("Ledge", SATURDAY), Wish(None, SUNDAY))
