"""The catch curve: its limits, what it learns, what it does with junk. INVENTED DATA but for ``LOBSTER_HAULS``."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from curve_boats import boat, covered, fitted
from hypothesis import given, settings
from hypothesis import strategies as st

from soakbell.planning.catch_curve import CurvePrior, Haul, LogNormal, catch_a_trap, fit_curve, peak_days, told

DAYS = np.array([0.25, 1.0, 5.0, 7.0, 10.0, 14.0, 30.0])
WEEKLY = [Haul("Nine Foot", 24, 7.0, 7.0 * week, 22) for week in range(1, 15)]

LOBSTER_HAULS = [
    # site, traps, nights, day, lobsters
    ("cove", 8, 1, 1, 15), ("ledges", 4, 1, 1, 6),
    ("cove", 8, 5, 8, 17), ("ledges", 4, 5, 8, 4),
    ("cove", 10, 3, 11, 28), ("ledges", 5, 3, 11, 9),
    ("cove", 6, 3, 19, 38), ("ledges", 3, 3, 19, 15),
    ("cove", 6, 3, 22, 16), ("ledges", 3, 3, 22, 16),
    ("cove", 2, 2, 24, 12), ("ledges", 3, 2, 24, 21),
    ("cove", 5, 7, 29, 9),
    ("cove", 6, 3, 32, 16), ("ledges", 3, 3, 32, 19),
    ("cove", 6, 7, 39, 12), ("ledges", 3, 7, 39, 11),
    ("cove", 6, 2, 41, 24), ("ledges", 3, 2, 41, 26),
    ("cove", 6, 9, 50, 10), ("ledges", 4, 9, 50, 12),
    ("cove", 6, 4, 54, 18), ("ledges", 2, 4, 54, 14),
    ("cove", 5, 2, 62, 26), ("ledges", 3, 2, 62, 15),
]  # fmt: skip
"""Lobsters of all sizes in traps baited with herring, by site and haul, summed from field trials near Gloucester,
Massachusetts, from 14 July to 14 September 2022: github.com/bartdifiore/DiFiore-2022-AltBait,
Data/Rawdata_20221017.csv. Left out: traps that were emptied earlier without new bait, those with half the bait,
one without its escape vent. Not crabs, and a quicker curve: what counts is that data can move the prior that far.
"""


@pytest.mark.parametrize("soak_days", DAYS)
def test_without_bait_decay_the_curve_is_munros(soak_days: float) -> None:
    """S5: C = (A/r) (1 - exp(-r t)) at b = 0."""
    munro = 0.3 / 0.15 * (1 - math.exp(-0.15 * soak_days))
    assert catch_a_trap(soak_days, 0.3, 0.0, 0.15) == pytest.approx(munro, abs=1e-9)


@pytest.mark.parametrize("soak_days", DAYS)
@pytest.mark.parametrize("apart", [0.0, 1e-15, 1e-9, -1e-9])
def test_at_equal_rates_the_curve_is_the_limit(soak_days: float, apart: float) -> None:
    """S5: C = A t exp(-b t) at r = b."""
    limit = 0.3 * soak_days * math.exp(-0.1 * soak_days)
    assert catch_a_trap(soak_days, 0.3, 0.1, 0.1 + apart) == pytest.approx(limit, abs=1e-7 if apart else 1e-9)


def test_a_short_soak_catches_what_enters() -> None:
    """S5: C = A t for small t."""
    assert catch_a_trap(1e-7, 0.3, 0.05, 0.2) == pytest.approx(0.3e-7, rel=1e-6)
    assert catch_a_trap(0.0, 0.3, 0.05, 0.2) == 0.0


@given(st.floats(0.01, 60), st.floats(1e-4, 2), st.floats(1e-4, 2))
def test_the_curve_is_the_formula_of_the_reference(soak_days: float, b: float, r: float) -> None:
    """S5, where the plain formula is good to nine digits."""
    if abs(r - b) > 1e-3:
        plain = (math.exp(-b * soak_days) - math.exp(-r * soak_days)) / (r - b)
        assert catch_a_trap(soak_days, 1.0, b, r) == pytest.approx(plain, abs=1e-9)


@given(st.floats(0.005, 1), st.floats(0.005, 1))
def test_the_peak_is_where_the_reference_says_and_nothing_is_higher(b: float, r: float) -> None:
    """S5: ln(r/b) / (r - b)."""
    peak = float(peak_days(b, r))
    if abs(r - b) > 1e-6:
        assert peak == pytest.approx(math.log(r / b) / (r - b), rel=1e-6)
    at_peak = catch_a_trap(peak, 1.0, b, r)
    assert at_peak >= catch_a_trap(peak * 1.01, 1.0, b, r)
    assert at_peak >= catch_a_trap(peak * 0.99, 1.0, b, r)
    assert catch_a_trap(peak, 1.0, b, r, slope=True) == pytest.approx(0.0, abs=1e-9)


@given(st.floats(0.1, 60), st.floats(1e-4, 1), st.floats(1e-4, 1))
def test_the_slope_is_that_of_the_curve(soak_days: float, b: float, r: float) -> None:
    step = 1e-5
    rise = catch_a_trap(soak_days + step, 1.0, b, r) - catch_a_trap(soak_days - step, 1.0, b, r)
    assert catch_a_trap(soak_days, 1.0, b, r, slope=True) == pytest.approx(rise / (2 * step), abs=1e-6)


def test_no_log_gives_the_usual_week_with_a_wide_interval() -> None:
    """Common practice, no source: about a week to ripeness, most in the trap after 10 to 14 days."""
    curve = fit_curve([], ["Nine Foot"])
    expected = curve.expected("Nine Foot", 7.0, 0.0)
    assert expected.high > 5 * expected.low > 0
    assert 5.5 < curve.ripe_days("Nine Foot") < 8.5
    assert 10.0 < curve.past_best_days() < 14.0
    says = told(curve, "Nine Foot")
    assert (says.hauls, says.all_hauls, says.left_out) == (0, 0, 0)
    assert says.level_share < 0.1
    assert says.shape_share < 0.1


def test_a_string_that_is_not_known_is_one_never_hauled() -> None:
    curve = fit_curve(WEEKLY, ["Nine Foot", "Ledge"])
    assert curve.expected("The Hump", 7.0, 0.0).low < curve.expected("Nine Foot", 7.0, 0.0).low
    told_of = told(curve, "The Hump")
    assert told_of.hauls == 0
    assert 0.0 < told_of.level_share < told(curve, "Nine Foot").level_share


def test_what_is_hauled_is_what_is_expected() -> None:
    """22 claws of 24 traps a week, every week of a season: near that at 7 days in mid season."""
    curve = fit_curve(WEEKLY, ["Nine Foot"])
    expected = curve.expected("Nine Foot", 7.0, 50.0)
    assert expected.claws == pytest.approx(22 / 24, rel=0.12)
    assert expected.low < 22 / 24 < expected.high


@pytest.mark.parametrize("soak_days", [3.0, 7.0, 14.0])
def test_at_the_soak_that_was_always_hauled_the_draws_agree_with_the_hauls(soak_days: float) -> None:
    """A log of one soak tells its catch well and the rates badly. 60 hauls of 44 claws from 40 traps: were they
    counts by Poisson's law, the mean's standard deviation would be 1 / sqrt(60 * 44), 2 %, of it."""
    hauls = [Haul("Ledge", 40, soak_days, float(day), 44 + day % 5 - 2) for day in range(60)]
    drawn = 40 * fit_curve(hauls, ["Ledge"]).draws("Ledge", soak_days, 29.5)
    assert drawn.mean() == pytest.approx(44, rel=0.02)
    assert drawn.std() / drawn.mean() < 0.03


def test_more_hauls_make_the_interval_narrower_and_the_share_of_the_log_larger() -> None:
    few, many = (fit_curve(WEEKLY * times, ["Nine Foot"]) for times in (1, 10))
    narrow, wide = many.expected("Nine Foot", 7.0, 50.0), few.expected("Nine Foot", 7.0, 50.0)
    assert narrow.high - narrow.low < wide.high - wide.low
    assert told(many, "Nine Foot").level_share > told(few, "Nine Foot").level_share > 0.5


def test_a_string_of_few_hauls_leans_on_the_others() -> None:
    """Partial pooling: one poor haul among good strings is not believed whole, twelve are."""
    good = [replace(haul, string=string) for haul in WEEKLY for string in ("Grassy Edge", "Outer Bar", "Ledge")]
    poor = [replace(haul, legal_claws=5) for haul in WEEKLY]
    once, often = (
        fit_curve([*good, *poor[:hauls]], ["Nine Foot"]).expected("Nine Foot", 7.0, 30.0) for hauls in (1, 12)
    )
    none = fit_curve(good, ["Nine Foot"]).expected("Nine Foot", 7.0, 30.0)
    assert none.claws > once.claws > often.claws
    assert often.claws == pytest.approx(5 / 24, rel=0.25)


def test_the_season_takes_from_the_catch_and_never_adds() -> None:
    curve = fit_curve(WEEKLY, ["Nine Foot"])
    many = curve.expected_many("Nine Foot", 7.0, [-5.0, 0.0, 50.0, 100.0, 150.0])
    assert many.claws[0] == many.claws[1]
    assert (np.diff(many.claws[1:]) < 0).all()


def test_a_falling_season_is_learned() -> None:
    falling = [
        replace(haul, traps=40, legal_claws=round(40 * math.exp(-0.012 * haul.season_day))) for haul in WEEKLY
    ]
    curve = fit_curve(falling * 3, ["Nine Foot"])
    drop = curve.expected("Nine Foot", 7.0, 90.0).claws / curve.expected("Nine Foot", 7.0, 10.0).claws
    assert drop == pytest.approx(math.exp(-0.012 * 80), rel=0.15)


def test_many_soaks_at_once_give_the_same_as_one_by_one() -> None:
    curve = fit_curve(WEEKLY, ["Nine Foot"])
    many = curve.expected_many("Nine Foot", [[3.0], [7.0]], [0.0, 40.0, 80.0])
    assert many.lb_high.shape == (2, 3)
    one = curve.expected("Nine Foot", 7.0, 80.0)
    for name in ("claws", "low", "high", "lb", "lb_low", "lb_high"):
        assert getattr(many, name)[1, 2] == pytest.approx(getattr(one, name))


def test_junk_is_left_out_and_counted() -> None:
    haul = WEEKLY[0]
    junk = [
        replace(haul, soak_days=0.0), replace(haul, soak_days=-3.0), replace(haul, soak_days=math.nan),
        replace(haul, soak_days=0.49), replace(haul, legal_claws=10**400), replace(haul, traps=10**400),
        replace(haul, legal_claws=None, lb=1.7e308),
        replace(haul, soak_days=900.0), replace(haul, traps=0), replace(haul, season_day=-1.0),
        replace(haul, season_day=math.inf), replace(haul, legal_claws=None), replace(haul, legal_claws=-2),
        replace(haul, legal_claws=None, lb=math.nan),
    ]  # fmt: skip
    curve = fit_curve([*WEEKLY, *junk], ["Nine Foot"])
    assert curve.left_out == len(junk)
    assert curve.expected("Nine Foot", 7.0, 20.0) == fit_curve(WEEKLY, ["Nine Foot"]).expected(
        "Nine Foot", 7.0, 20.0
    )


def weekly_hauls() -> list[Haul]:
    """200 of 25 traps of two strings, with 25 claws at the opening, whatever the soak from 5 to 10 days."""
    rng = np.random.default_rng(1)
    return [
        Haul("ab"[n % 2], 25, float(rng.uniform(5, 10)), n // 2 * 3.5, int(rng.poisson(25 * math.exp(-n / 570))))
        for n in range(200)
    ]


@pytest.mark.parametrize(
    ("soak_days", "claws"), [(0.05, 25), (0.25, 25), (0.5, 25), (1.0, 25), (7.0, 250), (7.0, 0), (7.0, 100_000)]
)
def test_one_haul_told_wrong_leaves_the_curve_as_it_is(soak_days: float, claws: int) -> None:
    """A pull told of the wrong string, or a slip in the count: not left out, it made traps ripe after 0.5 days."""
    hauls = weekly_hauls()
    right = fit_curve(hauls, ["a", "b"])
    wrong = fit_curve([*hauls, Haul("a", 25, soak_days, 100.0, claws)], ["a", "b"])
    assert wrong.ripe_days("a") == pytest.approx(right.ripe_days("a"), abs=0.2)
    assert wrong.past_best_days() == pytest.approx(right.past_best_days(), abs=0.2)
    assert wrong.expected("a", 7.0, 100.0).claws == pytest.approx(right.expected("a", 7.0, 100.0).claws, rel=0.02)
    assert wrong.left_out + wrong.stray[0] == 1
    assert right.stray == (0, 0)


@pytest.mark.parametrize("count", [20, 40])
@pytest.mark.parametrize("soak_days", [0.5, 1.0, 2.0, 45.0])
def test_one_soak_told_wrong_leaves_the_curve_of_a_young_log_as_it_is(count: int, soak_days: float) -> None:
    """At the opening, with the usual count of claws: counted in, 1 day made traps ripe days too soon."""
    hauls = weekly_hauls()[:count]
    right = fit_curve(hauls, ["a", "b"])
    wrong = fit_curve([*hauls, Haul("a", 25, soak_days, 5.0, 25)], ["a", "b"])
    assert wrong.ripe_days("a") == pytest.approx(right.ripe_days("a"), rel=0.1)
    assert wrong.past_best_days() == pytest.approx(right.past_best_days(), rel=0.1)
    assert wrong.stray == (1, 0)


def test_short_soaks_told_again_and_again_are_believed() -> None:
    hauls = [*weekly_hauls()[:40], *(Haul("a", 25, 1.0, day, 25) for day in (5.0, 12.0, 19.0))]
    curve = fit_curve(hauls, ["a", "b"])
    assert curve.stray == (0, 0)
    assert curve.expected("a", 1.0, 10.0).claws > 0.5


def test_a_string_that_changed_for_good_is_followed_though_its_first_poor_haul_was_not() -> None:
    poor = [replace(haul, string="Ledge", legal_claws=0) for haul in WEEKLY]
    once, often = (
        fit_curve([*WEEKLY * 4, *poor[:hauls]], ["Ledge"]).expected("Ledge", 7.0, 30.0) for hauls in (1, 14)
    )
    assert often.claws < 0.1 < once.claws


def test_the_fit_finds_a_boat_far_from_what_is_held_beforehand() -> None:
    """All of its hauls are far from the prior's curve; none of them is stray. 8 claws a trap."""
    rich = [replace(haul, legal_claws=200, soak_days=soak) for haul in WEEKLY for soak in (3.0, 6.0)]
    curve = fit_curve(rich, ["Nine Foot"])
    assert curve.stray == (0,)
    assert curve.expected("Nine Foot", 4.0, 50.0).claws == pytest.approx(200 / 24, rel=0.15)


