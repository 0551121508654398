"""One boat's morning from kept replies, a long log, texts that no office would write, the parse of large payloads,
and the start of the command.

    python tests/bench/bench_morning.py [folder of captured payloads]

Prints a table. Times are the median of several runs in one process; the cold ones each start a process.
"""

from __future__ import annotations

import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

TOP = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(TOP))

from rich.console import Console  # noqa: E402
from rich.table import Table  # noqa: E402


def timed(work: Callable[[], object], runs: int) -> tuple[float, float]:
    """Median wall and CPU seconds."""
    walls, cpus = [], []
    for _ in range(runs):
        wall, cpu = time.perf_counter(), time.process_time()
        work()
        walls.append(time.perf_counter() - wall)
        cpus.append(time.process_time() - cpu)
    return statistics.median(walls), statistics.median(cpus)


def cold(command: list[str], runs: int = 7) -> tuple[float, float]:
    """Median wall and CPU seconds of a process of its own."""

    def run() -> None:
        subprocess.run(command, check=False, capture_output=True)

    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    wall, _ = timed(run, runs)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return wall, (after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime) / runs


def peak_mb(code: str, *arguments: str) -> float:
    """Highest resident memory of a process that runs ``code``. ru_maxrss would count the parent's before exec."""
    tell = "\nprint([line.split()[1] for line in open('/proc/self/status') if line.startswith('VmHWM')][0])"
    run = subprocess.run(
        [sys.executable, "-c", code + tell, *arguments], capture_output=True, text=True, check=True, cwd=TOP
    )
    return int(run.stdout.split()[-1]) / 1024


MORNING = """
import sys
from pathlib import Path
sys.path.insert(0, ".")
sys.path.insert(0, "tests/bench")
from kept_morning import KeptMorning
with KeptMorning(Path(sys.argv[1])) as morning:
    morning.letter()
"""


def main() -> None:
    from kept_morning import KeptMorning, fetch_once

    soakbell = str(Path(sys.executable).with_name("soakbell"))
    rows: list[tuple[str, float, float, str]] = []
    with tempfile.TemporaryDirectory() as folder:
        fetch_once(Path(folder))
        with KeptMorning(Path(folder)) as morning:
            morning.letter()
            rows.append(("warm call from kept replies", *timed(morning.call, 15), "0.3"))
            rows.append(("warm call and letter with chart", *timed(morning.letter, 7), ""))
        memory_mb = peak_mb(MORNING, folder)
    rows.append(("fold 100,000 log entries", *timed(long_fold(), 3), "2"))
    rows += hostile_texts()
    rows.append(("cold: soakbell --help", *cold([soakbell, "--help"]), "0.3"))
    rows.append(("cold: soakbell log list, new database", *cold_log(soakbell), "1.5"))
    if len(sys.argv) > 1:
        rows += parses(Path(sys.argv[1]))
    table = Table(
        "what", "wall s", "CPU s", "aim s", title=f"Measured {datetime.now().astimezone():%Y-%m-%d %H:%M}"
    )
    for name, wall, cpu, aim in rows:
        table.add_row(name, f"{wall:.3f}", f"{cpu:.3f}", aim)
    Console().print(table)
    Console().print(f"peak memory of a cold morning with its letter: {memory_mb:.0f} MB (aim 200)")


def cold_log(soakbell: str) -> tuple[float, float]:
    with tempfile.TemporaryDirectory() as folder:
        settings = Path(folder) / "boat.toml"
        text = (TOP / "config" / "boat.toml").read_text().replace("# database =", "database =")
        settings.write_text(text.replace('username = "little-grebe"', ""))
        (Path(folder) / "fisheries").symlink_to(TOP / "config" / "fisheries")
        return cold([soakbell, "--settings", str(settings), "log", "list"])


def long_fold() -> Callable[[], object]:
    """The fold of five strings of 30 traps, pulled a minute apart; the log is made beforehand."""
    from soakbell.gear.fold import fold
    from soakbell.gear.log import Detail, LogEntry, Pulled, TrapsSet, new_entry
    from soakbell.gear.strings import Mark, TrapString

    first = datetime(2026, 10, 15, 12, tzinfo=UTC)
    start, end = Mark(30.030, -84.160), Mark(30.034, -84.148)
    strings = [TrapString(f"String {n}", start, end, 30, "Inner Bay", 3, 120, 264) for n in range(5)]

    def told(number: int, detail: Detail) -> LogEntry:
        at, string = first + timedelta(minutes=number), strings[number % 5].name
        return new_entry(detail, happened_at=at, told_at=at, told_by="cli", string=string, key=str(number))

    log = [told(number, TrapsSet() if number < 5 else Pulled()) for number in range(100_000)]
    return lambda: fold(log, strings)


HOSTILE = (
    "near ",
    "to ",
    "N winds 10 kt ",
    "Cape of the ",
    "swell 2 ft and W ",
    "up less ",
    "NEAR CAPE OF ",
    "N ",
    "1 to ",
)
"""Words that a search which goes back would try again and again."""


def hostile_texts() -> list[tuple[str, float, float, str]]:
    """The slowest of the hostile words, as short and as long: the time must grow with the length."""
    from soakbell.feeds.period_text import read_period

    rows = []
    for characters in (25_000, 100_000):
        texts = [words * (characters // len(words)) for words in HOSTILE]
        slowest = max(timed(lambda text=text: read_period.__wrapped__(text), 1) for text in texts)  # type: ignore[misc]
        rows.append((f"slowest hostile period, {characters:,} characters", *slowest, ""))
    return rows


def parses(captured: Path) -> list[tuple[str, float, float, str]]:
    from soakbell.feeds.alerts import parse_alerts
    from soakbell.feeds.buoys import parse_realtime
    from soakbell.feeds.grid import parse_grid
    from soakbell.feeds.zone_text import parse_zone_text
    from soakbell.sea.grid_hours import hours_of_grid
    from soakbell.sea.sources import QUANTITIES

    grid = (captured / "gridpoints" / "gridpoints_TAE_58,65.json").read_bytes()
    text = (captured / "cwf" / "cwf_HFO-20230615T201352Z.json").read_bytes()
    buoy = (captured / "ndbc" / "41002.txt").read_bytes()
    zone = (captured / "alerts" / "pynws_alerts_active_zone_second.json").read_bytes()
    return [
        ("parse zone text, 15 KB", *timed(lambda: parse_zone_text(text), 9), ""),
        ("parse grid to hours, 132 KB", *timed(lambda: hours_of_grid(parse_grid(grid), gives=QUANTITIES), 9), ""),
        ("parse warnings, 15 KB", *timed(lambda: parse_alerts(zone), 9), ""),
        ("parse buoy, 617 KB", *timed(lambda: parse_realtime(buoy, "41002"), 9), ""),
    ]


if __name__ == "__main__":
    main()
