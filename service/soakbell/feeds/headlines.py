"""Headlines between dots, and official sentences that stand where no headline is looked for."""

from __future__ import annotations

import re
from collections.abc import Sequence

from soakbell.feeds.bulletin import fold
from soakbell.sea.zone_forecast import Headline, HeadlineMeaning

_EVENT = r"(?:WARNINGS?|WATCH(?:ES)?|ADVISOR(?:Y|IES)|STATEMENTS?|SCA)"
_EVENT_WORDS = re.compile(rf"\b{_EVENT}\b")
_TIME = (
    r"(?:IN EFFECT|FROM|THROUGH|UNTIL|TO|AND|THIS|THE|IN|LATE|EARLY|TODAY|TONIGHT|OVERNIGHT|TOMORROW|"
    r"MORNING|AFTERNOON|EVENING|NIGHT|NOON|MIDNIGHT|(?:SUN|MON|TUES|WEDNES|THURS|FRI|SATUR)DAY|SUN|MON|TUE|WED|THU|FRI|SAT|"
    r"\d{1,4}|AM|PM|[ECP][SD]T|AK[SD]T|HST|CHST|SST|AST)"
)
_CAUTION = re.compile(rf"SMALL CRAFT (?:SHOULD )?EXERCISE CAUTION(?:,? {_TIME})*")
_OUTLOOK = re.compile(
    rf"\b{_EVENT}(?: (?:CONDITIONS?|LEVELS?|CRITERIA))?(?: (?:IS|ARE))? "
    r"(?:POSSIBLE|LIKELY|(?:MAY|MIGHT|COULD|CAN) BE (?:NEEDED|REQUIRED|ISSUED|NECESSARY|MET|REACHED))\b"
)
_SENTENCE_END = re.compile(r"\.(?:\s|$)|\.{2,}")
_CLOSED = re.compile(r"\.{3,}$")
_MOST_LINES = 12


def names_event(text: str) -> bool:
    """Whether ``text`` has the word for a warning, watch, advisory or statement."""
    return bool(_EVENT_WORDS.search(text.upper()))


def headline_meaning(text: str) -> HeadlineMeaning:
    """What a headline means for going out.

    One that names a warning, watch, advisory or statement is a warning, also where it says that the event was
    cancelled or has expired: whether it still holds is told by the official warnings, not by this line. A caution
    is one only if nothing but words for the time stand beside it.
    """
    if names_event(text):
        return HeadlineMeaning.WARNING
    if _CAUTION.fullmatch(text.upper().strip(". ")):
        return HeadlineMeaning.CAUTION
    return HeadlineMeaning.NOT_UNDERSTOOD


def is_whole(headline: str) -> bool:
    """Whether it stands between dots, three at least."""
    return headline.startswith("...") and bool(_CLOSED.search(headline))


def is_among_periods(dotted: str) -> bool:
    """Whether what begins with dots amid the text of periods is a headline, if a damaged one."""
    return names_event(dotted) or dotted.endswith("..")


def take_headline(lines: Sequence[str], start: int) -> tuple[Headline, int]:
    """The headline that begins at ``start`` (``...SMALL CRAFT ADVISORY...``) and the line after it.

    It may wrap; one that isn't closed by dots before a blank line or the next dotted line is not understood.
    """
    at = start
    while at < min(len(lines), start + _MOST_LINES):
        line = lines[at]
        if at > start and (not line or line.startswith(".")):
            break
        at += 1
        if _CLOSED.search(line) and (at > start + 1 or line.strip(".")):
            text = fold(lines[start:at])
            return Headline(text, headline_meaning(text)), at
    return Headline(fold(lines[start:at]), HeadlineMeaning.NOT_UNDERSTOOD), at


def headlines_among(lines: Sequence[str]) -> tuple[Headline, ...]:
    """Dotted headlines and official sentences in lines that aren't any zone's forecast."""
    found: list[Headline] = []
    paragraphs: list[list[str]] = [[]]
    at = 0
    while at < len(lines):
        if lines[at].startswith("."):
            headline, at = take_headline(lines, at)
            found.append(headline)
            continue
        if lines[at]:
            paragraphs[-1].append(lines[at])
        else:
            paragraphs.append([])
        at += 1
    return (*found, *(said for paragraph in paragraphs for said in official_sentences(fold(paragraph))))


def official_sentences(text: str) -> tuple[Headline, ...]:
    """Sentences of ``text`` (folded prose) that name an official event, but for "... may be needed"."""
    sentences = (sentence.strip() for sentence in _SENTENCE_END.split(text))
    return tuple(
        Headline(sentence, HeadlineMeaning.WARNING)
        for sentence in sentences
        if names_event(_OUTLOOK.sub("", sentence.upper()))
    )
