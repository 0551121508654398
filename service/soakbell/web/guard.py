"""What stands before every page: headers, the hosts we answer to, where a POST comes from, how much it brings."""

from __future__ import annotations

import logging
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from soakbell.settings import is_loopback

log = logging.getLogger(__name__)

_POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self'",
        "connect-src 'self'",
        "worker-src 'self'",
        "manifest-src 'self'",
        "form-action 'self'",
        "frame-ancestors 'none'",
        "base-uri 'none'",
    )
)
_HEADERS = {
    "Content-Security-Policy": _POLICY,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Permissions-Policy": "geolocation=(self), camera=(), microphone=()",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "X-Robots-Tag": "noindex",
}
_ASKS = frozenset({"GET", "HEAD"})


class TooMuch(Exception):
    """A body larger than its page takes."""


class Guard:
    """ASGI middleware, outermost. Without a ``public_url`` only this computer's own names are answered."""

    def __init__(self, app: ASGIApp, public_url: str | None = None) -> None:
        self._app = app
        self._public = None if public_url is None else urlsplit(public_url).netloc
        self._over_tls = public_url is not None and urlsplit(public_url).scheme == "https"

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            return
        headers = Headers(scope=scope)

        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                answered = MutableHeaders(scope=message)
                for name, value in _HEADERS.items():
                    answered.setdefault(name, value)
                answered.setdefault("Cache-Control", "no-store")
                if self._over_tls:
                    answered["Strict-Transport-Security"] = "max-age=31536000"
            await send(message)

        refusal = self._refusal(scope["method"], headers)
        if refusal is not None:
            log.warning("the page refused a request", extra={"why": refusal[1]})
            await PlainTextResponse(f"{refusal[1]}\n", refusal[0])(scope, receive, with_headers)
            return
        await self._app(scope, receive, with_headers)

    def _refusal(self, method: str, headers: Headers) -> tuple[int, str] | None:
        hosts = headers.getlist("host")
        host = hosts[0].lower() if len(hosts) == 1 else ""
        if host != self._public and not _is_loopback_host(host):
            return 421, "This is not the address of this page."
        if method in _ASKS:
            return None
        if method != "POST":
            return 405, "Only GET and POST are answered."
        return None if _comes_from_us(host, headers) else (403, "This came from another page.")


def _is_loopback_host(host: str) -> bool:
    try:
        return is_loopback(urlsplit(f"//{host}").hostname or "")
    except ValueError:
        return False


def _comes_from_us(host: str, headers: Headers) -> bool:
    """By what the browser says of where a request was made; one that says neither is refused.

    OWASP, Cross-Site Request Forgery Prevention: verifying origin with standard headers, and Fetch Metadata.
    """
    origin, site = headers.get("origin"), headers.get("sec-fetch-site")
    if site not in (None, "same-origin") or (origin is None and site is None):
        return False
    if origin is None or (origin == "null" and site is not None):  # a page that tells no referrer has no origin
        return True
    try:
        return urlsplit(origin).netloc.lower() == host
    except ValueError:
        return False


def capped(receive: Receive, most_bytes: int) -> Receive:
    """``receive`` that raises ``TooMuch`` as soon as a body is longer than it may be."""
    size = 0

    async def counted() -> Message:
        nonlocal size
        message = await receive()
        size += len(message.get("body", b""))
        if size > most_bytes:
            raise TooMuch
        return message

    return counted
