"""Which parts to buy: a reorder point by learned use and lead time, beside what the open mends ask for now."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

from soakbell.gear.fold import GearState, TrapItem, Whereabouts
from soakbell.gear.log import Shares
from soakbell.gear.outfit import Outfit, PartKind
from soakbell.gear.parts import PartLine, PartStock
from soakbell.planning.bench_plan import summed
from soakbell.planning.stock import order_quantity, reorder_point, safety_stock, standard_quantile

PRIOR_WEEKS = 4.0  # how many weeks of the log the skipper's guess of the use is worth (no source; ours)
_DAYS_A_WEEK = 7.0
_WEEK = timedelta(weeks=1)
_OUT_OF_REACH = frozenset({Whereabouts.MISSING, Whereabouts.RETIRED})


@dataclass(frozen=True)
class PartToBuy:
    """A part of which there is too little.

    Attributes:
        told: False where the log never told of the part. Then only what the open mends need is to be bought: a
            stock that isn't known isn't below its reorder point.
        reorder_point: for the use to come, beside ``needed_now``, the pieces that the open mends ask for.
        buy: pieces, in whole packs, that lift the stock to both.
        since: the last that the log tells of the part or of an item that needs it.
    """

    part: str
    told: bool
    on_hand: float
    use_a_week: float
    reorder_point: float
    needed_now: float
    buy: float
    cost_usd: float | None
    since: datetime

    @property
    def level(self) -> int:
        """1 below the reorder point, 2 when mends wait for it."""
        return 2 if self.needed_now > self.on_hand else 1


def use_a_week(kind: PartKind, line: PartLine | None, now: datetime) -> float:
    """Pieces a week: the skipper's guess, worth ``PRIOR_WEEKS`` of the log, and what the log tells was used."""
    if line is None:
        return kind.use_a_week
    weeks = max(0.0, (now - line.first_at) / _WEEK)
    return (PRIOR_WEEKS * kind.use_a_week + line.used) / (PRIOR_WEEKS + weeks)


def part_reorder_point(kind: PartKind, a_week: float, service_level: float) -> float:
    """The whole pieces below which to buy, so that what is left lasts the lead time with this chance.

    Parts break one by one, so the use is held for Poisson: its variance is its mean. The normal stands in for it
    with the correction for whole numbers: r pieces suffice where r + 0.5 is as much as the chance asks for.
    """
    if a_week == 0:
        return 0.0
    a_day = a_week / _DAYS_A_WEEK
    z = standard_quantile(service_level)
    safety = safety_stock(z, kind.lead_days, math.sqrt(a_day), a_day, kind.lead_sd_days)
    suffices = math.ceil(reorder_point(a_day, kind.lead_days, safety) - 0.5)
    return max(0.0, suffices) + 1.0


def parts_needed(gear: GearState, outfit: Outfit) -> dict[str, float]:
    """Pieces of each part that mending everything told would take, of all traps that aren't missing or retired."""
    return summed(_parts_of(told, outfit) for told in _open_items(gear))


def parts_to_buy(gear: GearState, outfit: Outfit, stock: PartStock, now: datetime) -> tuple[PartToBuy, ...]:
    """Parts to buy, those that mends wait for first, else in the order of the settings."""
    needed = parts_needed(gear, outfit)
    found = []
    for kind in outfit.parts:
        line, needed_now = stock.line(kind.name), needed.get(kind.name, 0.0)
        a_week = use_a_week(kind, line, now)
        point = part_reorder_point(kind, a_week, outfit.service_level)
        on_hand = 0.0 if line is None else line.on_hand
        wanted = needed_now if line is None else needed_now + point
        buy = order_quantity(wanted - on_hand, kind.pack)
        if buy == 0:
            continue
        told_at = [told.since for told in _open_items(gear) if kind.name in dict(_parts_of(told, outfit))]
        found.append(
            PartToBuy(
                part=kind.name,
                told=line is not None,
                on_hand=on_hand,
                use_a_week=a_week,
                reorder_point=point,
                needed_now=needed_now,
                buy=buy,
                cost_usd=None if kind.cost_usd is None else buy * kind.cost_usd,
                since=max(told_at if line is None else [line.last_at, *told_at]),
            )
        )
    return tuple(sorted(found, key=lambda part: -part.level))


def _open_items(gear: GearState) -> Iterator[TrapItem]:
    for string in gear.strings.values():
        for trap in string.traps:
            if trap.where not in _OUT_OF_REACH:
                yield from trap.items


def _parts_of(told: TrapItem, outfit: Outfit) -> Shares:
    kind = outfit.condition(told.item)
    return () if kind is None else kind.parts
