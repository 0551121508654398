"""What letters tell of gear, bait, bench and bells, and that it never costs a call."""

from __future__ import annotations

import math
import re
import shlex
from collections.abc import Callable, Iterator
from dataclasses import fields, replace
from datetime import date
from decimal import Decimal
from typing import Any

import pytest
import typer
from hypothesis import assume, given
from hypothesis import strategies as st
from pages import Page

from gear_scenes import (
    BELLS,
    EVE,
    EVE_FACTS,
    EVENING,
    GEAR_LETTERS,
    IMPOSSIBLE,
    NOON,
    ORDER,
    OVERDUE,
    STRAIGHT,
    gear_letter,
    in_the_evening,
)
from scenes import (
    BENCH_DAY,
    DAY,
    FACTS,
    PULL_DAY,
    SCENES,
    UPKEEP,
    Scene,
    advisory,
    due,
    est,
    letter_of,
    no_call_stale,
    pull_morning,
    wait_by_warning,
    wait_by_wind,
)
from soakbell.cli import app
from soakbell.gear.fold import Whereabouts
from soakbell.letters.bait_order import order_copy, order_draft, order_to_supplier
from soakbell.letters.bells import CODES, MOST_IN_FULL, bells_letter
from soakbell.letters.commands import Command, command
from soakbell.letters.eve import eve_letter
from soakbell.letters.gear_words import (
    boxes_words,
    due_words,
    places_words,
    shares_words,
    upkeep_words,
    use_words,
)
from soakbell.letters.letter import Letter
from soakbell.letters.page import TEXT_COLUMNS
from soakbell.planning.ashore import Ashore, BaitToLoad, BarredTraps, Eve, Load, SpoiltBait, Thaw
from soakbell.planning.bait_order import OrderLine
from soakbell.planning.bells import Bell, BellCode, SoakDay
from soakbell.planning.call import Reason
from soakbell.planning.stock import order_quantity

every_gear_letter = pytest.mark.parametrize("name", GEAR_LETTERS)
to_the_skipper = pytest.mark.parametrize("name", [n for n in GEAR_LETTERS if n != "order-supplier"])


def in_one_line(text: str) -> str:
    return " ".join(text.split())


def told(scene: Scene) -> str:
    return in_one_line(scene.letter().text)


def commands_of(letter: Letter) -> list[str]:
    return [line.strip() for line in letter.text.splitlines() if line.startswith("    soakbell ")]


# ---- the morning letter


class Broken:
    """Stands for data that a letter can't read: asking it for anything fails."""

    def __getattr__(self, name: str) -> Any:
        raise RuntimeError("the bait book is torn")


@pytest.mark.parametrize("scene", [pull_morning, wait_by_wind, no_call_stale, SCENES["changed-call"]])
def test_gear_that_can_not_be_read_costs_its_section_and_nothing_else(scene: Callable[[], Scene]) -> None:
    made = replace(scene(), ashore=None)
    broken: Any = Broken()
    torn = replace(made, ashore=Ashore(load=broken, bench=broken)).letter()
    assert "Gear, bait and bench could not be told: RuntimeError: the bait book is torn." in in_one_line(torn.text)
    assert "Gear, bait and bench could not be told: RuntimeError: the bait book is torn." in Page(torn.html).text
    bare = made.letter()
    assert torn.subject == bare.subject
    assert torn.attachments == bare.attachments
    title = "Bait and gear to load" if made.call.window else "Bench and upkeep"
    at = torn.text.index(f"\n\n\n{title}")
    end = torn.text.index("\n\n\n", at + 3)
    assert torn.text[:at] + torn.text[end:] == bare.text


@pytest.mark.parametrize("scene", [pull_morning, wait_by_wind, no_call_stale])
def test_gear_changes_no_word_of_the_call(scene: Callable[[], Scene]) -> None:
    made = scene()
    bare, whole = replace(made, ashore=None).letter(), made.letter()
    lines = iter(whole.text.splitlines())
    assert all(line in lines for line in bare.text.splitlines()), "what was told without gear is no longer told"
    assert whole.subject == bare.subject


def test_gear_that_is_not_set_up_has_no_section() -> None:
    for scene in (pull_morning(), wait_by_wind()):
        for ashore in (None, Ashore()):
            letter = replace(scene, ashore=ashore).letter()
            for words in ("Bench", "Bait", "could not be told"):
                assert words not in letter.text + letter.html


def test_a_fault_in_a_part_of_the_gear_is_told_beside_the_rest() -> None:
    words = told(replace(pull_morning(), ashore=replace(PULL_DAY, fault="parts: no settings")))
    assert "Not all of gear, bait and bench could be told: parts: no settings." in words
    assert "Mullet heads: take 2.5 boxes aboard." in words


def test_a_pull_day_says_what_to_load() -> None:
    words = told(pull_morning())
    for sentence in (
        "Mullet heads: take 2.5 boxes aboard. 99 traps need 2.75 boxes; on hand: 0.25 aboard, 2.5 thawed and 4",
        "Cowhide: take 0.25 box aboard. 35 traps need 0.5 box; on hand: 0.25 thawed and 1 frozen. Take 0.25",
        "Traps ready to set: - Outer Bar, trap 12.",
        "Outer Bar, traps 5 and 6: funnel, 12 min.",
        "2 x funnel (3 on hand). - 8 x hog ring: only 2 on hand.",
        "3 traps may not be set: - Ledge, trap 4, in the water although it may not be set: escape ring.",
        "Nine Foot, traps 8 and 9: slat. A trap needs a panel that degrades.",
        "Upkeep before leaving: - Flares (safety gear): out of date, good until Mon 30 Nov only.",
    ):
        assert sentence in words
    assert words.index("Strings to pull") < words.index("Bait and gear to load") < words.index("The days ahead")


