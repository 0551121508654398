"""Fetches what a boat's call rests on, keeps every reply as it came, and gives back what is on hand."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from functools import partial
from typing import Any
from urllib.parse import urlsplit
from zoneinfo import ZoneInfo

from soakbell.clock import Clock
from soakbell.errors import Fault, FetchFailed, NotUnderstood, SettingsError, StoreError
from soakbell.feeds.alerts import parse_alerts
from soakbell.feeds.buoys import latest_of, parse_latest, parse_realtime
from soakbell.feeds.grid import parse_grid
from soakbell.feeds.points import parse_point
from soakbell.feeds.requests_list import (
    Fetcher,
    PublicServices,
    fetch_warnings,
    grid_ask,
    latest_observations_ask,
    newest_listed,
    observations_ask,
    point_ask,
)
from soakbell.feeds.transport import Ask, UnusableReply
from soakbell.sea.areas import ForecastArea
from soakbell.sea.observations import StationReport, has_moved
from soakbell.sea.sources import RawReply, SourceKind
from soakbell.sea.warnings import AlertsReply, OfficialWarning, joined, remember
from soakbell.settings import Settings
from soakbell.store import letters, replies
from soakbell.store.engine import Store
from soakbell.store.restored import newest_restore
from soakbell.survey import FUTURE_SLACK, OnHand, ReplyKey

log = logging.getLogger(__name__)

ROUND_LIMIT_S = 220.0
"""All sources of a boat are asked within this, and what can't be had by then is done without: a look at the call
waits no longer, and ends well within the sweep's ``work_limit_s``. It is room for one source's five tries."""

LEFT_FOR_LATER_S = 8.0
"""What a source that keeps failing leaves of it for each one that is asked after it."""

NEWS_IS_OLD_AFTER = timedelta(minutes=10)
RESOLVE_CELL_EVERY = timedelta(days=1)
TELL_CELL_CHANGE_FOR = timedelta(days=3)
PLACE_STATIONS_EVERY = timedelta(days=1)

GRID_EXPECTED_WITHIN = timedelta(hours=3)
"""Offices send their grids about hourly; one older than this may be a cache's and is asked for past all caches."""

OBSERVATIONS_EXPECTED_WITHIN = timedelta(hours=1.5)
"""Stations report once an hour or more often, and some minutes late."""


