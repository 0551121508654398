"""The life of a letter in the database: due, claimed, written, sent or expired (S5, S12, M4 to M6)."""

from __future__ import annotations

import threading
from datetime import UTC, date, datetime, timedelta

import pytest
from sqlalchemy import func, select

from soakbell.errors import StoreError
from soakbell.store import letters
from soakbell.store.engine import Store
from soakbell.store.letters import CallRecord, ClaimLost, DueClaim, WrittenLetter
from soakbell.store.schema import CallRow, DueRow, OutboxRow, RecipientRow

BOAT, ZONE = "Little Grebe", "America/New_York"
DAY = date(2026, 12, 8)
DUE = datetime(2026, 12, 8, 9, 30, tzinfo=UTC)
NOON = datetime(2026, 12, 8, 17, 0, tzinfo=UTC)
MINUTE = timedelta(minutes=1)
SKIPPER, MATE = "skipper@example.org", "mate@example.org"


def ensure(store: Store, kind: str = "morning", due: datetime = DUE, useless: datetime = NOON) -> bool:
    with store.writing() as session:
        return letters.ensure_due(session, BOAT, kind, DAY, 0, ZONE, due, useless)


def claim(store: Store, now: datetime = DUE, lease_s: float = 60.0) -> DueClaim | None:
    with store.writing() as session:
        return letters.claim_due(session, BOAT, now, lease_s)


def letter(name: str = "one", recipients: tuple[str, ...] = (SKIPPER, MATE)) -> WrittenLetter:
    head = f"Message-ID: <{name}@example.org>\r\nDate: Tue, 08 Dec 2026 09:30:00 +0000\r\n"
    call = CallRecord("WAIT", DUE, {"why": "sea"}, [{"kind": "zone text"}], "0.1.0", "2026b")
    return WrittenLetter("WAIT", f"{head}Subject: WAIT\r\n\r\nWAIT\r\n".encode(), recipients, call)


def write(store: Store, held: DueClaim, now: datetime = DUE, **what: object) -> int:
    with store.writing() as session:
        return letters.write_letter(session, held, letter(**what), now)  # type: ignore[arg-type]


def written(store: Store, **what: object) -> int:
    ensure(store)
    held = claim(store)
    assert held is not None
    return write(store, held, **what)


def take(store: Store, now: datetime = DUE, lease_s: float = 60.0) -> tuple[letters.ClaimedLetter, ...]:
    with store.writing() as session:
        return letters.claim_recipients(session, now, 10, lease_s)


def due_row(store: Store) -> DueRow:
    with store.reading() as session:
        return session.scalars(select(DueRow)).one()


def address_row(store: Store, address: str = SKIPPER) -> RecipientRow:
    with store.reading() as session:
        return session.scalars(select(RecipientRow).where(RecipientRow.address == address)).one()


# ---- due letters


def test_a_letter_is_due_once_however_often_it_is_ensured(store: Store) -> None:
    """S12."""
    assert [ensure(store) for _ in range(3)] == [True, False, False]
    assert due_row(store).state == "due"


def test_new_zone_data_moves_a_letter_that_nobody_has_begun(store: Store) -> None:
    """S9."""
    ensure(store)
    ensure(store, due=DUE + 60 * MINUTE)
    assert due_row(store).due_at == DUE + 60 * MINUTE


def test_a_letter_in_hand_keeps_its_times(store: Store) -> None:
    ensure(store)
    claim(store)
    ensure(store, due=DUE + 60 * MINUTE)
    assert due_row(store).due_at == DUE


def test_a_letter_is_claimed_only_when_due_and_of_use(store: Store) -> None:
    ensure(store)
    assert claim(store, DUE - timedelta(seconds=1)) is None
    assert claim(store, NOON) is None
    held = claim(store, DUE)
    assert held is not None
    assert (held.boat, held.kind, held.day, held.turn, held.tries) == (BOAT, "morning", DAY, 0, 1)


def test_another_boats_letter_is_left_alone(store: Store) -> None:
    ensure(store)
    with store.writing() as session:
        assert letters.claim_due(session, "Other", DUE, 60) is None


