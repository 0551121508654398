"""Bells: what the skipper should be reminded of now. Each rings once, and again when its matter worsens.

The functions here, and those of ``season_bells``, tell every matter that stands; ``to_ring`` says which of them a
letter should tell now.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime, time, timedelta
from enum import StrEnum
from typing import Any

from soakbell.gear.bait_lots import same_bait
from soakbell.gear.conditions import standing_of
from soakbell.gear.fold import GearState, StringState, TrapState, Whereabouts
from soakbell.gear.hushed import Hushed, RungBell
from soakbell.gear.outfit import Outfit, Standing
from soakbell.gear.parts import PartStock
from soakbell.gear.strings import TrapString
from soakbell.planning.bait_order import BaitLevel
from soakbell.planning.part_need import PartToBuy
from soakbell.planning.upkeep_due import UpkeepDue

__all__ = ["Bell", "BellCode", "RungBell"]

_HOUR = timedelta(hours=1)

WORSE_PAST = 1.5
"""A soak this many times the skipper's ceiling rings again (common practice, no source)."""

BEFORE_LAW_H = 24.0
"""A soak that the law ends is told this long ahead, since a pull needs a day of weather (common practice)."""


class BellCode(StrEnum):
    """What a bell is about. The values are keys of the database and of the log."""

    SOAK = "soak"
    BAIT = "bait"
    PARTS = "parts"
    UPKEEP = "upkeep"
    UNSET = "unset"
    SEASON = "season"
    START = "start"
    HARVEST = "harvest"
    SETTING = "setting"


@dataclass(frozen=True)
class Bell:
    """One matter that asks for the skipper.

    Attributes:
        subject: the string, bait, part, task or date it is about.
        cause: tells one occurrence of the matter from the next ("2026-12-01T13:00" for a soak that began then).
        level: 1 and up; a higher one is worse and rings again.
        since: when this level of this cause began, aware UTC.
        values: the numbers behind it, for the words.

    The values by code:
        soak    traps (that soaked past it), soak_h (the oldest), soak_start, limit_h (what it is past), ceiling_h
                (the skipper's), law_h (or None), law_source; level 2: past the law's maximum, or without one past
                WORSE_PAST times the ceiling; may (a SoakDay), loads: the places that fish, by deck load
        bait    on_hand_boxes, on_order_boxes, reorder_point_boxes, runs_out_on (a date or None); level 2: it runs
                out before more can come; with an order that never went out also not_sent_boxes, not_sent_on
        parts   on_hand, reorder_point, needed_now, buy: pieces; level 2: mends wait for it
        upkeep  state, safety, expires, due_on, left, unit: and source as in
                ``planning.upkeep_due.UpkeepDue``; level 2: overdue
        unset   item, places, rule, unknown; level 2: in the water though they may not be set; level 1: they wait
                aboard or ashore and may not be set before it is mended
        season  deadline, days_left (negative past it), fishing, aboard, missing: traps; rule, source
        start   deadline, days_left, fishing: traps; chance (0 to 1, the least whose day has come), start_by (its
                last day to start on; None: no day has it any more), later: (chance, day) of those to come
        harvest last_harvest, days_left, traps (fishing and aboard), rebait: (string, last day on which fresh bait
                is of use there, or None) of each with such traps
        setting set_from, days_left, harvest_from (or None), waiting: traps at hand; rule, source
    """

    code: BellCode
    subject: str
    cause: str
    level: int
    since: datetime
    values: Mapping[str, Any] = field(default_factory=dict)

    @property
    def name(self) -> str:
        """How the skipper names it to snooze or settle it, as ``soak:Nine Foot``."""
        return f"{self.code.value}:{self.subject}"

    @property
    def rung(self) -> RungBell:
        """The mark to keep once a letter told it."""
        return RungBell(self.code.value, self.subject, self.cause, self.level)


