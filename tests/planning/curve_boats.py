"""Boats whose catch curve is known, and their logs. INVENTED DATA, drawn at random."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from soakbell.planning.catch_curve import CatchCurve, CurvePrior, Haul, LogNormal, fit_curve

SOAKS_DAYS = (5.0, 7.0, 10.0, 14.0)
SEASON_DAYS = 200


@dataclass(frozen=True)
class Boat:
    """What is true of a boat: A by string, b, r, d, k; and the hauls it logged."""

    claws_a_day: dict[str, float]
    bait_decay: float
    loss: float
    decline: float
    evenness: float
    hauls: tuple[Haul, ...]

    def claws(self, string: str, soak_days: float, season_day: float) -> float:
        """C(t) in the plain form of the reference, not the program's."""
        b, r = self.bait_decay, self.loss
        shape = (math.exp(-b * soak_days) - math.exp(-r * soak_days)) / (r - b)
        return self.claws_a_day[string] * shape * math.exp(-self.decline * season_day)


def boat(rng: np.random.Generator, prior: CurvePrior | None = None) -> Boat:
    """3 to 8 strings of 12 to 40 traps over 1 to 3 seasons, pulled about weekly; some hauls aren't logged."""
    prior = prior or CurvePrior()

    def drawn(of: LogNormal) -> float:
        return of.median * math.exp(of.spread * rng.standard_normal())

    level, between = drawn(prior.claws_a_day), math.exp(rng.uniform(math.log(0.2), math.log(0.8)))
    strings = [f"String {number}" for number in range(1, rng.integers(4, 10))]
    claws_a_day = {string: level * math.exp(between * rng.standard_normal()) for string in strings}
    decline, evenness = drawn(prior.decline), drawn(prior.evenness)
    bait_decay, loss = drawn(prior.bait_decay), drawn(prior.loss)
    bare = Boat(claws_a_day, bait_decay, loss, decline, evenness, ())
    hauls = []
    seasons = int(rng.integers(1, 4))
    for string in strings:
        fleet = int(rng.integers(12, 41))
        for _ in range(seasons):
            day = float(rng.uniform(3.0, 60.0))
            while day < SEASON_DAYS:
                soak_days = float(np.clip(rng.gamma(9.0, 0.9), 2.0, 30.0))
                day += soak_days
                traps = max(1, fleet - int(rng.integers(0, 4)))
                size, mean = traps * evenness, traps * bare.claws(string, soak_days, day)
                claws = int(rng.poisson(mean * rng.gamma(size, 1.0 / size)))
                hauls.append(Haul(string, traps, soak_days, day, claws))
    kept = int(rng.integers(len(strings), len(hauls) + 1))
    some = rng.permutation(len(hauls))[:kept]
    return Boat(claws_a_day, bait_decay, loss, decline, evenness, tuple(hauls[i] for i in sorted(some)))


def fitted(of: Boat) -> CatchCurve:
    return fit_curve(of.hauls, list(of.claws_a_day))


def covered(of: Boat, curve: CatchCurve, rng: np.random.Generator) -> tuple[list[bool], list[float]]:
    """At each of ``SOAKS_DAYS``, a random string and day: is the truth in the interval, and its high over low."""
    string = str(rng.choice(list(of.claws_a_day)))
    season_day = float(rng.uniform(0.0, SEASON_DAYS))
    inside, widths = [], []
    for soak_days in SOAKS_DAYS:
        expected = curve.expected(string, soak_days, season_day)
        inside.append(expected.low <= of.claws(string, soak_days, season_day) <= expected.high)
        widths.append(expected.high / expected.low)
    return inside, widths
