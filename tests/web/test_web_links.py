"""The link to the phone page that letters carry, and that no scanner of mail uses it up. INVENTED DATA."""

from __future__ import annotations

import html
import logging
import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from email import policy
from email.parser import BytesParser
from pathlib import Path

import pytest

from law.world import NEW_YORK, NOW, settings_from
from page_scenes import GEAR, SKIPPER, NobodyAnswers, Scene, hash_of, page_scene, post, terms
from soakbell.desk import UNASKED, Desk
from soakbell.errors import StoreError
from soakbell.gear.log import BaitCounted, new_entry
from soakbell.gear.outfit import Outfit
from soakbell.gear_settings import load_outfit
from soakbell.letters.facts import Link, PageAct
from soakbell.store import log
from soakbell.store.letters import WrittenLetter
from soakbell.wiring import page_links_of

ADDRESS = "https://grebe.example"
PAGE = f"""[page]
public_url = "{ADDRESS}"
skipper = "{hash_of(SKIPPER)}"
"""


@pytest.fixture
def scene(tmp_path: Path) -> Iterator[Scene]:
    with page_scene(tmp_path, page=terms(public_url=ADDRESS, skipper=hash_of(SKIPPER))) as built:
        yield linked(built, tmp_path)


def linked(scene: Scene, folder: Path, outfit: Outfit | None = None) -> Scene:
    """The scene with the links that the wiring makes of a page.toml with an address."""
    (folder / "page.toml").write_text(PAGE)
    settings = replace(scene.house.settings, page_file=folder / "page.toml", database=folder / "soakbell.db")
    links = page_links_of(settings)
    assert links is not None
    house = scene.house
    desk = Desk(
        settings, scene.store, scene.clock, NobodyAnswers(), outfit=outfit or load_outfit(GEAR), page_links=links
    )
    return replace(scene, house=replace(house, desk=desk))


def parts(letter: WrittenLetter) -> tuple[str, str]:
    message = BytesParser(policy=policy.default).parsebytes(letter.message)
    plain, page = message.get_body(("plain",)), message.get_body(("html",))
    assert plain is not None
    assert page is not None
    return plain.get_content(), html.unescape(page.get_content())


def own_links(text: str) -> list[str]:
    return re.findall(rf"{re.escape(ADDRESS)}(/open\?t=[\w.%-]+)", text)


def morning(scene: Scene) -> WrittenLetter:
    return scene.house.desk.write("morning", date(2026, 12, 8), 0, late=False, clock_suspect=False)


def rows(scene: Scene) -> list[str]:
    """The whole database as text."""
    with scene.store.reading() as session:
        connection = session.connection().connection.dbapi_connection
        assert connection is not None
        return list(connection.iterdump())  # type: ignore[attr-defined]


def token_of(link: str) -> str:
    return link.partition("?t=")[2]


def test_a_morning_letter_carries_one_link_that_says_what_it_does(scene: Scene) -> None:
    plain, page = parts(morning(scene))
    assert own_links(plain) == own_links(page)
    assert len(own_links(plain)) == 1
    for text in (plain, page):
        assert "Open the page of Little Grebe (signs in once, until Tue 15 Dec 04:30)" in " ".join(text.split())
    assert own_links(plain)[0] in plain.splitlines()[plain.splitlines().index("Phone page") + 4]


def ring(scene: Scene) -> dict[str, WrittenLetter]:
    now = scene.clock.now()
    asked = scene.house.desk.ring(now.astimezone(NEW_YORK).date(), dict.fromkeys(UNASKED, 1))
    assert asked.failed is None
    return {one.kind: one.letter for one in asked.letters}


def goes_to(scene: Scene, letter: WrittenLetter) -> str:
    (link,) = own_links(parts(letter)[0])
    answer = post(scene.another(), "/open", t=token_of(link))
    assert answer.status_code == 303
    return answer.headers["location"]


def test_the_link_leads_to_what_the_letter_is_about(scene: Scene) -> None:
    assert goes_to(scene, morning(scene)) == "/"
    scene.clock.put(NOW + timedelta(hours=6))
    assert goes_to(scene, ring(scene)["bells"]) == "/log"
    scene.clock.put(NOW + timedelta(hours=14))
    eve = scene.house.desk.write("eve", date(2026, 12, 8), 0, late=False, clock_suspect=False)
    assert goes_to(scene, eve) == "/log"


