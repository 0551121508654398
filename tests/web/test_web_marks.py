"""Marks out of track files and tables: what is understood, shown first, taken once, undone. INVENTED DATA."""

from __future__ import annotations

import html
import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from gpxpy.gpx import GPX, GPXRoute, GPXRoutePoint
from httpx2 import Response
from starlette.testclient import TestClient

from law.world import settings_from
from page_scenes import CREW, Scene, form_token, page_scene, post
from recovery_scenes import SEASON_FACTS, season_end
from scenes import FACTS, SCENES, STRINGS
from soakbell.gear.log import Pulled, new_entry
from soakbell.gear.strings import Mark, TrapString
from soakbell.letters.recovery_files import recovery_gpx
from soakbell.letters.track import marks_gpx, strings_gpx
from soakbell.store.log import all_entries, append_entries
from soakbell.web.marks_import import MOST_BYTES, MOST_POINTS, MarksRead, read_marks

BOAT = settings_from().trap_strings
HARBOR = settings_from().harbor.mark
BOTH = frozenset(string.name for string in BOAT)
NINE_FOOT, OUTER_BAR = BOAT
NEW = (Mark(30.040, -84.160), Mark(30.044, -84.148))
"""Nine Foot 0.6 nmi farther north."""


def read(content: bytes | str, afloat: frozenset[str] = BOTH, strings: tuple[TrapString, ...] = BOAT) -> MarksRead:
    raw = content if isinstance(content, bytes) else content.encode()
    return read_marks(raw, strings, afloat, HARBOR)


def gpx(inside: str) -> str:
    return f'<gpx xmlns="http://www.topografix.com/GPX/1/1" version="1.1" creator="a plotter">{inside}</gpx>'


def point(tag: str, mark: Mark, name: str = "") -> str:
    told = f"<name>{html.escape(name)}</name>" if name else ""
    return f'<{tag} lat="{mark.lat_deg}" lon="{mark.lon_deg}">{told}</{tag}>'


def route(name: str, *points: tuple[Mark, str]) -> str:
    return f"<rte><name>{name}</name>{''.join(point('rtept', *one) for one in points)}</rte>"


def table(*rows: str) -> str:
    return "\n".join(("string,start_lat_deg,start_lon_deg,end_lat_deg,end_lon_deg", *rows))


def moved(found: MarksRead) -> dict[str, tuple[Mark, Mark]]:
    return {one.string: (one.start, one.end) for one in found.moves}


# ---- what is understood


def test_a_route_named_as_the_string_moves_it_from_its_first_point_to_its_last() -> None:
    found = read(gpx(route("nine  FOOT", (NEW[0], ""), (Mark(30.042, -84.154), ""), (NEW[1], ""))))
    assert moved(found) == {"Nine Foot": NEW}
    assert (found.faults, found.passed_over) == ((), ())
    # 0.010 degrees of latitude are 0.6 minutes: 0.6 nmi by the old rule, 0.599 on WGS84
    assert found.moves[0].start_nmi == pytest.approx(0.599, abs=0.001)


def test_a_route_whose_points_are_named_by_their_ends_may_run_either_way() -> None:
    backwards = route("Nine Foot", (NEW[1], "Nine Foot end"), (NEW[0], "Nine Foot start"))
    assert moved(read(gpx(backwards))) == {"Nine Foot": NEW}


def test_a_track_and_a_pair_of_waypoints_do_too() -> None:
    track = "".join(point("trkpt", mark) for mark in NEW)
    assert moved(read(gpx(f"<trk><name>Nine Foot</name><trkseg>{track}</trkseg></trk>"))) == {"Nine Foot": NEW}
    pair = point("wpt", NEW[1], "nine foot END") + point("wpt", NEW[0], "Nine Foot start")
    assert moved(read(gpx(pair))) == {"Nine Foot": NEW}


def test_one_waypoint_moves_one_end_and_leaves_the_other() -> None:
    (move,) = read(gpx(point("wpt", NEW[0], "Nine Foot start"))).moves
    assert (move.start, move.end, move.end_nmi) == (NEW[0], NINE_FOOT.end, 0)


def test_a_table_moves_strings_and_its_guards_for_spreadsheets_are_stripped() -> None:
    row = ",".join(f"'{number}" for mark in NEW for number in (mark.lat_deg, mark.lon_deg))
    assert moved(read("\ufeff" + table(f"'Nine Foot,{row}"))) == {"Nine Foot": NEW}