class SoakDay(StrEnum):
    """What the rules of a day let one do with a string that soaked too long."""

    HARVEST = "harvest"
    TAKE_UP = "take up"
    CLOSED = "closed"


@dataclass(frozen=True)
class LawOfSoak:
    """The longest soak that the law allows, and who says so."""

    most_h: float
    source: str


@dataclass(frozen=True)
class NotSent:
    """Bait on an order that the service wrote and that never went out, which is known since ``at``."""

    bait: str
    boxes: float
    ordered_on: date
    at: datetime


# ---- matters


def soak_bells(
    gear: GearState,
    strings: Iterable[TrapString],
    law: LawOfSoak | None,
    now: datetime,
    may: SoakDay,
    *,
    deck_traps: int | None = None,
) -> tuple[Bell, ...]:
    """A bell for each string with traps that soaked too long.

    With a clock behind the log no soak is known, and none is told.

    Args:
        may: by the rules of today.
        deck_traps: most that one trip brings home; None: not known.
    """
    if gear.newest_at is not None and now < gear.newest_at:
        return ()
    return tuple(
        replace(bell, values={**bell.values, "may": may, "loads": _loads(gear.strings[string.name], deck_traps)})
        for string in strings
        for bell in _soak(gear.strings[string.name], string, law, now)
    )


def _loads(state: StringState, deck_traps: int | None) -> tuple[tuple[int, ...], ...]:
    places = tuple(trap.place for trap in state.traps if trap.where is Whereabouts.FISHING)
    load = deck_traps or len(places)
    return tuple(places[first : first + load] for first in range(0, len(places), load))


def _soak(state: StringState, string: TrapString, law: LawOfSoak | None, now: datetime) -> Iterable[Bell]:
    starts = [trap.soak_start for trap in state.traps if trap.where is Whereabouts.FISHING and trap.soak_start]
    if not starts:
        return
    oldest = min(starts)
    steps_h = [string.soak_ceiling_h, WORSE_PAST * string.soak_ceiling_h]
    if law is not None:
        steps_h = [min(string.soak_ceiling_h, law.most_h - BEFORE_LAW_H), law.most_h]
    past = [limit_h for limit_h in steps_h if now - oldest > limit_h * _HOUR]
    if not past:
        return
    limit_h = past[-1]
    yield Bell(
        BellCode.SOAK,
        string.name,
        cause=_moment(oldest),
        level=len(past),
        since=oldest + limit_h * _HOUR,
        values={
            "traps": sum(now - start > limit_h * _HOUR for start in starts),
            "soak_h": (now - oldest) / _HOUR,
            "soak_start": oldest,
            "limit_h": limit_h,
            "ceiling_h": string.soak_ceiling_h,
            "law_h": None if law is None else law.most_h,
            "law_source": "" if law is None else law.source,
        },
    )


def unset_bells(gear: GearState, outfit: Outfit) -> tuple[Bell, ...]:
    """A bell for each trap and item with which it may not be set: in the water all the same, or waiting.

    Traps on the bench are where they belong. An item that the outfit doesn't know bars its trap.
    """
    return tuple(
        bell
        for state in gear.strings.values()
        for trap in state.traps
        for bell in _unset(state.name, trap, outfit)
    )


_WAITING = frozenset({Whereabouts.NEVER_SET, Whereabouts.ABOARD, Whereabouts.ASHORE})


def _unset(string: str, trap: TrapState, outfit: Outfit) -> Iterable[Bell]:
    in_water = trap.where is Whereabouts.FISHING
    if not in_water and trap.where not in _WAITING:
        return
    for item in trap.items:
        if standing_of(item.item, outfit) is not Standing.MAY_NOT_BE_SET:
            continue
        kind = outfit.condition(item.item)
        since = max(item.since, trap.since) if in_water and trap.since is not None else item.since
        yield Bell(
            BellCode.UNSET,
            string,
            cause=f"{item.item} {trap.origin or trap.place} {_moment(since)}",
            level=2 if in_water else 1,
            since=since,
            values={
                "item": item.item,
                "places": (trap.place,),
                "rule": "" if kind is None else kind.rule,
                "unknown": kind is None,
            },
        )


