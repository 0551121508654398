"""The monthly letter of trust: what came of days called, how far forecasts were off, how chances turned out."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from soakbell.letters.around import SKIPPER_DECIDES, Around, around, no_call
from soakbell.letters.facts import LetterFacts
from soakbell.letters.figures import QUANTITY, past_limit_short
from soakbell.letters.letter import Attachment, Letter, written
from soakbell.letters.times import FULL_MONTHS, HarborTimes, day_words, full_day_words
from soakbell.letters.trust_plot import trust_alt, trust_png
from soakbell.letters.words import SOURCE_NAMES, capital, listed, one_line
from soakbell.sea.trust import MEASURED, WORST_OF_ALL, BinError, BrierParts, CallTally, ErrorModel
from soakbell.sea.trust_record import AreaAsked, SeenDay, TrustRecord, record_of

TRUST_CID = "trust@soakbell"

MOST_DAYS_NAMED = 10
"""Days outside the limits that a letter names; the rest it counts."""

FEW = 10
"""Days below which a letter says that a share may be luck."""

AS_MEASURED = (
    "Wind counts as the station measures it, at its own height. Most buoys measure at 3 to 5 m, and so less than "
    "the wind of a forecast, which stands for 10 m: so it takes many days until a forecast counts as too rough."
)
PRIOR = (
    "The prior stands in the plan file, or is Soakbell's own: what is held of forecasts from memory, no source."
)
PERMITS_NOTHING = "No record of the past permits anything: each call keeps to your limits, whatever stands here."


@dataclass(frozen=True)
class ErrorRow:
    """One row of a table, in words. ``measured``: how much more was measured than forecast."""

    ahead: str
    measured: str
    spread: str
    days: str
    reckoned: str


@dataclass(frozen=True)
class ErrorTable:
    title: str
    rows: tuple[ErrorRow, ...]


@dataclass(frozen=True)
class TrustPage(Around):
    """What the templates print."""

    brief: str
    lead: str
    called: tuple[str, ...]
    so_far: tuple[str, ...]
    errors: tuple[ErrorTable, ...]
    errors_note: str
    prior: tuple[str, ...]
    chances: tuple[str, ...]
    picture_alt: str
    rests_on: tuple[str, ...]


def trust_letter(
    record: TrustRecord, models: Mapping[str, ErrorModel], facts: LetterFacts, *, month: date, now: datetime
) -> Letter:
    """The letter about the month that ``month`` lies in.

    Args:
        models: the error that the plan reckons with, by quantity.
    """
    times = HarborTimes.at(facts.zone_name, now)
    first = month.replace(day=1)
    last = (first + timedelta(days=31)).replace(day=1) - timedelta(days=1)
    name = FULL_MONTHS[first.month - 1]
    days = record.days_between(first, last)
    page = TrustPage(
        **vars(
            around(
                facts,
                times,
                now=now,
                day=times.day,
                standing=(PERMITS_NOTHING, SKIPPER_DECIDES, no_call(facts, times)),
            )
        ),
        brief=f"Trust in {name}: {_brief(days)}",
        lead=_lead(name, days),
        called=called_words(days),
        so_far=score_words(record_of(record.days), record.first_day),
        errors=tuple(error_tables(record, models)),
        errors_note=errors_note(record),
        prior=prior_words(models),
        chances=chance_words(record),
        picture_alt="" if record.chances is None else trust_alt(record.chances),
        rests_on=rests_on(record),
    )
    drawn = picture_of(record, facts.boat)
    pictures = () if drawn is None else (Attachment("trust.png", "image", "png", drawn, TRUST_CID),)
    return written("trust", {"page": page, "picture_cid": TRUST_CID}, pictures)


def picture_of(record: TrustRecord, boat: str) -> bytes | None:
    """How chances turned out; None where none did yet."""
    if record.chances is None:
        return None
    return trust_png(record.chances, f"Mornings from {day_words(record.first_day)} on. {boat}")


# ---- days called


def _brief(days: Sequence[SeenDay]) -> str:
    called = [seen for seen in days if seen.word == "PULL"]
    told = [seen for seen in called if seen.fit is not None]
    if told:
        hits = [seen for seen in told if seen.fit]
        return f"{len(hits)} of {_days(len(told), 'PULL ')} inside your limits{_as_far(hits)}"
    return "how the PULL days came out is not known" if called else "no day was called PULL"


def _lead(name: str, days: Sequence[SeenDay]) -> str:
    called = [seen for seen in days if seen.word == "PULL"]
    if not called:
        return f"In {name} no day was called PULL."
    told = f"In {name} {_were(len(called))} called PULL."
    measured = [seen for seen in called if seen.fit is not None]
    if not measured:
        return f"{told} No measurement tells how the sea then was."
    hits = [seen for seen in measured if seen.fit]
    if len(called) == 1:
        return f"{told} It came out {'inside' if hits else 'outside'} your limits{_as_far(hits)}."
    of = f"{len(hits)} of them" if measured == called else f"Of {len(measured)} measured ones {len(hits)}"
    return f"{told} {of} came out inside your limits while the boat was to be out{_as_far(hits)}."


def _as_far(fit: Sequence[SeenDay]) -> str:
    """What follows of days that came out fit where not all was measured."""
    partly = [seen for seen in fit if seen.as_far]
    if not partly:
        return ""
    only = "" if len(partly) == len(fit) else f"{len(partly)} of them only "
    return f", {only}as far as measured ({measured_words(partly)})"


def measured_words(days: Sequence[SeenDay]) -> str:
    """``wind and gusts in Inner Bay``: what was measured on each of the days."""
    return _by_area(days, lambda asked: asked.measured, set.intersection)


def _by_area(
    days: Sequence[SeenDay],
    of: Callable[[AreaAsked], Iterable[str]],
    together: Callable[[set[str], set[str]], set[str]],
) -> str:
    by_area: dict[str, set[str]] = {}
    for asked in (asked for seen in days for asked in seen.asked):
        found = set(of(asked))
        by_area[asked.area] = together(by_area.get(asked.area, found), found)
    areas: dict[str, list[str]] = {}
    for area, found in by_area.items():
        if found:
            names = listed(QUANTITY[quantity].short for quantity in MEASURED if quantity in found)
            areas.setdefault(names, []).append(one_line(area))
    return "; ".join(f"{names} in {listed(named)}" for names, named in areas.items())


def called_words(days: Sequence[SeenDay]) -> tuple[str, ...]:
    """What came of days called, by the word, in sentences."""
    if not days:
        return ("No day was called.",)
    told = []
    for word, inside, outside in (
        ("PULL", "inside your limits", "outside"),
        ("WAIT", "fit for a short trip all the same", "not fit"),
        ("NO CALL", "fit for a short trip", "not fit"),
    ):
        of = [seen for seen in days if seen.word == word and seen.had_trip]
        if of:
            as_far = sum(seen.as_far for seen in of)
            counts = (
                (sum(seen.fit is True for seen in of) - as_far, inside),
                (as_far, f"{inside} as far as measured"),
                (sum(seen.fit is False for seen in of), outside),
                (sum(seen.fit is None for seen in of), "not told by any measurement"),
            )
            parts = listed(f"{count} {said}" for count, said in counts if count)
            told.append(f"{word}: {_days(len(of))}; {parts}.")
    return (*told, *past_words(days))


def past_words(days: Sequence[SeenDay]) -> Iterator[str]:
    """What was measured, the days that aren't counted, and those called PULL that came out outside the limits."""
    partly = [seen for seen in days if seen.as_far and seen.had_trip]
    if partly:
        lacking = _by_area(partly, lambda asked: asked.lacking, set.union)
        yield f"As far as measured means {measured_words(partly)}. Not measured: {lacking}."
    idle = sum(not seen.had_trip for seen in days)
    if idle:
        yield f"WAIT with nothing to haul: {_days(idle)}, not counted."
    outside = [seen for seen in days if seen.word == "PULL" and seen.fit is False]
    for seen in outside[:MOST_DAYS_NAMED]:
        past = listed(past_limit_short(found.quantity, found.most, found.limit) for found in seen.past)
        told = f"{day_words(seen.day)} was called PULL and came out outside your limits"
        yield f"{told}: {past}." if past else f"{told}."
    if len(outside) > MOST_DAYS_NAMED:
        yield f"So did {_days(len(outside) - MOST_DAYS_NAMED)} more."


