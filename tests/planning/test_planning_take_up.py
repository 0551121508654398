"""The decision on a day on which traps may only be taken up. All weather is invented."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from boats import LEDGE, NINE_FOOT, OUTER_BAR, light, situation, soaked
from soakbell.gear.strings import Mark, TrapString
from soakbell.gear.wishes import DayWishes
from soakbell.planning.call import CallWord, DayState, Reason, Window
from soakbell.planning.decide import DayRules, Situation, StringAhead, Verdict, decide, for_take_up
from soakbell.sea.conditions import Conditions
from soakbell.sea.fitness import fitness
from soakbell.sea.limits import Limits
from weather import LIMITS, conditions, grid, zone_text

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


def without_places(window: Window | None) -> Window | None:
    return window and replace(window, pulls=tuple(replace(pull, places=()) for pull in window.pulls))


def home(verdict: Verdict) -> dict[str, tuple[int, ...]]:
    return {} if verdict.window is None else {pull.string: pull.places for pull in verdict.window.pulls}


def traps_home(verdict: Verdict) -> int:
    return sum(map(len, home(verdict).values()))


def blowing_but(*hours: tuple[int, int]) -> Conditions:
    """Over the limit but from the first to the second hour, UTC."""
    fit = {n - 5 for begins, ends in hours for n in range(begins, ends)}
    return conditions(zone_text(wind_kt=[10.0 if n in fit else 18.0 for n in range(48)]), grid(wind_kt=9))


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


def test_a_string_without_a_trap_in_the_water_is_left_out_of_the_trip() -> None:
    ashore = replace(FRESH, fishing=0, oldest_soak_h=None, median_soak_h=None)
    verdict = decide(situation(OLD, ashore, days=(take_up(),)))
    assert (verdict.word, pulled(verdict)) == (CallWord.PULL, ["Outer Bar"])


def test_but_for_stacking_the_hours_are_those_of_any_pull() -> None:
    for wind_kt in (8, BREEZE, 25):
        seas = conditions(zone_text(wind_kt=wind_kt), grid(wind_kt=9))
        harvest = decide(situation(OLD, seas=seas))
        taken = decide(aboard(situation(OLD, seas=seas, days=(take_up(),)), stack_min=0))
        assert (taken.word, taken.trip) == (harvest.word, harvest.trip)
        assert without_places(taken.window) == harvest.window
        assert taken.reasons == (*harvest.reasons, ONLY)


def test_each_trap_takes_its_hauling_and_its_stacking() -> None:
    day = situation(OLD, days=(take_up(),))
    without, with_it = (decide(aboard(day, stack_min=stack_min)).trip for stack_min in (0, 2))
    assert without is not None
    assert with_it is not None
    assert round(with_it.duration_min - without.duration_min, 6) == 2 * OLD.fishing


def test_hours_that_carry_the_hauling_and_not_the_stacking_bring_fewer_home() -> None:
    day = situation(OLD, seas=conditions(zone_text(wind_kt=BREEZE), grid(wind_kt=9)), days=(take_up(),))
    hauled, stacked = decide(aboard(day, stack_min=0)), decide(aboard(day, stack_min=5))
    assert traps_home(hauled) == OLD.fishing
    assert 0 < traps_home(stacked) < OLD.fishing
    assert decide(aboard(day, stack_min=500)).word is CallWord.WAIT


def test_few_traps_far_apart_are_stacked_besides_the_run_along_them() -> None:
    long = TrapString("Long Reach", Mark(29.95, -84.25), Mark(29.95, -84.15), 36, "bay", 4, 120, 264)
    ends = replace(soaked(long, 9), fishing=2, places=(1, 36))
    day = situation(ends, days=(take_up(),))
    without, with_it = (decide(aboard(day, stack_min=stack_min)).trip for stack_min in (0, 3))
    assert without is not None
    assert with_it is not None
    assert with_it.duration_min - without.duration_min == pytest.approx(2 * 3)


def test_no_more_comes_home_than_the_deck_carries_and_the_last_string_in_part() -> None:
    strings = [of_places(soaked(string, days)) for string, days in ((OUTER_BAR, 9), (NINE_FOOT, 8), (LEDGE, 7))]
    deck = OUTER_BAR.traps + 4
    verdict = decide(aboard(situation(*strings, days=(take_up(),)), deck=deck))
    assert home(verdict) == {"Outer Bar": tuple(range(1, OUTER_BAR.traps + 1)), "Nine Foot": (1, 2, 3, 4)}
    assert verdict.window is not None
    assert sum(pull.traps for pull in verdict.window.pulls) == deck
    (full,) = [reason for reason in verdict.reasons if reason.code == "deck_full"]
    assert full.values == {
        "deck_traps": deck,
        "string": "Nine Foot",
        "traps": 4,
        "of": NINE_FOOT.traps,
        "strings": ("Ledge",),
    }
    assert "hours_full" not in codes(verdict)


@pytest.mark.parametrize(
    ("strings", "deck", "told"),
    [
        ((OUTER_BAR, NINE_FOOT), OUTER_BAR.traps, {"string": "", "strings": ("Nine Foot",)}),
        ((OUTER_BAR,), 5, {"string": "Outer Bar", "traps": 5, "of": OUTER_BAR.traps, "strings": ()}),
        ((OUTER_BAR,), OUTER_BAR.traps, None),
    ],
    ids=["a string left", "a part left", "nothing left"],
)
def test_a_full_deck_is_told_where_it_leaves_traps_out_there(
    strings: tuple[TrapString, ...], deck: int, told: dict[str, object] | None
) -> None:
    ahead = [of_places(soaked(string, 9 - n)) for n, string in enumerate(strings)]
    day = situation(*ahead, days=(take_up(),))
    full = [reason.values for reason in decide(aboard(day, deck=deck)).reasons if reason.code == "deck_full"]
    assert full == ([] if told is None else [{"deck_traps": deck, **told}])


def test_a_string_larger_than_the_deck_comes_home_in_part_in_the_hours_of_its_part() -> None:
    whole = situation(of_places(OLD), days=(take_up(),))
    part, all_of_it = decide(aboard(whole, deck=5)), decide(aboard(whole))
    assert home(part) == {"Outer Bar": (1, 2, 3, 4, 5)}
    assert part.trip is not None
    assert all_of_it.trip is not None
    hauled_min = [leg.ends_min - leg.starts_min for leg in part.trip.hauls]
    assert hauled_min == pytest.approx([5 * (2.5 + 0.5)])
    assert part.trip.duration_min < all_of_it.trip.duration_min - 60


def test_where_no_whole_string_fits_its_hours_bring_home_a_part_of_it() -> None:
    """Two hours for a trip that takes 105 minutes of hauling and stacking, and more."""
    day = situation(of_places(OLD), seas=blowing_but((13, 15)), break_margin_h=0, days=(take_up(),))
    verdict = decide(day)
    traps = traps_home(verdict)
    assert verdict.word is CallWord.PULL
    assert home(verdict) == {"Outer Bar": tuple(range(1, traps + 1))}
    assert Reason("hours_full", {"string": "Outer Bar", "traps": traps, "of": 30}) in verdict.reasons
    assert "deck_full" not in codes(verdict)
    assert verdict.trip is not None
    assert 120 - 3.5 <= verdict.trip.duration_min <= 120
    assert traps_home(decide(aboard(day, deck=traps - 1))) == traps - 1


def test_every_hour_of_a_shorter_trip_is_judged() -> None:
    """The same two hours and one after landing that must be fit too, and isn't."""
    day = situation(of_places(OLD), seas=blowing_but((13, 15)), break_margin_h=0, days=(take_up(),))
    held = decide(replace(day, break_margin_h=1))
    assert held.trip is None or held.trip.duration_min <= 60
    assert traps_home(held) < traps_home(decide(day))


