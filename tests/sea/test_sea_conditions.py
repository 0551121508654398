"""Laying sources over each other, and holding the hours against limits."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from soakbell.sea.conditions import Bar, Gap, Requirement
from soakbell.sea.fitness import fitness
from soakbell.sea.sources import QUANTITIES, SourceHours, SourceKind
from weather import HOURS, LIMITS, NEEDED, conditions, grid, said, zone_text

NINE = HOURS[9]


def holed(source: SourceHours, quantity: str, at: object = NINE) -> SourceHours:
    numbers, whole = source.numbers.copy(), source.whole.copy()
    numbers.loc[at, quantity], whole.loc[at, quantity] = np.nan, False
    return replace(source, numbers=numbers, whole=whole)


def fit(*sources: SourceHours, **options: object) -> object:
    return fitness(conditions(*sources, **options), LIMITS, depth_m=4).fit


def test_each_hour_takes_the_higher_of_two_sources_and_says_whose_it_was() -> None:
    both = conditions(zone_text(wind_kt=12), grid(wind_kt=14))
    assert both.worst.at[NINE, "wind_kt"] == 14
    assert both.source_of.at[NINE, "wind_kt"] == "grid"
    assert both.worst.at[NINE, "sea_m"] == 0.6
    assert both.source_of.at[NINE, "sea_m"] == "zone text"
    assert both.source_of.at[NINE, "period_s"] == "", "nobody gave one"


def test_visibility_and_wave_period_are_worse_when_lower() -> None:
    both = conditions(zone_text(visibility_nm=1, period_s=6), grid(visibility_nm=5, period_s=4))
    assert both.worst.at[NINE, "visibility_nm"] == 1
    assert both.worst.at[NINE, "period_s"] == 4


def test_hours_inside_all_limits_on_known_numbers_are_fit() -> None:
    assert fit(zone_text(), grid()).all()


@pytest.mark.parametrize(
    ("quantity", "limit", "past"),
    [
        ("wind_kt", 15, 15.1),
        ("gust_kt", 20, 20.1),
        ("sea_m", 0.9, 0.91),
        ("thunder_pct", 30, 31),
        ("visibility_nm", 2, 1.9),
    ],
)
def test_a_number_at_its_limit_is_inside_it_and_one_past_it_is_over(
    quantity: str, limit: float, past: float
) -> None:
    wary = replace(LIMITS, thunder_pct=30.0, visibility_nm=2.0)
    good = {"thunder_pct": 10, "visibility_nm": 5, "gust_kt": 17}
    for value, kept in ((limit, True), (past, False)):
        seas = conditions(zone_text(**good | {quantity: value}), grid(**good | {quantity: value}))
        held = fitness(seas, wary, depth_m=4)
        assert (held.fit == kept).all()
        assert (held.over != kept).all()
        assert (held.headroom[quantity] >= 0).all() == kept


@pytest.mark.parametrize(
    ("name", "quantity"), [("z", "wind_kt"), ("z", "sea_m"), ("g", "gust_kt"), ("g", "sea_m")]
)
def test_a_hole_in_any_required_number_makes_its_hour_not_fit_and_no_other(name: str, quantity: str) -> None:
    sources = {"z": zone_text(), "g": grid()}
    sources[name] = holed(sources[name], quantity)
    hours = fit(*sources.values())
    assert not hours[NINE]
    assert hours.drop(NINE).all()


@pytest.mark.parametrize("quantity", QUANTITIES)
@pytest.mark.parametrize("hour", range(0, 48, 7))
def test_a_hole_in_every_source_never_makes_an_hour_fit(quantity: str, hour: int) -> None:
    """Section 7 of the pitfalls: NaN put into every column and hour, while the other numbers are too high."""
    at = HOURS[hour]
    windy = (zone_text(wind_kt=20), grid(sea_m=2))
    assert not fit(*(holed(s, quantity, at) for s in windy))[at]
    calm = tuple(holed(s, quantity, at) for s in (zone_text(), grid()))
    relevant = quantity in {"wind_kt", "gust_kt", "sea_m"}
    assert fit(*calm)[at] == (not relevant)


def test_a_source_left_out_leaves_no_hour_fit() -> None:
    assert not fit(zone_text()).any()
    assert not fit(grid()).any()
    assert not fit().any()


def test_of_several_sources_that_lack_a_number_the_first_by_name_is_told() -> None:
    nothing = conditions()
    assert nothing.lacked_by.at[NINE, "wind_kt"] == nothing.lacked_by.at[NINE, "sea_m"] == "grid"
    assert nothing.lacking[NINE] == Requirement(SourceKind.GRID, "gust_kt")


def test_past_the_end_of_a_source_it_lacks_and_is_not_unclear() -> None:
    short = said(SourceKind.GRID, HOURS[:24], wind_kt=9, gust_kt=12, sea_m=0.5)
    both = conditions(zone_text(), short)
    assert both.lacking.isna().tolist() == [True] * 24 + [False] * 24
    assert (both.unclear == "").all()


def test_a_lower_bound_counts_as_given_but_cannot_carry_the_call_alone() -> None:
    part = zone_text(sea_m=0.4)
    part = replace(part, whole=part.whole.assign(sea_m=False))
    assert fit(part, grid(sea_m=0.5)).all()
    need = frozenset(r for r in conditions().bars) | {
        Requirement(SourceKind.ZONE_TEXT, "wind_kt"),
        Requirement(SourceKind.ZONE_TEXT, "sea_m"),
        Requirement(SourceKind.GRID, "gust_kt"),
    }
    assert not fit(part, grid(sea_m=float("nan")), required=need).any()


def test_a_lower_bound_past_the_limit_is_over_it() -> None:
    part = zone_text(sea_m=1.4)
    part = replace(part, whole=part.whole.assign(sea_m=False))
    held = fitness(conditions(part, grid()), LIMITS, depth_m=4)
    assert held.over.all()


def test_sources_far_apart_are_a_reason_against_going_even_inside_the_limits() -> None:
    """A4: the worse one is used, and the gap itself stands against the hour."""
    both = conditions(zone_text(wind_kt=14), grid(wind_kt=2))
    assert both.gaps[0] == Gap(
        NINE.to_pydatetime() - timedelta(hours=9), "wind_kt", 2, "grid", 14, "zone text", 10
    )
    assert len(both.gaps) == len(HOURS)
    held = fitness(both, LIMITS, depth_m=4)
    assert not held.fit.any()
    assert not held.over.any()


@pytest.mark.parametrize(("sea_m", "is_fit"), [(0.05, False), (0.2, False), (0.3, True), (0.7, True)])
def test_a_whole_sea_far_below_a_part_of_it_is_contradicted(sea_m: float, is_fit: bool) -> None:
    """A4: wind waves of up to 0.6 m in the text, and a grid whose whole sea is less than half of that."""
    part = zone_text(sea_m=0.6)
    part = replace(part, whole=part.whole.assign(sea_m=False))
    both = conditions(part, grid(sea_m=sea_m))
    assert fitness(both, LIMITS, depth_m=4).fit.all() == is_fit
    assert fitness(both, LIMITS, depth_m=4).fit.any() == is_fit
    if not is_fit:
        assert both.gaps[9] == Gap(NINE.to_pydatetime(), "sea_m", sea_m, "grid", 0.6, "zone text", 0.0)


def test_of_several_whole_seas_the_lowest_is_held_against_a_part_and_of_parts_the_highest() -> None:
    def part(sea_m: float) -> SourceHours:
        text = zone_text(sea_m=sea_m)
        return replace(text, whole=text.whole.assign(sea_m=False))

    seas = (grid(sea_m=0.5), grid(sea_m=0.9), part(1.2), part(0.8))
    for sources in (seas, seas[::-1]):
        gap = conditions(*sources).gaps[9]
        assert (gap.low, gap.high, gap.most) == (0.5, 1.2, 0.0)


def test_what_only_tightens_is_no_part_that_a_whole_sea_could_fall_short_of() -> None:
    """A grid's sea that the settings don't declare, and a station's held against the hours ahead."""
    for kind in (SourceKind.GRID, SourceKind.OBSERVATIONS):
        higher = replace(grid(sea_m=1.4), kind=kind)
        higher = replace(higher, whole=higher.whole.assign(sea_m=False))
        assert conditions(zone_text(), grid(sea_m=0.6), higher).gaps == ()


