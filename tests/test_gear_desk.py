"""Gear in the letters of one boat, from the log to the mail: loads, thaw calls, bells, orders. INVENTED DATA."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncGenerator, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from email import message_from_bytes, policy
from email.message import EmailMessage
from pathlib import Path

import pytest
from sqlalchemy import func, select

from law.world import NEW_YORK, NOW, World, settings_from, world
from soakbell import gear_desk
from soakbell.clock import SetClock
from soakbell.desk import BAIT_ORDER, BELLS, ORDER_COPY, UNASKED, Desk
from soakbell.errors import FetchFailed
from soakbell.feeds.transport import Ask
from soakbell.gear.bait_lots import BaitBook
from soakbell.gear.fold import fold
from soakbell.gear.log import (
    BaitBought,
    BaitCounted,
    BaitOrdered,
    BellSettled,
    BellSnoozed,
    Detail,
    FoundDamaged,
    LogEntry,
    PartBought,
    Pulled,
    UpkeepDone,
    new_entry,
)
from soakbell.gear.outfit import Outfit
from soakbell.gear_desk import GearDesk, expected_in_days
from soakbell.gear_settings import load_outfit
from soakbell.mail.sender import Outcome, Outgoing, Result
from soakbell.planning.bells import BellCode
from soakbell.planning.call import CallWord
from soakbell.schedule import Parts, Sweep
from soakbell.sea.sources import RawReply
from soakbell.store import letters, log, replies
from soakbell.store.backup import back_up, restore
from soakbell.store.bells import rung_bells
from soakbell.store.engine import Store, open_store
from soakbell.store.letters import UnaskedLetter, WrittenLetter
from soakbell.store.log_keeper import Kept
from soakbell.store.schema import CallRow, LogRow
from soakbell.store.upgrade import migrate
from soakbell.wiring import duty_of

BOAT = "Little Grebe"
OUTFIT = load_outfit(Path(__file__).resolve().parents[1] / "config" / "gear.toml")
TODAY = NOW.astimezone(NEW_YORK).date()
TOMORROW = TODAY + timedelta(days=1)
DAY = timedelta(days=1)
HOUR = timedelta(hours=1)
NOON = NOW + 7.5 * HOUR
"""Tuesday; Bayside Bait takes orders on Mondays and Thursdays up to 10:00."""
THURSDAY_0800 = NOW + 2 * DAY + 3.5 * HOUR
TURNS = dict.fromkeys(UNASKED, 1)


class NobodyAnswers:
    def fetch(self, ask: Ask) -> RawReply:
        raise FetchFailed(f"{ask.url}: nobody answers", retry=True)


@dataclass
class Port:
    """A boat with its database, its clock and what is on hand of the sources."""

    sea: World
    store: Store
    clock: SetClock
    outfit: Outfit | str | None = OUTFIT

    @property
    def desk(self) -> Desk:
        return Desk(self.sea.settings, self.store, self.clock, NobodyAnswers(), outfit=self.outfit)

    def tell(
        self, detail: Detail, *, days_ago: float = 1, string: str | None = None, traps: tuple[int, ...] = ()
    ) -> LogEntry:
        at = NOW - days_ago * DAY
        entry = new_entry(detail, happened_at=at, told_at=at, told_by="cli", string=string, traps=traps)
        with self.store.writing() as session:
            log.append_entries(session, (entry,))
        return entry

    def morning(self) -> WrittenLetter:
        return self.desk.write("morning", TODAY, 0, late=False, clock_suspect=False)

    def ring(self, at: datetime, turns: dict[str, int] = TURNS) -> dict[str, UnaskedLetter]:
        self.clock.put(at)
        return {one.kind: one for one in self.desk.ring(at.astimezone(NEW_YORK).date(), turns).letters}

    def keep(self, rung: dict[str, UnaskedLetter], at: datetime) -> None:
        """Store the letters as the sweep does."""
        day = at.astimezone(NEW_YORK).date()
        with self.store.writing() as session:
            for kind, one in rung.items():
                turn = letters.next_turn(session, BOAT, kind, day)
                claim = letters.open_turn(
                    session, BOAT, kind, day, turn, "America/New_York", at, one.useless_at, lease_s=120
                )
                letters.write_letter(session, claim, one.letter, at)

    def send_away(self, letter: WrittenLetter, kind: str = "morning") -> None:
        with self.store.writing() as session:
            letters.ensure_due(session, BOAT, kind, TODAY, 0, "America/New_York", NOW, NOW + 6 * HOUR)
            claim = letters.claim_due(session, BOAT, NOW, lease_s=120)
            assert claim is not None
            letters.write_letter(session, claim, letter, NOW)


def port_of(sea: World, folder: Path) -> Port:
    store = open_store(f"sqlite:///{folder / 'soakbell.db'}")
    migrate(store)
    with store.writing() as session:
        log.append_entries(session, sea.entries)
        for pages in sea.on_hand().replies.values():
            replies.keep_reply(session, pages[0])
    return Port(sea, store, SetClock(NOW))


@pytest.fixture
def calm(tmp_path: Path) -> Iterator[Port]:
    """A fit morning: all traps have soaked for eight days, and PULL is the word."""
    port = port_of(world(), tmp_path)
    yield port
    port.store.close()


@pytest.fixture
def blown_out(tmp_path: Path) -> Iterator[Port]:
    port = port_of(world(text_wind_kt=25, wind_kt=25, gust_kt=32), tmp_path)
    yield port
    port.store.close()


@pytest.fixture
def long_soaked(tmp_path: Path) -> Iterator[Port]:
    """Blown out for weeks: Nine Foot has soaked past its ceiling of 14 days, Outer Bar not past its 16."""
    port = port_of(world(text_wind_kt=25, wind_kt=25, gust_kt=32, soaked_days=15), tmp_path)
    yield port
    port.store.close()


def message(letter: WrittenLetter) -> EmailMessage:
    read = message_from_bytes(letter.message, policy=policy.default)
    assert isinstance(read, EmailMessage)
    return read


def text_of(letter: WrittenLetter) -> str:
    body = message(letter).get_body(("plain",))
    assert body is not None
    return " ".join(body.get_content().split())


def calls(store: Store) -> int:
    with store.reading() as session:
        return session.scalar(select(func.count(CallRow.id))) or 0


def of_trip(written: WrittenLetter) -> tuple[object, object]:
    assert written.call is not None
    return written.call.word, written.call.detail["call"]["window"]


# ---- the morning letter


def test_a_pull_letter_tells_bait_to_load_and_mends_for_the_strings_of_its_window(calm: Port) -> None:
    calm.tell(BaitBought("mullet heads", 6))
    calm.tell(FoundDamaged("line"), string="Nine Foot", traps=(4,))
    written = calm.morning()
    assert of_trip(written)[0] == "PULL"
    text = text_of(written)
    assert "Mullet heads: 60 traps need" in text
    assert "Nine Foot, trap 4: line" in text
    now = calm.clock.now()
    call = calm.desk.decide(TODAY, clock_suspect=False).call
    ashore = calm.desk.gear.ashore(call, now, clock_suspect=False)
    assert ashore is not None
    assert ashore.load is not None
    assert call.window is not None
    assert ashore.fault == ""
    assert ashore.bench is None
    assert [mend.item for mend in ashore.load.mends] == ["line"]
    assert sum(bait.traps for bait in ashore.load.bait) == sum(pull.traps for pull in call.window.pulls)


@pytest.mark.parametrize(("day", "baits"), [(25, True), (26, False)])
def test_past_the_last_useful_rebait_no_bait_is_loaded_nor_ordered(tmp_path: Path, day: int, baits: bool) -> None:
    """R4: harvest up to 1 May; floors of five days make 25 April the last day for fresh bait."""
    morning = datetime(2027, 4, day, 8, 30, tzinfo=UTC)
    port = replace(port_of(world(now=morning), tmp_path), clock=SetClock(morning))
    written = port.desk.write("morning", morning.date(), 0, late=False, clock_suspect=False)
    assert written.call is not None
    assert written.call.word == "PULL"
    assert ("Mullet heads" in text_of(written)) == baits
    if not baits:
        gear = fold(port.sea.entries, port.sea.settings.trap_strings)
        assert not any(expected_in_days(port.sea.settings, OUTFIT, gear, morning).values())
    port.store.close()


def test_for_a_trip_that_takes_traps_up_nothing_is_loaded_nor_thawed(tmp_path: Path) -> None:
    """R5: on 3 May the harvest is closed, and all traps must be out by 6 May."""
    morning = datetime(2027, 5, 3, 8, 30, tzinfo=UTC)
    port = replace(port_of(world(now=morning), tmp_path), clock=SetClock(morning))
    port.tell(BaitCounted("mullet heads", 4, "freezer"), days_ago=0.5)
    call = port.desk.decide(morning.date(), clock_suspect=False).call
    ashore = port.desk.gear.ashore(call, morning, clock_suspect=False)
    eve = port.desk.gear.eve(call, morning, clock_suspect=False)
    assert (call.word, call.take_up) == (CallWord.PULL, True)
    assert ashore is not None
    assert (ashore.load, ashore.fault) == (None, "")
    assert (eve.load, eve.thaw, eve.thaw_if, eve.fault) == (None, (), (), "")
    port.store.close()


def test_a_wait_letter_tells_the_bench_and_what_to_buy(blown_out: Port) -> None:
    blown_out.tell(PartBought("hook latch", 1))
    blown_out.tell(FoundDamaged("latch"), string="Nine Foot", traps=(4,))
    blown_out.tell(Pulled(reset=False), string="Nine Foot", traps=(4,), days_ago=0.5)
    call = blown_out.desk.decide(TODAY, clock_suspect=False).call
    ashore = blown_out.desk.gear.ashore(call, NOW, clock_suspect=False)
    assert call.word is not CallWord.PULL
    assert ashore is not None
    assert ashore.bench is not None
    assert ashore.load is None
    assert [part.part for part in ashore.parts_to_buy]
    assert [(barred.places, barred.in_water) for barred in ashore.barred] == [((4,), False)]
    assert "latch" in text_of(blown_out.morning())


FIGURES = (
    "bait_to_load",
    "barred_rows",
    "bench_plan",
    "mends_at_pull",
    "parts_to_buy",
    "parts_to_carry",
    "traps_ready",
    "upkeep_due",
    "upkeep_lines",
)


@pytest.mark.parametrize("weather", ["calm", "blown_out"])
def test_whatever_fails_of_gear_is_told_and_moves_no_call(
    weather: str, request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each step in turn; the call and its window are the same as without any gear."""
    port: Port = request.getfixturevalue(weather)
    port.tell(BaitBought("mullet heads", 6))
    without = replace(port, outfit=None)
    trip = of_trip(without.morning())
    assert of_trip(port.morning()) == trip
    told = 0
    for name in FIGURES:
        with monkeypatch.context() as broken:

            def fails(*_: object, **__: object) -> None:
                raise ZeroDivisionError("invented fault")

            broken.setattr(gear_desk, name, fails)
            written = port.morning()
        assert of_trip(written) == trip
        told += "invented fault" in text_of(written)
    assert told >= 5


