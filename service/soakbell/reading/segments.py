"""What the segments of texts have in common: headlines, and what was not understood of them."""

from __future__ import annotations

from collections.abc import Iterable

from soakbell.feeds.warning_text import WarningSegment
from soakbell.reading.printing import Facts, some_zones, wrapped
from soakbell.sea.zone_forecast import Headline, HeadlineMeaning, ZoneForecast


def headline_facts(headlines: Iterable[Headline]) -> list[Facts]:
    return [{"text": headline.text, "meaning": headline.meaning.value} for headline in headlines]


def strange_headlines(headlines: Iterable[Headline], where: str) -> list[str]:
    return [f"{where} headline: {h.text}" for h in headlines if h.meaning is HeadlineMeaning.NOT_UNDERSTOOD]


def strange_in(segment: ZoneForecast | WarningSegment) -> list[str]:
    """What was not understood of a segment beside its periods, each with the zones it stands for."""
    where = some_zones(segment.zones)
    return [f"{where}: {phrase}" for phrase in segment.not_understood] + strange_headlines(
        segment.headlines, where
    )


def tell_headlines(headlines: Iterable[Facts]) -> list[str]:
    return [line for h in headlines for line in wrapped(f"{h['meaning'].upper()}: {h['text']}", "  ")]
