"""Season's end as letters tell it: the days, what is not home, the trips and their odds. No call rests on it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from enum import StrEnum

from soakbell.gear.strings import Mark
from soakbell.gear.wishes import Wish
from soakbell.planning.recovery import RecoveryList
from soakbell.planning.season_end import SeasonEnd, StartDay, TakeUpTrip

TOLD_FROM_DAYS = 45
"""Days before the last one with traps in the water from which on letters tell of it (a choice of ours)."""

LETTER_DAYS = (30, 14, 7, 3, 1, 0)
"""Days before it on which the recovery list is a letter (common practice, no source)."""

LETTER_EVERY_DAYS = 7
"""Days from one recovery list to the next while the end isn't in sight and traps of before are out (a choice of
ours)."""

SURE_START = 0.95
"""The chance by whose last day to start on trips get their days, and after which taking up goes before pulling."""

_ONE_DAY = timedelta(days=1)


@dataclass(frozen=True)
class YearsCounted:
    """Past years of one forecast area: the station, and what was not looked at there.

    ``not_held``: limits of the skipper that it doesn't measure. ``prior_months``, by number, have too few days.
    """

    area: str
    station: str
    years: tuple[int, ...]
    not_held: tuple[str, ...]
    prior_months: tuple[int, ...]


class TodayCounts(StrEnum):
    """As what today counts: as a call to take up, or for no trip, in the evening before a likely one too."""

    CALLED = "called"
    NOT = "not"
    LIKELY_NEXT = "likely next"


@dataclass(frozen=True)
class OddsFrom:
    """What the odds were reckoned from.

    Attributes:
        forecast_days: first days, today among them, that are by the forecasts; 0 for none.
        window_min: what a fit day past them carries.
        lacking: sentences without their stops, for the areas whose past years can't be used.
    """

    forecast_days: int
    window_min: float
    counted: tuple[YearsCounted, ...]
    lacking: tuple[str, ...]
    today: TodayCounts


@dataclass(frozen=True)
class OddsGround:
    """What odds rest on besides settings, forecasts and law; where any of it changed they hold no more.

    Attributes:
        bars: of the skipper, for days and strings of the odds.
        marks: of the strings in the trips: name, start and end.
        years_sha256: of what was counted of past years.
    """

    bars: tuple[Wish, ...]
    marks: tuple[tuple[str, Mark, Mark], ...]
    years_sha256: str


@dataclass(frozen=True)
class OddsTold:
    """The odds of a take-up, as of ``day``.

    Attributes:
        plan: the trips, in their order; all that fishes is in them.
        starts: every day up to the deadline, ``day`` first.
        start_by: chances (0 to 1) of being done in time, each with the last day to start on; None: no day has it.
        trips_from: the start that ``trip_days`` are of.
        trip_days: for each trip the day by which it is made in half of the cases; None: not by the deadline.
        last_departure_at: of the call that today counts as; None where it counts for no trip.
    """

    day: date
    deadline: date
    plan: tuple[TakeUpTrip, ...]
    starts: tuple[StartDay, ...]
    start_by: tuple[tuple[float, date | None], ...]
    trips_from: date
    trip_days: tuple[date | None, ...]
    reckoned_from: OddsFrom
    ground: OddsGround
    last_departure_at: datetime | None = None

    @property
    def traps(self) -> int:
        return sum(trip.traps for trip in self.plan)

    @property
    def trips(self) -> int:
        return len(self.plan)

    def start_on(self, day: date) -> StartDay | None:
        return next((start for start in self.starts if start.day == day), None)


@dataclass(frozen=True)
class Rebait:
    """The last day on which fresh bait is of use to a string; None: nothing is harvested any more."""

    string: str
    last_on: date | None
    soak_floor_h: float


@dataclass(frozen=True)
class SeasonAhead:
    """Season's end on ``today``.

    Attributes:
        end: None where no end is known, or it could not be looked up.
        recovery: what is not home, with trips and days to start by; None where that could not be told.
        odds: None past the deadline, long before it, with nothing fishing, and where ``lacking`` says why.
        rebaits: of strings with traps that fish, in the order of the settings.
        lacking: why there are no trips or odds, as a sentence without its stop.
        fault: likewise what failed.
    """

    today: date
    end: SeasonEnd | None = None
    recovery: RecoveryList | None = None
    odds: OddsTold | None = None
    rebaits: tuple[Rebait, ...] = ()
    lacking: str = ""
    fault: str = ""

    @property
    def days_left(self) -> int | None:
        """Below 0 past the deadline."""
        return None if self.end is None else (self.end.deadline - self.today).days

    @property
    def in_sight(self) -> bool:
        """The end is near or past, and not every trap is known to be home."""
        near = self.days_left is not None and self.days_left <= TOLD_FROM_DAYS
        return near and self.recovery is not None and not self.recovery.all_home

    def asks_for_letter(self, told_on: date | None) -> bool:
        """This evening brings the recovery list.

        On LETTER_DAYS, on the eve of a day to start by, and past the deadline every day; what an evening missed
        comes on the next one. Every LETTER_EVERY_DAYS while the end isn't in sight but traps of an earlier season
        are out, or such as the settings don't know.

        Args:
            told_on: the day of the last list before today; None: there was none.
        """
        listed, end = self.recovery, self.end
        if listed is None or listed.all_home:
            return False
        if not self.in_sight or end is None:
            waited = told_on is None or (self.today - told_on).days >= LETTER_EVERY_DAYS
            return waited and bool(listed.of_before or listed.dropped or listed.unknown)
        if self.today > end.deadline:
            return True
        days = [end.deadline - left * _ONE_DAY for left in LETTER_DAYS]
        eves = [start - _ONE_DAY for _, start in listed.starts if start is not None]
        return any(day <= self.today and (told_on is None or told_on < day) for day in (*days, *eves))
