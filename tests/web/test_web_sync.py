"""What phones kept, taken in: each entry by itself, once, however often and from however many it comes.

INVENTED DATA.
"""

from __future__ import annotations

import http.client
import json
import random
import threading
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from uuid import UUID, uuid4

import pytest
from httpx2 import Response
from starlette.testclient import TestClient

from browser import served
from page_scenes import CREW, Scene, form_token, page_scene, post
from soakbell.errors import StoreError
from soakbell.gear.log import FoundDamaged, FoundMissing, LogEntry, Pulled
from soakbell.store.engine import Store
from soakbell.store.log import Appended, all_entries, take_entries
from soakbell.web import log_pages
from soakbell.web.sync import MOST_BYTES, MOST_ENTRIES

PHONES, EACH = 50, 20


@pytest.fixture
def scene(tmp_path: Path) -> Iterator[Scene]:
    with page_scene(tmp_path, at=datetime(2026, 12, 8, 15, tzinfo=UTC)) as built:
        built.sign_in()
        yield built


def by_phone(scene: Scene) -> list[LogEntry]:
    with scene.store.reading() as session:
        return [entry for entry in all_entries(session) if entry.told_by in ("phone", "crew phone")]


def waiting(
    kind: str = "pull", at: str = "2026-12-08T14:00:00Z", key: str | None = None, **cells: str
) -> dict[str, Any]:
    """One entry as a phone keeps it."""
    return {"key": key or str(uuid4()), "kind": kind, "happened_at": at, "cells": cells}


def sync(phone: TestClient, body: bytes | str) -> Response:
    ready = phone.get("/sync/ready", headers={"Accept": "application/json"}).json()
    headers = {"Sec-Fetch-Site": "same-origin", "X-Form-Token": ready["form_token"], "Accept": "application/json"}
    return phone.post("/sync", content=body, headers=headers)


def states(phone: TestClient, *entries: dict[str, Any]) -> list[str]:
    answer = sync(phone, json.dumps({"entries": entries}))
    assert answer.status_code == 200, answer.text
    assert [told["key"] for told in answer.json()["told"]] == [entry["key"] for entry in entries]
    return [told["state"] for told in answer.json()["told"]]


def test_each_entry_is_judged_by_itself_and_told_in_order(scene: Scene) -> None:
    good = waiting(string="Nine Foot", legal_claws="40")
    bad = waiting(string="Nine Feet")
    last = waiting(string="Outer Bar")
    assert states(scene.visitor, good, bad, good, last) == ["taken", "refused", "known", "taken"]
    assert [entry.string for entry in by_phone(scene)] == ["Nine Foot", "Outer Bar"]


def test_what_is_refused_says_which_field_and_what_to_write(scene: Scene) -> None:
    answer = sync(scene.visitor, json.dumps({"entries": [waiting(string="Nine Feet", legal_claws="1")]}))
    (fault,) = answer.json()["told"][0]["faults"]
    assert fault == {
        "field": "string",
        "label": "String",
        "found": "'Nine Feet'",
        "write": "Nine Foot",
        "words": "Found 'Nine Feet'. Write Nine Foot.",
    }


def test_what_only_the_skipper_tells_is_refused_of_the_crew_in_words(scene: Scene) -> None:
    deckhand = scene.another(CREW)
    wishes = [
        waiting("pinned", day="2026-12-08"),
        waiting("barred", day="2026-12-08"),
        waiting(string="Nine Foot"),
    ]
    answer = sync(deckhand, json.dumps({"entries": wishes})).json()["told"]
    assert [one["state"] for one in answer] == ["refused", "refused", "taken"]
    assert answer[0]["faults"][0]["found"] == "what only the skipper tells"
    (pull,) = by_phone(scene)
    assert pull.told_by == "crew phone"


def test_an_answer_that_was_lost_does_no_harm(scene: Scene) -> None:
    entries = [waiting(string="Nine Foot", at="2026-12-08T13:00:00Z"), waiting(string="Outer Bar")]
    assert states(scene.visitor, *entries) == ["taken", "taken"]
    scene.clock.put(scene.clock.now() + timedelta(hours=9))
    assert states(scene.visitor, *entries) == ["known", "known"]
    assert len(by_phone(scene)) == 2


