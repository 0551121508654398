"""Names of places within a period's text: "near South Point", "within 5 nm of Brookings southward".

A place may hold words that aren't on any list, so it needs a word that opens or marks it, its names need
capitals (where the text has small letters at all), and a number ends it unless it is a distance.
"""

from __future__ import annotations

from collections.abc import Sequence

from soakbell.feeds import period_words as words
from soakbell.feeds.period_tokens import ABBREVIATIONS, Token, is_separator
from soakbell.feeds.period_words import Kind

_LONGEST_PLACE = 40
"""In tokens; keeps the time spent on one place bounded."""

_PLACE_STARTS = frozenset({"near", "within", "beyond", "outside", "inside", "past", "off", "out"})
_PLACE_OR_TIME_STARTS = frozenset(
    {"in", "over", "across", "along", "through", "for", "from", "around", "between", "on"}
)
_PLACE_LINKS = frozenset(
    {"of", "the", "off", "out", "from", "near", "within", "beyond", "outside", "inside", "including", "in", "over"}
)
_COMPASS_OK_AFTER = frozenset({"in", "over", "across"})


def _is_name(token: Token, shouting: bool) -> bool:
    return (
        token.kind is None
        and token.low[0].isalpha()
        and token.low not in _NEVER_NAMES
        and (shouting or token.text[0].isupper())
    )


_NEVER_NAMES = words.split_words(
    """up less than under below above exceeding greater more least gale gales storm hurricane tropical force calm
    higher stronger near within beyond outside inside past between across off out very steep hazardous lower lesser
    kn knt kph ms m s advisory advisories warning warnings watch watches statement statements sca craft effect"""
)


def _is_shouting(tokens: Sequence[Token]) -> bool:
    """Whether the sentence is all capitals, as its beginning tells."""
    return all(token.text.isupper() for token in tokens[:_LONGEST_PLACE] if token.low[0].isalpha())


def place_end(tokens: Sequence[Token], start: int) -> int | None:
    """Where a place phrase that begins at ``start`` ends, or None if none begins there."""
    first = tokens[start]
    begins = (
        first.low in _PLACE_STARTS
        or first.low in _PLACE_OR_TIME_STARTS
        or first.kind in (Kind.PLACE, Kind.PORTION)
        or (first.kind is Kind.DIRECTION and _compass_opens_place(tokens, start))
        or (first.is_number and distance_end(tokens, start) is not None)
    )
    if not begins:
        return None
    end, content, compass = _walk_place(tokens, start)
    if content or (compass and first.low in _COMPASS_OK_AFTER):
        return end
    return None


def _walk_place(tokens: Sequence[Token], start: int) -> tuple[int, bool, bool]:
    """Walk on while the tokens can belong to a place; says where it ends and whether it named anything."""
    shouting = _is_shouting(tokens)
    at, end, content, compass = start, start, False, False
    while at < min(len(tokens), start + _LONGEST_PLACE):
        token = tokens[at]
        distance = distance_end(tokens, at) if token.is_number else None
        if distance is not None:
            at = end = distance
            content = True
        elif token.kind in (Kind.PLACE, Kind.PORTION) or _is_name(token, shouting):
            at, content = at + 1, True
            end = at
        elif token.kind is Kind.DIRECTION and (_compass_opens_place(tokens, at) or _closes_place(tokens, at)):
            at, compass = at + 1, True
            end = at
        elif _links_place(tokens, at, start) or (
            token.low in ("and", "to") and at > start and _place_goes_on(tokens, at + 1, shouting)
        ):
            at += 1
        else:
            break
    return end, content, compass


def _links_place(tokens: Sequence[Token], at: int, start: int) -> bool:
    token = tokens[at]
    if token.low == ".":
        return tokens[at - 1].low in (*ABBREVIATIONS, "s")
    return token.low in _PLACE_LINKS or (at == start and token.low in _PLACE_STARTS | _PLACE_OR_TIME_STARTS)


def _compass_opens_place(tokens: Sequence[Token], at: int) -> bool:
    after = tokens[at + 1] if at + 1 < len(tokens) else None
    if after is None:
        return False
    if after.low == "of":
        return at + 2 < len(tokens)
    if after.low == "and" and at + 3 < len(tokens) and tokens[at + 2].kind is Kind.DIRECTION:
        return tokens[at + 3].low == "of" or tokens[at + 3].kind is Kind.PORTION
    return after.kind in (Kind.PORTION, Kind.PLACE) or (
        after.kind is None
        and after.text[0].isupper()
        and after.low not in _NEVER_NAMES
        and not _is_shouting(tokens)
    )


def _closes_place(tokens: Sequence[Token], at: int) -> bool:
    return at > 0 and tokens[at - 1].low == "the"


def _place_goes_on(tokens: Sequence[Token], at: int, shouting: bool) -> bool:
    if at < len(tokens) and tokens[at].low == "the":
        at += 1
    if at >= len(tokens):
        return False
    token = tokens[at]
    if token.is_number:
        return distance_end(tokens, at) is not None
    if token.kind is Kind.DIRECTION:
        return _compass_opens_place(tokens, at)
    return token.kind in (Kind.PLACE, Kind.PORTION) or token.low in _PLACE_STARTS or _is_name(token, shouting)


def distance_end(tokens: Sequence[Token], at: int) -> int | None:
    """End of ``5 nm``, ``20 to 60 nautical miles``; None where the number is no distance."""
    end = at + 1
    if end + 1 < len(tokens) and tokens[end].low in ("to", "and") and tokens[end + 1].is_number:
        end += 2
    if end >= len(tokens) or tokens[end].kind not in (Kind.NAUTICAL_MILE, Kind.STATUTE_MILE):
        return None
    end += 1
    if end < len(tokens) and tokens[end].kind is Kind.STATUTE_MILE and tokens[end - 1].low == "nautical":
        end += 1
    return end


def leading_place(tokens: Sequence[Token]) -> tuple[int, int] | None:
    """Ends of a place before a comma at the head of a sentence (place, comma), or None."""
    shouting = _is_shouting(tokens)
    first = tokens[0]
    named = _is_name(first, shouting)
    if place_end(tokens, 0) is None and not named:
        return None
    end, content, _ = _walk_place(tokens, 0)
    if not content or end + 1 >= len(tokens) or not is_separator(tokens[end]):
        return None
    if named and not any(token.kind in (Kind.PORTION, Kind.PLACE) for token in tokens[:end]):
        return None
    return end, end + 1