def test_books_that_fail_cost_no_call_and_the_traps_are_still_told(
    calm: Port, monkeypatch: pytest.MonkeyPatch
) -> None:
    trip = of_trip(calm.morning())
    calm.tell(FoundDamaged("latch"), string="Nine Foot", traps=(4,))

    def fails(*_: object) -> None:
        raise ZeroDivisionError("invented fault")

    monkeypatch.setattr(BaitBook, "take", fails)
    written = calm.morning()
    assert of_trip(written) == trip
    assert "invented fault" in text_of(written)
    call = calm.desk.decide(TODAY, clock_suspect=False).call
    ashore = calm.desk.gear.ashore(call, NOW, clock_suspect=False)
    assert ashore is not None
    assert [barred.places for barred in ashore.barred] == [(4,)]


def test_a_bait_entry_that_cannot_be_read_costs_no_call_and_is_told(calm: Port) -> None:
    trip = of_trip(calm.morning())
    with calm.store.writing() as session:
        seq = log.newest_seq(session) + 1
        at = NOW - DAY
        session.add(
            LogRow(
                id="broken",
                key="broken",
                kind="bait-bought",
                happened_at=at,
                told_at=at,
                told_by="cli",
                detail={"traps": [], "note": "", "of_kind": {"bait": "cowhide"}},
                seq=seq,
            )
        )
    written = calm.morning()
    assert of_trip(written) == trip
    assert "log entry broken can't be read" in text_of(written)


