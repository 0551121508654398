"""The example boat's settings, pointed at the loopback interface. INVENTED DATA: the boat and all about it."""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterable
from pathlib import Path

from soakbell.settings import Settings, load_settings

CONFIG = Path(__file__).resolve().parents[1] / "config"

WATCH_EVERY_MIN = 30  # half as often as in the example tells the same story, in half the time


def demo_settings(
    folder: Path, *, services: str, mail_port: int, station: str, deck_traps: int | None = None
) -> Settings:
    """Settings made from ``config/boat.toml``, written into ``folder`` beside the gear, plan and fishery files.

    Args:
        services: address of the forecast server, without a slash at the end.
        station: id of the invented shore station; its fresh reading of the wind is required.
        deck_traps: that one trip of the take-up brings home; None: the settings tell none.

    Raises:
        ValueError: a file of ``config`` has no line that is to be changed here.
        SettingsError: the result isn't right.
    """
    shutil.copytree(CONFIG / "fisheries", folder / "fisheries")
    shutil.copy(CONFIG / "gear.toml", folder / "gear.toml")
    deck = () if deck_traps is None else ((r"# deck_traps = [0-9]+", f"deck_traps = {deck_traps}"),)
    shutil.copy(CONFIG / "plan.toml", folder / "plan.toml")
    return load_settings(
        _write_changed(
            "boat.toml",
            folder,
            (
                *deck,
                (r"host = .*", 'host = "127.0.0.1"'),
                (r"port = .*", f"port = {mail_port}"),
                (r"security = .*", 'security = "none"'),
                (r"username = .*\n", ""),
                (r"(contact = .*)", rf'\1\nweather_api = "{services}"\nbuoys = "{services}"'),
                (r"watch_every_min = .*", f"watch_every_min = {WATCH_EVERY_MIN}"),
                (r"# database = .*", 'database = "soakbell.sqlite3"'),
                (r"# station = .*", f'station = "{station}"'),
                (r"# station_gives = .*", 'station_gives = ["wind_kt"]'),
            ),
        ),
        env={},
    )


def take_order(settings: Settings, order: str) -> Settings:
    """The settings as they are read anew once ``order``, a table, stands at the end of the fishery's file."""
    text = settings.path.read_text("utf-8")
    (name,) = re.findall(r'^\[fishery\]\nfile = "([^"]+)"', text, flags=re.MULTILINE)
    with (settings.path.parent / "fisheries" / name).open("a", encoding="utf-8") as fishery:
        fishery.write(f"\n{order}")
    return load_settings(settings.path, env={})


def _write_changed(name: str, folder: Path, changes: Iterable[tuple[str, str]]) -> Path:
    """A file of ``config`` in ``folder``, with lines that begin as told changed."""
    text = (CONFIG / name).read_text("utf-8")
    for line, instead in changes:
        text, changed = re.subn(rf"^{line}", instead, text, count=1, flags=re.MULTILINE)
        if not changed:
            raise ValueError(f"config/{name} has no line that begins as {line!r}")
    path = folder / name
    path.write_text(text, "utf-8")
    return path
