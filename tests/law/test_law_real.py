"""A captured grid and a captured zone text through the whole path, at their own times and on one morning.

The grid (TAE 58,65 of 4 February 2022) is of a cell ashore: its one wave height is 0 for the whole span, which is
no forecast, so the area's point is put into that cell and it gives wind and gusts alone. The text is that of
15 June 2023 for GMZ730. Boat, strings and log are invented.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from law.captured import grid_on, labels_after, text_on
from law.world import TEXT, WARNINGS, World, alerts, set_days_ago, settings_with
from soakbell.planning.call import Call, CallWord
from soakbell.sea.sources import FaultCode, SourceKind
from soakbell.settings import Settings
from soakbell.survey import ReplyKey

pytestmark = pytest.mark.shared

HOUR = timedelta(hours=1)
GRID: ReplyKey = (SourceKind.GRID, "TAE/58,65")
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
)
BLUE_CRAB = (
    ('file = "florida-stone-crab.toml"', 'file = "florida-blue-crab.toml"'),
    ('region = "elsewhere"', 'region = "big bend"'),
)
BIGGER_BOAT = (("wind_kt = 15", "wind_kt = 25"), ("gust_kt = 20", "gust_kt = 30"), ("sea_ft = 3", "sea_ft = 5"))

GRID_MORNING = datetime(2022, 2, 4, 9, 30, tzinfo=UTC)
"""04:30 EST; the grid was updated at 03:15:41 UTC."""
TEXT_MORNING = datetime(2023, 6, 15, 15, tzinfo=UTC)
"""11:00 EDT; the text was issued at 10:45."""


@pytest.fixture(scope="module")
def real_grid(shared: Path) -> bytes:
    return (shared / "data/weather/gridpoints/gridpoints_TAE_58,65.json").read_bytes()


@pytest.fixture(scope="module")
def real_text(shared: Path) -> bytes:
    return (shared / "data/weather/cwf/cwf_TAE-20230615T195923Z.json").read_bytes()


def call_of(settings: Settings, now: datetime, **replies: bytes) -> Call:
    """The call on these replies and an empty list of warnings made five minutes before."""
    keys = {"grid": GRID, "text": TEXT}
    given = {keys[name]: (body,) for name, body in replies.items()}
    given[WARNINGS] = (alerts(now - timedelta(minutes=5)),)
    return World(settings, given, now, set_days_ago(settings, 8, now)).call().call


def faults(call: Call) -> list[tuple[object, object]]:
    return [(r.values["kind"], r.values["code"]) for r in call.reasons if r.code == "source_fault"]


# ---- Each at its own time


def test_at_the_grids_own_time_the_grid_alone_is_no_call_that_names_the_text(real_grid: bytes) -> None:
    call = call_of(settings_with(*IN_THE_CELL), GRID_MORNING, grid=real_grid)
    assert (call.word, call.window) == (CallWord.NO_CALL, None)
    assert call.reasons[0].code == "source_fault"
    assert faults(call) == [("zone text", FaultCode.MISSING)]
    lines = {line.kind: line for line in call.sources}
    assert lines[SourceKind.GRID].fault is None
    assert lines[SourceKind.GRID].age_h == pytest.approx(6 + 14 / 60 + 19 / 3600)


def test_at_the_grids_own_time_the_text_of_next_year_is_from_the_future(
    real_grid: bytes, real_text: bytes
) -> None:
    call = call_of(settings_with(*IN_THE_CELL), GRID_MORNING, grid=real_grid, text=real_text)
    assert call.word is CallWord.NO_CALL
    assert faults(call) == [("zone text", FaultCode.FROM_THE_FUTURE)]


def test_at_the_texts_own_time_the_grid_of_last_year_is_stale(real_grid: bytes, real_text: bytes) -> None:
    """In June only the other fishery is open."""
    settings = settings_with(*IN_THE_CELL, *BLUE_CRAB, *BIGGER_BOAT)
    call = call_of(settings, TEXT_MORNING, grid=real_grid, text=real_text)
    assert (call.word, call.window) == (CallWord.NO_CALL, None)
    assert call.reasons[0].code == "source_fault"
    assert faults(call) == [("grid", FaultCode.STALE)]
    ages = {line.kind: line.age_h for line in call.sources}
    assert ages[SourceKind.GRID] == pytest.approx(496 * 24 + 11 + 44 / 60 + 19 / 3600)


def test_at_the_texts_own_time_the_text_alone_is_no_call_that_names_the_grid(real_text: bytes) -> None:
    call = call_of(settings_with(*IN_THE_CELL, *BLUE_CRAB, *BIGGER_BOAT), TEXT_MORNING, text=real_text)
    assert call.word is CallWord.NO_CALL
    assert faults(call) == [("grid", FaultCode.MISSING)]
    assert call.cautions_told == ("...SMALL CRAFT SHOULD EXERCISE CAUTION...",)


def test_twenty_knots_in_the_text_are_a_wait_for_a_boat_that_takes_fifteen(real_text: bytes) -> None:
    """What is known to be too much needs no second source; the missing one is told all the same."""
    call = call_of(settings_with(*IN_THE_CELL, *BLUE_CRAB), TEXT_MORNING, text=real_text)
    assert call.word is CallWord.WAIT
    first = call.reasons[0]
    assert (first.code, first.values["quantity"], first.values["value"], first.values["limit"]) == (
        "over_limit",
        "wind_kt",
        20,
        15,
    )
    assert faults(call) == [("grid", FaultCode.MISSING)]


def test_out_of_season_both_are_read_and_the_law_has_the_word(real_grid: bytes, real_text: bytes) -> None:
    call = call_of(settings_with(*IN_THE_CELL), TEXT_MORNING, grid=real_grid, text=real_text)
    assert call.word is CallWord.WAIT
    assert call.reasons[0].code == "out_of_season"
    assert faults(call) == [("grid", FaultCode.STALE)]


@pytest.mark.parametrize("alone", ["grid", "text"])
def test_a_captured_reply_cut_in_half_is_no_call(real_grid: bytes, real_text: bytes, alone: str) -> None:
    now = GRID_MORNING if alone == "grid" else TEXT_MORNING
    settings = settings_with(*IN_THE_CELL, *(() if alone == "grid" else (*BLUE_CRAB, *BIGGER_BOAT)))
    body = real_grid if alone == "grid" else real_text
    call = call_of(settings, now, **{alone: body[: len(body) // 2]})
    assert call.word is CallWord.NO_CALL
    assert (alone if alone == "grid" else "zone text", FaultCode.NOT_UNDERSTOOD) in faults(call)


# ---- Both on one morning in season: Tuesday, 8 December 2026

MORNING = datetime(2026, 12, 8, 9, 30, tzinfo=UTC)
ISSUED_AT = datetime(2026, 12, 8, 8, 30, tzinfo=UTC)
"""03:30 EST, so that "this afternoon" becomes "today"."""


def moved_grid(body: bytes) -> bytes:
    return grid_on(body, MORNING.date())  # both days have Eastern Standard Time, so the hours of the day stay


def moved_text(body: bytes) -> bytes:
    return text_on(body, ISSUED_AT, labels_after(MORNING.date(), ["TODAY", "TONIGHT"]))


FINE_LIMITS = (("wind_kt = 15", "wind_kt = 22"), ("gust_kt = 20", "gust_kt = 12.5"), ("sea_ft = 3", "sea_ft = 5"))
WIDE_GAP = ('contact = "skipper@boat.example"', 'contact = "s@boat.example"\nlarge_gap = { wind_kt = 15 }')


def test_both_on_one_morning_disagree_too_much_for_the_usual_gap(real_grid: bytes, real_text: bytes) -> None:
    """A4. 12:00 UTC: the text's upper end is 20 kt; the grid says 12.964 km/h, 12.964 / 1.852 = 7 kt. 13 > 10."""
    settings = settings_with(*IN_THE_CELL, *FINE_LIMITS)
    call = call_of(settings, MORNING, grid=moved_grid(real_grid), text=moved_text(real_text))
    assert call.word is CallWord.NO_CALL
    assert faults(call) == []
    (reason,) = call.reasons
    v = reason.values
    assert (reason.code, v["quantity"], v["at"]) == (
        "contradicted",
        "wind_kt",
        datetime(2026, 12, 8, 12, tzinfo=UTC),
    )
    assert (v["low_source"], v["high_source"]) == ("grid", "zone text")
    assert (v["low"], v["high"], v["most"]) == (pytest.approx(7.0), 20, 10)


