"""Which addresses of the public services a boat needs, and the two fetches that take more than one request.

Manuals: https://www.weather.gov/documentation/services-web-api (weather service),
https://www.ndbc.noaa.gov/docs/ndbc_web_data_guide.pdf (buoys, realtime2).
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Literal, Protocol

from urllib3.util import parse_url

from soakbell.errors import FetchFailed, NotUnderstood
from soakbell.feeds.alerts import parse_alerts
from soakbell.feeds.strict_json import list_at, moment, read_object, shown, text_at
from soakbell.feeds.transport import JSON_TYPES, Ask
from soakbell.sea.areas import ZONE_ID
from soakbell.sea.sources import RawReply, SourceKind

MOST_PAGES = 20
"""Pages of one list of warnings. A zone has a handful of messages; a page holds hundreds."""

_GEO = "application/geo+json"
_LINKED = "application/ld+json"

_OFFICE = re.compile(r"[A-Z]{3}")
_PRODUCT = re.compile(r"[A-Z]{3}")
_CELL = re.compile(r"[A-Z]{3}/[0-9]{1,3},[0-9]{1,3}")
_STATION = re.compile(r"[A-Z0-9]{4,7}")
_PRODUCT_ID = re.compile(r"[0-9A-Fa-f-]{8,64}")


class Fetcher(Protocol):
    def fetch(self, ask: Ask) -> RawReply:
        """The reply, or FetchFailed."""


@dataclass(frozen=True)
class PublicServices:
    """Where the public services live, without a slash at the end."""

    weather_api: str = "https://api.weather.gov"
    buoys: str = "https://www.ndbc.noaa.gov"

    @property
    def hosts(self) -> frozenset[str]:
        """Names without port, as the transport wants them."""
        return frozenset(parse_url(base).host or "" for base in (self.weather_api, self.buoys))


PUBLIC = PublicServices()


def listing_ask(office: str, product: str, services: PublicServices = PUBLIC) -> Ask:
    """The list of an office's text products of one kind. Always fresh: the question is what is newest.

    ``/products/types/CWF/locations/TAE`` gives JSON-LD: ``@graph`` lists the products, newest first, each with
    ``id``, ``issuanceTime``, ``issuingOffice`` and ``productCode``. The same path with ``/latest`` gives the
    newest product itself; the list is preferred, as it shows that there is nothing newer.
    """
    url = f"{services.weather_api}/products/types/{_right(product, _PRODUCT)}/locations/{_right(office, _OFFICE)}"
    return _json_ask(SourceKind.ZONE_TEXT, f"{office} {product} list", url, _LINKED, fresh=True)


def product_ask(office: str, product_id: str, services: PublicServices = PUBLIC) -> Ask:
    """One text product, by the id that the list gives."""
    url = f"{services.weather_api}/products/{_right(product_id, _PRODUCT_ID)}"
    return _json_ask(SourceKind.ZONE_TEXT, _right(office, _OFFICE), url, _LINKED)


def warnings_ask(zone: str, services: PublicServices = PUBLIC) -> Ask:
    """What is in force for a zone. Always fresh: an empty list means something only at the moment it is given."""
    url = f"{services.weather_api}/alerts/active?zone={_right(zone, ZONE_ID)}"
    return _json_ask(SourceKind.WARNINGS, zone, url, _GEO, fresh=True)


def grid_ask(cell: str, services: PublicServices = PUBLIC, *, fresh: bool = False) -> Ask:
    """The raw grid of a cell, ``TAE/58,65``."""
    url = f"{services.weather_api}/gridpoints/{_right(cell, _CELL)}"
    return _json_ask(SourceKind.GRID, cell, url, _GEO, fresh=fresh)


def point_ask(lat_deg: float, lon_deg: float, services: PublicServices = PUBLIC) -> Ask:
    """Which office, cell and zone a position belongs to. Degrees, north and east positive.

    The service redirects positions with more than four decimals or with zeros at the end, so none are sent.
    """
    if not (-90.0 <= lat_deg <= 90.0 and -180.0 <= lon_deg <= 180.0):
        raise ValueError(f"{lat_deg}, {lon_deg} is no position")
    key = f"{_short(lat_deg)},{_short(lon_deg)}"
    return _json_ask(SourceKind.POINT, key, f"{services.weather_api}/points/{key}", _GEO, fresh=True)


def zone_ask(
    zone: str, services: PublicServices = PUBLIC, *, of: Literal["forecast", "coastal"] = "coastal"
) -> Ask:
    """What the service knows of a zone. A zone it doesn't know is a 404."""
    url = f"{services.weather_api}/zones/{of}/{_right(zone, ZONE_ID)}"
    return _json_ask(SourceKind.POINT, zone, url, _GEO)


