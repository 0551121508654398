"""What ships for the host: the unit is shut tight, the container and the page name what exists."""

from __future__ import annotations

import configparser
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

DEPLOY = Path(__file__).resolve().parents[1] / "deploy"
README = DEPLOY.parent / "README.md"
PAGES = (README, DEPLOY / "SKIPPER.md", DEPLOY / "OPERATING.md")
UNIT = DEPLOY / "soakbell.service"

W10 = {
    "NoNewPrivileges": "yes",
    "ProtectSystem": "strict",
    "StateDirectory": "soakbell",
    "ProtectHome": "yes",
    "PrivateTmp": "yes",
    "PrivateDevices": "yes",
    "ProtectKernelTunables": "yes",
    "ProtectKernelModules": "yes",
    "ProtectKernelLogs": "yes",
    "ProtectControlGroups": "yes",
    "RestrictAddressFamilies": "AF_INET AF_INET6 AF_UNIX",
    "RestrictNamespaces": "yes",
    "LockPersonality": "yes",
    "CapabilityBoundingSet": "",
    "UMask": "0077",
    "Restart": "always",
    "Type": "notify",
}


def unit() -> configparser.ConfigParser:
    parser = configparser.ConfigParser(
        strict=False, interpolation=None, delimiters=("=",), comment_prefixes=("#",)
    )
    parser.optionxform = str  # type: ignore[assignment,method-assign]
    parser.read(UNIT)
    return parser


def test_the_unit_is_shut_as_w10_asks() -> None:
    """W10."""
    service = unit()["Service"]
    assert {key: service.get(key) for key in W10} == W10
    assert "SystemCallFilter=@system-service" in UNIT.read_text().splitlines()
    assert "time-sync.target" in unit()["Unit"]["After"]


def test_the_watchdog_is_slower_than_the_sweep_and_the_stop_longer_than_a_send_may_take() -> None:
    """W10, S7. The sweep feeds the watchdog every 30 s at most; a stop waits 60 s for what is in flight."""
    service = unit()["Service"]
    assert int(service["WatchdogSec"]) >= 4 * 30
    assert int(service["TimeoutStopSec"]) > 60


@pytest.mark.skipif(shutil.which("systemd-analyze") is None, reason="systemd is not on this computer")
def test_systemd_finds_the_unit_little_exposed() -> None:
    """W10: below 3."""
    told = subprocess.run(
        ["systemd-analyze", "security", "--offline=true", "--no-pager", str(UNIT)],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    level = re.search(r"Overall exposure level for soakbell\.service: ([0-9.]+)", told.stdout)
    assert level is not None, told.stdout + told.stderr
    assert float(level[1]) < 3


def test_no_secret_stands_in_the_files_for_the_host() -> None:
    """W9: secrets come as credentials or files."""
    told = re.compile(r"(?i)^[ \t]*[A-Z_]*(password|heartbeat_url)[ \t]*[=:][ \t]*\S", re.MULTILINE)
    assert [path.name for path in DEPLOY.iterdir() if told.search(path.read_text())] == []


def test_everything_installed_is_pinned_by_hash() -> None:
    """W12."""
    lock = (DEPLOY / "requirements.lock").read_text()
    pinned = re.findall(r"^([A-Za-z0-9._-]+)==\S+ \\\n    --hash=sha256:", lock, re.MULTILINE)
    named = re.findall(r"^([A-Za-z0-9._-]+)==", lock, re.MULTILINE)
    assert pinned == named
    assert len(named) > 20
    for file in (DEPLOY / "Containerfile", README):
        assert "--require-hashes --only-binary :all:" in file.read_text()


def test_there_is_one_install_and_all_files_name_its_place() -> None:
    made = [place for page in PAGES for place in re.findall(r"python3 -m venv (\S+)", page.read_text())]
    assert made == ["/usr/lib/soakbell"]
    assert "/usr/lib/soakbell/bin/pip install --no-deps --no-build-isolation ." in README.read_text()
    for file in (UNIT, DEPLOY / "soakbell-as-service", README, DEPLOY / "OPERATING.md"):
        assert set(re.findall(r"(/\S+)/bin/soakbell", file.read_text())) == {"/usr/lib/soakbell"}, file


def test_the_pages_tell_the_log_as_the_service_s_user_only() -> None:
    """Another user's database would be another one."""
    for page in PAGES:
        commands = re.findall(r"(?m)^ *(.*\blog (?:set|pull|import|list)\b.*)$", page.read_text())
        assert commands
        assert [line for line in commands if not line.startswith("sudo soakbell-as-service log ")] == []


def test_letters_print_the_commands_that_run_where_the_service_is_installed() -> None:
    """The service writes letters, and so does a command run by hand."""
    word = "SOAKBELL_COMMAND=sudo soakbell-as-service"
    assert f'Environment="{word}"' in UNIT.read_text().splitlines()
    assert f'"--setenv={word}"' in (DEPLOY / "soakbell-as-service").read_text()
    assert "sudo soakbell-as-service log set" in (DEPLOY / "OPERATING.md").read_text()
    assert "SOAKBELL_COMMAND: docker compose exec soakbell soakbell " in (DEPLOY / "compose.yaml").read_text()


def test_every_command_that_the_host_files_call_exists() -> None:
    told = subprocess.run(
        [sys.executable, "-m", "typer", "soakbell.cli", "run", "--help"],
        capture_output=True, text=True, check=True,
    ).stdout  # fmt: skip
    pages = "\n".join(page.read_text() for page in PAGES)
    asked = set(re.findall(r"soakbell-as-service ([a-z][a-z-]*)", pages))
    asked |= set(re.findall(r"bin/soakbell (\w+)", UNIT.read_text()))
    assert asked >= {"check", "backup", "rehearse", "restore", "run"}
    for name in asked:
        assert re.search(rf"\b{name}\b", told), name
