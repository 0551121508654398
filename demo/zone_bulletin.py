"""Writes the coastal waters forecast (CWF) of a scenario as text in the public form. INVENTED DATA throughout.

The form is that of NWS Instruction 10-310: transmission header, zone line, synopsis, headline, twelve-hour
periods, ``$$``, lines of at most 66 columns.
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from demo.weather import HOUR, Hour, Weather

COLUMNS = 66
PERIODS = 10
GOOD_FOR = timedelta(hours=8)
NOTICE = "INVENTED DATA for a demonstration. Not a forecast of any real weather."
ZONE_NAME = "Apalachee Bay or Coastal Waters From Keaton Beach to Ochlockonee River FL out to 20 Nm-"

_COMPASS = ("North", "Northeast", "East", "Southeast", "South", "Southwest", "West", "Northwest")
_WINDS_KT = ((5.5, "around 5 knots"), (10.4, "5 to 10 knots"), (15.4, "10 to 15 knots"), (20.4, "15 to 20 knots"))
_STRONG_KT = ((25.4, "20 to 25 knots"), (30.4, "25 to 30 knots"))
_SEAS_FT = (
    (1.2, "1 foot or less"),
    (2.2, "1 to 2 feet"),
    (3.2, "2 to 3 feet"),
    (4.2, "2 to 4 feet"),
    (5.3, "3 to 5 feet"),
    (6.4, "4 to 6 feet"),
)
_THUNDER_PCT = (
    (55.0, "Showers and thunderstorms likely."),
    (25.0, "A chance of showers and thunderstorms."),
    (10.0, "A slight chance of showers and thunderstorms."),
)
_CHOP_KT = ((5.5, "smooth"), (10.4, "a light chop"), (15.4, "a moderate chop"), (20.4, "choppy"), (99.0, "rough"))
_CAUTION_KT = 15.4
_TURNED_DEG = 60.0


@dataclass(frozen=True)
class Period:
    """A stretch of a forecast. The change of the wind falls between its two halves, ``turn`` says when that is."""

    label: str
    starts_at: datetime
    ends_at: datetime
    turn: str


def zone_bulletin(weather: Weather, issued_at: datetime) -> str:
    """The text issued at ``issued_at`` (aware): lines ended by line feeds, as the service's API gives them."""
    scenario = weather.scenario
    local = scenario.local(issued_at)
    utc = issued_at.astimezone(UTC)
    issue = f"{clock(local)} {local:%a %b} {local.day} {local.year}"
    expiry = f"{utc + GOOD_FOR:%d%H%M}"
    periods = periods_from(local)
    told = [_period_text(weather, issued_at, period) for period in periods]
    head = [
        "000",
        f"FZUS52 K{scenario.office} {utc:%d%H%M}",
        f"CWF{scenario.office}",
        "",
        "Coastal Waters Forecast for Florida Big Bend and eastern Panhandle",
        "National Weather Service Tallahassee FL",
        issue,
        "",
        *_wrapped(NOTICE),
        "",
        f"{scenario.zone[:3]}700-{expiry}-",
        *_wrapped("Synopsis for the Suwannee River to Okaloosa-Walton county Line out to 60 nm"),
        issue,
        "",
        ".SYNOPSIS...",
        "",
        *_wrapped(_synopsis(weather, issued_at)),
        "",
        "$$",
        "",
        f"{scenario.zone}-{expiry}-",
        *_wrapped(ZONE_NAME),
        issue,
        "",
    ]
    headlines = [line for text in _headlines(weather, issued_at, periods) for line in (*_wrapped(text), "")]
    body = [line for text in told for line in _wrapped(text)]
    foot = ["", "Winds and seas higher in and near thunderstorms.", ""] if _thunder(told) else [""]
    return "\n".join([*head, *headlines, *body, *foot, "$$", ""])


def periods_from(local: datetime) -> list[Period]:
    """The twelve-hour periods of a text issued at ``local``: days run from 06 to 18, nights from 18 to 06."""
    midnight = local.replace(hour=0, minute=0, second=0, microsecond=0)
    if local.hour < 6:
        first = Period("TODAY", local, midnight.replace(hour=18), "in the afternoon")
    elif local.hour < 18:
        first = Period("REST OF TODAY", local, midnight.replace(hour=18), "late")
    else:
        first = Period("REST OF TONIGHT", local, midnight + timedelta(hours=30), "after midnight")
    periods = [first]
    while len(periods) < PERIODS:
        begins = periods[-1].ends_at
        ends = (begins + timedelta(hours=18)).replace(hour=6) if begins.hour == 18 else begins.replace(hour=18)
        periods.append(
            Period(_label(begins, local), begins, ends, "after midnight" if ends.hour == 6 else "in the afternoon")
        )
    return periods


def clock(local: datetime) -> str:
    """``330 AM EST``."""
    return f"{local.hour % 12 or 12}{local.minute:02d} {local:%p} {local:%Z}"


def spoken_time(at: datetime, *, seen_from: datetime) -> str:
    """``10 AM EST this morning``, ``7 PM EST Friday``: a moment (local) as headlines say it."""
    part = "this morning" if at.hour < 12 else "this afternoon" if at.hour < 18 else "this evening"
    hour = f"{at.hour % 12 or 12} {at:%p} {at:%Z}"
    return f"{hour} {part}" if at.date() == seen_from.date() else f"{hour} {at:%A}"


