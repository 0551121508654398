"""The warning text, segment by segment."""

from __future__ import annotations

from collections.abc import Sequence

from soakbell.feeds.warning_text import SegmentState, WarningSegment, parse_warning_text
from soakbell.reading.printing import Facts, labelled, time_fact, time_words, wrapped, zones_line
from soakbell.reading.segments import headline_facts, strange_in, tell_headlines
from soakbell.reading.vtecs import STATES, tell_vtecs, vtec_facts


def read_warning_text(body: bytes, _: str, not_understood: list[str]) -> Facts:
    bulletin = parse_warning_text(body)
    for segment in bulletin.segments:
        not_understood += strange_in(segment)
    return {
        "product": bulletin.product,
        "office": bulletin.office,
        "issued_at": time_fact(bulletin.issued_at),
        "segments": [_warning_facts(segment) for segment in bulletin.segments],
    }


def _warning_facts(segment: WarningSegment) -> Facts:
    vtecs = [vtec_facts(vtec, segment.issued_at) for vtec in segment.vtec]
    return {
        "zones": list(segment.zones),
        "names": list(segment.names),
        "state": _segment_state(segment.state, vtecs),
        "issued_at": time_fact(segment.issued_at),
        "expires_at": time_fact(segment.expires_at),
        "vtec": vtecs,
        "headlines": headline_facts(segment.headlines),
        "text": segment.text,
        "not_understood": list(segment.not_understood),
    }


def _segment_state(state: SegmentState, vtecs: Sequence[Facts]) -> str:
    """The state at the time of issue; where several events differ, the one told first."""
    if state is SegmentState.STATEMENT:
        return "in force (a statement, until it expires)"
    if state is SegmentState.NOT_UNDERSTOOD:
        return "not understood, so to be taken as in force"
    return min((str(vtec["state"]) for vtec in vtecs), key=STATES.index)


def tell_warning_text(facts: Facts) -> list[str]:
    lines = [
        f"  {facts['product']} from {facts['office']}, issued {time_words(facts['issued_at'])}. "
        "States are reckoned at that time; times are UTC."
    ]
    for segment in facts["segments"]:
        lines += ["", *zones_line(segment["zones"])]
        lines += [line for name in segment["names"] for line in wrapped(name, "  ")]
        expires = time_words(segment["expires_at"]) if segment["expires_at"] else "at a time that can't be read"
        lines += wrapped(f"{segment['state'].upper()}; this text expires {expires}", "  ")
        lines += tell_vtecs(segment["vtec"])
        lines += tell_headlines(segment["headlines"])
        lines += [line for lost in segment["not_understood"] for line in labelled("! lost", lost)]
    return lines
