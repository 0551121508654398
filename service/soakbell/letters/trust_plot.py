"""The picture of trust: the chances that were given against how often the day was fit in the end.

On the slanted line chance and outcome agree. Bars below tell how many different days each dot rests on.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import TYPE_CHECKING

from soakbell.letters.words import one_line
from soakbell.sea.trust import BrierParts, ReliabilityRow

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

WIDTH_PX = 390
DOTS_PER_PX = 2

_FONT = "DejaVu Sans"  # ships with matplotlib, so the picture is the same everywhere
_TEXT_PT = 8.5
_SMALL_PT = 7.5
_HEAD_PX = 66
_PLOT_PX = 300
_GAP_PX = 62
_BARS_PX = 66
_BELOW_PX = 40
_LINE_PX = 17
_LEFT, _RIGHT = 0.13, 0.945
_FIFTHS = (0.0, 0.2, 0.4, 0.6, 0.8, 1.0)
_PERCENT = ("0%", "20", "40", "60", "80", "100%")
_INK = "#0b4f8a"
_FEW = 5
"""Different days below which a dot is drawn hollow: its share can be luck."""


def trust_png(parts: BrierParts, footer: str = "") -> bytes:
    """The picture, 390 px wide at twice the dots.

    Args:
        footer: What the days are of, one short line.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    notes = [
        "On the slanted line the chance given was right. Above it the sea was",
        "kinder than told, below it rougher. The true share lies on a dot's bar",
        f"four times in five. Hollow dots rest on fewer than {_FEW} days.",
        *([_plain(footer)] if footer else []),
    ]
    notes_px = len(notes) * _LINE_PX + 8
    height_px = _HEAD_PX + _PLOT_PX + _GAP_PX + _BARS_PX + _BELOW_PX + notes_px
    picture = Figure(figsize=(WIDTH_PX / 100, height_px / 100), dpi=100 * DOTS_PER_PX, facecolor="white")
    canvas = FigureCanvasAgg(picture)

    def panel(top_px: float, panel_px: float) -> Axes:
        bottom = 1 - (top_px + panel_px) / height_px
        axes = picture.add_axes((_LEFT, bottom, _RIGHT - _LEFT, panel_px / height_px))
        _plain_axes(axes)
        return axes

    _draw_shares(panel(_HEAD_PX, _PLOT_PX), parts)
    _draw_counts(panel(_HEAD_PX + _PLOT_PX + _GAP_PX, _BARS_PX), parts.rows)
    _words(picture, height_px, parts, notes)
    file = io.BytesIO()
    canvas.print_png(file, metadata={"Software": None})  # type: ignore[no-untyped-call]
    return file.getvalue()


def trust_alt(parts: BrierParts) -> str:
    """The picture in words."""
    rows = "; ".join(
        f"about {row.mean_chance:.0%} given {_times(row.given)}, for {_days(row.days)}: {row.came} came fit"
        for row in parts.rows
    )
    return f"Chance given against what came fit: {rows}."


def _times(count: int) -> str:
    return "once" if count == 1 else f"{count} times"


def _days(count: int) -> str:
    return "1 day" if count == 1 else f"{count} days"


def _plain_axes(axes: Axes) -> None:
    axes.set_xlim(0, 1)
    axes.set_xticks(_FIFTHS, _PERCENT)
    axes.tick_params(labelsize=_SMALL_PT, length=2.5, color="0.4", labelfontfamily=_FONT)
    axes.set_axisbelow(True)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    for side in ("left", "bottom"):
        axes.spines[side].set_color("0.4")


def _draw_shares(axes: Axes, parts: BrierParts) -> None:
    axes.set_ylim(0, 1)
    axes.set_yticks(_FIFTHS, _PERCENT)
    axes.grid(color="0.9", linewidth=0.6)
    axes.plot([0, 1], [0, 1], color="0.45", linewidth=1.0)
    came = sum(row.came for row in parts.rows) / parts.given
    axes.axhline(came, color="0.45", linewidth=0.9, linestyle=(0, (4, 3)))
    high = came > 0.9
    axes.text(
        0.012,
        came - 0.012 if high else came + 0.012,
        f"all chances: {came:.0%} fit",
        fontsize=_SMALL_PT,
        family=_FONT,
        color="0.3",
        va="top" if high else "bottom",
        bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.0},
    )
    sure = [row for row in parts.rows if row.days >= _FEW]
    axes.plot([row.mean_chance for row in sure], [row.share for row in sure], color=_INK, linewidth=1.0, zorder=3)
    for row in parts.rows:
        axes.plot([row.mean_chance] * 2, [row.low, row.high], color=_INK, linewidth=1.2, alpha=0.55, zorder=2)
        axes.scatter(
            [row.mean_chance],
            [row.share],
            s=34,
            facecolor=_INK if row.days >= _FEW else "white",
            edgecolor=_INK,
            linewidths=1.2,
            clip_on=False,
            zorder=4,
        )


def _draw_counts(axes: Axes, rows: Sequence[ReliabilityRow]) -> None:
    most = max(row.days for row in rows)
    axes.set_ylim(0, most * 1.28)
    axes.set_yticks([])
    axes.spines["left"].set_visible(False)
    for row in rows:
        width = row.to_chance - row.from_chance
        middle = row.from_chance + width / 2
        axes.bar([middle], [row.days], width=0.8 * width, color="0.72")
        axes.text(
            middle,
            row.days + most * 0.05,
            str(row.days),
            fontsize=_SMALL_PT,
            family=_FONT,
            ha="center",
            va="bottom",
        )


def _words(picture: Figure, height_px: float, parts: BrierParts, notes: Sequence[str]) -> None:
    def line(
        x: float, top_px: float, text: str, size_pt: float = _TEXT_PT, *, bold: bool = False, middle: bool = False
    ) -> None:
        picture.text(
            x,
            1 - top_px / height_px,
            text,
            fontsize=size_pt,
            fontweight="bold" if bold else "normal",
            family=_FONT,
            ha="center" if middle else "left",
            va="center",
            color="0.25" if size_pt < _TEXT_PT else "black",
        )

    line(0.02, 15, "How often a day came fit, by the chance given", _TEXT_PT + 1, bold=True)
    given = f"{parts.given} chances of {_days(parts.days)}"
    line(0.02, 35, f"{given}; Brier score {parts.score:.2f} (0 is perfect, a coin 0.25)", _SMALL_PT)
    line(0.02, 54, "Share of the chances that came fit", _SMALL_PT)
    below_px = _HEAD_PX + _PLOT_PX
    line((_LEFT + _RIGHT) / 2, below_px + 28, "chance given", middle=True)
    line(0.02, below_px + 48, "Number of different days given each chance", _SMALL_PT)
    top_px = below_px + _GAP_PX + _BARS_PX + _BELOW_PX
    for text in notes:
        line(0.02, top_px, text, _SMALL_PT)
        top_px += _LINE_PX


def _plain(text: str) -> str:
    """What stands between dollar signs would be read as a formula."""
    return one_line(text).replace("$", r"\$")
