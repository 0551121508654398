"""Five strings of *Little Grebe* with some weeks of pulls in the log, on the invented morning of ``law.world``.

INVENTED DATA: catches are drawn from a fixed seed.
"""

from __future__ import annotations

import random
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

from law.world import NEW_YORK, NOW, SETTINGS_TOML, World, settings_from, world
from soakbell.gear.log import Detail, LogEntry, Pulled, TrapsSet
from soakbell.gear_settings import load_outfit
from soakbell.plan_desk import PlanDesk
from soakbell.plan_settings import load_terms
from soakbell.planning.call import Call
from soakbell.planning.plan_terms import PlanTerms
from soakbell.planning.week import Week
from soakbell.store import log
from soakbell.store.engine import Store
from soakbell.store.log_keeper import LogKeeper

CONFIG = Path(__file__).resolve().parents[1] / "config"
TERMS = load_terms(CONFIG / "plan.toml")
OUTFIT = load_outfit(CONFIG / "gear.toml")
TODAY = NOW.astimezone(NEW_YORK).date()

_THREE_MORE = """
[[strings]]
name = "Grassy Edge"
start = [30.008, -84.190]
end = [30.012, -84.172]
traps = 30
area = "Inner Bay"
depth_m = 3.5
soak_floor_days = 5
soak_ceiling_days = 14
[[strings]]
name = "The Hump"
start = [29.938, -84.150]
end = [29.940, -84.128]
traps = 28
area = "Outer Bay"
depth_m = 6.0
soak_floor_days = 6
soak_ceiling_days = 16
[[strings]]
name = "Ledge"
start = [29.905, -84.172]
end = [29.908, -84.147]
traps = 40
area = "Outer Bay"
depth_m = 8.0
soak_floor_days = 6
soak_ceiling_days = 18
[crew]
"""
FIVE_TOML = SETTINGS_TOML.replace("[crew]\n", _THREE_MORE)
SOAKED_DAYS = {"Nine Foot": 6, "Grassy Edge": 8, "Outer Bar": 10, "The Hump": 3, "Ledge": 12}
"""The Hump is not ripe."""


def day(ahead: int) -> date:
    return TODAY + timedelta(days=ahead)


def sea_of(
    soaked_days: Mapping[str, float] = SOAKED_DAYS,
    *told: tuple[Detail, float],
    pulls: int = 5,
    settings_toml: str = FIVE_TOML,
    **weather: Any,
) -> World:
    """``told``: more of the log, each with how many days ago."""
    settings, drawn = settings_from(settings_toml), random.Random(1)
    entries: list[LogEntry] = []

    def tell(detail: Detail, days_ago: float, string: str | None = None) -> None:
        at, name = NOW - timedelta(days=days_ago), f"entry {len(entries)}"
        entries.append(LogEntry(name, name, at, at, "cli", detail, string))

    for string in settings.trap_strings:
        for before in range(pulls, -1, -1):
            catch = Pulled(
                legal_claws=round(string.traps * drawn.uniform(0.7, 1.6)), lb=round(string.traps * 0.25, 1)
            )
            tell(TrapsSet() if before == pulls else catch, soaked_days[string.name] + 7 * before, string.name)
    for detail, days_ago in told:
        tell(detail, days_ago)
    return replace(world(settings=settings, **weather), entries=tuple(entries))


@dataclass
class Planned:
    """A call and the week beside it."""

    call: Call
    week: Week

    @property
    def strings(self) -> dict[date, tuple[str, ...]]:
        return {plan.day: plan.strings for plan in self.week.days if plan.strings}

    def of(self, string: str) -> Any:
        return next(plan for plan in self.week.strings if plan.string == string)


def planned(store: Store, sea: World, terms: PlanTerms = TERMS) -> Planned:
    with store.writing() as session:
        log.append_entries(session, sea.entries)
    morning = sea.call()
    desk = PlanDesk(sea.settings, terms, OUTFIT, store, LogKeeper(store, sea.settings.trap_strings))
    week = desk.week(morning.call, morning.situation, sea.now, clock_suspect=False)
    assert week is not None
    assert not week.fault
    return Planned(morning.call, week)