def test_a_sea_of_nought_is_still_contradicted_by_one_far_above_it() -> None:
    nought = grid(sea_m=0.0)
    nought = replace(nought, whole=nought.whole.assign(sea_m=False))
    assert len(conditions(zone_text(sea_m=1.2), nought).gaps) == len(HOURS)
    assert conditions(zone_text(sea_m=0.6), nought).gaps == ()


@pytest.mark.parametrize("gust_kt", [0.0, 0.1, 3.0, 8.0])
@pytest.mark.parametrize("name", ["zone text", "grid", "observations"])
def test_a_gust_below_the_wind_of_the_same_source_is_never_believed(name: str, gust_kt: float) -> None:
    odd = replace(grid(wind_kt=9, gust_kt=gust_kt), kind=SourceKind(name))
    both = conditions(zone_text(), grid(), odd)
    assert both.unclear[NINE] == f"{name}: a gust of {gust_kt:.1f} kt below a wind of 9.0 kt"
    assert not fitness(both, LIMITS, depth_m=4).fit.any()


def test_a_gust_at_the_wind_or_below_that_of_another_source_is_no_contradiction() -> None:
    assert fit(zone_text(wind_kt=13), grid(wind_kt=9, gust_kt=9)).all()
    assert fit(zone_text(), grid(wind_kt=9, gust_kt=8.6)).all()  # within the rounding


def test_an_hour_a_source_spoke_of_in_words_not_understood_is_never_fit() -> None:
    source = zone_text()
    unclear = source.unclear.copy()
    unclear[NINE] = "winds whimsical"
    hours = fit(replace(source, unclear=unclear), grid())
    assert not hours[NINE]
    assert hours.drop(NINE).all()


