"""The example boat's settings, pointed at the loopback interface. INVENTED DATA: the boat and all about it."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

from soakbell.settings import Settings, load_settings

CONFIG = Path(__file__).resolve().parents[1] / "config"

WATCH_EVERY_MIN = 30  # half as often as in the example tells the same story, in half the time


def demo_settings(folder: Path, *, services: str, mail_port: int, station: str) -> Settings:
    """Settings made from ``config/boat.toml``, written into ``folder`` beside the gear, plan and fishery files.

    Args:
        services: address of the forecast server, without a slash at the end.
        station: id of the invented shore station; its fresh reading of the wind is required.

    Raises:
        ValueError: ``config/boat.toml`` has no line that is to be changed here.
        SettingsError: the result isn't right.
    """
    shutil.copytree(CONFIG / "fisheries", folder / "fisheries")
    for name in ("gear.toml", "plan.toml"):
        shutil.copy(CONFIG / name, folder / name)
    text = (CONFIG / "boat.toml").read_text("utf-8")
    for line, instead in (
        (r"host = .*", 'host = "127.0.0.1"'),
        (r"port = .*", f"port = {mail_port}"),
        (r"security = .*", 'security = "none"'),
        (r"username = .*\n", ""),
        (r"(contact = .*)", rf'\1\nweather_api = "{services}"\nbuoys = "{services}"'),
        (r"watch_every_min = .*", f"watch_every_min = {WATCH_EVERY_MIN}"),
        (r"# database = .*", 'database = "soakbell.sqlite3"'),
        (r"# station = .*", f'station = "{station}"'),
        (r"# station_gives = .*", 'station_gives = ["wind_kt"]'),
    ):
        text, changed = re.subn(rf"^{line}", instead, text, count=1, flags=re.MULTILINE)
        if not changed:
            raise ValueError(f"config/boat.toml has no line that begins as {line!r}")
    path = folder / "boat.toml"
    path.write_text(text, "utf-8")
    return load_settings(path, env={})
