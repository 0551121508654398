"""P-VTEC strings are read whole or refused."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from soakbell.errors import NotUnderstood
from soakbell.sea.vtec import ACTIONS, ENDING_ACTIONS, parse_vtec


def test_the_worked_example_of_a_small_craft_advisory_is_read_to_the_hour() -> None:
    """Check value W10: issued 12:44 EST 21 Feb 2026, begins 19:00 EST 22 Feb, ends 11:00 EST 23 Feb."""
    vtec = parse_vtec("/O.EXB.KMFL.SC.Y.0010.260223T0000Z-260223T1600Z/")
    assert (vtec.product_class, vtec.action, vtec.office) == ("O", "EXB", "KMFL")
    assert (vtec.phenomenon, vtec.significance, vtec.number) == ("SC", "Y", 10)
    assert vtec.begins_at == datetime(2026, 2, 23, 0, 0, tzinfo=UTC)
    assert vtec.ends_at == datetime(2026, 2, 23, 16, 0, tzinfo=UTC)
    assert vtec.event == ("KMFL", "SC", "Y", 10)


def test_an_event_that_has_begun_or_has_no_end_has_no_such_time() -> None:
    vtec = parse_vtec("/O.CON.KTAE.SC.Y.0001.000000T0000Z-000000T0000Z/")
    assert vtec.begins_at is None
    assert vtec.ends_at is None


@pytest.mark.parametrize(
    "text",
    [
        "/O.EXB.KMFL.SC.Y.0010.260223T0000Z-260223T1600Z",
        "/O.XYZ.KMFL.SC.Y.0010.260223T0000Z-260223T1600Z/",
        "/O.NEW.KMFL.SC.Y.0010.261323T0000Z-260223T1600Z/",
        "/O.NEW.KMFL.SC.Y.0010.260223T1700Z-260223T1600Z/",
        "/O.NEW.KMFL.S.Y.0010.260223T0000Z-260223T1600Z/",
        "",
    ],
)
def test_a_broken_string_is_refused(text: str) -> None:
    with pytest.raises(NotUnderstood):
        parse_vtec(text)


def test_an_expiring_event_is_not_among_those_that_have_ended() -> None:
    assert "EXP" not in ENDING_ACTIONS
    assert ENDING_ACTIONS < ACTIONS
