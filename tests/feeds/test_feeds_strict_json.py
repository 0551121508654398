"""The JSON reader refuses what could become a wrong number."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from soakbell.errors import NotUnderstood
from soakbell.feeds.strict_json import MOST_LEVELS, moment, read_object, span


def test_a_plain_object_is_read_as_it_stands() -> None:
    assert read_object(b'{"a": [1, 2.5, null, true], "b": {"c": "\xc3\xa9"}}', what="a thing") == {
        "a": [1, 2.5, None, True],
        "b": {"c": "é"},
    }


@pytest.mark.parametrize(
    ("body", "says"),
    [
        (b"", "an empty reply"),
        (b" \n ", "an empty reply"),
        (b"<!DOCTYPE html><html>", "HTML"),
        (b"  <html>", "HTML"),
        (b'{"a": NaN}', "NaN"),
        (b'{"a": Infinity}', "Infinity"),
        (b'{"a": -Infinity}', "-Infinity"),
        (b'{"a": 1e400}', "range of a double"),
        (b'{"a": -1e400}', "range of a double"),
        (b'{"a": ' + b"9" * 5000 + b"}", "no good JSON"),
        (b'{"a": ' + b"9" * 400 + b"}", "too many digits"),
        (b'{"a": 1, "a": 2}', "given twice"),
        (b'{"b": {"a": 1, "a": 1}}', "given twice"),
        (b'{"a": 1', "no good JSON"),
        (b'{"a": 1}{"a": 1}', "no good JSON"),
        (b'{"a": 1} trailing', "no good JSON"),
        (b'{"a": "\xff"}', "not UTF-8"),
        (b"\xff\xfe{\x00}\x00", "not UTF-8"),
        (b'{"a": "\\ud800"}', "half a character"),
        (b'{"\\udc00": 1}', "half a character"),
        (b"[1, 2]", "a list of 2"),
        (b"null", "null"),
        (b"true", "the truth value true"),
        (b"12", "the number 12"),
        (b'"text"', "the text 'text'"),
        (b"[" * 100_000, "nested without end"),
        (b'{"a":' * 50 + b"1" + b"}" * 50, f"more than {MOST_LEVELS} levels"),
    ],
)
def test_what_is_no_good_json_is_refused_with_its_reason(body: bytes, says: str) -> None:
    with pytest.raises(NotUnderstood) as refused:
        read_object(body, what="a forecast grid")
    assert "expected a forecast grid" in str(refused.value)
    assert says in str(refused.value)


def test_a_problem_report_is_named_by_its_own_title() -> None:
    """F3: the problem's own title stands in the source line."""
    body = json.dumps({"type": "about:blank", "title": "Forecast Grid Expired", "status": 503, "detail": "Old."})
    with pytest.raises(NotUnderstood, match=r"Forecast Grid Expired \(503\): Old\."):
        read_object(body.encode(), what="a forecast grid")


def test_an_error_body_is_an_error_whatever_the_status() -> None:
    """F11: an ``error`` body is an error."""
    with pytest.raises(NotUnderstood, match="No Predictions data was found"):
        read_object(b'{"error": {"message": "No Predictions data was found"}}', what="tides")


@pytest.mark.shared
def test_the_captured_faults_are_named(shared) -> None:
    for file in sorted((shared / "data/weather/errors").iterdir()):
        with pytest.raises(NotUnderstood, match=r"Unexpected Problem \(500\)"):
            read_object(file.read_bytes(), what="a forecast")


@pytest.mark.shared
def test_every_captured_reply_that_is_no_fault_is_read(shared) -> None:
    files = [f for f in sorted((shared / "data/weather").rglob("*.json")) if f.parent.name != "errors"]
    assert len(files) > 25
    for file in files:
        assert read_object(file.read_bytes(), what=file.name)


@given(st.binary(max_size=200))
def test_any_bytes_are_read_or_refused_and_never_break(body: bytes) -> None:
    try:
        found = read_object(body, what="a thing")
    except NotUnderstood:
        return
    assert isinstance(found, dict)


