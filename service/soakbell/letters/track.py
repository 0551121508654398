"""The strings to pull as a track file (GPX 1.1) for the boat's plotter."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from gpxpy.gpx import GPX, GPXRoute, GPXRoutePoint, GPXWaypoint

from soakbell.gear.strings import TrapString
from soakbell.letters.facts import LetterFacts
from soakbell.planning.call import Call, Window

NOT_FOR_NAVIGATION = "Planning aid, not for navigation."


def strings_gpx(call: Call, window: Window, facts: LetterFacts) -> bytes:
    """One route a string, start mark to end mark, in the order of the pull, and a waypoint for the harbor.

    Raises:
        ValueError: a string of the window has no marks among the facts.
    """
    by_name = {string.name: string for string in facts.strings}
    gpx = GPX()
    gpx.creator = "Soakbell"
    gpx.name = f"{facts.boat}, {call.day.isoformat()}"
    gpx.description = f"Invented data. {NOT_FOR_NAVIGATION}" if facts.invented else NOT_FOR_NAVIGATION
    gpx.time = call.made_at
    gpx.waypoints.append(GPXWaypoint(facts.harbor_mark.lat_deg, facts.harbor_mark.lon_deg, name=facts.harbor))
    for number, pull in enumerate(window.pulls, start=1):
        string = by_name.get(pull.string)
        if string is None:
            raise ValueError(f"no marks for the string {pull.string!r} that is to be pulled")
        gpx.routes.append(_route(f"{number} {string.name}", string, gpx.description, number))
    return gpx.to_xml(version="1.1").encode()


def marks_gpx(strings: Iterable[TrapString], boat: str, made_at: datetime, *, invented: bool) -> bytes:
    """Every string as a route from its start mark to its end mark."""
    gpx = GPX()
    gpx.creator = "Soakbell"
    gpx.name = f"Marks of {boat}"
    gpx.description = f"Invented data. {NOT_FOR_NAVIGATION}" if invented else NOT_FOR_NAVIGATION
    gpx.time = made_at
    for number, string in enumerate(strings, start=1):
        gpx.routes.append(_route(string.name, string, gpx.description, number))
    return gpx.to_xml(version="1.1").encode()


def _route(name: str, string: TrapString, about: str, number: int) -> GPXRoute:
    route = GPXRoute(name=name, description=about, number=number)
    for end, mark in (("start", string.start), ("end", string.end)):
        route.points.append(GPXRoutePoint(mark.lat_deg, mark.lon_deg, name=f"{string.name} {end}"))
    return route