def test_a_gear_file_with_faults_is_told_in_every_letter_and_moves_no_call(calm: Port) -> None:
    trip = of_trip(calm.morning())
    broken = replace(calm, outfit="gear.toml: baits[0].thaw_h: found -2; write hours, 0 or more\nanother fault")
    written = broken.morning()
    assert of_trip(written) == trip
    assert "baits[0].thaw_h" in text_of(written)
    eve = broken.desk.write("eve", TODAY, 0, late=False, clock_suspect=False)
    assert "baits[0].thaw_h" in text_of(eve)


def test_without_a_gear_file_the_letter_says_nothing_of_gear(calm: Port) -> None:
    bare = replace(calm, outfit=None)
    call = bare.desk.decide(TODAY, clock_suspect=False).call
    assert bare.desk.gear.ashore(call, NOW, clock_suspect=False) is None
    assert "mullet heads" not in text_of(bare.morning())


@pytest.mark.parametrize("outfit", [None, "gear.toml: baits[0].thaw_h: found -2; write hours, 0 or more"])
def test_damage_that_was_told_is_told_without_a_gear_file_or_by_a_broken_one(
    calm: Port, blown_out: Port, outfit: str | None
) -> None:
    for port in (calm, blown_out):
        trip = of_trip(port.morning())
        port.tell(FoundDamaged("latch"), string="Nine Foot", traps=(3,))
        bare = replace(port, outfit=outfit)
        letters = [bare.morning(), bare.desk.write("eve", TODAY, 0, late=False, clock_suspect=False)]
        assert of_trip(letters[0]) == trip
        for letter in letters:
            words = " ".join(text_of(letter).split())
            assert "Nine Foot, trap 3, in the water, was told damaged: latch." in words
            assert ("thaw_h" in words) is (outfit is not None)


