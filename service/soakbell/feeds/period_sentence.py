"""One sentence of a period that holds numbers or names a measured thing.

The reader walks over the tokens once. It keeps what the sentence is about (wind, gusts, seas, a swell), the
change that is under way ("building to"), and the place; every token it can't use is left over.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from enum import Enum, auto

from soakbell.feeds import period_words as words
from soakbell.feeds.period_places import distance_end, leading_place, place_end
from soakbell.feeds.period_tokens import Token, is_separator
from soakbell.feeds.period_words import Kind
from soakbell.units import kt_from_mph, nmi_from_m

_STATUTE_MILE_M = 1609.344
_LONGEST_WAVE_S = 30.0
"""Longest period of wind-made waves (common use: 30 s bounds swell)."""

_TOO_BIG = 1000.0
"""No wind in knots or sea in feet reaches this; such a number is damage."""


class Quantity(Enum):
    WIND = auto()
    GUST = auto()
    TOTAL = auto()
    WAVES = auto()  # a total, unless swells are given beside it
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
class PeriodNotes:
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
    started: set[Quantity] = field(default_factory=set)

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


def band_at(tokens: Sequence[Token], at: int) -> tuple[int, tuple[float, float]] | None:
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
_MOST_LEADING_WORDS = 8
_LEAD_STRENGTH = ("", "around", "between", "to", "up to", "less", "more")
_LESS_TAILS = frozenset({"less", "lower", "below", "under"})
_MORE_TAILS = frozenset({"more", "greater", "higher", "above", "better"})
_TRAINS = frozenset({Quantity.SWELL, Quantity.DETAIL, Quantity.TOTAL, Quantity.WAVES})
_TOTALS = frozenset({Quantity.TOTAL, Quantity.WAVES})
_JOINS = frozenset({"and", "or", "then", "but", "with", "to"})


@dataclass(frozen=True)
class _Value:
    low: float
    high: float
    unit: Kind | None
    end: int
    tail: str


class MeasuredSentence:
    """Reads one sentence that holds numbers or names a measured thing."""

    def __init__(self, tokens: Sequence[Token], period: PeriodNotes) -> None:
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
        self.value_end = 0
        self.said_in_clause: set[tuple[Quantity, int]] = set()

    def read(self) -> None:
        at = 0
        place = leading_place(self.tokens)
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
        end = place_end(self.tokens, at)
        if end is not None and not self._is_measured_visibility(at):
            return self._place(at, end)
        if token.is_number:
            return self._number(at)
        band = band_at(self.tokens, at)
        if band is not None:
            self._settle_band()
            self.band = (at, band[1])
            return band[0]
        return self._word(at, token)

    # punctuation, places

    def _punctuation(self, at: int) -> int:
        token = self.tokens[at]
        if is_separator(token):
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
            self._back_to_wind()
        elif self.band is None:
            self.area = name
        return end

    def _back_to_wind(self) -> None:
        """A gust said beside the wind ends with its clause."""
        if self.subject is Quantity.GUST and self.wind_named:
            self._settle_noun()
            self.subject = Quantity.WIND

    def _is_measured_visibility(self, at: int) -> bool:
        return self.in_visibility and self.tokens[at].is_number

    # leads and numbers

    def _lead_end(self, at: int) -> int | None:
        """End of the words before a number ("up to", "less than"); None where no number follows them."""
        lead, end = "", at
        while end < min(len(self.tokens), at + _MOST_LEADING_WORDS) and not self.tokens[end].is_number:
            found = self._one_lead(end)
            if found is None:
                break
            lead = max(lead, found[0], key=_LEAD_STRENGTH.index)
            end = found[1]
        if end == at or end >= len(self.tokens):
            return None
        if self.tokens[end].is_number:
            if distance_end(self.tokens, end) is not None and not self.in_visibility:
                return None
        elif band_at(self.tokens, end) is None:
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
            self._seconds_value(at, value)
        elif value.unit in (Kind.NAUTICAL_MILE, Kind.STATUTE_MILE):
            self._visibility_value(at, value)
        elif value.unit is Kind.PERCENT:
            if value.end >= len(self.tokens) or self.tokens[value.end].low not in (
                "chance",
                "chances",
                "probability",
            ):
                self.leftover.extend(range(at, value.end))
        elif value.unit is None:
            self._bare_number(at, value)
        self.lead = ""
        self.value_end = value.end
        return value.end

    def _value(self, at: int) -> _Value:
        """A number or range, its unit, and "or less" behind it. Anything odd about it is left over."""
        tokens = self.tokens
        low = high = self._figure(at)
        end = at + 1
        if end + 1 < len(tokens) and tokens[end].low == "/" and tokens[end + 1].is_number:
            low = high = low / max(self._figure(end + 1), 1.0)
            end += 2
            if not self.in_visibility:
                self.leftover.extend(range(at, end))
        joiners = ("to", "or", "and") if self.lead == "between" else ("to", "or")
        if end + 1 < len(tokens) and tokens[end].low in joiners and tokens[end + 1].is_number:
            high = self._figure(end + 1)
            end += 2
        self._refuse_number(at, end)
        if end + 1 < len(tokens) and tokens[end].low == "-" and tokens[end + 1].kind is Kind.SECOND:
            end += 1
        unit, end = self._unit(end)
        self._refuse_number(at, end)
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

    def _refuse_number(self, at: int, end: int) -> None:
        """Two numbers side by side are a damaged one."""
        if end < len(self.tokens) and self.tokens[end].is_number:
            self.leftover.extend(range(at, end + 1))

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
        elif quantity in (Quantity.SWELL, Quantity.DETAIL) and self._goes_on_to_next_train(at):
            self._new_train()
        self._say(quantity, at, value, value.low, value.high)

    def _goes_on_to_next_train(self, at: int) -> bool:
        """``W 2 ft and 1 ft``: another wave train, though its direction isn't there."""
        said_and = any(token.low == "and" for token in self.tokens[self.value_end : at])
        return said_and and self.train_has_value and self.verb is None and not self.only_upper

    def _visibility_value(self, at: int, value: _Value) -> None:
        if not self.in_visibility:
            self.leftover.extend(range(at, value.end))
            return
        self.open_noun = None
        self.value_since_verb = True
        low = value.low if value.unit is Kind.NAUTICAL_MILE else nmi_from_m(value.low * _STATUTE_MILE_M)
        if value.tail == "less" or self.lead in _UPPER_LEADS:
            low = min(low, words.DENSE_FOG_NMI)
        self.period.visibility_nm = min(self.period.visibility_nm, low)

    def _seconds_value(self, at: int, value: _Value) -> None:
        """A wave period. One of a swell whose height isn't there, or that no sea has, is damage."""
        heightless = self.subject in (Quantity.SWELL, Quantity.DETAIL) and not self.train_has_value
        if heightless or not 0.0 < value.low <= value.high <= _LONGEST_WAVE_S:
            self.leftover.extend(range(at, value.end))
        self.group_seconds.append(value.low)

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
        self._refuse_second_value(quantity, at, value)
        self._add(Said(quantity, stated_low, high, self.from_deg, only_upper=self.only_upper))
        if quantity is Quantity.GUST and self.direction_said and not self.wind_named:
            self._add(Said(Quantity.WIND, stated_low, high, self.from_deg))

    def _refuse_second_value(self, quantity: Quantity, at: int, value: _Value) -> None:
        """Two values of one thing with nothing between them that joins them: a part of the text is gone."""
        said = (quantity, self.train if quantity in _TRAINS else 0)
        joined = self.only_upper or any(token.low in _JOINS for token in self.tokens[self.value_end : at])
        if said in self.said_in_clause and not joined and (self.verb is None or self.value_since_verb):
            self.leftover.extend(range(at, value.end))
        self.said_in_clause.add(said)

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
        self.period.started.add(said.quantity)

    def _has_start(self, quantity: Quantity) -> bool:
        return quantity in self.period.started

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
        names_band = self.band is not None and quantity in (Quantity.WIND, Quantity.GUST)
        if not names_band and not (quantity in _TOTALS and self.subject is quantity):
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
        self._noun(Quantity.WAVES, at)
        return at + 1

    def _direction(self, at: int) -> int:
        token = self.tokens[at]
        self._back_to_wind()
        before = self.tokens[at - 1].low if at else ""
        starts_train = self.verb is None or (self.value_since_verb and before in ("and", "with"))
        if self.subject in _TRAINS and self.train_has_value and starts_train and token.low in words.DIRECTIONS_DEG:
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
        if self.subject in _TOTALS:
            for said in self.group:
                if said.quantity is self.subject:
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
        self._back_to_wind()
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
        self._back_to_wind()
        self.said_in_clause.clear()
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
        self.said_in_clause.clear()
        self.period.said.extend(self.group)
        self.period.seconds.extend((area, seconds) for seconds in self.group_seconds)
        self.group, self.group_seconds = [], []

    def _text(self, start: int, end: int) -> str:
        return self.period.text[self.tokens[start].start : self.tokens[end - 1].end]
