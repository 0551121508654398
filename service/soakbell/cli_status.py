"""``soakbell status``: traps, bait, parts, bench, upkeep and bells now, by the log and the gear file."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from functools import partial
from typing import TYPE_CHECKING

import typer

from soakbell.cli_page import Page
from soakbell.cli_telling import clock_behind, database, local, settings_of

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

    from rich.console import Console

    from soakbell.gear.books import Books
    from soakbell.gear.fold import GearState, Oddity
    from soakbell.gear.log import LogEntry
    from soakbell.gear.missing import SearchBox
    from soakbell.gear.outfit import Outfit
    from soakbell.gear.trap_states import Order
    from soakbell.planning.bait_order import BaitLevel
    from soakbell.planning.bench_plan import BenchJob
    from soakbell.settings import Settings
    from soakbell.store.engine import Store
    from soakbell.store.log_keeper import Kept, LogKeeper

MOST_ODDITIES = 20


def status(ctx: typer.Context) -> None:
    """Where every trap is, what bait and parts there are, what is due, and which bells stand.

    Ends with 1 where some of it could not be told.

    Example: soakbell status
    """
    from rich.console import Console

    from soakbell.clock import SystemClock
    from soakbell.gear_settings import outfit_of
    from soakbell.store.log_keeper import LogKeeper

    settings = settings_of(ctx)
    now = SystemClock().now()
    page = _Page(Console())
    with database(settings) as store:
        keeper = LogKeeper(store, settings.trap_strings)
        kept, outfit = keeper.now(), outfit_of(settings)
        sight = _Sight(settings, kept, outfit, now)
        page.say(f"{settings.boat.name}, {local(settings, now)}: {_traps_owned(kept.gear)}")
        if behind := clock_behind(kept.gear, now):
            page.say(f"{behind} No soak is known until then.")
        for title, show in _SECTIONS.items():
            page.section(title, partial(show, page, sight))
        page.section("Season's end", lambda: _season(page, sight, store, keeper))
        page.section("Bells", lambda: _bells(page, sight, store, keeper))
        page.section("Odd in the log", lambda: _oddities(page, sight, store))
    _foot(page, settings)
    raise typer.Exit(1 if page.untold else 0)


@dataclass(frozen=True)
class _Sight:
    """What there is to tell from. ``books`` and ``usable`` raise ``_Untold`` where there is none."""

    settings: Settings
    kept: Kept
    outfit: Outfit | str | None
    now: datetime

    @property
    def gear(self) -> GearState:
        return self.kept.gear

    @property
    def zone(self) -> ZoneInfo:
        from zoneinfo import ZoneInfo

        return ZoneInfo(self.settings.harbor.time_zone)

    @property
    def today(self) -> date:
        return self.now.astimezone(self.zone).date()

    @property
    def books(self) -> Books:
        if self.kept.books is None:
            raise _Untold(self.kept.fault or "the log could not be booked")
        return self.kept.books

    @property
    def usable(self) -> Outfit:
        if self.outfit is None:
            raise _NotSetUp
        if isinstance(self.outfit, str):
            raise _Untold(self.outfit)
        return self.outfit


class _Untold(Exception):
    """Why something can't be told."""


class _NotSetUp(Exception):
    """The skipper has set up no gear file, and so wants to hear nothing of this."""


class _Page(Page):
    """Written a section at a time. A section that fails is told, and the others still stand."""

    def __init__(self, console: Console) -> None:
        super().__init__(console)
        self._told: set[str] = set()
        self.untold = False

    def section(self, title: str, show: Callable[[], None]) -> None:
        try:
            show()
        except _NotSetUp:
            return
        except Exception as fault:
            self.untold = True
            why = str(fault) if isinstance(fault, _Untold) else f"{type(fault).__name__}: {fault}"
            self.say(f"{title}: could not be told" + ("" if why in self._told else f": {why}"))
            self._told.add(why)


# ---- Traps


def _traps_owned(gear: GearState) -> str:
    from soakbell.gear.fold import Whereabouts

    everywhere = [trap.where for state in gear.strings.values() for trap in (*state.traps, *state.gone)]
    counts = [f"{everywhere.count(where)} {where.value}" for where in Whereabouts if where in everywhere]
    return f"{len(everywhere)} traps: {', '.join(counts)}" if everywhere else "no traps"


