"""Which upkeep is due."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from soakbell.gear.outfit import Outfit, UpkeepRule
from soakbell.gear.upkeep import Step, TaskDone, UpkeepRecord
from soakbell.planning.upkeep_due import UpkeepDue, upkeep_due

HARBOR = ZoneInfo("America/New_York")
DONE = datetime(2026, 11, 1, 17, tzinfo=UTC)  # 1 November, noon at the harbor, the day its summer time ended
DAY = timedelta(days=1)


def rule(name: str = "engine oil", **intervals: object) -> UpkeepRule:
    return UpkeepRule(name, "common practice, no source", **intervals)  # type: ignore[arg-type]


def done(task: str = "engine oil", at: datetime = DONE, **counters: object) -> TaskDone:
    given_: dict[str, object] = {"expires_on": None, "engine_h": None, "pulls": 0, "days_in_water": 0.0} | counters
    return TaskDone(task, at, **given_)  # type: ignore[arg-type]


def all_due(rules: tuple[UpkeepRule, ...], record: UpkeepRecord, now: datetime) -> tuple[UpkeepDue, ...]:
    outfit = Outfit((), (), rules, (), None, (), service_level=0.95, bench_minutes=60)
    return upkeep_due(outfit, record, now, HARBOR)


def one_due(of: UpkeepRule, record: UpkeepRecord, now: datetime) -> UpkeepDue:
    (due,) = all_due((of,), record, now)
    return due


def local(day: date, hour: int = 12) -> datetime:
    return datetime(day.year, day.month, day.day, hour, tzinfo=HARBOR).astimezone(UTC)


def test_a_task_never_told_asks_for_the_skipper_since_the_log_began() -> None:
    due = one_due(rule(every_days=365), UpkeepRecord(first_at=DONE), DONE + 9 * DAY)
    assert (due.state, due.level, due.since, due.due_on, due.left) == ("never told", 1, DONE, None, None)


def test_before_the_log_begins_a_task_is_never_told_since_no_moment() -> None:
    assert one_due(rule(every_days=365), UpkeepRecord(), DONE).since is None


@pytest.mark.parametrize(
    ("day", "state", "since"),
    [
        (date(2026, 11, 16), "fine", DONE),
        (date(2026, 11, 17), "due soon", local(date(2026, 11, 17), 0)),  # 14 days before 1 December
        (date(2026, 12, 1), "due soon", local(date(2026, 11, 17), 0)),
        (date(2026, 12, 2), "overdue", local(date(2026, 12, 2), 0)),
    ],
)
def test_the_day_it_is_due_is_the_last_good_one(day: date, state: str, since: datetime) -> None:
    """30 days after 1 November is 1 December."""
    due = one_due(rule(every_days=30), UpkeepRecord((done(),), first_at=DONE), local(day))
    assert (due.state, due.due_on, due.since) == (state, date(2026, 12, 1), since)


def test_days_are_the_harbors_and_not_those_of_utc() -> None:
    """At 21:00 on 1 December at the harbor it is 2 December in UTC."""
    late = local(date(2026, 12, 1), 21)
    assert late.date() == date(2026, 12, 2)
    assert one_due(rule(every_days=30), UpkeepRecord((done(),)), late).state == "due soon"


def test_what_comes_every_week_is_not_due_soon_the_day_it_is_done() -> None:
    of, record = rule(every_days=7), UpkeepRecord((done(),))
    assert [one_due(of, record, DONE + days * DAY).state for days in (0, 3, 4, 7, 8)] == [
        "fine",
        "fine",
        "due soon",
        "due soon",
        "overdue",
    ]


@pytest.mark.parametrize(
    ("day", "state"),
    [
        (date(2027, 3, 16), "fine"),
        (date(2027, 3, 17), "due soon"),
        (date(2027, 3, 31), "due soon"),
        (date(2027, 4, 1), "overdue"),
    ],
)
def test_what_expires_is_good_through_its_date(day: date, state: str) -> None:
    flares = done("flares", expires_on=date(2027, 3, 31))
    due = one_due(rule("flares", expires=True), UpkeepRecord((flares,)), local(day))
    assert (due.state, due.due_on, due.expires) == (state, date(2027, 3, 31), True)


def test_what_expires_without_a_date_told_is_as_good_as_never_told() -> None:
    record = UpkeepRecord((done("flares"),), first_at=DONE - DAY)
    due = one_due(rule("flares", expires=True), record, DONE + DAY)
    assert (due.state, due.done_at, due.not_known) == ("never told", DONE, ("date",))


@pytest.mark.parametrize(
    ("engine_h", "state", "left"),
    [(489, "fine", 11), (490, "due soon", 10), (500, "overdue", 0), (507, "overdue", -7)],
)
def test_engine_hours_count_from_the_last_doing(engine_h: float, state: str, left: float) -> None:
    record = UpkeepRecord((done(engine_h=400.0),), engine_h=engine_h, read_at=DONE + 30 * DAY)
    due = one_due(rule(every_engine_h=100), record, DONE + 31 * DAY)
    assert (due.state, due.left, due.unit, due.due_on) == (state, left, "engine h", None)


def test_a_state_begun_by_use_is_since_the_reading_that_told_it() -> None:
    """Due soon at 90 h and overdue at 100 h: what was settled between the two readings was not yet overdue."""
    readings = (Step(DONE + 5 * DAY, 460.0), Step(DONE + 18 * DAY, 495.0), Step(DONE + 20 * DAY, 600.0))
    record = UpkeepRecord((done(engine_h=400.0),), engine_h=600.0, read_at=DONE + 20 * DAY, readings=readings)
    assert one_due(rule(every_engine_h=100), record, DONE + 50 * DAY).since == DONE + 20 * DAY
    before = UpkeepRecord((done(engine_h=400.0),), engine_h=495.0, readings=readings[:2])
    assert one_due(rule(every_engine_h=100), before, DONE + 19 * DAY).since == DONE + 18 * DAY


def test_pulls_count_from_the_last_doing() -> None:
    record = UpkeepRecord((done(pulls=7),), pulls=37, pulled_at=DONE + 30 * DAY)
    due = one_due(rule(every_pulls=30), record, DONE + 31 * DAY)
    assert (due.state, due.left, due.unit, due.level) == ("overdue", 0, "pulls", 2)


def test_an_overdue_haul_does_not_move_with_the_hauls_after_it() -> None:
    hauls = tuple(Step(DONE + day * DAY, 7 + day) for day in range(1, 36))
    record = UpkeepRecord((done(pulls=7),), pulls=42, pulled_at=DONE + 35 * DAY, hauls=hauls)
    assert one_due(rule(every_pulls=30), record, DONE + 36 * DAY).since == DONE + 30 * DAY


def test_days_ashore_do_not_bring_forward_what_comes_due_in_the_water() -> None:
    """10 days in the water, 50 ashore, and again in the water: 20 days were reached on day 70."""
    in_water = (Step(DONE, 0.0), Step(DONE + 10 * DAY, 10.0), Step(DONE + 60 * DAY, 10.0))
    record = UpkeepRecord(
        (done(),), days_in_water=13.0, counted_to=DONE + 63 * DAY, fishing=True, in_water=in_water
    )
    due = one_due(rule(every_days_in_water=20), record, DONE + 75 * DAY)
    assert (due.state, due.since) == ("overdue", DONE + 70 * DAY)


def test_hours_first_read_long_after_the_doing_count_from_then_and_are_told_as_not_known() -> None:
    late = done(engine_h=412.0, engine_read_at=DONE + 9 * DAY)
    record = UpkeepRecord((late,), engine_h=700.0, read_at=DONE + 50 * DAY)
    due = one_due(rule(every_engine_h=100), record, DONE + 51 * DAY)
    assert (due.state, due.left, due.not_known) == ("overdue", -188, ("engine h",))


def test_days_in_the_water_run_on_while_traps_fish() -> None:
    fishing = UpkeepRecord((done(days_in_water=5.0),), days_in_water=7.0, counted_to=DONE + 4 * DAY, fishing=True)
    of = rule(every_days_in_water=20)
    assert one_due(of, fishing, DONE + 6 * DAY).left == 16  # 2 told and 2 since
    overdue = one_due(of, fishing, DONE + 30 * DAY)
    assert (overdue.state, overdue.since) == ("overdue", DONE + 22 * DAY)
    ashore = UpkeepRecord((done(days_in_water=5.0),), days_in_water=7.0, counted_to=DONE + 4 * DAY)
    assert one_due(of, ashore, DONE + 30 * DAY).left == 18


def test_of_two_intervals_the_one_that_comes_first_binds() -> None:
    """60 of 100 h in 30 days: the rest in 20 more, before the 365 days are over, unless the engine rests."""
    of = rule(every_engine_h=100, every_days=365)
    record = UpkeepRecord((done(engine_h=0.0),), engine_h=60.0, read_at=DONE + 30 * DAY)
    assert one_due(of, record, DONE + 30 * DAY).unit == "engine h"
    resting = one_due(of, record, DONE + 300 * DAY)
    assert (resting.unit, resting.due_on) == ("", date(2027, 11, 1))


def test_an_interval_that_is_past_binds_before_one_to_come() -> None:
    of = rule(every_engine_h=100, every_days=30)
    record = UpkeepRecord((done(engine_h=0.0),), engine_h=20.0, read_at=DONE + 30 * DAY)
    assert one_due(of, record, DONE + 40 * DAY).due_on == date(2026, 12, 1)


def test_hours_never_told_leave_the_calendar_to_bind_and_are_told_as_not_known() -> None:
    of = rule(every_engine_h=100, every_days=30)
    due = one_due(of, UpkeepRecord((done(),)), DONE + DAY)
    assert (due.state, due.due_on, due.not_known) == ("fine", date(2026, 12, 1), ("engine h",))
    only_hours = one_due(rule(every_engine_h=100), UpkeepRecord((done(),), first_at=DONE), DONE + DAY)
    assert (only_hours.state, only_hours.not_known) == ("never told", ("engine h",))


def test_safety_gear_comes_first_of_what_is_due_and_what_is_fine_comes_last() -> None:
    rules = (
        rule("anodes", every_days=90),
        rule("engine oil", every_days=10),
        rule("bilge pump", every_days=30),
        rule("impeller", every_days=365),
        rule("life-jacket inflators", safety=True, every_days=40),
        rule("first aid", safety=True, every_days=365),
        rule("gear oil", every_days=5),
    )
    record = UpkeepRecord(tuple(done(of.name) for of in rules if of.name != "impeller"), first_at=DONE)
    found = all_due(rules, record, DONE + 28 * DAY)
    assert [(due.task, due.state) for due in found] == [
        ("life-jacket inflators", "due soon"),
        ("gear oil", "overdue"),
        ("engine oil", "overdue"),
        ("impeller", "never told"),
        ("bilge pump", "due soon"),
        ("first aid", "fine"),
        ("anodes", "fine"),
    ]


def test_a_clock_behind_the_log_makes_nothing_due() -> None:
    record = UpkeepRecord(
        (done(days_in_water=1.0),), days_in_water=1.0, counted_to=DONE, fishing=True, first_at=DONE
    )
    of = rule(every_days=30, every_days_in_water=10)
    assert one_due(of, record, DONE - 100 * DAY).state == "fine"


@given(
    every=st.integers(1, 200),
    used=st.floats(0, 400),
    days=st.integers(1, 400),
    later=st.integers(0, 400),
    share=st.floats(0, 0.5),
)
def test_time_and_use_never_make_a_task_less_due(
    every: int, used: float, days: int, later: int, share: float
) -> None:
    of = rule(every_engine_h=every, every_days=every, soon_share=share)
    record = UpkeepRecord((done(engine_h=0.0),), engine_h=used, read_at=DONE + days * DAY)
    now, then = (one_due(of, record, DONE + (days + more) * DAY) for more in (0, later))
    assert then.level >= now.level
    assert DONE <= (then.since or DONE) <= DONE + (days + later) * DAY