class Fetching:
    """The sources of one boat. All methods block; none fetches inside a transaction."""

    def __init__(self, settings: Settings, store: Store, clock: Clock, fetcher: Fetcher) -> None:
        self._settings = settings
        self._store = store
        self._clock = clock
        self._fetcher = fetcher
        self._services = PublicServices(settings.sources.weather_api, settings.sources.buoys)
        self._fetching = threading.Lock()

    def poll(self) -> None:
        """Fetch every source once, within ROUND_LIMIT_S. One that fails, or isn't asked for want of time, is noted
        and does not stop the others. A round that is under way is waited for, as long at most.
        """
        if self._has_turn(timeout_s=ROUND_LIMIT_S):
            try:
                self._poll()
            finally:
                self._fetching.release()

    def poll_if_old(self) -> None:
        """Poll, unless it was done within NEWS_IS_OLD_AFTER. Where a round is under way, that one is waited for
        instead. Returns within ROUND_LIMIT_S, whatever came: what is on hand then has its own age.
        """
        if not self._fetching.acquire(blocking=False):
            if self._has_turn(timeout_s=ROUND_LIMIT_S):
                self._fetching.release()
            return
        try:
            polled = self._get_note("polled")
            if polled is None or self._clock.now() - polled[1] > NEWS_IS_OLD_AFTER:
                self._poll()
        finally:
            self._fetching.release()

    def _has_turn(self, timeout_s: float) -> bool:
        if self._fetching.acquire(timeout=timeout_s):
            return True
        told = {"action": "fetch", "boat": self._settings.boat.name}
        log.warning("an earlier round of the sources has not ended", extra=told)
        return False

    def _poll(self) -> None:
        areas, services = self._settings.areas, self._services
        sources = _Round(self._fetcher, self._store, self._clock)
        sources.later = 4 * len(areas)
        for area in areas:
            self._resolve_cell(sources, area)
        cells = self._cells()
        jobs: dict[ReplyKey, Callable[[], object]] = {}
        for area in areas:
            jobs[SourceKind.ZONE_TEXT, area.office] = partial(self._fetch_text, sources, area.office)
            jobs[SourceKind.WARNINGS, area.zone] = partial(self._fetch_warnings, sources, area.zone)
            cell = area.grid or cells.get(area.name)
            if cell is not None:
                ask = grid_ask(cell, services)
                within = GRID_EXPECTED_WITHIN
                jobs[SourceKind.GRID, cell] = partial(self._fetch_new, sources, ask, _updated_at, within)
            if area.station is not None:
                ask, within = observations_ask(area.station, services), OBSERVATIONS_EXPECTED_WITHIN
                measured = partial(self._fetch_new, sources, ask, partial(_measured_at, area.station), within)
                jobs[SourceKind.OBSERVATIONS, area.station] = measured
        for later, (key, job) in zip(reversed(range(len(jobs))), jobs.items(), strict=True):
            sources.later = later
            self._try(key, job)
        self._place_stations(sources)
        self._put_note("polled", {})

    def _try(self, key: ReplyKey, job: Callable[[], object]) -> None:
        kind, name = key
        try:
            job()
        except (FetchFailed, NotUnderstood) as fault:
            told = {
                "action": "fetch",
                "boat": self._settings.boat.name,
                "provider": kind.value,
                "fault": str(fault),
            }
            log.warning("source failed", extra=told)
            value = {"text": str(fault), "asked": not isinstance(fault, _NotAsked)}
            self._put_note(f"trouble:{kind.value}:{name}", value)
        else:
            self._drop_note(f"trouble:{kind.value}:{name}")

    def _fetch_text(self, sources: Fetcher, office: str) -> None:
        """The newest text that the office lists. Until it is had, that is remembered: the kept one is older."""
        listed = newest_listed(sources, office, services=self._services)
        name, told = f"listed:{office}", {"issued_at": listed.issued_at.isoformat(), "url": listed.ask.url}
        note = self._get_note(name)
        known = {} if note is None else note[0]
        if known:
            known_at = datetime.fromisoformat(known["issued_at"])
            if listed.issued_at < known_at <= self._clock.now() + FUTURE_SLACK:
                message = (
                    f"the list of {office} ends with {listed.issued_at:%Y-%m-%d %H:%M} UTC, though it named a "
                    f"text of {known_at:%Y-%m-%d %H:%M} UTC before"
                )
                raise FetchFailed(message, retry=True)
        if known.get("url") != listed.ask.url:
            self._put_note(name, told | {"had": False})
        sources.fetch(listed.ask)
        self._put_note(name, told | {"had": True})

    def _fetch_new(
        self, sources: Fetcher, ask: Ask, issued_at: Callable[[bytes], datetime | None], within: timedelta
    ) -> None:
        """A reply that is older inside than it should be, or than one that came before, is asked for once more,
        past every cache (F1). One that is still older than one before doesn't take its place.

        What can't be read takes the place of all before it: no older one stands in for it.
        """
        name, behind = _newest_name(ask.kind, ask.key), ""
        for one in (ask, replace(ask, fresh=True)):
            reply, known = sources.fetch(one), self._get_note(name)
            at, now = issued_at(reply.body), self._clock.now()
            known_at = None if known is None else datetime.fromisoformat(known[0]["issued_at"])
            behind = ""
            if at is not None and known_at is not None and at < known_at <= now + FUTURE_SLACK:
                before = f"though data of {known_at:%Y-%m-%d %H:%M} UTC came before"
                behind = f"the reply is of {at:%Y-%m-%d %H:%M} UTC, {before}"
            elif (newest_at := at or known_at) is not None:
                self._put_note(name, {"issued_at": newest_at.isoformat(), "sha256": reply.sha256})
            if at is not None and not behind and now - at <= within:
                return
        if behind:
            raise FetchFailed(behind, retry=True)

    def _fetch_warnings(self, sources: Fetcher, zone: str) -> None:
        pages = fetch_warnings(sources, zone, self._services)
        listed = joined([parse_alerts(page.body) for page in pages])
        with self._store.writing() as session:
            replies.keep_warnings(session, listed.warnings, self._clock.now())

    def _resolve_cell(self, sources: Fetcher, area: ForecastArea) -> None:
        """Ask which grid cell the area's point lies in, daily and after a fault: offices re-cut their grids.

        Where it is known, one try is enough: what a call rests on is to be asked with patience after it.
        """
        if area.grid is not None:
            return
        name, now = f"cell:{area.name}", self._clock.now()
        known = self._get_note(name)
        if known is not None:
            cell, asked_at = known[0]["cell"], known[1]
            trouble = self._get_note(f"trouble:{SourceKind.GRID.value}:{cell}")
            if now - asked_at < RESOLVE_CELL_EVERY and trouble is None:
                return
        key = (SourceKind.POINT, area.name)
        self._try(key, partial(self._ask_cell, sources, area, name, None if known is None else known[0], now))

    def _ask_cell(
        self, sources: Fetcher, area: ForecastArea, name: str, known: dict[str, Any] | None, now: datetime
    ) -> None:
        ask = replace(point_ask(area.lat_deg, area.lon_deg, self._services), once=known is not None)
        point = parse_point(sources.fetch(ask).body)
        value = {"cell": point.cell}
        if known is not None and known["cell"] != point.cell:
            value |= {"before": known["cell"], "changed_at": now.isoformat()}
            told = {"action": "resolve", "boat": self._settings.boat.name}
            log.warning("grid cell of an area changed", extra=told)
        elif known is not None:
            value = known
        self._put_note(name, value)

    def _cells(self) -> dict[str, str]:
        found = {area.name: self._get_note(f"cell:{area.name}") for area in self._settings.areas}
        return {name: note[0]["cell"] for name, note in found.items() if note is not None}

    # ---- where the stations lie

    def _place_stations(self, sources: _Round) -> None:
        """Look daily whether each station still lies where it was confirmed: its id may be given to another (F10).

        Where the list can't be had or lacks a station, the last place stands and nothing is said.
        """
        stations = self._stations()
        if not stations or sources.left_s() <= 0:
            return
        with self._store.writing() as session:
            tick = self._name("tick:place stations")
            if not letters.claim_tick(session, tick, self._clock.now(), PLACE_STATIONS_EVERY):
                return
        try:
            ask = replace(latest_observations_ask(self._services), once=True)
            table = parse_latest(sources.fetch(ask).body)
        except (FetchFailed, NotUnderstood) as fault:
            told = {"action": "place stations", "boat": self._settings.boat.name, "fault": str(fault)}
            log.info("no list of where the stations lie", extra=told)
            return
        for station in stations:
            if station in table.index:
                self._place(latest_of(table, station))

    def _place(self, report: StationReport) -> None:
        if report.lat_deg is None or report.lon_deg is None:
            return
        name, seen = f"station:{report.station}", [report.lat_deg, report.lon_deg]
        known = self._get_note(name)
        if known is None:
            self._put_note(name, {"confirmed": seen, "seen": seen, "moved": False})
            return
        moved = known[0]["moved"] or has_moved(report, *known[0]["confirmed"])
        self._put_note(name, {"confirmed": known[0]["confirmed"], "seen": seen, "moved": moved})

    def confirm_station(self, station: str) -> tuple[float, float]:
        """Take a station's newest place for its own from now on. Returns latitude and longitude, degrees.

        Raises:
            SettingsError: the settings name no such station.
            StoreError: it isn't known yet where it lies.
        """
        stations = self._stations()
        if station not in stations:
            write = " or ".join(stations) or "nothing: no area has a station"
            raise SettingsError([Fault(str(self._settings.path), "areas.station", repr(station), write)])
        known = self._get_note(f"station:{station}")
        if known is None:
            raise StoreError(
                f"it isn't known yet where {station} lies; the service looks once a day while it runs"
            )
        seen = known[0]["seen"]
        self._put_note(f"station:{station}", {"confirmed": seen, "seen": seen, "moved": False})
        return seen[0], seen[1]

    def _stations(self) -> list[str]:
        return list(dict.fromkeys(area.station for area in self._settings.areas if area.station is not None))

    def _moved_stations(self) -> dict[str, str]:
        found = {station: self._get_note(f"station:{station}") for station in self._stations()}
        return {
            station: _moved_words(station, note[0])
            for station, note in found.items()
            if note is not None and note[0]["moved"]
        }

    def _cell_changes(self, now: datetime) -> tuple[str, ...]:
        """What the skipper is told, for some days, of a point that now lies in another cell (F5)."""
        zone = ZoneInfo(self._settings.harbor.time_zone)
        told = []
        for area in self._settings.areas:
            note = None if area.grid is not None else self._get_note(f"cell:{area.name}")
            if note is None or "changed_at" not in note[0]:
                continue
            changed_at = datetime.fromisoformat(note[0]["changed_at"])
            if now - changed_at < TELL_CELL_CHANGE_FOR:
                day = changed_at.astimezone(zone)
                told.append(
                    f"{area.name}: on {day:%a} {day.day} {day:%b} the weather service moved its point from grid "
                    f"cell {note[0]['before']} to {note[0]['cell']}. Its numbers now come from there."
                )
        return tuple(told)

    # ---- what is on hand

    def on_hand(self, now: datetime) -> OnHand:
        """The newest good reply of every source, and what is known beside them, read back from the store.

        One that a restore brought is none: what came between the backup and the restore is lost.
        """
        cells, moved, notices = self._cells(), self._moved_stations(), self._cell_changes(now)
        kept: dict[ReplyKey, Sequence[RawReply]] = {}
        troubles: dict[ReplyKey, str] = {}
        newer: dict[ReplyKey, datetime] = {}
        with self._store.reading() as session:
            restored = newest_restore(session)
            for area in self._settings.areas:
                keys = [(SourceKind.ZONE_TEXT, area.office), (SourceKind.WARNINGS, area.zone)]
                if (cell := area.grid or cells.get(area.name)) is not None:
                    keys.append((SourceKind.GRID, cell))
                if area.station is not None:
                    keys.append((SourceKind.OBSERVATIONS, area.station))
                for kind, key in keys:
                    held = letters.get_note(session, self._name(_newest_name(kind, key)))
                    sha256 = None if held is None else held[0]["sha256"]
                    pages = _kept_pages(session, kind, key, sha256, 0 if restored is None else restored.reply_id)
                    met = []
                    if pages:
                        kept[kind, key] = pages
                    elif restored is not None:
                        met.append(f"nothing came since the restore of {restored.at:%Y-%m-%d %H:%M} UTC")
                    note = letters.get_note(session, self._name(f"trouble:{kind.value}:{key}"))
                    if note is not None:
                        asked = "last asked" if note[0].get("asked", True) else "not asked at"
                        met.append(f"{asked} {note[1]:%H:%M} UTC: {note[0]['text']}")
                    if met:
                        troubles[kind, key] = "; ".join(met)
                listed = letters.get_note(session, self._name(f"listed:{area.office}"))
                if listed is not None and not listed[0]["had"]:
                    issued_at = datetime.fromisoformat(listed[0]["issued_at"])
                    newer[SourceKind.ZONE_TEXT, area.office] = issued_at
            seen = still_needed(replies.seen_warnings(session), now)
        return OnHand(kept, troubles, seen, cells, newer, moved, notices)

    # ---- notes

    def _name(self, name: str) -> str:
        return f"{name}:{self._settings.boat.name}"

    def _get_note(self, name: str) -> tuple[Any, datetime] | None:
        with self._store.reading() as session:
            return letters.get_note(session, self._name(name))

    def _put_note(self, name: str, value: dict[str, Any]) -> None:
        with self._store.writing() as session:
            letters.put_note(session, self._name(name), value, self._clock.now())

    def _drop_note(self, name: str) -> None:
        if self._get_note(name) is not None:
            with self._store.writing() as session:
                letters.drop_note(session, self._name(name))


