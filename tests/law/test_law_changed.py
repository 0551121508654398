"""After the letter: what makes a CHANGED CALL, and what never may. All weather is invented."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest

from law.world import (
    INNER_GRID,
    NEW_YORK,
    NOW,
    OUTER_GRID,
    TEXT,
    WARNINGS,
    WITH_STATION,
    World,
    alerts,
    labels_for,
    said,
    set_days_ago,
    settings_from,
    settings_with,
    warning,
    world,
)
from soakbell.fishery.rules import DateSpan, Effect, Order, Rule
from soakbell.gear.log import Barred, BroughtAshore, Pinned
from soakbell.morning import Morning, look_again, make_call
from soakbell.planning.call import Call, CallWord, Reason
from soakbell.sea.sources import FaultCode, SourceKind
from soakbell.survey import ReplyKey

HOUR = timedelta(hours=1)
ENTRIES = set_days_ago(settings_from(), 8)


def utc(hour: int, minute: int = 0) -> datetime:
    return datetime(2026, 12, 8, hour, minute, tzinfo=NOW.tzinfo)


def at(when: datetime, **differs: object) -> World:
    """The world at another time of the same day, every source renewed."""
    return replace(world(now=when, **differs), entries=ENTRIES)  # type: ignore[arg-type]


def called() -> Morning:
    """The morning's PULL: leaves 12:15, lands 15:14, may leave until 15:15 (UTC)."""
    morning = replace(world(), entries=ENTRIES).call()
    assert morning.call.word is CallWord.PULL
    assert morning.call.window is not None
    assert (morning.call.window.leaves_at, morning.call.window.last_departure_at) == (utc(12, 15), utc(15, 15))
    return morning


def again(one: World, before: Morning | None = None) -> Call | None:
    before = before or called()
    assert before.trip is not None
    return look_again(before.call, before.trip, one.call(), one.now)


def blowing(first: int, last: int, wind_kt: float = 18) -> dict[str, object]:
    """Grid wind over the limit in the hours (UTC) from ``first`` to ``last``; the grid begins an hour ago."""

    def curve(now: datetime) -> dict[str, object]:
        begins = (now - HOUR).hour
        return {"wind_kt": lambda h: wind_kt if first <= begins + h < last else 7.0, "text_wind_kt": 14}

    return {"curve": curve}


def windy_at(when: datetime, first: int, last: int) -> World:
    curve = blowing(first, last)["curve"]
    return at(when, **curve(when))  # type: ignore[operator]


# ---- Nothing changed


@pytest.mark.parametrize("when", [utc(9, 45), utc(11), utc(12, 15), utc(13), utc(15, 15), utc(17), utc(18, 30)])
def test_while_nothing_changes_no_letter_goes_out(when: datetime) -> None:
    assert again(at(when)) is None


@pytest.mark.parametrize("when", [utc(10), utc(13), utc(15, 20)])
def test_the_same_replies_a_little_older_but_fresh_are_no_change(when: datetime) -> None:
    """All but the list of warnings, which must be of the last hour."""
    older = replace(world(), now=when, entries=ENTRIES)
    assert again(older.with_reply(WARNINGS, alerts(when - timedelta(minutes=60)))) is None


def test_better_weather_is_no_change() -> None:
    assert again(at(utc(10), text_wind_kt=5, text_sea_ft=1, wind_kt=3, gust_kt=5, sea_m=0.1)) is None


def test_a_call_that_was_no_pull_is_never_changed() -> None:
    blown = replace(world(text_wind_kt=25), entries=ENTRIES).call()
    assert blown.call.word is CallWord.WAIT
    trip = called().trip
    assert trip is not None
    assert look_again(blown.call, trip, at(utc(11)).call(), utc(11)) is None


def test_what_comes_after_the_last_landing_is_no_concern_of_the_trip() -> None:
    assert again(windy_at(utc(12, 30), 19, 24)) is None


