"""What is told of a payload: facts, what was left over, and why one was refused. All payloads are invented."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from soakbell.feeds.detect import PayloadKind
from soakbell.reading import READER_FAILED, WIDTH, Understood, as_json, as_text, payload, understand

ZONE_TEXT = b"""000
FZUS52 KTAE 081000
CWFTAE

Coastal Waters Forecast
National Weather Service Tallahassee FL
500 AM EST Tue Dec 8 2026

GMZ730-082200-
Apalachee Bay-
500 AM EST Tue Dec 8 2026

...SMALL CRAFT SHOULD EXERCISE CAUTION...

.TODAY...Northeast winds 10 to 15 knots with gusts to 20 knots. Seas
2 to 3 feet. Protected waters choppy.
.TONIGHT...East winds 5 to 10 knots. Seas 2 feet, or gnarly by dawn.

$$
"""
WARNING_TEXT = b"""000
FZUS52 KTAE 081000
MWWTAE

URGENT - MARINE WEATHER MESSAGE
National Weather Service Tallahassee FL
500 AM EST Tue Dec 8 2026

GMZ730-081800-
/O.NEW.KTAE.SC.Y.0041.261208T1500Z-261209T0000Z/
Apalachee Bay-
500 AM EST Tue Dec 8 2026

...SMALL CRAFT ADVISORY IN EFFECT FROM 10 AM THIS MORNING TO 7 PM EST...

$$

GMZ755-081800-
/O.CAN.KTAE.SC.Y.0040.000000T0000Z-261208T1500Z/
Coastal waters-
500 AM EST Tue Dec 8 2026

...SMALL CRAFT ADVISORY IS CANCELLED...

$$
"""
STATION = b"""#YY  MM DD hh mm WDIR WSPD GST  WVHT   DPD   APD MWD   PRES  ATMP  WTMP  DEWP  VIS PTDY  TIDE
#yr  mo dy hr mn degT m/s  m/s     m   sec   sec degT   hPa  degC  degC  degC  nmi  hPa    ft
2026 12 08 09 30 040  6.0  7.0    MM    MM    MM  MM 1022.9    MM  18.0    MM   MM   MM    MM
2026 12 08 09 20 050  5.0  6.0   0.9     5    MM  MM 1022.9    MM  18.0    MM   MM   MM    MM
"""
LIST_MADE = "2026-12-08T09:30:00Z"


def layer(unit: str, *values: tuple[str, object]) -> dict[str, object]:
    return {"uom": unit, "values": [{"validTime": when, "value": value} for when, value in values]}


def grid_object() -> dict[str, Any]:
    """Three hours from 09:00; the sea of the second is a hole, the wind of the third ends half way."""
    return {
        "geometry": None,
        "properties": {
            "gridId": "TAE",
            "gridX": 58,
            "gridY": 60,
            "updateTime": "2026-12-08T08:40:00+00:00",
            "validTimes": "2026-12-08T09:00:00+00:00/PT3H",
            "windSpeed": layer("wmoUnit:km_h-1", ("2026-12-08T09:00:00+00:00/PT2H30M", 18.52)),
            "windGust": layer("wmoUnit:km_h-1", ("2026-12-08T09:00:00+00:00/PT3H", 27.78)),
            "windDirection": layer("wmoUnit:degree_(angle)", ("2026-12-08T09:00:00+00:00/PT3H", 40)),
            "waveHeight": layer(
                "wmoUnit:m",
                ("2026-12-08T09:00:00+00:00/PT1H", 0.6096),
                ("2026-12-08T10:00:00+00:00/PT1H", None),
                ("2026-12-08T11:00:00+00:00/PT1H", 0.9144),
            ),
            "wavePeriod": layer("nwsUnit:s", ("2026-12-08T09:00:00+00:00/PT3H", 4)),
            "visibility": layer("wmoUnit:furlong", ("2026-12-08T09:00:00+00:00/PT3H", 12)),
            "hazards": {
                "values": [
                    {
                        "validTime": "2026-12-08T11:00:00+00:00/PT1H",
                        "value": [{"phenomenon": "SC", "significance": "Y", "event_number": None}],
                    }
                ]
            },
        },
    }


GRID = json.dumps(grid_object()).encode()


def message(name: str, **more: object) -> dict[str, object]:
    said: dict[str, object] = {
        "id": name,
        "event": "Small Craft Advisory",
        "status": "Actual",
        "messageType": "Alert",
        "severity": "Minor",
        "senderName": "NWS Tallahassee FL",
        "sent": "2026-12-08T06:00:00Z",
        "onset": "2026-12-08T08:00:00Z",
        "ends": "2026-12-08T20:00:00Z",
        "expires": "2026-12-08T12:00:00Z",
        "geocode": {"UGC": ["GMZ730"]},
        "headline": "Small Craft Advisory in effect",
    }
    return {"type": "Feature", "properties": said | more}


def list_of(*messages: Mapping[str, object], **more: object) -> bytes:
    title = "current watches, warnings, and advisories"
    found = {"type": "FeatureCollection", "title": title, "updated": LIST_MADE, "features": list(messages)}
    return json.dumps(found | more).encode()


ALERTS = list_of(
    message("holds"),
    message("later", onset="2026-12-09T08:00:00Z", ends="2026-12-09T20:00:00Z"),
    message("past", onset="2026-12-08T02:00:00Z", ends="2026-12-08T09:00:00Z"),
    message("withdrawn", messageType="Cancel", sent="2026-12-08T07:00:00Z"),
    message("older", geocode={"UGC": ["GMZ755"]}),
    message(
        "newer",
        messageType="Update",
        sent="2026-12-08T07:00:00Z",
        references=[{"identifier": "older"}],
        geocode={"UGC": ["GMZ755"]},
    ),
    message("drill", status="Exercise"),
)
PAYLOADS = {
    "zone.txt": ZONE_TEXT,
    "warning.txt": WARNING_TEXT,
    "SHRF1.txt": STATION,
    "grid": GRID,
    "alerts": ALERTS,
}


def shown(understood: Understood) -> list[str]:
    """The text's lines, having held them to their form."""
    text = as_text(understood)
    assert text.endswith("\n")
    lines = text.splitlines()
    assert max(map(len, lines)) <= WIDTH
    assert all(line == line.rstrip() and line.isprintable() for line in lines)
    return lines


