"""One morning of the service, run by the kill rig in a process of its own.

The sweep, the store and the sender are the product's. Only the writer is a stub; it names each letter it writes
anew, so a letter that was written twice shows. Pauses are cut to fractions of a second. With RIG_STEP the
process kills itself at that step, as ``steps`` counts them.
"""

from __future__ import annotations

import asyncio
import os
import sys
import uuid
from datetime import date, datetime, time
from pathlib import Path
from typing import Any

from steps import Steps

from soakbell.clock import SystemClock
from soakbell.logs import log_to_stderr
from soakbell.mail import sender
from soakbell.mail.sender import Outgoing, Security, SmtpSettings, send_batch
from soakbell.schedule import Duty, LetterHour, Pace, Parts, Sweep, run_service
from soakbell.store.engine import open_store
from soakbell.store.letters import CallRecord, WrittenLetter

FOLDER = Path(os.environ["RIG_FOLDER"])
STEP = int(os.environ.get("RIG_STEP", "0"))
LEASE_S = 0.6


def main() -> int:
    log_to_stderr()
    sender.QUICK_TRIES_MIN = (0.004, 0.004, 0.004)  # type: ignore[assignment]
    sender.LATER_TRIES_MIN = 0.004  # type: ignore[assignment]
    steps = Steps(STEP)
    clock = SystemClock()

    def write(kind: str, day: date, turn: int, *, late: bool, clock_suspect: bool, alone: bool) -> WrittenLetter:
        steps.take()
        head = f"Message-ID: <{uuid.uuid4()}@example.org>\r\nDate: Tue, 08 Dec 2026 09:30:00 +0000\r\n"
        message = f"{head}Subject: WAIT {kind} {day} {turn}\r\n\r\nWAIT\r\n".encode()
        call = CallRecord("WAIT", clock.now(), {}, [], "0", "0")
        steps.take()
        return WrittenLetter("WAIT", message, ("skipper@example.org", "mate@example.org"), call)

    def write_failed(kind: str, day: date, turn: int, error: str) -> WrittenLetter:
        raise AssertionError(f"the stub writer failed: {error}")

    def told() -> None:
        """After the 250 was marked: the morning is done, and this is how many steps it took."""
        (FOLDER / "steps").write_text(str(steps.count))

    smtp = SmtpSettings(
        "127.0.0.1", int(os.environ["RIG_PORT"]), Security.NONE, "soakbell@example.org", "boat.example.org"
    )
    due = datetime.fromisoformat(os.environ["RIG_DUE"])
    duty = Duty(
        "Little Grebe",
        os.environ["RIG_ZONE"],
        (LetterHour("morning", time(due.hour, due.minute), time(18, 0)),),
        watch_every_min=15,
        poll_every_min=30,
    )
    store = open_store(f"sqlite:///{FOLDER / 'soakbell.db'}")

    def send(batch: list[Outgoing]) -> Any:
        return send_batch(smtp, batch, clock=clock)

    parts = Parts(write, write_failed, lambda *_, **__: None, send, steps.take, steps.take, told)
    pace = Pace(lease_s=LEASE_S, write_again_s=0.2, untried_again_s=0.1)
    steps.watch()
    ended = asyncio.run(run_service([Sweep(store, clock, duty, parts, pace)], every_s=0.05, stop_limit_s=5))
    store.close()
    return 0 if ended else 3


if __name__ == "__main__":
    sys.exit(main())
