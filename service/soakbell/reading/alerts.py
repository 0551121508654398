"""The list of official warnings."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime

from soakbell.feeds.alerts import parse_alerts
from soakbell.feeds.bulletin import MARINE_PREFIXES
from soakbell.reading.printing import Facts, labelled, many, short_time, time_fact, time_words, wrapped
from soakbell.reading.vtecs import STATES, tell_vtecs, vtec_facts
from soakbell.sea.warnings import HeldWarning, OfficialWarning, in_force

_FOREVER = datetime.max.replace(tzinfo=UTC)
_ANY_ZONE = ""
"""Asked for beside the named zones: a message that names none holds for it, and only such a message."""


def read_alerts(body: bytes, _: str, not_understood: list[str]) -> Facts:
    reply = parse_alerts(body)
    not_understood += reply.faults
    at = reply.updated_at
    held: _Held = _held_by_message(reply.warnings, at) if at is not None else {}
    warnings = [_alert_facts(message, held.get(message, []), at) for message in reply.warnings]
    return {
        "updated_at": time_fact(at),
        "whole": reply.next_url is None,
        "next_url": reply.next_url,
        "count": len(warnings),
        "events": dict(Counter(warning["event"] for warning in warnings).most_common()),
        "states": dict(Counter(warning["state"] for warning in warnings).most_common()),
        "warnings": sorted(warnings, key=_alert_order),
    }


_Held = Mapping[OfficialWarning, Sequence[HeldWarning]]


def _held_by_message(messages: Sequence[OfficialWarning], at: datetime) -> _Held:
    zones = {zone for message in messages for zone in message.zones} | {_ANY_ZONE}
    found: dict[OfficialWarning, list[HeldWarning]] = {}
    for held in in_force(messages, zones, at, _FOREVER):
        found.setdefault(held.message, []).append(held)
    return found


def _alert_facts(message: OfficialWarning, held: Sequence[HeldWarning], at: datetime | None) -> Facts:
    still = {zone for hold in held for zone in hold.zones}
    ends = [hold.ends_at for hold in held]
    return {
        "event": message.event,
        "state": _alert_state(message, held, at),
        "zones": list(message.zones),
        "zones_released": [zone for zone in message.zones if held and zone not in still],
        "starts_at": time_fact(min((hold.starts_at for hold in held), default=message.onset_at)),
        "ends_at": None if None in ends else time_fact(max((e for e in ends if e), default=message.ends_at)),
        "vtec": [vtec_facts(vtec, at) for vtec in message.vtec],
        "sender": message.sender,
        "status": message.status,
        "message_type": message.message_type,
        "severity": message.severity,
        "sent_at": time_fact(message.sent_at),
        "effective_at": time_fact(message.effective_at),
        "onset_stated": time_fact(message.onset_at),
        "ends_stated": time_fact(message.ends_at),
        "message_expires_at": time_fact(message.expires_at),
        "id": message.id,
        "references": list(message.references),
        "url": message.url,
        "headline": message.headline,
        "text": message.text,
        "not_understood": list(message.not_understood),
    }


def _alert_state(message: OfficialWarning, held: Sequence[HeldWarning], at: datetime | None) -> str:
    if message.status != "Actual":
        return "not used"
    if at is None:
        return "not known"
    if held:
        return "in force" if any(hold.starts_at <= at for hold in held) else "to come"
    if message.message_type == "Cancel" or any(vtec.action == "CAN" for vtec in message.vtec):
        return "cancelled"
    alone = in_force([message], message.zones or (_ANY_ZONE,), at, _FOREVER)
    return "replaced" if alone else "over"


def _alert_order(warning: Facts) -> tuple[int, bool, str, str, str]:
    """Waters before land within each state, then by begin."""
    on_land = bool(warning["zones"]) and not any(zone[:2] in MARINE_PREFIXES for zone in warning["zones"])
    state = STATES.index(warning["state"])
    return state, on_land, warning["starts_at"] or "", warning["event"], warning["id"]


def tell_alerts(facts: Facts) -> list[str]:
    made = f"made {time_words(facts['updated_at'])}" if facts["updated_at"] else "it doesn't say when it was made"
    lines = [f"  {many(facts['count'], 'message')}, {made}. States are reckoned at that time; times are UTC."]
    if not facts["whole"]:
        lines += wrapped(f"ONLY A PART of the list: it goes on at {facts['next_url']}", "  ")
    if not facts["count"]:
        lines.append("  None is active where it was asked for, at that time.")
    for counted in (facts["states"], facts["events"]):
        if counted:
            lines += wrapped("; ".join(f"{count} {what}" for what, count in counted.items()), "  ")
    for warning in facts["warnings"]:
        lines += ["", *_tell_alert(warning)]
    return lines


def _tell_alert(warning: Facts) -> list[str]:
    lines = wrapped(f"{warning['event']}: {warning['state'].upper()}, from {warning['sender'] or 'unknown'}")
    lines += labelled("zones", " ".join(warning["zones"]) or "none named, so any zone")
    if warning["zones_released"]:
        lines += labelled("no more", " ".join(warning["zones_released"]))
    starts, ends = (
        short_time(warning["starts_at"], "no begin stated"),
        short_time(warning["ends_at"], "no end stated"),
    )
    sent = f"{warning['message_type']} sent {short_time(warning['sent_at'], '')}"
    lines += labelled("times", f"{starts} to {ends}; {sent}")
    lines += tell_vtecs(warning["vtec"])
    if warning["headline"]:
        lines += labelled("says", warning["headline"])
    return lines + [line for lost in warning["not_understood"] for line in labelled("! lost", lost)]
