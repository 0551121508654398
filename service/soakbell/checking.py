"""``soakbell check``: tries everything that the service will need, and says what it tried and what came."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Generator, Iterator
from contextlib import closing
from dataclasses import dataclass
from datetime import datetime, time
from pathlib import Path
from typing import TypeVar

from soakbell.clock import SystemClock
from soakbell.errors import FetchFailed, HostNotFound, NotUnderstood, SettingsError, SoakbellError
from soakbell.feeds.alerts import parse_alerts
from soakbell.feeds.buoys import parse_realtime
from soakbell.feeds.grid import parse_grid
from soakbell.feeds.points import parse_point, parse_zone
from soakbell.feeds.requests_list import (
    Fetcher,
    PublicServices,
    fetch_newest_product,
    fetch_warnings,
    grid_ask,
    observations_ask,
    point_ask,
    zone_ask,
)
from soakbell.feeds.zone_text import parse_zone_text
from soakbell.gear.outfit import Outfit, Supplier
from soakbell.gear_settings import load_outfit
from soakbell.known_strings import KnownStrings
from soakbell.letters.recovery_words import dropped_words
from soakbell.letters.words import capital, ended, listed
from soakbell.mail.sender import greet
from soakbell.page_settings import PageTerms, load_page_terms
from soakbell.plan_settings import load_terms
from soakbell.planning.bells import is_quiet
from soakbell.planning.plan_terms import PlanTerms
from soakbell.sea.areas import ForecastArea
from soakbell.sea.grid_hours import hours_of_grid
from soakbell.sea.sources import QUANTITIES
from soakbell.sea.zone_hours import hours_of_zone_forecast
from soakbell.settings import Settings
from soakbell.store.log_keeper import LogKeeper
from soakbell.wiring import open_database, smtp_of, transport_for

T = TypeVar("T")


@dataclass(frozen=True)
class Finding:
    """One thing tried and what came of it."""

    tried: str
    found: str
    well: bool


def check_all(
    settings: Settings, fetcher: Fetcher | None = None, *, announce: Callable[[str], None] = lambda _: None
) -> Iterator[Finding]:
    """Settings (already checked, since they loaded), gear and plan, every source of every area, the mail server.

    Each source is asked once. When the name of one has no address, the others are left untried: most likely this
    computer isn't online, and each would take its time to say so.

    Args:
        announce: is told what is about to be tried.
    """
    yield from check_files(settings)
    services = PublicServices(settings.sources.weather_api, settings.sources.buoys)
    fetcher = fetcher or transport_for(settings, SystemClock(), patient=False)
    try:
        for area in settings.areas:
            for what, attempt in _attempts(area, settings, fetcher, services):
                announce(what)
                yield _tried(what, attempt)
    except HostNotFound as fault:
        yield Finding("sources", f"{fault}; the sources after it were not tried", False)
    mail = settings.mail
    announce(what := f"mail server {mail.host}:{mail.port} ({mail.security})")
    yield _mail_server(settings, what)


def check_files(settings: Settings) -> Iterator[Finding]:
    """The files of settings alone; nobody is asked."""
    yield Finding(f"settings {settings.path}", f"{settings.boat.name}, {len(settings.strings)} strings", True)
    yield from _gear(settings)
    yield from _plan(settings)
    yield from _strings(settings)
    yield from _page(settings)


def _beside(
    path: Path | None, unset: Finding, load: Callable[[Path], T], in_short: Callable[[T], str]
) -> Generator[Finding, None, T | None]:
    """A file read apart from the settings in short, or each of its faults; ``unset`` where they name none."""
    if path is None:
        yield unset
        return None
    what = f"settings {path}"
    try:
        loaded = load(path)
    except SettingsError as refused:
        for fault in refused.faults:
            yield Finding(what, f"{fault.key}: found {fault.found}; write {fault.write}", False)
        return None
    yield Finding(what, in_short(loaded), True)
    return loaded


def _gear(settings: Settings) -> Iterator[Finding]:
    unset = Finding("settings of gear", "none: no letter tells of bait, bench or upkeep", True)

    def in_short(outfit: Outfit) -> str:
        supplier = outfit.supplier.name if outfit.supplier else "no supplier"
        return (
            f"{len(outfit.conditions)} conditions, {len(outfit.parts)} parts, "
            f"{len(outfit.upkeep)} tasks of upkeep, {len(outfit.baits)} baits, {supplier}"
        )

    outfit = yield from _beside(settings.gear_file, unset, load_outfit, in_short)
    if outfit is not None and outfit.supplier is not None:
        yield from _order_hours(settings, outfit.supplier)


def _plan(settings: Settings) -> Iterator[Finding]:
    unset = Finding("settings of the plan", "none: no letter tells a plan of the week", True)

    def in_short(terms: PlanTerms) -> str:
        return f"{terms.horizon_days} days, a trip for {terms.trip_cost_usd:g} dollars"

    yield from _beside(settings.plan_file, unset, load_terms, in_short)


def _strings(settings: Settings) -> Iterator[Finding]:
    """Strings and traps that the log knows and the settings don't; a boat without a database has none."""
    if not settings.database.exists():
        return
    what = "strings of the log"
    try:
        store = open_database(settings)
        try:
            dropped = KnownStrings(settings, store).dropped(LogKeeper(store, settings.trap_strings).now().gear)
        finally:
            store.close()
    except SoakbellError as fault:
        yield Finding(what, str(fault), False)
        return
    more = ended(capital(dropped.fault)) if dropped.fault else ""
    told = " ".join(filter(None, (dropped_words(dropped.traps, dropped.unknown), more)))
    yield Finding(what, told or "all in the settings", not told)