def test_a_claimed_letter_is_free_again_only_when_the_lease_ran_out(store: Store) -> None:
    """S12."""
    ensure(store)
    first = claim(store, DUE, lease_s=60)
    assert first is not None
    assert claim(store, DUE + timedelta(seconds=59)) is None
    second = claim(store, DUE + timedelta(seconds=60))
    assert second is not None
    assert second.token != first.token
    assert second.tries == 2


def test_a_lease_can_be_renewed_while_the_work_goes_on(store: Store) -> None:
    ensure(store)
    held = claim(store, DUE, lease_s=60)
    assert held is not None
    with store.writing() as session:
        assert letters.extend_due(session, held, DUE + 5 * MINUTE)
    assert claim(store, DUE + 2 * MINUTE) is None
    assert claim(store, DUE + 5 * MINUTE) is not None
    with store.writing() as session:
        assert not letters.extend_due(session, held, DUE + 9 * MINUTE)


def test_a_lease_set_by_a_clock_that_ran_ahead_does_not_hold_a_letter(store: Store) -> None:
    """W11: the claim was made at 14:00 by mistake; at 09:31 it lies too far ahead to be true."""
    ensure(store)
    assert claim(store, DUE + timedelta(hours=5)) is not None
    assert claim(store, DUE + MINUTE) is not None


