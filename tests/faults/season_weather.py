"""The weather of a whole invented season, drawn from a seed. INVENTED DATA throughout.

Calm spells and blows take turns. Some blows come sooner than was forecast, with their advisory in the morning, and
some advisories come out of fair weather: both after the morning's letter.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta

from demo.weather import FORTNIGHT, Advisory, AdvisoryMessage, Belief, Scenario, Silence, Turn

OPENING_EVE = date(2026, 10, 9)
"""The evening before the first morning: traps are set, and the harvest of stone crab opens on 15 October."""

WHOLE_DAYS = 210
"""From 10 October to 7 May: both nights on which the clocks change, and the day by which all traps are out."""

CALM_FOR_H, BLOWS_FOR_H = (30.0, 130.0), (12.0, 54.0)
TOLD_LATE, OUT_OF_FAIR_WEATHER, SILENT = 0.35, 0.25, 0.06  # shares: of blows, of calm spells, of days
NIGHT_BEFORE = time(16, 0)

_TZ = FORTNIGHT.tz


def season_weather(seed: int, days: int, first_evening: date = OPENING_EVE) -> Scenario:
    """``days`` mornings after ``first_evening``, and the weather of the week after them for the forecasts."""
    dice = random.Random(f"{seed} weather")
    at = _local(first_evening - timedelta(days=4), time(12))
    end = _local(first_evening + timedelta(days=days + 12), time())
    turns: list[Turn] = []
    beliefs: list[Belief] = []
    advisories: list[Advisory] = []
    while at < end:
        ends = _later(at, dice.uniform(*CALM_FOR_H))
        turns += _calm(dice, at, ends)
        if dice.random() < OUT_OF_FAIR_WEATHER:
            advisories.append(_sudden(dice, len(advisories) + 1, at, ends))
        at, ends = ends, _later(ends, dice.uniform(*BLOWS_FOR_H))
        blow = _blow(dice, at, ends)
        known_at = _later(at, -30.0)
        if dice.random() < TOLD_LATE:
            known_at = max(_local(at.date(), time(5, 40)), _later(at, -4.0))
            beliefs.append(Belief(known_at, _as_if_later(turns[-1], blow[0], dice.uniform(9.0, 16.0))))
        advisories.append(_advisory(dice, len(advisories) + 1, at, ends, known_at))
        turns += blow
        at = _later(ends, 8.0)
    return replace(
        FORTNIGHT,
        first_evening=first_evening,
        days=days,
        turns=tuple(turns),
        beliefs=tuple(beliefs),
        advisories=tuple(advisories),
        outages=(),
        silences=tuple(_silences(dice, first_evening, days)),
        amended=tuple(_later(belief.known_at, 0.1) for belief in beliefs),
        seed=seed,
    )


def _local(day: date, at: time) -> datetime:
    return datetime.combine(day, at, _TZ)


def _later(at: datetime, hours: float) -> datetime:
    """Hours of the clock that nobody sets, to the minute."""
    moment = at.astimezone(UTC) + timedelta(minutes=round(60 * hours))
    return moment.astimezone(_TZ)


def _calm(dice: random.Random, at: datetime, ends: datetime) -> Iterator[Turn]:
    while at < ends:
        wind_kt = dice.uniform(4.0, 9.5)
        yield Turn(
            at, wind_kt, dice.uniform(20.0, 180.0), wind_kt + dice.uniform(2.0, 5.0), dice.uniform(0.8, 2.0)
        )
        at = _later(at, dice.uniform(8.0, 20.0))


def _blow(dice: random.Random, at: datetime, ends: datetime) -> list[Turn]:
    wind_kt, sea_ft, pct = dice.uniform(19.0, 26.0), dice.uniform(3.8, 6.0), dice.choice((0.0, 0.0, 20.0, 60.0))
    first = Turn(at, 0.8 * wind_kt, 180.0, wind_kt, 0.8 * sea_ft, 5)
    middle = Turn(_later(at, 5.0), wind_kt, 200.0, wind_kt + 8.0, sea_ft, 6, pct, 6.0)
    return [first, middle, replace(middle, at=ends, from_deg=330.0, thunder_pct=0.0, wind_kt=0.85 * wind_kt)]


def _as_if_later(calm: Turn, blow: Turn, hours: float) -> tuple[Turn, ...]:
    """What was believed: the calm goes on for ``hours`` after the blow has begun."""
    return tuple(replace(calm, at=at) for at in (_later(blow.at, -5.0), _later(blow.at, hours)))


def _advisory(dice: random.Random, number: int, at: datetime, ends: datetime, known_at: datetime) -> Advisory:
    begins, over = _later(at, -1.0).replace(minute=0), _later(ends, 2.0).replace(minute=0)
    first = max(known_at, _later(at, -20.0))
    messages = [AdvisoryMessage(_later(first, 0.05), "NEW", begins, over)]
    again = _later(first, 9.0)
    while again < _later(over, -2.0):
        messages.append(AdvisoryMessage(again, "CON", begins, over))
        again = _later(again, 11.0)
    if dice.random() < 0.3:
        messages.append(AdvisoryMessage(_later(over, -1.5), "CAN", begins, over))
    return Advisory(number, "winds 20 to 30 knots with gusts up to 35 knots and seas 4 to 6 feet", tuple(messages))


def _sudden(dice: random.Random, number: int, at: datetime, ends: datetime) -> Advisory:
    """Issued in the course of a morning for the day, and in no forecast before."""
    day = _later(at, dice.uniform(0.0, (ends - at) / timedelta(hours=1))).date()
    sent = _local(day, time(4 + dice.randrange(6), dice.randrange(60)))
    begins, over = _later(sent, dice.uniform(0.2, 4.0)).replace(minute=0), _local(day, time(19))
    message = AdvisoryMessage(sent, "NEW", begins, over)
    return Advisory(number, "winds to 25 knots with gusts up to 35 knots and seas 4 to 6 feet", (message,))


def _silences(dice: random.Random, first: date, days: int) -> Iterator[Silence]:
    for number in range(days):
        if dice.random() < SILENT:
            at = _local(first + timedelta(days=number), NIGHT_BEFORE)
            yield Silence(at, _later(at, dice.uniform(3.0, 30.0)))
