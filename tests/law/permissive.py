"""How permissive a call is, and whether one is more so than another: design, the law of the house."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

import pandas as pd

from law.world import NEW_YORK, World
from soakbell.gear.log import Barred
from soakbell.morning import Morning
from soakbell.planning.call import CallWord
from soakbell.planning.decide import Situation, for_take_up
from soakbell.planning.season_end import season_end
from soakbell.planning.trips import Trip, fit_departures, part_of, plan_trip, possible_departures

Load = Mapping[str, tuple[int, ...]]
"""Places of the traps that a trip hauls, by string."""


@dataclass(frozen=True)
class Judged:
    """What a call allows.

    Attributes:
        fit: fit hours by place (a string's name, or "" for the harbor), of the whole outlook.
        departures: quarter hours at which a trip may leave today, by the trip's name; none where the skipper
            barred the day or a string of the trip.
        take_up: the call is of taking traps up, and of no harvest.
        home: traps that its trip brings home.
        only_unripe: all that stands against a trip is that no string has reached its floor.
    """

    word: CallWord
    now: datetime
    fit: Mapping[str, pd.Series[bool]]
    departures: Mapping[str, frozenset[datetime]]
    only_unripe: bool = False
    take_up: bool = False
    home: int = 0


def trips_of(morning: Morning) -> dict[str, Load]:
    """The called trip and one to each string alone: fixed, so that two calls can be held against each other."""
    fishing = {ahead.string.name: ahead.places for ahead in morning.situation.strings if ahead.places}
    alone: dict[str, Load] = {name: {name: places} for name, places in fishing.items()}
    window = morning.call.window
    if window is None:
        return alone
    return alone | {"called": {pull.string: pull.places or fishing[pull.string] for pull in window.pulls}}


def trip_of(situation: Situation, load: Load) -> Trip:
    """As long as the settings of the boat say: where traps come home, each is stacked besides."""
    rules = situation.days[0]
    taking_up = for_take_up(situation, rules)
    strings = [
        part_of(ahead.string, load[ahead.string.name]) if taking_up else ahead.string
        for ahead in situation.strings
        if ahead.string.name in load
    ]
    traps = {name: len(places) for name, places in load.items()}
    stacks = load.keys() if taking_up else rules.brings_home
    return plan_trip(situation.boat, situation.harbor, strings, traps, stacks=stacks)


def judged(world: World, trips: Mapping[str, Load], morning: Morning | None = None) -> Judged:
    """What the call of ``world`` allows, for trips fixed beforehand.

    That no trip goes to what the skipper barred is held here, by the log itself; and that a called one is reckoned
    no shorter than hauling and stacking take, brings home no more than the deck carries, and leaves when it fits.
    """
    morning = morning or world.call()
    situation, call = morning.situation, morning.call
    barred = barred_today(world)
    home = 0
    if morning.trip is not None:
        called = trips_of(morning)["called"]
        assert not barred.intersection(called)
        trip = trip_of(situation, called)
        assert morning.trip.duration_min >= max(trip.duration_min, least_min(world, called)) - 1e-6
        assert call.window is not None
        assert call.window.leaves_at in departures_of(trip, situation)
        if call.take_up:
            home, deck_traps = sum(map(len, called.values())), world.settings.boat.deck_traps
            assert deck_traps is None or home <= deck_traps
    return Judged(
        word=call.word,
        now=world.now,
        fit={name: place.fit for name, place in situation.places.items()},
        departures={
            name: frozenset() if barred.intersection(load) else departures_of(trip_of(situation, load), situation)
            for name, load in trips.items()
        },
        only_unripe=[reason.code for reason in call.reasons] == ["nothing_ripe"],
        take_up=call.take_up,
        home=home,
    )


def departures_of(trip: Trip, situation: Situation) -> frozenset[datetime]:
    bounds = situation.days[0].bounds
    assert bounds is not None
    leaves = possible_departures(trip, bounds)
    return frozenset(fit_departures(trip, leaves, situation.places, break_margin_h=situation.break_margin_h))


def least_min(world: World, load: Load) -> float:
    """Hauling, the margin, and stacking of each trap that fresh bait is of no use to any more; runs apart."""
    settings, day = world.settings, world.now.astimezone(NEW_YORK).date()
    end = season_end(settings.fishery, day, sector=settings.sector, region=settings.region)
    assert end is not None
    comes_home = {s.name for s in settings.trap_strings if not end.takes_bait(s.soak_floor_h, day)}
    boat = settings.boat
    each_min = {
        name: boat.haul_min_per_trap + (boat.stack_min_per_trap if name in comes_home else 0) for name in load
    }
    return boat.trip_margin_min + sum(len(places) * each_min[name] for name, places in load.items())


def barred_today(world: World) -> frozenset[str]:
    """Strings that the log bars for the day of the call; no world has a correction."""
    every = frozenset(string.name for string in world.settings.strings)
    bars = [entry.detail for entry in world.entries if isinstance(entry.detail, Barred)]
    today = {bar.string for bar in bars if bar.day == world.now.astimezone(NEW_YORK).date()}
    return every if "" in today else frozenset(today)


def looser(before: Judged, after: Judged, *, pinned: bool = False) -> list[str]:
    """In what ``after`` allows more than ``before``: nothing, if the law holds.

    ``pinned``: the skipper pinned something in between, which lifts the floor of a string, his own choice, and no
    more: a PULL may come of it where nothing but the floor stood against one, and no hour or departure.
    Hours that lie behind ``after.now`` are of no use to anybody and are not compared.
    """
    found = []
    floor_lifted = pinned and before.only_unripe
    if after.word is CallWord.PULL and before.word is not CallWord.PULL and not floor_lifted:
        found.append(f"the word: {before.word} became {after.word}")
    if after.word is CallWord.PULL and before.take_up and not after.take_up:
        found.append("a harvest: the call before was of taking up alone")
    if before.take_up and after.take_up and not pinned and after.home > before.home:
        found.append(f"traps home: {before.home} became {after.home}")
    for name, departures in after.departures.items():
        more = sorted(departures - before.departures[name])
        if more:
            found.append(f"trip {name}: {len(more)} more departures, the first at {more[0]}")
    usable = pd.Timestamp(after.now) - timedelta(hours=1)
    for place, fit in after.fit.items():
        more_fit = fit & ~before.fit[place].reindex(fit.index, fill_value=False) & (fit.index > usable)
        if more_fit.any():
            found.append(
                f"{place or 'harbor'}: {int(more_fit.sum())} more fit hours, from {fit.index[more_fit][0]}"
            )
    return found


def stricter(before: Judged, after: Judged) -> bool:
    """Whether ``after`` allows less: another word than PULL, a departure or an hour less, or fewer traps home."""
    return (
        (before.word is CallWord.PULL and after.word is not CallWord.PULL)
        or any(after.departures[name] < departures for name, departures in before.departures.items())
        or any(after.fit[place].sum() < fit.sum() for place, fit in before.fit.items())
        or (after.take_up and after.home < before.home)
    )
