"""Looking back: kept forecasts and calls against what a station measured. INVENTED DATA."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import date, timedelta
from pathlib import Path

import pandas as pd
import pytest
from pydantic import TypeAdapter
from sqlalchemy import delete, select, update

from kept_days import (
    FILE_DAYS,
    NEW_YORK,
    WITH_WIND_STATION,
    KeptDays,
    NobodyAnswers,
    always,
    blows_on,
    windy_every_third_day,
)
from law.world import (
    INNER,
    INNER_GRID,
    MEDIA,
    OUTER,
    OUTER_GRID,
    STATION,
    WITH_STATION,
    grid,
    settings_from,
    settings_with,
    world,
)
from soakbell.clock import SetClock
from soakbell.desk import ALL_STATION_FILES_FOR, Desk
from soakbell.plan_settings import Trust
from soakbell.planning.call import Call, CallWord
from soakbell.sea.sources import RawReply, SourceKind
from soakbell.sea.trust import WORST_OF_ALL, BinError
from soakbell.sea.trust_record import AreaAsked, PastLimit, SeenDay, TrustRecord, record_of
from soakbell.settings import Settings
from soakbell.store import letters, replies
from soakbell.store.engine import Store, open_store
from soakbell.store.schema import NoteRow, ReplyRow
from soakbell.store.upgrade import migrate
from soakbell.survey import OnHand
from soakbell.trusting import (
    MeasuredSea,
    error_models,
    keep_record,
    kept_record,
    look_back,
    measured_sea,
    single_trips_min,
    standing,
    trust_terms,
)

FIRST = date(2026, 11, 2)
TERMS = Trust().as_terms()
DAY = timedelta(days=1)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    opened = open_store(f"sqlite:///{tmp_path / 'soakbell.db'}")
    migrate(opened)
    yield opened
    opened.close()


def looked_back(kept: KeptDays, day: date, *, moved: tuple[str, ...] = ()) -> TrustRecord:
    """A look back on the morning of ``day``, with the station's newest file."""
    now = kept.morning_of(day)
    kept.keep_measured(now)
    on_hand = OnHand({}, moved=dict.fromkeys(moved, "it has moved"))
    return look_back(kept.settings, kept.store, TERMS, now, on_hand=on_hand)


def first_day(record: TrustRecord, quantity: str, source: str = WORST_OF_ALL) -> BinError:
    (found,) = [b for b in record.errors if (b.source, b.quantity, b.from_h) == (source, quantity, 0)]
    return found


def test_a_forecast_that_is_four_knots_low_is_found_and_makes_the_plan_more_careful(store: Store) -> None:
    """The zone text says 5 kt at most, so the grid is the worst of all and 4 kt low in every hour."""
    kept = KeptDays(store, wind_kt=always(12), low_by_kt=4)
    kept.keep(FIRST, 9)
    record = looked_back(kept, FIRST + 9 * DAY)
    assert record.mornings == 9
    assert (record.first_day, record.last_day) == (FIRST, FIRST + 8 * DAY)
    for source in (WORST_OF_ALL, "grid"):
        found = first_day(record, "wind_kt", source)
        assert found.bias == pytest.approx(4, abs=0.1), source
        assert found.days == 9
    assert first_day(record, "wind_kt", "zone text").bias == pytest.approx(7, abs=0.1)
    wind = error_models(kept.settings, record, TERMS)["wind_kt"]
    assert wind.bias_at(6) == pytest.approx(4 * 9 / (9 + 30), abs=0.05), "nine days beside thirty of the prior"
    assert wind.rougher_sd_at(6) >= TERMS.models()["wind_kt"].rougher_sd_at(6)


