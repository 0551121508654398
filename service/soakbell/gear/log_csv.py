"""The log as CSV: rows to entries and back. Pure; the file is read and written elsewhere.

Comma separated, UTF-8, first row the column names. A row needs ``happened_at`` and ``kind``, ``string`` where it
is of traps, and what its kind needs; the other columns may be left out. Rows without a ``key`` get one from what
they say, so the same file can be read twice.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import re
from collections import Counter
from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import MISSING, dataclass, fields
from datetime import UTC, date, datetime, timedelta, tzinfo
from difflib import get_close_matches
from types import NoneType
from typing import IO, Any, Literal, TypeVar, get_args, get_origin, get_type_hints
from uuid import UUID, uuid5
from zoneinfo import ZoneInfo

from soakbell.clock import as_utc
from soakbell.errors import Fault
from soakbell.gear.fold import told_places
from soakbell.gear.log import DETAILS, Detail, EntryKind, LogEntry, Shares
from soakbell.gear.log_check import check_alone, check_entries
from soakbell.gear.outfit import Outfit
from soakbell.gear.strings import Mark, TrapString

MAX_BYTES = 5_000_000
MAX_ROWS = 50_000
MAX_PLACES = 10_000
_IDS = UUID("6f1d5d0e-1d0b-4c52-9a57-6a1a1b6f2b11")
_T = TypeVar("_T")
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")

_HEAD = ("happened_at", "kind", "string", "traps")
_TAIL = ("note", "id", "key", "told_at", "told_by")
_NEEDED = ("happened_at", "kind")


class UnreadCell(Exception):
    """A cell that can't be read; ``write`` says what could be."""

    def __init__(self, write: str) -> None:
        super().__init__(write)
        self.write = write


@dataclass(frozen=True)
class CsvRow:
    """One row that could be read; ``number`` counts as a spreadsheet does, the column names being row 1."""

    number: int
    entry: LogEntry


@dataclass(frozen=True)
class CsvRead:
    rows: tuple[CsvRow, ...]
    faults: tuple[Fault, ...]


@dataclass(frozen=True)
class CsvImport:
    """What an import comes to. ``entries`` go into the log; ``known`` rows are there already."""

    entries: tuple[LogEntry, ...]
    known: int
    faults: tuple[Fault, ...]


def plan_import(
    content: bytes,
    log: Collection[LogEntry],
    strings: Collection[TrapString],
    zone: ZoneInfo,
    now: datetime,
    *,
    outfit: Outfit | None = None,
    skip_bad: bool = False,
    name: str = "",
) -> CsvImport:
    """Read a CSV file against the log it is to go into.

    With any fault, nothing is to be imported, unless ``skip_bad``: then the rows without a fault are. All faults
    are told at once, but for those that a row which can't be read may be the cause of.

    Args:
        content: The file as it is.
        zone: The harbor's; moments without an offset are read in it.
        outfit: What names of bait, parts and the like must be in. None: they aren't looked up.
        name: The file's, for the faults.
    """
    read = read_log_csv(content, zone, now, name=name)
    faults, rows = list(read.faults), list(read.rows)
    labels = {row.entry.id: _row_name(name, row.number) for row in rows}
    keys = {entry.key for entry in log}
    if faults and not skip_bad:
        new = [row.entry for row in rows if row.entry.key not in keys]
        faults += check_alone(new, strings, now, labels=labels, zone=zone, outfit=outfit)
        return CsvImport((), 0, tuple(sorted(faults, key=_place)))
    while rows and (skip_bad or not faults):
        told = [row.entry for row in rows]
        found = check_entries(told, log, strings, now, labels=labels, zone=zone, outfit=outfit)
        if not found:
            break
        faults += found
        bad = {fault.where for fault in found}
        rows = [row for row in rows if labels[row.entry.id] not in bad]
    if faults and not skip_bad:
        return CsvImport((), 0, tuple(sorted(faults, key=_place)))
    entries = tuple(row.entry for row in rows if row.entry.key not in keys)
    return CsvImport(entries, len(rows) - len(entries), tuple(sorted(faults, key=_place)))


def _row_name(name: str, number: int) -> str:
    return f"{name} row {number}".strip()


def _place(fault: Fault) -> int:
    """The row a fault lies in; 0 for one of the whole file."""
    row = re.search(r"row (\d+)$", fault.where)
    return int(row[1]) if row else 0


