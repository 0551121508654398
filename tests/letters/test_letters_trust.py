"""The monthly letter of trust, in words and picture. INVENTED DATA."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from pages import Page
from PIL import Image

from soakbell.letters.page import TEXT_COLUMNS
from soakbell.letters.trust import MOST_DAYS_NAMED, TRUST_CID, brier_words, called_words
from soakbell.sea.trust import brier
from soakbell.sea.trust_record import AreaAsked, SeenDay, TrustRecord
from trust_scenes import (
    ALL_MEASURED,
    BLOWN_OUT,
    DAYS,
    INNER,
    NO_SEA,
    RECORD,
    TERMS,
    TRUST_LETTERS,
    UNSEEN,
    error,
    letter_about,
    trust_scene,
)


def told(record: TrustRecord) -> str:
    return " ".join(letter_about(record).text.split())


def only(*days: SeenDay) -> TrustRecord:
    return replace(RECORD, days=days)


def test_the_subject_tells_how_many_pull_days_came_out_inside_the_limits() -> None:
    """Five PULL days in November, one of them not measured and one outside; October's is another month's."""
    letter = trust_scene("trust-of-a-month")
    far = "as far as measured (wind and gusts in Inner Bay)"
    assert letter.subject == f"Trust in November: 3 of 4 PULL days inside your limits, {far} | Little Grebe"
    text = " ".join(letter.text.split())
    assert "5 days were called PULL. Of 4 measured ones 3 came out inside your limits" in text
    assert f"while the boat was to be out, {far}." in text
    counted = "PULL: 5 days; 3 inside your limits as far as measured, 1 outside and 1 not told by any measurement."
    assert counted in text
    assert "As far as measured means wind and gusts in Inner Bay. Not measured: seas in Inner Bay." in text
    so_far = "of 5 PULL days that were seen 4 came out inside your limits as far as measured (80%)."
    assert f"Since Tuesday 20 October 2026: {so_far}" in text


def test_days_on_which_all_was_measured_are_told_without_an_if() -> None:
    record = only(*(replace(seen, asked=(ALL_MEASURED,)) for seen in DAYS))
    assert letter_about(record).subject == "Trust in November: 3 of 4 PULL days inside your limits | Little Grebe"
    text = told(record)
    assert "PULL: 5 days; 3 inside your limits, 1 outside and 1 not told by any measurement." in text
    assert "WAIT: 2 days; 1 fit for a short trip all the same and 1 not fit." in text
    assert "far as measured" not in text


def test_where_some_days_were_measured_whole_the_others_are_counted() -> None:
    """One trip went outside, where nothing is measured; of several areas each is told what it lacks."""
    outside = (NO_SEA, AreaAsked("Outer Bay", (), ("wind_kt", "gust_kt", "sea_m")))
    record = only(replace(DAYS[1], asked=(ALL_MEASURED,)), replace(DAYS[4], asked=outside))
    far = "inside your limits, 1 of them only as far as measured (wind and gusts in Inner Bay)"
    assert f"2 of 2 PULL days {far}" in letter_about(record).subject
    text = told(record)
    assert "PULL: 2 days; 1 inside your limits and 1 inside your limits as far as measured." in text
    assert "Not measured: seas in Inner Bay; wind, gusts and seas in Outer Bay." in text


def test_a_day_is_measured_whole_only_where_nothing_is_lacking_at_any_place() -> None:
    seen = DAYS[1]
    assert replace(seen, asked=(ALL_MEASURED,)).whole
    assert not replace(seen, asked=(ALL_MEASURED, NO_SEA)).whole
    assert not replace(seen, asked=()).whole, "of a place that isn't known nothing was measured"


@pytest.mark.parametrize(
    ("days", "subject", "lead"),
    [
        ((DAYS[2],), "no day was called PULL", "In November no day was called PULL."),
        (
            (DAYS[1],),
            "1 of 1 PULL day inside your limits",
            "It came out inside your limits, as far as measured (wind and gusts in Inner Bay).",
        ),
        ((BLOWN_OUT,), "0 of 1 PULL day inside your limits", "It came out outside your limits."),
        ((DAYS[1], DAYS[4]), "2 of 2 PULL days", "2 of them came out inside your limits"),
        ((DAYS[8],), "how the PULL days came out is not known", "No measurement tells how the sea then was."),
    ],
)
def test_each_kind_of_month_has_its_words(days: tuple[SeenDay, ...], subject: str, lead: str) -> None:
    assert subject in letter_about(only(*days)).subject
    assert lead in told(only(*days))


def test_a_day_outside_the_limits_is_told_with_what_was_measured() -> None:
    said = "Sat 14 Nov was called PULL and came out outside your limits: wind 16.5 kt over 15"
    assert f"{said} and gusts 20.4 kt over 20." in told(RECORD)
    bare = told(only(replace(BLOWN_OUT, past=())))
    assert "came out outside your limits." in bare


def test_many_such_days_are_counted_and_not_all_named() -> None:
    days = [replace(BLOWN_OUT, day=date(2026, 11, n)) for n in range(1, MOST_DAYS_NAMED + 4)]
    words = called_words(days)
    assert sum("was called PULL" in line for line in words) == MOST_DAYS_NAMED
    assert words[-1] == "So did 3 days more."


def test_a_wait_with_nothing_to_haul_is_told_apart() -> None:
    text = told(RECORD)
    assert "WAIT: 2 days; 1 fit for a short trip all the same as far as measured and 1 not fit." in text
    assert "WAIT with nothing to haul: 1 day, not counted." in text


def test_errors_stand_by_the_day_ahead_with_their_signs_and_units() -> None:
    """Sea in feet: 0.3 m is 1.0 ft. Too rough a forecast has a minus."""
    record = replace(RECORD, errors=(error("sea_m", 1, -0.3, 0.3, 40),))
    line = next(line for line in letter_about(record).text.splitlines() if line.startswith("  day 1"))
    assert line.split()[:5] == ["day", "1", "-1.0", "1.0", "40"]
    assert "Seas, ft" in letter_about(record).text


def test_errors_of_several_areas_stand_apart_and_the_letter_says_which_counts() -> None:
    """An area that errs 6 kt low beside one that errs 1.1: the plan's range is the worse in both tables."""
    inner, outer = RECORD.errors[0], error("wind_kt", 1, 6.0, 1.8, 42)
    both = letter_about(replace(RECORD, errors=(inner, replace(outer, area="Outer Bay"))))
    rows = [line.split() for line in both.text.splitlines() if line.startswith("  day 1")]
    assert [row[2] for row in rows] == ["+1.1", "+6.0"]
    assert rows[0][5:] == rows[1][5:]
    for words in ("Wind, kt, Inner Bay", "Wind, kt, Outer Bay", "the plan goes by the one that erred worse"):
        assert words in " ".join(both.text.split())
    assert "erred worse" not in told(RECORD)