def told(understood: Understood) -> dict[str, Any]:
    """The JSON read back by a reader that allows neither NaN nor infinities."""

    def refuse(name: str) -> object:
        raise AssertionError(f"{name} is not JSON")

    found: dict[str, Any] = json.loads(as_json(understood), parse_constant=refuse)
    assert list(found) == ["name", "kind", "kind_told", "used", "refused", "not_understood", "facts"]
    return found


def has_line(lines: list[str], *words: str) -> bool:
    return any(all(word in line for word in words) for line in lines)


def test_a_zone_text_tells_ranges_headline_and_expiry_and_what_was_left_over() -> None:
    found = understand(ZONE_TEXT, "zone.txt")
    (segment,) = found.facts["segments"]
    today, tonight = segment["periods"]
    assert (segment["zones"], segment["expires_at"]) == (["GMZ730"], "2026-12-08T22:00:00Z")
    assert segment["headlines"] == [
        {"text": "...SMALL CRAFT SHOULD EXERCISE CAUTION...", "meaning": "caution"},
    ]
    (area,) = today["areas"]
    assert area["wind_kt"] == {"low": 10.0, "high": 15.0}
    assert area["gust_kt"] == 20.0
    assert area["sea_ft"] == {"low": 2.0, "high": 3.0}
    assert area["sea_m"] == {"low": 0.61, "high": 0.914}  # 0.3048 m a foot
    assert (today["not_understood"], today["chop"]) == ([], "choppy")
    assert tonight["not_understood"]
    assert all(phrase.startswith("GMZ730 TONIGHT: ") for phrase in found.not_understood)
    assert any("gnarly" in phrase for phrase in found.not_understood)

    lines = shown(found)
    assert has_line(lines, "TODAY", "NE 10-15", "20", "2-3 (0.6-0.9)")
    assert has_line(lines, "CAUTION: ...SMALL CRAFT SHOULD EXERCISE CAUTION...")
    assert has_line(lines, "! NOT UNDERSTOOD, no call:", "gnarly")
    assert has_line(lines, "Expires Tue 2026-12-08 22:00 UTC")