def test_by_a_clock_that_was_set_back_no_gear_is_told_but_that(calm: Port) -> None:
    written = calm.desk.write("morning", TODAY, 0, late=False, clock_suspect=True)
    assert of_trip(written)[0] == "NO CALL"
    assert "clock" in text_of(written)
    call = calm.desk.decide(TODAY, clock_suspect=False).call
    ashore = calm.desk.gear.ashore(call, NOW, clock_suspect=True)
    assert ashore is not None
    assert (ashore.load, ashore.bench, ashore.barred, ashore.upkeep) == (None, None, (), ())
    assert "clock" in ashore.fault


def test_a_changed_call_tells_what_to_load_for_its_own_window(calm: Port) -> None:
    """The wind rises: no trip any more, and so nothing to load but the bench."""
    calm.send_away(calm.morning())
    rough = world(text_wind_kt=25, wind_kt=25, gust_kt=32)
    with calm.store.writing() as session:
        for pages in rough.on_hand().replies.values():
            replies.keep_reply(session, replace(pages[0], fetched_at=NOW + timedelta(minutes=15)))
    calm.clock.put(NOW + timedelta(minutes=16))
    changed = calm.desk.recheck(TODAY, 1, clock_suspect=False)
    assert changed is not None
    assert changed.call is not None
    assert changed.call.word != "PULL"
    assert "bench" in text_of(changed).lower()


def tell_at_the_next_look(port: Port, desk: Desk, detail: Detail, monkeypatch: pytest.MonkeyPatch) -> None:
    """Another process tells ``detail`` just before ``desk`` looks at the log."""
    string = "Ledge" if isinstance(detail, Pulled) else None
    looks = desk.log.now

    def overtaken() -> Kept:
        monkeypatch.setattr(desk.log, "now", looks)
        port.clock.put(port.clock.now() + timedelta(milliseconds=5))
        at = port.clock.now()
        with port.store.writing() as session:
            log.append_entries(
                session, (new_entry(detail, happened_at=at, told_at=at, told_by="cli", string=string),)
            )
        return looks()

    monkeypatch.setattr(desk.log, "now", overtaken)


@pytest.mark.parametrize("detail", [BaitBought("mullet heads", 1), Pulled(reset=False)])
def test_what_is_told_while_the_letter_is_made_is_no_fault_of_the_clock(
    calm: Port, monkeypatch: pytest.MonkeyPatch, detail: Detail
) -> None:
    desk = calm.desk
    tell_at_the_next_look(calm, desk, detail, monkeypatch)
    written = desk.write("morning", TODAY, 0, late=False, clock_suspect=False)
    assert of_trip(written)[0] == "PULL"
    assert "earlier time" not in text_of(written)


def test_bait_told_a_minute_ahead_of_the_clock_costs_no_call(calm: Port) -> None:
    calm.tell(BaitBought("mullet heads", 1), days_ago=-1 / 24 / 60)
    assert of_trip(calm.morning())[0] == "PULL"
    calm.tell(BaitBought("mullet heads", 1), days_ago=-1)
    assert of_trip(calm.morning())[0] == "NO CALL"


@pytest.mark.parametrize("kind", ["morning", "eve"])
def test_call_and_load_rest_on_one_look_at_the_log(calm: Port, monkeypatch: pytest.MonkeyPatch, kind: str) -> None:
    """An entry told between them would make two logs of it, and a clock behind the second one."""
    desk, looks = calm.desk, []
    once = desk.log.now

    def counted() -> Kept:
        looks.append(1)
        return once()

    monkeypatch.setattr(desk.log, "now", counted)
    written = desk.write(kind, TODAY, 0, late=False, clock_suspect=False)
    assert len(looks) == 1
    assert "could not be told" not in text_of(written)


# ---- the eve letter


def test_the_eve_letter_rests_on_the_likely_call_of_the_day_ahead(calm: Port) -> None:
    calm.clock.put(NOW + 13.5 * HOUR)
    likely = calm.desk.likely(TOMORROW, clock_suspect=False)
    assert likely.call.day == TOMORROW
    eve = calm.desk.write("eve", TODAY, 0, late=False, clock_suspect=False)
    assert likely.call.word.value in eve.subject
    assert calls(calm.store) == 0
    barred = calm.desk.likely(TOMORROW, clock_suspect=True)
    assert barred.call.word is CallWord.NO_CALL


def test_the_eve_letter_tells_what_to_thaw_for_a_likely_pull_and_is_no_call(calm: Port) -> None:
    calm.tell(BaitBought("mullet heads", 6))
    written = calm.desk.write("eve", TODAY, 0, late=False, clock_suspect=False)
    assert written.call is None
    assert written.watch_until is None
    assert "PULL likely" in written.subject
    assert "thaw" in written.subject
    assert "mullet heads" in text_of(written)
    calm.send_away(written, "eve")
    assert calls(calm.store) == 0


def test_an_eve_before_a_blown_out_day_thaws_nothing(blown_out: Port) -> None:
    blown_out.tell(BaitBought("mullet heads", 6))
    written = blown_out.desk.write("eve", TODAY, 0, late=False, clock_suspect=False)
    assert "PULL" not in written.subject
    assert "thaw" not in written.subject


