"""Fixtures that every test may use."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import settings

settings.register_profile("home", deadline=None)
settings.register_profile("gate", deadline=None, derandomize=True)
settings.load_profile("gate" if os.environ.get("CI") else "home")
"""How long an example takes depends on the machine; time is measured in the bench. The gate draws the same
examples each time: it judges the change, not the luck of a draw."""

SERVICE = Path(__file__).resolve().parents[1] / "service"
os.environ["PYTHONPATH"] = os.pathsep.join(filter(None, (str(SERVICE), os.environ.get("PYTHONPATH"))))
"""What tests start as a process of its own runs the same program, whichever is installed."""

SHARED = Path(__file__).resolve().parents[2] / "shared"


@pytest.fixture(scope="session")
def shared() -> Path:
    """The folder of captured public payloads and check values that lies beside the project."""
    if not SHARED.is_dir():
        if os.environ.get("SOAKBELL_NEEDS_SHARED") == "1":
            pytest.fail(f"the captured payloads are not at {SHARED}, and this run must have them")
        pytest.skip("the captured payloads are not beside this checkout")
    return SHARED


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """What the gate leaves out may take an hour."""
    for item in items:
        if item.get_closest_marker("long"):
            item.add_marker(pytest.mark.timeout(3600))
