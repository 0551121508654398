"""The layout holds: imports run upward only, the clock is read in one place, missing stays missing."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

from soakbell.logs import FIELDS

TOP = Path(__file__).resolve().parents[1]
PACKAGE = TOP / "service" / "soakbell"

BASE = {"errors", "units", "clock"}
ROOMS: dict[str, set[str]] = {
    "errors": set(),
    "units": set(),
    "clock": set(),
    "gear": BASE,
    "sea": BASE,
    "fishery": BASE,
    "due_times": BASE,
    "planning": BASE | {"gear", "sea", "fishery"},
    "letters": BASE | {"gear", "sea", "fishery", "planning"},
    "feeds": BASE | {"gear", "sea", "fishery"},
    "store": BASE | {"gear", "sea", "fishery"},
    "mail": BASE,
    "settings_reading": BASE,
    "settings": BASE | {"gear", "sea", "fishery", "planning", "settings_reading"},
    "gear_settings": BASE | {"gear", "settings", "settings_reading"},
    "plan_settings": BASE | {"planning", "sea", "settings", "settings_reading"},
    "reading": BASE | {"sea", "feeds"},
    "survey": BASE | {"sea", "feeds", "settings"},
    "call_record": BASE | {"sea", "planning"},
    "morning": BASE | {"gear", "sea", "fishery", "planning", "settings", "survey", "due_times"},
    "page_settings": BASE | {"settings", "settings_reading"},
    "web": BASE
    | {"gear", "sea", "fishery", "planning", "letters", "store", "settings", "page_settings", "due_times", "desk"},
}
"""What each room may import, besides itself. Rooms not named here are the edge and may import anything."""


def modules() -> Iterator[tuple[Path, str]]:
    for path in sorted(PACKAGE.rglob("*.py")):
        room = path.relative_to(PACKAGE).parts[0].removesuffix(".py")
        yield path, room


def imported_rooms(path: Path) -> set[str]:
    rooms = set()
    for node in ast.walk(ast.parse(path.read_text())):
        names = []
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path} imports relatively; write the whole name"
            names = [node.module or ""]
            if node.module == "soakbell":
                names = [f"soakbell.{alias.name}" for alias in node.names]
        rooms |= {name.split(".")[1] for name in names if name.startswith("soakbell.")}
    return rooms - {"__version__"}


@pytest.mark.parametrize(("path", "room"), list(modules()), ids=lambda p: p.name if isinstance(p, Path) else p)
def test_imports_run_upward_only(path: Path, room: str) -> None:
    if room in ROOMS:
        astray = imported_rooms(path) - ROOMS[room] - {room}
        assert not astray, f"{path.relative_to(TOP)} may not import from {sorted(astray)}"


@pytest.mark.parametrize(("path", "room"), list(modules()), ids=lambda p: p.name if isinstance(p, Path) else p)
def test_the_clock_is_read_in_one_place_only(path: Path, room: str) -> None:
    if room != "clock":
        read = re.search(r"datetime\.(now|utcnow|today)\(|date\.today\(|\btime\.time\(", path.read_text())
        assert read is None, f"{path.relative_to(TOP)} reads the clock: {read and read.group()}"


@pytest.mark.parametrize(("path", "room"), list(modules()), ids=lambda p: p.name if isinstance(p, Path) else p)
def test_missing_values_are_never_filled(path: Path, room: str) -> None:
    filled = re.search(r"\b(fillna|interpolate|ffill|bfill|nan_to_num)\(", path.read_text())
    assert filled is None, f"{path.relative_to(TOP)} fills holes: {filled and filled.group()}"


@pytest.mark.parametrize(("path", "room"), list(modules()), ids=lambda p: p.name if isinstance(p, Path) else p)
def test_only_interval_triggers_without_jitter_are_used(path: Path, room: str) -> None:
    """S3, S4: cron triggers skip and double days around the clock change."""
    assert not re.search(r"CronTrigger|jitter\s*=\s*\d|\"cron\"", path.read_text()), path


def test_the_top_level_holds_nothing_else() -> None:
    tracked = subprocess.run(["git", "ls-files"], cwd=TOP, capture_output=True, text=True, check=False).stdout
    if not tracked:
        pytest.skip("not a git checkout")
    tops = {line.split("/")[0] for line in tracked.splitlines()}
    allowed = {"README.md", "DEVELOPERS.md", "pyproject.toml", "service", "config", "tests", "deploy", "demo"}
    assert {top for top in tops if not top.startswith(".")} <= allowed


def test_every_dependency_is_locked_with_hashes() -> None:
    """W12."""
    project = tomllib.loads((TOP / "pyproject.toml").read_text())["project"]
    lock = (TOP / "deploy" / "requirements.lock").read_text()
    pinned = {m.group(1) for m in re.finditer(r"^([a-z0-9.-]+)==\S+ \\\n    --hash=sha256:", lock, re.MULTILINE)}
    for line in project["dependencies"]:
        name = re.split(r"[<>=!~ \[]", line)[0]
        assert name in pinned, f"{name} is not pinned with a hash in deploy/requirements.lock"


@pytest.mark.parametrize(
    ("name", "bound"), [("apscheduler", "<4"), ("pandas", "<4"), ("sqlalchemy", "<2.2"), ("tzdata", "")]
)
def test_what_could_change_under_us_is_bounded_and_zone_data_comes_along(name: str, bound: str) -> None:
    """S10: APScheduler 4 is not for production. W12, S9."""
    project = tomllib.loads((TOP / "pyproject.toml").read_text())["project"]
    (line,) = [d for d in project["dependencies"] if re.match(rf"{name}\b", d)]
    assert line.endswith(bound)


def test_no_letter_is_called_delivered() -> None:
    """M9: a 250 says that a server took it."""
    told = [path for ending in ("py", "html", "txt") for path in PACKAGE.rglob(f"*.{ending}")]
    assert len(told) > 100
    assert [path for path in told if "delivered" in path.read_text()] == []


def test_every_field_named_for_a_log_line_is_one_that_lines_carry() -> None:
    named = {
        key.value
        for path, _ in modules()
        for node in ast.walk(ast.parse(path.read_text()))
        if isinstance(node, ast.keyword) and node.arg == "extra" and isinstance(node.value, ast.Dict)
        for key in node.value.keys
        if isinstance(key, ast.Constant)
    }
    assert {"action", "fault"} <= named <= set(FIELDS)


def test_a_process_that_a_test_starts_runs_the_program_of_this_checkout() -> None:
    where = "import soakbell; print(soakbell.__file__)"
    told = subprocess.run([sys.executable, "-c", where], capture_output=True, text=True, check=True).stdout
    assert Path(told.strip()) == PACKAGE / "__init__.py"