def test_what_a_zone_text_says_to_every_zone_is_told_before_the_zones() -> None:
    gale = ZONE_TEXT.replace(b"GMZ730-0822", b"...GALE WARNING IN EFFECT TODAY...\n\nGMZ730-0822")
    lost = gale.replace(b"$$", b"$$\n\nGMZ755-\nWaters from here to there-\n")
    found = understand(lost, "zone.txt")
    assert [headline["meaning"] for headline in found.facts["headlines"]] == ["warning"]
    assert found.facts["not_understood"] != []
    assert any(phrase.startswith("whole text: ") for phrase in found.not_understood)
    lines = shown(found)
    assert lines.index("For every zone:") < lines.index("GMZ730")
    assert has_line(lines, "WARNING: ...GALE WARNING IN EFFECT TODAY...")
    assert has_line(lines, "! NOT UNDERSTOOD, no call for any zone: ")


def test_the_grid_is_told_hour_by_hour_with_its_holes() -> None:
    found = understand(GRID)
    first, second, third = found.facts["hours"]
    assert first["wind_kt"] == 10.0  # 18.52 km/h at 1.852 km a nautical mile
    assert (first["sea_ft"], first["sea_m"]) == (2.0, 0.61)
    assert (second["sea_ft"], second["sea_m"]) == (None, None)
    assert third["in_part"] == ["wind_kt"]
    assert found.facts["hours_known"]["sea_m"] == 2
    assert set(found.facts["no_opinion"]) == {"thunder_pct", "visibility_nm"}
    assert found.facts["hazards"][0]["name"] == "Small Craft Advisory"
    assert any("furlong" in phrase for phrase in found.not_understood)

    lines = shown(found)
    assert [line.split() for line in lines if line.startswith("  1") or line.startswith("  09:")] == [
        ["09:00", "10", "15", "NE", "040", "2", "0.6", "4", "-", "-"],
        ["10:00", "10", "15", "NE", "040", "-", "-", "4", "-", "-"],
        ["11:00", "10?", "15", "NE", "040", "3", "0.9", "4", "-", "-"],
    ]
    assert has_line(lines, "Hazard: Small Craft Advisory")
    assert told(found)["facts"]["hours"][1]["sea_m"] is None


def test_a_wave_layer_of_nothing_but_noughts_is_no_sea_forecast() -> None:
    """F6."""
    flat = grid_object()
    flat["properties"]["waveHeight"] = layer("wmoUnit:m", ("2026-12-08T09:00:00+00:00/PT3H", 0))
    found = understand(json.dumps(flat).encode())
    assert all(hour["sea_m"] is None for hour in found.facts["hours"])
    assert has_line(shown(found), "Not given: seas (")


@pytest.mark.parametrize(
    ("name", "state"),
    [
        ("holds", "in force"),
        ("later", "to come"),
        ("past", "over"),
        ("withdrawn", "cancelled"),
        ("older", "replaced"),
        ("newer", "in force"),
        ("drill", "not used"),
    ],
)
def test_the_state_of_a_warning_is_reckoned_when_the_list_was_made(name: str, state: str) -> None:
    found = understand(ALERTS)
    states = {warning["id"]: warning["state"] for warning in found.facts["warnings"]}
    assert states[name] == state


def test_warnings_are_told_in_the_order_of_their_urgency() -> None:
    found = understand(
        list_of(message("x", geocode={"UGC": ["FLC129"]}), message("y"), message("z", status="Test"))
    )
    assert [warning["id"] for warning in found.facts["warnings"]] == ["y", "x", "z"]
    lines = shown(found)
    assert has_line(lines, "Small Craft Advisory: IN FORCE, from NWS Tallahassee FL")
    assert has_line(lines, "times   Tue 2026-12-08 08:00 to Tue 2026-12-08 20:00; Alert sent Tue 2026-12-08 06:00")


def test_a_warning_that_names_no_zone_is_told_as_in_force_for_any() -> None:
    found = understand(list_of(message("everywhere", geocode=None)))
    assert found.facts["warnings"][0]["state"] == "in force"
    assert has_line(shown(found), "none named, so any zone")


def test_an_update_that_keeps_some_zones_tells_which_are_no_more() -> None:
    wide = message("wide", geocode={"UGC": ["GMZ730", "GMZ755"]})
    narrow = message(
        "narrow", messageType="Cancel", sent="2026-12-08T07:00:00Z", references=[{"identifier": "wide"}]
    )
    (found, *_) = understand(list_of(wide, narrow)).facts["warnings"]
    assert (found["id"], found["state"], found["zones_released"]) == ("wide", "in force", ["GMZ730"])


