"""The picture of the catch. INVENTED DATA."""

from __future__ import annotations

import io
from dataclasses import replace

import pytest
from PIL import Image

from soakbell.gear.catch import CatchCell
from soakbell.letters.catch_plot import MOST_PANELS, catch_png, catch_points

STRINGS = ("Nine Foot", "Grassy Edge", "Outer Bar")
PULL = CatchCell("Nine Foot", 7, "cowhide", 2026, 11, pulls=1, traps=24, traps_with_claws=24, legal_claws=60)


def picture_of(*cells: CatchCell, footer: str = "") -> Image.Image:
    png = catch_png(cells, STRINGS, footer)
    assert png is not None
    return Image.open(io.BytesIO(png))


def test_a_point_stands_for_all_months_of_one_string_soak_and_bait() -> None:
    told = catch_points([PULL, replace(PULL, month=12, traps_with_claws=6, legal_claws=0)])
    (point,) = told.points
    assert (told.unit, point.soak_days, point.a_trap, point.traps) == ("claws", 7, 2.0, 30)


def test_traps_of_which_no_catch_was_told_draw_no_point() -> None:
    silent = replace(PULL, soak_days=9, traps_with_claws=0, legal_claws=0)
    assert [point.soak_days for point in catch_points([PULL, silent]).points] == [7]
    assert catch_png([silent], STRINGS) is None
    assert catch_png([], STRINGS) is None


def test_pounds_are_drawn_where_claws_were_never_told() -> None:
    weighed = replace(PULL, traps_with_claws=0, legal_claws=0, traps_with_lb=24, lb=12.0)
    told = catch_points([weighed])
    assert (told.unit, told.points[0].a_trap) == ("lb", 0.5)
    assert catch_points([weighed, PULL]).unit == "claws"


def test_the_picture_fits_a_phone() -> None:
    """390 px at twice the dots; the height grows by rows of two panels and ends."""
    one = picture_of(PULL)
    three = picture_of(*(replace(PULL, string=string) for string in STRINGS))
    many = picture_of(*(replace(PULL, string=f"String {n}") for n in range(40)))
    ten = picture_of(*(replace(PULL, string=f"String {n}") for n in range(MOST_PANELS)))
    assert {one.width, three.width, many.width} == {780}
    assert one.height < three.height < ten.height
    assert many.height - ten.height < 50, "one more line, which tells what isn't drawn"


def test_a_catch_of_nothing_is_drawn_as_nothing() -> None:
    nothing = replace(PULL, legal_claws=0)
    assert catch_points([nothing]).points[0].a_trap == 0.0
    assert picture_of(nothing).width == 780


@pytest.mark.parametrize("name", ["$\\frac{", "a $b$ c", "_^{}", "a\nb", "x" * 100, "Étoile & Søn"])
def test_no_name_breaks_the_picture(name: str) -> None:
    odd = replace(PULL, string=name, bait=name)
    assert picture_of(odd, PULL, footer=name).width == 780


def test_the_same_catch_gives_the_same_picture() -> None:
    cells = [
        replace(PULL, soak_days=days, bait=bait) for days in (5, 8) for bait in ("cowhide", "", "mullet heads")
    ]
    assert catch_png(cells, STRINGS) == catch_png(cells, STRINGS)
