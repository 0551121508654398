"""A power cut at any commit of a morning: the database is sound and holds the commit whole or not at all.

INVENTED DATA. The letter comes, a second time only under the same Message-ID.
"""

from __future__ import annotations

import random
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import pytest
from sqlalchemy import event

from faults.bad_mornings import LETTER_HOUR, MINUTE, SKIPPER, Shore, addresses, mornings, play
from faults.power_cut import page_bytes, wrecks
from soakbell.store.engine import open_store
from soakbell.wiring import House


@contextmanager
def commits_of(house: House) -> Iterator[tuple[list[bytes], list[bytes]]]:
    """The database file as each commit found it, and at the end of the block; and the journals that SQLite itself
    had then. A commit holds off all others."""
    file = house.store.file
    assert file is not None
    images: list[bytes] = []
    journals: list[bytes] = []

    def look(_connection: object = None) -> None:
        image = file.read_bytes()
        journal = file.with_name(f"{file.name}-journal")
        if not images or image != images[-1]:
            images.append(image)
            journals.append(b"")
        if journal.exists():
            journals[-1] = journal.read_bytes()

    event.listen(house.store.engine, "commit", look)
    try:
        yield images, journals
    finally:
        event.remove(house.store.engine, "commit", look)
    look()


def told(database: Path) -> list[tuple[object, ...]]:
    """All that the database tells, once it was found sound."""
    store = open_store(f"sqlite:///{database}")
    store.close()
    with closing(sqlite3.connect(database)) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        tables = [name for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        return [row for name in sorted(tables) for row in connection.execute(f"SELECT * FROM {name}").fetchall()]


@dataclass(frozen=True)
class Morning:
    """``images`` and ``journals`` are those of ``commits_of``; ``taken`` numbers the image of when the mail server
    had the letter."""

    images: list[bytes]
    journals: list[bytes]
    taken: int
    message_id: str


@pytest.fixture(scope="module")
def morning(season: Path, tmp_path_factory: pytest.TempPathFactory) -> Morning:
    async def story(shore: Shore) -> Morning:
        taken: list[int] = []
        with shore.open() as house:
            with commits_of(house) as (images, journals):
                shore.mail.before_answer = lambda: taken.append(len(images))
                await shore.sweeps(house, LETTER_HOUR)
            assert addresses(house) == [(SKIPPER, "accepted")]
        return Morning(images, journals, taken[0], shore.mail.taken[0].message_id)

    return play(tmp_path_factory.mktemp("morning"), story, database=season)


def test_a_power_cut_in_a_commit_leaves_all_of_it_or_nothing(morning: Morning, tmp_path: Path) -> None:
    """D2, D7."""
    dice = random.Random(20261208)
    whole, wrecked = tmp_path / "whole.sqlite3", tmp_path / "wrecked.sqlite3"
    states = []
    for image in morning.images:
        whole.write_bytes(image)
        states.append(told(whole))
    assert len(states) > 10
    for n, (before, after) in enumerate(pairwise(morning.images)):
        for wreck in wrecks(before, after, dice):
            wreck.lay(wrecked)
            expected = states[n + 1] if wreck.journal is None else states[n]
            assert told(wrecked) == expected, f"commit {n}: {wreck.name}"


def test_each_commit_has_the_old_pages_in_a_journal_of_sqlites_own(morning: Morning) -> None:
    """D2. But for the first page, whose count of changes comes in with the commit itself
    (https://www.sqlite.org/fileformat2.html#the_rollback_journal)."""
    size = page_bytes(morning.images[0])
    for n, (before, after) in enumerate(pairwise(morning.images)):
        changed = [at for at in range(size, len(before), size) if before[at : at + size] != after[at : at + size]]
        journal = morning.journals[n]
        assert [at // size + 1 for at in changed if before[at : at + size] not in journal] == [], f"commit {n}"


@pytest.mark.parametrize("stage", ["pages in part", "done"])
@pytest.mark.parametrize("commit", [-2, -1, 0])
def test_after_a_power_cut_the_letter_comes_and_twice_only_under_one_message_id(
    commit: int, stage: str, morning: Morning, season: Path, tmp_path: Path
) -> None:
    """S12, M6. Commits are counted from that in which the mail server's 250 is put down."""
    n = morning.taken + commit
    dice = random.Random(n)
    wreck = next(one for one in wrecks(morning.images[n], morning.images[n + 1], dice) if one.name == stage)

    async def story(shore: Shore) -> None:
        wreck.lay(shore.settings.database)
        with shore.open() as house:
            await shore.sweeps(house, LETTER_HOUR + 3 * MINUTE, LETTER_HOUR + 5 * MINUTE)
            assert addresses(house) == [(SKIPPER, "accepted")]
            assert [state for _, state in mornings(house)] == ["written", "due"]
        came = [one.message_id for one in shore.mail.taken] + ([morning.message_id] if commit == 0 else [])
        assert len(set(came)) == 1
        assert len(came) == (2 if commit == 0 and stage != "done" else 1)

    play(tmp_path, story, database=season)