def test_a_few_days_of_forecasts_that_are_too_rough_change_nothing(store: Store) -> None:
    kept = KeptDays(store, wind_kt=always(8), low_by_kt=-4)
    kept.keep(FIRST, 6)
    record = looked_back(kept, FIRST + 6 * DAY)
    assert first_day(record, "wind_kt").bias == pytest.approx(-4, abs=0.1)
    model, prior = error_models(kept.settings, record, TERMS)["wind_kt"], TERMS.models()["wind_kt"]
    leads = [0.0, 30.0, 100.0, 160.0]
    assert (model.bias_at(leads) >= prior.bias_at(leads)).all()
    assert (model.rougher_sd_at(leads) >= prior.rougher_sd_at(leads)).all()


def test_days_called_are_held_against_the_sea_of_the_time_of_their_trip(store: Store) -> None:
    """On every third day it blows 18 kt with gusts of 22, where 14 and 18 are forecast; limits are 15 and 20."""
    kept = KeptDays(store, low_by_kt=4)
    kept.fish_since(FIRST)
    assert kept.keep(FIRST, 6, calling=True) == ["PULL"] * 6
    record = looked_back(kept, FIRST + 6 * DAY)
    assert [seen.fit for seen in record.days] == [not blows_on(FIRST + n * DAY) for n in range(6)]
    counts = record_of(record.days)
    assert (counts.hits, counts.false_calls) == (4, 2)
    for seen in record.days:
        told = {past.quantity: (round(past.most), past.limit) for past in seen.past}
        assert told == ({} if seen.fit else {"wind_kt": (18, 15), "gust_kt": (22, 20)})


def test_a_day_whose_measurements_are_lost_is_not_counted_either_way(store: Store) -> None:
    kept = KeptDays(store, wind_kt=always(8))
    kept.fish_since(FIRST)
    kept.keep(FIRST, 2, calling=True)
    with store.writing() as session:
        session.execute(delete(ReplyRow).where(ReplyRow.kind == SourceKind.OBSERVATIONS.value))
    kept.keep_measured(kept.morning_of(FIRST + 20 * DAY))
    record = looked_back(kept, FIRST + 20 * DAY)
    counts = record_of(record.days)
    assert (counts.not_seen, counts.pulls) == (2, 0)


def test_a_wait_for_want_of_anything_ripe_says_nothing_of_the_sea(store: Store) -> None:
    kept = KeptDays(store, wind_kt=always(8))
    assert kept.keep(FIRST, 1, calling=True) == ["WAIT"], "nothing was set"
    record = looked_back(kept, FIRST + DAY)
    (seen,) = record.days
    assert (seen.day, seen.word, seen.fit, seen.had_trip) == (FIRST, "WAIT", True, False)
    assert record_of(record.days).contingency.n == 0


def test_an_hour_that_may_go_on_is_left_to_the_next_file(store: Store) -> None:
    """The file's newest row is of 08:30 UTC; the hour from 08:00 on isn't over in it."""
    kept = KeptDays(store, wind_kt=always(8))
    kept.keep(FIRST, 1)
    record = looked_back(kept, FIRST + DAY)
    leads = {found.from_h for found in record.errors if found.quantity == "wind_kt"}
    assert leads == {0.0}
    assert first_day(record, "wind_kt").pairs == 22, "from 10:00 UTC of the first day to 08:00 of the next"


def test_only_what_the_station_gives_is_held_against_it(store: Store) -> None:
    kept = KeptDays(store, settings=settings_with(WITH_WIND_STATION))
    kept.keep(FIRST, 3)
    record = looked_back(kept, FIRST + 3 * DAY)
    assert {found.quantity for found in record.errors} == {"wind_kt"}
    assert [(seen.station, seen.gives) for seen in record.stations] == [(STATION, ("wind_kt",))]


def test_a_station_that_moved_is_left_out_and_named(store: Store) -> None:
    kept = KeptDays(store)
    kept.keep(FIRST, 2)
    record = looked_back(kept, FIRST + 2 * DAY, moved=(STATION,))
    assert (record.stations, record.errors, record.chances) == ((), (), None)
    assert any(f"{STATION} no longer lies where" in problem for problem in record.problems)


