"""A season in an hour: the whole service through 210 invented days, with random faults from a seed.

    python tests/faults/season_run.py [--seed 1] [--days 210] [--keep DIR]

Forecasts and mail come over loopback from servers that misbehave; the service is a process of its own that dies,
meets a locked database and a clock that jumps; a skipper goes out as he is called. The clock is set from one due
time to the next, with some random ones between. At the end a table tells which promises were kept.
INVENTED DATA: weather, boat, log and letters.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections.abc import Sequence
from datetime import date
from pathlib import Path

TOP = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(TOP / "service"), str(TOP / "tests"), str(TOP)]

from faults.season_checks import Kept, promises  # noqa: E402
from faults.season_drive import play  # noqa: E402
from faults.season_report import tell  # noqa: E402
from faults.season_weather import WHOLE_DAYS  # noqa: E402


def main(arguments: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description="Plays a season of the service with random faults.")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--days", type=int, default=WHOLE_DAYS, help="mornings to play, from 10 October")
    parser.add_argument("--keep", type=Path, help="an empty or new folder that the database stays in")
    asked = parser.parse_args(arguments)
    began = time.monotonic()

    def after_day(day: date, kept: Kept) -> None:
        print(f"{day} {time.monotonic() - began:6.0f} s  {kept.line}", file=sys.stderr)

    with tempfile.TemporaryDirectory(prefix="soakbell-season-") as scratch:
        kept = play(asked.keep or Path(scratch), asked.seed, asked.days, after_day=after_day)
    made = promises(kept)
    tell(asked.seed, kept, made, time.monotonic() - began)
    return 0 if all(promise.kept for promise in made) else 1


if __name__ == "__main__":
    sys.exit(main())
