"""When a letter of a local day is due. The rules of a zone come from the zone data; no clock is read."""

from __future__ import annotations

import zoneinfo
from datetime import UTC, date, datetime, time, timedelta
from importlib.metadata import version
from pathlib import Path
from zoneinfo import ZoneInfo

_STEP = timedelta(seconds=1)


def due_at(day: date, local_time: time, zone_name: str) -> datetime:
    """The one moment, in UTC, at which ``local_time`` of ``day`` falls due in the zone.

    A time that the clocks skip is due at the first moment after the gap. A time that comes twice is due at its
    first pass. So each local day has exactly one due moment, whatever the clocks do.

    Raises:
        zoneinfo.ZoneInfoNotFoundError: ``zone_name`` isn't an IANA name.
    """
    zone = ZoneInfo(zone_name)
    wall = datetime.combine(day, local_time.replace(tzinfo=None, fold=0))
    moment = wall.replace(tzinfo=zone).astimezone(UTC)
    if moment.astimezone(zone).replace(tzinfo=None) == wall:
        return moment
    # In a gap the two folds read the wall time with the offsets before and after it, and so land on either side.
    return _first_moment_after_gap(wall.replace(tzinfo=zone, fold=1).astimezone(UTC), moment, zone)


def _first_moment_after_gap(before: datetime, after: datetime, zone: ZoneInfo) -> datetime:
    offset_after = after.astimezone(zone).utcoffset()
    while after - before > _STEP:
        middle = before + timedelta(seconds=(after - before) // _STEP // 2)
        if middle.astimezone(zone).utcoffset() == offset_after:
            after = middle
        else:
            before = middle
    return after


def local_day(now: datetime, zone_name: str) -> date:
    """The calendar day it is in the zone at ``now`` (aware)."""
    return now.astimezone(ZoneInfo(zone_name)).date()


def zone_data_version() -> str:
    """The version of the zone data in use: the computer's own where it has any, else the tzdata package's."""
    for folder in map(Path, zoneinfo.TZPATH):
        if (folder / "America" / "New_York").is_file():
            return _version_in(folder)
    return version("tzdata")


def _version_in(folder: Path) -> str:
    """``tzdata.zi`` begins with a line as "# version 2026a"; some systems keep a file +VERSION instead."""
    for name in ("tzdata.zi", "+VERSION"):
        if (folder / name).is_file():
            with (folder / name).open(encoding="ascii", errors="replace") as text:
                return text.readline().removeprefix("# version").strip()
    return "not told by this system"
