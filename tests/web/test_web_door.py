"""The door of the phone page: who gets in, for how long, and what a letter's link opens. INVENTED DATA."""

from __future__ import annotations

import stat
import threading
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, nullcontext
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from httpx2 import Response
from sqlalchemy import update
from starlette.testclient import TestClient

from law.world import NEW_YORK
from page_scenes import ADDRESS, CREW, SKIPPER, Scene, form_token, hash_of, page_scene, post, terms, visitor_of
from soakbell.errors import StoreError
from soakbell.store.schema import PageSessionRow
from soakbell.web import door
from soakbell.web.door import Caller, LetterLinks, Tries
from soakbell.web.keys import Keys, keys_beside


@pytest.fixture
def scene(tmp_path: Path) -> Iterator[Scene]:
    with page_scene(tmp_path) as built:
        yield built


@pytest.fixture
def with_links(tmp_path: Path) -> Iterator[Scene]:
    with page_scene(tmp_path, page=terms(public_url="https://grebe.example")) as built:
        yield built


def link_of(scene: Scene, act: str = "log", boat: str = "Little Grebe", keys: Keys | None = None) -> str:
    now = scene.clock.now()
    links = LetterLinks("https://grebe.example", keys or scene.house.keys, boat, scene.house.terms.skipper)
    return links.link(act, now.astimezone(NEW_YORK).date(), now).removeprefix("https://grebe.example")  # type: ignore[arg-type]


def token_of(link: str) -> str:
    return link.partition("?t=")[2]


def test_a_stranger_is_led_to_the_door(scene: Scene) -> None:
    answer = scene.visitor.get("/")
    assert (answer.status_code, answer.headers["location"]) == (303, "/in")


def test_the_passphrase_opens_the_page_and_the_session_lasts_as_settled(scene: Scene) -> None:
    scene.sign_in()
    scene.clock.put(scene.clock.now() + timedelta(days=30) - timedelta(minutes=1))
    assert scene.visitor.get("/").status_code == 200
    scene.clock.put(scene.clock.now() + timedelta(minutes=2))
    assert scene.visitor.get("/").status_code == 303


def test_a_session_lasts_anew_by_what_is_done_in_it_once_a_day_and_no_get_does_that(scene: Scene) -> None:
    phone = scene.sign_in()
    assert "data-stay" not in phone.get("/").text
    assert "set-cookie" not in stay(phone).headers
    scene.clock.put(scene.clock.now() + timedelta(days=29))
    assert "set-cookie" not in phone.get("/log").headers
    renewed = stay(phone)
    assert (renewed.status_code, renewed.cookies["soakbell"]) == (204, phone.cookies["soakbell"])
    assert "max-age=2592000" in renewed.headers["set-cookie"].casefold()
    assert "set-cookie" not in stay(phone).headers
    scene.clock.put(scene.clock.now() + timedelta(days=29))
    assert phone.get("/").status_code == 200
    scene.clock.put(scene.clock.now() + timedelta(days=1))
    assert phone.get("/").status_code == 303


def stay(phone: TestClient) -> Response:
    headers = {"Sec-Fetch-Site": "same-origin", "X-Form-Token": form_token(phone.get("/"))}
    return phone.post("/stay", headers=headers)


def test_a_page_of_a_session_that_can_last_anew_asks_for_it(scene: Scene) -> None:
    phone = scene.sign_in()
    scene.clock.put(scene.clock.now() + timedelta(days=1))
    page = phone.get("/")
    assert f'data-stay="{form_token(page)}"' in page.text


def test_signing_out_late_in_a_session_lets_nothing_last_anew(scene: Scene) -> None:
    phone = scene.sign_in()
    cookie = phone.cookies["soakbell"]
    scene.clock.put(scene.clock.now() + timedelta(days=2))
    answer = post(phone, "/out", form_token=form_token(phone.get("/")))
    assert answer.cookies.get("soakbell") is None
    phone.cookies.set("soakbell", cookie)
    assert phone.get("/").status_code == 303


def test_a_session_of_another_boat_in_the_database_opens_nothing(scene: Scene) -> None:
    scene.sign_in()
    with scene.store.writing() as session:
        session.execute(update(PageSessionRow).values(boat="Other Grebe"))
    assert scene.visitor.get("/").status_code == 303


def test_a_wrong_passphrase_opens_nothing(scene: Scene) -> None:
    assert post(scene.visitor, "/in", passphrase="heron wades at high tide").status_code == 401
    assert scene.visitor.get("/").status_code == 303