def test_nothing_told_beside_claws_is_no_weight() -> None:
    unweighed = [replace(haul, lb=0.0) for haul in WEEKLY * 4]
    expected = fit_curve(unweighed, ["Nine Foot"]).expected("Nine Foot", 7.0, 50.0)
    assert expected.lb / expected.claws == pytest.approx(0.25, rel=0.05)


def test_a_string_that_brings_in_less_than_a_pull_costs_does_not_pay() -> None:
    bare = [replace(haul, string="Outer Bar", legal_claws=0) for haul in WEEKLY * 7]
    curve = fit_curve([*WEEKLY, *bare], [])
    assert told(curve, "Nine Foot").pays
    assert not told(curve, "Outer Bar").pays


_HAULS = st.builds(
    Haul,
    st.sampled_from(["Nine Foot", "Ledge"]),
    st.sampled_from([-1, 0, 1, 24, 5000]),
    st.sampled_from([math.nan, -1.0, 0.0, 0.001, 0.5, 7.0, 14.0, 366.0]),
    st.sampled_from([math.nan, -1.0, 0.0, 90.0, 366.0]),
    st.sampled_from([None, -1, 0, 1, 30, 10**6, 10**400]),
    st.sampled_from([None, -1.0, 0.0, 8.0, 1e6, 1.7e308, math.nan]),
)


