"""The picture of the catch: claws a trap against days of soak, one panel a string.

Colour is never the only sign: each bait has a shape of its own.
"""

from __future__ import annotations

import io
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from soakbell.gear.catch import CatchCell, CatchTotal, total_of
from soakbell.letters.words import one_line

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

WIDTH_PX = 390
DOTS_PER_PX = 2
MOST_PANELS = 10

_FONT = "DejaVu Sans"  # ships with matplotlib, so the picture is the same everywhere
_TEXT_PT = 8.5
_SMALL_PT = 7.5
_PANEL_PX = 150
_HEAD_PX = 50
_AXIS_PX = 42
_LINE_PX = 17
_ROOM_PX = 32  # between panels, for numbers below and the name above
_BIGGEST = 130.0  # area of the biggest mark, square points
_SMALLEST = 12.0
_NAME_CHARS = 22
_SIGNS = (("o", "#0b4f8a"), ("^", "#c25100"), ("s", "#3a7d34"))
_OTHERS_SIGN = ("D", "#777777")
_NOT_NAMED_SIGN = ("X", "#777777")
_OTHERS = "other baits"
_NOT_NAMED = "bait not named"


@dataclass(frozen=True)
class CatchPoint:
    """Catch a trap of one string at one soak with one bait; ``traps`` are those whose catch was told."""

    string: str
    soak_days: int
    bait: str
    a_trap: float
    traps: int


@dataclass(frozen=True)
class CatchPoints:
    """``unit`` is "claws", or "lb" where claws were never told."""

    unit: str
    points: tuple[CatchPoint, ...]


def catch_points(cells: Iterable[CatchCell]) -> CatchPoints:
    """What can be drawn: only pulls that told their catch, all months together."""
    groups: dict[tuple[str, int, str], list[CatchCell]] = {}
    for cell in cells:
        groups.setdefault((cell.string, cell.soak_days, cell.bait), []).append(cell)
    totals = {key: (total_of(group), group) for key, group in groups.items()}
    unit = "claws" if any(total.claws_a_trap is not None for total, _ in totals.values()) else "lb"
    points = []
    for (string, soak_days, bait), (total, group) in totals.items():
        a_trap = _a_trap(total, unit)
        if a_trap is not None:
            traps = sum(cell.traps_with_claws if unit == "claws" else cell.traps_with_lb for cell in group)
            points.append(CatchPoint(string, soak_days, bait, a_trap, traps))
    return CatchPoints(unit, tuple(points))


def _a_trap(total: CatchTotal, unit: str) -> float | None:
    return total.claws_a_trap if unit == "claws" else total.lb_a_trap


