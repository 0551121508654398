"""Whether new entries can go into the log. Faults name the entry, the field, what was found and what to write."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from datetime import UTC, datetime, timedelta, tzinfo

from soakbell.clock import as_utc
from soakbell.errors import Fault
from soakbell.gear.entry_check import faults_alone, shown_moment
from soakbell.gear.fold import fold, in_force, told_places
from soakbell.gear.log import Correction, EntryKind, LogEntry, Pulled, Renumbered, Replaced, Tagged
from soakbell.gear.outfit import Outfit
from soakbell.gear.strings import TrapString

DOUBLE_PULL_MIN = 30.0
"""Two pulls of one trap closer than this are one pull told twice (common practice, no source)."""


def check_entries(
    new: Sequence[LogEntry],
    log: Collection[LogEntry],
    strings: Collection[TrapString],
    now: datetime,
    *,
    labels: Mapping[str, str] | None = None,
    zone: tzinfo = UTC,
    outfit: Outfit | None = None,
) -> tuple[Fault, ...]:
    """Faults of ``new`` entries beside a ``log``, none when all can be taken.

    An entry whose key the log holds with the same content has no fault: it was told before. An entry must make
    sense where it stands in time. It may leave a later entry without sense, since otherwise a wrong entry could
    not be replaced; such a one shows in ``GearState.oddities``.

    Args:
        labels: What to call an entry in the faults, by id. Default: its kind and moment.
        zone: Whose clock the faults tell moments by.
        outfit: Names of conditions, parts, baits, tasks and grades must be in it. None: they aren't checked.
    """
    now = as_utc(now)
    known = {entry.key: entry for entry in log}
    fresh = [entry for entry in new if entry.key not in known or not entry.says_the_same_as(known[entry.key])]
    names = {
        entry.id: (labels or {}).get(entry.id, f"{entry.kind} at {shown_moment(entry.happened_at, zone)}")
        for entry in fresh
    }
    faults: list[Fault] = []
    sound: list[LogEntry] = []
    for entry in fresh:
        found = faults_alone(entry, names[entry.id], strings, now, zone, outfit)
        if entry.key in known:
            found.append(
                Fault(names[entry.id], "key", f"{entry.key}, in the log with other content", "a correction")
            )
        faults += found
        if not found:
            sound.append(entry)
    together = _bearing([*log, *sound], sound, strings)
    faults += _sequence_faults(sound, together, strings, names)
    faults += _double_pulls(sound, together, names, zone)
    faults += _corrections(sound, {entry.id: entry for entry in (*log, *sound)}, together, names)
    return tuple(faults)


def check_alone(
    new: Iterable[LogEntry],
    strings: Collection[TrapString],
    now: datetime,
    *,
    labels: Mapping[str, str],
    zone: tzinfo = UTC,
    outfit: Outfit | None = None,
) -> tuple[Fault, ...]:
    """Faults of ``new`` entries that no other entry could mend: for telling beside rows that can't be read.

    ``labels``, ``zone`` and ``outfit`` as in ``check_entries``.
    """
    now = as_utc(now)
    return tuple(
        fault
        for entry in new
        for name in (labels[entry.id],)
        for fault in (*faults_alone(entry, name, strings, now, zone, outfit), *_out_of_range(entry, name, strings))
    )


def _out_of_range(entry: LogEntry, name: str, strings: Collection[TrapString]) -> Iterator[Fault]:
    key, places = "traps", set(entry.traps)
    if isinstance(entry.detail, Renumbered):
        key, places = "places", {place for pair in entry.detail.places for place in pair}
    for string in strings:
        outside = [place for place in places if not 1 <= place <= string.traps]
        if string.name == entry.string and outside:
            found = f"{told_places(outside)} in {string.name}"
            yield Fault(name, key, found, f"places from 1 to {string.traps}")


def strings_at_stake(new: Iterable[LogEntry], strings: Iterable[TrapString]) -> frozenset[str]:
    """Strings whose whole log ``check_entries`` needs for these entries; a tag must be new to the whole boat."""
    new = list(new)
    if any(isinstance(entry.detail, Tagged | Replaced) and entry.detail.tag for entry in new):
        return frozenset(string.name for string in strings)
    return frozenset(entry.string for entry in new if entry.string is not None)


def _bearing(
    entries: Iterable[LogEntry], new: Collection[LogEntry], strings: Iterable[TrapString]
) -> list[LogEntry]:
    """Entries that bear on the new ones: of the strings at stake, all corrections, and the new ones."""
    at_stake, ids = strings_at_stake(new, strings), {entry.id for entry in new}
    return [
        entry
        for entry in entries
        if entry.string in at_stake or entry.kind is EntryKind.CORRECTION or entry.id in ids
    ]


def _sequence_faults(
    new: Collection[LogEntry], together: list[LogEntry], strings: Collection[TrapString], names: Mapping[str, str]
) -> list[Fault]:
    ids = {entry.id for entry in new if entry.kind is not EntryKind.CORRECTION}
    oddities = fold(together, strings).oddities if ids else ()
    return [Fault(names[odd.entry_id], odd.key, odd.found, odd.write) for odd in oddities if odd.entry_id in ids]


def _double_pulls(
    new: Collection[LogEntry], together: list[LogEntry], names: Mapping[str, str], zone: tzinfo
) -> list[Fault]:
    ids = {entry.id for entry in new}
    pulls: dict[str | None, list[LogEntry]] = {}
    faults = []
    for pull in sorted(in_force(together), key=lambda entry: entry.order):
        if pull.kind is not EntryKind.PULL:
            continue
        earlier = pulls.setdefault(pull.string, [])
        earlier[:] = [
            past for past in earlier if pull.happened_at - past.happened_at < timedelta(minutes=DOUBLE_PULL_MIN)
        ]
        for past in earlier:
            told = pull if pull.id in ids else past
            if told.id in ids and _share_traps(pull, past) and not _kept_apart(pull, past):
                other = past if told is pull else pull
                faults.append(
                    Fault(
                        names[told.id],
                        "happened_at",
                        f"a pull of the same traps at {shown_moment(other.happened_at, zone)}",
                        f"nothing if it is that one; of two within {DOUBLE_PULL_MIN:g} min, "
                        "name the traps of each",
                    )
                )
        earlier.append(pull)
    return faults


def _kept_apart(pull: LogEntry, past: LogEntry) -> bool:
    """True where a pull tells of named traps of the one before that they stayed aboard, or kept the old bait."""
    now, before = pull.detail, past.detail
    if not isinstance(now, Pulled) or not isinstance(before, Pulled) or not pull.traps or now.tells_catch:
        return False
    return not now.reset or (not now.rebaited and before.rebaited)


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