def read_log_csv(content: bytes, zone: ZoneInfo, now: datetime, *, name: str = "") -> CsvRead:
    """The rows as entries, told by "csv" at ``now`` in the order of the rows, and the faults of the others."""
    try:
        table = _table(content)
        columns = _columns(table[0])
    except _BadFile as bad:
        return CsvRead((), tuple(Fault(name or "file", *found) for found in bad.found))
    rows: list[CsvRow] = []
    faults: list[Fault] = []
    seen: Counter[str] = Counter()
    now = as_utc(now)
    for number, cells in enumerate(table[1:], start=2):
        if not any(cell.strip() for cell in cells):
            continue
        told_at = now - timedelta(microseconds=len(table) - number)  # keeps the order of the rows
        row = Cells(_row_name(name, number), dict(zip(columns, map(_unguarded, cells), strict=False)), zone)
        if any(cell.strip() for cell in cells[len(columns) :]):
            row.fault("columns", f"{len(cells)} cells", f"{len(columns)}, as the first row has")
        entry = row.entry(told_at, "csv", seen)
        if entry is None:
            faults += row.faults
        else:
            rows.append(CsvRow(number, entry))
    return CsvRead(tuple(rows), tuple(faults))


def write_log_csv(entries: Iterable[LogEntry], zone: ZoneInfo) -> bytes:
    """Entries as a CSV file that a spreadsheet opens as text and ``read_log_csv`` reads back equal.

    Moments are written in ``zone`` with their offset. Text that a spreadsheet would run as a formula is preceded
    by an apostrophe.
    """
    out = io.BytesIO()
    put_log_csv(out, sorted(entries, key=lambda entry: entry.order), zone)
    return out.getvalue()


def put_log_csv(to: IO[bytes], entries: Iterable[LogEntry], zone: ZoneInfo) -> None:
    """As ``write_log_csv``, into a file, which stays open; one entry after the other, in the order given."""
    out = io.TextIOWrapper(to, "utf-8-sig", newline="")
    writer = csv.DictWriter(out, COLUMNS, restval="", lineterminator="\r\n")
    writer.writeheader()
    for entry in entries:
        writer.writerow(
            {
                "happened_at": entry.happened_at.astimezone(zone).isoformat(),
                "kind": entry.kind.value,
                "string": guarded(entry.string or ""),
                "traps": told_places(entry.traps),
                "note": guarded(entry.note),
                "id": guarded(entry.id),
                "key": guarded(entry.key),
                "told_at": entry.told_at.astimezone(zone).isoformat(),
                "told_by": guarded(entry.told_by),
                **_detail_cells(entry.detail, zone),
            }
        )
    out.detach()


def guarded(text: str) -> str:
    """Text that a spreadsheet would run as a formula, preceded by an apostrophe; other text as it is."""
    risky = text.startswith(("'", "\t", "\r", "\n")) or text.lstrip().startswith(_FORMULA)
    return f"'{text}" if risky else text


# cells of one value


def _integer(cell: str) -> int:
    if not re.fullmatch(r"-?[0-9]{1,9}", cell):
        raise UnreadCell("a whole number, as in 12")
    return int(cell)


def _number(cell: str) -> float:
    if len(cell) > 40 or not re.fullmatch(r"-?[0-9]+(\.[0-9]+)?([eE][-+]?[0-9]{1,3})?", cell):
        raise UnreadCell("a number with a point, as in 3.5")
    return float(cell)


def _yes_no(cell: str) -> bool:
    if cell.casefold() in ("yes", "y", "true", "1"):
        return True
    if cell.casefold() in ("no", "n", "false", "0"):
        return False
    raise UnreadCell("yes or no")


def shares_of(cell: str) -> Shares:
    """Amounts by name, in the order they are written."""
    shares = []
    for part in cell.split(";"):
        name, _, amount = part.strip().rpartition(" ")
        if not name.strip():
            raise UnreadCell("names with amounts, as in jumbo 3.5; large 2")
        shares.append((name.strip(), _number(amount)))
    return tuple(shares)


def told_shares(shares: Shares) -> str:
    """Amounts by name as ``shares_of`` reads them."""
    return "; ".join(f"{name} {amount!r}" for name, amount in shares)


def changes_of(cell: str) -> tuple[tuple[int, int], ...]:
    """Places before and after, as in 3>4; 4>3."""
    pairs = [
        re.fullmatch(r"([0-9]{1,4})>([0-9]{1,4})", part)
        for part in re.split(r"[ ,;]+", re.sub(r" ?> ?", ">", " ".join(cell.split())))
    ]
    if not all(pairs):
        raise UnreadCell("places before and after, as in 3>4; 4>3")
    return tuple((int(pair[1]), int(pair[2])) for pair in pairs if pair)