@pytest.mark.parametrize("shuffled", [False, True])
def test_our_own_files_come_back_as_they_lie(shuffled: bool) -> None:
    content = marks_gpx(BOAT[::-1] if shuffled else BOAT, "Little Grebe", FACTS.due_at, invented=True)
    found = read(content)
    assert (found.moves, found.faults, found.passed_over) == ((), (), ())
    assert found.unmoved == ("Nine Foot", "Outer Bar")


def test_the_file_of_a_pull_is_understood_but_for_the_harbor() -> None:
    call = SCENES["pull-morning"]().call
    assert call.window is not None
    content = strings_gpx(call, call.window, FACTS)
    elsewhere = tuple(replace(one, start=Mark(one.start.lat_deg + 0.01, one.start.lon_deg)) for one in STRINGS)
    found = read_marks(content, elsewhere, {one.name for one in STRINGS}, FACTS.harbor_mark)
    lie = {one.name: (one.start, one.end) for one in STRINGS}
    assert moved(found) == {pull.string: lie[pull.string] for pull in call.window.pulls}
    assert found.passed_over == (f"waypoint: {FACTS.harbor}",)


def test_the_file_of_the_recovery_list_moves_no_string_by_a_trap_or_a_search() -> None:
    recovery = season_end()
    found = read_marks(
        recovery_gpx(recovery, SEASON_FACTS), STRINGS, {one.name for one in STRINGS}, FACTS.harbor_mark
    )
    assert (found.moves, found.faults) == ((), ())
    assert set(found.unmoved) == {string.name for _, string in recovery.strings()}
    assert len([line for line in found.passed_over if line.startswith("line: Search: ")]) == 4


# ---- what is not


def test_what_is_of_no_string_is_passed_over_and_told() -> None:
    inside = point("wpt", NEW[0], "Fuel dock") + route("Old ground", *((mark, "") for mark in NEW))
    found = read(gpx(inside + point("wpt", NEW[0]) + route("Nine Foot", (NEW[0], ""))))
    assert found.moves == ()
    assert found.passed_over == (
        "waypoint: Fuel dock",
        "line: Old ground",
        "waypoint: no name",
        "line: Nine Foot",
    )


def test_a_string_told_twice_in_two_ways_is_not_moved() -> None:
    other = (Mark(30.05, -84.16), Mark(30.054, -84.148))
    lines = [route("Nine Foot", *((mark, "") for mark in marks)) for marks in (NEW, other, NEW)]
    found = read(gpx("".join(lines)))
    assert found.moves == ()
    assert [(fault.where, fault.found) for fault in found.faults] == [("Nine Foot", "twice, not the same")]
    assert moved(read(gpx(lines[0] + lines[2]))) == {"Nine Foot": NEW}, "twice the same is no fault"


@pytest.mark.parametrize(
    "marks",
    [
        (Mark(30.04, 84.16), NEW[1]),  # the sign forgotten: 9,000 nmi away
        (Mark(-84.16, 30.04), NEW[1]),  # longitude first
        (NEW[0], Mark(29.0, -84.15)),  # 64 nmi south
    ],
)
def test_a_mark_too_far_from_the_harbor_is_a_fault(marks: tuple[Mark, Mark]) -> None:
    found = read(gpx(route("Nine Foot", *((mark, "") for mark in marks))))
    assert found.moves == ()
    assert "nmi from the harbor" in found.faults[0].found


def test_marks_too_far_apart_are_a_fault() -> None:
    found = read(gpx(route("Nine Foot", (NEW[0], ""), (Mark(30.04, -83.70), ""))))
    assert [fault.key for fault in found.faults] == ["end"]
    assert found.moves == ()


def test_a_string_with_nothing_in_the_water_is_not_moved() -> None:
    found = read(gpx(route("Nine Foot", *((mark, "") for mark in NEW))), afloat=frozenset({"Outer Bar"}))
    assert found.moves == ()
    assert "in the water" in found.faults[0].write


@pytest.mark.parametrize(
    "lat", ["", "nan", "inf", "1e1", "91", "30,04", "٣٠", "30.04.1", "0x1e", "3" * 400], ids=lambda lat: lat[:6]
)
def test_degrees_that_are_none_are_a_fault(lat: str) -> None:
    bad = f'<wpt lat="{lat}" lon="-84.16"><name>Nine Foot start</name></wpt>'
    assert [fault.where for fault in read(gpx(bad)).faults] == ["Nine Foot"]
    found = read(table(f'Nine Foot,"{lat}",-84.16,30.034,-84.148'))
    assert (found.moves, [fault.where for fault in found.faults]) == ((), ["Nine Foot, row 2"])


