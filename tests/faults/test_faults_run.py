"""``soakbell run`` as a process of its own: it answers on loopback, ends in order, and tells no secret.

INVENTED DATA: the demo's forecast server, mail servers on the loopback interface, an invented boat.
"""

from __future__ import annotations

import asyncio
import json
import os
import re
import socket
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from urllib.error import HTTPError
from urllib.request import urlopen

import psutil
import pytest
from demo.demo_boat import demo_settings
from demo.forecast_server import serving
from demo.mail_catcher import catching
from demo.weather import FORTNIGHT, Weather

from scripted_smtp import ScriptedSmtp
from soakbell.errors import StoreError
from soakbell.store.backup import back_up, restore

COMMAND = (sys.executable, "-c", "from soakbell.cli import main; main()")
PASSWORD, PING = "tern-plover-77", "sanderling-knot-81"
ADDRESS = re.compile(r"@|boat\.example")
POSITION = re.compile(r"\b(30\.0[0-9]|29\.9[0-9]|84\.[12][0-9])")
PATIENCE_S = 90.0


@dataclass
class Service:
    """A running service. Its morning letter is due at midnight, so it owes today's at its first start, and no
    other: the eve letter is due just before midnight, and the quiet hours last all day."""

    folder: Path
    process: subprocess.Popen[bytes]
    port: int

    @classmethod
    def start(cls, folder: Path, services: str, mail_port: int, *, login: bool) -> Service:
        folder.mkdir()
        demo_settings(folder, services=services, mail_port=mail_port, station=FORTNIGHT.station)
        port = free_port()
        file = folder / "boat.toml"
        text = file.read_text("utf-8")
        changes = [
            (r"health_port = .*", f"health_port = {port}"),
            (r"morning = .*", 'morning = "00:00"'),
            (r"useless_after = .*", 'useless_after = "23:59"'),
            (r"eve = .*", 'eve = "23:58"'),
            (r"eve_useless_after = .*", 'eve_useless_after = "23:59"'),
            (r"quiet_from = .*", 'quiet_from = "00:00"'),
            (r"quiet_to = .*", 'quiet_to = "23:59"'),
        ]
        if login:
            changes.append((r"security = .*", 'security = "starttls"\nusername = "little-grebe"'))
        for line, instead in changes:
            text, changed = re.subn(rf"^{line}", instead, text, count=1, flags=re.MULTILINE)
            assert changed, line
        file.write_text(text, "utf-8")
        secret = folder / "ping"
        secret.write_text(f"http://127.0.0.1:{free_port()}/{PING}?key={PING}\n")
        secret.chmod(0o600)
        environment = {**os.environ, "SOAKBELL_HEARTBEAT_URL_FILE": str(secret), "SOAKBELL_SETTINGS": str(file)}
        if login:
            environment["SOAKBELL_MAIL_PASSWORD"] = PASSWORD
        with (folder / "log").open("wb") as log:
            process = subprocess.Popen([*COMMAND, "run"], env=environment, stdout=log, stderr=log)
        return cls(folder, process, port)

    def log(self) -> list[dict[str, Any]]:
        """Its lines; all that it says is JSON."""
        return [json.loads(line) for line in (self.folder / "log").read_text("utf-8").splitlines()]

    def said(self, action: str) -> bool:
        assert self.process.poll() is None, self.log()
        return any(line.get("action") == action for line in self.log())

    def health(self) -> tuple[int, str]:
        try:
            with urlopen(f"http://127.0.0.1:{self.port}/healthz", timeout=10) as reply:
                return reply.status, reply.read().decode()
        except HTTPError as fault:
            with fault:
                return fault.code, fault.read().decode()

    def listens_at(self) -> list[tuple[str, int]]:
        found = psutil.Process(self.process.pid).net_connections(kind="inet")
        return [(one.laddr.ip, one.laddr.port) for one in found if one.status == psutil.CONN_LISTEN]

    def end(self) -> int:
        """Tell it to stop; its exit code."""
        self.process.terminate()
        return self.process.wait(PATIENCE_S)


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


async def until(condition: Callable[[], object]) -> None:
    async with asyncio.timeout(PATIENCE_S):
        while not condition():
            await asyncio.sleep(0.1)


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore::DeprecationWarning:aiosmtpd")
def test_a_running_service_ends_in_order_answers_on_loopback_alone_and_tells_no_secret(tmp_path: Path) -> None:
    """W9, S7, S13. One service whose letter is taken and whose watcher is away; one that may not log in. Neither
    lets its database be restored while it runs."""

    async def morning() -> None:
        no_tls = ScriptedSmtp()
        with serving(Weather(FORTNIGHT), lambda: datetime.now(UTC)) as sources:
            async with catching(lambda: datetime.now(UTC)) as catcher, no_tls.serving():
                open_one = Service.start(tmp_path / "open", sources.base, catcher.port, login=False)
                shut_one = Service.start(tmp_path / "shut", sources.base, no_tls.port, login=True)
                try:
                    await until(lambda: open_one.said("heartbeat") and shut_one.said("sent"))
                    await asyncio.to_thread(look_at, open_one, shut_one)
                finally:
                    open_one.process.kill()
                    shut_one.process.kill()
        assert len(catcher.caught) == 1
        assert no_tls.connections == 1
        assert [line for line in no_tls.lines if not line.startswith("EHLO")] == []  # no AUTH, no letter

    asyncio.run(morning())


def look_at(open_one: Service, shut_one: Service) -> None:
    answers = [one.health() for one in (open_one, shut_one)]
    assert [one.listens_at() for one in (open_one, shut_one)] == [
        [("127.0.0.1", one.port)] for one in (open_one, shut_one)
    ]
    status, page = answers[0]
    assert (status, json.loads(page)["ok"]) == (200, True), page
    assert json.loads(page)["last_accepted_at"] is not None
    assert json.loads(page)["faults"]["Little Grebe:heartbeat"]["count"] == 1

    refused = subprocess.run(
        [*COMMAND, "--settings", str(open_one.folder / "boat.toml"), "run"],
        capture_output=True, text=True, timeout=PATIENCE_S, check=False,
    )  # fmt: skip
    assert refused.returncode == 2
    assert f"service.health_port: found {open_one.port}, which can't be had" in refused.stderr

    copy = open_one.folder / "copy.sqlite3"
    back_up(open_one.folder / "soakbell.sqlite3", copy)
    with pytest.raises(StoreError, match="stop it first"):
        restore(copy, open_one.folder / "soakbell.sqlite3", now=datetime.now(UTC))

    for one, (_, page) in zip((open_one, shut_one), answers, strict=True):
        assert one.end() == 0
        lines = one.log()
        assert {"at", "level", "said", "by"} <= set.intersection(*map(set, lines))
        told = [page, *(json.dumps({k: v for k, v in line.items() if k != "at"}) for line in lines)]
        for secret in (PASSWORD, PING):
            assert [text for text in told if secret in text] == []
            assert secret.encode() not in (one.folder / "soakbell.sqlite3").read_bytes()
        assert [text for text in told[1:] if ADDRESS.search(text) or POSITION.search(text)] == []
