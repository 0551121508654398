"""Fetches what a boat's call rests on, keeps every reply as it came, and gives back what is on hand."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Sequence
from datetime import datetime, timedelta
from functools import partial
from typing import Any

from soakbell.clock import Clock
from soakbell.errors import FetchFailed, NotUnderstood
from soakbell.feeds.alerts import parse_alerts
from soakbell.feeds.points import parse_point
from soakbell.feeds.requests_list import (
    Fetcher,
    PublicServices,
    fetch_newest_product,
    fetch_warnings,
    grid_ask,
    observations_ask,
    point_ask,
)
from soakbell.feeds.transport import Ask, UnusableReply
from soakbell.sea.areas import ForecastArea
from soakbell.sea.sources import RawReply, SourceKind
from soakbell.sea.warnings import joined
from soakbell.settings import Settings
from soakbell.store import letters, replies
from soakbell.store.engine import Store
from soakbell.survey import OnHand, ReplyKey

log = logging.getLogger(__name__)

RESOLVE_CELL_EVERY = timedelta(days=1)
NEWS_IS_OLD_AFTER = timedelta(minutes=10)


class Fetching:
    """The sources of one boat. All methods block; none fetches inside a transaction."""

    def __init__(self, settings: Settings, store: Store, clock: Clock, fetcher: Fetcher) -> None:
        self._settings = settings
        self._store = store
        self._clock = clock
        self._fetcher = _KeepsAll(fetcher, store)
        self._services = PublicServices(settings.sources.weather_api, settings.sources.buoys)
        self._fetching = threading.Lock()

    def poll(self) -> None:
        """Fetch every source once. One that fails is noted and does not stop the others."""
        with self._fetching:
            self._poll()

    def poll_if_old(self) -> None:
        """Poll, unless it was done within NEWS_IS_OLD_AFTER."""
        with self._fetching:
            polled = self._get_note("polled")
            if polled is None or self._clock.now() - polled[1] > NEWS_IS_OLD_AFTER:
                self._poll()

    def _poll(self) -> None:
        areas, services = self._settings.areas, self._services
        for area in areas:
            self._resolve_cell(area)
        cells = self._cells()
        jobs: dict[ReplyKey, Callable[[], object]] = {}
        for area in areas:
            text = partial(fetch_newest_product, self._fetcher, area.office, services=services)
            jobs[SourceKind.ZONE_TEXT, area.office] = text
            jobs[SourceKind.WARNINGS, area.zone] = partial(self._fetch_warnings, area.zone)
            cell = area.grid or cells.get(area.name)
            if cell is not None:
                jobs[SourceKind.GRID, cell] = partial(self._fetcher.fetch, grid_ask(cell, services))
            if area.station is not None:
                ask = observations_ask(area.station, services)
                jobs[SourceKind.OBSERVATIONS, area.station] = partial(self._fetcher.fetch, ask)
        for key, job in jobs.items():
            self._try(key, job)
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
            self._put_note(f"trouble:{kind.value}:{name}", {"text": str(fault)})
        else:
            self._drop_note(f"trouble:{kind.value}:{name}")

    def _fetch_warnings(self, zone: str) -> None:
        pages = fetch_warnings(self._fetcher, zone, self._services)
        listed = joined([parse_alerts(page.body) for page in pages])
        with self._store.writing() as session:
            replies.keep_warnings(session, listed.warnings, self._clock.now())

    def _resolve_cell(self, area: ForecastArea) -> None:
        """Ask which grid cell the area's point lies in, daily and after a fault: offices re-cut their grids."""
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
        self._try(key, partial(self._ask_cell, area, name, None if known is None else known[0], now))

    def _ask_cell(self, area: ForecastArea, name: str, known: dict[str, Any] | None, now: datetime) -> None:
        point = parse_point(self._fetcher.fetch(point_ask(area.lat_deg, area.lon_deg, self._services)).body)
        value = {"cell": point.cell}
        if known is not None and known["cell"] != point.cell:
            value |= {"before": known["cell"], "changed_at": now.isoformat()}
            log.warning("grid cell changed", extra={"action": "resolve", "cell": point.cell})
        elif known is not None:
            value = known
        self._put_note(name, value)

    def _cells(self) -> dict[str, str]:
        found = {area.name: self._get_note(f"cell:{area.name}") for area in self._settings.areas}
        return {name: note[0]["cell"] for name, note in found.items() if note is not None}

    # ---- what is on hand

    def on_hand(self) -> OnHand:
        """The newest good reply of every source, read back from the store."""
        cells = self._cells()
        kept: dict[ReplyKey, Sequence[RawReply]] = {}
        troubles: dict[ReplyKey, str] = {}
        with self._store.reading() as session:
            for area in self._settings.areas:
                keys = [(SourceKind.ZONE_TEXT, area.office), (SourceKind.WARNINGS, area.zone)]
                if (cell := area.grid or cells.get(area.name)) is not None:
                    keys.append((SourceKind.GRID, cell))
                if area.station is not None:
                    keys.append((SourceKind.OBSERVATIONS, area.station))
                for kind, key in keys:
                    pages = _kept_pages(session, kind, key)
                    if pages:
                        kept[kind, key] = pages
                    note = letters.get_note(session, self._name(f"trouble:{kind.value}:{key}"))
                    if note is not None:
                        troubles[kind, key] = f"last asked {note[1]:%H:%M} UTC: {note[0]['text']}"
            seen = replies.seen_warnings(session)
        return OnHand(kept, troubles, seen, cells)

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


class _KeepsAll:
    """Passes fetches on and keeps every reply that comes, the unusable ones too: the audit trail."""

    def __init__(self, fetcher: Fetcher, store: Store) -> None:
        self._fetcher = fetcher
        self._store = store

    def fetch(self, ask: Ask) -> RawReply:
        try:
            reply = self._fetcher.fetch(ask)
        except UnusableReply as fault:
            self._keep(fault.reply)
            raise
        self._keep(reply)
        return reply

    def _keep(self, reply: RawReply) -> None:
        with self._store.writing() as session:
            replies.keep_reply(session, reply)


def _kept_pages(session: Any, kind: SourceKind, key: str) -> tuple[RawReply, ...]:
    """A source's newest good reply; of a list of warnings all its pages, as far as they came together."""
    first = replies.newest_good(session, kind, key)
    if first is None:
        return ()
    pages = [first]
    if kind is SourceKind.WARNINGS:
        try:
            while parse_alerts(pages[-1].body).next_url is not None:
                page = replies.newest_good(session, kind, f"{key} page {len(pages) + 1}")
                if page is None or page.fetched_at < first.fetched_at:
                    break
                pages.append(page)
        except NotUnderstood:
            return tuple(pages)
    return tuple(pages)
