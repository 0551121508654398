"""Gear, bait, bench and bells for one boat's letters. Nothing that fails here reaches the call: it is told."""

from __future__ import annotations

import logging
from collections.abc import Callable, Collection, Iterable
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from functools import cache, cached_property, partial
from typing import TypeAlias, TypeVar
from zoneinfo import ZoneInfo

from soakbell.due_times import due_at, local_day
from soakbell.fishery.season import max_soak_h, opening, season_day, take_up
from soakbell.gear.bait_lots import same_bait
from soakbell.gear.books import Books
from soakbell.gear.fold import GearState
from soakbell.gear.hushed import Hushed, RungBell
from soakbell.gear.log import BaitOrdered, LogEntry
from soakbell.gear.outfit import Outfit
from soakbell.gear.parts import PartStock
from soakbell.gear.strings import TrapString
from soakbell.known_strings import KnownStrings
from soakbell.planning.ashore import Ashore, BaitToLoad, BarredTraps, Eve, Load, PartToBuy, Thaw, UpkeepDue
from soakbell.planning.bait_need import BaitNeed, bait_needs, bait_to_load, boxes_to_thaw
from soakbell.planning.bait_order import BaitLevel, BaitOrder, bait_levels, bait_order_of
from soakbell.planning.bait_thaw import traps_pulled_first
from soakbell.planning.bells import (
    Bell,
    BellCode,
    LawOfSoak,
    NotSent,
    SoakDay,
    bait_bells,
    hauled_since,
    is_hushed,
    is_quiet,
    marks,
    part_bells,
    soak_bells,
    to_ring,
    together,
    unset_bells,
    upkeep_bells,
)
from soakbell.planning.bench_plan import bench_plan
from soakbell.planning.call import Call, Window
from soakbell.planning.gear_now import BaitNow, GearNow
from soakbell.planning.loading import (
    barred_rows,
    mends_at_pull,
    parts_to_carry,
    traps_ready,
    upkeep_lines,
)
from soakbell.planning.part_need import parts_to_buy
from soakbell.planning.plan_terms import PlanTerms
from soakbell.planning.season_ahead import expected_traps
from soakbell.planning.season_bells import harvest_bells, season_bells, setting_bells, start_bells
from soakbell.planning.season_end import SeasonEnd, season_end
from soakbell.planning.season_start import SeasonStart
from soakbell.planning.take_up_day import take_up_day
from soakbell.planning.upkeep_due import upkeep_due
from soakbell.sea.daylight import sunlight
from soakbell.season_odds import kept_odds
from soakbell.settings import Settings
from soakbell.start_desk import StartDesk
from soakbell.store.bells import rung_bells
from soakbell.store.engine import Store
from soakbell.store.letters import taken_back
from soakbell.store.log_keeper import Kept, LogKeeper
from soakbell.telling import CanNotTell, Telling, in_short

log = logging.getLogger(__name__)

T = TypeVar("T")

Unsent: TypeAlias = tuple[LogEntry, datetime]
"""An entry of a letter that was never sent, and since when it is void."""

_NOT_SENT_TOLD = timedelta(days=7)
"""That an order never went out is told this long, unless the bait is ordered again."""

_PULLS_SOONER_DAYS = 14
"""How far past the days that bait is held for pulls are looked at, since a pull can come sooner than expected."""


@dataclass(frozen=True)
class StandingBells:
    """Every matter that stands, rung or not; ``hushed`` of them are snoozed or settled. ``faults`` say what of it
    could not be told. ``apart`` are the bells before those of one string and item are put together."""

    bells: tuple[Bell, ...]
    hushed: tuple[Bell, ...]
    faults: tuple[str, ...]
    apart: tuple[Bell, ...] = ()


@dataclass(frozen=True)
class Ringing:
    """What asks for the skipper now.

    Attributes:
        bells: for the letter of bells.
        order: for the letter of the bait order, which tells ``in_order`` in their place.
        known: bells that rang before, as they are marked.
    """

    bells: tuple[Bell, ...] = ()
    order: BaitOrder | None = None
    in_order: tuple[Bell, ...] = ()
    known: frozenset[RungBell] = frozenset()

    def marks_of(self, bells: Iterable[Bell]) -> tuple[RungBell, ...]:
        """The marks to keep with the letter that tells these bells."""
        return marks(bells, self.known)


