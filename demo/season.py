"""The invented log of *Little Grebe*: traps set in October 2026, pulled about weekly since. INVENTED DATA.

Counts of claws are drawn from a seed; that a string gives about one legal claw a trap and week is made up.
"""

from __future__ import annotations

import random
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime, time, timedelta
from uuid import NAMESPACE_URL, uuid5
from zoneinfo import ZoneInfo

from soakbell.gear.log import Detail, FoundMissing, LogEntry, Pulled, TrapsSet
from soakbell.gear.strings import TrapString
from soakbell.planning.call import StringPull

TOLD_BY = "demo"
NOTE = "invented"
CLAWS_A_TRAP_AND_WEEK = 1.1
LB_A_CLAW = 0.22
BAIT = "mullet heads"
BOXES_A_TRAP = 0.025

_SET_ON = {
    "Nine Foot": date(2026, 10, 6),
    "Grassy Edge": date(2026, 10, 6),
    "Outer Bar": date(2026, 10, 7),
    "The Hump": date(2026, 10, 8),
    "Ledge": date(2026, 10, 8),
}
_INNER = tuple(
    date(2026, *day) for day in ((10, 16), (10, 23), (10, 30), (11, 6), (11, 13), (11, 19), (11, 25), (12, 2))
)
_OUTER = tuple(
    date(2026, *day) for day in ((10, 15), (10, 22), (10, 29), (11, 5), (11, 12), (11, 18), (11, 24), (12, 1))
)
_PULLED_ON: Mapping[str, Sequence[date]] = {
    "Nine Foot": _INNER,
    "Grassy Edge": _INNER,
    "Outer Bar": _OUTER,
    "The Hump": (*_OUTER[:-1], date(2026, 11, 30)),
    "Ledge": _OUTER,
}
_LOST = ("Outer Bar", 17, date(2026, 11, 24))
_FIRST_HAUL = time(8, 0)
_HAUL_APART = timedelta(minutes=70)


def season_log(strings: Sequence[TrapString], zone_name: str, *, later_days: int = 0) -> list[LogEntry]:
    """What was told to the log up to 2 December 2026, oldest first; or all of it so many days later."""
    zone, later = ZoneInfo(zone_name), timedelta(days=later_days)
    entries = []
    for number, string in enumerate(strings):
        setting = datetime.combine(_SET_ON[string.name] + later, _FIRST_HAUL, zone) + number % 2 * _HAUL_APART
        entries.append(invented(TrapsSet(count=string.traps), string.name, setting))
        last = setting
        for day in _PULLED_ON[string.name]:
            at = datetime.combine(day + later, _FIRST_HAUL, zone) + number % 3 * _HAUL_APART
            entries.append(invented(_haul(string.name, string.traps, last, at), string.name, at))
            last = at
            if (string.name, day) == (_LOST[0], _LOST[2]):
                entries.append(invented(FoundMissing(), string.name, at + timedelta(minutes=5), traps=(_LOST[1],)))
    return sorted(entries, key=lambda entry: entry.order)


def told_after_the_trip(pulls: Iterable[StringPull], told_at: datetime) -> list[LogEntry]:
    """The pulls of a called trip, told once the boat is home."""
    return [
        invented(
            _haul(pull.string, pull.traps, pull.arrives_at - timedelta(hours=pull.soak_h or 0), pull.arrives_at),
            pull.string,
            pull.arrives_at,
            told_at=told_at,
        )
        for pull in pulls
    ]


def _haul(string: str, traps: int, since: datetime, at: datetime) -> Pulled:
    dice = random.Random(f"{string} {at.date().isoformat()}")
    weeks = min((at - since) / timedelta(days=7), 2.0)
    claws = sum(dice.random() < CLAWS_A_TRAP_AND_WEEK * weeks / 3 for _ in range(3 * traps))
    return Pulled(
        legal_claws=claws,
        short_claws=round(0.5 * claws * dice.uniform(0.7, 1.3)),
        float_claws=round(0.08 * claws * dice.uniform(0.5, 1.5)),
        egg_bearing_released=dice.randrange(3),
        lb=round(claws * LB_A_CLAW * dice.uniform(0.95, 1.05), 1),
        bait=BAIT,
        bait_boxes=round(traps * BOXES_A_TRAP * dice.uniform(0.9, 1.1), 2),
    )


def invented(
    detail: Detail,
    string: str | None,
    at: datetime,
    *,
    traps: tuple[int, ...] = (),
    told_at: datetime | None = None,
) -> LogEntry:
    """An entry with an id made from what it says, so that each play of the demo tells the same."""
    key = f"invented {detail} {string} {traps} {at.isoformat()}"
    key = f"invented {detail.kind.value} {uuid5(NAMESPACE_URL, key)}"
    return LogEntry(
        id=str(uuid5(NAMESPACE_URL, key)),
        key=key,
        happened_at=at,
        told_at=told_at or at,
        told_by=TOLD_BY,
        detail=detail,
        string=string,
        traps=traps,
        note=NOTE,
    )
