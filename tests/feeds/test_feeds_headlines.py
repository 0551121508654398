"""What headlines and official sentences mean. All of them are invented, in the public form."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from soakbell.feeds.headlines import headline_meaning, official_sentences, take_headline
from soakbell.sea.zone_forecast import HeadlineMeaning


@pytest.mark.parametrize(
    ("text", "meaning"),
    [
        ("...GALE WARNING TODAY...", HeadlineMeaning.WARNING),
        ("...Small Craft Advisory in effect until noon...", HeadlineMeaning.WARNING),
        ("...SMALL CRAFT ADVISORY HAS BEEN CANCELLED...", HeadlineMeaning.WARNING),
        ("...GALE WARNING HAS EXPIRED...", HeadlineMeaning.WARNING),
        ("...MARINE WEATHER STATEMENT...", HeadlineMeaning.WARNING),
        ("...EXERCISE CAUTION TODAY...GALE WATCH TONIGHT...", HeadlineMeaning.WARNING),
        ("...GALE WATCHES IN EFFECT TODAY, SMALL CRAFT SHOULD EXERCISE CAUTION...", HeadlineMeaning.WARNING),
        ("...MARINE WEATHER STATEMENTS IN EFFECT - EXERCISE CAUTION...", HeadlineMeaning.WARNING),
        ("...SCA IN EFFECT, EXERCISE CAUTION...", HeadlineMeaning.WARNING),
        ("...GALES EXPECTED, EXERCISE CAUTION...", HeadlineMeaning.NOT_UNDERSTOOD),
        ("...HURRICANE APPROACHING - MARINERS EXERCISE CAUTION...", HeadlineMeaning.NOT_UNDERSTOOD),
        ("...EXERCISE CAUTION...", HeadlineMeaning.NOT_UNDERSTOOD),
        ("...SMALL CRAFT SHOULD EXERCISE CAUTION IN GALES...", HeadlineMeaning.NOT_UNDERSTOOD),
        ("...STRONG WINDS EXPECTED...", HeadlineMeaning.NOT_UNDERSTOOD),
    ],
)
def test_a_headline_that_names_an_event_is_a_warning_whatever_else_it_says(
    text: str, meaning: HeadlineMeaning
) -> None:
    assert headline_meaning(text) is meaning


@pytest.mark.parametrize(
    "when",
    ["", " TODAY", " THROUGH THIS EVENING", " FROM LATE TONIGHT THROUGH WEDNESDAY MORNING", " UNTIL 4 PM EST"],
)
@pytest.mark.parametrize("said", ["SMALL CRAFT SHOULD EXERCISE CAUTION", "Small Craft Exercise Caution"])
def test_small_craft_are_told_to_take_care_at_any_time(said: str, when: str) -> None:
    assert headline_meaning(f"...{said}{when}...") is HeadlineMeaning.CAUTION


@given(st.text(st.characters(min_codepoint=32, max_codepoint=90), min_size=1), st.integers(0, 35))
def test_nothing_put_into_a_caution_makes_more_of_it_than_a_time(put: str, at: int) -> None:
    caution = "SMALL CRAFT SHOULD EXERCISE CAUTION"
    text = f"...{caution[:at]}{put}{caution[at:]}..."
    if headline_meaning(text) is HeadlineMeaning.CAUTION:
        assert put.strip(" .") == "" or at == len(caution)


def test_a_headline_of_blank_dots_alone_is_not_taken_for_a_whole_one() -> None:
    headline, after = take_headline(["...", "GALE WARNING", "", "more"], 0)
    assert (headline.meaning, after) == (HeadlineMeaning.NOT_UNDERSTOOD, 2)


@pytest.mark.parametrize(
    ("prose", "said"),
    [
        ("High pressure holds. Gale Warning in effect today. Fair.", ["Gale Warning in effect today"]),
        ("HIGH PRESSURE HOLDS...GALE WATCHES ARE IN EFFECT...", ["GALE WATCHES ARE IN EFFECT"]),
        ("A Small Craft Advisory may be needed, and a Gale Watch stands.", [""]),
        ("A Small Craft Advisory may be extended.", [""]),
        ("A Small Craft Advisory may be needed. Small Craft Advisory conditions are likely.", []),
        ("Gales south of the cape with hazardous conditions.", []),
    ],
)
def test_an_official_event_named_in_prose_is_found_unless_it_only_may_come(prose: str, said: list[str]) -> None:
    found = official_sentences(prose)
    assert [headline.text for headline in found] == [part or prose.rstrip(".") for part in said]
    assert all(headline.meaning is HeadlineMeaning.WARNING for headline in found)
