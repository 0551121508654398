"""What a letter must and must not say, and where."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta

import jinja2
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pages import Page

from scenes import (
    ADVISORY_TEXT,
    FACTS,
    SCENES,
    STRINGS,
    Scene,
    advisory,
    changed_call,
    est,
    failed_service,
    letter_of,
    no_call_stale,
    pull_morning,
    wait_by_warning,
    wait_by_wind,
)
from soakbell.letters.letter import _marked_up, _plain, morning_letter, printable, wrapped
from soakbell.letters.page import SECTIONS, TEXT_COLUMNS, unfolded
from soakbell.planning.call import CallWord, DayState, Reason, StringPull, StringState
from soakbell.sea.sources import FaultCode, SourceKind

every_scene = pytest.mark.parametrize("scene", SCENES.values(), ids=SCENES)


def told(scene: Scene | Callable[[], Scene]) -> str:
    letter = scene.letter() if isinstance(scene, Scene) else letter_of(scene)
    return " ".join(letter.text.split())


@pytest.mark.parametrize(
    ("name", "subject"),
    [
        (
            "pull-morning",
            "PULL 07:10-12:40, strings Nine Foot, Outer Bar and The Hump | Little Grebe, Tue 8 Dec",
        ),
        ("wait-by-wind", "WAIT, wind 22 kt over 15 | Little Grebe, Tue 8 Dec"),
        ("wait-by-warning", "WAIT, Small Craft Advisory | Little Grebe, Tue 8 Dec"),
        ("no-call-stale", "NO CALL, zone forecast is 19 h 5 min old | Little Grebe, Tue 8 Dec"),
        ("changed-call", "CHANGED CALL: WAIT, Small Craft Advisory | Little Grebe, Tue 8 Dec"),
        ("failed-service", "Late: NO CALL, the service itself failed | Little Grebe, Tue 8 Dec"),
    ],
)
def test_the_subject_carries_the_call(name: str, subject: str) -> None:
    assert letter_of(SCENES[name]).subject == subject


def test_many_strings_are_counted_in_the_subject() -> None:
    assert "60 strings, String 0 first" in _largest_plan().letter().subject


@every_scene
def test_the_call_and_the_warnings_stand_in_the_first_two_kilobytes(scene: Callable[[], Scene]) -> None:
    """A5, M10."""
    made = scene()
    head = made.letter().html.encode()[:2048].decode("utf-8", "ignore")
    assert f">{made.call.word.value}" in head
    assert "Official warnings" in head
    if made.call.warnings:
        assert '<p style="margin:0 0 6px">Small Craft Advisory issued' in head
        assert "Issued by NWS Tallahassee FL" in head
    else:
        assert "None in force" in head or "is not known" in head


def test_three_long_warnings_are_all_named_in_the_first_two_kilobytes() -> None:
    """A5: where they are long, their beginning is there."""
    scene = wait_by_warning()
    long = replace(scene.call.warnings[0], text=ADVISORY_TEXT * 20)
    events = ("Small Craft Advisory", "Gale Watch", "Dense Fog Advisory")
    warnings = tuple(replace(long, id=e, event=e) for e in events)
    head = replace(scene, call=replace(scene.call, warnings=warnings)).letter().html.encode()[:2048].decode()
    assert "3 are in force or to come: Small Craft Advisory, Gale Watch and Dense Fog Advisory." in head


@every_scene
def test_official_words_come_before_our_explanation(scene: Callable[[], Scene]) -> None:
    """A5."""
    letter = letter_of(scene)
    for part in (letter.text, letter.html):
        ours = part.index("All other words in this letter are ours")
        assert part.index("Official warnings") < ours
        for title in ("The window", "Why wait", "Why there is no call", "The days ahead"):
            assert title not in part or part.index(title) > ours


@pytest.mark.parametrize("times_over", [1, 40])
def test_a_warning_is_told_word_for_word_and_in_full(times_over: int) -> None:
    """A5: never shortened in the text part, however long it is."""
    scene = wait_by_warning()
    text = ADVISORY_TEXT.format(issued="3:12") * times_over
    warning = replace(scene.call.warnings[0], text=text)
    letter = replace(scene, call=replace(scene.call, warnings=(warning,))).letter()
    words = " ".join(text.split())
    assert words in " ".join(letter.text.split())
    assert words in Page(letter.html).text


def test_a_warning_keeps_its_own_lines_in_the_text_part() -> None:
    text = letter_of(wait_by_warning).text
    assert (
        "\n* WHAT...Southwest winds 20 to 25 kt with gusts up to 30 kt and seas\n  3 to 5 ft expected.\n" in text
    )


def test_a_warning_is_told_with_issuer_time_and_link() -> None:
    """A5."""
    letter = letter_of(wait_by_warning)
    for part in (letter.text, letter.html):
        assert "Issued by NWS Tallahassee FL, 03:12 EST" in part
        assert "From 03:12 to 19:00 EST, for GMZ730" in part
        assert "https://api.weather.gov/alerts/urn:oid:2.49.0.1.840.0.invented" in part


@pytest.mark.parametrize(
    ("ends_at", "end"), [(est(19), "Tue 8 Dec 19:00 EST"), (est(0, day=9), "Tue 8 Dec 24:00 EST")]
)
def test_a_warning_that_began_the_day_before_names_the_day_of_its_end(ends_at: datetime, end: str) -> None:
    scene = wait_by_warning()
    begun = replace(scene.call.warnings[0], onset_at=est(15, 25, day=7), ends_at=ends_at)
    letter = replace(scene, call=replace(scene.call, warnings=(begun,))).letter()
    for part in (" ".join(letter.text.split()), Page(letter.html).text):
        assert f"From Mon 7 Dec 15:25 to {end}, for GMZ730." in part


def test_a_warning_without_an_end_says_so() -> None:
    scene = wait_by_warning()
    warning = replace(scene.call.warnings[0], ends_at=None)
    assert "end not stated" in told(replace(scene, call=replace(scene.call, warnings=(warning,))))


def test_what_was_not_understood_of_a_warning_is_told() -> None:
    scene = wait_by_warning()
    warning = replace(scene.call.warnings[0], not_understood=("/O.NEW.KZZZ/",))
    assert "could not read this part of it: /O.NEW.KZZZ/" in told(
        replace(scene, call=replace(scene.call, warnings=(warning,)))
    )


@pytest.mark.parametrize("fault", [FaultCode.UNREACHABLE, FaultCode.STALE, FaultCode.NOT_UNDERSTOOD])
def test_silence_of_the_warnings_is_never_told_as_none_in_force(fault: FaultCode) -> None:
    """A3."""
    scene = pull_morning()
    sources = tuple(replace(s, fault=fault) if s.kind is SourceKind.WARNINGS else s for s in scene.call.sources)
    for call in (replace(scene.call, sources=sources), replace(scene.call, sources=())):
        words = told(replace(scene, call=call))
        assert "None in force" not in words
        assert "is not known. Look them up before anything else." in words


@given(st.text(st.characters(exclude_categories=()), max_size=400))
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_no_official_text_breaks_a_letter(text: str) -> None:
    scene = wait_by_warning()
    warning = replace(scene.call.warnings[0], text=text, event=text[:40] or "x", url=f"https://{text}")
    call = replace(scene.call, warnings=(warning,), hours=scene.call.hours.iloc[0:0])
    letter = replace(scene, call=call).letter()
    letter.text.encode()
    assert letter.html.encode()
    Page(letter.html)


@given(st.text())
def test_unfolding_keeps_every_word(text: str) -> None:
    assert " ".join(unfolded(text)).split() == text.split()


def test_unfolding_keeps_points_of_a_list_apart() -> None:
    assert unfolded(ADVISORY_TEXT)[1].endswith("gusts up to 30 kt and seas 3 to 5 ft expected.")
    assert unfolded("SHORT\nLINES\n") == ("SHORT", "LINES")
    wide = "x" * 60
    assert unfolded(f"{wide}\n* {wide}\n.{wide}") == (wide, f"* {wide}", f".{wide}")


HOSTILE = "<b>Jo&Co</b>\"'><script>alert(1)</script>"


def test_a_hostile_name_stays_a_name() -> None:
    """W4."""
    scene = pull_morning()
    strings = tuple(replace(s, name=HOSTILE if s.name == "Nine Foot" else s.name) for s in STRINGS)
    window = scene.call.window
    assert window is not None
    pulls = (replace(window.pulls[0], string=HOSTILE), *window.pulls[1:])
    call = replace(scene.call, window=replace(window, pulls=pulls), cautions_told=(HOSTILE,))
    facts = replace(FACTS, boat=HOSTILE, harbor=HOSTILE, strings=strings, refused=(HOSTILE,), credits=(HOSTILE,))
    letter = morning_letter(call, facts, kind="morning", previous=None)
    assert "<script" not in letter.html
    assert "<b>Jo" not in letter.html
    assert "&lt;b&gt;Jo&amp;Co&lt;/b&gt;" in letter.html
    assert HOSTILE in letter.text
    assert HOSTILE in Page(letter.html).text


def test_only_https_links_of_a_warning_are_linked() -> None:
    scene = wait_by_warning()
    warning = replace(scene.call.warnings[0], url="javascript:alert(1)")
    letter = replace(scene, call=replace(scene.call, warnings=(warning,))).letter()
    assert "javascript" not in letter.html + letter.text


def test_templates_know_no_undefined_value_and_escape_in_the_page_only() -> None:
    """W4."""
    assert _marked_up().autoescape is True
    assert _plain().autoescape is False
    for env in (_marked_up(), _plain()):
        with pytest.raises(jinja2.UndefinedError):
            env.from_string("{{ nothing }}").render()
        with pytest.raises(jinja2.UndefinedError):
            env.from_string("{{ page.nothing }}").render(page=object())


def test_every_section_has_its_partial_in_both_parts() -> None:
    names = {name for sections in SECTIONS.values() for name in sections}
    for name in names:
        assert _plain().get_template(f"_{name}.txt")
        assert _marked_up().get_template(f"_{name}.html")


def test_control_characters_do_not_reach_the_reader() -> None:
    assert printable("a\x00b\x07c\ud800d\te\x85") == "abc?d\te"
    assert printable("a\r\nb") == "a\r\nb"
    assert printable(5) == 5


@every_scene
def test_the_text_part_keeps_to_72_columns(scene: Callable[[], Scene]) -> None:
    for line in letter_of(scene).text.splitlines():
        assert len(line) <= TEXT_COLUMNS or " " not in line.strip(), line


def test_a_number_stays_with_its_unit() -> None:
    for width in range(40, 73):
        text = "x" * width + " wind 15 kt and 2 days 3 h"
        assert not re.search(r"\d\n *(kt|days|h)\b", wrapped(text)), wrapped(text)


@every_scene
def test_the_page_is_plain_and_works_without_pictures(scene: Callable[[], Scene]) -> None:
    """M10, W4: inline style, no colour as the only sign, no embedded data, nothing fetched from elsewhere."""
    html = letter_of(scene).html
    page = Page(html)
    tags = [tag for tag, _ in page.tags]
    assert dict(page.tags)["html"] == {"lang": "en-US"}
    assert not {"style", "script", "link", "form", "iframe"} & set(tags)
    assert not re.search(r"[\";]\s*(color|background[a-z-]*):", html)
    assert "data:" not in html
    for tag, attrs in page.tags:
        if tag == "th":
            assert attrs["scope"] in ("col", "row")
        if tag == "img":
            assert attrs["src"] == "cid:chart@soakbell"
            assert re.search(r"\d", str(attrs["alt"]))
    assert tags.count("h1") == 1


@every_scene
def test_the_text_says_all_that_the_page_says(scene: Callable[[], Scene]) -> None:
    """M10: the text part is complete by itself. Every number of the page stands in it."""
    letter = letter_of(scene)
    page = Page(letter.html)
    numbers = set(re.findall(r"\d+(?:[.:]\d+)?", page.text))
    assert numbers <= set(re.findall(r"\d+(?:[.:]\d+)?", letter.text))


def _largest_plan() -> Scene:
    """Sixty strings, all pulled, seven days, three long warnings."""
    scene = pull_morning()
    names = [f"String {n} with quite a long name" if n else "String 0" for n in range(60)]
    window = scene.call.window
    assert window is not None
    at = window.leaves_at
    pulls = tuple(StringPull(n, at, at + timedelta(minutes=5), 40, 171.0, 245.0) for n in names)
    warning = replace(advisory(est(3, 12)), text=ADVISORY_TEXT * 5)
    call = replace(
        scene.call,
        window=replace(window, pulls=pulls),
        strings=tuple(StringState(n, 40, 245.0, 171.0, True, True, 96.0, 240.0) for n in names),
        warnings=tuple(replace(warning, id=str(n)) for n in range(3)),
    )
    return replace(
        scene, call=call, facts=replace(FACTS, strings=tuple(replace(STRINGS[0], name=n) for n in names))
    )


def test_the_largest_plan_stays_below_80_kilobytes_of_page() -> None:
    """M10."""
    letter = _largest_plan().letter()
    assert len(letter.html.encode()) < 80_000
    Page(letter.html)


@pytest.mark.parametrize("scene", [no_call_stale, failed_service])
def test_no_call_is_a_third_state_and_never_a_pale_pull(scene: Callable[[], Scene]) -> None:
    """A2: its own word, subject and shape; no window, no chart, no files."""
    letter = letter_of(scene)
    assert "double" in letter.html
    assert letter.attachments == ()
    assert letter.text.startswith("NO CALL\n\n")
    for part in (letter.text, letter.html):
        assert "PULL" not in part
        assert "WAIT" not in part
        assert "<img" not in part
        assert "The window" not in part
        assert "This letter says nothing of the sea today, good or bad." in " ".join(part.split())
        assert "Where to look now" in part
    for other in (pull_morning, wait_by_wind):
        assert "double" not in letter_of(other).html


def test_a_stale_source_shows_its_age_and_is_marked_as_not_used() -> None:
    """A1."""
    words = told(no_call_stale)
    assert (
        "zone forecast GMZ730: issued Mon 7 Dec 09:26, age 19 h 5 min of at most 13 h; not used: too old." in words
    )


def test_a_note_on_a_source_in_use_is_told() -> None:
    """F5: a moved grid cell is told in the letter."""
    scene = pull_morning()
    noted = replace(scene.call.sources[1], detail="the cell was TAE/58,64 until yesterday")
    words = told(replace(scene, call=replace(scene.call, sources=(noted,))))
    assert "used. The cell was TAE/58,64 until yesterday." in words


def test_ages_are_reckoned_at_the_planned_leaving() -> None:
    """A1."""
    measured = "that of what was measured at the time of this letter, 04:30 EST"
    assert f"Ages are reckoned at the planned leaving, 07:10 EST; {measured}." in told(pull_morning)
    assert "Ages are reckoned at the time of this letter, 04:30 EST." in told(wait_by_wind)


@every_scene
def test_every_letter_says_when_it_stops_counting_and_what_silence_means(scene: Callable[[], Scene]) -> None:
    """A9, S13."""
    words = told(scene)
    assert "This call counts until" in words
    assert "No letter by 05:00 means: look at the official forecast." in words
    assert "The skipper decides." in words
    assert "single waves can reach about twice that" in words
    assert "check with Florida Fish and Wildlife Conservation Commission" in words
    assert "last checked them on Saturday 14 November 2026, 18 of 25 not in the rule's own text." in words


def test_the_window_is_told_with_its_nearest_limit_in_numbers() -> None:
    words = told(pull_morning)
    assert "Leave: 07:10 to 07:40 EST." in words
    assert "Back by: 12:10 if you leave at 07:10, 12:40 if you leave at 07:40." in words
    assert "Off the water by: 12:40 EST." in words
    assert "Nearest limit: Gusts 19 kt at 12:00 at The Hump, 1 kt under the limit of 20 kt" in words
    assert "(zone forecast), whenever you leave in that time." in words
    assert (
        "Times if you leave at 07:10. 1. Nine Foot: 07:25 to 08:13, 24 traps, soak when hauled 7 days 3 h."
        in words
    )


def test_a_window_past_midnight_names_the_day() -> None:
    scene = pull_morning()
    window = scene.call.window
    assert window is not None
    late = replace(window, leaves_at=est(20), last_departure_at=est(20), lands_at=est(0, 40, day=9))
    letter = replace(scene, call=replace(scene.call, window=late)).letter()
    assert letter.subject.startswith("PULL 20:00-Wed 9 Dec 00:40,")
    assert "Leave Notch Creek at 20:00, be off the water by Wed 9 Dec 00:40 EST." in " ".join(letter.text.split())


def test_waiting_says_until_when_as_far_as_it_is_known() -> None:
    scene = wait_by_wind()
    assert "The next day that fits is Thu 10 Dec, 07:00 to 12:15." in told(scene)
    none = tuple(replace(d, state=DayState.NOT_KNOWN, window=None) for d in scene.call.outlook)
    assert "No day ahead is known to fit." in told(replace(scene, call=replace(scene.call, outlook=none)))


def test_the_days_ahead_tell_fit_not_fit_and_not_known() -> None:
    words = told(pull_morning)
    assert "Wed 9 Dec: not fit; wind 21 kt over 15." in words
    assert "Thu 10 Dec: fit, 07:00 to 12:15; gusts 17 kt of 20." in words
    assert "Sun 13 Dec: not known; seas not known." in words


def test_a_changed_call_says_what_it_changes_and_calls_the_boat_in() -> None:
    """A8."""
    words = told(changed_call)
    assert words.startswith("CHANGED CALL WAIT. If the boat is out, bring it in.")
    assert "The letter of 04:30 said PULL, 07:10 to 12:40. That call is withdrawn." in words
    assert "New since then: Small Craft Advisory." in words


def test_a_moved_window_is_told_with_both() -> None:
    scene = pull_morning()
    window = scene.call.window
    assert window is not None
    later = replace(window, leaves_at=est(8), last_departure_at=est(8), lands_at=est(12))
    call = replace(scene.call, window=later, made_at=est(6))
    letter = morning_letter(call, replace(FACTS, turn=1), kind="changed", previous=scene.call)
    assert letter.subject.startswith("CHANGED CALL: PULL 08:00-12:00,")
    assert "said PULL, 07:10 to 12:40. It is now PULL, 08:00 to 12:00." in " ".join(letter.text.split())
    assert "bring it in" not in letter.text


def test_a_call_that_stands_under_a_new_warning_says_both() -> None:
    before = pull_morning().call
    call = replace(before, made_at=est(8, 52), warnings=(advisory(est(8, 47), est(15)),))
    letter = morning_letter(call, replace(FACTS, turn=1), kind="changed", previous=before)
    words = " ".join(letter.text.split())
    assert "said PULL, 07:10 to 12:40. That call stands. New since then: Small Craft Advisory." in words


def test_refused_addresses_and_letters_never_sent_are_told() -> None:
    """M4, M5."""
    assert "The mail server refused mate@example.com last time" in told(no_call_stale)
    assert "The letter due Mon 7 Dec 04:30 could not be sent while it was of use." in told(failed_service)


def test_of_many_letters_never_sent_the_newest_are_named_and_the_rest_counted() -> None:
    """A mail server away for a week, with two letters a day; told in any order."""
    dues = tuple(est(hour, 30, day=day) for hour in (18, 4) for day in range(1, 8))
    made = failed_service()
    words = told(replace(made, facts=replace(made.facts, expired=dues)))
    said = "could not be sent while it was of use."
    assert words.count(said) == 3
    for due in ("Sun 6 Dec 18:30", "Mon 7 Dec 04:30", "Mon 7 Dec 18:30"):
        assert f"The letter due {due} {said}" in words
    assert "Nor could 11 earlier, due from Tue 1 Dec 04:30 on." in words


def test_a_late_letter_says_since_when() -> None:
    letter = letter_of(failed_service)
    assert letter.subject.startswith("Late: ")
    assert "This letter was due Tue 8 Dec 04:30 and is late." in letter.text


def test_invented_data_is_said_and_left_out_for_real_boats() -> None:
    scene = pull_morning()
    assert "Invented data" in scene.letter().text
    real = replace(scene, facts=replace(FACTS, invented=False)).letter()
    assert "nvented" not in real.text + real.html


def test_a_call_that_contradicts_itself_makes_no_letter() -> None:
    pull, wait = pull_morning(), wait_by_wind()
    for call in (
        replace(pull.call, window=None),
        replace(wait.call, window=pull.call.window),
        replace(wait.call, reasons=()),
        replace(no_call_stale().call, reasons=()),
    ):
        with pytest.raises(ValueError, match="a call of"):
            morning_letter(call, FACTS, kind="morning", previous=None)
    with pytest.raises(ValueError, match="needs the call it changes"):
        morning_letter(wait.call, FACTS, kind="changed", previous=None)


def test_an_unknown_reason_makes_no_letter() -> None:
    scene = wait_by_wind()
    with pytest.raises(ValueError, match="no words for the reason 'moonlight'"):
        replace(scene, call=replace(scene.call, reasons=(Reason("moonlight"),))).letter()


def test_the_same_call_gives_the_same_letter() -> None:
    first, second = pull_morning().letter(), pull_morning().letter()
    assert first == second


@every_scene
def test_no_letter_speaks_in_scores(scene: Callable[[], Scene]) -> None:
    letter = letter_of(scene)
    assert not re.search(r"[★☆●🔴🟢🟡]|\b\d+/10\b|\bscore", letter.text + letter.html)
    assert CallWord(scene().call.word).value in letter.subject


def test_a_warning_without_text_or_issuer_says_so() -> None:
    scene = wait_by_warning()
    warning = replace(scene.call.warnings[0], text="", sender="")
    words = told(replace(scene, call=replace(scene.call, warnings=(warning,))))
    assert "Issued by an issuer not named, 03:12 EST. " in words
    assert "The message came without a text." in words


def test_a_letter_of_a_failed_service_has_no_empty_headings() -> None:
    letter = letter_of(failed_service)
    for title in ("The days ahead", "All strings", "Sources"):
        assert title not in letter.text + letter.html


def _fresh_strings(scene: Scene, unripe_days: int) -> Scene:
    """Nothing ripe today nor on the next ``unripe_days``; the oldest string lacks 100 h at 04:30."""
    values = {"oldest_string": "Ledge", "oldest_soak_h": 20.0, "floor_h": 120.0}
    reason = Reason("nothing_ripe", values)
    strings = (StringState("Ledge", 32, 20.0, 20.0, False, False, 120.0, 240.0),)
    outlook = tuple(
        replace(d, reasons=(reason,)) if n <= unripe_days else replace(d, reasons=())
        for n, d in enumerate(scene.call.outlook)
    )
    return replace(scene, call=replace(scene.call, reasons=(reason,), strings=strings, outlook=outlook))


def test_waiting_promises_no_day_on_which_nothing_is_ripe() -> None:
    scene = wait_by_wind()
    assert "The next day that fits is Fri 11 Dec, 08:00 to 13:15." in told(_fresh_strings(scene, unripe_days=2))
    none = told(_fresh_strings(scene, unripe_days=6))
    assert "The weather fits on Thu 10 Dec, 07:00 to 12:15, but no string is ripe before Sat 12 Dec 08:30." in none
    assert "The next day that fits" not in none
    assert "Thu 10 Dec: fit, nothing ripe, 07:00 to 12:15; gusts 17 kt of 20." in none


def test_waiting_with_nothing_in_the_water_says_so_beside_the_weather() -> None:
    scene = _fresh_strings(wait_by_wind(), unripe_days=6)
    ashore = tuple(replace(s, fishing=0, oldest_soak_h=None, median_soak_h=None) for s in scene.call.strings)
    words = told(replace(scene, call=replace(scene.call, reasons=(Reason("nothing_set"),), strings=ashore)))
    assert "The weather fits on Thu 10 Dec, 07:00 to 12:15, but no trap is fishing." in words


def test_a_strings_tighter_limits_stand_beside_the_boats() -> None:
    words = told(pull_morning)
    assert "seas 3 ft (0.9 m) and thunder 30%. Tighter at The Hump: wind 13 kt." in words
    assert "Tighter at The Hump: wind 13 kt." in Page(letter_of(pull_morning).html).text
    none = replace(pull_morning().call, tighter_limits={})
    assert "Tighter" not in told(Scene(none, FACTS))


def test_what_ends_the_window_is_told() -> None:
    words = told(pull_morning)
    assert (
        "Leave no later than 07:40: a later trip, or the 2 h 15 min after it that must be fit too, would meet"
        in words
    )
    assert "Gusts 22 kt at 15:00 at Outer Bay, 2 kt over the limit of 20 kt." in words


def test_windows_of_days_ahead_are_told_as_what_they_are() -> None:
    """A1: they count on forecasts that haven't come yet."""
    assumed = "Windows of the days ahead hold only if newer forecasts come in time for them and say the same."
    for scene in (pull_morning, wait_by_wind):
        assert assumed in told(scene)
        assert assumed in Page(letter_of(scene).html).text
    for scene in (failed_service, no_call_stale):
        assert assumed not in told(scene)


