"""What the words of a period stand for. The sentences are our own, in the public form."""

from __future__ import annotations

import math

import pytest

from soakbell.feeds.period_text import PeriodSays, read_period
from soakbell.sea.zone_forecast import AreaState, Range
from soakbell.units import kt_from_mph, m_from_ft


def only_state(text: str) -> AreaState:
    says = read_period(text)
    assert says.not_understood == ()
    (state,) = says.states
    assert state.area == ""
    return state


def feet(low: float | None, high: float) -> Range:
    return Range(None if low is None else m_from_ft(low), m_from_ft(high))


def by_area(says: PeriodSays) -> dict[str, AreaState]:
    return {state.area: state for state in says.states}


@pytest.mark.parametrize(
    ("text", "low", "high"),
    [
        ("Southwest winds 15 to 20 knots.", 15, 20),
        ("S winds around 15 kt.", 15, 15),
        ("Northeast winds to 25 knots.", None, 25),
        ("N wind up to 20 kts.", None, 20),
        ("SW wind 10 knots or less.", None, 10),
        ("Variable winds less than 10 kt.", None, 10),
        ("Winds variable less than 10 knots.", None, 10),
        ("South southwest winds near 10 knots.", 10, 10),
        ("North to northeast winds 10 to 15 knots.", 10, 15),
        ("SE 10 to 15 kt.", 10, 15),
        ("WINDS NORTHEAST 10 TO 15 KNOTS.", 10, 15),
        ("N wind 30 kt...rising to gales 35 kt late.", 30, 35),
        ("N gales to 40 kt.", None, 40),
        ("N gales 35 kt...easing to 30 kt overnight.", 30, 35),
        ("Storm force winds to 50 kt.", None, 50),
        ("NW wind 25 kt becoming gales in the evening.", 25, 47),
        ("Gale force winds.", 34, 47),
        ("Storm force winds.", 48, 63),
        ("Tropical storm conditions possible.", 34, 63),
        ("E wind increasing to 25 kt.", None, 25),
        ("SE winds 15 kt becoming E 5 kt.", 5, 15),
        ("SE winds 15 kt becoming NE.", 15, 15),
        ("W winds 15 to 20 knots, diminishing to 10 to 15 knots in the afternoon.", 10, 20),
        ("W winds 15 to 20 knots diminishing after midnight.", None, 20),
        ("East winds 20 knots, rising to to 25 knots.", 20, 25),
        ("SE winds 5 to 10 kt, becoming S and increasing to 15 kt.", 5, 15),
        ("SW winds 5 to 10 kt early in the morning, becoming variable and less than 5 kt.", None, 10),
        ("N wind 10 kt to 15 kt.", 10, 15),
        ("N winds between 10 and 15 kt.", 10, 15),
        ("N winds 10 to 15 increasing to 20 kt late.", 10, 20),
        ("Light winds.", None, 10),
        ("South winds 5 to 10 knots, becoming light and variable.", None, 10),
        ("Winds light and variable, becoming onshore around 12 knots in the afternoon.", None, 12),
        ("SW winds 10 to 15 kt until 9 PM, then W 20 kt.", 10, 20),
    ],
)
def test_the_wind_is_its_lowest_and_its_highest_stated_end(text: str, low: float | None, high: float) -> None:
    """A low end is known only where every statement gives one; bands are check values W2, W3 and W4."""
    assert only_state(text).wind_kt == Range(low, high)


def test_miles_an_hour_are_turned_to_knots() -> None:
    assert only_state("N wind 10 to 20 mph.").wind_kt == Range(kt_from_mph(10), kt_from_mph(20))


