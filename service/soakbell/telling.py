"""Guards around what letters tell beside a call: what fails becomes a sentence, and the rest is still told."""

from __future__ import annotations

import logging
from collections.abc import Callable
from typing import TypeVar

from soakbell.errors import SoakbellError
from soakbell.logs import fault_text

log = logging.getLogger(__name__)

T = TypeVar("T")


class CanNotTell(SoakbellError):
    """Why something can't be told, as a sentence without its stop."""


class Telling:
    """Notes what could not be told, so that the rest still is."""

    def __init__(self) -> None:
        self.faults: list[str] = []

    @property
    def fault(self) -> str:
        return "; ".join(self.faults)

    def each(self, what: str, make: Callable[[], tuple[T, ...]]) -> tuple[T, ...]:
        """All of it, or none."""
        return self.of(what, make) or ()

    def of(self, what: str, make: Callable[[], T]) -> T | None:
        try:
            return make()
        except CanNotTell as known:
            text = str(known)
        except Exception as fault:
            text = f"{what}: {fault_text(fault)}"
            log.exception("what stands beside a call could not be told", extra={"action": what, "fault": text})
        if text not in self.faults:
            self.faults.append(text)
        return None


def in_short(text: str) -> str:
    """The first of several faults, and how many more there are."""
    first, *more = [line for line in text.splitlines() if line.strip()]
    return f"{first}; the command check tells {len(more)} more" if more else first
