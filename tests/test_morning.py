"""From all that is on hand to the call of one morning. All weather is invented, save where captured."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from law.captured import grid_on, labels_after, text_on
from law.world import (
    INNER_GRID,
    NEW_YORK,
    NOW,
    OUTER_GRID,
    STATION_REPORT,
    TEXT,
    WARNINGS,
    WITH_STATION,
    World,
    alerts,
    edited,
    labels_for,
    said,
    set_days_ago,
    settings_from,
    settings_with,
    stamp,
    station,
    warning,
    world,
)
from soakbell.gear.log import BroughtAshore, LogEntry, Moved
from soakbell.gear.strings import Mark
from soakbell.morning import day_rules, failed_call, look_again, make_call
from soakbell.planning.call import Call, CallWord, DayState
from soakbell.planning.distances import distance_nmi
from soakbell.sea.sources import FaultCode, SourceKind
from soakbell.survey import ReplyKey

HOUR = timedelta(hours=1)


def utc(hour: int, minute: int = 0) -> datetime:
    return datetime(2026, 12, 8, hour, minute, tzinfo=NOW.tzinfo)


# ---- NO CALL is a third state


@pytest.mark.parametrize("key", [TEXT, INNER_GRID, OUTER_GRID, WARNINGS], ids=str)
def test_a_source_that_is_gone_at_the_letter_hour_is_no_call_that_names_it_first(key: ReplyKey) -> None:
    """A2: never a mild WAIT. At 04:30 nobody may leave yet, and the day isn't ruled out."""
    call = world().with_reply(key).call().call
    assert (call.word, call.window) == (CallWord.NO_CALL, None)
    first = call.reasons[0]
    assert (first.code, first.values["kind"], first.values["key"]) == ("source_fault", *key)


def test_known_wind_over_the_limit_all_day_is_a_wait_even_where_a_source_is_gone() -> None:
    call = world(text_wind_kt=30).with_reply(INNER_GRID).call().call
    assert call.word is CallWord.WAIT
    assert call.reasons[0].code == "over_limit"
    assert "source_fault" in [reason.code for reason in call.reasons]


def test_data_that_will_be_too_old_before_first_light_are_no_call_that_says_so() -> None:
    """A1: the grid is ten hours old at 04:30, but thirteen at 07:15, first light."""
    updated = {"updateTime": stamp(NOW - 10 * HOUR)}
    grid = edited(CALM.replies[INNER_GRID][0], lambda said: said["properties"].update(updated))  # type: ignore[attr-defined]
    call = CALM.with_reply(INNER_GRID, grid).call().call
    assert call.word is CallWord.NO_CALL
    assert [reason.code for reason in call.reasons] == ["stale_by_then"]
    assert call.reasons[0].values["fresh_until"] == NOW + 2 * HOUR


def test_a_departure_lies_before_the_moment_at_which_a_source_goes_stale() -> None:
    """A1: at 15:15 a list of 09:15 is six hours old, which is too old; 15:00 is the last quarter hour before."""
    window = world().with_reply(WARNINGS, alerts(utc(9, 15))).call().call.window
    assert window is not None
    assert window.last_departure_at == utc(15)


def test_a_steepness_limit_without_wave_periods_is_no_call_for_want_of_periods() -> None:
    steep = settings_with(("# more limits", "steepness = 0.05"))
    periods = [(label, "Southeast winds 5 to 10 knots. Seas 1 to 2 feet.") for label in labels_for(NOW - HOUR)]
    call = world(settings=steep, periods=periods).call().call
    assert call.word is CallWord.NO_CALL
    assert [(r.code, r.values["quantity"], r.values["place"]) for r in call.reasons] == [
        ("not_known", "period_s", "Inner Bay")
    ]


# ---- Bad input, one by one: always NO CALL, and the source is named


def without_layer(body: bytes, layer: str) -> bytes:
    return edited(body, lambda said: said["properties"].update({layer: {"values": []}}))  # type: ignore[attr-defined]