def test_an_eve_before_a_blown_out_day_says_what_to_thaw_in_case_it_blows_less(blown_out: Port) -> None:
    """Only where a string is ripe tomorrow."""
    blown_out.tell(BaitBought("mullet heads", 6))
    written = blown_out.desk.write("eve", TODAY, 0, late=False, clock_suspect=False)
    assert "If it turns out PULL after all:" in text_of(written)
    every = tuple(string.name for string in blown_out.sea.settings.trap_strings)
    for string in every:
        blown_out.tell(Pulled(legal_claws=1), days_ago=0.01, string=string)
    again = blown_out.desk.write("eve", TODAY, 0, late=False, clock_suspect=False)
    assert "after all" not in text_of(again)


def test_an_eve_that_can_not_be_decided_says_so(calm: Port) -> None:
    written = calm.desk.write_failed("eve", TODAY, 0, "StoreError: the log can't be read")
    assert written.call is None
    assert "PULL" not in written.subject
    assert "the log can't be read" in text_of(written)


# ---- bells


def test_a_soak_past_its_ceiling_rings_once(long_soaked: Port) -> None:
    first = long_soaked.ring(NOON)
    assert "soak:Nine Foot" in text_of(first[BELLS].letter)
    assert "soak:Outer Bar" not in text_of(first[BELLS].letter)
    long_soaked.keep(first, NOON)
    again = long_soaked.ring(NOON + HOUR, {**TURNS, BELLS: 2})
    assert BELLS not in again


def test_all_that_rings_at_one_time_is_in_one_letter(long_soaked: Port) -> None:
    long_soaked.tell(FoundDamaged("latch"), string="Nine Foot", traps=(4, 5))
    rung = long_soaked.ring(NOON)
    text = text_of(rung[BELLS].letter)
    assert {mark.code for mark in rung[BELLS].letter.rung} >= {"soak", "unset", "upkeep"}
    assert "soak:Nine Foot" in text
    assert "unset:Nine Foot" in text
    assert [mark.code for mark in rung[BELLS].letter.rung].count("unset") == 2
    assert text.count('snooze "unset:Nine Foot"') == 1


def test_upkeep_that_was_never_told_hides_nothing_graver(long_soaked: Port) -> None:
    """A new boat's log tells of no upkeep at all; the traps that may not be in the water still come first."""
    long_soaked.tell(FoundDamaged("latch"), string="Nine Foot", traps=(4, 5))
    letter = long_soaked.ring(NOON)[BELLS].letter
    text = text_of(letter)
    assert "Nine Foot" in letter.subject
    assert text.index("unset:Nine Foot") < text.index("soak:Nine Foot") < text.index("upkeep:")


@pytest.mark.parametrize("hour", [20, 23, 2, 5])
def test_in_the_quiet_hours_nothing_rings(long_soaked: Port, hour: int) -> None:
    local = NOW.astimezone(NEW_YORK).replace(hour=hour, minute=30)
    assert long_soaked.ring(local.astimezone(NOW.tzinfo)) == {}


def test_a_snooze_and_a_settlement_silence_by_name(long_soaked: Port) -> None:
    long_soaked.tell(BellSnoozed("soak:Nine Foot", NOON + HOUR), days_ago=0.1)
    silent = long_soaked.ring(NOON)
    assert "soak" not in {mark.code for mark in silent[BELLS].letter.rung}
    later = long_soaked.ring(NOON + HOUR)
    assert "soak" in {mark.code for mark in later[BELLS].letter.rung}
    long_soaked.tell(BellSettled("soak:Nine Foot"), days_ago=0.05)
    settled = long_soaked.ring(NOON + 2 * HOUR)
    assert "soak" not in {mark.code for mark in settled[BELLS].letter.rung}


def test_no_soak_rings_for_a_string_that_todays_call_says_to_pull(tmp_path: Path) -> None:
    port = port_of(world(soaked_days=15), tmp_path)
    written = port.morning()
    assert of_trip(written)[0] == "PULL"
    before = port.ring(NOON)
    assert "soak" in {mark.code for mark in before[BELLS].letter.rung}
    port.send_away(written)
    after = port.ring(NOON)
    assert "soak" not in {mark.code for mark in after[BELLS].letter.rung}
    port.store.close()


def test_no_bell_rings_by_a_clock_behind_the_log(long_soaked: Port) -> None:
    long_soaked.tell(UpkeepDone("bilge pump test"), days_ago=-2)
    assert long_soaked.ring(NOON) == {}


def test_soaks_ring_where_no_gear_is_set_up_or_its_file_has_faults(long_soaked: Port) -> None:
    for outfit in (None, "gear.toml: a fault"):
        rung = replace(long_soaked, outfit=outfit).ring(NOON)
        assert {mark.code for mark in rung[BELLS].letter.rung} == {"soak"}


