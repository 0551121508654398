"""The end of a season of *Little Grebe*: 148 traps out, two deck loads, a stormy fortnight. INVENTED DATA.

One load comes home on the one fit day; on the last day the authority grants a week more, in which the other does.
Four traps are not found: two turn up ashore, two are written off.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from demo.season import CLAWS_A_TRAP_AND_WEEK, LB_A_CLAW, invented, season_log
from demo.shore import shore_log
from demo.skipper import Skipper
from demo.stormy_weather import STORMY
from demo.story import Story
from soakbell.gear.log import BroughtAshore, FoundMissing, LogEntry, Pulled, Recovered, Retired
from soakbell.planning.call import Call
from soakbell.settings import Settings

DECK_TRAPS = 76
LATER_DAYS = 136
"""The log of December, told for April: the last pulls are then of 15 to 17 April 2027."""

LAST_HARVEST = date(2027, 5, 1)
EXTENDED_ON = date(2027, 5, 6)
EXTENDED_TO = date(2027, 5, 13)
ORDER = f"""\
[[orders]]
effect = "extends take-up"
[orders.rule]
name = "order on late take-up after the storm"
value = {{ first = 2027-05-07, last = {EXTENDED_TO.isoformat()} }}
source = "INVENTED: an order of the demo"
checked = {EXTENDED_ON.isoformat()}
sure = "read"
regions = ["elsewhere"]
"""

NOT_FOUND: Mapping[str, tuple[int, ...]] = {"Outer Bar": (29,), "Grassy Edge": (24,), "The Hump": (8, 22)}
FOUND_ON, FOUND = date(2027, 5, 15), ("Grassy Edge", "Outer Bar")
GIVEN_UP_ON, GIVEN_UP = date(2027, 5, 16), ("The Hump",)

_WORN: Mapping[str, tuple[int, ...]] = {
    "Nine Foot": (3, 20),
    "Grassy Edge": (11,),
    "Outer Bar": (30,),
    "The Hump": (4, 17),
    "Ledge": (6, 21, 33),
}
"""Brought home for good after the last pull: with the one that was lost before, ten of 158."""
_LOST_BEFORE = ("Outer Bar", 17)

_FIRST_HAUL_AFTER = timedelta(minutes=45)
_HAUL_EVERY = timedelta(minutes=60)


class TakeUpSkipper(Skipper):
    """Takes traps up on fit days, sets none again, and orders and thaws no bait any more."""

    def home(self, call: Call) -> list[LogEntry]:
        """What a call to take up names comes home; of one for the catch, the first trip of the recovery list."""
        assert call.window is not None
        window, now = call.window, self._clock.now()
        if call.take_up:
            stops = [Stop(pull.string, pull.places, pull.arrives_at) for pull in window.pulls]
            made = list(_trip_made(stops, window.lands_at))
        else:
            made = self._first_trip(window.leaves_at)
        return [replace(entry, told_at=now) for entry in made]

    def evening(self, _day: date) -> list[LogEntry]:
        return []

    def supply(self, _day: date, _letters: Iterable[str]) -> list[LogEntry]:
        return []

    def afternoon(self, day: date) -> list[LogEntry]:
        now = self._clock.now()
        if day == FOUND_ON:
            return [
                invented(detail, string, now - ago, traps=NOT_FOUND[string], told_at=now)
                for string in FOUND
                for detail, ago in ((Recovered(), timedelta(hours=1)), (BroughtAshore(), timedelta()))
            ]
        if day == GIVEN_UP_ON:
            reason = "not found; the authority was told"
            return [invented(Retired(reason), string, now, traps=NOT_FOUND[string]) for string in GIVEN_UP]
        return []

    def _first_trip(self, leaves_at: datetime) -> list[LogEntry]:
        """The first trip of the recovery list, made; nothing where none is left."""
        recovery = self._desk.season.between(self._clock.now()).recovery
        assert recovery is not None
        made: list[LogEntry] = []
        for trip in recovery.trips[:1]:
            stops = [
                Stop(string.name, tuple(string.places), leaves_at + _FIRST_HAUL_AFTER + number * _HAUL_EVERY)
                for number, string in enumerate(trip.strings)
            ]
            made += _trip_made(stops, leaves_at + timedelta(minutes=trip.minutes))
        return made


@dataclass(frozen=True)
class Stop:
    """Traps of one string, hauled from ``at`` on."""

    string: str
    places: tuple[int, ...]
    at: datetime


def _trip_made(stops: Iterable[Stop], lands_at: datetime) -> Iterator[LogEntry]:
    """The traps of a trip hauled, stacked and landed, but for those that aren't found."""
    harvest = STORMY.local(lands_at).date() <= LAST_HARVEST
    for stop in stops:
        lost = tuple(place for place in stop.places if place in NOT_FOUND.get(stop.string, ()))
        hauled = tuple(place for place in stop.places if place not in lost)
        legal = round(CLAWS_A_TRAP_AND_WEEK * len(hauled)) if harvest else None
        haul = Pulled(
            rebaited=False,
            reset=False,
            legal_claws=legal,
            lb=None if legal is None else round(legal * LB_A_CLAW, 1),
        )
        if hauled:  # without places an entry is of the whole string
            yield invented(haul, stop.string, stop.at, traps=hauled)
            yield invented(BroughtAshore(), stop.string, lands_at, traps=hauled)
        if lost:
            yield invented(FoundMissing(), stop.string, stop.at + timedelta(minutes=40), traps=lost)


def spring_log(settings: Settings) -> list[LogEntry]:
    """What was told to the log up to the evening of 24 April 2027, oldest first."""
    pulls = season_log(settings.trap_strings, STORMY.zone_name, later_days=LATER_DAYS)
    last = {entry.string: entry.happened_at for entry in pulls if isinstance(entry.detail, Pulled)}
    entries = [*pulls, *shore_log(STORMY.zone_name, later_days=LATER_DAYS)]
    for string, places in _WORN.items():
        at = last[string]
        entries += [
            invented(Pulled(rebaited=False, reset=False), string, at + timedelta(minutes=30), traps=places),
            invented(BroughtAshore(), string, at + timedelta(hours=4), traps=places),
            invented(Retired("worn out"), string, at + timedelta(hours=9), traps=places),
        ]
    string, place = _LOST_BEFORE
    entries.append(invented(Retired("not found"), string, last[string] + timedelta(hours=9), traps=(place,)))
    return sorted(entries, key=lambda entry: entry.order)


SEASON_END = Story(
    STORMY,
    spring_log,
    TakeUpSkipper,
    deck_traps=DECK_TRAPS,
    orders={EXTENDED_ON: ORDER},
    of_season_end=True,
)