def test_a_pull_brings_what_was_missing_and_damaged_with_it(scene: Scene) -> None:
    entry = waiting(string="Nine Foot", missing_traps="7", damage_traps="3", damage_item="lid")
    assert states(scene.visitor, entry, entry) == ["taken", "known"]
    assert [type(one.detail) for one in by_phone(scene)] == [FoundMissing, Pulled, FoundDamaged]


def test_a_form_sent_with_a_signal_whose_answer_was_lost_is_known_when_it_comes_again(scene: Scene) -> None:
    key = str(uuid4())
    page = scene.visitor.get("/log/pull")
    at = (scene.clock.now() + timedelta(minutes=40)).isoformat()  # by a phone's clock that is wrong
    fields = {"key": key, "form_token": form_token(page), "string": "Nine Foot", "happened_at": "", "note": ""}
    assert post(scene.visitor, "/log/pull", **fields).status_code == 303
    scene.clock.put(scene.clock.now() + timedelta(hours=3))
    assert states(scene.visitor, {**waiting(key=key, at=at, string="Nine Foot"), "tapped": True}) == ["known"]


def test_the_moment_of_a_tap_may_differ_from_what_is_known_but_a_told_one_may_not(scene: Scene) -> None:
    key = str(uuid4())
    first = waiting(key=key, at="2026-12-08T13:00:00Z", string="Nine Foot")
    a_day_early = {**first, "happened_at": "2026-12-07T13:00:00Z"}
    assert states(scene.visitor, first, {**a_day_early, "tapped": True}, a_day_early) == [
        "taken",
        "known",
        "refused",
    ]
    assert [entry.happened_at.hour for entry in by_phone(scene)] == [13]


@pytest.mark.parametrize("at", ["", "yesterday", "2026-13-01T00:00Z", "0001-01-01T00:00+14:00"])
def test_a_moment_is_needed(scene: Scene, at: str) -> None:
    assert states(scene.visitor, waiting(at=at, string="Nine Foot")) == ["refused"]


def test_a_moment_ahead_of_our_clock_comes_later_for_ours_may_be_behind(scene: Scene) -> None:
    at = scene.clock.now() + timedelta(minutes=11)
    entry = waiting(at=at.isoformat(), string="Nine Foot", missing_traps="3")
    assert states(scene.visitor, entry, waiting(string="Outer Bar")) == ["later", "taken"]
    assert states(scene.visitor, entry) == ["later"]
    assert [one.string for one in by_phone(scene)] == ["Outer Bar"]
    scene.clock.put(at)
    assert states(scene.visitor, entry) == ["taken"]
    assert {one.happened_at for one in by_phone(scene)[1:]} == {at}


def test_up_to_ten_minutes_ahead_is_now_and_the_same_when_it_is_sent_again(scene: Scene) -> None:
    now = scene.clock.now()
    entry = waiting(at=(now + timedelta(minutes=10)).isoformat(), string="Nine Foot")
    assert states(scene.visitor, entry) == ["taken"]
    assert by_phone(scene)[0].happened_at == now
    scene.clock.put(now + timedelta(hours=2))
    assert states(scene.visitor, entry) == ["known"]


def test_the_same_form_with_another_moment_is_not_known(scene: Scene) -> None:
    entry = waiting(at="2026-12-08T13:00:00Z", string="Nine Foot")
    assert states(scene.visitor, entry) == ["taken"]
    assert states(scene.visitor, {**entry, "happened_at": "2026-12-08T14:00:00Z"}) == ["refused"]


@pytest.mark.parametrize("seed", range(3))
def test_what_happened_in_one_minute_keeps_the_order_in_which_the_phone_tells_it(scene: Scene, seed: int) -> None:
    luck = random.Random(seed)
    for minute in range(4):
        at = f"2026-12-08T13:{10 + minute}:00Z"
        ashore, back = (
            waiting(kind, at, str(UUID(int=luck.getrandbits(128), version=4)), string="Nine Foot", traps="1..4")
            for kind in ("ashore", "set")
        )
        assert states(scene.visitor, ashore, back) == ["taken", "taken"]
    told = sorted(by_phone(scene), key=lambda entry: entry.order)
    assert [entry.kind.value for entry in told] == ["ashore", "set"] * 4


