"""All words for the codes of a call: reasons, faults, sources, what has changed.

Each reason has a sentence for the page and a short form for the subject and for narrow cells. A code, quantity
or value without words is an error: a letter must not leave out why.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta

from soakbell.letters.figures import bare_figure, figure, margin_words, named, past_limit_short, short_figure
from soakbell.letters.times import HarborTimes, age_words, day_words, full_day_words, minutes_words, soak_words
from soakbell.planning.call import Binding, Call, CallWord, DayState, Reason, SourceLine, Window
from soakbell.sea.sources import FaultCode, SourceKind
from soakbell.units import is_number

SOURCE_NAMES = {
    SourceKind.ZONE_TEXT: "zone forecast",
    SourceKind.GRID: "grid forecast",
    SourceKind.WARNINGS: "official warnings",
    SourceKind.OBSERVATIONS: "station",
    SourceKind.POINT: "forecast cell",
}

FAULT_WORDS = {
    FaultCode.MISSING: "missing",
    FaultCode.UNREACHABLE: "could not be fetched",
    FaultCode.NOT_UNDERSTOOD: "not understood",
    FaultCode.STALE: "too old",
    FaultCode.WRONG_PLACE: "for another place",
    FaultCode.FROM_THE_FUTURE: "dated in the future",
    FaultCode.NO_OPINION: "without the number asked for",
}

_NEVER_USED = " Hours that are not known or not understood are never used."
_NEVER_USED_CODES = ("unclear", "not_known")
"""Said once, after the last reason of these codes."""


def off_water_at(window: Window) -> datetime:
    """When the boat is back that left at the last departure: the end of the window."""
    return window.lands_at + (window.last_departure_at - window.leaves_at)


def listed(names: Iterable[str]) -> str:
    """``a``, ``a and b``, ``a, b and c``."""
    all_names = list(names)
    if len(all_names) < 2:
        return "".join(all_names)
    return f"{', '.join(all_names[:-1])} and {all_names[-1]}"


def one_line(text: str) -> str:
    """Text from outside, folded to one line."""
    return " ".join(text.split())


def capital(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}"


def ended(text: str) -> str:
    """One line that ends as a sentence does."""
    line = one_line(text)
    return line if line.endswith((".", "!", "?")) else f"{line}."


def source_words(kind: object, key: str = "") -> str:
    """``zone forecast GMZ730``. ``kind`` may also be a text that begins with a kind, key and all."""
    text = str(kind)
    for known, name in SOURCE_NAMES.items():
        if text == known.value or text.startswith(f"{known.value} "):
            text = name + text[len(known.value) :]
            break
    return one_line(f"{text} {key}")


@dataclass(frozen=True)
class Told:
    """One reason in words: ``sentence`` for the page, ``short`` for a subject or a narrow cell, no full stop."""

    sentence: str
    short: str


@dataclass(frozen=True)
class Teller:
    """Tells the reasons of one call.

    ``sources`` give the ages that a source's fault is told with; ``faults_told`` are kinds of source whose fault
    has a sentence of its own already; ``kept`` is what the fishery keeps of a catch.
    """

    times: HarborTimes
    sources: tuple[SourceLine, ...] = ()
    faults_told: frozenset[str] = frozenset()
    kept: str = "catch"

    def tell(self, reason: Reason, others: tuple[Reason, ...] = ()) -> Told:
        """A reason in words. ``others`` say the same of other places and are told along.

        Raises:
            ValueError: no words for the code, or it lacks one of its values.
        """
        form = _FORMS.get(reason.code)
        if form is None:
            raise ValueError(f"no words for the reason {reason.code!r}; give it some in letters/words.py")
        return form(_Case(self, reason, others))

    def tell_all(self, reasons: tuple[Reason, ...]) -> tuple[str, ...]:
        """A sentence for each reason, in order; those that differ only in place are told as one, by the worst."""
        groups: dict[tuple[object, ...], list[Reason]] = {}
        for reason in reasons:
            groups.setdefault(_same_but_for_place(reason), []).append(reason)
        kinds = frozenset(str(r.values["kind"]) for r in reasons if r.code == "source_fault")
        teller = replace(self, faults_told=kinds)
        told: list[str] = []
        never_used: int | None = None
        for group in groups.values():
            worst = max(group, key=_weight)
            if worst.code in _NEVER_USED_CODES:
                never_used = len(told)
            told.append(teller.tell(worst, tuple(r for r in group if r is not worst)).sentence)
        if never_used is not None:
            told[never_used] += _NEVER_USED
        return tuple(told)

    def deciding(self, reasons: tuple[Reason, ...], *, known: bool) -> Reason:
        """The reason to name first: where the outcome is not known, the first that says why it isn't.

        A source's fault by itself comes last: it may be one that nothing hung on.
        """
        lacking = [] if known else [r for r in reasons if r.code in DATA_CODES]
        lacking.sort(key=lambda r: r.code == "source_fault")
        return (lacking or list(reasons))[0]

    def binding(self, binding: Binding) -> str:
        """``gusts 18 kt at 12:00 at Outer Bar, 2 kt under the limit of 20 kt (grid forecast)``."""
        quantity, at = binding.quantity, self.times.hour(binding.at)
        source = f" ({source_words(binding.source)})" if binding.source else ""
        return (
            f"{named(quantity).short} {figure(quantity, binding.value, binding.limit)} at {at}"
            f"{_at_place(binding.place)}, {margin_words(quantity, binding.margin)}"
            f" of {figure(quantity, binding.limit)}{source}"
        )


@dataclass(frozen=True)
class _Case:
    """One reason being told, ``others`` along with it. Asking for a value it doesn't have names the reason."""

    teller: Teller
    reason: Reason
    others: tuple[Reason, ...]

    @property
    def times(self) -> HarborTimes:
        return self.teller.times

    def any(self, name: str) -> object:
        if name not in self.reason.values:
            raise ValueError(f"the reason {self.reason.code!r} came without its value {name!r}")
        return self.reason.values[name]

    def text(self, name: str) -> str:
        value = self.any(name)
        return "" if value is None else one_line(str(value))

    def moment(self, name: str) -> datetime | None:
        value = self.any(name)
        if value is not None and not isinstance(value, datetime):
            raise ValueError(f"{name!r} of the reason {self.reason.code!r} is {value!r}, not a moment")
        return value

    def day(self, name: str) -> date:
        value = self.any(name)
        if not isinstance(value, date):
            raise ValueError(f"{name!r} of the reason {self.reason.code!r} is {value!r}, not a day")
        return value

    def hour(self, name: str) -> str:
        """`` at 10:00``, or "" where the moment isn't told."""
        at = self.moment(name)
        return f" at {self.times.hour(at)}" if at is not None else ""

    def number(self, name: str) -> float | None:
        value = self.any(name)
        return float(value) if is_number(value) else None  # type: ignore[arg-type]

    def names(self, name: str) -> str:
        value = self.any(name)
        return listed(str(v) for v in value) if isinstance(value, (tuple, list)) else str(value)

    def place(self) -> str:
        """`` at Outer Bar``, or "" where no place is told."""
        return _at_place(self.text("place"))

    def elsewhere(self, begin: str = "The same") -> str:
        """A sentence that names the other places, or ""."""
        places = dict.fromkeys(one_line(str(other.values["place"])) for other in self.others)
        return f" {begin} at {listed(places)}." if places else ""

    def quantity(self) -> str:
        return self.text("quantity")

    def from_to(self) -> str:
        starts_at, ends_at = self.moment("starts_at"), self.moment("ends_at")
        begin = f"from {self.times.hour(starts_at)}" if starts_at is not None else "already begun"
        if ends_at is None:
            return f"{begin}, with no end stated"
        if starts_at is None:
            return f"{begin}, to {self.times.hour(ends_at)}"
        return f"{begin} to {self.times.end(starts_at, ends_at)}"

    def fault(self, kind: str, *, short: bool = False) -> str:
        """What is wrong with the first faulty source of a kind, or "" (also where a sentence already said it)."""
        if not short and kind in self.teller.faults_told:
            return ""
        for line in self.teller.sources:
            if line.kind.value == kind and line.fault is not None:
                return _fault_words(kind, line.key, line.fault, line.age_h, short=short)
        return ""


