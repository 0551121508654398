"""What is read of each source, from raw bytes to conditions. All weather is invented."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta

import pandas as pd
import pytest

from law.world import (
    INNER,
    INNER_GRID,
    NOW,
    OUTER,
    OUTER_GRID,
    STATION,
    STATION_REPORT,
    TEXT,
    WARNINGS,
    WITH_STATION,
    Curve,
    World,
    alerts,
    edited,
    grid,
    labels_for,
    said,
    settings_with,
    station,
    warning,
    world,
    zone_text,
)
from soakbell.feeds.alerts import parse_alerts
from soakbell.morning import make_call, table_hours
from soakbell.planning.call import CallWord
from soakbell.sea.sources import FaultCode, SourceKind
from soakbell.survey import ReplyKey, SourceTold, Survey, survey

HOUR = timedelta(hours=1)
NINE_LOCAL = pd.Timestamp("2026-12-08T14:00Z")
OTHER_ZONE = settings_with(
    ('name = "Outer Bay"\nzone = "GMZ730"', 'name = "Outer Bay"\nzone = "GMZ765"'),
)
OTHER_WARNINGS: ReplyKey = (SourceKind.WARNINGS, "GMZ765")
WITH_STATION_SETTINGS = settings_with(WITH_STATION)
EVERY_SOURCE = [TEXT, INNER_GRID, OUTER_GRID, WARNINGS, STATION_REPORT]


def surveyed(one: World) -> Survey:
    return survey(one.settings, one.on_hand(), table_hours(one.settings, one.now.date()), one.now)


def told(one: World, key: ReplyKey) -> SourceTold:
    (found,) = [t for t in surveyed(one).sources if (t.kind, t.key) == key]
    return found


def fault_of(one: World, key: ReplyKey) -> FaultCode | None:
    fault = told(one, key).fault
    return None if fault is None else fault.code


def known_at_nine(one: World, area: str) -> bool:
    """Whether wind and sea are known there at 09:00 local, and whether warnings are."""
    there = surveyed(one).conditions[area]
    return bool(
        there.known.loc[NINE_LOCAL, ["wind_kt", "sea_m"]].all()
        and there.lacking[NINE_LOCAL] is None
        and there.bars_known
    )


def changed(one: World, key: ReplyKey, change: Callable[[dict[str, object]], object]) -> World:
    return one.with_reply(key, edited(one.replies[key][0], change))


def test_a_whole_morning_is_read_without_a_fault_and_each_hour_takes_the_worst() -> None:
    one = world(wind_kt=7, gust_kt=11, sea_m=0.4, text_wind_kt=10, text_sea_ft=2)
    found = surveyed(one)
    assert [t.fault for t in found.sources] == [None] * 4
    nine = found.conditions["Outer Bay"].worst.loc[NINE_LOCAL]
    assert (nine["wind_kt"], nine["gust_kt"]) == pytest.approx((10, 11), abs=1e-4)
    assert nine["sea_m"] == pytest.approx(2 * 0.3048)
    assert found.conditions["Outer Bay"].source_of.loc[NINE_LOCAL, ["wind_kt", "gust_kt"]].tolist() == [
        "zone text",
        "grid",
    ]


@pytest.mark.parametrize("key", EVERY_SOURCE, ids=str)
def test_a_reply_that_is_gone_is_told_as_missing_and_leaves_nothing_known(key: ReplyKey) -> None:
    one = world(settings=WITH_STATION_SETTINGS)
    area = "Outer Bay" if key == OUTER_GRID else "Inner Bay"
    assert known_at_nine(one, area)
    gone = one.with_reply(key)
    assert fault_of(gone, key) is FaultCode.MISSING
    assert not known_at_nine(gone, area)


def test_what_the_last_fetch_met_is_told_beside_a_missing_source() -> None:
    """F3: the problem's own title stands in the source line."""
    one = world()
    hand = replace(one.with_reply(INNER_GRID).on_hand(), troubles={INNER_GRID: "503 Forecast Grid Expired"})
    found = survey(one.settings, hand, table_hours(one.settings, NOW.date()), NOW)
    (line,) = [t for t in found.sources if t.key == INNER]
    assert line.fault is not None
    assert line.fault.detail == "503 Forecast Grid Expired"


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"<!doctype html><html><body>Service Unavailable</body></html>",
        b'{"title": "Unexpected Problem", "status": 500, "detail": "An unexpected problem has occurred."}',
        b"null",
        b"[]",
        b"{}",
        b'{"error": "busy"}',
        b"\xff\xfe{\x00}\x00",
        b"[" * 5000,
        b'{"a":' * 5000,
        b'{"properties": NaN}',
    ],
    ids=lambda body: body[:20].decode("latin-1") or "nothing",
)
@pytest.mark.parametrize("key", EVERY_SOURCE, ids=str)
def test_a_reply_of_another_kind_is_not_understood_and_never_read_as_calm(key: ReplyKey, body: bytes) -> None:
    one = world(settings=WITH_STATION_SETTINGS).with_reply(key, body)
    assert fault_of(one, key) is FaultCode.NOT_UNDERSTOOD
    assert not known_at_nine(one, "Outer Bay" if key == OUTER_GRID else "Inner Bay")


