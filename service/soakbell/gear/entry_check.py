"""Whether one entry makes sense by itself, whatever the log holds."""

from __future__ import annotations

import unicodedata
from collections.abc import Callable, Collection, Iterable, Iterator
from dataclasses import MISSING, fields
from datetime import date, datetime, timedelta, tzinfo
from difflib import get_close_matches
from typing import get_args

from soakbell.errors import Fault
from soakbell.gear.fold import told_places
from soakbell.gear.log import (
    OF_TRAPS,
    BaitBought,
    BaitCounted,
    BaitMoved,
    BaitOrdered,
    BaitPlace,
    BaitSpoiled,
    Barred,
    BellSettled,
    BellSnoozed,
    Correction,
    Detail,
    FoundDamaged,
    LogEntry,
    Moved,
    PartBought,
    PartCounted,
    PartUsed,
    Pinned,
    Pulled,
    Recovered,
    Renumbered,
    Repaired,
    Replaced,
    Retired,
    Shares,
    Tagged,
    TrapsSet,
    UpkeepDone,
)
from soakbell.gear.outfit import Outfit
from soakbell.gear.strings import Mark, TrapString
from soakbell.units import is_number

MAX_COUNT = 100_000  # more claws, pounds or hours in one entry is a slip of the hand (common practice, no source)
MAX_CLAW_IN = 12.0  # no claw is longer (common practice, no source)
FIRST_YEAR = 2000  # an earlier year is a slip of the hand
LAST_YEAR = 2100  # so is a later one
MOST_AHEAD_DAYS = 60  # a day pinned or barred farther ahead is a slip of the hand (common practice, no source)
MAX_CAUSE_CHARS = 4000
MAX_CHARS = {
    "key": 200,
    "told_by": 40,
    "string": 100,
    "note": 2000,
    "item": 100,
    "tag": 40,
    "bait": 100,
    "part": 100,
    "task": 100,
    "bell": 200,
    "cause": MAX_CAUSE_CHARS,
    "voids": 36,
    "reason": 500,
    "lb_by_grade": 40,
    "parts": 100,
}
BELL_CODES = ("soak", "bait", "parts", "upkeep", "unset", "season", "start", "harvest", "setting")
_UNSEEN = {"Cc", "Cs", "Zl", "Zp"}
_TURNING = {*map(chr, range(0x202A, 0x202F)), *map(chr, range(0x2066, 0x206A)), "\u200e", "\u200f"}

_Say = Callable[[str, object, str], None]


def faults_alone(
    entry: LogEntry,
    name: str,
    strings: Collection[TrapString],
    now: datetime,
    zone: tzinfo,
    outfit: Outfit | None = None,
) -> list[Fault]:
    """What is wrong with an entry by itself. ``name`` is what the faults call it, ``now`` in UTC.

    Moments are told by the clock of ``zone``. With an ``outfit``, names must be in it.
    """
    faults: list[Fault] = []

    def say(key: str, found: object, write: str) -> None:
        faults.append(Fault(name, key, str(found), write))

    _check_moments(entry, now, zone, say)
    _check_string(entry, strings, say)
    _check_texts(entry, say)
    _check_numbers(entry, say)
    _check_marks(entry, say)
    _check_days(entry, zone, say)
    _check_choices(entry.detail, say)
    _check_kind(entry, strings, say)
    if outfit is not None:
        faults += _beside_outfit(entry.detail, outfit, name, {fault.key for fault in faults})
    return faults


def shown_moment(at: datetime, zone: tzinfo) -> str:
    try:
        return f"{at.astimezone(zone):%Y-%m-%d %H:%M %Z}"
    except OverflowError:  # the first or last day there is
        return at.isoformat()


def _check_moments(entry: LogEntry, now: datetime, zone: tzinfo, say: _Say) -> None:
    for key, at in (("happened_at", entry.happened_at), ("told_at", entry.told_at)):
        if at > now:
            say(key, f"{shown_moment(at, zone)}, in the future", f"{shown_moment(now, zone)} or earlier")
        elif at.year < FIRST_YEAR:
            say(key, at.isoformat(), f"a year from {FIRST_YEAR} on, with four digits")


def _check_string(entry: LogEntry, strings: Collection[TrapString], say: _Say) -> None:
    told = entry.string or ""
    if entry.kind not in OF_TRAPS:
        if entry.string is not None or entry.traps:
            say("string", f"{entry.string!r} {told_places(entry.traps)}".strip(), "neither string nor traps")
        if not isinstance(entry.detail, Pinned | Barred) or not entry.detail.string:
            return
        told = entry.detail.string
    names = [string.name for string in strings]
    if told not in names:
        say("string", repr(_shown(told)), _nearest(told, names) or " or ".join(names))


