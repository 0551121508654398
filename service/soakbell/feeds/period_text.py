"""Reads what one forecast period says of wind, sea, chop, thunder and fog.

Every token of the text is accounted for: it is part of a known phrase, or a word from the list of words that
can't change a number, or it ends in ``not_understood``. Upper ends only ever grow while reading; nothing
that is read lowers a number that stood before it.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache

from soakbell.feeds import period_words as words
from soakbell.feeds.period_places import place_end
from soakbell.feeds.period_sentence import MeasuredSentence, PeriodNotes, Quantity, Said, band_at
from soakbell.feeds.period_tokens import Token, is_separator, sentences_of, tokens_of
from soakbell.feeds.period_words import Kind
from soakbell.sea.zone_forecast import AreaState, Range
from soakbell.units import m_from_ft

_LOST_LABEL = re.compile(
    r"\b(?:REST OF )?(?:TODAY|TONIGHT|OVERNIGHT|NIGHT|THIS (?:MORNING|AFTERNOON|EVENING)|"
    r"(?:SUN|MON|TUE|TUES|WED|WEDNES|THU|THURS|FRI|SAT|SATUR)(?:DAY)?(?: NIGHT)?) ?\.{3}"
)
"""The name of another period within this one: its own dots were damaged."""

_FREEZING_SPRAY = re.compile(r"\bfreezing spray\b", re.IGNORECASE)


@dataclass(frozen=True)
class PeriodSays:
    """The content of one period, without its name and time. Fields as in ``ForecastPeriod``."""

    states: tuple[AreaState, ...]
    thunder_pct: float | None
    visibility_nm: float | None
    chop: str
    outlooks: tuple[str, ...]
    not_understood: tuple[str, ...]


@lru_cache(maxsize=8192)
def read_period(text: str) -> PeriodSays:
    """What ``text``, the paragraph after ``.LABEL...`` with its line breaks folded, says."""
    period = PeriodNotes(text)
    for sentence in sentences_of(tokens_of(text)):
        _read_sentence(sentence, period)
    period.not_understood.extend(found.group() for found in _LOST_LABEL.finditer(text))
    return PeriodSays(
        states=_states(period),
        thunder_pct=None if period.not_understood and not period.thunder_pct else period.thunder_pct,
        visibility_nm=None if math.isinf(period.visibility_nm) else period.visibility_nm,
        chop="; ".join(dict.fromkeys(period.chop)),
        outlooks=tuple(period.outlooks),
        not_understood=tuple(period.not_understood),
    )


def _read_sentence(tokens: list[Token], period: PeriodNotes) -> None:
    text = period.text[tokens[0].start : tokens[-1].end]
    if words.HIGHER_IN_STORMS.fullmatch(text):
        return
    has_number = any(token.is_number for token in tokens)
    if not has_number and _is_outlook(tokens):
        period.outlooks.append(text)
        return
    _read_weather(tokens, text, period)
    if not has_number and _is_storm_remark(tokens):
        period.outlooks.append(text)
    elif not has_number and any(token.kind is Kind.CHOP for token in tokens):
        _read_chop(tokens, period)
    elif has_number or _names_a_measure(tokens):
        MeasuredSentence(tokens, period).read()
    else:
        _account_for_weather(tokens, period)


def _names_a_measure(tokens: Sequence[Token]) -> bool:
    kinds = (Kind.WIND, Kind.GUST, Kind.SEA, Kind.WAVE, Kind.SWELL, Kind.VISIBILITY, Kind.KNOT, Kind.FOOT)
    return any(token.kind in kinds or band_at(tokens, at) is not None for at, token in enumerate(tokens))


def _is_outlook(tokens: Sequence[Token]) -> bool:
    """Says that an official event may come; each clause that names one has to say so."""
    events = [clause for clause in _clauses(tokens) if any(token.low in words.WARNING_WORDS for token in clause)]
    return (
        bool(events)
        and all(any(token.low in words.CHANCE_WORDS for token in clause) for clause in events)
        and not any(token.low in words.LASTING_WORDS for token in tokens)
        and all(
            token.low in words.OUTLOOK_WORDS or token.kind in (Kind.TIME, Kind.LINK) or token.low == ","
            for token in tokens
        )
    )


def _is_storm_remark(tokens: Sequence[Token]) -> bool:
    """Storms "may produce gusty winds": told to the skipper as it stands."""
    return (
        any(token.kind is Kind.THUNDER for token in tokens)
        and any(token.low in words.MODALS for token in tokens)
        and not any(token.low in words.WARNING_WORDS for token in tokens)
        and not any(band_at(tokens, at) for at in range(len(tokens)))
    )


def _account_for_weather(tokens: Sequence[Token], period: PeriodNotes) -> None:
    if not any(token.low in words.SKY_WORDS for token in tokens):
        period.leave_over(tokens, range(len(tokens)))
        return
    leftover = [
        at
        for at, token in _outside_places(tokens)
        if not (token.kind in words.WEATHER_SENTENCE or is_separator(token) or token.low == "/")
    ]
    period.leave_over(tokens, leftover)


def _outside_places(tokens: Sequence[Token]) -> Iterator[tuple[int, Token]]:
    """The tokens that belong to no place, and where they stand."""
    at = 0
    while at < len(tokens):
        end = place_end(tokens, at)
        if end is None:
            yield at, tokens[at]
        at = at + 1 if end is None else end


# --- thunder and fog ---------------------------------------------------------------------------------------


def _read_weather(tokens: Sequence[Token], text: str, period: PeriodNotes) -> None:
    kinds = {token.kind for token in tokens}
    if Kind.THUNDER in kinds:
        for clause in _clauses(tokens):
            period.thunder_pct = max(period.thunder_pct, _thunder_pct(clause))
    dense = any(token.low in words.DENSE_WORDS for token in tokens)
    if dense and (Kind.FOG in kinds or any(token.low in words.VEILING_WORDS for token in tokens)):
        period.visibility_nm = min(period.visibility_nm, words.DENSE_FOG_NMI)
    elif Kind.FOG in kinds:
        period.visibility_nm = min(period.visibility_nm, words.FOG_NMI)
    if _FREEZING_SPRAY.search(text):
        period.outlooks.append(text)


def _clauses(tokens: Sequence[Token]) -> list[list[Token]]:
    clauses: list[list[Token]] = [[]]
    for token in tokens:
        if is_separator(token) or token.low == "then":
            clauses.append([])
        else:
            clauses[-1].append(token)
    return clauses


def _thunder_pct(clause: Sequence[Token]) -> float:
    """Upper end of the chance of thunder in one clause; 0 where it names none."""
    before: float | None = None
    found: list[float] = []
    open_mentions = 0
    for at, token in enumerate(clause):
        stated = _probability(clause, at)
        if stated is not None:
            before = stated
        elif token.kind is Kind.THUNDER:
            if before is None:
                open_mentions += 1
            else:
                found.append(before)
        elif token.low in ("likely", "probable"):
            found.extend([words.THUNDER_LIKELY_PCT] * (open_mentions + bool(found)))
            open_mentions = 0
        elif token.low == "possible" and open_mentions:
            found.append(words.THUNDER_CHANCE_PCT)
            open_mentions = 0
    return max([*found, *([words.THUNDER_CERTAIN_PCT] if open_mentions else []), 0.0])


def _probability(clause: Sequence[Token], at: int) -> float | None:
    token = clause[at]
    if token.low in ("percent", "%") and at and clause[at - 1].is_number:
        return min(float(clause[at - 1].text), 100.0)
    if token.low in ("chance", "chances"):
        if at and clause[at - 1].low == "slight":
            return words.THUNDER_SLIGHT_PCT
        if at and clause[at - 1].low in ("percent", "%"):
            return None
        return words.THUNDER_CHANCE_PCT
    return {
        "isolated": words.THUNDER_SLIGHT_PCT,
        "few": words.THUNDER_SLIGHT_PCT,
        "scattered": words.THUNDER_CHANCE_PCT,
        "numerous": words.THUNDER_LIKELY_PCT,
        "widespread": words.THUNDER_CERTAIN_PCT,
        "occasional": words.THUNDER_CERTAIN_PCT,
        "periods": words.THUNDER_CERTAIN_PCT,
        "definite": words.THUNDER_CERTAIN_PCT,
    }.get(token.low)


# --- chop --------------------------------------------------------------------------------------------------

_CHOP_PHRASE = re.compile(
    r"\b(?:(very|extremely|slightly) )?(smooth|choppy|rough)\b|"
    r"\b(?:a )?(light|moderate|heavy) (chop)\b|\b()(chop)\b"
)
_CHOP_ADVERBS = frozenset({"very", "extremely", "slightly", "nearly", "light", "moderate", "heavy"})


def _read_chop(tokens: Sequence[Token], period: PeriodNotes) -> None:
    text = " ".join(token.low for token in tokens)
    phrases = list(_CHOP_PHRASE.finditer(text))
    period.chop.extend(_chop_words(found) for found in phrases)
    leftover = []
    for at, token in _outside_places(tokens):
        known = token.kind in words.CHOP_SENTENCE or token.low in _CHOP_ADVERBS or token.kind is Kind.WAVE
        if not (known or is_separator(token)):
            leftover.append(at)
    last_chop = max((at for at, token in enumerate(tokens) if token.kind is Kind.CHOP), default=-1)
    leftover.extend(at for at, token in enumerate(tokens) if token.kind is Kind.RISE and at > last_chop)
    period.leave_over(tokens, leftover)


def _chop_words(found: re.Match[str]) -> str:
    if found.group(2):
        return f"{found.group(1)} {found.group(2)}" if found.group(1) else found.group(2)
    return f"a {found.group(3)} chop" if found.group(3) else "chop"


# --- from statements to states -----------------------------------------------------------------------------


def _states(period: PeriodNotes) -> tuple[AreaState, ...]:
    areas = list(dict.fromkeys(said.area for said in period.said))
    return tuple(_state(area, period) for area in areas)


def _state(area: str, period: PeriodNotes) -> AreaState:
    said = [one for one in period.said if one.area == area]
    winds = [one for one in said if one.quantity is Quantity.WIND]
    gusts = [one.high for one in said if one.quantity is Quantity.GUST and one.high is not None]
    wind = _range(winds)
    sea, whole = _sea(said)
    strongest = max((one for one in winds if one.high is not None), key=lambda one: one.high or 0.0, default=None)
    return AreaState(
        area=area,
        wind_kt=wind,
        gust_kt=max([*gusts, wind.high if wind else 0.0]) if gusts else None,
        wind_from_deg=None if strongest is None else strongest.from_deg,
        sea_m=sea,
        sea_whole=whole,
        period_s=min((seconds for place, seconds in period.seconds if place == area), default=None),
    )


def _range(said: Sequence[Said]) -> Range | None:
    """Worst of successive statements. The low end is known only where every statement has one."""
    highs = [one.high for one in said if one.high is not None]
    if not highs:
        return None
    lows = [one.low for one in said if not one.only_upper]
    known = [low for low in lows if low is not None]
    return Range(min(known) if known and len(known) == len(lows) else None, max(highs))


def _sea(said: Sequence[Said]) -> tuple[Range | None, bool]:
    """The sea in metres and whether it is the whole of it.

    "Seas" and "waves" are totals. Wind waves and swells given apart add by energy: the root of the sum of the
    squares of their heights (NWS definition of combined seas). A part without its number, or wind waves or
    swell alone, leaves a lower bound.
    """
    total = _range(_of(said, Quantity.TOTAL))
    waves = _range(_of(said, Quantity.WAVES))
    wind_waves = _range(_of(said, Quantity.WIND_WAVES))
    swells, unknown_swell = _trains(said, Quantity.SWELL)
    details, _ = _trains(said, Quantity.DETAIL)
    if total is None and not swells and wind_waves is None:
        total, waves = waves, None
    own = [part for part in (waves, wind_waves) if part is not None]
    parts = [*own, *swells, *details]
    if total is not None:
        sea, whole = Range(total.low, max([total.high, *(part.high for part in parts)])), True
    elif parts:
        sea = _added(parts)
        whole = not unknown_swell and ((bool(own) and bool(swells)) or len(details) > 1)
    else:
        sea, whole = None, False
    return _with_loose(sea, whole, _range(_of(said, Quantity.LOOSE)))


def _of(said: Sequence[Said], quantity: Quantity) -> list[Said]:
    return [one for one in said if one.quantity is quantity]


def _with_loose(sea: Range | None, whole: bool, loose: Range | None) -> tuple[Range | None, bool]:
    """A height that says of nothing may only raise the sea."""
    if loose is not None:
        sea, whole = Range(None, max(loose.high, sea.high if sea else 0.0)), whole and sea is not None
    return (None if sea is None else _metres(sea)), whole


def _trains(said: Sequence[Said], quantity: Quantity) -> tuple[list[Range], bool]:
    """Each wave train's range, and whether one was named without a height."""
    trains: dict[int, list[Said]] = {}
    for one in said:
        if one.quantity is quantity:
            trains.setdefault(one.train, []).append(one)
    ranges = [_range(train) for train in trains.values()]
    return [found for found in ranges if found is not None], None in ranges


def _added(parts: Sequence[Range]) -> Range:
    lows = [part.low for part in parts]
    known = [low for low in lows if low is not None]
    return Range(
        math.hypot(*known) if len(known) == len(lows) else None, math.hypot(*(part.high for part in parts))
    )


def _metres(range_ft: Range) -> Range:
    return Range(None if range_ft.low is None else m_from_ft(range_ft.low), m_from_ft(range_ft.high))
