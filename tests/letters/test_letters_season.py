"""Season's end in a letter: what it says and leaves out, and that it never costs the letter. INVENTED DATA."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest
from pages import Page

from scenes import DAY, no_call_stale, pull_morning, wait_by_wind
from soakbell.letters import season_section as section_module
from soakbell.letters.letter import morning_letter
from soakbell.letters.recovery_words import chance_told
from soakbell.letters.season_section import (
    MOST_TRIPS,
    NO_CALL_OF_ITS_OWN,
    TITLE,
    SeasonSection,
    season_line,
    season_section,
)
from soakbell.planning.recovery import RecoveryList
from soakbell.planning.season_told import SeasonAhead, TodayCounts
from take_up_scenes import ODDS, ahead, december, over, take_up_letter


def section(season: SeasonAhead) -> SeasonSection:
    told = season_section(season, "soakbell")
    assert told is not None
    return told


def said(season: SeasonAhead) -> str:
    told = section(season)
    return " ".join((told.fault, *told.lines, *(line for block in told.blocks for line in block.lines)))


def listed() -> RecoveryList:
    recovery = ahead().recovery
    assert recovery is not None
    return recovery


def test_the_text_tells_all_that_the_page_tells() -> None:
    letter = take_up_letter("take-up-morning")
    text, page = " ".join(letter.text.split()), Page(letter.html).text
    told = section(ahead())
    for sentence in (*told.lines, *(line for block in told.blocks for line in block.lines)):
        assert sentence in text
        assert sentence in page


def test_every_kind_of_call_is_told_the_end_of_the_season() -> None:
    for scene in (pull_morning, wait_by_wind, no_call_stale):
        of = scene()
        letter = morning_letter(of.call, of.facts, kind="morning", previous=None, season=ahead())
        bare = morning_letter(of.call, of.facts, kind="morning", previous=None)
        assert TITLE in letter.text
        assert letter.subject == bare.subject
        assert TITLE not in bare.text


def test_the_count_down_and_the_odds_of_a_start_tomorrow_come_first() -> None:
    first, *_, last = section(ahead()).lines
    assert first.endswith("All must be out by Tuesday 22 December 2026, 14 days left.")
    assert (
        "with a chance of 93%: done by Wed 16 Dec in half of the cases, and by Mon 21 Dec in nine of ten." in last
    )


def test_what_most_cases_never_see_is_not_told_as_a_day() -> None:
    starts = tuple(replace(start, most_by=None) for start in ODDS.starts)
    some = replace(ahead(), odds=replace(ODDS, starts=starts))
    assert "in nine of ten by no day up to the last one" in said(some)
    none = tuple(replace(start, half_by=None, most_by=None, chance=0.2) for start in ODDS.starts)
    assert "home in time with a chance of 20%. " in said(replace(ahead(), odds=replace(ODDS, starts=none)))


def test_no_chance_is_told_as_a_certain_one() -> None:
    assert (chance_told(1.0), chance_told(0.0)) == ("over 99%", "under 1%")
    assert (chance_told(0.99), chance_told(0.005)) == ("99%", "under 1%")


def test_a_trip_that_no_usual_day_carries_says_so() -> None:
    first, second, _ = next(block for block in section(ahead()).blocks if block.title.startswith("Trips")).lines
    assert "That is longer than a usual fit day carries" in first
    assert "longer" not in second


def test_many_trips_are_cut_short() -> None:
    many = replace(listed(), trips=listed().trips * 5)
    assert f"And {15 - MOST_TRIPS} more." in said(replace(ahead(), recovery=many))


def test_bait_past_its_last_useful_day_is_of_no_use_any_more() -> None:
    nine, *others = ahead().rebaits
    late = replace(ahead(), rebaits=(replace(nine, last_on=DAY - timedelta(days=1)), *others))
    assert "Nine Foot: fresh bait is of no use any more." in said(late)
    assert "last day for fresh bait Sun 13 Dec; from Mon 14 Dec on it is of no use." in said(late)
    rebaits = tuple(replace(each, last_on=DAY - timedelta(days=n)) for n, each in enumerate(ahead().rebaits, 1))
    text = said(replace(ahead(), rebaits=rebaits))
    assert text.count("fresh bait is of no use any more") == 1, "in one line for all strings"
    assert "That is for a pull on the last harvest day" not in text


def test_after_the_last_harvest_day_it_says_what_a_pull_means() -> None:
    end = ahead().end
    assert end is not None
    closed = replace(
        ahead(),
        end=replace(end, last_harvest=None),
        rebaits=tuple(replace(each, last_on=None) for each in ahead().rebaits),
    )
    assert "traps may only be taken up. Where a letter says PULL it means that alone." in said(closed)
    assert "No fresh bait is of use" in said(closed)
    assert "Last day to pull" not in said(closed)


def test_where_the_chances_come_from_is_always_told() -> None:
    text = said(ahead())
    assert "as often fit as station 42036 measured in 2013 to 2020, 8 years. It doesn't tell thunder" in text
    assert "No past years were counted for Inner Bay: there the usual chance of the plan file stands" in text
    assert "Today counts for no trip: there is no call to take traps up, or it is a day off." in text
    assert NO_CALL_OF_ITS_OWN in text
    usual = replace(ODDS.reckoned_from, forecast_days=0, counted=())
    assert "No forecast is in these odds" in said(replace(ahead(), odds=replace(ODDS, reckoned_from=usual)))
    old = replace(ahead(), today=december(9))
    assert "how far they err, as of the morning of Tue 8 Dec;" in said(old)
    assert "Today counts" not in said(old), "that day is past"
    called = replace(ODDS.reckoned_from, today=TodayCounts.CALLED)
    assert "Today counts as called." in said(replace(ahead(), odds=replace(ODDS, reckoned_from=called)))


def test_a_trip_of_a_likely_call_is_called_likely_and_no_call() -> None:
    """Odds of an evening, read the next day too."""
    likely = replace(ODDS, reckoned_from=replace(ODDS.reckoned_from, today=TodayCounts.LIKELY_NEXT))
    assert "Trip 1 is that of the likely call for Wed 9 Dec, which is no call" in said(
        replace(ahead(), odds=likely)
    )
    text = said(replace(ahead(), today=december(9), odds=likely))
    assert "as of the evening of Tue 8 Dec" in text
    assert "Trip 1 is that of the likely call for Wed 9 Dec" in text
    assert "If you start today" not in text


def test_a_short_window_is_said_to_bring_home_less_than_the_trips_told_and_a_long_one_more() -> None:
    assert "A shorter window brings home less than the trips told, a longer one more" in said(ahead())


def test_a_start_today_is_told_only_where_today_counts_for_a_trip() -> None:
    assert "If you start today" not in said(ahead())
    called = replace(ODDS.reckoned_from, today=TodayCounts.CALLED)
    text = said(replace(ahead(), odds=replace(ODDS, reckoned_from=called)))
    assert "If you start today, as called, all that fish are home in time with a chance of 93%" in text
    old = replace(ahead(), today=december(9), odds=replace(ODDS, reckoned_from=called))
    assert "If you start today" not in said(old), "these odds are of yesterday"


def test_without_a_deck_load_it_says_what_is_lacking() -> None:
    strings = tuple(string for trip in listed().trips for string in trip.strings)
    no_trips = replace(listed(), trips=(), unplanned=strings, starts=())
    bare = replace(ahead(), odds=None, recovery=no_trips, lacking="write deck_traps in the file")
    assert "No trips and no odds are told: write deck_traps in the file." in said(bare)
    assert NO_CALL_OF_ITS_OWN not in said(bare)


def test_past_the_last_day_the_list_stays_with_what_to_tell_the_authority() -> None:
    text = said(over())
    assert "Thursday 3 December 2026, is past by 5 days." in text
    assert "Lost gear: tell the authority, as local rules ask." in text
    assert "until the log is told that it was recovered, or written off" in text
    assert "bait" not in text


def test_nothing_is_told_where_the_end_is_not_in_sight() -> None:
    end = ahead().end
    assert end is not None
    far = replace(ahead(), end=replace(end, deadline=december(8) + timedelta(days=46)))
    for quiet in (None, far, replace(ahead(), end=None)):
        assert season_section(quiet, "soakbell") is None
        assert season_line(quiet) == ""


def test_a_fault_is_told_and_what_could_be_told_beside_it() -> None:
    assert said(replace(ahead(), fault="bait: a worm")).startswith(
        "Not all of season's end could be told: bait: a worm."
    )
    alone = SeasonAhead(DAY, fault="the log: a worm")
    assert said(alone) == "Season's end could not be told: the log: a worm."
    assert season_line(alone) == "Season's end could not be told: the log: a worm."


def test_a_section_that_fails_costs_only_itself(monkeypatch: pytest.MonkeyPatch) -> None:
    def fails(*_: object) -> None:
        raise RuntimeError("a worm in the words")

    monkeypatch.setattr(section_module, "rule_words", fails)
    assert said(ahead()) == "Season's end could not be told: RuntimeError: a worm in the words."
    monkeypatch.setattr(section_module, "due_words", fails)
    assert "a worm in the words" in season_line(ahead())


def test_the_eve_letter_tells_it_in_one_line() -> None:
    text = " ".join(take_up_letter("take-up-eve").text.split())
    assert "Season's end: 162 traps not home, all out by Tue 22 Dec, 15 days left." in text
    sure = replace(ahead(), odds=replace(ODDS, start_by=((0.95, december(10)),)))
    assert season_line(sure).endswith("14 days left; for a chance of 95% start by Thu 10 Dec.")
    usual = replace(ODDS.reckoned_from, forecast_days=0)
    bare = replace(sure, odds=replace(ODDS, start_by=((0.95, december(10)),), reckoned_from=usual))
    assert season_line(bare).endswith("start by Thu 10 Dec, by the usual weather and no forecast.")
    assert season_line(over()) == "Season's end: 1 trap not home, 5 days past the last day for traps in the water."
    assert "all out by Tue 22 Dec, today" in season_line(replace(ahead(), today=december(22)))


def test_the_letter_with_all_of_it_stays_far_below_what_mail_cuts_short() -> None:
    """The whole letter of sixty strings: under 100 KB (design, section 6)."""
    recovery = listed()
    trip = recovery.trips[0]
    wide = replace(trip, strings=trip.strings * 5)
    many = replace(ahead(), recovery=replace(recovery, trips=(wide,) * 12), rebaits=ahead().rebaits * 12)
    scene = pull_morning()
    letter = morning_letter(
        scene.call, scene.facts, kind="morning", previous=None, ashore=scene.ashore, week=scene.week, season=many
    )
    assert len(letter.html.encode()) < 100_000
