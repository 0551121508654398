"""A coastal or nearshore forecast as understood from its text."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from enum import StrEnum


class HeadlineMeaning(StrEnum):
    WARNING = "warning"  # an official warning, watch or advisory: never fit while it holds
    CAUTION = "caution"  # "should exercise caution": told to the skipper, no bar by itself
    NOT_UNDERSTOOD = "not understood"  # treated as a warning


@dataclass(frozen=True)
class Headline:
    """A line between dots at the head of a zone's segment, verbatim with its line breaks folded."""

    text: str
    meaning: HeadlineMeaning


@dataclass(frozen=True)
class Range:
    """A stated range. ``low`` is None where the text gives only the upper end ("to 25 knots", "2 ft or less").

    Of successive statements the lowest and the highest end; ``low`` is None as soon as one of them has none.
    """

    low: float | None
    high: float


@dataclass(frozen=True)
class AreaState:
    """What a period says of one part of the zone. ``area`` is "" for the zone as a whole.

    A state already holds the worst of all successive states in the period for that part ("15 to 20 knots,
    diminishing to 10" has high 20; "occasionally to 6 feet" counts).
    """

    area: str
    wind_kt: Range | None
    gust_kt: float | None
    wind_from_deg: float | None
    sea_m: Range | None
    sea_whole: bool
    """False where ``sea_m`` is only a part of the sea: wind waves or swell named alone."""
    period_s: float | None
    """Shortest period named."""


@dataclass(frozen=True)
class ForecastPeriod:
    """One ``.LABEL...`` paragraph.

    Attributes:
        label: as printed, upper case, without the dots.
        starts_at, ends_at: aware UTC, or None where the label isn't understood (then no hour is known).
        states: one a named part of the zone; the whole zone's numbers are the worst of them.
        thunder_pct: upper end of the chance its words stand for; 0 where a fully understood period names no
            thunder; None where not understood.
        visibility_nm: lowest its words and numbers for visibility stand for, else None.
        chop: words for sheltered waters ("choppy", "a moderate chop"), several joined by "; ", or "".
        outlooks: sentences such as "A Small Craft Advisory may be needed".
        not_understood: phrases left over, verbatim. Not empty: the period carries no call.
        text: verbatim, line breaks folded.
    """

    label: str
    starts_at: datetime | None
    ends_at: datetime | None
    states: tuple[AreaState, ...]
    thunder_pct: float | None
    visibility_nm: float | None
    chop: str
    outlooks: tuple[str, ...]
    not_understood: tuple[str, ...]
    text: str


@dataclass(frozen=True)
class ZoneForecast:
    """One segment of a bulletin: the zones it speaks for and what it says.

    ``not_understood`` holds lines of the segment's head or foot that fit no known form; not empty means that
    no period of the segment carries a call. A synopsis segment has no periods.
    """

    zones: tuple[str, ...]
    names: tuple[str, ...]
    issued_at: datetime
    expires_at: datetime
    headlines: tuple[Headline, ...]
    periods: tuple[ForecastPeriod, ...]
    synopsis: str
    foot: str
    not_understood: tuple[str, ...]
    text: str


@dataclass(frozen=True)
class ZoneBulletin:
    """A whole text product (CWF, NSH, ...) from one office.

    Attributes:
        headlines: those that stand outside the forecasts of any zone; they speak for every zone.
        not_understood: signs that a zone's segment was lost. Not empty: no segment carries a call, for the one
            that was lost may have been any zone's second.
    """

    product: str
    office: str
    issued_at: datetime
    segments: tuple[ZoneForecast, ...]
    headlines: tuple[Headline, ...]
    not_understood: tuple[str, ...]
    text: str

    def for_zone(self, zone: str) -> tuple[ZoneForecast, ...]:
        """Every segment that speaks for ``zone`` (UGC form, ``GMZ730``) and has periods. Usually one.

        Each also bears what the bulletin as a whole says of all zones, and what is amiss with other segments of
        the zone that have lost their periods.
        """
        named = [segment for segment in self.segments if zone in segment.zones]
        lost = [fault for segment in named if not segment.periods for fault in segment.not_understood]
        return tuple(
            replace(
                segment,
                headlines=(*segment.headlines, *self.headlines),
                not_understood=(*segment.not_understood, *lost, *self.not_understood),
            )
            for segment in named
            if segment.periods
        )
