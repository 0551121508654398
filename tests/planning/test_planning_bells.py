"""Bells: which matters stand, and which of them a letter should tell. INVENTED DATA."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from boats import NINE_FOOT, OUTER_BAR
from soakbell.gear.fold import GearState, StringState, TrapItem, TrapState, Whereabouts
from soakbell.gear.hushed import Hush, Hushed, RungBell
from soakbell.gear.outfit import ConditionKind, Outfit, Standing
from soakbell.gear.parts import PartLine, PartStock
from soakbell.planning.bait_order import BaitLevel
from soakbell.planning.bells import (
    Bell,
    BellCode,
    LawOfSoak,
    SoakDay,
    bait_bells,
    hauled_since,
    is_hushed,
    is_quiet,
    marks,
    part_bells,
    soak_bells,
    to_ring,
    together,
    unset_bells,
    upkeep_bells,
)
from soakbell.planning.part_need import PartToBuy
from soakbell.planning.upkeep_due import UpkeepDue, UpkeepState

NOW = datetime(2026, 12, 8, 14, 0, tzinfo=UTC)
HOUR = timedelta(hours=1)
DAY = timedelta(days=1)
FISHING, ASHORE, BENCH = Whereabouts.FISHING, Whereabouts.ASHORE, Whereabouts.BENCH
NOTHING_HUSHED = Hushed()

OUTFIT = Outfit(
    conditions=(
        ConditionKind("escape ring", Standing.MAY_NOT_BE_SET, 10, rule="gear rules of the fishery"),
        ConditionKind("latch", Standing.NEXT_PULL, 5),
    ),
    parts=(),
    upkeep=(),
    baits=(),
    supplier=None,
    grades=(),
    service_level=0.95,
    bench_minutes=120,
)


def trap(place: int, soaked_h: float | None = None, where: Whereabouts = FISHING, *items: str) -> TrapState:
    since = None if soaked_h is None else NOW - soaked_h * HOUR
    told = tuple(TrapItem(item, NOW - 5 * DAY) for item in items)
    return TrapState(place, where, since, since, origin=f"Nine Foot {place}", items=told)


def boat(*traps: TrapState, newest_at: datetime | None = None) -> GearState:
    state = StringState("Nine Foot", NINE_FOOT.start, NINE_FOOT.end, traps)
    return GearState({"Nine Foot": state}, newest_at=newest_at)


def bell(level: int = 1, cause: str = "a", since: datetime = NOW - DAY, subject: str = "Nine Foot") -> Bell:
    return Bell(BellCode.SOAK, subject, cause, level, since)


# ---- soaks


@pytest.mark.parametrize(("soaked_h", "level"), [(264, 0), (265, 1), (396, 1), (397, 2)])
def test_a_soak_past_the_skippers_ceiling_is_told_and_again_at_half_as_much_more(
    soaked_h: float, level: int
) -> None:
    """Nine Foot's ceiling is 11 days, 264 h."""
    bells = soak_bells(boat(trap(1, soaked_h), trap(2, 30)), (NINE_FOOT,), None, NOW, SoakDay.HARVEST)
    assert [each.level for each in bells] == ([level] if level else [])


def test_a_soak_is_told_with_the_oldest_trap_and_since_when_it_is_past() -> None:
    (told,) = soak_bells(boat(trap(1, 300), trap(2, 280), trap(3, 100)), (NINE_FOOT,), None, NOW, SoakDay.HARVEST)
    assert told.name == "soak:Nine Foot"
    assert told.since == NOW - 36 * HOUR
    assert (told.values["traps"], told.values["soak_h"], told.values["limit_h"]) == (2, 300, 264)


