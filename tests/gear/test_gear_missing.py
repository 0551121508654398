"""Missing traps: last seen when, and where to look for them."""

from __future__ import annotations

from datetime import datetime

import pytest

from logbook import END, FIRST, START, STRINGS, hours, told
from soakbell.gear.fold import fold
from soakbell.gear.log import (
    FoundMissing,
    LogEntry,
    Moved,
    Pulled,
    Recovered,
    Renumbered,
    Replaced,
    Tagged,
    TrapsSet,
)
from soakbell.gear.missing import MissingTrap, missing_traps, search_box
from soakbell.gear.strings import Mark
from soakbell.gear.trap_states import point_of_line

AT_ONCE = FIRST + hours(50)
SET = told(TrapsSet())
LOST = told(FoundMissing(), 50, traps=(3,))


def missing(*entries: LogEntry, now: datetime = AT_ONCE) -> tuple[MissingTrap, ...]:
    return missing_traps(fold(entries, STRINGS), now)


def test_no_trap_is_missing_until_it_is_told_so() -> None:
    assert missing(SET, told(Pulled(), 40)) == ()


def test_a_missing_trap_is_told_with_its_tag_and_when_it_was_last_seen() -> None:
    [trap] = missing(SET, told(Tagged("A 117"), 1, traps=(3,)), told(Pulled(), 40), LOST)
    assert (trap.string, trap.place, trap.origin, trap.tag) == ("Nine Foot", 3, "Nine Foot 3", "A 117")
    assert (trap.last_seen, trap.missing_since) == (FIRST + hours(40), FIRST + hours(50))
    assert not trap.replaced


def test_a_trap_that_another_replaced_is_still_looked_for() -> None:
    other = told(FoundMissing(), 70, traps=(3,))
    log = (SET, LOST, told(Replaced(), 55, traps=(3,)), told(TrapsSet(), 60, traps=(3,)), other)
    assert [(trap.origin, trap.replaced) for trap in missing(*log)] == [
        ("Nine Foot 3/2", False),
        ("Nine Foot 3", True),
    ]


def test_a_recovered_trap_is_looked_for_no_more() -> None:
    assert missing(SET, LOST, told(Recovered(), 60, traps=(3,))) == ()


def test_the_search_box_against_one_reckoned_by_hand() -> None:
    """A minute of latitude at 30 N is 1847.5 m and one of longitude 1608.1 m: series for the WGS84 ellipsoid.

    111132.954 - 559.822 cos 2B + 1.175 cos 4B and 111412.84 cos B - 93.5 cos 3B + 0.118 cos 5B metres a degree.
    """
    box = search_box(Mark(30.0, -84.15), 1.0)
    assert box.north_deg - 30.0 == pytest.approx(1852.0 / 1847.5 / 60, rel=1e-4)
    assert 30.0 - box.south_deg == pytest.approx(1852.0 / 1847.5 / 60, rel=1e-4)
    assert box.east_deg + 84.15 == pytest.approx(1852.0 / 1608.1 / 60, rel=1e-4)
    assert -84.15 - box.west_deg == pytest.approx(1852.0 / 1608.1 / 60, rel=1e-4)


@pytest.mark.parametrize(
    ("days", "margin_nmi"), [(0, 0.3), (10, 1.3), (27, 3.0), (100, 3.0)], ids=lambda given: str(given)
)
def test_the_margin_grows_with_the_days_up_to_an_end(days: int, margin_nmi: float) -> None:
    """0.3 nmi, and 0.1 nmi more each day since it was last seen, up to 3 nmi: common practice, no source."""
    [trap] = missing(
        SET, told(Pulled(), 50), told(FoundMissing(), 50.5, traps=(3,)), now=FIRST + hours(50 + 24 * days)
    )
    north_nmi = (trap.box.north_deg - trap.box.south_deg) / 2 * 60 * 1847.5 / 1852
    assert north_nmi == pytest.approx(margin_nmi, rel=1e-3)


def test_a_trap_is_looked_for_around_its_own_point_of_the_line() -> None:
    """The third of four traps lies two thirds of the way: 30.00 - 0.01 * 2/3 degrees."""
    [trap] = missing(SET, LOST)
    assert (trap.box.north_deg + trap.box.south_deg) / 2 == pytest.approx(29.99333, abs=1e-5)
    assert (trap.box.east_deg + trap.box.west_deg) / 2 == pytest.approx(-84.15, abs=1e-9)


def test_a_trap_is_looked_for_where_it_was_lost_and_not_where_the_string_lies_now() -> None:
    away = told(Moved(Mark(30.5, -84.5), Mark(30.51, -84.5)), 60)
    swapped = told(Renumbered(((1, 3), (3, 1))), 65)
    [before] = missing(SET, LOST)
    [after] = missing(SET, LOST, away, swapped)
    assert after.place == 1
    assert after.box == before.box


@pytest.mark.parametrize(
    ("place", "traps", "lat_deg"), [(1, 3, 30.0), (2, 3, 29.995), (3, 3, 29.99), (1, 1, 29.995)]
)
def test_traps_lie_evenly_from_mark_to_mark(place: int, traps: int, lat_deg: float) -> None:
    assert point_of_line(START, END, place, traps).lat_deg == pytest.approx(lat_deg)


def test_a_line_across_the_180th_meridian_is_a_short_one() -> None:
    point = point_of_line(Mark(52.0, 179.99), Mark(52.0, -179.97), 2, 3)
    assert point.lon_deg == pytest.approx(-179.99)
