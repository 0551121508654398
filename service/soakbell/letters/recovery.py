"""The letter of the recovery list: every trap that is not home, where it was last, and by when it must be out."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from soakbell.gear.fold import told_places
from soakbell.letters.around import SKIPPER_DECIDES, Around, around, no_call
from soakbell.letters.commands import Command, command
from soakbell.letters.facts import LetterFacts
from soakbell.letters.gear_section import Block
from soakbell.letters.gear_words import traps_count, traps_words
from soakbell.letters.letter import Attachment, Letter, written
from soakbell.letters.recovery_files import recovery_csv, recovery_gpx, take_up_ics
from soakbell.letters.recovery_words import (
    ASK_FIRST,
    EVENLY,
    REPORT,
    STACKED,
    STAYS,
    before_follower,
    days_count,
    deadline_words,
    lead_words,
    missing_words,
    retired_line,
    rule_words,
    seen_words,
    starts_words,
    string_lines,
    trip_words,
)
from soakbell.letters.season_section import reckoned_lines
from soakbell.letters.times import HarborTimes, day_words
from soakbell.letters.told_days import TAKE_UP_FILE, ToldDay
from soakbell.letters.words import STANDING, listed, one_line
from soakbell.planning.recovery import RecoveryList, StringOut, TrapOut
from soakbell.planning.season_told import SeasonAhead

MOST_MISSING = 40
"""Missing traps that a letter tells one by one; the rest stand in its files, so that no mail cuts it short."""


@dataclass(frozen=True)
class RecoverySection:
    title: str
    lines: tuple[str, ...]
    blocks: tuple[Block, ...] = ()


@dataclass(frozen=True)
class RecoveryPage(Around):
    """What the templates print. ``brief`` is for the subject."""

    brief: str
    lead: str
    sections: tuple[RecoverySection, ...]


def recovery_letter(
    recovery: RecoveryList,
    facts: LetterFacts,
    *,
    now: datetime,
    season: SeasonAhead | None = None,
    told: Sequence[ToldDay] = (),
) -> Letter:
    """The list as a letter, with its files. It stands also where no trap is on the list any more.

    ``season`` tells what its days rest on, ``told`` is as in ``take_up_ics``.
    """
    times = HarborTimes.at(facts.zone_name, now)
    standing = (STACKED, EVENLY, SKIPPER_DECIDES, STANDING[3], no_call(facts, times))
    page = RecoveryPage(
        **vars(around(facts, times, now=now, day=times.day, standing=standing)),
        brief=_brief(recovery),
        lead=lead_words(recovery),
        sections=(*recovery_sections(recovery, times, facts.command), *_reckoned(season)),
    )
    return written("recovery", {"page": page}, recovery_files(recovery, facts, told))


def recovery_files(
    recovery: RecoveryList, facts: LetterFacts, told: Sequence[ToldDay] = ()
) -> tuple[Attachment, ...]:
    """The files of the list. No page to print is among them: mail servers often refuse a page as a file."""
    files = []
    if recovery.not_home:
        files.append(Attachment("recovery.csv", "text", "csv", recovery_csv(recovery, facts)))
        files.append(Attachment("recovery.gpx", "application", "gpx+xml", recovery_gpx(recovery, facts)))
    calendar = take_up_ics(recovery, facts, told)
    if calendar is not None:
        files.append(Attachment(TAKE_UP_FILE, "text", "calendar", calendar))
    return tuple(files)


def _brief(recovery: RecoveryList) -> str:
    if not recovery.not_home:
        return "traps not in the settings" if recovery.unknown else "every trap home or written off"
    told = f"{traps_count(recovery.not_home)} not home"
    if recovery.take_up is None or recovery.days_left is None:
        return told
    if recovery.days_left < 0:
        return f"{told}, {days_count(-recovery.days_left)} past the last day"
    return f"{told}, all out by {day_words(recovery.take_up.deadline)}"


# ---- sections of the letter


def recovery_sections(recovery: RecoveryList, times: HarborTimes, program: str) -> Iterator[RecoverySection]:
    """The list itself: by when, then every trap by trip, aboard and missing. ``program`` is how commands begin."""
    if recovery.take_up is not None:
        starts = starts_words(recovery.starts, recovery.today) if recovery.fishing else ()
        past = (ASK_FIRST,) if recovery.not_home and (recovery.days_left or 0) < 0 else ()
        yield RecoverySection("By when", (deadline_words(recovery), *past, rule_words(recovery), *starts))
    for trip in recovery.trips:
        title = f"Trip {trip.number}: {listed(one_line(string.name) for string in trip.strings)}"
        yield RecoverySection(
            title, (f"{trip_words(trip, recovery.today)}.",), tuple(_blocks(trip.strings, times, program))
        )
    if recovery.unplanned:
        several = traps_count(sum(len(string.traps) for string in recovery.unplanned))
        title = "In no trip yet" if recovery.trips else "Fishing, by string"
        yield RecoverySection(title, (f"{several}.",), tuple(_blocks(recovery.unplanned, times, program)))
    if recovery.aboard:
        yield _aboard(recovery.aboard, times, program)
    if recovery.missing:
        yield _missing(recovery.missing, times, program)


def _reckoned(season: SeasonAhead | None) -> tuple[RecoverySection, ...]:
    lines = () if season is None else tuple(reckoned_lines(season))
    return (RecoverySection("What the days rest on", lines),) if lines else ()


def _blocks(strings: Iterable[StringOut], times: HarborTimes, program: str) -> Iterator[Block]:
    for string in strings:
        home = command(program, "log", "ashore", string.name, "--traps", _typed(string.traps))
        title = f"{one_line(string.name)}, {traps_count(len(string.traps))}"
        yield Block(title, string_lines(string, times), (Command("When they are home", home),))


def _aboard(traps: Sequence[TrapOut], times: HarborTimes, program: str) -> RecoverySection:
    lines, commands = [], []
    for name, some in _by_string(traps).items():
        by_day: dict[str, list[int]] = {}
        for trap in some:
            by_day.setdefault(seen_words(trap, times), []).append(trap.place)
        lines += [f"{traps_words(name, places)}: {words}." for words, places in by_day.items()]
        line = command(program, "log", "ashore", name, "--traps", _typed(some))
        commands.append(Command(f"When those of {one_line(name)} are ashore", line))
    return RecoverySection("Aboard", (), (Block("Pulled, and not brought ashore", tuple(lines), tuple(commands)),))


def _missing(traps: Sequence[TrapOut], times: HarborTimes, program: str) -> RecoverySection:
    told = [missing_words(trap, times) for trap in traps[:MOST_MISSING]]
    if len(traps) > MOST_MISSING:
        told.append(f"And {len(traps) - MOST_MISSING} more, in the file recovery.csv.")
    commands = []
    for name, some in _by_string(trap for trap in traps if not trap.replaced).items():
        one, places = one_line(name), _typed(some)
        commands += [
            Command(
                f"When missing traps of {one} are found",
                command(program, "log", "recovered", name, "--traps", places),
            ),
            Command(f"To write missing traps of {one} off", retired_line(program, name, places)),
        ]
    commands += [
        Command(
            f"When the former {traps_words(trap.string, [trap.place])}, is found or written off",
            retired_line(program, trap.string, str(trap.place), before_follower(trap, times)),
        )
        for trap in traps
        if trap.replaced
    ][:MOST_MISSING]
    return RecoverySection("Missing", (REPORT, STAYS), (Block("Last seen", tuple(told), tuple(commands)),))


def _by_string(traps: Iterable[TrapOut]) -> dict[str, list[TrapOut]]:
    found: dict[str, list[TrapOut]] = {}
    for trap in traps:
        found.setdefault(trap.string, []).append(trap)
    return found


def _typed(traps: Iterable[TrapOut]) -> str:
    return told_places(trap.place for trap in traps)
