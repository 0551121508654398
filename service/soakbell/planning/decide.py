"""Makes the call from what the rooms below say. There is no default call: PULL must be earned."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from datetime import date, datetime, timedelta

import numpy as np
import pandas as pd

from soakbell.gear.strings import Mark, TrapString
from soakbell.gear.wishes import DayWishes
from soakbell.planning.call import (
    Binding,
    CallWord,
    DayOutlook,
    DayState,
    Reason,
    StringPull,
    StringState,
    Window,
)
from soakbell.planning.deck_load import most_home, orders_of
from soakbell.planning.trips import (
    DEPARTURE_STEP_MIN,
    Boat,
    DayBounds,
    Trip,
    fit_departures,
    least_headroom,
    part_of,
    plan_trip,
    possible_departures,
    stretches,
    visited,
)
from soakbell.sea.fitness import CARRYING, Fitness


@dataclass(frozen=True)
class DayRules:
    """One local day as light and law leave it. ``bounds`` is None where nothing may be hauled that day.

    ``reasons`` say why nothing may be pulled for its catch. ``take_up`` is the reason ``take_up_only`` of a day on
    which traps may be hauled to bring them home, and for nothing else.
    ``brings_home`` names the strings that a pull of that day brings home: fresh bait is of no use there any more.
    ``stalest`` names the source, kind and key, that is too old first. ``wishes`` are the skipper's for that day.
    """

    day: date
    bounds: DayBounds | None
    reasons: tuple[Reason, ...] = ()
    stalest: str = ""
    wishes: DayWishes = field(default_factory=DayWishes)
    take_up: Reason | None = None
    brings_home: frozenset[str] = frozenset()


@dataclass(frozen=True)
class StringAhead:
    """A string and its soak, for judging days ahead. ``oldest_soak_h`` counts at ``at``; None: nothing fishing."""

    string: TrapString
    fishing: int
    oldest_soak_h: float | None
    median_soak_h: float | None
    at: datetime
    places: tuple[int, ...] = ()
    """Of the traps that fish."""

    def soak_h(self, when: datetime) -> float | None:
        if self.oldest_soak_h is None:
            return None
        return self.oldest_soak_h + (when - self.at) / timedelta(hours=1)

    def ripe(self, when: datetime) -> bool:
        soak = self.soak_h(when)
        return soak is not None and soak >= self.string.soak_floor_h


@dataclass(frozen=True)
class Situation:
    """All that a boat's call is made from.

    Attributes:
        places: fitness by string name, and of the harbor under HARBOR; one common hourly index.
        days: today first, then the days ahead.
        faults: reasons that stand against any call and any fit day whatever the hours say (a suspect clock, a
            string on ground that nothing speaks of).
    """

    boat: Boat
    harbor: Mark
    strings: tuple[StringAhead, ...]
    places: Mapping[str, Fitness] = field(repr=False)
    days: tuple[DayRules, ...]
    break_margin_h: float
    faults: tuple[Reason, ...] = ()


@dataclass(frozen=True)
class Verdict:
    """What was decided, before it is dressed for a letter."""

    word: CallWord
    window: Window | None
    trip: Trip | None
    reasons: tuple[Reason, ...]
    outlook: tuple[DayOutlook, ...]


def decide(situation: Situation) -> Verdict:
    """PULL, WAIT or NO CALL for the first of the situation's days, and the outlook for the others.

    On a day for taking up, whatever fishes is due, however short its soak; stacking is reckoned besides hauling,
    and the trip brings home the most that its hours and the deck carry, the last string in part. All else is asked
    as on any day. Stacking is reckoned as well where a pull for the catch brings a string's traps home.

    PULL only where a trip to at least one ripe string lies wholly in fit hours, within light and law, on data
    fresh when it leaves. NO CALL where such a trip can't be ruled out for want of data. Else WAIT.

    What the skipper barred is left out. A string that he pinned goes before others and needn't be ripe; its hours
    must be fit as any string's.
    """
    judged = [_judge(situation, rules, today=i == 0) for i, rules in enumerate(situation.days)]
    outlook = tuple(
        replace(day, reasons=(*day.reasons, *_pins_not_met(rules.wishes, trip)))
        for rules, (day, trip) in zip(situation.days, judged, strict=True)
    )
    today, trip = outlook[0], judged[0][1]
    if situation.faults:
        doubted = tuple(_doubted(day, situation.faults) for day in outlook)
        return Verdict(CallWord.NO_CALL, None, None, situation.faults + today.reasons, doubted)
    if today.state is DayState.FIT and today.window is not None:
        return Verdict(CallWord.PULL, today.window, trip, today.reasons, outlook)
    word = CallWord.NO_CALL if today.state is DayState.NOT_KNOWN else CallWord.WAIT
    return Verdict(word, None, None, today.reasons, outlook)


def _doubted(day: DayOutlook, faults: tuple[Reason, ...]) -> DayOutlook:
    if day.state is not DayState.FIT:
        return day
    return replace(day, state=DayState.NOT_KNOWN, window=None, binding=None, reasons=faults)


def string_states(situation: Situation, now: datetime) -> tuple[StringState, ...]:
    """Every string as it stands, in the order of the settings."""
    return tuple(
        StringState(
            string=ahead.string.name,
            fishing=ahead.fishing,
            oldest_soak_h=ahead.soak_h(now),
            median_soak_h=ahead.median_soak_h,
            ripe=ahead.ripe(now),
            past_ceiling=(ahead.soak_h(now) or 0.0) > ahead.string.soak_ceiling_h,
            floor_h=ahead.string.soak_floor_h,
            ceiling_h=ahead.string.soak_ceiling_h,
        )
        for ahead in situation.strings
    )


def barred_since(trip: Trip, window: Window, situation: Situation, now: datetime) -> bool:
    """Whether the skipper has barred the day of a called trip, or a string of it before the boat may leave.

    Once it may be out, which strings he leaves is his affair and no news to him.
    """
    wishes = situation.days[0].wishes
    return wishes.day_barred or (now < window.leaves_at and any(leg.string in wishes.barred for leg in trip.hauls))


def still_good(trip: Trip, window: Window, situation: Situation, now: datetime) -> bool:
    """Whether every hour still ahead of a called trip is fit at its place, whenever within its window it leaves.

    Before the boat may leave, the margin after landing is asked as well, as it was for the call. Hours already
    past are not asked again: a newer forecast no longer speaks of them.
    """
    asked = [(place, leg.starts_min, leg.ends_min) for leg in trip.legs for place in leg.places]
    if now < window.leaves_at:
        home_min, margin_min = trip.duration_min, 60 * situation.break_margin_h
        asked += [(place, home_min, home_min + margin_min) for place in {place for place, _, _ in asked}]
    for place, from_min, to_min in asked:
        begins = max(now, window.leaves_at + timedelta(minutes=from_min))
        ends = window.last_departure_at + timedelta(minutes=to_min)
        if begins < ends and not _all_fit(situation.places[place], begins, ends):
            return False
    return True


def _all_fit(fitness: Fitness, begins: datetime, ends: datetime) -> bool:
    hours = pd.date_range(pd.Timestamp(begins).floor("h"), pd.Timestamp(ends), freq="h", inclusive="left")
    return bool(fitness.fit.reindex(hours, fill_value=False).all())


def for_take_up(situation: Situation, rules: DayRules) -> bool:
    """Whether a trip of that day takes traps up: the law allows no other, and there are some to bring home."""
    return rules.take_up is not None and any(ahead.fishing > 0 for ahead in situation.strings)


def _judge(situation: Situation, rules: DayRules, *, today: bool) -> tuple[DayOutlook, Trip | None]:
    """One day: the best trip that fits, or why there is none.

    A day ahead is judged by its weather also where no string will be ripe by then; it says so.
    """
    bounds, take_up = rules.bounds, for_take_up(situation, rules)
    if bounds is None or (rules.take_up is not None and not take_up):
        return DayOutlook(rules.day, DayState.NOT_FIT, None, None, rules.reasons, None, None), None

    def outlook(
        state: DayState, reasons: Sequence[Reason], window: Window | None = None, binding: Binding | None = None
    ) -> DayOutlook:
        told = (*reasons, *(() if rules.take_up is None else (rules.take_up,)))
        return DayOutlook(rules.day, state, window, binding, told, bounds.haul_from, bounds.haul_to)

    wishes = rules.wishes
    if wishes.day_barred:
        return outlook(DayState.NOT_FIT, [Reason("barred_by_skipper", {"strings": ()})]), None
    fishing = [s for s in situation.strings if s.fishing > 0 and (take_up or s.oldest_soak_h is not None)]
    free = [s for s in fishing if s.string.name not in wishes.barred]
    due = [s for s in fishing if take_up or s.ripe(bounds.haul_from)]
    barred = _barred([s for s in due if s.string.name in wishes.barred], take_up=take_up)
    ripe = [s for s in free if s in due or s.string.name in wishes.pinned]
    ripe.sort(key=lambda s: (s.string.name not in wishes.pinned, -(s.oldest_soak_h or 0.0), s.string.name))
    none_ripe = [*barred, *([] if barred and not free else [_nothing_to_pull(free or fishing, bounds)])]
    if not ripe and (today or (fishing and not free)):
        return outlook(DayState.NOT_FIT, none_ripe), None
    candidates = ripe or free or list(situation.strings)
    if take_up:
        load = _most_home(situation, candidates, bounds, wishes)
    else:
        load = _as_many_as_fit(situation, candidates, bounds, rules.brings_home)
    if load is not None:
        trip = load.trip
        window = _best_window(situation, load, take_up=take_up)
        more = [
            *_pinned(trip, wishes),
            *barred,
            *_why_not_more(situation, load, candidates, wishes, take_up=take_up),
        ]
        reasons = more if ripe else none_ripe
        if today:
            reasons.append(_why_no_later(situation, trip, window.last_departure_at, rules, bounds))
        return outlook(DayState.FIT, reasons, window, window.binding), trip
    shortest = _shortest_trip(situation, candidates, rules, take_up=take_up)
    might_leave = _might_leave(shortest, bounds)
    hopeful = fit_departures(
        shortest, might_leave, situation.places, break_margin_h=situation.break_margin_h, hopeful=True
    )
    reasons = _what_stands_against(situation, shortest, bounds, might_leave)
    binding = _binding(situation.places, shortest, bounds.haul_from, broken=True)
    state = DayState.NOT_KNOWN if hopeful else DayState.NOT_FIT
    return outlook(state, reasons, None, binding), None


def _might_leave(trip: Trip, bounds: DayBounds) -> tuple[datetime, ...]:
    """Departures on fresh data; where there is none, all that light and law leave: it is data that lack."""
    return possible_departures(trip, bounds) or possible_departures(
        trip, replace(bounds, fresh_until=bounds.home_by)
    )


def _nothing_to_pull(fishing: Sequence[StringAhead], bounds: DayBounds) -> Reason:
    if not fishing:
        return Reason("nothing_set")
    oldest = max(fishing, key=lambda s: (s.oldest_soak_h or 0.0, s.string.name))
    return Reason(
        "nothing_ripe",
        {
            "oldest_string": oldest.string.name,
            "oldest_soak_h": oldest.soak_h(bounds.haul_from),
            "floor_h": oldest.string.soak_floor_h,
        },
    )


@dataclass(frozen=True)
class _Load:
    """A trip that fits, its departures, the places that it hauls of each string, and the strings that found the
    deck full."""

    trip: Trip
    departures: tuple[datetime, ...]
    places: Mapping[str, tuple[int, ...]]
    no_room: tuple[str, ...] = ()


def _as_many_as_fit(
    situation: Situation, candidates: Sequence[StringAhead], bounds: DayBounds, brings_home: frozenset[str]
) -> _Load | None:
    """Whole strings in the order given, each added where the trip still fits."""
    taken: dict[str, StringAhead] = {}
    best: _Load | None = None
    for ahead in candidates:
        trying = taken | {ahead.string.name: ahead}
        trip = _whole_trip(situation, list(trying.values()), brings_home)
        if departures := _fit_departures(situation, trip, bounds):
            taken, best = trying, _Load(trip, departures, {name: _places(s) for name, s in trying.items()})
    return best


def _most_home(
    situation: Situation, candidates: Sequence[StringAhead], bounds: DayBounds, wishes: DayWishes
) -> _Load | None:
    """The most traps that one trip brings home, of the strings that the skipper pinned before others."""
    ahead = {s.string.name: s for s in candidates}
    reach_min = {name: _part_trip(situation, [s], {name: 1})[0].duration_min for name, s in ahead.items()}
    nearest = sorted(ahead, key=lambda name: (name not in wishes.pinned, reach_min[name], name))
    group = {name: (s.string.area, s.string.depth_m, situation.places[name].limits) for name, s in ahead.items()}
    orders = orders_of((tuple(ahead), nearest, visited(situation.harbor, [s.string for s in candidates])), group)

    def fits(load: Mapping[str, int]) -> _Load | None:
        trip, places = _part_trip(situation, [ahead[name] for name in load], load)
        departures = _fit_departures(situation, trip, bounds)
        return _Load(trip, departures, places) if departures else None

    deck_traps = situation.boat.deck_traps
    found = most_home(
        orders,
        {name: len(_places(s)) for name, s in ahead.items()},
        fits,
        most=math.inf if deck_traps is None else deck_traps,
        before_others=wishes.pinned,
    )
    if found is None:
        return None
    hauled, load = found
    full = sum(hauled.values()) == deck_traps
    return replace(load, no_room=tuple(name for name in ahead if name not in hauled)) if full else load


def _fit_departures(situation: Situation, trip: Trip, bounds: DayBounds) -> tuple[datetime, ...]:
    return fit_departures(
        trip, possible_departures(trip, bounds), situation.places, break_margin_h=situation.break_margin_h
    )


def _places(ahead: StringAhead) -> tuple[int, ...]:
    """Of the traps that are hauled; where none fishes, of all."""
    return tuple(sorted(ahead.places)) or tuple(range(1, (ahead.fishing or ahead.string.traps) + 1))


def _whole_trip(situation: Situation, strings: Sequence[StringAhead], stacks: Collection[str]) -> Trip:
    traps = {s.string.name: len(_places(s)) for s in strings}
    return plan_trip(situation.boat, situation.harbor, [s.string for s in strings], traps, stacks=stacks)


def _part_trip(
    situation: Situation, strings: Sequence[StringAhead], load: Mapping[str, int]
) -> tuple[Trip, dict[str, tuple[int, ...]]]:
    """A trip that brings home the load, traps by string, and their places: of a string in part those from one end
    on, whichever makes the shorter run."""
    found = []
    for from_end in (False, True):
        places = {}
        for s in strings:
            every, traps = _places(s), load[s.string.name]
            places[s.string.name] = every[len(every) - traps :] if from_end else every[:traps]
        parts = [part_of(s.string, places[s.string.name]) for s in strings]
        found.append((plan_trip(situation.boat, situation.harbor, parts, load, stacks=load.keys()), places))
        if all(load[s.string.name] == len(_places(s)) for s in strings):
            break
    return min(found, key=lambda trip_and_places: round(trip_and_places[0].distance_nmi, 9))


def _shortest_trip(
    situation: Situation, candidates: Sequence[StringAhead], rules: DayRules, *, take_up: bool
) -> Trip:
    if take_up:
        trips = [_part_trip(situation, [s], {s.string.name: 1})[0] for s in candidates]
    else:
        trips = [_whole_trip(situation, [s], rules.brings_home) for s in candidates]
    return min(trips, key=lambda trip: trip.duration_min)


def _why_not_more(
    situation: Situation, load: _Load, candidates: Sequence[StringAhead], wishes: DayWishes, *, take_up: bool
) -> list[Reason]:
    told = {*load.places, *load.no_room, *wishes.pinned}
    left = [s.string.name for s in candidates if s.string.name not in told]
    reasons = [Reason("left_out_there" if take_up else "left_for_later", {"strings": tuple(left)})] if left else []
    if not take_up:
        return reasons
    hauled = sum(len(places) for places in load.places.values())
    part: dict[str, object] = {}
    for s in candidates:
        taken, of = len(load.places.get(s.string.name, ())), len(_places(s))
        if 0 < taken < of:
            part = {"string": s.string.name, "traps": taken, "of": of}
    if hauled != situation.boat.deck_traps:
        return [*reasons, Reason("hours_full", part)] if part else reasons
    if part or load.no_room:
        full = {"deck_traps": hauled, "strings": load.no_room, "string": ""}
        reasons.append(Reason("deck_full", full | part))
    return reasons


def _barred(due: Sequence[StringAhead], *, take_up: bool) -> list[Reason]:
    code = "take_up_barred" if take_up else "barred_by_skipper"
    return [Reason(code, {"strings": tuple(s.string.name for s in due)})] if due else []


def _pinned(trip: Trip, wishes: DayWishes) -> list[Reason]:
    hauled = tuple(leg.string for leg in trip.hauls if leg.string in wishes.pinned)
    return [Reason("pinned_by_skipper", {"strings": hauled})] if hauled else []


def _pins_not_met(wishes: DayWishes, trip: Trip | None) -> list[Reason]:
    hauled = set() if trip is None else {leg.string for leg in trip.hauls}
    left = tuple(sorted(wishes.pinned - hauled))
    return [Reason("pin_not_met", {"strings": left})] if left or (wishes.day_pinned and trip is None) else []


def _why_no_later(situation: Situation, trip: Trip, last: datetime, rules: DayRules, bounds: DayBounds) -> Reason:
    """Why the trip may not leave a step after its last departure."""
    leaves = last + timedelta(minutes=DEPARTURE_STEP_MIN)
    told = {"last_departure_at": last}
    against: list[Reason] = []
    for place, from_min, to_min in stretches(trip, situation.break_margin_h):
        begins = pd.Timestamp(leaves + timedelta(minutes=from_min)).floor("h").to_pydatetime()
        ends = pd.Timestamp(leaves + timedelta(minutes=to_min)).ceil("h").to_pydatetime()
        against += _against_at(situation.places[place], begins, ends)
    if against:
        first = _first_of_each(against)[0]
        values = {"code": first.code, "values": first.values, "margin_h": situation.break_margin_h}
        return Reason("later_not_fit", told | values)
    if leaves >= bounds.fresh_until:
        return Reason("later_too_old", told | {"fresh_until": bounds.fresh_until, "source": rules.stalest})
    if leaves + timedelta(minutes=trip.hauls[-1].ends_min) > bounds.haul_to:
        return Reason("later_not_legal", told | {"haul_to": bounds.haul_to})
    return Reason("later_dark", told | {"home_by": bounds.home_by})


def _best_window(situation: Situation, load: _Load, *, take_up: bool) -> Window:
    """The departure with the most headroom at its tightest hour (to the nearest 5 %), then the earliest."""
    trip, departures = load.trip, load.departures
    least = dict(zip(departures, least_headroom(trip, departures, situation.places).tolist(), strict=True))

    def slack(leaves: datetime) -> float:
        return -round((least[leaves] if math.isfinite(least[leaves]) else 0.0) * 20)

    leaves = min(departures, key=lambda at: (slack(at), at))
    last = leaves
    for at in departures:
        if timedelta(0) < at - last <= timedelta(minutes=DEPARTURE_STEP_MIN):
            last = at
    ahead = {s.string.name: s for s in situation.strings}
    pulls = []
    for leg in trip.hauls:
        string = ahead[str(leg.string)]
        arrives = leaves + timedelta(minutes=leg.starts_min)
        aged_h = (arrives - string.at) / timedelta(hours=1)
        median = None if string.median_soak_h is None else string.median_soak_h + aged_h
        pulls.append(
            StringPull(
                string=string.string.name,
                arrives_at=arrives,
                leaves_at=leaves + timedelta(minutes=leg.ends_min),
                traps=len(load.places[string.string.name]),
                soak_h=median,
                oldest_soak_h=string.soak_h(arrives),
                places=load.places[string.string.name] if take_up else (),
            )
        )
    # The letter gives a span to leave in, so its nearest limit is that of every departure in it.
    tightest = min((at for at in departures if leaves <= at <= last), key=lambda at: (round(least[at], 9), at))
    return Window(
        leaves_at=leaves,
        lands_at=_minute_after(leaves + timedelta(minutes=trip.duration_min)),
        last_departure_at=last,
        pulls=tuple(pulls),
        distance_nmi=trip.distance_nmi,
        binding=_binding(situation.places, trip, tightest),
    )


def _minute_after(at: datetime) -> datetime:
    """The whole minute at or after: who is told when to be home must not be told too early."""
    whole = at.replace(second=0, microsecond=0)
    return whole if whole == at else whole + timedelta(minutes=1)


def _binding(
    places: Mapping[str, Fitness], trip: Trip, leaves: datetime, *, broken: bool = False
) -> Binding | None:
    """The number that comes nearest its limit (or goes furthest past it) while the trip is out."""
    tightest: tuple[float, datetime, str, str] | None = None
    for leg in trip.legs:
        for place in leg.places:
            fitness = places[place]
            first, stop = fitness.rows_of(
                leaves + timedelta(minutes=leg.starts_min), leaves + timedelta(minutes=leg.ends_min)
            )
            rows = fitness.headroom.to_numpy()[first:stop]
            if np.isnan(rows).all():
                continue
            row, column = divmod(int(np.nanargmin(rows)), rows.shape[1])
            at = fitness.headroom.index[first + row].to_pydatetime()
            found = (round(float(rows[row, column]), 9), at, str(fitness.headroom.columns[column]), place)
            tightest = found if tightest is None else min(tightest, found)
    if tightest is None or (broken and tightest[0] >= 0):
        return None
    headroom, at, quantity, place = tightest
    fitness = places[place]
    value, limit = float(fitness.values[quantity][at]), fitness.limits.given()[quantity]
    source = fitness.conditions.source_of.at[at, quantity] if quantity in fitness.conditions.source_of else ""
    return Binding(
        quantity=quantity,
        value=value,
        limit=limit,
        margin=value - limit if quantity == "visibility_nm" else limit - value,
        headroom=headroom,
        at=at,
        place=place or fitness.conditions.place,
        source=str(source),
    )


def _what_stands_against(
    situation: Situation, trip: Trip, bounds: DayBounds, might_leave: Sequence[datetime]
) -> list[Reason]:
    """Reasons for which no departure fits, for the shortest trip that could be made."""
    if not might_leave:
        longest = min(bounds.home_by, bounds.haul_to) - max(bounds.out_from, bounds.haul_from)
        longest_min = max(0.0, longest / timedelta(minutes=1))
        return [Reason("too_short", {"needed_min": trip.duration_min, "longest_min": longest_min})]
    begins, ends = might_leave[0], might_leave[-1] + timedelta(minutes=trip.duration_min)
    ends += timedelta(hours=situation.break_margin_h)
    names = sorted({place for leg in trip.legs for place in leg.places})
    reasons: list[Reason] = []
    for name in names:
        reasons += _against_at(situation.places[name], begins, ends)
    if bounds.fresh_until <= begins and not any(reason.code in WANT_OF_DATA for reason in reasons):
        values = {"fresh_until": bounds.fresh_until, "first_light": bounds.haul_from}
        reasons.append(Reason("stale_by_then", values))
    if not reasons:
        longest_min = max(_longest_fit_run_min(situation.places[name], begins, ends) for name in names)
        reasons = [Reason("too_short", {"needed_min": trip.duration_min, "longest_min": longest_min})]
    return _first_of_each(reasons)


def _against_at(fitness: Fitness, begins: datetime, ends: datetime) -> list[Reason]:
    """What stands against the hours from ``begins`` to ``ends`` at one place, weightiest first."""
    conditions = fitness.conditions
    first, stop = fitness.rows_of(begins, ends)
    hours = [hour.to_pydatetime() for hour in fitness.fit.index[first:stop]]
    reasons = [Reason(bar.code, bar.values) for bar in conditions.bars if bar.holds_between(begins, ends)]
    for quantity, limit in fitness.limits.given().items():
        left = fitness.headroom[quantity].to_numpy()[first:stop]
        past = np.flatnonzero(left < 0)
        if len(past):
            worst = int(past[left[past].argmin()])
            reasons.append(
                Reason(
                    "over_limit",
                    {
                        "quantity": quantity,
                        "value": float(fitness.values[quantity].iloc[first + worst]),
                        "limit": limit,
                        "at": hours[past[0]],
                        "worst_at": hours[worst],
                        "place": conditions.place,
                    },
                )
            )
    for gap in conditions.gaps:
        if gap.at in hours:
            reasons.append(Reason("contradicted", {**asdict(gap), "place": conditions.place}))
    for at, phrase, need in zip(
        hours, conditions.unclear.to_numpy()[first:stop], conditions.lacking.to_numpy()[first:stop], strict=True
    ):
        if phrase:
            reasons.append(Reason("unclear", {"place": conditions.place, "at": at, "phrase": phrase}))
        if need is not None:
            reasons.append(_not_known(conditions.place, at, need.quantity, need.kind.value))
    if not conditions.bars_known:
        reasons.append(Reason("warnings_not_known", {"place": conditions.place}))
    asked = ("period_s" if name == "steepness" else name for name in fitness.limits.given())
    for quantity in dict.fromkeys((*CARRYING, *asked)):
        unknown = np.flatnonzero(~conditions.known[quantity].to_numpy()[first:stop])
        if len(unknown):
            at = hours[unknown[0]]
            reasons.append(_not_known(conditions.place, at, quantity, str(conditions.lacked_by.at[at, quantity])))
    return reasons


def _not_known(place: str, at: datetime, quantity: str, source: str) -> Reason:
    return Reason("not_known", {"place": place, "at": at, "quantity": quantity, "source": source})


WANT_OF_DATA = ("contradicted", "warnings_not_known", "unclear", "not_known")

WEIGHT = (
    "warning",
    "headline",
    "grid_hazard",
    "over_limit",
    *WANT_OF_DATA,
)


def _first_of_each(reasons: Sequence[Reason]) -> list[Reason]:
    """One reason of each code, place and quantity: the first hour stands for the rest."""
    kept: dict[tuple[object, ...], Reason] = {}
    for reason in reasons:
        v = reason.values
        key = (reason.code, v.get("place"), v.get("quantity"), v.get("event"), v.get("text"), v.get("zone"))
        kept.setdefault(key, reason)
    order = {code: i for i, code in enumerate(WEIGHT)}
    return sorted(kept.values(), key=lambda r: order.get(r.code, len(order)))


def _longest_fit_run_min(fitness: Fitness, begins: datetime, ends: datetime) -> float:
    longest = run = 0
    for ok in fitness.fit.loc[pd.Timestamp(begins).floor("h") : pd.Timestamp(ends)]:
        run = run + 1 if ok else 0
        longest = max(longest, run)
    return 60.0 * longest