def test_without_a_station_nothing_is_known_and_that_is_no_fault(store: Store) -> None:
    kept = KeptDays(store, settings=settings_from())
    kept.fish_since(FIRST)
    kept.keep(FIRST, 1, calling=True)
    record = looked_back(kept, FIRST + DAY)
    assert (record.stations, record.errors, record.problems) == ((), (), ())
    assert [seen.fit for seen in record.days] == [None]


def test_of_older_days_one_file_of_each_is_enough(store: Store) -> None:
    """The service keeps no more of them; no hour is lost where one file ends and the next begins."""
    kept = KeptDays(store)
    since = kept.morning_of(FIRST)
    now = since + 2 * FILE_DAYS * DAY
    for hours in range(0, 24 * 2 * FILE_DAYS, 5):
        kept.keep_measured(now - timedelta(hours=hours))
    whole = measured_sea(kept.settings, store, since, now).hourly
    with store.writing() as session:
        assert replies.thin_station_files(session, now, calls_since=now) > 2 * FILE_DAYS
    thinned = measured_sea(kept.settings, store, since, now).hourly
    assert list(thinned) == list(whole) != []
    for area, table in whole.items():
        assert len(table) == 24 * 2 * FILE_DAYS - 1, "all hours but the one that isn't over"
        pd.testing.assert_frame_equal(thinned[area], table)


def test_the_nightly_housekeeping_leaves_all_station_files_of_the_last_days_and_one_of_a_day_before(
    store: Store,
) -> None:
    kept = KeptDays(store)
    now = kept.morning_of(FIRST + 6 * DAY)
    for hours in range(0, 24 * 5, 6):
        kept.keep_measured(now - timedelta(hours=hours))
    kept.desk(now).housekeep()
    with store.reading() as session:
        ages = [now - at for at in session.scalars(select(ReplyRow.fetched_at))]
    recent = [age for age in ages if age <= ALL_STATION_FILES_FOR]
    assert len(recent) == 4 * ALL_STATION_FILES_FOR.days + 1
    assert 2 <= len(ages) - len(recent) <= 3


def test_a_kept_file_that_is_broken_is_passed_over_and_told(store: Store) -> None:
    kept = KeptDays(store)
    kept.keep(FIRST, 3)
    whole = looked_back(kept, FIRST + 3 * DAY)
    now, minute = kept.morning_of(FIRST + 3 * DAY), timedelta(minutes=1)
    for kind, key in ((SourceKind.OBSERVATIONS, STATION), (SourceKind.GRID, INNER)):
        with store.writing() as session:
            replies.keep_reply(session, RawReply(kind, key, "", 200, "text/plain", b"{", now + minute))
    again = look_back(kept.settings, store, TERMS, now + 2 * minute, on_hand=OnHand({}))
    assert again.errors == whole.errors
    assert any("1 kept files" in problem for problem in again.problems)


def test_chances_are_those_that_were_known_beforehand_and_come_true_where_the_forecast_is_right(
    store: Store,
) -> None:
    """Two calm days of three, forecast as they come: the calm get a good chance, the windy none to speak of."""
    kept = KeptDays(store)
    kept.keep(FIRST, 8)
    record = looked_back(kept, FIRST + 8 * DAY)
    assert record.chances is not None
    assert record.chances.given == sum(min(4, 7 - n) for n in range(8)), "days that are not over have no outcome"
    assert record.chances.days == 7, "each of the days after the first morning"
    rows = record.chances.rows
    assert sum(row.came for row in rows if row.mean_chance < 0.3) == 0
    assert all(row.share == 1 for row in rows if row.mean_chance > 0.5)
    parts = record.chances
    whole = parts.reliability - parts.resolution + parts.uncertainty + parts.within_variance
    assert parts.score == pytest.approx(whole - parts.within_covariance)


