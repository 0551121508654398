"""*Little Grebe* a fortnight before all traps must be out, on an invented morning. INVENTED DATA."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

from sqlalchemy import select, update

from law.world import NEW_YORK, SETTINGS_TOML, World, settings_from, world
from soakbell.clock import SetClock
from soakbell.desk import UNASKED, Desk
from soakbell.errors import FetchFailed
from soakbell.feeds.transport import Ask
from soakbell.gear.log import BroughtAshore, Detail, LogEntry, new_entry
from soakbell.plan_settings import load_terms
from soakbell.planning.plan_terms import PlanTerms
from soakbell.sea.sources import RawReply
from soakbell.season_desk import SeasonDesk
from soakbell.settings import Settings
from soakbell.store import letters, log, replies
from soakbell.store.engine import Store, open_store
from soakbell.store.letters import UnaskedLetter, WrittenLetter
from soakbell.store.log_keeper import LogKeeper
from soakbell.store.schema import OutboxRow, RecipientRow
from soakbell.store.upgrade import migrate

BOAT, ZONE = "Little Grebe", "America/New_York"
DEADLINE, LAST_HARVEST = date(2027, 5, 6), date(2027, 5, 1)
"""R1, R4: config/fisheries/florida-stone-crab.toml."""

MORNING = datetime(2027, 4, 22, 8, 30, tzinfo=UTC)
"""Thursday 04:30, 14 days before."""
TODAY = date(2027, 4, 22)
DAY, HOUR = timedelta(days=1), timedelta(hours=1)
TERMS = replace(load_terms(Path(__file__).resolve().parents[1] / "config" / "plan.toml"), deck_traps=30, paths=200)
"""Sundays off; 60 traps in two strings are two trips."""
TURNS = dict.fromkeys(UNASKED, 1)


def evening(day: date, hour: int = 18) -> datetime:
    """Five past that hour, EDT."""
    return datetime(day.year, day.month, day.day, 4, 5, tzinfo=UTC) + hour * HOUR


def told(detail: Detail, string: str, at: datetime, *traps: int) -> LogEntry:
    return new_entry(detail, happened_at=at, told_at=at, told_by="cli", string=string, traps=traps)


def sea_at(now: datetime = MORNING, settings: Settings | None = None, **weather: Any) -> World:
    """All traps set eight days ago."""
    return world(settings=settings or settings_from(SETTINGS_TOML), now=now, **weather)


class NobodyAnswers:
    def fetch(self, ask: Ask) -> RawReply:
        raise FetchFailed(f"{ask.url}: nobody answers", retry=True)


@dataclass
class Port:
    """A boat with its database, its clock and what is on hand of the sources."""

    sea: World
    store: Store
    terms: PlanTerms | str | None = field(default_factory=lambda: TERMS)
    clock: SetClock = field(default_factory=lambda: SetClock(MORNING))

    @property
    def desk(self) -> Desk:
        return Desk(self.sea.settings, self.store, self.clock, NobodyAnswers(), terms=self.terms)

    @property
    def season(self) -> SeasonDesk:
        keeper = LogKeeper(self.store, self.sea.settings.trap_strings)
        return SeasonDesk(self.sea.settings, self.terms, self.store, keeper)

    def tell(self, *entries: LogEntry) -> None:
        with self.store.writing() as session:
            log.append_entries(session, entries)

    def all_ashore(self, at: datetime = MORNING - HOUR) -> None:
        self.tell(*(told(BroughtAshore(), string.name, at) for string in self.sea.settings.strings))

    def morning(self, now: datetime = MORNING) -> WrittenLetter:
        self.clock.put(now)
        day = now.astimezone(NEW_YORK).date()
        return self.desk.write("morning", day, 0, late=False, clock_suspect=False)

    def ring(self, at: datetime, turns: dict[str, int] = TURNS) -> dict[str, UnaskedLetter]:
        self.clock.put(at)
        asked = self.desk.ring(at.astimezone(NEW_YORK).date(), turns)
        assert asked.failed is None
        return {one.kind: one for one in asked.letters}

    def keep_letter(self, one: UnaskedLetter, at: datetime, state: str = "accepted") -> None:
        """Store it as the sweep does, with what became of it at each address."""
        day = at.astimezone(NEW_YORK).date()
        with self.store.writing() as session:
            turn = letters.next_turn(session, BOAT, one.kind, day)
            claim = letters.open_turn(session, BOAT, one.kind, day, turn, ZONE, at, one.useless_at, lease_s=120)
            letters.write_letter(session, claim, one.letter, at)
            of_it = select(OutboxRow.id).where(OutboxRow.due_id == claim.due_id)
            session.execute(
                update(RecipientRow).where(RecipientRow.outbox_id.in_(of_it)).values(state=state, done_at=at)
            )


def port_of(folder: Path, sea: World | None = None, entries: Sequence[LogEntry] | None = None) -> Port:
    sea = sea or sea_at()
    store = open_store(f"sqlite:///{folder / 'soakbell.db'}")
    migrate(store)
    with store.writing() as session:
        log.append_entries(session, sea.entries if entries is None else entries)
        for pages in sea.on_hand().replies.values():
            replies.keep_reply(session, pages[0])
    return Port(sea, store)
