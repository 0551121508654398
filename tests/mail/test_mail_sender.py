"""What the sender does with what mail servers do (M1 to M9)."""

from __future__ import annotations

import asyncio
import socket
import ssl
import subprocess
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from email.message import EmailMessage
from email.policy import SMTP as SMTP_POLICY
from pathlib import Path
from typing import Any

import pytest
from pydantic import SecretStr

from scripted_smtp import DROP, HANG, ScriptedSmtp
from soakbell.clock import SetClock
from soakbell.errors import MailRefused, SettingsError
from soakbell.mail import sender
from soakbell.mail.sender import (
    Outcome,
    Outgoing,
    Result,
    Security,
    SmtpSettings,
    greet,
    next_try,
    send_batch,
)

NOW = datetime(2026, 12, 8, 9, 30, tzinfo=UTC)
NOON = datetime(2026, 12, 8, 17, 0, tzinfo=UTC)
SECRET = "planted-secret-5417"
SKIPPER, MATE, SHORE = "skipper@example.org", "mate@example.org", "shore@example.org"


def letter(number: int = 1, addresses: Sequence[str] = (SKIPPER,), text: str = "WAIT\n") -> Outgoing:
    message = EmailMessage()
    message["From"] = "soakbell@example.org"
    message["To"] = ", ".join(addresses)
    message["Subject"] = "WAIT | Little Grebe, Tue 8 Dec"
    message.set_content(text)
    message["Message-ID"] = f"<{number}@example.org>"
    return Outgoing(number, message.as_bytes(policy=SMTP_POLICY), tuple(addresses))


def settings(port: int, **changes: Any) -> SmtpSettings:
    fields: dict[str, Any] = {
        "host": "127.0.0.1",
        "port": port,
        "security": Security.NONE,
        "from_address": "soakbell@example.org",
        "ehlo_hostname": "boat.example.org",
    }
    return SmtpSettings(**{**fields, **changes})


def sent(server: ScriptedSmtp, letters: Sequence[Outgoing], **changes: Any) -> list[Outcome]:
    async def run() -> list[Outcome]:
        async with server.serving():
            answers = send_batch(settings(server.port, **changes), letters, clock=SetClock(NOW))
            return [outcome async for outcomes in answers for outcome in outcomes]

    return asyncio.run(run())


def results(outcomes: Sequence[Outcome]) -> list[tuple[int, str, Result]]:
    return [(one.letter, one.address, one.result) for one in outcomes]