def _strings(page: _Page, sight: _Sight) -> None:
    from soakbell.gear.conditions import may_not_be_set, ready_places
    from soakbell.gear.fold import Whereabouts
    from soakbell.gear.outfit import Outfit
    from soakbell.gear.soak import soak_of
    from soakbell.letters.times import soak_words

    outfit = sight.outfit if isinstance(sight.outfit, Outfit) else None
    rows = []
    for string in sight.settings.trap_strings:
        state = sight.gear.strings[string.name]
        soak = soak_of(sight.gear, string.name, sight.now)
        where = [
            _some(len(state.places(place)))
            for place in (Whereabouts.ABOARD, Whereabouts.ASHORE, Whereabouts.BENCH, Whereabouts.MISSING)
        ]
        ready = barred = ""
        if outfit is not None:
            ready = _some(len(ready_places(state, outfit)))
            barred = _some(
                sum(may_not_be_set(trap, outfit) and trap.where is not Whereabouts.RETIRED for trap in state.traps)
            )
        oldest = (soak.none_because or "") if soak.oldest_h is None else soak_words(soak.oldest_h)
        rows.append((string.name, str(soak.fishing), oldest, *where, ready, barred))
    heads = (
        "string", "fishing", "oldest soak", "aboard", "ashore", "bench", "missing",
        "ready to set", "may not be set",
    )  # fmt: skip
    page.table("Strings", heads, rows)


def _barred(page: _Page, sight: _Sight) -> None:
    """By what was told alone where the gear file can't be used."""
    from soakbell.cli_telling import UNKNOWN_ITEM
    from soakbell.gear.conditions import BarredTraps, barred_traps
    from soakbell.gear.fold import told_places
    from soakbell.gear.outfit import Outfit

    outfit = sight.outfit if isinstance(sight.outfit, Outfit) else None
    together: dict[tuple[str, str, str], list[BarredTraps]] = {}
    for barred in barred_traps(sight.gear, outfit):
        together.setdefault((barred.string, barred.item, _WHERE[barred.where]), []).append(barred)
    rows = [
        (
            string,
            told_places([place for barred in alike for place in barred.places]),
            item,
            where,
            UNKNOWN_ITEM if alike[0].unknown else alike[0].rule,
        )
        for (string, item, where), alike in together.items()
    ]
    if rows:
        page.table("May not be set", ("string", "traps", "item", "where", "rule"), rows)


_WHERE = {
    "fishing": "in the water",
    "aboard": "aboard",
    "ashore": "ashore",
    "bench": "on the bench",
    "never set": "ashore",
}


def _missing(page: _Page, sight: _Sight) -> None:
    from soakbell.gear.missing import missing_traps

    rows = [
        (
            trap.string,
            f"{trap.place}{' (replaced since)' if trap.replaced else ''}",
            trap.tag,
            "never" if trap.last_seen is None else local(sight.settings, trap.last_seen),
            _box(trap.box),
        )
        for trap in missing_traps(sight.gear, sight.now)
    ]
    if rows:
        heads = ("string", "trap", "tag", "last seen", "look from (south-west) to (north-east), degrees")
        page.table("Missing traps", heads, rows)


def _box(box: SearchBox) -> str:
    return f"{box.south_deg:.3f} {box.west_deg:.3f} to {box.north_deg:.3f} {box.east_deg:.3f}"


# ---- Bait and parts


def _bait(page: _Page, sight: _Sight) -> None:
    from soakbell.gear_desk import expected_in_days
    from soakbell.letters.figures import amount
    from soakbell.letters.gear_words import boxes_words
    from soakbell.planning.bait_need import on_hand
    from soakbell.planning.bait_order import bait_levels

    outfit, stock = sight.usable, sight.books.bait
    at = sight.now.astimezone(sight.zone).time()
    expected = expected_in_days(sight.settings, outfit, sight.gear, sight.now)
    levels = bait_levels(outfit, stock, expected, now=sight.now, today=sight.today, at=at, zone=sight.zone)
    rows = []
    for level in levels:
        there = on_hand(outfit, stock, next(kind for kind in outfit.baits if kind.name == level.bait), sight.now)
        places = [amount(boxes) for boxes in (there.freezer, there.thaw, there.aboard)]
        if not level.told:
            rows.append((level.bait, *places, "", "", _some(level.on_order), "", "not known: none was told"))
            continue
        rows.append(
            (
                level.bait,
                *places,
                _some(there.spoilt),
                _some(there.reckoned),
                _some(level.on_order),
                amount(level.reorder_point),
                _runs_out(level, outfit.plan_days),
            )
        )
    heads = (
        "bait", "freezer", "thaw", "aboard", "spoilt", "used unmeasured", "on order", "reorder below", "runs out",
    )  # fmt: skip
    if rows:
        page.table("Bait, boxes", heads, rows)
    for order in stock.orders:
        due = "" if order.due_on is None else f", due {order.due_on}"
        late = " (late)" if any(order in level.late for level in levels) else ""
        ordered = local(sight.settings, order.ordered_at)
        page.say(f"on order: {boxes_words(order.boxes)} of {order.bait}, ordered {ordered}{due}{late}")


