"""The law of the house as a property (A6): damage, age and worse weather never make a call more permissive.

The same holds whatever the skipper pinned and barred, and a bar never does either. A pin lifts the floor of its
string, and nothing else.

From raw bytes to the call. What the mutations leave out, because no reader could tell it, is listed in
``mutations``. The usual run takes some hundreds of cases; SOAKBELL_LAW_CASES and SOAKBELL_LAW_BATCH give more
and others.
"""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path
from random import Random
from typing import Any

import pandas as pd
import pytest

from law.mutations import MUTATIONS, NOT_TOGETHER, can_be_told
from law.permissive import Judged, Load, judged, looser, stricter, trips_of
from law.world import (
    FISHERIES,
    INNER_GRID,
    NEW_YORK,
    NOW,
    OUTER_GRID,
    WARNINGS,
    WITH_ALL_LIMITS,
    WITH_STATION,
    World,
    alerts,
    edited,
    settings_with,
    warning,
    with_pulls,
    world,
)
from soakbell.errors import SettingsError
from soakbell.feeds.alerts import parse_alerts
from soakbell.gear.log import Barred, EntryKind, Pinned
from soakbell.planning.call import CallWord
from soakbell.planning.trips import STACK_MIN_PER_TRAP
from soakbell.sea.sources import SourceKind
from soakbell.settings import load_fishery

CASES = int(os.environ.get("SOAKBELL_LAW_CASES", "600"))
BATCH = int(os.environ.get("SOAKBELL_LAW_BATCH", "0"))
HOUR = timedelta(hours=1)
NOON = NOW.replace(hour=17, minute=0)  # local


def clear() -> World:
    return world()


def marginal() -> World:
    """Wind and sea at their limits all day, gusts past theirs from 13:00 local."""
    return world(text_wind_kt=15, text_sea_ft=3, wind_kt=13, sea_m=0.8, gust_kt=lambda h: 19 if h < 10 else 24)


def blown_out() -> World:
    return world(text_wind_kt=20, wind_kt=14, gust_kt=18)


def with_a_headline() -> World:
    """Barred for two days, fit after that."""
    return world(headlines=["SMALL CRAFT ADVISORY IN EFFECT UNTIL 7 PM EST THIS EVENING"])


def beside_a_station() -> World:
    return world(settings=settings_with(WITH_STATION), measured=(5.0, 8.0, 0.6))


def with_every_limit() -> World:
    return world(settings=settings_with(*WITH_ALL_LIMITS), more=" A slight chance of showers and thunderstorms.")


def advisory_from_noon() -> World:
    """An update to an earlier message, the hazard in the grid, and the headline-free text."""
    later = warning(
        "w2",
        sent_at=NOW - HOUR,
        onset_at=NOON,
        ends_at=NOON + 20 * HOUR,
        expires_at=NOON - HOUR,
        action="CON",
        message_type="Update",
        references=["w1"],
    )
    return world(warnings=[later], hazards=[(NOON, 20, "SC", "Y")])


def warned_in_the_list_alone() -> World:
    """Its list is all that stands against the afternoon: no hazard in the grid, no headline."""
    return world(warnings=[warning("w1", sent_at=NOW - HOUR, onset_at=NOON, ends_at=NOON + 20 * HOUR)])


def gusts_alone() -> World:
    """Calm but for gusts past their limit from 13:00 local."""
    return world(gust_kt=lambda h: 11 if h < 10 else 24)


def vanished_advisory() -> World:
    """A message of yesterday holds the afternoon; the list no longer has it."""
    first = warning("w1", sent_at=NOW - 12 * HOUR, onset_at=NOON + HOUR, ends_at=NOON + 20 * HOUR)
    return replace(world(), seen=parse_alerts(alerts(NOW - 12 * HOUR, first)).warnings)


def sources_apart() -> World:
    """From 08:00 to 11:00 local the grid is 12 kt below the text: a contradiction."""
    return world(text_wind_kt=14, wind_kt=lambda h: 2 if 4 <= h < 7 else 12, gust_kt=15)


def two_zones() -> World:
    apart = settings_with(('name = "Outer Bay"\nzone = "GMZ730"', 'name = "Outer Bay"\nzone = "GMZ765"'))
    return world(settings=apart).with_reply((SourceKind.WARNINGS, "GMZ765"), alerts(NOW - HOUR, zone="GMZ765"))


