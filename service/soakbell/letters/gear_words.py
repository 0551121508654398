"""Words for traps, bait, parts and upkeep."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

from soakbell.gear.fold import told_places
from soakbell.gear.log import Shares
from soakbell.letters.figures import amount
from soakbell.letters.times import day_words
from soakbell.letters.words import capital, ended, listed, one_line
from soakbell.planning.ashore import BarredTraps, TrapsOf, UpkeepDue

_UNITS = {
    "engine h": ("engine hour", "engine hours"),
    "pulls": ("pull", "pulls"),
    "days in water": ("day in the water", "days in the water"),
}


def boxes_words(boxes: float) -> str:
    """``2.5 boxes``, ``1 box``, ``0.25 box``."""
    return _counted(boxes, ("box", "boxes"))


def use_words(value: float, unit: str) -> str:
    """``4 engine hours``. Raises ValueError for a unit that the letters have no words for."""
    if unit not in _UNITS:
        raise ValueError(f"no words for the unit {unit!r}; give it some in letters/gear_words.py")
    return _counted(value, _UNITS[unit])


def traps_count(count: int) -> str:
    return _counted(count, ("trap", "traps"))


def _counted(value: float, words: tuple[str, str]) -> str:
    told = amount(value)
    return f"{told} {words[0] if 0 < float(told) <= 1 else words[1]}"


def places_words(places: Iterable[int]) -> str:
    """``trap 3``, ``traps 3, 7, 8 and 10 to 12``."""
    all_places = list(places)
    runs: list[str] = []
    for run in told_places(all_places).split():
        first, _, last = run.partition("..")
        two = last and int(last) == int(first) + 1
        runs += [first, last] if two else [f"{first} to {last}" if last else first]
    return f"{'trap' if len(all_places) == 1 else 'traps'} {listed(runs)}"


def traps_words(string: str, places: Iterable[int]) -> str:
    """``Nine Foot, traps 3 and 7``."""
    return f"{one_line(string)}, {places_words(places)}"


def count_of(traps: Iterable[TrapsOf | BarredTraps]) -> int:
    """How many traps, each once."""
    return len({(some.string, place) for some in traps for place in some.places})


def shares_words(shares: Shares) -> str:
    """``2 x latch and 1 x lid``."""
    return listed(f"{amount(count)} x {one_line(name)}" for name, count in shares)


def due_words(day: date, beside: date) -> str:
    """``Sat 12 Dec``, with its year where that isn't the year of ``beside``."""
    return day_words(day) if day.year == beside.year else f"{day_words(day)} {day.year}"


def upkeep_words(due: UpkeepDue, today: date) -> str:
    """How one task stands, as a sentence that begins with it."""
    return f"{task_words(due)}: {upkeep_state(due, today)}."


def task_words(due: UpkeepDue) -> str:
    """``Flares (safety gear)``."""
    return f"{capital(one_line(due.task))}{' (safety gear)' if due.safety else ''}"


def upkeep_state(due: UpkeepDue, today: date) -> str:
    """``was due Tue 1 Dec``, ``due in 4 engine hours``, ``out of date, good until Mon 30 Nov only``."""
    overdue = due.state == "overdue"
    if due.state == "never told":
        return "not in the log yet"
    if due.due_on is not None:
        day = due_words(due.due_on, today)
        if due.expires:
            return f"out of date, good until {day} only" if overdue else f"good until {day}"
        return f"was due {day}" if overdue else f"due {day}"
    if due.left is None:
        raise ValueError(f"the upkeep {due.task!r} is {due.state} without a day or a use to say so")
    if not overdue:
        return f"due in {use_words(max(due.left, 0.0), due.unit)}"
    return f"overdue by {use_words(-due.left, due.unit)}" if due.left < 0 else "due now"


def barred_words(barred: BarredTraps) -> str:
    """Which traps may not be set and why."""
    traps, several = traps_words(barred.string, barred.places), len(barred.places) > 1
    if barred.unread:
        wet = ", in the water," if barred.in_water else ""
        return f"{traps}{wet} {'were' if several else 'was'} told damaged: {one_line(barred.item)}."
    state = f", in the water although {'they' if several else 'it'} may not be set" if barred.in_water else ""
    why = f" {capital(ended(barred.rule))}" if barred.rule else ""
    if barred.unknown:
        why += " The settings don't know this item, so no trap may be set with it."
    return f"{traps}{state}: {one_line(barred.item)}.{why}"


def barred_ask(barred: Iterable[BarredTraps]) -> tuple[str, ...]:
    """What to do about traps that may not be set: those in the water, and those that aren't."""
    rows = list(barred)
    if any(row.unread for row in rows):
        return ("No gear settings say what that means for a trap: set none of these before it is mended.",)
    in_water, waiting = (count_of(row for row in rows if row.in_water is wet) for wet in (True, False))
    told = []
    if in_water:
        those = "the one in the water" if in_water == 1 else "those in the water"
        those = those if waiting else "it" if in_water == 1 else "them"
        told.append(f"Mend {those} at the next pull, or take {'it' if in_water == 1 else 'them'} in.")
    if waiting:
        those = "the one out of the water" if waiting == 1 else "those out of the water"
        those = those if in_water else "it" if waiting == 1 else "them"
        told.append(f"Mend {those} before {'it is' if waiting == 1 else 'they are'} set.")
    return (*told, "Rules change: check with the authority named below.")


def untold_upkeep(tasks: Iterable[UpkeepDue]) -> str:
    """``11 safety tasks and 10 others are not in the log yet``."""
    safety = [due.safety for due in tasks]
    one, other = safety.count(True), safety.count(False)
    told = [_counted(one, ("safety task", "safety tasks"))] if one else []
    if other:
        told.append(_counted(other, ("other", "others") if one else ("task", "tasks")))
    return f"{listed(told)} {'is' if one + other == 1 else 'are'} not in the log yet"
