"""Season's end in the letters of one boat, from the log to the mail. INVENTED DATA."""

from __future__ import annotations

import asyncio
import io
import re
from collections.abc import AsyncGenerator, Iterator, Sequence
from dataclasses import replace
from datetime import date, datetime
from email import message_from_bytes, policy
from email.message import EmailMessage
from pathlib import Path

import gpxpy
import pandas as pd
import pytest
import vobject
from sqlalchemy import select, update

from law.world import NEW_YORK, SETTINGS_TOML, settings_from
from season_scenes import (
    BOAT,
    DAY,
    DEADLINE,
    HOUR,
    MORNING,
    TODAY,
    TURNS,
    Port,
    evening,
    port_of,
    sea_at,
    told,
)
from soakbell import season_desk
from soakbell.desk import RECOVERY
from soakbell.errors import SoakbellError
from soakbell.fishery.rules import DateSpan, Order, Rule
from soakbell.gear.log import BroughtAshore, FoundMissing, Retired, TrapsSet
from soakbell.letters.season_section import TITLE
from soakbell.mail.sender import Outcome, Outgoing, Result
from soakbell.planning.season_told import LETTER_DAYS
from soakbell.schedule import Parts, Sweep
from soakbell.store.letters import UnaskedLetter, WrittenLetter, notes_under
from soakbell.store.schema import NoteRow, OutboxRow, RecipientRow
from soakbell.wiring import duty_of


@pytest.fixture
def calm(tmp_path: Path) -> Iterator[Port]:
    port = port_of(tmp_path)
    yield port
    port.store.close()


def message(letter: WrittenLetter) -> EmailMessage:
    found = message_from_bytes(letter.message, policy=policy.default)
    assert isinstance(found, EmailMessage)
    return found


def text_of(letter: WrittenLetter) -> str:
    body = message(letter).get_body(("plain",))
    assert body is not None
    return " ".join(str(body.get_content()).split())


def file_of(letter: WrittenLetter, name: str) -> bytes:
    (part,) = [part for part in message(letter).iter_attachments() if part.get_filename() == name]
    content = part.get_payload(decode=True)
    assert isinstance(content, bytes)
    return content


def notes(port: Port) -> list[str]:
    with port.store.reading() as session:
        return [name for name in session.scalars(select(NoteRow.name)) if name.startswith("season:")]


def days_of_letters(port: Port, first: date, last: date) -> list[date]:
    """Every evening from ``first`` to ``last`` a letter was asked for, each kept as the sweep does."""
    found, day = [], first
    while day <= last:
        rung = port.ring(evening(day))
        if RECOVERY in rung:
            found.append(day)
            port.keep_letter(rung[RECOVERY], evening(day))
        day += DAY
    return found


# ---- the morning and the eve letter


def test_the_morning_letter_tells_the_end_and_keeps_its_odds(calm: Port) -> None:
    letter = calm.morning()
    text = text_of(letter)
    assert TITLE in text
    assert "60 traps are not home: 60 fishing. All must be out by Thursday 6 May 2027, 14 days left." in text
    assert "Trip 1, 30 traps, about" in text
    assert "Outer Bar: last day for fresh bait Sat 24 Apr; from Sun 25 Apr on it is of no use." in text
    assert notes(calm) == [f"season:{BOAT}"]


def test_a_letter_that_is_only_looked_at_keeps_nothing(calm: Port) -> None:
    assert TITLE in calm.desk.letter_text(TODAY, clock_suspect=False)
    assert notes(calm) == []


def test_by_a_suspect_clock_no_end_is_told(calm: Port) -> None:
    for kind in ("morning", "eve"):
        letter = calm.desk.write(kind, TODAY, 0, late=False, clock_suspect=True)
        assert TITLE not in text_of(letter)


