"""What the law allows on which day, checked against the published dates."""

from __future__ import annotations

import dataclasses
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from soakbell.fishery.rules import (
    Authority,
    Bag,
    Closure,
    DateSpan,
    Fishery,
    MonthDay,
    Order,
    Region,
    Rule,
    Season,
    SunOffsets,
    YearlySpan,
)
from soakbell.fishery.season import (
    SeasonDay,
    bag_limit,
    caution,
    gear_rules,
    max_soak_h,
    min_size,
    opened_on,
    opening,
    season_day,
    take_up,
    trap_limit,
    working_hours,
)
from soakbell.settings import load_fishery

FISHERIES = Path(__file__).parents[2] / "config" / "fisheries"
STONE = load_fishery(FISHERIES / "florida-stone-crab.toml")
BLUE = load_fishery(FISHERIES / "florida-blue-crab.toml")
CHECKED = date(2026, 11, 25)


def stone(day: date, sector: str = "commercial", region: str | None = "elsewhere") -> SeasonDay:
    return season_day(STONE, day, sector=sector, region=region)


def blue(day: date, region: str | None) -> SeasonDay:
    return season_day(BLUE, day, sector="commercial", region=region)


def rule(value: Any, **given: Any) -> Rule[Any]:
    return Rule(
        **{"name": "a rule", "value": value, "source": "invented", "checked": CHECKED, "sure": "read"} | given
    )


def allowed(day: SeasonDay) -> tuple[bool, bool, bool]:
    return day.may_harvest, day.may_set, day.traps_may_be_in_water


@pytest.mark.parametrize(
    ("day", "harvest", "setting", "in_water"),
    [
        (date(2026, 10, 4), False, False, False),  # R4: earliest placing 5 Oct
        (date(2026, 10, 5), False, True, True),
        (date(2026, 10, 14), False, True, True),  # R1, R4: no pulling before 15 Oct
        (date(2026, 10, 15), True, True, True),
        (date(2026, 12, 31), True, True, True),
        (date(2027, 1, 1), True, True, True),
        (date(2027, 5, 1), True, True, True),  # R1: last harvest day 1 May
        (date(2027, 5, 2), False, False, True),
        (date(2027, 5, 6), False, False, True),  # R5: 6 May, the safe count of five days
        (date(2027, 5, 7), False, False, False),
        (date(2027, 7, 20), False, False, False),
    ],
)
def test_the_stone_crab_season_turns_on_its_published_days(
    day: date, harvest: bool, setting: bool, in_water: bool
) -> None:
    """R1, R4, R5: notices of the Florida commission, 2021 to 2024 (second-hand)."""
    assert allowed(stone(day)) == (harvest, setting, in_water)


def test_a_day_counts_from_the_opening_that_it_lies_in_or_after() -> None:
    """Stone crab opens on 15 October (68B-13, as in the fishery's file); blue crab never closes."""
    assert opened_on(STONE, date(2026, 10, 15)) == date(2026, 10, 15)
    assert opened_on(STONE, date(2027, 3, 1)) == date(2026, 10, 15)
    assert opened_on(STONE, date(2026, 10, 14)) == date(2025, 10, 15)
    assert opened_on(BLUE, date(2026, 10, 14)) is None


def test_seasons_to_2020_still_end_in_the_middle_of_may() -> None:
    """R2: last day 15 May up to the season 2019-20; R3: never 9 April, which was only proposed."""
    assert stone(date(2020, 5, 15)).may_harvest
    assert not stone(date(2020, 5, 16)).may_harvest
    assert stone(date(2021, 4, 10)).may_harvest
    assert not stone(date(2021, 5, 2)).may_harvest


def test_a_day_in_no_known_season_is_closed() -> None:
    day = stone(date(2010, 12, 1))
    assert allowed(day) == (False, False, False)
    assert "no season is known" in day.reasons[0].text


@pytest.mark.parametrize(
    ("day", "next_change"),
    [
        (date(2026, 11, 25), date(2027, 5, 2)),
        (date(2027, 5, 3), date(2027, 5, 7)),
        (date(2027, 5, 7), date(2027, 10, 5)),
        (date(2027, 10, 5), date(2027, 10, 15)),
    ],
)
def test_the_next_change_is_named(day: date, next_change: date) -> None:
    assert stone(day).next_change == next_change


