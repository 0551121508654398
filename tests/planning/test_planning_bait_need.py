"""What bait is needed, how long it lasts, and what to thaw."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from statistics import stdev
from zoneinfo import ZoneInfo

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from tests.logbook import LEDGE, NINE_FOOT, STRINGS
from tests.logbook import told as entry_told
from tests.planning.bait_scenes import BAYSIDE, HARBOR, HEADS, HIDE, NOW, TODAY, ago, outfit_of, pulls, stock_of

from soakbell.fishery.season import SeasonDay, SeasonReason, season_day
from soakbell.gear.bait_lots import BaitStock, BaitUse
from soakbell.gear.fold import fold
from soakbell.gear.log import BaitBought, BaitCounted, BaitMoved, BaitOrdered, Detail, Pulled, TrapsSet
from soakbell.gear.outfit import Outfit
from soakbell.planning.ashore import SpoiltBait
from soakbell.planning.bait_need import (
    bait_needs,
    bait_shares,
    bait_to_load,
    boxes_to_thaw,
    due_of,
    on_hand,
    use_a_trap,
    use_of,
)
from soakbell.planning.season_ahead import expected_traps
from soakbell.planning.season_end import SeasonEnd, season_end
from soakbell.settings import load_fishery

BLUE = load_fishery(Path(__file__).parents[2] / "config" / "fisheries" / "florida-blue-crab.toml")
ONE = outfit_of()
LEAVES_AT = NOW + timedelta(hours=24)


def test_without_a_log_a_trap_takes_what_the_settings_say() -> None:
    assert use_a_trap(HEADS, BaitUse("mullet heads")).boxes == HEADS.boxes_a_trap


def test_the_log_outweighs_the_settings_by_its_traps() -> None:
    """By hand: 100 traps' worth of 0.05 and 300 traps that took 30 boxes are 35 boxes over 400 traps."""
    assert use_a_trap(HEADS, BaitUse("mullet heads", 10, 300, 30.0, 3.0)).boxes == pytest.approx(35 / 400)


def test_with_a_long_log_the_spread_is_that_of_the_log() -> None:
    """Pulls of 20 traps that take 1 box or 3: their standard deviation, reckoned to one trap, is sd / sqrt(20)."""
    boxes = [1.0, 3.0] * 200
    used = BaitUse("", len(boxes), 20 * len(boxes), sum(boxes), sum(pulled**2 / 20 for pulled in boxes))
    assert use_a_trap(HEADS, used).sd == pytest.approx(stdev(boxes) / 20**0.5, rel=0.01)


def test_a_sum_over_many_traps_is_surer_than_over_few_but_never_than_the_mean() -> None:
    use = use_a_trap(HEADS, BaitUse("mullet heads"))
    assert use.sum_sd(10) / 10 > use.sum_sd(100) / 100 > use.sd / use.traps**0.5


def test_bait_without_a_name_counts_for_the_first_of_the_settings() -> None:
    outfit = outfit_of(HEADS, HIDE)
    stock = stock_of((TrapsSet(), ago(9), 30), (Pulled(bait="Cowhide"), ago(1), 10))
    assert bait_shares(outfit, stock) == {"mullet heads": 0.75, "cowhide": 0.25}
    assert bait_shares(outfit, BaitStock()) == {"mullet heads": 1.0, "cowhide": 0.0}


def test_use_that_was_not_measured_is_taken_off_what_is_on_hand() -> None:
    stock = stock_of(
        (BaitBought("mullet heads", 3), ago(5)), (BaitMoved("mullet heads", 1), ago(2)), (Pulled(), ago(1), 30)
    )
    there = on_hand(ONE, stock, HEADS, NOW)
    assert (there.aboard, there.thaw, there.freezer) == pytest.approx((0, 0, 1.5))
    assert there.reckoned == pytest.approx(1.5), "30 traps at 0.05 boxes"


def test_bait_bought_after_traps_were_baited_is_not_what_they_were_baited_with() -> None:
    stock = stock_of((TrapsSet(), ago(5), 200), (BaitBought("mullet heads", 3), ago(4)))
    assert on_hand(ONE, stock, HEADS, NOW).boxes == 3