TODAY = NOW.astimezone(NEW_YORK).date()
TOMORROW = TODAY + timedelta(days=1)


def after_a_season() -> World:
    """Pulls and what they caught in the log, on a day at its limits."""
    return with_pulls(marginal())


def pinned_and_barred() -> World:
    """The other string is pinned, and for tomorrow the other way round."""
    one = with_pulls(marginal())
    one = one.telling(Barred(TODAY, "Nine Foot")).telling(Pinned(TODAY, "Outer Bar"))
    return one.telling(Pinned(TOMORROW, "Nine Foot")).telling(Barred(TOMORROW, "Outer Bar"))


def pinned_too_young() -> World:
    """Two days of soak: nothing is ripe, and the pin alone makes it a PULL."""
    return world(soaked_days=2).telling(Pinned(TODAY, "Nine Foot")).telling(Pinned(TODAY))


def nothing_ripe() -> World:
    """As fit a day as any, two days after the traps were set."""
    return world(soaked_days=2)


TAKE_UP = datetime(2027, 5, 3, 8, 30, tzinfo=UTC)
"""04:30 EDT, two days after the last of the harvest and three before all traps must be out (R1, R5)."""


def taken_up() -> World:
    """Wind and sea at their limits, on strings that went in two days ago."""
    return world(now=TAKE_UP, text_wind_kt=15, text_sea_ft=3, wind_kt=13, sea_m=0.8, gust_kt=18, soaked_days=2)


def taken_up_in_loads() -> World:
    """The deck carries one string and a part of the other, and a trap takes longer to stack than to haul."""
    one = taken_up()
    boat = one.settings.boat.model_copy(update={"deck_traps": 40, "stack_min_per_trap": 2.0})
    return replace(one, settings=replace(one.settings, boat=boat))


def taken_up_in_part() -> World:
    """Fit from 09:00 to 13:00, half of it for after the landing: a part of the nearer string, and no whole one."""
    one = world(
        now=TAKE_UP,
        text_wind_kt=10,
        text_sea_ft=3,
        wind_kt=lambda h: 7 if 5 <= h < 9 else 25,
        sea_m=0.8,
        gust_kt=lambda h: 11 if 5 <= h < 9 else 29,
        soaked_days=2,
    )
    boat = one.settings.boat.model_copy(update={"stack_min_per_trap": 2.0})
    return replace(one, settings=replace(one.settings, boat=boat))


LATE = datetime(2027, 4, 28, 8, 30, tzinfo=UTC)
"""Three days before the last of the harvest: fresh bait is of no use any more to a floor of five days."""


def late_harvest() -> World:
    """A harvest at the limits that brings the traps home, each of which takes longer to stack than to haul."""
    one = world(now=LATE, text_wind_kt=15, text_sea_ft=3, wind_kt=13, sea_m=0.8, gust_kt=18)
    boat = one.settings.boat.model_copy(update={"deck_traps": 40, "stack_min_per_trap": 2.0})
    return replace(one, settings=replace(one.settings, boat=boat))


def not_to_be_taken_up() -> World:
    return world(now=TAKE_UP, text_wind_kt=20, wind_kt=14, gust_kt=18)


def barred_by_the_skipper() -> World:
    """A day as fit as any, which he bars and pins at once."""
    return with_pulls(world()).telling(Barred(TODAY)).telling(Pinned(TODAY, "Nine Foot"))


BASELINES: dict[str, Callable[[], World]] = {
    make.__name__: make
    for make in (
        clear,
        marginal,
        blown_out,
        with_a_headline,
        beside_a_station,
        with_every_limit,
        advisory_from_noon,
        warned_in_the_list_alone,
        gusts_alone,
        vanished_advisory,
        sources_apart,
        two_zones,
        after_a_season,
        pinned_and_barred,
        pinned_too_young,
        nothing_ripe,
        barred_by_the_skipper,
        taken_up,
        taken_up_in_loads,
        taken_up_in_part,
        late_harvest,
        not_to_be_taken_up,
    )
}


STAY_IN = ("blown_out", "with_a_headline", "nothing_ripe", "barred_by_the_skipper", "not_to_be_taken_up")


