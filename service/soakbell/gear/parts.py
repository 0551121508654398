"""Parts in stock, as the log tells them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True)
class PartLine:
    """One part: pieces on hand, and those used in all since ``first_at``. Never below 0 on hand."""

    part: str
    on_hand: float
    used: float
    first_at: datetime


@dataclass(frozen=True)
class PartStock:
    """``lines`` in order of name."""

    lines: tuple[PartLine, ...] = ()
