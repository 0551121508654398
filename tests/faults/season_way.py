"""The least that a called trip takes and where it is when, reckoned from ``config/boat.toml`` alone.

Nothing of the product's planning is used. Where it can't be known as sharply, the trip is taken for shorter.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import product
from math import asin, cos, radians, sin, sqrt
from pathlib import Path
from typing import TypeAlias

Mark: TypeAlias = tuple[float, float]

CONFIG = tomllib.loads((Path(__file__).resolve().parents[2] / "config" / "boat.toml").read_text("utf-8"))
HARBOR: Mark = (CONFIG["harbor"]["lat_deg"], CONFIG["harbor"]["lon_deg"])
STRINGS = {string["name"]: string for string in CONFIG["strings"]}
EARTH_NMI = 3440.07
SLACK_MIN = 1.0  # a sphere is no ellipsoid, and letters tell whole minutes


@dataclass(frozen=True)
class Haul:
    """Traps of one string. ``in_part``: not from mark to mark, where the traps come home."""

    string: str
    traps: int
    in_part: bool = False


@dataclass(frozen=True)
class Called:
    """A trip as somebody was told it. ``lands_at`` is told of ``leaves_at``, the first departure."""

    leaves_at: datetime
    last_departure_at: datetime
    lands_at: datetime
    hauls: tuple[Haul, ...]


@dataclass(frozen=True)
class Stretch:
    """Minutes from leaving in which the boat is at ``places``, of which ``""`` is the harbor."""

    places: tuple[str, ...]
    starts_min: float
    ends_min: float


def least_way(hauls: Sequence[Haul]) -> tuple[Stretch, ...]:
    """The shortest way that hauls all in this order, each string from either end."""
    return min((tuple(_way(hauls, turns)) for turns in product((0, 1), repeat=len(hauls))), key=least_min)


def least_min(way: Sequence[Stretch]) -> float:
    return way[-1].ends_min


def _way(hauls: Sequence[Haul], turns: Sequence[int]) -> Iterator[Stretch]:
    boat = CONFIG["boat"]
    at, place, now_min = HARBOR, "", 0.0
    for haul, turn in zip(hauls, turns, strict=True):
        string = STRINGS[haul.string]
        ends: tuple[Mark, Mark] = (tuple(string["start"]), tuple(string["end"]))
        first, last = ends[turn], ends[1 - turn]
        along_nmi = _nmi(first, last)
        reach_nmi = max(_nmi(at, first) - (along_nmi if haul.in_part else 0.0), 0.0)
        reached_min = now_min + 60 * reach_nmi / boat["cruise_kt"]
        yield Stretch((place, haul.string), now_min, reached_min)
        now_min = reached_min + boat["haul_min_per_trap"] * haul.traps
        yield Stretch((haul.string,), reached_min, now_min)
        at, place = last, haul.string
        if haul.in_part:
            now_min -= 60 * along_nmi / boat["cruise_kt"]
    home_min = now_min + 60 * _nmi(at, HARBOR) / boat["cruise_kt"] + boat["trip_margin_min"]
    yield Stretch((place, ""), now_min, home_min)


def spans(called: Called) -> Iterator[tuple[str, datetime, datetime]]:
    """Each place, from when until when somebody may be there who leaves as called."""
    for stretch in least_way(called.hauls):
        begins = called.leaves_at + timedelta(minutes=stretch.starts_min + SLACK_MIN)
        ends = called.last_departure_at + timedelta(minutes=stretch.ends_min - SLACK_MIN)
        if begins < ends:
            yield from ((place, begins, ends) for place in stretch.places)


def _nmi(a: Mark, b: Mark) -> float:
    """By the sphere: haversine."""
    (lat_a, lon_a), (lat_b, lon_b) = ((radians(lat), radians(lon)) for lat, lon in (a, b))
    half = sin((lat_b - lat_a) / 2) ** 2 + cos(lat_a) * cos(lat_b) * sin((lon_b - lon_a) / 2) ** 2
    return 2 * EARTH_NMI * asin(sqrt(half))
