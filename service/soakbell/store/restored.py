"""What a restore leaves in the database: up to where its rows are from before, and whether anybody looked since.

What came or was told between the backup and the restore is lost, as a warning or a call that took a PULL back. So
no reply from before is news any more, and no call from before counts until it was held against newer ones. Rows
are told apart by their numbers: the clock may have been wrong.
"""

from __future__ import annotations

import json
import sqlite3
from dataclasses import dataclass
from datetime import UTC, date, datetime

from sqlalchemy.orm import Session

from soakbell.store.calls import newest_call
from soakbell.store.letters import get_note, put_note
from soakbell.store.schema import CallRow, NoteRow, ReplyRow

_NOTE = "restored"


@dataclass(frozen=True)
class Restored:
    """The newest restore: when it was, and the numbers of the last reply and call that it brought."""

    at: datetime
    reply_id: int
    call_id: int


def note_restore(copy: sqlite3.Connection, now: datetime) -> None:
    """Put the restore down in the backup's copy, of whatever schema, and make due at once what has a pace."""
    reply_id, call_id = (
        copy.execute(f"SELECT coalesce(max(id), 0) FROM {row.__tablename__}").fetchone()[0]  # noqa: S608
        for row in (ReplyRow, CallRow)
    )
    told = json.dumps({"reply_id": reply_id, "call_id": call_id})
    at = now.astimezone(UTC).strftime("%Y-%m-%d %H:%M:%S.%f")
    note = NoteRow.__tablename__
    copy.execute(f"DELETE FROM {note} WHERE name LIKE 'tick:%' OR name LIKE 'polled:%'")  # noqa: S608
    copy.execute(f"INSERT OR REPLACE INTO {note} (name, value, written_at) VALUES (?, ?, ?)", (_NOTE, told, at))  # noqa: S608


def newest_restore(session: Session) -> Restored | None:
    """None where the database was never restored."""
    note = get_note(session, _NOTE)
    return None if note is None else Restored(note[1], note[0]["reply_id"], note[0]["call_id"])


def unseen_since_restore(session: Session, boat: str, day: date) -> Restored | None:
    """The restore that brought the day's newest call, until that was looked at since; None where it counts."""
    restored, call = newest_restore(session), newest_call(session, boat, day)
    if restored is None or call is None or call.id > restored.call_id:
        return None
    seen = get_note(session, _seen(boat))
    return None if seen is not None and seen[0]["restored_at"] == restored.at.isoformat() else restored


def note_seen(session: Session, boat: str, restored: Restored, now: datetime) -> None:
    """The boat's call was held against sources fetched since, and stands."""
    put_note(session, _seen(boat), {"restored_at": restored.at.isoformat()}, now)


def _seen(boat: str) -> str:
    return f"seen since restore:{boat}"
