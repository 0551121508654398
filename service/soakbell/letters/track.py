"""The strings to pull as a track file (GPX 1.1) for the boat's plotter."""

from __future__ import annotations

from gpxpy.gpx import GPX, GPXRoute, GPXRoutePoint, GPXWaypoint

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
        route = GPXRoute(name=f"{number} {string.name}", description=gpx.description, number=number)
        for end, mark in (("start", string.start), ("end", string.end)):
            route.points.append(GPXRoutePoint(mark.lat_deg, mark.lon_deg, name=f"{string.name} {end}"))
        gpx.routes.append(route)
    return gpx.to_xml(version="1.1").encode()