def _same_but_for_place(reason: Reason) -> tuple[object, ...]:
    apart = {"place", "at", "worst_at", "value", "low", "high", "low_source", "high_source"}
    if reason.code == "not_known":
        apart.add("quantity")
    if "place" not in reason.values:
        return (id(reason),)
    return (reason.code, *sorted((k, str(v)) for k, v in reason.values.items() if k not in apart))


def _weight(reason: Reason) -> float:
    """How far a number lies past its limit, or two apart: of several places the worst is told."""
    first, second = (
        reason.values.get(k) for k in (("value", "limit") if "limit" in reason.values else ("low", "high"))
    )
    if is_number(first) and is_number(second):
        return abs(float(first) - float(second))  # type: ignore[arg-type]
    return 0.0


def _at_place(place: str) -> str:
    return f" at {place}" if place else ""


def _over_limit(case: _Case) -> Told:
    quantity, value, limit = case.quantity(), case.number("value"), case.number("limit")
    kind = named(quantity)
    if value is None or limit is None:
        raise ValueError(f"{quantity} outside its limit came without numbers")
    margin = limit - value if kind.past == "over" else value - limit
    at = case.moment("at")
    since = (
        f", {kind.past} it from {case.times.hour(at)} on" if at is not None and at != case.any("worst_at") else ""
    )
    return Told(
        f"{kind.name} {figure(quantity, value, limit)}{case.hour('worst_at')}{case.place()}, "
        f"{margin_words(quantity, margin)} of {figure(quantity, limit)}{since}.{case.elsewhere('Past it also')}",
        past_limit_short(quantity, value, limit),
    )