def test_both_on_one_morning_give_the_call_reckoned_by_hand(real_grid: bytes, real_text: bytes) -> None:
    """Text, TODAY (03:30 to 18:00): "Southwest winds 15 to 20 knots. Seas 2 to 4 feet": 20 kt; 4 ft = 1.2192 m.

    Grid, km/h (kt = km/h / 1.852), hours UTC:
        07-12   wind 12.964 =  7   gust 22.224 = 12
        13-15   wind 11.112 =  6   gust 20.372 = 11
        16-21   wind 12.964 =  7   gust 22.224 = 12
        22-00   wind 11.112 =  6   gust 20.372 = 11
    Waves: one 0 for six days, no forecast.

    Worst at each hour: wind 20 (text), gust 11 or 12 (grid), sea 1.2192 m (text). Limits 22 kt, 12.5 kt, 5 ft:
        wind headroom (22 - 20) / 22 = 0.0909 throughout
        gust headroom (12.5 - 12) / 12.5 = 0.04 before 13:00 and from 16:00, (12.5 - 11) / 12.5 = 0.12 between
        sea headroom (5 - 4) / 5 = 0.2 throughout
    So a trip within 13:00 to 16:00 is bound by the wind at 9 %, any other by the gusts at 4 %.

    The trip: 60 traps x 1.5 min = 90 min, margin 30 min, 13.73 nmi of running at 14 kt = 58.8 min: 2 h 58.8 min.
    Sunrise is 12:20:43 and Nine Foot 11.6 min away: leaving is allowed from 12:15 on (12:09 is no quarter hour).
    Fresh: the text expires at 16:30, warnings of 09:25 are good until 15:25, the grid of 03:15:41 until 15:15:41.
    Departures 12:15 to 15:15 all fit; 13:00 lands at 15:58:50, the only one wholly within 13:00 to 16:00.
    """
    settings = settings_with(*IN_THE_CELL, *FINE_LIMITS, WIDE_GAP)
    call = call_of(settings, MORNING, grid=moved_grid(real_grid), text=moved_text(real_text))
    at = {h: call.hours.loc[datetime(2026, 12, 8, h, tzinfo=UTC)] for h in (12, 13, 15, 16, 21)}
    assert [at[h]["wind_kt"] for h in (12, 13, 15, 16, 21)] == [20] * 5
    assert [at[h]["sea_m"] for h in (12, 13, 15, 16, 21)] == pytest.approx([1.2192] * 5)
    assert [at[h]["gust_kt"] for h in (12, 13, 15, 16, 21)] == pytest.approx([12, 11, 11, 12, 12])

    assert call.word is CallWord.PULL
    window = call.window
    assert window is not None
    assert window.leaves_at == datetime(2026, 12, 8, 13, tzinfo=UTC)
    assert window.last_departure_at == datetime(2026, 12, 8, 15, 15, tzinfo=UTC)
    assert window.lands_at - window.leaves_at == timedelta(minutes=90 + 30 + 59)  # 58.8, rounded up
    assert [(p.string, p.traps) for p in window.pulls] == [("Nine Foot", 24), ("Outer Bar", 36)]

    # Over all departures the letter allows, the first hour that binds is 16:00: leaving at 13:15 lands at 16:14.
    binding = window.binding
    assert binding is not None
    assert (binding.quantity, binding.at, binding.source) == (
        "gust_kt",
        datetime(2026, 12, 8, 16, tzinfo=UTC),
        "grid",
    )
    assert (binding.value, binding.limit, binding.margin, binding.headroom) == pytest.approx((12, 12.5, 0.5, 0.04))

    assert call.cautions_told == ("...SMALL CRAFT SHOULD EXERCISE CAUTION...",)
    assert call.disagreements == ()
    ages = {line.kind: line.age_h for line in call.sources}  # at 13:00, the planned leaving
    assert ages[SourceKind.ZONE_TEXT] == pytest.approx(4.5)
    assert ages[SourceKind.GRID] == pytest.approx(9 + 44 / 60 + 19 / 3600)


