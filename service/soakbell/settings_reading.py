"""How a file of settings is read: its tables taken strictly, and all that is wrong with them told at once."""

from __future__ import annotations

import difflib
import json
import re
import tomllib
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from datetime import time
from pathlib import Path
from typing import Annotated, Any, Literal, TypeVar

from email_validator import EmailNotValidError, validate_email
from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, ValidationError

from soakbell.errors import Fault, SettingsError

NAME_CHARACTERS = 60
_MOST_BYTES = 1_000_000
_SECRET_KEYS = frozenset({"password", "passwd", "pass", "secret", "token", "heartbeat_url", "mail_password"})

M = TypeVar("M", bound=BaseModel)
T = TypeVar("T")


# ---- Words that any file may hold ------------------------------------------------------------------------


def plain_name(text: str) -> str:
    if not text or text != text.strip() or not text.isprintable():
        raise ValueError("a name of printable characters on one line, without spaces at its ends")
    if len(text) > NAME_CHARACTERS:
        raise ValueError(f"a name of at most {NAME_CHARACTERS} characters (this one has {len(text)})")
    return text


def mail_address(text: str) -> str:
    try:
        return validate_email(text, check_deliverability=False, allow_smtputf8=False).normalized
    except EmailNotValidError as error:
        raise ValueError(f"one plain mail address, as in skipper@boat.example ({error})") from error


def _local_time(text: object) -> time:
    if not isinstance(text, str) or not re.fullmatch(r"([01][0-9]|2[0-3]):[0-5][0-9]", text):
        raise ValueError('a local time in quotes as HH:MM, from "00:00" to "23:59"')
    return time(int(text[:2]), int(text[3:]))


def no_doubles(items: tuple[str, ...]) -> tuple[str, ...]:
    if len({item.casefold() for item in items}) < len(items):
        raise ValueError("each one once")
    return items


Name = Annotated[str, AfterValidator(plain_name)]
Address = Annotated[str, AfterValidator(mail_address)]
LocalTime = Annotated[time, BeforeValidator(_local_time)]
Weekday = Literal["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"]
WEEKDAYS: tuple[Weekday, ...] = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


class Table(BaseModel):
    """A table of the file. Every field says in its description what to write."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)


# ---- Reading ---------------------------------------------------------------------------------------------


def read_file(path: Path, faults: list[Fault]) -> bytes | None:
    try:
        raw = path.read_bytes()
    except OSError as error:
        faults.append(Fault(str(path), "file", error.strerror or "a fault", "the path of a file that can be read"))
        return None
    if len(raw) > _MOST_BYTES:
        faults.append(Fault(str(path), "file", f"{len(raw)} bytes", f"at most {_MOST_BYTES} bytes"))
        return None
    return raw


def toml_of(path: Path, raw: bytes, faults: list[Fault]) -> dict[str, Any] | None:
    try:
        return tomllib.loads(raw.decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        faults.append(Fault(str(path), "file", f"a byte that is not UTF-8 in line {line}", "save it as UTF-8"))
    except (ValueError, RecursionError) as error:
        faults.append(Fault(str(path), "file", f"{error}", "TOML as in the example that comes with the service"))
    return None


def load_beside(path: Path, read: Callable[[dict[str, Any], list[Fault]], T]) -> T:
    """Read a file on which no call rests.

    Raises:
        SettingsError: carries every fault found; whatever else goes wrong in reading is one too.
    """
    faults: list[Fault] = []
    try:
        raw = read_file(path, faults)
        data = None if raw is None else toml_of(path, raw, faults)
        if data is None:
            raise SettingsError(faults)
        return read(data, faults)
    except SettingsError:
        raise
    except Exception as fault:  # no call may be lost to a file that it doesn't need
        found = f"what can't be read ({type(fault).__name__}: {fault})"
        write = "TOML as in the example that comes with the service"
        raise SettingsError([Fault(str(path), "file", found, write)]) from fault


def usable(path: Path | None, load: Callable[[Path], T]) -> T | str | None:
    """What is loaded; where it can't be used, why; None without a file."""
    if path is None:
        return None
    try:
        return load(path)
    except SettingsError as fault:
        return str(fault)


def as_json(data: object) -> str:
    """JSON text, which keeps pydantic strict about types and still lets arrays become tuples and dates dates."""
    return json.dumps(data, default=str)


