"""Bells and orders that a letter tells hold as long as the letter may arrive."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest
from sqlalchemy import func, select

from logbook import told
from soakbell.gear.fold import in_force
from soakbell.gear.hushed import RungBell
from soakbell.gear.log import BaitOrdered, LogEntry, TrapsSet, new_entry
from soakbell.store import letters
from soakbell.store.bells import forget_rung, rung_bells
from soakbell.store.engine import Store
from soakbell.store.letters import ClaimedRecipient, ClaimLost, WrittenLetter
from soakbell.store.log import all_entries, append_entries
from soakbell.store.schema import DueRow, OutboxRow

BOAT, ZONE, DAY = "Little Grebe", "America/New_York", date(2026, 12, 8)
NOW = datetime(2026, 12, 8, 16, 0, tzinfo=UTC)
END = NOW + timedelta(hours=20)
SOAK = RungBell("soak", "Nine Foot", "2026-12-01T13:00", 1)
WORSE = RungBell("soak", "Nine Foot", "2026-12-01T13:00", 2)
SUPPLIER, SKIPPER = "orders@example.org", "skipper@example.org"
ORDER = new_entry(
    BaitOrdered("mullet heads", 4.0),
    happened_at=NOW,
    told_at=NOW,
    told_by="order letter",
    key="order letter 2026-12-08 Bayside Bait mullet heads",
)


def tell(
    store: Store,
    turn: int = 1,
    rung: tuple[RungBell, ...] = (),
    entries: tuple[LogEntry, ...] = (),
    to: tuple[str, ...] = (SUPPLIER,),
    now: datetime = NOW,
) -> None:
    head = f"Message-ID: <{turn}@example.org>\r\nDate: Tue, 08 Dec 2026 11:00:00 -0500\r\n"
    letter = WrittenLetter("Bells", f"{head}\r\nx\r\n".encode(), to, None, rung=rung, entries=entries)
    with store.writing() as session:
        held = letters.open_turn(session, BOAT, "bells", DAY, turn, ZONE, NOW, END, 60)
        letters.write_letter(session, held, letter, now)


def rung(store: Store) -> frozenset[RungBell]:
    with store.reading() as session:
        return rung_bells(session, BOAT)


def counted(store: Store) -> list[LogEntry]:
    with store.reading() as session:
        return in_force(all_entries(session))


def expire(store: Store, at: datetime = END) -> None:
    with store.writing() as session:
        letters.expire_recipients(session, at)


def take(store: Store) -> tuple[str, tuple[ClaimedRecipient, ...]]:
    with store.writing() as session:
        (held,) = letters.claim_recipients(session, NOW, 10, 60)
    return held.token, held.recipients


def test_each_level_of_a_bell_is_on_record_with_its_letter(store: Store) -> None:
    tell(store, 1, (SOAK,))
    tell(store, 2, (WORSE, WORSE))
    assert rung(store) == {SOAK, WORSE}
    with store.reading() as session:
        assert rung_bells(session, "another boat") == frozenset()


def test_of_two_letters_that_tell_one_bell_the_second_is_not_written(store: Store) -> None:
    tell(store, 1, (SOAK,))
    with pytest.raises(ClaimLost, match="nothing was written"):
        tell(store, 2, (WORSE, SOAK), (ORDER,))
    assert rung(store) == {SOAK}
    assert counted(store) == []
    with store.reading() as session:
        assert session.scalar(select(func.count(DueRow.id))) == 1
        assert session.scalar(select(func.count(OutboxRow.id))) == 1


def test_a_bell_that_rings_again_is_marked_anew_by_one_letter_only(store: Store) -> None:
    tell(store, 1, (SOAK,))
    (mark,) = rung(store)
    assert mark.rung_at == NOW
    later = NOW + timedelta(hours=1)
    tell(store, 2, (mark,), now=later)
    assert [each.rung_at for each in rung(store)] == [later]
    with pytest.raises(ClaimLost, match="nothing was written"):
        tell(store, 3, (mark,), now=later)


def test_an_order_that_another_letter_told_is_not_told_again(store: Store) -> None:
    tell(store, 1, entries=(ORDER,))
    with pytest.raises(ClaimLost, match="told by another"):
        tell(store, 2, entries=(ORDER,))
    assert counted(store) == [ORDER]


def test_an_order_under_a_used_key_is_not_told(store: Store) -> None:
    with store.writing() as session:
        append_entries(session, [told(TrapsSet(), key=ORDER.key)])
    with pytest.raises(ClaimLost):
        tell(store, entries=(ORDER,), rung=(SOAK,))
    assert rung(store) == frozenset()


def test_bells_and_orders_of_a_letter_that_never_went_out_are_taken_back(store: Store) -> None:
    tell(store, rung=(SOAK,), entries=(ORDER,))
    expire(store, END - timedelta(seconds=1))
    assert rung(store) == {SOAK}
    expire(store)
    assert rung(store) == frozenset()
    assert counted(store)[0].kind.value == "correction"
    assert ORDER not in counted(store)
    expire(store, END + timedelta(hours=1))
    assert len(counted(store)) == 1
    tell(store, 2, rung=(SOAK,))
    assert rung(store) == {SOAK}


def test_one_address_that_accepted_is_enough(store: Store) -> None:
    tell(store, rung=(SOAK,), entries=(ORDER,), to=(SUPPLIER, SKIPPER))
    _token, (one, _other) = take(store)
    with store.writing() as session:
        letters.mark_accepted(session, one.recipient_id, "250 taken", NOW)
    expire(store)
    assert rung(store) == {SOAK}
    assert counted(store) == [ORDER]


def test_a_letter_refused_for_good_rings_again_after_its_time(store: Store) -> None:
    tell(store, rung=(SOAK,), entries=(ORDER,))
    token, (one,) = take(store)
    with store.writing() as session:
        letters.mark_refused(session, one.recipient_id, token, "550 no such address", NOW)
    expire(store, END - timedelta(hours=1))
    assert rung(store) == {SOAK}
    expire(store)
    assert rung(store) == frozenset()


def test_an_order_refused_for_good_is_void_at_once_and_known_as_never_sent(store: Store) -> None:
    """There may be time left to order by voice."""
    tell(store, entries=(ORDER,))
    token, (one,) = take(store)
    expire(store, NOW)
    assert counted(store) == [ORDER]
    with store.writing() as session:
        letters.mark_refused(session, one.recipient_id, token, "550 no such address", NOW)
    at = NOW + timedelta(seconds=20)
    expire(store, at)
    assert ORDER not in counted(store)
    with store.reading() as session:
        assert letters.taken_back(session, at) == ((ORDER, at),)
        assert letters.taken_back(session, at + timedelta(seconds=1)) == ()


def test_an_order_that_may_have_gone_out_stands_though_its_bell_rings_again(store: Store) -> None:
    """A second order for the same bait costs more than a look at the letter."""
    tell(store, rung=(SOAK,), entries=(ORDER,))
    token, (one,) = take(store)
    with store.writing() as session:
        letters.mark_unsure(session, one.recipient_id, token, "cut off after DATA", NOW, None)
    expire(store)
    assert rung(store) == frozenset()
    assert counted(store) == [ORDER]


def test_old_bells_are_forgotten_and_letters_before_them_leave_no_gap(store: Store) -> None:
    tell(store, rung=(SOAK,))
    _token, (one,) = take(store)
    year_on = NOW + timedelta(days=400)
    with store.writing() as session:
        letters.mark_accepted(session, one.recipient_id, "250 taken", NOW)
        assert letters.forget_letters(session, year_on) == 1
        letters.expire_recipients(session, year_on)
        assert rung_bells(session, BOAT) == {SOAK}
        assert forget_rung(session, NOW) == 0
        assert forget_rung(session, year_on) == 1
        assert rung_bells(session, BOAT) == frozenset()
