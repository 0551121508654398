"""The eve letter: tomorrow's likely call, bait to thaw, what to load and see to. It is no call."""

from __future__ import annotations

import logging
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from soakbell.letters.around import Around, around, no_call
from soakbell.letters.facts import LetterFacts
from soakbell.letters.gear_section import (
    UPKEEP_TITLE,
    Block,
    barred_blocks,
    load_blocks,
    untold,
    upkeep_blocks,
)
from soakbell.letters.gear_words import boxes_words
from soakbell.letters.letter import Letter, written
from soakbell.letters.page import (
    WarningBlock,
    pulled_words,
    source_row,
    take_up_words,
    until_when,
    warning_block,
    warnings_line,
)
from soakbell.letters.season_section import season_line
from soakbell.letters.start_section import start_line
from soakbell.letters.times import HarborTimes, day_words, full_day_words
from soakbell.letters.words import STANDING, Teller, called, capital, listed, off_water_at, one_line
from soakbell.planning.ashore import Eve, Thaw
from soakbell.planning.call import Call, CallWord
from soakbell.planning.season_told import SeasonAhead

log = logging.getLogger(__name__)

_HOLDS_IF = "That holds only if newer forecasts come in time and say the same."

MOST_THAWS_NAMED = 2
"""Baits that a subject names before it counts them instead."""


_REASONS_TITLE = {
    CallWord.PULL: "What bounds that window",
    CallWord.WAIT: "Why wait",
    CallWord.NO_CALL: "What is not known yet",
}


@dataclass(frozen=True)
class EvePage(Around):
    """What the templates print. ``season``, ``start``, ``thaw``, ``thaw_if`` and ``fault`` are sentences,
    ``blocks`` what to load and see to."""

    brief: str
    likely: str
    lead: str
    warnings: tuple[WarningBlock, ...]
    warnings_line: str
    reasons_title: str
    reasons: tuple[str, ...]
    cautions_told: tuple[str, ...]
    season: str
    start: str
    thaw: tuple[str, ...]
    thaw_if: str
    fault: str
    blocks: tuple[Block, ...]
    sources: tuple[str, ...]
    ages_at: str
    credits: tuple[str, ...]


def eve_letter(eve: Eve, facts: LetterFacts, *, now: datetime, season: SeasonAhead | None = None) -> Letter:
    """The letter of the evening before ``eve.day``. Gear that can't be told costs nothing but its own section.

    Raises:
        ValueError: the call of ``eve`` contradicts itself, or the letters lack words for a part of it.
    """
    times = HarborTimes(facts.zone_name, eve.day)
    call = eve.call
    if call is not None and (call.word is CallWord.PULL) != (call.window is not None):
        raise ValueError(f"a likely {call.word.value} {'without' if call.window is None else 'with'} a window")
    thaw, thaw_if, blocks, fault = _gear(eve, times, facts.command)
    teller = Teller(times, () if call is None else call.sources, kept=facts.fishery.kept)
    page = EvePage(
        **vars(around(facts, times, now=now, day=eve.day, standing=(no_call(facts, times), *STANDING))),
        brief=f"{_brief(call, eve.day, teller)}{_thaw_brief(eve.thaw) if thaw else ''}",
        likely=f"{called(call)} likely on {full_day_words(eve.day)}" if call is not None else "Not decided",
        lead=_lead(eve, teller),
        warnings=() if call is None else tuple(warning_block(w, times, dated=True) for w in call.warnings),
        warnings_line=_warnings(call, times, eve.day),
        reasons_title="" if call is None else _REASONS_TITLE[call.word],
        reasons=() if call is None else (*teller.tell_all(call.reasons), *map(one_line, call.notices)),
        cautions_told=() if call is None else tuple(one_line(c) for c in call.cautions_told),
        season=season_line(season),
        start=start_line(eve.start),
        thaw=thaw,
        thaw_if=thaw_if,
        fault=fault,
        blocks=blocks,
        sources=() if call is None else _sources(call, times, now),
        ages_at=f"at the time of this letter, {times.zoned(now)}",
        credits=facts.credits,
    )
    return written("eve", {"page": page})


