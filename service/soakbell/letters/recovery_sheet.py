"""The recovery list as a page to print: one sheet a trip, to be ticked with a pencil in wet hands."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from importlib.resources import files

from soakbell.letters.facts import LetterFacts
from soakbell.letters.gear_words import traps_count, traps_words
from soakbell.letters.letter import page_html
from soakbell.letters.recovery_words import (
    EVENLY,
    REPORT,
    STACKED,
    deadline_words,
    lead_words,
    mark_words,
    missing_words,
    seen_words,
    trip_words,
)
from soakbell.letters.times import HarborTimes, full_day_words
from soakbell.letters.words import checked_words, listed, one_line, skipper_decides
from soakbell.planning.recovery import RecoveryList, StringOut

MOST_WIDE = 64
"""Traps of a trip past which they stand closer, so that a deck load still fits one sheet."""


@dataclass(frozen=True)
class Tick:
    """One trap to tick: its place, and its tag below where it has one."""

    place: str
    tag: str


@dataclass(frozen=True)
class SheetString:
    name: str
    traps: str
    start: str
    end: str
    ticks: tuple[Tick, ...]


@dataclass(frozen=True)
class Sheet:
    """One sheet of paper. ``rows`` are sentences, each with a box to tick."""

    title: str
    about: str
    strings: tuple[SheetString, ...] = ()
    rows: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def dense(self) -> bool:
        return sum(len(string.ticks) for string in self.strings) > MOST_WIDE


@dataclass(frozen=True)
class SheetPage:
    """``what`` the sheets are, ``blanks`` to fill in below a trip, ``nothing`` for a page without a sheet."""

    what: str
    boat: str
    by_when: str
    written: str
    sheets: tuple[Sheet, ...]
    cautions: tuple[str, ...]
    invented: bool
    blanks: tuple[str, ...]
    nothing: str


def recovery_sheet(recovery: RecoveryList, facts: LetterFacts, *, style_url: str = "") -> str:
    """The page, by itself in one file: black on white, one sheet for each trip, one for what is missing or aboard.

    A string that is in no trip has a sheet of its own. ``style_url``: where ``sheet_css`` is served, for a page
    that may carry no style itself.
    """
    times = HarborTimes.at(facts.zone_name, recovery.made_at)
    page = SheetPage(
        what="Recovery list",
        boat=facts.boat,
        by_when=deadline_words(recovery),
        written=f"{full_day_words(times.day)}, {times.zoned(recovery.made_at)}",
        sheets=tuple(_sheets(recovery, times)),
        cautions=(skipper_decides("this list"), STACKED, EVENLY, rules_line(facts)),
        invented=facts.invented,
        blanks=("Hauled: ______", "Not found: __________________", "Home at: ______"),
        nothing=lead_words(recovery),
    )
    return page_html("recovery_sheet", {"page": page, "style_url": style_url})


def sheet_css() -> str:
    """How sheets look."""
    return (files("soakbell.letters") / "templates" / "recovery_sheet.css").read_text("utf-8")


def rules_line(facts: LetterFacts) -> str:
    """When the rules were last checked, and with whom to check them."""
    checked = checked_words(facts.fishery.checked_on, facts.fishery.not_read, facts.fishery.rules)
    return f"Rules ({facts.fishery.name}) as last checked on {checked}: check with {facts.fishery.authority}."


def _sheets(recovery: RecoveryList, times: HarborTimes) -> Iterator[Sheet]:
    for trip in recovery.trips:
        names = listed(one_line(string.name) for string in trip.strings)
        about = f"{names}: {trip_words(trip, recovery.today)}."
        yield Sheet(f"Trip {trip.number}", about, tuple(_string(string) for string in trip.strings))
    for string in recovery.unplanned:
        about = f"{'In no trip yet: ' if recovery.trips else ''}{traps_count(len(string.traps))}."
        yield Sheet(one_line(string.name), about, (_string(string),))
    lost = tuple(missing_words(trap, times) for trap in recovery.missing)
    aboard = tuple(
        f"{traps_words(trap.string, [trap.place])}{f' (tag {one_line(trap.tag)})' if trap.tag else ''}: aboard, "
        f"{seen_words(trap, times)}. Bring it ashore."
        for trap in recovery.aboard
    )
    if lost or aboard:
        parts = ((lost, "missing"), (aboard, "aboard"))
        about = f"{listed(f'{len(rows)} {what}' for rows, what in parts if rows)}."
        yield Sheet("Missing and aboard", about, rows=lost + aboard, notes=(REPORT,) if lost else ())


def _string(string: StringOut) -> SheetString:
    return SheetString(
        one_line(string.name),
        traps_count(len(string.traps)),
        mark_words(string.start),
        mark_words(string.end),
        tuple(Tick(str(trap.place), one_line(trap.tag)) for trap in string.traps),
    )
