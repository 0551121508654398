"""Raw replies and seen warnings come back as they went in. All payloads are invented."""

from __future__ import annotations

import gzip
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta, timezone

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlalchemy import create_engine, func, select
from sqlalchemy.orm import Session
from sqlalchemy.pool import StaticPool

from scenes import advisory
from soakbell.errors import StoreError
from soakbell.sea.sources import RawReply, SourceKind
from soakbell.sea.warnings import AlertsReply, OfficialWarning, Vtec, in_force, remember
from soakbell.store.replies import (
    forget_warnings,
    keep_reply,
    keep_warnings,
    newest_good,
    prune_replies,
    reply_named,
    seen_warnings,
    thin_station_files,
    warning_as_json,
    warning_from_json,
)
from soakbell.store.schema import Base, CallRow, ReplyRow, SeenWarningRow

NOW = datetime(2026, 12, 8, 9, 0, tzinfo=UTC)
HOUR = timedelta(hours=1)
DAY = timedelta(days=1)


@pytest.fixture(scope="module")
def tables() -> Iterator[object]:
    engine = create_engine("sqlite://", poolclass=StaticPool)
    Base.metadata.create_all(engine)
    yield engine
    engine.dispose()


@pytest.fixture
def session(tables: object) -> Iterator[Session]:
    with Session(tables) as session:  # type: ignore[arg-type]
        yield session
        session.rollback()


def a_reply(**changes: object) -> RawReply:
    plain = RawReply(
        kind=SourceKind.GRID,
        key="TAE/58,65",
        url="https://api.weather.gov/gridpoints/TAE/58,65",
        status=200,
        content_type="application/geo+json",
        body=b'{"properties": {}}',
        fetched_at=NOW,
    )
    return replace(plain, **changes)  # type: ignore[arg-type]


def a_vtec(**changes: object) -> Vtec:
    plain = Vtec("O", "NEW", "KTAE", "SC", "Y", 59, NOW, NOW + 12 * HOUR, "/O.NEW.KTAE.SC.Y.0059/")
    return replace(plain, **changes)  # type: ignore[arg-type]


def a_warning(**changes: object) -> OfficialWarning:
    times = {"onset_at": NOW + 3 * HOUR, "expires_at": NOW + 6 * HOUR, "ends_at": NOW + 12 * HOUR}
    plain = replace(advisory(NOW), id="urn:oid:2.49.0.1.840.0.1", vtec=(a_vtec(),), **times)
    return replace(plain, **changes)  # type: ignore[arg-type]


def count(session: Session, table: type[Base]) -> int:
    return session.scalar(select(func.count()).select_from(table)) or 0


def a_call(session: Session, made_at: datetime, *replies: RawReply) -> None:
    inputs = [{"kind": reply.kind.value, "key": reply.key, "sha256": reply.sha256} for reply in replies]
    session.add(
        CallRow(
            boat="Little Grebe",
            day=date(2026, 12, 8),
            made_at=made_at,
            word="WAIT",
            detail={},
            inputs=[*inputs, {"kind": "observations", "key": "41008"}],
            code_version="0.1.0",
            tz_version="2026a",
        )
    )


# Replies


@settings(max_examples=60, deadline=None)
@given(
    kind=st.sampled_from(SourceKind),
    key=st.text(min_size=1, max_size=100),
    body=st.binary(max_size=2000),
    content_type=st.text(max_size=200),
    fetched_at=st.datetimes(timezones=st.timezones()),
)
def test_a_reply_comes_back_as_it_was_kept(
    tables: object, kind: SourceKind, key: str, body: bytes, content_type: str, fetched_at: datetime
) -> None:
    if not 2 < fetched_at.year < 9998:
        return
    reply = a_reply(kind=kind, key=key, body=body, content_type=content_type, fetched_at=fetched_at)
    with Session(tables) as session:  # type: ignore[arg-type]
        keep_reply(session, reply)
        session.expire_all()
        found = newest_good(session, kind, key)
        session.rollback()
    assert found == replace(reply, fetched_at=fetched_at.astimezone(UTC))
    assert found.fetched_at.utcoffset() == timedelta(0)


