"""Headlines of texts."""

from __future__ import annotations

from collections.abc import Iterable

from soakbell.reading.printing import Facts, wrapped
from soakbell.sea.zone_forecast import Headline, HeadlineMeaning


def headline_facts(headlines: Iterable[Headline]) -> list[Facts]:
    return [{"text": headline.text, "meaning": headline.meaning.value} for headline in headlines]


def strange_headlines(headlines: Iterable[Headline], where: str) -> list[str]:
    return [f"{where} headline: {h.text}" for h in headlines if h.meaning is HeadlineMeaning.NOT_UNDERSTOOD]


def tell_headlines(headlines: Iterable[Facts]) -> list[str]:
    return [line for h in headlines for line in wrapped(f"{h['meaning'].upper()}: {h['text']}", "  ")]