class GearDesk:
    """What the desk asks about gear. ``ashore`` and ``eve`` never raise; no call waits for the others."""

    def __init__(
        self,
        settings: Settings,
        outfit: Outfit | str | None,
        store: Store,
        keeper: LogKeeper,
        terms: PlanTerms | str | None = None,
    ) -> None:
        """``outfit`` is what the skipper settled, or why it can't be used, or None where he set nothing up; so are
        ``terms``, for deck loads and the odds of the take-up."""
        self._settings = settings
        self._terms = terms
        self._outfit = outfit
        self._store = store
        self._keeper = keeper
        self._known = KnownStrings(settings, store)

    def ashore(self, call: Call, now: datetime, *, clock_suspect: bool, kept: Kept | None = None) -> Ashore | None:
        """What the letter of a call tells of gear: what to load for its window, or the bench without one.

        None where the skipper has set nothing up and told no damage. By a suspect clock nothing is told but that.

        Args:
            kept: what the log came to when the call was made; None: the log is looked at now.
        """
        telling = Telling()
        if self._usable() is None:
            barred = self._told_damaged(telling, kept)
            start = telling.of("start of season", lambda: self._start(now, clock_suspect, kept))
            bare = Ashore(barred=barred, start=start, fault=telling.fault)
            return None if bare == Ashore() else bare
        told = telling.of("gear", lambda: self._look(now, clock_suspect, kept).ashore(call, telling))
        return replace(told or Ashore(), fault=telling.fault)

    def eve(self, call: Call, now: datetime, *, clock_suspect: bool, kept: Kept | None = None) -> Eve:
        """The evening before the day of ``call``, which is only likely. Likewise by a suspect clock."""
        bare = Eve(call.day, call)
        telling = Telling()
        if self._usable() is None:
            barred = self._told_damaged(telling, kept)
            start = telling.of("start of season", lambda: self._start(now, clock_suspect, kept))
            return replace(bare, barred=barred, start=start, fault=telling.fault)
        told = telling.of("gear", lambda: self._look(now, clock_suspect, kept).eve(call, telling))
        return replace(told or bare, fault=telling.fault)

    def bench(self, now: datetime) -> GearNow:
        """Mends, parts and upkeep now, without a trip. What can't be told stands in the fault; it never raises."""
        return self._told_now(now, lambda look, telling: look.bench_now(telling))

    def bait(self, now: datetime) -> GearNow:
        """Likewise bait, and what it is needed for."""
        return self._told_now(now, lambda look, telling: look.bait_now(telling))

    def _told_now(self, now: datetime, tell: Callable[[_Look, Telling], GearNow]) -> GearNow:
        telling = Telling()
        bare = GearNow(self._outfit is not None, Ashore(), self._tomorrow(now))
        kept = telling.of("the log", self._keeper.now)
        told: GearNow | None = None
        if kept is not None and self._usable() is None:
            barred = self._told_damaged(telling, kept)
            told = self._seen(now, kept).as_told(replace(bare, ashore=Ashore(barred=barred)), telling)
        elif kept is not None:
            told = telling.of("gear", lambda: tell(self._look(now, False, kept), telling))
        told = told or bare
        return replace(told, ashore=replace(told.ashore, fault=telling.fault))

    def start(self, now: datetime) -> SeasonStart | None:
        """The start of a season, where it is in sight while traps wait for it.

        Raises:
            StoreError: the database or the log can't be read.
        """
        return self._start(now, False, None)

    def _tomorrow(self, now: datetime) -> date:
        return local_day(now, self._settings.harbor.time_zone) + timedelta(days=1)

    def standing(self, now: datetime) -> StandingBells:
        """All bells that stand at ``now``.

        Raises:
            StoreError: the database or the log can't be read.
        """
        telling = Telling()
        look = self._seen(now, None)
        rung, unsent = self._told_before(now)
        bells = look.bells(telling, unsent)
        quiet = tuple(bell for bell in bells if is_hushed(bell, look.hushed, now, rung))
        return StandingBells(together(bells), together(quiet), tuple(telling.faults), bells)

    def ringing(self, now: datetime, today: Call | None, *, may_order: bool, kept: Kept | None = None) -> Ringing:
        """What a letter should tell now; nothing in the quiet hours, or by a clock behind the log.

        Args:
            kept: what the log came to before ``now``; None: the log is looked at now.
            today: the call of the day as it stands; strings that it says to pull are seen to.
            may_order: no order was told of today.

        Raises:
            StoreError: the database or the log can't be read.
        """
        settings = self._settings
        look = self._seen(now, kept)
        if is_quiet(look.at, settings.letters.quiet_from, settings.letters.quiet_to) or look.clock_behind:
            return Ringing()
        telling = Telling()
        rung, unsent = self._told_before(now)
        standing = look.bells(telling, unsent)
        called = () if today is None or today.window is None else today.window.pulls
        pulled = look.hauled | {pull.string for pull in called}
        ring = to_ring(standing, rung, look.hushed, now, pulled=pulled)
        order = telling.of("bait order", lambda: look.order(standing, rung)) if may_order else None
        baits = () if order is None else (*(line.bait for line in order.lines), *order.no_room)
        in_order = tuple(bell for bell in ring if bell.code is BellCode.BAIT and bell.subject in baits)
        return Ringing(tuple(bell for bell in ring if bell not in in_order), order, in_order, rung)

    def _told_before(self, now: datetime) -> tuple[frozenset[RungBell], tuple[Unsent, ...]]:
        with self._store.reading() as session:
            rung = rung_bells(session, self._settings.boat.name)
            return rung, taken_back(session, now - _NOT_SENT_TOLD)

    def _usable(self) -> Outfit | None:
        return self._outfit if isinstance(self._outfit, Outfit) else None

    def _told_damaged(self, telling: Telling, kept: Kept | None) -> tuple[BarredTraps, ...]:
        """What is left to tell without an outfit: the items of traps, each of which then bars its trap."""
        if self._outfit is not None:
            telling.faults.append(in_short(str(self._outfit)))
        return telling.each("damaged traps", lambda: barred_rows((kept or self._keeper.now()).gear, None))

    def _look(self, now: datetime, clock_suspect: bool, kept: Kept | None) -> _Look:
        look = self._seen(now, kept)
        if clock_suspect or look.clock_behind:
            raise CanNotTell("the clock shows an earlier time than the newest record")
        return look

    def _start(self, now: datetime, clock_suspect: bool, kept: Kept | None) -> SeasonStart | None:
        look = self._seen(now, kept)
        return None if clock_suspect or look.clock_behind else look.start()

    def _seen(self, now: datetime, kept: Kept | None) -> _Look:
        kept = kept or self._keeper.now()
        return _Look(self._settings, self._usable(), self._terms, self._store, self._known, kept, now)