def day_of(cell: str) -> date:
    if not re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", cell):
        raise UnreadCell("a date, as in 2027-06-30")
    try:
        return date.fromisoformat(cell)
    except ValueError as error:
        raise UnreadCell("a date that there is, as in 2027-06-30") from error


def places_of(cell: str) -> tuple[int, ...]:
    places: list[int] = []
    for part in re.split(r"[ ,;]+", re.sub(r" ?(\.\.|-) ?", r"\1", " ".join(cell.split()))):
        run = re.fullmatch(r"([0-9]{1,4})(?:(?:\.\.|-)([0-9]{1,4}))?", part)
        first, last = (int(run[1]), int(run[2] or run[1])) if run else (1, 0)
        if first > last or len(places) > MAX_PLACES:
            raise UnreadCell("places of traps, as in 1..4 7")
        places.extend(range(first, last + 1))
    return tuple(sorted(set(places)))


_MOMENT = re.compile(
    r"(\d{4}-\d\d-\d\d)[T ](\d\d:\d\d(?::\d\d(?:\.\d{1,6})?)?)\s?(Z|[+-]\d\d:\d\d(?::\d\d)?)?", re.ASCII
)


def moment_of(cell: str, zone: ZoneInfo) -> datetime:
    match = _MOMENT.fullmatch(cell)
    try:
        if match is None:
            raise ValueError(cell)
        at = datetime.fromisoformat(f"{match[1]}T{match[2]}{match[3] or ''}")
        return as_utc(at) if match[3] else _local_moment(at, zone)
    except (ValueError, OverflowError) as error:
        raise UnreadCell("date and time, as in 2026-12-08 07:10 or 2026-12-08T07:10-05:00") from error


def _local_moment(at: datetime, zone: ZoneInfo) -> datetime:
    """``at`` on the clock of ``zone``. Hours that the change of the clock repeats or leaves out are refused."""
    first, second = (at.replace(tzinfo=zone, fold=turn) for turn in (0, 1))
    if first.utcoffset() == second.utcoffset():
        return as_utc(first)
    if as_utc(first).astimezone(zone).replace(tzinfo=None) == at:
        raise UnreadCell(
            f"the offset too, since the clock of {zone.key} shows {at:%H:%M} twice that night: "
            f"{first.isoformat()} or {second.isoformat()}"
        )
    raise UnreadCell(f"another time, since the harbor's clock leaves out {at:%H:%M} that night")


# cells of the fields each kind has of its own

HINTS = {kind: get_type_hints(detail) for kind, detail in DETAILS.items()}
_READ: Mapping[Any, Callable[[str], Any]] = {
    int: _integer,
    float: _number,
    bool: _yes_no,
    date: day_of,
    Shares: shares_of,
    tuple[tuple[int, int], ...]: changes_of,
}


def given_type(hint: Any) -> Any:
    """The type of a field where something is given: ``X`` for ``X | None``."""
    choices = [choice for choice in get_args(hint) if choice is not NoneType]
    return choices[0] if NoneType in get_args(hint) else hint


def is_mark(hint: Any) -> bool:
    return given_type(hint) is Mark


def cell_names(name: str, hint: Any) -> tuple[str, ...]:
    return (f"{name}_lat_deg", f"{name}_lon_deg") if is_mark(hint) else (name,)


def detail_columns(kind: EntryKind) -> tuple[str, ...]:
    return tuple(
        column for part in fields(DETAILS[kind]) for column in cell_names(part.name, HINTS[kind][part.name])
    )


COLUMNS = tuple(dict.fromkeys((*_HEAD, *(name for kind in DETAILS for name in detail_columns(kind)), *_TAIL)))


def _detail_cells(detail: Detail, zone: tzinfo) -> dict[str, str]:
    cells: dict[str, str] = {}
    for part in fields(detail):
        cells.update(_cells_of(part.name, getattr(detail, part.name), zone))
    return cells


def told_cells(detail: Detail, zone: tzinfo) -> dict[str, str]:
    """The cells of what was told otherwise than by default, by column."""
    cells: dict[str, str] = {}
    for part in fields(detail):
        value = getattr(detail, part.name)
        if value != part.default:
            cells.update(_cells_of(part.name, value, zone))
    return cells