def test_a_bar_forbids_every_hour_it_touches() -> None:
    bar = Bar(
        "warning", (NINE + timedelta(minutes=50)).to_pydatetime(), (NINE + timedelta(minutes=70)).to_pydatetime()
    )
    held = fitness(conditions(zone_text(), grid(), bars=(bar,)), LIMITS, depth_m=4)
    assert list(held.fit[~held.fit].index) == [HOURS[9], HOURS[10]]
    assert list(held.over[held.over].index) == [HOURS[9], HOURS[10]]


def test_a_bar_holds_in_no_hours_that_it_only_touches_the_ends_of() -> None:
    begins, ends = (hour.to_pydatetime() for hour in HOURS[9:11])
    bar = Bar("warning", begins, ends)
    assert bar.holds_between(begins, ends)
    assert not bar.holds_between(begins - timedelta(hours=2), begins)
    assert not bar.holds_between(ends, ends + timedelta(hours=2))


def test_a_bar_without_an_end_forbids_all_that_follows() -> None:
    hours = fit(zone_text(), grid(), bars=(Bar("warning", NINE.to_pydatetime(), None),))
    assert hours[:9].all()
    assert not hours[9:].any()


def test_no_hour_is_fit_while_warnings_are_not_known() -> None:
    """A3: no news is not good news."""
    assert not fit(zone_text(), grid(), bars_known=False).any()


def test_short_steep_seas_are_held_against_the_steepness_limit() -> None:
    steep = replace(LIMITS, steepness=0.05)
    calm = fitness(conditions(zone_text(sea_m=0.6, period_s=6), grid()), steep, depth_m=4)
    assert calm.fit.all()
    short = fitness(conditions(zone_text(sea_m=0.8, period_s=2.5), grid()), steep, depth_m=4)
    assert short.over.all()


def test_what_is_required_and_not_limited_must_be_there_as_well() -> None:
    need = NEEDED | {Requirement(SourceKind.ZONE_TEXT, "thunder_pct")}
    assert not fit(zone_text(), grid(), required=need).any()
    assert fit(zone_text(thunder_pct=90), grid(), required=need).all()


def test_a_number_is_required_in_the_hours_of_its_span_and_in_no_others() -> None:
    half_past = (HOURS[9] + timedelta(minutes=30)).to_pydatetime()
    span = Requirement(SourceKind.OBSERVATIONS, "wind_kt", half_past, HOURS[12].to_pydatetime())
    hours = fit(zone_text(), grid(), required=NEEDED | {span})
    assert np.flatnonzero(~hours).tolist() == [9, 10, 11]


def test_steepness_is_not_known_by_a_period_that_does_not_carry() -> None:
    part = grid(period_s=6)
    part = replace(part, whole=part.whole.assign(period_s=False))
    seas = conditions(zone_text(), part)
    assert not fitness(seas, replace(LIMITS, steepness=0.5), depth_m=4).fit.any()


def test_a_source_without_the_number_hides_no_gap_between_two_others() -> None:
    far_apart = (zone_text(wind_kt=14), grid(wind_kt=2), said(SourceKind.OBSERVATIONS))
    for sources in (far_apart, far_apart[::-1]):
        assert [(gap.low, gap.high) for gap in conditions(*sources).gaps] == [(2, 14)] * len(HOURS)


def test_no_number_of_an_unofficial_source_carries_a_call_however_whole() -> None:
    for kind in (SourceKind.OBSERVATIONS, SourceKind.POINT):
        whole = replace(zone_text(gust_kt=12), kind=kind)
        assert not fit(whole, required=()).any()
    assert fit(zone_text(gust_kt=12), required=()).all()


def test_a_limit_that_no_source_gives_a_number_for_is_not_kept() -> None:
    wary = replace(LIMITS, visibility_nm=1.0)
    held = fitness(conditions(zone_text(), grid()), wary, depth_m=4)
    assert not held.fit.any()
    assert not held.over.any()


def test_of_a_limit_of_nought_the_number_itself_is_the_room_left() -> None:
    """No share of it can be told."""
    for thunder_pct, room in ((0, 0.0), (5, -5.0)):
        held = fitness(
            conditions(zone_text(thunder_pct=thunder_pct), grid()), replace(LIMITS, thunder_pct=0.0), depth_m=4
        )
        assert (held.headroom["thunder_pct"] == room).all()
        assert (held.fit == (room == 0)).all()


def test_rows_are_those_of_the_hours_touched_from_the_first_of_the_table_to_its_last() -> None:
    held = fitness(conditions(zone_text(), grid()), LIMITS, depth_m=4)
    first, minute = HOURS[0].to_pydatetime(), timedelta(minutes=1)
    assert held.rows_of(first, first + minute) == (0, 1)
    assert held.rows_of(first + 59 * minute, first + 61 * minute) == (0, 2)
    assert held.rows_of(first - 90 * minute, first + 60 * minute) == (0, 1)
    assert held.rows_of(first + timedelta(hours=47), first + timedelta(hours=50)) == (47, 48)
    assert held.rows_of(first - timedelta(hours=9), first - timedelta(hours=5)) == (0, 0)
