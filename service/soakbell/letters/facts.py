"""What a letter needs besides the call: names, marks, dates and addresses."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, time
from typing import Literal, TypeAlias

from soakbell.fishery.rules import Fishery
from soakbell.fishery.season import caution
from soakbell.gear.strings import Mark, TrapString

PageAct: TypeAlias = Literal["today", "log", "season"]
"""What a link to the boat's own page leads to."""


@dataclass(frozen=True)
class Link:
    """A page the skipper can open. ``label`` says what is there."""

    label: str
    url: str


@dataclass(frozen=True)
class FisheryFacts:
    """Whose rules the call kept to, and on which day they were last compared with the authority's own.

    ``not_read`` of the ``rules`` were not read in the rule's own text. ``kept``: what is kept of a catch, in the
    trade's words ("claws").
    """

    name: str
    kept: str
    authority: str
    url: str
    checked_on: date
    not_read: int
    rules: int

    @classmethod
    def of(cls, fishery: Fishery) -> FisheryFacts:
        law = caution(fishery)
        return cls(fishery.name, fishery.kept, law.authority, law.url, law.checked, law.not_read, law.rules)


@dataclass(frozen=True)
class LetterFacts:
    """What the letter says around the call.

    Attributes:
        boat: the boat's name as the skipper writes it.
        harbor, harbor_mark: where the trip starts and ends.
        zone_name: the harbor's IANA time zone; every time on the page is local to it.
        strings: every string of the boat, for the marks of the GPX file.
        fishery: whose rules, checked when.
        links: official pages, the zone forecast first.
        due_at: when this letter was due.
        late: true where it was written too long after ``due_at``.
        left_out: what else the letter would tell but for an earlier try that failed or broke off.
        restored_at: when the database was restored, as long as the log may lack what was told before that.
        turn: 0 for the day's first letter, counting up with every CHANGED CALL.
        no_letter_by: local time after which the skipper stops waiting for a letter.
        next_letter_at: when the next morning letter is due, or None.
        watch_until: until when new warnings and worse forecasts are looked for, or None where no watch is kept.
        refused: addresses that the mail server refused last time.
        expired: due times of letters that could not be sent while they were of use.
        credits: lines that licences of sources ask for.
        invented: true for demonstrations; the letter then says that its data is invented.
        page_link: the boat's own page, by a link that signs in once; None where it has no address.
        command: how commands in the letter begin: the program as it is run where the service is installed.
    """

    boat: str
    harbor: str
    harbor_mark: Mark
    zone_name: str
    strings: tuple[TrapString, ...]
    fishery: FisheryFacts
    links: tuple[Link, ...]
    due_at: datetime
    no_letter_by: time
    next_letter_at: datetime | None = None
    watch_until: datetime | None = None
    late: bool = False
    left_out: tuple[str, ...] = ()
    restored_at: datetime | None = None
    turn: int = 0
    refused: tuple[str, ...] = ()
    expired: tuple[datetime, ...] = ()
    credits: tuple[str, ...] = ()
    invented: bool = False
    page_link: Link | None = None
    command: str = "soakbell"
