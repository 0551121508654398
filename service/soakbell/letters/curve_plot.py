"""The picture and the words of the catch curve: what a trap of each string is to catch by days of soak.

Greys and line shapes carry the meaning; colour only helps.
"""

from __future__ import annotations

import io
import math
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

import numpy as np

from soakbell.letters.words import one_line
from soakbell.planning.catch_curve import LEAST_SOAK_DAYS, CatchCurve, CurveTold, Haul, told

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

WIDTH_PX = 390
DOTS_PER_PX = 2
MOST_PANELS = 6

_FONT = "DejaVu Sans"  # ships with matplotlib, so the picture is the same everywhere
_TEXT_PT = 8.5
_SMALL_PT = 7.5
_HEAD_PX = 28
_PANEL_PX = 158
_ROOM_PX = 44  # of a panel: the name above, the numbers below
_AXIS_PX = 20
_LINE_PX = 17
_NAME_CHARS = 22
_CURVE, _BAND, _DOT, _FAR_DOT = "#0b4f8a", "#c4d6e8", "#222222", "#a3a3a3"
_LEAST_DAYS = 20.0
_NEAR_DAYS = 30.0
_MOSTLY = 0.5


def curve_words(of: CurveTold) -> str:
    """When the string is ripe and past its best, what that rests on, and which hauls hardly count."""
    ripe, best = round(of.ripe_days), round(of.past_best_days)
    when = (
        f"ripe after about {_days(ripe)}, past its best after about {_days(best)}"
        if of.pays and ripe < best
        else f"worth most after about {_days(best)}, though a pull then hardly pays"
    )
    stray = (
        f" {_hauls(of.stray)} {'lies' if of.stray == 1 else 'lie'} too far from the others to count."
        if of.stray
        else ""
    )
    return f"{of.string}: {when}. {_rests(of)}.{stray}"


def left_out_words(count: int) -> str:
    """Of hauls that no curve could be learned from."""
    return f"{_hauls(count)} left out: soaks under {LEAST_SOAK_DAYS:g} days, or no traps or catch that make sense."


def _rests(of: CurveTold) -> str:
    if not of.all_hauls:
        return "Rests on no hauls yet, only on what is usual"
    own = f"Rests on {_hauls(of.hauls)}" if of.hauls else "Rests on no hauls of its own"
    others = of.all_hauls - of.hauls
    if others:
        own += f" and {_hauls(others)} of the other strings"
    if of.level_share < _MOSTLY:
        return f"{own}; mostly what is usual"
    if of.shape_share < _MOSTLY:
        return f"{own}: how much it catches is mostly your log, how that grows with the soak mostly what is usual"
    return f"{own}; mostly your log"


def _rests_in_short(of: CurveTold) -> str:
    """``_rests`` for the picture."""
    if not of.all_hauls or of.level_share < _MOSTLY:
        return f"{_hauls(of.hauls)}; mostly the usual"
    if of.shape_share < _MOSTLY:
        return f"{_hauls(of.hauls)}; the shape mostly the usual"
    return f"{_hauls(of.hauls)}; mostly {'your log' if of.hauls else 'other strings'}"


def _days(count: int) -> str:
    return f"{count} day{'' if count == 1 else 's'}"


def _hauls(count: int) -> str:
    return f"{count or 'no'} haul{'' if count == 1 else 's'}"


def curve_png(
    curve: CatchCurve, hauls: Iterable[Haul], strings: Sequence[str], season_day: float, footer: str = ""
) -> bytes | None:
    """The picture, 390 px wide at twice the dots, one panel a string below the other; None without strings.

    Args:
        hauls: The dots, as they were logged; those without a number of claws are not drawn.
        strings: In the order of their panels. Of more than ``MOST_PANELS``, those with the most hauls are drawn,
            and the picture says how many are not.
        season_day: The day since the opening for which the curve is drawn.
        footer: One short line.
    """
    if not strings:
        return None
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    dots: dict[str, list[Haul]] = {string: [] for string in strings}
    for haul in hauls:
        if haul.string in dots and haul.legal_claws is not None and haul.traps > 0 and haul.soak_days > 0:
            dots[haul.string].append(haul)
    most = sorted(strings, key=lambda string: -len(dots[string]))[:MOST_PANELS]
    shown = [string for string in strings if string in most]
    notes = [
        "Line: the catch to expect today, on the average of many hauls.",
        "Shade: where that average lies, in 4 cases of 5.",
        "Dots: your hauls.",
    ]
    if any(_is_far(haul, season_day) for string in shown for haul in dots[string]):
        notes[-1] = f"Dots: your hauls; pale if over {_NEAR_DAYS:g} days off in the season."
    if len(strings) > len(shown):
        notes.append(f"{len(strings) - len(shown)} more strings, of fewer hauls, are not drawn.")
    if footer:
        notes.append(footer)
    foot_px = _AXIS_PX + len(notes) * _LINE_PX + 8
    height_px = _HEAD_PX + len(shown) * _PANEL_PX + foot_px
    picture = Figure(figsize=(WIDTH_PX / 100, height_px / 100), dpi=100 * DOTS_PER_PX, facecolor="white")
    canvas = FigureCanvasAgg(picture)
    longest = max((haul.soak_days for string in shown for haul in dots[string]), default=0.0)
    days = np.linspace(0.0, max(_LEAST_DAYS, math.ceil(longest) + 1.0, curve.past_best_days() * 1.5), 120)
    for number, string in enumerate(shown):
        top_px = height_px - _HEAD_PX - number * _PANEL_PX
        inner = (34 / WIDTH_PX, (top_px - _PANEL_PX + 18) / height_px, 346 / WIDTH_PX)
        panel = picture.add_axes((*inner, (_PANEL_PX - _ROOM_PX) / height_px))
        _draw(panel, curve, string, dots[string], days, season_day)
    _write(picture, notes, height_px, foot_px)
    file = io.BytesIO()
    canvas.print_png(file, metadata={"Software": None})  # type: ignore[no-untyped-call]
    return file.getvalue()


