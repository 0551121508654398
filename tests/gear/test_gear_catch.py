"""The record of catches, and grades of claws. INVENTED DATA."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from logbook import told
from soakbell.gear import catch
from soakbell.gear.catch import CatchBook, CatchCell, CatchRecord, total_of
from soakbell.gear.fold import Oddity
from soakbell.gear.grades import grade_of, short_of_law, value_usd
from soakbell.gear.log import BaitBought, LogEntry, Pulled, TrapsSet
from soakbell.gear.outfit import Grade
from soakbell.gear.worked import Worked

GRADES = (
    Grade("jumbo", 5.0, "invented", 18.0),
    Grade("medium", 2.0, "invented", 9.0),
    Grade("large", 3.0, "invented", 13.0),
)


def worked(*soak_days: float | None) -> Worked:
    soak_h = tuple(None if days is None else days * 24 for days in soak_days)
    return Worked(tuple(range(1, len(soak_days) + 1)), soak_h)


def record_of(*pulls: tuple[LogEntry, Worked]) -> CatchRecord:
    book = CatchBook()
    for entry, came_to in pulls:
        assert book.take(entry, came_to) == []
    return book.freeze()


def only(record: CatchRecord) -> CatchCell:
    (cell,) = record.cells
    return cell


def test_a_pull_counts_by_the_whole_days_of_its_median_soak() -> None:
    cell = only(record_of((told(Pulled(legal_claws=30, lb=7.5), 200), worked(2.0, 7.9, 7.9, 8.1))))
    assert (cell.string, cell.soak_days, cell.year, cell.month) == ("Nine Foot", 7, 2026, 11)
    assert (cell.pulls, cell.traps, cell.legal_claws, cell.lb) == (1, 4, 30, 7.5)


def test_pulls_alike_add_up_and_others_stand_apart() -> None:
    record = record_of(
        (told(Pulled(legal_claws=30), 200), worked(7, 7, 7, 7)),
        (told(Pulled(legal_claws=10), 368, traps=(1, 2)), worked(7, 7)),
        (told(Pulled(legal_claws=5), 400, string="Ledge"), worked(7, 7, 7)),
        (told(Pulled(legal_claws=9), 700), worked(12, 12, 12, 12)),
    )
    assert [(c.string, c.month, c.soak_days, c.traps, c.legal_claws) for c in record.cells] == [
        ("Ledge", 11, 7, 3, 5),
        ("Nine Foot", 11, 7, 6, 40),
        ("Nine Foot", 11, 12, 4, 9),
    ]


def test_the_month_is_that_of_the_pull_in_utc() -> None:
    """19:30 on the last of November in Florida is December in UTC."""
    late = replace(told(Pulled()), happened_at=datetime(2026, 12, 1, 0, 30, tzinfo=UTC))
    assert only(record_of((late, worked(7)))).month == 12


def test_the_month_can_be_that_of_the_harbors_clock() -> None:
    late = replace(told(Pulled()), happened_at=datetime(2026, 12, 1, 0, 30, tzinfo=UTC))
    book = CatchBook(zone=ZoneInfo("America/New_York"))
    book.take(late, worked(7))
    assert only(book.freeze()).month == 11


def test_a_trap_told_to_have_stayed_aboard_is_not_hauled_twice() -> None:
    """The whole string first, then the one that was kept: its soak begins at the haul."""
    aboard = told(Pulled(reset=False), 200.2, traps=(2,))
    cell = only(record_of((told(Pulled(legal_claws=30), 200), worked(7, 7, 7)), (aboard, Worked((2,), (0.2,)))))
    assert (cell.soak_days, cell.pulls, cell.traps) == (7, 1, 3)


def test_traps_that_stay_aboard_and_were_not_told_yet_are_hauled() -> None:
    apart = told(Pulled(reset=False), 200.2, traps=(4,))
    cell = only(
        record_of((told(Pulled(legal_claws=30), 200, traps=(1, 2)), worked(7, 7)), (apart, Worked((4,), (168.2,))))
    )
    assert (cell.traps, cell.traps_with_claws) == (3, 2)


def test_a_pull_long_after_or_with_a_catch_of_its_own_counts() -> None:
    record = record_of(
        (told(Pulled(legal_claws=30), 200), worked(7, 7, 7)),
        (told(Pulled(reset=False, legal_claws=2), 200.2, traps=(2,)), Worked((2,), (0.2,))),
        (told(Pulled(reset=False), 201, traps=(3,)), Worked((3,), (1.0,))),
    )
    assert total_of(record.cells).traps == 5


def test_the_bait_that_counts_is_the_one_that_fished() -> None:
    record = record_of(
        (told(Pulled(bait="mullet heads"), 0), worked(5)),
        (told(Pulled(bait="cowhide"), 120), worked(5)),
        (told(Pulled(), 240), worked(5)),
        (told(Pulled(), 360), worked(5)),
    )
    assert {cell.bait: cell.pulls for cell in record.cells} == {"": 1, "mullet heads": 1, "cowhide": 2}
    assert record.last_bait == (("Nine Foot", "cowhide"),)


def test_a_bait_is_the_same_in_small_and_capital_letters() -> None:
    record = record_of(
        (told(Pulled(bait="Cowhide"), 0), worked(5)),
        (told(Pulled(bait="cowhide"), 120), worked(5)),
        (told(Pulled(), 240), worked(5)),
    )
    assert {cell.bait: cell.pulls for cell in record.cells} == {"": 1, "Cowhide": 2}


def test_bait_named_in_a_pull_that_put_none_in_is_not_what_fishes_next() -> None:
    record = record_of(
        (told(Pulled(bait="cowhide", rebaited=False), 0), worked(5)),
        (told(Pulled(bait="cowhide", reset=False), 120), worked(5)),
    )
    assert record.last_bait == ()


def test_what_was_not_told_is_no_zero() -> None:
    record = record_of(
        (told(Pulled(legal_claws=40, short_claws=10), 200), worked(7, 7, 7, 7)),
        (told(Pulled(lb=12.0, float_claws=0), 210), worked(7, 7, 7, 7)),
    )
    total = total_of(record.cells)
    assert (total.pulls, total.traps) == (2, 8)
    assert total.claws_a_trap == 10.0
    assert total.lb_a_trap == 3.0
    assert total.short_share == 0.2
    assert total.float_share is None
    assert total.oz_a_claw is None


def test_a_pull_of_which_nothing_was_told_has_no_catch_at_all() -> None:
    total = total_of(record_of((told(Pulled(), 200), worked(7, 7))).cells)
    assert (total.pulls, total.traps, total.claws_a_trap, total.lb_a_trap) == (1, 2, None, None)


def test_shares_and_weights_are_of_pulls_that_told_both() -> None:
    """Hand-reckoned: 60 of 240 claws were short; 12 lb are 192 oz over 48 claws."""
    record = record_of(
        (told(Pulled(legal_claws=90, short_claws=10), 200), worked(7)),
        (told(Pulled(legal_claws=90, short_claws=50), 201), worked(7)),
        (told(Pulled(legal_claws=500), 202), worked(7)),
        (told(Pulled(short_claws=500), 203), worked(7)),
        (told(Pulled(legal_claws=48, lb=12.0), 204), worked(7)),
        (told(Pulled(lb=80.0), 205), worked(7)),
    )
    total = total_of(record.cells)
    assert total.short_share == pytest.approx(0.25)
    assert total.oz_a_claw == pytest.approx(4.0)


def test_pounds_told_by_grade_are_the_pounds_landed() -> None:
    record = record_of(
        (told(Pulled(lb_by_grade=(("jumbo", 2.0), ("medium", 3.0))), 200), worked(7)),
        (told(Pulled(lb=9.0, lb_by_grade=(("jumbo", 4.0),)), 201), worked(7)),
    )
    total = total_of(record.cells)
    assert total.lb_a_trap == 7.0
    assert total.lb_by_grade == (("jumbo", 6.0), ("medium", 3.0))


def test_a_pull_of_which_no_trap_was_there_counts_nothing() -> None:
    assert record_of((told(Pulled(legal_claws=30, bait="cowhide"), 200), Worked())) == CatchRecord()


def test_other_entries_are_none_of_its_business() -> None:
    bought = told(BaitBought("cowhide", 4.0), string=None)
    assert record_of((told(TrapsSet()), worked(None, None)), (bought, Worked())) == CatchRecord()


def test_a_pull_of_traps_that_never_soaked_is_told_and_not_counted() -> None:
    book = CatchBook()
    pull = told(Pulled(legal_claws=3), 10)
    (odd,) = book.take(pull, worked(None, None))
    assert isinstance(odd, Oddity)
    assert (odd.entry_id, odd.key) == (pull.id, "traps")
    assert book.freeze().cells == ()


def test_a_book_that_goes_on_from_its_record_is_the_whole_book() -> None:
    pulls = [
        (told(Pulled(legal_claws=n, lb=n / 7, bait="cowhide" if n % 3 else ""), 24 * n), worked(n % 4))
        for n in range(40)
    ]
    whole = record_of(*pulls)
    for cut in (0, 1, 17, 40):
        book = CatchBook(record_of(*pulls[:cut]))
        for entry, came_to in pulls[cut:]:
            book.take(entry, came_to)
        assert book.freeze() == whole
    assert sum(cell.pulls for cell in whole.cells) == 40


def test_a_haul_that_told_its_catch_is_kept_with_its_own_hour_and_soak() -> None:
    record = record_of(
        (told(Pulled(legal_claws=30), 200), worked(7.25, 7.25, 9)),
        (told(Pulled(), 300), worked(4)),
        (told(Pulled(lb_by_grade=(("large", 4.0),)), 400), worked(4)),
    )
    assert [(haul.soak_h, haul.traps, haul.legal_claws, haul.lb) for haul in record.hauls] == [
        (7.25 * 24, 3, 30, None),
        (96, 1, None, 4.0),
    ]
    assert record.hauls[0].at == told(Pulled(), 200).happened_at


def test_hauls_are_kept_up_to_a_number_and_the_oldest_go_first(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(catch, "MOST_HAULS", 2)
    book = CatchBook(
        record_of((told(Pulled(legal_claws=1), 0), worked(5)), (told(Pulled(legal_claws=2), 9), worked(5)))
    )
    book.take(told(Pulled(legal_claws=3), 18), worked(5))
    assert [haul.legal_claws for haul in book.freeze().hauls] == [2, 3]


def test_the_soak_of_a_short_pull_is_day_zero() -> None:
    assert only(record_of((told(Pulled(), 5), worked(0.9)))).soak_days == 0


# ---- grades


@pytest.mark.parametrize(
    ("claw_oz", "grade"), [(1.99, None), (2.0, "medium"), (3.0, "large"), (4.99, "large"), (12.0, "jumbo")]
)
def test_a_claw_is_of_the_highest_grade_that_its_weight_reaches(claw_oz: float, grade: str | None) -> None:
    found = grade_of(claw_oz, GRADES)
    assert (found and found.name) == grade


def test_pounds_are_worth_their_price() -> None:
    """2 lb at 18 dollars and 3 lb at 9."""
    assert value_usd((("jumbo", 2.0), ("medium", 3.0)), GRADES) == pytest.approx(63.0)


def test_a_catch_of_which_a_part_has_no_price_has_no_value() -> None:
    unpriced = (*GRADES, Grade("light", 1.0, "invented"))
    assert value_usd((("jumbo", 2.0), ("light", 3.0)), unpriced) is None
    assert value_usd((("jumbo", 2.0), ("unheard of", 3.0)), GRADES) is None
    assert value_usd((), GRADES) is None


def test_a_claw_below_the_minimum_is_short_of_it() -> None:
    """Florida stone crab: 2 7/8 inches, Florida Administrative Code 68B-13.007."""
    assert short_of_law(2.75, 2.875) == pytest.approx(0.125)
    assert short_of_law(2.875, 2.875) is None
