"""The one reader of JSON from outside, and the readers of its fields.

Stricter than the standard module: what RFC 8259 leaves open (a name given twice, numbers past the range of a
double, text outside UTF-8) is refused, because a guess here would become a number in a call.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime, timedelta

from soakbell.errors import NotUnderstood

MOST_LEVELS = 40
"""Nesting allowed in a reply. The deepest captured reply has 9 levels."""

_SHOWN = 80  # characters of a strange value that are quoted in a message
_MOST_DIGITS = 15  # of a whole number: beyond, a double no longer holds each one
_MOMENT = re.compile(
    r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}(:[0-9]{2}(\.[0-9]{1,6})?)?(Z|[+-][0-9]{2}:[0-9]{2})"
)
_FEW_DIGITS = re.compile(r"[0-9]{1,4}")
_DURATION = re.compile(
    r"P(?:([0-9]{1,3})W|(?:([0-9]{1,3})D)?(?:T(?=[0-9])(?:([0-9]{1,4})H)?(?:([0-9]{1,5})M)?(?:([0-9]{1,7})S)?)?)"
)


def read_object(body: bytes, *, what: str) -> dict[str, object]:
    """The JSON object in ``body``, if it is no report of a fault (RFC 7807, or a lone ``error``).

    Raises:
        NotUnderstood: as ``read_json``; another value than an object; a report of a fault.
    """
    found = read_json(body, what=what)
    if not isinstance(found, dict):
        raise NotUnderstood(f"expected {what}, found {kind_of_value(found)}")
    _refuse_fault_reports(found, what)
    return found


def read_json(body: bytes, *, what: str) -> object:
    """The JSON value in ``body``.

    Args:
        body: the reply as it came.
        what: what was asked for, for the message ("a forecast grid").

    Raises:
        NotUnderstood: not UTF-8, not JSON, cut off, a name given twice, NaN, an infinity, nested too deep, or a
            page of HTML.
    """
    stripped = body.lstrip()
    if not stripped:
        raise NotUnderstood(f"expected {what}, found an empty reply")
    if stripped.startswith(b"<"):
        raise NotUnderstood(f"expected {what}, found a page of HTML or XML: {shown(stripped[:_SHOWN])}")
    try:
        text = body.decode("utf-8")
    except UnicodeDecodeError as error:
        raise NotUnderstood(f"expected {what}, found bytes that are not UTF-8 at {error.start}") from error
    try:
        found = json.loads(
            text,
            object_pairs_hook=_each_name_once,
            parse_constant=_refuse_constant,
            parse_float=_finite_float,
            parse_int=_modest_int,
        )
    except RecursionError as error:
        raise NotUnderstood(f"expected {what}, found JSON nested without end") from error
    except ValueError as error:  # JSONDecodeError is one
        raise NotUnderstood(f"expected {what}, found no good JSON: {error}") from error
    _refuse_depth_and_half_characters(found, what)
    return found


def kind_of_value(value: object) -> str:
    """What a JSON value is, in words, with the start of it."""
    if value is None:
        return "null"
    if isinstance(value, bool):
        return f"the truth value {str(value).lower()}"
    if isinstance(value, (int, float)):
        return f"the number {value!r}"[:_SHOWN]
    if isinstance(value, str):
        return f"the text {shown(value)}"
    if isinstance(value, Sequence):
        return f"a list of {len(value)}"
    return "an object"


def shown(value: object) -> str:
    """A strange value, quoted and cut to a length that fits in a message."""
    text = repr(value)
    return text if len(text) <= _SHOWN else text[: _SHOWN - 3] + "..."


def object_at(parent: Mapping[str, object], key: str, where: str) -> Mapping[str, object]:
    found = parent.get(key)
    if not isinstance(found, dict):
        raise NotUnderstood(f"{where}: {key}: expected an object, found {_found(parent, key)}")
    return found


def list_at(parent: Mapping[str, object], key: str, where: str) -> Sequence[object]:
    found = parent.get(key)
    if not isinstance(found, list):
        raise NotUnderstood(f"{where}: {key}: expected a list, found {_found(parent, key)}")
    return found


def texts_at(parent: Mapping[str, object], key: str, where: str) -> tuple[str, ...]:
    """The list of texts under ``key``."""
    found = list_at(parent, key, where)
    for item in found:
        if not isinstance(item, str):
            raise NotUnderstood(f"{where}: {key}: expected texts, found {kind_of_value(item)}")
    return tuple(str(item) for item in found)


def text_at(parent: Mapping[str, object], key: str, where: str) -> str:
    found = parent.get(key)
    if not isinstance(found, str) or not found.strip():
        raise NotUnderstood(f"{where}: {key}: expected a text, found {_found(parent, key)}")
    return found


def text_or_none_at(parent: Mapping[str, object], key: str, where: str) -> str | None:
    """The text under ``key``; None where it is null or absent."""
    found = parent.get(key)
    if found is None:
        return None
    if not isinstance(found, str):
        raise NotUnderstood(f"{where}: {key}: expected a text or null, found {kind_of_value(found)}")
    return found


def whole_number_at(parent: Mapping[str, object], key: str, where: str) -> int:
    """The whole number under ``key``. Up to four digits as text count too: captured grids write gridX so."""
    found = parent.get(key)
    if isinstance(found, str) and _FEW_DIGITS.fullmatch(found):
        return int(found)
    if not isinstance(found, int) or isinstance(found, bool):
        raise NotUnderstood(f"{where}: {key}: expected a whole number, found {_found(parent, key)}")
    return found


def moment(text: object, where: str) -> datetime:
    """An ISO 8601 date and time with an offset, in UTC.

    Raises:
        NotUnderstood: anything else, also a time without an offset, whose moment can't be known.
    """
    if not isinstance(text, str) or not _MOMENT.fullmatch(text):
        raise NotUnderstood(f"{where}: expected a time with its offset, found {kind_of_value(text)}")
    try:
        return datetime.fromisoformat(text).astimezone(UTC)
    except (ValueError, OverflowError) as error:
        raise NotUnderstood(f"{where}: {shown(text)} is no time: {error}") from error


def moment_or_none_at(parent: Mapping[str, object], key: str, where: str) -> datetime | None:
    """The time under ``key``; None where it is null or absent."""
    found = parent.get(key)
    return None if found is None else moment(found, f"{where}: {key}")


def span(text: object, where: str) -> tuple[datetime, datetime]:
    """Start and end of an ISO 8601 interval written as start and duration, ``2022-02-04T15:00:00+00:00/P6DT4H``.

    Days here are 24 hours: the start is an instant, and no calendar stands behind the offset.

    Raises:
        NotUnderstood: another form, or a span of no length.
    """
    start_text, slash, duration_text = text.partition("/") if isinstance(text, str) else ("", "", "")
    lasts = _DURATION.fullmatch(duration_text)
    if not slash or lasts is None:
        raise NotUnderstood(f"{where}: expected a start and a duration, found {kind_of_value(text)}")
    starts_at = moment(start_text, where)
    weeks, days, hours, minutes, seconds = (int(part or 0) for part in lasts.groups())
    length = timedelta(weeks=weeks, days=days, hours=hours, minutes=minutes, seconds=seconds)
    if not length:
        raise NotUnderstood(f"{where}: {shown(text)} has no length")
    try:
        return starts_at, starts_at + length
    except OverflowError as error:
        raise NotUnderstood(f"{where}: {shown(text)} goes past the calendar") from error


def _found(parent: Mapping[str, object], key: str) -> str:
    return kind_of_value(parent[key]) if key in parent else "nothing"


def _each_name_once(pairs: list[tuple[str, object]]) -> dict[str, object]:
    found = dict(pairs)
    if len(found) != len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        raise ValueError(f"the name {shown(twice)} is given twice in one object")
    return found


def _refuse_constant(name: str) -> object:
    raise ValueError(f"{name} is not a number of JSON")


def _finite_float(digits: str) -> float:
    value = float(digits)
    if not math.isfinite(value):
        raise ValueError(f"the number {shown(digits)} is past the range of a double")
    return value


def _modest_int(digits: str) -> int:
    if len(digits) > _MOST_DIGITS:
        raise ValueError(f"the number {shown(digits)} has too many digits")
    return int(digits)


def _refuse_depth_and_half_characters(found: object, what: str) -> None:
    level: list[object] = [found]
    for _ in range(MOST_LEVELS):
        below: list[object] = []
        for value in level:
            if isinstance(value, dict):
                below.extend(value.values())
                below.extend(value)
            elif isinstance(value, list):
                below.extend(value)
            elif isinstance(value, str) and not value.isascii():
                _refuse_half_characters(value, what)
        if not below:
            return
        level = below
    raise NotUnderstood(f"expected {what}, found JSON nested more than {MOST_LEVELS} levels deep")


def _refuse_half_characters(value: str, what: str) -> None:
    try:
        value.encode("utf-8")
    except UnicodeEncodeError as error:
        raise NotUnderstood(f"expected {what}, found half a character in {shown(value)}") from error


def _refuse_fault_reports(found: Mapping[str, object], what: str) -> None:
    if is_problem(found):
        title, status, detail = (found.get(key, "") for key in ("title", "status", "detail"))
        said = f"{title} ({status}): {detail}"
        raise NotUnderstood(f"expected {what}, found the service's report of a fault: {said}")
    if set(found) == {"error"}:
        raise NotUnderstood(f"expected {what}, found the service's report of a fault: {shown(found['error'])}")


def is_problem(found: Mapping[str, object]) -> bool:
    """Whether an object is a problem report (RFC 7807, RFC 9457): a title and a status, and no data."""
    return "title" in found and "status" in found and not {"features", "properties", "@graph"} & set(found)