def test_use_beyond_all_that_was_there_is_not_held_against_what_came_later() -> None:
    stock = stock_of(
        (BaitBought("mullet heads", 2), ago(9)),
        (Pulled(), ago(8), 100),
        (BaitBought("mullet heads", 4), ago(7)),
        (Pulled(), ago(6), 20),
    )
    assert on_hand(ONE, stock, HEADS, NOW).boxes == pytest.approx(3)


def test_a_count_of_the_freezer_is_not_lowered_by_what_was_used_before_it() -> None:
    stock = stock_of(
        (BaitBought("mullet heads", 5), ago(9)),
        (Pulled(), ago(8), 40),
        (BaitCounted("mullet heads", 2, "freezer"), ago(1)),
    )
    assert on_hand(ONE, stock, HEADS, NOW).freezer == 2


def test_bait_is_known_as_soon_as_it_was_counted_were_it_none() -> None:
    for said, known in (
        ((TrapsSet(), ago(9), 30), False),
        ((BaitCounted("mullet heads", 0, "freezer"), ago(1)), True),
    ):
        (load,) = bait_to_load(ONE, stock_of(said), 40, leaves_at=LEAVES_AT, now=NOW)
        assert load.told is known
        assert len(boxes_to_thaw(ONE, stock_of(said), 40, leaves_at=LEAVES_AT, now=NOW)) == known


def test_counting_what_is_aboard_brings_no_used_bait_back_into_the_freezer() -> None:
    """400 traps at 0.05 boxes took all 10 boxes, whatever little is found aboard after."""
    said = ((BaitBought("mullet heads", 10), ago(30)), *((Pulled(), ago(day), 100) for day in (25, 20, 15, 10)))
    assert on_hand(ONE, stock_of(*said), HEADS, NOW).boxes == 0
    there = on_hand(ONE, stock_of(*said, (BaitCounted("mullet heads", 0.25, "aboard"), ago(1))), HEADS, NOW)
    assert (there.aboard, there.thaw, there.freezer) == (0.25, 0, 0)


def test_what_a_count_does_not_find_aboard_is_what_the_traps_took() -> None:
    """60 traps at 0.05 boxes took 3: the 2 that were aboard, and 1 out of the freezer."""
    stock = stock_of(
        (BaitBought("mullet heads", 9), ago(9)),
        (BaitMoved("mullet heads", 2, "aboard", "freezer"), ago(hours=60)),
        (Pulled(), ago(hours=50), 60),
        (BaitCounted("mullet heads", 0, "aboard"), ago(hours=40)),
        (Pulled(), ago(hours=30), 20),
    )
    there = on_hand(ONE, stock, HEADS, NOW)
    assert (there.aboard, there.freezer) == pytest.approx((0, 5))
    assert there.reckoned == pytest.approx(2), "what the count told isn't reckoned"


some_boxes = st.integers(0, 24).map(lambda quarters: quarters / 4)
names = st.sampled_from(["mullet heads", "cowhide"])
steps = st.lists(
    st.one_of(
        st.tuples(st.builds(BaitBought, names, some_boxes, st.sampled_from(["freezer", "aboard"])), st.just(0)),
        st.tuples(st.builds(BaitMoved, names, some_boxes, st.sampled_from(["thaw", "aboard"])), st.just(0)),
        st.tuples(st.builds(Pulled, bait=st.just("") | names), st.integers(1, 60)),
        st.tuples(st.builds(BaitCounted, names, some_boxes, st.sampled_from(["freezer", "aboard"])), st.just(0)),
    ),
    max_size=12,
)


OTHER_BAIT_COUNTED: list[tuple[Detail, int]] = [
    (BaitBought("mullet heads", 0.25, "freezer"), 0),
    (BaitBought("cowhide", 0.25, "freezer"), 0),
    (BaitBought("cowhide", 0.25, "aboard"), 0),
    (Pulled(bait="cowhide"), 1),
    (BaitCounted("cowhide", 0, "aboard"), 0),
]
"""A trap baited with cowhide, and a count of it, take nothing of the heads."""