def _warning(case: _Case) -> Told:
    event = case.text("event")
    return Told(f"{event} for {case.names('zones')}, {case.from_to()}.", event)


def _headline(case: _Case) -> Told:
    text, zone = case.text("text"), case.text("zone")
    return Told(f'The zone forecast for {zone} carries this headline: "{text}"', "a warning headline")


def _grid_hazard(case: _Case) -> Told:
    event = case.text("event")
    return Told(f'The grid forecast sets "{event}"{case.place()}, {case.from_to()}.{case.elsewhere()}', event)


def _unclear(case: _Case) -> Told:
    phrase, source = case.text("phrase"), "forecast"
    for kind, name in SOURCE_NAMES.items():
        if phrase.startswith(f"{kind.value}: "):
            phrase, source = phrase.removeprefix(f"{kind.value}: "), name
    return Told(
        f'Not understood in the {source}{case.place()}{case.hour("at")}: "{phrase}".{case.elsewhere()}',
        f"{source}{case.place()} not understood",
    )


def _source_fault(case: _Case) -> Told:
    kind, key, code = case.text("kind"), case.text("key"), FaultCode(case.text("code"))
    lines = case.teller.sources
    age_h = next((line.age_h for line in lines if line.kind.value == kind and line.key == key), None)
    told = f"{capital(_fault_words(kind, key, code, age_h, short=False))}."
    detail = case.text("detail")
    return Told(
        f"{told} {capital(ended(detail))}" if detail else told, _fault_words(kind, key, code, age_h, short=True)
    )


def _fault_words(kind: str, key: str, code: FaultCode, age_h: float | None, *, short: bool) -> str:
    name = source_words(kind, "" if short else key)
    if kind == SourceKind.OBSERVATIONS.value:
        name = f"{name} report" if short else f"report of {name}"
    if code is FaultCode.UNREACHABLE:
        return f"{name} {FAULT_WORDS[code]}"
    verb = "are" if kind == SourceKind.WARNINGS.value else "is"
    if code is FaultCode.STALE and age_h is not None:
        return f"{name} {verb} {age_words(age_h)} old{'' if short else ', too old to be used'}"
    return f"{name} {verb} {FAULT_WORDS[code]}"


