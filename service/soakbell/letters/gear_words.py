"""Words for traps, bait, parts and upkeep, and the commands that tell the log of them."""

from __future__ import annotations

import re
import shlex
from collections.abc import Iterable
from datetime import date

from soakbell.gear.fold import told_places
from soakbell.gear.log import Shares
from soakbell.letters.figures import amount
from soakbell.letters.times import day_words
from soakbell.letters.words import capital, ended, listed, one_line
from soakbell.planning.ashore import BarredTraps, TrapsOf, UpkeepLine

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


def upkeep_words(line: UpkeepLine, today: date) -> str:
    """What is due of one task, as a sentence that begins with it."""
    task = f"{capital(one_line(line.task))}{' (safety gear)' if line.safety else ''}"
    return f"{task}: {upkeep_state(line, today)}."


def upkeep_state(line: UpkeepLine, today: date) -> str:
    """``was due Tue 1 Dec``, ``due in 4 engine hours``, ``out of date, it was good until Mon 30 Nov``."""
    overdue = line.state == "overdue"
    if line.state == "never told":
        return "not in the log yet"
    if line.due_on is not None:
        day = due_words(line.due_on, today)
        if line.expires:
            return f"out of date, it was good until {day}" if overdue else f"good until {day}"
        return f"was due {day}" if overdue else f"due {day}"
    if line.left is None:
        raise ValueError(f"the upkeep {line.task!r} is {line.state} without a day or a use to say so")
    if not overdue:
        return f"due in {use_words(max(line.left, 0.0), line.unit)}"
    return f"overdue by {use_words(-line.left, line.unit)}" if line.left < 0 else "due now"


def barred_words(barred: BarredTraps) -> str:
    """Which traps may not be set and why."""
    traps, several = traps_words(barred.string, barred.places), len(barred.places) > 1
    state = f", in the water although {'they' if several else 'it'} may not be set" if barred.in_water else ""
    why = f" {capital(ended(barred.rule))}" if barred.rule else ""
    if barred.unknown:
        why += " The settings don't know this item, so no trap may be set with it."
    return f"{traps}{state}: {one_line(barred.item)}.{why}"


BARRED_ASK = (
    "Mend them before they are set; mend or take in at the next pull what is in the water. "
    "Rules change: check with the authority named below."
)


# ---- commands

_PLAIN = re.compile(r"[\w@%+=:,./-]+", re.ASCII)
_QUOTED = re.compile(r"[^\"$`\\!]+")


def command(*words: str) -> str:
    """A line for the shell, one word each, quoted where it must be."""
    return " ".join(_shell_word(one_line(word)) for word in words)


def _shell_word(word: str) -> str:
    if _PLAIN.fullmatch(word):
        return word
    return f'"{word}"' if _QUOTED.fullmatch(word) else shlex.quote(word)


def repaired_command(string: str, places: Iterable[int], item: str = "") -> str:
    item_words = ("--item", item) if item else ()
    return command("soakbell", "log", "repaired", string, "--traps", told_places(places), *item_words)


def upkeep_command(task: str, *, expires: bool) -> str:
    """The command that tells a task done. A new date of expiry is left for the skipper to fill in."""
    return command("soakbell", "log", "upkeep", task) + (" --expires YYYY-MM-DD" if expires else "")
