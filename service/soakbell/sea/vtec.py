"""Reading P-VTEC strings, ``/O.NEW.KMFL.MA.W.0059.170324T0137Z-170324T0215Z/``. Pure.

Source of the form: NWS Instruction 10-1703.
"""

from __future__ import annotations

import re
from datetime import UTC, datetime

from soakbell.errors import NotUnderstood
from soakbell.sea.warnings import Vtec

_FORM = re.compile(
    r"/([OTEX])\.([A-Z]{3})\.([A-Z]{4})\.([A-Z]{2})\.([A-Z])\.(\d{4})\.(\d{6}T\d{4}Z)-(\d{6}T\d{4}Z)/"
)
_NO_TIME = "000000T0000Z"

ACTIONS = frozenset({"NEW", "CON", "EXA", "EXT", "EXB", "UPG", "CAN", "EXP", "COR", "ROU"})
ENDING_ACTIONS = frozenset({"UPG", "CAN"})
"""Actions after which the event no longer holds for the zones of the segment. EXP is not among them: it is
also sent shortly before the end, so such an event holds to its end time."""


def parse_vtec(text: str) -> Vtec:
    """One P-VTEC string, its slashes included, as a :class:`Vtec`.

    Raises:
        NotUnderstood: the form is broken, the action is unknown, or a time is none.
    """
    found = _FORM.fullmatch(text.strip())
    if found is None:
        raise NotUnderstood(f"expected a P-VTEC string, found {text!r}")
    product_class, action, office, phenomenon, significance, number, begins, ends = found.groups()
    if action not in ACTIONS:
        raise NotUnderstood(f"unknown VTEC action {action!r} in {text!r}")
    begins_at, ends_at = _moment(begins), _moment(ends)
    if begins_at is not None and ends_at is not None and ends_at < begins_at:
        raise NotUnderstood(f"VTEC ends before it begins: {text!r}")
    return Vtec(
        product_class=product_class,
        action=action,
        office=office,
        phenomenon=phenomenon,
        significance=significance,
        number=int(number),
        begins_at=begins_at,
        ends_at=ends_at,
        text=text.strip(),
    )


def _moment(text: str) -> datetime | None:
    if text == _NO_TIME:
        return None
    try:
        return datetime.strptime(text, "%y%m%dT%H%MZ").replace(tzinfo=UTC)
    except ValueError as fault:
        raise NotUnderstood(f"expected a VTEC time, found {text!r}") from fault