def test_hours_that_have_passed_are_not_asked_again() -> None:
    """A newer forecast begins at its issue and no longer speaks of them."""
    assert again(windy_at(utc(14, 30), 12, 14)) is None


# ---- Worse


def test_a_new_warning_over_the_trip_changes_the_call() -> None:
    """A8."""
    advisory = warning("n1", sent_at=utc(10, 30), onset_at=utc(13), ends_at=utc(23))
    changed = again(at(utc(11), warnings=[advisory]))
    assert changed is not None
    assert (changed.word, changed.window) == (CallWord.WAIT, None)
    assert (changed.reasons[0].code, changed.reasons[0].values["event"]) == ("warning", "Small Craft Advisory")
    assert [w.id for w in changed.warnings] == ["n1"]


def test_raised_wind_changes_the_call() -> None:
    changed = again(at(utc(11), text_wind_kt=20))
    assert changed is not None
    assert changed.word is CallWord.WAIT
    assert changed.reasons[0].code == "over_limit"


@pytest.mark.parametrize("when", [utc(11), utc(13), utc(17, 30)])
@pytest.mark.parametrize("key", [TEXT, INNER_GRID, OUTER_GRID, WARNINGS], ids=str)
def test_a_source_lost_before_or_under_way_changes_the_call(key: ReplyKey, when: datetime) -> None:
    changed = again(at(when).with_reply(key))
    assert changed is not None
    assert (changed.word, changed.window) == (CallWord.NO_CALL, None)
    assert (changed.reasons[0].code, changed.reasons[0].values["key"]) == ("source_fault", key[1])


@pytest.mark.parametrize("trouble", ["", "last asked 10:25 UTC: timed out"])
def test_a_network_that_has_been_dead_for_an_hour_changes_the_call(trouble: str) -> None:
    """A3: nothing newer than the letter's replies; its list of warnings was made at 09:25."""
    assert again(replace(world(), now=utc(10, 25), entries=ENTRIES)) is None
    dead = replace(world(), now=utc(10, 26), entries=ENTRIES)
    hand = replace(dead.on_hand(), troubles={WARNINGS: trouble} if trouble else {})
    before = called()
    assert before.trip is not None
    fresh = make_call(dead.settings, hand, dead.entries, dead.now)
    changed = look_again(before.call, before.trip, fresh, dead.now)
    assert changed is not None
    assert (changed.word, changed.window) == (CallWord.NO_CALL, None)
    first = changed.reasons[0].values
    assert (first["kind"], first["code"]) == (SourceKind.WARNINGS, FaultCode.STALE)
    assert first["detail"] == "; ".join(
        part for part in ("a call rests on a list of the last 60 minutes only", trouble) if part
    )


def test_replies_that_aged_past_their_limit_change_the_call() -> None:
    """A1: a grid updated at 05:30 is good for twelve hours; the trip may be out until 18:14."""

    def beside_old_grid(when: datetime) -> Call | None:
        return again(at(when).with_reply(INNER_GRID, *world(now=utc(5, 50)).replies[INNER_GRID]))

    assert beside_old_grid(utc(17, 29)) is None
    changed = beside_old_grid(utc(17, 31))
    assert changed is not None
    assert changed.word is CallWord.NO_CALL
    assert changed.reasons[0].values["kind"] == "grid"


def test_a_clock_under_suspicion_changes_the_call() -> None:
    """W11."""
    changed = again(replace(at(utc(11)), clock_suspect=True))
    assert changed is not None
    assert changed.word is CallWord.NO_CALL


def test_a_station_that_measures_too_much_changes_the_call() -> None:
    settings = settings_with(WITH_STATION)
    before = replace(world(settings=settings), entries=ENTRIES).call()
    calm = at(utc(11), settings=settings)
    assert again(calm, before) is None
    changed = again(at(utc(11), settings=settings, measured=(8.3, 9.0, 0.4)), before)  # 8.3 m/s is 16.1 kt
    assert changed is not None
    assert changed.word is not CallWord.PULL or changed.window != before.call.window


