"""The standing cast: invented boats and strings on Apalachee Bay, each with one stated role."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from functools import cache

from soakbell.gear.strings import Mark, TrapString
from soakbell.planning.decide import DayRules, Situation, StringAhead
from soakbell.planning.trips import HARBOR, Boat, DayBounds
from soakbell.sea.conditions import Conditions
from soakbell.sea.fitness import Fitness, fitness
from soakbell.sea.limits import Limits
from weather import HOURS, LIMITS, MORNING, conditions, grid, zone_text

NOTCH_CREEK = Mark(30.05, -84.15)
GREBE = Boat(name="Little Grebe", cruise_kt=15, haul_min_per_trap=2.5, trip_margin_min=30)
NINE_FOOT = TrapString("Nine Foot", Mark(30.00, -84.15), Mark(29.99, -84.15), 24, "bay", 3, 120, 264)
OUTER_BAR = TrapString("Outer Bar", Mark(29.95, -84.20), Mark(29.95, -84.22), 30, "bay", 5, 120, 264)
LEDGE = TrapString("Ledge", Mark(29.85, -84.25), Mark(29.85, -84.27), 40, "bay", 8, 120, 264)

TODAY = date(2026, 12, 8)
SUNRISE = datetime(2026, 12, 8, 12, 18, tzinfo=UTC)
SUNSET = datetime(2026, 12, 8, 22, 37, tzinfo=UTC)


def soaked(string: TrapString, days: float) -> StringAhead:
    """``string`` with all traps in the water for ``days``."""
    return StringAhead(string, string.traps, 24 * days, 24 * days, MORNING)


def light(day: int = 0, *, fresh_h: float = 11) -> DayRules:
    """A day's bounds: civil twilight half an hour either side of the sun; data fresh for ``fresh_h`` more."""
    away, half = timedelta(days=day), timedelta(minutes=27)
    return DayRules(
        TODAY + away,
        DayBounds(
            out_from=SUNRISE - half + away,
            home_by=SUNSET + half + away,
            haul_from=SUNRISE + away,
            haul_to=SUNSET + away,
            fresh_until=MORNING + timedelta(hours=fresh_h) + away,
        ),
    )


def situation(
    *strings: StringAhead,
    seas: Conditions | None = None,
    limits: Limits = LIMITS,
    days: tuple[DayRules, ...] = (light(),),
    break_margin_h: float = 1,
    **options: object,
) -> Situation:
    """*Little Grebe* at home with ``strings``, all in the same water."""
    held = fitness(seas or conditions(zone_text(), grid()), limits, depth_m=4)
    places = {HARBOR: held} | {s.string.name: held for s in strings}
    return Situation(GREBE, NOTCH_CREEK, strings, places, days, break_margin_h, **options)  # type: ignore[arg-type]


@cache
def fit_but_at(row: int) -> Fitness:
    """A place where wind stands against one of HOURS and nothing against the others."""
    wind = [18.0 if n == row else 10.0 for n in range(len(HOURS))]
    return fitness(conditions(zone_text(wind_kt=wind), grid()), LIMITS, depth_m=4)


__all__ = ["HOURS"]
