"""What a letter tells of the days ahead: the plan, why it is so, and what it rests on.

Whatever goes wrong here is told in the letter; it never costs the letter.
"""

from __future__ import annotations

import logging
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from soakbell.letters.figures import QUANTITY, amount
from soakbell.letters.gear_section import Block
from soakbell.letters.gear_words import boxes_words
from soakbell.letters.season_section import usual_words
from soakbell.letters.times import day_words, minutes_words
from soakbell.letters.words import capital, ended, listed, one_line
from soakbell.planning.catch_curve import CurveTold
from soakbell.planning.season_told import SURE_START, SeasonAhead
from soakbell.planning.week import (
    DayKind,
    DayPlan,
    FreeChoice,
    Held,
    HeldBy,
    PastCeiling,
    StringPlan,
    Waiting,
    Week,
)

log = logging.getLogger(__name__)

TITLE = "The week ahead"
NO_CALL_OF_ITS_OWN = "The plan makes no call and changes none: you decide."
ONLY_TAKE_UP = (
    "The harvest is closed, so no pull is planned. What is left to take up, and in which trips, stands under "
    "season's end and on the recovery list."
)
PUT_OFF = "A changed call is sent at once, without the week's plan. The next morning letter has it again."

_MOSTLY = 0.5
_SAME_USD = 5.0
_KIND_WORDS = {
    DayKind.CREW_OFF: "crew off",
    DayKind.CLOSED: "closed",
    DayKind.BARRED: "barred by you",
    DayKind.NOT_KNOWN: "not known",
    DayKind.TRAPS_HOME: "traps home",
}


@dataclass(frozen=True)
class WeekRow:
    """``catch`` is what a fit day brings, "" on a day without a trip; ``called``: the call has found today fit."""

    day: str
    fit: str
    strings: str
    catch: str
    called: bool = False


@dataclass(frozen=True)
class PlanSection:
    """``reasons`` stand before the table, ``blocks`` after it."""

    title: str
    fault: str
    reasons: tuple[str, ...] = ()
    rows: tuple[WeekRow, ...] = ()
    blocks: tuple[Block, ...] = ()


def plan_section(
    week: Week | None, day: date, *, trip: bool, take_up: bool = False, season: SeasonAhead | None = None
) -> PlanSection | None:
    """The section of a letter about ``day``; None where there is nothing to tell. It never raises.

    Args:
        trip: the call is PULL.
        take_up: it is of taking traps up, by another order than the plan's, so that nothing of the plan is told.
        season: its end, where that is told too.
    """
    if week is None:
        return None
    try:
        fault = _untold(week.fault) if week.fault else ""
        if take_up:
            return PlanSection(TITLE, fault or ONLY_TAKE_UP)
        if week.put_off:
            return PlanSection(TITLE, PUT_OFF)
        if not week.days:
            return PlanSection(TITLE, fault) if fault else None
        return PlanSection(
            TITLE,
            fault,
            reasons=(*_take_up(week, day, season), *_reasons(week, trip=trip)),
            rows=tuple(_row(plan, day, trip=trip) for plan in week.days),
            blocks=(
                Block("String by string", tuple(_string(week, plan, day) for plan in week.strings)),
                Block("What this rests on", (*_rests(week, trip=trip), NO_CALL_OF_ITS_OWN)),
            ),
        )
    except Exception as failed:
        log.exception("the plan section of a letter failed")
        return PlanSection(TITLE, _untold(f"{type(failed).__name__}: {failed}"))


def _untold(fault: str) -> str:
    return f"The week could not be planned: {ended(fault)}"


# ---- why


def _reasons(week: Week, *, trip: bool) -> tuple[str, ...]:
    told = [_staying_in(week, week.waiting) if week.waiting is not None else _next_trip(week)]
    if week.free is not None and week.free.strings:  # that it would stay in is told already
        told.append(_free(week, week.free))
    told += _all_past(week)
    if week.risks:
        risk = week.risks[0]
        if_not = "If you stay in, the" if trip and risk.string in week.days[0].strings else "The"
        costs = (
            "" if risk.string in (past.string for past in week.past) else " Once past it, every day more costs."
        )
        told.append(
            f"{if_not} chance that {one_line(risk.string)} gets no fit day before its ceiling, "
            f"{day_words(risk.ceiling_on)}, is {chance_words(risk.chance)}.{costs}"
        )
    for unmet in week.pins_not_met:
        pinned = f"{one_line(unmet.pin.string or 'a trip')} to {day_words(unmet.pin.day)}"
        told.append(f"Your pin of {pinned} can't be met: {held_words(unmet.held)}.")
    return tuple(told)


