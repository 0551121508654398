"""The picture of the day: wind, gusts and sea against their limits, hour by hour.

Greys and line shapes only, so it reads on any screen. An hour that is not known is hatched; no line crosses it.
"""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from soakbell.letters.figures import bare_figure, figure, named
from soakbell.letters.times import HarborTimes
from soakbell.letters.words import listed, off_water_at
from soakbell.planning.call import Call
from soakbell.units import ft_from_m, is_number, m_from_ft

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.backends.backend_agg import FigureCanvasAgg

CHARTED = ("wind_kt", "gust_kt", "sea_m")
WIDTH_PX = 600
DOTS_PER_PX = 2

_HOUR = timedelta(hours=1)
_FONT = "DejaVu Sans"  # ships with matplotlib, so the picture is the same everywhere
_TEXT_PT = 15.0


@dataclass(frozen=True)
class DayHours:
    """One quantity over the hours of a local day. A value is None where it isn't known."""

    quantity: str
    limit: float | None
    hours: tuple[tuple[datetime, float | None], ...]

    def known(self) -> list[tuple[datetime, float]]:
        return [(at, value) for at, value in self.hours if value is not None]

    def holes(self, since: datetime) -> list[tuple[datetime, datetime]]:
        """Runs of unknown hours that end after ``since``, as begin and end."""
        return list(_runs([at for at, value in self.hours if value is None and at + _HOUR > since]))

    def runs(self) -> Iterator[list[tuple[datetime, float]]]:
        """Known hours without a gap between them."""
        run: list[tuple[datetime, float]] = []
        for at, value in self.hours:
            if value is not None:
                run.append((at, value))
            elif run:
                yield run
                run = []
        if run:
            yield run


def _runs(hours: Sequence[datetime]) -> Iterator[tuple[datetime, datetime]]:
    begin: datetime | None = None
    end: datetime | None = None
    for at in hours:
        if end is not None and begin is not None and at != end:
            yield (begin, end)
            begin = at
        elif begin is None:
            begin = at
        end = at + _HOUR
    if begin is not None and end is not None:
        yield (begin, end)


def day_hours(call: Call, times: HarborTimes) -> tuple[DayHours, ...]:
    """What is charted, for each hour of the local day: 23, 24 or 25 of them."""
    return tuple(
        DayHours(
            quantity,
            call.limits.get(quantity),
            tuple((at, value_at(call.hours, quantity, at)) for at in times.hours_of_day()),
        )
        for quantity in CHARTED
    )


def value_at(hours: pd.DataFrame, quantity: str, at: datetime) -> float | None:
    """A quantity of a call's hours; None where it isn't known."""
    moment = pd.Timestamp(at)
    if quantity not in hours.columns or moment not in hours.index:
        return None
    value = hours.at[moment, quantity]
    return float(value) if is_number(value) else None  # type: ignore[arg-type]


def day_in_numbers(call: Call, times: HarborTimes) -> str:
    """What the chart shows from the letter on, as sentences: for the text part, and as the picture's alt text."""
    return " ".join(_in_numbers(row, call, times) for row in day_hours(call, times))


def gusts_below_wind(call: Call, times: HarborTimes) -> str:
    """Why gusts stand below the wind, where in some charted hour they do; else empty."""
    wind, gust, _ = (dict(row.known()) for row in day_hours(call, times))
    if all(value >= wind.get(at, value) for at, value in gust.items()):
        return ""
    return (
        "Wind and gusts are each the highest that any source gives for the hour, so gusts may stand below the "
        "wind of another source."
    )


