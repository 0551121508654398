"""A few of the runs of ``fuzz_parsers.py``, of which a million were run once."""

from __future__ import annotations

from pathlib import Path

import pytest

from faults.fuzz_parsers import Came, Target, fuzz, not_whole, try_one
from soakbell.sea.zone_forecast import Range

pytestmark = pytest.mark.shared


def test_damaged_files_are_read_or_refused_and_what_is_read_is_whole(shared: Path) -> None:
    came = fuzz(shared, seed=20261208, runs=2500)
    assert came.failures == []
    assert came.read.total() + came.refused.total() == 2500
    for name in ("zone text", "warning text", "warnings list", "grid forecast", "point", "zone", "zip of a boat"):
        assert min(came.read[name], came.refused[name]) > 0, f"{name}: the damage is too weak or too strong"


def test_a_parser_that_breaks_or_reads_nonsense_is_found() -> None:
    came = Came()
    try_one(Target("breaks", lambda body: body[100], (b"",), 1), b"short", "here", came)
    try_one(Target("nonsense", lambda _: [{"wind": float("inf")}], (b"",), 1), b"short", "here", came)
    broke, nonsense = came.failures
    assert "IndexError" in broke
    assert "read as the number inf" in nonsense
    assert not_whole({"wind_kt": Range(10.0, 15.0)}) is None
