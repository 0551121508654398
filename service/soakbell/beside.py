"""What letters tell beside a call has its time, and no more: what takes longer is told, and the letter goes on."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from typing import TypeVar

from soakbell.logs import fault_text

log = logging.getLogger(__name__)

T = TypeVar("T")

LIMIT_S = 90.0
"""All steps of a letter together stay well within the time that the sweep gives its writer."""


class Beside:
    """Runs steps beside a call, each in a thread of its own that holds up neither the letter nor the process.

    A step that hangs is not begun again while it does, so that no letter adds another.
    """

    def __init__(self, limit_s: float = LIMIT_S) -> None:
        self._limit_s = limit_s
        self._running: dict[str, threading.Thread] = {}

    def told(self, step: str, make: Callable[[], T], instead: Callable[[str], T]) -> T:
        """What ``make`` gives, or ``instead`` of why there is nothing, as a sentence without its stop."""
        before = self._running.get(step)
        if before is not None:
            before.join(self._limit_s)
            if before.is_alive():
                return self._untold(step, "what an earlier letter began has not ended", instead)
        made: list[T] = []
        faults: list[str] = []

        def run() -> None:
            try:
                made.append(make())
            except BaseException as fault:
                faults.append(fault_text(fault))

        thread = threading.Thread(target=run, name=f"beside: {step}", daemon=True)
        thread.start()
        self._running[step] = thread
        thread.join(self._limit_s)
        if made:
            return made[0]
        why = faults[0] if faults else f"it took longer than {self._limit_s:g} s"
        return self._untold(step, why, instead)

    def _untold(self, step: str, why: str, instead: Callable[[str], T]) -> T:
        log.error("a step beside the call was left out", extra={"action": step, "fault": why})
        return instead(why)
