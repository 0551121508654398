"""Lists of official warnings, from bytes to messages."""

from __future__ import annotations

import copy
import json
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from captured_times import CAPTURED_AT, with_real_times
from soakbell.errors import NotUnderstood
from soakbell.feeds.alerts import parse_alerts
from soakbell.sea.warnings import HAZARD_NAMES, hazard_name, in_force

MESSAGE: dict[str, object] = {  # invented message in the public format
    "@id": "https://api.weather.gov/alerts/urn:oid:2.49.0.1.840.0.aa.001.1",
    "id": "urn:oid:2.49.0.1.840.0.aa.001.1",
    "areaDesc": "Apalachee Bay",
    "geocode": {"UGC": ["GMZ730"], "SAME": ["077730"]},
    "affectedZones": ["https://api.weather.gov/zones/forecast/GMZ730"],
    "references": [],
    "sent": "2026-12-08T04:00:00-05:00",
    "effective": "2026-12-08T04:00:00-05:00",
    "onset": "2026-12-08T10:00:00-05:00",
    "expires": "2026-12-08T12:00:00-05:00",
    "ends": "2026-12-09T07:00:00-05:00",
    "status": "Actual",
    "messageType": "Alert",
    "severity": "Minor",
    "urgency": "Expected",
    "event": "Small Craft Advisory",
    "senderName": "NWS Tallahassee FL",
    "headline": "Small Craft Advisory until Wednesday 7 AM",
    "description": "* WHAT...Northwest winds 20 to 25 knots.\n\n* WHERE...Apalachee Bay.",
    "instruction": "Small boats should stay in port.",
    "parameters": {"VTEC": ["/O.NEW.KTAE.SC.Y.0041.261208T1500Z-261209T1200Z/"]},
}


def feature(**changes: object) -> dict[str, object]:
    said = copy.deepcopy(MESSAGE)
    for key, value in changes.items():
        said["@id" if key == "at_id" else key] = value
    return {"type": "Feature", "geometry": None, "properties": said}


def listing(*features: object, **changes: object) -> bytes:
    reply: dict[str, object] = {
        "type": "FeatureCollection",
        "features": list(features),
        "title": "Current watches, warnings, and advisories for Apalachee Bay (GMZ730)",
        "updated": "2026-12-08T09:05:00+00:00",
    }
    return json.dumps(reply | changes).encode()


# captured lists


@pytest.fixture(scope="module")
def alerts(shared: Path) -> Path:
    return shared / "data/weather/alerts"


@pytest.mark.shared
def test_the_captured_flood_watch_is_read_as_read_by_eye(alerts: Path) -> None:
    reply = parse_alerts((alerts / "pynws_alerts_active_zone.json").read_bytes())
    assert reply.updated_at == datetime(2019, 12, 20, 21, 35, 17, tzinfo=UTC)
    assert (reply.next_url, reply.faults) == (None, ())
    (watch,) = reply.warnings
    assert watch.id == "NWS-IDP-PROD-3965873-3369046"
    assert watch.event == "Flood Watch"
    assert watch.zones[:3] == ("ORZ001", "ORZ006", "WAZ039")
    assert len(watch.zones) == 11
    assert (watch.status, watch.message_type, watch.severity) == ("Actual", "Update", "Severe")
    assert watch.sender == "NWS Portland OR"
    assert watch.sent_at == datetime(2019, 12, 20, 21, 34, tzinfo=UTC)
    assert watch.expires_at == datetime(2019, 12, 21, 13, 30, tzinfo=UTC)
    assert watch.ends_at == datetime(2019, 12, 22, 18, 0, tzinfo=UTC)
    assert watch.references == (
        "NWS-IDP-PROD-3964821-3368352",
        "NWS-IDP-PROD-3965324-3368680",
        "NWS-IDP-PROD-3965155-3368578",
        "NWS-IDP-PROD-3963421-3367361",
    )
    (vtec,) = watch.vtec
    assert (vtec.action, vtec.event) == ("CON", ("KPQR", "FA", "A", 4))
    assert "* Through Sunday morning" in watch.text
    assert watch.text.startswith(watch.headline)
    assert watch.text.endswith("from rapidly moving landslides.")


