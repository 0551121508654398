"""What a point and a zone resolve to."""

from __future__ import annotations

from soakbell.feeds.points import parse_point, parse_zone
from soakbell.reading.printing import Facts


def read_point(body: bytes, _: str, __: list[str]) -> Facts:
    point = parse_point(body)
    return {
        "lat": point.lat_deg,
        "lon": point.lon_deg,
        "cell": point.cell,
        "office": point.office,
        "on_land": point.on_land,
        "forecast_zone": point.forecast_zone,
        "zones": list(point.zone_ids),
        "time_zone": point.time_zone,
    }


def read_zone(body: bytes, _: str, __: list[str]) -> Facts:
    zone = parse_zone(body)
    return {
        "zone": zone.id,
        "kind": zone.kind,
        "name": zone.name,
        "offices": list(zone.offices),
        "time_zones": list(zone.time_zones),
    }