@pytest.mark.parametrize(
    ("text", "wind_high", "gust"),
    [
        ("NE wind 15 kt. Gusts to 25 kt through early afternoon.", 15, 25),
        ("W winds 15 to 20 kt with gusts up to 30 kt.", 20, 30),
        ("W winds 15 kt with occasional gusts to around 20 kt late.", 15, 20),
        ("SE winds 25 to 30 kt. Frequent gusts to gale force.", 30, 47),
        ("NW wind 20 to 25 kt with gale force gusts up to 35 kt.", 25, 35),
        ("SW winds 10 kt with gusts up to 25 kt, becoming W 25 to 30 kt with gusts up to 35 kt late.", 30, 35),
        ("S winds 10 to 15 kt, occasionally gusting to 20 kt.", 15, 20),
        ("S winds 30 kt with gusts to 25 kt.", 30, 30),
    ],
)
def test_gusts_are_told_apart_from_the_wind(text: str, wind_high: float, gust: float) -> None:
    """A gust is never below the wind it goes with."""
    state = only_state(text)
    assert state.wind_kt is not None
    assert (state.wind_kt.high, state.gust_kt) == (wind_high, gust)


def test_the_direction_is_that_of_the_strongest_wind() -> None:
    assert only_state("SE winds 15 kt becoming W 25 kt.").wind_from_deg == 270.0
    assert only_state("Variable winds 10 kt or less.").wind_from_deg is None


@pytest.mark.parametrize(
    ("text", "low", "high"),
    [
        ("Seas 3 to 5 ft.", 3, 5),
        ("Seas around 4 feet with a dominant period of 6 seconds.", 4, 4),
        ("Seas 2 feet or less.", None, 2),
        ("Seas around 2 feet or less.", None, 2),
        ("Seas less than 1 foot.", None, 1),
        ("Seas 3 ft subsiding.", None, 3),
        ("Seas building to 3 ft.", None, 3),
        ("Seas 5 ft building to 10 ft.", 5, 10),
        ("Seas 10 ft subsiding to 5 ft in the afternoon.", 5, 10),
        ("Seas 3 to 5 feet, occasionally to 6 feet with a dominant period of 6 seconds.", 3, 6),
        ("Seas 3 to 5 feet with occasional seas up to 6 feet.", 3, 6),
        ("Waves 2 feet or less building to 8 to 11 feet. Waves occasionally around 14 feet.", None, 14),
        ("Waves 1 ft or less, then around 2 ft after midnight.", None, 2),
        ("Combined seas 9 to 12 ft dominant period 9 seconds...subsiding to 7 to 10 ft.", 7, 12),
        ("Seas NW 6 to 8 ft at 10 seconds.", 6, 8),
        ("Seas 12 ft. SW swell.", 12, 12),
        ("Seas 4 to 5 ft. Wave Detail: E 4 ft at 7 seconds and SE 1 foot at 14 seconds.", 4, 5),
    ],
)
def test_seas_are_totals(text: str, low: float | None, high: float) -> None:
    state = only_state(text)
    assert state.sea_m == feet(low, high)
    assert state.sea_whole


@pytest.mark.parametrize(
    ("text", "parts", "whole"),
    [
        ("Wind waves 3 to 5 ft. Swell NW 7 to 8 ft at 9 seconds.", (5, 8), True),
        ("Wind waves 3 ft. NW swell 3 to 5 ft...building to 6 ft after midnight.", (3, 6), True),
        ("Wind waves 5 to 8 ft. Mixed swell W 2 ft at 9 seconds and SW 1 ft at 17 seconds.", (8, 2, 1), True),
        ("Wind waves 2 ft or less. W swell 5 ft. S swell 2 ft.", (2, 5, 2), True),
        ("Waves around 4 feet. Northwest swell 3 feet.", (4, 3), True),
        ("Wave detail: E 4 feet at 6 seconds and NW 2 feet at 10 seconds.", (4, 2), True),
        ("Waves N 5 ft at 6 seconds and NW 7 ft at 13 seconds.", (5, 7), True),
        ("Wind waves to 4 feet.", (4,), False),
        ("NW swell 6 ft.", (6,), False),
        ("Wind waves 3 ft. SW swell.", (3,), False),
        ("Wind waves 3 ft. NW swell 2 ft. SW swell.", (3, 2), False),
    ],
)
def test_parts_of_the_sea_add_by_energy(text: str, parts: tuple[float, ...], whole: bool) -> None:
    """Root of the sum of squares, as in the definition of combined seas; a part alone is a lower bound."""
    state = only_state(text)
    assert state.sea_m is not None
    assert state.sea_m.high == pytest.approx(m_from_ft(math.sqrt(sum(part**2 for part in parts))))
    assert state.sea_whole is whole


