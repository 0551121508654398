"""Odd requests to every way there is: each is answered, in order, and what was not taken leaves no trace.

A good part of what is told makes sense, so that the log fills with all that the page can tell, and pages are asked
for over it. ``SOAKBELL_FUZZ=20000`` tries so many in place of the gate's few. INVENTED DATA.
"""

from __future__ import annotations

import csv
import html
import io
import json
import os
import re
from collections import Counter
from collections.abc import Iterator
from contextlib import ExitStack
from datetime import date, timedelta
from functools import cache
from itertools import count
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any
from urllib.parse import parse_qs, quote, urlencode, urlsplit
from uuid import uuid4

import pytest
from httpx2 import Response
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from sqlalchemy import text

import logbook
from law.world import NEW_YORK, NOW
from page_scenes import ADDRESS, SKIPPER, Scene, page_scene
from soakbell.gear.fold import fold, told_places
from soakbell.gear.log import (
    OF_TRAPS,
    BellSnoozed,
    Detail,
    EntryKind,
    FoundMissing,
    Pinned,
    Pulled,
    TrapsSet,
)
from soakbell.gear.log_csv import COLUMNS, told_cells
from soakbell.store.log import all_entries
from soakbell.web.app import all_ways
from soakbell.web.door import LetterLinks
from soakbell.web.log_forms import KINDS, MOST_PARTS
from soakbell.web.marks_import import COLUMNS as MARK_COLUMNS
from soakbell.web.visit import Way

EXAMPLES = int(os.environ.get("SOAKBELL_FUZZ", "200"))

MARK = "<b>zq<script>zq"
"""What no page may have in it as it is."""
NASTY = (
    "",
    MARK,
    "\"'><script>zq",
    "\r\nSet-Cookie: zq=1",
    "zq\r\nLocation: https://zq.example",
    "%0d%0aSet-Cookie:zq=1",
    "\x00",
    "a\x00b",
    "\u202egnp.exe",
    '=HYPERLINK("https://zq.example")',
    "@SUM(1)",
    "{{7*7}}",
    "' OR 1=1 --",
    "../../../etc/passwd",
    "9" * 400,
    "-1",
    "1e309",
    "nan",
    "-inf",
    "٣",
    "1_000",
    "0x10",
    "1..99999999",
    "2026-12-08T10:00",
    "0001-01-01T00:00+14:00",
    "9999-12-31T23:59:59-14:00",
    "2026-11-01T01:30",
    "\u00a0",
    "x" * 10_000,
    "all",
    "\ufeff",
    "\ud800".encode("utf-8", "surrogatepass").decode("latin-1"),
)
GOOD = (
    "Nine Foot",
    "Outer Bar",
    "1..4",
    "7",
    "yes",
    "no",
    "latch",
    "cowhide",
    "2026-12-08T03:00",
    "freezer",
    "40",
)
KEYS = ("", "x", "6d1f2f7e-8a4e-4a0e-9b1d-3f0c2a5b7c11", "0" * 36, "-" * 36)
FIELDS = (
    *COLUMNS,
    *(
        "form_token",
        "passphrase",
        "t",
        "proposal",
        "batch",
        "skip_bad",
        "from",
        "file",
        "before",
        "told",
        "undone",
    ),
    *("missing_traps", "damage_traps", "damage_item", "lb_by_grade:jumbo", "start_lat_deg", "end_lon_deg"),
)

values = st.one_of(st.sampled_from(NASTY), st.sampled_from(GOOD), st.text(max_size=40))
names = st.one_of(st.sampled_from(FIELDS), st.sampled_from(NASTY), st.text(max_size=10))
fields = st.dictionaries(names, values, max_size=12)
trees = st.recursive(
    st.one_of(st.none(), st.booleans(), st.integers(), st.floats(), values),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(names, inner, max_size=4),
    max_leaves=12,
)
kinds = st.sampled_from(["pull", "missing", "hours"] * 4 + [kind.value for kind in KINDS])
SELDOM = st.sampled_from((*(False,) * 7, True))
HANDED = ("HANDEDlink", "HANDEDmarks", "HANDEDlog", "HANDEDbatch", "HANDEDentry")
"""Stand for what the service gave out last, which no draw could guess."""
NEW_KEY, NEXT_MOMENT = "HANDEDkey", "HANDEDmoment"
"""Stand for a key that no form had before, and a moment well after the last one: two pulls too near are one."""

