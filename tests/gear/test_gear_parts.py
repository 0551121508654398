"""Parts in stock."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from logbook import hours, told
from soakbell.gear.log import Detail, LogEntry, PartBought, PartCounted, PartUsed, Pulled, Repaired
from soakbell.gear.parts import PartBook, PartLine, PartStock
from soakbell.gear.worked import Worked


def part_told(detail: Detail, after_h: float = 0.0) -> LogEntry:
    return told(detail, after_h, string="Nine Foot" if isinstance(detail, Repaired) else None)


def book_of(*details: Detail) -> tuple[PartBook, list[str]]:
    """The book after ``details``, an hour apart, and what was odd."""
    book, found = PartBook(), []
    for after_h, detail in enumerate(details):
        found += [odd.found for odd in book.take(part_told(detail, after_h), Worked())]
    return book, found


def on_hand(book: PartBook) -> dict[str, float]:
    return {line.part: line.on_hand for line in book.freeze().lines}


def test_what_is_bought_less_what_is_used_lies_on_hand() -> None:
    book, odd = book_of(PartBought("latch", 10), PartUsed("latch", 3), PartBought("latch", 5))
    assert (on_hand(book), odd) == ({"latch": 12.0}, [])


def test_the_parts_of_a_mend_leave_the_stock_and_count_as_used() -> None:
    book, odd = book_of(
        PartCounted("latch", 4), PartBought("hog ring", 100), Repaired(parts=(("latch", 1), ("hog ring", 6)))
    )
    assert (on_hand(book), odd) == ({"hog ring": 94.0, "latch": 3.0}, [])
    assert [(line.part, line.used) for line in book.freeze().lines] == [("hog ring", 6), ("latch", 1)]


def test_using_more_than_there_was_leaves_none_and_is_told_but_counts_as_used() -> None:
    book = PartBook()
    book.take(part_told(PartBought("latch", 2)), Worked())
    (odd,) = book.take(part_told(PartUsed("latch", 5), 1), Worked())
    assert (odd.key, odd.found) == ("count", "5 of 'latch' used, with 2 on hand")
    (line,) = book.freeze().lines
    assert (line.on_hand, line.used, line.lacking) == (0.0, 5.0, 3.0)


def test_a_part_never_bought_or_counted_is_not_on_hand() -> None:
    book, odd = book_of(Repaired("latch", (("latch", 1),)))
    assert on_hand(book) == {"latch": 0.0}
    assert odd == ["1 of 'latch' used, with 0 on hand"]


def test_a_count_sets_right_what_was_reckoned_and_is_no_use() -> None:
    book, odd = book_of(PartBought("latch", 10), PartCounted("latch", 7), PartUsed("latch", 7))
    (line,) = book.freeze().lines
    assert (line.on_hand, line.used, odd) == (0.0, 7.0, [])


def test_a_part_is_known_from_its_first_entry_to_its_last() -> None:
    book, _ = book_of(PartBought("latch", 10), Pulled(), PartUsed("latch", 1))
    (line,) = book.freeze().lines
    assert line.last_at - line.first_at == hours(2)


def test_an_entry_about_other_things_changes_nothing() -> None:
    book, odd = book_of(Pulled())
    assert (book.freeze(), odd) == (PartStock(), [])
    assert book.freeze().line("latch") is None


parts = st.sampled_from(["latch", "hog ring", "line"])
pieces = st.integers(1, 20).map(float)
details = st.one_of(
    st.builds(PartBought, parts, pieces),
    st.builds(PartUsed, parts, pieces),
    st.builds(PartCounted, parts, pieces),
    st.dictionaries(parts, pieces, max_size=2).map(lambda used: Repaired(parts=tuple(used.items()))),
)


@given(st.lists(details, max_size=20), st.integers(0, 20))
def test_going_on_from_what_was_kept_is_as_good_as_reading_on(told_of: list[Detail], cut: int) -> None:
    entries = [part_told(detail, after_h) for after_h, detail in enumerate(told_of)]
    whole, first = PartBook(), PartBook()
    odd = [o for entry in entries for o in whole.take(entry, Worked())]
    odd_first = [o for entry in entries[:cut] for o in first.take(entry, Worked())]
    second = PartBook(first.freeze())
    odd_second = [o for entry in entries[cut:] for o in second.take(entry, Worked())]
    assert second.freeze() == whole.freeze()
    assert odd_first + odd_second == odd


@given(st.lists(st.builds(PartBought, parts, pieces) | st.builds(PartUsed, parts, pieces), max_size=20))
def test_pieces_are_conserved(told_of: list[PartBought | PartUsed]) -> None:
    book, odd = book_of(*told_of)
    lacked = {line.part for line in book.freeze().lines if line.lacking}
    for line in book.freeze().lines:
        bought = sum(d.count for d in told_of if isinstance(d, PartBought) and d.part == line.part)
        assert bought == line.on_hand + line.used - line.lacking
        assert line.on_hand >= 0
    assert lacked == {found.split("'")[1] for found in odd}


def test_lines_stand_in_order_of_name() -> None:
    book, _ = book_of(PartBought("line", 1), PartBought("hog ring", 1))
    assert [line.part for line in book.freeze().lines] == ["hog ring", "line"]
    assert isinstance(book.freeze().lines[0], PartLine)
