"""How many traps to have bait thawed for, on an evening whose likely call isn't PULL but might turn out so."""

from __future__ import annotations

import math
from collections.abc import Iterable
from datetime import datetime
from statistics import median

from soakbell.gear.bait_lots import BaitStock
from soakbell.gear.fold import GearState
from soakbell.gear.soak import soak_of
from soakbell.gear.strings import TrapString
from soakbell.gear.wishes import DayWishes


def traps_pulled_first(
    gear: GearState, strings: Iterable[TrapString], stock: BaitStock, at: datetime, wishes: DayWishes
) -> int:
    """Traps that fish on the strings a trip would most likely haul; 0 where no string may be hauled or is ripe.

    Strings that are ripe or pinned by ``at``, pinned ones and then the longest soak first, until as many traps as
    are baited on a usual day (the median of the log's last months) are together; all of them where it tells none.

    Raises:
        ValueError: ``at`` has no zone.
    """
    if wishes.day_barred:
        return 0
    found = []
    for string in strings:
        if string.name in wishes.barred or string.name not in gear.strings:
            continue
        soak, pinned = soak_of(gear, string.name, at), string.name in wishes.pinned
        if soak.oldest_h is not None and (pinned or soak.oldest_h >= string.soak_floor_h):
            found.append((not pinned, -soak.oldest_h, string.name, soak.fishing))
    usual = median(traps for _, traps in stock.baited) if stock.baited else math.inf
    traps = 0
    for *_, fishing in sorted(found):
        if traps >= usual:
            break
        traps += fishing
    return traps