def test_a_day_without_a_pull_says_what_to_mend() -> None:
    words = told(wait_by_wind())
    for sentence in (
        "To mend, in this order: 1 h 14 min of the 1 h 30 min you have:",
        "1. Nine Foot, traps 8 and 9: slat, 30 min; parts: 2 x slat.",
        'soakbell log repaired "Nine Foot" --traps 8..9',
        "3 traps: Nine Foot traps 8 and 9 and Ledge trap 7.",
        "Short of parts: - Grassy Edge, trap 3: latch; lacking 1 x latch.",
        "Left for another day: - The Hump, traps 20 to 22: fouling, 1 h.",
        "Buy 10 x latch: 0 on hand, reorder at 4, open mends need 1.",
        "Engine oil: overdue by 3.5 engine hours.",
    ):
        assert sentence in words
    assert words.index("The days ahead") < words.index("Bench and upkeep") < words.index("All strings")


def test_without_a_trip_nothing_is_said_of_loading() -> None:
    words = told(replace(wait_by_wind(), ashore=replace(PULL_DAY, barred=(), upkeep=())))
    assert "boxes" not in words
    assert "Bait and gear" not in words


def test_a_trip_that_is_withdrawn_leaves_no_load_in_the_changed_letter() -> None:
    scene = SCENES["changed-call"]()
    words = told(replace(scene, ashore=replace(BENCH_DAY, load=PULL_DAY.load)))
    assert "boxes aboard" not in words
    assert "To mend, in this order" in words


# ---- the eve letter


@pytest.mark.parametrize("name", ["eve-pull", "eve-wait", "eve-not-decided"])
def test_the_eve_letter_says_that_it_is_no_call(name: str) -> None:
    letter = gear_letter(name)
    words = in_one_line(letter.text)
    assert words.startswith("Eve letter, no call. ")
    assert "This letter is no call: only the morning letter, due Tue 8 Dec 04:30, says whether to go." in words
    assert letter.subject.startswith("Eve: ")
    assert letter.attachments == ()
    assert "This call counts until" not in words


@pytest.mark.parametrize(
    ("name", "subject"),
    [
        ("eve-pull", "Eve: PULL likely Tue 8 Dec, thaw 2 boxes mullet heads and 0.5 box cowhide | Little Grebe"),
        ("eve-wait", "Eve: WAIT likely Tue 8 Dec, wind 22 kt over 15 | Little Grebe"),
        ("eve-not-decided", "Eve: NO CALL likely Tue 8 Dec, zone forecast is 19 h 5 min old | Little Grebe"),
    ],
)
def test_the_subject_of_the_eve_letter_carries_what_is_likely(name: str, subject: str) -> None:
    assert gear_letter(name).subject == subject


def test_the_eve_letter_says_what_to_take_out_of_the_freezer_and_by_when() -> None:
    words = in_one_line(gear_letter("eve-pull").text)
    assert "Take 2 boxes of mullet heads out of the freezer by Mon 7 Dec 19:10." in words
    assert (
        "Take 0.5 box of cowhide out of the freezer at once: it should have lain out since Mon 7 Dec 15:00 and "
        "will not be thawed through by the time of leaving. Even with that tomorrow's traps will lack 0.25 box."
        in words
    )


def test_an_eve_without_a_likely_pull_says_what_to_thaw_in_case_it_turns_out_one() -> None:
    call = in_the_evening(wait_by_wind().call)
    eve = replace(EVE, call=call, thaw=(), load=None, thaw_if=EVE.thaw)
    letter = eve_letter(eve, EVE_FACTS, now=EVENING)
    for words in (in_one_line(letter.text), Page(letter.html).text):
        assert (
            "If it turns out PULL after all: 2 boxes of mullet heads by Mon 7 Dec 19:10 and 0.5 box of cowhide at "
            "once, due since Mon 7 Dec 15:00." in words
        )
    assert "thaw" not in letter.subject
    assert "after all" not in eve_letter(replace(eve, thaw_if=()), EVE_FACTS, now=EVENING).text


def test_what_is_likely_is_told_with_what_it_hangs_on() -> None:
    words = in_one_line(gear_letter("eve-pull").text)
    assert (
        "PULL likely on Tuesday 8 December 2026. "
        "By the forecasts of this evening 07:10 to 12:40 would fit, for Nine Foot, Outer Bar and The Hump."
        in words
    )
    assert "That holds only if newer forecasts come in time and say the same." in words


def test_ages_in_the_eve_letter_are_those_of_the_evening() -> None:
    """Issued 17:11 by the harbor's clock, told at 18:00."""
    words = in_one_line(gear_letter("eve-pull").text)
    assert "Ages are reckoned at the time of this letter, Mon 7 Dec 18:00 EST." in words
    assert "Zone forecast GMZ730: age 49 min of at most 13 h; used." in words


def test_a_warning_in_the_eve_letter_names_the_days_of_its_begin_and_end() -> None:
    """Read on Monday about Tuesday, "to 19:00" could mean either."""
    for onset, begin in ((est(15, 25, day=7), "Mon 7 Dec 15:25"), (est(9), "Tue 8 Dec 09:00")):
        warning = advisory(est(15, 12, day=7), onset)
        call = replace(in_the_evening(wait_by_warning().call), warnings=(warning,))
        words = in_one_line(eve_letter(replace(EVE, call=call, thaw=(), load=None), EVE_FACTS, now=EVENING).text)
        assert f"From {begin} to Tue 8 Dec 19:00 EST, for GMZ730." in words


def test_no_sentence_of_the_eve_letter_has_a_capital_after_its_day() -> None:
    for name, words in {
        "eve-pull": "PULL likely on Tuesday 8 December 2026. By the forecasts",
        "eve-wait": "WAIT likely on Tuesday 8 December 2026. Wind 22 kt",
        "eve-not-decided": "NO CALL likely on Tuesday 8 December 2026. Zone forecast is",
    }.items():
        assert f"Eve letter, no call. {words}" in in_one_line(gear_letter(name).text)


