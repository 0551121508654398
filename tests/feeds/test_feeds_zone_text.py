"""Forecast bulletins, whole. The texts are invented, in the public form."""

from __future__ import annotations

import json
import re
from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from soakbell.errors import NotUnderstood
from soakbell.feeds.period_text import read_period
from soakbell.feeds.zone_text import parse_zone_text
from soakbell.sea.zone_forecast import HeadlineMeaning, Range, ZoneBulletin, ZoneForecast
from soakbell.sea.zone_hours import hours_of_zone_forecast

TEXT = """000
FZUS52 KTAE 080930
CWFTAE

Coastal Waters Forecast (invented)
National Weather Service Tallahassee FL
430 AM EST Tue Dec 8 2026

Seas are given as the average height of the highest third.

GMZ700-082115-
Synopsis for nowhere in particular
430 AM EST Tue Dec 8 2026

.SYNOPSIS...

High pressure will sit over the waters. Seas of 30 feet
will not be seen.

$$

GMZ730-082115-
Apalachee Bay or Coastal Waters From Keaton Beach to Ochlockonee
River FL out to 20 Nm-
430 AM EST Tue Dec 8 2026

...SMALL CRAFT ADVISORY IN EFFECT FROM THIS AFTERNOON THROUGH
WEDNESDAY MORNING...

.TODAY...Northeast winds 10 to 15 knots, increasing to 20 to
25 knots in the afternoon. Gusts up to 30 knots. Seas 2 to
4 feet. Protected waters choppy.
.TONIGHT...Northeast winds 20 to 25 knots. Seas 4 to 6 feet,
occasionally to 8 feet. A chance of thunderstorms.
.WEDNESDAY...North winds 15 to 20 knots, diminishing to
10 knots...becoming variable. Wind waves 3 feet. Southwest swell
4 feet at 9 seconds.
.WEDNESDAY NIGHT...North winds 5 to 10 knots. Seas 2 feet or less.
.THU...N winds 10 kt. Seas 2 ft subsiding.
.FRI...Northern portion, N winds 15 kt. Southern portion, N winds
20 kt. Seas 3 ft.

Winds and seas higher in and near thunderstorms.

$$

GMZ750-755-082115-
Waters from one place to another-
430 AM EST Tue Dec 8 2026 /330 AM CST Tue Dec 8 2026/

...SMALL CRAFT SHOULD EXERCISE CAUTION...

.TODAY...NE winds 15 kt. Seas 3 ft.
.TONIGHT...NE winds 20 kt. Seas 5 ft.

$$

ABC
"""
BAY = TEXT[TEXT.index("GMZ730") : TEXT.index("GMZ750")]


def segment(text: str, zone: str = "GMZ730") -> ZoneForecast:
    (found,) = parse_zone_text(text).for_zone(zone)
    return found


def changed(old: str, new: str) -> str:
    assert TEXT.count(old) >= 1
    return TEXT.replace(old, new)


def test_a_bulletin_gives_its_segments_and_their_periods() -> None:
    bulletin = parse_zone_text(TEXT)
    assert (bulletin.product, bulletin.office) == ("CWF", "TAE")
    assert bulletin.issued_at == datetime(2026, 12, 8, 9, 30, tzinfo=UTC)
    assert [found.zones for found in bulletin.segments] == [("GMZ700",), ("GMZ730",), ("GMZ750", "GMZ755")]
    bay = segment(TEXT)
    assert bay.not_understood == ()
    assert bay.names == ("Apalachee Bay or Coastal Waters From Keaton Beach to Ochlockonee River FL out to 20 Nm",)
    assert bay.expires_at == datetime(2026, 12, 8, 21, 15, tzinfo=UTC)
    assert [period.label for period in bay.periods] == [
        "TODAY", "TONIGHT", "WEDNESDAY", "WEDNESDAY NIGHT", "THU", "FRI",
    ]  # fmt: skip
    assert all(period.not_understood == () for period in bay.periods)
    assert bay.foot == "Winds and seas higher in and near thunderstorms."


