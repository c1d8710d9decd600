"""`stagefx blind`: do people hear it, without knowing which is which."""

from __future__ import annotations

import click

from ...lazy import LazyGroup


@click.command(
    cls=LazyGroup,
    command_names=("plan", "prepare", "score"),
    prefix="blind.",
    short_help="Plan, prepare and score a blind listening test.",
)
def command() -> None:
    """Find out whether people hear a difference when they do not know which is which."""