def test_a_subject_names_a_headline_and_does_not_shout_it() -> None:
    headline = Reason("headline", {"text": "...SMALL CRAFT ADVISORY IN EFFECT...", "zone": "GMZ730"})
    call = replace(in_the_evening(wait_by_wind().call), reasons=(headline,))
    letter = eve_letter(replace(EVE, call=call, thaw=(), load=None), EVE_FACTS, now=EVENING)
    assert letter.subject == "Eve: WAIT likely Tue 8 Dec, a warning headline | Little Grebe"
    assert 'carries this headline: "...SMALL CRAFT ADVISORY IN EFFECT..."' in in_one_line(letter.text)


def test_warnings_stand_in_the_eve_letter_word_for_word() -> None:
    """A5."""
    warning = advisory(est(3, 12))
    call = replace(in_the_evening(wait_by_warning().call), warnings=(warning,))
    letter = eve_letter(replace(EVE, call=call, thaw=(), load=None), EVE_FACTS, now=EVENING)
    for part in (in_one_line(letter.text), Page(letter.html).text):
        assert in_one_line(warning.text) in part
        assert "None in force" not in part


def test_an_evening_on_which_nothing_could_be_decided_says_so() -> None:
    letter = eve_letter(Eve(DAY, None, fault="the clock can't be trusted"), EVE_FACTS, now=EVENING)
    words = in_one_line(letter.text)
    assert letter.subject == "Eve: Tue 8 Dec could not be judged | Little Grebe"
    assert "Nothing can be said yet of Tuesday 8 December 2026: the clock can't be trusted." in words
    assert "Whether there are warnings is not known. Look them up." in words
    assert "None in force" not in words
    assert "likely" not in words


def test_gear_that_can_not_be_read_costs_the_eve_letter_only_its_section() -> None:
    broken: Any = Broken()
    letter = eve_letter(replace(EVE, load=broken), EVE_FACTS, now=EVENING)
    words = in_one_line(letter.text)
    assert "Gear, bait and bench could not be told: RuntimeError: the bait book is torn." in words
    assert letter.subject == "Eve: PULL likely Tue 8 Dec | Little Grebe"
    assert "would fit, for Nine Foot" in words


def test_a_likely_call_that_contradicts_itself_makes_no_letter() -> None:
    call = replace(pull_morning().call, window=None)
    with pytest.raises(ValueError, match="a likely PULL without a window"):
        eve_letter(replace(EVE, call=call), EVE_FACTS, now=EVENING)


# ---- bells


def test_every_kind_of_bell_has_words() -> None:
    assert set(BellCode) == CODES == {bell.code for bell in BELLS}


@pytest.mark.parametrize("bell", BELLS, ids=lambda bell: bell.name)
def test_a_bell_that_lost_a_value_is_an_error_not_a_gap(bell: Bell) -> None:
    whole = {**bell.values, "law_h": 336.0} if bell.code is BellCode.SOAK else bell.values
    for lost in whole:
        values = {name: value for name, value in whole.items() if name != lost}
        with pytest.raises((ValueError, KeyError), match=lost):
            bells_letter([replace(bell, values=values)], FACTS, now=NOON)


def bell_told(code: BellCode, **changed: Any) -> str:
    """The letter of that bell alone, in other numbers."""
    (bell,) = [bell for bell in BELLS if bell.code is code]
    return in_one_line(bells_letter([replace(bell, values={**bell.values, **changed})], FACTS, now=NOON).text)


def test_a_bell_of_soak_asks_for_no_pull_on_a_day_that_allows_none() -> None:
    loads = ((*range(1, 13),), (14,))
    pull = "soakbell log pull"
    harvest = bell_told(BellCode.SOAK)
    assert f'{pull} "Nine Foot"' in harvest
    assert "log ashore" not in harvest
    take_up = bell_told(BellCode.SOAK, may=SoakDay.TAKE_UP, loads=loads)
    assert "may only be taken up: do it on the next day that a morning letter calls fit for that" in take_up
    closed = bell_told(BellCode.SOAK, may=SoakDay.CLOSED, loads=loads)
    assert "By the rules no trap may be pulled today" in closed
    assert "Ask the authority before you go for it." in closed
    for told in (take_up, closed):
        assert pull not in told
        assert "Pull the string" not in told
        assert 'soakbell log ashore "Nine Foot" --traps 1..12' in told
        assert 'soakbell log ashore "Nine Foot" --traps 14' in told


def test_past_the_deadline_the_bell_says_that_it_rings_daily_and_how_to_write_traps_off() -> None:
    words = bell_told(BellCode.SEASON, deadline=date(2026, 12, 6), days_left=-2, fishing=0, aboard=3, missing=1)
    assert "The day to have all traps out, Sun 6 Dec, is past by 2 days" in words
    assert "No trap is fishing. Not home besides: 3 aboard and 1 missing." in words
    assert "This rings every day until each trap is ashore or written off with a reason." in words
    assert 'soakbell log retired STRING --traps PLACES --reason "WHY"' in words
    assert "tell the authority" in words
    assert "every day" not in bell_told(BellCode.SEASON, days_left=0, missing=0)
    assert "retired" not in bell_told(BellCode.SEASON, days_left=0, missing=0)


@pytest.mark.parametrize(
    ("start_by", "sentence"),
    [
        (DAY, "Today is the last day to start on for {}"),
        (date(2026, 12, 7), "The last day to start on for {} was yesterday"),
        (date(2026, 12, 2), "The last day to start on for {} was Wed 2 Dec"),
        (None, "No day to start on gives {} any more"),
    ],
)  # fmt: skip
def test_a_day_to_start_by_is_today_was_yesterday_or_is_lost(start_by: date | None, sentence: str) -> None:
    aim = "a chance of 95% of all traps out by Thu 7 Jan 2027"
    assert sentence.format(aim) in bell_told(BellCode.START, start_by=start_by)