CALM = world()
AHEAD = world(now=NOW + 24 * HOUR)
OLD = world(now=NOW - 26 * HOUR)
BAD: list[tuple[str, ReplyKey, bytes, FaultCode]] = [
    ("HTML for JSON", INNER_GRID, b"<html><title>503</title></html>", FaultCode.NOT_UNDERSTOOD),
    ("HTML for a text", TEXT, b"<!doctype html>", FaultCode.NOT_UNDERSTOOD),
    ("HTML for warnings", WARNINGS, b"<html></html>", FaultCode.NOT_UNDERSTOOD),
    ("cut JSON", OUTER_GRID, CALM.replies[OUTER_GRID][0][:-40], FaultCode.NOT_UNDERSTOOD),
    ("cut text", TEXT, CALM.replies[TEXT][0][:900], FaultCode.NOT_UNDERSTOOD),
    ("cut warnings", WARNINGS, CALM.replies[WARNINGS][0][:-1], FaultCode.NOT_UNDERSTOOD),
    ("NaN", INNER_GRID, CALM.replies[INNER_GRID][0].replace(b"12.964", b"NaN"), FaultCode.NOT_UNDERSTOOD),
    ("1e400", INNER_GRID, CALM.replies[INNER_GRID][0].replace(b"12.964", b"1e400"), FaultCode.NOT_UNDERSTOOD),
    ("grid of another place", INNER_GRID, CALM.replies[OUTER_GRID][0], FaultCode.WRONG_PLACE),
    ("text of other waters", TEXT, CALM.replies[TEXT][0].replace(b"GMZ730-", b"GMZ755-"), FaultCode.WRONG_PLACE),
    ("text of the future", TEXT, AHEAD.replies[TEXT][0], FaultCode.FROM_THE_FUTURE),
    ("grid of the future", OUTER_GRID, AHEAD.replies[OUTER_GRID][0], FaultCode.FROM_THE_FUTURE),
    ("warnings of the future", WARNINGS, AHEAD.replies[WARNINGS][0], FaultCode.FROM_THE_FUTURE),
    ("old text", TEXT, OLD.replies[TEXT][0], FaultCode.STALE),
    ("old grid", INNER_GRID, OLD.replies[INNER_GRID][0], FaultCode.STALE),
    ("old warnings", WARNINGS, OLD.replies[WARNINGS][0], FaultCode.STALE),
]


@pytest.mark.parametrize(("key", "body", "code"), [case[1:] for case in BAD], ids=[case[0] for case in BAD])
def test_bad_input_is_no_call_that_names_the_source(key: ReplyKey, body: bytes, code: FaultCode) -> None:
    call = CALM.with_reply(key, body).call().call
    assert (call.word, call.window) == (CallWord.NO_CALL, None)
    faults = {
        (r.values["kind"], r.values["key"]): r.values["code"] for r in call.reasons if r.code == "source_fault"
    }
    assert faults == {key: code}


@pytest.mark.parametrize(
    ("key", "layer", "quantity"),
    [
        (INNER_GRID, "windSpeed", "wind_kt"),
        (INNER_GRID, "windGust", "gust_kt"),
        (OUTER_GRID, "waveHeight", "sea_m"),
    ],
)
def test_an_empty_layer_is_no_call_that_names_the_quantity(key: ReplyKey, layer: str, quantity: str) -> None:
    call = CALM.with_reply(key, without_layer(CALM.replies[key][0], layer)).call().call
    if key == OUTER_GRID:  # Nine Foot lies in the other area, and may be hauled alone
        assert call.word is CallWord.PULL
        assert call.window is not None
        assert [pull.string for pull in call.window.pulls] == ["Nine Foot"]
        return
    assert call.word is CallWord.NO_CALL
    first = call.reasons[0]
    assert (first.code, first.values["source"], first.values["quantity"]) == ("not_known", "grid", quantity)


def test_bad_input_beside_a_storm_is_never_better_than_the_storm() -> None:
    for _, key, body, _ in BAD:
        assert world(text_wind_kt=30, wind_kt=28, gust_kt=40).with_reply(key, body).call().call.word in (
            CallWord.WAIT,
            CallWord.NO_CALL,
        )


