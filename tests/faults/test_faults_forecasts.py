"""Whole mornings under each fault of the forecast server: NO CALL or what the kept data carry, never more.

INVENTED DATA. Undisturbed, the morning of 8 December is a PULL.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from sqlalchemy import select

from faults import bad_forecasts
from faults.bad_forecasts import ForecastFault
from faults.bad_luck import Bout, scripted
from faults.bad_mornings import (
    LETTER_HOUR,
    MINUTE,
    PULL_DAY,
    SKIPPER,
    Shore,
    addresses,
    local,
    play,
    subject_of,
    text_of,
)
from faults.certificates import make_certificate, serves
from soakbell.planning.call import CallWord
from soakbell.sea.sources import SourceKind
from soakbell.store.schema import ReplyRow
from soakbell.wiring import House

F = ForecastFault

SAYS: dict[ForecastFault, tuple[str, ...]] = {
    F.DRIP: ("not done after 0.3 s", "no word within the time allowed"),
    F.SILENCE: ("no word within the time allowed",),
    F.RESET: ("the reply was cut off",),
    F.WRONG_LENGTH: ("the reply was cut off",),
    F.BOMB: ("larger than 8000000 bytes",),
    F.ODD_SCHEME: ('redirected to "file:///etc/hostname", which is not followed',),
    F.ELSEWHERE: ("which is not followed",),
    F.RING: ("redirected more than 3 times",),
    F.BUSY: ('429 "Too Many Requests"',),
    F.FAILS: ('500 "Internal Server Error"',),
    F.UNAVAILABLE: ('503 "Forecast Grid Expired',),
    F.OLD: ("too old to be used",),
    F.CUT_TEXT: ("found no good JSON",),
    F.NOTHING_TOLD: ("features: expected a list, found an object",),
    F.HTML: ("found a page of HTML",),
}


async def decided(shore: Shore, house: House) -> CallWord:
    """The call on what is on hand, once all sources were asked."""
    house.desk.sources.poll()
    return house.desk.decide(PULL_DAY, clock_suspect=False).call.word


@pytest.mark.parametrize("fault", ForecastFault)
def test_a_fault_of_all_services_makes_one_no_call_that_names_it(
    fault: ForecastFault, season: Path, tmp_path: Path
) -> None:
    """F1, F3, F4, A3, W7."""

    async def story(shore: Shore) -> None:
        shore.forecasts.choose = scripted(Bout(fault))
        if fault in (F.DRIP, F.SILENCE):
            shore.patience_s = 0.3
        with shore.open() as house:
            told_before = house.desk.log.now().gear
            await shore.sweeps(house, LETTER_HOUR)
            (letter,) = shore.mail.taken
            assert subject_of(letter).startswith("NO CALL")
            assert any(words in text_of(letter) for words in SAYS[fault]), text_of(letter)
            assert addresses(house) == [(SKIPPER, "accepted")]
            assert house.desk.log.now().gear == told_before
        assert {one.host for one in shore.forecasts.asked} == {shore.forecasts.base.removeprefix("http://")}

    play(tmp_path, story, database=season)


def test_where_no_reply_comes_or_only_a_part_of_one_the_last_good_one_serves(season: Path, tmp_path: Path) -> None:
    """F3. The list of warnings stands for all, so that slow faults cost little. Two areas share it, and what was
    met is told once."""
    slow = (F.DRIP, F.SILENCE)
    quick = (F.RESET, F.WRONG_LENGTH, F.BOMB, F.ODD_SCHEME, F.ELSEWHERE, F.RING, F.BUSY, F.FAILS)

    async def story(shore: Shore) -> None:
        with shore.open() as house:
            house.desk.sources.poll()
        for patience_s, faults in ((0.1, slow), (20.0, quick)):
            shore.patience_s = patience_s
            with shore.open() as house:
                for fault in faults:
                    shore.forecasts.choose = scripted(Bout(fault, "/alerts"))
                    shore.clock.put(shore.clock.now() + 4 * MINUTE)
                    house.desk.sources.poll()
                    on_hand = house.desk.sources.on_hand(shore.clock.now())
                    of_warnings = SourceKind.WARNINGS, shore.settings.areas[0].zone
                    (kept,) = on_hand.replies[of_warnings]
                    assert kept.fetched_at < LETTER_HOUR + MINUTE, fault
                    trouble = on_hand.troubles[of_warnings]
                    assert any(said in trouble for said in (*SAYS[fault], "not done after 0.1 s")), trouble
                    assert trouble.count("last asked") == 1
                assert house.desk.decide(PULL_DAY, clock_suspect=False).call.word is CallWord.PULL

    play(tmp_path, story, database=season)


@pytest.mark.parametrize("fault", [F.FAILS, F.OLD, F.HTML])
def test_a_fault_that_is_over_leaves_nothing_behind(fault: ForecastFault, season: Path, tmp_path: Path) -> None:
    """Of these the first leaves no reply, the second an old one, the third one that can't be read."""

    async def story(shore: Shore) -> None:
        shore.forecasts.choose = scripted(Bout(fault))
        with shore.open() as house:
            shore.clock.put(local(3, 55))
            assert await decided(shore, house) is CallWord.NO_CALL
            shore.forecasts.choose = scripted()
            shore.clock.put(LETTER_HOUR)
            assert await decided(shore, house) is CallWord.PULL

    play(tmp_path, story, database=season)