@pytest.mark.shared
def test_the_captured_watch_is_in_force_past_its_message(alerts: Path) -> None:
    """F8: ``ends`` is ahead, ``expires`` is past."""
    reply = parse_alerts((alerts / "pynws_alerts_active_zone.json").read_bytes())
    late = datetime(2019, 12, 22, 6, tzinfo=UTC)
    (held,) = in_force(reply.warnings, {"ORZ004", "GMZ730"}, late, late)
    assert (held.zones, held.ends_at) == (("ORZ004",), datetime(2019, 12, 22, 18, tzinfo=UTC))
    assert in_force(reply.warnings, {"GMZ730"}, late, late) == ()


@pytest.mark.shared
@pytest.mark.parametrize(
    ("file", "updated_at"),
    [
        ("alerts_empty_linecast.json", datetime(2026, 2, 28, 14, tzinfo=UTC)),
        ("alerts_empty_area_AZ_full_context.json", datetime(2024, 1, 8, 19, 49, 8, tzinfo=UTC)),
    ],
)
def test_a_captured_empty_list_is_read_as_empty(alerts: Path, file: str, updated_at: datetime) -> None:
    """A3: only a well-formed reply counts as none."""
    reply = parse_alerts((alerts / file).read_bytes())
    assert (reply.warnings, reply.updated_at) == ((), updated_at)


TOKENED = (
    "alerts_active_air-quality-alerts.json",
    "alerts_active_guam-7day.json",
    "alerts_active_load-testing-ioc.json",
)


@pytest.mark.shared
@pytest.mark.parametrize("file", TOKENED)
def test_times_given_as_tokens_are_refused(alerts: Path, file: str) -> None:
    with pytest.raises(NotUnderstood, match="date:"):
        parse_alerts((alerts / file).read_bytes())


@pytest.mark.shared
@pytest.mark.parametrize(("file", "count"), list(zip(TOKENED, (396, 246, 8), strict=True)))
def test_every_captured_message_is_read_and_none_is_dropped(alerts: Path, file: str, count: int) -> None:
    reply = parse_alerts(with_real_times((alerts / file).read_bytes()))
    assert len(reply.warnings) == count
    assert reply.faults == ()


@pytest.mark.shared
def test_captured_advisories_of_the_least_severity_are_in_force(alerts: Path) -> None:
    """F8, W9: a Small Craft Advisory is Minor and counts all the same."""
    reply = parse_alerts(with_real_times((alerts / "alerts_active_guam-7day.json").read_bytes()))
    advisories = [w for w in reply.warnings if w.event == "Small Craft Advisory"]
    assert len(advisories) == 76
    assert {w.severity for w in advisories} == {"Minor"}
    for advisory in advisories:
        held = in_force(reply.warnings, advisory.zones, CAPTURED_AT, CAPTURED_AT + timedelta(days=9))
        assert advisory in [h.message for h in held]


@pytest.mark.shared
def test_captured_names_agree_with_the_table_of_codes(alerts: Path) -> None:
    """W9."""
    seen = 0
    for file in TOKENED[:2]:
        for warning in parse_alerts(with_real_times((alerts / file).read_bytes())).warnings:
            for vtec in warning.vtec:
                if (vtec.phenomenon, vtec.significance) in HAZARD_NAMES:
                    assert hazard_name(vtec.phenomenon, vtec.significance) == warning.event
                    seen += 1
    assert seen > 250


@pytest.mark.shared
def test_a_captured_cancel_of_type_alert_holds_nothing(alerts: Path) -> None:
    """Cancels come as type Alert without references, with ``ends`` ahead; only VTEC and urgency tell."""
    reply = parse_alerts(with_real_times((alerts / "alerts_active_air-quality-alerts.json").read_bytes()))
    cancels = [w for w in reply.warnings if [v.action for v in w.vtec] == ["CAN"]]
    assert [w.headline for w in cancels] == [
        "The Heat Advisory has been cancelled.",
        "The Extreme Heat Warning has been cancelled.",
    ]
    for cancel in cancels:
        assert cancel.ends_at is not None
        assert cancel.ends_at > CAPTURED_AT + timedelta(hours=24)
        assert in_force([cancel], cancel.zones, CAPTURED_AT, CAPTURED_AT + timedelta(days=2)) == ()


