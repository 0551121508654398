"""Everything of a boat out in one zip and into an empty boat; and the log as a table. INVENTED DATA."""

from __future__ import annotations

import errno
import hashlib
import html
import io
import json
import re
import sqlite3
import struct
import tempfile
import zipfile
from collections.abc import Iterator
from contextlib import ExitStack, closing, contextmanager
from dataclasses import replace
from datetime import date, datetime, timedelta
from email import policy
from email.parser import BytesParser
from pathlib import Path
from types import SimpleNamespace
from typing import Any
from zoneinfo import ZoneInfo

import pytest
import time_machine
from httpx2 import Response

from law.world import NOW, SETTINGS_TOML, set_days_ago, settings_from, world
from page_scenes import CREW, SKIPPER, Scene, form_token, hash_of, page_scene, post, terms
from soakbell import running
from soakbell.gear.log import EntryKind
from soakbell.gear.log_csv import CsvImport, read_log_csv, write_log_csv
from soakbell.letters.facts import Link, PageAct
from soakbell.store import carrying
from soakbell.store.carrying import nothing_done, without_links
from soakbell.store.log import all_entries, append_entries
from soakbell.store.log_keeper import LogKeeper
from soakbell.store.schema import Base
from soakbell.web import boat_zip, carry_pages
from soakbell.web.boat_zip import DATABASE, MANIFEST, MEMBERS
from soakbell.web.door import LetterLinks
from terminals import Terminal, home

STAYS = {"page_session", "page_link_use"}


@pytest.fixture
def scene(tmp_path: Path) -> Iterator[Scene]:
    with page_scene(tmp_path) as built:
        built.sign_in()
        built.tell_call()
        yield built


