"""Marks of strings out of a track file (GPX) or a table (CSV), as moves that the skipper looks at first. Pure."""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from xml.etree.ElementTree import Element, ParseError

from defusedxml.common import DefusedXmlException
from defusedxml.ElementTree import fromstring

from soakbell.errors import Fault
from soakbell.gear.strings import Mark, TrapString
from soakbell.planning.distances import distance_nmi
from soakbell.settings import FARTHEST_NMI, LONGEST_STRING_NMI

MOST_BYTES = 5_000_000
MOST_POINTS = 50_000
AS_IT_LIES_NMI = 0.001
"""Marks closer than this (2 m) are the same: files round to fewer digits than the log keeps."""
MOST_CHARS_SHOWN = 60

COLUMNS = ("string", "start_lat_deg", "start_lon_deg", "end_lat_deg", "end_lon_deg")
_NUMBERED = re.compile(r"(?:Trip \d{1,4}: |\d{1,4} )(.+)", re.DOTALL)  # as our own track files name strings
_END = re.compile(r"(.+) (start|end)", re.DOTALL | re.IGNORECASE)
_DEGREES = re.compile(r"[-+]?\d{1,3}(\.\d{0,20})?", re.ASCII)


@dataclass(frozen=True)
class ProposedMove:
    """A string between new marks, and how far each lies from where it is now, nautical miles."""

    string: str
    start: Mark
    end: Mark
    start_nmi: float
    end_nmi: float


@dataclass(frozen=True)
class MarksRead:
    """What a file of marks comes to.

    Attributes:
        moves: in the order of the boat's strings.
        unmoved: strings that the file has where they lie.
        faults: of strings that are in the file and can't be moved as it says, or of the whole file.
        passed_over: names and rows that are of no string, as the file has them.
    """

    moves: tuple[ProposedMove, ...] = ()
    unmoved: tuple[str, ...] = ()
    faults: tuple[Fault, ...] = ()
    passed_over: tuple[str, ...] = ()


@dataclass(frozen=True)
class _Told:
    """Marks of one string as one place of the file has them; one that isn't told is None."""

    string: str
    start: Mark | None
    end: Mark | None


class _BadFile(Exception):
    def __init__(self, key: str, found: str, write: str) -> None:
        super().__init__()
        self.fault = Fault("file", key, found, write)


def read_marks(content: bytes, strings: Sequence[TrapString], afloat: Collection[str], harbor: Mark) -> MarksRead:
    """What a file would move. Nothing is guessed: a name is a string's or it is passed over, and told.

    Args:
        content: the file as it is.
        strings: between the marks where they lie now.
        afloat: strings with traps in the water; no other can be moved.
    """
    reader = _Reader(strings)
    try:
        if len(content) > MOST_BYTES:
            raise _BadFile("size", f"{len(content)} bytes", f"at most {MOST_BYTES}")
        if content.lstrip(b"\xef\xbb\xbf \t\r\n").startswith(b"<"):
            reader.read_gpx(content)
        else:
            reader.read_csv(content)
    except _BadFile as bad:
        return MarksRead(faults=(bad.fault,))
    moves: list[ProposedMove] = []
    unmoved: list[str] = []
    faults = list(reader.faults)
    for string in strings:
        told = reader.told.get(string.name)
        if told is None:
            continue
        start, end = told.start or string.start, told.end or string.end
        move = ProposedMove(
            string.name, start, end, distance_nmi(string.start, start), distance_nmi(string.end, end)
        )
        found = list(_faults_of(move, string.name in afloat, harbor))
        if found:
            faults += found
        elif max(move.start_nmi, move.end_nmi) < AS_IT_LIES_NMI:
            unmoved.append(string.name)
        else:
            moves.append(move)
    return MarksRead(tuple(moves), tuple(unmoved), tuple(faults), tuple(reader.passed_over))


