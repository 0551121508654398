"""After a restore no PULL that it brought counts until it was held against what came since. INVENTED DATA."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from email import message_from_bytes, policy
from pathlib import Path

import pytest

from law.world import INNER_GRID, NEW_YORK, NOW, World, world
from page_scenes import Scene, page_scene
from soakbell.sea.sources import SourceKind
from soakbell.store import letters, replies
from soakbell.store.backup import back_up, restore
from soakbell.store.letters import WrittenLetter

TODAY = NOW.astimezone(NEW_YORK).date()
MINUTE = timedelta(minutes=1)


@pytest.fixture
def scene(tmp_path: Path) -> Iterator[Scene]:
    """A boat that was told PULL, was restored ten minutes later, and whose sources don't answer."""
    with page_scene(tmp_path) as built:
        built.sign_in()
        built.tell_call()
        with built.store.writing() as session:
            letters.put_note(session, "polled:Little Grebe", {}, NOW)
        back_up(tmp_path / "soakbell.db", tmp_path / "copy.db")
        assert "PULL" in word_on(built)
        restored(built, tmp_path, 10 * MINUTE)
        yield built


def restored(scene: Scene, folder: Path, after: timedelta) -> None:
    scene.clock.put(NOW + after)
    restore(folder / "copy.db", folder / "soakbell.db", now=scene.clock.now())
    scene.swept()
    scene.sign_in()


def answered(scene: Scene, weather: World, *left_out: SourceKind) -> None:
    """All sources but those left out give what they gave before the restore, or what they would."""
    with scene.store.writing() as session:
        for (kind, _), pages in weather.on_hand().replies.items():
            if kind not in left_out:
                replies.keep_reply(session, replace(pages[0], fetched_at=scene.clock.now()))


def word_on(scene: Scene) -> str:
    return scene.visitor.get("/").text.partition('<p class="word">')[2].partition("</p>")[0]


def looked_again(scene: Scene) -> WrittenLetter | None:
    scene.clock.put(scene.clock.now() + MINUTE)
    return scene.house.desk.recheck(TODAY, 1, clock_suspect=False)


def text_of(letter: WrittenLetter) -> str:
    text = message_from_bytes(letter.message, policy=policy.default).get_body(("plain",))
    assert text is not None
    return " ".join(text.get_content().split())


def test_a_restored_pull_is_no_call_until_somebody_has_looked_since(scene: Scene) -> None:
    for path in ("/", "/why"):
        page = scene.visitor.get(path).text
        assert "Off the water by" not in page
        assert "restored Tue 8 Dec 04:40, and today&#39;s call is from before" in page
    assert word_on(scene) == "NO CALL"
    assert "To load" not in scene.visitor.get("/bait").text


def test_a_restored_pull_is_taken_back_by_letter_where_no_source_answers(scene: Scene) -> None:
    """By its age the list of warnings would serve for most of an hour more."""
    letter = looked_again(scene)
    assert letter is not None
    assert letter.call is not None
    assert letter.call.word == "NO CALL"
    assert "Nothing came since the restore of 2026-12-08 09:40 UTC" in text_of(letter)


def test_a_restored_pull_counts_again_once_the_last_source_has_answered_and_it_still_holds(scene: Scene) -> None:
    """Until then each look takes it back. What comes may be the same to the byte."""
    for kind in SourceKind:
        letter = looked_again(scene) if kind in (SourceKind.GRID, SourceKind.WARNINGS) else None
        assert letter is None or (letter.call is not None and letter.call.word == "NO CALL")
        assert word_on(scene) == "NO CALL"
        answered(scene, world(), *(other for other in SourceKind if other is not kind))
    assert looked_again(scene) is None
    assert "PULL" in word_on(scene)


def test_a_second_restore_asks_for_a_second_look(scene: Scene, tmp_path: Path) -> None:
    answered(scene, world())
    assert looked_again(scene) is None
    back_up(tmp_path / "soakbell.db", tmp_path / "copy.db")
    restored(scene, tmp_path, 20 * MINUTE)
    assert word_on(scene) == "NO CALL"
    assert looked_again(scene) is not None


def test_no_letter_after_a_restore_is_made_from_what_was_fetched_before(scene: Scene) -> None:
    letter = scene.house.desk.write("morning", TODAY, 0, late=False, clock_suspect=False)
    assert letter.call is not None
    assert letter.call.word == "NO CALL"


def test_letters_say_for_three_days_that_the_log_may_lack_what_was_told(scene: Scene) -> None:
    """A pull that was told after the backup is lost with it, and its string counts as soaking on."""
    told = "The database was restored Tue 8 Dec 04:40: what was told to the log between that backup and then"
    for days_after in (1, 4):
        now = NOW + timedelta(days=days_after)
        scene.clock.put(now)
        letter = scene.house.desk.write_failed("morning", now.astimezone(NEW_YORK).date(), 0, "it broke")
        assert (told in text_of(letter)) == (days_after == 1)


def test_what_is_served_again_stands_in_for_no_newer_grid_that_was_lost(scene: Scene, tmp_path: Path) -> None:
    """The newest known one is of before the restore, and what a cache gives since is older inside."""
    newer = world(now=NOW + 5 * MINUTE).on_hand().replies[INNER_GRID][0]
    with scene.store.writing() as session:
        letters.put_note(session, f"newest:grid:{newer.key}:Little Grebe", {"sha256": newer.sha256}, NOW)
        replies.keep_reply(session, newer)
    back_up(tmp_path / "soakbell.db", tmp_path / "copy.db")
    restored(scene, tmp_path, 20 * MINUTE)
    answered(scene, world())
    letter = looked_again(scene)
    assert letter is not None
    assert letter.call is not None
    assert letter.call.word == "NO CALL"
    with scene.store.writing() as session:
        replies.keep_reply(session, replace(newer, fetched_at=scene.clock.now()))
    assert looked_again(scene) is None
