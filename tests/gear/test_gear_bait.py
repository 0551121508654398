"""Bait in the book: what came, what lies where, and what went."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from datetime import date, timedelta

from hypothesis import given
from hypothesis import strategies as st
from tests.logbook import FIRST, hours, told

from soakbell.gear.bait_lots import ORDER_LETTER, BaitBook, BaitStock, Unmeasured
from soakbell.gear.fold import Oddity
from soakbell.gear.log import (
    BaitBought,
    BaitCounted,
    BaitMoved,
    BaitOrdered,
    BaitPlace,
    BaitSpoiled,
    Detail,
    LogEntry,
    Pulled,
    Recovered,
    TrapsSet,
)
from soakbell.gear.worked import Worked

HEADS, HIDE = "mullet heads", "cowhide"
Told = tuple[Detail, float, int]
"""What was told, how many hours after the first moment, and how many traps it baited."""


def entry_of(detail: Detail, after_h: float) -> LogEntry:
    return told(detail, after_h, string="Nine Foot" if isinstance(detail, Pulled | TrapsSet | Recovered) else None)


def book_of(*said: Told, book: BaitBook | None = None) -> tuple[BaitStock, list[Oddity]]:
    book = book or BaitBook()
    oddities = [
        odd
        for detail, after_h, baited in said
        for odd in book.take(entry_of(detail, after_h), Worked(tuple(range(1, baited + 1)), (), baited, baited))
    ]
    return book.freeze(), oddities


def boxes_by_place(stock: BaitStock) -> dict[tuple[str, BaitPlace], float]:
    found: dict[tuple[str, BaitPlace], float] = defaultdict(float)
    for lot in stock.lots:
        found[lot.bait, lot.place] += lot.boxes
    return dict(found)


def test_bought_bait_lies_in_the_freezer() -> None:
    stock, oddities = book_of((BaitBought(HEADS, 4), 0, 0))
    assert oddities == []
    assert boxes_by_place(stock) == {(HEADS, "freezer"): 4}
    (lot,) = stock.lots
    assert (lot.bought_at, lot.placed_at, lot.out_since) == (FIRST, FIRST, None)


def test_a_bait_is_known_by_its_name_however_it_is_written() -> None:
    stock, _ = book_of((BaitBought("Mullet Heads", 1), 0, 0), (BaitBought("mullet heads", 2), 1, 0))
    assert boxes_by_place(stock) == {("Mullet Heads", "freezer"): 3}


def test_the_oldest_boxes_thaw_first_and_keep_the_day_they_were_bought() -> None:
    stock, _ = book_of((BaitBought(HEADS, 1), 0, 0), (BaitBought(HEADS, 2), 24, 0), (BaitMoved(HEADS, 1.5), 30, 0))
    thawing = [(lot.boxes, lot.bought_at, lot.placed_at) for lot in stock.lots if lot.place == "thaw"]
    assert thawing == [(1, FIRST, FIRST + hours(30)), (0.5, FIRST + hours(24), FIRST + hours(30))]


def test_bait_taken_aboard_comes_from_the_thaw_and_then_from_the_freezer() -> None:
    stock, _ = book_of(
        (BaitBought(HEADS, 5), 0, 0), (BaitMoved(HEADS, 1), 1, 0), (BaitMoved(HEADS, 3, "aboard"), 20, 0)
    )
    assert boxes_by_place(stock) == {(HEADS, "freezer"): 2, (HEADS, "aboard"): 3}
    assert [lot.out_since for lot in stock.lots if lot.place == "aboard"] == [
        FIRST + hours(1),
        FIRST + hours(20),
    ], "what had thawed is out of the freezer since then, the rest since now"


def test_moving_more_than_there_is_moves_what_there_is_and_says_so() -> None:
    stock, oddities = book_of((BaitBought(HEADS, 1), 0, 0), (BaitMoved(HEADS, 3), 1, 0))
    assert boxes_by_place(stock) == {(HEADS, "thaw"): 1}
    assert [odd.found for odd in oddities] == [
        "3 boxes of mullet heads, but only 1 box known in the freezer at that time"
    ]


def test_moving_bait_to_where_it_lies_changes_nothing() -> None:
    stock, oddities = book_of((BaitBought(HEADS, 1), 0, 0), (BaitMoved(HEADS, 1, "thaw", "thaw"), 1, 0))
    assert boxes_by_place(stock) == {(HEADS, "freezer"): 1}
    assert [odd.key for odd in oddities] == ["out_of"]


def test_a_pull_takes_its_boxes_from_aboard_then_the_thaw_then_the_freezer() -> None:
    stock, oddities = book_of(
        (BaitBought(HEADS, 3), 0, 0),
        (BaitMoved(HEADS, 1), 1, 0),
        (BaitMoved(HEADS, 0.5, "aboard", "freezer"), 2, 0),
        (Pulled(bait=HEADS, bait_boxes=2), 30, 40),
    )
    assert oddities == []
    assert boxes_by_place(stock) == {(HEADS, "freezer"): 1}
    (use,) = stock.used
    assert (use.pulls, use.traps, use.boxes, use.boxes2_a_trap) == (1, 40, 2, 0.1)
    assert stock.unmeasured == ()


def test_more_used_than_on_hand_is_told_and_still_counts_as_use() -> None:
    stock, oddities = book_of((BaitBought(HEADS, 1), 0, 0), (Pulled(bait=HEADS, bait_boxes=2), 1, 10))
    assert stock.lots == ()
    assert stock.used[0].boxes == 2
    assert [(odd.key, odd.string) for odd in oddities] == [("bait_boxes", "Nine Foot")]


def test_boxes_told_where_no_trap_was_baited_are_odd_and_stay_on_hand() -> None:
    stock, oddities = book_of((BaitBought(HEADS, 1), 0, 0), (Pulled(rebaited=False, bait_boxes=1), 1, 0))
    assert boxes_by_place(stock) == {(HEADS, "freezer"): 1}
    assert [odd.key for odd in oddities] == ["bait_boxes"]


def test_bait_without_a_name_is_the_only_one_aboard() -> None:
    stock, oddities = book_of(
        (BaitBought(HEADS, 2), 0, 0), (BaitBought(HIDE, 2, "aboard"), 1, 0), (Pulled(bait_boxes=1), 2, 10)
    )
    assert oddities == []
    assert boxes_by_place(stock) == {(HEADS, "freezer"): 2, (HIDE, "aboard"): 1}


def test_bait_without_a_name_that_may_be_either_is_asked_for_and_stays_unmeasured() -> None:
    stock, oddities = book_of(
        (BaitBought(HEADS, 2), 0, 0), (BaitBought(HIDE, 2), 1, 0), (Pulled(bait_boxes=1), 2, 10)
    )
    assert [odd.key for odd in oddities] == ["bait"]
    assert stock.unmeasured == (Unmeasured("", 10),)
    assert boxes_by_place(stock) == {(HEADS, "freezer"): 2, (HIDE, "freezer"): 2}


def test_traps_set_or_put_back_or_pulled_without_boxes_told_stay_unmeasured() -> None:
    stock, _ = book_of(
        (TrapsSet(), 0, 4),
        (Pulled(bait=HEADS), 100, 3),
        (Recovered("fishing"), 101, 1),
        (Pulled(rebaited=False), 200, 0),
    )
    assert stock.unmeasured == (Unmeasured("", 5), Unmeasured(HEADS, 3))


def test_a_count_aboard_tells_what_was_used_of_the_bait_aboard_and_leaves_open_what_came_from_elsewhere() -> None:
    stock, _ = book_of(
        (BaitBought(HEADS, 2), 0, 0),
        (BaitBought(HEADS, 1, "aboard"), 0, 0),
        (Pulled(bait=HEADS), 1, 3),
        (BaitCounted(HEADS, 0.25, "aboard"), 3, 0),
    )
    assert boxes_by_place(stock) == {(HEADS, "freezer"): 2, (HEADS, "aboard"): 0.25}
    assert stock.unmeasured == (Unmeasured(HEADS, 3),)
    assert [(lot.boxes, lot.named, lot.named_to) for lot in stock.counted_away] == [(0.75, 0, 3)]


def test_a_count_aboard_settles_what_was_not_measured_where_the_bait_lies_nowhere_else() -> None:
    stock, _ = book_of(
        (BaitBought(HEADS, 2, "aboard"), 0, 0),
        (BaitBought(HIDE, 2), 0, 0),
        (Pulled(bait=HEADS), 1, 3),
        (Pulled(bait=HIDE), 2, 4),
        (BaitCounted(HEADS, 0.5, "aboard"), 3, 0),
    )
    assert stock.unmeasured == (Unmeasured(HIDE, 4),)
    assert stock.counted_away == ()


def test_a_count_in_the_freezer_stands_for_what_lies_there() -> None:
    """Use that wasn't measured, and was before the count, can't be out of what was counted after it."""
    stock, _ = book_of(
        (BaitBought(HEADS, 5), 0, 0), (Pulled(bait=HEADS), 1, 30), (BaitCounted(HEADS, 2, "freezer"), 3, 0)
    )
    (lot,) = stock.lots
    assert (lot.boxes, lot.named, lot.bought_at) == (2, 0, FIRST)
    assert stock.unmeasured == ()


def test_a_count_above_what_was_known_adds_boxes_of_unknown_age() -> None:
    stock, oddities = book_of((BaitBought(HEADS, 1), 0, 0), (BaitCounted(HEADS, 3), 24, 0))
    assert oddities == []
    assert [(lot.boxes, lot.bought_at) for lot in stock.lots] == [(1, FIRST), (2, FIRST + hours(24))]


def test_a_count_below_what_was_known_takes_the_oldest_away() -> None:
    stock, _ = book_of(
        (BaitBought(HEADS, 1), 0, 0), (BaitBought(HEADS, 2), 1, 0), (BaitCounted(HEADS, 1.5), 24, 0)
    )
    assert [(lot.boxes, lot.bought_at) for lot in stock.lots] == [(1.5, FIRST + hours(1))]


def test_spoiled_boxes_are_gone() -> None:
    stock, oddities = book_of(
        (BaitBought(HEADS, 2), 0, 0), (BaitMoved(HEADS, 1), 1, 0), (BaitSpoiled(HEADS, 1), 100, 0)
    )
    assert oddities == []
    assert boxes_by_place(stock) == {(HEADS, "freezer"): 1}


def test_boxes_that_come_fulfil_the_oldest_order_first() -> None:
    due = date(2026, 11, 4)
    stock, _ = book_of(
        (BaitOrdered(HEADS, 2, due), 0, 0),
        (BaitOrdered(HEADS, 3), 24, 0),
        (BaitOrdered(HIDE, 1), 25, 0),
        (BaitBought(HEADS, 3), 72, 0),
    )
    assert [(order.bait, order.boxes, order.due_on) for order in stock.orders] == [
        (HEADS, 2, None),
        (HIDE, 1, None),
    ]


def test_an_order_of_the_service_is_known_as_its_own() -> None:
    book = BaitBook()
    entry = replace(entry_of(BaitOrdered(HEADS, 2), 0), told_by=ORDER_LETTER)
    book.take(entry, Worked())
    book.take(entry_of(BaitOrdered(HEADS, 1), 1), Worked())
    assert [(order.by_service, order.entry_id == entry.id) for order in book.freeze().orders] == [
        (True, True),
        (False, False),
    ]


def test_orders_that_never_come_do_not_pile_up_without_end() -> None:
    stock, oddities = book_of(*((BaitOrdered(HEADS, 1), float(hour), 0) for hour in range(60)))
    assert len(stock.orders) == 60 - len(oddities) < 60
    assert stock.orders[-1].ordered_at == FIRST + hours(59)


def test_traps_baited_are_known_by_day_for_120_days() -> None:
    stock, _ = book_of(
        (TrapsSet(), 0, 4),
        (Pulled(bait=HEADS), 24, 3),
        (Pulled(bait=HIDE), 25, 2),
        (Pulled(), 24 * 120, 1),
    )
    assert stock.baited == ((date(2026, 11, 2), 5), (FIRST.date() + timedelta(days=120), 1))


def test_a_number_that_is_none_changes_nothing() -> None:
    stock, oddities = book_of(
        (BaitBought(HEADS, float("nan")), 0, 0),
        (BaitBought(HEADS, -1), 1, 0),
        (BaitCounted(HEADS, float("inf")), 2, 0),
        (Pulled(bait=HEADS, bait_boxes=float("nan")), 3, 4),
    )
    assert stock.lots == ()
    assert len(oddities) == 4
    assert stock.unmeasured == (Unmeasured(HEADS, 4),), "the traps were baited all the same"


def test_many_small_lots_are_kept_as_fewer_without_losing_a_box() -> None:
    stock, _ = book_of(*((BaitBought(HEADS, 1), float(hour), 0) for hour in range(500)))
    assert len(stock.lots) <= 50
    assert sum(lot.boxes for lot in stock.lots) == 500
    assert stock.lots[0].bought_at == FIRST


baits = st.sampled_from([HEADS, HEADS.title(), HIDE])
some_boxes = st.integers(1, 24).map(lambda quarters: quarters / 4)
places = st.sampled_from(["freezer", "thaw", "aboard"])
said = st.lists(
    st.tuples(
        st.one_of(
            st.builds(BaitBought, baits, some_boxes, places),
            st.builds(BaitMoved, baits, some_boxes, places, st.none() | places),
            st.builds(BaitSpoiled, baits, some_boxes, places),
            st.builds(BaitCounted, baits, st.just(0.0) | some_boxes, places),
            st.builds(BaitOrdered, baits, some_boxes),
            st.builds(Pulled, bait=st.just("") | baits, bait_boxes=st.none() | some_boxes),
            st.just(TrapsSet()),
        ),
        st.integers(0, 5),
    ),
    max_size=25,
)


def in_time(entries: list[tuple[Detail, int]]) -> list[Told]:
    return [(detail, 7.0 * hour, baited) for hour, (detail, baited) in enumerate(entries)]


@given(said)
def test_every_box_is_accounted_for(entries: list[tuple[Detail, int]]) -> None:
    """What came in is on hand, used, spoiled or counted away; a place only ever gives what it holds."""
    book = BaitBook()
    held: dict[tuple[str, str], float] = defaultdict(float)
    came = went = 0.0
    for detail, after_h, baited in in_time(entries):
        before = held_in(book.freeze())
        odd = book.take(entry_of(detail, after_h), Worked((), (), baited, baited))
        after = held_in(book.freeze())
        assert all(lot.boxes > 0 for lot in book.freeze().lots)
        in_all = sum(after.values()) - sum(before.values())
        match detail:
            case BaitBought():
                came += detail.boxes
                held = before
                held[detail.bait.casefold(), detail.place] += detail.boxes
                assert after == held
            case BaitCounted():
                came, went = came + max(0.0, in_all), went + max(0.0, -in_all)
                assert after[detail.bait.casefold(), detail.place] == detail.boxes
            case BaitMoved() | BaitOrdered() | TrapsSet():
                assert in_all == 0
            case BaitSpoiled():
                had = before[detail.bait.casefold(), detail.place]
                assert -in_all == min(had, detail.boxes)
                assert bool(odd) == (had < detail.boxes)
                went -= in_all
            case Pulled():
                assert -(detail.bait_boxes or 0) <= in_all <= 0
                if not odd and baited:
                    assert -in_all == (detail.bait_boxes or 0)
                went -= in_all
        assert sum(after.values()) == came - went


def held_in(stock: BaitStock) -> dict[tuple[str, str], float]:
    found: dict[tuple[str, str], float] = defaultdict(float)
    for lot in stock.lots:
        found[lot.bait.casefold(), lot.place] += lot.boxes
    return found


@given(said, st.data())
def test_going_on_from_a_kept_state_is_the_same_as_going_on(
    entries: list[tuple[Detail, int]], data: st.DataObject
) -> None:
    timed = [(entry_of(detail, after_h), Worked((), (), baited)) for detail, after_h, baited in in_time(entries)]
    cut = data.draw(st.integers(0, len(timed)))
    through = BaitBook()
    for entry, worked in timed[:cut]:
        through.take(entry, worked)
    resumed = BaitBook(through.freeze())
    for entry, worked in timed[cut:]:
        assert resumed.take(entry, worked) == through.take(entry, worked)
    assert resumed.freeze() == through.freeze()
