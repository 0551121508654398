"""Forms of the log: what each kind of entry asks, and what was filled in as entries. Pure.

Fields are called as the columns of the log's CSV are, and read by the same reader. A pull's form can bring more:
``missing_traps``, ``damage_traps`` and ``damage_item`` become entries of their own, under keys made of the first.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import MISSING, dataclass, field, fields, replace
from datetime import UTC, datetime, timedelta
from types import MappingProxyType
from typing import Any, Literal, get_args, get_origin
from zoneinfo import ZoneInfo

from soakbell.errors import Fault
from soakbell.gear.log import DETAILS, OF_TRAPS, Correction, Detail, EntryKind, LogEntry, Shares
from soakbell.gear.log_csv import COLUMNS, HINTS, Cells, cell_names, given_type, is_mark, told_cells
from soakbell.gear.outfit import Outfit
from soakbell.gear.strings import TrapString
from soakbell.letters.gear_words import places_words
from soakbell.letters.times import HarborTimes

TOLD_BY, CREW_TOLD_BY = "phone", "crew phone"
SKIPPERS = frozenset({EntryKind.PINNED, EntryKind.BARRED, EntryKind.SNOOZED, EntryKind.SETTLED})
"""Kinds that only the skipper tells: what he wants of calls, and which bells are silent."""
_KEY = re.compile(r"[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}")
NO_KEY = "a form without a number of its own"
_NOT_ASKED = frozenset({"id", "told_at", "told_by"})
_OF_A = ":"
"""Between a column of amounts by name and the name, in the field for one amount."""
_COMPANIONS = ("missing_traps", "damage_traps", "damage_item")
MOST_PARTS = 3
"""Entries that one form can tell at most."""

KINDS: Mapping[EntryKind, str] = MappingProxyType(
    {
        EntryKind.PULL: "Pull",
        EntryKind.SET: "Set",
        EntryKind.REPAIRED: "Mend",
        EntryKind.MISSING: "Missing",
        EntryKind.DAMAGE: "Damage",
        EntryKind.MOVE: "Move",
        EntryKind.BAIT_MOVED: "Bait thawed or moved",
        EntryKind.UPKEEP: "Upkeep done",
        EntryKind.RECOVERED: "Found again",
        EntryKind.ASHORE: "Brought ashore",
        EntryKind.BENCH: "Put on the bench",
        EntryKind.REPLACED: "Replaced",
        EntryKind.RETIRED: "Written off",
        EntryKind.TAGGED: "New tag",
        EntryKind.RENUMBERED: "Places changed",
        EntryKind.BAIT_BOUGHT: "Bait that came",
        EntryKind.BAIT_COUNTED: "Bait counted",
        EntryKind.BAIT_SPOILED: "Bait thrown away",
        EntryKind.BAIT_ORDERED: "Bait ordered",
        EntryKind.PART_BOUGHT: "Parts bought",
        EntryKind.PART_USED: "Parts used",
        EntryKind.PART_COUNTED: "Parts counted",
        EntryKind.HOURS: "Engine hours",
        EntryKind.PINNED: "Day to pull",
        EntryKind.BARRED: "Day not to pull",
        EntryKind.SNOOZED: "Silence a bell for a time",
        EntryKind.SETTLED: "Settle a bell",
    }
)
"""What each kind is called on the page, those told most often first. A correction is told by *Undo*."""
OFTEN = tuple(KINDS)[:8]

LABELS: Mapping[str, str] = MappingProxyType(
    {
        "happened_at": "When",
        "string": "String",
        "traps": "Which traps",
        "note": "Note",
        "start_lat_deg": "Start mark, latitude",
        "start_lon_deg": "Start mark, longitude",
        "end_lat_deg": "End mark, latitude",
        "end_lon_deg": "End mark, longitude",
        "count": "How many traps",
        "rebaited": "Old bait stays in",
        "reset": "Kept aboard, not set back",
        "legal_claws": "Legal claws",
        "short_claws": "Claws too short",
        "float_claws": "Float claws",
        "egg_bearing_released": "Egg-bearing crabs, released",
        "lb": "Pounds in all",
        "lb_by_grade": "Pounds by grade",
        "smallest_claw_in": "Smallest claw kept, inches",
        "bait": "Bait",
        "bait_boxes": "Boxes of it put in",
        "back": "Where they are now",
        "item": "What is wrong",
        "parts": "Parts used, in all",
        "reason": "Why",
        "tag": "Tag",
        "places": "Places before and after",
        "boxes": "Boxes",
        "place": "Where",
        "cost_usd": "Cost in all, dollars",
        "to": "To",
        "out_of": "Out of",
        "due_on": "Day it should come",
        "part": "Part",
        "task": "What was done",
        "expires_on": "Its new date",
        "engine_h": "Hours on the meter",
        "new_meter": "The meter is new, or began anew",
        "bell": "Bell, by its name in the letter",
        "until": "Silent until",
        "level": "Level",
        "cause": "Cause",
        "day": "Day",
        "missing_traps": "Traps not there",
        "damage_traps": "Traps damaged",
        "damage_item": "What is wrong with them",
        "voids": "Entry",
    }
)
_LABELS_IN: Mapping[tuple[EntryKind, str], str] = MappingProxyType(
    {
        (EntryKind.PULL, "traps"): "Which traps were hauled",
        (EntryKind.PULL, "bait"): "Bait put in",
        (EntryKind.REPAIRED, "item"): "What was mended",
        (EntryKind.RECOVERED, "rebaited"): "Put back with the old bait",
        (EntryKind.BAIT_SPOILED, "place"): "Out of",
        (EntryKind.BAIT_COUNTED, "place"): "In",
        (EntryKind.BAIT_BOUGHT, "place"): "To",
        (EntryKind.PART_BOUGHT, "count"): "How many",
        (EntryKind.PART_USED, "count"): "How many",
        (EntryKind.PART_COUNTED, "count"): "How many there are",
    }
)
_LABELS_OF_ONE = {"lb_by_grade": "Pounds", "parts": "Used in all"}
_ALL_THERE = "Nothing: the whole string. Else places, as in 1..12 15"
_HINTS: Mapping[str, str] = MappingProxyType(
    {
        "happened_at": "Nothing: now. Else by the harbor's clock",
        "traps": _ALL_THERE,
        "missing_traps": "Places, as in 4 7",
        "damage_traps": "Places, as in 4 7",
        "places": "As in 3>4; 4>3",
        "lb_by_grade": "As in jumbo 3.5; large 2",
        "parts": "As in hook latch 1; screw 2",
        "bell": "As in soak:Nine Foot",
        "start_lat_deg": "Degrees, as in 30.0301",
        "start_lon_deg": "Degrees, west negative, as in -84.1602",
        "end_lat_deg": "Degrees, as in 30.0301",
        "end_lon_deg": "Degrees, west negative, as in -84.1602",
    }
)
_HINTS_IN: Mapping[tuple[EntryKind, str], str] = MappingProxyType(
    {
        (
            EntryKind.SET,
            "traps",
        ): "Nothing: all that can be set and are not on the bench. Else places, as in 1..12 15",
        (EntryKind.MISSING, "traps"): "Places, as in 4 7; all for the whole string",
        (EntryKind.DAMAGE, "traps"): "Places, as in 4 7; all for the whole string",
        (EntryKind.RETIRED, "traps"): "Places, as in 4 7; all for the whole string",
        (EntryKind.REPAIRED, "traps"): "Nothing: all that it was wrong with. Else places, as in 4 7",
        (EntryKind.REPAIRED, "item"): "Nothing: all that was wrong",
        (EntryKind.TAGGED, "traps"): "The place of the one trap",
        (EntryKind.PINNED, "string"): "Nothing: any of them",
        (EntryKind.BARRED, "string"): "Nothing: all of them",
        (EntryKind.RECOVERED, "traps"): "Nothing: all that are missing. Else places, as in 4 7",
    }
)
_NAME_ALL = frozenset({EntryKind.MISSING, EntryKind.DAMAGE, EntryKind.RETIRED})
"""Kinds that can't be meant of a whole string by leaving the places out: it must be said."""
_UNTOLD = frozenset({"cause", "level"})
"""What no form asks: a bell settled by hand is settled as it stands."""

