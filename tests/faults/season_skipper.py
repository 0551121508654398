"""An invented skipper who goes out as he is called and keeps a count of his own of where each trap is.

Told late, told twice, told wrong and taken back: all that a log has to bear. INVENTED DATA.
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta

from demo.season import BAIT, invented, season_log

from soakbell.gear.log import (
    BaitBought,
    Barred,
    BroughtAshore,
    Correction,
    Detail,
    EngineHours,
    FoundDamaged,
    FoundMissing,
    LogEntry,
    Pinned,
    Pulled,
    Recovered,
    Repaired,
    Retired,
    TrapsSet,
)
from soakbell.gear.strings import TrapString
from soakbell.gear.trap_states import Whereabouts
from soakbell.planning.call import Call, StringPull

LOST, FOUND, BROKEN = 0.004, 0.1, 0.012  # shares of traps, a trip
GIVEN_UP_AFTER = timedelta(days=30)
W = Whereabouts


class SeasonSkipper:
    """``tell`` puts entries into the log at once; ``where`` is his own count, read from nothing."""

    def __init__(
        self,
        seed: int,
        strings: Sequence[TrapString],
        zone_name: str,
        now: Callable[[], datetime],
        tell: Callable[[Sequence[LogEntry]], None],
    ) -> None:
        self._dice = random.Random(f"{seed} skipper")
        self._strings = strings
        self._zone_name = zone_name
        self._now = now
        self._tell = tell
        self._kept_back: list[LogEntry] = []
        self._missing_since: dict[tuple[str, int], datetime] = {}
        self._broken: set[tuple[str, int]] = set()
        self._engine_h = 600.0
        self.where = {(s.name, place): W.NEVER_SET for s in strings for place in range(1, s.traps + 1)}
        self.trips = 0

    @property
    def counted(self) -> Counter[tuple[str, Whereabouts]]:
        """Traps by string and whereabouts, as the log knows them: not before all is told."""
        return Counter((string, where) for (string, _), where in self.where.items())

    @property
    def all_told(self) -> bool:
        return not self._kept_back

    def set_out(self) -> None:
        """All traps set before the season opens."""
        self._tell([e for e in season_log(self._strings, self._zone_name) if e.happened_at <= self._now()])
        self.where = dict.fromkeys(self.where, W.FISHING)

    def trip(self, call: Call, until: datetime) -> None:
        """The called trip as far as it got by ``until``, told at home or, now and then, a day later."""
        assert call.window is not None
        entries: list[LogEntry] = []
        for pull in call.window.pulls:
            if pull.leaves_at <= until:
                entries += self._hauled(call, pull, min(call.window.lands_at, self._now()))
        self.trips += bool(entries)
        self._engine_h += 5.0
        entries.append(invented(EngineHours(self._engine_h), None, self._now()))
        if self._dice.random() < 0.15:
            self._kept_back += entries
            return
        self._tell(entries)
        if self._dice.random() < 0.2:
            self._tell(entries)  # the phone lost the answer and tells again

    def evening(self, day: date) -> None:
        """What was kept back; traps mended and given up; wishes for tomorrow; bait on Mondays."""
        now = self._now()
        entries = [replace(entry, told_at=now) for entry in self._kept_back]
        self._kept_back = []
        entries += self._mended(now)
        entries += self._given_up(now)
        if day.weekday() == 0:
            entries.append(invented(BaitBought(BAIT, 4.0, cost_usd=72.0), None, now))
        if self._dice.random() < 0.06:
            string = self._dice.choice(self._strings).name
            wish = self._dice.choice((Pinned, Barred))(day + timedelta(days=1), string)
            entries.append(invented(wish, None, now))
        if entries:
            self._tell(entries)

    def slip(self) -> LogEntry | None:
        """A trap told missing by mistake, now and then; to be taken back by ``take_back``."""
        fishing = [key for key, where in self.where.items() if where is W.FISHING]
        if not fishing or not self.all_told or self._dice.random() > 0.12:
            return None
        string, place = self._dice.choice(fishing)
        wrong = invented(FoundMissing(), string, self._now(), traps=(place,))
        self._tell([wrong])
        return wrong

    def take_back(self, wrong: LogEntry) -> None:
        self._tell([invented(Correction(wrong.id, "told by mistake"), None, self._now())])

    def _hauled(self, call: Call, pull: StringPull, landed_at: datetime) -> Iterator[LogEntry]:
        name, at = pull.string, pull.arrives_at
        fishing = [p for p in self._places(name, W.FISHING) if not pull.places or p in pull.places]
        lost = tuple(p for p in fishing if self._dice.random() < LOST)
        left = [p for p in fishing if p not in lost]
        home = tuple(left if call.take_up else (p for p in left if self._dice.random() < BROKEN))
        back = tuple(p for p in left if p not in home)

        def told(detail: Detail, after_min: float, traps: tuple[int, ...]) -> LogEntry:
            return invented(detail, name, at + timedelta(minutes=after_min), traps=traps, told_at=self._now())

        if back:
            claws = round(0.8 * len(back))
            yield told(
                Pulled(legal_claws=claws, lb=0.22 * claws, bait=BAIT, bait_boxes=0.025 * len(back)), 1, back
            )
        if lost:
            yield told(FoundMissing(), 2, lost)
            self._put(name, lost, W.MISSING)
            self._missing_since |= {(name, p): at for p in lost}
        if home:
            yield told(Pulled(reset=False, rebaited=False), 3, home)
            if not call.take_up:
                yield told(FoundDamaged("slat"), 4, home)
                self._broken |= {(name, p) for p in home}
            yield invented(BroughtAshore(), name, landed_at, traps=home, told_at=self._now())
            self._put(name, home, W.ASHORE)
        again = tuple(p for p in self._places(name, W.ASHORE) if p not in home)
        if again and not call.take_up:
            yield told(TrapsSet(), 5, again)
            self._put(name, again, W.FISHING)
        found = tuple(p for p in self._places(name, W.MISSING) if p not in lost and self._dice.random() < FOUND)
        if found:
            yield told(Recovered(), 6, found)
            yield invented(BroughtAshore(), name, landed_at, traps=found, told_at=self._now())
            self._put(name, found, W.ASHORE)

    def _mended(self, now: datetime) -> Iterator[LogEntry]:
        for string, place in sorted(self._broken):
            yield invented(Repaired(), string, now, traps=(place,))
        self._broken.clear()

    def _given_up(self, now: datetime) -> Iterator[LogEntry]:
        for string in self._strings:
            missing = self._places(string.name, W.MISSING)
            old = tuple(p for p in missing if now - self._missing_since[string.name, p] > GIVEN_UP_AFTER)
            if old:
                yield invented(Retired("not found"), string.name, now, traps=old)
                self._put(string.name, old, W.RETIRED)

    def _places(self, string: str, where: Whereabouts) -> tuple[int, ...]:
        return tuple(place for (name, place), at in self.where.items() if name == string and at is where)

    def _put(self, string: str, places: Sequence[int], where: Whereabouts) -> None:
        self.where |= {(string, place): where for place in places}
