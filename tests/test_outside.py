"""Numbers published outside the project, held against what the product uses. Each names its source."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from soakbell.feeds import period_words
from soakbell.feeds.period_text import read_period
from soakbell.units import m_from_ft

CONFIG = Path(__file__).resolve().parents[1] / "config"

BEAUFORT = {
    # UK Met Office table, copy at infotextmanuscripts.org/clio/clio-numbers-12-beaufort-2.html:
    # force: lowest and highest mean wind in kt, probable and highest significant height in m, open sea
    3: (7, 10, 0.6, 1.0),
    4: (11, 16, 1.0, 1.5),
    5: (17, 21, 2.0, 2.5),
    6: (22, 27, 3.0, 4.0),
    8: (34, 40, 5.5, 7.5),
    9: (41, 47, 7.0, 10.0),
    10: (48, 55, 9.0, 12.5),
    11: (56, 63, 11.5, 16.0),
}


def test_the_bands_that_words_stand_for_are_beauforts() -> None:
    """W2, W3, W4 (weather.gov/key/marine_definitions) and the UK Met Office's table agree on gale and storm."""
    assert (BEAUFORT[8][0], BEAUFORT[9][1]) == period_words.GALE_KT
    assert (BEAUFORT[10][0], BEAUFORT[11][1]) == period_words.STORM_KT


@pytest.mark.parametrize(("words", "high_kt"), [("gale force winds", 47), ("storm force winds", 63)])
def test_a_word_without_a_number_counts_as_the_top_of_its_band(words: str, high_kt: float) -> None:
    says = read_period(f"South winds 10 to 15 knots, increasing to {words}. Seas 2 feet.")
    assert max(state.wind_kt.high for state in says.states if state.wind_kt) == high_kt


def test_the_example_boats_limits_lie_below_a_small_craft_advisory() -> None:
    """W1: Key West, wind 20 to 33 kt or seas of 7 ft or more (weather.gov/key/marine_definitions)."""
    limits = tomllib.loads((CONFIG / "boat.toml").read_text())["boat"]["limits"]
    assert limits["wind_kt"] < 20
    assert limits["sea_ft"] < 7


def test_the_heights_for_chop_never_exceed_what_the_open_sea_would_have() -> None:
    """A ceiling check only, as the table is for the open, fully developed sea: no word for sheltered water stands
    higher than force 6 can raise there, and "choppy" is no flatter than force 4's probable height."""
    chop_m = tomllib.loads((CONFIG / "boat.toml").read_text())["sources"]["chop_m"]
    assert max(chop_m.values()) <= BEAUFORT[6][3]
    assert chop_m["choppy"] >= BEAUFORT[4][2]


def test_the_example_boats_sea_limit_is_reached_before_its_wind_limit_in_the_open() -> None:
    """In the open sea the example's 15 kt (force 4) goes with 1.0 m, its own limit with 0.9 m: neither is idle."""
    limits = tomllib.loads((CONFIG / "boat.toml").read_text())["boat"]["limits"]
    low_kt, high_kt, probable_m, _ = BEAUFORT[4]
    assert low_kt <= limits["wind_kt"] <= high_kt
    assert m_from_ft(limits["sea_ft"]) == pytest.approx(probable_m, abs=0.1)