@pytest.mark.shared
def test_a_captured_event_whose_message_expires_before_it_begins_is_held(alerts: Path) -> None:
    """F8: two captured flood warnings have no ``ends`` and expire before their onset."""
    reply = parse_alerts(with_real_times((alerts / "alerts_active_air-quality-alerts.json").read_bytes()))
    early = [
        w
        for w in reply.warnings
        if w.ends_at is None and w.onset_at and w.expires_at and w.expires_at <= w.onset_at
    ]
    assert len(early) == 2
    for warning in early:
        assert warning.onset_at is not None
        (held,) = in_force([warning], warning.zones, warning.onset_at, warning.onset_at)
        assert held.ends_at is None


# one message


def test_a_message_is_read_with_all_its_words() -> None:
    (warning,) = parse_alerts(listing(feature())).warnings
    assert warning.zones == ("GMZ730",)
    assert warning.sent_at == datetime(2026, 12, 8, 9, tzinfo=UTC)
    assert warning.onset_at == datetime(2026, 12, 8, 15, tzinfo=UTC)
    assert warning.ends_at == datetime(2026, 12, 9, 12, tzinfo=UTC)
    assert warning.text == "\n\n".join(str(MESSAGE[k]) for k in ("headline", "description", "instruction"))
    assert warning.url == MESSAGE["@id"]
    assert warning.sender == "NWS Tallahassee FL"


def test_what_may_be_missing_stays_missing() -> None:
    (warning,) = parse_alerts(
        listing(
            feature(
                onset=None,
                ends=None,
                expires=None,
                effective=None,
                instruction=None,
                headline=None,
                parameters=None,
            )
        )
    ).warnings
    assert (warning.onset_at, warning.ends_at, warning.expires_at, warning.effective_at) == (
        None,
        None,
        None,
        None,
    )
    assert (warning.vtec, warning.headline, warning.text) == ((), "", MESSAGE["description"])


def test_expired_references_count_as_references() -> None:
    """F8."""
    parameters = {
        "expiredReferences": [
            "w-nws.webmaster@noaa.gov,urn:oid:1.2.aa,2026-12-07T03:08:00-05:00 "
            "w-nws.webmaster@noaa.gov,urn:oid:1.2.bb,2026-12-07T09:44:00-05:00"
        ]
    }
    references = [
        {"@id": "https://x/urn:oid:1.2.cc", "identifier": "urn:oid:1.2.cc", "sent": "2026-12-07T09:44:00-05:00"}
    ]
    (warning,) = parse_alerts(listing(feature(parameters=parameters, references=references))).warnings
    assert warning.references == ("urn:oid:1.2.cc", "urn:oid:1.2.aa", "urn:oid:1.2.bb")


def test_a_vtec_that_cannot_be_read_is_told_and_its_message_kept() -> None:
    reply = parse_alerts(listing(feature(parameters={"VTEC": ["/O.NEW.KTAE.SC.Y.00/"]})))
    (warning,) = reply.warnings
    assert warning.vtec == ()
    assert len(warning.not_understood) == 1
    assert "urn:oid" in reply.faults[0]


@pytest.mark.parametrize("action", ["CAN", "EXP"])
def test_an_end_told_by_vtec_alone_is_not_believed(action: str) -> None:
    vtec = {"VTEC": [f"/O.{action}.KTAE.SC.Y.0041.261208T1500Z-261209T1200Z/"]}
    (doubted,) = parse_alerts(listing(feature(parameters=vtec))).warnings
    assert doubted.vtec == ()
    assert "isn't about something past" in doubted.not_understood[0]
    (past,) = parse_alerts(listing(feature(parameters=vtec, urgency="Past"))).warnings
    (cancel,) = parse_alerts(listing(feature(parameters=vtec, messageType="Cancel"))).warnings
    assert past.vtec[0].action == cancel.vtec[0].action == action


def test_zones_are_taken_from_both_lists_and_a_difference_is_told() -> None:
    (both,) = parse_alerts(
        listing(feature(affectedZones=["https://api.weather.gov/zones/forecast/GMZ755"]))
    ).warnings
    assert both.zones == ("GMZ730", "GMZ755")
    assert both.not_understood == ("its two lists of zones differ",)
    (one,) = parse_alerts(listing(feature(geocode={"SAME": ["077730"]}))).warnings
    assert (one.zones, one.not_understood) == (("GMZ730",), ())