@given(steps, some_boxes)
@example(OTHER_BAIT_COUNTED, 0.25)
@example(OTHER_BAIT_COUNTED[1:], 0.25)
def test_a_count_aboard_never_adds_to_what_lies_elsewhere(said: list[tuple[Detail, int]], counted: float) -> None:
    outfit = outfit_of(HEADS, HIDE)
    timed = [(detail, ago(hours=20 - hour), baited) for hour, (detail, baited) in enumerate(said)]
    count = (BaitCounted("mullet heads", counted, "aboard"), ago(hours=1), 0)
    for kind in outfit.baits:
        before = on_hand(outfit, stock_of(*timed), kind, NOW)
        after = on_hand(outfit, stock_of(*timed, count), kind, NOW)
        assert after.freezer <= before.freezer + 1e-9
        assert after.thaw <= before.thaw + 1e-9
        if kind is HEADS:
            assert after.aboard == pytest.approx(counted)


def test_another_bait_s_count_leaves_the_reckoning_of_the_first() -> None:
    outfit = outfit_of(HEADS, HIDE)
    stock = stock_of(
        (BaitBought("mullet heads", 5), ago(9)),
        (BaitBought("cowhide", 5), ago(9)),
        (Pulled(), ago(8), 40),
        (BaitCounted("cowhide", 1, "aboard"), ago(1)),
    )
    assert on_hand(outfit, stock, HEADS, NOW).boxes == pytest.approx(3)
    assert on_hand(outfit, stock, HIDE, NOW).boxes == pytest.approx(6)


def test_a_count_of_another_bait_takes_nothing_of_the_first() -> None:
    outfit = outfit_of(HEADS, HIDE)
    stock = stock_of(*((detail, ago(1), baited) for detail, baited in OTHER_BAIT_COUNTED))
    there = on_hand(outfit, stock, HEADS, NOW)
    assert (there.freezer, there.reckoned) == (0.25, 0)


def test_bait_out_of_the_freezer_too_long_is_not_there_to_be_used() -> None:
    stock = stock_of(
        (BaitBought("mullet heads", 3), ago(9)),
        (BaitMoved("mullet heads", 1), ago(hours=73)),
        (BaitMoved("mullet heads", 1, "aboard", "freezer"), ago(hours=71)),
    )
    there = on_hand(ONE, stock, HEADS, NOW)
    assert (there.aboard, there.thaw, there.freezer, there.spoilt) == (1, 0, 1, 1)


def test_taking_thawed_bait_aboard_does_not_make_it_fresh() -> None:
    stock = stock_of(
        (BaitBought("mullet heads", 1), ago(9)),
        (BaitMoved("mullet heads", 1), ago(hours=73)),
        (BaitMoved("mullet heads", 1, "aboard"), ago(hours=1)),
    )
    assert on_hand(ONE, stock, HEADS, NOW).spoilt == 1


def test_stock_runs_down_by_day_and_up_by_what_arrives_after_the_trip() -> None:
    stock = stock_of(
        (BaitBought("mullet heads", 3), ago(5)),
        (BaitOrdered("mullet heads", 4, TODAY + timedelta(days=3)), ago(1)),
    )
    (need,) = bait_needs(ONE, stock, pulls({1: 40, 3: 40, 4: 40}), now=NOW, today=TODAY, zone=HARBOR)
    assert [day.left for day in need.days[:6]] == pytest.approx([3, 1, 1, 4, 2, 2])
    assert need.runs_out_on == TODAY + timedelta(days=3), "the boxes come after the boat has left"
    assert need.days[3].arriving == 4
    assert len(need.days) == ONE.plan_days


def test_an_order_that_is_late_is_not_counted_on() -> None:
    stock = stock_of((BaitOrdered("mullet heads", 4, TODAY - timedelta(days=1)), ago(4)))
    (need,) = bait_needs(ONE, stock, pulls({2: 10}), now=NOW, today=TODAY, zone=HARBOR)
    assert need.runs_out_on == TODAY + timedelta(days=2)
    assert sum(day.arriving for day in need.days) == 0


def test_an_order_without_a_day_comes_by_the_supplier_s_lead_time() -> None:
    (order,) = stock_of((BaitOrdered("mullet heads", 4), datetime(2026, 12, 8, 15, tzinfo=UTC))).orders
    assert due_of(order, BAYSIDE, HARBOR) == date(2026, 12, 11), (
        "2 days, give or take a half, are not over before the third"
    )