def catch_png(cells: Iterable[CatchCell], strings: Sequence[str], footer: str = "") -> bytes | None:
    """The picture, 390 px wide at twice the dots. None where no pull told its catch.

    Args:
        strings: The strings in the order of their panels. Of more than ``MOST_PANELS``, those with the most traps
            hauled are drawn, and the picture says how many are not.
        footer: What the picture covers, one short line.
    """
    told = catch_points(cells)
    if not told.points:
        return None
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    shown, left_out = _shown(told.points, strings)
    points = [point for point in told.points if point.string in shown]
    signs = _signs(points)
    columns = min(len(shown), 2)
    rows = -(-len(shown) // columns)
    notes = [_plain(footer)] if footer else []
    if left_out:
        notes.append(f"{left_out} more strings, of fewer traps, are not drawn")
    height_px = _HEAD_PX + rows * _PANEL_PX + _AXIS_PX + (len(signs) + 1 + len(notes)) * _LINE_PX
    picture = Figure(figsize=(WIDTH_PX / 100, height_px / 100), dpi=100 * DOTS_PER_PX, facecolor="white")
    canvas = FigureCanvasAgg(picture)
    panels = picture.subplots(rows, columns, squeeze=False, sharex=True, sharey=True)
    below_px = _AXIS_PX + (len(signs) + 1 + len(notes)) * _LINE_PX
    panel_px = _PANEL_PX - _ROOM_PX
    picture.subplots_adjust(
        left=0.095, right=0.975, top=1 - _HEAD_PX / height_px, bottom=below_px / height_px,
        wspace=0.1, hspace=_ROOM_PX / panel_px,
    )  # fmt: skip
    most_traps = max(point.traps for point in points)
    _scale(panels[0][0], points)
    for panel, string in zip(panels.flat, shown, strict=False):
        _draw(panel, string, [point for point in points if point.string == string], signs, most_traps)
    for panel in panels.flat[len(shown) :]:
        panel.set_visible(False)
    for column in range(columns):
        panels[(len(shown) - 1 - column) // columns][column].tick_params(labelbottom=True)
    _words(picture, told.unit, signs, most_traps, notes, height_px)
    file = io.BytesIO()
    canvas.print_png(file, metadata={"Software": None})  # type: ignore[no-untyped-call]
    return file.getvalue()


def _shown(points: Sequence[CatchPoint], strings: Sequence[str]) -> tuple[list[str], int]:
    traps: dict[str, int] = {}
    for point in points:
        traps[point.string] = traps.get(point.string, 0) + point.traps
    drawn = sorted(traps, key=lambda string: -traps[string])[:MOST_PANELS]
    order = {string: number for number, string in enumerate(strings)}
    return sorted(drawn, key=lambda string: (order.get(string, len(order)), string)), len(traps) - len(drawn)


def _signs(points: Sequence[CatchPoint]) -> dict[str, tuple[str, str]]:
    """Shape and colour by what the legend calls the bait; the most used first."""
    traps: dict[str, int] = {}
    for point in points:
        if point.bait:
            traps[point.bait] = traps.get(point.bait, 0) + point.traps
    baits = sorted(traps, key=lambda bait: (-traps[bait], bait))
    signs = dict(zip(baits, _SIGNS, strict=False))
    if len(baits) > len(_SIGNS):
        signs[_OTHERS] = _OTHERS_SIGN
    if any(not point.bait for point in points):
        signs[_NOT_NAMED] = _NOT_NAMED_SIGN
    return signs


def _scale(panel: Axes, points: Sequence[CatchPoint]) -> None:
    from matplotlib.ticker import MaxNLocator

    most = max(point.a_trap for point in points)
    panel.set_ylim(0.0, most * 1.15 or 1.0)
    days = [point.soak_days for point in points]
    panel.set_xlim(min(days) - 0.8, max(days) + 0.8)
    panel.xaxis.set_major_locator(MaxNLocator(5, integer=True))
    panel.yaxis.set_major_locator(MaxNLocator(4))


def _draw(
    panel: Axes,
    string: str,
    points: Sequence[CatchPoint],
    signs: dict[str, tuple[str, str]],
    most_traps: int,
) -> None:
    panel.set_title(_short(string), loc="left", fontsize=_TEXT_PT, fontweight="bold", family=_FONT, pad=4)
    panel.tick_params(labelsize=_SMALL_PT, length=2.5, color="0.4", labelfontfamily=_FONT)
    panel.grid(axis="y", color="0.88", linewidth=0.6)
    panel.set_axisbelow(True)
    for side in ("top", "right"):
        panel.spines[side].set_visible(False)
    for side in ("left", "bottom"):
        panel.spines[side].set_color("0.4")
    for point in sorted(points, key=lambda point: -point.traps):
        called = point.bait if point.bait in signs else _OTHERS if point.bait else _NOT_NAMED
        shape, colour = signs[called]
        panel.scatter(
            [point.soak_days],
            [point.a_trap],
            s=_area(point.traps, most_traps),
            marker=shape,
            color=colour,
            alpha=0.85,
            edgecolors="white",
            linewidths=0.5,
            clip_on=False,
            zorder=3,
        )


def _area(traps: int, most_traps: int) -> float:
    return max(_SMALLEST, _BIGGEST * traps / most_traps)


def _words(
    picture: Figure,
    unit: str,
    signs: dict[str, tuple[str, str]],
    most_traps: int,
    notes: Sequence[str],
    height_px: int,
) -> None:
    """What the axes and signs mean, in lines of their own: a label on its side is hard to read on a phone."""
    measured = "Legal claws a trap" if unit == "claws" else "Pounds a trap"
    picture.text(
        0.02, 1 - 15 / height_px, f"{measured}, by days of soak",
        fontsize=_TEXT_PT + 1, fontweight="bold", family=_FONT, va="center",
    )  # fmt: skip
    line_px = (len(signs) + 1 + len(notes)) * _LINE_PX
    picture.text(
        0.535,
        (line_px + 9) / height_px,
        "soak, full days",
        fontsize=_TEXT_PT,
        family=_FONT,
        ha="center",
        va="center",
    )
    marks = picture.add_axes((0.0, 0.0, 1.0, line_px / height_px))
    marks.set_axis_off()
    marks.set_xlim(0, WIDTH_PX)
    marks.set_ylim(0, line_px)
    y_px = line_px - _LINE_PX / 2
    for called, (shape, colour) in signs.items():
        marks.scatter([18], [y_px], s=45, marker=shape, color=colour)
        marks.text(32, y_px, _short(called), fontsize=_TEXT_PT, family=_FONT, va="center")
        y_px -= _LINE_PX
    sizes = f"The bigger the sign, the more traps were hauled: the biggest {most_traps}."
    for text in (sizes, *notes):
        marks.text(8, y_px, text, fontsize=_SMALL_PT, family=_FONT, va="center", color="0.25")
        y_px -= _LINE_PX


def _short(name: str) -> str:
    plain = one_line(name)
    return _plain(plain if len(plain) <= _NAME_CHARS else f"{plain[: _NAME_CHARS - 1]}…")


def _plain(text: str) -> str:
    """What stands between dollar signs would be read as a formula."""
    return one_line(text).replace("$", r"\$")
