"""Letters of gear for the standing cast of ``scenes``, each with one role. All data here is invented.

eve-pull            a trip is likely: one bait to thaw in time, another too late
eve-wait            wind likely over its limit
eve-not-decided     nothing can be said of tomorrow
ten-bells           one bell of each kind, and two of upkeep
order-draft         two baits to order, one capped by the freezer, one topped up
order-draft-late    the same while a former order is overdue
order-impossible    less than the supplier's minimum, and no room for more
order-supplier      the order as the supplier gets it
order-copy          the skipper's copy of that
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date, time
from functools import cache

from scenes import BARRED, DAY, FACTS, LOAD, MADE_AT, UPKEEP, est, no_call_stale, pull_morning, wait_by_wind
from soakbell.gear.bait_lots import OpenOrder
from soakbell.letters.bait_order import order_copy, order_draft, order_to_supplier
from soakbell.letters.bells import bells_letter
from soakbell.letters.eve import eve_letter
from soakbell.letters.letter import Letter
from soakbell.planning.ashore import BaitToLoad, Eve, Thaw
from soakbell.planning.bait_order import BaitOrder, OrderLine
from soakbell.planning.bells import Bell, BellCode, SoakDay
from soakbell.planning.call import Call

EVENING = est(18, day=7)
EVE_FACTS = replace(FACTS, due_at=EVENING, next_letter_at=est(4, 30), watch_until=None)
NOON = est(12)


def in_the_evening(call: Call) -> Call:
    """The call as it was likely the evening before, on forecasts of that evening."""
    earlier = MADE_AT - EVENING
    sources = tuple(
        replace(line, issued_at=line.issued_at - earlier, fetched_at=line.fetched_at - earlier)
        for line in call.sources
        if line.issued_at is not None and line.fetched_at is not None
    )
    return replace(call, made_at=EVENING, sources=sources)


EVE = Eve(
    day=DAY,
    call=in_the_evening(pull_morning().call),
    thaw=(
        Thaw("mullet heads", 2.0, est(19, 10, day=7), past=False, short_boxes=0.0),
        Thaw("cowhide", 0.5, est(15, day=7), past=True, short_boxes=0.25),
    ),
    load=replace(
        LOAD,
        bait=(
            BaitToLoad("mullet heads", 99, 2.75, 0.25, 0.5, 0.0, 4.0, 0.5, 2.0),
            BaitToLoad("cowhide", 35, 0.75, 0.0, 0.0, 0.0, 0.5, 0.0, 0.75),
        ),
    ),
    barred=BARRED,
    upkeep=UPKEEP,
)

BELLS = (
    Bell(
        BellCode.SOAK,
        "Nine Foot",
        "2026-11-26T13:30:00Z",
        1,
        est(8, 30, day=6),
        {
            "traps": 24,
            "soak_h": 291.5,
            "soak_start": est(8, 30).replace(month=11, day=26),
            "limit_h": 240.0,
            "ceiling_h": 240.0,
            "law_h": None,
            "law_source": "",
            "may": SoakDay.HARVEST,
            "loads": (tuple(range(1, 25)),),
        },
    ),
    Bell(
        BellCode.UPKEEP,
        "flares",
        "2026-11-30",
        2,
        est(0, day=1),
        {
            "state": "overdue",
            "safety": True,
            "expires": True,
            "due_on": date(2026, 11, 30),
            "left": None,
            "unit": "",
            "source": "the date that stands on each",
        },
    ),
    Bell(
        BellCode.UPKEEP,
        "engine oil",
        "x",
        1,
        est(9, day=7),
        {
            "state": "due soon",
            "safety": False,
            "expires": False,
            "due_on": None,
            "left": 7.5,
            "unit": "engine h",
            "source": "the maker's manual",
        },
    ),
    Bell(
        BellCode.UNSET,
        "Ledge",
        "escape ring 4 2026-12-05T14:00:00Z",
        2,
        est(9, day=5),
        {
            "item": "escape ring",
            "places": (4, 7),
            "rule": "a trap needs an unobstructed escape ring",
            "unknown": False,
        },
    ),
    Bell(
        BellCode.BAIT,
        "mullet heads",
        "x",
        2,
        est(9, day=7),
        {
            "on_hand_boxes": 2.25,
            "on_order_boxes": 0.0,
            "reorder_point_boxes": 4.5,
            "runs_out_on": date(2026, 12, 12),
        },
    ),
    Bell(
        BellCode.PARTS,
        "latch",
        "x",
        1,
        est(9, day=7),
        {"on_hand": 1.0, "reorder_point": 4.0, "needed_now": 1.0, "buy": 10.0},
    ),
    Bell(
        BellCode.SEASON,
        "2027-01-07",
        "2027-01-07",
        1,
        est(0),
        {
            "deadline": date(2027, 1, 7),
            "days_left": 30,
            "fishing": 161,
            "aboard": 0,
            "missing": 1,
            "rule": "all traps must be out of the water within 5 days after the season",
            "source": "an invented rule",
        },
    ),
    Bell(
        BellCode.START,
        "2027-01-07",
        "2027-01-07",
        2,
        est(0),
        {
            "deadline": date(2027, 1, 7),
            "days_left": 30,
            "fishing": 161,
            "chance": 0.95,
            "start_by": DAY,
            "later": ((0.8, date(2026, 12, 16)),),
        },
    ),
    Bell(
        BellCode.HARVEST,
        "2026-12-15",
        "2026-12-15",
        1,
        est(0),
        {
            "last_harvest": date(2026, 12, 15),
            "days_left": 7,
            "traps": 162,
            "rebait": (
                ("Nine Foot", date(2026, 12, 10)),
                ("Grassy Edge", date(2026, 12, 10)),
                ("Ledge", date(2026, 12, 7)),
            ),
        },
    ),
    Bell(
        BellCode.SETTING,
        "2026-12-22",
        "2026-12-22",
        1,
        est(0),
        {
            "set_from": date(2026, 12, 22),
            "days_left": 14,
            "harvest_from": date(2027, 1, 1),
            "waiting": 40,
            "rule": "earliest placing",
            "source": "an invented rule",
        },
    ),
)

ORDER = BaitOrder(
    supplier="Bayside Bait",
    address="orders@bait.example",
    day=DAY,
    order_by=time(14),
    due_on=date(2026, 12, 11),
    lines=(
        OrderLine("mullet heads", 4.0, 7.0, 0.0, 2.25, 0.0, 3.1, 1.4, 4.5, 7.2, 14, date(2026, 12, 12)),
        OrderLine("cowhide", 2.0, 1.0, 1.0, 1.0, 1.0, 2.0, 0.5, 2.5, 2.25, 14, None),
    ),
    freezer_boxes=8.0,
)
OVERDUE = OpenOrder("mullet heads", 3.0, est(9, day=1), date(2026, 12, 4), "an entry", by_service=True)
STRAIGHT = replace(ORDER, straight=True)
IMPOSSIBLE = replace(ORDER, lines=ORDER.lines[:1], minimum_boxes=5.0, no_room=("cowhide",))

GEAR_LETTERS: dict[str, Callable[[], Letter]] = {
    "eve-pull": lambda: eve_letter(EVE, EVE_FACTS, now=EVENING),
    "eve-wait": lambda: eve_letter(
        replace(EVE, call=in_the_evening(wait_by_wind().call), thaw=(), load=None), EVE_FACTS, now=EVENING
    ),
    "eve-not-decided": lambda: eve_letter(
        Eve(DAY, in_the_evening(no_call_stale().call), fault="the clock shows an earlier time than the log"),
        EVE_FACTS,
        now=EVENING,
    ),
    "ten-bells": lambda: bells_letter(BELLS, FACTS, now=NOON),
    "order-draft": lambda: order_draft(ORDER, FACTS, now=NOON),
    "order-draft-late": lambda: order_draft(replace(ORDER, late=(OVERDUE,), held_by_late=True), FACTS, now=NOON),
    "order-impossible": lambda: order_draft(IMPOSSIBLE, FACTS, now=NOON),
    "order-supplier": lambda: order_to_supplier(STRAIGHT, FACTS),
    "order-copy": lambda: order_copy(STRAIGHT, FACTS, now=NOON),
}


@cache
def gear_letter(name: str) -> Letter:
    """The letter of that name, written once for all tests."""
    return GEAR_LETTERS[name]()
