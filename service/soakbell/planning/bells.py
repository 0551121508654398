"""Bells: what the skipper should be reminded of now. Each rings once, and again when its matter worsens."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum
from typing import Any

from soakbell.gear.hushed import RungBell

__all__ = ["Bell", "BellCode", "RungBell"]


class BellCode(StrEnum):
    """What a bell is about. The values are keys of the database and of the log."""

    SOAK = "soak"
    BAIT = "bait"
    PARTS = "parts"
    UPKEEP = "upkeep"
    UNSET = "unset"
    SEASON = "season"


@dataclass(frozen=True)
class Bell:
    """One matter that asks for the skipper.

    Attributes:
        subject: the string, bait, part, task or date it is about.
        cause: tells one occurrence of the matter from the next ("2026-12-01T13:00" for a soak that began then).
        level: 1 and up; a higher one is worse and rings again.
        since: when this level of this cause began, aware UTC.
        values: the numbers behind it, for the words.
    """

    code: BellCode
    subject: str
    cause: str
    level: int
    since: datetime
    values: Mapping[str, Any] = field(default_factory=dict)

    @property
    def name(self) -> str:
        """How the skipper names it to snooze or settle it, as ``soak:Nine Foot``."""
        return f"{self.code.value}:{self.subject}"