@settings(max_examples=60, deadline=None)
@given(st.lists(_HAULS, max_size=12))
def test_no_log_is_too_odd(hauls: list[Haul]) -> None:
    curve = fit_curve(hauls, ["Nine Foot"])
    assert sum(curve.hauls) + curve.left_out == len(hauls)
    for string in ("Nine Foot", "Ledge", "The Hump"):
        many = curve.expected_many(string, [0.0, 0.1, 7.0, 400.0], 30.0)
        assert np.isfinite(many.claws).all()
        assert (many.low >= 0).all()
        assert (many.low <= many.high).all()
        assert (many.lb_low <= many.lb_high).all()
        says = told(curve, string)
        assert 0.0 <= says.ripe_days < math.inf
        assert 0.0 <= says.level_share <= 1.0
        assert 0.0 <= says.shape_share <= 1.0


def test_the_same_log_gives_the_same_numbers() -> None:
    first, second = (fit_curve(WEEKLY, ["Nine Foot"]) for _ in range(2))
    assert first.expected("Nine Foot", 9.0, 20.0) == second.expected("Nine Foot", 9.0, 20.0)


def test_pounds_follow_the_claws_that_were_weighed() -> None:
    """Claws of a third of a pound in the log move the quarter of a pound that is held beforehand."""
    weighed = [replace(haul, lb=22 / 3) for haul in WEEKLY * 5]
    expected = fit_curve(weighed, ["Nine Foot"]).expected("Nine Foot", 7.0, 50.0)
    assert expected.lb / expected.claws == pytest.approx(1 / 3, rel=0.05)
    without = fit_curve(WEEKLY * 5, ["Nine Foot"]).expected("Nine Foot", 7.0, 50.0)
    assert without.lb / without.claws == pytest.approx(0.25, rel=0.05)
    assert without.lb_high / without.lb_low > expected.lb_high / expected.lb_low