def test_the_worst_of_successive_states_is_kept_with_its_verbatim_text() -> None:
    today = segment(TEXT).periods[0]
    (state,) = today.states
    assert state.wind_kt == Range(10, 25)
    assert state.gust_kt == 30
    assert today.chop == "choppy"
    assert today.text.startswith("Northeast winds 10 to 15 knots, increasing to 20 to 25 knots")
    assert today.starts_at == datetime(2026, 12, 8, 9, tzinfo=UTC)
    assert today.ends_at == datetime(2026, 12, 8, 23, tzinfo=UTC)


def test_a_synopsis_has_no_periods_and_its_numbers_are_nobodys() -> None:
    synopsis = parse_zone_text(TEXT).segments[0]
    assert synopsis.periods == ()
    assert "30 feet" in synopsis.synopsis
    assert synopsis.not_understood == ()
    assert parse_zone_text(TEXT).for_zone("GMZ700") == ()


@pytest.mark.parametrize(
    "head",
    [
        ".SYNOPSIS FOR THE WATERS OF NOWHERE+AND\nELSEWHERE...",
        ".Synopsis for nowhere...",
        "SYNOPSIS FOR NOWHERE...Strong",
    ],
)
def test_synopses_are_known_in_every_form_they_come_in(head: str) -> None:
    synopsis = parse_zone_text(changed(".SYNOPSIS...", head)).segments[0]
    assert synopsis.periods == ()
    assert synopsis.not_understood == ()


def broken_at(text: str, words: int, first: int) -> str:
    """``text`` with ``words`` words a line, and ``first`` on the first line."""
    said = text.split()
    lines = [said[:first]] * bool(first) + [said[at : at + words] for at in range(first, len(said), words)]
    return "\n".join(" ".join(line) for line in lines)


def rewrapped(segment_text: str, words: int, first: int) -> str:
    """A segment whose periods are broken anew, so that each word comes to stand first on a line."""
    period = re.compile(r"^(\.[^.\n]+\.{3})([^\n]*(?:\n(?!\.|\$)[^\n]+)*)", re.MULTILINE)
    return period.sub(lambda found: found.group(1) + broken_at(found.group(2), words, first), segment_text)


BREAKS = [(words, first) for words in (1, 2, 3, 5) for first in range(words)]


@pytest.mark.parametrize(("words", "first"), BREAKS)
@pytest.mark.parametrize(
    "said",
    [
        "Seas 1 to 2 feet except in Gulf Stream where seas 6 to 8 feet and winds 25 knots.",
        "Seas 1 foot, but the Gulf Stream waters southward, seas 8 feet.",
        "Seas 1 foot. Synopsis of nothing. Seas 9 feet.",
    ],
)
def test_where_the_lines_of_a_period_break_changes_nothing(said: str, words: int, first: int) -> None:
    text = changed("Seas 2 to\n4 feet.", said)
    bay = text[text.index("GMZ730") : text.index("GMZ750")]
    again = segment(text.replace(bay, rewrapped(bay, words, first)))
    assert again.periods == segment(text).periods
    assert again.not_understood == segment(text).not_understood == ()
    assert max(state.sea_m.high for state in segment(text).periods[0].states if state.sea_m) > 2.0


def test_a_gulf_stream_among_or_before_the_periods_is_no_note() -> None:
    for at in (".TODAY...", ".TONIGHT..."):
        for lead in (".", ""):
            said = f"{lead}GULF STREAM...South winds 30 knots. Seas 9 feet.\n{at}Northeast"
            bay = segment(changed(f"{at}Northeast", said))
            highest_m = max(state.sea_m.high for period in bay.periods for state in period.states if state.sea_m)
            unclear = bay.not_understood or any(period.not_understood for period in bay.periods)
            assert unclear or highest_m > 2.7, said