def _cells_of(name: str, value: Any, zone: tzinfo) -> dict[str, str]:
    if value is None:
        return {}
    if isinstance(value, Mark):
        return {f"{name}_lat_deg": repr(value.lat_deg), f"{name}_lon_deg": repr(value.lon_deg)}
    if isinstance(value, bool):
        return {name: "yes" if value else "no"}
    if isinstance(value, str):
        return {name: guarded(value)}
    if isinstance(value, datetime):
        return {name: value.astimezone(zone).isoformat()}
    if isinstance(value, date):
        return {name: value.isoformat()}
    if isinstance(value, tuple):
        return {name: guarded(_told_tuple(value))}
    return {name: repr(value)}


def _told_tuple(value: tuple[Any, ...]) -> str:
    if value and isinstance(value[0][0], int):
        return "; ".join(f"{before}>{after}" for before, after in value)
    return told_shares(value)


# rows


class _BadFile(Exception):
    """The file as a whole can't be read. ``found``: key, what was found, what to write."""

    def __init__(self, *found: tuple[str, str, str]) -> None:
        super().__init__()
        self.found = found


def _table(content: bytes) -> list[list[str]]:
    if len(content) > MAX_BYTES:
        raise _BadFile(("size", f"{len(content)} bytes", f"at most {MAX_BYTES}; split the file"))
    try:
        text = content.decode("utf-8-sig")
        table = list(csv.reader(io.StringIO(text, newline=""), strict=True))
    except UnicodeDecodeError as error:
        raise _BadFile(("encoding", f"a byte at {error.start} that isn't UTF-8", "CSV UTF-8")) from error
    except csv.Error as error:
        raise _BadFile(("quotes", str(error), "cells with a quote or comma inside double quotes")) from error
    if not table or not any(cell.strip() for cell in table[0]):
        raise _BadFile(("columns", "nothing", f"a first row with the column names, at least {', '.join(_NEEDED)}"))
    if len(table) - 1 > MAX_ROWS:
        raise _BadFile(("rows", str(len(table) - 1), f"at most {MAX_ROWS}; split the file"))
    return table


def _columns(header: list[str]) -> list[str]:
    if len(header) == 1 and ";" in header[0]:
        raise _BadFile(("columns", "semicolons between cells", "commas"))
    columns = [_unguarded(name.strip()).casefold() for name in header]
    while columns and not columns[-1]:
        columns.pop()
    faults = []
    for name, times in Counter(columns).items():
        if name not in COLUMNS:
            near = get_close_matches(name, COLUMNS, n=1)
            faults.append(("columns", repr(name[:60]), near[0] if near else f"one of {', '.join(COLUMNS)}"))
        elif times > 1:
            faults.append(("columns", f"{name} {times} times", "each column once"))
    faults += [("columns", f"no {name}", f"a column {name}") for name in _NEEDED if name not in columns]
    if faults:
        raise _BadFile(*faults)
    return columns


def _unguarded(cell: str) -> str:
    return cell.removeprefix("'")