def test_a_boat_that_only_weighs_is_told_its_own_pounds() -> None:
    """8 lb of 24 traps, whatever a claw weighs."""
    weighed = [replace(haul, legal_claws=None, lb=8.0) for haul in WEEKLY * 3]
    expected = fit_curve(weighed, ["Nine Foot"]).expected("Nine Foot", 7.0, 50.0)
    assert expected.lb == pytest.approx(8 / 24, rel=0.12)
    assert expected.lb_low < 8 / 24 < expected.lb_high


def test_the_ripe_soak_is_the_best_by_the_marginal_value_rule() -> None:
    """No other soak gives more a day, net of what a pull costs (Charnov's rule)."""
    hauls = [replace(haul, soak_days=soak) for haul in WEEKLY for soak in (4.0, 7.0, 12.0)]
    curve = fit_curve(hauls * 4, ["Nine Foot"])
    cost = curve.prior.pull_costs_claws
    days = np.arange(1.0, 20.0, 0.05)
    a_day = (np.median(curve.draws("Nine Foot", days, 0.0), axis=0) - cost) / days
    assert curve.ripe_days("Nine Foot") == pytest.approx(days[np.argmax(a_day)], abs=0.7)


def test_a_rich_string_is_ripe_sooner_and_none_later_than_its_peak() -> None:
    rich = [replace(haul, string="Ledge", legal_claws=90) for haul in WEEKLY]
    bare = [replace(haul, string="Outer Bar", legal_claws=1) for haul in WEEKLY]
    curve = fit_curve([*WEEKLY, *rich, *bare], [])
    ripe = [curve.ripe_days(string) for string in ("Ledge", "Nine Foot", "Outer Bar")]
    assert ripe[0] < ripe[1] < ripe[2] <= curve.past_best_days()
    assert curve.ripe_days("Nine Foot", 120.0) > curve.ripe_days("Nine Foot", 0.0)


