"""Coastal, nearshore, open-lake and offshore forecasts as text (CWF, NSH, GLF, OFF).

Source of the form: NWS Instruction 10-310. Every line of a segment is accounted for; a line that fits no known
form makes its segment *not understood*, a phrase that fits none makes its period so.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from soakbell.feeds.bulletin import Segment, fold, lost_lines, read_bulletin, zone_names
from soakbell.feeds.headlines import (
    headline_meaning,
    headlines_among,
    is_among_periods,
    is_whole,
    names_event,
    official_sentences,
    take_headline,
)
from soakbell.feeds.period_labels import Interval, period_spans
from soakbell.feeds.period_text import read_period
from soakbell.feeds.period_words import HIGHER_IN_STORMS
from soakbell.sea.zone_forecast import ForecastPeriod, Headline, ZoneBulletin, ZoneForecast

PRODUCTS = frozenset({"CWF", "NSH", "GLF", "OFF"})

_NO_LABEL = "?"
"""Stands before the text of a dotted line that has no label, where the label would be."""

_LABEL = re.compile(r"\. ?([A-Za-z][A-Za-z' ]*?) ?\.{3,} ?(.*)")
_NOTE = re.compile(r"\.? ?(?:SYNOPSIS|GULF STREAM|THE GULF STREAM)\b", re.IGNORECASE)
_SYNOPSIS = re.compile(r"\. ?SYNOPSIS\b", re.IGNORECASE)
_SYNOPSIS_TITLE = re.compile(r"\.? ?SYNOPSIS\b", re.IGNORECASE)
_GULF_STREAM = re.compile(r"\.? ?(?:THE )?GULF STREAM\b", re.IGNORECASE)
_FOOT = (
    HIGHER_IN_STORMS,
    re.compile(r"unless otherwise noted,? (?:waves|seas) \d+ (?:foot|feet|ft) or less", re.IGNORECASE),
    re.compile(r"[\w' ]+ water temperature (?:around |near )?\d+ degrees", re.IGNORECASE),
    re.compile(r"see the (?:open lakes?|nearshore|offshore) forecast for days \w+ through \w+", re.IGNORECASE),
)
"""Remarks under the periods. "Unless otherwise noted, waves 1 foot or less" is not used as a number: a period
whose own height was lost would read as calm."""


@dataclass
class _Parts:
    """Lines of a segment's body, sorted by what they are."""

    headlines: list[Headline] = field(default_factory=list)
    labels: list[str] = field(default_factory=list)
    paragraphs: list[list[str]] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    foot: list[list[str]] = field(default_factory=list)
    unknown: list[str] = field(default_factory=list)


def parse_zone_text(body: bytes | str) -> ZoneBulletin:
    """A forecast bulletin, raw or within the API's JSON.

    Raises:
        NotUnderstood: the frame of the bulletin is damaged, it is another product, it isn't marine, or its issue
            times disagree. What is wrong within one segment or period is kept there as ``not_understood``.
    """
    bulletin = read_bulletin(body, products=PRODUCTS)
    segments = tuple(_forecast(segment, bulletin.issued_at) for segment in bulletin.segments)
    adrift = [segment for segment in segments if all(period.starts_at is None for period in segment.periods)]
    nameless = [fault for segment in segments if not segment.zones for fault in segment.not_understood]
    return ZoneBulletin(
        product=bulletin.product,
        office=bulletin.office,
        issued_at=bulletin.issued_at,
        segments=segments,
        headlines=(
            *headlines_among(bulletin.preamble),
            *headlines_among(bulletin.strays),
            *(headline for segment in adrift for headline in _headlines_adrift(segment)),
        ),
        not_understood=(*nameless, *(f"a lost segment: {line}" for line in lost_lines(bulletin))),
        text=bulletin.text,
    )


def _headlines_adrift(segment: ZoneForecast) -> tuple[Headline, ...]:
    """Headlines of a segment without periods of known time: whom they are meant for can't be told."""
    headlines = list(segment.headlines)
    for period in segment.periods:
        if period.label.startswith(_NO_LABEL):
            headlines.append(Headline(period.text, headline_meaning(period.text)))
        else:
            headlines.extend(official_sentences(f"{period.label} {period.text}"))
    return tuple(headlines)


def _forecast(segment: Segment, bulletin_issued_at: datetime) -> ZoneForecast:
    parts = _sort_lines(segment.body)
    for prose in (segment.heading, parts.notes, parts.unknown):
        parts.headlines.extend(official_sentences(fold(prose)))
    periods = _periods(segment, parts)
    return ZoneForecast(
        zones=segment.zones,
        names=zone_names(segment.heading),
        issued_at=segment.issue.issued_at if segment.issue else bulletin_issued_at,
        expires_at=segment.expires_at or bulletin_issued_at,
        headlines=tuple(parts.headlines),
        periods=periods,
        synopsis=fold(parts.notes if periods else segment.body),
        foot=" ".join(map(fold, parts.foot)),
        not_understood=(*segment.faults, *_faults(segment, parts, periods)),
        text=segment.text,
    )


