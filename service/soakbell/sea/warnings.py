"""Official warnings: what is in force for a zone, at which times.

Source of the state rules: OASIS Common Alerting Protocol 1.2, sections 3.2.1 and 3.2.2; NWS Instruction
10-1703 (VTEC).
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

from soakbell.errors import NotUnderstood

HAZARD_NAMES: Mapping[tuple[str, str], str] = {
    # seen with these names in captured lists of warnings
    ("BH", "S"): "Beach Hazards Statement",
    ("BW", "Y"): "Brisk Wind Advisory",
    ("CF", "S"): "Coastal Flood Statement",
    ("CF", "Y"): "Coastal Flood Advisory",
    ("GL", "W"): "Gale Warning",
    ("HW", "W"): "High Wind Warning",
    ("MA", "W"): "Special Marine Warning",
    ("MS", "Y"): "Dense Smoke Advisory",
    ("RP", "S"): "Rip Current Statement",
    ("SC", "Y"): "Small Craft Advisory",
    ("SR", "A"): "Storm Watch",
    ("SV", "W"): "Severe Thunderstorm Warning",
    ("UP", "W"): "Heavy Freezing Spray Warning",
    ("WI", "Y"): "Wind Advisory",
    # AWIPS hazard tables in public code (second-hand)
    ("HF", "A"): "Hurricane Force Wind Watch",
    ("HF", "W"): "Hurricane Force Wind Warning",
    ("HU", "A"): "Hurricane Watch",
    ("HU", "W"): "Hurricane Warning",
    ("LO", "Y"): "Low Water Advisory",
    ("MF", "Y"): "Dense Fog Advisory",
    ("SE", "A"): "Hazardous Seas Watch",
    ("SE", "W"): "Hazardous Seas Warning",
    ("SR", "W"): "Storm Warning",
    ("TR", "A"): "Tropical Storm Watch",
    ("TR", "W"): "Tropical Storm Warning",
    ("TY", "A"): "Typhoon Watch",
    ("TY", "W"): "Typhoon Warning",
    # from memory
    ("GL", "A"): "Gale Watch",
    ("SU", "W"): "High Surf Warning",
    ("SU", "Y"): "High Surf Advisory",
    ("SV", "A"): "Severe Thunderstorm Watch",
    ("TO", "A"): "Tornado Watch",
    ("TO", "W"): "Tornado Warning",
    ("UP", "A"): "Freezing Spray Watch",
    ("UP", "Y"): "Freezing Spray Advisory",
    # legacy, merged into the Small Craft Advisory by NWS Instruction 10-315 (11 Feb 2020)
    ("RB", "Y"): "Small Craft Advisory for Rough Bar",
    ("SI", "Y"): "Small Craft Advisory for Winds",
    ("SW", "Y"): "Small Craft Advisory for Hazardous Seas",
}
"""VTEC phenomenon and significance -> name as issued. A code that is absent here is still a hazard."""

ONE_NUMBERING = timedelta(days=180)
"""VTEC counts its events anew each year, so messages further apart than this are not of one event."""

_CARRIES_ON = frozenset({"CON", "EXT", "EXA", "EXB", "COR"})


@dataclass(frozen=True)
class Vtec:
    """One P-VTEC string, ``/O.NEW.KMFL.MA.W.0059.170324T0137Z-170324T0215Z/``.

    ``begins_at`` None: already begun (``000000T0000Z``). ``ends_at`` None: until further notice.
    """

    product_class: str  # O operational, T test, E experimental, X experimental in operational
    action: str  # NEW CON EXA EXT EXB UPG CAN EXP COR ROU
    office: str
    phenomenon: str
    significance: str  # W warning, A watch, Y advisory, S statement
    number: int
    begins_at: datetime | None
    ends_at: datetime | None
    text: str

    @property
    def event(self) -> tuple[str, str, str, int]:
        """What stays the same through all messages of one event within a year."""
        return (self.office, self.phenomenon, self.significance, self.number)


@dataclass(frozen=True)
class OfficialWarning:
    """One message about a warning, watch, advisory or statement, as issued.

    Attributes:
        id: the message's own id.
        zones: UGC ids (``GMZ730``).
        event: its name, as issued ("Small Craft Advisory").
        status: Actual, Exercise, System, Test or Draft.
        message_type: Alert, Update or Cancel.
        references: ids of earlier messages that this one acts on (``references`` and ``expiredReferences``).
        onset_at, ends_at: the event's own times; None where not stated.
        expires_at: when the message, not the event, runs out.
        text: headline, description and instruction, verbatim and in full.
    """

    id: str
    zones: tuple[str, ...]
    event: str
    status: str
    message_type: str
    severity: str
    sender: str
    sent_at: datetime
    effective_at: datetime | None
    onset_at: datetime | None
    expires_at: datetime | None
    ends_at: datetime | None
    references: tuple[str, ...]
    vtec: tuple[Vtec, ...]
    headline: str
    text: str
    url: str = ""
    not_understood: tuple[str, ...] = field(default=())


@dataclass(frozen=True)
class AlertsReply:
    """A list of warnings as the service gave it.

    Attributes:
        updated_at: when the service made the list, as the payload states; None where it doesn't.
        warnings: all messages, of all zones.
        next_url: where the list goes on. Not None: this is only a part of it.
        faults: VTEC strings that could not be used, and why. Their messages are in ``warnings`` all the same.
    """

    updated_at: datetime | None
    warnings: tuple[OfficialWarning, ...]
    next_url: str | None
    faults: tuple[str, ...]


@dataclass(frozen=True)
class HeldWarning:
    """An event in force: for which of the zones asked about, and from when to when (aware UTC, end excluded).

    ``ends_at`` None: until further notice. ``message`` is the one that says so.
    """

    zones: tuple[str, ...]
    event: str
    starts_at: datetime
    ends_at: datetime | None
    message: OfficialWarning


@dataclass(frozen=True)
class _Hold:
    """One event of one message. ``vtec`` None: the message has no usable VTEC."""

    message: OfficialWarning
    vtec: Vtec | None
    starts_at: datetime
    ends_at: datetime | None


def hazard_name(phenomenon: str, significance: str) -> str:
    """The name of a VTEC hazard as issued; its code where the name isn't known."""
    return HAZARD_NAMES.get((phenomenon, significance), f"hazard {phenomenon}.{significance}")


