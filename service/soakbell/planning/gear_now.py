"""Gear and bait at one moment, whatever trip comes next: what the phone page tells of them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from soakbell.gear.bait_lots import BaitLot, OpenOrder
from soakbell.gear.parts import PartLine
from soakbell.planning.ashore import Ashore, MendAtPull, PartToCarry, Thaw
from soakbell.planning.bait_need import BaitNeed
from soakbell.planning.bait_order import BaitLevel


@dataclass(frozen=True)
class BaitNow:
    """One bait: how it stands against its reorder point, and what lies where and is needed day by day."""

    level: BaitLevel
    need: BaitNeed


@dataclass(frozen=True)
class GearNow:
    """What letters tell of gear or of bait, without a trip.

    Attributes:
        set_up: the skipper settled his gear, whether or not that can be used.
        ashore: as in the letter of a day without a trip; its fault is that of all the rest here too.
        mends: for the next pull, whichever string it is of; ``parts`` are for all of them.
        stock: pieces on hand, as the log tells.
        baits: those of the gear file; empty where they can't be told.
        lots: bait as the log told it. What traps took without boxes told is still in it.
        orders: open ones; ``late`` of them should have come.
        thaw: for a trip at dawn of ``tomorrow`` to the strings that would be hauled first.
    """

    set_up: bool
    ashore: Ashore
    tomorrow: date
    mends: tuple[MendAtPull, ...] = ()
    parts: tuple[PartToCarry, ...] = ()
    stock: tuple[PartLine, ...] = ()
    baits: tuple[BaitNow, ...] = ()
    lots: tuple[BaitLot, ...] = ()
    orders: tuple[OpenOrder, ...] = ()
    late: tuple[OpenOrder, ...] = ()
    thaw: tuple[Thaw, ...] = ()