def test_the_recovery_list_leads_to_the_season(tmp_path: Path) -> None:
    at = datetime(2027, 4, 22, 22, 5, tzinfo=UTC)  # 18:05 EDT, 14 days before all must be out
    with page_scene(tmp_path, at=at, page=terms(public_url=ADDRESS, skipper=hash_of(SKIPPER))) as built:
        scene = linked(built, tmp_path)
        assert goes_to(scene, ring(scene)["recovery"]) == "/season"


def test_a_changed_call_carries_one_too(scene: Scene) -> None:
    scene.tell_call()
    failed = scene.house.desk.write_failed("changed", date(2026, 12, 8), 1, "invented fault")
    assert len(own_links(parts(failed)[0])) == 1


def test_opening_every_link_of_a_letter_changes_nothing(scene: Scene) -> None:
    """W1: scanners open links, all of them, at delivery, and some as a browser would."""
    letter = morning(scene)
    before = rows(scene)
    for text in parts(letter):
        for link in own_links(text):
            for _ in range(2):
                answer = scene.visitor.get(link, headers={"Sec-Fetch-Site": "none"})
                assert answer.status_code == 200
                assert "set-cookie" not in answer.headers
                assert "This link signs you in as skipper on this phone, once." in answer.text
            assert scene.visitor.head(link).status_code in (200, 405)
    assert rows(scene) == before
    (link,) = own_links(parts(letter)[0])
    assert post(scene.visitor, "/open", t=token_of(link)).status_code == 303
    assert post(scene.another(), "/open", t=token_of(link)).status_code == 410


def test_the_link_opens_nothing_after_the_day_that_the_letter_names(scene: Scene) -> None:
    (link,) = own_links(parts(morning(scene))[0])
    scene.clock.put(NOW + timedelta(days=7, seconds=2))
    assert post(scene.visitor, "/open", t=token_of(link)).status_code == 410


def test_two_letters_never_carry_the_same_link(scene: Scene) -> None:
    assert own_links(parts(morning(scene))[0]) != own_links(parts(morning(scene))[0])


def test_no_order_of_bait_carries_a_link_into_the_boats_page(tmp_path: Path) -> None:
    outfit = load_outfit(GEAR)
    assert outfit.supplier is not None
    straight = replace(outfit, supplier=replace(outfit.supplier, send_straight=True))
    with page_scene(tmp_path, page=terms(public_url=ADDRESS, skipper=hash_of(SKIPPER))) as built:
        scene = linked(built, tmp_path, straight)
        low = [
            new_entry(BaitCounted(bait, boxes), happened_at=NOW, told_at=NOW, told_by="cli")
            for bait, boxes in (("mullet heads", 0.25), ("cowhide", 6))
        ]
        with scene.store.writing() as session:
            log.append_entries(session, low)
        scene.clock.put(datetime(2026, 12, 10, 13, tzinfo=UTC))  # Thursday 08:00 EST, a day of the supplier's
        rung = ring(scene)
        for kind in ("bait order", "bait order copy"):
            assert b"grebe.example" not in rung[kind].message


def test_a_link_that_cannot_be_made_costs_no_letter(scene: Scene, caplog: pytest.LogCaptureFixture) -> None:
    def none(act: PageAct, day: date, now: datetime) -> Link:
        raise StoreError("the keys can't be used")

    house = scene.house
    desk = Desk(house.settings, scene.store, scene.clock, NobodyAnswers(), page_links=none)
    with caplog.at_level(logging.ERROR):
        letter = desk.write("morning", date(2026, 12, 8), 0, late=False, clock_suspect=False)
    assert letter.call is not None
    assert letter.call.word == "PULL"
    assert own_links(parts(letter)[0]) == []
    assert "the link of a letter could not be made" in caplog.text


def test_without_an_address_for_phones_there_is_no_link_and_no_key(tmp_path: Path) -> None:
    (tmp_path / "page.toml").write_text(PAGE.replace(f'public_url = "{ADDRESS}"\n', ""))
    settings = replace(settings_from(), page_file=tmp_path / "page.toml", database=tmp_path / "soakbell.db")
    assert page_links_of(settings) is None
    assert page_links_of(replace(settings, page_file=None)) is None
    (tmp_path / "page.toml").write_text("[page]\n")
    assert page_links_of(settings) is None
    assert not (tmp_path / "soakbell.db.keys").exists()
