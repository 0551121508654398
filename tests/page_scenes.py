"""A boat with its phone page, and somebody who visits it. INVENTED DATA."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

from argon2 import PasswordHasher
from httpx2 import Response
from starlette.testclient import TestClient

from law.world import NEW_YORK, NOW, World, world
from soakbell.clock import SetClock
from soakbell.desk import Desk
from soakbell.errors import FetchFailed
from soakbell.feeds.transport import Ask
from soakbell.gear.outfit import Outfit
from soakbell.gear_settings import load_outfit
from soakbell.page_settings import PageTerms
from soakbell.planning.plan_terms import PlanTerms
from soakbell.sea.sources import RawReply
from soakbell.store import letters, log, replies
from soakbell.store.engine import Store, open_store
from soakbell.store.upgrade import migrate
from soakbell.web.app import page_app
from soakbell.web.door import hashed
from soakbell.web.house import PageHouse
from soakbell.web.keys import keys_beside

ADDRESS = "http://127.0.0.1:8462"
SKIPPER, CREW = "heron wades at low tide", "gull waits on the piling"
GEAR = Path(__file__).resolve().parents[1] / "config" / "gear.toml"


@cache
def hash_of(passphrase: str) -> str:
    return hashed(passphrase)


@cache
def quick_hash_of(passphrase: str) -> str:
    """One that no settings file may hold, since it is quick to guess; a real one costs each sign-in 64 MB."""
    return PasswordHasher(time_cost=1, memory_cost=8, parallelism=1).hash(passphrase)


def terms(**changes: object) -> PageTerms:
    usual = PageTerms(0, "127.0.0.1", None, 30, 7, quick_hash_of(SKIPPER), quick_hash_of(CREW))
    return replace(usual, **changes)  # type: ignore[arg-type]


class NobodyAnswers:
    """Sources that are all down."""

    def fetch(self, ask: Ask) -> RawReply:
        raise FetchFailed("nobody answers", retry=True)


@dataclass(frozen=True)
class Scene:
    """``house`` at ``clock``, with a visitor who has not signed in."""

    house: PageHouse
    clock: SetClock
    store: Store
    visitor: TestClient

    def sign_in(self, passphrase: str = SKIPPER) -> TestClient:
        assert post(self.visitor, "/in", passphrase=passphrase).status_code == 303
        return self.visitor

    def another(self, passphrase: str | None = None) -> TestClient:
        """A second phone."""
        phone = visitor_of(self.house)
        if passphrase is not None:
            assert post(phone, "/in", passphrase=passphrase).status_code == 303
        return phone

    def tell_call(self) -> int:
        """Today's morning letter, written and accepted; its id."""
        day, now = self.clock.now().astimezone(NEW_YORK).date(), self.clock.now()
        letter = self.house.desk.write("morning", day, 0, late=False, clock_suspect=False)
        with self.store.writing() as session:
            times = (now, now + timedelta(hours=6))
            letters.ensure_due(session, self.house.boat, "morning", day, 0, "America/New_York", *times)
            claim = letters.claim_due(session, self.house.boat, now, lease_s=120)
            assert claim is not None
            letter_id = letters.write_letter(session, claim, letter, now)
            until = None if letter.watch_until is None else letter.watch_until.isoformat()
            watch = {"day": day.isoformat(), "until": until}
            letters.put_note(session, f"watch:{self.house.boat}", watch, now)
            (batch,) = letters.claim_recipients(session, now, 10, lease_s=120)
            letters.mark_accepted(session, batch.recipients[0].recipient_id, "250 taken", now)
        self.swept()
        return letter_id

    def swept(self) -> None:
        with self.store.writing() as session:
            letters.put_note(session, f"sweep:{self.house.boat}", {}, self.clock.now())


@contextmanager
def page_scene(
    folder: Path,
    *,
    at: datetime = NOW,
    morning: World | None = None,
    page: PageTerms | None = None,
    outfit: Outfit | str | None = None,
    plan: PlanTerms | str | None = None,
) -> Iterator[Scene]:
    """*Little Grebe* with two strings set nine days ago and a calm forecast; the outfit is the example's."""
    calm = morning or world()
    database = folder / "soakbell.db"
    if not database.exists():
        database.write_bytes(_empty_database())
    store, clock = open_store(f"sqlite:///{database}"), SetClock(at)
    try:
        with store.writing() as session:
            log.append_entries(session, calm.entries)
            for pages in calm.on_hand().replies.values():
                replies.keep_reply(session, pages[0])
        outfit = _example_outfit() if outfit is None else outfit
        desk = Desk(calm.settings, store, clock, NobodyAnswers(), outfit=outfit, terms=plan)
        keys = keys_beside(database)
        house = PageHouse(calm.settings, page or terms(), store, clock, desk, outfit, keys, invented=True)
        yield Scene(house, clock, store, visitor_of(house))
    finally:
        store.close()


@cache
def _empty_database() -> bytes:
    """Migrated once: each scene begins with a copy."""
    with TemporaryDirectory() as folder:
        path = Path(folder) / "soakbell.db"
        with closing(open_store(f"sqlite:///{path}")) as store:
            migrate(store)
        return path.read_bytes()


@cache
def _example_outfit() -> Outfit:
    return load_outfit(GEAR)


def visitor_of(house: PageHouse) -> TestClient:
    base = house.terms.public_url or ADDRESS
    return TestClient(page_app(house), base_url=base, follow_redirects=False, raise_server_exceptions=False)


def post(visitor: TestClient, path: str, **fields: str) -> Response:
    """As a browser does from one of our own pages, with the token of that page's form."""
    return visitor.post(path, data=fields, headers={"Sec-Fetch-Site": "same-origin"})


def form_token(page: Response) -> str:
    found = re.search(r'name="form_token" value="([0-9a-f]{64})"', page.text)
    assert found is not None, page.text
    return found[1]
