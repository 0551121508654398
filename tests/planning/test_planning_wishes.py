"""The skipper's pins and bars in the call: a bar only takes away, a pin carries no hour that isn't fit."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from boats import LEDGE, NINE_FOOT, OUTER_BAR, light, situation, soaked
from soakbell.gear.wishes import DayWishes
from soakbell.planning.call import CallWord, DayState, Reason
from soakbell.planning.decide import DayRules, Verdict, barred_since, decide
from weather import MORNING, conditions, grid, zone_text

OLD, RIPE, YOUNG = soaked(OUTER_BAR, 9), soaked(NINE_FOOT, 8), soaked(LEDGE, 2)
BREEZE = [10.0 if 8 <= h < 12 else 18.0 for h in range(48)]  # fit 13:00 to 17:00 UTC


def wished(
    *,
    pinned: tuple[str, ...] = (),
    barred: tuple[str, ...] = (),
    day_pinned: bool = False,
    day_barred: bool = False,
) -> tuple[DayRules, ...]:
    """Today, with these wishes for it."""
    return (replace(light(), wishes=DayWishes(frozenset(pinned), frozenset(barred), day_pinned, day_barred)),)


def pulled(verdict: Verdict) -> list[str]:
    return [] if verdict.window is None else [pull.string for pull in verdict.window.pulls]


def codes(verdict: Verdict) -> list[str]:
    return [reason.code for reason in verdict.reasons]


# ---- Bars


def test_a_barred_day_is_a_wait_however_good_it_is() -> None:
    verdict = decide(situation(OLD, RIPE, days=wished(day_barred=True)))
    assert (verdict.word, verdict.window, verdict.trip) == (CallWord.WAIT, None, None)
    assert verdict.reasons == (Reason("barred_by_skipper", {"strings": ()}),)
    assert verdict.outlook[0].state is DayState.NOT_FIT
    assert verdict.outlook[0].first_light_at is not None  # the legal hours are known all the same


def test_a_barred_day_is_a_wait_also_where_nothing_is_known_of_the_sea() -> None:
    dark = situation(RIPE, seas=conditions(bars_known=False), days=wished(day_barred=True))
    assert decide(dark).word is CallWord.WAIT


def test_a_clock_under_suspicion_is_no_call_on_a_barred_day_too() -> None:
    """Then it isn't known which day it is."""
    faults = (Reason("clock", {"detail": "earlier than the newest log entry"}),)
    assert decide(situation(RIPE, days=wished(day_barred=True), faults=faults)).word is CallWord.NO_CALL


def test_a_barred_string_is_left_out_of_the_trip_and_told() -> None:
    verdict = decide(situation(OLD, RIPE, days=wished(barred=("Outer Bar",))))
    assert verdict.word is CallWord.PULL
    assert pulled(verdict) == ["Nine Foot"]
    assert Reason("barred_by_skipper", {"strings": ("Outer Bar",)}) in verdict.reasons
    assert "left_for_later" not in codes(verdict)


def test_a_day_on_which_all_that_fishes_is_barred_is_a_wait() -> None:
    verdict = decide(situation(OLD, RIPE, days=wished(barred=("Outer Bar", "Nine Foot"))))
    assert verdict.word is CallWord.WAIT
    assert verdict.reasons == (Reason("barred_by_skipper", {"strings": ("Outer Bar", "Nine Foot")}),)


def test_where_the_one_ripe_string_is_barred_the_others_are_told_as_too_young() -> None:
    verdict = decide(situation(OLD, YOUNG, days=wished(barred=("Outer Bar",))))
    assert verdict.word is CallWord.WAIT
    assert codes(verdict) == ["barred_by_skipper", "nothing_ripe"]
    assert verdict.reasons[1].values["oldest_string"] == "Ledge"


def test_a_bar_of_a_string_that_is_too_young_anyway_is_no_reason() -> None:
    assert codes(decide(situation(YOUNG, days=wished(barred=("Ledge",))))) == ["nothing_ripe"]
    with_others = decide(situation(RIPE, YOUNG, days=wished(barred=("Ledge",))))
    assert "barred_by_skipper" not in codes(with_others)


def test_a_bar_where_nothing_is_in_the_water_leaves_that_as_the_reason() -> None:
    ashore = replace(RIPE, fishing=0, oldest_soak_h=None, median_soak_h=None)
    assert codes(decide(situation(ashore, days=wished(barred=("Nine Foot",))))) == ["nothing_set"]


def test_the_days_ahead_obey_their_own_bars() -> None:
    tomorrow = light(1)
    whole = replace(tomorrow, wishes=DayWishes(day_barred=True))
    all_of_it = replace(tomorrow, wishes=DayWishes(barred=frozenset({"Nine Foot"})))
    for rules in (whole, all_of_it):
        verdict = decide(situation(RIPE, days=(light(), rules)))
        assert verdict.word is CallWord.PULL
        assert [day.state for day in verdict.outlook] == [DayState.FIT, DayState.NOT_FIT]
        assert verdict.outlook[1].reasons[0].code == "barred_by_skipper"


def test_out_of_season_comes_before_any_wish() -> None:
    closed = DayRules(
        light().day,
        None,
        (Reason("out_of_season", {"rule": "season", "source": "68B-13.005"}),),
        wishes=DayWishes(pinned=frozenset({"Nine Foot"})),
    )
    verdict = decide(situation(RIPE, days=(closed,)))
    assert verdict.word is CallWord.WAIT
    assert codes(verdict) == ["out_of_season", "pin_not_met"]