def test_a_fault_of_one_kind_of_bell_silences_no_other(long_soaked: Port, monkeypatch: pytest.MonkeyPatch) -> None:
    long_soaked.tell(FoundDamaged("latch"), string="Nine Foot", traps=(4,))

    def fails(*_: object, **__: object) -> None:
        raise ZeroDivisionError("invented fault")

    of_season = ("season_bells", "harvest_bells", "setting_bells")
    for name in ("upkeep_due", "bait_levels", "parts_to_buy", *of_season):
        monkeypatch.setattr(gear_desk, name, fails)
    rung = long_soaked.ring(NOON)
    assert {mark.code for mark in rung[BELLS].letter.rung} == {"soak", "unset"}
    assert len(long_soaked.desk.gear.standing(NOON).faults) >= 3 + len(of_season)


def test_bells_that_stand_are_told_with_those_that_are_hushed(long_soaked: Port) -> None:
    long_soaked.tell(BellSnoozed("soak:Nine Foot", NOON + 9 * DAY))
    standing = long_soaked.desk.gear.standing(NOON)
    assert "soak:Nine Foot" in {bell.name for bell in standing.bells}
    assert {bell.name for bell in standing.hushed} == {"soak:Nine Foot"}


def test_a_letter_of_bells_that_nobody_accepts_in_time_rings_again(long_soaked: Port) -> None:
    first = long_soaked.ring(NOON)
    long_soaked.keep(first, NOON)
    with long_soaked.store.reading() as session:
        assert rung_bells(session, BOAT)
    gone = first[BELLS].useless_at
    with long_soaked.store.writing() as session:
        letters.expire_recipients(session, gone)
    again = long_soaked.ring(gone + HOUR)
    assert {mark.code for mark in again[BELLS].letter.rung} >= {"soak"}


def test_a_letter_of_bells_is_of_use_until_the_quiet_hours_end_next_morning(long_soaked: Port) -> None:
    useless = long_soaked.ring(NOON)[BELLS].useless_at.astimezone(NEW_YORK)
    assert (useless.date(), useless.hour) == (TOMORROW, 6)


# ---- bait orders


def low_on_bait(port: Port, *, straight: bool) -> Port:
    port.tell(BaitCounted("mullet heads", 0.25))
    port.tell(BaitCounted("cowhide", 6))
    assert OUTFIT.supplier is not None
    return replace(port, outfit=replace(OUTFIT, supplier=replace(OUTFIT.supplier, send_straight=straight)))


def test_low_bait_rings_and_on_the_suppliers_day_brings_a_draft_in_its_place(calm: Port) -> None:
    """One letter for one thing: on Tuesday the bell, on Thursday before 10:00 the draft."""
    port = low_on_bait(calm, straight=False)
    tuesday = port.ring(NOON)
    assert BAIT_ORDER not in tuesday
    assert "bait:mullet heads" in text_of(tuesday[BELLS].letter)
    thursday = port.ring(THURSDAY_0800)
    draft = thursday[BAIT_ORDER].letter
    assert draft.recipients == ("skipper@boat.example",)
    assert draft.entries == ()
    assert "Bayside Bait" in text_of(draft)
    assert {mark.code for mark in draft.rung} == {"bait"}
    assert "bait" not in {mark.code for mark in thursday[BELLS].letter.rung}
    useless = thursday[BAIT_ORDER].useless_at.astimezone(NEW_YORK)
    assert (useless.hour, useless.minute) == (10, 0)


def test_there_is_one_order_letter_a_day_at_most(calm: Port) -> None:
    port = low_on_bait(calm, straight=False)
    port.keep(port.ring(THURSDAY_0800), THURSDAY_0800)
    assert BAIT_ORDER not in port.ring(THURSDAY_0800 + HOUR, {BELLS: 2, BAIT_ORDER: 2, ORDER_COPY: 1})


def test_a_straight_order_goes_to_the_supplier_alone_and_the_skipper_gets_a_copy(calm: Port) -> None:
    port = low_on_bait(calm, straight=True)
    rung = port.ring(THURSDAY_0800)
    order, copy = rung[BAIT_ORDER].letter, rung[ORDER_COPY].letter
    assert order.recipients == ("orders@bait.example",)
    assert message(order)["Reply-To"] == "skipper@boat.example"
    assert "orders@bait.example" in message(order)["To"]
    assert "skipper" not in message(order)["To"]
    assert copy.recipients == ("skipper@boat.example",)
    assert "supplier" not in message(copy)["To"]
    assert [(entry.told_by, entry.detail.kind.value) for entry in order.entries] == [
        ("order letter", "bait-ordered")
    ]
    port.keep(rung, THURSDAY_0800)
    books = port.desk.log.now().books
    assert books is not None
    assert [(open_.bait, open_.by_service) for open_ in books.bait.orders] == [("mullet heads", True)]
    assert books.bait.orders[0].due_on == date(2026, 12, 12)


