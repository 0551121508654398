"""What the sea was by all that the sources served: a reading of its own, from the invented weather itself.

Nothing of the product's readers is used, nor the bytes served: only which request was answered when and how, and
the tables that the demo's weather and words are made from. It is simpler than the product and never stricter.
"""

from __future__ import annotations

import re
from bisect import bisect_right
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from demo.forecast_server import Services
from demo.weather import HOUR, Cell, Weather
from demo.zone_bulletin import periods_from

from demo import payloads
from faults.bad_forecasts import OLD_BY, Asked, ForecastFault
from faults.season_way import SLACK_MIN, Called, least_min, least_way, spans

# As in config/boat.toml.
AREAS = ("Inner Bay", "Outer Bay")  # in the order of the scenario's cells
OUTER = frozenset({"Outer Bar", "The Hump", "Ledge"})
WIND_KT, GUST_KT, SEA_FT, OF_THE_HUMP_FT = 15.0, 20.0, 3.0, 2.0
FRESH = {"text": timedelta(hours=8), "grid": timedelta(hours=12), "warnings": timedelta(hours=6)}
STATION_FRESH, STATION_HOLDS = timedelta(hours=3), timedelta(hours=6)
LIST_FRESH = timedelta(minutes=60)
WIND_GAP_KT = 10.0

TURNS_WITHIN = timedelta(hours=3)
"""Of the middle of a period: its words for the time of a change are no sharper."""

SAME_MOMENT = timedelta(seconds=1.5)
"""Requests so close before a call may have been answered after it was begun."""

# The upper end of the demo's words, by what they are said of: numbers up to the first count as the second.
WINDS_KT = ((5.5, 5.0), (10.4, 10.0), (15.4, 15.0), (20.4, 20.0), (25.4, 25.0), (99.0, 30.0))
SEAS_FT = ((1.2, 1.0), (2.2, 2.0), (3.2, 3.0), (4.2, 4.0), (5.3, 5.0), (99.0, 6.0))

_SPOILED = {ForecastFault.CUT_TEXT, ForecastFault.NOTHING_TOLD}
_WHOLE = {None, ForecastFault.OLD}


@dataclass(frozen=True)
class Came:
    """What came of one source: as of ``of`` (of a text its issue), or spoiled where that is None."""

    source: str
    at: datetime
    of: datetime | None


class Served:
    """What came through so far, read from the server's record."""

    def __init__(self, weather: Weather) -> None:
        self._weather = weather
        self._services = Services(weather)
        self._read = 0
        self.came: list[Came] = []
        self._forgotten: list[tuple[datetime, int]] = []

    def read(self, asked: Sequence[Asked], whole: Mapping[str, Sequence[bool]]) -> None:
        """``whole``: of each path that was asked since the last reading, whether each answer reached the service.
        All did where it can't tell, since it died of it."""
        new = asked[self._read :]
        self._read += len(new)
        counts = Counter(one.path for one in new)
        told = {path: iter(each) for path, each in whole.items() if len(each) == counts[path]}
        for one in new:
            if next(told[one.path]) if one.path in told else True:
                self.came += self._came(one)

    def forget(self, at: datetime) -> None:
        """What came before a restore is no news after it."""
        self._forgotten.append((at, len(self.came)))

    def known(self, at: datetime) -> list[Came]:
        """All that had come until ``at`` and was not forgotten by then."""
        first = max((count for forgotten_at, count in self._forgotten if forgotten_at <= at), default=0)
        return [one for one in self.came[first:] if one.at <= at]

    def _came(self, one: Asked) -> Iterator[Came]:
        path = one.path.partition("?")[0]
        source, of = self._source(path), one.at - OLD_BY if one.fault is ForecastFault.OLD else one.at
        if source is None:
            return
        if one.fault in _WHOLE:
            if self._services.answer(one.path, of).status == 200:
                yield Came(source, one.at, self._issue(path, of) if source == "text" else of)
        elif one.fault in _SPOILED and _reads_as_usual(source, one.fault):
            yield Came(source, one.at, None)

    def _source(self, path: str) -> str | None:
        scenario = self._weather.scenario
        for cell, area in zip(scenario.cells, AREAS, strict=True):
            if path == f"/gridpoints/{scenario.office}/{cell.x},{cell.y}":
                return area
        if re.fullmatch(r"/products/[0-9a-f-]{36}", path):
            return "text"
        plain = {"/alerts/active": "warnings", f"/data/realtime2/{scenario.station}.txt": "station"}
        return plain.get(path, "list" if path.startswith("/products/types/") else None)

    def _issue(self, path: str, of: datetime) -> datetime:
        scenario = self._weather.scenario
        named = path.rpartition("/")[2]
        return next(
            at for at in payloads.listed_issues(self._weather, of) if payloads.product_id(scenario, at) == named
        )


