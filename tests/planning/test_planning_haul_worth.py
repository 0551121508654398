"""What a pull is worth: by its soak, its day's weather, the soak ceiling and the season's end. INVENTED DATA."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from numpy.testing import assert_allclose

from soakbell.planning.catch_curve import CatchCurve, fit_curve
from soakbell.planning.haul_worth import HaulWorth, StandingString, haul_worth

PRICE = 18.0
LEDGE = StandingString(
    name="Ledge",
    traps=40,
    soak_days=5.0,
    oldest_days=5.0,
    floor_days=6.0,
    ceiling_days=14.0,
    pull_usd=50.0,
    bait_usd=30.0,
    trip_usd=60.0,
)
DAYS = 8


@pytest.fixture(scope="module")
def curve() -> CatchCurve:
    return fit_curve([], ["Ledge"])


def worth(curve: CatchCurve, fit: object = True, string: StandingString = LEDGE, **given: object) -> HaulWorth:
    rest: dict[str, object] = {"usual_chance": 0.5, "days_after": 100, "least_chance": 0.25} | given
    paths = np.broadcast_to(np.asarray(fit, dtype=bool), (400, DAYS)).copy()
    return haul_worth(string, curve, paths, price_usd_lb=PRICE, season_day=30.0, **rest)  # type: ignore[arg-type]


def often(chance: float) -> np.ndarray:
    return np.random.default_rng(7).random((400, DAYS)) < chance


def test_a_sure_pull_is_worth_its_catch_less_its_costs(curve: CatchCurve) -> None:
    told = worth(curve)
    lb = 40 * curve.expected("Ledge", 8.0, 33.0).lb
    assert_allclose(told.expected_lb[0, 3], lb, rtol=0.01)
    assert_allclose(told.gain_usd[0, 3], PRICE * told.expected_lb[0, 3] - 50.0)


def test_no_pull_is_planned_below_the_soak_floor_unless_the_skipper_wants_it(curve: CatchCurve) -> None:
    told = worth(curve)
    assert np.isnan(told.gain_usd[0, 0])
    assert np.isfinite(told.gain_usd[0, 1])
    assert np.isnan(told.gain_usd[1, 6]), "rebaited in the course of today, it is 6 days old past the first hour"
    assert np.isfinite(told.gain_usd[1, 7])
    assert np.isfinite(worth(curve, may_pull=[0]).gain_usd[0, 0])


def test_no_pull_is_planned_on_a_day_that_is_hardly_ever_fit(curve: CatchCurve) -> None:
    fit = often(0.8)
    fit[:, 4] = False
    assert np.isnan(worth(curve, fit).gain_usd[:, 4]).all()
    assert np.isnan(worth(curve, often(0.1)).gain_usd).all()


def test_of_a_string_past_its_best_a_pull_on_a_surer_day_is_worth_more(curve: CatchCurve) -> None:
    late = LEDGE.__class__(**{**vars(LEDGE), "soak_days": 15.0, "oldest_days": 15.0})
    sure, likely, doubtful = (worth(curve, fit, late).gain_usd[0, 2] for fit in (True, often(0.7), often(0.4)))
    assert sure > likely > doubtful


def test_a_pull_that_the_weather_forbids_is_not_lost(curve: CatchCurve) -> None:
    """It is made some days later: what it loses is far less than its share of bad weather."""
    sure, likely = worth(curve).gain_usd[0, 3], worth(curve, often(0.5)).gain_usd[0, 3]
    assert likely > 0.75 * sure


def test_a_pull_made_later_loses_what_the_days_between_are_worth(curve: CatchCurve) -> None:
    """On half of the paths day 3 isn't fit, and day 4 is on all."""
    fit = np.ones((400, DAYS), dtype=bool)
    fit[::2, 3] = False
    told, sure = worth(curve, fit), worth(curve)
    late = sure.gain_usd[0, 4] - told.day_usd
    assert told.day_usd > 10
    assert_allclose(told.gain_usd[0, 3], (sure.gain_usd[0, 3] + late) / 2 - LEDGE.bait_usd / 2)


@pytest.mark.parametrize("ratio", [0.1, 0.25, 0.6])
def test_to_get_ready_pays_where_the_chance_is_above_cost_over_loss(curve: CatchCurve, ratio: float) -> None:
    """The cost-loss model (as in the encyclopedia article "Cost-loss model"): act where p > C/L, at p = C/L it is
    the same. Getting ready costs the bait whether it is fit or not; a fit day not used loses the catch less wear.
    """
    wear_usd, last = 20.0, DAYS - 1
    loss_usd = PRICE * worth(curve).expected_lb[0, last] - wear_usd
    bait = {"bait_usd": ratio * loss_usd, "pull_usd": ratio * loss_usd + wear_usd, "ceiling_days": 30.0}
    string = LEDGE.__class__(**{**vars(LEDGE), **bait})

    def gain_usd(chance: float) -> float:
        fit = np.arange(400)[:, None] < np.full(DAYS, round(400 * chance))
        return float(worth(curve, fit, string, days_after=0, least_chance=0.0).gain_usd[0, last])

    assert gain_usd(ratio - 0.01) < 0 < gain_usd(ratio + 0.01)
    assert gain_usd(ratio) == pytest.approx(0.0, abs=1e-9)
    assert gain_usd(1.0) == pytest.approx(loss_usd * (1 - ratio))


