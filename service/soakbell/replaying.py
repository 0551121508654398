"""What a call was made from, put on record, and the same call made from it again (A7).

A record holds two things beside the call. Its *inputs* are the pages of every source, by the hash of their bytes;
the bytes themselves stay in the database for as long as a call names them. ``made_from`` in its detail holds the
rest: the moment, the hashes of the settings, how far the log went, and what the service knew beside the replies.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from typing import Any

from sqlalchemy.orm import Session

from soakbell.call_record import as_record, from_record
from soakbell.errors import SoakbellError, StoreError
from soakbell.gear.fold import GearState, fold
from soakbell.morning import look_again, make_call
from soakbell.planning.call import Call
from soakbell.sea.sources import RawReply, SourceKind
from soakbell.sea.trust_record import SeenDay
from soakbell.settings import Settings
from soakbell.store.calls import KeptCall, call_before, call_named, calls_between, newest_call
from soakbell.store.engine import Store
from soakbell.store.log import all_entries
from soakbell.store.log_keeper import Kept, fold_up_to
from soakbell.store.replies import reply_named, warning_as_json, warning_from_json
from soakbell.survey import OnHand, ReplyKey, Survey
from soakbell.trusting import MeasuredSea, standing


@dataclass(frozen=True)
class Basis:
    """Everything that ``make_call`` is given, but for the settings."""

    on_hand: OnHand
    log: Kept
    now: datetime
    clock_suspect: bool


def inputs_of(on_hand: OnHand, surveyed: Survey) -> list[dict[str, Any]]:
    """Each page of each source by the hash of its bytes, with its times and what was wrong with the source."""
    told = {(line.kind, line.key): line for line in surveyed.sources}
    inputs = []
    for (kind, key), pages in on_hand.replies.items():
        line = told.get((kind, key))
        issued_at = None if line is None or line.issued_at is None else line.issued_at.isoformat()
        fault = None if line is None or line.fault is None else line.fault.code.value
        for page in pages:
            inputs.append(
                {
                    "kind": kind.value,
                    "key": key,
                    "page": page.key,
                    "sha256": page.sha256,
                    "fetched_at": page.fetched_at.isoformat(),
                    "issued_at": issued_at,
                    "fault": fault,
                }
            )
    return inputs


def made_from(settings: Settings, basis: Basis, *, looked_again: bool) -> dict[str, Any]:
    """The rest of what a call rests on, as JSON values.

    ``looked_again``: the call takes the place of the day's earlier one, which it was weighed against.
    """
    hand = basis.on_hand
    return {
        "now": basis.now.isoformat(),
        "clock_suspect": basis.clock_suspect,
        "looked_again": looked_again,
        "settings_sha256": settings.sha256,
        "fishery_sha256": settings.fishery_sha256,
        "log": {"entries": basis.log.entries, "seq": basis.log.seq},
        "seen": [warning_as_json(warning) for warning in hand.seen],
        "troubles": [[kind.value, key, text] for (kind, key), text in hand.troubles.items()],
        "cells": dict(hand.cells),
        "newer": [[kind.value, key, at.isoformat()] for (kind, key), at in hand.newer.items()],
        "moved": dict(hand.moved),
        "notices": list(hand.notices),
    }


def replay(settings: Settings, store: Store, which: int | date, *, by_other_settings: bool = False) -> Call:
    """Make a call on record again, from the bytes that were kept.

    Args:
        settings: those it was made with, unless ``by_other_settings``.
        which: its id, or a local day: then the newest call of that day.
        by_other_settings: make it by ``settings`` as they are now, whatever they were.

    Raises:
        StoreError: there is no such call, it was made without inputs, or the settings, the log or the kept replies
            are no longer those it was made from.
    """
    with store.reading() as session:
        boat = settings.boat.name
        kept = newest_call(session, boat, which) if isinstance(which, date) else call_named(session, boat, which)
        if kept is None:
            raise StoreError(f"no call of {boat} is on record for {which}")
        name = f"the call of {kept.made_at:%Y-%m-%d %H:%M} UTC"
        made = kept.detail.get("made_from")
        if made is None:
            raise StoreError(f"{name} was made on nothing, since the service had failed; it can't be replayed")
        if not by_other_settings:
            _same_settings(name, settings, made)
        on_hand = _on_hand(session, name, kept, made)
        before = call_before(session, kept) if made["looked_again"] else None
    now = datetime.fromisoformat(made["now"])
    gear = _gear_known(name, settings, store, made["log"])
    morning = make_call(settings, on_hand, gear, now, day=kept.day, clock_suspect=made["clock_suspect"])
    if not made["looked_again"]:
        return morning.call
    earlier, trip = (None, None) if before is None else from_record(before.detail)
    if earlier is None or trip is None:
        raise StoreError(f"{name} took the place of an earlier one, which is not on record")
    call = look_again(earlier, trip, morning, now)
    if call is None:
        raise StoreError(f"{name} took the place of an earlier one, which on replay would have stood")
    return call


@dataclass(frozen=True)
class ReplayedDay:
    """What was called for a day, what today's program and settings would call on the same inputs, and what came.

    Attributes:
        then: the call that the skipper went by, of ``calls`` told that day.
        now: None where it can't be made again; ``why_not`` says why.
        exact: every number and reason is the same.
        same_settings, same_program: as they were for the call.
    """

    then: Call = field(repr=False)
    calls: int
    now: Call | None = field(repr=False)
    why_not: str
    exact: bool
    same_settings: bool
    same_program: bool
    seen: SeenDay

    @property
    def day(self) -> date:
        return self.then.day


def replay_days(
    settings: Settings, store: Store, first: date, last: date, sea: MeasuredSea, *, code_version: str
) -> tuple[tuple[ReplayedDay, ...], tuple[str, ...]]:
    """Every day from ``first`` to ``last`` that was called, oldest first; and days with a broken record."""
    with store.reading() as session:
        kept = calls_between(session, settings.boat.name, first, last)
    by_day: dict[date, list[KeptCall]] = {}
    for one in kept:
        by_day.setdefault(one.day, []).append(one)
    days, unread = [], []
    for day, told in sorted(by_day.items()):
        try:
            days.append(_replayed(settings, store, told, sea, code_version))
        except StoreError as fault:
            unread.append(f"{day}: {fault}")
    return tuple(days), tuple(unread)


def _replayed(
    settings: Settings, store: Store, told: Sequence[KeptCall], sea: MeasuredSea, code_version: str
) -> ReplayedDay:
    calls = [from_record(kept.detail)[0] for kept in told]
    then = standing(calls)
    kept = told[next(n for n, call in enumerate(calls) if call is then)]
    again, why_not = None, ""
    try:
        again = replay(settings, store, kept.id, by_other_settings=True)
    except SoakbellError as fault:
        why_not = str(fault)
    except (KeyError, TypeError, ValueError) as fault:  # what other settings no longer fit
        why_not = f"it can't be made by the settings as they are now ({type(fault).__name__}: {fault})"
    made = kept.detail.get("made_from", {})
    sums = (made.get("settings_sha256"), made.get("fishery_sha256"))
    return ReplayedDay(
        then=then,
        calls=len(told),
        now=again,
        why_not=why_not,
        exact=again is not None and as_record(again, None) == as_record(then, None),
        same_settings=sums == (settings.sha256, settings.fishery_sha256),
        same_program=kept.code_version == code_version,
        seen=sea.of_call(then),
    )


def _gear_known(name: str, settings: Settings, store: Store, log: Mapping[str, Any]) -> GearState:
    """What the log came to as it was known: up to the entry that was stored last by then."""
    if "seq" not in log:
        return _gear_told(name, settings, store, log)
    gear, entries = fold_up_to(store, settings.trap_strings, log["seq"])
    if entries != log["entries"]:
        raise StoreError(
            f"{name} was made on {log['entries']} log entries, and {entries} of them are on record; "
            "give the database that it was made with"
        )
    return gear


def _gear_told(name: str, settings: Settings, store: Store, log: Mapping[str, Any]) -> GearState:
    """Likewise from a record older than the numbers. The log only grows, so an equal count is the same log."""
    until = log["told_until"]
    with store.reading() as session:
        entries = [] if until is None else all_entries(session)
    known = [entry for entry in entries if entry.told_at <= datetime.fromisoformat(until)]
    if len(known) != log["entries"]:
        raise StoreError(
            f"{name} was made on {log['entries']} log entries, and {len(known)} are on record that were told by "
            "then: entries with an older date of telling came in later"
        )
    return fold(known, settings.trap_strings)


def _same_settings(name: str, settings: Settings, made: Mapping[str, Any]) -> None:
    for file, sha256, key in (
        (str(settings.path), settings.sha256, "settings_sha256"),
        (f"the fishery file of {settings.fishery.name}", settings.fishery_sha256, "fishery_sha256"),
    ):
        if made[key] != sha256:
            raise StoreError(f"{name} was made with another version of {file} (sha256 {made[key]}); give that one")


def _on_hand(session: Session, name: str, kept: KeptCall, made: Mapping[str, Any]) -> OnHand:
    pages: dict[ReplyKey, list[RawReply]] = {}
    for said in kept.inputs:
        reply = reply_named(session, said["sha256"])
        if reply is None:
            raise StoreError(f"{name} rests on a {said['kind']} reply for {said['key']} that is no longer kept")
        kind = SourceKind(said["kind"])
        page = replace(reply, kind=kind, key=said["page"], fetched_at=datetime.fromisoformat(said["fetched_at"]))
        pages.setdefault((kind, said["key"]), []).append(page)
    return OnHand(
        replies=pages,
        troubles={(SourceKind(kind), key): text for kind, key, text in made["troubles"]},
        seen=tuple(warning_from_json(message) for message in made["seen"]),
        cells=made["cells"],
        newer={(SourceKind(kind), key): datetime.fromisoformat(at) for kind, key, at in made["newer"]},
        moved=made["moved"],
        notices=tuple(made["notices"]),
    )
