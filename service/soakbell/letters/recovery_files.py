"""The recovery list as files: a table (CSV), a track file (GPX 1.1) and a calendar (RFC 5545)."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from uuid import NAMESPACE_URL, uuid5
from zoneinfo import ZoneInfo

from gpxpy.gpx import GPX, GPXRoute, GPXRoutePoint, GPXTrack, GPXTrackPoint, GPXTrackSegment, GPXWaypoint
from icalendar import Calendar, Event

from soakbell.gear.log_csv import guarded
from soakbell.gear.strings import Mark
from soakbell.letters.facts import LetterFacts
from soakbell.letters.letter import printable
from soakbell.letters.told_days import ToldDay
from soakbell.letters.track import NOT_FOR_NAVIGATION
from soakbell.letters.words import listed, one_line
from soakbell.planning.recovery import RecoveryList, TrapOut

CSV_COLUMNS = (
    "trip",
    "string",
    "place",
    "tag",
    "known_as",
    "state",
    "since",
    "last_seen",
    "lat_deg",
    "lon_deg",
    "start_lat_deg",
    "start_lon_deg",
    "end_lat_deg",
    "end_lon_deg",
    "search_south_deg",
    "search_west_deg",
    "search_north_deg",
    "search_east_deg",
    "replaced",
)


def recovery_csv(recovery: RecoveryList, facts: LetterFacts) -> bytes:
    """One row a trap, in the order of the list; a cell is empty where nothing is known or it doesn't apply.

    Moments are in the harbor's time with their offset, degrees WGS84. Text that a spreadsheet would run as a
    formula is preceded by an apostrophe.
    """
    zone = ZoneInfo(facts.zone_name)
    marks = {string.name: (string.start, string.end) for _, string in recovery.strings()}
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(CSV_COLUMNS)
    for trip, trap in recovery.traps():
        start, end = marks[trap.string] if trap.box is None and trap.near is not None else (None, None)
        box = trap.box
        writer.writerow(
            (
                "" if trip is None else trip.number,
                guarded(_plain(trap.string)),
                trap.place,
                guarded(_plain(trap.tag)),
                guarded(_plain(trap.origin)),
                trap.where.value,
                _moment(trap.since, zone),
                _moment(trap.last_seen, zone),
                *_degrees(trap.near),
                *_degrees(start),
                *_degrees(end),
                *_degrees(None if box is None else Mark(box.south_deg, box.west_deg)),
                *_degrees(None if box is None else Mark(box.north_deg, box.east_deg)),
                "yes" if trap.replaced else "",
            )
        )
    return out.getvalue().encode("utf-8-sig")


def recovery_gpx(recovery: RecoveryList, facts: LetterFacts) -> bytes:
    """The strings as routes in the order of the list, traps as waypoints, search boxes as closed tracks.

    A trap aboard has no place in it.
    """
    gpx = GPX()
    gpx.creator = "Soakbell"
    gpx.name = f"Recovery list, {_plain(facts.boat)}, {recovery.today.isoformat()}"
    evenly = "Single traps are reckoned evenly from mark to mark."
    gpx.description = f"{'Invented data. ' if facts.invented else ''}{NOT_FOR_NAVIGATION} {evenly}"
    gpx.time = recovery.made_at.astimezone(UTC)
    lat_deg, lon_deg = _point(facts.harbor_mark)
    gpx.waypoints.append(GPXWaypoint(lat_deg, lon_deg, name=_plain(facts.harbor)))
    for _, trap in recovery.traps():
        if trap.near is not None:
            gpx.waypoints.append(_waypoint(trap, facts.zone_name))
    for number, (trip, string) in enumerate(recovery.strings(), start=1):
        name = _plain(string.name)
        route = GPXRoute(name=name if trip is None else f"Trip {trip.number}: {name}", number=number)
        for end, mark in (("start", string.start), ("end", string.end)):
            route.points.append(GPXRoutePoint(*_point(mark), name=f"{name} {end}"))
        gpx.routes.append(route)
    gpx.tracks.extend(_search(recovery))
    return gpx.to_xml(version="1.1").encode()


WITHDRAWN = "No longer holds: "


def take_up_ics(recovery: RecoveryList, facts: LetterFacts, told: Sequence[ToldDay] = ()) -> bytes | None:
    """The last day with traps in the water, the days to start by, and the trips that have a day; None without any.

    UIDs hold for boat, season and what it is (the second trip, say), so that a newer file replaces the days of an
    older one: an extension moves the deadline. SEQUENCE counts minutes, since nothing counts the lists, and goes
    past all that was ``told``.

    Args:
        told: the days of the last calendar; those from today on that hold no more are cancelled.
    """
    sequence = max([int(recovery.made_at.timestamp() // 60), *(day.sequence + 1 for day in told)])
    events = list(_events(recovery, facts, sequence))
    holding = {str(event["UID"]) for event in events}
    events += [
        _withdrawn(recovery, facts, day, sequence)
        for day in told
        if day.uid not in holding and day.day >= recovery.today
    ]
    if not events:
        return None
    calendar = Calendar()
    calendar.add("prodid", "-//Soakbell//take-up//EN")
    calendar.add("version", "2.0")
    for event in events:
        calendar.add_component(event)
    return bytes(calendar.to_ical())


def to_take_back(recovery: RecoveryList, facts: LetterFacts, told: Sequence[ToldDay]) -> tuple[ToldDay, ...]:
    """Days ahead that the last calendar told as standing, and that hold no more."""
    holding = {str(event["UID"]) for event in _events(recovery, facts, 0)}
    return tuple(
        day
        for day in told
        if day.uid not in holding and day.day > recovery.today and not day.title.startswith(WITHDRAWN)
    )


# ---- parts of the table


def _moment(at: datetime | None, zone: ZoneInfo) -> str:
    return "" if at is None else at.astimezone(zone).isoformat(timespec="seconds")


def _degrees(mark: Mark | None) -> tuple[str, str]:
    return ("", "") if mark is None else (f"{mark.lat_deg:.6f}", f"{mark.lon_deg:.6f}")


def _plain(text: str) -> str:
    return str(printable(one_line(text)))


# ---- parts of the track file


def _point(mark: Mark) -> tuple[float, float]:
    """Within the ranges of the format: longitudes reach from -180 up to below 180. To a tenth of a metre."""
    lat_deg, lon_deg = round(mark.lat_deg, 6), round(mark.lon_deg, 6)
    return lat_deg, -180.0 if lon_deg == 180.0 else lon_deg


def _waypoint(trap: TrapOut, zone_name: str) -> GPXWaypoint:
    assert trap.near is not None
    zone = ZoneInfo(zone_name)
    lost = trap.box is not None
    tag = f"tag {_plain(trap.tag)}, " if trap.tag else ""
    since = f" since {trap.since.astimezone(zone):%Y-%m-%d %H:%M}" if lost and trap.since else ""
    seen = f"last seen {trap.last_seen.astimezone(zone):%Y-%m-%d %H:%M}" if trap.last_seen else "never seen"
    name = _plain(trap.origin if trap.replaced else f"{trap.string} {trap.place}")
    point = GPXWaypoint(
        *_point(trap.near),
        name=f"MISSING {name}" if lost else name,
        description=f"{tag}{trap.where.value}{since}, {seen}",
    )
    point.type = "missing trap" if lost else "trap"
    return point


def _search(recovery: RecoveryList) -> Iterator[GPXTrack]:
    for number, trap in enumerate(recovery.missing, start=1):
        if trap.box is None:
            continue
        box = trap.box
        corners = [
            (box.south_deg, box.west_deg),
            (box.south_deg, box.east_deg),
            (box.north_deg, box.east_deg),
            (box.north_deg, box.west_deg),
        ]
        track = GPXTrack(name=f"Search: {_plain(trap.origin)}", number=number)
        ring = [GPXTrackPoint(*_point(Mark(*corner))) for corner in (*corners, corners[0])]
        track.segments.append(GPXTrackSegment(ring))
        yield track


# ---- parts of the calendar


def _events(recovery: RecoveryList, facts: LetterFacts, sequence: int) -> Iterator[Event]:
    boat = _plain(facts.boat)

    def planned(what: str, day: date, title: str, about: str) -> Event:
        season = recovery.season or (recovery.take_up.deadline if recovery.take_up else day)
        uid = str(uuid5(NAMESPACE_URL, f"soakbell:take-up:{facts.boat}:{season.isoformat()}:{what}"))
        about = f"{about} Rules change: check with the authority."
        return _event(recovery, facts, ToldDay(uid, day, title, sequence), "CONFIRMED", about)

    if recovery.take_up is not None:
        deadline, reason = recovery.take_up.deadline, recovery.take_up.reason
        about = f"Rule: {one_line(reason.rule)}. Source: {one_line(reason.source)}."
        yield planned("deadline", deadline, f"Last day for traps in the water | {boat}", about)
    for chance, start in recovery.starts:
        if start is not None and recovery.fishing:
            title = f"Start the take-up by today for {chance:.0%} | {boat}"
            about = "A later start has less of a chance of being done in time."
            yield planned(f"start {chance:.2f}", start, title, about)
    for trip in recovery.trips:
        if trip.day is not None:
            names = listed(_plain(string.name) for string in trip.strings)
            title = f"Take-up trip {trip.number}: {names} | {boat}"
            about = f"{trip.traps} traps. Only a morning letter says PULL."
            yield planned(f"trip {trip.number}", trip.day, title, about)


def _withdrawn(recovery: RecoveryList, facts: LetterFacts, told: ToldDay, sequence: int) -> Event:
    title = f"{WITHDRAWN}{told.title.removeprefix(WITHDRAWN)}"
    taken_back = replace(told, title=title, sequence=sequence)
    return _event(recovery, facts, taken_back, "CANCELLED", "A later recovery list no longer has it.")


def _event(recovery: RecoveryList, facts: LetterFacts, of: ToldDay, status: str, about: str) -> Event:
    """A whole day, which leaves the skipper free for other things."""
    event = Event()
    event.add("uid", of.uid)
    event.add("sequence", of.sequence)
    event.add("dtstamp", recovery.made_at.astimezone(UTC))
    event.add("dtstart", of.day)
    event.add("dtend", of.day + timedelta(days=1))
    event.add("transp", "TRANSPARENT")
    event.add("status", status)
    event.add("summary", of.title)
    event.add("description", f"{'Invented data. ' if facts.invented else ''}{about}")
    return event
