"""The picture of trust. INVENTED DATA."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image

from soakbell.letters.trust_plot import trust_alt, trust_png
from soakbell.sea.trust import BrierParts, brier


def judged(chances: list[float], came: list[bool]) -> BrierParts:
    parts = brier(chances, list(came))
    assert parts is not None
    return parts


SEASON = judged([0.05] * 20 + [0.45] * 10 + [0.95] * 30, [False] * 19 + [True] * 6 + [False] * 5 + [True] * 30)


def picture_of(parts: BrierParts, footer: str = "") -> Image.Image:
    return Image.open(io.BytesIO(trust_png(parts, footer)))


def test_the_picture_fits_a_phone() -> None:
    """390 px at twice the dots; a footer adds its line."""
    bare, told = picture_of(SEASON), picture_of(SEASON, "1 November to 30 April. Invented data.")
    assert bare.width == told.width == 780
    assert 0 < told.height - bare.height < 50


@pytest.mark.parametrize(
    ("chances", "came"),
    [([0.5], [True]), ([0.0], [False]), ([1.0] * 400, [True] * 400), ([0.0, 1.0], [True, False])],
    ids=["one day", "never", "always", "wrong every time"],
)
def test_any_record_can_be_drawn(chances: list[float], came: list[bool]) -> None:
    assert picture_of(judged(chances, came)).width == 780


def test_the_same_record_draws_the_same_picture_and_another_one_another() -> None:
    assert trust_png(SEASON) == trust_png(SEASON)
    assert trust_png(SEASON) != trust_png(judged([0.5], [True]))


def test_no_ink_touches_the_edge() -> None:
    """Nothing is cut off at the sides, also with a long season and a footer in dollars."""
    pixels = np.asarray(picture_of(SEASON, "$5 bait and $3 fuel").convert("L"))
    assert (pixels[:, :4] == 255).all()
    assert (pixels[:, -4:] == 255).all()


def test_the_words_for_the_picture_tell_every_row() -> None:
    assert trust_alt(SEASON) == (
        "Chance given against days that came fit: of 20 days given about 5%, 1 came fit; "
        "of 10 days given about 45%, 5 came fit; of 30 days given about 95%, 30 came fit."
    )
    assert "of 1 day given about 50%, 1 came fit" in trust_alt(judged([0.5], [True]))
