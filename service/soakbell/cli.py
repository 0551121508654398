"""The command ``soakbell``. Only this module and its neighbours print. Each command imports what it needs itself,
so that help comes at once."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from soakbell.cli_carry import carry_commands
from soakbell.cli_catch import catch
from soakbell.cli_climatology import climatology
from soakbell.cli_log import log_commands, undo
from soakbell.cli_log_gear import gear_commands
from soakbell.cli_plan import plan
from soakbell.cli_recovery import recovery
from soakbell.cli_setting import setting
from soakbell.cli_status import status
from soakbell.cli_trust import replay, trust
from soakbell.cli_words import PlainWords

if TYPE_CHECKING:
    from soakbell.settings import Settings
    from soakbell.store.backup import CheckedCopy


app = typer.Typer(
    cls=PlainWords,
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    help="Says each morning whether the boat should pull, wait, or gets no call, and mails the reasons.",
)
log_commands.registered_commands += gear_commands.registered_commands
app.add_typer(log_commands, name="log")
app.add_typer(carry_commands, name="carry")
app.command()(undo)
app.command()(status)
app.command()(recovery)
app.command()(setting)
app.command()(catch)
app.command()(climatology)
app.command()(plan)
app.command()(trust)
app.command()(replay)

SettingsFile = Annotated[
    Path,
    typer.Option("--settings", envvar="SOAKBELL_SETTINGS", help="The boat's settings.", metavar="FILE"),
]
DEFAULT_SETTINGS = Path("config/boat.toml")


@app.callback()
def common(ctx: typer.Context, settings: SettingsFile = DEFAULT_SETTINGS) -> None:
    """Options that come before the command."""
    ctx.obj = settings


@app.command()
def check(
    ctx: typer.Context,
    anew: Annotated[
        bool,
        typer.Option(
            "--strings-anew",
            help="Where strings of former settings can't be read, go on with those there are.",
        ),
    ] = False,
) -> None:
    """Check the settings, then try every source and the mail server, and say what was tried."""
    from soakbell.checking import Finding, check_all, check_files, strings_anew
    from soakbell.clock import SystemClock
    from soakbell.errors import SettingsError

    all_well = True

    def tell(finding: Finding) -> None:
        typer.echo(f"{'ok' if finding.well else 'NOT OK':7} {finding.tried}: {finding.found}")

    def announce(what: str) -> None:
        typer.echo(f"trying  {what} ...", err=True)

    if anew:
        tell(done := strings_anew(_settings(ctx), SystemClock().now()))
        all_well &= done.well
    try:
        settings = _settings(ctx, with_secrets=True)
    except SettingsError:
        for finding in check_files(_settings(ctx)):  # where only a secret is missing, the other files are told too
            tell(finding)
        raise
    for finding in check_all(settings, announce=announce):
        all_well &= finding.well
        tell(finding)
    raise typer.Exit(0 if all_well else 1)


@app.command()
def run(ctx: typer.Context) -> None:
    """Run the service: fetch, write the letters of the day, watch, send. Stops in order on SIGTERM."""
    from soakbell.running import run_boat

    raise typer.Exit(0 if run_boat(_settings(ctx, with_secrets=True)) else 1)


@app.command()
def morning(
    ctx: typer.Context,
    kept: Annotated[bool, typer.Option("--kept", help="Use what was fetched before; ask no source.")] = False,
) -> None:
    """Make this morning's call now and print the letter. Nothing is sent."""
    from soakbell.running import letter_now

    typer.echo(letter_now(_settings(ctx), fetch=not kept), nl=False)


@app.command()
def passphrase() -> None:
    """Ask twice for a passphrase of the phone page, and print what page.toml keeps of it."""
    from soakbell.web.door import LONGEST_PASSPHRASE, SHORTEST_PASSPHRASE, hashed

    told = typer.prompt("Passphrase", hide_input=True, confirmation_prompt=True, err=True)
    if len(told) < SHORTEST_PASSPHRASE:
        typer.echo(
            f"That is too short: use at least {SHORTEST_PASSPHRASE} characters, as of four words.", err=True
        )
        raise typer.Exit(1)
    if len(told) > LONGEST_PASSPHRASE:
        typer.echo(f"That is too long: the page takes {LONGEST_PASSPHRASE} characters at most.", err=True)
        raise typer.Exit(1)
    typer.echo(f'skipper = "{hashed(told)}"')
    typer.echo(
        "Put this line into page.toml; for the crew's passphrase, write crew in the place of skipper.", err=True
    )