@pytest.mark.parametrize("service", ["/points", "/gridpoints", "/products", "/alerts", "/data/realtime2"])
@pytest.mark.parametrize("fault", [F.FAILS, F.OLD, F.CUT_TEXT, F.NOTHING_TOLD])
def test_a_fault_of_one_service_alone_is_no_call_where_the_call_rests_on_what_it_spoils(
    fault: ForecastFault, service: str, season: Path, tmp_path: Path
) -> None:
    """A6. The service that fails stands for all faults after which no reply comes."""
    harmless = {
        (F.OLD, "/points"),  # where a grid cell lies doesn't age within a day
        (F.CUT_TEXT, "/data/realtime2"),  # the newest row stands first, and is whole
    }

    async def story(shore: Shore) -> None:
        shore.forecasts.choose = scripted(Bout(fault, service))
        with shore.open() as house:
            word = await decided(shore, house)
            assert word is (CallWord.PULL if (fault, service) in harmless else CallWord.NO_CALL)

    play(tmp_path, story, database=season)


def test_what_came_before_the_fault_serves_until_its_own_age_and_no_longer(season: Path, tmp_path: Path) -> None:
    """F3. The letter is written on the replies of 03:55; an hour later the list of warnings is too old."""

    async def story(shore: Shore) -> None:
        with shore.open() as house:
            await shore.sweeps(house, local(3, 55))
            shore.forecasts.choose = scripted(Bout(F.FAILS))
            await shore.sweeps(house, LETTER_HOUR)
            await shore.sweeps(house, local(5, 15))
        called, taken_back = shore.mail.taken
        assert subject_of(called).startswith("PULL")
        assert "official warnings GMZ730: issued 03:55" in text_of(called)
        assert '500 "Internal Server Error"' in text_of(called)
        assert subject_of(taken_back).startswith("CHANGED CALL: NO CALL")

    play(tmp_path, story, database=season)


MOST_WAIT_S = 240.0


def at_real_pace(shore: Shore) -> None:
    shore.at_real_pace, shore.patience_s = True, 0.1


