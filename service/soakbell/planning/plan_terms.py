"""What the skipper settled about the week's plan: money, days, and what is held before his log says otherwise."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from soakbell.planning.catch_curve import CurvePrior
from soakbell.planning.fit_chance import ErrorShape
from soakbell.planning.trips import STACK_MIN_PER_TRAP
from soakbell.sea.trust import WORST_OF_ALL, BinError, ErrorModel, PriorError, error_model, worse_of


@dataclass(frozen=True)
class TrustTerms:
    """How far forecasts err before there is a record of it, and how much record outweighs that.

    ``priors``: by quantity, all of ``planning.fit_chance.ERRING``. ``edges_h``: of the bins of lead time.
    """

    priors: Mapping[str, PriorError]
    shape: ErrorShape
    enough_days: int
    edges_h: tuple[float, ...]

    def models(
        self, errors: Sequence[BinError] = (), areas: Sequence[str] = (), source: str = WORST_OF_ALL
    ) -> dict[str, ErrorModel]:
        """The error to reckon with, by quantity; without ``errors`` (``errors_by_lead``) the priors alone.

        Of several areas the one that errs worse counts (``worse_of``), and one that nothing is on record of errs
        as the prior: the record of one never loosens what is held of another.

        Args:
            areas: all that the boat goes by, whether or not anything is on record of them.

        Raises:
            ValueError: errors are given and no area.
        """
        if errors and not areas:
            raise ValueError("errors on record and no area; name all areas that the boat goes by")
        return {
            quantity: self._model(quantity, prior, errors, areas, source)
            for quantity, prior in self.priors.items()
        }

    def _model(
        self,
        quantity: str,
        prior: PriorError,
        errors: Sequence[BinError],
        areas: Sequence[str],
        source: str,
    ) -> ErrorModel:
        told = [found for found in errors if (found.source, found.quantity) == (source, quantity)]
        seen = {found.area for found in told}
        model = worse_of(
            [
                error_model(
                    quantity,
                    [found for found in told if found.area == area],
                    prior,
                    source=source,
                    edges_h=self.edges_h,
                    enough_days=self.enough_days,
                )
                for area in dict.fromkeys((*areas, *(found.area for found in told))) or ("",)
            ]
        )
        return replace(model, unseen=tuple(area for area in areas if area not in seen)) if told else model


@dataclass(frozen=True)
class TakeUpTerms:
    """Settled for bringing the traps home at season's end.

    ``stack_min_per_trap`` besides hauling it; ``unload_min_per_trap`` at the dock, between two trips of one day;
    ``trips_a_day`` are the most that one day takes.
    """

    stack_min_per_trap: float = STACK_MIN_PER_TRAP
    unload_min_per_trap: float = 0.5
    trips_a_day: int = 1


@dataclass(frozen=True)
class PlanTerms:
    """Settled for the plan.

    Attributes:
        price_usd_lb: None: by the grades.
        trip_cost_usd: fuel, ice and hands of one trip, whatever it hauls.
        wear_usd_a_trap: line, paint and lost traps, for one haul of one trap.
        bait_usd_a_box: of any bait.
        crew_days_off: days of the week, 0 Monday.
        deck_traps: most traps that one trip may handle, and that one brings home stacked; None: not told.
        lb_a_gallon: of claws, for a bag limit, which the law sets in gallons.
        forecast_days: local days that the official sources ought to reach, today the first.
        usual_fit_chance: by month, January first, that a day beyond them is fit.
        usual_window_min: the longest trip that such a day carries.
        paths, seed: of the weather that is drawn.
    """

    trust: TrustTerms
    horizon_days: int = 8
    price_usd_lb: float | None = None
    trip_cost_usd: float = 120.0
    wear_usd_a_trap: float = 0.5
    bait_usd_a_box: float = 30.0
    crew_days_off: frozenset[int] = frozenset()
    deck_traps: int | None = None
    lb_a_gallon: float = 5.0
    forecast_days: int = 5
    usual_fit_chance: tuple[float, ...] = (0.5,) * 12
    usual_window_min: float = 360.0
    curve: CurvePrior = field(default_factory=CurvePrior)
    take_up: TakeUpTerms = field(default_factory=TakeUpTerms)
    paths: int = 500
    seed: int = 1