def test_the_period_is_the_shortest_named() -> None:
    text = "Combined seas 9 to 12 ft dominant period 9 seconds...subsiding to 7 ft dominant period 8 seconds."
    assert only_state(text).period_s == 8.0


@pytest.mark.parametrize(
    ("text", "winds"),
    [
        (
            "Northern portion, N wind 20 kt. Southern portion, N wind 30 kt.",
            {"Northern portion": 20, "Southern portion": 30},
        ),
        (
            "N wind 20 to 25 kt northern portion and N 30 kt southern portion.",
            {"northern portion": 25, "southern portion": 30},
        ),
        (
            "W winds 10 knots west of Long Key...east to 25 knots near South Point.",
            {"west of Long Key": 10, "near South Point": 25},
        ),
        (
            "W wind 25 kt except NW 15 kt N of Cape Grebe.",
            {"": 25, "N of Cape Grebe": 15},
        ),
        (
            "N wind 15 kt...rising to 20 kt. Within 5 nm of Grebe Head southward, N wind 10 kt.",
            {"": 20, "Within 5 nm of Grebe Head southward": 10},
        ),
        (
            "N wind 15 kt. Cape Grebe southward, N wind 20 kt.",
            {"": 15, "Cape Grebe southward": 20},
        ),
        (
            "NE wind 15 kt in the east and 25 kt in the west.",
            {"in the east": 15, "in the west": 25},
        ),
        (
            "N winds 25 kt N of Pt. St. Grebe, and 10 kt S of Pt. St. Grebe.",
            {"N of Pt. St. Grebe": 25, "S of Pt. St. Grebe": 10},
        ),
        (
            "Beyond 20 nm, S winds 20 kt.",
            {"Beyond 20 nm": 20},
        ),
        (
            "N WIND 25 KT NEAR CAPE GREBE. N WIND 10 KT ELSEWHERE.",
            {"NEAR CAPE GREBE": 25, "": 10},
        ),
    ],
)
def test_parts_of_the_zone_keep_their_own_wind(text: str, winds: dict[str, float]) -> None:
    says = read_period(text)
    assert says.not_understood == ()
    assert {area: state.wind_kt.high for area, state in by_area(says).items() if state.wind_kt} == winds


def test_a_sea_excepted_near_the_entrances_is_kept_apart() -> None:
    says = read_period("Seas 6 ft, except 10 ft near ocean entrances.")
    assert {area: state.sea_m for area, state in by_area(says).items()} == {
        "": feet(6, 6),
        "near ocean entrances": feet(10, 10),
    }


@pytest.mark.parametrize(
    ("text", "pct"),
    [
        ("Sunny.", 0),
        ("A slight chance of showers and thunderstorms.", 24),
        ("Isolated thunderstorms.", 24),
        ("A chance of showers and tstms.", 54),
        ("Scattered showers and thunderstorms.", 54),
        ("Showers and thunderstorms likely.", 74),
        ("Numerous showers and thunderstorms.", 74),
        ("Showers and thunderstorms.", 100),
        ("Showers, tstms.", 100),
        ("Widespread thunderstorms.", 100),
        ("A chance of showers with a slight chance of tstms.", 24),
        ("Showers likely with a chance of tstms.", 54),
        ("A chance of thunderstorms in the evening, then thunderstorms likely after midnight.", 74),
        ("A 40 percent chance of thunderstorms.", 40),
        ("Thunderstorms possible.", 54),
        ("Some thunderstorms may be severe.", 100),
    ],
)
def test_words_for_thunder_stand_for_the_upper_end_of_their_chance(text: str, pct: float) -> None:
    """NWS probability words (memory)."""
    assert read_period("N winds 10 kt. Seas 1 ft. " + text).thunder_pct == pct


