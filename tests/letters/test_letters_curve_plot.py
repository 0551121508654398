"""The picture and the words of the catch curve. INVENTED DATA."""

from __future__ import annotations

import io
import math
from dataclasses import replace

import pytest
from matplotlib.axes import Axes
from PIL import Image

from soakbell.letters.curve_plot import MOST_PANELS, curve_png, curve_words, left_out_words
from soakbell.planning.catch_curve import CurveTold, Haul, fit_curve, told

STRINGS = ("Nine Foot", "Grassy Edge", "Outer Bar")
HAULS = [Haul("Nine Foot", 24, 5.0 + week % 4, 7.0 * week, 20 + week % 3) for week in range(1, 13)]
CURVE = fit_curve(HAULS, STRINGS)
TOLD = CurveTold("Nine Foot", 14, 14, 0, 0.9, 0.8, 6.8, 12.1)


def picture_of(*strings: str, season_day: float = 60.0, footer: str = "") -> Image.Image:
    png = curve_png(CURVE, HAULS, strings, season_day, footer)
    assert png is not None
    return Image.open(io.BytesIO(png))


def test_the_picture_fits_a_phone() -> None:
    """390 px at twice the dots; it grows by a panel a string and ends."""
    one, three = picture_of("Nine Foot"), picture_of(*STRINGS)
    most = picture_of(*(f"String {n}" for n in range(MOST_PANELS)))
    many = picture_of(*(f"String {n}" for n in range(40)))
    assert {one.width, three.width, many.width} == {780}
    assert one.height < three.height < most.height
    assert many.height - most.height < 50, "one more line, which tells what isn't drawn"


def test_no_strings_give_no_picture() -> None:
    assert curve_png(CURVE, HAULS, [], 60.0) is None


def test_the_same_curve_gives_the_same_picture() -> None:
    assert curve_png(CURVE, HAULS, STRINGS, 60.0) == curve_png(CURVE, HAULS, STRINGS, 60.0)


def test_hauls_are_drawn_where_they_were_logged() -> None:
    """With a haul or without it the pictures differ; junk draws nothing."""
    bare = curve_png(CURVE, [], STRINGS, 60.0)
    junk = [replace(HAULS[0], legal_claws=None), replace(HAULS[0], traps=0), replace(HAULS[0], soak_days=math.nan)]
    assert curve_png(CURVE, junk, STRINGS, 60.0) == bare
    assert curve_png(CURVE, HAULS[:1], STRINGS, 60.0) != bare


@pytest.mark.parametrize("name", ["$\\frac{", "a $b$ c", "_^{}", "a\nb", "x" * 100, "Étoile & Søn"])
def test_no_name_breaks_the_picture(name: str) -> None:
    assert picture_of(name, "Nine Foot", footer=name).width == 780


def test_an_empty_log_is_drawn_as_what_is_usual() -> None:
    png = curve_png(fit_curve([], STRINGS), [], STRINGS, 0.0)
    assert png is not None
    assert Image.open(io.BytesIO(png)).width == 780


def test_words_tell_when_a_string_is_ripe_and_what_that_rests_on() -> None:
    when, rests = curve_words(TOLD).split(". ")
    assert when == "Nine Foot: ripe after about 7 days, past its best after about 12 days"
    assert rests == "Rests on 14 hauls; mostly your log."


def test_words_say_how_much_is_not_the_log() -> None:
    poor = replace(TOLD, hauls=1, all_hauls=2, level_share=0.3, shape_share=0.1)
    assert "Rests on 1 haul and 1 haul of the other strings; mostly what is usual." in curve_words(poor)
    assert "how that grows with the soak mostly what is usual" in curve_words(replace(TOLD, shape_share=0.2))
    assert "no hauls of its own and 14 hauls of" in curve_words(replace(TOLD, hauls=0))
    assert "no hauls yet, only on what is usual" in curve_words(told(fit_curve([], STRINGS), "Nine Foot"))


def test_a_string_that_hardly_pays_is_not_called_ripe() -> None:
    for of in (replace(TOLD, ripe_days=12.1), replace(TOLD, pays=False)):
        words = curve_words(of)
        assert "ripe" not in words
        assert "hardly pays" in words


def test_words_name_hauls_that_hardly_count() -> None:
    assert curve_words(replace(TOLD, stray=1)).endswith("log. 1 haul lies too far from the others to count.")
    assert curve_words(replace(TOLD, stray=2)).endswith("log. 2 hauls lie too far from the others to count.")
    assert left_out_words(2).startswith("2 hauls left out: soaks under 0.5 days")


def test_the_picture_says_no_more_of_the_log_than_the_words(monkeypatch: pytest.MonkeyPatch) -> None:
    """Ten hauls tell how much is caught, and nothing of how that grows; a string without any leans on others."""
    titles: list[str] = []
    monkeypatch.setattr(Axes, "set_title", lambda axes, text, **of: titles.append(text))
    alike = [replace(haul, soak_days=6.0) for haul in HAULS]
    curve_png(fit_curve(alike, STRINGS), alike, STRINGS[:1], 60.0)
    many = [replace(haul, string=f"String {n}") for haul in HAULS * 20 for n in range(9)]
    curve_png(fit_curve(many, ["String 0", "Ledge"]), many, ["String 0", "Ledge"], 60.0)
    curve_png(fit_curve([], STRINGS), [], STRINGS[:1], 60.0)
    assert titles[1::2] == [
        "12 hauls; the shape mostly the usual",
        "240 hauls; mostly your log",
        "no hauls; mostly other strings",
        "no hauls; mostly the usual",
    ]
