"""What each page of the phone costs the server, with a short log and a long one, in one run. INVENTED DATA.

    python tests/bench/bench_page.py [entries of the long log]

The log is folded before, as it is in a service that runs. Time is that of the processor, so that what else runs on
the machine counts little; the median and the first look after a new entry are told.
"""

from __future__ import annotations

import shutil
import statistics
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

TOP = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(TOP), str(TOP / "tests"), str(TOP / "tests" / "bench")]

from bench_log import LONG, SHORT, fill, tell_one  # noqa: E402
from kept_morning import KeptMorning, NoFetch, fetch_once  # noqa: E402
from rich.console import Console  # noqa: E402
from rich.table import Table  # noqa: E402

from page_scenes import SKIPPER, post, terms, visitor_of  # noqa: E402
from soakbell.desk import Desk  # noqa: E402
from soakbell.gear_settings import load_outfit  # noqa: E402
from soakbell.plan_settings import load_terms  # noqa: E402
from soakbell.web.house import PageHouse  # noqa: E402
from soakbell.web.keys import keys_beside  # noqa: E402

TURNS, AIM_MS = 15, 100


def paths_of(string: str) -> tuple[str, ...]:
    lists = ("/season", "/season/sheet", "/season/recovery.csv", "/season/recovery.gpx", "/season/recovery.ics")
    return (
        "/",
        "/why",
        "/letters",
        "/log",
        "/log/pull",
        "/told",
        "/strings",
        f"/strings/{string}",
        "/bait",
        "/bench",
        *lists,
    )


def house_of(folder: Path, morning: KeptMorning) -> PageHouse:
    """The boat of the kept morning with a gear file, a plan and a page."""
    settings, store, clock = morning.settings, morning.house.store, morning.clock
    outfit = load_outfit(TOP / "config" / "gear.toml")
    plan = replace(load_terms(TOP / "config" / "plan.toml"), deck_traps=80)
    desk = Desk(settings, store, clock, NoFetch(), outfit=outfit, terms=plan, invented=True)
    return PageHouse(settings, terms(), store, clock, desk, outfit, keys_beside(folder / "soakbell.db"), True)


def measured(folder: Path) -> dict[str, tuple[float, float, int]]:
    """By page: median and first milliseconds, and bytes."""
    found: dict[str, tuple[float, float, int]] = {}
    with KeptMorning(folder) as morning:
        house = house_of(folder, morning)
        house.desk.log.now()
        phone = visitor_of(house)
        assert post(phone, "/in", passphrase=SKIPPER).status_code == 303
        paths = paths_of(morning.settings.trap_strings[0].name)
        took: dict[str, list[float]] = {path: [] for path in paths}
        sizes: dict[str, int] = {}
        tell_one(morning, 0)
        for _ in range(TURNS):
            for path in paths:
                begun = time.process_time()
                answer = phone.get(path)
                took[path].append((time.process_time() - begun) * 1000)
                assert answer.status_code == 200, (path, answer.text)
                sizes[path] = len(answer.content)
        for path, times in took.items():
            found[path] = (statistics.median(times), times[0], sizes[path])
    return found


def main() -> None:
    sizes = (SHORT, int(sys.argv[1]) if len(sys.argv) > 1 else LONG)
    console = Console()
    with tempfile.TemporaryDirectory() as top:
        first = Path(top) / "first"
        first.mkdir()
        fetch_once(first)
        results = []
        for size in sizes:
            folder = Path(top) / str(size)
            shutil.copytree(first, folder, symlinks=True)
            text = (folder / "boat.toml").read_text()
            (folder / "boat.toml").write_text(text.replace(str(first), str(folder)))
            begun = time.perf_counter()
            fill(folder, size)
            console.print(f"{size:,} entries made in {time.perf_counter() - begun:.1f} s")
            results.append(measured(folder))
    table = Table(
        "page", *(f"{size:,}: median ms" for size in sizes), *(f"{size:,}: first ms" for size in sizes), "kB"
    )
    for path, (_, _, length) in results[0].items():
        row = [f"{result[path][0]:.0f}" for result in results] + [f"{result[path][1]:.0f}" for result in results]
        table.add_row(path, *row, f"{length / 1000:.0f}")
    console.print(table)
    slow = [path for result in results for path, (*times, _) in result.items() if max(times) > AIM_MS]
    console.print(f"aim: {AIM_MS} ms each; above it: {', '.join(slow) or 'none'}")


if __name__ == "__main__":
    main()