@pytest.mark.parametrize("fault", [F.FAILS, F.DRIP])
def test_at_the_real_pace_a_morning_without_any_reply_gets_its_named_no_call_within_four_minutes(
    fault: ForecastFault, season: Path, tmp_path: Path
) -> None:
    """F3: five tries of each source would take more than a writer is given."""

    async def story(shore: Shore) -> None:
        at_real_pace(shore)
        shore.forecasts.choose = scripted(Bout(fault))
        with shore.open() as house:
            begun_s = shore.clock.passed_s()
            letter = house.desk.write("morning", PULL_DAY, 0, late=False, clock_suspect=False)
            assert shore.clock.passed_s() - begun_s <= MOST_WAIT_S
        assert letter.subject.startswith("NO CALL")
        for named in (
            "Zone forecast TAE is missing. Last asked",
            "Official warnings GMZ730 are missing. Last asked",
            "Grid forecast Inner Bay is missing.",
            "Report of station NCKF1 is missing. Last asked",
        ):
            assert named in text_of(letter)

    play(tmp_path, story, database=season)


def test_at_the_real_pace_an_outage_after_a_pull_takes_it_back_within_four_minutes_of_the_look(
    written: Path, tmp_path: Path
) -> None:
    async def story(shore: Shore) -> None:
        at_real_pace(shore)
        shore.forecasts.choose = scripted(Bout(F.DRIP))
        with shore.open() as house:
            shore.clock.put(local(5, 33))
            begun_s = shore.clock.passed_s()
            letter = house.desk.recheck(PULL_DAY, 1, clock_suspect=False)
            assert shore.clock.passed_s() - begun_s <= MOST_WAIT_S
        assert letter is not None
        assert letter.subject.startswith("CHANGED CALL: NO CALL")
        assert "Official warnings GMZ730 are 1 h 7 min old, too old to be used." in text_of(letter)

    play(tmp_path, story, database=written)


def test_a_reply_that_cannot_be_used_is_kept_as_it_came(season: Path, tmp_path: Path) -> None:
    """A7: for the audit, and never as a good one."""
    refusals = {"/gridpoints": F.UNAVAILABLE, "/alerts": F.FAILS, "/data/realtime2": F.BUSY}

    async def story(shore: Shore) -> None:
        shore.forecasts.choose = scripted(*(Bout(fault, service) for service, fault in refusals.items()))
        with shore.open() as house:
            house.desk.sources.poll()
            with house.store.reading() as session:
                rows = session.execute(select(ReplyRow.kind, ReplyRow.status)).all()
        # of observations there is also the list of where stations lie
        kept = {kind: {status for of, status in rows if of == kind} for kind, _ in rows}
        assert kept == {
            "point": {200}, "zone text": {200}, "grid": {503}, "warnings": {500}, "observations": {200, 429}
        }  # fmt: skip

    play(tmp_path, story, database=season)


def test_an_old_list_without_the_new_warning_does_not_lift_it(
    season: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """F1, A3: the list is old by less than its greatest age, and from before the advisory of 9 December 06:40."""
    monkeypatch.setattr(bad_forecasts, "OLD_BY", 60 * MINUTE)
    day = PULL_DAY.replace(day=9)

    async def story(shore: Shore) -> None:
        with shore.open() as house:
            shore.clock.put(local(6, 55, day))
            house.desk.sources.poll()
            shore.forecasts.choose = scripted(Bout(F.OLD, "/alerts"))
            shore.clock.put(local(7, 25, day))
            house.desk.sources.poll()
            call = house.desk.decide(day, clock_suspect=False).call
            assert [warning.event for warning in call.warnings] == ["Small Craft Advisory"]
            assert call.word is not CallWord.PULL

    play(tmp_path, story, database=season)


def test_a_certificate_that_ran_out_makes_a_no_call_that_says_so(season: Path, tmp_path: Path) -> None:
    """The clock of the computer is the other thing that may be wrong, and is named too."""
    tls = serves(*make_certificate(tmp_path / "tls", first_day="20240101", last_day="20250101"))

    async def story(shore: Shore) -> None:
        with shore.open() as house:
            await shore.sweeps(house, LETTER_HOUR)
        (letter,) = shore.mail.taken
        assert subject_of(letter).startswith("NO CALL")
        assert "its certificate can't be trusted, or this computer's clock is wrong" in text_of(letter)
        assert shore.forecasts.asked == []

    (tmp_path / "boat").mkdir()
    play(tmp_path / "boat", story, database=season, tls=tls)
