"""The books beside the traps: one fold of the log, which no fault in a book can take from the call."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from logbook import FIRST, STRINGS, correction_of, details, hours, told
from soakbell.gear import books as books_module
from soakbell.gear.books import Books, Ledger, fold_books
from soakbell.gear.catch import CatchBook, total_of
from soakbell.gear.fold import Oddity, fold, opened
from soakbell.gear.log import (
    OF_TRAPS,
    BaitBought,
    BellSettled,
    BroughtAshore,
    Correction,
    EngineHours,
    EntryKind,
    LogEntry,
    PartBought,
    Pulled,
    Repaired,
    TrapsSet,
)
from soakbell.gear.worked import Worked

A_MONTH_MIN = 60 * 24 * 30


@st.composite
def whole_logs(draw: st.DrawFn) -> list[LogEntry]:
    """Logs of all kinds in the order of telling, sensible or not, with entries told twice and corrections."""
    entries: list[LogEntry] = []
    for number in range(draw(st.integers(0, 25))):
        happened_at = FIRST + timedelta(minutes=draw(st.integers(0, A_MONTH_MIN)))
        known = st.sampled_from([*(entry.id for entry in entries), "9-99"])
        detail = draw(details | st.builds(Correction, known, st.just("told wrongly")))
        of_traps = detail.kind in OF_TRAPS
        entries.append(
            LogEntry(
                id=f"{draw(st.integers(0, 9))}-{number}",
                key=f"key {number}",
                happened_at=happened_at,
                told_at=happened_at + timedelta(minutes=draw(st.integers(0, 600))),
                told_by=draw(st.sampled_from(["cli", "order letter"])),
                detail=detail,
                string=draw(st.sampled_from(["Nine Foot", "Ledge", "Lost String"])) if of_traps else None,
                traps=tuple(draw(st.sets(st.integers(1, 5), max_size=2))) if of_traps else (),
            )
        )
        if entries and draw(st.integers(0, 5)) == 0:
            entries.append(draw(st.sampled_from(entries)))
    return entries


@given(st.data())
def test_the_books_are_the_same_in_whatever_order_the_log_arrives(data: st.DataObject) -> None:
    log = data.draw(whole_logs())
    assert fold_books(data.draw(st.permutations(log)), STRINGS) == fold_books(log, STRINGS)


@given(whole_logs())
def test_no_log_makes_a_book_fail(log: list[LogEntry]) -> None:
    ledger = Ledger.folding(log, STRINGS)
    gear, books = ledger.freeze()
    assert ledger.fault is None
    assert books is not None
    assert {odd.entry_id for odd in (*gear.oddities, *books.oddities)} <= {entry.id for entry in log}
    assert list(books.oddities) == sorted(books.oddities, key=lambda odd: odd.order)


@given(whole_logs())
def test_the_traps_of_the_ledger_are_those_of_the_log(log: list[LogEntry]) -> None:
    assert fold_books(log, STRINGS)[0] == fold(log, STRINGS)


@given(whole_logs(), st.integers(0, 60))
def test_a_ledger_that_goes_on_from_any_cut_is_the_whole_ledger(log: list[LogEntry], cut: int) -> None:
    traps, in_time = opened(log, STRINGS)
    first = Ledger.of(traps.freeze(), Books())
    for entry in in_time[:cut]:
        first.take(entry)
    then = Ledger.of(*first.freeze())
    for entry in in_time[cut:]:
        then.take(entry)
    assert then.freeze() == fold_books(log, STRINGS)


@given(whole_logs())
def test_an_entry_that_was_corrected_leaves_no_trace_in_a_book(log: list[LogEntry]) -> None:
    """As if it and its corrections had never been told, but for what the traps' state says of corrections."""
    told_at = max((entry.told_at for entry in log), default=FIRST) + hours(1)
    extra = [told(BaitBought("cowhide", 7.0), string=None), told(Pulled(legal_claws=9), 300), told(TrapsSet(), 2)]
    voids = [replace(correction_of(entry, 400), told_at=told_at) for entry in extra]
    assert fold_books([*log, *extra, *voids], STRINGS)[1] == fold_books(log, STRINGS)[1]