def test_words_that_are_not_understood_today_are_no_call_that_quotes_them() -> None:
    periods = [
        (label, said(10, 2, more=" Wibble wobble." if label == "TODAY" else "")) for label in labels_for(NOW)
    ]
    call = world(periods=periods).call().call
    assert call.word is CallWord.NO_CALL
    assert call.reasons[0].code == "unclear"
    assert "Wibble wobble" in str(call.reasons[0].values["phrase"])


# ---- Bars and cautions


def test_a_headline_bars_whatever_the_numbers_say_and_is_quoted() -> None:
    call = world(headlines=["SMALL CRAFT ADVISORY IN EFFECT UNTIL 7 PM"], text_wind_kt=5).call().call
    assert call.word is CallWord.WAIT
    assert call.reasons[0].code == "headline"
    assert "SMALL CRAFT ADVISORY" in str(call.reasons[0].values["text"])


def test_a_hazard_of_the_grid_alone_bars_its_hours_and_leaves_the_others() -> None:
    whole_day = world(hazards=[(utc(10), 20, "SC", "Y")]).call().call
    assert whole_day.word is CallWord.WAIT
    assert whole_day.reasons[0].code == "grid_hazard"
    evening = world(hazards=[(utc(19), 9, "SC", "Y")]).call().call
    assert evening.window is not None
    landing = evening.window.last_departure_at + (evening.window.lands_at - evening.window.leaves_at)
    assert landing + 2 * HOUR <= utc(19)  # the margin of two hours before the forecast breaks


def test_a_caution_and_an_outlook_sentence_are_told_and_do_not_bar() -> None:
    may = " A Small Craft Advisory may be needed."
    periods = [(label, said(10, 2, more=may if label == "TONIGHT" else "")) for label in labels_for(NOW - HOUR)]
    call = world(periods=periods, headlines=["SMALL CRAFT SHOULD EXERCISE CAUTION"]).call().call
    assert call.word is CallWord.PULL
    assert call.cautions_told == (
        "...SMALL CRAFT SHOULD EXERCISE CAUTION...",
        "Tonight: A Small Craft Advisory may be needed",
    )


def test_an_exercise_message_is_no_warning_and_a_minor_one_is() -> None:
    """F8: never filtered by severity; a status other than Actual isn't used."""
    all_day = {"sent_at": NOW - HOUR, "onset_at": NOW, "ends_at": NOW + 14 * HOUR}
    test_message = world(warnings=[warning("e1", **all_day, status="Test")])  # type: ignore[arg-type]
    assert test_message.call().call.word is CallWord.PULL
    minor = world(warnings=[warning("e2", **all_day, severity="Minor")]).call().call  # type: ignore[arg-type]
    assert minor.word is CallWord.WAIT
    assert [w.id for w in minor.warnings] == ["e2"]


# ---- The station


@pytest.mark.parametrize(
    ("rows", "word", "code"),
    [
        ([(10, 5.0, 7.0, 0.5)], CallWord.PULL, None),
        ([], CallWord.NO_CALL, FaultCode.NOT_UNDERSTOOD),
        ([(200, 5.0, 7.0, 0.5)], CallWord.NO_CALL, FaultCode.STALE),
        ([(10, 5.0, 7.0, None)], CallWord.NO_CALL, FaultCode.NO_OPINION),
        ([(10, None, None, 0.5)], CallWord.NO_CALL, FaultCode.NO_OPINION),
        ([(10, 8.0, 9.0, 0.5)], CallWord.WAIT, None),  # 15.55 kt, over 15 for the six hours it is held against
    ],
    ids=["fresh", "no rows", "stale", "waves are MM", "winds are MM", "over the limit"],
)
def test_a_station_once_named_must_report_and_may_only_tighten(
    rows: list[tuple[int, float | None, float | None, float | None]], word: CallWord, code: FaultCode | None
) -> None:
    """F10."""
    body = station([(NOW - timedelta(minutes=ago), *values) for ago, *values in rows])
    call = world(settings=settings_with(WITH_STATION)).with_reply(STATION_REPORT, body).call().call
    assert call.word is word
    assert [r.values["code"] for r in call.reasons if r.code == "source_fault"] == ([code] if code else [])
    if word is CallWord.WAIT:
        assert (call.reasons[0].code, call.reasons[0].values["quantity"]) == ("over_limit", "wind_kt")


