"""The fold holds for whatever is told, in whatever order, however often, and whatever is taken back."""

from __future__ import annotations

import random
from dataclasses import replace
from datetime import timedelta

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from logbook import FIRST, STRINGS, details, details_of_traps, one_on
from soakbell.gear.fold import GearState, TrapBook, Whereabouts, fold, follows, opened
from soakbell.gear.log import OF_TRAPS, Correction, Detail, LogEntry, Replaced, TrapsSet

minutes = st.integers(0, 600)
strings = st.sampled_from(["Nine Foot", "Ledge"])
traps = st.sets(st.integers(1, 4), max_size=3).map(lambda places: tuple(sorted(places)))


class Telling(RuleBasedStateMachine):
    """Somebody tells the log. ``kept`` is what a service holds: it applies what follows and folds anew else."""

    def __init__(self) -> None:
        super().__init__()
        self.log: list[LogEntry] = []
        self.kept: GearState = fold([], STRINGS)
        self.minute = 0

    def tell(self, entry: LogEntry) -> None:
        known = any(told.key == entry.key for told in self.log)
        self.log.append(entry)
        if not known and follows(self.kept, entry):
            self.kept = one_on(self.kept, entry)
        else:
            self.kept = fold(self.log, STRINGS)

    def entry(self, detail: Detail, minute: int, string: str, traps: tuple[int, ...]) -> LogEntry:
        of_traps = detail.kind in OF_TRAPS
        number = len(self.log)
        return LogEntry(
            id=f"id {number}",
            key=f"key {number}",
            happened_at=FIRST + timedelta(minutes=minute),
            told_at=FIRST + timedelta(minutes=1000 + number),
            told_by="cli",
            detail=detail,
            string=string if of_traps else None,
            traps=traps if of_traps else (),
        )

    @initialize(string=strings)
    def sets_a_string(self, string: str) -> None:
        self.minute += 1
        self.tell(self.entry(TrapsSet(), self.minute, string, ()))

    @rule(detail=details_of_traps, string=strings, traps=traps)
    def tells_of_traps(self, detail: Detail, string: str, traps: tuple[int, ...]) -> None:
        self.minute += 1
        self.tell(self.entry(detail, self.minute, string, traps))

    @rule(detail=details, minute=minutes, string=strings, traps=traps)
    def tells_late(self, detail: Detail, minute: int, string: str, traps: tuple[int, ...]) -> None:
        self.tell(self.entry(detail, minute, string, traps))

    @rule(data=st.data())
    def tells_again(self, data: st.DataObject) -> None:
        entry = data.draw(st.sampled_from(self.log))
        self.tell(replace(entry, id=f"again {len(self.log)}", told_at=entry.told_at + timedelta(days=1)))

    @rule(data=st.data())
    def takes_back(self, data: st.DataObject) -> None:
        target = data.draw(st.sampled_from(self.log))
        self.tell(self.entry(Correction(target.id, "told wrongly"), 601, "", ()))

    @invariant()
    def what_is_kept_is_the_fold(self) -> None:
        assert self.kept == fold(self.log, STRINGS)

    @invariant()
    def no_trap_comes_or_goes(self) -> None:
        """Traps owned are those of the strings and one for each replacement that was worked."""
        book, in_time = opened(self.log, STRINGS)
        new = {string.name: 0 for string in STRINGS}
        for entry in in_time:
            worked, _ = book.take(entry)
            if isinstance(entry.detail, Replaced) and entry.string is not None:
                new[entry.string] += len(worked.places)
        for string in STRINGS:
            state = self.kept.strings[string.name]
            owned = [*state.traps, *state.gone]
            by_where = {where: sum(trap.where is where for trap in owned) for where in Whereabouts}
            assert sum(by_where.values()) == string.traps + new[string.name]
            assert [trap.place for trap in state.traps] == list(range(1, string.traps + 1))
            assert {trap.where for trap in state.gone} <= {Whereabouts.MISSING, Whereabouts.RETIRED}

    @rule(chance=st.randoms(use_true_random=False))
    def arrives_in_another_order(self, chance: random.Random) -> None:
        shuffled = list(self.log)
        chance.shuffle(shuffled)
        assert fold(shuffled, STRINGS) == self.kept

    @rule(data=st.data())
    def goes_on_from_any_cut(self, data: st.DataObject) -> None:
        book, in_time = opened(self.log, STRINGS)
        cut = data.draw(st.integers(0, len(in_time)))
        for entry in in_time[:cut]:
            book.take(entry)
        resumed = TrapBook((), book.freeze())
        for entry in in_time[cut:]:
            resumed.take(entry)
        assert resumed.freeze() == self.kept


TestTelling = Telling.TestCase
TestTelling.settings = settings(max_examples=60, stateful_step_count=25)
