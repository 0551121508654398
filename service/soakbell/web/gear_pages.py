"""Strings and where they lie, the bench, and the bait: what the log tells, in the words of the letters."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from urllib.parse import quote

from starlette.exceptions import HTTPException
from starlette.responses import Response

from soakbell.fishery.season import max_soak_h
from soakbell.gear.bait_lots import PLACES, WHERE, BaitLot
from soakbell.gear.catch import HaulTold
from soakbell.gear.conditions import items_by_standing, standing_of
from soakbell.gear.fold import StringState, Whereabouts
from soakbell.gear.outfit import Standing
from soakbell.gear.soak import StringSoak, soak_of
from soakbell.gear.strings import TrapString
from soakbell.letters.eve import thaw_words
from soakbell.letters.figures import amount
from soakbell.letters.gear_section import (
    Block,
    barred_blocks,
    bench_blocks,
    buy_words,
    carry_words,
    load_blocks,
    mend_words,
    some_block,
    untold,
)
from soakbell.letters.gear_words import boxes_words, due_words, places_words, task_words, traps_count, upkeep_words
from soakbell.letters.recovery_words import mark_words
from soakbell.letters.times import HarborTimes, soak_words
from soakbell.letters.words import capital, listed, one_line
from soakbell.planning.ashore import UpkeepDue
from soakbell.planning.call import Call
from soakbell.planning.gear_now import BaitNow, GearNow
from soakbell.store.log import Unread, told_lately_of, voided_among
from soakbell.store.log_keeper import Kept
from soakbell.web.log_forms import told_words
from soakbell.web.string_plan import (
    MOST_BARS,
    Plot,
    bearing_words,
    catch_plot,
    from_harbor,
    plan_of_all,
    plan_of_one,
    plan_string,
)
from soakbell.web.today_pages import counting_call, of_call
from soakbell.web.visit import Visit, Way

_HOURS_A_DAY = 24.0
_PULLS_TOLD, _ENTRIES_TOLD = 20, 12


# ---- strings


@dataclass(frozen=True)
class StringCard:
    """One string in words: ``facts`` are pairs of what and how much."""

    name: str
    path: str
    facts: tuple[tuple[str, str], ...]


def _strings(visit: Visit) -> Response:
    settings, kept = visit.house.settings, visit.house.desk.log.now()
    states = [kept.gear.strings[string.name] for string in settings.trap_strings]
    harbor = settings.harbor
    plan = plan_of_all([plan_string(state) for state in states], harbor.mark, harbor.name)
    cards = [_card(visit, kept, string) for string in settings.trap_strings]
    return visit.page(
        "strings.html", plan=plan, cards=cards, fault=kept.fault or "", days=_wishes_ahead(visit, kept)
    )


def _card(visit: Visit, kept: Kept, string: TrapString) -> StringCard:
    return StringCard(
        one_line(string.name), f"/strings/{quote(string.name, safe='')}", tuple(_facts(visit, kept, string))
    )


def _facts(visit: Visit, kept: Kept, string: TrapString) -> Iterator[tuple[str, str]]:
    state, soak = kept.gear.strings[string.name], soak_of(kept.gear, string.name, visit.now)
    yield "Traps", _where_words(state)
    yield "Oldest soak", _soak(visit, string, soak)
    yield "Last pulled", _last_pulled(visit, kept, string.name)
    wishes = [told for day, told in _wishes_of(visit, kept, string.name)]
    if wishes:
        yield "Your days", "; ".join(wishes)


_WHERE_WORDS = {
    Whereabouts.FISHING: "fishing",
    Whereabouts.ABOARD: "aboard",
    Whereabouts.BENCH: "on the bench",
    Whereabouts.ASHORE: "ashore",
    Whereabouts.NEVER_SET: "never set",
    Whereabouts.MISSING: "missing",
    Whereabouts.RETIRED: "written off",
}


def _where_words(state: StringState) -> str:
    counts = [(len(state.places(where)), words) for where, words in _WHERE_WORDS.items()]
    gone = sum(trap.where is Whereabouts.MISSING for trap in state.gone)
    told = [f"{count} {words}" for count, words in counts if count]
    if gone:
        told.append(f"{gone} missing whose place another has since")
    return f"{len(state.traps)}: {listed(told)}" if told else "none"


def _soak(visit: Visit, string: TrapString, soak: StringSoak) -> str:
    """How long, and how that stands against the skipper's own floor and ceiling and the law's longest."""
    if soak.oldest_h is None:
        return f"none, {soak.none_because}" if soak.none_because else "not known"
    settings = visit.house.settings
    rule = max_soak_h(settings.fishery, visit.today, sector=settings.sector, region=settings.region)
    told, days = soak_words(soak.oldest_h), _days(string.soak_floor_h)
    if rule is not None and soak.oldest_h > rule.value:
        return f"{told}: past the longest that the rules allow, {_days(rule.value)}"
    if soak.oldest_h > string.soak_ceiling_h:
        return f"{told}: past your ceiling of {_days(string.soak_ceiling_h)}"
    if soak.oldest_h >= string.soak_floor_h:
        return f"{told}: ripe, past your floor of {days}"
    return f"{told}: not ripe, your floor is {days}"


def _days(hours: float) -> str:
    days = amount(hours / _HOURS_A_DAY)
    return "1 day" if days == "1" else f"{days} days"


def _last_pulled(visit: Visit, kept: Kept, string: str) -> str:
    if kept.books is None:
        return f"not known: {kept.fault or 'the log could not be booked'}"
    at = next((haul.at for haul in kept.books.catch.lately if haul.string == string), None)
    return "not in the log yet" if at is None else visit.times.dated(at)


def _wishes_of(visit: Visit, kept: Kept, string: str | None) -> list[tuple[date, str]]:
    """The days from today on that the skipper pinned or barred for one string, or for no single one."""
    wishes = kept.gear.wishes
    told = [(wish.day, what) for of, what in ((wishes.pins, "pinned"), (wishes.bars, "barred")) for wish in of
            if wish.string == string and wish.day >= visit.today]  # fmt: skip
    return [(day, f"{what} {due_words(day, visit.today)}") for day, what in sorted(told)]


def _wishes_ahead(visit: Visit, kept: Kept) -> list[str]:
    """Those of whole days."""
    words = {"pinned": "some string", "barred": "no string"}
    return [f"{capital(told)}: {words[told.split()[0]]}" for _, told in _wishes_of(visit, kept, None)]


# ---- one string


@dataclass(frozen=True)
class TrapsRow:
    """Traps that are alike: their places, where they are since when, and what is wrong with them."""

    traps: str
    where: str
    wrong: str


def _string(visit: Visit) -> Response:
    name = visit.request.path_params["name"]
    string = next((one for one in visit.house.settings.trap_strings if one.name == name), None)
    if string is None:
        raise HTTPException(404, "This boat has no such string.")
    kept = visit.house.desk.log.now()
    state, harbor = kept.gear.strings[string.name], visit.house.settings.harbor
    drawn = plan_string(state)
    nmi, bearing_deg = from_harbor(harbor.mark, drawn)
    hauls = () if kept.books is None else kept.books.catch.hauls
    own = [haul for haul in hauls if haul.string == string.name]
    plot, pulls = _catch(visit, own)
    marks = (("Start mark", state.start), ("End mark", state.end))
    return visit.page(
        "string.html",
        card=_card(visit, kept, string),
        plan=plan_of_one(drawn),
        lies=f"{nmi:.1f} nmi from {one_line(harbor.name)}, {bearing_words(bearing_deg)}",
        marks=[(what, mark_words(mark)) for what, mark in marks],
        moved=(state.start, state.end) != (string.start, string.end),
        traps=_trap_rows(visit, state),
        plot=plot,
        pulls=pulls,
        fault=kept.fault or "",
        entries=_entries(visit, string.name),
    )


def _trap_rows(visit: Visit, state: StringState) -> list[TrapsRow]:
    outfit, times = visit.house.usable_outfit, visit.times
    alike: dict[tuple[str, str], list[int]] = {}
    for trap in state.traps:
        since = "" if trap.since is None else f" since {due_words(times.local(trap.since).date(), visit.today)}"
        items = [(one_line(told.item), standing_of(told.item, outfit)) for told in items_by_standing(trap, outfit)]
        wrong = "; ".join(f"{item}: {_STANDING[standing]}" for item, standing in items)
        if items and outfit is None:
            wrong = "; ".join(item for item, _ in items)
        alike.setdefault((f"{_WHERE_WORDS[trap.where]}{since}", wrong), []).append(trap.place)
    return [TrapsRow(capital(places_words(places)), where, wrong) for (where, wrong), places in alike.items()]


_STANDING = {
    Standing.MAY_NOT_BE_SET: "may not be set",
    Standing.BENCH: "for the bench",
    Standing.NEXT_PULL: "to mend at the next pull",
}


def _catch(visit: Visit, hauls: Sequence[HaulTold]) -> tuple[Plot | None, list[str]]:
    """The plot of the last pulls, and the same in words, newest first."""
    times = visit.times
    claws = any(haul.legal_claws is not None for haul in hauls)
    unit = "Legal claws" if claws else "Pounds"
    drawn = []
    for haul in hauls[-MOST_BARS:]:
        caught = haul.legal_claws if claws else haul.lb
        if caught is not None:
            drawn.append((due_words(times.local(haul.at).date(), visit.today), caught / haul.traps))
    told = [_haul(visit, haul, times) for haul in reversed(hauls[-_PULLS_TOLD:])]
    return catch_plot(drawn, unit), told


def _haul(visit: Visit, haul: HaulTold, times: HarborTimes) -> str:
    parts = []
    if haul.legal_claws is not None:
        parts.append(f"{haul.legal_claws} legal claws, {haul.legal_claws / haul.traps:.1f} a trap")
    if haul.lb is not None:
        parts.append(f"{amount(haul.lb)} lb, {haul.lb / haul.traps:.2f} a trap")
    day = due_words(times.local(haul.at).date(), visit.today)
    return f"{day}: {traps_count(haul.traps)} after {soak_words(haul.soak_h)}; {'; '.join(parts)}"


def _entries(visit: Visit, string: str) -> list[tuple[str, bool]]:
    """What was told of the string lately, and whether it was undone."""
    times = visit.times
    with visit.house.store.reading() as session:
        found = told_lately_of(session, string, _ENTRIES_TOLD)
        voided = voided_among(session, [entry.id for entry in found])
    return [
        (f"An entry that can't be read: {entry.fault}" if isinstance(entry, Unread) else told_words(entry, times),
         entry.id in voided)
        for entry in found
    ]  # fmt: skip


# ---- bench and bait


def _bench(visit: Visit) -> Response:
    now = visit.house.desk.gear.bench(visit.now)
    blocks = tuple(_bench_blocks(visit, now))
    return visit.page("bench.html", blocks=blocks, fault=_fault(now, some=True), set_up=now.set_up)


def _fault(now: GearNow, *, some: bool) -> str:
    fault = now.ashore.fault
    return untold(fault, some=some) if fault else ""


def _bench_blocks(visit: Visit, now: GearNow) -> Iterator[Block]:
    ashore = now.ashore
    yield from _on_the_bench(visit)
    if ashore.bench is not None:
        yield from bench_blocks(ashore.bench, "")
    yield from barred_blocks(ashore.barred)
    yield from some_block("To mend when they come up", map(mend_words, now.mends))
    yield from some_block("Parts for those mends", map(carry_words, now.parts))
    yield from some_block("Parts to buy", map(buy_words, ashore.parts_to_buy))
    yield from _upkeep(visit, ashore.upkeep)
    yield from some_block(
        "Parts on hand", (f"{one_line(line.part)}: {amount(line.on_hand)}" for line in now.stock)
    )


def _on_the_bench(visit: Visit) -> Iterator[Block]:
    """By the log alone: which traps lie there, and what was told of them."""
    lines = [
        f"{one_line(state.name)}, {places_words(places)}: {wrong or 'nothing told wrong'}"
        for state in visit.house.desk.log.now().gear.strings.values()
        for wrong, places in _lying_there(state).items()
    ]
    yield from some_block("On the bench", lines or ["No trap lies there."])


def _lying_there(state: StringState) -> dict[str, list[int]]:
    found: dict[str, list[int]] = {}
    for trap in state.traps:
        if trap.where is Whereabouts.BENCH:
            found.setdefault(listed(one_line(told.item) for told in trap.items), []).append(trap.place)
    return found


def _upkeep(visit: Visit, upkeep: Sequence[UpkeepDue]) -> Iterator[Block]:
    never = [task_words(due) for due in upkeep if due.state == "never told"]
    told = (upkeep_words(due, visit.today) for due in upkeep if due.state != "never told")
    yield from some_block("Upkeep due", told)
    yield from some_block("Upkeep not in the log yet", never)


@dataclass(frozen=True)
class BaitCard:
    """One bait: pairs of what and how much, and the days ahead on which it is needed."""

    bait: str
    facts: tuple[tuple[str, str], ...]
    days: tuple[str, ...]


def _bait(visit: Visit) -> Response:
    now = visit.house.desk.gear.bait(visit.now)
    cards = [_bait_card(visit, bait) for bait in now.baits]
    blocks, call = tuple(_bait_blocks(visit, now)), counting_call(visit)
    load = () if call is None else _load_of(visit, call)
    fault = _fault(now, some=bool(cards or blocks or load))
    return visit.page(
        "bait.html",
        cards=cards,
        load=load,
        of_call=of_call(visit, call),
        blocks=blocks,
        fault=fault,
        set_up=now.set_up,
    )


def _bait_card(visit: Visit, bait: BaitNow) -> BaitCard:
    level, there, name = bait.level, bait.need.on_hand, capital(one_line(bait.level.bait))
    if not level.told:
        facts = [("On hand", "not in the log yet: count it")]
    else:
        lie = ((there.freezer, "in the freezer"), (there.thaw, "set to thaw"), (there.aboard, "aboard"))
        facts = [
            ("On hand", listed(f"{boxes_words(boxes)} {where}" for boxes, where in lie if boxes > 0) or "none")
        ]
        if amount(there.spoilt) != "0":
            facts.append(("Spoilt by its time out of the freezer", boxes_words(there.spoilt)))
        if amount(there.reckoned) != "0":
            facts.append(("Taken off for traps baited without boxes told", boxes_words(there.reckoned)))
        facts += [("Lasts", _lasts(visit, bait)), ("Reorder below", boxes_words(level.reorder_point))]
    if amount(level.on_order) != "0":
        facts.append(("On its way", boxes_words(level.on_order)))
    days = tuple(
        f"{due_words(day.day, visit.today)}: about {traps_count(round(day.traps))}, {boxes_words(day.need)}"
        for day in bait.need.days
        if round(day.traps) >= 1
    )
    return BaitCard(name, tuple(facts), days)


def _lasts(visit: Visit, bait: BaitNow) -> str:
    level = bait.level
    if level.runs_out_on is None:
        return f"not used up within {len(bait.need.days)} days"
    late = ", before more can come" if level.level > 1 else ""
    return f"runs out {due_words(level.runs_out_on, visit.today)}{late}"


def _bait_blocks(visit: Visit, now: GearNow) -> Iterator[Block]:
    times = visit.times
    tomorrow = HarborTimes(times.zone.key, now.tomorrow)
    thaw = (thaw_words(call, tomorrow) for call in now.thaw)
    yield from some_block(
        f"For a pull at dawn of {due_words(now.tomorrow, visit.today)}, strings hauled first", thaw
    )
    out = [lot for lot in now.lots if lot.out_since is not None]
    yield from some_block("Out of the freezer", (_lot(lot, times) for lot in out))
    orders = [
        f"{boxes_words(order.boxes)} of {one_line(order.bait)}, ordered {times.dated(order.ordered_at)}"
        f"{'' if order.due_on is None else f', due {due_words(order.due_on, visit.today)}'}"
        f"{': it should have come' if order in now.late else ''}"
        for order in now.orders
    ]
    yield from some_block("On order", orders)
    if not now.baits and now.lots:
        title = "As last told, without what traps took since and no boxes were told of"
        yield from some_block(title, _lying(now.lots))


def _lot(lot: BaitLot, times: HarborTimes) -> str:
    since = "" if lot.out_since is None else f", out since {times.dated(lot.out_since)}"
    return f"{boxes_words(lot.boxes)} of {one_line(lot.bait)}, {WHERE[lot.place]}{since}"


def _lying(lots: Sequence[BaitLot]) -> Iterator[str]:
    for bait in dict.fromkeys(lot.bait for lot in lots):
        for place in PLACES:
            boxes = sum(lot.boxes for lot in lots if lot.bait == bait and lot.place == place)
            if boxes > 0:
                yield f"{capital(one_line(bait))}: {boxes_words(boxes)} {WHERE[place]}"


def _load_of(visit: Visit, call: Call) -> tuple[Block, ...]:
    """The bait for the trip of a call."""
    ashore = None if call.window is None else visit.house.desk.gear.ashore(call, visit.now, clock_suspect=False)
    if ashore is None or ashore.load is None or not ashore.load.bait:
        return ()
    return tuple(Block("For the trip of today's call", block.lines) for block in load_blocks(ashore.load, "")[:1])


WAYS = (
    Way("/strings", get=_strings),
    Way("/strings/{name:path}", get=_string),
    Way("/bench", get=_bench),
    Way("/bait", get=_bait),
)
