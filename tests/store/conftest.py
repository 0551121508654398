"""The database of one boat."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from soakbell.store.engine import Store, open_store
from soakbell.store.upgrade import migrate


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    opened = open_store(f"sqlite:///{tmp_path}/soakbell.db")
    migrate(opened)
    yield opened
    opened.close()