def test_the_eve_letter_tells_the_odds_of_the_last_morning(calm: Port) -> None:
    calm.morning()
    calm.clock.put(evening(TODAY))
    text = text_of(calm.desk.write("eve", TODAY, 0, late=False, clock_suspect=False))
    assert (
        "Season's end: 60 traps not home, all out by Thu 6 May, 14 days left; for a chance of 95% start by" in text
    )


def test_with_all_home_the_letters_are_silent_of_it(calm: Port) -> None:
    calm.all_ashore()
    assert TITLE not in text_of(calm.morning())
    calm.clock.put(evening(TODAY))
    assert TITLE not in text_of(calm.desk.write("eve", TODAY, 0, late=False, clock_suspect=False))


def test_letters_that_fail_lean_on_nothing_of_the_season(calm: Port, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(season_desk.SeasonDesk, "_told", None)
    for kind in ("morning", "eve"):
        assert TITLE not in text_of(calm.desk.write_failed(kind, TODAY, 0, "the service itself failed"))


def test_the_evening_names_the_trip_of_the_likely_call_to_take_up_first_and_calls_it_likely(
    tmp_path: Path,
) -> None:
    """Outer Bar has soaked longest by the log, so the call of 3 May would take a deck of it; by itself the list
    begins with Nine Foot."""
    now = evening(DEADLINE - 4 * DAY)
    settings = settings_from(SETTINGS_TOML)
    settings = replace(settings, boat=settings.boat.model_copy(update={"deck_traps": 30}))
    entries = (told(TrapsSet(), "Outer Bar", now - 12 * DAY), told(TrapsSet(), "Nine Foot", now - 9 * DAY))
    port = port_of(tmp_path, replace(sea_at(now, settings), entries=entries))
    port.clock.put(now)
    likely = port.desk.likely(now.astimezone(NEW_YORK).date() + DAY, clock_suspect=False).call
    assert likely.window is not None
    called = [(pull.string, pull.places) for pull in likely.window.pulls]
    assert (likely.take_up, first_trip(port, now) == called) == (True, False)
    port.desk.write("eve", now.astimezone(NEW_YORK).date(), 0, late=False, clock_suspect=False)
    assert first_trip(port, now) == called
    odds = port.season.between(now).odds
    assert odds is not None
    assert odds.starts[0].chance == odds.starts[1].chance > 0, "nobody starts in the evening"
    text = text_of(port.ring(now + HOUR)[RECOVERY].letter)
    assert "Trip 1: Outer Bar" in text
    assert "Trip 1 is that of the likely call for Mon 3 May, which is no call" in text
    assert "The first 5 days are by the official forecasts" in text
    port.store.close()


def first_trip(port: Port, now: datetime) -> list[tuple[str, tuple[int, ...]]]:
    recovery = port.season.between(now).recovery
    assert recovery is not None
    return [(string.name, string.places) for string in recovery.trips[0].strings]


# ---- the recovery list as a letter


def test_the_list_comes_on_its_days_and_past_the_last_one_daily(calm: Port) -> None:
    no_odds = replace(calm, terms=None)
    found = days_of_letters(no_odds, DEADLINE - 46 * DAY, DEADLINE + 5 * DAY)
    assert found == [*(DEADLINE - days * DAY for days in LETTER_DAYS), *(DEADLINE + n * DAY for n in range(1, 6))]


def test_it_comes_on_the_eve_of_each_day_to_start_by(calm: Port) -> None:
    """By the usual weather alone, which gives these days whatever the day on which it is asked."""
    starts = {day for _, day in calm.season.between(evening(TODAY)).recovery.starts if day is not None}  # type: ignore[union-attr]
    assert starts
    found = days_of_letters(calm, TODAY, DEADLINE)
    assert set(found) >= {day - DAY for day in starts}
    assert set(found) >= {DEADLINE - days * DAY for days in LETTER_DAYS if days <= 14}


def test_it_comes_once_a_day_and_only_in_the_evening(calm: Port) -> None:
    """14 days before."""
    assert RECOVERY not in calm.ring(evening(TODAY) - HOUR)
    first = calm.ring(evening(TODAY))[RECOVERY]
    calm.keep_letter(first, evening(TODAY))
    assert RECOVERY not in calm.ring(evening(TODAY) + HOUR)
    fresh = replace(calm, clock=calm.clock)
    assert RECOVERY not in fresh.ring(evening(TODAY) + 2 * HOUR), "another process, another desk"


def test_a_service_that_is_restarted_each_hour_sends_the_list_once_an_evening(calm: Port) -> None:
    """Swept every half hour of two evenings past the last day."""
    sent: list[str] = []

    async def send(batch: Sequence[Outgoing]) -> AsyncGenerator[tuple[Outcome, ...], None]:
        for one in batch:
            sent.append(str(message_from_bytes(one.message, policy=policy.default)["Subject"]))
            now = calm.clock.now()
            yield tuple(Outcome(one.letter, to, Result.ACCEPTED, "250 ok", now) for to in one.addresses)

    async def run() -> None:
        for half_hour in (*range(10), *range(48, 58)):
            if half_hour % 2 == 0:
                desk = calm.desk
                parts = Parts(
                    desk.write,
                    desk.write_failed,
                    desk.recheck,
                    send,
                    lambda: None,
                    desk.housekeep,
                    ring=desk.ring,
                )
                sweep = Sweep(calm.store, calm.clock, duty_of(calm.sea.settings), parts)
            calm.clock.put(evening(DEADLINE + DAY) + half_hour * HOUR / 2)
            await sweep.sweep()
            await sweep.settle()

    asyncio.run(run())
    lists = [subject for subject in sent if subject.startswith("Recovery list")]
    assert ["1 day past" in lists[0], "2 days past" in lists[1], len(lists)] == [True, True, 2]
    with calm.store.reading() as session:
        assert notes_under(session, f"fault:{BOAT}:") == {}


def test_late_at_night_it_comes_no_more(calm: Port) -> None:
    assert RECOVERY not in calm.ring(evening(TODAY, 23))
    assert RECOVERY in calm.ring(evening(TODAY, 22))


def test_with_nothing_on_the_list_it_never_comes(calm: Port) -> None:
    calm.all_ashore()
    assert days_of_letters(calm, DEADLINE - 3 * DAY, DEADLINE + 2 * DAY) == []


def test_it_ends_when_each_trap_is_recovered_or_written_off(calm: Port) -> None:
    rest = tuple(n for n in range(1, 37) if n not in (7, 8))
    calm.tell(told(BroughtAshore(), "Nine Foot", MORNING), told(BroughtAshore(), "Outer Bar", MORNING, *rest))
    calm.tell(told(FoundMissing(), "Outer Bar", MORNING, 7, 8))
    after = DEADLINE + DAY
    letter = calm.ring(evening(after))[RECOVERY].letter
    assert "2 traps not home, 1 day past the last day" in letter.subject
    assert "Lost gear: tell the authority, as local rules ask." in text_of(letter)
    calm.tell(told(Retired("lost in the gale"), "Outer Bar", evening(after), 7))
    assert RECOVERY in calm.ring(evening(after + DAY))
    calm.tell(told(Retired("lost in the gale"), "Outer Bar", evening(after + DAY), 8))
    assert RECOVERY not in calm.ring(evening(after + 2 * DAY))


def test_it_is_no_call_and_brings_its_files(calm: Port) -> None:
    calm.morning()
    one = calm.ring(evening(TODAY))[RECOVERY]
    assert one.letter.call is None
    assert one.useless_at == evening(TODAY + DAY).replace(minute=0)
    text = text_of(one.letter)
    assert text.startswith("Recovery list, no call.")
    assert "as of the morning" not in text, "its odds are of this day"
    assert "The first 5 days are by the official forecasts" in text
    assert len(pd.read_csv(io.BytesIO(file_of(one.letter, "recovery.csv")))) == 60
    assert len(gpxpy.parse(file_of(one.letter, "recovery.gpx").decode()).waypoints) == 61
    events = days_in(one)
    assert events["Last day for traps in the water"] == DEADLINE
    assert {"Start the take-up by today for 95%", "Take-up trip 2: Outer Bar"} <= set(events)
    assert all(TODAY < day <= DEADLINE for day in events.values())


def days_in(one: UnaskedLetter) -> dict[str, date]:
    calendar = vobject.readOne(file_of(one.letter, "take-up.ics").decode())
    return {event.summary.value.rpartition(" | ")[0]: event.dtstart.value for event in calendar.vevent_list}


def test_an_extension_moves_the_deadline_of_the_same_event(calm: Port) -> None:
    rule = Rule(
        name="an order", value=DateSpan(DEADLINE + DAY, DEADLINE + 7 * DAY), source="x", checked=TODAY, sure="read"
    )
    settings = calm.sea.settings
    extended = replace(settings.fishery, orders=(Order("extends take-up", rule),))
    longer = replace(calm, sea=replace(calm.sea, settings=replace(settings, fishery=extended)))

    def deadline_event(port: Port, day: date) -> tuple[str, date, int]:
        text = file_of(port.ring(evening(day))[RECOVERY].letter, "take-up.ics").decode()
        for event in vobject.readOne(text).vevent_list:
            if event.summary.value.startswith("Last day"):
                return event.uid.value, event.dtstart.value, int(event.sequence.value)
        raise AssertionError(text)

    before, after = deadline_event(calm, DEADLINE), deadline_event(longer, DEADLINE)
    assert before[0] == after[0]
    assert (before[1], after[1]) == (DEADLINE, DEADLINE + 7 * DAY)
    later = deadline_event(longer, DEADLINE + 4 * DAY)
    assert later[0] == before[0]
    assert later[2] > before[2]


def test_a_trip_that_the_next_list_has_no_more_is_cancelled_in_the_calendar(calm: Port) -> None:
    """Two trips, then all but three traps come home: one trip is left."""
    first = calm.ring(evening(TODAY))[RECOVERY]
    calm.keep_letter(first, evening(TODAY))
    trip_2 = days_in(first)["Take-up trip 2: Outer Bar"]
    calm.tell(told(BroughtAshore(), "Nine Foot", MORNING + DAY))
    calm.tell(told(BroughtAshore(), "Outer Bar", MORNING + DAY, *range(1, 34)))
    (second, *_) = [
        rung[RECOVERY] for n in range(1, 9) if RECOVERY in (rung := calm.ring(evening(TODAY + n * DAY)))
    ]
    assert second.useless_at.date() <= trip_2
    events = vobject.readOne(file_of(second.letter, "take-up.ics").decode()).vevent_list
    states = {event.summary.value.rpartition(" | ")[0]: event.status.value for event in events}
    assert states["Take-up trip 1: Outer Bar"] == "CONFIRMED"
    assert states["No longer holds: Take-up trip 2: Outer Bar"] == "CANCELLED"


def test_with_every_trap_home_one_last_list_takes_back_the_days_of_the_calendar(calm: Port) -> None:
    first = calm.ring(evening(TODAY))[RECOVERY]
    calm.keep_letter(first, evening(TODAY))
    calm.all_ashore(MORNING + DAY)
    last = calm.ring(evening(TODAY + DAY))[RECOVERY]
    assert "every trap home or written off" in last.letter.subject
    assert "Every trap is home or written off." in text_of(last.letter)
    events = vobject.readOne(file_of(last.letter, "take-up.ics").decode()).vevent_list
    ahead = {title for title, day in days_in(first).items() if day > TODAY and not title.startswith("Last day")}
    cancelled = {event.summary.value.rpartition(" | ")[0] for event in events if event.status.value == "CANCELLED"}
    assert cancelled == {f"No longer holds: {title}" for title in ahead} != set()
    calm.keep_letter(last, evening(TODAY + DAY), "expired")
    again = calm.ring(evening(TODAY + 2 * DAY))[RECOVERY]
    calm.keep_letter(again, evening(TODAY + 2 * DAY))
    assert days_of_letters(calm, TODAY + 3 * DAY, DEADLINE + DAY) == []


def test_a_list_that_told_no_day_but_the_last_asks_for_no_further_one_with_every_trap_home(calm: Port) -> None:
    no_odds = replace(calm, terms=None)
    no_odds.keep_letter(no_odds.ring(evening(TODAY))[RECOVERY], evening(TODAY))
    calm.all_ashore(MORNING + DAY)
    assert days_of_letters(no_odds, TODAY + DAY, TODAY + 2 * DAY) == []


@pytest.mark.parametrize("state", ["expired", "refused"])
def test_a_list_that_went_out_to_nobody_told_no_day(calm: Port, state: str) -> None:
    calm.keep_letter(calm.ring(evening(TODAY))[RECOVERY], evening(TODAY))
    assert calm.season.days_told()
    with calm.store.writing() as session:
        session.execute(update(RecipientRow).values(state=state))
    assert calm.season.days_told() == ()
    with calm.store.writing() as session:
        session.execute(update(RecipientRow).values(unsure=1))
    assert calm.season.days_told(), "it may have gone out"


def test_a_calendar_that_can_not_be_read_any_more_costs_no_list(
    calm: Port, caplog: pytest.LogCaptureFixture
) -> None:
    calm.keep_letter(calm.ring(evening(TODAY))[RECOVERY], evening(TODAY))
    with calm.store.writing() as session:
        kept = session.scalar(select(OutboxRow.message)) or b""
        torn = re.sub(rb"(?s)(take-up.ics.*?\n\r?\n).*?--", rb"\1bm8gY2FsZW5kYXI=\r\n--", kept)
        assert torn != kept
        session.execute(update(OutboxRow).values(message=torn))
    assert calm.season.days_told() == ()
    assert "the calendar of the last recovery list can't be read" in caplog.text
    assert days_in(calm.ring(evening(DEADLINE - 7 * DAY))[RECOVERY])


def test_odds_that_fail_cost_the_letter_only_its_odds(calm: Port, monkeypatch: pytest.MonkeyPatch) -> None:
    def fails(*_: object, **__: object) -> None:
        raise RuntimeError("a worm in the odds")

    monkeypatch.setattr(season_desk, "take_up_odds", fails)
    text = text_of(calm.ring(evening(TODAY))[RECOVERY].letter)
    assert "60 traps are not home" in text
    assert "Not all of season's end could be told: trips and odds: RuntimeError: a worm in the odds" in text
    assert "a worm in the odds" in text_of(calm.morning())


def test_a_list_that_can_not_be_made_stops_no_other_letter(calm: Port, monkeypatch: pytest.MonkeyPatch) -> None:
    """All traps have soaked for weeks: their bells come all the same."""

    def fails(*_: object, **__: object) -> None:
        raise RuntimeError("a worm in the list")

    monkeypatch.setattr(season_desk, "recovery_list", fails)
    at = evening(DEADLINE)
    calm.clock.put(at)
    asked = calm.desk.ring(at.astimezone(NEW_YORK).date(), TURNS)
    assert [one.kind for one in asked.letters] == ["bells"]
    assert isinstance(asked.failed, SoakbellError)
    assert "a worm in the list" in str(asked.failed)


def test_without_a_plan_file_the_list_comes_by_string_and_says_what_is_lacking(calm: Port) -> None:
    text = text_of(replace(calm, terms=None).ring(evening(TODAY))[RECOVERY].letter)
    assert "Fishing, by string" in text
    lacking = "no plan is settled; name a plan file in [plan] of the settings"
    assert f"No trips and no odds are told: {lacking}" in text
    broken = replace(calm, terms="plan.toml: a fault").ring(evening(TODAY))[RECOVERY].letter
    assert "the plan file can't be used: plan.toml: a fault." in text_of(broken)
