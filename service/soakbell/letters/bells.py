"""The letter of bells: everything that asks for the skipper now, in one letter, the gravest first."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any

from soakbell.gear.fold import Whereabouts, told_places
from soakbell.letters.around import SKIPPER_DECIDES, Around, around, no_call
from soakbell.letters.commands import Command, bait_counted_command, command, repaired_line, upkeep_command
from soakbell.letters.facts import LetterFacts
from soakbell.letters.figures import amount
from soakbell.letters.gear_words import (
    barred_words,
    boxes_words,
    due_words,
    places_words,
    task_words,
    traps_count,
    untold_upkeep,
    upkeep_state,
    upkeep_words,
)
from soakbell.letters.letter import Letter, written
from soakbell.letters.recovery_words import REPORT, days_count, retired_line, start_words
from soakbell.letters.times import HarborTimes, day_words, soak_words
from soakbell.letters.words import capital, ended, listed, one_line
from soakbell.planning.ashore import BarredTraps, UpkeepDue
from soakbell.planning.bells import Bell, BellCode, SoakDay

SNOOZE_DAYS = 3
"""How long the snooze that a letter writes out lasts; the skipper may write another day."""
SNOOZE_TO = time(6)

HUSHING = (
    "A bell rings once, and again when its matter worsens or comes anew. Snoozed, it keeps silent until the "
    "moment you give; settled, until its matter worsens or comes anew."
)

URGENT_DAYS = {BellCode.SEASON: 7, BellCode.HARVEST: 1, BellCode.SETTING: -1}
"""Days left from which on a day of the season is urgent (common practice, no source); never that to set on."""

MOST_IN_FULL = 30
"""Bells that a letter tells in full, gravest first; the rest get a line each, so that no mail cuts it short."""


@dataclass(frozen=True)
class BellBlock:
    """One matter: a heading, sentences, points of a list, and commands."""

    title: str
    lines: tuple[str, ...]
    points: tuple[str, ...]
    commands: tuple[Command, ...]


@dataclass(frozen=True)
class BellsPage(Around):
    """``first`` is the gravest matter in short, ``more`` how many others the letter tells."""

    first: str
    lead: str
    count: int
    more: int
    bells: tuple[BellBlock, ...]


@dataclass(frozen=True)
class _Told:
    """One matter in words: ``short`` for the subject and ``title`` for its heading, both without a stop.

    ``name`` is what it is snoozed and settled by, ``lines`` are sentences, ``points`` go into a list.
    """

    name: str
    short: str
    title: str
    lines: tuple[str, ...]
    commands: tuple[Command, ...]
    points: tuple[str, ...] = ()


def bells_letter(bells: Sequence[Bell], facts: LetterFacts, *, now: datetime) -> Letter:
    """One letter for all ``bells``, at least one. Tasks of upkeep that the log was never told of are one matter.

    Raises:
        ValueError: there is no bell, or the letters lack words or values for one.
    """
    if not bells:
        raise ValueError("a letter of bells without a bell")
    times = HarborTimes.at(facts.zone_name, now)
    standing = (HUSHING, SKIPPER_DECIDES, no_call(facts, times))
    ordered = sorted(bells, key=_gravity)
    untold = [bell for bell in ordered if _is_untold(bell)]
    apart = ordered if len(untold) < 2 else [bell for bell in ordered if bell not in untold]
    told = [_FORMS[bell.code](_Case(bell, times, facts.command)) for bell in apart]
    if len(untold) > 1:
        told.append(_untold([_Case(bell, times, facts.command) for bell in untold]))
    page = BellsPage(
        **vars(around(facts, times, now=now, day=times.day, standing=standing)),
        first=told[0].short,
        lead=f"{capital(told[0].short)}{f', and {len(told) - 1} more' if len(told) > 1 else ''}.",
        count=len(told),
        more=len(told) - 1,
        bells=_blocks(told, times, facts.command),
    )
    return written("bells", {"page": page})


def _blocks(told: list[_Told], times: HarborTimes, program: str) -> tuple[BellBlock, ...]:
    full = [
        BellBlock(
            words.title,
            words.lines,
            words.points,
            (*words.commands, *_hush_commands(words.name, times, program, one_of=bool(words.points))),
        )
        for words in told[:MOST_IN_FULL]
    ]
    rest = tuple(f"{words.title}: {one_line(words.name)}" for words in told[MOST_IN_FULL:])
    return (*full, BellBlock(f"And {len(rest)} more", (), rest, ())) if rest else tuple(full)


_RANK = (
    BellCode.UNSET,
    BellCode.SOAK,
    BellCode.SEASON,
    BellCode.START,
    BellCode.HARVEST,
    BellCode.BAIT,
    BellCode.UPKEEP,
    BellCode.SETTING,
    BellCode.PARTS,
)


def _gravity(bell: Bell) -> tuple[bool, bool, bool, int, datetime, str]:
    """Order of telling: safety gear, then what is urgent, then by kind, then the oldest.

    Upkeep that was never told comes after all else: at the start that is most of it, and it would hide the rest.
    """
    safety = bell.code is BellCode.UPKEEP and bool(bell.values["safety"])
    urgent = bell.level > 1
    if bell.code in URGENT_DAYS:
        urgent = bell.values["days_left"] <= URGENT_DAYS[bell.code]
    return (_is_untold(bell), not safety, not urgent, _RANK.index(bell.code), bell.since, bell.subject)


def _is_untold(bell: Bell) -> bool:
    return bell.code is BellCode.UPKEEP and bell.values["state"] == "never told"


def _hush_commands(name: str, times: HarborTimes, program: str, *, one_of: bool) -> tuple[Command, ...]:
    it = "one of them" if one_of else "it"
    until = datetime.combine(times.day + timedelta(days=SNOOZE_DAYS), SNOOZE_TO)
    snooze = command(program, "log", "snooze", name, "--until", f"{until:%Y-%m-%d %H:%M}")
    return (
        Command(f"To snooze {it} until {day_words(until.date())} {until:%H:%M}", snooze),
        Command(f"To settle {it}", command(program, "log", "settle", name)),
    )


@dataclass(frozen=True)
class _Case:
    """One bell being told. Asking for a value it doesn't have names the bell."""

    bell: Bell
    times: HarborTimes
    program: str

    @property
    def name(self) -> str:
        return self.bell.name

    def any(self, name: str) -> Any:
        if name not in self.bell.values:
            raise ValueError(f"the bell {self.bell.name!r} came without its value {name!r}")
        return self.bell.values[name]

    @property
    def subject(self) -> str:
        return one_line(self.bell.subject)

    def day(self, day: date) -> str:
        return due_words(day, self.times.day)


