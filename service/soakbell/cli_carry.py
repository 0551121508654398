"""``soakbell carry``: everything of a boat into one zip, and such a zip into an empty boat."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from soakbell.cli_telling import database, settings_of
from soakbell.cli_words import PlainWords

carry_commands = typer.Typer(
    cls=PlainWords,
    no_args_is_help=True,
    help="Carry everything of a boat to another computer: its log, calls, letters, bells and settings.",
)

_MOST_UNPACKED_BYTES = 8_000_000_000
ZipFileName = Annotated[Path, typer.Argument(help="The zip.", metavar="FILE.zip")]


@carry_commands.command("out")
def out(ctx: typer.Context, file: ZipFileName) -> None:
    """Write everything of the boat to FILE.zip while the service runs. Keys, passwords and sessions stay here.

    Example: soakbell carry out boat.zip
    """
    from soakbell.clock import SystemClock
    from soakbell.errors import Fault, LogRefused
    from soakbell.web.boat_zip import write_boat_zip

    settings = settings_of(ctx)
    draft = file.with_name(f".{file.name}.part")
    try:
        with database(settings) as store, draft.open("wb") as to:
            draft.chmod(0o600)
            write_boat_zip(to, settings, store, SystemClock().now(), invented=False)
        draft.replace(file)
    except OSError as fault:
        raise LogRefused([Fault("carry out", "FILE.zip", f"{file} ({fault.strerror})", "another file")]) from fault
    finally:
        draft.unlink(missing_ok=True)
    typer.echo(f"written: {file}, {file.stat().st_size / 1e6:.1f} MB")


@carry_commands.command("in")
def in_(ctx: typer.Context, file: ZipFileName) -> None:
    """Take everything out of FILE.zip into this boat, which has nothing in its log and no letters yet.

    Put the files of its folder settings in their places first; the zip changes none.

    Example: soakbell carry in boat.zip
    """
    from soakbell.errors import Fault, LogRefused
    from soakbell.store.carrying import carry_in, carrying_folder
    from soakbell.web.boat_zip import unpack_boat_zip

    settings = settings_of(ctx)
    with database(settings) as store, carrying_folder(settings.database) as folder:
        try:
            with file.open("rb") as packed:
                carried = unpack_boat_zip(packed, folder, boat=settings.boat.name, most_bytes=_MOST_UNPACKED_BYTES)
        except OSError as fault:
            found = f"{file} ({fault.strerror})"
            raise LogRefused([Fault("carry in", "FILE.zip", found, "a zip that can be read")]) from fault
        entries = carry_in(store, carried.database, settings.boat.name)
    typer.echo(f"{settings.boat.name} as it was at {carried.made_at.isoformat()}: {entries} log entries")
