"""Lines for the shell that tell the log, and how they are written so that a shell reads what was meant."""

from __future__ import annotations

import re
import shlex
from collections.abc import Iterable
from dataclasses import dataclass

from soakbell.gear.fold import told_places
from soakbell.letters.words import one_line

_PLAIN = re.compile(r"[\w@%+=:,./-]+", re.ASCII)
_QUOTED = re.compile(r"[^\"$`\\!]+")
_SHELL_WORD = re.compile(r"""(?:"[^"]*"|'[^']*'|[^\s"'])+""")


@dataclass(frozen=True)
class Command:
    """A line for the shell, and what it is for."""

    what_for: str
    line: str

    @property
    def words(self) -> tuple[str, ...]:
        """The words of the line as they stand there, quotes and all. Only between them may a page break it."""
        return tuple(_SHELL_WORD.findall(self.line))


def command(program: str, *words: str) -> str:
    """A line for the shell: the program as it is run where the service is installed, then a word each, quoted
    where it must be."""
    return " ".join([one_line(program), *(_shell_word(one_line(word)) for word in words)])


def _shell_word(word: str) -> str:
    if _PLAIN.fullmatch(word):
        return word
    return f'"{word}"' if _QUOTED.fullmatch(word) else shlex.quote(word)


def repaired_line(program: str, string: str, places: Iterable[int], item: str = "") -> str:
    item_words = ("--item", item) if item else ()
    return command(program, "log", "repaired", string, "--traps", told_places(places), *item_words)


def upkeep_command(program: str, task: str, *, expires: bool, untold: bool) -> Command:
    """Tells the log of a task. What only the skipper knows is left for him to fill in."""
    line = command(program, "log", "upkeep", task)
    if expires:
        lead = "With the date that stands on it" if untold else "When it is done"
        return Command(lead, f"{line} --expires YYYY-MM-DD")
    if untold:
        return Command("With the day it was last done", f'{line} --at "YYYY-MM-DD HH:MM"')
    return Command("When it is done", line)


def bait_counted_command(program: str, bait: str, what_for: str) -> Command:
    return Command(what_for, command(program, "log", "bait-counted", bait) + " BOXES")