def test_a_calm_station_opens_no_hour_that_the_forecast_closes() -> None:
    """A4: a further opinion never lifts what the official ones say."""
    calm = world(settings=settings_with(WITH_STATION), text_wind_kt=20, measured=(0.5, 1.0, 0.1)).call().call
    assert calm.word is not CallWord.PULL


# ---- What the letter is made from


def test_the_days_ahead_are_fit_not_fit_or_not_known() -> None:
    labels = labels_for(NOW - HOUR)
    wind = {"WEDNESDAY": 22, "THURSDAY": 8}
    periods = [(label, said(wind.get(label, 10), 2)) for label in labels[:8]]  # to Friday night
    call = world(periods=periods).call().call
    states = {day.day.day: day.state for day in call.outlook}
    assert states == {
        8: DayState.FIT,
        9: DayState.NOT_FIT,
        10: DayState.FIT,
        11: DayState.FIT,
        12: DayState.NOT_KNOWN,
        13: DayState.NOT_KNOWN,
        14: DayState.NOT_KNOWN,
    }
    wednesday = call.outlook[1]
    assert wednesday.binding is not None
    assert (wednesday.binding.quantity, wednesday.binding.value) == ("wind_kt", 22)
    assert call.outlook[0].window == call.window


def test_an_hour_that_one_area_does_not_know_is_a_hole_in_the_chart() -> None:
    """The chart shows the worst of all areas, and a hole in one of them could be the worst."""
    call = CALM.call().call
    assert call.hours.loc[pd.Timestamp(utc(14)), ["wind_kt", "gust_kt", "sea_m"]].notna().all()

    def lose_an_hour(said: dict[str, object]) -> None:
        values = said["properties"]["waveHeight"]["values"]  # type: ignore[index]
        values[:] = [
            {"validTime": "2026-12-08T08:00:00+00:00/PT6H", "value": 0.4},
            {"validTime": "2026-12-08T15:00:00+00:00/PT100H", "value": 0.4},
        ]

    holed = CALM.with_reply(OUTER_GRID, edited(CALM.replies[OUTER_GRID][0], lose_an_hour)).call().call
    assert np.isnan(holed.hours.loc[pd.Timestamp(utc(14)), "sea_m"])
    assert holed.hours.loc[pd.Timestamp(utc(14)), "wind_kt"] == pytest.approx(10)
    assert holed.hours.loc[pd.Timestamp(utc(15)), "sea_m"] == pytest.approx(0.6096)


def test_a_call_without_any_data_charts_nothing_and_never_a_nought() -> None:
    """A1: past its age a number isn't shown as a number."""
    call = World(settings_from(), {}, NOW, set_days_ago(settings_from(), 8)).call().call
    assert call.word is CallWord.NO_CALL
    assert len(call.hours) == 24
    assert call.hours.isna().all(axis=None)
    stale = CALM
    stale = World(stale.settings, stale.replies, NOW + 15 * HOUR, stale.entries)
    assert stale.call().call.hours.isna().all(axis=None)


def test_a_call_carries_the_limits_that_a_string_tightens() -> None:
    """0.6096 m = 2 ft exactly."""
    own = settings_with(("soak_ceiling_days = 16", "soak_ceiling_days = 16\n[strings.limits]\nsea_ft = 2"))
    call = world(settings=own, text_sea_ft=1).call().call
    assert {name: dict(limits) for name, limits in call.tighter_limits.items()} == {
        "Outer Bar": {"sea_m": pytest.approx(0.6096)}
    }
    assert CALM.call().call.tighter_limits == {}


def test_a_call_on_a_calm_day_says_what_ends_its_window() -> None:
    """All hours fit; six hours after it was made the list of warnings is too old."""
    call = CALM.with_reply(WARNINGS, alerts(NOW - timedelta(minutes=30))).call().call
    assert call.window is not None
    why = call.reasons[-1]
    assert why.code == "later_too_old"
    assert why.values["source"] == "warnings GMZ730"
    assert why.values["last_departure_at"] == call.window.last_departure_at
    until = why.values["fresh_until"]
    assert call.window.last_departure_at < until <= call.window.last_departure_at + timedelta(minutes=15)  # type: ignore[operator]