def score_words(counts: CallTally, since: date) -> tuple[str, ...]:
    """The share of PULL days that held, and of fit days that were called, of all days looked back on."""
    told = []
    table = counts.contingency
    far = " as far as measured" if counts.as_far else ""
    if counts.pulls:
        luck = " So few days may be luck." if counts.pulls < FEW else ""
        told.append(
            f"Since {full_day_words(since)}: of {_days(counts.pulls, 'PULL ')} that were seen "
            f"{counts.hits} came out inside your limits{far} ({counts.hits / counts.pulls:.0%}).{luck}"
        )
    if table.hits + table.misses:
        told.append(
            f"Of {_days(table.hits + table.misses)} that came out fit{far}, NO CALL days left aside, "
            f"{table.hits} {'was' if table.hits == 1 else 'were'} called PULL."
        )
    return tuple(told)


# ---- errors


ERRORS_NOTE = (
    "How much more was measured than forecast, in the mean, and give or take how much, by the day ahead; day 1 is "
    "the first 24 hours. The forecast is the worst of all sources, as a call takes it. The last column is what "
    "the plan reckons with: two errors of three lie between."
)


SEVERAL_AREAS = (
    "The areas are not thrown together: the plan goes by the one that erred worse at that many days ahead, and "
    "counts the days of the one that has fewest."
)