# ---- Pins


def test_a_pinned_string_is_taken_in_before_older_ones() -> None:
    """Fit hours for one of the two ripe strings besides the third: see the test of the oldest strings."""
    strings = (soaked(LEDGE, 6), OLD, RIPE)
    seas = conditions(zone_text(wind_kt=BREEZE), grid(wind_kt=9))
    freely = decide(situation(*strings, seas=seas, break_margin_h=0))
    assert "Ledge" not in pulled(freely)
    verdict = decide(situation(*strings, seas=seas, break_margin_h=0, days=wished(pinned=("Ledge",))))
    assert "Ledge" in pulled(verdict)
    assert verdict.reasons[0] == Reason("pinned_by_skipper", {"strings": ("Ledge",)})
    (left,) = [reason for reason in verdict.reasons if reason.code == "left_for_later"]
    assert left.values["strings"] == tuple(
        name for name in ("Outer Bar", "Nine Foot") if name not in pulled(verdict)
    )


def test_a_pinned_string_may_be_short_of_its_floor() -> None:
    assert decide(situation(YOUNG)).word is CallWord.WAIT
    verdict = decide(situation(YOUNG, days=wished(pinned=("Ledge",))))
    assert (verdict.word, pulled(verdict)) == (CallWord.PULL, ["Ledge"])


def test_a_pinned_day_does_not_send_the_boat_to_what_is_too_young() -> None:
    verdict = decide(situation(YOUNG, days=wished(day_pinned=True)))
    assert verdict.word is CallWord.WAIT
    assert codes(verdict) == ["nothing_ripe", "pin_not_met"]
    assert decide(situation(RIPE, days=wished(day_pinned=True))) == decide(situation(RIPE))


@pytest.mark.parametrize("day_pinned", [False, True])
def test_a_pin_carries_no_hour_that_is_not_fit(day_pinned: bool) -> None:
    days = wished(pinned=("Nine Foot",), day_pinned=day_pinned)
    blown = decide(situation(RIPE, seas=conditions(zone_text(wind_kt=22), grid()), days=days))
    assert (blown.word, blown.window, codes(blown)[0]) == (CallWord.WAIT, None, "over_limit")
    dark = decide(situation(RIPE, seas=conditions(zone_text()), days=days))
    assert (dark.word, codes(dark)[0]) == (CallWord.NO_CALL, "not_known")
    assert codes(blown)[-1] == codes(dark)[-1] == "pin_not_met"


def test_a_bar_holds_against_a_pin() -> None:
    verdict = decide(situation(OLD, RIPE, days=wished(pinned=("Outer Bar",), barred=("Outer Bar",))))
    assert pulled(verdict) == ["Nine Foot"]
    assert Reason("pin_not_met", {"strings": ("Outer Bar",)}) in verdict.reasons
    whole = decide(situation(OLD, days=wished(pinned=("Outer Bar",), day_barred=True)))
    assert (whole.word, codes(whole)) == (CallWord.WAIT, ["barred_by_skipper", "pin_not_met"])


def test_a_pin_of_what_is_not_in_the_water_is_told() -> None:
    ashore = replace(soaked(LEDGE, 9), fishing=0, oldest_soak_h=None, median_soak_h=None)
    verdict = decide(situation(RIPE, ashore, days=wished(pinned=("Ledge",))))
    assert pulled(verdict) == ["Nine Foot"]
    assert Reason("pin_not_met", {"strings": ("Ledge",)}) in verdict.reasons


# ---- A bar that comes after the letter


def test_a_bar_told_after_the_letter_counts_by_string_until_the_boat_may_have_left() -> None:
    verdict = decide(situation(OLD, RIPE))
    assert verdict.trip is not None
    assert verdict.window is not None
    leaves = verdict.window.leaves_at

    def barred(at_min: float, **wishes: object) -> bool:
        now = leaves + timedelta(minutes=at_min)
        today = situation(OLD, RIPE, days=wished(**wishes))  # type: ignore[arg-type]
        assert verdict.trip is not None
        assert verdict.window is not None
        return barred_since(verdict.trip, verdict.window, today, now)

    assert leaves > MORNING
    assert not barred(-1)
    assert barred(-1, barred=("Outer Bar",))
    assert not barred(-1, barred=("Ledge",))
    assert not barred(0, barred=("Outer Bar",))
    assert barred(-1, day_barred=True)
    assert barred(0, day_barred=True)
    tomorrow = replace(situation(OLD, RIPE), days=(light(), replace(light(1), wishes=DayWishes(day_barred=True))))
    assert not barred_since(verdict.trip, verdict.window, tomorrow, MORNING), (
        "another day is no matter of this trip"
    )
    both = replace(tomorrow, days=(*wished(day_barred=True), light(1)))
    assert barred_since(verdict.trip, verdict.window, both, MORNING)


def test_a_day_ahead_on_which_nothing_is_ripe_is_judged_for_what_the_skipper_left_free() -> None:
    young = soaked(OUTER_BAR, 1), soaked(NINE_FOOT, 1)
    tomorrow = replace(light(1), wishes=DayWishes(barred=frozenset({"Outer Bar"})))
    ahead = decide(situation(*young, days=(light(), tomorrow))).outlook[1]
    assert ahead.window is not None
    assert [pull.string for pull in ahead.window.pulls] == ["Nine Foot"]
