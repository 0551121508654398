"""Mornings by a clock that jumps, and over the nights on which the harbor's clock is changed. INVENTED DATA."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path

import pytest

from faults.bad_forecasts import ForecastFault
from faults.bad_luck import Bout, scripted
from faults.bad_mornings import (
    LETTER_HOUR,
    MINUTE,
    SKIPPER,
    Shore,
    addresses,
    local,
    mornings,
    play,
    subject_of,
    text_of,
)
from soakbell.due_times import due_at

ONE_DAY = timedelta(days=1)


def test_a_clock_that_jumps_over_the_letters_hour_sends_it_at_once_and_late(season: Path, tmp_path: Path) -> None:
    """S2, S12."""

    async def story(shore: Shore) -> None:
        with shore.open() as house:
            await shore.sweeps(house, local(3, 0), local(5, 40), local(5, 41))
            assert [state for _, state in mornings(house)] == ["written", "due"]
        (letter,) = shore.mail.taken
        assert "This letter was due Tue 8 Dec 04:30 and is late." in text_of(letter)

    play(tmp_path, story, database=season)


def test_the_letter_after_some_days_off_tells_those_that_were_not_sent(written: Path, tmp_path: Path) -> None:
    """S8: no process ran, so none of them was even written."""

    async def story(shore: Shore) -> None:
        with shore.open() as house:
            await shore.sweeps(house, LETTER_HOUR + 2 * MINUTE, LETTER_HOUR + 3 * ONE_DAY)
            assert [state for _, state in mornings(house)] == ["written", "expired", "expired", "written", "due"]
        text = text_of(shore.mail.taken[-1])
        assert "The letter due Thu 10 Dec 04:30 could not be sent while it was of use." in text
        assert "Nor could 2 earlier, due from Tue 8 Dec 18:00 on." in text

    play(tmp_path, story, database=written)


def test_a_clock_set_back_a_day_takes_the_pull_back_and_sends_no_letter_again(
    season: Path, tmp_path: Path
) -> None:
    """W11. Right again, it finds both days' letters written."""

    async def story(shore: Shore) -> None:
        with shore.open() as house:
            await shore.sweeps(house, LETTER_HOUR)
            await shore.sweeps(house, LETTER_HOUR - ONE_DAY, LETTER_HOUR - ONE_DAY + 40 * MINUTE)
            await shore.sweeps(house, LETTER_HOUR + 10 * MINUTE, LETTER_HOUR + 45 * MINUTE)
            assert [state for _, state in mornings(house)] == ["written", "written", "due"]
        taken_back, the_day_before, called = sorted(shore.subjects())
        assert called.startswith("PULL")
        assert the_day_before == "NO CALL, the service's clock can't be trusted | Little Grebe, Mon 7 Dec"
        assert taken_back.startswith("CHANGED CALL: NO CALL, the service's clock can't be trusted")

    play(tmp_path, story, database=season)


def test_a_clock_set_back_an_hour_around_the_letter_sends_it_once(season: Path, tmp_path: Path) -> None:
    """W11. At the letter's hour the clock has caught up with the newest moment on record; then it jumps again."""

    async def story(shore: Shore) -> None:
        with shore.open() as house:
            await shore.sweeps(house, local(4, 25), local(3, 25), LETTER_HOUR, local(3, 35), local(4, 31))
            assert addresses(house) == [(SKIPPER, "accepted")]
        (subject,) = shore.subjects()
        assert subject.startswith("PULL")

    play(tmp_path, story, database=season)


def test_a_clock_that_jumps_over_the_lease_while_a_letter_is_sent_makes_no_copy(
    written: Path, tmp_path: Path
) -> None:
    """S12: the 250 counts though the claim has run out, and another process finds nothing to send."""

    async def story(shore: Shore) -> None:
        shore.mail.before_answer = lambda: shore.clock.put(LETTER_HOUR + 12 * MINUTE)
        with shore.open() as house, shore.open() as rival:
            await shore.sweeps(house, LETTER_HOUR + 2 * MINUTE)
            await shore.sweeps(rival, LETTER_HOUR + 13 * MINUTE)
            assert addresses(house) == [(SKIPPER, "accepted")]
        assert list(shore.mail.copies().values()) == [1]

    play(tmp_path, story, database=written)


@pytest.mark.parametrize(
    ("night", "hour", "due"),
    [
        (date(2026, 11, 1), time(1, 30), datetime(2026, 11, 1, 5, 30, tzinfo=UTC)),
        (date(2027, 3, 14), time(2, 30), datetime(2027, 3, 14, 7, 0, tzinfo=UTC)),
    ],
    ids=["an hour twice", "an hour left out"],
)
def test_each_day_around_a_night_of_the_clock_gets_one_letter_at_its_local_hour(
    night: date, hour: time, due: datetime, season: Path, tmp_path: Path
) -> None:
    """S3. An hour that comes twice counts the first time, one that is left out at the first moment after it."""

    async def story(shore: Shore) -> None:
        shore.forecasts.choose = scripted(Bout(ForecastFault.ODD_SCHEME))  # there is no weather for these days
        settings = shore.settings
        shore.settings = replace(settings, letters=settings.letters.model_copy(update={"morning": hour}))
        days = [night - ONE_DAY, night, night + ONE_DAY]
        dues = [due_at(day, hour, settings.harbor.time_zone) for day in days]
        with shore.open() as house:
            await shore.sweeps(house, *sorted(at + n * 60 * MINUTE for at in dues for n in (-1, 0, 1)))
            assert [day for day, state in mornings(house) if state == "written"] == days
        sent = [one for one in shore.mail.taken if subject_of(one).startswith("NO CALL")]
        assert [one.at.replace(second=0) for one in sent] == [dues[0], due, dues[2]]

    play(tmp_path, story, database=season)