def _some(value: float) -> str:
    """An amount, nothing where there is none."""
    from soakbell.letters.figures import amount

    return "" if amount(value) == "0" else amount(value)


def _runs_out(level: BaitLevel, plan_days: int) -> str:
    if level.runs_out_on is None:
        return f"not within {plan_days} days"
    return f"{level.runs_out_on}{', before more can come' if level.level > 1 else ''}"


def _parts(page: _Page, sight: _Sight) -> None:
    from soakbell.letters.figures import amount
    from soakbell.planning.part_need import parts_to_buy

    outfit, stock = sight.usable, sight.books.parts
    low = {part.part: part for part in parts_to_buy(sight.gear, outfit, stock, sight.now)}
    rows, not_told = [], []
    for kind in outfit.parts:
        line, wanted = stock.line(kind.name), low.get(kind.name)
        there = "not counted" if line is None else amount(line.on_hand)
        if wanted is None and line is None:
            not_told.append(kind.name)
            continue
        if wanted is None:
            rows.append((kind.name, there, "", "", ""))
            continue
        cost = "" if wanted.cost_usd is None else f"{wanted.cost_usd:,.2f}"
        rows.append((kind.name, there, _some(wanted.needed_now), amount(wanted.buy), cost))
    if rows:
        page.table("Parts", ("part", "on hand", "mends need", "to buy", "dollars"), rows)
    if not_told:
        page.say(f"parts not counted yet: {'; '.join(not_told)}")


# ---- Bench and upkeep


def _bench(page: _Page, sight: _Sight) -> None:
    from soakbell.gear.fold import told_places
    from soakbell.letters.figures import amount
    from soakbell.planning.bench_plan import bench_plan

    plan = bench_plan(sight.gear, sight.usable, sight.books.parts)
    rows = [
        row
        for state, jobs in (("to do", plan.jobs), ("lacks parts", plan.short), ("another day", plan.left))
        for row in _jobs(state, jobs)
    ]
    if not rows:
        return
    title = f"Bench: {amount(plan.takes_min)} of {amount(plan.has_min)} minutes"
    page.table(title, ("string", "traps", "mend", "minutes", "when", "lacking"), rows)
    if plan.back:
        back = "; ".join(f"{traps.string} {told_places(traps.places)}" for traps in plan.back)
        page.say(f"can go back when that is done: {back}")


def _jobs(state: str, jobs: Sequence[BenchJob]) -> Iterator[tuple[str, ...]]:
    from soakbell.gear.fold import told_places
    from soakbell.letters.figures import amount

    for job in jobs:
        lacking = "; ".join(f"{part} {amount(count)}" for part, count in job.lacking)
        yield job.string, told_places(job.places), ", ".join(job.items), amount(job.minutes), state, lacking


def _upkeep(page: _Page, sight: _Sight) -> None:
    from soakbell.letters.gear_words import upkeep_state
    from soakbell.planning.loading import upkeep_lines
    from soakbell.planning.upkeep_due import upkeep_due

    tasks = upkeep_due(sight.usable, sight.books.upkeep, sight.now, sight.zone)
    lines = upkeep_lines(tasks, before_leaving=False)
    rows = [
        (line.task, line.state, upkeep_state(line, sight.today), "yes" if line.safety else "")
        for line in lines
        if line.state != "never told"
    ]
    if rows:
        page.table("Upkeep", ("task", "state", "by what", "safety gear"), rows)
    for what, safety in (("safety gear", True), ("upkeep", False)):
        never = [line.task for line in lines if line.state == "never told" and line.safety is safety]
        if never:
            page.say(f"{what} not in the log yet: {'; '.join(never)}")
    if tasks:
        page.say(f"upkeep that is not due: {len(tasks) - len(lines)} of {len(tasks)} tasks")


def _wishes(page: _Page, sight: _Sight) -> None:
    wishes = sight.gear.wishes
    coming = sorted(
        (wish.day, what, wish.string or whole)
        for of, what, whole in ((wishes.pins, "pin", "any string"), (wishes.bars, "bar", "all strings"))
        for wish in of
        if wish.day >= sight.today
    )
    if coming:
        rows = [(day.isoformat(), what, string) for day, what, string in coming]
        page.table("Pinned and barred", ("day", "what", "string"), rows)


# ---- Season's end, bells, oddities, the foot


def _season(page: _Page, sight: _Sight, store: Store, keeper: LogKeeper) -> None:
    from soakbell.letters.recovery_words import deadline_words, dropped_words
    from soakbell.letters.season_section import season_line
    from soakbell.plan_settings import terms_of
    from soakbell.season_desk import SeasonDesk

    desk = SeasonDesk(sight.settings, terms_of(sight.settings), store, keeper)
    season = desk.between(sight.now, kept=sight.kept)
    if season.recovery is not None and season.recovery.not_home:
        page.say(season_line(season) or deadline_words(season.recovery))
    out = season.recovery
    if out is not None and (dropped := dropped_words(out.dropped, out.unknown)):
        page.say(dropped)
    if season.fault:
        raise _Untold(season.fault)


