"""Every code, fault and quantity has words, and numbers are told so that they can't mislead."""

from __future__ import annotations

import re
from dataclasses import fields
from datetime import UTC, date, datetime, time, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scenes import DAY, ZONE, est
from soakbell.letters.figures import QUANTITY, bare_figure, figure, limit_words, margin_words, past_limit_short
from soakbell.letters.times import HarborTimes, age_words, minutes_words, soak_words
from soakbell.letters.words import (
    CODES,
    DATA_CODES,
    DAY_STATE_WORDS,
    FAULT_WORDS,
    SOURCE_NAMES,
    Teller,
    source_words,
)
from soakbell.planning.call import DayState, Reason, SourceLine
from soakbell.sea.limits import Limits
from soakbell.sea.sources import QUANTITIES, FaultCode, SourceKind

TIMES = HarborTimes(ZONE, DAY)

SAMPLES = {
    "over_limit": {
        "quantity": "wind_kt",
        "value": 22.0,
        "limit": 15.0,
        "at": est(9),
        "worst_at": est(10),
        "place": "Outer Bar",
    },
    "warning": {"event": "Gale Warning", "starts_at": est(7), "ends_at": est(19), "zones": ("GMZ730", "GMZ755")},
    "headline": {"text": "SMALL CRAFT ADVISORY IN EFFECT UNTIL 7 PM EST", "zone": "GMZ730"},
    "grid_hazard": {"event": "Dense Fog Advisory", "starts_at": None, "ends_at": est(9), "place": "Ledge"},
    "unclear": {"place": "Ledge", "at": est(8), "phrase": "GALES LIKELY SOMEWHERE"},
    "source_fault": {"kind": "zone text", "key": "GMZ730", "code": "stale", "detail": "nothing newer was sent"},
    "contradicted": {
        "quantity": "sea_m",
        "place": "Ledge",
        "at": est(10),
        "low": 0.6096,
        "low_source": "grid",
        "high": 1.524,
        "high_source": "zone text",
        "most": 0.6,
    },
    "not_known": {"quantity": "sea_m", "place": "Ledge", "at": est(9), "source": "zone text"},
    "warnings_not_known": {"place": "Ledge"},
    "too_short": {"needed_min": 300.0, "longest_min": 45.0},
    "stale_by_then": {"fresh_until": est(6), "first_light": est(6, 47)},
    "left_for_later": {"strings": ("Ledge", "The Hump")},
    "left_out_there": {"strings": ("Ledge", "The Hump")},
    "deck_full": {"deck_traps": 40, "string": "Outer Bar", "traps": 16, "of": 36, "strings": ("Ledge",)},
    "hours_full": {"string": "Outer Bar", "traps": 16, "of": 36},
    "take_up_barred": {"strings": ("Ledge",)},
    "take_up_only": {
        "last_harvest": date(2027, 5, 1),
        "deadline": date(2027, 5, 6),
        "rule": "harvest ended 1 May 2027; traps out of the water by 6 May 2027",
        "source": "an invented rule",
        "deck_traps": 80,
    },
    "ask_authority": {"authority": "the invented commission"},
    "barred_by_skipper": {"strings": ()},
    "pinned_by_skipper": {"strings": ("Ledge",)},
    "pin_not_met": {"strings": ("Ledge", "The Hump")},
    "later_not_fit": {
        "last_departure_at": est(7, 40),
        "margin_h": 2.0,
        "code": "over_limit",
        "values": {
            "quantity": "gust_kt",
            "value": 22.0,
            "limit": 20.0,
            "at": est(14),
            "worst_at": est(14),
            "place": "Outer Bay",
        },
    },
    "later_too_old": {"last_departure_at": est(10, 15), "fresh_until": est(10, 25), "source": "warnings GMZ730"},
    "later_not_legal": {"last_departure_at": est(13), "haul_to": est(17, 37)},
    "later_dark": {"last_departure_at": est(13), "home_by": est(18, 4)},
    "out_of_season": {"rule": "harvest ended 1 May 2027", "source": "68B-13.005"},
    "nothing_ripe": {"oldest_string": "Ledge", "oldest_soak_h": 50.5, "floor_h": 96.0},
    "nothing_set": {},
    "no_sunrise": {"state": "the sun stays below the horizon"},
    "trip_no_longer_fits": {"leaves_at": est(7, 10)},
    "moved_out_of_area": {"string": "Ledge", "area": "Outer Bay", "away_nmi": 18.24, "most_nmi": 15.0},
    "clock": {"detail": "it stands before the newest row kept"},
    "failed": {"detail": "the database could not be read"},
}

