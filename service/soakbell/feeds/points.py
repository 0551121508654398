"""Which cell, office and zones a position belongs to (``/points``), and what a zone is (``/zones``).

Manual: https://www.weather.gov/documentation/services-web-api (schemas Point and Zone)
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from soakbell import units
from soakbell.errors import NotUnderstood
from soakbell.feeds.strict_json import (
    list_at,
    object_at,
    read_object,
    shown,
    text_at,
    text_or_none_at,
    texts_at,
    whole_number_at,
)
from soakbell.sea.areas import ZONE_ID

_OFFICE = re.compile(r"[A-Z]{3}")
_ZONE_KEYS = ("forecastZone", "county", "fireWeatherZone")


@dataclass(frozen=True)
class GridPoint:
    """The forecast cell at a position.

    Attributes:
        lat_deg, lon_deg: the position asked for.
        office, x, y: the cell's name, as asked of ``/gridpoints``.
        on_land: as the service classes it; None where it doesn't say.
        forecast_zone: UGC id of the zone whose text forecast covers the position; None where there is none.
        zone_ids: every UGC id named: forecast zone, county, fire weather zone.
        time_zone: IANA name.
    """

    lat_deg: float
    lon_deg: float
    office: str
    x: int
    y: int
    on_land: bool | None
    forecast_zone: str | None
    zone_ids: tuple[str, ...]
    time_zone: str

    @property
    def cell(self) -> str:
        return f"{self.office}/{self.x},{self.y}"


@dataclass(frozen=True)
class Zone:
    """A forecast zone. ``kind`` is the service's word (``coastal``, ``offshore``, ``public``)."""

    id: str
    kind: str
    name: str
    offices: tuple[str, ...]
    time_zones: tuple[str, ...]


def parse_point(body: bytes) -> GridPoint:
    """Read a ``/points/{lat},{lon}`` reply.

    Raises:
        NotUnderstood: another reply, no cell, a cell that its own link contradicts, or a zone or time zone of
            unknown form.
    """
    reply = read_object(body, what="the forecast cell of a position")
    where = "position"
    said = object_at(reply, "properties", where)
    office = text_at(said, "gridId", where)
    x, y = whole_number_at(said, "gridX", where), whole_number_at(said, "gridY", where)
    link = text_at(said, "forecastGridData", where)
    if not _OFFICE.fullmatch(office) or not link.endswith(f"/gridpoints/{office}/{x},{y}"):
        raise NotUnderstood(f"position: cell {shown(office)} {x},{y}, but its link goes to {shown(link)}")
    kind = text_or_none_at(said, "type", where)
    zones = {key: _zone_of(url, where) for key in _ZONE_KEYS if (url := text_or_none_at(said, key, where))}
    lat_deg, lon_deg = _position(object_at(reply, "geometry", where))
    return GridPoint(
        lat_deg=lat_deg,
        lon_deg=lon_deg,
        office=office,
        x=x,
        y=y,
        on_land=None if kind is None else kind == "land",
        forecast_zone=zones.get("forecastZone"),
        zone_ids=tuple(dict.fromkeys(zones.values())),
        time_zone=_time_zone(text_at(said, "timeZone", where)),
    )


def parse_zone(body: bytes) -> Zone:
    """Read a ``/zones/{type}/{id}`` reply. No captured sample: read by the published schema.

    Raises:
        NotUnderstood: another reply, or an id or time zone of unknown form.
    """
    said = object_at(read_object(body, what="a forecast zone"), "properties", "zone")
    zone = text_at(said, "id", "zone")
    if not ZONE_ID.fullmatch(zone):
        raise NotUnderstood(f"zone: expected an id such as GMZ730, found {shown(zone)}")
    return Zone(
        id=zone,
        kind=text_at(said, "type", "zone"),
        name=text_at(said, "name", "zone"),
        offices=texts_at(said, "cwa", "zone") if said.get("cwa") is not None else (),
        time_zones=tuple(_time_zone(name) for name in texts_at(said, "timeZone", "zone")),
    )


def _zone_of(url: str, where: str) -> str:
    zone = url.rpartition("/")[2]
    if not ZONE_ID.fullmatch(zone):
        raise NotUnderstood(f"{where}: expected a link to a zone such as GMZ730, found {shown(url)}")
    return zone


def _position(geometry: Mapping[str, object]) -> tuple[float, float]:
    parts = list_at(geometry, "coordinates", "position")
    if geometry.get("type") == "Point" and len(parts) == 2 and all(units.is_number(part) for part in parts):
        lon_deg, lat_deg = (float(str(part)) for part in parts)
        if abs(lat_deg) <= 90.0 and abs(lon_deg) <= 180.0:
            return lat_deg, lon_deg
    raise NotUnderstood(f"position: expected a Point, found {shown(geometry)}")


def _time_zone(name: str) -> str:
    """Only IANA names: "EST" and offsets carry no rule for the change of the clock."""
    try:
        if "/" not in name:
            raise ValueError("no region")
        ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise NotUnderstood(f"expected a time zone such as America/New_York, found {shown(name)}") from error
    return name