def errors_note(record: TrustRecord) -> str:
    return f"{ERRORS_NOTE} {SEVERAL_AREAS}" if len(record.areas) > 1 else ERRORS_NOTE


def error_tables(record: TrustRecord, models: Mapping[str, ErrorModel]) -> Iterator[ErrorTable]:
    """A table for each quantity and area that anything is on record of."""
    for quantity, model in models.items():
        for area in record.areas:
            asked = (WORST_OF_ALL, quantity, area)
            bins = [found for found in record.errors if (found.source, found.quantity, found.area) == asked]
            if bins:
                rows = tuple(_error_row(quantity, found, model) for found in bins)
                yield ErrorTable(error_title(record, quantity, area), rows)


def error_title(record: TrustRecord, quantity: str, area: str) -> str:
    """``Wind, kt``; with the area where there are several."""
    title = f"{QUANTITY[quantity].name}, {QUANTITY[quantity].unit.strip()}"
    return f"{title}, {one_line(area)}" if len(record.areas) > 1 else title


SOURCES: Mapping[str, str] = {kind.value: name for kind, name in SOURCE_NAMES.items()} | {
    WORST_OF_ALL: WORST_OF_ALL
}


def error_words(found: BinError) -> str:
    """``+1.0 give or take 1.3``."""
    spread = "" if found.sd is None else f" give or take {_number(found.quantity, found.sd)}"
    return f"{_signed(found.quantity, found.bias)}{spread}"


def _error_row(quantity: str, found: BinError, model: ErrorModel) -> ErrorRow:
    middle_h = (found.from_h + found.to_h) / 2
    bias, rougher, calmer = (
        float(at(middle_h)) for at in (model.bias_at, model.rougher_sd_at, model.calmer_sd_at)
    )
    return ErrorRow(
        ahead=_ahead(found.from_h, found.to_h),
        measured=_signed(quantity, found.bias),
        spread="not known" if found.sd is None else _number(quantity, found.sd),
        days=str(found.days),
        reckoned=f"{_signed(quantity, bias - calmer)} to {_signed(quantity, bias + rougher)}",
    )


def _ahead(from_h: float, to_h: float) -> str:
    if (to_h - from_h) == 24 and from_h % 24 == 0:
        return f"day {from_h / 24 + 1:.0f}"
    return f"{from_h:g} to {to_h:g} h"


def _number(quantity: str, value: float) -> str:
    return f"{QUANTITY[quantity].convert(value):.1f}".replace("-0.0", "0.0")


def _signed(quantity: str, value: float) -> str:
    number = _number(quantity, value)
    return number if number.startswith("-") or number == "0.0" else f"+{number}"


