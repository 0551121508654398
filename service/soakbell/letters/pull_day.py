"""The pull day as a calendar file (RFC 5545): one event, the same UID all day long."""

from __future__ import annotations

from datetime import UTC
from uuid import NAMESPACE_URL, uuid5

from icalendar import Calendar, Event

from soakbell.letters.facts import LetterFacts
from soakbell.letters.words import called, keep_none, listed, off_water_at
from soakbell.planning.call import Call, CallWord


def pull_day_ics(call: Call, facts: LetterFacts, previous: Call | None) -> bytes | None:
    """The window as an event; the event taken back where an earlier PULL no longer stands; else None.

    The UID holds for boat and day; SEQUENCE is the letter's turn, so a later letter replaces the earlier event.

    Raises:
        ValueError: a letter that changes an earlier one has no higher turn.
    """
    if previous is not None and facts.turn < 1:
        raise ValueError("a changed letter needs a turn above 0, else its event would not replace the earlier one")
    if call.word is CallWord.PULL and call.window is not None:
        return _calendar(call, call, facts, "CONFIRMED", called(call))
    if previous is not None and previous.window is not None:
        return _calendar(call, previous, facts, "CANCELLED", f"Called off, now {called(call)}")
    return None


def _calendar(call: Call, planned: Call, facts: LetterFacts, status: str, head: str) -> bytes:
    window = planned.window
    if window is None:
        raise ValueError("an event needs a window")
    event = Event()
    event.add("uid", str(uuid5(NAMESPACE_URL, f"soakbell:pull:{call.boat}:{call.day.isoformat()}")))
    event.add("sequence", facts.turn)
    event.add("dtstamp", call.made_at.astimezone(UTC))
    event.add("dtstart", window.leaves_at.astimezone(UTC))
    event.add("dtend", off_water_at(window).astimezone(UTC))
    event.add("status", status)
    event.add("summary", f"{head}: {listed(p.string for p in window.pulls)} | {facts.boat}")
    event.add("location", facts.harbor)
    about = "The letter of the day has the reasons and the official warnings; they come first."
    if planned.take_up:
        about = f"Take up only, {keep_none(facts.fishery.kept)}. {about}"
    event.add("description", f"Invented data. {about}" if facts.invented else about)
    calendar = Calendar()
    calendar.add("prodid", "-//Soakbell//pull day//EN")
    calendar.add("version", "2.0")
    calendar.add_component(event)
    return bytes(calendar.to_ical())