def test_a_remark_on_storms_is_told_and_names_no_thunder_of_its_own() -> None:
    says = read_period("Winds and seas higher in and near thunderstorms. N winds 10 kt.")
    assert says.not_understood == ()
    assert says.thunder_pct == 0


@pytest.mark.parametrize(
    ("text", "nmi"),
    [
        ("Rain.", None),
        ("Areas of fog.", 0.5),
        ("Patchy dense fog.", 0.25),
        ("Fog and freezing fog.", 0.5),
        ("Vsby 1 to 3 NM.", 1.0),
        ("Visibility 2 nautical miles.", 2.0),
        ("Vsby 1 to 3 NM, decreasing to 1 NM or less in the afternoon.", 0.25),
        ("A chance of snow with vsby 1 to 3 NM.", 1.0),
        ("Vsby 1/4 NM or less.", 0.25),
        ("Patchy fog. Visibility less than 1 mile.", 0.25),
    ],
)
def test_visibility_is_the_lower_end(text: str, nmi: float | None) -> None:
    says = read_period("N winds 10 kt. " + text)
    assert says.not_understood == ()
    assert says.visibility_nm == nmi


@pytest.mark.parametrize(
    ("text", "chop"),
    [
        ("Protected waters choppy.", "choppy"),
        ("Protected waters a moderate chop.", "a moderate chop"),
        ("Bay and inland waters a light chop.", "a light chop"),
        ("Bay waters smooth, becoming smooth to a light chop.", "smooth; a light chop"),
        ("Intracoastal waters mostly smooth.", "smooth"),
        ("Lake waters very rough.", "very rough"),
        ("Inlets choppy.", "choppy"),
        ("Waves light chop.", "a light chop"),
        ("BAY WATERS CHOPPY INCREASING TO ROUGH.", "choppy; rough"),
    ],
)
def test_words_for_chop_are_kept_as_words(text: str, chop: str) -> None:
    says = read_period("N winds 10 kt. " + text)
    assert says.not_understood == ()
    assert says.chop == chop


@pytest.mark.parametrize(
    "text", ["A Small Craft Advisory may be needed.", "Freezing spray.", "Heavy freezing spray."]
)
def test_outlooks_are_told_and_bar_nothing(text: str) -> None:
    says = read_period("N winds 10 kt. " + text)
    assert says.not_understood == ()
    assert says.outlooks == (text.rstrip("."),)


@pytest.mark.parametrize(
    "said",
    [
        "A Small Craft Advisory may be needed",
        "Small Craft Advisory conditions likely tonight",
        "Gale Watch possible",
        "A Gale Warning could be issued, or a Storm Watch may be needed",
    ],
)
def test_an_official_event_that_may_come_is_an_outlook(said: str) -> None:
    says = read_period(f"N winds 10 kt. {said}. Seas 2 ft.")
    assert (says.not_understood, says.outlooks) == ((), (said,))


@pytest.mark.parametrize(
    ("text", "thunder_pct"),
    [("Frequent lightning.", 100), ("A chance of lightning.", 54), ("Rain with lightning possible.", 54)],
)
def test_lightning_is_thunder(text: str, thunder_pct: float) -> None:
    says = read_period(f"N winds 10 kt. Seas 1 ft. {text}")
    assert (says.not_understood, says.thunder_pct) == ((), thunder_pct)


@pytest.mark.parametrize("text", ["A passing squall.", "Showers and a brief squall.", "Squalls."])
def test_a_squall_has_a_wind_that_nobody_tells(text: str) -> None:
    says = read_period(f"N winds 10 kt. Seas 1 ft. {text}")
    assert says.not_understood != ()
    assert says.thunder_pct is None


@pytest.mark.parametrize(
    "text", ["Dense smoke.", "Areas of thick haze.", "Dense fog.", "Patchy dense smoke and fog."]
)
def test_what_veils_the_waters_densely_is_dense_fog(text: str) -> None:
    says = read_period(f"N winds 10 kt. Seas 1 ft. {text}")
    assert (says.not_understood, says.visibility_nm) == ((), 0.25)