def still_needed(seen: Sequence[OfficialWarning], now: datetime) -> tuple[OfficialWarning, ...]:
    """Of the warnings seen so far, those that still matter where no list answers for them."""
    nothing_new = AlertsReply(updated_at=None, warnings=(), next_url="unknown", faults=())
    return remember(seen, nothing_new, now)


class _NotAsked(FetchFailed):
    """The round had no time left for the source."""


class _Round:
    """Passes one round's fetches on, ends it in time, and keeps every reply that comes, the unusable ones too: the
    audit trail.

    A host that failed in every try is asked once only for its other addresses: where it is down, patience with
    each would leave no time for the hosts that answer.

    Attributes:
        later: sources that are asked after the present one.
    """

    def __init__(self, fetcher: Fetcher, store: Store, clock: Clock) -> None:
        self._fetcher = fetcher
        self._store = store
        self._clock = clock
        self._over_s = clock.passed_s() + ROUND_LIMIT_S
        self._failed: set[str] = set()
        self.later = 0

    def left_s(self) -> float:
        """What the present source may take: what the later ones can spare, and never less than its equal share."""
        left_s = self._over_s - self._clock.passed_s()
        return max(left_s - self.later * LEFT_FOR_LATER_S, left_s / (self.later + 1))

    def fetch(self, ask: Ask) -> RawReply:
        left_s, host = self.left_s(), urlsplit(ask.url).netloc
        if left_s <= 0:
            raise _NotAsked("no time was left for it", retry=True)
        try:
            reply = self._fetcher.fetch(replace(ask, once=ask.once or host in self._failed, within_s=left_s))
        except FetchFailed as fault:
            if isinstance(fault, UnusableReply):
                self._keep(fault.reply)
            if fault.retry:
                self._failed.add(host)
            raise
        self._keep(reply)
        return reply

    def _keep(self, reply: RawReply) -> None:
        with self._store.writing() as session:
            replies.keep_reply(session, reply)


