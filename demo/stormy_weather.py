"""The invented weather around the end of the stone crab season of 2027. INVENTED DATA throughout.

A stormy fortnight with one fit day in it, then a calm week. For a day the forecasters believe in a second fit day.
"""

from __future__ import annotations

from datetime import date, datetime
from zoneinfo import ZoneInfo

from demo.weather import FORTNIGHT, Advisory, AdvisoryMessage, Belief, Scenario, Turn

_TZ = ZoneInfo(FORTNIGHT.zone_name)


def _apr(day: int, hour: int, minute: int = 0) -> datetime:
    return datetime(2027, 4, day, hour, minute, tzinfo=_TZ)


def _may(day: int, hour: int, minute: int = 0) -> datetime:
    return datetime(2027, 5, day, hour, minute, tzinfo=_TZ)


_TURNS = (
    Turn(_apr(22, 0), 10, 120, 14, 1.8),
    Turn(_apr(24, 12), 12, 150, 17, 2.0),
    # the first front
    Turn(_apr(25, 0), 16, 160, 21, 2.8, 5),
    Turn(_apr(25, 9), 19, 170, 26, 3.9, 5),
    Turn(_apr(25, 21), 20, 175, 27, 4.4, 5, 10),
    Turn(_apr(26, 9), 21, 190, 29, 4.8, 6, 40, 6),
    Turn(_apr(26, 18), 24, 230, 33, 5.4, 6, 60, 5),
    Turn(_apr(27, 0), 24, 310, 33, 5.6, 5, 20),
    Turn(_apr(27, 12), 21, 330, 29, 4.8, 5),
    Turn(_apr(28, 0), 19, 345, 26, 4.2, 5),
    Turn(_apr(28, 12), 17, 0, 23, 3.4, 5),
    Turn(_apr(28, 20), 11, 20, 15, 2.3),
    # the one fit day
    Turn(_apr(29, 3), 8, 50, 11, 1.7),
    Turn(_apr(29, 12), 7, 110, 10, 1.3),
    Turn(_apr(29, 18), 9, 150, 13, 1.5),
    # strong southerlies for days
    Turn(_apr(30, 2), 15, 165, 20, 2.7, 5),
    Turn(_apr(30, 9), 19, 175, 26, 4.0, 5),
    Turn(_may(1, 0), 20, 180, 27, 4.6, 5, 20),
    Turn(_may(2, 12), 19, 175, 26, 4.4, 5),
    # the second front
    Turn(_may(3, 6), 20, 180, 28, 4.8, 5, 30),
    Turn(_may(3, 18), 25, 210, 34, 5.6, 6, 60, 5),
    Turn(_may(4, 6), 26, 300, 35, 6.0, 6, 30, 6),
    Turn(_may(4, 18), 23, 320, 31, 5.4, 6),
    Turn(_may(5, 6), 20, 335, 28, 4.8, 5),
    Turn(_may(6, 9), 19, 345, 26, 4.2, 5),
    Turn(_may(6, 22), 18, 350, 24, 3.8, 5),
    Turn(_may(7, 12), 17, 10, 22, 3.3),
    Turn(_may(7, 20), 10, 40, 14, 2.1),
    # calm, too late for the season
    Turn(_may(8, 5), 7, 80, 10, 1.5),
    Turn(_may(8, 18), 6, 120, 9, 1.0),
    Turn(_may(12, 12), 7, 140, 10, 1.2),
    Turn(_may(18, 0), 8, 150, 11, 1.3),
)


def _advisory(number: int, what: str, begins: datetime, ends: datetime, *sent: datetime) -> Advisory:
    actions = ("NEW", *["CON"] * (len(sent) - 1))
    return Advisory(
        number,
        what,
        tuple(AdvisoryMessage(at, action, begins, ends) for at, action in zip(sent, actions, strict=True)),
    )


STORMY = Scenario(
    zone_name=FORTNIGHT.zone_name,
    first_evening=date(2027, 4, 24),
    days=22,
    turns=_TURNS,
    cells=FORTNIGHT.cells,
    beliefs=(
        Belief(
            _apr(28, 15, 20),
            (
                Turn(_apr(30, 2), 9, 160, 12, 1.6),
                Turn(_apr(30, 18), 10, 160, 14, 1.8),
                Turn(_may(1, 0), 12, 170, 16, 2.2),
            ),
        ),
    ),
    advisories=(
        _advisory(
            27,
            "winds 20 to 25 knots with gusts up to 35 knots and seas 4 to 6 feet",
            _apr(26, 8),
            _apr(27, 20),
            *(_apr(25, 15, 25), _apr(26, 3, 20), _apr(26, 15, 25), _apr(27, 3, 20), _apr(27, 15, 25)),
        ),
        _advisory(
            28,
            "winds 20 to 30 knots with gusts up to 35 knots and seas 4 to 6 feet",
            _may(3, 14),
            _may(5, 7),
            *(_may(2, 15, 25), _may(3, 3, 20), _may(3, 15, 25), _may(4, 3, 20), _may(4, 15, 25), _may(5, 3, 20)),
        ),
    ),
    seed=731,
)