class _Look:
    """The gear at one moment. What needs the books or the outfit can't be told without them."""

    def __init__(
        self,
        settings: Settings,
        outfit: Outfit | None,
        terms: PlanTerms | str | None,
        store: Store,
        known: KnownStrings,
        kept: Kept,
        now: datetime,
    ) -> None:
        self._settings = settings
        self._maybe_outfit = outfit
        self._terms = terms
        self._store = store
        self._known = known
        self._kept = kept
        self._gear: GearState = kept.gear
        self._now = now
        self._zone = ZoneInfo(settings.harbor.time_zone)
        local = now.astimezone(self._zone)
        self.today: date = local.date()
        self.at: time = local.time()

    @property
    def clock_behind(self) -> bool:
        """What is due, thawed or spoilt can't be reckoned by such a clock."""
        return self._gear.newest_at is not None and self._now < self._gear.newest_at

    @property
    def hushed(self) -> Hushed:
        """Without the books nothing is known to be hushed."""
        return Hushed() if self._kept.books is None else self._kept.books.hushed

    @property
    def hauled(self) -> frozenset[str]:
        return hauled_since(self._gear, self._begins(self.today))

    @property
    def _outfit(self) -> Outfit:
        if self._maybe_outfit is None:
            raise CanNotTell("no gear is set up")
        return self._maybe_outfit

    @property
    def _books(self) -> Books:
        if self._kept.books is None:
            raise CanNotTell(f"bait, parts and upkeep: {self._kept.fault or 'the log could not be booked'}")
        return self._kept.books

    @property
    def _parts(self) -> PartStock:
        return self._books.parts

    # ---- letters

    def ashore(self, call: Call, telling: Telling) -> Ashore:
        """A trip that takes traps up has nothing to load: none goes in again, and the bench is ashore."""
        barred = telling.each("traps that may not be set", lambda: barred_rows(self._gear, self._outfit))
        window, start = call.window, telling.of("start of season", self.start)
        if window is not None:
            upkeep = telling.each("upkeep", partial(self._upkeep, before_leaving=True))
            load = None if call.take_up else self._load(window, telling)
            return Ashore(load=load, barred=barred, upkeep=upkeep, start=start)
        return replace(self._in_port(telling), barred=barred, start=start)

    def _in_port(self, telling: Telling) -> Ashore:
        return Ashore(
            bench=telling.of("bench", lambda: bench_plan(self._gear, self._outfit, self._parts)),
            upkeep=telling.each("upkeep", partial(self._upkeep, before_leaving=False)),
            parts_to_buy=telling.each("parts to buy", self._buying),
        )

    def bench_now(self, telling: Telling) -> GearNow:
        barred = telling.each("traps that may not be set", lambda: barred_rows(self._gear, self._outfit))
        strings = [string.name for string in self._settings.trap_strings]
        mends = telling.each("mends", lambda: mends_at_pull(self._gear, self._outfit, strings))
        told = GearNow(
            set_up=True,
            ashore=replace(self._in_port(telling), barred=barred),
            tomorrow=self.today + timedelta(days=1),
            mends=mends,
            parts=telling.each("parts", lambda: parts_to_carry(mends, self._parts)),
        )
        return self.as_told(told, telling)

    def bait_now(self, telling: Telling) -> GearNow:
        tomorrow = self.today + timedelta(days=1)
        baits = telling.each("bait", self._baits)
        told = GearNow(
            set_up=True,
            ashore=Ashore(),
            tomorrow=tomorrow,
            baits=baits,
            late=tuple(order for bait in baits for order in bait.level.late),
            thaw=telling.each("bait to thaw", lambda: self._thaw_if(tomorrow)),
        )
        return self.as_told(told, telling)

    def as_told(self, bare: GearNow, telling: Telling) -> GearNow:
        """With what the log tells by itself, which needs no outfit."""
        stock = telling.of("bait and parts", lambda: (self._books.bait, self._books.parts))
        if stock is None:
            return bare
        bait, parts = stock
        return replace(bare, stock=parts.lines, lots=bait.lots, orders=bait.orders)

    def _baits(self) -> tuple[BaitNow, ...]:
        needs = {need.bait: need for need in self._needs()}
        return tuple(BaitNow(level, needs[level.bait]) for level in self._levels)

    def _needs(self) -> tuple[BaitNeed, ...]:
        return bait_needs(
            self._outfit, self._books.bait, self._expected, now=self._now, today=self.today, zone=self._zone
        )

    def eve(self, call: Call, telling: Telling) -> Eve:
        window = None if call.take_up else call.window
        return Eve(
            day=call.day,
            call=call,
            thaw=() if window is None else telling.each("bait to thaw", partial(self._thaw, window)),
            load=None if window is None else self._load(window, telling),
            barred=telling.each("traps that may not be set", lambda: barred_rows(self._gear, self._outfit)),
            upkeep=telling.each("upkeep", partial(self._upkeep, before_leaving=True)),
            thaw_if=()
            if window or call.take_up
            else telling.each("bait to thaw", partial(self._thaw_if, call.day)),
            start=telling.of("start of season", self.start),
        )

    def _load(self, window: Window, telling: Telling) -> Load:
        strings = [pull.string for pull in window.pulls]
        mends = telling.each("mends", lambda: mends_at_pull(self._gear, self._outfit, strings))
        return Load(
            bait=telling.each("bait", partial(self._bait, window)),
            ready=telling.each("traps ready to set", lambda: traps_ready(self._gear, self._outfit, strings)),
            mends=mends,
            parts=telling.each("parts", lambda: parts_to_carry(mends, self._parts)),
        )

    def _bait(self, window: Window) -> tuple[BaitToLoad, ...]:
        traps = self._to_bait(window)
        return bait_to_load(self._outfit, self._books.bait, traps, leaves_at=window.leaves_at, now=self._now)

    def _thaw(self, window: Window) -> tuple[Thaw, ...]:
        traps = self._to_bait(window)
        return boxes_to_thaw(self._outfit, self._books.bait, traps, leaves_at=window.leaves_at, now=self._now)

    def _to_bait(self, window: Window) -> int:
        """Traps of the trip that go in again. Those of a string past its last useful rebait come home."""
        day = window.leaves_at.astimezone(self._zone).date()
        names = {string.name for string in self._baited_on(day)}
        return sum(pull.traps for pull in window.pulls if pull.string in names)

    def _baited_on(self, day: date) -> tuple[TrapString, ...]:
        end = _end_of(self._settings, day)
        return tuple(
            string
            for string in self._settings.trap_strings
            if end is None or end.takes_bait(string.soak_floor_h, day)
        )

    def _thaw_if(self, day: date) -> tuple[Thaw, ...]:
        """For a trip at dawn, the earliest that the boat may leave."""
        settings, harbor = self._settings, self._settings.harbor
        season = season_day(settings.fishery, day, sector=settings.sector, region=settings.region)
        dawn_at = sunlight(day, harbor.lat_deg, harbor.lon_deg, harbor.time_zone).dawn_at
        if dawn_at is None or not season.may_harvest:
            return ()
        strings, wishes = self._baited_on(day), self._gear.wishes.on(day)
        traps = traps_pulled_first(self._gear, strings, self._books.bait, dawn_at, wishes)
        return boxes_to_thaw(self._outfit, self._books.bait, traps, leaves_at=dawn_at, now=self._now)

    def _upkeep(self, *, before_leaving: bool) -> tuple[UpkeepDue, ...]:
        tasks = upkeep_due(self._outfit, self._books.upkeep, self._now, self._zone)
        return upkeep_lines(tasks, before_leaving=before_leaving)

    def _buying(self) -> tuple[PartToBuy, ...]:
        return parts_to_buy(self._gear, self._outfit, self._parts, self._now)

    # ---- the start of a season

    def start(self) -> SeasonStart | None:
        """Where it is in sight while traps wait for it."""
        return StartDesk(self._settings, self._maybe_outfit).in_sight(self._kept, self._now)

    # ---- bells

    def bells(self, telling: Telling, unsent: Iterable[Unsent]) -> tuple[Bell, ...]:
        """Every matter that stands. Soaks and the season need neither outfit nor books."""
        found = [
            telling.each("soaks", self._soaks),
            telling.each("season", self._season),
            telling.each("days to start the take-up by", self._start_by),
            telling.each("last harvest day", self._harvest),
            telling.each("day to set from", self._setting),
        ]
        if self._maybe_outfit is not None:
            found += [
                telling.each("traps that may not be set", lambda: unset_bells(self._gear, self._outfit)),
                telling.each("bait", lambda: bait_bells(self._levels, self._not_sent(unsent))),
                telling.each("upkeep", self._tasks),
                telling.each("parts to buy", self._low_parts),
            ]
        return tuple(bell for bells in found for bell in bells)

    def order(self, standing: tuple[Bell, ...], rung: Collection[RungBell]) -> BaitOrder | None:
        """The bait order to tell of now, without what the skipper wants to hear nothing of."""
        if self._maybe_outfit is None:
            return None
        ringing = {
            bell.subject
            for bell in standing
            if bell.code is BellCode.BAIT and not is_hushed(bell, self.hushed, self._now, rung)
        }
        return bait_order_of(
            self._outfit,
            self._books.bait,
            self._expected,
            now=self._now,
            today=self.today,
            at=self.at,
            zone=self._zone,
            ringing=ringing,
        )

    def _not_sent(self, unsent: Iterable[Unsent]) -> tuple[NotSent, ...]:
        """Orders that never went out, but those after which the bait was ordered again."""
        return tuple(
            NotSent(told.bait, told.boxes, entry.happened_at.astimezone(self._zone).date(), at)
            for entry, at in unsent
            if isinstance(told := entry.detail, BaitOrdered)
            and not any(
                same_bait(order.bait, told.bait) and order.ordered_at > entry.happened_at
                for order in self._books.bait.orders
            )
        )

    def _soaks(self) -> tuple[Bell, ...]:
        settings = self._settings
        rule = max_soak_h(settings.fishery, self.today, sector=settings.sector, region=settings.region)
        law = None if rule is None else LawOfSoak(rule.value, rule.source)
        return soak_bells(
            self._gear,
            settings.trap_strings,
            law,
            self._now,
            self._may(),
            deck_traps=settings.boat.deck_traps,
        )

    def _may(self) -> SoakDay:
        settings = self._settings
        if season_day(settings.fishery, self.today, sector=settings.sector, region=settings.region).may_harvest:
            return SoakDay.HARVEST
        law = take_up_day(settings.fishery, self.today, sector=settings.sector, region=settings.region)
        return SoakDay.CLOSED if law is None else SoakDay.TAKE_UP

    def _season(self) -> tuple[Bell, ...]:
        settings = self._settings
        end = take_up(settings.fishery, self.today, sector=settings.sector, region=settings.region)
        return season_bells(self._known.dropped(self._gear).gear, end, self.today, self._begins)

    def _start_by(self) -> tuple[Bell, ...]:
        """By the odds that the last morning letter kept, of the deadline as it stands."""
        settings, terms = self._settings, self._terms
        end = take_up(settings.fishery, self.today, sector=settings.sector, region=settings.region)
        if end is None or not isinstance(terms, PlanTerms):
            return ()
        odds = kept_odds(settings, terms, self._store, self._gear, self._now, end.deadline)
        starts = () if odds is None else odds.start_by
        return start_bells(self._gear, starts, end.deadline, self.today, self._begins)

    def _harvest(self) -> tuple[Bell, ...]:
        settings = self._settings
        end = _end_of(settings, self.today)
        return harvest_bells(self._gear, settings.trap_strings, end, self.today, self._begins)

    def _setting(self) -> tuple[Bell, ...]:
        settings = self._settings
        first = opening(settings.fishery, self.today, sector=settings.sector, region=settings.region)
        law = season_day(settings.fishery, self.today, sector=settings.sector, region=settings.region)
        return setting_bells(self._gear, first, self.today, self._begins, may_set=law.may_set)

    def _tasks(self) -> tuple[Bell, ...]:
        return upkeep_bells(upkeep_due(self._outfit, self._books.upkeep, self._now, self._zone), self._now)

    def _low_parts(self) -> tuple[Bell, ...]:
        low = parts_to_buy(self._gear, self._outfit, self._parts, self._now)
        return part_bells(low, self._parts)

    @cached_property
    def _levels(self) -> tuple[BaitLevel, ...]:
        return bait_levels(
            self._outfit,
            self._books.bait,
            self._expected,
            now=self._now,
            today=self.today,
            at=self.at,
            zone=self._zone,
        )

    @cached_property
    def _expected(self) -> dict[date, float]:
        return expected_in_days(self._settings, self._outfit, self._gear, self._now)

    def _begins(self, day: date) -> datetime:
        return due_at(day, time(0), self._settings.harbor.time_zone)


def expected_in_days(settings: Settings, outfit: Outfit, gear: GearState, now: datetime) -> dict[date, float]:
    """Traps expected to take bait by local day, over the days that bait is held for and some beyond."""

    def may_pull(day: date) -> bool:
        return season_day(settings.fishery, day, sector=settings.sector, region=settings.region).may_harvest

    return expected_traps(
        gear,
        settings.trap_strings,
        now,
        ZoneInfo(settings.harbor.time_zone),
        days=outfit.plan_days + _PULLS_SOONER_DAYS,
        may_pull=may_pull,
        end_of=cache(partial(_end_of, settings)),
    )


def _end_of(settings: Settings, day: date) -> SeasonEnd | None:
    return season_end(settings.fishery, day, sector=settings.sector, region=settings.region)
