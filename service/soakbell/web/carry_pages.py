"""Carrying things in and out: marks from the plotter, the log as a table, and everything of the boat in one zip.

What an upload would do is shown first. The proposal travels in the page's form, signed, and is kept nowhere.
"""

from __future__ import annotations

import hashlib
import re
import tempfile
import threading
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import IO, Any

from itsdangerous import BadSignature, URLSafeTimedSerializer
from starlette.datastructures import FormData, UploadFile
from starlette.exceptions import HTTPException
from starlette.responses import Response, StreamingResponse

from soakbell.errors import Fault, LogRefused, NotUnderstood, StoreError
from soakbell.gear.fold import Whereabouts
from soakbell.gear.log import Correction, LogEntry, Moved, new_entry
from soakbell.gear.log_csv import MAX_BYTES, CsvImport, plan_import, put_log_csv
from soakbell.gear.strings import Mark, TrapString
from soakbell.store.carrying import carry_in, carrying_folder, nothing_done
from soakbell.store.log import all_entries, append_entries, entries_keyed, newest_seq, take_entries, voided_among
from soakbell.web.boat_zip import entries_in_order, unpack_boat_zip, write_boat_zip
from soakbell.web.keys import timed_signer
from soakbell.web.marks_import import MOST_BYTES, MarksRead, read_marks, told_mark
from soakbell.web.visit import Role, Visit, Way

MOST_ZIP_BYTES = 50_000_000
MOST_UNPACKED_BYTES = 500_000_000
MOST_NEW_ROWS = 10_000
"""They are written in one go, for which a letter waits: 1.5 s by 0.15 ms a row, of the 15 s that it does."""
_AROUND_BYTES = 100_000  # of a form, besides its file
_SIGNED_BYTES = 2 * MAX_BYTES  # a file in base64, if nothing of it packs
_PROPOSAL_S = 3600
_TOLD_BY = "marks"
"""Not "phone": what the crew may undo of that is its own."""
_MARKS_SALT, _LOG_SALT = "soakbell marks to take", "soakbell log to take"
_BATCH = re.compile(r"[0-9a-f]{32}")
_MOST_SHOWN = 50
_AT_ONCE = 1 << 18
_TAKE_TRIES = 3
_LONG = threading.Lock()


# ---- marks


@dataclass(frozen=True)
class MoveRow:
    string: str
    start: str
    end: str


@dataclass(frozen=True)
class Batch:
    """An import of marks that was taken. ``undone``: none of it counts any more."""

    code: str
    taken: str
    strings: tuple[str, ...]
    undone: bool


def _marks(visit: Visit) -> Response:
    code = visit.query.get("batch", "")
    return _marks_page(visit, batch=_batch(visit, code) if code else None)


def _marks_page(
    visit: Visit, *, status: int = 200, batch: Batch | None = None, fault: str = "", faults: tuple[Fault, ...] = ()
) -> Response:
    return visit.page("marks.html", status=status, batch=batch, fault=fault, faults=_told(faults))


def _marks_look(visit: Visit, form: FormData) -> Response:
    house = visit.house
    with _alone():
        content = _uploaded(form)
        if content is None:
            return _marks_page(visit, status=422, fault=_NO_FILE)
        lie, afloat = _as_they_lie(visit)
        read = read_marks(content, lie, afloat, house.settings.harbor.mark)
    if not (read.moves or read.unmoved or read.passed_over):
        fault = "" if read.faults else "The file has no marks."
        return _marks_page(visit, status=422, fault=fault, faults=read.faults)
    told = [[one.string, *_degrees(one.start), *_degrees(one.end)] for one in read.moves]
    proposal = {"boat": house.boat, "at": visit.now.isoformat(), "moves": told}
    return visit.page(
        "marks_look.html",
        rows=_move_rows(read),
        unmoved=read.unmoved,
        faults=_told(read.faults),
        passed_over=_shortened(read.passed_over),
        proposal=_signer(visit, _MARKS_SALT).dumps(proposal) if told else "",
    )


