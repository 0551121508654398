"""The door of the phone page: passphrases, sessions, and links that letters carry.

A letter's link opens a page with one button; the button's POST signs in, once, and only while the link is young.
Passphrases are checked with argon2 (RFC 9106), one at a time, after a wait that grows with every failed try.
"""

from __future__ import annotations

import hashlib
import hmac
import secrets
import threading
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from urllib.parse import urlencode

from argon2 import PasswordHasher
from argon2.exceptions import VerificationError
from itsdangerous import BadSignature, TimestampSigner, URLSafeTimedSerializer
from sqlalchemy.orm import Session
from starlette.datastructures import FormData
from starlette.responses import Response

from soakbell.letters.facts import PageAct
from soakbell.page_settings import PageTerms
from soakbell.store.page_doors import KeptSession, begin_session, end_session, session_of, use_link
from soakbell.web.house import PageHouse
from soakbell.web.keys import Keys
from soakbell.web.visit import Role, SignedIn, Visit, Way

_LINK_SALT, _FORM_SALT = "soakbell letter link", b"soakbell form token"
_WITHIN = timedelta(minutes=15)
_FREE_TRIES, _FREE_TRIES_OF_ALL = 3, 30
_LONGEST_WAIT_S = 300
_MOST_ADDRESSES = 1000
SHORTEST_PASSPHRASE, _LONGEST_PASSPHRASE = 12, 200
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
    return SignedIn(token, role, form_token(house.keys, token))


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
    return hashlib.sha256(secret.encode()).hexdigest()


def _begun(house: PageHouse, session: Session, role: Role, now: datetime) -> str:
    token = secrets.token_urlsafe(32)
    ends_at = now + timedelta(days=house.terms.session_days)
    begin_session(session, token, KeptSession(house.boat, role.name, _secret_sha256(house, role), ends_at), now)
    return token


def _let_in(visit: Visit, token: str, path: str) -> Response:
    answer = visit.go(path)
    answer.set_cookie(
        cookie_name(visit.house.terms),
        token,
        max_age=visit.house.terms.session_days * 86_400,
        httponly=True,
        samesite="lax",
        secure=visit.house.terms.over_tls,
    )
    return answer


# ---- Passphrases ---------------------------------------------------------------------------------------------


@dataclass
class Tries:
    """Failed tries by address and in all, as seen since the service started.

    After ``_FREE_TRIES`` an address waits, twice as long with each; after ``_FREE_TRIES_OF_ALL`` from anywhere
    everybody does, so that many addresses don't help.
    """

    _failed: dict[str, list[datetime]] = field(default_factory=dict)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def wait_s(self, address: str, now: datetime) -> int:
        """Seconds until this address may try again; 0: now."""
        with self._lock:
            own = self._recent(address, now)
            of_all = sorted(at for tries in self._failed.values() for at in tries if _recent(at, now))
        waits = (_wait(own, _FREE_TRIES, now), _wait(of_all, _FREE_TRIES_OF_ALL, now))
        return max(waits)

    def failed(self, address: str, now: datetime) -> None:
        with self._lock:
            if len(self._failed) >= _MOST_ADDRESSES:
                self._failed = {one: at for one, at in self._failed.items() if _recent(at[-1], now)}
            if len(self._failed) >= _MOST_ADDRESSES:  # keep counting in all, whoever it is
                address = next(iter(self._failed))
            self._failed[address] = [*self._recent(address, now), now]

    def forget(self, address: str) -> None:
        with self._lock:
            self._failed.pop(address, None)

    def _recent(self, address: str, now: datetime) -> list[datetime]:
        return [at for at in self._failed.get(address, ()) if _recent(at, now)]


def _recent(at: datetime, now: datetime) -> bool:
    return now - _WITHIN < at <= now


def _wait(tries: list[datetime], free: int, now: datetime) -> int:
    if len(tries) < free:
        return 0
    wait = min(1 << min(len(tries) - free + 1, 20), _LONGEST_WAIT_S)
    return max(0, wait - int((now - tries[-1]).total_seconds()))


_ONE_AT_A_TIME = threading.Lock()
_HASHER = PasswordHasher()


def role_of(house: PageHouse, passphrase: str) -> Role | None:
    """Whose passphrase it is. Each hash is tried, so that the time taken doesn't tell."""
    fits = None
    for role, secret in ((Role.CREW, house.terms.crew), (Role.SKIPPER, house.terms.skipper)):
        if secret is not None and _verified(secret, passphrase):
            fits = role
    return fits


def _verified(secret: str, passphrase: str) -> bool:
    with _ONE_AT_A_TIME:  # each takes 64 MB
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

    def link(self, act: PageAct, day: date, now: datetime) -> str:
        """A new link to what a letter of ``day`` is about."""
        told = {"boat": self.boat, "day": day.isoformat(), "act": act, "once": secrets.token_urlsafe(12)}
        return f"{self.public_url}/open?{urlencode({'t': _links(self.keys, now).dumps(told)})}"


_GOES_TO: dict[str, str] = {"today": "/", "log": "/log", "season": "/season"}


def _links(keys: Keys, now: datetime) -> URLSafeTimedSerializer:
    class Signer(TimestampSigner):
        def get_timestamp(self) -> int:
            return int(now.timestamp())

    return URLSafeTimedSerializer(
        list(keys), salt=_LINK_SALT, signer=Signer, signer_kwargs={"digest_method": hashlib.sha256}
    )


def _told_by(visit: Visit, link: str) -> str | None:
    """Where a link goes to; None where it is none of ours, too old, or of another boat."""
    house = visit.house
    if len(link) > _LONGEST_LINK:
        return None
    try:
        told = _links(house.keys, visit.now).loads(link, max_age=house.terms.link_days * 86_400)
    except BadSignature:
        return None
    if not isinstance(told, dict) or told.get("boat") != house.boat:
        return None
    return _GOES_TO.get(str(told.get("act")))


# ---- Pages ---------------------------------------------------------------------------------------------------


def ways(tries: Tries) -> tuple[Way, ...]:
    """The door's own addresses."""

    def sign_in(visit: Visit, form: FormData) -> Response:
        client = visit.request.client
        address = client.host if client else "unknown"
        wait_s = tries.wait_s(address, visit.now)
        if wait_s:
            answer = visit.page("in.html", status=429, fault=f"Too many tries. Try again in {wait_s} s.")
            answer.headers["Retry-After"] = str(wait_s)
            return answer
        passphrase = str(form.get("passphrase", ""))
        role = role_of(visit.house, passphrase) if 0 < len(passphrase) <= _LONGEST_PASSPHRASE else None
        if role is None:
            tries.failed(address, visit.now)
            return visit.page("in.html", status=401, fault="That is not a passphrase of this boat.")
        tries.forget(address)
        with visit.house.store.writing() as session:
            token = _begun(visit.house, session, role, visit.now)
        return _let_in(visit, token, "/")

    return (
        Way("/in", get=_ask, post=sign_in, role=None),
        Way("/out", post=_sign_out),
        Way("/open", get=_offer, post=_open, role=None),
    )


def _ask(visit: Visit) -> Response:
    return visit.go("/") if visit.who else visit.page("in.html", fault="")


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
    token = None
    if goes_to is not None:
        forget_before = visit.now - 2 * timedelta(days=_LONGEST_LINK_DAYS)
        with visit.house.store.writing() as session:
            if use_link(session, link, visit.now, forget_before=forget_before):
                token = _begun(visit.house, session, Role.SKIPPER, visit.now)
    if goes_to is None or token is None:
        return visit.page("open.html", status=410, link="", fault=_USED)
    return _let_in(visit, token, goes_to)