EXPECTED = {
    "over_limit": (
        "Wind 22 kt at 10:00 at Outer Bar, 7 kt over the limit of 15 kt, over it from 09:00 on.",
        "wind 22 kt over 15",
    ),
    "warning": ("Gale Warning for GMZ730 and GMZ755, from 07:00 to 19:00.", "Gale Warning"),
    "grid_hazard": (
        'The grid forecast sets "Dense Fog Advisory" at Ledge, already begun, to 09:00.',
        "Dense Fog Advisory",
    ),
    "contradicted": (
        "Seas at Ledge at 10:00: grid forecast says 2 ft (0.6 m), zone forecast says 5 ft (1.5 m). "
        "They may differ by 2 ft (0.6 m); the worse of both is used.",
        "sources differ on seas, 2 or 5 ft",
    ),
    "too_short": ("The trip needs 5 h; the longest stretch of fit hours is 45 min.", "only 45 min of fit hours"),
    "nothing_ripe": (
        "No string has soaked long enough: the oldest, Ledge, has 2 days 2 h of the 4 days it should have.",
        "no string has soaked long enough",
    ),
    "barred_by_skipper": (
        "The skipper barred this day in the log, whatever the weather.",
        "barred by the skipper",
    ),
    "pinned_by_skipper": (
        "Taken in before others, since the skipper pinned it for this day: Ledge.",
        "Ledge pinned",
    ),
    "pin_not_met": (
        "The skipper pinned Ledge and The Hump for this day, but no trip takes that in: "
        "a pin counts only for traps that fish and aren't barred, in fit hours.",
        "Ledge and The Hump pinned, not met",
    ),
    "nothing_set": ("No trap is fishing, so there is nothing to pull.", "no traps fishing"),
    "later_not_fit": (
        "Leave no later than 07:40: a later trip, or the 2 h after it that must be fit too, would meet this. "
        "Gusts 22 kt at 14:00 at Outer Bay, 2 kt over the limit of 20 kt.",
        "leave no later than 07:40",
    ),
    "later_too_old": (
        "Leave no later than 10:15: at 10:25 the official warnings GMZ730 will be too old to go by.",
        "leave no later than 10:15",
    ),
    "later_not_legal": (
        "Leave no later than 13:00: a later trip would still be hauling when the legal hours end at 17:37.",
        "leave no later than 13:00",
    ),
    "later_dark": (
        "Leave no later than 13:00: a later trip would not be home when the twilight ends at 18:04.",
        "leave no later than 13:00",
    ),
    "moved_out_of_area": (
        "Ledge was moved to ground 18.2 nmi from the point that Outer Bay is forecast for; past 15 nmi that "
        "forecast is not used for it. Name another forecast area for Ledge in the settings.",
        "Ledge lies outside its forecast area",
    ),
}


def codes_in_docstring() -> set[str]:
    table = (Reason.__doc__ or "").split("Codes and their values:")[1]
    return set(re.findall(r"^        (\w+)(?:\s|$)", table, re.MULTILINE))


def test_every_code_that_a_call_may_carry_has_words() -> None:
    assert codes_in_docstring() == CODES == set(SAMPLES)