_MORE = ("egg_bearing_released", "smallest_claw_in", "bait_boxes", "traps", "happened_at", "note")
"""What a pull's form asks further down."""

Shape = Literal["text", "whole", "number", "tick", "choice", "pick", "day", "moment", "long"]


@dataclass(frozen=True)
class Choice:
    """``value`` is what the reader takes; ``data`` what the script may know of it."""

    value: str
    label: str
    data: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Field:
    """One thing asked. ``told`` is what was filled in; of a tick, ``value`` is what it stands for."""

    name: str
    label: str
    shape: Shape
    hint: str = ""
    choices: tuple[Choice, ...] = ()
    value: str = ""
    told: str = ""
    fault: str = ""
    needed: bool = False

    @property
    def id(self) -> str:
        """Its name as an id of HTML, which has no spaces."""
        return re.sub(r"[^A-Za-z0-9_-]", "-", self.name)


@dataclass(frozen=True)
class Group:
    """Fields that stand together; ``folded`` ones are opened by a tap. Without a title they stand alone."""

    title: str
    fields: tuple[Field, ...]
    folded: bool = False


@dataclass(frozen=True)
class Form:
    """``faults`` are of no field. ``asks_marks``: the phone's place fills marks; else it goes to the note."""

    kind: EntryKind
    title: str
    groups: tuple[Group, ...]
    faults: tuple[str, ...] = ()
    asks_marks: bool = False

    @property
    def faulty(self) -> tuple[Field, ...]:
        return tuple(field for group in self.groups for field in group.fields if field.fault)