def test_a_message_without_a_zone_is_kept() -> None:
    """A captured Civil Emergency Message names no zone at all."""
    (warning,) = parse_alerts(listing(feature(geocode={"SAME": ["048325"]}, affectedZones=[]))).warnings
    assert warning.zones == ()
    now = datetime(2026, 12, 8, 16, tzinfo=UTC)
    assert [h.zones for h in in_force([warning], {"GMZ730"}, now, now)] == [("GMZ730",)]


def test_messages_of_other_zones_are_kept_for_the_caller_to_sort_out() -> None:
    other = feature(id="b", geocode={"UGC": ["FLC129"]}, affectedZones=[])
    assert [w.zones for w in parse_alerts(listing(feature(), other)).warnings] == [("GMZ730",), ("FLC129",)]


def test_the_next_page_is_named() -> None:
    """F7: ``pagination.next`` is followed to the end."""
    further = "https://api.weather.gov/alerts/active?cursor=abc"
    assert parse_alerts(listing(feature(), pagination={"next": further})).next_url == further
    assert parse_alerts(listing(feature(), pagination=None)).next_url is None
    assert parse_alerts(listing(feature(), pagination={})).next_url is None


# refusals: a list that can't be read is unknown, never "no warnings"


@pytest.mark.parametrize(
    "change",
    [
        {"id": None},
        {"id": ""},
        {"event": None},
        {"event": "  "},
        {"status": "Real"},
        {"status": None},
        {"messageType": "Chat"},
        {"messageType": None},
        {"sent": None},
        {"sent": "2026-12-08T04:00:00"},
        {"sent": "date:now -235 seconds"},
        {"onset": "soon"},
        {"ends": "2026-12-09"},
        {"expires": 5},
        {"effective": True},
        {"geocode": []},
        {"geocode": {"UGC": "GMZ730"}},
        {"geocode": {"UGC": ["GMZ73"]}},
        {"geocode": {"UGC": [730]}},
        {"affectedZones": [None]},
        {"references": {}},
        {"references": ["urn:oid:1"]},
        {"references": [{"@id": "x"}]},
        {"parameters": []},
        {"parameters": {"VTEC": "/O.NEW.KTAE.SC.Y.0041.261208T1500Z-261209T1200Z/"}},
        {"parameters": {"VTEC": [None]}},
        {"parameters": {"expiredReferences": ["urn:oid:1"]}},
        {"headline": 5},
        {"description": []},
        {"severity": 3},
    ],
)
def test_one_message_that_cannot_be_read_makes_the_list_unknown(change: dict[str, object]) -> None:
    """F7: a malformed reply is unknown, never "no alerts"."""
    with pytest.raises(NotUnderstood, match="warning 2 of 2"):
        parse_alerts(listing(feature(), feature(**change)))


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"{}",
        b"[]",
        b"<html></html>",
        listing()[:-1],
        listing(feature())[:400],
        listing(type="Feature"),
        listing(type=None),
        listing(features=None),
        listing(features={}),
        listing(updated=None),
        listing(updated="yesterday"),
        listing("text"),
        listing(None),
        listing({"type": "Feature"}),
        listing(feature(), pagination=[]),
        listing(feature(), pagination={"next": 5}),
    ],
)
def test_what_is_no_list_of_warnings_is_refused(body: bytes) -> None:
    """F7, A3: a cut or malformed reply is unknown; an empty list without a time can't be aged."""
    with pytest.raises(NotUnderstood):
        parse_alerts(body)


@pytest.mark.shared
def test_a_report_of_a_fault_is_no_empty_list(shared: Path) -> None:
    for file in sorted((shared / "data/weather/errors").iterdir()):
        with pytest.raises(NotUnderstood, match="Unexpected Problem"):
            parse_alerts(file.read_bytes())


GOOD = listing(feature(), feature(id="b", event="Gale Watch"))


@settings(max_examples=200, deadline=None)
@given(st.integers(0, len(GOOD) - 1))
def test_a_list_cut_anywhere_is_unknown(at: int) -> None:
    """F7."""
    with pytest.raises(NotUnderstood):
        parse_alerts(GOOD[:at])


@settings(max_examples=300, deadline=None)
@given(st.integers(0, len(GOOD) - 1), st.integers(0, 255))
def test_one_byte_changed_never_loses_a_message(at: int, byte: int) -> None:
    """F7."""
    try:
        reply = parse_alerts(GOOD[:at] + bytes([byte]) + GOOD[at + 1 :])
    except NotUnderstood:
        return
    assert len(reply.warnings) == 2