def test_what_is_record_and_what_is_prior_is_told_as_shares() -> None:
    """42 days beside 30 of the prior: 42/72 toward rougher, and by the 12 past 30 toward calmer 12/42."""
    text = told(RECORD)
    assert "Wind and gusts: up to 42 days on record." in text
    assert (
        "rougher than the prior it counts for 58%, where it says calmer for 29%; the prior for the rest." in text
    )
    assert "Seas: nothing on record. The plan goes by the prior of the plan file alone." in text
    sparse = replace(RECORD, errors=(error("wind_kt", 1, -3.0, 1.0, 8),))
    assert "calmer for 0%" in told(sparse)
    assert "Hours ahead with fewer than 30 days are never taken for calmer" in told(sparse)


def test_an_area_that_nothing_is_on_record_of_is_named() -> None:
    """Two areas and one station: the other is never taken for calmer than the prior."""
    text = " ".join(letter_about(RECORD, "Outer Bay").text.split())
    assert "Wind and gusts: nothing on record of Outer Bay." in text
    assert "counts where it says rougher than the prior, and never where it says calmer" in text
    assert "days on record. Where" not in text
    assert "Seas: nothing on record. The plan goes by the prior" in text
    assert "nothing on record of" not in told(RECORD)


def test_the_parts_of_the_score_as_told_add_up_to_it() -> None:
    """In the digits that are told: each by itself rounded they would be off by one or two thousandths at times."""
    assert RECORD.chances is not None
    assert brier_words(RECORD.chances) in told(RECORD)
    draw = np.random.default_rng(4)
    for _ in range(50):
        chances = draw.random(40)
        parts = brier(chances.tolist(), (draw.random(40) < chances).tolist())
        assert parts is not None
        score, _, off, apart, weather, within = map(float, re.findall(r"[\d.]*\d", brier_words(parts))[:6])
        sign = 1 if "plus" in brier_words(parts).rpartition("itself")[2] else -1
        assert off - apart + weather + sign * within == pytest.approx(score, abs=1e-9)
        exact = (parts.reliability, parts.resolution, parts.uncertainty)
        assert (off, apart, weather) == pytest.approx(exact, abs=0.001)


def test_chances_and_days_are_told_apart() -> None:
    text = told(RECORD)
    assert "82 of 28 days, for each of several mornings gives a day one." in text
    assert "about 5% given 14 times, for 14 days: 1 came fit" in text


def test_the_picture_is_shown_in_the_page_and_told_in_words() -> None:
    letter = trust_scene("trust-of-a-month")
    (picture,) = letter.attachments
    assert picture.cid == TRUST_CID
    with Image.open(io.BytesIO(picture.content)) as image:
        assert image.size[0] == 2 * 390
    page = Page(letter.html)
    (shown,) = [attributes for tag, attributes in page.tags if tag == "img"]
    assert shown["src"] == f"cid:{TRUST_CID}"
    assert shown["alt"] in " ".join(letter.text.split())


def test_without_a_station_the_letter_says_what_to_do_and_has_no_picture() -> None:
    letter = letter_about(UNSEEN)
    assert letter.attachments == ()
    assert "img" not in {tag for tag, _ in Page(letter.html).tags}
    text = told(UNSEEN)
    assert "Nothing could be held against a measurement. Name a station" in text
    assert "No chance of a day ahead could be held against a day that came yet." in text


@pytest.mark.parametrize("name", TRUST_LETTERS)
def test_every_letter_says_that_it_is_no_call_and_permits_nothing(name: str) -> None:
    letter = trust_scene(name)
    text = " ".join(letter.text.split())
    assert text.startswith("Trust letter, no call.")
    for words in (
        "This letter is no call: only the morning letter, due Wed 2 Dec 04:30, says whether to go.",
        "No record of the past permits anything: each call keeps to your limits",
        "The skipper decides.",
        "Official pages:",
    ):
        assert words in text
        assert words in Page(letter.html).text
    assert max(len(line) for line in letter.text.splitlines() if "://" not in line) <= TEXT_COLUMNS


def test_the_height_of_the_wind_is_told_as_it_is() -> None:
    assert "Wind counts as the station measures it, at its own height." in told(RECORD)


def test_what_the_plan_reckons_with_is_never_calmer_than_the_prior_while_the_record_is_sparse() -> None:
    sparse = TERMS.models((error("wind_kt", 1, -5.0, 0.5, 10),), (INNER,))["wind_kt"]
    prior = TERMS.models()["wind_kt"]
    assert sparse.bias_at(12) == prior.bias_at(12)
    assert sparse.rougher_sd_at(12) == prior.rougher_sd_at(12)