def joined(pages: Sequence[AlertsReply]) -> AlertsReply:
    """All pages of one list as one reply, as old as its oldest page.

    Raises:
        NotUnderstood: no page, or the last one says that the list goes on.
    """
    if not pages or pages[-1].next_url is not None:
        raise NotUnderstood("expected a list of warnings to its end, found only a part of it")
    times = [page.updated_at for page in pages]
    return AlertsReply(
        updated_at=None if None in times else min(t for t in times if t is not None),
        warnings=tuple(dict.fromkeys(w for page in pages for w in page.warnings)),
        next_url=None,
        faults=tuple(fault for page in pages for fault in page.faults),
    )


def in_force(
    messages: Iterable[OfficialWarning],
    zones: Collection[str],
    at_from: datetime,
    at_to: datetime,
    *,
    sent_by: datetime | None = None,
) -> tuple[HeldWarning, ...]:
    """What is in force for any of ``zones`` at some moment from ``at_from`` to ``at_to``.

    Every message with status Actual holds its event on its own, until another one ends that for the same zone:

    - a cancel or update (CAP) that names it in its references, or
    - a later message with the same VTEC event whose action is CAN, whatever its CAP type (captured lists carry
      cancels as type Alert), or an update whose action carries the event on, which then holds it instead.

    Where references and VTEC disagree, where a VTEC event meets an update that has none, or where a VTEC string
    wasn't understood, both messages hold. UPG ends nothing: the higher warning holds beside what it replaces.
    Severity plays no part, nor does the name.

    Times: from the earliest stated begin (``onset``, VTEC; else ``effective`` or ``sent``) to the latest stated
    end (``ends``, VTEC); only where none is stated, to ``expires``, which is the end of the message. Without any,
    or with a VTEC end of noughts: until further notice. Where a stated end isn't after the begin (EXP aside) the
    event holds from the earliest of all its times, and until further notice unless another end is. An update that
    carries an event on doesn't put off its begin.

    A message that names no zone holds for every zone. The order of messages and copies of them don't matter.

    Args:
        sent_by: what was sent later ends nothing: its date is wrong, or the clock is. None: all counts.

    Returns:
        Sorted by begin, event, id.
    """
    actual = [m for m in dict.fromkeys(messages) if m.status == "Actual"]
    zones_of: dict[tuple[OfficialWarning, datetime, datetime | None], list[str]] = {}
    for zone in sorted(set(zones)):
        acting = [m for m in actual if zone in m.zones and (sent_by is None or m.sent_at <= sent_by)]
        holds = [hold for m in actual if _speaks_for(m, zone) for hold in _holds_of(m)]
        for hold in (_carried_on(hold, holds, zone) for hold in holds):
            ends_at = _end_with(acting, hold, zone)
            over = ends_at is not None and (ends_at <= hold.starts_at or ends_at <= at_from)
            if not over and hold.starts_at <= at_to:
                held_in = zones_of.setdefault((hold.message, hold.starts_at, ends_at), [])
                if zone not in held_in:
                    held_in.append(zone)
    found = [HeldWarning(tuple(z), m.event, s, e, m) for (m, s, e), z in zones_of.items()]
    return tuple(sorted(found, key=lambda h: (h.starts_at, h.event, h.message.id, h.zones, repr(h))))


