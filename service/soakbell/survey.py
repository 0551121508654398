"""From raw replies to what is known of each forecast area. Pure: bytes in, conditions out."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from typing import TypeVar, cast

import numpy as np
import pandas as pd

from soakbell.errors import NotUnderstood
from soakbell.feeds.alerts import parse_alerts
from soakbell.feeds.buoys import parse_realtime
from soakbell.feeds.grid import parse_grid
from soakbell.feeds.strict_json import read_object
from soakbell.feeds.zone_text import parse_zone_text
from soakbell.sea.areas import ForecastArea
from soakbell.sea.conditions import Bar, Conditions, Requirement, worst_of
from soakbell.sea.grid_forecast import holds
from soakbell.sea.grid_hours import hours_of_grid
from soakbell.sea.observations import StationReport
from soakbell.sea.sources import QUANTITIES, FaultCode, RawReply, SourceFault, SourceHours, SourceKind
from soakbell.sea.warnings import (
    AlertsReply,
    HeldWarning,
    OfficialWarning,
    bars_a_pull,
    hazard_name,
    in_force,
    joined,
    remember,
)
from soakbell.sea.zone_forecast import HeadlineMeaning, ZoneForecast
from soakbell.sea.zone_hours import hours_of_zone_forecast
from soakbell.settings import Settings

FUTURE_SLACK = timedelta(minutes=10)
"""A payload dated later than this past now has a wrong date, or the clock has."""

HEADLINE_HOLDS = timedelta(hours=48)
"""A warning headline bars this long from now: its own words for the time are not relied on, nor is an older text
to bar for less."""

NOWCAST_HOLDS = timedelta(hours=6)
"""How long what a station measures now is held against the hours ahead."""

_ZONE_IN_TITLE = re.compile(r"\(([A-Z]{2}[CZ][0-9]{3})\)")

ReplyKey = tuple[SourceKind, str]
T = TypeVar("T")


@dataclass(frozen=True)
class OnHand:
    """What was fetched and kept.

    Attributes:
        replies: newest good reply of each source, all its pages (only lists of warnings have more than one).
        troubles: what the last fetch met, where it failed.
        seen: warning messages of earlier replies.
        cells: grid cell by area name, where the settings leave it to the service.
        newer: when a text was issued that is listed but could not be fetched, by the source that lacks it.
        moved: what is to be said of a station that no longer lies where it was confirmed, by its id.
        notices: what the skipper is to be told beside the call.
    """

    replies: Mapping[ReplyKey, Sequence[RawReply]]
    troubles: Mapping[ReplyKey, str] = field(default_factory=dict)
    seen: tuple[OfficialWarning, ...] = ()
    cells: Mapping[str, str] = field(default_factory=dict)
    newer: Mapping[ReplyKey, datetime] = field(default_factory=dict)
    moved: Mapping[str, str] = field(default_factory=dict)
    notices: tuple[str, ...] = ()


@dataclass(frozen=True)
class SourceTold:
    """One source as used: when it was issued and until when it may be, or what is wrong with it.

    ``note``: of a source in use, what the last fetch met where it failed, and what of it could not be understood.
    """

    kind: SourceKind
    key: str
    issued_at: datetime | None
    fetched_at: datetime | None
    fresh_until: datetime | None
    max_age_h: float
    fault: SourceFault | None
    note: str = ""
    sha256: tuple[str, ...] = ()


@dataclass(frozen=True)
class Survey:
    """All areas of a boat at one moment.

    Attributes:
        conditions: by area name, on one hourly index.
        fresh_until: by area name; leaving later than this, some source is too old.
        sources: each once, by kind, then in the order of the areas.
        held: warnings in force from now to the end of the table, those that don't bar among them.
        cautions: caution headlines and outlook sentences of the first day, verbatim.
        notices: as they were on hand.
        messages: warning messages to remember.
        said: by area name, what each source said of it.
    """

    conditions: Mapping[str, Conditions]
    fresh_until: Mapping[str, datetime]
    sources: tuple[SourceTold, ...]
    held: tuple[HeldWarning, ...]
    cautions: tuple[str, ...]
    notices: tuple[str, ...]
    messages: tuple[OfficialWarning, ...]
    said: Mapping[str, tuple[SourceHours, ...]] = field(default_factory=dict, repr=False)


def survey(settings: Settings, on_hand: OnHand, hours: pd.DatetimeIndex, now: datetime) -> Survey:
    """Read every source of every area and lay them over each other.

    A source that is missing, stale, not understood, from the future or of another place is left out, and
    since all that the settings name is required, the hours it should have covered are not known.
    """
    reader = _Reader(settings, on_hand, hours, now)
    reader.read_lists()
    conditions: dict[str, Conditions] = {}
    fresh_until: dict[str, datetime] = {}
    for area in settings.areas:
        conditions[area.name], fresh_until[area.name] = reader.read_area(area)
    return Survey(
        conditions=conditions,
        fresh_until=fresh_until,
        sources=tuple(sorted(reader.told.values(), key=lambda told: list(SourceKind).index(told.kind))),
        held=tuple(dict.fromkeys(reader.held)),
        cautions=tuple(dict.fromkeys(reader.cautions)),
        notices=on_hand.notices,
        messages=reader.messages,
        said=reader.said,
    )


class _Reader:
    """Reads each source once, however many areas share it."""

    def __init__(self, settings: Settings, on_hand: OnHand, hours: pd.DatetimeIndex, now: datetime) -> None:
        self.settings = settings
        self.on_hand = on_hand
        self.hours = hours
        self.now = now
        self.told: dict[ReplyKey, SourceTold] = {}
        self.parsed: dict[tuple[SourceKind, str], object] = {}
        self.held: list[HeldWarning] = []
        self.cautions: list[str] = []
        self.messages: tuple[OfficialWarning, ...] = ()
        self.lists_known: dict[str, bool] = {}
        self.said: dict[str, tuple[SourceHours, ...]] = {}

    def read_area(self, area: ForecastArea) -> tuple[Conditions, datetime]:
        needed = {Requirement(SourceKind.ZONE_TEXT, "wind_kt"), Requirement(SourceKind.ZONE_TEXT, "sea_m")}
        needed |= {Requirement(SourceKind.GRID, quantity) for quantity in area.grid_gives}
        bars: list[Bar] = []
        tables = [*self._zone_text(area, bars), *self._grid(area, bars), *self._station(area, needed)]
        self.said[area.name] = tuple(tables)
        bars_known = self._warnings(area, bars)
        keys = [(SourceKind.ZONE_TEXT, area.office), (SourceKind.WARNINGS, area.zone)]
        keys += [(SourceKind.GRID, cell)] if (cell := self._cell(area)) else []
        untils = [self.told[key].fresh_until for key in keys]
        fresh = min((until for until in untils if until is not None), default=self.now)
        if None in untils or not self._cell(area):
            fresh = self.now
        laid = worst_of(
            area.name,
            self.hours,
            tables,
            required=needed,
            large_gap=self.settings.sources.large_gap.model_dump(),
            bars=bars,
            bars_known=bars_known,
        )
        return laid, fresh

    # ---- the four sources

    def _zone_text(self, area: ForecastArea, bars: list[Bar]) -> list[SourceHours]:
        kind, key = SourceKind.ZONE_TEXT, area.office
        bulletin = self._parse(kind, key, lambda pages: parse_zone_text(pages[0].body))
        if bulletin is None:
            return []
        if (newer_at := self.on_hand.newer.get((kind, key))) is not None:
            detail = f"a newer text, of {newer_at:%H:%M} UTC, is listed but could not be fetched"
            self._fault(kind, key, FaultCode.STALE, detail, bulletin.issued_at)
            return []
        segments = bulletin.for_zone(area.zone)
        if not segments:
            detail = f"the text of {area.office} has no forecast for {area.zone}"
            self._fault(kind, key, FaultCode.WRONG_PLACE, detail, bulletin.issued_at)
            return []
        named = [segment for segment in bulletin.segments if area.zone in segment.zones]
        if len(named) > 1 and any(segment.not_understood or not segment.periods for segment in named):
            detail = f"one of {len(named)} forecasts for {area.zone} in the text of {area.office} isn't understood"
            self._fault(kind, key, FaultCode.NOT_UNDERSTOOD, detail, bulletin.issued_at)
            return []
        tables = []
        for segment in segments:
            if not self._is_fresh(kind, key, segment.issued_at, segment.expires_at):
                continue
            self._headlines(segment, area, bars)
            chop_m = self.settings.sources.chop_m if area.protected_waters else {}
            tables.append(hours_of_zone_forecast(segment, area=area.sub_area, chop_m=chop_m))
        return tables

    def _headlines(self, segment: ZoneForecast, area: ForecastArea, bars: list[Bar]) -> None:
        until = self.now + HEADLINE_HOLDS
        for headline in segment.headlines:
            if headline.meaning is HeadlineMeaning.CAUTION:
                self.cautions.append(headline.text)
            else:
                values = {"text": headline.text, "zone": area.zone}
                bars.append(Bar("headline", segment.issued_at, until, values))
        for period in segment.periods:
            soon = period.starts_at is None or period.starts_at < self.now + timedelta(hours=24)
            if soon and (period.ends_at is None or period.ends_at > self.now):
                self.cautions += [f"{period.label.capitalize()}: {sentence}" for sentence in period.outlooks]

    def _grid(self, area: ForecastArea, bars: list[Bar]) -> list[SourceHours]:
        cell = self._cell(area)
        kind = SourceKind.GRID
        if cell is None:
            detail = f"the grid cell of {area.name} isn't known yet: the service has not told it"
            self._fault(kind, area.name, FaultCode.MISSING, detail, None)
            return []
        grid = self._parse(kind, cell, lambda pages: parse_grid(pages[0].body))
        if grid is None or not self._is_fresh(kind, cell, grid.updated_at, grid.valid_to):
            return []
        if grid.key != cell or not holds(grid, area.lat_deg, area.lon_deg):
            detail = f"the reply is for {grid.key} and doesn't hold {area.lat_deg}, {area.lon_deg}"
            self._fault(kind, cell, FaultCode.WRONG_PLACE, detail, grid.updated_at)
            return []
        for hazard in grid.hazards:
            name = hazard_name(hazard.phenomenon, hazard.significance)
            values = {"event": name, "starts_at": hazard.starts_at, "ends_at": hazard.ends_at, "place": area.name}
            if name not in self.settings.sources.not_a_bar:
                bars.append(Bar("grid_hazard", hazard.starts_at, hazard.ends_at, values))
        told = self.told[kind, cell]
        self.told[kind, cell] = replace(told, note="; ".join(filter(None, (told.note, *grid.faults))))
        return [hours_of_grid(grid, gives=area.grid_gives)]

    def _warnings(self, area: ForecastArea, bars: list[Bar]) -> bool:
        """Whether it is known what is in force. A warning counts for a zone whichever list it stood in."""
        end = self.hours[-1].to_pydatetime() + timedelta(hours=1)
        for held in in_force(self.messages, [area.zone], self.now, end, sent_by=self.now + FUTURE_SLACK):
            self.held.append(held)
            if bars_a_pull(held, self.settings.sources.not_a_bar):
                values = {
                    "event": held.event,
                    "starts_at": held.starts_at,
                    "ends_at": held.ends_at,
                    "zones": held.zones,
                }
                bars.append(Bar("warning", held.starts_at, held.ends_at, values))
        return self.lists_known[area.zone]

    def read_lists(self) -> None:
        """Every zone's list of warnings, before any area is read."""
        listed: list[OfficialWarning] = []
        messages = self.on_hand.seen
        for zone in dict.fromkeys(area.zone for area in self.settings.areas):
            reply, known = self._list_of_warnings(zone)
            self.lists_known[zone] = known
            nothing_new = AlertsReply(updated_at=None, warnings=(), next_url="unknown", faults=())
            messages = remember(messages, reply or nothing_new, self.now, asked=[zone] if known else [])
            listed += reply.warnings if reply else ()
        self.messages = tuple(dict.fromkeys((*messages, *listed)))

    def _list_of_warnings(self, zone: str) -> tuple[AlertsReply | None, bool]:
        """What the list says, and whether it may be used now: its warnings count even if it may not."""
        kind = SourceKind.WARNINGS
        reply: AlertsReply | None = self._parse(
            kind, zone, lambda pages: joined([parse_alerts(page.body) for page in pages])
        )
        if reply is None:
            return None, False
        if reply.updated_at is None:
            detail = "the list of warnings doesn't say when it was made"
            self._fault(kind, zone, FaultCode.NOT_UNDERSTOOD, detail, None)
            return reply, False
        known = self._is_fresh(kind, zone, reply.updated_at, None)
        most_min = self.settings.sources.warnings_asked_min
        if known and self.now - reply.updated_at > timedelta(minutes=most_min):
            trouble = self.on_hand.troubles.get((kind, zone), "")
            detail = f"a call rests on a list of the last {most_min} minutes only"
            self._fault(kind, zone, FaultCode.STALE, "; ".join(filter(None, (detail, trouble))), reply.updated_at)
            known = False
        strange = [w.event for w in reply.warnings if w.zones and not {zone, f"{zone[:3]}000"} & set(w.zones)]
        detail = f"the list for {zone} has a {strange[0]} that doesn't name it" if strange else ""
        titled = _zones_in_titles(self.on_hand.replies[kind, zone])
        if titled and titled != {zone}:
            detail = f"the list for {zone} is headed {', '.join(sorted(titled))}"
        if known and detail:
            self._fault(kind, zone, FaultCode.WRONG_PLACE, detail, reply.updated_at)
        return reply, known and not detail

    def _station(self, area: ForecastArea, needed: set[Requirement]) -> list[SourceHours]:
        if area.station is None:
            return []
        kind, station = SourceKind.OBSERVATIONS, area.station
        until = self.now + NOWCAST_HOLDS
        for quantity in area.station_gives:
            needed.add(Requirement(kind, quantity, self.now, until))
        report = self._parse(kind, station, lambda pages: parse_realtime(pages[0].body, station))
        if report is None:
            return []
        if station in self.on_hand.moved:
            newest_at = max((seen.at for seen in report.newest.values()), default=None)
            self._fault(kind, station, FaultCode.WRONG_PLACE, self.on_hand.moved[station], newest_at)
            return []
        newest = [report.newest[q].at for q in area.station_gives if q in report.newest]
        if len(newest) < len(area.station_gives):
            lacking = sorted(set(area.station_gives) - set(report.newest))
            detail = f"station {station} gives no {', '.join(lacking)}"
            self._fault(kind, station, FaultCode.NO_OPINION, detail, max(newest, default=None))
            return []
        if not all(self._is_fresh(kind, station, at, None) for at in (max(newest), min(newest))):
            return []
        return [_nowcast(report, area.station_gives, self.now, self.hours)]

    # ---- what all sources share

    def _cell(self, area: ForecastArea) -> str | None:
        return area.grid or self.on_hand.cells.get(area.name)

    def _parse(self, kind: SourceKind, key: str, parse: Callable[[Sequence[RawReply]], T]) -> T | None:
        if (kind, key) in self.parsed:
            return cast(T | None, self.parsed[kind, key])
        pages = self.on_hand.replies.get((kind, key), ())
        found: T | None = None
        if not pages:
            detail = self.on_hand.troubles.get((kind, key), "nothing was fetched yet")
            self._fault(kind, key, FaultCode.MISSING, detail, None)
        else:
            try:
                found = parse(pages)
            except NotUnderstood as fault:
                self._fault(kind, key, FaultCode.NOT_UNDERSTOOD, str(fault), None)
        self.parsed[kind, key] = found
        return found

    def _is_fresh(self, kind: SourceKind, key: str, issued_at: datetime, expires_at: datetime | None) -> bool:
        """Whether it may be used now; notes until when."""
        max_age_h = self.settings.sources.oldest_h(kind)
        until = issued_at + timedelta(hours=max_age_h)
        if expires_at is not None:
            until = min(until, expires_at)
        if issued_at > self.now + FUTURE_SLACK:
            detail = f"dated {issued_at:%Y-%m-%d %H:%M} UTC, which is still to come"
            self._fault(kind, key, FaultCode.FROM_THE_FUTURE, detail, issued_at)
            return False
        if until <= self.now:
            detail = self.on_hand.troubles.get((kind, key), "")
            self._fault(kind, key, FaultCode.STALE, detail, issued_at)
            return False
        known = self.told.get((kind, key))
        if known is not None and known.fault is not None:
            return False
        if known is not None and known.fresh_until is not None:
            until = min(until, known.fresh_until)
        self._tell(kind, key, issued_at, until, None, note=self.on_hand.troubles.get((kind, key), ""))
        return True

    def _fault(self, kind: SourceKind, key: str, code: FaultCode, detail: str, issued_at: datetime | None) -> None:
        self._tell(kind, key, issued_at, None, SourceFault(kind, key, code, detail, issued_at))

    def _tell(
        self,
        kind: SourceKind,
        key: str,
        issued_at: datetime | None,
        until: datetime | None,
        fault: SourceFault | None,
        *,
        note: str = "",
    ) -> None:
        pages = self.on_hand.replies.get((kind, key), ())
        self.told[kind, key] = SourceTold(
            kind=kind,
            key=key,
            issued_at=issued_at,
            fetched_at=max((page.fetched_at for page in pages), default=None),
            fresh_until=until,
            max_age_h=self.settings.sources.oldest_h(kind),
            fault=fault,
            note=note,
            sha256=tuple(page.sha256 for page in pages),
        )


