"""``soakbell setting``: from when traps may be set, what to see to before, and the trips that set them."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from soakbell.cli_files import facts_of, write_file
from soakbell.cli_page import Page
from soakbell.cli_telling import clock_behind, database, settings_of


def setting(
    ctx: typer.Context,
    sheet: Annotated[
        Path | None,
        typer.Option("--sheet", help="Also write a page to print, one sheet a trip.", metavar="FILE.html"),
    ] = None,
    deck: Annotated[
        int | None,
        typer.Option("--deck", min=1, help="Traps that one trip stacks. Default: deck_traps of the settings."),
    ] = None,
    stack_min: Annotated[
        float | None,
        typer.Option("--stack", min=0, max=60, help="Minutes to stack and lash a trap. Default: the settings'."),
    ] = None,
) -> None:
    """From when traps may be set, what to see to before that, and the trips that set them. It makes no call.

    Ends with 1 where some of it could not be told, or the clock is behind the log.

    Example: soakbell setting --deck 80 --sheet setting.html
    """
    from rich.console import Console

    from soakbell.clock import SystemClock
    from soakbell.fishery.season import caution
    from soakbell.gear.outfit import Outfit
    from soakbell.gear_settings import outfit_of
    from soakbell.letters.setting_sheet import setting_sheet
    from soakbell.letters.start_section import start_section
    from soakbell.letters.times import HarborTimes, full_day_words
    from soakbell.letters.words import skipper_decides
    from soakbell.start_desk import StartDesk
    from soakbell.store.log_keeper import LogKeeper

    settings = settings_of(ctx)
    now = SystemClock().now()
    with database(settings) as store:
        kept = LogKeeper(store, settings.trap_strings).now()
    outfit = outfit_of(settings)
    desk = StartDesk(
        settings,
        outfit if isinstance(outfit, Outfit) else None,
        deck_traps=deck,
        stack_min_per_trap=stack_min,
    )
    start, page = desk.next(kept, now), Page(Console())
    day = full_day_words(HarborTimes.at(settings.harbor.time_zone, now).day)
    section = start_section(start, "soakbell", whole=True)
    if start is None or section is None:
        page.say(f"{settings.boat.name}, {day}: no day is known from which traps may be set again")
        return
    page.say(f"{settings.boat.name}, {day}")
    behind = clock_behind(kept.gear, now)
    if behind:
        page.say(f"{behind} Days told here may be wrong until then.")
    fault = f"The gear file can't be used: {outfit}" if isinstance(outfit, str) else ""
    for text in (fault, section.fault, *section.lines):
        if text:
            page.say(text)
    for block in section.blocks:
        page.say(f"\n{block.title}")
        for number, line in enumerate(block.lines, start=1):
            page.say(f"{f'{number}.' if block.numbered else '-'} {line}")
    page.say("")
    for text in (skipper_decides("this list"), caution(settings.fishery).text):
        page.say(text)
    if sheet is not None:
        content = setting_sheet(start, kept.gear, facts_of(settings, now), now=now)
        write_file("setting", "--sheet", sheet, content.encode())
    raise typer.Exit(1 if behind or fault or section.fault else 0)
