"""What the skipper settled about his gear: ``config/gear.toml``, read apart from the rest.

No call needs it. A fault here is told in the letters and by the check, and stops nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date
from functools import partial
from pathlib import Path
from typing import Annotated, Any

from pydantic import AfterValidator, Field

from soakbell.errors import Fault, SettingsError
from soakbell.gear.log import Shares
from soakbell.gear.outfit import (
    BaitKind,
    ConditionKind,
    Grade,
    Outfit,
    PartKind,
    Standing,
    Supplier,
    UpkeepRule,
)
from soakbell.settings import Settings
from soakbell.settings_reading import (
    WEEKDAYS,
    Address,
    LocalTime,
    Name,
    Reader,
    Table,
    Weekday,
    doubled,
    load_beside,
    nearest,
    no_doubles,
    usable,
)


def _no_semicolon(text: str) -> str:
    if ";" in text:
        raise ValueError("a name without a semicolon, which parts the names in the log's CSV")
    return text


ListedName = Annotated[Name, AfterValidator(_no_semicolon)]
"""A name that stands in a cell of the CSV with others."""

_SOURCE = 'who says so, as in "maker\'s manual governs" or "common practice, no source"'
_DAYS = "days, more than 0 and at most 4000"
_BOXES = "boxes, more than 0 and at most 1000"


class Condition(Table):
    name: Name = Field(description="a name for what can be wrong with a trap")
    standing: Standing = Field(description='"may not be set", "bench" or "mend at next pull"')
    minutes: float = Field(gt=0, le=600, description="minutes a mend, more than 0 and at most 600")
    parts: dict[str, Annotated[float, Field(gt=0, le=1000)]] = Field(
        default_factory=dict, description='parts a mend by name, as in { "hook latch" = 1, "screw" = 4 }'
    )
    rule: str = Field(default="", max_length=200, description="the rule that a trap with this breaks, in words")

    def as_kind(self) -> ConditionKind:
        return ConditionKind(self.name, self.standing, self.minutes, _shares(self.parts), self.rule)


class Part(Table):
    name: ListedName = Field(description="the part's name")
    use_a_week: float = Field(ge=0, le=1000, description="pieces a week, 0 to 1000")
    lead_days: float = Field(ge=0, le=365, description="days from buying to having it, 0 to 365")
    lead_sd_days: float = Field(default=0, ge=0, le=365, description="days give or take, 0 to 365")
    pack: float = Field(default=1, gt=0, le=1000, description="pieces a pack, more than 0 and at most 1000")
    cost_usd: float | None = Field(default=None, ge=0, le=100_000, description="dollars a piece, 0 to 100000")


class UpkeepTask(Table):
    name: Name = Field(description="the task's name")
    source: str = Field(min_length=1, max_length=200, description=_SOURCE)
    safety: bool = Field(default=False, description="true or false")
    expires: bool = Field(default=False, description="true or false")
    before_leaving: bool = Field(default=False, description="true or false")
    every_days: float | None = Field(default=None, gt=0, le=4000, description=_DAYS)
    every_engine_h: float | None = Field(
        default=None, gt=0, le=10_000, description="hours of the engine, more than 0 and at most 10000"
    )
    every_pulls: int | None = Field(default=None, ge=1, le=10_000, description="hauls of a string, 1 to 10000")
    every_days_in_water: float | None = Field(default=None, gt=0, le=4000, description=_DAYS)
    soon_days: float = Field(default=14, ge=0, le=365, description="days, 0 to 365")
    soon_share: float = Field(default=0.1, ge=0, lt=1, description="a share of the interval, 0 to below 1")


class Bait(Table):
    name: Name = Field(description="the bait's name")
    boxes_a_trap: float = Field(gt=0, le=10, description="boxes a trap, more than 0 and at most 10")
    prior_traps: float = Field(default=200, gt=0, le=100_000, description="traps, more than 0 and at most 100000")
    thaw_h: float = Field(ge=0, le=168, description="hours, 0 to 168")
    spoil_h: float = Field(gt=0, le=720, description="hours, more than thaw_h and at most 720")


class BaitSupplier(Table):
    name: Name = Field(description="the supplier's name")
    order_weekdays: Annotated[tuple[Weekday, ...], AfterValidator(no_doubles)] = Field(
        min_length=1, description='days of the week, as in ["Mon", "Thu"]'
    )
    order_by: LocalTime = Field(description='a local time, as in "10:00"')
    lead_days: float = Field(ge=0, le=60, description="days, 0 to 60")
    lead_sd_days: float = Field(default=0, ge=0, le=60, description="days give or take, 0 to 60")
    minimum_boxes: float = Field(default=0, ge=0, le=1000, description="boxes, 0 to 1000")
    box_step: float = Field(default=1, gt=0, le=100, description="boxes, more than 0 and at most 100")
    address: Address | None = Field(default=None, description="one plain mail address, or leave it out")
    send_straight: bool = Field(default=False, description="true or false")
    closed_on: tuple[date, ...] = Field(default=(), description="a list of dates, as in [2026-12-25]")

    def as_supplier(self) -> Supplier:
        given = self.model_dump(exclude={"order_weekdays"})
        weekdays = sorted(WEEKDAYS.index(day) for day in self.order_weekdays)
        return Supplier(**given, order_weekdays=tuple(weekdays))


class ClawGrade(Table):
    name: ListedName = Field(description="the grade's name")
    from_oz: float = Field(ge=0, le=100, description="ounces a claw from which it counts, 0 to 100")
    source: str = Field(min_length=1, max_length=200, description=_SOURCE)
    price_usd_lb: float | None = Field(default=None, ge=0, le=1000, description="dollars a pound, 0 to 1000")


class Stock(Table):
    """How sure stocks are kept, and how far ahead."""

    service_level: float = Field(
        default=0.95, ge=0.5, lt=1, description="the chance of not running out, 0.5 to below 1"
    )
    freezer_boxes: float | None = Field(default=None, gt=0, le=1000, description=_BOXES)
    plan_days: int = Field(default=14, ge=1, le=60, description="days, 1 to 60")


class Bench(Table):
    minutes: float = Field(default=120, ge=0, le=1440, description="minutes, 0 to 1440")


def outfit_of(settings: Settings) -> Outfit | str | None:
    """The outfit; where it can't be used, why; None where the settings name no gear file."""
    return usable(settings.gear_file, load_outfit)