@given(
    st.dictionaries(
        st.text(max_size=5),
        st.one_of(
            st.none(),
            st.booleans(),
            st.integers(-(10**9), 10**9),
            st.floats(allow_nan=False, allow_infinity=False),
            st.text(),
        ),
        max_size=5,
    )
)
def test_good_json_comes_through_unchanged_or_is_refused(thing: dict[str, object]) -> None:
    body = json.dumps(thing).encode()
    if {"title", "status"} <= set(thing) or set(thing) == {"error"}:
        return
    assert read_object(body, what="a thing") == thing


def test_times_carry_their_offset_and_come_out_in_utc() -> None:
    """F9: offsets that differ are parsed to UTC at the edge."""
    assert moment("2019-12-20T13:34:00-08:00", "t") == datetime(2019, 12, 20, 21, 34, tzinfo=UTC)
    assert moment("2019-12-20T21:34:00Z", "t") == datetime(2019, 12, 20, 21, 34, tzinfo=UTC)
    assert moment("2019-12-20T21:34+00:00", "t").tzinfo is UTC


@pytest.mark.parametrize(
    "text",
    [
        "2019-12-20T13:34:00",
        "2019-12-20",
        "date:now -4056 seconds",
        "20191220T133400Z",
        "2019-W51-5T13:34:00Z",
        "2019-13-20T13:34:00Z",
        "2019-02-30T13:34:00Z",
        "2019-12-20T24:61:00Z",
        "2019-12-20T13:34:00Z\n",
        "٢٠١٩-12-20T13:34:00Z",
        "0001-01-01T00:00:00+10:00",
        "",
        None,
        1576877640,
        True,
    ],
)
def test_a_time_without_its_moment_is_refused(text: object) -> None:
    with pytest.raises(NotUnderstood):
        moment(text, "sent")


@pytest.mark.parametrize(
    ("text", "hours"),
    [
        ("PT1H", 1),
        ("P1D", 24),
        ("P6DT4H", 148),
        ("P7DT14H", 182),
        ("P1DT6H", 30),
        ("PT30M", 0.5),
        ("P1DT1H30M", 25.5),
        ("PT3600S", 1),
        ("P1W", 168),
    ],
)
def test_durations_mix_days_hours_and_minutes(text: str, hours: float) -> None:
    starts_at, ends_at = span(f"2022-02-04T15:00:00+00:00/{text}", "t")
    assert starts_at == datetime(2022, 2, 4, 15, tzinfo=UTC)
    assert ends_at - starts_at == timedelta(hours=hours)


@pytest.mark.parametrize(
    "text",
    [
        "2022-02-04T15:00:00+00:00",
        "2022-02-04T15:00:00+00:00/",
        "2022-02-04T15:00:00+00:00/P",
        "2022-02-04T15:00:00+00:00/PT",
        "2022-02-04T15:00:00+00:00/P1DT",
        "2022-02-04T15:00:00+00:00/PT0H",
        "2022-02-04T15:00:00+00:00/-PT1H",
        "2022-02-04T15:00:00+00:00/PT1.5H",
        "2022-02-04T15:00:00+00:00/P1M",
        "2022-02-04T15:00:00+00:00/PT1H/PT1H",
        "9999-12-31T15:00:00+00:00/P9D",
        "date:now -25680 seconds / P7DT17H",
        "date:now:hour -8 hours / PT3H",
        None,
        3,
    ],
)
def test_an_interval_of_another_form_is_refused(text: object) -> None:
    with pytest.raises(NotUnderstood):
        span(text, "validTime")


@given(st.integers(0, 9), st.integers(0, 23), st.integers(0, 59))
def test_every_mix_adds_up(days: int, hours: int, minutes: int) -> None:
    if days == hours == minutes == 0:
        return
    starts_at, ends_at = span(f"2022-03-13T06:00:00+00:00/P{days}DT{hours}H{minutes}M", "t")
    assert ends_at - starts_at == timedelta(days=days, hours=hours, minutes=minutes)
