"""Bells that rang, and bells that the skipper snoozed or settled."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True)
class Hush:
    """``snoozed_until``: silent up to then. ``settled_at``: what began before it is settled."""

    bell: str
    snoozed_until: datetime | None = None
    settled_at: datetime | None = None


@dataclass(frozen=True)
class Hushed:
    """In order of the bell's name."""

    bells: tuple[Hush, ...] = ()


@dataclass(frozen=True)
class RungBell:
    """A bell that a letter told, with the level it told. The fields are those of ``planning.bells.Bell``."""

    code: str
    subject: str
    cause: str
    level: int
