"""Telling the log by phone: every kind's form, what it takes, refuses and undoes. INVENTED DATA."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from html import unescape
from pathlib import Path
from uuid import uuid4

import pytest
from httpx2 import Response
from starlette.testclient import TestClient

from page_scenes import CREW, Scene, form_token, page_scene, post
from soakbell.gear.fold import Whereabouts
from soakbell.gear.log import DETAILS, EntryKind, FoundDamaged, FoundMissing, LogEntry, Pulled
from soakbell.gear.log_csv import COLUMNS
from soakbell.store.log import all_entries
from soakbell.web.log_forms import KINDS, LABELS


@pytest.fixture
def scene(tmp_path: Path) -> Iterator[Scene]:
    with page_scene(tmp_path, at=datetime(2026, 12, 8, 15, tzinfo=UTC)) as built:
        built.sign_in()
        yield built


def log_of(scene: Scene) -> list[LogEntry]:
    with scene.store.reading() as session:
        return all_entries(session)


def told_by_phone(scene: Scene) -> list[LogEntry]:
    return [entry for entry in log_of(scene) if entry.told_by in ("phone", "crew phone")]


def told(scene: Scene, kind: str, visitor: TestClient | None = None, **cells: str) -> Response:
    """A form filled in and sent, as a browser without script does."""
    phone = visitor or scene.visitor
    page = phone.get(f"/log/{kind}")
    fields = {"key": key_of(page), "form_token": form_token(page), **cells}
    return post(phone, f"/log/{kind}", **fields)


def key_of(page: Response) -> str:
    found = re.search(r'name="key" value="([0-9a-f-]{36})"', page.text)
    assert found is not None
    return found[1]


def field_fault(page: Response, name: str) -> str:
    """What stands beside a field as its fault."""
    return unescape(page.text.partition(f'id="fault-{name}">')[2].partition("</p>")[0])


def test_a_pull_is_told_in_one_form(scene: Scene) -> None:
    cells = {"string": "Nine Foot", "legal_claws": "118", "short_claws": "64", "float_claws": "3"}
    weights = {"lb_by_grade:jumbo": "3.5", "lb_by_grade:large": "2", "lb_by_grade:medium": ""}
    answer = told(scene, "pull", **cells, **weights, bait="mullet heads", note="calm; 4 gulls")
    assert answer.status_code == 303
    (entry,) = told_by_phone(scene)
    pulled = Pulled(
        legal_claws=118,
        short_claws=64,
        float_claws=3,
        lb_by_grade=(("jumbo", 3.5), ("large", 2.0)),
        bait="mullet heads",
    )
    assert entry.detail == pulled
    assert (entry.string, entry.traps, entry.note) == ("Nine Foot", (), "calm; 4 gulls")
    assert entry.happened_at == scene.clock.now()
    page = unescape(scene.visitor.get(answer.headers["location"]).text)
    assert "Told:" in page
    assert "Pull, Nine Foot, the whole string, Tue 8 Dec 10:00. Legal claws: 118" in page


def test_pounds_are_folded_away_until_they_are_told(scene: Scene) -> None:
    page = scene.visitor.get("/log/pull").text
    assert page.index('name="float_claws"') < page.index("<details>\n<summary>Pounds</summary>")
    again = told(scene, "pull", string="Nine Foot", lb="12", legal_claws="many").text
    assert "<legend>Pounds</legend>" in again


def test_ticks_say_what_was_done_otherwise_than_usual(scene: Scene) -> None:
    told(scene, "pull", string="Nine Foot", rebaited="no", reset="no")
    (entry,) = told_by_phone(scene)
    assert entry.detail == Pulled(rebaited=False, reset=False)


def test_missing_and_damaged_traps_go_with_the_pull_in_one_batch(scene: Scene) -> None:
    told(scene, "pull", string="Nine Foot", missing_traps="7", damage_traps="3..4", damage_item="latch")
    entries = told_by_phone(scene)
    assert [(type(entry.detail), entry.traps) for entry in entries] == [
        (FoundMissing, (7,)),
        (Pulled, ()),
        (FoundDamaged, (3, 4)),
    ]
    traps = scene.house.desk.log.now().gear.strings["Nine Foot"].traps
    assert traps[6].where is Whereabouts.MISSING
    assert [item.item for item in traps[2].items] == ["latch"]
    assert traps[2].soak_start == scene.clock.now()


def test_with_a_fault_in_any_part_nothing_is_taken_and_all_that_was_typed_stays(scene: Scene) -> None:
    cells = {
        "string": "Nine Foot",
        "legal_claws": "many",
        "lb": "12",
        "damage_traps": "99",
        "damage_item": "latch",
    }
    answer = told(scene, "pull", **cells)
    assert answer.status_code == 422
    assert told_by_phone(scene) == []
    assert "a whole number" in field_fault(answer, "legal_claws")
    assert 'value="many"' in answer.text
    assert 'value="12"' in answer.text
    again = told(scene, "pull", **{**cells, "legal_claws": "11"})
    assert "places from 1 to 24" in field_fault(again, "damage_traps")
    assert "<details>\n<summary>Missing or damaged" not in again.text, "a fault is not folded away"


def test_a_fault_of_amounts_stands_at_the_first_of_them(scene: Scene) -> None:
    answer = told(scene, "pull", **{"string": "Nine Foot", "lb_by_grade:jumbo": "three"})
    assert answer.status_code == 422
    assert 'id="fault-lb_by_grade-' in answer.text


def test_sent_twice_it_is_one_entry_and_said_to_be_known(scene: Scene) -> None:
    page = scene.visitor.get("/log/pull")
    fields = {"key": key_of(page), "form_token": form_token(page), "string": "Nine Foot", "missing_traps": "2"}
    first = post(scene.visitor, "/log/pull", **fields)
    scene.clock.put(scene.clock.now() + timedelta(minutes=7))
    second = post(scene.visitor, "/log/pull", **fields)
    assert (first.status_code, second.status_code) == (303, 303)
    assert len(told_by_phone(scene)) == 2
    assert "told once and no more" in scene.visitor.get(second.headers["location"]).text


def test_sent_again_with_something_else_in_it_is_refused(scene: Scene) -> None:
    key = str(uuid4())
    told(scene, "pull", string="Nine Foot", key=key)
    answer = told(scene, "pull", string="Nine Foot", key=key, legal_claws="5")
    assert answer.status_code == 422
    assert "This form was sent before" in answer.text
    assert len(told_by_phone(scene)) == 1


@pytest.mark.parametrize("key", ["", "1", "../../etc", "x" * 36, "é" * 36])
def test_without_a_number_of_its_own_a_form_is_refused_and_gets_one(scene: Scene, key: str) -> None:
    answer = told(scene, "pull", string="Nine Foot", key=key)
    assert answer.status_code == 422
    assert key_of(answer) != key
    assert told_by_phone(scene) == []


def test_the_same_traps_pulled_twice_within_the_half_hour_are_asked_about(scene: Scene) -> None:
    told(scene, "pull", string="Nine Foot")
    scene.clock.put(scene.clock.now() + timedelta(minutes=5))
    answer = told(scene, "pull", string="Nine Foot")
    assert answer.status_code == 422
    assert "a pull of the same traps" in field_fault(answer, "happened_at")


def test_a_moment_is_read_on_the_harbors_clock_and_none_lies_ahead(scene: Scene) -> None:
    assert told(scene, "pull", string="Nine Foot", happened_at="2026-12-08T08:40").status_code == 303
    (entry,) = told_by_phone(scene)
    assert entry.happened_at == datetime(2026, 12, 8, 13, 40, tzinfo=UTC)
    answer = told(scene, "pull", string="Nine Foot", happened_at="2026-12-08T10:40")
    assert "in the future" in field_fault(answer, "happened_at")


@pytest.mark.parametrize("name", ["id", "told_at", "told_by"])
def test_who_told_it_and_when_is_not_the_forms_to_say(scene: Scene, name: str) -> None:
    told(scene, "pull", string="Nine Foot", **{name: "2026-12-01 08:00"})
    (entry,) = told_by_phone(scene)
    assert "2026-12-01 08:00" not in (entry.id, entry.told_by)
    assert scene.clock.now() - entry.told_at < timedelta(seconds=1)


@pytest.mark.parametrize("name", ["lb_by_grade:<b>", "voids", "nonsense", "missing"])
def test_a_field_that_no_form_has_is_refused(scene: Scene, name: str) -> None:
    answer = told(scene, "pull", **{"string": "Nine Foot", name: "1"})
    assert answer.status_code == 422
    assert told_by_phone(scene) == []
    assert "<b>" not in answer.text


def test_a_note_is_shown_as_it_was_told_and_runs_nowhere(scene: Scene) -> None:
    note = "'<script>alert(1)</script> =1+1"
    told(scene, "pull", string="Nine Foot", note=note)
    assert told_by_phone(scene)[0].note == note
    for path in ("/log", "/told"):
        page = scene.visitor.get(path).text
        assert "<script>alert" not in page
        assert note in unescape(page)


EVERY_KIND = {
    EntryKind.PULL: {"string": "Nine Foot"},
    EntryKind.MOVE: {
        "string": "Nine Foot",
        "start_lat_deg": "30.02",
        "start_lon_deg": "-84.16",
        "end_lat_deg": "30.03",
        "end_lon_deg": "-84.15",
    },
    EntryKind.MISSING: {"string": "Nine Foot", "traps": "3"},
    EntryKind.RECOVERED: {"string": "Nine Foot", "traps": "3", "back": "fishing"},
    EntryKind.DAMAGE: {"string": "Nine Foot", "traps": "1", "item": "lid"},
    EntryKind.REPAIRED: {"string": "Nine Foot", "traps": "1", "item": "lid", "parts:lid slat": "1"},
    EntryKind.ASHORE: {"string": "Nine Foot", "traps": "1..4"},
    EntryKind.BENCH: {"string": "Nine Foot", "traps": "1"},
    EntryKind.RETIRED: {"string": "Nine Foot", "traps": "1", "reason": "worn out"},
    EntryKind.TAGGED: {"string": "Nine Foot", "traps": "2", "tag": "A 117"},
    EntryKind.REPLACED: {"string": "Nine Foot", "traps": "1"},
    EntryKind.RENUMBERED: {"string": "Nine Foot", "places": "8>9; 9>8"},
    EntryKind.BAIT_BOUGHT: {"bait": "mullet heads", "boxes": "4", "cost_usd": "88.5"},
    EntryKind.BAIT_MOVED: {"bait": "mullet heads", "boxes": "1", "to": "thaw", "out_of": "freezer"},
    EntryKind.BAIT_SPOILED: {"bait": "mullet heads", "boxes": "0.5"},
    EntryKind.BAIT_COUNTED: {"bait": "mullet heads", "boxes": "0"},
    EntryKind.BAIT_ORDERED: {"bait": "cowhide", "boxes": "2", "due_on": "2026-12-11"},
    EntryKind.PART_BOUGHT: {"part": "hook latch", "count": "10"},
    EntryKind.PART_USED: {"part": "hook latch", "count": "1"},
    EntryKind.PART_COUNTED: {"part": "hook latch", "count": "9"},
    EntryKind.UPKEEP: {"task": "flares", "expires_on": "2029-06-30"},
    EntryKind.HOURS: {"engine_h": "412.5"},
    EntryKind.SNOOZED: {"bell": "soak:Nine Foot", "until": "2026-12-12T06:00"},
    EntryKind.SETTLED: {"bell": "soak:Nine Foot"},
    EntryKind.SET: {"string": "Nine Foot", "traps": "2..4"},
    EntryKind.PINNED: {"day": "2026-12-12", "string": "Nine Foot"},
    EntryKind.BARRED: {"day": "2026-12-13", "string": ""},
}


def test_every_kind_can_be_told_but_a_correction_which_is_undo(scene: Scene) -> None:
    assert set(KINDS) == set(EVERY_KIND) == set(DETAILS) - {EntryKind.CORRECTION}
    for turn, (kind, cells) in enumerate(EVERY_KIND.items(), 1):
        answer = told(scene, kind.value, **cells)
        assert answer.status_code == 303, (kind, unescape(answer.text))
        assert [entry.kind for entry in told_by_phone(scene)][-1] == kind
        assert len(told_by_phone(scene)) == turn
        scene.clock.put(scene.clock.now() + timedelta(minutes=31))
    page = scene.visitor.get("/log").text
    for kind in KINDS:
        assert f'href="/log/{kind.value}"' in page


def test_every_column_has_a_label() -> None:
    assert set(COLUMNS) - {"kind", "id", "key", "told_at", "told_by"} - {"lat", "lon"} <= set(LABELS)


@pytest.mark.parametrize("kind", [kind.value for kind in KINDS])
def test_every_form_is_small_and_labels_each_control(scene: Scene, kind: str) -> None:
    page = scene.visitor.get(f"/log/{kind}").text
    assert len(page.encode()) < 60_000
    main = page.partition("<main")[2].partition("</main>")[0]
    ids = re.findall(r' id="([^"]+)"', main)
    assert len(set(ids)) == len(ids)
    assert not any(" " in one for one in ids)
    for name in re.findall(r'<(?:input|select|textarea) id="([^"]+)"', main):
        assert f'for="{name}"' in main or f'<label><input type="checkbox" id="{name}"' in main


def test_a_form_without_a_gear_file_takes_names_as_they_are_written(tmp_path: Path) -> None:
    with page_scene(tmp_path, at=datetime(2026, 12, 8, 15, tzinfo=UTC), outfit="gear.toml: torn") as scene:
        scene.sign_in()
        assert told(scene, "damage", string="Nine Foot", traps="1", item="hinge").status_code == 303
        assert told(scene, "pull", string="Nine Foot", lb_by_grade="jumbo 3").status_code == 303


def test_whole_strings_are_not_missing_by_a_field_left_empty(scene: Scene) -> None:
    answer = told(scene, "missing", string="Nine Foot")
    assert "all for the whole string" in field_fault(answer, "traps")
    assert told(scene, "missing", string="Nine Foot", traps="all").status_code == 303
    assert told_by_phone(scene)[0].traps == ()


@pytest.mark.parametrize("path", ["/log/correction", "/log/dance", "/told?before=x", "/told?before=0"])
def test_what_there_is_not_is_not_found(scene: Scene, path: str) -> None:
    assert scene.visitor.get(path).status_code == 404


def test_what_is_odd_in_the_log_after_it_is_told_at_once(scene: Scene) -> None:
    answer = told(scene, "bait-spoiled", bait="cowhide", boxes="3")
    page = unescape(scene.visitor.get(answer.headers["location"]).text)
    assert "Look at this again." in page


# ---- Undo ----------------------------------------------------------------------------------------------------


def undo(phone: TestClient, entry: str) -> Response:
    return post(phone, f"/told/{entry}/void", form_token=form_token(phone.get("/log")))


def test_what_was_undone_counts_for_nothing_and_can_be_brought_back(scene: Scene) -> None:
    told(scene, "missing", string="Nine Foot", traps="3")
    entry = told_by_phone(scene)[0]
    assert undo(scene.visitor, entry.id).status_code == 303
    assert scene.house.desk.log.now().gear.strings["Nine Foot"].traps[2].where is Whereabouts.FISHING
    page = unescape(scene.visitor.get("/log").text)
    assert "Undone, counts for nothing:" in page
    assert "Bring it back" in page
    scene.clock.put(scene.clock.now() + timedelta(minutes=1))
    correction = told_by_phone(scene)[-1]
    assert correction.kind is EntryKind.CORRECTION
    assert undo(scene.visitor, correction.id).status_code == 303
    assert scene.house.desk.log.now().gear.strings["Nine Foot"].traps[2].where is Whereabouts.MISSING


def test_who_told_it_is_said_in_words(scene: Scene) -> None:
    told(scene, "pull", visitor=scene.another(CREW), string="Nine Foot")
    told(scene, "missing", string="Nine Foot", traps="3")
    page = unescape(scene.visitor.get("/told").text)
    assert "Told by the crew's phone Tue 8 Dec" in page
    assert "Told by phone Tue 8 Dec" in page
    assert "Missing, Nine Foot, trap 3," in page


def test_what_lacks_is_asked_for_at_its_field(scene: Scene) -> None:
    answer = told(scene, "damage", string="Nine Foot", traps="3")
    assert field_fault(answer, "item") == "Nothing is filled in. Write what is wrong, as in lid."
    answer = told(scene, "pull")
    assert field_fault(answer, "string") == "Nothing is filled in. Write Nine Foot or Outer Bar."


def test_a_mend_that_finds_nothing_wrong_is_to_be_looked_at_again(scene: Scene) -> None:
    told(scene, "damage", string="Nine Foot", traps="3", item="latch")
    for nothing_wrong in (False, True):
        scene.clock.put(scene.clock.now() + timedelta(minutes=1))
        page = scene.visitor.get(told(scene, "repaired", string="Nine Foot").headers["location"])
        assert ("nothing wrong with Nine Foot that this could mend" in page.text) is nothing_wrong


def test_each_kind_says_what_it_needs(scene: Scene) -> None:
    for kind in KINDS:
        answer = told(scene, kind.value, string="Nine Foot", happened_at="2026-12-08T03:00")
        assert answer.status_code in (303, 422), kind


def test_undone_twice_is_undone_once(scene: Scene) -> None:
    told(scene, "missing", string="Nine Foot", traps="3")
    entry = told_by_phone(scene)[0]
    assert [undo(scene.visitor, entry.id).status_code for _ in range(2)] == [303, 303]
    assert len(told_by_phone(scene)) == 2


def test_the_crew_may_undo_what_it_told_by_phone_within_a_day(scene: Scene) -> None:
    deckhand = scene.another(CREW)
    told(scene, "pull", visitor=deckhand, string="Nine Foot")
    by_phone, set_before = told_by_phone(scene)[0], log_of(scene)[0]
    page = deckhand.get("/told").text
    assert f"/told/{by_phone.id}/void" in page
    assert f"/told/{set_before.id}/void" not in page
    assert undo(deckhand, set_before.id).status_code == 403
    assert undo(deckhand, by_phone.id).status_code == 303
    told(scene, "pull", visitor=deckhand, string="Nine Foot")
    late = told_by_phone(scene)[-1]
    scene.clock.put(scene.clock.now() + timedelta(hours=25))
    assert undo(deckhand, late.id).status_code == 403
    assert undo(scene.visitor, late.id).status_code == 303


def test_the_crew_undoes_nothing_of_the_skippers(scene: Scene) -> None:
    """His bar of today, undone, would let a PULL through."""
    deckhand = scene.another(CREW)
    told(scene, "barred", day="2026-12-08")
    (bar,) = told_by_phone(scene)
    assert f"/told/{bar.id}/void" not in deckhand.get("/told").text
    assert undo(deckhand, bar.id).status_code == 403
    told(scene, "pull", visitor=deckhand, string="Nine Foot")
    pull = next(entry for entry in told_by_phone(scene) if entry.kind is EntryKind.PULL)
    scene.clock.put(scene.clock.now() + timedelta(minutes=1))
    undo(scene.visitor, pull.id)
    (correction,) = [entry for entry in told_by_phone(scene) if entry.kind is EntryKind.CORRECTION]
    assert undo(deckhand, correction.id).status_code == 403


@pytest.mark.parametrize("kind", ["pinned", "barred", "snoozed", "settled"])
def test_what_bears_on_calls_and_bells_is_not_the_crews_to_tell(scene: Scene, kind: str) -> None:
    deckhand = scene.another(CREW)
    index = deckhand.get("/log")
    assert f'href="/log/{kind}"' in scene.visitor.get("/log").text
    assert f'href="/log/{kind}"' not in index.text
    assert deckhand.get(f"/log/{kind}").status_code == 403
    cells = {"day": "2026-12-08", "bell": "soak", "until": "2026-12-09", "key": str(uuid4())}
    answer = post(deckhand, f"/log/{kind}", form_token=form_token(index), **cells)
    assert answer.status_code == 403
    assert "Only the skipper" in answer.text
    assert told_by_phone(scene) == []


@pytest.mark.parametrize("entry", ["nobody", "%00", "x" * 300, "' OR 1=1"])
def test_an_entry_that_there_is_not_cannot_be_undone(scene: Scene, entry: str) -> None:
    assert undo(scene.visitor, entry).status_code == 404


def test_the_list_is_read_page_by_page(scene: Scene) -> None:
    for _ in range(60):
        told(scene, "hours", engine_h="412")
        scene.clock.put(scene.clock.now() + timedelta(minutes=1))
    first = scene.visitor.get("/told").text
    older = re.search(r'href="(/told\?before=\d+)"', first)
    assert older is not None
    rest = scene.visitor.get(older[1]).text
    assert first.count("<p>Engine hours") == 50
    assert rest.count("<p>Engine hours") == 10


def test_looking_changes_nothing(scene: Scene) -> None:
    told(scene, "pull", string="Nine Foot")
    before = log_of(scene)
    for path in ("/log", "/told", *(f"/log/{kind.value}" for kind in KINDS), f"/log?told={before[-1].id}"):
        for _ in range(2):
            assert scene.visitor.get(path).status_code == 200
    assert log_of(scene) == before