@pytest.mark.parametrize("key", [TEXT, INNER_GRID, OUTER_GRID, WARNINGS], ids=str)
@pytest.mark.parametrize("share", [0.02, 0.4, 0.7, 0.999])
def test_a_reply_cut_off_anywhere_is_not_understood(key: ReplyKey, share: float) -> None:
    one = world()
    body = one.replies[key][0]
    assert fault_of(one.with_reply(key, body[: int(len(body) * share)]), key) is FaultCode.NOT_UNDERSTOOD


@pytest.mark.parametrize("token", ["NaN", "Infinity", "-Infinity", "1e400", "9" * 400])
def test_a_number_that_json_has_not_makes_the_grid_not_understood(token: str) -> None:
    one = world()
    broken = one.replies[OUTER_GRID][0].replace(b'"value": 12.964', b'"value": ' + token.encode(), 1)
    assert broken != one.replies[OUTER_GRID][0]
    assert fault_of(one.with_reply(OUTER_GRID, broken), OUTER_GRID) is FaultCode.NOT_UNDERSTOOD


@pytest.mark.parametrize("layer", ["windSpeed", "windGust", "waveHeight"])
@pytest.mark.parametrize("emptied", [True, False], ids=["empty", "absent"])
def test_a_layer_that_is_empty_or_absent_leaves_its_quantity_unknown(layer: str, emptied: bool) -> None:
    """F6: a wave layer that is absent or short is no opinion."""

    def change(said: dict[str, object]) -> None:
        properties: dict[str, object] = said["properties"]  # type: ignore[assignment]
        if emptied:
            properties[layer] = {"values": []}
        else:
            del properties[layer]

    one = changed(world(), OUTER_GRID, change)
    there = surveyed(one).conditions["Outer Bay"]
    quantity = {"windSpeed": "wind_kt", "windGust": "gust_kt", "waveHeight": "sea_m"}[layer]
    assert there.lacking[NINE_LOCAL] is not None
    assert (there.lacking[NINE_LOCAL].kind, there.lacking[NINE_LOCAL].quantity) == (SourceKind.GRID, quantity)
    assert not there.known.loc[NINE_LOCAL, quantity]


@pytest.mark.parametrize("gust_kt", [0.1, 3, 0])
def test_a_gust_below_the_wind_leaves_the_hour_unclear(gust_kt: float) -> None:
    windy = world(wind_kt=14, gust_kt=lambda hour: gust_kt if hour < 48 else 20)
    there = surveyed(windy).conditions["Outer Bay"]
    assert f"a gust of {gust_kt:.1f} kt below a wind of 14.0 kt" in there.unclear[NINE_LOCAL]
    assert windy.call().call.word is CallWord.NO_CALL


WIND_WAVES = [
    (label, "Southeast winds 5 to 10 knots. Wind waves 2 feet or less.") for label in labels_for(NOW - HOUR)
]
INNER_SEA = settings_with(('"gust_kt"]  # inner', '"gust_kt", "sea_m"]  # inner'))


@pytest.mark.parametrize(
    ("sea_m", "word"),
    [
        (0.7, CallWord.PULL),
        (0.05, CallWord.NO_CALL),
        (lambda hour: 0 if hour < 48 else 0.7, CallWord.NO_CALL),
    ],
    ids=["more than its part", "less than its part", "not filled at first"],
)
def test_a_total_smaller_than_its_part_never_carries_a_call(sea_m: Curve, word: CallWord) -> None:
    assert world(settings=INNER_SEA, periods=WIND_WAVES, sea_m=sea_m).call().call.word is word


