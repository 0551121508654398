"""Traps that settings dropped while they were out. INVENTED DATA."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from email import message_from_bytes, policy
from pathlib import Path

import pytest

from law.world import SETTINGS_TOML, settings_from
from season_scenes import BOAT, DAY, DEADLINE, HOUR, MORNING, TODAY, Port, evening, port_of, told
from soakbell import known_strings
from soakbell.desk import BELLS, RECOVERY
from soakbell.errors import StoreError
from soakbell.gear.log import BroughtAshore, FoundMissing, Pulled
from soakbell.letters.recovery_words import lead_words
from soakbell.planning.season_told import SeasonAhead
from soakbell.settings import Settings
from soakbell.store.letters import UnaskedLetter, put_note

FEWER = settings_from(SETTINGS_TOML.replace("traps = 36", "traps = 20"))
GONE = settings_from(
    SETTINGS_TOML[: SETTINGS_TOML.index('[[strings]]\nname = "Outer Bar"')]
    + SETTINGS_TOML[SETTINGS_TOML.index("[crew]") :]
)
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


def test_a_string_of_which_no_settings_are_remembered_is_told_by_its_name(tmp_path: Path) -> None:
    port = by(port_of(tmp_path), GONE)
    port.tell(told(BroughtAshore(), "Nine Foot", MORNING))
    ahead = port.season.between(PAST)
    assert "Outer Bar is in the log and not in the settings" in lead(ahead)
    assert "Every trap is home" not in lead(ahead)
    assert "Outer Bar is in the log" in text_of(port.ring(PAST)[RECOVERY])


@pytest.mark.parametrize("torn", [{}, {"strings": 7}, {"strings": [{"name": "Outer Bar"}]}], ids=str)
def test_a_torn_note_never_says_that_every_trap_is_home(port: Port, torn: dict[str, object]) -> None:
    port.tell(told(BroughtAshore(), "Nine Foot", MORNING))
    with port.store.writing() as session:
        put_note(session, f"strings:{BOAT}", torn, MORNING)
    assert "Outer Bar is in the log and not in the settings" in lead(by(port, GONE).season.between(PAST))


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
