"""Season's end for one boat's letters. Nothing that fails here reaches the call: it is told."""

from __future__ import annotations

import logging
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from soakbell.climatology import UsualWeather, usual_weather, years_counted
from soakbell.due_times import local_day
from soakbell.fishery.season import TakeUp, opened_on, season_day
from soakbell.gear.fold import GearState, Whereabouts
from soakbell.known_strings import Dropped, KnownStrings
from soakbell.letters.told_days import ToldDay, told_days
from soakbell.morning import as_they_lie, working_day
from soakbell.planning.call import Call
from soakbell.planning.decide import Situation
from soakbell.planning.plan_terms import PlanTerms
from soakbell.planning.recovery import RecoveryList, recovery_list
from soakbell.planning.season_end import (
    SeasonEnd,
    TakeUpPlan,
    TakeUpTrip,
    likely_days,
    season_end,
    take_up_odds,
    weather_ahead,
)
from soakbell.planning.season_told import (
    SURE_START,
    OddsFrom,
    OddsTold,
    Rebait,
    SeasonAhead,
    TodayCounts,
)
from soakbell.planning.take_up_trips import TrapsOut, called_trip, plan_trips
from soakbell.planning.take_up_weather import forecast_windows
from soakbell.sea.trust import Numbers
from soakbell.season_odds import areas_of, fishing_strings, ground_of, keep_odds, kept_odds
from soakbell.settings import Settings
from soakbell.start_desk import NO_DECK_LOAD
from soakbell.store.engine import Store
from soakbell.store.letters import newest_message
from soakbell.store.log_keeper import Kept, LogKeeper
from soakbell.telling import Telling
from soakbell.trusting import error_models, kept_record, trust_terms

log = logging.getLogger(__name__)

RECOVERY = "recovery"
"""The kind of the letter that is the recovery list."""

_ONE_DAY = timedelta(days=1)


@dataclass(frozen=True)
class DeckLoad:
    """Another deck load or stacking time than the boat's, where given."""

    traps: int | None = None
    stack_min_per_trap: float | None = None


@dataclass(frozen=True)
class _Called:
    """A call of today, or the likely one of tomorrow, and what it was made from."""

    call: Call
    situation: Situation


