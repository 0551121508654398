"""Season's end inside the week's plan: last pulls bring the traps home, without bait. INVENTED DATA."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from itertools import combinations, product
from pathlib import Path

import numpy as np
import pytest

from law.world import SETTINGS_TOML, World, settings_from, world
from plan_scenes import FIVE_TOML, OUTFIT, TERMS, Planned, planned
from soakbell.climatology import AreaClimate, area_limits, keep_climate
from soakbell.gear.log import BaitCounted, Detail, LogEntry, Pinned
from soakbell.gear.strings import Mark
from soakbell.planning.call import CallWord
from soakbell.planning.catch_curve import CatchCurve, fit_curve
from soakbell.planning.fit_climate import fit_climate
from soakbell.planning.haul_worth import HaulWorth, LastDays, StandingString, haul_worth
from soakbell.planning.pull_plan import solve_plan
from soakbell.planning.pull_problem import PlanDay, PlanProblem, PlanString
from soakbell.planning.week import DayKind
from soakbell.store.engine import Store, open_store
from soakbell.store.upgrade import migrate

DEADLINE, LAST_HARVEST = date(2027, 5, 6), date(2027, 5, 1)
"""R1, R4: config/fisheries/florida-stone-crab.toml."""

PANHANDLE_TOML = SETTINGS_TOML.replace("florida-stone-crab", "florida-blue-crab").replace("elsewhere", "panhandle")
DAY = timedelta(days=1)
Make = Callable[..., Planned]


def morning(day: date) -> datetime:
    return datetime(day.year, day.month, day.day, 9, 30, tzinfo=UTC)


def sea_at(day: date, *told: Detail, toml: str = SETTINGS_TOML, **weather: object) -> World:
    """Told an hour before the morning."""
    sea = world(settings=settings_from(toml), now=morning(day), **weather)  # type: ignore[arg-type]
    at = sea.now - timedelta(hours=1)
    more = (LogEntry(f"told {n}", f"told {n}", at, at, "cli", detail, None) for n, detail in enumerate(told))
    return replace(sea, entries=(*sea.entries, *more))


@pytest.fixture
def make(tmp_path: Path) -> Iterator[Make]:
    stores: list[Store] = []

    def made(sea: World, before: Callable[[Store], None] = lambda _: None, **terms: object) -> Planned:
        store = open_store(f"sqlite:///{tmp_path / f'{len(stores)}.db'}")
        migrate(store)
        stores.append(store)
        before(store)
        return planned(store, sea, replace(TERMS, **terms))  # type: ignore[arg-type]

    yield made
    for store in stores:
        store.close()


def taken_up(told: Planned) -> dict[str, date]:
    return {string: plan.day for plan in told.week.days for string in plan.take_up}


# ---- the plan of a week


def test_each_string_is_pulled_again_if_there_is_time_and_comes_home_with_its_last_pull(make: Make) -> None:
    """Floors of 5 and 6 days before 1 May: fresh bait is of use up to 25 and 24 April."""
    told = make(sea_at(date(2027, 4, 24)), trip_cost_usd=10.0)
    assert told.call.word is CallWord.PULL
    assert told.week.days[0].take_up == ()
    assert not any(plan.take_up for plan in told.week.strings)
    home = taken_up(told)
    assert set(home) == {"Nine Foot", "Outer Bar"}
    assert all(day <= LAST_HARVEST for day in home.values())


def test_a_string_whose_next_trip_would_not_pay_comes_home_with_this_one(make: Make) -> None:
    told = make(sea_at(date(2027, 4, 24)), trip_cost_usd=300.0)
    assert told.week.days[0].take_up == told.week.days[0].strings == ("Nine Foot", "Outer Bar")


@pytest.mark.parametrize(("day", "home"), [(24, set()), (25, {"Outer Bar"}), (26, {"Nine Foot", "Outer Bar"})])
def test_past_its_last_useful_bait_a_called_string_is_taken_up(make: Make, day: int, home: set[str]) -> None:
    told = make(sea_at(date(2027, 4, day)), trip_cost_usd=10.0)
    assert set(told.strings[date(2027, 4, day)]) == {"Nine Foot", "Outer Bar"}
    assert set(told.week.days[0].take_up) == home
    assert {plan.string for plan in told.week.strings if plan.take_up} == home


def test_a_string_taken_up_is_pulled_no_more(make: Make) -> None:
    for day in range(20, 29):
        told = make(sea_at(date(2027, 4, day), toml=FIVE_TOML), deck_traps=80)
        for string, home in taken_up(told).items():
            assert not [plan.day for plan in told.week.days if plan.day > home and string in plan.strings]


def test_after_the_last_harvest_traps_are_fetched_without_a_catch(make: Make) -> None:
    """Blown out through the forecast; from 4 May on days are usual ones."""
    told = make(sea_at(date(2027, 4, 29), wind_kt=25, gust_kt=32))
    assert told.call.word is CallWord.WAIT
    late = [plan for plan in told.week.days if plan.strings]
    assert late
    for plan in late:
        assert LAST_HARVEST < plan.day <= DEADLINE
        assert plan.take_up == plan.strings
        assert plan.lb == plan.lb_high == 0
    assert told.week.take_up is not None
    assert not told.week.take_up.left_out


def test_once_the_harvest_is_closed_all_that_is_planned_is_taken_up_without_a_catch(make: Make) -> None:
    told = make(sea_at(date(2027, 5, 3)))
    assert set(taken_up(told)) == {"Nine Foot", "Outer Bar"}
    for plan in told.week.days:
        assert plan.take_up == plan.strings
        assert plan.lb == 0
    assert not told.week.days[-1].strings, "past the last day"


def test_strings_for_which_no_day_is_left_are_named(make: Make) -> None:
    told = make(sea_at(date(2027, 4, 29), wind_kt=25, gust_kt=32), crew_days_off=frozenset(range(7)))
    assert told.week.take_up is not None
    assert told.week.take_up.left_out == ("Nine Foot", "Outer Bar")


def test_taking_up_needs_no_bait_where_a_pull_before_would(make: Make) -> None:
    """Two ripe strings on a blown-out day with a calm one after it, and no box anywhere."""
    none = [BaitCounted(kind.name, 0.0, where) for kind in OUTFIT.baits for where in ("freezer", "thaw", "aboard")]
    blown = {"wind_kt": 25, "gust_kt": 32}
    early = make(sea_at(date(2027, 4, 15), *none, **blown), forecast_days=1)
    assert early.week.bait_holds
    assert not early.strings
    late = make(sea_at(date(2027, 4, 27), *none, **blown), forecast_days=1)
    assert set(taken_up(late)) == {"Nine Foot", "Outer Bar"}


def test_a_string_takes_no_bait_from_its_own_last_day_for_it_on_whatever_others_take(make: Make) -> None:
    """With a floor of 12 days fresh bait is of use to Outer Bar up to 18 April, to Nine Foot up to the 25th. There
    is no box anywhere, and the calm days begin on the 19th."""
    toml = SETTINGS_TOML.replace("soak_floor_days = 6", "soak_floor_days = 12")
    none = [BaitCounted(kind.name, 0.0, where) for kind in OUTFIT.baits for where in ("freezer", "thaw", "aboard")]
    sea = sea_at(date(2027, 4, 18), *none, toml=toml, wind_kt=25, gust_kt=32, soaked_days=20)
    told = make(sea, forecast_days=1, trip_cost_usd=10.0)
    home = taken_up(told)
    assert date(2027, 4, 19) <= home["Outer Bar"] < date(2027, 4, 25)
    assert home.get("Nine Foot", DEADLINE) > date(2027, 4, 25)


def test_a_deck_that_holds_one_string_takes_up_one_a_trip(make: Make) -> None:
    told = make(sea_at(date(2027, 4, 29), wind_kt=25, gust_kt=32), deck_traps=40, forecast_days=1)
    assert set(taken_up(told)) == {"Nine Foot", "Outer Bar"}
    assert all(len(plan.strings) <= 1 for plan in told.week.days)


def test_a_called_trip_brings_home_no_more_than_the_deck_carries(make: Make) -> None:
    """The other string goes back without bait, and is fetched on a later day without a catch."""
    told = make(sea_at(date(2027, 4, 27)), deck_traps=40)
    assert set(told.strings[date(2027, 4, 27)]) == {"Nine Foot", "Outer Bar"}
    assert told.week.days[0].take_up == ("Nine Foot",)
    assert told.week.take_up is not None
    assert told.week.take_up.no_room == ("Outer Bar",)
    (later,) = (plan for plan in told.week.days[1:] if plan.strings)
    assert (later.take_up, later.lb) == (("Outer Bar",), 0.0)
    assert make(sea_at(date(2027, 4, 27)), deck_traps=60).week.days[0].take_up == told.week.days[0].strings


def test_a_pin_past_the_last_day_in_the_water_cannot_be_met(make: Make) -> None:
    pinned = Pinned(date(2027, 1, 5), "Nine Foot")
    told = make(sea_at(date(2027, 1, 1), pinned, toml=PANHANDLE_TOML))
    assert [unmet.pin.string for unmet in told.week.pins_not_met] == ["Nine Foot"]


def test_before_a_closure_amid_the_season_every_trap_comes_home(make: Make) -> None:
    """R22: the panhandle is closed from 5 to 14 January of odd years; bait is of use up to 29 and 30 December."""
    for first in (date(2026, 12, 30), date(2027, 1, 1)):
        told = make(sea_at(first, toml=PANHANDLE_TOML))
        home = taken_up(told)
        assert set(home) == {"Nine Foot", "Outer Bar"}
        assert max(home.values()) <= date(2027, 1, 4)
        kinds = {plan.day: plan.kind for plan in told.week.days}
        assert all((kind is DayKind.TRAPS_HOME) == (day > date(2027, 1, 4)) for day, kind in kinds.items())


def test_after_a_closure_the_plan_says_from_when_traps_may_be_set_again(make: Make) -> None:
    told = make(sea_at(date(2027, 1, 3), toml=PANHANDLE_TOML), horizon_days=14)
    assert told.week.take_up is not None
    assert told.week.take_up.next_set == date(2027, 1, 15)
    assert not [plan for plan in told.week.days if plan.day > date(2027, 1, 4) and plan.strings]


def test_long_before_the_end_no_string_is_taken_up(make: Make) -> None:
    told = make(sea_at(date(2027, 4, 15)))
    assert told.week.take_up is None
    assert not taken_up(told)


def test_days_past_the_forecast_are_as_likely_as_in_the_years_that_were_counted(make: Make) -> None:
    """A year without a fit day in one area."""
    sea, never = (
        sea_at(date(2027, 3, 15)),
        fit_climate({date(2020, 1, 1) + n * DAY: False for n in range(366)}, (0.9,) * 12),
    )
    limits = area_limits(sea.settings, "Outer Bay").given()
    counted = AreaClimate("Outer Bay", "42036", (), limits, (), 5.0, sea.settings.letters.forecast_break_h, never)
    always = (1.0,) * 12
    by_plan_file = make(sea, usual_fit_chance=always)
    by_count = make(
        sea, lambda store: keep_climate(store, sea.settings.boat.name, counted, sea.now), usual_fit_chance=always
    )
    for told, chance in ((by_plan_file, 1.0), (by_count, 0.0)):
        usual = [plan.chance for plan in told.week.days if plan.kind is DayKind.USUAL]
        assert usual[-1] == pytest.approx(chance, abs=0.05)
    assert [each.station for each in by_count.week.usual_counted] == ["42036"]
    assert by_plan_file.week.usual_lacking == ("no past years were counted for Inner Bay and Outer Bay",)


# ---- every small plan tried out

PRICE_USD, TRIP_USD, LATE_USD, DAYS = 18.0, 60.0, 2000.0, 5
MARKS = [(Mark(29.90 + 0.03 * n, -84.15), Mark(29.90 + 0.03 * n, -84.13)) for n in range(3)]


@pytest.fixture(scope="module")
def curve() -> CatchCurve:
    return fit_curve([], ["String 0", "String 1", "String 2"])


def random_strings(random: np.random.Generator) -> list[StandingString]:
    return [
        StandingString(
            name=f"String {n}",
            traps=int(random.integers(15, 41)),
            soak_days=(soak := float(random.integers(0, 9))),
            oldest_days=soak,
            floor_days=float(random.integers(1, 4)),
            ceiling_days=30.0,
            pull_usd=(bait := float(random.integers(10, 60))) + 12.0,
            bait_usd=bait,
            trip_usd=30.0,
        )
        for n in range(3)
    ]


def of_each(
    string: StandingString, curve: CatchCurve, last: LastDays, harvest: int
) -> Iterator[tuple[tuple[int, ...], float]]:
    """Every row of days on which a string may be pulled, with what it comes to in sure weather: the better of home
    with the last pull, and of bait once more."""
    fade = np.exp(-float(np.median(curve.decline)) * np.arange(DAYS))

    def catch_usd(start: float, soak: int, day: int) -> float:
        lb = curve.expected_many(string.name, np.array([start + soak]), 30.0).lb[0]
        return float(PRICE_USD * string.traps * lb * fade[day]) if day <= harvest else 0.0

    for count in range(DAYS + 1):
        for days in combinations(range(DAYS), count):
            usd, start, since, allowed, rebaited = 0.0, string.soak_days, 0, True, False
            for day in days:
                soak = start + day - since
                allowed &= day <= last.home and (soak >= string.floor_days + rebaited or day > last.rebait)
                usd += catch_usd(start, day - since, day) - (string.pull_usd - string.bait_usd)
                start, since, rebaited = 0.0, day, True
            in_time = all(day <= last.rebait for day in days[:-1])
            if not allowed or not in_time:
                continue
            usd -= string.bait_usd * max(0, count - 1)
            yield days, usd if count else -last.late_usd


@pytest.mark.parametrize("seed", range(12))
def test_the_best_of_all_plans_with_and_without_taking_up_is_found(curve: CatchCurve, seed: int) -> None:
    """3 strings, 5 sure days, the deadline among them: each string is best home with its last pull."""
    random = np.random.default_rng(seed)
    strings = random_strings(random)
    home = int(random.integers(2, DAYS))
    harvest = int(random.integers(1, home + 1))
    lasts = [LastDays(int(harvest - string.floor_days) - 1, home, LATE_USD) for string in strings]
    worths = [_worth(string, curve, last, harvest) for string, last in zip(strings, lasts, strict=True)]
    deck = int(random.integers(40, 90))
    problem = PlanProblem(
        harbor=Mark(30.0, -84.15),
        cruise_kt=14.0,
        strings=tuple(
            PlanString(string.name, string.traps, float(string.traps), *marks)
            for string, marks in zip(strings, MARKS, strict=True)
        ),
        days=tuple(PlanDay(DEADLINE + n * DAY, 1.0, 1e4, True, TRIP_USD) for n in range(DAYS)),
        gain_usd=np.stack([worth.gain_usd for worth in worths]),
        expected_lb=np.stack([worth.expected_lb for worth in worths]),
        end_usd=np.stack([worth.end_usd for worth in worths]),
        deck_traps=deck,
    )
    rows = [list(of_each(s, curve, last, harvest)) for s, last in zip(strings, lasts, strict=True)]
    best = max(_whole_usd(load, strings, deck) for load in product(*rows))
    plan = solve_plan(problem, next_best=False)
    assert plan.value_usd == pytest.approx(best, abs=0.5)
    for planned_string, worth, last in zip(plan.strings, worths, lasts, strict=True):
        days = [(pull.day - DEADLINE).days for pull in planned_string.pulls]
        assert not days or worth.comes_home[days[-1] + 1]
        assert all(day <= last.rebait for day in days[:-1])


def _worth(string: StandingString, curve: CatchCurve, last: LastDays, harvest: int) -> HaulWorth:
    return haul_worth(
        string,
        curve,
        np.ones((50, DAYS), dtype=bool),
        price_usd_lb=PRICE_USD,
        season_day=30.0,
        usual_chance=0.5,
        days_after=harvest - DAYS + 1,
        least_chance=0.25,
        last=last,
    )


def _whole_usd(load: tuple[tuple[tuple[int, ...], float], ...], strings: list[StandingString], deck: int) -> float:
    """Minus infinity where a trip handles too many traps."""
    usd = sum(usd for _, usd in load)
    for day in range(DAYS):
        traps = sum(string.traps for string, (days, _) in zip(strings, load, strict=True) if day in days)
        if traps > deck:
            return -np.inf
        usd -= TRIP_USD * (traps > 0)
    return float(usd)
