"""What stands beside a call can't move it: gear, the books, the plan, the record of trust and season's end, sound
or at fault, move no word, window or reason.

From the log and the replies in the database to the morning letter. INVENTED DATA.
"""

from __future__ import annotations

import shutil
import threading
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import pytest
from sqlalchemy import text

from law.world import FISHERIES, NEW_YORK, NOW, SETTINGS_TOML, World, with_pulls, world
from soakbell import plan_desk, season_desk
from soakbell.beside import Beside
from soakbell.call_record import from_record
from soakbell.clock import SetClock
from soakbell.desk import Desk
from soakbell.errors import FetchFailed
from soakbell.feeds.transport import Ask
from soakbell.gear import books
from soakbell.gear.log import Barred, Pinned
from soakbell.gear_desk import GearDesk
from soakbell.gear_settings import outfit_of
from soakbell.plan_desk import PlanDesk
from soakbell.plan_settings import terms_of
from soakbell.planning.call import Call, CallWord
from soakbell.planning.trips import Trip
from soakbell.sea.sources import RawReply
from soakbell.season_desk import SeasonDesk
from soakbell.settings import Settings, load_settings
from soakbell.store.engine import Store, open_store
from soakbell.store.letters import put_note
from soakbell.store.log import append_entries
from soakbell.store.replies import keep_reply
from soakbell.store.upgrade import migrate

TODAY = NOW.astimezone(NEW_YORK).date()
EXAMPLE = FISHERIES.parent / "gear.toml"
PLAN = FISHERIES.parent / "plan.toml"


def a_season() -> World:
    return with_pulls(world(text_wind_kt=14))


def one_barred() -> World:
    return a_season().telling(Barred(TODAY, "Nine Foot")).telling(Pinned(TODAY, "Outer Bar"))


def a_barred_day() -> World:
    return a_season().telling(Barred(TODAY))


def blown_out() -> World:
    return with_pulls(world(text_wind_kt=25)).telling(Pinned(TODAY, "Outer Bar"))


MORNINGS: dict[Callable[[], World], CallWord] = {
    one_barred: CallWord.PULL,
    a_barred_day: CallWord.WAIT,
    blown_out: CallWord.WAIT,
}


class NobodyAnswers:
    def fetch(self, ask: Ask) -> RawReply:
        raise FetchFailed(f"{ask.url}: nobody answers", retry=True)


def settings_in(folder: Path) -> Settings:
    beside = '[gear]\nfile = "gear.toml"\n[plan]\nfile = "plan.toml"\n'
    boat = SETTINGS_TOML.replace("trip_margin_min = 30", "trip_margin_min = 30\ndeck_traps = 30", 1)
    (folder / "boat.toml").write_text(f"{boat}{beside}", "utf-8")
    (folder / "fisheries").symlink_to(FISHERIES)
    return load_settings(folder / "boat.toml", {"STATE_DIRECTORY": str(folder)})


def called(
    one: World,
    settings: Settings,
    folder: Path,
    spoil: Callable[[Store], None] | None = None,
    *,
    alone: bool = False,
) -> tuple[Call, Trip | None]:
    """The call of the morning letter, of its first try or ``alone`` of a later one. ``spoil`` lays hands on the
    database that lies in ``folder``."""
    store = open_store(f"sqlite:///{folder / 'soakbell.db'}")
    migrate(store)
    with store.writing() as session:
        append_entries(session, one.entries)
        for pages in one.on_hand().replies.values():
            keep_reply(session, pages[0])
    if spoil is not None:
        spoil(store)
    outfit, terms = outfit_of(settings), terms_of(settings)
    desk = Desk(settings, store, SetClock(one.now), NobodyAnswers(), outfit=outfit, terms=terms)
    day = one.now.astimezone(NEW_YORK).date()
    letter = desk.write("morning", day, 0, late=False, clock_suspect=False, alone=alone)
    store.close()
    assert letter.call is not None
    return from_record(letter.call.detail)


