"""The picture of the day shows holes as holes."""

from __future__ import annotations

import io
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from PIL import Image

from scenes import DAY, SCENES, ZONE, Scene, est, hours, letter_of, pull_morning, wait_by_wind
from soakbell.letters.chart import CHARTED, chart_png, day_hours, day_in_numbers
from soakbell.letters.times import HarborTimes
from soakbell.planning.call import Call

TIMES = HarborTimes(ZONE, DAY)
HOUR = timedelta(hours=1)


def grey(call: Call, times: HarborTimes = TIMES) -> np.ndarray:
    png = chart_png(call, times)
    assert png is not None
    return np.asarray(Image.open(io.BytesIO(png)).convert("L"))


@pytest.mark.parametrize("scene", SCENES.values(), ids=SCENES)
def test_a_picture_is_small_and_twice_600_dots_wide(scene: Callable[[], Scene]) -> None:
    png = chart_png(scene().call, TIMES)
    if png is not None:
        assert len(png) < 60_000
        assert Image.open(io.BytesIO(png)).size[0] == 1200


def test_the_same_call_gives_the_same_bytes() -> None:
    assert chart_png(pull_morning().call, TIMES) == chart_png(pull_morning().call, TIMES)


def test_a_day_of_which_nothing_is_known_has_no_picture() -> None:
    call = pull_morning().call
    assert chart_png(replace(call, hours=call.hours.iloc[0:0]), TIMES) is None
    assert chart_png(replace(call, hours=call.hours * float("nan")), TIMES) is None


@pytest.mark.parametrize("gust_kt", [11.0, 12.0])
def test_gusts_below_the_wind_of_another_source_are_drawn_as_told_and_the_letter_says_why(gust_kt: float) -> None:
    scene = pull_morning()
    frame = scene.call.hours.copy()
    frame["wind_kt"], frame["gust_kt"] = 10.0, 14.0
    frame.loc[pd.Timestamp(est(9)), ["wind_kt", "gust_kt"]] = 12.0, gust_kt
    letter = letter_of(lambda: replace(scene, call=replace(scene.call, hours=frame)))
    why = "gusts may stand below the wind of another source."
    for part in (letter.text, letter.html):
        assert (why in " ".join(part.split())) == (gust_kt < 12.0)
    gusts = next(row for row in day_hours(replace(scene.call, hours=frame), TIMES) if row.quantity == "gust_kt")
    assert dict(gusts.hours)[est(9)] == gust_kt


@pytest.mark.parametrize("quantity", CHARTED)
@pytest.mark.parametrize("hour", [7, 10, 12])
def test_a_hole_in_any_hour_splits_the_line_and_is_told(quantity: str, hour: int) -> None:
    """Section 7: NaN in every column and hour; no line crosses it, and it is never read as a number."""
    call = pull_morning().call
    frame = call.hours.copy()
    frame.loc[pd.Timestamp(est(hour)), quantity] = float("nan")
    (row,) = [r for r in day_hours(replace(call, hours=frame), TIMES) if r.quantity == quantity]
    assert len(list(row.runs())) == 2
    assert (est(hour), est(hour) + HOUR) in row.holes(call.made_at)
    assert all(at != est(hour) for run in row.runs() for at, _ in run)
    assert f"not known from {hour:02d}:00 to {hour + 1:02d}:00" in day_in_numbers(
        replace(call, hours=frame), TIMES
    )


def test_a_missing_row_is_a_hole_like_a_missing_number() -> None:
    call = pull_morning().call
    frame = call.hours.drop(pd.Timestamp(est(10)))
    for row in day_hours(replace(call, hours=frame), TIMES):
        assert (est(10), est(11)) in row.holes(call.made_at)


def test_a_missing_column_is_all_holes() -> None:
    call = pull_morning().call
    told = day_in_numbers(replace(call, hours=call.hours.drop(columns="gust_kt")), TIMES)
    assert "Gusts: not known for any hour." in told


def test_hours_before_the_letter_are_past_and_not_holes() -> None:
    call = pull_morning().call
    assert day_hours(call, TIMES)[0].holes(call.made_at) == [(est(20), est(0, day=9))]


