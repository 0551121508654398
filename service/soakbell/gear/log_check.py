"""Whether new entries can go into the log. Faults name the entry, the field, what was found and what to write."""

from __future__ import annotations

import unicodedata
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import fields
from datetime import UTC, datetime, timedelta, tzinfo
from difflib import get_close_matches

from soakbell.clock import as_utc
from soakbell.errors import Fault
from soakbell.gear.fold import fold, in_force, told_places
from soakbell.gear.log import Correction, EntryKind, LogEntry, Moved, Pulled, Recovered, TrapsSet
from soakbell.gear.strings import Mark, TrapString
from soakbell.units import is_number

DOUBLE_PULL_MIN = (
    30.0  # two pulls of one trap closer than this are one pull told twice (common practice, no source)
)
MAX_COUNT = 100_000  # more claws or pounds in one entry is a slip of the hand (common practice, no source)
FIRST_YEAR = 2000  # an earlier year is a slip of the hand
MAX_CHARS = {
    "key": 200,
    "told_by": 40,
    "string": 100,
    "note": 2000,
    "bait": 100,
    "voids": 36,
    "reason": 500,
    "lb_by_grade": 40,
}
_UNSEEN = {"Cc", "Cs", "Zl", "Zp"}
_TURNING = {*map(chr, range(0x202A, 0x202F)), *map(chr, range(0x2066, 0x206A)), "\u200e", "\u200f"}

_Say = Callable[[str, object, str], None]


def check_entries(
    new: Sequence[LogEntry],
    log: Collection[LogEntry],
    strings: Collection[TrapString],
    now: datetime,
    *,
    labels: Mapping[str, str] | None = None,
    zone: tzinfo = UTC,
    double_pull_min: float = DOUBLE_PULL_MIN,
) -> tuple[Fault, ...]:
    """Faults of ``new`` entries beside a ``log``, none when all can be taken.

    An entry whose key the log holds with the same content has no fault: it was told before. An entry must make
    sense where it stands in time. It may leave a later entry without sense, since otherwise a wrong entry could
    not be replaced; such a one shows in ``GearState.oddities``.

    Args:
        labels: What to call an entry in the faults, by id. Default: its kind and moment.
        zone: Whose clock the faults tell moments by.
        double_pull_min: Two pulls of a trap within so many minutes are refused as one told twice.
    """
    now = as_utc(now)
    known = {entry.key: entry for entry in log}
    fresh = [entry for entry in new if entry.key not in known or not entry.says_the_same_as(known[entry.key])]
    names = {
        entry.id: (labels or {}).get(entry.id, f"{entry.kind} at {_moment(entry.happened_at, zone)}")
        for entry in fresh
    }
    faults: list[Fault] = []
    sound: list[LogEntry] = []
    for entry in fresh:
        found = _faults_alone(entry, names[entry.id], strings, now, zone)
        if entry.key in known:
            found.append(
                Fault(names[entry.id], "key", f"{entry.key}, in the log with other content", "a correction")
            )
        faults += found
        if not found:
            sound.append(entry)
    together = _near([*log, *sound], sound)
    faults += _sequence_faults(sound, together, strings, names)
    faults += _double_pulls(sound, together, names, zone, double_pull_min)
    faults += _corrections(sound, {entry.id: entry for entry in (*log, *sound)}, together, names)
    return tuple(faults)


def check_alone(
    new: Iterable[LogEntry],
    strings: Collection[TrapString],
    now: datetime,
    *,
    labels: Mapping[str, str],
    zone: tzinfo = UTC,
) -> tuple[Fault, ...]:
    """Faults of ``new`` entries that no other entry could mend: for telling beside rows that can't be read.

    ``labels`` and ``zone`` as in ``check_entries``.
    """
    now = as_utc(now)
    return tuple(
        fault
        for entry in new
        for name in (labels[entry.id],)
        for fault in (*_faults_alone(entry, name, strings, now, zone), *_out_of_range(entry, name, strings))
    )


def _out_of_range(entry: LogEntry, name: str, strings: Collection[TrapString]) -> Iterator[Fault]:
    for string in strings:
        outside = [place for place in entry.traps if not 1 <= place <= string.traps]
        if string.name == entry.string and outside:
            found = f"{told_places(outside)} in {string.name}"
            yield Fault(name, "traps", found, f"places from 1 to {string.traps}")


def _near(entries: Iterable[LogEntry], new: Collection[LogEntry]) -> list[LogEntry]:
    """Entries that bear on the new ones: of their strings, and all corrections."""
    touched = {entry.string for entry in new}
    return [entry for entry in entries if entry.string in touched or entry.kind is EntryKind.CORRECTION]


