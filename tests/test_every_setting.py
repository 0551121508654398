"""``config/SETTINGS.md`` tells every setting that the code knows, with its default and range, and no other."""

from __future__ import annotations

import dataclasses
import re
import tomllib
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Any

import pytest
from pydantic import TypeAdapter
from pydantic.fields import FieldInfo

from soakbell import gear_settings, page_settings, plan_settings, settings
from soakbell.fishery import rules
from soakbell.settings_reading import Table

TOP = Path(__file__).resolve().parents[1]
PAGE = (TOP / "config" / "SETTINGS.md").read_text()
NEEDED, NONE, BELOW = "needed", "none", "as below"

TABLES: dict[tuple[str, str], type[Table]] = {
    ("boat.toml", "[boat]"): settings.Boat,
    ("boat.toml", "[boat.limits]"): settings.BoatLimits,
    ("boat.toml", "[boat.limits_young_crew], [strings.limits]"): settings.TighterLimits,
    ("boat.toml", "[harbor]"): settings.Harbor,
    ("boat.toml", "[[areas]]"): settings.Area,
    ("boat.toml", "[[strings]]"): settings.String,
    ("boat.toml", "[crew]"): settings.Crew,
    ("boat.toml", "[mail]"): settings.Mail,
    ("boat.toml", "[sources]"): settings.Sources,
    ("boat.toml", "[sources.max_age_h]"): settings.MaxAgeH,
    ("boat.toml", "[sources.large_gap]"): settings.LargeGap,
    ("boat.toml", "[letters]"): settings.Letters,
    ("boat.toml", "[fishery]"): settings.FisheryChoice,
    ("boat.toml", "[gear]"): settings.GearFile,
    ("boat.toml", "[plan]"): settings.PlanFile,
    ("boat.toml", "[page]"): settings.PageFile,
    ("boat.toml", "[store]"): settings.Store,
    ("boat.toml", "[service]"): settings.Service,
    ("gear.toml", "[stock]"): gear_settings.Stock,
    ("gear.toml", "[bench]"): gear_settings.Bench,
    ("gear.toml", "[[baits]]"): gear_settings.Bait,
    ("gear.toml", "[supplier]"): gear_settings.BaitSupplier,
    ("gear.toml", "[[grades]]"): gear_settings.ClawGrade,
    ("gear.toml", "[[conditions]]"): gear_settings.Condition,
    ("gear.toml", "[[parts]]"): gear_settings.Part,
    ("gear.toml", "[[upkeep]]"): gear_settings.UpkeepTask,
    ("plan.toml", "[plan]"): plan_settings.Plan,
    ("plan.toml", "[weather]"): plan_settings.Weather,
    ("plan.toml", "[take_up]"): plan_settings.TakeUp,
    ("plan.toml", "[curve]"): plan_settings.Curve,
    ("plan.toml", "[trust]"): plan_settings.Trust,
    ("plan.toml", "[trust.wind_kt], [trust.gust_kt], [trust.sea_m]"): plan_settings.Spread,
    ("page.toml", "[page]"): page_settings.PageTable,
}
RULES: dict[str, type] = {
    "the file": rules.Fishery,
    "[authority]": rules.Authority,
    "[[regions]]": rules.Region,
    "[[seasons]]": rules.Season,
    "[[closures]]": rules.Closure,
    "[[orders]]": rules.Order,
    "a rule": rules.Rule,
}
FIELDS = [(where, name, field) for where, table in TABLES.items() for name, field in table.model_fields.items()]


@dataclasses.dataclass(frozen=True)
class Told:
    default: str
    range: str


def told() -> Iterator[tuple[tuple[str, str, str], Told]]:
    """Each row, by file, table and name."""
    file = table = ""
    for line in PAGE.splitlines():
        if line.startswith("## "):
            file = line[3:].strip("`")
        elif line.startswith("### "):
            table = line[4:].strip("`")
        elif line.startswith("| `"):
            name, *cells = (cell.strip() for cell in re.split(r"(?<!\\)\|", line)[1:-1])
            told = Told(cells[1], cells[2]) if len(cells) == 4 else Told(cells[0], "")
            yield (file, table, name.strip("`")), told


ROWS = list(told())
FOUND = dict(ROWS)


def ids(case: object) -> str:
    return " ".join(case) if isinstance(case, tuple) else case if isinstance(case, str) else ""