# ---- What makes sense, or nearly

TRAPS = {"Nine Foot": 24, "Outer Bar": 36}
GRADES = ("medium", "large", "jumbo", "colossal")
usual: st.SearchStrategy[Detail] = st.one_of(
    st.builds(
        Pulled,
        legal_claws=logbook.counts,
        short_claws=logbook.counts,
        lb_by_grade=st.dictionaries(st.sampled_from(GRADES), st.floats(0, 300), max_size=3).map(
            lambda found: tuple(found.items())
        ),
        bait=st.just("") | logbook.baits,
    ),
    st.builds(TrapsSet),
    st.builds(FoundMissing),
    st.builds(Pinned, st.dates(date(2026, 12, 8), date(2027, 2, 1)), st.sampled_from(("", *TRAPS))),
    st.builds(
        BellSnoozed,
        st.sampled_from(("soak:Nine Foot", "bait:cowhide")),
        st.integers(1, 5000).map(lambda minutes: NOW + timedelta(minutes=minutes)),
    ),
)
moments = st.integers(1, 9 * 24 * 60 - 1).map(lambda minutes: NOW - timedelta(minutes=minutes))


@st.composite
def tellings(draw: st.DrawFn) -> tuple[str, dict[str, str]]:
    """A kind and the cells of its form, most of them as a skipper would fill it in."""
    detail = draw(usual if draw(st.booleans()) else logbook.details)
    cells = {name: in_the_boat(name, cell) for name, cell in told_cells(detail, NEW_YORK).items()}
    if detail.kind in OF_TRAPS:
        string = draw(st.sampled_from(tuple(TRAPS)))
        least, most = NAMED.get(detail.kind, (0, 4))
        places = draw(st.sets(st.integers(1, TRAPS[string] + draw(SELDOM)), min_size=least, max_size=most))
        cells |= {"string": string, "traps": told_places(tuple(sorted(places)))}
        if detail.kind is EntryKind.PULL and draw(SELDOM):
            cells |= {"missing_traps": str(draw(st.integers(1, 30))), "note": draw(values)}
    late = draw(moments).astimezone(NEW_YORK).isoformat(timespec="minutes")
    cells["happened_at"] = late if draw(SELDOM) else NEXT_MOMENT
    if draw(SELDOM):
        cells |= draw(st.dictionaries(names, values, min_size=1, max_size=3))
    return detail.kind.value, {**cells, "key": KEYS[2] if draw(SELDOM) else NEW_KEY}


NAMED = {
    **dict.fromkeys((EntryKind.MISSING, EntryKind.DAMAGE, EntryKind.RETIRED), (1, 4)),
    **dict.fromkeys((EntryKind.MOVE, EntryKind.RENUMBERED), (0, 0)),
    EntryKind.TAGGED: (1, 1),
}
"""How many traps a form names, least and most."""


def in_the_boat(name: str, cell: str) -> str:
    """A cell of the log book's own boat by the names of ours."""
    cell = cell.removeprefix("'").replace("Ledge", "Outer Bar")
    return cell.replace("latch", "hook latch") if name in ("part", "parts") else cell


def as_kept(told: tuple[str, dict[str, str]]) -> dict[str, Any]:
    """A form's cells as a phone keeps them."""
    kind, cells = told
    apart = ("key", "happened_at")
    return {
        "kind": kind,
        "cells": {k: v for k, v in cells.items() if k not in apart},
        **{k: cells[k] for k in apart},
    }


