"""Official headlines and lost segments anywhere in a bulletin. The texts are invented, in the public form."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from soakbell.errors import NotUnderstood
from soakbell.feeds.zone_text import parse_zone_text
from soakbell.sea.zone_forecast import HeadlineMeaning, ZoneBulletin

TEXT = """000
FZUS52 KTAE 080930
CWFTAE

Coastal Waters Forecast (invented)
National Weather Service Tallahassee FL
430 AM EST Tue Dec 8 2026

Seas are given as the average height of the highest third...
along with the occasional height.

GMZ700-082115-
Synopsis for nowhere in particular
430 AM EST Tue Dec 8 2026

.SYNOPSIS FOR THE WATERS OF NOWHERE AND OF
ELSEWHERE...

High pressure will sit over the waters. A Small Craft Advisory may
be needed. Gales will stay far to the north.

$$

GMZ730-082115-
Apalachee Bay-
430 AM EST Tue Dec 8 2026

.TODAY...Northeast winds 5 to 10 knots. Seas 1 to
2 feet. Protected waters a light chop.
.TONIGHT...Northeast winds 5 to 10 knots. Seas 1 foot.
.WEDNESDAY...North winds 5 to 10 knots. Seas 2 feet.

Winds and seas higher in and near thunderstorms.

$$

GMZ750-755-082115-
Waters from one place to another-
430 AM EST Tue Dec 8 2026

.TODAY...NE winds 15 kt. Seas 3 ft.
.TONIGHT...NE winds 20 kt. Seas 5 ft.

$$

ABC
"""
LINES = TEXT.split("\n")
BAY = range(LINES.index("GMZ730-082115-") + 1, LINES.index("GMZ750-755-082115-"))
OTHER = range(LINES.index("GMZ750-755-082115-") + 1, LINES.index("ABC") - 1)
SEGMENT = "430 AM EST Tue Dec 8 2026\n\n...GALE WARNING IN EFFECT THROUGH TONIGHT...\n\n{}$$\n"


def with_line(at: int, said: str) -> str:
    return "\n".join([*LINES[:at], *said.split("\n"), *LINES[at:]])


def stops_a_pull(text: str, zone: str = "GMZ730") -> bool:
    """Whether nothing of the zone's first period can carry a call."""
    try:
        bulletin = parse_zone_text(text)
    except NotUnderstood:
        return True
    return all(
        forecast.not_understood
        or any(headline.meaning is not HeadlineMeaning.CAUTION for headline in forecast.headlines)
        for forecast in bulletin.for_zone(zone)
    )


def spoilt_periods(text: str) -> list[bool]:
    (forecast,) = parse_zone_text(text).for_zone("GMZ730")
    return [bool(period.not_understood) for period in forecast.periods]


def test_the_bulletin_as_it_stands_carries_a_call() -> None:
    bulletin = parse_zone_text(TEXT)
    assert (bulletin.headlines, bulletin.not_understood) == ((), ())
    assert not stops_a_pull(TEXT)
    assert spoilt_periods(TEXT) == [False] * 3


@pytest.mark.parametrize(
    "said",
    [
        "...GALE WARNING IN EFFECT TODAY...",
        "...GALE WARNING IN EFFECT\nTODAY...",
        "...GALES EXPECTED TODAY...",
        "\n...GALES EXPECTED TODAY...\n",
        "\n...GALE WATCHES TODAY, SMALL CRAFT SHOULD EXERCISE CAUTION...\n",
        "...GALE WARNING IN EFFECT TODAY",
        "\n..GALE WARNING IN EFFECT TODAY..\n",
        "..GALES EXPECTED TODAY..",
    ],
)
def test_a_headline_bars_wherever_it_stands_but_in_another_zone_s_forecast(said: str) -> None:
    for at in range(3, len(LINES)):
        if at not in OTHER:
            text = with_line(at, said)
            assert stops_a_pull(text), f"{at}: {LINES[at]}"


@pytest.mark.parametrize("at", OTHER)
def test_another_zone_s_headline_leaves_this_one_alone(at: int) -> None:
    text = with_line(at, "...GALE WARNING IN EFFECT TODAY...")
    assert stops_a_pull(text, "GMZ755")
    lines_before_the_issue_line = at in (OTHER[0], OTHER[1])
    assert not stops_a_pull(text) or lines_before_the_issue_line


@pytest.mark.parametrize(
    "said", ["GALE WARNING IN EFFECT TODAY", "A Small Craft Advisory is in effect.", "* GALE WATCH"]
)
def test_an_official_sentence_without_dots_is_never_passed_over(said: str) -> None:
    """Within a period it spoils that period, everywhere else the whole forecast."""
    for at in range(3, len(LINES)):
        if at not in OTHER:
            for put in (said, f"\n{said}\n"):
                text = with_line(at, put)
                assert stops_a_pull(text) or any(spoilt_periods(text)), f"{at}: {LINES[at]}"


