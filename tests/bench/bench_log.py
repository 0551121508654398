"""The morning with a log of ten thousand entries and with one of a million, in one run. INVENTED DATA.

    python tests/bench/bench_log.py [entries of the long log]

Prints what it takes to fold each log once, with its highest memory, and then the time of a morning whose log was
folded before and to which one entry came since. The two take turns, so that a busy machine slows both alike.
"""

from __future__ import annotations

import json
import random
import resource
import shutil
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict
from datetime import date, datetime, timedelta
from pathlib import Path

TOP = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(TOP), str(TOP / "tests" / "bench")]

from kept_morning import KeptMorning, fetch_once  # noqa: E402
from rich.console import Console  # noqa: E402
from rich.table import Table  # noqa: E402

from soakbell.gear.log import (  # noqa: E402
    DETAILS,
    OF_TRAPS,
    BaitBought,
    BaitCounted,
    BaitMoved,
    BaitOrdered,
    BaitSpoiled,
    Barred,
    BellSettled,
    BellSnoozed,
    BroughtAshore,
    Correction,
    Detail,
    EngineHours,
    EntryKind,
    FoundDamaged,
    FoundMissing,
    Moved,
    PartBought,
    PartCounted,
    PartUsed,
    Pinned,
    Pulled,
    PutOnBench,
    Recovered,
    Renumbered,
    Repaired,
    Replaced,
    Retired,
    Tagged,
    TrapsSet,
    UpkeepDone,
    new_entry,
)
from soakbell.gear.strings import TrapString  # noqa: E402
from soakbell.settings import load_settings  # noqa: E402
from soakbell.store.engine import open_store  # noqa: E402
from soakbell.store.log import append_entries  # noqa: E402
from soakbell.store.log_keeper import LogKeeper  # noqa: E402

SHORT, LONG, TURNS = 10_000, 1_000_000, 15
AIM = 1.2
APART = timedelta(seconds=20)
MULLET, HIDE = "mullet heads", "cowhide"
RARELY = 400  # rounds between two traps given up

Told = tuple[Detail, str | None, tuple[int, ...]]


def a_round(number: int, strings: Sequence[TrapString], dice: random.Random) -> Iterator[Told]:
    """Some fifty entries that make sense one after another, at the end of which every trap fishes as before."""
    for turn in range(25):
        string = strings[(number + turn) % len(strings)]
        claws = dice.randrange(20, 60)
        bait = MULLET if turn % 3 else HIDE
        yield (
            Pulled(legal_claws=claws, lb=claws * 0.22, bait=bait, bait_boxes=0.5 if turn % 2 else None),
            string.name,
            (),
        )
    string = strings[number % len(strings)]
    place, other = dice.sample(range(1, string.traps + 1), 2)
    one = (place,)
    yield FoundMissing(), string.name, one
    yield Recovered("fishing"), string.name, one
    yield FoundDamaged("latch"), string.name, one
    yield BroughtAshore(), string.name, one
    yield PutOnBench(), string.name, one
    yield Repaired("latch", (("latch", 1.0),)), string.name, one
    yield Tagged(f"{number} {string.name}"), string.name, one
    if number % RARELY == 0:
        yield Retired("worn out"), string.name, one
        yield Replaced(), string.name, one
    yield TrapsSet(), string.name, one
    yield Moved(string.start, string.end), string.name, ()
    yield Renumbered(((place, other), (other, place))), string.name, ()
    yield BaitOrdered(MULLET, 10.0), None, ()
    for bait in (MULLET, HIDE):
        yield BaitBought(bait, 10.0, cost_usd=300.0), None, ()
        yield BaitMoved(bait, 9.0), None, ()
        yield BaitMoved(bait, 8.0, "aboard"), None, ()
        yield BaitSpoiled(bait, 0.5), None, ()
        yield BaitCounted(bait, 20.0, "aboard"), None, ()
        yield BaitCounted(bait, 0.0, "thaw"), None, ()
    yield PartBought("latch", 5.0), None, ()
    yield PartUsed("latch", 1.0), None, ()
    yield PartCounted("latch", 12.0), None, ()
    yield UpkeepDone("engine oil"), None, ()
    yield EngineHours(number / 10), None, ()
    yield BellSnoozed(f"soak:{string.name}", datetime.fromisoformat("2026-11-01T12:00+00:00")), None, ()
    yield BellSettled(f"bait:{MULLET}"), None, ()
    yield Pinned(date(2026, 11, 1), string.name), None, ()
    yield Barred(date(2026, 11, 2)), None, ()
    yield Pulled(reset=False), string.name, one
    yield Correction("", "it was set back"), None, ()


def whole_log(count: int, strings: Sequence[TrapString]) -> Iterator[Told]:
    """``count`` entries; at the end every trap is aboard."""
    for string in strings:
        yield TrapsSet(), string.name, ()
    told, number, dice = len(strings), 0, random.Random(7)
    while told < count - len(strings):
        for entry in a_round(number, strings, dice):
            yield entry
            told += 1
        number += 1
    for string in strings:
        yield Pulled(reset=False), string.name, ()