odd_entries = st.fixed_dictionaries(
    {},
    optional={
        "key": st.sampled_from(KEYS) | st.uuids(version=4).map(str) | trees,
        "kind": kinds | trees,
        "happened_at": st.sampled_from(("2026-12-08T03:00:00Z", "2026-12-08T02:00")) | values | trees,
        "cells": fields | trees,
    },
)
entries = SELDOM.flatmap(lambda odd: odd_entries if odd else tellings().map(as_kept))
kept_forms = st.lists(entries, min_size=1, max_size=5)
bodies = st.one_of(
    trees.map(json.dumps),
    st.sampled_from(
        ("[" * 50_000, '{"a":' * 50_000, '{"entries":' + "[" * 900 + "]" * 900 + "}", "\ud800", "NaN")
    ),
    st.text(max_size=40),
).map(lambda body: body.encode("utf-8", "surrogatepass"))
odd_files = st.one_of(
    st.binary(max_size=200),
    st.sampled_from(
        (
            b"",
            b"PK\x03\x04" + b"\x00" * 60,
            b'<?xml version="1.0"?><!DOCTYPE a [<!ENTITY b "c">]><gpx>&b;</gpx>',
            b'<gpx version="1.1"><rte><name>Nine Foot</name><rtept lat="1e400" lon="nan"/></rte></gpx>',
            b"string,start_lat_deg,start_lon_deg\nNine Foot,\x00,=1+1\n",
            b"kind,string,happened_at\npull,Nine Foot,\xff\xfe\n",
            b"\xff\xfe" + "kind,string\r\n".encode("utf-16-le"),
            b'"' * 5000,
            b",".join([b"kind"] * 3000),
        )
    ),
)


# ---- Files that are good, or were


@cache
def boat_zip() -> bytes:
    with TemporaryDirectory() as folder, page_scene(Path(folder)) as scene:
        content: bytes = scene.sign_in().get("/carry/boat.zip").content
        return content


def mangled(content: bytes, changes: list[tuple[int, int]], keep: float) -> bytes:
    """With some bytes put otherwise, and the rest cut off."""
    told = bytearray(content)
    for at, byte in changes:
        told[at % len(told)] = byte
    return bytes(told[: round(keep * len(told))])


def gpx_of(routes: list[tuple[str, list[tuple[float, float]]]]) -> bytes:
    told = "".join(
        f"<rte><name>{name}</name>{''.join(map(POINT.format, *zip(*points, strict=True)))}</rte>"
        for name, points in routes
    )
    return f'<gpx version="1.1" creator="a plotter">{told}</gpx>'.encode()


POINT = '<rtept lat="{!r}" lon="{!r}"/>'


def csv_of(rows: list[dict[str, str]]) -> bytes:
    columns = list(dict.fromkeys(column for row in rows for column in row))
    out = io.StringIO(newline="")
    table = csv.DictWriter(out, columns, restval="")
    table.writeheader()
    table.writerows(rows)
    return out.getvalue().encode("utf-8", "replace")


string_names = st.sampled_from(("Nine Foot", "Outer Bar", "nine foot", "Nine Foot start", "Old Wreck"))
near = st.tuples(st.floats(30.02, 30.04), st.floats(-84.17, -84.14)) | st.tuples(
    st.floats(-90, 90), st.floats(-180, 180)
)
marked = st.lists(st.tuples(string_names, st.lists(near, min_size=1, max_size=3)), min_size=1, max_size=3)
marks_files = marked.map(gpx_of) | marked.map(
    lambda found: csv_of(
        [dict(zip(MARK_COLUMNS, (name, *map(repr, marks[0] + marks[-1])), strict=True)) for name, marks in found]
    )
)
log_files = st.lists(
    tellings().map(lambda told: {"kind": told[0], **told[1], "key": ""}), min_size=1, max_size=4
).map(csv_of)
changes = st.lists(st.tuples(st.integers(0, 2**20), st.integers(0, 255)), max_size=3)
keep = st.sampled_from((1.0, 1.0, 1.0, 0.99, 0.5))


