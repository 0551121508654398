"""Parts in stock, as the log tells them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime

from soakbell.gear.log import LogEntry, PartBought, PartCounted, PartUsed, Repaired
from soakbell.gear.trap_states import Oddity, odd
from soakbell.gear.worked import Worked


@dataclass(frozen=True)
class PartLine:
    """One part: pieces on hand, and those used in all since ``first_at``. Never below 0 on hand.

    ``last_at`` is the moment of the last entry that told of it. ``lacking`` are the pieces used that weren't on
    hand, so what came in all, or was counted in, is ``on_hand + used - lacking``.
    """

    part: str
    on_hand: float
    used: float
    first_at: datetime
    last_at: datetime
    lacking: float = 0.0


@dataclass(frozen=True)
class PartStock:
    """``lines`` in order of name."""

    lines: tuple[PartLine, ...] = ()

    def line(self, part: str) -> PartLine | None:
        """What the log tells of a part, None where it never told of it."""
        return next((line for line in self.lines if line.part == part), None)


class PartBook:
    """Parts while the log is read. What was used beyond the stock is told, and leaves nothing on hand."""

    def __init__(self, stock: PartStock | None = None) -> None:
        self._lines = {line.part: line for line in (stock or PartStock()).lines}

    def take(self, entry: LogEntry, worked: Worked) -> list[Oddity]:  # noqa: ARG002 - all books take both
        """Work one entry in. The parts of a mend were used, whether or not the traps could be mended."""
        detail = entry.detail
        if isinstance(detail, PartBought):
            self._change(entry, detail.part, more=detail.count)
        elif isinstance(detail, PartCounted):
            self._change(entry, detail.part, counted=detail.count)
        elif isinstance(detail, PartUsed):
            return self._use(entry, "count", detail.part, detail.count)
        elif isinstance(detail, Repaired):
            return [told for part, pieces in detail.parts for told in self._use(entry, "parts", part, pieces)]
        return []

    def freeze(self) -> PartStock:
        return PartStock(tuple(self._lines[part] for part in sorted(self._lines)))

    def _line(self, entry: LogEntry, part: str) -> PartLine:
        return self._lines.get(part) or PartLine(part, 0.0, 0.0, entry.happened_at, entry.happened_at)

    def _change(self, entry: LogEntry, part: str, *, more: float = 0.0, counted: float | None = None) -> None:
        line = self._line(entry, part)
        on_hand = line.on_hand + more if counted is None else counted
        self._lines[part] = replace(line, on_hand=on_hand, last_at=entry.happened_at)

    def _use(self, entry: LogEntry, key: str, part: str, pieces: float) -> list[Oddity]:
        line = self._line(entry, part)
        lacking = max(0.0, pieces - line.on_hand)
        self._lines[part] = replace(
            line,
            on_hand=max(0.0, line.on_hand - pieces),
            used=line.used + pieces,
            lacking=line.lacking + lacking,
            last_at=entry.happened_at,
        )
        if lacking == 0:
            return []
        found = f"{pieces:g} of {part!r} used, with {line.on_hand:g} on hand"
        write = "a count of the part before it, or those bought, since none can be used that weren't there"
        return [odd(entry, key, found, write)]
