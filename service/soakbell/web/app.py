"""The phone page as one ASGI app: every way, what leads to it, and what is answered when something is wrong."""

from __future__ import annotations

import errno
import logging
from collections.abc import Awaitable, Callable
from dataclasses import replace
from typing import Any

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles
from starlette.types import ASGIApp

from soakbell.errors import SoakbellError
from soakbell.web import carry_pages, door, gear_pages, log_pages, season_pages, sync, today_pages
from soakbell.web.guard import Guard, TooMuch, capped
from soakbell.web.house import PageHouse
from soakbell.web.render import STATIC, rendered
from soakbell.web.visit import Visit, Way

log = logging.getLogger(__name__)

FORM_TOKEN = "form_token"  # noqa: S105 - the name of a field
FORM_TOKEN_HEADER = "x-form-token"  # noqa: S105 - the name of a header
_MOST_FIELDS = 200
_MOST_FILES = 1


def page_app(house: PageHouse) -> ASGIApp:
    """The app that serves one boat's page. The guard is around all of it, what is told of a broken page too."""
    routes = [Route(way.path, _endpoint(house, way), methods=_methods(way)) for way in all_ways()]
    app = Starlette(
        routes=[
            *routes,
            Route("/sw.js", _service_worker, methods=["GET"]),
            Mount("/static", _Static(directory=str(STATIC))),
        ],
        exception_handlers={HTTPException: _told_plainly(house), Exception: _gone_wrong(house)},
    )
    return Guard(app, house.terms.public_url)


def all_ways() -> tuple[Way, ...]:
    """Every address of the page. Tries at the door are counted from now on."""
    return (
        *door.ways(door.Tries()),
        *today_pages.WAYS,
        *log_pages.WAYS,
        *sync.WAYS,
        *gear_pages.WAYS,
        *season_pages.WAYS,
        *carry_pages.WAYS,
    )


def _methods(way: Way) -> list[str]:
    return [method for method, answer in (("GET", way.get), ("POST", way.post)) if answer is not None]


def _endpoint(house: PageHouse, way: Way) -> Callable[[Request], Awaitable[Response]]:
    async def endpoint(request: Request) -> Response:
        now = house.clock.now()
        token = request.cookies.get(door.cookie_name(house.terms))
        try:
            who = await run_in_threadpool(door.who_comes, house, token, now)
            if way.role is not None and (who is None or who.role < way.role):
                return _turned_away(Visit(request, house, now, who))
            if way.get is not None and request.method in ("GET", "HEAD"):
                return await run_in_threadpool(way.get, Visit(request, house, now, who))
            held = Request(request.scope, capped(request.receive, way.most_bytes))
            visit = Visit(held, house, now, who)
            return await run_in_threadpool(door.stayed, visit, await _posted(visit, way))
        except TooMuch:
            limit = f"That is more than the {way.most_bytes // 1000} kB that this page takes."
            raise HTTPException(413, limit) from None
        except SoakbellError as fault:
            log.error("a page could not be told", exc_info=fault, extra={"path": way.path})
            raise HTTPException(503, f"This can't be told now: {fault}") from fault
        except OSError as fault:
            if fault.errno not in (errno.ENOSPC, errno.EDQUOT):
                raise
            log.error("the disk is full", extra={"path": way.path})
            raise HTTPException(503, "The disk of the service is full, so nothing was taken.") from fault

    return endpoint


async def _posted(visit: Visit, way: Way) -> Response:
    if way.post is None:
        raise HTTPException(405)
    request = visit.request
    if not way.as_form:
        _refuse_strange_form(visit, request.headers.get(FORM_TOKEN_HEADER, ""))
        return await run_in_threadpool(way.post, replace(visit, body=await request.body()), FormData())
    async with request.form(max_files=_MOST_FILES, max_fields=_MOST_FIELDS, max_part_size=way.most_bytes) as form:
        if way.role is not None:  # at the door no session is used; the guard says where a form came from
            _refuse_strange_form(visit, form.get(FORM_TOKEN, ""))
        return await run_in_threadpool(way.post, visit, form)


def _refuse_strange_form(visit: Visit, found: Any) -> None:
    """A form without our token was made by another page. Without a session there is none to misuse."""
    if visit.who is not None and not door.form_token_fits(visit.house.keys, visit.who.token, str(found)):
        raise HTTPException(
            403, "This form is from an earlier time. Go back, load the page anew and send it again."
        )


def _turned_away(visit: Visit) -> Response:
    if visit.request.headers.get("accept", "").startswith("application/json"):
        return JSONResponse({"fault": "signed out" if visit.who is None else "not allowed"}, 401)
    if visit.who is not None:
        raise HTTPException(403, "Only the skipper may do this.")
    if visit.request.method == "POST":
        raise HTTPException(401, "You are signed out, so nothing was taken. Sign in and send it again.")
    return visit.go("/in")


class _Static(StaticFiles):
    """Files that pages name with a stamp, so that they may be kept."""

    def file_response(self, *args: Any, **kwargs: Any) -> Response:
        answer = super().file_response(*args, **kwargs)
        answer.headers["Cache-Control"] = "public, max-age=604800"
        return answer


def _service_worker(_request: Request) -> Response:
    """At the root, since a service worker reaches no higher than where it lies."""
    return FileResponse(str(STATIC / "sw.js"), media_type="text/javascript", headers={"Cache-Control": "no-cache"})


def _told_plainly(house: PageHouse) -> Callable[[Request, Exception], Response]:
    def told(request: Request, fault: Exception) -> Response:
        status = fault.status_code if isinstance(fault, HTTPException) else 500
        said = fault.detail if isinstance(fault, HTTPException) else ""
        return _fault_page(house, request, status, _WORDS.get(status, said) if said in _BARE else said)

    return told


def _gone_wrong(house: PageHouse) -> Callable[[Request, Exception], Response]:
    def told(request: Request, _fault: Exception) -> Response:
        return _fault_page(house, request, 500, "Something went wrong here. What you told before is kept.")

    return told


_WORDS = {404: "There is no such page.", 405: "This page can't be used so."}
_BARE = frozenset({"", "Not Found", "Method Not Allowed"})


def _fault_page(house: PageHouse, request: Request, status: int, said: str) -> Response:
    if request.headers.get("accept", "").startswith("application/json"):
        return JSONResponse({"fault": said}, status)
    body = rendered(house, None, "fault.html", {"status": status, "said": said})
    return Response(body, status, media_type="text/html")