@dataclass(frozen=True)
class Told:
    """What a form comes to. ``entries`` are all or none; ``labels`` call each by its part of the form."""

    entries: tuple[LogEntry, ...] = ()
    labels: Mapping[str, str] = field(default_factory=dict)
    faults: tuple[Fault, ...] = ()


# ---- What was filled in --------------------------------------------------------------------------------------


def entries_of(
    kind: EntryKind,
    cells: Mapping[str, str],
    zone: ZoneInfo,
    now: datetime,
    *,
    at: datetime | None = None,
    told_by: str = TOLD_BY,
) -> Told:
    """The entries that a form's cells tell, in the order in which they are to be taken.

    Args:
        now: when they were told.
        at: when it happened, where the cells don't say. None: they must.
    """
    key = cells.get("key", "").strip().casefold()
    if not _KEY.fullmatch(key):
        return Told(faults=(Fault("", "key", NO_KEY, "nothing, and send it again"),))
    joined = _joined(cells)
    strange = [name for name in joined if name not in COLUMNS and name not in _COMPANIONS]
    faults = [Fault("", name[:60], "a field that no form has", "nothing") for name in strange[:5]]
    if kind not in KINDS:
        faults.append(Fault("", "kind", repr(str(kind)), "a kind that is told by a form"))
    if faults:
        return Told(faults=tuple(faults))
    entries: list[LogEntry] = []
    labels: dict[str, str] = {}
    parts = list(_parts(kind, joined, key))
    for number, (label, own) in enumerate(parts):
        typed = _with_offset(own.get("happened_at", ""), zone, now)
        own["happened_at"] = typed or ("" if at is None else at.isoformat())
        told_at = now - timedelta(microseconds=len(parts) - number)  # keeps the order of the parts
        read = Cells(label, {name: cell for name, cell in own.items() if name not in _NOT_ASKED}, zone)
        if not own["traps"].strip() and EntryKind(own["kind"]) in _NAME_ALL:
            read.fault("traps", "nothing", "the places, as in 4 7, or all for the whole string")
        if own["traps"].strip().casefold() == "all":
            read.cells = {**read.cells, "traps": ""}
        entry = read.entry(told_at, told_by, Counter())
        faults += read.faults
        if entry is not None:
            entries.append(entry)
            labels[entry.id] = label
    return Told(faults=tuple(faults)) if faults else Told(tuple(entries), labels)


