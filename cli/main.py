"""The command `stagefx`."""

from __future__ import annotations

import signal
from types import FrameType

import click

from .lazy import Program

COMMANDS = ("demo", "catalogue", "figures", "bench", "render", "compare")


@click.command(
    cls=Program,
    command_names=COMMANDS,
    context_settings={"help_option_names": ["-h", "--help"]},
)
@click.version_option(None, "--version", package_name="stagefx", message="stagefx %(version)s")
def program() -> None:
    """What a small line-level audio stage does to music, and whether it would be heard."""


def main() -> None:
    """Run the command line; end with 0, 2 (cannot be used), 130 (interrupted) or 1 (a bug)."""
    signal.signal(signal.SIGTERM, _interrupt)
    program.main(prog_name="stagefx")


def _interrupt(_signal: int, _frame: FrameType | None) -> None:
    """Told to end, end as if interrupted at the keyboard, so that nothing half written stays."""
    raise KeyboardInterrupt
