"""When bait has to be ordered, how much, and whether it may go straight to the supplier."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from datetime import UTC, date, datetime, time, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.planning.bait_scenes import (
    BAYSIDE,
    HARBOR,
    HEADS,
    HIDE,
    MORNING,
    NOW,
    TODAY,
    ago,
    outfit_of,
    pulls,
    stock_of,
    supplier_of,
)

from soakbell.gear.bait_lots import ORDER_LETTER, BaitStock
from soakbell.gear.log import BaitBought, BaitOrdered, Pulled, TrapsSet
from soakbell.gear.outfit import Outfit
from soakbell.planning.bait_order import BaitLevel, BaitOrder, bait_levels, bait_order_of, next_order_day

BOTH = ("mullet heads", "cowhide")
EVERY_FOURTH_DAY = pulls({2: 40, 6: 40, 10: 40, 14: 40, 18: 40})
STRAIGHT = supplier_of(send_straight=True)


def days(count: int) -> timedelta:
    return timedelta(days=count)


def bought(boxes: float, bait: str = "mullet heads") -> tuple[BaitBought, datetime]:
    return BaitBought(bait, boxes), ago(3)


def level_of(
    stock: BaitStock,
    outfit: Outfit | None = None,
    expected: Mapping[date, float] = EVERY_FOURTH_DAY,
    *,
    today: date = TODAY,
    at: time = MORNING,
) -> BaitLevel:
    return bait_levels(outfit or outfit_of(), stock, expected, now=NOW, today=today, at=at, zone=HARBOR)[0]


def order_of(
    stock: BaitStock,
    outfit: Outfit | None = None,
    expected: Mapping[date, float] = EVERY_FOURTH_DAY,
    *,
    today: date = TODAY,
    at: time = MORNING,
    ringing: Collection[str] = BOTH,
) -> BaitOrder | None:
    return bait_order_of(
        outfit or outfit_of(), stock, expected, now=NOW, today=today, at=at, zone=HARBOR, ringing=ringing
    )


def an_order(*args: object, **kwargs: object) -> BaitOrder:
    found = order_of(*args, **kwargs)  # type: ignore[arg-type]
    assert found is not None
    return found


def test_the_next_order_day_is_today_until_the_hour_is_past() -> None:
    """The supplier takes orders on Tuesdays and Fridays until noon; 8 Dec 2026 is a Tuesday."""
    assert next_order_day(BAYSIDE, TODAY, time(12)) == TODAY
    assert next_order_day(BAYSIDE, TODAY, time(12, 1)) == date(2026, 12, 11)
    assert next_order_day(BAYSIDE, date(2026, 12, 9), time(12, 1)) == date(2026, 12, 11)


def test_days_on_which_the_supplier_is_closed_are_passed_over() -> None:
    closed = supplier_of(closed_on=(TODAY, date(2026, 12, 11)))
    assert next_order_day(closed, TODAY, MORNING) == date(2026, 12, 15)


def test_a_supplier_who_takes_no_orders_has_no_next_day() -> None:
    assert next_order_day(supplier_of(order_weekdays=()), TODAY, MORNING) is None


def test_the_stock_must_last_to_the_next_order_day_and_the_lead_time_after() -> None:
    """From Tuesday, Friday is 3 days off and the boxes come 2 days later."""
    assert level_of(stock_of(bought(9))).protection_days == 5
    assert level_of(stock_of(bought(9)), today=date(2026, 12, 10)).protection_days == 3


def test_enough_bait_rings_nothing() -> None:
    level = level_of(stock_of(bought(9)))
    assert level.level == 0
    assert level.reorder_point < 9
    assert level.reorder_point == pytest.approx(level.need + level.safety)


def test_below_the_reorder_point_it_is_low() -> None:
    """Two boxes for the pull in two days are there, and nothing beside."""
    level = level_of(stock_of(bought(2.2)))
    assert level.level == 1
    assert level.runs_out_on == TODAY + days(6)
    assert level.delivery_on == TODAY + days(2)


def test_it_is_worse_when_no_delivery_can_come_before_it_runs_out() -> None:
    level = level_of(stock_of(bought(1)))
    assert level.level == 2
    assert level.runs_out_on == level.delivery_on == TODAY + days(2), "the boat leaves before the boxes come"
    assert level_of(stock_of(bought(2.2)), at=time(13), expected=pulls({2: 40, 4: 10})).level == 2


def test_boxes_on_their_way_count_until_they_are_late() -> None:
    on_its_way = stock_of(bought(2.2), (BaitOrdered("mullet heads", 6, TODAY), ago(2)))
    assert level_of(on_its_way).level == 0
    late = level_of(on_its_way, today=TODAY + days(1))
    assert late.level > 0
    assert (late.on_order, [order.boxes for order in late.late]) == (0, [6])
    assert "late 2026-12-08" in late.cause


def test_a_lead_time_that_varies_more_asks_for_more_in_hand() -> None:
    sure = level_of(stock_of(bought(9)), outfit_of(supplier=supplier_of(lead_sd_days=0)))
    unsure = level_of(stock_of(bought(9)), outfit_of(supplier=supplier_of(lead_sd_days=3)))
    assert unsure.safety > sure.safety
    assert unsure.need == sure.need


def test_a_pull_that_may_come_early_is_held_for_in_part() -> None:
    """A pull well past the days to protect counts little, one well inside them wholly."""
    inside = level_of(stock_of(bought(99)), expected=pulls({0: 40})).need
    past = level_of(stock_of(bought(99)), expected=pulls({13: 40})).need
    assert inside == pytest.approx(40 * HEADS.boxes_a_trap, rel=0.02)
    assert 0 <= past < 0.001
    assert past < level_of(stock_of(bought(99)), expected=pulls({6: 40})).need < inside


def test_nothing_is_low_where_no_trap_will_be_pulled() -> None:
    assert level_of(stock_of(bought(0.25)), expected={}).level == 0
    assert order_of(stock_of(bought(0.25)), expected={}) is None


def test_bait_that_the_log_never_told_of_is_low_but_never_ordered() -> None:
    """What is in the freezer isn't known, so nothing may be sent to a supplier on the strength of it."""
    stock = stock_of((TrapsSet(), ago(3), 40))
    level = level_of(stock)
    assert (level.told, level.level, level.since) == (False, 1, ago(3))
    assert order_of(stock) is None


