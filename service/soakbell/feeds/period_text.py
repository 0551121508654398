"""Reads what one forecast period says of wind, sea, chop, thunder and fog.

Every token of the text is accounted for: it is part of a known phrase, or a word from the list of words that
can't change a number, or it ends in ``not_understood``. Upper ends only ever grow while reading; nothing
that is read lowers a number that stood before it.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from enum import Enum, auto
from functools import lru_cache
from typing import NamedTuple

from soakbell.feeds import period_words as words
from soakbell.feeds.period_words import Kind
from soakbell.sea.zone_forecast import AreaState, Range
from soakbell.units import kt_from_mph, m_from_ft, nmi_from_m

_TOKEN = re.compile(r"\d+(?:\.\d+)?|[A-Za-z]+(?:'[A-Za-z]+)?|\.{2,}|[.,;:()/%+&-]|\S")
_ABBREVIATIONS = frozenset({"st", "pt", "mt", "u", "ste", "pte"})
_CLAUSE_ENDS = frozenset({",", ";", ":"})
_HIGHER_IN_STORMS = re.compile(
    r"(?:winds?|waves?|seas?)(?:,? (?:and|or) (?:winds?|waves?|seas?|visibilities))*"
    r"(?: (?:may|can|will) be| are)?"
    r"(?: locally| briefly)? (?:higher|stronger)(?: and gusty)? (?:in and near|in and around|in or near|"
    r"in the vicinity of|near|in|around)(?: any| some)?(?: showers and| showers or)? (?:thunderstorms|tstms|storms)"
)
_FREEZING_SPRAY = re.compile(r"\bfreezing spray\b", re.IGNORECASE)
_STATUTE_MILE_M = 1609.344
_TOO_BIG = 1000.0
"""No wind in knots or sea in feet reaches this; such a number is damage."""


@dataclass(frozen=True)
class PeriodSays:
    """The content of one period, without its name and time. Fields as in ``ForecastPeriod``."""

    states: tuple[AreaState, ...]
    thunder_pct: float | None
    visibility_nm: float | None
    chop: str
    outlooks: tuple[str, ...]
    not_understood: tuple[str, ...]


class Token(NamedTuple):
    text: str
    low: str
    start: int
    end: int
    kind: Kind | None
    is_number: bool


class Quantity(Enum):
    WIND = auto()
    GUST = auto()
    TOTAL = auto()
    WIND_WAVES = auto()
    SWELL = auto()
    DETAIL = auto()
    LOOSE = auto()  # a height that says of no sea or swell


@dataclass
class Said:
    """One statement. ``high`` None: the thing was named without a number."""

    quantity: Quantity
    low: float | None
    high: float | None
    from_deg: float | None = None
    train: int = 0
    only_upper: bool = False
    area: str = ""


@dataclass
class _Period:
    """What has been read of a period so far."""

    text: str
    said: list[Said] = field(default_factory=list)
    seconds: list[tuple[str, float]] = field(default_factory=list)
    thunder_pct: float = 0.0
    visibility_nm: float = math.inf
    chop: list[str] = field(default_factory=list)
    outlooks: list[str] = field(default_factory=list)
    not_understood: list[str] = field(default_factory=list)
    trains: int = 0

    def new_train(self) -> int:
        self.trains += 1
        return self.trains

    def leave_over(self, tokens: Sequence[Token], places: Iterable[int]) -> None:
        """Keep the tokens at ``places`` as not understood, neighbours as one phrase."""
        run: list[int] = []
        for at in sorted(set(places)):
            if run and at != run[-1] + 1:
                self._keep(tokens, run)
                run = []
            run.append(at)
        if run:
            self._keep(tokens, run)

    def _keep(self, tokens: Sequence[Token], run: Sequence[int]) -> None:
        self.not_understood.append(self.text[tokens[run[0]].start : tokens[run[-1]].end])


@lru_cache(maxsize=8192)
def read_period(text: str) -> PeriodSays:
    """What ``text``, the paragraph after ``.LABEL...`` with its line breaks folded, says."""
    period = _Period(text)
    for sentence in _sentences(tokens_of(text)):
        _read_sentence(sentence, period)
    return PeriodSays(
        states=_states(period),
        thunder_pct=None if period.not_understood and not period.thunder_pct else period.thunder_pct,
        visibility_nm=None if math.isinf(period.visibility_nm) else period.visibility_nm,
        chop="; ".join(dict.fromkeys(period.chop)),
        outlooks=tuple(period.outlooks),
        not_understood=tuple(period.not_understood),
    )


def tokens_of(text: str) -> list[Token]:
    tokens = []
    for found in _TOKEN.finditer(text):
        piece = found.group()
        low = piece.lower()
        tokens.append(Token(piece, low, found.start(), found.end(), words.CLASSES.get(low), piece[0].isdecimal()))
    return tokens


def _sentences(tokens: Sequence[Token]) -> list[list[Token]]:
    sentences: list[list[Token]] = []
    sentence: list[Token] = []
    for at, token in enumerate(tokens):
        if token.low == "." and not _is_abbreviation(tokens, at):
            sentences.append(sentence)
            sentence = []
        else:
            sentence.append(token)
    sentences.append(sentence)
    return [found for found in sentences if found]


def _is_abbreviation(tokens: Sequence[Token], at: int) -> bool:
    before = tokens[at - 1].low if at else ""
    if before in _ABBREVIATIONS:
        return True
    return before == "s" and at >= 3 and tokens[at - 2].low == "." and tokens[at - 3].low == "u"


def _read_sentence(tokens: list[Token], period: _Period) -> None:
    text = period.text[tokens[0].start : tokens[-1].end]
    low = text.lower()
    if _HIGHER_IN_STORMS.fullmatch(low):
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
        _Sentence(tokens, period).read()
    else:
        _account_for_weather(tokens, period)


def _names_a_measure(tokens: Sequence[Token]) -> bool:
    kinds = (Kind.WIND, Kind.GUST, Kind.SEA, Kind.WAVE, Kind.SWELL, Kind.VISIBILITY, Kind.KNOT, Kind.FOOT)
    return any(token.kind in kinds or token.low in ("gale", "gales") for token in tokens)


def _is_outlook(tokens: Sequence[Token]) -> bool:
    return any(token.low in words.WARNING_WORDS for token in tokens) and all(
        token.low in words.OUTLOOK_WORDS or token.kind in (Kind.TIME, Kind.LINK) or token.low == ","
        for token in tokens
    )


def _is_storm_remark(tokens: Sequence[Token]) -> bool:
    """Storms "may produce gusty winds": told to the skipper as it stands."""
    return (
        any(token.kind is Kind.THUNDER for token in tokens)
        and any(token.low in words.MODALS for token in tokens)
        and not any(_band_at(tokens, at) for at in range(len(tokens)))
    )


def _account_for_weather(tokens: Sequence[Token], period: _Period) -> None:
    if not any(token.low in words.SKY_WORDS for token in tokens):
        period.leave_over(tokens, range(len(tokens)))
        return
    leftover = []
    at = 0
    while at < len(tokens):
        end = _area_end(tokens, at)
        if end is not None:
            at = end
            continue
        if not (tokens[at].kind in words.WEATHER_SENTENCE or _is_separator(tokens[at]) or tokens[at].low == "/"):
            leftover.append(at)
        at += 1
    period.leave_over(tokens, leftover)


# --- thunder and fog ---------------------------------------------------------------------------------------


def _read_weather(tokens: Sequence[Token], text: str, period: _Period) -> None:
    kinds = {token.kind for token in tokens}
    if Kind.THUNDER in kinds:
        for clause in _clauses(tokens):
            period.thunder_pct = max(period.thunder_pct, _thunder_pct(clause))
    if Kind.FOG in kinds:
        dense = any(token.low == "dense" for token in tokens)
        period.visibility_nm = min(period.visibility_nm, words.DENSE_FOG_NMI if dense else words.FOG_NMI)
    if _FREEZING_SPRAY.search(text):
        period.outlooks.append(text)


def _clauses(tokens: Sequence[Token]) -> list[list[Token]]:
    clauses: list[list[Token]] = [[]]
    for token in tokens:
        if _is_separator(token) or token.low == "then":
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


def _read_chop(tokens: Sequence[Token], period: _Period) -> None:
    text = " ".join(token.low for token in tokens)
    phrases = list(_CHOP_PHRASE.finditer(text))
    period.chop.extend(_chop_words(found) for found in phrases)
    leftover = []
    at = 0
    while at < len(tokens):
        token = tokens[at]
        end = _area_end(tokens, at)
        if end is not None:
            at = end
            continue
        known = token.kind in words.CHOP_SENTENCE or token.low in _CHOP_ADVERBS or token.kind is Kind.WAVE
        if not (known or _is_separator(token)):
            leftover.append(at)
        at += 1
    last_chop = max((at for at, token in enumerate(tokens) if token.kind is Kind.CHOP), default=-1)
    leftover.extend(at for at, token in enumerate(tokens) if token.kind is Kind.RISE and at > last_chop)
    period.leave_over(tokens, leftover)


def _chop_words(found: re.Match[str]) -> str:
    if found.group(2):
        return f"{found.group(1)} {found.group(2)}" if found.group(1) else found.group(2)
    return f"a {found.group(3)} chop" if found.group(3) else "chop"


# --- places ------------------------------------------------------------------------------------------------

_PLACE_STARTS = frozenset({"near", "within", "beyond", "outside", "inside", "past", "off", "out"})
_PLACE_OR_TIME_STARTS = frozenset(
    {"in", "over", "across", "along", "through", "for", "from", "around", "between", "on"}
)
_PLACE_LINKS = frozenset(
    {"of", "the", "off", "out", "from", "near", "within", "beyond", "outside", "inside", "including", "in", "over"}
)
_COMPASS_OK_AFTER = frozenset({"in", "over", "across"})


def _is_name(token: Token, shouting: bool) -> bool:
    return (
        token.kind is None
        and token.low[0].isalpha()
        and token.low not in _NEVER_NAMES
        and (shouting or token.text[0].isupper())
    )


_NEVER_NAMES = words.split_words(
    """up less than under below above exceeding greater more least gale gales storm hurricane tropical force calm
    higher stronger near within beyond outside inside past between across off out very steep hazardous lower lesser
    kn knt kph ms m s"""
)


def _is_shouting(tokens: Sequence[Token]) -> bool:
    return all(token.text.isupper() for token in tokens if token.low[0].isalpha())


def _area_end(tokens: Sequence[Token], start: int) -> int | None:
    """Where a place phrase that begins at ``start`` ends, or None if none begins there."""
    first = tokens[start]
    begins = (
        first.low in _PLACE_STARTS
        or first.low in _PLACE_OR_TIME_STARTS
        or first.kind in (Kind.PLACE, Kind.PORTION)
        or (first.kind is Kind.DIRECTION and _compass_opens_place(tokens, start))
        or (first.is_number and _distance_end(tokens, start) is not None)
    )
    if not begins:
        return None
    end, content, compass = _walk_place(tokens, start)
    if content or (compass and first.low in _COMPASS_OK_AFTER):
        return end
    return None


def _walk_place(tokens: Sequence[Token], start: int) -> tuple[int, bool, bool]:
    """Walk on while the tokens can belong to a place; says where it ends and whether it named anything."""
    shouting = _is_shouting(tokens)
    at, end, content, compass = start, start, False, False
    while at < len(tokens):
        token = tokens[at]
        distance = _distance_end(tokens, at) if token.is_number else None
        if distance is not None:
            at = end = distance
            content = True
        elif token.kind in (Kind.PLACE, Kind.PORTION) or _is_name(token, shouting):
            at, content = at + 1, True
            end = at
        elif token.kind is Kind.DIRECTION and (_compass_opens_place(tokens, at) or _closes_place(tokens, at)):
            at, compass = at + 1, True
            end = at
        elif _links_place(tokens, at, start) or (
            token.low in ("and", "to") and at > start and _place_goes_on(tokens, at + 1, shouting)
        ):
            at += 1
        else:
            break
    return end, content, compass


def _links_place(tokens: Sequence[Token], at: int, start: int) -> bool:
    token = tokens[at]
    if token.low == ".":
        return tokens[at - 1].low in (*_ABBREVIATIONS, "s")
    return token.low in _PLACE_LINKS or (at == start and token.low in _PLACE_STARTS | _PLACE_OR_TIME_STARTS)


def _compass_opens_place(tokens: Sequence[Token], at: int) -> bool:
    after = tokens[at + 1] if at + 1 < len(tokens) else None
    if after is None:
        return False
    if after.low == "of":
        return at + 2 < len(tokens)
    if after.low == "and" and at + 3 < len(tokens) and tokens[at + 2].kind is Kind.DIRECTION:
        return tokens[at + 3].low == "of" or tokens[at + 3].kind is Kind.PORTION
    return after.kind in (Kind.PORTION, Kind.PLACE) or (
        after.kind is None
        and after.text[0].isupper()
        and after.low not in _NEVER_NAMES
        and not _is_shouting(tokens)
    )


def _closes_place(tokens: Sequence[Token], at: int) -> bool:
    return at > 0 and tokens[at - 1].low == "the"


def _place_goes_on(tokens: Sequence[Token], at: int, shouting: bool) -> bool:
    if at < len(tokens) and tokens[at].low == "the":
        at += 1
    if at >= len(tokens):
        return False
    token = tokens[at]
    if token.is_number:
        return _distance_end(tokens, at) is not None
    if token.kind is Kind.DIRECTION:
        return _compass_opens_place(tokens, at)
    return token.kind in (Kind.PLACE, Kind.PORTION) or token.low in _PLACE_STARTS or _is_name(token, shouting)


def _distance_end(tokens: Sequence[Token], at: int) -> int | None:
    """End of ``5 nm``, ``20 to 60 nautical miles``; None where the number is no distance."""
    end = at + 1
    if end + 1 < len(tokens) and tokens[end].low in ("to", "and") and tokens[end + 1].is_number:
        end += 2
    if end >= len(tokens) or tokens[end].kind not in (Kind.NAUTICAL_MILE, Kind.STATUTE_MILE):
        return None
    end += 1
    if end < len(tokens) and tokens[end].kind is Kind.STATUTE_MILE and tokens[end - 1].low == "nautical":
        end += 1
    return end


def _leading_place(tokens: Sequence[Token]) -> tuple[int, int] | None:
    """Ends of a place before a comma at the head of a sentence (place, comma), or None."""
    shouting = _is_shouting(tokens)
    first = tokens[0]
    named = _is_name(first, shouting)
    if _area_end(tokens, 0) is None and not named:
        return None
    end, content, _ = _walk_place(tokens, 0)
    if not content or end + 1 >= len(tokens) or not _is_separator(tokens[end]):
        return None
    if named and not any(token.kind in (Kind.PORTION, Kind.PLACE) for token in tokens[:end]):
        return None
    return end, end + 1


def _is_separator(token: Token) -> bool:
    return token.low in _CLAUSE_ENDS or token.low.startswith("..")


# --- sentences with numbers --------------------------------------------------------------------------------

_BANDS: tuple[tuple[tuple[str, ...], tuple[float, float]], ...] = (
    (("tropical", "storm", "force"), words.TROPICAL_STORM_KT),
    (("tropical", "storm", "conditions"), words.TROPICAL_STORM_KT),
    (("hurricane", "force"), (words.HURRICANE_KT, math.inf)),
    (("hurricane", "conditions"), (words.HURRICANE_KT, math.inf)),
    (("storm", "force"), words.STORM_KT),
    (("gale", "force"), words.GALE_KT),
    (("gales",), words.GALE_KT),
    (("gale",), words.GALE_KT),
)


def _band_at(tokens: Sequence[Token], at: int) -> tuple[int, tuple[float, float]] | None:
    """Where a named wind band that begins at ``at`` ends, and its limits in knots."""
    if tokens[at].low not in ("tropical", "hurricane", "storm", "gale", "gales"):
        return None
    for names, band in _BANDS:
        if tuple(token.low for token in tokens[at : at + len(names)]) == names:
            return at + len(names), band
    return None


_UPPER_LEADS = frozenset({"to", "up to", "less"})
_LEADS: dict[tuple[str, ...], str] = {
    ("up", "to"): "up to",
    ("at", "or", "below"): "less",
    ("less", "than"): "less",
    ("lower", "than"): "less",
    ("more", "than"): "more",
    ("greater", "than"): "more",
    ("in", "excess", "of"): "more",
    ("at", "least"): "more",
    ("under",): "less",
    ("below",): "less",
    ("over",): "more",
    ("above",): "more",
    ("exceeding",): "more",
    ("around",): "around",
    ("near",): "around",
    ("about",): "around",
    ("approximately",): "around",
    ("nearly",): "around",
    ("between",): "between",
    ("to",): "to",
}
_LEAD_STRENGTH = ("", "around", "between", "to", "up to", "less", "more")
_LESS_TAILS = frozenset({"less", "lower", "below", "under"})
_MORE_TAILS = frozenset({"more", "greater", "higher", "above", "better"})
_TRAINS = frozenset({Quantity.SWELL, Quantity.DETAIL, Quantity.TOTAL})


@dataclass(frozen=True)
class _Value:
    low: float
    high: float
    unit: Kind | None
    end: int
    tail: str


class _Sentence:
    """Reads one sentence that holds numbers or names a measured thing."""

    def __init__(self, tokens: Sequence[Token], period: _Period) -> None:
        self.tokens = tokens
        self.period = period
        self.subject: Quantity | None = None
        self.in_visibility = False
        self.wind_named = False
        self.area = ""
        self.group: list[Said] = []
        self.group_seconds: list[float] = []
        self.leftover: list[int] = []
        self.from_deg: float | None = None
        self.direction_said = False
        self.verb: Kind | None = None
        self.verb_at = 0
        self.value_since_verb = False
        self.lead = ""
        self.only_upper = False
        self.open_noun: int | None = None
        self.band: tuple[int, tuple[float, float]] | None = None
        self.train = 0
        self.train_has_value = False

    def read(self) -> None:
        at = 0
        place = _leading_place(self.tokens)
        if place is not None:
            self.area = self._text(0, place[0])
            at = place[1]
        while at < len(self.tokens):
            at = self._step(at)
        self._end_clause()
        self._settle_noun()
        self._flush(self.area)
        self.period.leave_over(self.tokens, self.leftover)

    def _step(self, at: int) -> int:
        token = self.tokens[at]
        if not token.low[0].isalnum():
            return self._punctuation(at)
        lead = self._lead_end(at)
        if lead is not None:
            return lead
        end = _area_end(self.tokens, at)
        if end is not None and not self._is_measured_visibility(at):
            return self._place(at, end)
        if token.is_number:
            return self._number(at)
        band = _band_at(self.tokens, at)
        if band is not None:
            self._settle_band()
            self.band = (at, band[1])
            return band[0]
        return self._word(at, token)

    # punctuation, places

    def _punctuation(self, at: int) -> int:
        token = self.tokens[at]
        if _is_separator(token):
            self._end_clause()
        elif token.low == "-" and 0 < at < len(self.tokens) - 1 and not self._between_numbers(at):
            pass
        elif token.low not in ("(", ")"):
            self.leftover.append(at)
        return at + 1

    def _between_numbers(self, at: int) -> bool:
        return self.tokens[at + 1].is_number or (
            self.tokens[at - 1].is_number and self.tokens[at + 1].kind is not Kind.SECOND
        )

    def _place(self, at: int, end: int) -> int:
        name = self._text(at, end)
        if self.group:
            self._settle_band()
            self._flush(name)
        elif self.band is None:
            self.area = name
        return end

    def _is_measured_visibility(self, at: int) -> bool:
        return self.in_visibility and self.tokens[at].is_number

    # leads and numbers

    def _lead_end(self, at: int) -> int | None:
        """End of the words before a number ("up to", "less than"); None where no number follows them."""
        lead, end = "", at
        while end < len(self.tokens) and not self.tokens[end].is_number:
            found = self._one_lead(end)
            if found is None:
                break
            lead = max(lead, found[0], key=_LEAD_STRENGTH.index)
            end = found[1]
        if end == at or end >= len(self.tokens):
            return None
        if self.tokens[end].is_number:
            if _distance_end(self.tokens, end) is not None and not self.in_visibility:
                return None
        elif _band_at(self.tokens, end) is None:
            return None
        self.lead = lead
        return end

    def _one_lead(self, at: int) -> tuple[str, int] | None:
        for size in (3, 2, 1):
            lead = _LEADS.get(tuple(token.low for token in self.tokens[at : at + size]))
            if lead is not None:
                return lead, at + size
        return None

    def _number(self, at: int) -> int:
        value = self._value(at)
        if value.unit is Kind.KNOT:
            self._wind_value(at, value, value.low, value.high)
        elif value.unit is Kind.MPH:
            self._wind_value(at, value, kt_from_mph(value.low), kt_from_mph(value.high))
        elif value.unit is Kind.FOOT:
            self._sea_value(at, value)
        elif value.unit is Kind.SECOND:
            self.group_seconds.append(value.low)
        elif value.unit in (Kind.NAUTICAL_MILE, Kind.STATUTE_MILE):
            self._visibility_value(at, value)
        elif value.unit is None:
            self._bare_number(at, value)
        self.lead = ""
        return value.end

    def _value(self, at: int) -> _Value:
        """A number or range, its unit, and "or less" behind it. Anything odd about it is left over."""
        tokens = self.tokens
        low = high = self._figure(at)
        end = at + 1
        if end + 1 < len(tokens) and tokens[end].low == "/" and tokens[end + 1].is_number:
            low = high = low / max(self._figure(end + 1), 1.0)
            end += 2
        joiners = ("to", "or", "and") if self.lead == "between" else ("to", "or")
        if end + 1 < len(tokens) and tokens[end].low in joiners and tokens[end + 1].is_number:
            high = self._figure(end + 1)
            end += 2
        if end < len(tokens) and tokens[end].is_number:
            self.leftover.extend(range(at, end + 1))
        if end + 1 < len(tokens) and tokens[end].low == "-" and tokens[end + 1].kind is Kind.SECOND:
            end += 1
        unit, end = self._unit(end)
        again = self._same_unit_again(end, unit)
        if again is not None and low == high:
            high, end = again
        if high < low:
            self.leftover.extend(range(at, end))
            low, high = high, low
        if high >= _TOO_BIG and unit in (Kind.KNOT, Kind.FOOT, Kind.MPH):
            self.leftover.extend(range(at, end))
        tail, end = self._tail(end)
        return _Value(low, high, unit, end, tail)

    def _figure(self, at: int) -> float:
        token = self.tokens[at]
        if "." in token.text and not self.in_visibility:
            self.leftover.append(at)
        return float(token.text[:12])

    def _unit(self, at: int) -> tuple[Kind | None, int]:
        units = (
            Kind.KNOT, Kind.MPH, Kind.FOOT, Kind.SECOND, Kind.NAUTICAL_MILE, Kind.STATUTE_MILE, Kind.PERCENT,
            Kind.HALF_DAY,
        )  # fmt: skip
        if at >= len(self.tokens) or self.tokens[at].kind not in units:
            return None, at
        unit = self.tokens[at].kind
        end = at + 1
        if unit is Kind.NAUTICAL_MILE and end < len(self.tokens) and self.tokens[end].kind is Kind.STATUTE_MILE:
            end += 1
        return unit, end

    def _same_unit_again(self, at: int, unit: Kind | None) -> tuple[float, int] | None:
        """``10 kt to 15 kt``."""
        tokens = self.tokens
        if unit is None or at + 2 >= len(tokens) or tokens[at].low != "to":
            return None
        if tokens[at + 1].is_number and tokens[at + 2].kind is unit:
            return self._figure(at + 1), at + 3
        return None

    def _tail(self, at: int) -> tuple[str, int]:
        tokens = self.tokens
        if at + 1 < len(tokens) and tokens[at].low in ("or", "and"):
            if tokens[at + 1].low in _LESS_TAILS:
                return "less", at + 2
            if tokens[at + 1].low in _MORE_TAILS:
                return "more", at + 2
        return "", at

    def _wind_value(self, at: int, value: _Value, low: float, high: float) -> None:
        if self.subject in (Quantity.WIND, Quantity.GUST):
            quantity = self.subject
        else:
            quantity = Quantity.WIND
            if self.subject is not None or not (self.direction_said or self.verb or self.band or self.wind_named):
                self.leftover.extend(range(at, value.end))
        if self.band is not None:
            band_at, (least, _) = self.band
            if high < least:
                self.leftover.append(band_at)
            self.band = None
        self._say(quantity, at, value, low, high)

    def _sea_value(self, at: int, value: _Value) -> None:
        quantity = self.subject
        if quantity is None or quantity in (Quantity.WIND, Quantity.GUST):
            self.leftover.extend(range(at, value.end))
            quantity = Quantity.LOOSE
        self._say(quantity, at, value, value.low, value.high)

    def _visibility_value(self, at: int, value: _Value) -> None:
        if not self.in_visibility:
            self.leftover.extend(range(at, value.end))
            return
        self.open_noun = None
        low = value.low if value.unit is Kind.NAUTICAL_MILE else nmi_from_m(value.low * _STATUTE_MILE_M)
        if value.tail == "less" or self.lead in _UPPER_LEADS:
            low = min(low, words.DENSE_FOG_NMI)
        self.period.visibility_nm = min(self.period.visibility_nm, low)

    def _bare_number(self, at: int, value: _Value) -> None:
        """A number without a unit: knots where a wind phrase goes straight on after it, else left over."""
        after = self.tokens[value.end] if value.end < len(self.tokens) else None
        goes_on = after is not None and (
            after.kind in (Kind.RISE, Kind.FALL, Kind.TURN, Kind.GUST)
            or after.low in ("with", "in", "late", "after")
        )
        if not (goes_on and self.subject in (Quantity.WIND, Quantity.GUST)) or value.tail:
            self.leftover.extend(range(at, value.end))
        if self.subject in (Quantity.WIND, Quantity.GUST):
            self._wind_value(at, value, value.low, value.high)
        elif self.subject is not None:
            self._say(self.subject, at, value, value.low, value.high)

    def _say(self, quantity: Quantity, at: int, value: _Value, low: float, high: float) -> None:
        if self.lead == "more" or value.tail == "more":
            self.leftover.extend(range(at, value.end))
        stated_low: float | None = low
        after_verb = self.lead == "to" and self.verb is not None and not self.value_since_verb
        one_end = value.low == value.high and self.lead in _UPPER_LEADS and not after_verb
        if one_end or self.lead == "less" or value.tail == "less":
            stated_low = None
        self._add(Said(quantity, stated_low, high, self.from_deg, only_upper=self.only_upper))
        if quantity is Quantity.GUST and self.direction_said and not self.wind_named:
            self._add(Said(Quantity.WIND, stated_low, high, self.from_deg))

    def _add(self, said: Said) -> None:
        """Keep a statement; a change from a value that was never stated hides the higher end."""
        if self.verb is not None and not self.value_since_verb and not self._has_start(said.quantity):
            if self.verb is Kind.RISE:
                said.low = None
            else:
                self.leftover.append(self.verb_at)
        if said.quantity in _TRAINS:
            said.train = self.train
            self.train_has_value = True
        self.value_since_verb = self.verb is not None
        self.only_upper = False
        self.open_noun = None
        self.group.append(said)

    def _has_start(self, quantity: Quantity) -> bool:
        return any(said.quantity is quantity for said in (*self.group, *self.period.said))

    # words

    def _word(self, at: int, token: Token) -> int:
        kind = token.kind
        if kind is Kind.WIND:
            return self._wind_noun(at)
        if kind is Kind.GUST:
            self._noun(Quantity.GUST, at)
        elif kind is Kind.SEA:
            self._noun(Quantity.TOTAL, at)
        elif kind is Kind.WAVE:
            return self._wave_noun(at)
        elif kind is Kind.SWELL:
            self._noun(Quantity.SWELL, at)
        elif kind is Kind.VISIBILITY:
            self._settle_noun()
            self.in_visibility, self.open_noun = True, at
        elif kind is Kind.DIRECTION:
            return self._direction(at)
        elif kind in (Kind.RISE, Kind.FALL, Kind.TURN):
            self._change(at, kind)
        elif token.low in ("except", "elsewhere", "otherwise"):
            self._end_clause()
            self._flush(self.area)
        elif token.low in ("light", "calm"):
            return self._light(at)
        elif token.low in ("moderate", "heavy"):
            if self._next_kind(at) not in (Kind.WEATHER, Kind.FOG, Kind.THUNDER):
                self.leftover.append(at)
        elif kind is Kind.ONLY_UPPER:
            self.only_upper = True
        elif kind not in words.HARMLESS:
            self.leftover.append(at)
        return at + 1

    def _next_kind(self, at: int) -> Kind | None:
        return self.tokens[at + 1].kind if at + 1 < len(self.tokens) else None

    def _noun(self, quantity: Quantity, at: int) -> None:
        if not (quantity is Quantity.TOTAL and self.subject is Quantity.TOTAL):
            self._settle_noun()
        self.in_visibility = False
        if quantity in _TRAINS and (quantity is not self.subject or quantity is Quantity.SWELL):
            self._new_train()
        self.subject = quantity
        self.open_noun = at
        if quantity is Quantity.WIND:
            self.wind_named = True

    def _wind_noun(self, at: int) -> int:
        after = at + 1
        if after < len(self.tokens) and self.tokens[after].low == "-":
            after += 1
        if after < len(self.tokens) and self.tokens[after].kind is Kind.WAVE:
            self._noun(Quantity.WIND_WAVES, at)
            return after + 1
        if self.subject is Quantity.WIND and self.open_noun is None and self.group and not self.verb:
            self.open_noun = None
            self.wind_named = True
            return at + 1
        self._noun(Quantity.WIND, at)
        if self.group and self.group[-1].quantity is Quantity.WIND and self._prior_light(at):
            self.open_noun = None
        return at + 1

    def _prior_light(self, at: int) -> bool:
        return any(token.low in ("light", "calm") for token in self.tokens[:at])

    def _wave_noun(self, at: int) -> int:
        after = at + 1
        if after < len(self.tokens) and self.tokens[after].low in ("detail", "details"):
            self._noun(Quantity.DETAIL, at)
            return after + 1
        self._noun(Quantity.TOTAL, at)
        return at + 1

    def _direction(self, at: int) -> int:
        token = self.tokens[at]
        if self.subject is Quantity.GUST and self.wind_named:
            self.subject = Quantity.WIND
        before = self.tokens[at - 1].low if at else ""
        starts_train = self.verb is None or (self.value_since_verb and before in ("and", "with"))
        if self.subject in _TRAINS and self.train_has_value and starts_train:
            self._split_train()
        if not self._joins_direction(at):
            self.from_deg = words.DIRECTIONS_DEG.get(token.low)
        self.direction_said = True
        end = at + 1
        while end < len(self.tokens) and self._is_second_word_of_direction(end):
            end += 1
        return end

    def _is_second_word_of_direction(self, at: int) -> bool:
        """``south southwest``."""
        quarters = ("north", "south", "east", "west")
        return self.tokens[at].kind is Kind.DIRECTION and self.tokens[at - 1].low in quarters

    def _joins_direction(self, at: int) -> bool:
        return (
            at >= 2
            and self.tokens[at - 1].low in ("to", "or", "and", "-")
            and (self.tokens[at - 2].kind is Kind.DIRECTION)
        )

    def _split_train(self) -> None:
        if self.subject is Quantity.TOTAL:
            for said in self.group:
                if said.quantity is Quantity.TOTAL:
                    said.quantity = Quantity.DETAIL
            self.subject = Quantity.DETAIL
        self._new_train()

    def _new_train(self) -> None:
        self.train = self.period.new_train()
        self.train_has_value = False

    def _change(self, at: int, kind: Kind) -> None:
        pending_rise = self.verb is Kind.RISE and not self.value_since_verb
        if pending_rise:
            return
        self._settle_change()
        if self.subject is Quantity.GUST and self.wind_named:
            self.subject = Quantity.WIND
        self.verb, self.verb_at, self.value_since_verb = kind, at, False

    def _light(self, at: int) -> int:
        after = self.tokens[at + 1] if at + 1 < len(self.tokens) else None
        if after is not None and (after.kind in (Kind.FOG, Kind.THUNDER) or after.low in words.FALLING_WORDS):
            return at + 1
        if after is not None and after.low == "to":
            self.leftover.extend((at, at + 1))
            return at + 2
        if self.subject not in (None, Quantity.WIND) and not (after is not None and after.kind is Kind.WIND):
            self.leftover.append(at)
            return at + 1
        self._add(Said(Quantity.WIND, None, words.LIGHT_WIND_KT))
        return at + 1

    # ends

    def _end_clause(self) -> None:
        self._settle_band()
        self._settle_change()
        self.verb = None
        self.only_upper = False
        self.lead = ""

    def _settle_band(self) -> None:
        """A named band without a number stands for its upper end."""
        if self.band is None:
            return
        at, (low, high) = self.band
        self.band = None
        if math.isinf(high):
            self.leftover.append(at)
            high = low
        quantity = Quantity.GUST if self.subject is Quantity.GUST else Quantity.WIND
        self._add(Said(quantity, low, high, self.from_deg))

    def _settle_change(self) -> None:
        """A rise without a number has no upper end; a fall without one has no lower."""
        if self.verb is None or self.value_since_verb:
            return
        if self.verb is Kind.RISE:
            self.leftover.append(self.verb_at)
        elif self.verb is Kind.FALL:
            quantity = self.subject or Quantity.WIND
            if self._has_start(quantity):
                self.group.append(Said(quantity, None, None, train=self.train if quantity in _TRAINS else 0))
            else:
                self.leftover.append(self.verb_at)
        self.verb = None

    def _settle_noun(self) -> None:
        """A swell without a height is an unknown part; any other noun without a number isn't understood."""
        self._settle_band()
        if self.open_noun is None:
            return
        if self.subject is Quantity.SWELL and not self.train_has_value:
            self.group.append(Said(Quantity.SWELL, None, None, train=self.train, only_upper=True))
        else:
            self.leftover.append(self.open_noun)
        self.open_noun = None

    def _flush(self, area: str) -> None:
        for said in self.group:
            said.area = area
        self.period.said.extend(self.group)
        self.period.seconds.extend((area, seconds) for seconds in self.group_seconds)
        self.group, self.group_seconds = [], []

    def _text(self, start: int, end: int) -> str:
        return self.period.text[self.tokens[start].start : self.tokens[end - 1].end]


# --- from statements to states -----------------------------------------------------------------------------


def _states(period: _Period) -> tuple[AreaState, ...]:
    areas = list(dict.fromkeys(said.area for said in period.said))
    return tuple(_state(area, period) for area in areas)


def _state(area: str, period: _Period) -> AreaState:
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
    total = _range([one for one in said if one.quantity is Quantity.TOTAL])
    wind_waves = _range([one for one in said if one.quantity is Quantity.WIND_WAVES])
    swells, unknown_swell = _trains(said, Quantity.SWELL)
    details, _ = _trains(said, Quantity.DETAIL)
    loose = _range([one for one in said if one.quantity is Quantity.LOOSE])
    parts = [*([wind_waves] if wind_waves else []), *swells, *details, *([loose] if loose else [])]
    if total is not None:
        return _metres(Range(total.low, max([total.high, *(part.high for part in parts)]))), True
    if not parts:
        return None, False
    whole = not unknown_swell and ((wind_waves is not None and bool(swells)) or len(details) > 1)
    return _metres(_added(parts)), whole


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
