"""The grid forecast, ``/gridpoints/{office}/{x},{y}``: raw layers of one cell.

Manual: https://www.weather.gov/documentation/services-web-api and https://weather-gov.github.io/api/gridpoints
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from soakbell import units
from soakbell.errors import NotUnderstood
from soakbell.feeds.strict_json import (
    kind_of_value,
    list_at,
    moment,
    object_at,
    read_object,
    shown,
    span,
    text_at,
    whole_number_at,
)
from soakbell.sea.grid_forecast import GridForecast, GridHazard, GridSpan

LONGEST = timedelta(days=15)
"""A reply that claims more is not understood; captured replies reach 8 days 6 hours."""


@dataclass(frozen=True)
class _Layer:
    """How a layer's numbers become house numbers: by unit, and the range that is believed afterwards."""

    into_house: Mapping[str, Callable[[float], float]]
    least: float
    most: float


def _nmi_from_km(value: float) -> float:
    return units.nmi_from_m(1000.0 * value)


_SPEED = _Layer(
    {
        "wmoUnit:km_h-1": units.kt_from_kmh,
        "wmoUnit:m_s-1": units.kt_from_ms,
        "wmoUnit:kt": float,
        "nwsUnit:kt": float,
    },
    0.0,
    250.0,  # kt; the highest gust on record is 220 kt (Barrow Island 1996, WMO)
)
_HEIGHT = _Layer({"wmoUnit:m": float, "wmoUnit:ft": units.m_from_ft, "nwsUnit:ft": units.m_from_ft}, 0.0, 40.0)
_PERIOD = _Layer({"nwsUnit:s": float, "wmoUnit:s": float}, 0.0, 40.0)
_ANGLE = _Layer({"wmoUnit:degree_(angle)": float}, 0.0, 360.0)
_CHANCE = _Layer({"wmoUnit:percent": float}, 0.0, 100.0)
_REACH = _Layer({"wmoUnit:m": units.nmi_from_m, "wmoUnit:km": _nmi_from_km}, 0.0, 200.0)

_LAYERS: Mapping[str, _Layer] = {
    "windSpeed": _SPEED,
    "windGust": _SPEED,
    "windDirection": _ANGLE,
    "waveHeight": _HEIGHT,
    "windWaveHeight": _HEIGHT,
    "swellHeight": _HEIGHT,
    "primarySwellHeight": _HEIGHT,
    "secondarySwellHeight": _HEIGHT,
    "wavePeriod": _PERIOD,
    "visibility": _REACH,
    "probabilityOfThunder": _CHANCE,
}

_WHOLE_PERCENTS = "probabilityOfThunder"
"""The one layer that comes without a unit even when it has values (four of four captured replies that fill
it). Its values there are whole percents, so without a unit only whole numbers are taken: a fraction of one
would otherwise read as next to nothing."""

THUNDER_UP_TO_PCT: Mapping[str, float] = {
    "slight_chance": 24.0,
    "isolated": 24.0,
    "chance": 54.0,
    "scattered": 54.0,
    "likely": 74.0,
    "numerous": 74.0,
}
"""Upper end of the chance behind a word of coverage; any other word, and none, stands for 100. NWS Instruction
10-503 (memory): 20 % slight chance or isolated, 30-50 % chance or scattered, 60-70 % likely or numerous, each
printed after rounding to tens."""

_NO_THUNDER = frozenset(
    {
        "blowing_dust",
        "blowing_sand",
        "blowing_snow",
        "drizzle",
        "fog",
        "freezing_fog",
        "freezing_drizzle",
        "freezing_rain",
        "freezing_spray",
        "frost",
        "hail",
        "haze",
        "ice_crystals",
        "ice_fog",
        "rain",
        "rain_showers",
        "sleet",
        "smoke",
        "snow",
        "snow_showers",
        "volcanic_ash",
    }
)
_THUNDER = frozenset({"thunderstorms", "water_spouts"})
"""A waterspout stands in a thundercloud as far as a small boat is concerned (common practice, no source)."""


def parse_grid(body: bytes) -> GridForecast:
    """Read a raw gridpoint reply.

    A layer whose unit isn't known is kept as unclear, hour by hour; a number that can't be right is unclear for
    its own interval; a time that can't be read makes the whole reply not understood.

    Raises:
        NotUnderstood: not a raw gridpoint reply, or one whose times, name or hazards are missing or can't be read.
    """
    reply = read_object(body, what="a grid forecast")
    properties = object_at(reply, "properties", "grid forecast")
    if "validTimes" not in properties or "gridId" not in properties:
        raise NotUnderstood("expected a raw grid forecast with validTimes and gridId, found not both")
    valid_from, valid_to = span(properties["validTimes"], "validTimes")
    if valid_to - valid_from > LONGEST:
        raise NotUnderstood(f"validTimes: {shown(properties['validTimes'])} is longer than {LONGEST.days} days")
    layers: dict[str, tuple[GridSpan, ...]] = {}
    faults: list[str] = []
    for name, kind in _LAYERS.items():
        if name in properties:
            layers[name], fault = _layer(object_at(properties, name, "grid forecast"), name, kind)
            faults.extend(fault)
    if "weather" in properties:
        layers["thunderstorms"] = _thunderstorms(object_at(properties, "weather", "grid forecast"))
    return GridForecast(
        office=text_at(properties, "gridId", "grid forecast"),
        x=whole_number_at(properties, "gridX", "grid forecast"),
        y=whole_number_at(properties, "gridY", "grid forecast"),
        updated_at=moment(properties.get("updateTime"), "updateTime"),
        valid_from=valid_from,
        valid_to=valid_to,
        geometry=_rings(reply.get("geometry")),
        layers=layers,
        hazards=_hazards(properties),
        faults=tuple(faults),
    )