BOMB = """<?xml version="1.0"?><!DOCTYPE gpx [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;&a;&a;">]>
<gpx><wpt lat="30" lon="-84"><name>&b;</name></wpt></gpx>"""
OUTSIDE = (
    '<!DOCTYPE gpx [<!ENTITY x SYSTEM "file:///etc/passwd">]>'
    '<gpx><wpt lat="1" lon="1"><name>&x;</name></wpt></gpx>'
)


@pytest.mark.parametrize(
    "content",
    [
        BOMB,
        OUTSIDE,
        '<!DOCTYPE gpx SYSTEM "http://192.0.2.1/x.dtd"><gpx/>',
        "<gpx>",
        "<",
        "<html></html>",
        '<?xml version="1.0" encoding="no-such"?><gpx/>',
        b"\xff\xfe<\x00g\x00",
        b"\x00\x01\x02",
        "",
        "string,start_lat_deg\nNine Foot,30",
        "string;start_lat_deg;start_lon_deg;end_lat_deg;end_lon_deg",
        '"unclosed',
        b"PK\x03\x04",
        b"<gpx>" + b" " * MOST_BYTES,
        gpx(point("wpt", NEW[0]) * (MOST_POINTS + 1)),
        table(*(["x,1,1,1,1"] * (MOST_POINTS + 1))),
    ],
    ids=lambda content: repr(content)[:30],
)
def test_a_file_that_is_none_is_one_fault_and_moves_nothing(content: bytes | str) -> None:
    """W5."""
    found = read(content)
    assert (len(found.faults), found.moves, found.passed_over) == (1, (), ())
    assert "ha" * 5 not in str(found.faults)
    assert "root:" not in str(found.faults)


def test_a_file_of_a_hundred_thousand_nested_parts_is_no_danger() -> None:
    found = read("<gpx>" + "<extensions>" * 100_000 + "</extensions>" * 100_000 + "</gpx>")
    assert found == MarksRead()


# ---- on the page


@pytest.fixture
def scene(tmp_path: Path) -> Iterator[Scene]:
    with page_scene(tmp_path) as built:
        built.sign_in()
        yield built


def track(*strings: tuple[str, tuple[Mark, Mark]]) -> bytes:
    made = GPX()
    for name, marks in strings:
        made.routes.append(GPXRoute(name))
        made.routes[-1].points = [GPXRoutePoint(mark.lat_deg, mark.lon_deg) for mark in marks]
    return made.to_xml().encode()


def upload(
    visitor: TestClient, path: str, page: str, content: bytes, name: str = "../../etc/marks.gpx"
) -> Response:
    return visitor.post(
        path,
        data={"form_token": form_token(visitor.get(page))},
        files={"file": ("../../etc/passwd", content)},
        headers={"Sec-Fetch-Site": "same-origin"},
    )


def proposal_of(page: Response) -> str:
    found = re.search(r'name="proposal" value="([^"]+)"', page.text)
    assert found is not None, page.text
    return html.unescape(found[1])


def send(scene: Scene, path: str, **fields: str) -> Response:
    return post(scene.visitor, path, form_token=form_token(scene.visitor.get("/marks")), **fields)


def told(scene: Scene) -> list[str]:
    with scene.store.reading() as session:
        return [f"{entry.kind} {entry.string}" for entry in all_entries(session)]


def lies(scene: Scene, string: str) -> tuple[Mark, Mark]:
    state = scene.house.desk.log.now().gear.strings[string]
    return state.start, state.end


def look(scene: Scene, content: bytes) -> Response:
    return upload(scene.visitor, "/marks", "/marks", content)


def take(scene: Scene) -> str:
    """An import of new marks for Nine Foot; where it leads to."""
    page = look(scene, track(("Nine Foot", NEW)))
    scene.clock.put(scene.clock.now() + timedelta(minutes=1))
    answer = send(scene, "/marks/take", proposal=proposal_of(page))
    assert answer.status_code == 303
    return answer.headers["location"]


def test_a_look_shows_what_would_move_and_stores_nothing(scene: Scene) -> None:
    before = told(scene)
    page = look(scene, track(("Nine Foot", NEW), ("Fuel", NEW)))
    assert page.status_code == 200
    assert "to 30.040000 -84.160000, 0.60 nmi from where it is" in page.text
    assert "line: Fuel" in page.text
    assert told(scene) == before


def test_what_was_looked_at_is_taken_once_however_often_it_is_sent(scene: Scene) -> None:
    proposal = proposal_of(look(scene, track(("Nine Foot", NEW), ("Outer Bar", (OUTER_BAR.end, OUTER_BAR.start)))))
    before = told(scene)
    leads = {send(scene, "/marks/take", proposal=proposal).headers["location"] for _ in range(2)}
    assert len(leads) == 1
    assert sorted(told(scene)) == sorted([*before, "move Nine Foot", "move Outer Bar"])
    assert lies(scene, "Nine Foot") == NEW
    assert "Nine Foot" in scene.visitor.get(leads.pop()).text