def _soak(case: _Case) -> _Told:
    soak, traps = soak_words(case.any("soak_h")), case.any("traps")
    since = case.times.dated(case.any("soak_start"))
    law = case.any("law_h")
    lines = [
        f"{traps_count(traps)} of {case.subject} {'has' if traps == 1 else 'have'} soaked past "
        f"{_soak_limit(case)}. The oldest bait went in {since}: {soak} ago."
    ]
    if law is not None:
        lines.append(f"Source: {ended(case.any('law_source'))} Check with the authority.")
    may = case.any("may")
    lines.append(_SOAK_DAY[may])
    return _Told(
        case.name,
        f"{case.subject} has soaked {soak}",
        f"{case.subject} has soaked {soak}",
        tuple(lines),
        tuple(_soak_commands(case, may)),
    )


_SOAK_DAY = {
    SoakDay.HARVEST: "Pull the string on the next day that a morning letter calls fit.",
    SoakDay.TAKE_UP: "The harvest is closed, so the string may only be taken up: do it on the next day that a "
    "morning letter calls fit for that.",
    SoakDay.CLOSED: "By the rules no trap may be pulled today, so no letter calls a trip for it. Ask the "
    "authority before you go for it.",
}


def _soak_commands(case: _Case, may: SoakDay) -> Iterator[Command]:
    """What comes home is logged by places, a deck load at a time: so what is left out there stays told."""
    loads = case.any("loads")
    if may is SoakDay.HARVEST:
        yield Command("When it is pulled", command(case.program, "log", "pull", case.bell.subject))
        return
    for load in loads:
        yield Command(
            f"When {places_words(load)} {'is' if len(load) == 1 else 'are'} home",
            command(case.program, "log", "ashore", case.bell.subject, "--traps", told_places(load)),
        )


def _soak_limit(case: _Case) -> str:
    limit_h, ceiling_h, law_h = case.any("limit_h"), case.any("ceiling_h"), case.any("law_h")
    ceiling = f"your ceiling of {soak_words(ceiling_h)}"
    if law_h is not None and limit_h >= law_h:
        return f"{soak_words(law_h)}, the longest that the law allows"
    if law_h is not None and limit_h < ceiling_h:
        return f"{soak_words(limit_h)}; the law allows {soak_words(law_h)} at most"
    if limit_h > ceiling_h:
        return f"{soak_words(limit_h)}, and so far past {ceiling}"
    return ceiling