@pytest.mark.parametrize("differs", [{"wind_kt": 14, "gust_kt": 24}, {"sea_m": 1.2}])
def test_what_the_grid_gives_undeclared_tightens_while_it_is_there(differs: dict[str, float]) -> None:
    """And its loss goes unnoticed: only what the settings declare is required."""
    only_wind = settings_with(
        ('"gust_kt"]  # inner', '"thunder_pct"]  # inner'),
        ('"gust_kt", "sea_m"]  # outer', '"thunder_pct"]  # outer'),
    )
    calm = {"settings": only_wind, "more": " Gusts to 12 knots."}
    assert world(**calm).call().call.word is CallWord.PULL  # type: ignore[arg-type]
    rough = world(**calm, **differs)  # type: ignore[arg-type]
    assert rough.call().call.word is CallWord.WAIT

    def lose(said: dict[str, object]) -> None:
        for layer in ("windGust", "waveHeight"):
            del said["properties"][layer]  # type: ignore[attr-defined]

    for key in (INNER_GRID, OUTER_GRID):
        rough = changed(rough, key, lose)
    assert rough.call().call.word is CallWord.PULL


def test_what_the_grid_gives_undeclared_never_carries_a_call() -> None:
    """The text gives wind waves only, and the settings don't say that this cell gives the whole sea."""
    there = surveyed(world(periods=WIND_WAVES, sea_m=0.7)).conditions["Inner Bay"]
    assert there.worst.loc[NINE_LOCAL, "sea_m"] == 0.7
    assert not there.known["sea_m"].any()


def test_a_sea_of_nought_all_week_is_no_forecast_of_the_sea() -> None:
    """F6."""
    there = surveyed(world(sea_m=0)).conditions["Outer Bay"]
    assert not there.known["sea_m"].any()


# ---- Places


def test_a_text_without_our_zone_is_of_the_wrong_place() -> None:
    one = world()
    elsewhere = one.replies[TEXT][0].replace(b"GMZ730-765-", b"GMZ750-765-")
    assert fault_of(one.with_reply(TEXT, elsewhere), TEXT) is FaultCode.WRONG_PLACE


def test_a_grid_reply_of_another_cell_is_of_the_wrong_place() -> None:
    one = world()
    assert fault_of(one.with_reply(INNER_GRID, *one.replies[OUTER_GRID]), INNER_GRID) is FaultCode.WRONG_PLACE


def test_a_cell_that_was_moved_under_its_old_name_is_of_the_wrong_place() -> None:
    """F5: a grid reply whose geometry doesn't hold the point is refused."""

    def move(said: dict[str, object]) -> None:
        (ring,) = said["geometry"]["coordinates"]  # type: ignore[index]
        for point in ring:
            point[1] += 0.1

    assert fault_of(changed(world(), INNER_GRID, move), INNER_GRID) is FaultCode.WRONG_PLACE


def test_a_list_with_a_warning_for_other_waters_is_not_trusted_as_ours() -> None:
    """F7: an empty or foreign list is never "no warnings here"."""
    elsewhere = warning("e1", sent_at=NOW - HOUR, onset_at=NOW, ends_at=NOW + 9 * HOUR, zones=["GMZ850"])
    one = world(warnings=[elsewhere])
    assert fault_of(one, WARNINGS) is FaultCode.WRONG_PLACE
    assert not known_at_nine(one, "Inner Bay")


def test_an_empty_list_headed_with_another_zone_is_no_answer_for_ours() -> None:
    """A3: empty counts only as a reply for the asked zone. Captured lists are titled "... (ORZ004) OR"."""
    other = alerts(NOW).replace(b"(GMZ730)", b"(GMZ765)")
    assert fault_of(world().with_reply(WARNINGS, other), WARNINGS) is FaultCode.WRONG_PLACE
    untitled = alerts(NOW).replace(b" for an invented bay (GMZ730)", b"")
    assert fault_of(world().with_reply(WARNINGS, untitled), WARNINGS) is None


def test_a_warning_counts_for_a_zone_whichever_list_it_stood_in() -> None:
    """F7: the zones' lists disagreed for a while; what either of them has is held."""
    both = warning("b1", sent_at=NOW - HOUR, onset_at=NOW, ends_at=NOW + 9 * HOUR, zones=["GMZ730", "GMZ765"])
    one = world(settings=OTHER_ZONE, warnings=[both]).with_reply(OTHER_WARNINGS, alerts(NOW, zone="GMZ765"))
    bars = surveyed(one).conditions["Outer Bay"].bars
    assert [bar.values["event"] for bar in bars] == ["Small Craft Advisory"]