def _with_offset(typed: str, zone: ZoneInfo, now: datetime) -> str:
    """``typed`` with its offset where the harbor's clock shows it twice, on the night it is set back.

    A browser's field for a moment holds no offset. It is the second time where that has been: no soak gets longer.
    """
    typed = typed.strip()
    try:
        at = datetime.fromisoformat(typed)
        first, second = (at.replace(tzinfo=zone, fold=turn) for turn in (0, 1))
        if at.tzinfo is not None or first.astimezone(UTC) >= second.astimezone(UTC):
            return typed
    except (ValueError, OverflowError):
        return typed
    return (second if second <= now else first).isoformat()


def _joined(cells: Mapping[str, str]) -> dict[str, str]:
    """The cells with amounts that have a field each put into their column."""
    joined = {name: cell for name, cell in cells.items() if _OF_A not in name}
    amounts: dict[str, list[str]] = {}
    for name, cell in cells.items():
        column, apart, of = name.partition(_OF_A)
        if apart and cell.strip():
            amounts.setdefault(column, []).append(f"{of} {cell.strip()}")
    for column, told in amounts.items():
        joined[column] = "; ".join([*filter(None, [joined.get(column, "").strip()]), *told])
    return joined


def _parts(kind: EntryKind, cells: Mapping[str, str], key: str) -> Iterator[tuple[str, dict[str, str]]]:
    """Each entry's cells under what the faults call it: "" for the form's own.

    What was missing was not hauled, so it comes first; what is damaged was seen on deck, so it comes last.
    """
    about = {"traps": "", **{name: cells.get(name, "") for name in ("happened_at", "string")}}
    own = {name: cell for name, cell in cells.items() if name not in _COMPANIONS}
    if cells.get("missing_traps", "").strip():
        yield "missing", {**about, "kind": "missing", "traps": cells["missing_traps"], "key": f"{key}-missing"}
    yield "", {"traps": "", **own, "kind": kind.value, "key": key}
    if cells.get("damage_traps", "").strip() or cells.get("damage_item", "").strip():
        damage = {"kind": "damage", "traps": cells.get("damage_traps", ""), "item": cells.get("damage_item", "")}
        yield "damage", {**about, **damage, "key": f"{key}-damage"}


def as_told_before(told: Told, known: Collection[LogEntry], within: timedelta) -> Told:
    """``told`` with the moments of entries known by its keys, where these differ by less than ``within``.

    A form that is sent twice tells the moment of its second coming, and a phone's clock may be put right between.
    """
    moments = {entry.key: entry.happened_at for entry in known}

    def put(entry: LogEntry) -> LogEntry:
        at = moments.get(entry.key)
        near = at is not None and abs(at - entry.happened_at) < within
        return replace(entry, happened_at=at) if at is not None and near else entry

    return replace(told, entries=tuple(map(put, told.entries)))


def not_ahead(told: Told, now: datetime, within: timedelta) -> Told:
    """``told`` with moments a little ahead of ours taken for now: phones don't share our clock."""

    def put(entry: LogEntry) -> LogEntry:
        ahead = timedelta(0) < entry.happened_at - now <= within
        return replace(entry, happened_at=now) if ahead else entry

    return replace(told, entries=tuple(map(put, told.entries)))


def field_of(fault: Fault) -> str:
    """The field of the form that a fault is about; "" where it is about none."""
    if fault.where in ("missing", "damage"):
        return f"{fault.where}_{'item' if fault.key == 'item' else 'traps'}"
    return fault.key


_SENT_BEFORE = (
    "This form was sent before, with something else in it. Load it anew for another entry, and undo the first if "
    "that was wrong."
)


