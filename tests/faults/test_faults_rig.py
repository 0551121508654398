"""The rig misbehaves as it says, and the transport and the sender each know what they met. INVENTED DATA."""

from __future__ import annotations

import asyncio
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from email.message import EmailMessage
from pathlib import Path

import pytest
import requests.adapters
from demo.weather import FORTNIGHT, Weather
from pydantic import SecretStr

from faults.bad_forecasts import OLD_BY, REST_S, BadForecasts, ForecastFault, serving
from faults.bad_luck import Bout, Meeting, in_spells, scripted
from faults.bad_mail import GREYLISTED_FOR, BadMail, MailFault
from faults.certificates import make_certificate, serves
from soakbell.clock import SetClock
from soakbell.errors import FetchFailed
from soakbell.feeds.grid import parse_grid
from soakbell.feeds.requests_list import PublicServices, grid_ask
from soakbell.feeds.transport import Ask, Timeouts, Transport
from soakbell.mail import sender
from soakbell.mail.sender import Outcome, Outgoing, Result, Security, SmtpSettings, send_batch

NOW = datetime(2026, 12, 8, 9, 30, tzinfo=UTC)
SKIPPER = "skipper@boat.example"
F, M = ForecastFault, MailFault

# ---- forecasts


@pytest.fixture
def clock() -> SetClock:
    return SetClock(NOW)


@pytest.fixture
def bad(clock: SetClock) -> Iterator[BadForecasts]:
    with serving(Weather(FORTNIGHT), clock.now, scripted()) as server:
        yield server


def asker(clock: SetClock, patience_s: float = 20.0) -> Transport:
    return Transport(
        contact="skipper@boat.example",
        allowed_hosts={"127.0.0.1"},
        clock=clock,
        jitter=lambda: 0.0,
        allow_loopback=True,
        timeouts=Timeouts(read_s=patience_s / 2, total_s=patience_s),
        back_off_s=(60.0,),
    )


def grid_at(base: str) -> Ask:
    return grid_ask("TAE/77,71", PublicServices(base, base))


TELLS: dict[ForecastFault, str] = {
    F.DRIP: "not done after 0.3 s",
    F.SILENCE: "no word within the time allowed",
    F.RESET: "cut off",
    F.WRONG_LENGTH: "cut off",
    F.BOMB: "larger than 8000000 bytes",
    F.ODD_SCHEME: 'redirected to "file:///etc/hostname", which is not followed',
    F.ELSEWHERE: 'redirected to "http://localhost:',
    F.RING: "redirected more than 3 times",
    F.BUSY: '429 "Too Many Requests"',
    F.FAILS: '500 "Internal Server Error"',
    F.UNAVAILABLE: '503 "Forecast Grid Expired',
    F.HTML: "came text/html",
}
READ_ON = {F.OLD, F.CUT_TEXT, F.NOTHING_TOLD}
"""These pass the transport: what is in them is for the readers to judge."""


@pytest.mark.parametrize("fault", ForecastFault)
def test_each_fault_of_the_rig_comes_as_it_is_called_and_goes_when_it_is_over(
    bad: BadForecasts, clock: SetClock, fault: ForecastFault
) -> None:
    bad.choose = scripted(Bout(fault, "/gridpoints"))
    if fault in READ_ON:
        assert asker(clock).fetch(grid_at(bad.base)).status == 200
    else:
        with pytest.raises(FetchFailed) as caught:
            asker(clock, 0.3 if fault in (F.DRIP, F.SILENCE) else 20.0).fetch(grid_at(bad.base))
        assert TELLS[fault] in str(caught.value)
    assert {(one.fault, one.host) for one in bad.asked} == {(fault, bad.base.removeprefix("http://"))}
    bad.choose = scripted()
    clock.sleep(REST_S)
    assert parse_grid(asker(clock).fetch(grid_at(bad.base)).body).updated_at > NOW - timedelta(hours=2)


def test_an_old_reply_is_well_formed_and_old(bad: BadForecasts, clock: SetClock) -> None:
    """F1."""
    bad.choose = scripted(Bout(F.OLD))
    assert parse_grid(asker(clock).fetch(grid_at(bad.base)).body).updated_at < NOW - OLD_BY


@pytest.mark.parametrize("fault", [F.FAILS, F.BUSY])
def test_a_bout_that_ends_is_outlasted_by_the_second_try(
    bad: BadForecasts, clock: SetClock, fault: ForecastFault
) -> None:
    """F3, F4."""
    bad.choose = scripted(Bout(fault, last=1))
    assert asker(clock).fetch(grid_at(bad.base)).status == 200
    assert [one.fault for one in bad.asked] == [fault, None]
    assert clock.now() - NOW >= timedelta(seconds=60 if fault is F.FAILS else REST_S)