def _standing(came: Sequence[Came]) -> dict[str, Came]:
    """Of each source what came last; an older copy of a grid or of what was measured stands behind a newer one."""
    found: dict[str, Came] = {}
    for one in came:
        before = found.get(one.source)
        older = before is not None and before.of is not None and one.of is not None and one.of < before.of
        if not older or one.source not in ("station", *AREAS):
            found[one.source] = one
    return found


def _reads_as_usual(source: str, fault: ForecastFault) -> bool:
    """Whether the transport takes the spoiled reply for a whole one, by its media type."""
    return source in ("warnings", *AREAS) or (source == "text" and fault is ForecastFault.CUT_TEXT)


@dataclass(frozen=True)
class Oracle:
    """Says what stands against a PULL. The trip's hours and places are reckoned here, by ``season_way``."""

    weather: Weather
    served: Served

    def against(self, called: Called, made_at: datetime) -> list[str]:
        """Why the call may not be PULL by what had come until ``made_at``; nothing where it may.

        What came in the very moment of the call may or may not have been known to it.
        """
        known = self.served.known(made_at)
        sure = sum(one.at < made_at - SAME_MOMENT for one in known)
        found: list[str] = []
        for count in range(len(known), sure - 1, -1):
            found = list(self._against(called, made_at, known[:count], anew=True))
            if not found:
                return []
        return found

    def fell(self, called: Called, begins: datetime, ends: datetime) -> str:
        """Why the call could no longer stand from ``begins`` to ``ends``, throughout; "" where it could for a
        moment. Not asked is the age that sources would have at leaving: it was looked at for the call."""
        came = self.served.known(ends)
        moments = [ends, *(one.at for one in reversed(came) if one.at > begins), begins]
        why = ""
        for moment in moments:
            known = came[: bisect_right(came, moment, key=lambda one: one.at)]
            why = next(self._against(called, moment, known, anew=False), "")
            if not why:
                return ""
        return why

    def _against(self, called: Called, made_at: datetime, came: Sequence[Came], *, anew: bool) -> Iterator[str]:
        newest = _standing(came)
        for source in ("text", "list", "warnings", "station", *AREAS):
            if source not in newest:
                yield f"nothing of {source} had come"
                return
        spoiled = [source for source, one in newest.items() if one.of is None]
        if spoiled:
            yield f"spoiled when they last came: {', '.join(spoiled)}"
            return
        of = {source: one.of for source, one in newest.items() if one.of is not None}
        yield from self._stale(of, made_at, called.last_departure_at if anew else made_at)
        takes_min = least_min(least_way(called.hauls))
        if called.lands_at - called.leaves_at < timedelta(minutes=takes_min - SLACK_MIN):
            yield f"told to land at {called.lands_at:%H:%M}, and it takes {takes_min:.0f} minutes at least"
        landed = called.last_departure_at + timedelta(minutes=takes_min - SLACK_MIN)
        if self._warned(of["warnings"], max(made_at, called.leaves_at), landed):
            yield "a warning in the list"
        if self._headline(of["text"]):
            yield "a headline of an advisory"
        for place, begins, ends in spans(called):
            yield from self._unfit(place, max(begins, made_at), ends, of, made_at)

    def _stale(self, of: dict[str, datetime], made_at: datetime, leaves_at: datetime) -> Iterator[str]:
        """``leaves_at``: the last departure; once out, what the trip was called on has done its work."""
        if made_at - _list_made(of["warnings"]) > LIST_FRESH:
            yield "the list of warnings was too old"
        if made_at - self._measured_at(of["station"]) > STATION_FRESH:
            yield "the station's newest row was too old"
        newest_listed = payloads.listed_issues(self.weather, of["list"])[0]
        if newest_listed > of["text"]:
            yield f"a newer text of {newest_listed:%d %H:%M} was listed"
        if made_at >= leaves_at:
            return
        ages = {"text": of["text"] + FRESH["text"], "warnings": _list_made(of["warnings"]) + FRESH["warnings"]}
        ages |= {area: payloads.grid_updated_at(of[area]) + FRESH["grid"] for area in AREAS}
        for source, until in ages.items():
            if leaves_at >= until:
                yield f"{source} was too old at {leaves_at:%d %H:%M}"

    def _warned(self, of: datetime, begins: datetime, ends: datetime) -> bool:
        made_at = _list_made(of)
        held = [advisory.holds(made_at) for advisory in self.weather.scenario.advisories]
        return any(one is not None and one.begins_at < ends and begins < one.ends_at for one in held)

    def _headline(self, issued_at: datetime) -> bool:
        return any(advisory.holds(issued_at) for advisory in self.weather.scenario.advisories)

    def _unfit(
        self, place: str, begins: datetime, ends: datetime, of: dict[str, datetime], made_at: datetime
    ) -> Iterator[str]:
        area = AREAS[place in OUTER]
        cell = self.weather.scenario.cells[place in OUTER]
        sea_limit_ft = OF_THE_HUMP_FT if place == "The Hump" else SEA_FT
        hour = begins.astimezone(UTC).replace(minute=0, second=0, microsecond=0)
        while hour < ends:
            where = f"{place or 'the harbor'} at {hour:%d %H:%M}"
            told = self._grid(of[area], cell, hour)
            text_kt, text_ft = self._text(of["text"], hour)
            said = {"grid": told, "text": (text_kt, 0.0, text_ft)}
            if area == AREAS[0] and hour < made_at + STATION_HOLDS:
                said["station"] = (self._measured_kt(of["station"]), 0.0, 0.0)
            for source, (wind_kt, gust_kt, sea_ft) in said.items():
                if wind_kt > WIND_KT + 0.05 or gust_kt > GUST_KT + 0.05 or sea_ft > sea_limit_ft + 0.05:
                    yield f"{source}: {wind_kt:g} kt, gust {gust_kt:g} kt, {sea_ft:g} ft for {where}"
            if abs(text_kt - told[0]) > WIND_GAP_KT + 0.05:
                yield f"text {text_kt:g} kt and grid {told[0]:g} kt contradict each other for {where}"
            hour += HOUR

    def _grid(self, of: datetime, cell: Cell, hour: datetime) -> tuple[float, float, float]:
        basis = self.weather.issues(payloads.grid_updated_at(of))[-1]
        told = self.weather.in_cell(self.weather.forecast(basis, hour), cell)
        return round(told.wind_kt), round(told.gust_kt), round(told.sea_ft)

    def _text(self, issued_at: datetime, hour: datetime) -> tuple[float, float]:
        """Wind and sea that the text gives for the hour; while a wind changes the lower of before and after."""
        for period in periods_from(self.weather.scenario.local(issued_at)):
            if not period.starts_at - HOUR < hour < period.ends_at:
                continue
            first = period.starts_at.replace(minute=0)
            count = round((period.ends_at - first) / HOUR)
            hours = [self.weather.forecast(issued_at, first + n * HOUR) for n in range(count)]
            middle = period.starts_at + (period.ends_at - period.starts_at) / 2
            halves = [h.wind_kt for h in hours if h.at < middle], [h.wind_kt for h in hours if h.at >= middle]
            before, after = (_upper(max(half), WINDS_KT) for half in halves)
            apart = hour - middle
            wind_kt = min(before, after) if abs(apart) < TURNS_WITHIN else before if apart < timedelta() else after
            return wind_kt, _upper(max(h.sea_ft for h in hours), SEAS_FT)
        return 0.0, 0.0

    def _measured_at(self, of: datetime) -> datetime:
        newest = (of.astimezone(UTC) - timedelta(minutes=payloads.STATION_LATE_MIN)).replace(
            second=0, microsecond=0
        )
        return newest - timedelta(minutes=newest.minute % payloads.STATION_EVERY_MIN)

    def _measured_kt(self, of: datetime) -> float:
        """As the newest row gives it."""
        row = payloads.realtime(self.weather, of).splitlines()[2].split()
        return float(row[6]) / payloads.MS_PER_KT


def _list_made(of: datetime) -> datetime:
    at = of.astimezone(UTC)
    past = timedelta(minutes=at.minute % payloads.LIST_UPDATED_MIN, seconds=at.second, microseconds=at.microsecond)
    return at - past


def _upper(value: float, table: Sequence[tuple[float, float]]) -> float:
    return next(upper for most, upper in table if value <= most)
