"""The start of a season for one boat's letters. Nothing that fails here reaches the call: it is told."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime
from typing import TypedDict
from zoneinfo import ZoneInfo

from soakbell.due_times import local_day
from soakbell.fishery.season import Opening, gear_rules, opening, trap_limit
from soakbell.gear.books import Books
from soakbell.gear.conditions import BarredTraps
from soakbell.gear.fold import GearState
from soakbell.gear.outfit import Outfit
from soakbell.morning import as_they_lie
from soakbell.planning.loading import barred_rows, upkeep_lines
from soakbell.planning.season_start import (
    SeasonStart,
    SetPlan,
    mends_ahead,
    opening_in_sight,
    ready_to_set,
    set_plan,
    traps_waiting,
    untagged,
)
from soakbell.planning.upkeep_due import UpkeepDue, upkeep_due
from soakbell.settings import Settings
from soakbell.store.log_keeper import Kept
from soakbell.telling import CanNotTell, Telling

NO_DECK_LOAD = "no deck load is known; write deck_traps in [boat] of the settings"


class _Place(TypedDict):
    sector: str
    region: str | None


class StartDesk:
    """What is asked about a season's start. Each step has a guard of its own; its fault stands in what is told."""

    def __init__(
        self,
        settings: Settings,
        outfit: Outfit | None,
        *,
        deck_traps: int | None = None,
        stack_min_per_trap: float | None = None,
    ) -> None:
        """``deck_traps`` and ``stack_min_per_trap`` are in the place of the boat's."""
        self._settings = settings
        self._outfit = outfit
        self._deck_traps = deck_traps or settings.boat.deck_traps
        self._stack_min = settings.boat.stack_min_per_trap if stack_min_per_trap is None else stack_min_per_trap

    def in_sight(self, kept: Kept, now: datetime) -> SeasonStart | None:
        """None where no start is in sight, or no trap waits for it."""
        first = opening_in_sight(self._settings.fishery, self._today(now), **self._place)
        return None if first is None or not traps_waiting(kept.gear) else self._told(first, kept, now)

    def next(self, kept: Kept, now: datetime) -> SeasonStart | None:
        """The start in sight, or else the next one, though no trap waits; None where none is known."""
        fishery, today = self._settings.fishery, self._today(now)
        first = opening_in_sight(fishery, today, **self._place) or opening(fishery, today, **self._place)
        return None if first is None else self._told(first, kept, now)

    @property
    def _place(self) -> _Place:
        return {"sector": self._settings.sector, "region": self._settings.region}

    def _today(self, now: datetime) -> date:
        return local_day(now, self._settings.harbor.time_zone)

    def _told(self, first: Opening, kept: Kept, now: datetime) -> SeasonStart:
        telling, gear, outfit, today = Telling(), kept.gear, self._outfit, self._today(now)
        start = SeasonStart(
            opening=first,
            today=today,
            waiting=traps_waiting(gear),
            ready=telling.each("traps ready to set", lambda: ready_to_set(gear, outfit)),
            barred=telling.each("traps that may not be set", lambda: _barred_at_hand(gear, outfit)),
            untagged=telling.each("tags", lambda: untagged(gear)),
            rules=telling.each(
                "gear rules", lambda: gear_rules(self._settings.fishery, first.set_from, **self._place)
            ),
            lacking="" if self._deck_traps else NO_DECK_LOAD,
        )
        if outfit is not None:
            start = replace(
                start,
                mends=telling.of("mends", lambda: mends_ahead(gear, outfit, _books(kept).parts)),
                upkeep=telling.each("upkeep", lambda: self._upkeep(outfit, kept, now)),
            )
        deck_traps = self._deck_traps
        if deck_traps is not None:
            start = replace(start, plan=telling.of("trips", lambda: self._plan(gear, start, deck_traps)))
        return replace(start, fault=telling.fault)

    def _upkeep(self, outfit: Outfit, kept: Kept, now: datetime) -> tuple[UpkeepDue, ...]:
        zone = ZoneInfo(self._settings.harbor.time_zone)
        return upkeep_lines(upkeep_due(outfit, _books(kept).upkeep, now, zone), before_leaving=True)

    def _plan(self, gear: GearState, start: SeasonStart, deck_traps: int) -> SetPlan:
        settings, set_from = self._settings, start.opening.set_from
        return set_plan(
            gear,
            start.ready,
            as_they_lie(settings.trap_strings, gear),
            settings.boat.as_boat(),
            settings.harbor.mark,
            deck_traps=deck_traps,
            stack_min_per_trap=self._stack_min,
            not_before=max(set_from, start.today),
            limit=trap_limit(settings.fishery, set_from, persons=settings.crew.hands, **self._place),
        )


def _barred_at_hand(gear: GearState, outfit: Outfit | None) -> tuple[BarredTraps, ...]:
    return tuple(row for row in barred_rows(gear, outfit) if not row.in_water)


def _books(kept: Kept) -> Books:
    if kept.books is None:
        raise CanNotTell(f"parts and upkeep: {kept.fault or 'the log could not be booked'}")
    return kept.books
