"""The page's file: what is taken, what is refused, and that no passphrase shows in a fault."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from argon2 import PasswordHasher
from typer.testing import CliRunner

from page_scenes import SKIPPER, hash_of
from soakbell.cli import app
from soakbell.errors import Fault, SettingsError
from soakbell.page_settings import load_page_terms, page_terms_of
from soakbell.settings import load_settings

EXAMPLE = Path(__file__).parents[1] / "config"

Written = Callable[[str], Path]


@pytest.fixture
def written(tmp_path: Path) -> Written:
    def write(text: str) -> Path:
        path = tmp_path / "page.toml"
        path.write_text(text, "utf-8")
        return path

    return write


def faults_of(path: Path) -> dict[str, Fault]:
    with pytest.raises(SettingsError) as caught:
        load_page_terms(path)
    return {fault.key: fault for fault in caught.value.faults}


def test_a_passphrase_of_the_skipper_is_all_that_is_needed(written: Written) -> None:
    terms = load_page_terms(written(f'[page]\nskipper = "{hash_of(SKIPPER)}"\n'))
    assert (terms.host, terms.port, terms.public_url, terms.crew) == ("127.0.0.1", 8462, None, None)


def test_the_example_opens_to_nobody_until_a_passphrase_is_set() -> None:
    assert set(faults_of(EXAMPLE / "page.toml")) == {"page.skipper"}


def test_the_example_boat_serves_no_page() -> None:
    settings = load_settings(EXAMPLE / "boat.toml", {"HOME": "/home/skipper"}, with_secrets=False)
    assert page_terms_of(settings) is None


def test_a_passphrase_that_was_typed_in_plain_is_refused_and_not_shown(written: Written) -> None:
    fault = faults_of(written(f'[page]\nskipper = "{SKIPPER}"\n'))["page.skipper"]
    assert SKIPPER not in str(fault)
    assert "soakbell passphrase" in fault.write


def test_a_hash_that_is_quick_to_guess_is_refused(written: Written) -> None:
    quick = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1).hash(SKIPPER)
    assert "page.skipper" in faults_of(written(f'[page]\nskipper = "{quick}"\n'))


@pytest.mark.parametrize(
    "url",
    [
        "http://boat.example",
        "https://boat.example/page",
        "https://a:b@boat.example",
        "ftp://boat.example",
        "boat",
        "",
    ],
)
def test_an_address_that_is_not_safe_to_put_into_a_letter_is_refused(written: Written, url: str) -> None:
    assert set(faults_of(written(f'[page]\nskipper = "{hash_of(SKIPPER)}"\npublic_url = "{url}"\n'))) == {
        "page.public_url"
    }


def test_a_page_that_other_computers_reach_needs_tls(written: Written) -> None:
    text = f'[page]\nskipper = "{hash_of(SKIPPER)}"\nhost = "0.0.0.0"\n'
    assert set(faults_of(written(text))) == {"page.host"}
    assert load_page_terms(written(f'{text}public_url = "https://boat.example"\n')).over_tls


def test_what_soakbell_passphrase_prints_is_taken(written: Written) -> None:
    result = CliRunner().invoke(app, ["passphrase"], input=f"{SKIPPER}\n{SKIPPER}\n")
    assert result.exit_code == 0
    assert SKIPPER not in result.stdout
    line = next(line for line in result.stdout.splitlines() if line.startswith("skipper = "))
    assert PasswordHasher().verify(load_page_terms(written(f"[page]\n{line}\n")).skipper, SKIPPER)


def test_a_short_passphrase_is_refused() -> None:
    assert CliRunner().invoke(app, ["passphrase"], input="heron\nheron\n").exit_code == 1


def test_a_passphrase_longer_than_the_door_takes_is_refused() -> None:
    told = "x" * 201
    result = CliRunner().invoke(app, ["passphrase"], input=f"{told}\n{told}\n")
    assert result.exit_code == 1
    assert "skipper" not in result.stdout
    assert "200 characters at most" in result.stderr


def test_only_the_named_proxies_are_believed(written: Written) -> None:
    terms = load_page_terms(written(f'[page]\nskipper = "{hash_of(SKIPPER)}"\n'))
    assert terms.proxies == ("127.0.0.1",)
    named = 'proxies = ["10.88.0.0/16", "::1"]'
    terms = load_page_terms(written(f'[page]\n{named}\nskipper = "{hash_of(SKIPPER)}"\n'))
    assert terms.proxies == ("10.88.0.0/16", "::1")


@pytest.mark.parametrize("proxy", ["*", "caddy", "0.0.0.0/0", "::/0", "10.88.0.1/16", ""])
def test_a_proxy_is_an_address_or_a_network_and_not_everybody(written: Written, proxy: str) -> None:
    path = written(f'[page]\nproxies = ["{proxy}"]\nskipper = "{hash_of(SKIPPER)}"\n')
    assert any("proxies" in key for key in faults_of(path))
