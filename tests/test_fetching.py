"""What fetching remembers of its sources, from the replies to the letter. INVENTED DATA."""

from __future__ import annotations

import json
import sqlite3
import threading
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from urllib.parse import urlsplit

import pytest

from law.world import (
    INNER,
    MEDIA,
    NEW_YORK,
    NOW,
    OFFICE,
    OUTER,
    STATION,
    WITH_STATION,
    World,
    settings_with,
    warning,
    world,
)
from law.world import grid as grid_body
from law.world import station as station_body
from soakbell import __version__, fetching
from soakbell.call_record import as_record
from soakbell.clock import SetClock
from soakbell.desk import Desk
from soakbell.due_times import zone_data_version
from soakbell.errors import FetchFailed, SettingsError, StoreError
from soakbell.feeds.transport import Ask
from soakbell.planning.call import CallWord
from soakbell.replaying import replay
from soakbell.sea.sources import FaultCode, RawReply, SourceKind
from soakbell.store.engine import Store, open_store
from soakbell.store.log import append_entries
from soakbell.store.schema import CallRow
from soakbell.store.upgrade import migrate

DAY = timedelta(days=1)
TODAY = NOW.astimezone(NEW_YORK).date()
NO_CELLS = (('grid = "TAE/77,71"\n', ""), ('grid = "TAE/76,65"\n', ""))
LATEST = "data/latest_obs/latest_obs.txt"


@dataclass
class PublicSources:
    """Answers from a world's replies. ``answers`` go before them, by the end of the address; None: unreachable."""

    one: World
    clock: SetClock
    answers: dict[str, bytes | None] = field(default_factory=dict)
    asked: list[Ask] = field(default_factory=list)
    listed: list[tuple[str, datetime]] = field(default_factory=lambda: [("aaaaaaaa-1", NOW - timedelta(hours=1))])

    def fetch(self, ask: Ask) -> RawReply:
        self.asked.append(ask)
        body = self._body(ask)
        if body is None:
            raise FetchFailed(f"{ask.key} can't be reached", retry=True)
        media_type = MEDIA.get(ask.kind, "application/geo+json")
        return RawReply(ask.kind, ask.key, ask.url, 200, media_type, body, self.clock.now())

    def _body(self, ask: Ask) -> bytes | None:
        for end, answer in self.answers.items():
            if ask.url.endswith(end):
                return answer
        if ask.kind is SourceKind.POINT:
            return point(OUTER if "29.92" in ask.url else INNER)
        if ask.url.endswith(f"locations/{OFFICE}"):
            entries = [
                {"id": name, "issuanceTime": at.isoformat(), "productCode": "CWF"} for name, at in self.listed
            ]
            return json.dumps({"@graph": entries}).encode()
        pages = self.one.replies.get((ask.kind, ask.key))
        return pages[0] if pages else None

    def times(self, end: str) -> list[bool]:
        """For each time an address with this end was asked: whether it was asked past every cache."""
        return [ask.fresh for ask in self.asked if ask.url.endswith(end)]


def point(cell: str) -> bytes:
    office, xy = cell.split("/")
    x, y = xy.split(",")
    properties = {
        "gridId": office,
        "gridX": int(x),
        "gridY": int(y),
        "forecastGridData": f"https://api.weather.gov/gridpoints/{cell}",
        "type": "marine",
        "forecastZone": "https://api.weather.gov/zones/forecast/GMZ730",
        "timeZone": "America/New_York",
    }
    geometry = {"type": "Point", "coordinates": [-84.15, 30.05]}
    return json.dumps({"type": "Feature", "geometry": geometry, "properties": properties}).encode()


