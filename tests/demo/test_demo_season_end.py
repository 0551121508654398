"""The end of the season as it is played: two loads, a stormy fortnight, an extension, four traps not found."""

from __future__ import annotations

import asyncio
import os
import re
from collections.abc import Iterable, Iterator, Sequence
from datetime import UTC, date, datetime, timedelta
from email import message_from_bytes
from email.policy import default as mail_policy
from pathlib import Path
from types import SimpleNamespace

import pytest
from demo.demo_boat import demo_settings, take_order
from demo.play import PlayedDay, play
from demo.season_end import (
    DECK_TRAPS,
    EXTENDED_ON,
    EXTENDED_TO,
    NOT_FOUND,
    ORDER,
    SEASON_END,
    TakeUpSkipper,
    spring_log,
)
from demo.show import kind_of, text_of, told_of_season
from demo.stormy_weather import STORMY
from demo.weather import HOUR, Weather
from icalendar import Calendar

from law.world import settings_with, world
from soakbell.clock import SetClock
from soakbell.fishery.season import take_up
from soakbell.gear.fold import Whereabouts, fold
from soakbell.gear.log import BroughtAshore, FoundMissing, Pulled
from soakbell.gear.log_check import check_entries
from soakbell.planning.call import CallWord
from soakbell.settings import Settings

WEATHER = Weather(STORMY)
FIRST_EVENING = datetime(2027, 4, 24, 21, tzinfo=UTC)
DEADLINE = date(2027, 5, 6)
THE_FIT_DAY = date(2027, 4, 29)
WHOLE = bool(os.environ.get("SOAKBELL_WHOLE_PLAY"))
PASSED_OVER = tuple(date(2027, 4, day) for day in (26, 27, 30)) + tuple(
    date(2027, 5, day) for day in (1, 2, 3, 4, 9, 10, 11, 12)
)
"""Mornings that are played with ``SOAKBELL_WHOLE_PLAY=1`` alone, since each takes seconds.

In the storm each is a WAIT, and after the last load nothing is left to take up.
"""
LIMITS = {"wind_kt": 15.0, "gust_kt": 20.0, "sea_ft": 2.0}
"""The boat's in ``config/boat.toml``, the sea that of its calmest string."""


@pytest.fixture(scope="module")
def settings(tmp_path_factory: pytest.TempPathFactory) -> Settings:
    return _settings(tmp_path_factory.mktemp("boat"))


def _settings(folder: Path) -> Settings:
    return demo_settings(
        folder, services="http://127.0.0.1:1", mail_port=1025, station=STORMY.station, deck_traps=DECK_TRAPS
    )


# ---- before it is played


def test_the_log_takes_every_entry_and_148_traps_fish(settings):
    log = spring_log(settings)
    assert check_entries(log, [], settings.trap_strings, FIRST_EVENING) == ()
    gear = fold(log, settings.trap_strings)
    assert gear.oddities == ()
    where = [trap.where for string in gear.strings.values() for trap in string.traps]
    assert (where.count(Whereabouts.FISHING), where.count(Whereabouts.RETIRED)) == (148, 10)
    assert DECK_TRAPS < 148 <= 2 * DECK_TRAPS


def test_an_order_in_the_file_of_the_fishery_moves_the_deadline_once_it_is_read_anew(tmp_path):
    before = _settings(tmp_path)
    after = take_order(before, ORDER)

    def deadline(settings: Settings) -> date | None:
        due = take_up(settings.fishery, EXTENDED_ON, sector=settings.sector, region=settings.region)
        return None if due is None else due.deadline

    assert (deadline(before), deadline(after)) == (DEADLINE, EXTENDED_TO)
    assert [order.rule.name for order in after.fishery.orders] == ["order on late take-up after the storm"]
    assert after.fishery.seasons == before.fishery.seasons


def test_of_the_stormy_fortnight_one_working_day_is_fit():
    days = [STORMY.first_evening + n * timedelta(days=1) for n in range(1, 14)]
    assert [day for day in days if _fit(_daytime(day), WEATHER.truth)] == [THE_FIT_DAY]


