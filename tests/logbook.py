"""Entries for tests, on the invented strings Nine Foot (4 traps) and Ledge (3 traps), and strategies for more."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from hypothesis import strategies as st

from soakbell.gear.log import (
    BroughtAshore,
    Correction,
    Detail,
    FoundMissing,
    LogEntry,
    Moved,
    Pulled,
    Recovered,
    TrapsSet,
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
    if isinstance(detail, Correction):
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

details = st.one_of(
    st.builds(TrapsSet, st.none() | marks, st.none() | marks, st.none() | st.integers(1, 5)),
    st.builds(Pulled, st.booleans(), st.booleans(), counts, counts, counts, counts, pounds, grades, plain),
    st.builds(Moved, marks, marks),
    st.just(FoundMissing()),
    st.builds(Recovered, st.sampled_from(["fishing", "aboard"]), st.booleans()),
    st.just(BroughtAshore()),
)


@st.composite
def logs(draw: st.DrawFn, max_size: int = 12) -> list[LogEntry]:
    """Logs without corrections, sensible or not, in the order of telling; each entry with a key of its own."""
    entries = []
    for _ in range(draw(st.integers(0, max_size))):
        happened_at = FIRST + timedelta(minutes=draw(st.integers(0, 300)))
        entries.append(
            LogEntry(
                id=f"{draw(st.integers(0, 9))}-{len(entries)}",
                key=f"key {len(entries)}",
                happened_at=happened_at,
                told_at=happened_at + timedelta(minutes=draw(st.integers(0, 60))),
                told_by="cli",
                detail=draw(details),
                string=draw(st.sampled_from(["Nine Foot", "Ledge", "Lost String"])),
                traps=tuple(draw(st.sets(st.integers(1, 5), max_size=3))),
                note=draw(plain),
            )
        )
    return entries


def correction_of(entry: LogEntry, after_h: float) -> LogEntry:
    return told(Correction(entry.id, "told wrongly"), after_h)