def fault_words(fault: Fault) -> str:
    if fault.key == "key" and "other content" in fault.found:
        return _SENT_BEFORE
    if fault.found in ("nothing", repr("")):
        return f"Nothing is filled in. Write {fault.write}."
    if fault.write == "nothing":
        return f"Found {fault.found}. Leave it out."
    return f"Found {fault.found}. Write {fault.write}."


# ---- What is asked -------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Asked:
    """What forms are made from: of each string its ``marks`` for the script, in ``counts`` how many traps fish."""

    strings: Sequence[TrapString]
    outfit: Outfit | None
    marks: Mapping[str, Mapping[str, str]]
    counts: Mapping[str, str]


def form_of(
    kind: EntryKind, asked: Asked, cells: Mapping[str, str] = MappingProxyType({}), faults: Sequence[Fault] = ()
) -> Form:
    """The form of a kind, with what was filled in and what is wrong with it."""
    wrong: dict[str, str] = {}
    for fault in faults:
        wrong.setdefault(field_of(fault), fault_words(fault))
    asked_for = [_with(field, cells, wrong) for field in _fields(kind, asked)]
    shown = {field.name.partition(_OF_A)[0] for field in asked_for}
    shown |= {field.name.removesuffix(end) for field in asked_for for end in ("_lat_deg", "_lon_deg")}
    apart = tuple(fault_words(fault) for fault in faults if field_of(fault) not in shown)
    return Form(
        kind, KINDS[kind], tuple(_grouped(kind, asked_for)), apart, any(is_mark(h) for h in HINTS[kind].values())
    )


def _with(field: Field, cells: Mapping[str, str], wrong: dict[str, str]) -> Field:
    """A fault of several fields stands at the first of them."""
    names = (field.name, field.name.partition(_OF_A)[0], re.sub("_(lat|lon)_deg$", "", field.name))
    fault = next((wrong.pop(name) for name in names if name in wrong), "")
    return replace(field, told=cells.get(field.name, ""), fault=fault)


def _grouped(kind: EntryKind, asked_for: list[Field]) -> Iterator[Group]:
    if kind is not EntryKind.PULL:
        yield Group("", tuple(asked_for))
        return

    def of(*names: str) -> tuple[Field, ...]:
        return tuple(field for field in asked_for if field.name.partition(_OF_A)[0] in names)

    yield Group("", of("string", "legal_claws", "short_claws", "float_claws"))
    yield Group("Bait and traps", of("bait", "rebaited", "reset"))
    for title, names in (("Pounds", ("lb", "lb_by_grade")), ("Missing or damaged", _COMPANIONS), ("More", _MORE)):
        more = of(*names)
        yield Group(title, more, folded=not any(field.told or field.fault for field in more))


def _fields(kind: EntryKind, asked: Asked) -> Iterator[Field]:
    if kind in OF_TRAPS:
        yield _string(kind, asked, needed=True)
        if kind not in (EntryKind.MOVE, EntryKind.RENUMBERED):
            yield _field(kind, "traps", "text", needed=kind in _NAME_ALL or kind is EntryKind.TAGGED)
    for part in fields(DETAILS[kind]):
        if part.name not in _UNTOLD:
            yield from _own(kind, part.name, part.default, asked)
    if kind is EntryKind.PULL:
        yield _field(kind, "missing_traps", "text")
        yield _field(kind, "damage_traps", "text")
        items = [condition.name for condition in asked.outfit.conditions] if asked.outfit else []
        yield _named(kind, "damage_item", items, needed=False)
    yield _field(kind, "happened_at", "moment")
    yield _field(kind, "note", "long")