def mean_chance(folder: Path, days: int, *, low_by_kt: float) -> float:
    """Of days forecast with 8 kt each, where it blew ``low_by_kt`` harder; all came fit."""
    opened = open_store(f"sqlite:///{folder / f'{days} {low_by_kt}.db'}")
    migrate(opened)
    kept = KeptDays(opened, wind_kt=always(8 + low_by_kt), low_by_kt=low_by_kt)
    kept.keep(FIRST, days)
    parts = looked_back(kept, FIRST + days * DAY).chances
    opened.close()
    assert parts is not None
    assert all(row.share == 1 for row in parts.rows)
    return sum(row.mean_chance * row.given for row in parts.rows) / parts.given


def test_a_chance_is_told_by_what_was_known_beforehand_and_learned_anew_in_ten_days(tmp_path: Path) -> None:
    """In the first ten days nothing is known; then it is that forecasts were 4 kt low."""
    right, low = (mean_chance(tmp_path, 4, low_by_kt=kt) for kt in (0.0, 4.0))
    assert right == low
    right, low = (mean_chance(tmp_path, 14, low_by_kt=kt) for kt in (0.0, 4.0))
    assert low < right - 0.002


@dataclass
class MendedByNoon(KeptDays):
    """Two hours after each letter comes a grid that is right."""

    def keep_forecasts(self, day: date) -> None:
        super().keep_forecasts(day)
        now = self.morning_of(day) + timedelta(hours=2)
        body = grid(INNER, now - timedelta(minutes=20), now.replace(minute=0), wind_kt=12, gust_kt=16, sea_m=0.4)
        with self.store.writing() as session:
            replies.keep_reply(session, RawReply(*INNER_GRID, "", 200, MEDIA[SourceKind.GRID], body, now))


def test_a_forecast_that_came_after_the_letter_mends_nothing(store: Store) -> None:
    kept = MendedByNoon(store, wind_kt=always(12), low_by_kt=4)
    kept.keep(FIRST, 4)
    assert first_day(looked_back(kept, FIRST + 4 * DAY), "wind_kt").bias == pytest.approx(4, abs=0.1)


# ---- what came of a day, by hand


def calm(**unlike: object) -> dict[str, object]:
    return {"wind_kt": 5.0, "gust_kt": 7.0, "sea_m": 0.3} | unlike


def sea_of(call: Call, settings: Settings | None = None, **areas: dict[str, object]) -> SeenDay:
    """What came of a call. ``areas``: what was measured at each hour of its day, by their name's first word."""
    hours = pd.date_range(call.day.isoformat(), periods=24, freq="h", tz=NEW_YORK).tz_convert("UTC")
    hourly = {f"{name.title()} Bay": pd.DataFrame(numbers, index=hours) for name, numbers in areas.items()}
    return MeasuredSea(settings or settings_from(), hourly).of_call(call)


def called(**weather: float) -> Call:
    return world(**weather).call().call  # type: ignore[arg-type]


def by_hour(wind_kt: Callable[[int], float]) -> list[float]:
    return [wind_kt(hour) for hour in range(24)]


def test_a_pull_is_measured_whole_only_where_every_limit_is_at_every_place_of_its_trip() -> None:
    """The trip goes to both areas."""
    pull = called()
    whole = sea_of(pull, inner=calm(), outer=calm())
    assert (whole.word, whole.fit, whole.whole) == ("PULL", True, True)
    wind_inside = sea_of(pull, inner={"wind_kt": 5.0})
    assert (wind_inside.fit, wind_inside.whole) == (True, False)
    assert wind_inside.asked == (
        AreaAsked("Inner Bay", ("wind_kt",), ("gust_kt", "sea_m")),
        AreaAsked("Outer Bay", (), ("wind_kt", "gust_kt", "sea_m")),
    )
    assert sea_of(pull, inner=calm(), outer=calm(sea_m=2.0)).fit is False
    assert sea_of(pull).fit is None