def test_an_import_is_undone_at_once_and_once(scene: Scene) -> None:
    leads_to = take(scene)
    code = leads_to.partition("batch=")[2]
    assert "Undo this import" in scene.visitor.get(leads_to).text
    scene.clock.put(scene.clock.now() + timedelta(minutes=1))
    for _ in range(2):
        assert send(scene, "/marks/undo", batch=code).headers["location"] == leads_to
    assert lies(scene, "Nine Foot") == (NINE_FOOT.start, NINE_FOOT.end)
    assert told(scene).count("correction None") == 1
    page = scene.visitor.get(leads_to).text
    assert "Undone: the strings lie as before." in page
    assert "Undo this import" not in page


def test_what_was_looked_at_an_hour_ago_is_not_taken(scene: Scene) -> None:
    proposal = proposal_of(look(scene, track(("Nine Foot", NEW))))
    before = told(scene)
    scene.clock.put(scene.clock.now() + timedelta(hours=1, seconds=2))
    assert send(scene, "/marks/take", proposal=proposal).status_code == 410
    assert told(scene) == before


@pytest.mark.parametrize("change", [lambda p: p[:-2], lambda p: f"A{p}", lambda _: "", lambda _: "." * 9])
def test_what_we_did_not_sign_is_not_taken(scene: Scene, change) -> None:  # type: ignore[no-untyped-def]
    proposal = proposal_of(look(scene, track(("Nine Foot", NEW))))
    before = told(scene)
    assert send(scene, "/marks/take", proposal=change(proposal)).status_code == 410
    assert told(scene) == before


def test_a_signature_for_another_act_serves_for_no_marks(scene: Scene) -> None:
    """W2: a salt per purpose."""
    rows = f"happened_at,kind,string\r\n{(scene.clock.now() - timedelta(hours=1)).isoformat()},pull,Nine Foot\r\n"
    page = upload(scene.visitor, "/carry/log", "/carry", rows.encode())
    assert send(scene, "/marks/take", proposal=proposal_of(page)).status_code == 410


def test_marks_that_the_log_refuses_by_now_take_none_of_the_batch(scene: Scene) -> None:
    proposal = proposal_of(look(scene, track(("Nine Foot", NEW), ("Outer Bar", (OUTER_BAR.end, OUTER_BAR.start)))))
    at = scene.clock.now() - timedelta(hours=1)
    hauled = Pulled(reset=False, rebaited=False)
    with scene.store.writing() as session:
        append_entries(session, [new_entry(hauled, happened_at=at, told_at=at, told_by="cli", string="Outer Bar")])
    before = told(scene)
    answer = send(scene, "/marks/take", proposal=proposal)
    assert answer.status_code == 422
    assert "Nothing was taken." in answer.text
    assert told(scene) == before


@pytest.mark.parametrize("content", [b"", BOMB.encode(), b"<gpx/>", b"\xff" * 100])
def test_an_upload_that_is_none_is_refused_in_words(scene: Scene, content: bytes) -> None:
    answer = look(scene, content)
    assert answer.status_code == 422
    assert 'role="alert"' in answer.text or "What is wrong" in answer.text


def test_an_upload_past_the_limit_is_refused_unread(scene: Scene) -> None:
    answer = look(scene, b"<gpx>" + b" " * (MOST_BYTES + 200_000))
    assert answer.status_code == 413
    assert "kB" in answer.text


def test_names_out_of_a_file_are_shown_as_text(scene: Scene) -> None:
    content = gpx("<wpt lat='30' lon='-84'><name>&lt;script&gt;alert(1)&lt;/script&gt;</name></wpt>").encode()
    page = look(scene, content).text
    assert "&lt;script&gt;alert(1)" in page
    assert "<script>alert" not in page


@pytest.mark.parametrize("code", ["0" * 32, "x", "../../etc", "' OR 1=1"])
def test_an_import_that_was_never_made_is_no_page(scene: Scene, code: str) -> None:
    assert scene.visitor.get("/marks", params={"batch": code}).status_code == 404
    assert send(scene, "/marks/undo", batch=code).status_code == 404


def test_the_crew_moves_no_marks(scene: Scene) -> None:
    proposal = proposal_of(look(scene, track(("Nine Foot", NEW))))
    crew = scene.another(CREW)
    token = form_token(crew.get("/"))
    before = told(scene)
    assert post(crew, "/marks/take", form_token=token, proposal=proposal).status_code == 403
    assert told(scene) == before
