"""``soakbell climatology``: how often days were fit in other years, counted from a station's yearly files."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from soakbell.cli_page import figures_table, print_figures
from soakbell.cli_telling import database, settings_of

if TYPE_CHECKING:
    from rich.table import Table

    from soakbell.climatology import AreaClimate
    from soakbell.planning.fit_climate import FitClimate
    from soakbell.settings import Settings

_WHERE = "climatology"
_ANY_YEAR = 2027


def climatology(
    ctx: typer.Context,
    area: Annotated[str, typer.Option("--area", help="A forecast area of the settings.", metavar="NAME")],
    files: Annotated[
        list[Path] | None,
        typer.Argument(
            help="Yearly files of one station, 2007 and later, packed or not. Without: tell what is kept.",
            metavar="[FILE...]",
        ),
    ] = None,
    hours: Annotated[
        float | None,
        typer.Option("--hours", min=1, max=14, help="A whole trip. Default: usual_window_h of the plan file."),
    ] = None,
    station: Annotated[
        str | None, typer.Option("--station", help="Its id, where the files' names don't tell.", metavar="ID")
    ] = None,
    without: Annotated[
        list[str] | None,
        typer.Option("--without", help="wind_kt, gust_kt or sea_m, where it isn't measured. May be given twice."),
    ] = None,
) -> None:
    """Count on how many days of past years a trip could have been made, and keep that for days past the forecast.

    The files lie at https://www.ndbc.noaa.gov under a station's historical data: standard meteorological data.

    Example: soakbell climatology 42036h20*.txt.gz --area "Outer Bay"
    """
    from soakbell.climatology import count_climate, keep_climate, kept_climate, usual_by_month
    from soakbell.clock import SystemClock
    from soakbell.planning.fit_climate import prior_climate

    settings = settings_of(ctx)
    area, left_out = _area(settings, area), _measured_only(without or [])
    counted = None
    if files:
        bodies = [(file.name, _body(file)) for file in files]
        counted = count_climate(settings, area, bodies, station=station, needed_h=hours, without=left_out)
        if not counted.climate.months:
            typer.echo("no day of these files is known well enough to be counted; nothing is kept", err=True)
            raise typer.Exit(1)
    with database(settings) as store:
        if counted is not None:
            keep_climate(store, settings.boat.name, counted, SystemClock().now())
        found = kept_climate(settings, store, area)
    if isinstance(found, str):
        typer.echo(f"{found}. What is held beforehand, by the plan file or Soakbell's own:")
        print_figures(_prior_table(prior_climate(usual_by_month(settings))))
        return
    for line in _head(found):
        typer.echo(line)
    print_figures(_counted_table(found.climate))
    for line in _notes(found):
        typer.echo(f"- {line}")


def _area(settings: Settings, name: str) -> str:
    from soakbell.errors import Fault, LogRefused

    known = [area.name for area in settings.areas]
    for each in known:
        if each.casefold() == name.strip().casefold():
            return each
    raise LogRefused([Fault(_WHERE, "--area", repr(name), f"one of {', '.join(known)}")])


def _measured_only(names: Sequence[str]) -> Sequence[str]:
    from soakbell.errors import Fault, LogRefused
    from soakbell.sea.trust import MEASURED

    for name in names:
        if name not in MEASURED:
            raise LogRefused([Fault(_WHERE, "--without", repr(name), f"one of {', '.join(MEASURED)}")])
    return names


def _body(file: Path) -> bytes:
    from soakbell.errors import Fault, LogRefused

    try:
        return file.read_bytes()
    except OSError as fault:
        found = fault.strerror or "a fault"
        raise LogRefused([Fault(_WHERE, str(file), found, "a file that can be read")]) from fault


# ---- print


def _head(counted: AreaClimate) -> Iterator[str]:
    from soakbell.letters.figures import amount, limit_words
    from soakbell.letters.season_section import years_words

    limits = ", ".join(limit_words(name, limit) for name, limit in counted.limits.items())
    yield f"{counted.area} by station {counted.station}, {years_words(counted.climate.years)}"
    yield (
        f"Days with {amount(counted.needed_h)} h on end inside {limits}, by light and law, and "
        f"{amount(counted.break_margin_h)} h more after landing"
    )


def _counted_table(climate: FitClimate) -> Table:
    from soakbell.letters.times import MONTHS

    table = figures_table("month", "days", "told", "fit", "share", "true share,\n4 times in 5")
    for month in climate.months:
        share, bounds = month.chance, month.bounds
        told = "-" if share is None else f"{share:.0%}"
        span = "-" if bounds is None else f"{bounds[0]:.0%} to {bounds[1]:.0%}"
        name = f"{MONTHS[month.month - 1]}{'*' if month.month in climate.prior_months else ''}"
        table.add_row(name, str(month.days), str(month.known), str(month.fit), told, span)
    return table


def _prior_table(climate: FitClimate) -> Table:
    from datetime import date

    from soakbell.letters.times import MONTHS

    table = figures_table("month", "chance")
    for number, name in enumerate(MONTHS, start=1):
        table.add_row(name, f"{climate.chance_on(date(_ANY_YEAR, number, 1)):.0%}")
    return table


def _notes(counted: AreaClimate) -> Iterator[str]:
    from soakbell.letters.figures import named
    from soakbell.planning.fit_climate import LEAST_DAYS, LEAST_KNOWN

    climate = counted.climate
    yield (
        f"Told: days of which at least {LEAST_KNOWN:.0%} of the hours are known. The others aren't counted, and "
        "an hour that isn't known is not fit."
    )
    if climate.prior_months:
        yield f"* fewer than {LEAST_DAYS} days told: the chance held beforehand is used for it."
    if counted.not_held:
        names = ", ".join(named(name).short for name in counted.not_held)
        yield f"Not held against your limits, as it isn't measured: {names}. The shares are too high by that."
    yield "Stations often measure wind low, being less than 10 m high. That makes the shares too high as well."
    yield (
        f"A fit day tends to follow a fit one: correlation {climate.correlation:.2f}. Days of one spell tell less "
        "than as many by themselves, so the true share may lie further off than is told."
    )
    yield "It ranks days past the forecast, and is no call: only a morning letter says PULL."
