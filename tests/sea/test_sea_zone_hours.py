"""Periods laid out by the hour. All forecasts are made up here."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from soakbell.sea.sources import QUANTITIES, SourceHours, SourceKind
from soakbell.sea.zone_forecast import AreaState, ForecastPeriod, Range, ZoneForecast
from soakbell.sea.zone_hours import hours_of_zone_forecast

DAWN = datetime(2026, 12, 8, 11, tzinfo=UTC)


def state(
    wind_kt: float | None = 10.0,
    sea_m: float | None = 0.5,
    *,
    area: str = "",
    whole: bool = True,
    gust_kt: float | None = None,
    from_deg: float | None = None,
    period_s: float | None = None,
) -> AreaState:
    return AreaState(
        area=area,
        wind_kt=None if wind_kt is None else Range(None, wind_kt),
        gust_kt=gust_kt,
        wind_from_deg=from_deg,
        sea_m=None if sea_m is None else Range(None, sea_m),
        sea_whole=whole and sea_m is not None,
        period_s=period_s,
    )


def period(
    first_h: int | None,
    last_h: int | None,
    *states: AreaState,
    label: str = "TODAY",
    thunder_pct: float | None = 0.0,
    visibility_nm: float | None = None,
    chop: str = "",
    not_understood: tuple[str, ...] = (),
) -> ForecastPeriod:
    return ForecastPeriod(
        label=label,
        starts_at=None if first_h is None else DAWN + timedelta(hours=first_h),
        ends_at=None if last_h is None else DAWN + timedelta(hours=last_h),
        states=states or (state(),),
        thunder_pct=thunder_pct,
        visibility_nm=visibility_nm,
        chop=chop,
        outlooks=(),
        not_understood=not_understood,
        text="",
    )


def forecast(*periods: ForecastPeriod, not_understood: tuple[str, ...] = ()) -> ZoneForecast:
    return ZoneForecast(
        zones=("GMZ730", "GMZ765"),
        names=(),
        issued_at=DAWN - timedelta(hours=2),
        expires_at=DAWN + timedelta(hours=10),
        headlines=(),
        periods=periods,
        synopsis="",
        foot="",
        not_understood=not_understood,
        text="",
    )


def hours(*periods: ForecastPeriod, area: str | None = None, **chop_m: float) -> SourceHours:
    return hours_of_zone_forecast(
        forecast(*periods), area=area, chop_m={name.replace("_", " "): height for name, height in chop_m.items()}
    )


def test_a_period_covers_its_hours_and_no_others() -> None:
    table = hours(period(0, 3, state(15.0, 0.9, from_deg=45.0, period_s=5.0)))
    assert list(table.numbers.index) == [DAWN, DAWN + timedelta(hours=1), DAWN + timedelta(hours=2)]
    assert tuple(table.numbers.columns) == QUANTITIES
    first = table.numbers.iloc[0]
    assert (first["wind_kt"], first["sea_m"], first["wind_from_deg"], first["period_s"]) == (15.0, 0.9, 45.0, 5.0)
    assert (table.kind, table.key) == (SourceKind.ZONE_TEXT, "GMZ730-GMZ765")
    assert table.issued_at == DAWN - timedelta(hours=2)
    assert table.expires_at == DAWN + timedelta(hours=10)
    assert table.unclear.to_dict() == dict.fromkeys(table.numbers.index, "")


def test_a_period_that_begins_or_ends_within_an_hour_is_of_that_hour_too() -> None:
    half_past = replace(period(0, 2, state(15.0)), starts_at=DAWN + timedelta(minutes=30))
    half_past = replace(half_past, ends_at=DAWN + timedelta(minutes=90))
    assert hours(half_past).numbers["wind_kt"].to_dict() == {DAWN: 15.0, DAWN + timedelta(hours=1): 15.0}


def test_what_is_not_said_stays_missing_and_carries_nothing() -> None:
    table = hours(period(0, 1, state(15.0, None)))
    assert table.numbers.loc[DAWN, ["gust_kt", "sea_m", "visibility_nm"]].isna().all()
    assert not table.whole.loc[DAWN, ["gust_kt", "sea_m", "visibility_nm"]].any()
    assert table.whole.loc[DAWN, ["wind_kt", "thunder_pct"]].all()


def test_a_calm_of_nothing_is_kept_as_a_number() -> None:
    """Zero is a number, not a hole."""
    table = hours(period(0, 1, state(0.0, 0.0, from_deg=0.0)))
    assert table.numbers.loc[DAWN, "sea_m"] == 0.0
    assert table.numbers.loc[DAWN, "wind_from_deg"] == 0.0
    assert table.whole.loc[DAWN, ["wind_kt", "sea_m"]].all()


def test_where_periods_overlap_the_worst_counts() -> None:
    table = hours(
        period(0, 4, state(25.0, 0.5, from_deg=90.0, period_s=6.0), thunder_pct=24.0, visibility_nm=3.0),
        period(2, 6, state(10.0, 1.5, from_deg=180.0, period_s=4.0), thunder_pct=54.0, visibility_nm=1.0),
    )
    both = table.numbers.loc[DAWN + timedelta(hours=3)]
    assert both[["wind_kt", "sea_m", "thunder_pct", "visibility_nm"]].tolist() == [25.0, 1.5, 54.0, 1.0]
    assert both[["wind_from_deg", "period_s"]].tolist() == [90.0, 4.0]
    assert table.numbers.loc[DAWN, "sea_m"] == 0.5
    assert table.numbers.loc[DAWN + timedelta(hours=5), "wind_kt"] == 10.0


def test_an_overlap_with_a_period_that_gives_no_sea_is_a_lower_bound() -> None:
    table = hours(period(0, 2, state(10.0, 0.5)), period(1, 3, state(10.0, None)))
    assert list(table.whole["sea_m"]) == [True, False, False]
    assert table.numbers["sea_m"].isna().tolist() == [False, False, True]


def test_an_overlap_with_a_period_that_gives_no_wind_or_no_thunder_carries_neither() -> None:
    table = hours(period(0, 2, state(10.0, 0.5)), period(1, 3, state(None, 0.5), thunder_pct=None))
    for quantity in ("wind_kt", "thunder_pct"):
        assert list(table.whole[quantity]) == [True, False, False]
        assert table.numbers[quantity].isna().tolist() == [False, False, True]


def test_a_part_of_the_sea_is_kept_as_a_lower_bound() -> None:
    table = hours(period(0, 1, state(10.0, 0.6, whole=False)))
    assert table.numbers.loc[DAWN, "sea_m"] == 0.6
    assert not table.whole.loc[DAWN, "sea_m"]


def test_hours_of_a_period_not_understood_are_unclear() -> None:
    table = hours(period(0, 2), period(2, 4, not_understood=("quite blustery",)))
    assert [reason != "" for reason in table.unclear] == [False, False, True, True]
    assert "quite blustery" in table.unclear.iloc[3]


def test_a_segment_not_understood_makes_every_hour_unclear() -> None:
    table = hours_of_zone_forecast(
        forecast(period(0, 2), not_understood=("the segment isn't closed by $$",)), area=None, chop_m={}
    )
    assert all("isn't closed" in reason for reason in table.unclear)


def test_a_period_of_unknown_time_clouds_all_hours_it_may_stand_for() -> None:
    """From the start of the one before to the end of the one after."""
    nameless = period(None, None, label="TODXY", not_understood=("period name: TODXY",))
    table = hours(period(0, 2), period(2, 4), nameless, period(4, 6), period(6, 8))
    assert [reason != "" for reason in table.unclear] == [False] * 2 + [True] * 4 + [False] * 2
    assert all(hours(nameless, period(0, 2)).unclear != "")
    assert all(hours(period(4, 6), nameless, period(0, 4)).unclear != "")


def test_an_hour_that_no_period_covers_is_unclear_and_so_are_its_neighbours() -> None:
    """A lost period must not read as a forecast without an opinion; by two clocks its edges are shared."""
    table = hours(period(0, 3), period(4, 8))
    assert [reason != "" for reason in table.unclear] == [False, False, True, True, True, False, False, False]
    assert table.numbers.loc[DAWN + timedelta(hours=3)].isna().all()
    assert [reason != "" for reason in hours(period(0, 1), period(2, 4)).unclear] == [True, True, True, False]


def test_a_forecast_without_any_known_time_has_no_hours() -> None:
    table = hours(period(None, None))
    assert len(table.numbers) == len(table.whole) == len(table.unclear) == 0
    assert str(table.numbers.index.dtype).endswith("UTC]")


SUB_AREAS = period(
    0,
    1,
    state(30.0, None, area="Southern portion", gust_kt=40.0),
    state(15.0, None, area="Northern portion"),
    state(None, 1.2),
)


@pytest.mark.parametrize(
    ("area", "wind_kt", "gust_kt"),
    [
        (None, 30.0, 40.0),
        ("northern portion", 15.0, 40.0),
        ("Southern Portion.", 30.0, 40.0),
        ("western portion", 30.0, 40.0),
    ],
)
def test_the_part_of_the_zone_counts_only_where_the_place_is_told_to_lie_in_it(
    area: str | None, wind_kt: float, gust_kt: float
) -> None:
    """The worst of the part and the zone as a whole; what neither says is the worst of all parts."""
    row = hours(SUB_AREAS, area=area).numbers.loc[DAWN]
    assert row[["wind_kt", "gust_kt", "sea_m"]].tolist() == [wind_kt, gust_kt, 1.2]


@pytest.mark.parametrize(("area", "period_s"), [(None, 3.0), ("northern portion", 6.0), ("southern portion", 3.0)])
def test_waves_of_a_part_that_are_told_by_nothing_but_their_period_count(
    area: str | None, period_s: float
) -> None:
    north = state(None, None, area="Northern portion", period_s=6.0)
    south = state(None, None, area="Southern portion", period_s=3.0)
    assert hours(period(0, 1, state(), north, south), area=area).numbers.loc[DAWN, "period_s"] == period_s


def test_of_several_parts_or_periods_the_direction_is_that_of_the_strongest_wind() -> None:
    parts = (state(25.0, from_deg=180.0), state(10.0, None, area="N of Cape Grebe", from_deg=0.0))
    for in_order in (parts, parts[::-1]):
        told = hours(period(0, 1, *in_order)).numbers.loc[DAWN]
        assert told[["wind_kt", "wind_from_deg"]].tolist() == [25.0, 180.0]
        overlapping = hours(*(period(0, 1, part) for part in in_order)).numbers.loc[DAWN]
        assert overlapping[["wind_kt", "wind_from_deg"]].tolist() == [25.0, 180.0]


def test_a_part_that_excepts_itself_from_the_zone_has_its_own_number() -> None:
    parted = period(0, 1, state(20.0, 1.0), state(35.0, None, area="N of Cape Grebe"))
    assert hours(parted, area="N of Cape Grebe").numbers.loc[DAWN, "wind_kt"] == 35.0
    assert hours(parted, area="elsewhere").numbers.loc[DAWN, "wind_kt"] == 35.0
    assert hours(parted, area="N of Cape Grebe").numbers.loc[DAWN, "sea_m"] == 1.0


def test_what_is_said_of_the_whole_zone_counts_for_its_parts_too() -> None:
    parted = period(
        0,
        1,
        state(25.0, 1.8, gust_kt=35.0),
        state(10.0, 0.3, area="Apalachee Bay", whole=False),
        state(40.0, 3.0, area="near South Point"),
    )
    table = hours(parted, area="apalachee bay")
    assert table.numbers.loc[DAWN, ["wind_kt", "gust_kt", "sea_m"]].tolist() == [25.0, 35.0, 1.8]
    assert not table.whole.loc[DAWN, "sea_m"]


@pytest.mark.parametrize("area", [".", ",", " . ", ""])
def test_a_part_without_a_name_is_no_part(area: str) -> None:
    parted = period(0, 1, state(10.0, 0.3), state(30.0, 2.4, area="near South Point"))
    assert hours(parted, area=area).numbers.loc[DAWN, "wind_kt"] == 30.0


def test_rough_water_is_passed_over_nowhere() -> None:
    for said in ("rough", "choppy; very rough", "a heavy chop"):
        assert said in hours(period(0, 1, state(15.0, 0.3), chop=said)).unclear.iloc[0]
    assert hours(period(0, 1, state(15.0, 0.3), chop="choppy")).unclear.iloc[0] == ""


def test_words_for_chop_count_only_in_protected_waters() -> None:
    choppy = period(0, 1, state(15.0, 1.2), chop="a moderate chop; choppy")
    assert hours(choppy).numbers.loc[DAWN, "sea_m"] == 1.2
    told = hours(choppy, a_moderate_chop=0.6, choppy=0.9)
    assert told.numbers.loc[DAWN, "sea_m"] == 0.9
    assert told.whole.loc[DAWN, "sea_m"]


def test_a_word_for_chop_without_a_height_is_unclear_and_no_sea() -> None:
    rough = hours(period(0, 1, state(15.0, 1.2), chop="rough"), choppy=0.9)
    assert rough.numbers["sea_m"].isna().all()
    assert "rough" in rough.unclear.iloc[0]


def test_protected_waters_without_a_word_for_chop_take_the_seas() -> None:
    assert hours(period(0, 1, state(15.0, 1.2)), choppy=0.9).numbers.loc[DAWN, "sea_m"] == 1.2


def test_taking_a_period_away_never_clears_an_hour() -> None:
    """Design 3.7, for each period of a small forecast."""
    periods = [period(0, 3, state(25.0)), period(3, 6, state(10.0)), period(5, 9, state(20.0)), period(9, 12)]
    whole = hours(*periods)
    for gone in range(len(periods)):
        left = hours(*periods[:gone], *periods[gone + 1 :])
        for at in left.numbers.index[left.unclear == ""]:
            assert left.numbers.loc[at, "wind_kt"] >= whole.numbers.loc[at, "wind_kt"]


def test_unknown_thunder_stays_unknown() -> None:
    table = hours(replace(period(0, 1), thunder_pct=None))
    assert table.numbers["thunder_pct"].isna().all()
    assert not table.whole["thunder_pct"].any()
