"""The first days of a take-up by the forecasts: each day's longest window, for all places that its trips touch.

More is asked than of a trip, which needs each place only while the boat is there, so the windows come out short.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from datetime import date, datetime, timedelta

import numpy as np

from soakbell.planning.decide import Situation
from soakbell.planning.distances import distance_nmi
from soakbell.planning.fit_chance import Beyond, day_span, error_paths, fit_chances, place_ahead
from soakbell.planning.plan_terms import PlanTerms
from soakbell.planning.trips import HARBOR, DayBounds
from soakbell.sea.trust import ErrorModel, Numbers

_HOUR = timedelta(hours=1)


def forecast_windows(
    situation: Situation,
    names: Collection[str],
    days: Mapping[date, DayBounds | None],
    models: Mapping[str, ErrorModel],
    terms: PlanTerms,
    now: datetime,
) -> Numbers:
    """Draw the longest window of each day in minutes, 0 for none: paths x days.

    An hour that the forecasts fail to tell is unfit in every path; so are all where something stands against any
    call (``Situation.faults``).

    Args:
        names: of the strings in the trips, at least one.
        days: in order, with what light and law leave of them; None: nothing.
        models: as ``TrustTerms.models``.
    """
    ends_at = max((bounds.home_by for bounds in days.values() if bounds is not None), default=None)
    if ends_at is None or situation.faults:
        return np.zeros((1, len(days)))
    strings = [ahead.string for ahead in situation.strings if ahead.string.name in names]
    run_nmi = min(distance_nmi(situation.harbor, mark) for s in strings for mark in (s.start, s.end))
    run_min = 60 * run_nmi / situation.boat.cruise_kt
    harbor_depth_m = min(ahead.string.depth_m for ahead in situation.strings)
    errors = error_paths(
        models,
        terms.trust.shape,
        now=now,
        hours=math.ceil((ends_at - now) / _HOUR + situation.break_margin_h) + 1,
        days=len(days),
        paths=terms.paths,
        seed=terms.seed,
    )
    return fit_chances(
        [
            place_ahead(situation.places[HARBOR], depth_m=harbor_depth_m),
            *(place_ahead(situation.places[string.name], depth_m=string.depth_m) for string in strings),
        ],
        [day_span(day, bounds, run_out_min=run_min, run_home_min=run_min) for day, bounds in days.items()],
        errors,
        needed_min=0.0,
        break_margin_h=situation.break_margin_h,
        beyond=Beyond(ends_at + _HOUR, 0.0, 0.0),
    ).window_min