def _bait(case: _Case) -> _Told:
    on_hand, on_order = case.any("on_hand_boxes"), case.any("on_order_boxes")
    runs_out = case.any("runs_out_on")
    stock = f"{boxes_words(on_hand)} on hand"
    ordered = f", {boxes_words(on_order)} on order" if on_order > 0 else ", none on order"
    ends = f" By what is planned it runs out on {case.day(runs_out)}." if runs_out is not None else ""
    if case.bell.level > 1:
        ends += " That is before more can come."
    bait, not_sent = case.bell.subject, _not_sent(case)
    return _Told(
        case.name,
        f"{'order NOT sent, ' if not_sent else ''}bait low: {case.subject}, {stock}",
        f"{'The order was NOT sent, bait' if not_sent else 'Bait'} low: {case.subject}",
        (
            *not_sent,
            f"{stock}{ordered}; the point to reorder is {boxes_words(case.any('reorder_point_boxes'))}.{ends}",
        ),
        (
            Command(
                "When it is ordered",
                command(case.program, "log", "bait-ordered", bait) + " BOXES --due YYYY-MM-DD",
            ),
            bait_counted_command(case.program, bait, "If the freezer holds another amount"),
        ),
    )


def _not_sent(case: _Case) -> tuple[str, ...]:
    if "not_sent_on" not in case.bell.values:
        return ()
    boxes, ordered_on = boxes_words(case.any("not_sent_boxes")), case.day(case.any("not_sent_on"))
    return (
        f"The order of {ordered_on} for {boxes} of {case.subject} was NOT sent: no mail server took it in time. "
        "Nothing comes of it. Order it yourself.",
    )


def _parts(case: _Case) -> _Told:
    on_hand, buy, needed = (amount(case.any(name)) for name in ("on_hand", "buy", "needed_now"))
    reorder = amount(case.any("reorder_point"))
    open_mends = f" Open mends need {needed}." if case.any("needed_now") > 0 else ""
    return _Told(
        case.name,
        f"parts low: {case.subject}, {on_hand} on hand",
        f"Parts low: {case.subject}",
        (f"Buy {buy}: {on_hand} on hand, the point to reorder is {reorder}.{open_mends}",),
        (Command("When they are bought", command(case.program, "log", "part-bought", case.bell.subject, buy)),),
    )


def _upkeep_of(case: _Case) -> UpkeepDue:
    told = ("state", "safety", "expires", "due_on", "left", "unit", "source")
    return UpkeepDue(
        task=case.bell.subject,
        before_leaving=False,
        since=case.bell.since,
        done_at=None,
        **{name: case.any(name) for name in told},
    )


def _upkeep(case: _Case) -> _Told:
    due = _upkeep_of(case)
    brief = upkeep_state(due, case.times.day).partition(",")[0]
    untold = due.state == "never told"
    if untold:
        ask = "Look at the date that stands on it." if due.expires else "Look when it was last done."
    else:
        ask = "Renew it, and tell the log the new date." if due.expires else "Do it, and tell the log."
    return _Told(
        case.name,
        f"{case.subject} {brief}",
        upkeep_words(due, case.times.day).removesuffix("."),
        (ask, f"Source: {ended(due.source)}"),
        (upkeep_command(case.program, due.task, expires=due.expires, untold=untold),),
    )


_ANY_TASK = "THE TASK"
"""Stands in a command for any of them. The blank has it quoted, as most names need."""


def _untold(cases: Sequence[_Case]) -> _Told:
    """All that the log was never told of in one: a list, and each command once."""
    tasks = [_upkeep_of(case) for case in cases]
    counted = untold_upkeep(tasks)
    kinds = dict.fromkeys(sorted((due.expires for due in tasks), reverse=True))
    return _Told(
        f"{BellCode.UPKEEP.value}:{_ANY_TASK}",
        counted,
        counted,
        (
            "Look at the date that stands on each, or when it was last done, and tell the log. "
            "Until then nothing says when it is due.",
        ),
        tuple(upkeep_command(cases[0].program, _ANY_TASK, expires=dated, untold=True) for dated in kinds),
        tuple(f"{task_words(due)}{': has a date on it' if due.expires else ''}" for due in tasks),
    )


def _unset(case: _Case) -> _Told:
    in_water = case.bell.level > 1
    barred = BarredTraps(
        string=case.bell.subject,
        where=Whereabouts.FISHING if in_water else Whereabouts.ASHORE,
        since=case.bell.since,
        **{name: case.any(name) for name in ("places", "item", "rule", "unknown")},
    )
    what = f"{one_line(barred.string)}, {places_words(barred.places)}"
    state = "in the water but may not be set" if in_water else "may not be set"
    ask = "Mend or take in at the next pull." if in_water else "Mend before it is set."
    return _Told(
        case.name,
        f"{what}: {state}",
        f"{what}: {state}",
        (barred_words(barred), f"{ask} Check the rule with the authority."),
        (Command("When that is mended", repaired_line(case.program, barred.string, barred.places, barred.item)),),
    )