def test_an_order_that_is_late_is_no_cause_where_it_would_not_have_sufficed() -> None:
    """A quarter box is on order, and it is low with that too."""
    said = (bought(0.3), (BaitOrdered("mullet heads", 0.25, TODAY), ago(1), 0))
    before = level_of(stock_of(*said))
    late = level_of(stock_of(*said), today=TODAY + days(1))
    assert before.level == late.level > 0
    assert [order.boxes for order in late.late] == [0.25]
    assert late.cause == before.cause


def test_the_next_time_it_is_low_has_another_cause() -> None:
    first = level_of(stock_of(bought(1)))
    later = level_of(stock_of(bought(1), (Pulled(bait="mullet heads", bait_boxes=0.5), ago(2), 10)))
    again = level_of(stock_of(bought(1), (BaitBought("mullet heads", 0.5), ago(1))))
    assert first.cause == later.cause != again.cause
    assert (first.since, later.since) == (ago(3), ago(2))


def test_bait_that_runs_out_before_a_delivery_is_graver_since_the_order_day_went_by() -> None:
    """On Tuesday an order would still come by Thursday; once the hour is past, not before Sunday."""
    stock, expected = stock_of(bought(2.2)), pulls({2: 40, 4: 10})
    hour_past = datetime(2026, 12, 8, 17, tzinfo=UTC)  # noon at the harbor

    def at_hour(hour: int) -> BaitLevel:
        now = datetime(2026, 12, 8, hour, 30, tzinfo=UTC)
        local = now.astimezone(HARBOR)
        (level,) = bait_levels(
            outfit_of(), stock, expected, now=now, today=local.date(), at=local.time(), zone=HARBOR
        )
        return level

    assert (at_hour(14).level, at_hour(19).level) == (1, 2)
    assert at_hour(14).since < hour_past
    assert timedelta() <= at_hour(19).since - hour_past < timedelta(seconds=1)