@pytest.fixture(scope="module", params=MORNINGS, ids=lambda make: make.__name__)
def sound(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> tuple[World, object]:
    """A morning with all in order, and its call."""
    folder = tmp_path_factory.mktemp("sound")
    shutil.copyfile(EXAMPLE, folder / "gear.toml")
    shutil.copyfile(PLAN, folder / "plan.toml")
    one = request.param()
    call, trip = called(one, settings_in(folder), folder)
    assert call.word is MORNINGS[request.param]
    return one, (call, trip)


@pytest.mark.parametrize(
    "content",
    [
        None,
        b"\xff\xfe\x00",
        b"[[conditions]\nname = ",
        b"[stock]\nservice_level = 7\n",
        EXAMPLE.read_bytes().replace(b"_h = ", b"_h = -"),
    ],
    ids=["missing", "no text", "no TOML", "no service level", "negative"],
)
def test_a_broken_gear_file_leaves_the_call_as_it_is(
    sound: tuple[World, object], content: bytes | None, tmp_path: Path
) -> None:
    if content is not None:
        (tmp_path / "gear.toml").write_bytes(content)
    settings = settings_in(tmp_path)
    assert isinstance(outfit_of(settings), str)
    assert called(sound[0], settings, tmp_path) == sound[1]


@pytest.mark.parametrize("book", ["BaitBook", "PartBook", "UpkeepBook", "CatchBook", "HushBook"])
def test_a_book_that_fails_leaves_the_call_as_it_is(
    sound: tuple[World, object], book: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def torn(*_: object) -> None:
        raise ZeroDivisionError("a torn page")

    monkeypatch.setattr(getattr(books, book), "take", torn)
    settings = settings_in(tmp_path)
    assert books.fold_books(sound[0].entries, settings.trap_strings)[1] is None
    assert called(sound[0], settings, tmp_path) == sound[1]


def test_a_row_of_bait_that_cannot_be_read_leaves_the_call_as_it_is(
    sound: tuple[World, object], tmp_path: Path
) -> None:
    def spoil(store: Store) -> None:
        with store.writing() as session:
            session.execute(
                text(
                    "INSERT INTO log_entry (id, key, kind, happened_at, told_at, told_by, detail, seq) SELECT "
                    "'torn', 'torn', 'bait-bought', '2026-12-01 12:00:00', '2026-12-01 12:00:00', 'cli', '{', "
                    "max(seq) + 1 FROM log_entry"
                )
            )

    assert called(sound[0], settings_in(tmp_path), tmp_path, spoil) == sound[1]


@pytest.mark.parametrize(
    "content",
    [None, b"\xff\xfe\x00", b"[plan\nhorizon", b"[plan]\nhorizon_days = 700\n"],
    ids=["missing", "no text", "no TOML", "no horizon"],
)
def test_a_broken_plan_file_leaves_the_call_as_it_is(
    sound: tuple[World, object], content: bytes | None, tmp_path: Path
) -> None:
    shutil.copyfile(EXAMPLE, tmp_path / "gear.toml")
    if content is not None:
        (tmp_path / "plan.toml").write_bytes(content)
    settings = settings_in(tmp_path)
    assert isinstance(terms_of(settings), str)
    assert called(sound[0], settings, tmp_path) == sound[1]


@pytest.mark.parametrize("step", ["plan_week", "fit_curve", "kept_record"])
def test_a_plan_that_fails_leaves_the_call_as_it_is(
    sound: tuple[World, object], step: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def torn(*_: object, **__: object) -> None:
        raise ZeroDivisionError("a torn page")

    monkeypatch.setattr(plan_desk, step, torn)
    shutil.copyfile(EXAMPLE, tmp_path / "gear.toml")
    shutil.copyfile(PLAN, tmp_path / "plan.toml")
    assert called(sound[0], settings_in(tmp_path), tmp_path) == sound[1]


@pytest.mark.parametrize("record", [{}, {"version": 2, "record": "torn"}, {"version": 99, "record": {}}], ids=str)
def test_a_torn_record_of_trust_leaves_the_call_as_it_is(
    sound: tuple[World, object], record: dict[str, object], tmp_path: Path
) -> None:
    def spoil(store: Store) -> None:
        with store.writing() as session:
            put_note(session, f"trust:{sound[0].settings.boat.name}", record, NOW)

    shutil.copyfile(EXAMPLE, tmp_path / "gear.toml")
    shutil.copyfile(PLAN, tmp_path / "plan.toml")
    assert called(sound[0], settings_in(tmp_path), tmp_path, spoil) == sound[1]


# ---- time

STEPS = [(GearDesk, "ashore"), (PlanDesk, "week"), (SeasonDesk, "ahead")]


@pytest.mark.parametrize(("desk", "step"), STEPS, ids=[step for _, step in STEPS])
def test_a_step_that_never_ends_leaves_the_call_as_it_is(
    sound: tuple[World, object], desk: type, step: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    let_go = threading.Event()
    monkeypatch.setattr(desk, step, lambda *_, **__: let_go.wait(60))
    monkeypatch.setattr("soakbell.desk.Beside", lambda: Beside(0.2))
    shutil.copyfile(EXAMPLE, tmp_path / "gear.toml")
    shutil.copyfile(PLAN, tmp_path / "plan.toml")
    try:
        assert called(sound[0], settings_in(tmp_path), tmp_path) == sound[1]
    finally:
        let_go.set()


def test_after_a_try_that_died_the_call_is_made_without_what_it_may_have_died_of(
    sound: tuple[World, object], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Gear, plan and season would each end the process."""
    asked: list[str] = []
    for desk, step in STEPS:
        monkeypatch.setattr(desk, step, lambda *_, step=step, **__: asked.append(step))
    shutil.copyfile(EXAMPLE, tmp_path / "gear.toml")
    shutil.copyfile(PLAN, tmp_path / "plan.toml")
    assert called(sound[0], settings_in(tmp_path), tmp_path, alone=True) == sound[1]
    assert asked == []


# ---- season's end

LATE = NOW + timedelta(days=134, hours=-1)
"""Wednesday 21 April 2027 04:30, 15 days before all traps must be out."""


def a_fair_end() -> World:
    return world(now=LATE)


def a_blown_out_end() -> World:
    return world(now=LATE, text_wind_kt=25)


def a_last_haul() -> World:
    """Past the last useful bait, so that the plan takes up what is called."""
    return world(now=LATE + timedelta(days=7))


def a_closed_harvest() -> World:
    """Traps may only be taken up."""
    return world(now=LATE + timedelta(days=12))


ENDS: dict[Callable[[], World], CallWord] = {
    a_fair_end: CallWord.PULL,
    a_blown_out_end: CallWord.WAIT,
    a_last_haul: CallWord.PULL,
    a_closed_harvest: CallWord.PULL,
}


@pytest.fixture(scope="module", params=ENDS, ids=lambda make: make.__name__)
def end(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> tuple[World, object]:
    """A morning near the end without a plan file, so that nothing is reckoned of the season; and its call."""
    folder = tmp_path_factory.mktemp("end")
    one = request.param()
    call, trip = called(one, settings_in(folder), folder)
    assert call.word is ENDS[request.param]
    return one, (call, trip)


def test_the_odds_of_the_season_leave_the_call_as_it_is(end: tuple[World, object], tmp_path: Path) -> None:
    (tmp_path / "plan.toml").write_text(PLAN.read_text("utf-8"), "utf-8")
    assert called(end[0], settings_in(tmp_path), tmp_path) == end[1]


@pytest.mark.parametrize(
    "step", ["season_end", "recovery_list", "usual_weather", "plan_trips", "take_up_odds", "keep_odds"]
)
def test_a_season_that_fails_leaves_the_call_as_it_is(
    end: tuple[World, object], step: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def torn(*_: object, **__: object) -> None:
        raise ZeroDivisionError("a torn page")

    monkeypatch.setattr(season_desk, step, torn)
    (tmp_path / "plan.toml").write_text(PLAN.read_text("utf-8"), "utf-8")
    assert called(end[0], settings_in(tmp_path), tmp_path) == end[1]


@pytest.mark.parametrize("step", ["season_end", "usual_weather", "working_day"])
def test_an_end_that_fails_in_the_plan_leaves_the_call_as_it_is(
    end: tuple[World, object], step: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def torn(*_: object, **__: object) -> None:
        raise ZeroDivisionError("a torn page")

    monkeypatch.setattr(plan_desk, step, torn)
    (tmp_path / "plan.toml").write_text(PLAN.read_text("utf-8"), "utf-8")
    assert called(end[0], settings_in(tmp_path), tmp_path) == end[1]


@pytest.mark.parametrize("note", [{}, {"version": 1, "record": "torn"}, {"version": 99, "record": {}}], ids=str)
def test_torn_notes_of_season_and_weather_leave_the_call_as_it_is(
    end: tuple[World, object], note: dict[str, object], tmp_path: Path
) -> None:
    def spoil(store: Store) -> None:
        boat = end[0].settings.boat.name
        with store.writing() as session:
            for name in (f"season:{boat}", f"climate:{boat}:Inner Bay", f"climate:{boat}:Outer Bay"):
                put_note(session, name, note, LATE)

    (tmp_path / "plan.toml").write_text(PLAN.read_text("utf-8"), "utf-8")
    assert called(end[0], settings_in(tmp_path), tmp_path, spoil) == end[1]