def test_many_claimers_at_once_get_the_letter_once(store: Store) -> None:
    """S5."""
    ensure(store)
    won: list[DueClaim] = []
    start = threading.Barrier(6)

    def run() -> None:
        start.wait()
        held = claim(store)
        if held is not None:
            won.append(held)

    threads = [threading.Thread(target=run) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(won) == 1


def test_the_longest_due_letter_comes_first(store: Store) -> None:
    ensure(store)
    ensure(store, kind="eve", due=DUE - 60 * MINUTE)
    held = claim(store)
    assert held is not None
    assert held.kind == "eve"


# ---- writing


def test_text_addresses_call_and_state_are_stored_together(store: Store) -> None:
    """S12: the decision and the letter are one transaction."""
    outbox_id = written(store)
    assert due_row(store).state == "written"
    with store.reading() as session:
        outbox = session.get_one(OutboxRow, outbox_id)
        call = session.scalars(select(CallRow)).one()
        assert (outbox.message_id, outbox.kind, outbox.useless_at) == ("<one@example.org>", "morning", NOON)
        assert (call.boat, call.day, call.word, call.detail, call.tz_version) == (
            BOAT,
            DAY,
            "WAIT",
            {"why": "sea"},
            "2026b",
        )
    assert address_row(store, MATE).state == "waiting"


def test_a_lost_claim_writes_nothing(store: Store) -> None:
    """S12."""
    ensure(store)
    first = claim(store, DUE, lease_s=1)
    second = claim(store, DUE + MINUTE)
    assert first is not None
    assert second is not None
    with pytest.raises(ClaimLost):
        write(store, first, name="first")
    write(store, second, name="second")
    with store.reading() as session:
        assert session.scalars(select(OutboxRow.message_id)).all() == ["<second@example.org>"]
        assert session.scalar(select(func.count(CallRow.id))) == 1


@pytest.mark.parametrize(
    "broken",
    [
        WrittenLetter("WAIT", b"Subject: WAIT\r\n\r\nWAIT\r\n", (SKIPPER,), None),
        WrittenLetter("WAIT", b"Message-ID: <a@b>\r\nSubject: WAIT\r\n\r\nWAIT\r\n", (SKIPPER,), None),
        WrittenLetter("WAIT", letter().message, (), None),
    ],
)
def test_a_letter_without_name_date_or_address_is_refused_whole(store: Store, broken: WrittenLetter) -> None:
    """M6."""
    ensure(store)
    held = claim(store)
    assert held is not None
    with pytest.raises(StoreError, match="a letter needs"), store.writing() as session:
        letters.write_letter(session, held, broken, DUE)
    assert due_row(store).state == "claimed"


def test_a_failed_writer_leaves_the_reason_and_the_next_moment(store: Store) -> None:
    ensure(store)
    held = claim(store)
    assert held is not None
    with store.writing() as session:
        letters.fail_due(session, held, "the grid was cut short", DUE + 2 * MINUTE)
    assert due_row(store).last_fault == "the grid was cut short"
    assert claim(store, DUE + MINUTE) is None
    again = claim(store, DUE + 2 * MINUTE)
    assert again is not None
    assert again.tries == 2


def test_the_turns_of_changed_calls_count_up_and_are_made_once(store: Store) -> None:
    with store.writing() as session:
        assert letters.next_turn(session, BOAT, "changed", DAY) == 1
        held = letters.open_turn(session, BOAT, "changed", DAY, 1, ZONE, DUE, NOON, 60)
        assert letters.next_turn(session, BOAT, "changed", DAY) == 2
    with pytest.raises(ClaimLost), store.writing() as session:
        letters.open_turn(session, BOAT, "changed", DAY, 1, ZONE, DUE, NOON, 60)
    write(store, held)
    assert due_row(store).state == "written"


# ---- expiry


def test_a_letter_nobody_wrote_expires_with_the_reason_on_record(store: Store) -> None:
    """S8, M5."""
    ensure(store)
    with store.writing() as session:
        assert letters.expire_due(session, NOON - MINUTE) == ()
        (gone,) = letters.expire_due(session, NOON)
    assert (gone.kind, gone.day, gone.address) == ("morning", DAY, None)
    assert "the service was not running" in gone.reason
    assert due_row(store).state == "expired"
    with store.reading() as session:
        assert letters.expired_since(session, BOAT, DUE) == (gone,)
        assert letters.expired_since(session, BOAT, NOON) == ()


def test_a_letter_in_hand_is_not_expired_under_the_writer(store: Store) -> None:
    ensure(store)
    held = claim(store, NOON - MINUTE, lease_s=120)
    assert held is not None
    with store.writing() as session:
        assert letters.expire_due(session, NOON) == ()
        assert len(letters.expire_due(session, NOON + 2 * MINUTE)) == 1


def test_an_address_never_reached_expires_with_a_record_for_the_next_letter(store: Store) -> None:
    """M5."""
    written(store, recipients=(SKIPPER,))
    with store.writing() as session:
        assert letters.expire_recipients(session, NOON) == 1
        assert letters.claim_recipients(session, NOON, 10, 60) == ()
        (gone,) = letters.expired_since(session, BOAT, DUE)
    assert (gone.address, gone.reason) == (SKIPPER, "the mail server was not reached in time")


def test_an_address_whose_sender_died_at_the_end_expires_as_unknown(store: Store) -> None:
    """M6."""
    written(store, recipients=(SKIPPER,))
    take(store, NOON - MINUTE, lease_s=60)
    with store.writing() as session:
        assert letters.expire_recipients(session, NOON - timedelta(seconds=1)) == 0
        assert letters.expire_recipients(session, NOON) == 1
    row = address_row(store)
    assert (row.state, row.unsure) == ("expired", 1)
    assert "sent or not, unknown" in (row.last_reply or "")


# ---- outbox


def test_waiting_addresses_of_a_letter_are_taken_together_and_once(store: Store) -> None:
    """M4, S5."""
    outbox_id = written(store)
    (batch,) = take(store)
    assert batch.outbox_id == outbox_id
    assert [(to.address, to.tries) for to in batch.recipients] == [(SKIPPER, 1), (MATE, 1)]
    assert take(store) == ()


def test_accepted_is_marked_only_by_the_servers_answer_and_lasts(store: Store) -> None:
    """M6."""
    written(store)
    (batch,) = take(store)
    with store.writing() as session:
        letters.mark_accepted(session, batch.recipients[0].recipient_id, "250 kept", DUE + MINUTE)
    assert address_row(store).state == "accepted"
    assert address_row(store, MATE).state == "trying"
    with store.reading() as session:
        assert letters.last_accepted_at(session) == DUE + MINUTE
    (rest,) = take(store, DUE + 5 * MINUTE)
    assert [to.address for to in rest.recipients] == [MATE]


def test_a_250_counts_even_when_the_claim_was_lost_meanwhile(store: Store) -> None:
    """M6."""
    written(store, recipients=(SKIPPER,))
    (first,) = take(store)
    take(store, DUE + 2 * MINUTE)
    with store.writing() as session:
        letters.mark_accepted(session, first.recipients[0].recipient_id, "250 kept", DUE + 3 * MINUTE)
    assert take(store, DUE + 10 * MINUTE) == ()


def test_a_refused_address_is_final_and_in_trouble(store: Store) -> None:
    """M4."""
    written(store)
    (batch,) = take(store)
    skipper, mate = batch.recipients
    with store.writing() as session:
        letters.mark_accepted(session, skipper.recipient_id, "250 kept", DUE)
        letters.mark_refused(session, mate.recipient_id, batch.token, "550 no such mailbox", DUE)
        (trouble,) = letters.addresses_in_trouble(session)
    assert (trouble.address, trouble.state, trouble.reply) == (MATE, "refused", "550 no such mailbox")
    assert take(store, DUE + 60 * MINUTE) == ()


def test_trouble_is_over_when_the_next_letter_is_accepted(store: Store) -> None:
    written(store, recipients=(SKIPPER,))
    (batch,) = take(store)
    with store.writing() as session:
        letters.mark_refused(session, batch.recipients[0].recipient_id, batch.token, "550 no", DUE)
        held = letters.open_turn(session, BOAT, "changed", DAY, 1, ZONE, DUE, NOON, 60)
    write(store, held, name="two", recipients=(SKIPPER,))
    with store.reading() as session:
        assert len(letters.addresses_in_trouble(session)) == 1
    (batch,) = take(store)
    with store.writing() as session:
        letters.mark_accepted(session, batch.recipients[0].recipient_id, "250 kept", DUE)
        assert letters.addresses_in_trouble(session) == ()


def test_an_address_that_failed_three_times_is_in_trouble_before_it_expires(store: Store) -> None:
    written(store, recipients=(SKIPPER,))
    troubled = []
    for n in range(4):
        (batch,) = take(store, DUE + n * MINUTE)
        with store.writing() as session:
            to = batch.recipients[0].recipient_id
            troubled.append(len(letters.addresses_in_trouble(session)))
            letters.mark_retry(session, to, batch.token, "450 later", DUE + n * MINUTE, DUE + (n + 1) * MINUTE)
            troubled.append(len(letters.addresses_in_trouble(session)))
    assert troubled == [0, 0, 0, 0, 0, 1, 1, 1]


def test_old_letters_are_forgotten_but_not_the_calls_nor_what_is_still_open(store: Store) -> None:
    """P6."""
    outbox_id = written(store)
    year_on = NOON + timedelta(days=400)
    with store.writing() as session:
        assert letters.forget_letters(session, year_on) == 0
        letters.expire_recipients(session, NOON)
        assert letters.forget_letters(session, NOON) == 0
        assert letters.forget_letters(session, year_on) == 1
        assert session.get(OutboxRow, outbox_id) is None
        assert session.scalar(select(func.count(RecipientRow.id))) == 0
        assert session.scalar(select(func.count(CallRow.id))) == 1
    assert due_row(store).state == "written"


def test_a_retry_waits_for_its_moment(store: Store) -> None:
    written(store, recipients=(SKIPPER,))
    (batch,) = take(store)
    with store.writing() as session:
        letters.mark_retry(
            session, batch.recipients[0].recipient_id, batch.token, "450 greylisted", DUE, DUE + 5 * MINUTE
        )
    assert take(store, DUE + 4 * MINUTE) == ()
    (again,) = take(store, DUE + 5 * MINUTE)
    assert again.recipients[0].tries == 2
    assert again.message == batch.message


def test_a_retry_without_a_next_moment_is_an_expiry(store: Store) -> None:
    """M5."""
    written(store, recipients=(SKIPPER,))
    (batch,) = take(store)
    with store.writing() as session:
        letters.mark_retry(session, batch.recipients[0].recipient_id, batch.token, "450 later", DUE, None)
    row = address_row(store)
    assert (row.state, row.last_reply, row.done_at) == ("expired", "450 later", DUE)


def test_an_unsure_try_is_counted_and_tried_again(store: Store) -> None:
    """M6."""
    written(store, recipients=(SKIPPER,))
    (batch,) = take(store)
    with store.writing() as session:
        letters.mark_unsure(
            session, batch.recipients[0].recipient_id, batch.token, "connection lost", DUE, DUE + MINUTE
        )
        assert letters.unsure_count(session) == 1
    (again,) = take(store, DUE + MINUTE)
    assert again.message == batch.message


def test_a_sender_that_died_counts_as_unsure(store: Store) -> None:
    """M6: its process may have sent the letter and not lived to mark it."""
    written(store, recipients=(SKIPPER,))
    take(store, DUE, lease_s=60)
    (again,) = take(store, DUE + MINUTE)
    assert again.recipients[0].tries == 2
    assert address_row(store).unsure == 1


def test_a_held_address_is_not_taken_while_its_lease_is_renewed(store: Store) -> None:
    written(store, recipients=(SKIPPER,))
    (batch,) = take(store, DUE, lease_s=60)
    with store.writing() as session:
        assert letters.extend_recipients(session, [batch.token], DUE + 3 * MINUTE) == 1
    assert take(store, DUE + 2 * MINUTE) == ()


def test_an_address_whose_turn_never_came_has_not_been_tried(store: Store) -> None:
    written(store, recipients=(SKIPPER,))
    (batch,) = take(store)
    with store.writing() as session:
        letters.give_back(session, batch.recipients[0].recipient_id, batch.token, DUE + MINUTE)
    row = address_row(store)
    assert (row.state, row.tries) == ("waiting", 0)


def test_an_answer_under_a_lost_claim_changes_nothing_but_a_250(store: Store) -> None:
    written(store, recipients=(SKIPPER,))
    (first,) = take(store, DUE, lease_s=60)
    (second,) = take(store, DUE + MINUTE)
    to = first.recipients[0].recipient_id
    with store.writing() as session:
        letters.mark_refused(session, to, first.token, "550 no", DUE + MINUTE)
        letters.mark_retry(session, to, first.token, "450 no", DUE + MINUTE, None)
    row = address_row(store)
    assert (row.state, row.claim) == ("trying", second.token)


# ---- notes


def test_a_tick_goes_to_one_process_in_each_interval(store: Store) -> None:
    every = 15 * MINUTE
    with store.writing() as session:
        asked = [
            letters.claim_tick(session, "tick:poll", DUE + n * MINUTE, every) for n in (0, 1, 14, 15, 16, 29, 30)
        ]
    assert asked == [True, False, False, True, False, False, True]


def test_a_tick_set_by_a_clock_that_ran_ahead_does_not_stop_the_ticking(store: Store) -> None:
    """W11."""
    with store.writing() as session:
        letters.claim_tick(session, "tick:poll", DUE + timedelta(days=9), MINUTE)
        assert letters.claim_tick(session, "tick:poll", DUE, MINUTE)


def test_notes_are_kept_found_by_their_beginning_and_dropped(store: Store) -> None:
    with store.writing() as session:
        letters.put_note(session, "fault:a_b:poll", {"count": 1}, DUE)
        letters.put_note(session, "fault:a_b:poll", {"count": 2}, DUE + MINUTE)
        letters.put_note(session, "fault:aXb:poll", {"count": 9}, DUE)
        assert letters.get_note(session, "fault:a_b:poll") == ({"count": 2}, DUE + MINUTE)
        assert letters.notes_under(session, "fault:a_b:") == {"poll": ({"count": 2}, DUE + MINUTE)}
        letters.drop_note(session, "fault:a_b:poll")
        assert letters.get_note(session, "fault:a_b:poll") is None


def test_the_newest_moment_is_the_latest_of_all_tables(store: Store) -> None:
    """W11. What is due in the future doesn't count; it wasn't written then."""
    with store.reading() as session:
        assert letters.newest_moment(session) is None
    written(store)
    with store.reading() as session:
        assert letters.newest_moment(session) == DUE
    with store.writing() as session:
        letters.put_note(session, "sweep:Little Grebe", {}, DUE + MINUTE)
        assert letters.newest_moment(session) == DUE + MINUTE


def test_letters_past_due_are_counted_for_the_health_page(store: Store) -> None:
    ensure(store)
    with store.reading() as session:
        counts = [letters.late_due_count(session, DUE + n * MINUTE, 15 * MINUTE) for n in (0, 15, 16)]
    assert counts == [0, 0, 1]
