"""The picture of trust. INVENTED DATA."""

from __future__ import annotations

import io
from datetime import date

import numpy as np
import numpy.typing as npt
import pytest
from PIL import Image

from soakbell.letters.trust_plot import _HEAD_PX, _LEFT, _PLOT_PX, _RIGHT, trust_alt, trust_png
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
        "Chance given against what came fit: about 5% given 20 times, for 20 days: 1 came fit; "
        "about 45% given 10 times, for 10 days: 5 came fit; about 95% given 30 times, for 30 days: 30 came fit."
    )
    assert "about 50% given once, for 1 day: 1 came fit" in trust_alt(judged([0.5], [True]))
    four_mornings = brier([0.55] * 4, [True] * 4, days=[date(2026, 12, 8)] * 4)
    assert four_mornings is not None
    assert "about 55% given 4 times, for 1 day: 4 came fit" in trust_alt(four_mornings)


def inked(parts: BrierParts) -> npt.NDArray[np.bool_]:
    """Where the plot of shares has ink of its dots and bars, over the height and width of the unit square."""
    pixels = np.asarray(picture_of(parts).convert("RGB")).astype(int)
    width = pixels.shape[1]
    top, bottom = 2 * _HEAD_PX, 2 * (_HEAD_PX + _PLOT_PX)
    square = pixels[top:bottom, round(_LEFT * width) : round(_RIGHT * width)]
    return np.asarray((square[:, :, 2] - square[:, :, 0]) > 60)


@pytest.mark.parametrize(("chance", "came"), [(0.25, 8), (0.55, 2), (0.85, 6)])
def test_a_dot_stands_at_its_chance_and_share_and_its_bar_where_the_share_may_lie(
    chance: float, came: int
) -> None:
    """One row of 10 days: the widest line of ink is the dot, the highest column its bar."""
    parts = judged([chance] * 10, [True] * came + [False] * (10 - came))
    (row,) = parts.rows
    ink = inked(parts)
    high, wide = ink.shape
    rows = np.flatnonzero(ink.any(axis=1))
    widest = np.flatnonzero(ink.sum(axis=1) >= 0.8 * ink.sum(axis=1).max())
    assert 1 - widest.mean() / high == pytest.approx(row.share, abs=0.01)
    assert np.flatnonzero(ink.any(axis=0)).mean() / wide == pytest.approx(chance, abs=0.01)
    assert (1 - rows[-1] / high, 1 - rows[0] / high) == pytest.approx((row.low, row.high), abs=0.015)


def test_a_dot_of_few_days_is_hollow_however_many_chances_they_had() -> None:
    """Four days in four mornings each are sixteen chances and four days."""
    days = [date(2026, 12, 1 + n // 4) for n in range(16)]
    few = brier([0.55] * 16, [True] * 8 + [False] * 8, days=days)
    many = judged([0.55] * 16, [True] * 8 + [False] * 8)
    assert few is not None
    for parts, filled in ((few, False), (many, True)):
        ink = inked(parts)
        high, wide = ink.shape
        beside = round(0.55 * wide) + 6  # within the dot, beside its bar
        assert ink[round(0.5 * high), beside] == filled