# ---- Before leaving a narrower window may take the place of the old one; afterwards none may


def test_before_leaving_a_window_that_still_fits_takes_the_place_of_the_old_one() -> None:
    changed = again(windy_at(utc(11), 12, 15))
    assert changed is not None
    assert changed.word is CallWord.PULL
    assert changed.window is not None
    assert changed.window.leaves_at >= utc(15)


def test_a_window_whose_last_departures_no_longer_fit_is_narrowed_in_good_time() -> None:
    """The letter said "until 15:15"; leaving then would now meet 18 kt at 17:00. He may read no further letter."""
    changed = again(windy_at(utc(10), 17, 23))
    assert changed is not None
    assert changed.word is CallWord.PULL
    assert changed.window is not None
    trip_h = changed.window.lands_at - changed.window.leaves_at
    assert changed.window.last_departure_at + trip_h <= utc(17)


def test_a_window_with_a_bad_hour_in_its_middle_does_not_stand() -> None:
    """Leaving first (lands 13:00) and leaving last (at 15:15) miss the hour; leaving at 13:00 meets it."""
    wide = replace(called().call, window=replace(called().call.window, leaves_at=utc(10)))  # type: ignore[type-var]
    one = windy_at(utc(9, 45), 14, 15)
    trip = called().trip
    assert trip is not None
    assert look_again(wide, trip, one.call(), one.now) is not None


@pytest.mark.parametrize("when", [utc(12, 15), utc(12, 20), utc(13, 10)])
def test_once_the_boat_may_have_left_there_is_never_another_window(when: datetime) -> None:
    one = windy_at(when, 13, 15)
    assert one.call().call.word is CallWord.PULL  # there is one, later in the day
    changed = again(one)
    assert changed is not None
    assert (changed.word, changed.window) == (CallWord.WAIT, None)
    assert changed.reasons[0].code == "trip_no_longer_fits"
    assert changed.reasons[0].values["leaves_at"] == utc(12, 15)


# ---- The skipper bars the day, or a string, after the letter


TODAY = NOW.astimezone(NEW_YORK).date()


@pytest.mark.parametrize("when", [utc(11), utc(13)])
def test_a_day_that_is_barred_after_its_letter_is_a_wait(when: datetime) -> None:
    changed = again(at(when).telling(Barred(TODAY)))
    assert changed is not None
    assert (changed.word, changed.window) == (CallWord.WAIT, None)
    assert changed.reasons[0].code == "barred_by_skipper"


def test_a_string_that_is_barred_before_the_boat_may_leave_is_taken_out_of_the_trip() -> None:
    changed = again(at(utc(11)).telling(Barred(TODAY, "Outer Bar")))
    assert changed is not None
    assert changed.word is CallWord.PULL
    assert changed.window is not None
    assert [pull.string for pull in changed.window.pulls] == ["Nine Foot"]


def test_a_string_that_is_barred_once_the_boat_may_be_out_is_the_skippers_own_affair() -> None:
    assert again(at(utc(12, 15)).telling(Barred(TODAY, "Outer Bar"))) is None


def test_a_bar_of_another_day_or_a_pin_after_the_letter_is_no_change() -> None:
    one = at(utc(11)).telling(Barred(TODAY + timedelta(days=1)))
    assert again(one.telling(Pinned(TODAY, "Outer Bar"))) is None


# ---- Told while the PULL stands


def tonight(key: str = "t1", **differs: object) -> dict[str, object]:
    """An advisory that begins long after the boat is home."""
    given = {"sent_at": utc(9, 40), "onset_at": utc(22), "ends_at": utc(23) + 12 * HOUR} | differs
    return warning(key, **given)  # type: ignore[arg-type]


