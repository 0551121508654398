"""One payload of any kind, understood and told."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from soakbell.errors import NotUnderstood
from soakbell.feeds.detect import PayloadKind, kind_of
from soakbell.reading.alerts import read_alerts, tell_alerts
from soakbell.reading.grid import read_grid, tell_grid
from soakbell.reading.observations import read_latest, read_other_table, read_station, tell_latest, tell_station
from soakbell.reading.others import (
    read_levels,
    read_other_text,
    read_point_forecast,
    read_product_list,
    read_second_opinion,
    read_tide_stations,
    read_tides,
    refuse,
    tell_product_list,
)
from soakbell.reading.places import read_point, read_zone
from soakbell.reading.printing import Facts, printable, tell_pairs, within, wrapped
from soakbell.reading.warning_text import read_warning_text, tell_warning_text
from soakbell.reading.zone_text import read_zone_text, tell_zone_text

READER_FAILED = "the reader itself failed"
"""Begins the reason of a refusal that is a fault of the house, not of the payload."""

NOT_USED = frozenset(
    {
        PayloadKind.POINT_FORECAST,
        PayloadKind.TIDE_PREDICTIONS,
        PayloadKind.WATER_LEVELS,
        PayloadKind.STATION_METADATA,
        PayloadKind.SECOND_OPINION,
        PayloadKind.NDBC_OCEAN,
        PayloadKind.OTHER_TEXT,
    }
)
"""Kinds that are known, but on which no call rests."""


@dataclass(frozen=True)
class Understood:
    """One payload as understood.

    Attributes:
        name: what the caller calls it, a file's name for one.
        facts: what it says, in values that JSON has; times are UTC in ISO 8601, names of numbers end in the
            unit, null is a hole. Empty where refused.
        not_understood: phrases and parts that were left over, each with the place it stands in.
        refused: why it can't be read as its kind; None where it can.
    """

    name: str
    kind: PayloadKind
    facts: Facts = field(repr=False)
    not_understood: tuple[str, ...]
    refused: str | None

    @property
    def used(self) -> bool:
        """Whether a call may rest on this payload."""
        return self.refused is None and self.kind not in NOT_USED


def understand(body: bytes, name: str = "") -> Understood:
    """Tell what a payload says. Never raises.

    Args:
        name: of the file; for observations the part before the dot is taken as the station's id.
    """
    kind = kind_of(body)
    not_understood: list[str] = []
    try:
        facts = READERS[kind](body, name, not_understood)
    except NotUnderstood as fault:
        return Understood(name, kind, {}, (), str(fault))
    except Exception as fault:  # of one strange file among many the others are still told
        return Understood(name, kind, {}, (), f"{READER_FAILED}: {type(fault).__name__}: {fault}")
    return Understood(name, kind, facts, tuple(not_understood), None)


def as_json(understood: Understood) -> str:
    """The same as JSON in plain ASCII: fixed order of keys, holes and numbers that are none as null."""
    told = {
        "name": understood.name,
        "kind": understood.kind.name.lower(),
        "kind_told": understood.kind.value,
        "used": understood.used,
        "refused": understood.refused,
        "not_understood": list(understood.not_understood),
        "facts": understood.facts,
    }
    return json.dumps(told, indent=2, allow_nan=False)


def as_text(understood: Understood) -> str:
    """The same for a terminal: at most WIDTH columns, no control characters, a line break at the end."""
    title = f"{understood.name}: {understood.kind.value}" if understood.name else understood.kind.value
    lines = wrapped(title)
    if understood.refused is not None:
        lines += wrapped(f"REFUSED: {understood.refused}", "  ")
    else:
        if not understood.used:
            lines.append("  Not used: no call rests on it.")
        lines += TELLERS.get(understood.kind, tell_pairs)(understood.facts)
        lines += _not_understood_lines(understood)
    return "".join(f"{printable(part).rstrip()}\n" for line in lines for part in within(line))


def _not_understood_lines(understood: Understood) -> list[str]:
    if understood.kind in NOT_USED:
        return []
    if not understood.not_understood:
        return ["", "All of it was understood."]
    lines = ["", f"Not understood ({len(understood.not_understood)}):"]
    return lines + [line for phrase in understood.not_understood for line in wrapped(phrase, "  ", "  ")]


Reader = Callable[[bytes, str, list[str]], Facts]

READERS: Mapping[PayloadKind, Reader] = {
    PayloadKind.ZONE_TEXT: read_zone_text,
    PayloadKind.WARNING_TEXT: read_warning_text,
    PayloadKind.OTHER_TEXT: read_other_text,
    PayloadKind.PRODUCT_LIST: read_product_list,
    PayloadKind.GRID: read_grid,
    PayloadKind.POINT_FORECAST: read_point_forecast,
    PayloadKind.ALERTS: read_alerts,
    PayloadKind.POINT: read_point,
    PayloadKind.ZONE: read_zone,
    PayloadKind.PROBLEM: refuse,
    PayloadKind.NDBC_REALTIME: read_station,
    PayloadKind.NDBC_CWIND: read_station,
    PayloadKind.NDBC_SPEC: read_station,
    PayloadKind.NDBC_STDMET: read_station,
    PayloadKind.NDBC_OCEAN: read_other_table,
    PayloadKind.NDBC_LATEST: read_latest,
    PayloadKind.TIDE_PREDICTIONS: read_tides,
    PayloadKind.WATER_LEVELS: read_levels,
    PayloadKind.STATION_METADATA: read_tide_stations,
    PayloadKind.SECOND_OPINION: read_second_opinion,
    PayloadKind.HTML: refuse,
    PayloadKind.UNKNOWN: refuse,
}
TELLERS: Mapping[PayloadKind, Callable[[Facts], list[str]]] = {
    PayloadKind.ZONE_TEXT: tell_zone_text,
    PayloadKind.WARNING_TEXT: tell_warning_text,
    PayloadKind.GRID: tell_grid,
    PayloadKind.ALERTS: tell_alerts,
    PayloadKind.PRODUCT_LIST: tell_product_list,
    PayloadKind.NDBC_REALTIME: tell_station,
    PayloadKind.NDBC_CWIND: tell_station,
    PayloadKind.NDBC_SPEC: tell_station,
    PayloadKind.NDBC_STDMET: tell_station,
    PayloadKind.NDBC_LATEST: tell_latest,
}
