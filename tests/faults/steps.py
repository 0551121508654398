"""Counts the steps of a process and ends it at one of them: what the event loop runs, each SQL statement, and
either side of a commit."""

from __future__ import annotations

import asyncio
import os
import signal
from collections.abc import Callable
from typing import Any

from sqlalchemy import Engine, event
from sqlalchemy.orm import Session


class Steps:
    """``last`` is the step at which the process kills itself; 0: at none."""

    def __init__(self, last: int = 0) -> None:
        self.count = 0
        self.last = last

    def take(self, *_: object) -> None:
        self.count += 1
        if self.count == self.last:
            os.kill(os.getpid(), signal.SIGKILL)

    def watch(self) -> None:
        run: Callable[[Any], None] = asyncio.Handle._run

        def counted(handle: asyncio.Handle) -> None:
            self.take()
            run(handle)

        asyncio.Handle._run = counted  # type: ignore[method-assign]
        event.listen(Engine, "before_cursor_execute", self.take)
        event.listen(Engine, "commit", self.take)
        event.listen(Session, "after_commit", self.take)