def test_a_hole_is_drawn_differently_from_a_calm() -> None:
    """A1, A2: a failed source must change the picture."""
    calm = wait_by_wind().call
    frame = calm.hours.copy()
    frame.loc[pd.Timestamp(est(12)) : pd.Timestamp(est(16)), "wind_kt"] = 0.0
    hole = frame.copy()
    hole.loc[pd.Timestamp(est(12)) : pd.Timestamp(est(16)), "wind_kt"] = float("nan")
    drawn_calm, drawn_hole = grey(replace(calm, hours=frame)), grey(replace(calm, hours=hole))
    upper = slice(0, drawn_calm.shape[0] // 2)
    changed = (drawn_calm[upper] != drawn_hole[upper]).mean()
    assert changed > 0.02, "the hatching covers a visible part of the picture"


def test_the_numbers_tell_the_most_of_the_day_and_of_the_window() -> None:
    told = day_in_numbers(pull_morning().call, TIMES)
    assert "Wind: at most 19 kt at 17:00; over the limit of 15 kt from 15:00 to 20:00" in told
    assert "in the window at most 12 kt" in told
    # 1.2 / 0.3048 = 3.94 ft
    assert "Seas: at most 3.9 ft (1.2 m) from 17:00 to 19:00; over the limit of 3 ft (0.9 m)" in told


def test_a_quiet_day_is_told_for_its_known_hours_only() -> None:
    call = replace(pull_morning().call, hours=hours([8.0] * 3, [10.0] * 3, [0.3] * 3, begin=est(5)))
    told = day_in_numbers(call, TIMES)
    assert (
        "Wind: at most 8 kt from 05:00 to 08:00; never over the limit of 15 kt in the hours that are known" in told
    )
    assert "not known from 04:00 to 05:00 and 08:00 to midnight" in told


@pytest.mark.parametrize(
    ("wind_kt", "words"),
    [
        ([15.0] * 20, "Wind: at most 15 kt from now to midnight; never over the limit of 15 kt;"),
        ([15.0] + [9.0] * 19, "Wind: at most 15 kt from now to 05:00;"),
        ([9.0] * 4 + [15.0] + [9.0] * 15, "Wind: at most 15 kt at 08:00;"),
        (
            [9.0] * 4 + [15.0] + [9.0] * 4 + [15.0] * 11,
            "Wind: at most 15 kt from 08:00 to 09:00 and 13:00 to midnight;",
        ),
    ],
    ids=["flat", "now", "one hour", "twice"],
)
def test_the_highest_number_is_told_for_all_its_hours_and_none_gone_by(wind_kt: list[float], words: str) -> None:
    """The letter is of 04:30, the table begins at 04:00."""
    call = replace(pull_morning().call, hours=hours(wind_kt, [20.0] * 20, [0.5] * 20, begin=est(4)))
    assert words in day_in_numbers(call, TIMES)


@pytest.mark.parametrize(("day", "count"), [(date(2026, 3, 8), 23), (date(2026, 11, 1), 25)])
def test_days_on_which_the_clock_changes_are_drawn_whole(day: date, count: int) -> None:
    times = HarborTimes(ZONE, day)
    begin = datetime(day.year, day.month, day.day, tzinfo=UTC)
    frame = hours([9.0] * 48, [12.0] * 48, [0.5] * 48, begin=begin)
    call = replace(wait_by_wind().call, day=day, hours=frame, made_at=begin, outlook=())
    for row in day_hours(call, times):
        assert len(row.known()) == count
        assert not row.holes(begin)
    assert grey(call, times).shape[1] == 1200


def test_the_drawing_library_is_loaded_only_when_a_picture_is_drawn() -> None:
    code = "import sys, soakbell.letters.letter; print(any(m.startswith('matplotlib') for m in sys.modules))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"


def test_no_picture_goes_through_the_librarys_global_state() -> None:
    code = (
        "import sys; sys.path.insert(0, sys.argv[1]); from scenes import pull_morning; pull_morning().letter(); "
        "print('matplotlib.pyplot' in sys.modules)"
    )
    tests = str(Path(__file__).parents[1])
    done = subprocess.run([sys.executable, "-c", code, tests], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"