@pytest.mark.parametrize("passphrase", ["", "x" * 201, "$argon2id$v=19$m=65536,t=3,p=4$", "\x00"], ids=repr)
def test_what_can_be_no_passphrase_is_refused_too(scene: Scene, passphrase: str) -> None:
    assert post(scene.visitor, "/in", passphrase=passphrase).status_code == 401


def test_after_three_wrong_tries_an_address_waits_longer_with_each(scene: Scene) -> None:
    waits = []
    for _ in range(6):
        answer = post(scene.visitor, "/in", passphrase="guess")
        if answer.status_code == 429:
            waits.append(int(answer.headers["retry-after"]))
            scene.clock.put(scene.clock.now() + timedelta(seconds=waits[-1]))
            assert post(scene.visitor, "/in", passphrase="guess").status_code == 401
    assert waits == [2, 4, 8]


def test_while_it_waits_even_the_right_passphrase_is_not_looked_at(scene: Scene) -> None:
    for _ in range(3):
        post(scene.visitor, "/in", passphrase="guess")
    assert post(scene.visitor, "/in", passphrase=SKIPPER).status_code == 429


def test_the_crews_passphrase_between_does_not_clear_the_count_of_guesses(scene: Scene) -> None:
    said = ("guess", CREW, "guess", CREW, "guess", "guess")
    strangers = [from_address(scene, "198.51.100.7") for _ in said]
    crews = [scene.sign_in(CREW)] * len(said)
    for phones in (strangers, crews):
        tried = [post(phone, "/in", passphrase=one) for phone, one in zip(phones, said, strict=True)]
        assert [answer.status_code for answer in tried] == [401, 303, 401, 303, 401, 429]


def test_asking_many_times_at_once_is_no_way_past_the_wait(scene: Scene, monkeypatch: pytest.MonkeyPatch) -> None:
    inside = threading.Barrier(3)

    def looked_at(_house: object, _passphrase: str) -> None:
        inside.wait(30)

    monkeypatch.setattr(door, "role_of", looked_at)
    monkeypatch.setattr(door, "_turn_to_look", nullcontext)
    with ThreadPoolExecutor(12) as many:
        found = [many.submit(post, scene.visitor, "/in", passphrase="guess") for _ in range(12)]
        statuses = sorted(one.result().status_code for one in found)
    assert statuses == [401] * 3 + [429] * 9