def _own(kind: EntryKind, name: str, default: Any, asked: Asked) -> Iterator[Field]:
    """The fields of one part of a detail, by its type."""
    hint, needed = HINTS[kind][name], default is MISSING
    given = given_type(hint)
    known = _known(name, asked.outfit)
    if name == "string":
        yield _string(kind, asked, needed=False)
    elif is_mark(hint):
        for column in cell_names(name, hint):
            yield _field(kind, column, "text", needed=needed)
    elif given is bool:
        yield replace(_field(kind, name, "tick"), value="no" if default else "yes")
    elif given == Shares and known:
        label = _LABELS_OF_ONE[name]
        for one in known:
            yield Field(f"{name}{_OF_A}{one}", f"{label}, {one}", "number")
    elif get_origin(given) is Literal:
        words = tuple(Choice(one, one) for one in get_args(given))
        chosen = default if isinstance(default, str) else ""
        usual = (Choice("", "As usual"),) if default is None else ()
        yield replace(_field(kind, name, "choice"), choices=(*usual, *words), value=chosen)
    elif known is not None and given is str:
        yield _named(kind, name, known, needed=needed)
    else:
        yield _field(kind, name, _SHAPES.get(given, "text"), needed=needed)


_SHAPES: Mapping[Any, Shape] = {int: "whole", float: "number"}


def _known(name: str, outfit: Outfit | None) -> list[str] | None:
    """The names that the settings have for a field; None where it takes no name of theirs."""
    if outfit is None:
        return None
    found: Mapping[str, Sequence[Any]] = {
        "bait": outfit.baits,
        "item": outfit.conditions,
        "part": outfit.parts,
        "parts": outfit.parts,
        "task": outfit.upkeep,
        "lb_by_grade": outfit.grades,
    }
    return [one.name for one in found[name]] if name in found else None


def _named(kind: EntryKind, name: str, known: Sequence[str], *, needed: bool) -> Field:
    if not known:
        return _field(kind, name, "text", needed=needed)
    nothing = Choice("", "Choose" if needed else "Not told")
    field = _field(kind, name, "choice", needed=needed)
    return replace(field, choices=(nothing, *(Choice(one, one) for one in known)))


def _string(kind: EntryKind, asked: Asked, *, needed: bool) -> Field:
    choices = tuple(
        Choice(
            string.name,
            f"{string.name}{f' ({asked.counts[string.name]})' if string.name in asked.counts else ''}",
            asked.marks.get(string.name, {}),
        )
        for string in asked.strings
    )
    if not needed:
        choices = (Choice("", "Any" if kind is EntryKind.PINNED else "All"), *choices)
    return replace(_field(kind, "string", "pick", needed=needed), choices=choices)


def _field(kind: EntryKind, name: str, shape: Shape, *, needed: bool = False) -> Field:
    hint = _HINTS_IN.get((kind, name), _HINTS.get(name, ""))
    if name in ("expires_on", "due_on", "day"):
        shape = "day"
    elif name == "until":
        shape = "moment"
    return Field(name, _label(kind, name), shape, hint, needed=needed)


def _label(kind: EntryKind, name: str) -> str:
    return _LABELS_IN.get((kind, name), LABELS[name])


# ---- What was told -------------------------------------------------------------------------------------------


def told_words(entry: LogEntry, times: HarborTimes) -> str:
    """An entry in one sentence: what, where, when, and what was told with it."""
    if isinstance(entry.detail, Correction):
        head = f"Undone: {entry.detail.reason}"
    else:
        head = KINDS[entry.kind]
    of = ""
    if entry.string is not None:
        of = f", {entry.string}, " + (places_words(entry.traps) if entry.traps else "the whole string")
    told = "; ".join(_told_parts(entry.kind, entry.detail, times))
    parts = [f"{head}{of}, {times.dated(entry.happened_at)}", told, entry.note]
    return ". ".join(part.strip().rstrip(".") for part in parts if part.strip()) + "."


def _told_parts(kind: EntryKind, detail: Detail, times: HarborTimes) -> Iterator[str]:
    if isinstance(detail, Correction):
        return
    for name, cell in told_cells(detail, times.zone).items():
        if name in _UNTOLD:
            continue
        ticked = given_type(HINTS[kind].get(name)) is bool
        yield _label(kind, name) if ticked else f"{_label(kind, name)}: {cell.removeprefix(chr(39))}"