def test_cheap_pulls_make_traps_ripe_sooner() -> None:
    cheap, dear = (
        fit_curve(WEEKLY, [], replace(CurvePrior(), pull_costs_claws=cost)).ripe_days("Nine Foot")
        for cost in (0.1, 0.6)
    )
    assert cheap < dear


def test_the_interval_holds_the_truth_four_times_in_five() -> None:
    """200 boats of known A, b and r at 5, 7, 10 and 14 days."""
    rng = np.random.default_rng(4)
    inside, widths = [], []
    for _ in range(200):
        known = boat(rng)
        held, wide = covered(known, fitted(known), rng)
        inside += held
        widths += wide
    assert 0.75 <= np.mean(inside) <= 0.85
    assert np.median(widths) < 1.7, "an interval that holds everything tells nothing"


def test_the_interval_holds_four_in_five_of_what_the_catch_may_be() -> None:
    curve = fit_curve(WEEKLY, ["Nine Foot"])
    expected, drawn = curve.expected("Nine Foot", 7.0, 50.0), curve.draws("Nine Foot", 7.0, 50.0)
    for low, high, of in (
        (expected.low, expected.high, drawn),
        (expected.lb_low, expected.lb_high, drawn * curve.lb_a_claw),
    ):
        assert np.mean(of < low) == pytest.approx(0.1, abs=0.002)
        assert np.mean(of > high) == pytest.approx(0.1, abs=0.002)


