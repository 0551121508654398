"""The grid forecast of a cell, hour by hour."""

from __future__ import annotations

from collections import Counter
from datetime import datetime

from soakbell import units
from soakbell.feeds.grid import parse_grid
from soakbell.reading.printing import (
    COLUMN_HEADS,
    Facts,
    column_cell,
    many,
    number_fact,
    plain_name,
    time_fact,
    time_words,
    wrapped,
)
from soakbell.sea.grid_forecast import GridHazard
from soakbell.sea.grid_hours import LAYER_OF, hours_of_grid
from soakbell.sea.sources import QUANTITIES, SourceHours
from soakbell.sea.warnings import hazard_name


def read_grid(body: bytes, _: str, not_understood: list[str]) -> Facts:
    grid = parse_grid(body)
    given = QUANTITIES if grid.layers.get(LAYER_OF["thunder_pct"]) else set(QUANTITIES) - {"thunder_pct"}
    hours = hours_of_grid(grid, gives=given)
    not_understood += grid.faults
    unclear = hours.unclear[hours.unclear != ""]
    for why, count in Counter(unclear).items():
        first = unclear.index[unclear == why][0].to_pydatetime()
        not_understood.append(f"{why} ({many(count, 'hour')}, the first from {time_words(time_fact(first))})")
    empty = {q: hours.notes.get(q, "no number in any hour") for q in QUANTITIES if hours.numbers[q].isna().all()}
    return {
        "cell": grid.key,
        "updated_at": time_fact(grid.updated_at),
        "valid_from": time_fact(grid.valid_from),
        "valid_to": time_fact(grid.valid_to),
        "no_opinion": empty,
        "notes": {q: note for q, note in hours.notes.items() if q not in empty},
        "hours_known": {q: int(hours.numbers[q].notna().sum()) for q in QUANTITIES},
        "hazards": [_hazard_facts(hazard) for hazard in grid.hazards],
        "hours": _hour_rows(hours),
    }


def _hazard_facts(hazard: GridHazard) -> Facts:
    return {
        "name": hazard_name(hazard.phenomenon, hazard.significance),
        "phenomenon": hazard.phenomenon,
        "significance": hazard.significance,
        "number": hazard.number,
        "starts_at": time_fact(hazard.starts_at),
        "ends_at": time_fact(hazard.ends_at),
    }


def _hour_rows(hours: SourceHours) -> list[Facts]:
    numbers = hours.numbers[list(QUANTITIES)].to_numpy(dtype=float)
    whole = hours.whole[list(QUANTITIES)].to_numpy(dtype=bool)
    rows = []
    for at, values, wholes, unclear in zip(hours.numbers.index, numbers, whole, hours.unclear, strict=True):
        told = {q: number_fact(float(value)) for q, value in zip(QUANTITIES, values, strict=True)}
        sea_ft = number_fact(units.ft_from_m(float(values[QUANTITIES.index("sea_m")])))
        in_part = [q for q, entire in zip(QUANTITIES, wholes, strict=True) if told[q] is not None and not entire]
        rows.append({"at": time_fact(at), **told, "sea_ft": sea_ft, "in_part": in_part, "unclear": unclear})
    return rows


_GRID_ROW = "  {:<7} {:>8} {:>8} {:>8} {:>7} {:>6} {:>9} {:>10} {:>15}"


def tell_grid(facts: Facts) -> list[str]:
    known = facts["hours_known"]
    total = len(facts["hours"])
    lines = [
        f"  Cell {facts['cell']}, updated {time_words(facts['updated_at'])}.",
        f"  Valid {time_words(facts['valid_from'])} to {time_words(facts['valid_to'])}, {total} hours.",
    ]
    said = [f"{plain_name(q)} ({why})" for q, why in facts["no_opinion"].items()]
    lines += wrapped(f"Not given: {'; '.join(said)}." if said else "Every layer gives numbers.", "  ")
    short = [f"{plain_name(q)} in {n} of {total} hours" for q, n in known.items() if 0 < n < total]
    if short:
        lines += wrapped(f"In a part of the time only: {'; '.join(short)}.", "  ")
    lines += [line for q, note in facts["notes"].items() for line in wrapped(f"{plain_name(q)}: {note}.", "  ")]
    lines += [
        f"  Hazard: {hazard['name']}, {time_words(hazard['starts_at'])} to {time_words(hazard['ends_at'])}"
        for hazard in facts["hazards"]
    ]
    lines.append("  A row stands for the hour that begins then, UTC; - is no number, ? carries no call.")
    day = ""
    for row in facts["hours"]:
        at = datetime.fromisoformat(row["at"])
        if f"{at:%a %d %b %Y}" != day:
            day = f"{at:%a %d %b %Y}"
            lines += ["", f"  {day}", _GRID_ROW.format("hour", *COLUMN_HEADS.values())]
        lines.append(_GRID_ROW.format(f"{at:%H:%M}", *(column_cell(row, column) for column in COLUMN_HEADS)))
    return lines
