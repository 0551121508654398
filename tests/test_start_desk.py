"""A season's start beside one boat's call, and the bells of its days, from the log to the mail. INVENTED DATA."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta
from email import message_from_bytes, policy
from pathlib import Path

import pytest

from law.world import NEW_YORK, NOW, World, settings_from, world
from season_scenes import DEADLINE, LAST_HARVEST, MORNING, TERMS, TODAY, Port, evening, port_of, told
from soakbell import start_desk
from soakbell.call_record import from_record
from soakbell.clock import SetClock
from soakbell.desk import BELLS
from soakbell.fishery.rules import DateSpan, Order, Rule
from soakbell.gear.log import BellSettled, BroughtAshore, FoundDamaged, FoundMissing, Pulled, Retired, new_entry
from soakbell.gear.outfit import Outfit
from soakbell.gear_desk import GearDesk
from soakbell.gear_settings import load_outfit
from soakbell.planning.call import CallWord
from soakbell.planning.season_told import OddsTold
from soakbell.season_odds import keep_odds
from soakbell.settings import Settings
from soakbell.store.letters import WrittenLetter, get_note, put_note

CONFIG = Path(__file__).resolve().parents[1] / "config"
OUTFIT = load_outfit(CONFIG / "gear.toml")
DAY = timedelta(days=1)
HOUR = timedelta(hours=1)


def ordered(settings: Settings, effect: str, first: date, last: date) -> Settings:
    by = Rule(name="an order", value=DateSpan(first, last), source="invented", checked=first, sure="read")
    order = Order(effect, by)  # type: ignore[arg-type]
    return replace(settings, fishery=replace(settings.fishery, orders=(order,)))


def text_of(letter: WrittenLetter) -> str:
    body = message_from_bytes(letter.message, policy=policy.default).get_body(("plain",))  # type: ignore[attr-defined]
    return " ".join(body.get_content().split())


def of_call(letter: WrittenLetter) -> object:
    assert letter.call is not None
    return from_record(letter.call.detail)


# ---- beside a call


def just_opened(folder: Path, **weather: float) -> Port:
    """Traps were barred by order up to four days ago; Nine Foot 4 to 9 lie ashore, 4 with a lost escape ring."""
    today = NOW.astimezone(NEW_YORK).date()
    settings = ordered(settings_from(), "bars traps", today - 20 * DAY, today - 4 * DAY)
    settings = replace(settings, boat=settings.boat.model_copy(update={"deck_traps": 4}))
    sea: World = world(settings=settings, **weather)
    port = port_of(folder, sea)
    port.clock = SetClock(NOW)
    home = tuple(range(4, 10))
    port.tell(
        told(Pulled(reset=False), "Nine Foot", NOW - 2 * DAY, *home),
        told(BroughtAshore(), "Nine Foot", NOW - 1.9 * DAY, *home),
        told(FoundDamaged("escape ring"), "Nine Foot", NOW - 1.8 * DAY, 4),
    )
    return port


@pytest.fixture(params=["PULL", "WAIT"])
def opened(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Port]:
    rough = {"text_wind_kt": 25, "wind_kt": 25, "gust_kt": 32} if request.param == "WAIT" else {}
    port = just_opened(tmp_path, **rough)
    assert port.sea.call().call.word.value == request.param
    yield port
    port.store.close()


def morning(port: Port) -> WrittenLetter:
    desk = port.desk
    desk.gear = GearDesk(port.sea.settings, OUTFIT, port.store, desk.log, port.terms)
    return desk.write("morning", NOW.astimezone(NEW_YORK).date(), 0, late=False, clock_suspect=False)


def test_the_letter_of_a_call_tells_the_start_beside_it(opened: Port) -> None:
    text = text_of(morning(opened))
    assert "Traps may be set since Saturday 5 December 2026." in text
    assert "Setting in 2 trips: 1. Nine Foot, traps 5 to 8: 4 traps" in text
    assert "1 trap may not be set" in text
    assert "No call is made for a trip that only sets traps." in text


STEPS = (
    "opening_in_sight",
    "traps_waiting",
    "ready_to_set",
    "barred_rows",
    "untagged",
    "mends_ahead",
    "upkeep_due",
    "gear_rules",
    "trap_limit",
    "set_plan",
)


@pytest.mark.parametrize("step", STEPS)
def test_whatever_fails_of_the_start_is_told_and_moves_no_call(
    opened: Port, step: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    sound = morning(opened)

    def fails(*_: object, **__: object) -> None:
        raise ZeroDivisionError("a torn page")

    monkeypatch.setattr(start_desk, step, fails)
    torn = morning(opened)
    assert of_call(torn) == of_call(sound)
    assert torn.subject == sound.subject
    assert "a torn page" in text_of(torn)


def test_without_a_deck_load_or_a_plan_file_the_start_is_told_all_the_same(opened: Port) -> None:
    opened.terms = None
    settings = opened.sea.settings
    settings = replace(settings, boat=settings.boat.model_copy(update={"deck_traps": None}))
    opened.sea = replace(opened.sea, settings=settings)
    desk = opened.desk
    letter = desk.write("morning", NOW.astimezone(NEW_YORK).date(), 0, late=False, clock_suspect=False)
    assert of_call(letter) == of_call(morning(opened))
    text = text_of(letter)
    assert "5 traps may be set as they are" in text
    assert "Trips can't be told: no deck load is known; write deck_traps in [boat] of the settings" in text


def test_by_a_suspect_clock_no_start_is_told(opened: Port) -> None:
    for outfit in (OUTFIT, None):
        desk = GearDesk(opened.sea.settings, outfit, opened.store, opened.desk.log, opened.terms)
        ashore = desk.ashore(opened.sea.call().call, NOW, clock_suspect=True)
        assert ashore is None or ashore.start is None


def test_with_every_trap_in_the_water_no_start_is_told(tmp_path: Path) -> None:
    port = just_opened(tmp_path)
    port.tell(told(Retired("sold"), "Nine Foot", NOW - DAY, *range(4, 10)))
    assert "Start of season" not in text_of(morning(port))
    port.store.close()


def test_out_of_season_the_start_comes_into_sight_a_fortnight_ahead(tmp_path: Path) -> None:
    """R4: stone crab is placed from 5 October (second-hand)."""
    port = port_of(tmp_path)
    port.tell(
        told(Pulled(reset=False), "Nine Foot", MORNING),
        told(BroughtAshore(), "Nine Foot", MORNING + HOUR),
    )
    for day, seen in ((date(2027, 9, 20), False), (date(2027, 9, 21), True)):
        port.clock.put(evening(day, 5))
        letter = port.desk.write("morning", day, 0, late=False, clock_suspect=False)
        assert letter.call is not None
        assert letter.call.word != CallWord.PULL.value
        assert ("Traps may be set from Tuesday 5 October 2027" in text_of(letter)) is seen
    port.store.close()


EVES = {
    date(2027, 9, 21): "Start of season: Traps may be set from Tuesday 5 October 2027, in 14 days. No trap may be",
    date(2027, 10, 4): "Start of season: Traps may be set from tomorrow, Tuesday 5 October 2027. No trap may be",
    date(2027, 9, 20): "",
    date(2027, 10, 5): "",
}


@pytest.mark.parametrize("outfit", [OUTFIT, None], ids=["with gear", "without"])
def test_the_eve_letter_has_a_line_on_the_start_up_to_the_day_before(
    tmp_path: Path, outfit: Outfit | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    port = port_of(tmp_path)
    port.tell(
        told(Pulled(reset=False), "Nine Foot", MORNING),
        told(BroughtAshore(), "Nine Foot", MORNING + HOUR),
    )
    for day, line in EVES.items():
        port.clock.put(evening(day))
        desk = port.desk
        desk.gear = GearDesk(port.sea.settings, outfit, port.store, desk.log, port.terms)
        text = text_of(desk.write("eve", day, 0, late=False, clock_suspect=False))
        assert line in text if line else "Start of season" not in text

    def fails(*_: object, **__: object) -> None:
        raise ZeroDivisionError("a torn page")

    monkeypatch.setattr(start_desk, "opening_in_sight", fails)
    torn = text_of(desk.write("eve", day, 0, late=False, clock_suspect=False))
    assert "a torn page" in torn
    assert "WAIT likely" in torn
    port.store.close()


# ---- bells of the season


@pytest.fixture
def spring(tmp_path: Path) -> Iterator[Port]:
    port = port_of(tmp_path)
    yield port
    port.store.close()


def rung(port: Port, day: date, settings: Settings | None = None, *, keep: bool = False) -> set[str]:
    """The names of the season's bells that a letter of noon tells. ``keep``: as if it was sent."""
    if settings is not None:
        port.sea = replace(port.sea, settings=settings)
    at = evening(day, 12)
    found = port.ring(at).get(BELLS)
    if found is None:
        return set()
    if keep:
        port.keep_letter(found, at)
    return {f"{mark.code}:{mark.subject}" for mark in found.letter.rung if mark.code != "soak"}


