"""What a season is held against at its end: each promise, with its figures and what broke it."""

from __future__ import annotations

import json
import re
import sqlite3
from bisect import bisect_right
from collections import Counter, defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from statistics import median

from sqlalchemy import select
from sqlalchemy.orm import Session

from faults.bad_forecasts import BadForecasts
from faults.bad_mail import BadMail, MailFault
from faults.season_life import Held
from faults.season_told import Told, read
from soakbell.due_times import local_day
from soakbell.gear.fold import fold
from soakbell.gear.strings import TrapString
from soakbell.gear.trap_states import GearState, Whereabouts
from soakbell.settings import Settings
from soakbell.store.backup import check_copy
from soakbell.store.engine import Store
from soakbell.store.log import all_entries
from soakbell.store.log_keeper import LogKeeper
from soakbell.store.schema import DueRow, OutboxRow, RecipientRow
from soakbell.wiring import open_database

MORNING, CHANGED, BELLS, PULL = "morning", "changed", "bells", "PULL"

MORNING_PROMISE = "one letter each morning, or a reason"
TWICE_PROMISE = "no letter twice"
PULL_PROMISE = "no PULL in unfit or unknown hours"
TAKEN_BACK_PROMISE = "a PULL that can't stand, or is looked at in vain, is taken back"
LOG_PROMISE = "log and state agree, no trap lost"
FLAT_PROMISE = "files flat but for what is kept"
MEMORY_PROMISE = "memory flat"
LIFE_PROMISE = "dies only when killed, ends in order"

PARTS = {
    "replies": "SELECT total(length(body_gz)) FROM raw_reply",
    "letters": "SELECT total(length(message)) FROM outbox",
    "calls": "SELECT total(length(detail) + length(inputs)) FROM call_made",
    "log": "SELECT total(length(detail) + 300) FROM log_entry",
    "notes": "SELECT total(length(value)) FROM note",
    "warnings seen": "SELECT total(length(message)) FROM seen_warning",
    "bells": "SELECT 100 * count(*) FROM rung_bell",
}
FLAT = ("notes", "warnings seen", "bells")
"""Parts of the database that don't grow once a season is under way."""

MB = 1e6
MOST_FLAT_MB = 1.0
MOST_ABOVE_PARTS = 1.35  # of the file: pages, indexes, free room
MOST_RSS_A_DAY_MB = 0.5
MOST_WARMING_MB = 120.0  # a day, of a life too short to be warm
LONG_LIFE_DAYS = 20
WARM_DAYS = 7
MOST_OF_A_KIND = 10  # seven backups, and a few that a clock ahead has named
ROOM_MB = 4.0
MOST_RINGS_A_DAY = 2  # of one matter: a bell rings again when its matter worsens


@dataclass(frozen=True)
class Sizes:
    """Bytes at the end of a day: of the database, its parts, and the other files beside it by name."""

    day: date
    database: int
    parts: Mapping[str, float]
    others: Mapping[str, int]


def sizes_now(day: date, database: Path) -> Sizes:
    with closing(sqlite3.connect(f"{database.as_uri()}?mode=ro", uri=True)) as reader:
        parts = {name: float(reader.execute(query).fetchone()[0]) for name, query in PARTS.items()}
    others = {
        str(path.relative_to(database.parent)): path.stat().st_size
        for path in sorted(database.parent.rglob("*"))
        if path.is_file() and path != database
    }
    return Sizes(day, database.stat().st_size, parts, others)


@dataclass(frozen=True)
class Copy:
    """A letter as it reached the mail server. ``unsaid``: the server kept it and didn't say so."""

    at: datetime
    message_id: str
    unsaid: bool

    @property
    def slot(self) -> tuple[str, str, str]:
        """Kind, day, turn."""
        kind, day, turn, _ = self.message_id.strip("<>").split(".", 3)
        return kind, day, turn


