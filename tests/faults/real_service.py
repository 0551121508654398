"""``soakbell run`` for the kill rig: all as it ships, but for a clock that shows an invented December morning.

The clock runs at its usual speed from LETTER_HOUR, where the point began. A life after a kill finds it AWAY later,
as if the computer had been off for that long: past the leases of the process that was killed. Polite waits between
requests are cut short, as otherwise nearly every kill would meet one.
"""

from __future__ import annotations

import os
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

from soakbell.clock import SystemClock
from soakbell.running import run_boat
from soakbell.settings import load_settings

LETTER_HOUR = datetime(2026, 12, 8, 9, 30, tzinfo=UTC)  # 04:30 on the coast
AWAY = timedelta(minutes=3)
WAITS_CUT = 20.0


class MorningClock(SystemClock):
    def __init__(self, shift: timedelta) -> None:
        self._shift = shift

    def now(self) -> datetime:
        return super().now() + self._shift

    def sleep(self, seconds: float) -> None:
        super().sleep(seconds / WAITS_CUT)


def main() -> int:
    began = datetime.fromtimestamp(float(os.environ["RIG_BEGAN"]), UTC)
    clock = MorningClock(LETTER_HOUR - began + int(os.environ["RIG_LIFE"]) * AWAY)
    settings = load_settings(Path(os.environ["RIG_FOLDER"]) / "boat.toml", os.environ)
    return 0 if run_boat(settings, clock=clock) else 3


if __name__ == "__main__":
    sys.exit(main())