def _sequence_faults(
    new: Collection[LogEntry], together: list[LogEntry], strings: Collection[TrapString], names: Mapping[str, str]
) -> list[Fault]:
    ids = {entry.id for entry in new if entry.kind is not EntryKind.CORRECTION}
    oddities = fold(together, strings).oddities if new else ()
    return [Fault(names[odd.entry_id], odd.key, odd.found, odd.write) for odd in oddities if odd.entry_id in ids]


def _double_pulls(
    new: Collection[LogEntry], together: list[LogEntry], names: Mapping[str, str], zone: tzinfo, within_min: float
) -> list[Fault]:
    ids = {entry.id for entry in new}
    pulls: dict[str | None, list[LogEntry]] = {}
    faults = []
    for pull in sorted(in_force(together), key=lambda entry: entry.order):
        if pull.kind is not EntryKind.PULL:
            continue
        earlier = pulls.setdefault(pull.string, [])
        earlier[:] = [
            past for past in earlier if pull.happened_at - past.happened_at < timedelta(minutes=within_min)
        ]
        for past in earlier:
            told = pull if pull.id in ids else past
            if told.id in ids and _share_traps(pull, past):
                other = past if told is pull else pull
                faults.append(
                    Fault(
                        names[told.id],
                        "happened_at",
                        f"a pull of the same traps at {_moment(other.happened_at, zone)}",
                        f"nothing if it is that one; of two within {within_min:g} min, name the traps of each",
                    )
                )
        earlier.append(pull)
    return faults


def _share_traps(one: LogEntry, other: LogEntry) -> bool:
    return not one.traps or not other.traps or not set(one.traps).isdisjoint(other.traps)


def _corrections(
    new: Collection[LogEntry], by_id: Mapping[str, LogEntry], together: list[LogEntry], names: Mapping[str, str]
) -> list[Fault]:
    new_corrections = {entry.id: entry for entry in new if isinstance(entry.detail, Correction)}
    if not new_corrections:
        return []
    faults = []
    in_force_ids = {entry.id for entry in in_force(together)}
    voided_by: dict[str, str] = {}
    for entry in sorted(together, key=lambda entry: (entry.told_at, entry.id)):
        if not isinstance(entry.detail, Correction) or entry.id not in in_force_ids:
            continue
        target = entry.detail.voids
        if entry.id in new_corrections and target in voided_by:
            found = f"{target}, voided already by {voided_by[target]}"
            faults.append(Fault(names[entry.id], "voids", found, "nothing, it is done"))
        voided_by.setdefault(target, entry.id)
    for entry in new_corrections.values():
        assert isinstance(entry.detail, Correction)
        target = entry.detail.voids
        if target not in by_id:
            faults.append(Fault(names[entry.id], "voids", f"{target}, not in the log", "the id of an entry"))
        elif by_id[target].order >= entry.order:
            faults.append(
                Fault(names[entry.id], "voids", f"{target}, not an earlier entry", "the id of an earlier one")
            )
    return faults


def _faults_alone(
    entry: LogEntry, name: str, strings: Collection[TrapString], now: datetime, zone: tzinfo
) -> list[Fault]:
    """What is wrong with an entry whatever the log holds."""
    faults: list[Fault] = []

    def say(key: str, found: object, write: str) -> None:
        faults.append(Fault(name, key, str(found), write))

    _check_moments(entry, now, zone, say)
    _check_string(entry, strings, say)
    _check_texts(entry, say)
    _check_numbers(entry, say)
    _check_marks(entry, say)
    if isinstance(entry.detail, TrapsSet):
        _check_set(entry, entry.detail, say)
    elif isinstance(entry.detail, Pulled):
        _check_weights(entry.detail, say)
    elif isinstance(entry.detail, Moved) and entry.traps:
        say("traps", told_places(entry.traps), "nothing; a move is of the whole string")
    elif isinstance(entry.detail, Recovered) and entry.detail.back not in ("fishing", "aboard"):
        say("back", repr(entry.detail.back), "fishing or aboard")
    return faults


def _moment(at: datetime, zone: tzinfo) -> str:
    try:
        return f"{at.astimezone(zone):%Y-%m-%d %H:%M %Z}"
    except OverflowError:  # the first or last day there is
        return at.isoformat()


def _check_moments(entry: LogEntry, now: datetime, zone: tzinfo, say: _Say) -> None:
    for key, at in (("happened_at", entry.happened_at), ("told_at", entry.told_at)):
        if at > now:
            say(key, f"{_moment(at, zone)}, in the future", f"{_moment(now, zone)} or earlier")
        elif at.year < FIRST_YEAR:
            say(key, at.isoformat(), f"a year from {FIRST_YEAR} on, with four digits")