def test_a_headline_is_read_over_its_line_break() -> None:
    (headline,) = segment(TEXT).headlines
    assert headline.text == "...SMALL CRAFT ADVISORY IN EFFECT FROM THIS AFTERNOON THROUGH WEDNESDAY MORNING..."
    assert headline.meaning is HeadlineMeaning.WARNING
    (caution,) = segment(TEXT, "GMZ755").headlines
    assert caution.meaning is HeadlineMeaning.CAUTION


def test_several_headlines_in_a_row_stay_apart() -> None:
    text = changed("...SMALL CRAFT ADVISORY", "...GALE WATCH IN EFFECT TONIGHT...\n...SMALL CRAFT ADVISORY")
    assert [headline.text[3:14] for headline in segment(text).headlines] == ["GALE WATCH ", "SMALL CRAFT"]


def test_a_headline_that_never_closes_spoils_its_segment() -> None:
    bay = segment(changed("WEDNESDAY MORNING...", "WEDNESDAY MORNING"))
    assert bay.headlines[0].meaning is HeadlineMeaning.NOT_UNDERSTOOD
    assert bay.not_understood != ()


@pytest.mark.parametrize("lead", ["..", ".", ".x.", "", "…"])
def test_a_headline_whose_dots_are_damaged_spoils_its_segment(lead: str) -> None:
    assert segment(changed("...SMALL CRAFT ADVISORY", f"{lead}SMALL CRAFT ADVISORY")).not_understood != ()


def test_a_line_of_the_head_or_foot_that_fits_no_form_spoils_its_segment() -> None:
    stray = "Mind the shoals off the river mouth"
    for text in (
        changed("...SMALL CRAFT ADVISORY", f"{stray}\n\n...SMALL CRAFT ADVISORY"),
        changed("Winds and seas higher in and near", f"{stray}. Winds and seas higher in and near"),
        changed("River FL out to 20 Nm-", "River FL out to 20 Nm"),
    ):
        assert segment(text).not_understood != ()
        assert segment(text, "GMZ750").not_understood == ()


@pytest.mark.parametrize(
    "foot",
    [
        "Winds and waves higher in and near tstms.",
        "Winds higher in the vicinity of thunderstorms.",
        "See the open lakes forecast for days 3 through 5.",
        "Unless otherwise noted, waves 1 foot or less.\n\nGrebe Harbor water temperature 58 degrees.",
    ],
)
def test_the_usual_remarks_at_the_foot_are_known(foot: str) -> None:
    assert segment(changed("Winds and seas higher in and near thunderstorms.", foot)).not_understood == ()


def test_a_height_for_unnamed_waves_at_the_foot_is_not_filled_in() -> None:
    """A period whose own height was lost would read as calm."""
    text = changed(
        "Winds and seas higher in and near thunderstorms.", "Unless otherwise noted, waves 1 foot or less."
    )
    night = segment(text.replace(" Seas 2 feet or less.", "")).periods[3]
    assert night.states[0].sea_m is None


def test_a_blank_line_within_a_period_is_not_taken_for_its_end() -> None:
    bay = segment(changed("increasing to 20 to\n25 knots", "increasing to 20 to\n\n25 knots"))
    assert bay.not_understood != ()


def test_a_period_of_unknown_name_is_kept_without_a_time() -> None:
    period = segment(changed(".WEDNESDAY...North", ".WEDNXSDAY...North")).periods[2]
    assert period.starts_at is None
    assert period.not_understood == ("period name: WEDNXSDAY",)


def test_a_period_line_without_its_dots_is_kept_as_not_understood() -> None:
    bay = segment(changed(".TONIGHT...Northeast", ".TONIGHT..Northeast"))
    assert [period.starts_at is None for period in bay.periods[:3]] == [False, True, False]


def test_a_period_that_has_lost_its_dots_spoils_the_one_it_runs_into() -> None:
    assert segment(changed(".TONIGHT...Northeast", "TONIGHT...Northeast")).periods[0].not_understood != ()


def test_a_period_that_says_nothing_carries_no_call() -> None:
    text = changed(".WEDNESDAY NIGHT...North winds 5 to 10 knots. Seas 2 feet or less.", ".WEDNESDAY NIGHT...")
    assert segment(text).periods[3].not_understood == ("the period says nothing",)


