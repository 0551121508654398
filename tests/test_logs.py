"""Lines of the log hold no address and no position, however it is written. INVENTED DATA."""

from __future__ import annotations

import pytest

from soakbell.logs import scrubbed


@pytest.mark.parametrize(
    "place",
    [
        "30.0301,-84.1604",
        "30.0301, -84.1604",
        "30.03%2C-84.16",
        "30.03%2c-84.16",
        "28.500 -84.517",
        "lat=30.03",
        "'lat_deg': 30.03",
        '"lon_deg": -84.16',
        "longitude: -84",
        "30°01.800'N",
        "30° 01.800′ N, 84° 09.600′ W",
        "30°01'48\"N",
    ],
)
def test_a_position_does_not_get_into_a_line(place: str) -> None:
    kept = scrubbed(f"the station lies at {place} now")
    assert "(position)" in kept
    assert not any(part in kept for part in ("30", "84", "28"))


@pytest.mark.parametrize(
    "said",
    [
        "wind 12.5 kt, gusts 18.25 kt",
        "SQLite 3.51.3 of 2.0.1",
        "the sun 6° below the horizon",
        "took 0.31 s of 2.50 s",
        "2026-12-08T09:30:00.123+00:00",
        "platform: 3.12",
        "127.0.0.1 8461",
    ],
)
def test_other_numbers_stay(said: str) -> None:
    assert scrubbed(said) == said


def test_an_address_does_not_get_into_a_line() -> None:
    assert scrubbed("to <skipper@example.org>: refused") == "to <(address)>: refused"
