"""Some days of a season with random faults keep every promise; ``season_run.py`` plays whole ones. INVENTED."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date, time, timedelta
from pathlib import Path

import pytest

from faults import season_mutants
from faults.bad_forecasts import ForecastFault
from faults.bad_luck import Meeting
from faults.season_checks import (
    FLAT_PROMISE,
    LIFE_PROMISE,
    LOG_PROMISE,
    MEMORY_PROMISE,
    MORNING_PROMISE,
    PULL_PROMISE,
    TAKEN_BACK_PROMISE,
    TWICE_PROMISE,
    promises,
)
from faults.season_drive import play
from faults.season_luck import DayLuck, LookFault, luck_of

SEED = 17559
WARNED_EARLY_SEED = 13834  # an advisory comes out of fair weather soon after a PULL
THE_CLOCKS_GO_BACK = date(2026, 11, 1)
EVE = date(2026, 10, 29)
DAYS = 3
CALM = DayLuck({}, 1, {}, None)
OUT_OF_TIME = time(8, 40)
HIGH_SEAS_SEED, RIPE_EVE = 93, date(2026, 11, 4)

pytestmark = pytest.mark.slow


def some_of_all(day: date) -> DayLuck:
    """Two mornings on which looks fail; on the third a clock set back, a full disk and a restore."""
    drawn = replace(luck_of(SEED, day), set_back=(), full=None, restored=None)
    match (day - EVE).days:
        case 1:
            return replace(drawn, looks=(LookFault.FAILS, time(7, 15)), wrong=None)
        case 2:
            return replace(drawn, looks=(LookFault.FAILS, time()), wrong=None)
        case _:
            wrong = (13, timedelta(hours=-2), 60)
            return replace(drawn, set_back=(2, 3, 4), full=(5, 200), restored=(10, 12), wrong=wrong)


def test_a_few_days_with_random_faults_keep_every_promise(tmp_path: Path) -> None:
    kept = play(tmp_path, SEED, DAYS, first_evening=EVE, luck=some_of_all)
    assert [f"{promise.what}: {line}" for promise in promises(kept) for line in promise.broken] == []
    assert THE_CLOCKS_GO_BACK in kept.days
    assert kept.pulls_judged > 0
    assert {name for name, count in kept.troubles.items() if count} == {
        "process died", "database locked", "clock wrong", "forecast faults", "mail faults",
        "clock set back while writing", "disk full", "restored",
    }  # fmt: skip


@pytest.mark.long
@pytest.mark.parametrize(
    ("fault", "breaks"),
    [
        (season_mutants.forget_a_morning, MORNING_PROMISE),
        (season_mutants.send_again, TWICE_PROMISE),
        (season_mutants.take_stale_news, PULL_PROMISE),
        (season_mutants.bar_by_nothing_official, PULL_PROMISE),
        (season_mutants.say_pull, PULL_PROMISE),
        (season_mutants.read_the_log_once, LOG_PROMISE),
        (season_mutants.leave_files, FLAT_PROMISE),
        (season_mutants.leak_memory, MEMORY_PROMISE),
        (season_mutants.die, LIFE_PROMISE),
    ],
)
def test_a_planted_fault_breaks_its_promise(tmp_path: Path, fault: Callable[[], None], breaks: str) -> None:
    assert breaks in broken_by(tmp_path, fault)


@pytest.mark.long
@pytest.mark.parametrize(
    ("fault", "luck", "fails_from", "breaks"),
    [
        (season_mutants.ring_again, CALM, None, TWICE_PROMISE),
        (season_mutants.change_twice, CALM, OUT_OF_TIME, TWICE_PROMISE),
        (season_mutants.reckon_short_trips, CALM, None, PULL_PROMISE),
        (season_mutants.trust_any_clock, replace(CALM, set_back=(2, 3, 4)), None, PULL_PROMISE),
        (
            season_mutants.look_in_vain_for_ever,
            replace(CALM, looks=(LookFault.FAILS, time())),
            None,
            TAKEN_BACK_PROMISE,
        ),
        (
            season_mutants.look_in_vain_for_ever,
            replace(CALM, looks=(LookFault.DIES, time())),
            None,
            TAKEN_BACK_PROMISE,
        ),
        (season_mutants.ask_all_patiently, CALM, OUT_OF_TIME, TAKEN_BACK_PROMISE),
        (
            season_mutants.believe_what_a_restore_brings,
            replace(CALM, restored=(3, 4)),
            time(8, 31),
            TAKEN_BACK_PROMISE,
        ),
        (season_mutants.die_of_a_full_disk, replace(CALM, full=(4, 60)), None, LIFE_PROMISE),
    ],
)
def test_a_planted_fault_breaks_its_promise_on_the_first_morning(
    tmp_path: Path, fault: Callable[[], None], luck: DayLuck, fails_from: time | None, breaks: str
) -> None:
    """A PULL. ``fails_from``: in UTC, from when on no service answers that day."""

    def outage(met: Meeting) -> ForecastFault | None:
        return ForecastFault.FAILS if fails_from is not None and met.at.time() >= fails_from else None

    kept = play(tmp_path, SEED, 1, first_evening=EVE, plant=fault, luck=lambda _day: luck, outage=outage)
    assert breaks in [promise.what for promise in promises(kept) if not promise.kept]


@pytest.mark.long
def test_a_trip_held_against_the_harbors_hours_alone_breaks_its_promise_where_seas_are_high_at_one_string(
    tmp_path: Path,
) -> None:
    """The Hump is ripe, and its own limit is lower."""
    kept = play(
        tmp_path,
        HIGH_SEAS_SEED,
        1,
        first_evening=RIPE_EVE,
        plant=season_mutants.ask_the_harbor_alone,
        luck=lambda _day: CALM,
    )
    assert PULL_PROMISE in [promise.what for promise in promises(kept) if not promise.kept]


@pytest.mark.long
def test_a_service_that_never_looks_again_leaves_a_barred_pull_standing(tmp_path: Path) -> None:
    kept = play(
        tmp_path,
        WARNED_EARLY_SEED,
        1,
        first_evening=EVE,
        plant=season_mutants.never_look_again,
        luck=lambda _day: CALM,
        outage=lambda _met: None,
    )
    assert [promise.what for promise in promises(kept) if not promise.kept] == [TAKEN_BACK_PROMISE]


def broken_by(folder: Path, fault: Callable[[], None]) -> list[str]:
    kept = play(folder, SEED, DAYS, first_evening=EVE, plant=fault)
    return [promise.what for promise in promises(kept) if not promise.kept]