def test_a_call_says_when_it_stops_being_valid() -> None:
    """A9: a PULL with the last landing, any other word with the day."""
    pull = CALM.call().call
    assert pull.window is not None
    assert pull.valid_until == pull.window.last_departure_at + (pull.window.lands_at - pull.window.leaves_at)
    assert CALM.with_reply(TEXT).call().call.valid_until == datetime(2026, 12, 9, 5, tzinfo=UTC)


def test_the_same_input_gives_the_same_call() -> None:
    """A7: replay."""
    assert CALM.call().call == CALM.call().call


def test_the_age_of_what_a_station_measured_is_told_for_the_hour_of_the_call() -> None:
    """It is a check of the moment: what it says at the leaving, nobody can know."""
    body = station([(NOW - timedelta(minutes=170), 3.5, 5.5, 0.4)])
    call = world(settings=settings_with(WITH_STATION)).with_reply(STATION_REPORT, body).call().call
    assert call.word is CallWord.PULL
    assert call.window is not None
    assert call.window.leaves_at > NOW + HOUR  # when it would be past its three hours
    (line,) = [source for source in call.sources if source.kind is SourceKind.OBSERVATIONS]
    assert line.age_h == pytest.approx(170 / 60)


def test_ages_are_told_for_the_hour_of_leaving() -> None:
    """A1: leaving at 07:15; the text is of 03:30, the grids of 04:10, the warnings of 04:25."""
    call = CALM.call().call
    assert {line.kind.value: line.age_h for line in call.sources} == pytest.approx(
        {"zone text": 3.75, "grid": 3 + 5 / 60, "warnings": 2 + 50 / 60}
    )


def test_a_service_that_failed_says_no_call_on_nothing_but_its_settings() -> None:
    """A2."""
    call = failed_call(settings_from(), NOW.date(), NOW, "the database could not be read")
    assert (call.word, call.window, call.reasons[0].code) == (CallWord.NO_CALL, None, "failed")


# ---- The two nights on which the clocks change (F9), with captured payloads

IN_THE_CELL = (
    (
        'lat_deg = 30.05\nlon_deg = -84.15\ngrid = "TAE/77,71"',
        'lat_deg = 30.02\nlon_deg = -84.98\ngrid = "TAE/58,65"',
    ),
    (
        'lat_deg = 29.92\nlon_deg = -84.18\ngrid = "TAE/76,65"',
        'lat_deg = 30.02\nlon_deg = -84.98\ngrid = "TAE/58,65"',
    ),
    ('"gust_kt", "sea_m"]  # outer', '"gust_kt"]'),
    ("wind_kt = 15", "wind_kt = 22"),
    ("sea_ft = 3", "sea_ft = 5"),
    ('contact = "skipper@boat.example"', 'contact = "s@boat.example"\nlarge_gap = { wind_kt = 18 }'),
)
AUTUMN, SPRING = date(2026, 11, 1), date(2027, 3, 14)
REAL_GRID: ReplyKey = (SourceKind.GRID, "TAE/58,65")


def on_a_clock_change(shared: Path, now: datetime, text: bytes) -> Call:
    weather = shared / "data/weather"
    settings = settings_with(*IN_THE_CELL)
    real = (weather / "gridpoints/gridpoints_TAE_58,65.json").read_bytes()
    replies: dict[ReplyKey, tuple[bytes, ...]] = {
        TEXT: (text,),
        REAL_GRID: (grid_on(real, now.date()),),
        WARNINGS: (alerts(now - timedelta(minutes=5)),),
    }
    return World(settings, replies, now, set_days_ago(settings, 8, now)).call().call


def real_text(shared: Path) -> bytes:
    return (shared / "data/weather/cwf/cwf_TAE-20230615T195923Z.json").read_bytes()