@pytest.mark.parametrize("code", sorted(SAMPLES))
def test_a_reason_is_told_as_a_sentence_and_in_short(code: str) -> None:
    told = Teller(TIMES).tell(Reason(code, SAMPLES[code]))
    assert told.sentence[0].isupper() or told.sentence[0] == '"'
    assert told.sentence.endswith((".", '"'))
    assert told.short
    assert not told.short.endswith(".")
    assert "None" not in told.sentence + told.short
    if code in EXPECTED:
        assert (told.sentence, told.short) == EXPECTED[code]


def test_a_bar_of_strings_and_a_pin_of_a_day_are_told_as_such() -> None:
    bar = Teller(TIMES).tell(Reason("barred_by_skipper", {"strings": ("Ledge",)}))
    assert (bar.sentence, bar.short) == (
        "Ripe, but barred for this day by the skipper: Ledge.",
        "Ledge barred by the skipper",
    )
    pin = Teller(TIMES).tell(Reason("pin_not_met", {"strings": ()}))
    assert pin.sentence.startswith("The skipper pinned this day, but no trip can be made:")
    assert pin.short == "a trip pinned, not met"


def test_a_code_without_words_is_an_error_not_a_gap() -> None:
    with pytest.raises(ValueError, match="no words for the reason 'moonlight'"):
        Teller(TIMES).tell(Reason("moonlight"))


@pytest.mark.parametrize("code", [c for c, v in SAMPLES.items() if v])
def test_a_reason_that_lost_a_value_is_an_error_not_a_gap(code: str) -> None:
    for name in SAMPLES[code]:
        values = {k: v for k, v in SAMPLES[code].items() if k != name}
        with pytest.raises((ValueError, KeyError), match=name):
            Teller(TIMES).tell(Reason(code, values))


def test_a_stale_source_is_told_with_its_age() -> None:
    line = SourceLine(SourceKind.ZONE_TEXT, "GMZ730", est(9, 26, day=7), est(4), 19.07, 13.0, FaultCode.STALE, "")
    teller = Teller(TIMES, (line,))
    assert teller.tell(Reason("source_fault", SAMPLES["source_fault"])).short == "zone forecast is 19 h 5 min old"
    lacking = teller.tell(Reason("not_known", SAMPLES["not_known"]))
    assert lacking.short == "zone forecast is 19 h 5 min old"
    assert lacking.sentence.startswith(
        "Zone forecast GMZ730 is 19 h 5 min old, too old to be used: seas at Ledge not known"
    )


def test_a_whole_sea_below_a_part_of_it_is_told_as_such() -> None:
    told = Teller(TIMES).tell(Reason("contradicted", {**SAMPLES["contradicted"], "most": 0.0}))
    assert told.sentence == (
        "Seas at Ledge at 10:00: grid forecast says 2 ft (0.6 m), zone forecast says 5 ft (1.5 m). "
        "The whole can't lie that far below a part of it; the worse of both is used."
    )


def test_warnings_that_could_not_be_fetched_are_told_as_such() -> None:
    line = SourceLine(SourceKind.WARNINGS, "GMZ730", None, est(4), None, 4.0, FaultCode.UNREACHABLE, "503")
    told = Teller(TIMES, (line,)).tell(Reason("warnings_not_known", {"place": "Ledge"}))
    assert told.short == "official warnings could not be fetched"
    assert "Whether an official warning is in force at Ledge is not known." in told.sentence


def test_the_same_at_several_places_is_told_once_by_the_worst() -> None:
    near, far = SAMPLES["over_limit"], {**SAMPLES["over_limit"], "value": 24.0, "place": "Ledge"}
    (sentence,) = Teller(TIMES).tell_all((Reason("over_limit", near), Reason("over_limit", far)))
    assert "24 kt" in sentence
    assert "at Ledge" in sentence
    assert sentence.endswith("Past it also at Outer Bar.")


