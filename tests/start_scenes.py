"""A season's start in letters, for the strings of ``scenes``. All data here is invented.

start-of-season   a fortnight before the first day to set on: two deck loads, a limit, damage, two strings untagged
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from functools import cache

from scenes import BENCH_DAY, DAY, FACTS, STRINGS, est, wait_by_wind
from soakbell.fishery.rules import Rule
from soakbell.fishery.season import Opening, SeasonReason, TrapLimit
from soakbell.gear.fold import GearState, StringState, TrapItem, TrapState, Whereabouts
from soakbell.gear.outfit import ConditionKind, Outfit, Standing
from soakbell.gear.parts import PartLine, PartStock
from soakbell.letters.letter import Letter, morning_letter
from soakbell.planning.call import Reason
from soakbell.planning.loading import barred_rows
from soakbell.planning.season_start import (
    SeasonStart,
    mends_ahead,
    ready_to_set,
    set_plan,
    traps_waiting,
    untagged,
)
from soakbell.planning.trips import Boat

BOAT = Boat("Little Grebe", 14.0, 1.5, 30.0)
REASON = SeasonReason("earliest placing", "traps may be set from then", "an invented rule", "second-hand")
OPENING = Opening(date(2026, 12, 22), date(2027, 1, 1), REASON)
OUTFIT = Outfit(
    conditions=(
        ConditionKind("escape ring", Standing.MAY_NOT_BE_SET, 10, (("ring", 1.0),), "a trap needs an escape ring"),
        ConditionKind("latch", Standing.NEXT_PULL, 5, (("latch", 1.0),)),
    ),
    parts=(),
    upkeep=(),
    baits=(),
    supplier=None,
    grades=(),
    service_level=0.95,
    bench_minutes=20,
)
STOCK = PartStock((PartLine("latch", 9.0, 0.0, est(9), est(9)), PartLine("ring", 1.0, 0.0, est(9), est(9))))
DAMAGE = {("Nine Foot", 3): "escape ring", ("Nine Foot", 4): "escape ring", ("Ledge", 30): "latch"}


def rule(name: str, value: object, **more: object) -> Rule[object]:
    given = {"source": "an invented rule book", "checked": date(2026, 11, 14), "sure": "read"}
    return Rule(name=name, value=value, **{**given, **more})  # type: ignore[arg-type]


RULES = (
    rule("escape ring", "One unobstructed ring of 2 inches in an outer wall."),
    rule("buoy", "At least 6 inches, with the number of the boat.", sure="second-hand"),
)


def ashore(string: str, place: int) -> TrapState:
    item = DAMAGE.get((string, place))
    tag = "" if string in ("Ledge", "The Hump") else f"{string[0]} {100 + place}"
    items = () if item is None else (TrapItem(item, est(9)),)
    return TrapState(place, Whereabouts.ASHORE, est(9), None, f"{string} {place}", tag, items)


GEAR = GearState(
    {
        string.name: StringState(
            string.name, string.start, string.end, tuple(ashore(string.name, n + 1) for n in range(string.traps))
        )
        for string in STRINGS
    }
)


def start_of(gear: GearState = GEAR, *, limit: int | None = 150, deck_traps: int = 80) -> SeasonStart:
    """What the desk would tell of it."""
    ready = ready_to_set(gear, OUTFIT)
    law = None if limit is None else TrapLimit(limit, rule("traps a boat", limit))  # type: ignore[arg-type]
    plan = set_plan(
        gear, ready, STRINGS, BOAT, FACTS.harbor_mark,
        deck_traps=deck_traps, stack_min_per_trap=0.5, not_before=OPENING.set_from, limit=law,
    )  # fmt: skip
    return SeasonStart(
        opening=OPENING,
        today=DAY,
        waiting=traps_waiting(gear),
        ready=ready,
        barred=barred_rows(gear, OUTFIT),
        untagged=untagged(gear),
        mends=mends_ahead(gear, OUTFIT, STOCK),
        upkeep=BENCH_DAY.upkeep,
        rules=RULES,  # type: ignore[arg-type]
        plan=plan,
    )


def letter_with(start: SeasonStart | None) -> Letter:
    """A morning out of season."""
    scene = wait_by_wind()
    closed = Reason("out_of_season", {"rule": "harvest opens 1 Jan 2027", "source": "an invented rule"})
    home = tuple(
        replace(state, fishing=0, oldest_soak_h=None, median_soak_h=None, ripe=False, past_ceiling=False)
        for state in scene.call.strings
    )
    call = replace(scene.call, reasons=(closed,), outlook=(), strings=home)
    ashore = replace(BENCH_DAY, barred=barred_rows(GEAR, OUTFIT), start=start)
    return morning_letter(call, scene.facts, kind="morning", previous=None, ashore=ashore)


START_LETTERS: dict[str, Callable[[], Letter]] = {"start-of-season": lambda: letter_with(start_of())}


@cache
def start_letter(name: str) -> Letter:
    return START_LETTERS[name]()