class Reader:
    """Takes the tables of one file and gathers what is wrong with them."""

    def __init__(self, where: str, data: Mapping[str, Any], faults: list[Fault]) -> None:
        self._where = where
        self._data = data
        self._faults = faults
        self._known: list[str] = []

    def table(self, key: str, model: type[M], *, may_lack: bool = False) -> M | None:
        self._known.append(key)
        found = self._data.get(key, {} if may_lack else None)
        if not isinstance(found, dict):
            self._say(key, shown(found), f"a table [{key}]")
            return None
        return self._take(key, model, found)

    def tables(self, key: str, model: type[M], *, may_lack: bool = False) -> list[M]:
        self._known.append(key)
        found = self._data.get(key)
        if found is None and may_lack:
            return []
        if not isinstance(found, list) or not found or not all(isinstance(item, dict) for item in found):
            self._say(key, shown(found), f"at least one table [[{key}]]")
            return []
        taken = [self._take(item_key(key, i, item), model, item) for i, item in enumerate(found)]
        return [item for item in taken if item is not None]

    def unknown_tables(self, *others: str) -> None:
        """Tells the tables that were not asked for. ``others`` may be there, and are thought of as meant."""
        known = list(dict.fromkeys((*self._known, *others)))
        for key in self._data:
            if key not in known:
                self._say(key, "a key that isn't known", nearest(key, known))

    def _take(self, key: str, model: type[M], found: Mapping[str, Any]) -> M | None:
        try:
            return model.model_validate_json(as_json(found))
        except ValidationError as error:
            self._faults += [_setting_fault(self._where, key, model, detail) for detail in error.errors()]
            return None

    def _say(self, key: str, found: str, write: str) -> None:
        self._faults.append(Fault(self._where, key, found, write))


def item_key(key: str, place: int, item: Mapping[str, Any]) -> str:
    name = item.get("name")
    return f"{key}[{name}]" if isinstance(name, str) and name.isprintable() else f"{key}[number {place + 1}]"


def _setting_fault(where: str, prefix: str, model: type[BaseModel], error: Mapping[str, Any]) -> Fault:
    loc = tuple(error["loc"])
    key = prefix + "".join(f"[{part}]" if isinstance(part, int) else f".{part}" for part in loc)
    if error["type"] == "extra_forbidden":
        return _unknown_key(where, key, str(loc[-1]), _table_at(model, loc[:-1]))
    if error["type"] == "missing":
        return Fault(where, key, "nothing", _hint(model, loc))
    if error["type"] == "json_invalid":
        return Fault(
            where, key, "lists or tables too deep within each other", f"the table as in the example: {key}"
        )
    if error["type"] == "value_error":
        return Fault(where, key, shown(error["input"]), str(error["ctx"]["error"]))
    return Fault(where, key, shown(error["input"]), _hint(model, loc))


def _unknown_key(where: str, key: str, name: str, table: type[BaseModel]) -> Fault:
    if name.casefold() in _SECRET_KEYS:
        variable = "SOAKBELL_HEARTBEAT_URL" if name == "heartbeat_url" else "SOAKBELL_MAIL_PASSWORD"
        write = f"no secrets here: remove it, and name a file that holds it in {variable}_FILE"
        return Fault(where, key, "a secret (not shown)", write)
    return Fault(where, key, "a key that isn't known", nearest(name, list(table.model_fields)))


def nearest(name: str, known: Sequence[str]) -> str:
    near = difflib.get_close_matches(name, known, n=1)
    return f"{near[0]}?" if near else f"one of {', '.join(known)}"


def _table_at(model: type[BaseModel], loc: Sequence[object]) -> type[BaseModel]:
    for part in loc:
        info = model.model_fields.get(str(part))
        inner = None if info is None else _table_within(info.annotation)
        if inner is not None:
            model = inner
    return model


def _table_within(annotation: Any) -> type[BaseModel] | None:
    choices = (annotation, *getattr(annotation, "__args__", ()))
    return next((c for c in choices if isinstance(c, type) and issubclass(c, BaseModel)), None)


def _hint(model: type[BaseModel], loc: Sequence[object]) -> str:
    """What the description of the field says to write."""
    names = [part for part in loc if isinstance(part, str)]
    for depth in range(len(names), 0, -1):
        info = _table_at(model, names[: depth - 1]).model_fields.get(names[depth - 1])
        if info is not None and info.description:
            return info.description
    return "a table"


def shown(value: object) -> str:
    if value is None:
        return "nothing"
    if isinstance(value, dict):
        return "a table"
    text = repr(value)
    if "://" in text and "@" in text:
        return "an address with a user in it (not shown)"
    return text if len(text) <= 80 else f"{text[:77]}..."


def doubled(where: str, names: Iterable[tuple[str, str | None]]) -> Iterator[Fault]:
    """A fault for each name that was there before; ``names`` are keys of tables and what they are called."""
    seen: set[str] = set()
    for key, name in names:
        if name is None:
            continue
        if name.casefold() in seen:
            yield Fault(where, f"{key}.name", f"{name!r} a second time", "a name of its own")
        seen.add(name.casefold())