def test_the_boats_usual_limits_keep_it_in_on_that_morning(real_grid: bytes, real_text: bytes) -> None:
    settings = settings_with(*IN_THE_CELL, WIDE_GAP)
    call = call_of(settings, MORNING, grid=moved_grid(real_grid), text=moved_text(real_text))
    assert call.word is CallWord.WAIT
    told = {(r.code, r.values["quantity"]): (r.values["value"], r.values["limit"]) for r in call.reasons}
    assert told == {  # 20 kt against 15; 4 ft against 3
        ("over_limit", "wind_kt"): (20, 15),
        ("over_limit", "sea_m"): (pytest.approx(1.2192), pytest.approx(0.9144)),
    }


@pytest.mark.parametrize("lost", ["grid", "text"])
def test_on_that_morning_either_one_alone_is_no_call_that_names_the_other(
    real_grid: bytes, real_text: bytes, lost: str
) -> None:
    replies = {"grid": moved_grid(real_grid), "text": moved_text(real_text)}
    del replies[lost]
    call = call_of(settings_with(*IN_THE_CELL, *FINE_LIMITS, WIDE_GAP), MORNING, **replies)
    assert call.word is CallWord.NO_CALL
    assert faults(call) == [("grid" if lost == "grid" else "zone text", FaultCode.MISSING)]


def test_the_days_ahead_tell_what_is_past_the_limit_and_where_the_text_ends(
    real_grid: bytes, real_text: bytes
) -> None:
    """The text ends with Saturday night, 13 December 06:00; the grid on the 15th.

    Wednesday: gusts of 25.928 to 27.78 km/h, 14 to 15 kt, from 13:00 to 18:00 UTC, 13 kt to 20:00; then inside the
    limit, but at 23:00 the text's 20 kt stand against 7.408 km/h, 4 kt: 16 > 15, which is not known, not no.
    """
    settings = settings_with(*IN_THE_CELL, *FINE_LIMITS, WIDE_GAP)
    call = call_of(settings, MORNING, grid=moved_grid(real_grid), text=moved_text(real_text))
    states = {day.day.day: day.state.value for day in call.outlook}
    assert states[8] == "fit"
    assert states[9] == "not known"
    wednesday = {(r.code, r.values["quantity"]): r.values for r in call.outlook[1].reasons}
    assert wednesday["over_limit", "gust_kt"]["value"] == pytest.approx(15)
    assert wednesday["contradicted", "wind_kt"]["at"] == datetime(2026, 12, 9, 23, tzinfo=UTC)
    assert (states[13], states[14]) == ("not known", "not known")
