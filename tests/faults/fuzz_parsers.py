"""Every parser of the house fed with damaged files: it reads, or refuses in the way it says, and nothing else.

    PYTHONPATH=service python tests/faults/fuzz_parsers.py [--runs 1000000] [--seed 1] [--processes 2]

The corpus is the captured public payloads, cut into small ones so that many runs fit into an hour, and our own
settings, tracks and tables. Damage is blind to the format (bytes, spans, splices of two files, odd words) or
follows it (a value of a JSON document). What comes out must also be whole: no number without end, no range upside
down, no moment without its zone. Prints a table, and each failure with what brought it.
"""

from __future__ import annotations

import argparse
import io
import json
import math
import random
import re
import shutil
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from zoneinfo import ZoneInfo

TOP = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(TOP), str(TOP / "tests")]

from argon2 import PasswordHasher  # noqa: E402
from rich.console import Console  # noqa: E402
from rich.table import Table  # noqa: E402

from captured_times import with_real_times  # noqa: E402
from soakbell.errors import SoakbellError  # noqa: E402
from soakbell.feeds.alerts import parse_alerts  # noqa: E402
from soakbell.feeds.buoys import parse_latest, parse_realtime  # noqa: E402
from soakbell.feeds.grid import parse_grid  # noqa: E402
from soakbell.feeds.headlines import headline_meaning  # noqa: E402
from soakbell.feeds.ndbc_history import parse_history  # noqa: E402
from soakbell.feeds.period_text import read_period  # noqa: E402
from soakbell.feeds.points import parse_point, parse_zone  # noqa: E402
from soakbell.feeds.warning_text import parse_warning_text  # noqa: E402
from soakbell.feeds.zone_text import parse_zone_text  # noqa: E402
from soakbell.gear.log_csv import read_log_csv  # noqa: E402
from soakbell.gear.strings import Mark, TrapString  # noqa: E402
from soakbell.gear_settings import load_outfit  # noqa: E402
from soakbell.page_settings import load_page_terms  # noqa: E402
from soakbell.plan_settings import load_terms  # noqa: E402
from soakbell.reading import as_json, as_text, understand  # noqa: E402
from soakbell.settings import load_fishery, load_settings  # noqa: E402
from soakbell.web.boat_zip import unpack_boat_zip  # noqa: E402
from soakbell.web.marks_import import read_marks  # noqa: E402

NOW = datetime(2026, 5, 14, 12, tzinfo=UTC)
ZONE = ZoneInfo("America/New_York")
HARBOR = Mark(30.08, -84.19)
STRINGS = (
    TrapString("Nine Foot", Mark(30.03, -84.16), Mark(30.034, -84.148), 24, "Inner Bay", 3, 120, 264),
    TrapString("Outer Bar", Mark(29.99, -84.12), Mark(29.99, -84.10), 36, "Inner Bay", 3, 144, 288),
)
GPX = "http://www.topografix.com/GPX/1/1"
MOST_BYTES = 6000

Parser = Callable[[bytes], object]


@dataclass(frozen=True)
class Target:
    """``share``: how often it is tried, beside the others; costly parsers are tried less."""

    name: str
    parse: Parser
    corpus: tuple[bytes, ...]
    share: float


@dataclass
class Came:
    read: Counter[str] = field(default_factory=Counter)
    refused: Counter[str] = field(default_factory=Counter)
    slowest_s: dict[str, float] = field(default_factory=dict)
    failures: list[str] = field(default_factory=list)

    def add(self, other: Came) -> None:
        self.read += other.read
        self.refused += other.refused
        for name, took_s in other.slowest_s.items():
            self.slowest_s[name] = max(took_s, self.slowest_s.get(name, 0.0))
        self.failures += other.failures


# ---- corpus --------------------------------------------------------------------------------------------------


