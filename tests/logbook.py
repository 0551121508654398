"""Entries for tests, on the invented strings Nine Foot (4 traps) and Ledge (3 traps), and strategies for more."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

from hypothesis import strategies as st

from soakbell.gear.fold import GearState, TrapBook
from soakbell.gear.log import (
    OF_TRAPS,
    BaitBought,
    BaitCounted,
    BaitMoved,
    BaitOrdered,
    BaitSpoiled,
    Barred,
    BellSettled,
    BellSnoozed,
    BroughtAshore,
    Correction,
    Detail,
    EngineHours,
    FoundDamaged,
    FoundMissing,
    LogEntry,
    Moved,
    PartBought,
    PartCounted,
    PartUsed,
    Pinned,
    Pulled,
    PutOnBench,
    Recovered,
    Renumbered,
    Repaired,
    Replaced,
    Retired,
    Tagged,
    TrapsSet,
    UpkeepDone,
    new_entry,
)
from soakbell.gear.strings import Mark, TrapString

START, END = Mark(30.00, -84.15), Mark(29.99, -84.15)
NINE_FOOT = TrapString("Nine Foot", START, END, 4, "bay", 3, 120, 264)
LEDGE = TrapString("Ledge", Mark(29.85, -84.25), Mark(29.85, -84.27), 3, "bay", 8, 120, 264)
STRINGS = (NINE_FOOT, LEDGE)
FIRST = datetime(2026, 11, 1, 12, tzinfo=UTC)
NOW = datetime(2026, 12, 8, 9, 30, tzinfo=UTC)


def hours(count: float) -> timedelta:
    return timedelta(hours=count)


def one_on(state: GearState, entry: LogEntry) -> GearState:
    """The state that a book comes to which goes on with one entry that follows."""
    book = TrapBook((), state)
    book.take(entry)
    return book.freeze()


def told(
    detail: Detail,
    after_h: float = 0.0,
    *,
    string: str | None = "Nine Foot",
    traps: tuple[int, ...] = (),
    key: str | None = None,
    told_after_h: float | None = None,
) -> LogEntry:
    """What happened ``after_h`` hours after ``FIRST``, told at once unless said otherwise."""
    if detail.kind not in OF_TRAPS:
        string = None
    return new_entry(
        detail,
        happened_at=FIRST + hours(after_h),
        told_at=FIRST + hours(after_h if told_after_h is None else told_after_h),
        told_by="cli",
        string=string,
        traps=traps,
        key=key,
    )


counts = st.none() | st.integers(0, 500)
pounds = st.none() | st.floats(0, 1000)
plain = st.text(
    st.characters(exclude_categories=["C", "Zl", "Zp"], exclude_characters="\u200e\u200f"), max_size=20
)
grades = st.dictionaries(
    plain.map(lambda name: name.replace(";", "").strip()).filter(bool), st.floats(0, 100), max_size=3
).map(lambda found: tuple(found.items()))
marks = st.builds(Mark, st.floats(-90, 90), st.floats(-180, 180))

names = plain.map(lambda name: name.replace(";", "").strip()).filter(bool)
items = st.sampled_from(["latch", "Latch", "lid", "buoy"])
baits = st.sampled_from(["mullet heads", "Mullet Heads", "cowhide"])
parts = st.sampled_from(["latch", "screw", "buoy"])
tasks = st.sampled_from(["engine oil", "flares", "anodes"])
bells = st.sampled_from(["soak:Nine Foot", "bait:mullet heads", "upkeep:flares", "unset:Ledge"])
tags = st.sampled_from(["A1", "a1", "A2", "A3"])
boxes = st.integers(1, 40).map(lambda quarters: quarters / 4)
dollars = st.none() | st.floats(0, 1000)
places_of_bait = st.sampled_from(["freezer", "thaw", "aboard"])
shares = st.dictionaries(parts, st.integers(1, 9).map(float), max_size=2).map(lambda found: tuple(found.items()))
days = st.dates(date(2026, 11, 1), date(2027, 11, 1))
soon = st.integers(0, 600).map(lambda minutes: FIRST + timedelta(minutes=minutes))
renumberings = st.lists(st.integers(1, 5), min_size=1, max_size=4, unique=True).flatmap(
    lambda before: st.permutations(before).map(lambda after: tuple(zip(before, after, strict=True)))
) | st.lists(st.tuples(st.integers(1, 5), st.integers(1, 5)), min_size=1, max_size=3).map(tuple)

details_of_traps: st.SearchStrategy[Detail] = st.one_of(
    st.builds(TrapsSet, st.none() | marks, st.none() | marks, st.none() | st.integers(1, 5)),
    st.builds(
        Pulled,
        st.booleans(),
        st.booleans(),
        counts,
        counts,
        counts,
        counts,
        pounds,
        grades,
        st.none() | st.floats(0.5, 6),
        plain | baits,
        st.none() | boxes,
    ),
    st.builds(Moved, marks, marks),
    st.just(FoundMissing()),
    st.builds(Recovered, st.sampled_from(["fishing", "aboard"]), st.booleans()),
    st.just(BroughtAshore()),
    st.builds(FoundDamaged, items),
    st.builds(Repaired, st.just("") | items, shares),
    st.just(PutOnBench()),
    st.builds(Retired, names),
    st.builds(Tagged, tags),
    st.builds(Replaced, st.just("") | tags),
    st.builds(Renumbered, renumberings),
)
details_of_stores: st.SearchStrategy[Detail] = st.one_of(
    st.builds(BaitBought, baits, boxes, places_of_bait, dollars),
    st.builds(BaitMoved, baits, boxes, places_of_bait, st.none() | places_of_bait),
    st.builds(BaitSpoiled, baits, boxes, places_of_bait),
    st.builds(BaitCounted, baits, st.just(0.0) | boxes, places_of_bait),
    st.builds(BaitOrdered, baits, boxes, st.none() | days),
    st.builds(PartBought, parts, st.integers(1, 50).map(float), dollars),
    st.builds(PartUsed, parts, st.integers(1, 9).map(float)),
    st.builds(PartCounted, parts, st.integers(0, 50).map(float)),
    st.builds(UpkeepDone, tasks, st.none() | days),
    st.builds(EngineHours, st.floats(0, 2000), st.booleans()),
    st.builds(BellSnoozed, bells, soon),
    st.builds(BellSettled, bells, st.sampled_from(["", "a", "latch Ledge 3; lid Ledge 2"]), st.integers(0, 9)),
)
wished_days = st.dates(date(2026, 11, 1), date(2026, 11, 4))
wished_strings = st.sampled_from(["", "Nine Foot", "Ledge", "Lost String"])
wishes: st.SearchStrategy[Detail] = st.builds(Pinned, wished_days, wished_strings) | st.builds(
    Barred, wished_days, wished_strings
)
details = details_of_traps | details_of_stores | wishes


@st.composite
def logs(
    draw: st.DrawFn, max_size: int = 12, of: st.SearchStrategy[Detail] = details, corrections: int = 0
) -> list[LogEntry]:
    """Logs of the kinds in ``of``, sensible or not, in the order of telling; each entry with a key of its own.

    With ``corrections``, up to so many entries at the end void others or each other.
    """
    entries: list[LogEntry] = []
    for _ in range(draw(st.integers(0, max_size))):
        happened_at = FIRST + timedelta(minutes=draw(st.integers(0, 300)))
        detail = draw(of)
        of_traps = detail.kind in OF_TRAPS
        entries.append(
            LogEntry(
                id=f"{draw(st.integers(0, 9))}-{len(entries)}",
                key=f"key {len(entries)}",
                happened_at=happened_at,
                told_at=happened_at + timedelta(minutes=draw(st.integers(0, 60))),
                told_by="cli",
                detail=detail,
                string=draw(st.sampled_from(["Nine Foot", "Ledge", "Lost String"])) if of_traps else None,
                traps=tuple(draw(st.sets(st.integers(1, 5), max_size=3))) if of_traps else (),
                note=draw(plain),
            )
        )
    for turn in range(draw(st.integers(0, corrections)) if entries else 0):
        told_late = correction_of(draw(st.sampled_from(entries)), 10 + turn)
        entries.append(replace(told_late, id=f"correction {turn}", key=f"correction {turn}"))
    return entries


def correction_of(entry: LogEntry, after_h: float) -> LogEntry:
    return told(Correction(entry.id, "told wrongly"), after_h)