@pytest.mark.parametrize("last_day", ["20990101", "20250101"])
def test_a_certificate_that_ran_out_stops_every_reply_though_its_issuer_is_trusted(
    clock: SetClock, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, last_day: str
) -> None:
    """The same certificate is taken before its last day, so nothing but that day is at fault."""
    cert, key = make_certificate(tmp_path / "tls", first_day="20240101", last_day=last_day)
    monkeypatch.setattr(requests.adapters, "DEFAULT_CA_BUNDLE_PATH", str(cert))
    with serving(Weather(FORTNIGHT), clock.now, scripted(), tls=serves(cert, key)) as server:
        fetcher = asker(clock)
        if last_day > f"{datetime.now(UTC):%Y%m%d}":
            assert fetcher.fetch(grid_at(server.base)).status == 200
        else:
            with pytest.raises(FetchFailed, match="its certificate can't be trusted"):
                fetcher.fetch(grid_at(server.base))
            assert server.asked == []


# ---- mail


def letter() -> Outgoing:
    message = EmailMessage()
    message["Subject"], message["Message-ID"] = "WAIT | Little Grebe", "<1@boat.example>"
    message.set_content("WAIT\n")
    return Outgoing(1, message.as_bytes(), (SKIPPER,))


async def offered(bad: BadMail, certificate: Path | None = None) -> Outcome:
    settings = SmtpSettings(
        "127.0.0.1",
        bad.port,
        Security.NONE if certificate is None else Security.STARTTLS,
        "soakbell@boat.example",
        "boat.example",
        username=None if certificate is None else "little-grebe",
        password=None if certificate is None else SecretStr("planted-secret"),
        ca_file=certificate,
    )
    (outcome,) = [
        one async for outcomes in send_batch(settings, [letter()], clock=SetClock(NOW)) for one in outcomes
    ]
    return outcome


MEETS: dict[MailFault, tuple[Result, str, int]] = {
    M.STRIPPED: (Result.RETRY, "STARTTLS", 0),
    M.RCPT_4YZ: (Result.RETRY, "452", 0),
    M.RCPT_5YZ: (Result.REFUSED, "550", 0),
    M.DATA_5YZ: (Result.REFUSED, "554", 0),
    M.CLOSING: (Result.RETRY, "421", 0),
    M.HANGS: (Result.RETRY, "Timed", 0),
    M.GREYLISTS: (Result.RETRY, "451", 0),
    M.KEPT_UNSAID: (Result.UNSURE, "", 1),
    M.SLOW_BANNER: (Result.ACCEPTED, "250", 1),
}


@pytest.mark.parametrize("fault", MailFault)
def test_each_fault_of_the_mail_server_comes_as_it_is_called(
    fault: MailFault, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """M1, M3, M4, M6. The second letter shows that the server is well again."""
    monkeypatch.setattr(sender, "COMMAND_TIMEOUT_S", 0.2)
    certificate = None
    if fault is M.STRIPPED:
        certificate = make_certificate(tmp_path / "tls", first_day="20240101", last_day="20990101")

    async def run() -> tuple[Outcome, int, Outcome]:
        context = None if certificate is None else serves(*certificate)
        vouched = None if certificate is None else certificate[0]
        async with BadMail(lambda: NOW, scripted(Bout(fault, last=1)), context).serving() as bad:
            first = await offered(bad, vouched)
            taken = len(bad.taken)
            return first, taken, await offered(bad, vouched)

    first, taken, second = asyncio.run(run())
    result, told, kept = MEETS[fault]
    assert (first.result, taken) == (result, kept), first
    assert told in first.reply
    assert second.result is Result.ACCEPTED, second


def test_a_greylist_lifts_after_its_minutes_and_not_by_asking() -> None:
    async def run() -> list[Result]:
        now = [NOW]
        async with BadMail(lambda: now[0], scripted(Bout(M.GREYLISTS))).serving() as bad:
            results = []
            for wait in (timedelta(), GREYLISTED_FOR / 2, GREYLISTED_FOR / 2):
                now[0] += wait
                results.append((await offered(bad)).result)
            return results

    assert asyncio.run(run()) == [Result.RETRY, Result.RETRY, Result.ACCEPTED]


# ---- luck


def test_spells_are_the_same_however_often_and_in_what_order_is_asked() -> None:
    choose = in_spells(7, {F.FAILS: 0.5, F.OLD: 0.5})
    met = [Meeting(NOW + timedelta(minutes=10 * n), "/alerts/active?zone=GMZ730", 1) for n in range(2000)]
    forth = [choose(one) for one in met]
    assert forth == [choose(one) for one in reversed(met)][::-1]
    assert {F.FAILS, F.OLD, None} == set(forth)
    assert forth != [in_spells(8, {F.FAILS: 0.5, F.OLD: 0.5})(one) for one in met]


def test_a_spell_takes_one_service_and_leaves_the_others() -> None:
    choose = in_spells(7, {F.FAILS: 0.2})
    moments = [NOW + timedelta(minutes=10 * n) for n in range(4000)]
    grids, lists = (
        [choose(Meeting(at, path, 1)) for at in moments] for path in ("/gridpoints/TAE/1,2", "/alerts/active")
    )
    assert any(one and not other for one, other in zip(grids, lists, strict=True))
    assert [choose(Meeting(at, "/gridpoints/TAE/3,4", 1)) for at in moments] == grids