def test_a_warning_without_an_end_is_never_given_one() -> None:
    open_ended = message("open", parameters={"VTEC": ["/O.NEW.KTAE.SC.Y.0041.261208T0800Z-000000T0000Z/"]})
    found = understand(list_of(open_ended))
    assert found.facts["warnings"][0]["ends_at"] is None
    assert has_line(shown(found), "no end stated")


def test_a_list_without_its_time_can_not_tell_what_is_over() -> None:
    found = understand(list_of(message("past", ends="2026-12-08T09:00:00Z"), updated=None))
    assert found.facts["warnings"][0]["state"] == "not known"


def test_a_list_that_goes_on_is_told_as_a_part() -> None:
    """F7."""
    found = understand(list_of(message("x"), pagination={"next": "https://weather.invalid/next"}))
    assert found.facts["whole"] is False
    assert has_line(shown(found), "ONLY A PART of the list")


def test_a_broken_vtec_string_is_listed_as_not_understood() -> None:
    found = understand(list_of(message("x", parameters={"VTEC": ["/O.NEW.KTAE.SC.Y/"]})))
    assert any("/O.NEW.KTAE.SC.Y/" in phrase for phrase in found.not_understood)
    assert has_line(shown(found), "! lost", "/O.NEW.KTAE.SC.Y/")


def test_a_warning_text_tells_each_segment_by_itself() -> None:
    found = understand(WARNING_TEXT)
    coming, ended = found.facts["segments"]
    assert (coming["zones"], coming["state"]) == (["GMZ730"], "to come")
    assert (ended["zones"], ended["state"]) == (["GMZ755"], "cancelled")
    assert (coming["vtec"][0]["action"], ended["vtec"][0]["action"]) == ("NEW", "CAN")
    lines = shown(found)
    assert has_line(lines, "TO COME; this text expires Tue 2026-12-08 18:00 UTC")
    assert has_line(lines, "CAN (cancelled), already begun to Tue 2026-12-08 15:00")


def test_a_station_tells_each_quantity_with_its_own_time() -> None:
    """F10: the newest row often lacks the waves."""
    found = understand(STATION, "kept/SHRF1.txt")
    measured = found.facts["measured"]
    assert (found.facts["station"], found.facts["rows"]) == ("SHRF1", 2)
    assert measured["wind_kt"] == {"newest": 11.663, "newest_at": "2026-12-08T09:30:00Z", "holes": 0}
    assert measured["sea_m"] == {"newest": 0.9, "newest_at": "2026-12-08T09:20:00Z", "holes": 1}
    assert measured["visibility_nm"] == {"newest": None, "newest_at": None, "holes": 2}
    lines = shown(found)
    assert has_line(lines, "sea", "3 ft (0.9 m)", "09:20 UTC", "1 of 2")
    assert has_line(lines, "visibility", "never", "2 of 2")


def test_a_list_of_products_tells_the_newest() -> None:
    entries = [
        {"id": "b", "issuanceTime": "2026-12-08T10:00:00+00:00", "issuingOffice": "KTAE", "productCode": "CWF"},
        {"id": "a", "issuanceTime": "2026-12-08T04:00:00+00:00", "issuingOffice": "KTAE", "productCode": "CWF"},
    ]
    found = understand(json.dumps({"@graph": entries}).encode())
    assert (found.facts["count"], found.facts["last_at"]) == (2, "2026-12-08T10:00:00Z")
    assert has_line(shown(found), "Tue 2026-12-08 10:00 UTC  CWF KTAE  b")


def test_a_zone_tells_what_it_resolves_to() -> None:
    said = {"@type": "wx:Zone", "id": "GMZ730", "type": "coastal", "name": "Apalachee Bay", "cwa": ["TAE"]}
    found = understand(json.dumps({"properties": said | {"timeZone": ["America/New_York"]}}).encode())
    assert (found.kind, found.facts["zone"]) == (PayloadKind.ZONE, "GMZ730")
    assert has_line(shown(found), "time zones", "America/New_York")


