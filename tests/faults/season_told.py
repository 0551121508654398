"""What letters told that reached the mail server, read as a skipper reads them: subject and text alone."""

from __future__ import annotations

import re
import shlex
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, time
from email import message_from_bytes, policy
from email.utils import parsedate_to_datetime

from faults.bad_mail import Taken
from faults.season_way import STRINGS, Called, Haul
from soakbell.due_times import due_at

_WORD = re.compile(r"(?:Late: )?(?:CHANGED CALL: )?(PULL|WAIT|NO CALL)\b(.*)")
_LEAVE = re.compile(r"^Leave: (\d\d:\d\d)(?: to (\d\d:\d\d))? [A-Z]{3}\.$", re.MULTILINE)
_BACK = re.compile(r"^Back by: (\d\d:\d\d)\b", re.MULTILINE)
_STRINGS = re.compile(r"^Strings to (pull|take up), in this order\n-+\n(.*?)\n\n\n", re.MULTILINE | re.DOTALL)
_HAUL = re.compile(r"^\d+\. (.+?): \d\d:\d\d to \d\d:\d\d, (\d+) traps?,", re.MULTILINE)


@dataclass(frozen=True)
class Told:
    """A letter as it arrived. ``written_at`` by the service's own clock.

    Attributes:
        word: of a call; "" where its subject tells none.
        matters: what it rings a bell for.
    """

    at: datetime
    message_id: str
    written_at: datetime
    subject: str
    text: str
    zone_name: str

    @property
    def kind(self) -> str:
        return self.message_id[1:].split(".", 1)[0]

    @property
    def day(self) -> date:
        return date.fromisoformat(self.message_id.split(".")[1])

    @property
    def word(self) -> str:
        found = _WORD.match(self.subject)
        return "" if found is None else found[1]

    @property
    def call(self) -> str:
        """The word and what follows it, in the subject."""
        found = _WORD.match(self.subject)
        return self.subject if found is None else found[1] + found[2]

    @property
    def called(self) -> Called | None:
        """The trip; None where none can be read in it."""
        leave, back, strings = _LEAVE.search(self.text), _BACK.search(self.text), _STRINGS.search(self.text)
        if leave is None or back is None or strings is None or f" {leave[1]}-" not in self.subject:
            return None
        home = strings[1] == "take up"
        hauls = tuple(Haul(name, int(traps), in_part=home) for name, traps in _HAUL.findall(strings[2]))
        if not hauls or any(haul.string not in STRINGS for haul in hauls):
            return None
        return Called(self._local(leave[1]), self._local(leave[2] or leave[1]), self._local(back[1]), hauls)

    @property
    def matters(self) -> Iterator[str]:
        """By the names that the letter snoozes them by; of tasks told together each by its own."""
        for block in re.split(r"\n\n\n", self.text):
            names = [
                shlex.split(line)[3] for line in re.findall(r"^ +soakbell log snooze .+$", block, re.MULTILINE)
            ]
            for name in names:
                if name.isupper() or name.partition(":")[2].isupper():
                    yield from re.findall(r"^- ([^:(.]+)", block, re.MULTILINE)
                else:
                    yield name

    def _local(self, at: str) -> datetime:
        return due_at(self.day, time.fromisoformat(at), self.zone_name)


def read(letter: Taken, zone_name: str) -> Told:
    message = message_from_bytes(letter.message, policy=policy.default)
    body = message.get_body(("plain",))
    assert body is not None
    text = re.sub(r"\n  (?=\S)", " ", body.get_content().replace("\r\n", "\n"))  # items go on indented
    subject, written_at = str(message["Subject"]), parsedate_to_datetime(str(message["Date"]))
    return Told(letter.at, letter.message_id, written_at, subject, text, zone_name)