def test_a_list_that_goes_on_elsewhere_is_not_a_list_of_all_warnings() -> None:
    """F7: ``pagination.next`` is followed to the end; a part is unknown, never "no warnings"."""
    one = world().with_reply(WARNINGS, alerts(NOW, next_url="https://api.weather.gov/alerts?cursor=2"))
    assert fault_of(one, WARNINGS) is FaultCode.NOT_UNDERSTOOD


# ---- Times: only those inside the payload count


@pytest.mark.parametrize("fetched_ago_h", [-30, 0, 0.1, 300])
def test_the_time_of_the_fetch_makes_nothing_fresh_or_stale(fetched_ago_h: float) -> None:
    """F1, F2."""
    fresh = replace(world(), fetched_at=NOW - fetched_ago_h * HOUR)
    assert [t.fault for t in surveyed(fresh).sources] == [None] * 4
    old = world(now=NOW - 13 * HOUR)
    old = replace(old, now=NOW, fetched_at=NOW - fetched_ago_h * HOUR)
    assert {t.fault.code if t.fault else None for t in surveyed(old).sources} == {FaultCode.STALE}


@pytest.mark.parametrize("key", [TEXT, INNER_GRID, WARNINGS], ids=str)
def test_a_reply_dated_in_the_future_carries_nothing(key: ReplyKey) -> None:
    ahead = world(now=NOW + 24 * HOUR).replies[key][0]
    one = world().with_reply(key, ahead)
    assert fault_of(one, key) is FaultCode.FROM_THE_FUTURE
    assert not known_at_nine(one, "Inner Bay")


def test_a_text_may_be_used_until_it_expires_and_no_longer() -> None:
    issued_at = NOW - HOUR
    periods = [(label, said(10, 2)) for label in labels_for(issued_at)]
    one = world().with_reply(TEXT, zone_text(periods, issued_at, good_for_h=3))
    assert told(one, TEXT).fresh_until == issued_at + 3 * HOUR
    assert fault_of(replace(one, now=NOW + 2 * HOUR), TEXT) is FaultCode.STALE


def test_the_source_that_goes_stale_first_bounds_the_leaving() -> None:
    """A1: the age counts at the hour of leaving."""
    found = surveyed(world())
    assert set(found.fresh_until.values()) == {NOW - timedelta(minutes=5) + 6 * HOUR}  # the list of warnings


@pytest.mark.parametrize("damage", [("330 AM", "330 A/"), (".TODAY", "TODAY"), ("$$", "$"), (".", " ")])
def test_a_zone_with_two_forecasts_needs_both_of_them(damage: tuple[str, str]) -> None:
    """The worse one counts; where it can't be read the other one doesn't speak alone."""

    def with_second(forecast: str) -> World:
        return changed(one, TEXT, lambda said: said.update(productText=f"{said['productText']}{forecast}"))

    one = world()
    text = json.loads(one.replies[TEXT][0])["productText"]
    windy = text[text.index("GMZ730-765") :].replace("5 to 10 knots", "20 to 25 knots")
    assert surveyed(with_second(windy)).conditions["Inner Bay"].worst.loc[NINE_LOCAL, "wind_kt"] == 25
    assert not known_at_nine(with_second(windy.replace(*damage)), "Inner Bay")


# ---- Headlines, hazards, cautions


@pytest.mark.parametrize(
    ("headline", "bars"),
    [
        ("SMALL CRAFT ADVISORY IN EFFECT THROUGH THIS EVENING", True),
        ("GALE WATCH IN EFFECT FROM WEDNESDAY EVENING", True),
        ("SMALL CRAFT SHOULD EXERCISE CAUTION", False),
        ("SMALL CRIFT SHOULD EXERCASE CAUTION", True),  # not understood: as a warning
    ],
)
def test_a_warning_headline_bars_for_two_days_and_a_caution_is_told(headline: str, bars: bool) -> None:
    found = surveyed(world(headlines=[headline]))
    there = found.conditions["Inner Bay"]
    assert [bar.code for bar in there.bars] == (["headline"] if bars else [])
    assert any(headline in caution for caution in found.cautions) is not bars
    if bars:
        assert there.bars[0].ends_at == NOW + 48 * HOUR
        assert there.bars[0].values["zone"] == "GMZ730"