def test_an_order_of_the_evening_is_one_of_the_harbor_s_day() -> None:
    """20:30 at the harbor on 7 Dec is 01:30 UTC on the 8th: the third day after the 7th is the 10th."""
    (order,) = stock_of((BaitOrdered("mullet heads", 4), datetime(2026, 12, 8, 1, 30, tzinfo=UTC))).orders
    assert due_of(order, BAYSIDE, HARBOR) == date(2026, 12, 10)


def test_bait_that_spoils_before_it_is_used_is_lost() -> None:
    stock = stock_of((BaitBought("mullet heads", 3), ago(5)), (BaitMoved("mullet heads", 2), ago(hours=1)))
    (need,) = bait_needs(ONE, stock, pulls({6: 30}), now=NOW, today=TODAY, zone=HARBOR)
    assert [day.left for day in need.days[:7]] == pytest.approx([3, 3, 3, 1, 1, 1, 0])
    assert need.runs_out_on == TODAY + timedelta(days=6)


def test_the_thaw_call_is_for_what_lies_not_out_yet() -> None:
    """40 traps at 0.05 boxes are 2, and some more to be safe; half a box is out already."""
    stock = stock_of((BaitBought("mullet heads", 9), ago(5)), (BaitMoved("mullet heads", 0.5), ago(hours=2)))
    (thaw,) = boxes_to_thaw(ONE, stock, 40, leaves_at=LEAVES_AT, now=NOW)
    use = use_of(ONE, stock, HEADS)
    assert 1.5 + use.sum_sd(40) <= thaw.boxes < 1.5 + use.sum_sd(40) + 0.25
    assert (thaw.boxes * 4).is_integer()
    assert (thaw.out_by, thaw.past, thaw.short_boxes) == (LEAVES_AT - timedelta(hours=14), False, 0)


def test_a_thaw_call_that_comes_too_late_says_so() -> None:
    stock = stock_of((BaitBought("mullet heads", 9), ago(5)))
    (thaw,) = boxes_to_thaw(ONE, stock, 40, leaves_at=NOW + timedelta(hours=13), now=NOW)
    assert thaw.past
    assert thaw.out_by == NOW - timedelta(hours=1)


def test_no_more_is_thawed_than_the_freezer_has() -> None:
    stock = stock_of((BaitBought("mullet heads", 1), ago(5)))
    (thaw,) = boxes_to_thaw(ONE, stock, 60, leaves_at=LEAVES_AT, now=NOW)
    assert thaw.boxes == 1
    assert thaw.short_boxes > 2


def test_what_spoils_before_the_boat_leaves_is_thawed_anew() -> None:
    stock = stock_of((BaitBought("mullet heads", 9), ago(5)), (BaitMoved("mullet heads", 4), ago(hours=50)))
    (thaw,) = boxes_to_thaw(ONE, stock, 40, leaves_at=LEAVES_AT, now=NOW)
    assert thaw.boxes >= 2


def test_nothing_is_thawed_where_enough_lies_out() -> None:
    stock = stock_of((BaitBought("mullet heads", 9), ago(5)), (BaitMoved("mullet heads", 4), ago(hours=2)))
    assert boxes_to_thaw(ONE, stock, 40, leaves_at=LEAVES_AT, now=NOW) == ()
    assert boxes_to_thaw(ONE, stock, 0, leaves_at=LEAVES_AT, now=NOW) == ()


def test_the_load_tells_thawed_from_thawing() -> None:
    stock = stock_of(
        (BaitBought("mullet heads", 9), ago(5)),
        (BaitMoved("mullet heads", 1), ago(hours=20)),
        (BaitMoved("mullet heads", 2), NOW + timedelta(hours=12)),
        (BaitMoved("mullet heads", 0.25, "aboard", "freezer"), ago(hours=1)),
    )
    (load,) = bait_to_load(ONE, stock, 40, leaves_at=LEAVES_AT, now=NOW)
    assert (load.aboard_boxes, load.thawed_boxes, load.thawing_boxes, load.frozen_boxes) == (0.25, 1, 2, 5.75)
    assert load.take_boxes == 1
    assert load.needed_boxes == load.aboard_boxes + load.take_boxes + load.short_boxes