def test_the_picture_is_described_with_the_window_that_the_subject_names() -> None:
    letter = letter_of(pull_morning)
    assert letter.subject.startswith("PULL 07:10-12:40,")
    (alt,) = [str(attrs["alt"]) for tag, attrs in Page(letter.html).tags if tag == "img"]
    assert alt.endswith("Window 07:10 to 12:40.")


def test_a_soak_says_when_it_is_reckoned() -> None:
    words, page = told(pull_morning), Page(letter_of(pull_morning).html).text
    assert "24 traps, soak when hauled 7 days 3 h." in words
    assert "Soaks at 04:30 EST. Nine Foot: ripe; 24 fishing, oldest soak 7 days 3 h." in words
    assert "Soak when hauled" in page
    assert "Oldest soak at 04:30 EST" in page


def test_a_string_of_which_nothing_fishes_has_no_soak() -> None:
    scene = wait_by_wind()
    ashore = StringState("Ledge", 0, None, None, False, False, 96.0, 240.0)
    words = told(replace(scene, call=replace(scene.call, strings=(ashore,))))
    assert "Ledge: nothing fishing. " in words


def test_a_disagreement_stands_once_in_a_letter() -> None:
    scene = no_call_stale()
    apart = pull_morning().call.disagreements
    call = replace(scene.call, reasons=(*scene.call.reasons, *apart), disagreements=apart)
    assert told(replace(scene, call=call)).count("grid forecast says 12 kt") == 1
    elsewhere = tuple(replace(r, values={**r.values, "place": "Outer Bar"}) for r in apart)
    both = replace(call, disagreements=(*apart, *elsewhere))
    assert told(replace(scene, call=both)).count("grid forecast says 12 kt") == 2
