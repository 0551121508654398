"""How many days of weather on record a week's plan tells. INVENTED DATA."""

from __future__ import annotations

from soakbell.plan_settings import Trust
from soakbell.planning.week_plan import weather_days
from soakbell.sea.trust import WORST_OF_ALL, BinError

TERMS = Trust().as_terms()
REACH_DAYS = 5


def on_record(quantity: str, *days: int, area: str = "Inner Bay") -> list[BinError]:
    """A bin for each day ahead, today first; 0: no bin."""
    return [
        BinError(WORST_OF_ALL, quantity, 24.0 * n, 24.0 * (n + 1), 24 * seen, seen, 0.5, 0.5, 2.0, 2.0, area)
        for n, seen in enumerate(days)
        if seen
    ]


def told(*errors: list[BinError]) -> dict[str, int]:
    """Of all areas that anything is on record of."""
    found = [one for each in errors for one in each]
    return weather_days(TERMS.models(found, [one.area for one in found]), REACH_DAYS)


def test_days_ahead_that_no_source_reaches_take_nothing_from_the_count() -> None:
    """A zone text reaches four days past its own: what lies further is never on record."""
    assert len(TERMS.edges_h) - 1 > REACH_DAYS, "there are such bins"
    assert told(on_record("wind_kt", 44, 43, 42, 41, 40))["wind_kt"] == 40
    assert told(on_record("wind_kt", 44, 43, 42, 41))["wind_kt"] == 41, "a forecast that ends sooner"
    assert told(on_record("wind_kt", 44, 43, 42, 41, 40, 2))["wind_kt"] == 40, "a grid that now and then goes on"


def test_each_quantity_has_its_own_count() -> None:
    """A station that measures no sea leaves that of the wind as it is."""
    assert told(on_record("wind_kt", 44), on_record("gust_kt", 31)) == {"wind_kt": 44, "gust_kt": 31, "sea_m": 0}


def test_of_two_areas_the_one_with_fewer_days_counts() -> None:
    assert told(on_record("wind_kt", 44, 44), on_record("wind_kt", 9, 8, area="Outer Bay"))["wind_kt"] == 8


def test_without_a_record_there_are_none() -> None:
    assert set(told().values()) == {0}


def test_an_area_that_nothing_is_on_record_of_leaves_no_day() -> None:
    models = TERMS.models(on_record("wind_kt", 44, 44), ("Inner Bay", "Outer Bay"))
    assert weather_days(models, REACH_DAYS)["wind_kt"] == 0