@pytest.mark.parametrize(("soaked_h", "level"), [(47, 0), (49, 1), (72, 1), (73, 2)])
def test_where_the_law_ends_a_soak_it_is_told_a_day_ahead_and_again_past_it(soaked_h: float, level: int) -> None:
    bells = soak_bells(boat(trap(1, soaked_h)), (NINE_FOOT,), LawOfSoak(72, "the rule book"), NOW, SoakDay.HARVEST)
    assert [(each.level, each.values["law_source"]) for each in bells] == (
        [(level, "the rule book")] if level else []
    )


def test_a_shorter_ceiling_of_the_skippers_comes_before_the_law() -> None:
    short = replace(NINE_FOOT, soak_ceiling_h=24.0)
    (told,) = soak_bells(boat(trap(1, 30)), (short,), LawOfSoak(72, "the rule book"), NOW, SoakDay.HARVEST)
    assert (told.level, told.values["limit_h"]) == (1, 24)


def test_traps_that_do_not_fish_soak_nothing() -> None:
    ashore = boat(trap(1, 500, ASHORE), trap(2, 500, Whereabouts.MISSING), trap(3))
    assert soak_bells(ashore, (NINE_FOOT,), None, NOW, SoakDay.HARVEST) == ()


def test_a_clock_behind_the_log_tells_no_soak() -> None:
    """A soak reckoned by a wrong clock is a wrong number."""
    assert soak_bells(boat(trap(1, 500), newest_at=NOW + HOUR), (NINE_FOOT,), None, NOW, SoakDay.HARVEST) == ()


def test_a_string_hauled_today_keeps_silent_and_another_rings() -> None:
    bells = (bell(subject="Nine Foot"), bell(subject="Outer Bar"))
    assert to_ring(bells, (), NOTHING_HUSHED, NOW, pulled=("Nine Foot",)) == bells[1:]
    assert hauled_since(boat(trap(1, 2), trap(2, 5)), NOW - 10 * HOUR) == {"Nine Foot"}
    assert hauled_since(boat(trap(1, 12), trap(2, 400)), NOW - 10 * HOUR) == frozenset()
    assert hauled_since(boat(trap(1, 2, Whereabouts.MISSING)), NOW - 10 * HOUR) == frozenset()


def test_one_trap_hauled_does_not_silence_those_left() -> None:
    """Past the law's maximum above all."""
    assert hauled_since(boat(trap(1, 2), trap(2, 400)), NOW - 10 * HOUR) == frozenset()
    assert hauled_since(boat(trap(1, 2, Whereabouts.ABOARD), trap(2, 400)), NOW - 10 * HOUR) == frozenset()
    assert hauled_since(boat(trap(1, 2, Whereabouts.ABOARD)), NOW - 10 * HOUR) == {"Nine Foot"}


def test_hauling_the_oldest_trap_of_those_told_rings_nothing() -> None:
    """The letter told of both traps; a third that came past the limit only after it is a new matter."""
    (first,) = soak_bells(boat(trap(1, 300), trap(2, 280)), (NINE_FOOT,), None, NOW, SoakDay.HARVEST)
    rung = {replace(first.rung, rung_at=NOW)}
    (eased,) = soak_bells(boat(trap(1, 2), trap(2, 280)), (NINE_FOOT,), None, NOW, SoakDay.HARVEST)
    assert eased.cause != first.cause
    assert to_ring((eased,), rung, NOTHING_HUSHED, NOW) == ()
    later = soak_bells(boat(trap(1, 2), trap(2, 265)), (NINE_FOOT,), None, NOW, SoakDay.HARVEST)
    assert to_ring(later, {replace(first.rung, rung_at=NOW - 5 * HOUR)}, NOTHING_HUSHED, NOW) == later


def test_a_bell_of_soak_tells_what_the_day_allows_and_the_places_by_deck_load() -> None:
    gear = boat(trap(1, 300), trap(2, 300, ASHORE), trap(3, 290), trap(4, 280), trap(5, 300, BENCH))
    (told,) = soak_bells(gear, (NINE_FOOT,), None, NOW, SoakDay.TAKE_UP, deck_traps=2)
    assert (told.values["may"], told.values["loads"]) == (SoakDay.TAKE_UP, ((1, 3), (4,)))
    (told,) = soak_bells(gear, (NINE_FOOT,), None, NOW, SoakDay.CLOSED)
    assert told.values["loads"] == ((1, 3, 4),)


