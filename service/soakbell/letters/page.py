"""The letter's content, made ready for the templates: every number already words, every choice already made."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta

from soakbell.gear.fold import told_places
from soakbell.letters.around import Around, around
from soakbell.letters.commands import Command, command
from soakbell.letters.facts import LetterFacts
from soakbell.letters.figures import limit_words, past_limit_short
from soakbell.letters.gear_section import GearSection, gear_section
from soakbell.letters.plan_section import PlanSection, plan_section
from soakbell.letters.season_section import SeasonSection, season_section
from soakbell.letters.start_section import StartSection, start_section
from soakbell.letters.times import HarborTimes, age_words, day_words, minutes_words, soak_words
from soakbell.letters.words import (
    DAY_STATE_WORDS,
    DAYS_ASSUME,
    FAULT_WORDS,
    STANDING,
    Teller,
    capital,
    changes,
    keep_none,
    listed,
    off_water_at,
    one_line,
    silence,
    source_words,
    validity,
    watch,
    what_for,
)
from soakbell.planning.ashore import Ashore
from soakbell.planning.call import (
    Call,
    CallWord,
    DayOutlook,
    DayState,
    Reason,
    SourceLine,
    StringPull,
    StringState,
    Window,
)
from soakbell.planning.season_told import SeasonAhead
from soakbell.planning.week import Week
from soakbell.sea.sources import SourceKind
from soakbell.sea.warnings import OfficialWarning

SECTIONS = {
    CallWord.PULL: (
        "warnings",
        "changed",
        "window",
        "strings",
        "gear",
        "plan",
        "season",
        "start",
        "chart",
        "reasons",
        "days",
        "soak",
        "differences",
        "sources",
        "mail",
        "cautions",
    ),
    CallWord.WAIT: (
        "warnings",
        "changed",
        "reasons",
        "plan",
        "season",
        "start",
        "chart",
        "days",
        "gear",
        "soak",
        "differences",
        "sources",
        "mail",
        "cautions",
    ),
    CallWord.NO_CALL: (
        "warnings",
        "changed",
        "reasons",
        "official",
        "days",
        "gear",
        "season",
        "start",
        "soak",
        "differences",
        "sources",
        "mail",
        "cautions",
    ),
}
"""The parts of a letter in their order; each is one partial a template, ``_<name>.txt`` and ``_<name>.html``.