def _zones_in_titles(pages: Sequence[RawReply]) -> set[str]:
    """Zones named in the titles of a list, as in captured ones: all that an empty one says of its place."""
    titles = (read_object(page.body, what="a list of warnings").get("title") for page in pages)
    return {zone for title in titles for zone in _ZONE_IN_TITLE.findall(str(title))}


def _nowcast(report: StationReport, gives: Sequence[str], now: datetime, hours: pd.DatetimeIndex) -> SourceHours:
    """What is measured now, held against the hours just ahead; whole (and so compared) only for the first."""
    begins = pd.Timestamp(now).floor("h")
    ahead = (hours >= begins) & (hours < pd.Timestamp(now + NOWCAST_HOLDS))
    numbers = pd.DataFrame(np.nan, index=hours, columns=list(QUANTITIES))
    for quantity in gives:
        numbers.loc[ahead, quantity] = report.newest[quantity].value
    whole = pd.DataFrame(False, index=hours, columns=list(QUANTITIES))
    whole.loc[hours == begins, list(gives)] = True
    issued_at = min(report.newest[q].at for q in gives)
    unclear = pd.Series("", index=hours, dtype=object)
    return SourceHours(SourceKind.OBSERVATIONS, report.station, issued_at, None, numbers, whole, unclear)