@app.command("confirm-station")
def confirm_station(
    ctx: typer.Context, station: Annotated[str, typer.Argument(help="Its id, as in the settings.", metavar="ID")]
) -> None:
    """Trust a buoy or shore station again that was refused because it lies elsewhere than before.

    Look first whether it is still the one you want: an id can be given to another station.
    """
    from soakbell.running import confirm

    lat_deg, lon_deg = confirm(_settings(ctx), station)
    typer.echo(f"{station} is taken to lie at {lat_deg:.3f} {lon_deg:.3f} from now on")


@app.command()
def read(
    files: Annotated[list[Path], typer.Argument(help="Saved replies of public services.", metavar="FILE...")],
    as_json_lines: Annotated[bool, typer.Option("--json", help="One JSON object a file.")] = False,
) -> None:
    """Tell what is understood of a forecast, warning or observation file, and what is not."""
    from soakbell.reading import as_json, as_text, understand

    unread = False
    for file in files:
        try:
            body = file.read_bytes()
        except OSError as fault:
            typer.echo(f"{file}: {fault.strerror}; name a file that can be read", err=True)
            unread = True
            continue
        understood = understand(body, file.name)
        unread |= understood.refused is not None
        typer.echo(as_json(understood) if as_json_lines else as_text(understood))
    raise typer.Exit(1 if unread else 0)


@app.command()
def backup(
    ctx: typer.Context, to: Annotated[Path, typer.Argument(help="The file to write.", metavar="FILE")]
) -> None:
    """Copy the database to FILE while the service runs, and check the copy."""
    from soakbell.store.backup import back_up

    copy = back_up(_settings(ctx).database, to)
    typer.echo(f"{copy.file}: checked, {_counted(copy)}")


@app.command()
def rehearse(backup_file: Annotated[Path, typer.Argument(help="A backup.", metavar="FILE")]) -> None:
    """Restore a backup in a place of its own and read it through, to know that it would serve. Changes nothing."""
    from soakbell.store.backup import rehearse_restore

    tried = rehearse_restore(backup_file)
    typer.echo(f"{tried.file}: would serve, {_counted(tried)}")


@app.command()
def restore(
    ctx: typer.Context, backup_file: Annotated[Path, typer.Argument(help="A backup.", metavar="FILE")]
) -> None:
    """Put a backup in the place of the database. Stop the service first; what was there is kept beside it.

    Phones sign in anew, and links in letters written before are void. Log entries that the backup lacks are told,
    and written into a CSV file beside the database.
    """
    from soakbell.clock import SystemClock
    from soakbell.store.backup import restore as put_back
    from soakbell.web.keys import drop_keys

    settings = _settings(ctx)
    former = put_back(backup_file, settings.database, now=SystemClock().now())
    drop_keys(settings.database)
    typer.echo(f"restored to {settings.database}; what was there: {former or 'nothing'}")
    typer.echo("all phones sign in anew; links in letters written before are void")
    if former is not None:
        _tell_lost(settings, former)


def _tell_lost(settings: Settings, former: Path) -> None:
    """What was told since the backup: a pull that isn't known leaves a string soaking longer than it does."""
    from zoneinfo import ZoneInfo

    from soakbell.cli_telling import words_of
    from soakbell.errors import StoreError
    from soakbell.gear.log_csv import write_log_csv
    from soakbell.letters.commands import command
    from soakbell.store.backup import entries_lost, plainly
    from soakbell.wiring import command_of

    try:
        lost = entries_lost(former, settings.database)
    except StoreError:
        typer.echo(
            f"what was told to the log since the backup can't be read from {former}: tell it again", err=True
        )
        return
    if not lost:
        typer.echo("the backup lacks no entry of the log")
        return
    file = former.with_name(f"{former.name}.log.csv")
    with plainly(file):
        file.touch(0o600)
        file.write_bytes(write_log_csv(lost, ZoneInfo(settings.harbor.time_zone)))
    typer.echo(f"the backup lacks {len(lost)} {'entry' if len(lost) == 1 else 'entries'} of the log:")
    for entry in lost[-_MOST_LOST_TOLD:]:
        typer.echo(f"  {words_of(entry, settings)}")
    typer.echo(f"look at them in {file}; this brings all of them back:")
    typer.echo(f"  {command(command_of(os.environ), 'log', 'import', str(file))}")


_MOST_LOST_TOLD = 20
"""The newest; the file has all."""


def _counted(copy: CheckedCopy) -> str:
    rows = sum(count for _, count in copy.rows)
    return f"{rows} rows in {len(copy.rows)} tables, schema {copy.revision}"


def _settings(ctx: typer.Context, *, with_secrets: bool = False) -> Settings:
    from soakbell.settings import load_settings

    return load_settings(ctx.obj, os.environ, with_secrets=with_secrets)


def main() -> None:
    """The installed command."""
    app()