def _bells(page: _Page, sight: _Sight, store: Store, keeper: LogKeeper) -> None:
    from soakbell.gear_desk import GearDesk
    from soakbell.plan_settings import terms_of
    from soakbell.store.bells import rung_bells

    settings = sight.settings
    standing = GearDesk(settings, sight.outfit, store, keeper, terms_of(settings)).standing(sight.now)
    with store.reading() as session:
        rung = rung_bells(session, settings.boat.name)
    rows, never_told = [], 0
    for bell in standing.bells:
        if bell.values.get("state") == "never told" and bell not in standing.hushed:
            never_told += 1
            continue
        hush = sight.books.hushed.of(bell.name) if bell in standing.hushed else None
        if hush is not None and hush.snoozed_until is not None and sight.now < hush.snoozed_until:
            state = f"snoozed until {local(settings, hush.snoozed_until)}"
        elif hush is not None:
            state = "settled"
        else:
            state = "told by letter" if bell.rung in rung else "not told yet"
        rows.append((bell.name, "yes" if bell.level > 1 else "", local(settings, bell.since), state))
    if rows:
        page.table("Bells", ("bell", "worse", "since", "state"), rows)
    if never_told:
        page.say(f"beside these, a bell for each task that is not in the log yet: {never_told}")
    if standing.faults:
        raise _Untold("; ".join(standing.faults))


def _oddities(page: _Page, sight: _Sight, store: Store) -> None:
    """Those that a later count of the same bait or part hasn't set right."""
    from soakbell.cli_telling import odd_words
    from soakbell.errors import StoreError
    from soakbell.store.log import all_entries

    books = sight.kept.books
    odd = sorted((*sight.gear.oddities, *(() if books is None else books.oddities)), key=lambda each: each.order)
    if not odd:
        return
    try:
        with store.reading() as session:
            entries = {entry.id: entry for entry in all_entries(session)}
    except StoreError:
        entries = {}
    counted = _last_counts(entries.values())
    odd = [each for each in odd if not _set_right(each, entries.get(each.entry_id), counted, sight.outfit)]
    for oddity in odd[-MOST_ODDITIES:]:
        page.say(f"odd: {odd_words(oddity, entries.get(oddity.entry_id))}")
    if len(odd) > MOST_ODDITIES:
        page.say(f"odd: {len(odd) - MOST_ODDITIES} older ones are not shown")


def _last_counts(entries: Iterable[LogEntry]) -> dict[str, Order]:
    """When each bait and part was last counted, by its name in small letters."""
    from soakbell.gear.fold import in_force
    from soakbell.gear.log import BaitCounted, PartCounted

    counted: dict[str, Order] = {}
    for entry in sorted(in_force(entries), key=lambda entry: entry.order):
        match entry.detail:
            case BaitCounted(bait=name) | PartCounted(part=name):
                counted[name.casefold()] = entry.order
    return counted


def _set_right(
    oddity: Oddity, entry: LogEntry | None, counted: Mapping[str, Order], outfit: Outfit | str | None
) -> bool:
    from soakbell.gear.log import BaitMoved, BaitSpoiled, PartUsed, Pulled, Repaired
    from soakbell.gear.outfit import Outfit

    names: list[str] = []
    match None if entry is None else entry.detail:
        case BaitMoved(bait=name) | BaitSpoiled(bait=name) | PartUsed(part=name):
            names = [name]
        case Pulled(bait=bait) if oddity.key in ("bait", "bait_boxes"):
            kind = outfit.bait(bait) if isinstance(outfit, Outfit) else None
            names = [kind.name if kind is not None else bait]
        case Repaired(parts=parts) if oddity.key == "parts":
            names = [part for part, _ in parts if repr(part) in oddity.found]
    at = [counted.get(name.casefold()) for name in names]
    return any(order is not None and order > oddity.order for order in at)


def _foot(page: _Page, settings: Settings) -> None:
    from soakbell.fishery.season import caution
    from soakbell.letters.words import skipper_decides

    page.say("")
    for text in (skipper_decides("this list"), caution(settings.fishery).text):
        page.say(text)


_SECTIONS: dict[str, Callable[[_Page, _Sight], None]] = {
    "Strings": _strings,
    "Traps that may not be set": _barred,
    "Missing traps": _missing,
    "Bait": _bait,
    "Parts": _parts,
    "Bench": _bench,
    "Upkeep": _upkeep,
    "Pins and bars": _wishes,
}
"""In the order in which they are written, the traps first."""
