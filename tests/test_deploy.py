"""What ships for the host: the unit is shut tight, the container and the page name what exists."""

from __future__ import annotations

import configparser
import re
import shlex
import shutil
import subprocess
from itertools import takewhile
from pathlib import Path

import pytest
from typer.core import TyperGroup
from typer.main import get_command

from soakbell.cli import app

DEPLOY = Path(__file__).resolve().parents[1] / "deploy"
CONFIG = DEPLOY.parent / "config"
README = DEPLOY.parent / "README.md"
PAGES = (README, DEPLOY / "SKIPPER.md", DEPLOY / "OPERATING.md")
UNIT = DEPLOY / "soakbell.service"

W10 = {
    "NoNewPrivileges": "yes",
    "ProtectSystem": "strict",
    "StateDirectory": "soakbell",
    "StateDirectoryMode": "0700",
    "ConfigurationDirectory": "soakbell",
    "ConfigurationDirectoryMode": "0750",
    "ProtectHome": "yes",
    "PrivateTmp": "yes",
    "PrivateDevices": "yes",
    "ProtectKernelTunables": "yes",
    "ProtectKernelModules": "yes",
    "ProtectKernelLogs": "yes",
    "ProtectControlGroups": "yes",
    "ProtectProc": "invisible",
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
    filters = [line for line in UNIT.read_text().splitlines() if line.startswith("SystemCallFilter=")]
    assert filters == ["SystemCallFilter=@system-service", "SystemCallFilter=~@privileged @resources"]
    assert "time-sync.target" in unit()["Unit"]["After"]


def test_the_watchdog_is_slower_than_the_sweep_and_the_stop_longer_than_a_send_may_take() -> None:
    """W10, S7. The sweep feeds the watchdog every 30 s at most; a stop waits 60 s for what is in flight."""
    service = unit()["Service"]
    assert int(service["WatchdogSec"]) >= 4 * 30
    assert int(service["TimeoutStopSec"]) > 60


@pytest.mark.skipif(shutil.which("systemd-analyze") is None, reason="systemd is not on this computer")
def test_systemd_finds_the_unit_as_little_exposed_as_readme_says() -> None:
    """W10: below 3. Another systemd counts otherwise."""
    told = subprocess.run(
        ["systemd-analyze", "security", "--offline=true", "--no-pager", str(UNIT)],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    level = re.search(r"Overall exposure level for soakbell\.service: ([0-9.]+)", told.stdout)
    assert level is not None, told.stdout + told.stderr
    assert float(level[1]) < 3
    said = re.search(
        r"gives ([0-9.]+) \(0 is best, 10 worst\) on systemd (\d+)", " ".join(README.read_text().split())
    )
    assert said is not None
    version = subprocess.run(["systemd-analyze", "--version"], capture_output=True, text=True, check=True).stdout
    if version.startswith(f"systemd {said[2]} "):
        assert level[1] == said[1]


def test_the_container_runs_as_a_user_of_its_own_on_a_read_only_system() -> None:
    """W11."""
    build = (DEPLOY / "Containerfile").read_text().splitlines()
    assert [line for line in build if line.startswith("USER ")] == ["USER soakbell"]
    assert build.index("USER soakbell") < build.index('ENTRYPOINT ["soakbell"]')
    compose = (DEPLOY / "compose.yaml").read_text().splitlines()
    for line in ("read_only: true", "cap_drop: [ALL]", 'security_opt: ["no-new-privileges:true"]'):
        assert f"    {line}" in compose


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
    for file in (UNIT, DEPLOY / "soakbell-as-service", README, DEPLOY / "OPERATING.md"):
        assert set(re.findall(r"(/\S+)/bin/soakbell", file.read_text())) == {"/usr/lib/soakbell"}, file


def test_what_is_installed_is_built_from_a_copy_that_has_nothing_of_a_version_before(tmp_path: Path) -> None:
    """A folder ``build`` of before would bring back modules that are gone, and newer ones."""
    tree, copies = tmp_path / "tree", tmp_path / "copies"
    for name in ("pyproject.toml", "README.md", "service/soakbell/units.py", "service/soakbell/gone.py"):
        (tree / name).parent.mkdir(parents=True, exist_ok=True)
        (tree / name).write_text(name)
    pip = "/usr/lib/soakbell/bin/pip install --no-deps --no-build-isolation"
    told = README.read_text().partition("-r deploy/requirements.lock\n")[2].partition(f"sudo {pip} ")
    built_from = Path(told[2].partition("\n")[0].replace("/usr/local/src", str(copies)))
    for build in (tree / "build", tree / "service" / "soakbell.egg-info", built_from / "build"):
        build.mkdir(parents=True)
        (build / "gone.py").write_text("of before")
    as_told(told[0].replace("/usr/local/src", str(copies)), tree)
    (tree / "service/soakbell/gone.py").unlink()
    as_told(told[0].replace("/usr/local/src", str(copies)), tree)
    files = {str(path.relative_to(built_from)) for path in built_from.rglob("*") if path.is_file()}
    assert files == {"pyproject.toml", "README.md", "service/soakbell/units.py"}


def test_the_mail_password_is_typed_unseen_and_is_its_owners_alone(tmp_path: Path) -> None:
    (line,) = re.findall(
        r"(?m)^.*/etc/soakbell/secrets/mail_password.*$", README.read_text().partition("```\n")[2]
    )
    assert line.startswith("read -rs password && ")
    as_told(line.replace("/etc/soakbell/secrets", str(tmp_path)), tmp_path, typed="a \\ %s pass word\n")
    kept = tmp_path / "mail_password"
    assert kept.read_text() == "a \\ %s pass word\n"
    assert kept.stat().st_mode & 0o777 == 0o600


def as_told(commands: str, folder: Path, *, typed: str = "") -> None:
    """Runs lines of a page in ``folder``, as the user of the test."""
    script = f'set -e; sudo() {{ "$@"; }}\n{commands}'
    subprocess.run(["bash", "-c", script], cwd=folder, input=typed, text=True, check=True, timeout=60)


def test_the_container_publishes_the_page_to_its_own_computer_alone_and_takes_a_watchers_address() -> None:
    compose = (DEPLOY / "compose.yaml").read_text()
    host = re.search(r"# ports:\n    #   - \"127\.0\.0\.1:(\d+):(\d+)\"", compose)
    assert host is not None
    assert set(host.groups()) == {re.findall(r"(?m)^port = (\d+)", (CONFIG / "page.toml").read_text())[0]}
    assert compose.count("heartbeat_url") == 3, "named to the service, and where its file lies"
    assert ":/etc/soakbell/page.toml:ro" in compose


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


_CALLS = re.compile(r"(?:soakbell-as-service|bin/soakbell|soakbell soakbell|--rm soakbell) +([a-z-][^`\n]*)")


@pytest.mark.parametrize("page", [*PAGES, DEPLOY / "compose.yaml", UNIT], ids=lambda page: page.name)
def test_every_command_that_a_page_calls_can_be_typed_so(page: Path) -> None:
    calls = [call.partition(". ")[0] for call in _CALLS.findall(page.read_text())]
    assert [fault for call in calls if (fault := fault_of(call))] == []
    assert len(calls) >= (8 if page in PAGES else 1)


SOAKBELL = get_command(app)


def fault_of(call: str) -> str:
    """What the command says of words that it can't take; nothing is run."""
    words = list(takewhile(lambda word: word not in ("<", ">"), shlex.split(call, comments=True)))
    command, context = SOAKBELL, None
    try:
        while isinstance(command, TyperGroup):
            context = command.make_context(command.name, words, parent=context)
            _, command, words = command.resolve_command(context, [*context._protected_args, *context.args])
        command.make_context(command.name, words, parent=context)
    except Exception as fault:
        return f"{call}: {getattr(fault, 'message', fault)}"
    return ""


def test_a_call_that_cannot_be_typed_is_found() -> None:
    for call in ("pasphrase", "log pul x", "log pull", "log pull x --legals 3", "backup", "morning --kept x"):
        assert fault_of(call) != "", call
    assert fault_of("log import - < season.csv   # a comment") == ""


def test_the_skippers_page_tells_all_kinds_of_the_log_and_no_other() -> None:
    table = (DEPLOY / "SKIPPER.md").read_text().partition("| | kinds |\n|---|---|\n")[2].partition("\n\n")[0]
    kinds = set(SOAKBELL.commands["log"].commands)
    told = re.findall(r"`([a-z-]+)`", table)
    assert sorted(told) == sorted(kinds - {"correct", "export", "import", "list"})