def test_who_finds_others_being_looked_at_is_sent_away_and_has_not_tried(
    scene: Scene, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(door, "_LONGEST_IN_LINE_S", 0.01)
    with door._ONE_AT_A_TIME:
        for _ in range(4):
            answer = post(scene.visitor, "/in", passphrase=SKIPPER)
            assert (answer.status_code, answer.headers["retry-after"]) == (429, "1")
    scene.sign_in()


def test_few_threads_wait_at_the_door_so_that_other_pages_have_theirs(
    scene: Scene, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(door, "_LONGEST_IN_LINE_S", 10**6)
    with ExitStack() as line:
        for _ in range(4):
            line.enter_context(door._IN_LINE)
        assert post(scene.visitor, "/in", passphrase=SKIPPER).status_code == 429
    scene.sign_in()


def from_address(scene: Scene, address: str) -> TestClient:
    return TestClient(scene.visitor.app, base_url=ADDRESS, follow_redirects=False, client=(address, 5000))


@pytest.mark.parametrize(
    ("first", "second", "same"),
    [
        ("2001:db8:1:2::1", "2001:db8:1:2:ffff::9", True),
        ("2001:db8:1:2::1", "2001:db8:1:3::1", False),
        ("fe80::1%eth0", "fe80::2%eth1", True),
        ("::ffff:198.51.100.7", "198.51.100.7", True),
        ("::ffff:198.51.100.7", "::ffff:198.51.100.8", False),
        ("198.51.100.7", "198.51.100.8", False),
    ],
)
def test_addresses_count_as_one_where_one_caller_has_them_all(
    scene: Scene, first: str, second: str, same: bool
) -> None:
    """RFC 4291, 2.5.1: the last 64 bits of an IPv6 address are for its owner to choose."""
    for _ in range(3):
        post(from_address(scene, first), "/in", passphrase="")
    answer = post(from_address(scene, second), "/in", passphrase="")
    assert answer.status_code == (429 if same else 401)


@pytest.mark.parametrize("passphrase", [SKIPPER, CREW])
def test_strangers_lock_no_phone_out_that_was_here_before(scene: Scene, passphrase: str) -> None:
    scene.sign_in(passphrase)
    post(scene.visitor, "/out", form_token=form_token(scene.visitor.get("/")))
    for turn in range(30):
        post(from_address(scene, f"198.51.100.{turn}"), "/in", passphrase="")
    assert post(from_address(scene, "203.0.113.5"), "/in", passphrase=passphrase).status_code == 429
    scene.sign_in(passphrase)


def test_a_phone_that_was_here_before_has_a_count_of_its_own(scene: Scene) -> None:
    scene.sign_in()
    post(scene.visitor, "/out", form_token=form_token(scene.visitor.get("/")))
    assert [post(scene.visitor, "/in", passphrase="").status_code for _ in range(4)] == [401] * 3 + [429]
    assert post(from_address(scene, "testclient"), "/in", passphrase=SKIPPER).status_code == 303


def test_the_skipper_on_a_phone_of_the_crew_has_a_count_of_his_own(scene: Scene) -> None:
    """Or guesses on the crew's phones would lock his out."""
    app = scene.visitor.app
    crew, his = (TestClient(app, base_url=ADDRESS, follow_redirects=False) for _ in range(2))
    for phone, passphrase in ((crew, CREW), (his, CREW), (his, SKIPPER)):
        assert post(phone, "/in", passphrase=passphrase).status_code == 303
    post(his, "/out", form_token=form_token(his.get("/")))
    post(crew, "/out", form_token=form_token(crew.get("/")))
    assert [post(crew, "/in", passphrase="").status_code for _ in range(4)] == [401] * 3 + [429]
    assert post(his, "/in", passphrase=SKIPPER).status_code == 303


def test_phones_of_the_crew_share_one_count(scene: Scene) -> None:
    """Each new sign-in would else be three guesses more."""
    marks = {scene.another(CREW).cookies["soakbell-phone"] for _ in range(2)}
    assert len(marks) == 1
    assert len({scene.another(SKIPPER).cookies["soakbell-phone"] for _ in range(2)} | marks) == 3


@pytest.mark.parametrize("mark", ["crew", '"crew"', "x.y", "", "ImNyZXci.AAAA"])
def test_a_mark_that_is_not_ours_makes_no_known_phone(scene: Scene, mark: str) -> None:
    for turn in range(30):
        post(from_address(scene, f"198.51.100.{turn}"), "/in", passphrase="")
    scene.visitor.cookies.set("soakbell-phone", mark)
    assert post(scene.visitor, "/in", passphrase=SKIPPER).status_code == 429


def test_very_many_addresses_make_the_wait_of_all_no_shorter(
    scene: Scene, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(door, "_MOST_CALLERS", 10)
    tries, now = Tries(), scene.clock.now()
    waits = [tries.book(Caller(f"198.51.100.{turn}", known=False), now) for turn in range(32)]
    assert waits == [0] * 30 + [2, 2]


def test_signing_out_ends_the_session_and_not_only_the_cookie(scene: Scene) -> None:
    scene.sign_in()
    cookie = scene.visitor.cookies["soakbell"]
    token = form_token(scene.visitor.get("/"))
    answer = post(scene.visitor, "/out", form_token=token)
    assert (answer.status_code, answer.headers["clear-site-data"]) == (303, '"cache"')
    thief = visitor_of(scene.house)
    thief.cookies.set("soakbell", cookie)
    assert thief.get("/").status_code == 303


def test_a_new_passphrase_ends_the_sessions_of_the_old_one(tmp_path: Path) -> None:
    with page_scene(tmp_path) as before:
        cookie = before.sign_in().cookies["soakbell"]
    with page_scene_again(tmp_path) as after:
        after.visitor.cookies.set("soakbell", cookie)
        assert after.visitor.get("/").status_code == 303


def test_the_crew_may_not_do_what_is_the_skippers(scene: Scene) -> None:
    from soakbell.web.app import all_ways
    from soakbell.web.visit import Role

    scene.sign_in(CREW)
    assert scene.visitor.get("/").status_code == 200
    for way in all_ways():
        if way.role is Role.SKIPPER and way.get is not None and "{" not in way.path:
            assert scene.visitor.get(way.path).status_code == 403, way.path


def test_looking_at_a_letters_link_does_not_use_it(with_links: Scene) -> None:
    """W1: scanners open links, all of them, at delivery."""
    link = link_of(with_links)
    for _ in range(3):
        assert "Open the page of Little Grebe" in with_links.visitor.get(link).text
    assert with_links.visitor.get("/").status_code == 303
    assert post(with_links.visitor, "/open", t=token_of(link)).headers["location"] == "/log"
    assert with_links.visitor.get("/").status_code == 200


def test_a_letters_link_signs_in_once(with_links: Scene) -> None:
    link = link_of(with_links)
    assert post(with_links.visitor, "/open", t=token_of(link)).status_code == 303
    second = visitor_of(with_links.house)
    for _ in range(3):
        assert post(second, "/open", t=token_of(link)).status_code == 410
        with_links.clock.put(with_links.clock.now() + timedelta(days=2))
        assert post(with_links.visitor, "/open", t=token_of(link_of(with_links))).status_code == 303
    assert second.get("/").status_code == 303


def test_a_letters_link_leads_on_where_the_skipper_is_signed_in_and_is_used_by_it(with_links: Scene) -> None:
    """The usual case: a session of 30 days, a letter a day. A second tap does no harm."""
    with_links.sign_in()
    link = link_of(with_links)
    assert with_links.visitor.get(link).status_code == 200
    for _ in range(2):
        assert post(with_links.visitor, "/open", t=token_of(link)).headers["location"] == "/log"
    assert with_links.visitor.get("/carry").status_code == 200
    assert post(visitor_of(with_links.house), "/open", t=token_of(link)).status_code == 410


def test_a_link_opened_on_a_phone_of_the_crew_ends_its_session(with_links: Scene) -> None:
    with_links.sign_in(CREW)
    former = with_links.visitor.cookies["__Host-soakbell"]
    assert post(with_links.visitor, "/open", t=token_of(link_of(with_links))).status_code == 303
    assert with_links.visitor.get("/carry").status_code == 200
    thief = visitor_of(with_links.house)
    thief.cookies.set("__Host-soakbell", former)
    assert thief.get("/").status_code == 303


def test_a_new_passphrase_voids_the_links_of_letters_too(tmp_path: Path) -> None:
    """A lost phone has the mailbox in it."""
    page = terms(public_url="https://grebe.example")
    with page_scene(tmp_path, page=page) as before:
        link = link_of(before)
    with page_scene_again(tmp_path, page=replace(page, skipper=hash_of("another heron wades here"))) as after:
        assert after.visitor.get(link).status_code == 410
        assert post(after.visitor, "/open", t=token_of(link)).status_code == 410


def test_a_letters_link_ages(with_links: Scene) -> None:
    link = link_of(with_links)
    with_links.clock.put(with_links.clock.now() + timedelta(days=7, seconds=2))
    assert with_links.visitor.get(link).status_code == 410
    assert post(with_links.visitor, "/open", t=token_of(link)).status_code == 410


def test_a_link_of_another_boat_or_key_opens_nothing(with_links: Scene) -> None:
    for link in (link_of(with_links, boat="Other Grebe"), link_of(with_links, keys=Keys(("0" * 64,)))):
        assert with_links.visitor.get(link).status_code == 410
        assert post(with_links.visitor, "/open", t=token_of(link)).status_code == 410


def test_a_link_made_before_the_keys_were_renewed_still_opens(tmp_path: Path) -> None:
    with page_scene(tmp_path, page=terms(public_url="https://grebe.example")) as scene:
        link = link_of(scene)
        keys = tmp_path / "soakbell.db.keys"
        keys.write_text(f"{keys.read_text()}{'a' * 64}\n")
    with page_scene(tmp_path, page=terms(public_url="https://grebe.example")) as later:
        assert post(later.visitor, "/open", t=token_of(link)).status_code == 303


def test_over_tls_the_cookie_is_bound_to_the_host_and_kept_from_scripts(with_links: Scene) -> None:
    cookie = post(with_links.visitor, "/in", passphrase=SKIPPER).headers["set-cookie"]
    name, *attributes = [part.strip().casefold() for part in cookie.split(";")]
    assert name.startswith("__host-soakbell=")
    assert {"secure", "httponly", "samesite=lax", "path=/"} <= set(attributes)
    assert not any(one.startswith("domain") for one in attributes)


def test_the_keys_are_their_owners_alone(tmp_path: Path) -> None:
    keys_beside(tmp_path / "soakbell.db")
    path = tmp_path / "soakbell.db.keys"
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    path.chmod(0o644)
    with pytest.raises(StoreError, match="chmod 600"):
        keys_beside(tmp_path / "soakbell.db")


@pytest.mark.parametrize("content", ["", "short\n", "\xff"])
def test_keys_that_are_none_are_refused(tmp_path: Path, content: str) -> None:
    path = tmp_path / "soakbell.db.keys"
    path.write_text(content, "latin-1")
    path.chmod(0o600)
    with pytest.raises(StoreError, match="remove it"):
        keys_beside(tmp_path / "soakbell.db")


def page_scene_again(folder: Path, **options: object):  # type: ignore[no-untyped-def]
    """The same database, another passphrase."""
    options.setdefault("page", terms(skipper=hash_of("another heron wades here")))
    return page_scene(folder, **options)  # type: ignore[arg-type]
