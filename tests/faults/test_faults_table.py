"""The table of faults in ``deploy/FAULTS.md``: every kind of the rig has a row, and every row a test."""

from __future__ import annotations

import ast
import re
from pathlib import Path

from faults.bad_disk import DiskFault
from faults.bad_forecasts import EXPIRED_TLS, ForecastFault
from faults.bad_mail import MailFault

TESTS = Path(__file__).resolve().parents[1]
TABLE = TESTS.parent / "deploy" / "FAULTS.md"


def rows() -> list[list[str]]:
    """Fault, what is seen, what is kept, and the test of each row."""
    lines = [line for line in TABLE.read_text("utf-8").splitlines() if line.startswith("|")]
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in lines[2:]]


def functions_of(module: Path) -> set[str]:
    return {node.name for node in ast.walk(ast.parse(module.read_bytes())) if isinstance(node, ast.FunctionDef)}


def test_every_row_tells_all_and_names_a_test_that_is_there() -> None:
    for row in rows():
        assert len(row) == 4, row
        assert all(row), row
        named = re.fullmatch(r"`([\w/]+\.py)::(test_\w+)`", row[3])
        assert named is not None, row
        assert named[2] in functions_of(TESTS / named[1]), row


def test_every_kind_of_fault_that_the_rig_plays_has_one_row() -> None:
    told = [row[0] for row in rows()]
    played = [
        *(f"Forecasts: {kind}" for kind in (*ForecastFault, EXPIRED_TLS)),
        *(f"Mail: {kind}" for kind in MailFault),
        *(f"Disk: {kind}" for kind in DiskFault),
    ]
    assert [kind for kind in played if told.count(kind) != 1] == []
    assert len(told) == len(set(told))