def test_whole_strings_go_first_and_the_next_in_part() -> None:
    strings = [of_places(soaked(string, days)) for string, days in ((NINE_FOOT, 9), (OUTER_BAR, 8))]
    seas = blowing_but((13, 16))
    verdict = decide(situation(*strings, seas=seas, break_margin_h=0, days=(take_up(),)))
    brought = home(verdict)
    assert len(brought["Nine Foot"]) == NINE_FOOT.traps
    assert 0 < len(brought["Outer Bar"]) < OUTER_BAR.traps
    assert codes(verdict).count("hours_full") == 1


def test_a_part_is_of_the_traps_that_the_boat_comes_to_first() -> None:
    """Its end mark lies nearer the harbor."""
    turned = replace(OUTER_BAR, start=OUTER_BAR.end, end=OUTER_BAR.start)
    day = situation(of_places(soaked(turned, 9)), days=(take_up(),))
    assert home(decide(aboard(day, deck=3))) == {"Outer Bar": (28, 29, 30)}
    after_another = situation(of_places(soaked(NINE_FOOT, 9)), of_places(soaked(turned, 8)), days=(take_up(),))
    assert home(decide(aboard(after_another, deck=NINE_FOOT.traps + 3)))["Outer Bar"] == (28, 29, 30)


def test_a_near_string_comes_home_where_the_far_one_would_bring_home_less() -> None:
    strings = [of_places(soaked(string, days)) for string, days in ((LEDGE, 9), (NINE_FOOT, 6))]
    verdict = decide(situation(*strings, seas=blowing_but((13, 16)), break_margin_h=0, days=(take_up(),)))
    assert home(verdict) == {"Nine Foot": tuple(range(1, 25))}
    assert Reason("left_out_there", {"strings": ("Ledge",)}) in verdict.reasons