def _gear(eve: Eve, times: HarborTimes, program: str) -> tuple[tuple[str, ...], str, tuple[Block, ...], str]:
    """Thaw calls, those for a PULL after all, blocks, and what could not be told."""
    try:
        thaw = tuple(thaw_words(call, times) for call in eve.thaw)
        thaw_if = _thaw_if(eve.thaw_if, times)
        thawing = frozenset(call.bait for call in eve.thaw)
        load = () if eve.load is None else load_blocks(eve.load, program, thawing)
        leaving = eve.call is not None and eve.call.window is not None
        upkeep = upkeep_blocks(UPKEEP_TITLE if leaving else "Upkeep", eve.upkeep, times.day, program)
        blocks = (*load, *barred_blocks(eve.barred), *upkeep)
        fault = (
            untold(eve.fault, some=bool(thaw or thaw_if or blocks)) if eve.fault and eve.call is not None else ""
        )
    except Exception as failed:
        log.exception("the gear of an eve letter failed")
        return (), "", (), untold(f"{type(failed).__name__}: {failed}")
    return thaw, thaw_if, blocks, fault


def _brief(call: Call | None, day: date, teller: Teller) -> str:
    """What follows "Eve: " in the subject."""
    when = day_words(day)
    if call is None:
        return f"{when} could not be judged"
    if call.word is CallWord.PULL:
        return f"{called(call)} likely {when}"
    reason = teller.tell(teller.deciding(call.reasons, known=call.word is CallWord.WAIT)).short
    return f"{called(call)} likely {when}, {reason}"


def _thaw_brief(thaw: tuple[Thaw, ...]) -> str:
    told = [call for call in thaw if call.boxes > 0]
    if not told:
        return ""
    if len(told) > MOST_THAWS_NAMED:
        return f", thaw {len(told)} baits"
    return f", thaw {listed(f'{boxes_words(call.boxes)} {one_line(call.bait)}' for call in told)}"


def _lead(eve: Eve, teller: Teller) -> str:
    """The sentences after the likely word."""
    times, call = teller.times, eve.call
    if call is None:
        why = f": {one_line(eve.fault).rstrip('.')}" if eve.fault else ""
        return f"Nothing can be said yet of {full_day_words(eve.day)}{why}."
    if call.window is not None:
        hours, strings = times.span(call.window.leaves_at, off_water_at(call.window)), pulled_words(call.window)
        fits = f"By the forecasts of this evening {hours} would fit, for {strings}. {_HOLDS_IF}"
        return f"{take_up_words(call, teller.kept)}{fits}"
    told = teller.tell(teller.deciding(call.reasons, known=call.word is CallWord.WAIT))
    if call.word is CallWord.WAIT:
        return f"{told.sentence} {until_when(call, times)}"
    return f"{capital(told.short)}. Until that is known the morning letter can make no call."


def _warnings(call: Call | None, times: HarborTimes, day: date) -> str:
    if call is None:
        return "Whether there are warnings is not known. Look them up."
    return warnings_line(call, times, until=f"until the end of {day_words(day)}")


def thaw_words(call: Thaw, times: HarborTimes) -> str:
    """What to take out of the freezer for tomorrow, and by when."""
    bait = one_line(call.bait)
    if call.boxes > 0 and call.past:
        told = (
            f"Take {boxes_words(call.boxes)} of {bait} out of the freezer at once: it should have lain out since "
            f"{times.hour(call.out_by)} and will not be thawed through by the time of leaving."
        )
    elif call.boxes > 0:
        told = f"Take {boxes_words(call.boxes)} of {bait} out of the freezer by {times.hour(call.out_by)}."
    else:
        return f"The freezer has no {bait} to thaw: tomorrow's traps will lack {boxes_words(call.short_boxes)}."
    if call.short_boxes > 0:
        told += f" Even with that tomorrow's traps will lack {boxes_words(call.short_boxes)}."
    return told


def _thaw_if(thaws: tuple[Thaw, ...], times: HarborTimes) -> str:
    told = [
        f"{boxes_words(call.boxes)} of {one_line(call.bait)} "
        + (f"at once, due since {times.hour(call.out_by)}" if call.past else f"by {times.hour(call.out_by)}")
        for call in thaws
        if call.boxes > 0
    ]
    if not told:
        return ""
    return f"If it turns out PULL after all: {listed(told)}. That is for the strings that would be hauled first."


def _sources(call: Call, times: HarborTimes, now: datetime) -> tuple[str, ...]:
    """Sources with their ages now: at tomorrow's leaving newer ones will be used."""
    lines = (
        replace(line, age_h=None if line.issued_at is None else (now - line.issued_at) / timedelta(hours=1))
        for line in call.sources
    )
    rows = (source_row(line, times) for line in lines)
    return tuple(f"{capital(row.name)}: age {row.age} of at most {row.max_age}; {row.state}." for row in rows)
