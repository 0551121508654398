"""What stands before every page, tried on every way there is. INVENTED DATA."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping
from dataclasses import replace
from html import unescape
from pathlib import Path

import httpx2
import pytest
from httpx2 import Cookies
from sqlalchemy import text
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route
from starlette.testclient import TestClient

from page_scenes import SKIPPER, Scene, form_token, page_scene, post, terms, visitor_of
from soakbell.fishery.season import caution
from soakbell.letters.words import STANDING, checked_words, skipper_decides
from soakbell.store.engine import Store
from soakbell.web.app import all_ways
from soakbell.web.health import Health, health_app
from soakbell.web.server import PageServer
from soakbell.web.visit import Visit, Way

WAYS = all_ways()
FROM_US = {"Sec-Fetch-Site": "same-origin"}


@pytest.fixture(scope="module")
def boat(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Scene]:
    """One for all tests here: none of them may change anything in it."""
    with page_scene(tmp_path_factory.mktemp("boat")) as built:
        built.tell_call()
        yield built


@pytest.fixture(scope="module")
def session(boat: Scene) -> Cookies:
    return boat.another(SKIPPER).cookies


@pytest.fixture
def scene(boat: Scene) -> Scene:
    """With a visitor who has not signed in."""
    return replace(boat, visitor=visitor_of(boat.house))


@pytest.fixture
def skipper(scene: Scene, session: Cookies) -> TestClient:
    """The scene's visitor, signed in."""
    scene.visitor.cookies.update(session)
    return scene.visitor


def path_of(way: Way) -> str:
    """A way's address, with something in the place of its parts."""
    parts = way.path.split("{")
    return parts[0] + "".join("1" + part.partition("}")[2] for part in parts[1:])


def everything_in(store: Store) -> str:
    """A hash of every row of every table."""
    digest = hashlib.sha256()
    with store.reading() as session:
        names = session.scalars(text("SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name")).all()
        for name in names:
            rows = session.execute(text(f'SELECT * FROM "{name}"'))
            digest.update(repr((name, sorted(repr(tuple(row)) for row in rows))).encode())
    return digest.hexdigest()


@pytest.mark.parametrize("signed_in", [True, False])
def test_no_get_changes_anything(scene: Scene, session: Cookies, signed_in: bool) -> None:
    """W1."""
    if signed_in:
        scene.visitor.cookies.update(session)
    before = everything_in(scene.store)
    for way in WAYS:
        for _ in range(2):
            assert scene.visitor.get(path_of(way)).status_code < 500, way.path
    assert everything_in(scene.store) == before


@pytest.mark.parametrize("way", [way for way in WAYS if way.role is not None], ids=lambda way: way.path)
def test_a_stranger_gets_nothing_from_any_way(scene: Scene, way: Way) -> None:
    before = everything_in(scene.store)
    if way.get is not None:
        assert scene.visitor.get(path_of(way)).headers["location"] == "/in"
    if way.post is not None:
        answer = scene.visitor.post(path_of(way), data={"key": "1"}, headers=FROM_US)
        assert answer.status_code == 401
    assert everything_in(scene.store) == before


@pytest.mark.parametrize("way", [way for way in WAYS if way.post is not None], ids=lambda way: way.path)
@pytest.mark.parametrize(
    "headers",
    [
        {},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
        {"Sec-Fetch-Site": "none"},
        {"Origin": "https://elsewhere.example"},
        {"Origin": "null"},
        {"Origin": "http://[", "Sec-Fetch-Site": "same-origin"},
        {"Origin": "https://elsewhere.example", "Sec-Fetch-Site": "same-origin"},
    ],
    ids=str,
)
def test_a_post_that_another_page_made_is_refused_everywhere(
    scene: Scene, skipper: TestClient, way: Way, headers: dict[str, str]
) -> None:
    """W3."""
    token = form_token(skipper.get("/"))
    before = everything_in(scene.store)
    answer = skipper.post(path_of(way), data={"form_token": token, "passphrase": SKIPPER}, headers=headers)
    assert answer.status_code == 403
    assert everything_in(scene.store) == before