def test_on_the_last_harvest_day_and_the_first_to_set_on_the_bells_say_today() -> None:
    assert "Today is the last day to pull for the catch" in bell_told(BellCode.HARVEST, days_left=0)
    assert "Fresh bait is of no use any more: Ledge." in bell_told(BellCode.HARVEST, rebait=(("Ledge", None),))
    assert "Traps may be set from today" in bell_told(BellCode.SETTING, days_left=0)
    assert "pulled for its catch before" not in bell_told(BellCode.SETTING, harvest_from=None)


@pytest.mark.parametrize("count", [1, 2, 7, 60])
def test_the_count_in_the_subject_is_that_of_the_letter(count: int) -> None:
    bells = [replace(BELLS[n % len(BELLS)], cause=str(n)) for n in range(count)]
    letter = bells_letter(bells, FACTS, now=NOON)
    headings = letter.html.count("<h2") - 1  # but for the cautions
    more = re.search(r"And (\d+) more<", letter.html)
    assert headings + (int(more.group(1)) - 1 if more else 0) == count
    if count == 1:
        assert letter.subject.startswith("Bell: ")
    else:
        assert letter.subject.startswith(f"{count} bells: ")
        assert f", and {count - 1} more |" in letter.subject
    assert len(letter.html.encode()) < 80_000


def test_a_letter_of_many_bells_names_those_that_it_does_not_tell_in_full() -> None:
    bells = [replace(BELLS[5], subject=f"part {n:02}") for n in range(MOST_IN_FULL + 5)]
    letter = bells_letter(bells, FACTS, now=NOON)
    for bell in bells:
        assert bell.name in in_one_line(letter.text)


def test_safety_gear_comes_first_and_what_waits_comes_last() -> None:
    text = gear_letter("ten-bells").text
    order = [
        "Flares (safety gear)",
        "Ledge, traps 4 and 7",
        "Bait low",
        "Nine Foot has soaked",
        "All traps out by",
    ]
    order += ["Engine oil", "Parts low"]
    at = [text.index(f"\n\n{title}") for title in order]
    assert at == sorted(at)
    for shuffled in (BELLS[::-1], BELLS[3:] + BELLS[:3]):
        assert bells_letter(shuffled, FACTS, now=NOON) == gear_letter("ten-bells")


def test_a_bell_says_in_numbers_what_is_wrong_and_since_when() -> None:
    words = in_one_line(gear_letter("ten-bells").text)
    for sentence in (
        "24 traps of Nine Foot have soaked past your ceiling of 10 days.",
        "The oldest bait went in Thu 26 Nov 08:30: 12 days 3 h ago.",
        "Ledge, traps 4 and 7, in the water although they may not be set: escape ring.",
        "2.25 boxes on hand, none on order; the point to reorder is 4.5 boxes. By what is planned it runs out on "
        "Sat 12 Dec. That is before more can come.",
        "Buy 10: 1 on hand, the point to reorder is 4. Open mends need 1.",
        "Engine oil: due in 7.5 engine hours",
        "All traps out by Thu 7 Jan 2027, 30 days left",
        "In the water: 161 traps. Not home besides: 1 missing.",
        "Today is the last day to start on for a chance of 95% of all traps out by Thu 7 Jan 2027",
        "For a chance of 80% of being done in time, start by Wed 16 Dec.",
        "They call no day fit: only a morning letter says whether to go.",
        "Last day to pull for the catch: Tue 15 Dec, 7 days left",
        "Fresh bait is of use up to Thu 10 Dec, by the soak floor: Nine Foot and Grassy Edge.",
        "Fresh bait was of use up to Mon 7 Dec, by the soak floor: Ledge.",
        "Traps may be set from Tue 22 Dec, in 14 days",
        "No trap may be pulled for its catch before Fri 1 Jan 2027.",
    ):
        assert sentence in words


@pytest.mark.parametrize(
    ("limit_h", "law_h", "words"),
    [
        (240.0, None, "soaked past your ceiling of 10 days."),
        (360.0, None, "soaked past 15 days, and so far past your ceiling of 10 days."),
        (216.0, 240.0, "soaked past 9 days; the law allows 10 days at most."),
        (240.0, 336.0, "soaked past your ceiling of 10 days."),
        (336.0, 336.0, "soaked past 14 days, the longest that the law allows."),
    ],
)
def test_a_soak_is_held_against_the_limit_that_it_is_past(limit_h: float, law_h: float | None, words: str) -> None:
    soak = BELLS[0]
    values = {**soak.values, "limit_h": limit_h, "law_h": law_h, "law_source": "an invented rule"}
    text = in_one_line(bells_letter([replace(soak, values=values)], FACTS, now=NOON).text)
    assert words in text
    assert ("Source: an invented rule. Check with the authority." in text) == (law_h is not None)


@pytest.mark.parametrize(
    ("days_left", "words"),
    [
        (-2, "The day to have all traps out, Thu 7 Jan 2027, is past"),
        (0, "All traps must be out today"),
        (1, "All traps out by Thu 7 Jan 2027, 1 day left"),
    ],
)
def test_the_last_days_of_the_season_are_told_as_such(days_left: int, words: str) -> None:
    season = BELLS[6]
    text = bells_letter([replace(season, values={**season.values, "days_left": days_left})], FACTS, now=NOON).text
    assert words in in_one_line(text)


def test_a_letter_without_a_bell_is_not_written() -> None:
    with pytest.raises(ValueError, match="without a bell"):
        bells_letter([], FACTS, now=NOON)


# ---- the first days, with a log that tells little


def never_told(task: str, *, safety: bool, expires: bool) -> Bell:
    values = {
        "state": "never told",
        "safety": safety,
        "expires": expires,
        "due_on": None,
        "left": None,
        "unit": "",
    }
    return Bell(BellCode.UPKEEP, task, "never told", 1, est(9), {**values, "source": "an invented manual"})


