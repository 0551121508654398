"""The tokens and sentences of a period's text."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import NamedTuple

from soakbell.feeds import period_words as words
from soakbell.feeds.period_words import Kind

_TOKEN = re.compile(r"[0-9]+(?:\.[0-9]+)?|[A-Za-z]+(?:'[A-Za-z]+)?|\.{2,}|[.,;:()/%+&-]|\S")
_FIGURES = frozenset("0123456789")
ABBREVIATIONS = frozenset({"st", "pt", "mt", "u", "ste", "pte"})
_CLAUSE_ENDS = frozenset({",", ";", ":"})


class Token(NamedTuple):
    text: str
    low: str
    start: int
    end: int
    kind: Kind | None
    is_number: bool


def tokens_of(text: str) -> list[Token]:
    tokens = []
    for found in _TOKEN.finditer(text):
        piece = found.group()
        low = piece.lower()
        if piece[0] in _FIGURES and _is_stuck(text, found.start()):
            tokens.append(Token(piece, f"?{low}", found.start(), found.end(), None, False))
            continue
        kind = None if piece in words.UNCAPITALISED_DAYS else words.CLASSES.get(low)
        tokens.append(Token(piece, low, found.start(), found.end(), kind, piece[0] in _FIGURES))
    return tokens


def _is_stuck(text: str, start: int) -> bool:
    """Whether figures stand at a letter or comma without a blank, as where a byte before them was damaged."""
    return start > 0 and (text[start - 1].isalpha() or text[start - 1] in ",;")


def sentences_of(tokens: Sequence[Token]) -> list[list[Token]]:
    sentences: list[list[Token]] = []
    sentence: list[Token] = []
    for at, token in enumerate(tokens):
        if token.low == "." and not _is_abbreviation(tokens, at):
            sentences.append(sentence)
            sentence = []
        else:
            sentence.append(token)
    sentences.append(sentence)
    return [found for found in sentences if found]


def _is_abbreviation(tokens: Sequence[Token], at: int) -> bool:
    before = tokens[at - 1].low if at else ""
    if before in ABBREVIATIONS:
        return True
    return before == "s" and at >= 3 and tokens[at - 2].low == "." and tokens[at - 3].low == "u"


def is_separator(token: Token) -> bool:
    return token.low in _CLAUSE_ENDS or token.low.startswith("..")