@pytest.mark.parametrize(
    ("fishery", "region", "day", "set_from", "harvest_from", "rule_said"),
    [
        (STONE, "elsewhere", date(2027, 5, 7), date(2027, 10, 5), date(2027, 10, 15), "earliest placing"),  # R4
        (STONE, "elsewhere", date(2027, 10, 5), date(2027, 10, 5), date(2027, 10, 15), "earliest placing"),
        (STONE, "elsewhere", date(2027, 10, 6), date(2028, 10, 5), date(2028, 10, 15), "earliest placing"),
        (BLUE, "southwest", date(2027, 7, 1), date(2027, 7, 20), date(2027, 7, 20), "southwest trap closure"),
        (BLUE, "big bend", date(2025, 7, 20), date(2025, 7, 26), date(2025, 7, 26), "Big Bend closure of 2025"),
    ],
)  # fmt: skip
def test_traps_are_placed_from_the_first_day_that_the_law_opens(
    fishery: Fishery, region: str, day: date, set_from: date, harvest_from: date, rule_said: str
) -> None:
    """R4, R22; the order of July 2025 as a commission notice has it (second-hand)."""
    found = opening(fishery, day, sector="commercial", region=region)
    assert found is not None
    assert (found.set_from, found.harvest_from) == (set_from, harvest_from)
    assert found.reason.rule.startswith(rule_said)


@given(st.dates(date(2022, 1, 1), date(2030, 1, 1)), st.sampled_from(["southwest", "big bend", "panhandle", None]))
def test_an_opening_is_a_day_to_set_on_after_one_that_is_none_and_the_first_such(
    day: date, region: str | None
) -> None:
    found = opening(BLUE, day, sector="commercial", region=region)
    assert found is not None
    days = [day + timedelta(days=n) for n in range(-1, min(400, (found.set_from - day).days + 1))]
    may_set = [blue(each, region).may_set for each in days]
    opens = [at for at, before, now in zip(days[1:], may_set, may_set[1:], strict=False) if now and not before]
    assert opens == [at for at in days[1:] if at == found.set_from]


def test_where_nothing_closes_there_is_no_opening() -> None:
    assert (
        opening(dataclasses.replace(BLUE, closures=(), orders=()), CHECKED, sector="commercial", region=None)
        is None
    )


@pytest.mark.parametrize(
    ("day", "deadline"),
    [
        (date(2026, 10, 5), date(2027, 5, 6)),
        (date(2027, 4, 18), date(2027, 5, 6)),
        (date(2027, 5, 6), date(2027, 5, 6)),
        (date(2027, 5, 20), date(2027, 5, 6)),  # passed: what is still out is late
        (date(2020, 3, 1), date(2020, 5, 20)),
    ],
)
def test_traps_are_due_out_by_the_safe_count_of_days(day: date, deadline: date) -> None:
    """R5: within five days after the close, counted from the last harvest day."""
    due = take_up(STONE, day, sector="commercial", region=None)
    assert due is not None
    assert due.deadline == deadline
    assert due.reason.rule == "traps out of the water"


def extension(first: date, last: date, **given: Any) -> Order:
    return Order("extends take-up", rule(DateSpan(first, last), name="late take-up", **given))


def test_an_order_that_extends_take_up_moves_the_deadline_and_gives_no_harvest() -> None:
    order = extension(date(2027, 5, 7), date(2027, 5, 13), regions=("elsewhere",))
    longer = dataclasses.replace(STONE, orders=(order,))
    day = season_day(longer, date(2027, 5, 10), sector="commercial", region="elsewhere")
    assert allowed(day) == (False, False, True)
    due = take_up(longer, date(2027, 5, 1), sector="commercial", region="elsewhere")
    assert due is not None
    assert (due.deadline, due.reason.rule) == (date(2027, 5, 13), "late take-up")
    past = take_up(longer, date(2027, 5, 20), sector="commercial", region="elsewhere")
    assert past == due
    south = take_up(longer, date(2027, 5, 1), sector="commercial", region="south")
    assert south is not None
    assert (south.deadline, south.reason.rule) == (date(2027, 5, 6), "traps out of the water")