@pytest.mark.parametrize(
    ("day", "asks", "pulled"),
    [
        (LAST_HARVEST, "Pull the string on the next day", True),
        (LAST_HARVEST + DAY, "may only be taken up", False),
        (DEADLINE, "may only be taken up", False),
        (DEADLINE + DAY, "By the rules no trap may be pulled today", False),
    ],
)
def test_a_bell_of_soak_asks_for_what_the_day_allows(spring: Port, day: date, asks: str, pulled: bool) -> None:
    text = text_of(spring.ring(evening(day, 12))[BELLS].letter)
    assert asks in text
    assert ('soakbell log pull "Nine Foot"' in text) is pulled
    assert ('soakbell log ashore "Nine Foot" --traps 1..24' in text) is not pulled


def keep_starts(port: Port, day: date, *starts: tuple[float, date | None]) -> None:
    """Odds as a morning letter of that day keeps them."""
    morning_of = port.season.between(port.clock.now())
    assert morning_of.odds is not None
    odds: OddsTold = replace(morning_of.odds, day=day, start_by=starts)
    keep_odds(port.sea.settings, TERMS, port.store, odds, port.clock.now())


def test_a_day_to_start_by_rings_on_its_day_by_the_odds_that_the_morning_kept(spring: Port) -> None:
    keep_starts(spring, TODAY, (0.8, TODAY + 5 * DAY), (0.95, TODAY), (0.99, None))
    assert f"start:{DEADLINE}" in rung(spring, TODAY)
    keep_starts(spring, TODAY, (0.8, TODAY + 5 * DAY), (0.95, TODAY + DAY), (0.99, TODAY + DAY))
    assert f"start:{DEADLINE}" not in rung(spring, TODAY)
    assert f"start:{DEADLINE}" in rung(spring, TODAY + DAY)


