"""The only place where real parts are built and plugged together."""

from __future__ import annotations

import os
import random
import socket
from collections.abc import AsyncGenerator, Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from functools import partial

import requests

from soakbell.clock import Clock, SystemClock
from soakbell.desk import UNASKED, Desk, PageLinks
from soakbell.errors import FetchFailed
from soakbell.feeds.requests_list import Fetcher, PublicServices
from soakbell.feeds.transport import Transport
from soakbell.gear.outfit import Outfit
from soakbell.gear_settings import outfit_of
from soakbell.letters.facts import Link, PageAct
from soakbell.letters.times import HarborTimes
from soakbell.mail.sender import Outcome, Outgoing, Security, SmtpSettings, send_batch
from soakbell.page_settings import PageTerms, page_terms_of
from soakbell.plan_settings import terms_of
from soakbell.schedule import Duty, LetterHour, Parts, Sweep
from soakbell.settings import Settings
from soakbell.store.engine import Store, open_current
from soakbell.web.door import LetterLinks
from soakbell.web.house import PageHouse
from soakbell.web.keys import keys_beside

POLL_EVERY_MIN = 30.0
"""Offices write zone text about every six hours and grids about hourly; before a letter all is asked again."""

HEARTBEAT_TIMEOUT_S = 20.0


@dataclass(frozen=True)
class House:
    """One boat's service, built and not yet running. ``outfit`` is that of ``PageHouse``."""

    settings: Settings
    store: Store
    desk: Desk
    sweep: Sweep
    outfit: Outfit | str | None
    invented: bool

    def close(self) -> None:
        self.store.close()


def build(
    settings: Settings,
    *,
    clock: Clock | None = None,
    fetcher: Fetcher | None = None,
    invented: bool = False,
) -> House:
    """Everything one boat's service needs.

    Args:
        clock: the computer's own where None.
        fetcher: the polite transport where None.
        invented: mark every letter as a demonstration on invented data.
    """
    clock = clock or SystemClock()
    store = open_database(settings)
    outfit = outfit_of(settings)
    desk = Desk(
        settings,
        store,
        clock,
        fetcher or transport_for(settings, clock),
        outfit=outfit,
        terms=terms_of(settings),
        invented=invented,
        command=command_of(os.environ),
        page_links=page_links_of(settings),
    )
    parts = Parts(
        write=desk.write,
        write_failed=desk.write_failed,
        recheck=desk.recheck,
        send=partial(_send, settings, clock),
        poll=desk.sources.poll,
        housekeep=desk.housekeep,
        heartbeat=heartbeat_of(settings),
        ring=desk.ring,
        warm=desk.log.now,
        back_up=desk.back_up,
    )
    return House(settings, store, desk, Sweep(store, clock, duty_of(settings), parts), outfit, invented)


def page_house(house: House, terms: PageTerms, clock: Clock) -> PageHouse:
    """What the phone page of a boat's service is built on.

    Raises:
        StoreError: the keys beside the database can't be used.
    """
    keys = keys_beside(house.settings.database)
    return PageHouse(
        house.settings, terms, house.store, clock, house.desk, house.outfit, keys, invented=house.invented
    )


def page_links_of(settings: Settings) -> PageLinks | None:
    """What makes the links of letters; None where phones have no address to reach the page by.

    The keys are read for each link, so that no command that only looks makes any.
    """
    terms = page_terms_of(settings)
    if not isinstance(terms, PageTerms) or terms.public_url is None:
        return None
    public_url, lasts = terms.public_url, timedelta(days=terms.link_days)
    boat, zone = settings.boat.name, settings.harbor.time_zone

    def link(act: PageAct, day: date, now: datetime) -> Link:
        links = LetterLinks(public_url, keys_beside(settings.database), boat, terms.skipper)
        until = HarborTimes(zone, day).dated(now + lasts)
        return Link(f"Open the page of {boat} (signs in once, until {until})", links.link(act, day, now))

    return link


def command_of(environment: Mapping[str, str]) -> str:
    """How commands in letters begin: as ``SOAKBELL_COMMAND`` says, since the install decides how they are run."""
    return " ".join(environment.get("SOAKBELL_COMMAND", "").split()) or "soakbell"


def open_database(settings: Settings) -> Store:
    """The boat's database, made or upgraded as needed."""
    return open_current(settings.database)


def transport_for(settings: Settings, clock: Clock, *, patient: bool = True) -> Transport:
    """The polite transport; without patience each source is tried once, for somebody who waits for the answer."""
    services = PublicServices(settings.sources.weather_api, settings.sources.buoys)
    local = all(base.startswith("http://") for base in (services.weather_api, services.buoys))
    return Transport(
        contact=settings.sources.contact,
        allowed_hosts=services.hosts,
        clock=clock,
        jitter=random.random,
        back_off_s=None if patient else (),
        allow_loopback=local,
    )


def smtp_of(settings: Settings) -> SmtpSettings:
    mail = settings.mail
    return SmtpSettings(
        host=mail.host,
        port=mail.port,
        security=Security(mail.security),
        from_address=mail.from_address,
        ehlo_hostname=socket.gethostname(),
        username=mail.username,
        password=settings.mail_password,
    )


def duty_of(settings: Settings) -> Duty:
    hours = settings.letters
    return Duty(
        boat=settings.boat.name,
        zone_name=settings.harbor.time_zone,
        hours=(
            LetterHour("morning", hours.morning, hours.useless_after),
            LetterHour("eve", hours.eve, hours.eve_useless_after),
        ),
        watch_every_min=hours.watch_every_min,
        poll_every_min=POLL_EVERY_MIN,
        unasked=UNASKED,
        bells_every_min=hours.bells_every_min,
    )


def heartbeat_of(settings: Settings) -> Callable[[], None] | None:
    """Tells an outside watcher that a letter was accepted; None where no address is set.

    The address is a secret, so a fault is told without it.
    """
    url = settings.heartbeat_url
    if url is None:
        return None

    def ping() -> None:
        try:
            answer = requests.get(url.get_secret_value(), timeout=HEARTBEAT_TIMEOUT_S)
        except requests.RequestException as fault:
            raise FetchFailed(f"the watcher can't be reached: {type(fault).__name__}", retry=True) from None
        if not answer.ok:
            message = f"the watcher answered {answer.status_code}; check the address in heartbeat_url"
            raise FetchFailed(message, retry=True, status=answer.status_code)

    return ping


def _send(
    settings: Settings, clock: Clock, batch: Sequence[Outgoing], /
) -> AsyncGenerator[tuple[Outcome, ...], None]:
    return send_batch(smtp_of(settings), batch, clock=clock)
