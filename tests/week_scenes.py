"""Weeks beside the calls of the standing cast. All data here is invented."""

from __future__ import annotations

from datetime import date, timedelta

from soakbell.gear.wishes import Wish
from soakbell.planning.catch_curve import CurveTold
from soakbell.planning.week import (
    CeilingRisk,
    DayKind,
    DayPlan,
    FreeChoice,
    Held,
    HeldBy,
    PinNotMet,
    StringPlan,
    Waiting,
    Week,
)

_TODAY = date(2026, 12, 8)
_NAMES = ("Nine Foot", "Grassy Edge", "Outer Bar", "The Hump", "Ledge")


HOURS = {"needs_min": 410.0, "has_min": 330.0, "strings": ("Nine Foot",)}


def _on(day: int) -> date:
    return _TODAY + timedelta(days=day - _TODAY.day)


def curves(hauls: int, level: float, shape: float) -> tuple[CurveTold, ...]:
    return tuple(CurveTold(name, hauls // 5, hauls, 0, level, shape, 6.1, 12.4) for name in _NAMES)


PULL_WEEK = Week(
    days=(
        DayPlan(
            _on(8), DayKind.CALLED, 1.0, ("Nine Foot", "Outer Bar", "The Hump"), 300.0, 38.2, 27.4, 50.1, 455.0
        ),
        DayPlan(_on(9), DayKind.FORECAST, 0.31),
        DayPlan(_on(10), DayKind.FORECAST, 0.04),
        DayPlan(_on(11), DayKind.FORECAST, 0.82, ("Ledge",), 165.0, 14.6, 9.2, 20.4, 118.0),
        DayPlan(_on(12), DayKind.FORECAST, 0.12),
        DayPlan(_on(13), DayKind.CREW_OFF, 0.0),
        DayPlan(_on(14), DayKind.USUAL, 0.41),
        DayPlan(_on(15), DayKind.USUAL, 0.41),
    ),
    strings=(
        StringPlan("Nine Foot", _on(8), 7.1, None, _on(11), 85.0),
        StringPlan("Grassy Edge", None, held=Held(HeldBy.WORTH)),
        StringPlan("Outer Bar", _on(8), 7.2, None, _on(11), 132.0),
        StringPlan("The Hump", _on(8), 5.3, None, None, 12.0),
        StringPlan("Ledge", _on(11), 9.6, Held(HeldBy.HOURS, _on(8), HOURS), _on(14), 44.0),
    ),
    waiting=Waiting(212.0, 21.6, _on(11)),
    risks=(CeilingRisk("Outer Bar", _on(11), 0.14),),
    free=FreeChoice(("Ledge", "Nine Foot", "Outer Bar"), 41.0),
    curves=curves(46, 0.83, 0.21),
    price_usd_lb=18.25,
    trip_cost_usd=120.0,
    weather_days=12,
    enough_days=30,
    bait_holds=True,
)

WAIT_WEEK = Week(
    days=(
        DayPlan(_on(8), DayKind.CALLED, 0.0),
        DayPlan(_on(9), DayKind.FORECAST, 0.31),
        DayPlan(_on(10), DayKind.BARRED, 0.0),
        DayPlan(
            _on(11),
            DayKind.FORECAST,
            0.78,
            ("Nine Foot", "Grassy Edge", "Outer Bar", "The Hump", "Ledge"),
            475.0,
            64.9,
            41.0,
            91.7,
            806.0,
        ),
        DayPlan(_on(12), DayKind.FORECAST, 0.12),
        DayPlan(_on(13), DayKind.NOT_KNOWN, 0.0),
        DayPlan(_on(14), DayKind.USUAL, 0.41),
        DayPlan(_on(15), DayKind.USUAL, 0.41),
    ),
    strings=tuple(
        StringPlan(name, _on(11), 9.0, Held(HeldBy.WEATHER), _on(14), 60.0, pinned=name == "Ledge")
        for name in _NAMES
    ),
    risks=(CeilingRisk("Outer Bar", _on(11), 0.2),),
    short_share=0.0041,
    pins_not_met=(PinNotMet(Wish("The Hump", _on(13)), Held(HeldBy.NO_TRIPS, _on(13))),),
    curves=curves(0, 0.0, 0.0),
    price_usd_lb=14.0,
    trip_cost_usd=120.0,
    weather_days=0,
    enough_days=30,
)