@pytest.mark.shared
@pytest.mark.parametrize(
    ("day", "letter_at", "hours", "sunrise", "dusk"),
    [
        # Sunrise and dusk at Tallahassee, from memory: 06:53 and 18:12 EST; 07:48 and 20:10 EDT.
        (AUTUMN, datetime(2026, 11, 1, 9, 30, tzinfo=UTC), 25, (11, 53), (23, 12)),
        (SPRING, datetime(2027, 3, 14, 8, 30, tzinfo=UTC), 23, (11, 48), (24, 10)),
    ],
    ids=["autumn", "spring"],
)
def test_the_day_of_a_clock_change_has_its_own_count_of_hours_and_right_windows(
    shared: Path, day: date, letter_at: datetime, hours: int, sunrise: tuple[int, int], dusk: tuple[int, int]
) -> None:
    """Letter at 04:30 by the new clock; the text is issued an hour before, after the change."""
    text = text_on(real_text(shared), letter_at - HOUR, labels_after(day, ["TODAY", "TONIGHT"]), good_for_h=14)
    call = on_a_clock_change(shared, letter_at, text)
    assert len(call.hours) == hours
    begins = datetime(day.year, day.month, day.day, 4 if day == AUTUMN else 5, tzinfo=UTC)  # local midnight
    assert call.hours.index[0] == pd.Timestamp(begins)
    assert call.valid_until <= begins + hours * HOUR
    assert call.word is CallWord.PULL
    today, tomorrow = call.outlook[0], call.outlook[1]
    midnight_utc = datetime(day.year, day.month, day.day, tzinfo=UTC)
    rises = midnight_utc + timedelta(hours=sunrise[0], minutes=sunrise[1])
    assert today.first_light_at is not None
    assert abs(today.first_light_at - rises) < timedelta(minutes=5)
    assert tomorrow.first_light_at is not None
    assert abs(tomorrow.first_light_at - today.first_light_at - 24 * HOUR) < timedelta(
        minutes=3
    )  # the sun has no clock
    window = call.window
    assert window is not None
    assert window.pulls[0].arrives_at >= today.first_light_at
    assert window.lands_at <= midnight_utc + timedelta(hours=dusk[0], minutes=dusk[1] + 5)
    # The text's day ends at 18:00 of the later of its two clocks, Central Time: 24:00 or 23:00 UTC.
    assert call.hours["wind_kt"].loc[pd.Timestamp(letter_at) :].iloc[1:12].eq(20).all()


@pytest.mark.shared
@pytest.mark.parametrize(
    ("day", "issued_at", "letter_at", "six_central"),
    [
        (AUTUMN, datetime(2026, 11, 1, 1, 30, tzinfo=UTC), datetime(2026, 11, 1, 9, 30, tzinfo=UTC), 12),
        (SPRING, datetime(2027, 3, 14, 2, 30, tzinfo=UTC), datetime(2027, 3, 14, 8, 30, tzinfo=UTC), 11),
    ],
    ids=["autumn", "spring"],
)
def test_a_text_of_the_evening_before_speaks_of_the_day_by_its_new_clock(
    shared: Path, day: date, issued_at: datetime, letter_at: datetime, six_central: int
) -> None:
    """Issued on Saturday at 21:30 by the old clock. Its fourth period, Monday, has seas of 3 ft after 4 ft.

    Monday begins at 06:00; with the zone's two clocks the night before still counts until 06:00 Central.
    """
    labels = labels_after(day - timedelta(days=1), ["TONIGHT"])
    text = text_on(real_text(shared), issued_at, labels, good_for_h=14)
    morning = World(
        settings_with(*IN_THE_CELL), {TEXT: (text,)}, letter_at, set_days_ago(settings_from(), 8, letter_at)
    ).call()
    sea_m = morning.survey.conditions["Inner Bay"].worst["sea_m"]
    monday = datetime(day.year, day.month, day.day + 1, tzinfo=UTC)
    assert sea_m[pd.Timestamp(monday + (six_central - 1) * HOUR)] == pytest.approx(4 * 0.3048)
    assert sea_m[pd.Timestamp(monday + six_central * HOUR)] == pytest.approx(3 * 0.3048)


# ---- Strings that were moved


def moved(world_: World, name: str, start: Mark, end: Mark) -> World:
    """The string lies between other marks since yesterday."""
    at = NOW - 20 * HOUR
    entry = LogEntry(f"move {name}", f"move {name}", at, at, "cli", Moved(start, end), name)
    return replace(world_, entries=(*world_.entries, entry))