def observations_ask(station: str, services: PublicServices = PUBLIC, *, fresh: bool = False) -> Ask:
    """The last 45 days of a buoy or shore station, newest row first."""
    return Ask(
        kind=SourceKind.OBSERVATIONS,
        key=station,
        url=f"{services.buoys}/data/realtime2/{_right(station, _STATION)}.txt",
        accept="text/plain",
        expects=("text/plain",),
        fresh=fresh,
    )


def latest_observations_ask(services: PublicServices = PUBLIC) -> Ask:
    """The newest row of every station, with its position. One file for all: its key is ``latest observations``."""
    return Ask(
        kind=SourceKind.OBSERVATIONS,
        key="latest observations",
        url=f"{services.buoys}/data/latest_obs/latest_obs.txt",
        accept="text/plain",
        expects=("text/plain",),
    )


@dataclass(frozen=True)
class ListedProduct:
    """The newest text product that an office's list names: when it was issued (UTC), and how it is asked for."""

    issued_at: datetime
    ask: Ask


def newest_listed(
    transport: Fetcher, office: str, product: str = "CWF", services: PublicServices = PUBLIC
) -> ListedProduct:
    """What an office's list says is newest.

    Raises:
        FetchFailed: the list couldn't be had, or is empty.
        NotUnderstood: the list can't be read. One entry without a readable time is enough: it may be the newest.
    """
    listing = transport.fetch(listing_ask(office, product, services))
    issued_at, product_id = _newest_issue(listing, office, product)
    return ListedProduct(issued_at, product_ask(office, product_id, services))


def fetch_newest_product(
    transport: Fetcher, office: str, product: str = "CWF", services: PublicServices = PUBLIC
) -> RawReply:
    """The newest text product of an office; ``key`` is the office.

    Raises:
        FetchFailed, NotUnderstood: as ``newest_listed``; also where the product couldn't be had.
    """
    return transport.fetch(newest_listed(transport, office, product, services).ask)


def fetch_warnings(transport: Fetcher, zone: str, services: PublicServices = PUBLIC) -> tuple[RawReply, ...]:
    """All pages of a zone's warnings. The first has the zone as its key, later ones ``GMZ730 page 2``.

    Raises:
        FetchFailed: a page couldn't be had, or the list has no end. Pages already read are not given: a part of
            the list looks like fewer warnings.
        NotUnderstood: a page can't be read.
    """
    ask = warnings_ask(zone, services)
    pages: list[RawReply] = []
    asked: set[str] = set()
    while True:
        asked.add(ask.url)
        pages.append(transport.fetch(ask))
        following = parse_alerts(pages[-1].body).next_url
        if following is None:
            return tuple(pages)
        ours = following.startswith(f"{services.weather_api}/alerts")
        if not ours or following in asked or len(pages) == MOST_PAGES:
            message = (
                f"warnings for {zone}: page {len(pages)} leads on to {shown(following)}, which can't be followed"
            )
            raise FetchFailed(message, retry=True)
        ask = replace(ask, url=following, key=f"{zone} page {len(pages) + 1}")


def _newest_issue(listing: RawReply, office: str, product: str) -> tuple[datetime, str]:
    where = f"list of {product} from {office}"
    entries = list_at(read_object(listing.body, what="a list of text products"), "@graph", where)
    if not entries:
        raise FetchFailed(f"{where}: it is empty", retry=True)
    issued = [_issue(entry, product, where) for entry in entries]
    # Of two with one time (a correction) the list's own order, newest first, decides: max gives the first.
    return max(issued, key=lambda issue: issue[0])


def _issue(entry: object, product: str, where: str) -> tuple[datetime, str]:
    if not isinstance(entry, Mapping):
        raise NotUnderstood(f"{where}: an entry is no object")
    if entry.get("productCode", product) != product:
        raise NotUnderstood(f"{where}: holds another product, {shown(entry['productCode'])}")
    found = text_at(entry, "id", where)
    if not _PRODUCT_ID.fullmatch(found):
        raise NotUnderstood(f"{where}: {shown(found)} is no id of a product")
    return moment(entry.get("issuanceTime"), f"{where}: issuanceTime"), found


def _json_ask(kind: SourceKind, key: str, url: str, accept: str, *, fresh: bool = False) -> Ask:
    return Ask(kind=kind, key=key, url=url, accept=accept, expects=JSON_TYPES, fresh=fresh)


def _right(word: str, form: re.Pattern[str]) -> str:
    """``word``, if it has the form; it becomes a part of an address."""
    if not form.fullmatch(word):
        raise ValueError(f"{word!r} has not the form {form.pattern}")
    return word


def _short(degrees: float) -> str:
    text = f"{degrees:.4f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text
