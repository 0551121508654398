"""The skipper of the demo: does as the letters say, and tells the log so. INVENTED DATA."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from datetime import date, datetime, timedelta

from demo.season import invented, told_after_the_trip
from soakbell.clock import Clock
from soakbell.desk import Desk
from soakbell.gear.conditions import ready_places
from soakbell.gear.fold import GearState, Whereabouts
from soakbell.gear.log import (
    BaitBought,
    BaitMoved,
    BaitOrdered,
    BroughtAshore,
    Detail,
    EngineHours,
    FoundDamaged,
    LogEntry,
    Pulled,
    PutOnBench,
    Repaired,
    TrapsSet,
    UpkeepDone,
)
from soakbell.gear.outfit import Outfit
from soakbell.planning.call import Call, StringPull

_FOUND: Mapping[date, tuple[tuple[str, tuple[int, ...], str], ...]] = {
    date(2026, 12, 8): (
        ("Outer Bar", (5, 12, 28), "slat"),
        ("Outer Bar", (20,), "throat"),
        ("Outer Bar", (24, 25), "weight"),
        ("Outer Bar", (31, 32), "lid"),
        ("The Hump", (7,), "latch"),
        ("The Hump", (8,), "buoy"),
        ("The Hump", (15, 16), "lid"),
        ("Ledge", (11, 12), "weight"),
        ("Ledge", (36,), "throat"),
        ("Grassy Edge", (3,), "lid"),
        ("Nine Foot", (14,), "weight"),
    ),
    date(2026, 12, 12): (("Ledge", (2, 33), "latch"), ("Grassy Edge", (18,), "escape ring")),
    date(2026, 12, 16): (("Outer Bar", (30,), "slat"), ("Nine Foot", (1,), "buoy")),
}
"""What is found wrong with traps, where that day's trip hauls their string."""

_MENDED_ABOARD: Mapping[str, tuple[tuple[str, float], ...]] = {
    "line": (("line, fathom", 5.0),),
    "fouling": (),
}
"""What is mended at the pull, with its parts."""

_RESET_UNMENDED = ("The Hump", 7, date(2026, 12, 8))
"""The one slip: a trap with a broken latch goes back into the water."""

_ORDER = re.compile(r'soakbell log bait-ordered "([^"]+)" ([0-9.]+) --due ([0-9-]+)')
"""The command in the draft of an order, for telling that it was placed."""

_ENGINE_H = 684.0
_ENGINE_H_A_TRIP = 5.5

_LOADED_BEFORE = timedelta(minutes=40)


class Skipper:
    """Does what his letters say. Every method gives entries for the log, told at the clock's time."""

    def __init__(self, desk: Desk, outfit: Outfit, clock: Clock) -> None:
        self._desk = desk
        self._outfit = outfit
        self._clock = clock
        self._trips = 0
        self._ordered: list[BaitOrdered] = []

    def home(self, call: Call) -> list[LogEntry]:
        """After the trip of a call: bait loaded, strings hauled, what was found wrong, traps landed and set."""
        assert call.window is not None
        now, gear = self._clock.now(), self._desk.log.now().gear
        self._trips += 1
        entries = list(self._loaded(call))
        for pull in call.window.pulls:
            entries += self._hauled(pull, call, gear, now)
        engine_h = _ENGINE_H + self._trips * _ENGINE_H_A_TRIP
        entries.append(invented(EngineHours(engine_h), None, call.window.lands_at, told_at=now))
        return entries

    def evening(self, day: date) -> list[LogEntry]:
        """What the eve letter of ``day`` asks to take out of the freezer, taken out."""
        now = self._clock.now()
        likely = self._desk.likely(day + timedelta(days=1), clock_suspect=False).call
        eve = self._desk.gear.eve(likely, now, clock_suspect=False)
        return [invented(BaitMoved(thaw.bait, thaw.boxes, "thaw"), None, now) for thaw in eve.thaw if thaw.boxes]

    def ashore(self, call: Call) -> list[LogEntry]:
        """The bench work that the letter of a day without a trip lists, and what upkeep it names first."""
        now = self._clock.now()
        told = self._desk.gear.ashore(call, now, clock_suspect=False)
        entries: list[LogEntry] = []
        if told is None or told.bench is None:
            return entries
        for job in told.bench.jobs:
            entries.append(invented(Repaired(parts=job.parts), job.string, now, traps=job.places))
        entries += [
            invented(UpkeepDone(line.task), None, now)
            for line in told.upkeep
            if line.state == "overdue" and not line.expires
        ]
        return entries

    def afternoon(self, _day: date) -> list[LogEntry]:
        """What no letter asks for."""
        return []

    def supply(self, day: date, letters: Iterable[str]) -> list[LogEntry]:
        """Bait that comes on ``day``, and orders placed as the drafts among the day's ``letters`` say."""
        now = self._clock.now()
        entries = [
            invented(BaitBought(order.bait, order.boxes, cost_usd=18.0 * order.boxes), None, now)
            for order in self._ordered
            if order.due_on == day
        ]
        placed = [
            BaitOrdered(bait, float(boxes), date.fromisoformat(due))
            for letter in letters
            for bait, boxes, due in _ORDER.findall(letter)
        ]
        self._ordered += placed
        return entries + [invented(order, None, now) for order in placed]

    def _loaded(self, call: Call) -> Iterator[LogEntry]:
        assert call.window is not None
        leaves_at = call.window.leaves_at
        told = self._desk.gear.ashore(call, leaves_at - _LOADED_BEFORE, clock_suspect=False)
        if told is not None and told.load is not None:
            for bait in told.load.bait:
                if bait.take_boxes:
                    move = BaitMoved(bait.bait, bait.take_boxes, "aboard")
                    yield invented(move, None, leaves_at - _LOADED_BEFORE, told_at=self._clock.now())

    def _hauled(self, pull: StringPull, call: Call, gear: GearState, now: datetime) -> Iterator[LogEntry]:
        """One string: all of it is hauled; what may not go back is kept aboard and goes to the bench."""
        assert call.window is not None
        state, at, day = gear.strings[pull.string], pull.arrives_at, call.day
        home = call.window.lands_at - at
        found = [(places, item) for string, places, item in _FOUND.get(day, ()) if string == pull.string]
        bad = {place for places, _ in found for place in places}
        slip = {_RESET_UNMENDED[1]} if (pull.string, day) == (_RESET_UNMENDED[0], _RESET_UNMENDED[2]) else set()
        kept = tuple(sorted(bad - slip))
        (haul,) = told_after_the_trip([pull], now)
        assert isinstance(haul.detail, Pulled)

        def told(detail: Detail, after: timedelta, traps: tuple[int, ...] = ()) -> LogEntry:
            return invented(detail, pull.string, at + after, traps=traps, told_at=now)

        fishing = tuple(place for place in state.places(Whereabouts.FISHING) if place not in kept)
        yield replace(haul, traps=fishing) if kept else haul
        for places, item in found:
            yield told(FoundDamaged(item), timedelta(minutes=1), places)
        if kept:
            yield told(Pulled(reset=False, rebaited=False), timedelta(minutes=40), kept)
            yield told(BroughtAshore(), home, kept)
            yield told(PutOnBench(), home + timedelta(minutes=10), kept)
        for trap in state.traps:
            for wrong in trap.items:
                if trap.place not in bad and wrong.item in _MENDED_ABOARD:
                    yield told(
                        Repaired(wrong.item, _MENDED_ABOARD[wrong.item]), timedelta(minutes=2), (trap.place,)
                    )
        if ready := ready_places(state, self._outfit):
            yield told(TrapsSet(), timedelta(minutes=45), ready)