class Cells:
    """What was told in one row or form, by column, while it is being read; collects its faults."""

    def __init__(self, name: str, cells: Mapping[str, str], zone: ZoneInfo) -> None:
        self.name = name
        self.zone = zone
        self.faults: list[Fault] = []
        self.cells = cells

    def fault(self, column: str, found: str, write: str) -> None:
        self.faults.append(Fault(self.name, column, found, write))

    def bare(self, column: str) -> str:
        return self.cells.get(column, "").strip()

    def value(self, column: str, reader: Callable[[str], _T], missing: _T) -> _T:
        """The cell as ``reader`` reads it, ``missing`` where it is empty or can't be read."""
        cell = self.bare(column)
        if not cell:
            return missing
        try:
            return reader(cell)
        except UnreadCell as unread:
            self.fault(column, repr(cell[:60]), unread.write)
            return missing

    def entry(self, told_at: datetime, told_by: str, seen: Counter[str]) -> LogEntry | None:
        """The cells as an entry, None when they have faults. ``seen`` counts rows that say the same.

        ``told_at`` and ``told_by`` hold where the cells don't say otherwise.
        """
        kind = self._kind()
        happened_at = self.value("happened_at", lambda cell: moment_of(cell, self.zone), None)
        if happened_at is None and not self.bare("happened_at"):
            self.fault("happened_at", "nothing", "when it happened, as in 2026-12-08 07:10")
        told_at = self.value("told_at", lambda cell: moment_of(cell, self.zone), told_at)
        traps = self.value("traps", places_of, tuple[int, ...]())
        detail = None if kind is None else self._detail(kind)
        if self.faults or detail is None or happened_at is None:
            return None
        of_detail = "string" in detail_columns(detail.kind)
        string, note = None if of_detail else self.bare("string") or None, self.cells.get("note", "")
        key = self.bare("key") or self.bare("id") or _key_of(happened_at, detail, string, traps, note, seen)
        return LogEntry(
            id=self.bare("id") or str(uuid5(_IDS, key)),
            key=key,
            happened_at=happened_at,
            told_at=told_at,
            told_by=self.bare("told_by") or told_by,
            detail=detail,
            string=string,
            traps=traps,
            note=note,
        )

    def _kind(self) -> EntryKind | None:
        cell = self.bare("kind").casefold()
        if cell in list(EntryKind):
            return EntryKind(cell)
        near = get_close_matches(cell, list(EntryKind), n=1)
        self.fault("kind", repr(cell[:60]), near[0] if near else " or ".join(EntryKind))
        return None

    def _detail(self, kind: EntryKind) -> Detail | None:
        own = detail_columns(kind)
        for column in COLUMNS[len(_HEAD) : -len(_TAIL)]:
            if column not in own and self.bare(column):
                self.fault(column, repr(self.bare(column)[:60]), f"nothing, a {kind} has no {column}")
        values: dict[str, Any] = {}
        for part in fields(DETAILS[kind]):
            hint = HINTS[kind][part.name]
            value = self._mark(part.name) if is_mark(hint) else self._own(part.name, hint)
            if value is not None:
                values[part.name] = value
            elif part.default is MISSING and not self.faults:
                column = cell_names(part.name, hint)[0]
                self.fault(column, "nothing", _TO_WRITE[column])
        return None if self.faults else DETAILS[kind](**values)

    def _own(self, column: str, hint: Any) -> Any:
        hint = given_type(hint)
        if hint is str:
            return self.cells.get(column) or None
        if get_origin(hint) is Literal:
            return self.value(column, lambda cell: _one_of(cell, get_args(hint)), None)
        if hint is datetime:
            return self.value(column, lambda cell: moment_of(cell, self.zone), None)
        return self.value(column, _READ[hint], None)

    def _mark(self, name: str) -> Mark | None:
        lat_column, lon_column = cell_names(name, Mark)
        lat_deg, lon_deg = self.value(lat_column, _number, None), self.value(lon_column, _number, None)
        if lat_deg is not None and lon_deg is not None:
            return Mark(lat_deg, lon_deg)
        if bool(self.bare(lat_column)) is not bool(self.bare(lon_column)):
            self.fault(lon_column if lon_deg is None else lat_column, "nothing", "both latitude and longitude")
        return None


_TO_WRITE: Mapping[str, str] = {
    "start_lat_deg": "the start mark in degrees, as in 30.0301",
    "end_lat_deg": "the end mark in degrees, as in 30.0301",
    "item": "what is wrong, as in lid",
    "reason": "why",
    "tag": "the tag",
    "places": "places before and after, as in 3>4; 4>3",
    "bait": "which bait",
    "boxes": "how many boxes",
    "part": "which part",
    "count": "how many",
    "task": "what was done",
    "engine_h": "the hours on the meter",
    "bell": "which bell, as in soak:Nine Foot",
    "until": "the moment until which it is silent",
    "day": "the day, as in 2026-12-08",
    "voids": "the id of the entry that it voids",
}
"""What to write where an entry lacks what its kind needs."""


def _one_of(cell: str, words: tuple[str, ...]) -> str:
    if cell.casefold() not in words:
        raise UnreadCell(" or ".join(words))
    return cell.casefold()


def _key_of(
    happened_at: datetime,
    detail: Detail,
    string: str | None,
    traps: tuple[int, ...],
    note: str,
    seen: Counter[str],
) -> str:
    """A key from what the row says, whichever way it is written, and how often it was said before in the file.

    Fields at their default are left out, so that a field added to a kind later leaves old keys as they are.
    """
    said = {
        "kind": detail.kind.value,
        "happened_at": happened_at.astimezone(UTC).isoformat(),
        "string": string or "",
        "traps": told_places(traps),
        "note": note,
        **told_cells(detail, UTC),
    }
    digest = hashlib.sha256(json.dumps(said, sort_keys=True).encode()).hexdigest()[:32]
    seen[digest] += 1
    return f"csv-{digest}-{seen[digest]}"