def test_an_extension_that_another_order_cuts_short_is_not_what_sets_the_deadline() -> None:
    longer = extension(date(2027, 5, 7), date(2027, 5, 13))
    closed = Order("bars traps", rule(DateSpan(date(2027, 5, 10), date(2027, 5, 20)), name="red tide"))
    due = take_up(
        dataclasses.replace(STONE, orders=(longer, closed)), date(2027, 5, 1), sector="commercial", region=None
    )
    assert due is not None
    assert (due.deadline, due.reason.rule) == (date(2027, 5, 9), "red tide")


def test_an_order_for_one_region_gives_nothing_where_the_region_is_not_told() -> None:
    order = extension(date(2027, 5, 7), date(2027, 5, 13), regions=("elsewhere",))
    longer = dataclasses.replace(STONE, orders=(order,))
    assert not season_day(longer, date(2027, 5, 10), sector="commercial", region=None).traps_may_be_in_water


def test_an_order_to_stop_the_harvest_bars_days_within_the_season() -> None:
    order = Order("bars harvest", rule(DateSpan(date(2027, 1, 10), date(2027, 1, 20)), name="red tide"))
    closed = dataclasses.replace(STONE, orders=(order,))
    day = season_day(closed, date(2027, 1, 15), sector="commercial", region=None)
    assert allowed(day) == (False, False, True)
    assert day.next_change == date(2027, 1, 21)
    assert any("21 Jan" not in r.text and "20 Jan 2027" in r.text for r in day.reasons if r.bars)


def test_an_order_to_take_traps_out_bars_everything_and_moves_the_deadline() -> None:
    order = Order("bars traps", rule(DateSpan(date(2027, 1, 10), date(2027, 1, 20)), name="storm order"))
    closed = dataclasses.replace(STONE, orders=(order,))
    day = season_day(closed, date(2027, 1, 10), sector="commercial", region=None)
    assert allowed(day) == (False, False, False)
    due = take_up(closed, date(2027, 1, 5), sector="commercial", region=None)
    assert due is not None
    assert (due.deadline, due.reason.rule) == (date(2027, 1, 9), "storm order")


@pytest.mark.parametrize(
    ("region", "first", "last"),
    [
        ("panhandle", date(2027, 1, 5), date(2027, 1, 14)),
        ("southwest", date(2027, 7, 10), date(2027, 7, 19)),
        ("big bend", date(2027, 7, 20), date(2027, 7, 29)),
        ("st johns", date(2028, 1, 16), date(2028, 1, 25)),
        ("southeast", date(2028, 8, 10), date(2028, 8, 19)),
        ("northeast", date(2028, 8, 20), date(2028, 8, 29)),
    ],
)
def test_blue_crab_coasts_close_for_ten_days_in_their_own_years(region: str, first: date, last: date) -> None:
    """R22: west coast in odd years, east coast in even ones (commission notices 2017 to 2025, second-hand)."""
    assert (last - first).days == 9
    assert allowed(blue(first - timedelta(1), region)) == (True, True, True)
    assert allowed(blue(first, region)) == allowed(blue(last, region)) == (False, False, False)
    assert allowed(blue(last + timedelta(1), region)) == (True, True, True)
    assert allowed(blue(first.replace(year=first.year + 1), region)) == (True, True, True)
    assert allowed(blue(first, "charlotte harbor" if region == "big bend" else "big bend")) == (True, True, True)


def test_a_closure_ended_early_by_order_is_open_again() -> None:
    """Commission notice of July 2025: traps back from 26 July (second-hand)."""
    assert not blue(date(2025, 7, 25), "big bend").traps_may_be_in_water
    assert blue(date(2025, 7, 26), "big bend").traps_may_be_in_water
    assert blue(date(2025, 7, 20), "big bend").next_change == date(2025, 7, 26)


def test_counties_exempted_by_order_stay_open_and_their_neighbours_do_not() -> None:
    """R22: order of July 2023 for Collier, Lee, Charlotte and DeSoto (second-hand)."""
    assert blue(date(2023, 7, 15), "charlotte harbor").traps_may_be_in_water
    assert not blue(date(2023, 7, 15), "southwest").traps_may_be_in_water
    assert not blue(date(2025, 7, 15), "charlotte harbor").traps_may_be_in_water


def test_the_deadline_before_a_closure_is_its_eve() -> None:
    due = take_up(BLUE, date(2026, 11, 25), sector="recreational", region="big bend")
    assert due is not None
    assert due.deadline == date(2027, 7, 19)