def targets(shared: Path, folder: Path) -> tuple[Target, ...]:
    """Needs the captured payloads; ``folder`` takes the files that a loader wants to read."""
    weather = shared / "data" / "weather"

    def of(pattern: str) -> tuple[bytes, ...]:
        found = [real(file.read_bytes()) for file in sorted(weather.glob(pattern)) if file.name != "README.md"]
        return tuple(part for body in found for part in small(body))

    config = TOP / "config"
    tomls = {name: (config / f"{name}.toml").read_bytes() for name in ("boat", "gear", "plan", "page")}
    tomls["page"] += f'\nskipper = "{PasswordHasher().hash("an invented passphrase")}"\n'.encode()
    fisheries = tuple(file.read_bytes() for file in sorted((config / "fisheries").glob("*.toml")))
    zones = of("cwf/*")
    bulletins = of("warnings_text/*")
    everything = (*zones, *bulletins, *of("alerts/*"), *of("gridpoints/*"), *of("ndbc/*"), *of("points_zones/*"))
    stations = (*of("ndbc/41002.txt"), *of("ndbc/*.spec"))
    shutil.copytree(config, folder, dirs_exist_ok=True)
    all_targets = (
        Target("zone text", parse_zone_text, zones, 10),
        Target("period of a zone text", as_words(read_period), periods(zones), 40),
        Target("headline", as_words(headline_meaning), lines_of((*zones, *bulletins)), 20),
        Target("warning text", parse_warning_text, bulletins, 10),
        Target("warnings list", parse_alerts, of("alerts/*"), 10),
        Target("grid forecast", parse_grid, of("gridpoints/*"), 10),
        Target("point", parse_point, of("points_zones/points*"), 8),
        Target("zone", parse_zone, (zone_feature(),), 8),
        Target("station", partial(parse_realtime, station="41002"), stations, 1.5),
        Target("latest of all stations", parse_latest, of("ndbc/latest_obs.txt"), 0.5),
        Target("year of a station", partial(parse_history, where="a year"), of("ndbc/ndbcapi_stdmet_0.txt"), 0.5),
        Target("any payload, told", told, everything, 3),
        Target("log as a table", log_table, tables(), 6),
        Target("marks", marks, tracks(), 10),
        Target("boat.toml", by_file(folder, load_boat), (tomls["boat"],), 0.6),
        Target("gear.toml", by_file(folder, load_outfit), (tomls["gear"],), 0.6),
        Target("plan.toml", by_file(folder, load_terms), (tomls["plan"],), 1),
        Target("page.toml", by_file(folder, load_page_terms), (tomls["page"],), 1),
        Target("fishery", by_file(folder, load_fishery), fisheries, 0.6),
        Target("zip of a boat", partial(zipped, folder), zips(), 2),
    )
    return tuple(replace(target, corpus=readable(target)) for target in all_targets)


def readable(target: Target) -> tuple[bytes, ...]:
    """What is read as it is: damage to what is refused anyway would try little."""

    def is_read(body: bytes) -> bool:
        try:
            target.parse(body)
        except SoakbellError:
            return False
        return True

    found = tuple(body for body in target.corpus if is_read(body))
    assert found, f"{target.name}: nothing of its corpus can be read"
    return found


def real(body: bytes) -> bytes:
    return with_real_times(body, whole_hours=True) if b"date:now" in body else body


def small(body: bytes) -> Iterator[bytes]:
    """Small payloads out of a large one: one segment of a bulletin, a few items of each list, the first lines."""
    if body.lstrip()[:1] in (b"{", b"["):
        found = json.loads(body)
        if isinstance(found, dict) and isinstance(text := found.get("productText"), str):
            for part in small(text.encode()):
                yield json.dumps({**found, "productText": part.decode()}).encode()
            return
        yield json.dumps(cut(found)).encode()
        return
    head, *segments = re.split(rb"(?<=\$\$)\n", body)
    if not segments:
        yield b"\n".join(body.split(b"\n")[:25])
        return
    start = b"\n".join(head.split(b"\n")[:8])
    for segment in segments[:4]:
        yield (start + b"\n\n" + segment)[:MOST_BYTES]
    yield head[:MOST_BYTES]


def cut(found: object) -> object:
    if isinstance(found, dict):
        return {key: value if key == "coordinates" else cut(value) for key, value in found.items()}
    return [cut(value) for value in found[:3]] if isinstance(found, list) else found