def latest(lat: float, lon: float, station: str = STATION) -> bytes:
    return (
        "#STN LAT LON YYYY MM DD hh mm WDIR WSPD GST WVHT DPD APD MWD PRES PTDY ATMP WTMP DEWP VIS TIDE\n"
        "#text deg deg yr mo day hr mn degT m/s m/s m sec sec degT hPa hPa degC degC degC nmi ft\n"
        f"{station} {lat:.3f} {lon:.3f} 2026 12 08 09 20 140 3.5 5.5 MM MM MM MM 1018.0 MM 18.0 17.0 MM MM MM\n"
    ).encode()


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    opened = open_store(f"sqlite:///{tmp_path / 'soakbell.db'}")
    migrate(opened)
    yield opened
    opened.close()


def desk_of(one: World, store: Store) -> tuple[Desk, PublicSources, SetClock]:
    clock = SetClock(one.now)
    sources = PublicSources(one, clock)
    with store.writing() as session:
        append_entries(session, one.entries)
    return Desk(one.settings, store, clock, sources), sources, clock


def fault_of(desk: Desk, kind: SourceKind) -> tuple[FaultCode | None, str]:
    (line,) = [line for line in desk.decide(TODAY, clock_suspect=False).call.sources if line.kind is kind]
    return line.fault, line.detail


