"""Makes the week's plan beside a call, from the situation that the call was made from.

Nothing here can loosen a call: today is pinned to the called strings on PULL, and forbidden on WAIT.
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
from soakbell.planning.haul_worth import HaulWorth, StandingString, haul_worth
from soakbell.planning.plan_terms import PlanTerms
from soakbell.planning.pull_plan import ALL_ASKED_UP_TO, PlannedPull, PullPlan, Why, WhyCode, solve_plan
from soakbell.planning.pull_problem import PlanBait, PlanDay, PlanProblem, PlanString, Wish
from soakbell.planning.pull_search import EXACT_UP_TO
from soakbell.planning.trips import HARBOR, Trip, fit_departures, plan_trip, possible_departures
from soakbell.planning.waiting import chance_of_none, what_waiting_costs
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
    Waiting,
    Week,
)
from soakbell.sea.trust import ErrorModel

LEAST_CHANCE = 0.25
"""Nobody gets ready for a day that is less likely fit than this: a choice of ours."""

_HAULING_SHARE = 0.75
"""Of a usual window, to reckon what share of a trip a string bears: a choice of ours."""
_ROUNDS = 3
_SHORTER = 0.8
"""A trip that is too unlikely for its places is planned so much shorter, _ROUNDS times, and then not at all."""
_FREE_FROM_USD = 10.0
"""A free choice worth less than this more is no news."""
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
        bait_boxes_a_trap: by bait.
        baits: on hand and to come; a bait that isn't here doesn't hold the plan.
        most_traps, bag_lb: of a trip by law; None for no limit.
        last_day: the last on which traps may be pulled, None where none is in sight.
        law_soak_days: the longest soak that the law allows.
    """

    days: tuple[DayRules, ...]
    zone: tzinfo
    now: datetime
    price_usd_lb: float
    season_day: float
    wishes: Wishes
    models: Mapping[str, ErrorModel] = field(repr=False)
    bait_boxes_a_trap: Mapping[str, float] = field(default_factory=dict)
    baits: tuple[PlanBait, ...] = ()
    most_traps: int | None = None
    bag_lb: float | None = None
    last_day: date | None = None
    law_soak_days: float | None = None


def plan_week(situation: Situation, ground: PlanGround, terms: PlanTerms, curve: CatchCurve, call: Call) -> Week:
    """The plan beside a call of PULL or WAIT that was made from ``situation``.

    Raises:
        ValueError: on NO CALL, beside which nothing is planned; or without any trap in the water.
    """
    if call.word is CallWord.NO_CALL:
        raise ValueError("no week is planned beside NO CALL")
    return _Planner(situation, ground, terms, curve, call).week()