@dataclass
class Kept:
    """What was seen of a season. Moments are true ones, whatever the service's clock showed."""

    days: list[date] = field(default_factory=list)
    sweeps: int = 0
    told: int = 0
    pulls_judged: int = 0
    pulls_told: int = 0
    changed: int = 0
    words: Counter[str] = field(default_factory=Counter)
    troubles: Counter[str] = field(default_factory=Counter)
    upset: list[datetime] = field(default_factory=list)
    """When the service died or was restored, or another program held the database."""
    full: list[datetime] = field(default_factory=list)
    """When the disk was full: no excuse for a copy."""
    wrong_on: set[date] = field(default_factory=set)
    restored: list[tuple[date, date]] = field(default_factory=list)
    """The days of a backup and of its restore."""
    copies: list[Copy] = field(default_factory=list)
    letters: list[Told] = field(default_factory=list)
    """As each came first."""
    reasons: dict[date, str] = field(default_factory=dict)
    """What the database says of a morning whose letter did not arrive."""
    mail_faults: list[datetime] = field(default_factory=list)
    zone_name: str = ""
    sizes: list[Sizes] = field(default_factory=list)
    lives: list[list[tuple[date, int]]] = field(default_factory=list)
    compared: int = 0
    broken: list[str] = field(default_factory=list)
    broken_pulls: list[str] = field(default_factory=list)
    left_standing: list[str] = field(default_factory=list)
    differences: list[str] = field(default_factory=list)
    traps: Counter[str] = field(default_factory=Counter)
    old_replies: int = 0

    @property
    def line(self) -> str:
        size = self.sizes[-1]
        rss = self.lives[-1][-1][1] / MB if self.lives and self.lives[-1] else 0.0
        wrong = len(self.broken + self.broken_pulls + self.left_standing + self.differences)
        return (
            f"{dict(self.words)} lives {len(self.lives)} database {size.database / MB:.1f} MB "
            f"memory {rss:.0f} MB broken {wrong}"
        )

    def compare(
        self,
        day: date | None,
        store: Store,
        strings: Collection[TrapString],
        held: Held,
        counted: Counter[tuple[str, Whereabouts]] | None,
    ) -> None:
        """The fold of the whole log against what the service holds and what the skipper counted."""
        self.compared += 1
        with store.reading() as session:
            entries = all_entries(session)
        state, kept = fold(entries, strings), LogKeeper(store, strings).now()
        found = traps_of(state)
        self.traps = Counter(where.value for _, where in found.elements())
        for what, ours, theirs in (
            ("traps", repr(state), held.gear),
            ("books", repr(kept.books), held.books),
            ("entries", len(entries), held.entries),
            ("skipper's count", found if counted is None else counted, found),
            ("number of traps", sum(string.traps for string in strings), found.total()),
        ):
            if ours != theirs:
                self.differences.append(f"{day or 'end'}: {what}: {_first_difference(str(ours), str(theirs))}")

    def read_end(self, settings: Settings, mail: BadMail, forecasts: BadForecasts) -> None:
        """What the mail server has, and what the database says of the mornings that it lacks."""
        self.zone_name = settings.harbor.time_zone
        begun = [at for at, _ in mail.met]
        for one in mail.taken:
            fault = mail.met[bisect_right(begun, one.at) - 1][1]
            unsaid = fault is MailFault.KEPT_UNSAID
            if all(one.message_id != copy.message_id for copy in self.copies):
                self.letters.append(read(one, self.zone_name))
            self.copies.append(Copy(one.at, one.message_id, unsaid))
        self.mail_faults = [at for at, fault in mail.met if fault is not None]
        self.troubles["mail faults"] = len(self.mail_faults)
        for one in forecasts.asked:
            if one.fault is not None:
                self.troubles["forecast faults"] += 1
        check_copy(settings.database)
        store = open_database(settings)
        arrived = {date.fromisoformat(one.slot[1]) for one in self.copies if one.slot[0] == MORNING}
        ids = {one.message_id for one in self.copies}
        with store.reading() as session:
            for day in self.days:
                if day not in arrived:
                    self.reasons[day] = _reason(session, day)
            marked = select(OutboxRow.message_id).join(RecipientRow).where(RecipientRow.state == "accepted")
            for message_id in session.scalars(marked):
                if message_id not in ids:
                    self.broken.append(f"{message_id} is marked accepted and never came")
        store.close()
        self.old_replies = _old_replies(settings)

    def times_restored(self, day: date) -> int:
        """How often what was written on that day may have been forgotten, and written anew."""
        return sum(first <= day <= last for first, last in self.restored)


def traps_of(state: GearState) -> Counter[tuple[str, Whereabouts]]:
    return Counter((name, trap.where) for name, string in state.strings.items() for trap in string.traps)


@dataclass(frozen=True)
class Promise:
    """``figures`` in words; ``broken``: what broke it, one line each."""

    what: str
    figures: str
    broken: Sequence[str]

    @property
    def kept(self) -> bool:
        return not self.broken