@pytest.mark.parametrize(
    ("far", "near_limits"),
    [
        (replace(OUTER_BAR, area="offing", depth_m=NINE_FOOT.depth_m), LIMITS),
        (OUTER_BAR, LIMITS),
        (replace(OUTER_BAR, depth_m=NINE_FOOT.depth_m), replace(LIMITS, wind_kt=14)),
    ],
    ids=["another area", "deeper", "lower limits"],
)
def test_a_string_in_foul_water_keeps_no_other_out(far: TrapString, near_limits: Limits) -> None:
    day = situation(of_places(soaked(NINE_FOOT, 9)), of_places(soaked(far, 6)), days=(take_up(),))
    foul = fitness(conditions(zone_text(wind_kt=25), grid(wind_kt=9)), near_limits, depth_m=NINE_FOOT.depth_m)
    verdict = decide(replace(day, places={**day.places, "Nine Foot": foul}))
    assert pulled(verdict) == ["Outer Bar"]
    assert Reason("left_out_there", {"strings": ("Nine Foot",)}) in verdict.reasons


def test_what_the_skipper_pinned_goes_before_more_traps_of_others() -> None:
    strings = [of_places(soaked(string, days)) for string, days in ((LEDGE, 6), (NINE_FOOT, 9))]
    day = situation(*strings, seas=blowing_but((13, 16)), break_margin_h=0)
    pinned = take_up(wishes=DayWishes(pinned=frozenset({"Ledge"})))
    (brought,) = home(decide(replace(day, days=(pinned,)))).items()
    assert brought[0] == "Ledge"
    assert len(brought[1]) < NINE_FOOT.traps


def test_one_trap_that_cannot_be_ruled_out_is_no_call() -> None:
    """Too little known for the whole string, not too little for one trap."""
    known = [10.0 if 8 <= n < 9 else 18.0 for n in range(48)]
    unknown = [math.nan if n == 9 else wind for n, wind in enumerate(known)]
    day = situation(of_places(OLD), break_margin_h=0, days=(take_up(),))
    words = []
    for winds in (known, unknown):
        seas = conditions(zone_text(wind_kt=winds), grid(wind_kt=9))
        words.append(decide(replace(day, places=situation(OLD, seas=seas).places)).word)
    assert words == [CallWord.WAIT, CallWord.NO_CALL]


