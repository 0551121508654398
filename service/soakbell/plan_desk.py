"""The week's plan for one boat's letters. Nothing that fails here reaches the call: it is told."""

from __future__ import annotations

import logging
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from soakbell.climatology import UsualWeather, usual_weather, years_counted
from soakbell.due_times import local_day
from soakbell.fishery.season import bag_limit, max_soak_h, opened_on, trap_limit
from soakbell.gear.books import Books
from soakbell.gear.outfit import BaitKind, Outfit
from soakbell.gear.soak import soak_of
from soakbell.gear.strings import TrapString
from soakbell.logs import fault_text
from soakbell.morning import day_rules, working_day
from soakbell.planning.bait_need import bait_shares, due_of, is_late, on_hand, use_of
from soakbell.planning.call import Call, CallWord
from soakbell.planning.catch_curve import CatchCurve, CurvePrior, Haul, fit_curve
from soakbell.planning.decide import DayRules, Situation
from soakbell.planning.plan_terms import PlanTerms
from soakbell.planning.pull_problem import PlanBait
from soakbell.planning.season_end import SeasonEnd, season_end
from soakbell.planning.week import Week
from soakbell.planning.week_plan import PlanGround, plan_week, traps_a_trip
from soakbell.sea.trust import ErrorModel
from soakbell.settings import Settings
from soakbell.store.engine import Store
from soakbell.store.log_keeper import Kept, LogKeeper
from soakbell.telling import CanNotTell, in_short
from soakbell.trusting import error_models, kept_record

log = logging.getLogger(__name__)

_SEASON_SEEN_DAYS = 21
"""How far past the days planned for the end of the season is looked for."""
_DAWN_H = 3
"""Bait that thaws in less is ready for the same day's trip: a choice of ours."""
_HOURS_A_DAY = 24
_ONE_DAY = timedelta(days=1)


@dataclass(frozen=True)
class CurvesOnFile:
    """The catch curve and the hauls that it was learned from, for a picture."""

    curve: CatchCurve
    hauls: tuple[Haul, ...]
    season_day: float