def _in_numbers(row: DayHours, call: Call, times: HarborTimes) -> str:
    kind = named(row.quantity)
    ahead = [(at, value) for at, value in row.known() if at + _HOUR > call.made_at]
    holes = [times.span(begin, end) for begin, end in row.holes(call.made_at)]
    if not ahead:
        return f"{kind.name}: not known for any hour."
    most = figure(row.quantity, max(value for _, value in ahead), row.limit)
    highest = _runs([at for at, value in ahead if figure(row.quantity, value, row.limit) == most])
    told = [f"{kind.name}: at most {most} {_when(list(highest), call.made_at, times)}"]
    if row.limit is not None:
        past = [times.span(*run) for run in _runs([at for at, value in ahead if value > row.limit])]
        limit = figure(row.quantity, row.limit)
        told.append(
            f"over the limit of {limit} from {listed(past)}"
            if past
            else f"never over the limit of {limit}{' in the hours that are known' if holes else ''}"
        )
    if call.window is not None:
        ends_at = off_water_at(call.window)
        within = [value for at, value in ahead if at < ends_at and at + _HOUR > call.window.leaves_at]
        if within:
            told.append(f"in the window at most {figure(row.quantity, max(within), row.limit)}")
    if holes:
        told.append(f"not known from {listed(holes)}")
    return f"{'; '.join(told)}."


def _when(runs: Sequence[tuple[datetime, datetime]], now: datetime, times: HarborTimes) -> str:
    """``at 17:00``; ``from now to midnight``; ``from 10:00 to 12:00 and 15:00 to 16:00``."""
    if len(runs) == 1 and runs[0][0] > now and runs[0][1] - runs[0][0] == _HOUR:
        return f"at {times.hour(runs[0][0])}"
    return f"from {listed(f'now to {times.hour(end)}' if at <= now else times.span(at, end) for at, end in runs)}"


def chart_png(call: Call, times: HarborTimes) -> bytes | None:
    """The picture, 600 px wide at twice the dots, or None where no hour of the day is known.

    The same call gives the same bytes with the same matplotlib.
    """
    rows = day_hours(call, times)
    if not any(row.known() for row in rows):
        return None
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    picture = Figure(figsize=(WIDTH_PX / 100, 5.7), dpi=100 * DOTS_PER_PX, facecolor="white")
    canvas = FigureCanvasAgg(picture)
    air, sea = picture.subplots(2, 1)
    picture.subplots_adjust(left=0.085, right=0.915, top=0.9, bottom=0.06, hspace=0.36)
    wind, gust, waves = rows
    top = _scale_top([wind, gust], 10.0)
    _ground(air, call, times, [wind], top)
    _steps(air, gust, width=1.6, style=(0, (2.2, 1.4)))
    _steps(air, wind, width=3.2, style="solid")
    _limit(air, wind, "solid")
    _limit(air, gust, (0, (2.2, 1.4)))
    broken = f"Gusts, kt, broken line{_limit_words(gust)}"
    _title(air, f"Wind, kt, thick line{_limit_words(wind)}\n{broken}", right=f"hours {times.abbreviation}")
    top_m = _scale_top([waves], m_from_ft(3.0))
    _ground(sea, call, times, [waves], top_m)
    _steps(sea, waves, width=3.2, style="solid")
    _limit(sea, waves, "solid")
    _sea_scale(sea, top_m)
    _title(sea, f"Seas, ft{_limit_words(waves)}", right="m")
    return _in_greys(canvas)


def _in_greys(canvas: FigureCanvasAgg) -> bytes:
    """Sixteen greys are all it has; as such it is a third of the size."""
    from PIL import Image

    canvas.draw()  # type: ignore[no-untyped-call]
    picture = Image.fromarray(np.asarray(canvas.buffer_rgba())).convert("L")  # type: ignore[no-untyped-call]
    file = io.BytesIO()
    picture.quantize(16).save(file, format="png", optimize=True)
    return file.getvalue()


def _scale_top(rows: Sequence[DayHours], least: float) -> float:
    """Top of an axis: room over the highest value and limit, for the limit's own label."""
    seen = [least, *(value for row in rows for _, value in row.known()), *(r.limit for r in rows if r.limit)]
    return max(seen) * 1.22


def _x(at: datetime, times: HarborTimes) -> float:
    return (at - times.midnights()[0]) / _HOUR