def _faults_of(move: ProposedMove, is_afloat: bool, harbor: Mark) -> Iterator[Fault]:
    near = True
    for key, mark in (("start", move.start), ("end", move.end)):
        away_nmi = distance_nmi(harbor, mark)
        if away_nmi > FARTHEST_NMI:
            near = False
            found = f"{told_mark(mark)}, {away_nmi:,.0f} nmi from the harbor"
            write = f"a mark within {FARTHEST_NMI:g} nmi of it, latitude first, west and south negative"
            yield Fault(move.string, key, found, write)
    length_nmi = distance_nmi(move.start, move.end)
    if near and length_nmi > LONGEST_STRING_NMI:
        write = f"marks within {LONGEST_STRING_NMI:g} nmi of each other"
        yield Fault(move.string, "end", f"marks {length_nmi:.1f} nmi apart", write)
    if not is_afloat:
        write = "the marks with the set, since only what is in the water can be moved"
        yield Fault(move.string, "string", "none of its traps in the water", write)


def told_mark(mark: Mark) -> str:
    """Degrees as they are written in files, to a tenth of a metre."""
    return f"{mark.lat_deg:.6f} {mark.lon_deg:.6f}"


class _Reader:
    """Collects marks by string."""

    def __init__(self, strings: Sequence[TrapString]) -> None:
        self._names = {_folded(string.name): string.name for string in strings}
        self.told: dict[str, _Told] = {}
        self.faults: list[Fault] = []
        self.passed_over: list[str] = []
        self._twice: set[str] = set()

    def read_gpx(self, content: bytes) -> None:
        root = _parsed(content)
        if _tag(root) != "gpx":
            raise _BadFile("gpx", f"<{_tag(root)[:MOST_CHARS_SHOWN]}>", "a track file that begins with <gpx>")
        points = sum(1 for part in root.iter() if _tag(part) in ("wpt", "rtept", "trkpt"))
        if points > MOST_POINTS:
            raise _BadFile("points", str(points), f"at most {MOST_POINTS}; leave tracks out")
        ends: dict[str, dict[str, Mark]] = {}
        for part in root:
            kind, name = _tag(part), _name(part)
            if kind == "wpt":
                self._waypoint(part, name, ends)
            elif kind == "rte":
                self._line(name, [(point, _name(point)) for point in part if _tag(point) == "rtept"])
            elif kind == "trk":
                self._line(name, [(point, "") for point in part.iter() if _tag(point) == "trkpt"])
        for string, marks in ends.items():
            self._take(_Told(string, marks.get("start"), marks.get("end")))

    def read_csv(self, content: bytes) -> None:
        try:
            rows = list(csv.reader(io.StringIO(content.decode("utf-8-sig"), newline=""), strict=True))
        except UnicodeDecodeError as error:
            raise _BadFile("encoding", f"a byte at {error.start} that isn't UTF-8", "CSV UTF-8") from error
        except csv.Error as error:
            raise _BadFile("quotes", str(error), "cells with a quote or comma in double quotes") from error
        if len(rows) - 1 > MOST_POINTS:
            raise _BadFile("rows", str(len(rows) - 1), f"at most {MOST_POINTS}")
        heads = [_bare(cell).casefold() for cell in rows[0]] if rows else []
        lacking = [column for column in COLUMNS if heads.count(column) != 1]
        if lacking:
            raise _BadFile(
                "columns", f"no {', '.join(lacking)}", f"a first row with each once: {', '.join(COLUMNS)}"
            )
        at = [heads.index(column) for column in COLUMNS]
        for number, row in enumerate(rows[1:], start=2):
            if any(cell.strip() for cell in row):
                self._row(number, [_bare(row[place]) if place < len(row) else "" for place in at])

    def _row(self, number: int, cells: Sequence[str]) -> None:
        name, *degrees = cells
        string = self._names.get(_folded(name))
        if string is None or not any(degrees):
            self.passed_over.append(f"row {number}: {_shown(name) or 'no name'}")
            return
        start, end = _mark(degrees[0], degrees[1]), _mark(degrees[2], degrees[3])
        if start is None or end is None:
            found = ", ".join(_shown(cell) or "nothing" for cell in degrees)
            write = "four numbers of degrees, as in 30.03, -84.16, 30.034, -84.148"
            self.faults.append(Fault(f"{string}, row {number}", "marks", found, write))
            return
        self._take(_Told(string, start, end))

    def _waypoint(self, part: Element, name: str, ends: dict[str, dict[str, Mark]]) -> None:
        end_of = _END.fullmatch(name)
        string = None if end_of is None else self._string(end_of[1])
        if string is None or end_of is None:
            self.passed_over.append(f"waypoint: {_shown(name) or 'no name'}")
            return
        end, mark = end_of[2].casefold(), _mark_of(part)
        if mark is None:
            self._no_place(string)
        elif end in ends.setdefault(string, {}) and ends[string][end] != mark:
            self._told_twice(string)
        else:
            ends[string][end] = mark

    def _line(self, name: str, points: list[tuple[Element, str]]) -> None:
        """A route or track from start to end; named ends of a route decide over its direction."""
        string = self._string(name)
        if string is None or len(points) < 2:
            self.passed_over.append(f"line: {_shown(name) or 'no name'}")
            return
        first, last = _mark_of(points[0][0]), _mark_of(points[-1][0])
        if first is None or last is None:
            self._no_place(string)
            return
        named = [_END.fullmatch(points[place][1]) for place in (0, -1)]
        ends = [None if found is None else found[2].casefold() for found in named]
        if "start" in ends[1:] or "end" in ends[:1]:
            first, last = last, first
        self._take(_Told(string, first, last))

    def _string(self, name: str) -> str | None:
        """The string of a name, or of one that our own track files made of it."""
        numbered = _NUMBERED.fullmatch(name)
        return self._names.get(_folded(name)) or (self._names.get(_folded(numbered[1])) if numbered else None)

    def _take(self, told: _Told) -> None:
        known = self.told.get(told.string)
        if told.string in self._twice:
            return
        if known is None or _fits(known, told):
            self.told[told.string] = _joined(known, told)
        else:
            self._told_twice(told.string)

    def _told_twice(self, string: str) -> None:
        if string not in self._twice:
            self.faults.append(Fault(string, "marks", "twice, not the same", "each string once"))
        self._twice.add(string)
        self.told.pop(string, None)

    def _no_place(self, string: str) -> None:
        self.faults.append(
            Fault(string, "marks", "no place on earth", "lat from -90 to 90 and lon from -180 to 180")
        )


