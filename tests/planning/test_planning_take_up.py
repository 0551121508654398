"""The decision on a day on which traps may only be taken up. All weather is invented."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from boats import LEDGE, NINE_FOOT, OUTER_BAR, light, situation, soaked
from soakbell.gear.wishes import DayWishes
from soakbell.planning.call import CallWord, DayState, Reason
from soakbell.planning.decide import DayRules, Verdict, decide, for_take_up
from weather import conditions, grid, zone_text

ONLY = Reason(
    "take_up_only",
    {"last_harvest": date(2026, 12, 6), "deadline": date(2026, 12, 11), "rule": "a rule", "source": "invented"},
)
CLOSED = Reason("out_of_season", {"rule": "a rule", "source": "invented"})
BREEZE = [10.0 if 8 <= h < 12 else 18.0 for h in range(48)]  # fit 13:00 to 17:00 UTC
FRESH, OLD = soaked(NINE_FOOT, 0.5), soaked(OUTER_BAR, 9)


def take_up(day: int = 0, *, wishes: DayWishes | None = None) -> DayRules:
    return replace(light(day), reasons=(CLOSED,), take_up=ONLY, wishes=wishes or DayWishes())


def pulled(verdict: Verdict) -> list[str]:
    return [] if verdict.window is None else [pull.string for pull in verdict.window.pulls]


def codes(verdict: Verdict) -> list[str]:
    return [reason.code for reason in verdict.reasons]


def test_whatever_fishes_is_due_however_short_its_soak() -> None:
    assert decide(situation(FRESH)).word is CallWord.WAIT
    verdict = decide(situation(FRESH, days=(take_up(),)))
    assert (verdict.word, pulled(verdict)) == (CallWord.PULL, ["Nine Foot"])
    assert verdict.reasons[-1] == ONLY


def test_traps_that_never_had_bait_are_due_as_well() -> None:
    unbaited = replace(FRESH, oldest_soak_h=None, median_soak_h=None)
    verdict = decide(situation(unbaited, days=(take_up(),)))
    assert (verdict.word, pulled(verdict)) == (CallWord.PULL, ["Nine Foot"])


def test_the_hours_are_those_of_any_pull() -> None:
    for wind_kt in (8, BREEZE, 25):
        seas = conditions(zone_text(wind_kt=wind_kt), grid(wind_kt=9))
        harvest = decide(situation(OLD, seas=seas))
        home = decide(situation(OLD, seas=seas, days=(take_up(),)))
        assert (home.word, home.window, home.trip) == (harvest.word, harvest.window, harvest.trip)
        assert home.reasons == (*harvest.reasons, ONLY)


def test_a_string_that_the_hours_do_not_carry_is_told_as_left_out_there() -> None:
    """Fit hours for one of the two nearer strings besides the third."""
    seas = conditions(zone_text(wind_kt=BREEZE), grid(wind_kt=9))
    verdict = decide(situation(soaked(LEDGE, 6), OLD, FRESH, seas=seas, break_margin_h=0, days=(take_up(),)))
    left = {"Ledge", "Outer Bar", "Nine Foot"} - set(pulled(verdict))
    (told,) = [reason for reason in verdict.reasons if reason.code == "left_out_there"]
    assert verdict.word is CallWord.PULL
    assert set(told.values["strings"]) == left  # type: ignore[call-overload]


def test_what_the_skipper_barred_stays_out_there_whatever_the_day() -> None:
    wishes = DayWishes(barred=frozenset({"Nine Foot"}))
    some = decide(situation(FRESH, OLD, days=(take_up(wishes=wishes),)))
    assert (some.word, pulled(some)) == (CallWord.PULL, ["Outer Bar"])
    assert Reason("take_up_barred", {"strings": ("Nine Foot",)}) in some.reasons
    none = decide(situation(FRESH, days=(take_up(wishes=wishes),)))
    assert (none.word, codes(none)) == (CallWord.WAIT, ["take_up_barred", "take_up_only"])
    whole = decide(situation(FRESH, days=(take_up(wishes=DayWishes(day_barred=True)),)))
    assert (whole.word, codes(whole)) == (CallWord.WAIT, ["barred_by_skipper", "take_up_only"])


def test_with_no_trap_in_the_water_the_day_is_out_of_season() -> None:
    home = replace(FRESH, fishing=0, oldest_soak_h=None, median_soak_h=None)
    one = situation(home, days=(take_up(),))
    verdict = decide(one)
    assert (verdict.word, verdict.reasons) == (CallWord.WAIT, (CLOSED,))
    assert not for_take_up(one, one.days[0])


def test_a_day_ahead_says_that_traps_may_only_be_taken_up() -> None:
    verdict = decide(situation(FRESH, days=(light(), take_up(1))))
    assert (verdict.word, codes(verdict)) == (CallWord.WAIT, ["nothing_ripe"])
    assert verdict.outlook[1].state is DayState.FIT
    assert verdict.outlook[1].reasons == (ONLY,)


def test_a_fault_makes_it_no_call() -> None:
    clock = Reason("clock", {"detail": "an earlier time than the newest record"})
    verdict = decide(situation(FRESH, days=(take_up(),), faults=(clock,)))
    assert (verdict.word, verdict.window) == (CallWord.NO_CALL, None)
