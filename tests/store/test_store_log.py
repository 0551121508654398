"""The log in the database."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from sqlalchemy import text
from sqlalchemy.exc import IntegrityError

from logbook import NOW, STRINGS, correction_of, logs, told
from soakbell.errors import LogRefused, StoreError
from soakbell.gear.log import Correction, LogEntry, Pulled, TrapsSet
from soakbell.store.engine import Store, open_store
from soakbell.store.log import (
    all_entries,
    append_entries,
    entries_keyed,
    take_entries,
    told_before,
    voided_among,
)
from soakbell.store.upgrade import migrate

SET = told(TrapsSet())
PULL = told(Pulled(legal_claws=31, lb_by_grade=(("jumbo", 2.5), ("large", 7.0))), 100, traps=(1, 3))


def stored(store: Store) -> list[LogEntry]:
    with store.reading() as session:
        return all_entries(session)


def test_entries_come_back_as_they_went_in_the_order_things_happened(store: Store) -> None:
    with store.writing() as session:
        done = append_entries(session, [PULL, SET])
    assert (done.written, done.known) == ((PULL, SET), ())
    assert stored(store) == [SET, PULL]


def test_telling_an_entry_again_changes_nothing(store: Store) -> None:
    with store.writing() as session:
        append_entries(session, [SET, PULL])
    again = replace(PULL, id="another", told_at=NOW, told_by="phone")
    with store.writing() as session:
        done = append_entries(session, [again, SET, SET])
    assert (done.written, done.known) == ((), (PULL, SET, SET))
    assert stored(store) == [SET, PULL]


def test_the_same_entry_twice_in_one_batch_is_written_once(store: Store) -> None:
    with store.writing() as session:
        done = append_entries(session, [SET, replace(SET, id="another")])
    assert (done.written, done.known) == ((SET,), (SET,))


@pytest.mark.parametrize("change", [{"id": "another"}, {"key": "another"}], ids=["key", "id"])
def test_another_story_under_a_used_key_or_id_stops_the_whole_batch(store: Store, change: dict[str, str]) -> None:
    with store.writing() as session:
        append_entries(session, [SET])
    other = replace(SET, detail=Pulled(), **change)  # type: ignore[arg-type]
    with pytest.raises(LogRefused, match="other content"), store.writing() as session:
        append_entries(session, [PULL, other])
    assert stored(store) == [SET]


def test_a_correction_of_nothing_is_refused(store: Store) -> None:
    with pytest.raises(LogRefused, match="not in the log"), store.writing() as session:
        append_entries(session, [SET, told(Correction("nobody", "slip"), 1)])
    assert stored(store) == []


def test_a_correction_may_stand_before_its_entry_in_a_batch(store: Store) -> None:
    wrong = correction_of(PULL, 101)
    with store.writing() as session:
        append_entries(session, [wrong, PULL])
    assert stored(store) == [PULL, wrong]


@pytest.mark.parametrize("act", ["UPDATE log_entry SET told_by = 'x'", "DELETE FROM log_entry"])
def test_no_entry_is_ever_changed_or_removed(store: Store, act: str) -> None:
    with store.writing() as session:
        append_entries(session, [SET])
    with pytest.raises(IntegrityError, match="append-only"), store.writing() as session:
        session.execute(text(act))
    assert stored(store) == [SET]


def test_checked_entries_are_taken_all_or_none(store: Store) -> None:
    assert take_entries(store, [SET], STRINGS, NOW).written == (SET,)
    with pytest.raises(LogRefused) as refused:
        take_entries(store, [PULL, told(Pulled(), string="Lodge"), told(TrapsSet(), 5)], STRINGS, NOW)
    assert [fault.key for fault in refused.value.faults] == ["string", "traps"]
    assert stored(store) == [SET]
    assert take_entries(store, [PULL], STRINGS, NOW).written == (PULL,)
    assert take_entries(store, [PULL], STRINGS, NOW).known == (PULL,)


def test_a_row_that_cannot_be_read_is_told_by_its_id(store: Store) -> None:
    with store.writing() as session:
        session.execute(
            text(
                "INSERT INTO log_entry (id, key, kind, happened_at, told_at, told_by, detail, seq) "
                "VALUES ('odd', 'odd', 'dance', '2026-11-01 12:00:00', '2026-11-01 12:00:00', 'cli', '{}', 1)"
            )
        )
    with pytest.raises(StoreError, match="log entry odd"):
        stored(store)


def test_many_entries_go_in_at_once(store: Store) -> None:
    many = [replace(PULL, id=str(number), key=f"key {number}") for number in range(2000)]
    with store.writing() as session:
        append_entries(session, many)
    with store.writing() as session:
        assert len(append_entries(session, many).known) == 2000


@given(entries=logs())
@settings(max_examples=30, deadline=None)
def test_whatever_is_told_is_read_back_equal(entries: list[LogEntry]) -> None:
    store = open_store("sqlite://")
    migrate(store)
    with store.writing() as session:
        append_entries(session, entries)
    assert stored(store) == sorted(entries, key=lambda entry: entry.order)
    store.close()


def test_the_log_is_read_page_by_page_the_last_told_first(store: Store) -> None:
    many = [replace(PULL, id=str(number), key=f"key {number}") for number in range(5)]
    with store.writing() as session:
        append_entries(session, many)
    with store.reading() as session:
        first = told_before(session, 3)
        rest = told_before(session, 3, first[-1][0])
    assert [entry.id for _, entry in (*first, *rest)] == ["4", "3", "2", "1", "0"]


def test_what_was_undone_counts_again_once_its_correction_is_undone(store: Store) -> None:
    wrong = correction_of(PULL, 101)
    again = told(Correction(wrong.id, "it was right"), 102)
    with store.writing() as session:
        append_entries(session, [SET, PULL, wrong])
    with store.reading() as session:
        assert voided_among(session, [SET.id, PULL.id, wrong.id]) == {PULL.id}
    with store.writing() as session:
        append_entries(session, [again])
    with store.reading() as session:
        assert voided_among(session, [SET.id, PULL.id]) == frozenset()
        assert voided_among(session, [wrong.id]) == {wrong.id}
        assert entries_keyed(session, [PULL.key, "nobody's"]) == [PULL]


def test_faults_call_an_entry_as_they_are_asked_to(store: Store) -> None:
    wrong = told(Pulled(), string="Lodge")
    with pytest.raises(LogRefused) as refused:
        take_entries(store, [wrong], STRINGS, NOW, labels={wrong.id: "the pull"})
    assert {fault.where for fault in refused.value.faults} == {"the pull"}
