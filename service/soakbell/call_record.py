"""A call as plain JSON values and back, for the record that later turns and replays are made from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from datetime import date, datetime
from enum import Enum
from typing import Any

import pandas as pd
from pydantic import TypeAdapter, ValidationError

from soakbell.errors import StoreError
from soakbell.planning.call import Call
from soakbell.planning.trips import Trip

_CALL: TypeAdapter[Call] = TypeAdapter(Call)
_TRIP: TypeAdapter[Trip | None] = TypeAdapter(Trip | None)


def as_record(call: Call, trip: Trip | None) -> dict[str, Any]:
    """JSON values only. Moments and dates inside reasons keep their type by a tag."""
    return {"call": _plain(call), "trip": _plain(trip)}


def from_record(record: Mapping[str, Any]) -> tuple[Call, Trip | None]:
    """Back from ``as_record``.

    Raises:
        StoreError: not what was recorded.
    """
    try:
        call = dict(_typed(record["call"]))
        table = pd.DataFrame(call["hours"]["rows"], columns=call["hours"]["columns"], dtype=float)
        table.index = pd.DatetimeIndex(call["hours"]["index"], tz="UTC")
        return _CALL.validate_python(call | {"hours": table}), _TRIP.validate_python(_typed(record["trip"]))
    except (KeyError, TypeError, ValueError, ValidationError) as error:
        raise StoreError(
            f"a recorded call can't be read back ({error}); the next letter makes a new one"
        ) from error


def _plain(value: Any) -> Any:
    if isinstance(value, pd.DataFrame):
        rows = [[None if number != number else number for number in row] for row in value.to_numpy().tolist()]
        index = [_plain(at.to_pydatetime()) for at in value.index]
        return {"columns": list(value.columns), "index": index, "rows": rows}
    if is_dataclass(value) and not isinstance(value, type):
        return {f.name: _plain(getattr(value, f.name)) for f in fields(value)}
    if isinstance(value, datetime):
        return {"moment": value.isoformat()}
    if isinstance(value, date):
        return {"date": value.isoformat()}
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, Mapping):
        return {str(k): _plain(v) for k, v in value.items()}
    if isinstance(value, (list, tuple, set, frozenset)):
        return [_plain(v) for v in value]
    return value


def _typed(value: Any) -> Any:
    if isinstance(value, Mapping):
        if value.keys() == {"moment"}:
            return datetime.fromisoformat(value["moment"])
        if value.keys() == {"date"}:
            return date.fromisoformat(value["date"])
        return {k: _typed(v) for k, v in value.items()}
    if isinstance(value, list):
        return tuple(_typed(v) for v in value)
    return value
