"""The frame of a text bulletin: headers, zone lines, issue times, ends of segments. All texts are invented."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta

import pytest

from soakbell.errors import NotUnderstood
from soakbell.feeds.bulletin import nearest_moment, parse_issue_line, parse_ugc, read_bulletin

TEXT = """000
FZUS52 KTAE 080930
CWFTAE

Coastal Waters Forecast (invented)
National Weather Service Tallahassee FL
430 AM EST Tue Dec 8 2026

GMZ730-765-082115-
Apalachee Bay-
Waters from here to there
out 20 NM-
430 AM EST Tue Dec 8 2026 /330 AM CST Tue Dec 8 2026/

.TODAY...N winds 10 knots. Seas 1 foot.

$$

ABC
"""


def read(text: str | bytes) -> object:
    return read_bulletin(text, products={"CWF"})


def test_a_raw_bulletin_gives_its_headers_zones_and_times() -> None:
    bulletin = read_bulletin(TEXT, products={"CWF"})
    assert (bulletin.product, bulletin.office) == ("CWF", "TAE")
    assert bulletin.issued_at == datetime(2026, 12, 8, 9, 30, tzinfo=UTC)
    (segment,) = bulletin.segments
    assert segment.zones == ("GMZ730", "GMZ765")
    assert segment.expires_at == datetime(2026, 12, 8, 21, 15, tzinfo=UTC)
    assert segment.heading[-1] == "out 20 NM-"
    assert segment.faults == ()
    assert bulletin.strays == ("ABC",)


def test_line_ends_of_the_raw_feed_and_its_control_marks_change_nothing() -> None:
    raw = ("\x01" + TEXT + "\x03").replace("\n", "\r\r\n").encode()
    plain, fed = read_bulletin(TEXT, products={"CWF"}), read_bulletin(raw, products={"CWF"})
    assert fed.segments == plain.segments
    assert fed.issued_at == plain.issued_at


def test_a_zone_file_of_the_file_server_starts_with_its_expiry() -> None:
    bulletin = read_bulletin("Expires:202612082115;;123456\n" + TEXT.removeprefix("000\n"), products={"CWF"})
    assert bulletin.segments[0].zones == ("GMZ730", "GMZ765")


def test_the_json_of_the_api_is_unwrapped_and_its_time_is_compared() -> None:
    wrapper = {"productText": "\n" + TEXT, "issuanceTime": "2026-12-08T09:30:00+00:00", "productCode": "CWF"}
    assert read_bulletin(json.dumps(wrapper), products={"CWF"}).issued_at == datetime(
        2026, 12, 8, 9, 30, tzinfo=UTC
    )
    wrapper["issuanceTime"] = "2026-12-07T09:30:00+00:00"
    with pytest.raises(NotUnderstood, match="issued"):
        read(json.dumps(wrapper))


@pytest.mark.parametrize(
    "body",
    [
        json.dumps({"productText": TEXT}),
        json.dumps({"productText": TEXT, "issuanceTime": "2026-12-08T09:30:00"}),
        json.dumps({"productText": TEXT, "issuanceTime": "0001-01-01T00:00:00+14:00"}),
        json.dumps({"productText": TEXT, "issuanceTime": "9999-12-31T23:59:00-12:00"}),
        json.dumps({"productText": TEXT, "issuanceTime": "2026-W50-2T09:30:00+00:00"}),
        '{"productText": "x", '
        + json.dumps({"productText": TEXT, "issuanceTime": "2026-12-08T09:30:00+00:00"})[1:],
        json.dumps({"productText": None, "issuanceTime": "2026-12-08T09:30:00+00:00"}),
        json.dumps({"productText": TEXT, "issuanceTime": "2026-12-08T09:30:00+00:00"})[:-40],
    ],
)
def test_a_broken_wrapper_is_refused(body: str) -> None:
    with pytest.raises(NotUnderstood):
        read(body)


@pytest.mark.parametrize("day", ["Fri Dec 31 9999", "Mon Jan 1 0001"])
def test_an_issue_line_at_the_end_of_the_calendar_is_refused(day: str) -> None:
    with pytest.raises(NotUnderstood, match="no bulletin was issued in"):
        read(TEXT.replace("Tue Dec 8 2026", day))


def test_times_that_disagree_by_more_than_ninety_minutes_are_refused() -> None:
    read(TEXT.replace("080930", "081100"))
    with pytest.raises(NotUnderstood):
        read(TEXT.replace("080930", "081101"))
    with pytest.raises(NotUnderstood):
        read(TEXT.replace("430 AM EST", "430 PM EST"))


def test_a_segment_issued_at_another_time_than_its_bulletin_has_a_fault() -> None:
    line = "430 AM EST Tue Dec 8 2026 /330 AM CST Tue Dec 8 2026/"
    for other in ("830 AM EST Tue Dec 8 2026", "430 AM CST Tue Dec 8 2026", "430 AM AST Tue Dec 8 2026"):
        (segment,) = read_bulletin(TEXT.replace(line, other), products={"CWF"}).segments
        assert any("another time" in fault for fault in segment.faults), other


@pytest.mark.parametrize("damage", ["\x00", "\x1b", "\x7f", "\ufffd\x08", "\u0663", "\u200b"])
def test_a_character_that_is_no_text_spoils_the_bulletin(damage: str) -> None:
    with pytest.raises(NotUnderstood):
        read(TEXT.replace("N winds", f"N {damage}winds"))


def test_bytes_that_are_no_text_are_refused() -> None:
    with pytest.raises(NotUnderstood):
        read(TEXT.encode().replace(b"N winds", b"N \xffwinds"))


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("FZUS52 KTAE 080930", "FZUS52 KTAE 08O930"),
        ("CWFTAE", "AFDTAE"),
        ("CWFTAE\n", "\n"),
        ("GMZ730-765-", "FLZ027-"),
        ("GMZ730-765-", "GMC730-765-"),
        ("430 AM EST Tue Dec 8 2026\n\nGMZ", "sometime\n\nGMZ"),
        ("GMZ730-765-082115-", "730-765-082115-"),
        ("000\n", "<html>\n"),
    ],
)
def test_a_damaged_frame_or_another_product_is_refused(old: str, new: str) -> None:
    broken = TEXT.replace(old, new)
    if "sometime" in new:
        broken = broken.replace("430 AM EST Tue Dec 8 2026 /330 AM CST Tue Dec 8 2026/", "sometime")
    assert broken != TEXT
    with pytest.raises(NotUnderstood):
        read(broken)


def test_a_segment_without_its_end_has_a_fault() -> None:
    (segment,) = read_bulletin(TEXT.partition("$$")[0], products={"CWF"}).segments
    assert segment.faults == ("the segment isn't closed by $$",)


def test_a_zone_line_before_the_end_of_a_segment_opens_the_next_and_faults_the_first() -> None:
    second = TEXT[TEXT.index("GMZ730") :].replace("GMZ730-765", "GMZ750")
    first, other = read_bulletin(TEXT.replace("$$", "$") + second, products={"CWF"}).segments
    assert first.zones == ("GMZ730", "GMZ765")
    assert first.faults == ("the segment isn't closed by $$",)
    assert other.zones == ("GMZ750",)
    assert other.faults == ()


@pytest.mark.parametrize(
    ("line", "zones"),
    [
        ("GMZ730-750-752-152245-", ("GMZ730", "GMZ750", "GMZ752")),
        ("GMZ130>132-135-252030-", ("GMZ130", "GMZ131", "GMZ132", "GMZ135")),
        ("PKZ022-644-GMZ001>002-003-022015-", ("PKZ022", "PKZ644", "GMZ001", "GMZ002", "GMZ003")),
    ],
)
def test_a_zone_line_carries_its_prefix_and_fills_its_ranges(line: str, zones: tuple[str, ...]) -> None:
    assert parse_ugc(line) == (zones, line[-7:-1])


@pytest.mark.parametrize(
    "line", ["730-152245-", "GMZ730-", "GMZ730-7x0-152245-", "GMZ735>730-152245-", "GMZALL-152245-"]
)
def test_a_zone_line_of_another_form_is_refused(line: str) -> None:
    with pytest.raises(NotUnderstood):
        parse_ugc(line)


def test_a_zone_line_may_wrap() -> None:
    wrapped = TEXT.replace("GMZ730-765-082115-", "GMZ730-750-752-\n755-\n765-082115-")
    (segment,) = read_bulletin(wrapped, products={"CWF"}).segments
    assert segment.zones == ("GMZ730", "GMZ750", "GMZ752", "GMZ755", "GMZ765")


def test_a_time_of_the_month_is_the_nearest_one() -> None:
    near = datetime(2026, 12, 31, 22, 0, tzinfo=UTC)
    assert nearest_moment(1, 10, 15, near) == datetime(2027, 1, 1, 10, 15, tzinfo=UTC)
    assert nearest_moment(31, 21, 0, near) == datetime(2026, 12, 31, 21, 0, tzinfo=UTC)
    assert nearest_moment(28, 23, 0, datetime(2027, 3, 1, 2, tzinfo=UTC)) == datetime(2027, 2, 28, 23, tzinfo=UTC)
    with pytest.raises(NotUnderstood):
        nearest_moment(32, 0, 0, near)


def test_a_segment_that_expires_before_its_issue_has_a_fault() -> None:
    (segment,) = read_bulletin(TEXT.replace("082115", "080815"), products={"CWF"}).segments
    assert any("before it was issued" in fault for fault in segment.faults)


@pytest.mark.parametrize(
    ("line", "utc"),
    [
        ("1045 AM EDT Thu Jun 15 2023 /945 AM CDT Thu Jun 15 2023/", "2023-06-15T14:45+00:00"),
        ("930 AM HST Thu Jun 15 2023", "2023-06-15T19:30+00:00"),
        ("305 AM AKST MON MAR 2 2026", "2026-03-02T12:05+00:00"),
        ("1200 AM AST Tue Dec 8 2026", "2026-12-08T04:00+00:00"),
        ("1259 PM ChST Tue Dec 8 2026", "2026-12-08T02:59+00:00"),
        ("4 PM PST Tue Dec 8 2026", "2026-12-09T00:00+00:00"),
        ("0930 UTC Tue Dec 8 2026", "2026-12-08T09:30+00:00"),
    ],
)
def test_an_issue_line_is_read_by_the_clock_it_names(line: str, utc: str) -> None:
    issue = parse_issue_line(line)
    assert issue is not None
    assert issue.issued_at == datetime.fromisoformat(utc)
    assert len(issue.clocks) == 1 + line.count("/") // 2


@pytest.mark.parametrize(
    "line",
    [
        "430 AM XYZ Tue Dec 8 2026",
        "430 AM EST Wed Dec 8 2026",
        "430 AM EST Tue Dec 32 2026",
        "1630 AM EST Tue Dec 8 2026",
        "430 AM EDT Tue Dec 8 2026",
        "430 AM EST Tue Dec 8 2026 /430 AM CST Tue Dec 8 2026/",
    ],
)
def test_an_issue_line_that_names_no_real_moment_is_refused(line: str) -> None:
    """The fifth names summer time in December: one letter is wrong, and with it a whole hour."""
    with pytest.raises(NotUnderstood):
        parse_issue_line(line)


def test_other_lines_are_no_issue_lines() -> None:
    assert parse_issue_line("Apalachee Bay-") is None
    assert parse_issue_line("430 AM EST Tue Dec 8 2026 or so") is None


def test_the_local_clock_goes_on_through_the_change_of_time() -> None:
    """A bulletin of 31 October speaks of 2 November by the new clock (the change is on 1 November 2026)."""
    issue = parse_issue_line("430 AM EDT Sat Oct 31 2026")
    assert issue is not None
    assert datetime(2026, 11, 2, 6, tzinfo=issue.clocks[0]).utcoffset() == timedelta(hours=-5)