OFFICIAL = [
    "Gale warning in effect",
    "GALE WARNING IN EFFECT",
    "Small Craft Advisory",
    "A Small Craft Advisory is in effect until noon",
    "Small Craft Advisory conditions",
    "Small Craft Advisory conditions expected",
    "Small Craft Advisory may remain",
    "A Small Craft Advisory may be needed, Gale Warning tonight",
    "Hurricane warning conditions",
    "Tropical storm watch",
    "Gale watches today",
    "Dense fog advisory",
    "Storm warning for the waters, some of the thunderstorms may produce gusty winds",
    "Thunderstorms may produce gusts, special marine warning",
    "Freezing spray advisory",
    "SCA in effect",
    "Marine Weather Statement",
    "Hazardous seas warning",
]


@pytest.mark.parametrize(
    "before", ["", "N winds 10 kt. ", "N winds 10 kt. Seas 2 ft. ", "N winds 10 kt, ", "N winds 10 kt "]
)
@pytest.mark.parametrize(
    "after", [". Seas 2 ft.", ", N winds 10 kt.", "...N winds 10 kt.", " N winds 10 kt.", "."]
)
@pytest.mark.parametrize("said", OFFICIAL)
def test_an_official_event_within_a_period_is_never_passed_over(said: str, before: str, after: str) -> None:
    assert read_period(f"{before}{said}{after}").not_understood != ()


@pytest.mark.parametrize("lead", ["in", "near", "for", "over", "around"])
def test_an_official_event_is_never_taken_for_the_name_of_a_place(lead: str) -> None:
    for said in ("Small Craft Advisory", "Gale Warning Waters", "Watch Island", "SCA"):
        assert read_period(f"N winds 10 kt {lead} {said}. Seas 2 ft.").not_understood != (), said


@pytest.mark.parametrize(
    "text",
    [
        "Less than 2 ft.",
        "Winds diminishing to 10 kt.",
        "Seas subsiding to 3 ft.",
        "Winds becoming SW 10 kt.",
        "N winds 10 kt increasing.",
        "Seas 3 to 5 feet and building.",
        "S winds 15 kt becoming stronger.",
        "Light to moderate winds.",
        "Hurricane force winds.",
        "Gales 20 kt.",
        "Variable winds.",
        "Seas calm.",
        "Seas rough.",
        "Heavy seas.",
        "N winds 10 kt or more.",
        "N winds over 20 kt.",
        "Gusty winds.",
        "N winds 2 5 kt.",
        "N winds 15 to 2 kt.",
        "N winds 2.5 kt.",
        "N winds 2/5 kt.",
        "N winds 2%5 kt.",
        "N winds 1-5 kt.",
        "N winds 10 to 15.",
        "N winds 1o kt.",
        "N winds 10 kt. Seas 3 feat.",
        "N winds 10 kt. Sea building.",
        "N winds 10 kt 20 kt.",
        "Mixed swell W 2 ft at 9 seconds and SW at 17 seconds.",
        "Seas 3 ft at 90 seconds.",
        "Seas 3000 ft.",
        "N winds 10 kt. Waterlogged.",
        "N winds 10 kt. Increasing.",
        "N winds 5 nm.",
        "N winds 10 kt. TONIGHT...N winds 30 kt.",
        "N winds 10 kt 5 nm.",
    ],
)
def test_what_is_not_wholly_understood_is_owned_up_to(text: str) -> None:
    says = read_period(text)
    assert says.not_understood != ()
    assert says.thunder_pct is None


def test_what_is_left_over_is_quoted_as_it_stood() -> None:
    says = read_period("N winds 10 kt and Quite Blustery off Yonder. Seas 1 ft 7.")
    assert says.not_understood == ("Quite Blustery", "1 ft 7")


@pytest.mark.parametrize(
    "text", ["SE winds ,5 kt. Seas 2 ft.", "S winds 10 kt. Seas S2 ft.", "S winds 1,5 kt. Seas 2 ft."]
)
def test_figures_stuck_to_a_letter_or_comma_are_not_understood(text: str) -> None:
    """A byte before them was damaged, and may have been a figure."""
    assert read_period(text).not_understood