def test_another_text_product_is_named_and_carries_no_call() -> None:
    found = understand(b"000\nFXUS62 KTAE 081000\nAFDTAE\n\nArea Forecast Discussion\n")
    assert (found.kind, found.used, found.refused) == (PayloadKind.OTHER_TEXT, False, None)
    assert has_line(shown(found), "Not used: no call rests on it.")


@pytest.mark.parametrize(
    ("body", "kind", "reason"),
    [
        (b"", PayloadKind.UNKNOWN, "an empty reply"),
        (b"good morning", PayloadKind.UNKNOWN, "none of the forms"),
        (b"[1, 2]", PayloadKind.UNKNOWN, "a list of 2"),
        (GRID[:-20], PayloadKind.UNKNOWN, "no good JSON"),
        (GRID.replace(b"18.52", b"NaN"), PayloadKind.UNKNOWN, "NaN"),
        (b"<html><body>502</body></html>", PayloadKind.HTML, "a page of HTML or XML"),
        (b'{"title": "Grid Expired", "status": 503, "detail": "No"}', PayloadKind.PROBLEM, "Grid Expired (503)"),
        (GRID.replace(b"2026-12-08T08:40:00+00:00", b"date:now -40 minutes"), PayloadKind.GRID, "date:now -40"),
        (ALERTS.replace(b"2026-12-08T06:00:00Z", b"date:now -9 seconds"), PayloadKind.ALERTS, "date:now -9"),
        (ZONE_TEXT.replace(b"FZUS52 KTAE", b"FZUS52"), PayloadKind.ZONE_TEXT, "a transmission header"),
        (STATION.replace(b"MM 1022.9", b"1022.9", 1), PayloadKind.NDBC_REALTIME, "line 3"),
    ],
)
def test_what_can_not_be_read_is_refused_with_its_reason(body: bytes, kind: PayloadKind, reason: str) -> None:
    found = understand(body, "reply")
    assert found.kind is kind
    assert found.refused is not None
    assert reason in found.refused
    assert (found.facts, found.used) == ({}, False)
    assert has_line(shown(found), "REFUSED: ")
    assert told(found)["refused"] == found.refused


def test_a_failing_reader_is_told_and_not_raised(monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_: object) -> dict[str, Any]:
        raise ZeroDivisionError("invented")

    monkeypatch.setattr(payload, "READERS", {PayloadKind.GRID: fail})
    assert understand(GRID).refused == f"{READER_FAILED}: ZeroDivisionError: invented"


def test_nothing_in_a_payload_steers_the_terminal() -> None:
    found = understand(list_of(message("x", headline="calm \x1b[2J \u202eseas", event="Gale\rWarning")), "a\x1bb")
    text = "\n".join(shown(found))
    assert "calm ?[2J ?seas" in text
    assert text.startswith("a?b: ")


def test_the_same_payload_is_always_told_in_the_same_words() -> None:
    for name, body in PAYLOADS.items():
        assert as_json(understand(body, name)) == as_json(understand(body, name))
        assert as_text(understand(body, name)) == as_text(understand(body, name))


def test_every_kind_has_a_reader() -> None:
    assert set(payload.READERS) == set(PayloadKind)


def hold_to_the_promise(body: bytes, name: str = "") -> None:
    found = understand(body, name)
    assert not (found.refused or "").startswith(READER_FAILED), found.refused
    told(found)
    shown(found)


@settings(max_examples=100, deadline=None)
@given(
    st.binary(max_size=400), st.sampled_from([b"", b"#", b"{", b"[", b"<", b"000\nFZUS52 KTAE 081000\nCWFTAE\n"])
)
def test_no_bytes_break_it(body: bytes, start: bytes) -> None:
    hold_to_the_promise(start + body)


@settings(max_examples=150, deadline=None)
@given(st.sampled_from(sorted(PAYLOADS)), st.data())
def test_no_damage_to_a_payload_breaks_it(name: str, data: st.DataObject) -> None:
    """Cut off, a stretch lost, or a stretch overwritten."""
    body = PAYLOADS[name]
    start = data.draw(st.integers(0, len(body) - 1))
    lost = data.draw(st.integers(0, 40) | st.just(len(body)))
    written = data.draw(
        st.binary(max_size=4) | st.sampled_from([b"null", b"1e308", b"-1", b'"x"', b"99999", b"\n"])
    )
    hold_to_the_promise(body[:start] + written + body[start + lost :], name)
