"""When a service misbehaves, and how: pure choosers for ``bad_forecasts`` and ``bad_mail``."""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from typing import Generic, TypeAlias, TypeVar

F = TypeVar("F")

SPELLS_MIN = (2, 10, 45, 180, 720, 1440)
"""How long a spell of bad luck may last: from one that a few tries outlast to one that costs the day."""


@dataclass(frozen=True)
class Meeting:
    """A request or a connection.

    Attributes:
        what: the path with its query; ``mail`` for a connection to the mail server.
        nth: how often ``what`` was met so far, from 1.
    """

    at: datetime
    what: str
    nth: int

    @property
    def service(self) -> str:
        """First part of the path, as ``gridpoints``: what tends to fail together."""
        return self.what.strip("/").partition("/")[0].partition("?")[0]


Chooser: TypeAlias = Callable[[Meeting], F | None]
"""The fault of a meeting; None: all goes well."""


@dataclass(frozen=True)
class Bout(Generic[F]):
    """``fault`` from the ``first`` to the ``last`` meeting (None: for ever) of paths that begin with ``what``."""

    fault: F
    what: str = ""
    first: int = 1
    last: int | None = None

    def holds(self, met: Meeting) -> bool:
        return (
            met.what.startswith(self.what)
            and self.first <= met.nth
            and (self.last is None or met.nth <= self.last)
        )


def scripted(*bouts: Bout[F]) -> Chooser[F]:
    """As the first bout says that holds."""

    def choose(met: Meeting) -> F | None:
        return next((bout.fault for bout in bouts if bout.holds(met)), None)

    return choose


def either(*choosers: Chooser[F]) -> Chooser[F]:
    """The fault of the first that has one."""

    def choose(met: Meeting) -> F | None:
        return next((fault for chooser in choosers if (fault := chooser(met)) is not None), None)

    return choose


def in_spells(seed: int, chances: Mapping[F, float], *, together: bool = False) -> Chooser[F]:
    """Spells of bad luck: on each UTC day, each fault begins with its chance at each service and lasts a while.

    It goes by the clock alone, so how often and in what order is asked changes nothing. ``together``: at all
    services at once.
    """

    def choose(met: Meeting) -> F | None:
        for back in (0, 1):
            day = (met.at - timedelta(days=back)).date()
            for fault, chance in chances.items():
                where = "all" if together else met.service
                dice = random.Random(f"{seed} {where} {day} {fault}")
                if dice.random() >= chance:
                    continue
                begins = datetime.combine(day, time(), met.at.tzinfo) + timedelta(minutes=dice.uniform(0, 1440))
                if begins <= met.at < begins + timedelta(minutes=dice.choice(SPELLS_MIN)):
                    return fault
        return None

    return choose