class _Planner:
    """Strings and days by number; day 0 is today.

    Attributes:
        alone: by string paths x days, whether a trip for it alone has a window.
        fit: the same for a day's work, which is at most what the trip of that day is planned to take.
        minutes: by string and day, what four of five windows have.
        carries: by day the longest trip, where a planned one was found to be too long for its places.
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
        self.traps_today = sum(self.ahead[n].fishing for n in self.called)
        unknown = {day.day for day in call.outlook if day.state is DayState.NOT_KNOWN}
        self.kinds = [self._kind(number, rules) for number, rules in enumerate(ground.days)]
        self._draw_weather()
        for number, day in enumerate(self.days):
            lost = self.kinds[number] is DayKind.FORECAST and not any(fit[:, number].any() for fit in self.alone)
            if lost and day in unknown:
                self.kinds[number] = DayKind.NOT_KNOWN
        in_water = sum(s.fishing for s in self.ahead)
        self.traps_a_trip = traps_a_trip(terms, situation.boat.haul_min_per_trap, in_water)
        self.standing = [self._standing(s) for s in self.ahead]

    def week(self) -> Week:
        worth, problem, plan = self._planned()
        on_record = weather_days(self.ground.models, self.terms.forecast_days)
        return Week(
            days=tuple(self._day(worth, plan, day) for day in range(len(self.days))),
            strings=tuple(self._string(problem, plan, n) for n in range(len(self.ahead))),
            waiting=self._waiting(problem) if self.called else None,
            risks=self._risks(),
            past=tuple(
                PastCeiling(s.name, s.oldest_days, self._law_holds(n))
                for n, s in enumerate(self.standing)
                if s.oldest_days + _ROUNDING >= s.ceiling_days
            ),
            free=self._free(plan) if self.called and len(self.ahead) <= EXACT_UP_TO else None,
            short_share=0.0 if plan.proven else plan.gap if math.isfinite(plan.bound_usd) else None,
            pins_not_met=tuple(
                PinNotMet(wish, self._against_pin(wish, unmet.against))
                for unmet in plan.unmet_pins
                if (wish := told_wishes.Wish(unmet.pin.string, unmet.pin.day)) in self.ground.wishes.pins
                and wish.day in self.days
            ),
            curves=tuple(told(self.curve, name, self.ground.season_day) for name in self.names),
            price_usd_lb=self.ground.price_usd_lb,
            weather_days=min((days for days in on_record.values() if days), default=0),
            weather_unseen=tuple(quantity for quantity, days in on_record.items() if not days),
            enough_days=self.terms.trust.enough_days,
            bait_holds=bool(self.ground.baits),
        )

    # ---- weather

    def _kind(self, number: int, rules: DayRules) -> DayKind:
        if number == 0:
            return DayKind.CALLED
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
        self.beyond = Beyond(beyond_at, terms.usual_chance_on(beyond_day), terms.usual_window_min)
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
        trips = [self._trip([n]) for n in range(len(self.ahead))]
        all_min = math.fsum(trip.duration_min for trip in trips)
        self.alone, self.fit = [], []
        self.minutes = np.zeros((len(self.ahead), len(self.days)))
        self.carries: dict[int, float] = {}
        for n, trip in enumerate(trips):
            chances = self._chances([n], trip)
            self.minutes[n] = [day.low_window_min for day in chances.days]
            work_min = np.maximum(trip.duration_min, np.minimum(all_min, self.minutes[n]))
            self.alone.append(self._as_called(n, chances.fit))
            self.fit.append(self._as_called(n, chances.window_min >= work_min - _ROUNDING))

    def _as_called(self, n: int, fit: Flags) -> Flags:
        """Today by the call, and no bar of the skipper's is planned around."""
        out = fit.copy()
        out[:, [self.names[n] in self.ground.wishes.on(day).barred for day in self.days]] = False
        out[:, 0] = n in self.called
        return out

    def _chances(self, strings: Sequence[int], trip: Trip, day: int | None = None) -> FitChances:
        """For a trip whose places are all fit for as long as it takes; of all days or one."""
        days = range(len(self.days)) if day is None else [day]
        nowhere = DaySpan(self.days[0], None, None)
        spans = [
            self._span(rules, kind, trip) if number in days else nowhere
            for number, (rules, kind) in enumerate(zip(self.ground.days, self.kinds, strict=True))
        ]
        return fit_chances(
            [self.harbor, *(self.places[n] for n in strings)],
            spans,
            self.errors,
            needed_min=trip.duration_min,
            break_margin_h=self.situation.break_margin_h,
            beyond=self.beyond,
        )

    def _planned(self) -> tuple[list[HaulWorth], PlanProblem, PullPlan]:
        """The plan of which every trip has been held against the weather of all its places.

        A day whose trip is too long for that carries less from then on, and the plan is made anew.
        """
        today = self.days[0]
        others = [Wish(name, today) for n, name in enumerate(self.names) if n not in self.called]
        worth = [self._worth(n, fit) for n, fit in enumerate(self.fit)]
        for turn in range(_ROUNDS + len(self.days)):
            pins = [Wish(self.names[n], today) for n in self.called]
            problem = self._problem(worth, pins, others, _MINUTES_A_DAY)
            plan = solve_plan(problem, next_best=False)
            less = {}
            for day in range(1, len(self.days)):
                strings = self._strings_on(plan, day)
                if strings and (carries := self._less(strings, day)) is not None:
                    less[day] = carries if turn < _ROUNDS else 0.0
            if not less:
                break
            self.carries |= less
        return worth, problem, solve_plan(problem)

    def _less(self, strings: Sequence[int], day: int) -> float | None:
        """The longest trip that a trip's places carry together, if that is less than it takes."""
        if len(strings) == 1:
            return None
        trip = self._trip(strings)
        told = self._chances(strings, trip, day)
        if told.days[day].chance < LEAST_CHANCE:
            return trip.duration_min * _SHORTER
        shortest_min = min(self._trip([n]).duration_min for n in strings)
        window_min = told.window_min[:, day]
        low_min = float(np.quantile(window_min[window_min >= shortest_min], LOW_SHARE))
        return low_min if low_min + _ROUNDING < trip.duration_min else None

    def _strings_on(self, plan: PullPlan, day: int) -> list[int]:
        return [self.names.index(visit.string) for visit in plan.days[day].visits]

    def _span(self, rules: DayRules, kind: DayKind, trip: Trip) -> DaySpan:
        if kind not in (DayKind.FORECAST, DayKind.USUAL):
            return DaySpan(rules.day, None, None)
        first, last = trip.hauls[0], trip.hauls[-1]
        home_min = trip.duration_min - last.ends_min
        return day_span(rules.day, rules.bounds, run_out_min=first.starts_min, run_home_min=home_min)

    def _trip(self, strings: Sequence[int]) -> Trip:
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
        return StandingString(
            name=ahead.string.name,
            traps=ahead.fishing,
            soak_days=(median_h + later_h) / _HOURS_A_DAY,
            oldest_days=oldest_h / _HOURS_A_DAY,
            floor_days=ahead.string.soak_floor_h / _HOURS_A_DAY,
            ceiling_days=min(ceiling_days, self.ground.law_soak_days or ceiling_days),
            pull_usd=bait_usd + ahead.fishing * terms.wear_usd_a_trap,
            bait_usd=bait_usd,
            trip_usd=terms.trip_cost_usd * ahead.fishing / self.traps_a_trip,
        )

    def _boxes_a_trap(self) -> float:
        return math.fsum(self.ground.bait_boxes_a_trap.values())

    def _worth(self, n: int, fit: Flags) -> HaulWorth:
        ground, last = self.ground, self.days[-1]
        pinned = {wish.day for wish in ground.wishes.pins if wish.string == self.names[n]}
        return haul_worth(
            self.standing[n],
            self.curve,
            fit,
            price_usd_lb=ground.price_usd_lb,
            season_day=ground.season_day,
            usual_chance=self.terms.usual_chance_on(last),
            days_after=_MANY_DAYS if ground.last_day is None else max(0, (ground.last_day - last).days),
            least_chance=LEAST_CHANCE,
            most_lb=math.inf if ground.bag_lb is None else ground.bag_lb,
            may_pull=[
                number
                for number, day in enumerate(self.days)
                if day in pinned or (number == 0 and n in self.called)
            ],
        )

    # ---- the problem

    def _problem(
        self, worth: Sequence[HaulWorth], pins: Sequence[Wish], bars: Sequence[Wish], today_min: float
    ) -> PlanProblem:
        """``pins`` and ``bars`` besides the skipper's; ``today_min`` is the longest trip of today."""
        ground, terms, boat = self.ground, self.terms, self.situation.boat

        gain, lb = np.stack([w.gain_usd for w in worth]), np.stack([w.expected_lb for w in worth])
        landed = float(lb[self.called, 0, 0].sum())
        if ground.bag_lb is not None and landed > ground.bag_lb:
            for n in self.called:
                kept = lb[n, 0, 0] * ground.bag_lb / landed
                gain[n, 0, 0] -= ground.price_usd_lb * (lb[n, 0, 0] - kept)
                lb[n, 0, 0] = kept
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
                    {bait.bait: s.fishing * ground.bait_boxes_a_trap.get(bait.bait, 0.0) for bait in ground.baits},
                )
                for s in self.ahead
            ),
            days=tuple(self._plan_day(day, today_min) for day in range(len(self.days))),
            gain_usd=gain,
            expected_lb=lb,
            end_usd=np.stack([w.end_usd for w in worth]),
            baits=tuple(self._enough_today(bait) for bait in ground.baits),
            deck_traps=terms.deck_traps,
            most_traps=ground.most_traps,
            bag_lb=ground.bag_lb,
            pins=(*pins, *(Wish(wish.string, wish.day) for wish in ground.wishes.pins)),
            bars=(*bars, *(Wish(wish.string, wish.day) for wish in ground.wishes.bars)),
        )

    def _plan_day(self, day: int, today_min: float) -> PlanDay:
        chances = np.array([fit[:, day].mean() for fit in self.fit])
        likely = chances >= LEAST_CHANCE
        minutes = min(float(self.minutes[likely, day].max(initial=0.0)), self.carries.get(day, math.inf))
        minutes -= self.situation.boat.trip_margin_min
        return PlanDay(
            day=self.days[day],
            chance=float(chances.max()),
            minutes=today_min if day == 0 else max(0.0, minutes),
            allowed=self.kinds[day] in (DayKind.CALLED, DayKind.FORECAST, DayKind.USUAL),
            trip_cost_usd=self.terms.trip_cost_usd,
            any_traps=day == 0 and bool(self.called),
        )

    def _enough_today(self, bait: PlanBait) -> PlanBait:
        """What the called trip lacks is told with its gear, and keeps it from nothing here."""
        needed = self.traps_today * self.ground.bait_boxes_a_trap.get(bait.bait, 0.0)
        lacking = max(0.0, needed - bait.usable_by(0))
        frozen = bait.frozen_boxes if bait.thaw_days else 0.0
        return replace(
            bait,
            usable_boxes=bait.usable_boxes + lacking,
            frozen_boxes=bait.frozen_boxes - min(lacking, frozen),
        )

    # ---- what is told of it

    def _day(self, worth: Sequence[HaulWorth], plan: PullPlan, day: int) -> DayPlan:
        chances = [float(fit[:, day].mean()) for fit in self.fit]
        pulls = {n: pull for n, s in enumerate(plan.strings) for pull in s.pulls if pull.day == self.days[day]}
        told_day = DayPlan(self.days[day], self.kinds[day], max(chances))
        if not pulls:
            return told_day
        caught, usd = np.zeros(len(self.curve.lb_a_claw)), -self.terms.trip_cost_usd
        for n, pull in pulls.items():
            soak_days = worth[n].age_days[self._before(pull), day]
            claws = self.curve.draws(self.names[n], soak_days, self.ground.season_day + day)
            caught += self.ahead[n].fishing * claws * self.curve.lb_a_claw
            usd -= self.standing[n].pull_usd
        if self.ground.bag_lb is not None:
            caught = np.minimum(caught, self.ground.bag_lb)
        order = [visit.string for visit in plan.days[day].visits]
        if day == 0 and self.window is not None:
            order = [pull.string for pull in self.window.pulls if pull.string in self.names]
        low, high = np.quantile(caught, (LOW, HIGH))
        return replace(
            told_day,
            chance=1.0 if day == 0 else self._chances(list(pulls), self._trip(list(pulls)), day).days[day].chance,
            strings=tuple(order),
            minutes=plan.days[day].minutes + self.situation.boat.trip_margin_min,
            lb=float(caught.mean()),
            lb_low=float(low),
            lb_high=float(high),
            worth_usd=self.ground.price_usd_lb * float(caught.mean()) + usd,
        )

    def _before(self, pull: PlannedPull) -> int:
        """The pull before, as ``PlanProblem`` counts it."""
        return 0 if pull.before is None else self.days.index(pull.before) + 1

    def _string(self, problem: PlanProblem, plan: PullPlan, n: int) -> StringPlan:
        planned, name = plan.strings[n], self.names[n]
        day = planned.pulls[0].day if planned.pulls else None
        found = StringPlan(name, day, held=self._why(planned.why, n, day))
        if day is None:
            return found
        next_day, loses_usd = None, None
        if n in self.called and len(self.ahead) <= ALL_ASKED_UP_TO:
            next_day, loses_usd = self._left_out(problem, plan, n)
        elif planned.next_best is not None:
            next_day, loses_usd = planned.next_best.instead, planned.next_best.loses_usd
        return replace(
            found,
            soak_days=self.standing[n].soak_days + self.days.index(day),
            next_day=next_day,
            loses_usd=loses_usd,
            pinned=name in self.ground.wishes.on(day).pinned,
        )

    def _left_out(self, problem: PlanProblem, plan: PullPlan, n: int) -> tuple[date | None, float]:
        """Of a called string the next day, were it left out today, and what that loses; below 0 if it pays."""
        left = Wish(self.names[n], self.days[0])
        other = solve_plan(
            replace(problem, pins=tuple(pin for pin in problem.pins if pin != left), bars=(*problem.bars, left)),
            next_best=False,
        )
        pulls = other.strings[n].pulls
        return pulls[0].day if pulls else None, plan.value_usd - other.value_usd

    def _why(self, why: Why, n: int, day: date | None) -> Held | None:
        """What holds a string; of its own best day, what made it so."""
        first = len(self.days) if day is None else self.days.index(day)
        if n in self.called and first == 0:
            return None
        standing, today = self.standing[n], self.days[0]
        if why.code is WhyCode.BARRED and why.day == today and not self._barred_by_skipper(n):
            return Held(HeldBy.NOT_CALLED, today)
        if why.code in (WhyCode.BEST_DAY, WhyCode.PINNED, WhyCode.NOT_RIPE):
            ripe = [at for at in range(first) if standing.oldest_days + at >= standing.floor_days]
            likely = [at for at in ripe if self.fit[n][:, at].mean() >= LEAST_CHANCE]
            if self.called and 0 in ripe and not likely:
                return Held(HeldBy.BARRED if self._barred_by_skipper(n) else HeldBy.NOT_CALLED, today)
            return Held(HeldBy.WORTH if likely else HeldBy.WEATHER if ripe else HeldBy.SOAK)
        return self._held(why)

    def _against_pin(self, wish: told_wishes.Wish, why: Why) -> Held:
        day = self.days.index(wish.day)
        strings = [n for n, name in enumerate(self.names) if wish.string in (None, name)]
        if day == 0 and why.code is WhyCode.BARRED and not all(self._barred_by_skipper(n) for n in strings):
            return Held(HeldBy.NOT_CALLED, wish.day)
        unlikely = all(self.fit[n][:, day].mean() < LEAST_CHANCE for n in strings)
        if why.code is WhyCode.NOT_RIPE and unlikely:
            return Held(HeldBy.WEATHER, wish.day)
        return self._held(why)

    def _held(self, why: Why) -> Held:
        held = Held(_SAME.get(why.code, HeldBy.OTHER_PULLS), why.day, why.values)
        bait = next((bait for bait in self.ground.baits if bait.bait == why.values.get("bait")), None)
        if bait is None:
            return held
        added = self._enough_today(bait).usable_by(len(self.days)) - bait.usable_by(len(self.days))
        return replace(held, values={**why.values, "has_boxes": _number(why.values["has_boxes"]) - added})

    def _barred_by_skipper(self, n: int) -> bool:
        wishes = self.ground.wishes.on(self.days[0])
        return wishes.day_barred or self.names[n] in wishes.barred

    def _waiting(self, problem: PlanProblem) -> Waiting | None:
        found = what_waiting_costs(problem)
        if found.today is None or found.costs_usd is None:
            return None
        next_day = next((day.day for day in found.later.days if day.visits), None)
        return Waiting(found.costs_usd, self._landed_lb(found.today) - self._landed_lb(found.later), next_day)

    def _landed_lb(self, plan: PullPlan) -> float:
        """Weighed by the chance of each pull."""
        return math.fsum(
            float(self.fit[n][:, self.days.index(pull.day)].mean()) * pull.expected_lb
            for n, planned in enumerate(plan.strings)
            for pull in planned.pulls
        )

    def _risks(self) -> tuple[CeilingRisk, ...]:
        risks = []
        for n, standing in enumerate(self.standing):
            left = math.floor(standing.ceiling_days - standing.oldest_days + _ROUNDING)
            if 1 <= left < len(self.days):
                name, on = self.names[n], self.days[left]
                chance = chance_of_none(self.alone[n], tuple(self.days), {name: on})[name]
                risks.append(CeilingRisk(name, on, chance))
        return tuple(sorted(risks, key=lambda risk: -risk.chance))

    def _law_holds(self, n: int) -> bool:
        """The law's longest soak is what ends this one."""
        law_days = self.ground.law_soak_days
        return law_days is not None and law_days <= self.standing[n].oldest_days + _ROUNDING

    def _free(self, plan: PullPlan) -> FreeChoice | None:
        """Only what the call itself would find fit, within the hours of its window."""
        window, today = self.window, self.days[0]
        if window is None:
            return None
        barred = self.ground.wishes.on(today).barred
        may_go = [
            n
            for n, name in enumerate(self.names)
            if n in self.called or (name not in barred and self._fits_today([n]))
        ]
        worth = []
        for n, fit in enumerate(self.fit):
            freely = fit.copy()
            freely[:, 0] = n in may_go
            worth.append(self._worth(n, freely))
        out_min = (window.last_departure_at - window.leaves_at + window.lands_at - window.leaves_at) / _MINUTE
        today_min = max(out_min, self._trip(self.called).duration_min) - self.situation.boat.trip_margin_min
        bars = [Wish(name, today) for n, name in enumerate(self.names) if n not in may_go]
        best = solve_plan(self._problem(worth, [], bars, today_min), next_best=False)
        chosen = [self.names.index(visit.string) for visit in best.days[0].visits]
        more_usd = best.value_usd - plan.value_usd
        if more_usd < _FREE_FROM_USD or set(chosen) == set(self.called):
            return None
        if chosen and not self._fits_today(chosen):
            return None
        return FreeChoice(tuple(self.names[n] for n in chosen), more_usd)

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