def test_a_cut_bulletin_never_hides_that_it_was_cut() -> None:
    """Cut anywhere, the zone's segment is gone, is refused, or says that it isn't closed."""
    start, end = TEXT.index("GMZ730"), TEXT.index("GMZ750") - 3
    for at in range(start, end):
        try:
            found = parse_zone_text(TEXT[:at]).for_zone("GMZ730")
        except NotUnderstood:
            continue
        assert all(cut.not_understood for cut in found), at


def test_a_segment_that_lost_its_periods_says_so() -> None:
    start = BAY.index(".TODAY")
    bulletin = parse_zone_text(TEXT.replace(BAY[start:], "$$\n\n"))
    assert bulletin.for_zone("GMZ730") == ()
    assert any("no forecast periods" in said for said in bulletin.segments[1].not_understood)


@pytest.mark.parametrize(
    "text",
    [
        TEXT.replace("CWFTAE", "AFDTAE"),
        TEXT.replace("GMZ750-755", "FLZ027-028"),
        TEXT.replace("GMZ750-755", "GMC750-755"),
        "",
        "<html><title>Not found</title></html>",
        '{"type": "problem", "status": 500}',
        json.dumps({"productText": "", "issuanceTime": "2026-12-08T09:30:00+00:00"}),
    ],
)
def test_what_is_no_marine_forecast_is_refused(text: str) -> None:
    with pytest.raises(NotUnderstood):
        parse_zone_text(text)


def test_bytes_and_the_wrapped_text_read_like_the_plain_text() -> None:
    plain = parse_zone_text(TEXT)
    wrapped = json.dumps({"productText": TEXT, "issuanceTime": "2026-12-08T09:30:00+00:00"}).encode()
    assert parse_zone_text(wrapped).segments == plain.segments
    assert parse_zone_text(TEXT.replace("\n", "\r\r\n").encode()).segments == plain.segments


def test_shouted_texts_of_older_years_read_alike() -> None:
    loud = TEXT.replace("ChST", "CHST").upper()
    states = [period.states for period in segment(loud).periods]
    assert [[state.wind_kt for state in said] for said in states] == [
        [state.wind_kt for state in period.states] for period in segment(TEXT).periods
    ]
    assert segment(loud).not_understood == ()


# --- damage ------------------------------------------------------------------------------------------------

Damage = tuple[str, int, str]
CHARACTERS = st.sampled_from(
    [chr(code) for code in range(32, 127) if not chr(code).isdecimal()] + ["\n", "\r", "\x07", "é"]
)
DAMAGES = st.lists(
    st.tuples(st.sampled_from(["put", "swap", "drop", "double", "cut"]), st.integers(0, 10_000), CHARACTERS),
    min_size=1,
    max_size=3,
)


def damaged(text: str, damages: list[Damage]) -> str:
    """``text`` after each damage. Figures are neither dropped nor swapped: the text alone can't tell that."""
    for kind, place, char in damages:
        at = place % max(len(text), 1)
        if kind == "put":
            text = text[:at] + char + text[at:]
        elif kind == "double":
            text = text[: at + 20] + text[at : at + 20] + text[at + 20 :]
        elif kind == "cut" and place % 10 == 0:
            text = text[:at]
        elif kind in ("swap", "drop") and not text[at : at + 1].isdecimal():
            text = text[:at] + (char if kind == "swap" else "") + text[at + 1 :]
    return text


def clear_hours(bulletin: ZoneBulletin, zone: str) -> dict[datetime, tuple[float, float]]:
    """Upper ends of wind (kt) and whole sea (m) of the hours that may carry a call; NaN where none."""
    clear: dict[datetime, tuple[float, float]] = {}
    for forecast in bulletin.for_zone(zone):
        hours = hours_of_zone_forecast(forecast, area=None, chop_m={})
        sea = hours.numbers["sea_m"].where(hours.whole["sea_m"])
        for at in hours.numbers.index[hours.unclear == ""]:
            clear[at.to_pydatetime()] = (hours.numbers["wind_kt"][at], sea[at])
    return clear