def _contradicted(case: _Case) -> Told:
    quantity, low, high, most = case.quantity(), case.any("low"), case.any("high"), case.any("most")
    kind = named(quantity)
    rule = "The whole can't lie that far below a part of it"
    if most:
        rule = f"They may differ by {figure(quantity, most)}"
    return Told(
        f"{kind.name}{case.place()}{case.hour('at')}: "
        f"{source_words(case.text('low_source'))} says {figure(quantity, low)}, "
        f"{source_words(case.text('high_source'))} says {figure(quantity, high)}. "
        f"{rule}; the worse of both is used."
        f"{case.elsewhere('They differ also')}",
        f"sources differ on {kind.short}, {bare_figure(quantity, low)} or {short_figure(quantity, high)}",
    )


def _not_known(case: _Case) -> Told:
    source, cases = case.text("source"), (case.reason, *case.others)
    what = listed(dict.fromkeys(named(str(r.values["quantity"])).short for r in cases))
    where = listed(dict.fromkeys(one_line(str(r.values["place"])) for r in cases if r.values["place"]))
    moments = [r.values["at"] for r in cases]
    first = min((at for at in moments if isinstance(at, datetime)), default=None)
    when = f" for {case.times.hour(first)}" if first is not None else ""
    short = case.fault(source, short=True) or f"{named(case.quantity()).short} not known"
    lacking = f"{what}{_at_place(where)} not known{when}"
    if not source:
        return Told(f"{capital(lacking)}.", short)
    fault = case.fault(source)
    head = (
        f"{capital(fault)}: {lacking} from it" if fault else f"{capital(lacking)} from the {source_words(source)}"
    )
    return Told(f"{head}.", short)


def _warnings_not_known(case: _Case) -> Told:
    kind = SourceKind.WARNINGS.value
    told = f"Whether an official warning is in force{case.place()} is not known.{case.elsewhere()}"
    fault = case.fault(kind)
    return Told(
        f"{capital(fault)}. {told}" if fault else told,
        case.fault(kind, short=True) or "official warnings not known",
    )


def _too_short(case: _Case) -> Told:
    needed, longest = case.number("needed_min"), case.number("longest_min")
    need = f"The trip needs {minutes_words(needed)}" if needed is not None else "The trip needs more time"
    if not longest:
        return Told(f"{need}; no stretch of fit hours is long enough.", "no stretch of fit hours")
    longest_words = minutes_words(longest)
    return Told(
        f"{need}; the longest stretch of fit hours is {longest_words}.", f"only {longest_words} of fit hours"
    )


def _stale_by_then(case: _Case) -> Told:
    until, first = case.moment("fresh_until"), case.moment("first_light")
    fresh = f" at {case.times.hour(until)}" if until is not None else ""
    light = f" at {case.times.hour(first)}" if first is not None else ""
    return Told(
        f"The data turn too old{fresh}, before hauling may begin{light}.", "data too old before hauling may begin"
    )


def _left_for_later(case: _Case) -> Told:
    names = case.names("strings")
    return Told(f"Ripe, but more than this window carries: {names}.", f"not {names}")


def _left_out_there(case: _Case) -> Told:
    names = case.names("strings")
    return Told(f"To be taken up too, but more than this window carries: {names}.", f"not {names}")


def _deck_full(case: _Case) -> Told:
    string, strings = case.text("string"), case.any("strings")
    left, one = case.names("strings"), isinstance(strings, tuple) and len(strings) == 1
    part = f"{case.text('traps')} of the {case.text('of')} traps of {string} come" if string else ""
    stay = f"{left} {'stays' if one else 'stay'} for another trip" if strings else ""
    what = " and ".join(each for each in (part and f"{part} home on this one", stay) if each)
    return Told(f"Your deck load of {case.text('deck_traps')} traps is full: {what}.", "the deck is full")