def test_known_rates_come_back_from_a_long_log() -> None:
    """A, b, r and d of one boat with short and long soaks."""
    rng = np.random.default_rng(9)
    hauls = []
    for string, enters in (("Nine Foot", 0.5), ("Ledge", 0.25)):
        for _ in range(600):
            soak_days, day = float(rng.uniform(1, 30)), float(rng.uniform(0, 200))
            mean = 30 * enters * (math.exp(-0.05 * soak_days) - math.exp(-0.2 * soak_days)) / 0.15
            claws = rng.poisson(mean * math.exp(-0.005 * day) * rng.gamma(30.0, 1 / 30.0))
            hauls.append(Haul(string, 30, soak_days, day, int(claws)))
    curve = fit_curve(hauls, [])
    assert np.median(curve.bait_decay) == pytest.approx(0.05, rel=0.2)
    assert np.median(curve.loss) == pytest.approx(0.2, rel=0.2)
    assert np.median(curve.decline) == pytest.approx(0.005, rel=0.1)
    assert np.exp(np.median(curve.log_claws_a_day, axis=0))[:2] == pytest.approx([0.5, 0.25], rel=0.1)
    assert curve.past_best_days() == pytest.approx(math.log(4) / 0.15, rel=0.06)


def test_published_lobster_hauls_move_the_peak_from_twelve_days_to_a_few() -> None:
    """Catch a trap is 1.8, 5.6, 3.7, 4.0, 1.8, 2.3 and 2.2 after 1, 2, 3, 4, 5, 7 and 9 nights.

    The level held beforehand is that of such traps, about 2 a night; the shape is that of the crabs.
    """
    hauls = [Haul(site, traps, nights, day, caught) for site, traps, nights, day, caught in LOBSTER_HAULS]
    curve = fit_curve(hauls, [], replace(CurvePrior(), claws_a_day=LogNormal(2.0, 0.7)))
    low, high = np.quantile(peak_days(curve.bait_decay, curve.loss), (0.1, 0.9))
    assert 2.0 < low < curve.past_best_days() < high < 7.0
    fits = [curve.expected(haul.string, haul.soak_days, haul.season_day).claws * haul.traps for haul in hauls]
    assert sum(fits) == pytest.approx(sum(haul.legal_claws or 0 for haul in hauls), rel=0.15)
    after = [curve.expected("cove", nights, 30.0).claws for nights in (1, 3, 9)]
    assert after[0] < after[1] > after[2]
    assert told(curve, "cove").shape_share > 0.2