def _take_up(week: Week, today: date, season: SeasonAhead | None) -> Iterator[str]:
    odds = None if season is None else season.odds
    if odds is not None:
        start = dict(odds.start_by).get(SURE_START)
        if start is None:
            yield (
                f"No day to start on has a chance of {SURE_START:.0%} any more of all traps home by "
                f"{day_words(odds.deadline)}: taking up goes before pulling. Decide for yourself."
            )
        elif start < today:
            yield (
                f"{day_words(start)} was the last day to start on for a chance of {SURE_START:.0%} of all traps "
                f"home by {day_words(odds.deadline)}: taking up goes before pulling. Decide for yourself."
            )
    ahead = week.take_up
    if ahead is None:
        return
    if ahead.no_room:
        names = listed(map(one_line, ahead.no_room))
        one = len(ahead.no_room) == 1
        back = (
            f"so {'it goes' if one else 'they go'} back without bait and {'is' if one else 'are'} fetched later."
        )
        if not ahead.may_set:
            back = f"and no trap may be set any more: leave {'it' if one else 'them'} and fetch later."
        yield f"By your deck load {names} {'finds' if one else 'find'} no room on deck today, {back}"
    if ahead.too_many:
        names = listed(map(one_line, ahead.too_many))
        yield f"{names}: more than your deck load, and the plan cuts no string. Season's end tells the trips."
    if ahead.left_out:
        names = listed(map(one_line, ahead.left_out))
        by = day_words(ahead.deadline)
        yield f"The plan finds no trip that brings {names} home by {by}. Decide for yourself."
    if ahead.next_set is not None and ahead.next_set <= week.days[-1].day:
        yield f"Traps may be set again from {day_words(ahead.next_set)}; the plan sets none."


def _all_past(week: Week) -> list[str]:
    """Strings of which the same is to be said share a sentence."""
    alike: dict[tuple[bool, bool, float | None], list[PastCeiling]] = {}
    for past in week.past:
        if past.string not in week.days[0].strings:
            alike.setdefault((past.already, past.day is None, past.law_days), []).append(past)
    return [_past(some, week.days[-1].day) for some in alike.values()]


def _past(strings: Sequence[PastCeiling], last: date) -> str:
    names, one, first = listed([one_line(past.string) for past in strings]), len(strings) == 1, strings[0]
    it, is_past = ("it", "is past its ceiling") if one else ("them", "are past their ceiling")
    law = "" if first.law_days is None else f"; the law allows {first.law_days:.3g}"
    then_days = max(past.then_days for past in strings)
    by_then = f"up to {then_days:.0f} days by {day_words(last)}"
    if not first.already and first.day is not None:
        comes = "comes past its ceiling" if one else "come past their ceiling"
        return (
            f"{names} {comes} before the plan pulls {it}, at up to {then_days:.0f} days of soak{law}. Once past "
            "it, every day more costs."
        )
    if not first.already:
        will = f"will be past {'its' if one else 'their'} ceiling within these days"
        return f"{names} {will}, at {by_then}{law}, and the plan has no day for {it}. Decide for yourself."
    told = f"{names} {is_past}, at up to {max(past.soak_days for past in strings):.0f} days"
    if first.day is None:
        told += f", and the plan has no day for {it}: {by_then}"
    return f"{told}{law}. Every day more costs: pull {it} on the first fit day."


def _staying_in(week: Week, waiting: Waiting) -> str:
    last = day_words(week.days[-1].day)
    instead = f"until {day_words(waiting.next_day)}" if waiting.next_day is not None else f"past {last}"
    found = "" if waiting.proven else "Of the plans found, "
    if abs(waiting.usd) < _SAME_USD:
        return capital(f"{found}going today as called and staying in {instead} are worth about the same.")
    if waiting.usd < 0:
        old = [one_line(past.string) for past in week.past if past.string in week.days[0].strings]
        why = "; it saves a trip" if waiting.trips_saved > 0 else "" if old else "; the soak still gains"
        but = f", but {listed(old)} would soak further past the ceiling" if old else ""
        return capital(
            f"{found}staying in {instead} would be worth about {usd_words(-waiting.usd)} more than going today as "
            f"called{why}{but}. Decide for yourself."
        )
    landed = f", with about {waiting.lb:.0f} lb more landed by {last}" if waiting.lb >= 1 else ""
    return capital(
        f"{found}going today as called is worth about {usd_words(waiting.usd)} more than staying in "
        f"{instead}{landed}."
    )


def _next_trip(week: Week) -> str:
    trip = next((plan for plan in week.days if plan.strings), None)
    if trip is None:
        held = {plan.held.by for plan in week.strings if plan.held is not None}
        why = {frozenset({HeldBy.BAIT}): "bait runs short", frozenset({HeldBy.SOAK}): "no string gets ripe"}.get(
            frozenset(held), "what holds each string is told below"
        )
        return f"No trip is planned in these days: {why}."
    count = len(trip.strings)
    strings = one_line(trip.strings[0]) if count == 1 else f"{count} strings"
    next_trip = f"The next trip of the plan is {day_words(trip.day)}: {chance_words(trip.chance)} likely fit"
    if not trip.lb_high:
        return f"{next_trip}, to take up {strings} without a catch."
    return f"{next_trip}, {strings}, worth about {usd_words(trip.worth_usd)} if it is fit."