@pytest.fixture(scope="module")
def packed(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """A boat with a log, a call and a letter, carried out."""
    with page_scene(tmp_path_factory.mktemp("packed")) as built:
        built.sign_in()
        built.tell_call()
        return carried_out(built)


@contextmanager
def empty_boat(folder: Path) -> Iterator[Scene]:
    """The same settings on another computer, whose service has only looked at the sources so far."""
    with page_scene(folder, morning=replace(world(), entries=())) as built:
        built.sign_in()
        built.swept()
        yield built


@pytest.fixture
def new_boat(tmp_path: Path) -> Iterator[Scene]:
    (tmp_path / "elsewhere").mkdir()
    with empty_boat(tmp_path / "elsewhere") as built:
        yield built


@pytest.fixture(scope="module")
def stays_empty(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Scene]:
    """For all that is refused."""
    with empty_boat(tmp_path_factory.mktemp("empty")) as built:
        yield built


@pytest.fixture
def terminal(tmp_path: Path) -> Iterator[Terminal]:
    with time_machine.travel(NOW):
        yield home(tmp_path)


def rows(scene: Scene) -> dict[str, list[tuple[object, ...]]]:
    """All tables as they are stored, but for who is signed in."""
    assert scene.store.file is not None
    with closing(sqlite3.connect(scene.store.file)) as database:
        return {
            name: sorted(database.execute(f'SELECT * FROM "{name}"').fetchall(), key=repr)
            for name in Base.metadata.tables
            if name not in STAYS
        }


def upload(scene: Scene, path: str, content: bytes, name: str = "../../etc/passwd") -> Response:
    """Under a name that must not be used."""
    return scene.visitor.post(
        path,
        data={"form_token": form_token(scene.visitor.get("/carry"))},
        files={"file": (name, content)},
        headers={"Sec-Fetch-Site": "same-origin"},
    )


def send(scene: Scene, path: str, **fields: str) -> Response:
    return post(scene.visitor, path, form_token=form_token(scene.visitor.get("/carry")), **fields)


def carried_out(scene: Scene) -> bytes:
    answer = scene.visitor.get("/carry/boat.zip")
    assert answer.status_code == 200
    return answer.content


def members(packed: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(packed)) as opened:
        return {name: opened.read(name) for name in opened.namelist()}


def zipped(files: dict[str, bytes], **changes: object) -> bytes:
    """A zip of these files whose manifest fits them, but for ``changes`` to it."""
    told = json.loads(files[MANIFEST])
    rest = {name: content for name, content in files.items() if name != MANIFEST}
    told["sha256"] = {name: hashlib.sha256(content).hexdigest() for name, content in rest.items()}
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, content in rest.items():
            packed.writestr(name, content)
        packed.writestr(MANIFEST, json.dumps(told | changes))
    return out.getvalue()


def changed_database(packed: bytes, folder: Path, *statements: str) -> bytes:
    """The zip with its database changed by somebody who made a fitting manifest too."""
    files = members(packed)
    place = folder / "changed.db"
    place.write_bytes(files[DATABASE])
    with closing(sqlite3.connect(place, isolation_level=None)) as database:
        triggers = database.execute("SELECT name, sql FROM sqlite_master WHERE type='trigger'").fetchall()
        for name, _ in triggers:
            database.execute(f"DROP TRIGGER {name}")
        for statement in statements:
            database.execute(statement)
        for _, sql in triggers:
            database.execute(sql)
    return zipped(files | {DATABASE: place.read_bytes()})


# ---- out


def test_the_zip_holds_what_its_manifest_says(scene: Scene) -> None:
    answer = scene.visitor.get("/carry/boat.zip")
    assert answer.headers["content-disposition"] == 'attachment; filename="soakbell-boat.zip"'
    assert int(answer.headers["content-length"]) == len(answer.content)
    files = members(answer.content)
    told = json.loads(files[MANIFEST])
    assert files.keys() <= MEMBERS
    assert (told["boat"], told["schema"], told["rows"]["log_entry"]) == ("Little Grebe", "0003", 2)
    assert told["sha256"] == {
        name: hashlib.sha256(content).hexdigest() for name, content in files.items() if name != MANIFEST
    }
    log = read_log_csv(files["log.csv"], ZoneInfo("America/New_York"), NOW)
    assert [row.entry.string for row in log.rows] == ["Nine Foot", "Outer Bar"]
    assert b"<name>Nine Foot</name>" in files["marks.gpx"]
    assert told["left_out"].keys() == {"settings/boat.toml", "settings/fishery.toml"}, "this boat's file is gone"


def test_no_key_session_or_hash_leaves_with_the_zip(scene: Scene, tmp_path: Path) -> None:
    """Nor in the free room of the database's file."""
    (tmp_path / "page.toml").write_text(
        f'[page]\nport = 9000\n"skipper" = """{hash_of(SKIPPER)}"""\ncrew="{hash_of(CREW)}"\n'
    )
    settings = replace(scene.house.settings, page_file=tmp_path / "page.toml")
    out = io.BytesIO()
    boat_zip.write_boat_zip(out, settings, scene.store, NOW, invented=True)
    files = members(out.getvalue())
    with scene.store.reading() as session:
        found = session.connection().exec_driver_sql("SELECT token_sha256, secret_sha256 FROM page_session").all()
    assert len(found) == 1
    secrets = [*found[0], *scene.house.keys, hash_of(SKIPPER), hash_of(CREW), "argon2"]
    for name, content in files.items():
        for secret in secrets:
            assert secret.encode() not in content, name
    assert b"port = 9000" in files["settings/page.toml"]


def test_no_link_that_signs_in_leaves_with_the_zip(scene: Scene, monkeypatch: pytest.MonkeyPatch) -> None:
    house = scene.house
    links = LetterLinks("https://grebe.example", house.keys, house.boat, house.terms.skipper)
    made: list[str] = []

    def link(act: PageAct, day: date, now: datetime) -> Link:
        made.append(links.link(act, day, now))
        return Link("Open the page", made[-1])

    monkeypatch.setattr(house.desk, "_page_links", link)
    scene.clock.put(NOW + timedelta(days=1))
    scene.tell_call()
    token = made[0].partition("?t=")[2]
    before = [letter for (letter,) in rows_of(scene.store.file, "SELECT message FROM outbox ORDER BY id")]
    files = members(carried_out(scene))
    (scene.store.file.parent / "copy.db").write_bytes(files[DATABASE])
    after = rows_of(scene.store.file.parent / "copy.db", "SELECT message FROM outbox ORDER BY id")
    assert [letter for (letter,) in after][:-1] == before[:-1], "a letter without a link is as it was"
    for sent, kept in zip(bodies(before[-1]), bodies(after[-1][0]), strict=True):
        assert token in sent
        assert kept == sent.replace(token, "(link removed)")
    assert token.encode() not in b"".join(files.values())


def bodies(message: bytes) -> list[str]:
    parts = BytesParser(policy=policy.default).parsebytes(message).walk()
    return [part.get_content() for part in parts if part.get_content_type() in ("text/plain", "text/html")]


def rows_of(file: Path | None, asked: str) -> list[tuple[bytes, ...]]:
    assert file is not None
    with closing(sqlite3.connect(file)) as database:
        return database.execute(asked).fetchall()


@pytest.mark.parametrize("at", [at for at in range(1, 22) if at not in (8, 9)])  # "=3D" is never broken
def test_a_link_is_found_wherever_a_line_of_the_letter_breaks(at: int) -> None:
    text = "https://grebe.example/open?t=3DeyJ-_x.aT.z9"
    sign = text.index("/open") + at
    broken = f"x {text[:sign]}=\r\n{text[sign:]}\r\ny".encode()
    kept = without_links(broken).replace(b"=\r\n", b"")
    assert kept == b"x https://grebe.example/open?t=3D(link removed)\r\ny"


def test_settings_go_out_as_they_lie_on_the_disk(scene: Scene, tmp_path: Path) -> None:
    (tmp_path / "boat.toml").write_text(SETTINGS_TOML)
    (tmp_path / "gear.toml").write_text("# a boat's own words\n")
    (tmp_path / "fisheries").mkdir()
    (tmp_path / "fisheries" / "florida-stone-crab.toml").write_text("# rules\n")
    settings = replace(scene.house.settings, path=tmp_path / "boat.toml", gear_file=tmp_path / "gear.toml")
    out = io.BytesIO()
    boat_zip.write_boat_zip(out, settings, scene.store, NOW, invented=True)
    files = members(out.getvalue())
    assert files["settings/boat.toml"].decode() == SETTINGS_TOML
    assert files["settings/gear.toml"] == b"# a boat's own words\n"
    assert files["settings/fishery.toml"] == b"# rules\n"


def test_carrying_out_changes_nothing_and_leaves_no_file_behind(scene: Scene, tmp_path: Path) -> None:
    before, beside = rows(scene), sorted(tmp_path.iterdir())
    assert carried_out(scene) != b""
    assert scene.visitor.get("/carry/log.csv").status_code == 200
    assert (rows(scene), sorted(tmp_path.iterdir())) == (before, beside)


def test_what_is_carried_goes_by_no_temporary_folder_of_the_system(
    scene: Scene, new_boat: Scene, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It may lie in memory, and be small: in a container 64 MB."""
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path / "none"))
    assert scene.visitor.get("/carry/log.csv").status_code == 200
    assert upload(new_boat, "/carry/import", carried_out(scene)).status_code == 200


def test_uploads_are_spooled_beside_the_database_as_long_as_the_page_is_served(
    stays_empty: Scene, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(running, "page_terms_of", lambda _: terms())
    monkeypatch.setattr(running, "page_house", lambda *_: stays_empty.house)
    settings = SimpleNamespace(database=tmp_path / "soakbell.db", page_file=tmp_path / "page.toml")
    with ExitStack() as pages:
        running._serve_page(pages, SimpleNamespace(settings=settings), stays_empty.clock)  # type: ignore[arg-type]
        assert tempfile.gettempdir() == str(tmp_path)
    assert tempfile.gettempdir() != str(tmp_path)


def test_what_was_left_of_a_killed_carry_goes_with_the_next_and_what_is_carried_now_stays(
    stays_empty: Scene,
) -> None:
    database = stays_empty.store.file
    assert database is not None
    left = database.with_name(f".{database.name}.carry-x")
    left.mkdir()
    (left / DATABASE).touch()
    with carrying.carrying_folder(database) as held:
        assert not left.exists()
        carried_out(stays_empty)
        assert held.exists()
    assert list(database.parent.glob(".*.carry-*")) == []


def test_nothing_is_carried_that_would_take_the_room_of_letters(
    packed: bytes, stays_empty: Scene, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = rows(stays_empty)
    assert stays_empty.store.file is not None
    room = SimpleNamespace(free=50_000_000 + stays_empty.store.file.stat().st_size)
    monkeypatch.setattr("shutil.disk_usage", lambda _: room)
    for answer in (stays_empty.visitor.get("/carry/boat.zip"), upload(stays_empty, "/carry/import", packed)):
        assert answer.status_code in (422, 503)
        assert "free some room on the disk" in answer.text
    assert rows(stays_empty) == before


def test_a_disk_that_fills_up_while_something_is_carried_is_told(
    packed: bytes, stays_empty: Scene, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_about: object, **_more: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(carry_pages, "unpack_boat_zip", full)
    answer = upload(stays_empty, "/carry/import", packed)
    assert answer.status_code == 503
    assert "disk of the service is full" in answer.text


# ---- in


def test_an_empty_boat_becomes_the_one_that_was_carried_row_by_row(scene: Scene, new_boat: Scene) -> None:
    new_boat.house.desk.log.now()
    assert "makes it what she was" in new_boat.visitor.get("/carry").text
    answer = upload(new_boat, "/carry/import", carried_out(scene))
    assert answer.status_code == 200
    assert "2 entries in the log" in answer.text
    assert rows(new_boat) == rows(scene)
    fresh = LogKeeper(scene.store, scene.house.settings.trap_strings).now()
    assert new_boat.house.desk.log.now() == fresh, "by a service that ran all the while"
    assert new_boat.visitor.get("/").text.count("PULL") == scene.visitor.get("/").text.count("PULL") > 0
    assert new_boat.visitor.get("/letters/1").status_code == 200


def test_the_database_is_not_held_while_the_log_that_came_is_read_through(
    packed: bytes, new_boat: Scene, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A letter would wait for it, and give up."""
    file, read, pages = new_boat.store.file, carrying.stored_from, []
    assert file is not None

    def read_beside_a_writer(*about: Any) -> Any:
        with closing(sqlite3.connect(file, timeout=0, isolation_level=None)) as writer:
            writer.execute("BEGIN IMMEDIATE")
        pages.append(1)
        return read(*about)

    monkeypatch.setattr(carrying, "stored_from", read_beside_a_writer)
    assert upload(new_boat, "/carry/import", packed).status_code == 200
    assert pages


def test_what_came_in_can_be_carried_on(scene: Scene, new_boat: Scene) -> None:
    upload(new_boat, "/carry/import", carried_out(scene))
    first, second = members(carried_out(scene)), members(carried_out(new_boat))
    for name in ("log.csv", "marks.gpx"):
        assert first[name] == second[name]


def test_those_signed_in_stay_so_and_nobody_else_comes(scene: Scene, new_boat: Scene) -> None:
    scene.another(CREW)
    upload(new_boat, "/carry/import", carried_out(scene))
    assert new_boat.visitor.get("/carry").status_code == 200
    with new_boat.store.reading() as session:
        assert session.connection().exec_driver_sql("SELECT count(*) FROM page_session").scalar() == 1


def test_nothing_goes_into_a_boat_that_has_a_log_or_letters(scene: Scene) -> None:
    packed, before = carried_out(scene), rows(scene)
    assert "no zip goes in here" in scene.visitor.get("/carry").text
    answer = upload(scene, "/carry/import", packed)
    assert answer.status_code == 422
    assert "has a log or letters already" in html.unescape(answer.text)
    assert rows(scene) == before


@pytest.mark.parametrize(
    ("table", "row"),
    [
        ("call_made", "(1,'Little Grebe','2026-12-08','2026-12-08 09:30:00','WAIT','{}','[]','0','0')"),
        ("outbox", "(1,NULL,'bells','s','m',x'00','2026-12-08 09:30:00','2026-12-08 09:30:00')"),
        ("log_entry", "('a','a','hours','2026-12-08 09:30:00','2026-12-08 09:30:00','cli',NULL,NULL,'{}',1)"),
    ],
)
def test_a_boat_with_one_call_letter_or_entry_is_not_empty(new_boat: Scene, table: str, row: str) -> None:
    with new_boat.store.reading() as session:
        assert nothing_done(session)
    with new_boat.store.writing() as session:
        columns = ",".join(column.name for column in Base.metadata.tables[table].columns)
        session.connection().exec_driver_sql(f"INSERT INTO {table} ({columns}) VALUES {row}")
    with new_boat.store.reading() as session:
        assert not nothing_done(session)


def test_an_older_schema_is_brought_up_on_the_way(scene: Scene, new_boat: Scene, tmp_path: Path) -> None:
    from soakbell.store.engine import open_store
    from soakbell.store.upgrade import step_back

    files = members(carried_out(scene))
    place = tmp_path / "older.db"
    place.write_bytes(files[DATABASE])
    older = open_store(f"sqlite:///{place}")
    step_back(older, "0002")
    older.close()
    with closing(sqlite3.connect(place)) as database:
        database.execute("PRAGMA journal_mode=DELETE")
    answer = upload(new_boat, "/carry/import", zipped(files | {DATABASE: place.read_bytes()}))
    assert answer.status_code == 200, answer.text
    assert rows(new_boat) == rows(scene)


def refused(scene: Scene, packed: bytes, why: str) -> None:
    before = rows(scene)
    answer = upload(scene, "/carry/import", packed)
    assert answer.status_code == 422
    assert why in html.unescape(answer.text)
    assert rows(scene) == before


@pytest.mark.parametrize(
    "name", ["../soakbell.db", "/etc/cron.d/x", "settings/../../x", "C:\\x", "soakbell.db\x00"]
)
def test_a_zip_with_a_name_of_its_own_is_refused(stays_empty: Scene, name: str) -> None:
    """W8: path traversal."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as packed:
        packed.writestr(MANIFEST, "{}")
        packed.writestr(DATABASE, b"")
        member = zipfile.ZipInfo("y" * len(name))
        packed.writestr(member, b"x")
    content = out.getvalue().replace(b"y" * len(name), name.encode())
    refused(stays_empty, content, "Nothing was carried in")


def test_a_zip_bomb_is_refused_before_it_is_unpacked(
    packed: bytes, stays_empty: Scene, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("soakbell.web.carry_pages.MOST_UNPACKED_BYTES", 20_000_000)
    files = members(packed)
    refused(stays_empty, zipped(files | {DATABASE: bytes(30_000_000)}), "larger than 20 MB")


def test_a_zip_that_says_less_than_it_unpacks_to_is_refused(packed: bytes, stays_empty: Scene) -> None:
    small = zipped(members(packed) | {DATABASE: bytes(3_000_000)})
    size = struct.pack("<L", 3_000_000)
    assert small.count(size) == 2
    refused(stays_empty, small.replace(size, struct.pack("<L", 1000)), "Nothing was carried in")


def test_a_zip_of_very_many_files_is_not_opened(stays_empty: Scene) -> None:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as many:
        for number in range(10_000):
            many.writestr(f"{number}", b"")
    refused(stays_empty, out.getvalue(), "10000 files")


def test_a_byte_changed_on_the_way_is_found(packed: bytes, stays_empty: Scene) -> None:
    for place in range(40, len(packed), len(packed) // 12):
        torn = packed[:place] + bytes([packed[place] ^ 0x10]) + packed[place + 1 :]
        answer = upload(stays_empty, "/carry/import", torn)
        assert answer.status_code == 422, place
    refused(stays_empty, packed[: len(packed) // 2], "Nothing was carried in")


def test_files_that_do_not_fit_the_manifest_are_refused(packed: bytes, stays_empty: Scene) -> None:
    files = members(packed)
    good = json.loads(zipped_manifest(files))["sha256"]
    refused(stays_empty, zipped(files, sha256=good | {"log.csv": "0" * 64}), "log.csv is not as it was packed")
    refused(stays_empty, zipped(files, sha256={DATABASE: good[DATABASE]}), "not those that its manifest names")
    refused(stays_empty, zipped(files, boat="Other Grebe"), "it is of the boat 'Other Grebe'")
    refused(stays_empty, zipped(files, soakbell_boat=2), "manifest.json can't be read")
    refused(stays_empty, zipped(files, made_at="yesterday"), "manifest.json can't be read")
    refused(stays_empty, zipped({name: files[name] for name in (MANIFEST, "log.csv")}), "has no soakbell.db")


def zipped_manifest(files: dict[str, bytes]) -> bytes:
    return members(zipped(files))[MANIFEST]


@pytest.mark.parametrize(
    "manifest", [b"", b"[]", b"null", b"{" * 15_000, b"[" * 15_000, b"\xff", b"7", b" " * 20_001]
)
def test_a_manifest_that_is_none_is_refused(stays_empty: Scene, manifest: bytes) -> None:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as packed:
        packed.writestr(MANIFEST, manifest)
        packed.writestr(DATABASE, b"x")
    refused(stays_empty, out.getvalue(), "Nothing was carried in")


@pytest.mark.parametrize("content", [b"PK\x05\x06" + bytes(18), b"PK\x03\x04", b"no zip", b"\x00" * 10_000])
def test_what_is_no_zip_is_refused(stays_empty: Scene, content: bytes) -> None:
    refused(stays_empty, content, "Nothing was carried in")


def test_no_file_at_all_is_told(stays_empty: Scene) -> None:
    assert "Choose a file first" in upload(stays_empty, "/carry/import", b"").text
    assert "Choose a file first" in send(stays_empty, "/carry/import", file="text").text


@pytest.mark.parametrize(
    ("statement", "why"),
    [
        ("CREATE TRIGGER t AFTER INSERT ON note BEGIN DELETE FROM log_entry; END", "other triggers"),
        ("CREATE VIEW v AS SELECT 1", "other triggers"),
        ("CREATE TABLE more (a)", "other tables"),
        ("DROP TABLE seen_warning", "other tables"),
        ("ALTER TABLE note ADD COLUMN more TEXT", "other columns"),
        ("UPDATE alembic_version SET version_num='9999'", "schema is 9999"),
        ("DELETE FROM alembic_version", "schema is None"),
        ("UPDATE call_made SET boat='Other Grebe'", "of the boat 'Other Grebe'"),
        ("UPDATE log_entry SET detail='{' WHERE seq=1", "can't be read"),
        ("UPDATE log_entry SET happened_at='soon' WHERE seq=2", "can't be read"),
        ("UPDATE log_entry SET kind='swallowed' WHERE seq=2", "can't be read"),
    ],
)
def test_a_database_that_somebody_changed_is_refused_whole(
    packed: bytes, stays_empty: Scene, tmp_path: Path, statement: str, why: str
) -> None:
    refused(stays_empty, changed_database(packed, tmp_path, statement), why)


def test_the_crew_carries_nothing(scene: Scene) -> None:
    crew = scene.another(CREW)
    for path in ("/carry", "/carry/boat.zip", "/carry/log.csv", "/marks"):
        assert crew.get(path).status_code == 403
    token = form_token(crew.get("/"))
    for path in ("/carry/import", "/carry/log", "/carry/log/take", "/marks", "/marks/take", "/marks/undo"):
        assert post(crew, path, form_token=token).status_code == 403


# ---- by command


def test_the_commands_carry_too(terminal: Terminal, tmp_path: Path) -> None:
    for string in ("Nine Foot", "Outer Bar"):
        terminal.log("set", string, "--at", "2026-10-08 08:30")
    before = terminal.entries()
    packed = tmp_path / "boat.zip"
    assert terminal.type("carry", "out", str(packed)).exit_code == 0
    assert packed.stat().st_mode & 0o077 == 0
    assert sorted(path.name for path in tmp_path.glob("*.part")) == []
    again = terminal.type("carry", "in", str(packed))
    assert again.exit_code == 2
    assert "has a log or letters already" in again.output
    terminal.database.unlink()
    said = terminal.type("carry", "in", str(packed))
    assert said.exit_code == 0, said.output
    assert "2 log entries" in said.output
    assert terminal.entries() == before


@pytest.mark.parametrize("words", [("out", "no/such/folder/x.zip"), ("in", "no-such.zip")])
def test_a_file_that_cannot_be_used_is_told_by_the_command(terminal: Terminal, words: tuple[str, str]) -> None:
    said = terminal.type("carry", *words)
    assert said.exit_code == 2
    assert "FILE.zip: found" in said.output


# ---- the log as a table


def proposal_of(page: Response) -> str:
    found = re.search(r'name="proposal" value="([^"]+)"', page.text)
    assert found is not None, page.text
    return html.unescape(found[1])


def entries(scene: Scene) -> list[str]:
    with scene.store.reading() as session:
        return [f"{entry.kind} {entry.string}" for entry in all_entries(session)]


def pulls(*strings: str) -> bytes:
    at = NOW - timedelta(days=2)
    lines = [f"{(at + timedelta(hours=n)).isoformat()},pull,{name}" for n, name in enumerate(strings)]
    return "\r\n".join(("happened_at,kind,string", *lines)).encode()


def test_the_log_goes_out_as_a_table_and_in_again_as_known(scene: Scene) -> None:
    answer = scene.visitor.get("/carry/log.csv")
    assert answer.headers["content-disposition"] == 'attachment; filename="log.csv"'
    page = upload(scene, "/carry/log", answer.content)
    assert "<dt>In the log already</dt><dd>2</dd>" in page.text
    assert 'name="proposal"' not in page.text


def test_rows_are_looked_at_and_then_taken_once(scene: Scene) -> None:
    before = entries(scene)
    page = upload(scene, "/carry/log", pulls("Nine Foot", "Outer Bar"))
    assert "<dt>New, and could be taken</dt><dd>2</dd>" in page.text
    assert entries(scene) == before
    first, second = (send(scene, "/carry/log/take", proposal=proposal_of(page)) for _ in range(2))
    assert "2 new in the log, 0 were there before" in first.text
    assert "0 new in the log, 2 were there before" in second.text
    assert entries(scene) == [*before, "pull Nine Foot", "pull Outer Bar"]


def test_with_a_fault_nothing_is_taken_but_by_the_skippers_choice(scene: Scene) -> None:
    before = entries(scene)
    page = upload(scene, "/carry/log", pulls("Nine Foot", "Nowhere", "Outer Bar"))
    assert "<dt>With a fault</dt><dd>1</dd>" in page.text
    assert "row 3" in page.text
    refused = send(scene, "/carry/log/take", proposal=proposal_of(page))
    assert refused.status_code == 422
    assert "Nothing was taken." in refused.text
    assert entries(scene) == before
    taken = send(scene, "/carry/log/take", proposal=proposal_of(page), skip_bad="yes")
    assert "2 new in the log" in taken.text
    assert entries(scene) == [*before, "pull Nine Foot", "pull Outer Bar"]


def test_more_rows_than_a_letter_may_wait_for_are_not_offered(
    scene: Scene, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(carry_pages, "MOST_NEW_ROWS", 1)
    page = upload(scene, "/carry/log", pulls("Nine Foot", "Outer Bar"))
    assert (page.status_code, "2 new rows, and 1 go in at once. Split it." in page.text) == (422, True)
    assert 'name="proposal"' not in page.text
    assert 'name="proposal"' in upload(scene, "/carry/log", pulls("Nine Foot")).text


def test_what_was_told_since_the_look_counts(scene: Scene) -> None:
    page = upload(scene, "/carry/log", pulls("Nine Foot"))
    rows = read_log_csv(pulls("Nine Foot"), ZoneInfo("America/New_York"), NOW).rows
    with scene.store.writing() as session:
        append_entries(session, [rows[0].entry])
    assert (
        "0 new in the log, 1 were there before" in send(scene, "/carry/log/take", proposal=proposal_of(page)).text
    )
    assert entries(scene).count("pull Nine Foot") == 1


def test_the_log_may_be_told_while_a_table_is_weighed(scene: Scene, monkeypatch: pytest.MonkeyPatch) -> None:
    """A letter that is written then waits for nothing."""
    page = upload(scene, "/carry/log", pulls("Nine Foot", "Outer Bar"))
    rows = read_log_csv(pulls("Nine Foot"), ZoneInfo("America/New_York"), NOW).rows
    weigh, weighed = carry_pages.plan_import, []

    def told_meanwhile(*about: object, **how: object) -> CsvImport:
        weighed.append(1)
        with scene.store.writing() as session:
            append_entries(session, [rows[0].entry])
        return weigh(*about, **how)  # type: ignore[arg-type]

    monkeypatch.setattr(carry_pages, "plan_import", told_meanwhile)
    taken = send(scene, "/carry/log/take", proposal=proposal_of(page))
    assert "1 new in the log, 1 were there before" in taken.text
    assert len(weighed) == 2, "what was weighed beside an older log is weighed anew"
    assert entries(scene).count("pull Nine Foot") == 1


def test_one_large_thing_is_carried_at_a_time(scene: Scene) -> None:
    page = upload(scene, "/carry/log", pulls("Nine Foot"))
    with carry_pages._alone():
        for path in ("/carry/log.csv", "/carry/boat.zip"):
            assert scene.visitor.get(path).status_code == 503
        assert send(scene, "/carry/log/take", proposal=proposal_of(page)).status_code == 503
        assert upload(scene, "/marks", b"a,b").status_code == 503
    assert scene.visitor.get("/carry/log.csv").status_code == 200


def test_the_table_is_that_of_the_command_though_it_is_read_page_by_page(
    scene: Scene, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("soakbell.store.log._PAGE", 1)
    with scene.store.reading() as session:
        whole = write_log_csv(all_entries(session), ZoneInfo("America/New_York"))
    assert scene.visitor.get("/carry/log.csv").content == whole


@pytest.mark.parametrize("content", [b"\xff\xfe", b"a;b", b"x", b"\x00", b'"', b"happened_at,kind\r\n"], ids=repr)
def test_a_table_that_is_none_is_told_and_offers_nothing(scene: Scene, content: bytes) -> None:
    page = upload(scene, "/carry/log", content)
    assert page.status_code in (200, 422)
    assert 'name="proposal"' not in page.text
    assert "What is wrong" in page.text or 'role="alert"' in page.text


def test_cells_are_guarded_on_the_way_out(scene: Scene) -> None:
    """W6."""
    entry = replace(set_days_ago(settings_from(), 8)[0], id="x", key="x", note='=HYPERLINK("http://x")')
    with scene.store.writing() as session:
        append_entries(session, [entry])
    assert b"\"'=HYPERLINK" in scene.visitor.get("/carry/log.csv").content
    assert entry.kind is EntryKind.SET


def test_a_proposal_is_of_use_for_an_hour_and_on_this_boat(scene: Scene) -> None:
    page = upload(scene, "/carry/log", pulls("Nine Foot"))
    before = entries(scene)
    scene.clock.put(NOW + timedelta(hours=1, seconds=2))
    assert send(scene, "/carry/log/take", proposal=proposal_of(page)).status_code == 410
    assert send(scene, "/carry/log/take", proposal="e30.x.y").status_code == 410
    assert entries(scene) == before


@pytest.mark.parametrize("path", ["/carry", "/marks"])
def test_the_pages_are_small_and_look_changes_nothing(scene: Scene, path: str) -> None:
    before = rows(scene)
    answer = scene.visitor.get(path)
    assert answer.status_code == 200
    assert len(answer.content) < 60_000
    assert rows(scene) == before
