"""Traps that settings dropped while they were out. INVENTED DATA."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from email import message_from_bytes, policy
from pathlib import Path

import pytest
from sqlalchemy import select, text

from law.world import SETTINGS_TOML, settings_from
from season_scenes import BOAT, DAY, DEADLINE, HOUR, MORNING, TODAY, TURNS, Port, evening, port_of, told
from soakbell import known_strings
from soakbell.desk import BELLS, RECOVERY
from soakbell.errors import StoreError
from soakbell.gear.log import BroughtAshore, Correction, FoundMissing, LogEntry, Pulled, TrapsSet, new_entry
from soakbell.known_strings import NOTE, TORN, KnownStrings
from soakbell.letters.recovery_words import lead_words
from soakbell.planning.season_told import SeasonAhead
from soakbell.settings import Settings
from soakbell.store.letters import UnaskedLetter, note_names, rename_note
from soakbell.store.schema import NoteRow

FEWER = settings_from(SETTINGS_TOML.replace("traps = 36", "traps = 20"))
GONE_TOML = (
    SETTINGS_TOML[: SETTINGS_TOML.index('[[strings]]\nname = "Outer Bar"')]
    + SETTINGS_TOML[SETTINGS_TOML.index("[crew]") :]
)
GONE = settings_from(GONE_TOML)
RENAMED = settings_from(SETTINGS_TOML.replace('"Outer Bar"', '"Inner Bar"'))
PAST = evening(DEADLINE + 3 * DAY)


@pytest.fixture
def port(tmp_path: Path) -> Iterator[Port]:
    """24 traps of Nine Foot and 36 of Outer Bar fish, and the service has run once."""
    port = port_of(tmp_path)
    port.ring(MORNING)
    yield port
    port.store.close()


def by(port: Port, settings: Settings) -> Port:
    return replace(port, sea=replace(port.sea, settings=settings))


def text_of(one: UnaskedLetter) -> str:
    body = message_from_bytes(one.letter.message, policy=policy.default).get_body(("plain",))  # type: ignore[attr-defined]
    return " ".join(body.get_content().split())


def lead(ahead: SeasonAhead) -> str:
    assert ahead.recovery is not None
    return lead_words(ahead.recovery)


@pytest.mark.parametrize(
    ("settings", "out", "dropped"),
    [(FEWER, 60, 16), (GONE, 60, 36), (RENAMED, 60, 36)],
    ids=["fewer", "gone", "renamed"],
)
def test_traps_that_settings_drop_stay_on_the_list(port: Port, settings: Settings, out: int, dropped: int) -> None:
    after = by(port, settings)
    letter = text_of(after.ring(PAST)[RECOVERY])
    assert f"{out} traps are not home: {out} fishing." in letter
    assert f"{dropped} traps of Outer Bar are not home by the log and not in the settings." in letter
    later = after.ring(PAST + DAY)[RECOVERY]
    assert f"{dropped} traps of Outer Bar" in text_of(later), "the service has run on the new settings since"


def test_with_the_rest_ashore_a_dropped_string_is_never_every_trap_home(port: Port) -> None:
    port.tell(told(BroughtAshore(), "Nine Foot", MORNING))
    after = by(port, GONE)
    ahead = after.season.between(PAST)
    assert lead(ahead).startswith("36 traps are not home: 36 fishing.")
    assert ahead.in_sight
    assert RECOVERY in after.ring(PAST)


@pytest.mark.parametrize("detail", [Pulled(reset=False), FoundMissing()], ids=["aboard", "missing"])
def test_what_is_aboard_or_missing_of_a_dropped_string_is_listed_too(
    port: Port, detail: Pulled | FoundMissing
) -> None:
    port.tell(told(detail, "Outer Bar", MORNING, 30, 31))
    ahead = by(port, FEWER).season.between(PAST)
    assert ahead.recovery is not None
    assert [(trap.string, trap.place) for trap in (*ahead.recovery.aboard, *ahead.recovery.missing)] == [
        ("Outer Bar", 30),
        ("Outer Bar", 31),
    ]


def test_what_was_home_when_settings_dropped_it_is_not_told(port: Port) -> None:
    port.tell(told(BroughtAshore(), "Outer Bar", MORNING), told(BroughtAshore(), "Nine Foot", MORNING))
    for settings in (FEWER, GONE):
        after = by(port, settings)
        assert lead(after.season.between(PAST)) == "Every trap is home or written off."
        assert RECOVERY not in after.ring(PAST)
        assert lead(after.season.between(PAST)) == "Every trap is home or written off."


def test_they_leave_the_list_once_the_log_tells_them_home_by_the_former_settings(port: Port) -> None:
    by(port, GONE).ring(PAST)
    port.tell(told(BroughtAshore(), "Outer Bar", PAST), told(BroughtAshore(), "Nine Foot", PAST))
    port.ring(PAST + HOUR)
    assert lead(by(port, GONE).season.between(PAST + DAY)) == "Every trap is home or written off."


def ashore_and_dropped(port: Port, settings: Settings) -> LogEntry:
    """Every trap came home, and settings then dropped some. Gives the entry of Outer Bar."""
    ashore = told(BroughtAshore(), "Outer Bar", MORNING)
    port.tell(ashore, told(BroughtAshore(), "Nine Foot", MORNING))
    after = by(port, settings)
    after.ring(MORNING + HOUR)
    after.ring(MORNING + 2 * HOUR)
    assert lead(after.season.between(PAST)) == "Every trap is home or written off."
    return ashore


@pytest.mark.parametrize(("settings", "dropped"), [(FEWER, 16), (GONE, 36)], ids=["fewer", "gone"])
def test_a_voided_entry_of_a_dropped_string_brings_its_traps_back(
    port: Port, settings: Settings, dropped: int
) -> None:
    ashore, at = ashore_and_dropped(port, settings), MORNING + 3 * HOUR
    void = Correction(ashore.id, "it was Nine Foot")
    port.tell(new_entry(void, happened_at=at, told_at=at, told_by="cli"))
    after = by(port, settings)
    assert lead(after.season.between(PAST)).startswith("36 traps are not home: 36 fishing.")
    assert f"{dropped} traps of Outer Bar are not home" in text_of(after.ring(PAST)[RECOVERY])


@pytest.mark.parametrize(("settings", "out"), [(FEWER, 36), (GONE, 36)], ids=["fewer", "gone"])
def test_a_late_entry_of_a_dropped_string_brings_its_traps_back(port: Port, settings: Settings, out: int) -> None:
    """It was set again on the morning before settings dropped it, and that is told the day after."""
    ashore_and_dropped(port, settings)
    at = MORNING + HOUR / 2
    port.tell(new_entry(TrapsSet(), happened_at=at, told_at=at + DAY, told_by="cli", string="Outer Bar"))
    assert lead(by(port, settings).season.between(PAST)).startswith(f"{out} traps are not home")


def test_a_whole_string_told_by_smaller_settings_is_of_as_many_traps_as_these_have(port: Port) -> None:
    ashore_and_dropped(port, FEWER)
    port.tell(told(TrapsSet(), "Outer Bar", MORNING + DAY))
    assert lead(by(port, FEWER).season.between(PAST)).startswith("20 traps are not home: 20 fishing.")


def test_a_smaller_string_brought_home_leaves_what_settings_dropped_of_it_on_the_list(port: Port) -> None:
    """Also once the settings have them back."""
    by(port, FEWER).ring(MORNING + HOUR)
    at = MORNING + DAY
    port.tell(told(BroughtAshore(), "Outer Bar", at), told(BroughtAshore(), "Nine Foot", at))
    for settings in (FEWER, port.sea.settings):
        after = by(port, settings)
        after.ring(at + HOUR)
        assert lead(after.season.between(PAST)).startswith("16 traps are not home: 16 fishing.")
    port.tell(told(BroughtAshore(), "Outer Bar", at + DAY))
    for settings in (FEWER, port.sea.settings):
        assert lead(by(port, settings).season.between(PAST)) == "Every trap is home or written off."


def test_a_clock_that_is_behind_makes_no_earlier_entry_one_of_fewer_traps(port: Port) -> None:
    by(port, FEWER).ring(MORNING - 400 * DAY)
    assert lead(by(port, FEWER).season.between(PAST)).startswith("60 traps are not home: 60 fishing.")


def test_a_string_of_which_no_settings_are_remembered_is_told_by_its_name(tmp_path: Path) -> None:
    port = by(port_of(tmp_path), GONE)
    port.tell(told(BroughtAshore(), "Nine Foot", MORNING))
    ahead = port.season.between(PAST)
    assert "Outer Bar is in the log and not in the settings" in lead(ahead)
    assert "Every trap is home" not in lead(ahead)
    assert "Outer Bar is in the log" in text_of(port.ring(PAST)[RECOVERY])


# ---- a note that can't be read


@pytest.fixture(params=["{}", '{"strings": 7}', '{"strings": [{"name": "Outer Bar"}]}', "no json"])
def torn(port: Port, request: pytest.FixtureRequest) -> Port:
    """16 traps of Outer Bar, past those that FEWER has, are all that is not home."""
    port.tell(
        told(BroughtAshore(), "Nine Foot", MORNING), told(BroughtAshore(), "Outer Bar", MORNING, *range(1, 21))
    )
    with port.store.writing() as session:
        session.execute(
            text("UPDATE note SET value = :torn WHERE name = :name"), {"torn": request.param, "name": NOTE}
        )
    return port


def test_by_a_torn_note_nothing_says_that_every_trap_is_home(torn: Port) -> None:
    ahead = by(torn, FEWER).season.between(PAST)
    assert (ahead.recovery, ahead.fault) == (None, TORN)
    gone = by(torn, GONE).season.between(PAST)
    assert "Outer Bar is in the log and not in the settings" in lead(gone)
    assert gone.fault == TORN


def test_a_torn_note_leaves_the_bell_of_what_is_known_to_be_out(torn: Port) -> None:
    torn.tell(told(TrapsSet(), "Nine Foot", MORNING + HOUR))
    assert "24 traps" in text_of(by(torn, FEWER).ring(PAST)[BELLS])


def test_a_torn_note_stays_until_the_skipper_begins_anew(torn: Port) -> None:
    after = by(torn, FEWER)
    after.clock.put(PAST)
    assert after.desk.ring(PAST.date(), TURNS).failed is not None
    assert after.season.between(PAST).fault == TORN, "the service has run since"
    for settings in (torn.sea.settings, FEWER):
        aside = KnownStrings(settings, torn.store).begin_anew(PAST)
        KnownStrings(settings, torn.store).remember(PAST)
    assert aside == ()
    assert lead(after.season.between(PAST)).startswith("16 traps are not home: 16 fishing.")
    with torn.store.reading() as session:
        kept = session.scalars(select(NoteRow.name).where(NoteRow.name.startswith("torn "))).all()
    assert kept == [f"torn {PAST:%Y-%m-%d %H:%M:%S} {NOTE}"]


def test_strings_of_a_boat_that_was_called_otherwise_are_known_still(port: Port) -> None:
    by(port, GONE).ring(MORNING)
    other = settings_from(GONE_TOML.replace(f'"{BOAT}"', '"Great Grebe"'))
    assert lead(by(port, other).season.between(PAST)).startswith("60 traps are not home")


def test_an_older_note_under_the_name_of_the_boat_is_still_read(port: Port) -> None:
    with port.store.writing() as session:
        rename_note(session, NOTE, f"{NOTE}:{BOAT}")
    for _ in range(2):
        assert lead(by(port, GONE).season.between(PAST)).startswith("60 traps are not home")
        by(port, GONE).ring(MORNING)
    with port.store.reading() as session:
        assert note_names(session, NOTE) == (NOTE,)


def test_where_former_strings_can_not_be_looked_up_nothing_says_that_all_is_home(
    port: Port, monkeypatch: pytest.MonkeyPatch
) -> None:
    port.tell(told(BroughtAshore(), "Nine Foot", MORNING))

    def fails(*_: object) -> None:
        raise StoreError("the disk is gone")

    monkeypatch.setattr(known_strings.KnownStrings, "dropped", fails)
    ahead = by(port, GONE).season.between(PAST)
    assert ahead.recovery is None
    assert "strings of former settings: StoreError: the disk is gone" in ahead.fault
    assert port.season.between(PAST).recovery is not None, "what is known to be out is told all the same"


def test_strings_that_can_not_be_kept_cost_no_letter(port: Port, monkeypatch: pytest.MonkeyPatch) -> None:
    def fails(*_: object) -> None:
        raise StoreError("the disk is full")

    monkeypatch.setattr(known_strings.KnownStrings, "remember", fails)
    assert RECOVERY in port.ring(evening(TODAY))


def test_trips_take_only_what_the_settings_have(port: Port) -> None:
    ahead = by(port, FEWER).season.between(evening(TODAY))
    assert ahead.recovery is not None
    assert sum(trip.traps for trip in ahead.recovery.trips) == 44
    assert [(string.name, string.places) for string in ahead.recovery.unplanned] == [
        ("Outer Bar", tuple(range(21, 37)))
    ]


def test_the_bell_of_the_last_day_counts_them(port: Port) -> None:
    port.tell(told(BroughtAshore(), "Nine Foot", MORNING))
    bell = text_of(by(port, GONE).ring(PAST)[BELLS])
    assert "36 traps" in bell


# ---- traps of an earlier season


def test_a_trap_that_is_missing_since_last_season_asks_for_a_list_each_week(port: Port) -> None:
    """Traps may be set again from 5 October (R1, R4: config/fisheries/florida-stone-crab.toml)."""
    rest = tuple(n for n in range(1, 37) if n != 7)
    port.tell(told(BroughtAshore(), "Nine Foot", MORNING), told(BroughtAshore(), "Outer Bar", MORNING, *rest))
    port.tell(told(FoundMissing(), "Outer Bar", MORNING, 7))
    first, found = DEADLINE.replace(month=10, day=5), []
    for day in (first + n * DAY for n in range(16)):
        rung = port.ring(evening(day))
        if RECOVERY in rung:
            found.append((day - first).days)
            port.keep_letter(rung[RECOVERY], evening(day))
            assert "1 trap is not home: 1 missing. Since an earlier season: 1." in text_of(rung[RECOVERY])
    assert found == [0, 7, 14]


def test_a_trap_that_is_lost_in_season_asks_for_no_list_before_its_end_is_in_sight(tmp_path: Path) -> None:
    port = port_of(tmp_path)
    port.all_ashore()
    before = DEADLINE.replace(month=3, day=1)
    port.tell(told(FoundMissing(), "Outer Bar", evening(before - DAY), 7))
    ahead = port.season.between(evening(before))
    assert ahead.recovery is not None
    assert (ahead.recovery.of_before, ahead.asks_for_letter(None)) == (0, False)


def test_a_list_that_an_evening_missed_comes_on_the_next_one(port: Port) -> None:
    """The service was down 14 days before."""
    no_odds = replace(port, terms=None)
    early = DEADLINE - 30 * DAY
    no_odds.keep_letter(no_odds.ring(evening(early))[RECOVERY], evening(early))
    assert RECOVERY not in no_odds.ring(evening(TODAY - DAY))
    assert RECOVERY in no_odds.ring(evening(TODAY + DAY))


@pytest.mark.parametrize("state", ["expired", "refused"])
def test_a_list_that_nobody_accepted_comes_again_the_next_evening_and_no_sooner(port: Port, state: str) -> None:
    no_odds = replace(port, terms=None)
    no_odds.keep_letter(no_odds.ring(evening(TODAY))[RECOVERY], evening(TODAY), state)
    assert RECOVERY not in no_odds.ring(evening(TODAY, 21))
    again = no_odds.ring(evening(TODAY + DAY))[RECOVERY]
    no_odds.keep_letter(again, evening(TODAY + DAY))
    assert RECOVERY not in no_odds.ring(evening(TODAY + 2 * DAY))