def barred(bulletin: ZoneBulletin, zone: str) -> bool:
    return any(
        headline.meaning is not HeadlineMeaning.CAUTION
        for forecast in bulletin.for_zone(zone)
        for headline in forecast.headlines
    )


SOUND = {zone: clear_hours(parse_zone_text(TEXT), zone) for zone in ("GMZ730", "GMZ750")}


@settings(max_examples=250, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(DAMAGES)
@example([("drop", TEXT.index(".TONIGHT"), "x")])
@example([("put", TEXT.index("5 knots, increasing"), ".")])
@example([("put", TEXT.index("5 knots. Seas 4"), "%")])
@example([("swap", TEXT.index("$$\n\nGMZ750"), "x")])
@example([("swap", TEXT.index("EST Tue Dec 8 2026 /"), "C")])
def test_no_damage_reads_as_less_wind_or_sea(damages: list[Damage]) -> None:
    """The law of the house (design 3.7), for the text alone: an hour is unclear, or no better than it was."""
    try:
        bulletin = parse_zone_text(damaged(TEXT, damages))
    except NotUnderstood:
        return
    for zone, sound in SOUND.items():
        clear = clear_hours(bulletin, zone)
        if clear and zone == "GMZ730":
            assert barred(bulletin, zone)
        for at in clear.keys() & sound.keys():
            for now, before in zip(clear[at], sound[at], strict=True):
                assert not now < before - 1e-9, (zone, at, now, before)


# --- captured texts ----------------------------------------------------------------------------------------


@pytest.mark.shared
def test_all_periods_of_the_captured_forecasts_are_understood_but_two(shared: Path) -> None:
    """The two have a height, "Less than 2 ft.", that says of nothing."""
    leftovers, periods = [], 0
    for path in sorted((shared / "data" / "weather" / "cwf").iterdir()):
        for forecast in parse_zone_text(path.read_bytes()).segments:
            assert forecast.not_understood == (), path.name
            periods += len(forecast.periods)
            leftovers += [period.not_understood for period in forecast.periods if period.not_understood]
    assert periods == 784
    assert leftovers == [("2 ft",), ("2 ft",)]


@pytest.mark.shared
@pytest.mark.parametrize(("words", "first"), BREAKS)
def test_where_the_lines_of_a_captured_period_break_changes_nothing(shared: Path, words: int, first: int) -> None:
    for path in sorted((shared / "data" / "weather" / "cwf").iterdir()):
        bulletin = parse_zone_text(path.read_bytes())
        text = "\n".join(line.rstrip() for line in bulletin.text.splitlines())
        for forecast in bulletin.segments:
            if forecast.periods:
                at = text.index(forecast.text)
                text = text[:at] + rewrapped(forecast.text, words, first) + text[at + len(forecast.text) :]
        again = parse_zone_text(text)
        assert [s.periods for s in again.segments] == [s.periods for s in bulletin.segments], path.name
        assert all(s.not_understood == () for s in again.segments), path.name


@pytest.mark.shared
@pytest.mark.parametrize("said", ["Gale warning in effect.", "Small Craft Advisory.", "HURRICANE WATCH TODAY..."])
def test_an_official_sentence_put_into_a_captured_period_is_never_passed_over(shared: Path, said: str) -> None:
    texts = {
        period.text
        for path in sorted((shared / "data" / "weather" / "cwf").iterdir())
        for forecast in parse_zone_text(path.read_bytes()).segments
        for period in forecast.periods
    }
    for text in sorted(texts)[::3]:
        sentences = re.split(r"(?<=[a-z0-9]\.) (?=[A-Z])", text)
        for at in range(len(sentences) + 1):
            put = " ".join([*sentences[:at], said, *sentences[at:]])
            assert read_period(put).not_understood != (), put