def test_a_reply_without_a_zone_is_refused(session: Session) -> None:
    """D5."""
    with pytest.raises(Exception, match="zone"):
        keep_reply(session, a_reply(fetched_at=datetime(2026, 12, 8)))  # noqa: DTZ001


def test_equal_bodies_pack_to_equal_bytes(session: Session) -> None:
    keep_reply(session, a_reply())
    keep_reply(session, a_reply(fetched_at=NOW + HOUR))
    first, second = session.scalars(select(ReplyRow.body_gz))
    assert first == second


def test_a_copy_told_again_is_kept_once(session: Session) -> None:
    keep_reply(session, a_reply())
    keep_reply(session, a_reply())
    assert count(session, ReplyRow) == 1
    keep_reply(session, a_reply(fetched_at=NOW + HOUR))
    assert count(session, ReplyRow) == 2


def test_the_newest_good_reply_is_by_fetch_time_kind_key_and_status(session: Session) -> None:
    newest = a_reply(fetched_at=NOW + HOUR, body=b"newest")
    for reply in (
        newest,
        a_reply(),
        a_reply(fetched_at=NOW + 2 * HOUR, status=503, body=b"fault"),
        a_reply(fetched_at=NOW + 2 * HOUR, key="TAE/58,66"),
        a_reply(fetched_at=NOW + 2 * HOUR, kind=SourceKind.WARNINGS),
    ):
        keep_reply(session, reply)
    assert newest_good(session, SourceKind.GRID, "TAE/58,65") == newest
    assert newest_good(session, SourceKind.ZONE_TEXT, "TAE") is None


@pytest.mark.parametrize(
    "damage",
    [
        lambda packed: packed[:-4],
        lambda packed: b"",
        lambda packed: b"nothing packed",
        lambda packed: packed[:20] + bytes([packed[20] ^ 1]) + packed[21:],
        lambda packed: gzip.compress(b"another body"),
    ],
)
def test_a_damaged_reply_is_never_given(session: Session, damage: object) -> None:
    reply = a_reply(body=bytes(range(256)))
    keep_reply(session, reply)
    row = session.scalars(select(ReplyRow)).one()
    row.body_gz = damage(row.body_gz)  # type: ignore[operator]
    session.flush()
    with pytest.raises(StoreError, match="damaged"):
        newest_good(session, reply.kind, reply.key)
    with pytest.raises(StoreError, match="damaged"):
        reply_named(session, reply.sha256)


def test_a_reply_is_found_by_its_hash(session: Session) -> None:
    """A7."""
    keep_reply(session, a_reply())
    assert reply_named(session, a_reply().sha256) == a_reply()
    assert reply_named(session, "0" * 64) is None


def test_old_replies_go_but_never_the_newest_good_one(session: Session) -> None:
    last_good = a_reply(fetched_at=NOW - 40 * DAY, body=b"last good")
    for reply in (
        a_reply(fetched_at=NOW - 41 * DAY, body=b"older"),
        last_good,
        a_reply(fetched_at=NOW - 39 * DAY, status=503, body=b"fault"),
        a_reply(fetched_at=NOW - 40 * DAY, key="TAE/58,66", status=404),
    ):
        keep_reply(session, reply)
    assert prune_replies(session, NOW - 30 * DAY, calls_since=NOW - 365 * DAY) == 3
    assert newest_good(session, SourceKind.GRID, "TAE/58,65") == last_good
    assert count(session, ReplyRow) == 1


def test_a_reply_younger_than_asked_stays(session: Session) -> None:
    for hours in range(3):
        keep_reply(session, a_reply(fetched_at=NOW - hours * HOUR, body=str(hours).encode()))
    assert prune_replies(session, NOW - HOUR, calls_since=NOW) == 1
    assert set(session.scalars(select(ReplyRow.fetched_at))) == {NOW, NOW - HOUR}