def promises(kept: Kept) -> list[Promise]:
    """Each promise of a season, kept or broken."""
    return [
        _each_morning(kept),
        _none_twice(kept),
        Promise(
            PULL_PROMISE,
            f"{kept.pulls_judged} PULLs judged, {kept.pulls_told} letters with one",
            kept.broken_pulls,
        ),
        Promise(TAKEN_BACK_PROMISE, f"{kept.changed} days changed", kept.left_standing),
        Promise(
            LOG_PROMISE,
            f"{kept.told} entries told, compared {kept.compared} times; {dict(kept.traps)}",
            kept.differences,
        ),
        _files(kept),
        _memory(kept),
        Promise(LIFE_PROMISE, f"{len(kept.lives)} lives, {kept.sweeps} sweeps", kept.broken),
    ]


def _each_morning(kept: Kept) -> Promise:
    ids: dict[str, set[str]] = defaultdict(set)
    early = set()
    for copy in kept.copies:
        kind, day, turn = copy.slot
        if (kind, turn) == (MORNING, "0"):
            ids[day].add(copy.message_id)
            if local_day(copy.at, kept.zone_name).isoformat() < day:
                early.add(date.fromisoformat(day))
    broken = [
        f"{day}: {len(found)} letters"
        for day, found in ids.items()
        if len(found) > 1 + kept.times_restored(date.fromisoformat(day))
    ]
    troubled = {
        local_day(at, kept.zone_name) for at in (*kept.upset, *kept.full, *kept.mail_faults)
    } | kept.wrong_on
    for day in kept.days:
        if day.isoformat() not in ids:
            if not kept.reasons.get(day):
                broken.append(f"{day}: no letter and no reason on record")
            elif day not in troubled:
                broken.append(f"{day}: no letter though nothing was wrong: {kept.reasons[day]}")
    broken += [f"{day}: came a day early though no clock was wrong" for day in early - kept.wrong_on]
    arrived = sum(day.isoformat() in ids for day in kept.days)
    figures = (
        f"{arrived} of {len(kept.days)} arrived, {len(early)} of them early by a clock ahead; "
        f"{len(kept.reasons)} with a reason on record"
    )
    return Promise(MORNING_PROMISE, figures, broken)


def _none_twice(kept: Kept) -> Promise:
    by_slot: dict[tuple[str, str, str], set[str]] = defaultdict(set)
    by_id: dict[str, list[Copy]] = defaultdict(list)
    for copy in kept.copies:
        by_slot[copy.slot].add(copy.message_id)
        by_id[copy.message_id].append(copy)
    broken = [
        f"{' '.join(slot)}: {len(ids)} Message-IDs"
        for slot, ids in by_slot.items()
        if len(ids) > 1 + kept.times_restored(date.fromisoformat(slot[1]))
    ]
    broken += [
        f"{day}: {what} in {count} letters"
        for (day, what, most), count in _told_again(kept.letters).items()
        if count > most + kept.times_restored(day)
    ]
    repeats = 0
    for message_id, copies in by_id.items():
        for first, again in pairwise(copies):
            repeats += 1
            if not first.unsaid and not _upset_between(kept.upset, first.at, again.at):
                broken.append(f"{message_id} came again at {again.at:%d %b %H:%M} though its 250 was said")
    figures = f"{len(by_id)} letters, {repeats} copies under an equal Message-ID after a broken try"
    return Promise(TWICE_PROMISE, figures, broken)


def _told_again(letters: Iterable[Told]) -> Counter[tuple[date, str, int]]:
    """How many letters of a day tell the same: its day, what it is, and how many may."""
    found: Counter[tuple[date, str, int]] = Counter()
    for letter in letters:
        if letter.kind == CHANGED:
            found[letter.day, f"changed to {letter.call if letter.word == PULL else 'no PULL'}", 1] += 1
        if letter.kind == BELLS:
            found.update((letter.day, f"a bell for {matter}", MOST_RINGS_A_DAY) for matter in set(letter.matters))
    return found


def _upset_between(upset: Iterable[datetime], first: datetime, again: datetime) -> bool:
    return any(first - timedelta(minutes=5) <= at <= again for at in upset)