def test_an_order_that_never_went_out_stands_in_the_log_no_more(calm: Port) -> None:
    port = low_on_bait(calm, straight=True)
    rung = port.ring(THURSDAY_0800)
    port.keep(rung, THURSDAY_0800)
    with port.store.writing() as session:
        letters.expire_recipients(session, rung[BAIT_ORDER].useless_at)
    books = port.desk.log.now().books
    assert books is not None
    assert books.bait.orders == ()


def test_a_late_order_is_never_sent_straight(calm: Port) -> None:
    port = low_on_bait(calm, straight=True)
    at = NOW - 6 * DAY
    late = new_entry(
        BaitOrdered("mullet heads", 3, TODAY - 2 * DAY), happened_at=at, told_at=at, told_by="order letter"
    )
    with port.store.writing() as session:
        log.append_entries(session, (late,))
    rung = port.ring(THURSDAY_0800)
    assert ORDER_COPY not in rung
    draft = rung[BAIT_ORDER].letter
    assert draft.recipients == ("skipper@boat.example",)
    assert draft.entries == ()
    assert "late" in text_of(draft)


@pytest.mark.parametrize(("days_after", "is_held"), [(0, True), (2, True), (9, False)])
def test_for_a_week_after_a_restore_no_order_goes_straight(
    calm: Port, tmp_path: Path, days_after: int, is_held: bool
) -> None:
    """The one of Monday may have gone out after the backup, and the restored log doesn't know of it."""
    port, file = low_on_bait(calm, straight=True), calm.store.file
    assert file is not None
    back_up(file, tmp_path / "copy.db")
    restore(tmp_path / "copy.db", file, now=THURSDAY_0800 - days_after * DAY - HOUR)
    rung = port.ring(THURSDAY_0800)
    assert (ORDER_COPY not in rung) == is_held
    assert (rung[BAIT_ORDER].letter.entries == ()) == is_held
    if is_held:
        assert rung[BAIT_ORDER].letter.recipients == ("skipper@boat.example",)
        told = (
            f"restored on {'Thu 10' if days_after == 0 else 'Tue 8'} Dec: an order that went out after the backup"
        )
        assert told in text_of(rung[BAIT_ORDER].letter)


def test_bait_that_the_skipper_snoozed_is_in_no_order(calm: Port) -> None:
    port = low_on_bait(calm, straight=True)
    port.tell(BellSnoozed("bait:mullet heads", NOW + 9 * DAY), days_ago=0.1)
    assert BAIT_ORDER not in port.ring(THURSDAY_0800)


def test_bait_settled_before_any_letter_told_of_it_is_in_no_order_after_the_next_pull(calm: Port) -> None:
    """The pull uses bait and moves when the log last told of it; the order would go straight to the supplier."""
    port = low_on_bait(calm, straight=True)
    (low,) = [bell for bell in port.desk.gear.standing(NOW).apart if bell.code is BellCode.BAIT]
    port.tell(BellSettled(low.name, low.cause, low.level), days_ago=0)
    pull = Pulled(bait="mullet heads", bait_boxes=0.05)
    port.tell(pull, days_ago=-0.1, string="Nine Foot", traps=(1,))
    (later,) = [bell for bell in port.desk.gear.standing(THURSDAY_0800).apart if bell.code is BellCode.BAIT]
    assert (later.cause, later.level) == (low.cause, low.level)
    assert later.since > NOW
    assert BAIT_ORDER not in port.ring(THURSDAY_0800)


def turns_at(port: Port, at: datetime) -> dict[str, int]:
    day = at.astimezone(NEW_YORK).date()
    with port.store.reading() as session:
        return {kind: letters.next_turn(session, BOAT, kind, day) for kind in UNASKED}


def answer(port: Port, at: datetime, by_address: dict[str, str]) -> None:
    """What the mail server says to each letter that waits: accepted but where told otherwise."""
    with port.store.writing() as session:
        for batch in letters.claim_recipients(session, at, 20, 120):
            for to in batch.recipients:
                said = by_address.get(to.address, "250")
                if said == "550":
                    letters.mark_refused(session, to.recipient_id, batch.token, "550 no such user", at)
                elif said == "450":
                    again = at + timedelta(minutes=20)
                    letters.mark_retry(session, to.recipient_id, batch.token, "450 try later", at, again)
                else:
                    letters.mark_accepted(session, to.recipient_id, said, at)
        letters.expire_recipients(session, at)


