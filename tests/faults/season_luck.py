"""What befalls the service itself on a day of a season: pure, from a seed and the day."""

from __future__ import annotations

import random
from dataclasses import dataclass
from datetime import date, timedelta

from faults.bad_forecasts import ForecastFault
from faults.bad_mail import MailFault

DIES, WRONG_CLOCK, LOCKED = 0.5, 0.12, 0.3  # about the chances of a day
STEPS = (1.0, 3.5)  # as powers of ten: a sweep takes from some dozens to some thousands
AWAY_MIN = (1, 1, 3, 3, 20, 90, 400)
WRONG_BY = tuple(timedelta(hours=h) for h in (-25.0, -2.0, -0.1, 0.3, 3.0, 26.0))
WRONG_FOR_MIN = (10, 60, 300)

FORECAST_CHANCES = {
    fault: 0.004 if fault in (ForecastFault.DRIP, ForecastFault.SILENCE) else 0.02 for fault in ForecastFault
}
MAIL_CHANCES = {fault: 0.004 if fault is MailFault.RCPT_5YZ else 0.03 for fault in MailFault}


@dataclass(frozen=True)
class DayLuck:
    """Sweeps of a day are counted from 0.

    Attributes:
        dies: sweep -> after how many of its ``steps`` the service is killed, if it takes so many.
        away_min: how long the service is off after each death, minutes.
        locked: sweep -> seconds for which another program holds the database from its start.
        wrong: from the sweep on, the clock is wrong by so much for so many minutes.
    """

    dies: dict[int, int]
    away_min: int
    locked: dict[int, float]
    wrong: tuple[int, timedelta, int] | None


def luck_of(seed: int, day: date, *, may_die: bool = True) -> DayLuck:
    dice = random.Random(f"{seed} luck {day}")
    dies = {dice.randrange(20): round(10 ** dice.uniform(*STEPS)) for _ in range(2) if dice.random() < DIES / 2}
    away_min = dice.choice(AWAY_MIN)
    locked = {dice.randrange(20): dice.uniform(0.1, 1.2) for _ in range(2) if dice.random() < LOCKED / 2}
    wrong = (dice.randrange(16), dice.choice(WRONG_BY), dice.choice(WRONG_FOR_MIN))
    return DayLuck(dies if may_die else {}, away_min, locked, wrong if dice.random() < WRONG_CLOCK else None)
