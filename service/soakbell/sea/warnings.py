"""Official warnings: what is in force for a zone, at which times.

Source of the state rules: OASIS Common Alerting Protocol 1.2, sections 3.2.1 and 3.2.2; NWS Instruction
10-1703 (VTEC).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime


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