def periods(zones: Sequence[bytes]) -> tuple[bytes, ...]:
    text = b"\n".join(zones).replace(b"\\n", b"\n")
    found = re.findall(rb"^\.[A-Z ]+\.\.\.(.+?)(?=^\.|^\$\$|\Z)", text, re.MULTILINE | re.DOTALL)
    return tuple(dict.fromkeys(period[:800] for period in found if b"kt" in period or b"ft" in period))


def lines_of(bodies: Sequence[bytes]) -> tuple[bytes, ...]:
    text = b"\n".join(bodies).replace(b"\\n", b"\n")
    return tuple(dict.fromkeys(line for line in text.split(b"\n") if line.startswith(b"...")))


def zone_feature() -> bytes:
    """INVENTED, in the documented form of a zone."""
    said = {
        "@id": "https://api.weather.gov/zones/coastal/GMZ730",
        "id": "GMZ730",
        "type": "coastal",
        "state": None,
    }
    said |= {"name": "An invented bay", "effectiveDate": "2026-03-03T18:00:00+00:00", "cwa": ["TAE"]}
    said |= {"timeZone": ["America/New_York"], "observationStations": [], "radarStation": None}
    corners = [[-84.5, 29.8], [-84.0, 29.8], [-84.0, 30.1], [-84.5, 29.8]]
    feature = {"id": said["@id"], "type": "Feature", "properties": said}
    return json.dumps({**feature, "geometry": {"type": "Polygon", "coordinates": [corners]}}).encode()


def tables() -> tuple[bytes, ...]:
    """INVENTED."""
    head = b"happened_at,kind,string,traps,legal_claws,lb,note,item,parts,boxes,bait\n"
    rows = b"2026-10-15 08:30,set,Nine Foot,,,,,,,,\n2026-10-22 09:00,pull,Nine Foot,,64,17.5,calm,,,,\n"
    more = b'2026-10-22 10:00,damage,Outer Bar,3..4 7,,,"lid, again",latch,hook latch 1,,\n'
    return head + rows, head + more, head.replace(b",", b";") + rows.replace(b",", b";")


def tracks() -> tuple[bytes, ...]:
    """INVENTED, GPX 1.1 and a table."""
    points = '<rtept lat="30.031" lon="-84.161"><name>start</name></rtept><rtept lat="30.035" lon="-84.149"/>'
    gpx = f'<gpx version="1.1" creator="x" xmlns="{GPX}"><rte><name>Nine Foot</name>{points}</rte></gpx>'
    table = "string,start_lat_deg,start_lon_deg,end_lat_deg,end_lon_deg\nNine Foot,30.031,-84.161,30.035,-84.149\n"
    return gpx.encode(), b'<?xml version="1.0"?>\n' + gpx.encode(), table.encode()


def zips() -> tuple[bytes, ...]:
    """INVENTED: whole but for its database, which is text."""
    from hashlib import sha256
    from zipfile import ZIP_DEFLATED, ZipFile

    content = b"no database" * 20
    manifest = {
        "soakbell_boat": 1,
        "boat": "Little Grebe",
        "made_at": NOW.isoformat(),
        "program": "0",
        "schema": "0001",
        "rows": {"log": 1},
        "sha256": {"soakbell.db": sha256(content).hexdigest()},
        "left_out": {},
    }
    to = io.BytesIO()
    with ZipFile(to, "w", ZIP_DEFLATED) as packed:
        packed.writestr("soakbell.db", content)
        packed.writestr("manifest.json", json.dumps(manifest))
    return (to.getvalue(),)


# ---- parsers -------------------------------------------------------------------------------------------------


def as_words(read: Callable[[str], object]) -> Parser:
    return lambda body: read(body.decode("utf-8", "replace"))


def told(body: bytes) -> object:
    understood = understand(body, "a payload")
    if understood.refused is not None and "reader failed" in understood.refused:
        raise AssertionError(understood.refused)
    return as_json(understood), as_text(understood)


def log_table(body: bytes) -> object:
    return read_log_csv(body, ZONE, NOW)


def marks(body: bytes) -> object:
    return read_marks(body, STRINGS, frozenset(string.name for string in STRINGS), HARBOR)


def by_file(folder: Path, load: Callable[[Path], object]) -> Parser:
    def parse(body: bytes) -> object:
        file = folder / "damaged.toml"
        file.write_bytes(body)
        return load(file)

    return parse