def fill(folder: Path, count: int) -> None:
    """Put the log before the season's own, straight into the file: through the store it would take minutes."""
    settings = load_settings(folder / "boat.toml", env={})
    kinds: set[EntryKind] = set()
    with sqlite3.connect(settings.database) as file:
        file.execute("PRAGMA synchronous=OFF")
        first, seq = file.execute("SELECT min(happened_at), max(seq) FROM log_entry").fetchone()
        begin = datetime.fromisoformat(first) - (count + 1000) * APART

        def rows() -> Iterator[tuple[object, ...]]:
            for number, (detail, string, traps) in enumerate(whole_log(count, settings.trap_strings)):
                kinds.add(detail.kind)
                at = (begin + number * APART).isoformat(sep=" ", timespec="microseconds")
                of_kind, voids = asdict(detail), None
                if of_kind.pop("voids", None) is not None:
                    voids = f"long-{number - 1}"
                assert (detail.kind in OF_TRAPS) is (string is not None)
                parts = json.dumps({"traps": traps, "note": "", "of_kind": of_kind}, default=str)
                name = f"long-{number}"
                yield name, name, detail.kind.value, at, at, "csv", string, voids, parts, seq + 1 + number

        file.execute("PRAGMA foreign_keys=OFF")
        file.executemany(
            "INSERT INTO log_entry (id, key, kind, happened_at, told_at, told_by, string, voids, detail, seq) "
            "VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
            rows(),
        )
    file.close()
    assert kinds == set(DETAILS)


def tell_one(morning: KeptMorning, turn: int) -> None:
    at = morning.clock.now() - timedelta(hours=12) + turn * APART
    counted = new_entry(BaitCounted(MULLET, 3.0), happened_at=at, told_at=at, told_by="cli")
    with morning.house.store.writing() as session:
        append_entries(session, [counted])


def in_turn(mornings: Sequence[KeptMorning], work: Callable[[KeptMorning], object], turns: range) -> list[float]:
    """Median seconds of each, one entry newer every time."""
    took: list[list[float]] = [[] for _ in mornings]
    for turn in turns:
        for morning, walls in zip(mornings, took, strict=True):
            tell_one(morning, turn)
            begun = time.perf_counter()
            work(morning)
            walls.append(time.perf_counter() - begun)
    return [statistics.median(walls) for walls in took]


def fold_alone(folder: Path) -> None:
    """In a process of its own: seconds, how many entries, oddities, and the highest memory in MB."""
    settings = load_settings(folder / "boat.toml", env={})
    store = open_store(f"sqlite:///{settings.database}")
    begun = time.perf_counter()
    kept = LogKeeper(store, settings.trap_strings).now()
    took = time.perf_counter() - begun
    assert kept.books is not None, kept.fault
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(took, kept.entries, len(kept.gear.oddities) + len(kept.books.oddities), peak_mb)
    store.close()


def folded_once(folder: Path) -> tuple[float, int, int, float]:
    run = subprocess.run(
        [sys.executable, __file__, "--fold", str(folder)], capture_output=True, text=True, check=True, cwd=TOP
    )
    took, entries, odd, peak_mb = run.stdout.split()
    return float(took), int(entries), int(odd), float(peak_mb)


def main() -> None:
    sizes = (SHORT, int(sys.argv[1]) if len(sys.argv) > 1 else LONG)
    console = Console()
    with tempfile.TemporaryDirectory() as top:
        folders = [Path(top) / str(size) for size in sizes]
        folders[0].mkdir()
        fetch_once(folders[0])
        shutil.copytree(folders[0], folders[1], symlinks=True)
        for folder in folders:
            text = (folder / "boat.toml").read_text()
            (folder / "boat.toml").write_text(text.replace(str(folders[0]), str(folder)))
        folds = []
        for folder, size in zip(folders, sizes, strict=True):
            begun = time.perf_counter()
            fill(folder, size)
            console.print(f"{size:,} entries made in {time.perf_counter() - begun:.1f} s")
            folds.append(folded_once(folder))
        with KeptMorning(folders[0]) as short, KeptMorning(folders[1]) as long:
            both = (short, long)
            words = [morning.call().call.word.value for morning in both]
            calls = in_turn(both, KeptMorning.call, range(TURNS))
            letters = in_turn(both, KeptMorning.letter, range(TURNS, 2 * TURNS))
    table = Table("what", f"{sizes[0]:,}", f"{sizes[1]:,}", "ratio", title="The morning and the length of the log")
    table.add_row("entries in the log", *(f"{fold[1]:,}" for fold in folds))
    table.add_row("odd entries", *(f"{fold[2]:,}" for fold in folds))
    table.add_row("fold once, s", *(f"{fold[0]:.2f}" for fold in folds), f"{folds[1][0] / folds[0][0]:.1f}")
    table.add_row("highest memory of that process, MB", *(f"{fold[3]:.0f}" for fold in folds))
    table.add_row("the word", *words)
    table.add_row("call with one new entry, s", *(f"{took:.3f}" for took in calls), f"{calls[1] / calls[0]:.2f}")
    table.add_row(
        "letter with one new entry, s", *(f"{took:.3f}" for took in letters), f"{letters[1] / letters[0]:.2f}"
    )
    console.print(table)
    console.print(f"aim: a ratio of at most {AIM} for call and letter")


if __name__ == "__main__":
    if sys.argv[1:2] == ["--fold"]:
        fold_alone(Path(sys.argv[2]))
    else:
        main()