def _marks_take(visit: Visit, form: FormData) -> Response:
    told = _proposed(visit, form, _MARKS_SALT)
    if told is None:
        return _marks_page(visit, status=410, fault=_TOO_OLD)
    house, code = visit.house, _code_of(str(form.get("proposal", "")))
    at = datetime.fromisoformat(told["at"])
    entries = [
        new_entry(
            Moved(Mark(*degrees[:2]), Mark(*degrees[2:])),
            happened_at=at,
            told_at=visit.now,
            told_by=_TOLD_BY,
            string=string,
            key=_key(code, number),
        )
        for number, (string, *degrees) in enumerate(told["moves"])
    ]
    try:
        take_entries(house.store, entries, house.settings.trap_strings, visit.now, zone=house.zone)
    except LogRefused as refused:
        return _marks_page(visit, status=422, fault="Nothing was taken.", faults=refused.faults)
    return visit.go(f"/marks?batch={code}")


def _marks_undo(visit: Visit, form: FormData) -> Response:
    """Voids an import by corrections, as many as still count: all of them, or none."""
    house, code = visit.house, str(form.get("batch", ""))
    entries, undone = _entries_of(visit, code)
    if not entries:
        raise HTTPException(404, "There is no such import.")
    voids = [
        new_entry(
            Correction(entry.id, "import of marks undone"),
            happened_at=visit.now,
            told_at=visit.now,
            told_by=_TOLD_BY,
        )
        for entry in entries
        if entry.id not in undone
    ]
    try:
        take_entries(house.store, voids, house.settings.trap_strings, visit.now, zone=house.zone)
    except LogRefused as refused:
        return _marks_page(visit, status=422, fault="Nothing was undone.", faults=refused.faults)
    return visit.go(f"/marks?batch={code}")


def _batch(visit: Visit, code: str) -> Batch:
    entries, undone = _entries_of(visit, code)
    if not entries:
        raise HTTPException(404, "There is no such import.")
    names = tuple(entry.string or "" for entry in entries)
    return Batch(code, visit.times.dated(entries[0].told_at), names, {entry.id for entry in entries} <= undone)


def _entries_of(visit: Visit, code: str) -> tuple[list[LogEntry], frozenset[str]]:
    """The entries of one import, and which of them don't count."""
    if not _BATCH.fullmatch(code):
        return [], frozenset()
    keys = [_key(code, number) for number in range(len(visit.house.settings.strings))]
    with visit.house.store.reading() as session:
        entries = entries_keyed(session, keys)
        return entries, voided_among(session, [entry.id for entry in entries])


def _as_they_lie(visit: Visit) -> tuple[list[TrapString], frozenset[str]]:
    """The strings between the marks of now, and which have traps in the water."""
    gear, strings = visit.house.desk.log.now().gear.strings, visit.house.settings.trap_strings
    lie = [replace(one, start=gear[one.name].start, end=gear[one.name].end) for one in strings]
    return lie, frozenset(one.name for one in strings if gear[one.name].places(Whereabouts.FISHING))


def _move_rows(read: MarksRead) -> tuple[MoveRow, ...]:
    return tuple(
        MoveRow(one.string, _moved_words(one.start, one.start_nmi), _moved_words(one.end, one.end_nmi))
        for one in read.moves
    )


def _moved_words(mark: Mark, by_nmi: float) -> str:
    return f"to {told_mark(mark)}, {by_nmi:.2f} nmi from where it is"


def _degrees(mark: Mark) -> tuple[float, float]:
    return mark.lat_deg, mark.lon_deg


def _key(code: str, number: int) -> str:
    return f"marks-{code}-{number}"


# ---- the log as a table