def _files(kept: Kept) -> Promise:
    last, middle = kept.sizes[-1], kept.sizes[len(kept.sizes) // 2]
    days = max((last.day - middle.day).days, 1)
    broken = []
    if kept.old_replies:
        broken.append(f"{kept.old_replies} replies are kept that no call rests on and that are past their days")
    if last.database > MOST_ABOVE_PARTS * sum(last.parts.values()) + ROOM_MB * MB:
        broken.append(
            f"the database has {last.database / MB:.1f} MB, its parts {sum(last.parts.values()) / MB:.1f}"
        )
    for name in FLAT:
        if last.parts[name] > MOST_FLAT_MB * MB:
            broken.append(f"{name} came to {last.parts[name] / MB:.2f} MB")
    newest = [_kinds(sizes.others) for sizes in kept.sizes[-3:]]
    for kind in set.intersection(*map(set, newest)) - set(_kinds(middle.others)):
        broken.append(f"a kind of file came to it: {kind}")
    for kind, (count, size) in newest[-1].items():
        if count > MOST_OF_A_KIND:
            broken.append(f"{count} files of the kind {kind}")
        if size > last.database + ROOM_MB * MB:
            broken.append(f"a file {kind} has {size / MB:.1f} MB")
    grown = {name: (size - middle.parts[name]) / days / 1e3 for name, size in last.parts.items()}
    figures = f"database {last.database / MB:.1f} MB; kB a day in the second half: " + ", ".join(
        f"{name} {each:.1f}" for name, each in grown.items()
    )
    return Promise(FLAT_PROMISE, figures, broken)


def _kinds(files: Mapping[str, int]) -> dict[str, tuple[int, int]]:
    """Of the files whose names differ in numbers alone: how many there are, and the largest one's bytes."""
    kinds: dict[str, list[int]] = defaultdict(list)
    for name, size in files.items():
        kinds[re.sub(r"[0-9]+", "#", name)].append(size)
    return {kind: (len(found), max(found)) for kind, found in kinds.items()}


def _memory(kept: Kept) -> Promise:
    """Of the longest life, once it is warm."""
    longest = max(kept.lives, key=len)
    warm = [rss for _, rss in longest[WARM_DAYS if len(longest) > LONG_LIFE_DAYS else 0 :]]
    if len(warm) < 2:
        return Promise(MEMORY_PROMISE, "no life was long enough to tell", [])
    third = max(len(warm) // 3, 1)
    a_day = (median(warm[-third:]) - median(warm[:third])) / (len(warm) - third) / MB
    figures = (
        f"{len(longest)} days in one life: {warm[0] / MB:.0f} to {warm[-1] / MB:.0f} MB, {a_day:+.2f} MB a day"
    )
    most = MOST_RSS_A_DAY_MB if len(longest) > LONG_LIFE_DAYS else MOST_WARMING_MB
    return Promise(MEMORY_PROMISE, figures, [f"{a_day:.2f} MB a day, at most {most}"] if a_day > most else [])


def _reason(session: Session, day: date) -> str:
    due = session.scalar(select(DueRow).where(DueRow.kind == MORNING, DueRow.day == day, DueRow.turn == 0))
    if due is None:
        return ""
    if due.state != "written":
        return f"{due.state}: {due.last_fault}" if due.state == "expired" and due.last_fault else ""
    to = session.scalar(select(RecipientRow).join(OutboxRow).where(OutboxRow.due_id == due.id))
    return f"{to.state}: {to.last_reply}" if to is not None and to.state in ("refused", "expired") else ""


def _old_replies(settings: Settings) -> int:
    """Replies past the days they are kept that no call names and that are not the newest of their source."""
    with closing(sqlite3.connect(f"{settings.database.as_uri()}?mode=ro", uri=True)) as reader:
        named = {
            source["sha256"]
            for (inputs,) in reader.execute("SELECT inputs FROM call_made")
            for source in json.loads(inputs)
            if "sha256" in source
        }
        newest = dict(
            reader.execute("SELECT kind || key, max(fetched_at) FROM raw_reply WHERE status = 200 GROUP BY 1")
        )
        (last,) = reader.execute("SELECT max(fetched_at) FROM raw_reply").fetchone()
        before = datetime.fromisoformat(last) - timedelta(days=settings.keep_replies_days + 3)
        rows = reader.execute("SELECT kind || key, fetched_at, sha256 FROM raw_reply")
        return sum(
            datetime.fromisoformat(at) < before and sha256 not in named and newest.get(source) != at
            for source, at, sha256 in rows
        )


def _first_difference(ours: str, theirs: str) -> str:
    at = next(
        (n for n, (a, b) in enumerate(zip(ours, theirs, strict=False)) if a != b), min(len(ours), len(theirs))
    )
    return f"{ours[max(at - 60, 0) : at + 60]!r} here, {theirs[max(at - 60, 0) : at + 60]!r} there"