def test_a_string_that_the_settings_no_longer_name_is_never_measured() -> None:
    renamed = settings_with(('name = "Outer Bar"', 'name = "Ledge"'))
    seen = sea_of(called(), renamed, inner=calm(), outer=calm())
    assert (seen.fit, seen.whole) == (True, False)
    assert seen.asked[-1] == AreaAsked("Outer Bar", (), ("wind_kt", "gust_kt", "sea_m"))


def test_a_string_with_limits_of_its_own_is_held_to_them() -> None:
    """12 kt outside: under the boat's 15, over the 10 of the string there."""
    pull = called()
    careful = replace(pull, tighter_limits={"Outer Bar": {"wind_kt": 10.0}})
    assert sea_of(pull, inner=calm(), outer=calm(wind_kt=12.0)).fit is True
    seen = sea_of(careful, inner=calm(), outer=calm(wind_kt=12.0))
    assert (seen.fit, seen.past) == (False, (PastLimit("wind_kt", 12.0, 10.0),))
    assert sea_of(careful, inner=calm(wind_kt=12.0), outer=calm()).fit is True


def test_a_wait_was_a_miss_where_a_trip_to_one_string_was_fit() -> None:
    """Nine Foot and the harbor lie inside: that trip would have gone, however it blew outside."""
    wait = called(wind_kt=17)
    assert wait.word is CallWord.WAIT
    seen = sea_of(wait, inner=calm(), outer=calm(wind_kt=25.0))
    assert (seen.fit, seen.whole) == (True, True)
    assert sea_of(wait, inner=calm(wind_kt=25.0), outer=calm()).fit is False, "no way out of the harbor"
    assert sea_of(wait, outer=calm(wind_kt=25.0)).fit is None, "Nine Foot isn't known"
    assert sea_of(wait, inner=calm()).whole, "the trip inside is"


def test_a_wait_was_right_where_no_hour_was_fit_at_harbor_and_string_at_once() -> None:
    """Inside it is calm before noon, outside after; all strings lie outside."""
    outside = settings_with(('traps = 24\narea = "Inner Bay"', 'traps = 24\narea = "Outer Bay"'))
    early, late = by_hour(lambda hour: 5 if hour < 12 else 25), by_hour(lambda hour: 25 if hour < 12 else 5)
    wait = called(wind_kt=17)
    assert sea_of(wait, outside, inner=calm(wind_kt=early), outer=calm(wind_kt=late)).fit is False
    assert sea_of(wait, outside, inner=calm(wind_kt=early), outer=calm(wind_kt=early)).fit is True


def test_a_day_counts_as_fit_only_with_the_margin_for_a_forecast_that_breaks() -> None:
    """The trip to Nine Foot takes less than two hours; with the margin of two, three hours are too short."""
    settings = settings_from()
    assert 60 < single_trips_min(settings)["Nine Foot"] < 120
    assert settings.letters.forecast_break_h == 2
    wait = called(wind_kt=17)

    def calm_for(count: int) -> list[float]:
        return by_hour(lambda hour: 5 if 10 <= hour < 10 + count else 25)

    found = [sea_of(wait, inner=calm(wind_kt=calm_for(count))).fit for count in (3, 4)]
    assert found == [False, True]


def test_a_pull_stands_once_its_boat_was_to_leave() -> None:
    """What is told at sea can't undo the trip; what is told before does."""
    pull, wait = called(), called(wind_kt=17)
    assert pull.window is not None
    leaves_at = pull.window.leaves_at
    before, after = (replace(wait, made_at=leaves_at + minutes * timedelta(minutes=1)) for minutes in (-1, 1))
    assert standing([pull, before]) == before
    assert standing([pull, after]) == pull
    assert standing([wait, replace(pull, made_at=leaves_at)]).word is CallWord.PULL


# ---- several areas