def _log_look(visit: Visit, form: FormData) -> Response:
    content = _uploaded(form)
    if content is None:
        return _carry(visit, status=422, fault=_NO_FILE)
    with _alone():
        planned, _ = _planned(visit, content, skip_bad=True)
    if not planned.entries and not planned.known and not planned.faults:
        return _carry(visit, status=422, fault="The file has no rows.")
    if len(planned.entries) > MOST_NEW_ROWS:
        fault = f"The file has {len(planned.entries)} new rows, and {MOST_NEW_ROWS} go in at once. Split it."
        return _carry(visit, status=422, fault=fault)
    proposal = {"boat": visit.house.boat, "at": visit.now.isoformat(), "csv": content.decode("utf-8", "replace")}
    return visit.page(
        "carry_log.html",
        new=len(planned.entries),
        known=planned.known,
        faults=_shortened(_told(planned.faults)),
        bad=len({fault.where for fault in planned.faults}),
        proposal=_signer(visit, _LOG_SALT).dumps(proposal) if planned.entries else "",
    )


def _log_take(visit: Visit, form: FormData) -> Response:
    told = _proposed(visit, form, _LOG_SALT)
    if told is None:
        return _carry(visit, status=410, fault=_TOO_OLD)
    skip_bad = form.get("skip_bad") == "yes"
    store = visit.house.store
    with _alone():
        for _ in range(_TAKE_TRIES):
            planned, read_to = _planned(visit, told["csv"].encode(), skip_bad=skip_bad, at=told["at"])
            if planned.faults and not skip_bad:
                faults = _shortened(_told(planned.faults))
                return _carry(visit, status=422, fault="Nothing was taken.", faults=faults)
            with store.turn, store.writing() as session:  # a letter waits for this, so it's not for weighing
                if newest_seq(session) == read_to:
                    append_entries(session, planned.entries)
                    return visit.page("carry_taken.html", new=len(planned.entries), known=planned.known)
    return _carry(visit, status=409, fault="Nothing was taken, since the log was told meanwhile. Send it again.")


@contextmanager
def _alone() -> Iterator[None]:
    """Only one at a time of what takes long or much memory; letters are written beside it."""
    if not _LONG.acquire(blocking=False):
        raise HTTPException(503, "Something large is carried already. Try again in a minute.")
    try:
        yield
    finally:
        _LONG.release()


def _planned(visit: Visit, content: bytes, *, skip_bad: bool, at: str = "") -> tuple[CsvImport, int]:
    """What would be taken, and the number of the log's last entry that this rests on."""
    house = visit.house
    with house.store.reading() as session:
        read_to, log = newest_seq(session), all_entries(session)
    told_at = datetime.fromisoformat(at) if at else visit.now
    planned = plan_import(
        content,
        log,
        house.settings.trap_strings,
        house.zone,
        told_at,
        outfit=house.usable_outfit,
        skip_bad=skip_bad,
    )
    return planned, read_to


def _log_csv(visit: Visit) -> Response:
    house = visit.house
    with house.store.reading() as session:
        seq = newest_seq(session)
    return _file_of(
        visit,
        lambda to: put_log_csv(to, entries_in_order(house.store, seq), house.zone),
        "log.csv",
        "text/csv; charset=utf-8",
    )


# ---- everything


def _carry_page(visit: Visit) -> Response:
    return _carry(visit)


def _carry(visit: Visit, *, status: int = 200, fault: str = "", faults: tuple[str, ...] = ()) -> Response:
    with visit.house.store.reading() as session:
        empty = nothing_done(session)
    return visit.page(
        "carry.html", status=status, fault=fault, faults=faults, empty=empty, most_rows=f"{MOST_NEW_ROWS:,}"
    )


def _boat_zip(visit: Visit) -> Response:
    house = visit.house
    return _file_of(
        visit,
        lambda to: write_boat_zip(to, house.settings, house.store, visit.now, invented=house.invented),
        "soakbell-boat.zip",
        "application/zip",
    )