def strings_anew(settings: Settings, now: datetime) -> Finding:
    """Go on with the strings of the settings where those of former ones can't be read."""
    what = "strings of former settings"
    try:
        with closing(open_database(settings)) as store:
            aside = KnownStrings(settings, store).begin_anew(now)
    except SoakbellError as fault:
        return Finding(what, str(fault), False)
    if not aside:
        return Finding(what, "can be read; nothing was changed", True)
    return Finding(what, f"begun anew with those of the settings; kept in the database: {listed(aside)}", True)


def _page(settings: Settings) -> Iterator[Finding]:
    unset = Finding("settings of the phone page", "none: no page is served", True)

    def in_short(terms: PageTerms) -> str:
        url = terms.public_url
        links = f"phones come by {url}" if url else "no public_url, so letters carry no links"
        return f"{terms.host} port {terms.port}, {links}"

    yield from _beside(settings.page_file, unset, load_page_terms, in_short)


def _order_hours(settings: Settings, supplier: Supplier) -> Iterator[Finding]:
    """An order letter waits for the quiet hours to end; past the supplier's hour it never comes."""
    letters, by = settings.letters, supplier.order_by
    hours = [at for at in (time.min, letters.quiet_to) if at <= by]
    if all(is_quiet(at, letters.quiet_from, letters.quiet_to) for at in hours):
        found = (
            f"letters.quiet_to: found {letters.quiet_to:%H:%M}, but {supplier.name} takes orders by {by:%H:%M}, "
            f"so no order letter would ever come; write an hour before {by:%H:%M}"
        )
        yield Finding("settings of quiet hours", found, False)


