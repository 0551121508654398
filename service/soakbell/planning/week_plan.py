"""Makes the week's plan beside a call, from the situation that the call was made from.

Nothing here can loosen a call: today is pinned to the called strings on PULL, and forbidden on WAIT.

Days are chosen by each string's own chance of a day's work at it, since the chance of a trip is known only with
its strings. The plan, and any other that is held against it, is then held against the weather of all places of its
trips, and weighed by the chances of these trips: worths that are told are of plans so weighed. One that comes out
worth more than the plan takes its place.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, time, timedelta, tzinfo

import numpy as np

from soakbell.gear import wishes as told_wishes
from soakbell.gear.wishes import Wishes
from soakbell.planning.call import Call, CallWord, DayState
from soakbell.planning.catch_curve import HIGH, LOW, CatchCurve, told
from soakbell.planning.decide import DayRules, Situation, StringAhead
from soakbell.planning.fit_chance import (
    LOW_SHARE,
    Beyond,
    DaySpan,
    FitChances,
    Flags,
    day_span,
    error_paths,
    fit_chances,
    place_ahead,
)
from soakbell.planning.haul_worth import HaulWorth, LastDays, StandingString, haul_worth
from soakbell.planning.plan_terms import PlanTerms
from soakbell.planning.pull_plan import (
    ALL_ASKED_UP_TO,
    PlannedPull,
    PullPlan,
    Pulls,
    Solved,
    Why,
    WhyCode,
)
from soakbell.planning.pull_problem import PlanBait, PlanDay, PlanProblem, PlanString, Wish, runs_between
from soakbell.planning.pull_search import EXACT_UP_TO
from soakbell.planning.season_end import SeasonEnd
from soakbell.planning.trips import HARBOR, Trip, fit_departures, plan_trip, possible_departures
from soakbell.planning.visit_order import run_of_way, way_of
from soakbell.planning.waiting import chance_of_none, staying_in
from soakbell.planning.week import (
    CeilingRisk,
    DayKind,
    DayPlan,
    FreeChoice,
    Held,
    HeldBy,
    PastCeiling,
    PinNotMet,
    StringPlan,
    TakeUpAhead,
    Waiting,
    Week,
)
from soakbell.sea.trust import ErrorModel, Numbers

LEAST_CHANCE = 0.25
"""Nobody gets ready for a day that is less likely fit than this: a choice of ours."""

_HAULING_SHARE = 0.75
"""Of a usual window, to reckon what share of a trip a string bears: a choice of ours."""
_ROUNDS = 3
_SHORTER = 0.8
"""A trip that is too unlikely for its places is planned so much shorter, _ROUNDS times, and then not at all."""
_BETTER_USD = 5.0
"""A plan worth less than this more is no better one, by what is known of the catch: a choice of ours."""
_HOURS_A_DAY = 24
_MINUTES_A_DAY = 1440.0
_HOUR = timedelta(hours=1)
_MINUTE = timedelta(minutes=1)
_ROUNDING = 1e-9
_MANY_DAYS = 366


@dataclass(frozen=True)
class PlanGround:
    """What a plan rests on besides the situation of the call.

    Attributes:
        days: today first, as many as are planned for.
        zone: of the harbor.
        price_usd_lb: of claws.
        season_day: today's, since the opening.
        models: how far the forecast errs, by quantity.
        usual_chances: that each of ``days`` is fit, by other years. ``usual_tie``: the correlation of one with the
            next.
        bait_boxes_a_trap: by bait.
        baits: on hand and to come; a bait that isn't here doesn't hold the plan.
        most_traps, bag_lb: of a trip by law; None for no limit.
        end: of the days with traps in the water that today lies in; None: none is in sight. Days after its last
            harvest have bounds too, for taking up.
        law_soak_days: the longest soak that the law allows.
    """

    days: tuple[DayRules, ...]
    zone: tzinfo
    now: datetime
    price_usd_lb: float
    season_day: float
    wishes: Wishes
    models: Mapping[str, ErrorModel] = field(repr=False)
    usual_chances: tuple[float, ...]
    usual_tie: float
    bait_boxes_a_trap: Mapping[str, float] = field(default_factory=dict)
    baits: tuple[PlanBait, ...] = ()
    most_traps: int | None = None
    bag_lb: float | None = None
    end: SeasonEnd | None = None
    law_soak_days: float | None = None


def plan_week(situation: Situation, ground: PlanGround, terms: PlanTerms, curve: CatchCurve, call: Call) -> Week:
    """The plan beside a call of PULL or WAIT that was made from ``situation``.

    Raises:
        ValueError: on NO CALL, beside which nothing is planned; or without any trap in the water.
    """
    if call.word is CallWord.NO_CALL:
        raise ValueError("no week is planned beside NO CALL")
    return _Planner(situation, ground, terms, curve, call).week()


@dataclass(frozen=True)
class _Outing:
    """A trip as the plan makes it: ``minutes`` of all of it, ``home_min`` from the last trap to the harbor, both
    with the boat's margin."""

    minutes: float
    out_min: float
    home_min: float


