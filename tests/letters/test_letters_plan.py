"""The week ahead in a letter: what it says, what it leaves out, and that it never costs the letter."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

import pytest
from pages import Page

from scenes import DAY, letter_of, no_call_stale, pull_morning, wait_by_wind
from soakbell.letters import plan_section as section_module
from soakbell.letters.plan_section import (
    NO_CALL_OF_ITS_OWN,
    TITLE,
    PlanSection,
    chance_words,
    held_words,
    plan_section,
    usd_words,
)
from soakbell.planning.season_told import SURE_START, SeasonAhead, YearsCounted
from soakbell.planning.week import (
    CeilingRisk,
    DayKind,
    FreeChoice,
    Held,
    HeldBy,
    PastCeiling,
    StringPlan,
    TakeUpAhead,
    Waiting,
    Week,
)
from take_up_scenes import ODDS
from week_scenes import PULL_WEEK, WAIT_WEEK, curves

VALUES = {
    "needs_min": 410.0,
    "has_min": 330.0,
    "needs": 120,
    "most": 80,
    "needs_lb": 12.0,
    "most_lb": 10.0,
    "bait": "mullet heads",
    "needs_boxes": 3.5,
    "has_boxes": 2.0,
    "strings": ("Nine Foot",),
}


def section(week: Week, *, trip: bool = True) -> PlanSection:
    told = plan_section(week, DAY, trip=trip)
    assert told is not None
    return told


def reasons(week: Week, *, trip: bool = True) -> str:
    return " ".join(section(week, trip=trip).reasons)


def lines(week: Week, *, trip: bool = True) -> str:
    return " ".join(line for block in section(week, trip=trip).blocks for line in block.lines)


def test_the_text_tells_all_that_the_page_tells() -> None:
    for scene in (pull_morning, wait_by_wind):
        letter = letter_of(scene)
        text, page = " ".join(letter.text.split()), Page(letter.html).text
        week = scene().week
        assert week is not None
        told = section(week, trip=scene is pull_morning)
        for sentence in (*told.reasons, *(line for block in told.blocks for line in block.lines)):
            assert sentence in text
            assert sentence in page
        for row in told.rows:
            for part in (row.day, row.fit, row.strings, row.catch):
                assert part in text
                assert part in page


def test_the_plan_stands_after_the_gear_of_a_pull_and_after_the_reasons_of_a_wait() -> None:
    pull, wait = letter_of(pull_morning).text, letter_of(wait_by_wind).text
    assert pull.index("Bait and gear to load") < pull.index(TITLE) < pull.index("Why this window")
    assert wait.index("Why wait") < wait.index(TITLE) < wait.index("The days ahead")


def test_a_letter_without_a_call_tells_no_plan_even_where_one_is_at_hand() -> None:
    letter = replace(no_call_stale(), week=PULL_WEEK).letter()
    assert TITLE not in letter.text
    assert TITLE not in letter.html


def test_every_plan_says_that_it_makes_no_call() -> None:
    for week in (PULL_WEEK, WAIT_WEEK):
        assert NO_CALL_OF_ITS_OWN in lines(week)


@pytest.mark.parametrize(
    ("free", "said"),
    [
        (("Ledge", "Nine Foot", "Outer Bar"), "would take Ledge instead of The Hump, worth about $40 more"),
        (("Nine Foot", "Outer Bar"), "would leave out The Hump, worth about $40 more"),
        (("Nine Foot", "Outer Bar", "The Hump", "Ledge"), "would also take Ledge, worth about $40 more"),
    ],
)
def test_another_choice_is_told_in_one_sentence_and_left_to_the_skipper(free: tuple[str, ...], said: str) -> None:
    told = reasons(replace(PULL_WEEK, free=FreeChoice(free, 41.0)))
    assert f"Free to choose today, the plan {said}; decide for yourself." in told


@pytest.mark.parametrize(
    ("usd", "said"),
    [
        (212.0, "Going today as called is worth about $210 more than staying in until Fri 11 Dec"),
        (2.0, "Going today as called and staying in until Fri 11 Dec are worth about the same."),
        (-80.0, "Staying in until Fri 11 Dec would be worth about $80 more than going today as called; the soak"),
    ],
)
def test_what_waiting_costs_is_told_whichever_way_it_goes(usd: float, said: str) -> None:
    assert said in reasons(replace(PULL_WEEK, waiting=Waiting(usd, 21.6, date(2026, 12, 11))))


def test_a_free_choice_to_stay_in_is_told_once() -> None:
    week = replace(PULL_WEEK, waiting=Waiting(-41.0, 0.0, date(2026, 12, 11)), free=FreeChoice((), 41.0))
    assert reasons(week).count("$40 more") == 1
    dearer = replace(week, strings=tuple(replace(plan, loses_usd=-20.0) for plan in week.strings[:1]))
    assert "the plan gains" not in lines(dearer), "what a free choice gains is told once"


def test_staying_in_to_save_a_trip_is_no_contradiction_to_strings_that_lose_by_being_left_out() -> None:
    """The letter of a demo's 12 December said all three of these of different plans, as if of one."""
    week = replace(
        PULL_WEEK, waiting=Waiting(-10.0, 0.0, date(2026, 12, 11), trips_saved=1), free=FreeChoice((), 10.0)
    )
    assert "worth about $10 more than going today as called; it saves a trip. Decide for yourself." in reasons(
        week
    )
    told = lines(week)
    assert (
        "Nine Foot: today, at 7 days of soak; left out of the trip, on Fri 11 Dec instead, the plan loses" in told
    )
    assert "no other plan that goes today as called is worth more." in told
    assert "gained or lost is against this plan, which goes today as called" in told


