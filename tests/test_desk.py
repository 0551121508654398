"""The desk of one boat: what it refuses and what it forgets. INVENTED DATA."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import timedelta
from email import message_from_bytes, policy
from pathlib import Path

import pytest
from sqlalchemy import func, select

from law.world import NEW_YORK, NOW, settings_from, settings_with, world
from soakbell.clock import SetClock
from soakbell.desk import AUDIT_AGE, Desk
from soakbell.errors import FetchFailed, StoreError
from soakbell.feeds.transport import Ask
from soakbell.gear.log import LogEntry, Moved
from soakbell.gear.strings import Mark
from soakbell.logs import JsonLines
from soakbell.sea.sources import RawReply
from soakbell.store import letters, log, replies
from soakbell.store.engine import Store, open_store
from soakbell.store.nightly import backups_of
from soakbell.store.schema import CallRow, OutboxRow, RecipientRow
from soakbell.store.upgrade import migrate

TODAY = NOW.astimezone(NEW_YORK).date()
DAY = timedelta(days=1)


class NobodyAnswers:
    """Sources that are all down; it counts how often one was asked."""

    asked = 0

    def fetch(self, ask: Ask) -> RawReply:
        self.asked += 1
        raise FetchFailed("nobody answers", retry=True)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    opened = open_store(f"sqlite:///{tmp_path / 'soakbell.db'}")
    migrate(opened)
    yield opened
    opened.close()


def test_a_kind_of_letter_it_does_not_write_is_refused_before_anybody_is_asked(store: Store) -> None:
    sources = NobodyAnswers()
    desk = Desk(settings_from(), store, SetClock(NOW), sources)
    with pytest.raises(ValueError, match="no take-up letter"):
        desk.write("take-up", TODAY, 0, late=False, clock_suspect=False)
    assert sources.asked == 0


def test_the_log_tells_which_source_failed_and_why_without_a_position(
    store: Store, caplog: pytest.LogCaptureFixture
) -> None:
    class Astray(NobodyAnswers):
        def fetch(self, ask: Ask) -> RawReply:
            raise FetchFailed(f"{ask.url}: nobody answers", retry=True)

    cells = (('grid = "TAE/77,71"\n', ""), ('grid = "TAE/76,65"\n', ""))
    Desk(settings_with(*cells), store, SetClock(NOW), Astray()).sources.poll()
    lines = [json.loads(JsonLines().format(record)) for record in caplog.records]
    assert {line["provider"] for line in lines} == {"point", "zone text", "warnings"}
    assert all(line["boat"] == "Little Grebe" and "nobody answers" in line["fault"] for line in lines)
    assert [line for line in lines if "30.05" in line["fault"] or "-84.1" in line["fault"]] == []


def test_a_letter_brings_the_marks_a_string_lies_between_now(store: Store) -> None:
    """The route file is for the plotter: it must lead to where the string was moved."""
    calm = world()
    moved = Moved(Mark(29.975, -84.250), Mark(29.979, -84.228))
    at = NOW - DAY
    entry = LogEntry("move", "move", at, at, "cli", moved, "Outer Bar")
    with store.writing() as session:
        log.append_entries(session, (*calm.entries, entry))
        for pages in calm.on_hand().replies.values():
            replies.keep_reply(session, pages[0])
    letter = Desk(calm.settings, store, SetClock(NOW), NobodyAnswers()).write(
        "morning", TODAY, 0, late=False, clock_suspect=False
    )
    message = message_from_bytes(letter.message, policy=policy.default)
    (route,) = [part for part in message.walk() if part.get_filename() == "strings.gpx"]
    gpx = route.get_payload(decode=True).decode()
    assert all(f'lat="{lat}" lon="{lon}"' in gpx for lat, lon in ((29.975, -84.25), (29.979, -84.228)))
    assert 'lat="29.962"' not in gpx


def test_letters_are_forgotten_after_the_time_of_the_audit_and_their_calls_never(store: Store) -> None:
    """P6."""
    clock = SetClock(NOW)
    desk = Desk(settings_from(), store, clock, NobodyAnswers())
    letter = desk.write("morning", TODAY, 0, late=False, clock_suspect=False)
    with store.writing() as session:
        times = (NOW, NOW + timedelta(hours=6))
        letters.ensure_due(session, "Little Grebe", "morning", TODAY, 0, "America/New_York", *times)
        claim = letters.claim_due(session, "Little Grebe", NOW, lease_s=120)
        assert claim is not None
        letters.write_letter(session, claim, letter, NOW)
        (batch,) = letters.claim_recipients(session, NOW, 10, lease_s=120)
        letters.mark_accepted(session, batch.recipients[0].recipient_id, "250 taken", NOW)
    kept = []
    for at in (NOW + AUDIT_AGE - DAY, NOW + AUDIT_AGE + DAY):
        clock.put(at)
        desk.housekeep()
        with store.reading() as session:
            counts = [session.scalar(select(func.count(t.id))) for t in (OutboxRow, RecipientRow, CallRow)]
        kept.append(counts)
    assert kept == [[1, 1, 1], [0, 0, 1]]


def test_a_backup_is_kept_each_night_and_rehearsed_each_month(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    """D7."""
    rehearsed: list[str] = []
    monkeypatch.setattr("soakbell.desk.rehearse_nightly", lambda made: rehearsed.append(made.name))
    clock = SetClock(NOW)
    desk = Desk(settings_from(), store, clock, NobodyAnswers())
    for at in (NOW, NOW + timedelta(hours=1), NOW + DAY, NOW + 30 * DAY):
        clock.put(at)
        desk.back_up()
    assert store.file is not None
    days = [TODAY, TODAY + DAY, TODAY + 30 * DAY]
    made = [f"{store.file.stem}-{day}{store.file.suffix}" for day in days]
    assert sorted(path.name for path in backups_of(store.file).iterdir()) == made
    assert rehearsed == [made[0], made[2]]


def test_a_backup_that_would_not_serve_is_told_until_one_does(store: Store) -> None:
    """D7: the fault of one night isn't hidden by the next look, which finds a file of that name."""
    clock = SetClock(NOW)
    desk = Desk(settings_from(), store, clock, NobodyAnswers())
    assert store.file is not None
    folder = backups_of(store.file)
    folder.mkdir()
    (folder / f"{store.file.stem}-{TODAY}{store.file.suffix}").write_bytes(b"not a database at all")
    for _ in range(2):
        with pytest.raises(StoreError, match="not a database"):
            desk.back_up()
    clock.put(NOW + DAY)
    desk.back_up()
