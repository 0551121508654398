"""What phones kept while they had no signal, taken into the log when they have one again.

POST ``/sync`` brings ``{"entries": [{"key", "kind", "happened_at", "tapped", "cells": {...}}, ...]}`` and is
told of each, in that order, whether it was taken, was known already, comes later, or was refused and why.
Each is judged by itself, so one that is refused stops none. What lies ahead of our clock comes later: the
phone keeps it and sends it again, for ours may be behind. ``cells`` are the fields of the kind's form. A
moment without an offset is one of the harbor's clock. ``tapped``: nobody told it, it is that of a tap,
reckoned by the phone; what is known by its key is then the same, whenever that was.
"""

from __future__ import annotations

import json
import logging
from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from functools import partial
from typing import Any, TypeVar

from starlette.datastructures import FormData
from starlette.responses import JSONResponse, Response

from soakbell.errors import Fault, StoreError
from soakbell.web.log_forms import KINDS, LABELS, MOST_PARTS, fault_words, field_of
from soakbell.web.log_pages import Outcome, Telling, tell, tell_each, telling_of
from soakbell.web.visit import Visit, Way

log = logging.getLogger(__name__)

MOST_BYTES = 256_000
MOST_ENTRIES = 200
_MOST_CELLS = 60


class _NotOurs(Exception):
    """A body that no page of ours sends."""


def _ready(visit: Visit) -> Response:
    """What the script needs before it sends."""
    return JSONResponse(
        {
            "form_token": visit.who.form_token if visit.who else "",
            "now": visit.now.isoformat(),
        }
    )


def _sync(visit: Visit, _form: FormData) -> Response:
    try:
        entries = _entries(visit.body)
    except _NotOurs as fault:
        return JSONResponse({"fault": str(fault)}, 400)
    return JSONResponse({"told": _judged(visit, entries)})


def _entries(body: bytes) -> list[dict[str, Any]]:
    try:
        told = json.loads(body)
        json.dumps(told, ensure_ascii=False).encode()  # halves of letters can't be answered with
    except (ValueError, RecursionError) as fault:
        raise _NotOurs("This is no JSON in UTF-8.") from fault
    entries = told.get("entries") if isinstance(told, dict) else None
    if not isinstance(entries, list) or not all(isinstance(entry, dict) for entry in entries):
        raise _NotOurs('Write {"entries": [...]}, each an object.')
    if len(entries) > MOST_ENTRIES:
        raise _NotOurs(f"At most {MOST_ENTRIES} entries at once.")
    return entries


def _judged(visit: Visit, entries: list[dict[str, Any]]) -> list[dict[str, Any]]:
    last = len(entries) - 1
    read = [_guarded(partial(_read, visit, entry, last - turn)) for turn, entry in enumerate(entries)]
    outcomes = iter(_outcomes(visit, [one for one in read if isinstance(one, Telling)]))
    told = []
    for entry, one in zip(entries, read, strict=True):
        outcome = next(outcomes) if isinstance(one, Telling) else Outcome(faults=(one,))
        told.append(_told(entry.get("key"), _state(visit, one, outcome), outcome.faults))
    return told


def _outcomes(visit: Visit, tellings: list[Telling]) -> list[Outcome]:
    try:
        return tell_each(visit.house, tellings, visit.now)
    except StoreError:
        raise
    except Exception:
        log.exception("what a phone kept could not be taken in together")
    outcomes = [_guarded(partial(tell, visit.house, one, visit.now)) for one in tellings]
    return [Outcome(faults=(one,)) if isinstance(one, Fault) else one for one in outcomes]


_T = TypeVar("_T")


def _guarded(work: Callable[[], _T]) -> _T | Fault:
    """One entry that nobody foresaw holds up none of the others."""
    try:
        return work()
    except StoreError:
        raise
    except Exception:
        log.exception("an entry that a phone kept could not be judged")
        return Fault("", "", "an entry that could not be judged", "it anew, and tell the skipper")


def _state(visit: Visit, one: Telling | Fault, outcome: Outcome) -> str:
    if not outcome.faults:
        return "known" if outcome.known else "taken"
    ahead = isinstance(one, Telling) and any(entry.happened_at > visit.now for entry in one.told.entries)
    return "later" if ahead else "refused"


def _read(visit: Visit, entry: dict[str, Any], later: int) -> Telling | Fault:
    """``later`` entries of the batch come after it: told in one breath, they keep their order by microseconds."""
    cells = _cells(entry)
    kind = next((kind for kind in KINDS if kind.value == entry.get("kind")), None)
    if kind is None:
        return Fault("", "kind", "something else", "one of the forms")
    if cells is None:
        return Fault("", "cells", "something else", "text by the form's field names")
    told_at = visit.now - timedelta(microseconds=MOST_PARTS * later)
    telling = telling_of(visit, kind, cells, None, told_at=told_at)
    return replace(telling, apart=timedelta.max) if entry.get("tapped") is True else telling


def _cells(entry: dict[str, Any]) -> dict[str, str] | None:
    """The entry's cells by field; None where they aren't text."""
    cells = entry.get("cells", {})
    if not isinstance(cells, dict) or len(cells) > _MOST_CELLS:
        return None
    whole = {**cells, "happened_at": entry.get("happened_at", ""), "key": entry.get("key", "")}
    return whole if all(isinstance(cell, str) for cell in whole.values()) else None


def _told(key: object, state: str, faults: tuple[Fault, ...]) -> dict[str, Any]:
    told = [
        {
            "field": field_of(fault),
            "label": LABELS.get(field_of(fault), ""),
            "found": fault.found,
            "write": fault.write,
            "words": fault_words(fault),
        }
        for fault in faults
    ]
    return {"key": key if isinstance(key, str) else None, "state": state, "faults": told}


WAYS = (
    Way("/sync/ready", get=_ready),
    Way("/sync", post=_sync, most_bytes=MOST_BYTES, as_form=False),
)