def test_beside_wait_all_is_held_against_the_plan_that_stays_in() -> None:
    told = lines(WAIT_WEEK, trip=False)
    assert "no plan that stays in today is worth over 0.4 % more." in told
    assert "goes today" not in told
    assert "left out of the trip" not in told


def test_a_loss_that_is_not_proven_is_told_as_the_most_there_is() -> None:
    one = PULL_WEEK.strings[-1]
    assert "on Mon 14 Dec instead, the plan loses about $45" in lines(replace(PULL_WEEK, strings=(one,)))
    unproven = replace(PULL_WEEK, strings=(replace(one, at_most=True),))
    assert "on Mon 14 Dec instead, the plan loses at most about $45" in lines(unproven)


def test_what_staying_in_costs_is_told_of_the_plans_found_where_a_better_one_may_be_missed() -> None:
    for usd, said in ((212.0, "going today"), (-80.0, "staying in until"), (1.0, "going today as called and")):
        waiting = Waiting(usd, 0.0, date(2026, 12, 11), proven=False)
        assert f"Of the plans found, {said}" in reasons(replace(PULL_WEEK, waiting=waiting))


def test_staying_in_is_no_risk_to_a_string_that_is_not_called() -> None:
    assert "If you stay in, the chance that Outer Bar" in reasons(PULL_WEEK)
    assert "The chance that Ledge" in reasons(replace(PULL_WEEK, risks=(CeilingRisk("Ledge", DAY, 0.4),)))


def test_pounds_are_told_only_where_more_are_landed() -> None:
    assert "about 22 lb more landed" in reasons(PULL_WEEK)
    assert "lb" not in reasons(replace(PULL_WEEK, waiting=Waiting(212.0, -3.0, None)))


@pytest.mark.parametrize(
    ("held", "said"),
    [
        ((HeldBy.BAIT, HeldBy.BAIT), "No trip is planned in these days: bait runs short."),
        ((HeldBy.SOAK, HeldBy.SOAK), "No trip is planned in these days: no string gets ripe."),
        ((HeldBy.BAIT, HeldBy.WEATHER), "No trip is planned in these days: what holds each string is told below."),
    ],
)
def test_a_week_without_a_trip_says_so_and_never_another_reason_than_its_strings(
    held: tuple[HeldBy, ...], said: str
) -> None:
    idle = replace(
        WAIT_WEEK,
        days=tuple(replace(plan, strings=()) for plan in WAIT_WEEK.days),
        strings=tuple(StringPlan(f"String {n}", None, held=Held(by, None, VALUES)) for n, by in enumerate(held)),
    )
    assert said in reasons(idle, trip=False)


def test_a_day_without_a_chance_says_why() -> None:
    fit = {row.day: row.fit for row in section(WAIT_WEEK, trip=False).rows}
    assert fit["Tue 8 Dec"] == "wait"
    assert fit["Thu 10 Dec"] == "barred by you"
    assert fit["Sun 13 Dec"] == "not known"
    assert {row.fit for row in section(PULL_WEEK).rows} >= {"called", "crew off", "under 5 %", "82 %"}