def load_boat(file: Path) -> object:
    return load_settings(file, {"HOME": str(file.parent)}, with_secrets=False)


def zipped(folder: Path, body: bytes) -> object:
    return unpack_boat_zip(io.BytesIO(body), folder, boat="Little Grebe", most_bytes=1_000_000)


# ---- damage --------------------------------------------------------------------------------------------------

ODD = [
    *(b"", b" ", b"\x00", b"\r\n", b"\n\n", b"$$", b"...", b"'", b'"', b"{", b"}", b"[", b"]", b"<", b"&a;"),
    *(b"NaN", b"Infinity", b"-1", b"0", b"1e999", b"99999999999999999999", b"0.1.2", b"-0", b"MM", b"999.0"),
    *(b"null", b"true", "é…\u202e\u2028".encode(), b"2026-02-30T00:00:00Z", b"9999-12-31T23:59:59Z", b"P99999Y"),
    *(b"PT0S", b"kt", b"ft", b"winds", b"seas", b"becoming", b"SMALL CRAFT ADVISORY", b"GMZ730-", b"GMZ730>755-"),
    *(b"except", b"or less", b"\xff"),
]  # fmt: skip
ODD_VALUES: list[object] = [
    *(None, True, False, 0, -1, 1e308, 10**30, "", "x", [], {}, [[]], {"a": None}, "NaN", "1e5", [1, "2", None]),
    *("2026-05-14T12:00:00", "2026-05-14T12:00:00+00:00/PT1H", "0001-01-01T00:00:00+14:00", "P1Y"),
    "wmoUnit:km_h-1",
]  # fmt: skip


def damaged(body: bytes, corpus: Sequence[bytes], dice: random.Random) -> bytes:
    for _ in range(dice.choice((1, 1, 1, 2, 3, 8))):
        body = dice.choice(DAMAGES)(body, corpus, dice)
    return body


def _flip(body: bytes, _: Sequence[bytes], dice: random.Random) -> bytes:
    if not body:
        return body
    at = dice.randrange(len(body))
    return body[:at] + bytes([body[at] ^ (1 << dice.randrange(8))]) + body[at + 1 :]


def _lose(body: bytes, _: Sequence[bytes], dice: random.Random) -> bytes:
    first, last = _span(body, dice)
    return body[:first] + body[last:]


def _double(body: bytes, _: Sequence[bytes], dice: random.Random) -> bytes:
    first, last = _span(body, dice)
    return body[:last] + body[first:last] + body[last:]


def _end_early(body: bytes, _: Sequence[bytes], dice: random.Random) -> bytes:
    return body[: dice.randrange(len(body) + 1)]


def _put_odd(body: bytes, _: Sequence[bytes], dice: random.Random) -> bytes:
    first, last = _span(body, dice)
    return body[:first] + dice.choice(ODD) + body[last if dice.random() < 0.5 else first :]


def _splice(body: bytes, corpus: Sequence[bytes], dice: random.Random) -> bytes:
    first, last = _span(other := dice.choice(corpus), dice)
    at = dice.randrange(len(body) + 1)
    return (body[:at] + other[first:last] + body[at:])[: 4 * MOST_BYTES]


def _swap_words(body: bytes, _: Sequence[bytes], dice: random.Random) -> bytes:
    words = body.split(b" ")
    one, other = dice.randrange(len(words)), dice.randrange(len(words))
    words[one], words[other] = words[other], words[one]
    return b" ".join(words)


def _other_number(body: bytes, _: Sequence[bytes], dice: random.Random) -> bytes:
    found = list(re.finditer(rb"\d+", body))
    if not found:
        return body
    one = dice.choice(found)
    number = str(dice.choice((0, 1, 9, 24, 60, 99, 360, 999, 2**31, dice.randrange(100)))).encode()
    return body[: one.start()] + number + body[one.end() :]