def _season(case: _Case) -> _Told:
    deadline, left = case.day(case.any("deadline")), case.any("days_left")
    if left < 0:
        when = f"the day to have all traps out, {deadline}, is past by {days_count(-left)}"
    elif left == 0:
        when = "all traps must be out today"
    else:
        when = f"all traps out by {deadline}, {days_count(left)} left"
    fishing, aboard, missing = (case.any(name) for name in ("fishing", "aboard", "missing"))
    others = [f"{count} {what}" for count, what in ((aboard, "aboard"), (missing, "missing")) if count]
    in_water = f"In the water: {traps_count(fishing)}." if fishing else "No trap is fishing."
    lines = [
        f"{in_water} Not home besides: {listed(others)}." if others else in_water,
        f"{capital(ended(case.any('rule')))} Source: {ended(case.any('source'))} Check with the authority.",
    ]
    commands = [Command("When a string is home", command(case.program, "log", "ashore", "STRING"))]
    if left < 0:
        lines.append("This rings every day until each trap is ashore or written off with a reason.")
    if missing:
        lines.append(REPORT)
        commands.append(Command("To write missing traps off", retired_line(case.program, "STRING", "PLACES")))
    return _Told(case.name, when, capital(when), tuple(lines), tuple(commands))


def _start(case: _Case) -> _Told:
    deadline, chance, day = case.day(case.any("deadline")), case.any("chance"), case.any("start_by")
    left, today = case.any("days_left"), case.times.day
    aim = f"a chance of {chance:.0%} of all traps out by {deadline}"
    if day is None:
        when = f"no day to start on gives {aim} any more"
    elif day == today:
        when = f"today is the last day to start on for {aim}"
    else:
        gone = "yesterday" if (today - day).days == 1 else case.day(day)
        when = f"the last day to start on for {aim} was {gone}"
    until = "today is the last day" if left == 0 else f"{days_count(left)} left"
    later = [start_words(lower, start_by, today) for lower, start_by in case.any("later")]
    return _Told(
        case.name,
        when,
        capital(when),
        (
            f"In the water: {traps_count(case.any('fishing'))}; {until}.",
            *later,
            "The odds are reckoned from forecasts and the usual weather, as of the last morning letter. They call "
            "no day fit: only a morning letter says whether to go.",
        ),
        (Command("For the list of what is out", command(case.program, "recovery")),),
    )


def _harvest(case: _Case) -> _Told:
    last, left = case.any("last_harvest"), case.any("days_left")
    when = (
        "today is the last day to pull for the catch"
        if left == 0
        else f"last day to pull for the catch: {case.day(last)}, {days_count(left)} left"
    )
    by_day: dict[date | None, list[str]] = {}
    for string, day in case.any("rebait"):
        by_day.setdefault(day, []).append(one_line(string))
    return _Told(
        case.name,
        when,
        capital(when),
        (
            f"At work: {traps_count(case.any('traps'))}. What is pulled after that day may not be kept.",
            *(_rebait(day, listed(strings), case) for day, strings in by_day.items()),
            "Check the day with the authority: it may be changed by order.",
        ),
        (),
    )


def _rebait(day: date | None, strings: str, case: _Case) -> str:
    if day is None:
        return f"Fresh bait is of no use any more: {strings}."
    past = day < case.times.day
    return f"Fresh bait {'was' if past else 'is'} of use up to {case.day(day)}, by the soak floor: {strings}."


def _setting(case: _Case) -> _Told:
    first, left, harvest = case.any("set_from"), case.any("days_left"), case.any("harvest_from")
    when = (
        "traps may be set from today"
        if left == 0
        else f"traps may be set from {case.day(first)}, in {days_count(left)}"
    )
    later = harvest is not None and harvest > first
    pulled = f" No trap may be pulled for its catch before {case.day(harvest)}." if later else ""
    return _Told(
        case.name,
        when,
        capital(when),
        (
            f"Out of the water: {traps_count(case.any('waiting'))}.{pulled}",
            f"{capital(ended(case.any('rule')))} Source: {ended(case.any('source'))} Check with the authority.",
        ),
        (Command("For the check list and the trips", command(case.program, "setting")),),
    )


_FORMS: dict[BellCode, Callable[[_Case], _Told]] = {
    BellCode.SOAK: _soak,
    BellCode.BAIT: _bait,
    BellCode.PARTS: _parts,
    BellCode.UPKEEP: _upkeep,
    BellCode.UNSET: _unset,
    BellCode.SEASON: _season,
    BellCode.START: _start,
    BellCode.HARVEST: _harvest,
    BellCode.SETTING: _setting,
}
CODES = frozenset(_FORMS)