def test_an_outlook_sentence_of_the_next_day_is_told_and_one_of_later_days_is_not() -> None:
    labels = labels_for(NOW - HOUR)
    may = " A Small Craft Advisory may be needed."
    periods = [(label, said(10, 2, more=may if i in (1, 6) else "")) for i, label in enumerate(labels)]
    found = surveyed(world(periods=periods))
    assert found.cautions == ("Tonight: A Small Craft Advisory may be needed",)


def test_a_hazard_in_the_grid_bars_its_hours() -> None:
    found = surveyed(world(hazards=[(NOW + 9 * HOUR + timedelta(minutes=30), 10, "SC", "Y")]))
    (bar,) = found.conditions["Outer Bay"].bars
    assert (bar.code, bar.values["event"], bar.values["place"]) == (
        "grid_hazard",
        "Small Craft Advisory",
        "Outer Bay",
    )
    assert (bar.starts_at, bar.ends_at) == (datetime.fromisoformat("2026-12-08T19:00Z"), bar.starts_at + 10 * HOUR)


def test_a_hazard_without_a_known_name_bars_all_the_same() -> None:
    found = surveyed(world(hazards=[(NOW, 3, "ZZ", "W")]))
    assert found.conditions["Outer Bay"].bars[0].values["event"] == "hazard ZZ.W"


def test_only_events_the_settings_call_harmless_are_told_without_barring() -> None:
    shore = settings_with(
        ('contact = "skipper@boat.example"', 'contact = "s@boat.example"\nnot_a_bar = ["Rip Current Statement"]')
    )
    rip = warning(
        "r1", sent_at=NOW - HOUR, onset_at=NOW, ends_at=NOW + 9 * HOUR, event="Rip Current Statement", code="RP.S"
    )
    found = surveyed(world(settings=shore, warnings=[rip], hazards=[(NOW, 3, "RP", "S")]))
    assert found.conditions["Inner Bay"].bars == ()
    assert [h.event for h in found.held] == ["Rip Current Statement"]
    strict = surveyed(world(warnings=[rip], hazards=[(NOW, 3, "RP", "S")]))
    assert sorted(b.code for b in strict.conditions["Inner Bay"].bars) == ["grid_hazard", "warning"]


def test_a_warning_that_vanished_from_the_list_is_held_to_its_end() -> None:
    """F8."""
    earlier = parse_alerts(
        alerts(NOW, warning("v1", sent_at=NOW - HOUR, onset_at=NOW, ends_at=NOW + 9 * HOUR))
    ).warnings
    found = surveyed(replace(world(), seen=earlier))
    assert [bar.code for bar in found.conditions["Inner Bay"].bars] == ["warning"]
    assert found.messages == earlier


def test_a_cancel_dated_hours_ahead_frees_no_hour() -> None:
    first = warning("f1", sent_at=NOW - HOUR, onset_at=NOW, ends_at=NOW + 9 * HOUR)
    cancel = warning(
        "f2",
        sent_at=NOW + 3 * HOUR,
        onset_at=NOW,
        ends_at=NOW + 9 * HOUR,
        action="CAN",
        message_type="Cancel",
        references=["f1"],
    )
    (bar,) = surveyed(world(warnings=[first, cancel])).conditions["Inner Bay"].bars
    assert bar.ends_at == NOW + 9 * HOUR


@pytest.mark.parametrize(("most_min", "old_min", "known"), [(60, 60, True), (60, 61, False), (15, 16, False)])
def test_a_list_of_warnings_must_be_of_the_last_hour_or_what_the_settings_say(
    most_min: int, old_min: int, known: bool
) -> None:
    """A3: by its own time. Six hours hold at the leaving, not for the question itself."""
    settled = settings_with(("[sources]\n", f"[sources]\nwarnings_asked_min = {most_min}\n"))
    one = world(settings=settled).with_reply(WARNINGS, alerts(NOW - timedelta(minutes=old_min)))
    assert known_at_nine(one, "Inner Bay") is known
    assert fault_of(one, WARNINGS) is (None if known else FaultCode.STALE)