def test_with_no_region_told_every_region_closure_holds() -> None:
    for day in (date(2027, 1, 5), date(2027, 7, 15), date(2027, 7, 25), date(2028, 8, 25)):
        assert not blue(day, None).traps_may_be_in_water


def test_a_sector_or_region_that_the_fishery_lacks_is_refused() -> None:
    with pytest.raises(ValueError, match="no sector 'charter'"):
        stone(date(2026, 12, 1), sector="charter")
    with pytest.raises(ValueError, match="no region 'big bend'"):
        stone(date(2026, 12, 1), region="big bend")


def test_every_barred_day_names_a_rule_with_its_source() -> None:
    for day in (date(2027, 5, 3), date(2027, 6, 1), date(2027, 10, 6)):
        barring = [r for r in stone(day).reasons if r.bars]
        assert barring
        assert all(r.source and r.sure and r.text for r in barring)


@given(
    st.dates(date(2018, 1, 1), date(2032, 12, 31)),
    st.sampled_from([(STONE, None), (STONE, "south"), (BLUE, None), (BLUE, "big bend"), (BLUE, "northeast")]),
)
def test_next_change_agrees_with_going_day_by_day(day: date, place: tuple[Fishery, str | None]) -> None:
    fishery, region = place
    now = season_day(fishery, day, sector="commercial", region=region)
    assert now.next_change is not None
    for ahead in range(1, (now.next_change - day).days):  # at most four years: one closure of two was lifted
        then = season_day(fishery, day + timedelta(ahead), sector="commercial", region=region)
        assert allowed(then) == allowed(now)
    turned = season_day(fishery, now.next_change, sector="commercial", region=region)
    assert allowed(turned) != allowed(now)


@given(
    st.dates(date(2021, 1, 1), date(2030, 12, 31)),
    st.dates(date(2021, 1, 1), date(2030, 12, 31)),
    st.integers(0, 60),
    st.sampled_from(["bars harvest", "bars traps"]),
)
def test_a_barring_order_never_allows_more(day: date, first: date, length: int, effect: Any) -> None:
    order = Order(effect, rule(DateSpan(first, first + timedelta(length))))
    for fishery in (STONE, BLUE):
        before = season_day(fishery, day, sector="commercial", region=None)
        barred = dataclasses.replace(fishery, orders=(*fishery.orders, order))
        after = season_day(barred, day, sector="commercial", region=None)
        assert all(was or not now for was, now in zip(allowed(before), allowed(after), strict=True))


@given(st.dates(date(2018, 1, 1), date(2032, 12, 31)), st.sampled_from([STONE, BLUE]))
def test_not_telling_the_region_never_allows_more(day: date, fishery: Fishery) -> None:
    untold = allowed(season_day(fishery, day, sector="commercial", region=None))
    for region in fishery.region_names:
        told = allowed(season_day(fishery, day, sector="commercial", region=region))
        assert all(here or not anywhere for here, anywhere in zip(told, untold, strict=True))


def test_the_minimum_claw_changed_in_october_2020() -> None:
    """R7: 2 7/8 in since October 2020, 2 3/4 in before; 73.0 mm and 70 mm."""
    sizes = {
        day: min_size(STONE, day, sector="recreational", region=None)
        for day in (date(2020, 5, 1), date(2020, 10, 15), CHECKED)
    }
    assert {day: size.value for day, size in sizes.items() if size} == {
        date(2020, 5, 1): 2.75,
        date(2020, 10, 15): 2.875,
        CHECKED: 2.875,
    }
    assert min_size(BLUE, CHECKED, sector="recreational", region=None) is None


@pytest.mark.parametrize(("persons", "gallons"), [(1, 1.0), (2, 2.0), (3, 2.0)])
def test_the_bag_is_the_less_of_person_and_vessel(persons: int, gallons: float) -> None:
    """R8: one gallon a person or two a vessel, whichever is less."""
    limit = bag_limit(STONE, CHECKED, sector="recreational", region=None, persons=persons)
    assert limit is not None
    assert limit.gallons == gallons


def test_five_traps_a_person_bind_recreational_crabbers_only() -> None:
    """R9: five a person; commercial numbers go by certificates."""
    limit = trap_limit(STONE, CHECKED, sector="recreational", region=None, persons=2)
    assert limit is not None
    assert limit.traps == 10
    assert trap_limit(STONE, CHECKED, sector="commercial", region=None, persons=2) is None


