"""The table of faults in ``deploy/FAULTS.md``: every kind of the rig has a row, every row has tests, and what it
has in italics, as it is said to the skipper, stands in them."""

from __future__ import annotations

import ast
import re
from functools import cache
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


def named_in(row: list[str]) -> list[tuple[Path, str]]:
    named = [re.fullmatch(r"`([\w/]+\.py)::(test_\w+)`", name) for name in row[3].split(", ")]
    assert all(named), row
    return [(TESTS / found[1], found[2]) for found in named if found is not None]


@cache
def source_of(module: Path) -> tuple[str, set[str]]:
    """Its text, and the names of its functions."""
    text = module.read_text("utf-8")
    return text, {node.name for node in ast.walk(ast.parse(text)) if isinstance(node, ast.FunctionDef)}


def words_of(text: str) -> str:
    """Without what quotes and the ends of lines part, and with every number as one."""
    return re.sub(r"\d+(\.\d+)?", "#", re.sub(r'"?\s+[fr]?"?', " ", text))


def test_every_row_tells_all_and_names_tests_that_are_there() -> None:
    for row in rows():
        assert len(row) == 4, row
        assert all(row), row
        for module, test in named_in(row):
            assert test in source_of(module)[1], row


def test_what_a_row_says_is_shown_stands_in_its_tests() -> None:
    for row in rows():
        texts = " ".join(words_of(source_of(module)[0]) for module, _ in named_in(row))
        for words in re.findall(r"\*([^*]+)\*", row[1]):
            assert words_of(words) in texts, row


def test_every_kind_of_fault_that_the_rig_plays_has_one_row() -> None:
    told = [row[0] for row in rows()]
    played = [
        *(f"Forecasts: {kind}" for kind in (*ForecastFault, EXPIRED_TLS)),
        *(f"Mail: {kind}" for kind in MailFault),
        *(f"Disk: {kind}" for kind in DiskFault),
    ]
    assert [kind for kind in played if told.count(kind) != 1] == []
    assert len(told) == len(set(told))
