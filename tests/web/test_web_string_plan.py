"""The plan of the marks and the plot of the catch. INVENTED DATA."""

from __future__ import annotations

import math
from itertools import combinations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from soakbell.gear.strings import Mark
from soakbell.web.string_plan import (
    MOST_BARS,
    WIDTH,
    Label,
    Plan,
    PlanString,
    bearing_words,
    catch_plot,
    from_harbor,
    plan_of_all,
    plan_of_one,
)

HARBOR = Mark(30.0, -84.0)


def string(name: str, lat_deg: float, lon_deg: float, **more: object) -> PlanString:
    end = Mark(lat_deg + 0.004, lon_deg + 0.012)
    return PlanString(name, Mark(lat_deg, lon_deg), end, 24, **more)  # type: ignore[arg-type]


NEAR, FAR = string("Near", 29.97, -84.02), string("Far", 29.8, -84.1)


def length_of(plan: Plan) -> float:
    """Units of the drawing a nautical mile, by its scale bar."""
    return (plan.scale.x2 - plan.scale.x1) / float(plan.scale_label.text.removesuffix(" nmi"))


def test_north_is_up_and_east_is_right() -> None:
    plan = plan_of_all([string("A", 30.1, -84.0), string("B", 30.0, -83.9)], HARBOR, "Home")
    north, east = plan.lines
    home = next(sign for sign in plan.signs if sign.kind == "harbor")
    assert north.y1 < home.y
    assert east.x1 > home.x
    assert north.x1 == pytest.approx(home.x, abs=0.2)
    assert east.y1 == pytest.approx(home.y, abs=0.2)


def test_the_scale_bar_is_true_both_ways() -> None:
    """A minute of latitude is 1,843 to 1,862 m, a nautical mile within 0.6 % (WGS84)."""
    plan = plan_of_all([string("North", 30.1, -84.0)], HARBOR, "Home")
    home = next(sign for sign in plan.signs if sign.kind == "harbor")
    assert (home.y - plan.lines[0].y1) / length_of(plan) == pytest.approx(6.0, rel=0.01)
    nmi, bearing_deg = from_harbor(HARBOR, PlanString("E", Mark(30.0, -83.9), Mark(30.0, -83.9), 1))
    east = plan_of_all([PlanString("E", Mark(30.0, -83.9), Mark(30.0, -83.9), 1)], HARBOR, "Home")
    home = next(sign for sign in east.signs if sign.kind == "harbor")
    assert (east.lines[0].x1 - home.x) / length_of(east) == pytest.approx(nmi, rel=0.01)
    assert bearing_words(bearing_deg) == "090 degrees true"


def test_north_is_told_with_three_figures() -> None:
    assert bearing_words(359.7) == "000 degrees true"


def test_names_stand_on_the_plan_where_there_is_room() -> None:
    plan = plan_of_all([NEAR, FAR], HARBOR, "Home")
    assert [label.text for label in plan.labels] == ["Home", "Near", "Far"]
    assert plan.keyed == ()


def test_a_string_without_room_for_its_name_stands_by_number_and_in_the_key() -> None:
    crowd = [string(f"A rather long name {n}", 29.9 + 0.001 * n, -84.0) for n in range(12)]
    plan = plan_of_all(crowd, HARBOR, "Home")
    shown = {label.text for label in plan.labels}
    assert plan.keyed
    for number, one in enumerate(crowd, start=1):
        assert (number, one.name) in plan.keyed or f"{one.name[:19]}…" in shown or one.name in shown


def test_names_that_found_room_do_not_meet() -> None:
    strings = [string(f"String {n}", 29.7 + 0.05 * (n % 5), -84.3 + 0.06 * n) for n in range(8)]
    plan = plan_of_all(strings, HARBOR, "Home")
    names = [label for label in plan.labels if not label.text.isdecimal()]
    assert len(names) > 4
    for one, other in combinations(names, 2):
        assert abs(one.y - other.y) >= 16 or spans_apart(one, other), (one, other)