@pytest.mark.parametrize("key", [TEXT, INNER_GRID, WARNINGS, STATION_REPORT], ids=str)
def test_what_the_last_fetch_met_is_told_beside_a_source_that_is_still_used(key: ReplyKey) -> None:
    one = world(settings=WITH_STATION_SETTINGS)
    hand = replace(one.on_hand(), troubles={key: "last asked 09:25 UTC: timed out"})
    call = make_call(one.settings, hand, one.entries, NOW).call
    assert call.word is CallWord.PULL
    details = {(line.kind, line.key): (line.fault, line.detail) for line in call.sources}
    assert details.pop(key) == (None, "last asked 09:25 UTC: timed out")
    assert set(details.values()) == {(None, "")}


def test_a_warning_holds_even_where_its_list_is_stale() -> None:
    """A3: an old list can't say that nothing is in force, but what it has still stands."""
    long = warning("l1", sent_at=NOW - 9 * HOUR, onset_at=NOW, ends_at=NOW + 9 * HOUR)
    found = surveyed(world().with_reply(WARNINGS, alerts(NOW - 7 * HOUR, long)))
    there = found.conditions["Inner Bay"]
    assert ([bar.code for bar in there.bars], there.bars_known) == (["warning"], False)


# ---- The shore station


def measured(*rows: tuple[float, float | None, float | None, float | None]) -> World:
    """Rows, newest first: minutes ago, wind and gust in m/s, sea in m."""
    body = station([(NOW - timedelta(minutes=ago), *rest) for ago, *rest in rows])
    return world(settings=WITH_STATION_SETTINGS).with_reply(STATION_REPORT, body)


def test_what_is_measured_now_is_held_against_the_six_hours_ahead() -> None:
    """F10: knots from the file's metres a second."""
    there = surveyed(measured((10, 8.0, 12.0, 1.1))).conditions["Inner Bay"]
    six = there.worst.loc["2026-12-08T09:00Z":"2026-12-08T15:00Z"]  # type: ignore[misc]
    assert six["wind_kt"].tolist() == pytest.approx([8.0 * 3600 / 1852] * 7)
    assert six["sea_m"].tolist() == [1.1] * 7
    after = there.worst.loc["2026-12-08T16:00Z"]
    assert (after["wind_kt"], after["sea_m"]) == pytest.approx((10, 0.6096), abs=1e-4)


def test_each_quantity_takes_its_own_newest_row() -> None:
    """F10: wind and wave rows come at different minutes, so the newest row often has MM waves."""
    one = measured((10, 4.0, 6.0, None), (40, 7.0, 9.0, 0.8), (70, 9.0, 11.0, 1.5))
    there = surveyed(one).conditions["Inner Bay"]
    assert there.worst.loc[NINE_LOCAL, "sea_m"] == 0.8
    assert there.worst.loc[NINE_LOCAL, "gust_kt"] == pytest.approx(6.0 * 3600 / 1852)  # over the grid's 11 kt
    assert told(one, STATION_REPORT).issued_at == NOW - timedelta(minutes=40)


def test_a_station_that_gives_no_waves_has_no_opinion_and_nothing_is_known_for_six_hours() -> None:
    one = measured((10, 4.0, 6.0, None), (20, 4.0, 6.0, None))
    assert fault_of(one, STATION_REPORT) is FaultCode.NO_OPINION
    there = surveyed(one).conditions["Inner Bay"]
    lacking = [need is not None for need in there.lacking.loc["2026-12-08T08:00Z":"2026-12-08T16:00Z"]]  # type: ignore[misc]
    assert lacking == [False, *[True] * 7, False]


@pytest.mark.parametrize(
    ("rows", "code"),
    [
        ([(185, 4.0, 6.0, 0.5)], FaultCode.STALE),
        ([(10, 4.0, 6.0, None), (185, 4.0, 6.0, 0.5)], FaultCode.STALE),  # the waves are old, the wind is new
        ([(-60, 4.0, 6.0, 0.5)], FaultCode.FROM_THE_FUTURE),
        ([(-60, 4.0, 6.0, None), (10, 9.0, 11.0, 0.5)], FaultCode.FROM_THE_FUTURE),
    ],
)
def test_each_measured_quantity_must_be_of_now(
    rows: list[tuple[float, float, float, float]], code: FaultCode
) -> None:
    one = measured(*rows)
    assert fault_of(one, STATION_REPORT) is code
    assert not known_at_nine(one, "Inner Bay")


# ---- What is kept with a call


