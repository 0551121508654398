"""The door of the phone page: who gets in, for how long, and what a letter's link opens. INVENTED DATA."""

from __future__ import annotations

import stat
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest

from law.world import NEW_YORK
from page_scenes import CREW, SKIPPER, Scene, form_token, hash_of, page_scene, post, terms, visitor_of
from soakbell.errors import StoreError
from soakbell.web.door import LetterLinks
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
    links = LetterLinks("https://grebe.example", keys or scene.house.keys, boat)
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


def test_signing_out_ends_the_session_and_not_only_the_cookie(scene: Scene) -> None:
    scene.sign_in()
    cookie = scene.visitor.cookies["soakbell"]
    token = form_token(scene.visitor.get("/"))
    assert post(scene.visitor, "/out", form_token=token).status_code == 303
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
    assert post(second, "/open", t=token_of(link)).status_code == 410
    assert second.get("/").status_code == 303


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
    with page_scene_again(tmp_path, page=terms(public_url="https://grebe.example")) as later:
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