def test_the_hour_that_the_clock_shows_twice_is_the_second_once_that_has_been(tmp_path: Path) -> None:
    with page_scene(tmp_path, at=datetime(2026, 11, 1, 5, 50, tzinfo=UTC)) as scene:
        scene.sign_in()
        first = waiting("hours", "2026-11-01T01:30", engine_h="400")
        assert states(scene.visitor, first) == ["taken"]
        scene.clock.put(datetime(2026, 11, 1, 14, tzinfo=UTC))
        assert states(scene.visitor, waiting("hours", "2026-11-01T01:30", engine_h="401")) == ["taken"]
        moments = [entry.happened_at for entry in by_phone(scene)]
    assert moments == [datetime(2026, 11, 1, 5, 30, tzinfo=UTC), datetime(2026, 11, 1, 6, 30, tzinfo=UTC)]


def test_an_entry_that_nobody_foresaw_is_refused_and_the_rest_is_taken(
    scene: Scene, monkeypatch: pytest.MonkeyPatch
) -> None:
    def poisoned(store: Store, entries: Sequence[LogEntry], *rest: Any, **named: Any) -> Appended:
        if any(entry.note == "poison" for entry in entries):
            raise ZeroDivisionError
        return take_entries(store, entries, *rest, **named)

    monkeypatch.setattr(log_pages, "take_entries", poisoned)
    entries = [waiting(string="Nine Foot", note="poison"), waiting(string="Outer Bar", at="2026-12-08T14:30:00Z")]
    assert states(scene.visitor, *entries) == ["refused", "taken"]

    def broken(*_: Any, **__: Any) -> Appended:
        raise StoreError("the disk is full")

    monkeypatch.setattr(log_pages, "take_entries", broken)
    answer = sync(scene.visitor, json.dumps({"entries": [waiting(string="Nine Foot")]}))
    assert answer.status_code >= 500, "what the store can't take now is not refused for good"


def test_a_moment_typed_without_an_offset_is_the_harbors(scene: Scene) -> None:
    assert states(scene.visitor, waiting(at="2026-12-08T08:40", string="Nine Foot")) == ["taken"]
    assert by_phone(scene)[0].happened_at == datetime(2026, 12, 8, 13, 40, tzinfo=UTC)


@pytest.mark.parametrize(
    "entry",
    [
        {},
        {"key": 5},
        {"key": "x", "kind": "pull"},
        {"key": str(UUID(int=1)), "kind": "correction", "cells": {"voids": "x", "reason": "y"}},
        {"key": str(UUID(int=1)), "kind": ["pull"]},
        {"key": str(UUID(int=1)), "kind": "pull", "cells": {"string": 5}},
        {"key": str(UUID(int=1)), "kind": "pull", "cells": ["string"]},
        {"key": str(UUID(int=1)), "kind": "pull", "cells": {f"field {n}": "" for n in range(61)}},
        {"key": str(UUID(int=1)), "kind": "pull", "happened_at": 7},
    ],
    ids=lambda entry: json.dumps(entry)[:60],
)
def test_an_entry_that_is_none_is_refused_and_the_next_is_taken(scene: Scene, entry: dict[str, Any]) -> None:
    answer = sync(scene.visitor, json.dumps({"entries": [entry, waiting(string="Nine Foot")]}))
    assert [told["state"] for told in answer.json()["told"]] == ["refused", "taken"]
    assert all(told["write"] for told in answer.json()["told"][0]["faults"])


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"[]",
        b"{",
        b'{"entries": {}}',
        b'{"entries": [1]}',
        b'{"entries": ["\\ud800"]}',
        b'{"entries": [{"key": "\\ud800"}]}',
        b"\xff\xfe",
        b"[" * 100_000,
        json.dumps({"entries": [{}] * (MOST_ENTRIES + 1)}).encode(),
    ],
    ids=lambda body: repr(body[:30]),
)
def test_a_body_that_no_page_of_ours_sends_is_refused_with_a_reason(scene: Scene, body: bytes) -> None:
    answer = sync(scene.visitor, body)
    assert answer.status_code == 400
    assert answer.json()["fault"]
    assert by_phone(scene) == []


