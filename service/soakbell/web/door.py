"""The door of the phone page: passphrases, sessions, and links that letters carry.

A letter's link opens a page with one button; the button's POST signs in, once, and only while the link is young.
Passphrases are checked with argon2 (RFC 9106), one at a time, after a wait that grows with every failed try.
"""

from __future__ import annotations

import hashlib
import hmac
import ipaddress
import logging
import math
import secrets
import threading
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from urllib.parse import urlencode

from argon2 import PasswordHasher
from argon2.exceptions import VerificationError
from itsdangerous import BadSignature, URLSafeSerializer, URLSafeTimedSerializer
from sqlalchemy.orm import Session
from starlette.datastructures import FormData
from starlette.responses import Response

from soakbell.errors import StoreError
from soakbell.letters.facts import PageAct
from soakbell.page_settings import PageTerms
from soakbell.store.page_doors import KeptSession, begin_session, end_session, renew_session, session_of, use_link
from soakbell.web.house import PageHouse
from soakbell.web.keys import Keys, timed_signer
from soakbell.web.visit import Role, SignedIn, Visit, Way

log = logging.getLogger(__name__)

_LINK_SALT, _FORM_SALT = "soakbell letter link", b"soakbell form token"
_PHONE_SALT, _PHONE_DAYS, _CREWS = "soakbell known phone", 400, "crew"
_RENEWED_AFTER = timedelta(days=1)
_WITHIN = timedelta(minutes=15)
_FREE_TRIES, _FREE_TRIES_OF_ALL = 3, 30
_LONGEST_WAIT_S = 300
_MOST_CALLERS = 1000
SHORTEST_PASSPHRASE, LONGEST_PASSPHRASE = 12, 200
_LONGEST_LINK = 1000
_LONGEST_LINK_DAYS = 30


# ---- Sessions ------------------------------------------------------------------------------------------------


def who_comes(house: PageHouse, token: str | None, now: datetime) -> SignedIn | None:
    """Whose session a cookie's token is; None where it is nobody's. A changed passphrase ends its sessions."""
    if not token:
        return None
    with house.store.reading() as session:
        kept = session_of(session, token, now)
    if kept is None or kept.boat != house.boat or kept.role not in Role.__members__:
        return None
    role = Role[kept.role]
    if kept.secret_sha256 != _secret_sha256(house, role):
        return None
    whole = timedelta(days=house.terms.session_days)
    renews = kept.ends_at - now <= whole - min(_RENEWED_AFTER, whole / 2)
    return SignedIn(token, role, form_token(house.keys, token), renews)


def stayed(visit: Visit, answer: Response) -> Response:
    """``answer`` to what a session did, which lasts anew by that, once a day at most."""
    who, house = visit.who, visit.house
    if who is None or not who.renews:
        return answer
    try:
        with house.store.writing() as session:
            ends_at = visit.now + timedelta(days=house.terms.session_days)
            renewed = renew_session(session, who.token, ends_at, visit.now)
    except StoreError as fault:
        log.warning("a session could not be renewed", exc_info=fault)  # what was done is done
        return answer
    if renewed:
        _put_cookies(visit, answer, who.token, who.role)
    return answer


def form_token(keys: Keys, session_token: str) -> str:
    """What forms of a session carry; nobody without the session and our key can make it."""
    return hmac.new(keys[-1].encode(), _FORM_SALT + session_token.encode(), hashlib.sha256).hexdigest()


def form_token_fits(keys: Keys, session_token: str, found: str) -> bool:
    return any(
        hmac.compare_digest(form_token(Keys((key,)), session_token).encode(), found.encode()) for key in keys
    )


def cookie_name(terms: PageTerms) -> str:
    """Over TLS under the prefix by which browsers let no other host of the domain set it (RFC 6265bis, 4.1.3)."""
    return "__Host-soakbell" if terms.over_tls else "soakbell"


def _secret_sha256(house: PageHouse, role: Role) -> str:
    secret = house.terms.skipper if role is Role.SKIPPER else house.terms.crew or ""
    return _sha256(secret)


