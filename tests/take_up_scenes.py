"""Letters of season's end, for the strings of ``scenes``, each with one role. All data here is invented.

take-up-morning   a fortnight before the last day: odds, trips, last bait, past years for one area of two
take-up-eve       the evening before it, by the odds of the last morning
take-up-over      past the last day, with a trap missing
recovery-list     the recovery list a week before the last day
take-up-pull      the harvest is closed: hours to take traps up, for three strings of five
take-up-wait      likewise, and wind over its limit
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta
from functools import cache

from gear_scenes import EVE, EVE_FACTS, EVENING
from recovery_scenes import NOW, SEASON_FACTS, season_end
from scenes import DAY, MADE_AT, STRINGS, Scene, est, pull_morning, wait_by_wind
from soakbell.fishery.season import SeasonReason, TakeUp
from soakbell.gear.fold import fold
from soakbell.gear.log import BroughtAshore, Detail, FoundMissing, LogEntry, TrapsSet, new_entry
from soakbell.letters.eve import eve_letter
from soakbell.letters.letter import Letter, morning_letter
from soakbell.letters.recovery import recovery_letter
from soakbell.planning.ashore import Ashore
from soakbell.planning.call import Call, DayOutlook, DayState, Reason
from soakbell.planning.recovery import recovery_list
from soakbell.planning.season_end import SeasonEnd, StartDay, TakeUpTrip
from soakbell.planning.season_told import (
    OddsFrom,
    OddsGround,
    OddsTold,
    Rebait,
    SeasonAhead,
    TodayCounts,
    YearsCounted,
)


def december(day: int) -> date:
    return date(2026, 12, day)


REASON = SeasonReason("traps out of the water", "an invented text", "an invented rule", "derived")
END = SeasonEnd(december(22), REASON, december(17), december(17), date(2027, 1, 5))

TRIPS = (
    TakeUpTrip((("The Hump", (*range(1, 31), *range(32, 41))), ("Ledge", tuple(range(1, 33)))), 71, 425),
    TakeUpTrip((("Outer Bar", tuple(range(1, 37))), ("Nine Foot", tuple(range(1, 25)))), 60, 330),
    TakeUpTrip((("Grassy Edge", (*range(1, 17), *range(18, 31))),), 29, 160),
)

_STARTS = (0.93, 0.93, 0.91, 0.9, 0.86, 0.81, 0.74, 0.74, 0.6, 0.48, 0.3, 0.17, 0.08, 0.0, 0.0)
ODDS = OddsTold(
    day=DAY,
    deadline=END.deadline,
    plan=TRIPS,
    starts=tuple(
        StartDay(
            DAY + timedelta(days=n),
            chance,
            december(min(22, 15 + n)) if chance >= 0.5 else None,
            december(21) if chance >= 0.9 else None,
        )
        for n, chance in enumerate(_STARTS)
    ),
    start_by=((0.8, december(13)), (0.95, None), (0.99, None)),
    trips_from=december(9),
    trip_days=(december(10), december(12), None),
    reckoned_from=OddsFrom(
        forecast_days=5,
        window_min=360.0,
        counted=(YearsCounted("Outer Bay", "42036", tuple(range(2013, 2021)), ("thunder_pct",), ()),),
        lacking=("no past years were counted for Inner Bay",),
        today=TodayCounts.NOT,
    ),
    ground=OddsGround(bars=(), marks=(), years_sha256=""),
)


def _told(detail: Detail, string: str, day: int, *traps: int) -> LogEntry:
    at = est(9, day=day).replace(month=11)
    return new_entry(detail, happened_at=at, told_at=at, told_by="cli", string=string, traps=traps)


ENTRIES = (
    *(_told(TrapsSet(), string.name, 20) for string in STRINGS),
    _told(FoundMissing(), "Grassy Edge", 24, 17),
    _told(FoundMissing(), "The Hump", 24, 31),
)


def ahead() -> SeasonAhead:
    listed = recovery_list(
        fold(ENTRIES, STRINGS),
        MADE_AT,
        DAY,
        take_up=TakeUp(END.deadline, REASON),
        trips=TRIPS,
        days={number: day for number, day in enumerate(ODDS.trip_days, start=1) if day is not None},
        starts=ODDS.start_by,
        season=date(2026, 10, 15),
    )
    floors = {string.name: string.soak_floor_h for string in STRINGS}
    rebaits = tuple(Rebait(name, december(13), floor_h) for name, floor_h in floors.items())
    return SeasonAhead(DAY, END, listed, ODDS, rebaits)


def over() -> SeasonAhead:
    """The last day was five days ago; all are home but the one that is missing."""
    home = tuple(_told(BroughtAshore(), string.name, 28) for string in STRINGS)
    end = replace(END, deadline=december(3), last_harvest=None)
    entries = (*ENTRIES[:-1], *home)
    listed = recovery_list(
        fold(entries, STRINGS), MADE_AT, DAY, take_up=TakeUp(end.deadline, REASON), season=date(2026, 10, 15)
    )
    return SeasonAhead(DAY, end, listed)


def _morning(season: SeasonAhead) -> Letter:
    scene = wait_by_wind()
    return morning_letter(scene.call, scene.facts, kind="morning", previous=None, season=season)


ONLY = Reason(
    "take_up_only",
    {
        "last_harvest": december(6),
        "deadline": december(11),
        "rule": "harvest ended 6 Dec 2026; traps out of the water by 11 Dec 2026",
        "source": "an invented rule",
        "deck_traps": None,
    },
)


def take_up_call(scene: Scene) -> Call:
    """The scene's call as if the harvest had closed two days ago, and all traps were to be out in three."""

    def day(told: DayOutlook) -> DayOutlook:
        if told.day > december(11):
            closed = Reason("out_of_season", {"rule": "all traps were due out", "source": "an invented rule"})
            return DayOutlook(told.day, DayState.NOT_FIT, None, None, (closed,), None, None)
        return replace(told, reasons=(*told.reasons, ONLY))

    reasons = tuple(
        Reason("left_out_there", reason.values) if reason.code == "left_for_later" else reason
        for reason in scene.call.reasons
    )
    outlook = tuple(day(told) for told in scene.call.outlook)
    window = scene.call.window
    if window is not None:
        pulls = tuple(replace(pull, places=tuple(range(1, pull.traps + 1))) for pull in window.pulls)
        window = replace(window, pulls=pulls)
    return replace(scene.call, window=window, reasons=(*reasons, ONLY), outlook=outlook, take_up=True)


def _take_up(scene: Scene) -> Letter:
    told = scene.ashore
    ashore = None if told is None else Ashore(barred=told.barred, upkeep=told.upkeep)
    return morning_letter(take_up_call(scene), scene.facts, kind="morning", previous=None, ashore=ashore)


def _eve() -> Letter:
    yesterday = replace(ahead(), today=DAY - timedelta(days=1))
    return eve_letter(EVE, EVE_FACTS, now=EVENING, season=yesterday)


TAKE_UP_LETTERS: dict[str, Callable[[], Letter]] = {
    "take-up-morning": lambda: _morning(ahead()),
    "take-up-eve": _eve,
    "take-up-over": lambda: _morning(over()),
    "recovery-list": lambda: recovery_letter(season_end(), SEASON_FACTS, now=NOW),
    "take-up-pull": lambda: _take_up(pull_morning()),
    "take-up-wait": lambda: _take_up(wait_by_wind()),
}


@cache
def take_up_letter(name: str) -> Letter:
    """The letter of that name, written once for all tests."""
    return TAKE_UP_LETTERS[name]()
