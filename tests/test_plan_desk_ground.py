"""What the week's plan is told of law, bait and the days of the log. INVENTED DATA."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from law.world import SETTINGS_TOML, World
from plan_scenes import OUTFIT, SOAKED_DAYS, TERMS, TODAY, planned, sea_of
from soakbell import plan_desk
from soakbell.gear.log import BaitBought, BaitOrdered, LogEntry, Pulled
from soakbell.planning.week_plan import PlanGround, plan_week
from soakbell.store import log
from soakbell.store.engine import Store, open_store
from soakbell.store.log_keeper import LogKeeper
from soakbell.store.upgrade import migrate

GroundOf = Callable[[World], PlanGround]
HEADS = OUTFIT.baits[0].name
OPENED = date(2026, 10, 15)
"""R4: config/fisheries/florida-stone-crab.toml."""


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    store = open_store(f"sqlite:///{tmp_path / 'soakbell.db'}")
    migrate(store)
    yield store
    store.close()


@pytest.fixture
def ground_of(store: Store, monkeypatch: pytest.MonkeyPatch) -> GroundOf:
    grounds: list[PlanGround] = []

    def seen(situation, ground, terms, curve, call):  # type: ignore[no-untyped-def]
        grounds.append(ground)
        return plan_week(situation, ground, terms, curve, call)

    def made(sea: World) -> PlanGround:
        monkeypatch.setattr(plan_desk, "plan_week", seen)
        planned(store, sea)
        return grounds[-1]

    return made


@pytest.mark.parametrize(("hands", "gallons"), [(1, 1), (2, 2), (3, 2)])
def test_the_bag_limit_in_gallons_is_reckoned_in_pounds(ground_of: GroundOf, hands: int, gallons: int) -> None:
    """A gallon of claws for each person, two for the vessel: config/fisheries/florida-stone-crab.toml."""
    toml = SETTINGS_TOML.replace('"commercial"', '"recreational"').replace("hands = 2", f"hands = {hands}")
    few = toml.replace("traps = 24", "traps = 2").replace("traps = 36", "traps = 3")
    assert ground_of(sea_of(settings_toml=few)).bag_lb == pytest.approx(gallons * TERMS.lb_a_gallon)


def test_a_catch_for_sale_has_no_bag_limit(ground_of: GroundOf) -> None:
    assert ground_of(sea_of()).bag_lb is None


@pytest.mark.parametrize(("due_in_days", "comes"), [(-1, 0.0), (0, 6.0), (3, 6.0)])
def test_an_order_that_is_late_is_no_bait_of_the_plan(ground_of: GroundOf, due_in_days: int, comes: float) -> None:
    order = BaitOrdered(HEADS, 6.0, TODAY + timedelta(days=due_in_days))
    ground = ground_of(sea_of(SOAKED_DAYS, (BaitBought(HEADS, 9.0), 3.0), (order, 2.0)))
    (bait,) = (bait for bait in ground.baits if bait.bait == HEADS)
    assert sum(bait.arriving_boxes) == comes


def test_an_order_without_a_day_is_late_by_the_supplier_s_lead_time(ground_of: GroundOf) -> None:
    sea = sea_of(SOAKED_DAYS, (BaitBought(HEADS, 9.0), 40.0), (BaitOrdered(HEADS, 6.0), 30.0))
    ground = ground_of(sea)
    (bait,) = (bait for bait in ground.baits if bait.bait == HEADS)
    assert sum(bait.arriving_boxes) == 0.0


@pytest.mark.parametrize(
    ("hour", "day"), [(4, date(2026, 12, 6)), (5, date(2026, 12, 7))], ids=["23:00 EST", "midnight"]
)
def test_a_haul_belongs_to_the_harbor_s_day_of_the_season(store: Store, hour: int, day: date) -> None:
    """At 23:00 EST it is the next day in UTC."""
    sea, at = sea_of(), datetime(2026, 12, 7, hour, tzinfo=UTC)
    haul = LogEntry("late", "late", at, at, "cli", Pulled(legal_claws=41, lb=9.0), "Ledge")
    with store.writing() as session:
        log.append_entries(session, (*sea.entries, haul))
    settings = sea.settings
    desk = plan_desk.PlanDesk(settings, TERMS, OUTFIT, store, LogKeeper(store, settings.trap_strings))
    on_file = desk.curves(datetime(2026, 12, 9, hour, tzinfo=UTC))
    assert on_file is not None
    (seen,) = (haul for haul in on_file.hauls if haul.legal_claws == 41)
    assert seen.season_day == (day - OPENED).days
    assert on_file.season_day == (day - OPENED).days + 2