def test_each_setting_stands_there_once_and_none_that_the_code_does_not_know() -> None:
    known = {(*where, name) for where, name, _ in FIELDS}
    known |= {("fisheries/*.toml", t, f.name) for t, rule in RULES.items() for f in dataclasses.fields(rule)}
    named = Counter(key for key, _ in ROWS if key[0] != "Environment")
    assert set(named) ^ known == set()
    assert [key for key, count in named.items() if count > 1] == []


def test_no_table_of_the_code_is_left_out() -> None:
    modules = (settings, gear_settings, plan_settings, page_settings)
    defined = {
        part
        for module in modules
        for part in vars(module).values()
        if isinstance(part, type) and issubclass(part, Table) and part.__module__ == module.__name__
    }
    inline = {plan_settings.Around}  # told in the words of [curve]
    assert defined - inline == set(TABLES.values())


@pytest.mark.parametrize(("where", "name", "field"), FIELDS, ids=ids)
def test_a_default_is_that_of_the_code(where: tuple[str, str], name: str, field: FieldInfo) -> None:
    cell = FOUND[*where, name].default
    if field.is_required():
        assert cell == NEEDED
        return
    default = field.get_default(call_default_factory=True)
    if isinstance(default, Table) and not isinstance(default, plan_settings.Around):
        assert cell == BELOW
    elif default is None or (default == () and any(getattr(part, "min_length", 0) for part in field.metadata)):
        assert cell == NONE
    else:
        written: Any = tomllib.loads(f"it = {cell.strip('`')}")["it"]
        read = TypeAdapter(Annotated[field.annotation, name, *field.metadata]).validate_python(written)
        assert read == default


@pytest.mark.parametrize(("where", "name", "field"), FIELDS, ids=ids)
def test_a_range_is_that_of_the_code(where: tuple[str, str], name: str, field: FieldInfo) -> None:
    bounds = range_of(field)
    if bounds:
        assert FOUND[*where, name].range == bounds


def range_of(field: FieldInfo) -> str:
    """In the words of the page; empty where the setting itself is no number with bounds."""
    words = {"ge": "from", "gt": "above", "le": "to", "lt": "below"}
    found = {
        key: f"{word} {plain(getattr(part, key))}"
        for part in field.metadata
        for key, word in words.items()
        if getattr(part, key, None) is not None
    }
    return ", ".join(found.values()).replace(", to", " to")


def plain(number: float) -> str:
    return str(int(number)) if number == int(number) else str(number)


def test_a_default_of_a_rule_is_that_of_the_code() -> None:
    for table, rule in RULES.items():
        for field in dataclasses.fields(rule):
            cell = FOUND["fisheries/*.toml", table, field.name].default
            usual = {None: NONE, "": '`""`', (): "`[]`"}
            needed = field.default is dataclasses.MISSING
            assert cell == (NEEDED if needed else usual[field.default]), (table, field.name)


def test_the_usual_errors_of_a_forecast_are_those_of_the_code() -> None:
    usual = plan_settings.Trust()
    words = " ".join(PAGE.split())
    for spread, before in ((usual.wind_kt, "wind `sd = "), (usual.gust_kt, "gust `"), (usual.sea_m, "sea `")):
        figures = f"[{', '.join(plain(sd) for sd in spread.sd)}]`, `"
        least = "least_sd = " if spread is usual.wind_kt else ""
        assert f"{before}{figures}{least}{plain(spread.least_sd)}`" in words
        assert spread.bias == 0


def test_each_word_for_choppy_waters_is_told() -> None:
    (row,) = [line for line in PAGE.splitlines() if line.startswith("| `chop_m`")]
    assert [word for word in settings.CHOP_WORDS if f"`{word}`" not in row] == []


def test_each_variable_of_the_environment_that_the_service_reads_is_told_and_no_other() -> None:
    text = "\n".join(path.read_text() for path in sorted((TOP / "service").rglob("*.py")))
    read = set(re.findall(r"""\benv(?:iron(?:ment)?)?(?:\.get\(|\[)"([A-Z_]+)\"""", text))
    read |= set(re.findall(r'envvar="([A-Z_]+)"', text))
    secrets = set(re.findall(r'= _secret\("(\w+)"', text))
    assert secrets == {"mail_password", "heartbeat_url"}
    for secret in secrets:
        read |= {f"SOAKBELL_{secret.upper()}", f"SOAKBELL_{secret.upper()}_FILE"}
    assert {key[2] for key in FOUND if key[0] == "Environment"} == read
