"""What all letters say around their matter, ready for the templates."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from soakbell.letters.facts import LetterFacts, Link
from soakbell.letters.times import HarborTimes, day_words, full_day_words
from soakbell.letters.words import STANDING, checked_words, listed

MOST_EXPIRED_NAMED = 3
"""Letters that couldn't be sent, each told by its hour; the rest are counted."""


@dataclass(frozen=True)
class Around:
    """``is_call`` only says where the official pages stand: among the cautions at the end, or apart (NO CALL)."""

    boat: str
    harbor: str
    day: str
    short_day: str
    written: str
    page_zone: str
    late: str
    lacking: str
    invented: bool
    is_call: bool
    links: tuple[Link, ...]
    page_link: Link | None
    refused: tuple[str, ...]
    expired: tuple[str, ...]
    fishery: str
    authority: str
    fishery_url: str
    rules_checked: str
    standing: tuple[str, ...]


def around(
    facts: LetterFacts,
    times: HarborTimes,
    *,
    now: datetime,
    day: date,
    standing: tuple[str, ...],
    is_call: bool = True,
) -> Around:
    """``day`` is the one that the letter is about, ``standing`` what it always says."""
    return Around(
        boat=facts.boat,
        harbor=facts.harbor,
        day=full_day_words(day),
        short_day=day_words(day),
        written=times.zoned(now),
        page_zone=times.page_zone,
        late=f"This letter was due {times.dated(facts.due_at)} and is late." if facts.late else "",
        lacking=" ".join(filter(None, (left_out_words(facts.left_out), restored_words(facts.restored_at, times)))),
        invented=facts.invented,
        is_call=is_call,
        links=facts.links,
        page_link=facts.page_link,
        refused=facts.refused,
        expired=expired_words(facts.expired, times),
        fishery=facts.fishery.name,
        authority=facts.fishery.authority,
        fishery_url=facts.fishery.url,
        rules_checked=checked_words(facts.fishery.checked_on, facts.fishery.not_read, facts.fishery.rules),
        standing=standing,
    )


def no_call(facts: LetterFacts, times: HarborTimes) -> str:
    """That the letter is no call, and which one is."""
    when = f", due {times.dated(facts.next_letter_at)}" if facts.next_letter_at else ""
    return f"This letter is no call: only the morning letter{when}, says whether to go."


SKIPPER_DECIDES = STANDING[0]


def left_out_words(left_out: Sequence[str]) -> str:
    """A sentence, or nothing where nothing was left out."""
    if not left_out:
        return ""
    return f"An earlier try of this letter failed or broke off, so this one leaves out {listed(left_out)}."


def restored_words(restored_at: datetime | None, times: HarborTimes) -> str:
    """A sentence, or nothing. By a pull that is missing its string counts as soaking on."""
    if restored_at is None:
        return ""
    return (
        f"The database was restored {times.dated(restored_at)}: what was told to the log between that backup and "
        "then is missing, unless it was told again, and soaks may be wrong."
    )


def expired_words(expired: Sequence[datetime], times: HarborTimes) -> tuple[str, ...]:
    """Sentences about letters that were given up; ``expired``: when each was due."""
    dues = sorted(expired)
    older = max(0, len(dues) - MOST_EXPIRED_NAMED)
    told = [f"The letter due {times.dated(at)} could not be sent while it was of use." for at in dues[older:]]
    if older:
        told.append(f"Nor could {older} earlier, due from {times.dated(dues[0])} on.")
    return tuple(told)