def _nearest(text: str, names: Collection[str]) -> str | None:
    """The name that was most likely meant, None where none is near."""
    near = get_close_matches(text.casefold(), [name.casefold() for name in names], n=1)
    return next((name for name in names if name.casefold() in near), None)


def _check_texts(entry: LogEntry, say: _Say) -> None:
    for key in ("id", "key", "told_by"):
        text = getattr(entry, key)
        if not text or text != text.strip():
            say(key, repr(_shown(text)), "a name without spaces at its ends")
    _check_needed(entry.detail, say)
    for key, text in _texts(entry):
        most = MAX_CHARS.get(key, MAX_CHARS["voids"])
        if len(text) > most:
            say(key, f"{len(text)} characters", f"at most {most}")
        if any(unicodedata.category(letter) in _UNSEEN or letter in _TURNING for letter in text):
            say(key, repr(_shown(text)), "one line of plain text, without control characters")


_WHY = {Correction: "why the entry was wrong", Retired: "why they were given up"}
_NEEDED = {
    "item": "what is wrong, as in latch",
    "tag": "the tag, as in A 117",
    "bait": "the bait, as in cowhide",
    "part": "the part, as in latch",
    "task": "the task, as in engine oil",
    "bell": "the bell by its name in the letter, as in soak:Nine Foot",
}


def _check_needed(detail: Detail, say: _Say) -> None:
    """Names and reasons. Those that a kind can do without have a default."""
    why = _WHY.get(type(detail))
    if isinstance(detail, Correction | Retired) and why is not None and not detail.reason.strip():
        say("reason", "nothing", why)
    for part in fields(detail):
        text = getattr(detail, part.name)
        if part.name not in _NEEDED or isinstance(detail, Pulled):
            continue
        if not text.strip() and (text or part.default == MISSING):
            say(part.name, "nothing", _NEEDED[part.name])
        elif text != text.strip():
            say(part.name, repr(_shown(text)), "a name without spaces at its ends")


def _texts(entry: LogEntry) -> list[tuple[str, str]]:
    own = [(key, getattr(entry, key)) for key in ("id", "key", "told_by", "string", "note")]
    own += [(part.name, getattr(entry.detail, part.name)) for part in fields(entry.detail)]
    own += [(key, name) for key, shares in _shares(entry.detail) for name, _ in shares]
    return [(key, text) for key, text in own if isinstance(text, str)]


def _shares(detail: Detail) -> list[tuple[str, Shares]]:
    """Amounts by name that the entry tells, by field."""
    if isinstance(detail, Pulled):
        return [("lb_by_grade", detail.lb_by_grade)]
    return [("parts", detail.parts)] if isinstance(detail, Repaired) else []


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
            write = f"a number from 0 to {MAX_COUNT}" + ("" if part.default == MISSING else ", or nothing")
            say(part.name, f"{value:.10g}", write)


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


def _check_pull(detail: Pulled, say: _Say) -> None:
    grades = [grade for grade, _ in detail.lb_by_grade]
    _check_share_names("lb_by_grade", "grade", grades, say)
    for grade, lb in detail.lb_by_grade:
        if not is_number(lb) or not 0 <= lb <= MAX_COUNT:
            say("lb_by_grade", f"{grade} {lb}", f"pounds from 0 to {MAX_COUNT}")
    if detail.lb is not None and grades:
        total = sum(lb for _, lb in detail.lb_by_grade)
        if not abs(detail.lb - total) < 0.05 * max(1.0, total):
            say("lb", f"{detail.lb:g} beside grades of {total:g} in all", f"{total:g} or nothing")
    claw_in = detail.smallest_claw_in
    if claw_in is not None and (claw_in == 0 or MAX_CLAW_IN <= claw_in <= MAX_COUNT):
        say("smallest_claw_in", f"{claw_in:g}", f"inches, more than 0 and less than {MAX_CLAW_IN:g}, or nothing")
    if detail.bait_boxes is not None and not (detail.rebaited and detail.reset):
        say("bait_boxes", f"{detail.bait_boxes:g} where no fresh bait went in", "nothing")
    elif detail.bait_boxes == 0:
        say("bait_boxes", 0, "more than 0, or nothing where it wasn't measured")