# ---- traps that may not be set


def test_a_trap_in_the_water_that_may_not_be_there_is_graver_than_one_that_waits() -> None:
    bells = unset_bells(
        boat(
            trap(1, 20, FISHING, "escape ring"), trap(2, 20, ASHORE, "escape ring"), trap(3, 20, FISHING, "latch")
        ),
        OUTFIT,
    )
    assert [(each.level, each.values["places"]) for each in bells] == [(2, (1,)), (1, (2,))]
    assert bells[0].values["rule"] == "gear rules of the fishery"


def test_an_item_that_the_settings_do_not_know_bars_its_trap() -> None:
    (told,) = unset_bells(boat(trap(4, 20, ASHORE, "rope thing")), OUTFIT)
    assert told.values["unknown"]
    assert unset_bells(boat(trap(4, 20, FISHING, "latch")), OUTFIT) == ()


def test_a_trap_on_the_bench_is_where_it_belongs() -> None:
    assert unset_bells(boat(trap(1, 20, BENCH, "escape ring")), OUTFIT) == ()


def test_setting_a_trap_again_unmended_rings_again() -> None:
    first = unset_bells(boat(trap(1, 90, FISHING, "escape ring")), OUTFIT)
    rung = {each.rung for each in first}
    assert to_ring(first, rung, NOTHING_HUSHED, NOW) == ()
    again = unset_bells(boat(trap(1, 3, FISHING, "escape ring")), OUTFIT)
    assert to_ring(again, rung, NOTHING_HUSHED, NOW) == again


def test_a_second_trap_rings_by_itself_and_mending_one_rings_nothing() -> None:
    both = boat(trap(1, 20, FISHING, "escape ring"), trap(2, 20, FISHING, "escape ring"))
    one = boat(trap(1, 20, FISHING, "escape ring"), trap(2, 20, FISHING))
    rung = {each.rung for each in unset_bells(one, OUTFIT)}
    (new,) = to_ring(unset_bells(both, OUTFIT), rung, NOTHING_HUSHED, NOW)
    assert new.values["places"] == (2,)
    rung = {each.rung for each in unset_bells(both, OUTFIT)}
    assert to_ring(unset_bells(one, OUTFIT), rung, NOTHING_HUSHED, NOW) == ()


def test_a_letter_tells_traps_with_one_item_together() -> None:
    traps = (trap(n, 20, FISHING, "escape ring") for n in (3, 1, 2))
    (told,) = together(unset_bells(boat(*traps), OUTFIT))
    assert told.values["places"] == (1, 2, 3)


# ---- bait, parts, upkeep


def low_bait(level: int, *, told: bool = True) -> BaitLevel:
    return BaitLevel(
        bait="mullet heads",
        level=level,
        cause="came 2026-12-01",
        since=NOW - DAY,
        told=told,
        on_hand=1.5,
        on_order=0,
        need=2,
        safety=1,
        reorder_point=3,
        protection_days=5,
        plan_need=6,
        runs_out_on=date(2026, 12, 11),
        delivery_on=None,
    )


def test_bait_below_its_reorder_point_rings_and_bait_never_told_of_does_not() -> None:
    (told,) = bait_bells((low_bait(2), low_bait(0), low_bait(1, told=False)))
    assert (told.name, told.level) == ("bait:mullet heads", 2)
    assert (told.values["on_hand_boxes"], told.values["runs_out_on"]) == (1.5, date(2026, 12, 11))