TWO_ON_ONE_STATION = settings_with(
    WITH_STATION,
    (
        '"sea_m"]  # outer',
        f'"sea_m"]\nstation = "{STATION}"\nstation_gives = ["wind_kt", "gust_kt", "sea_m"]',
    ),
)


@dataclass
class TooRoughOutside(KeptDays):
    """It blows 12 kt. The grid of the outer area says 16, that of the inner as ``low_by_kt`` tells."""

    def keep_forecasts(self, day: date) -> None:
        super().keep_forecasts(day)
        kind, key = OUTER_GRID
        now = self.morning_of(day) - timedelta(minutes=4)
        first = now.replace(minute=0) - timedelta(hours=1)
        body = grid(OUTER, now - timedelta(minutes=20), first, wind_kt=16, gust_kt=20, sea_m=0.4)
        with self.store.writing() as session:
            replies.keep_reply(session, RawReply(kind, key, "", 200, MEDIA[kind], body, now))


def test_a_forecast_too_rough_for_one_area_makes_up_for_none_that_is_too_calm_for_another(store: Store) -> None:
    """4 kt too calm inside, 4 kt too rough outside: the mean of both would be no error at all."""
    kept = TooRoughOutside(store, wind_kt=always(12), low_by_kt=4, settings=TWO_ON_ONE_STATION)
    kept.keep(FIRST, 9)
    record = looked_back(kept, FIRST + 9 * DAY)
    wind = {b.area: b for b in record.errors if (b.source, b.quantity, b.from_h) == (WORST_OF_ALL, "wind_kt", 0)}
    assert {area: round(found.bias) for area, found in wind.items()} == {"Inner Bay": 4, "Outer Bay": -4}
    assert [found.days for found in wind.values()] == [9, 9]
    model = error_models(kept.settings, record, TERMS)["wind_kt"]
    assert model.bias_at(6) == pytest.approx(4 * 9 / (9 + 30), abs=0.05)
    assert model.days[0] == 9, "a day of the station they share is one day"


def test_a_day_of_a_station_that_two_areas_share_is_one_outcome_of_a_chance(store: Store) -> None:
    kept = KeptDays(store, settings=TWO_ON_ONE_STATION)
    kept.keep(FIRST, 5)
    record = looked_back(kept, FIRST + 5 * DAY)
    assert record.chances is not None
    assert record.chances.given == sum(min(4, 4 - n) for n in range(5))


# ---- the record, kept


def test_a_record_comes_back_from_its_note_as_it_went_in(store: Store) -> None:
    kept = KeptDays(store, low_by_kt=4)
    kept.fish_since(FIRST)
    kept.keep(FIRST, 5, calling=True)
    record = looked_back(kept, FIRST + 5 * DAY)
    assert record.chances is not None
    assert any(seen.past for seen in record.days)
    keep_record(store, "Little Grebe", record, record.made_at)
    assert kept_record(kept.settings, store, TERMS, record.made_at) == record


def test_a_note_that_cannot_be_used_leaves_the_prior_and_says_so(store: Store) -> None:
    kept = KeptDays(store)
    now = kept.morning_of(FIRST + 2 * DAY)
    assert "yet" in str(kept_record(kept.settings, store, TERMS, now))
    kept.keep(FIRST, 2)
    record = looked_back(kept, FIRST + 2 * DAY)
    keep_record(store, "Little Grebe", record, now)
    elsewhere = settings_with((WITH_STATION[0], WITH_STATION[1].replace(STATION, "OTHR1")))
    assert "other stations" in str(kept_record(elsewhere, store, TERMS, now))
    shorter = replace(TERMS, edges_h=(0.0, 12.0))
    assert "other hours ahead" in str(kept_record(kept.settings, store, shorter, now))
    for value, said in (
        ({"version": 0, "record": {}}, "another version"),
        ({"version": 3, "record": {"made_at": "yesterday"}}, "can't be read"),
        ({"version": 3}, "can't be read"),
        ({}, "can't be read"),
    ):
        with store.writing() as session:
            session.execute(update(NoteRow).where(NoteRow.name == "trust:Little Grebe").values(value=value))
        assert said in str(kept_record(kept.settings, store, TERMS, now))