def spans_apart(one: Label, other: Label) -> bool:
    (left, right), (from_, to) = span(one), span(other)
    return right <= from_ or to <= left


def span(label: Label) -> tuple[float, float]:
    wide = len(label.text) * 7.5  # narrower than what is kept free
    left = {"start": 0.0, "middle": wide / 2, "end": wide}[label.anchor]
    return label.x - left, label.x - left + wide


def test_the_plan_says_in_words_how_far_and_which_way_each_string_lies() -> None:
    plan = plan_of_all([NEAR, FAR], HARBOR, "Home")
    assert "Near 1.8 nmi, 204 degrees true" in plan.told
    assert "Far 12." in plan.told
    assert "North is up" in plan.told


def test_one_string_shows_its_traps_and_where_missing_ones_lay() -> None:
    lost = Mark(29.975, -84.01)
    plan = plan_of_one(string("Near", 29.97, -84.02, fishing=(1, 2, 3), missing=((7, lost),)))
    kinds = [sign.kind for sign in plan.signs]
    assert (kinds.count("fishing"), kinds.count("missing")) == (3, 1)
    assert "3 of 24 traps fish" in plan.told
    assert "Missing: trap 7" in plan.told


def test_a_string_across_the_180th_meridian_is_no_wider_than_it_is() -> None:
    plan = plan_of_one(PlanString("Line", Mark(10.0, 179.99), Mark(10.0, -179.99), 5))
    assert (plan.lines[0].x2 - plan.lines[0].x1) / length_of(plan) == pytest.approx(
        1.2 * math.cos(math.radians(10)), rel=0.01
    )


marks = st.builds(Mark, st.floats(-80, 80), st.floats(-180, 180))


@given(marks, st.floats(-0.5, 0.5), st.floats(-0.5, 0.5), st.integers(0, 6))
def test_every_plan_keeps_its_marks_on_the_paper(
    harbor: Mark, up_deg: float, right_deg: float, count: int
) -> None:
    def at(share: float) -> Mark:
        lon_deg = (harbor.lon_deg + right_deg * share + 180.0) % 360.0 - 180.0
        return Mark(harbor.lat_deg + up_deg * share, lon_deg)

    strings = [PlanString(f"S{n}", at(n / 6), at((n + 1) / 6), 3) for n in range(count)]
    plan = plan_of_all(strings, harbor, "Home")
    for sign in plan.signs:
        assert 0 <= sign.x <= WIDTH
        assert 0 <= sign.y <= plan.height - 30
    assert 0 < plan.scale.x2 < WIDTH * 0.6


# ---- the plot


def test_the_plot_has_a_bar_a_pull_as_high_as_its_catch() -> None:
    plot = catch_plot([("Mon 1 Dec", 1.0), ("Mon 8 Dec", 2.0)], "Legal claws")
    assert plot is not None
    first, second = plot.bars
    assert second.height == pytest.approx(2 * first.height, abs=0.2)
    assert first.y + first.height == pytest.approx(second.y + second.height)
    assert "1.0 and 2.0" in plot.told
    assert {"Mon 1 Dec", "to Mon 8 Dec"} <= {label.text for label in plot.labels}


def test_the_plot_draws_the_last_pulls() -> None:
    plot = catch_plot([(f"day {n}", float(n)) for n in range(MOST_BARS + 5)], "Pounds")
    assert plot is not None
    assert len(plot.bars) == MOST_BARS
    assert "day 5" in {label.text for label in plot.labels}


@pytest.mark.parametrize("most", [0.0, 0.004, 0.7, 1.0, 9.99, 480.0])
def test_no_bar_is_higher_than_the_plot(most: float) -> None:
    plot = catch_plot([("a day", most), ("a day", 0.0)], "Pounds")
    assert plot is not None
    assert all(0 <= bar.y <= plot.height and bar.height >= 0 for bar in plot.bars)


def test_without_a_catch_there_is_no_plot() -> None:
    assert catch_plot([], "Pounds") is None
