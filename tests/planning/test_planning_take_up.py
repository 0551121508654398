"""The decision on a day on which traps may only be taken up. All weather is invented."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from hypothesis import given, settings
from hypothesis import strategies as st

from boats import LEDGE, NINE_FOOT, OUTER_BAR, light, situation, soaked
from soakbell.gear.wishes import DayWishes
from soakbell.planning.call import CallWord, DayState, Reason
from soakbell.planning.decide import DayRules, Situation, StringAhead, Verdict, decide, for_take_up
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


def aboard(day: Situation, *, deck: int | None = None, stack_min: float = 0.5) -> Situation:
    return replace(day, boat=replace(day.boat, deck_traps=deck, stack_min_per_trap=stack_min))


def of_places(ahead: StringAhead) -> StringAhead:
    return replace(ahead, places=tuple(range(1, ahead.fishing + 1)))


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


def test_but_for_stacking_the_hours_are_those_of_any_pull() -> None:
    for wind_kt in (8, BREEZE, 25):
        seas = conditions(zone_text(wind_kt=wind_kt), grid(wind_kt=9))
        harvest = decide(situation(OLD, seas=seas))
        home = decide(aboard(situation(OLD, seas=seas, days=(take_up(),)), stack_min=0))
        assert (home.word, home.window, home.trip) == (harvest.word, harvest.window, harvest.trip)
        assert home.reasons == (*harvest.reasons, ONLY)


def test_each_trap_takes_its_hauling_and_its_stacking() -> None:
    day = situation(OLD, days=(take_up(),))
    without, with_it = (decide(aboard(day, stack_min=stack_min)).trip for stack_min in (0, 2))
    assert without is not None
    assert with_it is not None
    assert round(with_it.duration_min - without.duration_min, 6) == 2 * OLD.fishing


def test_hours_that_carry_the_hauling_and_not_the_stacking_are_a_wait() -> None:
    day = situation(OLD, seas=conditions(zone_text(wind_kt=BREEZE), grid(wind_kt=9)), days=(take_up(),))
    assert decide(aboard(day, stack_min=0)).word is CallWord.PULL
    assert decide(aboard(day, stack_min=5)).word is CallWord.WAIT


def test_no_more_comes_home_than_the_deck_carries_and_the_last_string_in_part() -> None:
    strings = [of_places(soaked(string, days)) for string, days in ((OUTER_BAR, 9), (NINE_FOOT, 8), (LEDGE, 7))]
    deck = OUTER_BAR.traps + 4
    verdict = decide(aboard(situation(*strings, days=(take_up(),)), deck=deck))
    assert verdict.window is not None
    places = {pull.string: pull.places for pull in verdict.window.pulls}
    assert places == {"Outer Bar": tuple(range(1, OUTER_BAR.traps + 1)), "Nine Foot": (1, 2, 3, 4)}
    assert sum(pull.traps for pull in verdict.window.pulls) == deck
    (full,) = [reason for reason in verdict.reasons if reason.code == "deck_full"]
    assert full.values == {
        "deck_traps": deck,
        "string": "Nine Foot",
        "traps": 4,
        "of": NINE_FOOT.traps,
        "strings": ("Ledge",),
    }


def test_a_string_larger_than_the_deck_comes_home_in_part_in_the_hours_of_the_whole() -> None:
    whole = situation(of_places(OLD), days=(take_up(),))
    part, all_of_it = decide(aboard(whole, deck=5)), decide(aboard(whole))
    assert part.trip == all_of_it.trip
    assert part.window is not None
    assert [pull.places for pull in part.window.pulls] == [(1, 2, 3, 4, 5)]


def test_the_deck_load_is_nothing_to_a_pull_for_the_catch() -> None:
    day = situation(OLD)
    assert decide(aboard(day, deck=1, stack_min=9)) == decide(day)


@given(
    winds=st.lists(st.sampled_from([10.0, 18.0]), min_size=48, max_size=48),
    decks=st.tuples(st.integers(1, 150), st.integers(1, 150)),
    stacks=st.tuples(st.floats(0, 6), st.floats(0, 6)),
)
@settings(max_examples=60, deadline=None)
def test_a_smaller_deck_load_or_more_to_stack_never_makes_a_pull(
    winds: list[float], decks: tuple[int, int], stacks: tuple[float, float]
) -> None:
    seas = conditions(zone_text(wind_kt=winds), grid(wind_kt=9))
    day = situation(soaked(LEDGE, 6), OLD, FRESH, seas=seas, break_margin_h=0, days=(take_up(),))
    before = decide(aboard(day, deck=max(decks), stack_min=min(stacks)))
    after = decide(aboard(day, deck=min(decks), stack_min=max(stacks)))
    assert before.word is CallWord.PULL or after.word is not CallWord.PULL
    assert after.window is None or sum(pull.traps for pull in after.window.pulls) <= min(decks)


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
