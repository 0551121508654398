"""README and the pages beside it name what exists, and the numbers of a call are those of the code."""

from __future__ import annotations

import inspect
import re
from datetime import date, datetime
from importlib.metadata import metadata
from pathlib import Path

import pytest

from soakbell import desk, morning, settings, survey, wiring
from soakbell.feeds import transport
from soakbell.fishery.season import caution
from soakbell.gear import log_csv
from soakbell.planning import trips, visit_order
from soakbell.schedule import Pace
from soakbell.sea import conditions, observations
from soakbell.settings import load_fishery
from soakbell.store import nightly
from soakbell.web import carry_pages, door, marks_import, sync, visit

TOP = Path(__file__).resolve().parents[1]
README = (TOP / "README.md").read_text()
PAGES = [
    TOP / "README.md",
    TOP / "deploy" / "SKIPPER.md",
    TOP / "deploy" / "OPERATING.md",
    TOP / "config" / "SETTINGS.md",
]
MOST_BYTES, MOST_BYTES_IN_ALL = 120_000, 500_000

AGES, GAPS, LETTERS = settings.MaxAgeH(), settings.LargeGap(), settings.Letters()


def hours(of: object) -> str:
    return f"{of.total_seconds() / 3600:g} h"  # type: ignore[attr-defined]


NUMBERS = {
    "steps of leaving": f"{trips.DEPARTURE_STEP_MIN} min",
    "after landing": f"{LETTERS.forecast_break_h:g} h",
    "age of the zone forecast": f"{AGES.zone_text:g} h",
    "age of the grid forecast": f"{AGES.grid:g} h",
    "age of the warnings": f"{AGES.warnings:g} h",
    "list of warnings, at the letter": f"{settings.Sources.model_fields['warnings_asked_min'].default} min",
    "age of a station's report": f"{AGES.observations:g} h",
    "a station's report counts": hours(survey.NOWCAST_HOLDS),
    "ahead of the clock": f"{survey.FUTURE_SLACK.total_seconds() / 60:g} min",
    "wind, sources apart": f"{GAPS.wind_kt:g} kt",
    "gusts, sources apart": f"{GAPS.gust_kt:g} kt",
    "sea, sources apart": f"{GAPS.sea_m:g} m",
    "gust below its own wind": f"{conditions.GUST_ROUNDING_KT:g} kt",
    "a whole sea below a part of it": f"{conditions.LEAST_OF_A_PART:.0%}".replace("%", " %"),
    "a warning headline of the zone text": hours(survey.HEADLINE_HOLDS),
    "a string moved from its area's point": f"{morning.AREA_REACH_NMI:g} nmi",
    "a station moved": f"{observations.MOVED_NMI:g} nmi",
    "strings in the shortest order": f"{visit_order.EXACT_UP_TO}",
    "looks after a PULL": f"{LETTERS.watch_every_min} min",
    "sources asked": f"{wiring.POLL_EVERY_MIN:g} min",
    "a letter that fails": f"{Pace().no_call_after_min:g} min",
}


@pytest.mark.parametrize(("of", "number"), NUMBERS.items(), ids=lambda part: part)
def test_a_number_of_a_call_is_that_of_the_code(of: str, number: str) -> None:
    assert f"\n| {of} | {number} |" in README


def test_the_room_on_the_disk_is_reckoned_for_what_is_kept() -> None:
    section = " ".join(
        (TOP / "deploy" / "OPERATING.md").read_text().partition("\n## Room on the disk\n")[2].split()
    )
    first_mb, in_all_mb = 330, 330 + 240 + 75
    for told in (
        f"kept for {settings.Store.model_fields['keep_replies_days'].default} days",
        f"{24 * 60 / wiring.POLL_EVERY_MIN:g} polls a day",
        f"a look each {LETTERS.watch_every_min} min",
        f"all of the last {desk.ALL_STATION_FILES_FOR.days} days",
        f"its {nightly.KEPT_NIGHTS} nightly copies",
        f"{(1 + nightly.KEPT_NIGHTS + 3) * first_mb / 1e3:.1f} GB for the first",
        f"{(1 + nightly.KEPT_NIGHTS + 3) * in_all_mb / 1e3:.0f} GB with two areas and a station, and 0.5 GB",
    ):
        assert told in section
    assert "and 8 GB of free disk" in README