def prior_words(models: Mapping[str, ErrorModel]) -> tuple[str, ...]:
    """How much of what the plan reckons with is record and how much is the prior."""
    by_days: dict[tuple[int, int, bool, tuple[str, ...]], list[str]] = {}
    for quantity, model in models.items():
        few = any(0 < days < model.enough_days for days in model.days)
        key = (max(model.days, default=0), model.enough_days, few, model.unseen)
        by_days.setdefault(key, []).append(QUANTITY[quantity].short)
    told = []
    for (days, enough, few, unseen), quantities in by_days.items():
        names = capital(listed(quantities))
        if unseen:
            told.append(
                f"{names}: nothing on record of {listed(map(one_line, unseen))}. So what is on record elsewhere "
                "counts where it says rougher than the prior, and never where it says calmer."
            )
            continue
        if not days:
            told.append(f"{names}: nothing on record. The plan goes by the prior of the plan file alone.")
            continue
        past = max(0, days - enough)
        said = (
            f"{names}: up to {_days(days)} on record. Where it says rougher than the prior it counts for "
            f"{days / (days + enough):.0%}, where it says calmer for {past / (past + enough):.0%}; the prior for "
            "the rest."
        )
        if few:
            said += f" Hours ahead with fewer than {_days(enough)} are never taken for calmer than the prior."
        told.append(said)
    return (*told, PRIOR)


# ---- chances


def chance_words(record: TrustRecord) -> tuple[str, ...]:
    """How chances of days ahead turned out. The parts of the score add up to it."""
    parts = record.chances
    if parts is None:
        return ("No chance of a day ahead could be held against a day that came yet.",)
    return (
        f"The chances of the {record.ahead_days} days after each morning, as they would have been told by what "
        f"was known then: {parts.given} of {_days(parts.days)}, for each of several mornings gives a day one. "
        "They are of what a station measures alone, without warnings.",
        brier_words(parts),
    )


def brier_words(parts: BrierParts) -> str:
    skill = "" if parts.skill is None else f" Against always telling the usual share, {skill_words(parts.skill)}."
    off, less_apart, weather, within = _adding_up(
        (
            parts.reliability,
            -parts.resolution,
            parts.uncertainty,
            parts.within_variance - parts.within_covariance,
        )
    )
    return (
        f"Brier score {parts.score:.3f} (0 is perfect): {off:.3f} for chances that were off, less "
        f"{-less_apart:.3f} for telling days apart, plus {weather:.3f} for the weather itself, "
        f"{'plus' if within >= 0 else 'less'} {abs(within):.3f} within the bins.{skill}"
    )


def _adding_up(parts: Sequence[float]) -> list[float]:
    """Rounded to thousandths so that they add up to the rounded sum; none is off by a whole one."""
    exact = [1000 * part for part in parts]
    told = [math.floor(part) for part in exact]
    short = round(math.fsum(exact)) - sum(told)
    for n in sorted(range(len(parts)), key=lambda n: told[n] - exact[n])[:short]:
        told[n] += 1
    return [part / 1000 for part in told]


def skill_words(skill: float) -> str:
    if skill > 0:
        return f"it is {skill:.0%} better"
    return "it is no better" if skill == 0 else f"it is {-skill:.0%} worse"


# ---- what it rests on


def rests_on(record: TrustRecord) -> tuple[str, ...]:
    """Mornings and stations, and what could not be used."""
    told = []
    if record.stations:
        told.append(
            f"{record.mornings} mornings with a forecast, from {full_day_words(record.first_day)} to "
            f"{full_day_words(record.last_day)}."
        )
        for seen in record.stations:
            quantities = listed(QUANTITY[quantity].short for quantity in seen.gives)
            told.append(
                f"Station {one_line(seen.station)} for {one_line(seen.area)}: {quantities}, {seen.hours} hours. "
                "What it doesn't measure, and areas without a station, are not looked at."
            )
        told.append(AS_MEASURED)
    else:
        told.append(
            "Nothing could be held against a measurement. Name a station that measures wind or sea under one of "
            "the [[areas]] in the settings; but mind that each call then needs its fresh reading."
        )
    return (*told, *(f"{capital(one_line(problem))}." for problem in record.problems))


def _days(count: int, kind: str = "") -> str:
    return f"1 {kind}day" if count == 1 else f"{count} {kind}days"


def _were(count: int) -> str:
    return "1 day was" if count == 1 else f"{count} days were"
