"""Bells that were snoozed or settled, from the log. INVENTED DATA."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from soakbell.gear.hushed import Hush, HushBook
from soakbell.gear.log import BellSettled, BellSnoozed, Detail, EngineHours, LogEntry
from soakbell.gear.worked import Worked

AT = datetime(2026, 12, 8, 12, 0, tzinfo=UTC)
DAY = timedelta(days=1)


def told(detail: Detail, days: float = 0) -> LogEntry:
    at = AT + days * DAY
    return LogEntry(f"{detail.kind}.{days}", f"{detail.kind}.{days}", at, at, "cli", detail)


ENTRIES = (
    told(BellSnoozed("soak:Nine Foot", AT + 4 * DAY)),
    told(BellSettled("upkeep:flares"), 1),
    told(EngineHours(12.5), 1),
    told(BellSnoozed("Soak:nine foot", AT + 2 * DAY), 1),
    told(BellSettled("soak:Nine Foot"), 2),
)


def test_the_last_word_about_a_bell_counts_however_its_name_is_written() -> None:
    """A snooze may be cut short; the first spelling stays."""
    book = HushBook()
    assert [book.take(entry, Worked()) for entry in ENTRIES] == [[]] * 5
    hushed = book.freeze()
    assert hushed.bells == (
        Hush("soak:Nine Foot", AT + 2 * DAY, AT + 2 * DAY),
        Hush("upkeep:flares", None, AT + DAY),
    )
    assert hushed.of("SOAK:NINE FOOT") == hushed.bells[0]
    assert hushed.of("soak:Ledge") is None


def test_what_stood_when_it_was_settled_is_kept_until_it_is_settled_again() -> None:
    book = HushBook()
    book.take(told(BellSettled("unset:Ledge", "latch Ledge 4; lid Ledge 5", 2)), Worked())
    first = book.freeze().of("unset:Ledge")
    assert first is not None
    assert (first.settled_causes, first.settled_level) == (("latch Ledge 4", "lid Ledge 5"), 2)
    book.take(told(BellSettled("unset:Ledge"), 1), Worked())
    assert book.freeze().bells == (Hush("unset:Ledge", None, AT + DAY),)


def test_going_on_from_what_was_kept_is_the_same_as_never_having_stopped() -> None:
    whole = HushBook()
    for entry in ENTRIES:
        whole.take(entry, Worked())
    for cut in range(len(ENTRIES) + 1):
        first = HushBook()
        for entry in ENTRIES[:cut]:
            first.take(entry, Worked())
        second = HushBook(first.freeze())
        for entry in ENTRIES[cut:]:
            second.take(entry, Worked())
        assert second.freeze() == whole.freeze()
