"""What the keeper holds is what the whole log folds to, however the log grew."""

from __future__ import annotations

import threading
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlalchemy import text
from sqlalchemy.orm import Session

from logbook import FIRST, STRINGS, correction_of, hours, logs, told
from soakbell.errors import LogRefused, StoreError
from soakbell.gear.books import fold_books
from soakbell.gear.fold import Whereabouts, fold
from soakbell.gear.log import OF_CALL, OF_TRAPS, BaitBought, BroughtAshore, EntryKind, LogEntry, Pulled, TrapsSet
from soakbell.gear.log_check import check_entries
from soakbell.gear.trap_states import Order
from soakbell.store import log as stored_log
from soakbell.store import log_keeper
from soakbell.store.engine import Store, open_store
from soakbell.store.log import Unread, all_entries, append_entries, newest_seq, pages_up_to, take_entries
from soakbell.store.log_keeper import LogKeeper, fold_up_to
from soakbell.store.upgrade import migrate

SET = told(TrapsSet())
PULL = told(Pulled(legal_claws=31), 100)


@pytest.fixture
def read(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """How many entries were read each time that the log was folded again."""
    times: list[int] = []

    def counted(store: Store, seq: int, after: Order | None = None) -> list[list[tuple[int, LogEntry | Unread]]]:
        pages = list(pages_up_to(store, seq, after))
        times.append(sum(map(len, pages)))
        return pages

    monkeypatch.setattr(log_keeper, "pages_up_to", counted)
    return times


def put(store: Store, *entries: LogEntry) -> None:
    with store.writing() as session:
        append_entries(session, entries)


def stored(store: Store) -> list[LogEntry]:
    with store.reading() as session:
        return all_entries(session)


def test_an_empty_log_is_kept_as_gear_that_was_never_set(store: Store, read: list[int]) -> None:
    keeper = LogKeeper(store, STRINGS)
    kept = keeper.now()
    assert (kept.entries, kept.seq, kept.gear) == (0, 0, fold([], STRINGS))
    put(store, SET)
    assert keeper.now().gear.strings["Nine Foot"].places(Whereabouts.FISHING) == (1, 2, 3, 4)
    assert read == [0]


def test_what_is_told_in_time_is_only_added(store: Store, read: list[int]) -> None:
    keeper = LogKeeper(store, STRINGS)
    put(store, SET)
    first = keeper.now()
    assert keeper.now() is first
    put(store, PULL, told(BaitBought("mullet heads", 4.0, cost_usd=120.0), 101, string=None))
    put(store, told(TrapsSet(), 102, string="Ledge"))
    kept = keeper.now()
    assert (kept.gear, kept.books) == fold_books(stored(store), STRINGS)
    assert (kept.entries, kept.seq) == (4, 4)
    assert read == [1]


def test_news_told_out_of_order_in_one_go_are_put_in_order(store: Store, read: list[int]) -> None:
    keeper = LogKeeper(store, STRINGS)
    keeper.now()
    put(store, PULL, SET)
    assert keeper.now().gear == fold([SET, PULL], STRINGS)
    assert read == [0]


@pytest.mark.parametrize("late", [told(TrapsSet(), 50, string="Ledge"), correction_of(SET, 101)])
def test_a_late_entry_or_a_correction_has_the_log_folded_anew(
    store: Store, read: list[int], late: LogEntry
) -> None:
    keeper = LogKeeper(store, STRINGS)
    put(store, SET, PULL)
    keeper.now()
    put(store, late)
    kept = keeper.now()
    assert (kept.gear, kept.books) == fold_books([SET, PULL, late], STRINGS)
    assert kept.entries == 3
    assert read == [2, 3]


@pytest.mark.parametrize("void", [False, True])
def test_what_is_late_by_a_day_costs_only_the_latest_entries(
    store: Store, read: list[int], monkeypatch: pytest.MonkeyPatch, void: bool
) -> None:
    monkeypatch.setattr(log_keeper, "TAIL", 10)
    keeper = LogKeeper(store, STRINGS)
    put(store, SET, *(told(Pulled(legal_claws=n), 100 + n) for n in range(50)))
    keeper.now()
    latest = stored(store)[-3]
    put(store, correction_of(latest, 200) if void else told(TrapsSet(), 146.5, string="Ledge"))
    kept = keeper.now()
    assert (kept.gear, kept.books) == fold_books(stored(store), STRINGS)
    put(store, told(TrapsSet(), 50, string="Ledge", traps=(2,)))
    kept = keeper.now()
    assert (kept.gear, kept.books) == fold_books(stored(store), STRINGS)
    assert read == [51, 11, 53]


@pytest.mark.parametrize("also", [(), (told(BaitBought("mullet heads", 4.0), 200, string=None),)])
def test_what_another_process_stores_between_two_looks_at_the_log_is_never_passed_over(
    store: Store, monkeypatch: pytest.MonkeyPatch, also: tuple[LogEntry, ...]
) -> None:
    """An old line is imported while a late one has the log folded again."""
    monkeypatch.setattr(log_keeper, "TAIL", 10)
    keeper = LogKeeper(store, STRINGS)
    put(store, SET, *(told(Pulled(legal_claws=n), 100 + n) for n in range(50)))
    keeper.now()
    put(store, told(TrapsSet(), 146.5, string="Ledge"))

    def overtaken(session: Session) -> int:
        monkeypatch.setattr(log_keeper, "newest_seq", newest_seq)
        put(store, told(BroughtAshore(), 50), *also)
        return newest_seq(session)

    monkeypatch.setattr(log_keeper, "newest_seq", overtaken)
    kept = keeper.now()
    assert kept.gear.strings["Nine Foot"].places(Whereabouts.FISHING) == ()
    assert (kept.gear, kept.books) == fold_books(stored(store), STRINGS)
    assert kept.entries == len(stored(store))


def test_a_fold_that_misses_an_entry_is_begun_again(
    store: Store, read: list[int], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(log_keeper, "TAIL", 10)
    keeper = LogKeeper(store, STRINGS)
    put(store, SET, *(told(Pulled(legal_claws=n), 100 + n) for n in range(50)))
    keeper.now()
    put(store, told(BroughtAshore(), 50))
    monkeypatch.setattr(LogKeeper, "_holds", lambda *_: True)
    assert keeper.now().gear == fold(stored(store), STRINGS)
    assert read == [51, 10, 52]


def test_an_entry_of_long_ago_that_counts_again_has_the_log_folded_from_its_beginning(
    store: Store, read: list[int], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(log_keeper, "TAIL", 4)
    keeper = LogKeeper(store, STRINGS)
    wrong = correction_of(SET, 200)
    put(store, SET, *(told(Pulled(), 100 + n) for n in range(20)), wrong)
    assert keeper.now().gear.strings["Nine Foot"].places(Whereabouts.FISHING) == ()
    put(store, correction_of(wrong, 201))
    assert keeper.now().gear.strings["Nine Foot"].places(Whereabouts.FISHING) == (1, 2, 3, 4)
    assert read == [22, 23]


def test_the_base_moves_on_with_the_log(store: Store, read: list[int], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(log_keeper, "TAIL", 5)
    keeper = LogKeeper(store, STRINGS)
    put(store, SET)
    for n in range(40):
        put(store, told(Pulled(), n + 1))
        kept = keeper.now()
    assert (kept.gear, kept.books) == fold_books(stored(store), STRINGS)
    assert max(read) <= 11
    assert len(read) < 10


def test_the_traps_as_they_were_known_leave_out_what_was_stored_later(store: Store) -> None:
    put(store, SET, PULL)
    put(store, correction_of(SET, 101), told(TrapsSet(), 50, string="Ledge"))
    assert fold_up_to(store, STRINGS, 2) == (fold([SET, PULL], STRINGS), 2)
    assert fold_up_to(store, STRINGS, 4) == (fold(stored(store), STRINGS), 4)


def test_a_great_import_is_read_page_by_page(
    store: Store, read: list[int], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(log_keeper, "MOST_NEWS", 5)
    keeper = LogKeeper(store, STRINGS)
    put(store, SET)
    keeper.now()
    put(store, *(told(Pulled(), 10 + n) for n in range(5)))
    assert keeper.now().gear == fold(stored(store), STRINGS)
    assert read == [1, 6]


def test_another_database_in_its_place_is_noticed(store: Store, tmp_path: Path, read: list[int]) -> None:
    keeper = LogKeeper(store, STRINGS)
    put(store, SET)
    keeper.now()
    store.close()
    (tmp_path / "soakbell.db").unlink()
    migrate(store)
    put(store, told(TrapsSet(), string="Ledge"))
    assert keeper.now().gear == fold(stored(store), STRINGS)
    assert len(read) == 2


def test_a_row_that_cannot_be_read_is_told_every_time_and_never_passed_over(store: Store) -> None:
    keeper = LogKeeper(store, STRINGS)
    put(store, SET)
    keeper.now()
    with store.writing() as session:
        session.execute(
            text(
                "INSERT INTO log_entry (id, key, kind, happened_at, told_at, told_by, detail, seq) "
                "VALUES ('odd', 'odd', 'dance', '2026-11-05 12:00:00', '2026-11-05 12:00:00', 'cli', '{}', 2)"
            )
        )
    for _ in range(2):
        with pytest.raises(StoreError, match="log entry odd"):
            keeper.now()


def put_broken(store: Store, kind: str, detail: str, voids: str | None = None) -> None:
    """A row as a damaged file may hold it, the newest by its moment and its number."""
    with store.writing() as session:
        session.execute(
            text(
                "INSERT INTO log_entry (id, key, kind, happened_at, told_at, told_by, detail, voids, seq) "
                "SELECT 'broken', 'broken', :kind, '2026-11-20 12:00:00', '2026-11-20 12:00:00', 'cli', :detail, "
                ":voids, max(seq) + 1 FROM log_entry"
            ),
            {"kind": kind, "detail": detail, "voids": voids},
        )


LACKS_BOXES = '{"traps": [], "note": "", "of_kind": {"bait": "cowhide"}}'
NO_JSON = '{"traps": [], "no'


@pytest.mark.parametrize("detail", [LACKS_BOXES, NO_JSON, "[]", "null"])
@pytest.mark.parametrize("kind", sorted(set(EntryKind) - OF_CALL))
def test_a_row_of_the_books_that_cannot_be_read_closes_them_and_costs_no_trap(
    store: Store, kind: EntryKind, detail: str
) -> None:
    keeper = LogKeeper(store, STRINGS)
    put(store, SET)
    keeper.now()
    put_broken(store, kind, detail)
    for one in (keeper, LogKeeper(store, STRINGS)):
        kept = one.now()
        assert kept.gear.strings["Nine Foot"].places(Whereabouts.FISHING) == (1, 2, 3, 4)
        assert kept.books is None
        assert "log entry broken can't be read" in (kept.fault or "")
        assert kept.entries == 2
    assert fold_up_to(store, STRINGS, 2)[1] == 2
    put(store, told(Pulled(reset=False), 700))
    kept = keeper.now()
    assert kept.gear.strings["Nine Foot"].places(Whereabouts.ABOARD) == (1, 2, 3, 4)
    assert (kept.books, kept.entries) == (None, 3)


@pytest.mark.parametrize(
    ("kind", "voids"),
    [
        *((kind, None) for kind in sorted(OF_TRAPS)),
        (EntryKind.PINNED, None),
        (EntryKind.BARRED, None),
        pytest.param(EntryKind.CORRECTION, SET.id, id="correction"),
    ],
)
def test_a_row_of_traps_a_wish_or_a_correction_that_cannot_be_read_stops_everything(
    store: Store, kind: EntryKind, voids: str | None
) -> None:
    put(store, SET)
    put_broken(store, kind, NO_JSON, voids)
    with pytest.raises(StoreError, match="log entry broken"):
        LogKeeper(store, STRINGS).now()


def test_a_broken_row_that_a_correction_voids_opens_the_books_again(store: Store) -> None:
    keeper = LogKeeper(store, STRINGS)
    put(store, SET)
    put_broken(store, EntryKind.BAIT_BOUGHT, LACKS_BOXES)
    assert keeper.now().books is None
    at = FIRST + hours(700)
    void = '{"traps": [], "note": "", "of_kind": {"reason": "damaged"}}'
    with store.writing() as session:
        session.execute(
            text(
                "INSERT INTO log_entry (id, key, kind, happened_at, told_at, told_by, detail, voids, seq) "
                "VALUES ('void', 'void', 'correction', :at, :at, 'cli', :detail, 'broken', 3)"
            ),
            {"at": f"{at:%Y-%m-%d %H:%M:%S}", "detail": void},
        )
    for one in (keeper, LogKeeper(store, STRINGS)):
        kept = one.now()
        assert kept.books is not None
        assert kept.fault is None


def test_a_book_that_fails_leaves_the_traps_and_says_why(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    def slip(*_: object) -> None:
        raise ZeroDivisionError("slip")

    monkeypatch.setattr("soakbell.gear.bait_lots.BaitBook.take", slip)
    keeper = LogKeeper(store, STRINGS)
    put(store, SET)
    for entries in ([SET], [SET, PULL]):
        kept = keeper.now()
        assert kept.books is None
        assert "slip" in (kept.fault or "")
        assert kept.gear == fold(entries, STRINGS)
        put(store, PULL)


def test_threads_that_look_at_once_see_one_state(store: Store) -> None:
    keeper = LogKeeper(store, STRINGS)
    put(store, SET)
    seen: list[int] = []

    def look() -> None:
        for _ in range(20):
            seen.append(keeper.now().entries)

    threads = [threading.Thread(target=look) for _ in range(4)]
    for thread in threads:
        thread.start()
    for n in range(10):
        put(store, told(Pulled(), 10 + n))
    for thread in threads:
        thread.join()
    assert len(seen) == 80
    kept = keeper.now()
    assert (kept.entries, kept.gear) == (11, fold(stored(store), STRINGS))


@st.composite
def grown_logs(draw: st.DrawFn) -> list[list[LogEntry]]:
    """A log with corrections, some of corrections, in the parts in which it was stored."""
    entries = draw(logs(corrections=3))
    cuts = sorted(draw(st.lists(st.integers(0, len(entries)), max_size=3)))
    return [entries[start:end] for start, end in zip([0, *cuts], [*cuts, len(entries)], strict=True)]


@given(parts=grown_logs(), page=st.integers(1, 4), tail=st.integers(1, 4))
@settings(max_examples=80, deadline=None)
def test_however_the_log_grew_the_keeper_holds_what_all_of_it_folds_to(
    parts: list[list[LogEntry]], page: int, tail: int
) -> None:
    store = open_store("sqlite://")
    migrate(store)
    keeper = LogKeeper(store, STRINGS)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(stored_log, "_PAGE", page)
        patch.setattr(log_keeper, "TAIL", tail)
        for part in parts:
            put(store, *part)
            kept, whole = keeper.now(), stored(store)
            assert (kept.gear, kept.books) == fold_books(whole, STRINGS)
            assert kept.gear == fold(whole, STRINGS)
            assert (kept.entries, kept.seq) == (len(whole), len(whole))
    store.close()


@given(parts=grown_logs())
@settings(max_examples=40, deadline=None)
def test_entries_are_weighed_as_beside_the_whole_log(parts: list[list[LogEntry]]) -> None:
    """What is read of the log for a check is enough for it."""
    store = open_store("sqlite://")
    migrate(store)
    *before, new = parts
    for part in before:
        put(store, *part)
    now = FIRST + hours(1000)
    wanted = check_entries(new, stored(store), STRINGS, now)
    if wanted:
        with pytest.raises(LogRefused) as refused:
            take_entries(store, new, STRINGS, now)
        assert refused.value.faults == wanted
    else:
        assert take_entries(store, new, STRINGS, now).written == tuple(new)
    store.close()


def test_entries_are_weighed_again_when_the_log_grew_meanwhile(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two tell the same pull at once, under two keys: the one that comes second is refused."""
    put(store, SET)
    weighed: list[int] = []

    def overtaken(*what: object, **more: object) -> object:
        found = check_entries(*what, **more)  # type: ignore[arg-type]
        if not weighed:
            put(store, PULL)
        weighed.append(len(found))
        return found

    monkeypatch.setattr(stored_log, "check_entries", overtaken)
    again = replace(PULL, id="again", key="again")
    with pytest.raises(LogRefused, match="same traps"):
        take_entries(store, [again], STRINGS, FIRST + hours(200))
    assert weighed == [0, 1]
    assert stored(store) == [SET, PULL]