def test_what_one_source_lacks_is_told_in_one_sentence() -> None:
    lacking = [
        Reason("not_known", {"quantity": q, "place": p, "at": est(h), "source": "zone text"})
        for q, p, h in (("wind_kt", "Ledge", 9), ("sea_m", "Ledge", 8), ("sea_m", "Outer Bar", 10))
    ]
    (sentence,) = Teller(TIMES).tell_all(tuple(lacking))
    assert sentence.startswith("Wind and seas at Ledge and Outer Bar not known for 08:00 from the zone forecast.")


def test_a_fault_that_has_its_own_sentence_is_not_told_again() -> None:
    line = SourceLine(SourceKind.ZONE_TEXT, "GMZ730", est(9, 26, day=7), est(4), 19.07, 13.0, FaultCode.STALE, "")
    reasons = (Reason("source_fault", SAMPLES["source_fault"]), Reason("not_known", SAMPLES["not_known"]))
    first, second = Teller(TIMES, (line,)).tell_all(reasons)
    assert first == "Zone forecast GMZ730 is 19 h 5 min old, too old to be used. Nothing newer was sent."
    assert second == (
        "Seas at Ledge not known for 09:00 from the zone forecast. "
        "Hours that are not known or not understood are never used."
    )


def test_a_phrase_not_understood_is_quoted_from_its_source_by_the_name_that_is_read_elsewhere() -> None:
    values = {"place": "Ledge", "at": est(8), "phrase": "zone text: rough"}
    (told,) = Teller(TIMES).tell_all((Reason("unclear", values),))
    assert told == (
        'Not understood in the zone forecast at Ledge at 08:00: "rough". '
        "Hours that are not known or not understood are never used."
    )
    assert Teller(TIMES).tell(Reason("unclear", values)).short == "zone forecast at Ledge not understood"


def test_a_called_trip_that_falls_by_a_bar_is_not_told_as_one_of_the_weather() -> None:
    told = Teller(TIMES).tell(Reason("trip_no_longer_fits", {"barred": ("Nine Foot", "Ledge")}))
    assert told.sentence == "The skipper barred Nine Foot and Ledge since, so the trip that was called is off."
    assert told.short == "Nine Foot and Ledge barred since"


def test_that_unknown_hours_are_never_used_is_said_once() -> None:
    reasons = (
        Reason("not_known", SAMPLES["not_known"]),
        Reason("unclear", SAMPLES["unclear"]),
        Reason("not_known", {**SAMPLES["not_known"], "source": "grid"}),
    )
    told = Teller(TIMES).tell_all(reasons)
    assert ["never used" in sentence for sentence in told] == [False, False, True]


def test_different_limits_are_never_told_as_one() -> None:
    near, far = SAMPLES["over_limit"], {**SAMPLES["over_limit"], "limit": 12.0, "place": "Ledge"}
    assert len(Teller(TIMES).tell_all((Reason("over_limit", near), Reason("over_limit", far)))) == 2


def test_a_no_call_is_headed_by_what_is_not_known() -> None:
    reasons = (Reason("over_limit", SAMPLES["over_limit"]), Reason("not_known", SAMPLES["not_known"]))
    assert Teller(TIMES).deciding(reasons, known=False).code == "not_known"
    assert Teller(TIMES).deciding(reasons, known=True).code == "over_limit"
    assert Teller(TIMES).deciding(reasons[:1], known=False).code == "over_limit"
    aside = Reason("source_fault", {**SAMPLES["source_fault"], "kind": "point"})
    assert Teller(TIMES).deciding((aside, *reasons), known=False).code == "not_known"
    assert DATA_CODES <= CODES


def test_a_fault_of_a_station_is_told_of_its_report() -> None:
    line = SourceLine(SourceKind.OBSERVATIONS, "42036", est(0), est(4), 4.5, 4.0, FaultCode.STALE, "")
    told = Teller(TIMES, (line,)).tell(
        Reason("source_fault", {"kind": "observations", "key": "42036", "code": "stale", "detail": ""})
    )
    assert told.sentence == "Report of station 42036 is 4 h 30 min old, too old to be used."
    assert told.short == "station report is 4 h 30 min old"