@pytest.mark.parametrize("way", [way for way in WAYS if way.post and way.role], ids=lambda way: way.path)
@pytest.mark.parametrize("token", ["", "0" * 64, "é"])
def test_a_form_without_our_token_changes_nothing(scene: Scene, skipper: TestClient, way: Way, token: str) -> None:
    """W3: on top of what the browser says of where it came from."""
    before = everything_in(scene.store)
    answer = skipper.post(path_of(way), data={"form_token": token}, headers=FROM_US)
    assert answer.status_code == 403
    assert everything_in(scene.store) == before


def test_the_token_of_one_session_is_of_no_use_to_another(scene: Scene, skipper: TestClient) -> None:
    other = scene.another(SKIPPER)
    strange = form_token(other.get("/"))
    assert post(scene.visitor, "/out", form_token=strange).status_code == 403


@pytest.mark.parametrize("path", ["/", "/in", "/nowhere", "/static/page.css", "/sw.js"])
def test_every_answer_carries_the_headers_that_fence_it_in(scene: Scene, path: str) -> None:
    headers = scene.visitor.get(path).headers
    assert_fenced_in(headers)


def assert_fenced_in(headers: Mapping[str, str]) -> None:
    """W4: nothing from elsewhere, nothing inline, in no frame."""
    policy = dict(part.split(" ", 1) for part in headers["content-security-policy"].split("; "))
    assert {policy[part] for part in ("default-src", "frame-ancestors", "base-uri")} == {"'none'"}
    assert set(policy.values()) == {"'none'", "'self'"}
    assert headers["x-content-type-options"] == "nosniff"


def test_a_page_that_breaks_is_fenced_in_as_any_other(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def breaks(_visit: Visit) -> Response:
        raise ZeroDivisionError("in a page")

    monkeypatch.setattr("soakbell.web.app.all_ways", lambda: (Way("/", get=breaks, role=None),))
    with page_scene(tmp_path, page=terms(public_url="https://grebe.example")) as scene:
        answer = scene.visitor.get("/")
    assert answer.status_code == 500
    assert "Something went wrong here" in answer.text
    assert "in a page" not in answer.text
    assert_fenced_in(answer.headers)
    assert answer.headers["cache-control"] == "no-store"
    assert answer.headers["strict-transport-security"] == "max-age=31536000"


def test_the_health_page_that_breaks_is_fenced_in_too() -> None:
    def breaks() -> Health:
        raise ZeroDivisionError

    health = TestClient(health_app(breaks), "http://127.0.0.1:8461", raise_server_exceptions=False)
    answer = health.get("/healthz")
    assert answer.status_code == 500
    assert_fenced_in(answer.headers)
    assert "strict-transport-security" not in answer.headers  # RFC 6797, 7.2: not without TLS


def test_every_page_tells_what_always_holds_and_how_old_its_rules_are(scene: Scene, skipper: TestClient) -> None:
    law = caution(scene.house.settings.fishery)
    dated = f"checked them on {checked_words(law.checked, law.not_read, law.rules)}"
    always = (skipper_decides("this page"), *STANDING[1:], dated, law.url)
    answers = {way.path: skipper.get(path_of(way)) for way in WAYS if way.get is not None}
    answers["/in"] = visitor_of(scene.house).get("/in")
    del answers["/season/sheet"]  # to be printed, with words of its own
    pages = {path: unescape(answer.text) for path, answer in answers.items() if "<!doctype html>" in answer.text}
    assert pages.keys() >= {"/", "/in", "/why", "/log", "/bench", "/bait", "/season", "/marks"}
    assert [path for path, words in pages.items() if not all(one in words for one in always)] == []


def test_pages_are_kept_nowhere_on_their_way(scene: Scene, skipper: TestClient) -> None:
    assert skipper.get("/").headers["cache-control"] == "no-store"


def test_the_page_with_a_link_in_its_address_tells_no_other_page_of_it(tmp_path: Path) -> None:
    """W2."""
    with page_scene(tmp_path, page=terms(public_url="https://grebe.example")) as scene:
        assert scene.visitor.get("/open?t=x").headers["referrer-policy"] in ("same-origin", "no-referrer")


@pytest.mark.parametrize("host", ["elsewhere.example", "127.0.0.1.elsewhere.example", "", "[", "192.168.1.9:8462"])
def test_only_our_own_host_is_answered(scene: Scene, host: str) -> None:
    """A name that someone points at us must not read our pages with the browser's help."""
    assert scene.visitor.get("/in", headers={"Host": host}).status_code == 421


def test_two_hosts_in_one_request_are_none(scene: Scene) -> None:
    """RFC 9112, 3.2. Which of the two a proxy before us went by is not known."""
    for second in ("127.0.0.1:8462", "elsewhere.example"):
        asked = [("Host", "127.0.0.1:8462"), ("Host", second)]
        assert scene.visitor.get("/in", headers=asked).status_code == 421


def test_the_public_address_is_answered_and_loopback_too(tmp_path: Path) -> None:
    with page_scene(tmp_path, page=terms(public_url="https://grebe.example")) as scene:
        for host in ("grebe.example", "localhost:8462", "[::1]:8462"):
            assert visitor_of(scene.house).get("/in", headers={"Host": host}).status_code == 200


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "OPTIONS", "TRACE"])
def test_no_other_method_is_answered(scene: Scene, method: str) -> None:
    assert scene.visitor.request(method, "/").status_code == 405