def bars_a_pull(held: HeldWarning, not_a_bar: Collection[str]) -> bool:
    """Whether a warning in force keeps the boat in. All do, save those whose event is named in ``not_a_bar``.

    A name alone isn't trusted: where the message carries a VTEC hazard of another name, or one that wasn't
    understood, it bars.
    """
    harmless = {_folded(name) for name in not_a_bar}
    names = [held.event, *(hazard_name(v.phenomenon, v.significance) for v in held.message.vtec)]
    return bool(held.message.not_understood) or any(_folded(name) not in harmless for name in names)


def remember(
    previous: Iterable[OfficialWarning], new: AlertsReply, now: datetime, *, asked: Collection[str] = ()
) -> tuple[OfficialWarning, ...]:
    """The messages to go on with after a new reply: its own, and all earlier ones that still matter.

    A message that vanished from the list without a cancel is kept to the end of its event. Kept too is what ends
    or replaces a kept message, and what a kept message carries on. A message without an end that vanished is kept
    for good, unless the reply is whole, answers for one of its zones (``asked``), and the message itself has
    expired: the service renews what is still in force before that.

    Args:
        asked: the zones that the reply answers for.
    """
    listed = set(new.warnings)
    messages = list(dict.fromkeys((*previous, *new.warnings)))

    def matters(message: OfficialWarning) -> bool:
        if message in listed:
            return True
        ends = [hold.ends_at for hold in _events_of(message)]
        if None not in ends:
            return any(end > now for end in ends if end is not None)
        answered = new.next_url is None and not set(asked).isdisjoint(message.zones)
        return not (answered and message.expires_at is not None and message.expires_at <= now)

    kept = {m for m in messages if matters(m)}
    carrying = [hold for m in kept for hold in _holds_of(m) if _carries_on(hold)]
    kept |= {m for m in messages for hold in _holds_of(m) if any(_is_carried_by(hold, c) for c in carrying)}
    holds = [hold for m in kept for hold in _holds_of(m)]
    return tuple(m for m in messages if m in kept or any(_acts_on(m, hold) for hold in holds))


def _speaks_for(message: OfficialWarning, zone: str) -> bool:
    return not message.zones or zone in message.zones or f"{zone[:3]}000" in message.zones


def _holds_of(message: OfficialWarning) -> tuple[_Hold, ...]:
    """What a message by itself puts in force."""
    if message.message_type == "Cancel":
        return ()
    return tuple(h for h in _events_of(message) if h.vtec is None or not _cancels(h.vtec))


def _events_of(message: OfficialWarning) -> tuple[_Hold, ...]:
    vtecs: Sequence[Vtec | None] = message.vtec if message.vtec else (None,)
    if message.not_understood and message.vtec:
        vtecs = (*message.vtec, None)
    return tuple(_event(message, vtec) for vtec in vtecs)