def test_working_hours_are_sunrise_to_sunset_where_no_offset_was_read() -> None:
    """R6: daylight only; the hour before and after is read for federal spiny lobster alone (R20)."""
    for fishery in (STONE, BLUE):
        for sector in fishery.sectors:
            hours = working_hours(fishery, sector)
            assert (hours.after_sunrise_min, hours.before_sunset_min) == (0, 0)


def test_of_two_working_hour_rules_the_stricter_end_of_each_counts() -> None:
    early = rule(SunOffsets(-60, 30))
    late = rule(SunOffsets(15, -60), sectors=("commercial",))
    both = dataclasses.replace(STONE, working_hours=(early, late))
    hours = working_hours(both, "commercial")
    assert (hours.after_sunrise_min, hours.before_sunset_min, hours.rule) == (15, 30, late)
    assert working_hours(both, "recreational").after_sunrise_min == -60


def test_gear_rules_follow_the_region_and_all_bind_where_it_is_not_told() -> None:
    """R13: throat 5 1/2 x 3 1/8 in without round ones off Collier, Monroe and Miami-Dade."""

    def throats(region: str | None) -> list[str]:
        rules = gear_rules(STONE, CHECKED, sector="commercial", region=region)
        return [r.value for r in rules if r.name == "throat"]

    assert len(throats(None)) == 2
    assert "3 1/8" in throats("south")[0]
    assert "3 1/2" in throats("elsewhere")[0]


def test_no_longest_soak_is_invented_where_the_law_sets_none() -> None:
    assert max_soak_h(STONE, CHECKED, sector="commercial", region=None) is None
    limited = dataclasses.replace(STONE, max_soak_h=(rule(720.0), rule(240.0, regions=("south",))))
    found = {
        region: max_soak_h(limited, CHECKED, sector="commercial", region=region)
        for region in (None, "south", "elsewhere")
    }
    hours = {region: r.value for region, r in found.items() if r}
    assert hours == {None: 240.0, "south": 240.0, "elsewhere": 720.0}


@pytest.mark.parametrize("fishery", [STONE, BLUE], ids=lambda fishery: fishery.name)
def test_the_caution_names_the_authority_and_the_date(fishery: Fishery) -> None:
    told = caution(fishery)
    assert "Check with the authority" in told.text
    assert fishery.authority.name in told.text
    assert "25 Nov 2026" in told.text
    assert f"of {len(fishery.rules)} were not read in the rule's own text" in told.text


@pytest.mark.parametrize("fishery", [STONE, BLUE], ids=lambda fishery: fishery.name)
def test_every_shipped_rule_says_where_it_is_from_and_when_it_was_checked(fishery: Fishery) -> None:
    for shipped in fishery.rules:
        assert shipped.source.strip()
        assert shipped.checked == CHECKED
        if shipped.sure in ("memory", "conflicting"):
            assert shipped.note, f"{shipped.name}: say which reading was taken"


def small_fishery(**given: Any) -> Fishery:
    """An invented fishery with a winter season."""
    season = Season(
        from_year=2020,
        opens=rule(MonthDay(11, 1)),
        first_set=rule(MonthDay(10, 30)),
        last_pull=rule(MonthDay(2, 28)),
        traps_out_by=rule(MonthDay(3, 1)),
    )
    return Fishery(
        **{
            "name": "invented crab",
            "authority": Authority("An invented board", "https://board.example"),
            "kept": "whole crabs",
            "measured": "across the shell",
            "sectors": ("all",),
            "regions": (Region("north", "north of the point"),),
            "working_hours": (rule(SunOffsets(0, 0)),),
            "seasons": (season,),
        }
        | given
    )


def test_a_season_whose_first_set_lies_in_the_year_before_it_opens() -> None:
    season = Season(
        from_year=2020,
        opens=rule(MonthDay(1, 1)),
        first_set=rule(MonthDay(12, 28)),
        last_pull=rule(MonthDay(3, 31)),
        traps_out_by=rule(MonthDay(4, 3)),
    )
    fishery = small_fishery(seasons=(season,))
    assert allowed(season_day(fishery, date(2026, 12, 28), sector="all", region=None)) == (False, True, True)
    assert allowed(season_day(fishery, date(2027, 1, 1), sector="all", region=None)) == (True, True, True)
    assert allowed(season_day(fishery, date(2027, 4, 4), sector="all", region=None)) == (False, False, False)