def load_outfit(path: Path) -> Outfit:
    """Read and check the gear file.

    Raises:
        SettingsError: carries every fault found; whatever else goes wrong in reading is one too.
    """
    return load_beside(path, partial(_read, path))


def _read(path: Path, data: dict[str, Any], faults: list[Fault]) -> Outfit:
    where = str(path)
    reader = Reader(where, data, faults)
    stock = reader.table("stock", Stock, may_lack=True)
    bench = reader.table("bench", Bench, may_lack=True)
    conditions = reader.tables("conditions", Condition, may_lack=True)
    parts = reader.tables("parts", Part, may_lack=True)
    upkeep = reader.tables("upkeep", UpkeepTask, may_lack=True)
    baits = reader.tables("baits", Bait, may_lack=True)
    supplier = reader.table("supplier", BaitSupplier) if "supplier" in data else None
    grades = reader.tables("grades", ClawGrade, may_lack=True)
    reader.unknown_tables("supplier")

    for key in ("conditions", "parts", "upkeep", "baits", "grades"):
        faults += doubled(where, _names(data, key))
    faults += _parts_known(where, conditions, [name for _, name in _names(data, "parts") if name is not None])
    faults += _comes_due(where, upkeep)
    faults += _bait_keeps(where, baits)
    faults += _can_be_ordered(where, supplier, stock)
    faults += _grades_apart(where, grades)
    if faults or stock is None or bench is None:
        raise SettingsError(faults)
    return Outfit(
        conditions=tuple(condition.as_kind() for condition in conditions),
        parts=tuple(PartKind(**part.model_dump()) for part in parts),
        upkeep=tuple(UpkeepRule(**task.model_dump()) for task in upkeep),
        baits=tuple(BaitKind(**bait.model_dump()) for bait in baits),
        supplier=None if supplier is None else supplier.as_supplier(),
        grades=tuple(Grade(**grade.model_dump()) for grade in sorted(grades, key=lambda grade: grade.from_oz)),
        service_level=stock.service_level,
        bench_minutes=bench.minutes,
        freezer_boxes=stock.freezer_boxes,
        plan_days=stock.plan_days,
    )


def _shares(amounts: Mapping[str, float]) -> Shares:
    return tuple(sorted(amounts.items()))


def _names(data: Mapping[str, object], key: str) -> list[tuple[str, str | None]]:
    """Keys and names of the tables as far as they can be read, whatever else is wrong with them."""
    found = data.get(key)
    tables = [table for table in found if isinstance(table, dict)] if isinstance(found, list) else []
    names = [table.get("name") for table in tables]
    return [(f"{key}[{name}]", name if isinstance(name, str) else None) for name in names]


def _parts_known(where: str, conditions: Iterable[Condition], parts: Sequence[str]) -> Iterator[Fault]:
    for condition in conditions:
        for part in condition.parts:
            if part not in parts:
                key = f"conditions[{condition.name}].parts"
                yield Fault(where, key, repr(part), nearest(part, parts) if parts else f"a table [[parts]] {part}")


def _comes_due(where: str, upkeep: Iterable[UpkeepTask]) -> Iterator[Fault]:
    for task in upkeep:
        intervals = (task.every_days, task.every_engine_h, task.every_pulls, task.every_days_in_water)
        if not task.expires and all(every is None for every in intervals):
            write = "every_days, every_engine_h, every_pulls or every_days_in_water, or expires = true"
            yield Fault(where, f"upkeep[{task.name}]", "nothing by which it comes due", write)


def _bait_keeps(where: str, baits: Iterable[Bait]) -> Iterator[Fault]:
    for bait in baits:
        if bait.spoil_h <= bait.thaw_h:
            write = f"more than thaw_h, {bait.thaw_h:g}: both count from the freezer"
            yield Fault(where, f"baits[{bait.name}].spoil_h", f"{bait.spoil_h:g}", write)


def _can_be_ordered(where: str, supplier: BaitSupplier | None, stock: Stock | None) -> Iterator[Fault]:
    if supplier is None:
        return
    if supplier.send_straight and supplier.address is None:
        write = "the address that orders go to, or send_straight = false"
        yield Fault(where, "supplier.address", "nothing, but send_straight = true", write)
    freezer_boxes = None if stock is None else stock.freezer_boxes
    if freezer_boxes is not None and supplier.minimum_boxes > freezer_boxes:
        write = f"at most the {freezer_boxes:g} boxes that the freezer holds (stock.freezer_boxes)"
        yield Fault(where, "supplier.minimum_boxes", f"{supplier.minimum_boxes:g}", write)


def _grades_apart(where: str, grades: Iterable[ClawGrade]) -> Iterator[Fault]:
    seen: dict[float, str] = {}
    for grade in grades:
        if grade.from_oz in seen:
            write = f"another weight than that of {seen[grade.from_oz]}"
            yield Fault(where, f"grades[{grade.name}].from_oz", f"{grade.from_oz:g}", write)
        seen.setdefault(grade.from_oz, grade.name)