@pytest.fixture(scope="module")
def certificate(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """A certificate of this run for 127.0.0.1, and its key."""
    folder = tmp_path_factory.mktemp("tls")
    cert, key = folder / "cert.pem", folder / "key.pem"
    made = subprocess.run(
        ["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes",
         "-keyout", key, "-out", cert, "-days", "2", "-subj", "/CN=mail.example.org",
         "-addext", "subjectAltName=IP:127.0.0.1"],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert made.returncode == 0, made.stderr
    return cert, key


def server_tls(certificate: tuple[Path, Path]) -> ssl.SSLContext:
    context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    context.load_cert_chain(*certificate)
    return context


# ---- M1


def test_a_server_without_starttls_gets_no_login_and_no_letter() -> None:
    """M1: a stripped STARTTLS must not bring the password out in clear."""
    server = ScriptedSmtp(extensions=("AUTH PLAIN LOGIN", "8BITMIME"))
    outcomes = sent(
        server, [letter()], security=Security.STARTTLS, username="soakbell", password=SecretStr(SECRET)
    )
    assert results(outcomes) == [(1, SKIPPER, Result.RETRY)]
    assert [line.split()[0] for line in server.lines] == ["EHLO"]
    assert "STARTTLS" in outcomes[0].reply


def test_the_login_follows_starttls(certificate: tuple[Path, Path]) -> None:
    """M1."""
    server = ScriptedSmtp(extensions=("STARTTLS", "AUTH PLAIN"), tls=server_tls(certificate))
    outcomes = sent(
        server,
        [letter()],
        security=Security.STARTTLS,
        username="soakbell",
        password=SecretStr(SECRET),
        ca_file=certificate[0],
    )
    assert results(outcomes) == [(1, SKIPPER, Result.ACCEPTED)]
    verbs = [line.split()[0] for line in server.lines]
    assert verbs == ["EHLO", "STARTTLS", "EHLO", "AUTH", "MAIL", "RCPT", "DATA", "QUIT"]


def test_tls_from_the_first_byte_works(certificate: tuple[Path, Path]) -> None:
    server = ScriptedSmtp(tls=server_tls(certificate), tls_at_once=True)
    outcomes = sent(server, [letter()], security=Security.TLS, ca_file=certificate[0])
    assert results(outcomes) == [(1, SKIPPER, Result.ACCEPTED)]


@pytest.mark.parametrize("security", [Security.TLS, Security.STARTTLS])
def test_a_certificate_nobody_vouches_for_stops_the_letter(
    certificate: tuple[Path, Path], security: Security
) -> None:
    """M1."""
    server = ScriptedSmtp(
        extensions=("STARTTLS", "AUTH PLAIN"), tls=server_tls(certificate), tls_at_once=security is Security.TLS
    )
    outcomes = sent(server, [letter()], security=security, username="soakbell", password=SecretStr(SECRET))
    assert results(outcomes) == [(1, SKIPPER, Result.RETRY)]
    assert not any(line.startswith(("AUTH", "MAIL")) for line in server.lines)


@pytest.mark.parametrize(
    ("changes", "key"),
    [
        ({"host": "mail.example.org"}, "security"),
        ({"host": "192.0.2.7"}, "security"),
        ({"username": "soakbell", "password": SecretStr(SECRET)}, "username"),
        ({"security": Security.TLS, "username": "soakbell"}, "username"),
        ({"from_address": "soakbell@example.org\r\nRCPT TO:<all@example.org>"}, "from_address"),
        ({"from_address": ""}, "from_address"),
    ],
)
def test_settings_that_would_leak_or_break_are_refused(changes: dict[str, Any], key: str) -> None:
    """M1, M7: plain only to this computer, never with a login; the sender is one address."""
    with pytest.raises(SettingsError) as caught:
        settings(25, **changes)
    assert key in {fault.key for fault in caught.value.faults}
    assert SECRET not in str(caught.value)


def test_the_password_is_not_shown() -> None:
    """W9."""
    shown = repr(settings(465, security=Security.TLS, username="soakbell", password=SecretStr(SECRET)))
    assert SECRET not in shown


# ---- M2


def test_a_batch_goes_over_one_connection() -> None:
    """M2."""
    server = ScriptedSmtp()
    outcomes = sent(server, [letter(1), letter(2), letter(3)])
    assert [one.result for one in outcomes] == [Result.ACCEPTED] * 3
    assert server.connections == 1
    assert len(server.letters) == 3


def test_after_a_fault_the_connection_is_closed_and_the_rest_is_untried() -> None:
    """M2."""
    server = ScriptedSmtp({"END": ["250 kept", "451 try later"]})
    outcomes = sent(server, [letter(1), letter(2), letter(3)])
    assert results(outcomes) == [
        (1, SKIPPER, Result.ACCEPTED),
        (2, SKIPPER, Result.RETRY),
        (3, SKIPPER, Result.UNTRIED),
    ]
    assert (server.connections, server.lines.count("DATA")) == (1, 2)


def test_no_letters_means_no_connection() -> None:
    server = ScriptedSmtp()
    assert sent(server, []) == []
    assert server.connections == 0


def test_a_server_that_is_not_there_leaves_every_letter_to_retry() -> None:
    async def run() -> list[Outcome]:
        probe = await asyncio.start_server(lambda r, w: None, "127.0.0.1", 0)
        port = probe.sockets[0].getsockname()[1]
        probe.close()
        await probe.wait_closed()
        answers = send_batch(settings(port), [letter(1), letter(2)], clock=SetClock(NOW))
        return [outcome async for outcomes in answers for outcome in outcomes]

    assert [one.result for one in asyncio.run(run())] == [Result.RETRY] * 2


# ---- M3


def test_timeouts_are_those_of_the_rule() -> None:
    """M3: RFC 5321 section 4.5.3.2.6 asks for ten minutes after the final dot."""
    limits = (sender.CONNECT_TIMEOUT_S, sender.COMMAND_TIMEOUT_S, sender.AFTER_DATA_TIMEOUT_S)
    assert limits == (20.0, 60.0, 600.0)


@pytest.mark.parametrize(
    ("hangs_at", "limit", "result"),
    [
        ("GREETING", "CONNECT_TIMEOUT_S", Result.RETRY),
        ("EHLO", "COMMAND_TIMEOUT_S", Result.RETRY),
        ("MAIL", "COMMAND_TIMEOUT_S", Result.RETRY),
        ("RCPT", "COMMAND_TIMEOUT_S", Result.RETRY),
        ("END", "AFTER_DATA_TIMEOUT_S", Result.UNSURE),
    ],
)
def test_each_step_of_a_server_that_hangs_is_ended_by_its_own_limit(
    monkeypatch: pytest.MonkeyPatch, hangs_at: str, limit: str, result: Result
) -> None:
    """M3: only the limit of that step is made short here, so only it can end the try."""
    monkeypatch.setattr(sender, limit, 0.1)
    outcomes = sent(ScriptedSmtp({hangs_at: [HANG]}), [letter()])
    assert results(outcomes) == [(1, SKIPPER, result)]


# ---- M4


def test_each_address_gets_its_own_outcome_from_one_envelope() -> None:
    """M4."""
    server = ScriptedSmtp({"RCPT": ["250 fine", "550 no such mailbox", "450 greylisted"]})
    outcomes = sent(server, [letter(1, (SKIPPER, MATE, SHORE))])
    assert results(outcomes) == [
        (1, SKIPPER, Result.ACCEPTED),
        (1, MATE, Result.REFUSED),
        (1, SHORE, Result.RETRY),
    ]
    assert "550 no such mailbox" in outcomes[1].reply
    assert server.lines.count("DATA") == 1


def test_a_refused_address_does_not_stop_the_next_letter() -> None:
    """M4."""
    server = ScriptedSmtp({"RCPT": ["250 fine", "550 no such mailbox"]})
    outcomes = sent(server, [letter(1, (SKIPPER, MATE)), letter(2)])
    assert [one.result for one in outcomes] == [Result.ACCEPTED, Result.REFUSED, Result.ACCEPTED]


def test_a_letter_refused_at_all_addresses_sends_no_text() -> None:
    server = ScriptedSmtp({"RCPT": ["550 no", "551 no"]})
    outcomes = sent(server, [letter(1, (SKIPPER, MATE)), letter(2)])
    assert [one.result for one in outcomes] == [Result.REFUSED, Result.REFUSED, Result.UNTRIED]
    assert "DATA" not in server.lines


@pytest.mark.parametrize(
    ("script", "result"),
    [
        ({"MAIL": ["451 later"]}, Result.RETRY),
        ({"MAIL": ["550 sender not known"]}, Result.REFUSED),
        ({"DATA": ["451 later"]}, Result.RETRY),
        ({"DATA": ["554 no"]}, Result.REFUSED),
        ({"END": ["452 full"]}, Result.RETRY),
        ({"END": ["554 content refused"]}, Result.REFUSED),
        ({"GREETING": ["421 too busy"]}, Result.RETRY),
        ({"GREETING": ["554 no service"]}, Result.RETRY),
        ({"RCPT": ["421 closing"]}, Result.RETRY),
        ({"MAIL": [DROP]}, Result.RETRY),
        ({"RCPT": [DROP]}, Result.RETRY),
        ({"END": [DROP]}, Result.UNSURE),
        ({"END": ["garbage without a code"]}, Result.UNSURE),
    ],
)
def test_4yz_is_tried_again_5yz_is_final_and_silence_after_data_is_unsure(
    script: dict[str, list[str]], result: Result
) -> None:
    """M4, M6. A greeting of 554 speaks of the server, not of the address, so it is tried again."""
    outcomes = sent(ScriptedSmtp(script), [letter()])
    assert results(outcomes) == [(1, SKIPPER, result)]


def test_a_refused_login_is_tried_again(certificate: tuple[Path, Path]) -> None:
    """A wrong password is mended in the settings; the letter must not be lost to it."""
    server = ScriptedSmtp(
        {"AUTH": ["535 no"]}, extensions=("AUTH PLAIN",), tls=server_tls(certificate), tls_at_once=True
    )
    outcomes = sent(
        server,
        [letter()],
        security=Security.TLS,
        username="soakbell",
        password=SecretStr(SECRET),
        ca_file=certificate[0],
    )
    assert results(outcomes) == [(1, SKIPPER, Result.RETRY)]
    assert SECRET not in outcomes[0].reply


def test_an_address_with_a_line_break_never_reaches_the_server() -> None:
    """M7: SMTP command arguments are a hole of their own."""
    evil = "skipper@example.org>\r\nDATA\r\n<x@example.org"
    server = ScriptedSmtp()
    outcomes = sent(server, [letter(1, (SKIPPER,)), Outgoing(2, letter().message, (evil, MATE))])
    assert results(outcomes)[1:] == [(2, evil, Result.REFUSED), (2, MATE, Result.ACCEPTED)]
    offered = [line for line in server.lines if line.startswith("RCPT")]
    assert offered == [f"RCPT TO:<{SKIPPER}>", f"RCPT TO:<{MATE}>"]
    assert server.lines.count("DATA") == 2


# ---- M5


def test_tries_are_quick_at_first_then_every_half_hour_until_the_letter_is_of_no_use() -> None:
    """M5. RFC 5321 section 4.5.4.1: at least 30 minutes between tries as a rule."""
    at, tries, waits_min = NOW, 1, []
    while (again := next_try(tries, at, NOON)) is not None:
        waits_min.append((again - at) / timedelta(minutes=1))
        at, tries = again, tries + 1
    assert waits_min[:4] == [1, 5, 15, 30]
    assert set(waits_min[3:]) == {30}
    assert NOON - timedelta(minutes=30) <= at < NOON


def test_a_letter_past_its_use_is_not_tried_again() -> None:
    """M5."""
    assert next_try(1, NOON - timedelta(seconds=60), NOON) is None
    assert next_try(1, NOON - timedelta(seconds=61), NOON) is not None


# ---- M6 to M9


def test_each_try_sends_the_same_bytes() -> None:
    """M6."""
    server = ScriptedSmtp()
    sent(server, [letter()])
    sent(server, [letter()])
    assert len(server.letters) == 2
    assert server.letters[0] == server.letters[1]


def test_bounces_go_to_the_from_address() -> None:
    """M9."""
    server = ScriptedSmtp()
    sent(server, [letter()])
    assert any(line.startswith("MAIL FROM:<soakbell@example.org>") for line in server.lines)


def test_eight_bit_text_is_announced() -> None:
    message = EmailMessage()
    message["Subject"] = "WAIT"
    message.set_content("wind 5–10 kt\n", cte="8bit")
    server = ScriptedSmtp()
    sent(server, [Outgoing(1, message.as_bytes(policy=SMTP_POLICY), (SKIPPER,))])
    assert any(line.endswith("BODY=8BITMIME") for line in server.lines)


# ---- the check before the first letter


def greeted(server: ScriptedSmtp, **changes: Any) -> str:
    async def run() -> str:
        async with server.serving():
            return await greet(settings(server.port, **changes))

    return asyncio.run(run())


def test_a_greeting_logs_in_and_sends_no_letter(certificate: tuple[Path, Path]) -> None:
    server = ScriptedSmtp(extensions=("AUTH PLAIN",), tls=server_tls(certificate), tls_at_once=True)
    login = {"username": "soakbell", "password": SecretStr(SECRET), "ca_file": certificate[0]}
    assert greeted(server, security=Security.TLS, **login) == "250 still here"
    assert [line.split()[0] for line in server.lines] == ["EHLO", "AUTH", "NOOP", "QUIT"]


@pytest.mark.parametrize(
    ("script", "permanent"), [({"GREETING": ["554 no service"]}, True), ({"GREETING": ["421 busy"]}, False)]
)
def test_a_server_that_turns_us_away_is_told_in_its_own_words(
    script: dict[str, list[str]], permanent: bool
) -> None:
    with pytest.raises(MailRefused) as caught:
        greeted(ScriptedSmtp(script))
    assert caught.value.permanent is permanent
    assert str(caught.value) == next(iter(script.values()))[0]


def test_a_server_that_nobody_runs_is_told_without_the_library_s_words() -> None:
    with socket.create_server(("127.0.0.1", 0)) as listener:
        port = listener.getsockname()[1]
    with pytest.raises(MailRefused) as caught:
        asyncio.run(greet(settings(port)))
    assert str(caught.value) == "can't be reached: Connection refused"
    assert not caught.value.permanent