def test_before_its_first_known_season_a_fishery_is_closed_and_names_the_first() -> None:
    fishery = small_fishery()
    law = season_day(fishery, date(2019, 9, 1), sector="all", region=None)
    assert allowed(law) == (False, False, False)
    assert "harvest opens 1 Nov 2020" in law.reasons[0].text
    assert take_up(fishery, date(2019, 9, 1), sector="all", region=None) is None


def test_take_up_across_the_end_of_february_counts_leap_years() -> None:
    fishery = small_fishery()
    assert not season_day(fishery, date(2028, 2, 29), sector="all", region=None).may_harvest
    due = take_up(fishery, date(2028, 2, 29), sector="all", region=None)
    assert due is not None
    assert due.deadline == date(2028, 3, 1)


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"seasons": ()}, "either seasons or open_all_year"),
        ({"open_all_year": rule(True)}, "either seasons or open_all_year"),
        ({"seasons": (), "open_all_year": rule(False)}, "open_all_year is either true"),
        ({"working_hours": ()}, "no working hours for the sector 'all'"),
        ({"working_hours": (rule(SunOffsets(0, 0), regions=("north",)),)}, "no working hours"),
        ({"working_hours": (rule(SunOffsets(0, 0), until=CHECKED),)}, "hold at all dates"),
        ({"sectors": ()}, "no sector is named"),
        ({"bag": (rule(Bag(1.0), sectors=("charter",)),)}, "unknown sector 'charter'"),
        ({"bag": (rule(Bag(1.0), regions=("south",)),)}, "unknown region 'south'"),
        ({"regions": (Region("a", "x"), Region("a", "y"))}, "region 'a' is there twice"),
        ({"orders": (Order("lifts closure", rule(DateSpan(CHECKED, CHECKED)), "x"),)}, "unknown closure 'x'"),
    ],
)
def test_rules_that_leave_a_gap_or_contradict_each_other_are_refused(given: dict[str, Any], said: str) -> None:
    with pytest.raises(ValueError, match=said):
        small_fishery(**given)


def test_two_seasons_of_one_year_are_refused() -> None:
    season = small_fishery().seasons[0]
    with pytest.raises(ValueError, match="overlap"):
        small_fishery(seasons=(season, dataclasses.replace(season, from_year=2025)))


def test_a_season_rule_for_one_sector_only_is_refused_rather_than_ignored() -> None:
    season = small_fishery().seasons[0]
    narrow = dataclasses.replace(season, opens=rule(MonthDay(11, 1), sectors=("all",)))
    with pytest.raises(ValueError, match="holds for everybody"):
        small_fishery(seasons=(narrow,))


@pytest.mark.parametrize("sure", ["memory", "conflicting", "derived"])
def test_an_order_that_gives_leave_must_have_been_read_or_reported(sure: str) -> None:
    with pytest.raises(ValueError, match="must be read or second-hand"):
        extension(date(2027, 5, 7), date(2027, 5, 13), sure=sure)
    assert Order("bars traps", rule(DateSpan(CHECKED, CHECKED), sure=sure)).gives_leave is False


def test_impossible_dates_and_spans_are_refused() -> None:
    with pytest.raises(ValueError, match="day"):
        MonthDay(2, 29)
    with pytest.raises(ValueError, match="last day lies before"):
        YearlySpan(MonthDay(7, 20), MonthDay(7, 10))
    with pytest.raises(ValueError, match="last date lies before"):
        DateSpan(date(2027, 5, 2), date(2027, 5, 1))
    with pytest.raises(ValueError, match="needs a name and a source"):
        rule(1, source=" ")
    with pytest.raises(ValueError, match="to_year lies before"):
        dataclasses.replace(small_fishery().seasons[0], to_year=2019)
    with pytest.raises(ValueError, match="closure goes with"):
        Order("bars traps", rule(DateSpan(CHECKED, CHECKED)), "a closure")
    with pytest.raises(ValueError, match="ends before it begins"):
        rule(1, since=CHECKED, until=CHECKED - timedelta(1))


def test_a_closure_of_every_year_falls_in_odd_and_even_years_but_not_before_its_first() -> None:
    closure = Closure("every", 2025, rule(YearlySpan(MonthDay(7, 1), MonthDay(7, 2))))
    assert [closure.falls_in(year) for year in (2024, 2025, 2026)] == [False, True, True]