def test_every_fault_kind_state_and_quantity_has_words() -> None:
    assert set(FAULT_WORDS) == set(FaultCode)
    assert set(SOURCE_NAMES) == set(SourceKind)
    assert set(DAY_STATE_WORDS) == set(DayState)
    assert set(QUANTITY) == set(QUANTITIES) | {f.name for f in fields(Limits)}
    assert source_words("zone text GMZ730") == "zone forecast GMZ730"
    assert source_words("a buoy nearby") == "a buoy nearby"


def test_figures_carry_their_units() -> None:
    # 0.9144 m = 3 ft exactly; 0.8 / 0.3048 = 2.62 ft
    assert figure("sea_m", 0.9144) == "3 ft (0.9 m)"
    assert figure("sea_m", 0.8) == "2.6 ft (0.8 m)"
    assert figure("wind_kt", 22.0) == "22 kt"
    assert figure("thunder_pct", 30.0) == "30%"
    assert figure("visibility_nm", 0.5) == "0.5 nmi"
    assert figure("steepness", 0.0451) == "0.045"
    assert figure("wind_kt", -0.0) == "0 kt"
    assert bare_figure("sea_m", 0.9144) == "3"
    assert limit_words("visibility_nm", 2.0) == "visibility at least 2 nmi"
    assert margin_words("visibility_nm", 0.5) == "0.5 nmi over the limit"
    assert margin_words("wind_kt", -7.0) == "7 kt over the limit"
    assert margin_words("wind_kt", 0.0) == "exactly at the limit"


@pytest.mark.parametrize("value", [float("nan"), float("inf"), None, "22", True])
def test_what_is_not_a_number_is_never_written_as_one(value: object) -> None:
    with pytest.raises(ValueError, match="must not be written as a number"):
        figure("wind_kt", value)


def test_a_quantity_without_words_is_an_error() -> None:
    with pytest.raises(ValueError, match="no words for the quantity 'moon'"):
        figure("moon", 1.0)


@given(st.floats(0.1, 60), st.floats(0.1, 60))
def test_a_value_never_looks_equal_to_a_limit_that_it_differs_from(value: float, limit: float) -> None:
    words = past_limit_short("wind_kt", value, limit)
    shown = words.removeprefix("wind ").split(" kt ")[0]
    assert ("over" in words) == (value > limit)
    if abs(value - limit) > 1e-4:
        assert shown != words.rsplit(" ", 1)[1]


def test_just_over_the_limit_is_shown_as_over() -> None:
    assert past_limit_short("wind_kt", 15.04, 15.0) == "wind 15.04 kt over 15"


def test_soaks_are_rounded_down_to_whole_hours() -> None:
    assert [soak_words(h) for h in (0.9, 23.9, 24.0, 45.9, 48.0, 123.5)] == [
        "0 h",
        "23 h",
        "1 day",
        "1 day 21 h",
        "2 days",
        "5 days 3 h",
    ]


def test_ages_are_rounded_up_and_never_look_fresher_than_they_are() -> None:
    """A1 of the law: 04:25 is 2 h 35 min before 07:00, not 2 h."""
    age_h = (est(7) - est(4, 25)) / timedelta(hours=1)
    assert age_words(age_h) == "2 h 35 min"
    assert [age_words(h) for h in (0.42, 1.0, 19.9, 23.999, 24.1, 95.9, 96.1)] == [
        "26 min",
        "1 h",
        "19 h 54 min",
        "24 h",
        "25 h",
        "4 days",
        "4 days 1 h",
    ]