class SeasonDesk:
    """What the desk asks about season's end. Nothing here raises."""

    def __init__(self, settings: Settings, terms: PlanTerms | str | None, store: Store, keeper: LogKeeper) -> None:
        """``terms`` is what the skipper settled, or why it can't be used, or None where he set nothing up."""
        self._settings = settings
        self._terms = terms
        self._store = store
        self._keeper = keeper
        self._known = KnownStrings(settings, store)
        self._planned: tuple[object, TakeUpPlan] | None = None

    def ahead(
        self, call: Call, situation: Situation, now: datetime, *, clock_suspect: bool, kept: Kept | None = None
    ) -> SeasonAhead | None:
        """Beside a call that was made from ``situation``: today counts for a trip only on a PULL to take up.

        None by a suspect clock: no day can be counted by it.

        Args:
            kept: what the log came to when the call was made; None: the log is looked at now.
        """
        return None if clock_suspect else self._told(call.day, now, kept, _Called(call, situation))

    def between(
        self,
        now: datetime,
        *,
        kept: Kept | None = None,
        deck: DeckLoad | None = None,
        trips_always: bool = False,
        draws: bool = True,
        anew: bool = False,
    ) -> SeasonAhead:
        """Without a call: by the odds that the last morning letter kept, or else by the usual weather alone.

        Today counts for a trip only up to the last departure of a call to take up that stands.

        Args:
            draws: where no odds are kept, weather is drawn for them, which takes up to a second; else there are
                none.
            deck: in the place of the boat's, which may be none; then nothing kept is used.
            trips_always: also where the end isn't in sight.
            anew: nothing kept is used.
        """
        today = local_day(now, self._settings.harbor.time_zone)
        return self._told(today, now, kept, deck=deck, trips_always=trips_always, draws=draws, anew=anew)

    def eve(self, likely: Call, situation: Situation, now: datetime, *, kept: Kept | None = None) -> SeasonAhead:
        """Beside the likely call of tomorrow, made from ``situation``, as ``between``.

        One to take up gives the first trip, and the odds are by the forecasts of this evening.
        """
        today = local_day(now, self._settings.harbor.time_zone)
        if likely.day != today + _ONE_DAY or called_trip(likely) is None:
            return self.between(now, kept=kept)
        return self._told(today, now, kept, _Called(likely, situation))

    def keep(self, ahead: SeasonAhead | None, now: datetime) -> None:
        """Keep the odds for what is told before the next morning letter, those of a likely trip too."""
        if ahead is None or ahead.odds is None or not isinstance(self._terms, PlanTerms):
            return
        try:
            keep_odds(self._settings, self._terms, self._store, ahead.odds, now)
        except Exception:
            log.exception("the odds of the season could not be kept", extra={"action": "season"})

    def days_told(self) -> tuple[ToldDay, ...]:
        """Those of the calendar in the last recovery list that was a letter; none where they can't be read."""
        try:
            with self._store.reading() as session:
                message = newest_message(session, self._settings.boat.name, RECOVERY)
            return () if message is None else told_days(message)
        except Exception:
            log.exception("the calendar of the last recovery list can't be read", extra={"action": "season"})
            return ()

    # ---- what is told

    def _told(
        self,
        today: date,
        now: datetime,
        kept: Kept | None,
        called: _Called | None = None,
        *,
        deck: DeckLoad | None = None,
        trips_always: bool = False,
        draws: bool = True,
        anew: bool = False,
    ) -> SeasonAhead:
        telling = Telling()
        looked = telling.of("the log", lambda: (kept or self._keeper.now()).gear)
        if looked is None:
            return SeasonAhead(today, fault=telling.fault)
        gear = looked
        dropped = telling.of("strings of former settings", lambda: self._known.dropped(gear)) or Dropped(gear)
        if dropped.fault:
            telling.faults.append(dropped.fault)
        ahead = telling.of("the recovery list", lambda: self._listed(dropped, today, now))
        if ahead is None or ahead.recovery is None:
            return SeasonAhead(today, fault=telling.fault)
        if telling.fault and ahead.recovery.all_home:
            return replace(ahead, recovery=None, fault=telling.fault)  # what was dropped may not be home
        ahead = replace(ahead, fault=telling.fault)
        if not fishing_strings(gear) or not (ahead.in_sight or trips_always):
            return ahead
        rebaits = telling.of("bait", lambda: self._rebaits(gear, ahead.end)) or ()
        terms, lacking = self._usable(deck)
        reckoned = None
        if terms is not None:
            fresh = anew or called is not None or deck is not None
            reckoned = telling.of(
                "trips and odds",
                lambda: self._reckoned(terms, gear, dropped.gear, ahead, now, called, fresh=fresh, draws=draws),
            )
        return replace(reckoned or ahead, rebaits=rebaits, lacking=lacking, fault=telling.fault)

    def _listed(self, dropped: Dropped, today: date, now: datetime) -> SeasonAhead:
        settings = self._settings
        end = self._end(today)
        listed = recovery_list(
            dropped.gear,
            now,
            today,
            take_up=None if end is None else TakeUp(end.deadline, end.reason),
            season=None if end is None else opened_on(settings.fishery, end.deadline),
        )
        of_before = self._of_before(listed, end)
        return SeasonAhead(
            today, end, replace(listed, dropped=dropped.traps, unknown=dropped.unknown, of_before=of_before)
        )

    def _end(self, day: date) -> SeasonEnd | None:
        return season_end(self._settings.fishery, day, sector=self._settings.sector, region=self._settings.region)

    def _of_before(self, listed: RecoveryList, end: SeasonEnd | None) -> int:
        """Traps that are where they are since a day whose deadline was an earlier one."""
        if end is None:
            return 0
        zone = ZoneInfo(self._settings.harbor.time_zone)
        days = Counter(
            None if trap.since is None else trap.since.astimezone(zone).date() for _, trap in listed.traps()
        )
        ends = {day: None if day is None else self._end(day) for day in days}
        return sum(n for day, n in days.items() if (was := ends[day]) is None or was.deadline < end.deadline)

    def _rebaits(self, gear: GearState, end: SeasonEnd | None) -> tuple[Rebait, ...]:
        if end is None:
            return ()
        return tuple(
            Rebait(string.name, end.last_rebait(string.soak_floor_h), string.soak_floor_h)
            for string in self._settings.trap_strings
            if gear.strings[string.name].places(Whereabouts.FISHING)
        )

    def _usable(self, deck: DeckLoad | None) -> tuple[PlanTerms | None, str]:
        """What trips and odds are reckoned by; or None, and what is lacking for it."""
        terms = self._terms
        if deck is not None and deck.traps is not None and not isinstance(terms, PlanTerms):
            terms = PlanTerms(trust=trust_terms(self._settings))
        if isinstance(terms, str):
            return None, f"the plan file can't be used: {terms.splitlines()[0] if terms.strip() else 'no reason'}"
        if terms is None:
            return None, "no plan is settled; name a plan file in [plan] of the settings"
        if deck is not None:
            stack_min = deck.stack_min_per_trap
            take_up = terms.take_up if stack_min is None else replace(terms.take_up, stack_min_per_trap=stack_min)
            terms = replace(terms, deck_traps=deck.traps or terms.deck_traps, take_up=take_up)
        if terms.deck_traps is None:
            return None, NO_DECK_LOAD
        return terms, ""

    # ---- trips and odds

    def _reckoned(
        self,
        terms: PlanTerms,
        gear: GearState,
        whole: GearState,
        ahead: SeasonAhead,
        now: datetime,
        called: _Called | None,
        *,
        fresh: bool,
        draws: bool,
    ) -> SeasonAhead:
        end, today, listed = ahead.end, ahead.today, ahead.recovery
        assert listed is not None
        last = end.deadline if ahead.in_sight and end is not None else today
        days = [today + n * _ONE_DAY for n in range((last - today).days + 1)]
        use_kept = ahead.in_sight and not fresh
        odds = kept_odds(self._settings, terms, self._store, gear, now, last) if use_kept else None
        if odds is not None:
            return replace(ahead, recovery=self._with_trips(whole, now, listed, odds.plan, odds), odds=odds)
        usual = usual_weather(self._settings, self._store, areas_of(self._settings, gear), days)
        first = None if called is None else called_trip(called.call)
        plan = self._plan(terms, gear, usual.window_min, first)
        if ahead.in_sight and days:
            odds = self._odds(terms, gear, plan, days, usual, now, called) if draws else None
        return replace(ahead, recovery=self._with_trips(whole, now, listed, plan.trips, odds), odds=odds)

    def _with_trips(
        self,
        whole: GearState,
        now: datetime,
        listed: RecoveryList,
        trips: Sequence[TakeUpTrip],
        odds: OddsTold | None,
    ) -> RecoveryList:
        trip_days = () if odds is None else odds.trip_days
        again = recovery_list(
            whole,
            now,
            listed.today,
            take_up=listed.take_up,
            trips=trips,
            days={number: day for number, day in enumerate(trip_days, start=1) if day is not None},
            starts=() if odds is None else odds.start_by,
            season=listed.season,
        )
        return replace(again, dropped=listed.dropped, unknown=listed.unknown, of_before=listed.of_before)

    def _plan(self, terms: PlanTerms, gear: GearState, most_min: float, first: TakeUpTrip | None) -> TakeUpPlan:
        """The trip of a call to take up goes first, so that no letter names two for one day."""
        assert terms.deck_traps is not None
        settings = self._settings
        out = [
            TrapsOut(string, gear.strings[string.name].places(Whereabouts.FISHING))
            for string in as_they_lie(settings.trap_strings, gear)
        ]
        asked = (out, terms.deck_traps, terms.take_up.stack_min_per_trap, most_min, first)
        planned = self._planned
        if planned is not None and planned[0] == asked:
            return planned[1]
        plan = plan_trips(
            settings.boat.as_boat(),
            settings.harbor.mark,
            out,
            deck_traps=terms.deck_traps,
            stack_min_per_trap=terms.take_up.stack_min_per_trap,
            most_min=most_min,
            first=first,
        )
        self._planned = (asked, plan)
        return plan

    def _odds(
        self,
        terms: PlanTerms,
        gear: GearState,
        plan: TakeUpPlan,
        days: Sequence[date],
        usual: UsualWeather,
        now: datetime,
        called: _Called | None,
    ) -> OddsTold:
        """Days on which nobody may or will go out have no window, whatever the weather."""
        forecast = None if called is None else self._forecast(terms, gear, days, now, called.situation)
        windows = weather_ahead(
            usual.chances,
            window_min=usual.window_min,
            correlation=usual.correlation,
            forecast=forecast,
            seed=terms.seed,
        )
        today, deadline, take_up = days[0], days[-1], terms.take_up
        counts, last_departure_at = _today_counts(called if plan.called else None, today, terms)
        windows[:, 0] = np.minimum(windows[:, 0], plan.trips[0].minutes if last_departure_at else 0.0)
        windows[:, [day > today and self._ashore(terms, gear, day) for day in days]] = 0
        trips_a_day, unload_min = take_up.trips_a_day, take_up.unload_min_per_trap
        odds = take_up_odds(
            plan,
            windows,
            today,
            deadline,
            starts=len(days),
            trips_a_day=trips_a_day,
            unload_min_per_trap=unload_min,
        )
        begin = max(dict(odds.start_by)[SURE_START] or today, min(today + _ONE_DAY, deadline))
        if called is not None and counts is not TodayCounts.NOT:
            begin = called.call.day
        return OddsTold(
            day=today,
            deadline=deadline,
            plan=plan.trips,
            starts=odds.starts,
            start_by=odds.start_by,
            trips_from=begin,
            trip_days=likely_days(
                plan, windows, today, begin, trips_a_day=trips_a_day, unload_min_per_trap=unload_min
            ),
            reckoned_from=OddsFrom(
                forecast_days=0 if forecast is None else forecast.shape[1],
                window_min=usual.window_min,
                counted=years_counted(usual),
                lacking=usual.lacking,
                today=counts,
            ),
            ground=ground_of(gear, usual, today, deadline),
            last_departure_at=last_departure_at,
        )

    def _forecast(
        self, terms: PlanTerms, gear: GearState, days: Sequence[date], now: datetime, situation: Situation
    ) -> Numbers:
        """Of the days that the official sources ought to reach."""
        record = kept_record(self._settings, self._store, terms.trust, now)
        models = error_models(self._settings, record, terms.trust)
        near = {day: working_day(self._settings, day, now, None) for day in days[: terms.forecast_days]}
        return forecast_windows(situation, fishing_strings(gear), near, models, terms, now)

    def _ashore(self, terms: PlanTerms, gear: GearState, day: date) -> bool:
        """The crew is off, or the skipper barred the day or a string that is out, or the law knows no trap in the
        water that day."""
        settings, wishes = self._settings, gear.wishes.on(day)
        barred = wishes.day_barred or wishes.barred & fishing_strings(gear).keys()
        if day.weekday() in terms.crew_days_off or barred:
            return True
        law = season_day(settings.fishery, day, sector=settings.sector, region=settings.region)
        return not law.traps_may_be_in_water


def _today_counts(called: _Called | None, today: date, terms: PlanTerms) -> tuple[TodayCounts, datetime | None]:
    """As what today counts beside a call to take up, and up to when. The skipper's bars stand in that call."""
    window = None if called is None else called.call.window
    if called is None or window is None:
        return TodayCounts.NOT, None
    if called.call.day > today:
        return TodayCounts.LIKELY_NEXT, None
    if today.weekday() in terms.crew_days_off:
        return TodayCounts.NOT, None
    return TodayCounts.CALLED, window.last_departure_at