def test_a_warning_that_does_not_touch_the_trip_is_told_while_the_pull_stands() -> None:
    told = again(at(utc(10), warnings=[tonight()]))
    assert told is not None
    assert (told.word, told.window) == (CallWord.PULL, called().call.window)
    assert [w.id for w in told.warnings] == ["t1"]


def test_a_warning_that_was_told_is_not_told_again_nor_are_its_later_messages() -> None:
    before = called()
    told = again(at(utc(10), warnings=[tonight()]), before)
    assert told is not None
    before = replace(before, call=told)
    assert again(at(utc(10, 15), warnings=[tonight()]), before) is None
    later = tonight("t2", sent_at=utc(10, 20), action="CON", message_type="Update", references=["t1"])
    assert again(at(utc(10, 30), warnings=[later]), before) is None


def test_another_warning_of_the_same_name_is_told_too() -> None:
    before = called()
    told = again(at(utc(10), warnings=[tonight()]), before)
    assert told is not None
    another = tonight("t3", number=62, sent_at=utc(10, 20), onset_at=utc(23), ends_at=utc(23) + 20 * HOUR)
    again_told = again(at(utc(10, 30), warnings=[tonight(), another]), replace(before, call=told))
    assert again_told is not None
    assert again_told.word is CallWord.PULL
    assert {w.id for w in again_told.warnings} == {"t1", "t3"}


def test_a_told_warning_that_is_moved_up_over_the_trip_changes_the_call() -> None:
    before = called()
    told = again(at(utc(10), warnings=[tonight()]), before)
    assert told is not None
    sooner = tonight(
        "t4", sent_at=utc(11), onset_at=utc(14), action="EXB", message_type="Update", references=["t1"]
    )
    changed = again(at(utc(11, 15), warnings=[sooner]), replace(before, call=told))
    assert changed is not None
    assert changed.word is CallWord.WAIT


def test_a_headline_of_warning_in_a_newer_text_changes_the_call() -> None:
    changed = again(at(utc(11), headlines=["SMALL CRAFT ADVISORY IN EFFECT THIS AFTERNOON"]))
    assert changed is not None
    assert changed.word is CallWord.WAIT
    assert changed.reasons[0].code == "headline"


def test_a_newer_text_that_is_not_understood_changes_the_call() -> None:
    periods = [(label, said(10, 2, more=" Wibble wobble.")) for label in labels_for(utc(10))]
    changed = again(at(utc(11), periods=periods))
    assert changed is not None
    assert changed.word is CallWord.NO_CALL
    assert changed.reasons[0].code == "unclear"


# ---- The rules of the fishery


def ordered(one: World, effect: Effect) -> World:
    """An order of the day, in force to the end of the season."""
    span = DateSpan(date(2026, 12, 8), date(2027, 5, 6))
    order = Order(effect, Rule("red tide", span, "invented", date(2026, 12, 8), "read"))
    fishery = replace(one.settings.fishery, orders=(order,))
    return replace(one, settings=replace(one.settings, fishery=fishery))


def test_a_harvest_falls_where_an_order_leaves_only_the_taking_up() -> None:
    before_leaving = again(ordered(at(utc(11)), "bars harvest"))
    assert before_leaving is not None
    assert (before_leaving.word, before_leaving.take_up) == (CallWord.PULL, True)
    out = again(ordered(at(utc(13)), "bars harvest"))
    assert out is not None
    assert (out.word, out.window) == (CallWord.WAIT, None)


@pytest.mark.parametrize("when", [utc(11), utc(13)])
def test_any_pull_falls_where_an_order_bars_traps(when: datetime) -> None:
    changed = again(ordered(at(when), "bars traps"))
    assert changed is not None
    assert (changed.word, changed.take_up) == (CallWord.WAIT, False)
    assert [reason.code for reason in changed.reasons][-1] == "ask_authority"


TAKE_UP = datetime(2027, 5, 3, 8, 30, tzinfo=UTC)


