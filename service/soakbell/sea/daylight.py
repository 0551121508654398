"""Sunrise and sunset at a place."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Literal
from zoneinfo import ZoneInfo

from astral import Observer
from astral.sun import dawn, dusk, elevation, sunrise, sunset

SunState = Literal["rises and sets", "always up", "always down", "edge of endless day"]

_HORIZON_DEG = -50 / 60  # the sun's centre when its upper limb is on the sea horizon, standard refraction (USNO)


@dataclass(frozen=True)
class Sunlight:
    """The daylight that begins on one local day, aware UTC.

    ``dawn_at`` and ``dusk_at`` bound civil twilight, the sun's centre 6 degrees below the horizon (USNO).
    ``sets_at`` is the sunset that follows ``rises_at``, in high summer of the far north after midnight. Both are
    None in an endless day or night, which ``state`` tells apart; one of them is None on the edge of one.
    """

    day: date
    rises_at: datetime | None
    sets_at: datetime | None
    state: SunState
    dawn_at: datetime | None = None
    dusk_at: datetime | None = None


def sunlight(day: date, lat_deg: float, lon_deg: float, zone_name: str) -> Sunlight:
    """When the sun's upper limb shows on the local date ``day`` in ``zone_name`` and when it goes.

    ``lat_deg`` north positive, ``lon_deg`` east positive. Sea-level horizon with standard refraction, as in
    official tables; they are printed to the minute.
    """
    observer = Observer(lat_deg, lon_deg)
    zone = ZoneInfo(zone_name)
    rises_at = _at(sunrise, observer, day, zone)
    sets_at = _at(sunset, observer, day, zone)
    if rises_at is not None and sets_at is not None and sets_at < rises_at:
        sets_at = _at(sunset, observer, day + timedelta(days=1), zone)
    if rises_at is not None and sets_at is not None:
        state: SunState = "rises and sets"
    elif rises_at is not None or sets_at is not None:
        state = "edge of endless day"
    else:
        noon = datetime.combine(day, time(12), tzinfo=zone)
        state = "always up" if elevation(observer, noon, with_refraction=False) > _HORIZON_DEG else "always down"
    dawn_at, dusk_at = _at(dawn, observer, day, zone), _at(dusk, observer, day, zone)
    if dusk_at is not None and sets_at is not None and dusk_at < sets_at:
        dusk_at = _at(dusk, observer, day + timedelta(days=1), zone)
    return Sunlight(day, rises_at, sets_at, state, dawn_at, dusk_at)


def _at(event: Callable[..., datetime], observer: Observer, day: date, zone: ZoneInfo) -> datetime | None:
    """The event on the local day, or None: astral says with a ValueError that it doesn't happen."""
    try:
        return event(observer, day, tzinfo=zone).astimezone(UTC)
    except ValueError:
        return None