NEARBY = (Mark(29.975, -84.250), Mark(29.979, -84.228))  # 4 nmi west of the point of Outer Bay
FAR_OFF = (Mark(29.640, -84.180), Mark(29.640, -84.160))  # 0.28 degrees south of it: 16.8 nmi


def test_a_moved_string_is_planned_for_where_it_lies_now() -> None:
    morning = moved(CALM, "Outer Bar", *NEARBY).call()
    assert [(s.start, s.end) for s in morning.strings if s.name == "Outer Bar"] == [NEARBY]
    assert morning.trip is not None
    assert [leg.string for leg in morning.trip.hauls] == ["Nine Foot", "Outer Bar"]
    harbor, (nine_foot, _) = CALM.settings.harbor.mark, CALM.settings.trap_strings
    stops = (harbor, nine_foot.end, nine_foot.start, NEARBY[1], NEARBY[0], harbor)
    assert morning.trip.distance_nmi == pytest.approx(sum(distance_nmi(*leg) for leg in pairwise(stops)), abs=0.01)


def test_a_string_moved_out_of_its_forecast_area_is_no_call_that_names_it() -> None:
    """A1 of the law: no forecast on hand speaks of where it lies, so nothing is said of it, today or later."""
    away = moved(CALM, "Outer Bar", *FAR_OFF).call().call
    assert (away.word, away.window) == (CallWord.NO_CALL, None)
    first = away.reasons[0]
    assert (first.code, first.values["string"], first.values["area"]) == (
        "moved_out_of_area",
        "Outer Bar",
        "Outer Bay",
    )
    assert first.values["away_nmi"] == pytest.approx(16.8, abs=0.1)
    assert DayState.FIT not in {day.state for day in away.outlook}
    assert all(day.window is None for day in away.outlook)


def test_a_string_taken_ashore_from_far_off_ground_stands_against_no_call() -> None:
    away = moved(CALM, "Outer Bar", *FAR_OFF)
    at = NOW - 10 * HOUR
    ashore = LogEntry("ashore", "ashore", at, at, "cli", BroughtAshore(), "Outer Bar")
    assert replace(away, entries=(*away.entries, ashore)).call().call.word is CallWord.PULL


@pytest.mark.parametrize("weather", [{}, {"text_wind_kt": 30}, {"soaked_days": 1}], ids=["calm", "storm", "fresh"])
def test_moving_a_string_out_of_its_area_never_makes_a_call_more_permissive(weather: dict[str, float]) -> None:
    """A6."""
    away = moved(world(**weather), "Outer Bar", *FAR_OFF)  # type: ignore[arg-type]
    assert away.call().call.word is CallWord.NO_CALL


def test_a_called_trip_falls_when_a_string_is_moved_out_of_its_area() -> None:
    called = CALM.call()
    assert called.trip is not None
    changed = look_again(called.call, called.trip, moved(CALM, "Outer Bar", *FAR_OFF).call(), NOW)
    assert changed is not None
    assert changed.word is CallWord.NO_CALL


def test_tomorrow_looked_at_the_evening_before_is_not_held_against_its_age() -> None:
    """Forecasts of 18:00 are too old by 07:00, but what they say is all there is to thaw bait by."""
    calm = world()
    tomorrow = NOW.astimezone(NEW_YORK).date() + timedelta(days=1)
    plain = make_call(calm.settings, calm.on_hand(), calm.entries, NOW, day=tomorrow)
    likely = make_call(calm.settings, calm.on_hand(), calm.entries, NOW, day=tomorrow, ahead=True)
    assert plain.call.word is CallWord.NO_CALL
    assert [reason.code for reason in plain.call.reasons] == ["stale_by_then"]
    assert likely.call.word is CallWord.PULL
    assert likely.call.window is not None
    assert likely.call.window.leaves_at.astimezone(NEW_YORK).date() == tomorrow