def test_a_call_to_take_up_stands_and_stays_one_after_the_traps_are_home() -> None:
    morning = world(now=TAKE_UP).call()
    window = morning.call.window
    assert window is not None
    later = window.last_departure_at
    home = replace(world(now=later), entries=world(now=TAKE_UP).entries)
    for string in home.settings.strings:
        home = home.telling(BroughtAshore(), string.name, days_ago=-(later - NOW) / timedelta(days=1))
    assert not any(trap.fishing for trap in home.call().call.strings)
    assert again(home, morning) is None
    gale = warning("w1", sent_at=later, onset_at=later + 12 * HOUR, ends_at=later + 14 * HOUR, event="Gale Watch")
    told = again(home.with_reply(WARNINGS, alerts(later, gale)), morning)
    assert told is not None
    assert (told.word, told.take_up, told.window) == (CallWord.PULL, True, window)


def short_day(now: datetime, *, until: int = 9) -> World:
    """Fit from 09:00 on, for ``until`` - 5 hours, two of them for after the landing."""
    gone = int((now.replace(minute=0) - TAKE_UP.replace(minute=0)) / HOUR)

    def blows(fit: float, else_: float) -> Callable[[int], float]:
        return lambda h: fit if 5 <= h + gone < until else else_

    one = world(now=now, text_wind_kt=10, text_sea_ft=3, sea_m=0.8, wind_kt=blows(7, 25), gust_kt=blows(11, 29))
    boat = one.settings.boat.model_copy(update={"stack_min_per_trap": 2.0})
    entries = set_days_ago(one.settings, 2, TAKE_UP)
    return replace(one, settings=replace(one.settings, boat=boat), entries=entries)


def brought(call: Call) -> dict[str, int]:
    return {} if call.window is None else {pull.string: pull.traps for pull in call.window.pulls}


def test_a_trip_that_its_hours_cut_stands_as_called_where_they_carry_more_since() -> None:
    morning, soon = short_day(TAKE_UP).call(), TAKE_UP + HOUR
    assert 0 < brought(morning.call)["Nine Foot"] < 24
    longer = short_day(soon, until=14)
    assert brought(longer.call().call)["Nine Foot"] == 24
    assert again(longer, morning) is None


def test_a_trip_that_its_hours_cut_gives_way_to_a_shorter_one_before_it_leaves() -> None:
    morning = short_day(TAKE_UP, until=10).call()
    changed = again(short_day(TAKE_UP + HOUR), morning)
    assert changed is not None
    assert (changed.word, changed.take_up) == (CallWord.PULL, True)
    assert 0 < sum(brought(changed).values()) < sum(brought(morning.call).values())
    assert morning.call.window is not None
    out = again(short_day(morning.call.window.leaves_at + timedelta(minutes=5), until=7), morning)
    assert out is not None
    assert (out.word, out.window) == (CallWord.WAIT, None)


ORDERED = ordered(world(), "bars harvest")
"""The harvest closed by an order: all that the law leaves is to take traps up."""


@pytest.mark.parametrize("when", [utc(11), utc(13)])
def test_a_call_to_take_up_stands_where_its_order_is_lifted_or_lost(when: datetime) -> None:
    morning = ORDERED.call()
    assert (morning.call.word, morning.call.take_up) == (CallWord.PULL, True)
    assert at(when).call().call.take_up is False
    assert again(at(when), morning) is None


def test_no_harvest_takes_the_place_of_a_call_to_take_up_that_day() -> None:
    """Nine Foot is barred, so the called trip falls; the harvest of the other string would fit."""
    morning = ORDERED.call()
    lifted = at(utc(11)).telling(Barred(date(2026, 12, 8), "Nine Foot"))
    assert (lifted.call().call.word, lifted.call().call.take_up) == (CallWord.PULL, False)
    changed = again(lifted, morning)
    assert changed is not None
    assert (changed.word, changed.window, changed.take_up) == (CallWord.WAIT, None, False)
    assert changed.reasons[0] == Reason("trip_no_longer_fits", {"barred": ("Nine Foot",)})
