"""What befalls the service itself on a day of a season: pure, from a seed and the day."""

from __future__ import annotations

import random
from dataclasses import dataclass
from datetime import date, time, timedelta
from enum import StrEnum

from faults.bad_forecasts import ForecastFault
from faults.bad_mail import MailFault

DIES, WRONG_CLOCK, LOCKED = 0.5, 0.12, 0.3  # about the chances of a day
LOOKS_FAIL, DISK_FULL, RESTORED, SET_BACK = 0.06, 0.06, 0.05, 0.06
STEPS = (1.0, 3.5)  # as powers of ten: a sweep takes from some dozens to some thousands
AWAY_MIN = (1, 1, 3, 3, 20, 90, 400)
WRONG_BY = tuple(timedelta(hours=h) for h in (-25.0, -2.0, -0.1, 0.3, 3.0, 26.0))
WRONG_FOR_MIN = (10, 60, 300)
LOOKS_FAIL_FROM = (time(0), time(8, 30))
LOOKS_FAIL_DAYS = 2
FULL_FOR_MIN = (60, 200, 400)
SET_BACK_BY = timedelta(minutes=-10)

FORECAST_CHANCES = {
    fault: 0.004 if fault in (ForecastFault.DRIP, ForecastFault.SILENCE) else 0.02 for fault in ForecastFault
}
TOGETHER_CHANCES = {ForecastFault.FAILS: 0.05, ForecastFault.BUSY: 0.02, ForecastFault.SILENCE: 0.004}
"""Of all services at once."""
MAIL_CHANCES = {fault: 0.004 if fault is MailFault.RCPT_5YZ else 0.03 for fault in MailFault}


class LookFault(StrEnum):
    """What becomes of each look at a call that was made."""

    FAILS = "looks fail"
    DIES = "looks kill the service"


@dataclass(frozen=True)
class DayLuck:
    """Sweeps of a day are counted from 0.

    Attributes:
        dies: sweep -> after how many of its ``steps`` the service is killed, if it takes so many.
        away_min: how long the service is off after each death, minutes.
        locked: sweep -> seconds for which another program holds the database from its start.
        wrong: from the sweep on, the clock is wrong by so much for so many minutes.
        set_back: sweeps in which the clock is set back while a letter is written, for ten minutes.
        looks: how each look fails, from a local time on.
        full: from the sweep on, the disk below the database is full for so many minutes.
        restored: a sweep after which a backup is made, and one after which it is restored.
    """

    dies: dict[int, int]
    away_min: int
    locked: dict[int, float]
    wrong: tuple[int, timedelta, int] | None
    set_back: tuple[int, ...] = ()
    looks: tuple[LookFault, time] | None = None
    full: tuple[int, int] | None = None
    restored: tuple[int, int] | None = None


def luck_of(seed: int, day: date, *, may_die: bool = True) -> DayLuck:
    """Where the service may not die it isn't restored either."""
    dice = random.Random(f"{seed} luck {day}")
    dies = {dice.randrange(20): round(10 ** dice.uniform(*STEPS)) for _ in range(2) if dice.random() < DIES / 2}
    away_min = dice.choice(AWAY_MIN)
    locked = {dice.randrange(20): dice.uniform(0.1, 1.2) for _ in range(2) if dice.random() < LOCKED / 2}
    wrong = (dice.randrange(16), dice.choice(WRONG_BY), dice.choice(WRONG_FOR_MIN))
    wrong_today = dice.random() < WRONG_CLOCK
    backed_up = dice.randrange(4, 14)
    restored = (backed_up, backed_up + dice.randrange(1, 8))
    full = (dice.randrange(16), dice.choice(FULL_FOR_MIN))
    return DayLuck(
        dies if may_die else {},
        away_min,
        locked,
        wrong if wrong_today else None,
        set_back=(2, 3, 4) if dice.random() < SET_BACK else (),
        looks=_looks(seed, day, may_die=may_die),
        full=full if dice.random() < DISK_FULL else None,
        restored=restored if may_die and dice.random() < RESTORED else None,
    )


def _looks(seed: int, day: date, *, may_die: bool) -> tuple[LookFault, time] | None:
    """On some mornings running."""
    for back in range(LOOKS_FAIL_DAYS):
        dice = random.Random(f"{seed} looks {day - timedelta(days=back)}")
        if dice.random() < LOOKS_FAIL:
            fault = dice.choice(tuple(LookFault))
            return fault if may_die else LookFault.FAILS, dice.choice(LOOKS_FAIL_FROM)
    return None