def files_for(path: str) -> st.SearchStrategy[bytes]:
    """Files as an address takes them, now and then spoilt."""
    if path == "/carry/import":
        return odd_files | st.builds(lambda how, share: mangled(boat_zip(), how, share), changes, keep)
    whole = marks_files if path == "/marks" else log_files
    return st.one_of(odd_files, whole, whole, st.builds(mangled, whole, changes, keep))


# ---- Requests

SORTS = ("form", "form", "form", "parts", "json", "raw")
UPLOADS = ("/marks", "/carry/log", "/carry/import")


@st.composite
def of_the_log(draw: st.DrawFn) -> tuple[str, str, str, Any, dict[str, str]]:
    """A form of the log, or what a phone kept."""
    if draw(st.booleans()):
        kind, cells = draw(tellings())
        return "POST", f"/log/{kind}", "form", cells, {}
    return "POST", "/sync", "json", json.dumps({"entries": draw(kept_forms)}).encode(), {}


@st.composite
def of_what_was_handed(draw: st.DrawFn) -> tuple[str, str, str, Any, dict[str, str]]:
    """A file to be looked at, what its page gave out, a link of a letter, an entry to be undone."""
    path = draw(st.sampled_from((*UPLOADS, *HANDED_TO)))
    if path in UPLOADS:
        return "POST", path, "parts", ({}, draw(files_for(path)), "a file"), {}
    names_and_handed = {**HANDED_TO[path], **draw(st.just({"skip_bad": "yes"}) | st.just({}))}
    given = {name: handed + (draw(values) if draw(SELDOM) else "") for name, handed in names_and_handed.items()}
    if draw(SELDOM):
        return "GET", f"{path.removesuffix('/undo')}?{urlencode(given, errors='surrogatepass')}", "form", {}, {}
    return "POST", path, "form", given, {}


HANDED_TO: dict[str, dict[str, str]] = {
    "/marks/take": {"proposal": "HANDEDmarks"},
    "/marks/undo": {"batch": "HANDEDbatch"},
    "/carry/log/take": {"proposal": "HANDEDlog"},
    "/open": {"t": "HANDEDlink"},
    "/told/HANDEDentry/void": {},
}


@st.composite
def odd_requests(draw: st.DrawFn) -> tuple[str, str, str, Any, dict[str, str]]:
    """Method, address, kind of body, body, headers."""
    way = draw(st.sampled_from(WAYS))
    before, apart, rest = way.path.partition("{")
    part = draw(values if draw(SELDOM) else kinds) if apart else ""
    path = before + quote(part, safe="/" if draw(st.booleans()) else "") + rest.partition("}")[2]
    usual = [method for method, answer in (("GET", way.get), ("POST", way.post)) if answer is not None]
    method = draw(st.sampled_from(usual * 4 + ["POST", "HEAD", "DELETE"]))
    query = draw(st.just({}) | fields)
    address = path + (f"?{urlencode(query, errors='surrogatepass')}" if query else "")
    sort = draw(st.sampled_from(("form",) * 4 + SORTS if way.as_form else ("json", "json", "json", "form")))
    body: Any = b""
    if sort == "form":
        body = draw(fields)
    elif sort == "parts":
        body = draw(fields), draw(odd_files), draw(st.sampled_from(("../../x", "x.gpx", MARK, "a\x00b", "")))
    elif sort == "json":
        body = draw(bodies)
    else:
        body = draw(st.binary(max_size=200))
    odd = st.sampled_from(("application/json", "text/html", "*/*", MARK.replace("<", ""), ""))
    headers = {"Accept": draw(odd)}
    if sort == "raw":
        headers["Content-Type"] = draw(
            st.sampled_from(
                (
                    "multipart/form-data",
                    "multipart/form-data; boundary=",
                    "multipart/form-data; boundary=zq",
                    "application/x-www-form-urlencoded; charset=zq",
                    "text/plain",
                    "",
                )
            )
        )
    if draw(SELDOM):
        headers["Cookie"] = draw(st.sampled_from(("soakbell=", "soakbell=zq; soakbell=zq", "=;=", 'soakbell="zq')))
    return method, address, sort, body, headers


