"""The books beside the traps: bait, parts, upkeep, catch, and bells that were hushed. A pure fold of the log.

The call needs none of them: a fault here must never cost one.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from soakbell.gear.bait_lots import BaitStock
from soakbell.gear.catch import CatchRecord
from soakbell.gear.fold import Oddity
from soakbell.gear.hushed import Hushed
from soakbell.gear.parts import PartStock
from soakbell.gear.upkeep import UpkeepRecord


@dataclass(frozen=True)
class Books:
    bait: BaitStock = field(default_factory=BaitStock)
    parts: PartStock = field(default_factory=PartStock)
    upkeep: UpkeepRecord = field(default_factory=UpkeepRecord)
    catch: CatchRecord = field(default_factory=CatchRecord)
    hushed: Hushed = field(default_factory=Hushed)
    oddities: tuple[Oddity, ...] = ()