def _ground(axes: Axes, call: Call, times: HarborTimes, rows: Sequence[DayHours], top: float) -> None:
    """Scale, clock, legal hours, window and holes, all behind the numbers."""
    end = _x(times.midnights()[1], times)
    axes.set_xlim(0.0, end)
    axes.set_ylim(0.0, top)
    ticks = [at for at in times.hours_of_day() if times.local(at).hour % 3 == 0 and times.local(at).minute == 0]
    axes.set_xticks(
        [*(_x(at, times) for at in ticks), end], [*(f"{times.local(at):%H}" for at in ticks), "24"], family=_FONT
    )
    axes.tick_params(labelsize=_TEXT_PT, length=3, color="0.4", labelfontfamily=_FONT)
    axes.tick_params(axis="x", pad=8)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    for side in ("left", "bottom"):
        axes.spines[side].set_color("0.4")
    today = next((d for d in call.outlook if d.day == call.day), None)
    if today is not None and today.first_light_at is not None and today.last_light_at is not None:
        for begin, stop in ((0.0, _x(today.first_light_at, times)), (_x(today.last_light_at, times), end)):
            axes.axvspan(begin, stop, facecolor="0.88", edgecolor="none", zorder=0)
    for row in rows:
        for hole_begin, hole_end in row.holes(call.made_at):
            begin, stop = _x(hole_begin, times), _x(hole_end, times)
            axes.axvspan(begin, stop, facecolor="white", edgecolor="0.55", hatch="////", linewidth=0.0, zorder=1)
            if stop - begin >= 4:
                _label(axes, (begin + stop) / 2, top * 0.86, "not\nknown")
    if call.window is not None:
        begin, stop = _x(call.window.leaves_at, times), _x(off_water_at(call.window), times)
        axes.plot(
            [begin, stop], [0.0, 0.0], color="black", linewidth=9, solid_capstyle="butt", clip_on=False, zorder=4
        )
        for edge in (begin, stop):
            axes.axvline(edge, color="black", linewidth=1.0, zorder=2)


def _steps(axes: Axes, row: DayHours, *, width: float, style: str | tuple[float, tuple[float, float]]) -> None:
    start = row.hours[0][0]
    for run in row.runs():
        edges = [(at - start) / _HOUR for at, _ in run]
        values = [value for _, value in run]
        axes.stairs(
            values,
            [*edges, edges[-1] + 1.0],
            baseline=None,
            color="black",
            linewidth=width,
            linestyle=style,
            zorder=5,
        )


def _limit(axes: Axes, row: DayHours, style: str | tuple[float, tuple[float, float]]) -> None:
    if row.limit is not None:
        axes.axhline(row.limit, color="0.35", linewidth=1.3, linestyle=style, zorder=3)


def _limit_words(row: DayHours) -> str:
    return f"; limit {bare_figure(row.quantity, row.limit)}" if row.limit is not None else ""


def _sea_scale(axes: Axes, top_m: float) -> None:
    step_ft = 1 if ft_from_m(top_m) < 5 else 2 if ft_from_m(top_m) < 12 else 5
    feet = range(0, int(ft_from_m(top_m)) + 1, step_ft)
    axes.set_yticks([m_from_ft(ft) for ft in feet], [str(ft) for ft in feet], family=_FONT)
    metres = axes.twinx()
    metres.set_ylim(0.0, top_m)
    step_m = 0.5 if top_m < 3 else 1.0
    marks = [step_m * n for n in range(int(top_m / step_m) + 1)]
    metres.set_yticks(marks, [f"{mark:g}" for mark in marks], family=_FONT)
    metres.tick_params(labelsize=_TEXT_PT, length=3, color="0.4", labelcolor="0.3", labelfontfamily=_FONT)
    for side in ("top", "left", "bottom"):
        metres.spines[side].set_visible(False)
    metres.spines["right"].set_color("0.4")


def _title(axes: Axes, text: str, *, right: str) -> None:
    axes.set_title(text, loc="left", fontsize=_TEXT_PT, fontweight="bold", family=_FONT, pad=5)
    axes.set_title(right, loc="right", fontsize=_TEXT_PT - 1.5, family=_FONT, pad=5)


def _label(axes: Axes, x: float, y: float, text: str) -> None:
    axes.text(
        x,
        y,
        text,
        ha="center",
        va="center",
        fontsize=_TEXT_PT - 1.5,
        family=_FONT,
        zorder=6,
        bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.5},
    )