class PlanDesk:
    """What the desk asks about the week. ``week`` never raises."""

    def __init__(
        self,
        settings: Settings,
        terms: PlanTerms | str | None,
        outfit: Outfit | str | None,
        store: Store,
        keeper: LogKeeper,
    ) -> None:
        """``terms`` is what the skipper settled, or why it can't be used, or None where he set nothing up."""
        self._settings = settings
        self._terms = terms
        self._outfit = outfit if isinstance(outfit, Outfit) else None
        self._store = store
        self._keeper = keeper
        self._fitted: tuple[tuple[int, int, CurvePrior], CatchCurve] | None = None

    def week(
        self, call: Call, situation: Situation, now: datetime, *, clock_suspect: bool, kept: Kept | None = None
    ) -> Week | None:
        """The plan beside a call that was made from ``situation``.

        None where the skipper has set nothing up, beside NO CALL, out of season and past the last day for traps in
        the water, and without a trap in it.

        Args:
            kept: what the log came to when the call was made; None: the log is looked at now.
        """
        if self._terms is None or call.word is CallWord.NO_CALL or clock_suspect:
            return None
        try:
            if isinstance(self._terms, str):
                return Week(fault=in_short(self._terms))
            return self._week(self._terms, call, situation, now, kept or self._keeper.now())
        except CanNotTell as known:
            return Week(fault=str(known))
        except Exception as fault:
            text = fault_text(fault)
            log.exception("the week could not be planned", extra={"action": "plan", "fault": text})
            return Week(fault=text)

    def curves(self, now: datetime) -> CurvesOnFile | None:
        """The catch curve as it is drawn; None where no plan is set up, or its file can't be used.

        Raises:
            StoreError: the database or the log can't be read.
            CanNotTell: why there is no curve.
        """
        if not isinstance(self._terms, PlanTerms):
            return None
        kept = self._keeper.now()
        today = local_day(now, self._settings.harbor.time_zone)
        curve = self._curve(kept, self._prior(self._terms, kept, now))
        return CurvesOnFile(curve, self._hauls(kept), self._season_day(today))

    def _week(self, terms: PlanTerms, call: Call, situation: Situation, now: datetime, kept: Kept) -> Week | None:
        end = self._end(call.day, terms.horizon_days)
        days = self._days(terms, situation, call.day, end, now)
        fishing = [
            ahead.string for ahead in situation.strings if ahead.fishing and ahead.oldest_soak_h is not None
        ]
        past = end is not None and end.deadline < call.day
        if not fishing or past or all(rules.bounds is None for rules in days):
            return None
        books, usual = self._books(kept), self._usual(terms, fishing, days)
        terms = replace(terms, usual_window_min=usual.window_min)
        settings, sector, region = self._settings, self._settings.sector, self._settings.region
        fishery, hands = settings.fishery, settings.crew.hands
        traps = trap_limit(fishery, call.day, sector=sector, region=region, persons=hands)
        bag = bag_limit(fishery, call.day, sector=sector, region=region, persons=hands)
        soak = max_soak_h(fishery, call.day, sector=sector, region=region)
        ground = PlanGround(
            days=days,
            zone=ZoneInfo(settings.harbor.time_zone),
            now=now,
            price_usd_lb=self._price(terms, books),
            season_day=self._season_day(call.day),
            wishes=kept.gear.wishes,
            models=self._models(terms, now),
            usual_chances=usual.chances,
            usual_tie=usual.correlation,
            bait_boxes_a_trap=self._boxes_a_trap(books),
            baits=self._baits(books, call.day, now, len(days)),
            most_traps=None if traps is None else traps.traps,
            bag_lb=None if bag is None else bag.gallons * terms.lb_a_gallon,
            end=end,
            law_soak_days=None if soak is None else soak.value / _HOURS_A_DAY,
        )
        week = plan_week(situation, ground, terms, self._curve(kept, self._prior(terms, kept, now)), call)
        return replace(week, usual_counted=years_counted(usual), usual_lacking=usual.lacking)

    # ---- days

    def _days(
        self, terms: PlanTerms, situation: Situation, today: date, end: SeasonEnd | None, now: datetime
    ) -> tuple[DayRules, ...]:
        """Days on which traps may only be taken up have bounds too."""
        known = {rules.day: rules for rules in situation.days}

        def rules_of(day: date) -> DayRules:
            if end is not None and (end.last_harvest or today - _ONE_DAY) < day <= end.deadline:
                return DayRules(day, working_day(self._settings, day, now, None))
            return known.get(day) or day_rules(self._settings, day, now, None)

        return tuple(rules_of(today + n * _ONE_DAY) for n in range(terms.horizon_days))

    def _usual(self, terms: PlanTerms, strings: Sequence[TrapString], days: Sequence[DayRules]) -> UsualWeather:
        areas = [self._settings.harbor.area, *(string.area for string in strings)]
        return usual_weather(self._settings, self._store, areas, [rules.day for rules in days], terms)

    def _end(self, today: date, days: int) -> SeasonEnd | None:
        """Where it is in sight."""
        settings = self._settings
        end = season_end(settings.fishery, today, sector=settings.sector, region=settings.region)
        return None if end is None or (end.deadline - today).days >= days + _SEASON_SEEN_DAYS else end

    def _season_day(self, day: date) -> float:
        opened = opened_on(self._settings.fishery, day)
        return 0.0 if opened is None else float((day - opened).days)

    # ---- catch and money

    def _books(self, kept: Kept) -> Books:
        if kept.books is None:
            raise CanNotTell(f"catch and bait: {kept.fault or 'the log could not be booked'}")
        return kept.books

    def _hauls(self, kept: Kept) -> tuple[Haul, ...]:
        zone = ZoneInfo(self._settings.harbor.time_zone)
        return tuple(
            Haul(
                haul.string,
                haul.traps,
                haul.soak_h / _HOURS_A_DAY,
                self._season_day(haul.at.astimezone(zone).date()),
                haul.legal_claws,
                haul.lb,
            )
            for haul in self._books(kept).catch.hauls
        )

    def _curve(self, kept: Kept, prior: CurvePrior) -> CatchCurve:
        """Kept for as long as the log stays as it is. Without a lock, which a fit that hangs would hold."""
        key, fitted = (kept.seq, kept.entries, prior), self._fitted
        if fitted is None or fitted[0] != key:
            strings = [string.name for string in self._settings.trap_strings]
            self._fitted = fitted = key, fit_curve(self._hauls(kept), strings, prior)
        return fitted[1]

    def _prior(self, terms: PlanTerms, kept: Kept, now: datetime) -> CurvePrior:
        """With what a pull costs, by which a string is called ripe."""
        boat, strings, books = self._settings.boat, self._settings.trap_strings, self._books(kept)
        in_water = sum(soak_of(kept.gear, string.name, now).fishing for string in strings)
        a_trap_usd = (
            terms.wear_usd_a_trap
            + terms.bait_usd_a_box * math.fsum(self._boxes_a_trap(books).values())
            + terms.trip_cost_usd / traps_a_trip(terms, boat.haul_min_per_trap, in_water)
        )
        claw_usd = self._price(terms, books) * terms.curve.lb_a_claw.median
        return replace(terms.curve, pull_costs_claws=a_trap_usd / claw_usd)

    def _price(self, terms: PlanTerms, books: Books) -> float:
        """As settled; else what the log's pounds by grade fetched, and the least price before it tells any."""
        if terms.price_usd_lb is not None:
            return terms.price_usd_lb
        prices = (
            {} if self._outfit is None else {g.name: g.price_usd_lb for g in self._outfit.grades if g.price_usd_lb}
        )
        if not prices:
            raise CanNotTell("no price of claws is known; write price_usd_lb in the plan file")
        landed = [
            (lb, prices[grade]) for cell in books.catch.cells for grade, lb in cell.lb_by_grade if grade in prices
        ]
        weighed_lb = math.fsum(lb for lb, _ in landed)
        if weighed_lb <= 0:
            return min(prices.values())
        return math.fsum(lb * price for lb, price in landed) / weighed_lb

    def _models(self, terms: PlanTerms, now: datetime) -> Mapping[str, ErrorModel]:
        record = kept_record(self._settings, self._store, terms.trust, now)
        return error_models(self._settings, record, terms.trust)

    # ---- bait

    def _boxes_a_trap(self, books: Books) -> dict[str, float]:
        if self._outfit is None:
            return {}
        shares = bait_shares(self._outfit, books.bait)
        return {
            kind.name: shares[kind.name] * use_of(self._outfit, books.bait, kind).boxes
            for kind in self._outfit.baits
            if shares[kind.name] > 0
        }

    def _baits(self, books: Books, today: date, now: datetime, days: int) -> tuple[PlanBait, ...]:
        """Of the baits that the log tells of. One that it never told may lie there all the same."""
        if self._outfit is None:
            return ()
        told = [kind for kind in self._outfit.baits if books.bait.came_at(kind.name) is not None]
        return tuple(self._bait(self._outfit, books, kind, today, now, days) for kind in told)

    def _bait(
        self, outfit: Outfit, books: Books, kind: BaitKind, today: date, now: datetime, days: int
    ) -> PlanBait:
        """An order comes after the day's trip, and one that is late not at all; thawing takes whole days."""
        zone = ZoneInfo(self._settings.harbor.time_zone)
        there = on_hand(outfit, books.bait, kind, now)
        thaw_days = 0 if kind.thaw_h <= _DAWN_H else math.ceil(kind.thaw_h / _HOURS_A_DAY)
        usable = there.aboard + there.thawing_since(now + timedelta(hours=_DAWN_H - kind.thaw_h))
        arriving = [0.0] * days
        for order in books.bait.orders:
            if outfit.bait(order.bait) == kind and not is_late(order, outfit.supplier, today, zone):
                comes = (due_of(order, outfit.supplier, zone) - today).days + (thaw_days == 0)
                if comes < days:
                    arriving[comes] += order.boxes
        return PlanBait(kind.name, usable, there.boxes - usable, thaw_days, tuple(arriving))