@pytest.mark.parametrize("deck_traps", [53, 40, 30, 10])
def test_of_a_call_that_takes_part_of_a_string_the_skipper_brings_home_its_places_alone(deck_traps):
    """On 3 May, with 24 and 36 traps out. Outer Bar's trap 29 is one of those that are not found.

    Of a string in part the call names the places towards its end, which make the shorter run.
    """
    now = datetime(2027, 5, 3, 8, 30, tzinfo=UTC)
    lying = settings_with(("haul_min_per_trap = 1.5", f"haul_min_per_trap = 1.5\ndeck_traps = {deck_traps}"))
    call = world(settings=lying, now=now).call().call
    assert call.take_up
    assert call.window is not None
    clock = SetClock(call.window.lands_at)
    desk = SimpleNamespace(season=SimpleNamespace(between=_list_of_all))
    told = TakeUpSkipper(desk, None, clock).home(call)
    home = {entry.string: entry.traps for entry in told if isinstance(entry.detail, BroughtAshore)}
    lost = {entry.string: entry.traps for entry in told if isinstance(entry.detail, FoundMissing)}
    called = {pull.string: pull.places for pull in call.window.pulls}
    first_of_outer_bar = {53: 8, 40: 21, 30: 31, 10: 37}[deck_traps]
    assert called.get("Outer Bar", ()) == tuple(range(first_of_outer_bar, 37))
    assert lost == ({"Outer Bar": (29,)} if first_of_outer_bar <= 29 else {})
    assert sum(map(len, called.values())) == deck_traps
    assert {name: tuple(sorted((*home[name], *lost.get(name, ())))) for name in home} == called
    hauled = {entry.string: (entry.happened_at, entry.traps) for entry in told if isinstance(entry.detail, Pulled)}
    assert hauled == {pull.string: (pull.arrives_at, home[pull.string]) for pull in call.window.pulls}
    assert all(entry.told_at == clock.now() for entry in told)


def _list_of_all(_now: datetime) -> SimpleNamespace:
    """A recovery list whose first trip is to bring home every trap of both strings."""
    strings = [
        SimpleNamespace(name=name, places=range(1, traps + 1))
        for name, traps in (("Nine Foot", 24), ("Outer Bar", 36))
    ]
    return SimpleNamespace(recovery=SimpleNamespace(trips=[SimpleNamespace(strings=strings, minutes=240.0)]))


# ---- played


@pytest.fixture(scope="module")
def season_end(tmp_path_factory: pytest.TempPathFactory) -> list[PlayedDay]:
    folder = tmp_path_factory.mktemp("season")
    return asyncio.run(play(SEASON_END, STORMY.days, folder, without=() if WHOLE else PASSED_OVER))


@pytest.mark.slow
def test_the_fit_day_is_called_and_one_load_comes_home(season_end):
    (day,) = [day for day in season_end if day.day == THE_FIT_DAY]
    assert [call.word for call in day.calls] == [CallWord.PULL]
    eve, morning, evening = (_texts(season_end, kind) for kind in ("eve", "morning", "recovery"))
    assert "148 traps are not home: 148 fishing." in _joined(morning[THE_FIT_DAY])
    assert "If you start today" not in _joined(morning[THE_FIT_DAY]), (
        "a call to harvest has no hours to stack a load"
    )
    assert "Today counts for no trip: there is no call to take traps up" in _joined(morning[THE_FIT_DAY])
    assert "74 traps are not home: 72 fishing and 2 missing." in _joined(evening[THE_FIT_DAY])
    assert "by the usual weather and no forecast" in _joined(eve[THE_FIT_DAY])


@pytest.mark.slow
def test_an_extension_moves_the_deadline_of_list_and_calendar_the_same_evening(season_end):
    lists = _texts(season_end, "recovery")
    before, after = date(2027, 5, 5), EXTENDED_ON
    assert "All must be out by Thursday 6 May 2027, 1 day left." in _joined(lists[before])
    assert "All must be out by Thursday 13 May 2027, 7 days left." in _joined(lists[after])
    old, new = (_deadline_event(season_end, day) for day in (before, after))
    assert (old["DTSTART"].dt, new["DTSTART"].dt) == (DEADLINE, EXTENDED_TO)
    assert old["UID"] == new["UID"]
    assert new["SEQUENCE"] > old["SEQUENCE"]
    assert "13 May" in " ".join(_texts(season_end, "bells").values())


@pytest.mark.slow
def test_in_the_storm_no_day_but_the_fit_one_is_called_and_never_in_unfit_hours(season_end):
    called = [day.day for day in season_end if any(call.word is CallWord.PULL for call in day.calls)]
    assert [day for day in called if day <= EXTENDED_ON] == [THE_FIT_DAY]
    _no_pull_in_unfit_hours(season_end)