def test_an_entry_told_twice_counts_once_in_every_book() -> None:
    bought = told(BaitBought("cowhide", 4.0), 1, string=None, key="from the phone")
    again = replace(bought, id="another", told_at=bought.told_at + hours(2))
    _, books = fold_books([again, bought, bought], STRINGS)
    assert books is not None
    assert [lot.boxes for lot in books.bait.lots] == [4.0]


def test_a_day_at_sea_is_in_every_book() -> None:
    """Two boxes of five are put in, one latch of ten is used, 40 claws come from four traps."""
    log = [
        told(BaitBought("cowhide", 5.0, "aboard"), string=None),
        told(PartBought("latch", 10.0), string=None),
        told(TrapsSet(), 1),
        told(Pulled(legal_claws=40, bait="cowhide", bait_boxes=2.0), 180),
        told(Repaired("latch", (("latch", 1.0),)), 190, traps=(2,)),
        told(EngineHours(412.5), 191, string=None),
        told(BellSettled("soak:Nine Foot"), 192, string=None),
    ]
    gear, books = fold_books(log, STRINGS)
    assert books is not None
    assert gear.oddities == books.oddities == ()
    assert sum(lot.boxes for lot in books.bait.lots) == pytest.approx(3.0)
    assert [(line.part, line.on_hand, line.used) for line in books.parts.lines] == [("latch", 9.0, 1.0)]
    assert (books.upkeep.engine_h, books.upkeep.pulls) == (412.5, 1)
    assert total_of(books.catch.cells).claws_a_trap == 10.0
    assert [hush.bell for hush in books.hushed.bells] == ["soak:Nine Foot"]


class TornCatchBook(CatchBook):
    """Raises at the second pull."""

    def take(self, entry: LogEntry, worked: Worked) -> list[Oddity]:
        if entry.kind is EntryKind.PULL and self.freeze().cells:
            raise KeyError("a torn page")
        return super().take(entry, worked)


SEASON = [told(TrapsSet()), told(Pulled(), 100), told(Pulled(), 200), told(BroughtAshore(), 300, traps=(4,))]


def test_a_book_that_raises_costs_the_books_and_no_trap(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(books_module, "CatchBook", TornCatchBook)
    ledger = Ledger.folding(SEASON, STRINGS)
    gear, books = ledger.freeze()
    assert books is None
    assert gear == fold(SEASON, STRINGS)
    assert ledger.fault is not None
    assert SEASON[2].id in ledger.fault
    assert "a torn page" in ledger.fault


def test_books_that_were_closed_stay_closed(monkeypatch: pytest.MonkeyPatch) -> None:
    """What came after the fault is in no book; to go on as if nothing were missing would be to invent stock."""
    monkeypatch.setattr(books_module, "CatchBook", TornCatchBook)
    ledger = Ledger.folding(SEASON[:3], STRINGS)
    gear, books = ledger.freeze()
    monkeypatch.undo()
    then = Ledger.of(gear, books, ledger.fault)
    then.take(SEASON[3])
    gear, books = then.freeze()
    assert (books, then.fault) == (None, ledger.fault)
    assert gear == fold(SEASON, STRINGS)


def test_a_book_that_cannot_be_summed_up_costs_the_books_and_no_trap(monkeypatch: pytest.MonkeyPatch) -> None:
    def torn(book: CatchBook) -> None:
        raise ZeroDivisionError("nothing to divide by")

    monkeypatch.setattr(CatchBook, "freeze", torn)
    ledger = Ledger.folding(SEASON, STRINGS)
    gear, books = ledger.freeze()
    assert books is None
    assert gear == fold(SEASON, STRINGS)
    assert ledger.fault == "the books can't be summed up (ZeroDivisionError: nothing to divide by)"


@settings(max_examples=30)
@given(whole_logs())
def test_going_on_leaves_what_was_frozen_as_it_was(log: list[LogEntry]) -> None:
    ledger = Ledger.folding(log, STRINGS)
    before = ledger.freeze()
    ledger.take(told(Pulled(legal_claws=4, bait="cowhide"), 9000, string="Ledge"))
    ledger.take(told(BaitBought("cowhide", 3.0), 9001, string=None))
    assert before == fold_books(log, STRINGS)
