"""A call on record is made again from what was kept (A7). INVENTED DATA."""

from __future__ import annotations

import asyncio
from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import pytest
from demo.play import play
from demo.story import WINTER
from sqlalchemy import delete, select, update

from soakbell.call_record import as_record
from soakbell.errors import StoreError
from soakbell.gear.log import TrapsSet, new_entry
from soakbell.planning.call import CallWord
from soakbell.replaying import replay
from soakbell.settings import Settings, load_settings
from soakbell.store.engine import Store, open_store
from soakbell.store.log import all_entries, append_entries
from soakbell.store.replies import prune_replies
from soakbell.store.schema import CallRow, ReplyRow

DAYS = 3


@pytest.fixture(scope="module")
def played(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of a service after the first days of the fortnight, with trips told in between."""
    folder = tmp_path_factory.mktemp("played")
    asyncio.run(play(WINTER, DAYS, folder))
    return folder


@pytest.fixture
def settings(played: Path) -> Settings:
    return load_settings(played / "boat.toml", {})


@pytest.fixture
def store(played: Path, tmp_path: Path) -> Iterator[Store]:
    """A copy of its database."""
    copy = tmp_path / "soakbell.sqlite3"
    copy.write_bytes((played / "soakbell.sqlite3").read_bytes())
    opened = open_store(f"sqlite:///{copy}")
    yield opened
    opened.close()


def calls(store: Store) -> list[CallRow]:
    with store.reading() as session:
        return list(session.scalars(select(CallRow).order_by(CallRow.id)))


def remake(store: Store, call: CallRow, log: dict[str, object]) -> None:
    """Put another account of the log into the record of a call."""
    detail = {**call.detail, "made_from": {**call.detail["made_from"], "log": log}}
    with store.writing() as session:
        session.execute(update(CallRow).where(CallRow.id == call.id).values(detail=detail))


def add_old_entry(store: Store) -> None:
    with store.writing() as session:
        at = min(entry.told_at for entry in all_entries(session))
        append_entries(session, [new_entry(TrapsSet(), happened_at=at, told_at=at, told_by="csv", string="Ledge")])


def test_every_call_of_several_days_is_made_again_to_the_last_number(settings: Settings, store: Store) -> None:
    """A year later: what no call names has been pruned, and the log has grown."""
    kept = calls(store)
    assert [call.word for call in kept] == [CallWord.PULL, CallWord.PULL, CallWord.WAIT, CallWord.WAIT]
    with store.writing() as session:
        newest = max(call.made_at for call in kept)
        dropped = prune_replies(session, newest + timedelta(days=365), calls_since=newest - timedelta(days=35))
        told = newest + timedelta(days=300)
        append_entries(
            session, [new_entry(TrapsSet(), happened_at=told, told_at=told, told_by="cli", string="Ledge")]
        )
    assert dropped > 0
    for call in kept:
        again = replay(settings, store, call.id)
        assert as_record(again, None)["call"] == call.detail["call"]


def test_a_day_stands_for_its_newest_call(settings: Settings, store: Store) -> None:
    again = replay(settings, store, date(2026, 12, 9))
    (changed,) = [call for call in calls(store) if call.detail["made_from"]["looked_again"]]
    assert (again.made_at, again.word) == (changed.made_at, CallWord.WAIT)


def test_what_is_not_the_same_any_more_is_refused_and_named(settings: Settings, store: Store) -> None:
    first = calls(store)[0]
    with pytest.raises(StoreError, match=r"another version of .*boat\.toml"):
        replay(replace(settings, sha256="0" * 64), store, first.id)
    with pytest.raises(StoreError, match="another version of the fishery file of Florida stone crab"):
        replay(replace(settings, fishery_sha256="0" * 64), store, first.id)
    log = first.detail["made_from"]["log"]
    remake(store, first, {**log, "entries": log["entries"] + 1})
    with pytest.raises(StoreError, match="of them are on record"):
        replay(settings, store, first.id)


def test_entries_that_came_in_later_with_an_older_date_change_nothing(settings: Settings, store: Store) -> None:
    first = calls(store)[0]
    add_old_entry(store)
    assert as_record(replay(settings, store, first.id), None)["call"] == first.detail["call"]


def test_a_record_from_before_entries_were_numbered_goes_by_the_date_of_telling(
    settings: Settings, store: Store
) -> None:
    first = calls(store)[0]
    with store.reading() as session:
        told = sorted(entry.told_at for entry in all_entries(session) if entry.told_at <= first.made_at)
    remake(store, first, {"entries": len(told), "told_until": told[-1].isoformat()})
    assert as_record(replay(settings, store, first.id), None)["call"] == first.detail["call"]
    add_old_entry(store)
    with pytest.raises(StoreError, match="entries with an older date of telling came in later"):
        replay(settings, store, first.id)


def test_a_call_whose_replies_are_gone_is_refused(settings: Settings, store: Store) -> None:
    first = calls(store)[0]
    with store.writing() as session:
        session.execute(delete(ReplyRow).where(ReplyRow.sha256 == first.inputs[0]["sha256"]))
    with pytest.raises(StoreError, match=f"rests on a {first.inputs[0]['kind']} reply .* no longer kept"):
        replay(settings, store, first.id)


def test_a_call_that_is_not_on_record_or_was_made_on_nothing_is_refused(settings: Settings, store: Store) -> None:
    with pytest.raises(StoreError, match="no call of Little Grebe is on record for 2026-11-01"):
        replay(settings, store, date(2026, 11, 1))
    first = calls(store)[0]
    with store.writing() as session:
        bare = {key: value for key, value in first.detail.items() if key != "made_from"}
        session.execute(update(CallRow).where(CallRow.id == first.id).values(detail=bare, inputs=[]))
    with pytest.raises(StoreError, match="made on nothing, since the service had failed"):
        replay(settings, store, first.id)