def test_the_caps_that_security_tells_are_those_of_the_code() -> None:
    section = " ".join(README.partition("\n## Security\n")[2].partition("\n## ")[0].split())
    reply_bytes = inspect.signature(transport.Transport).parameters["max_body_bytes"].default
    assert marks_import.MOST_BYTES == log_csv.MAX_BYTES
    for told in (
        f"({transport.MOST_REDIRECTS} at most, on the same host)",
        f"cut at {reply_bytes / 1e6:g} MB, as sent and as unpacked, and at {transport.Timeouts().total_s:g} s",
        f"A form {visit.FORM_BYTES / 1e3:g} kB, entries from sea {sync.MOST_BYTES / 1e3:g} kB",
        f"a table or track {log_csv.MAX_BYTES / 1e6:g} MB",
        f"zip {carry_pages.MOST_ZIP_BYTES / 1e6:g} MB and {carry_pages.MOST_UNPACKED_BYTES / 1e6:g} MB unpacked",
        f"({door.SHORTEST_PASSPHRASE} characters at least)",
    ):
        assert told in section


def test_the_rules_are_told_with_the_day_of_their_check_and_how_many_are_second_hand() -> None:
    before = " ".join(README.partition("\n## Before you trust it\n")[2].partition("\n## ")[0].split())
    for crab in ("stone", "blue"):
        law = caution(load_fishery(TOP / "config" / "fisheries" / f"florida-{crab}-crab.toml"))
        assert f"last checked on **{law.checked:%-d %B %Y}**" in before
        assert f"{crab} crab {law.not_read} of {law.rules}" in before
        assert 2 * law.not_read > law.rules, "most of them"


def test_what_readme_says_of_hours_and_the_door_is_what_the_code_does() -> None:
    text = " ".join(README.split())
    no_letter_by = datetime.combine(date(2026, 12, 8), LETTERS.morning) + desk.NO_LETTER_BY
    assert f"If no letter has come by {no_letter_by:%H:%M}," in text
    assert f"not from {LETTERS.quiet_from:%H:%M} to {LETTERS.quiet_to:%H:%M}" in text
    assert f"\n| morning | {LETTERS.morning:%H:%M} |" in README
    assert f"\n| eve | {LETTERS.eve:%H:%M} |" in README
    assert f"waits, longer with each, up to {door._LONGEST_WAIT_S} s" in text


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_a_page_names_only_files_that_exist(page: Path) -> None:
    text = page.read_text()
    named = re.findall(r"\]\(([^):]+)\)", text)
    named += re.findall(r"\b((?:config|demo|deploy|service|tests)/[\w./-]*[\w])", text)
    made = {"demo/out"}
    assert [name for name in named if name not in made and not (TOP / name).exists()] == []


def test_pictures_are_small_and_each_is_shown_and_said_to_be_invented() -> None:
    pictures = sorted((TOP / "demo" / "pictures").iterdir())
    sizes = [picture.stat().st_size for picture in pictures]
    assert max(sizes) <= MOST_BYTES
    assert sum(sizes) <= MOST_BYTES_IN_ALL
    for picture in pictures:
        shown = re.search(rf"\]\(demo/pictures/{re.escape(picture.name)}\)\n\n\*(.*?)\*\n", README, re.DOTALL)
        assert shown is not None, picture.name
        assert "of invented data" in shown[1], picture.name


def test_each_library_that_is_installed_has_its_licence_told_and_no_other() -> None:
    lock = (TOP / "deploy" / "requirements.lock").read_text()
    installed = sorted(re.findall(r"^([a-z0-9._-]+)==", lock, re.MULTILINE))
    section = README.partition("| licence | packages |\n")[2].partition("\n\n")[0]
    told = {name: row[0] for row in rows(section) for name in row[1].split(", ")}
    assert sorted(told) == installed
    assert {name: licence for name, licence in told.items() if licence.split("-")[0] not in said_of(name)} == {}


def rows(section: str) -> list[list[str]]:
    return [[cell.strip() for cell in line.split("|")[1:-1]] for line in section.splitlines()[1:]]


def said_of(package: str) -> str:
    """What a package's metadata say of its licence, short or long."""
    told = metadata(package)
    words = " ".join(filter(None, (told.get("License-Expression"), told.get("License"))))
    words += " ".join(line for line in told.get_all("Classifier") or () if line.startswith("License"))
    return words.replace("Python Software Foundation", "PSF")
