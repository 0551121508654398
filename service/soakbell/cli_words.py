"""How the commands tell what can't be taken as it was typed: one form, with exit code 2."""

from __future__ import annotations

import re
from typing import Any

import typer
from typer.core import TyperGroup

from soakbell.errors import Fault, SoakbellError

_NEGATIVE = re.compile(r"-\.?[0-9].*")
_CHOICES = re.compile(r".* is not one of (.*?)\.?")
_WRITE = {"int_parsing": "a whole number, as 12", "float_parsing": "a number, as 2.5"}


class PlainWords(TyperGroup):
    """An error on purpose is told in its own words, and so is a value that can't be read."""

    def invoke(self, ctx: Any) -> Any:
        try:
            return super().invoke(ctx)
        except SoakbellError as fault:
            typer.echo(str(fault), err=True)
            raise typer.Exit(2) from fault
        except typer.BadParameter as bad:
            if bad.ctx is None or bad.param is None:
                raise
            typer.echo(f"{bad.ctx.get_usage()}\n{_fault_of(bad)}", err=True)
            raise typer.Exit(2) from bad

    def resolve_command(self, ctx: Any, args: list[str]) -> Any:
        """A number below 0 is an amount that can't be, which the log tells, and no option that isn't known."""
        name, command, rest = super().resolve_command(ctx, args)
        if command is not None:
            below_0 = any(_NEGATIVE.fullmatch(word) for word in rest)
            command.context_settings = {**command.context_settings, "ignore_unknown_options": below_0}
        return name, command, rest


def _fault_of(bad: Any) -> Fault:
    """Without a cause nothing was typed where something must be."""
    from pydantic import ValidationError

    names = [name for name in bad.param.opts if name.startswith("--")]
    key = names[0] if names else (bad.param.metavar or bad.param.human_readable_name)
    help_text = (getattr(bad.param, "help", None) or "").rstrip(".")
    found, write = bad.message or "nothing", help_text[:1].lower() + help_text[1:]
    if isinstance(bad.__cause__, ValidationError):
        error = bad.__cause__.errors()[0]
        found = repr(error["input"])
        choices = _CHOICES.fullmatch(error["msg"])
        if choices is not None:
            write = " or ".join(choices[1].replace("'", "").split(", "))
        elif error["type"] == "greater_than_equal":
            write = f"{error['ctx']['ge']} or more"
        else:
            write = _WRITE.get(error["type"], write)
    return Fault(bad.ctx.command_path.partition(" ")[2] or "soakbell", key, found, write)