def test_a_reply_that_a_call_rested_on_stays_for_the_audit_age(session: Session) -> None:
    """A7."""
    audited, forgotten = (a_reply(fetched_at=NOW - days * DAY, body=str(days).encode()) for days in (300, 400))
    for reply in (audited, forgotten, a_reply()):
        keep_reply(session, reply)
    a_call(session, NOW - 300 * DAY, audited)
    a_call(session, NOW - 400 * DAY, forgotten)
    assert prune_replies(session, NOW - 30 * DAY, calls_since=NOW - 365 * DAY) == 1
    assert reply_named(session, audited.sha256) == audited
    assert reply_named(session, forgotten.sha256) is None


def test_of_old_station_files_the_last_good_one_of_each_day_and_those_of_calls_stay(session: Session) -> None:
    def file_of(hours: float, **changes: object) -> RawReply:
        station = {"kind": SourceKind.OBSERVATIONS, "key": "NCKF1", "fetched_at": NOW - hours * HOUR}
        return a_reply(**(station | {"body": f"{hours}".encode()} | changes))

    day_before = [file_of(96 + hours) for hours in (3, 2, 1, 0)]  # from 06:00 to 09:00 UTC
    other = file_of(98.5, key="PCBF1")
    refused = file_of(97.5, status=503)
    forecast = file_of(97.25, kind=SourceKind.GRID)
    recent = [file_of(hours) for hours in (2, 1)]
    for reply in (*day_before, other, refused, forecast, *recent):
        keep_reply(session, reply)
    a_call(session, NOW - 97 * HOUR, day_before[1])
    assert thin_station_files(session, NOW - 3 * DAY, calls_since=NOW - 365 * DAY) == 2
    stay = {reply.sha256 for reply in (day_before[1], day_before[3], other, refused, forecast, *recent)}
    assert set(session.scalars(select(ReplyRow.sha256))) == stay
    assert thin_station_files(session, NOW - 3 * DAY, calls_since=NOW - 365 * DAY) == 0


def test_pruning_takes_any_number(session: Session) -> None:
    for minute in range(1201):
        keep_reply(session, a_reply(fetched_at=NOW - minute * timedelta(minutes=1), body=b"x"))
    assert prune_replies(session, NOW + DAY, calls_since=NOW) == 1200


# Warnings

MOMENTS = st.datetimes(
    min_value=datetime(2000, 1, 1),  # noqa: DTZ001
    max_value=datetime(2100, 1, 1),  # noqa: DTZ001
    timezones=st.sampled_from([UTC, timezone(timedelta(hours=-5)), timezone(timedelta(hours=10))]),
)
WORDS = st.text(max_size=30)
VTECS = st.builds(
    Vtec, WORDS, WORDS, WORDS, WORDS, WORDS, st.integers(0, 9999), MOMENTS | st.none(), MOMENTS | st.none(), WORDS
)
TUPLES = st.lists(WORDS, max_size=3).map(tuple)
WARNINGS = st.builds(
    OfficialWarning,
    id=st.text(min_size=1, max_size=30),
    zones=TUPLES,
    event=WORDS,
    status=WORDS,
    message_type=WORDS,
    severity=WORDS,
    sender=WORDS,
    sent_at=MOMENTS,
    effective_at=MOMENTS | st.none(),
    onset_at=MOMENTS | st.none(),
    expires_at=MOMENTS | st.none(),
    ends_at=MOMENTS | st.none(),
    references=TUPLES,
    vtec=st.lists(VTECS, max_size=2).map(tuple),
    headline=WORDS,
    text=WORDS,
    url=WORDS,
    not_understood=TUPLES,
)


@settings(max_examples=100, deadline=None)
@given(WARNINGS)
def test_a_warning_comes_back_as_it_was_kept(tables: object, warning: OfficialWarning) -> None:
    with Session(tables) as session:  # type: ignore[arg-type]
        keep_warnings(session, [warning], NOW)
        session.expire_all()
        (found,) = seen_warnings(session)
        session.rollback()
    assert found == warning
    assert type(found.zones) is tuple
    assert all(type(vtec) is Vtec for vtec in found.vtec)
    assert found.sent_at.utcoffset() == timedelta(0)


def test_a_warning_without_a_zone_in_its_time_is_refused() -> None:
    """D5."""
    naive = datetime(2026, 12, 8)  # noqa: DTZ001
    for warning in (a_warning(ends_at=naive), a_warning(vtec=(a_vtec(ends_at=naive),))):
        with pytest.raises(ValueError, match="no zone"):
            warning_as_json(warning)