def _check_share_names(key: str, what: str, names: Collection[str], say: _Say) -> None:
    if len(set(names)) < len(names) or any(not name or name != name.strip() or ";" in name for name in names):
        say(key, ", ".join(names), f"each {what} once, by a name without a semicolon")


def _check_kind(entry: LogEntry, strings: Collection[TrapString], say: _Say) -> None:
    """What only one kind, or a few, must keep to."""
    match entry.detail:
        case TrapsSet() as detail:
            _check_set(entry, detail, say)
        case Pulled() as detail:
            _check_pull(detail, say)
        case Moved() if entry.traps:
            say("traps", told_places(entry.traps), "nothing; a move is of the whole string")
        case Repaired(parts=parts):
            _check_share_names("parts", "part", [part for part, _ in parts], say)
            for part, count in parts:
                if not is_number(count) or not 0 < count <= MAX_COUNT:
                    say("parts", f"{part} {count}", f"more than 0, up to {MAX_COUNT}")
        case Tagged() if len(entry.traps) != 1:
            found = told_places(entry.traps) or "nothing"
            say("traps", found, "the place of the one trap with this tag")
        case Replaced(tag=tag) if tag and len(entry.traps) != 1:
            found = f"{tag} for {told_places(entry.traps) or 'the whole string'}"
            say("tag", found, "no tag, or the place of the one trap with this tag")
        case Renumbered(places=places):
            _check_renumbered(entry, places, say)
        case BaitBought(boxes=0) | BaitMoved(boxes=0) | BaitSpoiled(boxes=0) | BaitOrdered(boxes=0):
            say("boxes", 0, "more than 0")
        case PartBought(count=0) | PartUsed(count=0):
            say("count", 0, "more than 0")
        case BellSnoozed(bell=bell) | BellSettled(bell=bell):
            _check_bell(bell, [string.name for string in strings], say)


def _check_renumbered(entry: LogEntry, places: tuple[tuple[int, int], ...], say: _Say) -> None:
    before, after = [place for place, _ in places], [place for _, place in places]
    if entry.traps:
        say("traps", told_places(entry.traps), "nothing; the places say which traps")
    if not places:
        say("places", "nothing", "from and to, as in 3>4; 4>3")
    elif len(set(before)) < len(before) or sorted(before) != sorted(after):
        found = "; ".join(f"{place}>{to}" for place, to in places[:10])
        say("places", found, "each place once, the same before and after, as in 3>4; 4>3")


def _check_bell(bell: str, strings: Collection[str], say: _Say) -> None:
    code, _, subject = bell.partition(":")
    if code in BELL_CODES and subject.strip():
        if code in ("soak", "unset") and not _is_among(subject, strings):
            say("bell", repr(_shown(bell)), _bells_like(code, subject, strings))
        return
    near = _nearest(code, BELL_CODES)
    write = f"{near}:{subject}" if near and subject.strip() else "its name in the letter, as in soak:Nine Foot"
    say("bell", repr(_shown(bell)), write)


def _is_among(name: str, known: Iterable[str]) -> bool:
    return name.casefold() in map(str.casefold, known)


def _bells_like(code: str, subject: str, known: Collection[str]) -> str:
    near = _nearest(subject, known)
    return " or ".join(f"{code}:{name}" for name in ([near] if near else known)) or "a bell that a letter told"


def _check_choices(detail: Detail, say: _Say) -> None:
    if isinstance(detail, Recovered) and detail.back not in ("fishing", "aboard"):
        say("back", repr(detail.back), "fishing or aboard")
    places = get_args(BaitPlace)
    match detail:
        case BaitBought(place=place) | BaitSpoiled(place=place) | BaitCounted(place=place):
            chosen: list[tuple[str, str | None]] = [("place", place)]
        case BaitMoved():
            chosen = [("to", detail.to), ("out_of", detail.out_of)]
        case _:
            return
    for key, told in chosen:
        if told is not None and told not in places:
            say(key, repr(_shown(told)), " or ".join(places))
    if isinstance(detail, BaitMoved) and detail.out_of == detail.to:
        say("out_of", detail.out_of, "another place than the one they went to")


def _check_days(entry: LogEntry, zone: tzinfo, say: _Say) -> None:
    detail = entry.detail
    if isinstance(detail, BellSnoozed):
        if detail.until <= entry.happened_at:
            write = f"later than {shown_moment(entry.happened_at, zone)}"
            say("until", shown_moment(detail.until, zone), write)
        elif detail.until.year > LAST_YEAR:
            say("until", detail.until.isoformat(), f"a year up to {LAST_YEAR}")
    elif isinstance(detail, UpkeepDone) and detail.expires_on is not None:
        _check_day("expires_on", detail.expires_on, say)
    elif isinstance(detail, BaitOrdered) and detail.due_on is not None:
        _check_day("due_on", detail.due_on, say)
    elif isinstance(detail, Pinned | Barred):
        _check_day_ahead(entry.told_at, detail.day, zone, say)


