"""How permissive a call is, and whether one is more so than another: design, the law of the house."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import pandas as pd

from law.world import NEW_YORK, World
from soakbell.gear.log import Barred
from soakbell.morning import Morning
from soakbell.planning.call import CallWord
from soakbell.planning.decide import Situation, for_take_up
from soakbell.planning.trips import Trip, fit_departures, plan_trip, possible_departures

Load = Mapping[str, int]
"""Traps that a trip hauls, by string."""


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
    alone: dict[str, Load] = {
        ahead.string.name: {ahead.string.name: ahead.fishing} for ahead in morning.situation.strings
    }
    window = morning.call.window
    return alone | ({"called": {pull.string: pull.traps for pull in window.pulls}} if window else {})


def trip_of(situation: Situation, load: Load) -> Trip:
    """As long as the settings of the boat say: to take up, each trap is stacked besides."""
    boat = situation.boat
    if for_take_up(situation, situation.days[0]):
        boat = replace(boat, haul_min_per_trap=boat.haul_min_per_trap + boat.stack_min_per_trap)
    strings = [ahead.string for ahead in situation.strings if ahead.string.name in load]
    return plan_trip(boat, situation.harbor, strings, load)


def judged(world: World, trips: Mapping[str, Load], morning: Morning | None = None) -> Judged:
    """What the call of ``world`` allows, for trips fixed beforehand.

    That no trip goes to what the skipper barred is held here, by the log itself; and that a called one is reckoned
    no shorter than hauling and stacking take, and brings home no more than the deck carries.
    """
    morning = morning or world.call()
    situation, call = morning.situation, morning.call
    bounds = situation.days[0].bounds
    assert bounds is not None
    barred = barred_today(world)
    home = 0
    if morning.trip is not None:
        called = trips_of(morning)["called"]
        assert not barred.intersection(called)
        assert morning.trip.duration_min >= trip_of(situation, called).duration_min - 1e-6
        if call.take_up:
            home, deck_traps = sum(called.values()), world.settings.boat.deck_traps
            assert deck_traps is None or home <= deck_traps
    return Judged(
        word=call.word,
        now=world.now,
        fit={name: place.fit for name, place in situation.places.items()},
        departures={
            name: frozenset()
            if barred.intersection(load)
            else frozenset(
                fit_departures(
                    trip := trip_of(situation, load),
                    possible_departures(trip, bounds),
                    situation.places,
                    break_margin_h=situation.break_margin_h,
                )
            )
            for name, load in trips.items()
        },
        only_unripe=[reason.code for reason in call.reasons] == ["nothing_ripe"],
        take_up=call.take_up,
        home=home,
    )


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