def test_odds_that_are_too_old_or_torn_ring_nothing_and_silence_nothing(spring: Port) -> None:
    keep_starts(spring, TODAY - 3 * DAY, (0.95, TODAY - DAY))
    assert rung(spring, TODAY) == {f"season:{DEADLINE}"}
    with spring.store.writing() as session:
        note = get_note(session, "season:Little Grebe")
        assert note is not None
        put_note(session, "season:Little Grebe", {**note[0], "record": {"starts": "torn"}}, MORNING)
    assert rung(spring, TODAY) == {f"season:{DEADLINE}"}


def test_an_extension_on_the_last_day_takes_the_old_days_away_and_counts_anew(spring: Port) -> None:
    keep_starts(spring, DEADLINE - 2 * DAY, (0.95, TODAY))
    assert rung(spring, DEADLINE) == {f"season:{DEADLINE}", f"start:{DEADLINE}"}
    longer = ordered(spring.sea.settings, "extends take-up", DEADLINE + DAY, DEADLINE + 7 * DAY)
    assert rung(spring, DEADLINE, longer) == {f"season:{DEADLINE + 7 * DAY}"}


def test_past_the_deadline_the_bell_rings_daily_though_it_was_told_or_settled_until_the_last_trap_is_written_off(
    spring: Port,
) -> None:
    spring.tell(
        told(Pulled(reset=False), "Nine Foot", MORNING),
        told(BroughtAshore(), "Nine Foot", MORNING),
        told(FoundMissing(), "Outer Bar", MORNING - HOUR, 1),
        told(Pulled(reset=False), "Outer Bar", MORNING),
        told(BroughtAshore(), "Outer Bar", MORNING + HOUR),
    )
    name = f"season:{DEADLINE}"
    first = DEADLINE + DAY
    assert rung(spring, first, keep=True) == {name}
    settled = BellSettled(name, f"{DEADLINE} past {first}", 7)
    at = evening(first, 13)
    spring.tell(new_entry(settled, happened_at=at, told_at=at, told_by="cli"))
    assert rung(spring, first + DAY, keep=True) == {name}
    spring.tell(told(Retired("lost in the gale"), "Outer Bar", evening(first + DAY, 14), 1))
    assert rung(spring, first + 2 * DAY) == set()


def test_the_last_harvest_day_rings_with_the_last_useful_bait(spring: Port) -> None:
    day = date(2027, 4, 24)
    text = text_of(spring.ring(evening(day, 12))[BELLS].letter)
    assert "Last day to pull for the catch: Sat 1 May, 7 days left" in text
    assert "Fresh bait is of use up to Sun 25 Apr, by the soak floor: Nine Foot." in text