def _hours_full(case: _Case) -> Told:
    part = f"{case.text('traps')} of the {case.text('of')} traps of {case.text('string')}"
    return Told(f"This window carries no more: {part} come home on this trip.", "the hours are full")


def _take_up_barred(case: _Case) -> Told:
    names = case.names("strings")
    return Told(
        f"To be taken up too, but barred for this day by the skipper: {names}.", f"{names} barred by the skipper"
    )


def _barred_by_skipper(case: _Case) -> Told:
    names = case.names("strings")
    if not names:
        return Told("The skipper barred this day in the log, whatever the weather.", "barred by the skipper")
    return Told(f"Ripe, but barred for this day by the skipper: {names}.", f"{names} barred by the skipper")


def _pinned_by_skipper(case: _Case) -> Told:
    names = case.names("strings")
    return Told(f"Taken in before others, since the skipper pinned it for this day: {names}.", f"{names} pinned")


def _pin_not_met(case: _Case) -> Told:
    names = case.names("strings")
    what = f"{names} for this day, but no trip takes that in" if names else "this day, but no trip can be made"
    return Told(
        f"The skipper pinned {what}: a pin counts only for traps that fish and aren't barred, in fit hours.",
        f"{names or 'a trip'} pinned, not met",
    )


def _later(case: _Case, why: str) -> Told:
    last = case.moment("last_departure_at")
    if last is None:
        raise ValueError(f"the reason {case.reason.code!r} came without its last departure")
    by = f"leave no later than {case.times.hour(last)}"
    return Told(f"{capital(by)}: {why}", by)


def _later_not_fit(case: _Case) -> Told:
    values, margin_h = case.any("values"), case.number("margin_h")
    if not isinstance(values, Mapping):
        raise ValueError(f"the reason {case.reason.code!r} came without the values of {case.text('code')!r}")
    what = case.teller.tell(Reason(case.text("code"), values)).sentence
    after = f", or the {minutes_words(60 * margin_h)} after it that must be fit too," if margin_h else ""
    return _later(case, f"a later trip{after} would meet this. {what}")


def _later_too_old(case: _Case) -> Told:
    until, source = case.moment("fresh_until"), case.text("source")
    what = f"the {source_words(source)} will be" if source else "some of the data are"
    at = f"at {case.times.hour(until)} " if until is not None else "by then "
    return _later(case, f"{at}{what} too old to go by.")


def _later_not_legal(case: _Case) -> Told:
    return _later(case, f"a later trip would still be hauling when the legal hours end{case.hour('haul_to')}.")


def _later_dark(case: _Case) -> Told:
    return _later(case, f"a later trip would not be home when the twilight ends{case.hour('home_by')}.")


def _out_of_season(case: _Case) -> Told:
    rule, source = ended(case.text("rule")), ended(case.text("source"))
    return Told(f"The season's rules do not allow pulling: {rule} Source: {source}", "out of season")


def _take_up_only(case: _Case) -> Told:
    since, by = case.day("last_harvest") + timedelta(days=1), case.day("deadline")
    rule, source = ended(case.text("rule")), ended(case.text("source"))
    stacked = (
        "Hauling and stacking are reckoned; how many she carries is not, since no deck_traps stand in [boat] of "
        "the settings: bring home no more than she carries."
    )
    if case.number("deck_traps") is not None:
        stacked = f"Hauling and stacking are reckoned, up to your deck load of {case.text('deck_traps')} traps."
    return Told(
        f"The harvest is closed since {day_words(since)}: traps may only be taken up, all by {day_words(by)}. "
        f"{capital(keep_none(case.teller.kept))} from them. No trap goes in again, so no bait is needed. "
        f"{stacked} Rule: {capital(rule)} Source: {source}",
        "take up only",
    )


def _ask_authority(case: _Case) -> Told:
    return Told(
        "By these rules none of your traps may be in the water now. Ask the authority before you go for them: "
        f"{ended(case.text('authority'))}",
        "ask the authority",
    )