def test_a_part_rings_once_until_more_of_it_came() -> None:
    """Using it up, piece by piece, is one matter; buying some and running low again is the next."""

    def cause(on_hand: float, used: float, lacking: float = 0) -> str:
        stock = PartStock((PartLine("hog ring", on_hand, used, NOW - 90 * DAY, NOW, lacking),))
        buy = PartToBuy("hog ring", True, on_hand, 3, 10, 0, 50, None, NOW)
        (told,) = part_bells((buy,), stock)
        return told.cause

    assert cause(9, 41) == cause(3, 47) == cause(0, 56, lacking=6)
    assert cause(9, 41) != cause(9, 91)


def task(state: UpkeepState, done_at: datetime | None) -> UpkeepDue:
    return UpkeepDue("flares", state, True, True, True, None, None, "", NOW - DAY, done_at, "invented")


def test_upkeep_rings_when_it_is_due_soon_again_when_it_is_overdue_and_anew_after_it_was_done() -> None:
    done = NOW - 300 * DAY
    soon, over = upkeep_bells((task("due soon", done), task("overdue", done)), NOW)
    assert (soon.level, over.level) == (1, 2)
    assert soon.cause == over.cause
    (again,) = upkeep_bells((task("due soon", NOW - 3 * DAY),), NOW)
    assert again.cause != soon.cause
    assert upkeep_bells((task("fine", done),), NOW) == ()
    assert [each.level for each in upkeep_bells((task("never told", None),), NOW)] == [1]


# ---- which ring


def test_a_bell_rings_once_and_again_when_it_worsens_or_comes_anew() -> None:
    rung = {RungBell("soak", "Nine Foot", "a", 1)}
    assert to_ring((bell(1),), rung, NOTHING_HUSHED, NOW) == ()
    assert to_ring((bell(2),), rung, NOTHING_HUSHED, NOW) == (bell(2),)
    assert to_ring((bell(1, cause="b"),), rung, NOTHING_HUSHED, NOW) == (bell(1, cause="b"),)


def test_a_bell_that_eases_does_not_ring_for_it() -> None:
    assert to_ring((bell(1),), {RungBell("soak", "Nine Foot", "a", 2)}, NOTHING_HUSHED, NOW) == ()


def test_a_snoozed_bell_keeps_silent_until_its_moment() -> None:
    """And then rings, though it stood all the while."""
    hushed = Hushed((Hush("soak:nine foot", snoozed_until=NOW),))
    assert to_ring((bell(2),), (), hushed, NOW - timedelta(seconds=1)) == ()
    assert to_ring((bell(2),), (), hushed, NOW) == (bell(2),)


def test_what_rang_before_a_snooze_rings_once_more_when_it_is_over() -> None:
    """The mark of the second ring replaces that of the first."""
    hushed = Hushed((Hush("soak:Nine Foot", snoozed_until=NOW),))
    rung = {replace(bell(1).rung, rung_at=NOW - DAY)}
    assert to_ring((bell(1),), rung, hushed, NOW - HOUR) == ()
    again = to_ring((bell(1),), rung, hushed, NOW)
    assert again == (bell(1),)
    assert [mark.rung_at for mark in marks(again, rung)] == [NOW - DAY]
    assert [mark.rung_at for mark in marks((bell(2),), rung)] == [None]
    assert to_ring((bell(1),), {replace(bell(1).rung, rung_at=NOW)}, hushed, NOW + HOUR) == ()


def test_more_of_what_rang_and_was_settled_is_no_new_matter() -> None:
    """An ordinary pull takes bait or a part and moves when the log last told of it."""
    hushed = Hushed((Hush("soak:Nine Foot", settled_at=NOW),))
    rung = {replace(bell(1).rung, rung_at=NOW - HOUR)}
    assert is_hushed(bell(1, since=NOW + HOUR), hushed, NOW + DAY, rung)
    assert not is_hushed(bell(2, since=NOW + HOUR), hushed, NOW + DAY, rung)
    assert not is_hushed(bell(1, "b", since=NOW + HOUR), hushed, NOW + DAY, rung)
    assert not is_hushed(bell(1, since=NOW + HOUR), hushed, NOW + DAY, {replace(bell(1).rung, rung_at=NOW + HOUR)})


