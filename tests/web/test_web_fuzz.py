"""Odd requests to every way there is: each is answered, in order, and what was not taken leaves no trace.

``SOAKBELL_FUZZ=20000`` tries so many in place of the gate's few. INVENTED DATA.
"""

from __future__ import annotations

import json
import os
import re
from collections.abc import Iterator
from typing import Any
from urllib.parse import quote, urlencode

import pytest
from httpx2 import Response
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from sqlalchemy import text

from page_scenes import SKIPPER, Scene, page_scene
from soakbell.gear.log_csv import COLUMNS
from soakbell.web.app import all_ways
from soakbell.web.log_forms import KINDS
from soakbell.web.visit import Way

EXAMPLES = int(os.environ.get("SOAKBELL_FUZZ", "300"))

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
told = st.fixed_dictionaries(
    {"key": st.uuids(version=4).map(str)},
    optional={
        "string": st.sampled_from(("Nine Foot", "Outer Bar")),
        "traps": st.sampled_from(("", "1..4", "7", "all", "0", "99")),
        "happened_at": st.sampled_from(("2026-12-08T03:00", "2026-12-01T04:00", "2026-12-08T05:00")),
        "note": values,
    },
)
"""What a form tells, near enough to be taken now and then."""
entries = st.fixed_dictionaries(
    {},
    optional={
        "key": st.sampled_from(KEYS) | st.uuids(version=4).map(str) | trees,
        "kind": kinds | trees,
        "happened_at": st.sampled_from(("2026-12-08T03:00:00Z", "2026-12-08T02:00")) | values | trees,
        "cells": told.map(lambda cells: {name: cell for name, cell in cells.items() if name[0] not in "kh"})
        | fields
        | trees,
    },
)
bodies = st.one_of(
    trees.map(json.dumps),
    st.lists(entries, max_size=4).map(lambda told: json.dumps({"entries": told})),
    st.sampled_from(
        ("[" * 50_000, '{"a":' * 50_000, '{"entries":' + "[" * 900 + "]" * 900 + "}", "\ud800", "NaN")
    ),
    st.text(max_size=40),
).map(lambda body: body.encode("utf-8", "surrogatepass"))
files = st.one_of(
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
SELDOM = st.sampled_from((*(False,) * 7, True))
SORTS = ("form", "form", "form", "parts", "json", "raw")


@st.composite
def requests(draw: st.DrawFn) -> tuple[str, str, str, Any, dict[str, str]]:
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
        body = draw(fields if draw(SELDOM) or "{kind}" not in way.path else told)
    elif sort == "parts":
        body = draw(fields), draw(files), draw(st.sampled_from(("../../x", "x.gpx", MARK, "a\x00b", "")))
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
WAYS = (*all_ways(), *NO_WAYS, *[way for way in all_ways() if way.path in ("/log/{kind}", "/sync")] * 8)
"""Those that tell the log are tried more often."""


class Phone:
    """A skipper's, who comes with another one whenever something signed it out: this one may have to wait."""

    def __init__(self, scene: Scene) -> None:
        self.scene = scene
        self.visitor = scene.another(SKIPPER)
        self.token = ""

    def come(self) -> None:
        ready = self.visitor.get("/sync/ready", headers={"Accept": "application/json"})
        if ready.status_code != 200:
            self.visitor = self.scene.another(SKIPPER)
            ready = self.visitor.get("/sync/ready")
        self.token = ready.json()["form_token"]

    def ask(self, method: str, address: str, sort: str, body: Any, headers: dict[str, str]) -> Response:
        sent = {"Sec-Fetch-Site": "same-origin", **headers}
        given: dict[str, Any] = {}
        if sort == "form":
            given["data"] = {"form_token": self.token, **body}
        elif sort == "parts":
            told, content, name = body
            given = {"data": {"form_token": self.token, **told}, "files": {"file": (name, content)}}
        else:
            given["content"] = body
            sent["X-Form-Token"] = self.token
        return self.visitor.request(method, address, headers=sent, **given)


@pytest.fixture(scope="module")
def phone(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Phone]:
    with page_scene(tmp_path_factory.mktemp("boat")) as scene:
        scene.tell_call()
        yield Phone(scene)


def held(scene: Scene) -> tuple[int, int]:
    """How much the log has, and calls and letters on record."""
    with scene.store.reading() as session:
        tables = ("log_entry", "outbox")
        log, letters = (session.scalar(text(f"SELECT count(*) FROM {name}")) or 0 for name in tables)
    return log, letters


def rows_taken(answer: Response, sort: str) -> bool:
    """True where the answer says that something was taken."""
    if answer.headers.get("content-type", "").startswith("application/json") and answer.status_code == 200:
        return any(one["state"] == "taken" for one in answer.json().get("told", ()))
    return 200 <= answer.status_code < 400


@given(asked=requests())
@example(asked=("POST", "/log/pull", "form", {"key": KEYS[2], "string": "Nine Foot", "note": MARK}, {}))
@example(asked=("GET", "/log", "form", {}, {}))
@settings(max_examples=EXAMPLES, suppress_health_check=list(HealthCheck))
def test_whatever_comes_is_answered_escaped_and_leaves_no_trace_unless_taken(phone: Phone, asked: Any) -> None:
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
    if after[0] != before[0]:
        assert asked[0] == "POST"
        assert rows_taken(answer, asked[2])


SCRIPT = re.compile(r'<script src="/static/page\.js\?[0-9a-f]{12}" defer>')