@dataclass(frozen=True)
class _Made:
    """A plan each of whose trips is carried by the weather of all its places.

    Attributes:
        problem: that it solves, its days not cut. carries: by day the longest trip, where one was found too long.
        usd, lb: what it is worth and lands in these days, by the chances of its own trips.
        proven: no other is worth more by the strings' own chances. bound_usd: by these, before any day was cut.
    """

    problem: PlanProblem
    solved: Solved
    carries: Mapping[int, float]
    pulls: Pulls
    usd: float
    lb: float
    proven: bool
    bound_usd: float

    @property
    def plan(self) -> PullPlan:
        return self.solved.plan

    @property
    def trips(self) -> int:
        return sum(bool(day.visits) for day in self.plan.days)


@dataclass(frozen=True)
class _Other:
    """The next best plan, ``without`` a pull of a string that has its first on ``next_day`` then."""

    without: Wish
    next_day: date | None
    usd: float
    proven: bool


class _Planner:
    """Strings and days by number; day 0 is today.

    Attributes:
        alone: by string paths x days, whether a trip for it alone has a window.
        fit: the same for a day's work, which is at most what the trip of that day is planned to take.
        minutes: by string and day, what four of five windows have.
        harvest_to: the last day on which a catch may be kept; None: no end of that is in sight.
    """

    def __init__(
        self, situation: Situation, ground: PlanGround, terms: PlanTerms, curve: CatchCurve, call: Call
    ) -> None:
        self.situation, self.ground, self.terms, self.curve = situation, ground, terms, curve
        self.window = call.window
        self.ahead = [s for s in situation.strings if s.fishing > 0 and s.oldest_soak_h is not None]
        if not self.ahead:
            raise ValueError("a week without a trap in the water")
        self.names = [s.string.name for s in self.ahead]
        self.days = [rules.day for rules in ground.days]
        pulls = () if call.window is None else call.window.pulls
        self.called = [self.names.index(pull.string) for pull in pulls if pull.string in self.names]
        unknown = {day.day for day in call.outlook if day.state is DayState.NOT_KNOWN}
        self.kinds = [self._kind(number, rules) for number, rules in enumerate(ground.days)]
        self.runs = runs_between(
            situation.harbor, tuple((s.string.name, s.string.start, s.string.end) for s in self.ahead)
        )
        self._draw_weather()
        for number, day in enumerate(self.days):
            lost = self.kinds[number] is DayKind.FORECAST and not any(fit[:, number].any() for fit in self.alone)
            if lost and day in unknown:
                self.kinds[number] = DayKind.NOT_KNOWN
        in_water = sum(s.fishing for s in self.ahead)
        self.traps_a_trip = traps_a_trip(terms, situation.boat.haul_min_per_trap, in_water)
        self.standing = [self._standing(s) for s in self.ahead]
        yesterday, end = self.days[0] - timedelta(days=1), ground.end
        self.harvest_to = None if end is None else end.last_harvest or yesterday
        self.late_usd = self._late_usd()
        self.last_days = [self._last_days(s) for s in self.ahead]
        self._room_on_deck()
        self._worths: dict[tuple[int, bytes], HaulWorth] = {}
        self._outings: dict[tuple[int, frozenset[int], int], tuple[_Outing, FitChances]] = {}

    def week(self) -> Week:
        made, others = self._chosen()
        plan = made.plan
        later = (
            self._held_to_weather(staying_in(made.problem, self._baits(())), made.carries) if self.called else None
        )
        on_record = weather_days(self.ground.models, self.terms.forecast_days)
        return Week(
            days=tuple(self._day(plan, day) for day in range(len(self.days))),
            strings=tuple(self._string(made, others.get(n), n) for n in range(len(self.ahead))),
            waiting=None if later is None else self._waiting(made, later),
            risks=self._risks(),
            past=tuple(past for n in range(len(self.ahead)) if (past := self._past(plan, n)) is not None),
            free=None if later is None else self._free(made, later),
            short_share=self._short_share(made),
            pins_not_met=tuple(
                PinNotMet(wish, self._against_pin(wish, unmet.against))
                for unmet in plan.unmet_pins
                if (wish := told_wishes.Wish(unmet.pin.string, unmet.pin.day)) in self.ground.wishes.pins
                and wish.day in self.days
            ),
            curves=tuple(told(self.curve, name, self.ground.season_day) for name in self.names),
            price_usd_lb=self.ground.price_usd_lb,
            trip_cost_usd=self.terms.trip_cost_usd,
            weather_days=min((days for days in on_record.values() if days), default=0),
            weather_unseen=tuple(quantity for quantity, days in on_record.items() if not days),
            areas_unseen=tuple(
                dict.fromkeys(area for model in self.ground.models.values() for area in model.unseen)
            ),
            enough_days=self.terms.trust.enough_days,
            bait_holds=bool(self.ground.baits),
            take_up=self._take_up(made.pulls),
        )

    # ---- weather

    def _kind(self, number: int, rules: DayRules) -> DayKind:
        if number == 0:
            return DayKind.CALLED
        if self.ground.end is not None and rules.day > self.ground.end.deadline:
            return DayKind.TRAPS_HOME
        if rules.bounds is None:
            return DayKind.CLOSED
        if self.ground.wishes.on(rules.day).day_barred:
            return DayKind.BARRED
        if rules.day.weekday() in self.terms.crew_days_off:
            return DayKind.CREW_OFF
        return DayKind.FORECAST if number < self.terms.forecast_days else DayKind.USUAL

    def _draw_weather(self) -> None:
        terms, ground, places = self.terms, self.ground, self.situation.places
        beyond_day = self.days[0] + timedelta(days=terms.forecast_days)
        beyond_at = datetime.combine(beyond_day, time(0), ground.zone)
        usual = ground.usual_chances[min(terms.forecast_days, len(self.days) - 1)]
        self.beyond = Beyond(beyond_at, usual, terms.usual_window_min, ground.usual_tie)
        self.errors = error_paths(
            ground.models,
            terms.trust.shape,
            now=ground.now,
            hours=math.ceil((beyond_at - ground.now) / _HOUR + self.situation.break_margin_h) + 1,
            days=len(self.days),
            paths=terms.paths,
            seed=terms.seed,
        )
        shallowest_m = min(s.string.depth_m for s in self.situation.strings)
        self.harbor = place_ahead(places[HARBOR], depth_m=shallowest_m)
        self.places = [place_ahead(places[s.string.name], depth_m=s.string.depth_m) for s in self.ahead]
        outings = [self._outing([n]) for n in range(len(self.ahead))]
        all_min = math.fsum(outing.minutes for outing in outings)
        self.alone, self.fit = [], []
        self.minutes = np.zeros((len(self.ahead), len(self.days)))
        for n, outing in enumerate(outings):
            chances = self._chances([n], outing)
            self.minutes[n] = [day.low_window_min for day in chances.days]
            work_min = np.maximum(outing.minutes, np.minimum(all_min, self.minutes[n]))
            self.alone.append(self._as_called(n, chances.fit))
            self.fit.append(self._as_called(n, chances.window_min >= work_min - _ROUNDING))

    def _as_called(self, n: int, fit: Flags) -> Flags:
        """Today by the call, and no bar of the skipper's is planned around."""
        out = fit.copy()
        out[:, [self.names[n] in self.ground.wishes.on(day).barred for day in self.days]] = False
        out[:, 0] = n in self.called
        return out

    def _chances(self, strings: Sequence[int], outing: _Outing, day: int | None = None) -> FitChances:
        """For a trip whose places are all fit for as long as it takes; of all days or one."""
        days = range(len(self.days)) if day is None else [day]
        nowhere = DaySpan(self.days[0], None, None)
        spans = [
            self._span(rules, kind, outing) if number in days else nowhere
            for number, (rules, kind) in enumerate(zip(self.ground.days, self.kinds, strict=True))
        ]
        return fit_chances(
            [self.harbor, *(self.places[n] for n in strings)],
            spans,
            self.errors,
            needed_min=outing.minutes,
            break_margin_h=self.situation.break_margin_h,
            beyond=self.beyond,
        )

    def _of_trip(self, pulls: Pulls, day: int) -> tuple[_Outing, FitChances]:
        """A plan's trip of a day, and its chances."""
        strings, stacked = self._strings_on(pulls, day), self._stacked(pulls, day)
        key = day, frozenset(strings), stacked
        if key not in self._outings:
            outing = self._outing(strings, stacked)
            self._outings[key] = outing, self._chances(strings, outing, day)
        return self._outings[key]

    def _carries(self, pulls: Pulls, day: int) -> float | None:
        """The longest trip that a trip's places carry together, if that is less than it takes; stacking apart."""
        strings = self._strings_on(pulls, day)
        stack_min = self.terms.take_up.stack_min_per_trap * self._stacked(pulls, day)
        outing, told = self._of_trip(pulls, day)
        if told.days[day].chance < LEAST_CHANCE:
            return outing.minutes * _SHORTER - stack_min
        if len(strings) == 1:
            return None
        shortest_min = min(self._outing([n]).minutes for n in strings)
        window_min = told.window_min[:, day]
        low_min = float(np.quantile(window_min[window_min >= shortest_min], LOW_SHARE))
        return low_min - stack_min if low_min + _ROUNDING < outing.minutes else None

    def _too_long(self, pulls: Pulls) -> dict[int, float]:
        """By day what the places of its trip carry, where the trip is longer; today is the call's."""
        days = [day for day in range(1, len(self.days)) if self._strings_on(pulls, day)]
        return {day: carries for day in days if (carries := self._carries(pulls, day)) is not None}

    def _strings_on(self, pulls: Pulls, day: int) -> list[int]:
        return [n for n, of in enumerate(pulls) if any(pull.day == self.days[day] for pull in of)]

    def _taken_up(self, pulls: Pulls, day: int) -> list[int]:
        """Strings whose traps come home with their pull of the day."""
        return [n for n in self._strings_on(pulls, day) if self._comes_home(n, pulls[n]) == day]

    def _comes_home(self, n: int, pulls: Sequence[PlannedPull]) -> int | None:
        """The day of the pull with which a string's traps come home; None where they stay out."""
        last = self.days.index(pulls[-1].day) if pulls else None
        return last if last is not None and self._worth(n, self.fit[n]).comes_home[last + 1] else None

    def _stacked(self, pulls: Pulls, day: int) -> int:
        return sum(self.ahead[n].fishing for n in self._taken_up(pulls, day))

    def _span(self, rules: DayRules, kind: DayKind, outing: _Outing) -> DaySpan:
        if kind not in (DayKind.FORECAST, DayKind.USUAL):
            return DaySpan(rules.day, None, None)
        return day_span(rules.day, rules.bounds, run_out_min=outing.out_min, run_home_min=outing.home_min)

    def _outing(self, strings: Sequence[int], stacked: int = 0) -> _Outing:
        """As ``pull_problem`` reckons it, in the order in which the plan visits them, with ``stacked`` traps."""
        boat, way = self.situation.boat, way_of(self.runs, strings)
        min_a_nmi = 60 / boat.cruise_kt
        hauling = [
            max(self.ahead[n].fishing * boat.haul_min_per_trap, min_a_nmi * self.runs.nmi[1 + 2 * n, 2 + 2 * n])
            for n in strings
        ]
        return _Outing(
            minutes=min_a_nmi * run_of_way(self.runs, way)
            + math.fsum(hauling)
            + self.terms.take_up.stack_min_per_trap * stacked
            + boat.trip_margin_min,
            out_min=min_a_nmi * float(self.runs.nmi[0, way[0][0]]),
            home_min=min_a_nmi * float(self.runs.nmi[way[-1][1], 0]) + boat.trip_margin_min,
        )

    def _trip(self, strings: Sequence[int]) -> Trip:
        """As a call makes it."""
        ahead = [self.ahead[n] for n in strings]
        traps = {s.string.name: s.fishing for s in ahead}
        return plan_trip(self.situation.boat, self.situation.harbor, [s.string for s in ahead], traps)

    # ---- worth

    def _standing(self, ahead: StringAhead) -> StandingString:
        bounds = self.ground.days[0].bounds
        later_h = 0.0 if bounds is None else max(0.0, (bounds.haul_from - ahead.at) / _HOUR)
        oldest_h = (ahead.oldest_soak_h or 0.0) + later_h
        median_h = (ahead.oldest_soak_h if ahead.median_soak_h is None else ahead.median_soak_h) or 0.0
        terms, ceiling_days = self.terms, ahead.string.soak_ceiling_h / _HOURS_A_DAY
        bait_usd = ahead.fishing * terms.bait_usd_a_box * self._boxes_a_trap()
        pull_usd, ground = bait_usd + ahead.fishing * terms.wear_usd_a_trap, self.ground
        return StandingString(
            name=ahead.string.name,
            traps=ahead.fishing,
            soak_days=(median_h + later_h) / _HOURS_A_DAY,
            oldest_days=oldest_h / _HOURS_A_DAY,
            floor_days=ahead.string.soak_floor_h / _HOURS_A_DAY,
            ceiling_days=min(ceiling_days, ground.law_soak_days or ceiling_days),
            pull_usd=pull_usd,
            bait_usd=bait_usd,
            trip_usd=terms.trip_cost_usd * ahead.fishing / self.traps_a_trip,
            law_days=math.inf if ground.law_soak_days is None else ground.law_soak_days,
            overdue_usd=terms.trip_cost_usd + pull_usd,
        )

    def _late_usd(self) -> float:
        """What a string counts that is out past the last day: more than one round of all strings lands."""
        soaks = np.arange(1 + max(s.string.soak_ceiling_h for s in self.ahead) / _HOURS_A_DAY)
        landed_lb = math.fsum(
            s.fishing * float(self.curve.expected_many(s.string.name, soaks, self.ground.season_day).lb.max())
            for s in self.ahead
        )
        return self.ground.price_usd_lb * landed_lb + self.terms.trip_cost_usd

    def _last_days(self, ahead: StringAhead) -> LastDays | None:
        """None where fresh bait is of use through all these days."""
        end, today = self.ground.end, self.days[0]
        if end is None:
            return None
        rebait = end.last_rebait(ahead.string.soak_floor_h)
        if rebait is not None and rebait >= self.days[-1]:
            return None
        return LastDays(
            rebait=-1 if rebait is None else (rebait - today).days,
            home=(end.deadline - today).days,
            late_usd=self.late_usd,
        )

    def _room_on_deck(self) -> None:
        """The called trip goes whatever it hauls, but brings home no more than the deck carries: first of strings
        for which fresh bait is of no use any more."""
        left = math.inf if self.terms.deck_traps is None else self.terms.deck_traps
        for n in sorted(self.called, key=lambda n: self._takes_bait(n, 0)):
            last = self.last_days[n]
            if last is not None and self.ahead[n].fishing > left:
                self.last_days[n] = replace(last, room_today=False)
            elif last is not None:
                left -= self.ahead[n].fishing

    def _boxes_a_trap(self) -> float:
        return math.fsum(self.ground.bait_boxes_a_trap.values())

    def _worth(self, n: int, fit: Flags) -> HaulWorth:
        """Kept, since plans held against each other differ in few of their trips."""
        key = n, np.packbits(fit).tobytes()
        if key not in self._worths:
            self._worths[key] = self._worth_anew(n, fit)
        return self._worths[key]

    def _worth_anew(self, n: int, fit: Flags) -> HaulWorth:
        ground, last = self.ground, self.days[-1]
        pinned = {wish.day for wish in ground.wishes.pins if wish.string == self.names[n]}
        return haul_worth(
            self.standing[n],
            self.curve,
            fit,
            price_usd_lb=ground.price_usd_lb,
            season_day=ground.season_day,
            usual_chance=ground.usual_chances[-1],
            days_after=_MANY_DAYS if self.harvest_to is None else (self.harvest_to - last).days,
            least_chance=LEAST_CHANCE,
            most_lb=math.inf if ground.bag_lb is None else ground.bag_lb,
            may_pull=[
                number
                for number, day in enumerate(self.days)
                if day in pinned or (number == 0 and n in self.called)
            ],
            last=self.last_days[n],
        )

    def _gains(self, fits: Sequence[Flags], going: Sequence[int]) -> tuple[Numbers, Numbers, Numbers]:
        """Gain, pounds and end as in ``PlanProblem``. ``going`` today together land no more than the bag limit."""
        worth = [self._worth(n, fit) for n, fit in enumerate(fits)]
        gain, lb = np.stack([w.gain_usd for w in worth]), np.stack([w.expected_lb for w in worth])
        landed = float(lb[list(going), 0, 0].sum())
        if self.ground.bag_lb is not None and landed > self.ground.bag_lb:
            for n in going:
                kept = lb[n, 0, 0] * self.ground.bag_lb / landed
                gain[n, 0, 0] -= self.ground.price_usd_lb * (lb[n, 0, 0] - kept)
                lb[n, 0, 0] = kept
        return gain, lb, np.stack([w.end_usd for w in worth])

    def _weighed(self, pulls: Pulls) -> tuple[float, float]:
        """What a plan is worth and lands in these days, by the chances of its own trips."""
        fits = [fit.copy() for fit in self.fit]
        trips = [self._strings_on(pulls, day) for day in range(len(self.days))]
        for day, strings in enumerate(trips):
            for n in strings:
                fits[n][:, day] = True if day == 0 else self._of_trip(pulls, day)[1].fit[:, day]
        gain, lb, end = self._gains(fits, trips[0])
        usd, landed_lb = -self.terms.trip_cost_usd * sum(map(bool, trips)), 0.0
        for n, of in enumerate(pulls):
            for pull in of:
                at = n, self._before(pull), self.days.index(pull.day)
                usd += float(gain[at])
                landed_lb += float(fits[n][:, at[2]].mean() * lb[at])
            usd += float(end[n, self.days.index(of[-1].day) + 1 if of else 0])
        return usd, landed_lb

    # ---- the problem

    def _problem(
        self,
        fits: Sequence[Flags],
        *,
        going: Sequence[int] = (),
        may_go: Sequence[int] = (),
        today_min: float = _MINUTES_A_DAY,
    ) -> PlanProblem:
        """Today ``going`` go whatever that takes; of ``may_go`` those that fit into ``today_min``; no others."""
        ground, terms, boat, today = self.ground, self.terms, self.situation.boat, self.days[0]
        staying = [name for n, name in enumerate(self.names) if n not in (*going, *may_go)]
        gain, lb, end = self._gains(fits, going)
        return PlanProblem(
            harbor=self.situation.harbor,
            cruise_kt=boat.cruise_kt,
            strings=tuple(
                PlanString(
                    s.string.name,
                    s.fishing,
                    s.fishing * boat.haul_min_per_trap,
                    s.string.start,
                    s.string.end,
                    {bait.bait: s.fishing * ground.bait_boxes_a_trap.get(bait.bait, 0.0) for bait in ground.baits}
                    if self._takes_bait(n, 0)
                    else {},
                    None if (last := self.last_days[n]) is None else last.rebait,
                )
                for n, s in enumerate(self.ahead)
            ),
            days=tuple(
                PlanDay(
                    day=day,
                    chance=max(float(fit[:, number].mean()) for fit in fits),
                    minutes=today_min if number == 0 else self._carried_min(number),
                    allowed=self.kinds[number] in (DayKind.CALLED, DayKind.FORECAST, DayKind.USUAL),
                    trip_cost_usd=terms.trip_cost_usd,
                    any_traps=number == 0 and bool(going),
                )
                for number, day in enumerate(self.days)
            ),
            gain_usd=gain,
            expected_lb=lb,
            end_usd=end,
            baits=self._baits(going),
            deck_traps=terms.deck_traps,
            most_traps=ground.most_traps,
            bag_lb=ground.bag_lb,
            pins=(
                *(Wish(self.names[n], today) for n in going),
                *(Wish(wish.string, wish.day) for wish in ground.wishes.pins),
            ),
            bars=(
                *(Wish(name, today) for name in staying),
                *(Wish(wish.string, wish.day) for wish in ground.wishes.bars),
            ),
        )

    def _carried_min(self, day: int, most_min: float = math.inf) -> float:
        """The longest trip of a later day, its margin taken off, by the string with the longest windows."""
        likely = [fit[:, day].mean() >= LEAST_CHANCE for fit in self.fit]
        longest_min = min(float(self.minutes[likely, day].max(initial=0.0)), most_min)
        return max(0.0, longest_min - self.situation.boat.trip_margin_min)

    def _takes_bait(self, n: int, day: int) -> bool:
        last = self.last_days[n]
        return last is None or day <= last.rebait

    def _baits(self, going: Sequence[int]) -> tuple[PlanBait, ...]:
        """With boxes made up where those that go today lack any: that is told with the gear, and keeps a called
        trip from nothing here."""
        traps = sum(self.ahead[n].fishing for n in going if self._takes_bait(n, 0))
        baits = []
        for bait in self.ground.baits:
            lacking = traps * self.ground.bait_boxes_a_trap.get(bait.bait, 0.0) - bait.usable_by(0)
            lacking = max(0.0, lacking)
            frozen = bait.frozen_boxes if bait.thaw_days else 0.0
            baits.append(
                replace(
                    bait,
                    usable_boxes=bait.usable_boxes + lacking,
                    frozen_boxes=bait.frozen_boxes - min(lacking, frozen),
                )
            )
        return tuple(baits)

    # ---- plans

    def _chosen(self) -> tuple[_Made, dict[int, _Other]]:
        """The plan, and by string number the next best.

        A plan without a pull that comes out better takes its place, the pull barred; what is next best to that is
        looked for among plans without it, so it isn't proven.
        """
        problem = self._problem(self.fit, going=self.called)
        bound_usd, barred = None, False
        for turn in range(_ROUNDS + 1):
            made = self._held_to_weather(problem, {})
            bound_usd = made.bound_usd if bound_usd is None else bound_usd
            made = replace(made, bound_usd=bound_usd, proven=made.proven and not barred)
            others = {n: other for n in range(len(self.ahead)) if (other := self._other(made, n)) is not None}
            free = [other for n, other in others.items() if n not in self.called]
            best = max(free, key=lambda other: other.usd, default=None)
            if (
                best is None
                or best.usd < made.usd + _BETTER_USD
                or len(self.ahead) > EXACT_UP_TO
                or turn == _ROUNDS
            ):
                break
            problem, barred = replace(problem, bars=(*problem.bars, best.without)), True
        return made, {n: replace(other, proven=other.proven and not barred) for n, other in others.items()}

    def _held_to_weather(self, problem: PlanProblem, carries: Mapping[int, float]) -> _Made:
        """A day whose trip is too long for its places carries less from then on, and the plan is made anew."""
        bound_usd, cut = math.inf, dict(carries)
        for turn in range(_ROUNDS + len(self.days)):
            days = (
                replace(day, minutes=self._carried_min(number, cut[number])) if number in cut else day
                for number, day in enumerate(problem.days)
            )
            solved = Solved(replace(problem, days=tuple(days)))
            pulls = tuple(string.pulls for string in solved.plan.strings)
            if turn == 0:
                bound_usd = solved.plan.bound_usd
            if not (less := self._too_long(pulls)):
                break
            cut |= less if turn < _ROUNDS else dict.fromkeys(less, 0.0)
        usd, lb = self._weighed(pulls)
        proven = solved.plan.proven and cut == carries
        return _Made(problem, solved, cut, pulls, usd, lb, proven, bound_usd)

    def _other(self, made: _Made, n: int) -> _Other | None:
        """Without a string's first pull; None where that isn't asked, or can't be.

        Of a called one what leaving it out of the called trip comes to; of the only one that is staying in.
        """
        planned = made.plan.strings[n]
        if n in self.called:
            if len(self.called) == 1 or len(self.ahead) > ALL_ASKED_UP_TO:
                return None
            going = [other for other in self.called if other != n]
            return self._made_without(made, Wish(self.names[n], self.days[0]), self._baits(going))
        found = made.solved.next_best_of(planned)
        if found is None:
            return None
        if not self._too_long(found.pulls):
            return _Other(found.without, found.instead, self._weighed(found.pulls)[0], found.proven)
        if len(self.ahead) > EXACT_UP_TO:
            return None
        return self._made_without(made, found.without, made.problem.baits)

    def _made_without(self, made: _Made, wish: Wish, baits: Sequence[PlanBait]) -> _Other | None:
        unmet = {unmet.pin for unmet in made.plan.unmet_pins}
        pins = tuple(pin for pin in made.problem.pins if pin not in unmet and pin != wish)
        other = self._held_to_weather(
            replace(made.problem, baits=tuple(baits), pins=pins, bars=(*made.problem.bars, wish)), made.carries
        )
        if other.plan.unmet_pins:
            return None
        pulls = other.pulls[self.names.index(str(wish.string))]
        return _Other(wish, pulls[0].day if pulls else None, other.usd, other.proven)

    def _short_share(self, made: _Made) -> float | None:
        if made.proven and not made.carries:
            return 0.0
        if not math.isfinite(made.bound_usd):
            return None
        short_usd = max(0.0, made.bound_usd - made.plan.value_usd)
        return short_usd / abs(made.bound_usd) if made.bound_usd else None

    # ---- what is told of it

    def _day(self, plan: PullPlan, day: int) -> DayPlan:
        chances = [float(fit[:, day].mean()) for fit in self.fit]
        pulls = {n: pull for n, s in enumerate(plan.strings) for pull in s.pulls if pull.day == self.days[day]}
        told_day = DayPlan(self.days[day], self.kinds[day], max(chances))
        if not pulls:
            return told_day
        of_plan = tuple(string.pulls for string in plan.strings)
        taken_up = self._taken_up(of_plan, day)
        caught, usd = np.zeros(len(self.curve.lb_a_claw)), -self.terms.trip_cost_usd
        for n, pull in pulls.items():
            worth, at = self._worth(n, self.fit[n]), (self._before(pull), day)
            if worth.expected_lb[at] > 0:
                claws = self.curve.draws(self.names[n], worth.age_days[at], self.ground.season_day + day)
                caught += self.ahead[n].fishing * claws * self.curve.lb_a_claw
            usd -= self.standing[n].pull_usd - (self.standing[n].bait_usd if n in taken_up else 0.0)
        if self.ground.bag_lb is not None:
            caught = np.minimum(caught, self.ground.bag_lb)
        order = [visit.string for visit in plan.days[day].visits]
        if day == 0 and self.window is not None:
            order = [pull.string for pull in self.window.pulls if pull.string in self.names]
        low, high = np.quantile(caught, (LOW, HIGH))
        return replace(
            told_day,
            chance=1.0 if day == 0 else self._of_trip(of_plan, day)[1].days[day].chance,
            strings=tuple(order),
            minutes=plan.days[day].minutes
            + self.terms.take_up.stack_min_per_trap * self._stacked(of_plan, day)
            + self.situation.boat.trip_margin_min,
            take_up=tuple(name for name in order if self.names.index(name) in taken_up),
            lb=float(caught.mean()),
            lb_low=float(low),
            lb_high=float(high),
            worth_usd=self.ground.price_usd_lb * float(caught.mean()) + usd,
        )

    def _take_up(self, pulls: Pulls) -> TakeUpAhead | None:
        end = self.ground.end
        if end is None or not any(self.last_days):
            return None
        left = [n for n, of in enumerate(pulls) if self._comes_home(n, of) is None]
        deck_traps = self.terms.deck_traps
        large = [n for n in left if deck_traps is not None and self.ahead[n].fishing > deck_traps]
        in_these_days = end.deadline <= self.days[-1]
        return TakeUpAhead(
            deadline=end.deadline,
            next_set=end.next_set,
            left_out=tuple(self.names[n] for n in left if n not in large) if in_these_days else (),
            too_many=tuple(self.names[n] for n in large) if in_these_days else (),
            may_set=end.last_set is not None and end.last_set >= self.days[0],
            late_usd=self.late_usd,
            no_room=tuple(
                self.names[n]
                for n in self.called
                if (last := self.last_days[n]) is not None and not last.room_today and last.rebait < 0
            ),
        )

    def _before(self, pull: PlannedPull) -> int:
        """The pull before, as ``PlanProblem`` counts it."""
        return 0 if pull.before is None else self.days.index(pull.before) + 1

    def _string(self, made: _Made, other: _Other | None, n: int) -> StringPlan:
        planned, name = made.plan.strings[n], self.names[n]
        day = planned.pulls[0].day if planned.pulls else None
        found = StringPlan(name, day, held=self._why(planned.why, n, day))
        if day is None:
            return found
        if other is not None:
            loses_usd = made.usd - other.usd
            found = replace(found, next_day=other.next_day, loses_usd=loses_usd, at_most=not other.proven)
        return replace(
            found,
            soak_days=self.standing[n].soak_days + self.days.index(day),
            pinned=name in self.ground.wishes.on(day).pinned,
            take_up=self._comes_home(n, planned.pulls) == self.days.index(day),
        )

    def _why(self, why: Why, n: int, day: date | None) -> Held | None:
        """What holds a string; of its own best day, what made it so."""
        first = len(self.days) if day is None else self.days.index(day)
        if n in self.called and first == 0:
            return None
        standing, today = self.standing[n], self.days[0]
        if why.code is WhyCode.BARRED and why.day is not None and not self._barred_by_skipper(n, why.day):
            return Held(HeldBy.NOT_CALLED if why.day == today else HeldBy.OTHER_PULLS, why.day)
        if why.code in (WhyCode.BEST_DAY, WhyCode.PINNED, WhyCode.NOT_RIPE):
            ripe = [at for at in range(first) if standing.oldest_days + at >= standing.floor_days]
            likely = [at for at in ripe if self.fit[n][:, at].mean() >= LEAST_CHANCE]
            if self.called and 0 in ripe and not likely:
                return Held(HeldBy.BARRED if self._barred_by_skipper(n, today) else HeldBy.NOT_CALLED, today)
            return Held(HeldBy.WORTH if likely else HeldBy.WEATHER if ripe else HeldBy.SOAK)
        return self._held(why)

    def _against_pin(self, wish: told_wishes.Wish, why: Why) -> Held:
        day = self.days.index(wish.day)
        strings = [n for n, name in enumerate(self.names) if wish.string in (None, name)]
        if (
            day == 0
            and why.code is WhyCode.BARRED
            and not all(self._barred_by_skipper(n, wish.day) for n in strings)
        ):
            return Held(HeldBy.NOT_CALLED, wish.day)
        unlikely = all(self.fit[n][:, day].mean() < LEAST_CHANCE for n in strings)
        if why.code is WhyCode.NOT_RIPE and unlikely:
            return Held(HeldBy.WEATHER, wish.day)
        return self._held(why)

    def _held(self, why: Why) -> Held:
        by = _SAME.get(why.code, HeldBy.OTHER_PULLS)
        if why.day is not None and self.kinds[self.days.index(why.day)] is DayKind.BARRED:
            by = HeldBy.BARRED
        held = Held(by, why.day, why.values)
        bait = next((bait for bait in self.ground.baits if bait.bait == why.values.get("bait")), None)
        if bait is None:
            return held
        enough = next(enough for enough in self._baits(self.called) if enough.bait == bait.bait)
        added = enough.usable_by(len(self.days)) - bait.usable_by(len(self.days))
        return replace(held, values={**why.values, "has_boxes": _number(why.values["has_boxes"]) - added})

    def _barred_by_skipper(self, n: int, day: date) -> bool:
        wishes = self.ground.wishes.on(day)
        return wishes.day_barred or self.names[n] in wishes.barred

    def _waiting(self, made: _Made, later: _Made) -> Waiting:
        return Waiting(
            made.usd - later.usd,
            made.lb - later.lb,
            next((day.day for day in later.plan.days if day.visits), None),
            trips_saved=made.trips - later.trips,
            proven=made.proven and later.proven,
        )

    def _risks(self) -> tuple[CeilingRisk, ...]:
        risks = []
        for n, standing in enumerate(self.standing):
            left = math.floor(standing.ceiling_days - standing.oldest_days + _ROUNDING)
            last = self.last_days[n]
            if 1 <= left < (len(self.days) if last is None else min(len(self.days), last.home + 1)):
                name, on = self.names[n], self.days[left]
                chance = chance_of_none(self.alone[n], tuple(self.days), {name: on})[name]
                risks.append(CeilingRisk(name, on, chance))
        return tuple(sorted(risks, key=lambda risk: -risk.chance))

    def _past(self, plan: PullPlan, n: int) -> PastCeiling | None:
        """Of a string past its ceiling today, or before the plan pulls it."""
        standing, pulls, law_days = self.standing[n], plan.strings[n].pulls, self.ground.law_soak_days
        day = pulls[0].day if pulls else None
        then_days = standing.oldest_days + (len(self.days) - 1 if day is None else self.days.index(day))
        already = standing.oldest_days + _ROUNDING >= standing.ceiling_days
        if not already and then_days <= standing.ceiling_days + _ROUNDING:
            return None
        return PastCeiling(
            standing.name,
            soak_days=standing.oldest_days,
            already=already,
            day=day,
            then_days=then_days,
            law_days=law_days if law_days is not None and law_days <= then_days + _ROUNDING else None,
        )

    def _free(self, made: _Made, later: _Made) -> FreeChoice | None:
        """The best of staying in and of what the call itself would find fit, within the hours of its window."""
        gone = self._gone_freely(made) if len(self.ahead) <= EXACT_UP_TO else None
        best = later if gone is None or gone.usd < later.usd else gone
        chosen = self._strings_on(best.pulls, 0)
        if best.usd < made.usd + _BETTER_USD or set(chosen) == set(self.called):
            return None
        order = [self.names.index(visit.string) for visit in best.plan.days[0].visits]
        return FreeChoice(tuple(self.names[n] for n in order), best.usd - made.usd)

    def _gone_freely(self, made: _Made) -> _Made | None:
        window, today = self.window, self.days[0]
        if window is None:
            return None
        barred = self.ground.wishes.on(today).barred
        may_go = [
            n
            for n, name in enumerate(self.names)
            if n in self.called or (name not in barred and self._fits_today([n]))
        ]
        freely = []
        for n, fit in enumerate(self.fit):
            freely.append(fit.copy())
            freely[n][:, 0] = n in may_go
        out_min = (window.last_departure_at - window.leaves_at + window.lands_at - window.leaves_at) / _MINUTE
        today_min = max(out_min, self._trip(self.called).duration_min) - self.situation.boat.trip_margin_min
        best = self._held_to_weather(self._problem(freely, may_go=may_go, today_min=today_min), made.carries)
        chosen = self._strings_on(best.pulls, 0)
        return best if not chosen or self._fits_today(chosen) else None

    def _fits_today(self, strings: Sequence[int]) -> bool:
        bounds = self.ground.days[0].bounds
        if bounds is None:
            return False
        trip = self._trip(strings)
        leaves = possible_departures(trip, bounds)
        margin_h = self.situation.break_margin_h
        return bool(fit_departures(trip, leaves, self.situation.places, break_margin_h=margin_h))