def test_a_settled_bell_keeps_silent_unless_something_new_begins() -> None:
    hushed = Hushed((Hush("soak:Nine Foot", settled_at=NOW - DAY),))
    assert to_ring((bell(1, since=NOW - DAY),), (), hushed, NOW) == ()
    worse = bell(2, since=NOW - DAY + timedelta(seconds=1))
    assert to_ring((worse,), (), hushed, NOW) == (worse,)


def settled(*causes: str, level: int = 1, name: str = "soak:Nine Foot") -> Hushed:
    return Hushed((Hush(name, settled_at=NOW, settled_causes=causes, settled_level=level),))


def test_a_settled_cause_stays_settled_whatever_the_log_tells_later() -> None:
    """No letter told of it, and a pull moved when the log last told of it."""
    later = bell(1, since=NOW + HOUR)
    assert is_hushed(later, settled("a"), NOW + DAY)
    assert is_hushed(later, settled("b", "a", level=2), NOW + DAY)
    assert not is_hushed(replace(later, level=2), settled("a"), NOW + DAY)
    assert not is_hushed(replace(later, cause="b"), settled("a"), NOW + DAY)


def test_hauling_the_oldest_trap_of_a_settled_soak_rings_nothing() -> None:
    younger = bell(1, "b", since=NOW - HOUR)
    assert is_hushed(younger, settled("a"), NOW + DAY)
    assert not is_hushed(replace(younger, since=NOW + HOUR), settled("a"), NOW + DAY)


def test_a_bait_settled_with_its_order_late_is_settled_without_it_too() -> None:
    low = Bell(BellCode.BAIT, "cowhide", "2026-12-01T09:00", 1, NOW + HOUR)
    late = replace(low, cause=f"{low.cause} late 2026-12-08")
    assert is_hushed(low, settled(late.cause, name=low.name), NOW + DAY)
    assert not is_hushed(late, settled(low.cause, name=low.name), NOW + DAY)
    assert to_ring((low,), {late.rung}, NOTHING_HUSHED, NOW) == ()
    assert to_ring((late,), {low.rung}, NOTHING_HUSHED, NOW) == (late,)


@given(
    st.lists(st.tuples(st.sampled_from("abc"), st.integers(1, 3)), max_size=30),
)
def test_however_a_matter_goes_up_and_down_each_level_is_told_at_most_once(course: list[tuple[str, int]]) -> None:
    rung: set[RungBell] = set()
    told: list[RungBell] = []
    for cause, level in course:
        for each in to_ring((bell(level, cause),), rung, NOTHING_HUSHED, NOW):
            told.append(each.rung)
            rung.add(each.rung)
    assert len(told) == len(set(told))
    highest = {cause: max(level for c, level in course if c == cause) for cause, _ in course}
    assert {mark.cause: mark.level for mark in told} == highest


@pytest.mark.parametrize(
    ("at", "quiet"),
    [(time(19, 59), False), (time(20), True), (time(0), True), (time(5, 59), True), (time(6), False)],
)
def test_quiet_hours_span_midnight(at: time, quiet: bool) -> None:
    assert is_quiet(at, time(20), time(6)) is quiet


def test_quiet_hours_of_no_length_are_none() -> None:
    assert not any(is_quiet(time(hour), time(6), time(6)) for hour in range(24))
    assert is_quiet(time(13), time(12), time(14))


def test_strings_are_told_apart() -> None:
    outer = StringState("Outer Bar", OUTER_BAR.start, OUTER_BAR.end, (trap(1, 300),))
    both = GearState({**boat(trap(1, 300)).strings, "Outer Bar": outer})
    names = [each.name for each in soak_bells(both, (NINE_FOOT, OUTER_BAR), None, NOW, SoakDay.HARVEST)]
    assert names == ["soak:Nine Foot", "soak:Outer Bar"]
