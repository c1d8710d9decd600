"""The command `stagefx`."""

from __future__ import annotations

import logging
import os
import signal
import sys
from io import TextIOWrapper
from threading import Timer
from types import FrameType
from typing import TYPE_CHECKING

import click

from .lazy import Program

if TYPE_CHECKING:
    from sys import UnraisableHookArgs

COMMANDS = (
    "demo",
    "catalogue",
    "figures",
    "bench",
    "render",
    "compare",
    "margin",
    "delivery",
    "listen",
    "blind",
    "answer",
    "survey",
)


@click.command(
    cls=Program,
    command_names=COMMANDS,
    context_settings={"help_option_names": ["-h", "--help"]},
    invoke_without_command=True,
    no_args_is_help=True,
)
@click.option("--version", is_flag=True, help="Show the version and exit.")
@click.option(
    "--json", "as_json", is_flag=True, help="With --version: all that a bug report needs."
)
@click.pass_context
def program(context: click.Context, *, version: bool, as_json: bool) -> None:
    """What a small line-level audio stage does to music, and whether it would be heard."""
    if version:
        _print_version(as_json=as_json)
        context.exit()
    if as_json:
        raise click.UsageError("--json stands after the command, or beside --version", context)


def _print_version(*, as_json: bool) -> None:
    if not as_json:
        from importlib.metadata import version

        click.echo(f"stagefx {version('stagefx')}")
        return
    from .output import print_json
    from .versions import versions

    print_json(versions())


def main() -> None:
    """Run the command line; end with 0, 2 (cannot be used), 130 (interrupted) or 1 (a bug)."""
    signal.signal(signal.SIGTERM, _interrupt)
    sys.unraisablehook = _interrupt_again
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):  # a terminal without quotation marks shows others
            stream.reconfigure(errors="replace")
    # where it keeps its fonts, and that it has no home to keep them in, is not what people asked
    logging.getLogger("matplotlib").setLevel(logging.ERROR)
    program.main(prog_name="stagefx")


def _interrupt(_signal: int, _frame: FrameType | None) -> None:
    """Told to end, end as if interrupted at the keyboard, so that nothing half written stays."""
    raise KeyboardInterrupt


def _interrupt_again(lost: UnraisableHookArgs) -> None:
    """Interrupt once more where an interruption was lost, as in a compiler's callback."""
    if not issubclass(lost.exc_type, KeyboardInterrupt):
        sys.__unraisablehook__(lost)
        return
    timer = Timer(0.05, os.kill, (os.getpid(), signal.SIGINT))  # not from within the callback
    timer.daemon = True
    timer.start()
