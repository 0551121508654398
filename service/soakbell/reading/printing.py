"""Values as JSON has them, and lines for a terminal."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime
from typing import Any

from soakbell import units
from soakbell.sea.zone_forecast import Range

WIDTH = 100
"""Columns of the plain text."""

_POINTS = ("N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE", "S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW")

_PLAIN_NAMES: Mapping[str, str] = {
    "wind_kt": "wind",
    "gust_kt": "gusts",
    "wind_from_deg": "wind direction",
    "sea_m": "seas",
    "period_s": "wave period",
    "thunder_pct": "thunder",
    "visibility_nm": "visibility",
}

Facts = dict[str, Any]

COLUMN_HEADS: Mapping[str, str] = {
    "wind_kt": "wind kt",
    "gust_kt": "gust kt",
    "wind_from_deg": "from",
    "sea_ft": "sea ft",
    "sea_m": "sea m",
    "period_s": "period s",
    "thunder_pct": "thunder %",
    "visibility_nm": "visibility nmi",
}


def column_cell(row: Facts, column: str) -> str:
    value = row[column]
    if value is None:
        return "-"
    shown = f"{compass_point(value)} {value:03.0f}" if column == "wind_from_deg" else shown_number(value)
    return f"{shown}?" if column.replace("sea_ft", "sea_m") in row["in_part"] else shown


def count_facts(count: int, first_at: str | None, last_at: str | None) -> Facts:
    return {"count": count, "first_at": first_at, "last_at": last_at}


def tell_pairs(facts: Facts) -> list[str]:
    return [line for key, value in facts.items() for line in _pair(key.replace("_", " "), value)]


def _pair(key: str, value: object) -> list[str]:
    if isinstance(value, list) and value and isinstance(value[0], dict):
        return [line for item in value for line in _pair(key, item)]
    if isinstance(value, dict):
        value = [f"{name} {_as_given(part)}" for name, part in value.items()]
    if isinstance(value, list):
        value = ", ".join(map(str, value)) or "none"
    if key.endswith(" at") and isinstance(value, str):
        value = time_words(value)
    return wrapped(f"{key:<22} {_as_given(value)}", "  ", " " * 23)


def _as_given(value: object) -> str:
    if value is None:
        return "not stated"
    if isinstance(value, bool):
        return "yes" if value else "no"
    return str(value)


def time_fact(at: datetime | None) -> str | None:
    return None if at is None else at.astimezone(UTC).isoformat().replace("+00:00", "Z")


def time_words(text: str | None) -> str:
    """``Thu 2023-06-15 14:45 UTC``."""
    return "not known" if text is None else f"{datetime.fromisoformat(text):%a %Y-%m-%d %H:%M} UTC"


def short_time(text: str | None, without: str) -> str:
    """``Thu 2023-06-15 14:45``, in UTC as the head of its text says; ``without`` where there is no time."""
    return without if text is None else f"{datetime.fromisoformat(text):%a %Y-%m-%d %H:%M}"


def from_to(starts_at: str, ends_at: str) -> str:
    first, last = datetime.fromisoformat(starts_at), datetime.fromisoformat(ends_at)
    return f"{first:%a %H:%M} - {last:%a %H:%M}"


def number_fact(value: float | None) -> float | None:
    """A number to three decimals; None for a hole."""
    return round(float(value), 3) if units.is_number(value) and value is not None else None


def range_fact(said: Range | None, into: Callable[[float], float] = float) -> Facts | None:
    if said is None:
        return None
    return {"low": None if said.low is None else number_fact(into(said.low)), "high": number_fact(into(said.high))}


def shown_number(value: float | None) -> str:
    return "-" if value is None else f"{value:.1f}".removesuffix(".0")


def shown_range(said: Facts) -> str:
    if said["low"] is None:
        return f"<={shown_number(said['high'])}"
    low, high = shown_number(said["low"]), shown_number(said["high"])
    return high if low == high else f"{low}-{high}"


def compass_point(from_deg: float) -> str:
    return _POINTS[round(from_deg / 22.5) % 16]


def plain_name(quantity: str) -> str:
    """``period_s`` as a person says it."""
    return _PLAIN_NAMES[quantity]


def many(count: int, what: str) -> str:
    return f"{count} {what}" if count == 1 else f"{count} {what}s"


def some_zones(zones: Sequence[str]) -> str:
    if not zones:
        return "unknown zones"
    return zones[0] if len(zones) == 1 else f"{zones[0]} and {len(zones) - 1} more"


def zones_line(zones: Sequence[str]) -> list[str]:
    return wrapped(" ".join(zones) or "ZONES NOT UNDERSTOOD: it may concern any zone")


def labelled(label: str, text: str) -> list[str]:
    return wrapped(f"{label:<8}{text}", "  ", " " * 8)


def wrapped(text: str, indent: str = "", further: str = "  ") -> list[str]:
    """Lines of at most WIDTH columns; ``further`` is added to the indent of all but the first."""
    return textwrap.wrap(text, WIDTH, initial_indent=indent, subsequent_indent=indent + further) or [""]


def within(line: str) -> list[str]:
    return [line] if len(line) <= WIDTH else wrapped(line, "", "    ")


def printable(line: str) -> str:
    """Nothing from a payload may steer the terminal."""
    return "".join(char if char.isprintable() else "?" for char in line)
