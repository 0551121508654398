"""The letters of a bait order: a draft for the skipper, or the order itself for the supplier, with a copy."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, datetime

from soakbell.gear.bait_lots import OpenOrder
from soakbell.letters.around import SKIPPER_DECIDES, Around, around, no_call
from soakbell.letters.commands import Command, command
from soakbell.letters.facts import LetterFacts
from soakbell.letters.figures import amount
from soakbell.letters.gear_section import Block
from soakbell.letters.gear_words import boxes_words, due_words
from soakbell.letters.letter import Letter, written
from soakbell.letters.times import HarborTimes, day_words, full_day_words
from soakbell.letters.words import capital, listed, one_line
from soakbell.planning.bait_order import BaitOrder, OrderLine

MOST_BAITS_NAMED = 2
"""Baits that a subject names before it counts the boxes only."""


@dataclass(frozen=True)
class OrderPage(Around):
    """A letter to the skipper. ``first`` is what comes before any order, ``note`` the words for the supplier."""

    brief: str
    lead: str
    first: tuple[Block, ...]
    blocks: tuple[Block, ...]
    note_title: str
    note: tuple[str, ...]


@dataclass(frozen=True)
class SupplierPage:
    brief: str
    boat: str
    note: tuple[str, ...]
    invented: bool


def order_draft(order: BaitOrder, facts: LetterFacts, *, now: datetime) -> Letter:
    """What to order, from whom, by when and why, for the skipper to place or to leave.

    Raises:
        ValueError: the order has no lines and nothing to tell instead.
    """
    times = HarborTimes.at(facts.zone_name, now)
    if not (order.lines or order.no_room or order.late):
        raise ValueError("an order letter without anything to order or to tell")
    placed = order.can_be_placed
    page = OrderPage(
        **vars(around(facts, times, now=now, day=times.day, standing=_standing(facts, times))),
        brief=_draft_brief(order),
        lead=_draft_lead(order, times),
        first=(*_late(order, times, facts.command), *_restored(order)),
        blocks=(*_lines(order, times, facts.command if placed else None), *_room(order)),
        note_title=f"Words for {one_line(order.supplier)}{f', {order.address}' if order.address else ''}",
        note=_note(order, facts) if placed else (),
    )
    return written("bait_order", {"page": page})


def _deadline(order: BaitOrder) -> str:
    return f"{one_line(order.supplier)} by {order.order_by:%H:%M} on {day_words(order.day)}"


def _draft_brief(order: BaitOrder) -> str:
    if order.can_be_placed:
        return f"Bait order: {_what(order)}, {_deadline(order)}"
    return "Bait low: none can be ordered" if order.lines or order.no_room else "Bait on order is late"


def _draft_lead(order: BaitOrder, times: HarborTimes) -> str:
    late = "Bait on order is late: see to that first. " if order.late else ""
    if order.can_be_placed:
        return (
            f"{late}{boxes_words(order.boxes)} to order from {_deadline(order)}. It would come on "
            f"{due_words(order.due_on, times.day)}. Nothing was ordered: that is yours to do."
        )
    if order.lines or order.no_room:
        supplier = one_line(order.supplier)
        return f"{late}Bait is low, but no order can be placed with {supplier} now. {_why_not(order)}"
    return f"{late}Nothing is to be ordered today."


def order_to_supplier(order: BaitOrder, facts: LetterFacts) -> Letter:
    """The order itself. It names the boat and the boxes and nothing else of the skipper's.

    Raises:
        ValueError: the order can't be placed, or isn't to go straight.
    """
    _refuse_unless_straight(order)
    brief = f"Order from {one_line(facts.boat)}: {_what(order)}, wanted by {day_words(order.due_on)}"
    page = SupplierPage(brief=brief, boat=facts.boat, note=_note(order, facts), invented=facts.invented)
    return written("supplier", {"page": page})


def order_copy(order: BaitOrder, facts: LetterFacts, *, now: datetime) -> Letter:
    """The skipper's copy of an order that goes straight to the supplier.

    Raises:
        ValueError: as ``order_to_supplier``.
    """
    _refuse_unless_straight(order)
    times = HarborTimes.at(facts.zone_name, now)
    supplier = one_line(order.supplier)
    page = OrderPage(
        **vars(around(facts, times, now=now, day=times.day, standing=_standing(facts, times))),
        brief=f"Bait ordered: {_what(order)}, {supplier}",
        lead=(
            f"An order of {boxes_words(order.boxes)} goes to {supplier} ({order.address}) together with this "
            f"letter, as you settled. It would come on {due_words(order.due_on, times.day)}, and stands in "
            "the log as ordered."
        ),
        first=(),
        blocks=(*_lines(order, times), *_room(order), _taking_back(supplier, facts.command)),
        note_title="The order, word for word",
        note=_note(order, facts),
    )
    return written("bait_order", {"page": page})


def _refuse_unless_straight(order: BaitOrder) -> None:
    if not (order.straight and order.can_be_placed and order.address):
        raise ValueError("an order that isn't to go straight to the supplier")


def _standing(facts: LetterFacts, times: HarborTimes) -> tuple[str, ...]:
    return (SKIPPER_DECIDES, no_call(facts, times))


def _what(order: BaitOrder) -> str:
    """``3 boxes mullet heads and 1 box cowhide``."""
    if len(order.lines) > MOST_BAITS_NAMED:
        return f"{boxes_words(order.boxes)} of {len(order.lines)} baits"
    return listed(f"{boxes_words(line.boxes)} {one_line(line.bait)}" for line in order.lines)


def _note(order: BaitOrder, facts: LetterFacts) -> tuple[str, ...]:
    """The words for the supplier, a paragraph each."""
    what = listed(f"{boxes_words(line.boxes)} of {one_line(line.bait)}" for line in order.lines)
    return (
        "Good day,",
        f"please take this bait order for the boat {one_line(facts.boat)}: {what}, "
        f"wanted by {full_day_words(order.due_on)}.",
        "If you can't have it all by then, please tell the skipper by answering this letter.",
        f"Thank you. {one_line(facts.boat)}",
    )


def _restored(order: BaitOrder) -> tuple[Block, ...]:
    if order.restored_on is None:
        return ()
    supplier = one_line(order.supplier)
    told = (
        f"The database was restored on {day_words(order.restored_on)}: an order that went out after the backup is "
        f"not in the log. Ask {supplier} what it has of yours, and tell it to the log, before you order.",
        "For a week after a restore no order goes to the supplier by itself.",
    )
    return (Block("First: an order may be lost from the log", told, ()),)


def _late(order: BaitOrder, times: HarborTimes, program: str) -> tuple[Block, ...]:
    if not order.late:
        return ()
    supplier = one_line(order.supplier)
    ask = f"Ask {supplier} before you order again."
    if order.held_by_late:
        ask += " Until that is told to the log, no order goes to the supplier by itself."
    return (
        Block(
            "First: bait on order is late",
            (*(_late_words(late, times) for late in order.late), ask),
            tuple(
                Command(
                    f"If the {one_line(late.bait)} came",
                    command(program, "log", "bait-bought", late.bait, amount(late.boxes)),
                )
                for late in order.late
            ),
        ),
    )


def _late_words(late: OpenOrder, times: HarborTimes) -> str:
    ordered = due_words(times.local(late.ordered_at).date(), times.day)
    due = f", due {due_words(late.due_on, times.day)}" if late.due_on is not None else ""
    return f"{boxes_words(late.boxes)} of {one_line(late.bait)}, ordered {ordered}{due}: not in the log as come."


def _lines(order: BaitOrder, times: HarborTimes, program: str | None = None) -> tuple[Block, ...]:
    """What to order and why; how to tell it to the log where ``program`` is given."""
    return tuple(
        Block(
            f"{boxes_words(line.boxes)} of {one_line(line.bait)}",
            _why(line, times.day),
            () if program is None else (_ordered(line, order.due_on, program),),
        )
        for line in order.lines
    )


def _why(line: OrderLine, today: date) -> tuple[str, ...]:
    point, held = round(line.reorder_point, 2), round(line.safety, 2)
    told = [
        f"Low: {amount(line.on_hand + line.on_order)} on hand and on order, and the point to reorder is "
        f"{boxes_words(point)}: {amount(point - held)} needed until the delivery after this one could come, "
        f"and {amount(held)} held back."
    ]
    if line.runs_out_on is not None:
        told.append(f"Without an order it runs out on {due_words(line.runs_out_on, today)}.")
    told.append(_sum(line))
    if line.boxes < line.wanted:
        told.append(f"{capital(boxes_words(line.boxes))} is all that the freezer has room for.")
    if line.topped_up > 0:
        told.append(f"{capital(boxes_words(line.topped_up))} more only to reach the supplier's minimum.")
    return tuple(told)


_CENT = 100


def _sum(line: OrderLine) -> str:
    """What is wanted as a sum whose numbers add up as they are printed: the need takes what rounding leaves."""
    held, on_hand, on_order = (round(boxes, 2) for boxes in (line.safety, line.on_hand, line.on_order))
    exact = line.target_need + line.safety - line.on_hand - line.on_order
    lacking = math.ceil(round(exact * _CENT, 6)) / _CENT
    ordered = f" - {amount(on_order)} on order" if on_order > 0 else ""
    need = amount(lacking - held + on_hand + on_order)
    return (
        f"{need} needed over the next {line.target_days} days + {amount(held)} held back - {amount(on_hand)} on "
        f"hand{ordered} = {amount(lacking)}, so {boxes_words(line.wanted)}."
    )


def _ordered(line: OrderLine, due_on: date, program: str) -> Command:
    told = command(program, "log", "bait-ordered", line.bait, amount(line.boxes), "--due", due_on.isoformat())
    return Command("When it is ordered", told)


def _room(order: BaitOrder) -> tuple[Block, ...]:
    if not order.no_room:
        return ()
    baits = listed(one_line(bait) for bait in order.no_room)
    holds = f" It holds {boxes_words(order.freezer_boxes)}." if order.freezer_boxes is not None else ""
    return (Block("Low, but not ordered", (f"The freezer has no room for {baits}.{holds}",)),)


def _why_not(order: BaitOrder) -> str:
    if order.minimum_boxes is not None:
        room = ""
        if order.freezer_boxes is not None:
            room = f", and the freezer, which holds {boxes_words(order.freezer_boxes)}, has no room for more"
        return (
            f"{capital(boxes_words(order.boxes))} would be ordered; the supplier takes no less than "
            f"{boxes_words(order.minimum_boxes)}{room}."
        )
    return "The freezer has no room."


def _taking_back(supplier: str, program: str) -> Block:
    return Block(
        "To take it back",
        (f"Tell {supplier}, and void the entry, which the list names.",),
        (
            Command("The list", command(program, "log", "list")),
            Command("To void it", command(program, "log", "correct", "ENTRY", "--reason", "taken back")),
        ),
    )