def test_no_source_is_asked_while_the_database_is_held(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    """D4: one that takes minutes to answer would hold up every letter."""
    asked: list[Ask] = []
    fetch = PublicSources.fetch

    def looked(self: PublicSources, ask: Ask) -> RawReply:
        assert store.file is not None
        with closing(sqlite3.connect(store.file, timeout=0)) as other:
            other.execute("BEGIN IMMEDIATE")
        asked.append(ask)
        return fetch(self, ask)

    monkeypatch.setattr(PublicSources, "fetch", looked)
    desk_of(world(settings=settings_with(WITH_STATION, *NO_CELLS)), store)[0].sources.poll()
    assert {ask.kind for ask in asked} >= {
        SourceKind.POINT,
        SourceKind.ZONE_TEXT,
        SourceKind.GRID,
        SourceKind.WARNINGS,
        SourceKind.OBSERVATIONS,
    }


def test_each_zone_office_and_cell_is_asked_for_by_its_own_name_and_no_worded_forecast_is(store: Store) -> None:
    """F6, F7: never ``/forecast``, and a list of warnings for every zone."""
    two_zones = ('name = "Outer Bay"\nzone = "GMZ730"', 'name = "Outer Bay"\nzone = "GMZ765"')
    desk, sources, _ = desk_of(world(settings=settings_with(two_zones, WITH_STATION)), store)
    desk.sources.poll()
    assert sorted(urlsplit(ask.url)._replace(scheme="", netloc="").geturl() for ask in sources.asked) == [
        "/alerts/active?zone=GMZ730",
        "/alerts/active?zone=GMZ765",
        "/data/latest_obs/latest_obs.txt",
        "/data/realtime2/NCKF1.txt",
        "/gridpoints/TAE/76,65",
        "/gridpoints/TAE/77,71",
        "/products/aaaaaaaa-1",
        "/products/types/CWF/locations/TAE",
    ]


# ---- the zone text


def test_a_text_that_is_listed_but_cannot_be_had_makes_the_kept_one_stale(store: Store) -> None:
    """A1, F1: the network fails just when the forecast turns."""
    desk, sources, _ = desk_of(world(), store)
    desk.sources.poll()
    assert desk.decide(TODAY, clock_suspect=False).call.word is CallWord.PULL
    sources.listed.insert(0, ("bbbbbbbb-2", NOW - timedelta(minutes=10)))
    sources.answers["products/bbbbbbbb-2"] = None
    desk.sources.poll()
    assert desk.decide(TODAY, clock_suspect=False).call.word is CallWord.NO_CALL
    assert fault_of(desk, SourceKind.ZONE_TEXT) == (
        FaultCode.STALE,
        "a newer text, of 09:20 UTC, is listed but could not be fetched",
    )
    del sources.answers["products/bbbbbbbb-2"]
    desk.sources.poll()
    assert desk.decide(TODAY, clock_suspect=False).call.word is CallWord.PULL


def test_the_kept_text_stays_while_it_is_the_newest_listed_and_only_the_fetch_fails(store: Store) -> None:
    desk, sources, _ = desk_of(world(), store)
    desk.sources.poll()
    sources.answers["products/aaaaaaaa-1"] = None
    desk.sources.poll()
    assert desk.decide(TODAY, clock_suspect=False).call.word is CallWord.PULL


def test_a_list_that_goes_back_to_an_older_text_does_not_bring_it_back(store: Store) -> None:
    """F1: one cache of many may be behind."""
    desk, sources, clock = desk_of(world(), store)
    desk.sources.poll()
    sources.listed = [("00000000-0", NOW - timedelta(hours=7))]
    desk.sources.poll()
    assert sources.times("products/00000000-0") == []
    note = desk.sources.on_hand(clock.now()).troubles[SourceKind.ZONE_TEXT, OFFICE]
    assert "ends with 2026-12-08 02:30 UTC, though it named a text of 2026-12-08 08:30 UTC before" in note
    assert fault_of(desk, SourceKind.ZONE_TEXT)[0] is None


def test_a_list_once_dated_in_the_future_does_not_hold_back_the_right_one(store: Store) -> None:
    desk, sources, _ = desk_of(world(), store)
    sources.listed.insert(0, ("cccccccc-3", NOW + DAY))
    sources.answers["products/cccccccc-3"] = None
    desk.sources.poll()
    del sources.listed[0]
    desk.sources.poll()
    assert desk.decide(TODAY, clock_suspect=False).call.word is CallWord.PULL


# ---- grid and station


@pytest.mark.parametrize(
    ("minutes_old", "asked"), [(20, [False]), (179, [False]), (181, [False, True])], ids=["new", "nearly", "old"]
)
def test_a_grid_older_than_expected_is_asked_for_again_past_every_cache(
    store: Store, minutes_old: int, asked: list[bool]
) -> None:
    """F1."""
    desk, sources, _ = desk_of(world(), store)
    old = grid_body(
        INNER, NOW - timedelta(minutes=minutes_old), NOW.replace(minute=0), wind_kt=7, gust_kt=9, sea_m=1
    )
    sources.answers["gridpoints/TAE/77,71"] = old
    desk.sources.poll()
    assert sources.times("gridpoints/TAE/77,71") == asked
    assert sources.times("gridpoints/TAE/76,65") == [False]


@pytest.mark.parametrize(("hours_on", "asked"), [(1, [False]), (2, [False, True])], ids=["new", "old"])
def test_observations_older_than_expected_are_asked_for_again_past_every_cache(
    store: Store, hours_on: int, asked: list[bool]
) -> None:
    """F1."""
    desk, sources, clock = desk_of(world(settings=settings_with(WITH_STATION)), store)
    clock.put(NOW + timedelta(hours=hours_on))
    desk.sources.poll()
    assert sources.times(f"realtime2/{STATION}.txt") == asked


def test_a_grid_that_cannot_be_read_is_asked_for_again_past_every_cache(store: Store) -> None:
    desk, sources, _ = desk_of(world(), store)
    sources.answers["gridpoints/TAE/77,71"] = b"{}"
    desk.sources.poll()
    assert sources.times("gridpoints/TAE/77,71") == [False, True]


def inner_grid(issued_at: datetime, wind_kt: float) -> bytes:
    return grid_body(INNER, issued_at, NOW.replace(minute=0), wind_kt=wind_kt, gust_kt=wind_kt + 4, sea_m=0.5)


def test_an_older_copy_of_a_grid_does_not_take_the_place_of_a_newer_one(store: Store) -> None:
    """F1: one cache of many is behind, by less than the greatest age, when the forecast has turned."""
    desk, sources, clock = desk_of(world(), store)
    for hours_old, wind_kt in ((1, 20), (5, 7), (9, 7)):
        sources.answers["gridpoints/TAE/77,71"] = inner_grid(NOW - timedelta(hours=hours_old), wind_kt)
        desk.sources.poll()
        assert desk.decide(TODAY, clock_suspect=False).call.word is CallWord.WAIT
    assert sources.times("gridpoints/TAE/77,71") == [False, False, True, False, True]
    note = desk.sources.on_hand(clock.now()).troubles[SourceKind.GRID, INNER]
    assert "the reply is of 2026-12-08 00:30 UTC, though data of 2026-12-08 08:30 UTC came before" in note
    sources.answers["gridpoints/TAE/77,71"] = inner_grid(NOW, 7)
    desk.sources.poll()
    assert desk.decide(TODAY, clock_suspect=False).call.word is CallWord.PULL
    assert desk.sources.on_hand(clock.now()).troubles == {}


def test_an_older_copy_of_observations_does_not_take_the_place_of_newer_ones(store: Store) -> None:
    """F1."""
    desk, sources, _ = desk_of(world(settings=settings_with(WITH_STATION)), store)
    for minutes_old, wind_m_s in ((10, 12.0), (70, 4.0)):
        measured = (NOW - timedelta(minutes=minutes_old), wind_m_s, wind_m_s + 1, 0.5)
        sources.answers[f"realtime2/{STATION}.txt"] = station_body([measured])
        desk.sources.poll()
        day = desk.decide(TODAY, clock_suspect=False).call.hours
        assert day["wind_kt"].max() == pytest.approx(12.0 * 3600 / 1852)


def test_a_grid_that_cannot_be_read_hides_behind_no_older_one(store: Store) -> None:
    desk, sources, _ = desk_of(world(), store)
    told = {
        NOW - timedelta(hours=2): None,
        None: FaultCode.NOT_UNDERSTOOD,
        NOW - timedelta(hours=5): FaultCode.NOT_UNDERSTOOD,
        NOW - timedelta(hours=1): None,
    }
    for issued_at, fault in told.items():
        body = b"{}" if issued_at is None else inner_grid(issued_at, 7)
        sources.answers["gridpoints/TAE/77,71"] = body
        desk.sources.poll()
        lines = {line.key: line.fault for line in desk.decide(TODAY, clock_suspect=False).call.sources}
        assert lines[INNER] is fault


def test_a_grid_once_dated_in_the_future_does_not_hold_back_the_right_one(store: Store) -> None:
    desk, sources, _ = desk_of(world(), store)
    for issued_at, word in ((NOW + DAY, CallWord.NO_CALL), (NOW, CallWord.PULL)):
        sources.answers["gridpoints/TAE/77,71"] = inner_grid(issued_at, 7)
        desk.sources.poll()
        assert desk.decide(TODAY, clock_suspect=False).call.word is word


# ---- the cell of a point


def test_a_cell_is_asked_for_anew_once_a_day_and_after_a_fault_of_its_grid(store: Store) -> None:
    """F5: a cell that is no more answers 404."""
    desk, sources, clock = desk_of(world(settings=settings_with(*NO_CELLS)), store)

    def asked_at(hours_on: float) -> int:
        clock.put(NOW + timedelta(hours=hours_on))
        before = len(sources.times("points/30.05,-84.15"))
        desk.sources.poll()
        return len(sources.times("points/30.05,-84.15")) - before

    assert [asked_at(0), asked_at(23.9)] == [1, 0]
    sources.answers["gridpoints/TAE/77,71"] = None
    assert [asked_at(24), asked_at(25)] == [1, 1]
    del sources.answers["gridpoints/TAE/77,71"]
    assert [asked_at(26), asked_at(27)] == [1, 0]


def test_until_the_grid_of_a_changed_cell_has_come_that_of_the_old_one_serves_no_call(
    store: Store, caplog: pytest.LogCaptureFixture
) -> None:
    """F5: old and new are never mixed; the change is logged."""
    desk, sources, clock = desk_of(world(settings=settings_with(*NO_CELLS)), store)
    desk.sources.poll()
    assert desk.decide(TODAY, clock_suspect=False).call.word is CallWord.PULL
    sources.answers |= {"points/30.05,-84.15": point("TAE/77,72"), "gridpoints/TAE/77,72": None}
    clock.put(NOW + DAY)
    desk.sources.poll()
    assert "grid cell of an area changed" in caplog.text
    clock.put(NOW)  # when all else is as fresh as it was
    lines = {line.key: line.fault for line in desk.decide(TODAY, clock_suspect=False).call.sources}
    assert lines["TAE/77,72"] is FaultCode.MISSING
    assert INNER not in lines
    assert desk.decide(TODAY, clock_suspect=False).call.word is CallWord.NO_CALL


def test_a_grid_cell_that_changed_is_told_in_the_letter_for_three_days(store: Store) -> None:
    """F5."""
    desk, sources, clock = desk_of(world(settings=settings_with(*NO_CELLS)), store)
    desk.sources.poll()
    assert "grid cell" not in desk.letter_text(TODAY, clock_suspect=False)
    sources.answers["points/30.05,-84.15"] = point("TAE/77,72")
    sources.answers["gridpoints/TAE/77,72"] = sources.one.replies[SourceKind.GRID, INNER][0].replace(
        b'"gridY": 71', b'"gridY": 72'
    )
    clock.put(NOW + DAY)
    desk.sources.poll()
    told = "Inner Bay: on Wed 9 Dec the weather service moved its point from grid cell TAE/77,71 to TAE/77,72."
    for days, is_told in ((1, True), (3.9, True), (4.1, False)):
        clock.put(NOW + days * DAY)
        call = desk.decide(TODAY + days // 1 * DAY, clock_suspect=False).call
        assert [notice.startswith(told) for notice in call.notices] == [True] * is_told
    clock.put(NOW + DAY)
    text = " ".join(desk.letter_text(TODAY + DAY, clock_suspect=False).split())
    assert f"- {told}" in text  # in our own words, and not as the forecast's
    assert desk.sources.on_hand(clock.now()).cells == {"Inner Bay": "TAE/77,72", "Outer Bay": OUTER}


# ---- how long a round takes


@dataclass
class SlowSources(PublicSources):
    """Each try takes ``takes_s`` of the clock's time by the end of the address, and as long as it is let where
    nothing comes. Its patience is five tries, two minutes apart in all.
    """

    takes_s: dict[str, float] = field(default_factory=dict)
    heeds_limits: bool = True

    def fetch(self, ask: Ask) -> RawReply:
        takes_s = next((s for end, s in self.takes_s.items() if ask.url.endswith(end)), 0.0)
        tried_s = takes_s if ask.once else 5 * takes_s + 120.0
        assert ask.within_s is not None
        try:
            reply = super().fetch(ask)
        except FetchFailed:
            self.clock.sleep(min(tried_s, ask.within_s) if self.heeds_limits else tried_s)
            raise
        self.clock.sleep(takes_s)
        return reply


def slow_desk_of(one: World, store: Store) -> tuple[Desk, SlowSources, SetClock]:
    _, plain, clock = desk_of(one, store)
    sources = SlowSources(one, clock, plain.answers)
    return Desk(one.settings, store, clock, sources), sources, clock


def unreachable(sources: SlowSources, takes_s: float) -> None:
    sources.answers |= {"": None}
    sources.takes_s |= {"": takes_s}


@pytest.mark.parametrize("takes_s", [0.1, 60.0])
def test_a_round_in_which_nothing_answers_ends_in_time_and_asked_for_every_source(
    store: Store, takes_s: float
) -> None:
    """F3: five tries of each would take a quarter of an hour."""
    desk, sources, clock = slow_desk_of(world(settings=settings_with(WITH_STATION)), store)
    unreachable(sources, takes_s)
    begun_s = clock.passed_s()
    desk.sources.poll_if_old()
    assert clock.passed_s() - begun_s <= fetching.ROUND_LIMIT_S
    call = desk.decide(TODAY, clock_suspect=False).call
    assert call.word is CallWord.NO_CALL
    assert {line.kind for line in call.sources} == set(SourceKind) - {SourceKind.POINT}
    for line in call.sources:
        assert line.fault is FaultCode.MISSING
        assert line.detail.startswith("last asked ")
        assert "can't be reached" in line.detail


def test_a_host_that_failed_in_every_try_is_asked_once_for_the_rest_and_others_with_patience(
    store: Store,
) -> None:
    desk, sources, _ = slow_desk_of(world(settings=settings_with(WITH_STATION)), store)
    unreachable(sources, 0.1)
    desk.sources.poll()
    first_text, *others = [ask for ask in sources.asked if ask.kind is not SourceKind.OBSERVATIONS]
    assert (first_text.kind, first_text.once) == (SourceKind.ZONE_TEXT, False)
    assert others
    assert all(ask.once for ask in others)
    assert not next(ask for ask in sources.asked if ask.kind is SourceKind.OBSERVATIONS).once
    sources.asked.clear()
    desk.sources.poll()
    assert not sources.asked[0].once, "each round begins with patience"


def test_a_source_that_fails_leaves_time_for_the_later_ones(store: Store) -> None:
    desk, sources, clock = slow_desk_of(world(settings=settings_with(WITH_STATION)), store)
    sources.answers[f"locations/{OFFICE}"] = None
    sources.takes_s[f"locations/{OFFICE}"] = 60.0
    clock.put(NOW - timedelta(minutes=4))
    desk.sources.poll()
    sources.takes_s.clear()
    faults = {line.kind: line.fault for line in desk.decide(TODAY, clock_suspect=False).call.sources}
    assert faults.pop(SourceKind.ZONE_TEXT) is FaultCode.MISSING
    assert set(faults.values()) == {None}


def test_a_source_for_which_no_time_was_left_is_told_as_not_asked_and_keeps_its_age(store: Store) -> None:
    """A look-up of a name takes as long as it likes."""
    desk, sources, clock = slow_desk_of(world(settings=settings_with(WITH_STATION)), store)
    desk.sources.poll()
    before = {line.kind: line.issued_at for line in desk.decide(TODAY, clock_suspect=False).call.sources}
    sources.heeds_limits = False
    unreachable(sources, 60.0)
    sources.asked.clear()
    clock.put(NOW + timedelta(minutes=52))
    desk.sources.poll_if_old()
    assert {ask.kind for ask in sources.asked} == {SourceKind.ZONE_TEXT}
    call = desk.decide(TODAY, clock_suspect=False).call
    lines = {line.kind: line for line in call.sources}
    assert {kind: line.issued_at for kind, line in lines.items()} == before
    assert "last asked" in lines.pop(SourceKind.ZONE_TEXT).detail
    for line in lines.values():
        assert "not asked at" in line.detail
        assert "UTC: no time was left for it" in line.detail
    assert call.word is CallWord.NO_CALL, "the list of warnings was made an hour ago"


def test_where_no_time_was_left_the_places_of_stations_are_looked_up_in_the_next_round(store: Store) -> None:
    desk, sources, _ = slow_desk_of(world(settings=settings_with(WITH_STATION)), store)
    sources.answers[LATEST] = latest(30.071, -84.176)
    good = dict(sources.answers)
    sources.heeds_limits = False
    unreachable(sources, 60.0)
    desk.sources.poll()
    sources.answers = good
    sources.takes_s.clear()
    assert not sources.times(LATEST)
    desk.sources.poll()
    assert sources.times(LATEST)


@pytest.mark.parametrize("set_by", [timedelta(hours=-3), timedelta(hours=3)])
def test_setting_the_clock_makes_a_round_neither_longer_nor_shorter(store: Store, set_by: timedelta) -> None:
    desk, sources, clock = slow_desk_of(world(settings=settings_with(WITH_STATION)), store)
    unreachable(sources, 20.0)
    fetch = sources.fetch

    def set_meanwhile(ask: Ask) -> RawReply:
        if len(sources.asked) == 1:
            clock.put(NOW + set_by)
        return fetch(ask)

    sources.fetch = set_meanwhile  # type: ignore[method-assign]
    begun_s = clock.passed_s()
    desk.sources.poll()
    assert {ask.kind for ask in sources.asked} == set(SourceKind) - {SourceKind.POINT}
    assert clock.passed_s() - begun_s <= fetching.ROUND_LIMIT_S


@dataclass
class HeldSources(PublicSources):
    """No answer comes before ``go`` is set. ``reached`` is set by the first ask."""

    reached: threading.Event = field(default_factory=threading.Event)
    go: threading.Event = field(default_factory=threading.Event)

    def fetch(self, ask: Ask) -> RawReply:
        self.reached.set()
        assert self.go.wait(20)
        return super().fetch(ask)


@pytest.fixture
def under_way(store: Store) -> Iterator[tuple[Desk, HeldSources, threading.Thread]]:
    """A round that waits for its first answer."""
    _, plain, clock = desk_of(world(), store)
    sources = HeldSources(plain.one, clock)
    desk = Desk(plain.one.settings, store, clock, sources)
    running = threading.Thread(target=desk.sources.poll)
    running.start()
    assert sources.reached.wait(20)
    yield desk, sources, running
    sources.go.set()
    running.join(20)


def test_a_look_waits_for_a_round_under_way_no_longer_than_a_round_may_take(
    under_way: tuple[Desk, HeldSources, threading.Thread], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Then it goes by what is on hand, which here is nothing."""
    desk, sources, running = under_way
    monkeypatch.setattr(fetching, "ROUND_LIMIT_S", 0.05)
    desk.sources.poll_if_old()
    assert running.is_alive()
    assert not sources.asked
    assert desk.decide(TODAY, clock_suspect=False).call.word is CallWord.NO_CALL


def test_a_look_goes_by_the_round_it_waited_for_and_makes_none_of_its_own(
    under_way: tuple[Desk, HeldSources, threading.Thread],
) -> None:
    desk, sources, running = under_way
    threading.Timer(0.05, sources.go.set).start()
    desk.sources.poll_if_old()
    running.join(20)
    assert len(sources.times("alerts/active?zone=GMZ730")) == 1
    assert desk.decide(TODAY, clock_suspect=False).call.word is CallWord.PULL


# ---- where a station lies


def test_a_station_that_moved_is_refused_until_it_is_confirmed(store: Store) -> None:
    """F10: its id may have been given to another."""
    desk, sources, clock = desk_of(world(settings=settings_with(WITH_STATION)), store)
    sources.answers[LATEST] = latest(30.071, -84.176)
    desk.sources.poll()
    assert desk.decide(TODAY, clock_suspect=False).call.word is CallWord.PULL
    sources.answers[LATEST] = latest(30.091, -84.176)
    desk.sources.poll()
    assert desk.decide(TODAY, clock_suspect=False).call.word is CallWord.PULL, "it is looked at once a day"
    clock.put(NOW + DAY)
    desk.sources.poll()
    clock.put(NOW)
    code, detail = fault_of(desk, SourceKind.OBSERVATIONS)
    assert code is FaultCode.WRONG_PLACE
    assert "no longer at 30.071 -84.176, where it was confirmed, but at 30.091 -84.176" in detail
    assert "soakbell confirm-station NCKF1" in detail
    assert desk.decide(TODAY, clock_suspect=False).call.word is CallWord.NO_CALL
    assert desk.sources.confirm_station(STATION) == (30.091, -84.176)
    assert desk.decide(TODAY, clock_suspect=False).call.word is CallWord.PULL


def test_a_station_back_at_its_old_place_still_waits_to_be_confirmed(store: Store) -> None:
    desk, sources, clock = desk_of(world(settings=settings_with(WITH_STATION)), store)
    for day, lat in enumerate((30.071, 31.0, 30.071)):
        clock.put(NOW + day * DAY)
        sources.answers[LATEST] = latest(lat, -84.176)
        desk.sources.poll()
    assert STATION in desk.sources.on_hand(clock.now()).moved


@pytest.mark.parametrize(
    "answer",
    [None, b"<html>busy</html>", latest(40.0, -70.0, "44008"), latest(30.08, -84.17), b"\xff"],
    ids=["unreachable", "another page", "not listed", "less than a mile off", "no text"],
)
def test_a_list_that_says_nothing_of_a_new_place_leaves_the_station_as_it_was(
    store: Store, answer: bytes | None
) -> None:
    desk, sources, clock = desk_of(world(settings=settings_with(WITH_STATION)), store)
    sources.answers[LATEST] = latest(30.071, -84.176)
    desk.sources.poll()
    clock.put(NOW + DAY)
    sources.answers[LATEST] = answer
    desk.sources.poll()
    hand = desk.sources.on_hand(clock.now())
    assert hand.moved == {}
    assert hand.troubles == {}
    clock.put(NOW + 2 * DAY)
    sources.answers[LATEST] = latest(30.5, -84.176)
    desk.sources.poll()
    assert "30.071 -84.176, where it was confirmed" in desk.sources.on_hand(clock.now()).moved[STATION]


def test_only_a_station_of_the_settings_whose_place_is_known_can_be_confirmed(store: Store) -> None:
    desk, _, _ = desk_of(world(settings=settings_with(WITH_STATION)), store)
    with pytest.raises(SettingsError, match=f"found '41008'; write {STATION}"):
        desk.sources.confirm_station("41008")
    with pytest.raises(StoreError, match="isn't known yet where NCKF1 lies"):
        desk.sources.confirm_station(STATION)


# ---- the record


def test_what_is_known_beside_the_replies_is_on_record_and_replayed(store: Store) -> None:
    """A7: a warning that vanished, a text that could not be had, a cell that changed, a station that moved."""
    one = world(
        settings=settings_with(WITH_STATION, *NO_CELLS),
        warnings=[warning("one", sent_at=NOW - timedelta(hours=1), onset_at=NOW, ends_at=NOW + 3 * DAY)],
    )
    desk, sources, clock = desk_of(one, store)
    sources.answers[LATEST] = latest(30.071, -84.176)
    desk.sources.poll()
    clock.put(NOW + DAY)
    sources.one = world(settings=one.settings, now=clock.now())
    sources.listed.insert(0, ("bbbbbbbb-2", clock.now() - timedelta(minutes=5)))
    sources.answers |= {
        "products/bbbbbbbb-2": None,
        "points/30.05,-84.15": point("TAE/77,72"),
        LATEST: latest(30.2, -84.2),
    }
    letter = desk.write("morning", TODAY + DAY, 0, late=False, clock_suspect=False)
    assert letter.call is not None
    hand = desk.sources.on_hand(clock.now())
    assert all((hand.seen, hand.troubles, hand.newer, hand.moved, hand.notices))
    assert (letter.call.code_version, letter.call.tz_version) == (__version__, zone_data_version())
    with store.writing() as session:
        record = {**vars(letter.call), "boat": "Little Grebe", "day": TODAY + DAY}
        session.add(CallRow(**record))
    clock.put(NOW + 9 * DAY)
    again = replay(one.settings, store, TODAY + DAY)
    assert as_record(again, None)["call"] == letter.call.detail["call"]
    assert [w.event for w in again.warnings] == ["Small Craft Advisory"]