UNTOLD = (
    *(never_told(f"extinguisher {n}", safety=True, expires=True) for n in range(4)),
    *(never_told(f"jacket {n}", safety=True, expires=False) for n in range(7)),
    *(never_told(f"belt {n}", safety=False, expires=False) for n in range(10)),
)


def test_tasks_that_were_never_told_share_one_part_of_the_letter() -> None:
    letter = bells_letter((*UNTOLD, BELLS[0]), FACTS, now=NOON)
    words = in_one_line(letter.text)
    assert letter.subject.startswith("2 bells: Nine Foot has soaked")
    assert words.count("11 safety tasks and 10 others are not in the log yet") == 1
    for bell in UNTOLD:
        assert f"- {bell.subject.capitalize()}" in words
        assert bell.name not in words
    assert "- Extinguisher 0 (safety gear): has a date on it." in words
    assert commands_of(letter)[-4:] == [
        'soakbell log upkeep "THE TASK" --expires YYYY-MM-DD',
        'soakbell log upkeep "THE TASK" --at "YYYY-MM-DD HH:MM"',
        'soakbell log snooze "upkeep:THE TASK" --until "2026-12-11 06:00"',
        'soakbell log settle "upkeep:THE TASK"',
    ]
    assert words.index("Extinguisher 0") < words.index("Jacket 0") < words.index("Belt 0")
    alone = bells_letter(UNTOLD, FACTS, now=NOON)
    assert alone.subject.startswith("Bell: 11 safety tasks and 10 others are not in the log yet |")


@pytest.mark.parametrize(
    ("expires", "lead", "line"),
    [
        (True, "With the date that stands on it:", "soakbell log upkeep flares --expires YYYY-MM-DD"),
        (False, "With the day it was last done:", 'soakbell log upkeep flares --at "YYYY-MM-DD HH:MM"'),
    ],
)
def test_a_task_that_was_never_told_is_not_told_to_be_done_now(expires: bool, lead: str, line: str) -> None:
    letter = bells_letter([never_told("flares", safety=True, expires=expires)], FACTS, now=NOON)
    assert f"{lead}\n    {line}\n" in letter.text
    assert "When it is done" not in letter.text


@pytest.mark.parametrize(
    ("safety", "others", "words"),
    [
        (11, 10, "11 safety tasks and 10 others are not in the log yet."),
        (1, 1, "1 safety task and 1 other are not in the log yet."),
        (2, 0, "2 safety tasks are not in the log yet."),
        (0, 3, "3 tasks are not in the log yet."),
    ],
)
def test_other_letters_count_the_tasks_that_were_never_told(safety: int, others: int, words: str) -> None:
    tasks = [due(f"task {n}", "never told", safety=n < safety) for n in range(safety + others)]
    text = told(replace(wait_by_wind(), ashore=Ashore(upkeep=(*UPKEEP, *tasks))))
    assert text.count("not in the log yet") == 1
    assert f"- {words} To see which: soakbell status" in text
    assert "Flares (safety gear): out of date" in text


def test_a_single_task_that_was_never_told_is_named() -> None:
    text = told(replace(wait_by_wind(), ashore=Ashore(upkeep=(due("zincs", "never told"),))))
    assert "- Zincs: not in the log yet." in text


def loaded(bait: BaitToLoad) -> Letter:
    return replace(pull_morning(), ashore=Ashore(load=Load((bait,), (), (), ()))).letter()


def test_bait_that_was_never_told_is_not_called_short() -> None:
    letter = loaded(BaitToLoad("mullet heads", 99, 2.75, 0.0, 0.0, 0.0, 0.0, 0.0, 2.75, told=False))
    words = in_one_line(letter.text)
    assert "Mullet heads: 99 traps need 2.75 boxes; on hand: not in the log yet." in words
    assert "hort by" not in words
    assert commands_of(letter) == ['soakbell log bait-counted "mullet heads" BOXES']


# ---- bait that is frozen


@pytest.mark.parametrize(
    ("thawing", "frozen", "in_time", "words"),
    [
        (
            0.0,
            1.89,
            False,
            "on hand: 1.89 frozen, none thawed. Take 1.5 boxes out of the freezer at once; it won't be thawed "
            "through when you leave. ",
        ),
        (0.0, 1.89, True, "on hand: 1.89 frozen, none thawed. Take 1.5 boxes out of the freezer at once. "),
        (2.0, 1.0, False, "on hand: 2 not thawed by then and 1 frozen. "),
        (
            0.25,
            1.0,
            True,
            "on hand: 0.25 not thawed by then and 1 frozen. Take 1 box out of the freezer at once. "
            "Short by 0.25 box. ",
        ),
        (0.0, 0.0, False, "on hand: none. Short by 1.5 boxes. "),
    ],
)
def test_bait_that_lies_frozen_is_not_called_lacking(
    thawing: float, frozen: float, in_time: bool, words: str
) -> None:
    bait = BaitToLoad("cowhide", 54, 1.5, 0.0, 0.0, thawing, frozen, 0.0, 1.5, thaws_in_time=in_time)
    text = in_one_line(loaded(bait).text)
    assert f"Cowhide: 54 traps need 1.5 boxes; {words}" in text
    for ask in ("Short by", "freezer at once", "thawed through"):
        assert text.count(ask) == words.count(ask)


SPOILT = BaitToLoad(
    "cowhide",
    54,
    1.5,
    0.0,
    0.25,
    0.0,
    0.0,
    0.25,
    1.25,
    spoilt=(SpoiltBait("aboard", 0.5, 109.0, 48.0), SpoiltBait("thaw", 1.5, 85.0, 48.0)),
)


