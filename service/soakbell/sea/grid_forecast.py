"""A grid forecast as understood: one cell's layers over time, and the ground the cell covers."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime

EDGE_DEG = 0.0005
"""A point this near an edge counts as inside: about 55 m, more than cells drawn by four corners can be off."""


@dataclass(frozen=True)
class GridSpan:
    """What a layer says from ``starts_at`` to ``ends_at`` (aware UTC, end excluded).

    ``value`` None: the layer has a hole there. ``unclear`` not empty: something was said that isn't understood.
    """

    starts_at: datetime
    ends_at: datetime
    value: float | None
    unclear: str = ""


@dataclass(frozen=True)
class GridHazard:
    """A warning, watch, advisory or statement as the grid's hazard layer names it (``SC``, ``Y``)."""

    starts_at: datetime
    ends_at: datetime
    phenomenon: str
    significance: str
    number: int | None


@dataclass(frozen=True)
class GridForecast:
    """One cell of an office's grid.

    Attributes:
        office, x, y: the cell's name, ``TAE`` 58 65.
        updated_at: when the office last changed it, as the payload states.
        valid_from, valid_to: the span it speaks for.
        geometry: rings of (lon, lat) in degrees, the first one the outline; empty where none was given.
        layers: by the service's own name (``windSpeed``), in house units: kt, m, s, pct, degrees true, nmi.
            Wind is 10 m above the surface. ``thunderstorms`` is not a layer of the service: it is the upper
            end of the chance that the words of its ``weather`` layer stand for. A layer that the reply left
            out is absent; one that it sent empty has no intervals.
        hazards: the hazard layer.
        faults: layers that could not be understood, and why.
    """

    office: str
    x: int
    y: int
    updated_at: datetime
    valid_from: datetime
    valid_to: datetime
    geometry: tuple[tuple[tuple[float, float], ...], ...] = field(repr=False)
    layers: Mapping[str, tuple[GridSpan, ...]] = field(repr=False)
    hazards: tuple[GridHazard, ...]
    faults: tuple[str, ...]

    @property
    def key(self) -> str:
        return f"{self.office}/{self.x},{self.y}"


def holds(grid: GridForecast, lat_deg: float, lon_deg: float) -> bool:
    """Whether the cell's ground holds the point. False where the reply drew no ground."""
    if not (math.isfinite(lat_deg) and math.isfinite(lon_deg)) or not grid.geometry:
        return False
    point = (lon_deg, lat_deg)
    if any(_near_edge(point, ring) for ring in grid.geometry):
        return True
    outline, *gaps = grid.geometry
    return _inside(point, outline) and not any(_inside(point, gap) for gap in gaps)


def _edges(
    ring: tuple[tuple[float, float], ...],
) -> list[tuple[tuple[float, float], tuple[float, float]]]:
    return list(zip(ring, ring[1:] + ring[:1], strict=True))


def _inside(point: tuple[float, float], ring: tuple[tuple[float, float], ...]) -> bool:
    """Even-odd rule: a ray to the east crosses the outline an odd number of times."""
    x, y = point
    inside = False
    for (x1, y1), (x2, y2) in _edges(ring):
        if (y1 > y) != (y2 > y) and x < x1 + (y - y1) * (x2 - x1) / (y2 - y1):
            inside = not inside
    return inside


def _near_edge(point: tuple[float, float], ring: tuple[tuple[float, float], ...]) -> bool:
    x, y = point
    for (x1, y1), (x2, y2) in _edges(ring):
        run, rise = x2 - x1, y2 - y1
        length2 = run * run + rise * rise
        along = 0.0 if length2 == 0 else min(1.0, max(0.0, ((x - x1) * run + (y - y1) * rise) / length2))
        if math.hypot(x - x1 - along * run, y - y1 - along * rise) <= EDGE_DEG:
            return True
    return False
