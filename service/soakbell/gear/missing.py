"""Missing traps: which they are, when each was last seen, and where to look for them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from geographiclib.geodesic import Geodesic

from soakbell.clock import as_utc
from soakbell.gear.strings import Mark
from soakbell.gear.trap_states import GearState, StringState, TrapState, Whereabouts, point_of_line
from soakbell.units import METRES_PER_NMI

# How far a trap and its line may have been dragged: common practice, no source.
DRIFT_NMI = 0.3
DRIFT_NMI_A_DAY = 0.1
MAX_DRIFT_NMI = 3.0

_DAY = timedelta(days=1)


@dataclass(frozen=True)
class SearchBox:
    """Degrees; ``east_deg`` is below ``west_deg`` where the box lies across the 180th meridian."""

    south_deg: float
    west_deg: float
    north_deg: float
    east_deg: float


@dataclass(frozen=True)
class MissingTrap:
    """A trap that is missing since it was told so. ``replaced``: another has its place already.

    ``near`` is its point of the line, which ``box`` lies around.
    """

    string: str
    place: int
    origin: str
    tag: str
    last_seen: datetime | None
    missing_since: datetime | None
    replaced: bool
    box: SearchBox
    near: Mark


def missing_traps(state: GearState, now: datetime) -> tuple[MissingTrap, ...]:
    """All missing traps of the boat, by string and place; of one place the one that has its place now first.

    Each is looked for around its point of the line, the traps lying evenly from the start mark to the end mark, as
    both were when it was told missing. The margin grows with the days since it was last seen.
    """
    now = as_utc(now)
    found = [
        _missing(string, trap, replaced, now)
        for string in state.strings.values()
        for traps, replaced in ((string.traps, False), (string.gone, True))
        for trap in traps
        if trap.where is Whereabouts.MISSING
    ]
    return tuple(sorted(found, key=lambda trap: (trap.string, trap.place, trap.replaced)))


def _missing(string: StringState, trap: TrapState, replaced: bool, now: datetime) -> MissingTrap:
    seen = trap.seen_at or trap.since
    days = 0.0 if seen is None else max(0.0, (now - seen) / _DAY)
    near = trap.lost_near or point_of_line(string.start, string.end, trap.place, len(string.traps))
    box = search_box(near, min(DRIFT_NMI + DRIFT_NMI_A_DAY * days, MAX_DRIFT_NMI))
    return MissingTrap(
        string.name, trap.place, trap.origin, trap.tag, trap.seen_at, trap.since, replaced, box, near
    )


def search_box(point: Mark, margin_nmi: float) -> SearchBox:
    """The box around a point whose sides are ``margin_nmi`` away."""
    north, east, south, west = (
        Geodesic.WGS84.Direct(point.lat_deg, point.lon_deg, bearing_deg, margin_nmi * METRES_PER_NMI)
        for bearing_deg in (0, 90, 180, 270)
    )
    return SearchBox(south["lat2"], west["lon2"], north["lat2"], east["lon2"])