def _file_of(visit: Visit, write: Callable[[IO[bytes]], None], name: str, media_type: str) -> Response:
    """Written beside the database to a file without a name, which is gone whatever becomes of the answer."""
    with _alone(), ExitStack() as on_fault:
        packed = on_fault.enter_context(tempfile.TemporaryFile(dir=_database(visit).parent))
        write(packed)
        on_fault.pop_all()  # parts() closes it
    size = packed.seek(0, 2)
    packed.seek(0)

    def parts() -> Iterator[bytes]:
        with packed:
            while part := packed.read(_AT_ONCE):
                yield part

    headers = {**_as_file(name), "Content-Length": str(size)}
    return StreamingResponse(parts(), media_type=media_type, headers=headers)


def _carry_in(visit: Visit, form: FormData) -> Response:
    upload = form.get("file")
    if not isinstance(upload, UploadFile) or not upload.size:
        return _carry(visit, status=422, fault=_NO_FILE)
    house = visit.house
    with _alone(), carrying_folder(_database(visit)) as folder:
        try:
            carried = unpack_boat_zip(upload.file, folder, boat=house.boat, most_bytes=MOST_UNPACKED_BYTES)
            entries = carry_in(house.store, carried.database, house.boat)
        except (NotUnderstood, StoreError) as fault:
            return _carry(visit, status=422, fault=f"Nothing was carried in: {fault}.")
    return visit.page("carry_done.html", made=visit.times.zoned(carried.made_at, dated=True), entries=entries)


# ---- what these share


def _database(visit: Visit) -> Path:
    file = visit.house.store.file
    if file is None:
        raise StoreError("the database is no file, so nothing can be carried")
    return file


_NO_FILE = "Choose a file first."
_TOO_OLD = "That was looked at too long ago, or is not from here. Send the file again."


def _uploaded(form: FormData) -> bytes | None:
    """The file of a form; its name is never looked at. None where there is none."""
    upload = form.get("file")
    if not isinstance(upload, UploadFile) or not upload.size:
        return None
    return upload.file.read()


def _signer(visit: Visit, salt: str) -> URLSafeTimedSerializer:
    return timed_signer(visit.house.keys, salt, visit.now)


def _proposed(visit: Visit, form: FormData, salt: str) -> dict[str, Any] | None:
    """What was looked at, out of the form; None where it is too old, of another boat or not signed by us."""
    try:
        told = _signer(visit, salt).loads(str(form.get("proposal", "")), max_age=_PROPOSAL_S)
    except BadSignature:
        return None
    return told if isinstance(told, dict) and told.get("boat") == visit.house.boat else None


def _code_of(proposal: str) -> str:
    """The same for a form that is sent twice."""
    return hashlib.sha256(proposal.encode()).hexdigest()[:32]


def _told(faults: tuple[Fault, ...]) -> tuple[str, ...]:
    return tuple(f"{one.where}, {one.key}: found {one.found}; write {one.write}." for one in faults)


def _shortened(lines: tuple[str, ...]) -> tuple[str, ...]:
    more = len(lines) - _MOST_SHOWN
    return lines if more <= 0 else (*lines[:_MOST_SHOWN], f"and {more} more")


def _as_file(name: str) -> dict[str, str]:
    return {"Content-Disposition": f'attachment; filename="{name}"'}


WAYS = (
    Way("/marks", get=_marks, post=_marks_look, role=Role.SKIPPER, most_bytes=MOST_BYTES + _AROUND_BYTES),
    Way("/marks/take", post=_marks_take, role=Role.SKIPPER),
    Way("/marks/undo", post=_marks_undo, role=Role.SKIPPER),
    Way("/carry", get=_carry_page, role=Role.SKIPPER),
    Way("/carry/boat.zip", get=_boat_zip, role=Role.SKIPPER),
    Way("/carry/log.csv", get=_log_csv, role=Role.SKIPPER),
    Way("/carry/log", post=_log_look, role=Role.SKIPPER, most_bytes=MAX_BYTES + _AROUND_BYTES),
    Way("/carry/log/take", post=_log_take, role=Role.SKIPPER, most_bytes=_SIGNED_BYTES + _AROUND_BYTES),
    Way("/carry/import", post=_carry_in, role=Role.SKIPPER, most_bytes=MOST_ZIP_BYTES + _AROUND_BYTES),
)
