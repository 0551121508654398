"""A plan of the marks and a plot of the catch, reckoned out: templates only write down what stands here.

The plan is a plane one, north up: good for the few tens of miles that a boat goes from its harbor, and no chart.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from geographiclib.geodesic import Geodesic

from soakbell.gear.fold import StringState, Whereabouts
from soakbell.gear.strings import Mark
from soakbell.gear.trap_states import point_of_line
from soakbell.letters.gear_words import places_words
from soakbell.letters.words import listed, one_line
from soakbell.units import nmi_from_m

WIDTH = 320.0
"""Of plan and plot, in units of the drawing: about a pixel of a small phone."""

_MOST_HIGH, _LEAST_HIGH = 400.0, 150.0
_ROOM, _FOOT = 26.0, 36.0
_LEAST_NMI = 0.1
_MILES_A_DEGREE = 60.0
_LETTER, _LINE = 8.2, 17.0
"""How wide a letter and how high a line of 14 units is, on the wide side."""
_MOST_LETTERS = 20
_STEPS = (1.0, 2.0, 5.0)


@dataclass(frozen=True)
class PlanString:
    """A string as it lies. ``fishing`` are places that are in the water; ``missing`` trap places with where they
    lay."""

    name: str
    start: Mark
    end: Mark
    traps: int
    fishing: tuple[int, ...] = ()
    missing: tuple[tuple[int, Mark], ...] = ()


@dataclass(frozen=True)
class Label:
    """``anchor`` as SVG has it: start, middle or end."""

    x: float
    y: float
    anchor: str
    text: str


@dataclass(frozen=True)
class Line:
    x1: float
    y1: float
    x2: float
    y2: float


@dataclass(frozen=True)
class Sign:
    """``kind``: harbor, start, end, fishing or missing."""

    kind: str
    x: float
    y: float


@dataclass(frozen=True)
class Plan:
    """A drawing of ``width`` by ``height``. ``keyed`` are strings that had no room for their names and stand on it
    by number; ``told`` says in words what is to be seen."""

    title: str
    told: str
    width: float
    height: float
    lines: tuple[Line, ...]
    signs: tuple[Sign, ...]
    labels: tuple[Label, ...]
    scale: Line
    scale_label: Label
    north: Label
    keyed: tuple[tuple[int, str], ...] = ()


def plan_string(state: StringState) -> PlanString:
    """The string as the log has it."""
    return PlanString(
        state.name,
        state.start,
        state.end,
        len(state.traps),
        state.places(Whereabouts.FISHING),
        tuple(
            (trap.place, trap.lost_near or point_of_line(state.start, state.end, trap.place, len(state.traps)))
            for trap in state.traps
            if trap.where is Whereabouts.MISSING
        ),
    )


def from_harbor(harbor: Mark, string: PlanString) -> tuple[float, float]:
    """Nautical miles and degrees true from the harbor to the middle of the string."""
    middle = point_of_line(string.start, string.end, 1, 1)
    found = Geodesic.WGS84.Inverse(harbor.lat_deg, harbor.lon_deg, middle.lat_deg, middle.lon_deg)
    return nmi_from_m(found["s12"]), found["azi1"] % 360.0


def bearing_words(bearing_deg: float) -> str:
    """``085 degrees true``."""
    return f"{round(bearing_deg) % 360:03d} degrees true"


# ---- the plan of all strings, and of one


def plan_of_all(strings: Sequence[PlanString], harbor: Mark, harbor_name: str) -> Plan:
    """Harbor and strings. The numbers of ``keyed`` are their places in ``strings``."""
    sheet = _Sheet([harbor, *(mark for string in strings for mark in (string.start, string.end))])
    x, y = sheet.at(harbor)
    lines = tuple(sheet.line(string.start, string.end) for string in strings)
    taken = [_Box(x - 8, y - 8, x + 8, y + 8), sheet.foot, *(_around(line) for line in lines)]
    writer = _Writer(sheet, taken)
    home = writer.written(_Box(x - 8, y - 8, x + 8, y + 8), [_shown(harbor_name)])
    labels, keyed = [home], []
    for number, (string, line) in enumerate(zip(strings, lines, strict=True), start=1):
        label = writer.written(_around(line), [_shown(string.name), str(number)])
        labels.append(label)
        if label.text == str(number):
            keyed.append((number, one_line(string.name)))
    told = "; ".join(_lies(harbor, string) for string in strings)
    return sheet.plan(
        f"Plan of the strings off {one_line(harbor_name)}",
        f"North is up. From the harbor: {told}." if strings else "North is up. There is no string.",
        lines,
        (Sign("harbor", x, y), *(sign for string in strings for sign in sheet.ends(string))),
        labels,
        tuple(keyed),
    )


def plan_of_one(string: PlanString) -> Plan:
    """The string by itself, with its traps as if they lay evenly from mark to mark."""
    sheet = _Sheet([string.start, string.end, *(mark for _, mark in string.missing)])
    line = sheet.line(string.start, string.end)
    dots = tuple(
        Sign("fishing", *sheet.at(point_of_line(string.start, string.end, place, string.traps)))
        for place in string.fishing
    )
    lost = tuple(Sign("missing", *sheet.at(mark)) for _, mark in string.missing)
    signs = (*sheet.ends(string), *dots, *lost)
    taken = [sheet.foot, *(_Box(sign.x - 6, sign.y - 6, sign.x + 6, sign.y + 6) for sign in signs)]
    writer = _Writer(sheet, taken)
    labels = [
        writer.written(_Box(sign.x - 8, sign.y - 8, sign.x + 8, sign.y + 8), [words])
        for sign, words in zip(signs[:2], ("start", "end"), strict=True)
    ]
    places = [place for place, _ in string.missing]
    missing = f" Missing: {places_words(places)}, where they lay." if places else " None is missing."
    fishing = f"{len(string.fishing)} of {string.traps} traps fish."
    title = f"Plan of {one_line(string.name)}"
    return sheet.plan(title, f"North is up. {fishing}{missing}", (line,), signs, labels)


def _lies(harbor: Mark, string: PlanString) -> str:
    nmi, bearing_deg = from_harbor(harbor, string)
    return f"{one_line(string.name)} {nmi:.1f} nmi, {bearing_words(bearing_deg)}"


def _shown(name: str) -> str:
    plain = one_line(name)
    return plain if len(plain) <= _MOST_LETTERS else f"{plain[: _MOST_LETTERS - 1]}…"


@dataclass(frozen=True)
class _Box:
    left: float
    top: float
    right: float
    bottom: float

    def meets(self, other: _Box) -> bool:
        across = self.left < other.right and other.left < self.right
        return across and self.top < other.bottom and other.top < self.bottom


def _around(line: Line) -> _Box:
    left, right = sorted((line.x1, line.x2))
    top, bottom = sorted((line.y1, line.y2))
    return _Box(left - 6, top - 6, right + 6, bottom + 6)


class _Sheet:
    """Where marks come to lie on the paper: as big as they fit, the height by what they span."""

    def __init__(self, marks: Sequence[Mark]) -> None:
        lats = [mark.lat_deg for mark in marks]
        self._lon_deg = marks[0].lon_deg
        self._lat_deg = (min(lats) + max(lats)) / 2
        self._shrunk = max(0.05, math.cos(math.radians(self._lat_deg)))
        east = [self._east_nmi(mark) for mark in marks]
        north = [self._north_nmi(mark) for mark in marks]
        wide, high = max(east) - min(east), max(north) - min(north)
        across, most_up = WIDTH - 2 * _ROOM, _MOST_HIGH - 2 * _ROOM - _FOOT
        self._a_mile = min(across / max(wide, _LEAST_NMI), most_up / max(high, _LEAST_NMI))
        self.height = max(_LEAST_HIGH, high * self._a_mile + 2 * _ROOM + _FOOT)
        self._east_mid, self._north_mid = (min(east) + max(east)) / 2, (min(north) + max(north)) / 2
        long_nmi = _round_below(WIDTH / 3 / self._a_mile)
        y, right = self.height - 12, 12 + long_nmi * self._a_mile
        self._scale = Line(12, y, right, y)
        self._scale_label = Label(right + 8, y + 5, "start", f"{long_nmi:g} nmi")
        self._north = Label(WIDTH - 16, round(self.height - 8, 1), "middle", "N")
        self.foot = _Box(0, self.height - _FOOT, WIDTH, self.height)

    def _east_nmi(self, mark: Mark) -> float:
        east_deg = (mark.lon_deg - self._lon_deg + 180.0) % 360.0 - 180.0  # the short way round
        return east_deg * _MILES_A_DEGREE * self._shrunk

    def _north_nmi(self, mark: Mark) -> float:
        return (mark.lat_deg - self._lat_deg) * _MILES_A_DEGREE

    def at(self, mark: Mark) -> tuple[float, float]:
        x = WIDTH / 2 + (self._east_nmi(mark) - self._east_mid) * self._a_mile
        y = (self.height - _FOOT) / 2 - (self._north_nmi(mark) - self._north_mid) * self._a_mile
        return round(x, 1), round(y, 1)

    def line(self, start: Mark, end: Mark) -> Line:
        return Line(*self.at(start), *self.at(end))

    def ends(self, string: PlanString) -> Iterator[Sign]:
        yield Sign("start", *self.at(string.start))
        yield Sign("end", *self.at(string.end))

    def plan(
        self,
        title: str,
        told: str,
        lines: Sequence[Line],
        signs: Sequence[Sign],
        labels: Sequence[Label],
        keyed: tuple[tuple[int, str], ...] = (),
    ) -> Plan:
        scale = replace(self._scale, x2=round(self._scale.x2, 1))
        return Plan(
            title,
            f"{told} The bar below is {self._scale_label.text.removesuffix(' nmi')} nautical miles long.",
            WIDTH,
            round(self.height, 1),
            tuple(lines),
            tuple(signs),
            tuple(labels),
            replace(scale, y1=round(scale.y1, 1), y2=round(scale.y2, 1)),
            replace(self._scale_label, x=round(self._scale_label.x, 1), y=round(self._scale_label.y, 1)),
            self._north,
            keyed,
        )


class _Writer:
    """Finds room for words beside what they name."""

    def __init__(self, sheet: _Sheet, taken: Iterable[_Box]) -> None:
        self._sheet = sheet
        self._taken = list(taken)

    def written(self, named: _Box, wordings: Sequence[str]) -> Label:
        """The first wording that finds room; the last one above, come what may."""
        for text in wordings:
            for label, box in self._around(named, text):
                inside = box.left >= 2 and box.right <= WIDTH - 2 and box.top >= 2
                if inside and not any(box.meets(other) for other in self._taken if other != named):
                    self._taken.append(box)
                    return label
        label, box = next(self._around(named, wordings[-1]))
        self._taken.append(box)
        return label

    def _around(self, named: _Box, text: str) -> Iterator[tuple[Label, _Box]]:
        wide = len(text) * _LETTER
        x, y = (named.left + named.right) / 2, (named.top + named.bottom) / 2
        places = (
            (x, named.top - _LINE / 2, "middle", x - wide / 2),
            (named.right + 2, y, "start", named.right + 2),
            (named.left - 2, y, "end", named.left - 2 - wide),
            (x, named.bottom + _LINE / 2, "middle", x - wide / 2),
        )
        for at_x, middle, anchor, left in places:
            box = _Box(left, middle - _LINE / 2, left + wide, middle + _LINE / 2)
            yield Label(round(at_x, 1), round(middle + 5, 1), anchor, text), box


def _round_below(most: float) -> float:
    """The greatest of 1, 2 and 5 times a power of ten that is not above it."""
    power = 10.0 ** math.floor(math.log10(most))
    return max(step * power for step in _STEPS if step * power <= most * (1 + 1e-9))


# ---- the plot of a string's catch


@dataclass(frozen=True)
class Bar:
    x: float
    y: float
    width: float
    height: float


@dataclass(frozen=True)
class Plot:
    """One bar a pull, the oldest first."""

    title: str
    told: str
    width: float
    height: float
    bars: tuple[Bar, ...]
    rules: tuple[Line, ...]
    labels: tuple[Label, ...]


_PLOT_HIGH, _LEFT, _TOP, _BELOW = 180.0, 44.0, 16.0, 26.0
MOST_BARS = 30


def catch_plot(pulls: Sequence[tuple[str, float]], unit: str) -> Plot | None:
    """``pulls`` are days in words and ``unit`` a trap, the oldest first; the last ``MOST_BARS`` are drawn. None
    without any."""
    shown = pulls[-MOST_BARS:]
    if not shown:
        return None
    most = max(a_trap for _, a_trap in shown)
    top = _round_above(most)
    across, high = WIDTH - _LEFT - 10, _PLOT_HIGH - _TOP - _BELOW
    step = across / max(len(shown), 8)
    floor = _PLOT_HIGH - _BELOW

    def up(a_trap: float) -> float:
        return round(floor - high * a_trap / top, 1)

    bars = tuple(
        Bar(
            round(_LEFT + (number + 0.15) * step, 1),
            up(a_trap),
            round(step * 0.7, 1),
            round(floor - up(a_trap), 1),
        )
        for number, (_, a_trap) in enumerate(shown)
    )
    ticks = (0.0, top / 2, top)
    rules = tuple(Line(_LEFT, up(tick), WIDTH - 10, up(tick)) for tick in ticks)
    labels = [Label(_LEFT - 6, up(tick) + 5, "end", f"{tick:g}") for tick in ticks]
    labels.append(Label(_LEFT, _PLOT_HIGH - 6, "start", shown[0][0]))
    if len(shown) > 1:
        labels.append(Label(WIDTH - 10, _PLOT_HIGH - 6, "end", f"to {shown[-1][0]}"))
    values = listed(f"{a_trap:.1f}" for _, a_trap in shown)
    return Plot(
        f"{unit} a trap, pull by pull",
        f"{len(shown)} pulls, the oldest first: {values}.",
        WIDTH,
        _PLOT_HIGH,
        bars,
        rules,
        tuple(labels),
    )


def _round_above(least: float) -> float:
    """The least of 1, 2 and 5 times a power of ten that is not below it; 1 where there is nothing."""
    if least <= 0:
        return 1.0
    power = 10.0 ** math.floor(math.log10(least))
    return next(step * power for step in (*_STEPS, 10.0) if step * power >= least * (1 - 1e-9))