def weather_days(models: Mapping[str, ErrorModel], forecast_days: int) -> dict[str, int]:
    """Days on record by quantity: the fewest of the leads that begin within ``forecast_days`` and are on record.

    Leads that no source reaches never come on record, so they say nothing of how much there is.
    """
    found = {}
    for quantity, model in models.items():
        by_lead = zip(model.edges_h[:-1], model.days, strict=True)
        reached = [days for from_h, days in by_lead if days and from_h < 24 * forecast_days]
        found[quantity] = min(reached, default=0)
    return found


def traps_a_trip(terms: PlanTerms, haul_min_per_trap: float, in_water: int) -> float:
    """How many traps a usual trip hauls of those in the water, to share its cost among them; at least 1."""
    in_time = _HAULING_SHARE * terms.usual_window_min / haul_min_per_trap
    return max(1.0, min(in_time, in_water, math.inf if terms.deck_traps is None else terms.deck_traps))


_SAME = {
    WhyCode.BARRED: HeldBy.BARRED,
    WhyCode.NOT_ALLOWED: HeldBy.NO_TRIPS,
    WhyCode.NO_CHANCE: HeldBy.WEATHER,
    WhyCode.NOT_RIPE: HeldBy.SOAK,
    WhyCode.NOT_WORTH: HeldBy.WORTH,
    WhyCode.HOURS: HeldBy.HOURS,
    WhyCode.TRAPS: HeldBy.TRAPS,
    WhyCode.BAG: HeldBy.BAG,
    WhyCode.BAIT: HeldBy.BAIT,
    WhyCode.TRIP_COST: HeldBy.TRIP_COST,
}


def _number(value: object) -> float:
    return float(value) if isinstance(value, (int, float)) else math.nan
