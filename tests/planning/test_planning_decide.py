"""PULL, WAIT or NO CALL."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

import pytest

from boats import LEDGE, NINE_FOOT, OUTER_BAR, fit_but_at, light, situation, soaked
from soakbell.planning.call import CallWord, DayState, Reason
from soakbell.planning.decide import DayRules, Verdict, decide, still_good, string_states
from soakbell.planning.trips import HARBOR, Leg, Trip
from soakbell.sea.conditions import Bar, Conditions
from soakbell.sea.fitness import fitness
from soakbell.sea.limits import Limits
from weather import HOURS, LIMITS, MORNING, conditions, grid, zone_text

WEEK = soaked(NINE_FOOT, 7)


def test_a_ripe_string_on_a_calm_known_day_is_a_pull() -> None:
    verdict = decide(situation(WEEK))
    assert verdict.word is CallWord.PULL
    assert verdict.window is not None
    (pull,) = verdict.window.pulls
    assert (pull.string, pull.traps) == ("Nine Foot", 24)
    assert verdict.trip is not None
    (haul,) = verdict.trip.hauls
    assert pull.arrives_at == verdict.window.leaves_at + timedelta(minutes=haul.starts_min)
    assert pull.leaves_at == verdict.window.leaves_at + timedelta(minutes=haul.ends_min)
    assert pull.oldest_soak_h == pytest.approx(168 + (pull.arrives_at - MORNING) / timedelta(hours=1))
    assert pull.soak_h == pull.oldest_soak_h


def test_the_hour_of_being_home_is_rounded_up_to_the_minute() -> None:
    verdict = decide(situation(WEEK))
    assert verdict.window is not None
    assert verdict.trip is not None
    exact = verdict.window.leaves_at + timedelta(minutes=verdict.trip.duration_min)
    assert (verdict.window.lands_at.second, verdict.window.lands_at.microsecond) == (0, 0)
    assert timedelta(0) < verdict.window.lands_at - exact < timedelta(minutes=1)


def test_the_window_names_the_number_that_comes_nearest_its_limit() -> None:
    binding = decide(situation(WEEK, seas=conditions(zone_text(wind_kt=14), grid()))).window.binding  # type: ignore[union-attr]
    assert binding is not None
    assert (binding.quantity, binding.value, binding.limit, binding.margin) == ("wind_kt", 14, 15, 1)
    assert binding.source == "zone text"


def test_the_nearest_number_tells_at_which_string_it_is() -> None:
    at_sea = situation(WEEK)
    rougher = fitness(conditions(zone_text(wind_kt=14), grid()), LIMITS, depth_m=4)
    window = decide(replace(at_sea, places=at_sea.places | {"Nine Foot": rougher})).window
    assert window is not None
    assert window.binding is not None
    assert (window.binding.value, window.binding.place) == (14, "Nine Foot")


def test_a_number_nearer_its_limit_while_the_boat_is_elsewhere_is_not_told() -> None:
    """From 14:00 UTC the boat is off the harbor from 14:48 to 16:28."""
    rules = light()
    assert rules.bounds is not None
    bounds = replace(rules.bounds, out_from=HOURS[9].to_pydatetime(), fresh_until=HOURS[9] + timedelta(minutes=1))
    gusty = fitness(
        conditions(zone_text(wind_kt=[14.0 if n == 10 else 10.0 for n in range(48)]), grid()), LIMITS, depth_m=4
    )
    at_sea = situation(soaked(LEDGE, 7), days=(replace(rules, bounds=bounds),))
    window = decide(replace(at_sea, places=at_sea.places | {HARBOR: gusty})).window
    assert window is not None
    assert window.binding is not None
    assert window.leaves_at == window.last_departure_at == HOURS[9]
    assert window.binding.value < 14


def test_steepness_nearest_its_limit_is_told_without_a_source() -> None:
    """It is reckoned from the sea of one and the period of another."""
    seas = conditions(zone_text(sea_m=0.8, period_s=5), grid())
    limits = Limits(wind_kt=30, gust_kt=40, sea_m=2, steepness=0.036)
    window = decide(situation(WEEK, seas=seas, limits=limits)).window
    assert window is not None
    assert window.binding is not None
    assert (window.binding.quantity, window.binding.source) == ("steepness", "")


def test_the_room_left_by_visibility_is_what_it_has_above_its_limit() -> None:
    hazy = conditions(zone_text(visibility_nm=2.5), grid())
    window = decide(situation(WEEK, seas=hazy, limits=replace(LIMITS, visibility_nm=2.0))).window
    assert window is not None
    assert window.binding is not None
    told = window.binding
    assert (told.quantity, told.value, told.limit, told.margin) == ("visibility_nm", 2.5, 2.0, 0.5)


def test_the_binding_number_counts_every_departure_the_letter_allows_not_only_the_first() -> None:
    rising = [10.0 if h < 12 else 14.5 for h in range(48)]
    window = decide(situation(WEEK, seas=conditions(zone_text(wind_kt=rising), grid(wind_kt=9)))).window
    assert window is not None
    assert window.binding is not None
    assert window.leaves_at + timedelta(hours=3) < window.last_departure_at
    assert window.binding.value == 14.5


def test_the_boat_leaves_when_its_tightest_hour_has_most_room_and_early_among_such() -> None:
    easing = conditions(zone_text(wind_kt=[14.0 if hour < HOURS[11] else 8.0 for hour in HOURS]), grid(wind_kt=8))
    window = decide(situation(WEEK, seas=easing)).window
    assert window is not None
    assert window.leaves_at == HOURS[11]
    assert window.binding is not None
    assert window.binding.at >= HOURS[11]


def test_a_window_reaches_over_no_departure_that_is_not_fit_and_names_no_number_beyond_it() -> None:
    """A windy hour parts the day, and after them it blows harder than before."""
    wind = [10.0 if hour < HOURS[12] else 18.0 if hour < HOURS[13] else 14.0 for hour in HOURS]
    verdict = decide(situation(WEEK, seas=conditions(zone_text(wind_kt=wind), grid())))
    assert verdict.trip is not None
    last, _ = last_and_why(verdict)
    home = last + timedelta(minutes=verdict.trip.duration_min)
    assert home <= HOURS[11] < home + timedelta(minutes=15)  # and an hour after it, before the wind at 17:00 UTC
    assert verdict.window is not None
    assert verdict.window.binding is not None
    assert verdict.window.binding.value == 10


def test_a_window_after_a_windy_hour_begins_and_ends_after_it() -> None:
    """The afternoon is the calmer half."""
    wind = [14.0 if hour < HOURS[12] else 18.0 if hour < HOURS[13] else 10.0 for hour in HOURS]
    window = decide(situation(WEEK, seas=conditions(zone_text(wind_kt=wind), grid()))).window
    assert window is not None
    assert HOURS[13] <= window.leaves_at < window.last_departure_at


def test_the_trip_of_a_call_is_that_of_today() -> None:
    """Tomorrow the second string is ripe as well."""
    both = situation(WEEK, soaked(OUTER_BAR, 4.5), days=(light(0), light(1)))
    verdict = decide(both)
    assert verdict.trip is not None
    assert [haul.string for haul in verdict.trip.hauls] == ["Nine Foot"]
    tomorrow = verdict.outlook[1].window
    assert tomorrow is not None
    assert [pull.string for pull in tomorrow.pulls] == ["Nine Foot", "Outer Bar"]


@pytest.mark.parametrize("fresh_h", [0.25, 2.75])
def test_data_that_are_stale_when_the_boat_could_first_leave_are_no_call_that_says_so(fresh_h: float) -> None:
    """It could at 12:15 UTC, 2 h 45 min from now: stale by then, or at that very minute."""
    verdict = decide(situation(WEEK, days=(light(fresh_h=fresh_h),)))
    assert verdict.word is CallWord.NO_CALL
    assert [reason.code for reason in verdict.reasons] == ["stale_by_then"]
    assert verdict.reasons[0].values["fresh_until"] == MORNING + timedelta(hours=fresh_h)


@pytest.mark.parametrize(
    ("seas", "code"),
    [
        (conditions(zone_text(wind_kt=14), grid(wind_kt=1, gust_kt=2)), "contradicted"),
        (conditions(zone_text(), grid(), bars_known=False), "warnings_not_known"),
        (conditions(replace(zone_text(), unclear=zone_text().unclear + "winds whimsical"), grid()), "unclear"),
        (conditions(grid()), "not_known"),
    ],
    ids=["contradicted", "warnings not known", "unclear", "not known"],
)
def test_where_data_lack_already_it_is_not_told_that_they_would_be_stale(seas: Conditions, code: str) -> None:
    verdict = decide(situation(WEEK, days=(light(fresh_h=2),), seas=seas))
    assert verdict.word is CallWord.NO_CALL
    assert {reason.code for reason in verdict.reasons} == {code}


def last_and_why(verdict: Verdict) -> tuple[datetime, Reason]:
    assert verdict.window is not None
    return verdict.window.last_departure_at, verdict.reasons[-1]


def test_a_window_ended_by_the_wind_names_the_first_hour_that_breaks_it() -> None:
    """Wind over its limit from 19:00 UTC; home, and an hour after it, by then. The trip takes 1 h 57 min."""
    wind = [10.0 if h < 14 else 18.0 for h in range(48)]
    last, why = last_and_why(decide(situation(WEEK, seas=conditions(zone_text(wind_kt=wind), grid()))))
    assert last == HOURS[11] + timedelta(minutes=0)
    assert (why.code, why.values["last_departure_at"], why.values["margin_h"]) == ("later_not_fit", last, 1)
    assert why.values["code"] == "over_limit"
    found = why.values["values"]
    assert (found["quantity"], found["value"], found["at"]) == ("wind_kt", 18, HOURS[14])  # type: ignore[index]


def test_a_window_ended_by_the_age_of_the_data_names_the_source() -> None:
    rules = replace(light(fresh_h=5), stalest="warnings GMZ730")
    last, why = last_and_why(decide(situation(WEEK, days=(rules,))))
    assert last == MORNING + timedelta(hours=4, minutes=45)
    until = MORNING + timedelta(hours=5)
    assert why == Reason(
        "later_too_old", {"last_departure_at": last, "fresh_until": until, "source": "warnings GMZ730"}
    )


@pytest.mark.parametrize(
    ("home_by_h", "code"), [(0.0, "later_dark"), (4.0, "later_not_legal")], ids=["twilight", "legal hours"]
)
def test_a_window_ended_by_light_or_law_says_so(home_by_h: float, code: str) -> None:
    rules = light(fresh_h=20)
    assert rules.bounds is not None
    home_by = rules.bounds.haul_to + timedelta(hours=home_by_h)
    bounded = replace(rules, bounds=replace(rules.bounds, home_by=home_by))
    last, why = last_and_why(decide(situation(WEEK, days=(bounded,))))
    assert why.code == code
    assert why.values["last_departure_at"] == last
    assert (home_by if code == "later_dark" else rules.bounds.haul_to) in why.values.values()


@pytest.mark.parametrize(("legal_min", "longest_min"), [(60, 60.0), (-1, 0.0)])
def test_a_day_too_short_for_the_trip_is_a_wait_that_tells_both_lengths(
    legal_min: int, longest_min: float
) -> None:
    rules = light()
    assert rules.bounds is not None
    haul_to = rules.bounds.haul_from + timedelta(minutes=legal_min)
    short = situation(
        soaked(LEDGE, 12),
        soaked(OUTER_BAR, 9),
        days=(replace(rules, bounds=replace(rules.bounds, haul_to=haul_to)),),
    )
    verdict = decide(short)
    trip = decide(situation(soaked(OUTER_BAR, 9))).trip
    assert trip is not None
    assert (verdict.word, verdict.trip) == (CallWord.WAIT, None)
    assert verdict.reasons == (Reason("too_short", {"needed_min": trip.duration_min, "longest_min": longest_min}),)


def test_a_trip_that_lasts_longer_than_the_forecast_is_no_call_that_tells_its_fit_hours() -> None:
    """The boat may leave from 12:15 UTC; of the hours from noon the forecast tells those before 14:00."""
    day = situation(WEEK)
    cut = {
        name: replace(place, **{each: getattr(place, each)[: HOURS[8]] for each in ("fit", "over", "headroom")})
        for name, place in day.places.items()
    }
    verdict = decide(replace(day, places=cut))
    assert (verdict.word, verdict.trip) == (CallWord.NO_CALL, None)
    assert [(reason.code, reason.values["longest_min"]) for reason in verdict.reasons] == [("too_short", 120)]


def test_wind_over_the_limit_all_day_is_a_wait_that_names_the_wind() -> None:
    verdict = decide(situation(WEEK, seas=conditions(zone_text(wind_kt=22), grid(wind_kt=18))))
    assert verdict.word is CallWord.WAIT
    assert verdict.window is None
    first = verdict.reasons[0]
    assert (first.code, first.values["quantity"], first.values["value"]) == ("over_limit", "wind_kt", 22)
    binding = verdict.outlook[0].binding
    assert binding is not None
    assert (binding.quantity, binding.value) == ("wind_kt", 22)


def test_wind_that_comes_within_the_margin_after_landing_is_told() -> None:
    """One departure, at 12:15 UTC, home at 14:12; the wind comes at 15:00."""
    wind = [18.0 if hour >= HOURS[10] else 10.0 for hour in HOURS]
    rules = light(fresh_h=3)
    verdict = decide(situation(WEEK, days=(rules,), seas=conditions(zone_text(wind_kt=wind), grid())))
    assert verdict.word is CallWord.WAIT
    assert [(why.code, why.values["at"]) for why in verdict.reasons] == [("over_limit", HOURS[10])]


def test_a_phrase_that_was_not_understood_is_told_with_its_hour() -> None:
    text = zone_text()
    odd = conditions(replace(text, unclear=text.unclear.mask(HOURS[9] == HOURS, "winds whimsical")), grid())
    verdict = decide(situation(WEEK, days=(light(fresh_h=3),), seas=odd))
    assert verdict.word is CallWord.NO_CALL
    told = {"place": "Apalachee Bay", "at": HOURS[9], "phrase": "zone text: winds whimsical"}
    assert verdict.reasons == (Reason("unclear", told),)


def test_of_hours_over_a_limit_the_worst_number_is_told_and_the_first_hour() -> None:
    wind = [16.0 + (hour == HOURS[14]) * 9 for hour in HOURS]
    (why,) = decide(
        situation(WEEK, seas=conditions(zone_text(wind_kt=wind), grid(wind_kt=16, gust_kt=18)))
    ).reasons
    told = why.values
    assert (told["value"], told["worst_at"]) == (25, HOURS[14])
    assert told["at"] == HOURS[7]  # 12:00 UTC: it could leave at 12:15


def test_a_missing_source_is_no_call_that_says_what_is_missing() -> None:
    """A2: a third state of its own."""
    verdict = decide(situation(WEEK, seas=conditions(zone_text())))
    assert verdict.word is CallWord.NO_CALL
    first = verdict.reasons[0]
    assert (first.code, first.values["source"], first.values["quantity"]) == ("not_known", "grid", "gust_kt")


def test_every_number_that_is_not_known_names_the_source_that_lacks_it() -> None:
    verdict = decide(situation(WEEK, seas=conditions(grid())))
    lacking = {r.values["quantity"]: r.values["source"] for r in verdict.reasons if r.code == "not_known"}
    assert lacking == {"wind_kt": "zone text", "sea_m": "zone text"}


def test_nothing_known_at_all_is_no_call() -> None:
    assert decide(situation(WEEK, seas=conditions(bars_known=False))).word is CallWord.NO_CALL


def test_a_storm_in_one_source_is_a_wait_even_when_the_other_is_missing() -> None:
    verdict = decide(situation(WEEK, seas=conditions(zone_text(wind_kt=40))))
    assert verdict.word is CallWord.WAIT
    assert (verdict.reasons[0].code, verdict.reasons[0].values["value"]) == ("over_limit", 40)


def test_a_warning_over_the_day_is_a_wait_whatever_the_numbers_say() -> None:
    bar = Bar("warning", MORNING, MORNING + timedelta(hours=24), {"event": "Small Craft Advisory"})
    verdict = decide(situation(WEEK, seas=conditions(zone_text(wind_kt=5), grid(wind_kt=4), bars=(bar,))))
    assert verdict.word is CallWord.WAIT
    assert verdict.reasons[0].code == "warning"
    assert verdict.reasons[0].values["event"] == "Small Craft Advisory"


def test_of_a_day_s_warnings_those_over_before_the_boat_could_leave_or_begun_after_it_is_home_are_not_told() -> (
    None
):
    spans = {"past": (HOURS[0], MORNING), "held": (MORNING, HOURS[30]), "to come": (HOURS[20], None)}
    bars = tuple(Bar("warning", begins, ends, {"event": name}) for name, (begins, ends) in spans.items())
    verdict = decide(situation(WEEK, seas=conditions(zone_text(), grid(), bars=bars)))
    assert verdict.word is CallWord.WAIT
    assert [reason.values["event"] for reason in verdict.reasons] == ["held"]


def test_a_warning_that_ends_before_noon_leaves_the_afternoon() -> None:
    bar = Bar("warning", MORNING - timedelta(hours=9), HOURS[11].to_pydatetime())
    verdict = decide(situation(WEEK, seas=conditions(zone_text(), grid(), bars=(bar,))))
    assert verdict.word is CallWord.PULL
    assert verdict.window is not None
    assert verdict.window.leaves_at >= HOURS[11]


def test_sources_that_contradict_each_other_are_no_call() -> None:
    """A4."""
    verdict = decide(situation(WEEK, seas=conditions(zone_text(wind_kt=14), grid(wind_kt=1, gust_kt=2))))
    assert verdict.word is CallWord.NO_CALL
    assert verdict.reasons[0].code == "contradicted"
    assert verdict.outlook[0].binding is None  # each number lies within its limit


def test_a_number_at_its_limit_is_not_told_as_what_stands_against_a_day() -> None:
    verdict = decide(situation(WEEK, seas=conditions(zone_text(wind_kt=15), grid(), bars_known=False)))
    assert verdict.word is CallWord.NO_CALL
    assert [reason.code for reason in verdict.reasons] == ["warnings_not_known"]
    assert verdict.outlook[0].binding is None


def test_a_string_short_of_its_floor_is_left_to_soak() -> None:
    verdict = decide(situation(soaked(NINE_FOOT, 3)))
    assert verdict.word is CallWord.WAIT
    assert [r.code for r in verdict.reasons] == ["nothing_ripe"]


def test_a_string_is_ripe_from_the_moment_of_its_floor() -> None:
    at_its_floor = soaked(NINE_FOOT, NINE_FOOT.soak_floor_h / 24)
    assert at_its_floor.ripe(MORNING)
    assert not at_its_floor.ripe(MORNING - timedelta(minutes=1))
    assert not replace(at_its_floor, oldest_soak_h=None).ripe(MORNING)


def test_a_string_with_a_single_trap_in_the_water_is_pulled() -> None:
    window = decide(situation(replace(WEEK, fishing=1))).window
    assert window is not None
    assert [(pull.string, pull.traps) for pull in window.pulls] == [("Nine Foot", 1)]


def test_with_no_trap_in_the_water_there_is_nothing_to_pull() -> None:
    ashore = replace(WEEK, fishing=0, oldest_soak_h=None, median_soak_h=None)
    verdict = decide(situation(ashore))
    assert verdict.word is CallWord.WAIT
    assert [r.code for r in verdict.reasons] == ["nothing_set"]


def test_the_oldest_strings_come_first_and_as_many_as_the_window_carries() -> None:
    wind = [10.0 if 8 <= h < 12 else 18.0 for h in range(48)]  # fit 13:00 to 17:00 UTC
    verdict = decide(
        situation(
            soaked(LEDGE, 6),
            soaked(OUTER_BAR, 9),
            soaked(NINE_FOOT, 8),
            seas=conditions(zone_text(wind_kt=wind), grid(wind_kt=9)),
            break_margin_h=0,
        )
    )
    assert verdict.window is not None
    assert [p.string for p in verdict.window.pulls] == ["Nine Foot", "Outer Bar"]
    assert Reason("left_for_later", {"strings": ("Ledge",)}) in verdict.reasons


def test_a_day_the_law_closes_is_a_wait_with_the_rule() -> None:
    closed = DayRules(light().day, None, (Reason("out_of_season", {"rule": "season", "source": "68B-13.005"}),))
    verdict = decide(situation(WEEK, days=(closed,)))
    assert verdict.word is CallWord.WAIT
    assert verdict.reasons[0].code == "out_of_season"


def test_a_suspect_clock_is_no_call_even_on_a_perfect_day() -> None:
    """W11."""
    verdict = decide(situation(WEEK, faults=(Reason("clock", {"detail": "earlier than the newest log entry"}),)))
    assert verdict.word is CallWord.NO_CALL
    assert verdict.reasons[0].code == "clock"
    assert verdict.window is None
    told = [(day.state, day.window, day.binding, day.reasons) for day in verdict.outlook]
    assert told == [(DayState.NOT_KNOWN, None, None, verdict.reasons[:1])]
    windy = conditions(zone_text(wind_kt=22), grid())
    assert decide(situation(WEEK, seas=windy, faults=verdict.reasons[:1])).outlook[0].state is DayState.NOT_FIT


def test_the_outlook_tells_fit_from_not_fit_from_not_known() -> None:
    wind = [10.0] * 24 + [25.0] * 24
    fit_then_not = decide(
        situation(WEEK, days=(light(0), light(1)), seas=conditions(zone_text(wind_kt=wind), grid()))
    )
    assert [d.state for d in fit_then_not.outlook] == [DayState.FIT, DayState.NOT_FIT]
    beyond = decide(situation(WEEK, days=(light(0), light(5))))
    assert [d.state for d in beyond.outlook] == [DayState.FIT, DayState.NOT_KNOWN]


def test_the_outlook_judges_the_weather_even_where_nothing_will_be_ripe() -> None:
    young = decide(situation(soaked(NINE_FOOT, 1), days=(light(0), light(1))))
    assert [d.state for d in young.outlook] == [DayState.NOT_FIT, DayState.FIT]
    assert [r.code for r in young.outlook[1].reasons] == ["nothing_ripe"]


def test_a_day_ahead_with_a_ripe_string_does_not_say_that_none_is() -> None:
    ripe = decide(situation(WEEK, days=(light(0), light(1))))
    assert ripe.outlook[1].state is DayState.FIT
    assert ripe.outlook[1].reasons == ()


def test_string_states_flag_the_ripe_and_those_past_their_ceiling() -> None:
    states = string_states(situation(soaked(NINE_FOOT, 3), soaked(OUTER_BAR, 7), soaked(LEDGE, 12)), MORNING)
    assert [(s.ripe, s.past_ceiling) for s in states] == [(False, False), (True, False), (True, True)]
    (at_its_ceiling,) = string_states(situation(soaked(LEDGE, LEDGE.soak_ceiling_h / 24)), MORNING)
    assert not at_its_ceiling.past_ceiling


@pytest.mark.parametrize(
    ("from_hour", "holds"),
    [
        (0, False),  # the whole day turned: the trip is off
        (15, True),  # past landing of the last departure: no concern of this trip
    ],
)
def test_a_called_trip_is_judged_again_on_the_hours_still_ahead(from_hour: int, holds: bool) -> None:
    calm = situation(WEEK, days=(light(fresh_h=4),))
    verdict = decide(calm)
    assert verdict.trip is not None
    assert verdict.window is not None
    wind = [10.0 if h < from_hour else 30.0 for h in range(48)]
    turned = situation(WEEK, seas=conditions(zone_text(wind_kt=wind), grid()))
    assert still_good(verdict.trip, verdict.window, turned, MORNING) is holds


@pytest.mark.parametrize(("margin_h", "holds"), [(0, True), (1, False), (2, False)])
def test_a_forecast_that_breaks_within_the_margin_ends_a_call_until_the_boat_may_have_left(
    margin_h: float, holds: bool
) -> None:
    """The margin narrowed the window when it was called; what has left is asked for its own hours only."""
    verdict = decide(situation(WEEK, days=(light(fresh_h=4),)))
    assert verdict.trip is not None
    assert verdict.window is not None
    landed = verdict.window.last_departure_at + timedelta(minutes=verdict.trip.duration_min)
    wind = [30.0 if hour >= landed else 10.0 for hour in HOURS]
    breaks = situation(WEEK, seas=conditions(zone_text(wind_kt=wind), grid()), break_margin_h=margin_h)
    assert still_good(verdict.trip, verdict.window, breaks, MORNING) is holds
    assert still_good(verdict.trip, verdict.window, breaks, verdict.window.leaves_at)


@pytest.mark.parametrize("where", [HARBOR, "Nine Foot", "Outer Bar"])
@pytest.mark.parametrize("after_min", [-120, -1, 0, 75, 200])
def test_a_called_trip_is_off_where_an_hour_that_it_may_still_meet_turns_bad_and_only_then(
    where: str, after_min: int
) -> None:
    """Each hour at each place in turn; minutes after the first departure. Its margin counts until then."""
    calm = situation(WEEK, soaked(OUTER_BAR, 7), days=(light(fresh_h=4),))
    verdict = decide(calm)
    trip, window = verdict.trip, verdict.window
    assert trip is not None
    assert window is not None
    assert window.leaves_at < window.last_departure_at
    now = window.leaves_at + timedelta(minutes=after_min)
    asked = [(leg.starts_min, leg.ends_min) for leg in trip.legs if where in leg.places]
    if now < window.leaves_at:
        asked.append((trip.duration_min, trip.duration_min + 60 * calm.break_margin_h))
    for row, bad in enumerate(HOURS):
        turned = replace(calm, places={**calm.places, where: fit_but_at(row)})
        meets = any(
            max(now, window.leaves_at + timedelta(minutes=begins)) < bad + timedelta(hours=1)
            and bad < window.last_departure_at + timedelta(minutes=ends) > now
            for begins, ends in asked
        )
        assert still_good(trip, window, turned, now) is not meets


@pytest.mark.parametrize(("row", "holds"), [(8, True), (9, False), (10, False), (11, True)])
def test_an_hour_that_a_called_trip_ends_at_or_begins_after_does_not_take_it_back(row: int, holds: bool) -> None:
    """Two hours on the dot, from 14:00 UTC."""
    two_hours = Trip((Leg((HARBOR,), 0.0, 120.0, None),), 0.0)
    window = decide(situation(WEEK)).window
    assert window is not None
    leaves_at = HOURS[9].to_pydatetime()
    window = replace(window, leaves_at=leaves_at, last_departure_at=leaves_at)
    turned = situation(WEEK)
    turned = replace(turned, places={**turned.places, HARBOR: fit_but_at(row)})
    assert still_good(two_hours, window, turned, leaves_at) is holds


def test_a_called_trip_is_off_where_the_forecast_does_not_reach_to_its_end() -> None:
    calm = situation(WEEK, days=(light(fresh_h=4),))
    verdict = decide(calm)
    assert verdict.trip is not None
    assert verdict.window is not None
    landed = verdict.window.last_departure_at + timedelta(minutes=verdict.trip.duration_min)
    for last, holds in ((landed, True), (landed - timedelta(hours=1), False), (MORNING, False)):
        cut = {name: replace(place, fit=place.fit.loc[:last]) for name, place in calm.places.items()}
        ends_early = replace(calm, places=cut, break_margin_h=0)
        assert still_good(verdict.trip, verdict.window, ends_early, MORNING) is holds


def test_lower_limits_never_lengthen_the_choice_of_departures() -> None:
    easy = decide(situation(WEEK, seas=conditions(zone_text(wind_kt=14), grid())))
    strict = decide(
        situation(WEEK, seas=conditions(zone_text(wind_kt=14), grid()), limits=replace(LIMITS, wind_kt=13))
    )
    assert easy.word is CallWord.PULL
    assert strict.word is CallWord.WAIT
