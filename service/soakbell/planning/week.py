"""The days ahead as a plan, for a letter: which strings on which day, what that is worth, what waiting costs.

It makes no call. Today is as the call says: on PULL its strings and no others, on WAIT none.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum

from soakbell.gear.wishes import Wish
from soakbell.planning.catch_curve import CurveTold
from soakbell.planning.season_told import YearsCounted


class DayKind(StrEnum):
    """What a day's chance is from, or why there is none."""

    CALLED = "called"
    FORECAST = "forecast"
    USUAL = "usual"
    NOT_KNOWN = "not known"
    CREW_OFF = "crew off"
    CLOSED = "closed"
    BARRED = "barred"
    TRAPS_HOME = "traps home"


@dataclass(frozen=True)
class DayPlan:
    """One day. ``strings`` in the order in which they are visited.

    ``chance``: that all of them can be hauled; on a day without any, of the string likeliest to. ``lb`` and
    ``worth_usd`` are of a fit day: what is to be expected, with its 80 % interval, and less bait, wear and trip.
    ``take_up`` are those of ``strings`` whose traps come home, without fresh bait.
    """

    day: date
    kind: DayKind
    chance: float
    strings: tuple[str, ...] = ()
    minutes: float = 0.0
    lb: float = 0.0
    lb_low: float = 0.0
    lb_high: float = 0.0
    worth_usd: float = 0.0
    take_up: tuple[str, ...] = ()


class HeldBy(StrEnum):
    """What keeps a string from being planned sooner, or at all; or a pin from being met."""

    SOAK = "soak"
    WEATHER = "weather"
    WORTH = "worth"
    NOT_CALLED = "not called"
    BARRED = "barred"
    NO_TRIPS = "no trips"
    HOURS = "hours"
    TRAPS = "traps"
    BAG = "bag"
    BAIT = "bait"
    TRIP_COST = "trip cost"
    OTHER_PULLS = "other pulls"


@dataclass(frozen=True)
class Held:
    """``values`` are those of ``pull_plan.Why`` where its code says the same; ``day`` is the day that is meant."""

    by: HeldBy
    day: date | None = None
    values: Mapping[str, object] = field(default_factory=dict)


@dataclass(frozen=True)
class StringPlan:
    """Where a string stands in the plan.

    Attributes:
        day: of its first pull, None for none in these days. ``soak_days``: at that pull.
        held: why no sooner; None where nothing holds it.
        next_day: its first pull in the next best plan, without a pull on ``day``; None for none. Of a string of
            the called trip that plan goes all the same, with the others.
        loses_usd: how much less that plan is worth, below 0 for more; None where it wasn't looked for.
        at_most: a better next best plan may have been missed.
        pinned: the skipper pinned it to ``day``.
        take_up: its traps come home with that pull, without fresh bait.
    """

    string: str
    day: date | None
    soak_days: float | None = None
    held: Held | None = None
    next_day: date | None = None
    loses_usd: float | None = None
    at_most: bool = False
    pinned: bool = False
    take_up: bool = False


@dataclass(frozen=True)
class PinNotMet:
    """A pin of the skipper that could not be obeyed, and what stands against it."""

    pin: Wish
    held: Held


@dataclass(frozen=True)
class Waiting:
    """Today as called against today forbidden: the worth lost by staying in, and pounds less landed in these days.

    Attributes:
        next_day: that of the first trip then, None for none in these days.
        trips_saved: how many fewer there are then in these days.
        proven: no better plan of either kind was missed.
    """

    usd: float
    lb: float
    next_day: date | None
    trips_saved: int = 0
    proven: bool = True


@dataclass(frozen=True)
class CeilingRisk:
    """The chance that a string can't be hauled from tomorrow on before ``ceiling_on`` is past."""

    string: str
    ceiling_on: date
    chance: float


@dataclass(frozen=True)
class PastCeiling:
    """A string that is past its soak ceiling today (``already``), or comes to be before the plan pulls it.

    Attributes:
        soak_days: today, of its trap that soaks the longest.
        day: of its first pull in the plan; None for none in these days.
        then_days: that soak on ``day``, or on the last of these days.
        law_days: the longest soak that the law allows, where it is reached by then; else None.
    """

    string: str
    soak_days: float
    already: bool
    day: date | None
    then_days: float
    law_days: float | None = None


@dataclass(frozen=True)
class FreeChoice:
    """What a plan that was free today would pull; () for nothing. ``more_usd``: how much more that is worth.

    It is never worth less than staying in (``Waiting``).
    """

    strings: tuple[str, ...]
    more_usd: float


@dataclass(frozen=True)
class TakeUpAhead:
    """The end of the days with traps in the water, near enough that fresh bait gets useless within these days.

    Attributes:
        deadline: the last of those days.
        next_set: from when on traps may be set again; None where that isn't known.
        left_out: strings that the plan doesn't bring home, where the deadline lies in these days.
        late_usd: what each string left out past the deadline counts in the plan, so that taking up comes first.
        too_many: those that it doesn't because they hold more traps than the deck load: it cuts no string.
        no_room: strings of the called trip that would come home and find no room on deck.
        may_set: traps may still be set today.
    """

    deadline: date
    next_set: date | None
    left_out: tuple[str, ...]
    late_usd: float
    no_room: tuple[str, ...] = ()
    too_many: tuple[str, ...] = ()
    may_set: bool = True


@dataclass(frozen=True)
class Week:
    """The plan for a letter.

    Attributes:
        days: today first.
        strings: in the order of the settings, those with traps in the water.
        waiting: on PULL what staying in would cost. All worths told are held against this one plan, with today as
            called, and weighed by the chances of each plan's own trips.
        risks: of strings that reach their ceiling within these days, the likeliest first.
        past: strings past their ceiling, today or before the plan pulls them.
        free: where a free choice today would be another.
        short_share: each string weighed by its own chance, as the days were chosen, no plan with the same today
            and pins is worth more than the one told by a larger share than this; 0 where none is, None where it
            isn't known.
        curves: how much of each string's curve is the log.
        weather_days: days on record by which forecasts are trusted, the least of what is on record at all;
            ``enough_days`` are needed.
        weather_unseen: quantities that nothing is on record of.
        areas_unseen: areas that nothing is on record of, where something is of others.
        usual_counted, usual_lacking: what usual days rest on, as ``season_told.OddsFrom`` has it.
        take_up: None where season's end isn't near.
        put_off: nothing was planned, since a changed call waits for no plan.
        fault: what could not be told and why, as a sentence without its stop.
    """

    days: tuple[DayPlan, ...] = ()
    strings: tuple[StringPlan, ...] = ()
    waiting: Waiting | None = None
    risks: tuple[CeilingRisk, ...] = ()
    past: tuple[PastCeiling, ...] = ()
    free: FreeChoice | None = None
    short_share: float | None = 0.0
    pins_not_met: tuple[PinNotMet, ...] = ()
    curves: tuple[CurveTold, ...] = ()
    price_usd_lb: float = 0.0
    trip_cost_usd: float = 0.0
    weather_days: int = 0
    weather_unseen: tuple[str, ...] = ()
    areas_unseen: tuple[str, ...] = ()
    enough_days: int = 0
    bait_holds: bool = False
    usual_counted: tuple[YearsCounted, ...] = ()
    usual_lacking: tuple[str, ...] = ()
    take_up: TakeUpAhead | None = None
    put_off: bool = False
    fault: str = ""