@pytest.mark.parametrize("moved", ["zone", "point"])
def test_a_record_of_other_waters_under_the_same_name_is_not_used(store: Store, moved: str) -> None:
    kept = KeptDays(store)
    kept.keep(FIRST, 2)
    record = looked_back(kept, FIRST + 2 * DAY)
    keep_record(store, "Little Grebe", record, record.made_at)
    inner, *others = kept.settings.areas
    there = replace(inner, zone="GMZ755") if moved == "zone" else replace(inner, lat_deg=inner.lat_deg + 0.1)
    elsewhere = replace(kept.settings, areas=(there, *others))
    assert "other stations or waters" in str(kept_record(elsewhere, store, TERMS, record.made_at))


def test_a_record_that_no_housekeeping_made_anew_is_not_used_for_long(store: Store) -> None:
    """It is told as learned from so many days, which nobody has looked at since."""
    kept = KeptDays(store)
    kept.keep(FIRST, 2)
    record = looked_back(kept, FIRST + 2 * DAY)
    keep_record(store, "Little Grebe", record, record.made_at)

    def found(later: timedelta) -> TrustRecord | str:
        return kept_record(kept.settings, store, TERMS, record.made_at + later)

    assert found(7 * DAY) == record
    assert "was made on 2026-11-04 (UTC), and only one of the last 7 days is used" in str(found(8 * DAY))
    assert "was made on" in str(found(-DAY)), "a clock that was wrong then or is now"


@pytest.mark.parametrize(
    "wrong",
    [
        {"days": 10**6, "pairs": 10**7},
        {"days": -5},
        {"days": 9, "pairs": 8},
        {"sd": -3.0},
        {"robust_sd": -3.0},
        {"bias": float("nan")},
    ],
    ids=lambda wrong: " ".join(wrong),
)
def test_a_record_with_numbers_that_cannot_be_is_not_used(store: Store, wrong: dict[str, float]) -> None:
    kept = KeptDays(store)
    kept.keep(FIRST, 2)
    record = looked_back(kept, FIRST + 2 * DAY)
    whole = TypeAdapter(TrustRecord).dump_python(record, mode="json")
    for found in whole["errors"]:
        found.update({name: str(value) if value != value else value for name, value in wrong.items()})
    with store.writing() as session:
        note = {"version": 3, "record": whole}
        letters.put_note(session, "trust:Little Grebe", note, record.made_at)
    assert "holds numbers that can't be" in str(kept_record(kept.settings, store, TERMS, record.made_at))


def test_without_a_plan_file_the_terms_are_those_that_come_with_the_service() -> None:
    assert trust_terms(settings_from()) == TERMS


# ---- the desk


def test_the_nightly_housekeeping_keeps_a_record(store: Store) -> None:
    kept = KeptDays(store, low_by_kt=4)
    kept.keep(FIRST, 3)
    kept.keep_measured(kept.morning_of(FIRST + 3 * DAY))
    kept.desk(kept.morning_of(FIRST + 3 * DAY)).housekeep()
    record = kept_record(kept.settings, store, TERMS, kept.morning_of(FIRST + 3 * DAY))
    assert isinstance(record, TrustRecord)
    assert record.mornings == 3


