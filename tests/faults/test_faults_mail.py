"""One morning's letter under each fault of the mail server: it comes once, or what became of it is told.

INVENTED DATA. The letter is written by the real desk, and waits for its second try.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from sqlalchemy import select

from faults.bad_luck import Bout, scripted
from faults.bad_mail import MailFault
from faults.bad_mornings import LETTER_HOUR, MINUTE, PULL_DAY, SKIPPER, Shore, addresses, local, play, text_of
from soakbell.mail import sender
from soakbell.store.schema import RecipientRow
from soakbell.web.health import read_health

M = MailFault
ONE_DAY = timedelta(days=1)

CAME: dict[MailFault, tuple[int, str]] = {
    M.RCPT_4YZ: (1, "accepted"),
    M.RCPT_5YZ: (0, "refused"),
    M.DATA_5YZ: (0, "refused"),
    M.CLOSING: (1, "accepted"),
    M.HANGS: (1, "accepted"),
    M.GREYLISTS: (1, "accepted"),
    M.KEPT_UNSAID: (2, "accepted"),
    M.SLOW_BANNER: (1, "accepted"),
}
"""How often the letter came, and its state after. STARTTLS is for the sender's tests: no demo goes beyond
loopback."""


@pytest.mark.parametrize("fault", CAME)
def test_a_letter_comes_once_or_under_one_message_id_or_its_refusal_is_on_record(
    fault: MailFault, written: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """M3, M4, M6. Tried after 1, 6 and 21 minutes; all but a greylist spoil the first of these alone."""
    monkeypatch.setattr(sender, "COMMAND_TIMEOUT_S", 0.5)
    last = None if fault is M.GREYLISTS else 1
    times, state = CAME[fault]

    async def story(shore: Shore) -> None:
        shore.mail.choose = scripted(Bout(fault, last=last))
        with shore.open() as house:
            await shore.sweeps(house, *(LETTER_HOUR + n * MINUTE for n in (2, 8, 24)))
            assert addresses(house) == [(SKIPPER, state)]
            with house.store.reading() as session:
                assert session.scalars(select(RecipientRow.unsure)).all() == [int(fault is M.KEPT_UNSAID)]
            told = house.desk.facts(PULL_DAY, shore.clock.now())
            assert told.refused == ((SKIPPER,) if state == "refused" else ())
        assert [fault for _, fault in shore.mail.met][:1] == [fault]
        assert list(shore.mail.copies().values()) == ([times] if times else [])
        assert len({one.message for one in shore.mail.taken}) == min(times, 1)

    play(tmp_path, story, database=written)


def test_where_starttls_is_stripped_no_letter_goes_and_the_health_page_says_why(
    written: Path, tmp_path: Path
) -> None:
    """M1. After the third try."""

    async def story(shore: Shore) -> None:
        shore.settings = replace(
            shore.settings, mail=shore.settings.mail.model_copy(update={"security": "starttls"})
        )
        shore.mail.choose = scripted(Bout(M.STRIPPED))
        with shore.open() as house:
            await shore.sweeps(house, *(LETTER_HOUR + n * MINUTE for n in (2, 8, 24)))
            assert addresses(house) == [(SKIPPER, "waiting")]
            (trouble,) = read_health(house.store, shore.clock.now(), "").refused
        assert shore.mail.taken == []
        assert "STARTTLS" in trouble["reply"]
        assert {line.split()[0] for line in shore.mail.lines} <= {"EHLO", "QUIT"}

    play(tmp_path, story, database=written)


def test_a_letter_that_no_server_took_all_morning_is_told_in_the_next_one(written: Path, tmp_path: Path) -> None:
    """M5."""

    async def story(shore: Shore) -> None:
        shore.mail.choose = scripted(Bout(M.CLOSING))
        with shore.open() as house:
            await shore.sweeps(house, local(11, 55), local(12, 1))
            assert addresses(house) == [(SKIPPER, "expired")]
            shore.mail.choose = scripted()
            await shore.sweeps(house, LETTER_HOUR + ONE_DAY)
            with house.store.reading() as session:
                assert session.scalars(select(RecipientRow.state)).all()[-1] == "accepted"
        assert "The letter due Tue 8 Dec 04:30 could not be sent while it was of use." in text_of(
            shore.mail.taken[-1]
        )

    play(tmp_path, story, database=written)