def test_a_body_that_is_too_long_is_refused(scene: Scene) -> None:
    assert sync(scene.visitor, b" " * (MOST_BYTES + 1)).status_code == 413


def test_signed_out_or_with_a_token_of_another_session_nothing_is_taken(scene: Scene) -> None:
    body = json.dumps({"entries": [waiting(string="Nine Foot")]})
    stranger = scene.another()
    asks_json = {"Accept": "application/json"}
    assert stranger.get("/sync/ready", headers=asks_json).status_code == 401
    from_us = {"Sec-Fetch-Site": "same-origin", **asks_json}
    assert stranger.post("/sync", content=body, headers=from_us).status_code == 401
    others = scene.another(CREW).get("/sync/ready").json()["form_token"]
    assert (
        scene.visitor.post("/sync", content=body, headers={**from_us, "X-Form-Token": others}).status_code == 403
    )
    assert by_phone(scene) == []


# ---- Together and one by one


def random_entries(luck: random.Random, before: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Some that go together, some that clash, some told ``before``; in the order they happened, mostly."""
    entries = []
    for _ in range(luck.randint(1, 8)):
        kind = luck.choice(("pull", "pull", "missing", "recovered", "ashore", "set", "damage", "tagged"))
        cells = {"string": luck.choice(("Nine Foot", "Outer Bar")), "traps": str(luck.randint(1, 26))}
        if kind == "damage":
            cells["item"] = luck.choice(("latch", "lid", "rust"))
        if kind == "tagged":
            cells["tag"] = luck.choice("AB")
        if kind == "pull" and luck.random() < 0.3:
            cells |= {"missing_traps": str(luck.randint(1, 24)), "legal_claws": luck.choice(("7", "many"))}
        at = datetime(2026, 12, 8, 4, tzinfo=UTC) + timedelta(minutes=luck.randrange(600))
        key = str(UUID(int=luck.getrandbits(128), version=4))
        entries.append({"key": key, "kind": kind, "happened_at": at.isoformat(), "cells": cells})
        if before and luck.random() < 0.2:
            entries[-1] = luck.choice((luck.choice(before), {**entries[-1], "key": luck.choice(before)["key"]}))
    if luck.random() < 0.8:
        entries.sort(key=lambda entry: str(entry["happened_at"]))
    return entries


@pytest.mark.parametrize("seed", range(4))
def test_what_comes_together_is_judged_as_if_it_came_one_by_one(tmp_path: Path, seed: int) -> None:
    luck = random.Random(seed)
    taken: list[dict[str, Any]] = []
    told: set[str] = set()
    at = datetime(2026, 12, 8, 15, tzinfo=UTC)
    folders = [tmp_path / "together", tmp_path / "apart"]
    for folder in folders:
        folder.mkdir()
    with page_scene(folders[0], at=at) as together, page_scene(folders[1], at=at) as apart:
        together.sign_in()
        apart.sign_in()
        for _ in range(15):
            entries = random_entries(luck, taken)
            at_once = sync(together.visitor, json.dumps({"entries": entries})).json()["told"]
            one_by_one = []
            for one in entries:
                one_by_one += sync(apart.visitor, json.dumps({"entries": [one]})).json()["told"]
                apart.clock.put(apart.clock.now() + timedelta(milliseconds=1))
            together.clock.put(apart.clock.now())
            assert at_once == one_by_one
            told |= {one["state"] for one in at_once}
            taken += [entry for entry, one in zip(entries, at_once, strict=True) if one["state"] == "taken"]
        assert told == {"taken", "known", "refused"}
        held = [
            [(one.key, one.kind, one.happened_at, one.detail, one.string, one.traps) for one in by_phone(scene)]
            for scene in (together, apart)
        ]
        assert held[0] == held[1]


def test_a_string_of_pulls_in_their_order_is_weighed_against_the_log_once(
    scene: Scene, monkeypatch: pytest.MonkeyPatch
) -> None:
    sizes = []

    def counted(store: Store, entries: Sequence[LogEntry], *rest: Any, **named: Any) -> Appended:
        sizes.append(len(entries))
        return take_entries(store, entries, *rest, **named)

    monkeypatch.setattr(log_pages, "take_entries", counted)
    pulls = [waiting(at=f"2026-12-08T13:{n:02}:00Z", string="Nine Foot", traps=str(n)) for n in range(1, 21)]
    assert states(scene.visitor, *pulls) == ["taken"] * 20
    assert sizes == [20]
    assert states(scene.visitor, *pulls) == ["known"] * 20
    assert sizes == [20, 20]


# ---- Fifty phones --------------------------------------------------------------------------------------------


class Phone:
    """Sends what it keeps until it heard of each; now and then the answer is lost, or the connection before it."""

    def __init__(self, number: int, port: int, cookie: str, token: str) -> None:
        self.luck = random.Random(number)
        self.port = port
        self.headers = {
            "Cookie": f"soakbell={cookie}",
            "X-Form-Token": token,
            "Sec-Fetch-Site": "same-origin",
            "Accept": "application/json",
        }
        at = datetime(2026, 12, 8, 13, tzinfo=UTC)
        self.keeps = {
            key: {
                "key": key,
                "kind": "hours",
                "happened_at": (at + timedelta(seconds=EACH * number + turn)).isoformat(),
                "cells": {"engine_h": str(400 + number), "note": f"phone {number}, {turn}"},
            }
            for turn in range(EACH)
            for key in (str(UUID(int=self.luck.getrandbits(128), version=4)),)
        }
        self.drops = 0

    def send_all(self) -> None:
        for _ in range(100):
            if not self.keeps:
                return
            some = list(self.keeps.values())[: self.luck.randint(1, EACH)]
            answer = self.send(json.dumps({"entries": some}))
            for told in answer:
                assert told["state"] in ("taken", "known"), told
                del self.keeps[told["key"]]
        raise AssertionError("a hundred tries were not enough")

    def send(self, body: str) -> list[dict[str, Any]]:
        """What was told; nothing where the phone hung up before it was."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=120)
        try:
            connection.request("POST", "/sync", body, self.headers)
            if self.luck.random() < 0.4:
                self.drops += 1
                return []
            answer = connection.getresponse()
            assert answer.status == 200, answer.status
            told: list[dict[str, Any]] = json.loads(answer.read())["told"]
            return told
        finally:
            connection.close()


@pytest.mark.slow
def test_fifty_phones_with_twenty_entries_each_come_in_once_each(scene: Scene) -> None:
    cookie = scene.visitor.cookies["soakbell"]
    token = scene.visitor.get("/sync/ready").json()["form_token"]
    together = threading.Barrier(PHONES)

    def at_once(phone: Phone) -> int:
        together.wait(60)
        phone.send_all()
        return phone.drops

    with served(scene) as server, ThreadPoolExecutor(PHONES) as pool:
        phones = [Phone(number, server.port, cookie, token) for number in range(PHONES)]
        drops = sum(pool.map(at_once, phones))
    entries = by_phone(scene)
    assert drops > PHONES // 2
    assert sorted(entry.note for entry in entries) == sorted(
        f"phone {number}, {turn}" for number in range(PHONES) for turn in range(EACH)
    )
    assert len({entry.key for entry in entries}) == PHONES * EACH


@pytest.mark.slow
def test_one_entry_from_many_hands_at_once_is_one_entry(scene: Scene) -> None:
    entry = waiting(string="Nine Foot", missing_traps="3", at="2026-12-08T14:00:00Z")
    cookie = scene.visitor.cookies["soakbell"]
    token = scene.visitor.get("/sync/ready").json()["form_token"]
    with served(scene) as server, ThreadPoolExecutor(12) as pool:
        phones = [Phone(number, server.port, cookie, token) for number in range(12)]
        for phone in phones:
            phone.luck.random = lambda: 1.0  # type: ignore[method-assign]
        answers = list(pool.map(lambda phone: phone.send(json.dumps({"entries": [entry]})), phones))
    assert sorted(told["state"] for (told,) in answers) == ["known"] * 11 + ["taken"]
    assert len(by_phone(scene)) == 2