def test_a_late_order_is_a_matter_since_the_day_after_it_was_due() -> None:
    stock = stock_of(bought(2.2), (BaitOrdered("mullet heads", 6, TODAY), ago(2)))
    now = datetime(2026, 12, 11, 15, tzinfo=UTC)
    (late,) = bait_levels(
        outfit_of(), stock, EVERY_FOURTH_DAY, now=now, today=now.date(), at=time(10), zone=HARBOR
    )
    assert late.since >= datetime(2026, 12, 9, tzinfo=HARBOR)


def test_an_order_lasts_for_the_days_that_bait_is_held_for() -> None:
    """Three pulls of 40 traps at 0.05 boxes within 14 days are 6 boxes; 1 is on hand; and the safety stock."""
    order = an_order(stock_of(bought(1)))
    (line,) = order.lines
    assert (line.target_need, line.target_days) == (pytest.approx(6), 14)
    assert 5 + line.safety <= line.boxes < 6 + line.safety
    assert line.boxes == order.boxes == line.wanted
    assert (order.day, order.due_on, order.can_be_placed) == (TODAY, TODAY + days(2), True)


def test_there_is_no_order_on_another_day_or_past_the_hour() -> None:
    assert order_of(stock_of(bought(1)), today=TODAY + days(1)) is None
    assert order_of(stock_of(bought(1)), at=time(12, 30)) is None
    assert order_of(stock_of(bought(1)), outfit_of(supplier=supplier_of(closed_on=(TODAY,)))) is None
    assert order_of(stock_of(bought(1)), outfit_of(supplier=None)) is None


def test_only_what_rings_and_is_low_is_ordered() -> None:
    outfit = outfit_of(HEADS, HIDE)
    stock = stock_of(
        bought(1),
        bought(1, "cowhide"),
        (Pulled(bait="cowhide", bait_boxes=0.8), ago(2), 40),
        (Pulled(), ago(1), 40),
    )
    assert {line.bait for line in an_order(stock, outfit).lines} == set(BOTH)
    assert [line.bait for line in an_order(stock, outfit, ringing=["Cowhide"]).lines] == ["cowhide"]
    assert order_of(stock, outfit, ringing=[]) is None
    assert order_of(stock_of(bought(9))) is None


def test_the_supplier_s_minimum_is_reached_with_the_bait_that_runs_out_first() -> None:
    outfit = outfit_of(HEADS, HIDE, supplier=supplier_of(minimum_boxes=20))
    stock = stock_of(
        bought(1),
        bought(0.9, "cowhide"),
        (Pulled(bait="cowhide", bait_boxes=0.4), ago(2), 20),
        (Pulled(), ago(1), 20),
    )
    order = an_order(stock, outfit)
    assert order.boxes == 20
    assert [line.topped_up > 0 for line in order.lines] == [True, False]
    assert order.lines[0].bait == "mullet heads"
    assert order.lines[0].boxes == order.lines[0].wanted + order.lines[0].topped_up


def test_no_more_is_ordered_than_the_freezer_takes() -> None:
    outfit = outfit_of(freezer_boxes=4.5)
    order = an_order(stock_of(bought(1)), outfit)
    assert order.boxes == 3
    assert order.lines[0].wanted > 3
    assert order.freezer_boxes == 4.5
    assert an_order(stock_of(bought(1))).freezer_boxes is None


def test_boxes_on_their_way_need_room_too_even_when_late() -> None:
    stock = stock_of(bought(1), (BaitOrdered("mullet heads", 2, TODAY - days(1)), ago(4)))
    assert an_order(stock, outfit_of(freezer_boxes=4.5)).boxes == 1