def _check_day_ahead(told_at: datetime, day: date, zone: tzinfo, say: _Say) -> None:
    if not FIRST_YEAR <= told_at.year <= LAST_YEAR:
        return  # that moment is the fault
    first = told_at.astimezone(zone).date()
    last = first + timedelta(days=MOST_AHEAD_DAYS)
    if day < first:
        say("day", f"{day}, gone by on {first}", f"a day from {first} to {last}")
    elif day > last:
        say("day", f"{day}, {(day - first).days} days ahead", f"a day from {first} to {last}")


def _check_day(key: str, day: date, say: _Say) -> None:
    if not FIRST_YEAR <= day.year <= LAST_YEAR:
        say(key, day.isoformat(), f"a day of a year from {FIRST_YEAR} to {LAST_YEAR}")


def _beside_outfit(detail: Detail, outfit: Outfit, where: str, faulty: Collection[str]) -> Iterator[Fault]:
    """Names that the settings lack, and what they have otherwise, but for ``faulty`` fields.

    Baits are known whatever their capitals, as the log takes them.
    """
    for key, name, known in _named(detail, outfit):
        if key in faulty or name in known or (key == "bait" and _is_among(name, known)):
            continue
        write = _nearest(name, known) or " or ".join(known) or "nothing; the settings name none"
        yield Fault(where, key, f"{name!r}, not in the settings", write)
    match detail:
        case UpkeepDone(task=task, expires_on=expires_on) if "expires_on" not in faulty:
            rule = next((rule for rule in outfit.upkeep if rule.name == task), None)
            if rule is not None and not rule.expires and expires_on is not None:
                yield Fault(where, "expires_on", f"{expires_on}, where {task} doesn't expire", "nothing")
            elif rule is not None and rule.expires and expires_on is None:
                yield Fault(where, "expires_on", "nothing", "the date that stands on it, as 2029-06-30")
        case PartBought(part=name, count=count) if "count" not in faulty and count % 1:
            kind = next((kind for kind in outfit.parts if kind.name == name), None)
            if kind is not None and kind.pack % 1 == 0:
                yield Fault(where, "count", f"{count:g}", "a whole number, as the gear file's packs are")
        case BellSnoozed(bell=bell) | BellSettled(bell=bell) if "bell" not in faulty:
            code, _, subject = bell.partition(":")
            names = _subjects(outfit).get(code)
            if names is not None and not _is_among(subject, names):
                yield Fault(where, "bell", repr(_shown(bell)), _bells_like(code, subject, names))


def _subjects(outfit: Outfit) -> dict[str, list[str]]:
    """What a bell can be about, by its code, where the settings say it."""
    return {
        "bait": [kind.name for kind in outfit.baits],
        "parts": [kind.name for kind in outfit.parts],
        "upkeep": [rule.name for rule in outfit.upkeep],
    }


def _named(detail: Detail, outfit: Outfit) -> Iterator[tuple[str, str, list[str]]]:
    """Field, name told, and names known for it."""
    conditions = [kind.name for kind in outfit.conditions]
    parts = [kind.name for kind in outfit.parts]
    match detail:
        case FoundDamaged(item=item):
            yield "item", item, conditions
        case Repaired():
            if detail.item:
                yield "item", detail.item, conditions
            for part, _ in detail.parts:
                yield "parts", part, parts
        case PartBought(part=part) | PartUsed(part=part) | PartCounted(part=part):
            yield "part", part, parts
        case UpkeepDone(task=task):
            yield "task", task, [rule.name for rule in outfit.upkeep]
        case (
            BaitBought(bait=bait)
            | BaitMoved(bait=bait)
            | BaitSpoiled(bait=bait)
            | BaitCounted(bait=bait)
            | BaitOrdered(bait=bait)
        ):
            yield "bait", bait, [kind.name for kind in outfit.baits]
        case Pulled():
            if detail.bait:
                yield "bait", detail.bait, [kind.name for kind in outfit.baits]
            for grade, _ in detail.lb_by_grade if outfit.grades else ():
                yield "lb_by_grade", grade, [kind.name for kind in outfit.grades]