@dataclass(frozen=True)
class Before:
    world: World
    trips: dict[str, Load]
    judged: Judged


@cache
def before(name: str) -> Before:
    one = BASELINES[name]()
    morning = one.call()
    trips = trips_of(morning)
    return Before(one, trips, judged(one, trips, morning))


def test_the_baselines_are_what_they_are_meant_to_be() -> None:
    assert {name: before(name).judged.word for name in BASELINES} == {
        name: CallWord.WAIT if name in STAY_IN else CallWord.PULL for name in BASELINES
    }
    clear_day = before("clear").judged.departures["Nine Foot"]
    for name in (
        "marginal",
        "advisory_from_noon",
        "warned_in_the_list_alone",
        "gusts_alone",
        "vanished_advisory",
        "sources_apart",
    ):
        assert before(name).judged.departures["Nine Foot"] < clear_day


IN_COMPANY = sorted(
    [*MUTATIONS, *["corrupt", "corrupt letters", "truncate", "drop field", "null value", "retype"]]
)
"""What is drawn besides a case's own kind; the kinds that can hit anywhere in a reply twice as often."""

HOME = ("taken_up", "taken_up_in_loads", "taken_up_in_part")
BITES_IN = {
    "station hole": ("beside_a_station",),
    "fewer deck traps": HOME,
    "more stack minutes": (*HOME, "late_harvest"),
}
"""Worlds in which alone a kind can cost something: every other case that it has to itself is drawn from them."""

NEVER_BITES = ("add pin",)
MORE_TRIES = 60
"""Further cases of a kind that no case of the usual ones saw bite."""


@dataclass(frozen=True)
class Case:
    """A baseline and up to three mutations of it, settled by the batch and the case's number.

    ``kind`` is always among the mutations: redrawn until there is one that applies and that a reader can tell.
    """

    kind: str
    number: str
    alone: bool

    def drawn(self) -> tuple[str, World, list[str]]:
        chance = Random(f"{BATCH} {self.kind} {self.number}")
        every = tuple(BASELINES)
        among = BITES_IN.get(self.kind, every) if self.alone and chance.random() < 0.5 else every
        for _ in range(500):
            name = chance.choice(among)
            one = self._mutated(before(name).world, self.kind, chance)
            if one is not None:
                break
        else:
            pytest.fail(f"{self.kind} applies to no baseline")
        done = [self.kind]
        for kind in () if self.alone else chance.choices(IN_COMPANY, k=chance.choice((1, 2))):
            more = None if {kind, *done} >= NOT_TOGETHER else self._mutated(one, kind, chance)
            if more is not None:
                one = more
                done.append(kind)
        return name, one, done

    @staticmethod
    def _mutated(one: World, kind: str, chance: Random) -> World | None:
        mutated = MUTATIONS[kind](one, chance)
        return mutated if mutated is not None and can_be_told(mutated) else None


