"""The health page: is the service doing its duty, and if not, why. Read-only, on this computer only by default."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy.orm import Session
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import JSONResponse
from starlette.routing import Route
from starlette.types import ASGIApp

from soakbell.errors import SoakbellError
from soakbell.store import letters
from soakbell.store.engine import Store
from soakbell.web.guard import Guard

LONGEST_SILENCE = timedelta(minutes=3)
LATE_AFTER = timedelta(minutes=15)
FAULTS_IN_A_ROW = 3
BACKUP_OLD_AFTER = timedelta(days=2)


@dataclass(frozen=True)
class Health:
    """What the page shows. ``ok`` is False when there is any reason.

    Attributes:
        last_sweeps: boat -> when its sweep last ran.
        refused: addresses in trouble, masked, with the state and the server's words.
        unsure_tries: tries of which it isn't known whether they went out.
        faults: step -> how often in a row it failed, and why.
        last_backups: boat -> when its newest nightly backup was last seen to be there.
    """

    ok: bool
    reasons: tuple[str, ...]
    last_sweeps: Mapping[str, datetime]
    last_accepted_at: datetime | None
    letters_late: int
    refused: tuple[Mapping[str, str], ...]
    unsure_tries: int
    faults: Mapping[str, Mapping[str, Any]]
    last_backups: Mapping[str, datetime]
    database: str
    journal_mode: str
    zone_data: str


def read_health(store: Store, now: datetime, zone_data: str) -> Health:
    """The state of the service as the database tells it at ``now``.

    Raises:
        StoreError: the database can't be read.
    """
    with store.reading() as session:
        sweeps = {boat: at for boat, (_, at) in letters.notes_under(session, "sweep:").items()}
        faults = {
            step: {**value, "at": at.isoformat()}
            for step, (value, at) in letters.notes_under(session, "fault:").items()
        }
        backups = {boat: at for boat, (_, at) in letters.notes_under(session, "backup:").items()}
        refused = tuple(
            {
                "address": masked(one.address),
                "state": one.state,
                "reply": one.reply.replace(one.address, "(address)"),
            }
            for one in letters.addresses_in_trouble(session)
        )
        late = letters.late_due_count(session, now, LATE_AFTER)
        reasons = (
            *_about_sweeps(sweeps, now),
            *_about_clock(session, now),
            *([f"letters late: {late}"] if late else []),
            *(
                f"the newest backup of {boat} is {(now - at).days} days old"
                for boat, at in backups.items()
                if now - at > BACKUP_OLD_AFTER
            ),
            *(f"an address is {one['state']}: {one['address']}" for one in refused),
            *(
                f"{step} failed {one['count']} times in a row"
                for step, one in faults.items()
                if one["count"] >= FAULTS_IN_A_ROW
            ),
        )
        return Health(
            ok=not reasons,
            reasons=reasons,
            last_sweeps=sweeps,
            last_accepted_at=letters.last_accepted_at(session),
            letters_late=late,
            refused=refused,
            unsure_tries=letters.unsure_count(session),
            faults=faults,
            last_backups=backups,
            database=store.library,
            journal_mode=store.journal_mode,
            zone_data=zone_data,
        )


def last_sweep(session: Session, boat: str) -> datetime | None:
    """When the boat's sweep last ran; None where it never did."""
    found = letters.get_note(session, f"sweep:{boat}")
    return None if found is None else found[1]


def _about_sweeps(sweeps: Mapping[str, datetime], now: datetime) -> list[str]:
    if not sweeps:
        return ["no sweep has run yet"]
    return [
        f"the sweep for {boat} last ran {(now - at).total_seconds():.0f} s ago"
        for boat, at in sweeps.items()
        if now - at > LONGEST_SILENCE
    ]


def _about_clock(session: Session, now: datetime) -> list[str]:
    behind = letters.clock_behind_by(session, now)
    if behind is None:
        return []
    return [f"the clock is {behind.total_seconds():.0f} s behind the newest row of the database"]


def masked(address: str) -> str:
    """Enough of an address for its owner to know it: "s...@example.org"."""
    name, _, domain = address.rpartition("@")
    return f"{name[:1]}...@{domain}"


def health_app(read: Callable[[], Health]) -> ASGIApp:
    """``GET /healthz``: 200 when all is well, 503 with the reasons when not."""

    def healthz(_request: Request) -> JSONResponse:
        try:
            told = asdict(read())
        except SoakbellError as fault:
            told = {"ok": False, "reasons": [str(fault)]}
        return JSONResponse(
            _plain(told), status_code=200 if told["ok"] else 503, headers={"Cache-Control": "no-store"}
        )

    return Guard(Starlette(routes=[Route("/healthz", healthz, methods=["GET"])]))


def _plain(value: Any) -> Any:
    if isinstance(value, datetime):
        return value.isoformat()
    if isinstance(value, Mapping):
        return {key: _plain(each) for key, each in value.items()}
    if isinstance(value, (tuple, list)):
        return [_plain(each) for each in value]
    return value