@pytest.mark.parametrize("kind", DayKind)
def test_every_kind_of_day_has_words(kind: DayKind) -> None:
    week = replace(PULL_WEEK, days=(PULL_WEEK.days[0], replace(PULL_WEEK.days[1], kind=kind)))
    assert section(week).rows[1].fit


@pytest.mark.parametrize("day", [None, date(2026, 12, 10)])
@pytest.mark.parametrize("by", HeldBy)
def test_whatever_holds_a_string_has_words(by: HeldBy, day: date | None) -> None:
    planned = StringPlan("Ledge", date(2026, 12, 11), 9.0, Held(by, day, VALUES))
    left = StringPlan("Ledge", None, held=Held(by, day, VALUES))
    told = lines(replace(PULL_WEEK, strings=(planned, left)))
    assert "Ledge: Fri 11 Dec, at 9 days of soak; no sooner, since " in told
    assert "Ledge: not in these days; " in told


@pytest.mark.parametrize(
    ("by", "said"),
    [
        (HeldBy.HOURS, "the trip on Thu 10 Dec would take 6 h 50 min of 5 h 30 min"),
        (HeldBy.TRAPS, "the trip on Thu 10 Dec would handle 120 traps of at most 80"),
        (HeldBy.BAIT, "mullet heads run short on Thu 10 Dec: 3.5 boxes needed up to then, 2 there"),
        (HeldBy.SOAK, "it is not ripe on Thu 10 Dec"),
    ],
)
def test_what_binds_is_told_in_its_numbers(by: HeldBy, said: str) -> None:
    assert held_words(Held(by, date(2026, 12, 10), VALUES)) == said


def test_a_pin_that_cannot_be_met_is_told() -> None:
    assert "Your pin of The Hump to Sun 13 Dec can't be met: there are no trips on Sun 13 Dec" in reasons(
        WAIT_WEEK, trip=False
    )
    assert "you pinned it" in lines(WAIT_WEEK)


@pytest.mark.parametrize(
    ("week", "said"),
    [
        (WAIT_WEEK, "no hauls in the log yet, so it is what is usual (common practice, no source)"),
        (PULL_WEEK, "how much is mostly your log (46 hauls), how it grows with the soak mostly what is usual"),
        (replace(PULL_WEEK, curves=curves(5, 0.3, 0.0)), "mostly what is usual; your log has 5 hauls so far"),
        (replace(PULL_WEEK, curves=curves(400, 0.95, 0.7)), "Catch: mostly your log (400 hauls)."),
        (PULL_WEEK, "taken from memory until 30 days are on record; 12 so far"),
        (WAIT_WEEK, "taken from memory until 30 days are on record; none so far"),
        (replace(PULL_WEEK, weather_days=44), "how far forecasts err is learned from 44 days on record"),
        (
            replace(PULL_WEEK, weather_days=44, weather_unseen=("sea_m",)),
            "learned from 44 days on record. Of seas nothing is on record: from memory alone.",
        ),
        (
            replace(PULL_WEEK, weather_days=0, areas_unseen=("Outer Bay",)),
            "In Outer Bay nothing is on record, so nothing is taken for surer than from memory.",
        ),
        (PULL_WEEK, "claws at $18.25 a pound, less bait, wear and $120 a trip."),
        (PULL_WEEK, "Days are chosen by each string's own chance: so, no other plan that goes today as called is"),
        (WAIT_WEEK, "No bait is in the log, so the lack of it holds no trip back."),
    ],
)
def test_it_says_what_is_data_and_what_is_held_for_usual(week: Week, said: str) -> None:
    assert said in lines(week)


def test_a_fault_is_told_and_the_letter_goes_out(monkeypatch: pytest.MonkeyPatch) -> None:
    told = plan_section(Week(fault="the log could not be booked"), DAY, trip=True)
    assert told is not None
    assert told.fault == "The week could not be planned: the log could not be booked."

    def fails(*_: Any, **__: Any) -> None:
        raise RuntimeError("no words")

    monkeypatch.setattr(section_module, "_rests", fails)
    letter = pull_morning().letter()
    assert "The week could not be planned: RuntimeError: no words." in letter.text
    assert letter.subject.startswith("PULL")


def test_names_from_outside_stay_on_their_line_and_are_no_markup() -> None:
    hostile = replace(PULL_WEEK, strings=(StringPlan("<b>Ledge</b>\nNine", None),))
    letter = replace(pull_morning(), week=hostile).letter()
    assert "&lt;b&gt;Ledge" in letter.html
    assert "<b>Ledge" not in letter.html