def _free(week: Week, free: FreeChoice) -> str:
    called = week.days[0].strings
    more = f"worth about {usd_words(free.more_usd)} more; decide for yourself."
    instead = [one_line(string) for string in called if string not in free.strings]
    added = [one_line(string) for string in free.strings if string not in called]
    if not added:
        return f"Free to choose today, the plan would leave out {listed(instead)}, {more}"
    if not instead:
        return f"Free to choose today, the plan would also take {listed(added)}, {more}"
    return f"Free to choose today, the plan would take {listed(added)} instead of {listed(instead)}, {more}"


# ---- day by day


def _row(plan: DayPlan, today: date, *, trip: bool) -> WeekRow:
    if plan.day == today:
        fit = "called" if trip else "wait"
    else:
        fit = _KIND_WORDS.get(plan.kind) or (
            chance_words(plan.chance) + ", no forecast" * (plan.kind is DayKind.USUAL)
        )
    catch = ""
    if plan.strings:
        low, high = round(plan.lb_low), round(plan.lb_high)
        catch = f"{plan.lb:.0f} lb ({low} to {high})" if plan.lb_high else "no catch"
        if plan.day != today:  # what going today is worth is told above, against staying in
            catch += f", {usd_words(plan.worth_usd)}"
    return WeekRow(
        day=day_words(plan.day),
        fit=fit,
        strings=_strings(plan),
        catch=catch,
        called=plan.day == today and trip,
    )


def _strings(plan: DayPlan) -> str:
    pulled = ", ".join(one_line(string) for string in plan.strings if string not in plan.take_up)
    taken = ", ".join(one_line(string) for string in plan.take_up)
    if not taken:
        return pulled or "no trip"
    return f"{pulled}; take up {taken}" if pulled else f"take up {taken}"


def _string(week: Week, plan: StringPlan, today: date) -> str:
    name = one_line(plan.string)
    if plan.day is None:
        why = f"; {held_words(plan.held)}" if plan.held is not None else ""
        return f"{name}: not in these days{why}."
    parts = ["today" if plan.day == today else day_words(plan.day)]
    if plan.soak_days is not None:
        days = round(plan.soak_days)
        parts[0] += f", at {days} day{'' if days == 1 else 's'} of soak"
    if plan.take_up:
        parts.append("its last pull: take up, not rebaited")
    if plan.pinned:
        parts.append("you pinned it")
    elif plan.held is not None:
        parts.append(f"no sooner, since {held_words(plan.held, sooner=True)}")
    # What a free choice today gains is told once, for all strings.
    if plan.loses_usd is not None and not (plan.loses_usd < 0 and plan.day == today and week.free is not None):
        parts.append(_without(plan, plan.loses_usd, today))
    return f"{name}: {'; '.join(parts)}."


def _without(plan: StringPlan, loses_usd: float, today: date) -> str:
    if plan.day == today:
        other = "left out of the trip"
        other += " and these days" if plan.next_day is None else f", on {day_words(plan.next_day)} instead"
    else:
        other = "left out of these days" if plan.next_day is None else f"on {day_words(plan.next_day)} instead"
    if abs(loses_usd) < _SAME_USD:
        return f"{other}, it is worth about the same"
    if loses_usd < 0:
        return f"{other}, the plan gains about {usd_words(-loses_usd)}"
    return f"{other}, the plan loses {'at most ' if plan.at_most else ''}about {usd_words(loses_usd)}"


def held_words(held: Held, *, sooner: bool = False) -> str:
    """What holds a string or a pin, as a clause. ``sooner``: from a day before its own.

    Raises:
        ValueError: a value is not of its kind.
    """
    on = "" if held.day is None else f" on {day_words(held.day)}"

    def number(name: str) -> float:
        value = held.values[name]
        if not isinstance(value, (int, float)):
            raise ValueError(f"{name} of what holds by {held.by.value} is {value!r}, not a number")
        return float(value)

    match held.by:
        case HeldBy.SOAK:
            return f"it is not ripe{on}"
        case HeldBy.WEATHER:
            return (
                f"{day_words(held.day)} is hardly fit"
                if held.day
                else f"no {'sooner ' if sooner else ''}day is likely enough fit"
            )
        case HeldBy.WORTH:
            return "waiting is worth more than a trip for it"
        case HeldBy.NOT_CALLED:
            return "the call leaves it out today"
        case HeldBy.BARRED:
            return f"you barred it{on}"
        case HeldBy.NO_TRIPS:
            return f"there are no trips{on}: the crew is off or the season closed"
        case HeldBy.HOURS:
            needs, has = minutes_words(number("needs_min")), minutes_words(number("has_min"))
            return f"the trip{on} would take {needs} of {has}"
        case HeldBy.TRAPS:
            return f"the trip{on} would handle {number('needs'):.0f} traps of at most {number('most'):.0f}"
        case HeldBy.BAG:
            return f"the bag limit{on} would be passed"
        case HeldBy.BAIT:
            needs, has = boxes_words(number("needs_boxes")), amount(number("has_boxes"))
            return f"{one_line(str(held.values['bait']))} run short{on}: {needs} needed up to then, {has} there"
        case HeldBy.TRIP_COST:
            return f"a trip{on} would not pay its cost"
        case HeldBy.OTHER_PULLS:
            return f"other pulls{on} are worth more"