def bait_bells(levels: Iterable[BaitLevel], not_sent: Collection[NotSent] = ()) -> tuple[Bell, ...]:
    """A bell for each bait that is low. Of a bait that the log never told of, nothing is known.

    That an order of it never went out is a new cause: the skipper was told that it was ordered.
    """
    return tuple(_low_bait(low, not_sent) for low in levels if low.told and low.level > 0)


def _low_bait(low: BaitLevel, not_sent: Iterable[NotSent]) -> Bell:
    bell = Bell(
        BellCode.BAIT,
        low.bait,
        low.cause,
        low.level,
        low.since,
        {
            "on_hand_boxes": low.on_hand,
            "on_order_boxes": low.on_order,
            "reorder_point_boxes": low.reorder_point,
            "runs_out_on": low.runs_out_on,
        },
    )
    of_this = [each for each in not_sent if same_bait(each.bait, low.bait)]
    last = max(of_this, key=lambda each: each.at, default=None)
    if last is None:
        return bell
    return replace(
        bell,
        cause=f"{low.cause} not sent {_moment(last.at)}",
        since=max(low.since, last.at),
        values={**bell.values, "not_sent_boxes": last.boxes, "not_sent_on": last.ordered_on},
    )


def part_bells(parts: Iterable[PartToBuy], stock: PartStock) -> tuple[Bell, ...]:
    """A bell for each part of which there is too little."""
    return tuple(
        Bell(
            BellCode.PARTS,
            low.part,
            _pieces_had(low.part, stock),
            low.level,
            low.since,
            {
                "on_hand": low.on_hand,
                "reorder_point": low.reorder_point,
                "needed_now": low.needed_now,
                "buy": low.buy,
            },
        )
        for low in parts
    )


def _pieces_had(part: str, stock: PartStock) -> str:
    """All pieces there ever were: the same until some are bought or counted, and so the cause of being low."""
    line = stock.line(part)
    return "never told" if line is None else f"of {line.on_hand + line.used - line.lacking:.6g}"


def upkeep_bells(tasks: Iterable[UpkeepDue], now: datetime) -> tuple[Bell, ...]:
    """A bell for each task that is due soon, overdue or was never told."""
    return tuple(
        Bell(
            BellCode.UPKEEP,
            due.task,
            "never told" if due.done_at is None else _moment(due.done_at),
            due.level,
            now if due.since is None else due.since,
            {
                "state": due.state,
                "safety": due.safety,
                "expires": due.expires,
                "due_on": due.due_on,
                "left": due.left,
                "unit": due.unit,
                "source": due.source,
            },
        )
        for due in tasks
        if due.level > 0
    )


# ---- which of them ring


def to_ring(
    bells: Iterable[Bell],
    rung: Collection[RungBell],
    hushed: Hushed,
    now: datetime,
    *,
    pulled: Collection[str] = (),
) -> tuple[Bell, ...]:
    """The bells that a letter should tell now, in the order given.

    Not one that rang at this level or a higher one, nor one that is snoozed, nor one that was settled. What rang
    before a snooze that is over, and still stands, rings once more. ``pulled`` are the strings hauled today or in
    today's call: their soak is seen to.
    """
    return tuple(
        bell
        for bell in bells
        if _told_level(bell, rung, hushed, now) < bell.level
        and not is_hushed(bell, hushed, now, rung)
        and not (bell.code is BellCode.SOAK and bell.subject in pulled)
    )