@pytest.mark.slow
def test_the_odds_fall_from_letter_to_letter_until_the_extension(season_end):
    chances = {
        day: told_of_season(text)[3] for day, text in _texts(season_end, "morning").items() if day <= EXTENDED_ON
    }
    storm = [_pct(chance) for day, chance in sorted(chances.items()) if day <= THE_FIT_DAY]
    assert len(storm) >= 3
    assert storm == sorted(storm, reverse=True)
    assert storm[0] > 85
    assert storm[-1] < 70
    assert chances[date(2027, 5, 5)] == "under 1%"
    after = told_of_season(_texts(season_end, "morning")[date(2027, 5, 7)])
    assert after[1] == "13 May"
    assert _pct(after[3]) > 90


@pytest.mark.slow
def test_four_traps_stay_on_the_list_past_the_deadline_until_each_is_accounted_for(season_end):
    lists = _texts(season_end, "recovery")
    past = {day: _joined(text) for day, text in lists.items() if day > EXTENDED_TO}
    assert list(past) == [date(2027, 5, 14), date(2027, 5, 15)], "then the list ends"
    first, second = past.values()
    assert "4 traps are not home: 4 missing. The last day for traps in the water" in first
    for string, places in NOT_FOUND.items():
        assert all(f"{string}, trap {place}: missing since" in first for place in places)
    assert "2 traps are not home: 2 missing." in second
    assert "Grassy Edge" not in second
    last_day = season_end[-1].day
    assert "Season's end" not in _texts(season_end, "eve")[last_day]


@pytest.mark.slow
def test_the_lists_bring_table_track_and_calendar(season_end):
    for day in season_end:
        for caught in day.letters:
            if kind_of(caught.message) == "recovery":
                files = {part.get_filename() for part in message_from_bytes(caught.message).walk()}
                assert {"recovery.csv", "recovery.gpx", "take-up.ics"} <= files


# ---- what they share


def _letters(days: Iterable[PlayedDay], kind: str) -> Iterator[tuple[date, bytes]]:
    for day in days:
        for caught in day.letters:
            if kind_of(caught.message) == kind:
                yield STORMY.local(caught.at).date(), caught.message


def _texts(days: Iterable[PlayedDay], kind: str) -> dict[date, str]:
    """Texts of one kind of letter by the day that they came on, several of a day as one."""
    found: dict[date, str] = {}
    for day, message in _letters(days, kind):
        found[day] = found.get(day, "") + text_of(message)
    return found


def _joined(text: str) -> str:
    return " ".join(text.split())


def _pct(told: str) -> int:
    return int(re.findall(r"[0-9]+", told)[0])


def _deadline_event(days: Iterable[PlayedDay], day: date):
    (message,) = [message for came, message in _letters(days, "recovery") if came == day]
    (calendar,) = [
        part.get_payload(decode=True)
        for part in message_from_bytes(message, policy=mail_policy).walk()
        if part.get_content_type() == "text/calendar"
    ]
    (event,) = [e for e in Calendar.from_ical(calendar).walk("VEVENT") if e["SUMMARY"].startswith("Last day")]
    return event


def _daytime(day: date) -> list[datetime]:
    return [datetime(day.year, day.month, day.day, hour, tzinfo=STORMY.tz) for hour in range(7, 16)]


def _fit(hours: Sequence[datetime], told) -> bool:
    return all(
        getattr(WEATHER.in_cell(told(at), cell), quantity) <= limit
        for at in hours
        for cell in STORMY.cells
        for quantity, limit in LIMITS.items()
    )


def _no_pull_in_unfit_hours(days: Iterable[PlayedDay]) -> None:
    """By what was served when the call was made, and by what came."""
    for call in (call for day in days for call in day.calls if call.window is not None):
        issued_at = WEATHER.issues(call.made_at)[-1]
        count = -(-(call.window.lands_at - call.window.leaves_at) // HOUR) + 1
        hours = [call.window.leaves_at.replace(minute=0) + n * HOUR for n in range(count)]
        assert _fit(hours, lambda at, issued_at=issued_at: WEATHER.forecast(issued_at, at))
        assert _fit(hours, WEATHER.truth)