def test_past_its_ceiling_a_string_loses_more_by_every_day(curve: CatchCurve) -> None:
    def at(oldest_days: float) -> np.ndarray:
        string = LEDGE.__class__(**{**vars(LEDGE), "soak_days": 10.0, "oldest_days": oldest_days})
        return worth(curve, True, string).gain_usd[0]

    lost = at(10.0) - at(13.0)
    assert_allclose(lost[:2], 0.0)
    assert (np.diff(lost[1:5]) > 0).all()


def test_soak_that_stands_when_the_season_ends_is_worth_nothing(curve: CatchCurve) -> None:
    assert (worth(curve, days_after=0).end_usd == 0).all()
    assert (worth(curve, days_after=30).end_usd[0] > worth(curve, days_after=30).end_usd[-1]).all()


def test_after_the_season_no_later_day_makes_up_for_a_bad_one(curve: CatchCurve) -> None:
    fit = often(0.5)
    open_on, over = worth(curve, fit, days_after=30), worth(curve, fit, days_after=0)
    assert over.gain_usd[0, DAYS - 1] < 0.7 * open_on.gain_usd[0, DAYS - 1]


@pytest.mark.parametrize("usual_chance", [0.1, 0.5, 0.9])
def test_fewer_days_left_of_the_season_never_make_a_soak_worth_more(
    curve: CatchCurve, usual_chance: float
) -> None:
    """Of a boat that the weather keeps in on all the days planned."""
    for fit in (False, often(0.5)):
        told = [
            worth(curve, fit, days_after=left, usual_chance=usual_chance) for left in (0, 1, 3, 8, 14, 30, 100)
        ]
        for fewer, more in pairwise(told):
            assert (fewer.end_usd <= more.end_usd + 1e-9).all()
            there = np.isfinite(fewer.gain_usd)
            assert (fewer.gain_usd[there] <= more.gain_usd[there] + 1e-9).all()


def test_what_stands_at_the_end_falls_with_the_season_for_as_long_as_it_waits(curve: CatchCurve) -> None:
    """Sure to be pulled once it is ripe, 7 days after the last day planned."""
    sure = worth(curve, usual_chance=1.0)
    pulled = [
        PRICE * 40 * curve.expected("Ledge", soak, 30.0).lb * np.exp(-np.median(curve.decline) * (DAYS + soak - 1))
        for soak in np.arange(7.0, 20.0)
    ]
    costs = LEDGE.pull_usd + LEDGE.trip_usd + sure.day_usd * np.arange(6, 19)
    assert_allclose(sure.end_usd[DAYS], (np.array(pulled) - costs).max(), rtol=1e-6)


def test_what_stands_at_the_end_is_worth_no_more_than_the_chance_of_a_fit_day(curve: CatchCurve) -> None:
    lb = 40 * curve.expected("Ledge", 5.0 + DAYS, 30.0).lb
    (end, *_) = worth(curve, False, days_after=3, usual_chance=0.1).end_usd
    assert 0 < end < (1 - 0.9**3) * PRICE * lb


@pytest.mark.parametrize("oldest_days", [15.0, 28.0, 45.0, 90.0])
def test_past_its_ceiling_no_string_is_better_left_and_no_later_day_is_better(
    curve: CatchCurve, oldest_days: float
) -> None:
    old = LEDGE.__class__(**{**vars(LEDGE), "soak_days": oldest_days, "oldest_days": oldest_days})
    for fit in (True, often(0.6)):
        told = worth(curve, fit, old)
        pulled = told.gain_usd[0] + told.end_usd[1:]
        assert pulled[0] > told.end_usd[0]
        assert told.gain_usd[0].argmax() == 0


def test_a_day_past_the_soak_of_the_law_costs_more_than_any_trip(curve: CatchCurve) -> None:
    """Though a trip for the string never pays: 17 days by law, reached in half a day, in two and long ago."""
    for oldest_days, legal in ((16.5, [0]), (15.0, [0, 1, 2]), (30.0, [])):
        old = {"soak_days": oldest_days, "oldest_days": oldest_days, "ceiling_days": 17.0, "trip_usd": 400.0}
        told = worth(curve, True, LEDGE.__class__(**{**vars(LEDGE), **old}))
        assert told.day_usd == 0
        assert told.gain_usd[0, 0] - told.gain_usd[0, 4] < 400, "as the skipper's own ceiling"
        told = worth(
            curve, True, LEDGE.__class__(**{**vars(LEDGE), **old, "law_days": 17.0, "overdue_usd": 450.0})
        )
        late_usd = told.gain_usd[0, len(legal) or 1 :]
        assert (told.gain_usd[0, legal] > late_usd.max() + 400).all()
        assert (np.diff(late_usd) < -400).all()
        assert told.gain_usd[0, 0] + told.end_usd[1] - 400 > told.end_usd[0], "a trip for it alone, today"


def test_no_more_counts_than_the_bag_limit_lets_land(curve: CatchCurve) -> None:
    told = worth(curve, most_lb=5.0)
    assert told.expected_lb.max() == 5.0
    assert_allclose(told.gain_usd[0, 3], PRICE * 5.0 - 50.0)


def test_whatever_the_costs_every_number_that_is_there_is_finite(curve: CatchCurve) -> None:
    dear = LEDGE.__class__(**{**vars(LEDGE), "pull_usd": 1e5, "trip_usd": 1e5})
    told = worth(curve, often(0.5), dear)
    assert told.day_usd == 0
    assert (told.end_usd == 0).all()
    assert np.isfinite(told.expected_lb).all()