def test_tomorrow_is_no_likelier_for_a_clock_that_is_wrong() -> None:
    calm = world()
    tomorrow = NOW.astimezone(NEW_YORK).date() + timedelta(days=1)
    doubted = make_call(
        calm.settings, calm.on_hand(), calm.entries, NOW, day=tomorrow, ahead=True, clock_suspect=True
    )
    assert doubted.call.word is CallWord.NO_CALL


# ---- After the last day of harvest


def in_may(day: int, **weather: object) -> Call:
    """Traps that went in two days ago, R1 and R5: harvest to 1 May, all out by 6 May."""
    return world(now=datetime(2027, 5, day, 8, 30, tzinfo=UTC), soaked_days=2, **weather).call().call  # type: ignore[arg-type]


@pytest.mark.parametrize("day", [2, 3, 6])
def test_until_all_must_be_out_a_fit_day_is_a_pull_to_take_up(day: int) -> None:
    call = in_may(day)
    assert (call.word, call.take_up) == (CallWord.PULL, True)
    assert call.window is not None
    assert {pull.string for pull in call.window.pulls} == {"Nine Foot", "Outer Bar"}
    told = call.reasons[-1]
    assert (told.code, told.values["last_harvest"], told.values["deadline"]) == (
        "take_up_only",
        date(2027, 5, 1),
        date(2027, 5, 6),
    )


def test_a_call_to_take_up_names_the_traps_that_the_deck_of_the_settings_carries() -> None:
    settings = settings_with(("trip_margin_min = 30", "trip_margin_min = 30\ndeck_traps = 40"))
    call = world(now=datetime(2027, 5, 3, 8, 30, tzinfo=UTC), settings=settings).call().call
    assert call.window is not None
    places = {pull.string: pull.places for pull in call.window.pulls}
    assert places == {"Nine Foot": tuple(range(1, 25)), "Outer Bar": tuple(range(21, 37))}
    assert call.reasons[-1].values["deck_traps"] == 40


def test_a_pull_brings_a_string_home_from_the_day_after_its_last_useful_bait() -> None:
    """Harvest ends on 1 May; bait of the 25th is of use yet at a floor of 120 h, and not at one of more."""
    asked_at = datetime(2027, 4, 20, 9, tzinfo=UTC)
    days = {
        day: day_rules(settings_from(), date(2027, 4, day), asked_at, None).brings_home for day in (1, 25, 26, 30)
    }
    both = frozenset({"Nine Foot", "Outer Bar"})
    assert days == {1: frozenset(), 25: frozenset({"Outer Bar"}), 26: both, 30: both}
    assert day_rules(settings_from(), date(2027, 5, 3), asked_at, None).brings_home == frozenset()


def test_wind_lost_data_and_a_suspect_clock_hold_a_take_up_back_as_any_pull() -> None:
    windy = in_may(3, text_wind_kt=25)
    assert (windy.word, windy.take_up, windy.reasons[0].code) == (CallWord.WAIT, True, "over_limit")
    fair = world(now=datetime(2027, 5, 3, 8, 30, tzinfo=UTC))
    for worse in (fair.with_reply(TEXT), replace(fair, clock_suspect=True)):
        assert worse.call().call.word is CallWord.NO_CALL


@pytest.mark.parametrize("day", [7, 20])
def test_past_the_last_day_it_is_a_wait_that_says_whom_to_ask(day: int) -> None:
    call = in_may(day)
    assert (call.word, call.take_up) == (CallWord.WAIT, False)
    assert [reason.code for reason in call.reasons] == ["out_of_season", "ask_authority"]
    assert str(call.reasons[1].values["authority"]).startswith("Florida Fish and Wildlife")


def test_the_days_ahead_end_with_the_last_day_in_the_water() -> None:
    states = {day.day.day: day.state for day in in_may(3).outlook}
    assert states[6] is DayState.FIT
    assert {states[7], states[8], states[9]} == {DayState.NOT_FIT}


def test_without_a_trap_in_the_water_the_closed_harvest_is_a_wait_as_ever() -> None:
    now = datetime(2027, 5, 3, 8, 30, tzinfo=UTC)
    call = replace(world(now=now), entries=()).call().call
    assert (call.word, call.take_up) == (CallWord.WAIT, False)
    assert [reason.code for reason in call.reasons] == ["out_of_season"]