@pytest.mark.parametrize(
    "change",
    [
        {"sent_at": None},
        {"ends_at": "soon"},
        {"ends_at": "2026-12-08T09:00:00"},
        {"zones": "GMZ730"},
        {"vtec": [{}]},
    ],
)
def test_a_kept_warning_that_cannot_be_read_is_never_left_out(session: Session, change: dict[str, object]) -> None:
    keep_warnings(session, [a_warning()], NOW)
    row = session.scalars(select(SeenWarningRow)).one()
    row.message = row.message | change
    session.flush()
    with pytest.raises(StoreError, match="backup"):
        seen_warnings(session)
    with pytest.raises(StoreError):
        warning_from_json({"id": "x"})


def test_a_warning_seen_again_keeps_its_first_sight(session: Session) -> None:
    keep_warnings(session, [a_warning(), a_warning()], NOW)
    keep_warnings(session, [a_warning()], NOW + HOUR)
    row = session.scalars(select(SeenWarningRow)).one()
    assert (row.first_seen_at, row.last_seen_at) == (NOW, NOW + HOUR)
    assert (row.sent_at, row.over_at) == (NOW, NOW + 12 * HOUR)


def test_a_warning_that_vanishes_from_the_replies_stays(session: Session) -> None:
    """F8."""
    keep_warnings(session, [a_warning()], NOW)
    keep_warnings(session, [], NOW + HOUR)
    assert seen_warnings(session) == (a_warning(),)


@pytest.mark.parametrize("longer", [{"ends_at": NOW + DAY}, {"ends_at": None, "vtec": (a_vtec(ends_at=None),)}])
@pytest.mark.parametrize("longer_first", [True, False])
def test_of_two_texts_under_one_id_the_one_that_holds_longer_stays(
    session: Session, longer: dict[str, object], longer_first: bool
) -> None:
    told = [a_warning(**longer), a_warning()]
    for warning in told if longer_first else reversed(told):
        keep_warnings(session, [warning], NOW)
    assert seen_warnings(session) == (a_warning(**longer),)


def test_warnings_come_in_the_order_they_were_sent(session: Session) -> None:
    later, earlier = a_warning(id="a", sent_at=NOW), a_warning(id="b", sent_at=NOW - HOUR)
    keep_warnings(session, [later, earlier], NOW)
    assert [warning.id for warning in seen_warnings(session)] == ["b", "a"]


def test_only_warnings_that_are_not_needed_and_long_not_seen_are_forgotten(session: Session) -> None:
    """F8."""
    needed, listed, over = (a_warning(id=name) for name in ("needed", "listed", "over"))
    keep_warnings(session, [needed, over], NOW - 8 * DAY)
    keep_warnings(session, [listed], NOW - DAY)
    assert forget_warnings(session, [needed], last_seen_before=NOW - 7 * DAY) == 1
    assert set(seen_warnings(session)) == {needed, listed}


def test_a_vanished_warning_and_its_cancel_outlive_a_restart(session: Session) -> None:
    """F8: what the sea room remembers, the store brings back, and the cancel with it."""
    warning = a_warning(zones=("GMZ730", "GMZ755"))
    cancel = a_warning(
        id="cancel",
        message_type="Cancel",
        zones=("GMZ755",),
        sent_at=NOW + HOUR,
        expires_at=NOW + 2 * HOUR,
        ends_at=NOW + 2 * HOUR,
        references=(warning.id,),
        vtec=(a_vtec(action="CAN", ends_at=NOW + 12 * HOUR),),
    )
    keep_warnings(session, [warning, cancel], NOW + HOUR)
    later = NOW + 4 * HOUR
    needed = remember(seen_warnings(session), AlertsReply(later, (), None, ()), later, asked=["GMZ730"])
    forget_warnings(session, needed, last_seen_before=later)
    (held,) = in_force(seen_warnings(session), ["GMZ730", "GMZ755"], later, later + HOUR)
    assert (held.zones, held.message.id) == (("GMZ730",), warning.id)