NO_WAYS = tuple(Way(path, get=lambda visit: visit.go("/")) for path in ("/nowhere", "/static/{path}", "/sw.js"))
WAYS = (*all_ways(), *NO_WAYS)
requests = st.one_of(odd_requests(), odd_requests(), of_the_log(), of_the_log(), of_what_was_handed())


class Phone:
    """A skipper's, who takes another whenever something signed it out: this one may have to wait.

    After every ``A_BOAT`` requests it is of a new boat: a log in disorder takes less and less.
    ``came`` counts what came of each entry that was told, by where it was told.
    """

    A_BOAT = 250

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.asked = count()
        self.came: Counter[tuple[str, str]] = Counter()
        self.of_boat = ExitStack()

    def come(self) -> None:
        if (turn := next(self.asked)) % self.A_BOAT == 0:
            self.leave()
            (self.folder / str(turn)).mkdir()
            self.scene = self.of_boat.enter_context(page_scene(self.folder / str(turn)))
            self.visitor = self.scene.another(SKIPPER)
            self.handed = dict.fromkeys(HANDED, "")
            self.moments = (
                f"{NOW - timedelta(minutes=9 * 24 * 60 - after):%Y-%m-%dT%H:%MZ}" for after in count(45, 45)
            )
            self.scene.tell_call()
        ready = self.visitor.get("/sync/ready", headers={"Accept": "application/json"})
        if ready.status_code != 200:
            self.visitor = self.scene.another(SKIPPER)
            ready = self.visitor.get("/sync/ready")
        self.token = ready.json()["form_token"]
        house = self.scene.house
        links = LetterLinks(ADDRESS, house.keys, house.boat, house.terms.skipper)
        link = links.link("log", self.scene.clock.now().date(), self.scene.clock.now())
        self.handed["HANDEDlink"] = parse_qs(urlsplit(link).query)["t"][0]

    def leave(self) -> None:
        """The boat's log, folded as it came, is the same folded at once, and a letter can be written over it."""
        with self.of_boat.pop_all():
            if not hasattr(self, "scene"):
                return
            house = self.scene.house
            kept = house.desk.log.now()
            with self.scene.store.reading() as session:
                assert kept.gear == fold(all_entries(session), house.settings.trap_strings)
            house.desk.write("morning", NOW.date(), 0, late=False, clock_suspect=False)

    def ask(self, method: str, address: str, sort: str, body: Any, headers: dict[str, str]) -> Response:
        sent = {"Sec-Fetch-Site": "same-origin", **headers}
        given: dict[str, Any] = {}
        if sort == "form":
            given["data"] = {"form_token": self.token, **{name: self.put(cell) for name, cell in body.items()}}
        elif sort == "parts":
            told, content, name = body
            file = name, self.put(content.decode("latin-1")).encode("latin-1")
            given = {"data": {"form_token": self.token, **told}, "files": {"file": file}}
        else:
            given["content"] = self.put(body.decode("latin-1")).encode("latin-1")
            sent["X-Form-Token"] = self.token
        answer: Response = self.visitor.request(method, self.put(address), headers=sent, **given)
        self.take(answer)
        return answer

    def put(self, told: str) -> str:
        """``told`` with what was handed out in the place of what stands for it."""
        for name, handed in self.handed.items():
            told = told.replace(name, handed)
        told = re.sub(NEXT_MOMENT, lambda _: next(self.moments), told)
        return re.sub(NEW_KEY, lambda _: str(uuid4()), told)

    def take(self, answer: Response) -> None:
        for handed, pattern in GIVEN_OUT.items():
            if found := re.search(pattern, answer.headers.get("location", "") + answer.text, re.DOTALL):
                self.handed[handed] = html.unescape(found[1])


