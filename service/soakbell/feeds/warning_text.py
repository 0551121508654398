"""Marine warnings as text products: MWW (long-fused), MWS (statements), SMW (special marine warning).

Sources of the form: NWS Instructions 10-303, 10-313, 10-315 (products), 10-1703 (VTEC). One message may cancel an
event for some zones and continue it for others, so each segment speaks for its own zones only.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from soakbell.errors import NotUnderstood
from soakbell.feeds.bulletin import Bulletin, Segment, lost_lines, read_bulletin, zone_names
from soakbell.feeds.headlines import take_headline
from soakbell.sea.vtec import ENDING_ACTIONS, parse_vtec
from soakbell.sea.warnings import Vtec
from soakbell.sea.zone_forecast import Headline

PRODUCTS = frozenset({"MWW", "MWS", "SMW"})


class SegmentState(StrEnum):
    """What a segment does for its zones."""

    IN_FORCE = "in force"  # at least one event holds, has been issued for later, or runs to its stated end
    ENDED = "ended"  # every event in it was cancelled or replaced
    STATEMENT = "statement"  # no VTEC: words only, they hold until the segment expires
    NOT_OPERATIONAL = "not operational"  # test or experimental VTEC only
    NOT_UNDERSTOOD = "not understood"  # to be treated as in force


@dataclass(frozen=True)
class WarningSegment:
    """What stands between one zone line and its ``$$``.

    Attributes:
        zones: UGC ids; empty where the zone line is damaged, then the segment may concern any zone.
        standing, ended: its VTEC strings by what they do; an expiring event (EXP) stands to its end time.
        expires_at: when the segment, not the event, runs out; None where that can't be read.
        text: verbatim and in full.
    """

    zones: tuple[str, ...]
    names: tuple[str, ...]
    issued_at: datetime
    expires_at: datetime | None
    state: SegmentState
    standing: tuple[Vtec, ...]
    ended: tuple[Vtec, ...]
    headlines: tuple[Headline, ...]
    text: str
    not_understood: tuple[str, ...]

    @property
    def vtec(self) -> tuple[Vtec, ...]:
        return (*self.standing, *self.ended)


@dataclass(frozen=True)
class WarningBulletin:
    """A whole warning product from one office."""

    product: str
    office: str
    issued_at: datetime
    segments: tuple[WarningSegment, ...]
    text: str

    def for_zone(self, zone: str) -> tuple[WarningSegment, ...]:
        """Segments that speak for ``zone``, and those whose zones can't be read."""
        return tuple(segment for segment in self.segments if zone in segment.zones or not segment.zones)


def parse_warning_text(body: bytes | str) -> WarningBulletin:
    """A warning bulletin, raw or within the API's JSON.

    Raises:
        NotUnderstood: the frame is damaged, it is another product, it isn't marine, its issue times disagree,
            or text stands where a segment with a damaged zone line would be.
    """
    bulletin = read_bulletin(body, products=PRODUCTS)
    _refuse_lost_segments(bulletin)
    return WarningBulletin(
        product=bulletin.product,
        office=bulletin.office,
        issued_at=bulletin.issued_at,
        segments=tuple(_warning(segment, bulletin) for segment in bulletin.segments),
        text=bulletin.text,
    )


def _refuse_lost_segments(bulletin: Bulletin) -> None:
    lost = [*(line for line in bulletin.preamble if line.startswith("/")), *lost_lines(bulletin)]
    if lost:
        raise NotUnderstood(f"text stands outside the segments of a warning bulletin: {lost[0]!r}")


def _warning(segment: Segment, bulletin: Bulletin) -> WarningSegment:
    faults = list(segment.faults)
    vtecs = _vtecs(segment.vtec, faults)
    headlines = _headlines(segment.body)
    standing = tuple(vtec for vtec in vtecs if vtec.action not in ENDING_ACTIONS)
    ended = tuple(vtec for vtec in vtecs if vtec.action in ENDING_ACTIONS)
    return WarningSegment(
        zones=segment.zones,
        names=zone_names(segment.heading),
        issued_at=segment.issue.issued_at if segment.issue else bulletin.issued_at,
        expires_at=segment.expires_at,
        state=_state(standing, ended, faults),
        standing=standing,
        ended=ended,
        headlines=headlines,
        text=segment.text,
        not_understood=tuple(faults),
    )


def _vtecs(lines: Sequence[str], faults: list[str]) -> list[Vtec]:
    vtecs = []
    for line in lines:
        try:
            vtecs.append(parse_vtec(line))
        except NotUnderstood as fault:
            faults.append(str(fault))
    return vtecs


def _state(standing: Sequence[Vtec], ended: Sequence[Vtec], faults: Sequence[str]) -> SegmentState:
    if faults:
        return SegmentState.NOT_UNDERSTOOD
    vtecs = [*standing, *ended]
    if not vtecs:
        return SegmentState.STATEMENT
    operational = [vtec for vtec in vtecs if vtec.product_class in ("O", "X")]
    if not operational:
        return SegmentState.NOT_OPERATIONAL
    if any(vtec.action not in ENDING_ACTIONS for vtec in operational):
        return SegmentState.IN_FORCE
    return SegmentState.ENDED


def _headlines(lines: Sequence[str]) -> tuple[Headline, ...]:
    headlines = []
    at = 0
    while at < len(lines):
        if not lines[at].startswith("..."):
            at += 1
            continue
        headline, at = take_headline(lines, at)
        headlines.append(headline)
    return tuple(headlines)