def _is_far(haul: Haul, season_day: float) -> bool:
    return not abs(haul.season_day - season_day) <= _NEAR_DAYS


def _draw(
    panel: Axes,
    curve: CatchCurve,
    string: str,
    hauls: Sequence[Haul],
    days: np.ndarray[tuple[int], np.dtype[np.float64]],
    season_day: float,
) -> None:
    from matplotlib.ticker import MaxNLocator

    expected = curve.expected_many(string, days, season_day)
    a_trap = [(haul.legal_claws or 0) / haul.traps for haul in hauls]
    panel.fill_between(days, expected.low, expected.high, color=_BAND, linewidth=0)
    panel.plot(days, expected.claws, color=_CURVE, linewidth=1.8)
    panel.scatter(
        [haul.soak_days for haul in hauls],
        a_trap,
        s=13,
        c=[_FAR_DOT if _is_far(haul, season_day) else _DOT for haul in hauls],
        linewidths=0,
        zorder=3,
        clip_on=False,
    )
    highest = max([float(expected.high.max()), *a_trap, 0.05])
    panel.set_xlim(0.0, float(days[-1]))
    panel.set_ylim(0.0, highest * 1.45)  # the words of the marks stand above
    rests = told(curve, string, season_day)
    ripe, best = rests.ripe_days, rests.past_best_days
    marks = (
        [(ripe, "ripe", 0.98), (best, "past its best", 0.85)] if rests.pays and round(ripe) < round(best) else []
    )
    for at, word, high in marks or [(best, "past its best", 0.98)]:
        panel.axvline(at, ymax=high, color="0.35", linewidth=0.9, linestyle=(0, (3, 2)))
        left = at > days[-1] * 0.68
        panel.annotate(
            f"{word}: {_days(round(at))}", (at, high), (-4 if left else 4, 0),
            xycoords=("data", "axes fraction"), textcoords="offset points",
            ha="right" if left else "left", va="top", fontsize=_SMALL_PT, family=_FONT, color="0.15",
            bbox={"boxstyle": "square,pad=0.1", "facecolor": "white", "edgecolor": "none", "alpha": 0.8},
        )  # fmt: skip
    panel.set_title(_short(string), loc="left", fontsize=_TEXT_PT, fontweight="bold", family=_FONT, pad=4)
    panel.set_title(
        _rests_in_short(rests),
        loc="right", fontsize=_SMALL_PT, family=_FONT, color="0.3", pad=4,
    )  # fmt: skip
    panel.tick_params(labelsize=_SMALL_PT, length=2.5, color="0.4", labelfontfamily=_FONT)
    panel.xaxis.set_major_locator(MaxNLocator(9, integer=True))
    panel.yaxis.set_major_locator(MaxNLocator(4))
    panel.grid(axis="y", color="0.9", linewidth=0.6)
    panel.set_axisbelow(True)
    for side in ("top", "right"):
        panel.spines[side].set_visible(False)
    for side in ("left", "bottom"):
        panel.spines[side].set_color("0.4")


def _write(picture: Figure, notes: Sequence[str], height_px: int, foot_px: int) -> None:
    """What the axes and signs mean, in lines of their own: a label on its side is hard to read on a phone."""
    picture.text(
        0.02, 1 - 13 / height_px, "Legal claws a trap, by days of soak",
        fontsize=_TEXT_PT + 1, fontweight="bold", family=_FONT, va="center",
    )  # fmt: skip
    picture.text(
        207 / WIDTH_PX, (foot_px - 9) / height_px, "soak, days",
        fontsize=_TEXT_PT, family=_FONT, ha="center", va="center",
    )  # fmt: skip
    for number, note in enumerate(notes):
        y_px = foot_px - _AXIS_PX - (number + 0.5) * _LINE_PX
        picture.text(
            8 / WIDTH_PX,
            y_px / height_px,
            _plain(note),
            fontsize=_SMALL_PT,
            family=_FONT,
            va="center",
            color="0.25",
        )


def _short(name: str) -> str:
    plain = one_line(name)
    return _plain(plain if len(plain) <= _NAME_CHARS else f"{plain[: _NAME_CHARS - 1]}…")


def _plain(text: str) -> str:
    """What stands between dollar signs would be read as a formula."""
    return one_line(text).replace("$", r"\$")