def _nothing_ripe(case: _Case) -> Told:
    oldest, floor = case.number("oldest_soak_h"), case.number("floor_h")
    short = "no string has soaked long enough"
    if oldest is None or floor is None:
        return Told(f"{capital(short)} to be worth pulling.", short)
    return Told(
        f"{capital(short)}: the oldest, {case.text('oldest_string')}, has {soak_words(oldest)} "
        f"of the {soak_words(floor)} it should have.",
        short,
    )


def _no_sunrise(case: _Case) -> Told:
    return Told(f"The sun does not both rise and set: {ended(case.text('state'))}", "no sunrise and sunset")


def _trip_no_longer_fits(case: _Case) -> Told:
    short = "the trip no longer fits"
    barred = case.reason.values.get("barred")
    if barred:
        names = case.names("barred")
        return Told(
            f"The skipper barred {names} since, so the trip that was called is off.", f"{names} barred since"
        )
    leaves_at = case.moment("leaves_at")
    left = f" that left at {case.times.hour(leaves_at)}" if leaves_at is not None else ""
    return Told(
        f"The trip{left} no longer fits: hours still ahead of it are outside the limits or not known.", short
    )


def _nothing_set(_case: _Case) -> Told:
    return Told("No trap is fishing, so there is nothing to pull.", "no traps fishing")


def _moved_out_of_area(case: _Case) -> Told:
    string, area = case.text("string"), case.text("area")
    away_nmi, most_nmi = case.number("away_nmi"), case.number("most_nmi")
    if away_nmi is None or most_nmi is None:
        raise ValueError(f"{string} moved out of its forecast area came without distances")
    return Told(
        f"{string} was moved to ground {away_nmi:.1f} nmi from the point that {area} is forecast for; past "
        f"{most_nmi:g} nmi that forecast is not used for it. "
        f"Name another forecast area for {string} in the settings.",
        f"{string} lies outside its forecast area",
    )


def _clock(case: _Case) -> Told:
    short = "the service's clock can't be trusted"
    return Told(f"{capital(short)}: {ended(case.text('detail'))}", short)


def _failed(case: _Case) -> Told:
    short = "the service itself failed"
    return Told(f"{capital(short)} and could not make a call: {ended(case.text('detail'))}", short)


_FORMS: dict[str, Callable[[_Case], Told]] = {
    "over_limit": _over_limit,
    "warning": _warning,
    "headline": _headline,
    "grid_hazard": _grid_hazard,
    "unclear": _unclear,
    "source_fault": _source_fault,
    "contradicted": _contradicted,
    "not_known": _not_known,
    "warnings_not_known": _warnings_not_known,
    "too_short": _too_short,
    "stale_by_then": _stale_by_then,
    "left_for_later": _left_for_later,
    "left_out_there": _left_out_there,
    "barred_by_skipper": _barred_by_skipper,
    "deck_full": _deck_full,
    "hours_full": _hours_full,
    "take_up_barred": _take_up_barred,
    "pinned_by_skipper": _pinned_by_skipper,
    "pin_not_met": _pin_not_met,
    "later_not_fit": _later_not_fit,
    "later_too_old": _later_too_old,
    "later_not_legal": _later_not_legal,
    "later_dark": _later_dark,
    "out_of_season": _out_of_season,
    "ask_authority": _ask_authority,
    "take_up_only": _take_up_only,
    "nothing_ripe": _nothing_ripe,
    "nothing_set": _nothing_set,
    "no_sunrise": _no_sunrise,
    "trip_no_longer_fits": _trip_no_longer_fits,
    "moved_out_of_area": _moved_out_of_area,
    "clock": _clock,
    "failed": _failed,
}
CODES = frozenset(_FORMS)
DATA_CODES = frozenset(
    {
        "source_fault",
        "contradicted",
        "warnings_not_known",
        "unclear",
        "not_known",
        "stale_by_then",
        "moved_out_of_area",
        "clock",
        "failed",
    }
)
"""Reasons that speak of what isn't known rather than of the sea: they head a NO CALL."""


