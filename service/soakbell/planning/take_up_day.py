"""Days on which traps may only be taken up: no harvest is left before the day by which all must be out."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from soakbell.fishery.rules import Fishery
from soakbell.fishery.season import SeasonReason, season_day
from soakbell.planning.season_end import season_end

_LOOKED_BACK = timedelta(days=366)
_ONE_DAY = timedelta(days=1)


@dataclass(frozen=True)
class TakeUpDay:
    """A day after the last one of harvest and up to that by which all traps must be out.

    ``reason`` bars the harvest on the day.
    """

    last_harvest: date
    deadline: date
    reason: SeasonReason


def take_up_day(fishery: Fishery, day: date, *, sector: str, region: str | None) -> TakeUpDay | None:
    """None on any other day: of harvest, before an opening, in a closure that ends before traps must be out, with
    traps barred, and where no day is known by which they must be out.

    Raises:
        ValueError: ``sector`` or ``region`` isn't one of the fishery's.
    """
    law = season_day(fishery, day, sector=sector, region=region)
    if law.may_harvest or not law.traps_may_be_in_water:
        return None
    end = season_end(fishery, day, sector=sector, region=region)
    if end is None or end.last_harvest is not None or day > end.deadline:
        return None
    last = _harvested_before(fishery, day, sector, region)
    if last is None:
        return None
    return TakeUpDay(last, end.deadline, next(reason for reason in law.reasons if "harvest" in reason.bars))


def _harvested_before(fishery: Fishery, day: date, sector: str, region: str | None) -> date | None:
    """The last day of harvest before ``day`` after which no stretch of days opened again.

    An extension that comes after a gap opens nothing: no trap may be set or pulled for its catch in it.
    """
    last: date | None = None
    barred = False
    at: date | None = day - _LOOKED_BACK
    while at is not None and at <= day:
        law = season_day(fishery, at, sector=sector, region=region)
        if not law.traps_may_be_in_water:
            barred = True
        elif barred and (law.may_set or law.may_harvest):
            last, barred = None, False
        if law.may_harvest and law.next_change is not None:
            last = law.next_change - _ONE_DAY
        at = law.next_change
    return last