def _faults(segment: Segment, parts: _Parts, periods: Sequence[ForecastPeriod]) -> Iterator[str]:
    """What fits no known form. A segment without periods is a synopsis, or they were lost."""
    if not periods:
        if not any(_SYNOPSIS_TITLE.match(line) for line in (*segment.heading, *parts.notes)):
            yield "the segment has no forecast periods"
        return
    if segment.heading and not segment.heading[-1].endswith("-"):
        yield from segment.heading
    yield from parts.unknown
    yield from (line for line in parts.notes if _GULF_STREAM.match(line))
    yield from (headline.text for headline in parts.headlines if not is_whole(headline.text))
    yield from _damaged_headlines(periods)
    yield from (foot for foot in map(fold, parts.foot) if not _is_known_foot(foot))


def _sort_lines(lines: Sequence[str]) -> _Parts:
    parts = _Parts()
    paragraph: list[str] | None = None
    at = 0
    while at < len(lines):
        line = lines[at]
        headline, after = take_headline(lines, at) if line.startswith("..") else (None, at)
        at += 1
        if not line:
            paragraph = None
        elif _opens_note(line, parts):
            paragraph = parts.notes
            paragraph.append(line)
        elif paragraph is parts.notes and not line.startswith("."):
            parts.notes.append(line)
        elif headline is not None and (
            not parts.labels or is_among_periods(line) or is_among_periods(headline.text)
        ):
            parts.headlines.append(headline)
            paragraph, at = None, after
        elif line.startswith(".") and (not line.startswith("..") or paragraph is None or paragraph is parts.notes):
            paragraph = _open_period(line, parts)
        elif paragraph is not None:
            paragraph.append(line)
        elif not parts.labels:
            _sort_outside(line, parts)
        else:
            paragraph = [line]
            parts.foot.append(paragraph)
    return parts


def _opens_note(line: str, parts: _Parts) -> bool:
    """Within the periods only ``.SYNOPSIS`` does: a wrapped line may begin with "Gulf Stream where winds ..."."""
    return bool((_SYNOPSIS if parts.labels else _NOTE).match(line))


def _open_period(line: str, parts: _Parts) -> list[str]:
    found = _LABEL.fullmatch(line)
    label, rest = found.groups() if found else (line.strip(". ")[:40], line)
    paragraph = [rest]
    parts.labels.append(label.upper() if found else f"{_NO_LABEL} {label}")
    parts.paragraphs.append(paragraph)
    return paragraph


def _sort_outside(line: str, parts: _Parts) -> None:
    """Lines between the issue line and the first period that are no headline: a synopsis runs on over blanks."""
    if parts.notes:
        parts.notes.append(line)
    else:
        parts.unknown.append(line)


def _is_known_foot(text: str) -> bool:
    sentences = [part.strip() for part in text.split(".") if part.strip()]
    return all(any(form.fullmatch(sentence) for form in _FOOT) for sentence in sentences)


def _periods(segment: Segment, parts: _Parts) -> tuple[ForecastPeriod, ...]:
    spans = _spans(segment, parts.labels)
    return tuple(
        _period(label, span, fold(paragraph))
        for label, span, paragraph in zip(parts.labels, spans, parts.paragraphs, strict=True)
    )


def _damaged_headlines(periods: Sequence[ForecastPeriod]) -> list[str]:
    """Dotted lines that are no periods and may be headlines: one that stands first, or names an event."""
    return [
        f"{period.label} {period.text}"
        for at, period in enumerate(periods)
        if period.starts_at is None and (at == 0 or names_event(f"{period.label} {period.text}"))
    ]


def _spans(segment: Segment, labels: Sequence[str]) -> list[Interval | None]:
    if segment.issue is None:
        return [None] * len(labels)
    return period_spans(labels, segment.issue.issued_at, segment.issue.clocks)


def _period(label: str, span: Interval | None, text: str) -> ForecastPeriod:
    says = read_period(text)
    leftover = says.not_understood
    if span is None:
        leftover = (f"period name: {label}", *leftover)
    if not text:
        leftover = (*leftover, "the period says nothing")
    return ForecastPeriod(
        label=label,
        starts_at=None if span is None else span.starts_at,
        ends_at=None if span is None else span.ends_at,
        states=says.states,
        thunder_pct=says.thunder_pct if not leftover or says.thunder_pct else None,
        visibility_nm=says.visibility_nm,
        chop=says.chop,
        outlooks=says.outlooks,
        not_understood=leftover,
        text=text,
    )
