"""Letters of a day on which traps may only be taken up never read as those of a harvest."""

from __future__ import annotations

from dataclasses import replace

from gear_scenes import EVE_FACTS, EVENING
from scenes import pull_morning, wait_by_wind
from soakbell.call_record import as_record, from_record
from soakbell.letters.eve import eve_letter
from soakbell.letters.letter import morning_letter
from soakbell.letters.plan_section import plan_section
from soakbell.letters.pull_day import pull_day_ics
from soakbell.planning.ashore import Eve
from soakbell.planning.call import CallWord
from take_up_scenes import take_up_call, take_up_letter
from week_scenes import PULL_WEEK

PULL, WAIT = take_up_call(pull_morning()), take_up_call(wait_by_wind())
FACTS = pull_morning().facts


def test_the_subject_and_the_first_lines_say_what_for() -> None:
    letter = take_up_letter("take-up-pull")
    assert letter.subject.startswith("PULL to take up 07:10-12:40, strings Nine Foot, Outer Bar and The Hump")
    first = " ".join(letter.text.split("\n\n")[0].split())
    assert first.startswith("PULL. Take up only: the harvest is closed since Mon 7 Dec; keep no claws from these")
    assert "Take up Nine Foot, Outer Bar and The Hump." in first
    assert "Strings to pull" not in letter.text + letter.html
    assert take_up_letter("take-up-wait").subject.startswith("WAIT to take up, wind 22 kt over 15")


def test_it_proposes_to_log_the_traps_as_ashore_and_loads_nothing() -> None:
    letter = take_up_letter("take-up-pull")
    assert 'log ashore "The Hump" --traps 1..40' in letter.text
    assert "When the traps of The Hump are home" in letter.html
    for part in (letter.text, letter.html):
        assert "Bait and gear to load" not in part


def test_the_plan_of_the_week_tells_nothing_beside_it() -> None:
    """It pulls for the catch, cuts no string and has another order."""
    section = plan_section(PULL_WEEK, PULL.day, trip=True, take_up=True)
    assert section is not None
    assert (section.reasons, section.rows, section.blocks) == ((), (), ())
    assert "stands under season's end" in section.fault


def test_how_many_she_carries_is_told_as_reckoned_only_where_it_is() -> None:
    (only,) = [reason for reason in PULL.reasons if reason.code == "take_up_only"]
    known = replace(only, values={**only.values, "deck_traps": 40})
    calls = [replace(PULL, reasons=(reason,)) for reason in (only, known)]
    letters = [morning_letter(call, FACTS, kind="morning", previous=None) for call in calls]
    told = [" ".join(letter.text.split()) for letter in letters]
    assert "bring home no more than she carries" in told[0]
    assert "up to your deck load of 40 traps" in told[1]


def test_the_eve_letter_says_what_is_likely_and_what_for() -> None:
    tomorrow = eve_letter(Eve(PULL.day, PULL), EVE_FACTS, now=EVENING)
    assert tomorrow.subject.startswith("Eve: PULL to take up likely")
    assert "PULL to take up likely on Tuesday 8 December 2026. Take up only:" in " ".join(tomorrow.text.split())
    wait = eve_letter(Eve(WAIT.day, WAIT), EVE_FACTS, now=EVENING)
    assert wait.subject.startswith("Eve: WAIT to take up likely")


def test_what_is_not_to_be_kept_is_what_the_fishery_keeps() -> None:
    crabs = replace(FACTS, fishery=replace(FACTS.fishery, kept="whole crabs"))
    pull = morning_letter(PULL, crabs, kind="morning", previous=None)
    wait = morning_letter(WAIT, crabs, kind="morning", previous=None)
    eve = eve_letter(Eve(PULL.day, PULL), replace(EVE_FACTS, fishery=crabs.fishery), now=EVENING)
    event = pull_day_ics(PULL, crabs, None)
    assert event is not None
    for text in (pull.text, wait.text, eve.text, pull.html, event.replace(b"\r\n ", b"").decode()):
        told = " ".join(text.split()).lower()
        assert "keep no whole crabs" in told
        assert "no claws" not in told


def test_the_calendar_says_what_for_also_where_it_is_called_off() -> None:
    event = pull_day_ics(PULL, FACTS, None)
    assert event is not None
    assert b"SUMMARY:PULL to take up: Nine Foot" in event
    assert b"keep no claws" in event.replace(b"\r\n ", b"")
    off = pull_day_ics(WAIT, replace(FACTS, turn=1), PULL)
    assert off is not None
    assert b"SUMMARY:Called off\\, now WAIT to take up" in off


def test_a_changed_call_tells_a_harvest_from_a_taking_up() -> None:
    harvest = pull_morning().call
    changed = morning_letter(PULL, replace(FACTS, turn=1), kind="changed", previous=harvest)
    assert "It is now PULL to take up, 07:10 to 12:40." in " ".join(changed.text.split())


def test_a_record_from_before_there_were_such_calls_reads_as_one_of_a_harvest() -> None:
    assert from_record(as_record(PULL, None)) == (PULL, None)
    old = as_record(pull_morning().call, None)
    del old["call"]["take_up"]
    call, _ = from_record(old)
    assert (call.word, call.take_up) == (CallWord.PULL, False)
    assert call == pull_morning().call
