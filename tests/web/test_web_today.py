"""Today's call on the phone page: what was told, how old it is, and when it counts no more. INVENTED DATA."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from sqlalchemy import delete, update

from page_scenes import Scene, page_scene
from soakbell.fishery.season import caution
from soakbell.letters.words import checked_words
from soakbell.store import letters
from soakbell.store.schema import CallRow, RecipientRow, ReplyRow


@pytest.fixture
def scene(tmp_path: Path) -> Iterator[Scene]:
    with page_scene(tmp_path) as built:
        built.sign_in()
        yield built


def word_of(text: str) -> str:
    return text.partition('<p class="word">')[2].partition("</p>")[0]


def later(scene: Scene, **away: float) -> None:
    scene.clock.put(scene.clock.now() + timedelta(**away))


def test_the_call_of_the_letter_is_shown_with_its_window_reasons_and_sources(scene: Scene) -> None:
    scene.tell_call()
    page = scene.visitor.get("/")
    assert page.status_code == 200
    assert word_of(page.text) == "PULL"
    for told in ("Off the water by", "Nine Foot", "zone forecast", "of at most", "Official warnings"):
        assert told in page.text


@pytest.mark.parametrize("path", ["/", "/log", "/bait", "/letters"])
def test_the_page_that_is_open_is_marked_among_the_pages(scene: Scene, path: str) -> None:
    assert re.findall('<a href="([^"]+)" aria-current="page">', scene.visitor.get(path).text) == [path]


@pytest.mark.parametrize("path", ["/", "/log", "/season"])
def test_a_page_says_when_the_rules_were_checked_and_how_many_not_in_their_own_text(
    scene: Scene, path: str
) -> None:
    law = caution(scene.house.settings.fishery)
    words = checked_words(law.checked, law.not_read, law.rules).replace("'", "&#39;")
    assert 0 < law.not_read < law.rules
    assert (
        f"as we last checked them on {words}. They may have changed: check with <a "
        in scene.visitor.get(path).text
    )


def test_before_the_letter_there_is_no_call_and_the_page_says_when_it_comes(scene: Scene) -> None:
    with scene.store.writing() as session:
        session.execute(delete(ReplyRow))  # they are of the letter's own moment
    later(scene, hours=-1)
    page = scene.visitor.get("/").text
    assert word_of(page) == "NO CALL"
    assert "The morning letter is due" in page


def test_after_the_hour_of_a_letter_that_never_came_there_is_no_call(scene: Scene) -> None:
    later(scene, hours=2)
    page = scene.visitor.get("/").text
    assert word_of(page) == "NO CALL"
    assert "none was written" in page


def test_yesterdays_pull_is_not_todays(scene: Scene) -> None:
    scene.tell_call()
    later(scene, days=1)
    assert word_of(scene.visitor.get("/").text) == "NO CALL"


def test_a_call_that_ran_out_is_told_as_no_call(scene: Scene) -> None:
    scene.tell_call()
    later(scene, hours=18)
    scene.swept()
    page = scene.visitor.get("/").text
    assert word_of(page) == "NO CALL"
    assert "ran out" in page
    assert "The call that ran out was: PULL" in page
    assert "Off the water by" not in page


def test_a_call_that_nobody_watches_says_so(scene: Scene) -> None:
    scene.tell_call()
    later(scene, minutes=30)
    page = scene.visitor.get("/").text
    assert "later warnings and forecasts are not in this" in page


def test_a_call_that_is_watched_does_not(scene: Scene) -> None:
    scene.tell_call()
    later(scene, minutes=2)
    assert "not in this" not in scene.visitor.get("/").text


@pytest.mark.parametrize("way", ["/", "/why"])
def test_a_clock_that_was_set_back_revives_no_call(scene: Scene, way: str) -> None:
    """A computer without a clock of its own begins where its disk left off."""
    scene.tell_call()
    later(scene, days=1)
    scene.swept()
    later(scene, days=-1)
    page = scene.visitor.get(way).text
    assert word_of(page) == "NO CALL"
    assert "is 24 h behind" in page
    assert "PULL" not in page
    assert "Off the water by" not in page


@pytest.mark.parametrize("minutes", [-1.9, -2.1])
def test_a_clock_is_wrong_from_where_the_service_itself_says_so(scene: Scene, minutes: float) -> None:
    scene.tell_call()
    later(scene, minutes=minutes)
    assert word_of(scene.visitor.get("/").text) == ("PULL" if minutes > -2 else "NO CALL")


def test_a_pull_whose_last_recheck_failed_says_so_though_the_sweep_runs(scene: Scene) -> None:
    scene.tell_call()
    with scene.store.writing() as session:
        fault = {"text": "nobody answers", "count": 1}
        letters.put_note(session, "fault:Little Grebe:recheck", fault, scene.clock.now())
    assert "The last look for new warnings and forecasts failed" in scene.visitor.get("/").text


@pytest.mark.parametrize(
    ("looks", "failed"), [(("2026-12-08", 1), False), (("2026-12-08", 2), True), (("2026-12-07", 2), False)]
)
def test_a_pull_whose_recheck_ended_the_service_says_so(
    scene: Scene, looks: tuple[str, int], failed: bool
) -> None:
    """The first is under way; a second means that the one before gave no answer."""
    scene.tell_call()
    with scene.store.writing() as session:
        value = {"day": looks[0], "turn": 1, "looks": looks[1]}
        letters.put_note(session, "looks:Little Grebe", value, scene.clock.now())
    told = "The last look for new warnings and forecasts failed" in scene.visitor.get("/").text
    assert told == failed


def test_a_pull_whose_watch_has_ended_or_is_another_days_says_so(scene: Scene) -> None:
    scene.tell_call()
    now = scene.clock.now()
    for day, until in (("2026-12-08", None), ("2026-12-08", now), ("2026-12-07", now + timedelta(hours=9))):
        with scene.store.writing() as session:
            watch = {"day": day, "until": None if until is None else until.isoformat()}
            letters.put_note(session, "watch:Little Grebe", watch, now)
        assert "No watch is kept" in scene.visitor.get("/").text


def test_a_changed_call_whose_letter_is_not_sent_stands_on_the_page_and_says_so(scene: Scene) -> None:
    """A8: at once, and for as long as the mail server has not taken it."""
    scene.tell_call()
    assert "has not taken" not in scene.visitor.get("/").text
    now, day = scene.clock.now(), scene.clock.now().date()
    changed = scene.house.desk.write_failed("changed", day, 1, "no data")
    with scene.store.writing() as session:
        letters.ensure_due(session, scene.house.boat, "changed", day, 1, "UTC", now, now + timedelta(hours=9))
        claim = letters.claim_due(session, scene.house.boat, now, lease_s=120)
        assert claim is not None
        letter_id = letters.write_letter(session, claim, changed, now)
    for state in ("waiting", "expired", "accepted"):
        with scene.store.writing() as session:
            session.execute(update(RecipientRow).where(RecipientRow.outbox_id == letter_id).values(state=state))
        page = scene.visitor.get("/").text
        assert word_of(page) == "NO CALL"
        unsent = "The mail server has not taken the letter of this call for 1 of 1 addresses"
        assert (unsent in page) is (state != "accepted")


def test_a_record_that_cannot_be_read_is_told_and_is_no_call(scene: Scene) -> None:
    scene.tell_call()
    with scene.store.writing() as session:
        session.execute(update(CallRow).values(detail={"call": {}}))
    page = scene.visitor.get("/")
    assert page.status_code == 503
    assert "can't be read back" in page.text.replace("&#39;", "'")
    assert "PULL" not in page.text


def test_each_hour_is_shown_against_each_limit(scene: Scene) -> None:
    scene.tell_call()
    page = scene.visitor.get("/why").text
    assert page.count('<th scope="row">') == 24
    assert "wind 15 kt" in page
    assert "inside the limits" in page


def test_an_hour_that_is_not_known_is_never_inside_the_limits(scene: Scene) -> None:
    scene.tell_call()
    rows = scene.visitor.get("/why").text.split("<tr>")[2:]
    unknown = [row for row in rows if "<td>not known</td>" in row]
    assert unknown, "the forecast of this morning tells nothing of the night before it"
    assert not any("inside the limits" in row for row in unknown)


def test_a_letter_on_record_can_be_read_again(scene: Scene) -> None:
    letter = scene.tell_call()
    listed = scene.visitor.get("/letters").text
    assert f'href="/letters/{letter}"' in listed
    assert "Accepted by the mail server for 1" in listed
    assert "Off the water by" in scene.visitor.get(f"/letters/{letter}").text


@pytest.mark.parametrize("name", ["0", "-1", "1e3", "99999999999999999999", "x", "²", "7"])
def test_a_letter_that_there_is_not_is_not_found(scene: Scene, name: str) -> None:
    assert scene.visitor.get(f"/letters/{name}").status_code == 404
