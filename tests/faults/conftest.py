"""The databases that mornings of faults begin with."""

from __future__ import annotations

from pathlib import Path

import pytest

from faults.bad_luck import Bout, scripted
from faults.bad_mail import MailFault
from faults.bad_mornings import LETTER_HOUR, SKIPPER, Shore, addresses, play, write_season


@pytest.fixture(scope="session")
def season(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A database with an invented season's log."""
    return write_season(tmp_path_factory.mktemp("season"))


@pytest.fixture(scope="session")
def written(season: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A database with this morning's PULL, put off once by a mail server that was too busy."""

    async def story(shore: Shore) -> Path:
        shore.mail.choose = scripted(Bout(MailFault.CLOSING))
        with shore.open() as house:
            await shore.sweeps(house, LETTER_HOUR)
            assert addresses(house) == [(SKIPPER, "waiting")]
        return shore.settings.database

    return play(tmp_path_factory.mktemp("written"), story, database=season)