def test_every_source_carries_the_hash_of_its_bytes() -> None:
    """A7."""
    one = world(settings=WITH_STATION_SETTINGS)
    for line in surveyed(one).sources:
        replies = one.on_hand().replies[line.kind, line.key]
        assert line.sha256 == tuple(reply.sha256 for reply in replies)
        assert len(line.sha256[0]) == 64


def test_a_cell_the_service_was_never_told_is_missing_and_bars_all_hours() -> None:
    unresolved = settings_with(('grid = "TAE/76,65"\n', ""))
    one = world(settings=unresolved)
    assert fault_of(one, (SourceKind.GRID, "Outer Bay")) is FaultCode.MISSING
    assert not known_at_nine(one, "Outer Bay")
    hand = replace(one.on_hand(), cells={"Outer Bay": OUTER})
    found = survey(one.settings, hand, table_hours(one.settings, NOW.date()), NOW)
    assert [t.fault for t in found.sources] == [None] * 4


def test_a_grid_is_read_with_numbers_given_as_text_only_where_captured_grids_do_so() -> None:
    def as_text(said: dict[str, object]) -> None:
        said["properties"]["gridX"] = "77"  # type: ignore[index]
        said["properties"]["windSpeed"]["values"][0]["value"] = "12.964"  # type: ignore[index]

    there = surveyed(changed(world(), INNER_GRID, as_text)).conditions["Inner Bay"]
    assert there.unclear[NINE_LOCAL].startswith("grid: windSpeed")


def test_json_that_gives_a_name_twice_is_not_understood() -> None:
    one = world()
    for key in (INNER_GRID, WARNINGS):
        body = one.replies[key][0]
        doubled = body.replace(b'{"type":', b'{"type": "Feature", "type":', 1)
        assert json.loads(doubled) == json.loads(body)
        assert fault_of(one.with_reply(key, doubled), key) is FaultCode.NOT_UNDERSTOOD


def test_an_area_is_laid_on_the_hours_of_the_table_and_no_others() -> None:
    hours = table_hours(world().settings, NOW.date())
    found = surveyed(world())
    assert all(there.worst.index.equals(hours) for there in found.conditions.values())
    assert hours[0] == pd.Timestamp("2026-12-08T05:00Z")
    assert len(hours) == 8 * 24


def test_a_grid_updated_late_last_night_still_speaks_of_this_morning() -> None:
    late = NOW - 11 * HOUR
    body = grid(INNER, late, late.replace(minute=0), wind_kt=9, gust_kt=12, sea_m=0.5)
    one = world().with_reply(INNER_GRID, body)
    assert told(one, INNER_GRID).fresh_until == late + 12 * HOUR
    assert known_at_nine(one, "Inner Bay")


# ---- what the service knows beside the replies


def test_a_text_that_a_newer_one_is_listed_for_is_stale_and_carries_nothing() -> None:
    """F1, A1: the old text may not stand in for one that could not be fetched."""
    one = world()
    hand = replace(one.on_hand(), newer={TEXT: NOW - timedelta(minutes=5)})
    found = survey(one.settings, hand, table_hours(one.settings, NOW.date()), NOW)
    (line,) = [t for t in found.sources if t.kind is SourceKind.ZONE_TEXT]
    assert line.fault is not None
    assert line.fault.code is FaultCode.STALE
    assert line.fault.detail == "a newer text, of 09:25 UTC, is listed but could not be fetched"
    assert not found.conditions["Inner Bay"].known["sea_m"].any()


def test_a_station_that_has_moved_is_refused() -> None:
    """F10."""
    one = world(settings=WITH_STATION_SETTINGS)
    hand = replace(one.on_hand(), moved={STATION: "it lies elsewhere"})
    found = survey(one.settings, hand, table_hours(one.settings, NOW.date()), NOW)
    (line,) = [t for t in found.sources if t.kind is SourceKind.OBSERVATIONS]
    assert line.fault is not None
    assert (line.fault.code, line.fault.detail) == (FaultCode.WRONG_PLACE, "it lies elsewhere")


def test_notices_of_ours_stand_apart_from_what_is_official() -> None:
    one = world(headlines=["SMALL CRAFT EXERCISE CAUTION"])
    hand = replace(one.on_hand(), notices=("The grid cell changed.",))
    found = survey(one.settings, hand, table_hours(one.settings, NOW.date()), NOW)
    assert found.notices == ("The grid cell changed.",)
    (caution,) = found.cautions
    assert "SMALL CRAFT EXERCISE CAUTION" in caution
