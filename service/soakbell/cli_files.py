"""Files that commands write beside what they tell, and what stands on all of them."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import typer

if TYPE_CHECKING:
    from datetime import datetime

    from soakbell.letters.facts import LetterFacts
    from soakbell.settings import Settings


def facts_of(settings: Settings, now: datetime) -> LetterFacts:
    from soakbell.letters.facts import FisheryFacts, LetterFacts

    return LetterFacts(
        boat=settings.boat.name,
        harbor=settings.harbor.name,
        harbor_mark=settings.harbor.mark,
        zone_name=settings.harbor.time_zone,
        strings=settings.trap_strings,
        fishery=FisheryFacts.of(settings.fishery),
        links=(),
        due_at=now,
        no_letter_by=settings.letters.morning,
    )


def write_file(command: str, option: str, file: Path, content: bytes, *, done: str = "written") -> None:
    """Write it and say so.

    Raises:
        LogRefused: ``file`` can't be written.
    """
    from soakbell.errors import Fault, LogRefused

    try:
        file.write_bytes(content)
    except OSError as fault:
        found = f"{file} ({fault.strerror})"
        raise LogRefused([Fault(command, option, found, "a file that can be written")]) from fault
    typer.echo(f"{done}: {file}")
