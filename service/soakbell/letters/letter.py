"""Letters, from data to subject, text, page and files; the morning letter first of all."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any, Literal

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from soakbell.letters.chart import chart_png, day_in_numbers, gusts_below_wind
from soakbell.letters.facts import LetterFacts
from soakbell.letters.page import SECTIONS, TEXT_COLUMNS, page_of
from soakbell.letters.pull_day import pull_day_ics
from soakbell.letters.times import HarborTimes
from soakbell.letters.track import strings_gpx
from soakbell.planning.ashore import Ashore
from soakbell.planning.call import Call
from soakbell.planning.season_told import SeasonAhead
from soakbell.planning.week import Week

LetterKind = Literal["morning", "changed"]
CHART_CID = "chart@soakbell"


@dataclass(frozen=True)
class Attachment:
    """A file of a letter. ``cid`` is set for a picture that the HTML shows, without its angle brackets."""

    filename: str
    maintype: str
    subtype: str
    content: bytes
    cid: str | None = None


@dataclass(frozen=True)
class Letter:
    """A letter before it is a message: the text says by itself all that the HTML says."""

    subject: str
    text: str
    html: str
    attachments: tuple[Attachment, ...]


def morning_letter(
    call: Call,
    facts: LetterFacts,
    *,
    kind: LetterKind,
    previous: Call | None,
    ashore: Ashore | None = None,
    week: Week | None = None,
    season: SeasonAhead | None = None,
) -> Letter:
    """The letter of one call.

    Args:
        call: today's call.
        facts: what the letter says around it.
        kind: ``changed`` for a CHANGED CALL, which needs ``previous``.
        previous: the call that the last letter of the day told, or None.
        ashore: bait, gear and bench beside the call; None where the skipper hasn't set them up.
        week: the plan beside the call; None where there is none.
        season: its end, where it is in sight.

    Raises:
        ValueError: the call contradicts itself, or the letters lack words for a part of it.
    """
    times = HarborTimes(facts.zone_name, call.day)
    before = previous if kind == "changed" else None
    chart = chart_png(call, times) if "chart" in SECTIONS[call.word] else None
    page = page_of(
        call,
        facts,
        changed=kind == "changed",
        previous=before,
        day_in_numbers=day_in_numbers(call, times),
        gusts_below_wind=gusts_below_wind(call, times),
        has_chart=chart is not None,
        ashore=ashore,
        week=week,
        season=season,
    )
    attachments: list[Attachment] = []
    if chart is not None:
        attachments.append(Attachment("chart.png", "image", "png", chart, CHART_CID))
    calendar = pull_day_ics(call, facts, before)
    if calendar is not None:
        attachments.append(Attachment("pull-day.ics", "text", "calendar", calendar))
    if call.window is not None:
        attachments.append(
            Attachment("strings.gpx", "application", "gpx+xml", strings_gpx(call, call.window, facts))
        )
    return written("morning", {"page": page, "chart_cid": CHART_CID}, tuple(attachments))


def written(template: str, values: Mapping[str, object], attachments: tuple[Attachment, ...] = ()) -> Letter:
    """The letter of the templates ``<template>.subject.txt``, ``<template>.txt`` and ``<template>.html``."""
    subject = _plain().get_template(f"{template}.subject.txt").render(values).removesuffix("\n")
    return Letter(
        subject=subject,
        text=_plain().get_template(f"{template}.txt").render(values),
        html=_marked_up().get_template(f"{template}.html").render({**values, "subject": subject}),
        attachments=attachments,
    )


def page_html(template: str, values: Mapping[str, object]) -> str:
    """A page that is no letter, of the template ``<template>.html``."""
    return _marked_up().get_template(f"{template}.html").render(values)


@cache
def _plain() -> Environment:
    env = Environment(autoescape=False, **_common())  # noqa: S701 - text parts only, never HTML
    env.filters["wrap"] = wrapped
    env.filters["item"] = item
    env.filters["official"] = official
    return env


@cache
def _marked_up() -> Environment:
    return Environment(autoescape=True, **_common())


def _common() -> dict[str, Any]:
    return {
        "loader": PackageLoader("soakbell.letters"),
        "undefined": StrictUndefined,
        "finalize": printable,
        "trim_blocks": True,
        "lstrip_blocks": True,
        "keep_trailing_newline": True,
    }


def printable(value: Any) -> Any:
    """Without control characters and lone surrogates. Line ends stay, so that headers can refuse them."""
    if not isinstance(value, str):
        return value
    kept = "".join(c for c in value if c in "\r\n\t" or not (ord(c) < 32 or 0x7F <= ord(c) < 0xA0))
    clean = kept.encode("utf-8", "replace").decode("utf-8")
    return Markup(clean) if isinstance(value, Markup) else clean  # noqa: S704 - was markup before


_UNIT = re.compile(r"(?<=\d) (?=(?:kt|ft|m|nmi|s|h|min|days)\b)")
_GLUE = "\0"


def wrapped(text: str, hang: int = 0) -> str:
    """A paragraph of at most 72 columns, numbers kept with their units; a longer address stays whole."""
    lines = textwrap.fill(
        _UNIT.sub(_GLUE, " ".join(text.split())),
        TEXT_COLUMNS,
        subsequent_indent=" " * hang,
        break_long_words=False,
        break_on_hyphens=False,
    )
    return lines.replace(_GLUE, " ")


def item(text: str) -> str:
    """A point of a list, hanging by two columns."""
    return wrapped(text, hang=2)


def official(line: str) -> str:
    """One line of official text as it is; only a line wider than the page is folded at a blank."""
    return line if len(line) <= TEXT_COLUMNS else wrapped(line)
