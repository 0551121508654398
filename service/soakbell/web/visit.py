"""One request to the phone page, and the ways through it: who may go where, and what answers."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from enum import IntEnum
from typing import Any, TypeAlias

from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from soakbell.letters.times import HarborTimes
from soakbell.web.house import PageHouse
from soakbell.web.render import rendered

FORM_BYTES = 64_000


class Role(IntEnum):
    """Each may do what those before it may. CREW sees the call and logs; the rest is the SKIPPER's."""

    CREW = 1
    SKIPPER = 2


@dataclass(frozen=True)
class SignedIn:
    """``form_token`` must come back with everything that changes something. ``renews``: the session has lasted so
    long that what is done by it lets it begin anew."""

    token: str
    role: Role
    form_token: str
    renews: bool

    @property
    def is_skipper(self) -> bool:
        return self.role is Role.SKIPPER


@dataclass(frozen=True)
class Visit:
    """What a page needs to answer. ``now`` is asked of the clock once a request; ``body`` is that of a POST which
    is no form."""

    request: Request
    house: PageHouse
    now: datetime
    who: SignedIn | None
    body: bytes = b""

    @property
    def today(self) -> date:
        """The harbor's day."""
        return self.now.astimezone(self.house.zone).date()

    @property
    def times(self) -> HarborTimes:
        """For a page of today."""
        return HarborTimes.at(self.house.settings.harbor.time_zone, self.now)

    @property
    def query(self) -> Mapping[str, str]:
        return self.request.query_params

    def page(self, template: str, *, status: int = 200, **words: Any) -> HTMLResponse:
        """The template with the layout around it."""
        here = self.request.url.path
        return HTMLResponse(rendered(self.house, self.who, template, words, here=here), status_code=status)

    def go(self, path: str) -> RedirectResponse:
        """To one of our own pages, by GET."""
        return RedirectResponse(path, status_code=303)


Answer: TypeAlias = Callable[[Visit], Response]
Taken: TypeAlias = Callable[[Visit, FormData], Response]


@dataclass(frozen=True)
class Way:
    """One address. A ``get`` changes nothing, ever: programs open links before people do.

    Attributes:
        path: as Starlette writes it.
        get, post: what answers; runs in a thread, so it may block.
        role: the least that may enter; None: anybody.
        most_bytes: of a POST; more is refused unread.
        as_form: False hands ``post`` an empty form and the body in its visit.
    """

    path: str
    get: Answer | None = None
    post: Taken | None = None
    role: Role | None = Role.CREW
    most_bytes: int = FORM_BYTES
    as_form: bool = True
