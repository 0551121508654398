"""The names of periods as times. 8 December 2026 is a Tuesday; times below are local, as day and hour."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from soakbell.feeds.period_labels import period_spans

NEW_YORK = ZoneInfo("America/New_York")
CHICAGO = ZoneInfo("America/Chicago")
HONOLULU = ZoneInfo("Pacific/Honolulu")


def local(day: int, hour: int, minute: int = 0, *, month: int = 12, year: int = 2026) -> datetime:
    return datetime(year, month, day, hour, minute, tzinfo=NEW_YORK)


def spans(issued: datetime, *labels: str) -> list[str | None]:
    found = period_spans(labels, issued.astimezone(UTC), [NEW_YORK])
    return [
        None
        if span is None
        else f"{span.starts_at.astimezone(NEW_YORK):%d.%H}-{span.ends_at.astimezone(NEW_YORK):%d.%H}"
        for span in found
    ]


def test_a_morning_bulletin_speaks_from_its_hour_of_issue() -> None:
    assert spans(local(8, 4, 50), "TODAY", "TONIGHT", "WEDNESDAY", "WEDNESDAY NIGHT") == [
        "08.04-08.18", "08.18-09.06", "09.06-09.18", "09.18-10.06",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("hour", "label", "span"),
    [
        (9, "REST OF TODAY", "08.09-08.18"),
        (10, "THIS AFTERNOON", "08.10-08.18"),
        (14, "REST OF THIS AFTERNOON", "08.14-08.18"),
        (16, "LATE THIS AFTERNOON", "08.16-08.18"),
        (15, "THROUGH EARLY EVENING", "08.15-08.21"),
        (16, "TONIGHT", "08.18-09.06"),
        (21, "TONIGHT", "08.21-09.06"),
        (22, "REST OF TONIGHT", "08.22-09.06"),
        (23, "OVERNIGHT", "08.23-09.06"),
        (16, "THIS EVENING", "08.18-09.00"),
        (19, "TODAY", None),
    ],
)
def test_the_first_period_starts_now_and_never_in_the_past(hour: int, label: str, span: str | None) -> None:
    assert spans(local(8, hour, 30), label) == [span]


@pytest.mark.parametrize("label", ["OVERNIGHT", "REST OF TONIGHT", "REST OF THE NIGHT", "TONIGHT"])
def test_after_midnight_the_night_is_the_one_that_runs(label: str) -> None:
    assert spans(local(8, 2, 10), label, "TUESDAY", "TUESDAY NIGHT") == [
        "08.02-08.06",
        "08.06-08.18",
        "08.18-09.06",
    ]


def test_tonight_after_a_today_is_the_coming_night_even_long_before_dawn() -> None:
    assert spans(local(8, 2, 10), "TODAY", "TONIGHT") == ["08.02-08.18", "08.18-09.06"]


@pytest.mark.parametrize(
    ("label", "span"),
    [
        ("FRI NIGHT AND SAT", "11.18-12.18"),
        ("FRI THROUGH SUN", "11.06-14.06"),
        ("TONIGHT THROUGH FRI NIGHT", "08.18-12.06"),
        ("WEDNESDAY AND WEDNESDAY NIGHT", "09.06-10.06"),
        ("Wednesday and Wednesday Night", "09.06-10.06"),
        ("SATURDAY THROUGH SUNDAY NIGHT", "12.06-14.06"),
        ("TUES NIGHT", "08.18-09.06"),
        ("THURS AFTERNOON", "10.12-10.18"),
        ("SUNDAY THROUGH SATURDAY", None),
        ("WED AND SUN", None),
    ],
)
def test_joined_names_run_from_the_first_to_the_last(label: str, span: str | None) -> None:
    """ "SUNDAY THROUGH SATURDAY" would run backwards, "WED AND SUN" leaves days out between them."""
    assert spans(local(8, 4, 30), "TODAY", label) == ["08.04-08.18", span]


def test_bare_weekdays_in_the_long_range_run_on_to_the_next_morning() -> None:
    assert spans(local(8, 4), "TODAY", "TONIGHT", "WED", "WED NIGHT", "THU", "FRI", "SAT") == [
        "08.04-08.18", "08.18-09.06", "09.06-09.18", "09.18-10.06", "10.06-11.06", "11.06-12.06", "12.06-13.06",
    ]  # fmt: skip


def test_a_last_bare_weekday_after_its_own_eve_is_a_day_only() -> None:
    assert spans(local(8, 4), "TODAY", "TONIGHT", "WED")[-1] == "09.06-09.18"


def test_the_same_label_twice_stands_for_the_same_time() -> None:
    assert spans(local(8, 4), "FRI", "SAT", "FRI") == ["11.06-12.06", "12.06-13.06", "11.06-12.06"]


def test_a_first_label_that_comes_twice_starts_now_both_times() -> None:
    assert spans(local(8, 10), "THIS AFTERNOON", "THIS AFTERNOON", "TONIGHT") == [
        "08.10-08.18", "08.10-08.18", "08.18-09.06",
    ]  # fmt: skip


def test_a_week_later_todays_weekday_is_next_weeks() -> None:
    labels = ("WED", "THU", "FRI", "SAT", "SUN", "MON", "TUE")
    assert spans(local(8, 4), "TODAY", *labels)[-1] == "15.06-16.06"
    assert spans(local(8, 19), "TONIGHT", "TUESDAY")[-1] == "15.06-15.18"


@pytest.mark.parametrize(
    ("issued", "label", "span"),
    [
        (local(24, 4), "CHRISTMAS DAY", "25.06-25.18"),
        (local(24, 4), "CHRISTMAS NIGHT", "25.18-26.06"),
        (local(30, 4), "NEW YEAR'S DAY", "01.06-01.18"),
        (local(30, 4), "NEW YEARS EVE", "31.06-31.18"),
        (local(24, 4, month=11), "THANKSGIVING DAY", "26.06-26.18"),
        (local(4, 4, month=9), "LABOR DAY", "07.06-07.18"),
        (local(28, 4, month=5), "MEMORIAL DAY", "31.06-31.18"),
        (local(2, 4, month=7), "INDEPENDENCE DAY", "04.06-04.18"),
        (local(15, 4, month=1), "MARTIN LUTHER KING JR DAY", "18.06-18.18"),
        (local(12, 4, month=2), "WASHINGTON'S BIRTHDAY", "15.06-15.18"),
        (local(9, 4, month=10), "COLUMBUS DAY NIGHT", "12.18-13.06"),
        (local(8, 4), "CHRISTMAS DAY", None),
    ],
)
def test_holidays_are_the_days_of_the_federal_calendar(issued: datetime, label: str, span: str | None) -> None:
    """Dates by 5 U.S.C. 6103; the last is further off than any forecast reaches. Years 2026, and 2027 for May."""
    if label == "MEMORIAL DAY":
        issued = issued.replace(year=2027)
    if issued.month in (1, 2):
        issued = issued.replace(year=2027)
    assert spans(issued, "TODAY", label)[1] == span


@pytest.mark.parametrize(
    "label",
    ["TODXY", "? SMALL CRAFT", "FRIDAY NIGHT MOON", "", "AND", "NIGHT AND", "THE OUTLOOK", "NIGHT", "LATE NIGHT"],
)
def test_a_name_that_is_no_time_has_none(label: str) -> None:
    """A bare "NIGHT" may be a night whose day was lost."""
    assert spans(local(8, 4), "TODAY", label)[1] is None


def test_two_clocks_give_a_period_both_readings_of_its_name() -> None:
    """18 to 06 by Eastern and by Central time together: 23 to 12 UTC."""
    (_, night) = period_spans(["TODAY", "TONIGHT"], local(8, 4, 30).astimezone(UTC), [NEW_YORK, CHICAGO])
    assert night is not None
    assert night.starts_at == datetime(2026, 12, 8, 23, tzinfo=UTC)
    assert night.ends_at == datetime(2026, 12, 9, 12, tzinfo=UTC)


def test_the_night_of_the_autumn_change_is_thirteen_hours_long() -> None:
    """1 November 2026, F9."""
    issued = local(31, 4, month=10)
    (_, night) = period_spans(["TODAY", "TONIGHT"], issued.astimezone(UTC), [NEW_YORK])
    assert night is not None
    assert night.ends_at - night.starts_at == timedelta(hours=13)


def test_the_date_is_that_of_the_place_and_not_of_greenwich() -> None:
    """22:00 on Tuesday in Honolulu is Wednesday in Greenwich."""
    issued = datetime(2026, 12, 9, 8, 0, tzinfo=UTC)
    (night, day) = period_spans(["TONIGHT", "WEDNESDAY"], issued, [HONOLULU])
    assert night is not None
    assert day is not None
    assert night.starts_at == issued
    assert day.starts_at == datetime(2026, 12, 9, 16, tzinfo=UTC)