@given(st.integers(0, 400), st.integers(0, 300), st.integers(0, 300), st.integers(0, 300))
def test_a_trip_s_traps_are_split_among_its_baits_without_losing_one(
    traps: int, heads: int, hide: int, unnamed: int
) -> None:
    """Largest remainder (Hamilton's method): each share is rounded up or down, and all together are the whole."""
    outfit = outfit_of(HEADS, HIDE)
    stock = stock_of(
        (Pulled(bait="mullet heads"), ago(3), heads),
        (Pulled(bait="cowhide"), ago(2), hide),
        (Pulled(), ago(1), unnamed),
    )
    shares = bait_shares(outfit, stock)
    loads = {load.bait: load.traps for load in bait_to_load(outfit, stock, traps, leaves_at=LEAVES_AT, now=NOW)}
    assert sum(loads.values()) == traps
    assert all(abs(loads.get(bait, 0) - share * traps) < 1 for bait, share in shares.items())


amounts = st.integers(0, 40).map(lambda quarters: quarters / 4)


@given(amounts, amounts, st.integers(0, 300), st.integers(0, 200))
def test_thawing_never_leaves_a_trip_shorter_than_it_says(
    bought: float, moved: float, traps: int, unmeasured: int
) -> None:
    """What is taken out, with what is out, meets the need, or the rest is told as lacking."""
    stock = stock_of(
        (BaitCounted("mullet heads", 0, "freezer"), ago(4)),
        (BaitBought("mullet heads", bought), ago(3)),
        (Pulled(), ago(2), unmeasured),
        (BaitMoved("mullet heads", moved), ago(hours=3)),
    )
    there = on_hand(ONE, stock, HEADS, LEAVES_AT)
    thaws = boxes_to_thaw(ONE, stock, traps, leaves_at=LEAVES_AT, now=NOW)
    taken = sum(thaw.boxes for thaw in thaws)
    assert taken <= there.freezer
    needed = traps * use_of(ONE, stock, HEADS).boxes
    assert there.aboard + there.thaw + taken + sum(thaw.short_boxes for thaw in thaws) >= needed - 1e-9


ZONE = ZoneInfo("America/New_York")


def test_a_string_is_expected_halfway_between_floor_and_ceiling_and_again_after_as_long() -> None:
    """Nine Foot: floor 120 h, ceiling 264 h, so every 8 days; set on the morning of 4 Dec."""
    set_at = datetime(2026, 12, 4, 13, tzinfo=UTC)
    gear = fold([replace(entry_told(TrapsSet()), happened_at=set_at, told_at=set_at)], STRINGS)
    ahead = expected_traps(gear, STRINGS, NOW, ZONE, days=21, may_pull=lambda _: True, end_of=lambda _: None)
    assert next(iter(ahead)) == TODAY
    assert len(ahead) == 21
    pulled = {day: traps for day, traps in ahead.items() if traps}
    assert pulled == {date(2026, 12, 12): 4, date(2026, 12, 20): 4, date(2026, 12, 28): 4}


@pytest.mark.parametrize(("hour", "day"), [(12, 8), (20, 9)])
def test_a_string_long_ripe_is_expected_on_the_next_trip(hour: int, day: int) -> None:
    set_at = datetime(2026, 11, 20, 13, tzinfo=UTC)
    gear = fold([replace(entry_told(TrapsSet()), happened_at=set_at, told_at=set_at)], STRINGS)
    now = datetime(2026, 12, 8, hour, tzinfo=UTC)
    ahead = expected_traps(gear, STRINGS, now, ZONE, days=5, may_pull=lambda _: True, end_of=lambda _: None)
    assert [found for found, traps in ahead.items() if traps] == [date(2026, 12, day)]


def test_no_pull_is_expected_out_of_season() -> None:
    set_at = datetime(2026, 12, 4, 13, tzinfo=UTC)
    gear = fold([replace(entry_told(TrapsSet()), happened_at=set_at, told_at=set_at)], [NINE_FOOT, LEDGE])
    opens = date(2026, 12, 15)
    ahead = expected_traps(
        gear, STRINGS, NOW, ZONE, days=10, may_pull=lambda day: day >= opens, end_of=lambda _: None
    )
    assert [found for found, traps in ahead.items() if traps] == [opens]
    never = expected_traps(gear, STRINGS, NOW, ZONE, days=10, may_pull=lambda _: False, end_of=lambda _: None)
    assert not any(never.values())