@pytest.mark.parametrize(
    "caution", ["...SMALL CRAFT SHOULD EXERCISE CAUTION...", "...SMALL CRAFT EXERCISE CAUTION TODAY..."]
)
def test_a_caution_at_the_head_of_the_bulletin_is_told_and_bars_nothing(caution: str) -> None:
    text = with_line(LINES.index("GMZ700-082115-") - 1, f"\n{caution}\n")
    (bay,) = parse_zone_text(text).for_zone("GMZ730")
    assert [headline.text for headline in bay.headlines] == [caution]
    assert not stops_a_pull(text)


def test_a_headline_beside_a_synopsis_within_the_zone_s_own_segment_bars() -> None:
    for between in ("\n", "\n\n"):
        for said in ("...GALE WARNING TODAY...", "GALE WARNING IN EFFECT TODAY", "..GALE WARNING TODAY.."):
            head = f".SYNOPSIS...High pressure.{between}{said}\n\n.TODAY...Northeast"
            assert stops_a_pull(TEXT.replace(".TODAY...Northeast", head, 1))


def test_a_second_segment_of_the_zone_that_lost_its_periods_leaves_it_unclear() -> None:
    for put in ("", "Some text that is left.\n"):
        second = "GMZ730-082115-\nApalachee Bay-\n" + SEGMENT.format(put).replace("...GALE", "MILD").replace(
            "...", ""
        )
        (bay,) = parse_zone_text(TEXT + second).for_zone("GMZ730")
        assert "the segment has no forecast periods" in bay.not_understood


def test_a_segment_without_periods_tells_its_headline_to_every_zone() -> None:
    for zone in ("GMZ730", "GMZ755", "GMZ770"):
        text = TEXT + f"{zone}-082115-\nWaters-\n" + SEGMENT.format("")
        assert stops_a_pull(text, "GMZ730")
        assert stops_a_pull(text, "GMZ755")


@pytest.mark.parametrize(
    "line", ["GMZ73O-082115-", "GNZ730-082115", "gmz730-082115-", "", "GMZ7 30-082115-", "730"]
)
@pytest.mark.parametrize("period", [".TODAY...Southeast winds 40 knots. Seas 12 feet.\n", ""])
def test_a_segment_whose_zone_line_is_damaged_may_be_any_zone_s(line: str, period: str) -> None:
    lost = f"{line}\nApalachee Bay-\n" + SEGMENT.format(period)
    for text in (
        TEXT + lost,
        TEXT.replace("GMZ750", f"{lost}\nGMZ750"),
        TEXT.replace("$$\n\nGMZ750", f"{lost}\nGMZ750"),
    ):
        assert stops_a_pull(text)
        assert stops_a_pull(text, "GMZ755")


def test_a_lost_end_and_a_damaged_zone_line_leave_every_zone_unclear() -> None:
    """Then the second segment stands within the first, whatever zone that is for."""
    text = TEXT.replace("$$\n\nGMZ730", "\nGMZ73O")
    assert stops_a_pull(text)
    assert stops_a_pull(text, "GMZ755")


@pytest.mark.parametrize("strays", ["ABC\n", "\nJun 8\n", "ABC/DEF\nwww.weather.gov/tae\n"])
def test_the_forecasters_marks_at_the_end_are_let_pass(strays: str) -> None:
    assert not stops_a_pull(TEXT.replace("ABC\n", strays))


def _as_captured(shared: Path) -> list[tuple[str, ZoneBulletin]]:
    paths = sorted((shared / "data" / "weather" / "cwf").iterdir())
    return [(path.name, parse_zone_text(path.read_bytes())) for path in paths]


@pytest.mark.shared
def test_no_captured_bulletin_bars_all_its_zones(shared: Path) -> None:
    for name, bulletin in _as_captured(shared):
        assert (bulletin.headlines, bulletin.not_understood) == ((), ()), name


@pytest.mark.shared
def test_a_headline_put_into_the_head_or_synopsis_of_a_captured_bulletin_bars_all_its_zones(shared: Path) -> None:
    for name, bulletin in _as_captured(shared):
        text = "\n".join(line.rstrip() for line in bulletin.text.splitlines())
        zone = next(forecast.zones[0] for forecast in bulletin.segments if forecast.periods)
        product = re.search(r"^(?:CWF|NSH)\w+\n", text, re.MULTILINE)
        first = next(forecast for forecast in bulletin.segments if forecast.periods)
        assert product is not None
        places = range(product.end(), text.index(first.text))
        for at in (at + 1 for at in places if text[at] == "\n"):
            for said in ("...GALE WARNING IN EFFECT TODAY...\n", "GALE WARNING IN EFFECT TODAY.\n\n"):
                assert stops_a_pull(text[:at] + said + text[at:], zone), (name, text[at : at + 30])
