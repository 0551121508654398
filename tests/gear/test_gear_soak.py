"""How long traps have soaked."""

from __future__ import annotations

from datetime import datetime

import pytest

from logbook import FIRST, STRINGS, hours, told
from soakbell.gear.fold import fold
from soakbell.gear.log import Pulled, TrapsSet
from soakbell.gear.soak import NoSoak, soak_of


def test_soak_counts_from_the_last_fresh_bait_of_each_trap() -> None:
    state = fold([told(TrapsSet()), told(Pulled(), 100, traps=(1,))], STRINGS)
    soak = soak_of(state, "Nine Foot", FIRST + hours(124))
    assert (soak.oldest_h, soak.median_h, soak.fishing) == (124.0, 124.0, 4)
    assert soak.by_days == ((1, 1), (5, 3))  # 24 h is 1 full day, 124 h are 5
    assert soak.none_because is None


def test_the_median_lies_between_two_halves() -> None:
    state = fold([told(TrapsSet()), told(Pulled(), 100, traps=(1, 2))], STRINGS)
    assert soak_of(state, "Nine Foot", FIRST + hours(120)).median_h == 70.0  # between 20 h and 120 h


def test_a_string_with_nothing_in_the_water_has_no_soak_and_not_zero() -> None:
    state = fold([told(TrapsSet()), told(Pulled(reset=False), 100)], STRINGS)
    soak = soak_of(state, "Nine Foot", FIRST + hours(120))
    assert (soak.oldest_h, soak.median_h, soak.by_days, soak.fishing) == (None, None, (), 0)
    assert soak.none_because is NoSoak.NOTHING_FISHING


def test_a_clock_behind_the_log_gives_no_soak_instead_of_a_negative_one() -> None:
    """W11: a small computer without a battery clock starts in the past."""
    state = fold([told(TrapsSet()), told(Pulled(), 100, string="Ledge")], STRINGS)
    soak = soak_of(state, "Nine Foot", FIRST + hours(99))
    assert (soak.oldest_h, soak.none_because) == (None, NoSoak.CLOCK_BEHIND_LOG)
    assert soak.fishing == 4


def test_a_clock_behind_the_moment_of_telling_gives_no_soak_either() -> None:
    state = fold([told(TrapsSet(), 0, told_after_h=10)], STRINGS)
    assert soak_of(state, "Nine Foot", FIRST + hours(9)).none_because is NoSoak.CLOCK_BEHIND_LOG
    assert soak_of(state, "Nine Foot", FIRST + hours(10)).oldest_h == 10.0


def test_an_unknown_string_or_a_moment_without_a_zone_is_refused() -> None:
    state = fold([told(TrapsSet())], STRINGS)
    with pytest.raises(ValueError, match="Nine Foot, Ledge"):
        soak_of(state, "Nine Feet", FIRST)
    with pytest.raises(ValueError, match="no zone"):
        soak_of(state, "Nine Foot", datetime(2026, 12, 8))  # noqa: DTZ001