def test_hours_too_short_for_a_single_trap_are_told_with_what_it_takes() -> None:
    rules = take_up()
    assert rules.bounds is not None
    too_short = replace(rules, bounds=replace(rules.bounds, haul_to=rules.bounds.haul_from + timedelta(minutes=2)))
    one = decide(situation(of_places(replace(OLD, fishing=1)), days=(rules,))).trip
    assert one is not None
    (why, _) = decide(situation(of_places(OLD), days=(too_short,))).reasons
    assert (why.code, why.values["needed_min"]) == ("too_short", one.duration_min)


def test_the_deck_load_is_nothing_to_a_pull_for_the_catch() -> None:
    day = situation(OLD)
    assert decide(aboard(day, deck=1, stack_min=9)) == decide(day)


@given(
    winds=st.lists(st.sampled_from([10.0, 10.0, 18.0]), min_size=48, max_size=48),
    calmer=st.sets(st.integers(7, 17)),
    decks=st.tuples(st.integers(1, 150), st.integers(1, 150)),
    stacks=st.tuples(st.floats(0, 6), st.floats(0, 6)),
)
@settings(max_examples=60, deadline=None)
def test_more_deck_more_hours_and_fewer_minutes_never_bring_home_less(
    winds: list[float], calmer: set[int], decks: tuple[int, int], stacks: tuple[float, float]
) -> None:
    more = [10.0 if n in calmer else wind for n, wind in enumerate(winds)]
    strings = [of_places(s) for s in (soaked(LEDGE, 6), OLD, FRESH)]
    brought = {}
    for hours in (winds, more):
        seas = conditions(zone_text(wind_kt=hours), grid(wind_kt=9))
        day = situation(*strings, seas=seas, break_margin_h=0, days=(take_up(),))
        for deck in decks:
            for stack_min in stacks:
                verdict = decide(aboard(day, deck=deck, stack_min=stack_min))
                brought[hours is more, deck, stack_min] = traps = traps_home(verdict)
                assert (verdict.word is CallWord.PULL) == (traps > 0)
                assert traps <= deck
    for (calm, deck, stack_min), traps in brought.items():
        assert traps <= brought[True, deck, stack_min]
        assert traps <= brought[calm, max(decks), stack_min]
        assert traps <= brought[calm, deck, min(stacks)]


def test_a_pull_after_the_last_useful_bait_takes_the_stacking_of_what_it_brings_home() -> None:
    rules = replace(light(), brings_home=frozenset({"Outer Bar"}))
    other = soaked(NINE_FOOT, 8)
    for_catch, brings_home = (
        decide(aboard(situation(OLD, other, days=(day,)), deck=1, stack_min=2)) for day in (light(), rules)
    )
    assert for_catch.trip is not None
    assert brings_home.trip is not None
    assert brings_home.trip.duration_min - for_catch.trip.duration_min == pytest.approx(2 * OUTER_BAR.traps)
    assert brings_home.window is not None
    assert {(p.string, p.traps, p.places) for p in brings_home.window.pulls} == {
        ("Outer Bar", 30, ()),
        ("Nine Foot", 24, ()),
    }


def test_a_pull_whose_stacking_does_not_fit_is_a_wait_and_never_cut() -> None:
    rules = replace(light(), brings_home=frozenset({"Outer Bar"}))
    day = aboard(situation(OLD, seas=conditions(zone_text(wind_kt=BREEZE), grid(wind_kt=9))), stack_min=5)
    assert decide(day).word is CallWord.PULL
    verdict = decide(replace(day, days=(rules,)))
    assert (verdict.word, verdict.trip) == (CallWord.WAIT, None)
    assert decide(replace(day, days=(replace(rules, brings_home=frozenset({"Ledge"})),))).word is CallWord.PULL


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
    ashore = replace(FRESH, fishing=0, oldest_soak_h=None, median_soak_h=None)
    one = situation(ashore, days=(take_up(),))
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