def test_numbers_are_told_no_closer_than_they_are_known() -> None:
    assert [chance_words(chance) for chance in (0.0, 0.049, 0.05, 0.824, 0.951, 1.0)] == [
        "under 5 %",
        "under 5 %",
        "5 %",
        "82 %",
        "over 95 %",
        "over 95 %",
    ]
    assert [usd_words(usd) for usd in (0.0, 2.0, 41.0, 96.0, 434.0, -12.0, 12345.0)] == [
        "$0",
        "$0",
        "$40",
        "$95",
        "$430",
        "-$10",
        "$12,340",
    ]


TUESDAY = date(2026, 12, 15)


def test_past_the_ceiling_no_soak_is_said_to_gain() -> None:
    old = (
        PastCeiling("Nine Foot", 34.0, True, DAY, 34.0),
        PastCeiling("Ledge", 40.0, True, date(2026, 12, 11), 43.0, law_days=30.0),
    )
    told = reasons(replace(PULL_WEEK, past=old, waiting=Waiting(-400.0, 0.0, None)))
    assert "the soak still gains" not in told
    assert "Nine Foot would soak further past the ceiling" in told
    assert "Ledge is past its ceiling, at up to 40 days; the law allows 30. Every day more costs" in told
    assert "the soak still gains" in reasons(replace(PULL_WEEK, waiting=Waiting(-400.0, 0.0, None)))


def test_strings_past_their_ceiling_are_told_in_one_sentence() -> None:
    old = tuple(PastCeiling(name, 30.0, True, TUESDAY, 37.0) for name in ("Nine Foot", "Ledge"))
    told = reasons(replace(WAIT_WEEK, past=old), trip=False)
    assert "Nine Foot and Ledge are past their ceiling, at up to 30 days. Every day more costs: pull them" in told


@pytest.mark.parametrize(
    ("past", "said"),
    [
        (
            PastCeiling("Ledge", 20.0, True, None, 27.0, law_days=21.0),
            "Ledge is past its ceiling, at up to 20 days, and the plan has no day for it: up to 27 days by "
            "Tue 15 Dec; the law allows 21. Every day more costs: pull it on the first fit day.",
        ),
        (
            PastCeiling("Ledge", 16.0, False, None, 23.0, law_days=21.0),
            "Ledge will be past its ceiling within these days, at up to 23 days by Tue 15 Dec; the law allows 21, "
            "and the plan has no day for it. Decide for yourself.",
        ),
        (
            PastCeiling("Ledge", 16.0, False, TUESDAY, 23.0),
            "Ledge comes past its ceiling before the plan pulls it, at up to 23 days of soak. Once past it",
        ),
    ],
)
def test_a_string_that_the_plan_leaves_past_its_ceiling_is_told_by_name(past: PastCeiling, said: str) -> None:
    assert said in reasons(replace(WAIT_WEEK, past=(past,)), trip=False)


def test_leaving_a_string_out_is_told_as_a_gain_where_it_is_one() -> None:
    one = replace(PULL_WEEK.strings[0], loses_usd=-85.0)
    assert "the plan gains about $85" in lines(replace(PULL_WEEK, strings=(one,), free=None))
    assert "loses $0" not in lines(replace(PULL_WEEK, strings=(replace(one, loses_usd=2.0),)))


def test_the_called_day_tells_no_money_and_no_if() -> None:
    assert "$" not in section(PULL_WEEK).rows[0].catch
    assert "if fit 38" not in " ".join(letter_of(pull_morning).text.split())


def test_a_plan_whose_distance_from_the_best_is_unknown_is_not_called_the_best() -> None:
    told = lines(replace(PULL_WEEK, short_share=None))
    assert "isn't known" in told
    assert "no other plan" not in told


# ---- season's end

HOME_BY = date(2026, 12, 11)
TAKE_UP = TakeUpAhead(HOME_BY, date(2026, 12, 14), (), 1234.0)
LAST_PULLS = replace(
    PULL_WEEK,
    days=(
        replace(PULL_WEEK.days[0], take_up=("The Hump",)),
        *PULL_WEEK.days[1:3],
        replace(PULL_WEEK.days[3], take_up=("Ledge",), lb=0.0, lb_low=0.0, lb_high=0.0),
        *(replace(plan, kind=DayKind.TRAPS_HOME, chance=0.0) for plan in PULL_WEEK.days[4:]),
    ),
    strings=(*PULL_WEEK.strings[:4], replace(PULL_WEEK.strings[4], take_up=True)),
    take_up=TAKE_UP,
)