def _other_value(body: bytes, _: Sequence[bytes], dice: random.Random) -> bytes:
    """One value of a JSON document lost, or another in its place."""
    try:
        found = json.loads(body)
    except (ValueError, RecursionError):
        return body
    at, key = found, None
    while isinstance(at, dict | list) and at:
        key = dice.choice(list(at) if isinstance(at, dict) else range(len(at)))
        if not isinstance(at[key], dict | list) or dice.random() < 0.2:  # type: ignore[index]
            break
        at = at[key]  # type: ignore[index]
    if key is None or not isinstance(at, dict | list) or not at:
        return body
    if dice.random() < 0.2:
        del at[key]  # type: ignore[arg-type]
    else:
        at[key] = dice.choice(ODD_VALUES)  # type: ignore[index, call-overload]
    return json.dumps(found).encode()


DAMAGES = (
    *(_flip, _lose, _double, _end_early, _put_odd, _splice, _swap_words, _other_number),
    *(_other_value, _other_value, _other_value),
)


def _span(body: bytes, dice: random.Random) -> tuple[int, int]:
    first = dice.randrange(len(body) + 1)
    return first, min(len(body), first + dice.choice((1, 2, 5, 20, 100)))


# ---- what comes out ------------------------------------------------------------------------------------------


def not_whole(found: object, depth: int = 6) -> str | None:
    """What in a reading can't be: a number that is none, a range upside down, a moment without its zone."""
    if isinstance(found, float) and math.isinf(found):
        return f"the number {found}"
    if isinstance(found, datetime) and found.tzinfo is None:
        return f"the moment {found} without a zone"
    if depth == 0 or found is None or isinstance(found, str | bytes | int | float | datetime):
        return None
    low, high = getattr(found, "low", None), getattr(found, "high", None)
    if isinstance(low, float) and isinstance(high, float) and low > high:
        return f"a range from {low} to {high}"
    if isinstance(found, Mapping):
        parts: Sequence[object] = list(found.values())
    elif isinstance(found, Sequence | frozenset | set):
        parts = list(found)
    else:
        parts = [getattr(found, name) for name in getattr(found, "__dataclass_fields__", ())]
    return next((wrong for part in parts if (wrong := not_whole(part, depth - 1))), None)


def fuzz(shared: Path, seed: int, runs: int) -> Came:
    came = Came()
    dice = random.Random(seed)
    with tempfile.TemporaryDirectory() as folder:
        all_targets = targets(shared, Path(folder))
        shares = [target.share for target in all_targets]
        for run in range(runs):
            (target,) = dice.choices(all_targets, shares)
            try_one(
                target, damaged(dice.choice(target.corpus), target.corpus, dice), f"seed {seed}, run {run}", came
            )
    return came


def try_one(target: Target, body: bytes, which: str, came: Came) -> None:
    began = time.process_time()
    try:
        found = target.parse(body)
    except SoakbellError:
        came.refused[target.name] += 1
    except Exception:
        came.failures.append(f"{target.name}, {which}: {body!r}\n{traceback.format_exc()}")
    else:
        came.read[target.name] += 1
        if wrong := not_whole(found):
            came.failures.append(f"{target.name}, {which}: {body!r}\nread as {wrong}")
    took_s = time.process_time() - began
    came.slowest_s[target.name] = max(took_s, came.slowest_s.get(target.name, 0.0))


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--runs", type=int, default=1_000_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--shared", type=Path, default=TOP.parent / "shared", help="folder of captured payloads")
    asked = parser.parse_args()
    portions = max(asked.processes, asked.runs // 10_000)
    came = Came()
    with ProcessPoolExecutor(asked.processes) as pool:
        each = [asked.runs // portions + (turn < asked.runs % portions) for turn in range(portions)]
        for part in pool.map(partial(fuzz, asked.shared), range(asked.seed, asked.seed + portions), each):
            came.add(part)
    table = Table("parser", "runs", "read", "refused", "slowest ms")
    for name in sorted({*came.read, *came.refused}):
        read, refused = came.read[name], came.refused[name]
        table.add_row(
            name, f"{read + refused:,}", f"{read:,}", f"{refused:,}", f"{came.slowest_s[name] * 1000:.0f}"
        )
    console = Console()
    console.print(table)
    console.print(f"{came.read.total() + came.refused.total():,} runs, {len(came.failures)} failures")
    for failure in came.failures[:20]:
        console.print(failure, markup=False, highlight=False)
    return 1 if came.failures else 0


if __name__ == "__main__":
    sys.exit(main())
