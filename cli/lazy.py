"""A group whose commands live one a file, loaded when needed, and which fails in plain words."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from importlib import import_module
from typing import Any

import click
from click.exceptions import NoArgsIsHelpError

from stagefx.errors import StagefxError, nearest

CANNOT_BE_USED = 2
INTERRUPTED = 130
READER_GONE = 141


class LazyGroup(click.Group):
    """Commands by name; each is imported from `commands/` when it is asked for."""

    def __init__(
        self, *args: Any, command_names: Sequence[str] = (), prefix: str = "", **settings: Any
    ) -> None:
        super().__init__(*args, **settings)
        self.command_names = tuple(command_names)
        self.prefix = prefix

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002
        return list(self.command_names)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        if cmd_name not in self.command_names:
            return None
        command = import_module(f".commands.{self.prefix}{cmd_name}", __package__).command
        assert isinstance(command, click.Command)
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        name = args[0]
        if self.get_command(ctx, name) is None and not name.startswith("-"):
            known = self.list_commands(ctx)
            raise click.UsageError(f"no command '{name}'{nearest(name, known)}", ctx)
        return super().resolve_command(ctx, args)


class ReaderGoneError(Exception):
    """Nobody reads what is printed."""


class Program(LazyGroup):
    """The outermost group: what goes wrong ends in one or two lines and an exit code."""

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except BrokenPipeError:
            raise ReaderGoneError from None

    def main(  # type: ignore[override]
        self, args: Sequence[str] | None = None, prog_name: str | None = None, **settings: Any
    ) -> Any:
        if not settings.pop("standalone_mode", True):
            return super().main(args, prog_name, standalone_mode=False, **settings)
        try:
            code = super().main(args, prog_name, standalone_mode=False, **settings)
            sys.stdout.flush()
        except NoArgsIsHelpError as error:
            error.show()
            code = CANNOT_BE_USED
        except click.ClickException as error:
            code = _say(_in_line(error.format_message()), _where(error))
        except StagefxError as error:
            code = _say(str(error))
            _let_go_of_output()
        except (click.Abort, KeyboardInterrupt):
            code = _say("interrupted", code=INTERRUPTED)
        except (ReaderGoneError, BrokenPipeError):
            _forget_output()
            code = READER_GONE
        except OSError as error:
            place = f"{error.filename}: " if error.filename else ""
            code = _say(f"{place}{_in_line(error.strerror or str(error))}")
            _forget_output()
        sys.exit(code if isinstance(code, int) else 0)


def _in_line(message: str) -> str:
    """What click says as a sentence of its own, fit to follow a colon."""
    return f"{message[:1].lower()}{message[1:]}".removesuffix(".")


def _where(error: click.ClickException) -> str:
    context = getattr(error, "ctx", None)
    return f"see '{context.command_path} --help'" if context is not None else ""


def _say(message: str, remedy: str = "", *, code: int = CANNOT_BE_USED) -> int:
    """Tell people on standard error: what, and where more is said."""
    lines = [f"stagefx: {' '.join(message.split())}", remedy]
    click.echo(printable("\n".join(line for line in lines if line)), err=True)
    return code


def _let_go_of_output() -> None:
    """What is still in its buffer goes out now, or not at all where its place takes no more."""
    try:
        sys.stdout.flush()
    except OSError:
        _forget_output()


def _forget_output() -> None:
    """Keep Python from complaining, at its end, that nobody reads what is left to print."""
    import os

    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def printable(text: str) -> str:
    """Text from a user's file without the characters that would steer a terminal."""
    return "".join(c if c.isprintable() or c == "\n" else "\N{REPLACEMENT CHARACTER}" for c in text)