def test_a_full_freezer_makes_no_order_but_says_so() -> None:
    order = an_order(stock_of(bought(1)), outfit_of(freezer_boxes=1, supplier=STRAIGHT))
    assert (order.lines, order.no_room, order.freezer_boxes) == ((), ("mullet heads",), 1)
    assert not order.can_be_placed
    assert not order.straight


def test_an_order_below_the_minimum_for_lack_of_room_is_told_and_not_placed() -> None:
    supplier = supplier_of(minimum_boxes=5, send_straight=True)
    order = an_order(stock_of(bought(1)), outfit_of(freezer_boxes=4, supplier=supplier))
    assert (order.boxes, order.minimum_boxes, order.freezer_boxes) == (3, 5, 4)
    assert not order.can_be_placed
    assert not order.straight


def test_an_order_goes_straight_only_where_the_skipper_said_so() -> None:
    assert not an_order(stock_of(bought(1))).straight
    assert an_order(stock_of(bought(1)), outfit_of(supplier=STRAIGHT)).straight
    nowhere = supplier_of(send_straight=True, address=None)
    assert not an_order(stock_of(bought(1)), outfit_of(supplier=nowhere)).straight


@pytest.mark.parametrize("told_by", [ORDER_LETTER, "cli"])
def test_a_late_order_is_never_followed_by_one_sent_straight_whoever_placed_it(told_by: str) -> None:
    """The skipper's own order may still come: the boat would have its bait twice."""
    said = (bought(1), (BaitOrdered("mullet heads", 2, TODAY - days(1)), ago(4)))
    order = an_order(stock_of(*said, told_by=told_by), outfit_of(supplier=STRAIGHT))
    assert (order.straight, order.held_by_late) == (False, True)
    assert [late.boxes for late in order.late] == [2]
    assert not an_order(stock_of(*said, told_by=told_by)).held_by_late, "a draft anyway"


def test_after_an_order_nothing_is_left_to_order() -> None:
    stock = stock_of(bought(1))
    order = an_order(stock)
    placed = stock_of(
        bought(1), *((BaitOrdered(line.bait, line.boxes, order.due_on), NOW) for line in order.lines)
    )
    assert order_of(placed) is None


boxes = st.integers(0, 60).map(lambda quarters: quarters / 4)


@given(
    had=boxes,
    ordered=boxes,
    traps=st.lists(st.integers(0, 200), min_size=1, max_size=20),
    minimum=boxes,
    room=st.none() | boxes,
    step=st.sampled_from([0.25, 1.0, 3.0]),
)
def test_an_order_keeps_to_the_step_the_minimum_and_the_room(
    had: float, ordered: float, traps: list[int], minimum: float, room: float | None, step: float
) -> None:
    outfit = outfit_of(supplier=supplier_of(minimum_boxes=minimum, box_step=step), freezer_boxes=room)
    stock = stock_of(bought(had), (BaitOrdered("mullet heads", ordered, TODAY + days(1)), ago(1)))
    order = order_of(stock, outfit, pulls(dict(enumerate(traps))))
    if order is None:
        return
    assert all(line.boxes > 0 and (line.boxes / step).is_integer() for line in order.lines)
    if order.lines and order.minimum_boxes is None:
        assert order.boxes >= minimum
    if room is not None:
        assert order.boxes <= max(0.0, room - had - ordered) + 1e-9
    else:
        assert order.can_be_placed
    for line in order.lines:
        assert line.on_hand + line.on_order < line.reorder_point
        if room is None:
            assert line.on_hand + line.on_order + line.boxes >= line.reorder_point - 1e-9


@given(had=boxes, more=boxes, traps=st.lists(st.integers(0, 200), min_size=1, max_size=20))
def test_more_bait_on_hand_is_never_a_worse_level(had: float, more: float, traps: list[int]) -> None:
    expected = pulls(dict(enumerate(traps)))
    less = level_of(stock_of(bought(had + 0.25)), expected=expected)
    enough = level_of(stock_of(bought(had + 0.25 + more)), expected=expected)
    assert enough.level <= less.level