NO CALL has no chart: a picture of numbers that can't carry a call would look like one.
"""

MOST_NAMED = 3
"""Strings that a subject names before it counts them instead."""

TEXT_COLUMNS = 72
FULL_LINE = 50
"""An official line at least this long was broken by its width, not by its writer."""


@dataclass(frozen=True)
class WarningBlock:
    """One official warning. ``lines`` are its own words for the text part, ``paragraphs`` for the page."""

    event: str
    times: str
    issued: str
    url: str
    lines: tuple[str, ...]
    paragraphs: tuple[str, ...]
    not_understood: tuple[str, ...]


@dataclass(frozen=True)
class WindowBlock:
    whole: str
    leave: str
    back: str
    off_water: str
    trip: str
    binding: str
    times_for: str


@dataclass(frozen=True)
class PullRow:
    string: str
    times: str
    traps: str
    soak: str


@dataclass(frozen=True)
class DayRow:
    day: str
    state: str
    window: str
    binding: str


@dataclass(frozen=True)
class SoakRow:
    string: str
    fishing: str
    soak: str
    state: str


@dataclass(frozen=True)
class SourceRow:
    name: str
    issued: str
    age: str
    max_age: str
    state: str


@dataclass(frozen=True)
class Page(Around):
    """What the templates print. ``sections`` names the partials in order."""

    sections: tuple[str, ...]
    word: str
    changed: bool
    brief: str
    lead: str
    warnings: tuple[WarningBlock, ...]
    warnings_line: str
    changes: tuple[str, ...]
    window: WindowBlock | None
    pulls_title: str
    pulls: tuple[PullRow, ...]
    home: tuple[Command, ...]
    gear: GearSection | None
    plan: PlanSection | None
    season: SeasonSection | None
    start: StartSection | None
    day_in_numbers: str
    gusts_below_wind: str
    has_chart: bool
    limits: str
    tighter_limits: str
    legal_hours: str
    reasons_title: str
    reasons: tuple[str, ...]
    days: tuple[DayRow, ...]
    days_assume: str
    soak: tuple[SoakRow, ...]
    soaks_at: str
    cautions_told: tuple[str, ...]
    also: tuple[str, ...]
    sources: tuple[SourceRow, ...]
    ages_at: str
    credits: tuple[str, ...]
    valid_until: str


def page_of(
    call: Call,
    facts: LetterFacts,
    *,
    changed: bool = False,
    previous: Call | None = None,
    day_in_numbers: str = "",
    gusts_below_wind: str = "",
    has_chart: bool = False,
    ashore: Ashore | None = None,
    week: Week | None = None,
    season: SeasonAhead | None = None,
) -> Page:
    """Everything the templates need, as words.

    Raises:
        ValueError: the call contradicts itself (PULL without a window, a window without PULL, a changed letter
            without the call before it), or the letters lack words for a part of it.
    """
    _refuse_contradiction(call, changed=changed, previous=previous)
    times = HarborTimes(facts.zone_name, call.day)
    teller = Teller(times, call.sources, kept=facts.fishery.kept)
    today = next((d for d in call.outlook if d.day == call.day), None)
    standing = (
        *STANDING,
        validity(call.valid_until, times),
        watch(facts.watch_until, times),
        silence(facts.no_letter_by, facts.next_letter_at, times),
    )
    is_call = call.word is not CallWord.NO_CALL
    return Page(
        **vars(around(facts, times, now=call.made_at, day=call.day, standing=standing, is_call=is_call)),
        sections=SECTIONS[call.word],
        word=call.word.value,
        changed=changed,
        brief=_brief(call, teller),
        lead=_lead(call, facts, teller, previous),
        warnings=tuple(warning_block(w, times) for w in call.warnings),
        warnings_line=warnings_line(call, times, until="today"),
        changes=changes(previous, call, times) if changed and previous else (),
        window=_window_block(call.window, teller) if call.window else None,
        pulls_title=f"Strings to {'take up' if call.take_up else 'pull'}, in this order",
        pulls=tuple(_pull_row(p, times) for p in call.window.pulls) if call.window else (),
        home=_home(call, facts.command),
        gear=gear_section(ashore, call.day, facts.command, trip=call.window is not None, take_up=call.take_up),
        plan=plan_section(week, call.day, trip=call.window is not None, take_up=call.take_up, season=season),
        season=season_section(season, facts.command),
        start=start_section(None if ashore is None else ashore.start, facts.command),
        day_in_numbers=day_in_numbers,
        gusts_below_wind=gusts_below_wind,
        has_chart=has_chart,
        limits=_limits(call.limits),
        tighter_limits="; ".join(f"{name}: {_limits(own)}" for name, own in call.tighter_limits.items()),
        legal_hours=_legal_hours(today, times),
        reasons_title=_REASONS_TITLE[call.word],
        reasons=teller.tell_all(call.reasons),
        days=tuple(_day_row(d, teller) for d in call.outlook),
        days_assume=DAYS_ASSUME if any(d.window and d.day > call.day for d in call.outlook) else "",
        soak=tuple(_soak_row(s, take_up=call.take_up) for s in call.strings),
        soaks_at=times.zoned(call.made_at),
        cautions_told=tuple(one_line(c) for c in call.cautions_told),
        also=(*map(one_line, call.notices), *teller.tell_all(_not_told_yet(call))),
        sources=tuple(source_row(s, times) for s in call.sources),
        ages_at=_ages_at(call, times),
        credits=facts.credits,
        valid_until=times.zoned(call.valid_until),
    )


_REASONS_TITLE = {
    CallWord.PULL: "Why this window and not more",
    CallWord.WAIT: "Why wait",
    CallWord.NO_CALL: "Why there is no call",
}


def _refuse_contradiction(call: Call, *, changed: bool, previous: Call | None) -> None:
    if (call.word is CallWord.PULL) != (call.window is not None):
        raise ValueError(f"a call of {call.word.value} {'without' if call.window is None else 'with'} a window")
    if call.word is not CallWord.PULL and not call.reasons:
        raise ValueError(f"a call of {call.word.value} without a reason")
    if changed and previous is None:
        raise ValueError("a changed letter needs the call it changes")


def _brief(call: Call, teller: Teller) -> str:
    """What follows the call word in the subject."""
    if call.window is None:
        return f"{what_for(call)}, {teller.tell(_deciding(call, teller)).short}"
    strings, count = pulled_words(call.window), len(call.window.pulls)
    if count <= MOST_NAMED:
        strings = f"{'string' if count == 1 else 'strings'} {strings}"
    first, last = teller.times.hour(call.window.leaves_at), teller.times.hour(off_water_at(call.window))
    return f"{what_for(call)} {first}-{last}, {strings}"


def _lead(call: Call, facts: LetterFacts, teller: Teller, previous: Call | None) -> str:
    """The sentences after the call word."""
    times = teller.times
    if call.window is not None:
        window, strings = call.window, pulled_words(call.window)
        leave = times.hour(window.leaves_at)
        if window.last_departure_at > window.leaves_at:
            leave = f"between {leave} and {times.hour(window.last_departure_at)}"
        else:
            leave = f"at {leave}"
        home = times.zoned(off_water_at(window))
        trip = f"Leave {facts.harbor} {leave}, be off the water by {home}."
        return f"{take_up_words(call, teller.kept)}{trip} {'Take up' if call.take_up else 'Pull'} {strings}."
    recall = _RECALL if previous is not None and previous.word is CallWord.PULL else ""
    told = teller.tell(_deciding(call, teller))
    if call.word is CallWord.WAIT:
        return f"{recall}{told.sentence} {until_when(call, times)}"
    return f"{recall}{capital(told.short)}. {_NO_CALL_MEANS}"


def pulled_words(window: Window) -> str:
    """``Nine Foot and Ledge``; of more than a few ``5 strings, Nine Foot first``."""
    names = [pull.string for pull in window.pulls]
    return listed(names) if len(names) <= MOST_NAMED else f"{len(names)} strings, {names[0]} first"


def take_up_words(call: Call, kept: str) -> str:
    """That a trip is for taking up alone, with a blank after it; empty on any other call."""
    if not call.take_up:
        return ""
    last = next((r.values.get("last_harvest") for r in call.reasons if r.code == "take_up_only"), None)
    since = f" since {day_words(last + timedelta(days=1))}" if isinstance(last, date) else ""
    return f"Take up only: the harvest is closed{since}; {keep_none(kept)} from these traps. "


def _home(call: Call, program: str) -> tuple[Command, ...]:
    if call.window is None or not call.take_up:
        return ()
    return tuple(
        Command(
            f"When the traps of {one_line(pull.string)} are home",
            command(program, "log", "ashore", pull.string, "--traps", told_places(pull.places)),
        )
        for pull in call.window.pulls
    )


def _not_told_yet(call: Call) -> tuple[Reason, ...]:
    """Disagreements that no reason of the call tells already."""
    told = {(r.values.get("place"), r.values.get("quantity")) for r in call.reasons if r.code == "contradicted"}
    return tuple(d for d in call.disagreements if (d.values.get("place"), d.values.get("quantity")) not in told)


def _deciding(call: Call, teller: Teller) -> Reason:
    return teller.deciding(call.reasons, known=call.word is not CallWord.NO_CALL)


_RECALL = "If the boat is out, bring it in. "
_NO_CALL_MEANS = (
    "This letter says nothing of the sea today, good or bad. "
    "Look at the official forecast and decide for yourself."
)


def until_when(call: Call, times: HarborTimes) -> str:
    """When the next day fits, as far as it is known, in sentences."""
    ahead = [d for d in call.outlook if d.day > call.day and d.state is DayState.FIT and d.window is not None]
    ripe = [d for d in ahead if not _none_ripe(d)]
    if ripe:
        return f"The next day that fits is {_day_and_span(ripe[0], times)}."
    if not ahead:
        return "No day ahead is known to fit."
    weather = f"The weather fits on {_day_and_span(ahead[0], times)}"
    ripe_at = [
        call.made_at + timedelta(hours=s.floor_h - s.oldest_soak_h)
        for s in call.strings
        if s.oldest_soak_h is not None
    ]
    if not ripe_at:
        return f"{weather}, but no trap is fishing."
    return f"{weather}, but no string is ripe before {times.dated(min(ripe_at))}."


def _none_ripe(day: DayOutlook) -> bool:
    return any(reason.code in ("nothing_ripe", "nothing_set") for reason in day.reasons)


def _day_and_span(day: DayOutlook, times: HarborTimes) -> str:
    if day.window is None:
        return day_words(day.day)
    told = f"{day_words(day.day)}, {times.span_of_day(day.window.leaves_at, off_water_at(day.window))}"
    return f"{told}, to take up only" if _take_up_only(day) else told


def _take_up_only(day: DayOutlook) -> bool:
    return any(reason.code == "take_up_only" for reason in day.reasons)


def warnings_line(call: Call, times: HarborTimes, *, until: str) -> str:
    """What can be said of official warnings as a whole. None in force is said only where every zone answered.

    ``until`` says how far ahead they were looked for: "today".
    """
    asked = [s for s in call.sources if s.kind is SourceKind.WARNINGS]
    silent = [s for s in asked if s.fault is not None]
    if silent or not asked:
        zones = listed(s.key for s in silent) or "our zones"
        more = "other warnings" if call.warnings else "warnings"
        return f"Whether there are {more} for {zones} is not known. Look them up before anything else."
    if len(call.warnings) > 1:
        return f"{len(call.warnings)} are in force or to come: {listed(one_line(w.event) for w in call.warnings)}."
    if call.warnings:
        return ""
    fetched = [s.fetched_at for s in asked if s.fetched_at is not None]
    when = f", as answered at {times.hour(min(fetched))}" if fetched else ""
    return f"None in force or to come {until} for {listed(s.key for s in asked)}{when}."


def warning_block(warning: OfficialWarning, times: HarborTimes, *, dated: bool = False) -> WarningBlock:
    """One official warning, word for word. ``dated``: its begin and end name their day in any case."""
    onset_at, ends_at = warning.onset_at, warning.ends_at
    begin, end = "Begin not stated", "end not stated"
    if onset_at is not None:
        begin = f"From {times.dated(onset_at) if dated else times.hour(onset_at)}"
        dated = dated or times.local(onset_at).date() != times.day
    if ends_at is not None:
        end = f"to {times.zoned(ends_at, dated=dated)}"
    return WarningBlock(
        event=one_line(warning.event),
        times=f"{begin}{' ' if onset_at and ends_at else ', '}{end}, for {listed(warning.zones)}",
        issued=f"Issued by {one_line(warning.sender) or 'an issuer not named'}, {times.zoned(warning.sent_at)}",
        url=warning.url if warning.url.startswith("https://") else "",
        lines=tuple(warning.text.strip("\r\n").splitlines()),
        paragraphs=unfolded(warning.text),
        not_understood=tuple(one_line(phrase) for phrase in warning.not_understood),
    )


def unfolded(text: str) -> tuple[str, ...]:
    """Official text as paragraphs that a narrow screen can break anew: same words, same order, nothing left out.

    A line break stays where the line before it is short, or where the next one begins a point of a list.
    """
    paragraphs: list[str] = []
    width = 0
    for line in text.splitlines():
        words = one_line(line)
        if words and width >= FULL_LINE and not re.match(r"[*.]|\s{3,}", line):
            paragraphs[-1] = f"{paragraphs[-1]} {words}"
        elif words:
            paragraphs.append(words)
        width = len(line.rstrip())
    return tuple(paragraphs)


def _window_block(window: Window, teller: Teller) -> WindowBlock:
    times = teller.times
    first, last, lands = window.leaves_at, window.last_departure_at, window.lands_at
    ends_at = off_water_at(window)
    moving = last > first
    if_first = f"if you leave at {times.hour(first)}"
    back = f"{times.hour(lands)} {if_first}"
    binding = capital(teller.binding(window.binding)) if window.binding else ""
    return WindowBlock(
        whole=times.span(first, ends_at),
        leave=f"{times.span(first, last)} {times.abbreviation}" if moving else times.zoned(first),
        back=f"{back}, {times.hour(ends_at)} if you leave at {times.hour(last)}" if moving else back,
        off_water=times.zoned(ends_at),
        trip=f"{window.distance_nmi:.1f} nmi, {minutes_words((lands - first).total_seconds() / 60)}",
        binding=f"{binding}, whenever you leave in that time" if binding and moving else binding,
        times_for=f"Times {if_first}.",
    )


def _pull_row(pull: StringPull, times: HarborTimes) -> PullRow:
    return PullRow(
        string=pull.string,
        times=times.span(pull.arrives_at, pull.leaves_at),
        traps=str(pull.traps),
        soak=_soak_or_not(pull.soak_h, pull.oldest_soak_h),
    )


def _soak_or_not(soak_h: float | None, oldest_h: float | None) -> str:
    if soak_h is None:
        return "not known"
    soak = soak_words(soak_h)
    if oldest_h is None or soak_words(oldest_h) == soak:
        return soak
    return f"{soak}, oldest {soak_words(oldest_h)}"


def _limits(limits: Mapping[str, float]) -> str:
    return listed(limit_words(quantity, limit) for quantity, limit in limits.items())


def _legal_hours(today: DayOutlook | None, times: HarborTimes) -> str:
    if today is None or today.first_light_at is None or today.last_light_at is None:
        return "not known"
    return times.span(today.first_light_at, today.last_light_at)


def _day_row(day: DayOutlook, teller: Teller) -> DayRow:
    known = day.state is not DayState.NOT_KNOWN
    if day.binding is not None and known:
        binding = past_limit_short(day.binding.quantity, day.binding.value, day.binding.limit)
    else:
        binding = teller.tell(teller.deciding(day.reasons, known=known)).short if day.reasons else ""
    window = teller.times.span_of_day(day.window.leaves_at, off_water_at(day.window)) if day.window else ""
    state = DAY_STATE_WORDS[day.state]
    if day.state is DayState.FIT and _none_ripe(day):
        state += ", nothing ripe"
    if day.state is DayState.FIT and _take_up_only(day):
        state += ", take up only"
    return DayRow(day=day_words(day.day), state=state, window=window, binding=binding)


def _soak_row(state: StringState, *, take_up: bool) -> SoakRow:
    if state.fishing == 0:
        words = "nothing fishing"
    elif take_up:
        words = "to take up"
    elif state.oldest_soak_h is None:
        words = "soak not known"
    elif state.past_ceiling:
        words = f"past its ceiling of {soak_words(state.ceiling_h)}"
    elif state.ripe:
        words = "ripe"
    else:
        words = f"too fresh, floor {soak_words(state.floor_h)}"
    return SoakRow(
        string=state.string,
        fishing=str(state.fishing),
        soak=_oldest_soak(state),
        state=words,
    )


def _oldest_soak(state: StringState) -> str:
    if state.fishing == 0:
        return ""
    if state.oldest_soak_h is None:
        return "not known"
    oldest = soak_words(state.oldest_soak_h)
    if state.median_soak_h is None or soak_words(state.median_soak_h) == oldest:
        return oldest
    return f"{oldest}; half have {soak_words(state.median_soak_h)} or less"


def source_row(line: SourceLine, times: HarborTimes) -> SourceRow:
    """A source with its age, and why it isn't used."""
    state = "used" if line.fault is None else f"not used: {FAULT_WORDS[line.fault]}"
    if line.detail:
        state = f"{state}. {capital(one_line(line.detail))}"
    return SourceRow(
        name=source_words(line.kind.value, line.key),
        issued=times.hour(line.issued_at) if line.issued_at else "not known",
        age=age_words(line.age_h) if line.age_h is not None else "not known",
        max_age=minutes_words(line.max_age_h * 60),
        state=state,
    )


def _ages_at(call: Call, times: HarborTimes) -> str:
    now = f"at the time of this letter, {times.zoned(call.made_at)}"
    if call.window is None:
        return now
    leaving = f"at the planned leaving, {times.zoned(call.window.leaves_at)}"
    measured = any(line.kind is SourceKind.OBSERVATIONS for line in call.sources)
    return f"{leaving}; that of what was measured {now}" if measured else leaving