def test_past_the_last_useful_rebait_a_pull_takes_no_bait_and_the_need_falls_to_none() -> None:
    """Nine Foot comes ripe on 12 and 20 Dec; a floor of 5 days before a last harvest on 17 Dec is the 11th."""
    set_at = datetime(2026, 12, 4, 13, tzinfo=UTC)
    gear = fold([replace(entry_told(TrapsSet()), happened_at=set_at, told_at=set_at)], STRINGS)

    def baited(last: int, next_set: date | None = None) -> dict[date, float]:
        ends = date(2026, 12, last)
        end = SeasonEnd(ends, SeasonReason("season", "", "", "memory"), ends, ends, next_set)
        ahead = expected_traps(gear, STRINGS, NOW, ZONE, days=40, may_pull=lambda _: True, end_of=lambda _: end)
        return {day: traps for day, traps in ahead.items() if traps}

    assert baited(17) == {}
    assert baited(18) == {date(2026, 12, 12): 4}
    assert baited(26) == {date(2026, 12, 12): 4, date(2026, 12, 20): 4}
    assert baited(17, date(2027, 6, 1)) == {}


def test_traps_that_are_set_again_after_a_closure_take_bait_then() -> None:
    """R22: the panhandle is closed from 5 to 14 January of odd years; a floor of 5 days before is 30 December."""
    set_at, now = datetime(2026, 12, 23, 13, tzinfo=UTC), datetime(2026, 12, 27, 13, tzinfo=UTC)
    gear = fold([replace(entry_told(TrapsSet()), happened_at=set_at, told_at=set_at)], STRINGS)

    def law(day: date) -> SeasonDay:
        return season_day(BLUE, day, sector="commercial", region="panhandle")

    ahead = expected_traps(
        gear,
        STRINGS,
        now,
        ZONE,
        days=30,
        may_pull=lambda day: law(day).may_harvest,
        end_of=lambda day: season_end(BLUE, day, sector="commercial", region="panhandle"),
    )
    assert [day for day, traps in ahead.items() if traps] == [date(2027, 1, 15), date(2027, 1, 23)]


def test_an_outfit_without_bait_needs_none() -> None:
    bare: Outfit = replace(ONE, baits=())
    assert bait_needs(bare, BaitStock(), pulls({1: 10}), now=NOW, today=TODAY, zone=HARBOR) == ()
    assert boxes_to_thaw(bare, BaitStock(), 10, leaves_at=LEAVES_AT, now=NOW) == ()


def test_the_load_tells_what_counts_as_spoilt_and_since_when() -> None:
    said = (
        (BaitBought("mullet heads", 9), ago(9)),
        (BaitMoved("mullet heads", 1.5), LEAVES_AT - timedelta(hours=90)),
        (BaitMoved("mullet heads", 1), LEAVES_AT - timedelta(hours=20)),
    )
    (load,) = bait_to_load(ONE, stock_of(*said), 80, leaves_at=LEAVES_AT, now=NOW)
    assert load.spoilt == (SpoiltBait("thaw", 1.5, 90.0, HEADS.spoil_h),)
    assert (load.thawed_boxes, load.short_boxes) == (1, load.needed_boxes - 1)


def test_what_the_skipper_finds_still_good_is_counted_out_and_then_aboard() -> None:
    """As the letter's commands say."""
    said = (
        (BaitBought("mullet heads", 9), ago(9)),
        (BaitMoved("mullet heads", 1.5), LEAVES_AT - timedelta(hours=90)),
        (BaitMoved("mullet heads", 1), LEAVES_AT - timedelta(hours=20)),
        (BaitCounted("mullet heads", 1, "thaw"), NOW),
        (BaitCounted("mullet heads", 1.5, "aboard"), NOW + timedelta(minutes=1)),
    )
    (load,) = bait_to_load(ONE, stock_of(*said), 80, leaves_at=LEAVES_AT, now=NOW)
    assert load.spoilt == ()
    assert (load.aboard_boxes, load.thawed_boxes) == (1.5, 1)