@pytest.mark.parametrize(("said", "told_after"), [("550", HOUR / 4), ("450", 2 * HOUR)])
@pytest.mark.parametrize("rang_on_tuesday", [False, True])
def test_that_a_straight_order_never_went_out_is_told_as_soon_as_it_is_sure(
    calm: Port, said: str, told_after: timedelta, rang_on_tuesday: bool
) -> None:
    """The copy said that bait was ordered. The supplier takes orders up to 10:00, two hours from now."""
    port = low_on_bait(calm, straight=True)
    if rang_on_tuesday:
        port.keep(port.ring(NOON), NOON)
        answer(port, NOON, {})
    refuses = {"orders@bait.example": said}
    rung: dict[datetime, dict[str, UnaskedLetter]] = {}
    for quarter in range(40):
        at = THURSDAY_0800 + quarter * HOUR / 4
        rung[at] = port.ring(at, turns_at(port, at))
        port.keep(rung[at], at)
        answer(port, at, refuses)
    (told_at,) = [at for at, some in rung.items() if BELLS in some and "NOT sent" in some[BELLS].letter.subject]
    assert THURSDAY_0800 + told_after <= told_at <= THURSDAY_0800 + told_after + HOUR / 4
    text = text_of(rung[told_at][BELLS].letter)
    assert "The order of Thu 10 Dec for" in text
    assert "of mullet heads was NOT sent" in text
    assert sum(BAIT_ORDER in some for some in rung.values()) == 1


def test_an_order_that_never_went_out_is_told_no_more_once_the_bait_is_ordered(calm: Port) -> None:
    port = low_on_bait(calm, straight=True)
    port.keep(port.ring(THURSDAY_0800), THURSDAY_0800)
    answer(port, THURSDAY_0800, {"orders@bait.example": "550"})
    at = THURSDAY_0800 + HOUR / 4
    (bell,) = [bell for bell in port.desk.gear.standing(at).bells if bell.code is BellCode.BAIT]
    assert bell.values["not_sent_on"] == date(2026, 12, 10)
    by_voice = BaitOrdered("Mullet heads", 0.25, date(2026, 12, 12))
    port.tell(by_voice, days_ago=-(at - NOW) / DAY)
    (bell,) = [bell for bell in port.desk.gear.standing(at + HOUR).bells if bell.code is BellCode.BAIT]
    assert "not_sent_on" not in bell.values


def test_bait_whose_order_could_not_be_written_is_told_among_the_bells(
    calm: Port, monkeypatch: pytest.MonkeyPatch
) -> None:
    port = low_on_bait(calm, straight=False)

    def fails(*_: object, **__: object) -> None:
        raise ValueError("invented fault")

    monkeypatch.setattr("soakbell.desk.order_draft", fails)
    port.clock.put(THURSDAY_0800)
    asked = port.desk.ring(THURSDAY_0800.astimezone(NEW_YORK).date(), TURNS)
    (bells,) = asked.letters
    assert bells.kind == BELLS
    assert "bait:mullet heads" in text_of(bells.letter)
    assert "bait" in {mark.code for mark in bells.letter.rung}
    assert "invented fault" in str(asked.failed)


def test_an_order_that_fails_stops_no_bell(calm: Port, monkeypatch: pytest.MonkeyPatch) -> None:
    port = low_on_bait(calm, straight=False)
    port.tell(FoundDamaged("latch"), string="Nine Foot", traps=(4,))

    def fails(*_: object, **__: object) -> None:
        raise ValueError("invented fault")

    monkeypatch.setattr("soakbell.desk.order_draft", fails)
    rung = port.ring(THURSDAY_0800)
    assert set(rung) == {BELLS}
    assert "unset" in {mark.code for mark in rung[BELLS].letter.rung}


def test_a_desk_without_gear_has_no_standing_bells_but_soaks_and_the_season(calm: Port) -> None:
    gear = GearDesk(settings_from(), None, calm.store, calm.desk.log)
    assert {bell.code for bell in gear.standing(NOON + 9 * DAY).bells} == {BellCode.SOAK}


# ---- a day of the whole service


def test_from_noon_to_night_a_service_sends_one_letter_of_bells_and_one_eve_letter(long_soaked: Port) -> None:
    """Swept every quarter hour from 12:00 to 22:00, restarted at each hour."""
    sent: list[str] = []

    async def send(batch: Sequence[Outgoing]) -> AsyncGenerator[tuple[Outcome, ...], None]:
        for one in batch:
            sent.append(str(message_from_bytes(one.message, policy=policy.default)["Subject"]))
            yield tuple(
                Outcome(one.letter, to, Result.ACCEPTED, "250 ok", long_soaked.clock.now()) for to in one.addresses
            )

    async def run() -> None:
        for quarter in range(40):
            if quarter % 4 == 0:
                desk = long_soaked.desk
                parts = Parts(
                    desk.write,
                    desk.write_failed,
                    desk.recheck,
                    send,
                    lambda: None,
                    desk.housekeep,
                    ring=desk.ring,
                )
                sweep = Sweep(long_soaked.store, long_soaked.clock, duty_of(long_soaked.sea.settings), parts)
            long_soaked.clock.put(NOON + quarter * HOUR / 4)
            await sweep.sweep()
            await sweep.settle()

    asyncio.run(run())
    assert ["bells" in subject.split(":")[0] for subject in sent] == [True, False]
    assert sent[1].startswith("Eve: ")
    with long_soaked.store.reading() as session:
        assert letters.notes_under(session, f"fault:{BOAT}:") == {}
