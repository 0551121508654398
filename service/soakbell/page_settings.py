"""What the skipper settled about the phone page: ``config/page.toml``. No fault in it stops a call or a letter."""

from __future__ import annotations

import ipaddress
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path
from typing import Annotated, Any
from urllib.parse import urlsplit

from argon2 import extract_parameters
from argon2.exceptions import InvalidHashError
from argon2.profiles import RFC_9106_LOW_MEMORY
from pydantic import AfterValidator, Field

from soakbell.errors import Fault, SettingsError
from soakbell.settings import Settings, is_loopback
from soakbell.settings_reading import Reader, Table, load_beside, usable

_HASH = 'a line that "soakbell passphrase" gives'


def _weighty(text: str) -> str:
    try:
        found = extract_parameters(text)
    except InvalidHashError as error:
        raise ValueError(_HASH) from error
    least = RFC_9106_LOW_MEMORY
    if (found.type, found.memory_cost * found.time_cost) < (least.type, least.memory_cost * least.time_cost):
        raise ValueError(_HASH)
    return text


def _own_address(text: str) -> str:
    url = urlsplit(text)
    if url.username or url.password or url.query or url.fragment or url.path not in ("", "/") or not url.hostname:
        raise ValueError("an address without a path, as in https://boat.example")
    if url.scheme != "https" and not (url.scheme == "http" and is_loopback(url.hostname)):
        raise ValueError("an address that begins with https://, or http:// on this computer alone")
    return f"{url.scheme}://{url.netloc.lower()}"


def _ip_address(text: str) -> str:
    try:
        return str(ipaddress.ip_address(text))
    except ValueError as error:
        raise ValueError('an address of this computer, as in "127.0.0.1"') from error


def _network(text: str) -> str:
    try:
        network = ipaddress.ip_network(text)
    except ValueError as error:
        raise ValueError('an address or a network, as in "127.0.0.1" or "10.88.0.0/16"') from error
    if network.prefixlen == 0:
        raise ValueError("the addresses of your proxies, not every address there is")
    return text


class PageTable(Table):
    port: int = Field(default=8462, ge=0, le=65535, description="a port of this machine, 0 for any free one")
    host: Annotated[str, AfterValidator(_ip_address)] = Field(
        default="127.0.0.1", description='an address of this computer, as in "127.0.0.1"'
    )
    public_url: Annotated[str, AfterValidator(_own_address)] | None = Field(
        default=None, max_length=200, description='the address phones use, as in "https://boat.example"'
    )
    proxies: tuple[Annotated[str, AfterValidator(_network)], ...] = Field(
        default=("127.0.0.1",),
        max_length=10,
        description='addresses or networks of your own proxies, as in ["127.0.0.1"]',
    )
    session_days: int = Field(default=30, ge=1, le=400, description="days, 1 to 400")
    link_days: int = Field(default=7, ge=1, le=30, description="days, 1 to 30")
    skipper: Annotated[str, AfterValidator(_weighty)] = Field(max_length=300, description=_HASH, repr=False)
    crew: Annotated[str, AfterValidator(_weighty)] | None = Field(
        default=None, max_length=300, description=_HASH, repr=False
    )


@dataclass(frozen=True)
class PageTerms:
    """How the page is served. ``skipper`` and ``crew`` are argon2 hashes of their passphrases; without a hash,
    no crew signs in. ``proxies`` are believed when they say whose request they hand on."""

    port: int
    host: str
    public_url: str | None
    session_days: int
    link_days: int
    skipper: str = field(repr=False)
    crew: str | None = field(repr=False)
    proxies: tuple[str, ...] = ("127.0.0.1",)

    @property
    def over_tls(self) -> bool:
        """Phones come by a proxy with TLS."""
        return self.public_url is not None and self.public_url.startswith("https://")


def page_terms_of(settings: Settings) -> PageTerms | str | None:
    """How the page is served; where the file can't be used, why; None where the settings name none."""
    return usable(settings.page_file, load_page_terms)


def load_page_terms(path: Path) -> PageTerms:
    """Read and check the page's file.

    Raises:
        SettingsError: carries every fault found; whatever else goes wrong in reading is one too.
    """
    return load_beside(path, partial(_read, path))


def _read(path: Path, data: dict[str, Any], faults: list[Fault]) -> PageTerms:
    reader = Reader(str(path), data, faults)
    page = reader.table("page", PageTable)
    reader.unknown_tables()
    if page is not None and not is_loopback(page.host) and not (page.public_url or "").startswith("https://"):
        write = 'public_url with https://, served by a proxy with TLS; or host = "127.0.0.1"'
        faults.append(Fault(str(path), "page.host", f"{page.host}, reached from other computers", write))
    if faults or page is None:
        raise SettingsError([_unseen(fault) for fault in faults])
    return PageTerms(
        port=page.port,
        host=page.host,
        public_url=page.public_url,
        session_days=page.session_days,
        link_days=page.link_days,
        skipper=page.skipper,
        crew=page.crew,
        proxies=page.proxies,
    )


def _unseen(fault: Fault) -> Fault:
    """A fault that doesn't show what may be a passphrase."""
    secret = fault.key in ("page.skipper", "page.crew") and fault.found != "nothing"
    return replace(fault, found="something else (not shown)") if secret else fault