# ---- what it rests on


def _rests(week: Week, *, trip: bool) -> tuple[str, ...]:
    told = [_catch(week.curves), _weather(week)]
    if any(plan.kind is DayKind.USUAL for plan in week.days):
        told += usual_words(week.usual_counted, week.usual_lacking, "Usual days")
    told.append(
        f"Money: claws at ${week.price_usd_lb:.2f} a pound, less bait, wear and ${week.trip_cost_usd:.0f} a trip."
    )
    told.append(
        "Pounds and dollars of a day are of a fit day. The average lies between the two numbers in 4 cases of 5; "
        "a single haul strays further."
    )
    if week.take_up is not None:
        told.append(
            f"A string that is not home by {day_words(week.take_up.deadline)} counts here as "
            f"{usd_words(week.take_up.late_usd)} lost, more than one round of all strings lands, so that taking "
            "up comes first. That is a choice of ours and no fine."
        )
    if not week.bait_holds:
        told.append("No bait is in the log, so the lack of it holds no trip back.")
    today = "goes today as called" if trip else "stays in today"
    told.append(
        f"What is gained or lost is against this plan, which {today}, and by the chance that a whole trip is fit."
    )
    told.append(_best(week.short_share, today))
    return tuple(told)


def _best(short_share: float | None, today: str) -> str:
    chosen = "Days are chosen by each string's own chance"
    if short_share is None:
        return f"{chosen}; how far this plan is from the best one isn't known."
    if short_share >= 0.0005:
        return f"{chosen}: so, no plan that {today} is worth over {100 * short_share:.1f} % more."
    return f"{chosen}: so, no other plan that {today} is worth more."


def _catch(curves: Sequence[CurveTold]) -> str:
    hauls = max((curve.all_hauls for curve in curves), default=0)
    if not hauls:
        return "Catch: no hauls in the log yet, so it is what is usual (common practice, no source)."
    count = f"{hauls} haul{'' if hauls == 1 else 's'}"
    if min(curve.level_share for curve in curves) < _MOSTLY:
        return f"Catch: mostly what is usual; your log has {count} so far."
    if min(curve.shape_share for curve in curves) < _MOSTLY:
        return f"Catch: how much is mostly your log ({count}), how it grows with the soak mostly what is usual."
    return f"Catch: mostly your log ({count})."


def _weather(week: Week) -> str:
    usual = (
        " Days past the official forecast are taken for usual ones, likelier after a fit day than after another."
    )
    more = usual if any(plan.kind is DayKind.USUAL for plan in week.days) else ""
    more += (
        " A day that is fit as forecast has a chance below 100 % here, since forecasts err. Without a trip it is "
        "that of the likeliest string."
    )
    if week.weather_days and week.weather_unseen:
        names = listed(QUANTITY[quantity].short for quantity in week.weather_unseen)
        more = f" Of {names} nothing is on record: from memory alone.{more}"
    if week.areas_unseen:
        names = listed(map(one_line, week.areas_unseen))
        more = f" In {names} nothing is on record, so nothing is taken for surer than from memory.{more}"
    if week.weather_days >= week.enough_days:
        return f"Weather: how far forecasts err is learned from {week.weather_days} days on record.{more}"
    return (
        f"Weather: how far forecasts err is taken from memory until {week.enough_days} days are on record; "
        f"{week.weather_days or 'none'} so far.{more}"
    )


# ---- numbers


def chance_words(chance: float) -> str:
    """``82 %``; ``under 5 %`` and ``over 95 %`` at the ends, for the weather drawn tells them no closer."""
    if chance < 0.05:
        return "under 5 %"
    return "over 95 %" if chance > 0.95 else f"{100 * chance:.0f} %"


def usd_words(usd: float) -> str:
    """``$40``, ``$430``, ``-$20``: rounded as far as it is known at best."""
    step = 5 if abs(usd) < 100 else 10
    dollars = step * round(usd / step)
    return f"{'-' if dollars < 0 else ''}${abs(dollars):,}"
