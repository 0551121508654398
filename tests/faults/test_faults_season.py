"""Some days of a season with random faults keep every promise; ``season_run.py`` plays whole ones. INVENTED."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest

from faults import season_mutants
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

SEED = 17559
WARNED_EARLY_SEED = 13834  # an advisory comes out of fair weather soon after a PULL
THE_CLOCKS_GO_BACK = date(2026, 11, 1)
EVE = date(2026, 10, 29)
DAYS = 3

pytestmark = pytest.mark.slow


def test_a_few_days_with_random_faults_keep_every_promise(tmp_path: Path) -> None:
    kept = play(tmp_path, SEED, DAYS, first_evening=EVE)
    assert [f"{promise.what}: {line}" for promise in promises(kept) for line in promise.broken] == []
    assert THE_CLOCKS_GO_BACK in kept.days
    assert kept.pulls_judged > 0
    assert {name for name, count in kept.troubles.items() if count} == {
        "process died", "database locked", "clock wrong", "forecast faults", "mail faults",
    }  # fmt: skip


@pytest.mark.long
@pytest.mark.parametrize(
    ("fault", "breaks"),
    [
        (season_mutants.forget_a_morning, MORNING_PROMISE),
        (season_mutants.send_again, TWICE_PROMISE),
        (season_mutants.take_stale_news, PULL_PROMISE),
        (season_mutants.bar_by_nothing_official, PULL_PROMISE),
        (season_mutants.read_the_log_once, LOG_PROMISE),
        (season_mutants.leave_files, FLAT_PROMISE),
        (season_mutants.leak_memory, MEMORY_PROMISE),
        (season_mutants.die, LIFE_PROMISE),
    ],
)
def test_a_planted_fault_breaks_its_promise(tmp_path: Path, fault: Callable[[], None], breaks: str) -> None:
    assert breaks in broken_by(tmp_path, SEED, fault)


@pytest.mark.long
def test_a_service_that_never_looks_again_leaves_a_barred_pull_standing(tmp_path: Path) -> None:
    assert TAKEN_BACK_PROMISE in broken_by(tmp_path, WARNED_EARLY_SEED, season_mutants.never_look_again)


def broken_by(folder: Path, seed: int, fault: Callable[[], None]) -> list[str]:
    kept = play(folder, seed, DAYS, first_evening=EVE, plant=fault)
    return [promise.what for promise in promises(kept) if not promise.kept]
