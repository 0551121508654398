"""The mail catcher talks SMTP with the service's own sender."""

from __future__ import annotations

import asyncio
from datetime import UTC, datetime

from demo.mail_catcher import catching

from soakbell.clock import SetClock
from soakbell.mail.sender import Outgoing, Result, Security, SmtpSettings, send_batch

NOW = datetime(2026, 12, 8, 9, 30, tzinfo=UTC)
LETTER = b"Subject: PULL\r\nMessage-ID: <1@boat.example>\r\n\r\nfirst line\r\n.a dot begins this one\r\n"


def _offer(times: int, *, puts_off: int):
    async def offer():
        clock = SetClock(NOW)
        results = []
        async with catching(clock.now, puts_off=puts_off) as catcher:
            smtp = SmtpSettings(
                "127.0.0.1", catcher.port, Security.NONE, "little-grebe@boat.example", "demo.invalid"
            )
            for _ in range(times):
                batch = [Outgoing(1, LETTER, ("skipper@boat.example",))]
                async for outcomes in send_batch(smtp, batch, clock=clock):
                    results += [outcome.result for outcome in outcomes]
        return results, catcher

    return asyncio.run(offer())


def test_a_letter_is_kept_to_the_byte():
    results, catcher = _offer(1, puts_off=0)
    assert results == [Result.ACCEPTED]
    (caught,) = catcher.caught
    assert caught.message == LETTER
    assert (caught.at, caught.sender, caught.addresses) == (
        NOW,
        "little-grebe@boat.example",
        ("skipper@boat.example",),
    )


def test_the_first_offer_is_put_off_and_the_second_taken():
    results, catcher = _offer(2, puts_off=1)
    assert results == [Result.RETRY, Result.ACCEPTED]
    assert catcher.put_off == [NOW]
    assert len(catcher.caught) == 1
