"""VTEC strings and the states of warnings."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime

from soakbell.reading.printing import Facts, labelled, short_time, time_fact, wrapped
from soakbell.sea.vtec import ENDING_ACTIONS
from soakbell.sea.warnings import Vtec, hazard_name

_ACTIONS: Mapping[str, str] = {
    "NEW": "new",
    "CON": "continues",
    "EXA": "extended in area",
    "EXT": "extended in time",
    "EXB": "extended in area and time",
    "UPG": "replaced by a higher one",
    "CAN": "cancelled",
    "EXP": "runs out",
    "COR": "corrected",
    "ROU": "routine",
}
STATES = ("in force", "to come", "not known", "replaced", "cancelled", "over", "not used")
"""Of a warning, in the order in which they are told."""


def vtec_facts(vtec: Vtec, at: datetime | None) -> Facts:
    return {
        "text": vtec.text,
        "event": hazard_name(vtec.phenomenon, vtec.significance),
        "number": vtec.number,
        "office": vtec.office,
        "action": vtec.action,
        "action_told": _ACTIONS[vtec.action],
        "operational": vtec.product_class in ("O", "X"),
        "begins_at": time_fact(vtec.begins_at),
        "ends_at": time_fact(vtec.ends_at),
        "state": _vtec_state(vtec, at),
    }


def _vtec_state(vtec: Vtec, at: datetime | None) -> str:
    if vtec.product_class not in ("O", "X"):
        return "not used"
    if vtec.action in ENDING_ACTIONS:
        return "replaced" if vtec.action == "UPG" else "cancelled"
    if at is None:
        return "not known"
    if vtec.ends_at is not None and vtec.ends_at <= at:
        return "over"
    return "to come" if vtec.begins_at is not None and vtec.begins_at > at else "in force"


def tell_vtecs(vtecs: Iterable[Facts]) -> list[str]:
    lines = []
    for vtec in vtecs:
        begins, ends = (
            short_time(vtec["begins_at"], "already begun"),
            short_time(vtec["ends_at"], "further notice"),
        )
        event = f"{vtec['event']} {vtec['number']} of {vtec['office']}"
        lines += labelled("VTEC", f"{vtec['action']} ({vtec['action_told']}), {begins} to {ends}: {vtec['state']}")
        lines += wrapped(event, " " * 10)
    return lines