@pytest.mark.parametrize("way", [way for way in WAYS if way.post is not None], ids=lambda way: way.path)
def test_more_than_a_page_takes_is_refused(scene: Scene, skipper: TestClient, way: Way) -> None:
    body = b"form_token=" + b"x" * (way.most_bytes + 1)
    headers = {**FROM_US, "Content-Type": "application/x-www-form-urlencoded"}
    assert skipper.post(path_of(way), content=body, headers=headers).status_code in (403, 413)

    def drips() -> Iterator[bytes]:
        for _ in range(way.most_bytes // 1000 + 2):
            yield b"x" * 1000

    assert skipper.post(path_of(way), content=drips(), headers=headers).status_code in (403, 413)


@pytest.mark.parametrize(
    "path",
    [
        "/static/../app.py",
        "/static/%2e%2e/app.py",
        "/static/..%2f..%2fsettings.py",
        "/static//etc/passwd",
        "/static/",
    ],
)
def test_no_path_leads_out_of_the_folder_of_static_files(scene: Scene, path: str) -> None:
    """W8."""
    assert scene.visitor.get(path).status_code == 404


def test_a_boat_called_like_markup_stays_text(tmp_path: Path) -> None:
    """W4."""
    with page_scene(tmp_path) as scene:
        boat = scene.house.settings.boat.model_copy(update={"name": "<b>Grebe</b>"})
        house = replace(scene.house, settings=replace(scene.house.settings, boat=boat))
        page = visitor_of(house).get("/in").text
    assert "&lt;b&gt;Grebe&lt;/b&gt;" in page
    assert "<b>" not in page


@pytest.mark.parametrize(
    ("proxies", "seen"), [(("127.0.0.1",), "198.51.100.7"), (("127.0.0.0/8",), "198.51.100.7"), ((), "127.0.0.1")]
)
def test_where_a_request_comes_from_is_taken_of_our_own_proxies_alone(proxies: tuple[str, ...], seen: str) -> None:
    """Else in a container all phones are one address, or anybody is whom he says."""

    def told(request: Request) -> Response:
        return PlainTextResponse(request.client.host if request.client else "")

    server = PageServer(Starlette(routes=[Route("/", told)]), 0, proxies=proxies)
    server.start()
    try:
        asked = {"X-Forwarded-For": "198.51.100.7"}
        assert httpx2.get(f"http://127.0.0.1:{server.port}/", headers=asked).text == seen
    finally:
        server.stop()