def _fits(one: _Told, other: _Told) -> bool:
    pairs = ((one.start, other.start), (one.end, other.end))
    return all(a is None or b is None or distance_nmi(a, b) < AS_IT_LIES_NMI for a, b in pairs)


def _joined(known: _Told | None, told: _Told) -> _Told:
    return told if known is None else _Told(told.string, known.start or told.start, known.end or told.end)


def _parsed(content: bytes) -> Element:
    try:
        root: Element = fromstring(content, forbid_dtd=True, forbid_entities=True, forbid_external=True)
    except DefusedXmlException:
        raise _BadFile("gpx", "a document type or entities", "a track file without them") from None
    except (ParseError, ValueError, LookupError) as error:  # an encoding that there isn't is a LookupError
        found = f"what is no XML ({str(error)[:MOST_CHARS_SHOWN]})"
        raise _BadFile("gpx", found, "a track file as the plotter writes it") from error
    return root


def _tag(part: Element) -> str:
    return part.tag.rpartition("}")[2] if isinstance(part.tag, str) else ""


def _name(part: Element) -> str:
    found = next((one.text for one in part if _tag(one) == "name"), None)
    return " ".join((found or "").split())


def _mark_of(part: Element) -> Mark | None:
    return _mark(part.get("lat", ""), part.get("lon", ""))


def _mark(lat: str, lon: str) -> Mark | None:
    if not all(_DEGREES.fullmatch(cell.strip()) for cell in (lat, lon)):
        return None
    mark = Mark(float(lat), float(lon))
    return mark if math.fabs(mark.lat_deg) <= 90 and math.fabs(mark.lon_deg) <= 180 else None


def _folded(name: str) -> str:
    return " ".join(name.split()).casefold()


def _bare(cell: str) -> str:
    return cell.strip().removeprefix("'").strip()


def _shown(text: str) -> str:
    return text if len(text) <= MOST_CHARS_SHOWN else f"{text[:MOST_CHARS_SHOWN]}..."