def test_bait_that_is_short_since_some_counts_as_spoilt_is_told_so() -> None:
    letter = loaded(SPOILT)
    assert (
        "Short by 1.25 boxes. Not counted, by the time out of the freezer when you leave: 0.5 box aboard (4 days "
        "13 h) and 1.5 boxes set to thaw (3 days 13 h); after 48 h it counts as spoilt. Judge for yourself."
        in in_one_line(letter.text)
    )
    assert commands_of(letter) == [
        "soakbell log bait-spoiled cowhide 0.5 --from aboard",
        "soakbell log bait-spoiled cowhide 1.5 --from thaw",
        "soakbell log bait-counted cowhide 0 --in aboard",
        "soakbell log bait-counted cowhide 0.25 --in thaw",
        "soakbell log bait-counted cowhide 2 --in aboard",
    ]


def test_spoilt_bait_that_nobody_needs_is_not_told() -> None:
    assert "spoilt" not in loaded(replace(SPOILT, thawed_boxes=2.0, take_boxes=1.5, short_boxes=0.0)).text


def test_a_freezer_without_the_bait_is_told_in_one_sentence() -> None:
    thaw = Thaw("mullet heads", 0.0, est(19, day=7), past=False, short_boxes=2.75)
    words = in_one_line(eve_letter(replace(EVE, thaw=(thaw,)), EVE_FACTS, now=EVENING).text)
    assert "The freezer has no mullet heads to thaw: tomorrow's traps will lack 2.75 boxes." in words


# ---- traps that may not be set


IN_WATER, ASHORE = Whereabouts.FISHING, Whereabouts.ASHORE


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        (((4,), IN_WATER), "Mend it at the next pull, or take it in."),
        (((4, 5), IN_WATER), "Mend them at the next pull, or take them in."),
        (((4,), ASHORE), "Mend it before it is set."),
        (((4, 5), ASHORE), "Mend them before they are set."),
    ],
)
def test_what_to_do_with_barred_traps_is_said_where_it_applies(
    rows: tuple[tuple[int, ...], Whereabouts], words: str
) -> None:
    places, where = rows
    row = BarredTraps("Ledge", places, "slat", "", where, est(9))
    text = told(replace(wait_by_wind(), ashore=Ashore(barred=(row,))))
    assert f"- {words} - Rules change:" in text
    assert text.count(" Mend ") == 1


# ---- the bait order


def test_a_draft_says_what_to_order_from_whom_by_when_and_why() -> None:
    letter = gear_letter("order-draft")
    words = in_one_line(letter.text)
    assert letter.subject == (
        "Bait order: 4 boxes mullet heads and 2 boxes cowhide, Bayside Bait by 14:00 on Tue 8 Dec | Little Grebe"
    )
    for sentence in (
        "6 boxes to order from Bayside Bait by 14:00 on Tue 8 Dec. It would come on Fri 11 Dec. Nothing was",
        "Low: 2.25 on hand and on order, and the point to reorder is 4.5 boxes: 3.1 needed until the "
        "delivery after this one could come, and 1.4 held back.",
        "7.2 needed over the next 14 days + 1.4 held back - 2.25 on hand = 6.35, so 7 boxes.",
        "2.25 needed over the next 14 days + 0.5 held back - 1 on hand - 1 on order = 0.75, so 1 box.",
        "Without an order it runs out on Sat 12 Dec.",
        "4 boxes is all that the freezer has room for.",
        "1 box more only to reach the supplier's minimum.",
        'soakbell log bait-ordered "mullet heads" 4 --due 2026-12-11',
    ):
        assert sentence in words


boxes_there = st.floats(0, 60, allow_nan=False)


@given(boxes_there, boxes_there, boxes_there, boxes_there, st.sampled_from([0.25, 0.5, 1.0, 5.0]))
def test_the_numbers_of_an_order_add_up_to_its_boxes(
    need: float, safety: float, on_hand: float, on_order: float, step: float
) -> None:
    """As printed: the sum to the cent, and the boxes are the whole steps that cover it."""
    lacking = need + safety - on_hand - on_order
    assume(lacking > 0.01)
    wanted = order_quantity(lacking, step)
    line = OrderLine(
        "cowhide", wanted, wanted, 0.0, on_hand, on_order, need, safety, need + safety, need, 14, None
    )
    words = in_one_line(order_draft(replace(ORDER, lines=(line,)), FACTS, now=NOON).text)
    found = re.search(r"([\d.]+) needed over .*? \+ (.*?) = ([\d.]+), so ([\d.]+) box", words)
    assert found is not None
    held, *less = (Decimal(word.split()[0]) for word in found[2].split(" - "))
    assert Decimal(found[1]) + held - sum(less) == Decimal(found[3])
    steps = math.ceil(Decimal(found[3]) / Decimal(step))
    assert steps * Decimal(step) == Decimal(found[4])
    low = r"to reorder is ([\d.]+) box(?:es)?: ([\d.]+) needed until .*? and ([\d.]+) held back"
    point = re.search(low, words)
    assert point is not None
    assert Decimal(point[2]) + Decimal(point[3]) == Decimal(point[1])


def test_a_former_order_that_is_late_is_told_before_the_new_one() -> None:
    words = in_one_line(gear_letter("order-draft-late").text)
    late = words.index("3 boxes of mullet heads, ordered Tue 1 Dec, due Fri 4 Dec: not in the log as come.")
    assert words.startswith("Bait order. Bait on order is late: see to that first.")
    assert late < words.index("4 boxes of mullet heads:")
    assert "Until that is told to the log, no order goes to the supplier by itself." in words
    own = order_draft(replace(ORDER, late=(OVERDUE,)), FACTS, now=NOON)
    assert "by itself" not in in_one_line(own.text)


def test_an_order_that_can_not_be_placed_says_why_and_gives_no_words_to_send() -> None:
    letter = order_draft(IMPOSSIBLE, FACTS, now=NOON)
    words = in_one_line(letter.text)
    assert "4 boxes would be ordered; the supplier takes no less than 5 boxes" in words
    assert "the freezer, which holds 8 boxes, has no room for more." in words
    assert "The freezer has no room for cowhide." in words
    assert "Good day" not in words
    assert not commands_of(letter)