def _attempts(
    area: ForecastArea, settings: Settings, fetcher: Fetcher, services: PublicServices
) -> Iterator[tuple[str, Callable[[], str]]]:
    cells: list[str] = [area.grid] if area.grid else []
    told: set[str] = set()
    text_read = False

    def point() -> str:
        found = parse_point(fetcher.fetch(point_ask(area.lat_deg, area.lon_deg, services)).body)
        cells[:] = cells or [found.cell]
        return f"grid cell {found.cell}, time zone {found.time_zone}"

    def zone() -> str:
        return parse_zone(fetcher.fetch(zone_ask(area.zone, services)).body).name

    def text() -> str:
        nonlocal text_read
        bulletin = parse_zone_text(fetch_newest_product(fetcher, area.office, services=services).body)
        segments = bulletin.for_zone(area.zone)
        if not segments:
            raise NotUnderstood(f"the zone forecast of {area.office} has none for {area.zone}; correct the zone")
        chop_m = settings.sources.chop_m if area.protected_waters else {}
        for segment in segments:
            whole = hours_of_zone_forecast(segment, area=area.sub_area, chop_m=chop_m).whole
            told.update(quantity for quantity in QUANTITIES if whole[quantity].iloc[:24].all())
        text_read = True
        lost = [phrase for s in segments for period in s.periods for phrase in period.not_understood]
        found = f"issued {bulletin.issued_at:%Y-%m-%d %H:%M} UTC, {len(segments[0].periods)} periods"
        return found + (f", not understood: {'; '.join(lost)}" if lost else "")

    def warnings() -> str:
        pages = [parse_alerts(page.body) for page in fetch_warnings(fetcher, area.zone, services)]
        return f"{sum(len(page.warnings) for page in pages)} in the list"

    def grid() -> str:
        if not cells:
            raise NotUnderstood("no grid cell is known, since the point could not be resolved")
        forecast = parse_grid(fetcher.fetch(grid_ask(cells[0], services)).body)
        numbers = hours_of_grid(forecast, gives=QUANTITIES).numbers
        gives = [q for q in QUANTITIES if numbers[q].notna().any()]
        lacking = sorted(set(area.grid_gives) - set(gives))
        if lacking:
            raise NotUnderstood(
                f"the cell gives {', '.join(gives)} but not {', '.join(lacking)}; with these in grid_gives "
                "there will never be a call: take them out, or name another point"
            )
        return f"updated {forecast.updated_at:%Y-%m-%d %H:%M} UTC, gives {', '.join(gives)}"

    def station() -> str:
        report = parse_realtime(
            fetcher.fetch(observations_ask(str(area.station), services)).body, str(area.station)
        )
        lacking = sorted(set(area.station_gives) - set(report.newest))
        if lacking:
            raise NotUnderstood(f"the station doesn't give {', '.join(lacking)}; take them out of station_gives")
        return ", ".join(f"{q} {seen.value:.1f} at {seen.at:%H:%M} UTC" for q, seen in report.newest.items())

    def limits() -> str:
        limited = _limited(area, settings)
        lacking = sorted(limited - told - set(area.grid_gives))
        if lacking:
            raise NotUnderstood(
                f"{', '.join(lacking)}: limited here, but not in grid_gives, and the zone forecast of "
                f"{area.office} doesn't tell it for all of the coming day; an hour without it carries no call. "
                "Add it to grid_gives if the cell gives it, or take out the limit"
            )
        return f"numbers for all that is limited: {', '.join(sorted(limited))}"

    yield f"{area.name}: point {area.lat_deg}, {area.lon_deg}", point
    yield f"{area.name}: zone {area.zone}", zone
    yield f"{area.name}: zone forecast of {area.office}", text
    if text_read:
        yield f"{area.name}: limits", limits
    yield f"{area.name}: official warnings for {area.zone}", warnings
    yield f"{area.name}: grid forecast {cells[0] if cells else 'of no known cell'}", grid
    if area.station:
        yield f"{area.name}: station {area.station}", station


def _limited(area: ForecastArea, settings: Settings) -> set[str]:
    """Quantities that some limit is held against in this area."""
    names: list[str | None] = [string.name for string in settings.strings if string.area == area.name]
    if settings.harbor.area == area.name:
        names.append(None)
    limits = {limit for name in names for limit in settings.limits_for(name).given()}
    return (limits - {"steepness"}) | ({"sea_m", "period_s"} if "steepness" in limits else set())


def _tried(what: str, attempt: Callable[[], str]) -> Finding:
    try:
        return Finding(what, attempt(), True)
    except HostNotFound:
        raise
    except (FetchFailed, NotUnderstood) as fault:
        return Finding(what, str(fault), False)


def _mail_server(settings: Settings, what: str) -> Finding:
    try:
        answer = asyncio.run(greet(smtp_of(settings)))
    except SoakbellError as fault:
        return Finding(what, str(fault), False)
    login = "logged in" if settings.mail.username else "no login"
    return Finding(what, f"{answer}, {login}; no letter was sent", True)