def _sha256(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def _begun(visit: Visit, session: Session, role: Role) -> str:
    """A new session's token. It takes the place of the one that the phone had."""
    house, now = visit.house, visit.now
    if visit.who is not None:
        end_session(session, visit.who.token)
    token = secrets.token_urlsafe(32)
    ends_at = now + timedelta(days=house.terms.session_days)
    begin_session(session, token, KeptSession(house.boat, role.name, _secret_sha256(house, role), ends_at), now)
    return token


def _let_in(visit: Visit, token: str, role: Role, path: str) -> Response:
    answer = visit.go(path)
    _put_cookies(visit, answer, token, role)
    return answer


def _put_cookies(visit: Visit, answer: Response, token: str, role: Role) -> None:
    terms = visit.house.terms
    for name, value, days in (
        (cookie_name(terms), token, terms.session_days),
        (_phone_cookie_name(terms), _phone_mark(visit, role), _PHONE_DAYS),
    ):
        answer.set_cookie(name, value, max_age=days * 86_400, httponly=True, samesite="lax", secure=terms.over_tls)


# ---- Phones that were here before ----------------------------------------------------------------------------


def _phone_cookie_name(terms: PageTerms) -> str:
    return f"{cookie_name(terms)}-phone"


def _phone_mark(visit: Visit, role: Role) -> str:
    """What tells this phone from strangers at the door, and opens nothing. Those of the crew share one: each that
    signs in anew would else have tries anew."""
    phone = _known_phone(visit)
    if role is Role.SKIPPER and phone in (None, _CREWS):
        phone = secrets.token_urlsafe(12)
    return _phones(visit.house.keys).dumps(phone or _CREWS)


def _known_phone(visit: Visit) -> str | None:
    try:
        found = _phones(visit.house.keys).loads(
            visit.request.cookies.get(_phone_cookie_name(visit.house.terms), "")
        )
    except BadSignature:
        return None
    return found if isinstance(found, str) else None


def _phones(keys: Keys) -> URLSafeSerializer:
    return URLSafeSerializer(list(keys), salt=_PHONE_SALT, signer_kwargs={"digest_method": hashlib.sha256})


# ---- Passphrases ---------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Caller:
    """Who tries, as far as can be seen. ``known``: a phone that was signed in here before, by our own mark."""

    name: str
    known: bool


def caller_of(visit: Visit) -> Caller:
    """By the phone's mark, else by its address. An IPv6 address counts by its /64: who has one has all of it."""
    phone = _known_phone(visit)
    if phone is not None:
        return Caller(phone, known=True)
    client = visit.request.client
    host = client.host if client else "unknown"
    try:
        address = ipaddress.ip_address(host.partition("%")[0])
    except ValueError:
        return Caller(host, known=False)
    if isinstance(address, ipaddress.IPv6Address):
        mapped = address.ipv4_mapped
        host = str(ipaddress.ip_network((int(address) >> 64 << 64, 64)) if mapped is None else mapped)
    return Caller(host, known=False)


@dataclass
class Tries:
    """Tries that didn't end well, as seen since the service started.

    After ``_FREE_TRIES`` a caller waits, twice as long with each; after ``_FREE_TRIES_OF_ALL`` of callers not
    known everybody does who isn't known, so that many addresses don't help, nor lock out the boat's own phones.
    """

    _strangers: dict[str, list[datetime]] = field(default_factory=dict)
    _known: dict[str, list[datetime]] = field(default_factory=dict)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def book(self, caller: Caller, now: datetime) -> int:
        """Count a try before it is looked at; so asking many times at once doesn't help. Gives the seconds until
        this caller may try, 0 where it may now; only then was it counted."""
        with self._lock:
            tries = self._of(caller)
            wait = _wait(_still(tries.get(caller.name, ()), now), _FREE_TRIES, now)
            if not caller.known:
                of_all = sorted(at for one in tries.values() for at in _still(one, now))
                wait = max(wait, _wait(of_all, _FREE_TRIES_OF_ALL, now))
            if wait == 0:
                self._count(tries, caller.name, now)
            return wait

    def unbook(self, caller: Caller, booked_at: datetime) -> None:
        """Take back a try that was not looked at, or was right."""
        with self._lock, suppress(ValueError, KeyError):
            self._of(caller)[caller.name].remove(booked_at)

    def forget(self, caller: Caller) -> None:
        with self._lock:
            self._of(caller).pop(caller.name, None)

    def _of(self, caller: Caller) -> dict[str, list[datetime]]:
        return self._known if caller.known else self._strangers

    def _count(self, tries: dict[str, list[datetime]], name: str, now: datetime) -> None:
        if name not in tries and len(tries) >= _MOST_CALLERS:
            for one in [one for one, at in tries.items() if not _still(at, now)]:
                del tries[one]
            if len(tries) >= _MOST_CALLERS:  # keep counting in all, whoever it is
                name = next(iter(tries))
        tries[name] = [*_still(tries.get(name, ()), now), now]


def _still(tries: Iterable[datetime], now: datetime) -> list[datetime]:
    """Those that still count."""
    return [at for at in tries if now - _WITHIN < at <= now]


def _wait(tries: list[datetime], free: int, now: datetime) -> int:
    if len(tries) < free:
        return 0
    wait = min(1 << min(len(tries) - free + 1, 20), _LONGEST_WAIT_S)
    return max(0, wait - int((now - tries[-1]).total_seconds()))


_ONE_AT_A_TIME = threading.Lock()  # each look takes 64 MB
_IN_LINE = threading.BoundedSemaphore(4)
"""Those who wait hold a thread that other pages need, so few may."""
_LONGEST_IN_LINE_S = 2.0
_HASHER = PasswordHasher()


class _Busy(Exception):
    """Others are being looked at."""


@contextmanager
def _turn_to_look() -> Iterator[None]:
    if not _IN_LINE.acquire(blocking=False):
        raise _Busy
    try:
        if not _ONE_AT_A_TIME.acquire(timeout=_LONGEST_IN_LINE_S):
            raise _Busy
        try:
            yield
        finally:
            _ONE_AT_A_TIME.release()
    finally:
        _IN_LINE.release()


def role_of(house: PageHouse, passphrase: str) -> Role | None:
    """Whose passphrase it is. Each hash is tried, so that the time taken doesn't tell."""
    fits = None
    for role, secret in ((Role.CREW, house.terms.crew), (Role.SKIPPER, house.terms.skipper)):
        if secret is not None and _verified(secret, passphrase):
            fits = role
    return fits


def _verified(secret: str, passphrase: str) -> bool:
    try:
        return _HASHER.verify(secret, passphrase)
    except VerificationError:
        return False


def hashed(passphrase: str) -> str:
    """The argon2 hash that ``page.toml`` keeps of a passphrase."""
    return _HASHER.hash(passphrase)


# ---- Links of letters ----------------------------------------------------------------------------------------


@dataclass(frozen=True)
class LetterLinks:
    """Makes the links that letters carry. Each signs the skipper in once, within ``link_days``."""

    public_url: str
    keys: Keys = field(repr=False)
    boat: str
    skipper: str = field(repr=False)
    """His passphrase's hash: a new passphrase voids what the old one's links would open."""

    def link(self, act: PageAct, day: date, now: datetime) -> str:
        """A new link to what a letter of ``day`` is about."""
        told = {"boat": self.boat, "day": day.isoformat(), "act": act, "once": secrets.token_urlsafe(12)}
        return f"{self.public_url}/open?{urlencode({'t': _links(self.keys, self.skipper, now).dumps(told)})}"


_GOES_TO: dict[str, str] = {"today": "/", "log": "/log", "season": "/season"}


def _links(keys: Keys, skipper: str, now: datetime) -> URLSafeTimedSerializer:
    return timed_signer(keys, f"{_LINK_SALT} {_sha256(skipper)}", now)


def _told_by(visit: Visit, link: str) -> str | None:
    """Where a link goes to; None where it is none of ours, too old, or of another boat."""
    house = visit.house
    if len(link) > _LONGEST_LINK:
        return None
    try:
        told = _links(house.keys, house.terms.skipper, visit.now).loads(
            link, max_age=house.terms.link_days * 86_400
        )
    except BadSignature:
        return None
    if not isinstance(told, dict) or told.get("boat") != house.boat:
        return None
    return _GOES_TO.get(str(told.get("act")))


# ---- Pages ---------------------------------------------------------------------------------------------------


def ways(tries: Tries) -> tuple[Way, ...]:
    """The door's own addresses."""

    def sign_in(visit: Visit, form: FormData) -> Response:
        caller = caller_of(visit)
        wait_s = tries.book(caller, visit.now)
        if wait_s:
            return _later(visit, "Too many tries.", wait_s)
        passphrase = str(form.get("passphrase", ""))
        try:
            with _turn_to_look():
                role = role_of(visit.house, passphrase) if 0 < len(passphrase) <= LONGEST_PASSPHRASE else None
        except _Busy:
            tries.unbook(caller, visit.now)
            return _later(visit, "Others are signing in.", math.ceil(_LONGEST_IN_LINE_S))
        if role is None:
            return visit.page("in.html", status=401, fault="That is not a passphrase of this boat.")
        if role is Role.SKIPPER:
            tries.forget(caller)
        else:  # or the crew could guess at the skipper's for ever, with its own between
            tries.unbook(caller, visit.now)
        with visit.house.store.writing() as session:
            token = _begun(visit, session, role)
        return _let_in(visit, token, role, "/")

    return (
        Way("/in", get=_ask, post=sign_in, role=None),
        Way("/out", post=_sign_out),
        Way("/stay", post=_stay, as_form=False),
        Way("/open", get=_offer, post=_open, role=None),
    )


def _later(visit: Visit, why: str, wait_s: int) -> Response:
    answer = visit.page("in.html", status=429, fault=f"{why} Try again in {wait_s} s.")
    answer.headers["Retry-After"] = str(wait_s)
    return answer


def _ask(visit: Visit) -> Response:
    return visit.go("/") if visit.who else visit.page("in.html", fault="")


def _stay(_visit: Visit, _form: FormData) -> Response:
    """A page that is only looked at asks this, so that no GET has to change anything."""
    return Response(status_code=204)


def _sign_out(visit: Visit, _form: FormData) -> Response:
    if visit.who is not None:
        with visit.house.store.writing() as session:
            end_session(session, visit.who.token)
    answer = visit.go("/in")
    terms = visit.house.terms
    answer.delete_cookie(cookie_name(terms), secure=terms.over_tls, httponly=True, samesite="lax")
    answer.headers["Clear-Site-Data"] = '"cache"'
    return answer


def _offer(visit: Visit) -> Response:
    """The page with one button. The link is not used by looking at it."""
    link = visit.query.get("t", "")
    if _told_by(visit, link) is None:
        return visit.page("open.html", status=410, link="", fault=_USED)
    answer = visit.page("open.html", link=link, fault="")
    answer.headers["Referrer-Policy"] = "no-referrer"  # the address of this page is the link
    return answer


_USED = "This link is too old, was used before, or is not of this boat. Use that of a newer letter, or sign in."


def _open(visit: Visit, form: FormData) -> Response:
    link = str(form.get("t", ""))
    goes_to = _told_by(visit, link)
    if goes_to is None:
        return visit.page("open.html", status=410, link="", fault=_USED)
    token = None
    forget_before = visit.now - 2 * timedelta(days=_LONGEST_LINK_DAYS)
    is_in = visit.who is not None and visit.who.is_skipper
    with visit.house.store.writing() as session:
        fresh = use_link(session, link, visit.now, forget_before=forget_before)
        if fresh and not is_in:
            token = _begun(visit, session, Role.SKIPPER)
    if is_in:
        return visit.go(goes_to)
    if token is None:
        return visit.page("open.html", status=410, link="", fault=_USED)
    return _let_in(visit, token, Role.SKIPPER, goes_to)