def _event(message: OfficialWarning, vtec: Vtec | None) -> _Hold:
    issued_at = min(message.sent_at, message.effective_at or message.sent_at)
    begins = [t for t in (message.onset_at, (vtec.begins_at or issued_at) if vtec else None) if t is not None]
    starts_at = min(begins, default=issued_at)
    ends = [t for t in (message.ends_at, vtec.ends_at if vtec else None) if t is not None]
    ends_at = max(ends) if ends else message.expires_at
    if vtec is not None and vtec.ends_at is None:
        ends_at = None
    if vtec is None or vtec.action != "EXP":
        if ends_at is not None and ends_at <= starts_at:
            ends_at = None
        if any(end <= starts_at for end in ends):
            starts_at = min(issued_at, *ends)
    return _Hold(message, vtec, starts_at, ends_at)


def _carries_on(hold: _Hold) -> bool:
    return hold.vtec is not None and hold.vtec.action in _CARRIES_ON and hold.message.message_type == "Update"


def _is_carried_by(earlier: _Hold, later: _Hold) -> bool:
    """Whether ``later``, which carries an event on, ends ``earlier`` and stands in its place."""
    same = earlier.vtec is None or (later.vtec is not None and earlier.vtec.event == later.vtec.event)
    return same and _stopped_at(later.message, earlier) is not None


def _carried_on(hold: _Hold, holds: Iterable[_Hold], zone: str) -> _Hold:
    """The hold, begun no later than what it carries on: else an update could open a gap in a running event."""
    if not _carries_on(hold) or zone not in hold.message.zones:
        return hold
    begins = [max(e.starts_at, hold.message.sent_at) for e in holds if _is_carried_by(e, hold)]
    return replace(hold, starts_at=min([hold.starts_at, *begins]))


def _end_with(acting: Iterable[OfficialWarning], hold: _Hold, zone: str) -> datetime | None:
    """When a hold ends for a zone, all other messages considered. None: until further notice."""
    stops = [stop for other in acting if zone in other.zones and (stop := _stopped_at(other, hold)) is not None]
    if hold.ends_at is not None:
        stops.append(hold.ends_at)
    return min(stops, default=None)


def _acts_on(message: OfficialWarning, hold: _Hold) -> bool:
    shared = not set(message.zones).isdisjoint(hold.message.zones) or not hold.message.zones
    return shared and message.status == "Actual" and _stopped_at(message, hold) is not None


def _stopped_at(other: OfficialWarning, hold: _Hold) -> datetime | None:
    """When ``other`` ends a hold in the zones it names; None where it doesn't."""
    message = hold.message
    if other.sent_at <= message.sent_at or other.not_understood:
        return None
    if hold.vtec is not None and other.vtec:
        return _stopped_by_vtec(other, hold.vtec, message.sent_at)
    if message.id not in other.references or (hold.vtec is not None and other.message_type == "Update"):
        return None
    carries_on = any(v.action in _CARRIES_ON for v in other.vtec)
    if other.message_type == "Update" or (other.message_type == "Cancel" and not carries_on):
        return other.sent_at
    return None


def _stopped_by_vtec(other: OfficialWarning, event: Vtec, sent_at: datetime) -> datetime | None:
    of_event = [v for v in other.vtec if v.event == event.event and v.product_class == event.product_class == "O"]
    actions = {v.action for v in of_event}
    if len(actions) != 1 or other.sent_at - sent_at > ONE_NUMBERING:
        return None
    (action,) = actions
    if action == "CAN":
        return other.sent_at
    if action == "EXP" and other.message_type == "Cancel":
        return max((v.ends_at for v in of_event if v.ends_at and v.ends_at > other.sent_at), default=other.sent_at)
    if action in _CARRIES_ON and other.message_type == "Update":
        return other.sent_at
    return None


def _cancels(vtec: Vtec) -> bool:
    return vtec.action == "CAN" and vtec.product_class == "O"


def _folded(name: str) -> str:
    return " ".join(name.split()).casefold()