GIVEN_OUT = {
    "HANDEDmarks": r'action="/marks/take".*?name="proposal" value="([^"]+)"',
    "HANDEDlog": r'action="/carry/log/take".*?name="proposal" value="([^"]+)"',
    "HANDEDbatch": r"^/marks\?batch=(\w+)",
    "HANDEDentry": r"^/log\?told=([0-9a-f-]{36})",
}


@pytest.fixture(scope="module")
def phone(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Phone]:
    phone = Phone(tmp_path_factory.mktemp("boats"))
    yield phone
    phone.leave()


def held(scene: Scene) -> tuple[int, int]:
    """How much the log has, and calls and letters on record."""
    with scene.store.reading() as session:
        tables = ("log_entry", "outbox")
        log, letters = (session.scalar(text(f"SELECT count(*) FROM {name}")) or 0 for name in tables)
    return log, letters


def came_of(asked: Any, answer: Response) -> list[str]:
    """What came of each entry that a request told, as far as it was one for the log."""
    method, address, sort, *_ = asked
    if method != "POST" or sort not in ("form", "json"):
        return []
    if address == "/sync":
        return [one["state"] for one in answer.json()["told"]] if answer.status_code == 200 else ["refused"]
    if re.fullmatch("/log/[a-z-]+", address):
        before = "before=1" in answer.headers.get("location", "")
        return ["known" if before else "taken" if answer.status_code == 303 else "refused"]
    return []


def check(phone: Phone, asked: Any) -> None:
    phone.come()
    before = held(phone.scene)
    answer = phone.ask(*asked)
    after = held(phone.scene)
    assert answer.status_code < 500, answer.text
    if answer.headers.get("content-type", "").startswith("text/html"):
        assert "<b>zq" not in answer.text
        assert "<script>" not in answer.text
        assert re.findall(r"<script[^>]*>", answer.text) in ([], SCRIPT.findall(answer.text))
    for name, value in answer.headers.multi_items():
        assert not re.search(r"[\r\n\x00]", value), name
        assert "zq" not in value.lower() or name not in ("set-cookie", "location"), (name, value)
    assert not answer.headers.get("location", "/").startswith("//")
    assert after[1] == before[1]
    came = came_of(asked, answer)
    phone.came.update((asked[1][:5], state) for state in came)
    if came:
        assert ("taken" in came) is (after[0] > before[0])
        assert came.count("taken") <= after[0] - before[0] <= MOST_PARTS * came.count("taken")
    elif after[0] != before[0]:
        assert asked[0] == "POST"
        assert 200 <= answer.status_code < 400
    if after[0] != before[0]:
        kept = phone.scene.house.desk.log.now()
        assert kept.books is not None, kept.fault


def test_whatever_comes_is_answered_escaped_and_leaves_no_trace_unless_taken(phone: Phone) -> None:
    @given(asked=requests)
    @example(asked=("POST", "/log/pull", "form", {"key": KEYS[2], "string": "Nine Foot", "note": MARK}, {}))
    @example(asked=("GET", "/log", "form", {}, {}))
    @settings(max_examples=EXAMPLES, suppress_health_check=list(HealthCheck))
    def each(asked: Any) -> None:
        check(phone, asked)

    each()
    for way in ("/log/", "/sync"):
        told = {state: number for (where, state), number in phone.came.items() if where == way}
        assert told["taken"] >= A_GOOD_SHARE * sum(told.values()), told


A_GOOD_SHARE = 0.25
"""Of the entries that each way was told: with fewer taken, there would hardly be a log to look at."""

SCRIPT = re.compile(r'<script src="/static/(?:page|in)\.js\?[0-9a-f]{12}" defer>')