@given(st.floats(0, 1000))
def test_no_age_is_told_as_less_than_it_is(hours: float) -> None:
    told = re.fullmatch(r"(?:(\d+) days?)? ?(?:(\d+) h)? ?(?:(\d+) min)?", age_words(hours))
    assert told is not None
    days, whole, minutes = (int(part or 0) for part in told.groups())
    assert days * 24 + whole + minutes / 60 >= hours - 1e-6


def test_stretches_of_a_trip_are_told_in_hours_and_minutes() -> None:
    assert [minutes_words(m) for m in (45, 60, 330)] == ["45 min", "1 h", "5 h 30 min"]


def test_times_are_the_harbors_and_another_day_is_named() -> None:
    assert TIMES.page_zone == "EST (UTC-5)"
    assert TIMES.hour(est(7, 10)) == "07:10"
    assert TIMES.zoned(est(7, 10)) == "07:10 EST"
    assert TIMES.hour(est(0, 40, day=9)) == "Wed 9 Dec 00:40"
    assert TIMES.dated(est(7, 10)) == "Tue 8 Dec 07:10"
    assert TIMES.span(est(20), est(0, day=9)) == "20:00 to midnight"
    assert TIMES.dated(est(0, day=9)) == "Tue 8 Dec 24:00"
    assert TIMES.span_of_day(est(7, day=10), est(12, day=10)) == "07:00 to 12:00"
    with pytest.raises(ValueError, match="no zone"):
        TIMES.hour(datetime(2026, 12, 8, 7))  # noqa: DTZ001


@pytest.mark.parametrize(
    ("ends_at", "end"),
    [
        (est(22), "Tue 8 Dec 22:00"),
        (est(0, day=9), "Tue 8 Dec 24:00"),
        (est(23, day=7), "Mon 7 Dec 23:00"),
        (est(6, day=9), "Wed 9 Dec 06:00"),
    ],
)
def test_an_end_after_a_begin_on_another_day_names_its_day(ends_at: datetime, end: str) -> None:
    """ "Mon 7 Dec 15:25 to 22:00" would be read as Monday 22:00."""
    begins_at = est(15, 25, day=7)
    assert TIMES.span(begins_at, ends_at) == f"Mon 7 Dec 15:25 to {end}"
    values = {"event": "Small Craft Advisory", "starts_at": begins_at, "ends_at": ends_at, "zones": ("GMZ730",)}
    told = Teller(TIMES).tell(Reason("warning", values)).sentence
    assert told == f"Small Craft Advisory for GMZ730, from Mon 7 Dec 15:25 to {end}."


def test_both_passes_of_the_autumn_hour_can_be_told_apart() -> None:
    """F9: 1 November 2026 has 25 hours in New York."""
    autumn = HarborTimes(ZONE, date(2026, 11, 1))
    first, second = datetime(2026, 11, 1, 5, 30, tzinfo=UTC), datetime(2026, 11, 1, 6, 30, tzinfo=UTC)
    assert (autumn.hour(first), autumn.hour(second)) == ("01:30 EDT", "01:30")
    assert autumn.abbreviation == "EST"
    assert len(list(autumn.hours_of_day())) == 25


def test_a_spring_day_has_23_hours() -> None:
    spring = HarborTimes(ZONE, date(2026, 3, 8))
    assert len(list(spring.hours_of_day())) == 23
    assert spring.hour(datetime(2026, 3, 8, 6, 30, tzinfo=UTC)) == "01:30 EST"


@given(
    st.sampled_from(["America/New_York", "America/St_Johns", "Australia/Lord_Howe", "Asia/Kathmandu"]),
    st.dates(date(2026, 1, 1), date(2027, 12, 31)),
)
def test_the_hours_of_any_day_in_any_zone_fill_it(zone: str, day: date) -> None:
    times = HarborTimes(zone, day)
    hours = list(times.hours_of_day())
    begin, end = times.midnights()
    assert times.local(begin).time() == time(0)
    assert timedelta(0) < end - hours[-1] <= timedelta(hours=1)
    assert all(times.local(at).date() == day for at in hours)
