"""The letters of the standing cast, whole, as they lie in ``golden/``.

``SOAKBELL_REWRITE_GOLDEN=1 pytest tests/letters`` writes them anew, to be read in review like code.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from gear_scenes import GEAR_LETTERS, gear_letter
from scenes import SCENES, letter_of
from start_scenes import START_LETTERS, start_letter
from take_up_scenes import TAKE_UP_LETTERS, take_up_letter
from trust_scenes import TRUST_LETTERS, trust_scene

GOLDEN = Path(__file__).parent / "golden"
NAMES = (*SCENES, *GEAR_LETTERS, *TRUST_LETTERS, *TAKE_UP_LETTERS, *START_LETTERS)
PARTS = {"subject": "subject", "txt": "text", "html": "html"}


@pytest.mark.parametrize("name", NAMES)
def test_the_letter_is_the_one_that_was_read_and_agreed_to(name: str) -> None:
    if name in TRUST_LETTERS:
        letter = trust_scene(name)
    elif name in TAKE_UP_LETTERS:
        letter = take_up_letter(name)
    elif name in START_LETTERS:
        letter = start_letter(name)
    else:
        letter = letter_of(SCENES[name]) if name in SCENES else gear_letter(name)
    for suffix, part in PARTS.items():
        path = GOLDEN / f"{name}.{suffix}"
        written = getattr(letter, part) + ("\n" if suffix == "subject" else "")
        if os.environ.get("SOAKBELL_REWRITE_GOLDEN") == "1":
            path.write_text(written, encoding="utf-8")
        assert path.read_text(encoding="utf-8") == written, f"{path.name} differs; if it should, write it anew"


def test_no_golden_letter_is_left_without_its_scene() -> None:
    assert {path.name for path in GOLDEN.iterdir()} == {f"{name}.{suffix}" for name in NAMES for suffix in PARTS}