def in_effect(begins: datetime, ends: datetime, seen_from: datetime) -> str:
    """``in effect from 10 AM EST this morning to 7 PM EST Friday``; all times local."""
    end = spoken_time(ends, seen_from=seen_from)
    if begins <= seen_from:
        return f"in effect until {end}"
    return f"in effect from {spoken_time(begins, seen_from=seen_from)} to {end}"


def _label(begins: datetime, issued: datetime) -> str:
    if begins.hour == 18:
        return "TONIGHT" if begins.date() == issued.date() else f"{begins:%A} night".upper()
    return f"{begins:%A}".upper()


def _period_text(weather: Weather, issued_at: datetime, period: Period) -> str:
    hours = [weather.forecast(issued_at, at) for at in _hours_of(period)]
    middle = period.starts_at + (period.ends_at - period.starts_at) / 2
    halves = [[h for h in hours if h.at < middle], [h for h in hours if h.at >= middle]]
    sea = max(hour.sea_ft for hour in hours)
    wave_s = round(min(hour.period_s for hour in hours))
    sentences = [
        _winds([half for half in halves if half], period.turn),
        f"Seas {_worded(sea, _SEAS_FT)} with a dominant period of {wave_s} seconds.",
        f"Protected waters {_worded(max(hour.wind_kt for hour in hours), _CHOP_KT)}.",
    ]
    thunder = max(hour.thunder_pct for hour in hours)
    sentences += [words for least, words in _THUNDER_PCT if thunder >= least][:1]
    return f".{period.label}...{' '.join(sentences)}"


def _hours_of(period: Period) -> list[datetime]:
    first = period.starts_at.replace(minute=0)
    count = round((period.ends_at - first) / HOUR)
    return [first + n * HOUR for n in range(count)]


def _winds(halves: Sequence[Sequence[Hour]], turn: str) -> str:
    """``Southwest winds 10 to 15 knots, becoming northwest 15 to 20 knots in the afternoon.``"""
    first, last = halves[0], halves[-1]
    strength = [_worded(max(h.wind_kt for h in half), (*_WINDS_KT, *_STRONG_KT)) for half in (first, last)]
    heads = [_heading(half[len(half) // 2].from_deg) for half in (first, last)]
    turned = abs((last[-1].from_deg - first[0].from_deg + 180.0) % 360.0 - 180.0)
    text = f"{heads[0]} winds {strength[0]}"
    if turned >= _TURNED_DEG and heads[0] != heads[1]:
        text += f", becoming {heads[1].lower()} {strength[1]} {turn}"
    elif strength[0] != strength[1]:
        rises = max(h.wind_kt for h in last) > max(h.wind_kt for h in first)
        text += f", {'increasing' if rises else 'diminishing'} to {strength[1]} {turn}"
    strongest = max(hour.wind_kt for half in halves for hour in half)
    if strongest > _WINDS_KT[-1][0]:
        gust = max(hour.gust_kt for half in halves for hour in half)
        text += f" with gusts up to {5 * round(gust / 5)} knots"
    return f"{text}."


def _worded(value: float, table: Sequence[tuple[float, str]]) -> str:
    return next((words for most, words in table if value <= most), table[-1][1])


def _heading(from_deg: float) -> str:
    return _COMPASS[round(from_deg / 45.0) % 8]


def _headlines(weather: Weather, issued_at: datetime, periods: Sequence[Period]) -> list[str]:
    scenario = weather.scenario
    local = scenario.local(issued_at)
    held = [message for advisory in scenario.advisories if (message := advisory.holds(issued_at)) is not None]
    if held:
        when = in_effect(scenario.local(held[0].begins_at), scenario.local(held[0].ends_at), local)
        return [f"...Small Craft Advisory {when}...".upper()]
    soon = [weather.forecast(issued_at, at) for period in periods[:2] for at in _hours_of(period)]
    if max(hour.wind_kt for hour in soon) > _CAUTION_KT:
        return ["...SMALL CRAFT SHOULD EXERCISE CAUTION..."]
    return []


def _synopsis(weather: Weather, issued_at: datetime) -> str:
    """Two or three sentences on the days to come."""
    ahead = [weather.forecast(issued_at, issued_at + n * 6 * HOUR) for n in range(20)]
    northerly = [h for h in ahead if _heading(h.from_deg) in ("North", "Northwest") and h.wind_kt > 15.0]
    blow = [h for h in ahead if h.wind_kt > 18.0]
    now = f"{_heading(ahead[0].from_deg)} winds at first."
    if not blow:
        return f"{now} High pressure keeps winds and seas low over the waters. {NOTICE}"
    day = weather.scenario.local(blow[0].at)
    if northerly and northerly[0].at > blow[0].at:
        front = weather.scenario.local(northerly[0].at)
        return (
            f"{now} Southerly winds strengthen {day:%A} ahead of a cold front, "
            f"which crosses the waters {front:%A}. Strong northerly winds and building seas follow it. {NOTICE}"
        )
    return f"{now} Winds and seas stay high behind a cold front {day:%A} and then ease. {NOTICE}"


def _thunder(told: Sequence[str]) -> bool:
    return any("thunderstorms" in text for text in told)


def _wrapped(text: str) -> list[str]:
    return textwrap.wrap(text, COLUMNS, break_on_hyphens=False)