@pytest.mark.parametrize("after", [3, 4], ids=["a fit day", "a windy day"])
def test_no_record_touches_a_call(store: Store, after: int) -> None:
    """Records that say every forecast is 14 kt too rough, torn ones and none: the letter's call is the same."""
    kept = KeptDays(store, wind_kt=windy_every_third_day)
    kept.fish_since(FIRST)
    kept.keep(FIRST, after + 1)
    day, now = FIRST + after * DAY, kept.morning_of(FIRST + after * DAY)
    record = looked_back(kept, day)

    def called() -> dict[str, object]:
        letter = kept.desk(now).write("morning", day, 0, late=False, clock_suspect=False)
        assert letter.call is not None
        return dict(letter.call.detail["call"])

    without = called()
    assert without["word"] == ("WAIT" if blows_on(day) else "PULL")
    assert record.errors
    wrong = [replace(found, bias=-14.0, median=-14.0, sd=0.1, robust_sd=0.1) for found in record.errors]
    calmer = replace(record, errors=tuple(replace(found, days=100, pairs=2400) for found in wrong))
    for each in (record, calmer):
        keep_record(store, "Little Grebe", each, now)
        assert kept_record(kept.settings, store, TERMS, now) == each, "it is one that is used"
        assert called() == without
    for torn in ({"version": 3, "record": []}, {"version": 3}, {}):
        with store.writing() as session:
            letters.put_note(session, "trust:Little Grebe", torn, now)
        assert called() == without


TURNS = {"bells": 1, "bait order": 1, "bait order copy": 1, "trust": 1}
EVENING = timedelta(hours=13, minutes=45)
"""From the morning letter's hour to a quarter past six."""


def asked(kept: KeptDays, day: date, after: timedelta = EVENING) -> list[str]:
    desk = Desk(kept.settings, kept.store, SetClock(kept.morning_of(day) + after), NobodyAnswers())
    ringing = desk.ring(day, TURNS)
    assert ringing.failed is None
    return [one.letter.subject for one in ringing.letters if one.kind == "trust"]


def test_a_letter_of_trust_is_written_in_the_first_evening_after_a_month_with_a_call(store: Store) -> None:
    kept = KeptDays(store, low_by_kt=4)
    last = date(2026, 11, 30)
    kept.fish_since(last - 2 * DAY)
    assert asked(kept, date(2026, 12, 1)) == [], "no call was made in November"
    kept.keep(last - 2 * DAY, 3, calling=True)
    kept.keep_measured(kept.morning_of(last + DAY))
    kept.desk(kept.morning_of(last + DAY)).housekeep()
    assert asked(kept, last) == []
    assert asked(kept, date(2026, 12, 1), timedelta(hours=2)) == [], "only from the eve letter's hour on"
    (subject,) = asked(kept, date(2026, 12, 1))
    assert subject.startswith("Trust in November: ")
    assert subject.endswith(" | Little Grebe")
    assert asked(kept, date(2026, 12, 5)) == [subject], "the service was off until then"
    assert asked(kept, date(2026, 12, 9)) == []
    with store.writing() as session:
        now = kept.morning_of(date(2026, 12, 2))
        letters.open_turn(
            session, "Little Grebe", "trust", date(2026, 12, 2), 1, "America/New_York", now, now + DAY, 120
        )
    assert asked(kept, date(2026, 12, 5)) == [], "it has been written"


def test_a_letter_of_trust_tells_the_last_day_of_its_month_as_measured_by_then(store: Store) -> None:
    """Housekeeping was just after midnight, and the station's file with that day came later."""
    kept = KeptDays(store, wind_kt=always(8))
    last = date(2026, 11, 30)
    kept.fish_since(last - 2 * DAY)
    assert kept.keep(last - 2 * DAY, 3, calling=True) == ["PULL"] * 3
    midnight = kept.morning_of(last + DAY) - timedelta(hours=4, minutes=25)
    kept.desk(midnight).housekeep()
    record = kept_record(kept.settings, store, TERMS, midnight)
    assert isinstance(record, TrustRecord)
    assert (record.days[-1].day, record.days[-1].fit) == (last, None)
    kept.keep_measured(midnight + timedelta(hours=12))
    (subject,) = asked(kept, last + DAY)
    assert "3 of 3 PULL days inside your limits" in subject
