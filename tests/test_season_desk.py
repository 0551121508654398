"""Season's end for one boat's letters: dates, trips, odds, and what they come to when something lacks.

INVENTED DATA.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from email import message_from_bytes, policy
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from sqlalchemy import update

from law.world import SETTINGS_TOML, settings_from
from season_scenes import (
    BOAT,
    DAY,
    DEADLINE,
    HOUR,
    LAST_HARVEST,
    MORNING,
    TERMS,
    TODAY,
    Port,
    evening,
    port_of,
    sea_at,
    told,
)
from soakbell import season_desk
from soakbell.call_record import as_record
from soakbell.climatology import count_climate, keep_climate
from soakbell.fishery.rules import DateSpan, Order, Rule
from soakbell.gear.fold import fold
from soakbell.gear.log import Barred, BroughtAshore, FoundMissing, LogEntry, Moved, Retired, TrapsSet, new_entry
from soakbell.gear.strings import Mark
from soakbell.gear_desk import GearDesk
from soakbell.planning.bells import Bell
from soakbell.planning.call import Call, CallWord
from soakbell.planning.recovery import RecoveryList, recovery_list
from soakbell.planning.season_end import TakeUpPlan, TakeUpTrip, likely_days
from soakbell.planning.season_told import OddsTold, SeasonAhead, TodayCounts
from soakbell.planning.take_up_trips import TrapsOut, plan_trips
from soakbell.planning.trips import Boat
from soakbell.season_desk import RECOVERY, DeckLoad
from soakbell.season_odds import kept_odds
from soakbell.store.letters import get_note, put_note
from soakbell.store.log_keeper import LogKeeper
from soakbell.store.schema import CallRow

TOMORROW = TODAY + DAY


@pytest.fixture
def calm(tmp_path: Path) -> Iterator[Port]:
    port = port_of(tmp_path)
    yield port
    port.store.close()


@pytest.fixture
def windy(tmp_path: Path) -> Iterator[Port]:
    folder = tmp_path / "windy"
    folder.mkdir()
    port = port_of(folder, sea_at(text_wind_kt=25, wind_kt=25, gust_kt=32))
    yield port
    port.store.close()


def beside(port: Port) -> SeasonAhead:
    """What is told beside the call of the morning."""
    morning = port.sea.call()
    ahead = port.season.ahead(morning.call, morning.situation, MORNING, clock_suspect=False)
    assert ahead is not None
    return ahead


def odds_of(ahead: SeasonAhead) -> OddsTold:
    assert ahead.odds is not None, (ahead.lacking, ahead.fault)
    return ahead.odds


def chances(odds: OddsTold) -> dict[date, float]:
    return {start.day: start.chance for start in odds.starts}


# ---- what is told


def test_the_end_comes_with_its_days_trips_odds_and_last_bait(calm: Port) -> None:
    """60 traps at 30 a trip; floors of 5 and 6 days before the last harvest day."""
    ahead = beside(calm)
    assert not ahead.fault
    assert ahead.end is not None
    assert (ahead.end.deadline, ahead.end.last_harvest, ahead.days_left) == (DEADLINE, LAST_HARVEST, 14)
    assert ahead.recovery is not None
    assert [trip.traps for trip in ahead.recovery.trips] == [30, 30]
    assert {rebait.string: rebait.last_on for rebait in ahead.rebaits} == {
        "Nine Foot": LAST_HARVEST - 6 * DAY,
        "Outer Bar": LAST_HARVEST - 7 * DAY,
    }
    odds = odds_of(ahead)
    assert (odds.day, odds.traps, odds.trips) == (TODAY, 60, 2)
    assert [start.day for start in odds.starts] == [TODAY + n * DAY for n in range(15)]
    assert ahead.recovery.starts == odds.start_by


@pytest.mark.parametrize("hour", [7, 11, 16])
def test_the_last_day_for_fresh_bait_is_the_last_that_a_call_of_the_last_harvest_day_still_pulls(
    calm: Port, hour: int
) -> None:
    (last,) = {r.last_on for r in beside(calm).rebaits if r.string == "Nine Foot"}
    assert last is not None
    sea = sea_at(datetime(LAST_HARVEST.year, LAST_HARVEST.month, LAST_HARVEST.day, 8, 30, tzinfo=UTC))

    def pulled(day: date) -> bool:
        call = replace(sea, entries=(told(TrapsSet(), "Nine Foot", evening(day, hour)),)).call().call
        return call.word is CallWord.PULL

    assert pulled(last)
    assert not pulled(last + DAY)


def test_a_later_start_has_never_a_better_chance(calm: Port) -> None:
    told = list(chances(odds_of(beside(calm))).values())
    assert told == sorted(told, reverse=True)


def test_a_day_of_harvest_counts_for_no_trip_whatever_the_call_says(calm: Port, windy: Port) -> None:
    """A PULL for the catch has no hours for stacking a whole load."""
    assert calm.sea.call().call.word is CallWord.PULL
    assert windy.sea.call().call.word is CallWord.WAIT
    for port in (calm, windy):
        odds = odds_of(beside(port))
        assert odds.reckoned_from.today is TodayCounts.NOT
        assert chances(odds)[TODAY] == chances(odds)[TOMORROW]


def test_once_the_harvest_is_closed_today_still_counts_as_called(tmp_path: Path) -> None:
    told = {}
    for name, wind_kt, word in (("fair", 10, CallWord.PULL), ("blown out", 25, CallWord.WAIT)):
        (tmp_path / name).mkdir()
        now = evening(DEADLINE, 4)
        port = port_of(tmp_path / name, sea_at(now, text_wind_kt=wind_kt, wind_kt=wind_kt - 3))
        port.terms = replace(TERMS, deck_traps=60)
        morning = port.sea.call()
        assert (morning.call.word, morning.call.take_up) == (word, True)
        ahead = port.season.ahead(morning.call, morning.situation, now, clock_suspect=False)
        assert ahead is not None
        counts = TodayCounts.CALLED if word is CallWord.PULL else TodayCounts.NOT
        assert odds_of(ahead).reckoned_from.today is counts
        told[name] = chances(odds_of(ahead))[DEADLINE]
        assert chances(odds_of(port.season.between(now)))[DEADLINE] == 0, "without a call it is over"
        port.store.close()
    assert told["fair"] > 0.9
    assert told["blown out"] == 0


def test_beside_a_call_to_take_up_its_trip_is_the_first_and_the_rest_comes_after(tmp_path: Path) -> None:
    """Nine Foot has soaked longest by the log, so the call takes it first, cut or whole as the deck carries."""
    now = evening(DEADLINE - 3 * DAY, 4)
    settings = settings_from(SETTINGS_TOML)
    settings = replace(settings, boat=settings.boat.model_copy(update={"deck_traps": 30}))
    sea = sea_at(now, settings)
    entries = (told(TrapsSet(), "Outer Bar", now - 12 * DAY), told(TrapsSet(), "Nine Foot", now - 9 * DAY))
    port = port_of(tmp_path, replace(sea, entries=entries))
    morning = port.sea.call()
    window = morning.call.window
    assert (morning.call.word, morning.call.take_up, window is None) == (CallWord.PULL, True, False)
    assert window is not None
    ahead = port.season.ahead(morning.call, morning.situation, now, clock_suspect=False)
    assert ahead is not None
    assert ahead.recovery is not None
    first, *rest = ahead.recovery.trips
    assert [(string.name, string.places) for string in first.strings] == [
        (p.string, p.places) for p in window.pulls
    ]
    assert first.minutes == (window.lands_at - window.leaves_at) / timedelta(minutes=1)
    assert odds_of(ahead).trips_from == first.day == morning.call.day
    assert sum(trip.traps for trip in (first, *rest)) == 60
    port.season.keep(ahead, now)
    keep_call(port, morning.call)
    before = port.season.between(window.last_departure_at)
    assert before.recovery is not None
    assert before.recovery.trips == ahead.recovery.trips, "until the last departure the same trips are named"
    port.store.close()


def test_a_blown_out_forecast_takes_its_days_away(calm: Port, windy: Port) -> None:
    """All five days that the forecast reaches are 10 kt over the limit, which errors hardly make up for."""
    fair, foul = chances(odds_of(beside(calm))), chances(odds_of(beside(windy)))
    assert foul[TOMORROW] < fair[TOMORROW]
    assert foul[TOMORROW] == pytest.approx(foul[TODAY + 4 * DAY], abs=0.01)


def test_a_forecast_that_is_lost_takes_its_days_away_too(calm: Port) -> None:
    """Its days are not taken for usual ones."""
    blind = replace(calm, sea=replace(calm.sea, replies={}))
    assert blind.sea.call().call.word is CallWord.NO_CALL
    lost = chances(odds_of(beside(blind)))
    assert lost[TODAY] == lost[TODAY + 4 * DAY] < chances(odds_of(beside(calm)))[TOMORROW]


def test_days_off_and_barred_days_count_for_no_trip(calm: Port) -> None:
    free = replace(calm, terms=replace(TERMS, crew_days_off=frozenset()))
    open_to_all = chances(odds_of(beside(free)))
    assert open_to_all[TOMORROW] > chances(odds_of(beside(calm)))[TOMORROW], "Sundays are off"
    bars = tuple(
        new_entry(Barred(TODAY + n * DAY, string), happened_at=MORNING - HOUR, told_at=MORNING, told_by="cli")
        for n, string in ((1, ""), (2, "Outer Bar"))
    )
    free.tell(*bars)
    barred = chances(odds_of(free.season.between(MORNING)))
    assert barred[TOMORROW] == barred[TODAY + 2 * DAY] == barred[TODAY + 3 * DAY]


def test_two_trips_a_day_are_sooner_done(calm: Port) -> None:
    twice = replace(calm, terms=replace(TERMS, take_up=replace(TERMS.take_up, trips_a_day=2)))
    assert odds_of(beside(calm)).starts[-1].chance == 0, "Thursday 6 May is one day, and there are two trips"
    assert odds_of(beside(twice)).starts[-1].chance > 0.4, "both fit the six hours of a usual day"


def test_long_before_the_end_nothing_is_reckoned(calm: Port) -> None:
    early = calm.season.between(MORNING - 60 * DAY)
    assert (early.odds, early.in_sight) == (None, False)
    assert early.days_left == 74


def test_with_every_trap_home_nothing_is_reckoned(calm: Port) -> None:
    calm.all_ashore()
    ahead = calm.season.between(MORNING)
    assert not ahead.in_sight
    assert (ahead.odds, ahead.rebaits, ahead.lacking) == (None, (), "")


def test_past_the_deadline_the_list_stays_and_no_odds_are_told(calm: Port) -> None:
    ahead = calm.season.between(evening(DEADLINE + 3 * DAY))
    assert (ahead.odds, ahead.days_left, ahead.fault) == (None, -3, "")
    assert ahead.recovery is not None
    assert ahead.recovery.not_home == 60


def test_missing_traps_stay_on_the_list_until_they_are_written_off(calm: Port) -> None:
    calm.tell(told(FoundMissing(), "Outer Bar", MORNING - 2 * HOUR, 7))
    calm.tell(told(BroughtAshore(), "Nine Foot", MORNING - HOUR))
    calm.tell(told(BroughtAshore(), "Outer Bar", MORNING - HOUR, *(n for n in range(1, 37) if n != 7)))
    ahead = calm.season.between(evening(DEADLINE + DAY))
    assert ahead.in_sight
    assert ahead.asks_for_letter(None)
    calm.tell(told(Retired("lost"), "Outer Bar", evening(DEADLINE), 7))
    assert not calm.season.between(evening(DEADLINE + DAY)).in_sight


@pytest.mark.parametrize(
    ("since", "of_before"),
    [(MORNING - 8 * DAY, 0), (MORNING - 370 * DAY, 60), (None, 60)],
    ids=["this season", "the last one", "not known"],
)
def test_a_trap_that_nobody_knows_since_when_counts_as_one_of_an_earlier_season(
    calm: Port, monkeypatch: pytest.MonkeyPatch, since: datetime | None, of_before: int
) -> None:
    def listed(*args: Any, **options: Any) -> RecoveryList:
        found = recovery_list(*args, **options)
        unplanned = (replace(s, traps=tuple(replace(t, since=since) for t in s.traps)) for s in found.unplanned)
        return replace(found, unplanned=tuple(unplanned))

    monkeypatch.setattr(season_desk, "recovery_list", listed)
    ahead = calm.season.between(MORNING)
    assert ahead.recovery is not None
    assert ahead.recovery.of_before == of_before


# ---- today, as called


def take_up_port(folder: Path, now: datetime, deck_traps: int = 60, **weather: float) -> Port:
    folder.mkdir(exist_ok=True)
    port = port_of(folder, sea_at(now, **({"text_wind_kt": 10, "wind_kt": 7} | weather)))
    port.terms = replace(TERMS, deck_traps=deck_traps)
    return port


def keep_call(port: Port, call: Call) -> None:
    """As a letter of the day stores it."""
    with port.store.writing() as session:
        session.add(
            CallRow(
                boat=BOAT,
                day=call.day,
                made_at=call.made_at,
                word=call.word.value,
                detail=as_record(call, None),
                inputs=[],
                code_version="0",
                tz_version="0",
            )
        )


def told_beside(port: Port, now: datetime) -> tuple[Call, SeasonAhead]:
    """The call of the day is stored, and the odds beside it are kept."""
    morning = port.sea.call()
    assert (morning.call.word, morning.call.take_up) == (CallWord.PULL, True)
    ahead = port.season.ahead(morning.call, morning.situation, now, clock_suspect=False)
    assert ahead is not None
    port.season.keep(ahead, now)
    keep_call(port, morning.call)
    return morning.call, ahead


def test_odds_with_today_as_called_are_of_use_up_to_the_last_departure(tmp_path: Path) -> None:
    now = evening(DEADLINE, 4)
    port = take_up_port(tmp_path, now)
    call, ahead = told_beside(port, now)
    assert call.window is not None
    last_at = call.window.last_departure_at
    assert port.season.between(last_at).odds == ahead.odds
    after = odds_of(port.season.between(last_at + timedelta(seconds=1)))
    assert (after.reckoned_from.today, chances(after)) == (TodayCounts.NOT, {DEADLINE: 0})
    port.store.close()


@pytest.mark.parametrize("change", ["recalled", "later", "fewer", "torn", "none"])
def test_odds_with_today_as_called_fall_with_that_call(tmp_path: Path, change: str) -> None:
    """Recalled, narrower, of fewer traps, unreadable, or of no letter that was written."""
    now = evening(DEADLINE - DAY, 4)
    port = take_up_port(tmp_path, now)
    morning = port.sea.call()
    ahead = port.season.ahead(morning.call, morning.situation, now, clock_suspect=False)
    port.season.keep(ahead, now)
    window = morning.call.window
    assert (ahead is None, window is None) == (False, False)
    assert ahead is not None
    assert window is not None
    keep_call(port, morning.call) if change != "none" else None
    assert (port.season.between(now + HOUR / 4).odds == ahead.odds) is (change != "none")
    changed = {
        "recalled": replace(morning.call, word=CallWord.WAIT, window=None),
        "later": replace(
            morning.call, window=replace(window, last_departure_at=window.last_departure_at - HOUR / 4)
        ),
        "fewer": replace(morning.call, window=replace(window, pulls=window.pulls[:1])),
    }
    if change in changed:
        keep_call(port, changed[change])
    elif change == "torn":
        with port.store.writing() as session:
            session.execute(update(CallRow).values(detail={"call": "torn"}))
    again = port.season.between(now + HOUR / 2)
    assert not again.fault
    odds = odds_of(again)
    assert (odds.reckoned_from.today, odds.reckoned_from.forecast_days) == (TodayCounts.NOT, 0)
    assert odds.trips_from == DEADLINE
    port.store.close()


def test_what_is_written_after_a_recall_tells_nothing_of_the_trip_that_was_recalled(tmp_path: Path) -> None:
    """The list of that evening, its calendar, and the bell of the days to start by."""
    now = evening(DEADLINE, 4)
    port = take_up_port(tmp_path, now)
    call, ahead = told_beside(port, now)
    assert dict(odds_of(ahead).start_by)[0.8] == DEADLINE
    assert "start:2027-05-06" in {bell.name for bell in standing(port, now)}
    keep_call(port, replace(call, word=CallWord.WAIT, window=None))
    assert "start:2027-05-06" not in {bell.name for bell in standing(port, now)}
    letter = port.ring(evening(DEADLINE))[RECOVERY].letter
    message = message_from_bytes(letter.message, policy=policy.default)
    parts = [str(part.get_content()) for part in message.walk() if not part.is_multipart()]
    said = " ".join(" ".join(parts).split())
    assert "Take-up trip 1" not in said
    assert "Start the take-up by today" not in said
    assert "as called" not in said
    port.store.close()


def standing(port: Port, now: datetime) -> tuple[Bell, ...]:
    keeper = LogKeeper(port.store, port.sea.settings.trap_strings)
    return GearDesk(port.sea.settings, None, port.store, keeper, port.terms).standing(now).apart


def test_a_likely_trip_is_of_use_until_its_day_begins(tmp_path: Path) -> None:
    now = evening(DEADLINE - 2 * DAY)
    port = take_up_port(tmp_path, now)
    port.clock.put(now)
    port.desk.write("eve", DEADLINE - 2 * DAY, 0, late=False, clock_suspect=False)
    assert odds_of(port.season.between(now)).reckoned_from.today is TodayCounts.LIKELY_NEXT
    next_day = odds_of(port.season.between(now + 8 * HOUR))
    assert next_day.reckoned_from.today is TodayCounts.NOT
    port.store.close()


def test_a_pull_that_brings_all_home_never_stands_beside_no_chance(tmp_path: Path) -> None:
    """One trap at each end of Outer Bar is left: the call and the way count its minutes apart."""
    now = evening(DEADLINE, 4)
    port = take_up_port(tmp_path, now)
    home = (
        told(BroughtAshore(), "Nine Foot", now - HOUR),
        told(BroughtAshore(), "Outer Bar", now - HOUR, *range(2, 36)),
    )
    port.tell(*home)
    port.sea = replace(port.sea, entries=(*port.sea.entries, *home))
    call, ahead = told_beside(port, now)
    assert call.window is not None
    odds = odds_of(ahead)
    assert odds.plan[0].minutes == (call.window.lands_at - call.window.leaves_at) / timedelta(minutes=1)
    assert chances(odds)[DEADLINE] > 0.9
    port.store.close()


def test_today_carries_the_called_trip_and_no_more(tmp_path: Path) -> None:
    """With 30 of 60 traps called on the last day but one, none is home that evening though hours are left."""
    now = evening(DEADLINE - DAY, 4)
    port = take_up_port(tmp_path, now, 30)
    settings = port.sea.settings
    settings = replace(settings, boat=settings.boat.model_copy(update={"deck_traps": 30}))
    port.sea = replace(port.sea, settings=settings)
    port.terms = replace(TERMS, deck_traps=30, take_up=replace(TERMS.take_up, trips_a_day=3))
    call, ahead = told_beside(port, now)
    odds = odds_of(ahead)
    assert sum(len(pull.places) for pull in call.window.pulls) == 30  # type: ignore[union-attr]
    assert odds.starts[0].half_by == DEADLINE
    assert odds.trip_days == (DEADLINE - DAY, DEADLINE)
    port.store.close()


def test_a_day_off_counts_for_no_trip_though_it_is_called(tmp_path: Path) -> None:
    now = evening(DEADLINE, 4)
    port = take_up_port(tmp_path, now)
    port.terms = replace(TERMS, deck_traps=60, crew_days_off=frozenset({DEADLINE.weekday()}))
    _, ahead = told_beside(port, now)
    odds = odds_of(ahead)
    assert (odds.reckoned_from.today, chances(odds)) == (TodayCounts.NOT, {DEADLINE: 0})
    port.store.close()


def test_a_string_that_is_barred_today_takes_nothing_from_the_trip_called_without_it(tmp_path: Path) -> None:
    now = evening(DEADLINE - DAY, 4)
    port = take_up_port(tmp_path, now)
    bar = new_entry(Barred(DEADLINE - DAY, "Outer Bar"), happened_at=now - HOUR, told_at=now, told_by="cli")
    port.tell(bar)
    port.sea = replace(port.sea, entries=(*port.sea.entries, bar))
    call, ahead = told_beside(port, now)
    assert [pull.string for pull in call.window.pulls] == ["Nine Foot"]  # type: ignore[union-attr]
    odds = odds_of(ahead)
    assert odds.trip_days == (DEADLINE - DAY, DEADLINE)
    assert chances(odds)[DEADLINE - DAY] > 0
    port.store.close()


# ---- odds against calls


@pytest.mark.parametrize("out", [("Nine Foot",), ("Outer Bar",), ("Nine Foot", "Outer Bar")], ids="+".join)
@pytest.mark.parametrize("deck_traps", [12, 60])
@pytest.mark.parametrize("until", [10, 11, 12, 13, 14])
def test_a_call_takes_up_at_least_what_the_odds_load_in_the_hours_of_its_window(
    until: int, deck_traps: int, out: tuple[str, ...]
) -> None:
    """Fit from 9:00 on; what the boat must have left after landing is no hour of a window."""
    now = evening(DEADLINE - DAY, 4)
    settings = settings_from(SETTINGS_TOML)
    settings = replace(settings, boat=settings.boat.model_copy(update={"deck_traps": deck_traps}))

    def wind_kt(hour: int) -> float:
        return 7.0 if 9 <= (now.hour - 4 - 1 + hour) % 24 < until else 25.0

    sea = sea_at(now, settings, text_wind_kt=10, wind_kt=wind_kt, gust_kt=lambda hour: wind_kt(hour) + 4)
    home = tuple(told(BroughtAshore(), s.name, now - HOUR) for s in settings.strings if s.name not in out)
    made = replace(sea, entries=(*sea.entries, *home)).call()
    window_min = 60 * (until - 9 - made.situation.break_margin_h)
    boat, strings = settings.boat, [string for string in settings.trap_strings if string.name in out]
    way = plan_trips(
        Boat(boat.name, boat.cruise_kt, boat.haul_min_per_trap, boat.trip_margin_min),
        settings.harbor.mark,
        [TrapsOut(string, tuple(range(1, string.traps + 1))) for string in strings],
        deck_traps=deck_traps,
        stack_min_per_trap=boat.stack_min_per_trap,
    ).way
    one_by_one = TakeUpPlan(tuple(TakeUpTrip((("", (n,)),), 1, 0.0) for n in range(way.traps)), way)
    days = likely_days(one_by_one, np.full((1, 1), float(window_min)), now.date(), now.date())
    loaded = sum(day is not None for day in days)
    called = made.call.window
    assert (0 if called is None else sum(pull.traps for pull in called.pulls)) >= loaded
    assert loaded or until <= 12, "the window is too short to tell anything"


# ---- what lacks


@pytest.mark.parametrize(
    ("terms", "lacking"),
    [
        (None, "name a plan file in [plan] of the settings"),
        (
            "plan.toml: plan.horizon: found 3\nmore",
            "the plan file can't be used: plan.toml: plan.horizon: found 3",
        ),
        (replace(TERMS, deck_traps=None), "write deck_traps in [boat] of the settings"),
    ],
    ids=["none", "broken", "no deck load"],
)
def test_without_a_deck_load_no_odds_are_told_and_the_rest_is(calm: Port, terms: object, lacking: str) -> None:
    ahead = beside(replace(calm, terms=terms))  # type: ignore[arg-type]
    assert lacking in ahead.lacking
    assert "more" not in ahead.lacking
    assert (ahead.odds, ahead.fault) == (None, "")
    assert ahead.recovery is not None
    assert ahead.recovery.not_home == 60
    assert len(ahead.rebaits) == 2


def test_by_a_suspect_clock_no_day_is_counted(calm: Port) -> None:
    morning = calm.sea.call()
    assert calm.season.ahead(morning.call, morning.situation, MORNING, clock_suspect=True) is None


@pytest.mark.parametrize(
    "step",
    [
        "season_end",
        "recovery_list",
        "usual_weather",
        "plan_trips",
        "forecast_windows",
        "take_up_odds",
        "kept_record",
    ],
)
def test_a_step_that_fails_is_told_and_raises_nothing(
    calm: Port, monkeypatch: pytest.MonkeyPatch, step: str
) -> None:
    def fails(*_: object, **__: object) -> None:
        raise RuntimeError("a worm in the trap")

    monkeypatch.setattr(season_desk, step, fails)
    ahead = beside(calm)
    assert "RuntimeError: a worm in the trap" in ahead.fault
    assert ahead.odds is None
    if step not in ("season_end", "recovery_list"):
        assert ahead.recovery is not None
        assert ahead.recovery.not_home == 60
        assert len(ahead.rebaits) == 2


# ---- weather of other years


def test_years_that_were_counted_take_the_place_of_the_usual_chance(calm: Port, tmp_path: Path) -> None:
    """A year in which no day was fit: days past the forecast are none either."""
    head = (
        "#YY  MM DD hh mm WDIR WSPD GST  WVHT   DPD   APD MWD   PRES  ATMP  WTMP  DEWP  VIS  TIDE\n"
        "#yr  mo dy hr mn degT m/s  m/s     m   sec   sec degT   hPa  degC  degC  degC   mi    ft\n"
    )
    rows = "".join(
        f"2020 {day:%m %d} {hour:02d} 50 188 15.0 18.0 2.00 4.00 3.50 999 1006.1 9.5 6.6 -0.3 99.0 99.00\n"
        for day in (date(2020, 1, 1) + n * DAY for n in range(366))
        for hour in range(24)
    )
    before = kept(calm)
    settings = calm.sea.settings
    for area in ("Inner Bay", "Outer Bay"):
        counted = count_climate(settings, area, [("42036h2020.txt", (head + rows).encode())])
        keep_climate(calm.store, BOAT, counted, MORNING)
    odds = odds_of(calm.season.between(MORNING))
    assert odds != before, "what the morning kept is of other years"
    assert [each.area for each in odds.reckoned_from.counted] == ["Inner Bay", "Outer Bay"]
    assert not odds.reckoned_from.lacking
    assert chances(odds)[TOMORROW] < 0.05


# ---- what is kept between mornings


def kept(port: Port) -> OddsTold:
    ahead = beside(port)
    port.season.keep(ahead, MORNING)
    return odds_of(ahead)


def test_until_the_next_morning_the_odds_are_those_that_the_letter_told(calm: Port) -> None:
    odds = kept(calm)
    assert odds.reckoned_from.forecast_days == 5
    for after in (HOUR, DAY, 2 * DAY):
        assert calm.season.between(MORNING + after).odds == odds
    later = odds_of(calm.season.between(MORNING + 3 * DAY))
    assert later.reckoned_from.forecast_days == 0, "without them, by the usual weather alone"
    assert later.day == TODAY + 3 * DAY


def test_odds_of_other_traps_another_deadline_or_other_settings_are_not_used(calm: Port) -> None:
    odds = kept(calm)
    other = replace(calm, terms=replace(TERMS, deck_traps=29))
    assert other.season.between(MORNING + HOUR).odds != odds
    rule = Rule(
        name="an order", value=DateSpan(DEADLINE + DAY, DEADLINE + 5 * DAY), source="x", checked=TODAY, sure="read"
    )
    fishery = replace(calm.sea.settings.fishery, orders=(Order("extends take-up", rule),))
    longer = replace(calm, sea=replace(calm.sea, settings=replace(calm.sea.settings, fishery=fishery)))
    assert odds_of(longer.season.between(MORNING + HOUR)).deadline == DEADLINE + 5 * DAY
    calm.tell(told(BroughtAshore(), "Nine Foot", MORNING + HOUR, 3))
    fewer = odds_of(calm.season.between(MORNING + 2 * HOUR))
    assert fewer.traps == 59


def test_odds_do_not_outlive_a_bar_a_move_other_settings_or_other_places(calm: Port) -> None:
    """Each by itself; a bar of a day that is past, or of a string that is home, changes none."""
    odds = kept(calm)
    barred = new_entry(Barred(TOMORROW, "Outer Bar"), happened_at=MORNING, told_at=MORNING, told_by="cli")
    stale = new_entry(Barred(TODAY - DAY), happened_at=MORNING - DAY, told_at=MORNING, told_by="cli")
    moved = told(Moved(Mark(29.96, -84.16), Mark(29.96, -84.17)), "Outer Bar", MORNING)
    swapped = (told(BroughtAshore(), "Nine Foot", MORNING, 3), told(TrapsSet(), "Nine Foot", MORNING + HOUR, 3))
    sha256 = replace(calm, sea=replace(calm.sea, settings=replace(calm.sea.settings, sha256="of other limits")))
    assert sha256.season.between(MORNING + HOUR).odds != odds

    def after(*entries: LogEntry) -> OddsTold | None:
        state = fold((*calm.sea.entries, *entries), calm.sea.settings.trap_strings)
        return kept_odds(calm.sea.settings, TERMS, calm.store, state, MORNING, DEADLINE)

    assert after() == after(stale) == after(*swapped) == odds
    assert after(barred) is None
    assert after(moved) is None
    assert after(swapped[0]) is None


def test_days_that_the_skipper_barred_since_the_morning_count_for_no_trip_that_evening(calm: Port) -> None:
    kept(calm)
    calm.tell(
        *(
            new_entry(Barred(TODAY + n * DAY), happened_at=MORNING, told_at=MORNING, told_by="cli")
            for n in range(15)
        )
    )
    odds = odds_of(calm.season.between(MORNING + 10 * HOUR))
    assert set(chances(odds).values()) == {0.0}
    assert all(day is None for _, day in odds.start_by)


def test_a_bar_of_a_day_that_is_past_leaves_the_odds_as_they_are(calm: Port) -> None:
    calm.tell(new_entry(Barred(TODAY), happened_at=MORNING, told_at=MORNING, told_by="cli"))
    odds = kept(calm)
    assert calm.season.between(MORNING + DAY).odds == odds


@pytest.mark.parametrize("torn", [{}, {"version": 1}, {"version": 99}, "record", "chance"], ids=str)
def test_a_torn_note_is_none(calm: Port, torn: object) -> None:
    kept(calm)
    with calm.store.writing() as session:
        note = get_note(session, f"season:{BOAT}")
        assert note is not None
        value = dict(note[0])
        if torn == "record":
            value["record"] = "torn"
        elif torn == "chance":
            value["record"]["starts"][0]["chance"] = 7.0
        else:
            value = dict(torn)  # type: ignore[call-overload]
        put_note(session, f"season:{BOAT}", value, MORNING)
    ahead = calm.season.between(MORNING + HOUR)
    assert not ahead.fault
    assert odds_of(ahead).reckoned_from.forecast_days == 0


def test_what_can_not_be_kept_raises_nothing(calm: Port, monkeypatch: pytest.MonkeyPatch) -> None:
    def fails(*_: object, **__: object) -> None:
        raise RuntimeError("the disk is full")

    ahead = beside(calm)
    monkeypatch.setattr(season_desk, "keep_odds", fails)
    calm.season.keep(ahead, MORNING)
    calm.season.keep(None, MORNING)


def test_another_deck_load_is_reckoned_anew(calm: Port) -> None:
    odds = kept(calm)
    all_at_once = odds_of(calm.season.between(MORNING + HOUR, deck=DeckLoad(60)))
    assert (odds.trips, all_at_once.trips) == (2, 1)
    slow = calm.season.between(MORNING + HOUR, deck=DeckLoad(stack_min_per_trap=60))
    assert slow.recovery is not None
    assert len(slow.recovery.trips) > 10, "a trip of six hours carries few traps at an hour each"


def test_trips_are_told_out_of_season_where_they_are_asked_for(calm: Port) -> None:
    early = calm.season.between(MORNING - 5 * DAY - 60 * DAY, trips_always=True)
    assert early.recovery is not None
    assert [trip.traps for trip in early.recovery.trips] == [30, 30]
    assert early.odds is None
