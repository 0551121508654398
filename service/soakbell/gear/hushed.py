"""Bells that rang, and bells that the skipper snoozed or settled."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import datetime

from soakbell.gear.fold import Oddity
from soakbell.gear.log import CAUSES_APART, BellSettled, BellSnoozed, LogEntry
from soakbell.gear.worked import Worked


@dataclass(frozen=True)
class Hush:
    """``snoozed_until``: silent up to then. ``settled_at``: when it was settled.

    ``settled_causes`` are settled up to ``settled_level``. Where none are known, what began before ``settled_at``
    is settled.
    """

    bell: str
    snoozed_until: datetime | None = None
    settled_at: datetime | None = None
    settled_causes: tuple[str, ...] = ()
    settled_level: int = 0


@dataclass(frozen=True)
class Hushed:
    """In order of the bell's name."""

    bells: tuple[Hush, ...] = ()

    def of(self, bell: str) -> Hush | None:
        """What was told of the bell of that name, in small or capital letters."""
        return next((hush for hush in self.bells if _key(hush.bell) == _key(bell)), None)


@dataclass(frozen=True)
class RungBell:
    """A bell that a letter told, with the level it told. The fields are those of ``planning.bells.Bell``.

    ``rung_at``: when a letter last told it, None before it is told; it tells no two of them apart.
    """

    code: str
    subject: str
    cause: str
    level: int
    rung_at: datetime | None = field(default=None, compare=False)


class HushBook:
    """The hushed bells while the log is gone through. Names count the same in small and capital letters."""

    def __init__(self, hushed: Hushed | None = None) -> None:
        known = () if hushed is None else hushed.bells
        self._bells = {_key(hush.bell): hush for hush in known}

    def take(self, entry: LogEntry, worked: Worked) -> list[Oddity]:  # noqa: ARG002 - every book is given it
        """The last word counts: a later snooze may end before an earlier one."""
        detail = entry.detail
        if isinstance(detail, BellSnoozed):
            self._bells[_key(detail.bell)] = replace(self._hush(detail.bell), snoozed_until=detail.until)
        elif isinstance(detail, BellSettled):
            self._bells[_key(detail.bell)] = replace(
                self._hush(detail.bell),
                settled_at=entry.happened_at,
                settled_causes=tuple(detail.cause.split(CAUSES_APART)) if detail.cause else (),
                settled_level=detail.level,
            )
        return []

    def freeze(self) -> Hushed:
        return Hushed(tuple(sorted(self._bells.values(), key=lambda hush: hush.bell)))

    def _hush(self, bell: str) -> Hush:
        return self._bells.get(_key(bell), Hush(bell))


def _key(bell: str) -> str:
    return bell.casefold()