DAYS_ASSUME = (
    "Windows of the days ahead hold only if newer forecasts come in time for them and say the same. "
    "Each day has a letter of its own."
)

DAY_STATE_WORDS = {DayState.FIT: "fit", DayState.NOT_FIT: "not fit", DayState.NOT_KNOWN: "not known"}


def changes(previous: Call, call: Call, times: HarborTimes) -> tuple[str, ...]:
    """What a CHANGED CALL letter says of the letter before it."""
    told = [f"The letter of {times.hour(previous.made_at)} said {_call_in_brief(previous, times)}."]
    if previous.word is CallWord.PULL and call.word is not CallWord.PULL:
        told.append("That call is withdrawn.")
    elif (previous.word, previous.window, previous.take_up) != (call.word, call.window, call.take_up):
        told.append(f"It is now {_call_in_brief(call, times)}.")
    else:
        told.append("That call stands.")
    known = {warning.id for warning in previous.warnings}
    new = dict.fromkeys(one_line(warning.event) for warning in call.warnings if warning.id not in known)
    if new:
        told.append(f"New since then: {listed(new)}.")
    return tuple(told)


def _call_in_brief(call: Call, times: HarborTimes) -> str:
    if call.window is None:
        return called(call)
    return f"{called(call)}, {times.span(call.window.leaves_at, off_water_at(call.window))}"


def keep_none(kept: str) -> str:
    """``keep no claws``: of what may only be taken up."""
    return f"keep no {one_line(kept)}"


def called(call: Call) -> str:
    """The word, and what for where that is to take traps up."""
    return f"{call.word.value}{what_for(call)}"


def what_for(call: Call) -> str:
    return " to take up" if call.take_up and call.word is not CallWord.NO_CALL else ""


def skipper_decides(before: str = "this letter") -> str:
    return f"The skipper decides. Official warnings and local rules come before {before}."


def checked_words(checked_on: date, not_read: int, rules: int) -> str:
    """When the rules were last checked, and how many of them not in their own text."""
    apart = f", {not_read} of {rules} not in the rule's own text" if not_read else ""
    return f"{full_day_words(checked_on)}{apart}"


STANDING = (
    skipper_decides(),
    "Forecasts can be wrong. Seas are significant height: single waves can reach about twice that. "
    "Wind against a strong current makes them steep.",
    "Wear the life jacket: in an Alaska study 63% of those who had one on survived, 12% of those who had none. "
    "Leave a float plan ashore and keep the VHF on.",
    "Setting and shifting gear catches most people by the line. Keep a knife in reach, a way to stop the haul, "
    "and a ladder to climb back aboard.",
    "Thunder: be ashore before it comes. If it catches you, don't touch two grounded things at once.",
)
"""Said in every letter. Sources: NWS Key West coastal waters forecast of 21 Jan 2021 (single waves); NIOSH 94-107
(life jackets); NIOSH survey 2002 and NIOSH 2005-137 (lines, knife, ladder); weather.gov/mlb/waterspout_rules."""


def validity(valid_until: datetime, times: HarborTimes) -> str:
    return (
        f"This call counts until {times.zoned(valid_until)}. "
        "After that, and after any CHANGED CALL, it counts for nothing."
    )


def watch(watch_until: datetime | None, times: HarborTimes) -> str:
    if watch_until is None:
        return "No watch is kept after this letter. Look up the warnings before you leave."
    return (
        f"We look for new warnings and worse forecasts until {times.hour(watch_until)} and write CHANGED CALL "
        "if they come. Mail may not reach you at sea."
    )


def silence(no_letter_by: time, next_letter_at: datetime | None, times: HarborTimes) -> str:
    told = f"No letter by {no_letter_by:%H:%M} means: look at the official forecast."
    return f"{told} The next letter is due {times.dated(next_letter_at)}." if next_letter_at else told