def _values(layer: Mapping[str, object], name: str) -> list[tuple[datetime, datetime, object]]:
    """The layer's intervals with their values as sent."""
    found = []
    for i, item in enumerate(list_at(layer, "values", name)):
        where = f"{name}: interval {i + 1}"
        if not isinstance(item, dict) or "value" not in item:
            raise NotUnderstood(f"{where}: expected a validTime and a value, found {kind_of_value(item)}")
        starts_at, ends_at = span(item.get("validTime"), where)
        found.append((starts_at, ends_at, item["value"]))
    return found


def _layer(layer: Mapping[str, object], name: str, kind: _Layer) -> tuple[tuple[GridSpan, ...], list[str]]:
    values = _values(layer, name)
    uom = layer.get("uom")
    convert = kind.into_house.get(uom) if isinstance(uom, str) else None
    if convert is None and name == _WHOLE_PERCENTS and uom is None:
        convert = _as_whole_percent
    if convert is None and any(value is not None for _, _, value in values):
        fault = f"{name}: its unit {shown(uom)} isn't known"
        return tuple(GridSpan(s, e, None, "" if value is None else fault) for s, e, value in values), [fault]
    return tuple(_interval(s, e, value, name, convert or float, kind) for s, e, value in values), []


def _as_whole_percent(value: float) -> float:
    return value if value == int(value) else -1.0


def _interval(
    starts_at: datetime,
    ends_at: datetime,
    value: object,
    name: str,
    convert: Callable[[float], float],
    kind: _Layer,
) -> GridSpan:
    if value is None:
        return GridSpan(starts_at, ends_at, None)
    if not units.is_number(value):
        return GridSpan(starts_at, ends_at, None, f"{name}: expected a number, found {kind_of_value(value)}")
    house = convert(float(value))  # type: ignore[arg-type]
    if not kind.least <= house <= kind.most:
        return GridSpan(starts_at, ends_at, None, f"{name}: {value!r} can't be right")
    return GridSpan(starts_at, ends_at, house)


def _thunderstorms(layer: Mapping[str, object]) -> tuple[GridSpan, ...]:
    return tuple(_thunder_between(s, e, value) for s, e, value in _values(layer, "weather"))


def _thunder_between(starts_at: datetime, ends_at: datetime, value: object) -> GridSpan:
    if value is None or value == []:
        return GridSpan(starts_at, ends_at, None)
    unclear = GridSpan(starts_at, ends_at, None, f"weather: {shown(value)} isn't understood")
    if not isinstance(value, list):
        return unclear
    chances = [0.0]
    for item in value:
        if not isinstance(item, dict) or not {"weather", "coverage"} <= set(item):
            return unclear
        weather, coverage = item["weather"], item["coverage"]
        if weather is None and coverage is None:
            continue
        if not isinstance(weather, str) or weather not in _THUNDER | _NO_THUNDER:
            return unclear
        if weather in _THUNDER:
            chances.append(THUNDER_UP_TO_PCT.get(coverage, 100.0) if isinstance(coverage, str) else 100.0)
    return GridSpan(starts_at, ends_at, max(chances))


def _hazards(properties: Mapping[str, object]) -> tuple[GridHazard, ...]:
    """The hazard layer. Every captured grid has one, if only empty; without it nothing tells what was left out."""
    found = []
    for starts_at, ends_at, value in _values(object_at(properties, "hazards", "grid forecast"), "hazards"):
        if not isinstance(value, list):
            raise NotUnderstood(f"hazards: expected a list, found {kind_of_value(value)}")
        for item in value:
            if not isinstance(item, dict):
                raise NotUnderstood(f"hazards: expected an object, found {kind_of_value(item)}")
            number = None if item.get("event_number") is None else whole_number_at(item, "event_number", "hazards")
            phenomenon, significance = (text_at(item, key, "hazards") for key in ("phenomenon", "significance"))
            found.append(GridHazard(starts_at, ends_at, phenomenon, significance, number))
    return tuple(found)


def _rings(geometry: object) -> tuple[tuple[tuple[float, float], ...], ...]:
    if geometry is None:
        return ()
    if not isinstance(geometry, dict) or geometry.get("type") != "Polygon":
        raise NotUnderstood(f"geometry: expected a Polygon, found {shown(geometry)}")
    rings = []
    for ring in list_at(geometry, "coordinates", "geometry"):
        if not isinstance(ring, list) or len(ring) < 4:
            raise NotUnderstood(f"geometry: expected a ring of four points or more, found {shown(ring)}")
        rings.append(tuple(_point(point) for point in ring))
    return tuple(rings)


def _point(point: object) -> tuple[float, float]:
    if isinstance(point, list) and len(point) >= 2 and all(units.is_number(part) for part in point[:2]):
        lon, lat = float(point[0]), float(point[1])
        if abs(lon) <= 180.0 and abs(lat) <= 90.0:
            return lon, lat
    raise NotUnderstood(f"geometry: expected a longitude and a latitude, found {shown(point)}")
