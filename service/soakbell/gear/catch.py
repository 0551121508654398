"""Catch per trap by string, soak, bait and month, as the log tells it."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta, tzinfo
from statistics import median
from typing import Any

from soakbell.gear.log import LogEntry, Pulled, Shares
from soakbell.gear.log_check import DOUBLE_PULL_MIN
from soakbell.gear.trap_states import Oddity, odd
from soakbell.gear.worked import Worked

MOST_HAULS = 2000
"""So many of the latest hauls are kept one by one; all of them are in the sums."""

_SAME_HAUL = timedelta(minutes=DOUBLE_PULL_MIN)
_HOURS_A_DAY = 24
_OZ_A_LB = 16


@dataclass(frozen=True)
class CatchCell:
    """Sums over pulls of one string, whole days of soak, bait and month.

    Traps are counted apart for each count that was told, so that one that wasn't told is no 0. ``soak_days`` are
    the full days of the median soak of the traps pulled. ``bait`` is the one that fished, empty where the log
    never named it. ``year`` and ``month`` are those of the pull, by the book's clock. A name "a_beside_b" holds
    the sum of a over the pulls that told both a and b, for shares that are true.
    """

    string: str
    soak_days: int
    bait: str
    year: int
    month: int
    pulls: int = 0
    traps: int = 0
    traps_with_claws: int = 0
    legal_claws: int = 0
    traps_with_lb: int = 0
    lb: float = 0.0
    lb_by_grade: Shares = ()
    legal_beside_short: int = 0
    short_beside_legal: int = 0
    legal_beside_float: int = 0
    float_beside_legal: int = 0
    legal_beside_lb: int = 0
    lb_beside_legal: float = 0.0


@dataclass(frozen=True)
class HaulTold:
    """One pull whose claws or pounds were told. ``soak_h`` is the median soak of its traps."""

    string: str
    at: datetime
    soak_h: float
    traps: int
    legal_claws: int | None
    lb: float | None


@dataclass(frozen=True)
class HauledLately:
    """Places of a string that came up in the haul which began at ``at``."""

    string: str
    at: datetime
    places: frozenset[int]


@dataclass(frozen=True)
class CatchRecord:
    """``cells`` in order of string, year, month, soak and bait. ``hauls`` are the latest, oldest first.

    ``last_bait`` is the bait that was last named for each string, in order of string. ``baits`` are all that were
    named, as they were first spelt: a name counts the same in small and capital letters. ``lately`` is the last
    haul of each string, in order of string.
    """

    cells: tuple[CatchCell, ...] = ()
    last_bait: tuple[tuple[str, str], ...] = ()
    baits: tuple[str, ...] = ()
    hauls: tuple[HaulTold, ...] = ()
    lately: tuple[HauledLately, ...] = ()


class CatchBook:
    """Takes entries in the order things happened. A pull of which no trap could be worked counts nothing.

    Nor does one that only tells of traps of a haul that they stayed aboard, or kept their bait. Months are those
    of ``zone``.
    """

    def __init__(self, record: CatchRecord | None = None, zone: tzinfo = UTC) -> None:
        record = record or CatchRecord()
        self._zone = zone
        self._cells = {_key(cell): cell for cell in record.cells}
        self._lately = {haul.string: haul for haul in record.lately}
        self._last_bait = dict(record.last_bait)
        self._baits = {bait.casefold(): bait for bait in record.baits}
        self._hauls = deque(record.hauls, MOST_HAULS)

    def take(self, entry: LogEntry, worked: Worked) -> list[Oddity]:
        pull = entry.detail
        if not isinstance(pull, Pulled) or entry.string is None or not worked.places:
            return []
        counted = self._counted(entry, entry.string, pull, worked)
        if not counted:
            return []
        oddities = []
        soaks_h = [soak_h for _, soak_h in counted if soak_h is not None]
        if soaks_h:
            local = entry.happened_at.astimezone(self._zone)
            bait = self._last_bait.get(entry.string, "")
            key = (entry.string, int(median(soaks_h) // _HOURS_A_DAY), bait, local.year, local.month)
            self._cells[key] = _with(self._cells.get(key) or CatchCell(*key), pull, len(counted))
            if pull.legal_claws is not None or pull.landed_lb is not None:
                self._hauls.append(
                    HaulTold(
                        entry.string,
                        entry.happened_at,
                        median(soaks_h),
                        len(counted),
                        pull.legal_claws,
                        pull.landed_lb,
                    )
                )
        else:
            found, write = "traps of which none was ever baited", "the set before the pull"
            oddities.append(odd(entry, "traps", found, write))
        if pull.bait and pull.rebaited and pull.reset:
            self._last_bait[entry.string] = self._baits.setdefault(pull.bait.casefold(), pull.bait)
        return oddities

    def freeze(self) -> CatchRecord:
        cells = sorted(
            self._cells.values(), key=lambda cell: (cell.string, cell.year, cell.month, cell.soak_days, cell.bait)
        )
        return CatchRecord(
            tuple(cells),
            tuple(sorted(self._last_bait.items())),
            tuple(sorted(self._baits.values())),
            tuple(self._hauls),
            tuple(self._lately[string] for string in sorted(self._lately)),
        )

    def _counted(
        self, entry: LogEntry, string: str, pull: Pulled, worked: Worked
    ) -> list[tuple[int, float | None]]:
        """The places that the pull hauled, with their soaks, hours: all, but for what came up in the same haul."""
        at, hauled = entry.happened_at, list(zip(worked.places, worked.soak_h, strict=True))
        last = self._lately.get(string)
        if last is None or at - last.at >= _SAME_HAUL:
            last = HauledLately(string, at, frozenset())
        self._lately[string] = replace(last, places=last.places | set(worked.places))
        if pull.tells_catch or (pull.reset and pull.rebaited):
            return hauled
        return [(place, soak_h) for place, soak_h in hauled if place not in last.places]


def _key(cell: CatchCell) -> tuple[str, int, str, int, int]:
    return (cell.string, cell.soak_days, cell.bait, cell.year, cell.month)


def _with(cell: CatchCell, pull: Pulled, traps: int) -> CatchCell:
    """The cell with one pull more, of so many traps."""
    legal, short, float_, lb = pull.legal_claws, pull.short_claws, pull.float_claws, pull.landed_lb
    more: dict[str, float] = {"pulls": 1, "traps": traps}
    if legal is not None:
        more |= {"traps_with_claws": traps, "legal_claws": legal}
    if lb is not None:
        more |= {"traps_with_lb": traps, "lb": lb}
    if legal is not None and short is not None:
        more |= {"legal_beside_short": legal, "short_beside_legal": short}
    if legal is not None and float_ is not None:
        more |= {"legal_beside_float": legal, "float_beside_legal": float_}
    if legal is not None and lb is not None:
        more |= {"legal_beside_lb": legal, "lb_beside_legal": lb}
    sums: dict[str, Any] = {name: getattr(cell, name) + amount for name, amount in more.items()}
    if pull.lb_by_grade:
        sums["lb_by_grade"] = _by_grade((cell.lb_by_grade, pull.lb_by_grade))
    return replace(cell, **sums)


@dataclass(frozen=True)
class CatchTotal:
    """Catch over some cells. A ratio is None where nothing that it needs was told.

    ``short_share`` is the share of short claws among legal and short ones, ``float_share`` of float claws among
    legal and float ones, both from 0 to 1. ``lb_by_grade`` is in order of grade.
    """

    pulls: int
    traps: int
    claws_a_trap: float | None
    lb_a_trap: float | None
    short_share: float | None
    float_share: float | None
    oz_a_claw: float | None
    lb_by_grade: Shares


def total_of(cells: Iterable[CatchCell]) -> CatchTotal:
    """The catch of all ``cells`` together."""
    cells = tuple(cells)
    legal_and_short = sum(cell.legal_beside_short + cell.short_beside_legal for cell in cells)
    legal_and_float = sum(cell.legal_beside_float + cell.float_beside_legal for cell in cells)
    return CatchTotal(
        pulls=sum(cell.pulls for cell in cells),
        traps=sum(cell.traps for cell in cells),
        claws_a_trap=_ratio(sum(c.legal_claws for c in cells), sum(c.traps_with_claws for c in cells)),
        lb_a_trap=_ratio(sum(c.lb for c in cells), sum(c.traps_with_lb for c in cells)),
        short_share=_ratio(sum(c.short_beside_legal for c in cells), legal_and_short),
        float_share=_ratio(sum(c.float_beside_legal for c in cells), legal_and_float),
        oz_a_claw=_ratio(sum(c.lb_beside_legal for c in cells) * _OZ_A_LB, sum(c.legal_beside_lb for c in cells)),
        lb_by_grade=_by_grade(cell.lb_by_grade for cell in cells),
    )


def _by_grade(told: Iterable[Shares]) -> Shares:
    lb_of: dict[str, float] = {}
    for shares in told:
        for grade, lb in shares:
            lb_of[grade] = lb_of.get(grade, 0.0) + lb
    return tuple(sorted(lb_of.items()))


def _ratio(sum_: float, over: int) -> float | None:
    return sum_ / over if over else None