def test_an_order_letter_that_has_nothing_to_tell_is_not_written() -> None:
    with pytest.raises(ValueError, match="without anything"):
        order_draft(replace(ORDER, lines=()), FACTS, now=NOON)


@pytest.mark.parametrize(
    "order", [ORDER, IMPOSSIBLE, replace(STRAIGHT, address=None), replace(IMPOSSIBLE, straight=True)]
)
def test_nothing_goes_to_the_supplier_that_is_not_to_go_straight(order: Any) -> None:
    with pytest.raises(ValueError, match="isn't to go straight"):
        order_to_supplier(order, FACTS)
    with pytest.raises(ValueError, match="isn't to go straight"):
        order_copy(order, FACTS, now=NOON)


def test_the_supplier_reads_what_when_and_for_whom_and_nothing_else() -> None:
    facts = replace(FACTS, refused=("mate@example.com",), invented=False)
    letter = order_to_supplier(STRAIGHT, facts)
    assert letter.subject == (
        "Order from Little Grebe: 4 boxes mullet heads and 2 boxes cowhide, wanted by Fri 11 Dec"
    )
    for part in (in_one_line(letter.text), Page(letter.html).text):
        assert (
            "please take this bait order for the boat Little Grebe: 4 boxes of mullet heads and 2 boxes "
            "of cowhide, wanted by Friday 11 December 2026." in part
        )
        for private in ("@", "Notch Creek", "Nine Foot", "GMZ730", "soakbell", "on hand", "2.25", "freezer"):
            assert private not in part
    assert "Invented data" in gear_letter("order-supplier").text


def test_the_skipper_reads_the_order_word_for_word() -> None:
    supplier, copy = gear_letter("order-supplier"), in_one_line(gear_letter("order-copy").text)
    sent = in_one_line(supplier.text).removesuffix("Invented data, for show: not a real order.").strip()
    assert sent in copy
    assert "goes to Bayside Bait (orders@bait.example) together with this letter" in copy
    assert "When it is ordered" not in copy


# ---- all of them


@to_the_skipper
def test_every_letter_to_the_skipper_carries_the_cautions(name: str) -> None:
    """A9."""
    words = in_one_line(gear_letter(name).text)
    assert "The skipper decides." in words
    assert "only the morning letter, due" in words
    assert "check with Florida Fish and Wildlife Conservation Commission" in words
    assert "last checked them on Saturday 14 November 2026, 18 of 25 not in the rule's own text." in words
    assert "Invented data" in words


@every_gear_letter
def test_the_text_says_all_that_the_page_says(name: str) -> None:
    """M10."""
    letter = gear_letter(name)
    page = Page(letter.html)
    words = re.compile(r"\w+(?:[.:]\w+)?")
    assert set(words.findall(page.text)) <= set(words.findall(letter.text))


@every_gear_letter
def test_the_text_part_keeps_to_72_columns_but_for_commands(name: str) -> None:
    for line in gear_letter(name).text.splitlines():
        assert len(line) <= TEXT_COLUMNS or " " not in line.strip() or line.startswith("    soakbell "), line


@every_gear_letter
def test_the_page_is_plain_and_small(name: str) -> None:
    """M10, W4."""
    html = gear_letter(name).html
    tags = [tag for tag, _ in Page(html).tags]
    assert not {"style", "script", "link", "form", "iframe", "img"} & set(tags)
    assert not re.search(r"[\";]\s*(color|background[a-z-]*):", html)
    assert len(html.encode()) < 80_000
    assert tags.count("h1") == (0 if name == "order-supplier" else 1)
    assert not re.search(r"[★☆●🔴🟢🟡]|\b\d+/10\b|\bscore", html)


HOSTILE = "<b>Jo&Co</b>\"'><script>$(rm -rf ~)`x`"
OF_DAYS = {BellCode.SEASON, BellCode.START, BellCode.HARVEST, BellCode.SETTING}
"""Bells whose subject is a day."""


def test_hostile_names_stay_names() -> None:
    """W4."""
    facts = replace(FACTS, boat=HOSTILE)
    bells = [replace(bell, subject=HOSTILE) for bell in BELLS if bell.code not in OF_DAYS]
    lines = tuple(replace(line, bait=HOSTILE) for line in ORDER.lines)
    letters = [
        bells_letter(bells, facts, now=NOON),
        order_draft(replace(ORDER, supplier=HOSTILE, lines=lines), facts, now=NOON),
        order_to_supplier(replace(STRAIGHT, supplier=HOSTILE, lines=lines), facts),
        eve_letter(EVE, facts, now=EVENING),
    ]
    for letter in letters:
        assert "<script" not in letter.html
        assert "<b>Jo" not in letter.html
        Page(letter.html)
        for line in commands_of(letter):
            assert any(HOSTILE in word for word in shlex.split(line))


def test_a_late_letter_says_since_when() -> None:
    facts = replace(FACTS, late=True, due_at=est(9))
    for letter in (bells_letter(BELLS, facts, now=NOON), order_draft(ORDER, facts, now=NOON)):
        assert letter.subject.startswith("Late: ")
        assert "This letter was due Tue 8 Dec 09:00 and is late." in in_one_line(letter.text)


# ---- commands


def _parse(line: str) -> None:
    """Hand a command to the program's own parser, without running it."""
    words = shlex.split(line)
    assert words.pop(0) == "soakbell"
    found: Any = typer.main.get_command(app)
    context = found.make_context("soakbell", [], resilient_parsing=True)
    while hasattr(found, "commands"):
        name = words.pop(0)
        assert name in found.commands, f"there is no command {name!r}"
        found = found.commands[name]
    found.make_context(found.name, words, parent=context)