def _newest_name(kind: SourceKind, key: str) -> str:
    """The note of the reply that is newest inside: its time and hash."""
    return f"newest:{kind.value}:{key}"


def _kept_pages(session: Any, kind: SourceKind, key: str, held: str | None, after_id: int) -> tuple[RawReply, ...]:
    """A source's newest good reply, or the one ``held`` by its hash; of a list of warnings all its pages, as far
    as they came together. Only what was stored after ``after_id`` is given."""
    first = replies.newest_good(session, kind, key, after_id=after_id)
    if first is None:
        return ()
    if held is not None and held != first.sha256 and replies.reply_named(session, held) is not None:
        named = replies.reply_named(session, held, after_id=after_id)
        if named is None:
            return ()  # it is newer inside than what came since, so that can't stand in for it
        first = named
    pages = [first]
    if kind is SourceKind.WARNINGS:
        try:
            while parse_alerts(pages[-1].body).next_url is not None:
                page = replies.newest_good(session, kind, f"{key} page {len(pages) + 1}", after_id=after_id)
                if page is None or page.fetched_at < first.fetched_at:
                    break
                pages.append(page)
        except NotUnderstood:
            return tuple(pages)
    return tuple(pages)


def _updated_at(body: bytes) -> datetime | None:
    """None where it can't be read: a broken copy is asked for again too."""
    try:
        return parse_grid(body).updated_at
    except NotUnderstood:
        return None


def _measured_at(station: str, body: bytes) -> datetime | None:
    try:
        newest: datetime = parse_realtime(body, station).rows.index[-1].to_pydatetime()
    except NotUnderstood:
        return None
    return newest


def _moved_words(station: str, note: Mapping[str, Any]) -> str:
    (lat, lon), (new_lat, new_lon) = note["confirmed"], note["seen"]
    return (
        f"{station} is no longer at {lat:.3f} {lon:.3f}, where it was confirmed, but at {new_lat:.3f} "
        f"{new_lon:.3f}: another station may have its id now. If it is the one you want: "
        f"soakbell confirm-station {station}"
    )