def started_by(start: date | None) -> SeasonAhead:
    """With that last day to start on for the chance by which trips get their days."""
    odds = replace(ODDS, start_by=((0.80, date(2026, 12, 12)), (SURE_START, start)))
    return SeasonAhead(DAY, odds=odds)


def test_traps_that_come_home_are_told_apart_by_day_and_by_string() -> None:
    rows = section(LAST_PULLS).rows
    assert rows[0].strings == "Nine Foot, Outer Bar; take up The Hump"
    assert (rows[3].strings, rows[3].catch) == ("take up Ledge", "no catch, $120")
    assert rows[4].fit == "traps home"
    assert "Ledge: Fri 11 Dec, at 10 days of soak; its last pull: take up, not rebaited; " in lines(LAST_PULLS)
    assert "rebaited" not in lines(PULL_WEEK)


def test_the_week_says_from_when_traps_may_be_set_again_and_what_is_not_brought_home() -> None:
    assert "Traps may be set again from Mon 14 Dec; the plan sets none." in reasons(LAST_PULLS)
    left = replace(LAST_PULLS, take_up=replace(TAKE_UP, next_set=None, left_out=("Ledge", "The Hump")))
    assert "finds no trip that brings Ledge and The Hump home by Fri 11 Dec. Decide for yourself." in reasons(left)
    assert "set again" not in reasons(left)


def test_what_finds_no_room_on_deck_is_told_to_go_back_without_bait() -> None:
    full = replace(LAST_PULLS, take_up=replace(TAKE_UP, no_room=("Outer Bar",)))
    assert "By your deck load Outer Bar finds no room on deck today, so it goes back without bait" in reasons(full)


def test_what_finds_no_room_on_deck_stays_where_no_trap_may_be_set_any_more() -> None:
    full = replace(LAST_PULLS, take_up=replace(TAKE_UP, no_room=("Outer Bar",), may_set=False))
    assert "and no trap may be set any more: leave it and fetch later." in reasons(full)
    assert "without bait" not in reasons(full)


def test_a_string_that_holds_more_than_the_deck_load_is_not_told_as_never_coming_home() -> None:
    large = replace(LAST_PULLS, take_up=replace(TAKE_UP, too_many=("Outer Bar",)))
    assert "Outer Bar: more than your deck load, and the plan cuts no string." in reasons(large)
    assert "finds no trip" not in reasons(large)


def test_a_trip_that_only_takes_up_tells_no_worth_before_the_table() -> None:
    fetching = replace(LAST_PULLS, waiting=None, days=LAST_PULLS.days[1:])
    assert "Fri 11 Dec: 82 % likely fit, to take up Ledge without a catch." in reasons(fetching, trip=False)


def test_what_a_string_left_out_counts_is_told_as_a_choice_and_no_fine() -> None:
    assert "not home by Fri 11 Dec counts here as $1,230 lost" in lines(LAST_PULLS)
    assert "no fine" not in lines(PULL_WEEK)


@pytest.mark.parametrize(
    ("start", "said"),
    [
        (None, "No day to start on has a chance of 95% any more of all traps home by "),
        (date(2026, 12, 7), "Mon 7 Dec was the last day to start on for a chance of 95% of all traps home by "),
        (DAY, ""),
        (date(2026, 12, 10), ""),
    ],
)
def test_past_the_day_to_start_by_taking_up_goes_before_pulling(start: date | None, said: str) -> None:
    told = plan_section(LAST_PULLS, DAY, trip=True, season=started_by(start))
    assert told is not None
    assert told.reasons[0].startswith(said)
    assert any("taking up goes before pulling" in reason for reason in told.reasons) == bool(said)


def test_what_usual_days_rest_on_is_told() -> None:
    counted = YearsCounted("Outer Bay", "42036", (2015, 2016), (), ())
    told = lines(replace(PULL_WEEK, usual_counted=(counted,), usual_lacking=("no past years were counted for X",)))
    assert "Usual days in Outer Bay: as often fit as station 42036 measured in 2015 to 2016, 2 years." in told
    assert "No past years were counted for X: there the usual chance of the plan file stands" in told