def _check_string(entry: LogEntry, strings: Collection[TrapString], say: _Say) -> None:
    if entry.kind is EntryKind.CORRECTION:
        if entry.string is not None or entry.traps:
            say("string", f"{entry.string!r} {told_places(entry.traps)}".strip(), "neither string nor traps")
        return
    names = [string.name for string in strings]
    if entry.string in names:
        return
    near = get_close_matches((entry.string or "").casefold(), [name.casefold() for name in names], n=1)
    suggested = [name for name in names if name.casefold() in near]
    say("string", repr(_shown(entry.string or "")), suggested[0] if suggested else " or ".join(names))


def _check_texts(entry: LogEntry, say: _Say) -> None:
    for key in ("id", "key", "told_by"):
        text = getattr(entry, key)
        if not text or text != text.strip():
            say(key, repr(_shown(text)), "a name without spaces at its ends")
    if isinstance(entry.detail, Correction) and not entry.detail.reason.strip():
        say("reason", "nothing", "why the entry was wrong")
    for key, text in _texts(entry):
        if len(text) > MAX_CHARS.get(key, MAX_CHARS["voids"]):
            say(key, f"{len(text)} characters", f"at most {MAX_CHARS.get(key, MAX_CHARS['voids'])}")
        if any(unicodedata.category(letter) in _UNSEEN or letter in _TURNING for letter in text):
            say(key, repr(_shown(text)), "one line of plain text, without control characters")


def _texts(entry: LogEntry) -> list[tuple[str, str]]:
    own = [(key, getattr(entry, key)) for key in ("id", "key", "told_by", "string", "note")]
    own += [(part.name, getattr(entry.detail, part.name)) for part in fields(entry.detail)]
    if isinstance(entry.detail, Pulled):
        own += [("lb_by_grade", grade) for grade, _ in entry.detail.lb_by_grade]
    return [(key, text) for key, text in own if isinstance(text, str)]


def _shown(text: str) -> str:
    return text if len(text) <= 60 else f"{text[:60]}..."


def _check_numbers(entry: LogEntry, say: _Say) -> None:
    for part in fields(entry.detail):
        value = getattr(entry.detail, part.name)
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            continue
        if str(part.type).startswith("int") and not isinstance(value, int):
            say(part.name, value, "a whole number")
        elif not is_number(value) or not 0 <= value <= MAX_COUNT:
            say(part.name, value, f"a number from 0 to {MAX_COUNT}, or nothing")


def _check_marks(entry: LogEntry, say: _Say) -> None:
    for part in fields(entry.detail):
        mark = getattr(entry.detail, part.name)
        if isinstance(mark, Mark) and not (_within(mark.lat_deg, 90.0) and _within(mark.lon_deg, 180.0)):
            say(
                part.name,
                f"{mark.lat_deg} {mark.lon_deg}",
                "degrees, as in 30.05 -84.15 (north and east positive)",
            )


def _within(degrees: float, limit: float) -> bool:
    return is_number(degrees) and abs(degrees) <= limit


def _check_set(entry: LogEntry, detail: TrapsSet, say: _Say) -> None:
    if (detail.start is None) is not (detail.end is None):
        lacking, given = ("start", "end") if detail.start is None else ("end", "start")
        write = "both marks, or neither where the string lies as before"
        say(lacking, f"nothing beside a new {given} mark", write)
    if detail.count is None:
        return
    if detail.count == 0:
        say("count", 0, "how many were set, or nothing for the whole string")
    elif entry.traps and detail.count != len(entry.traps):
        say("count", f"{detail.count} with {len(entry.traps)} traps named", f"{len(entry.traps)} or nothing")


def _check_weights(detail: Pulled, say: _Say) -> None:
    grades = [grade for grade, _ in detail.lb_by_grade]
    if len(set(grades)) < len(grades) or any(
        not grade or grade != grade.strip() or ";" in grade for grade in grades
    ):
        say("lb_by_grade", ", ".join(grades), "each grade once, by a name without a semicolon")
    for grade, lb in detail.lb_by_grade:
        if not is_number(lb) or not 0 <= lb <= MAX_COUNT:
            say("lb_by_grade", f"{grade} {lb}", f"pounds from 0 to {MAX_COUNT}")
    if detail.lb is not None and grades:
        total = sum(lb for _, lb in detail.lb_by_grade)
        if not abs(detail.lb - total) < 0.05 * max(1.0, total):
            say("lb", f"{detail.lb:g} beside grades of {total:g} in all", f"{total:g} or nothing")