def _told_level(bell: Bell, rung: Iterable[RungBell], hushed: Hushed, now: datetime) -> int:
    """The highest level at which the matter rang, 0 if it didn't."""
    hush = hushed.of(bell.name)
    snoozed_until = None if hush is None else hush.snoozed_until
    told = [0]
    for mark in rung:
        if (mark.code, mark.subject) != (bell.code.value, bell.subject):
            continue
        at = mark.rung_at
        before_snooze = at is not None and snoozed_until is not None and at < snoozed_until <= now
        # Traps that were past this limit when an older one of their string rang were told of with it.
        with_older = bell.code is BellCode.SOAK and at is not None and at >= bell.since
        if (_covers(bell, mark.cause) or with_older) and not before_snooze:
            told.append(mark.level)
    return max(told)


def _covers(bell: Bell, cause: str) -> bool:
    """True for the bell's own cause, and for that of bait told to be low and its order late or not sent too."""
    return cause == bell.cause or (bell.code is BellCode.BAIT and cause.startswith(f"{bell.cause} "))


def marks(bells: Iterable[Bell], rung: Iterable[RungBell]) -> tuple[RungBell, ...]:
    """The marks to keep once a letter tells the bells: those that are in ``rung`` with when they rang."""
    known = {mark: mark for mark in rung}
    return tuple(known.get(bell.rung, bell.rung) for bell in bells)


def is_hushed(bell: Bell, hushed: Hushed, now: datetime, rung: Iterable[RungBell] = ()) -> bool:
    """True while the skipper wants to hear nothing of it.

    Settled are the causes that stood then, up to their level, whatever the log tells later; a soak that was past
    its limit then is one of them. Where the log doesn't say what stood: what began, or rang at this level, before.
    """
    hush = hushed.of(bell.name)
    if hush is None:
        return False
    if hush.snoozed_until is not None and now < hush.snoozed_until:
        return True
    settled_at = hush.settled_at
    if settled_at is None:
        return False
    if hush.settled_causes:
        with_older = bell.code is BellCode.SOAK and bell.since <= settled_at
        known = with_older or any(_covers(bell, cause) for cause in hush.settled_causes)
        return known and bell.level <= hush.settled_level
    return bell.since <= settled_at or any(
        (mark.code, mark.subject, mark.cause) == (bell.code.value, bell.subject, bell.cause)
        and mark.level >= bell.level
        and mark.rung_at is not None
        and mark.rung_at <= settled_at
        for mark in rung
    )


def hauled_since(gear: GearState, begins: datetime) -> frozenset[str]:
    """Strings of which a trap was hauled or set since, and none fishes on that was not."""
    handled = (Whereabouts.FISHING, Whereabouts.ABOARD)
    found: set[str] = set()
    for state in gear.strings.values():
        moved = [trap.where for trap in state.traps if trap.since is not None and trap.since >= begins]
        left = sum(trap.where is Whereabouts.FISHING for trap in state.traps) - moved.count(Whereabouts.FISHING)
        if not left and any(where in handled for where in moved):
            found.add(state.name)
    return frozenset(found)


def together(bells: Iterable[Bell]) -> tuple[Bell, ...]:
    """The bells as a letter tells them: traps of one string with one item in one bell, the oldest cause first.

    What rang is marked by the bells given, not by these.
    """
    merged: dict[tuple[Any, ...], Bell] = {}
    for bell in bells:
        if bell.code is not BellCode.UNSET:
            merged[bell.code, bell.subject, bell.cause, bell.level] = bell
            continue
        key = (bell.code, bell.subject, bell.values["item"], bell.level)
        known = merged.get(key)
        if known is not None:
            places = tuple(sorted({*known.values["places"], *bell.values["places"]}))
            first = min(known, bell, key=lambda each: each.since)
            bell = replace(first, values={**first.values, "places": places})
        merged[key] = bell
    return tuple(merged.values())


def is_quiet(at: time, quiet_from: time, quiet_to: time) -> bool:
    """True within the quiet hours, which may span midnight. Both ends alike: there are none."""
    if quiet_from <= quiet_to:
        return quiet_from <= at < quiet_to
    return at >= quiet_from or at < quiet_to


def _moment(at: datetime) -> str:
    return at.strftime("%Y-%m-%dT%H:%M:%SZ")
