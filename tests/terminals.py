"""A terminal in which a test types the command ``soakbell``. INVENTED DATA."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from click.testing import Result
from demo.demo_boat import demo_settings
from demo.weather import FORTNIGHT
from typer.testing import CliRunner

from soakbell.cli import app
from soakbell.gear.log import LogEntry
from soakbell.store.engine import open_store
from soakbell.store.log import all_entries


@dataclass(frozen=True)
class Terminal:
    """A folder with settings, in which commands are typed."""

    folder: Path

    def type(self, *words: str, columns: int = 160) -> Result:
        options = ["--settings", str(self.folder / "boat.toml")]
        return CliRunner(env={"COLUMNS": str(columns)}).invoke(app, [*options, *words])

    def log(self, *words: str) -> str:
        """What a log command that goes well says."""
        result = self.type("log", *words)
        assert result.exit_code == 0, result.output
        return result.output

    def refused(self, *words: str) -> str:
        """What a command that can't be done says."""
        before = self.entries()
        result = self.type(*words)
        assert result.exit_code == 2, result.output
        assert "Traceback" not in result.output
        assert self.entries() == before
        return result.output

    def entries(self) -> list[LogEntry]:
        if not self.database.exists():
            return []
        store = open_store(f"sqlite:///{self.database}")
        with store.reading() as session:
            entries = all_entries(session) if store.revision() else []
        store.close()
        return entries

    @property
    def database(self) -> Path:
        return self.folder / "soakbell.sqlite3"


def home(folder: Path) -> Terminal:
    """Settings whose services nobody may need."""
    demo_settings(folder, services="http://127.0.0.1:9", mail_port=9, station=FORTNIGHT.station)
    return Terminal(folder)