@pytest.mark.slow
def test_nothing_that_is_lost_broken_old_or_worse_makes_a_call_more_permissive() -> None:
    """A6. Each kind of mutation is applied as often as any, every other time by itself; all but a pin must have
    cost something by itself."""
    applied: Counter[str] = Counter()
    bit: Counter[str] = Counter()
    words: Counter[str] = Counter()
    met: Counter[str] = Counter()

    def holds(case: Case) -> None:
        name, one, done = case.drawn()
        was = before(name)
        now = judged(one, was.trips)
        found = looser(was.judged, now, pinned="add pin" in done)
        assert not found, f"{name} after {', '.join(done)}: {'; '.join(found)} ({case}, batch {BATCH})"
        applied.update(done)
        met[name] += 1
        words[f"{was.judged.word} -> {now.word}"] += 1
        if len(done) == 1 and stricter(was.judged, now):
            bit[done[0]] += 1

    rounds = -(-CASES // len(MUTATIONS))
    for number in range(rounds):
        for kind in MUTATIONS:
            holds(Case(kind, str(number), alone=number % 2 == 0))
    drawn = sum(words.values())
    for kind in MUTATIONS:
        for number in range(MORE_TRIES):
            if bit[kind] or kind in NEVER_BITES:
                break
            holds(Case(kind, f"more {number}", alone=True))
    print(
        f"\n{drawn} calls and {sum(words.values()) - drawn} more, {sum(applied.values())} mutations: {dict(words)}"
    )
    print("\n".join(f"{kind:20} {applied[kind]:6} applied, {bit[kind]:5} bit alone" for kind in MUTATIONS))
    print(", ".join(f"{name} {met[name]}" for name in BASELINES))
    assert drawn >= CASES
    assert min(applied[kind] for kind in MUTATIONS) >= rounds
    assert [name for name in BASELINES if not met[name]] == []
    assert [kind for kind in MUTATIONS if not bit[kind]] == list(NEVER_BITES)
    assert words["PULL -> NO CALL"] > CASES / 10
    assert words["PULL -> PULL"] > CASES / 20  # else windows would never be compared


# ---- The skipper's pin


PINS = [Pinned(TODAY), Pinned(TODAY, "Nine Foot"), Pinned(TODAY, "Outer Bar"), Pinned(TOMORROW, "Nine Foot")]


@pytest.mark.parametrize("name", BASELINES)
@pytest.mark.parametrize("pin", PINS, ids=str)
def test_a_pin_makes_no_hour_fit_and_gives_no_trip_a_departure(name: str, pin: Pinned) -> None:
    was = before(name)
    assert not looser(was.judged, judged(was.world.telling(pin), was.trips), pinned=True)


@pytest.mark.parametrize("pin", PINS, ids=str)
def test_a_pin_of_a_string_for_today_lifts_its_floor(pin: Pinned) -> None:
    was = before("nothing_ripe")
    assert was.judged.only_unripe
    pulls = pin.day == TODAY and pin.string != ""
    now = was.world.telling(pin).call().call
    assert (now.word, now.window is not None) == (CallWord.PULL if pulls else CallWord.WAIT, pulls)
    if now.window is not None:
        assert [pull.string for pull in now.window.pulls] == [pin.string]
        assert now.window.leaves_at in was.judged.departures[pin.string]


@pytest.mark.parametrize(
    "against",
    [
        {"text_wind_kt": 20, "wind_kt": 14, "gust_kt": 18},
        {"headlines": ["SMALL CRAFT ADVISORY IN EFFECT UNTIL 7 PM EST THIS EVENING"]},
        {"warnings": [warning("w1", sent_at=NOW - HOUR, onset_at=NOW, ends_at=NOW + 20 * HOUR)]},
    ],
    ids=["wind", "headline", "warning"],
)
def test_a_pin_lifts_nothing_that_stands_against_the_hours(against: dict[str, Any]) -> None:
    pinned = world(soaked_days=2, **against).telling(Pinned(TODAY, "Nine Foot"))
    assert pinned.call().call.word is CallWord.WAIT


# ---- The harvest is closed


@pytest.mark.parametrize("name", ["taken_up", "taken_up_in_loads", "not_to_be_taken_up"])
def test_once_the_harvest_is_closed_every_call_is_of_taking_up(name: str) -> None:
    assert before(name).judged.take_up


def test_no_line_that_the_rules_of_the_fishery_lose_gives_a_harvest_back(tmp_path: Path) -> None:
    """Each line of the season and of the working hours, and each table of them whole."""
    text = (FISHERIES / "florida-stone-crab.toml").read_text("utf-8")
    head, rest = text.split("[[seasons]]", 1)
    seasons, more = rest.split("[[working_hours]]", 1)
    lines = ("[[seasons]]" + seasons).splitlines(keepends=True)
    tables = ("[[seasons]]" + seasons).split("\n\n")
    torn = ["".join(lines[:n] + lines[n + 1 :]) for n in range(len(lines)) if lines[n].strip()]
    torn += ["\n\n".join(tables[:n] + tables[n + 1 :]) for n in range(len(tables))]
    one, read = before("taken_up").world, 0
    for said in torn:
        path = tmp_path / "torn.toml"
        path.write_text(f"{head}{said}\n[[working_hours]]{more}", "utf-8")
        try:
            rules = load_fishery(path)
        except SettingsError:
            continue
        read += 1
        call = replace(one, settings=replace(one.settings, fishery=rules)).call().call
        assert call.word is not CallWord.PULL or call.take_up, said
    assert 0 < read < len(torn)


HAUL = "haul_min_per_trap = 1.5"


@pytest.mark.parametrize("key", ["deck_traps", "stack_min_per_trap"])
@pytest.mark.parametrize("value", ["nan", "inf", "-inf", "-1", "1e6", '""', '"many"', "[]", "true"])
def test_a_deck_load_or_stacking_that_makes_no_sense_is_refused_and_never_left_out(key: str, value: str) -> None:
    with pytest.raises(SettingsError, match=key):
        settings_with((HAUL, f"{HAUL}\n{key} = {value}"))


def test_stacking_that_is_left_out_takes_its_usual_minutes_and_not_none() -> None:
    """All 60 traps are called; a line that is lost must not make their trip as short as that of a harvest."""
    was = before("taken_up").world
    none = was.settings.boat.model_copy(update={"stack_min_per_trap": 0.0})
    left_out, unreckoned = was.call().trip, replace(was, settings=replace(was.settings, boat=none)).call().trip
    assert left_out is not None
    assert unreckoned is not None
    assert left_out.duration_min - unreckoned.duration_min == pytest.approx(60 * STACK_MIN_PER_TRAP)
    assert STACK_MIN_PER_TRAP > 0


def test_a_harvest_whose_traps_come_home_is_reckoned_with_their_stacking() -> None:
    """Wind over the limit from 14:00: three days earlier, with bait still of use, both strings are pulled."""
    words = {}
    for day in (24, 28):
        now = LATE.replace(day=day)
        wind = {"wind_kt": lambda h: 7 if h < 10 else 25, "gust_kt": lambda h: 11 if h < 10 else 29}
        one = world(now=now, text_wind_kt=10, text_sea_ft=3, sea_m=0.8, **wind)
        boat = one.settings.boat.model_copy(update={"stack_min_per_trap": 6.0})
        called = trips_of(replace(one, settings=replace(one.settings, boat=boat)).call()).get("called", {})
        words[day] = sorted(called)
    assert words == {24: ["Nine Foot", "Outer Bar"], 28: ["Nine Foot"]}


@pytest.mark.parametrize("name", ["taken_up", "taken_up_in_part", "not_to_be_taken_up"])
@pytest.mark.parametrize("deck_traps", [1, 23, 24, 25, 36, 59])
def test_the_word_does_not_hang_on_the_deck_load_and_no_more_comes_home(name: str, deck_traps: int) -> None:
    was = before(name)
    boat = was.world.settings.boat.model_copy(update={"deck_traps": deck_traps})
    now = judged(replace(was.world, settings=replace(was.world.settings, boat=boat)), was.trips)
    assert now.word is was.judged.word
    assert now.departures == was.judged.departures
    assert now.home == min(deck_traps, was.judged.home)


# ---- Source loss, one by one


LOSSES = [(name, key) for name in BASELINES if name not in STAY_IN for key in BASELINES[name]().replies]


@pytest.mark.parametrize(("name", "key"), LOSSES, ids=str)
def test_the_loss_of_any_source_turns_a_pull_into_no_call(name: str, key: tuple[SourceKind, str]) -> None:
    was = before(name)
    assert was.judged.word is CallWord.PULL
    assert was.world.with_reply(key).call().call.word is CallWord.NO_CALL
    assert was.world.with_reply(key, b"<html>busy</html>").call().call.word is CallWord.NO_CALL


@pytest.mark.parametrize(
    "bodies",
    [(), (b"",), (b"<html>busy</html>",), (b'{"type": "FeatureCollection"}',), (b'{"type": "FeatureCollec',)],
    ids=["gone", "empty", "a page", "no list", "cut off"],
)
def test_hours_that_only_the_list_of_warnings_bars_stay_barred_without_it(bodies: tuple[bytes, ...]) -> None:
    was = before("warned_in_the_list_alone")
    assert not looser(was.judged, judged(was.world.with_reply(WARNINGS, *bodies), was.trips))


@pytest.mark.parametrize("key", [INNER_GRID, OUTER_GRID], ids=str)
@pytest.mark.parametrize("what", ["layer", "every interval", "the strong ones", "their values", "every value"])
def test_hours_that_only_a_gust_stands_against_are_not_fit_where_it_is_lost(
    key: tuple[SourceKind, str], what: str
) -> None:
    was = before("gusts_alone")

    def lose(said: dict[str, Any]) -> None:
        layers = said["properties"]
        told = layers["windGust"]["values"]
        if what == "layer":
            del layers["windGust"]
        elif what == "every interval":
            told.clear()
        elif what == "the strong ones":
            del told[1:]
        else:
            for interval in told[1:] if what == "their values" else told:
                interval["value"] = None

    (body,) = was.world.replies[key]
    assert not looser(was.judged, judged(was.world.with_reply(key, edited(body, lose)), was.trips))


# ---- The comparison itself


def hours_fit(*fit: bool) -> dict[str, pd.Series[bool]]:
    return {"Ledge": pd.Series(list(fit), index=pd.date_range(NOW.replace(minute=0), periods=len(fit), freq="h"))}


def allowed(
    word: CallWord = CallWord.PULL, *fit: bool, leaves: tuple[int, ...] = (3, 4), later_h: float = 0
) -> Judged:
    departures = frozenset(NOW + quarter * timedelta(minutes=15) for quarter in leaves)
    return Judged(word, NOW + later_h * HOUR, hours_fit(*(fit or (True, False, True))), {"called": departures})


@pytest.mark.parametrize(
    "after",
    [
        allowed(leaves=(3, 4, 5)),
        allowed(leaves=(5,)),
        allowed(CallWord.PULL, True, True, False),
        allowed(CallWord.WAIT, True, True, True),
    ],
)
def test_the_comparison_sees_a_departure_or_an_hour_too_many(after: Judged) -> None:
    assert looser(allowed(), after)


@pytest.mark.parametrize("word", [CallWord.WAIT, CallWord.NO_CALL])
def test_the_comparison_sees_a_pull_that_was_none(word: CallWord) -> None:
    assert looser(allowed(word), allowed(CallWord.PULL))
    assert not looser(allowed(CallWord.PULL), allowed(word))


def test_the_comparison_excuses_a_pin_only_where_nothing_but_a_floor_stood_against_a_trip() -> None:
    unripe = replace(allowed(CallWord.WAIT), only_unripe=True)
    assert not looser(unripe, allowed(), pinned=True)
    assert looser(unripe, allowed())
    assert looser(allowed(CallWord.WAIT), allowed(), pinned=True)
    assert looser(unripe, allowed(leaves=(3, 4, 5)), pinned=True)


def test_the_comparison_sees_a_harvest_on_a_day_for_taking_up() -> None:
    home = replace(allowed(), take_up=True)
    assert looser(home, allowed())
    assert not looser(home, home)


def test_the_comparison_sees_a_trap_too_many_on_a_trip_home() -> None:
    home = replace(allowed(), take_up=True, home=24)
    assert looser(home, replace(home, home=25))
    assert not looser(home, replace(home, home=23))
    assert stricter(home, replace(home, home=23))


def test_the_comparison_lets_less_pass_and_asks_nothing_of_hours_gone_by() -> None:
    assert not looser(allowed(), allowed())
    assert not stricter(allowed(), allowed())
    assert not looser(allowed(), allowed(leaves=(4,)))
    assert stricter(allowed(), allowed(leaves=(4,)))
    assert stricter(allowed(), allowed(CallWord.NO_CALL))
    assert not looser(allowed(), allowed(CallWord.PULL, True, True, True, later_h=2))


def test_the_property_catches_a_permissive_fault_planted_in_a_world() -> None:
    """Better weather as if it were damage: each of these must be seen as more permissive."""
    was = before("marginal")
    calmer = world(text_wind_kt=10, text_sea_ft=2, wind_kt=8, sea_m=0.5, gust_kt=12)
    assert looser(was.judged, judged(calmer, was.trips))
    blown = before("blown_out")
    assert "the word: WAIT became PULL" in looser(blown.judged, judged(calmer, blown.trips))
    barred = before("barred_by_the_skipper")
    kept = tuple(entry for entry in barred.world.entries if entry.kind is not EntryKind.BARRED)
    forgotten = judged(replace(barred.world, entries=kept), barred.trips)
    assert "the word: WAIT became PULL" in looser(barred.judged, forgotten)
    noon = before("advisory_from_noon")
    without = replace(noon.world, replies=noon.world.replies | world().replies)
    assert looser(noon.judged, judged(without, noon.trips))