def _written_commands() -> Iterator[str]:
    letters = [gear_letter(name) for name in GEAR_LETTERS] + [letter_of(wait_by_wind)]
    for letter in letters:
        yield from commands_of(letter)


@pytest.mark.parametrize("line", sorted(set(_written_commands())))
def test_every_command_that_a_letter_gives_is_one_that_the_program_takes(line: str) -> None:
    filled = line.replace("YYYY-MM-DD", "2026-12-31").replace("BOXES", "3").replace("STRING", "Ledge")
    _parse(filled.replace("ENTRY", "3f2a"))


def test_commands_begin_as_the_install_says() -> None:
    facts = replace(EVE_FACTS, command="sudo soakbell-as-service")
    counted = BaitToLoad("mullet heads", 99, 2.75, 0.0, 0.0, 0.0, 0.0, 0.0, 2.75, told=False)
    tasks = tuple(due(f"task {n}", "never told") for n in range(2))
    letters = [
        bells_letter((*UNTOLD, *BELLS), facts, now=NOON),
        order_draft(replace(ORDER, late=(OVERDUE,)), facts, now=NOON),
        order_copy(STRAIGHT, facts, now=NOON),
        eve_letter(replace(EVE, load=Load((counted,), (), (), ()), upkeep=tasks), facts, now=EVENING),
        replace(wait_by_wind(), facts=replace(FACTS, command=facts.command)).letter(),
    ]
    for letter in letters:
        given = [line.strip() for line in letter.text.splitlines() if line.startswith("    ")]
        assert given
        assert all(line.startswith("sudo soakbell-as-service ") for line in given)
        assert "soakbell log" not in letter.text


def test_a_page_breaks_a_command_only_between_its_words() -> None:
    """At 390 px a mail reader would else break at the hyphens of "--item" and of a date."""
    page = gear_letter("ten-bells").html
    kept = re.findall(r'<span style="white-space:nowrap">([^<]*)</span>', page)
    assert "&#34;2026-12-11 06:00&#34;" in kept
    assert "--until" in kept
    for code in re.findall(r"<code[^>]*>(.*?)</code>", page):
        assert re.sub(r"<span[^>]*>[^<]*</span>", "", code).strip() == ""


@given(st.lists(st.text(st.characters(exclude_categories=("Cs", "Cc"))), min_size=1, max_size=5))
def test_the_words_of_a_command_are_those_that_a_shell_reads(words: list[str]) -> None:
    line = command("soakbell", *words)
    found = Command("", line).words
    assert " ".join(found) == line
    assert [shlex.split(word)[0] for word in found] == shlex.split(line)


@given(st.lists(st.text(st.characters(exclude_categories=("Cs", "Cc"))), min_size=1, max_size=5))
def test_a_shell_reads_a_command_as_it_was_meant(words: list[str]) -> None:
    meant = [" ".join(word.split()) for word in words]
    assert shlex.split(command("soakbell", *words)) == ["soakbell", *meant]


# ---- words


def test_boxes_traps_and_parts_are_told_as_a_skipper_says_them() -> None:
    assert [boxes_words(n) for n in (0, 0.25, 1, 1.5, 4.0)] == [
        "0 boxes",
        "0.25 box",
        "1 box",
        "1.5 boxes",
        "4 boxes",
    ]
    assert places_words((3,)) == "trap 3"
    assert places_words((3, 4, 7, 9, 10, 11)) == "traps 3, 4, 7 and 9 to 11"
    assert shares_words((("latch", 2.0), ("screw", 8.0))) == "2 x latch and 8 x screw"
    assert use_words(1.0, "pulls") == "1 pull"
    assert due_words(date(2027, 1, 2), DAY) == "Sat 2 Jan 2027"


@pytest.mark.parametrize("value", [float("nan"), float("inf"), None, "2", True])
def test_what_is_not_a_number_is_never_told_as_boxes(value: Any) -> None:
    with pytest.raises(ValueError, match="must not be written as a number"):
        boxes_words(value)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"state": "never told"}, "Zincs: not in the log yet."),
        ({"state": "overdue", "due_on": date(2026, 12, 1)}, "Zincs: was due Tue 1 Dec."),
        ({"state": "due soon", "due_on": date(2026, 12, 12)}, "Zincs: due Sat 12 Dec."),
        ({"state": "due soon", "left": 0.4, "unit": "days in water"}, "Zincs: due in 0.4 day in the water."),
        ({"state": "overdue", "left": 0.0, "unit": "pulls"}, "Zincs: due now."),
        ({"state": "overdue", "left": -2.0, "unit": "pulls"}, "Zincs: overdue by 2 pulls."),
        (
            {"state": "due soon", "expires": True, "due_on": date(2026, 12, 31), "safety": True},
            "Zincs (safety gear): good until Thu 31 Dec.",
        ),
    ],
)
def test_upkeep_is_told_by_what_binds(changes: dict[str, Any], words: str) -> None:
    line = due("zincs", "due soon")
    assert upkeep_words(replace(line, **changes), DAY) == words


def test_upkeep_without_a_day_or_a_use_is_an_error() -> None:
    with pytest.raises(ValueError, match="without a day or a use"):
        upkeep_words(due("zincs", "overdue"), DAY)
    with pytest.raises(ValueError, match="no words for the unit"):
        use_words(2.0, "moons")


def test_the_standing_cast_shows_every_field_of_gear() -> None:
    """A field that no scene fills could be left out of the letters unseen. ``start_scenes`` fill ``start``."""
    of_pull, of_bench = {"bench", "parts_to_buy", "start", "fault"}, {"load", "start", "fault"}
    for ashore, apart in ((PULL_DAY, of_pull), (BENCH_DAY, of_bench)):
        empty = {field.name for field in fields(ashore) if not getattr(ashore, field.name)}
        assert empty == apart


def test_a_letter_is_the_same_for_the_same_data() -> None:
    for name, write in GEAR_LETTERS.items():
        assert write() == gear_letter(name)
