"""Official warnings, ``/alerts/active?zone=``: a GeoJSON list of CAP messages.

Manual: https://www.weather.gov/documentation/services-web-api and CAP 1.2,
https://docs.oasis-open.org/emergency/cap/v1.2/CAP-v1.2.html
"""

from __future__ import annotations

from collections.abc import Mapping

from soakbell.errors import NotUnderstood
from soakbell.feeds.strict_json import (
    kind_of_value,
    list_at,
    moment,
    moment_or_none_at,
    object_at,
    read_object,
    shown,
    text_at,
    text_or_none_at,
    texts_at,
)
from soakbell.sea.areas import ZONE_ID
from soakbell.sea.vtec import parse_vtec
from soakbell.sea.warnings import AlertsReply, OfficialWarning, Vtec

# CAP 1.2, section 3.2.1
STATUSES = frozenset({"Actual", "Exercise", "System", "Test", "Draft"})
MESSAGE_TYPES = frozenset({"Alert", "Update", "Cancel", "Ack", "Error"})

_ENDS_AN_EVENT = frozenset({"CAN", "EXP"})


def parse_alerts(body: bytes) -> AlertsReply:
    """Read one page of a list of warnings.

    Nothing is left out: a message that can't be read makes the whole page not understood. A VTEC string that
    can't be read, or that ends an event which the message itself doesn't call past, and two lists of zones that
    differ, are told in the message's ``not_understood``; such a message holds but ends nothing.

    Raises:
        NotUnderstood: not a list of warnings, a message in it can't be read, or an empty list that doesn't say
            when it was made.
    """
    reply = read_object(body, what="a list of warnings")
    if reply.get("type") != "FeatureCollection":
        raise NotUnderstood(f"expected a list of warnings, found type {shown(reply.get('type'))}")
    features = list_at(reply, "features", "list of warnings")
    warnings = tuple(
        _warning(feature, f"warning {i + 1} of {len(features)}") for i, feature in enumerate(features)
    )
    updated_at = moment_or_none_at(reply, "updated", "list of warnings")
    if not warnings and updated_at is None:
        raise NotUnderstood("expected a list of warnings, found an empty one that doesn't say when it was made")
    return AlertsReply(
        updated_at=updated_at,
        warnings=warnings,
        next_url=_next_url(reply),
        faults=tuple(f"{w.id}: {fault}" for w in warnings for fault in w.not_understood),
    )


def _next_url(reply: Mapping[str, object]) -> str | None:
    if reply.get("pagination") is None:
        return None
    return text_or_none_at(object_at(reply, "pagination", "list of warnings"), "next", "pagination")


def _warning(feature: object, where: str) -> OfficialWarning:
    if not isinstance(feature, dict):
        raise NotUnderstood(f"{where}: expected an object, found {kind_of_value(feature)}")
    said = object_at(feature, "properties", where)
    parameters = {} if said.get("parameters") is None else object_at(said, "parameters", where)
    vtec, not_understood = _vtecs(parameters, said, where)
    zones, agreed = _zones(said, where)
    if not agreed:
        not_understood = (*not_understood, "its two lists of zones differ")
    headline = text_or_none_at(said, "headline", where) or ""
    parts = (headline, *(text_or_none_at(said, key, where) or "" for key in ("description", "instruction")))
    return OfficialWarning(
        id=text_at(said, "id", where),
        zones=zones,
        event=text_at(said, "event", where),
        status=_one_of(said, "status", STATUSES, where),
        message_type=_one_of(said, "messageType", MESSAGE_TYPES, where),
        severity=text_or_none_at(said, "severity", where) or "Unknown",
        sender=text_or_none_at(said, "senderName", where) or text_or_none_at(said, "sender", where) or "",
        sent_at=moment(said.get("sent"), f"{where}: sent"),
        effective_at=moment_or_none_at(said, "effective", where),
        onset_at=moment_or_none_at(said, "onset", where),
        expires_at=moment_or_none_at(said, "expires", where),
        ends_at=moment_or_none_at(said, "ends", where),
        references=_references(said, parameters, where),
        vtec=vtec,
        headline=headline,
        text="\n\n".join(part for part in parts if part),
        url=text_or_none_at(said, "@id", where) or "",
        not_understood=not_understood,
    )


def _one_of(said: Mapping[str, object], key: str, known: frozenset[str], where: str) -> str:
    found = text_at(said, key, where)
    if found not in known:
        raise NotUnderstood(f"{where}: {key}: expected one of {', '.join(sorted(known))}, found {shown(found)}")
    return found


def _zones(said: Mapping[str, object], where: str) -> tuple[tuple[str, ...], bool]:
    """All UGC ids from the two places that name them, and whether the two agree as far as both speak."""
    geocode = {} if said.get("geocode") is None else object_at(said, "geocode", where)
    named = texts_at(geocode, "UGC", where) if geocode.get("UGC") is not None else ()
    affected = texts_at(said, "affectedZones", where) if said.get("affectedZones") is not None else ()
    linked = tuple(url.rpartition("/")[2] for url in affected)
    for zone in (*named, *linked):
        if not ZONE_ID.fullmatch(zone):
            raise NotUnderstood(f"{where}: expected zones such as GMZ730, found {shown(zone)}")
    return tuple(dict.fromkeys((*named, *linked))), not (named and linked) or set(named) == set(linked)


def _references(said: Mapping[str, object], parameters: Mapping[str, object], where: str) -> tuple[str, ...]:
    found: list[str] = []
    if said.get("references") is not None:
        for reference in list_at(said, "references", where):
            if not isinstance(reference, dict):
                raise NotUnderstood(f"{where}: references: expected objects, found {kind_of_value(reference)}")
            found.append(text_at(reference, "identifier", f"{where}: references"))
    if parameters.get("expiredReferences") is not None:
        # CAP: sender,identifier,sent, several parted by blanks
        for triple in " ".join(texts_at(parameters, "expiredReferences", where)).split():
            sender, comma, rest = triple.partition(",")
            identifier, second_comma, sent = rest.rpartition(",")
            if not (sender and comma and identifier and second_comma and sent):
                raise NotUnderstood(f"{where}: expiredReferences: expected sender,id,sent, found {shown(triple)}")
            found.append(identifier)
    return tuple(dict.fromkeys(found))


def _vtecs(
    parameters: Mapping[str, object], said: Mapping[str, object], where: str
) -> tuple[tuple[Vtec, ...], tuple[str, ...]]:
    if parameters.get("VTEC") is None:
        return (), ()
    read: list[Vtec] = []
    not_understood: list[str] = []
    for text in texts_at(parameters, "VTEC", where):
        try:
            vtec = parse_vtec(text)
        except NotUnderstood as fault:
            not_understood.append(str(fault))
            continue
        if vtec.action in _ENDS_AN_EVENT and not _is_over(said):
            not_understood.append(f"{vtec.text} ends the event, but the message isn't about something past")
        else:
            read.append(vtec)
    return tuple(read), tuple(not_understood)


def _is_over(said: Mapping[str, object]) -> bool:
    """Whether the message itself, VTEC aside, speaks of something past: captured cancels have urgency Past."""
    return said.get("messageType") == "Cancel" or said.get("urgency") == "Past"
